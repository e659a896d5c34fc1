"""Reach as it is asked for: budgets by hand, what must hold of areas and places, and what is refused."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea
from oracles.small_world import (
    MIDDLE,
    NMI_M,
    box,
    dock,
    make_boat,
    make_region,
    position,
    position_text,
    waypoint,
    zone,
)
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.fuel import FuelAboard
from routeplan.margins import Margins
from routeplan.outings import Outing
from routeplan.reach import find_reach
from routeplan.reached import NoReachError

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.reach import Reach

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)  # a Wednesday
Z = 1.2815515655446004  # quantile of the standard normal distribution at 0.9 (scipy.stats.norm.ppf)
ARC_NMI = 5.1 / NMI_M  # chords of arcs, and rounding to the centimetre


def reach_of(
    aboard_l: float = 40.0,
    *docks: Any,
    boat: Boat | None = None,
    sd_l: float = 0.0,
    start: str = "Home",
    asked: dict[str, Any] | None = None,
    half_deg: float = 0.25,
    places: Any = (),
    now: datetime | None = None,
    **rows: Any,
) -> Reach:
    """Ask how far a boat gets from `Home` in the middle, at a litre a mile unless she is another."""
    region = make_region(half_deg, waypoints=[waypoint(0, 0, "Home"), *places], docks=list(docks), **rows)
    network = build_network(region, boat or make_boat(), Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=aboard_l, sd_l=sd_l, how="as stated")
    return find_reach(network, Outing(start=start, aboard=aboard, depart=WHEN, **(asked or {})), now=now)


def radius_nmi(shape: Any) -> tuple[float, float]:
    """[nmi] Least and greatest distance of an area's edge from the middle, by geographiclib."""
    away = [Geodesic.WGS84.Inverse(MIDDLE[1], MIDDLE[0], y, x)["s12"] for x, y in shapely.get_coordinates(shape)]
    return min(away) / NMI_M, max(away) / NMI_M


def area_m2(shape: Any) -> float:
    """[m2] On the ellipsoid, by geographiclib."""
    total = 0.0
    for part in shape.geoms:
        for sign, ring in [(1, part.exterior), *((-1, hole) for hole in part.interiors)]:
            polygon = PolygonArea(Geodesic.WGS84)
            for x, y in ring.coords[:-1]:
                polygon.AddPoint(y, x)
            total += sign * abs(polygon.Compute()[2])
    return total


@pytest.mark.parametrize(
    ("kind", "figure", "out_l"),
    [
        ("one-way", "mean", 14.0),  # 24 aboard, 10 of reserve
        ("one-way", "low", 14.0 - Z * 2.0),  # less 1.28 standard deviations of 2 l
        ("out-and-back", "mean", 7.0),
        ("out-and-back", "low", (14.0 - Z * 2.0) / 2),
        ("thirds", "mean", 7.0),  # a third of 24 is 8, but the boat's own reserve of 10 is more
        ("thirds", "low", (14.0 - Z * 2.0) / 2),
    ],
)
def test_budgets_by_hand(kind: Any, figure: Any, out_l: float):
    """A litre a mile in open water: each edge is a circle of so many miles, by geographiclib."""
    area = reach_of(24.0, sd_l=2.0, half_deg=0.5).area(kind, figure)
    assert area is not None
    assert area.fuel_l == pytest.approx(out_l, abs=1e-6)
    near, far = radius_nmi(area.geometry)
    assert far <= out_l
    assert near >= out_l - ARC_NMI
    assert area.there_and_back == (kind != "one-way")
    assert not area.inside
    assert not area.cut_by_extent
    assert area.gates == ()


@pytest.mark.parametrize(("aboard_l", "out_l"), [(18.0, 5.0), (15.0, 4.0), (30.0, 9.0)])
def test_the_rule_of_thirds(aboard_l: float, out_l: float):
    """A third out, a third back, a third in reserve (U.S. Coast Guard boating-safety advice).

    3 l are unusable, 1 l is reserve. Of 18: 15 usable, 5 each way. 15: 4 each. 30: 9 each.
    """
    boat = make_boat(unusable_l=3.0, reserve_l=1.0)
    area = reach_of(aboard_l, boat=boat).area("thirds", "mean")
    assert area is not None
    assert area.fuel_l == pytest.approx(out_l)


def test_the_burns_doubt_counts_for_both_ways_of_the_outing():
    """Sd 10 % of the burn, 30 l to burn: B (1 + z / 10) = 30, half of it out."""
    area = reach_of(40.0, boat=make_boat(sd_share=0.1)).area("out-and-back", "low")
    assert area is not None
    assert area.fuel_l == pytest.approx(30 / (1 + Z / 10) / 2)


@pytest.mark.parametrize(
    ("asked", "figure", "out_l", "out_h", "out_nmi"),
    [
        ({"time_h": 0.5}, "low", 10.0, 0.5, 10.0),  # 20 kn and 20 l/h: time runs out first
        ({"time_h": 0.5, "out_and_back": True}, "low", 5.0, 0.25, 5.0),
        ({"time_h": 9.0}, "low", 30.0, 9.0, 30.0 / 2),  # fuel runs out first; by half as she burns two litres a mile
        ({"fuel_l": 6.0}, "mean", 6.0, None, 6.0),
        ({"fuel_l": 6.0}, "low", 6.0 / (1 + Z * 0.1), None, 6.0 / (1 + Z * 0.1)),
        ({"fuel_l": 6.0, "out_and_back": True}, "mean", 3.0, None, 3.0),
        ({"fuel_l": 60.0, "out_and_back": True}, "mean", 15.0, None, 15.0),  # no more than the reserve leaves
        ({"fuel_l": 8.0, "time_h": 0.2}, "mean", 4.0, 0.2, 4.0),
    ],
)
def test_budgets_of_time_and_fuel(
    asked: dict[str, Any], figure: Any, out_l: float, out_h: float | None, out_nmi: float
):
    thirsty = asked.get("time_h", 0) > 5
    boat = make_boat(sd_share=0.0 if "fuel_l" not in asked else 0.1, burn_lph=(10.0, 40.0 if thirsty else 20.0))
    area = reach_of(40.0, boat=boat, asked=asked, half_deg=0.5).area("budget", figure)
    assert area is not None
    assert (area.fuel_l, area.time_h) == (pytest.approx(out_l), out_h)
    assert area.there_and_back == asked.get("out_and_back", False)
    near, far = radius_nmi(area.geometry)
    assert far <= out_nmi
    assert near >= out_nmi - ARC_NMI
    assert area.out_nmi == pytest.approx(out_nmi, abs=1e-4)


def test_without_a_budget_there_is_no_area_of_one():
    assert reach_of().area("budget", "low") is None


def test_with_the_way_back_asked_for_no_one_way_is_shown():
    kinds = {(a.kind, a.figure) for a in reach_of(asked={"out_and_back": True}).areas}
    assert kinds == {(k, f) for k in ("out-and-back", "thirds") for f in ("mean", "low")}


def test_each_speed_has_its_areas():
    """At 5 kn she burns 2 l a mile, at 20 kn one: half the radius."""
    reach = reach_of(24.0, asked={"speeds_kn": (20.0, 5.0)})
    fast, slow = (reach.area("one-way", "low", speed) for speed in (20.0, 5.0))
    assert fast is not None
    assert slow is not None
    assert fast.fuel_l == slow.fuel_l == pytest.approx(14.0)
    assert radius_nmi(slow.geometry)[1] == pytest.approx(7.0, abs=ARC_NMI)
    assert reach.speeds_kn == (20.0, 5.0)
    assert reach.area("one-way", "low") is fast


def test_nested_as_they_must_be():
    rows = {"land": [(box(2000, -4000, 2600, 9000), {}), (box(-6000, 2500, -1000, 3000), {})]}
    reach = reach_of(22.0, sd_l=1.0, boat=make_boat(sd_share=0.05), asked={"time_h": 0.4}, **rows)
    for kind in ("one-way", "out-and-back", "thirds", "budget"):
        assert_inside(reach.area(kind, "low"), reach.area(kind, "mean"))
    for figure in ("mean", "low"):
        assert_inside(reach.area("out-and-back", figure), reach.area("one-way", figure))
        assert_inside(reach.area("thirds", figure), reach.area("out-and-back", figure))
        assert_inside(reach.area("budget", figure), reach.area("one-way", figure))
    assert reach.dock_water is None


def assert_inside(inner: Any, outer: Any) -> None:
    """Hold one area inside another, but for chords of its arcs."""
    assert inner.geometry.difference(outer.geometry.buffer(6 / 80_000)).is_empty  # [deg] some 5 m
    assert inner.geometry.area <= outer.geometry.area


def test_more_fuel_never_shrinks_it():
    rows = {"land": [(box(2000, -4000, 2600, 9000), {})]}
    areas = [reach_of(litres, **rows).area("one-way", "low") for litres in (13.0, 15.0, 18.0)]
    assert_inside(areas[0], areas[1])
    assert_inside(areas[1], areas[2])


def test_areas_are_sound_layers_of_the_globe():
    """Valid, counter-clockwise outside (RFC 7946), and as large as they are in the plane."""
    rows = {"land": [(box(2000, -2000, 2600, 3000), {}), (box(-3000, 1000, -2000, 1500), {})]}
    for area in reach_of(15.0, **rows).areas:
        assert area.geometry.is_valid
        assert all(part.exterior.is_ccw for part in area.geometry.geoms)
        assert all(not hole.is_ccw for part in area.geometry.geoms for hole in part.interiors)
        document = json.loads(area.model_dump_json())
        assert shapely.from_geojson(json.dumps(document["geometry"])).equals(area.geometry)
    circle = reach_of(13.0).area("one-way", "low")
    assert circle is not None
    assert area_m2(circle.geometry) == pytest.approx(math.pi * (3 * NMI_M) ** 2, rel=0.003)


# Limits, gates, the end of the data ----------------------------------------------------------------------------------


def test_a_limit_is_counted_and_said():
    """From a harbour of 1 nmi across at no wake, 2 l a mile: half a mile costs a litre, the rest a litre a mile."""
    slow = [zone(shapely.Point(0, 0).buffer(NMI_M / 2, quad_segs=90), "no-wake")]
    area = reach_of(15.0, zones=slow).area("one-way", "mean")
    assert area is not None
    assert area.inside
    assert area.out_nmi == pytest.approx(4.5, abs=0.001)
    near, far = radius_nmi(area.geometry)
    assert far <= 4.5 + 0.001  # the zone's own circle is a polygon of 360 corners
    assert near >= 4.5 - 0.03
    assert not any(a.inside for a in reach_of(12.0, zones=[zone(box(9000, 0, 9900, 900), "no-wake")]).areas)


def test_what_lies_behind_a_gate_names_it():
    wall = [(box(2000, -30000, 2100, -40), {}), (box(2000, 40, 2100, 30000), {})]
    bridge = [
        (shapely.LineString([(2050, -45), (2050, 45)]), {"name": "Low Bridge", "kind": "bridge", "clearance_m": 1})
    ]
    gate = [
        (
            shapely.Point(2050, 0),
            {
                "name": "Swing Span",
                "kind": "bridge",
                "closed_clearance_m": 1.0,
                "wait_min": 6.0,
                "opening_hours": "24/7",
            },
        )
    ]
    reach = reach_of(16.0, land=wall, overhead=bridge, openings=gate, places=[waypoint(5000, 0, "Beyond")])
    area = reach.area("one-way", "mean")
    assert area is not None
    assert area.gates == ("Swing Span",)
    assert [(p.name, p.gates) for p in reach.places] == [("Beyond", ("Swing Span",))]
    short = reach_of(11.0, land=wall, overhead=bridge, openings=gate).area("one-way", "mean")
    assert short is not None
    assert short.gates == ()


def test_the_edge_of_the_data_is_told_from_the_reach():
    """The extent ends 5.56 km north and south of the middle, and 4 km east and west."""
    reach = reach_of(14.0, half_deg=0.05)
    one_way, back = reach.area("one-way", "low"), reach.area("out-and-back", "low")
    assert one_way is not None
    assert back is not None
    assert one_way.cut_by_extent
    assert not back.cut_by_extent  # 2 nmi or 3.7 km
    assert reach.cut_by_extent
    west, south, east, north = reach.data_edges.bounds
    assert (west, east) == pytest.approx((MIDDLE[0] - 0.05, MIDDLE[0] + 0.05), abs=2e-4)
    assert (south, north) == pytest.approx((MIDDLE[1] - 0.05, MIDDLE[1] + 0.05), abs=2e-4)
    whole = reach_of(11.0, half_deg=0.05)
    assert not whole.cut_by_extent
    assert whole.data_edges.is_empty


def test_land_at_the_edge_of_the_data_is_no_edge_of_the_reach():
    """It is 2.5 nmi or 4.6 km: the data end 4 km east and west, but all of the east side is land."""
    reach = reach_of(12.5, half_deg=0.05, land=[(box(3000, -9000, 9000, 9000), {})])
    assert reach.data_edges.bounds[2] < MIDDLE[0]


# Places --------------------------------------------------------------------------------------------------------------


def test_a_place_by_hand():
    """5 nmi east at a litre a mile, 20 kn: a quarter of an hour; 24 +- 2 l aboard, 10 of reserve, no doubt of burn."""
    reach = reach_of(24.0, dock(5 * NMI_M, 0, "East Pump", confirmed_on="2026-06-01"), sd_l=2.0)
    (place,) = reach.places
    assert (place.name, place.kind, place.there_and_back, place.refuel, place.refuel_note) == (
        ("East Pump", "dock", True, "yes", "")
    )
    low_l = 24.0 - Z * 2.0
    figures = (place.distance_nmi, place.time_h, place.fuel_l, place.fuel_there_and_back_l, place.aboard_on_arrival_l)
    assert figures == pytest.approx((5.0, 0.25, 5.0, 10.0, 19.0), abs=1e-4)
    assert place.aboard_on_arrival_low_l == pytest.approx(low_l - 5, abs=1e-4)
    assert place.margin_low_l == pytest.approx(low_l - 15, abs=1e-4)
    assert (place.aboard_on_return_l, place.aboard_on_return_low_l) == pytest.approx((14.0, low_l - 10), abs=1e-4)


def test_only_some_can_be_come_back_from():
    """14 l: 6 nmi there and back leaves 2 above the reserve, 8 nmi breaks it, 15 nmi is out of reach."""
    places = [waypoint(x * NMI_M, 0, f"Mile {x}", "anchorage") for x in (6, 8, 15)]
    reach = reach_of(24.0, places=places, half_deg=0.4)
    assert [(p.name, p.there_and_back) for p in reach.places] == [("Mile 6", True), ("Mile 8", False)]
    back = reach_of(24.0, places=places, half_deg=0.4, asked={"out_and_back": True})
    assert [p.name for p in back.places] == ["Mile 6"]


def test_time_leaves_places_out():
    places = [waypoint(x * NMI_M, 0, f"Mile {x}") for x in (4, 8)]
    assert [p.name for p in reach_of(40.0, places=places, asked={"time_h": 0.3}).places] == ["Mile 4"]
    both = {"time_h": 0.3, "out_and_back": True}
    assert [p.name for p in reach_of(40.0, places=places, asked=both).places] == []


def test_marks_are_no_places_and_neither_is_the_start():
    places = [waypoint(2000, 0, "Buoy", "mark"), waypoint(0, 2000, "Inlet", "entrance"), waypoint(5, 5, "Same Spot")]
    assert reach_of(places=places).places == ()


@pytest.mark.parametrize(
    ("columns", "refuel", "note"),
    [
        ({}, "yes", ""),
        ({"fuels": "diesel"}, "no", "no gasoline"),
        ({"opening_hours": None}, "doubtful", "hours not known"),
        ({"opening_hours": "Mo-Su 10:30-18:00"}, "opens later", "opens 10:30"),
        ({"opening_hours": "Sa 09:00-12:00"}, "opens later", "opens Sat 09:00"),
        ({"opening_hours": "Mo-Su 06:00-08:20"}, "opens later", "opens Thu 06:00"),  # too short a time to fill in
        ({"opening_hours": "Dec 25 09:00-12:00"}, "opens later", "opens Fri 25 Dec 09:00"),
        ({"confirmed_on": "2019-05-01"}, "doubtful", "2019-05-01"),
    ],
)
def test_whether_she_could_refuel_there(columns: dict[str, Any], refuel: str, note: str):
    """She is there at 08:15 on a Wednesday."""
    columns = {"confirmed_on": "2026-06-01", **columns}
    reach = reach_of(24.0, dock(5 * NMI_M, 0, "East Pump", **columns), now=WHEN)
    (place,) = reach.places
    assert place.refuel == refuel
    assert note in place.refuel_note


def test_a_harbour_with_a_dock_of_its_own_says_so():
    """A pump 300 m off, a better one a mile off that isn't its own, and an anchorage without any."""
    places = [waypoint(5 * NMI_M, 0, "East Haven"), waypoint(0, 5 * NMI_M, "North Bay", "anchorage")]
    own = dock(5 * NMI_M, 300, "Haven Pump", opening_hours="Mo-Su 10:30-18:00", confirmed_on="2026-06-01")
    other = dock(6 * NMI_M, 0, "Other Pump", confirmed_on="2026-06-01")
    told = {p.name: (p.refuel, p.refuel_note) for p in reach_of(24.0, own, other, places=places, now=WHEN).places}
    assert told["East Haven"] == ("opens later", "at Haven Pump: opens 10:30")
    assert told["North Bay"] == ("no", "")


# Refusals ------------------------------------------------------------------------------------------------------------


def test_no_fuel_above_the_reserve_says_how_much_is_short():
    """12 +- 2 l at 0.9 is 9.437 l for sure, 0.563 l under the reserve of 10."""
    with pytest.raises(NoReachError) as caught:
        reach_of(12.0, sd_l=2.0)
    refusal = caught.value.refusal
    assert refusal.short_l == pytest.approx(10 - (12 - Z * 2), abs=1e-9)
    assert (refusal.from_, refusal.aboard_l) == ("Home", 12.0)
    assert refusal.aboard_low_l == pytest.approx(12 - Z * 2)
    assert "short" in refusal.why
    assert any("fuel up" in idea for idea in refusal.try_)
    assert caught.value.cautions
    assert refusal.model_dump(mode="json", by_alias=True)["from"] == "Home"


def test_what_is_short_is_just_enough():
    """With so much more aboard the low figure stands on the reserve; a millilitre more and something is in reach."""
    with pytest.raises(NoReachError) as caught:
        reach_of(12.0, sd_l=2.0)
    assert reach_of(12.0 + caught.value.refusal.short_l + 0.01, sd_l=2.0).promised_nmi > 0
    with pytest.raises(NoReachError):
        reach_of(12.0 + caught.value.refusal.short_l - 0.01, sd_l=2.0)


def test_a_start_on_land_is_offered_the_nearest_water():
    """The middle of an island 8 km wide and long: the water is 4 km off, and 5 m of stand-off."""
    island = [(box(-4000, -4500, 4100, 4600), {})]
    with pytest.raises(InputError) as caught:
        reach_of(start=position_text(0, 0), places=[], land=island)
    message = str(caught.value)
    assert "on land" in message
    assert "2.2 nmi" in message  # 4005 m is 2.16 nmi
    lon, _ = position(-4005, 0)
    assert f"give 44 00.00N 038 {((-lon) % 1) * 60:05.2f}W" in message


def test_a_start_outside_the_data_is_told_where_they_end():
    with pytest.raises(InputError) as caught:
        reach_of(start=position_text(0, 60000))
    message = str(caught.value)
    assert "outside the region's extent" in message
    assert "43 45.00N" in message
    assert "44 15.00N" in message


@pytest.mark.parametrize(
    "changes", [{"time_h": 0.0}, {"fuel_l": -1.0}, {"speeds_kn": (0.0,)}, {"rings_nmi": (math.nan,)}]
)
def test_absurd_limits_are_refused(changes: dict[str, Any]):
    with pytest.raises(ValidationError):
        Outing(start="Home", aboard=FuelAboard(mean_l=1, sd_l=0, how=""), depart=WHEN, **changes)


def test_a_speed_she_cant_hold_is_refused():
    with pytest.raises(InputError, match="--speed"):
        reach_of(asked={"speeds_kn": (20.0, 40.0)})


def test_a_departure_in_the_past_is_a_caution():
    reach = reach_of(now=WHEN + timedelta(hours=2))
    assert "The departure lies in the past." in reach.cautions


def test_the_promised_range_is_the_radius_in_open_water():
    reach = reach_of(24.0, sd_l=2.0)
    area = reach.area("one-way", "low")
    assert area is not None
    assert radius_nmi(area.geometry)[1] == pytest.approx(reach.promised_nmi, abs=ARC_NMI)


def test_dock_water_lies_inside_the_reach_one_way():
    reach = reach_of(20.0, dock(3000, 1000, "Pump"), land=[(box(1000, 2000, 4000, 2500), {})])
    one_way = reach.area("one-way", "low")
    assert one_way is not None
    assert reach.dock_water is not None
    assert reach.dock_water.is_valid
    assert reach.dock_water.difference(one_way.geometry.buffer(6 / 80_000)).is_empty
    assert reach.dock_water.area > 0.2 * one_way.geometry.area  # an ellipse of axes 5 and 4.9 in a circle of 10 nmi


def gated(hours: str) -> dict[str, Any]:
    """Build a wall with one low bridge in it, 2 km east of the start, that opens in some hours after six minutes."""
    span = shapely.LineString([(2050, -45), (2050, 45)])
    opening = {"name": "Swing Span", "kind": "bridge", "closed_clearance_m": 1.0, "wait_min": 6.0}
    return {
        "land": [(box(2000, -30000, 2100, -40), {}), (box(2000, 40, 2100, 30000), {})],
        "overhead": [(span, {"name": "Low Bridge", "kind": "bridge", "clearance_m": 1})],
        "openings": [(shapely.Point(2050, 0), {**opening, "opening_hours": hours})],
        "places": [waypoint(9000, 0, "Beyond")],
    }


@pytest.mark.parametrize(
    ("hours", "out", "back"),
    [
        ("06:00-22:00", True, True),
        ("09:00-22:00", False, False),  # she is there at 08:04
        ("06:00-08:15", True, False),  # and after 4.9 nmi and the wait not before 08:27 on the way back
        ("06:00-08:07", False, False),  # six minutes' wait
    ],
)
def test_a_gate_counts_as_open_only_when_she_comes(hours: str, *, out: bool, back: bool):
    """Of 60 l: one way 50 nmi, there and back 25; the place lies 4.9 nmi out."""
    reach = reach_of(60.0, **gated(hours))
    beyond = shapely.Point(position(8000, 0))
    for kind, through in (("one-way", out), ("out-and-back", back)):
        area = reach.area(kind, "low")  # type: ignore[arg-type]
        assert area is not None
        assert area.geometry.covers(beyond) == through, kind
        assert bool(area.gates) == through
    assert [p.there_and_back for p in reach.places] == ([back] if out else [])
    assert any("Swing Span counts as shut" in caution for caution in reach.cautions) == (not back)


def test_the_way_back_goes_round_a_gate_that_has_shut():
    """Out through the span, 4.9 nmi; back round the wall's end 3 nmi north, at 08:21 when it shuts at 08:15."""
    rows = gated("06:00-08:15")
    rows["land"] = [(box(2000, -30000, 2100, -40), {}), (box(2000, 40, 2100, 3 * NMI_M), {})]
    (place,) = reach_of(60.0, **rows).places
    assert place.gates == ("Swing Span",)
    round_nmi = (math.hypot(2000, 3 * NMI_M) + 100 + math.hypot(6900, 3 * NMI_M)) / NMI_M
    assert place.there_and_back
    assert place.fuel_there_and_back_l - place.fuel_l == pytest.approx(round_nmi, abs=0.1)


def test_places_from_which_no_dock_can_be_made_say_so():
    """20 l to burn, a dock 8 nmi west: a mark 5 nmi east needs 5 + 13, one 7 nmi east 7 + 15."""
    places = [waypoint(x * NMI_M, 0, f"Mile {x}") for x in (5, 7)]
    pump = dock(-8 * NMI_M, 0, "West Pump", confirmed_on="2026-06-01")
    told = {p.name: p.dock_still_in_reach for p in reach_of(30.0, pump, places=places, half_deg=0.4).places}
    assert told == {"West Pump": True, "Mile 5": True, "Mile 7": False}


def test_with_nothing_above_the_reserve_the_docks_on_it_are_named():
    """12 l aboard, 4 that can't be drawn, 10 of reserve; docks at 3 and 6 nmi cost 3 and 6 l, one at 9 nmi too much."""
    boat = make_boat(unusable_l=4.0, reserve_l=10.0)
    pumps = [dock(x * NMI_M, 0, f"Mile {x} Pump", confirmed_on="2026-06-01") for x in (6, 3, 9)]
    with pytest.raises(NoReachError) as caught:
        reach_of(12.0, *pumps, boat=boat, half_deg=0.4)
    ideas = caught.value.refusal.try_
    assert [idea.partition(",")[0] for idea in ideas[:2]] == [
        "on the reserve: Mile 3 Pump",
        "on the reserve: Mile 6 Pump",
    ]
    assert "3.0 nmi" in ideas[0]
    assert "5.0 l above what can't be drawn" in ideas[0]
    assert "2.0 l" in ideas[1]
    assert not any("Mile 9" in idea for idea in ideas)


def test_at_a_dock_with_nothing_above_the_reserve_it_is_to_fill_up_there():
    with pytest.raises(NoReachError) as caught:
        reach_of(9.0, dock(0, 0, "Home Pump"))
    assert caught.value.refusal.try_[0] == "fill up here: Home Pump"


@pytest.mark.parametrize("asked", [{"fuel_l": 8.0}, {"time_h": 0.4}])
def test_a_one_way_budget_has_its_area_there_and_back_too(asked: dict[str, Any]):
    """Guests come back: 8 l or 24 minutes are 8 nmi one way, 4 nmi out and back."""
    reach = reach_of(60.0, asked=asked, half_deg=0.3)
    found = {a.there_and_back: a for a in reach.areas if (a.kind, a.figure) == ("budget", "low")}
    assert reach.area("budget", "low") is found[False]
    for back, nmi in ((False, 8.0), (True, 4.0)):
        near, far = radius_nmi(found[back].geometry)
        assert far <= nmi
        assert near >= nmi - ARC_NMI


@pytest.mark.slow
def test_time_and_fuel_together_are_drawn_to_the_edge_under_a_limit():
    """1.2 nmi of no wake, 14.4 minutes, then 9 minutes at 20 kn are 3 nmi: 4.2 nmi out by the time, 5.4 l.

    The fuel of a budget of 7 l would do for 5.8 nmi; counted by the dearer share of each mile it would be 3.9.
    """
    slow = [zone(shapely.Point(0, 0).buffer(1.2 * NMI_M, quad_segs=90), "no-wake")]
    reach = reach_of(60.0, zones=slow, asked={"time_h": 0.39, "fuel_l": 7.0})
    area = reach.area("budget", "mean")
    assert area is not None
    near, far = radius_nmi(area.geometry)
    assert far <= 4.2 + 0.001
    assert near >= 4.2 - 0.03
    assert area.out_nmi == pytest.approx(4.2, abs=0.001)


def test_round_an_island_the_longest_way_is_told_and_not_the_crows():
    """A wall 4 nmi long, 1 nmi east: of 3 nmi about 2.24 lead to its end; what is left goes on behind it."""
    wall = [(box(NMI_M, -2 * NMI_M, NMI_M + 50, 2 * NMI_M), {}), (box(-9 * NMI_M, -9 * NMI_M, -100, 9 * NMI_M), {})]
    area = reach_of(13.0, land=wall, boat=make_boat()).area("one-way", "mean")
    assert area is not None
    assert area.out_nmi == pytest.approx(3.0, abs=0.001)


def test_where_the_stand_off_is_wider_the_edge_of_the_data_is_told_too():
    """All poorly surveyed, so kept 300 m off: the water ends 300 m inside the extent, 4 km east and west."""
    poor = [(box(-9000, -9000, 9000, 9000), {"min_depth_m": 20.0, "survey": "poor"})]
    reach = reach_of(14.0, half_deg=0.05, depth=poor, poor_m=300.0)
    area = reach.area("one-way", "low")
    assert area is not None
    assert area.cut_by_extent
    west, south, east, north = reach.data_edges.bounds
    assert (west, east) == pytest.approx((MIDDLE[0] - 0.05, MIDDLE[0] + 0.05), abs=5e-3)
    assert (south, north) == pytest.approx((MIDDLE[1] - 0.05, MIDDLE[1] + 0.05), abs=5e-3)


def test_no_dock_that_can_be_made_is_a_caution():
    """5 l to burn, the one dock 8 nmi off."""
    reach = reach_of(15.0, dock(8 * NMI_M, 0, "Far Pump"), half_deg=0.4)
    assert reach.dock_water is None
    assert "No dock that suits Paper Boat can be made from here with the reserve whole." in reach.cautions
    assert not any("No dock" in caution for caution in reach_of(25.0, dock(8 * NMI_M, 0, "Far Pump")).cautions)
