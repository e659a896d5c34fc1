"""Given routes held against water and fuel: what they meet and where, worked out by hand and by raw layers."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from oracles.small_world import (
    MIDDLE,
    NMI_M,
    box,
    dock,
    make_boat,
    make_region,
    position,
    to_metres,
    waypoint,
    zone,
)

from layers.errors import InputError
from layers.routes import Route, RoutePoint
from routeplan import given_routes
from routeplan.building import build_network
from routeplan.fuel import FuelAboard, full
from routeplan.given_routes import check_route, thinned
from routeplan.given_stops import plan_route
from routeplan.margins import Margins
from routeplan.trips import Trip

if TYPE_CHECKING:
    from oracles.closed_water import ClosedWater

    from routeplan.network import Network
    from routeplan.route_checked import Hit, RouteCheck

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
DEEP = (box(-30_000, -30_000, 30_000, 30_000), {"min_depth_m": 10.0})
WEST, EAST = (-5000.0, 0.0), (5000.0, 0.0)
WHERE_NMI = 0.003  # [nmi] five metres: the plane of these waters is another one than the product's


def through(*xy: tuple[float, float], names: tuple[str, ...] = ()) -> Route:
    points = [
        RoutePoint(name=names[i] if names else f"P{i + 1}", position=position(x, y)) for i, (x, y) in enumerate(xy)
    ]
    return Route(name="given", points=tuple(points))


def trip(aboard_l: float = 100.0, **changes: Any) -> Trip:
    fuel = FuelAboard(mean_l=aboard_l, sd_l=0, how="as told")
    return Trip(**{"start": "a", "finish": "b", "depart": NOON, "aboard": fuel, "confidence": 0.5, **changes})


def water(margins: Margins | None = None, half_deg: float = 0.25, **rows: Any) -> Network:
    if not rows and margins is None and half_deg == 0.25:
        return open_sea()
    return build_network(make_region(half_deg=half_deg, **rows), make_boat(), margins or Margins())


@cache
def open_sea() -> Network:
    return build_network(make_region(), make_boat(), Margins())


def checked(*xy: tuple[float, float], margins: Margins | None = None, **rows: Any) -> RouteCheck:
    return check_route(water(margins, **rows), through(*(xy or (WEST, EAST))), trip())


def only(check: RouteCheck) -> Hit:
    (hit,) = (hit for leg in check.legs for hit in leg.hits)
    return hit


def lies(position_deg: tuple[float, float], x: float, y: float = 0.0) -> bool:
    at = to_metres(shapely.Point(position_deg))
    return math.hypot(at.x - x, at.y - y) < 5


def test_land_is_met_where_it_lies() -> None:
    """An islet 1 km wide, 4.5 km on: 2.430 to 2.970 nmi."""
    hit = only(checked(land=[(box(-500, -300, 500, 300), {"name": "Islet"})]))
    assert (hit.kind, hit.name, hit.stops) == ("land", "Islet", True)
    assert hit.begins_nmi == pytest.approx(4500 / NMI_M, abs=WHERE_NMI)
    assert hit.ends_nmi == pytest.approx(5500 / NMI_M, abs=WHERE_NMI)
    assert lies(hit.position, -500)


def test_a_shoal_is_told_by_its_least_depth() -> None:
    """0.8 m in the middle of 1.2 m; 1.5 m are needed: draught 1.0 and half a metre under the keel."""
    shoal = (box(1000, -400, 2000, 400), {"min_depth_m": 1.2})
    knoll = (box(1400, -400, 1600, 400), {"min_depth_m": 0.8})
    hit = only(checked(depth=[DEEP, shoal, knoll]))
    assert (hit.kind, hit.depth_m, hit.needed_m) == ("shoal", 0.8, 1.5)
    assert hit.begins_nmi == pytest.approx(6000 / NMI_M, abs=WHERE_NMI)
    assert lies(hit.worst_position, 1500)


def test_a_hazard_is_told_by_how_near_it_is() -> None:
    """Sixty metres off a rock that wants a hundred: inside its circle for 2 x 80 m."""
    hit = only(checked(hazards=[(shapely.Point(0, 60), {"name": "Stack", "kind": "rock", "keep_off_m": 100.0})]))
    assert (hit.kind, hit.name, hit.needed_m) == ("hazard", "Stack", 100)
    assert hit.found_m == pytest.approx(60, abs=1)
    assert hit.ends_nmi - hit.begins_nmi == pytest.approx(160 / NMI_M, abs=0.01)
    assert lies(hit.worst_position, 0)


def test_a_closed_zone_is_told_by_its_name() -> None:
    hit = only(checked(zones=[zone(box(-500, -100, 500, 100), "no-entry", "Seal Bank")]))
    assert (hit.kind, hit.name, hit.why, hit.stops) == ("no-entry", "Seal Bank", "test", True)


BRIDGE = (shapely.LineString([(0, -4000), (0, 4000)]), {"name": "Long Bridge", "kind": "bridge", "clearance_m": 3.0})
OPENING = {"name": "Bascule", "kind": "bridge", "opening_hours": "24/7", "wait_min": 12.0, "closed_clearance_m": 3.0}


def test_a_low_bridge_stops_her_but_for_its_opening() -> None:
    """3.0 m where 3.5 are needed; through its opening it costs 12 minutes and 0.4 l at 2 l/h."""
    hit = only(checked(overhead=[BRIDGE]))
    assert (hit.kind, hit.name, hit.found_m, hit.needed_m) == ("low bridge", "Long Bridge", 3.0, 3.5)
    assert lies(hit.worst_position, 0)
    check = checked(overhead=[BRIDGE], openings=[(shapely.Point(0, 0), OPENING)])
    assert [(h.kind, h.name, h.stops) for leg in check.legs for h in leg.hits] == [("gate", "Bascule", False)]
    assert check.can_be_run
    assert not any("shut" in caution for caution in check.legs[0].cautions)
    assert check.time_h == pytest.approx(10_000 / NMI_M / 20 + 0.2, rel=1e-4)
    assert check.fuel_l == pytest.approx(10_000 / NMI_M + 0.4, rel=1e-4)
    beside = checked(overhead=[BRIDGE], openings=[(shapely.Point(0, 500), OPENING)])
    assert only(beside).kind == "low bridge"


def test_a_gate_that_is_shut_when_she_comes_is_told() -> None:
    """She is there at 12:08, 2.7 miles on at 20 kn; it opens at two."""
    late = (shapely.Point(0, 0), {**OPENING, "opening_hours": "14:00-18:00"})
    check = checked(overhead=[BRIDGE], openings=[late])
    assert check.can_be_run
    (said,) = (caution for caution in check.legs[0].cautions if "Bascule" in caution)
    assert said.startswith("Bascule is shut when she comes, 12:")
    assert "opens 14:00 on 01 Jul" in said


def test_a_high_bridge_is_nothing() -> None:
    high = (BRIDGE[0], {**BRIDGE[1], "clearance_m": 3.6})
    assert checked(overhead=[high]).can_be_run


def test_unsurveyed_water_counts_unless_it_is_allowed() -> None:
    rows = {"depth": [(box(-30_000, -30_000, 0, 30_000), {"min_depth_m": 10.0})]}
    hit = only(checked(**rows))
    assert (hit.kind, hit.stops) == ("unsurveyed", True)
    assert hit.begins_nmi == pytest.approx(5000 / NMI_M, abs=WHERE_NMI)
    allowed = checked(margins=Margins(allow_unsurveyed=True), **rows)
    assert allowed.can_be_run
    assert "depth not checked" in allowed.legs[0].cautions


@pytest.mark.parametrize(("off_m", "kept"), [(20, False), (31, False), (36, True), (60, True)])
def test_the_stand_off_but_for_what_a_written_route_may_lose(off_m: float, kept: bool) -> None:  # noqa: FBT001
    """Of 50 m a tenth goes to simplifying, ten to rhumb lines, two to rounding: 33 m are held."""
    check = checked(land=[(box(-500, off_m, 500, 900), {})])
    assert check.can_be_run is kept
    if not kept:
        hit = only(check)
        assert hit.kind == "stand-off"
        assert hit.found_m == pytest.approx(off_m, abs=0.2)


def test_a_berth_is_approached_by_eye_and_no_further_than_places_lie_from_water() -> None:
    """A dock in the middle of a shoal: 300 m to clear water are an approach, 1,200 m (over half a mile) aren't."""
    for half, stops in ((300, False), (1200, True)):
        shoal = (box(-5000 - half, -half, -5000 + half, half), {"min_depth_m": 1.0})
        check = checked(depth=[DEEP, shoal], docks=[dock(-5000, 0, "Pump", depth_m=2.0)])
        kinds = {hit.kind for leg in check.legs for hit in leg.hits}
        assert kinds == ({"shoal"} if stops else {"approach"})
        assert check.can_be_run is not stops


def test_land_counts_but_for_the_spot_that_a_berth_is_drawn_on() -> None:
    """A quay whose point lies 30 m inland is left from its shore; an islet that begins 20 m before it is land."""
    quay = (box(-5500, -300, -4970, 300), {"name": "Quay"})
    check = checked(land=[quay], docks=[dock(-5000, 0, "Pump")])
    assert check.can_be_run
    assert only(check).why == "land as charted, where the berth lies"
    islet = (box(-4980, -300, -4950, 300), {"name": "Islet"})
    hit = only(checked(land=[islet], docks=[dock(-5000, 0, "Pump")]))
    assert (hit.kind, hit.name, hit.stops) == ("land", "Islet", True)


def test_a_shoal_beyond_clear_water_is_no_approach() -> None:
    """It begins 200 m from the dock, after clear water."""
    shoal = (box(-4800, -300, -4600, 300), {"min_depth_m": 1.0})
    check = checked(depth=[DEEP, shoal], docks=[dock(-5000, 0, "Pump")])
    assert only(check).kind == "shoal"


def test_where_the_reserve_is_touched_and_where_she_runs_dry() -> None:
    """1 l a mile: of 18 l ten are reserve, touched 8 miles on; dry after 18; 20.52 miles in all."""
    check = check_route(water(), through((-19_000, 0), (0, 0), (19_000, 0)), trip(18.0))
    assert check.can_be_run
    assert not check.keeps_reserve
    assert check.arrival_low_l == pytest.approx(18 - 38_000 / NMI_M, abs=0.01)
    touched, dry = check.reserve_touched, check.may_run_dry
    assert touched is not None
    assert dry is not None
    assert (touched.leg, dry.leg) == (1, 2)
    assert touched.gone_nmi == pytest.approx(8, abs=WHERE_NMI)
    assert lies(touched.position, -19_000 + 8 * NMI_M)
    assert touched.at == pytest.approx(NOON + timedelta(hours=0.4), abs=timedelta(seconds=1))
    assert dry.after_nmi == pytest.approx(18 - 19_000 / NMI_M, abs=WHERE_NMI)
    into = check_route(water(), through((-19_000, 0), (19_000, 0)), trip(25.0))
    assert (into.keeps_reserve, into.may_run_dry) == (False, None)
    assert into.reserve_touched is not None
    enough = check_route(water(), through((-19_000, 0), (19_000, 0)), trip(31.0))
    assert (enough.good, enough.reserve_touched, enough.may_run_dry) == (True, None, None)


def test_limits_are_kept() -> None:
    """Two miles at 5 instead of 20 kn, at 2 l a mile instead of 1."""
    slow = zone(box(-NMI_M, -500, NMI_M, 500), "no-wake", "Creek")
    check = checked(zones=[slow])
    whole_nmi = 10_000 / NMI_M
    assert check.time_h == pytest.approx((whole_nmi - 2) / 20 + 2 / 5, rel=1e-3)
    assert check.fuel_l == pytest.approx(whole_nmi + 2, rel=1e-3)
    assert check.legs[0].limits == ("5 kn limit in Creek",)


def test_the_rhumb_line_is_looked_at_too() -> None:
    """Over 140 km along a parallel in 44 N it lies some 370 m south of the great circle: L^2 tan(lat) / 8 R."""
    network = water(half_deg=1.0)
    ends = through((-70_000, 0), (70_000, 0))
    plain = check_route(network, ends, trip())
    assert plain.legs[0].rhumb_off_m == pytest.approx(
        140e3**2 * math.tan(math.radians(MIDDLE[1])) / 8 / 6.371e6, rel=0.02
    )
    south = to_metres(shapely.Point(MIDDLE[0], ends.points[0].position[1]))
    rock = (shapely.Point(south.x, south.y), {"name": "Rock", "kind": "rock", "keep_off_m": 100.0})
    hit = only(check_route(water(half_deg=1.0, hazards=[rock]), ends, trip()))
    assert (hit.kind, hit.name, hit.on_rhumb, hit.stops) == ("hazard", "Rock", True, True)
    ahead = (shapely.Point(0, 0), {"name": "Rock", "kind": "rock", "keep_off_m": 100.0})
    assert not only(check_route(water(half_deg=1.0, hazards=[ahead]), ends, trip())).on_rhumb


def test_outside_the_data_nothing_is_known() -> None:
    hit = only(checked((0, 0), (25_000, 0)))
    assert hit.kind == "outside"
    with pytest.raises(InputError, match="no point of it lies in Paper Water"):
        checked((60_000, 0), (70_000, 0))


def test_many_points_are_thinned_and_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three hundred points within 20 m of one line are two."""
    points = [(-5000 + i * 30, 10 * (-1) ** i) for i in range(300)]
    check = check_route(water(), through(*points), trip())
    assert (check.points, check.left_out) == (2, 298)
    assert check.notes[0].startswith("Of 300 points 298 lie within 25 m of a straight line")
    monkeypatch.setattr(given_routes, "MOST_LEGS", 200)
    wild = [(-5000 + i * 40, 40 * (-1) ** i) for i in range(240)]
    with pytest.raises(InputError, match=r"bends at 2[34][0-9] points by more than 25 m; the limit is 201"):
        check_route(water(), through(*wild), trip())
    few = [(-5000 + i * 50, 10 * (-1) ** i) for i in range(200)]
    assert thinned(water(), through(*few)) == (through(*few).points, 0)


ISLET = (box(-1500, -1000, 1500, 1000), {"name": "Islet"})


def test_a_bad_leg_is_led_round_and_a_stop_is_found() -> None:
    """Straight through the islet 20.5 miles, 18 l aboard: by way of the pump north of it, with ten in reserve."""
    network = water(land=[ISLET], docks=[dock(0, 3000, "Pump")])
    route = through((-19_000, 0), (-5000, 0), (19_000, 0), names=("Start", "Corner", "End"))
    check = check_route(network, route, trip(25.0))
    told, passage = plan_route(network, route, trip(25.0, closed_dock="off"), check)
    assert passage is not None
    assert told.plan is not None
    assert [stop.dock for stop in told.plan.stops] == ["Pump"]
    assert [(led.leg, led.from_, led.to, led.why) for led in told.led_round] == [(2, "Corner", "End", ("land",))]
    assert told.plan.legs[0].from_ == "Start"
    assert told.plan.legs[-1].to == "End"
    corner = shapely.Point(-5000, 0)
    assert to_metres(shapely.geometry.shape(told.plan.track)).distance(corner) < 60
    assert told.plan.distance_nmi > check.distance_nmi


def test_points_that_cant_be_reached_are_passed_over_and_ends_are_refused() -> None:
    network = water(land=[ISLET])
    route = through((-5000, 0), (0, 0), (5000, 0))
    check = check_route(network, route, trip())
    told, _ = plan_route(network, route, trip(), check)
    assert told.passed_over == ("P2: on land, over 0.5 nmi from the shore",)
    inland = through((-5000, 0), (0, 0))
    with pytest.raises(InputError, match="P2: can't be reached by Paper Boat: on land"):
        plan_route(network, inland, trip(), check_route(network, inland, trip()))


def test_no_plan_is_an_answer() -> None:
    network = water()
    route = through((-19_000, 0), (19_000, 0))
    check = check_route(network, route, trip(18.0))
    told, passage = plan_route(network, route, trip(18.0), check)
    assert passage is None
    assert told.plan is None
    assert told.refused is not None
    assert told.refused.short_l == pytest.approx(10 - (18 - 38_000 / NMI_M), abs=0.01)


@pytest.mark.parametrize(("count", "most"), [(11, 0), pytest.param(30, 3, marks=pytest.mark.slow)])
def test_a_route_of_many_points_asks_for_few_of_them(count: int, most: int) -> None:
    """Points along the shortest way needn't be asked for; a dozen are looked over at once."""
    network = water(docks=[dock(0, 3000, "Pump")])
    route = through(*((-19_000 + i * 38_000 / (count - 1), 0) for i in range(count)))
    check = check_route(network, route, trip(25.0))
    _, passage = plan_route(network, route, trip(25.0, closed_dock="off"), check)
    assert passage is not None
    assert len(passage.trip.via) <= most


def test_a_name_that_a_place_elsewhere_has_is_told_apart() -> None:
    network = water(waypoints=[waypoint(0, 8000, "Corner")])
    route = through((-5000, 0), (0, 0), (5000, 2000), names=("Start", "Corner", "End"))
    told, passage = plan_route(network, route, trip(), check_route(network, route, trip()))
    assert passage is not None
    assert told.plan is not None
    assert "Corner (point 2)" in [leg.to for leg in told.plan.legs]


KINDS = {"land": "land", "shoal": "shoal", "no-entry": "no-entry", "low": "low bridge", "hazard": "hazard"}


@pytest.mark.slow
def test_random_legs_over_the_demo_meet_what_the_raw_layers_say(
    demo_network: Network, demo_closed: ClosedWater
) -> None:
    """Legs of a few miles anywhere; the oracle measures to raw edges in another plane, one by one.

    What is met three metres inside of something has to be told; what lies three metres off mustn't. Legs nearer than
    30 m to anything don't keep the stand-off; those 40 m off do. Ends are berths, so the first half mile is left out.
    """
    random = np.random.default_rng(11)
    west, south, east, north = demo_network.region.about.extent
    told, quiet, near = 0, 0, 0
    sail = Trip(start="a", finish="b", depart=NOON, aboard=full(demo_network.boat))
    for _ in range(150):
        lon, lat = random.uniform(west + 0.2, east - 0.2), random.uniform(south + 0.15, north - 0.15)
        bearing, far = random.uniform(0, 2 * math.pi), random.uniform(0.03, 0.12)
        there = (lon + far * math.sin(bearing) / 0.71, lat + far * math.cos(bearing))
        route = Route(
            name="drawn",
            points=(RoutePoint(name="A", position=(lon, lat)), RoutePoint(name="B", position=there)),
        )
        leg = check_route(demo_network, route, sail).legs[0]
        line = demo_closed.line(np.linspace((lon, lat), there, 200))
        kinds = {hit.kind for hit in leg.hits if not hit.on_rhumb}
        middle = shapely.ops.substring(line, 1000, line.length - 1000)
        for kind, ours in KINDS.items():
            if kind == "hazard":
                shapes = [s.buffer(k) for s, k in zip(demo_closed.hazards, demo_closed.keep_off_m, strict=True)]
            else:
                shapes = list(demo_closed.shapes[kind])
            land = shapely.union_all([s for s in demo_closed.shapes["land"] if s.intersects(line)])
            inside = [s.buffer(3).intersection(line) for s in shapes if s.dwithin(line, 3)]
            if ours in kinds:
                assert inside, (ours, leg)
                told += 1
            well = [s.buffer(-3).intersection(middle) for s in shapes if s.intersects(middle) and kind != "low"]
            if any((piece if kind == "land" else piece.difference(land.buffer(3))).length > 20 for piece in well):
                assert ours in kinds, (ours, leg)
        if not demo_closed.nearer([line], 40):
            assert "stand-off" not in kinds
            quiet += 1
        elif demo_closed.nearer([middle], 30):
            assert kinds & {*KINDS.values(), "stand-off"}
            near += 1
    assert min(told, quiet, near) >= 5, "too few of one sort to tell anything"
