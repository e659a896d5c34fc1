"""Water in reach: closed forms solved by hand, what must hold of any, and slow ways of finding the same.

Bounds for what isn't exact were set before anything was computed. `WALLED`: the stand-off of s lies between 0.9 s and
1.11 s from what it is kept from (simplified by 0.09 s; chords about corners reach out by 1 / cos(pi / 16) = 1.02). A
closed form is worked out for land that is narrower and for land that is wider than that: reach over water lies between.
`ROUNDING_M` is the contract's: coordinates are whole centimetres, so a start and a corner are a centimetre off at most.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from oracles.coasts import SIZE, coasts
from oracles.over_water import Tariff, WaysOut, hours_tariff, judge, litres_tariff, some_corners, strew, strew_near_edge
from oracles.sightlines import Coast
from oracles.small_world import MIDDLE, NMI_M, box, make_boat, make_region, to_metres, waypoint, zone
from pyproj import Transformer
from scipy import optimize

from layers import LAYERS, RegionAbout, build_layer, build_region
from routeplan.building import build_network
from routeplan.leg_graph import Price, Rates
from routeplan.margins import Margins
from routeplan.network import Place, connect, join_places
from routeplan.over_water import water_within
from routeplan.spreading import spread
from routeplan.water import build_water

if TYPE_CHECKING:
    from oracles.over_water import Judgement

    from routeplan.boats import Boat
    from routeplan.network import Network

NEAR, WALLED = 0.9, 1.11  # of the stand-off: the least and the most that is kept
ROUNDING_M = 0.02  # [m]
FINE_M = 0.5  # [m] arc tolerance where areas are compared
STANDOFF_M = 5.0  # [m] the least there is
CLOSE = Margins(standoff_m=STANDOFF_M)
FAR = 30_000.0  # [m] beyond the usual extent


def network_of(*, margins: Margins = CLOSE, boat: Boat | None = None, home: Any = (0.0, 0.0), **rows: Any) -> Network:
    """Build a network in metres about the middle, with one place to start from, `Home`, and more if they are given."""
    region = make_region(waypoints=[waypoint(*home, "Home"), *rows.pop("waypoints", [])], **rows)
    return build_network(region, boat or make_boat(), margins, when=datetime(2026, 7, 1, 8, tzinfo=UTC))


def within(
    network: Network, budget: float, price: Price | None = None, *, arcs_m: float = FINE_M, start: str = "Home"
) -> Any:
    """[m] Ask for the water within a budget, of nautical miles unless a price is given; in the network's plane."""
    price = price or Price.of_distance(network)
    area = water_within(spread(network, [network.terminal(start)], price, budget), budget, arcs_m)
    assert area.geom_type == "MultiPolygon"
    assert area.is_valid
    return area


def lonlat(network: Network, area: Any) -> Any:
    """[deg] Bring an area from the network's plane to the globe, corner by corner."""
    back = Transformer.from_crs(network.water.plane.crs, "EPSG:4326", always_xy=True)
    return shapely.transform(area, lambda xy: np.column_stack(back.transform(xy[:, 0], xy[:, 1])))


def on_paper(network: Network, area: Any) -> Any:
    """[m] Bring an area from the network's plane to the metres about the middle that small worlds are drawn in."""
    return to_metres(lonlat(network, area))


def reach_m(network: Network, budget_m: float, **more: Any) -> Any:
    """[m] Ask in metres, and answer on paper."""
    return on_paper(network, within(network, budget_m / NMI_M, **more))


def holds(area: Any, points: Any) -> Any:
    """Tell which points an area holds."""
    return shapely.contains_xy(area, np.asarray(points, dtype=float).reshape(-1, 2))


# Open water ----------------------------------------------------------------------------------------------------------


def open_sea(lon: float, lat: float, half_lon: float, half_lat: float) -> Network:
    """Build a network of nothing but water, with `Home` in its middle."""
    about = RegionAbout(
        name="Open Sea",
        extent=(lon - half_lon, lat - half_lat, lon + half_lon, lat + half_lat),
        time_zone="UTC",
        chart_datum="none",
        clearance_datum="none",
        currency="EUR",
    )
    network = build_network(build_region(about, {}), make_boat())
    return join_places(network, [Place("Home", "position", (lon, lat))])


def area_m2(rings: Any) -> float:
    """[m2] Area of rings of longitude and latitude by geographiclib: the first less the others."""
    areas = []
    for ring in rings:
        polygon = PolygonArea(Geodesic.WGS84)
        for x, y in ring:
            polygon.AddPoint(y, x)
        areas.append(abs(polygon.Compute()[2]))
    return areas[0] - sum(areas[1:])


@cache
def circle_m2(lat: float, radius_m: float) -> float:
    """[m2] A geodesic circle by geographiclib, as a ring of 360 corners; a flat one lacks as much of its circle.

    What the curvature of the earth adds to that is the share lacking, 5e-5, of (50 nmi / 6371 km)^2: nothing.
    """
    spots = [Geodesic.WGS84.Direct(lat, 0, azimuth, radius_m) for azimuth in range(360)]
    flat = math.sin(math.tau / 360) / (math.tau / 360)
    return area_m2([[(spot["lon2"], spot["lat2"]) for spot in spots]]) / flat


@pytest.mark.parametrize(
    ("lon", "lat", "half_lon", "half_lat", "nmi"),
    [
        (-38.0, 44.0, 0.5, 0.35, 12.0),
        (11.0, 60.3, 1.5, 0.7, 40.0),
        (100.0, 0.2, 1.0, 1.0, 50.0),
        (-179.2, -41.0, 0.7, 0.5, 25.0),
        (25.0, 35.0, 0.4, 1.5, 15.0),
    ],
    ids=["a conic plane", "far north", "at the equator", "beside the antimeridian", "a tall narrow extent"],
)
@pytest.mark.parametrize("arcs_m", [5.0, 0.3])
def test_open_water_is_a_geodesic_circle(
    lon: float, lat: float, half_lon: float, half_lat: float, nmi: float, arcs_m: float
):
    """By geographiclib: on 200 courses what lies within the arcs' tolerance of the radius is in, what lies past it out.

    The area lies between those of the circle and of one that is smaller by the tolerance.
    """
    network = open_sea(lon, lat, half_lon, half_lat)
    area = within(network, nmi, arcs_m=arcs_m)
    courses = np.random.default_rng(1).uniform(0, 360, 200)
    for radius_m, inside in ((nmi * NMI_M - arcs_m - ROUNDING_M, True), (nmi * NMI_M + ROUNDING_M, False)):
        spots = [Geodesic.WGS84.Direct(lat, lon, course, radius_m) for course in courses]
        xy = network.water.plane.to_plane([(spot["lon2"], spot["lat2"]) for spot in spots])
        assert (holds(area, xy) == inside).all()
    (ring,) = [part.exterior.coords[:-1] for part in lonlat(network, area).geoms]
    assert circle_m2(lat, nmi * NMI_M - arcs_m) < area_m2([ring]) < circle_m2(lat, nmi * NMI_M) * (1 + 1e-6)


def test_a_circle_ends_where_the_data_end():
    """Half a degree of latitude is 30 nmi and more: of a reach of 40, what is past the extent is left out.

    What closes the water at the extent's edge is kept clear of, as a shore would be.
    """
    network = open_sea(-38.0, 44.0, 0.5, 0.5)
    area = within(network, 40.0, arcs_m=5.0)
    assert area.symmetric_difference(network.water.navigable).area < 1.0


@pytest.mark.parametrize("budget_nmi", [0.0, 1e-6])
def test_nothing_to_spend_is_no_water(budget_nmi: float):
    """A millionth of a mile is 2 mm: less than the rounding of the start."""
    assert within(open_sea(-38.0, 44.0, 0.1, 0.1), budget_nmi).area < 1e-4


# One wall ------------------------------------------------------------------------------------------------------------


def tangent_m(point: Any, centre: Any, radius_m: float) -> float:
    return math.sqrt(math.dist(point, centre) ** 2 - radius_m**2)


def round_m(a: Any, b: Any, centre: Any, radius_m: float) -> float:
    """[m] The taut string from a to b over the top of a round end of a wall that hangs down from the centre.

    Two tangents and the arc between: the angle at the centre over the top, less what each tangent takes of it.
    """
    angles = [math.atan2(p[0] - centre[0], p[1] - centre[1]) for p in (a, b)]  # from straight up, clockwise
    arc = abs(angles[1] - angles[0]) - sum(math.acos(min(1.0, radius_m / math.dist(p, centre))) for p in (a, b))
    if arc <= 0:
        return math.dist(a, b)
    return tangent_m(a, centre, radius_m) + tangent_m(b, centre, radius_m) + radius_m * arc


@pytest.mark.parametrize("standoff_m", [5.0, 300.0])
def test_round_the_end_of_a_wall(standoff_m: float):
    """A wall 2 m thick hangs south from (3000, 0); what lies behind is reached round its end at the stand-off.

    The end is a disc of 0.9 s at the least and of 1.11 s and the wall's half thickness at the most. 3000 points, all of
    them at least 400 m from the wall.
    """
    network = network_of(land=[(box(2999, -FAR, 3001, 0), {})], margins=Margins(standoff_m=standoff_m), home=(0, -500))
    budget_m, home = 7000.0, (0.0, -500.0)
    area = reach_m(network, budget_m)
    points = np.random.default_rng(2).uniform((-7000, -7500), (10_000, 7000), (3000, 2))
    points = points[(points[:, 1] > 400) | (np.abs(points[:, 0] - 3000) > 400)]
    least, most = (
        np.array([round_m(home, p, (3000.0, 0.0), r) for p in points])
        for r in (NEAR * standoff_m, WALLED * standoff_m + 1.5)
    )
    surely, never = most < budget_m - FINE_M - ROUNDING_M, least > budget_m + ROUNDING_M
    behind = (points[:, 0] > 3000) & (points[:, 1] < -600)
    assert (surely & behind).sum() > 20
    assert (never & behind & (np.hypot(*(points - home).T) < budget_m)).sum() > 10  # a circle would claim these
    assert holds(area, points[surely]).all()
    assert not holds(area, points[never]).any()


def round_wall_m2(end: float, half: float, top: float, radius: float) -> float:
    """[m2] All that a budget of `radius` reaches past a wall: `half` thick, `end` away, its `top` higher.

    Seen: the circle less what lies past the wall's face below the sight over its near corner: half a segment beyond
    the face, and above it a sector less a triangle. From the near corner, hypot(d, top) away, a sector between the
    sight and the flat top; from the far one, 2 half further, a quarter of a circle.
    """
    d = end - half
    half_segment = (radius**2 * math.acos(d / radius) - d * math.sqrt(radius**2 - d**2)) / 2
    rise = math.atan2(top, d)
    near = radius - math.hypot(d, top)
    hidden = half_segment + radius**2 * rise / 2 - d * top / 2
    return math.pi * radius**2 - hidden + rise * near**2 / 2 + math.pi * (near - 2 * half) ** 2 / 4


def test_area_behind_a_wall():
    """From the height of the wall's end, 3000 m west of it, 7000 m to spend: for walls that are too thin and too thick.

    Too thin: nine tenths of the stand-off either way, none at the end. Too thick: all there can be, at the end too.
    """
    area = reach_m(network_of(land=[(box(2999, -FAR, 3001, 0), {})]), 7000.0).area
    thin, thick = NEAR * STANDOFF_M + 1, WALLED * STANDOFF_M + 1
    arcs = FINE_M * 2 * math.pi * 7000
    assert round_wall_m2(3000, thick, thick, 7000) - arcs < area < round_wall_m2(3000, thin, 0, 7000)


# One island ----------------------------------------------------------------------------------------------------------


def round_island_m2(d: float, w: float, h: float, radius: float) -> float:
    """[m2] All that a budget of `radius` reaches round an island of w x 2 h, from d before the middle of its face.

    Seen: the circle less the shadow, a sector of twice atan(h / d) beyond the face. From each front corner, hypot(d, h)
    away, a sector between the sight and the island's flank. From each rear corner, w further, a quarter of a circle;
    what both quarters hold counts once: twice the half segment beyond h.
    """
    half_angle = math.atan2(h, d)
    seen = math.pi * radius**2 - (radius**2 * half_angle - d * h)
    front, rear = radius - math.hypot(d, h), radius - math.hypot(d, h) - w
    both = rear**2 * math.acos(h / rear) - h * math.sqrt(rear**2 - h**2)
    return seen + half_angle * front**2 + math.pi * rear**2 / 2 - both


def test_round_both_sides_of_an_island():
    """2000 m off the middle of a face of 3000 m, 1000 m deep; a budget of 5500 m: both ways round meet behind it.

    Corners at 2500 and 3500 m, so quarters of 2000 m behind, which overlap. Land wider by all the stand-off there can
    be is reached round to less, land without any to more.
    """
    network = network_of(land=[(box(2000, -1500, 3000, 1500), {})])
    area = reach_m(network, 5500.0)
    e = WALLED * STANDOFF_M
    arcs = FINE_M * 2 * math.pi * 5500
    assert round_island_m2(2000 - e, 1000 + 2 * e, 1500 + e, 5500) - arcs < area.area
    assert area.area < round_island_m2(2000, 1000, 1500, 5500)
    # the same above the axis as below it: neither way round is forgotten for being as short as the other
    mirrored = shapely.transform(area, lambda xy: xy * (1, -1))
    assert area.symmetric_difference(mirrored).area < FINE_M * area.length
    # straight behind, 1500 m along each rear corner's circle and sqrt(2000^2 - 1500^2) = 1323 m off the island
    assert holds(area, [(3000 + 1323 - 20, 0), (3000 + 1323 - 20, 5), (3000 + 1323 - 20, -5)]).all()
    assert not holds(area, (3000 + 1323 + 5, 0)).any()


# A bay ---------------------------------------------------------------------------------------------------------------

BAY = box(0, -2000, 3000, 2000).difference(box(500, -800, 3000, 800))  # open to the east


def round_the_bay_m(outside: float, inside: float, e: float) -> float:
    """[m] From x = outside, west of the bay, by an outer corner and an arm's end to x = inside, on its axis."""
    outer, arm = (-e, 2000 + e), (3000 + e, 800 - e)
    return math.dist((outside, 0), outer) + (3000 + 2 * e) + (1200 + 2 * e) + math.dist(arm, (inside, 0))


@pytest.mark.parametrize(("home", "others"), [(-1500.0, (520.0, 2980.0)), (1800.0, (-4000.0, -20.0))])
def test_a_bay_is_left_and_entered_by_its_mouth(home: float, others: tuple[float, float]):
    """From outside into it and from inside out, points every 20 m along the axis, for land without and with stand-off.

    At 8142 m the frontier is in the middle of the bay one way and 1500 m off its back the other.
    """
    network = network_of(land=[(BAY, {})], home=(home, 0))
    budget_m = round_the_bay_m(-1500, 1800, 0)
    area = reach_m(network, budget_m)
    ends = np.arange(*others, 20.0)
    least, most = (
        np.array([round_the_bay_m(min(home, x), max(home, x), e) for x in ends]) for e in (0.0, WALLED * STANDOFF_M)
    )
    surely, never = most < budget_m - FINE_M - ROUNDING_M, least > budget_m + ROUNDING_M
    axis = np.column_stack([ends, np.zeros(len(ends))])
    away = np.abs(ends - home) > 10
    assert min(surely.sum(), (never & away).sum()) > 30
    assert holds(area, axis[surely]).all()
    assert not holds(area, axis[never]).any()


# Walls from end to end -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("slot_m", [80.0, 130.0])
def test_nothing_lies_beyond_a_slot_narrower_than_twice_the_stand_off(slot_m: float):
    """A stand-off of 50 m keeps 90 to 111 m of a slot: 80 m are shut, 130 open."""
    walls = [(box(-1, -FAR, 1, -slot_m / 2), {}), (box(-1, slot_m / 2, 1, FAR), {})]
    network = network_of(land=walls, margins=Margins(standoff_m=50), home=(-2000, 0))
    area = reach_m(network, 5000.0, arcs_m=5.0)
    beyond = area.intersection(box(60, -FAR, FAR, FAR))
    assert holds(area, (-2000, 4900)).all()
    if slot_m < 90:
        assert beyond.is_empty
    else:
        assert holds(area, [(2990, 0)]).all()
        assert not holds(area, [(3001, 0)]).any()
        assert beyond.area > 0.2 * 3000**2


def test_the_far_side_of_a_mainland_is_near_only_by_the_chart():
    """A mainland 200 m wide with its only end 4000 m to the north: the far shore is 1.2 km off, and 8.2 km by water.

    By (100, 4000) from 1000 m either side of the middle: 2 hypot(900, 4000) + 200 = 8400 m; 6 m of stand-off add at
    most 2 * 6 + 2 * 6 = 24.
    """
    network = network_of(land=[(box(-100, -FAR, 100, 4000), {})], home=(-1000, 0))
    by_water = 2 * math.hypot(900, 4000) + 200
    short, enough = (reach_m(network, by_water + more) for more in (-1.0, 25.0))
    assert not holds(short, (1000, 0)).any()
    assert holds(enough, (1000, 0)).all()
    # with 3000 m nothing of the far side is claimed, though much of it lies within that as the crow flies
    assert reach_m(network, 3000.0).intersection(box(100, -FAR, FAR, FAR)).is_empty
    assert not holds(reach_m(network, by_water + 25), (1000, -1000)).any()


def test_a_gate_costs_its_slow_miles_and_its_wait():
    """A low bridge across a channel, 10 minutes for an opening; 20 kn, and 5 kn from stand-off to stand-off.

    These slow miles are 2 (0.9 * 50 + 1) = 92 m at the least and 2 (1.11 * 50 + 1) = 113 m at the most. D metres
    beyond the bridge: (5000 + D - slow) / 20 kn + slow / 5 kn + 1/6 h.
    """
    line = shapely.LineString([(0, -205), (0, 205)])
    low = {"name": "Low", "kind": "bridge", "clearance_m": 1.0}
    opened = {"name": "Low", "kind": "bridge", "closed_clearance_m": 1.0, "wait_min": 10.0, "opening_hours": "24/7"}
    walls = [(box(-50, -FAR, 50, -200), {}), (box(-50, 200, 50, FAR), {})]
    network = network_of(
        land=walls,
        overhead=[(line, low)],
        openings=[(shapely.Point(0, 0), opened)],
        margins=Margins(standoff_m=50),
        home=(-5000, 0),
        waypoints=[waypoint(-65, -3000, "Quay")],
    )
    rates = Rates.of(network.boat, network, 20.0)
    price = Price.of_time(rates)

    def hours(beyond_m: float, slow_m: float) -> float:
        return (5000 + beyond_m - slow_m) / NMI_M / 20 + slow_m / NMI_M / 5 + 1 / 6

    no_time = within(network, hours(100.0, 92.0) - 0.01, price)
    assert on_paper(network, no_time).intersection(box(0, -FAR, FAR, FAR)).is_empty
    area = on_paper(network, within(network, hours(1000.0, 92.0), price))
    assert not holds(area, (1000 + 1, 0)).any()
    farther = 3 * (113 - 92)  # a slow metre costs three others
    assert holds(area, (1000 - farther - 2, 0)).all()
    # from within the stand-off: the least burn takes the quickest ways here, so their hours are the least
    quay = [network.terminal("Quay")]
    quickest = spread(network, quay, price).away
    assert spread(network, quay, Price.of_fuel(rates)).along(price) == pytest.approx(quickest, rel=1e-9)
    assert quickest[np.isfinite(quickest)].max() > 1 / 6
    shut = water_within(spread(network, [network.terminal("Home")], price, shut=frozenset({0})), 2.0)
    assert on_paper(network, shut).intersection(box(0, -FAR, FAR, FAR)).is_empty
    # by miles the gate is a way like any other
    by_miles = reach_m(network, 6000.0)
    assert holds(by_miles, (995, 0)).all()
    assert not holds(by_miles, (1001, 0)).any()


# Speed limits --------------------------------------------------------------------------------------------------------


def snell_m(start: Any, end: Any, edge_x: float, rate: float) -> float:
    """[m] Least price across a straight edge, 1 a metre beyond it and `rate` before, by scipy's bounded search."""

    def price(y: float) -> float:
        return rate * math.hypot(edge_x - start[0], y - start[1]) + math.hypot(end[0] - edge_x, end[1] - y)

    low, high = sorted((start[1], end[1]))
    found = optimize.minimize_scalar(price, bounds=(low - 1, high + 1), method="bounded", options={"xatol": 1e-3})
    return float(found.fun)


def test_out_of_a_limit_the_reach_lies_a_little_inside():
    """From 1000 m inside the straight edge of a no-wake zone, 5 kn, out into 20 kn: Snell's law by a search.

    Nothing is claimed that costs more than the budget. Crossings lie 100 m apart at the most, so a way is 50 m off its
    best one: 50^2 / 2 (4 / 1000 + 1 / 500) = 7.5 m dearer, 500 m or more beyond. With the arcs, 10 m may be left out.
    """
    network = network_of(zones=[(zone(box(-500, -2500, 1000, 2500), "no-wake"))])
    price = Price.of_time(Rates.of(network.boat, network, 20.0))
    budget_m = 7000.0  # of open water
    area = on_paper(network, within(network, budget_m / NMI_M / 20, price))
    points = np.random.default_rng(3).uniform((1500, -1500), (5000, 1500), (300, 2))  # no other side of it is as near
    due = np.array([snell_m((0, 0), p, 1000.0, 4.0) for p in points])
    claimed = holds(area, points)
    assert (due[claimed] < budget_m + 4 * ROUNDING_M).all()
    assert (due[~claimed] > budget_m - 10).all()
    assert 50 < claimed.sum() < 250


def test_into_a_limit_the_reach_lies_a_little_inside():
    """The same the other way: from 1000 m before its edge into the zone, where a metre costs 4.

    By the same reckoning as above, 50^2 / 2 (1 / 1000 + 4 / 300) = 18 m of open water may be missing 300 m past the
    edge, and less further in; with the arcs, 4 times as dear here, 20 m.
    """
    network = network_of(zones=[zone(box(1000, -2500, 3000, 2500), "no-wake")])
    price = Price.of_time(Rates.of(network.boat, network, 20.0))
    budget_m = 4000.0  # of open water
    area = on_paper(network, within(network, budget_m / NMI_M / 20, price))
    points = np.random.default_rng(4).uniform((1300, -1000), (2200, 1000), (300, 2))
    due = np.array([snell_m(p, (0, 0), 1000.0, 4.0) for p in points])
    claimed = holds(area, points)
    assert (due[claimed] < budget_m + 4 * ROUNDING_M).all()
    assert (due[~claimed] > budget_m - 20).all()
    assert 50 < claimed.sum() < 250


def test_a_limit_costs_between_nothing_and_its_rate_everywhere():
    """20 kn and 5 kn: the water within a time lies inside that of 20 kn, and outside that of 5 kn, everywhere.

    Two areas of the same network, each drawn inside the truth by the arcs at the most.
    """
    rows: dict[str, Any] = {
        "land": [(box(1500, -2500, 2200, 300), {})],
        "zones": [zone(box(800, -1500, 3000, 1500), "no-wake"), zone(box(-2500, -500, -1000, 300), "no-wake", "B")],
    }
    network = network_of(**rows)
    price = Price.of_time(Rates.of(network.boat, network, 20.0))
    limited = within(network, 6000 / NMI_M / 20, price)
    free, slow = within(network, 6000 / NMI_M), within(network, 1500 / NMI_M)
    assert limited.difference(free.buffer(FINE_M + ROUNDING_M)).area < 0.1
    assert slow.difference(limited.buffer(FINE_M + ROUNDING_M)).area < 0.1
    assert slow.area < 0.5 * limited.area < 0.5 * 0.95 * free.area


def test_one_limit_everywhere_is_just_another_speed(among_islands: Network):
    """A no-wake zone over all the water there is: an hour at 5 kn is 5 nmi of the same water without it."""
    network = network_of(land=[(shape, {}) for shape in ISLANDS], zones=[zone(box(-FAR, -FAR, FAR, FAR), "no-wake")])
    for nmi in (1.0, 1.5, 2.5):
        by_time = within(network, nmi / 5, Price.of_time(Rates.of(network.boat, network, 20.0)))
        assert by_time.symmetric_difference(within(among_islands, nmi)).area < ROUNDING_M * by_time.length


def test_ways_with_a_limit_keep_both():
    """Litres and hours at once: inside the water of either budget alone; where all water is open, the nearer.

    Under a limit the two spreads together leave next to nothing of what both budgets hold: a way that keeps both.
    """

    def both(network: Network, litres: float, hours: float) -> Any:
        rates = Rates.of(network.boat, network, 20.0)
        fuel, time = Price.of_fuel(rates), Price.of_time(rates)
        home = [network.terminal("Home")]
        thrifty = water_within(spread(network, home, fuel, litres).limited(time, hours), litres, FINE_M)
        quick = water_within(spread(network, home, time, hours).limited(fuel, litres), hours, FINE_M)
        return thrifty.union(quick)

    free = network_of()  # a litre a mile: 3 l are 3 nmi, 12 minutes are 4
    assert both(free, 3.0, 0.2).area == pytest.approx(within(free, 3.0).area, rel=1e-9)
    assert both(free, 5.0, 0.2).area == pytest.approx(within(free, 4.0).area, rel=1e-9)
    limited = network_of(zones=[zone(box(800, -1000, 2500, 1500), "no-wake")])  # in it 2 l and 12 minutes a mile
    rates = Rates.of(limited.boat, limited, 20.0)
    kept = both(limited, 3.0, 0.2)
    by_fuel, by_time = within(limited, 3.0, Price.of_fuel(rates)), within(limited, 0.2, Price.of_time(rates))
    assert kept.difference(by_fuel.buffer(FINE_M + ROUNDING_M)).area < 0.1
    assert kept.difference(by_time.buffer(FINE_M + ROUNDING_M)).area < 0.1
    assert kept.area > 0.99 * by_fuel.intersection(by_time).area


def test_two_budgets_kept_by_two_ways_are_kept_by_none():
    """A boat that burns half as much a mile at 5 kn, and a zone of 750 by 2000 m between her and a place behind it.

    Straight through, 250 m fast and 750 m slow: (250 + 375) / 1852 = 0.34 l, (250 / 20 + 750 / 5) / 1852 = 0.088 h.
    Round a corner, 2 hypot(125, 1000) + 750 = 2766 m: 1.49 l, 0.075 h. With 1 l and 0.08 h either budget reaches the
    place, each by its own way. Cutting a corner of the zone leaves 1008 m and more beyond it, and takes more than 1 l
    or more than 0.08 h: nothing keeps both.
    """
    network = network_of(
        boat=make_boat(burn_lph=(2.5, 20.0)),
        zones=[zone(box(-375, -1000, 375, 1000), "no-wake")],
        home=(-500, 0),
    )
    rates = Rates.of(network.boat, network, 20.0)
    fuel, time = Price.of_fuel(rates), Price.of_time(rates)
    place, home = (500, 0), [network.terminal("Home")]
    for price, budget in ((fuel, 1.0), (time, 0.08)):
        assert holds(on_paper(network, within(network, budget, price)), place).all()

    def both(litres: float, hours: float) -> list[bool]:
        thrifty = water_within(spread(network, home, fuel, litres).limited(time, hours), litres)
        quick = water_within(spread(network, home, time, hours).limited(fuel, litres), hours)
        return [bool(holds(on_paper(network, area), place).all()) for area in (thrifty, quick)]

    assert both(1.0, 0.08) == [False, False]
    assert both(1.0, 0.09) == [True, False]
    assert both(1.53, 0.08) == [False, True]


def test_ways_by_one_price_are_priced_by_another():
    """Out of the middle of a no-wake box, 1000 m at 5 kn or more, to the corners of an island in open water.

    In the box a mile takes 2 l and 12 minutes, outside 1 l and 3. So hours tell how many slow miles there are, and
    litres have to be the miles with these once more.
    """
    network = network_of(
        zones=[zone(box(-1000, -1000, 1000, 1000), "no-wake")], land=[(box(3000, -900, 3100, 900), {})]
    )
    rates = Rates.of(network.boat, network, 20.0)
    ways = spread(network, [network.terminal("Home")], Price.of_fuel(rates), 20.0)
    corners = np.flatnonzero(np.isfinite(ways.away[: network.corner_count]))
    assert len(corners) >= 4
    miles, litres, hours = (
        ways.along(price)[corners] for price in (Price.of_distance(network), Price.of_fuel(rates), Price.of_time(rates))
    )
    slow = (hours - miles / 20) / (1 / 5 - 1 / 20)
    assert litres == pytest.approx(ways.away[corners], rel=1e-9)
    assert litres == pytest.approx(miles + slow, rel=1e-9)
    assert (slow >= (1000 - ROUNDING_M) / NMI_M).all()
    assert (miles > 2990 / NMI_M).all()


def test_prices_by_hand():
    """At 20 kn 20 l/h and 1/20 h a mile, at 5 kn 10 l/h: 2 l and 1/5 h; waiting burns 2 l/h."""
    network = network_of(zones=[zone(box(800, -100, 1000, 100), "no-wake")])
    rates = Rates.of(network.boat, network, 20.0)
    shown = [
        (price.per_nmi.tolist(), price.slow_per_nmi.tolist(), price.per_waited_h)
        for price in (Price.of_distance(network), Price.of_fuel(rates), Price.of_time(rates))
    ]
    assert shown == [([1, 1], [1, 1], 0), ([1, 2], [2, 2], 2), ([0.05, 0.2], [0.2, 0.2], 1)]


# What must hold of any -----------------------------------------------------------------------------------------------

ISLANDS = [
    box(1500, -2500, 2200, 300),
    box(-2600, 900, -300, 1400),
    shapely.Polygon([(-1800, -700), (-900, -2600), (-700, -2500), (-1500, -600)]),
    box(500, 1700, 700, 4200),
]


@pytest.fixture(scope="module")
def among_islands() -> Network:
    """Build the water among four islands, with two places more."""
    more = [waypoint(3000, 2500, "East"), waypoint(-3500, -800, "West")]
    return network_of(land=[(shape, {}) for shape in ISLANDS], waypoints=more)


def test_more_to_spend_never_shrinks_it(among_islands: Network):
    """Steps of 100 m, far over the arcs' tolerance: each area holds the one before, hairs of rounding apart."""
    areas = [within(among_islands, metres / NMI_M) for metres in range(100, 6100, 600)]
    for less, more in itertools.pairwise(areas):
        assert less.difference(more.buffer(ROUNDING_M)).area < 0.01
        assert less.area < more.area


def test_half_the_budget_lies_inside_the_whole(among_islands: Network):
    for nmi in (0.5, 2.0, 3.3):
        half, whole = within(among_islands, nmi / 2), within(among_islands, nmi)
        assert half.difference(whole.buffer(ROUNDING_M)).area < 0.01


def test_from_two_places_it_is_what_either_reaches(among_islands: Network):
    terminals = [among_islands.terminal(name) for name in ("East", "West")]
    price = Price.of_distance(among_islands)
    both = water_within(spread(among_islands, terminals, price), 1.5, FINE_M)
    either = within(among_islands, 1.5, start="East").union(within(among_islands, 1.5, start="West"))
    assert both.symmetric_difference(either).area < FINE_M * both.length


def test_a_wider_limit_of_the_spread_changes_nothing(among_islands: Network):
    """Nodes beyond the budget have no part in it: bounded or not, the same area."""
    price = Price.of_distance(among_islands)
    unbounded = water_within(spread(among_islands, [among_islands.terminal("Home")], price), 2.0, FINE_M)
    assert unbounded.symmetric_difference(within(among_islands, 2.0)).area < 0.01


def test_it_is_navigable_water(among_islands: Network):
    """Nothing of the stand-off, nothing of the land: in the plane to a hair, on paper to nine tenths of it."""
    area = within(among_islands, 3.0, arcs_m=5.0)
    assert area.difference(among_islands.water.navigable.buffer(ROUNDING_M)).area < 0.01
    near = shapely.union_all(ISLANDS).buffer(NEAR * STANDOFF_M - 0.1)
    assert on_paper(among_islands, area).intersection(near).area < 0.01


def test_a_deeper_boat_reaches_no_farther():
    """Banks of 1.2 m stop a boat that needs 2.3 m and not one that needs 1.0.

    Where a bank lies near another bank or the shore both stand off from different edges, each simplified by up to
    0.5 m: a bend more or less by that, so at five bends 5 m; what a bank hides is far more.
    """
    sea = box(-FAR, -FAR, FAR, FAR)
    banks = shapely.union_all([*ISLANDS[:2], box(-4000, -4000, 300, -3000)])
    rows = {
        "land": [(shape, {}) for shape in ISLANDS[2:]],
        "depth": [(banks, {"min_depth_m": 1.2}), (sea.difference(banks), {"min_depth_m": 20.0})],
    }
    shallow, deep = (within(network_of(boat=make_boat(draught_m=draught_m), **rows), 2.5) for draught_m in (0.5, 1.8))
    assert deep.difference(shallow.buffer(5.0)).area < 1.0
    assert deep.area < shallow.area - 0.9 * (ISLANDS[0].area + ISLANDS[1].area)


def turned(network: Network, turn: Any) -> Network:
    """Turn or mirror the water of a network in its plane, and join the same start."""
    water = network.water
    shapes = {
        name: shapely.transform(getattr(water, name), lambda xy: xy @ np.array(turn))
        for name in ("navigable", "open", "barrier", "land")
    }
    if np.linalg.det(turn) < 0:
        shapes = {name: shapely.reverse(shape) for name, shape in shapes.items()}
    moved = dataclasses.replace(water, **shapes)
    bare = build_region(network.region.about, {})
    here = water.plane.to_lonlat(water.plane.to_plane([MIDDLE]) @ np.array(turn))[0]
    return join_places(connect(bare, network.boat, moved), [Place("Home", "position", tuple(here.tolist()))])


@pytest.mark.parametrize(
    "turn", [((0, 1), (-1, 0)), ((-1, 0), (0, -1)), ((-1, 0), (0, 1)), ((0, 1), (1, 0))], ids=["90", "180", "x", "xy"]
)
def test_turning_and_mirroring_the_water_turns_its_reach(turn: Any):
    """Within 7 km of the middle the plane's scale varies by (7 / 6371)^2 / 2 = 6e-7: 3 mm of 5 km, as rounding is.

    So areas differ by arcs drawn with other corners, 0.05 m at the most, and a hair more.
    """
    region = make_region(half_deg=0.06, land=[(shape, {}) for shape in ISLANDS])
    plain = connect(region, make_boat(), build_water(region, make_boat(), CLOSE))
    here = join_places(plain, [Place("Home", "position", MIDDLE)])
    area = shapely.transform(within(here, 2.7, arcs_m=0.05), lambda xy: xy @ np.array(turn))
    there = within(turned(plain, turn), 2.7, arcs_m=0.05)
    assert area.symmetric_difference(there).area < (0.05 + ROUNDING_M) * area.length


def islands_at(lon: float) -> Network:
    """Build islands in degrees, at one longitude or another."""
    corners = [(-0.03, -0.01, -0.02, 0.02), (0.01, -0.03, 0.014, 0.012), (0.02, 0.014, 0.03, 0.04)]
    about = RegionAbout(
        name="Moved",
        extent=(lon - 0.06, 43.95, lon + 0.06, 44.05),
        time_zone="UTC",
        chart_datum="none",
        clearance_datum="none",
        currency="EUR",
    )
    shapes = [box(lon + west, 44 + south, lon + east, 44 + north) for west, south, east, north in corners]
    land = build_layer(LAYERS["land"], [{} for _ in shapes], shapes)
    network = build_network(build_region(about, {"land": land}), make_boat(), CLOSE)
    return join_places(network, [Place("Home", "position", (lon, 44.0))])


@pytest.mark.parametrize("lon", [10.0, -179.94])
def test_elsewhere_on_the_same_parallel_it_is_the_same(lon: float):
    """Planes are centred, so but for a centimetre of rounding along the edges the areas are one."""
    here, there = within(islands_at(-38.0), 2.2), within(islands_at(lon), 2.2)
    assert here.symmetric_difference(there).area < 0.02 * here.length


# Slow ways of finding the same ---------------------------------------------------------------------------------------

STEP_M = 250.0  # of a drawn coast: 24 steps are 6 km
SMALL_DEG = 0.06


def coast_network(water: Any, home: tuple[int, int]) -> Network:
    """Build a network right on a drawn coast, without land, stand-off or simplifying, or a way to any water nearby."""
    region = make_region(half_deg=SMALL_DEG)
    boat = make_boat()
    alone = Margins(standoff_m=STANDOFF_M, snap_nmi=0.0)
    drawn = shapely.transform(water, lambda xy: (xy - SIZE / 2) * STEP_M)
    plain = build_water(region, boat, alone)
    network = connect(build_region(region.about, {}), boat, dataclasses.replace(plain, navigable=drawn, open=drawn))
    here = plain.plane.to_lonlat((np.array([home]) - SIZE / 2) * STEP_M)[0]
    return join_places(network, [Place("Home", "position", tuple(here.tolist()))])


@settings(max_examples=max(10, settings().max_examples // 6))
@given(coasts(), st.randoms(use_true_random=False), st.floats(2.0, 30.0))
def test_coasts_with_slots_and_touching_corners(water: Any, random: Any, budget_steps: float):
    """Every whole-number point of a drawn coast, by networkx over all sight lines between corners.

    Touching corners let nothing through. Points at a corner are left out: where two waters touch there, they are in
    both. Lengths here are the plane's: 3 mm apart from the geodesic's, so 0.1 m covers that and rounding.
    """
    corners = {tuple(xy) for xy in shapely.get_coordinates(water).tolist()}
    spots = [(x, y) for x in range(SIZE + 1) for y in range(SIZE + 1)]
    shapely.prepare(water)
    wet = [p for p in spots if p not in corners and shapely.contains_xy(water, *p)]
    assume(len(wet) > 30)
    home, *tried = random.sample(wet, 25)
    area = within(coast_network(water, home), budget_steps * STEP_M / NMI_M)
    coast = Coast(water)
    graph = coast.sight_graph([home])
    away = nx.single_source_dijkstra_path_length(graph, home, weight=lambda _a, _b, data: data["length"])
    paid = [(w, a) for w, a in away.items() if w != home]
    for p in tried:
        direct = math.dist(home, p) if coast.sees(home, p, slit=True) else math.inf
        by_corner = [
            a + math.dist(w.at, p)
            for w, a in paid
            if w.holds((p[0] - w.at[0], p[1] - w.at[1])) and coast.sees(w.at, p, slit=True)
        ]
        due_m = min([direct, *by_corner]) * STEP_M
        at = shapely.Point((np.array(p) - SIZE / 2) * STEP_M)
        if due_m < budget_steps * STEP_M - FINE_M - 0.1:
            assert area.dwithin(at, ROUNDING_M), (home, p)
        elif due_m > budget_steps * STEP_M + 0.1:
            assert not area.buffer(-ROUNDING_M).contains(at), (home, p)


def test_nothing_slips_through_where_two_lands_touch():
    """Two needles of land, from the west and from the south, meet at their tips in (12, 12) and shut off a pool.

    From (4, 16) ways bend round the tip, sqrt(8^2 + 4^2) = 8.9 steps away, to all the rest of the water, and with 40
    steps there is none left but the pool.
    """
    needles = [shapely.Polygon([(12, 12), (0, 13), (0, 12)]), shapely.Polygon([(12, 12), (12, 0), (13, 0)])]
    water = shapely.box(0, 0, SIZE, SIZE).difference(shapely.union_all(needles))
    area = within(coast_network(water, (4, 16)), 40 * STEP_M / NMI_M)
    assert area.area == pytest.approx((water.area - 12 * 12) * STEP_M**2, rel=1e-6)
    assert not holds(area, [(-0.1 * STEP_M, -0.1 * STEP_M), (-6 * STEP_M, -6 * STEP_M)]).any()


def test_a_triangle_is_not_taken_for_its_nearest_corner():
    """Behind a wall up to 16 steps, its end at hypot(9, 14) + 1 = 17.64 steps, the far corner is 20 more: 37.64.

    With 37 steps water within 0.6 of that corner is out of reach, with 37.6 nearly all of it is in.
    """
    water = shapely.box(0, 0, SIZE, SIZE).difference(shapely.box(11, 0, 12, 16))
    network = coast_network(water, (2, 2))
    corner = (np.array([[23.9, 0.1]]) - SIZE / 2) * STEP_M  # 19.86 steps from the wall's end
    assert not holds(within(network, 37.0 * STEP_M / NMI_M), corner).any()
    assert holds(within(network, 37.6 * STEP_M / NMI_M), corner).all()


@st.composite
def island_rows(draw: st.DrawFn) -> list[Any]:
    """Draw boxes, walls and triangles within 4 km of the middle, none over it."""
    far = st.integers(-4000, 4000)
    rows: list[Any] = []
    for _ in range(draw(st.integers(1, 7))):
        x, y = draw(far), draw(far)
        if draw(st.booleans()):
            shape: Any = box(x, y, x + draw(st.integers(10, 2500)), y + draw(st.integers(10, 2500)))
        else:
            shape = shapely.convex_hull(shapely.MultiPoint([(x, y), (draw(far), draw(far)), (draw(far), draw(far))]))
        if shape.area > 1000 and shape.distance(shapely.Point(0, 0)) > 60:
            rows.append((shape, {}))
    return rows


@settings(max_examples=max(8, settings().max_examples // 8))
@given(island_rows(), st.floats(1000.0, 9000.0), st.sampled_from([5.0, 40.0]), st.integers(0, 2**32 - 1))
def test_random_islands_by_the_price_of_points(rows: list[Any], budget_m: float, standoff_m: float, seed: int):
    network = network_of(land=rows, margins=Margins(standoff_m=standoff_m), half_deg=SMALL_DEG)
    found = judged(network, [network.terminal("Home")], budget_m / NMI_M, 20, np.random.default_rng(seed))
    assert (found.over_claimed, found.missed) == ((), ())


def judged(
    network: Network,
    sources: list[int],
    budget: float,
    count: int,
    rng: np.random.Generator,
    price: Price | None = None,
    tariff: Tariff | None = None,
    *,
    arcs_m: float = 5.0,
) -> Judgement:
    """Hold so many points over an area's window, near its edge and of its own corners against their prices.

    Miles are the price unless one is given with its tariff.
    """
    tariff = tariff or Tariff.plain(network)
    area = water_within(
        spread(network, sources, price or Price.of_distance(network), budget), budget, arc_tolerance_m=arcs_m
    )
    navigable = network.water.navigable
    west, south, east, north = area.bounds
    wide = 0.1 * max(east - west, north - south)
    points = np.vstack(
        [
            strew(navigable, (west - wide, south - wide, east + wide, north + wide), count, rng),
            strew_near_edge(area, navigable, count, rng),
            some_corners(area, count, rng),
        ]
    )
    dearest = max(*tariff.per_nmi, *tariff.slow_per_nmi)
    ways = WaysOut(network, sources, tariff, budget + dearest * 100 / NMI_M)
    # under limits it lies inside, by no fixed bound
    arcs = (arcs_m + ROUNDING_M) / NMI_M if price is None else math.inf
    return judge(
        area, points, ways.prices(points), budget, arcs=arcs, rounding=dearest * ROUNDING_M / NMI_M, hair_m=ROUNDING_M
    )


@pytest.mark.parametrize(("start", "nmi"), [("Hesterquay", 6.0), ("Vindelsay Pool", 22.0)])
def test_the_demo_by_the_price_of_points(demo_network: Network, start: str, nmi: float):
    """None beyond the budget is claimed, none is missed by more than the arcs' tolerance."""
    found = judged(demo_network, [demo_network.terminal(start)], nmi, 60, np.random.default_rng(7))
    assert (found.over_claimed, found.missed) == ((), ())
    assert min(found.claimed, found.left_out) > 25  # else little was tried


@pytest.mark.parametrize(
    ("start", "by", "budget"), [("Tolvarrow", "litres", 25.0), ("Brimmerquay", "hours", 0.8)], ids=["litres", "hours"]
)
def test_among_the_limits_of_the_demo_nothing_is_over_claimed(
    demo_network: Network, start: str, by: str, budget: float
):
    """Into limits, and out of one through a lock: what is claimed can be reached with the fuel or in the time."""
    speed_kn = demo_network.boat.cruising_speed_kn
    rates = Rates.of(demo_network.boat, demo_network, speed_kn)
    price, tariff = (
        (Price.of_fuel(rates), litres_tariff(demo_network, speed_kn))
        if by == "litres"
        else (Price.of_time(rates), hours_tariff(demo_network, speed_kn))
    )
    rng = np.random.default_rng(8)
    found = judged(demo_network, [demo_network.terminal(start)], budget, 60, rng, price, tariff)
    assert found.over_claimed == ()
    assert min(found.claimed, found.left_out) > 25


def test_every_node_of_the_demo_costs_what_networkx_says(demo_network: Network):
    """In miles and in litres, from a harbour and from two docks at once; nodes beyond the limit are infinitely far."""
    speed_kn = demo_network.boat.cruising_speed_kn
    by_fuel = Price.of_fuel(Rates.of(demo_network.boat, demo_network, speed_kn))
    plain = Price.of_distance(demo_network)
    for sources, price, tariff, limit in (
        ([44], plain, Tariff.plain(demo_network), 20.0),
        ([5, 32], by_fuel, litres_tariff(demo_network, speed_kn), 50.0),
    ):
        found = spread(demo_network, sources, price, limit)
        expected = WaysOut(demo_network, sources, tariff, limit).away
        near = np.flatnonzero(np.isfinite(found.away[: len(demo_network.nodes)]))
        assert set(near.tolist()) == set(expected)
        assert found.away[list(expected)] == pytest.approx(list(expected.values()), rel=1e-9, abs=1e-9)
