"""What is said of currents: a region's areas, and when the current turns at a place."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from routeplan.console import caution_lines, source_lines, table, wrapped
from routeplan.current_times import MONTH_D
from routeplan.moments import shown_moment
from routeplan.places import write_position
from routeplan.words import compass, course, shown_nearness

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from layers import Region
    from layers.current_grids import CurrentGrid
    from routeplan.current_sources import CurrentAt, CurrentTurn
    from routeplan.current_times import CurrentArea, CurrentTimes

__all__ = ["tell_current_areas", "tell_current_times"]

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")  # not by the computer's language
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_KINDS = {"slack": "slack", "flood": "flood, fastest", "ebb": "ebb, fastest", "fastest": "fastest", "least": "least"}
_MARKS = 16  # characters of a bar at the most
_MARK_KN = (0.1, 0.25, 0.5, 1.0, 2.0)  # [kn] what a character of a bar may stand for; nothing runs faster than 20 kn
_SHOWN_KN = 0.05  # [kn] less is shown as 0.0


def tell_current_areas(
    areas: Sequence[CurrentArea], grid: CurrentGrid | None, begin: datetime, region: Region, cautions: Sequence[str]
) -> str:
    """Tell which currents a region has.

    Parameters
    ----------
    areas
        Its areas.
    grid
        Gridded currents beside them.
    begin
        When the month begins.
    region
        The region.
    cautions
        What must be said with it.

    Returns
    -------
    Text of several lines.
    """
    zone = region.zone
    out = [f"{region.about.name}: currents from {shown_moment(begin, zone)}, times of {zone.key}", ""]
    if areas:
        rows = [
            (
                area.name,
                course(area.flood_deg),
                course(area.ebb_deg),
                f"{area.strongest.speed_kn:.1f} kn {area.strongest.kind}, {_date(area.strongest.at, zone)}",
                "none" if area.next_slack is None else f"{_day(area.next_slack, zone)} {_clock(area.next_slack, zone)}",
            )
            for area in areas
        ]
        out += [*table(("area", "flood", "ebb", f"strongest in {MONTH_D} d", "next slack"), rows), ""]
    if grid is not None:
        west, south, east, north = grid.extent
        corners = f"{write_position((west, south))} to {write_position((east, north))}"
        span = f"{shown_moment(grid.begins, zone)} until {shown_moment(grid.ends, zone)}"
        out += [wrapped(f"{grid.source}: up to {grid.greatest_kn:.1f} kn, {corners}, {span}")]
        out += [wrapped(f"- {note}", "  ") for note in grid.notes] + [""]
    return "\n".join([*out, *caution_lines(cautions), *source_lines(region)])


def tell_current_times(times: CurrentTimes, region: Region, now: datetime) -> str:
    """Tell when the current turns at a place, and how it runs.

    Parameters
    ----------
    times
        What was found.
    region
        The region.
    now
        The clock: the current at it is told as that of now.

    Returns
    -------
    Text of several lines, narrow enough for 80 columns but for names.
    """
    zone = region.zone
    out = [wrapped(_title(times)), f"Times of {zone.key}", ""]
    if times.moment is not None:
        when = f"{_day(times.moment.at, zone)} {_clock(times.moment.at, zone)}"
        out += [f"{'Now, ' if times.moment.at == now else ''}{when}: {_at(times.moment)}", ""]
    if times.turns:
        out += _turn_lines(times.turns, zone)
    else:
        out += [wrapped("The current neither turns then nor has a time at which it runs fastest."), ""]
    if times.hourly:
        out += _hour_lines(times.hourly, zone)
    return "\n".join([*out, *caution_lines(times.cautions), *source_lines(region)])


def _title(times: CurrentTimes) -> str:
    """Say whose current it is: what isn't the place's own before all else."""
    known = " and ".join(filter(None, (times.file, times.area)))
    if times.distance_nmi > 0:
        away = shown_nearness(times.distance_nmi).replace(" on", " away")
        return f"{times.place}: nothing is known here; this is {known}, {away}"
    own = times.area == times.place and times.file is None
    return f"{times.place}: predicted current{'' if own else f', {known}'}"


def _turn_lines(turns: Sequence[CurrentTurn], zone: ZoneInfo) -> list[str]:
    clocks = max(len(_clock(turn.at, zone)) for turn in turns)
    kinds = max(len(_KINDS[turn.kind]) for turn in turns)
    out = []
    for day, some in groupby(turns, key=lambda turn: _day(turn.at, zone)):
        out.append(day)
        for turn in some:
            still = turn.kind == "slack" and turn.speed_kn < _SHOWN_KN
            speed = " " * 7 if still else f"{turn.speed_kn:4.1f} kn"
            then = "then sets" if turn.kind == "slack" else "sets"
            sets = f"{then} {_direction(turn.sets_deg)}"
            out.append(f"  {_clock(turn.at, zone):<{clocks}}  {_KINDS[turn.kind]:<{kinds}}  {speed}  {sets}")
        out.append("")
    return out


def _hour_lines(hours: Sequence[CurrentAt], zone: ZoneInfo) -> list[str]:
    clocks = max(len(_clock(hour.at, zone)) for hour in hours)
    sets = max(len(_hour_set(hour)) for hour in hours)
    most_kn = max(hour.drift_kn for hour in hours)
    mark_kn = next((kn for kn in _MARK_KN if most_kn <= kn * _MARKS), _MARK_KN[-1])
    two_ways = any(hour.runs for hour in hours)
    out = []
    for day, some in groupby(hours, key=lambda hour: _day(hour.at, zone)):
        out.append(f"{day}, hour by hour")
        for hour in some:
            bar = "=" * round(hour.drift_kn / mark_kn)
            left = (bar if hour.runs == "ebb" else "").rjust(_MARKS) if two_ways else ""
            right = "" if hour.runs == "ebb" else bar
            cells = (f"{_clock(hour.at, zone):<{clocks}}", f"{hour.drift_kn:4.1f} kn", f"{_hour_set(hour):<{sets}}")
            out.append(f"  {'  '.join(cells)}  {left}|{right}".rstrip())
        out.append("")
    out.insert(-1, f"  Each = is {mark_kn:g} kn{'; ebb to the left, flood to the right' if two_ways else ''}.")
    return out


def _at(moment: CurrentAt) -> str:
    if moment.set_deg is None or moment.drift_kn < _SHOWN_KN:
        return "slack water"
    runs = "" if moment.runs is None else f"{moment.runs}, "
    return f"{runs}{moment.drift_kn:.1f} kn, sets {_direction(moment.set_deg)}"


def _hour_set(hour: CurrentAt) -> str:
    return "-" if hour.set_deg is None or hour.drift_kn < _SHOWN_KN else _direction(hour.set_deg)


def _direction(deg: float) -> str:
    return f"{course(deg)} {compass(deg)}"


def _day(moment: datetime, zone: ZoneInfo) -> str:
    return f"{_DAYS[moment.astimezone(zone).weekday()]} {_date(moment, zone)}"


def _date(moment: datetime, zone: ZoneInfo) -> str:
    local = moment.astimezone(zone)
    return f"{local.day} {_MONTHS[local.month - 1]}"


def _clock(moment: datetime, zone: ZoneInfo) -> str:
    """Say a time of day; with its offset where the clocks show that time twice."""
    local = moment.astimezone(zone)
    twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
    return f"{local:%H:%M}{f' (UTC{local:%z})' if twice else ''}"
