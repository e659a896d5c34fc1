"""Points of no return: by hand where there is one way out, and never later than the rule allows."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from oracles.small_world import box, dock, make_boat, make_region, position, waypoint, zone

from routeplan.building import build_network
from routeplan.fuel import FuelAboard
from routeplan.margins import Margins
from routeplan.outings import Outing
from routeplan.reach import find_reach

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.reach import Reach

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)
STEERED_NMI = 0.03  # [nmi] a point is found within a twenty-fourth of 500 m, and steered tracks get 0.1 % of the budget


def reach_of(aboard_l: float, *docks: Any, boat: Boat | None = None, sd_l: float = 0.0, **rows: Any) -> Reach:
    """Ask how far a boat gets from `Home`, at a litre a mile, with harbours far to the east and the north."""
    places = [waypoint(0, 0, "Home"), waypoint(17000, 0, "East End"), waypoint(0, 24000, "North End")]
    region = make_region(waypoints=places, docks=list(docks), **rows)
    boat = boat or make_boat()
    network = build_network(region, boat, Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=aboard_l, sd_l=sd_l, how="as stated")
    return find_reach(network, Outing(start="Home", aboard=aboard, depart=WHEN))


def test_with_the_only_dock_at_home_half_the_way_is_the_point_of_no_return():
    """Ten hours' fuel at one speed out and home is spent halfway (aviation training text: 500 of 1,000 nmi).

    Here it is 12 l above the reserve at a litre a mile: 6 nmi out, on both ways.
    """
    reach = reach_of(22.0, dock(0, 0, "Home Pump"))
    turns = {turn.towards: turn for turn in reach.turning_points}
    assert set(turns) == {("East End",), ("North End",)}
    for turn in turns.values():
        assert 6.0 - STEERED_NMI <= turn.distance_nmi <= 6.0
        assert turn.dock == "Home Pump"
        assert turn.dock_distance_nmi == pytest.approx(turn.distance_nmi, abs=0.001)
        assert turn.time_h == pytest.approx(turn.distance_nmi / 20, rel=1e-6)
        assert turn.aboard_at_dock_low_l >= 10.0


def test_a_dock_on_the_way_is_passed_and_returned_to():
    """Home to a dock 4 nmi east; 12 l to burn: x + (x - 4) = 12, so 8 nmi out."""
    reach = reach_of(22.0, dock(4 * 1852, 0, "East Pump"))
    east = next(turn for turn in reach.turning_points if "East End" in turn.towards)
    assert 8.0 - STEERED_NMI <= east.distance_nmi <= 8.0
    assert east.dock == "East Pump"
    assert east.dock_distance_nmi == pytest.approx(4.0, abs=STEERED_NMI)


def test_a_dock_off_to_the_side_bends_the_sum():
    """North along the axis, the dock 3 nmi east of it and 2 nmi on: y + sqrt(9 + (y - 2)^2) = 12 gives y = 6.55."""
    reach = reach_of(22.0, dock(3 * 1852, 2 * 1852, "Side Pump"))
    north = next(turn for turn in reach.turning_points if "North End" in turn.towards)
    assert 6.55 - STEERED_NMI <= north.distance_nmi <= 6.552  # 131 / 20 on a flat sheet; the globe bends it by metres


def test_the_low_figure_is_what_counts():
    """Of 40 l, sd 4, at 0.9 (z = 1.2816) 30 - 5.126 = 24.874 l may be burnt: half of it out."""
    reach = reach_of(40.0, dock(0, 0, "Home Pump"), sd_l=4.0)
    assert reach.turning_points
    for turn in reach.turning_points:
        assert 12.437 - STEERED_NMI <= turn.distance_nmi <= 12.437
        assert turn.aboard_at_dock_low_l >= 10.0


def test_a_way_that_ends_before_it_breaks_has_none():
    """The east end lies 9.18 nmi out: there and back in 18.4 l of 20, the north end at 12.96 nmi isn't."""
    reach = reach_of(30.0, dock(0, 0, "Home Pump"))
    assert [turn.towards for turn in reach.turning_points] == [("North End",)]


def test_ways_that_part_later_share_one_point():
    """Two harbours beyond the same headland: until it both ways are one."""
    wall = [(box(6000, -12000, 6200, 9000), {})]
    more = [waypoint(0, 0, "Home"), waypoint(9000, 9500, "Inner"), waypoint(15000, 9000, "Outer")]
    region = make_region(waypoints=more, docks=[dock(0, 0, "Home Pump")], land=wall)
    network = build_network(region, make_boat(), Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=20.0, sd_l=0.0, how="as stated")
    reach = find_reach(network, Outing(start="Home", aboard=aboard, depart=WHEN))
    assert [turn.towards for turn in reach.turning_points] == [("Inner", "Outer")]
    (turn,) = reach.turning_points
    assert 5.0 - STEERED_NMI <= turn.distance_nmi <= 5.0
    assert turn.aboard_at_dock_low_l >= 10.0


def test_where_no_dock_suits_there_is_none_to_turn_to():
    reach = reach_of(40.0, dock(1000, 0, "Diesel Pump", fuels="diesel"))
    assert reach.turning_points == ()
    assert reach.dock_water is None


def test_a_dock_that_stays_shut_is_none_to_turn_to():
    """It opens in December; the boat leaves in July."""
    reach = reach_of(40.0, dock(0, 0, "Winter Pump", opening_hours="Dec 08:00-18:00"))
    assert reach.dock_water is None
    assert not reach.start_is_dock


def test_what_is_doubtful_about_the_last_dock_is_said():
    reach = reach_of(22.0, dock(0, 0, "Home Pump", opening_hours=None))
    assert all("hours not known" in turn.dock_note for turn in reach.turning_points)


def test_a_last_dock_that_is_shut_when_she_would_come_says_when_it_opens():
    """At 20 kn she is back after 36 minutes, at 08:36 of a Wednesday."""
    reach = reach_of(22.0, dock(0, 0, "Home Pump", opening_hours="Mo-Fr 06:00-08:30", confirmed_on="2026-06-01"))
    assert {turn.dock_note for turn in reach.turning_points} == {"opens Thu 06:00"}


def test_forks_beyond_one_dock_share_the_nearest_point():
    """Two bays 8 nmi out, 2 nmi apart: points 6 nmi out, 1.5 nmi apart; a third one the other way."""
    more = [waypoint(0, 0, "Home"), waypoint(14500, 2000, "Upper"), waypoint(14500, -2000, "Lower")]
    region = make_region(waypoints=[*more, waypoint(-14500, 0, "West")], docks=[dock(0, 0, "Home Pump")])
    network = build_network(region, make_boat(), Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=22.0, sd_l=0.0, how="as stated")
    reach = find_reach(network, Outing(start="Home", aboard=aboard, depart=WHEN))
    assert sorted(sorted(turn.towards) for turn in reach.turning_points) == [["Lower", "Upper"], ["West"]]


def test_the_point_lies_on_the_globe_where_it_says():
    reach = reach_of(22.0, dock(0, 0, "Home Pump"))
    east = next(turn for turn in reach.turning_points if "East End" in turn.towards)
    lon, lat = position(east.distance_nmi * 1852, 0)
    assert east.position == pytest.approx((lon, lat), abs=2e-5)
    assert east.course_deg == pytest.approx(90.0, abs=0.2)


KNOWN = {"confirmed_on": "2026-06-01"}


def test_a_dock_that_is_shut_or_doubtful_is_no_last_dock_where_another_is():
    """Two pumps at home, one on the way east that is open, one beyond that is shut or unconfirmed: x + (x - 4) = 12."""
    open_one = dock(4 * 1852, 0, "East Pump", **KNOWN)
    for far in (
        dock(5 * 1852, 0, "Far Pump", opening_hours="Mo-Fr 06:00-08:00", **KNOWN),
        dock(5 * 1852, 0, "Far Pump", confirmed_on="2019-05-01"),
        dock(5 * 1852, 0, "Far Pump", opening_hours=None, **KNOWN),
    ):
        reach = reach_of(22.0, open_one, far)
        east = next(turn for turn in reach.turning_points if "East End" in turn.towards)
        assert east.dock == "East Pump"
        assert 8.0 - STEERED_NMI <= east.distance_nmi <= 8.0
        assert east.dock_note == ""
        assert [name for name, _ in reach.docks_left_out] == ["Far Pump"]


def test_a_dock_that_shuts_before_she_would_turn_back_to_it_is_left_out():
    """The far pump, open at 08:15 when she passes it, shuts at 08:20: she would be back there at 08:25."""
    near = dock(2 * 1852, 0, "Near Pump", **KNOWN)
    far = dock(5 * 1852, 0, "Far Pump", opening_hours="Mo-Fr 06:00-08:31", **KNOWN)
    reach = reach_of(22.0, near, far)
    east = next(turn for turn in reach.turning_points if "East End" in turn.towards)
    assert (east.dock, dict(reach.docks_left_out)) == ("Near Pump", {"Far Pump": "opens Thu 06:00"})
    assert 7.0 - STEERED_NMI <= east.distance_nmi <= 7.0  # x + (x - 2) = 12


def test_the_time_of_a_point_before_a_gate_leaves_the_gates_wait_out():
    """A bridge 13 km east asks for half an hour; the point of no return 6 nmi out is there in 18 minutes."""
    wall = [(box(13000, -30000, 13100, -40), {}), (box(13000, 40, 13100, 30000), {})]
    span = shapely.LineString([(13050, -45), (13050, 45)])
    reach = reach_of(
        22.0,
        dock(0, 0, "Home Pump", **KNOWN),
        land=wall,
        overhead=[(span, {"name": "Low Bridge", "kind": "bridge", "clearance_m": 1})],
        openings=[(shapely.Point(13050, 0), {"name": "Span", "kind": "bridge", "wait_min": 30.0})],
    )
    east = next(turn for turn in reach.turning_points if "East End" in turn.towards)
    assert east.distance_nmi == pytest.approx(6.0, abs=STEERED_NMI)
    assert east.time_h == pytest.approx(east.distance_nmi / 20, abs=0.001)


def test_points_on_opposite_ways_out_stay_apart_however_near():
    """3 l to burn: 1.5 nmi east and 1.5 nmi north, two nautical miles from one another."""
    reach = reach_of(13.0, dock(0, 0, "Home Pump", **KNOWN))
    assert sorted(turn.towards for turn in reach.turning_points) == [("East End",), ("North End",)]


def test_a_point_at_the_start_itself_is_none():
    """5 ml above the reserve: she may not leave the dock, and there is no point on the way to say so."""
    reach = reach_of(10.005, dock(0, 0, "Home Pump", **KNOWN))
    assert reach.turning_points == ()


@pytest.mark.parametrize("aboard_l", [16.3, 18.9, 22.7])
def test_round_headlands_the_dock_is_made_on_the_rule(aboard_l: float):
    """Ways bend round three headlands, and steered tracks are a little longer than the shortest."""
    land = [
        (box(3000, -20000, 3400, 900), {}),
        (box(6000, -700, 6300, 20000), {}),
        (box(9000, -20000, 9500, 1500), {}),
        (box(-4000, 4000, 1500, 4500), {}),
    ]
    reach = reach_of(aboard_l, dock(0, 0, "Home Pump", **KNOWN), land=land)
    assert reach.turning_points
    for turn in reach.turning_points:
        assert 10.0 <= turn.aboard_at_dock_low_l <= 10.0 + 0.05
        assert turn.fuel_l == pytest.approx((aboard_l - 10) / 2, abs=STEERED_NMI)


def test_slow_miles_count_on_the_way_to_the_point():
    """A harbour a mile across at no wake, two litres a mile: of 12 l a litre out and one back go for its half miles."""
    calm = [zone(shapely.Point(0, 0).buffer(1852 / 2, quad_segs=90), "no-wake")]
    reach = reach_of(22.0, dock(0, 0, "Home Pump", **KNOWN), zones=calm)
    for turn in reach.turning_points:
        assert turn.distance_nmi == pytest.approx(5.5, abs=STEERED_NMI)
        assert turn.time_h == pytest.approx(0.5 / 5 + (turn.distance_nmi - 0.5) / 20, abs=0.001)


def test_points_beyond_the_outings_own_limits_are_left_out():
    """Six nautical miles out is 18 minutes: within 20 minutes, beyond 15; and beyond 20 for there and back."""
    region = make_region(
        waypoints=[waypoint(0, 0, "Home"), waypoint(17000, 0, "East End")], docks=[dock(0, 0, "Home Pump", **KNOWN)]
    )
    network = build_network(region, make_boat(), Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=22.0, sd_l=0.0, how="as stated")

    def count(**limits: Any) -> int:
        return len(find_reach(network, Outing(start="Home", aboard=aboard, depart=WHEN, **limits)).turning_points)

    assert (count(), count(time_h=20 / 60), count(time_h=15 / 60)) == (1, 1, 0)
    assert (count(time_h=20 / 60, out_and_back=True), count(fuel_l=6.5), count(fuel_l=5.5)) == (0, 1, 0)


def test_the_slow_approach_at_the_start_counts_both_ways():
    """From a quay 450 m inside the stand-off: 0.243 nmi at 5 kn and two litres a mile, so 5.757 nmi out on 6 l."""
    region = make_region(
        waypoints=[waypoint(0, 0, "Home"), waypoint(17000, 0, "East End")],
        docks=[dock(0, 0, "Home Pump", **KNOWN)],
        land=[(box(-3000, -3000, -50, 3000), {})],
    )
    network = build_network(region, make_boat(), Margins(standoff_m=500.0), when=WHEN)
    aboard = FuelAboard(mean_l=22.0, sd_l=0.0, how="as stated")
    (turn,) = find_reach(network, Outing(start="Home", aboard=aboard, depart=WHEN)).turning_points
    slow_nmi = 450 / 1852
    assert turn.distance_nmi == pytest.approx(6 - slow_nmi, abs=STEERED_NMI + 0.03)  # the stand-off is kept to a tenth
    assert turn.time_h == pytest.approx(slow_nmi / 5 + (turn.distance_nmi - slow_nmi) / 20, abs=0.005)
    assert turn.dock_time_h == pytest.approx(turn.time_h, abs=0.001)
