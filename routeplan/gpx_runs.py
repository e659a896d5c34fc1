"""Recorded tracks (GPX 1.0 and 1.1) to how long a boat ran at which speed.

A receiver's track is a row of positions with times. Lying still, gaps in the recording and leaps that no boat makes are
left out; what remains is sorted into classes of two knots.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from layers.errors import InputError
from layers.gpx_files import parse_gpx
from routeplan.fillups import SpeedRun
from routeplan.moments import write_moment
from routeplan.quantities import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from pyproj import Geod

    from routeplan.boats import Boat

__all__ = ["TrackRuns", "cut_runs", "read_runs"]

_LARGEST_BYTES = 64_000_000  # some days at a position a second
_STILL_KN = 1.0  # kn: slower is lying still, or drifting, as far as a receiver can tell
_LONGEST_GAP_S = 600.0  # s: nobody knows what a boat did in a longer one
_STEP_S = 10.0  # s: speeds are taken over at least this long, so that a receiver's jitter of some metres doesn't count
_CLASS_KN = 2.0  # kn; classes lie about even knots, as throttles are set by round figures
_OVER_SHARE, _OVER_KN = (
    1.25,
    5.0,
)  # over her fastest speed: a following sea and a stream; more is a leap of the receiver
_FASTEST_KN = 100.0  # kn: where nothing is known of the boat
_AGREEING = 3  # positions that agree with one another make a new beginning, where the old one was the leap


@dataclass(frozen=True)
class TrackRuns:
    """What recorded tracks say of the running between two fill-ups.

    Parameters
    ----------
    distance_nmi
        [nmi] Distance run over ground.
    time_h
        [h] Time under way.
    speeds_run
        How long at which mean speed, slowest first.
    began, ended
        First and last moment that was taken.
    last_position
        [deg] Longitude and latitude at the last moment.
    notes
        What was left out, in words.
    """

    distance_nmi: float
    time_h: float
    speeds_run: tuple[SpeedRun, ...]
    began: datetime
    ended: datetime
    last_position: tuple[float, float]
    notes: tuple[str, ...]


class _Point(NamedTuple):
    when: datetime
    lon: float
    lat: float


class _Step(NamedTuple):
    distance_m: float
    time_s: float


def read_runs(
    paths: Sequence[Path], boat: Boat | None, *, after: datetime | None = None, until: datetime | None = None
) -> TrackRuns:
    """Read how long a boat ran at which speed from recorded tracks.

    Parameters
    ----------
    paths
        GPX files; together they are one boat's running, and none may overlap another in time.
    boat
        Whose they are: a speed far beyond her fastest is a leap of the receiver. None where nothing is known of her.
    after, until
        The fill-ups that it happened between; what lies outside is left out, and said. None where there is no limit.

    Returns
    -------
    Distance, time and speeds.

    Raises
    ------
    InputError
        A file can't be read, is not GPX, has positions without a time, out of order or off the globe, overlaps another,
        or nothing of it lies between the fill-ups; carries file and position.

    Notes
    -----
    Distances are geodesic, on WGS 84. Speeds are over ground, mean over ten seconds or more: stream and wind are in
    them. Time lying still (below 1 kn) and gaps of more than ten minutes are left out, though an engine may have run.
    """
    pieces, outside = _between(paths, after, until)
    notes = [f"{outside:,} positions before the last fill-up or after this one left out"] if outside else []
    summed = _summed(pieces, boat, notes)
    if summed is None:
        raise InputError(", ".join(map(str, paths)), f"the boat never moves at {_STILL_KN:g} kn or more in it")
    return summed


def cut_runs(
    paths: Sequence[Path], boat: Boat | None, spans: Sequence[tuple[datetime, datetime]]
) -> tuple[TrackRuns | None, ...]:
    """Read recorded tracks once, and cut them at the fill-ups of a passage.

    Parameters
    ----------
    paths, boat
        As for `read_runs`.
    spans
        When each part of the passage began and ended; what lies outside all of them is left out.

    Returns
    -------
    One for each part; None where nothing of it was recorded, or the boat lay still.

    Raises
    ------
    InputError
        As for `read_runs`; or nothing of the tracks lies in any of the parts.
    """
    pieces, _ = _between(paths, min(began for began, _ in spans), max(ended for _, ended in spans))
    cut = []
    for began, ended in spans:
        within = [(path, [point for point in points if began <= point.when <= ended]) for path, points in pieces]
        cut.append(_summed([piece for piece in within if len(piece[1]) > 1], boat, []))
    if not any(cut):
        raise InputError(", ".join(map(str, paths)), f"the boat never moves at {_STILL_KN:g} kn or more in it")
    return tuple(cut)


def _summed(pieces: list[tuple[str, list[_Point]]], boat: Boat | None, notes: list[str]) -> TrackRuns | None:
    """Add up the running in pieces of tracks; None where there is none."""
    if not pieces:
        return None
    fastest_kn = _FASTEST_KN if boat is None else _OVER_SHARE * boat.fastest_kn + _OVER_KN
    pieces = sorted(pieces, key=lambda piece: piece[1][0].when)
    _refuse_overlap(pieces)
    leaps, gaps = 0, timedelta(0)
    steps: list[_Step] = []
    for _, points in pieces:
        for run in _whole_runs(points, fastest_kn):
            leaps += run.leaps
            gaps += run.gap
            steps.extend(_steps(run.points))
    if leaps:
        notes.append(f"{leaps:,} positions left out: leaps that no boat makes")
    if gaps:
        minutes = gaps.total_seconds() / 60
        notes.append(f"gaps of {minutes:.0f} min in the recording left out, with what was run then")
    moving = [step for step in steps if step.distance_m / step.time_s * 3600 / METRES_PER_NMI >= _STILL_KN]
    if not moving:
        return None
    last = max((points[-1] for _, points in pieces), key=lambda point: point.when)
    return TrackRuns(
        distance_nmi=math.fsum(step.distance_m for step in moving) / METRES_PER_NMI,
        time_h=math.fsum(step.time_s for step in moving) / 3600,
        speeds_run=_classes(moving),
        began=pieces[0][1][0].when,
        ended=last.when,
        last_position=(last.lon, last.lat),
        notes=tuple(notes),
    )


def _between(
    paths: Sequence[Path], after: datetime | None, until: datetime | None
) -> tuple[list[tuple[str, list[_Point]]], int]:
    """Read the positions between two moments, a list a segment with its file, and count the others."""
    pieces: list[tuple[str, list[_Point]]] = []
    outside = 0
    for path in paths:
        for points in _read_segments(path):
            within = [p for p in points if (after is None or p.when >= after) and (until is None or p.when <= until)]
            outside += len(points) - len(within)
            if within:
                pieces.append((str(path), within))
    if not pieces:
        between = " and ".join(write_moment(moment) for moment in (after, until) if moment is not None)
        problem = f"holds nothing between the fill-ups, {between}" if outside else "holds no track with two positions"
        raise InputError(", ".join(map(str, paths)), problem, remedy="is it the track of this run?")
    return pieces, outside


def _classes(steps: Iterable[_Step]) -> tuple[SpeedRun, ...]:
    metres: dict[int, float] = {}
    seconds: dict[int, float] = {}
    for step in steps:
        place = round(step.distance_m / step.time_s * 3600 / METRES_PER_NMI / _CLASS_KN)
        metres[place] = metres.get(place, 0.0) + step.distance_m
        seconds[place] = seconds.get(place, 0.0) + step.time_s
    return tuple(
        SpeedRun(
            speed_kn=round(metres[place] / seconds[place] * 3600 / METRES_PER_NMI, 3),
            time_h=max(round(seconds[place] / 3600, 4), 1e-4),
        )
        for place in sorted(metres)
    )


def _read_segments(path: Path) -> Iterator[list[_Point]]:
    """Read the track segments of a file, each point checked."""
    document = parse_gpx(path, _LARGEST_BYTES)
    found = 0
    for t, track in enumerate(document.tracks, start=1):
        for s, segment in enumerate(track.segments, start=1):
            place = f"{path}, track {t}, segment {s}"
            points = [_checked(point, f"{place}, position {n}") for n, point in enumerate(segment.points, start=1)]
            for n, (one, other) in enumerate(itertools.pairwise(points), start=2):
                if other.when < one.when:
                    problem = f"is earlier than the position before it, {write_moment(one.when)}"
                    raise InputError(f"{place}, position {n}", problem, value=write_moment(other.when))
            found += len(points)
            if len(points) > 1:
                yield points
    if not found:
        marks = document.routes or document.waypoints
        holds = "a route or marks, which say nothing of when" if marks else "no track"
        raise InputError(str(path), f"holds {holds}", remedy="export the recorded track with its times")


def _checked(point: object, where: str) -> _Point:
    lat, lon = getattr(point, "latitude", None), getattr(point, "longitude", None)
    for name, degrees, limit in (("latitude", lat, 90), ("longitude", lon, 180)):
        if not isinstance(degrees, int | float) or not math.isfinite(degrees) or abs(degrees) > limit:
            raise InputError(where, f"its {name} must lie within {limit} degrees", value=str(degrees))
    when = getattr(point, "time", None)
    if not isinstance(when, datetime):
        raise InputError(where, "has no time", remedy="export the recorded track with its times")
    utc = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)  # GPX times are UTC by the standard
    return _Point(utc, float(lon or 0.0), float(lat or 0.0))


def _refuse_overlap(pieces: Sequence[tuple[str, Sequence[_Point]]]) -> None:
    for (one, earlier), (other, later) in itertools.pairwise(pieces):
        if later[0].when < earlier[-1].when:
            files = one if one == other else f"{one} and {other}"
            problem = f"tracks overlap from {write_moment(later[0].when)}"
            raise InputError(files, problem, remedy="give the track of one receiver only")


@dataclass(frozen=True)
class _Run:
    """Positions with neither leap nor gap among them, and what was left out before them."""

    points: list[_Point]
    leaps: int
    gap: timedelta


def _whole_runs(points: Sequence[_Point], fastest_kn: float) -> Iterator[_Run]:
    """Cut a segment at gaps, and leave out the positions that can't be."""
    kept = [points[0]]
    doubted: list[_Point] = []
    leaps, gap = 0, timedelta(0)
    for point in points[1:]:
        since_s = (point.when - kept[-1].when).total_seconds()
        if since_s > _LONGEST_GAP_S:
            yield _Run(kept, leaps + len(doubted), gap)
            kept, doubted, leaps, gap = [point], [], 0, timedelta(seconds=since_s)
        elif _can_be(kept[-1], point, fastest_kn):
            leaps += len(doubted)
            kept.append(point)
            doubted = []
        else:
            if doubted and not _can_be(doubted[-1], point, fastest_kn):
                leaps += len(doubted)
                doubted = []
            doubted.append(point)
            if len(doubted) == _AGREEING:  # they agree with one another: the leap lies before them
                yield _Run(kept, leaps, gap)
                kept, doubted, leaps, gap = doubted, [], 1, timedelta(0)
    yield _Run(kept, leaps + len(doubted), gap)


def _can_be(one: _Point, other: _Point, fastest_kn: float) -> bool:
    time_s = (other.when - one.when).total_seconds()
    if time_s == 0:
        return (one.lon, one.lat) == (other.lon, other.lat)
    return _metres(one, other) / time_s * 3600 / METRES_PER_NMI <= fastest_kn


def _steps(points: Sequence[_Point]) -> Iterator[_Step]:
    began = points[0]
    for point in points[1:]:
        time_s = (point.when - began.when).total_seconds()
        if time_s >= _STEP_S:
            yield _Step(_metres(began, point), time_s)
            began = point
    rest_s = (points[-1].when - began.when).total_seconds()
    if rest_s > 0:
        yield _Step(_metres(began, points[-1]), rest_s)


def _metres(one: _Point, other: _Point) -> float:
    return float(_earth().inv(one.lon, one.lat, other.lon, other.lat)[2])


@functools.cache
def _earth() -> Geod:
    from pyproj import Geod  # noqa: PLC0415  # heavy: only where a track is read

    return Geod(ellps="WGS84")
