"""Opening hours against the values of OpenStreetMap's own evaluator, and what we ask of them besides."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layers import Hours, InputError, NeverOpensError, read_hours

UTC_ZONE = ZoneInfo("UTC")
AZORES = ZoneInfo("Atlantic/Azores")

# Seen in test.js of https://github.com/AMDmi3/opening_hours.js at commit 00b30d89: the text, the stretch of time that
# is looked at, and when it is open within; local times. Stretches that are "unknown" there are not open here.
SEEN = [
    ("10:00-14:00; 12:00-14:00 off", "2012-10-01", "2012-10-03", ["01 10:00/01 12:00", "02 10:00/02 12:00"]),
    ("open; Mo 15:00-16:00 off", "2012-10-01", "2012-10-08", ["01 00:00/01 15:00", "01 16:00/08 00:00"]),
    ('24/7 closed "always closed"', "2012-10-01", "2012-10-08", []),
    ("22:00-26:00", "2012-10-01", "2012-10-03", ["01 00:00/01 02:00", "01 22:00/02 02:00", "02 22:00/03 00:00"]),
    ("We 22:00-22:00", "2012-10-01", "2012-10-08", ["03 22:00/04 22:00"]),
    ("Tu 23:59-48:00", "2012-10-01", "2012-10-08", ["02 23:59/04 00:00"]),
    (
        "22:00-02:00; Tu 12:00-14:00",
        "2012-10-01",
        "2012-10-05",
        [
            *("01 00:00/01 02:00", "01 22:00/02 00:00", "02 12:00/02 14:00", "03 00:00/03 02:00"),
            *("03 22:00/04 02:00", "04 22:00/05 00:00"),
        ],
    ),
    (
        "Su-Tu 11:00-01:00, We-Th 11:00-03:00, Fr 11:00-06:00, Sa 11:00-07:00",
        "2012-10-01",
        "2012-10-08",
        [
            *("01 00:00/01 01:00", "01 11:00/02 01:00", "02 11:00/03 01:00", "03 11:00/04 03:00"),
            *("04 11:00/05 03:00", "05 11:00/06 06:00", "06 11:00/07 07:00", "07 11:00/08 00:00"),
        ],
    ),
    (
        "Mo,Tu,Th,Fr 12:00-18:00; Sa 12:00-17:00; Th[3],Th[-1] off",
        "2012-10-15",
        "2012-10-28",
        [
            *("15 12:00/15 18:00", "16 12:00/16 18:00", "19 12:00/19 18:00", "20 12:00/20 17:00"),
            *("22 12:00/22 18:00", "23 12:00/23 18:00", "26 12:00/26 18:00", "27 12:00/27 17:00"),
        ],
    ),
    (
        "Mo-Fr 09:00-12:00, Mo,Tu,Th 15:00-18:00",
        "2014-09-01",
        "2014-09-08",
        [
            *("01 09:00/01 12:00", "01 15:00/01 18:00", "02 09:00/02 12:00", "02 15:00/02 18:00"),
            *("03 09:00/03 12:00", "04 09:00/04 12:00", "04 15:00/04 18:00", "05 09:00/05 12:00"),
        ],
    ),
    (
        "Mo off, Tu 14:00-18:00, We-Sa 10:00-18:00",
        "2014-01-06",
        "2014-01-13",
        [
            *("07 14:00/07 18:00", "08 10:00/08 18:00", "09 10:00/09 18:00", "10 10:00/10 18:00"),
            "11 10:00/11 18:00",
        ],
    ),
    (
        "Mo,Tu,We,Th 12:00-20:00; 14:00-16:00 off",
        "2012-10-01",
        "2012-10-08",
        [
            *("01 12:00/01 14:00", "01 16:00/01 20:00", "02 12:00/02 14:00", "02 16:00/02 20:00"),
            *("03 12:00/03 14:00", "03 16:00/03 20:00", "04 12:00/04 14:00", "04 16:00/04 20:00"),
        ],
    ),
    (
        "Jun 15-Sep 15: Th-Su 16:00-19:00; Sep 16-Dec 31: Sa,Su 16:00-19:00; Jan,Feb,Mar off; Dec 25,easter off",
        "2013-12-20",
        "2013-12-31",
        ["21 16:00/21 19:00", "22 16:00/22 19:00", "28 16:00/28 19:00", "29 16:00/29 19:00"],
    ),
    ("Nov 1-20,Dec", "2014-11-01", "2014-11-30", ["01 00:00/21 00:00"]),
    ("easter", "2014-04-01", "2014-04-30", ["20 00:00/21 00:00"]),
    ('Fr 08:00-12:00, Fr 12:00-16:00 open "Notfallsprechstunde"', "2012-10-01", "2012-10-08", ["05 08:00/05 16:00"]),
    ('Oct-Dec "on request"; Apr-Sep', "2012-09-28", "2012-09-30", ["28 00:00/30 00:00"]),
    ('Oct-Dec "on request"; Apr-Sep', "2012-10-01", "2012-10-31", []),
    ('Mo 19:00-05:00 || "Sonderführungen nach Vereinbarung."', "2014-01-06", "2014-01-13", ["06 19:00/07 05:00"]),
]

# Seen in the same file, addShouldFail.
SEEN_WRONG = [
    *("", "sdasdlasdj a3reaw", ";", "||", " ", "\n", "27:00-29:00", "14:/", "14:00/", "14:00-/", "11", "11am"),
    *("21:00-22:60", "21:60-22:59", "Su-PH", "Jan,,,Dec", "Mo,,Th", "23:00-55:00", "12:00-15:00/1:"),
    *("Jun 0-Aug 23", "Feb 30-Aug 2", "Jun 2-Aug 42", "Jun 2-Aug 32", "Jun 2-32", "Jun 32-34", "Jun 32"),
    *("Jun 30-24", "(sunrise+01:00-sunset", "dusk;dawn", "2014-", "12:00", "25am-26pm"),
]


def open_stretches(hours: Hours, start: datetime, end: datetime) -> list[str]:
    """Walk from change to change, as a plan does."""
    stretches, moment = [], start
    while moment < end:
        change = min(hours.next_change(moment) or end, end)
        if hours.is_open(moment):
            stretches.append(f"{moment:%d %H:%M}/{change:%d %H:%M}")
        moment = change
    return stretches


@pytest.mark.parametrize(("text", "start", "end", "expected"), SEEN)
def test_open_as_the_evaluator_of_openstreetmap_has_it(text: str, start: str, end: str, expected: list[str]):
    first, last = (datetime.fromisoformat(day).replace(tzinfo=UTC) for day in (start, end))
    assert open_stretches(read_hours(text, UTC_ZONE), first, last) == expected


@pytest.mark.parametrize("text", SEEN_WRONG)
def test_what_that_evaluator_refuses_is_refused(text: str):
    with pytest.raises(InputError) as caught:
        read_hours(text, UTC_ZONE)
    assert caught.value.where == "opening hours"
    assert caught.value.remedy


def test_a_fault_is_told_by_its_place():
    with pytest.raises(InputError, match="from character 7 on, '8-18'") as caught:
        read_hours("Mo-Fr 8-18", UTC_ZONE)
    assert caught.value.value == "Mo-Fr 8-18"


def test_hours_cut_short_are_told_so():
    with pytest.raises(InputError, match="to their end"):
        read_hours("Mo-Fr 08:00-", UTC_ZONE)


def test_hours_are_the_places_own_and_answers_are_utc():
    """Azores: an hour behind UTC in winter, level with it in summer (IANA tz database, memory)."""
    hours = read_hours("08:00-18:00", AZORES)
    winter = hours.next_open(datetime(2026, 1, 10, 0, tzinfo=UTC))
    summer = hours.next_open(datetime(2026, 7, 10, 0, tzinfo=UTC))
    assert (winter.isoformat(), summer.isoformat()) == ("2026-01-10T09:00:00+00:00", "2026-07-10T08:00:00+00:00")


def test_a_moment_may_come_in_any_zone():
    hours = read_hours("08:00-18:00", UTC_ZONE)
    there = datetime(2026, 7, 1, 5, 0, tzinfo=ZoneInfo("America/New_York"))  # 09:00 UTC
    assert hours.is_open(there)
    assert hours.next_open(there) == there


def test_a_moment_without_zone_is_refused():
    hours = read_hours("24/7", UTC_ZONE)
    for ask in (hours.is_open, hours.may_be_open, hours.next_open, hours.next_change):
        with pytest.raises(ValueError, match="time zone"):
            ask(datetime(2026, 7, 1, 8))  # noqa: DTZ001  this is what is tested


def test_the_last_minute_is_open_and_closing_time_is_not():
    hours = read_hours("08:00-18:00", UTC_ZONE)
    assert hours.is_open(datetime(2026, 7, 1, 17, 59, 59, tzinfo=UTC))
    assert not hours.is_open(datetime(2026, 7, 1, 18, 0, tzinfo=UTC))
    assert hours.is_open(datetime(2026, 7, 1, 8, 0, tzinfo=UTC))


@pytest.mark.parametrize("day", [(2026, 3, 28), (2026, 10, 24)])
def test_clock_changes_are_walked_through(day: tuple[int, int, int]):
    """On 2026-03-29 at 00:00 the Azores' clocks go to 01:00, on 2026-10-25 at 01:00 to 00:00 (tz, memory)."""
    hours = read_hours("00:30-02:00", AZORES)
    start = datetime(*day, 12, tzinfo=UTC)
    opens = hours.next_open(start)
    closes = hours.next_change(opens)
    assert closes is not None
    assert start < opens < closes < start + timedelta(days=1)
    assert hours.next_open(closes) > closes


def test_never_open_is_an_answer_of_its_own():
    when = datetime(2026, 7, 1, tzinfo=UTC)
    for text in ("off", "2020 Mo-Fr 10:00-12:00", "unknown", '"by appointment"', "PH 10:00-12:00", "2030 Jan"):
        with pytest.raises(NeverOpensError) as caught:
            read_hours(text, UTC_ZONE).next_open(when)
        assert (caught.value.text, caught.value.when) == (text, when)
        assert "400 days" in str(caught.value)


def test_what_opens_once_a_year_is_found():
    when = datetime(2026, 1, 2, tzinfo=UTC)
    assert read_hours("Jan 1 10:00-12:00", UTC_ZONE).next_open(when) == datetime(2027, 1, 1, 10, tzinfo=UTC)


def test_no_change_is_none():
    assert read_hours("24/7", UTC_ZONE).next_change(datetime(2026, 7, 1, tzinfo=UTC)) is None


def test_a_remark_counts_as_open_only_where_it_says_so():
    wednesday = datetime(2026, 7, 1, 12, tzinfo=UTC)
    bare = read_hours('Mo-Fr 08:00-18:00 "call ahead"', UTC_ZONE)
    said = read_hours('Mo-Fr 08:00-18:00 open "call ahead"', UTC_ZONE)
    assert (bare.is_open(wednesday), bare.may_be_open(wednesday), bare.has_bare_remarks) == (False, True, True)
    assert (said.is_open(wednesday), said.may_be_open(wednesday), said.has_bare_remarks) == (True, True, False)


def test_hours_that_follow_the_sun_take_the_position():
    """On the equator at the Greenwich meridian the sun sets within 20 minutes of 18:00 UTC all the year (geometry)."""
    hours = read_hours("sunrise-sunset", UTC_ZONE, position=(0.0, 0.0))
    sets = hours.next_change(datetime(2026, 3, 20, 12, tzinfo=UTC))
    assert sets is not None
    assert abs(sets - datetime(2026, 3, 20, 18, tzinfo=UTC)) < timedelta(minutes=20)


def test_without_a_position_the_sun_keeps_fixed_hours():
    hours = read_hours("sunrise-sunset", UTC_ZONE)
    assert hours.next_open(datetime(2026, 1, 1, tzinfo=UTC)).hour == 7
    assert hours.next_change(datetime(2026, 1, 1, 12, tzinfo=UTC)) == datetime(2026, 1, 1, 19, tzinfo=UTC)


@pytest.mark.parametrize("text", ["08:00-18:00; Jan-Dec off", "9999 Mo 10:00-12:00", "1990-2000 08:00-18:00"])
def test_hours_that_never_come_are_found_out_soon(text: str):
    """Unbounded, the first of these takes over a second for one question, and a plan asks thousands."""
    begun = time.perf_counter()
    with pytest.raises(NeverOpensError):
        read_hours(text, UTC_ZONE).next_open(datetime(2026, 7, 1, tzinfo=UTC))
    assert time.perf_counter() - begun < 0.5


def test_overlong_hours_are_refused():
    with pytest.raises(InputError, match="longer than 1000 characters"):
        read_hours("Mo 08:00-10:00; " * 100, UTC_ZONE)


def test_a_zone_that_is_no_place_is_refused():
    with pytest.raises(InputError, match="Factory"):
        read_hours("24/7", ZoneInfo("Factory"))


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet='MoTuWeThFrSaSuPHJanDec0123456789:-+,;|/[]() "of\u00e4', max_size=40))
def test_any_text_is_read_or_refused(text: str):
    try:
        hours = read_hours(text, AZORES)
    except InputError:
        return
    when = datetime(2026, 7, 1, 6, tzinfo=UTC)
    change = hours.next_change(when)
    assert change is None or change > when
    assert not (hours.is_open(when) and not hours.may_be_open(when))


@settings(max_examples=60, deadline=None)
@given(
    days=st.sampled_from(["Mo-Fr", "Sa,Su", "Apr-Oct", "Mo-Su", "Oct-Mar Tu"]),
    begin=st.integers(0, 22),
    length=st.integers(1, 12),
    when=st.datetimes(datetime(2025, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001  in UTC
)
def test_the_next_opening_is_the_first(days: str, begin: int, length: int, when: datetime):
    """Nothing between now and the next opening is open, asked every half hour."""
    hours = read_hours(f"{days} {begin:02d}:00-{begin + length:02d}:00", AZORES)
    opens = hours.next_open(when)
    assert opens >= when
    assert hours.is_open(opens)
    step, moment = timedelta(minutes=30), when
    while moment < min(opens, when + timedelta(days=10)):
        assert not hours.is_open(moment)
        moment += step


RULE_DAYS = ["", "Mo-Fr ", "Sa,Su ", "We-Th ", "Jul 3-5 ", "Jun-Jul Tu ", "week 27 ", "Su[1] "]
RULE_TIMES = ["08:00-18:00", "22:00-02:00", "09:00-12:00,13:00-17:00", "00:00-24:00", "10:00+"]
RULE_STATES = ["", " off", " open", " unknown", ' "on request"']


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(RULE_DAYS), st.sampled_from(RULE_TIMES), st.sampled_from(RULE_STATES)),
        min_size=1,
        max_size=3,
    ),
    st.lists(st.sampled_from(["; ", ", ", " || "]), min_size=2, max_size=2),
)
def test_changes_are_where_a_watchman_sees_them(rules: list[tuple[str, str, str]], between: list[str]):
    """A watchman who looks every half hour for ten days notes every change, for all times here are half hours."""
    text = "".join(
        f"{between[place - 1] if place else ''}{days}{times}{state}" for place, (days, times, state) in enumerate(rules)
    )
    hours = read_hours(text, UTC_ZONE)
    start, look = datetime(2026, 6, 29, tzinfo=UTC), timedelta(minutes=30)
    seen = [
        start + look * turn
        for turn in range(1, 481)
        if hours.is_open(start + look * turn) != hours.is_open(start + look * (turn - 1))
    ]
    walked, moment = [], hours.next_change(start)
    while moment is not None and moment <= start + look * 480:
        walked.append(moment)
        moment = hours.next_change(moment)
    assert walked == seen


@pytest.mark.parametrize(
    "text",
    [
        "08:00-12:00,14:00-17:15",
        "Mo-Fr 08:00-18:00; Sa 09:00-13:00",
        "Fr 22:00-04:30; Su 05:00-05:15",
        "24/7; We off",
        "Oct 24-26; Oct 27 06:00-07:00",
        "Su 00:30-02:45",
        "24/7",
        "Dec",
    ],
)
@pytest.mark.parametrize("start", ["2026-10-21T09:15", "2026-10-24T23:00", "2026-07-03T15:00"])
def test_the_longest_opening_is_that_of_the_quarters_of_an_hour(text: str, start: str) -> None:
    """Asked for each quarter of a week, over the night that the clocks are put back too; what goes on is cut there."""
    hours, begin = read_hours(text, ZoneInfo("Europe/Lisbon")), datetime.fromisoformat(start).replace(tzinfo=UTC)
    longest = running = 0
    for quarter in range(7 * 96):
        running = running + 1 if hours.is_open(begin + quarter * timedelta(minutes=15)) else 0
        longest = max(longest, running)
    assert hours.longest_open(begin, timedelta(days=7)) == longest * timedelta(minutes=15)


@settings(max_examples=30)
@given(
    asked=st.lists(st.tuples(st.sampled_from(["next_open", "next_change"]), st.integers(0, 4 * 24 * 20)), max_size=6)
)
def test_what_was_asked_before_changes_no_answer(asked: list[tuple[str, int]]) -> None:
    """Openings once found are kept: earlier and later moments, and those of the very opening, get the same answers."""
    text, begin = "Mo-Fr 08:00-12:00,14:00-18:00; Sa 22:00-03:00", datetime(2026, 10, 20, tzinfo=UTC)
    kept = read_hours(text, AZORES)
    for question, quarter in asked:
        moment = begin + quarter * timedelta(minutes=15)
        fresh = read_hours(text, AZORES)
        assert getattr(kept, question)(moment) == getattr(fresh, question)(moment)
