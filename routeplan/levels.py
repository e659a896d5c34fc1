"""How much really was in the tank before each fill-up, and what was used up to it, once the meters are known.

Each fill to the full mark is off by a little. Every sum between two fills says how the two differ, as well as the
meters know; all together are solved at once (a chain of Gaussian variables), so that a level rests on the fills before
and after it too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.closures import Closure
    from routeplan.fillups import Fillup
    from routeplan.meter_fit import MeterFit, SumVerdict

__all__ = ["Levels", "MeterEra", "RowTruth", "find_levels"]

Floats: TypeAlias = "NDArray[np.float64]"
_POINTS = 16
_BELIEVED = 0.5  # share: a sum is taken into the chain where it is likelier right than odd


@dataclass(frozen=True, eq=False)
class MeterEra:
    """The sums that one set of meters measured, and what they taught of it.

    Parameters
    ----------
    closures
        In order of time.
    fit
        Of these meters.
    """

    closures: tuple[Closure, ...]
    fit: MeterFit


@dataclass(frozen=True)
class RowTruth:
    """What really was at one fill-up, as far as it can be told.

    Parameters
    ----------
    level_l, level_sd_l
        [l] Fuel in the tank before it; None where it can't be told.
    metered_level_l
        [l] The same by the meters alone, their figures as written; None where they can't tell.
    used_l, used_sd_l
        [l] Fuel used since the previous fill-up; None where it can't be told.
    verdict
        What was made of the sum that it belongs to; None where there is none.
    believed
        Whether that sum holds.
    """

    level_l: float | None
    level_sd_l: float | None
    metered_level_l: float | None
    used_l: float | None
    used_sd_l: float | None
    verdict: SumVerdict | None
    believed: bool


@dataclass(frozen=True, eq=False)
class Levels:
    """What really was at all of a boat's fill-ups.

    Parameters
    ----------
    rows
        One for each fill-up.
    covariance_l2
        [l2] Shape (n, n): of the levels before them. Neighbours err together, as the meters tie one full mark to the
        next; zero where a level can't be told.
    """

    rows: tuple[RowTruth, ...]
    covariance_l2: Floats


@dataclass(frozen=True, eq=False)
class _Stretch:
    """The levels before the fill-ups of one sum, as the full marks at its ends make them; NaN where not told.

    Each is (1 - share) times the first mark's error and share times the last one's, and an error of its own.
    """

    levels_l: Floats
    shares: Floats
    own_l2: Floats


@dataclass(frozen=True, eq=False)
class _Sum:
    """One closure with its meters settled."""

    closure: Closure
    verdict: SumVerdict | None = None
    linked: bool = False
    metered_l: tuple[float, ...] = ()  # per row, factors applied; empty where the meters tell nothing
    written_l: tuple[float, ...] = ()
    noise_l2: tuple[float, ...] = ()


def find_levels(fillups: Sequence[Fillup], eras: Sequence[MeterEra], full_mark_l: float) -> Levels:
    """Tell the level before each fill-up, and what was used up to it.

    Parameters
    ----------
    fillups
        One boat's, in order of time.
    eras
        Her sums and what they taught of her meters.
    full_mark_l
        [l] Where a fill stops.

    Returns
    -------
    One level for each fill-up, and their covariance.

    Notes
    -----
    Solved at sixteen points of each posterior, evenly spread by the meter factor: what isn't known of factor and
    scatters moves all levels together, and so belongs into their covariance.
    """
    verdicts = [one.verdict for one in _sums(eras, [_Point.mean(era.fit) for era in eras])]
    if not fillups:
        return Levels((), np.zeros((0, 0)))
    drawn = [_Point.draw(era.fit) for era in eras]
    solved = [_solve(fillups, eras, [points[k] for points in drawn], full_mark_l) for k in range(_POINTS)]
    levels_l = np.mean([s.levels_l for s in solved], axis=0)
    away = np.stack([np.nan_to_num(s.levels_l - levels_l) for s in solved])
    covariance_l2 = np.mean([s.covariance_l2 for s in solved], axis=0) + away.T @ away / _POINTS
    used_l = np.mean([s.used_l for s in solved], axis=0)
    used_var = np.mean([s.used_var_l2 for s in solved], axis=0) + np.var([s.used_l for s in solved], axis=0)
    written_l = np.mean([s.written_l for s in solved], axis=0)
    rows = []
    closures = [(closure, verdict) for closure, verdict in zip(_closures(eras), verdicts, strict=True)]
    for closure, verdict in closures:
        for row in closure.rows:
            level = float(levels_l[row])
            rows.append(
                RowTruth(
                    level_l=_told(level),
                    level_sd_l=None if math.isnan(level) else math.sqrt(float(covariance_l2[row, row])),
                    metered_level_l=_told(float(written_l[row])),
                    used_l=_told(float(used_l[row])),
                    used_sd_l=None if math.isnan(used_l[row]) else math.sqrt(max(0.0, float(used_var[row]))),
                    verdict=verdict,
                    believed=verdict is None or verdict.odd < _BELIEVED,
                )
            )
    return Levels(tuple(rows), covariance_l2)


@dataclass(frozen=True)
class _Point:
    """One point of the posterior of a set of meters."""

    factors: Floats
    scatter: float
    spread_l: float

    @classmethod
    def mean(cls, fit: MeterFit) -> _Point:
        w = fit.weights
        return cls(fit.mean_factors, float(w @ fit.meter_sd_share), float(w @ fit.full_mark_sd_l))

    @classmethod
    def draw(cls, fit: MeterFit) -> list[_Point]:
        """Take points in even steps of weight, in order of the common factor."""
        order = np.argsort(fit.common, kind="stable")
        reach = np.cumsum(fit.weights[order])
        picks = order[np.searchsorted(reach, (np.arange(_POINTS) + 0.5) / _POINTS * reach[-1])]
        return [cls(fit.factors[i], float(fit.meter_sd_share[i]), float(fit.full_mark_sd_l[i])) for i in picks]


@dataclass(frozen=True, eq=False)
class _Solved:
    """All levels at one point; NaN where one can't be told."""

    levels_l: Floats
    covariance_l2: Floats
    written_l: Floats
    used_l: Floats
    used_var_l2: Floats


def _told(value: float) -> float | None:
    return None if math.isnan(value) else value


def _closures(eras: Sequence[MeterEra]) -> list[Closure]:
    return [closure for era in eras for closure in era.closures]


def _sums(eras: Sequence[MeterEra], points: Sequence[_Point]) -> list[_Sum]:
    return [
        _settle(era, number, point)
        for era, point in zip(eras, points, strict=True)
        for number in range(len(era.closures))
    ]


def _solve(
    fillups: Sequence[Fillup], eras: Sequence[MeterEra], points: Sequence[_Point], full_mark_l: float
) -> _Solved:
    sums = _sums(eras, points)
    off_l, covariance_l2 = _solve_chain(sums, points[-1].spread_l)
    weights = np.zeros((len(fillups), len(off_l)))
    own = np.zeros((len(fillups), len(fillups)))
    levels_l, written_l, used_l, used_var = (np.full(len(fillups), math.nan) for _ in range(4))
    start = 0  # position in the chain of the last full mark
    for one in sums:
        end = start + 1 if one.closure.full else None
        rows = list(one.closure.rows)
        pumped_l = np.array([fillups[row].pumped_l for row in rows])
        off_end_l = None if end is None else float(off_l[end])
        stretch = _stretch(one, pumped_l, full_mark_l, float(off_l[start]), off_end_l, started=start > 0)
        levels_l[rows] = stretch.levels_l
        told = ~np.isnan(stretch.levels_l)
        weights[rows, start] = np.where(told, 1.0 - stretch.shares, 0.0)
        if end is not None:
            weights[rows, end] = np.where(told, stretch.shares, 0.0)
        own[np.ix_(rows, rows)] = stretch.own_l2
        for place, row in enumerate(rows):
            written_l[row] = _by_the_meters(one, place, float(off_l[start]), fillups, full_mark_l)
            used_l[row], used_var[row] = _used(one, place, (start, end), off_l, covariance_l2)
        start = start if end is None else end
    return _Solved(levels_l, weights @ covariance_l2 @ weights.T + own, written_l, used_l, used_var)


def _settle(era: MeterEra, number: int, point: _Point) -> _Sum:
    closure, fit = era.closures[number], era.fit
    verdict = next((v for v in fit.verdicts if v.closure == number), None)
    if not closure.metered:
        return _Sum(closure)
    choices = {(row, reading): metered for row, reading, metered in closure.choices()}
    written = choices[None, "as-written"]
    chosen = written if verdict is None else choices[verdict.row, verdict.reading]
    factors = point.factors
    used = np.asarray(chosen)
    noise = (point.scatter * factors) ** 2 @ (used**2).T
    linked = verdict is not None and verdict.odd < _BELIEVED
    return _Sum(
        closure,
        verdict,
        linked,
        tuple(float(v) for v in used @ factors),
        tuple(float(v) for v in np.asarray(written) @ factors),
        tuple(float(v) for v in noise),
    )


def _solve_chain(sums: Sequence[_Sum], spread_l: float) -> tuple[Floats, Floats]:
    """Solve how far each full mark was off, that before the first sum in the first place: mean and covariance."""
    closed = [one for one in sums if one.closure.full]
    precision = np.eye(len(closed) + 1) / spread_l**2
    pull = np.zeros(len(closed) + 1)
    for i, one in enumerate(closed):
        if not one.linked:
            continue
        difference = one.closure.pumped_l - sum(one.metered_l)
        known = 1.0 / (sum(one.noise_l2) + 1e-12)
        precision[i : i + 2, i : i + 2] += known * np.array([[1.0, -1.0], [-1.0, 1.0]])
        pull[i : i + 2] += known * difference * np.array([-1.0, 1.0])
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return covariance @ pull, covariance


def _by_the_meters(one: _Sum, place: int, start_off_l: float, fillups: Sequence[Fillup], full_mark_l: float) -> float:
    """[l] Return the level before a fill-up as the meters have it, their figures as written."""
    if not one.written_l:
        return math.nan
    added_l = sum(fillups[row].pumped_l for row in one.closure.rows[:place])
    return full_mark_l + start_off_l - sum(one.written_l[: place + 1]) + added_l


def _stretch(
    one: _Sum, pumped_l: Floats, full_mark_l: float, start_l: float, end_l: float | None, *, started: bool
) -> _Stretch:
    """Tell the levels of one sum.

    Where it holds, the marks at its ends say what was used in all of it. What that differs from the meters' sum is
    shared out by their noise, and what remains of the noise is that of a walk whose two ends are known.
    """
    count = len(pumped_l)
    added_l = np.cumsum(pumped_l) - pumped_l
    levels_l, shares, own = np.full(count, math.nan), np.zeros(count), np.zeros((count, count))
    done = np.cumsum(one.noise_l2)
    if end_l is not None and one.linked:
        whole = done[-1]
        shares = done / whole if whole > 0 else np.arange(1, count + 1) / count
        missing_l = pumped_l.sum() - (end_l - start_l) - sum(one.metered_l)
        levels_l = full_mark_l + start_l + added_l - np.cumsum(one.metered_l) - shares * missing_l
        own = np.minimum.outer(done, done) - np.outer(shares, shares) * whole
    elif end_l is not None:
        levels_l[-1], shares[-1] = full_mark_l + end_l - pumped_l[-1], 1.0
    elif one.metered_l and started:
        levels_l = full_mark_l + start_l + added_l - np.cumsum(one.metered_l)
        own = np.minimum.outer(done, done)
    return _Stretch(levels_l, shares, own)


def _used(
    one: _Sum, place: int, ends: tuple[int, int | None], off_l: Floats, covariance_l2: Floats
) -> tuple[float, float]:
    """Tell what was used in one run, and its variance: by the sum where it is closed, shared out by the meters."""
    if not one.closure.chained:
        return math.nan, math.nan
    start, end = ends
    total = None
    if end is not None:
        both = covariance_l2[end, end] + covariance_l2[start, start] - 2.0 * covariance_l2[end, start]
        total = (one.closure.pumped_l - float(off_l[end] - off_l[start]), float(both))
    if total is not None and len(one.closure.rows) == 1:
        return total
    if not one.metered_l:
        return math.nan, math.nan
    mean, var = one.metered_l[place], one.noise_l2[place]
    if total is not None and one.linked:
        noise = sum(one.noise_l2)
        mean += (var / noise if noise > 0 else 1.0 / len(one.metered_l)) * (total[0] - sum(one.metered_l))
    return mean, var
