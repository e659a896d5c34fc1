"""The fit against values and programs from outside the project.

Each value carries its source and how it was had: seen (the number was read in the source or in the named copy) or
practice (common in the trade, no published source). Programs: scipy, statsmodels, scikit-learn.

Left out: Huber's regression on stackloss. The product has no Huber estimate: slips of the pen are a component of its
model instead, so that published value would test nothing of ours. What it makes of spoiled seasons is held against
Huber's regression below.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import scipy
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from oracles.season_scores import fit_by_product
from oracles.seasons import draw_season
from scipy import integrate, stats
from sklearn.isotonic import IsotonicRegression
from threadpoolctl import threadpool_limits

from routeplan import priors
from routeplan.burn_fit import fit_ratios
from routeplan.closures import find_closures
from routeplan.fillups import Fillup
from routeplan.gauge_fit import GaugeData, GaugePrior, fit_gauge, hat_design, posterior, rising
from routeplan.meter_fit import MeterFit, MeterPrior, fit_meters, quantile
from routeplan.quantities import LITRES_PER_USGAL

QUADRATURE = 1e-6  # relative: what a grid of a fifth of a standard deviation leaves of an integral, and room for it


# The gauge's line ----------------------------------------------------------------------------------------------------


def test_norris():
    """NIST StRD Norris, two gauges compared: certified values, seen; data as scipy's own tests carry them.

    A line is a curve with two knots and a flat prior. Normal equations lose the square of the condition number (1e3,
    with knots at the ends of the data) of double precision's 16 digits: 1e-9 is left.
    """
    lines = (Path(stats.__file__).parent / "tests/data/nist_linregress/Norris.dat").read_text().splitlines()
    table = np.array([[float(word) for word in line.split()] for line in lines[60:96]])
    y, x = table.T
    assert len(x) == 36
    knots = np.array([0.0, 1000.0])
    design = hat_design(x, knots)
    mean, shape = posterior(design, y, np.ones(36), np.zeros(2), np.zeros((2, 2)))
    variance = float(np.sum((y - design @ mean) ** 2)) / (36 - 2)
    to_slope, to_intercept = np.array([-1.0, 1.0]) / 1000, hat_design(np.zeros(1), knots)[0]
    assert math.sqrt(variance) == pytest.approx(0.884796396144373, rel=1e-9)
    for direction, value, error in (
        (to_slope, 1.00211681802045, 0.000429796848199937),
        (to_intercept, -0.262323073774029, 0.232818234301152),
    ):
        assert float(direction @ mean) == pytest.approx(value, rel=1e-9)
        assert math.sqrt(variance * float(direction @ shape @ direction)) == pytest.approx(error, rel=1e-9)


def test_graybill_and_iyer_inverse_prediction():
    """Graybill and Iyer 1996, p. 431, seen: true 96 98 .. 110; a new reading of 104 is 103.995, 95 % 103.4 to 104.6.

    Two knots, a flat prior of the line and of the logarithm of the scatter: then the density of the new reading, seen
    as a function of the level, is Student's t about the line with n - 2 degrees of freedom, whose ends differ from the
    exact ones (a quadratic in the level) by far less than the last digit printed. The figure is printed to 0.001 and
    the ends to 0.1: half of that each, and for the ends the noise of 4,000 draws, below 0.01.
    """
    levels = np.arange(96.0, 111.0, 2.0)
    readings = np.array([95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21])
    scatters = np.geomspace(0.03, 5.0, 120)
    prior = GaugePrior(
        knots_l=np.array([90.0, 116.0]),
        precision=np.zeros((2, 2)),
        scatters_l=scatters,
        log_weights=np.zeros(len(scatters)),
        odd_share=0.0,
        low_l=-math.inf,
        high_l=math.inf,
    )
    data = GaugeData(readings, levels, level_covariance_l2=np.zeros((8, 8)))
    fit = fit_gauge(data, prior, draws=4000)
    best = replace(fit, curves_l=fit.mean_l[None, :])
    assert float(best.levels_at_l(104.0)[0]) == pytest.approx(103.995, abs=0.0005)
    span = np.linspace(101.0, 107.0, 601)
    density = fit.likelihood(104.0, span)
    below = np.cumsum(density) / density.sum()
    low, high = np.interp([0.025, 0.975], below, span)
    assert (low, high) == pytest.approx((103.4, 104.6), abs=0.05 + 0.01)


def test_isotonic():
    """3 7 5 9 8 7 10 becomes 3 6 6 8 8 8 10: scikit-learn's tests, seen. Exact but for the last bit."""
    assert rising([3, 7, 5, 9, 8, 7, 10]) == pytest.approx([3, 6, 6, 8, 8, 8, 10], rel=1e-15)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=40))
def test_isotonic_as_scikit_learn_has_it(values: list[float]):
    """The nearest rising sequence is unique; both find it by sums of at most 40 values: 1e-12 of the greatest."""
    theirs = IsotonicRegression().fit_transform(np.arange(len(values)), values)
    assert rising(values) == pytest.approx(theirs, abs=1e-12 * max(1.0, *map(abs, values)))


# The meter factor ----------------------------------------------------------------------------------------------------


def clean_sums(seed: int, fillups: int) -> tuple[list[Fillup], np.ndarray, np.ndarray]:
    """Draw a clean season of fills to the full mark alone: the log, what was pumped and what was metered."""
    season = draw_season(np.random.default_rng(seed), fillups=fillups, part_share=0.0)
    log = list(season.log)
    return log, np.array([f.pumped_l for f in log]), np.array([f.meter_used_l for f in log])


def sums_covariance(count: int, full_sd_l: float, noise_l2: np.ndarray) -> np.ndarray:
    """Write the covariance of full-to-full sums out: each fill's error enters two neighbours with opposite signs."""
    band = 2 * np.eye(count) - np.eye(count, k=1) - np.eye(count, k=-1)
    return full_sd_l**2 * band + np.diag(noise_l2)


def flat(capacity_l: float, full_sd_l: float, meter_sd_share: float) -> MeterPrior:
    return MeterPrior(capacity_l, full_sd_l, flat=True, meter_sd_share=meter_sd_share, odd_share=0.0)


def moments(fit: MeterFit) -> tuple[float, float]:
    mean = float(fit.weights @ fit.common)
    return mean, math.sqrt(float(fit.weights @ (fit.common - mean) ** 2))


@pytest.mark.parametrize("fillups", [1, 2, 3, 12, 26])
def test_meter_factor_as_gls_has_it(fillups: int):
    """Statsmodels' GLS without intercept on a clean season; flat prior, known scatter of the full mark.

    With meters that don't scatter the model is linear with a known covariance, and GLS is its exact answer. What
    rounding leaves, 0.0005 of the capacity (`meter_fit` says so), is on the diagonal.
    """
    capacity_l, full_sd_l = 400.0, 5.0
    log, pumped, metered = clean_sums(fillups, fillups)
    noise = np.full(fillups, (0.0005 * capacity_l) ** 2)
    covariance = sums_covariance(fillups, full_sd_l, noise)
    theirs = sm.GLS(pumped, metered[:, None], sigma=covariance).fit()
    ours = moments(fit_meters(find_closures(log, 1), 1, flat(capacity_l, full_sd_l, 0.0)))
    their_sd = math.sqrt(float(theirs.normalized_cov_params[0, 0]))
    assert ours == pytest.approx((float(theirs.params[0]), their_sd), rel=QUADRATURE)


@pytest.mark.parametrize("fillups", [1, 3, 12])
def test_meter_factor_as_a_dense_likelihood_has_it(fillups: int):
    """With meters that scatter the covariance depends on the factor: scipy's multivariate normal on a fine grid."""
    capacity_l, full_sd_l, share = 400.0, 4.0, 0.008
    log, pumped, metered = clean_sums(fillups + 100, fillups)
    factors = np.linspace(0.5, 1.6, 8001)
    log_like = np.array(
        [
            stats.multivariate_normal.logpdf(
                pumped - f * metered,
                cov=sums_covariance(fillups, full_sd_l, (share * f * metered) ** 2 + (0.0005 * capacity_l) ** 2),
            )
            for f in factors
        ]
    )
    weights = np.exp(log_like - log_like.max())
    weights /= weights.sum()
    mean = float(weights @ factors)
    sd = math.sqrt(float(weights @ (factors - mean) ** 2))
    ours = moments(fit_meters(find_closures(log, 1), 1, flat(capacity_l, full_sd_l, share)))
    assert ours[0] == pytest.approx(mean, rel=QUADRATURE)
    assert ours[1] == pytest.approx(sd, rel=1e-4)  # the second moment leans on the tails, cut at six sd or so


def sum_ratios(log: list[Fillup]) -> tuple[np.ndarray, np.ndarray]:
    """Take pumped and metered of the full-to-full sums that have no part fill in them, as written."""
    whole = [now for before, now in pairwise(log) if before.filled_to_full and now.filled_to_full]
    return np.array([f.pumped_l for f in whole]), np.array([f.meter_used_l for f in whole])


@pytest.mark.slow
def test_spoiled_seasons_as_hubers_regression_has_them():
    """Statsmodels' RLM, Huber's norm, no intercept, on 60 seasons with a twentieth of the rows spoiled.

    Metered is regressed on pumped, as Huber's norm bounds what is off in the ordinate only, and it is mostly the meter
    that is spoiled: the slope is 1 / factor. Two estimates of one number from the same rows have errors that go
    together, so that their difference has at most the two variances summed: at least 68 % of seasons within one
    combined standard error; fewer than 29 of 60 has a chance below 0.001. Within four, all of them: 60 normal
    differences pass that once in 260, but a coarser tail is the point of being robust.
    """
    off = []
    for seed in np.random.SeedSequence(66).spawn(60):
        season = draw_season(np.random.default_rng(seed), spoiled_share=0.05, fillups=24)
        pumped, metered = sum_ratios(list(season.log))
        theirs = sm.RLM(metered, pumped[:, None], M=sm.robust.norms.HuberT()).fit()
        their_factor = 1 / float(theirs.params[0])
        their_sd = float(theirs.bse[0]) * their_factor**2
        with threadpool_limits(1):  # matrices this small lose by threads
            ours = fit_by_product(season).meter_factor
        our_sd = (ours.high - ours.low) / (2 * stats.norm.ppf(0.95))
        off.append(abs(ours.mean - their_factor) / math.hypot(our_sd, their_sd))
    assert sum(value <= 1 for value in off) >= stats.binom.ppf(0.001, 60, 0.68)
    assert max(off) < 4


def one_fillup(metered_gal: float, pumped_gal: float) -> list[Fillup]:
    return [
        Fillup(
            boat="Reference",
            when=datetime(2026, 5, 1, 12, tzinfo=UTC),
            meter_used_l=metered_gal * LITRES_PER_USGAL,
            pumped_l=pumped_gal * LITRES_PER_USGAL,
        )
    ]


def test_66_metered_67_pumped():
    """66 metered, 67 pumped: a factor near 1.015. Practice; printed to 0.001.

    So says a flat prior and the only fill-up. With the stated prior the same fill-up says less: a figure between 1 and
    1.015, and an interval that holds both. A fill repeats to 1 % of the tank, two fills to 1.4 % of 74 gal or 1.6 % of
    66: the interval can't be narrower than if the prior were as good as that too, 2 * 1.645 * 1.6 % / sqrt(2) = 3.7 %.
    """
    closures, capacity_l = find_closures(one_fillup(66, 67), 1), 74 * LITRES_PER_USGAL
    mean, _ = moments(fit_meters(closures, 1, flat(capacity_l, 0.01 * capacity_l, 0.0)))
    assert mean == pytest.approx(1.015, abs=0.0005)
    stated = fit_meters(closures, 1, MeterPrior(capacity_l, 0.01 * capacity_l))
    low, high = (quantile(stated.common, stated.weights, share) for share in (0.05, 0.95))
    assert 1 < moments(stated)[0] < 67 / 66
    assert low < 1 < 67 / 66 < high
    assert high - low > 0.037


# The burn ------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_burn_factor_as_scipys_quadrature_has_it():
    """The stated model, integrated by scipy's adaptive quadrature: factor normal, log scatter normal, odd runs Cauchy.

    The fit lays its log scatter out over 33 cells of a quarter of its standard deviation, 4.125 either way, as the
    integral does. 1e-4 of the factor is a three-hundredth of what five runs can tell.
    """
    ratios, errors = np.array([1.02, 1.11, 0.97, 1.06, 1.6]), np.array([0.01, 0.02, 0.015, 0.01, 0.02])
    logs = np.log(ratios)

    def density(z: float, mu: float) -> float:
        tau = priors.RUN_SCATTER_SHARE * math.exp(priors.RUN_SCATTER_LOG_SD * z)
        honest = stats.norm.pdf(logs, mu, np.sqrt(tau**2 + errors**2))
        likelihood = np.prod((1 - priors.ODD_SHARE) * honest + priors.ODD_SHARE * stats.cauchy.pdf(logs, mu, 0.5))
        factor = math.exp(mu)
        return float(likelihood * stats.norm.pdf(z) * stats.norm.pdf(factor, 1, priors.BURN_FACTOR_SD) * factor)

    span = (math.log(0.75), math.log(1.35), -4.125, 4.125)
    total = integrate.dblquad(density, *span, epsabs=0, epsrel=1e-6)[0]
    first = integrate.dblquad(lambda z, mu: math.exp(mu) * density(z, mu), *span, epsabs=0, epsrel=1e-6)[0]
    assert fit_ratios(ratios, errors).mean == pytest.approx(first / total, rel=1e-4)


def test_burn_factor_of_many_runs_is_the_mean_of_their_logarithms():
    """Scipy's t test of one sample on 300 honest runs with a flat prior: the same figure and the same interval.

    The odd component draws each of the outer runs in by a little, at random to either side: a tenth of the standard
    error is more than that, and a fit that ignored the runs' own errors or scatter would be off by more.
    """
    logs = np.random.default_rng(8).normal(0.05, 0.06, 300)
    theirs = stats.ttest_1samp(logs, 0.0)
    low, high = theirs.confidence_interval(0.90)
    fit = fit_ratios(np.exp(logs), np.zeros(300), prior_sd=None)
    error = float(scipy.stats.sem(logs))
    assert math.log(fit.mean) == pytest.approx(float(logs.mean()), abs=0.1 * error)
    ours = [math.log(quantile(fit.ratios, fit.weights, share)) for share in (0.05, 0.95)]
    assert ours == pytest.approx([low, high], abs=0.2 * error)
