"""The tidal stream of one area at any time: along its axis, as a vector, and when it turns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from layers.constituents import arguments, speed_deg_per_h

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import ArrayLike, NDArray

    from layers.constituents import Harmonic

    Floats = NDArray[np.float64]

__all__ = ["TidalStream", "Turn", "find_turns", "hourly_kn", "most_kn"]

TurnKind: TypeAlias = Literal["slack", "flood", "ebb", "least"]

_STEP_S = 360.0  # s, six minutes: the usual step of stream tables; no constituent turns twice in it
_HALF_SLOPE_S = 30.0  # s; the slope is that of a chord from so long before to so long after
_HALVINGS = 11  # of six minutes: to within 0.2 s
_AT_ONCE = 16_384  # times; what is worked on stays in the processor's cache
_DRAWN_STRAIGHT = 1e-6  # of the amplitudes: what `layers.constituents` may be off by


@dataclass(frozen=True)
class TidalStream:
    """The stream of an area.

    Parameters
    ----------
    name
        Name of the narrows.
    flood_deg, ebb_deg
        [deg] Directions true towards which flood and ebb set; they need not be opposite.
    mean_kn
        [kn] Mean along the axis, flood positive.
    harmonics
        What each constituent contributes, as `layers.constituents.read_constituents` returns it.
    latitude_deg
        [deg] Latitude of the area, north positive.

    Examples
    --------
    >>> from layers.constituents import read_constituents
    >>> stream = TidalStream("Knap Narrows", 40.0, 225.0, 0.1, read_constituents("S2 2.0 0"), 44.5)
    >>> [round(float(speed), 1) for speed in stream.along_kn([0.0, 3 * 3600.0, 6 * 3600.0])]
    [2.1, 0.1, -1.9]
    """

    name: str
    flood_deg: float
    ebb_deg: float
    mean_kn: float
    harmonics: tuple[Harmonic, ...]
    latitude_deg: float

    def along_kn(self, posix_s: ArrayLike) -> Floats:
        """Predict the stream along its axis.

        Parameters
        ----------
        posix_s
            [s] Times, POSIX, of any shape.

        Returns
        -------
        Floats
            [kn] The speed at each time, flood positive, in the same shape.
        """
        times = np.asarray(posix_s, dtype=np.float64)
        flat = times.ravel()
        speeds = np.full(flat.shape, float(self.mean_kn))
        if self.harmonics:
            names = tuple(one.name for one in self.harmonics)
            amplitudes = np.array([one.amplitude_kn for one in self.harmonics])
            lags = np.array([[one.lag_deg / 360] for one in self.harmonics])
            for first in range(0, flat.size, _AT_ONCE):
                some = slice(first, first + _AT_ONCE)
                turned, factor = arguments(names, flat[some], self.latitude_deg)
                turned -= lags
                turned *= 2 * np.pi
                factor *= np.cos(turned, out=turned)
                speeds[some] += amplitudes @ factor
        return speeds.reshape(times.shape)

    def east_north_kn(self, posix_s: ArrayLike) -> Floats:
        """Predict the stream as a vector.

        Parameters
        ----------
        posix_s
            [s] Times, POSIX, of any shape.

        Returns
        -------
        Floats
            [kn] How fast the water goes east and north at each time; one axis more, of two, at the end.
        """
        along = self.along_kn(posix_s)
        sets_rad = np.radians(np.where(along >= 0, self.flood_deg, self.ebb_deg))
        return np.stack((np.sin(sets_rad), np.cos(sets_rad)), axis=-1, dtype=np.float64) * np.abs(along)[..., None]


@dataclass(frozen=True)
class Turn:
    """A moment at which a stream turns, or runs fastest or slowest.

    Parameters
    ----------
    kind
        ``slack``; ``flood`` or ``ebb`` where it runs fastest; ``least`` where it runs slowest without turning.
    at
        When, UTC, to a second.
    speed_kn
        [kn] How fast it runs, never negative.
    sets_deg
        [deg] Where it sets then; at slack, where it will set next.
    """

    kind: TurnKind
    at: datetime
    speed_kn: float
    sets_deg: float


def find_turns(stream: TidalStream, begin: datetime, end: datetime) -> tuple[Turn, ...]:
    """Find slacks, and the maxima of flood and ebb between them.

    Parameters
    ----------
    stream
        The stream.
    begin, end
        From when until when, zone-aware; both count.

    Returns
    -------
    tuple[Turn, ...]
        All turns in order. Between two slacks there is a maximum; where other tides make two of it, the least between
        them is there too, as it is where the mean outweighs the tide and there is no slack. A steady stream has none.

    Notes
    -----
    The stream is looked at every six minutes: what runs the other way for less than that is told as its least.

    Examples
    --------
    >>> from layers.constituents import read_constituents
    >>> stream = TidalStream("Knap Narrows", 40.0, 225.0, 0.0, read_constituents("S2 2.0 0"), 44.5)
    >>> begin = datetime(2026, 7, 1, 1, tzinfo=UTC)
    >>> [(turn.kind, f"{turn.at:%H:%M}") for turn in find_turns(stream, begin, begin + timedelta(hours=9))]
    [('slack', '03:00'), ('ebb', '06:00'), ('slack', '09:00')]
    """
    first, last = begin.timestamp(), end.timestamp()
    times = _steps(first - _STEP_S, last + _STEP_S)
    return tuple(
        turn
        for turn in sorted((*_slacks(stream, times), *_extremes(stream, times)), key=lambda turn: turn.at)
        if begin <= turn.at <= end
    )


def hourly_kn(stream: TidalStream, begin: datetime, hours: int) -> Floats:
    """Predict a stream hour by hour, for a table.

    Parameters
    ----------
    stream
        The stream.
    begin
        The first moment, zone-aware.
    hours
        [h] How long.

    Returns
    -------
    Floats
        [kn] Speeds at the beginning and after each hour, one more than hours; flood positive.
    """
    return stream.along_kn(begin.timestamp() + 3600.0 * np.arange(hours + 1))


def most_kn(stream: TidalStream, begin: datetime, end: datetime) -> float:
    """Return a speed that a stream doesn't exceed, flood or ebb.

    Parameters
    ----------
    stream
        The stream.
    begin, end
        From when until when, zone-aware.

    Returns
    -------
    float
        [kn] The greatest speed, or up to some thousandths more: the greatest of every six minutes, and what the
        curvature of all constituents together could add in between.

    Notes
    -----
    Between two times h apart a curve lies above the higher of them by h^2 / 8 times its greatest curvature at the most;
    that of the stream is the sum of f a w^2 at the most, w being the constituent's speed.
    """
    if not stream.harmonics:
        return abs(float(stream.mean_kn))
    times = _steps(begin.timestamp(), end.timestamp())
    speeds_per_s = np.radians([speed_deg_per_h(one.name) / 3600 for one in stream.harmonics])
    _, factors = arguments([one.name for one in stream.harmonics], times, stream.latitude_deg)
    amplitudes = factors.max(axis=1) * [one.amplitude_kn for one in stream.harmonics]
    between = _STEP_S**2 / 8 * float(amplitudes @ speeds_per_s**2)
    exceeded = 1.01 * between + _DRAWN_STRAIGHT * float(amplitudes.sum())  # f and u change a little between, too
    return float(np.abs(stream.along_kn(times)).max()) + exceeded


def _steps(first_s: float, last_s: float) -> Floats:
    count = max(0, int(np.ceil((last_s - first_s) / _STEP_S)))
    return first_s + _STEP_S * np.arange(count + 1, dtype=np.float64)


def _slacks(stream: TidalStream, times: Floats) -> Iterator[Turn]:
    for at, rises in _crossings(stream.along_kn, times):
        yield Turn("slack", _moment(at), 0.0, stream.flood_deg if rises else stream.ebb_deg)


def _extremes(stream: TidalStream, times: Floats) -> Iterator[Turn]:
    def slope(some: Floats) -> Floats:
        return stream.along_kn(some + _HALF_SLOPE_S) - stream.along_kn(some - _HALF_SLOPE_S)

    for at, rises in _crossings(slope, times):
        speed = float(stream.along_kn(at))
        floods = speed > 0
        kind: TurnKind = "least" if floods == rises else ("flood" if floods else "ebb")
        yield Turn(kind, _moment(at), abs(speed), stream.flood_deg if floods else stream.ebb_deg)


def _crossings(of: Callable[[Floats], Floats], times: Floats) -> Iterator[tuple[float, bool]]:
    """Yield where a function changes its sign between two steps, and whether it rises."""
    positive = of(times) > 0
    at = np.flatnonzero(positive[:-1] != positive[1:])
    low, high, rises = times[at], times[at + 1], positive[at + 1]
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        is_beyond = (of(middle) > 0) == rises
        low, high = np.where(is_beyond, low, middle), np.where(is_beyond, middle, high)
    yield from zip(((low + high) / 2).tolist(), rises.tolist(), strict=True)


def _moment(posix_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(posix_s))
