"""Currents on a grid of positions and times, read off between its points, and never beyond them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from layers.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]

__all__ = ["MOST_KN", "MOST_STEP_H", "CurrentGrid", "build_current_grid", "check_times"]

MOST_KN = 20.0  # [kn] no sea runs faster: what says so has other units, or is a mark for missing data
_GAP_STEPS = 1.5  # times the usual step: a gap
MOST_STEP_H = 6.0  # [h] half a semidiurnal tide: between times further apart the stream may have turned and turned back
_HAIR_DEG = 1e-9  # [deg] a tenth of a millimetre: nearer to the edge than this is on it
_ROUND_DEG = 360.0  # [deg]
_HALF_DEG = 180.0  # [deg]
_HOUR_S = 3600.0  # [s]
_SLACK_S = 1.0  # [s] times kept as parts of a day are not whole seconds


@dataclass(frozen=True, eq=False)
class CurrentGrid:
    """Currents on a grid, hour by hour or so.

    Parameters
    ----------
    source
        Where they come from, in words: the file's name.
    lon
        [deg] Longitudes, nx of them, rising; they run on beyond 180 where the grid crosses the 180th meridian.
    lat
        [deg] Latitudes, ny of them, rising.
    posix_s
        [s] Times since 1970-01-01 00:00 UTC, nt of them, rising.
    east_kn
        [kn] How fast the water runs to the east: nt x ny x nx; NaN where nothing is known.
    north_kn
        [kn] How fast it runs to the north, likewise.
    notes
        What is to be said of it: which level was taken, how much of it has no data.

    Examples
    --------
    >>> still, run = np.zeros((2, 2, 2)), np.array([np.zeros((2, 2)), np.full((2, 2), 3.0)])
    >>> lon, lat, posix_s = np.array([-38.0, -37.0]), np.array([44.0, 45.0]), np.array([0.0, 3600.0])
    >>> grid = CurrentGrid("a table", lon, lat, posix_s, run, still)
    >>> [float(part) for part in grid.at(-37.5, 44.2, 1200.0)]
    [1.0, 0.0]
    """

    source: str
    lon: Floats
    lat: Floats
    posix_s: Floats
    east_kn: Floats
    north_kn: Floats
    notes: tuple[str, ...] = ()

    def at(self, lon: ArrayLike, lat: ArrayLike, posix_s: ArrayLike) -> tuple[Floats, Floats]:
        """[kn] Read the current off.

        Parameters
        ----------
        lon
            [deg] Longitudes, counted from whichever meridian.
        lat
            [deg] Latitudes.
        posix_s
            [s] Times since 1970-01-01 00:00 UTC; the three broadcast.

        Returns
        -------
        tuple[Floats, Floats]
            To the east and to the north: bilinear between the four positions around, linear between the two times
            around. NaN beyond the first and last of each, and where a point that carries any weight has none.
        """
        given = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (lon, lat, posix_s)))
        shape = given[0].shape
        x, y, t = (part.ravel() for part in given)
        with np.errstate(invalid="ignore"):  # what is NaN or infinite is outside, and needs no warning
            turned = x + _ROUND_DEG * np.ceil((self.lon[0] - _HAIR_DEG - x) / _ROUND_DEG)
        column, along, in_x = _between(self.lon, turned, _HAIR_DEG)
        row, up, in_y = _between(self.lat, y, _HAIR_DEG)
        hour, since, in_t = _between(self.posix_s, t, 0.0)
        outside = ~(in_x & in_y & in_t)
        parts = (self.east_kn.reshape(-1), self.north_kn.reshape(-1))
        sums = (np.where(outside, np.nan, 0.0), np.where(outside, np.nan, 0.0))
        for later, upper, right in product((0, 1), repeat=3):
            weight = (since if later else 1 - since) * (up if upper else 1 - up) * (along if right else 1 - along)
            point = ((hour + later) * self.lat.size + row + upper) * self.lon.size + column + right
            for part, total in zip(parts, sums, strict=True):
                np.add(total, np.where(weight > 0, weight * part[point], 0.0), out=total)
        return sums[0].reshape(shape), sums[1].reshape(shape)

    @cached_property
    def greatest_kn(self) -> float:
        """[kn] The fastest current at any of its points; 0 where none has any."""
        hours = zip(self.east_kn, self.north_kn, strict=True)  # one by one: the whole at once would take as much again
        return max((float(np.fmax.reduce(np.hypot(*hour), axis=None, initial=0.0)) for hour in hours), default=0.0)

    @property
    def begins(self) -> datetime:
        """The first time, UTC."""
        return datetime.fromtimestamp(float(self.posix_s[0]), UTC)

    @property
    def ends(self) -> datetime:
        """The last time, UTC."""
        return datetime.fromtimestamp(float(self.posix_s[-1]), UTC)

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """[deg] West, south, east, north; a west above the east where it crosses the 180th meridian."""
        west, east = float(self.lon[0]), float(self.lon[-1])
        if east - west >= _ROUND_DEG:
            west, east = -_HALF_DEG, _HALF_DEG
        elif east > _HALF_DEG:
            east -= _ROUND_DEG
        return west, float(self.lat[0]), east, float(self.lat[-1])


def build_current_grid(
    where: str,
    source: str,
    axes: tuple[Floats, Floats, Floats],
    east_kn: Floats,
    north_kn: Floats,
    notes: tuple[str, ...] = (),
) -> CurrentGrid:
    """Make a grid of what a file holds, once it is known to be one.

    Parameters
    ----------
    where
        The file, for what is refused.
    source
        What the grid is called.
    axes
        Longitudes and latitudes [deg], rising or falling, and times [s] since 1970-01-01 00:00 UTC, rising.
    east_kn
        [kn] Towards the east: times x latitudes x longitudes.
    north_kn
        [kn] Towards the north, likewise.
    notes
        What the reader has to say already.

    Returns
    -------
    CurrentGrid
        Rising all ways, its first longitude in [-180, 180).

    Raises
    ------
    InputError
        There are fewer than two of some axis, positions that are none or out of order, times that `check_times`
        refuses, a current above `MOST_KN`, or none at all.
    """
    lon, lat, posix_s = axes
    check_times(posix_s, where)
    for values, name, most in ((lat, "latitudes", 90.0), (lon, "longitudes", 540.0)):
        if values.size < 2:
            problem = f"has fewer than two {name}, so that there is no grid to read between"
            raise InputError(where, problem, value=values.size, remedy="give a grid of 2 x 2 positions or more")
        wrong = values[~(np.abs(values) <= most)]
        if wrong.size:
            raise InputError(where, f"has {name} that are none", value=float(wrong[0]), remedy="give degrees")
    if np.any(np.abs(np.diff(lon)) > _HALF_DEG):
        lon = np.unwrap(lon, period=_ROUND_DEG)
    lon, turn_x = _rising(lon, "longitudes", where)
    lat, turn_y = _rising(lat, "latitudes", where)
    if lon[-1] - lon[0] > _ROUND_DEG + _HAIR_DEG:
        span = f"{lon[0]:g} to {lon[-1]:g}"
        raise InputError(where, "goes more than once round the world", value=span, remedy="cut it to the region")
    lon = lon - _ROUND_DEG * np.floor((lon[0] + _HALF_DEG) / _ROUND_DEG)
    east_kn, north_kn = (np.array(part[:, turn_y, turn_x], np.float64, order="C") for part in (east_kn, north_kn))
    missing = np.isnan(east_kn) | np.isnan(north_kn)
    if missing.all():
        raise InputError(where, "has no current anywhere", remedy="get the file again, or leave it out")
    for part in (east_kn, north_kn):
        part[missing] = np.nan  # half a current is none
    grid = CurrentGrid(source, lon, lat, posix_s, east_kn, north_kn, (*notes, *_about(posix_s, missing)))
    if grid.greatest_kn > MOST_KN:
        speed = np.hypot(east_kn, north_kn)
        hour, row, column = np.unravel_index(int(np.nanargmax(speed)), speed.shape)
        place = f"at lat {lat[row]:.9g}, lon {lon[column]:.9g} at {_shown(posix_s[hour])}"
        problem = f"has a current of more than {MOST_KN:g} kn {place}"
        remedy = "look at its units, and at how it marks missing data"
        raise InputError(where, problem, value=f"{grid.greatest_kn:,.1f} kn", remedy=remedy)
    return grid


def check_times(posix_s: Floats, where: str) -> None:
    """Refuse times between which no current can be told.

    Parameters
    ----------
    posix_s
        [s] Since 1970-01-01 00:00 UTC.
    where
        The file, and the variable in it.

    Raises
    ------
    InputError
        There are fewer than two, they don't rise, or two are further apart than `MOST_STEP_H`, or half as much again as
        usual.
    """
    remedy = "give one current for every hour, the earliest first"
    if posix_s.size < 2:
        problem = "has fewer than two times, so that there is nothing to read between"
        raise InputError(where, problem, value=posix_s.size, remedy=remedy)
    steps_s = np.diff(posix_s)
    usual_s = float(np.median(steps_s))
    rules = (
        (~(steps_s > 0), "times don't rise"),
        (steps_s > MOST_STEP_H * _HOUR_S + _SLACK_S, ""),
        (
            steps_s > _GAP_STEPS * usual_s,
            f"times in between are missing, where they are {usual_s / _HOUR_S:.3g} h apart",
        ),
    )
    for bad, rule in rules:
        if bad.any():
            at = int(np.argmax(bad))
            pair = f"{_shown(posix_s[at])}, then {_shown(posix_s[at + 1])}"
            problem = rule or f"times are more than {MOST_STEP_H:g} h apart: what runs between them can't be told"
            raise InputError(where, problem, value=pair, remedy=remedy)


def _between(values: Floats, at: Floats, hair: float) -> tuple[NDArray[np.int_], Floats, NDArray[np.bool_]]:
    """Find the value at or below each, the share of the way from there to the next, and whether it is inside at all."""
    inside = (at >= values[0] - hair) & (at <= values[-1] + hair)
    held = np.clip(np.where(inside, at, values[0]), values[0], values[-1])
    low = np.clip(np.searchsorted(values, held, side="right") - 1, 0, values.size - 2)
    return low, (held - values[low]) / (values[low + 1] - values[low]), inside


def _rising(values: Floats, name: str, where: str) -> tuple[Floats, slice]:
    turn = slice(None, None, -1 if values[-1] < values[0] else 1)
    steps = np.diff(values[turn])
    if not np.all(steps > 0):
        at = int(np.argmax(~(steps > 0)))
        pair = f"{values[turn][at]:.9g}, then {values[turn][at + 1]:.9g}"
        raise InputError(where, f"{name} neither rise nor fall all the way", value=pair, remedy="put them in order")
    return np.array(values[turn], dtype=np.float64), turn


def _about(posix_s: Floats, missing: NDArray[np.bool_]) -> list[str]:
    notes = []
    steps_s = np.diff(posix_s)
    if steps_s.max() > _HOUR_S + _SLACK_S:
        after = _shown(posix_s[int(np.argmax(steps_s))])
        notes.append(
            f"times are up to {steps_s.max() / _HOUR_S:.3g} h apart (after {after}), and read in a line between"
        )
    always: NDArray[np.bool_] = np.all(missing, axis=0)
    ever: NDArray[np.bool_] = np.any(missing, axis=0)
    if always.any():
        notes.append(f"{_share(always)} of its {always.size:,} positions have no current (land, or no data)")
    if (ever & ~always).any():
        notes.append(f"{_share(ever & ~always)} of its {always.size:,} positions have none at some of the times")
    return notes


def _share(mask: NDArray[np.bool_]) -> str:
    share = 100 * float(mask.mean())
    return f"{share:.0f} %" if share >= 1 else "under 1 %"


def _shown(posix_s: float) -> str:
    return f"{datetime.fromtimestamp(float(posix_s), UTC):%Y-%m-%d %H:%M:%S} UTC".replace(":00 UTC", " UTC")
