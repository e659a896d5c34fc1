"""Regions put together from files: what comes out, what it is said to come from, what is asked for, what is told."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pytest
import shapely

import demo_region
from layers import (
    add_sources,
    assemble,
    find_doubts,
    guess_recipe,
    read_recipe,
    read_region,
    write_recipe,
    write_region,
)
from layers.errors import InputError
from layers.findings_kinds import group_of
from layers.recipe import Recipe, RecipeSource
from layers.tables import SourceError

if TYPE_CHECKING:
    from layers import Built, Region

TODAY = date(2026, 7, 1)
HOLM = shapely.box(-38.6, 44.4, -38.4, 44.6)


def coast(folder: Path, *shapes: Any, name: str = "coast.gpkg") -> Path:
    shapes = shapes or (HOLM,)
    gpd.GeoDataFrame({"name": [f"Isle {i}" for i in range(len(shapes))]}, geometry=list(shapes), crs=4326).to_file(
        folder / name
    )
    return folder / name


def write(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def build(*paths: Path, **given: Any) -> Built:
    recipe, passed = add_sources(Recipe(**{"time_zone": "UTC", "currency": "EUR", **given}), paths)
    return assemble(recipe, today=TODAY, passed_over=passed)


def test_the_demo_comes_back_as_it_is(demo: Region, tmp_path: Path):
    """All nine layers, by their own names, from the files of the demo: the same rows and shapes, in the same extent."""
    about = demo.about
    given = about.model_dump(include={"name", "time_zone", "currency", "chart_datum", "clearance_datum"})
    built = build(demo_region.data_folder(), **given)
    assert built.region.about.extent == about.extent
    for name, frame in demo.frames.items():
        found = built.region.layer(name)
        assert found.drop(columns="geometry").equals(frame.drop(columns="geometry"))
        assert found.geometry.geom_equals(frame.geometry).all()
    assert not built.report.repairs
    told = {each.where.rsplit("/", 1)[-1] for each in built.report.passed_over}
    assert {"fillups.csv", "region.toml", "manifest.json", "LICENSE"} <= told
    write_region(built.region, tmp_path / "again.gpkg")
    assert read_region(tmp_path / "again.gpkg").digest == built.region.digest


def test_ten_minutes_of_a_skipper(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "Dock,Lat,Lon,Fuel,Hours,Diesel EUR/l\nKnap,44 36.1N,38 30W,diesel,24/7,1.9\n")
    built = build(coast(tmp_path), docks, currency=None, chart_datum="lowest tide")
    about = built.region.about
    assert about.currency == "EUR"
    assert about.extent == (-38.6, 44.4, -38.4, 44.65)  # rounded outwards to a twentieth of a degree
    assert built.report.said["extent"] == "what the sources cover, rounded outwards"
    assert about.sources["docks"].title == "docks.csv"
    assert built.region.present == {"land", "docks"}
    assert [doubt.layer for doubt in built.report.missing] == [
        *("depth", "hazards", "zones", "overhead", "openings", "waypoints", "currents")
    ]
    assert [report.used for report in built.report.tables] == [1, 1]
    assert built.recipe.sources[1].columns["price_diesel_per_l"] == "Diesel EUR/l"


def test_the_recipe_that_comes_out_builds_the_same(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "Dock,Lat,Lon,Fuel,Depth ft\nKnap,44 36.1N,38 30W,both,9\n")
    built = build(coast(tmp_path), docks)
    assert assemble(built.recipe, today=TODAY).region.digest == built.region.digest


def test_hours_ask_for_a_time_zone_and_prices_for_a_currency(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels,hours,diesel\nKnap,44,-38,diesel,24/7,1.9\n")
    with pytest.raises(InputError, match=r"--time-zone: is missing, and .*docks\.csv, line 2, has hours"):
        build(docks, time_zone=None)
    with pytest.raises(InputError, match=r"--currency: is missing, and .*docks\.csv, line 2, has a price"):
        build(docks, currency=None)
    plain = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nKnap,44,-38,diesel\n")
    built = build(plain, time_zone=None, currency=None)
    assert (built.region.about.time_zone, built.region.about.currency) == ("UTC", "XXX")  # ISO 4217: no currency
    assert any("UTC" in caution for caution in built.report.cautions)


def test_all_bad_rows_of_all_files_come_at_once(tmp_path: Path):
    one = write(
        tmp_path, "docks.csv", "name,lat,lon,fuels,hours\nA,44,-38,kero,\nB,44.1,-38,diesel,Mo-Xx\nC,0,0,diesel,\n"
    )
    two = write(tmp_path, "places.csv", "name,lat,lon\nD,44 61N,38W\n")
    with pytest.raises(SourceError) as raised:
        build(one, two)
    told = [(bad.file.rsplit("/", 1)[-1], bad.row) for bad in raised.value.bad_entries]
    assert sorted(told) == [("docks.csv", f"line {line}") for line in (2, 3, 4)] + [("places.csv", "line 2")]
    assert str(raised.value).startswith("2 files: 4 bad entries; nothing was written")


def test_one_name_for_two_places(tmp_path: Path):
    rows = "A,44,-38,diesel\nB,44.1,-38,diesel\nA,44,-38,diesel\n"
    built = build(write(tmp_path, "docks.csv", f"name,lat,lon,fuels\n{rows}"))
    assert list(built.region.layer("docks")["name"]) == ["A", "B"]
    assert any("there twice over" in caution and "line 4" in caution for caution in built.report.cautions)
    other = write(tmp_path, "more_docks.csv", "name,lat,lon,fuels\nA,44.2,-38,diesel\n")
    with pytest.raises(SourceError) as raised:
        build(tmp_path / "docks.csv", other)
    (bad,) = raised.value.bad_entries
    assert (bad.file, bad.row) == (str(other), "line 2")
    assert f"{tmp_path / 'docks.csv'}, line 2" in bad.rule


def test_one_layer_from_several_files_names_them_all(tmp_path: Path):
    one = coast(tmp_path, HOLM, name="land_west.gpkg")
    two = coast(tmp_path, shapely.box(-38.3, 44.4, -38.2, 44.6), name="land_east.gpkg")
    recipe = Recipe(
        sources=(
            RecipeSource(file=str(one), title="West sheet", edition="3", licence="free", datum="lowest tide"),
            RecipeSource(file=str(two), title="East sheet", licence="free", date=date(2025, 5, 1)),
        )
    )
    source = assemble(recipe, today=TODAY).region.about.sources["land"]
    assert (source.title, source.edition, source.licence) == ("West sheet; East sheet", "3", "free")
    assert source.date is None  # one of them doesn't say


def test_a_mended_coast_is_told_with_its_row(tmp_path: Path):
    hourglass = shapely.Polygon([(-38.6, 44.4), (-38.4, 44.6), (-38.6, 44.6), (-38.4, 44.4)])
    built = build(coast(tmp_path, shapely.box(-38.3, 44.4, -38.2, 44.5), hourglass))
    (repair,) = built.report.repairs
    assert (repair.layer, repair.row, repair.name) == ("land", "row 2", "Isle 1")
    assert repair.after_m2 > repair.before_m2
    assert built.region.layer("land").is_valid.all()


def test_what_lies_outside_is_left_out_by_name(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nIn,44.5,-38.3,diesel\nOut,40,-30,diesel\n")
    near, far = shapely.box(-38.03, 44.5, -38.01, 44.6), shapely.box(-37.9, 44.5, -37.8, 44.6)
    built = build(coast(tmp_path, HOLM, near, far), docks, extent=(-39, 44, -38.05, 45))
    assert list(built.region.layer("docks")["name"]) == ["In"]
    assert len(built.region.layer("land")) == 2  # the shore just outside the extent counts
    assert any("1 row outside the extent left out: Out" in note for note in built.report.tables[1].notes)


def test_positions_with_a_wrong_sign_or_exchanged_are_told(tmp_path: Path):
    rows = "East,44.5,38.5,diesel\nSouth,-44.5,-38.5,diesel\nFar,10,10,diesel\n"
    sign = write(tmp_path, "docks.csv", f"name,lat,lon,fuels\n{rows}")
    swapped = write(tmp_path, "places.csv", "name,lat,lon\nTurned,-38.5,44.5\n")
    built = build(coast(tmp_path), sign, swapped, extent=(-39, 44, -38, 45))
    told = [caution.replace(f"{tmp_path}/", "") for caution in built.report.cautions[:3]]
    left_out, inside = "lies outside the extent and is left out; with", "it would lie inside: is it written so?"
    assert told == [
        f"docks.csv, line 2 (East) {left_out} the sign of the longitude changed {inside}",
        f"docks.csv, line 3 (South) {left_out} the sign of the latitude changed {inside}",
        f"places.csv, line 2 (Turned) {left_out} latitude and longitude exchanged {inside}",
    ]
    assert "1 of these would lie inside with latitude and longitude exchanged" in built.report.tables[2].notes[-1]


@pytest.mark.parametrize("extent", [(70.3, 23.0, 71.3, 27.0), (-27.0, 70.3, -23.0, 71.3)])
def test_an_extent_with_its_numbers_turned_is_refused(tmp_path: Path, extent: tuple[float, float, float, float]):
    """The coast of the world lies in any extent, so that places alone can tell."""
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nA,71,25,diesel\nB,70.5,26,diesel\n")
    with pytest.raises(InputError) as raised:
        build(coast(tmp_path, shapely.box(-180, -60, 180, 80)), docks, extent=extent)
    assert str(raised.value).startswith("--extent: holds none of the 2 places")
    assert "west south east north: " in str(raised.value)
    assert "23 70.3 27 71.3" in str(raised.value)
    assert build(coast(tmp_path), docks, extent=(23, 70.3, 27, 71.3)).region.present == {"docks"}


def test_an_extent_of_an_ocean_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match=r"--extent: is [\d,]+ nmi from corner to corner; 1,500 nmi is the limit"):
        build(coast(tmp_path), extent=(-180, -90, 180, 90))


def test_an_extent_of_nothing_is_refused(tmp_path: Path):
    with pytest.raises(InputError, match="--extent: holds nothing of the sources"):
        build(coast(tmp_path), extent=(0, 0, 1, 1))


def test_a_table_that_nothing_tells_stops_the_build_and_stands_in_the_recipe(tmp_path: Path):
    """Closed water in a table with a name of its own must not be lost without a word."""
    gpkg = tmp_path / "my.gpkg"
    frame = gpd.GeoDataFrame({"remark": ["x"]}, geometry=[shapely.box(-38.3, 44.3, -38.2, 44.4)], crs=4326)
    frame.to_file(gpkg, layer="Grandfather")
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[HOLM], crs=4326).to_file(gpkg, layer="land", mode="a")
    recipe, _ = add_sources(Recipe(), [gpkg])
    guessed = guess_recipe(recipe)
    assert [(each.where.rsplit("/", 1)[-1], each.problem) for each in guessed.unsaid] == [
        ("my.gpkg, Grandfather", "nothing tells what it holds")
    ]
    with pytest.raises(InputError, match=r"my\.gpkg, \w+: nothing tells what it holds"):
        assemble(recipe, today=TODAY)
    text = write_recipe(guessed.recipe)
    assert 'layer = "Grandfather"\nas = ""  # fill in: land, depth' in text
    said = write(tmp_path, "said.toml", text.replace('as = ""', 'as = "skip"'))
    assert assemble(read_recipe(said), today=TODAY).region.present == {"land"}
    drawn = RecipeSource(file=str(gpkg), layer="Grandfather", as_="land")
    assert len(assemble(Recipe(sources=(drawn,)), today=TODAY).region.layer("land")) == 1


def test_a_file_without_a_reference_system_is_left_to_fill_in(tmp_path: Path):
    shp = coast(tmp_path, name="land.shp")
    shp.with_suffix(".prj").unlink()
    recipe, _ = add_sources(Recipe(), [shp])
    guessed = guess_recipe(recipe)
    assert "reference system" in guessed.unsaid[0].problem
    text = write_recipe(guessed.recipe)
    assert 'crs = "?"' in text
    again = read_recipe(write(tmp_path, "my.toml", text))
    assert guess_recipe(again).unsaid
    said = read_recipe(write(tmp_path, "my.toml", text.replace('"?"', '"EPSG:4326"')))
    assert assemble(said, today=TODAY).region.present == {"land"}


def test_water_that_the_chart_leaves_unsurveyed_and_a_file_opens(tmp_path: Path):
    cells = Path(__file__).parent / "reference" / "cells"
    west, south, east, north = build(cells).region.about.extent
    frame = gpd.GeoDataFrame({"min_depth_m": [9.0]}, geometry=[shapely.box(west, south, east, north)], crs=4326)
    frame.to_file(tmp_path / "depth.gpkg")
    first = build(cells, tmp_path / "depth.gpkg").report.cautions[0]
    assert "km2 of water that the chart leaves unsurveyed" in first
    assert "depth.gpkg" in first
    assert not any("leaves unsurveyed" in caution for caution in build(cells).report.cautions)


def test_what_a_chart_warns_of_is_told_in_full_and_stays_with_the_region(tmp_path: Path):
    built = build(Path(__file__).parent / "reference" / "cells")
    second = "counts depths from mean lower low water"
    assert any(second in caution for caution in built.report.cautions)
    assert any(
        "entry is restricted, and the chart doesn't say for whom" in caution for caution in built.report.cautions
    )
    write_region(built.region, tmp_path / "waters")
    region = read_region(tmp_path / "waters")
    assert second in str(region.about.sources["depth"].warning)
    assert any(second in line for line in region.about.source_lines)
    found = [doubt for doubt in find_doubts(region, today=TODAY) if second in doubt.problem]
    assert [(doubt.layer, group_of(doubt)) for doubt in found] == [("depth", "aground")]
    again = build(tmp_path / "waters")
    assert second in str(again.region.about.sources["depth"].warning)


def test_only_sources_that_gave_rows_are_named(tmp_path: Path):
    """All docks of the chart are taken from the file: it is the only source of docks, and contradictions are told."""
    cells = Path(__file__).parent / "reference" / "cells"
    charted = build(cells).region.layer("docks")
    rows = [
        f"{dock['name']},{dock.geometry.y},{dock.geometry.x},{'diesel' if dock['fuels'] == 'gasoline' else 'gasoline'}"
        for _, dock in charted.iterrows()
    ]
    own = write(tmp_path, "docks.csv", "\n".join(["name,lat,lon,fuels", *rows]))
    built = build(cells, own)
    assert built.region.about.sources["docks"].title == "docks.csv"
    assumed = charted["note"].fillna("").str.contains("assumed").sum()
    contradictions = [caution for caution in built.report.cautions if "they contradict" in caution]
    assert len(contradictions) == len(charted) - assumed


def test_a_price_that_is_not_used_is_told(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels,diesel pence/l\nKnap,44,-38,diesel,190\n")
    built = build(docks)
    assert any("column 'diesel pence/l' isn't used" in caution for caution in built.report.cautions)


def test_places_that_sell_no_fuel_are_left_out_by_name(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nKnap,44,-38,diesel\nQuiet,44.1,-38,no\nBare,44.2,-38,-\n")
    with pytest.raises(SourceError, match=r'line 4 .*: say what it sells, or write no .*fuels = "no"'):
        build(docks)
    recipe = Recipe(sources=(RecipeSource(file=str(docks), as_="docks", set_={"fuels": "no"}),))
    built = assemble(recipe, today=TODAY)
    assert list(built.region.layer("docks")["name"]) == ["Knap"]
    assert "2 rows that sell no fuel left out: Quiet, Bare" in built.report.tables[0].notes


@pytest.mark.parametrize("rules", [[None, None], ["no-wake", None]])
def test_a_rule_that_is_missing_is_told_with_the_choice(tmp_path: Path, rules: list[str | None]):
    farm = shapely.box(-38.3, 44.3, -38.2, 44.4)
    areas = gpd.GeoDataFrame({"name": ["A", "B"], "rule": rules}, geometry=[farm, farm], crs=4326)
    areas.to_file(tmp_path / "zones.gpkg")
    with pytest.raises(SourceError, match=r"\[source\.set\].* rule = .*no-entry"):
        build(tmp_path / "zones.gpkg")


def test_a_source_of_which_nothing_is_used_is_told_first(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nOut,40,-30,diesel\n")
    built = build(coast(tmp_path), docks, extent=(-39, 44, -38, 45))
    assert built.report.cautions[0] == f"no row of {docks} is in the region"
    assert "docks" not in built.region.about.sources


def test_a_coast_of_the_world_does_not_say_how_far_the_waters_go(tmp_path: Path):
    world = coast(tmp_path, HOLM, shapely.box(100, -30, 140, -20), name="GSHHS_i_L1.shp")
    with pytest.raises(InputError, match=r"--extent: is missing.*corner to corner"):
        build(world)
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nA,44.5,-38.3,diesel\nB,44.6,-38.62,diesel\n")
    about = build(world, docks).region.about
    assert about.extent == (-38.75, 44.4, -38.2, 44.7)
    assert about.sources["land"].licence == "LGPL"


def test_waters_across_the_180th_meridian(tmp_path: Path):
    docks = write(tmp_path, "docks.csv", "name,lat,lon,fuels\nWest,17 45S,177 25E,diesel\nEast,16 45S,179 55W,diesel\n")
    land = coast(tmp_path, shapely.box(178, -18, 179, -17), shapely.box(179.5, -16.9, 180.4, -16.8), name="land.gpkg")
    about = (built := build(land, docks)).region.about
    assert about.extent == (177.4, -18.0, -179.6, -16.75)
    assert set(built.region.layer("docks")["name"]) == {"West", "East"}
    assert built.region.layer("land").geometry[1].geom_type == "MultiPolygon"  # cut at 180, RFC 7946, section 3.1.9


def test_places_without_positions_are_told_before_an_extent_is_asked_for(tmp_path: Path):
    with pytest.raises(SourceError, match="no position"):
        build(write(tmp_path, "docks.csv", "name,lat,lon,fuels\nA,,,diesel\n"))


def test_a_column_that_is_needed_and_not_there(tmp_path: Path):
    with pytest.raises(SourceError) as raised:
        build(write(tmp_path, "docks.csv", "name,lat,lon\nA,44,-38\nB,44,-39\n"))
    assert str(raised.value) == (
        f"{tmp_path / 'docks.csv'}: none of its columns is known to be fuels, which every row of layer docks needs: "
        "call one so, or say in a recipe which one it is ([source.columns]), or what it is for all rows ([source.set])"
    )


def test_chart_cells_and_a_file_together(tmp_path: Path):
    """A person's own dock stands for the chart's of the same name; the chart's others stay."""
    cells = Path(__file__).parent / "reference" / "cells"
    charted = build(cells).region
    assert {"land", "depth"} <= charted.present
    told = Recipe(sources=(RecipeSource(file=str(cells), as_="cells", licence="invented"),))
    assert assemble(told, today=TODAY).region.about.sources["depth"].licence == "invented"
    dock = charted.layer("docks").iloc[0]
    own = write(
        tmp_path,
        "docks.csv",
        f"name,lat,lon,fuels,phone\n{dock['name']},{dock.geometry.y},{dock.geometry.x},diesel,+00 1\n",
    )
    built = build(cells, own)
    docks = built.region.layer("docks")
    assert list(docks[docks["name"] == dock["name"]]["phone"]) == ["+00 1"]
    assert len(docks) == len(charted.layer("docks"))
    assert any("not from the chart" in caution for caution in built.report.cautions)
    assert built.region.about.extent == charted.about.extent
    assert built.report.said["extent"] == "what the chart cells cover"
    assert sum(account.count for account in built.report.cells) > 0


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"time_zone": "Mars/Olympus"}, "--time-zone: must be an IANA"),
        ({"currency": "euro"}, "--currency: must be a currency"),
        ({"extent": (10.0, 44.0, -38.0, 45.0)}, "--extent: "),
    ],
)
def test_what_no_region_can_say_is_refused_first(tmp_path: Path, given: dict[str, Any], says: str):
    with pytest.raises(InputError) as raised:
        build(coast(tmp_path), **given)
    assert str(raised.value).startswith(says)


def test_too_many_corners_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("layers.gathering.MOST_CORNERS", 4)
    with pytest.raises(InputError, match="layer land has 5 corners inside the extent; the limit is 4"):
        build(coast(tmp_path))


def test_a_shifted_row_is_told_once(tmp_path: Path):
    rows = "Knap;44,1 -38,1;1,98;2,10\nTern;44,07;-38,00;1,9\n"
    with pytest.raises(SourceError) as raised:
        build(write(tmp_path, "docks.csv", f"Name;Position;Petrol EUR/l;Diesel EUR/l\n{rows}"))
    assert [(bad.row, bad.column) for bad in raised.value.bad_entries] == [("line 3", "Position")]


def test_a_rock_just_outside_and_a_pile_of_less_than_a_square_metre_are_kept(tmp_path: Path):
    """The rock lies 36 m east of the extent and is kept 300 m off: it closes water inside."""
    pile = shapely.Point(-38.2, 44.2).buffer(0.000004)  # 0.3 by 0.4 m
    rocks = gpd.GeoDataFrame(
        {"kind": ["rock", "pile"], "keep_off_m": [300.0, 50.0]},
        geometry=[shapely.Point(-37.99955, 44.3), pile],
        crs=4326,
    )
    rocks.to_file(tmp_path / "hazards.gpkg")
    built = build(coast(tmp_path), tmp_path / "hazards.gpkg", extent=(-39, 44, -38, 45))
    assert sorted(built.region.layer("hazards")["kind"]) == ["pile", "rock"]
    assert not [found for found in built.report.findings if found.layer == "hazards"]


def test_decimal_commas_among_commas_are_named(tmp_path: Path):
    docks = write(tmp_path, "stops.csv", "Name,Lat,Lon,Fuel\nKnap,44,048,-38,06,petrol\n")
    with pytest.raises(SourceError, match=r"line 2 \(Knap\): has 6 cells, .* 4 columns: .*decimal comma"):
        build(docks)
