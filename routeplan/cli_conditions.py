"""What water and weather do, as options of the command line: currents, sea, daylight, and a window of departures."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from layers.errors import InputError

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.currents import Currents
    from routeplan.daylight import DaylightRule
    from routeplan.lessons import Lesson
    from routeplan.sea_allowance import SeaAllowance

__all__ = [
    "STILL_AND_CALM",
    "CurrentsOption",
    "DaylightOption",
    "DepartBetweenOption",
    "HoursPerDayOption",
    "PictureOption",
    "SeaOption",
    "StillWaterOption",
    "Surroundings",
    "read_days",
    "read_departures",
    "read_surroundings",
]

CurrentsOption = Annotated[
    Path | None,
    typer.Option("--currents", help="Gridded currents beside the region's: CF NetCDF, or a table (.csv)."),
]
StillWaterOption = Annotated[bool, typer.Option("--still-water", help="Leave currents out, known or not.")]
SeaOption = Annotated[
    str | None,
    typer.Option("--sea", help="Sea to allow for: 'W 4ft', 'WSW 15kn 1.2m', or a table by the hour (.csv)."),
]
DaylightOption = Annotated[
    str | None,
    typer.Option(
        "--daylight",
        metavar="[civil]",
        help="Be under way by daylight only, with an hour in hand; civil: from dawn to dusk. Nights ashore.",
    ),
]
HoursPerDayOption = Annotated[
    str | None,
    typer.Option("--hours-per-day", help="With --daylight: the longest day from first to last line, such as 7h."),
]
DepartBetweenOption = Annotated[
    tuple[str, str] | None,
    typer.Option("--depart-between", help="Plan a departure every ten minutes between two times: 06:00 14:00."),
]
PictureOption = Annotated[
    Path | None, typer.Option("--picture", help="With --depart-between: draw all departures as a page (.html).")
]


_SHORTEST_DAY_H = 0.5  # [h] a shorter one is a slip


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What water and weather do, as far as it was asked for.

    Parameters
    ----------
    currents
        Currents; None for still water.
    sea
        What the sea takes; None for a calm.
    notes
        What is to be said of them.
    """

    currents: Currents | None
    sea: SeaAllowance | None
    notes: tuple[str, ...]


def read_surroundings(
    region: Region, boat: Boat, lesson: Lesson | None, currents: Path | None, sea: str | None, *, still_water: bool
) -> Surroundings:
    """Read currents and sea.

    Parameters
    ----------
    region
        Its layer of currents, and its time zone.
    boat
        With the burn to plan with.
    lesson
        What her log teaches of seas; None where it is left aside.
    currents
        File of gridded currents.
    sea
        As typed: a sea, or a file.
    still_water
        Whether currents are left out.

    Returns
    -------
    What was read.

    Raises
    ------
    InputError
        A file or text can't be read, or still water was asked for together with currents.
    """
    from layers.current_files import read_current_grid
    from routeplan.currents import read_currents
    from routeplan.sea import Seas, read_sea, read_sea_table
    from routeplan.sea_allowance import find_allowance

    if still_water and currents is not None:
        raise InputError("--still-water", "leaves out what --currents names", value=str(currents), remedy="take one")
    notes: list[str] = []
    field = None
    if not still_water:
        grid = None if currents is None else read_current_grid(currents, region.zone)
        field = read_currents(region, grid)
        if grid is not None:
            notes += [f"{grid.source}: {note}" for note in grid.notes]
    elif len(region.layer("currents")):
        notes.append("Currents are known in this region, but were left out as asked.")
    if sea is None:
        return Surroundings(field, None, tuple(notes))
    if sea.casefold().endswith(".csv"):
        seas = read_sea_table(Path(sea), region.zone)
    else:
        seas = Seas.always(read_sea(sea, "--sea"), "--sea")
    allowance = find_allowance(seas, boat, lesson)
    return Surroundings(field, allowance, (*notes, *allowance.tell()))


STILL_AND_CALM = Surroundings(None, None, ())


def read_days(daylight: str | None, hours_per_day: str | None) -> tuple[DaylightRule | None, float | None]:
    """Read when a boat may be under way.

    Parameters
    ----------
    daylight
        As typed; None where nothing was.
    hours_per_day
        The same.

    Returns
    -------
    The daylight rule, and [h] how long a day may be; None without such a rule or limit.

    Raises
    ------
    InputError
        Either can't be read, the hours aren't between half an hour and a day, or darkness doesn't count.
    """
    from routeplan.daylight import read_daylight
    from routeplan.quantities import read_duration_h

    rule = None if daylight is None else read_daylight(daylight, "--daylight")
    if hours_per_day is None:
        return rule, None
    if rule is None:
        raise InputError(
            "--hours-per-day", "counts with --daylight", value=hours_per_day, remedy="add --daylight, or leave it out"
        )
    hours = read_duration_h(hours_per_day, "--hours-per-day")
    if not _SHORTEST_DAY_H <= hours <= 24:
        raise InputError("--hours-per-day", "must be from half an hour to 24 hours", value=hours_per_day)
    return rule, hours


def read_departures(
    depart: str | None, between: tuple[str, str] | None, zone: ZoneInfo, now: datetime
) -> tuple[datetime, datetime | None]:
    """Read one departure, or a window of them.

    Parameters
    ----------
    depart
        One, as typed; None for now.
    between
        Two times, with a date or without: the first is today's then, the second of the same day as the first.
    zone
        The region's.
    now
        The clock.

    Returns
    -------
    First and last departure, in UTC; no last one where there is one alone.

    Raises
    ------
    InputError
        One can't be read, or the second lies before the first.
    """
    from routeplan.trips import read_departure

    if between is None:
        return (now if depart is None else read_departure(depart, zone, "--depart")), None
    option = "--depart-between"
    today = now.astimezone(zone).date().isoformat()
    first_text, last_text = (text.strip() for text in between)
    first = read_departure(first_text if "T" in first_text else f"{today}T{first_text}", zone, option)
    day = first.astimezone(zone).date().isoformat()
    last = read_departure(last_text if "T" in last_text else f"{day}T{last_text}", zone, option)
    if last < first:
        raise InputError(
            option, "ends before it begins", value=f"{first_text} {last_text}",
            remedy="turn it round, or write the second with its date: 2026-07-02T04:00",
        )  # fmt: skip
    return first, last
