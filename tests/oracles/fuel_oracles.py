"""Slow, separate ways to the same figures: every hypothesis listed, dense matrices, plain chance.

Nothing is shared with the product's fits. What is believed beforehand is written down here a second time; the model is
the one that the product's modules state in words.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from scipy import stats
from scipy.special import ndtr

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats: TypeAlias = np.ndarray[Any, np.dtype[np.float64]]

FACTOR_DEGREES, FACTOR_SCALE = 4, 0.0235
FACTOR_ENDS = (0.5, 2.0)
METER_SCATTER, METER_SCATTER_LOG_SD = 0.008, 0.5
FILL_LOG_SD = 0.4
ROUNDED = 0.0005  # share of the capacity, in every sum
FORGOTTEN, ODD, ODD_AT_START, ODD_SCALE = 0.03, 0.03, 0.15, 0.15
KNOTS = np.array([0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
GAUGE_LOW, GAUGE_CALM, GAUGE_LOW_END, GAUGE_SETTLED, GAUGE_REACH = 0.07, 0.03, 0.2, 0.4, 0.3
GAUGE_SCATTER, GAUGE_SCATTER_LOG_SD = 0.012, 0.5


@dataclass(frozen=True)
class OwnSum:
    """One sum from full mark to full mark.

    Parameters
    ----------
    pumped_l
        [l] All that was pumped.
    metered_l
        [l] What each run used by the meter as written.
    otherwise_l
        [l] The same, each time with one run taken otherwise: a reset more or less than the log has.
    first
        Whether it leans on a full tank that the log doesn't tell of.
    """

    pumped_l: float
    metered_l: tuple[float, ...]
    otherwise_l: tuple[tuple[float, ...], ...] = ()
    first: bool = False


@dataclass(frozen=True)
class Spread:
    """A distribution on sorted points.

    Parameters
    ----------
    points, weights
        Points and weights that sum to 1.
    """

    points: Floats
    weights: Floats

    @property
    def mean(self) -> float:
        """The mean."""
        return float(self.weights @ self.points)

    @property
    def sd(self) -> float:
        """The standard deviation."""
        return math.sqrt(float(self.weights @ (self.points - self.mean) ** 2))

    def quantile(self, share: float) -> float:
        """Return the point below which a share lies; each point's weight is spread evenly about it."""
        reach = np.cumsum(self.weights)
        return float(np.interp(share, reach - 0.5 * self.weights, self.points))


@dataclass(frozen=True)
class MeterTruth:
    """What all hypotheses together say.

    Parameters
    ----------
    factor, fill_l, reading
        The factor, the scatter of a fill and the scatter of a reading.
    chances
        For each sum: as written, each way of taking it otherwise, odd.
    """

    factor: Spread
    fill_l: Spread
    reading: Spread
    chances: tuple[tuple[float, ...], ...]


def simple_sums(shown_l: Sequence[float], pumped_l: Sequence[float]) -> list[OwnSum]:
    """Write a log of full fills, the meter reset at each, as sums: it may have run on since the one before."""
    found = []
    for number, (shown, pumped) in enumerate(zip(shown_l, pumped_l, strict=True)):
        less = shown - shown_l[number - 1] if number else -1.0
        found.append(OwnSum(pumped, (shown,), ((less,),) if less >= 0 else (), first=number == 0))
    return found


def meter_truth(sums: Sequence[OwnSum], capacity_l: float, fill_l: float, *, fine: Floats | None = None) -> MeterTruth:
    """Weigh every combination of hypotheses of all sums, on a dense grid of factor and both scatters.

    A combination's honest sums are jointly normal. Each has the variances of two fills, of its readings and of
    rounding; two that follow one another share a fill, with opposite signs. An odd sum is off by a Cauchy amount of its
    own and so says nothing of the fills at its ends.

    Parameters
    ----------
    sums
        One boat's, in order of time.
    capacity_l
        [l] The tank's.
    fill_l
        [l] Median scatter of a fill.
    fine
        Factors to look at closely; about 1 where not given.

    Returns
    -------
    The posterior.
    """
    close = np.linspace(0.9, 1.1, 161) if fine is None else fine
    factors = np.unique(np.concatenate([np.linspace(*FACTOR_ENDS, 76), np.linspace(0.9, 1.1, 41), close]))
    width = np.gradient(factors)
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(7)
    fills = fill_l * np.exp(FILL_LOG_SD * nodes)
    readings = METER_SCATTER * np.exp(METER_SCATTER_LOG_SD * nodes)
    f, s, g = (a.ravel() for a in np.meshgrid(factors, fills, readings, indexing="ij"))
    prior = np.log(width * stats.t.pdf((factors - 1) / FACTOR_SCALE, FACTOR_DEGREES))
    log_prior = (
        prior[:, None, None] + np.log(node_weights)[None, :, None] + np.log(node_weights)[None, None, :]
    ).ravel()
    ways = [(one.metered_l, *one.otherwise_l, None) for one in sums]
    logs, picks = [], []
    for pick in itertools.product(*(range(len(way)) for way in ways)):
        logs.append(log_prior + _log_chance(sums, ways, pick, (f, s, g), capacity_l))
        picks.append(pick)
    table = np.stack(logs)
    table = np.exp(table - table.max())
    table /= table.sum()
    at = table.sum(axis=0).reshape(len(factors), len(fills), len(readings))
    each = table.sum(axis=1)
    chances = tuple(
        tuple(
            float(sum(w for w, pick in zip(each, picks, strict=True) if pick[n] == choice))
            for choice in range(len(way))
        )
        for n, way in enumerate(ways)
    )
    return MeterTruth(
        Spread(factors, at.sum(axis=(1, 2))),
        Spread(fills, at.sum(axis=(0, 2))),
        Spread(readings, at.sum(axis=(0, 1))),
        chances,
    )


def _log_chance(
    sums: Sequence[OwnSum],
    ways: Sequence[tuple[tuple[float, ...] | None, ...]],
    pick: tuple[int, ...],
    grid: tuple[Floats, Floats, Floats],
    capacity_l: float,
) -> Floats:
    """Return the logarithm of one combination's prior and likelihood, at each point of the grid."""
    f, s, g = grid
    total = np.zeros_like(f)
    honest, off, own = [], [], []
    for number, (one, way, choice) in enumerate(zip(sums, ways, pick, strict=True)):
        odd = 1 - (1 - (ODD_AT_START if one.first else ODD)) ** len(one.metered_l)
        if way[choice] is None:
            away = one.pumped_l - f * sum(one.metered_l)
            total += math.log(odd) + stats.cauchy.logpdf(away, scale=ODD_SCALE * capacity_l)
            continue
        others = len(way) - 2
        total += math.log(1 - odd - FORGOTTEN * others if choice == 0 else FORGOTTEN)
        runs = np.array(way[choice])
        honest.append(number)
        off.append(one.pumped_l - f * runs.sum())
        own.append((g * f) ** 2 * (runs**2).sum() + (ROUNDED * capacity_l) ** 2)
    if not honest:
        return total
    size = len(honest)
    covariance = np.zeros((len(f), size, size))
    for i, number in enumerate(honest):
        covariance[:, i, i] = 2 * s**2 + own[i]
        if i and honest[i - 1] == number - 1:
            covariance[:, i, i - 1] = covariance[:, i - 1, i] = -(s**2)
    residual = np.stack(off, axis=1)
    solved = np.linalg.solve(covariance, residual[:, :, None])[:, :, 0]
    _, log_det = np.linalg.slogdet(covariance)
    return total - 0.5 * ((residual * solved).sum(axis=1) + log_det + size * math.log(2 * math.pi))


@dataclass(frozen=True)
class GaugeTruth:
    """The gauge's curve as chance has it.

    Parameters
    ----------
    capacity_l
        [l] The tank's.
    curves_l
        [l] Shape (draws, knots).
    scatters_l
        [l] Shape (draws,).
    chains
        How many independent chains they come from, evenly.
    """

    capacity_l: float
    curves_l: Floats
    scatters_l: Floats
    chains: int

    def levels_l(self, reading_l: float) -> Floats:
        """[l] Return where each draw shows a reading, the tank's ends where it shows it nowhere."""
        return np.array([np.interp(reading_l, curve, KNOTS * self.capacity_l) for curve in self.curves_l])

    def error(self, values: Floats) -> float:
        """Return the standard error of a mean of draws, by how much the chains differ."""
        means = values.reshape(-1, self.chains).mean(axis=0)
        return float(means.std(ddof=1) / math.sqrt(self.chains))


def gauge_prior_covariance() -> Floats:
    """Return what is believed of reading less level at the knots, in shares of the tank squared."""
    sd = np.interp(KNOTS, [GAUGE_LOW_END, GAUGE_SETTLED], [GAUGE_LOW, GAUGE_CALM])
    apart = np.subtract.outer(KNOTS, KNOTS) / GAUGE_REACH
    return np.outer(sd, sd) * (np.exp(-0.5 * apart**2) + 1e-4 * np.eye(len(KNOTS)))


def gauge_truth(
    readings_l: Sequence[float],
    levels_l: Sequence[float],
    capacity_l: float,
    *,
    step_l: float = 0.0,
    seed: int = 1,
    chains: int = 200,
    rounds: int = 400,
) -> GaugeTruth:
    """Walk about in the posterior of curve and scatter, levels taken as exact: no approximation but chance.

    The curve by elliptical slice sampling, which needs no tuning: Murray, Adams and MacKay, AISTATS 2010. A curve that
    doesn't rise has no chance at all. The scatter by Metropolis steps.

    Parameters
    ----------
    readings_l, levels_l
        [l] Readings and levels.
    capacity_l
        [l] The tank's.
    step_l
        [l] What readings are rounded to.
    seed, chains, rounds
        Of the walk; the first two fifths are thrown away.

    Returns
    -------
    Draws.
    """
    rng = np.random.default_rng(seed)
    reading, level = np.asarray(readings_l) / capacity_l, np.asarray(levels_l) / capacity_l
    design = np.array([np.interp(level, KNOTS, row) for row in np.eye(len(KNOTS))])
    root = np.linalg.cholesky(gauge_prior_covariance())
    half = 0.5 * step_l / capacity_l

    def log_chance(away: Floats, log_scatter: Floats) -> Floats:
        curve = KNOTS + away
        shown, scatter = curve @ design, np.exp(log_scatter)[:, None]
        if half:
            top, bottom = (reading + half - shown) / scatter, (reading - half - shown) / scatter
        else:
            top = bottom = (reading - shown) / scatter
        above = np.where(reading >= 1, 1.0, ndtr(top))
        below = np.where(reading <= 0, 0.0, ndtr(bottom))
        within = (above - below) / (2 * half) if half else np.exp(-0.5 * top**2) / (scatter * math.sqrt(2 * math.pi))
        if not half:
            within = np.where(reading <= 0, above, np.where(reading >= 1, 1 - below, within))
        told = np.log((1 - ODD) * within + ODD).sum(axis=1)
        return np.where((np.diff(curve, axis=1) > 0).all(axis=1), told, -np.inf)

    away = np.zeros((chains, len(KNOTS)))
    z = np.zeros(chains)
    kept_curves, kept_scatters = [], []
    for number in range(rounds):
        log_scatter = math.log(GAUGE_SCATTER) + GAUGE_SCATTER_LOG_SD * z
        other = rng.standard_normal(away.shape) @ root.T
        bar = log_chance(away, log_scatter) + np.log(rng.random(chains))
        angle = rng.uniform(0, 2 * math.pi, chains)
        low, high = angle - 2 * math.pi, angle.copy()
        todo, moved = np.arange(chains), away.copy()
        while len(todo):
            a = angle[todo][:, None]
            tried = away[todo] * np.cos(a) + other[todo] * np.sin(a)
            passed = log_chance(tried, log_scatter[todo]) > bar[todo]
            moved[todo[passed]] = tried[passed]
            todo = todo[~passed]
            low[todo] = np.where(angle[todo] < 0, angle[todo], low[todo])
            high[todo] = np.where(angle[todo] < 0, high[todo], angle[todo])
            angle[todo] = rng.uniform(low[todo], high[todo])
        away = moved
        for _ in range(3):
            proposed = z + 0.8 * rng.standard_normal(chains)
            there = log_chance(away, math.log(GAUGE_SCATTER) + GAUGE_SCATTER_LOG_SD * proposed) - 0.5 * proposed**2
            here = log_chance(away, math.log(GAUGE_SCATTER) + GAUGE_SCATTER_LOG_SD * z) - 0.5 * z**2
            z = np.where(np.log(rng.random(chains)) < there - here, proposed, z)
        if number >= 0.4 * rounds and number % 10 == 0:
            kept_curves.append((KNOTS + away) * capacity_l)
            kept_scatters.append(capacity_l * GAUGE_SCATTER * np.exp(GAUGE_SCATTER_LOG_SD * z))
    return GaugeTruth(capacity_l, np.concatenate(kept_curves), np.concatenate(kept_scatters), chains)


@dataclass(frozen=True)
class OwnRun:
    """One run and the fill that ends it.

    Parameters
    ----------
    metered_l
        [l] By the meter; None where it tells nothing.
    pumped_l
        [l] Pumped.
    full
        Whether to the mark.
    """

    metered_l: float | None
    pumped_l: float
    full: bool = True


@dataclass(frozen=True)
class LevelTruth:
    """Levels before each fill: jointly normal.

    Parameters
    ----------
    mean_l, covariance_l2
        [l, l2] Mean and covariance.
    """

    mean_l: Floats
    covariance_l2: Floats
    known: tuple[bool, ...] = field(default=())


def level_truth(runs: Sequence[OwnRun], full_mark_l: float, factor: float, fill_l: float, reading: float) -> LevelTruth:
    """Condition one dense normal vector on every fill to the mark.

    The vector: the level at the start, what each run used, and how far each full fill was off. A full fill says:
    level before + pumped = full mark + off, the pump being exact.

    Parameters
    ----------
    runs
        In order of time, from a full tank on.
    full_mark_l, factor, fill_l, reading
        [l, 1, l, share] The mark, the meter's factor, and the scatters of a fill and of a reading.

    Returns
    -------
    The levels.
    """
    count = len(runs)
    mean = np.zeros(1 + 2 * count)
    variance = np.zeros(1 + 2 * count)
    mean[0], variance[0] = full_mark_l, fill_l**2
    for k, run in enumerate(runs):
        unknown = run.metered_l is None
        mean[1 + k] = full_mark_l / 2 if unknown else factor * run.metered_l
        variance[1 + k] = 1e6 if unknown else (reading * factor * run.metered_l) ** 2
        variance[1 + count + k] = fill_l**2
    level = np.zeros((count, len(mean)))  # how each level hangs on the vector
    added = np.zeros(count)
    level[:, 0] = 1
    for k in range(count):
        level[k, 1 : 2 + k] = -1
        added[k] = sum(run.pumped_l for run in runs[:k])
    full = [k for k, run in enumerate(runs) if run.full]
    seen = level[full].copy()
    for i, k in enumerate(full):
        seen[i, 1 + count + k] = -1
    target = np.array([full_mark_l - runs[k].pumped_l - added[k] for k in full])
    prior = np.diag(variance)
    spread = seen @ prior @ seen.T
    gain = prior @ seen.T @ np.linalg.inv(spread)
    mean = mean + gain @ (target - seen @ mean)
    after = prior - gain @ seen @ prior
    return LevelTruth(level @ mean + added, level @ after @ level.T)
