"""What a skipper asks for: from where to where, when, with what aboard and how careful."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan.fuel import CONFIDENCE_HIGH, CONFIDENCE_LOW, FuelAboard
from routeplan.quantities import read_duration_h

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

__all__ = ["LONGEST_BERTHING_H", "Trip", "read_berthing_h", "read_departure"]

LONGEST_BERTHING_H = 24.0  # [h] who lies longer than a day plans two passages
_YEARS = (1970, 2199)  # time zones are known for these


class Trip(BaseModel):
    """One passage to be planned.

    Parameters
    ----------
    start, finish
        Names of docks or waypoints, or positions.
    depart
        Departure.
    aboard
        Fuel aboard at departure.
    via
        Places to pass on the way, in order.
    speed_kn
        [kn] Chosen speed; None for the boat's cruising speed.
    confidence
        Share of arrivals that keep the whole reserve.
    berthing_h
        [h] Coming alongside, paying and leaving, at each stop.
    known_docks_only
        Whether docks with missing attributes are left out.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    start: str
    finish: str
    depart: AwareDatetime
    aboard: FuelAboard
    via: tuple[str, ...] = ()
    speed_kn: float | None = None
    confidence: Annotated[float, Field(ge=CONFIDENCE_LOW, le=CONFIDENCE_HIGH)] = 0.9
    berthing_h: Annotated[float, Field(ge=0, le=LONGEST_BERTHING_H)] = 0.25
    known_docks_only: bool = False


def read_departure(text: str, zone: ZoneInfo, where: str) -> datetime:
    """Read a time of departure.

    Parameters
    ----------
    text
        ISO 8601; without an offset it is the region's own time.
    zone
        The region's time zone.
    where
        The option that it came from.

    Returns
    -------
    The moment, in UTC.

    Raises
    ------
    InputError
        It can't be read, or it is a time that the clocks skip or show twice.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> str(read_departure("2026-07-01T08:00", ZoneInfo("Atlantic/Azores"), "--depart"))
    '2026-07-01 08:00:00+00:00'
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        problem = "not a date and time"
        raise InputError(where, problem, value=text, remedy="write it like 2026-07-01T08:00") from error
    if not re.search(r"\d[T ]\d", text):
        raise InputError(where, "has no time of day", value=text, remedy="write it like 2026-07-01T08:00")
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise InputError(where, f"out of the years {_YEARS[0]} to {_YEARS[1]}", value=text)
    if moment.tzinfo is None:
        early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() != late.utcoffset():
            skipped = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != moment
            what = "skip this time" if skipped else "show this time twice"
            raise InputError(
                where, f"the clocks of {zone.key} {what}", value=text, remedy="add the offset from UTC, such as +00:00"
            )
        moment = early
    return moment.astimezone(UTC)


def read_berthing_h(text: str, where: str) -> float:
    """[h] Read the time alongside.

    Parameters
    ----------
    text
        Such as ``15min`` or ``0.5h``.
    where
        The option that it came from.

    Returns
    -------
    Hours, a day at the most.

    Raises
    ------
    InputError
        It can't be read, or is longer than a day.
    """
    hours = read_duration_h(text, where)
    if hours > LONGEST_BERTHING_H:
        raise InputError(where, f"must be {LONGEST_BERTHING_H:g} h at the most", value=text)
    return hours
