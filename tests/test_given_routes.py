"""Given routes held against water and fuel: what they meet and where, worked out by hand and by raw layers."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
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
from routeplan import given_routes, given_stops
from routeplan.building import build_network
from routeplan.fuel import FuelAboard, full
from routeplan.given_routes import check_route, thinned
from routeplan.given_stops import plan_route
from routeplan.margins import Margins
from routeplan.route_words import tell_route
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


_BUILT: dict[str, Network] = {}


def water(margins: Margins | None = None, half_deg: float = 0.25, **rows: Any) -> Network:
    """Build a network, each once."""
    key = repr((margins, half_deg, rows))
    if key not in _BUILT:
        _BUILT[key] = build_network(
            make_region(half_deg=half_deg, **rows), make_boat(), margins or Margins(), when=NOON
        )
    return _BUILT[key]


def abeam(y: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Lay the ends of a leg of 10 km, so far north of the middle."""
    return (-5000.0, y), (5000.0, y)


def checked(*xy: tuple[float, float], margins: Margins | None = None, **rows: Any) -> RouteCheck:
    return check_route(water(margins, **rows), through(*(xy or (WEST, EAST))), trip())


def only(check: RouteCheck) -> Hit:
    (hit,) = (hit for leg in check.legs for hit in leg.hits)
    return hit


def lies(position_deg: tuple[float, float], x: float, y: float = 0.0) -> bool:
    at = to_metres(shapely.Point(position_deg))
    return math.hypot(at.x - x, at.y - y) < 5


STAND_OFFS = ((20, -6000, False), (31, 0, False), (36, 6000, True), (60, 12_000, True))
CROWDED: dict[str, Any] = {  # far enough from each other: each is met by the leg abeam of it, and by no other
    "land": [
        (box(-500, -24_300, 500, -23_700), {"name": "Islet"}),
        *((box(-500, y + off_m, 500, y + 900), {}) for off_m, y, _ in STAND_OFFS),
    ],
    "depth": [
        DEEP,
        (box(1000, -18_400, 2000, -17_600), {"min_depth_m": 1.2}),
        (box(1400, -18_400, 1600, -17_600), {"min_depth_m": 0.8}),
    ],
    "hazards": [(shapely.Point(0, -11_940), {"name": "Stack", "kind": "rock", "keep_off_m": 100.0})],
    "zones": [
        zone(box(-500, 17_900, 500, 18_100), "no-entry", "Seal Bank"),
        zone(box(-500, 21_900, 500, 22_100), "no-entry", "Winter Bank", season="Jan-Mar"),
    ],
}


def test_land_is_met_where_it_lies() -> None:
    """An islet 1 km wide, 4.5 km on: 2.430 to 2.970 nmi."""
    hit = only(checked(*abeam(-24_000), **CROWDED))
    assert (hit.kind, hit.name, hit.stops) == ("land", "Islet", True)
    assert hit.begins_nmi == pytest.approx(4500 / NMI_M, abs=WHERE_NMI)
    assert hit.ends_nmi == pytest.approx(5500 / NMI_M, abs=WHERE_NMI)
    assert lies(hit.position, -500, -24_000)


def test_a_shoal_is_told_by_its_least_depth() -> None:
    """0.8 m in the middle of 1.2 m; 1.5 m are needed: draught 1.0 and half a metre under the keel."""
    hit = only(checked(*abeam(-18_000), **CROWDED))
    assert (hit.kind, hit.depth_m, hit.needed_m) == ("shoal", 0.8, 1.5)
    assert hit.begins_nmi == pytest.approx(6000 / NMI_M, abs=WHERE_NMI)
    assert lies(hit.worst_position, 1500, -18_000)


def test_a_hazard_is_told_by_how_near_it_is() -> None:
    """Sixty metres off a rock that wants a hundred: inside its circle for 2 x 80 m."""
    hit = only(checked(*abeam(-12_000), **CROWDED))
    assert (hit.kind, hit.name, hit.needed_m) == ("hazard", "Stack", 100)
    assert hit.found_m == pytest.approx(60, abs=1)
    assert hit.ends_nmi - hit.begins_nmi == pytest.approx(160 / NMI_M, abs=0.01)
    assert lies(hit.worst_position, 0, -12_000)


def test_a_closed_zone_is_told_by_its_name() -> None:
    hit = only(checked(*abeam(18_000), **CROWDED))
    assert (hit.kind, hit.name, hit.why, hit.stops) == ("no-entry", "Seal Bank", "test", True)


def test_a_zone_out_of_season_is_open() -> None:
    assert checked(*abeam(22_000), **CROWDED).legs[0].hits == ()


@pytest.mark.parametrize(("off_m", "y", "kept"), STAND_OFFS)
def test_the_stand_off_but_for_what_a_written_route_may_lose(off_m: float, y: float, kept: bool) -> None:  # noqa: FBT001
    """Of 50 m a tenth goes to simplifying, ten to rhumb lines, two to rounding: 33 m are held."""
    check = checked(*abeam(y), **CROWDED)
    assert check.can_be_run is kept
    if not kept:
        hit = only(check)
        assert (hit.kind, hit.needed_m) == ("stand-off", 50)
        assert hit.found_m == pytest.approx(off_m, abs=0.3)


OPENING = {"name": "Bascule", "kind": "bridge", "opening_hours": "24/7", "wait_min": 12.0, "closed_clearance_m": 3.0}
SHUT_Y, FIXED_Y, BESIDE_Y, HIGH_Y, OPEN_Y = -22_000, -11_000, 0, 11_000, 22_000


def bridge(y: float, clearance_m: float = 3.0) -> tuple[Any, dict[str, object]]:
    line = shapely.LineString([(0, y - 4000), (0, y + 4000)])
    return line, {"name": "Long Bridge", "kind": "bridge", "clearance_m": clearance_m}


BRIDGES: dict[str, Any] = {
    "overhead": [*(bridge(y) for y in (SHUT_Y, FIXED_Y, BESIDE_Y, OPEN_Y)), bridge(HIGH_Y, 3.6)],
    "openings": [
        (shapely.Point(0, OPEN_Y), OPENING),
        (shapely.Point(0, BESIDE_Y + 500), OPENING),
        (shapely.Point(0, SHUT_Y), {**OPENING, "name": "Late", "opening_hours": "14:00-18:00"}),
    ],
}


@pytest.mark.parametrize("y", [FIXED_Y, BESIDE_Y])
def test_a_low_bridge_stops_her(y: float) -> None:
    """3.0 m where 3.5 are needed, 500 m beside its opening too."""
    hit = only(checked(*abeam(y), **BRIDGES))
    assert (hit.kind, hit.name, hit.found_m, hit.needed_m) == ("low bridge", "Long Bridge", 3.0, 3.5)
    assert lies(hit.worst_position, 0, y)


def test_an_opening_costs_its_wait() -> None:
    """12 minutes, and 0.4 l at 2 l/h."""
    check = checked(*abeam(OPEN_Y), **BRIDGES)
    assert [(h.kind, h.name, h.stops) for leg in check.legs for h in leg.hits] == [("gate", "Bascule", False)]
    assert check.can_be_run
    assert not any("shut" in caution for caution in check.legs[0].cautions)
    assert check.time_h == pytest.approx(10_000 / NMI_M / 20 + 0.2, rel=1e-4)
    assert check.fuel_l == pytest.approx(10_000 / NMI_M + 0.4, rel=1e-4)
    assert check.legs[0].speed_kn == pytest.approx(20)


def test_a_gate_that_is_shut_when_she_comes_is_told() -> None:
    """She is there at 12:08, 2.7 miles on at 20 kn, or after its wait of 12 minutes; it opens at two."""
    check = checked(*abeam(SHUT_Y), **BRIDGES)
    assert check.can_be_run
    (said,) = (caution for caution in check.legs[0].cautions if "Late" in caution)
    assert said.startswith("Late is shut when she comes, 12:")
    assert "opens 14:00 on 01 Jul" in said


def test_a_high_bridge_is_nothing() -> None:
    assert checked(*abeam(HIGH_Y), **BRIDGES).legs[0].hits == ()


WESTERN_HALF = {"depth": [(box(-30_000, -30_000, 0, 30_000), {"min_depth_m": 10.0})]}


def test_unsurveyed_water_counts() -> None:
    hit = only(checked(**WESTERN_HALF))
    assert (hit.kind, hit.stops) == ("unsurveyed", True)
    assert hit.begins_nmi == pytest.approx(5000 / NMI_M, abs=WHERE_NMI)


@pytest.mark.slow
def test_unsurveyed_water_may_be_allowed() -> None:
    allowed = checked(margins=Margins(allow_unsurveyed=True), **WESTERN_HALF)
    assert allowed.can_be_run
    assert "depth not checked" in allowed.legs[0].cautions


SHOALS = ((300, -12_000), (1200, 12_000))
SHALLOWS: dict[str, Any] = {
    "depth": [
        DEEP,
        *((box(-5000 - m, y - m, -5000 + m, y + m), {"min_depth_m": 1.0}) for m, y in SHOALS),
        (box(-4800, -300, -4600, 300), {"min_depth_m": 1.0}),
    ],
    "docks": [dock(-5000, y, f"Pump {y}", depth_m=2.0) for _, y in (*SHOALS, (0, 0))],
}


@pytest.mark.parametrize(("y", "kind"), [(-12_000, "approach"), (12_000, "shoal"), (0, "shoal")])
def test_a_berth_is_approached_by_eye_and_no_further_than_places_lie_from_water(y: float, kind: str) -> None:
    """A dock in the middle of a shoal: 300 m to clear water are an approach, 1,200 m (over half a mile) aren't.

    Nor is a shoal that begins 200 m from the dock, after clear water.
    """
    check = checked(*abeam(y), **SHALLOWS)
    assert {hit.kind for leg in check.legs for hit in leg.hits} == {kind}
    assert check.can_be_run is (kind == "approach")


QUAYS: dict[str, Any] = {
    "land": [(box(-5500, -300, -4970, 300), {"name": "Quay"}), (box(-4980, 7700, -4950, 8300), {"name": "Islet"})],
    "docks": [dock(-5000, 0, "Quay Pump"), dock(-5000, 8000, "Islet Pump")],
}


def test_land_counts_but_for_the_spot_that_a_berth_is_drawn_on() -> None:
    """A quay whose point lies 30 m inland is left from its shore; an islet that begins 20 m before it is land."""
    check = checked(**QUAYS)
    assert check.can_be_run
    assert only(check).why == "land as charted, where the berth lies"
    hit = only(checked(*abeam(8000), **QUAYS))
    assert (hit.kind, hit.name, hit.stops) == ("land", "Islet", True)


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


def test_doubt_of_the_fuel_aboard_counts() -> None:
    """31 l give or take 2 (nine of ten: 1.2816 times): low 31 - 20.52 - 2.56 = 7.92 l, touched after 18.44 miles."""
    fuel = FuelAboard(mean_l=31.0, sd_l=2.0, how="as told")
    asked = trip(aboard=fuel, confidence=0.9)
    check = check_route(water(), through((-19_000, 0), (19_000, 0)), asked, now=NOON + timedelta(minutes=1))
    assert check.arrival_l == pytest.approx(31 - 38_000 / NMI_M, abs=0.01)
    assert check.arrival_low_l == pytest.approx(31 - 38_000 / NMI_M - 2.5631, abs=0.01)
    assert not check.keeps_reserve, "the mean would, the low figure doesn't"
    assert check.reserve_touched is not None
    assert check.reserve_touched.gone_nmi == pytest.approx(21 - 2.5631, abs=WHERE_NMI)
    assert "The departure lies in the past." in check.cautions


def test_what_is_burnt_waiting_brings_the_reserve_nearer() -> None:
    """8 l above it, 0.4 of them burnt at the bridge of the first leg: 7.6 miles."""
    route = through((-5000, OPEN_Y), (5000, OPEN_Y), (15_000, OPEN_Y))
    check = check_route(water(**BRIDGES), route, trip(18.0))
    assert check.reserve_touched is not None
    assert check.reserve_touched.leg == 2
    assert check.reserve_touched.gone_nmi == pytest.approx(7.6, abs=WHERE_NMI)


def test_fuel_is_told_to_the_safe_side() -> None:
    """31 - 20.518 - 10 = 0.48 l above, told as 0.4; 10 - (18 - 20.518) = 12.52 l short, told as 12.6."""
    network, route = water(), through((-19_000, 0), (19_000, 0))
    assert ": 0.4 l above the reserve." in said_of(check_route(network, route, trip(31.0)), network)
    assert "reached 12.6 l short of what keeps" in said_of(check_route(network, route, trip(18.0)), network)


def test_what_is_met_is_told_to_the_safe_side_and_marked_where_it_stops_her() -> None:
    """A depth needed is rounded up: 1.51 to 1.6 m."""
    network = water(**CROWDED)
    check = checked(*abeam(-18_000), **CROWDED)
    hit = only(check).model_copy(update={"needed_m": 1.51})
    leg = check.legs[0].model_copy(update={"hits": (hit,)})
    said = said_of(check.model_copy(update={"legs": (leg,)}), network)
    assert "! charted 0.8 m, 1.6 m needed" in said
    said = said_of(checked(*abeam(OPEN_Y), **BRIDGES), water(**BRIDGES))
    assert "! through" not in said
    assert "through Bascule, has to open" in said


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
    ends = through((-70_000, 0), (70_000, 0))
    south = to_metres(shapely.Point(MIDDLE[0], ends.points[0].position[1]))
    rocks = [
        (shapely.Point(x, y), {"name": name, "kind": "rock", "keep_off_m": 100.0})
        for x, y, name in ((south.x, south.y, "South"), (20_000, 0, "Ahead"))
    ]
    check = check_route(water(half_deg=1.0, hazards=rocks), ends, trip())
    assert check.legs[0].rhumb_off_m == pytest.approx(
        140e3**2 * math.tan(math.radians(MIDDLE[1])) / 8 / 6.371e6, rel=0.02
    )
    hits = [(hit.kind, hit.name, hit.on_rhumb, hit.stops) for hit in check.legs[0].hits]
    assert hits == [("hazard", "South", True, True), ("hazard", "Ahead", False, True)]


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


def test_points_that_cant_be_reached_are_passed_over_and_ends_are_told() -> None:
    network = water(land=[ISLET])
    route = through((-5000, 0), (0, 0), (5000, 0))
    check = check_route(network, route, trip())
    told, _ = plan_route(network, route, trip(), check)
    assert told.passed_over == ("P2: on land, over 0.5 nmi from the shore",)
    assert [(led.leg, led.why) for led in told.led_round] == [(1, ("land",)), (2, ("land",))]
    inland = through((0, 0), (-5000, 0), (0, 30), names=("In", "Off", "Back"))
    check = check_route(network, inland, trip())
    told, passage = plan_route(network, inland, trip(), check, where="run.gpx")
    assert passage is None
    why = "on land, over 0.5 nmi from the shore"
    assert told.no_plan == (
        f"run.gpx, its first point (In): {why}; its last point (Back): {why}; end the route on water"
    )
    assert told.model_copy(update={"no_plan": ""}) == check


def test_points_not_passed_are_told_without_a_plan_too() -> None:
    """18 l don't reach the end, some 20 miles on, and the islet's point can't be passed."""
    network = water(land=[ISLET])
    route = through((-19_000, 0), (0, 0), (19_000, 0))
    told, passage = plan_route(network, route, trip(18.0), check_route(network, route, trip(18.0)))
    assert passage is None
    assert told.refused is not None
    assert told.passed_over == ("P2: on land, over 0.5 nmi from the shore",)
    assert "Not passed: P2: on land" in said_of(told, network)


def said_of(check: RouteCheck, network: Network) -> str:
    """Tell a check, its lines joined."""
    return " ".join(tell_route(check, network.boat, network.region, trip().aboard).split())


def planned(route: Route, aboard_l: float = 100.0, **rows: Any) -> tuple[RouteCheck, str]:
    network = water(**rows)
    asked = trip(aboard_l, closed_dock="off")
    told, passage = plan_route(network, route, asked, check_route(network, route, asked))
    assert passage is not None
    return told, said_of(told, network)


def test_a_plan_that_runs_the_route_says_nothing_of_it() -> None:
    told, said = planned(through((-5000, 0), (0, 500), (5000, 0), (9000, 4000)))
    assert (told.led_round, told.passed_over, told.notes) == ((), (), ())
    assert not re.search("Led round|Left for|otherwise|Not passed", said)


def test_a_leg_that_is_left_for_a_stop_is_told() -> None:
    """The pump lies 3 km north of the second leg, which nothing stands in the way of."""
    route = through((-19_000, 0), (-9000, -2000), (19_000, 0), names=("Start", "Corner", "End"))
    told, said = planned(route, 25.0, docks=[dock(0, 3000, "Pump")])
    assert [(led.leg, led.why, led.stops) for led in told.led_round] == [(2, (), ("Pump",))]
    assert told.passed_over == ()
    assert "Left for the stop at Pump: leg 2, Corner to End." in said


def test_a_point_on_a_straight_leg_is_passed_by_for_a_stop_and_that_is_told() -> None:
    """The way from Start to the pump rises 3 km in 19: 10 km on it is 10 sin(atan(3 / 19)) = 1.56 km off, 0.84 nmi."""
    route = through((-19_000, 0), (-9000, 0), (19_000, 0), names=("Start", "Mid", "End"))
    told, said = planned(route, 25.0, docks=[dock(0, 3000, "Pump")])
    assert told.passed_over == ("Mid: 0.84 nmi off the way of the plan",)
    assert [(led.leg, led.why, led.stops) for led in told.led_round] == [(1, (), ("Pump",)), (2, (), ("Pump",))]
    assert "Not passed: Mid: 0.84 nmi off" in said


def test_a_stop_at_a_point_of_the_route_leaves_no_leg() -> None:
    route = through((-19_000, 0), (0, 3000), (19_000, 0))
    told, _ = planned(route, 25.0, docks=[dock(0, 3000, "Pump")])
    assert told.plan is not None
    assert [stop.dock for stop in told.plan.stops] == ["Pump"]
    assert told.led_round == ()


def test_a_leg_back_and_forth_is_run_as_drawn() -> None:
    """Ten kilometres on, five back, ten on: points that lie on one line are passed in their order, 25 km in all."""
    told, _ = planned(through((-10_000, 0), (0, 0), (-5000, 0), (5000, 0)))
    assert told.plan is not None
    assert told.plan.distance_nmi == pytest.approx(25_000 / NMI_M, rel=1e-3)
    assert (told.led_round, told.passed_over) == ((), ())


def test_out_and_back_is_run_as_drawn() -> None:
    told, _ = planned(through((-5000, 0), (5000, 100), (9000, 0), (5000, 100), (-5000, 0)))
    assert told.plan is not None
    assert told.plan.distance_nmi == pytest.approx(28_000 / NMI_M, rel=1e-3)
    assert (told.led_round, told.passed_over) == ((), ())


def test_a_stop_is_told_of_the_leg_that_is_left_for_it_only() -> None:
    """The first leg is led round the islet, the second is left for the pump."""
    network = water(land=[ISLET], docks=[dock(12_000, 4000, "Pump")])
    route, asked = through((-19_000, 0), (5000, 0), (19_000, 0)), trip(29.0, closed_dock="off")
    told, _ = plan_route(network, route, asked, check_route(network, route, asked))
    assert [(led.leg, led.why, led.stops) for led in told.led_round] == [(1, ("land",), ()), (2, (), ("Pump",))]
    assert "Led round: leg 1, P1 to P2, for land." in said_of(told, network)
    assert "nmi longer than the route as it stands" in said_of(told, network)


def test_those_that_bend_a_route_most_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """After the corner of 3 km comes the one that lies 3.8 km off the line from it, not that of 1.9 km before it."""
    monkeypatch.setattr(given_stops, "_MOST_JOINED", 4)
    told, _ = planned(through((-9000, 0), (-6000, 300), (-3000, 0), (0, 3000), (3000, -2000), (9000, 0)))
    assert [line.split(":")[0] for line in told.passed_over] == ["P2", "P3"]
    (note,) = told.notes
    assert "was asked to pass 2 of the 4 points" in note
    off_m = float(note.split(" lie within ")[1].split()[0].replace(",", ""))
    line = shapely.LineString([(-9000, 0), (0, 3000)])
    assert off_m == pytest.approx(line.distance(shapely.Point(-3000, 0)), abs=5)


def test_points_beyond_what_is_asked_for_are_told_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of six corners the four that bend the route most are passed; two of the others lie half a kilometre off."""
    monkeypatch.setattr(given_stops, "MOST_VIAS", 4)
    xy = [(-9000, 0), (-6000, 2000), (-4000, 0), (-2000, 500), (0, 0), (2000, 500), (4000, 0), (6000, 2000), (9000, 0)]
    told, said = planned(through(*xy))
    assert told.notes[0].startswith("The plan was asked to pass 4 of the 7 points between the route's ends")
    assert "the others lie within 5" in told.notes[0]
    assert told.passed_over == (
        "P4: 0.27 nmi off the way of the plan",
        "P6: 0.27 nmi off the way of the plan",
    )
    assert [led.leg for led in told.led_round] == [3, 4, 5, 6]
    assert "Run otherwise than drawn: leg 3, P3 to P4." in said
    assert "Not passed: P4: 0.27 nmi off the way of the plan." in said
    assert "nmi shorter than the route as it stands" in said


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
