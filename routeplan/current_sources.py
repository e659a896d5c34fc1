"""Where the current at a place is known from, during which time, and when it turns there.

An area has its own turns. Where areas meet, and in gridded currents, they are found in the course of the vector, taken
as straight between its moments.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict
from pyproj import Geod

from layers.plane import METRES_PER_NMI
from routeplan.joining import apart_m
from routeplan.tidal_streams import TidalStream, find_turns

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from layers.current_grids import CurrentGrid
    from routeplan.currents import Currents

    Vector = NDArray[np.float64]

__all__ = ["CurrentAt", "CurrentTurn", "Part", "Runs", "Series", "Source", "TurnKind", "find_sources", "moment_of"]

TurnKind: TypeAlias = Literal["slack", "flood", "ebb", "fastest", "least"]
Runs: TypeAlias = Literal["flood", "ebb"]

_SLACK_KN = 0.2  # [kn] a vector hardly ever passes through nothing: below this it is told as slack
_RIPPLE_KN = 0.05  # [kn] half a tenth: smaller ups and downs are rounding, not tides
_STILL_KN = 0.005  # [kn] what runs slower sets nowhere
_STEP_S = 60.0  # [s] where areas meet
_BEYOND_S = 86_400.0  # [s] looked at before and after, so that the ends of a day are judged like its middle
_GEOD = Geod(ellps="WGS84")


class CurrentTurn(BaseModel):
    """A moment at which the current turns, or runs fastest or slowest.

    Parameters
    ----------
    kind
        ``slack``; ``flood`` or ``ebb`` where it runs fastest in an area; ``fastest`` where flood and ebb aren't known
        apart; ``least`` where it runs slowest without turning.
    at
        When, UTC, to a second.
    speed_kn
        [kn] How fast it runs.
    sets_deg
        [deg] Where it sets, true; at slack, where it sets next.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: TurnKind
    at: datetime
    speed_kn: float
    sets_deg: float


class CurrentAt(BaseModel):
    """The current at one moment.

    Parameters
    ----------
    at
        When, UTC.
    set_deg
        [deg] Where it sets, true; None where it stands still.
    drift_kn
        [kn] How fast.
    runs
        Whether it floods or ebbs; None where it stands still, or where that isn't known.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    at: datetime
    set_deg: float | None
    drift_kn: float
    runs: Runs | None = None


@dataclass(frozen=True, eq=False)
class Series:
    """A current in the course of time, straight between its moments.

    Parameters
    ----------
    posix_s
        [s] Moments, POSIX, rising; two or more.
    east, north
        [kn] The current at each.
    is_met
        Whether it is made of areas that meet, not read from a grid.

    Examples
    --------
    >>> hours = 3600.0 * np.arange(5)
    >>> run = Series(hours, np.array([0.0, 1.0, 2.0, 1.0, 0.0]), np.full(5, 0.0))
    >>> [(turn.kind, f"{turn.at:%H:%M}", turn.speed_kn, turn.sets_deg) for turn in run.turns()]
    [('fastest', '02:00', 2.0, 90.0)]
    """

    posix_s: Vector
    east: Vector
    north: Vector
    is_met: bool = False

    def at(self, posix_s: float) -> tuple[float, float]:
        """[kn] Read the current off.

        Parameters
        ----------
        posix_s
            [s] When, POSIX, between the first moment and the last.

        Returns
        -------
        East and north.
        """
        return float(np.interp(posix_s, self.posix_s, self.east)), float(np.interp(posix_s, self.posix_s, self.north))

    def turns(self) -> Iterator[CurrentTurn]:
        """Find when it runs fastest and slowest.

        Yields
        ------
        Turns in order, but for the first moment and the last: what was before or comes after may run faster. Ups and
        downs of less than 0.05 kn are none; a least below 0.2 kn is slack.
        """
        points = _bends(self)
        for (_, low), (at, speed), (after, high) in zip(points, points[1:], points[2:], strict=False):
            is_least = speed < min(low, high)
            is_slack = is_least and speed < _SLACK_KN
            kind: TurnKind = "slack" if is_slack else "least" if is_least else "fastest"
            sets_deg = _set_deg(*self.at(after if is_slack else at))
            yield CurrentTurn(kind=kind, at=moment_of(at), speed_kn=speed, sets_deg=sets_deg)


@dataclass(frozen=True, eq=False)
class Part:
    """A time during which one thing tells the current.

    Parameters
    ----------
    begin_s, end_s
        [s] From when until when, POSIX; both count.
    of
        What tells it.
    """

    begin_s: float
    end_s: float
    of: TidalStream | Series

    @property
    def is_gridded(self) -> bool:
        """Whether it is read from a grid, and not from areas' constituents."""
        return isinstance(self.of, Series) and not self.of.is_met

    def turns(self) -> tuple[CurrentTurn, ...]:
        """Find the turns.

        Returns
        -------
        In order; the last moment belongs to what comes next.
        """
        if isinstance(self.of, TidalStream):
            streams = find_turns(self.of, moment_of(self.begin_s), moment_of(self.end_s))
            found = [CurrentTurn.model_validate(vars(turn)) for turn in streams]
        else:
            found = list(self.of.turns())
        return tuple(turn for turn in found if self.begin_s <= turn.at.timestamp() < self.end_s)

    def at(self, moment: datetime) -> CurrentAt:
        """Tell the current.

        Parameters
        ----------
        moment
            Within the part, zone-aware.

        Returns
        -------
        Set and drift.
        """
        utc = moment.astimezone(UTC)
        if isinstance(self.of, Series):
            east, north = self.of.at(utc.timestamp())
            drift = float(np.hypot(east, north))
            return CurrentAt(at=utc, set_deg=_set_deg(east, north) if drift >= _STILL_KN else None, drift_kn=drift)
        along = float(self.of.along_kn(utc.timestamp()))
        if abs(along) < _STILL_KN:
            return CurrentAt(at=utc, set_deg=None, drift_kn=abs(along))
        sets_deg = self.of.flood_deg if along > 0 else self.of.ebb_deg
        return CurrentAt(at=utc, set_deg=sets_deg, drift_kn=abs(along), runs="flood" if along > 0 else "ebb")


@dataclass(frozen=True, eq=False)
class Source:
    """Where a current is known from: an area, a position of a grid, or both at the place itself.

    Parameters
    ----------
    distance_nmi
        [nmi] From the place; 0 where the current is known there.
    position
        [deg] Longitude and latitude at which it is read.
    stream
        Of the area; None for a grid alone.
    meeting
        The region's areas where several count; None where one does.
    grid
        Gridded currents; None where they tell nothing.
    """

    distance_nmi: float
    position: tuple[float, float]
    stream: TidalStream | None = None
    meeting: Currents | None = None
    grid: CurrentGrid | None = None

    def parts(self, begin: datetime, end: datetime) -> tuple[Part, ...]:
        """Cut a time by what tells the current: gridded currents, and the areas in what they leave.

        Parameters
        ----------
        begin, end
            From when until when, zone-aware.

        Returns
        -------
        In order; empty where nothing is known then.
        """
        begin_s, end_s = begin.timestamp(), end.timestamp()
        parts = [] if self.grid is None else list(_gridded(self.grid, self.position, begin_s, end_s))
        if self.stream is not None:
            edges = [begin_s, *(edge for part in parts for edge in (part.begin_s, part.end_s)), end_s]
            of = self.stream if self.meeting is None else _met(self.meeting, self.position, begin_s, end_s)
            gaps = zip(edges[::2], edges[1::2], strict=True)
            parts += [Part(low, high, of) for low, high in gaps if low < high]
        return tuple(sorted(parts, key=lambda part: part.begin_s))


def find_sources(currents: Currents, position: tuple[float, float], own: int | None = None) -> tuple[Source, ...]:
    """Find where the current at a place is known from.

    Parameters
    ----------
    currents
        The region's.
    position
        [deg] Longitude and latitude of the place.
    own
        The area that is the place; None where it is none.

    Returns
    -------
    What tells the current at the place itself; where nothing does, each area and the grid, the nearest first.
    """
    grid, (here,) = currents.grid, currents.plane.to_plane([position])
    at_place = None if grid is None or not _ever_known(grid, position) else grid
    if own is not None:
        return (Source(0.0, position, currents.streams[own], grid=at_place),)
    weights = currents.weights(here[None, :])[0] if currents.streams else np.zeros(0)
    if weights.any():
        meeting = replace(currents, grid=None) if np.count_nonzero(weights) > 1 else None
        return (Source(0.0, position, currents.streams[int(weights.argmax())], meeting, at_place),)
    if at_place is not None:
        return (Source(0.0, position, grid=at_place),)
    found = []
    for stream, shape in zip(currents.streams, currents.shapes, strict=True):
        edge = shapely.get_coordinates(shapely.shortest_line(shapely.Point(here), shape))[-1]
        ((lon, lat),) = currents.plane.to_lonlat([edge])
        found.append(Source(apart_m(position, (float(lon), float(lat))) / METRES_PER_NMI, position, stream))
    if grid is not None:
        found.append(_nearest_in(grid, position))
    return tuple(sorted(found, key=lambda source: source.distance_nmi))


def moment_of(posix_s: float) -> datetime:
    """Tell a moment.

    Parameters
    ----------
    posix_s
        [s] POSIX.

    Returns
    -------
    UTC, to the second.
    """
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(posix_s))


def _bends(series: Series) -> list[tuple[float, float]]:
    """Find when [s] the speed [kn] is greatest and least in turn, the first moment and the last among them.

    Along a straight piece the vector's length is convex: greatest at an end, least where the vector stands across the
    piece. Of a ripple's two bends neither is kept, the smallest ripple first.
    """
    times, east, north = series.posix_s, series.east, series.north
    to_east, to_north = np.diff(east), np.diff(north)
    squared = to_east**2 + to_north**2
    share = -(east[:-1] * to_east + north[:-1] * to_north) / np.where(squared > 0, squared, 1.0)
    within = (share > 0) & (share < 1)
    least_s = (times[:-1] + share * np.diff(times))[within]
    least_kn = np.hypot(east[:-1] + share * to_east, north[:-1] + share * to_north)[within]
    at, speed = np.concatenate((times, least_s)), np.concatenate((np.hypot(east, north), least_kn))
    order = np.argsort(at, kind="stable")
    at, speed = at[order], speed[order]
    fresh = np.concatenate(([True], np.diff(speed) != 0))
    at, speed = at[fresh], speed[fresh]
    rises = np.diff(speed) > 0
    bends = dict.fromkeys([0, *(np.flatnonzero(rises[1:] != rises[:-1]) + 1).tolist(), len(speed) - 1])
    points = [(float(at[i]), float(speed[i])) for i in bends]
    while len(points) > 1:
        steps = [abs(after - before) for (_, before), (_, after) in pairwise(points)]
        smallest = int(np.argmin(steps))
        if steps[smallest] >= _RIPPLE_KN:
            break
        del points[smallest : smallest + 2]
    return points


def _gridded(grid: CurrentGrid, position: tuple[float, float], begin_s: float, end_s: float) -> Iterator[Part]:
    """Yield each run of moments at which a grid holds something at a position."""
    times = grid.posix_s[(grid.posix_s >= begin_s - _BEYOND_S) & (grid.posix_s <= end_s + _BEYOND_S)]
    east, north = grid.at(*position, times)
    known = np.flatnonzero(np.isfinite(east) & np.isfinite(north))
    for run in np.split(known, np.flatnonzero(np.diff(known) > 1) + 1):
        if run.size < 2:
            continue
        low, high = max(begin_s, float(times[run[0]])), min(end_s, float(times[run[-1]]))
        if low < high:
            yield Part(low, high, Series(times[run], east[run], north[run]))


def _met(areas: Currents, position: tuple[float, float], begin_s: float, end_s: float) -> Series:
    times = np.arange(begin_s - _BEYOND_S, end_s + _BEYOND_S + _STEP_S, _STEP_S)
    east, north = areas.at(areas.plane.to_plane([position]), times)
    return Series(times, east[0], north[0], is_met=True)


def _ever_known(grid: CurrentGrid, position: tuple[float, float]) -> bool:
    east, north = grid.at(*position, grid.posix_s)
    return bool((np.isfinite(east) & np.isfinite(north)).any())


def _nearest_in(grid: CurrentGrid, position: tuple[float, float]) -> Source:
    """Find the grid's nearest position that holds a current at some time."""
    rows, columns = np.nonzero(np.isfinite(grid.east_kn).any(axis=0))
    lon, lat = grid.lon[columns], grid.lat[rows]
    _, _, away_m = _GEOD.inv(np.full(lon.shape, position[0]), np.full(lat.shape, position[1]), lon, lat)
    nearest = int(np.argmin(away_m))
    spot = ((float(lon[nearest]) + 180.0) % 360.0 - 180.0, float(lat[nearest]))
    return Source(float(away_m[nearest]) / METRES_PER_NMI, spot, grid=grid)


def _set_deg(east: float, north: float) -> float:
    return round(float(np.degrees(np.arctan2(east, north))) % 360.0, 6) % 360.0
