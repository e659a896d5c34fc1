"""The meter factor against every hypothesis of every sum, listed; and by hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from oracles.fuel_oracles import OwnSum, meter_truth, simple_sums
from oracles.small_logs import fill

from routeplan.closures import find_closures
from routeplan.meter_fit import MeterPrior, fit_meters, quantile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from oracles.fuel_oracles import MeterTruth

    from routeplan.fillups import Fillup
    from routeplan.meter_fit import MeterFit

CAPACITY_L, FILL_L = 400.0, 4.0
PRIOR = MeterPrior(CAPACITY_L, FILL_L)

# Tolerances, before anything was looked at. All in standard deviations of the posterior, sd.
#
# Moment matching at a full mark is nearly exact: whatever way a sum is taken, what it hands on to the next one is only
# how far its last fill was off, and that is small and normal under each way (mean and variance differ by at most about
# a fill's own scatter, which the next sum sees through another fill's scatter and its readings' besides). Where one way
# is as good as certain there is nothing to match at all. Allowed for it: 0.05 sd.
# The scatters stand on seven points each, cut at 2.2 sd of their priors (2.8 % of them left out), against seven points
# of Gauss and Hermite here: 0.03 sd of the mean, 4 % of the sd. Factors stand 0.2 sd apart, and quantiles are
# interpolated: the distribution is out by at most h^2 / 8 times its greatest slope, 0.0012, that is 0.012 sd at 5 %.
# An odd sum's Cauchy density is taken about the fill before it: 4 l of 60 l, a few per cent of its odds, 0.02 sd.
PLACE = 0.12
WIDTH = 0.06
CHANCE = 0.03  # share: of a way of taking a sum; odds that are a few per cent out move an even chance by 1 %
# The far tails of a prior with 4 degrees of freedom carry weight in its sd: beyond 0.29, where the product's points
# end unless the log points there, it has 4 % of its variance: 2 % of the sd, within the width above.


class Log(NamedTuple):
    """One meter's figures, reset at each full fill, as far as the log says."""

    shown_l: tuple[float, ...]
    pumped_l: tuple[float, ...]


LOGS = {
    "one fill-up": Log((250,), (254,)),
    "one small one": Log((30,), (33,)),
    "one that can't be": Log((250,), (150,)),
    "two that agree": Log((250, 180), (257.5, 185)),
    "two that balance an overfull mark": Log((200, 200), (208, 192)),
    "three, the middle one overfull": Log((220, 180, 240), (222, 191, 236)),
    "a reset forgotten": Log((220, 420, 240), (224, 203, 246)),
    "a reset forgotten, which can't be told from a slip": Log((60, 130, 240), (62, 95, 246)),
    "a slip of the pen": Log((220, 20, 240, 210), (224, 203, 246, 214)),
    "a meter that reads 12 % low": Log((220, 190, 240, 210), (246, 213, 269, 235)),
    "one half, one whole": Log((220, 190, 240), (225, 110, 262)),
    "five": Log((220, 190, 240, 210, 255), (226, 193, 247, 214, 263)),
    "five, the last in doubt": Log((220, 190, 240, 210, 255), (226, 193, 247, 214, 243)),
}


def log_of(log: Log) -> list[Fillup]:
    return [fill(day, pumped, shown) for day, (shown, pumped) in enumerate(zip(log.shown_l, log.pumped_l, strict=True))]


def fit_of(fillups: Sequence[Fillup], prior: MeterPrior = PRIOR, meters: int = 1) -> MeterFit:
    return fit_meters(find_closures(fillups, meters), meters, prior)


def mean_of(fit: MeterFit) -> float:
    return float(fit.weights @ fit.common)


def sd_of(fit: MeterFit) -> float:
    return math.sqrt(float(fit.weights @ (fit.common - mean_of(fit)) ** 2))


def agrees(fit: MeterFit, truth: MeterTruth):
    sd = truth.factor.sd
    assert mean_of(fit) == pytest.approx(truth.factor.mean, abs=PLACE * sd)
    assert sd_of(fit) == pytest.approx(sd, rel=WIDTH)
    for share in (0.05, 0.5, 0.95):
        # A quantile that lies between two hills moves far for a small chance: then it is the chance that must agree.
        found = quantile(fit.common, fit.weights, share)
        chance = float(np.interp(found, truth.factor.points, np.cumsum(truth.factor.weights)))
        assert abs(found - truth.factor.quantile(share)) < PLACE * sd or abs(chance - share) < 0.02
    for verdict, chances in zip(fit.verdicts, truth.chances, strict=True):
        assert (verdict.as_written, verdict.ran_on, verdict.odd) == pytest.approx(
            (chances[0], sum(chances[1:-1]), chances[-1]), abs=CHANCE
        )
    assert float(fit.weights @ fit.full_mark_sd_l) == pytest.approx(truth.fill_l.mean, rel=WIDTH)
    assert float(fit.weights @ fit.meter_sd_share) == pytest.approx(truth.reading.mean, rel=WIDTH)


@pytest.mark.parametrize("name", LOGS)
def test_as_all_hypotheses_together_have_it(name: str):
    log = LOGS[name]
    middle = float(np.median(np.divide(log.pumped_l, log.shown_l)))
    close = np.concatenate([np.linspace(0.9, 1.1, 121), middle * np.linspace(0.93, 1.07, 121)])
    agrees(fit_of(log_of(log)), meter_truth(simple_sums(log.shown_l, log.pumped_l), CAPACITY_L, FILL_L, fine=close))


def test_a_part_fill_as_all_hypotheses_together_have_it():
    """A part fill with the meter running on: 90, then 215 on the same count, so 125; 100 + 120 pumped."""
    log = [
        fill(0, 224, 220),
        fill(1, 100, 90, filled_to_full=False, meter_reset=False),
        fill(2, 120, 215),
        fill(3, 215, 210),
    ]
    sums = [
        OwnSum(224, (220,), first=True),
        # 90 is less than 220, so it can't have run on; 215 had been reset, or runs on from 90 as written.
        OwnSum(220, (90, 125), ((90, 215),)),
        OwnSum(215, (210,)),  # 210 is less than 215
    ]
    agrees(fit_of(log), meter_truth(sums, CAPACITY_L, FILL_L))


@pytest.mark.parametrize("factor", [0.55, 0.62, 0.75, 1.3, 1.5, 1.8, 1.95])
@pytest.mark.parametrize("count", [4, 20])
def test_a_meter_that_is_far_off_is_found(factor: float, count: int):
    """All pumped / metered alike: no prior about 1 stands against four sums that agree, as the oracle knows."""
    rng = np.random.default_rng(4)
    used_l = rng.uniform(150, 280, count).round(1)
    off_l = 2.0 * rng.standard_normal(count + 1)
    pumped_l = (used_l + np.diff(off_l)).round(1)
    shown_l = (used_l / factor).round(1)
    fit = fit_of(log_of(Log(tuple(map(float, shown_l)), tuple(map(float, pumped_l)))))
    if count == 4:
        sums = simple_sums(shown_l.tolist(), pumped_l.tolist())
        agrees(fit, meter_truth(sums, CAPACITY_L, FILL_L, fine=np.linspace(0.93, 1.07, 161) * factor))
    assert mean_of(fit) == pytest.approx(factor, rel=0.02)
    assert quantile(fit.common, fit.weights, 0.05) < factor < quantile(fit.common, fit.weights, 0.95)


def test_two_sums_that_balance_an_overfull_mark():
    """200 metered both times, 208 pumped, then 192: the mark was 8 l over in between, the factor is 400 / 400."""
    fit = fit_of(log_of(Log((200, 200), (208, 192))))
    assert mean_of(fit) == pytest.approx(1.0, abs=0.004)
    assert all(verdict.as_written > 0.8 for verdict in fit.verdicts)


def test_nothing_known_is_the_prior():
    """Student's t with 4 degrees of freedom and scale 0.0235: nine in ten within 5 %; the scatters at their medians."""
    fit = fit_of([])
    ends = [quantile(fit.common, fit.weights, share) for share in (0.05, 0.5, 0.95)]
    assert ends == pytest.approx([0.95, 1.0, 1.05], abs=0.0015)
    assert quantile(fit.full_mark_sd_l, fit.weights, 0.5) == pytest.approx(FILL_L, rel=0.03)
    assert fit.verdicts == ()
    assert fit.path == ()
    assert (fit.last_mean_l == 0).all()


def test_a_flat_prior_with_one_sum_is_the_ratio():
    """257.5 / 250 = 1.03, its sd by hand: the two fills, the reading and the rounding over 250."""
    flat = MeterPrior(CAPACITY_L, FILL_L, flat=True, odd_share=0)
    fit = fit_of(log_of(Log((250,), (257.5,))), flat)
    noise_l = math.sqrt(2 * 4**2 + (0.008 * 257.5) ** 2 + 0.2**2)
    assert mean_of(fit) == pytest.approx(1.03, abs=2e-4)  # the reading's scatter grows with the factor: a hair to it
    assert sd_of(fit) == pytest.approx(noise_l / 250, rel=0.01)


def test_the_last_fill_is_known_better_than_a_fill():
    """Exact at every point: after one sum, off = residual * s^2 / total, and variance = s^2 * (total - s^2) / total."""
    fit = fit_of(log_of(Log((250,), (257.5,))), MeterPrior(CAPACITY_L, FILL_L, flat=True, odd_share=0))
    total = 2 * 16 + (0.008 * fit.common * 250) ** 2 + 0.04
    assert fit.last_mean_l == pytest.approx((257.5 - 250 * fit.common) * 16 / total, abs=1e-9)
    assert fit.last_var_l2 == pytest.approx(16 * (total - 16) / total, rel=1e-9)


def test_two_meters_are_told_apart_by_unequal_runs():
    """Meter 1 reads 4 % low, meter 2 reads 2 % high; runs on one engine and on the other part them."""
    used_l = [(200, 40), (30, 210), (180, 60), (50, 190), (220, 20), (20, 230), (190, 30), (40, 200)]
    log = [
        fill(day, one + two, round(one / 1.04, 1), meter2_used_l=round(two / 0.98, 1))
        for day, (one, two) in enumerate(used_l)
    ]
    fit = fit_of(log, meters=2)
    sd = np.sqrt(fit.weights @ (fit.factors - fit.mean_factors) ** 2)
    assert fit.mean_factors == pytest.approx([1.04, 0.98], abs=0.01)
    assert (np.abs(fit.mean_factors - [1.04, 0.98]) < 2 * sd).all()


def test_two_meters_that_run_alike_are_known_together_only():
    """Both show the same each time: their mean is learnt, their difference stays at the prior (root 2 of its sd)."""
    log = [fill(day, 210, 100, meter2_used_l=100) for day in range(6)]
    fit = fit_of(log, meters=2)
    apart = fit.factors[:, 0] - fit.factors[:, 1]
    apart_sd = math.sqrt(float(fit.weights @ (apart - fit.weights @ apart) ** 2))
    assert mean_of(fit) == pytest.approx(1.05, abs=0.012)
    assert sd_of(fit) < 0.01
    assert float(fit.weights @ apart) == pytest.approx(0.0, abs=1e-9)
    assert apart_sd > 0.03  # the sd of two such priors is 0.047; the known sum cuts their far tails


def test_the_path_ends_where_the_fit_is():
    log = LOGS["five"]
    fit = fit_of(log_of(log))
    row, mean, sd, low, high = fit.path[-1]
    assert (row, len(fit.path)) == (4, 5)
    assert (mean, sd) == pytest.approx((mean_of(fit), sd_of(fit)), rel=1e-4)
    assert low < mean < high


def test_quantiles_of_points_by_hand():
    """Weights 1/4 1/2 1/4 on 0 1 2: middles of the steps are 1/8, 1/2, 7/8; 5 % lies below the first."""
    points, weights = np.array([2.0, 0.0, 1.0]), np.array([0.25, 0.25, 0.5])
    assert [quantile(points, weights, q) for q in (0.05, 0.125, 0.3125, 0.5, 0.95)] == pytest.approx([0, 0, 0.5, 1, 2])
