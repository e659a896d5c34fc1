"""The demo region: what it must contain, and that the generator makes the committed files again."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import tomllib
from collections import Counter
from datetime import date
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from shapely.geometry import shape

import demo_region
from demo_region.contours import find_rings, ring_area_nmi2, thin_ring
from demo_region.plane import EXTENT, Grid, to_lon_lat, to_plane

if TYPE_CHECKING:
    from pathlib import Path

DATA = demo_region.data_folder()
LAYERS = ("land", "depth", "hazards", "zones", "overhead", "openings", "docks", "waypoints", "currents")
SAME_PLACE_DEG = 1e-5  # about a metre: libraries may round the last digit differently, nothing more
DEMO_DAY = date(2026, 7, 1)


@cache
def rows(layer: str) -> tuple[dict[str, Any], ...]:
    return tuple(json.loads((DATA / f"{layer}.geojson").read_text())["features"])


@cache
def shapes(layer: str) -> tuple[Any, ...]:
    return tuple(shape(row["geometry"]) for row in rows(layer))


def columns(layer: str) -> list[dict[str, Any]]:
    return [row["properties"] for row in rows(layer)]


def names(layer: str) -> list[str]:
    return [row["name"] for row in columns(layer) if row["name"]]


def numbers(geometry: dict[str, Any]) -> np.ndarray[Any, Any]:
    return np.array(re.findall(r"-?\d+\.\d+(?:e-?\d+)?", json.dumps(geometry["coordinates"])), dtype=float)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo") / "region"
    demo_region.generate(out)
    return out


@pytest.mark.slow
def test_the_generator_makes_the_committed_files_again(made: Path) -> None:
    files = {path.relative_to(DATA).as_posix() for path in DATA.rglob("*") if path.is_file()}
    assert files == {path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()}
    for name in sorted(files - {"manifest.json"}):
        if not name.endswith(".geojson"):
            assert (made / name).read_bytes() == (DATA / name).read_bytes(), name


@pytest.mark.slow
@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_made_again_lies_in_the_same_place(made: Path, layer: str) -> None:
    again = json.loads((made / f"{layer}.geojson").read_text())["features"]
    assert len(again) == len(rows(layer))
    for new, old in zip(again, rows(layer), strict=True):
        assert new["properties"] == old["properties"]
        assert new["geometry"]["type"] == old["geometry"]["type"]
        assert numbers(new["geometry"]) == pytest.approx(numbers(old["geometry"]), abs=SAME_PLACE_DEG, rel=0)


@pytest.mark.slow
def test_another_seed_makes_another_coast(tmp_path: Path) -> None:
    demo_region.generate(tmp_path, seed=1)
    assert (tmp_path / "land.geojson").read_bytes() != (DATA / "land.geojson").read_bytes()
    assert len(json.loads((tmp_path / "docks.geojson").read_text())["features"]) == len(rows("docks"))


def test_the_manifest_guards_every_committed_file() -> None:
    manifest = json.loads((DATA / "manifest.json").read_text())
    files = {path.relative_to(DATA).as_posix(): path.read_bytes() for path in DATA.rglob("*") if path.is_file()}
    del files["manifest.json"]
    assert manifest["files"] == {
        name: {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)} for name, content in files.items()
    }
    assert sum(map(len, files.values())) < 2_000_000


def test_there_are_as_many_of_everything_as_the_demo_promises() -> None:
    corners = sum(len(ring.coords) - 1 for land in shapes("land") for ring in (land.exterior, *land.interiors))
    assert 5_000 <= corners <= 10_000
    assert len(shapes("land")) - 1 >= 80
    assert len(rows("docks")) >= 30
    assert len(rows("waypoints")) >= 45
    assert {row["kind"] for row in columns("waypoints")} == {"harbour", "anchorage", "mark", "entrance"}
    rules = Counter(row["rule"] for row in columns("zones"))
    assert rules["no-wake"] >= 12 + 2
    assert rules["speed-limit"] == rules["traffic-lane"] == 2
    assert {"no-entry", "bar", "caution"} <= set(rules)
    assert any(row["season"] for row in columns("zones"))
    assert {row["kind"] for row in columns("overhead")} == {"bridge", "cable"}
    assert {row["kind"] for row in columns("openings")} == {"bridge", "lock"}
    assert len(rows("currents")) == 2
    depths = [row["min_depth_m"] for row in columns("depth")]
    assert min(depths) < 0
    assert max(depths) > 50
    assert {row["survey"] for row in columns("depth")} == {"good", "poor"}


def test_the_coast_is_ragged_at_many_scales() -> None:
    """A straight coast gives the same length at any ruler; a ragged one gains with every shorter ruler."""
    mainland = max(shapes("land"), key=lambda land: land.area)
    board = shapely.transform(mainland.exterior, to_plane)
    lengths = [board.simplify(ruler_nmi).length for ruler_nmi in (5.0, 1.0, 0.25, 0.05)]
    assert all(longer > 1.05 * shorter for shorter, longer in pairwise(lengths))


def test_islands_neither_overlap_nor_touch() -> None:
    land = np.array(shapes("land"))
    assert shapely.is_valid(land).all()
    first, second = shapely.STRtree(land).query(land, predicate="intersects")
    assert (first == second).all()


def test_land_and_depth_meet_without_crack_or_overlap() -> None:
    """Exact shared corners leave no sliver; what is left over is the two unsurveyed gaps and nothing else."""
    parts = np.array(shapes("land") + shapes("depth"))
    assert shapely.coverage_is_valid(parts)
    gaps = shapely.get_parts(shapely.difference(shapely.box(*EXTENT), shapely.coverage_union_all(parts)))
    assert len(gaps) == 2


def test_rings_turn_as_rfc_7946_asks() -> None:
    for layer in LAYERS:
        for polygon in shapes(layer):
            if polygon.geom_type == "Polygon":
                assert polygon.exterior.is_ccw, layer
                assert not any(ring.is_ccw for ring in polygon.interiors), layer


def test_everything_lies_in_the_extent_with_six_decimals() -> None:
    box = shapely.box(*EXTENT)
    for layer in LAYERS:
        assert shapely.covers(box, np.array(shapes(layer))).all(), layer
        assert not re.search(r"\.\d{7}", (DATA / f"{layer}.geojson").read_text()), layer


def test_names_are_unique() -> None:
    for layer in ("land", "hazards", "zones", "overhead", "openings", "currents"):
        assert len(set(names(layer))) == len(names(layer)), layer
    places = names("docks") + names("waypoints")
    assert len(set(places)) == len(places) == len(rows("docks")) + len(rows("waypoints"))


def test_docks_stand_in_the_water_by_the_shore() -> None:
    land = shapely.union_all(shapely.transform(np.array(shapes("land")), to_plane))
    for dock, row in zip(shapes("docks"), columns("docks"), strict=True):
        off_m = shapely.transform(dock, to_plane).distance(land) * 1852
        assert 10 < off_m < 60, row["name"]


@pytest.mark.parametrize("layer", ["waypoints", "hazards"])
def test_waypoints_and_hazards_lie_in_the_water(layer: str) -> None:
    land = shapely.union_all(np.array(shapes("land")))
    shapely.prepare(land)
    assert not shapely.intersects(land, np.array(shapes(layer))).any()


def test_bridges_cables_and_the_lock_reach_land_at_both_ends() -> None:
    land = shapely.union_all(np.array(shapes("land")))
    lines = [line for layer in ("overhead", "openings") for line in shapes(layer) if line.geom_type == "LineString"]
    assert len(lines) == 4
    for line in lines:
        assert all(land.covers(shapely.Point(end)) for end in line.coords)
        assert line.difference(land).geom_type == "LineString"  # one stretch of water in between


def test_docks_differ_in_what_decides_a_stop() -> None:
    docks = columns("docks")
    for column in ("fuels", "opening_hours", "depth_m", "max_length_m", "price_gasoline_per_l", "pumps", "pump_lpm"):
        assert len({dock[column] for dock in docks}) >= 3, column
    assert any(dock["largest_sale_l"] for dock in docks)
    assert any(dock["members_only"] for dock in docks)
    assert any(dock["opening_hours"] is None and dock["depth_m"] is None for dock in docks)
    ages = [(DEMO_DAY - date.fromisoformat(dock["confirmed_on"])).days for dock in docks if dock["confirmed_on"]]
    assert 0 < min(ages) < 7
    assert max(ages) > 5 * 365
    assert len(ages) < len(docks)


def test_the_obvious_dock_is_shut_on_a_weekday_afternoon_and_lies_up_a_no_wake_inlet() -> None:
    obvious = next(i for i, dock in enumerate(columns("docks")) if dock["name"].startswith("Hesterquay"))
    assert DEMO_DAY.strftime("%a") == "Wed"
    assert columns("docks")[obvious]["opening_hours"].startswith("Mo-Fr 07:00-12:00;")
    zone = next(
        zone for zone, row in zip(shapes("zones"), columns("zones"), strict=True) if row["name"] == "Hesterquay inlet"
    )
    assert zone.covers(shapes("docks")[obvious])
    story = demo_region.story()
    assert {story.start, story.finish, "Hesterquay", "Callowhythe", "Larkhythe"} <= set(names("waypoints"))
    assert (DATA / story.boat).is_file()


def test_four_boats_with_the_units_of_their_skippers() -> None:
    boats = [tomllib.loads(path.read_text()) for path in sorted((DATA / "boats").glob("*.toml"))]
    assert Counter(boat["fuel"] for boat in boats) == {"gasoline": 2, "diesel": 2}
    assert {boat["display_units"] for boat in boats} == {"us", "imperial", "metric"}
    bridge_m = max(row["clearance_m"] for row in columns("overhead") if row["kind"] == "bridge")
    cable_m = max(row["clearance_m"] for row in columns("overhead") if row["kind"] == "cable")
    *low, tall = sorted(boats, key=lambda boat: float(boat["air_draught_m"]))
    assert all(boat["air_draught_m"] + 0.5 < bridge_m for boat in low)
    assert tall["air_draught_m"] > cable_m > bridge_m
    for boat in boats:
        burn = boat["burn"]
        assert len(burn["speed_kn"]) == len(burn["burn_lph"]) >= 2
        assert burn["speed_kn"] == sorted(burn["speed_kn"])
        assert burn["burn_lph"] == sorted(burn["burn_lph"])
        assert boat["cruising_speed_kn"] in burn["speed_kn"]


def test_each_boat_has_a_season_of_fillups_with_its_mishaps() -> None:
    with (DATA / "fillups.csv").open(newline="") as file:
        log = list(csv.DictReader(file))
    boats = {tomllib.loads(path.read_text())["name"] for path in (DATA / "boats").glob("*.toml")}
    counts = Counter(row["boat"] for row in log)
    assert set(counts) == boats
    assert all(15 <= count <= 25 for count in counts.values())
    known = set(names("docks"))
    for boat in boats:
        own = [row for row in log if row["boat"] == boat]
        assert [row["when"] for row in own] == sorted(row["when"] for row in own)
        assert {row["dock"] for row in own} <= known
        assert [row["filled_to_full"] for row in own].count("no") == 1
        assert [row["meter_reset"] for row in own].count("no") == 1
        for row in own:
            assert float(row["pumped_l"]) > 0
            assert float(row["engine_hours_h"]) > 0


def test_the_log_shows_the_meter_errors_of_the_answers() -> None:
    """Between two full marks with a reset meter, pumped / metered is the meter factor, within noise.

    The noise of one fill-up: full mark sd at both ends, up to 2.2 l of 360, against some 160 l pumped, and 0.6 % of the
    reading. The median of more than ten such ratios stays within 2 %.
    """
    with (DATA / "fillups.csv").open(newline="") as file:
        log = list(csv.DictReader(file))
    for truth in tomllib.loads((DATA / "fillups_answers.toml").read_text())["boat"]:
        own = [row for row in log if row["boat"] == truth["name"]]
        wrong = {odd["when"] for odd in truth["oddity"]}
        assert len(wrong) == 3
        ratios = []
        for before, row in pairwise(own):
            if {before["filled_to_full"], before["meter_reset"], row["filled_to_full"]} == {"yes"} and not any(
                before["when"] < when <= row["when"] for when in wrong
            ):
                metered = float(row["meter_used_l"]) + float(row["meter2_used_l"] or 0)
                ratios.append(float(row["pumped_l"]) / metered)
        factors = truth["meter_factors"]
        expected = len(factors) / sum(1 / factor for factor in factors)  # two meters of equal flow: the harmonic mean
        assert len(ratios) >= 10
        assert float(np.median(ratios)) == pytest.approx(expected, rel=0.02), truth["name"]


def test_the_answers_are_in_the_answers_file_alone() -> None:
    answers = (DATA / "fillups_answers.toml").read_text()
    secrets = set(re.findall(r"\b\d\.\d{4}\b", answers))
    assert len(secrets) >= 8
    for path in DATA.rglob("*"):
        if path.is_file() and path.name != "fillups_answers.toml" and path.suffix in {".toml", ".csv"}:
            text = path.read_text()
            assert not secrets & set(re.findall(r"\b\d\.\d{4}\b", text)), path.name
            assert not re.search(r"meter_factor|gauge_true|burn_factor|oddity|nobody wrote|not reset", text), path.name


def test_the_cruise_has_eight_boats_and_places_that_exist() -> None:
    cruise = tomllib.loads((DATA / "cruise.toml").read_text())
    assert len(cruise["boat"]) == 8
    assert all((DATA / boat["file"]).is_file() for boat in cruise["boat"])
    places = {visit if isinstance(visit, str) else visit["place"] for visit in cruise["visit"]}
    assert places <= set(names("waypoints"))


def test_the_region_says_that_it_is_invented() -> None:
    about = tomllib.loads((DATA / "region.toml").read_text())
    assert set(about["sources"]) == set(LAYERS)
    for source in about["sources"].values():
        assert "invented" in source["title"]
        assert "never for navigation" in source["title"]
        assert source["licence"] == "CC0 1.0"
    assert "CC0 1.0" in (DATA / "LICENSE").read_text()


def test_level_lines_of_a_cone_are_circles() -> None:
    """A cone of height 3 nmi and slope 1: its line at level 1 is the circle of radius 2, of area 4 pi = 12.57 nmi2.

    Chords of at most 0.14 nmi stay inside by 0.0013 nmi at most, which costs 0.1 %; thinned to 0.01 nmi, 1 % at most.
    """
    grid = Grid(step_nmi=0.1)
    x_nmi, y_nmi = grid.nodes_nmi()
    (ring,) = find_rings(grid, 3.0 - np.hypot(x_nmi - 40.0, y_nmi - 30.0), 1.0)
    assert ring_area_nmi2(ring) == pytest.approx(12.566, rel=0.002)
    thin = thin_ring(ring, 0.01)
    assert len(thin) < len(ring) / 2
    assert ring_area_nmi2(thin) == pytest.approx(12.566, rel=0.012)


def test_the_board_and_the_globe_are_two_ways_to_write_one_place() -> None:
    board = np.array([[0.0, 0.0], [149.0, 90.0], [12.5, 33.25]])
    assert to_plane(to_lon_lat(board)) == pytest.approx(board, abs=1e-9)
    assert to_lon_lat(board[:1])[0] == pytest.approx(EXTENT[:2])
