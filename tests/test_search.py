"""The refuel search against every plan there is, on small dock graphs; and what must hold of any search."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from datetime import datetime
from random import Random
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Literal
from zoneinfo import ZoneInfo

import networkx as nx
import pytest
from hypothesis import event, given
from hypothesis import strategies as st
from oracles.every_plan import Pump, Puzzle, Way, every_arrival, every_plan, pareto
from oracles.puzzle_draws import draw_puzzle
from posed import ALL_FOUR, UTC_ZONE, a_dock, a_problem, a_track, faults_of, figures, found_figures, point_of

from routeplan.bridges import Gate
from routeplan.search import find_labels

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from routeplan.problem import Label, Problem
    from routeplan.search import Criterion

    Answer = Callable[[Puzzle], list[tuple[float, ...]]]
    Ways = dict[tuple[int, int], tuple[Way, ...]]

QUARTERS = st.integers(1, 24).map(lambda n: n / 4)  # [h]
LITRES = st.integers(4, 70).map(float)


@st.composite
def pumps(draw: st.DrawFn) -> Pump:
    windows: tuple[tuple[int, int], ...] = ()
    if draw(st.booleans()):
        begin = draw(st.integers(0, 22)) * 60
        windows = ((begin, begin + 60 * draw(st.integers(1, 14))),)
        if windows[0][1] < 19 * 60 and draw(st.booleans()):
            second = windows[0][1] + 60 * draw(st.integers(1, 3))
            windows = (*windows, (second, second + 90))
    return Pump(draw(st.sampled_from([20.0, 40.0, 80.0])), draw(st.sampled_from([None, None, 40.0, 75.0])), windows)


@st.composite
def puzzles(draw: st.DrawFn) -> Puzzle:
    """Draw up to six places: start, destination, docks (the ends may be docks too), now and then a place to pass."""
    count = draw(st.sampled_from([3, 4, 5, 5, 5, 6]))
    places = list(range(count))
    ways: Ways = {}
    for i in places:
        for j in places[i + 1 :]:
            if (i, j) == (0, 1) or draw(st.integers(0, 4)) == 0:  # never straight: most would need no stop
                continue
            quick = Way(draw(QUARTERS), draw(LITRES))
            both = (
                (quick, Way(quick.time_h + draw(QUARTERS), max(quick.fuel_l - draw(LITRES), 1.0)))
                if draw(st.booleans())
                else (quick,)
            )
            ways[i, j] = ways[j, i] = both
    targets = [1]
    if count > 3 and draw(st.booleans()):
        targets.insert(0, draw(st.sampled_from(places[2:])))
    dry = draw(st.sets(st.sampled_from(places), max_size=2))
    return Puzzle(
        ways=ways,
        pumps={i: draw(pumps()) for i in places if i not in dry},
        start=0,
        targets=tuple(targets),
        depart_of_day_h=float(draw(st.integers(0, 23))),
        mean_l=float(draw(st.integers(30, 100))),
        sd_l=draw(st.sampled_from([0.0, 2.0, 5.0])),
        full_l=95.0,
        full_sd_l=draw(st.sampled_from([0.0, 1.0])),
        floor_l=10.0,
        sd_share=draw(st.sampled_from([0.0, 0.06, 0.2])),
        z=draw(st.sampled_from([0.0, 1.2815515655446004])),
        berthing_h=draw(st.sampled_from([0.0, 0.25])),
    )


def front_of(problem: Problem) -> list[tuple[float, int]]:
    return sorted({(round(label.time_h, 6), label.stops) for label in find_labels(problem, ("time", "stops"))})


@pytest.mark.slow
@given(puzzles())
def test_the_front_is_that_of_every_plan(puzzle: Puzzle) -> None:
    """Time and stops: every point, none more; a fill that closing time cuts short waits for the next opening."""
    expected = sorted((round(t, 6), s) for t, s in pareto(every_arrival(puzzle)))
    event(f"{len(expected)} plans")
    found = front_of(a_problem(puzzle))
    assert [s for _, s in found] == [s for _, s in expected]
    assert [t for t, _ in found] == pytest.approx(
        [t for t, _ in expected], abs=1e-5
    )  # datetimes count whole microseconds


@given(puzzles())
def test_each_plan_keeps_the_rules_when_told_step_by_step(puzzle: Puzzle) -> None:
    """The path of every label: hops that exist, arrivals above the floor, fills to the mark, clocks that add up."""
    for end in find_labels(a_problem(puzzle)):
        assert faults_of(puzzle, end) == []


RULES: tuple[Literal["on", "off", "strict"], ...] = ("on", "off", "strict")


def drawn(name: str, count: int, rules: tuple[Literal["on", "off", "strict"], ...] = RULES) -> Iterator[Puzzle]:
    """Draw the same puzzles each time, others for each name, under one closed-dock rule after another."""
    for index in range(count):
        yield draw_puzzle(Random(f"{name} {index}"), rules[index % len(rules)])  # noqa: S311  puzzles, no secrets


def test_the_front_over_four_criteria_is_that_of_every_plan() -> None:
    """Time, cost, stops and least margin: every point, none more, each once; every plan holds when told again."""
    sizes = []
    for puzzle in drawn("all four", 250, ("off",)):
        plans = every_plan(puzzle)
        assert all(point.time_min.is_integer() and point.cost_cents.is_integer() for point in plans)  # ties are ties
        due = figures(plans)
        assert found_figures(puzzle) == due, puzzle
        assert [fault for end in find_labels(a_problem(puzzle)) for fault in faults_of(puzzle, end)] == []
        sizes.append(len(due))
    assert sum(size == 0 for size in sizes) > 20  # no plan is an answer too
    assert sum(size > 3 for size in sizes) > 50


@pytest.mark.parametrize(
    "criteria", [some for n in range(1, 5) for some in itertools.combinations(ALL_FOUR, n)], ids=",".join
)
def test_the_front_over_some_of_the_criteria(criteria: tuple[Criterion, ...]) -> None:
    """One point of each kind of plan that no other beats in what is asked for; the order they come in is by time."""
    for puzzle in drawn("some", 25, ("off",)):
        assert found_figures(puzzle, criteria) == figures(every_plan(puzzle), criteria), puzzle
        times = [end.time_h for end in find_labels(a_problem(puzzle), criteria)]
        assert times == sorted(times)


@pytest.mark.parametrize("rule", RULES)
def test_on_a_larger_water_the_front_over_fewer_criteria_is_part_of_the_whole(
    rule: Literal["on", "off", "strict"],
) -> None:
    """Twelve places are too many for every plan to be tried; but what is cut off early depends on what is asked for."""
    for index in range(5):
        puzzle = draw_puzzle(Random(f"larger {index}"), rule, count=12)  # noqa: S311  puzzles, no secrets
        whole = [point_of(end) for end in find_labels(a_problem(puzzle))]
        for criteria in [*itertools.combinations(ALL_FOUR, 1), *itertools.combinations(ALL_FOUR, 2)]:
            assert found_figures(puzzle, criteria) == figures(whole, criteria), puzzle


def bests(puzzle: Puzzle) -> tuple[float, ...]:
    """Find the least time [min], cost [cent] and stops and the greatest margin [dl], less being better for all four."""
    points = [point_of(end) for end in find_labels(a_problem(puzzle))]
    if not points:
        return (math.inf,) * 4
    times, costs, stops, margins = zip(*points, strict=True)
    return min(times), min(costs), min(stops), -max(margins)


def no_worse(kinder: Puzzle, harder: Puzzle) -> bool:
    return all(a <= b + 1e-3 for a, b in zip(bests(kinder), bests(harder), strict=True))


def test_more_fuel_at_departure_never_hurts() -> None:
    """Fills are to the mark, so more aboard means shorter and cheaper ones, and whatever was in reach still is."""
    for puzzle in drawn("fuel", 90):
        assert no_worse(replace(puzzle, mean_l=puzzle.mean_l + 6), puzzle), puzzle


def test_surer_fuel_at_departure_never_hurts() -> None:
    for puzzle in drawn("sure", 60):
        assert no_worse(replace(puzzle, sd_l=0.0), puzzle), puzzle


def test_a_lower_reserve_never_hurts() -> None:
    for puzzle in drawn("reserve", 90):
        assert no_worse(replace(puzzle, floor_l=puzzle.floor_l - 4), puzzle), puzzle


def test_one_more_dock_never_hurts() -> None:
    """A new place with a pump, joined to all others, or a pump where there was none."""
    for index, puzzle in enumerate(drawn("dock", 54)):
        spare = max((max(pair) for pair in puzzle.ways), default=1) + 1
        ways = dict(puzzle.ways)
        for place in range(spare):
            ways[place, spare] = ways[spare, place] = (Way(0.5, 6.0),)
        pump = Pump(1.0, None, ((480, 1200),) if index % 2 else (), 1.75)
        assert no_worse(replace(puzzle, ways=ways, pumps={**puzzle.pumps, spare: pump}), puzzle), puzzle
        for place in range(spare):
            if place not in puzzle.pumps:
                assert no_worse(replace(puzzle, pumps={**puzzle.pumps, place: pump}), puzzle), puzzle


def test_a_cheaper_dock_never_hurts_and_changes_no_other_best() -> None:
    for puzzle in drawn("price", 54):
        for place, pump in puzzle.pumps.items():
            cheaper = replace(pump, price_per_l=0.5)
            now = bests(replace(puzzle, pumps={**puzzle.pumps, place: cheaper}))
            then = bests(puzzle)
            if pump.price_per_l is not None or puzzle.guess_price_per_l > 0.5:
                assert now[1] <= then[1] + 1e-3, puzzle
            assert (now[0], *now[2:]) == pytest.approx((then[0], *then[2:])), puzzle


def test_a_dock_that_never_shuts_never_hurts() -> None:
    for puzzle in drawn("hours", 60):
        always = {place: replace(pump, windows=()) for place, pump in puzzle.pumps.items()}
        assert no_worse(replace(puzzle, pumps=always), puzzle), puzzle


def test_more_confidence_never_helps() -> None:
    for puzzle in drawn("confidence", 60):
        assert no_worse(puzzle, replace(puzzle, z=puzzle.z + 0.5)), puzzle


def in_line(*legs: tuple[float, float], pumps_at: dict[int, Pump], **changes: Any) -> Puzzle:
    """Places 0, 2, 3, ... in a row, the last one called 1, joined to the next by (hours, litres)."""
    order = [0, *range(2, len(legs) + 1), 1]
    ways = {}
    for (a, b), leg in zip(itertools.pairwise(order), legs, strict=True):
        ways[a, b] = ways[b, a] = (Way(*leg),)
    plain: dict[str, Any] = {
        "ways": ways,
        "pumps": pumps_at,
        "start": 0,
        "targets": (1,),
        "depart_of_day_h": 8.0,
        "mean_l": 50.0,
        "sd_l": 0.0,
        "full_l": 100.0,
        "full_sd_l": 0.0,
        "floor_l": 10.0,
        "sd_share": 0.0,
        "z": 0.0,
        "berthing_h": 0.25,
    }
    return Puzzle(**(plain | changes))


ALWAYS = Pump(60.0, None, ())


def only(problem: Problem) -> Label:
    (label,) = find_labels(problem)
    return label


def test_a_fill_by_hand() -> None:
    """50 l aboard, 30 to the dock, 80 on: arrives with 20, takes 80 at 60 l/min (80 s) and 15 min of berthing.

    2 h + 0.25 h + 80/3600 h + 4 h = 6.2722 h; 100 - 80 = 20 l left.
    """
    end = only(a_problem(in_line((2, 30), (4, 80), pumps_at={2: ALWAYS})))
    assert end.time_h == pytest.approx(2 + 0.25 + 80 / 3600 + 4)
    assert (end.stops, end.aboard_l) == (1, 20)
    assert end.cost == 160  # 80 l at 2


def oracle(puzzle: Puzzle) -> list[tuple[float, ...]]:
    return figures(every_plan(puzzle))


@pytest.fixture(params=[oracle, found_figures], ids=["oracle", "product"])
def answer(request: pytest.FixtureRequest) -> Answer:
    """Put each case solved by hand to both: the oracle has to earn its trust too."""
    solver: Answer = request.param
    return solver


SLOW_PUMP = Pump(1.0, None, ())


def test_four_criteria_by_hand(answer: Answer) -> None:
    """50 l aboard of 100, floor 10, berthing 15 min, a litre a minute.

    Straight at 12 kn: 360 min, 40 l: arrives on the floor. By 2: 60 min 30 l, takes 80 at 3.00 in 95 min, 120 min 60 l:
    275 min, 240.00, margins 10 and 30. By 3: 90 min 20 l, takes 70 at 1.00 in 85 min, 180 min 50 l: 355 min, 70.00,
    margins 20 and 40. None beats another in all four.
    """
    ways: Ways = {
        (0, 1): (Way(6, 40, 12),),
        (0, 2): (Way(1, 30, 24),),
        (2, 1): (Way(2, 60, 24),),
        (0, 3): (Way(1.5, 20, 24),),
        (3, 1): (Way(3, 50, 24),),
    }
    pumps_at = {2: replace(SLOW_PUMP, price_per_l=3.0), 3: replace(SLOW_PUMP, price_per_l=1.0)}
    puzzle = replace(in_line((1, 5), pumps_at={}), ways=ways, pumps=pumps_at)
    assert answer(puzzle) == [(275, 24000, 1, -100), (355, 7000, 1, -200), (360, 0, 0, 0)]


def test_speeds_may_differ_from_hop_to_hop(answer: Answer) -> None:
    """90 l, floor 10, twice 60 min with 45 l or 120 min with 30 l or 180 min with 35 l, past a place without fuel.

    Quick twice takes 90 l, more than there is. Quick and slow, in either order: 180 min, 75 l, 5 above the floor; that
    is one point. Slow twice: 240 min, 20 above the floor. The third is no good to anybody.
    """
    ways: Ways = dict.fromkeys([(0, 2), (2, 1)], (Way(1, 45, 24), Way(2, 30, 18), Way(3, 35, 12)))
    puzzle = replace(in_line((1, 5), pumps_at={}, mean_l=90.0), ways=ways, targets=(2, 1))
    assert answer(puzzle) == [(180, 0, 0, -50), (240, 0, 0, -200)]


def test_a_plan_tells_the_speed_of_each_hop() -> None:
    """As above, the second way quick only: 18 kn and then 24 is all that is left."""
    ways: Ways = {(0, 2): (Way(1, 45, 24), Way(2, 30, 18)), (2, 1): (Way(1, 45, 24),)}
    puzzle = replace(in_line((1, 5), pumps_at={}, mean_l=90.0), ways=ways, targets=(2, 1))
    hops = [step.hop for step in only(a_problem(puzzle)).path()]
    assert [hop.track.speed_kn for hop in hops if hop is not None] == [18, 24]


def test_a_dock_that_states_no_price_counts_at_the_guess(answer: Answer) -> None:
    """Docks 2 and 3 are alike but for the price: 80 l at 2.00, or at what is guessed: the cheaper one is found."""
    ways: Ways = {(0, 2): (Way(1, 30),), (0, 3): (Way(1, 30),), (2, 1): (Way(1, 80),), (3, 1): (Way(1, 80),)}
    puzzle = replace(
        in_line((1, 5), pumps_at={}), ways=ways, pumps={2: SLOW_PUMP, 3: replace(SLOW_PUMP, price_per_l=None)}
    )
    for guess, cents in ((1.5, 12000), (2.0, 16000), (2.5, 16000), (0.0, 0)):
        assert answer(replace(puzzle, guess_price_per_l=guess)) == [(60 + 95 + 60, cents, 1, -100)]


def test_a_fill_before_leaving_by_hand(answer: Answer) -> None:
    """50 l are taken in 15 + 50 min at 2.00, then 80 l are burnt: 10 above the floor. Open from 09:00, it is 08:00."""
    puzzle = in_line((2, 80), pumps_at={0: SLOW_PUMP}, fill_first=True)
    assert answer(puzzle) == [(65 + 120, 10000, 1, -100)]
    assert answer(replace(puzzle, pumps={0: Pump(1.0, None, ((540, 605),))})) == [(60 + 65 + 120, 10000, 1, -100)]
    assert answer(replace(puzzle, pumps={0: Pump(1.0, None, ((540, 604),))})) == []  # shut before it is done
    assert answer(replace(puzzle, pumps={0: Pump(1.0, 49.0, ())})) == []
    assert answer(replace(puzzle, mean_l=100.0)) == [(15 + 120, 0, 1, -100)]  # nothing fits in, but one asks


def test_the_start_may_be_filled_at_again(answer: Answer) -> None:
    """Out to 2, 40 l off, and back, then on to 1, 60 off: 140 l, with a fill on the way back where it began.

    Fill first 50 l (65 min), 60 + 60 min, 80 l (95 min), 60 min: 340 min, 130 l at 2.00. Margins 10 and 30.
    """
    ways: Ways = {(0, 2): (Way(1, 40),), (2, 0): (Way(1, 40),), (0, 1): (Way(1, 60),)}
    puzzle = replace(in_line((1, 5), pumps_at={}), ways=ways, pumps={0: SLOW_PUMP}, targets=(2, 1), fill_first=True)
    assert answer(puzzle) == [(340, 26000, 2, -100)]


def test_two_ways_to_the_same_are_told_once(answer: Answer) -> None:
    """Docks 2 and 3 are alike in all."""
    ways: Ways = {(0, 2): (Way(1, 30),), (0, 3): (Way(1, 30),), (2, 1): (Way(1, 80),), (3, 1): (Way(1, 80),)}
    puzzle = replace(in_line((1, 5), pumps_at={}), ways=ways, pumps={2: SLOW_PUMP, 3: SLOW_PUMP})
    assert answer(puzzle) == [(60 + 95 + 60, 16000, 1, -100)]


def test_a_stop_more_for_the_margin(answer: Answer) -> None:
    """100 l; 0 -40- 2 -40- 1: straight past 2 leaves 10 above the floor; with a fill of 40 in 55 min it is 50 above."""
    puzzle = in_line((1, 40), (1, 40), pumps_at={2: SLOW_PUMP}, targets=(2, 1), mean_l=100.0)
    assert answer(puzzle) == [(120, 0, 0, -100), (175, 8000, 1, -500)]


def test_the_arrival_rule_by_hand() -> None:
    """100 l full of sd 0, burn doubtful by 20 % at 2 sigma: 64 l burnt leave 100 - 64 - 25.6 = 10.4, 65 leave 9: no."""
    sure = {"sd_share": 0.2, "z": 2.0, "mean_l": 100.0}
    assert len(find_labels(a_problem(in_line((1, 64), pumps_at={}, **sure)))) == 1
    assert find_labels(a_problem(in_line((1, 65), pumps_at={}, **sure))) == []


def test_doubt_restarts_at_a_full_mark_only() -> None:
    """Two legs of 40 l at 20 % and 2 sigma. Past a place without fuel 100 - 80 - 32 < 10; filled between, it holds."""
    sure: dict[str, Any] = {"sd_share": 0.2, "z": 2.0, "mean_l": 100.0}
    dry = in_line((1, 40), (1, 40), pumps_at={}, **sure)
    assert find_labels(a_problem(replace(dry, targets=(2, 1)))) == []
    assert only(a_problem(in_line((1, 40), (1, 40), pumps_at={2: ALWAYS}, **sure))).stops == 1


@pytest.mark.parametrize(
    ("rules", "last_l", "onward_l"),
    [
        # 20 % at 2 sigma. Straight: 100 - 1.4 (40 + 24.5) = 9.7 < 10. Filled: 95 - 1.4 (36 + 24.5) = 10.3.
        ({"sd_share": 0.2, "z": 2.0}, 36, 24.5),
        # The departure's level: sd of 5 l, at 2 sigma. Straight: 100 - 10 - 40 - 43 = 7. Filled: 95 - 40 - 43 = 12.
        ({"sd_l": 5.0, "z": 2.0}, 40, 43.0),
    ],
)
def test_more_in_the_tank_is_not_enough_where_it_is_less_sure(
    rules: dict[str, float], last_l: float, onward_l: float
) -> None:
    """Via 3: straight there with 60 l left, sooner and without a stop, or by the dock with a little less and surer."""
    ways: Ways = {
        (0, 3): (Way(1, 40),),
        (0, 2): (Way(1, 10),),
        (2, 3): (Way(1, last_l),),
        (3, 1): (Way(1, onward_l),),
    }
    plain = in_line((1, 5), pumps_at={}, mean_l=100.0, **rules)
    puzzle = replace(plain, ways=ways, pumps={2: ALWAYS}, targets=(3, 1), full_l=95.0)
    assert only(a_problem(puzzle)).stops == 1
    (soonest,) = find_labels(a_problem(puzzle), ("time",))  # the margins so far don't keep the surer one alive here
    assert soonest.stops == 1


def test_waiting_past_midnight() -> None:
    """Open 06:00 to 08:00; leaves at 20:00, there at 22:00: waits eight hours, over midnight."""
    pump = Pump(60.0, None, ((360, 480),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump}, depart_of_day_h=20.0)))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(8)
    assert end.time_h == pytest.approx(2 + 8 + 0.25 + 80 / 3600 + 1)


def test_hours_that_span_midnight_are_one_opening() -> None:
    """Open 22:00 to 02:00; there at 23:50 for a fill that ends at 00:06:20."""
    pump = Pump(60.0, None, ((22 * 60, 26 * 60),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump}, depart_of_day_h=21 + 5 / 6)))
    assert end.path()[1].fill is not None
    assert end.time_h == pytest.approx(2 + 0.25 + 80 / 3600 + 1, abs=1e-6)


def test_a_dock_that_closes_before_the_fill_is_done_is_waited_for() -> None:
    """There at 10:00 for 0.25 h + 80/20/60 h = 19 min; open until 10:15: not before 08:00 next day, 22 h on."""
    pump = Pump(20.0, None, ((480, 615),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump})))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(22)


def test_a_largest_sale_that_does_not_fill_the_tank_is_no_stop() -> None:
    """80 l are needed to the mark: a dock that sells 79 at most is none, one that sells 80 is."""
    assert find_labels(a_problem(in_line((2, 30), (4, 80), pumps_at={2: Pump(60.0, 79.0, ())}))) == []
    assert only(a_problem(in_line((2, 30), (4, 80), pumps_at={2: Pump(60.0, 80.0, ())}))).stops == 1


@pytest.mark.parametrize(
    ("depart", "wait_h"),
    [
        # 25 October 2026, 01:00 UTC: from UTC+0 to UTC-1. 08:00 there is 08:00 UTC on the 24th, 09:00 on the 25th.
        ("2026-10-24T04:00+00:00", 2.0),
        ("2026-10-24T20:00+00:00", 11.0),
        # 29 March 2026, 01:00 UTC: from UTC-1 to UTC+0. 08:00 is 09:00 UTC on the 28th, 08:00 on the 29th.
        ("2026-03-28T20:00+00:00", 10.0),
        ("2026-03-28T04:00+00:00", 3.0),
    ],
)
def test_waiting_over_a_change_of_clocks(depart: str, wait_h: float) -> None:
    """Two hours to a dock open 08:00 to 18:00 by the clock on the wall."""
    azores = ZoneInfo("Atlantic/Azores")
    puzzle = in_line((2, 30), (1, 80), pumps_at={2: ALWAYS})
    docks = {2: a_dock("wall clock", "08:00-18:00", zone=azores)}
    end = only(a_problem(puzzle, docks=docks, depart=datetime.fromisoformat(depart)))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(wait_h)


def gated(hours: str | None, offset_h: float, lasts_h: float = 0.0) -> Problem:
    gate = Gate("Leaf", "bridge", hours, True, 0.0, "", ((0, 0), (0, 0)))  # noqa: FBT003  must open
    problem = a_problem(in_line((2, 30), pumps_at={}))
    graph = nx.MultiDiGraph()
    graph.add_edge(0, 1, track=a_track(2, 30, ((0, offset_h, offset_h + lasts_h),)), time_h=2, fuel_l=30)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=(gate,)), region=SimpleNamespace(zone=UTC_ZONE))
    return replace(problem, graph=graph, network=network, may_wait=frozenset({0}))


def test_a_gate_that_is_shut_is_waited_for_before_leaving() -> None:
    """Leaves at 08:00, at the bridge at 09:30, which opens at 11:00: leaves at 09:30."""
    end = only(gated("11:00-12:00", 1.5))
    assert end.hop is not None
    assert end.hop.wait_h == pytest.approx(1.5)
    assert end.hop.gate == "Leaf"
    assert end.time_h == pytest.approx(3.5)
    assert only(gated(None, 1.5)).time_h == pytest.approx(2)
    assert only(gated("09:00-10:00", 1.5)).time_h == pytest.approx(2)


def test_a_gate_has_to_stay_open_until_the_boat_is_through() -> None:
    """At the bridge at 09:30 and through by 09:50; it shuts at 09:40 and opens again from 13:00: leaves at 11:30."""
    end = only(gated("08:00-09:40,13:00-15:00", 1.5, 1 / 3))
    assert end.hop is not None
    assert end.hop.wait_h == pytest.approx(3.5)


def test_no_boat_waits_where_it_can_not_lie() -> None:
    assert find_labels(replace(gated("11:00-12:00", 1.5), may_wait=frozenset())) == []


def test_targets_are_passed_in_order() -> None:
    """0 - 2 - 1 in a row and 3 beyond 1: via 3 the way is 0 2 1 3 1."""
    ways: Ways = {}
    for a, b in ((0, 2), (2, 1), (1, 3)):
        ways[a, b] = ways[b, a] = (Way(1.0, 5.0),)
    puzzle = replace(
        in_line((1, 5), pumps_at={}), ways=ways, pumps={2: ALWAYS, 1: ALWAYS}, targets=(3, 1), mean_l=100.0
    )
    fewest_stops = min(find_labels(a_problem(puzzle)), key=lambda label: label.stops)
    assert fewest_stops.path()[-1].stage == 2
    assert [step.place for step in fewest_stops.path()][-2:] == [3, 1]
