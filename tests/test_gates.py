"""Opening bridges and locks: where they are, what they let through, when, and who has to wait where.

A wall of land runs north to south at x = 0 with channels 400 m wide; bridges of 1 m clearance span them, the boat is
3 m high. She runs at 20 kn: 5,000 m take 8.1 min.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from oracles.small_world import box, make_boat, make_region, position_text, to_metres, waypoint

from routeplan.building import build_network
from routeplan.fuel import full
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.passage import Passage

EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def wall(*channels: tuple[float, float]) -> list[Any]:
    ends = [-30_000.0, *(y for channel in channels for y in channel), 30_000.0]
    return [(box(-50, ends[i], 50, ends[i + 1]), {"name": f"Wall {i}"}) for i in range(0, len(ends), 2)]


def span(
    y: float, name: str = "Low", *, half: float = 205, clear: float = 1.0, x: float = 0.0, kind: str = "bridge"
) -> Any:
    line = shapely.LineString([(x, y - half), (x, y + half)])
    return line, {"name": name, "kind": kind, "clearance_m": clear}


def opening(y: float, name: str = "Low", hours: str | None = "24/7", clear: float = 1.0) -> Any:
    columns: dict[str, Any] = {"name": name, "kind": "bridge", "closed_clearance_m": clear, "wait_min": 10.0}
    if hours:
        columns["opening_hours"] = hours
    return shapely.Point(0, y), columns


HOME, END = waypoint(-5000, 0, "Home"), waypoint(5000, 0, "End")


def run(region: Any, start: str = "Home", via: tuple[str, ...] = ()) -> Passage:
    boat = make_boat()
    trip = Trip(start=start, finish="End", via=via, depart=EIGHT, aboard=full(boat))
    return find_passage(build_network(region, boat, when=EIGHT), trip, now=EIGHT)


def test_an_opening_in_a_high_bridge_opens_no_cable_behind_it():
    """The bridge is 30 m high, its opening no concern of hers; the cable 45 m behind it is 1 m high and stays shut."""
    spans = [span(0, "High", clear=30.0), span(0, "Wire", x=45, kind="cable")]
    region = make_region(
        land=wall((-200, 200)), overhead=spans, openings=[opening(0, "High", clear=30.0)], waypoints=[HOME, END]
    )
    with pytest.raises(NoPassageError, match="too low"):
        run(region)


@pytest.mark.parametrize("drawn_at", [0.0, 150.0, 260.0])
def test_the_way_through_lies_over_water_wherever_the_opening_was_drawn(drawn_at: float):
    """At 260 m it was drawn 60 m ashore; the bridge itself is where it is."""
    region = make_region(
        land=wall((-200, 200)), overhead=[span(0, half=500)], openings=[opening(drawn_at)], waypoints=[HOME, END]
    )
    track = to_metres(shapely.LineString(run(region).recommended.track["coordinates"]))
    land = shapely.union_all([shape for shape, _ in wall((-200, 200))])
    assert track.intersection(land).length < 1.0


def test_a_gate_over_shoal_water_is_told():
    depth = [
        (box(-20_000, -20_000, 20_000, 20_000).difference(box(-400, -200, 400, 200)), {"min_depth_m": 20.0}),
        (box(-400, -200, 400, 200), {"min_depth_m": 0.3}),
    ]
    region = make_region(
        half_deg=0.1, land=wall((-200, 200)), depth=depth, overhead=[span(0)], openings=[opening(0)],
        waypoints=[waypoint(-3000, 0, "Home"), waypoint(3000, 0, "End")],
    )  # fmt: skip
    gates = [leg for leg in run(region).recommended.legs if leg.kind == "gate"]
    assert gates
    assert not any(leg.depth_checked for leg in gates)
    assert any("too shallow" in caution for leg in gates for caution in leg.cautions)


def test_a_wait_is_moved_back_past_a_mark_to_where_a_boat_can_lie():
    """Open from noon: she lies at Home till 12:00 less the run there, with and without a mark to pass on the way."""
    region = make_region(
        land=wall((-200, 200)), overhead=[span(0)], openings=[opening(0, hours="12:00-13:00")],
        waypoints=[HOME, waypoint(-2500, 0, "Mark", "mark"), END],
    )  # fmt: skip
    for via in ((), ("Mark",)):
        plan = run(region, via=via).recommended
        (wait,) = plan.waits
        assert (wait.at, wait.gate) == ("Home", "Low")
        through = next(leg for leg in plan.legs if leg.kind == "gate")
        assert through.depart == pytest.approx(datetime(2026, 7, 1, 12, tzinfo=UTC), abs=SECOND)


def test_the_departure_itself_may_be_put_off():
    region = make_region(
        land=wall((-200, 200)), overhead=[span(0)], openings=[opening(0, hours="09:00-13:00")], waypoints=[END]
    )
    (wait,) = run(region, position_text(-5000, 0)).recommended.waits
    assert 0.7 < wait.wait_h < 1.0


def test_an_open_gate_further_on_beats_a_shut_one_nearby():
    """The near one opens in January; the one 4 km north always: 2 sqrt(5^2 + 4^2) km, 12.8 km, instead of 10."""
    region = make_region(
        land=wall((-200, 200), (3800, 4200)), overhead=[span(0), span(4000, "North")],
        openings=[opening(0, hours="Jan 12:00-13:00"), opening(4000, "North")], waypoints=[HOME, END],
    )  # fmt: skip
    plan = run(region).recommended
    assert not plan.waits
    assert plan.distance_nmi == pytest.approx(12_806 / 1852, rel=0.01)


def test_a_gate_costs_its_wait_and_only_open_hours_long_enough_will_do():
    """Open till 08:12, reached at 08:08, ten minutes to pass: not today; from 07:00 tomorrow."""
    region = make_region(
        land=wall((-200, 200)), overhead=[span(0)], openings=[opening(0, hours="07:00-08:12")], waypoints=[HOME, END]
    )
    plan = run(region).recommended
    through = next(leg for leg in plan.legs if leg.kind == "gate")
    assert through.depart.day == 2
    assert through.arrive - through.depart > SECOND * 600
