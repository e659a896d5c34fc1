"""Tidal constituents: their speeds, equilibrium arguments and node factors, and texts that name them.

A stream is a mean and a sum of ``f a cos(V + u - g)`` over constituents, where amplitude a and Greenwich phase lag g
are the place's own. V runs with the mean longitudes of moon and sun, f and u follow the lunar nodes and perigee in
years; both are Foreman's [1]_, with the mean longitudes of the Explanatory Supplement [2]_. UTC is taken for Universal
and for Ephemeris Time, as there: the minute between them moves M2 by less than 0.02 degrees.

f and u are computed every hour and drawn straight between; V is straight over an hour anyway. That costs less than 1e-6
of a constituent's amplitude, in mid latitudes 1e-8 (test_constituents: all of them, 1950 to 2100), and makes a million
times cheap. NO1 alone is off by up to 3e-6 where it vanishes for some hours, within 10 degrees of the equator.

References
----------
.. [1] M. G. G. Foreman, *Manual for Tidal Heights Analysis and Prediction*, Pacific Marine Science Report 77-10,
   Institute of Ocean Sciences, Patricia Bay, 1977.
.. [2] *Explanatory Supplement to the Astronomical Ephemeris*, HMSO, London 1961, pages 98 and 107.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from layers.constituent_table import COMBINED, MAIN, SATELLITES
from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Cell = tuple[Floats, Floats, Floats, Floats]

__all__ = [
    "Constituent",
    "Harmonic",
    "Satellite",
    "arguments",
    "find_constituent",
    "read_constituents",
    "speed_deg_per_h",
]

MOST_KN = 20.0  # kn, our choice: the fastest narrows known run at about 16
_CELL_S = 3_600  # s, an hour: f and u are drawn straight within
_CELLS = 384  # of a block: sixteen days are computed, and remembered, at once
_EPOCH_D = 25_567.5  # days from 1899 December 31, 12:00, to 1970 January 1, 00:00
_J2000_D = 36_525.0  # days from 1899 December 31, 12:00, to 2000 January 1, 12:00
_LEAST_LATITUDE_DEG = 5.0  # deg; Foreman: the ratios of diurnal satellites have no bound nearer to the equator
# deg; of s, h, p, N' (minus the node's longitude) and p': at the epoch, by d, by (d / 10,000)^2 and by (d / 10,000)^3.
_LONGITUDES_DEG = np.array(
    [
        [270.434164, 13.1763965268, -0.0000850, 0.000000039],
        [279.696678, 0.9856473354, 0.00002267, 0.0],
        [334.329556, 0.1114040803, -0.0007739, -0.00000026],
        [-259.183275, 0.0529539222, -0.0001557, -0.000000050],
        [281.220844, 0.0000470684, 0.0000339, 0.000000070],
    ]
)
_ALIASES = {"LAM2": "LDA2", "LAMBDA2": "LDA2", "RHO": "RHO1", "SIGMA1": "SIG1"}
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
_FORM = "write name, speed in knots and phase lag in degrees, such as 'M2 1.8 43; S2 0.6 78'"


@dataclass(frozen=True)
class Satellite:
    """A line of the tide beside a main one, too near to be told from it in a year.

    Parameters
    ----------
    multiples
        Of p, N' and p', beyond those of the main line.
    ratio
        Its amplitude by that of the main line.
    phase_cycles
        [cycles] What is added to its argument.
    species
        Where the ratio goes with latitude, after which tides: ``diurnal`` or ``semidiurnal``; else empty.
    """

    multiples: tuple[int, int, int]
    ratio: float
    phase_cycles: float
    species: str


@dataclass(frozen=True)
class Constituent:
    """A tidal constituent.

    Parameters
    ----------
    name
        Its name, in capitals.
    multiples
        Of tau, s, h, p, N' and p' in its argument: Doodson's numbers, without his fives.
    phase_cycles
        [cycles] What is added to its argument.
    parts
        Factors and names of the main constituents that f and u are made of; its own name where it is one of them.
    satellites
        The lines beside it; of a combined one none, its parts have them.

    Examples
    --------
    >>> find_constituent("MS4").parts
    ((1, 'M2'), (1, 'S2'))
    """

    name: str
    multiples: tuple[int, int, int, int, int, int]
    phase_cycles: float
    parts: tuple[tuple[int, str], ...]
    satellites: tuple[Satellite, ...] = ()


@dataclass(frozen=True)
class Harmonic:
    """What one constituent contributes at a place.

    Parameters
    ----------
    name
        Name of the constituent.
    amplitude_kn
        [kn] Its speed at the most, while the node factor is one.
    lag_deg
        [deg] Greenwich phase lag.
    """

    name: str
    amplitude_kn: float
    lag_deg: float


def find_constituent(name: str) -> Constituent:
    """Find a constituent by its name.

    Parameters
    ----------
    name
        Its name; capitals or not.

    Returns
    -------
    Constituent
        The constituent.

    Raises
    ------
    InputError
        There is none of this name; names the nearest.

    Examples
    --------
    >>> find_constituent("m2").multiples
    (2, 0, 0, 0, 0, 0)
    >>> find_constituent("MS44")
    Traceback (most recent call last):
        ...
    layers.errors.InputError: constituents: MS44 is no constituent that is known here: did you mean MS4, ...?
    """
    known = _known()
    wanted = name.strip().upper()
    wanted = _ALIASES.get(wanted, wanted)
    if wanted in known:
        return known[wanted]
    if wanted == "Z0":
        raise InputError("constituents", "Z0 is the mean, no tide", remedy="give it as mean_kn")
    shown = "".join(name.split())[:20]
    near = difflib.get_close_matches(wanted[:20], known, n=3)
    remedy = f"did you mean {', '.join(near)}?" if near else "use the names of Foreman's list, such as M2, S2, K1 or M4"
    raise InputError("constituents", f"{shown or 'an empty name'} is no constituent that is known here", remedy=remedy)


def speed_deg_per_h(name: str) -> float:
    """Return how fast a constituent's argument grows.

    Parameters
    ----------
    name
        Name of the constituent.

    Returns
    -------
    float
        [deg/h] Its speed at the beginning of 2000; in a century it changes by less than 1e-7.

    Raises
    ------
    InputError
        There is none of this name.

    Examples
    --------
    >>> speed_deg_per_h("S2")
    30.0
    """
    _, linear, square, cube = _LONGITUDES_DEG.T
    tens = _J2000_D / 10_000
    rates = linear + 2e-4 * square * tens + 3e-4 * cube * tens**2  # deg a day; of s, h, p, N' and p'
    tau = 360.0 + rates[1] - rates[0]
    return round(float(np.dot(find_constituent(name).multiples, [tau, *rates])) / 24, 12)


def read_constituents(text: str) -> tuple[Harmonic, ...]:
    """Read the constituents of a stream.

    Parameters
    ----------
    text
        Name, speed in knots and Greenwich phase lag in degrees of each, ``;`` between them.

    Returns
    -------
    tuple[Harmonic, ...]
        What each contributes, as written; lags from 0 to 360 degrees.

    Raises
    ------
    InputError
        One can't be read, isn't known, is there twice, or has a speed or phase that can't be: says which.

    Examples
    --------
    >>> read_constituents("M2 1.8 43; S2 0.6 -282")
    (Harmonic(name='M2', amplitude_kn=1.8, lag_deg=43.0), Harmonic(name='S2', amplitude_kn=0.6, lag_deg=78.0))
    >>> read_constituents("M2 1.8 443")
    Traceback (most recent call last):
        ...
    layers.errors.InputError: constituents: the phase lag of M2 must be between -360 and 360 degrees (got 'M2 1.8 ...
    """
    found: dict[str, Harmonic] = {}
    for part in filter(None, (" ".join(part.split()) for part in text.split(";"))):
        harmonic = _read_harmonic(part)
        if harmonic.name in found:
            raise InputError("constituents", f"{harmonic.name} is there twice", value=part, remedy="leave one out")
        found[harmonic.name] = harmonic
    if not found:
        raise InputError("constituents", "there are none", value=text, remedy=f"{_FORM}; 'M2 0 0' where no tide runs")
    return tuple(found.values())


def _read_harmonic(part: str) -> Harmonic:
    words = part.split(" ")
    if len(words) != 3:
        raise InputError("constituents", f"can't be read at {part[:40]!r}", remedy=_FORM)
    constituent = find_constituent(words[0])
    name = constituent.name
    for what, word in zip(("speed", "phase lag"), words[1:], strict=True):
        if not _NUMBER.fullmatch(word):
            raise InputError("constituents", f"the {what} of {name} is no number", value=part, remedy=_FORM)
    speed_kn, lag_deg = float(words[1]), float(words[2])
    if not 0 <= speed_kn <= MOST_KN:
        problem, remedy = (
            f"the speed of {name} must be between 0 and {MOST_KN:g} kn",
            "turn a negative one by 180 degrees",
        )
        raise InputError("constituents", problem, value=part, remedy=remedy if speed_kn < 0 else "check the figure")
    if not -360 <= lag_deg <= 360:
        problem = f"the phase lag of {name} must be between -360 and 360 degrees"
        raise InputError("constituents", problem, value=part, remedy="check the figure")
    return Harmonic(name, speed_kn, lag_deg % 360)


def arguments(names: Sequence[str], posix_s: ArrayLike, latitude_deg: float) -> tuple[Floats, Floats]:
    """Compute arguments and node factors.

    Parameters
    ----------
    names
        Names of n constituents.
    posix_s
        [s] m times, POSIX.
    latitude_deg
        [deg] Latitude of the place, north positive; within 5 degrees of the equator 5 is taken.

    Returns
    -------
    tuple[Floats, Floats]
        [cycles] V + u, from 0 up, less than one and what it grows by in an hour; and f. Both n x m.

    Raises
    ------
    InputError
        A name isn't known.

    Notes
    -----
    With F = 1 + sum of r exp(i (the satellite's multiples of p, N', p' + phase)) over a main line's satellites, f = |F|
    and u = arg F. Ratios r of diurnal satellites go with 0.36309 (1 - 5 sin^2 L) / sin L, of semidiurnal ones with
    2.59808 sin L. Of combined constituents V and u are sums, f is a product.

    Examples
    --------
    >>> turned, factor = arguments(["M2"], 1201027824, 45.0)  # 2008-01-22 18:50:24
    >>> f"{turned[0, 0]:.5f} {factor[0, 0]:.5f}"
    '0.58018 0.96894'
    """
    cells = np.atleast_1d(np.asarray(posix_s, dtype=np.float64)) / _CELL_S
    whole = np.floor(cells)
    share = cells - whole
    place = whole.astype(np.int64)
    turned, per_cell, factor, factor_per_cell = _cells(tuple(names), place, float(latitude_deg))
    return turned + per_cell * share, factor + factor_per_cell * share


def _cells(names: tuple[str, ...], place: NDArray[np.int64], latitude_deg: float) -> Cell:
    """Look up the cells of some times: what holds at their beginning, and how it changes until their end."""
    if not place.size:
        nothing = np.empty((len(names), 0))
        return nothing, nothing, nothing, nothing
    blocks = place // _CELLS
    low, high = int(blocks.min()), int(blocks.max())
    if high - low <= place.size:
        wanted, of_time = np.arange(low, high + 1), blocks - low
    else:  # few times, far apart
        wanted, of_time = np.unique(blocks, return_inverse=True)
    tables = [_block(names, int(block), latitude_deg) for block in wanted]
    if len(tables) == 1:
        column = place - low * _CELLS
        first, second, third, fourth = (part[:, column] for part in tables[0])
    else:
        column = of_time * _CELLS + place - blocks * _CELLS
        first, second, third, fourth = (np.concatenate(part, axis=1)[:, column] for part in zip(*tables, strict=True))
    return first, second, third, fourth


@lru_cache(maxsize=512)
def _block(names: tuple[str, ...], block: int, latitude_deg: float) -> Cell:
    """Compute the cells of a block: V + u and f at the beginning of each, and how they change until its end."""
    chosen = [find_constituent(name) for name in names]
    days = np.arange(block * _CELLS, (block + 1) * _CELLS + 1, dtype=np.float64) * (_CELL_S / 86_400)
    longitudes = _longitudes(days)
    needed = {name for one in chosen for _, name in one.parts}
    mains = {name: _node(_known()[name], longitudes, latitude_deg) for name in needed}
    turned, factor = np.empty((len(chosen), days.size)), np.ones((len(chosen), days.size))
    for row, one in enumerate(chosen):
        turned[row] = np.dot(one.multiples, longitudes) + one.phase_cycles
        for times, name in one.parts:
            u, f = mains[name]
            turned[row] += times * u
            factor[row] *= f ** abs(times)
    cells = (turned[:, :-1] % 1.0, np.diff(turned), factor[:, :-1].copy(), np.diff(factor))
    for part in cells:
        part.setflags(write=False)  # they are handed out again
    return cells


def _longitudes(days: Floats) -> Floats:
    """Compute tau, s, h, p, N' and p' in cycles, from days since the beginning of 1970."""
    since = days + _EPOCH_D
    tens = since / 10_000
    found = _LONGITUDES_DEG @ np.vstack((np.ones_like(since), since, tens**2, tens**3)) / 360.0
    return np.vstack((days + found[1] - found[0], found))


def _node(main: Constituent, longitudes: Floats, latitude_deg: float) -> tuple[Floats, Floats]:
    """Compute u in cycles, without leaps, and f of a main constituent."""
    if not main.satellites:
        return np.zeros(longitudes.shape[1]), np.ones(longitudes.shape[1])
    sine = np.sin(np.radians(np.copysign(max(abs(latitude_deg), _LEAST_LATITUDE_DEG), latitude_deg)))
    by_species = {"": 1.0, "diurnal": 0.36309 * (1 - 5 * sine**2) / sine, "semidiurnal": 2.59808 * sine}
    ratios = np.array([one.ratio * by_species[one.species] for one in main.satellites])
    phases = np.array([[one.phase_cycles] for one in main.satellites])
    turned = np.array([one.multiples for one in main.satellites]) @ longitudes[3:] + phases
    sum_ = 1 + ratios @ np.exp(2j * np.pi * turned)
    return np.unwrap(np.angle(sum_) / (2 * np.pi), period=1.0), np.abs(sum_)


@lru_cache(maxsize=1)
def _known() -> Mapping[str, Constituent]:
    """Read the table: all constituents by name."""
    beside: dict[str, list[Satellite]] = {}
    for line in SATELLITES.strip().splitlines():
        name, _, told = line.partition(": ")
        beside.setdefault(name, []).extend(_satellite(text.split()) for text in told.split(", "))
    found: dict[str, Constituent] = {}
    for text in re.split(r"[;\n]", MAIN.strip()):
        name, *multiples, phase = text.split()
        tau, s, h, p, n, q = (int(word) for word in multiples)
        of_main = tuple(beside.get(name, ()))
        found[name] = Constituent(name, (tau, s, h, p, n, q), float(phase), ((1, name),), of_main)
    for text in re.split(r"[;\n]", COMBINED.strip()):
        name, _, told = (part.strip() for part in text.partition(" = "))
        parts = tuple(_part(one.split()) for one in told.replace("- ", "+ -1 ").split("+"))
        mains = [(times, found[main]) for times, main in parts]
        tau, s, h, p, n, q = (sum(times * main.multiples[at] for times, main in mains) for at in range(6))
        phase_cycles = sum(times * main.phase_cycles for times, main in mains)
        found[name] = Constituent(name, (tau, s, h, p, n, q), phase_cycles, parts)
    return MappingProxyType(found)


def _satellite(words: list[str]) -> Satellite:
    p, n, q = (int(word) for word in words[:3])
    return Satellite((p, n, q), float(words[3]), float(words[4]), words[5] if words[5:] else "")


def _part(words: list[str]) -> tuple[int, str]:
    return (int(words[0]) if words[1:] else 1), words[-1]
