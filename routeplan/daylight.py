"""When a boat may be under way: by daylight alone, and for no more than some hours a day.

Common practice: floats, logs and unlit buoys aren't seen at planing speed in the dark, and whatever goes wrong takes
an hour; so legs end an hour before the light does.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from layers.errors import InputError
from routeplan.sun import find_light

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    Span = tuple[datetime, datetime]

__all__ = ["IN_HAND", "Daylight", "DaylightRule", "Window", "find_daylight", "read_daylight"]

DaylightRule = Literal["sun", "civil"]
IN_HAND = timedelta(hours=1)  # [h] of light that is kept in hand at a day's end; common practice
_SLACK = timedelta(seconds=1)


@dataclass(frozen=True)
class Window:
    """A span in which a boat may be under way.

    Parameters
    ----------
    begin, end
        Zone-aware; the end is when she has to be in.
    """

    begin: datetime
    end: datetime


@dataclass(frozen=True)
class Daylight:
    """When a boat may be under way.

    Parameters
    ----------
    rule
        `sun`: from sunrise until an hour before sunset; `civil`: from the beginning of civil twilight until an hour
        before its end.
    hours_per_day
        [h] From a day's first departure to its last arrival, at the most; None without such a limit.
    windows
        In order, none touching another.
    """

    rule: DaylightRule
    hours_per_day: float | None
    windows: tuple[Window, ...]

    def leave(self, ready: datetime, hours: float) -> datetime | None:
        """Find when a hop can be begun.

        Parameters
        ----------
        ready
            When the boat is ready.
        hours
            [h] How long it takes.

        Returns
        -------
        The first moment from which it ends within one window; None where no window is long enough.
        """
        lasts = timedelta(hours=hours)
        for window in self.windows:
            begin = max(window.begin, ready)
            if begin + lasts <= window.end + _SLACK:
                return begin
        return None

    def next_day(self, moment: datetime) -> datetime:
        """Find when the next day begins.

        Parameters
        ----------
        moment
            On the day before.

        Returns
        -------
        The beginning of the next window; where there is none, a day later.
        """
        return next((w.begin for w in self.windows if w.begin > moment), moment + timedelta(days=1))

    @property
    def longest_h(self) -> float:
        """[h] The longest window."""
        return max(((w.end - w.begin) / timedelta(hours=1) for w in self.windows), default=0.0)


def find_daylight(
    rule: DaylightRule,
    positions: Sequence[tuple[float, float]],
    depart: datetime,
    days: int,
    zone: ZoneInfo,
    hours_per_day: float | None = None,
) -> Daylight:
    """Find the windows of some days.

    Parameters
    ----------
    rule
        As in `Daylight`.
    positions
        [deg] Longitude and latitude of the places that matter: the latest light in the morning and the earliest in the
        evening among them count.
    depart
        When the boat leaves on the first day, zone-aware; later days begin at first light, or where the hours are
        limited at the same time of day, if it is light then.
    days
        How many.
    zone
        Whose days they are.
    hours_per_day
        [h] From a day's first departure to its last arrival, at the most.

    Returns
    -------
    The windows; days on which the sun doesn't set run into one another, days without light have none.
    """
    first = depart.astimezone(zone)
    begin, end = (
        datetime.combine(first.date() + timedelta(days=n), time(), tzinfo=zone).astimezone(UTC) for n in (0, days)
    )
    seen = end + 2 * IN_HAND  # the sun may set just after the last midnight
    spans = [(begin, seen)]
    for position in positions:
        spans = _both(spans, _light(rule, position, begin, seen))
    spans = _both([(begin, end)], [(start, stop if stop == seen else stop - IN_HAND) for start, stop in spans])
    if hours_per_day is not None:
        spans = _both(spans, _days(first, days, hours_per_day))
    return Daylight(rule, hours_per_day, tuple(Window(start, stop) for start, stop in spans if start < stop))


def _days(first: datetime, days: int, hours: float) -> list[Span]:
    """List when a boat may be under way on each day, light or not: from the first departure's time of day on."""
    dates = [first.date() + timedelta(days=number) for number in range(days)]
    begins = [datetime.combine(day, first.time(), tzinfo=first.tzinfo).astimezone(UTC) for day in dates]
    return [(begin, begin + timedelta(hours=hours)) for begin in begins]


def _both(spans: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """Keep the time that lies in both of two lists of spans."""
    pairs = ((max(a, c), min(b, d)) for a, b in spans for c, d in others)
    return sorted((begin, end) for begin, end in pairs if begin < end)


@lru_cache(maxsize=64)
def _light(rule: DaylightRule, position: tuple[float, float], begin: datetime, end: datetime) -> tuple[Span, ...]:
    return tuple(find_light(position, begin, end, civil=rule == "civil"))


def read_daylight(text: str | None, option: str) -> DaylightRule:
    """Read which light counts.

    Parameters
    ----------
    text
        `sun` or `civil`.
    option
        Where it was written.

    Returns
    -------
    The rule.

    Raises
    ------
    InputError
        It is another word.
    """
    if text == "sun":
        return "sun"
    if text == "civil":
        return "civil"
    raise InputError(option, "isn't a kind of daylight", value=text, remedy="write sun or civil")
