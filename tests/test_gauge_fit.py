"""The gauge's curve against a walk about in its posterior; the way back from a reading; and by hand."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.fuel_oracles import gauge_prior_covariance, gauge_truth
from scipy import stats

from routeplan.gauge_fit import (
    GaugeData,
    GaugePrior,
    fit_gauge,
    hat_design,
    posterior,
    reading_step_l,
    rising,
    stated_prior,
)
from routeplan.gauge_table import level_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from oracles.fuel_oracles import Floats, GaugeTruth

    from routeplan.gauge_fit import GaugeFit

CAPACITY_L = 400.0
DRAWS = 4000  # against 400 in use: chance must not hide a fault

# Tolerances, before anything was looked at, in standard deviations of the level at a reading.
#
# Chance: 4,000 draws give the mean to 0.016 and the ends of the interval to 0.034 sd (sqrt(0.05 * 0.95 / 4000) over the
# normal density there); the walk has its own error, about 0.03 and 0.06 sd. Four of both together: 0.2 for the mean,
# 0.3 for the ends.
# Laplace: at a given scatter the curve is taken as normal about its mode, with readings' doubts at their fixed point.
# With readings that are honest and finely read that is exact. A step makes each likelihood flat on top, a stop makes it
# one-sided, a reading in doubt makes it two hills: allowed for these another 0.15 for the mean and the ends.
MEAN, ENDS, LAPLACE = 0.2, 0.3, 0.15
WIDTH = 0.25  # of the interval's width: an interval a quarter too narrow would hold 78 % in place of 90 %


class Season(NamedTuple):
    """Readings, levels, the step that they are read in, and readings at which the table is compared."""

    levels_l: tuple[float, ...]
    readings_l: tuple[float, ...]
    step_l: float
    at_l: tuple[float, ...]
    allowed: float


def shown(levels_l: Sequence[float], low_l: float, scatter_l: float, seed: int) -> list[float]:
    """Read a gauge that is low by `low_l` at the bottom, right at half a tank, with scatter."""
    rng = np.random.default_rng(seed)
    off_l = np.interp(levels_l, [0, 200], [low_l, 0])
    return [
        float(v) for v in np.clip(np.asarray(levels_l) - off_l + scatter_l * rng.standard_normal(len(off_l)), 0, 400)
    ]


SPREAD_L = (60.0, 90.0, 120.0, 150.0, 180.0, 210.0, 240.0, 270.0, 75.0, 105.0, 135.0, 165.0, 195.0)
LOW_L = (20.0, 30.0, 40.0, 50.0, 25.0, 35.0, 100.0, 150.0, 200.0, 120.0, 90.0, 45.0, 15.0, 28.0, 180.0)


def rounded(values_l: Sequence[float], step_l: float) -> tuple[float, ...]:
    return tuple(round(v / step_l) * step_l for v in values_l)


def seasons() -> dict[str, Season]:
    fine = shown(SPREAD_L, 20, 4, 1)
    slip = [*fine[:5], fine[5] + 110, *fine[6:]]
    doubt = [*fine[:5], fine[5] + 22, *fine[6:]]
    at = (60.0, 100.0, 200.0, 300.0)
    return {
        "no reading": Season((), (), 0.0, (40.0, 100.0, 200.0, 300.0), 0.0),
        "one": Season((80.0,), (60.0,), 0.0, at, 0.0),
        "fine": Season(SPREAD_L, tuple(fine), 0.0, at, 0.0),
        "rounded to 8 l": Season(SPREAD_L, rounded(fine, 8), 8.0, at, LAPLACE),
        "rounded to an eighth": Season(SPREAD_L, rounded(fine, 50), 50.0, (100.0, 150.0, 200.0), LAPLACE),
        "one slip": Season(SPREAD_L, tuple(slip), 0.0, at, LAPLACE),
        "one in doubt": Season(SPREAD_L, tuple(doubt), 0.0, at, LAPLACE),
        "at its stop": Season(LOW_L, tuple(shown(LOW_L, 60, 3, 2)), 0.0, (50.0, 100.0, 200.0), LAPLACE),
    }


SEASONS = seasons()


def fit_of(season: Season, draws: int = DRAWS) -> GaugeFit:
    levels_l = np.array(season.levels_l)
    data = GaugeData(np.array(season.readings_l), levels_l, np.zeros((len(levels_l), len(levels_l))), season.step_l)
    return fit_gauge(data, stated_prior(CAPACITY_L), draws)


@cache
def walk(name: str) -> GaugeTruth:
    season = SEASONS[name]
    return gauge_truth(season.readings_l, season.levels_l, CAPACITY_L, step_l=season.step_l)


@pytest.mark.parametrize("name", SEASONS)
def test_the_table_as_a_walk_in_the_posterior_has_it(name: str):
    season = SEASONS[name]
    fit = fit_of(season)
    truth = walk(name)
    for reading_l in season.at_l:
        levels_l = truth.levels_l(reading_l)
        sd = float(levels_l.std())
        assert 4 * truth.error(levels_l) < MEAN * sd  # the walk itself is long enough
        mean_l, low_l, high_l = level_at(fit, reading_l)
        assert mean_l == pytest.approx(float(levels_l.mean()), abs=(MEAN + season.allowed) * sd)
        ends_l = np.quantile(levels_l, (0.05, 0.95))
        assert (low_l, high_l) == pytest.approx(tuple(ends_l), abs=(ENDS + season.allowed) * sd)
        assert high_l - low_l == pytest.approx(float(ends_l[1] - ends_l[0]), rel=WIDTH)


@pytest.mark.parametrize("name", ["fine", "rounded to 8 l", "one slip", "at its stop"])
def test_the_scatter_as_a_walk_in_the_posterior_has_it(name: str):
    """Its logarithm within half of its own sd: the draws' grid is a quarter of the prior's sd wide."""
    season = SEASONS[name]
    fit = fit_of(season)
    truth = walk(name)
    log_l = np.log(truth.scatters_l)
    assert float(np.log(fit.scatters_l).mean()) == pytest.approx(float(log_l.mean()), abs=0.5 * float(log_l.std()))


@pytest.mark.parametrize("tie_l", [0.0, 3.0])
def test_levels_that_err_together_as_one_dense_normal_has_it(tie_l: float):
    """No step, no slips, one scatter: curve and readings are jointly normal, and conditioning is exact."""
    levels_l, readings_l = np.array(SPREAD_L), np.array(SEASONS["fine"].readings_l)
    count, scatter_l = len(levels_l), 5.0
    level_covariance_l2 = 4.0 * np.eye(count) + tie_l**2
    stated = stated_prior(CAPACITY_L)
    prior = GaugePrior(stated.knots_l, stated.precision, np.array([scatter_l]), np.zeros(1), 0.0, -math.inf, math.inf)
    fit = fit_gauge(GaugeData(readings_l, levels_l, level_covariance_l2), prior)
    knots_l = np.array(stated.knots_l)
    design = np.array([np.interp(levels_l, knots_l, row) for row in np.eye(len(knots_l))]).T
    before = gauge_prior_covariance() * CAPACITY_L**2
    gain = (
        before
        @ design.T
        @ np.linalg.inv(design @ before @ design.T + level_covariance_l2 + scatter_l**2 * np.eye(count))
    )
    # 1e-6 of some 10 l: the prior's precision is inverted twice on the way, at a condition number of 1e6 or so.
    assert fit.mean_l == pytest.approx(knots_l + gain @ (readings_l - design @ knots_l), abs=1e-4)
    assert fit.covariance_l2 == pytest.approx(before - gain @ design @ before, abs=1e-3)


def test_the_prior_is_as_stated():
    prior = stated_prior(CAPACITY_L)
    # The exact inverse of a matrix with this condition number keeps six digits or so.
    assert np.linalg.inv(prior.precision) == pytest.approx(gauge_prior_covariance() * CAPACITY_L**2, abs=1e-3)
    assert (prior.low_l, prior.high_l, prior.odd_share) == (0.0, CAPACITY_L, 0.03)
    assert prior.scatters_l[np.argmax(prior.log_weights)] == pytest.approx(0.012 * CAPACITY_L)


def test_a_gauge_never_read_is_taken_as_right_and_either_way_alike():
    """At half a tank, 3 % of 400 l either way: 200 +- 1.645 * 12."""
    mean_l, low_l, high_l = level_at(fit_of(SEASONS["no reading"]), 200.0)
    assert mean_l == pytest.approx(200, abs=1)
    assert (low_l, high_l) == pytest.approx((200 - 19.7, 200 + 19.7), abs=1.5)


def test_every_draw_rises_and_the_table_with_it():
    for season in SEASONS.values():
        fit = fit_of(season, draws=400)
        assert len(fit.curves_l) == 400
        assert (np.diff(fit.curves_l, axis=1) >= 0).all()
        means_l = [level_at(fit, float(reading_l))[0] for reading_l in range(0, 401, 20)]
        assert (np.diff(means_l) >= -1e-9).all()


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), max_size=12), st.sampled_from([0.0, 0.02, 0.125]))
def test_anything_may_be_read(pairs: list[tuple[float, float]], step: float):
    """Wild readings too: the table is finite, in order, within the tank, and rises."""
    readings_l = np.array([round(r / step) * step if step else r for r, _ in pairs]) * CAPACITY_L
    levels_l = np.array([level for _, level in pairs]) * CAPACITY_L
    fit = fit_gauge(
        GaugeData(readings_l, levels_l, 9.0 * np.eye(len(pairs)), step * CAPACITY_L), stated_prior(CAPACITY_L)
    )
    assert ((fit.good >= 0) & (fit.good <= 1)).all()
    rows = [level_at(fit, float(at)) for at in np.linspace(0, CAPACITY_L, 11)]
    for mean_l, low_l, high_l in rows:
        assert 0 <= low_l <= high_l <= CAPACITY_L
        assert low_l - 1e-9 <= mean_l <= high_l + 1e-9
    assert (np.diff([mean_l for mean_l, _, _ in rows]) >= -1e-9).all()


def test_likelihood_is_a_density_over_readings():
    """Over all readings, the stops included, it comes to 1 at any level: by sums over a fine step."""
    fit = fit_of(SEASONS["rounded to 8 l"], draws=400)
    marks_l = np.arange(0, CAPACITY_L + 1e-9, fit.step_l)
    chance = np.array([fit.likelihood(float(mark), [10.0, 90.0, 230.0], odd=False) for mark in marks_l]) * fit.step_l
    assert chance.sum(axis=0) == pytest.approx(np.ones(3), abs=1e-9)


def test_chance_below_rises_with_the_reading_and_falls_with_the_level():
    fit = fit_of(SEASONS["fine"], draws=400)
    table = np.array([fit.chance_below(reading_l, np.linspace(40, 360, 9)) for reading_l in (50.0, 150.0, 250.0)])
    assert (np.diff(table, axis=0) >= 0).all()
    assert (np.diff(table, axis=1) <= 1e-12).all()
    assert ((table >= 0) & (table <= 1)).all()


def test_the_step_of_a_dial():
    """By eye: tenths of a litre tell nothing of a wider step; fives, eighths and whole gallons do."""
    tank_l = 320.0
    assert reading_step_l([], tank_l, 1.0) == 0.0
    assert reading_step_l([101.37, 55.21, 200.03, 150.44], tank_l, 1.0) == 0.0
    assert reading_step_l([101.4, 55.2, 200.1, 150.4], tank_l, 1.0) == pytest.approx(0.1)
    assert reading_step_l([105, 55, 200, 150, 85], tank_l, 1.0) == pytest.approx(5)
    assert reading_step_l([120, 80, 200, 160, 280], tank_l, 1.0) == pytest.approx(40)  # eighths
    gallon_l = 3.785411784
    assert reading_step_l([g * gallon_l for g in (31, 44, 17, 52)], 74 * gallon_l, gallon_l) == pytest.approx(gallon_l)
    # The same half tank read twice is no evidence of a dial in halves.
    assert reading_step_l([160, 160], tank_l, 1.0) <= tank_l / 40


def test_curves_between_knots_by_hand():
    design = hat_design(np.array([0.0, 50.0, 100.0, 120.0]), np.array([0.0, 100.0]))
    assert design == pytest.approx(np.array([[1, 0], [0.5, 0.5], [0, 1], [-0.2, 1.2]]))
    assert rising([1, 3, 2, 2, 5]).tolist() == pytest.approx([1, 7 / 3, 7 / 3, 7 / 3, 5])


@given(st.integers(0, 10_000))
def test_the_linear_model_as_dense_conditioning_has_it(seed: int):
    """The other form of the same: prior covariance and gain in place of precisions."""
    rng = np.random.default_rng(seed)
    n, k = int(rng.integers(1, 8)), int(rng.integers(1, 5))
    design, values, mean = rng.standard_normal((n, k)), rng.standard_normal(n), rng.standard_normal(k)
    root = rng.standard_normal((k, k))
    before = root @ root.T + 0.5 * np.eye(k)
    noise = np.diag(rng.uniform(0.2, 2, n)) + 0.3
    found_mean, found = posterior(design, values, noise, mean, np.linalg.inv(before))
    gain: Floats = before @ design.T @ np.linalg.inv(design @ before @ design.T + noise)
    assert found_mean == pytest.approx(mean + gain @ (values - design @ mean), abs=1e-8)
    assert found == pytest.approx(before - gain @ design @ before, abs=1e-8)


def test_a_reading_beyond_the_stop_is_the_tail():
    """At 0 the needle may stand anywhere below: at a level that shows 0 on average, one chance in two."""
    prior = stated_prior(CAPACITY_L)
    fit = fit_of(SEASONS["no reading"], draws=400)
    levels_l = np.array([30.0])
    raw_l = fit.curves_l @ hat_design(levels_l, prior.knots_l)[0]
    half_l = 1e-4 * CAPACITY_L
    by_hand = stats.norm.cdf((half_l - np.clip(raw_l, 0, None)) / fit.scatters_l).mean() / (2 * half_l)
    assert float(fit.likelihood(0.0, levels_l, odd=False)[0]) == pytest.approx(by_hand)
