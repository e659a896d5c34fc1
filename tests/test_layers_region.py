"""Regions read from folders and files, good and bad."""

from __future__ import annotations

import json
import os
import string
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layers import (
    LAYERS,
    InputError,
    LayersError,
    Region,
    RegionAbout,
    build_layer,
    build_region,
    read_region,
    write_region,
)

TOML = """name = "Nowhere Sound"
extent = [-39.5, 43.75, -36.0, 45.25]
time_zone = "Atlantic/Azores"
chart_datum = "LAT"
clearance_datum = "MHWS"
currency = "EUR"
"""
ABOUT = RegionAbout(
    name="Nowhere Sound",
    extent=(-39.5, 43.75, -36.0, 45.25),
    time_zone="Atlantic/Azores",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
)
RING = [[-38, 44], [-37, 44], [-37, 45], [-38, 44]]
CROSSED = [[-38, 44], [-37, 45], [-37, 44], [-38, 45], [-38, 44]]


def point(lon: float, lat: float, **properties: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]}, "properties": properties}


def polygon(ring: list[list[int]], **properties: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [ring]}, "properties": properties}


def saved(folder: Path, toml: str | None = TOML, **layers: list[dict[str, object]]) -> Path:
    """Write a region by hand, as a user would have it."""
    folder.mkdir(exist_ok=True)
    if toml is not None:
        (folder / "region.toml").write_text(toml, encoding="utf-8")
    for name, features in layers.items():
        text = json.dumps({"type": "FeatureCollection", "features": features})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")
    return folder


def test_a_folder_is_read(tmp_path: Path):
    docks = [point(-38, 44.5, name="Knap Quay", fuels="gasoline"), point(-38.1, 44.5, name="Holm", fuels="diesel")]
    region = read_region(saved(tmp_path / "r", land=[polygon(RING)], docks=docks))
    assert region.about == ABOUT
    assert region.zone == ZoneInfo("Atlantic/Azores")
    assert region.present == {"land", "docks"}
    assert set(region.frames) == set(LAYERS)
    assert [dock.name for dock in region.layer("docks").itertuples()] == ["Knap Quay", "Holm"]
    assert region.layer("docks").geometry[1].coords[0] == (-38.1, 44.5)
    assert region.notes == ()
    assert region.where == str(tmp_path / "r")


def test_only_the_toml_is_required(tmp_path: Path):
    region = read_region(saved(tmp_path / "r"))
    assert region.present == frozenset()
    for name, schema in LAYERS.items():
        frame = region.layer(name)
        assert (len(frame), list(frame.columns)) == (0, [*schema.column_names, "geometry"])
        assert frame.crs.to_epsg() == 4326


def test_a_path_may_be_text(tmp_path: Path):
    assert read_region(str(saved(tmp_path / "r"))).about.name == "Nowhere Sound"


def test_there_and_empty_is_not_absent(tmp_path: Path):
    """An empty depth layer closes all water as unsurveyed; an absent one checks no depth."""
    absent = read_region(saved(tmp_path / "a"))
    empty = read_region(saved(tmp_path / "b", depth=[]))
    assert empty.present == {"depth"}
    assert empty.digest != absent.digest


def test_an_unknown_layer_name_gets_the_nearest(tmp_path: Path):
    region = read_region(saved(tmp_path / "r"))
    with pytest.raises(InputError, match="did you mean docks"):
        region.layer("dock")
    with pytest.raises(InputError, match="the layers are land, depth"):
        region.layer("xyz")


def test_every_fault_of_every_layer_and_of_the_toml_comes_at_once(tmp_path: Path):
    folder = saved(
        tmp_path / "r",
        toml=TOML.replace("EUR", "euro"),
        land=[polygon(RING), polygon(CROSSED)],
        depth=[polygon(RING, min_depth_m=float("nan"))],
        zones=[polygon(RING, name="Reach", rule="slow", why="moorings")],
        docks=[point(-38, 44, name="A"), point(-38, 44, name="B", fuels="diesel", opening_hours="8-18")],
    )
    (folder / "waypoints.geojson").write_text('{"type": "FeatureCollection", "features": [', encoding="utf-8")
    with pytest.raises(LayersError) as caught:
        read_region(folder)
    found = [(row.layer, row.row, row.column) for row in caught.value.bad_rows]
    assert found == [
        ("region.toml", 0, "currency"),
        ("land", 2, "geometry"),
        ("depth", 1, "min_depth_m"),
        ("zones", 1, "rule"),
        ("docks", 1, "fuels"),
        ("docks", 2, "opening_hours"),
        ("waypoints", 0, "file"),
    ]
    assert all(row.rule for row in caught.value.bad_rows)
    assert len(str(caught.value).splitlines()) == 8


def test_self_crossing_land_is_placed(tmp_path: Path):
    with pytest.raises(
        LayersError, match=r"land, row 1, geometry: the outline crosses itself at longitude -37\.500000"
    ):
        read_region(saved(tmp_path / "r", land=[polygon(CROSSED)]))


def test_swapped_positions_are_told(tmp_path: Path):
    docks = [point(44.5, -38, name="A", fuels="diesel"), point(-38, 44.5, name="B", fuels="diesel")]
    with pytest.raises(LayersError) as caught:
        read_region(saved(tmp_path / "r", docks=docks))
    (fault,) = caught.value.bad_rows
    assert (fault.row, fault.rule) == (1, "longitude and latitude look swapped")


def test_far_outside_is_no_fault(tmp_path: Path):
    region = read_region(saved(tmp_path / "r", docks=[point(-30, 40, name="A", fuels="diesel")]))
    assert len(region.layer("docks")) == 1


@pytest.mark.parametrize(
    ("layer", "feature"),
    [
        ("docks", point(-38, 44, name="A", fuels="diesel", opening_hours="summer")),
        ("openings", point(-38, 44, name="A", kind="lock", opening_hours="summer")),
        ("zones", polygon(RING, name="A", rule="no-entry", why="birds", season="summer")),
    ],
)
def test_hours_that_cannot_be_read_are_faults_in_all_layers(tmp_path: Path, layer: str, feature: dict[str, object]):
    with pytest.raises(LayersError, match="can't be read"):
        read_region(saved(tmp_path / "r", **{layer: [feature]}))


def test_docks_with_bad_hours_can_be_left_out(tmp_path: Path):
    docks = [
        point(-38, 44, name="A", fuels="diesel", opening_hours="8-18"),
        point(-38, 44, name="B", fuels="diesel"),
        point(-38, 44, fuels="diesel", opening_hours="", name="C"),
    ]
    region = read_region(saved(tmp_path / "r", docks=docks), skip_bad_docks=True)
    assert list(region.layer("docks")["name"]) == ["B", "C"]
    (note,) = region.notes
    assert (note.layer, note.row, note.name) == ("docks", 1, "A")
    assert "8-18" in note.problem


def test_leaving_out_docks_excuses_nothing_else(tmp_path: Path):
    docks = [point(-38, 44, name="A", fuels="petrol", opening_hours="8-18")]
    zones = [polygon(RING, name="A", rule="no-entry", why="birds", season="summer")]
    with pytest.raises(LayersError) as caught:
        read_region(saved(tmp_path / "r", docks=docks, zones=zones), skip_bad_docks=True)
    assert [(row.layer, row.column) for row in caught.value.bad_rows] == [("zones", "season"), ("docks", "fuels")]


def test_unknown_files_and_columns_are_noted_and_left_out(tmp_path: Path):
    folder = saved(tmp_path / "r", docks=[point(-38, 44, name="A", fuels="diesel", Depth_M=2)], dock=[], roads=[])
    for name in ("land.json", "Zones.geojson", "notes.txt"):
        (folder / name).write_text("{}", encoding="utf-8")
    region = read_region(folder)
    assert region.present == {"docks"}
    assert {note.layer for note in region.notes} == {"docks", "dock", "roads", "land", "Zones"}
    told = " ".join(str(note) for note in region.notes)
    assert "call it depth_m if it is that column" in told
    assert "call it docks.geojson if it is that layer" in told
    assert "call it land.geojson if it is that layer" in told


def one_line(path: object) -> str:
    with pytest.raises(InputError) as caught:
        read_region(path)  # type: ignore[arg-type]
    text = str(caught.value)
    assert "\n" not in text
    return text


def test_paths_that_are_no_region(tmp_path: Path):
    (tmp_path / "file.txt").write_text("x", encoding="utf-8")
    (tmp_path / "loop").symlink_to("loop")
    assert "no such file or folder" in one_line(tmp_path / "nowhere")
    assert "neither a folder nor a GeoPackage" in one_line(tmp_path / "file.txt")
    assert "symbolic links" in one_line(tmp_path / "loop")
    assert "can't be opened" in one_line(f"{tmp_path}/\0")
    assert "can't be opened" in one_line(tmp_path / ("x" * 5000))
    assert "has no region.toml" in one_line(saved(tmp_path / "empty", toml=None))
    assert "can't be opened: not a directory" in one_line(tmp_path / "file.txt" / "region")


def test_a_toml_that_cannot_be_read(tmp_path: Path):
    folder = saved(tmp_path / "r", toml="")
    path = folder / "region.toml"
    assert "is empty" in one_line(folder)
    path.write_bytes(b"\xff\xfe\x00")
    assert "is not text in UTF-8" in one_line(folder)
    path.write_bytes(b"#" * 300_000)
    assert "is too large, 0.3 MB; the limit is 0.256 MB" in one_line(folder)
    path.unlink()
    path.mkdir()
    assert "is a folder, not a file" in one_line(folder)


def test_a_pipe_is_not_waited_for(tmp_path: Path):
    folder = saved(tmp_path / "r")
    os.mkfifo(folder / "land.geojson")
    assert "layer land, file: is a device or pipe, not a file" in one_line(folder)


def test_a_huge_layer_is_refused_unread(tmp_path: Path):
    folder = saved(tmp_path / "r")
    with (folder / "land.geojson").open("wb") as file:
        file.truncate(512_000_001)  # a hole: takes no room on the disk
    assert "layer land, file: is too large, 512.0 MB; the limit is 512 MB" in one_line(folder)


def skip_where_modes_do_not_bind(folder: Path) -> None:
    """Root may do all; a run without that power still tests what is refused."""
    probe = folder / "probe"
    probe.touch(mode=0)
    if os.access(probe, os.R_OK):
        pytest.skip("this user may read and write everything")
    probe.unlink()


def test_a_layer_that_may_not_be_read(tmp_path: Path):
    skip_where_modes_do_not_bind(tmp_path)
    folder = saved(tmp_path / "r", land=[])
    (folder / "land.geojson").chmod(0)
    assert "layer land, file: can't be read: permission denied" in one_line(folder)


def test_a_loop_of_links_is_a_fault_of_its_layer(tmp_path: Path):
    folder = saved(tmp_path / "r")
    (folder / "land.geojson").symlink_to("land.geojson")
    assert "layer land, file: can't be opened: too many levels of symbolic links" in one_line(folder)


def test_building_checks_as_reading_does():
    waypoints = build_layer(LAYERS["waypoints"], [{"name": "A", "kind": "mark"}], [shapely.Point(44.5, -38)])
    with pytest.raises(LayersError, match="look swapped"):
        build_region(ABOUT, {"waypoints": waypoints})
    with pytest.raises(LayersError, match="is no layer"):
        build_region(ABOUT, {"roads": waypoints})


def test_the_digest_sees_every_value():
    def digest(**values: object) -> str:
        row = {"name": "A", "fuels": "diesel"} | values
        return build_region(ABOUT, {"docks": build_layer(LAYERS["docks"], [row], [shapely.Point(-38, 44)])}).digest

    variants = [{}, {"depth_m": 0}, {"depth_m": 1e-9}, {"members_only": False}, {"note": "x"}, {"phone": "x"}]
    variants += [{"confirmed_on": date(2026, 5, 1)}, {"name": "B"}, {"fuels": "gasoline,diesel"}]
    assert len({digest(**values) for values in variants}) == len(variants)
    moved = build_layer(LAYERS["docks"], [{"name": "A", "fuels": "diesel"}], [shapely.Point(-38, 44.000000000000007)])
    assert build_region(ABOUT, {"docks": moved}).digest != digest()
    other = build_region(ABOUT.model_copy(update={"name": "B"}), {}).digest
    assert other != build_region(ABOUT, {}).digest


NUMBERS = st.floats(0.5, 1e6, allow_nan=False)
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Zl", "Zp")), min_size=1, max_size=12).filter(
    str.strip
)
PLACES = st.tuples(st.floats(-39.5, -36), st.floats(43.75, 45.25))
DOCKS = st.fixed_dictionaries(
    {"name": WORDS, "fuels": st.sampled_from(["gasoline", "diesel", "diesel,gasoline"])},
    optional={
        "opening_hours": st.sampled_from(["24/7", "Mo-Fr 08:00-18:00; PH off"]),
        "price_diesel_per_l": st.just(0) | NUMBERS,
        "ethanol_share": st.floats(0, 1),
        "depth_m": st.floats(-1e6, 1e6) | st.integers(-5, 5),
        "pumps": st.integers(1, 40),
        "members_only": st.booleans(),
        "confirmed_on": st.dates(),
        "note": WORDS,
        "vhf": st.integers(1, 88),
    },
)
BOXES = PLACES.flatmap(
    lambda corner: st.builds(
        lambda width, height, turn: shapely.box(*corner, corner[0] + width, corner[1] + height, ccw=turn),
        st.floats(1e-3, 1),
        st.floats(1e-3, 1),
        st.booleans(),
    )
)


@st.composite
def regions(draw: st.DrawFn) -> Region:
    frames = {}
    if draw(st.booleans()):
        rows = draw(st.lists(st.tuples(DOCKS, PLACES), max_size=4))
        frames["docks"] = build_layer(
            LAYERS["docks"], [row for row, _ in rows], [shapely.Point(place) for _, place in rows]
        )
    if draw(st.booleans()):
        land = draw(st.lists(BOXES, max_size=3))
        frames["land"] = build_layer(LAYERS["land"], [{"name": None}] * len(land), land)
    if draw(st.booleans()):
        kinds = draw(st.lists(PLACES.map(shapely.Point) | BOXES, max_size=3))
        rows = [{"kind": "rock", "keep_off_m": draw(NUMBERS)} for _ in kinds]
        frames["hazards"] = build_layer(LAYERS["hazards"], rows, kinds)
    return build_region(ABOUT, frames)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(regions())
def test_folder_geopackage_folder_is_the_same_region(tmp_path_factory: pytest.TempPathFactory, region: Region):
    folder = tmp_path_factory.mktemp("trip")
    write_region(region, folder / "first")
    write_region(read_region(folder / "first"), folder / "second.gpkg")
    write_region(read_region(folder / "second.gpkg"), folder / "third")
    for name in ("first", "second.gpkg", "third"):
        again = read_region(folder / name)
        assert again.digest == region.digest
        assert (again.about, again.present, again.notes) == (region.about, region.present, ())
        for layer in LAYERS:
            ours, theirs = region.layer(layer), again.layer(layer)
            assert list(ours.geometry.to_wkb()) == list(theirs.geometry.to_wkb())
            pd.testing.assert_frame_equal(
                pd.DataFrame(theirs.drop(columns="geometry")),
                pd.DataFrame(ours.drop(columns="geometry")),
                check_exact=True,
            )
    for path in sorted((folder / "first").iterdir()):
        assert path.read_bytes() == (folder / "third" / path.name).read_bytes()


def test_characters_outside_ascii_survive(tmp_path: Path):
    name = string.ascii_letters + " Ærø\u2013Šibenik 港 \u202e \U0001f6e5"
    row = {"name": name, "kind": "harbour"}
    region = build_region(ABOUT, {"waypoints": build_layer(LAYERS["waypoints"], [row], [shapely.Point(-38, 44)])})
    for target in (tmp_path / "folder", tmp_path / "file.gpkg"):
        write_region(region, target)
        assert read_region(target).layer("waypoints")["name"][0] == name


def test_the_demo_region_is_read_and_makes_the_round_trip(tmp_path: Path):
    demo = read_region(Path(__file__).parents[1] / "demo_region" / "data")
    assert demo.present == set(LAYERS)
    assert demo.notes == ()
    write_region(demo, tmp_path / "demo.gpkg")
    write_region(read_region(tmp_path / "demo.gpkg"), tmp_path / "demo")
    assert read_region(tmp_path / "demo").digest == demo.digest
