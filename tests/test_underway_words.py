"""What underway says first, in each case: the verb, the dock, every stretch of the way, and whom to tell."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from oracles.small_world import dock, make_boat, position
from test_underway import BOAT, DOCKS, NMI, WHEN, look, plan, water

from routeplan.saved_plans import Report, SavedPlan
from routeplan.teaching import without_log
from routeplan.underway import find_underway
from routeplan.underway_state import AskedUnderway
from routeplan.underway_words import UNDERWAY_CAUTIONS, tell_underway

if TYPE_CHECKING:
    from routeplan.network import Network
    from routeplan.underway_values import Underway


@pytest.fixture(scope="module")
def three() -> Network:
    return water(*DOCKS)


@pytest.fixture(scope="module")
def tight(three: Network) -> SavedPlan:
    return plan(three, 21.0)


def told(answer: Underway, saved: SavedPlan) -> str:
    lines = tell_underway(answer, saved, (), -10.0, "run.json")
    assert lines[-len(UNDERWAY_CAUTIONS) :] == [f"  - {line}" for line in UNDERWAY_CAUTIONS]
    assert any(line.startswith("By the plan Home to East End, leaves Wed 1 Jul") for line in lines)
    return "\n".join(lines)


def test_turning_is_told_with_every_stretch_magnetic_first(three: Network, tight: SavedPlan):
    """The dock bears 085 true from mile four; with 10 degrees of westerly variation that is 095 by the compass."""
    said = told(look(three, tight, 4.0, 6.2), tight)
    assert said.startswith("TURN for Half Way Pump. East End would be reached")
    assert "steer 095 magnetic (085 true) 2.0 nmi" in said
    assert "INTO the reserve" in said
    assert "New plan from here: one stop" in said


def test_slowing_down_names_the_speed(three: Network, tight: SavedPlan):
    said = told(look(three, tight, 4.0, 5.3), tight)
    assert said.startswith("SLOW TO 16 kn.")
    assert "above the reserve (planned" in said


def test_where_nothing_will_do_help_is_named(three: Network, tight: SavedPlan):
    said = told(look(three, tight, 4.0, 11.0, sure=True), tight)
    assert said.startswith("NOTHING KEEPS THE RESERVE.")
    assert "VHF channel 16" in said


def test_a_leak_says_what_not_to_touch(three: Network):
    saved = plan(three, 60.0)
    said = told(look(three, saved, 4.0, 4.0, report={"gauge_l": 25.0}), saved)
    assert said.startswith("FUEL MAY BE LEAKING: MAKE FOR Half Way Pump.")
    assert "bilge before any switch is touched" in said
    assert "stays in reach" not in said


def test_off_the_route_the_way_is_told(three: Network):
    saved = plan(three, 60.0)
    near = told(look(three, saved, 4.0, 4.4, north_m=1.0 * NMI), saved)
    assert near.startswith("GO ON to East End.")
    assert "Steer " in near
    far = told(look(three, plan(three, 40.0), 4.0, 6.5, north_m=5 * NMI), saved)
    assert far.startswith("FOLLOW THE NEW PLAN: ")


def test_watching_names_the_point_of_no_return():
    """A mile out the low figure has just slipped below the reserve, the mean hasn't: Home is in reach for a while.

    7 kn at a litre a mile, 20.3 l with ten of reserve: 5.1 miles out and back; she never goes further by going slower.
    """
    boat = make_boat(cruising_speed_kn=7.0, no_wake_kn=4.0, speed_kn=(4.0, 7.0), burn_lph=(7.0, 7.0), sd_share=0.1)
    network = water(dock(0, 0, "Home Pump"), boat=boat)
    saved = plan(network, 20.3)
    answer = look(network, saved, 1.0, 1.3, when=WHEN + timedelta(minutes=9))
    said = told(answer, saved)
    assert said.startswith("GO ON FOR NOW, decide at the point of no return. East End would be reached")
    assert answer.turn_by is not None
    assert 20 < answer.turn_by.in_min < 4.1 / 7 * 60
    assert "beyond it Home Pump, the last dock in reach with the reserve whole, no longer is" in said


def test_alongside_and_at_the_end(three: Network):
    saved = plan(three, 18.0)
    stop = saved.plan.stops[0]
    here = Report(when=stop.arrive, position=stop.position, shows_l=(6.1,))
    fill, _ = find_underway(AskedUnderway(saved, three, without_log(BOAT), here))
    assert told(fill, saved).startswith("FILL HERE: Half Way Pump. Take about 88")
    end = Report(when=WHEN + timedelta(minutes=28), position=position(9 * NMI, 0), shows_l=(9.0,))
    whole = plan(three, 60.0)
    there, _ = find_underway(AskedUnderway(whole, three, without_log(BOAT), end))
    assert told(there, whole).startswith("ARRIVED. East End is reached.")


def test_a_track_and_both_instruments_are_told(three: Network):
    saved = plan(three, 60.0)
    said = told(look(three, saved, 4.0, 4.0, report={"gauge_l": 56.0}), saved)
    assert "by the meter, " in said
    assert "by the gauge)" in said
    unread = told(look(three, saved, 4.0, None), saved)
    assert "Neither meter nor gauge was read" in unread
