"""When the current turns at a place, when it runs fastest, and how it runs at any time: predicted, never invented.

A place near a current but outside it is told that current's times, with its distance; further off nothing is told.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from math import ceil
from typing import TYPE_CHECKING, Final

from pydantic import BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan.current_sources import CurrentAt, CurrentTurn, Part, Source, TurnKind, find_sources, moment_of
from routeplan.joining import SAME_PLACE_M, apart_m
from routeplan.moments import shown_moment
from routeplan.places import looks_like_position, nearest_names, read_position, write_position
from routeplan.tidal_streams import TidalStream, find_turns
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

    from layers import Region
    from routeplan.currents import Currents

__all__ = [
    "CURRENT_CAUTIONS",
    "MONTH_D",
    "NEAR_NMI",
    "CurrentArea",
    "CurrentTimes",
    "find_current_areas",
    "find_current_times",
]

NEAR_NMI: Final = 2.0  # [nmi] a current further off says nothing of a place
MONTH_D: Final = 28  # [d] two springs and two neaps
CURRENT_CAUTIONS: Final = (
    "Predictions, not measurements: wind, rain and river flow change times and speeds.",
    "Slack comes earlier at the sides of a channel than in the middle of it.",
    "Official tide and current tables and notices come first. An aid to planning, not for navigation.",
)
_FROM_CONSTITUENTS = "Predicted from the region's constituents, not taken from official tables."
_SHOWN_NMI = 0.05  # [nmi] less would be shown as none
_HOUR = timedelta(hours=1)


class CurrentTimes(BaseModel):
    """How the current runs at a place on some days.

    Parameters
    ----------
    place
        Its name.
    position
        [deg] Its longitude and latitude; a point in it where it is an area.
    area
        The area whose constituents count; None where gridded currents do alone.
    file
        The file whose gridded currents count; None where none do.
    distance_nmi
        [nmi] From the place to where the current is known; 0 where it is known at the place.
    from_, until
        The days that were asked for, UTC; `until` is the first moment after them.
    turns
        In order.
    moment
        The current at the moment that was asked for; None where none was, or where it isn't known then.
    hourly
        The current hour by hour where it is known; empty where not asked for.
    cautions
        What has to be said with it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)

    place: str
    position: tuple[float, float]
    area: str | None
    file: str | None
    distance_nmi: float
    from_: datetime = Field(alias="from")
    until: datetime
    turns: tuple[CurrentTurn, ...]
    moment: CurrentAt | None
    hourly: tuple[CurrentAt, ...]
    cautions: tuple[str, ...]


class CurrentArea(BaseModel):
    """An area and what runs through it in the coming month.

    Parameters
    ----------
    name
        Its name.
    flood_deg, ebb_deg
        [deg] Where flood and ebb set, true.
    strongest
        The strongest current of `MONTH_D` days; where it always runs the same, as it does at their beginning.
    next_slack
        When it turns next, UTC; None where it doesn't in that month.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    name: str
    flood_deg: float
    ebb_deg: float
    strongest: CurrentTurn
    next_slack: datetime | None


def find_current_areas(currents: Currents, begin: datetime) -> tuple[CurrentArea, ...]:
    """Look at all areas of a region.

    Parameters
    ----------
    currents
        The region's.
    begin
        When the month begins, zone-aware.

    Returns
    -------
    In the order of the layer.
    """
    end = begin + timedelta(days=MONTH_D)
    found = []
    for stream in currents.streams:
        turns = find_turns(stream, begin, end)
        fast = [turn for turn in turns if turn.kind in {"flood", "ebb"}]
        fastest = max(fast, key=lambda turn: turn.speed_kn, default=None)
        found.append(
            CurrentArea(
                name=stream.name,
                flood_deg=stream.flood_deg,
                ebb_deg=stream.ebb_deg,
                strongest=CurrentTurn.model_validate(vars(fastest)) if fastest else _steadily(stream, begin),
                next_slack=next((turn.at for turn in turns if turn.kind == "slack"), None),
            )
        )
    return tuple(found)


def find_current_times(
    region: Region,
    currents: Currents,
    place: str,
    day: date,
    days: int = 1,
    *,
    moment: datetime | None = None,
    hourly: bool = False,
) -> CurrentTimes:
    """Find when the current turns at a place, and how it runs.

    Parameters
    ----------
    region
        Its docks, waypoints and time zone.
    currents
        Its currents.
    place
        Name of an area, a dock or a waypoint, or a position.
    day
        The first day, by the region's clocks.
    days
        How many.
    moment
        A moment to tell the current at, zone-aware; None for none.
    hourly
        Whether to tell it hour by hour.

    Returns
    -------
    The turns, and what else was asked for.

    Raises
    ------
    InputError
        No place has that name, no current is known within `NEAR_NMI` of it, or gridded currents hold other days.
    """
    zone = region.zone
    begin, end = (
        datetime.combine(each, time(), tzinfo=zone).astimezone(UTC) for each in (day, day + timedelta(days=days))
    )
    name, position, own = _resolve(region, currents, place)
    if not currents.plane.covers_lonlat([position])[0]:
        west, south, east, north = currents.plane.extent
        remedy = f"give a place within {write_position((west, south))} to {write_position((east, north))}"
        raise InputError("PLACE", "lies outside the region's data", value=place, remedy=remedy)
    source, parts = _known(find_sources(currents, position, own), currents, place, (begin, end), zone)
    hours = [begin + k * _HOUR for k in range(ceil((end - begin) / _HOUR))] if hourly else []
    told = None if moment is None else _told(parts, moment)
    unknown = [f"{shown_moment(moment, zone)}: not known."] if moment is not None and told is None else []
    streamed = not all(part.is_gridded for part in parts)
    return CurrentTimes(
        place=name,
        position=position,
        area=source.stream.name if source.stream and streamed else None,
        file=_file(currents) if any(part.is_gridded for part in parts) else None,
        distance_nmi=source.distance_nmi,
        from_=begin,
        until=end,
        turns=tuple(turn for part in parts for turn in part.turns()),
        moment=told,
        hourly=tuple(each for each in (_told(parts, hour) for hour in hours) if each is not None),
        cautions=tuple(dict.fromkeys([*_about(source, name, parts, (begin, end), zone), *unknown, *CURRENT_CAUTIONS])),
    )


def _resolve(region: Region, currents: Currents, text: str) -> tuple[str, tuple[float, float], int | None]:
    """Find the place that a text names: its name, its position, and which area it is."""
    wanted = " ".join(text.split()).casefold()
    areas = [i for i, stream in enumerate(currents.streams) if stream.name.casefold() == wanted]
    spots = [
        (str(name), (float(point.x), float(point.y)))
        for layer in ("docks", "waypoints")
        for name, point in zip(region.layer(layer)["name"], region.layer(layer).geometry, strict=True)
    ]
    named = [spot for spot in spots if spot[0].casefold() == wanted]
    inner = [_inside(currents, i) for i in areas]
    if len(areas) > 1:
        choices = "; ".join(write_position(position) for position in inner)
        remedy = f"give a position in one: {choices}"
        raise InputError("PLACE", f"{len(areas)} areas of currents have this name", value=text, remedy=remedy)
    if areas:
        return currents.streams[areas[0]].name, inner[0], areas[0]
    if any(apart_m(named[0][1], other) > SAME_PLACE_M for _, other in named[1:]):
        choices = "; ".join(write_position(position) for _, position in named)
        remedy = f"give one's position: {choices}"
        raise InputError("PLACE", f"{len(named)} places have this name", value=text, remedy=remedy)
    if named:
        return *named[0], None
    if looks_like_position(text):
        position = read_position(text, "PLACE")
        return write_position(position), position, None
    near = nearest_names(text, [*(stream.name for stream in currents.streams), *(name for name, _ in spots)])
    offer = f"did you mean {' or '.join(near)}?" if near else "routeplan currents without a place lists the areas"
    raise InputError("PLACE", "no area of currents, dock or waypoint has this name", value=text, remedy=offer)


def _inside(currents: Currents, area: int) -> tuple[float, float]:
    point = currents.shapes[area].representative_point()
    ((lon, lat),) = currents.plane.to_lonlat([(point.x, point.y)])
    return float(lon), float(lat)


def _known(
    sources: tuple[Source, ...], currents: Currents, text: str, span: tuple[datetime, datetime], zone: ZoneInfo
) -> tuple[Source, tuple[Part, ...]]:
    """Take the nearest source that knows something at that time."""
    near = [source for source in sources if source.distance_nmi <= NEAR_NMI]
    for source in near:
        parts = source.parts(*span)
        if parts:
            return source, parts
    if not near:
        nearest = sources[0]
        what = nearest.stream.name if nearest.stream else f"a position of {_file(currents)}"
        remedy = f"the nearest is {what}, {shown_distance(nearest.distance_nmi)} away"
        problem = f"no current is known within {NEAR_NMI:g} nmi of this place"
        raise InputError("PLACE", problem, value=text, remedy=remedy)
    held = "" if currents.grid is None else _span_words(currents.grid.begins, currents.grid.ends, zone)
    day = f"{span[0].astimezone(zone):%Y-%m-%d}"
    raise InputError("--on", f"{_file(currents)} holds no current then", value=day, remedy=f"it holds {held}")


def _about(
    source: Source, name: str, parts: tuple[Part, ...], span: tuple[datetime, datetime], zone: ZoneInfo
) -> Iterator[str]:
    """Say where the current is from, and what isn't known."""
    file = "" if source.grid is None else source.grid.source
    area = "" if source.stream is None else source.stream.name
    away = shown_distance(source.distance_nmi) if source.distance_nmi >= _SHOWN_NMI else "less than 0.1 nmi"
    if source.distance_nmi > 0 and area:
        yield f"Nothing is known at {name} itself: this is the current of {area}, whose nearest edge is {away} away."
    elif source.distance_nmi > 0:
        spot = write_position(source.position)
        yield f"Nothing is known at {name} itself: this is the current of {file} at {spot}, {away} away."
    if source.meeting is not None:
        (weights,) = source.meeting.weights(source.meeting.plane.to_plane([source.position]))
        names = [stream.name for stream, weight in zip(source.meeting.streams, weights, strict=True) if weight > 0]
        yield f"{' and '.join(names)} meet here: all of them count, and flood and ebb aren't told apart."
    for part in parts if file else ():
        whose = f"from {file}" if part.is_gridded else f"from the constituents of {area}"
        yield f"{_span_words(moment_of(part.begin_s), moment_of(part.end_s), zone)}: {whose}."
    edges = [span[0].timestamp(), *(e for part in parts for e in (part.begin_s, part.end_s)), span[1].timestamp()]
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        if low < high:
            yield f"{_span_words(moment_of(low), moment_of(high), zone)}: not known."
    if source.grid is not None and any(part.is_gridded for part in parts):
        yield from (f"{file}: {note}." for note in source.grid.notes)
    if not all(part.is_gridded for part in parts):
        yield _FROM_CONSTITUENTS


def _span_words(begin: datetime, end: datetime, zone: ZoneInfo) -> str:
    return f"{shown_moment(begin, zone)} until {shown_moment(end, zone)}"


def _file(currents: Currents) -> str:
    return "" if currents.grid is None else currents.grid.source


def _told(parts: tuple[Part, ...], at: datetime) -> CurrentAt | None:
    there = [part for part in parts if part.begin_s <= at.timestamp() <= part.end_s]
    told = max(there, key=lambda part: part.is_gridded, default=None)  # a grid's first row is its own
    return None if told is None else told.at(at)


def _steadily(stream: TidalStream, at: datetime) -> CurrentTurn:
    """Tell what has no turn: it runs as it does at any time."""
    along = float(stream.along_kn(at.timestamp()))
    kind: TurnKind = "flood" if along > 0 else "ebb" if along < 0 else "slack"
    sets = stream.flood_deg if along > 0 else stream.ebb_deg
    return CurrentTurn(kind=kind, at=at.astimezone(UTC), speed_kn=abs(along), sets_deg=sets)
