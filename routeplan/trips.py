"""What a skipper asks for: from where to where, when, with what aboard and how careful."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from layers.errors import InputError
from routeplan.fuel import CONFIDENCE_HIGH, CONFIDENCE_LOW, FuelAboard
from routeplan.quantities import read_duration_h

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

__all__ = [
    "DEAREST_HOUR",
    "LONGEST_BERTHING_H",
    "ClosedDockRule",
    "FillRule",
    "Preference",
    "Trip",
    "read_berthing_h",
    "read_departure",
    "read_price_of_time",
]

ClosedDockRule = Literal["on", "off", "strict"]
FillRule = Literal["full", "enough", "best"]
Preference = Literal["soonest", "cheapest", "fewest-stops", "most-margin"]

DEAREST_HOUR = 1_000_000.0  # [currency/h] beyond it a figure is a slip
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
    confirmed_docks_only
        Whether docks that nobody has confirmed for long are left out.
    fill
        `full`: to the full mark at each stop. `enough`: the least that the rules demand. `best`: any amount.
    price_of_time_per_h
        [currency/h] What an hour is worth, for `enough` and `best`; where None, `best` counts money alone and `enough`
        time first.
    closed_dock
        Whether a stop must leave a way out if its dock is closed: on the reserve, above it (`strict`), or not.
    fill_first
        Whether the passage begins with a fill at its start.
    prefer
        Which plan to recommend; None weighs time against stops and doubtful docks. For fills to the mark only.
    slower
        Whether each hop may be run slower than `speed_kn`, at a speed of the burn table.
    daylight
        Whether legs keep to daylight, `sun`, or to civil twilight, `civil`, with an hour in hand; None at any hour.
    hours_per_day_h
        [h] From a day's first departure to its last arrival, at the most; None without such a limit.
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
    confirmed_docks_only: bool = False
    fill: FillRule = "full"
    price_of_time_per_h: Annotated[float, Field(ge=0, le=DEAREST_HOUR)] | None = None
    closed_dock: ClosedDockRule = "on"
    fill_first: bool = False
    prefer: Preference | None = None
    slower: bool = False
    daylight: Literal["sun", "civil"] | None = None
    hours_per_day_h: Annotated[float, Field(gt=0, le=24)] | None = None

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        if self.fill == "full" and self.price_of_time_per_h is not None:
            raise InputError(
                "--price-of-time",
                "counts for part fills only",
                remedy="add --fill best or --fill enough, or leave it out",
            )
        if self.hours_per_day_h is not None and self.daylight is None:
            raise InputError("--hours-per-day", "counts with --daylight", remedy="add --daylight, or leave it out")
        if self.fill != "full" and self.prefer is not None:
            raise InputError(
                "--prefer",
                f"--fill {self.fill} has one best plan, by money and time together",
                value=self.prefer,
                remedy="leave it out, or weigh time with --price-of-time",
            )
        return self


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


def read_price_of_time(text: str, where: str) -> float:
    """[currency/h] Read what an hour is worth.

    Parameters
    ----------
    text
        A number, in the region's currency.
    where
        The option that it came from.

    Returns
    -------
    0 or more.

    Raises
    ------
    InputError
        It isn't a number, is below zero, or beyond what an hour can be worth.
    """
    try:
        price = float(text)
    except ValueError as error:
        remedy = "write a number in the region's currency, such as 40"
        raise InputError(where, "not a price of an hour", value=text, remedy=remedy) from error
    if not 0 <= price <= DEAREST_HOUR:
        raise InputError(where, f"must be 0 to {DEAREST_HOUR:g} an hour", value=text, remedy="0 counts money only")
    return price
