"""What a boat really burns: by hand, and against one-dimensional integrals of its own."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.small_logs import fill, plain_boat
from scipy import integrate, stats

from routeplan.burn_fit import fit_ratios, table_burn_l
from routeplan.fillups import SpeedRun

BOAT = plain_boat()  # 18, 60, 120 l/h at 6, 20, 30 kn


def test_the_burn_table_by_the_mean_speed():
    """40 nmi in 2 h are 20 kn: 60 l/h, 120 l; 50 in 2 h are 25 kn, half way to 120 l/h: 90 l/h, 180 l."""
    assert table_burn_l(BOAT, fill(0, 100, distance_run_nmi=40, engine_hours_h=2)) == pytest.approx(120)
    assert table_burn_l(BOAT, fill(0, 100, distance_run_nmi=50, engine_hours_h=2)) == pytest.approx(180)


def test_the_burn_table_by_a_track():
    """1 h at 6 kn and 1 h at 30: 18 + 120, not twice the 48 l/h or so of their mean speed; the track goes first."""
    runs = (SpeedRun(speed_kn=6, time_h=1), SpeedRun(speed_kn=30, time_h=1))
    run = fill(0, 100, distance_run_nmi=40, engine_hours_h=2, speeds_run=runs)
    assert table_burn_l(BOAT, run) == pytest.approx(138)


def test_a_little_faster_than_the_table_is_rounding_and_more_is_a_slip():
    """32 kn count as 30 (120 l/h); 34 kn, more than a tenth too fast, tell nothing."""
    assert table_burn_l(BOAT, fill(0, 100, distance_run_nmi=32, engine_hours_h=1)) == pytest.approx(120)
    assert table_burn_l(BOAT, fill(0, 100, distance_run_nmi=34, engine_hours_h=1)) is None


@pytest.mark.parametrize(
    "more", [{}, {"distance_run_nmi": 40}, {"engine_hours_h": 2}, {"distance_run_nmi": 0, "engine_hours_h": 2}]
)
def test_a_run_that_was_not_written_down_tells_nothing(more: dict[str, float]):
    assert table_burn_l(BOAT, fill(0, 100, **more)) is None


def test_no_run_is_the_prior():
    """1 +- 0.08; the next run's 0.04 comes on top (its mean square is greater than its median's, exp(2 * 0.25))."""
    fit = fit_ratios(np.array([]), np.array([]))
    assert (fit.mean, fit.sd) == pytest.approx((1.0, 0.08), rel=0.01)
    assert fit.scatter == pytest.approx(0.04 * math.exp(0.25), rel=0.03)
    assert fit.next_sd_share == pytest.approx(math.hypot(fit.scatter, 0.08), rel=0.01)


def test_many_equal_runs_are_their_ratio():
    """Forty at 1.10, known to 1 %: the factor is 1.10."""
    fit = fit_ratios(np.full(40, 1.10), np.full(40, 0.01))
    assert fit.mean == pytest.approx(1.10, abs=0.002)
    assert fit.sd < 0.01


def test_one_gross_run_is_left_aside():
    """Ten at about 1.05 and one at 2.4."""
    ratios = np.array([1.02, 1.08, 1.05, 1.04, 1.06, 1.07, 1.03, 1.05, 1.06, 1.04])
    without, fit = (fit_ratios(values, np.full(len(values), 0.02)) for values in (ratios, np.append(ratios, 2.4)))
    assert fit.mean == pytest.approx(without.mean, abs=0.3 * without.sd)
    assert fit.good[-1] < 0.01
    assert (fit.good[:-1] > 0.9).all()


def test_one_run_that_is_hardly_known_says_hardly_anything():
    """6 nmi on 6 l between two marks that differ by 5.7 l: an economy between a half and a double is no surprise."""
    fit = fit_ratios(np.array([1.0]), np.array([0.94]), prior_sd=None)
    low, high = ends(fit)
    assert low < 0.5
    assert high > 2.0


@pytest.mark.parametrize(
    ("ratios", "errors"),
    [
        ((1.06,), (0.03,)),
        ((1.06, 0.98, 1.11), (0.03, 0.02, 0.06)),
        ((1.06, 0.98, 1.11, 1.9), (0.03, 0.02, 0.06, 0.05)),
        ((0.8, 0.82, 0.79, 0.81, 0.83), (0.01, 0.02, 0.01, 0.02, 0.03)),
    ],
)
@pytest.mark.parametrize("flat", [False, True])
def test_as_integrals_have_it(ratios: tuple[float, ...], errors: tuple[float, ...], flat: bool):  # noqa: FBT001
    """Its density by integrating over the scatter, then its moments: within 5 % of the sd, as grids end somewhere."""
    middle = float(np.median(np.log(ratios)))
    grid, z = np.linspace(middle - 0.45, middle + 0.45, 361), np.linspace(-4, 4, 161)
    mu, tau = grid[:, None], 0.04 * np.exp(0.5 * z)[None, :]
    density = np.tile(stats.norm.pdf(z), (len(grid), 1))
    for ratio, error in zip(ratios, errors, strict=True):
        away = math.log(ratio) - mu
        density *= 0.97 * stats.norm.pdf(away, scale=np.hypot(tau, error)) + 0.03 * stats.cauchy.pdf(away, scale=0.5)
    prior = np.ones(len(grid)) if flat else stats.norm.pdf(np.exp(grid), 1, 0.08) * np.exp(grid)
    weights = prior * integrate.simpson(density, x=z, axis=1)
    weights /= weights.sum()
    mean = float(weights @ np.exp(grid))
    sd = math.sqrt(float(weights @ (np.exp(grid) - mean) ** 2))
    fit = fit_ratios(np.array(ratios), np.array(errors), prior_sd=None if flat else 0.08)
    inside = np.abs(np.log(fit.ratios) - middle) < 0.45  # the flat prior's far ends, where one run is odd, are left out
    held = float(fit.weights[inside].sum())
    found = float(fit.weights[inside] @ fit.ratios[inside]) / held
    spread = math.sqrt(float(fit.weights[inside] @ (fit.ratios[inside] - found) ** 2) / held)
    assert found == pytest.approx(mean, abs=0.05 * sd)
    assert spread == pytest.approx(sd, rel=0.05)


def ends(fit: object) -> tuple[float, float]:
    ratios, weights = fit.ratios, fit.weights  # type: ignore[attr-defined]
    order = np.argsort(ratios)
    reach = np.cumsum(weights[order])
    low, high = (float(ratios[order][np.searchsorted(reach, share)]) for share in (0.05, 0.95))
    return low, high


@given(
    st.lists(st.tuples(st.floats(0.01, 50), st.floats(0, 3)), max_size=8),
    st.booleans(),
)
def test_any_runs_give_figures(runs: list[tuple[float, float]], flat: bool):  # noqa: FBT001
    """Flat only where there is a run: a flat prior alone has no width."""
    ratios, errors = (np.array([run[k] for run in runs]) for k in (0, 1))
    fit = fit_ratios(ratios, errors, prior_sd=None if flat and runs else 0.08)
    assert 0 < fit.mean < math.inf
    assert 0 <= fit.sd < math.inf
    assert ((fit.good >= 0) & (fit.good <= 1)).all()
    assert fit.weights.sum() == pytest.approx(1)


def test_the_unit_does_not_matter_where_the_prior_is_flat():
    """An economy in nmi/l or in nmi/gal: the same but for the factor."""
    ratios, errors = np.array([0.31, 0.35, 0.33, 0.36]), np.array([0.02, 0.05, 0.03, 0.02])
    one, other = (fit_ratios(ratios * k, errors, prior_sd=None) for k in (1.0, 3.785411784))
    assert (other.mean, other.sd) == pytest.approx((one.mean * 3.785411784, one.sd * 3.785411784), rel=1e-6)
