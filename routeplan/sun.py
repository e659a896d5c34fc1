"""Sunrise, sunset and darkness at a place, also where the sun doesn't rise or set.

Events are found where the sun's height crosses a limit within the local day: none about the poles, and the right day's
wherever the clocks stand.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from math import ceil
from typing import TYPE_CHECKING

from astral import Observer
from astral.sun import elevation

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date
    from zoneinfo import ZoneInfo

__all__ = ["SunDay", "find_light", "find_sun_day", "is_dark", "is_dark_between", "last_change", "next_change"]

RISEN_DEG = (
    -0.833
)  # [deg] centre of the sun when its upper edge is seen on the horizon: 34' of refraction, 16' of radius
LIT_DEG = -6.0  # [deg] civil twilight: dark enough below it that unlit things aren't seen (common practice)
_STEP = timedelta(
    minutes=10
)  # the sun isn't up, or down, for less time than that but for a day or two a year at a pole
_EXACT = timedelta(seconds=5)
_AHEAD = timedelta(hours=24)


@dataclass(frozen=True)
class SunDay:
    """The sun of one local day at one place.

    Parameters
    ----------
    rises, sets
        Sunrise and sunset; None where there is none that day.
    lit_from, lit_until
        Beginning and end of civil twilight; None where there is none that day.
    is_up_at_noon
        Whether it stands over the horizon in the middle of the day: where it neither rises nor sets, whether it is up
        all day or down.

    Examples
    --------
    >>> from datetime import date
    >>> from zoneinfo import ZoneInfo
    >>> day = find_sun_day((-0.0008, 51.4733), date(2015, 12, 1), ZoneInfo("Europe/London"))
    >>> f"{day.rises:%H:%M} {day.sets:%H:%M}"
    '07:43 15:55'
    """

    rises: datetime | None
    sets: datetime | None
    lit_from: datetime | None
    lit_until: datetime | None
    is_up_at_noon: bool


def find_sun_day(position: tuple[float, float], day: date, zone: ZoneInfo) -> SunDay:
    """Find the sun's times of one day.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    day
        The day.
    zone
        Whose day it is.

    Returns
    -------
    Its times, in UTC, to the minute; refraction and the height of the eye may make a minute or two.
    """
    begin, end = (datetime.combine(d, time(), tzinfo=zone).astimezone(UTC) for d in (day, day + timedelta(days=1)))
    sun = list(_crossings(position, begin, end, RISEN_DEG))
    light = list(_crossings(position, begin, end, LIT_DEG))
    return SunDay(
        rises=next((at for at, up in sun if up), None),
        sets=next((at for at, up in reversed(sun) if not up), None),
        lit_from=next((at for at, up in light if up), None),
        lit_until=next((at for at, up in reversed(light) if not up), None),
        is_up_at_noon=_height_deg(position, begin + (end - begin) / 2) > RISEN_DEG,
    )


def find_light(
    position: tuple[float, float], begin: datetime, end: datetime, *, civil: bool = False
) -> list[tuple[datetime, datetime]]:
    """Find when it is light.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    begin, end
        Span that is looked through, zone-aware.
    civil
        Whether civil twilight counts as light.

    Returns
    -------
    Spans in order, from sunrise to sunset; the first and last may be cut off by the span. Empty where it stays dark.
    """
    limit_deg = LIT_DEG if civil else RISEN_DEG
    spans: list[tuple[datetime, datetime]] = []
    since = begin if _height_deg(position, begin) > limit_deg else None
    for at, up in _crossings(position, begin, end, limit_deg):
        if up:
            since = at
        elif since is not None:
            spans.append((since, at))
            since = None
    return spans if since is None else [*spans, (since, end)]


def is_dark(position: tuple[float, float], moment: datetime) -> bool:
    """Tell whether the sun is down.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    moment
        Zone-aware.

    Returns
    -------
    True between sunset and sunrise: when lights have to be shown (International Regulations for Preventing Collisions
    at Sea 1972, rule 20 b, from memory).
    """
    return _height_deg(position, moment) <= RISEN_DEG


def is_dark_between(start: tuple[tuple[float, float], datetime], end: tuple[tuple[float, float], datetime]) -> bool:
    """Tell whether the sun is down at any time of a straight leg: a whole night may lie between two light ends.

    Parameters
    ----------
    start, end
        [deg] Longitude and latitude of each end, and when the boat is there, zone-aware.

    Returns
    -------
    True where it is down at an end, or on the way.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> evening, morning = datetime(2026, 7, 1, 20, tzinfo=UTC), datetime(2026, 7, 2, 6, tzinfo=UTC)
    >>> [is_dark((0.0, 50.0), moment) for moment in (evening, morning)]
    [False, False]
    >>> is_dark_between(((0.0, 50.0), evening), ((0.0, 50.0), morning))
    True
    """
    ((lon, lat), depart), ((to_lon, to_lat), arrive) = start, end
    east = (to_lon - lon + 180.0) % 360.0 - 180.0  # the short way round the world
    steps = max(1, ceil((arrive - depart) / _STEP))
    shares = (step / steps for step in range(steps + 1))
    return any(is_dark((lon + s * east, lat + s * (to_lat - lat)), depart + s * (arrive - depart)) for s in shares)


def next_change(position: tuple[float, float], moment: datetime) -> datetime | None:
    """Find when the sun rises or sets next.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    moment
        Zone-aware.

    Returns
    -------
    The moment; None where it does neither within a day.
    """
    begin = moment.astimezone(UTC)
    return next((at for at, _ in _crossings(position, begin, begin + _AHEAD, RISEN_DEG)), None)


def last_change(position: tuple[float, float], moment: datetime) -> datetime | None:
    """Find when the sun rose or set last.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    moment
        Zone-aware.

    Returns
    -------
    The moment; None where it did neither within a day.
    """
    end = moment.astimezone(UTC)
    found = [at for at, _ in _crossings(position, end - _AHEAD, end, RISEN_DEG)]
    return found[-1] if found else None


def _height_deg(position: tuple[float, float], moment: datetime) -> float:
    lon, lat = position
    observer = Observer(latitude=lat, longitude=lon)
    return float(elevation(observer, moment.astimezone(UTC), with_refraction=False))


def _crossings(
    position: tuple[float, float], begin: datetime, end: datetime, limit_deg: float
) -> Iterator[tuple[datetime, bool]]:
    """Yield when the sun's height passes a limit, in order, and whether upwards."""
    at, high = begin, _height_deg(position, begin) > limit_deg
    while at < end:
        later = min(at + _STEP, end)
        higher = _height_deg(position, later) > limit_deg
        if higher != high:
            yield _bisected(position, at, later, limit_deg, upwards=higher), higher
        at, high = later, higher


def _bisected(
    position: tuple[float, float], low: datetime, high: datetime, limit_deg: float, *, upwards: bool
) -> datetime:
    while high - low > _EXACT:
        middle = low + (high - low) / 2
        if (_height_deg(position, middle) > limit_deg) == upwards:
            high = middle
        else:
            low = middle
    return _to_the_minute(low + (high - low) / 2)


def _to_the_minute(moment: datetime) -> datetime:
    return (moment + timedelta(seconds=30)).replace(second=0, microsecond=0)
