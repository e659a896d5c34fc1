"""Readings at the marks and points of no return: by hand on straight water, and held against their own rule."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from oracles.small_world import dock, make_boat, make_region, waypoint

from routeplan.building import build_network
from routeplan.fuel import FuelAboard, z_of
from routeplan.helm import MeterStart
from routeplan.helm_marks import find_helm, highest_l
from routeplan.margins import Margins
from routeplan.passage import find_passage
from routeplan.plan_hops import find_hops
from routeplan.todays_burn import Meter, Spent, find_today
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.helm import Helm
    from routeplan.passage import Passage

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)
NMI = 1852.0
STATION_NMI = 1.0  # [nmi] points along a way are at most so far apart
PERFECT = MeterStart(shows_l=(0.0,), factor=1.0, factor_sd=0.0, fillups=0, scatter_share=0.0)


def passage_of(aboard_l: float, *docks: Any, far_nmi: float = 9.0, confidence: float = 0.5, **boat: Any) -> Passage:
    """From `Home`, at a litre a mile, straight east to a harbour; docks are told in miles east and north of Home."""
    rows = [dock(x * NMI, y * NMI, name) for x, y, name in docks]
    region = make_region(waypoints=[waypoint(0, 0, "Home"), waypoint(far_nmi * NMI, 0, "East End")], docks=rows)
    network = build_network(region, make_boat(**boat), Margins(standoff_m=5.0), when=WHEN)
    aboard = FuelAboard(mean_l=aboard_l, sd_l=0.0, how="as stated")
    trip = Trip(start="Home", finish="East End", depart=WHEN, aboard=aboard, confidence=confidence, closed_dock="off")
    return find_passage(network, trip)


def helm_of(passage: Passage, start: MeterStart = PERFECT) -> Helm:
    return find_helm(passage, passage.recommended, start)


def test_ten_hours_out_and_home_turns_halfway():
    """Out and home at one speed on ten hours' fuel: the way back is open for half of it (aviation text: 500 of 1,000).

    16 l above the reserve at a litre a mile: 8 of the 9 miles, with the only dock at Home.
    """
    helm = helm_of(passage_of(26.0, (0, 0, "Home Pump")))
    (turn,) = helm.last_turns
    assert 8.0 - STATION_NMI <= turn.gone_nmi <= 8.0
    assert turn.dock == "Home Pump"
    assert turn.dock_nmi == pytest.approx(turn.gone_nmi, abs=0.02)
    assert turn.shows_l == pytest.approx(turn.gone_nmi, rel=1e-3)
    assert turn.gone_nmi + turn.to_go_nmi == pytest.approx(9.0, abs=0.02)


def test_where_a_dock_lies_by_the_end_only_there_is_none_to_fall_back_on():
    helm = helm_of(passage_of(26.0, (9, 0.2, "End Pump")))
    (turn,) = helm.last_turns
    assert (turn.gone_nmi, turn.dock, turn.dock_nmi) == (0.0, None, None)
    assert all(mark.turn_for is None for mark in helm.marks)


def test_with_plenty_aboard_some_dock_stays_in_reach():
    assert helm_of(passage_of(100.0, (0, 0, "Home Pump"))).last_turns == ()


def test_the_dial_shows_what_was_burnt_over_the_meter_factor_since_the_reset():
    """A meter that shows 10 l for every 11 burnt, at 3 l when she leaves: 3 + 9 / 1.1 at the end of nine miles."""
    start = MeterStart(shows_l=(1.0, 2.0), factor=1.1, factor_sd=0.01, fillups=9)
    mark = helm_of(passage_of(100.0, (0, 0, "Home Pump")), start).marks[-1]
    assert mark.shows_l == pytest.approx(3.0 + 9.0 / 1.1, rel=2e-3)
    assert mark.since == "Home"


def test_highest_is_the_edge_of_the_rule():
    assert highest_l(lambda litres: litres < 41.5, 0, 90) == pytest.approx(41.5, abs=1e-9)
    assert highest_l(lambda _: False, 0, 90) is None
    assert highest_l(lambda _: True, 0, 90) == 90


def test_limits_stand_for_the_rule_and_the_dock_is_in_reach_with_that_reading(demo_network: Any):
    """On a long run of the demo: at each limit the rule holds, or the mean and the next mark's way out; above it not.

    Going on is judged anew here, and so is what is left at the dock: never below unusable fuel and reserve.
    """
    boat = demo_network.boat
    aboard = FuelAboard(mean_l=boat.tank.full_mark_l, sd_l=boat.full_mark_sd_l, how="full")
    trip = Trip(start="Tolvarrow", finish="Hesterquay", depart=WHEN, aboard=aboard, closed_dock="off", fill="full")
    passage = find_passage(demo_network, trip)
    start = MeterStart(shows_l=(0.0,), factor=1.02, factor_sd=0.01, fillups=5)
    helm = find_helm(passage, passage.recommended, start)
    meter, z = Meter(1.02, 0.01, start.scatter_share), z_of(0.9)
    limits = [mark for mark in helm.marks if mark.turn_above_l is not None]
    assert limits
    for hop in find_hops(passage.recommended, boat, aboard):
        burned_l = 0.0
        for mark in (m for m in helm.marks if hop.first < m.leg <= hop.first + len(hop.legs)):
            leg = hop.legs[mark.leg - 1 - hop.first]
            before_l = sum(one.fuel_l for one in hop.legs[: mark.leg - 1 - hop.first])
            share = 1.0 if mark.after_nmi is None else mark.after_nmi / leg.distance_nmi
            burned_l = before_l + share * leg.fuel_l
            assert mark.shows_l == pytest.approx(burned_l / 1.02, rel=1e-6)
            if mark.turn_above_l is None:
                continue
            assert mark.turn_low_l is not None
            assert mark.turn_low_l >= boat.floor_l - 1e-6
            for shows_l, goes_on in ((mark.turn_above_l - 0.01, True), (mark.turn_above_l + 0.01, False)):
                spent = Spent(hop.level_l, hop.level_sd_l, shows_l, burned_l)
                today = find_today(spent, meter, boat.burn.sd_share, boat.tank.capacity_l)
                rest_l = hop.fuel_l - burned_l
                sure = today.low_l(rest_l, z) >= boat.floor_l
                mean = today.on_arrival(rest_l)[0] >= boat.floor_l
                assert (sure or mean) if goes_on else not sure
