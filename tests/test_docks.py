"""Fuel docks as a boat meets them: what suits, what is missing, what to heed, and when a fill can begin."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from oracles.small_world import dock, make_boat, make_region

from layers.hours import NeverOpensError
from routeplan.docks import DEFAULT_PUMP_LPM, STALE_DAYS, Dock, read_docks

if TYPE_CHECKING:
    from routeplan.boats import Boat

TODAY = date(2026, 7, 1)
SURE = {"confirmed_on": "2026-06-01"}


def _one(boat: Boat | None = None, *, known_only: bool = False, zone: str = "UTC", **columns: object) -> Dock:
    region = make_region(zone=zone, docks=[dock(0, 0, "Pier", **(SURE | columns))])
    (found,) = read_docks(region, boat or make_boat(), 0.5, TODAY, known_only=known_only)
    return found


def test_a_plain_dock_suits_without_a_word() -> None:
    found = _one()
    assert (found.suits, found.why_not, found.cautions, found.missing) == (True, (), (), ())
    assert (found.name, found.row, found.price_per_l, found.pump_lpm) == ("Pier", 0, 2.0, DEFAULT_PUMP_LPM)
    assert found.position == pytest.approx((-38.0, 44.0))


@pytest.mark.parametrize(
    ("columns", "word"),
    [
        ({"fuels": "diesel"}, "gasoline"),
        ({"depth_m": 1.4}, "shallow"),  # 1.0 m of draught and 0.5 m under the keel
        ({"max_length_m": 7.9}, "short"),  # the boat is 8 m
        ({"members_only": True}, "members"),
        ({"ethanol_share": 0.15}, "ethanol"),
    ],
)
def test_what_does_not_suit_says_why(columns: dict[str, object], word: str) -> None:
    found = _one(**columns)
    assert not found.suits
    assert len(found.why_not) == 1
    assert word in found.why_not[0]


@pytest.mark.parametrize(
    "columns", [{"depth_m": 1.5}, {"max_length_m": 8.0}, {"ethanol_share": 0.1}, {"fuels": "diesel,gasoline"}]
)
def test_what_just_suits_suits(columns: dict[str, object]) -> None:
    assert _one(**columns).suits


def test_all_reasons_come_at_once() -> None:
    assert len(_one(fuels="diesel", depth_m=0.3, max_length_m=5.0).why_not) == 3


@pytest.mark.parametrize(
    ("column", "word"),
    [("opening_hours", "hours"), ("depth_m", "depth"), ("max_length_m", "length"), ("price_gasoline_per_l", "price")],
)
def test_what_nobody_filled_in_suits_with_a_caution_unless_only_known_docks_are_wanted(column: str, word: str) -> None:
    found = _one(**{column: None})
    assert found.suits
    assert word in found.missing
    assert any(word in c for c in found.cautions)
    strict = _one(known_only=True, **{column: None})
    assert not strict.suits
    assert any(word in w for w in strict.why_not)


def test_the_price_is_that_of_the_boats_fuel() -> None:
    columns = {"fuels": "gasoline,diesel", "price_diesel_per_l": 1.5}
    assert _one(**columns).price_per_l == 2.0
    assert _one(make_boat(fuel="diesel"), **columns).price_per_l == 1.5


def test_docks_grow_stale() -> None:
    fresh = (TODAY - timedelta(days=STALE_DAYS)).isoformat()
    old = (TODAY - timedelta(days=STALE_DAYS + 1)).isoformat()
    assert _one(confirmed_on=fresh).cautions == ()
    assert "confirmed" in _one(confirmed_on=old).cautions[0]
    assert "confirmed" in _one(confirmed_on=None).cautions[0]
    assert "2 years" in _one(confirmed_on="2024-06-01").cautions[0]


def test_a_fill_lasts_its_berthing_and_its_pumping() -> None:
    """90 l at 45 l/min are 2 min; a quarter of an hour alongside."""
    assert _one(pump_lpm=45.0).fill_h(90, 0.25) == pytest.approx(0.25 + 2 / 60)


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("hours", "arrive", "lasts_h", "begin"),
    [
        ("08:00-18:00", "2026-07-01T09:00", 1, "2026-07-01T09:00"),
        ("08:00-18:00", "2026-07-01T17:00", 1, "2026-07-01T17:00"),  # done on the stroke
        ("08:00-18:00", "2026-07-01T17:01", 1, "2026-07-02T08:00"),
        ("08:00-18:00", "2026-07-01T06:30", 1, "2026-07-01T08:00"),
        ("08:00-12:00,13:00-18:00", "2026-07-01T11:30", 1, "2026-07-01T13:00"),
        ("Mo-Fr 08:00-18:00", "2026-07-03T17:30", 1, "2026-07-06T08:00"),  # a Friday evening
        ("22:00-02:00", "2026-07-01T23:30", 1, "2026-07-01T23:30"),
        ("22:00-02:00", "2026-07-02T01:30", 1, "2026-07-02T22:00"),
        ("24/7", "2026-07-01T03:00", 20, "2026-07-01T03:00"),
        ("Jul 04 10:00-12:00", "2026-07-01T03:00", 1, "2026-07-04T10:00"),
    ],
)
def test_a_fill_begins_when_it_can_be_finished(hours: str, arrive: str, lasts_h: float, begin: str) -> None:
    assert _one(opening_hours=hours).begin_fill(_at(arrive), lasts_h) == _at(begin)


def test_hours_follow_the_clock_on_the_wall() -> None:
    """25 October 2026: the Azores go from UTC to UTC-1 at 01:00 UTC; 08:00 there is 09:00 UTC from then on."""
    found = _one(zone="Atlantic/Azores", opening_hours="08:00-18:00")
    assert found.begin_fill(_at("2026-10-24T07:00"), 1) == _at("2026-10-24T08:00")
    assert found.begin_fill(_at("2026-10-24T19:00"), 1) == _at("2026-10-25T09:00")


def test_an_hour_that_clocks_repeat_is_open_for_both() -> None:
    """00:00-02:00 on the night of the change lasts three hours: from 00:00 to 03:00 UTC."""
    found = _one(zone="Atlantic/Azores", opening_hours="00:00-02:00")
    assert found.begin_fill(_at("2026-10-25T00:00"), 2.9) == _at("2026-10-25T00:00")


def test_a_fill_longer_than_any_opening_never_begins() -> None:
    with pytest.raises(NeverOpensError):
        _one(opening_hours="08:00-09:00").begin_fill(_at("2026-07-01T00:00"), 1.5)


def test_unknown_hours_count_as_open_and_are_missing() -> None:
    found = _one(opening_hours=None)
    assert found.begin_fill(_at("2026-07-01T03:00"), 1) == _at("2026-07-01T03:00")
    assert "hours" in found.missing


def test_hours_by_arrangement_alone_count_as_unknown() -> None:
    found = _one(opening_hours='"on request"')
    assert found.hours is None
    assert "hours" in found.missing
    assert any("arrangement" in c for c in found.cautions)
