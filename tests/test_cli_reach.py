"""`routeplan reach` from outside: exit codes, one document whose figures add up, files, and bad input in one line."""

from __future__ import annotations

import functools
import json
import math
import re
import subprocess
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pyogrio
import pytest
import shapely
from faces import ROOT, SMALL_LAYERS, Outcome, feature, run, write_boat, write_region_folder
from geographiclib.geodesic import Geodesic
from shapely.geometry import shape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

METRES_PER_NMI = 1852.0  # [m] by definition (International Hydrographic Conference, Monaco, 1929)
Z90 = 1.2816  # quantile of the normal distribution at 0.9 (standard table)
FLOOR_L, MEAN_L, SD_L, SD_SHARE = 15.0, 70.0, 3.0, 0.06  # [l] of the plain boat with 70 l as stated
L_PER_NMI = 2.0  # [l/nmi] 40 l/h at 20 kn
WEST_MARK = (-38.9, 44.5)
HEAVY = (
    *("geopandas", "pandas", "scipy", "shapely", "pyproj", "folium", "branca", "networkx", "pyogrio", "numpy"),
    *("sqlalchemy", "matplotlib", "gpxpy", "psycopg"),
)


@pytest.fixture(scope="module")
def cli(cache_with_demo: Path) -> Callable[..., Outcome]:
    """Run `routeplan` at noon of 30 June 2026, with the cache that all tests share."""

    def at_noon(*words: object) -> Outcome:
        return run(*words, cache=cache_with_demo, now=datetime(2026, 6, 30, 12, tzinfo=UTC))

    return at_noon


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """Write the waters round one island, with a harbour 0.1 degrees, 4.3 nmi, east of West Mark, one 6 nmi north."""
    folder = tmp_path_factory.mktemp("reach")
    havens = [
        feature((-38.8, at), name=name, kind="harbour") for name, at in (("Near Haven", 44.5), ("Cold Haven", 44.6))
    ]
    region = write_region_folder(folder / "region", {"waypoints": [*SMALL_LAYERS["waypoints"], *havens]})
    return ("--region", str(region), "--boat", str(write_boat(folder / "boat.toml")))


@pytest.fixture(scope="module")
def ask(cli: Callable[..., Outcome], small: tuple[str, ...]) -> Callable[..., Outcome]:
    """From West Mark with 70 l, at eight on a Wednesday; options may be added. The same is asked once."""

    @functools.cache
    def reach(*more: object, start: str = "West Mark", aboard: str = "70l") -> Outcome:
        return cli("reach", start, *small, "--aboard", aboard, "--depart", "2026-07-01T08:00", *more)

    return reach


@pytest.fixture(scope="module")
def document(ask: Callable[..., Outcome]) -> dict[str, Any]:
    """Ask for the plain reach, as JSON."""
    outcome = ask("--json")
    assert outcome.code == 0, outcome.err
    found: dict[str, Any] = outcome.document
    return found


@pytest.fixture(scope="module")
def near(ask: Callable[..., Outcome]) -> dict[str, Any]:
    """Ask for what 6 l do and come back from: 1.5 nmi of open water all round."""
    outcome = ask("--fuel", "6l", "--out-and-back", "--json")
    assert outcome.code == 0, outcome.err
    found: dict[str, Any] = outcome.document
    return found


def area(document: dict[str, Any], kind: str, figure: str) -> dict[str, Any]:
    """Take the one area of a kind and figure."""
    (found,) = [a for a in document["areas"] if (a["kind"], a["figure"]) == (kind, figure)]
    assert isinstance(found, dict)
    return found


def place(document: dict[str, Any], name: str) -> dict[str, Any]:
    """Take a place by its name."""
    (found,) = [p for p in document["places"] if p["name"] == name]
    assert isinstance(found, dict)
    return found


def low_l(burn_l: float) -> float:
    """[l] Work the arrival rule out by hand."""
    return MEAN_L - burn_l - Z90 * math.hypot(SD_L, SD_SHARE * burn_l)


# The document


def test_the_keys_of_the_document(document: dict[str, Any]) -> None:
    assert document["schema"] == "routeplan/reach/1"
    assert {
        *(
            "schema",
            "currency",
            "region",
            "boat",
            "from",
            "from_position",
            "speed_kn",
            "depart",
            "confidence",
            "aboard",
        ),
        *("rings", "areas", "places", "turning_points", "some_dock", "cut_by_extent", "data_edges", "refused"),
        *("cautions", "sources"),
    } <= document.keys()
    assert document["refused"] is None
    assert document["depart"] == "2026-07-01T08:00:00Z"
    for found in document["areas"]:
        assert {"kind", "figure", "speed_kn", "fuel_l", "there_and_back", "inside", "geometry"} <= found.keys()
    for found in document["places"]:
        assert {"name", "kind", "distance_nmi", "time_h", "fuel_l", "aboard_on_return_low_l", "refuel"} <= found.keys()


def test_what_was_asked_is_echoed(near: dict[str, Any], document: dict[str, Any]) -> None:
    asked = {"asked_fuel_l": 6.0, "asked_time_h": None, "out_and_back": True, "confidence": 0.9, "reserve_l": 10.0}
    assert asked.items() <= near.items()
    assert (document["asked_fuel_l"], document["asked_time_h"], document["out_and_back"]) == (None, None, False)
    assert document["aboard"]["mean_l"] == MEAN_L
    assert document["from"] == "West Mark"
    assert document["from_position"] == list(WEST_MARK)


def test_water_with_a_dock_in_reach_lies_in_reach_itself(document: dict[str, Any]) -> None:
    """And holds the way to North Pump: 37 l there, 49.6 in all."""
    water = shape(document["some_dock"]["geometry"])
    metre = 1 / (60 * METRES_PER_NMI)
    assert water.difference(shape(area(document, "one-way", "low")["geometry"]).buffer(metre)).is_empty
    assert water.contains(shapely.LineString([WEST_MARK, (-38.62, 44.59)]))


def test_units_are_spelt_in_every_key_that_holds_a_number(document: dict[str, Any]) -> None:
    wrong = {key for key in _number_keys(document) if not key.endswith(("_l", "_nmi", "_h", "_kn", "_deg"))}
    assert wrong <= {"confidence"}


def test_areas_are_valid_geojson_inside_the_extent(document: dict[str, Any]) -> None:
    """RFC 7946: longitude first, outer rings counterclockwise; the region is 39 to 38 W, 44 to 45 N."""
    assert {(a["kind"], a["figure"]) for a in document["areas"]} >= {
        (kind, figure) for kind in ("one-way", "out-and-back", "thirds") for figure in ("mean", "low")
    }
    for found in document["areas"]:
        water = shape(found["geometry"])
        assert water.geom_type == "MultiPolygon"
        assert water.is_valid
        assert all(part.exterior.is_ccw for part in water.geoms)
        west, south, east, north = water.bounds
        assert -39 - 1e-6 <= west < east <= -38 + 1e-6
        assert 44 - 1e-6 <= south < north <= 45 + 1e-6


def test_the_burn_of_each_area_by_hand(document: dict[str, Any]) -> None:
    """On average 55 l are usable; by the low figure the burn at which the arrival rule just holds, within a thimble."""
    assert area(document, "one-way", "mean")["fuel_l"] == pytest.approx(MEAN_L - FLOOR_L)
    one_way = area(document, "one-way", "low")["fuel_l"]
    assert low_l(one_way) == pytest.approx(FLOOR_L, abs=0.01)
    assert area(document, "out-and-back", "low")["fuel_l"] == pytest.approx(one_way / 2)
    assert area(document, "out-and-back", "mean")["fuel_l"] == pytest.approx(27.5)
    assert document["promised_nmi"] == pytest.approx(one_way / L_PER_NMI)


def test_low_lies_in_mean_and_back_lies_in_one_way(document: dict[str, Any]) -> None:
    """Each rounded to a tenth of a metre: what sticks out is thinner than a metre."""
    shapes = {(a["kind"], a["figure"]): shape(a["geometry"]) for a in document["areas"]}
    metre = 1 / (60 * METRES_PER_NMI)
    for kind in ("one-way", "out-and-back", "thirds"):
        assert shapes[kind, "low"].difference(shapes[kind, "mean"].buffer(metre)).is_empty
    for figure in ("low", "mean"):
        assert shapes["out-and-back", figure].difference(shapes["one-way", figure].buffer(metre)).is_empty


def test_three_litres_each_way_are_a_circle(near: dict[str, Any]) -> None:
    """6 l there and back are 1.5 nmi out, on average: by geographiclib, 10 m within it is reached, 10 m beyond isn't.

    By the low figure the 6 l hold nine times in ten: 6 / (1 + 1.2816 x 0.06) on average, 1.39 nmi.
    """
    for figure, litres in (("mean", 6.0), ("low", 6.0 / (1 + Z90 * SD_SHARE))):
        budget = area(near, "budget", figure)
        assert budget["there_and_back"]
        assert budget["fuel_l"] == pytest.approx(litres / 2, abs=1e-4)
        water = shape(budget["geometry"])
        metres = litres / 2 / L_PER_NMI * METRES_PER_NMI
        for bearing in range(0, 360, 15):
            for off, reached in ((-10, True), (10, False)):
                end = Geodesic.WGS84.Direct(WEST_MARK[1], WEST_MARK[0], bearing, metres + off)
                assert water.contains(shapely.Point(end["lon2"], end["lat2"])) == reached, bearing


def test_an_edge_of_the_data_is_told_as_one(document: dict[str, Any], near: dict[str, Any]) -> None:
    """The extent ends 4.3 nmi west of West Mark: short of what 70 l reach, beyond what 6 l do.

    The water's edge keeps the stand-off of 50 m from it: 0.0006 degrees.
    """
    assert document["cut_by_extent"] is True
    edges = shape(document["data_edges"]["geometry"])
    assert 0 < edges.distance(shapely.Point(-39.0, 44.5)) < 0.001
    assert area(document, "one-way", "low")["cut_by_extent"]
    assert not area(near, "budget", "low")["cut_by_extent"]


def test_places_by_hand(document: dict[str, Any]) -> None:
    """At 44.5 N 0.1 degrees are 4.29 nmi (geographiclib below): 8.6 l; North Pump round the corner is 18.5 nmi off."""
    haven = place(document, "Near Haven")
    nmi = Geodesic.WGS84.Inverse(44.5, -38.9, 44.5, -38.8)["s12"] / METRES_PER_NMI
    assert haven["distance_nmi"] == pytest.approx(nmi, abs=0.01)
    assert haven["time_h"] == pytest.approx(nmi / 20, abs=0.001)
    assert haven["fuel_there_and_back_l"] == pytest.approx(2 * haven["fuel_l"]) == pytest.approx(4 * nmi, abs=0.05)
    assert haven["aboard_on_return_low_l"] == pytest.approx(low_l(4 * nmi), abs=0.05)
    assert haven["margin_low_l"] == pytest.approx(low_l(2 * nmi) - FLOOR_L, abs=0.05)
    assert (haven["there_and_back"], haven["refuel"]) == (True, "no")
    north = place(document, "North Pump")
    assert north["distance_nmi"] == pytest.approx(18.5, abs=0.1)
    assert north["there_and_back"] is False  # 74 l of 70
    assert north["refuel"] == "yes"
    assert place(document, "South Pump")["refuel"] == "opens later"  # reached at 8:55, it sells from nine
    names = [p["name"] for p in document["places"]]
    assert "East Mark" not in names  # a mark is no place to go
    distances = [p["distance_nmi"] for p in document["places"]]
    assert distances == sorted(distances)


def test_rings_are_plain_circles(ask: Callable[..., Outcome]) -> None:
    """At what was asked for, and at the promised range; each corner as far off as it says (geographiclib)."""
    found = ask("--ring", "3nmi", "--ring", "9.26km", "--json").document
    rings = {ring["kind"]: ring for ring in found["rings"]}
    assert [r["distance_nmi"] for r in found["rings"] if r["kind"] == "mark"] == pytest.approx([3, 5])  # 1.852 km each
    assert rings["promised"]["distance_nmi"] == found["promised_nmi"]
    for ring in found["rings"]:
        for line in getattr(shape(ring["geometry"]), "geoms", [shape(ring["geometry"])]):
            for lon, lat in line.coords[::20]:
                nmi = Geodesic.WGS84.Inverse(44.5, -38.9, lat, lon)["s12"] / METRES_PER_NMI
                assert nmi == pytest.approx(ring["distance_nmi"], abs=1e-3)


def test_screen_and_document_tell_the_same(ask: Callable[..., Outcome], document: dict[str, Any]) -> None:
    text = ask().out
    said = " ".join(text.split())
    for found in document["places"]:
        assert found["name"] in said
        assert f"{found['distance_nmi']:.1f}" in said
    for point in document["turning_points"]:
        assert point["dock"] in said
    for caution in document["cautions"]:
        assert " ".join(caution.split()) in said
    assert f"One way, down to the reserve: {math.floor(document['promised_nmi'])} nmi" in said
    assert "the edge is the data's, not the boat's" in said
    assert max(map(len, text.splitlines())) <= 110


# Options


def test_out_and_back_leaves_the_rest_away(ask: Callable[..., Outcome]) -> None:
    found = ask("--out-and-back", "--json").document
    assert "one-way" not in {a["kind"] for a in found["areas"]}
    assert [p["name"] for p in found["places"]] == ["Near Haven", "Cold Haven"]
    assert all(p["there_and_back"] for p in found["places"])


def test_a_time_is_kept(ask: Callable[..., Outcome]) -> None:
    """Half an hour at 20 kn there and back is 5 nmi out: north of West Mark there is nothing in the way."""
    words = ("--time", "30min", "--out-and-back")
    document = ask(*words, "--json").document
    assert document["asked_time_h"] == 0.5
    budget = area(document, "budget", "low")
    assert budget["time_h"] == pytest.approx(0.25)
    water = shape(budget["geometry"])
    for metres, reached in ((5 * METRES_PER_NMI - 10, True), (5 * METRES_PER_NMI + 10, False)):
        end = Geodesic.WGS84.Direct(44.5, -38.9, 0, metres)
        assert water.contains(shapely.Point(end["lon2"], end["lat2"])) == reached
    said = " ".join(ask(*words).out.split())
    assert "Within 30 min, there and back: 5.0 nmi out over water at 20 kn, burning 10.0 l each way" in said


def test_every_speed_has_its_areas_and_the_first_is_chosen(ask: Callable[..., Outcome]) -> None:
    """25 kn burn 55 l/h, 2.2 l a mile."""
    found = ask("--speed", "25", "--speed", "20kn", "--speed", "25", "--json").document
    assert found["speed_kn"] == 25
    assert list(dict.fromkeys(a["speed_kn"] for a in found["areas"])) == [25, 20]
    assert {p["speed_kn"] for p in found["places"]} == {25}
    assert place(found, "Near Haven")["fuel_l"] == pytest.approx(2.2 * 4.29, abs=0.05)


def test_places_are_filtered_and_sorted(ask: Callable[..., Outcome]) -> None:
    def names(*more: str) -> list[str]:
        return [p["name"] for p in ask(*more, "--json").document["places"]]

    assert names("--sort", "name") == ["Cold Haven", "Near Haven", "North Pump", "South Pump"]
    assert names("--kind", "Dock", "--kind", "anchorage") == ["North Pump", "South Pump"]  # the rest is 29 nmi off
    said = ask("--refuel-only").out
    assert "left out as asked" in said
    assert "Near Haven" not in said


def test_a_reserve_and_a_confidence_are_used(ask: Callable[..., Outcome], document: dict[str, Any]) -> None:
    wider = ask("--reserve", "20l", "--json").document
    assert area(wider, "one-way", "mean")["fuel_l"] == pytest.approx(MEAN_L - 25)  # 20 l and 5 that can't be used
    half = ask("--confidence", "0.5", "--json").document
    assert area(half, "one-way", "low")["fuel_l"] == pytest.approx(MEAN_L - FLOOR_L)
    assert area(document, "one-way", "low")["fuel_l"] < MEAN_L - FLOOR_L


def test_a_position_is_a_start(ask: Callable[..., Outcome]) -> None:
    found = ask("--fuel", "10l", "--json", start="44 30N 38 54W").document
    assert found["from_position"] == pytest.approx(WEST_MARK)
    assert "Near Haven" in {p["name"] for p in found["places"]}


def test_the_map_is_in_the_boats_units(cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path) -> None:
    boat = write_boat(tmp_path / "boat.toml", ('display_units = "metric"', 'display_units = "us"'))
    words = ("reach", "West Mark", *small[:3], boat, "--aboard", "18.5gal", "--map", tmp_path / "map.html")
    outcome = cli(*words)
    assert outcome.code == 0, outcome.err
    text = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "gal aboard" in text
    assert re.search(r"spare\s*(?:<[^>]*>)*\s*gal", text)


def test_what_the_log_taught_is_said(cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path) -> None:
    """By a log of two fill-ups: 40 nmi were run in 2 h on 88 l, a tenth more than the 80 of the burn table."""
    log = tmp_path / "log.csv"
    head = "boat,when,meter_used_l,pumped_l,filled_to_full,meter_reset,distance_run_nmi,engine_hours_h\n"
    rows = ("Plain Test,2026-06-01T12:00Z,50,50,yes,yes,,\n", "Plain Test,2026-06-08T12:00Z,88,88,yes,yes,40,2\n")
    log.write_text(head + "".join(rows), encoding="utf-8")
    words = ("reach", "West Mark", *small, "--aboard", "70l", "--fuel", "6l", "--json")
    taught, plain = (cli(*words, *more) for more in (("--log", log), ("--no-log",)))
    assert taught.code == plain.code == 0, taught.err
    assert any("2 fill-ups" in caution for caution in taught.document["cautions"]), taught.document["cautions"]
    assert not any("fill-up" in caution for caution in plain.document["cautions"])


# Nothing in reach


def test_no_usable_fuel_is_an_answer(ask: Callable[..., Outcome], tmp_path: Path) -> None:
    """15 l, sd 3: low 15 - 1.2816 x 3 = 11.16, and 15 have to stay: 3.84 are short before anything is burned."""
    outcome = ask("--json", "--map", tmp_path / "r.html", "--layers", tmp_path / "r.gpkg", aboard="15l")
    assert outcome.code == 3
    found = outcome.document
    assert (found["areas"], found["places"], found["turning_points"], found["rings"]) == ([], [], [], [])
    assert found["refused"]["short_l"] == pytest.approx(Z90 * 3, abs=0.001)
    assert {"from", "aboard_l", "aboard_low_l", "short_l", "why", "try"} <= found["refused"].keys()
    assert found["schema"] == "routeplan/reach/1"
    assert found["cautions"]
    assert list(tmp_path.iterdir()) == []
    assert "nothing was written for --map and --layers" in outcome.err
    said = ask(aboard="15l")
    assert said.code == 3
    assert "Nothing is in reach" in said.out
    assert "3.9 l" in said.out  # what is short is rounded up


# Files


def test_files_hold_all_places_whatever_is_listed(ask: Callable[..., Outcome], tmp_path: Path) -> None:
    """A map that said that nothing is in reach, as nothing of one kind is, would be false."""
    files = ("--map", tmp_path / "map.html", "--layers", tmp_path / "reach.gpkg")
    assert ask(*files, "--kind", "anchorage", "--json").document["places"] == []
    names = pyogrio.read_dataframe(tmp_path / "reach.gpkg", layer="reach_places")["name"].tolist()
    assert sorted(names) == ["Cold Haven", "Near Haven", "North Pump", "South Pump"]
    assert "Near Haven" in (tmp_path / "map.html").read_text(encoding="utf-8")


def test_all_files_are_written(ask: Callable[..., Outcome], tmp_path: Path) -> None:
    """Map, guests' page and layers: no page names an address to load from, and each layer opens with GDAL."""
    pages = tmp_path / "map.html", tmp_path / "guests.html"
    files = ("--map", pages[0], "--guest-page", pages[1], "--layers", tmp_path / "reach.gpkg")
    outcome = ask(*files, "--speed", "20", "--speed", "25", "--sort", "name")
    assert outcome.code == 0, outcome.err
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "Plain Test" in text
        assert "There and back" in text
        assert not re.search(
            r"""(?:src|href)\s*=\s*["']?\s*(?:https?:)?//(?!leafletjs\.com)""", text.replace("www.", "")
        )
        assert len(text.encode()) < 2_000_000
    assert "Reach at 25 kn" not in pages[0].read_text(encoding="utf-8")  # the map shows the chosen speed
    layers = {name for name, _ in pyogrio.list_layers(tmp_path / "reach.gpkg")}
    assert {"reach", "rings", "reach_places", "turning_points", "data_edges"} <= layers
    found = pyogrio.read_dataframe(tmp_path / "reach.gpkg", layer="reach")
    assert {"one-way", "out-and-back", "thirds", "some-dock"} == set(found["kind"])
    assert set(found["speed_kn"]) == {20, 25}
    guests = pages[1].read_text(encoding="utf-8")
    assert guests.index("Near Haven") < guests.index("Cold Haven")  # nearest first, whatever the screen's order


def test_files_are_written_all_or_none(ask: Callable[..., Outcome], tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where a folder is wanted")
    outcome = ask("--map", tmp_path / "map.html", "--layers", tmp_path / "taken")
    assert outcome.code == 2
    assert outcome.out == ""
    assert [p.name for p in tmp_path.iterdir()] == ["taken"]


def test_the_layers_are_a_folder_of_geojson_too(ask: Callable[..., Outcome], tmp_path: Path) -> None:
    assert ask("--layers", tmp_path / "gis", "--fuel", "6l").code == 0
    found = json.loads((tmp_path / "gis" / "reach.geojson").read_text(encoding="utf-8"))
    assert {row["properties"]["kind"] for row in found["features"]} >= {"one-way", "budget"}


# Bad input


@pytest.fixture(scope="module")
def refused(ask: Callable[..., Outcome]) -> Callable[..., str]:
    """Ask for what has to be refused, and give the one line that says why."""

    def refuse(*more: object, **how: str) -> str:
        outcome = ask(*more, **how)
        assert outcome.code == 2, outcome
        assert outcome.out == ""
        said = outcome.said
        assert said.startswith("routeplan")
        assert len(said.splitlines()) == 1, said
        assert "Traceback" not in said
        assert "a fault of ours" not in said
        return said

    return refuse


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--time", "0h"), ("--time", "0h", "above 0")),
        (("--time", "-1h"), ("--time", "negative")),
        (("--time", "300h"), ("--time", "300h", "48 h")),
        (("--time", "3"), ("--time", "3")),
        (("--time", "soon"), ("--time", "soon")),
        (("--fuel", "0l"), ("--fuel", "0l", "above 0")),
        (("--fuel", "-3l"), ("--fuel", "negative")),
        (("--fuel", "400l"), ("--fuel", "400l", "100.0 l")),
        (("--fuel", "nan"), ("--fuel", "nan")),
        (("--ring", "0"), ("--ring", "above 0")),
        (("--ring", "5000nmi"), ("--ring", "1000 nmi")),
        (("--ring", "10 miles"), ("--ring", "10 miles")),
        (("--speed", "60"), ("--speed", "60")),
        (("--speed", "0"), ("--speed", "above 0")),
        (("--speed", "20", "--speed", "12"), ("--speed", "12", "8 and 15 kn")),
        (("--kind", "pub"), ("--kind", "pub", "anchorage")),
        (("--sort", "size"), ("--sort", "size")),
        (("--confidence", "2"), ("--confidence", "0.999")),
        (("--reserve", "90l"), ("--reserve", "90l")),
        (("--depart", "tomorrow"), ("--depart", "tomorrow")),
        (("--aboard", "400l"), ("--aboard", "400l")),
    ],
)
def test_an_option_that_can_t_be(refused: Callable[..., str], words: tuple[str, ...], named: tuple[str, ...]) -> None:
    said = refused(*words)
    for word in named:
        assert word in said, said


def test_too_many_speeds_and_rings(refused: Callable[..., str]) -> None:
    speeds = [word for v in range(16, 24) for word in ("--speed", str(v))]
    assert "6 at the most" in refused(*speeds)
    assert "12 at the most" in refused(*(word for v in range(1, 14) for word in ("--ring", f"{v}nmi")))


def test_an_unknown_start_offers_names(refused: Callable[..., str]) -> None:
    said = refused(start="Wset Mark")
    assert "FROM" in said
    assert "West Mark" in said


def test_a_start_on_land_names_the_nearest_water_and_how_far(refused: Callable[..., str]) -> None:
    """Half a minute west of the middle of an island whose west shore is at 38.6 W; the stand-off is 50 m, 0.03 nmi."""
    said = refused(start="44 30N 38 30.5W")
    assert "FROM" in said
    assert "on land" in said
    shore_nmi = Geodesic.WGS84.Inverse(44.5, -38 - 30.5 / 60, 44.5, -38.6)["s12"] / METRES_PER_NMI
    found = re.search(r"nearest water \D+([\d.]+) nmi away: give (44 30\.\d\dN) (038 36\.\d\dW)", said)
    assert found is not None, said
    assert float(found[1]) == pytest.approx(shore_nmi + 0.03, abs=0.06)


def test_a_start_outside_the_extent(refused: Callable[..., str]) -> None:
    said = refused(start="46 00N 38 30W")
    assert "FROM" in said
    assert "extent" in said


def test_one_name_for_two_files(refused: Callable[..., str], tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    said = refused("--map", page, "--guest-page", page)
    assert "--guest-page" in said
    assert "same file as --map" in said
    assert not page.exists()
    assert "names no file" in refused("--guest-page", "")


def test_readings_beside_a_volume(refused: Callable[..., str]) -> None:
    assert "--aboard" in refused("--meter", "10l")


# Help


def test_help_loads_no_heavy_library() -> None:
    code = (
        "import sys\n"
        "from routeplan.cli import main\n"
        "sys.argv[1:] = ['reach', '--help']\n"
        "try:\n    main()\n"
        "except SystemExit as done:\n    assert not done.code, done.code\n"
        f"print('LOADED', sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT, timeout=60
    )
    assert done.stdout.rstrip().endswith("LOADED []")
    for option in ("--out-and-back", "--time", "--fuel", "--speed", "--ring", "--kind", "--sort", "--guest-page"):
        assert option in done.stdout


def _number_keys(value: Any, key: str = "") -> set[str]:
    if isinstance(value, dict):
        return {k for name, v in value.items() if name != "geometry" for k in _number_keys(v, name)}
    if isinstance(value, list):
        return set() if key.endswith("position") else {k for v in value for k in _number_keys(v, key)}
    return {key} if isinstance(value, int | float) and not isinstance(value, bool) else set()
