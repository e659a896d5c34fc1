"""Opening hours in the syntax of OpenStreetMap, asked and answered in UTC.

References
----------
.. [1] OpenStreetMap, *Key:opening_hours/specification*,
   https://wiki.openstreetmap.org/wiki/Key:opening_hours/specification
"""

from __future__ import annotations

import bisect
import calendar
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from layers.errors import InputError, RouteplanError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from opening_hours import OpeningHours

__all__ = ["LONGEST_SHUT_DAYS", "LONGEST_TEXT", "Hours", "NeverOpensError", "read_hours"]

UTC_ZONE = ZoneInfo("UTC")
LONGEST_SHUT_DAYS = 400  # days; a year and a month: what opens once a year is still found
LONGEST_TEXT = 1000  # characters; OpenStreetMap itself stops at 255
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MONTH_DAYS = re.compile(
    rf"\b(?P<month>{'|'.join(_MONTHS)})\s+(?P<first>\d{{1,2}})(?![\d:.])(?:\s*-\s*(?P<last>\d{{1,2}})(?![\d:.]))?",
    re.IGNORECASE,
)
_QUOTED = re.compile(r'("[^"]*")')
_MODIFIER = re.compile(r"\b(open|closed|off|unknown)\s*$", re.IGNORECASE)


class NeverOpensError(RouteplanError):
    """Hours that don't open within `LONGEST_SHUT_DAYS` days.

    Parameters
    ----------
    text
        The hours.
    when
        The moment from which an opening was looked for, UTC.
    """

    def __init__(self, text: str, when: datetime) -> None:
        self.text = text
        self.when = when
        super().__init__(text, when)

    def __str__(self) -> str:
        """Return the one line that a user reads."""
        return f"hours {self.text!r}: not open within {LONGEST_SHUT_DAYS} days after {self.when:%Y-%m-%d %H:%M} UTC"


@dataclass
class _Changes:
    """The openings and closings of some hours, as far as anybody has asked: a search asks the same days many times."""

    begin: datetime | None = None
    until: datetime = datetime(1970, 1, 1, tzinfo=UTC)  # known as far as this
    moments: list[datetime] = field(default_factory=list)
    is_open: list[bool] = field(default_factory=list)  # from each moment to the next

    def restart(self, begin: datetime, *, is_open: bool) -> None:
        self.begin, self.until, self.moments, self.is_open = begin, begin, [begin], [is_open]

    def add(self, moment: datetime, *, is_open: bool) -> None:
        if is_open != self.is_open[-1]:  # from shut to unknown is no change to us
            self.moments.append(moment)
            self.is_open.append(is_open)

    def index(self, moment: datetime) -> int:
        return bisect.bisect_right(self.moments, moment) - 1


@dataclass(frozen=True)
class Hours:
    """Opening hours of one place.

    Made by `read_hours`. Open means stated to be open. What the hours call unknown is not open, and neither is what
    they remark on without saying ``open``: ``Oct-Dec "on request"`` is unknown, as OpenStreetMap's own evaluator has
    it. Public and school holidays are not known, so ``PH`` and ``SH`` never match.

    Parameters
    ----------
    text
        The hours as written.
    zone
        The time zone that they are written in.
    _groups
        The same as the library that evaluates them holds it.
    _changes
        Openings and closings found so far.
    """

    text: str
    zone: ZoneInfo
    _groups: tuple[OpeningHours, ...] = field(repr=False, compare=False)  # what ``||`` parts, first come first served
    _changes: _Changes = field(default_factory=_Changes, repr=False, compare=False)  # those found so far

    def __str__(self) -> str:
        """Return the hours as written."""
        return self.text

    @property
    def has_bare_remarks(self) -> bool:
        """Whether some of them are unknown for a remark such as ``"on request"`` without ``open`` before it."""
        return _with_states(self.text) != self.text

    def is_open(self, when: datetime) -> bool:
        """Tell whether the place is open.

        Parameters
        ----------
        when
            A moment with a time zone.

        Returns
        -------
        bool
            Whether the hours say that it is open.

        Raises
        ------
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> from zoneinfo import ZoneInfo
        >>> hours = read_hours("Mo-Fr 08:00-18:00", ZoneInfo("Atlantic/Azores"))
        >>> hours.is_open(datetime(2026, 7, 1, 8, 30, tzinfo=UTC))  # a Wednesday; summer time there is UTC
        True
        >>> hours.is_open(datetime(2026, 12, 1, 8, 30, tzinfo=UTC))  # in winter it is an hour less
        False
        """
        moment = _zoned(when)
        for rules in self._groups:
            if not rules.is_closed(moment):
                return bool(rules.is_open(moment))
        return False

    def may_be_open(self, when: datetime) -> bool:
        """Tell whether the hours are open or unknown: the safe question about a rule that is in force at times.

        Parameters
        ----------
        when
            A moment with a time zone.

        Returns
        -------
        bool
            Whether the hours don't say that it is shut.

        Raises
        ------
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> from zoneinfo import ZoneInfo
        >>> nesting = read_hours('Apr-Jul; Aug "while birds nest"', ZoneInfo("UTC"))
        >>> august = datetime(2026, 8, 2, tzinfo=UTC)
        >>> nesting.is_open(august), nesting.may_be_open(august)
        (False, True)
        """
        moment = _zoned(when)
        return not all(rules.is_closed(moment) for rules in self._groups)

    def may_open_within(self, when: datetime, until: datetime) -> bool:
        """Tell whether the hours are open or unknown at any moment of a span.

        Parameters
        ----------
        when
            Its begin, a moment with a time zone.
        until
            Its end, a moment with a time zone.

        Returns
        -------
        bool
            Whether a rule with these hours may be in force in it.

        Raises
        ------
        ValueError
            A moment has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> from zoneinfo import ZoneInfo
        >>> race = read_hours("Jul 01 10:15-10:45", ZoneInfo("UTC"))
        >>> race.may_open_within(datetime(2026, 7, 1, 8, tzinfo=UTC), datetime(2026, 7, 1, 12, tzinfo=UTC))
        True
        """
        start, end = _zoned(when), _zoned(until)
        moment: datetime | None = start
        while moment is not None and moment <= end:
            if self.may_be_open(moment):
                return True
            moment = self._change_after(moment, start)
        return False

    def next_open(self, when: datetime) -> datetime:
        """Find the first moment from `when` on at which the place is open.

        Parameters
        ----------
        when
            A moment with a time zone.

        Returns
        -------
        datetime
            In UTC; `when` itself where it is open then.

        Raises
        ------
        NeverOpensError
            It stays shut for `LONGEST_SHUT_DAYS` days; carries the hours and `when`.
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> from zoneinfo import ZoneInfo
        >>> hours = read_hours("Mo-Fr 08:00-18:00", ZoneInfo("Atlantic/Azores"))
        >>> hours.next_open(datetime(2026, 7, 3, 19, 0, tzinfo=UTC)).isoformat()  # a Friday evening
        '2026-07-06T08:00:00+00:00'
        """
        return self.next_open_for(when, timedelta())

    def next_open_for(self, when: datetime, lasts: timedelta) -> datetime:
        """Find the first moment from `when` on at which the place is open and stays so for long enough.

        Parameters
        ----------
        when
            A moment with a time zone.
        lasts
            How long it has to stay open.

        Returns
        -------
        datetime
            In UTC; `when` itself where that will do.

        Raises
        ------
        NeverOpensError
            It isn't open for so long at a stretch within `LONGEST_SHUT_DAYS` days.
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime, timedelta
        >>> from zoneinfo import ZoneInfo
        >>> hours = read_hours("08:00-12:00,14:00-18:00", ZoneInfo("UTC"))
        >>> hours.next_open_for(datetime(2026, 7, 3, 11, 45, tzinfo=UTC), timedelta(minutes=30)).hour
        14
        """
        start = _zoned(when)
        for is_open, begin, ends in self._stretches(start, start + timedelta(days=LONGEST_SHUT_DAYS)):
            if is_open and (ends is None or ends - begin >= lasts):
                return begin
        raise NeverOpensError(self.text, start)

    def longest_open(self, when: datetime, ahead: timedelta) -> timedelta:
        """Find the longest time for which the place stays open at a stretch.

        Parameters
        ----------
        when
            A moment with a time zone, from which openings are looked for.
        ahead
            How far ahead, `LONGEST_SHUT_DAYS` days at the most.

        Returns
        -------
        timedelta
            Zero where it doesn't open; the whole of that time where it never shuts.

        Raises
        ------
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime, timedelta
        >>> from zoneinfo import ZoneInfo
        >>> two = read_hours("08:00-12:00,14:00-17:00", ZoneInfo("UTC"))
        >>> two.longest_open(datetime(2026, 7, 3, tzinfo=UTC), timedelta(days=7))
        datetime.timedelta(seconds=14400)
        """
        start = _zoned(when)
        latest = start + ahead
        longest = timedelta()
        for is_open, begin, ends in self._stretches(start, latest):
            if is_open:
                longest = max(longest, (latest if ends is None else min(ends, latest)) - begin)
        return longest

    def _stretches(self, start: datetime, latest: datetime) -> Iterator[tuple[bool, datetime, datetime | None]]:
        """List the stretches, open and shut by turns, from one moment to another; the last may have no end by then."""
        changes = self._changes
        if changes.begin is None or start < changes.begin:
            changes.restart(start, is_open=self.is_open(start))
        while changes.until <= start:
            self._find_next_change()
        at = changes.index(start)
        while True:
            while at + 1 >= len(changes.moments) and changes.until <= latest:  # the end of this span isn't known yet
                self._find_next_change()
            ends = changes.moments[at + 1] if at + 1 < len(changes.moments) else None
            yield changes.is_open[at], max(start, changes.moments[at]), ends
            if ends is None or ends > latest:
                return
            at += 1

    def _find_next_change(self) -> None:
        """Look one change further ahead than was looked before, and keep it."""
        changes = self._changes
        moment = self._change_after(changes.until, changes.until)
        if moment is None:
            changes.until += timedelta(days=LONGEST_SHUT_DAYS)
        else:
            changes.until = moment
            changes.add(moment, is_open=self.is_open(moment))

    def next_change(self, when: datetime) -> datetime | None:
        """Find when the place next opens or closes after `when`.

        Parameters
        ----------
        when
            A moment with a time zone.

        Returns
        -------
        datetime | None
            In UTC; None where it stays as it is for `LONGEST_SHUT_DAYS` days.

        Raises
        ------
        ValueError
            `when` has no time zone.

        Examples
        --------
        >>> from datetime import UTC, datetime
        >>> from zoneinfo import ZoneInfo
        >>> read_hours("08:00-18:00", ZoneInfo("UTC")).next_change(datetime(2026, 7, 1, 9, tzinfo=UTC)).hour
        18
        >>> print(read_hours("24/7", ZoneInfo("UTC")).next_change(datetime(2026, 7, 1, 9, tzinfo=UTC)))
        None
        """
        start = _zoned(when)
        latest = start + timedelta(days=LONGEST_SHUT_DAYS)
        _, _, ends = next(self._stretches(start, latest))
        return None if ends is None or ends > latest else ends

    def _change_after(self, moment: datetime, start: datetime) -> datetime | None:
        """Return the next moment at which some group of rules changes; None where that is too far off."""
        found = [change for rules in self._groups if (change := rules.next_change(moment)) is not None]
        # Of the two times that a clock put back shows an hour the library knows the second only.
        shown = [change.replace(fold=fold) for change in found for fold in (0, 1)]
        latest = start + timedelta(days=LONGEST_SHUT_DAYS)
        # A change that doesn't move on would loop for ever, so it is none.
        utc = [change.astimezone(UTC_ZONE) for change in shown]
        soonest = min((change for change in utc if moment < change <= latest), default=None)
        until = moment + timedelta(days=1) if soonest is None else soonest
        return _clock_put_back(self.zone, moment, until) or soonest


def read_hours(text: str, zone: ZoneInfo, *, position: tuple[float, float] | None = None) -> Hours:
    """Read opening hours.

    Parameters
    ----------
    text
        Hours in OpenStreetMap's opening_hours syntax [1]_, such as ``Apr-Oct 08:00-18:00; Su off``.
    zone
        Time zone of the place.
    position
        [deg] Longitude and latitude, for hours that follow the sun; without it sunrise counts as 07:00 and
        sunset as 19:00, local time.

    Returns
    -------
    Hours
        The hours, ready to be asked.

    Raises
    ------
    InputError
        The text can't be read; carries the text as value, and where in it reading stopped.

    References
    ----------
    .. [1] https://wiki.openstreetmap.org/wiki/Key:opening_hours/specification

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> str(read_hours("Mo-Fr 08:00-18:00; PH off", ZoneInfo("UTC")))
    'Mo-Fr 08:00-18:00; PH off'
    >>> read_hours("Mo-Fr 8-18", ZoneInfo("UTC"))
    Traceback (most recent call last):
        ...
    layers.errors.InputError: opening hours: can't be read from character 7 on, '8-18' (got 'Mo-Fr 8-18'): ...
    """
    # A compiled library, loaded where it is used; its own type stubs forget its error.
    from opening_hours import OpeningHours, ParserError  # type: ignore[attr-defined]  # noqa: PLC0415

    stripped = text.strip()
    _refuse_unfit_text(stripped)
    coords = None if position is None else (position[1], position[0])  # the library wants latitude first
    try:
        OpeningHours(stripped)  # what is wrong is told by its place in the text as written
        groups = tuple(
            OpeningHours(
                group,
                timezone=zone,
                coords=coords,
                auto_country=False,
                auto_timezone=coords is not None,  # the zone given stays; without this the position is forgotten
                max_interval_days=LONGEST_SHUT_DAYS + 1,
            )
            for group in _fallback_groups(_with_states(stripped))
        )
    except ParserError as error:
        raise _unreadable(stripped, str(error)) from error
    except (TypeError, ValueError) as error:
        raise InputError("opening hours", f"the time zone {zone.key} is not known to their reader") from error
    except BaseException as error:  # a panic inside the library is no Exception
        if type(error).__name__ != "PanicException":
            raise
        raise _unreadable(stripped, "") from error
    return Hours(stripped, zone, groups)


def _refuse_unfit_text(text: str) -> None:
    where, remedy = "opening hours", "write them as OpenStreetMap does, such as 'Mo-Fr 08:00-18:00'"
    if not text:
        raise InputError(where, "are empty", remedy="leave them out where they are not known")
    if len(text) > LONGEST_TEXT:
        raise InputError(where, f"are longer than {LONGEST_TEXT} characters", value=text, remedy=remedy)
    for days in _MONTH_DAYS.finditer(_QUOTED.sub("", text)):
        # The reader takes 30 February for any day at all.
        month, first, last = days["month"].capitalize(), int(days["first"]), int(days["last"] or days["first"])
        longest = calendar.monthrange(2024, _MONTHS.index(month) + 1)[1]  # 2024 is a leap year
        if not 1 <= first <= last <= longest:
            wrong = f"{month} {first}" if days["last"] is None else f"{month} {first}-{last}"
            raise InputError(where, f"{wrong} is no day of the calendar", value=text, remedy=remedy)


def _clock_put_back(zone: ZoneInfo, after: datetime, until: datetime) -> datetime | None:
    """Find when the clocks are put back between two moments: hours by the wall clock may change then; None if never."""
    offset = after.astimezone(zone).utcoffset()
    if (offset or timedelta()) <= (until.astimezone(zone).utcoffset() or timedelta()):
        return None
    while until - after > timedelta(microseconds=1):
        middle = after + (until - after) / 2
        after, until = (middle, until) if middle.astimezone(zone).utcoffset() == offset else (after, middle)
    return until


def _with_states(text: str) -> str:
    """Write ``unknown`` before remarks that say nothing of the state: the library would take them for open."""
    parts = _QUOTED.split(text)
    for place in range(1, len(parts), 2):
        if not _MODIFIER.search(parts[place - 1]):
            parts[place - 1] = f"{parts[place - 1].rstrip()} ".lstrip()  # one blank, as the library insists
            parts[place] = f"unknown {parts[place]}"
    return "".join(parts)


def _fallback_groups(text: str) -> list[str]:
    """Part hours at ``||``: whole, the library sees no change any more once a last group holds always."""
    groups = [""]
    for place, part in enumerate(_QUOTED.split(text)):
        first, *others = [part] if place % 2 else part.split("||")
        groups[-1] += first
        groups += others
    return [group.strip() for group in groups]


def _unreadable(text: str, message: str) -> InputError:
    found = re.search(r"--> (\d+):(\d+)", message)
    at = int(found[2]) - 1 if found and found[1] == "1" else 0
    rest = text[at : at + 20]
    place = f" from character {at + 1} on, {rest!r}" if rest else " to their end, something is missing"
    return InputError(
        "opening hours",
        f"can't be read{place}",
        value=text,
        remedy="write them as OpenStreetMap does, such as 'Mo-Fr 08:00-18:00'",
    )


def _zoned(when: datetime) -> datetime:
    if when.tzinfo is None or when.utcoffset() is None:
        raise ValueError(f"a moment needs its time zone: {when.isoformat()}")
    return when.astimezone(UTC_ZONE)  # the library takes zones by name only
