"""Bad input at the command line: one clear line, exit 2, nothing on stdout, nothing half written, no traceback."""

from __future__ import annotations

import json
import os
import random
import re
import sqlite3
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from faces import (
    BOAT_TOML,
    ISLAND,
    REGION_TOML,
    SMALL_LAYERS,
    Outcome,
    dock,
    feature,
    run,
    square,
    write_boat,
    write_region_folder,
)

import demo_region

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SEED = 20260701  # of the mutations
CASES = 20  # mutations of each way and kind of file
NEVER = ("Traceback", "a fault of ours", "pydantic", "errors.pydantic.dev", "Input should", 'File "')
HUGE_BYTES = 3_000_000_000  # a sparse file: no disk is used, but reading it whole would show


@pytest.fixture(scope="module")
def cli(cache_with_demo: Path) -> Callable[..., Outcome]:
    """Run `routeplan` at noon of 30 June 2026, with the cache that all tests share."""

    def at_noon(*words: object) -> Outcome:
        return run(*words, cache=cache_with_demo, now=datetime(2026, 6, 30, 12, tzinfo=UTC))

    return at_noon


@pytest.fixture
def refused(cli: Callable[..., Outcome]) -> Callable[..., str]:
    """Run what has to be refused, and give the line that says why."""

    def refuse(*words: object, lines: int | None = 1) -> str:
        outcome = cli(*words)
        assert outcome.code == 2, outcome
        assert outcome.out == ""
        for word in NEVER:
            assert word not in outcome.err
        said = outcome.said
        assert said.startswith("routeplan")
        if lines is not None:
            assert len(said.splitlines()) == lines, said
        longest = 400 + max(map(len, map(str, words)), default=0)  # characters; a path is quoted in full
        assert all(len(line) < longest for line in said.splitlines()), said
        return said

    return refuse


@pytest.fixture
def region(tmp_path: Path) -> Path:
    """Write a sound region."""
    return write_region_folder(tmp_path / "region")


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    """Write a sound boat."""
    return write_boat(tmp_path / "boat.toml")


@pytest.fixture
def sail(refused: Callable[..., str], region: Path, boat: Path) -> Callable[..., str]:
    """Ask for a passage that has to be refused; options replace or add."""

    def ask(*more: object, start: str = "West Mark", finish: str = "East Mark", aboard: str = "full") -> str:
        files = ("--region", region, "--boat", boat)
        return refused("passage", start, finish, *files, "--aboard", aboard, *more)

    return ask


def has(said: str, *words: str) -> None:
    """Check that a line holds all of these words."""
    for word in words:
        assert word in said, said


# Regions


def test_a_folder_without_region_toml(refused: Callable[..., str], tmp_path: Path, boat: Path) -> None:
    folder = write_region_folder(tmp_path / "bare", toml=None)
    for words in (
        ("region", "check", folder),
        ("region", "show", folder),
        ("docks", "--region", folder, "--boat", boat),
    ):
        has(refused(*words), str(folder), "region.toml")


@pytest.mark.parametrize("crs", ["EPSG:3857", "urn:ogc:def:crs:EPSG::32629", "EPSG:4258"])
def test_a_layer_in_another_crs(refused: Callable[..., str], tmp_path: Path, crs: str) -> None:
    named = {"type": "name", "properties": {"name": crs}}
    text = json.dumps({"type": "FeatureCollection", "crs": named, "features": SMALL_LAYERS["land"]})
    folder = write_region_folder(tmp_path / "bad", {"land": text})
    has(refused("region", "check", folder), str(folder), "land", crs, "WGS 84")


def test_swapped_longitude_and_latitude(refused: Callable[..., str], tmp_path: Path) -> None:
    toml = REGION_TOML.replace("[-39.0, 44.0, -38.0, 45.0]", "[38.0, 44.0, 39.0, 45.0]")
    rows = [dock("Right Pump", 38.5, 44.5), dock("Swapped Pump", 44.6, 38.4)]
    folder = write_region_folder(tmp_path / "bad", {"docks": rows}, toml=toml, leave_out=("land", "waypoints"))
    has(refused("region", "check", folder), "docks", "row 2", "swapped")


def test_self_crossing_land(refused: Callable[..., str], tmp_path: Path) -> None:
    bow_tie = {"type": "Polygon", "coordinates": [[[-38.6, 44.4], [-38.4, 44.6], [-38.4, 44.4], [-38.6, 44.6]]]}
    bow_tie["coordinates"][0].append([-38.6, 44.4])
    folder = write_region_folder(tmp_path / "bad", {"land": [feature(ISLAND), feature(bow_tie)]})
    has(refused("region", "check", folder), "land", "row 2", "geometry", "44.5", "38.5")  # they cross in the middle


@pytest.mark.parametrize("fuels", [None, "", "petrol", 7, ["gasoline"]])
def test_a_dock_without_fuels(refused: Callable[..., str], tmp_path: Path, fuels: Any) -> None:
    folder = write_region_folder(tmp_path / "bad", {"docks": [dock("Dry Pump", -38.5, 44.7, fuels=fuels)]})
    has(refused("region", "check", folder), "docks", "row 1", "fuels")


def test_an_unknown_rule_of_a_zone(refused: Callable[..., str], tmp_path: Path) -> None:
    zone = feature(square(-38.9, 44.1, -38.8, 44.2), name="Z", rule="slow-down", why="a test")
    folder = write_region_folder(tmp_path / "bad", {"zones": [zone]})
    has(refused("region", "check", folder), "zones", "row 1", "rule", "slow-down", "no-wake", "speed-limit")


def test_nan_in_a_layer(refused: Callable[..., str], tmp_path: Path) -> None:
    """JSON knows no NaN, Python's reader does: neither a coordinate nor a column may be one."""
    for old, new, column in (("-38.5,", "NaN,", "geometry"), ('"depth_m": 3.0', '"depth_m": NaN', "depth_m")):
        text = json.dumps({"type": "FeatureCollection", "features": [dock("Pump", -38.5, 44.7)]})
        assert old in text
        folder = write_region_folder(tmp_path / column, {"docks": text.replace(old, new)})
        has(refused("region", "check", folder), "docks", "row 1", column)


def test_every_bad_row_is_told_at_once(refused: Callable[..., str], tmp_path: Path) -> None:
    rows = [dock("A", -38.5, 44.7, fuels=""), dock("B", -38.5, 44.7, depth_m="deep"), dock("C", 200.0, 44.7)]
    zone = feature(square(-38.9, 44.1, -38.8, 44.2), name="Z", rule="speed-limit", why="no limit given")
    folder = write_region_folder(tmp_path / "bad", {"docks": rows, "zones": [zone]})
    said = refused("region", "check", folder, lines=None)
    has(said, "docks, row 1 (A), fuels", "docks, row 2 (B), depth_m", "docks, row 3 (C), geometry")
    has(said, "zones, row 1 (Z), limit_kn")


def test_hours_that_can_t_be_read(refused: Callable[..., str], cli: Callable[..., Outcome], tmp_path: Path) -> None:
    rows = [dock("Vague Pump", -38.5, 44.7, opening_hours="most days, till late")]
    folder = write_region_folder(tmp_path / "bad", {"docks": rows})
    has(refused("region", "check", folder), "docks", "row 1", "opening_hours", "most days", "--skip-bad-docks")
    assert cli("region", "check", folder, "--skip-bad-docks").code == 0


def test_a_plan_says_which_docks_it_was_made_without(
    cli: Callable[..., Outcome], refused: Callable[..., str], boat: Path, tmp_path: Path
) -> None:
    rows = [dock("Vague Pump", -38.5, 44.7, opening_hours="most days, till late"), dock("Plain Pump", -38.5, 44.65)]
    folder = write_region_folder(tmp_path / "vague", {"docks": rows})
    words = ("passage", "West Mark", "East Mark", "--region", folder, "--boat", boat, "--aboard", "full", "--json")
    has(refused(*words), "Vague Pump", "--skip-bad-docks")
    document = cli(*words, "--skip-bad-docks").document
    assert any("Vague Pump was left out" in caution for caution in document["cautions"])


@pytest.mark.parametrize("text", ["-1l", "nan", "a lot", "90l", "1e9l"])
def test_a_reserve_that_is_none(sail: Callable[..., str], text: str) -> None:
    has(sail("--reserve", text), "--reserve")


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('time_zone = "Atlantic/Azores"', 'time_zone = "Atlantic/Nowhere"', ("time_zone", "Atlantic/Nowhere")),
        ("[-39.0, 44.0, -38.0, 45.0]", "[-38.0, 44.0, -39.0, 45.0]", ("extent",)),
        ("[-39.0, 44.0, -38.0, 45.0]", "[-39.0, 44.0, nan, 45.0]", ("extent",)),
        ("[-39.0, 44.0, -38.0, 45.0]", '"everywhere"', ("extent",)),
        ("format = 1", "format = 99", ("format", "99")),
        ("format = 1", "colour = 1", ("colour",)),
        ('currency = "EUR"', "", ("currency",)),
        ("[sources.land]", "[sources.lamd]", ("lamd",)),
        ("format = 1", "format = = 1", ("TOML",)),
    ],
)
def test_region_toml(refused: Callable[..., str], tmp_path: Path, old: str, new: str, named: tuple[str, ...]) -> None:
    assert old in REGION_TOML
    folder = write_region_folder(tmp_path / "bad", toml=REGION_TOML.replace(old, new))
    has(refused("region", "check", folder), "region.toml", *named)


@pytest.mark.parametrize("command", ["check", "show"])
def test_files_that_are_no_region(refused: Callable[..., str], tmp_path: Path, command: str) -> None:
    """Missing, empty, binary, huge, a pipe, a database of something else, a folder called .gpkg."""
    (tmp_path / "empty.gpkg").touch()
    (tmp_path / "binary.gpkg").write_bytes(bytes(range(256)) * 40)
    (tmp_path / "text.gpkg").write_text("format = 1\n")
    _sparse(tmp_path / "huge.gpkg")
    os.mkfifo(tmp_path / "pipe.gpkg")
    (tmp_path / "folder.gpkg").mkdir()
    other = sqlite3.connect(tmp_path / "other.gpkg")
    other.execute("CREATE TABLE things (name TEXT)")
    other.commit()
    other.close()
    (tmp_path / "list.csv").write_text("a,b\n")
    names = ("missing", "missing.gpkg", "list.csv", *sorted(p.name for p in tmp_path.iterdir()))
    for name in names:
        has(refused("region", command, tmp_path / name), name)
    assert (tmp_path / "other.gpkg").exists()


@pytest.mark.parametrize("layer", ["land", "docks", "region.toml"])
def test_layer_files_that_can_t_be_read(refused: Callable[..., str], tmp_path: Path, layer: str) -> None:
    name = layer if layer.endswith("toml") else f"{layer}.geojson"
    for kind in ("empty", "binary", "latin", "text", "huge", "folder", "pipe", "loop"):
        folder = write_region_folder(tmp_path / kind)
        path = folder / name
        path.unlink()
        if kind == "empty":
            path.touch()
        elif kind == "binary":
            path.write_bytes(b"\x00\xff\xfe" * 500)
        elif kind == "latin":
            path.write_bytes('{"caf\xe9": 1}'.encode("latin-1"))
        elif kind == "text":
            path.write_text("once upon a time")
        elif kind == "huge":
            _sparse(path)
        elif kind == "folder":
            path.mkdir()
        elif kind == "pipe":
            os.mkfifo(path)
        else:
            path.symlink_to(path)
        has(refused("region", "check", folder), layer)


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        "null",
        "{}",
        '{"type": "Topology"}',
        '{"type": "FeatureCollection"}',
        '{"type": "FeatureCollection", "features": 7}',
        '{"type": "FeatureCollection", "features": [7]}',
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": null}]}',
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": 3, "geometry": {}}]}',
        '{"type": "FeatureCollection", "features": [{"geometry": {"type": "Polygon", "coordinates": [[[0], [1]]]}}]}',
        "[" * 100_000,
        '{"type": "FeatureCollection", "features": [' + "1" * 10_000 + "]}",
    ],
)
def test_geojson_of_another_shape(refused: Callable[..., str], tmp_path: Path, text: str) -> None:
    folder = write_region_folder(tmp_path / "bad", {"land": text})
    has(refused("region", "check", folder, lines=None), "land")


# Boats


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ([("[5, 8, 15, 20, 25]", "[20]"), ("[5.0, 16.0, 32.0, 40.0, 55.0]", "[40]")], ("burn", "two")),
        ([("unusable_l = 5", "unusable_l = 120")], ("tank.unusable_l", "120", "100")),
        ([("value = 0.10", "value = 1.10")], ("reserve.value", "1.1")),
        ([("value = 0.10", 'value = "110 %"')], ("reserve.value", "110 %")),
        ([("unusable_l = 5\n", "")], ("tank.unusable_l",)),
        ([("capacity_l = 100", 'capacity_l = "26 gal"')], ("tank.capacity_l", "26 gal", "usgal", "impgal")),
        ([("capacity_l = 100", "capacity_l = nan")], ("tank.capacity_l", "nan")),
        ([("capacity_l = 100", "capacity_l = inf")], ("tank.capacity_l", "inf")),
        ([("capacity_l = 100", "capacity_l = -100")], ("tank.capacity_l", "-100")),
        ([("capacity_l = 100", "capacity_l = true")], ("tank.capacity_l",)),
        ([("full_mark_l = 95", "full_mark_l = 105")], ("tank.full_mark_l", "105", "100")),
        ([('fuel = "gasoline"', 'fuel = "steam"')], ("fuel", "steam", "diesel", "gasoline")),
        ([("draught_m = 0.8", 'draught_m = "0.8 furlongs"')], ("draught_m", "furlongs")),
        ([("[5.0, 16.0, 32.0, 40.0, 55.0]", "[5.0, 16.0, 32.0, 40.0]")], ("burn", "5", "4")),
        ([("[5, 8, 15, 20, 25]", "[5, 8, 8, 20, 25]")], ("burn.speed_kn", "8")),
        ([("cruising_speed_kn = 20", "cruising_speed_kn = 12")], ("cruising_speed_kn", "12", "8", "15")),
        ([("cruising_speed_kn = 20", "cruising_speed_kn = 40")], ("cruising_speed_kn", "40", "25")),
        ([("capacity_l", "capcity_l")], ("capcity_l", "capacity_l")),
        ([("[tank]", "[tank")], ("TOML",)),
    ],
)
def test_a_boat_file_with_a_fault(
    refused: Callable[..., str], tmp_path: Path, changes: list[tuple[str, str]], named: tuple[str, ...]
) -> None:
    path = write_boat(tmp_path / "bad.toml", *changes)
    for command in ("check", "show"):
        has(refused("boat", command, path, lines=None), str(path), *named)


def test_a_burn_of_next_to_nothing(refused: Callable[..., str], tmp_path: Path) -> None:
    path = write_boat(tmp_path / "bad.toml", ("32.0, 40.0", "1e-308, 40.0"))
    has(refused("boat", "show", path, "--json"), "burn.burn_lph")


def test_every_fault_of_a_boat_is_told_at_once(refused: Callable[..., str], tmp_path: Path) -> None:
    changes = (
        ("unusable_l = 5", "unusable_l = -1"),
        ('name = "Plain Test"', "name = 3"),
        ("value = 0.10", "value = 2"),
    )
    path = write_boat(tmp_path / "bad.toml", *changes)
    has(refused("boat", "check", path, lines=3), "tank.unusable_l", "name", "reserve.value")


def test_files_that_are_no_boat(refused: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "empty.toml").touch()
    (tmp_path / "blank.toml").write_text("\n# nothing\n")
    (tmp_path / "binary.toml").write_bytes(bytes(range(256)) * 40)
    (tmp_path / "latin.toml").write_bytes('name = "Caf\xe9"'.encode("latin-1"))
    (tmp_path / "deep.toml").write_text("a = " + "[" * 5000)
    (tmp_path / "digits.toml").write_text("a = " + "1" * 5000)
    _sparse(tmp_path / "huge.toml")
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "folder.toml").mkdir()
    for name in ("missing.toml", *sorted(p.name for p in tmp_path.iterdir())):
        has(refused("boat", "check", tmp_path / name, lines=None), name)


# Fuel, places, times, options


def test_more_fuel_than_the_tank_holds(sail: Callable[..., str]) -> None:
    has(sail(aboard="120l"), "--aboard", "120l", "100.0 l")


@pytest.mark.parametrize(
    "text", ["", "  ", "abc", "-5l", "nan", "inf l", "1e400l", "50gal", "50 pints", "50l±", "50l±-2l"]
)
def test_fuel_aboard_that_can_t_be_read(sail: Callable[..., str], text: str) -> None:
    has(sail(aboard=text), "--aboard")


def test_unknown_places_offer_the_nearest_names(sail: Callable[..., str]) -> None:
    has(sail(start="Wset Mark"), "FROM", "Wset Mark", "West Mark")
    has(sail(finish="Nroth Pump"), "TO", "Nroth Pump", "North Pump")
    has(sail("--via", "Est Bay"), "--via", "Est Bay", "East Bay")
    has(sail(start="Quxxyzzy"), "FROM", "Quxxyzzy", "routeplan docks")


@pytest.mark.parametrize(
    "text", ["", "44 65N 38 03W", "91 00N 38 00W", "44 12.5N 38 03.2N", "44.2083", "nan nan", "1e9 1e9"]
)
def test_positions_that_can_t_be_read(sail: Callable[..., str], text: str) -> None:
    has(sail(finish=text), "TO")


def test_a_position_out_of_reach(sail: Callable[..., str]) -> None:
    has(sail(start="44.5 -38.5"), "FROM", "on land", "0.5 nmi")
    has(sail(finish="10.0 -38.5"), "TO", "outside", "extent")


def test_a_wider_snap_lets_a_start_ashore(cli: Callable[..., Outcome], region: Path, boat: Path) -> None:
    """From the middle of the island's west side, 1.3 nmi inland, the nearest shore is taken, and it is said."""
    words = ("passage", "44.5 -38.57", "West Mark", "--region", region, "--boat", boat, "--aboard", "full", "--json")
    assert cli(*words).code == 2
    outcome = cli(*words, "--snap", "2nmi")
    assert outcome.code == 0, outcome.err
    assert any("on land" in caution for caution in outcome.document["cautions"])


def test_start_and_finish_the_same(sail: Callable[..., str]) -> None:
    """By name, by the position that the screen shows for it (to 0.01 minutes, 18 m), and on the way."""
    for start, finish in (
        ("West Mark", "west mark"),
        ("West Mark", "44 30.00N 38 54.00W"),
        ("44 30.00N 38 54.00W", "44.5 -38.9"),
        ("44.50005 -38.9", "West Mark"),
    ):
        has(sail(start=start, finish=finish), "TO", "name another")
    has(sail("--via", "East Mark"), "East Mark", "name another")
    has(sail("--via", "West Mark"), "--via", "name another")


@pytest.mark.parametrize("text", ["12", "8.5kn", "14.9", "26", "abc", "nan", "inf", "-3", "", "10 gal", "1e400"])
def test_speeds_that_can_t_be_planned(sail: Callable[..., str], text: str) -> None:
    """The small boat's table ends at 25 kn; between 8 and 15 kn she can't be held."""
    has(sail("--speed", text), "--speed")


@pytest.mark.parametrize(
    ("option", "text"), [("--speed", "0"), ("--berthing", "40h"), ("--depart", "9999-12-31T23:59"), ("--speed", "1e-9")]
)
def test_values_at_the_edge(sail: Callable[..., str], option: str, text: str) -> None:
    has(sail(option, text), option)


@pytest.mark.parametrize(
    ("option", "text", "offered"),
    [
        ("--fill", "half", "enough"),
        ("--fill", "", "best"),
        ("--closed-dock", "maybe", "strict"),
        ("--prefer", "fastest", "most-margin"),
        ("--show", "some", "all"),
    ],
)
def test_choices_that_aren_t_offered(sail: Callable[..., str], option: str, text: str, offered: str) -> None:
    has(sail(option, text), option, text, offered)


@pytest.mark.parametrize("text", ["-1", "-0.01", "nan", "inf", "1e400", "2000000", "abc", "", "40 EUR"])
def test_prices_of_time_that_are_none(sail: Callable[..., str], text: str) -> None:
    has(sail("--fill", "best", "--price-of-time", text), "--price-of-time")


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--price-of-time", "40"), ("--price-of-time", "--fill best")),
        (("--price-of-time", "0"), ("--price-of-time", "--fill best")),
        (("--price-of-time", "40", "--fill", "full"), ("--price-of-time", "--fill best")),
        (("--fill", "best", "--prefer", "soonest"), ("--prefer", "--fill best")),
        (("--fill", "enough", "--prefer", "cheapest"), ("--prefer", "--fill enough")),
        (("--fill", "best", "--show", "all"), ("--show", "--fill best")),
        (("--fill", "enough", "--show", "all"), ("--show", "--fill enough")),
        (("--fill-first",), ("--fill-first", "already")),
    ],
)
@pytest.mark.parametrize("more", [(), ("--json",)])
def test_options_that_contradict_one_another(
    sail: Callable[..., str], words: tuple[str, ...], named: tuple[str, ...], more: tuple[str, ...]
) -> None:
    has(sail(*words, *more), *named)


def test_a_first_fill_where_no_fuel_is_sold(sail: Callable[..., str]) -> None:
    has(sail("--fill-first", aboard="50l"), "--fill-first", "West Mark", "North Pump")
    has(sail("--fill-first", start="Diesel Pump", aboard="50l"), "--fill-first", "Diesel Pump", "no gasoline")


@pytest.mark.parametrize("words", [("--prefer", "cheapest"), ("--fill", "best"), ("--fill", "enough")])
def test_money_that_no_dock_names(
    refused: Callable[..., str], tmp_path: Path, boat: Path, words: tuple[str, ...]
) -> None:
    rows = [dock("North Pump", -38.5, 44.6003, price_gasoline_per_l=None)]
    region = write_region_folder(tmp_path / "unpriced", {"docks": rows})
    sail = ("passage", "West Mark", "East Mark", "--region", region, "--boat", boat, "--aboard", "70l")
    has(refused(*sail, *words), " ".join(words), "gasoline", "price_gasoline_per_l")


@pytest.mark.parametrize("text", ["1.5", "0.4", "1", "-1", "nan", "inf", "abc"])
def test_confidence_out_of_its_limits(sail: Callable[..., str], text: str) -> None:
    said = sail("--confidence", text)
    has(said, "--confidence", text)
    if text[0] in "01":
        has(said, "0.5", "0.999")


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ("--stand-off", "-5m"),
        ("--stand-off", "abc"),
        ("--stand-off", "1e9m"),
        ("--stand-off", "5nmi"),
        ("--under-keel", "-1m"),
        ("--under-keel", "1e300m"),
        ("--overhead", "nan"),
        ("--snap", "-1nmi"),
        ("--snap", "900nmi"),
        ("--berthing", "-5min"),
        ("--berthing", "soon"),
    ],
)
def test_absurd_clearances(sail: Callable[..., str], option: str, text: str) -> None:
    has(sail(option, text), option)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-03-29T00:30", ("skip", "Atlantic/Azores")),  # clocks go from 0:00 to 1:00 (EU directive 2000/84/EC)
        ("2026-10-25T00:30", ("twice", "Atlantic/Azores", "offset")),  # and from 1:00 back to 0:00
        ("2026-02-30T08:00", ("date",)),
        ("2026-07-01T25:00", ("date",)),
        ("tomorrow", ("date", "2026-07-01T08:00")),
        ("", ("date",)),
        ("1026-07-01T08:00", ("1970",)),
    ],
)
def test_departures_that_are_no_time(sail: Callable[..., str], text: str, words: tuple[str, ...]) -> None:
    has(sail("--depart", text), "--depart", *words)


def test_an_hour_shown_twice_can_be_told_apart(cli: Callable[..., Outcome], region: Path, boat: Path) -> None:
    words = ("passage", "West Mark", "East Mark", "--region", region, "--boat", boat, "--aboard", "full", "--json")
    for offset, utc in (("+00:00", "00:30:00Z"), ("-01:00", "01:30:00Z")):
        document = cli(*words, "--depart", f"2026-10-25T00:30{offset}").document
        assert document["plans"][0]["depart"] == f"2026-10-25T{utc}"


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("passage",), "FROM"),
        (("passage", "A"), "TO"),
        (("passage", "A", "B"), "--"),
        (("passage", "A", "B", "C"), "--region"),
        (("frobnicate",), "frobnicate"),
        (("boat",), "boat"),
        (("boat", "mend"), "mend"),
        (("boat", "check"), "file"),
        (("region", "check"), "path"),
        (("docks",), "--region"),
        (("docks", "--regoin", "x"), "--regoin"),
        (("demo", "--out"), "--out"),
        (("--version-of-what",), "--version-of-what"),
        ((), "routeplan"),
    ],
)
def test_wrong_usage_points_to_help(refused: Callable[..., str], words: tuple[str, ...], named: str) -> None:
    has(refused(*words), named, "--help")


def test_docks_from_nowhere(refused: Callable[..., str], region: Path, boat: Path) -> None:
    has(refused("docks", "--region", region, "--boat", boat, "--from", "Wset Mark"), "--from", "West Mark")


@pytest.mark.parametrize("text", ["10.0 -38.5", "44.5 -38.5"])
def test_docks_from_out_of_reach(refused: Callable[..., str], region: Path, boat: Path, text: str) -> None:
    has(refused("docks", "--region", region, "--boat", boat, "--from", text), "--from")


def test_a_position_south_of_the_equator_may_begin_with_a_minus(sail: Callable[..., str]) -> None:
    has(sail(finish="-33.85 151.2"), "TO", "outside")


# Files that it is to write


@pytest.mark.parametrize("option", ["--map", "--layers"])
def test_outputs_that_can_t_be_written(sail: Callable[..., str], tmp_path: Path, option: str) -> None:
    """The superuser may write anywhere; so: below a file, on /proc, a folder in the way, a name too long."""
    (tmp_path / "plain").write_text("I was here first")
    (tmp_path / "folder.gpkg").mkdir()
    ending = "m.html" if option == "--map" else "l.gpkg"
    spoilt = tmp_path / "folder.gpkg"
    before = _tree(tmp_path)
    for path in (tmp_path / "plain" / ending, f"/proc/{ending}", spoilt, tmp_path / f"{'x' * 300}{ending}"):
        has(sail(option, path), str(path)[:60])
    assert _tree(tmp_path) == before
    assert (tmp_path / "plain").read_text() == "I was here first"


def test_layers_where_a_file_is(sail: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("I was here first")
    has(sail("--layers", tmp_path / "plain"), "plain")
    has(sail("--layers", tmp_path / "plain" / "below"), "plain")
    has(sail("--layers", tmp_path / "plan.shp"), "plan.shp", ".gpkg")
    assert (tmp_path / "plain").read_text() == "I was here first"
    assert not (tmp_path / "plan.shp").exists()


@pytest.mark.parametrize("kind", ["below", "proc"])
def test_a_demo_folder_that_can_t_be_written(refused: Callable[..., str], tmp_path: Path, kind: str) -> None:
    (tmp_path / "plain").write_text("I was here first")
    path = {"below": tmp_path / "plain" / "demo", "proc": "/proc/demo"}[kind]
    has(refused("demo", "--out", path), str(path), "can't be written")
    assert (tmp_path / "plain").read_text() == "I was here first"
    assert [p.name for p in tmp_path.iterdir()] == ["plain"]


def test_a_device_is_no_place_for_a_map(sail: Callable[..., str], tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.html"
    os.mkfifo(pipe)
    has(sail("--map", pipe), "pipe.html")
    assert pipe.is_fifo()


def test_a_demo_folder_takes_both_files_or_none(refused: Callable[..., str], tmp_path: Path) -> None:
    """A folder lies where the map belongs: the plan isn't exchanged either, else plan and map tell two stories."""
    (tmp_path / "passage.html").mkdir()
    (tmp_path / "passage.json").write_text("the old plan")
    has(refused("demo", "--out", tmp_path), "passage.html")
    assert (tmp_path / "passage.json").read_text() == "the old plan"


def test_a_plan_s_files_are_written_all_or_none(sail: Callable[..., str], tmp_path: Path) -> None:
    has(sail("--layers", tmp_path / "plan.gpkg", "--map", "/proc/m.html"), "/proc/m.html")
    assert list(tmp_path.glob("*.gpkg")) == []


@pytest.mark.slow
def test_a_spoilt_cache_is_built_again(region: Path, boat: Path, tmp_path: Path) -> None:
    """What the cache holds is never trusted: emptied, shortened, or another thing altogether."""
    cache = tmp_path / "cache"
    now = datetime(2026, 6, 30, 12, tzinfo=UTC)
    words = ("passage", "West Mark", "East Mark", "--region", region, "--boat", boat, "--aboard", "full", "--json")
    first = run(*words, cache=cache, now=now)
    assert first.code == 0
    files = sorted(path for path in cache.rglob("*") if path.is_file())
    assert files
    for path in files:
        for content in (b"", path.read_bytes()[:-9], b"\x80\x04K\x01."):
            path.write_bytes(content)
            again = run(*words, cache=cache, now=now)
            assert (again.code, again.out) == (0, first.out)


def test_a_cache_that_can_t_be_written_is_done_without(region: Path, boat: Path, tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("x")
    words = ("passage", "West Mark", "East Mark", "--region", region, "--boat", boat, "--aboard", "full", "--json")
    outcome = run(*words, cache=tmp_path / "plain" / "cache", now=datetime(2026, 6, 30, 12, tzinfo=UTC))
    assert outcome.code == 0, outcome.err


# Whatever else: files that somebody's editor, or a bad disk, has been at


def _bytes_changed(text: str, dice: random.Random) -> str:
    letters = list(text)
    for _ in range(dice.choice([1, 2, 5, 20])):
        at = dice.randrange(len(letters))
        what = dice.choice(["drop", "exchange", "double", "cut", "swap"])
        if what == "drop":
            letters[at] = ""
        elif what == "exchange":
            letters[at] = dice.choice('0123456789.-"[]{},=\n\x00é∞ abcxyzNe')
        elif what == "double":
            letters[at] *= 2
        elif what == "swap":
            other = dice.randrange(len(letters))
            letters[at], letters[other] = letters[other], letters[at]
        elif dice.random() < 0.2:
            letters = letters[: max(1, at)]
    return "".join(letters)


def _numbers_changed(text: str, dice: random.Random) -> str:
    spots = list(re.finditer(r"-?\d+(?:\.\d+)?", text))
    for spot in sorted(dice.sample(spots, dice.choice([1, 1, 2, 3])), key=lambda m: -m.start()):
        near = f"{float(spot[0]) * dice.choice([0.5, 1.01, -1, 10])}"
        new = dice.choice(["0", "-1", "1e308", "1e-308", "nan", "NaN", "inf", "9" * 30, '"7 ft"', "true", "[]", near])
        text = text[: spot.start()] + new + text[spot.end() :]
    return text


def _sane(outcome: Outcome) -> None:
    assert outcome.code in {0, 2, 3}, outcome.err
    assert "Traceback" not in outcome.err
    assert "a fault of ours" not in outcome.err
    if outcome.code == 2:
        assert outcome.out == ""
    else:
        assert isinstance(outcome.document, dict)


@pytest.mark.parametrize("change", [_bytes_changed, _numbers_changed])
def test_spoilt_boat_files_never_end_in_a_traceback(
    cli: Callable[..., Outcome], region: Path, tmp_path: Path, change: Callable[[str, random.Random], str]
) -> None:
    dice = random.Random(SEED)  # noqa: S311  # no secret: a fixed seed
    path = tmp_path / "spoilt.toml"
    demo_boats = [p.read_text(encoding="utf-8") for p in sorted((demo_region.data_folder() / "boats").glob("*.toml"))]
    for _ in range(CASES):
        path.write_text(change(dice.choice([BOAT_TOML, *demo_boats]), dice), encoding="utf-8")
        shown = cli("boat", "show", path, "--json")
        _sane(shown)
        if shown.code == 0:
            words = ("passage", "West Mark", "East Mark", "--region", region, "--boat", path, "--aboard", "full")
            _sane(cli(*words, "--depart", "2026-07-01T08:00", "--no-cache", "--json"))


@pytest.mark.slow
@pytest.mark.parametrize("change", [_bytes_changed, _numbers_changed])
def test_spoilt_layers_never_end_in_a_traceback(
    cli: Callable[..., Outcome], boat: Path, tmp_path: Path, change: Callable[[str, random.Random], str]
) -> None:
    dice = random.Random(SEED + 1)  # noqa: S311  # no secret: a fixed seed
    sound = {
        **SMALL_LAYERS,
        "depth": [feature(square(-39.0, 44.0, -38.0, 45.0), min_depth_m=20.0)],
        "zones": [feature(square(-38.7, 44.6, -38.3, 44.8), name="Slow", rule="no-wake", why="a test")],
        "hazards": [feature((-38.7, 44.5), name="Rock", kind="rock", keep_off_m=100.0)],
    }
    for case in range(CASES):
        name = dice.choice([*sound, "region.toml"])
        folder = write_region_folder(tmp_path / f"case{case}", sound)
        path = folder / (name if name == "region.toml" else f"{name}.geojson")
        path.write_text(change(path.read_text(encoding="utf-8"), dice), encoding="utf-8")
        _sane(cli("region", "check", folder, "--json"))
        words = ("passage", "West Mark", "East Mark", "--region", folder, "--boat", boat, "--aboard", "70l")
        _sane(cli(*words, "--depart", "2026-07-01T08:00", "--no-cache", "--json"))


def _sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(HUGE_BYTES)


def _tree(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))
