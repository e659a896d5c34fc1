"""Moments as people write them and as they read them; inside, all are in UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Literal, TypeAlias
from zoneinfo import ZoneInfo, available_timezones

from layers.errors import InputError
from routeplan.places import nearest_names

__all__ = ["AHEAD", "WallClock", "read_moment", "read_zone", "shown_gap", "shown_moment", "write_moment"]

WallClock: TypeAlias = ZoneInfo | Literal["here"]
"""Whose clock on the wall a time without an offset was read from; ``here`` is this computer's."""

AHEAD = timedelta(minutes=10)  # two clocks may differ by this much; what lies further ahead has not been yet
_YEARS = (1970, 2199)  # time zones are known for these
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}")
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")  # not by the computer's language
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def read_zone(text: str, where: str) -> ZoneInfo:
    """Read a time zone.

    Parameters
    ----------
    text
        Its IANA name, such as ``Atlantic/Azores``.
    where
        The option that it came from.

    Returns
    -------
    The zone.

    Raises
    ------
    InputError
        There is none of this name; names the nearest.
    """
    name = text.strip()
    known = available_timezones()
    if name not in known:
        near = nearest_names(name, known) if name else ()
        remedy = f"did you mean {', '.join(near)}?" if near else "write an IANA name such as Atlantic/Azores"
        raise InputError(where, "is not a time zone that is known here", value=text, remedy=remedy)
    return ZoneInfo(name)


def read_moment(text: str, where: str, clock: WallClock | None, *, now: datetime | None = None) -> datetime:
    """Read a moment.

    Parameters
    ----------
    text
        ISO 8601 with an offset or ``Z``; without one it is what the clock on the wall showed. Where `now` is given, a
        time of day alone is the last time that the clock showed it.
    where
        The option, or the row and column, that it came from.
    clock
        The clock on the wall; None where a moment without an offset is refused.
    now
        The moment that a time of day alone is taken before; None where such is refused.

    Returns
    -------
    The moment, in UTC.

    Raises
    ------
    InputError
        It can't be read, has no time of day or no offset, or is a time that the clock skips or shows twice.

    Examples
    --------
    >>> str(read_moment("2026-07-01T08:00+01:00", "--when", None))
    '2026-07-01 07:00:00+00:00'
    >>> str(read_moment("2026-07-01 08:00", "--when", ZoneInfo("Europe/Lisbon")))
    '2026-07-01 07:00:00+00:00'
    """
    plain = text.strip()
    if now is not None and clock is not None and _TIME_OF_DAY.fullmatch(plain):
        return _last_time(plain, where, clock, now)
    try:
        moment = datetime.fromisoformat(plain)
    except ValueError as error:
        remedy = "write it like 2026-07-01T08:00Z"
        raise InputError(where, "is not a date and time", value=text, remedy=remedy) from error
    if not re.search(r"\d[T ]\d", plain):
        raise InputError(where, "has no time of day", value=text, remedy="write it like 2026-07-01T08:00Z")
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise InputError(where, f"is out of the years {_YEARS[0]} to {_YEARS[1]}", value=text)
    if moment.tzinfo is None:
        if clock is None:
            remedy = "end it with Z or an offset such as +01:00, or name the zone of the whole file with --zone"
            raise InputError(where, "does not say in which time zone it is", value=text, remedy=remedy)
        return _on_the_wall(moment, where, clock, text)
    return moment.astimezone(UTC)


def write_moment(moment: datetime) -> str:
    """Write a moment for a file, no longer than it has to be.

    Parameters
    ----------
    moment
        Any aware moment.

    Returns
    -------
    In UTC: ``2026-07-01T07:00Z``, with seconds and their parts only where there are some.

    Examples
    --------
    >>> write_moment(datetime(2026, 7, 1, 7, 0, tzinfo=UTC)), write_moment(datetime(2026, 7, 1, 7, 0, 9, tzinfo=UTC))
    ('2026-07-01T07:00Z', '2026-07-01T07:00:09Z')
    """
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return f"{utc.isoformat(timespec='auto' if utc.second or utc.microsecond else 'minutes')}Z"


def shown_moment(moment: datetime, clock: WallClock) -> str:
    """Show a moment by the clock on the wall, and in UTC where that differs.

    Parameters
    ----------
    moment
        Any aware moment.
    clock
        Whose clock.

    Returns
    -------
    Such as ``Wed 1 Jul 2026 08:00 (07:00 UTC)``.

    Examples
    --------
    >>> shown_moment(datetime(2026, 7, 1, 23, 30, tzinfo=UTC), ZoneInfo("Europe/Lisbon"))
    'Thu 2 Jul 2026 00:30 (1 Jul 23:30 UTC)'
    """
    utc, local = moment.astimezone(UTC), _at(moment, clock)
    day = f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]} {local.year}"
    if not local.utcoffset():
        return f"{day} {local:%H:%M} UTC"
    other_day = "" if utc.day == local.day else f"{utc.day} {_MONTHS[utc.month - 1]} "
    return f"{day} {local:%H:%M} ({other_day}{utc:%H:%M} UTC)"


def shown_gap(gap: timedelta) -> str:
    """Show how far two moments lie apart, in its two largest parts.

    Parameters
    ----------
    gap
        Zero or more.

    Returns
    -------
    Such as ``4 d 3 h``.

    Examples
    --------
    >>> from datetime import timedelta
    >>> shown_gap(timedelta(days=4, hours=3, minutes=7)), shown_gap(timedelta(minutes=67)), shown_gap(timedelta(0))
    ('4 d 3 h', '1 h 7 min', '0 min')
    """
    minutes = round(abs(gap.total_seconds()) / 60)
    days, hours = divmod(minutes // 60, 24)
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes % 60} min" if hours else f"{minutes} min"


def _at(moment: datetime, clock: WallClock) -> datetime:
    return moment.astimezone(None if clock == "here" else clock)


def _on_the_wall(naive: datetime, where: str, clock: WallClock, text: str) -> datetime:
    """Take what the clock on the wall showed for a moment, where it showed it once."""
    early, late = (
        (naive.replace(fold=fold) if clock == "here" else naive.replace(tzinfo=clock, fold=fold)).astimezone(UTC)
        for fold in (0, 1)
    )
    if early != late:
        skipped = _at(early, clock).replace(tzinfo=None, fold=0) != naive.replace(fold=0)
        whose = "this computer" if clock == "here" else clock.key
        what = "skip this time" if skipped else "show this time twice"
        remedy = "add the offset from UTC, such as +01:00"
        raise InputError(where, f"the clocks of {whose} {what}", value=text, remedy=remedy)
    return early


def _last_time(plain: str, where: str, clock: WallClock, now: datetime) -> datetime:
    hour, minute = map(int, plain.split(":"))
    if hour > 23 or minute > 59:
        raise InputError(where, "is not a time of day", value=plain, remedy="write it like 08:00")
    today = _at(now, clock).replace(tzinfo=None, second=0, microsecond=0, hour=hour, minute=minute, fold=0)
    moment = _on_the_wall(today, where, clock, plain)
    return moment if moment <= now + AHEAD else _on_the_wall(today - timedelta(days=1), where, clock, plain)
