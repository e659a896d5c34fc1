"""Waters across the 180th meridian, end to end: the same islands about longitude 0 give the same answers.

The islands are invented, in the tropics of the south. About 180 their shapes are cut there by hand, as RFC 7946, 3.1.9
has it; about 0 they are whole. What is written is held against the rule by this module's own reading of it.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pytest
import shapely
from faces import REGION_TOML, Outcome, dock, feature, run, write_boat, write_region_folder
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from layers import Plane
from layers.antimeridian import goes_round, the_short_way, unwrap, wrap

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Ring = list[tuple[float, float]]

LINE, PRIME = 180.0, 0.0  # [deg] the middles of the two copies
EXTENT = (-1.2, -18.2, 1.2, -16.9)  # [deg] longitudes from the middle
SAME = 1e-6  # relative
METRES_PER_NMI = 1852.0  # [m] by definition (International Hydrographic Conference, Monaco, 1929)

# [deg] longitude from the middle, latitude; those that cross it have a corner wherever they do
KEEL_ISLAND = [(-0.06, -17.87), (0.0, -17.93), (0.045, -17.88), (0.06, -17.21), (0.0, -17.17), (-0.04, -17.2)]
WEST_ISLAND = [(-0.6, -17.7), (-0.45, -17.68), (-0.45, -17.45), (-0.57, -17.4)]
EAST_ISLAND = [(0.4, -17.75), (0.57, -17.7), (0.55, -17.45), (0.45, -17.42)]
DEEP = [(-1.3, -18.3), (0.0, -18.3), (1.3, -18.3), (1.3, -16.8), (0.0, -16.8), (-1.3, -16.8)]
BANK = [(-0.1, -17.11), (0.0, -17.12), (0.11, -17.1), (0.08, -17.05), (0.0, -17.06), (-0.12, -17.06)]
SLOW = [(-0.21, -17.42), (0.0, -17.4), (0.2, -17.39), (0.18, -16.94), (0.0, -16.96), (-0.19, -16.95)]


def at(middle: float, away: float, lat: float) -> tuple[float, float]:
    """[deg] The position so far east of a middle, its longitude from -180 to 180."""
    lon = middle + away
    return (lon - 360 if lon > 180 else lon), lat


def area(middle: float, ring: Ring) -> dict[str, Any]:
    """Write a ring about a middle as GeoJSON: about the 180th meridian in two parts, about 0 whole.

    The whole begins at its westernmost corner, as what is joined at 180 does: edges are simplified and sampled from the
    first corner on, so that answers differ in the sixth digit where corners come in another order. No corner is so even
    that simplifying the arc of the stand-off round it has two equal choices.
    """
    halves = [[p for p in ring if p[0] * side >= 0] for side in (-1, 1)]
    crosses = all(any(x for x, _ in half) for half in halves)
    if middle == PRIME:
        whole = shapely.Polygon(ring)
        return dict(shapely.geometry.mapping(shapely.orient_polygons(shapely.normalize(whole) if crosses else whole)))
    shells = []
    for half in halves if crosses else [ring]:
        turn = -360 if max(x for x, _ in half) > 0 else 0
        shells.append([[middle + turn + x, y] for x, y in [*half, half[0]]])
    if crosses:
        return {"type": "MultiPolygon", "coordinates": [[shell] for shell in shells]}
    return {"type": "Polygon", "coordinates": shells}


def write_archipelago(folder: Path, middle: float, **changed: list[dict[str, Any]]) -> tuple[str, ...]:
    """Write the islands about a middle, and a boat; return the options that name them."""
    west, east = at(middle, EXTENT[0], 0)[0], at(middle, EXTENT[2], 0)[0]
    toml = REGION_TOML.replace("[-39.0, 44.0, -38.0, 45.0]", f"[{west!r}, {EXTENT[1]}, {east!r}, {EXTENT[3]}]")
    toml = toml.replace("Small Waters", "Keel Islands").replace("Atlantic/Azores", "UTC")
    places = [
        ("West Landing", "harbour", -1.0, -17.6),
        ("East Landing", "harbour", 1.0, -17.5),
        ("Line Anchorage", "anchorage", 0.0, -18.12),
        ("Dusk Bay", "anchorage", -0.3, -17.9),
        ("Dawn Bay", "anchorage", 0.3, -17.9),
    ]
    layers = {
        "land": [
            feature(area(middle, ring), name=name)
            for name, ring in (("Keel Island", KEEL_ISLAND), ("Dusk Island", WEST_ISLAND), ("Dawn Island", EAST_ISLAND))
        ],
        "depth": [
            feature(area(middle, DEEP), min_depth_m=20.0, survey="good"),
            feature(area(middle, BANK), min_depth_m=0.4, survey="good"),
        ],
        "zones": [feature(area(middle, SLOW), name="Keel Sound", rule="speed-limit", limit_kn=10.0, why="whales")],
        "hazards": [feature(at(middle, 0.0, -16.93), name="Seam Rock", kind="rock", keep_off_m=300.0)],
        "docks": [
            dock("Dusk Pump", *at(middle, -0.449, -17.5)),
            dock("Line Pump", *at(middle, 0.0, -17.1699)),
            dock("Dawn Pump", *at(middle, 0.449, -17.4195)),
        ],
        "waypoints": [feature(at(middle, x, y), name=name, kind=kind) for name, kind, x, y in places],
    }
    region = write_region_folder(folder / f"region {middle:g}", {**layers, **changed}, toml=toml)
    tank = (("capacity_l = 100", "capacity_l = 160"), ("full_mark_l = 95", "full_mark_l = 152"))
    return ("--region", str(region), "--boat", str(write_boat(folder / "boat.toml", *tank)))


@dataclass(frozen=True)
class Copy:
    """What the command line made of one copy."""

    passage: dict[str, Any]
    reach: dict[str, Any]
    folder: Path

    def page(self, name: str) -> str:
        """Read a page that was written."""
        return (self.folder / f"{name}.html").read_text(encoding="ascii" if name != "guests" else "utf-8")


@pytest.fixture(scope="module")
def cli(cache_with_demo: Path) -> Callable[..., Outcome]:
    """Run `routeplan` at noon of 30 June 2026, with the cache that all tests share."""

    def at_noon(*words: object) -> Outcome:
        return run(*words, cache=cache_with_demo, now=datetime(2026, 6, 30, 12, tzinfo=UTC))

    return at_noon


@pytest.fixture(scope="module")
def waters(tmp_path_factory: pytest.TempPathFactory) -> dict[float, tuple[str, ...]]:
    """Write both copies."""
    return {middle: write_archipelago(tmp_path_factory.mktemp("keel"), middle) for middle in (LINE, PRIME)}


@pytest.fixture(scope="module")
def copies(
    cli: Callable[..., Outcome], waters: dict[float, tuple[str, ...]], tmp_path_factory: pytest.TempPathFactory
) -> dict[float, Copy]:
    """Ask both copies for a passage from west to east, and what is in reach of Line Anchorage."""
    found = {}
    for middle, options in waters.items():
        folder = tmp_path_factory.mktemp("made")
        ask = (*options, "--depart", "2026-07-01T08:00", "--json", "--aboard")
        plan = ("--closed-dock", "off", "--map", folder / "plan.html", "--layers", folder / "plan.gpkg")
        passage = cli("passage", "West Landing", "East Landing", *ask, "120l", *plan)
        drawn = ("--map", folder / "reach.html", "--guest-page", folder / "guests.html", "--layers", folder / "reach")
        reach = cli("reach", "Line Anchorage", *ask, "150l", *drawn)
        assert (passage.code, reach.code) == (0, 0), passage.err + reach.err
        found[middle] = Copy(passage.document, reach.document, folder)
    return found


def lines_of(geometry: Any) -> list[list[list[float]]]:
    """Take the lists of positions out of GeoJSON."""
    if isinstance(geometry, dict):
        return lines_of(geometry["coordinates"])
    if isinstance(geometry[0], int | float):
        return [[geometry]]
    if isinstance(geometry[0][0], int | float):
        return [geometry]
    return [line for part in geometry for line in lines_of(part)]


def assert_kept_to_the_rule(geometry: dict[str, Any]) -> None:
    """RFC 7946, 3.1.1 and 3.1.9: longitudes from -180 to 180, and no edge that runs round the world."""
    for line in lines_of(geometry):
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in line)
        assert all(abs(a[0] - b[0]) < 180 for a, b in pairwise(line))


def shifted(value: Any) -> Any:
    """Take a document as if about 0: what is a position moves half the world."""
    if isinstance(value, dict):
        return {key: shifted(v) for key, v in value.items() if key not in {"geometry", "track"}}
    if isinstance(value, list):
        if len(value) == 2 and all(isinstance(v, float) for v in value):
            return [value[0] - 180 if value[0] > 0 else value[0] + 180, value[1]]
        return [shifted(v) for v in value]
    return value


def assert_same(one: Any, other: Any, where: str = "") -> None:
    """Every number to a millionth, every text to the letter, but for positions that are told.

    Points to turn at are found by steps of a hundredth of a mile, so they and what follows from them may be as far out.
    """
    within = 0.03 if "turning_points" in where else SAME
    assert type(one) is type(other), where
    if isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key in one:
            if not key.endswith("position") and key != "narrowest":
                assert_same(one[key], other[key], f"{where}/{key}")
    elif isinstance(one, list):
        assert len(one) == len(other), where
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_same(a, b, f"{where}/{i}")
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=SAME, abs=within), where
    elif isinstance(one, str):
        told = re.compile(r"\d\d \d\d\.\d\d[NS] \d{3} \d\d\.\d\d[EW]")
        assert told.sub("", one) == told.sub("", other), where
    else:
        assert one == other, where


# The same answers


def test_distances_fuel_and_stops_are_those_of_the_same_waters_elsewhere(copies: dict[float, Copy]) -> None:
    here, there = copies[LINE].passage, copies[PRIME].passage
    assert [stop["dock"] for stop in here["plans"][0]["stops"]] == ["Dusk Pump", "Line Pump"]
    assert_same(
        {k: v for k, v in shifted(here).items() if k != "plans"}, {k: v for k, v in there.items() if k != "plans"}
    )
    for one, other in zip(here["plans"], there["plans"], strict=True):
        assert_same(shifted(one), shifted(other))
        for a, b in zip(one["legs"], other["legs"], strict=True):
            assert (a["to_position"][0] - b["to_position"][0]) % 360 == pytest.approx(180, abs=2e-6)
            assert a["to_position"][1] == pytest.approx(b["to_position"][1], abs=2e-6)


def test_reach_is_that_of_the_same_waters_elsewhere(copies: dict[float, Copy]) -> None:
    """Areas by geographiclib, in square metres; that of some dock is put together of pieces that points asked for."""
    here, there = copies[LINE].reach, copies[PRIME].reach
    assert_same(shifted(here), shifted(there))
    for one, other in zip(here["areas"], there["areas"], strict=True):
        assert area_m2(one["geometry"]) == pytest.approx(area_m2(other["geometry"]), rel=SAME)
    assert area_m2(here["some_dock"]["geometry"]) == pytest.approx(area_m2(there["some_dock"]["geometry"]), rel=1e-4)


def area_m2(geometry: dict[str, Any]) -> float:
    total = 0.0
    for polygon in geometry["coordinates"]:
        for ring in polygon:  # holes run the other way round, so that they count off
            outline = Geodesic.WGS84.Polygon()
            for lon, lat in ring[:-1]:
                outline.AddPoint(lat, lon)
            total += outline.Compute(reverse=False, sign=True)[2]
    return total


# What is written


def test_the_track_is_cut_at_180_and_whole(copies: dict[float, Copy]) -> None:
    """RFC 7946, 3.1.9. Its pieces meet, and walked by geographiclib they are as long as the plan says.

    Each position is rounded to six decimals, 0.1 m: a hundred of them make less than 10 m.
    """
    for plan in copies[LINE].passage["plans"]:
        track = plan["track"]
        assert track["type"] == "MultiLineString"
        assert_kept_to_the_rule(track)
        pieces = track["coordinates"]
        assert pieces[0][0] == pytest.approx([179.0, -17.6], abs=1e-6)
        assert pieces[-1][-1] == pytest.approx([-179.0, -17.5], abs=1e-6)
        for before, after in pairwise(pieces):
            assert {before[-1][0], after[0][0]} == {-180.0, 180.0}
            assert before[-1][1] == after[0][1]
        walked = sum(
            Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"] for piece in pieces for a, b in pairwise(piece)
        )
        assert walked / METRES_PER_NMI == pytest.approx(plan["distance_nmi"], abs=10 / METRES_PER_NMI)
    assert copies[PRIME].passage["plans"][0]["track"]["type"] == "LineString"


def test_areas_rings_and_edges_are_cut_at_180(copies: dict[float, Copy]) -> None:
    reach = copies[LINE].reach
    shapes = [*reach["areas"], *reach["rings"], reach["some_dock"]]
    for one in shapes:
        assert_kept_to_the_rule(one["geometry"])
        assert shapely.from_geojson(json.dumps(one["geometry"])).is_valid
        lons = {lon for line in lines_of(one["geometry"]) for lon, _ in line}
        assert {-180.0, 180.0} <= lons  # Line Anchorage lies on the line, so all that is round it crosses


def test_layers_are_cut_at_180(copies: dict[float, Copy]) -> None:
    """Read by GDAL, from a GeoPackage and from a folder of GeoJSON."""
    folder = copies[LINE].folder
    sources = [(folder / "plan.gpkg", name) for name, _ in pyogrio.list_layers(folder / "plan.gpkg")]
    sources += [(path, path.stem) for path in (folder / "reach").glob("*.geojson")]
    assert {name for _, name in sources} >= {"legs", "stops", "rings", "closed_water", "reach", "reach_places"}
    for path, name in sources:
        for shape in pyogrio.read_dataframe(path, layer=name).geometry:
            assert_kept_to_the_rule(json.loads(shapely.to_geojson(shape)))


def drawn(page: str) -> list[dict[str, Any]]:
    found = re.findall(r"geo_json_theme\d+_add\((\{.*?\})\);\n", page)
    return [one for text in found for one in json.loads(text)["features"]]


@pytest.mark.parametrize("name", ["plan", "reach"])
def test_the_map_runs_on_over_180(copies: dict[float, Copy], name: str) -> None:
    """Drawn in one piece: all as about 0, half the world further east, and positions told as ever."""
    here, there = (drawn(copies[middle].page(name)) for middle in (LINE, PRIME))
    assert len(here) == len(there)
    for one, other in zip(here, there, strict=True):
        a, b = (shapely.from_geojson(json.dumps(feature["geometry"])) for feature in (one, other))
        moved = shapely.transform(b, lambda lonlat: lonlat + np.array([180.0, 0.0]))
        exact = "Point" in a.geom_type or one["properties"]["k"].split()[0] in {"leg", "ring"}
        if exact:  # in one piece, though the layer holds it in two
            assert shapely.get_num_geometries(a) == shapely.get_num_geometries(b)
        # two roundings to five decimals; all else is simplified, perhaps from another corner on, by 50 m at the most,
        # and edges of a reach end where they come within twice a stand-off of a shore
        assert a.hausdorff_distance(moved) < (3e-5 if exact else 250 / 111_000)
    page = copies[LINE].page(name)
    (view,) = re.findall(r'"view": (\[\[.*?\]\])', page)
    (south, west), (north, east) = json.loads(view)
    assert west < 180 < east < west + 3
    assert south < north
    assert "180 00.00" in page
    assert not re.search(r"1[89]\d \d\d\.\d\d[EW]", page.replace("180 00.00", ""))


def test_the_guests_picture_and_its_directions_are_the_same(copies: dict[float, Copy]) -> None:
    pages = [copies[middle].page("guests") for middle in (LINE, PRIME)]
    pictures = [re.findall(r'<svg class="picture".*?</svg>', page) for page in pages]
    reaches = [re.findall(r'class="reach" fill-rule="evenodd" d="(.*?)"', picture)[0] for (picture,) in pictures]
    corners = [np.array(re.findall(r"([\d.-]+) ([\d.-]+)", reach), dtype=float) for reach in reaches]
    for side in (np.min, np.max):  # within a unit, half a pixel: it is simplified, perhaps from another corner on
        assert np.abs(side(corners[0], axis=0) - side(corners[1], axis=0)).max() < 1
    others = [re.sub(r'<path class="(?:reach|limit|edge)".*?/>', "", picture) for (picture,) in pictures]
    assert others[0] == others[1]
    cards = [re.findall(r'<li class="card">.*?</li>', page) for page in pages]
    assert cards[0] == cards[1]
    told = {name: " ".join(card for card in cards[0] if name in card) for name in ("Dusk Bay", "Dawn Bay")}
    assert "north-west" in told["Dusk Bay"]
    assert "north-east" in told["Dawn Bay"]


# What is typed


def test_positions_are_typed_on_either_side(cli: Callable[..., Outcome], waters: dict[float, tuple[str, ...]]) -> None:
    """Dusk Bay and Dawn Bay by their positions: round the south of Keel Island, as between their names."""
    ask = (*waters[LINE], "--aboard", "150l", "--depart", "2026-07-01T08:00", "--json")
    legs = []
    for ends in (
        ("Dusk Bay", "Dawn Bay"),
        ("17 54S 179 42E", "-17.9, -179.7"),
        ("S17 54 W179 42", "17 54.0S 179 42.0E"),
    ):
        outcome = cli("passage", *ends, *ask)
        assert outcome.code == 0, outcome.err
        legs.append(outcome.document["plans"][0])
    straight = Geodesic.WGS84.Inverse(-17.9, 179.7, -17.9, -179.7)["s12"] / METRES_PER_NMI
    assert straight < legs[0]["distance_nmi"] < straight * 1.02  # by hand: 2 minutes south and back of 34 nmi, 0.3 %
    assert [leg["distance_nmi"] for leg in legs] == pytest.approx([legs[0]["distance_nmi"]] * 3, rel=SAME)


def test_a_region_that_crosses_is_checked_and_shown(
    cli: Callable[..., Outcome], waters: dict[float, tuple[str, ...]]
) -> None:
    for command in ("check", "show"):
        outcome = cli("region", command, waters[LINE][1])
        assert outcome.code == 0, outcome.err
        assert "outside the region" not in outcome.out
    assert "18 12.00S 178 48.00E to 16 54.00S 178 48.00W" in outcome.out


def test_a_place_beyond_the_data_is_told_where_they_end(
    cli: Callable[..., Outcome], waters: dict[float, tuple[str, ...]]
) -> None:
    outcome = cli("reach", "17 30S 178 30E", *waters[LINE], "--aboard", "150l")
    assert outcome.code == 2
    assert "the region's data run from 18 12.00S 178 48.00E to 16 54.00S 178 48.00W" in outcome.said


def test_a_shape_that_isnt_cut_is_refused(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    """Read as it is written, such an island would close all water but its own, right round the world."""
    uncut = {"type": "Polygon", "coordinates": [[list(at(LINE, x, y)) for x, y in [*KEEL_ISLAND, KEEL_ISLAND[0]]]]}
    options = write_archipelago(tmp_path, LINE, land=[feature(uncut, name="Keel Island")])
    outcome = cli("region", "check", options[1])
    assert outcome.code == 2
    assert "land" in outcome.said
    assert "cut what crosses the 180th meridian in two there (RFC 7946, section 3.1.9)" in outcome.said


# Shapes


def box_about(lon: float, lat: float, wide: float, high: float) -> shapely.Polygon:
    return shapely.box(lon - wide, lat - high, lon + wide, lat + high)


@given(
    lon=st.floats(177, 183),
    lat=st.floats(-70, 70),
    wide=st.floats(0.01, 5),
    hole=st.floats(0.1, 0.9),
)
def test_areas_are_cut_and_joined_without_loss(lon: float, lat: float, wide: float, hole: float) -> None:
    """A square with a hole: its parts lie from -180 to 180, cover as much, and make the square again."""
    square = box_about(lon, lat, wide, wide).difference(box_about(lon, lat, wide * hole, wide * hole))
    cut = wrap(square)
    assert cut.is_valid
    assert -180 <= cut.bounds[0] <= cut.bounds[2] <= 180
    assert cut.area == pytest.approx(square.area, rel=1e-9)
    again = unwrap(cut, 180.0)
    assert again.symmetric_difference(square).area < 1e-9 * square.area + 1e-12
    assert again.geom_type == "Polygon" or lon - wide >= 180 or lon + wide <= 180


@given(st.lists(st.tuples(st.floats(170, 190), st.floats(-60, 60)), min_size=2, max_size=8, unique=True))
def test_lines_are_cut_in_their_order(points: Ring) -> None:
    """Pieces follow one another, and their corners are the line's own and where it crosses."""
    line = shapely.LineString(points)
    pieces = shapely.get_parts(wrap(line))
    assert sum(piece.length for piece in pieces) == pytest.approx(line.length, rel=1e-9)
    for before, after in pairwise(pieces):
        assert {before.coords[-1][0], after.coords[0][0]} == {-180.0, 180.0}
        assert before.coords[-1][1] == after.coords[0][1]
    first, last = pieces[0].coords[0], pieces[-1].coords[-1]
    assert [(lon % 360, lat) for lon, lat in (first, last)] == [
        (pytest.approx(lon, abs=1e-9), lat) for lon, lat in (points[0], points[-1])
    ]


def test_land_of_half_the_world_is_not_torn() -> None:
    """A continent from 10 W to 170 W by way of the east, seen from New Zealand: it lies in no two places at once."""
    halves = shapely.MultiPolygon([shapely.box(-10, 40, 180, 70), shapely.box(-180, 60, -170, 70)])
    seen = Plane((170.0, -48.0, -170.0, -30.0)).unwrapped(halves)
    assert seen.is_valid
    assert seen.area == pytest.approx(halves.area)
    assert seen.bounds == (0.0, 40.0, 360.0, 70.0)


def test_what_lies_on_one_side_is_left_as_it_is() -> None:
    """The same objects, so that a plain region's digests and tracks can't change."""
    plain, shape = Plane((-39.5, 43.75, -36.0, 45.25)), shapely.box(-38, 44, -37, 45)
    assert plain.unwrapped(shape) is shape
    assert plain.wrapped(shape) is shape
    assert wrap(shapely.box(179, 0, 180, 1)).bounds == (179, 0, 180, 1)


def test_a_shape_drawn_without_a_cut_is_found_and_mended() -> None:
    """Its long edges go the short way round; a ring round a pole can't be mended."""
    uncut = shapely.Polygon(
        [(179.5, -17), (-179.5, -17), (-179.5, -16), (179.5, -16)],
        [[(179.8, -16.8), (-179.9, -16.8), (-179.9, -16.5), (179.8, -16.5)]],
    )
    assert goes_round(uncut) == -17
    mended = the_short_way(uncut)
    assert mended.is_valid
    assert mended.area == pytest.approx(1.0 - 0.3 * 0.3)
    assert goes_round(mended) is None
    assert the_short_way(shapely.Polygon([(0, -70), (120, -70), (-120, -70)])) is None


def test_a_plane_tells_what_it_covers_on_both_sides() -> None:
    across, plain = Plane((170.0, -48.0, -170.0, -30.0)), Plane((170.0, -48.0, 180.0, -30.0))
    points = [(175, -40), (-175, -40), (180, -40), (-180, -30), (169.9, -40), (-169.9, -40), (175, -29.9)]
    assert across.covers_lonlat(points).tolist() == [True, True, True, True, False, False, False]
    assert plain.covers_lonlat(points).tolist() == [True, False, True, True, False, False, False]
    middle = across.to_plane([(180.0, -39.0), (-180.0, -39.0)])
    assert np.abs(middle).max() < 1e-3
    assert across.to_lonlat(middle)[:, 0].tolist() == pytest.approx([-180.0, -180.0], abs=1e-12)
    assert across.to_lonlat(across.to_plane([(-175, -40), (175, -40)]))[:, 0].tolist() == pytest.approx([-175, 175])
