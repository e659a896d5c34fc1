"""What the gauge is worth: its reading as a function of the fuel really there, and the way back from a reading.

The model. A reading is r = h(L) + noise, where L is the fuel really there, h a rising curve, given by its values at
knots and linear between them, and the noise is normal; one reading in thirty or so is odd and may be anything. h has a
Gaussian prior about "the gauge is right" (`routeplan.priors`): symmetric, smooth, widest in the last fifth. A
gauge that stands at its stop says only that the needle can't go further.

The level L at a fill-up to the full mark is the mark less what was pumped, so it is known much better than the gauge
knows it; its error joins the noise. This is a calibration: readings are fitted on levels, and the curve is inverted
(not levels on readings, which would pull the table towards the middle of the tank).

The posterior of h is Gaussian for a given scatter; the scatter is laid out on a grid. It is carried on as draws that
rise: those that don't are left out, or made to rise where too few do.

References
----------
Calibration and inverse prediction: Graybill and Iyer, Regression Analysis: Concepts and Applications, 1994, chapter 6.
Draws made to rise: Lin and Dunson, Bayesian monotone regression using Gaussian process projection, Biometrika 101,
2014.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan import priors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "GaugeData",
    "GaugeFit",
    "GaugePrior",
    "fit_gauge",
    "hat_design",
    "posterior",
    "reading_step_l",
    "rising",
    "stated_prior",
]

Floats: TypeAlias = "NDArray[np.float64]"

_KNOT_SHARES = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)  # close where gauges are worst
_DRAWS = 400
_SEED = 20250426  # any number: the same log gives the same table
_SCATTERS = np.linspace(-3.0, 3.0, 13)  # standard deviations of the log scatter
_ROUNDS = 60
_SETTLED = 1e-6  # share of the tank
_JITTER = 1e-4  # share of the prior variance: keeps the smooth prior invertible, and lets knots differ by a hair
_SQRT2 = math.sqrt(2.0)


@dataclass(frozen=True, eq=False)
class GaugeData:
    """Readings, and the fuel that was really there.

    Parameters
    ----------
    readings_l, levels_l
        [l] Shape (n,): what the gauge showed, and the level.
    level_covariance_l2
        [l2] Shape (n, n): of the levels, which don't err independently of one another.
    step_l
        [l] What readings are rounded to: a dial read to a mark says only that the needle stood nearest to it. 0 where
        they aren't rounded.
    """

    readings_l: Floats
    levels_l: Floats
    level_covariance_l2: Floats
    step_l: float = 0.0


@dataclass(frozen=True, eq=False)
class GaugePrior:
    """What is believed of a gauge before the log speaks.

    Parameters
    ----------
    knots_l
        [l] Shape (k,), rising: the levels at which the curve is given.
    precision
        [1/l2] Shape (k, k): of the curve's departure from "right"; zero for a flat prior.
    scatters_l
        [l] Shape (m,): the grid of scatters.
    log_weights
        Shape (m,): their prior, in logarithms.
    odd_share
        [share] Of readings that may be anything.
    low_l, high_l
        [l] The gauge's stops; infinite where it has none.
    """

    knots_l: Floats
    precision: Floats
    scatters_l: Floats
    log_weights: Floats
    odd_share: float
    low_l: float
    high_l: float


@dataclass(frozen=True, eq=False)
class GaugeFit:
    """The posterior of the gauge's curve, as draws.

    Parameters
    ----------
    prior
        What it began with.
    curves_l
        [l] Shape (draws, k): readings at the knots; every draw rises.
    scatters_l
        [l] Shape (draws,): scatter of one reading.
    mean_l, covariance_l2
        [l, l2] Shape (k,) and (k, k): the Gaussian before it was made to rise, at the likeliest scatter.
    scatter_l
        [l] The likeliest scatter.
    good
        [share] Shape (n,): how likely each reading is to be an honest one.
    step_l
        [l] What readings are rounded to.
    """

    prior: GaugePrior
    curves_l: Floats
    scatters_l: Floats
    mean_l: Floats
    covariance_l2: Floats
    scatter_l: float
    good: Floats
    step_l: float

    def shows_l(self, levels_l: ArrayLike) -> Floats:
        """Return what the gauge shows, without noise.

        Parameters
        ----------
        levels_l
            [l] Shape (n,): fuel really there.

        Returns
        -------
        [l] Shape (draws, n), between the gauge's stops.
        """
        shown = self.curves_l @ hat_design(np.asarray(levels_l, dtype=np.float64), self.prior.knots_l).T
        return np.asarray(np.clip(shown, self.prior.low_l, self.prior.high_l), dtype=np.float64)

    def levels_at_l(self, reading_l: float) -> Floats:
        """Return the level at which the gauge shows a reading, without noise.

        Parameters
        ----------
        reading_l
            [l] The reading.

        Returns
        -------
        [l] Shape (draws,): by each draw, between the outer knots. Where a draw is level the middle is taken.
        """
        reading = np.clip(reading_l, self.curves_l[:, 0], self.curves_l[:, -1])
        first = (self.curves_l < reading[:, None]).sum(axis=1)
        last = (self.curves_l <= reading[:, None]).sum(axis=1)
        return 0.5 * (self._cross(first, reading) + self._cross(last, reading))

    def _cross(self, right: NDArray[np.int_], reading: Floats) -> Floats:
        """Return where each curve takes a value, in the stretch that ends at a knot."""
        knots, rows = self.prior.knots_l, np.arange(len(self.curves_l))
        right = np.clip(right, 1, len(knots) - 1)
        start, end = self.curves_l[rows, right - 1], self.curves_l[rows, right]
        rise = np.where(end > start, end - start, 1.0)
        share = np.where(end > start, np.clip((reading - start) / rise, 0.0, 1.0), (reading >= end) * 1.0)
        return np.asarray(knots[right - 1] + share * (knots[right] - knots[right - 1]), dtype=np.float64)

    def likelihood(self, reading_l: float, levels_l: ArrayLike, *, odd: bool = True) -> Floats:
        """Return how likely a reading is, for each level.

        Parameters
        ----------
        reading_l
            [l] The reading.
        levels_l
            [l] Shape (n,): levels.
        odd
            Whether the reading may be an odd one.

        Returns
        -------
        [1/l] Shape (n,): the chance of the needle within half a step of the reading, or beyond it at a stop, over the
        step.
        """
        shown, scatter = self.shows_l(levels_l), self.scatters_l[:, None]
        half = max(0.5 * self.step_l, 1e-4 * (self.prior.knots_l[-1] - self.prior.knots_l[0]))
        above = 1.0 if reading_l >= self.prior.high_l else _below((reading_l + half - shown) / scatter)
        beneath = 0.0 if reading_l <= self.prior.low_l else _below((reading_l - half - shown) / scatter)
        chance = (above - beneath) / (2.0 * half)
        density = chance.mean(axis=0)
        if not odd or self.prior.odd_share == 0:
            return np.asarray(density, dtype=np.float64)
        anything = 1.0 / (self.prior.knots_l[-1] - self.prior.knots_l[0])
        return np.asarray((1.0 - self.prior.odd_share) * density + self.prior.odd_share * anything, dtype=np.float64)

    def chance_below(self, reading_l: float, levels_l: ArrayLike) -> Floats:
        """Return the chance of a reading no higher than this, for each level.

        Parameters
        ----------
        reading_l
            [l] The reading.
        levels_l
            [l] Shape (n,): levels.

        Returns
        -------
        [share] Shape (n,).
        """
        shown, scatter = self.shows_l(levels_l), self.scatters_l[:, None]
        return np.asarray(_below((reading_l - shown) / scatter).mean(axis=0), dtype=np.float64)


def hat_design(levels_l: Floats, knots_l: Floats) -> Floats:
    """Return the weights by which values at knots make a piecewise linear curve.

    Parameters
    ----------
    levels_l
        [l] Shape (n,): where the curve is wanted; beyond the outer knots their slope goes on.
    knots_l
        [l] Shape (k,), rising.

    Returns
    -------
    Shape (n, k): two weights in each row, summing to 1.

    Examples
    --------
    >>> hat_design(np.array([25.0]), np.array([0.0, 100.0])).tolist()
    [[0.75, 0.25]]
    """
    right = np.clip(np.searchsorted(knots_l, levels_l, side="right"), 1, len(knots_l) - 1)
    share = (levels_l - knots_l[right - 1]) / (knots_l[right] - knots_l[right - 1])
    design = np.zeros((len(levels_l), len(knots_l)))
    rows = np.arange(len(levels_l))
    design[rows, right - 1] = 1.0 - share
    design[rows, right] = share
    return design


def posterior(
    design: Floats, values: Floats, noise: Floats, prior_mean: Floats, prior_precision: Floats
) -> tuple[Floats, Floats]:
    """Return the posterior of a linear model with known noise and a Gaussian prior.

    Parameters
    ----------
    design
        Shape (n, k).
    values
        Shape (n,): what was measured.
    noise
        Shape (n,), the variance of each, or shape (n, n), their covariance.
    prior_mean, prior_precision
        Shape (k,) and (k, k); a precision of zero is a flat prior, and the answer is that of weighted least squares.

    Returns
    -------
    Mean, shape (k,), and covariance, shape (k, k).

    References
    ----------
    Bishop, Pattern Recognition and Machine Learning, 2006, equations 3.50 and 3.51.
    """
    weighted = design / noise[:, None] if noise.ndim == 1 else np.linalg.solve(noise, design)
    precision = prior_precision + design.T @ weighted
    covariance = np.linalg.inv(precision)
    covariance = 0.5 * (covariance + covariance.T)
    mean = covariance @ (prior_precision @ prior_mean + weighted.T @ values)
    return np.asarray(mean, dtype=np.float64), np.asarray(covariance, dtype=np.float64)


def reading_step_l(readings_l: Sequence[float], capacity_l: float, litres_per_unit: float) -> float:
    """Tell what a gauge's readings are rounded to.

    Parameters
    ----------
    readings_l
        [l] As written down.
    capacity_l
        [l] The tank's.
    litres_per_unit
        [l] The unit that they were written in.

    Returns
    -------
    [l] The widest step, in the unit or in parts of the tank, that nine readings in ten are multiples of; 0 where there
    is none. Few readings are no evidence of a step wider than a fortieth of the tank.

    Examples
    --------
    >>> reading_step_l([166, 140, 160, 188, 88], 363.4, 1.0)
    2.0
    """
    units = [litres_per_unit * n for n in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 25.0, 50.0)]
    parts = [capacity_l / n for n in (4, 8, 10, 16, 20, 32, 50, 100)]
    widest = capacity_l / (8.0 if len(set(readings_l)) >= 4 else 40.0)
    for step in sorted({*units, *parts}, reverse=True):
        fits = sum(
            abs(reading / step - round(reading / step)) * step < min(0.055 * litres_per_unit, 0.1 * step)
            for reading in readings_l
        )
        if readings_l and step <= widest and fits >= 0.9 * len(readings_l):
            return float(step)
    return 0.0


def rising(values: ArrayLike) -> Floats:
    """Return the nearest sequence that never falls.

    Parameters
    ----------
    values
        Shape (k,).

    Returns
    -------
    Shape (k,): least squares among all sequences that don't fall.

    Examples
    --------
    >>> rising([3, 7, 5]).tolist()
    [3.0, 6.0, 6.0]
    """
    from scipy.optimize import isotonic_regression  # noqa: PLC0415  scipy is loaded where it is used

    return np.asarray(isotonic_regression(np.asarray(values, dtype=np.float64)).x, dtype=np.float64)


def stated_prior(capacity_l: float) -> GaugePrior:
    """Return the prior for a gauge in a tank.

    Parameters
    ----------
    capacity_l
        [l] The tank's.

    Returns
    -------
    A smooth curve about "right", see `routeplan.priors`.
    """
    shares = np.asarray(_KNOT_SHARES)
    fade = np.interp(shares, (priors.GAUGE_LOW_END_SHARE, priors.GAUGE_SETTLED_SHARE), (1.0, 0.0))
    sd = priors.GAUGE_CALM_SD_SHARE + fade * (priors.GAUGE_LOW_SD_SHARE - priors.GAUGE_CALM_SD_SHARE)
    apart = (shares[:, None] - shares[None, :]) / priors.GAUGE_REACH_SHARE
    covariance = np.outer(sd, sd) * (np.exp(-0.5 * apart**2) + _JITTER * np.eye(len(shares)))
    return GaugePrior(
        knots_l=shares * capacity_l,
        precision=np.linalg.inv(covariance) / capacity_l**2,
        scatters_l=priors.GAUGE_SCATTER_SHARE * capacity_l * np.exp(_SCATTERS * priors.GAUGE_SCATTER_LOG_SD),
        log_weights=-0.5 * _SCATTERS**2,
        odd_share=priors.ODD_SHARE,
        low_l=0.0,
        high_l=capacity_l,
    )


def fit_gauge(data: GaugeData, prior: GaugePrior, draws: int = _DRAWS) -> GaugeFit:
    """Fit the gauge's curve to readings at known levels.

    Parameters
    ----------
    data
        The readings; there may be none.
    prior
        What is believed before.
    draws
        How many draws of the posterior to keep.

    Returns
    -------
    The posterior.
    """
    design = hat_design(data.levels_l, prior.knots_l)
    fits = [_fit_at(scatter_l, data, design, prior) for scatter_l in prior.scatters_l]
    log_weight = prior.log_weights + np.array([fit[3] for fit in fits])
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    rng = np.random.default_rng(_SEED)
    wanted = np.floor(np.cumsum(weights) * draws * 4 + 0.5).astype(int)
    curves, scatters = [], []
    for (mean, covariance, _, _), scatter_l, count in zip(
        fits, prior.scatters_l, np.diff(wanted, prepend=0), strict=True
    ):
        if count:
            root = np.linalg.cholesky(covariance + 1e-12 * np.trace(covariance) * np.eye(len(mean)))
            curves.append(mean + rng.standard_normal((count, len(mean))) @ root.T)
            scatters.append(np.full(count, scatter_l))
    chosen, chosen_scatters = _rising_draws(np.concatenate(curves), np.concatenate(scatters), draws, rng)
    best = int(np.argmax(weights))
    good = np.asarray(weights @ np.stack([fit[2] for fit in fits]), dtype=np.float64)
    return GaugeFit(
        prior, chosen, chosen_scatters, fits[best][0], fits[best][1], float(prior.scatters_l[best]), good, data.step_l
    )


def _fit_at(
    scatter_l: float, data: GaugeData, design: Floats, prior: GaugePrior
) -> tuple[Floats, Floats, Floats, float]:
    """Fit at one scatter: mean, covariance, how likely each reading is honest, and the evidence in logarithms."""
    level_var = data.level_covariance_l2.diagonal()
    variances = scatter_l**2 + level_var
    anything = 1.0 / (prior.knots_l[-1] - prior.knots_l[0])
    start = prior.knots_l
    mean, covariance = start, None
    good = np.ones(len(data.readings_l))
    if prior.odd_share > 0 and prior.precision.any() and len(good):
        # The first look is through the prior's own width, so that a gross slip doesn't draw the curve to itself.
        wide = variances + np.einsum("ij,jk,ik->i", design, np.linalg.inv(prior.precision), design)
        good = _honest(_densities(data, design @ start, wide, prior), prior.odd_share, anything)
    for _ in range(_ROUNDS):
        shown = design @ mean
        values, apart = _needle(data, shown, variances, prior)
        noise = data.level_covariance_l2 + np.diag((apart - level_var) / np.maximum(good, 1e-9))
        new, covariance = posterior(design, values, noise, start, prior.precision)
        moved = float(np.abs(new - mean).max())
        mean = new
        if prior.odd_share > 0:
            good = _honest(_densities(data, design @ mean, variances, prior), prior.odd_share, anything)
        if moved < _SETTLED * (prior.knots_l[-1] - prior.knots_l[0]):
            break
    if covariance is None:
        raise AssertionError("unreachable")
    away = mean - start
    _, log_det = np.linalg.slogdet(covariance)
    evidence = -0.5 * away @ prior.precision @ away + 0.5 * log_det
    return mean, covariance, good, float(evidence + _log_density(design @ mean, scatter_l, data, good, prior))


def _needle(data: GaugeData, shown: Floats, variances: Floats, prior: GaugePrior) -> tuple[Floats, Floats]:
    """Tell where each needle stood, and with which variance, to second order about what the curve shows.

    A reading is an interval of the needle: half a step to either side, or all beyond a stop. For an interval the first
    and second derivatives of the logarithm of its chance are those of a normal value with this mean and variance.
    """
    low, high = data.readings_l - 0.5 * data.step_l, data.readings_l + 0.5 * data.step_l
    low = np.where(data.readings_l <= prior.low_l, -np.inf, low)
    high = np.where(data.readings_l >= prior.high_l, np.inf, high)
    narrow = high - low < 1e-3 * np.sqrt(variances)
    sd = np.sqrt(variances)
    a, b = np.clip((low - shown) / sd, -30.0, 30.0), np.clip((high - shown) / sd, -30.0, 30.0)
    far = np.where(a > 5.0, a, np.where(b < -5.0, b, 0.0))  # an interval so far off is as good as its nearer end
    plain = narrow | (far != 0.0)
    chance = np.where(plain, 1.0, np.maximum(_below(b) - _below(a), 1e-12))
    at_a, at_b = _bell(a), _bell(b)
    mean = (at_a - at_b) / chance
    share = np.clip(mean**2 + (b * at_b - a * at_a) / chance, 0.02, 1.0)  # information left, of an exact value's
    value = shown + sd * mean / share
    exact = np.where(far != 0.0, shown + sd * far, data.readings_l)
    return np.where(plain, exact, value), np.where(plain, variances, variances / share)


def _densities(data: GaugeData, shown: Floats, variances: Floats, prior: GaugePrior) -> Floats:
    """[1/l] Return how likely each reading is where it is honest: the chance of its step over the step.

    A needle at a stop stands for all that lies beyond it; its chance is put over a tenth of the dial, which is as often
    as an odd reading is taken to stand there.
    """
    sd = np.sqrt(variances)
    half = max(0.5 * data.step_l, 1e-4 * (prior.knots_l[-1] - prior.knots_l[0]))
    above = np.where(data.readings_l >= prior.high_l, 1.0, _below((data.readings_l + half - shown) / sd))
    beneath = np.where(data.readings_l <= prior.low_l, 0.0, _below((data.readings_l - half - shown) / sd))
    width = np.where(_at_stop(data, prior), 0.1 * (prior.knots_l[-1] - prior.knots_l[0]), 2.0 * half)
    return np.asarray((above - beneath) / width, dtype=np.float64)


def _at_stop(data: GaugeData, prior: GaugePrior) -> NDArray[np.bool_]:
    return np.asarray((data.readings_l <= prior.low_l) | (data.readings_l >= prior.high_l))


def _honest(density: Floats, odd_share: float, anything: float) -> Floats:
    honest = (1.0 - odd_share) * density
    return np.asarray(honest / (honest + odd_share * anything), dtype=np.float64)


def _log_density(shown: Floats, scatter_l: float, data: GaugeData, good: Floats, prior: GaugePrior) -> float:
    """Return the chance of the honest readings together, and of the odd ones as such, in logarithms.

    That the levels err together is taken from normal densities: the ratio of the joint one to the separate ones.
    """
    honest = good > 0.5
    free = honest & ~_at_stop(data, prior)
    off = (data.readings_l - shown)[free]
    within = data.level_covariance_l2[np.ix_(free, free)]
    own = scatter_l**2 + data.step_l**2 / 12.0
    together = _log_normal(off, within + own * np.eye(len(off))) - _log_normal(off, np.diag(within.diagonal() + own))
    variances = scatter_l**2 + data.level_covariance_l2.diagonal()
    density = _densities(data, shown, variances, prior)[honest]
    odd_count = int((~honest).sum())
    odd = odd_count * math.log(prior.odd_share / (prior.knots_l[-1] - prior.knots_l[0])) if odd_count else 0.0
    return float(
        np.log(np.maximum(density, 1e-300)).sum() + together + odd + honest.sum() * math.log1p(-prior.odd_share)
    )


def _log_normal(off: Floats, covariance: Floats) -> float:
    _, log_det = np.linalg.slogdet(covariance)
    return float(-0.5 * (off @ np.linalg.solve(covariance, off) + log_det + len(off) * math.log(2.0 * math.pi)))


def _rising_draws(curves: Floats, scatters: Floats, draws: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Keep draws that rise; where they are too few, make others rise."""
    order = rng.permutation(len(curves))
    curves, scatters = curves[order], scatters[order]
    rises = (np.diff(curves, axis=1) > 0).all(axis=1)
    first = np.flatnonzero(rises)[:draws]
    if len(first) < draws:
        rest = np.flatnonzero(~rises)[: draws - len(first)]
        made = np.array([rising(curve) for curve in curves[rest]]).reshape(len(rest), curves.shape[1])
        return np.concatenate([curves[first], made]), np.concatenate([scatters[first], scatters[rest]])
    return curves[first], scatters[first]


def _bell(z: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi), dtype=np.float64)


def _below(z: Floats) -> Floats:
    """Return the normal distribution function."""
    from scipy.special import ndtr  # noqa: PLC0415  scipy is loaded where it is used

    return np.asarray(ndtr(z), dtype=np.float64)
