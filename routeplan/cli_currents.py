"""The command about currents: it parses, calls and prints."""

from __future__ import annotations

import re
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from layers.errors import InputError
from routeplan import edges
from routeplan.edges import JsonOption, RegionOption

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

__all__ = ["currents"]

_MOST_DAYS = 31
_YEARS = (1970, 2199)  # time zones are known for these
_CLOCK = re.compile(r"\d{1,2}:\d{2}")


def currents(
    region: RegionOption,
    place: Annotated[
        str | None,
        typer.Argument(
            metavar="PLACE", help="An area of currents, a dock, a waypoint or a position; without it all areas."
        ),
    ] = None,
    file: Annotated[
        Path | None,
        typer.Option("--currents", help="Gridded currents beside the region's: CF NetCDF, or a table (.csv)."),
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="First day, 2026-07-01; default today.")] = None,
    days: Annotated[int | None, typer.Option("--days", help="How many days, 1 to 31; default 1.")] = None,
    at: Annotated[
        str | None, typer.Option("--at", help="Tell the current at this time too: 14:30, or 2026-07-01T14:30.")
    ] = None,
    hourly: Annotated[bool, typer.Option("--hourly", help="Tell set and drift hour by hour.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Tell when the current turns at a place and when it runs fastest, or list the areas with currents."""
    from layers import read_region
    from layers.current_files import read_current_grid
    from routeplan.current_times import CURRENT_CAUTIONS, find_current_areas, find_current_times
    from routeplan.current_words import tell_current_areas, tell_current_times
    from routeplan.currents import read_currents
    from routeplan.water_documents import current_areas_document, current_times_document

    if place is not None and not place.strip():
        raise InputError("PLACE", "is empty", remedy="leave it out to list the areas of currents")
    if days is not None and not 1 <= days <= _MOST_DAYS:
        raise InputError("--days", f"must be 1 to {_MOST_DAYS}", value=days)
    if place is None:
        _refuse_without_place({"--days": days, "--at": at, "--hourly": hourly or None})
    the_region = read_region(region)
    now = edges.now()
    zone = the_region.zone
    day, moment = _when(on, at, days or 1, now, zone)
    grid = None if file is None else read_current_grid(edges.named(file, "--currents"), zone)
    known = read_currents(the_region, grid)
    if known is None:
        remedy = "add a layer currents to it, or give gridded currents with --currents FILE"
        raise InputError(str(region), "the region has no currents", remedy=remedy)
    if place is None:
        begin = now if on is None else datetime(day.year, day.month, day.day, tzinfo=zone)
        areas = find_current_areas(known, begin)
        if as_json:
            edges.print_json(current_areas_document(areas, grid, begin, the_region, CURRENT_CAUTIONS))
        else:
            edges.say(tell_current_areas(areas, grid, begin, the_region, CURRENT_CAUTIONS))
        return
    times = find_current_times(the_region, known, place, day, days or 1, moment=moment, hourly=hourly)
    if as_json:
        edges.print_json(current_times_document(times, the_region))
    else:
        edges.say(tell_current_times(times, the_region, now))


def _when(on: str | None, at: str | None, days: int, now: datetime, zone: ZoneInfo) -> tuple[date, datetime | None]:
    """Read the first day, and the moment to tell the current at: now, where neither was given."""
    from routeplan.trips import read_departure

    day = None if on is None else _day(on)
    if at is None:
        return (now.astimezone(zone).date(), now) if day is None else (day, None)
    text = at.strip()
    if _CLOCK.fullmatch(text):
        text = f"{(day or now.astimezone(zone).date()).isoformat()}T{text:0>5}"
    moment = read_departure(text, zone, "--at")
    its_day = moment.astimezone(zone).date()
    if day is not None and not 0 <= (its_day - day).days < days:
        raise InputError("--at", "is on none of the days of --on and --days", value=at, remedy="leave --on out")
    return day or its_day, moment


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError("--on", "is no date", value=text, remedy="write it as 2026-07-01") from error
    if not _YEARS[0] <= day.year <= _YEARS[1]:
        raise InputError("--on", f"is out of the years {_YEARS[0]} to {_YEARS[1]}", value=text)
    return day


def _refuse_without_place(given: dict[str, object]) -> None:
    for option, value in given.items():
        if value is not None:
            remedy = "name one; routeplan currents without a place lists the areas"
            raise InputError(option, "is of use for a place only", remedy=remedy)
