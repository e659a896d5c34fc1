"""Docks' hours as a search meets them: midnight, clocks put forward and back, seasons; by hand, and minute by minute.

The rule: a dock is open when the clock on its wall says so. The watchman below asks it for every minute, with Python's
own zones and no evaluator of hours; times of clock changes are those of the IANA database (from memory, and held
against zoneinfo here).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import networkx as nx
import numpy as np
import pytest

from layers.hours import NeverOpensError, read_hours
from routeplan.docks import Dock
from routeplan.problem import Problem
from routeplan.search import find_labels
from routeplan.tracks import Track

if TYPE_CHECKING:
    from collections.abc import Callable

    from routeplan.problem import FillUp

MINUTE = timedelta(minutes=1)
FILL_MIN = 20  # of the fill below: 10 min of berthing and 60 l at 6 l a minute


def a_problem(hours: str, zone: str, depart: datetime) -> Problem:
    """Two hours to the only dock, one hour on; 60 l aboard at departure, 100 at the mark, 20 l to the dock."""

    def track(time_h: float, fuel_l: float) -> Track:
        return Track(np.zeros((2, 2)), ("leg",), 20 * time_h, time_h, fuel_l, (), ())

    graph = nx.MultiDiGraph()
    graph.add_edge(0, 2, track=track(2.0, 20.0))
    graph.add_edge(2, 1, track=track(1.0, 85.0))
    dock = Dock(
        name="Pier",
        row=0,
        position=(0, 0),
        hours=read_hours(hours, ZoneInfo(zone)),
        price_per_l=2.0,
        pump_lpm=6.0,
        largest_sale_l=None,
        why_not=(),
        cautions=(),
        stale=(),
        missing=(),
        facts={},
    )
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=()), region=SimpleNamespace(zone=ZoneInfo(zone)))
    return Problem(
        network=network,
        graph=graph,
        docks={2: dock},
        start=0,
        targets=(1,),
        depart=depart,
        mean_l=60.0,
        sd_l=0.0,
        full_l=100.0,
        full_sd_l=0.0,
        floor_l=10.0,
        sd_share=0.0,
        z=0.0,
        berthing_h=1 / 6,
        may_wait=frozenset(graph),
    )


def fill_of(problem: Problem) -> FillUp:
    (end,) = find_labels(problem)
    fill = end.path()[1].fill
    assert fill is not None
    assert end.time_h == pytest.approx(fill.end_h + 1)
    assert fill.begin_h == pytest.approx(2 + fill.wait_h)
    return fill


def begins(hours: str, zone: str, arrive: str) -> str:
    """Tell when a fill begins that the boat arrives for at a moment, both in UTC."""
    depart = datetime.fromisoformat(arrive).replace(tzinfo=UTC) - timedelta(hours=2)
    begin = depart + timedelta(hours=fill_of(a_problem(hours, zone, depart)).begin_h)
    return f"{begin.replace(second=0, microsecond=0) + round(begin.second / 60) * MINUTE:%Y-%m-%d %H:%M}"


NEW_YORK, LORD_HOWE, AZORES = "America/New_York", "Australia/Lord_Howe", "Atlantic/Azores"


@pytest.mark.parametrize(
    ("zone", "before", "change", "after"),
    [
        (NEW_YORK, "-05:00", "2026-03-08T07:00", "-04:00"),
        (NEW_YORK, "-04:00", "2026-11-01T06:00", "-05:00"),
        (LORD_HOWE, "+11:00", "2026-04-04T15:00", "+10:30"),
        (LORD_HOWE, "+10:30", "2026-10-03T15:30", "+11:00"),
        (AZORES, "-01:00", "2026-03-29T01:00", "+00:00"),
        (AZORES, "+00:00", "2026-10-25T01:00", "-01:00"),
    ],
)
def test_clocks_change_when_the_cases_below_say(zone: str, before: str, change: str, after: str) -> None:
    moment = datetime.fromisoformat(change).replace(tzinfo=UTC)
    seen = [(moment + step).astimezone(ZoneInfo(zone)).isoformat()[-6:] for step in (-MINUTE, 0 * MINUTE)]
    assert seen == [before, after]


@pytest.mark.parametrize(
    ("hours", "arrive", "begin"),
    [
        ("22:00-02:00", "2026-07-01T21:00", "2026-07-01 22:00"),
        ("22:00-02:00", "2026-07-01T23:50", "2026-07-01 23:50"),  # done at 00:10
        ("22:00-02:00", "2026-07-02T00:00", "2026-07-02 00:00"),
        ("22:00-02:00", "2026-07-02T01:40", "2026-07-02 01:40"),  # done at 02:00, as it shuts
        ("22:00-02:00", "2026-07-02T01:41", "2026-07-02 22:00"),
        ("22:00-24:00", "2026-07-01T23:41", "2026-07-02 22:00"),
        ("00:00-02:00,22:00-24:00", "2026-07-01T23:45", "2026-07-01 23:45"),  # it doesn't shut at midnight
        ("Fr 22:00-02:00", "2026-07-02T23:00", "2026-07-03 22:00"),  # 3 July 2026 is a Friday
        ("Fr 22:00-02:00", "2026-07-04T00:30", "2026-07-04 00:30"),
        ("Fr 22:00-02:00", "2026-07-04T01:50", "2026-07-10 22:00"),
        ("Mo-Fr 08:00-18:00", "2026-07-03T17:50", "2026-07-06 08:00"),
        ("Sa,Su 00:00-24:00", "2026-07-04T23:50", "2026-07-04 23:50"),
        ("Sa 00:00-24:00", "2026-07-04T23:50", "2026-07-11 00:00"),
        ("Dec 31 20:00-03:00", "2026-12-31T23:55", "2026-12-31 23:55"),  # over the new year
    ],
)
def test_fills_about_midnight(hours: str, arrive: str, begin: str) -> None:
    """Of 20 minutes, within one opening, which may span midnight."""
    assert begins(hours, "UTC", arrive) == begin


@pytest.mark.parametrize(
    ("zone", "hours", "arrive", "begin"),
    [
        # New York, 8 March: 01:59 EST (06:59 UTC) is followed by 03:00 EDT (07:00 UTC).
        (NEW_YORK, "01:00-03:30", "2026-03-08T07:05", "2026-03-08 07:05"),
        (NEW_YORK, "01:00-03:30", "2026-03-08T07:15", "2026-03-09 05:00"),  # shuts at 07:30, a fill would take till :35
        (NEW_YORK, "22:00-02:00", "2026-03-08T06:40", "2026-03-08 06:40"),
        (NEW_YORK, "22:00-02:00", "2026-03-08T06:41", "2026-03-09 02:00"),  # 22:00 is at 02:00 UTC from now on
        (NEW_YORK, "02:15-02:45", "2026-03-08T05:00", "2026-03-09 06:15"),  # no such half hour that night
        (NEW_YORK, "08:00-18:00", "2026-03-07T12:30", "2026-03-07 13:00"),
        (NEW_YORK, "08:00-18:00", "2026-03-07T23:30", "2026-03-08 12:00"),
        # New York, 1 November: 01:59 EDT (05:59 UTC) is followed by 01:00 EST (06:00 UTC).
        (NEW_YORK, "22:00-02:00", "2026-11-01T06:40", "2026-11-01 06:40"),  # open for five hours that night
        (NEW_YORK, "22:00-02:00", "2026-11-01T06:41", "2026-11-02 03:00"),
        (NEW_YORK, "08:00-18:00", "2026-10-31T11:30", "2026-10-31 12:00"),
        (NEW_YORK, "08:00-18:00", "2026-11-01T12:30", "2026-11-01 13:00"),
        (NEW_YORK, "Su 08:00-18:00", "2026-11-01T02:00", "2026-11-01 13:00"),
        # Lord Howe Island changes by half an hour: 4 October, 02:00 +10:30 to 02:30 +11:00, at 15:30 UTC on the 3rd.
        (LORD_HOWE, "01:00-03:00", "2026-10-03T15:40", "2026-10-03 15:40"),
        (LORD_HOWE, "01:00-03:00", "2026-10-03T15:41", "2026-10-04 14:00"),
        (LORD_HOWE, "08:00-18:00", "2026-10-02T21:00", "2026-10-02 21:30"),
        (LORD_HOWE, "08:00-18:00", "2026-10-03T20:30", "2026-10-03 21:00"),
        (LORD_HOWE, "08:00-18:00", "2026-04-04T20:30", "2026-04-04 21:30"),
    ],
)
def test_fills_on_the_days_that_clocks_change(zone: str, hours: str, arrive: str, begin: str) -> None:
    """Arrivals and begins in UTC, worked out by hand from the changes above."""
    assert begins(hours, zone, arrive) == begin


@pytest.mark.parametrize(
    ("zone", "hours", "arrive", "begin"),
    [
        # New York, 1 November: the hour from 01:00 comes twice, at 05:00 and at 06:00 UTC.
        (NEW_YORK, "00:30-01:30", "2026-11-01T05:10", "2026-11-01 05:10"),
        (NEW_YORK, "00:30-01:30", "2026-11-01T05:11", "2026-11-01 06:00"),  # its clock shows 01:00 again
        (NEW_YORK, "00:30-01:30", "2026-11-01T06:11", "2026-11-02 05:30"),
        (NEW_YORK, "01:30-05:00", "2026-11-01T05:00", "2026-11-01 05:30"),
        (NEW_YORK, "01:30-05:00", "2026-11-01T05:45", "2026-11-01 06:30"),  # its clock goes back before it is done
        (AZORES, "00:30-01:30", "2026-10-25T00:15", "2026-10-25 00:30"),
        (LORD_HOWE, "01:45-04:00", "2026-04-04T14:30", "2026-04-04 15:15"),  # 15 min from 14:45 on are too short
    ],
)
def test_fills_in_the_hour_that_comes_twice(zone: str, hours: str, arrive: str, begin: str) -> None:
    """Open whenever the clock on the wall says so; arrivals and begins in UTC."""
    assert begins(hours, zone, arrive) == begin


@pytest.mark.parametrize(
    ("zone", "hours", "arrive", "begin"),
    [
        ("UTC", "Apr-Oct 08:00-18:00", "2026-10-31T17:40", "2026-10-31 17:40"),
        ("UTC", "Apr-Oct 08:00-18:00", "2026-10-31T17:41", "2027-04-01 08:00"),
        ("UTC", "Apr-Oct 08:00-18:00", "2027-03-31T12:00", "2027-04-01 08:00"),
        ("UTC", "Apr-Oct 08:00-18:00; Nov-Mar 10:00-16:00", "2026-10-31T17:50", "2026-11-01 10:00"),
        ("UTC", "Apr-Oct", "2026-10-31T23:50", "2027-04-01 00:00"),
        ("UTC", "Apr-Oct 22:00-02:00", "2026-11-01T01:00", "2026-11-01 01:00"),  # October's last night
        ("UTC", "Nov-Feb 10:00-14:00", "2026-12-31T15:00", "2027-01-01 10:00"),
        ("UTC", "Jun 15-Sep 15 09:00-17:00", "2026-09-15T16:50", "2027-06-15 09:00"),
        ("UTC", "Apr-Oct Mo-Fr 08:00-18:00", "2026-10-30T18:00", "2027-04-01 08:00"),  # a Friday, and a Thursday
        (NEW_YORK, "Apr-Oct", "2026-11-01T03:40", "2026-11-01 03:40"),  # October ends at 04:00 UTC there
        (NEW_YORK, "Apr-Oct", "2026-11-01T03:41", "2027-04-01 04:00"),
        (NEW_YORK, "Apr-Oct 08:00-18:00; Nov-Mar 08:00-17:00", "2026-10-31T22:00", "2026-11-01 13:00"),
    ],
)
def test_fills_about_the_ends_of_a_season(zone: str, hours: str, arrive: str, begin: str) -> None:
    """A boat may have to wait for spring; a plan says so, and another dock will do better."""
    assert begins(hours, zone, arrive) == begin


def test_a_season_that_is_over_for_good_is_no_plan() -> None:
    for hours in ("2025 Apr-Oct 08:00-18:00", "08:00-08:19"):  # the fill takes 20 min
        assert find_labels(a_problem(hours, "UTC", datetime(2026, 7, 1, tzinfo=UTC))) == []
    assert find_labels(a_problem("08:00-08:20", "UTC", datetime(2026, 7, 1, tzinfo=UTC)))


def between(begin: str, end: str) -> Callable[[time], bool]:
    """Tell whether a wall clock is within a span of the day that doesn't pass midnight."""
    first, last = time.fromisoformat(begin), time.fromisoformat(end) if end != "24:00" else None
    return lambda clock: first <= clock and (last is None or clock < last)


def seasonal(day: date, clock: time) -> bool:
    return between("08:00", "18:00")(clock) if 4 <= day.month <= 10 else between("10:00", "16:00")(clock)


def overnight(day: date, clock: time) -> bool:
    """Fridays and Saturdays from 22:00 to 02:15 of the next day."""
    return (day.weekday() in {4, 5} and between("22:00", "24:00")(clock)) or (
        day.weekday() in {5, 6} and between("00:00", "02:15")(clock)
    )


WATCHED: dict[str, Callable[[date, time], bool]] = {
    "08:00-12:00,13:00-17:30": lambda _, clock: between("08:00", "12:00")(clock) or between("13:00", "17:30")(clock),
    "22:00-02:00": lambda _, clock: between("22:00", "24:00")(clock) or between("00:00", "02:00")(clock),
    "Apr-Oct 08:00-18:00; Nov-Mar 10:00-16:00": seasonal,
    "Fr,Sa 22:00-02:15": overnight,
    "01:20-01:50,02:10-02:40": lambda _, clock: between("01:20", "01:50")(clock) or between("02:10", "02:40")(clock),
    "Su 01:15-09:00": lambda day, clock: day.weekday() == 6 and between("01:15", "09:00")(clock),
}
CHANGES = [
    (NEW_YORK, datetime(2026, 3, 8, 7, tzinfo=UTC)),
    (NEW_YORK, datetime(2026, 11, 1, 6, tzinfo=UTC)),
    (LORD_HOWE, datetime(2026, 4, 4, 15, tzinfo=UTC)),
    (LORD_HOWE, datetime(2026, 10, 3, 15, 30, tzinfo=UTC)),
    (AZORES, datetime(2026, 3, 29, 1, tzinfo=UTC)),
    (AZORES, datetime(2026, 10, 25, 1, tzinfo=UTC)),
]


def watched_begin(rule: Callable[[date, time], bool], zone: str, arrive: datetime) -> datetime:
    """Look at the wall clock minute by minute until it has been open for as long as a fill takes."""
    place, moment, run = ZoneInfo(zone), arrive, 0
    while run < FILL_MIN:
        there = moment.astimezone(place)
        run = run + 1 if rule(there.date(), there.time()) else 0
        moment += MINUTE
    return moment - FILL_MIN * MINUTE


@pytest.mark.parametrize("hours", WATCHED)
@pytest.mark.parametrize(("zone", "change"), CHANGES)
def test_fills_begin_when_a_watchman_says(hours: str, zone: str, change: datetime) -> None:
    """Arrivals strewn over the days about a change of clocks, half of them within three hours of it."""
    rng = np.random.default_rng([ord(c) for c in hours + zone])
    near, far = rng.integers(-180, 180, 6), rng.integers(-4000, 2000, 6)
    problem = a_problem(hours, zone, change)
    for minutes in [*near, *far]:
        arrive = change + int(minutes) * MINUTE
        wanted = watched_begin(WATCHED[hours], zone, arrive)
        one = a_problem(hours, zone, arrive - timedelta(hours=2))
        found = one.depart + timedelta(hours=fill_of(one).begin_h)
        assert abs(found - wanted) < timedelta(milliseconds=1), arrive
        lasts = timedelta(minutes=FILL_MIN)
        asked_before = problem.docks[2].hours  # the same hours, asked for all these moments one after the other
        assert asked_before is not None
        assert asked_before.next_open_for(arrive, lasts) == wanted, arrive


def test_answers_do_not_depend_on_what_was_asked_before() -> None:
    """Of the next opening, the next one that is long enough, and none at all, at moments in no order."""
    rng = np.random.default_rng(5)
    for text in (*WATCHED, "Jan 1 10:00-12:00", "week 30 08:00-10:00", "2026 Mo 10:00-11:00", "24/7", "2028 Feb"):
        used = read_hours(text, ZoneInfo(NEW_YORK))
        for _ in range(6):
            when = datetime(2026, 1, 1, tzinfo=UTC) + int(rng.integers(0, 600 * 24 * 60)) * MINUTE
            lasts = int(rng.choice([5, 60, 120, 1500])) * MINUTE
            answers: list[datetime | None] = []
            for hours in (used, read_hours(text, ZoneInfo(NEW_YORK))):
                try:
                    answers.append(hours.next_open_for(when, lasts))
                except NeverOpensError:
                    answers.append(None)
            assert answers[0] == answers[1], (text, when, lasts)
