"""Moments as they are written: offsets, clocks that change, times of day alone."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from layers.errors import InputError
from routeplan.moments import read_moment, read_zone, shown_gap, shown_moment, write_moment

if TYPE_CHECKING:
    from collections.abc import Iterator

LISBON = ZoneInfo("Europe/Lisbon")  # UTC in winter, an hour ahead in summer
NOON = datetime(2026, 6, 30, 12, 0, tzinfo=UTC)  # 13:00 in Lisbon


@pytest.fixture
def madeira(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let this computer's clock on the wall be that of Funchal, which keeps Lisbon's hours."""
    monkeypatch.setenv("TZ", "Atlantic/Madeira")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-07-01T08:00Z", "2026-07-01T08:00Z"),
        ("2026-07-01 08:00+02:00", "2026-07-01T06:00Z"),
        ("2026-07-01T08:00", "2026-07-01T07:00Z"),  # by the clock in Lisbon
        ("2026-01-01T08:00", "2026-01-01T08:00Z"),
        ("13:00", "2026-06-30T12:00Z"),  # now
        ("13:10", "2026-06-30T12:10Z"),  # two clocks may differ
        ("13:11", "2026-06-29T12:11Z"),  # yesterday's
        ("0:30", "2026-06-29T23:30Z"),
    ],
)
def test_moments_are_read_by_the_clock_on_the_wall(text: str, utc: str):
    assert write_moment(read_moment(text, "--when", LISBON, now=NOON)) == utc


@pytest.mark.usefixtures("madeira")
def test_this_computers_clock_counts_where_no_zone_is_named():
    assert write_moment(read_moment("2026-07-01T08:00", "--when", "here")) == "2026-07-01T07:00Z"
    assert shown_moment(NOON, "here") == "Tue 30 Jun 2026 13:00 (12:00 UTC)"
    with pytest.raises(InputError, match="clocks of this computer show this time twice"):
        read_moment("2026-10-25T01:30", "--when", "here")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2026-03-29T01:30", "skip this time"),  # clocks go from 1:00 to 2:00
        ("2026-10-25T01:30", "show this time twice"),
        ("2026-07-01", "no time of day"),
        ("1 July 2026", "not a date and time"),
        ("1926-07-01T08:00Z", "years 1970"),
        ("25:00", "not a time of day"),
        ("", "not a date and time"),
    ],
)
def test_what_is_no_moment_is_refused(text: str, why: str):
    with pytest.raises(InputError, match=why) as caught:
        read_moment(text, "--when", LISBON, now=NOON)
    assert caught.value.where == "--when"


def test_an_offset_is_needed_where_no_clock_is_known():
    with pytest.raises(InputError, match="time zone"):
        read_moment("2026-07-01T08:00", "when", None)
    with pytest.raises(InputError, match="not a date and time"):
        read_moment("08:00", "when", None)


def test_zones_have_names_and_misspelt_ones_a_suggestion():
    assert read_zone(" Europe/Lisbon ", "--zone") == LISBON
    with pytest.raises(InputError, match=r"did you mean .*Europe/Lisbon"):
        read_zone("Europe/Lisbonn", "--zone")
    for text in ("", "../../etc/passwd", "x" * 5000):
        with pytest.raises(InputError, match="not a time zone"):
            read_zone(text, "--zone")


def test_moments_are_written_as_short_as_they_read_back():
    for moment in (NOON, NOON + timedelta(seconds=9), NOON + timedelta(microseconds=7)):
        assert read_moment(write_moment(moment), "", None) == moment
    assert write_moment(NOON) == "2026-06-30T12:00Z"


def test_gaps_are_told_in_two_parts():
    assert [shown_gap(timedelta(hours=h)) for h in (0.5, 1.5, 25.0)] == ["30 min", "1 h 30 min", "1 d 1 h"]
