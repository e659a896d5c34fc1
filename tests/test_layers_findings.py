"""What a careful skipper would ask about: each doubt shown by one planted case, and not where it isn't due."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from geographiclib.geodesic import Geodesic

import layers
from layers import LAYERS, Finding, Region, RegionAbout, Source, build_layer, build_region, find_doubts, read_region

if TYPE_CHECKING:
    from pathlib import Path

TODAY = date(2026, 7, 1)
ABOUT = RegionAbout(
    name="Nowhere Sound",
    extent=(-39.0, 44.0, -37.0, 45.0),
    time_zone="UTC",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
    sources={name: Source(title="a sketch") for name in LAYERS},
)
WEST = shapely.box(-38.5, 44.4, -38.1, 44.6)  # two islands with a strait between, a tenth of a degree wide
EAST = shapely.box(-38.0, 44.4, -37.8, 44.6)
STRAIT = shapely.LineString([(-38.1, 44.5), (-38.0, 44.5)])
QUAY = shapely.Point(-38.0999, 44.45)  # 8 m off the western island
DOCK = {
    "name": "Knap Quay",
    "fuels": "gasoline",
    "opening_hours": "08:00-18:00",
    "price_gasoline_per_l": 1.9,
    "depth_m": 2.5,
    "confirmed_on": date(2026, 5, 1),
}
BRIDGE = {"name": "Strait bridge", "kind": "bridge", "clearance_m": 4.5}
ZONE = {"name": "Reach", "rule": "no-wake", "why": "moorings"}
RING_TWICE = '08:00-12:00; Dec "ring twice"'


SOUND: dict[str, list[tuple[dict[str, object], object]]] = {
    "land": [({}, WEST), ({}, EAST)],
    "depth": [({"min_depth_m": 5}, shapely.box(-39, 44, -37, 45))],
    "hazards": [({"kind": "rock", "keep_off_m": 50}, shapely.Point(-37.5, 44.5))],
    "zones": [(ZONE, shapely.box(-38.1, 44.4, -38.0, 44.45))],
    "overhead": [(BRIDGE, STRAIT)],
    "openings": [({"name": "Strait bridge", "kind": "bridge", "opening_hours": "08:00-20:00"}, STRAIT)],
    "docks": [(DOCK, QUAY)],
    "waypoints": [({"name": "Holm", "kind": "mark"}, shapely.Point(-37.4, 44.5))],
    "currents": [
        (
            {"name": "S", "flood_deg": 0, "ebb_deg": 180, "mean_kn": 0, "constituents": "M2 1.8 43; S2 0.6 78"},
            shapely.box(-38.1, 44.45, -38.0, 44.5),
        )
    ],
}


@cache
def sound(name: str) -> Any:
    """Build a layer of two islands and the strait between, harmless in all."""
    return build_layer(LAYERS[name], [row for row, _ in SOUND[name]], [shape for _, shape in SOUND[name]])


def made(**rows: list[tuple[dict[str, object], object]]) -> Region:
    """Make a region of two islands and what is given, all other layers there and harmless."""
    frames = {name: sound(name) for name in SOUND}
    for name, found in rows.items():
        frames[name] = build_layer(LAYERS[name], [row for row, _ in found], [shape for _, shape in found])
    return Region(ABOUT, frames, frozenset(frames), "a region in memory")  # its layers are checked


def doubts(region: Region) -> list[Finding]:
    return list(find_doubts(region, today=TODAY))


def only(region: Region) -> Finding:
    found = doubts(region)
    assert len(found) == 1, [str(doubt) for doubt in found]
    return found[0]


def test_a_sound_region_raises_no_doubt():
    assert doubts(made()) == []


def test_absent_layers_are_told_with_what_follows():
    found = doubts(build_region(ABOUT, {}))
    assert [doubt.layer for doubt in found] == list(LAYERS)
    assert all("is absent: " in doubt.problem for doubt in found)


def test_empty_layers_are_told_too():
    assert doubts(made(depth=[]))[0].problem == "the layer is empty: all water counts as unsurveyed"


def test_a_missing_source_is_told():
    region = build_region(ABOUT.model_copy(update={"sources": {}}), made().frames)
    assert {doubt.layer for doubt in doubts(region)} == set(LAYERS)
    assert "add [sources.land] to region.toml" in str(doubts(region)[0])


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"confirmed_on": None}, "was never confirmed"),
        ({"confirmed_on": date(2025, 6, 30)}, "was last confirmed on 2025-06-30, 366 days ago"),
        ({"confirmed_on": date(2026, 7, 2)}, "was confirmed in the future, 2026-07-02"),
        ({"opening_hours": None}, "not known: hours"),
        ({"depth_m": None, "price_gasoline_per_l": None}, "not known: price of gasoline, depth"),
        ({"price_gasoline_per_l": 0}, "its gasoline costs nothing"),
        ({"price_diesel_per_l": 1.8}, "it has a price for diesel, which it doesn't sell"),
        ({"depth_m": 400}, "depth_m of 400 m is hard to believe"),
        ({"max_length_m": 1}, "max_length_m of 1 m is hard to believe"),
        ({"pumps": 400}, "pumps of 400 is hard to believe"),
        ({"opening_hours": "off"}, "its opening_hours say that it never opens in the coming year: 'off'"),
        ({"opening_hours": "08:00+"}, "its opening_hours have no closing time: '08:00+'"),
        (
            {"opening_hours": "08:00-18:00; PH off"},
            "its opening_hours name holidays, which are not known and count as other days: '08:00-18:00; PH off'",
        ),
        (
            {"opening_hours": RING_TWICE},
            "its opening_hours remark on something without a state, which counts as unknown: " + repr(RING_TWICE),
        ),
    ],
)
def test_doubts_about_a_dock(changes: dict[str, object], problem: str):
    found = only(made(docks=[(DOCK | changes, QUAY)]))
    assert (found.layer, found.row, found.name, found.problem) == ("docks", 1, "Knap Quay", problem)


def test_a_year_since_the_last_call_is_not_yet_long():
    assert doubts(made(docks=[(DOCK | {"confirmed_on": date(2025, 7, 1)}, QUAY)])) == []


def test_a_dock_far_inland():
    """The island is 0.2 degrees of latitude high, 12 nmi, so its north shore is 6 nmi off; east and west are 8.6."""
    found = only(made(docks=[(DOCK, shapely.Point(-38.3, 44.5))]))
    assert found.problem == "lies 6.0 nmi inland"


def test_a_dock_just_inside_the_shore_is_let_be():
    """0.005 degrees of longitude at 44.5 north are 0.0036 * 60 = 0.21 nmi, within half a mile."""
    assert doubts(made(docks=[(DOCK, shapely.Point(-38.105, 44.5))])) == []


def test_a_dock_out_at_sea():
    """The nearest land is due west, 0.3 degrees of longitude at 44.5 north; the geodesic by geographiclib.

    0.3 degrees * 60 * cos 44.5 = 12.84 nmi on a sphere; the ellipsoid's parallel is 0.3 % longer.
    """
    away_nmi = Geodesic.WGS84.Inverse(44.5, -37.8, 44.5, -37.5)["s12"] / 1852
    found = only(made(docks=[(DOCK, shapely.Point(-37.5, 44.5))]))
    assert found.problem == f"lies {away_nmi:.1f} nmi off the nearest land"


def test_a_waypoint_inland():
    found = only(made(waypoints=[({"name": "Holm", "kind": "mark"}, shapely.Point(-37.9, 44.5))]))
    assert (found.layer, found.problem) == ("waypoints", "lies 4.3 nmi inland")  # 0.1 degrees * cos 44.5 * 60 = 4.28


def test_one_name_for_two_places():
    region = made(
        docks=[(DOCK, QUAY), (DOCK, shapely.Point(-38.0999, 44.46))],
        waypoints=[({"name": " knap  QUAY ", "kind": "mark"}, shapely.Point(-37.4, 44.5))],
    )
    found = doubts(region)
    assert [(doubt.layer, doubt.row) for doubt in found] == [("docks", 2), ("waypoints", 1)]
    assert found[0].problem == "layer docks, row 1, has the same name"


@pytest.mark.parametrize("layer", ["docks", "waypoints", "hazards"])
def test_what_lies_outside_the_extent(layer: str):
    away = shapely.Point(-36.0, 44.5)
    rows = {
        "docks": DOCK,
        "waypoints": {"name": "Holm", "kind": "mark"},
        "hazards": {"kind": "rock", "keep_off_m": 50},
    }
    found = only(made(**{layer: [(rows[layer], away)]}))
    assert (found.layer, found.row, found.problem) == (layer, 1, "lies outside the region's extent")


def test_much_land_outside_is_told_once():
    away = [({}, shapely.box(-30 + lon, 44, -29.5 + lon, 44.5)) for lon in range(3)]
    found = only(made(land=[({}, WEST), ({}, EAST), *away]))
    assert found.problem == "3 rows lie outside the region's extent, the first is row 3"


def test_overlapping_land_is_placed():
    found = only(made(land=[({"name": "Mainland"}, WEST), ({}, EAST), ({}, shapely.box(-38.2, 44.3, -38.15, 44.5))]))
    assert (found.row, found.name) == (1, "Mainland")
    assert found.problem == "overlaps row 3"
    lon, lat = found.position or (0.0, 0.0)  # where both lie
    assert -38.2 < lon < -38.15
    assert 44.4 < lat < 44.5


def test_land_twice_and_land_within_land():
    within = shapely.box(-37.95, 44.45, -37.9, 44.5)
    found = doubts(made(land=[({}, WEST), ({}, EAST), ({}, EAST), ({}, within)]))
    assert [(doubt.row, doubt.problem[:14]) for doubt in found] == [
        (2, "overlaps row 3"),
        (2, "overlaps row 4"),
        (3, "overlaps row 4"),
    ]


def test_neighbours_that_share_a_shore_do_not_overlap():
    assert doubts(made(land=[({}, WEST), ({}, EAST), ({}, shapely.box(-37.8, 44.4, -37.7, 44.6))])) == []


def test_a_bridge_that_stops_short_of_land():
    """0.01 degrees of longitude at 44.5 north: 0.01 * 111,320 * cos 44.5 = 794 m on a sphere; 0.2 % more on WGS 84."""
    short = shapely.LineString([(-38.1, 44.5), (-38.01, 44.5)])
    found = only(made(overhead=[(BRIDGE, short)]))
    assert (found.layer, found.name) == ("overhead", "Strait bridge")
    assert found.problem == "its end stops 795 m short of land"
    assert found.position == pytest.approx((-38.01, 44.5), abs=1e-6)


def test_a_bridge_within_a_hundred_metres_of_land_is_let_be():
    """0.001 degrees of longitude at 44.5 north are 79 m."""
    assert doubts(made(overhead=[(BRIDGE, shapely.LineString([(-38.1, 44.5), (-38.001, 44.5)]))])) == []


def test_two_spans_that_meet_in_mid_water_are_let_be():
    spans = [shapely.LineString([(-38.1, 44.5), (-38.05, 44.5)]), shapely.LineString([(-38.05, 44.5), (-38, 44.5)])]
    assert doubts(made(overhead=[(BRIDGE, span) for span in spans])) == []
    assert doubts(made(overhead=[(BRIDGE, shapely.MultiLineString(spans))])) == []


def test_a_bridge_on_land():
    found = doubts(made(overhead=[(BRIDGE, STRAIT), (BRIDGE, shapely.LineString([(-38.3, 44.5), (-38.2, 44.5)]))]))
    assert [(doubt.row, doubt.problem) for doubt in found] == [(2, "lies wholly on land")]


def test_an_opening_away_from_every_bridge():
    away = {"name": "Draw", "kind": "bridge", "opening_hours": "24/7"}
    found = only(made(openings=[(away, shapely.Point(-38.05, 44.51))]))
    assert found.problem == "it opens no bridge of layer overhead: the nearest is 1111 m away"  # 0.01 * 111,120 m
    lock = away | {"kind": "lock"}
    assert doubts(made(openings=[(lock, shapely.Point(-38.05, 44.51))])) == []


def test_an_opening_without_hours():
    row = {"name": "Strait bridge", "kind": "bridge"}
    assert only(made(openings=[(row, STRAIT)])).problem == "when it opens is not known"


@pytest.mark.parametrize(
    ("layer", "row", "problem"),
    [
        ("depth", {"min_depth_m": 99_999}, "min_depth_m of 99999 m is hard to believe"),
        ("depth", {"min_depth_m": 5, "max_depth_m": 2}, "its deepest, 2 m, is shallower than its shallowest, 5 m"),
        ("zones", ZONE | {"rule": "speed-limit", "limit_kn": 90}, "limit_kn of 90 kn is hard to believe"),
        ("zones", ZONE | {"rule": "traffic-lane"}, "the direction of its traffic is not known"),
        ("zones", ZONE | {"season": "2019 Jul"}, "its season say that it never holds in the coming year: '2019 Jul'"),
    ],
)
def test_doubts_about_areas(layer: str, row: dict[str, object], problem: str):
    shape = shapely.box(-39, 44, -37, 45) if layer == "depth" else shapely.box(-38.1, 44.4, -38.0, 44.45)
    assert only(made(**{layer: [(row, shape)]})).problem == problem


def test_rows_are_the_files_own_where_docks_were_left_out(tmp_path: Path):
    good = made(docks=[(DOCK, QUAY), (DOCK | {"name": "B", "depth_m": None}, QUAY)])
    layers.write_region(good, tmp_path / "r")
    path = tmp_path / "r" / "docks.geojson"
    path.write_text(path.read_text(encoding="utf-8").replace("08:00-18:00", "8-18", 1), encoding="utf-8")
    found = doubts(read_region(tmp_path / "r", skip_bad_docks=True))
    assert [(doubt.row, doubt.name) for doubt in found] == [(1, "Knap Quay"), (2, "B")]


def test_things_far_outside_do_not_stop_the_search():
    """The plane is one region's; what lies on the other side of the globe has no place in it."""
    far = shapely.LineString([(142, -44.5), (143, -44.5)])
    region = made(
        overhead=[(BRIDGE, STRAIT), (BRIDGE | {"name": "Far"}, far)],
        openings=[({"name": "Far", "kind": "bridge", "opening_hours": "24/7"}, shapely.Point(142, -44.5))],
        land=[({}, WEST), ({}, EAST), ({}, shapely.box(141, -45, 142, -44))],
    )
    assert {doubt.problem for doubt in doubts(region)} == {"lies outside the region's extent"}


def test_land_just_outside_is_no_finding():
    """Building a region keeps the shores within 0.05 degrees of its edge, so that they count."""
    near = [({}, shapely.box(-39.05, lat, -39.02, lat + 0.05)) for lat in (44.1, 44.3)]
    assert doubts(made(land=[({}, WEST), ({}, EAST), *near])) == []


def test_an_extent_of_an_ocean_is_doubtful():
    """44 N, 60 degrees of longitude wide: some 2,500 nmi; lengths are promised for 1,500."""
    about = ABOUT.model_copy(update={"extent": (-60.0, 40.0, 0.0, 48.0)})
    found = find_doubts(build_region(about, {}), today=TODAY)
    assert [doubt.kind for doubt in found if doubt.layer == "extent"] == ["extent"]
