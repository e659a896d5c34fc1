"""What a plan leans on, and what it says where it leans on something doubtful."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from oracles.small_world import box, dock, make_boat, make_region, waypoint, zone

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.fuel import FuelAboard
from routeplan.margins import Margins
from routeplan.network import unreached_docks
from routeplan.passage import find_passage
from routeplan.tracks import Tracks
from routeplan.trips import Trip, read_departure
from routeplan.water import build_water

if TYPE_CHECKING:
    from routeplan.passage import Passage

NMI = 1852.0
EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
FAR_ROCK = (box(17_000, 25_000, 17_100, 25_100), {"name": "Rock"})
KNOWN: dict[str, Any] = {"confirmed_on": datetime(2026, 6, 1, tzinfo=UTC).date()}


def run(region: Any, *, start: str = "Aye", finish: str = "Bee", aboard: float = 15.0, sd: float = 0.0) -> Passage:
    boat = make_boat()
    level = FuelAboard(mean_l=aboard, sd_l=sd, how="as stated")
    trip = Trip(start=start, finish=finish, depart=EIGHT, aboard=level, confidence=0.5)
    return find_passage(build_network(region, boat, when=EIGHT), trip, now=EIGHT)


def waters(*docks: Any, ends: Any = None, **layers: Any) -> Any:
    ends = ends or [waypoint(-6 * NMI, 0, "Aye"), waypoint(6 * NMI, 0, "Bee")]
    return make_region(land=[FAR_ROCK], docks=list(docks), waypoints=ends, **layers)


def test_a_dock_that_is_confirmed_is_recommended_over_a_nearer_one_that_is_not():
    """12 nmi at 1 l a mile, 15 l aboard, 10 l held back: one stop. The sure one lies a mile off the way."""
    region = waters(dock(-2 * NMI, 0, "Rumour"), dock(-2 * NMI, NMI, "Sure", **KNOWN))
    passage = run(region)
    assert [stop.dock for stop in passage.recommended.stops] == ["Sure"]
    assert passage.recommended.name == "known-docks"
    other = passage.soonest
    assert [stop.dock for stop in other.stops] == ["Rumour"]
    assert "never confirmed" in other.leans_on[0]
    assert "Rumour" in other.difference


def test_a_doubtful_dock_is_taken_where_there_is_no_other_and_said_so():
    plan = run(waters(dock(-2 * NMI, 0, "Rumour"))).recommended
    assert [stop.dock for stop in plan.stops] == ["Rumour"]
    assert plan.leans_on == ("Rumour (never confirmed)",)


def test_a_fill_of_nothing_is_no_fill():
    """Aboard more than the full mark with a doubt of 5 l: passing a dock makes nothing surer."""
    boat = make_boat(capacity_l=110.0)
    region = waters(dock(-5 * NMI, 0, "Near", **KNOWN))
    trip = Trip(start="Aye", finish="Bee", depart=EIGHT, aboard=FuelAboard(mean_l=108, sd_l=5, how=""), confidence=0.9)
    plan = find_passage(build_network(region, boat), trip, now=EIGHT).recommended
    assert not plan.stops
    assert plan.aboard_on_arrival_l == pytest.approx(96, abs=0.02)
    assert plan.aboard_on_arrival_low_l < 96 - 1.28 * 5 + 0.1


def test_an_end_at_a_dock_that_is_shut_says_so_and_when_it_opens():
    """12 nmi at 20 kn: there at 08:36; it opens at 10:00."""
    region = waters(
        dock(6 * NMI, 0.0, "Late", opening_hours="10:00-12:00", **KNOWN), ends=[waypoint(-6 * NMI, 0, "Aye")]
    )
    plan = run(region, finish="Late", aboard=60).recommended
    assert any("Late is shut on arrival and opens 1 h 24 min later" in caution for caution in plan.cautions)


def test_an_end_at_a_dock_that_stays_shut_names_the_next():
    shut = dock(6 * NMI, 0.0, "Winter", opening_hours="Jan 10:00-11:00", **KNOWN)
    region = waters(shut, dock(6 * NMI, 3 * NMI, "Next", **KNOWN), ends=[waypoint(-6 * NMI, 0, "Aye")])
    plan = run(region, finish="Winter", aboard=60).recommended
    assert plan.onward is not None
    assert plan.onward.name == "Next"
    assert any("stays shut for more than a day" in caution for caution in plan.cautions)


def test_two_places_of_one_name_are_asked_about():
    region = waters(
        dock(3 * NMI, 0, "Twin", **KNOWN), ends=[waypoint(-6 * NMI, 0, "Aye"), waypoint(0, 4 * NMI, "Twin")]
    )
    with pytest.raises(InputError, match="2 places have this name"):
        run(region, finish="Twin", aboard=60)


def test_absent_layers_are_cautions_on_the_plan_the_land_first():
    region = make_region(docks=[], waypoints=[waypoint(-6 * NMI, 0, "Aye"), waypoint(6 * NMI, 0, "Bee")])
    cautions = run(region, aboard=60).cautions
    assert any("no land layer" in caution for caution in cautions)
    assert any("no overhead layer" in caution for caution in cautions)


def test_hairline_cracks_between_depth_areas_close_nothing():
    """Three areas tile the water; two of them meet the long edge of the third in a T: one has a corner there."""
    half = 29_000
    depth = [
        (box(-half, -half, half, 0), {"min_depth_m": 20.0}),
        (box(-half, 0, 100, half), {"min_depth_m": 20.0}),
        (box(100, 0, half, half), {"min_depth_m": 20.0}),
    ]
    region = make_region(land=[FAR_ROCK], depth=depth, half_deg=0.2)
    water = build_water(region, make_boat(), Margins())
    inner = water.plane.box().buffer(-2000)
    assert water.unsurveyed.intersection(inner).area < 1.0
    assert water.navigable.intersection(inner).area == pytest.approx(inner.area, rel=1e-3)


@pytest.mark.parametrize(("season", "counts"), [("Jul 01 10:15-10:45", True), ("Jul 20", False), (None, True)])
def test_a_season_of_half_an_hour_counts_if_it_comes_within_three_days(season: str | None, counts: bool):  # noqa: FBT001
    shut = zone(box(-500, -500, 500, 500), "no-entry", season=season)
    region = make_region(land=[FAR_ROCK], zones=[shut])
    water = build_water(region, make_boat(), Margins(), EIGHT)
    assert water.closed["no-entry"].is_empty is not counts


def test_an_approach_keeps_the_limit_of_the_water_it_lies_in():
    """A 3 kn zone round a quay: the last 20 m to it are run at 3 kn, not at her no-wake 5."""
    land = [(box(0, 0, 4000, 4000), {"name": "Block"})]
    slow = zone(box(-600, 1400, 100, 2600), "speed-limit", limit_kn=3.0)
    region = make_region(
        land=land, zones=[slow], docks=[dock(-20, 2000, "Quay")], waypoints=[waypoint(-3000, 2000, "Sea")]
    )
    network = build_network(region, make_boat())
    tracks = Tracks(network, network.boat, 20.0)
    assert tracks.rates.slow_kn[1] == 3.0
    (track, *_) = tracks.find([(0, 1)])[0, 1]
    slow_nmi = 600 / NMI
    assert track.time_h == pytest.approx((2980 / NMI - slow_nmi + 20 / NMI) / 20 + (slow_nmi - 20 / NMI) / 3, rel=0.02)


def test_a_dock_in_a_pond_is_out_of_reach():
    ring = box(-3000, -3000, 3000, 3000).difference(box(-1000, -1000, 1000, 1000))
    region = make_region(
        land=[(ring, {"name": "Ring"})],
        docks=[dock(0, -990, "Pond"), dock(3020, 0, "Sea", **KNOWN)],
        waypoints=[waypoint(9000, 0, "Aye"), waypoint(9000, 3000, "Bee")],
    )
    assert set(unreached_docks(build_network(region, make_boat()))) == {"Pond"}


def test_a_day_without_a_time_is_refused():
    region = make_region(land=[FAR_ROCK])
    with pytest.raises(InputError, match="no time of day"):
        read_departure("2026-07-01", region.zone, "--depart")
