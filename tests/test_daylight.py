"""Windows of light: an almanac, hours in hand and per day, and places where the sun doesn't set or doesn't rise."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.errors import InputError
from routeplan.daylight import IN_HAND, Daylight, Window, find_daylight, read_daylight
from routeplan.sun import RISEN_DEG, find_sun_day, is_dark

LONDON = (-0.0008, 51.4733)
ZONE = ZoneInfo("Europe/London")
UTC_ZONE = ZoneInfo("UTC")
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)


def at(text: str, zone: ZoneInfo = UTC_ZONE) -> datetime:
    """Read a moment."""
    return datetime.fromisoformat(text).replace(tzinfo=zone)


def test_the_windows_of_an_almanac_day() -> None:
    """London 2015-12-01: civil dawn 07:04, sunrise 07:43, sunset 15:55 UTC, to the minute (astral's tests, seen)."""
    (sun,) = find_daylight("sun", [LONDON], at("2015-12-01T00:30"), 1, ZONE).windows
    assert abs(sun.begin - at("2015-12-01T07:43")) <= MINUTE
    assert abs(sun.end - at("2015-12-01T14:55")) <= MINUTE
    (civil,) = find_daylight("civil", [LONDON], at("2015-12-01T00:30"), 1, ZONE).windows
    assert abs(civil.begin - at("2015-12-01T07:04")) <= MINUTE
    assert civil.end > sun.end + timedelta(minutes=30)
    assert IN_HAND == HOUR


def test_the_narrowest_light_of_all_places_counts() -> None:
    east, west = (0.0, 50.0), (-10.0, 50.0)
    alone = [find_daylight("sun", [p], at("2026-07-01T08:00"), 1, ZONE).windows[0] for p in (east, west)]
    (both,) = find_daylight("sun", [east, west], at("2026-07-01T08:00"), 1, ZONE).windows
    assert both == Window(max(w.begin for w in alone), min(w.end for w in alone))
    assert both.end - both.begin < alone[0].end - alone[0].begin


def test_hours_per_day_begin_at_the_time_of_the_departure() -> None:
    """08:30 local every day, 6 hours; over the end of summer time too: the clock counts."""
    light = find_daylight("sun", [LONDON], at("2026-10-24T08:30", ZONE), 3, ZONE, 6.0)
    local = [(w.begin.astimezone(ZONE), w.end.astimezone(ZONE)) for w in light.windows]
    assert [f"{b:%d %H:%M}" for b, _ in local] == ["24 08:30", "25 08:30", "26 08:30"]
    assert all(e - b == 6 * HOUR for b, e in local)
    early = find_daylight("sun", [LONDON], at("2026-12-01T05:00", ZONE), 2, ZONE, 6.0)
    rises = find_sun_day(LONDON, date(2026, 12, 1), ZONE).rises
    assert early.windows[0].begin == rises
    evening = find_daylight("sun", [LONDON], at("2026-12-01T14:30", ZONE), 1, ZONE, 6.0)
    assert evening.longest_h < 1
    assert find_daylight("sun", [LONDON], at("2026-12-01T23:00", ZONE), 1, ZONE, 6.0).windows == ()


def test_where_the_sun_does_not_set_one_window_holds_all_days() -> None:
    """70 N in June: light from the first day's beginning to the last one's end."""
    light = find_daylight("sun", [(20.0, 70.0)], at("2026-06-15T09:00"), 4, ZoneInfo("Europe/Oslo"))
    (window,) = light.windows
    assert window.begin == at("2026-06-15T00:00", ZoneInfo("Europe/Oslo"))
    assert window.end == at("2026-06-19T00:00", ZoneInfo("Europe/Oslo"))
    assert light.leave(at("2026-06-15T22:00"), 10.0) == at("2026-06-15T22:00")


def test_where_the_sun_does_not_rise_there_is_no_window_but_in_twilight() -> None:
    """70 N at midwinter: no sun; a few hours of civil twilight at noon, one of them in hand."""
    place, zone = [(20.0, 70.0)], ZoneInfo("Europe/Oslo")
    light = find_daylight("sun", place, at("2026-12-15T09:00"), 3, zone)
    assert light.windows == ()
    assert light.longest_h == 0
    assert light.leave(at("2026-12-15T09:00"), 0.1) is None
    assert light.next_day(at("2026-12-15T09:00")) == at("2026-12-16T09:00")
    assert 2 < find_daylight("civil", place, at("2026-12-15T09:00"), 3, zone).longest_h < 6
    assert find_daylight("civil", [(20.0, 80.0)], at("2026-12-15T09:00"), 3, zone).windows == ()


@pytest.mark.parametrize("rule", ["sun", "civil"])
@pytest.mark.parametrize(
    ("place", "zone", "first"),
    [
        ((-21.9, 64.2), "Atlantic/Reykjavik", "2026-06-14"),  # the sun sets just after the clock's midnight
        ((-21.9, 64.2), "Atlantic/Reykjavik", "2026-04-28"),  # so does the twilight end
        ((-150.0, 61.2), "America/Anchorage", "2026-06-10"),
        ((15.0, 66.0), "Europe/Oslo", "2026-06-01"),
        ((15.0, 69.0), "Europe/Oslo", "2026-05-16"),  # the last sunsets before the midnight sun
        ((15.0, 69.0), "Europe/Oslo", "2026-07-20"),
        ((-38.0, 44.0), "Atlantic/Azores", "2026-07-01"),
        ((175.0, -40.0), "Pacific/Auckland", "2026-12-20"),
        ((0.0, 51.0), "Pacific/Kiritimati", "2026-06-10"),  # a zone that isn't the place's: noon at the clock's night
    ],
)
def test_no_window_runs_into_the_dark_or_its_last_hour(
    rule: str, place: tuple[float, float], zone: str, first: str
) -> None:
    """Every ten minutes of every window and of the hour behind it: the sun, or civil twilight, is there."""
    depart = at(f"{first}T12:00", ZoneInfo(zone))
    light = find_daylight(rule, [place], depart, 10, ZoneInfo(zone))  # type: ignore[arg-type]
    assert light.windows
    for window in light.windows:
        moment = window.begin + MINUTE
        while moment < window.end + IN_HAND - MINUTE:
            dark = is_dark(place, moment) if rule == "sun" else _is_below_twilight(place, moment)
            assert not dark, (window.begin.isoformat(), window.end.isoformat(), moment.isoformat())
            moment += timedelta(minutes=10)


def _is_below_twilight(place: tuple[float, float], moment: datetime) -> bool:
    from astral import Observer  # noqa: PLC0415  the reference, here alone
    from astral.sun import elevation  # noqa: PLC0415

    assert RISEN_DEG > -6
    return elevation(Observer(place[1], place[0]), moment.astimezone(UTC), with_refraction=False) <= -6.05


DAY = at("2026-07-01T00:00")
SPANS = st.lists(st.tuples(st.floats(0.1, 20), st.floats(0.1, 20)), min_size=0, max_size=6)


@given(SPANS, st.floats(-5, 80), st.floats(0, 30))
@settings(max_examples=60)
def test_a_hop_is_begun_at_the_first_moment_that_lets_it_end_in_a_window(
    spans: list[tuple[float, float]], ready_h: float, lasts_h: float
) -> None:
    """Against every minute and every window's beginning."""
    windows, end = [], DAY
    for gap_h, long_h in spans:
        begin = end + gap_h * HOUR
        end = begin + long_h * HOUR
        windows.append(Window(begin, end))
    light, ready = Daylight("sun", None, tuple(windows)), DAY + ready_h * HOUR
    found = light.leave(ready, lasts_h)
    tried = sorted(m for m in {ready, *(w.begin for w in windows)} if m >= ready)
    good = [m for m in tried if any(w.begin <= m and m + lasts_h * HOUR <= w.end for w in windows)]
    if found is None:
        assert not good
    elif not good or found < good[0]:  # the second that is allowed for rounding
        assert any(w.begin <= found and found + lasts_h * HOUR <= w.end + 2 * timedelta(seconds=1) for w in windows)
    else:
        assert found == good[0]
    after = light.next_day(ready)
    assert after > ready
    assert all(not ready < w.begin < after for w in windows)


def test_the_kind_of_light_is_read_or_refused() -> None:
    assert [read_daylight(text, "--daylight") for text in ("sun", "civil")] == ["sun", "civil"]
    for text in ("nautical", "", None, "SUN "):
        with pytest.raises(InputError, match="--daylight"):
            read_daylight(text, "--daylight")
