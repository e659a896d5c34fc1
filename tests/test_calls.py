"""Whom to call: each dock once, with all that the plan wants of it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from faces import LEAVES, a_plan, a_stop, an_alternate, write_boat

from routeplan.boats import read_boat
from routeplan.calls import find_calls
from routeplan.plan_words import PlanWords

if TYPE_CHECKING:
    from routeplan.plans import Stop


@pytest.fixture(scope="module")
def words(tmp_path_factory: pytest.TempPathFactory) -> PlanWords:
    """Speak for the plain boat at 20 kn."""
    boat = read_boat(write_boat(tmp_path_factory.mktemp("calls") / "boat.toml"))
    return PlanWords(boat, ZoneInfo("Atlantic/Azores"), "EUR", 20.0)


@pytest.fixture
def bare() -> Stop:
    """Make a second stop, shortly before midnight, of which nothing is known."""
    unknown = {"cost": None, "price_per_l": None, "confirmed_on": None, "hours": None, "vhf": None, "phone": None}
    arrive = LEAVES + timedelta(hours=15, minutes=50)
    cautions = ("depth, length, hours, price not known: call ahead",)
    return a_stop(dock="Bare Pump", arrive=arrive, to_mark=False, take_l=20.04, cautions=cautions, **unknown)


def test_each_dock_is_called_once_in_the_plan_s_order(bare: Stop) -> None:
    """Other Pump is behind both stops; Bare Pump is the second stop, and the next fuel after the end."""
    calls = find_calls(a_plan(a_stop(), bare, onward=an_alternate(name="Bare Pump")))
    assert [call.dock for call in calls] == ["North Pump", "Other Pump", "Bare Pump"]
    assert [[(need.kind, need.after) for need in call.needs] for call in calls] == [
        [("stop", None)],
        [("alternate", "North Pump"), ("alternate", "Bare Pump")],
        [("stop", None), ("onward", "East Mark")],
    ]


def test_a_dock_must_be_open_from_the_fill_s_beginning_to_its_end() -> None:
    """Not from the arrival on, where the boat waits for the opening."""
    begin = LEAVES + timedelta(hours=23)
    other = an_alternate(wait_h=2.0)
    stop = a_stop(begin=begin, depart=begin + timedelta(minutes=20), take_l=20.0, to_mark=False, alternate=other)
    north, behind = (call.needs[0] for call in find_calls(a_plan(stop)))
    assert (north.open_from, north.open_until) == (stop.begin, stop.depart)
    assert (north.take_l, north.to_mark) == (20.0, False)
    assert (behind.open_from, behind.open_until) == (other.begin, other.depart)
    assert (behind.take_l, behind.to_mark) == (72.0, True)


def test_what_sells_nothing_is_not_called() -> None:
    """Such as the destination, where it is the alternate."""
    ashore = an_alternate(name="East Mark", take_l=None, hours=None, price_per_l=None)
    assert [call.dock for call in find_calls(a_plan(a_stop(alternate=ashore)))] == ["North Pump"]
    assert [call.dock for call in find_calls(a_plan(a_stop(alternate=None)))] == ["North Pump"]
    assert find_calls(a_plan()) == ()


def test_a_call_is_told_with_all_that_is_to_be_asked(words: PlanWords, bare: Stop) -> None:
    told = ("\n".join(words.call_lines(call)) for call in find_calls(a_plan(a_stop(), bare)))
    north, other, unknown = told
    for said, parts in (
        (north, ("VHF 12; phone +000 111", "Must be open from Wed 1 Jul 09:00 to 09:20", "about 62.0 l of gasoline")),
        (north, ("to the full mark", "06:00-22:00", "EUR 2.000/l", "Last confirmed 2026-06-01")),
        (other, ("If North Pump is closed: must be open from Wed 1 Jul 09:15 to 09:33", "about 72.0 l", "EUR 2.500/l")),
        (other, ("If Bare Pump is closed: must be open", "Last confirmed 2026-06-02")),
        (unknown, ("No VHF channel or phone number known", "from Wed 1 Jul 23:50 to Thu 2 Jul 00:10")),
        (unknown, ("20.1 l of gasoline, no less", "Hours not known", "price not known", "Never confirmed")),
        (unknown, ("Heed: depth, length, hours, price not known",)),
    ):
        assert all(part in said for part in parts), said


def test_the_next_fuel_is_told_as_such(words: PlanWords) -> None:
    (call,) = find_calls(a_plan(onward=an_alternate()))
    assert "Next fuel after East Mark: must be open" in "\n".join(words.call_lines(call))
