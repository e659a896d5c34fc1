"""Files of open formats, made by GDAL and read back; and the files and folders that are refused or passed over."""

from __future__ import annotations

import json
import zipfile
from datetime import date
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pyogrio
import pytest
import shapely

from layers.assembling import assemble
from layers.errors import InputError
from layers.recipe import CELLS, Recipe, RecipeSource
from layers.sources import add_sources, cells_in, read_tables
from layers.vector_files import read_vector_tables

if TYPE_CHECKING:
    from pathlib import Path

SKERRY = shapely.Polygon([(-38.3, 44.3), (-38.2, 44.3), (-38.25, 44.4)])
GPX = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'


def frame(**columns: Any) -> gpd.GeoDataFrame:
    shapes = [shapely.Point(-38.5, 44.61), shapely.Point(-38.25, 44.39)]
    return gpd.GeoDataFrame({"Name": ["North", "South"], **columns}, geometry=shapes, crs=4326)


@pytest.mark.parametrize(
    ("name", "driver"),
    [
        ("places.geojson", "GeoJSON"),
        ("places.gpkg", "GPKG"),
        ("places.fgb", "FlatGeobuf"),
        ("places.shp", "ESRI Shapefile"),
        ("places.kml", "LIBKML"),
        ("places.geojsonl", "GeoJSONSeq"),
    ],
)
def test_what_gdal_writes_is_read_back(tmp_path: Path, name: str, driver: str):
    more = {"SPATIAL_INDEX": "NO"} if driver == "FlatGeobuf" else {}  # its index would put rows into another order
    frame(depth=[2.5, None]).to_file(tmp_path / name, driver=driver, **more)
    (table,) = read_tables(RecipeSource(file=str(tmp_path / name)), None)
    assert table.columns["Name"] == ["North", "South"]
    assert table.columns["depth"] == [2.5, None]
    assert [(point.x, point.y) for point in shapely.force_2d(table.shapes)] == [(-38.5, 44.61), (-38.25, 44.39)]
    assert [table.row(place) for place in (0, 1)] == ["row 1", "row 2"]
    assert not table.faults


def test_waypoints_of_gpx_are_places_and_its_routes_are_told(tmp_path: Path):
    path = tmp_path / "places.gpx"
    marks = '<wpt lat="44.25" lon="-38.3"><name>Outer  Cove</name><sym>Anchor</sym></wpt><wpt lat="nan" lon="1"/>'
    path.write_text(GPX.format(marks + "<rte><name>r</name></rte>"), encoding="utf-8")
    (table,) = read_tables(RecipeSource(file=str(path)), None)
    assert table.columns["name"] == ["Outer Cove", None]
    assert table.columns["symbol"] == ["Anchor", None]
    assert [fault.row for fault in table.faults] == ["waypoint 2"]
    assert table.notes == ("1 routes not used: they are no places",)


def test_every_table_of_a_geopackage(tmp_path: Path):
    path = tmp_path / "waters.gpkg"
    frame().to_file(path, layer="fuel docks", driver="GPKG")
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path, layer="coast", driver="GPKG")
    assert [table.name for table in read_vector_tables(path)] == ["fuel docks", "coast"]
    assert [table.name for table in read_vector_tables(path, wanted="coast")] == ["coast"]
    with pytest.raises(InputError, match="has no table 'land'; it has fuel docks, coast"):
        read_vector_tables(path, wanted="land")


@pytest.mark.parametrize("name", ["land.shp", "land.gpkg", "land.geojson"])
def test_other_reference_systems_come_to_wgs84(tmp_path: Path, name: str):
    """UTM zone 24, and Mercator for GeoJSON of old: a millimetre is 1e-8 of a degree."""
    whole = gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326)
    if name.endswith("json"):
        path = tmp_path / name
        pyogrio.write_dataframe(whole.to_crs(3857), path, driver="GeoJSON", RFC7946="NO")
        assert "3857" in path.read_text(encoding="utf-8")
    else:
        whole.to_crs(32624).to_file(tmp_path / name)
    (table,) = read_tables(RecipeSource(file=str(tmp_path / name)), None)
    assert shapely.hausdorff_distance(table.shapes[0], SKERRY) < 1e-8
    assert any("reprojected" in note for note in table.notes)


def test_a_shapefile_that_does_not_say_its_system(tmp_path: Path):
    path = tmp_path / "land.shp"
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path)
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputError, match=r"doesn't say which reference system.*\.prj.*crs = "):
        read_tables(RecipeSource(file=str(path)), None)
    (table,) = read_tables(RecipeSource(file=str(path), crs="EPSG:4326"), None)
    assert table.shapes[0].equals(SKERRY)
    assert "taken to be in WGS 84" in table.notes[0]
    with pytest.raises(InputError, match="not known"):
        read_tables(RecipeSource(file=str(path), crs="EPSG:999999"), None)


def test_a_stated_system_is_never_overruled(tmp_path: Path):
    path = tmp_path / "land.gpkg"
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path)
    with pytest.raises(InputError, match="says that it is in WGS 84, and the recipe says EPSG:3857"):
        read_tables(RecipeSource(file=str(path), crs="EPSG:3857"), None)


def test_shapefiles_in_parts(tmp_path: Path):
    path = tmp_path / "land.shp"
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path)
    with pytest.raises(InputError, match=r"one part of a shapefile: name land\.shp"):
        add_sources(Recipe(), [path.with_suffix(".dbf")])
    path.with_suffix(".dbf").unlink()
    (table,) = read_tables(RecipeSource(file=str(path)), None)
    assert not table.columns
    assert "no .dbf" in table.notes[0]
    path.with_suffix(".shx").unlink()
    with pytest.raises(InputError, match=r"lacks its \.dbf and \.shx"):
        read_tables(RecipeSource(file=str(path)), None)


@pytest.mark.parametrize("name", ["a.kml", "a.gpkg", "a.fgb", "a.shp", "a.geojson", "a.json", "a.gpx", "a.topojson"])
def test_damaged_files_are_one_line(tmp_path: Path, name: str):
    path = tmp_path / name
    path.write_bytes(b"\x89PNG\x00 nothing of the kind <gpx>" * 20)
    with pytest.raises(InputError) as raised:
        read_tables(RecipeSource(file=str(path)), None)
    assert str(raised.value).startswith(str(path))
    assert "\n" not in str(raised.value)


def test_entities_of_gpx_are_refused(tmp_path: Path):
    path = tmp_path / "a.gpx"
    path.write_text('<!DOCTYPE gpx [<!ENTITY a "aa">]><gpx><wpt lat="1" lon="1"/></gpx>', encoding="utf-8")
    with pytest.raises(InputError, match="DOCTYPE"):
        read_tables(RecipeSource(file=str(path)), None)


def test_a_file_that_vanishes_after_it_was_listed(tmp_path: Path):
    path = tmp_path / "land.fgb"
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path)
    recipe, _ = add_sources(Recipe(), [path])
    path.unlink()
    with pytest.raises(InputError, match="no such file"):
        read_tables(recipe.sources[0], None)


def test_a_file_that_vanishes_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "land.fgb"
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[SKERRY], crs=4326).to_file(path)

    def gone(*_: object, **__: object) -> None:
        path.unlink()
        raise pyogrio.errors.DataSourceError("read error")

    monkeypatch.setattr("pyogrio.raw.read", gone)
    with pytest.raises(InputError, match="no such file"):
        read_tables(RecipeSource(file=str(path)), None)


def test_archives_are_not_opened(tmp_path: Path):
    with zipfile.ZipFile(tmp_path / "coast.zip", "w") as archive:
        archive.writestr("a.txt", "a")
    (tmp_path / "a.kmz").write_bytes(b"PK")
    for name in ("coast.zip", "a.kmz"):
        with pytest.raises(InputError, match=r"is an archive.*unpack it first"):
            add_sources(Recipe(), [tmp_path / name])


@pytest.mark.parametrize(
    ("name", "says"),
    [("a.png", "no format"), ("a.toml", "--recipe"), ("none.csv", "no such"), ("a\nb.csv", "control characters")],
)
def test_what_is_no_source(tmp_path: Path, name: str, says: str):
    if name != "none.csv":
        (tmp_path / name).write_bytes(b"x")
    with pytest.raises(InputError, match=says):
        add_sources(Recipe(), [tmp_path / name])


def test_a_folder_is_read_and_the_rest_of_it_told(tmp_path: Path):
    frame().to_file(tmp_path / "docks.shp")
    (tmp_path / "places.csv").write_text("name,lat,lon\nA,44,-38\n", encoding="utf-8")
    (tmp_path / "prices.csv").write_text("dock,price\nA,2\n", encoding="utf-8")
    (tmp_path / "notes.json").write_text("{}", encoding="utf-8")
    (tmp_path / "readme.txt").write_text("a", encoding="utf-8")
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "land.geojson").write_text("{}", encoding="utf-8")
    recipe, passed = add_sources(Recipe(), [tmp_path, tmp_path / "places.csv"])
    assert [source.file.rsplit("/", 1)[-1] for source in recipe.sources] == ["docks.shp", "places.csv"]
    told = {each.where.rsplit("/", 1)[-1]: each.why for each in passed}
    assert sorted(told) == ["land.geojson", "notes.json", "prices.csv", "readme.txt"]
    assert told["prices.csv"] == "has no columns that say where places are"


def test_links_that_lead_out_of_a_folder_are_not_followed(tmp_path: Path):
    inside, outside = tmp_path / "charts", tmp_path / "elsewhere"
    inside.mkdir()
    outside.mkdir()
    (outside / "secret.csv").write_text("name,lat,lon\nA,44,-38\n", encoding="utf-8")
    (inside / "docks.csv").write_text("name,lat,lon\nA,44,-38\n", encoding="utf-8")
    (inside / "secret.csv").symlink_to(outside / "secret.csv")
    (inside / "all").symlink_to(outside)
    (inside / "again.csv").symlink_to(inside / "docks.csv")  # leads nowhere else: the same file, once
    recipe, passed = add_sources(Recipe(), [inside])
    assert [source.file.rsplit("/", 1)[-1] for source in recipe.sources] == ["again.csv"]
    told = [(each.where.rsplit("/", 1)[-1], "link" in each.why) for each in passed]
    assert told == [("all", True), ("secret.csv", True)]


def test_cells_are_found_and_a_cell_behind_a_link_is_refused(tmp_path: Path):
    folder = tmp_path / "charts" / "DEEP"
    folder.mkdir(parents=True)
    for name in ("ZZ1.000", "ZZ1.001", "README.TXT", "CATALOG.031"):
        (folder / name).write_bytes(b"x")
    recipe, _ = add_sources(Recipe(), [tmp_path / "charts"])
    assert [source.as_ for source in recipe.sources] == [CELLS]
    (folder / "CATALOG.031").unlink()
    cells, passed = cells_in(tmp_path / "charts")
    assert [cell.name for cell in cells] == ["ZZ1.000"]
    assert [each.why for each in passed] == ["1 other file beside the cells: README.TXT"]
    (tmp_path / "ZZ2.000").write_bytes(b"x")
    (folder / "ZZ2.000").symlink_to(tmp_path / "ZZ2.000")
    with pytest.raises(InputError, match=r"ZZ2\.000: is a link that leads out"):
        add_sources(Recipe(), [tmp_path / "charts"])


def test_topology_as_some_coasts_of_the_world_come(tmp_path: Path):
    """A square of TopoJSON by hand: scale 0.1, corners (0,0) (1,0) (1,1) (0,1) in units of it, from (-38, 44)."""
    topology = {
        "type": "Topology",
        "transform": {"scale": [0.1, 0.1], "translate": [-38, 44]},
        "arcs": [[[0, 0], [1, 0], [0, 1], [-1, 0], [0, -1]]],
        "objects": {"land": {"type": "GeometryCollection", "geometries": [{"type": "Polygon", "arcs": [[0]]}]}},
    }
    path = tmp_path / "coast.json"
    path.write_text(json.dumps(topology), encoding="utf-8")
    (table,) = read_tables(RecipeSource(file=str(path)), None)
    assert table.shapes[0].bounds == pytest.approx((-38, 44, -37.9, 44.1))


def test_a_region_as_a_source_keeps_what_it_says_of_itself(tmp_path: Path):
    (tmp_path / "old").mkdir()
    holm = gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[shapely.box(-38.6, 44.4, -38.4, 44.6)], crs=4326)
    holm.to_file(tmp_path / "old" / "land.geojson")
    about = """name = "Old"
extent = [-39, 44, -38, 45]
time_zone = "Atlantic/Azores"
chart_datum = "lowest tide"
clearance_datum = "a level that no source states"
currency = "XXX"
[sources.land]
title = "Sheet 7"
edition = "3"
"""
    (tmp_path / "old" / "region.toml").write_text(about, encoding="utf-8")
    recipe, passed = add_sources(Recipe(), [tmp_path / "old"])
    assert (recipe.sources[0].title, recipe.sources[0].edition) == ("Sheet 7", "3")
    assert (recipe.time_zone, recipe.chart_datum, recipe.clearance_datum) == ("Atlantic/Azores", "lowest tide", None)
    assert recipe.currency is None
    assert any("taken over" in each.why for each in passed)
    assert add_sources(Recipe(time_zone="UTC"), [tmp_path / "old"])[0].time_zone == "UTC"


def test_updates_that_are_named_beside_their_cell_are_read_with_it(tmp_path: Path):
    for number in ("000", "001"):
        (tmp_path / f"ZZ9XX001.{number}").write_bytes(b"")
    recipe, passed = add_sources(Recipe(), sorted(tmp_path.glob("ZZ*")))
    assert [source.file for source in recipe.sources] == [str(tmp_path / "ZZ9XX001.000")]
    assert "is an update of ZZ9XX001.000" in passed[0].why


@pytest.mark.parametrize("name", ["land.gpkg", "land.shp", "land.fgb"])
def test_longitudes_beyond_180_are_not_lost_to_a_box(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch):
    """A world coast from 0 to 360 degrees: what lies at 355.4 is at -4.6."""
    monkeypatch.setattr("layers.vector_files._FEW_ROWS", 0)
    isles = [shapely.box(lon, 50.2, lon + 0.1, 50.3) for lon in (355.4, 200, 10)]
    gpd.GeoDataFrame({"name": list("ABC")}, geometry=isles, crs=4326).to_file(tmp_path / name)
    recipe, _ = add_sources(Recipe(extent=(-5, 50, -4, 51)), [tmp_path / name])
    region = assemble(recipe, today=date(2026, 7, 1)).region
    assert region.layer("land").total_bounds == pytest.approx((-4.6, 50.2, -4.5, 50.3))


def test_points_elsewhere_are_read_so_that_a_wrong_sign_is_told(tmp_path: Path):
    places = gpd.GeoDataFrame(
        {"name": ["A", "B"]}, geometry=[shapely.Point(4.6, 50.2), shapely.Point(-4.6, 50.2)], crs=4326
    )
    places.to_file(tmp_path / "places.gpkg")
    recipe, _ = add_sources(Recipe(extent=(-5, 50, -4, 51)), [tmp_path / "places.gpkg"])
    cautions = assemble(recipe, today=date(2026, 7, 1)).report.cautions
    assert "row 1 (A) lies outside the extent and is left out; with the sign of the longitude changed" in cautions[0]
