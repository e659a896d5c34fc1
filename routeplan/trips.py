"""What a skipper asks for: from where to where, when, with what aboard and how careful."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan.fuel import CONFIDENCE_HIGH, CONFIDENCE_LOW, FuelAboard

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

__all__ = ["Trip", "read_departure"]


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
    speed_kn: Annotated[float, Field(gt=0)] | None = None
    confidence: Annotated[float, Field(ge=CONFIDENCE_LOW, le=CONFIDENCE_HIGH)] = 0.9
    berthing_h: Annotated[float, Field(ge=0, le=24)] = 0.25
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
    if moment.tzinfo is None:
        early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        if early.utcoffset() != late.utcoffset():
            skipped = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != moment
            what = "skip this time" if skipped else "show this time twice"
            raise InputError(
                where, f"the clocks of {zone.key} {what}", value=text, remedy="add the offset from UTC, such as +00:00"
            )
        moment = early
    moment = moment.astimezone(UTC)
    if not datetime(1970, 1, 1, tzinfo=UTC) <= moment <= datetime(2200, 1, 1, tzinfo=UTC) - timedelta(days=1):
        raise InputError(where, "out of the years 1970 to 2199", value=text)
    return moment
