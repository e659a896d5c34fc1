"""The fit on simulated seasons, against limits that chance sets; and the simulator itself.

150 clean and 150 spoiled seasons; `tests/bench/check_seasons.py` does the same with 2,000 each and prints the table.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles import seasons as simulator
from oracles.season_scores import ALONE, RULES, Judged, Scores, Span, fit_by_product, score_season
from oracles.seasons import KINDS, draw_gauge, draw_season, find_contradictions
from scipy import stats
from threadpoolctl import threadpool_limits

from routeplan import priors
from routeplan.fillups import Fillup

if TYPE_CHECKING:
    import random
    from collections.abc import Iterable

    from oracles.seasons import Season

SEASONS = 150
SEED = 150
CHANCE = 0.001  # of a fit that keeps its mark to fail here
INTERVALS = ("meter factor", "gauge table", "fuel aboard")


def least(share: float) -> float:
    """[share] Coverage that a fit which truly has this one misses with a chance of at most a half in a thousand.

    The seasons are independent, so that the number of intervals that hold is binomial. The gauge table gives one
    season a share of its rows in place of yes or no: of all figures between 0 and 1 with this mean, yes or no varies
    most, so that the limit is on the generous side there.
    """
    return float(stats.binom.ppf(CHANCE / 2, SEASONS, share)) / SEASONS


def most(share: float) -> float:
    """[share] The same at the upper end: an interval that always holds is too wide to be one of 90 %."""
    return float(stats.binom.ppf(1 - CHANCE / 2, SEASONS, share)) / SEASONS


class Fitted(NamedTuple):
    """Seasons and what the product says of them."""

    clean: tuple[tuple[Season, Judged], ...]
    spoiled: tuple[tuple[Season, Judged], ...]


@pytest.fixture(scope="module")
def fitted() -> Fitted:
    """Fit all seasons, once for all tests."""
    clean, spoiled = np.random.SeedSequence(SEED).spawn(2)
    drawn = [
        [draw_season(np.random.default_rng(seed), spoiled_share=share) for seed in parent.spawn(SEASONS)]
        for parent, share in ((clean, 0.0), (spoiled, 0.05))
    ]
    with threadpool_limits(1):  # matrices this small lose by threads, most of all where tests run side by side
        return Fitted(*(tuple((season, fit_by_product(season)) for season in group) for group in drawn))


def scored(pairs: Iterable[tuple[Season, Judged]], narrowed: float = 1.0) -> Scores:
    """Add up the scores of fitted seasons, with intervals narrowed by a share."""
    scores = Scores()
    for season, judged in pairs:
        scores.take(score_season(season, judged.narrowed(narrowed)))
    return scores


# The fit -------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("what", INTERVALS)
def test_intervals_hold_the_truth_on_clean_seasons(fitted: Fitted, what: str):
    """A true coverage anywhere from 0.87 to 0.94, the mark, fails with less than 1 in 1,000."""
    count = scored(fitted.clean).counts[what]
    assert count.seen == SEASONS
    assert least(0.87) <= count.coverage <= most(0.94)


@pytest.mark.slow
@pytest.mark.parametrize("what", INTERVALS)
def test_intervals_hold_the_truth_on_spoiled_seasons(fitted: Fitted, what: str):
    """A true coverage of 0.85 or more, the mark, fails with less than 1 in 1,000."""
    assert scored(fitted.spoiled).counts[what].coverage >= least(0.85)


@pytest.mark.slow
@pytest.mark.parametrize("what", INTERVALS)
def test_the_unsafe_bound_is_missed_no_more_often_than_a_tail_may_be(fitted: Fitted, what: str):
    """Each tail ought to hold 5 %. At a coverage of 0.87 evenly split one holds 6.5 %, of 0.85 one holds 7.5 %."""
    for pairs, tail in ((fitted.clean, 0.065), (fitted.spoiled, 0.075)):
        assert scored(pairs).counts[what].unsafe_share <= 1 - least(1 - tail)


@pytest.mark.slow
@pytest.mark.parametrize("what", INTERVALS)
def test_a_fit_with_halved_intervals_would_fail(fitted: Fitted, what: str):
    """An interval of 90 % halved holds 59 % if normal: both limits must tell that, or they tell nothing."""
    assert scored(fitted.clean, narrowed=0.5).counts[what].coverage < least(0.87)
    assert scored(fitted.spoiled, narrowed=0.5).counts[what].coverage < least(0.85)


@pytest.mark.slow
@pytest.mark.parametrize("alone", [*ALONE, "full mark less metered", "capacity less metered", "gauge as read"])
def test_both_instruments_together_are_nearer_than_any_alone(fitted: Fitted, alone: str):
    """Root-mean-square error of the fuel aboard, all rules on the same seasons."""
    for pairs in (fitted.clean, fitted.spoiled):
        scores = scored(pairs)
        assert len(scores.squares[alone]) == len(scores.squares["both combined"]) > 0.95 * SEASONS
        assert scores.error_share("both combined") < scores.error_share(alone)


@pytest.mark.slow
def test_spoiled_rows_are_found(fitted: Fitted):
    """Our own marks: two spoiled rows in three are found, and of the rows doubted four in five were spoiled.

    Slips from 3 % of the tank on are counted; the least of them can hide behind what a full mark repeats to.
    A forgotten reset changes a sum by a whole run, a fifth of the tank or more: nine in ten are found.
    """
    scores = scored(fitted.spoiled)
    assert scores.recall() >= 2 / 3
    assert scores.precision() >= 4 / 5
    assert scores.found["reset-forgotten"] >= 0.9 * scores.spoiled["reset-forgotten"] > 0


@pytest.mark.slow
def test_few_clean_rows_are_doubted(fitted: Fitted):
    """Our own mark: one in a hundred, where the prior has some six in a hundred wrong."""
    scores = scored(fitted.clean)
    assert scores.doubted_rows <= 0.01 * scores.rows


# The simulator -------------------------------------------------------------------------------------------------------


@st.composite
def drawn_seasons(draw: st.DrawFn) -> Season:
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    return draw_season(
        rng,
        fillups=draw(st.none() | st.integers(1, 30)),
        spoiled_share=draw(st.sampled_from([0.0, 0.05, 0.6])),
        part_share=draw(st.sampled_from([0.0, 0.12, 0.7, 1.0])),
        meters=draw(st.integers(1, 2)),
    )


@given(drawn_seasons())
def test_log_and_truth_agree(season: Season):
    assert find_contradictions(season) == []


@given(drawn_seasons(), st.randoms(use_true_random=False))
def test_a_log_that_was_tampered_with_contradicts_the_truth(season: Season, chance: random.Random):
    """So that the test above can fail."""
    honest = [row for row in range(len(season.log)) if row not in season.spoiled]
    if not honest:
        return
    row = chance.choice(honest)
    capacity_l = season.boat.tank.capacity_l
    fillup = season.log[row]
    for update in (
        {"pumped_l": fillup.pumped_l + 0.2 * season.litres},
        {"meter_used_l": fillup.meter_used_l + 0.9 * capacity_l},
        {"gauge_before_l": (fillup.gauge_before_l + 0.9 * capacity_l) % (1.8 * capacity_l)},
    ):
        log = (*season.log[:row], fillup.model_copy(update=update), *season.log[row + 1 :])
        assert find_contradictions(replace(season, log=log)) != []
    assert find_contradictions(replace(season, now=replace(season.now, level_l=season.now.level_l + 1))) != []


@given(drawn_seasons())
def test_sums_from_full_to_full(season: Season):
    """Between two full marks: pumped is used and the difference of the two fills, to a tenth of a unit a row."""
    full = [row for row, fillup in enumerate(season.log) if fillup.filled_to_full]
    for first, last in pairwise(full):
        rows = range(first + 1, last + 1)
        if any(season.spoiled.get(row) == "pumped-typed" for row in rows):
            continue
        pumped_l = sum(season.log[row].pumped_l for row in rows)
        used_l = sum(season.truth.used_l[row] for row in rows)
        fills_l = season.truth.after_l[last] - season.truth.after_l[first]
        assert pumped_l == pytest.approx(used_l + fills_l, abs=0.0501 * season.litres * len(rows))


@given(drawn_seasons())
def test_spoiled_rows_are_wrong_and_could_be_entered(season: Season):
    truth, capacity_l = season.truth, season.boat.tank.capacity_l
    for row, kind in season.spoiled.items():
        fillup = season.log[row]
        assert fillup.pumped_l <= capacity_l
        assert fillup.gauge_before_l <= capacity_l
        if kind == "pumped-typed":
            assert abs(fillup.pumped_l - truth.delivered_l[row]) > 0.03 * capacity_l - season.litres
        if kind == "reset-forgotten":
            assert season.log[row - 1].meter_reset
            shown_l = sum(value or 0.0 for value in fillup.meters_used_l)
            assert shown_l > 1.1 * truth.used_l[row]
    assert set(season.spoiled.values()) <= set(KINDS)


@given(drawn_seasons())
def test_the_boat_is_run_as_boats_are(season: Season):
    """20 to 80 % of the tank between fill-ups, never below 8 % left; distance and hours at about the cruising speed."""
    capacity_l, truth = season.boat.tank.capacity_l, season.truth
    for fillup, used_l, before_l in zip(season.log, truth.used_l, truth.before_l, strict=True):
        assert 0.2 - 1e-9 <= used_l / capacity_l <= 0.8 + 1e-9
        assert before_l >= 0.08 * capacity_l - 1e-9
        speed_kn = fillup.distance_run_nmi / fillup.engine_hours_h
        rounding = 0.05 / fillup.engine_hours_h + 0.05 / fillup.distance_run_nmi
        assert speed_kn == pytest.approx(season.boat.cruising_speed_kn, rel=0.1 + 1.5 * rounding)
    assert season.now.level_l >= 0.08 * capacity_l - 1e-9


@given(st.integers(0, 2**32), st.floats(0, 1))
def test_the_gauges_curve_rises_and_is_inverted(seed: int, share: float):
    curve = draw_gauge(np.random.default_rng(seed), 300.0)
    assert np.all(np.diff(curve.free_l) > 0)
    level_l = curve.level_l(share * 300)
    if level_l is None:
        assert not curve.free_l[0] < share * 300 < curve.free_l[-1] or share in {0, 1}
    else:
        assert curve.reading_l(level_l) == pytest.approx(share * 300, abs=1e-6)


def test_a_seed_gives_the_same_season():
    first, again, other = (draw_season(np.random.default_rng(seed), spoiled_share=0.05) for seed in (1, 1, 2))
    assert (first.log, first.now, first.spoiled) == (again.log, again.now, again.spoiled)
    assert first.log != other.log


def test_truth_is_drawn_from_what_the_product_states():
    """The figures of `routeplan.priors`, written down twice: they must not drift apart."""
    assert (
        simulator.FACTOR_DEGREES,
        simulator.FACTOR_SCALE,
        simulator.METER_SCATTER,
        simulator.METER_SCATTER_LOG_SD,
        simulator.FULL_SD_LOG_SD,
        simulator.GAUGE_SD_LOW,
        simulator.GAUGE_SD_CALM,
        simulator.GAUGE_LOW_END,
        simulator.GAUGE_SETTLED,
        simulator.GAUGE_REACH,
        simulator.GAUGE_SCATTER,
        simulator.GAUGE_SCATTER_LOG_SD,
        simulator.BURN_SD,
        simulator.RUN_SD,
        simulator.RUN_LOG_SD,
    ) == (
        priors.METER_FACTOR_DEGREES,
        priors.METER_FACTOR_SCALE,
        priors.METER_SCATTER_SHARE,
        priors.METER_SCATTER_LOG_SD,
        priors.FULL_MARK_LOG_SD,
        priors.GAUGE_LOW_SD_SHARE,
        priors.GAUGE_CALM_SD_SHARE,
        priors.GAUGE_LOW_END_SHARE,
        priors.GAUGE_SETTLED_SHARE,
        priors.GAUGE_REACH_SHARE,
        priors.GAUGE_SCATTER_SHARE,
        priors.GAUGE_SCATTER_LOG_SD,
        priors.BURN_FACTOR_SD,
        priors.RUN_SCATTER_SHARE,
        priors.RUN_SCATTER_LOG_SD,
    )


def test_draws_follow_their_distributions():
    """Scipy's Kolmogorov-Smirnov test on 1,000 seasons of one fill-up; a right simulator fails it once in 1,000 seeds.

    Gauges are held at a level share of 0.6 and 0.1, after the redraw of those that don't rise, which is rare.
    """
    drawn = [draw_season(np.random.default_rng(seed), fillups=1) for seed in np.random.SeedSequence(3).spawn(1000)]
    factor = stats.t(4, loc=1, scale=0.0235)
    low, high = factor.cdf([0.95, 1.05])
    truths = [season.truth for season in drawn]
    capacities_l = np.array([season.boat.tank.capacity_l for season in drawn])
    off = {
        share: np.array([t.gauge.unclamped_l(share * c) / c - share for t, c in zip(truths, capacities_l, strict=True)])
        for share in (0.1, 0.6)
    }
    for values, cdf in (
        ([t.meter_factor for t in truths], lambda x: np.clip((factor.cdf(x) - low) / (high - low), 0, 1)),
        (np.log([t.meter_scatter_share for t in truths]), stats.norm(math.log(0.008), 0.5).cdf),
        (np.log([t.full_mark_sd_l for t in truths] / capacities_l), stats.norm(math.log(0.01), 0.4).cdf),
        (np.log([t.gauge_scatter_l for t in truths] / capacities_l), stats.norm(math.log(0.012), 0.5).cdf),
        (np.log([t.run_sd_share for t in truths]), stats.norm(math.log(0.04), 0.5).cdf),
        ([t.burn_factor for t in truths], stats.norm(1, 0.08).cdf),
        (off[0.1], stats.norm(0, 0.07).cdf),
        (off[0.6], stats.norm(0, 0.03).cdf),
    ):
        assert stats.kstest(values, cdf).pvalue > CHANCE / 8  # eight looks
    together = float(np.corrcoef(off[0.1], off[0.6])[0, 1])
    assert together == pytest.approx(math.exp(-0.5 * (0.5 / 0.3) ** 2), abs=3.5 / math.sqrt(1000))


# The scores ----------------------------------------------------------------------------------------------------------


def test_scores_of_a_fit_that_knows_the_truth_and_of_one_that_is_off():
    """Two fits solved by hand: one holds everything, the other's fuel aboard is 5 % of the tank too high throughout."""
    season = draw_season(np.random.default_rng(4), fillups=14, spoiled_share=0.3)
    capacity_l, level_l = season.boat.tank.capacity_l, season.now.level_l
    factor = season.truth.meter_factor
    reading_l = season.truth.gauge.reading_l(0.5 * capacity_l)
    right = Judged(
        meter_factor=Span(factor - 0.01, factor, factor + 0.01),
        gauge_table=((reading_l, Span(0.49 * capacity_l, 0.5 * capacity_l, 0.51 * capacity_l)), (0.0, Span(9, 9, 9))),
        aboard=Span(level_l - 1, level_l, level_l + 1),
        by_meter_l=level_l,
        by_gauge_l=level_l,
        doubted=dict.fromkeys(season.spoiled, ("meter",)),
    )
    off_l = level_l + 0.05 * capacity_l
    wrong = replace(right, aboard=Span(off_l - 1, off_l, off_l + 1), doubted={})
    scores = score_season(season, right)
    assert [count.coverage for count in scores.counts.values()] == [1, 1, 1]  # the stop at 0 is no row to count
    assert scores.error_share("both combined") == 0
    assert (scores.precision(), scores.recall()) == (1, 1)
    assert len(season.spoiled) > 0
    scores.take(score_season(season, wrong))
    assert scores.aboard.coverage == scores.aboard.unsafe_share == 0.5
    assert scores.error_share("both combined") == pytest.approx(0.05 / math.sqrt(2), rel=1e-9)
    assert scores.recall() == 0.5


def test_the_plain_rules_by_hand():
    """To the mark at 40 metered; a part fill of 30 with the meter left running at 20; now it shows 55.

    Full mark + 30 - 55. Had the meter been reset at the part fill, and did it show 35 now: the same.
    """
    season = draw_season(np.random.default_rng(5), fillups=2)
    first, second = season.log
    full = first.model_copy(update={"meter_used_l": 40.0, "filled_to_full": True, "meter_reset": True})
    tank, level_l = season.boat.tank, season.now.level_l
    judged = Judged(Span(0.9, 1.0, 1.1), (), Span(0, 0, 0), 0.0, 0.0, {})
    for reset, shows_l in ((False, 55.0), (True, 35.0)):
        part = Fillup.model_validate(
            {
                **second.model_dump(),
                "meter_used_l": 20.0,
                "pumped_l": 30.0,
                "filled_to_full": False,
                "meter_reset": reset,
            }
        )
        now = replace(season.now, meters_l=(shows_l,))
        scores = score_season(replace(season, log=(full, part), now=now), judged)
        for rule, guess_l in (
            ("full mark less metered", tank.full_mark_l - 25),
            ("capacity less metered", tank.capacity_l - 25),
            ("full mark less factor x metered", tank.full_mark_l - 25),
        ):
            assert scores.error_share(rule) == pytest.approx(abs(guess_l - level_l) / tank.capacity_l, rel=1e-9)
    assert set(scores.squares) == set(RULES)
