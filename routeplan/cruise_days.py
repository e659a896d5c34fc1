"""The days of a cruise: when the group may leave each place, and by when it has to be in before dark."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from routeplan.sun import find_sun_day

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from routeplan.cruise_asked import CruiseAsked
    from routeplan.sun import SunDay

__all__ = ["CruiseDays", "find_days"]

_HOUR = timedelta(hours=1)
_HALF_DAY_H = 12.0  # [h] a longer stay goes over a night


@dataclass(frozen=True)
class CruiseDays:
    """The days of a cruise.

    Parameters
    ----------
    depart
        When the cruise begins.
    dates
        Local date of each leg, from one visit to the next.
    not_before
        Of each visit but the last: when the group may leave at the earliest; None as soon as it is ready.
    ready_h
        [h] Of each visit but the last: from when the last boat is in until the group is ready to leave.
    sun_up, sun_down
        Of each leg: sunrise where it begins and sunset where it ends, on its date; None where there is none.
    by_h
        [h] Of each leg: when the last boat has to be in, since the departure; infinity where no day ends or darkness
        doesn't count.
    """

    depart: datetime
    dates: tuple[date, ...]
    not_before: tuple[datetime | None, ...]
    ready_h: tuple[float, ...]
    sun_up: tuple[SunDay, ...]
    sun_down: tuple[SunDay, ...]
    by_h: tuple[float, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        """Number of each leg's day, from 1."""
        days = sorted(set(self.dates))
        return tuple(days.index(each) + 1 for each in self.dates)

    def hours(self, moment: datetime) -> float:
        """[h] Count from the departure.

        Parameters
        ----------
        moment
            Zone-aware.

        Returns
        -------
        Negative before it.
        """
        return (moment - self.depart) / _HOUR

    def at(self, time_h: float) -> datetime:
        """Tell the moment.

        Parameters
        ----------
        time_h
            [h] Since the departure.

        Returns
        -------
        In UTC.
        """
        return self.depart + timedelta(hours=time_h)

    def leave_h(self, visit: int, in_h: float) -> float:
        """[h] Tell when the group leaves a visit.

        Parameters
        ----------
        visit
            Index of the visit, the start is 0.
        in_h
            [h] When the last boat is in, since the departure.

        Returns
        -------
        Once it has stayed and gathered, and not before the time that was set.
        """
        if visit == 0:
            return in_h
        ready_h = in_h + self.ready_h[visit]
        earliest = self.not_before[visit]
        return ready_h if earliest is None else max(ready_h, self.hours(earliest))

    def ends_day(self, leg: int) -> bool:
        """Tell whether a leg is the last one of its day.

        Parameters
        ----------
        leg
            Index of the leg.

        Returns
        -------
        True also for the last leg of the cruise.
        """
        return leg == len(self.dates) - 1 or self.dates[leg + 1] > self.dates[leg]


def find_days(asked: CruiseAsked, positions: Sequence[tuple[float, float]], zone: ZoneInfo) -> CruiseDays:
    """Lay the days of a cruise out.

    Parameters
    ----------
    asked
        Its departure, visits and whether darkness counts.
    positions
        [deg] Longitude and latitude of the visits.
    zone
        The region's time zone.

    Returns
    -------
    The days. A time of day at a visit is meant for the day of arriving, or the next after a night; a night without a
    time ends at the time of day at which the cruise began.
    """
    local = asked.depart.astimezone(zone)
    today, dates = local.date(), [local.date()]
    earliest: list[datetime | None] = [asked.depart]
    gather_h = asked.gather_h if len(asked.boats) > 1 else 0.0
    ready_h = [0.0]
    for visit in asked.visits[1:-1]:
        leave = visit.leave
        if isinstance(leave, datetime):
            today = max(today, leave.astimezone(zone).date())
        else:
            nights = max(int(visit.night), int((visit.stay_h + _HALF_DAY_H) // 24))
            today += timedelta(days=nights)
            leave = local.time() if leave is None and nights else leave
        clock = leave
        earliest.append(_moment(clock, today, zone))
        ready_h.append(visit.stay_h + gather_h)
        dates.append(today)
    ends = [i == len(dates) - 1 or dates[i + 1] > dates[i] for i in range(len(dates))]
    up = tuple(find_sun_day(positions[i], each, zone) for i, each in enumerate(dates))
    down = tuple(find_sun_day(positions[i + 1], each, zone) for i, each in enumerate(dates))
    by_h = [
        _by_h(sun, asked.depart) if end and asked.daylight else float("inf")
        for end, sun in zip(ends, down, strict=True)
    ]
    return CruiseDays(asked.depart, tuple(dates), tuple(earliest), tuple(ready_h), up, down, tuple(by_h))


def _by_h(sun: SunDay, depart: datetime) -> float:
    """[h] Tell by when a day has to end: never where the sun stays up, before it begins where it stays down."""
    if sun.sets is not None:
        return (sun.sets - depart) / _HOUR
    return float("inf") if sun.is_up_at_noon else -float("inf")


def _moment(clock: datetime | time | None, day: date, zone: ZoneInfo) -> datetime | None:
    if clock is None or isinstance(clock, datetime):
        return clock
    return datetime.combine(day, clock.replace(tzinfo=None), tzinfo=zone).astimezone(UTC)
