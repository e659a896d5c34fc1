"""Sunrise, sunset and darkness, against published times and where the sun doesn't rise or set."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from routeplan.sun import find_sun_day, is_dark, last_change, next_change

LONDON, NORTH = (-0.0008, 51.4733), (18.95, 69.65)
LIMIT = timedelta(minutes=1)


def test_times_are_the_published_ones() -> None:
    """Astral's own tests, seen: London, 1 December 2015, sunrise 07:43, sunset 15:55 UTC; within a minute."""
    day = find_sun_day(LONDON, date(2015, 12, 1), ZoneInfo("UTC"))
    assert day.rises is not None
    assert day.sets is not None
    assert abs(day.rises - datetime(2015, 12, 1, 7, 43, tzinfo=UTC)) <= LIMIT
    assert abs(day.sets - datetime(2015, 12, 1, 15, 55, tzinfo=UTC)) <= LIMIT


def test_civil_dawn_is_the_published_one() -> None:
    """The same tests: civil dawn 07:04 that day."""
    day = find_sun_day(LONDON, date(2015, 12, 1), ZoneInfo("UTC"))
    assert day.lit_from is not None
    assert abs(day.lit_from - datetime(2015, 12, 1, 7, 4, tzinfo=UTC)) <= LIMIT


@pytest.mark.parametrize(("day", "up"), [(date(2026, 6, 21), True), (date(2026, 12, 21), False)])
def test_where_the_sun_does_not_set_or_rise_there_are_no_times(day: date, up: bool) -> None:  # noqa: FBT001
    """North of the polar circle (66.6 degrees): midnight sun in June, polar night in December."""
    found = find_sun_day(NORTH, day, ZoneInfo("Europe/Oslo"))
    assert (found.rises, found.sets, found.is_up_at_noon) == (None, None, up)
    noon = datetime(day.year, day.month, day.day, 11, tzinfo=UTC)
    assert is_dark(NORTH, noon) is not up
    assert next_change(NORTH, noon) is None
    assert last_change(NORTH, noon) is None


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Honolulu", "Asia/Kolkata"])
def test_events_are_those_of_the_local_day(zone: str) -> None:
    """At 14 hours before and 10 after UTC an event of the UTC day would be on the wrong date."""
    place = {"Pacific/Kiritimati": (-157.4, 1.9), "Pacific/Honolulu": (-157.9, 21.3), "Asia/Kolkata": (72.8, 18.9)}
    found = find_sun_day(place[zone], date(2026, 3, 20), ZoneInfo(zone))
    for moment, hours in ((found.rises, (5, 7)), (found.sets, (17, 19))):
        assert moment is not None
        local = moment.astimezone(ZoneInfo(zone))
        assert local.date() == date(2026, 3, 20)
        assert hours[0] <= local.hour <= hours[1]


def test_dark_begins_at_sunset() -> None:
    day = find_sun_day(LONDON, date(2026, 3, 20), ZoneInfo("UTC"))
    assert day.sets is not None
    assert not is_dark(LONDON, day.sets - timedelta(minutes=2))
    assert is_dark(LONDON, day.sets + timedelta(minutes=2))
    assert next_change(LONDON, day.sets - timedelta(hours=1)) == day.sets
    assert last_change(LONDON, day.sets + timedelta(hours=1)) == day.sets
