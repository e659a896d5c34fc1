"""What the flow meters are worth: the meter factor from sums between full marks, by quadrature.

The model. Between two fills to the full mark, with a the fuel pumped, u what the meters showed, f their factors and e
how far each fill was off the mark,

    e_end - e_start = a - f u + noise,    e ~ N(0, s^2),    noise ~ N(0, (g f u)^2) for each reading,

where s is the scatter of a fill and g that of a reading. The fill's error enters the sum that it closes and the next
one with opposite signs, so it is carried along (a Kalman filter with one state). For given (f, s, g) all is exact; f, s
and g are laid out on a grid with their priors (`routeplan.priors`), so that what isn't known of the scatters
widens the interval of the factor too.

A sum that doesn't fit is not forced to: beside "as written" each is weighed as "the meter was not reset after an
earlier fill" (its figure then still teaches, less the earlier one) and as "odd" (it teaches nothing; how far it is off
follows a Cauchy density). The state after such a mixture is matched by its first two moments, which is nearly exact at
a full mark, as every way of reading leads to it.

References
----------
Kalman filter and likelihood: Durbin and Koopman, Time Series Analysis by State Space Methods, 2nd ed. 2012, chapter 4.
Moment matching of a mixture: West and Harrison, Bayesian Forecasting and Dynamic Models, 2nd ed. 1997, section 12.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan import priors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.closures import Closure, Reading

__all__ = ["MeterFit", "MeterPrior", "SumVerdict", "fit_meters", "quantile"]

Floats: TypeAlias = "NDArray[np.float64]"

_FACTOR_LOW, _FACTOR_HIGH = 0.5, 2.0  # a meter further off than this is broken, or in another unit
_FINE = 49  # points across six standard deviations either side, four to each: integrates a normal to 1e-9
_REACH_SD = 6.0
_ROUNDS = 4  # the grid is laid about what the round before found
_SCATTERS = np.linspace(-2.2, 2.2, 7)  # standard deviations of the log scatter
_SCATTERS_TWO = np.linspace(-1.8, 1.8, 4)  # coarser where two meters square the work
_PARTING = 15  # points for the difference of two factors
_ROUNDING_SHARE = 0.0005  # of the capacity: sd of what screens and slips round off
_LEAST_WEIGHT = 1e-7  # of the grid's weight: points with less are not carried on


@dataclass(frozen=True)
class MeterPrior:
    """What is believed before the log speaks.

    Parameters
    ----------
    capacity_l
        [l] The tank's.
    full_mark_sd_l
        [l] Median scatter of a fill.
    flat
        Whether the factor has a flat prior and the scatters are known exactly as their medians: for comparison with
        other methods, not for use.
    meter_sd_share
        [share] Median scatter of a reading.
    odd_share
        [share] Of sums that are odd.
    """

    capacity_l: float
    full_mark_sd_l: float
    flat: bool = False
    meter_sd_share: float = priors.METER_SCATTER_SHARE
    odd_share: float = priors.ODD_SHARE


@dataclass(frozen=True)
class SumVerdict:
    """What is made of one sum.

    Parameters
    ----------
    closure
        Its position among the closures.
    reading
        The likeliest way of taking its meters.
    row
        The row whose meters are taken otherwise than written; None where they aren't.
    as_written, ran_on, odd
        [share] How likely it is that it is as written, that a meter's reset is other than the log says, and that
        something else is wrong.
    off_l
        [l] How far it is off as written: fuel pumped less fuel used by the meters, negative where the meters show more.
    off_sd_l
        [l] What chance would make of that.
    """

    closure: int
    reading: Reading
    row: int | None
    as_written: float
    ran_on: float
    odd: float
    off_l: float
    off_sd_l: float


@dataclass(frozen=True, eq=False)
class MeterFit:
    """The posterior of factors and scatters, as weighted points.

    Parameters
    ----------
    factors
        Shape (points, meters): pumped / metered of each meter.
    common
        Shape (points,): factor of all meters together, in the proportion in which they ran.
    full_mark_sd_l, meter_sd_share
        Shape (points,): the scatters.
    weights
        Shape (points,): sum to 1.
    last_mean_l, last_var_l2
        Shape (points,): how far the last fill to the mark was off, mean and variance [l, l2].
    verdicts
        One for each closed and metered sum.
    path
        After each closed and metered sum: its last row, and mean, sd, low and high (90 %) of the common factor.
    """

    factors: Floats
    common: Floats
    full_mark_sd_l: Floats
    meter_sd_share: Floats
    weights: Floats
    last_mean_l: Floats
    last_var_l2: Floats
    verdicts: tuple[SumVerdict, ...]
    path: tuple[tuple[int, float, float, float, float], ...]

    @property
    def mean_factors(self) -> Floats:
        """Mean factor of each meter, shape (meters,)."""
        return np.asarray(self.weights @ self.factors, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Grid:
    """Points of (common factor, parting of two, fill scatter, reading scatter), flattened, with prior weights."""

    factors: Floats
    common: Floats
    fill_l: Floats
    reading: Floats
    log_prior: Floats


def fit_meters(
    closures: Sequence[Closure], meters: int, prior: MeterPrior, carried: MeterFit | None = None
) -> MeterFit:
    """Fit the meter factors to sums between full marks.

    Parameters
    ----------
    closures
        One boat's sums, in order of time, under one set of meters.
    meters
        How many she has, 1 or 2.
    prior
        What is believed before.
    carried
        The fit of an earlier set of meters: her full mark is still the same, so its scatter is taken over.

    Returns
    -------
    The posterior; the prior itself where no sum is closed and metered.
    """
    totals = _totals(closures, meters)
    shares = totals / totals.sum() if totals.sum() > 0 else np.full(meters, 1.0 / meters)
    looks = _first_look(closures, prior)
    centre, spread = looks[0]
    fit: MeterFit | None = None
    for _ in range(_ROUNDS):
        elsewhere = [look for look in looks if abs(look[0] - centre) > 0.5 * _REACH_SD * spread]
        grid = _lay_out([(centre, spread), *elsewhere], shares, prior, carried)
        fit = _filter(closures, prior, grid)
        mean, sd = _moments(fit.common, fit.weights)
        settled = abs(mean - centre) < 0.5 * spread and 0.55 * spread < sd < 1.8 * spread
        centre, spread = mean, max(sd, 1e-5)
        if settled:
            break
    if fit is None:
        raise AssertionError("unreachable")
    return fit


def quantile(values: Floats, weights: Floats, share: float) -> float:
    """Return a quantile of weighted points that stand for a continuous distribution.

    Parameters
    ----------
    values, weights
        Points and their weights, which sum to 1.
    share
        [share] Which quantile.

    Returns
    -------
    The value below which this share lies; between points it is interpolated.

    Examples
    --------
    >>> round(quantile(np.array([0.0, 1.0, 2.0]), np.array([0.25, 0.5, 0.25]), 0.5), 6)
    1.0
    """
    order = np.argsort(values, kind="stable")
    points, inverse = np.unique(values[order], return_inverse=True)
    mass = np.bincount(inverse, weights=weights[order])
    middle = np.cumsum(mass) - 0.5 * mass
    return float(np.interp(share, middle, points))


def _totals(closures: Sequence[Closure], meters: int) -> Floats:
    total = np.zeros(meters)
    for closure in closures:
        for ways in closure.uses:
            if ways:
                total += np.asarray(ways[0].metered_l)
    return total


def _first_look(closures: Sequence[Closure], prior: MeterPrior) -> list[tuple[float, float]]:
    """Guess where the factor lies and how well it will be known: by medians, which slips don't move.

    Twice: drawn towards 1, which is where few and odd sums leave it, and as the sums alone have it, which is where a
    meter that is far off will be found.
    """
    ratios, worth = [], 0.0
    for closure in closures:
        used_l = sum(sum(ways[0].metered_l) for ways in closure.uses if ways)
        if closure.full and closure.metered and used_l > 0:
            ratios.append(closure.pumped_l / used_l)
            sd = math.hypot(prior.full_mark_sd_l * math.sqrt(2.0), prior.meter_sd_share * used_l) / used_l
            worth += 1.0 / sd**2
    if not ratios:
        return [(1.0, 2.0 * priors.METER_FACTOR_SCALE)]
    known = worth if prior.flat else worth + 1.0 / (1.4 * priors.METER_FACTOR_SCALE) ** 2
    spread = 1.3 / math.sqrt(known)
    alone = min(max(float(np.median(ratios)), _FACTOR_LOW), _FACTOR_HIGH)
    if prior.flat:
        return [(alone, spread)]
    pull = len(ratios) / (len(ratios) + 2.0)
    return [(1.0 + pull * (min(max(alone, 0.7), 1.4) - 1.0), spread), (alone, spread)]


def _lay_out(
    looks: Sequence[tuple[float, float]], shares: Floats, prior: MeterPrior, carried: MeterFit | None
) -> _Grid:
    """Lay out the grid: finely about each place where the factor may lie, thinly wherever else it might."""
    meters = len(shares)
    fine = np.concatenate([centre + spread * np.linspace(-_REACH_SD, _REACH_SD, _FINE) for centre, spread in looks])
    common = np.unique(fine)
    if not prior.flat:
        wide = 1.0 + priors.METER_FACTOR_SCALE * np.sinh(np.linspace(-3.2, 3.2, 33))  # dense near 1, thin far out
        common = np.unique(np.concatenate([fine, wide]))
    common = common[(common > _FACTOR_LOW) & (common < _FACTOR_HIGH)]
    many = _SCATTERS if meters == 1 else _SCATTERS_TWO
    scatters = np.zeros(1) if prior.flat else many
    fill_l = prior.full_mark_sd_l * np.exp(scatters * priors.FULL_MARK_LOG_SD)
    reading = prior.meter_sd_share * np.exp(scatters * priors.METER_SCATTER_LOG_SD)
    parting = np.zeros(1) if meters == 1 else priors.METER_FACTOR_SCALE * np.sinh(np.linspace(-2.6, 2.6, _PARTING))
    c, d, s, g = (a.ravel() for a in np.meshgrid(common, parting, fill_l, reading, indexing="ij"))
    factors = c[:, None] if meters == 1 else np.stack([c + d * shares[1], c - d * shares[0]], axis=1)
    log_cells = np.log(np.gradient(common))
    log_prior = np.repeat(log_cells, len(c) // len(common))
    if meters == 2:
        log_prior = log_prior + np.tile(np.repeat(np.log(np.gradient(parting)), len(scatters) ** 2), len(common))
    if not prior.flat:
        nu, scale = priors.METER_FACTOR_DEGREES, priors.METER_FACTOR_SCALE
        log_prior = log_prior - 0.5 * (nu + 1.0) * np.log1p(((factors - 1.0) / scale) ** 2 / nu).sum(axis=1)
        weight_s = -0.5 * scatters**2
        if carried is not None:
            weight_s = np.log(_carry(carried, fill_l) + 1e-12)
        both = weight_s[:, None] - 0.5 * scatters[None, :] ** 2
        log_prior = log_prior + np.tile(both.ravel(), len(c) // both.size)
    return _Grid(factors, c, s, g, log_prior)


def _carry(carried: MeterFit, fill_l: Floats) -> Floats:
    """Give the scatter of a fill, as an earlier set of meters taught it, as weights at the points of a grid."""
    nearest = np.abs(np.log(carried.full_mark_sd_l)[:, None] - np.log(fill_l)[None, :]).argmin(axis=1)
    return np.asarray(np.bincount(nearest, weights=carried.weights, minlength=len(fill_l)), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Weighed:
    """One sum against all points of the grid: how likely each way of taking it is, and where it leaves the tank."""

    closure: int
    ways: tuple[tuple[Reading, int | None], ...]
    shares: Floats  # ways, the odd one last; points
    log_evidence: Floats
    mean: Floats
    var: Floats
    off: Floats
    off_var: Floats


def _filter(closures: Sequence[Closure], prior: MeterPrior, grid: _Grid) -> MeterFit:
    log_weight = grid.log_prior.copy()
    mean, var = np.zeros_like(grid.fill_l), grid.fill_l**2
    told: list[_Weighed] = []
    path = []
    for number, closure in enumerate(closures):
        if not closure.full:
            continue
        if not closure.metered or not closure.start_known:
            mean, var = np.zeros_like(grid.fill_l), grid.fill_l**2
        if not closure.metered:
            continue
        weighed = _weigh(number, closure, prior, grid, mean, var)
        told.append(weighed)
        log_weight += weighed.log_evidence
        mean, var = weighed.mean, weighed.var
        weights = _normal(log_weight)
        ends = (quantile(grid.common, weights, 0.05), quantile(grid.common, weights, 0.95))
        path.append((closure.rows[-1], *_moments(grid.common, weights), *ends))
    weights = _normal(log_weight)
    keep = weights > _LEAST_WEIGHT * weights.max()
    return MeterFit(
        factors=grid.factors[keep],
        common=grid.common[keep],
        full_mark_sd_l=grid.fill_l[keep],
        meter_sd_share=grid.reading[keep],
        weights=weights[keep] / weights[keep].sum(),
        last_mean_l=mean[keep],
        last_var_l2=var[keep],
        verdicts=tuple(_judge(weighed, weights) for weighed in told),
        path=tuple(path),
    )


def _weigh(number: int, closure: Closure, prior: MeterPrior, grid: _Grid, mean: Floats, var: Floats) -> _Weighed:
    """Weigh one sum, given how far the fill at its start was off: mean and variance at each point."""
    fill_var = grid.fill_l**2
    choices = list(closure.choices())
    other_share = priors.RESET_FORGOTTEN_SHARE if prior.odd_share else 0.0
    odd_share = _odd_share(closure, prior)
    written_share = 1.0 - odd_share - other_share * (len(choices) - 1)
    logs, means, variances, offs = [], [], [], []
    for row, _, metered_l in choices:
        used = np.asarray(metered_l)  # rows, meters
        noise = grid.reading**2 * (grid.factors**2 @ (used**2).sum(axis=0))
        off = closure.pumped_l - grid.factors @ used.sum(axis=0) + mean
        before = var + noise + (_ROUNDING_SHARE * prior.capacity_l) ** 2
        total = before + fill_var
        share = written_share if row is None else other_share
        logs.append((math.log(share) if share > 0 else -np.inf) - 0.5 * (off**2 / total + np.log(2 * np.pi * total)))
        means.append(off * fill_var / total)
        variances.append(before * fill_var / total)
        offs.append((off, total))
    if odd_share > 0:
        scale = priors.ODD_SCALE_SHARE * prior.capacity_l
        logs.append(math.log(odd_share) - np.log(np.pi * scale * (1.0 + (offs[0][0] / scale) ** 2)))
        means.append(np.zeros_like(mean))
        variances.append(fill_var)
    stack, stacked = np.stack(logs), np.stack(means)
    top = stack.max(axis=0)
    shares = np.exp(stack - top)
    evidence = shares.sum(axis=0)
    shares /= evidence
    centre = (shares * stacked).sum(axis=0)
    return _Weighed(
        closure=number,
        ways=tuple((reading, row) for row, reading, _ in choices),
        shares=shares,
        log_evidence=top + np.log(evidence),
        mean=centre,
        var=(shares * (np.stack(variances) + stacked**2)).sum(axis=0) - centre**2,
        off=offs[0][0],
        off_var=offs[0][1],
    )


def _odd_share(closure: Closure, prior: MeterPrior) -> float:
    """[share] Return how likely a sum is odd before it is looked at: any of its rows may be."""
    if prior.odd_share == 0:
        return 0.0
    each = prior.odd_share if closure.start_known else max(prior.odd_share, priors.START_ODD_SHARE)
    return min(0.5, 1.0 - (1.0 - each) ** len(closure.rows))


def _judge(weighed: _Weighed, weights: Floats) -> SumVerdict:
    means = [float(weights @ share) for share in weighed.shares]
    count = len(weighed.ways)
    best = max(range(count), key=means.__getitem__)
    reading, row = weighed.ways[best]
    centre = float(weights @ weighed.off)
    return SumVerdict(
        closure=weighed.closure,
        reading=reading,
        row=row,
        as_written=means[0],
        ran_on=sum(means[1:count]),
        odd=means[count] if len(means) > count else 0.0,
        off_l=centre,
        off_sd_l=math.sqrt(float(weights @ (weighed.off_var + (weighed.off - centre) ** 2))),
    )


def _normal(log_weight: Floats) -> Floats:
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def _moments(values: Floats, weights: Floats) -> tuple[float, float]:
    mean = float(weights @ values)
    return mean, math.sqrt(max(0.0, float(weights @ (values - mean) ** 2)))
