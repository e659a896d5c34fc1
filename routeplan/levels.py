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


@dataclass(frozen=True)
class _Level:
    """A level as the errors of the full marks make it: a mean, their weights, and an error of its own."""

    mean_l: float
    own_var_l2: float
    marks: tuple[tuple[int, float], ...]


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
    spread_l = points[-1].spread_l
    sums = _sums(eras, points)
    off_l, covariance_l2 = _solve_chain(sums, spread_l)
    weights = np.zeros((len(fillups), len(off_l)))
    own = np.zeros(len(fillups))
    levels_l, written_l, used_l, used_var = (np.full(len(fillups), math.nan) for _ in range(4))
    closed = -1  # position in the chain of the last fill to the mark
    for one in sums:
        end = closed + 1 if one.closure.full else None
        start = closed if closed >= 0 else None
        for place, row in enumerate(one.closure.rows):
            level = _level(one, place, (start, end), off_l, covariance_l2, fillups, full_mark_l, spread_l)
            if level is not None:
                levels_l[row], own[row] = level.mean_l, level.own_var_l2
                for mark, weight in level.marks:
                    weights[row, mark] += weight
            start_off_l = 0.0 if start is None else float(off_l[start])
            written_l[row] = _by_the_meters(one, place, start_off_l, fillups, full_mark_l)
            used_l[row], used_var[row] = _used(one, place, start, end, off_l, covariance_l2, spread_l)
        if end is not None:
            closed = end
    return _Solved(levels_l, weights @ covariance_l2 @ weights.T + np.diag(own), written_l, used_l, used_var)


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
    """Solve how far each fill to the mark was off: mean and covariance."""
    closed = [one for one in sums if one.closure.full]
    precision = np.eye(len(closed)) / spread_l**2
    pull = np.zeros(len(closed))
    for i, one in enumerate(closed):
        if not one.linked:
            continue
        difference = one.closure.pumped_l - sum(one.metered_l)
        variance = sum(one.noise_l2) + 1e-12
        if i == 0 or not one.closure.start_known:
            variance += spread_l**2
            precision[i, i] += 1.0 / variance
            pull[i] += difference / variance
            continue
        precision[i, i] += 1.0 / variance
        precision[i - 1, i - 1] += 1.0 / variance
        precision[i, i - 1] -= 1.0 / variance
        precision[i - 1, i] -= 1.0 / variance
        pull[i] += difference / variance
        pull[i - 1] -= difference / variance
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return covariance @ pull, covariance


def _trusted(one: _Sum) -> bool:
    return one.verdict is None or one.linked


def _by_the_meters(one: _Sum, place: int, start_off_l: float, fillups: Sequence[Fillup], full_mark_l: float) -> float:
    """[l] Return the level before a fill-up as the meters have it, their figures as written."""
    if not one.written_l:
        return math.nan
    added_l = sum(fillups[row].pumped_l for row in one.closure.rows[:place])
    return full_mark_l + start_off_l - sum(one.written_l[: place + 1]) + added_l


def _level(
    one: _Sum,
    place: int,
    ends: tuple[int | None, int | None],
    off_l: Floats,
    covariance_l2: Floats,
    fillups: Sequence[Fillup],
    full_mark_l: float,
    spread_l: float,
) -> _Level | None:
    """Tell one level: back from the full mark that closes the sum, on from the one that began it, or both weighed."""
    start, end = ends
    pumped = [fillups[row].pumped_l for row in one.closure.rows]
    last = place == len(pumped) - 1
    known = []
    if end is not None and (last or (one.metered_l and _trusted(one))):
        level_l = full_mark_l + float(off_l[end]) - sum(pumped[place:]) + sum(one.metered_l[place + 1 :])
        own = sum(one.noise_l2[place + 1 :])
        if last:
            return _Level(level_l, own, ((end, 1.0),))  # the chain has weighed the meters in already
        known.append((_Level(level_l, own, ((end, 1.0),)), own + float(covariance_l2[end, end])))
    if one.metered_l and _trusted(one) and (start is not None or one.linked):
        start_off, start_var = (
            (0.0, spread_l**2) if start is None else (float(off_l[start]), covariance_l2[start, start])
        )
        level_l = full_mark_l + start_off - sum(one.metered_l[: place + 1]) + sum(pumped[:place])
        own = sum(one.noise_l2[: place + 1]) + (spread_l**2 if start is None else 0.0)
        marks = () if start is None else ((start, 1.0),)
        known.append((_Level(level_l, own, marks), sum(one.noise_l2[: place + 1]) + float(start_var)))
    if not known:
        return None
    whole = sum(1.0 / variance for _, variance in known)
    shares = [1.0 / variance / whole for _, variance in known]
    return _Level(
        sum(share * level.mean_l for share, (level, _) in zip(shares, known, strict=True)),
        sum(share**2 * level.own_var_l2 for share, (level, _) in zip(shares, known, strict=True)),
        tuple(
            (mark, share * weight)
            for share, (level, _) in zip(shares, known, strict=True)
            for mark, weight in level.marks
        ),
    )


def _used(
    one: _Sum, place: int, start: int | None, end: int | None, off_l: Floats, covariance_l2: Floats, spread_l: float
) -> tuple[float, float]:
    """Tell what was used in one run, and its variance: by the sum where it is closed, shared out by the meters."""
    if not one.closure.chained:
        return math.nan, math.nan
    total = None
    if end is not None:
        if start is None:
            total = (one.closure.pumped_l - float(off_l[end]), float(covariance_l2[end, end]) + spread_l**2)
        else:
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
