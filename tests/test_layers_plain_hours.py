"""Hours as people write them: what is read, and what is refused because it may be meant in two ways."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from layers import read_hours
from layers.plain_hours import plain_hours

UTC_ZONE = ZoneInfo("UTC")
WEDNESDAY, SATURDAY, SUNDAY = 1, 4, 5  # of July 2026


def is_open(text: str, day: int, hour: float, month: int = 7) -> bool:
    when = datetime(2026, month, day, int(hour), round(hour % 1 * 60), tzinfo=UTC)
    return read_hours(plain_hours(text), UTC_ZONE).is_open(when)


@pytest.mark.parametrize(
    ("text", "opens", "shuts"),
    [
        ("8am-6pm daily", 8, 18),
        ("every day 9-17", 9, 17),
        ("9-17", 9, 17),
        ("8.30am - 5.30pm", 8.5, 17.5),
        ("8-6pm", 8, 18),
        ("10-4pm", 10, 16),
        ("0800-1800", 8, 18),
        ("8h-18h", 8, 18),
        ("8am to noon", 8, 12),
        ("Mon\u2013Fri 9am\u20135pm", 9, 17),
        ("weekdays from 9 to 17", 9, 17),
        ("6-12, 14-18", 6, 12),
        ("7 days 8am-8pm", 8, 20),
        ("8:00-18:00", 8, 18),
    ],
)
def test_hours_of_a_wednesday(text: str, opens: float, shuts: float):
    assert not is_open(text, WEDNESDAY, opens - 0.05)
    assert is_open(text, WEDNESDAY, opens)
    assert is_open(text, WEDNESDAY, shuts - 0.05)
    assert not is_open(text, WEDNESDAY, shuts)


@pytest.mark.parametrize("text", ["24h", "24 hrs", "24 hours", "24/7", "24-7", "always open", "open 24 hours"])
def test_what_never_shuts(text: str):
    assert plain_hours(text) == "24/7"


def test_days_and_months():
    text = "Mon-Fri 8-18, Sat 9-13; Sun closed"
    assert [is_open(text, day, 10) for day in (WEDNESDAY, SATURDAY, SUNDAY)] == [True, True, False]
    assert [is_open(text, day, 15) for day in (WEDNESDAY, SATURDAY, SUNDAY)] == [True, False, False]
    assert [is_open("8am-6pm daily, closed Sun", day, 10) for day in (SATURDAY, SUNDAY)] == [True, False]
    assert [is_open("Apr-Oct 8-20", 1, 10, month) for month in (3, 4, 10, 11)] == [False, True, True, False]
    assert [is_open("mon, wed 8-18", day, 10) for day in (WEDNESDAY, SATURDAY)] == [True, False]
    assert is_open("8pm-2am", WEDNESDAY, 23)


@pytest.mark.parametrize(
    "text",
    [
        "8-6",
        "9-5",
        "7-11",
        "8-12",
        "1-5",
        "9-11pm",
        "8am-6",
        "9:00-5:00",
        "22-6",
        "8-25",
        "on request",
        "summer 8-18",
        "daily",
    ],
)
def test_what_may_be_meant_in_two_ways_is_not_read(text: str):
    assert plain_hours(text) == ""


def test_hours_in_their_own_syntax_stay_as_they_are():
    for text in ("Mo-Fr 08:00-18:00; PH off", "Mar 9-17", "sunrise-sunset", "22:00-6:00"):
        assert plain_hours(text) == text
