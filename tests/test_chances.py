"""How likely a whole plan keeps the reserve: cases by hand, normal integrals by another method, tanks drawn at random.

Tolerances: 1e-9 where a closed form gives the value; 1e-6, which is what is asked of the chances, where scipy's
integral over several dimensions does (asked for 2e-7 itself); five standard errors where draws do.
"""

from __future__ import annotations

import itertools
import math
from datetime import UTC, datetime
from statistics import NormalDist
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.plane_docks import plane_problem
from oracles.sailed_plans import sail_plan
from scipy.integrate import quad
from scipy.stats import multivariate_normal

from routeplan.chances import Stretch, find_chance, find_chances, find_stretches
from routeplan.fuel import greatest_burn_l, low_figure_l, z_of
from routeplan.problem import FillUp, Hop, Label, Problem
from routeplan.search import find_labels
from routeplan.tracks import Track

if TYPE_CHECKING:
    from collections.abc import Sequence

NORMAL = NormalDist()
CLOSED = 1e-9
INTEGRAL = 1e-6


def a_problem(**changes: Any) -> Problem:
    """Make a search whose water and docks nobody looks at: chances ask for figures alone."""
    network: Any = SimpleNamespace()
    plain: dict[str, Any] = {
        "network": network,
        "graph": nx.MultiDiGraph(),
        "docks": {},
        "start": 0,
        "targets": (9,),
        "depart": datetime(2026, 7, 1, tzinfo=UTC),
        "mean_l": 50.0,
        "sd_l": 0.0,
        "full_l": 100.0,
        "full_sd_l": 0.0,
        "floor_l": 10.0,
        "sd_share": 0.0,
        "z": 0.0,
        "berthing_h": 0.25,
        "may_wait": frozenset(),
        "unusable_l": 2.0,
    }
    return Problem(**(plain | changes))


def a_plan(problem: Problem, *steps: tuple[float, float | None]) -> Label:
    """Follow hops that burn so many litres, each with a fill at its end: none (0), litres, or to the mark (None)."""
    label = Label(0, 0, 0.0, 0, 0.0, problem.mean_l, 0.0, problem.sd_l)
    for place, (fuel_l, take_l) in enumerate(steps, start=1):
        track = Track(np.zeros((2, 2)), ("leg",), 20.0, 1.0, fuel_l, (), ())
        hop = Hop(track, label.time_h, label.time_h + 1, 0.0, "")
        mean_l, burned_l, sd_l = label.mean_l, label.burned_l + fuel_l, label.sd_l
        fill = None
        if take_l is None:
            fill = FillUp(hop.arrive_h, hop.arrive_h + 1, 0.0, problem.full_l - mean_l + burned_l, to_mark=True)
            mean_l, burned_l, sd_l = problem.full_l, 0.0, problem.full_sd_l
        elif take_l:
            fill = FillUp(hop.arrive_h, hop.arrive_h + 1, 0.0, take_l, to_mark=False)
            mean_l += take_l
        label = Label(place, 0, hop.arrive_h, label.stops, 0.0, mean_l, burned_l, sd_l, label, hop, fill)
    return label


@given(
    mean_l=st.integers(20, 300),
    burned_l=st.integers(1, 300),
    sd_l=st.floats(0, 10),
    sd_share=st.sampled_from([0.0, 0.02, 0.06, 0.2]),
    limit_l=st.integers(0, 60),
)
def test_one_arrival_is_one_normal(mean_l: int, burned_l: int, sd_l: float, sd_share: float, limit_l: int) -> None:
    """What is aboard is normal, with the mean L - B and the sd hypot(s0, k B)."""
    sd = math.hypot(sd_l, sd_share * burned_l)
    over_l = mean_l - burned_l - limit_l
    chance = find_chance([Stretch(sd_l, ((mean_l, burned_l),))], sd_share, limit_l)
    assert chance == pytest.approx(NORMAL.cdf(over_l / sd) if sd > 0 else float(over_l >= 0), abs=CLOSED)


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.999])
def test_an_arrival_that_just_holds_keeps_the_reserve_as_often_as_the_confidence_says(confidence: float) -> None:
    z = z_of(confidence)
    problem = a_problem(mean_l=95.0, sd_l=2.0, sd_share=0.06, z=z)
    end = a_plan(problem, (greatest_burn_l(95.0, 2.0, 0.06, z, 10.0), 0))
    assert find_chances(problem, end).reserve_kept == pytest.approx(confidence, abs=CLOSED)


def test_levels_of_different_fills_err_apart() -> None:
    """Burn known; 10 l over at an sd of 10, filled to the mark, 4 l over at an sd of 2: Phi(1) Phi(2)."""
    problem = a_problem(sd_l=10.0, full_sd_l=2.0)
    end = a_plan(problem, (30, None), (86, 0))
    assert find_chances(problem, end).reserve_kept == pytest.approx(NORMAL.cdf(1) * NORMAL.cdf(2), abs=CLOSED)


def test_one_burn_factor_is_met_by_all_legs() -> None:
    """Levels known, 20 %: 30 l burnt with 40 to burn, a fill, 75 with 90: the second gives out first, at K = 1.2."""
    problem = a_problem(sd_share=0.2)
    end = a_plan(problem, (30, None), (75, 0))
    assert find_chances(problem, end).reserve_kept == pytest.approx(NORMAL.cdf(1), abs=CLOSED)


def test_the_level_of_one_stretch_is_one_error() -> None:
    """Burn known, two arrivals on one level of sd 5, the last one 5 l over: the first adds nothing, Phi(1)."""
    problem = a_problem(sd_l=5.0)
    assert find_chances(problem, a_plan(problem, (20, 0), (15, 0))).reserve_kept == pytest.approx(
        NORMAL.cdf(1), abs=CLOSED
    )


@pytest.mark.parametrize(("burned_l", "take_l", "onward_l", "z"), [(30, 20, 20, 1.0), (36, 40, 10, 5 / 9)])
def test_a_part_fill_adds_fuel_and_no_knowledge(burned_l: float, take_l: float, onward_l: float, z: float) -> None:
    """50 l known aboard, burn doubtful by 20 %, 10 l to be left.

    30 burnt, 20 taken, 20 burnt: K <= 40/30 and K <= 60/50 = 1.2, one sd. 36, 40, 10: K <= 40/36, 5/9 sd, and 80/46.
    """
    problem = a_problem(sd_share=0.2)
    end = a_plan(problem, (burned_l, take_l), (onward_l, 0))
    assert find_chances(problem, end).reserve_kept == pytest.approx(NORMAL.cdf(z), abs=CLOSED)


def test_the_level_goes_on_erring_over_a_part_fill() -> None:
    """Burn known, 50 l of sd 4: 8 l over on arrival, 16 l taken, 20 l burnt, 4 l over. One error, not two: Phi(1)."""
    problem = a_problem(sd_l=4.0)
    end = a_plan(problem, (32, 16), (20, 0))
    assert find_chances(problem, end).reserve_kept == pytest.approx(NORMAL.cdf(1), abs=CLOSED)


def test_dry_is_below_the_unusable_fuel() -> None:
    """50 l of sd 10, 30 burnt: Phi(1) to keep 10 l of them, Phi(1.8) to keep 2."""
    chances = find_chances(a_problem(sd_l=10.0), a_plan(a_problem(sd_l=10.0), (30, 0)))
    assert chances.reserve_kept == pytest.approx(NORMAL.cdf(1), abs=CLOSED)
    assert chances.never_dry == pytest.approx(NORMAL.cdf(1.8), abs=CLOSED)


def test_a_fill_at_the_departure_begins_the_first_stretch() -> None:
    """Filled to the mark before leaving: the level is the mark's. Filled in part: it keeps its doubt."""
    problem = a_problem(sd_l=5.0, full_sd_l=1.0)
    for to_mark, mean_l, sd_l in ((True, 100.0, 1.0), (False, 70.0, 5.0)):
        fill = FillUp(0.0, 1.0, 0.0, mean_l - 50, to_mark=to_mark)
        first = Label(0, 0, 1.0, 1, 0.0, mean_l, 0.0, sd_l, fill=fill)
        hop = Hop(Track(np.zeros((2, 2)), ("leg",), 20.0, 1.0, 55.0, (), ()), 1.0, 2.0, 0.0, "")
        end = Label(1, 1, 2.0, 1, 0.0, mean_l, 55.0, sd_l, first, hop)
        assert find_stretches(end) == (Stretch(sd_l, ((mean_l, 55.0),)),)
        apart = Label(0, 0, 0.0, 0, 0.0, 50.0, 0.0, 5.0)  # the fill as a step of its own is read the same way
        filled = Label(0, 0, 1.0, 1, 0.0, mean_l, 0.0, sd_l, apart, None, fill)
        assert find_stretches(Label(1, 1, 2.0, 1, 0.0, mean_l, 55.0, sd_l, filled, hop)) == find_stretches(end)
        assert find_chances(problem, end).reserve_kept == pytest.approx(NORMAL.cdf((mean_l - 65) / sd_l), abs=CLOSED)


def test_an_arrival_on_the_floor_with_nothing_in_doubt_is_sure() -> None:
    """Part fills at even odds arrive on the floor but for rounding, and the plan is sure all the same."""
    problem = a_problem(mean_l=40.0)
    end = a_plan(problem, (0.8, 0.4), (29.6, 0))
    assert -1e-13 < end.aboard_l - problem.floor_l < 0
    chances = find_chances(problem, end)
    assert (chances.reserve_kept, chances.never_dry) == (1.0, 1.0)
    assert find_chances(problem, a_plan(problem, (30.2, 0))).reserve_kept == 0.0


def test_a_known_level_below_the_limit_from_the_start_is_no_chance() -> None:
    """10 l of no doubt and nothing burnt: 10 are left for sure, 11 never, whatever the burn."""
    for share in (0.0, 0.1):
        assert find_chance([Stretch(0.0, ((10.0, 0.0),))], share, 10.0) == pytest.approx(1, abs=CLOSED)
        assert find_chance([Stretch(0.0, ((10.0, 0.0),))], share, 11.0) == 0


def test_a_plan_that_goes_nowhere_is_sure() -> None:
    problem = a_problem(sd_l=5.0, sd_share=0.1)
    assert find_chances(problem, a_plan(problem)).reserve_kept == pytest.approx(1, abs=CLOSED)


@pytest.mark.parametrize("tiny", [1e-7, 1e-9, 1e-12, 1e-15, 1e-100, 1e-300])
def test_next_to_no_doubt_is_as_good_as_none(tiny: float) -> None:
    """Doubt of 1e-7 l or 1e-7 of the burn moves a chance that is not on its edge by less than what is asked."""
    arrivals = [((95.0, 70.0),), ((95.0, 60.0), (110.0, 85.0)), ((90.0, 65.0),)]
    for limit_l in (0.0, 12.0, 17.5, 26.0):
        for sds in itertools.product((0.0, 3.0), repeat=3):
            nearly = [Stretch(sd or tiny, a) for sd, a in zip(sds, arrivals, strict=True)]
            exactly = [Stretch(sd, a) for sd, a in zip(sds, arrivals, strict=True)]
            for share in (0.0, 0.06):
                found, known = find_chance(nearly, share or tiny, limit_l), find_chance(exactly, share, limit_l)
                assert found == pytest.approx(known, abs=INTEGRAL), (limit_l, sds, share)


def drawn_stretches(rng: np.random.Generator, counts: Sequence[int]) -> list[Stretch]:
    """Draw stretches of so many arrivals each, part fills between those of one stretch."""
    stretches = []
    for count in counts:
        burned = np.cumsum(rng.uniform(5, 30, count))
        over = rng.uniform(-2, 12, count)  # above the 15 l that are to be left
        levels = np.maximum.accumulate(burned + 15 + over)
        stretches.append(Stretch(float(rng.uniform(0.3, 5)), tuple(zip(levels.tolist(), burned.tolist(), strict=True))))
    return stretches


@pytest.mark.parametrize("counts", [(2,), (1, 1), (2, 1), (1, 1, 1)])
def test_a_normal_integral_over_all_arrivals_says_the_same(counts: tuple[int, ...]) -> None:
    """The arrivals' fuel is jointly normal: covariances s^2 within a stretch, and k^2 B_i B_j between any two.

    Never more arrivals than errors, as scipy's integral is some 1e-6 off where the covariance is singular.
    """
    rng = np.random.default_rng(counts)
    chances = []
    for _ in range(10):
        stretches = drawn_stretches(rng, counts)
        share = float(rng.choice([0.02, 0.06, 0.1, 0.2]))
        rows = [(i, s.sd_l, *a) for i, s in enumerate(stretches) for a in s.arrivals_l]
        over = np.array([level - burned - 15 for _, _, level, burned in rows])
        covariance = [[(p[0] == q[0]) * p[1] ** 2 + share**2 * p[3] * q[3] for q in rows] for p in rows]
        jointly = multivariate_normal(
            np.zeros(len(rows)), covariance, abseps=2e-7, releps=0, maxpts=1_000_000, seed=1
        ).cdf(over)
        chances.append(find_chance(stretches, share, 15.0))
        assert chances[-1] == pytest.approx(float(jointly), abs=INTEGRAL)
    assert sum(0.05 < chance < 0.95 for chance in chances) >= 5  # not all of them foregone


@pytest.mark.parametrize("count", [3, 5])
def test_many_part_fills_integrated_the_other_way_round(count: int) -> None:
    """On one level: for each error of it the burn factor must be below (L + e - 15) / B at every arrival."""
    rng = np.random.default_rng(count)
    for _ in range(10):
        (stretch,) = drawn_stretches(rng, (count,))
        share = float(rng.choice([0.02, 0.06, 0.1, 0.2]))

        def kept(error: float, s: Stretch = stretch, k: float = share) -> float:
            least = min((level + s.sd_l * error - 15) / burned for level, burned in s.arrivals_l)
            return NORMAL.pdf(error) * NORMAL.cdf((least - 1) / k)

        pieces = [quad(kept, a, a + 0.5, epsabs=1e-9)[0] for a in np.arange(-8, 8, 0.5)]
        assert find_chance([stretch], share, 15.0) == pytest.approx(math.fsum(pieces), abs=INTEGRAL)


def test_chances_lie_between_what_arrivals_by_themselves_allow() -> None:
    """All errors push arrivals the same way: no less than their product (Slepian 1962), no more than the least."""
    rng = np.random.default_rng(8)
    for _ in range(200):
        stretches = drawn_stretches(rng, rng.integers(1, 4, int(rng.integers(1, 5))).tolist())
        share = float(rng.choice([0.0, 0.02, 0.06, 0.2]))
        alone = [
            NORMAL.cdf((level - burned - 15) / math.hypot(s.sd_l, share * burned))
            for s in stretches
            for level, burned in s.arrivals_l
        ]
        chance = find_chance(stretches, share, 15.0)
        assert math.prod(alone) - CLOSED <= chance <= min(alone) + CLOSED
        assert find_chance(stretches, share, 14.0) >= chance


@pytest.mark.parametrize("seed", range(12))
def test_plans_sailed_many_times_do_as_predicted(seed: int) -> None:
    """Full and part fills, levels and burn in doubt: 200,000 passages each, counted."""
    rng = np.random.default_rng(seed)
    problem = a_problem(
        mean_l=float(rng.uniform(40, 60)),
        sd_l=float(rng.choice([0.0, 1.0, 4.0])),
        full_sd_l=float(rng.choice([0.0, 0.5, 2.0])),
        sd_share=float(rng.choice([0.0, 0.05, 0.15])),
    )
    steps: list[tuple[float, float | None]] = []
    mean_l = problem.mean_l
    for kind in [*rng.integers(0, 3, int(rng.integers(1, 6))), 0]:
        fuel_l = mean_l - float(rng.uniform(11, 22))
        take_l = (0.0, float(rng.uniform(15, 40)), None)[kind]
        mean_l = problem.full_l if take_l is None else mean_l - fuel_l + take_l
        steps.append((max(fuel_l, 0.5), take_l))
    end = a_plan(problem, *steps)
    predicted, sailed = find_chances(problem, end), sail_plan(problem, end, 200_000, rng)
    for chance, missed in ((predicted.reserve_kept, sailed.reserve_missed), (predicted.never_dry, sailed.ran_dry)):
        error = math.sqrt(sailed.draws * chance * (1 - chance))
        assert abs(missed - sailed.draws * (1 - chance)) <= 5 * error + 5  # five more where next to none are expected


def test_what_the_search_plans_is_predicted() -> None:
    """Random docks in the plane: the chances of every plan, by one arrival after the other, and by draws."""
    rng = np.random.default_rng(3)
    seen = 0
    for seed in range(6):
        problem = plane_problem(seed, 12, rule_z=z_of(0.8))
        for end in find_labels(problem)[:4]:
            path = end.path()
            alone = []
            for before, step in itertools.pairwise(path):
                if step.hop is not None:
                    burned_l = before.burned_l + step.hop.track.fuel_l
                    low_l = low_figure_l(before.mean_l, burned_l, before.sd_l, problem.sd_share, problem.z)
                    sd = math.hypot(before.sd_l, problem.sd_share * burned_l)
                    alone.append(NORMAL.cdf((before.mean_l - burned_l - problem.floor_l) / sd))
                    assert low_l >= problem.floor_l
            assert min(alone) >= 0.8
            chances = find_chances(problem, end)
            assert math.prod(alone) - CLOSED <= chances.reserve_kept <= min(alone) + CLOSED
            sailed = sail_plan(problem, end, 50_000, rng)
            error = math.sqrt(sailed.draws * chances.reserve_kept * (1 - chances.reserve_kept))
            assert abs(sailed.reserve_missed - sailed.draws * (1 - chances.reserve_kept)) <= 5 * error + 5
            seen += 1
    assert seen >= 10
