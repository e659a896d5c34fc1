"""Levels before each fill-up against one dense normal vector, conditioned; and by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.fuel_oracles import OwnRun, level_truth
from oracles.small_logs import fill

from routeplan.closures import find_closures
from routeplan.levels import MeterEra, find_levels
from routeplan.meter_fit import MeterFit, SumVerdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.levels import Levels

FULL_L, FACTOR, FILL_L, READING = 380.0, 1.02, 4.0, 0.008
# Exact, but for 1e-12 l2 that the product adds to each sum's variance: 1e-12 / 0.03 of what the marks differ by.
EXACT = 1e-6


def known(runs: Sequence[OwnRun], *, odd: Sequence[int] = ()) -> Levels:
    """Let the product solve runs under meters that are known exactly."""
    log = [
        fill(day, run.pumped_l, run.metered_l, filled_to_full=run.full, meter_reset=True)
        for day, run in enumerate(runs)
    ]
    closures = find_closures(log, 1)
    verdicts = tuple(
        SumVerdict(number, "as-written", None, 0.0 if number in odd else 1.0, 0.0, 1.0 * (number in odd), 0.0, 5.0)
        for number, closure in enumerate(closures)
        if closure.full and closure.metered
    )
    one = np.ones(1)
    fit = MeterFit(
        one[:, None] * FACTOR, one * FACTOR, one * FILL_L, one * READING, one, 0 * one, one * FILL_L**2, verdicts, ()
    )
    return find_levels(log, [MeterEra(closures, fit)], FULL_L)


def means(levels: Levels) -> list[float]:
    return [row.level_l for row in levels.rows if row.level_l is not None]


def truth_of(runs: Sequence[OwnRun]):
    return level_truth(runs, FULL_L, FACTOR, FILL_L, READING)


full_runs = st.lists(
    st.tuples(st.floats(20, 300), st.floats(-12, 12)).map(
        lambda p: OwnRun(round(p[0], 1), round(p[0] * FACTOR + p[1], 1))
    ),
    min_size=1,
    max_size=7,
)


@given(full_runs)
def test_full_fills_as_one_dense_vector_has_them(runs: list[OwnRun]):
    levels, truth = known(runs), truth_of(runs)
    assert means(levels) == pytest.approx(truth.mean_l.tolist(), abs=EXACT)
    assert levels.covariance_l2 == pytest.approx(truth.covariance_l2, abs=EXACT)


@given(full_runs, st.integers(0, 6))
def test_a_run_that_no_meter_saw_cuts_the_chain(runs: list[OwnRun], where: int):
    """The level before the fill is then the mark less what was pumped; what lies beyond says nothing of it."""
    runs[where % len(runs)] = replace(runs[where % len(runs)], metered_l=None)
    levels, truth = known(runs), truth_of(runs)
    # The dense vector says "unknown" with a standard deviation of 1,000 l: 16 / 1e6 of what it is off by leaks through,
    # up to 380 l times that.
    assert means(levels) == pytest.approx(truth.mean_l.tolist(), abs=0.01)
    assert levels.covariance_l2 == pytest.approx(truth.covariance_l2, abs=1e-3)


@given(full_runs, st.integers(0, 6))
def test_an_odd_sum_cuts_the_chain_like_one_that_was_not_metered(runs: list[OwnRun], where: int):
    where %= len(runs)
    odd = known([*runs[:where], replace(runs[where], metered_l=3.0), *runs[where + 1 :]], odd=[where])
    unmetered = known([replace(run, metered_l=None) if n == where else run for n, run in enumerate(runs)])
    # A reset is in the log at each fill, so that the next sum's figure doesn't hang on the odd one's.
    assert means(odd) == pytest.approx(means(unmetered), abs=EXACT)
    assert odd.covariance_l2 == pytest.approx(unmetered.covariance_l2, abs=EXACT)


@st.composite
def mixed_runs(draw: st.DrawFn) -> list[OwnRun]:
    """Draw sums of one to three runs, the pump and the meter in agreement but for a few litres."""
    runs: list[OwnRun] = []
    for _ in range(draw(st.integers(1, 3))):
        used = [draw(st.floats(20, 110)) for _ in range(draw(st.integers(1, 3)))]
        left = sum(used) * FACTOR + draw(st.floats(-9, 9))
        for one in used[:-1]:
            pumped = draw(st.floats(0.2, 0.8)) * one
            left -= pumped
            runs.append(OwnRun(round(one, 1), round(pumped, 1), full=False))
        runs.append(OwnRun(round(used[-1], 1), round(left, 1)))
    return runs


@given(mixed_runs())
def test_part_fills_as_one_dense_vector_has_them(runs: list[OwnRun]):
    levels, truth = known(runs), truth_of(runs)
    assert means(levels) == pytest.approx(truth.mean_l.tolist(), abs=EXACT)
    assert levels.covariance_l2 == pytest.approx(truth.covariance_l2, abs=EXACT)


def test_an_open_sum_counts_on_from_the_last_mark():
    """380 + 0 - 1.02 * 100 before the part fill of 50: 278; then 1.02 * 50 less: 277, both but for the last mark."""
    runs = [OwnRun(200, 204), OwnRun(100, 50, full=False), OwnRun(50, 20, full=False)]
    levels, truth = known(runs), truth_of(runs)
    assert means(levels) == pytest.approx([380 - 204, 278, 277], abs=0.01)
    assert means(levels) == pytest.approx(truth.mean_l.tolist(), abs=EXACT)
    assert levels.covariance_l2 == pytest.approx(truth.covariance_l2, abs=EXACT)


def test_without_a_meter_the_level_is_the_mark_less_the_pump():
    """380 - 220 = 160, and as sure as a fill: 4 l; nothing ties it to the next."""
    levels = known([OwnRun(None, 220), OwnRun(None, 90)])
    assert means(levels) == pytest.approx([160, 290])
    assert levels.covariance_l2 == pytest.approx(16 * np.eye(2), abs=1e-6)
    assert [row.metered_level_l for row in levels.rows] == [None, None]


def test_a_part_fill_without_a_meter_is_not_told():
    levels = known([OwnRun(None, 220), OwnRun(None, 50, full=False), OwnRun(None, 90)])
    assert [row.level_l is None for row in levels.rows] == [False, True, False]
    assert levels.rows[1].used_l is None


def test_used_is_pumped_less_what_the_marks_differ():
    """Of one run between two marks: what was pumped, as the marks are the same on average; 204 and 4 * root 2."""
    rows = known([OwnRun(None, 100), OwnRun(None, 204)]).rows
    assert rows[1].used_l == pytest.approx(204)
    assert rows[1].used_sd_l == pytest.approx(4 * 2**0.5, rel=1e-6)


def test_used_is_shared_out_by_the_meters_and_sums_up():
    """Two runs, 60 and 40 by the meter; what they used together is what was pumped, less the marks' difference."""
    rows = known([OwnRun(200, 204), OwnRun(60, 30, full=False), OwnRun(40, 75)]).rows
    used_l = [row.used_l or 0.0 for row in rows[1:]]
    marks_l = rows[0].level_l or 0.0, rows[2].level_l or 0.0
    after_first, after_last = marks_l[0] + 204, marks_l[1] + 75
    assert after_first - sum(used_l) + 105 == pytest.approx(after_last, abs=0.05)
    assert used_l[0] > used_l[1]


def test_by_the_meters_as_written():
    """A meter that says 300 where 204 were pumped: by it 380 - 1.02 * 300 = 74 were left; really 176."""
    row = known([OwnRun(200, 204), OwnRun(300, 204)], odd=[1]).rows[1]
    assert row.metered_level_l == pytest.approx(74, abs=4)
    assert row.level_l == pytest.approx(176)
    assert not row.believed


def test_no_fill_up_has_no_level():
    levels = find_levels([], [], FULL_L)
    assert levels.rows == ()
    assert levels.covariance_l2.shape == (0, 0)
