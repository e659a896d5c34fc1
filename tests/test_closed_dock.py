"""The closed-dock rule by hand, against the game played out, and how it stands to the plain search."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING, Any, Literal

import networkx as nx
import pytest
from oracles.closed_game import Game, every_safe_plan, may_fill
from oracles.every_plan import Pump, Puzzle, Tank, Way, as_good, every_plan
from oracles.plane_docks import plane_problem
from oracles.puzzle_draws import draw_puzzle
from posed import a_problem, faults_of, figures, found_figures

from routeplan.escapes import Escapes
from routeplan.search import find_labels

if TYPE_CHECKING:
    from collections.abc import Callable

    Answer = Callable[[Puzzle], list[tuple[float, ...]]]

Rule = Literal["on", "off", "strict"]

ON: Rule = "on"
STRICT: Rule = "strict"
OFF: Rule = "off"
PUMP = Pump(60.0, None, ())


def oracle(puzzle: Puzzle) -> list[tuple[float, ...]]:
    return figures(every_safe_plan(puzzle))


@pytest.fixture(params=[oracle, found_figures], ids=["oracle", "product"])
def answer(request: pytest.FixtureRequest) -> Answer:
    """Put each case solved by hand to both: the oracle has to earn its trust too."""
    solver: Answer = request.param
    return solver


def posed(
    litres: dict[tuple[int, int], float | tuple[Way, ...]],
    aboard_l: float,
    docks: dict[int, Pump] | tuple[int, ...] = (2,),
    rule: Rule = "on",
    **changes: Any,
) -> Puzzle:
    """From 0 to 1; an hour each way, the litres given, both ways alike; full mark 100, floor 10, nothing unusable."""
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for (a, b), burn in litres.items():
        ways[a, b] = ways[b, a] = burn if isinstance(burn, tuple) else (Way(1.0, burn),)
    plain: dict[str, Any] = {
        "ways": ways,
        "pumps": docks if isinstance(docks, dict) else dict.fromkeys(docks, PUMP),
        "start": 0,
        "targets": (1,),
        "depart_of_day_h": 8.0,
        "mean_l": aboard_l,
        "sd_l": 0.0,
        "full_l": 100.0,
        "full_sd_l": 0.0,
        "floor_l": 10.0,
        "sd_share": 0.0,
        "z": 0.0,
        "berthing_h": 0.25,
        "closed_dock": rule,
    }
    return Puzzle(**(plain | changes))


@pytest.mark.parametrize(
    ("rule", "unusable_l", "least_l"),
    [
        (OFF, 0.0, 40),  # 30 to the dock, and the floor of 10
        (ON, 0.0, 70),  # 30 to the dock, 40 on to the end, down to nothing
        (ON, 4.0, 74),  # down to what can't be drawn
        (STRICT, 4.0, 80),  # down to the floor
    ],
)
def test_a_lonely_dock_may_be_counted_on_where_the_end_is_in_reach(
    answer: Answer, rule: Rule, unusable_l: float, least_l: float
) -> None:
    """0 -30- 2 -40- 1: with a litre less there is no plan."""
    enough = posed({(0, 2): 30, (2, 1): 40}, least_l, rule=rule, unusable_l=unusable_l)
    assert len(answer(enough)) == 1
    assert answer(replace(enough, mean_l=least_l - 1.0)) == []


def test_another_dock_saves_the_plan(answer: Answer) -> None:
    """At 2 with 20 l, the end 60 off; dock 3 is 20 off: nothing left there, 100 - 80 = 20 at the end. With 21 off: no.

    Strict wants 10 l left at 3, so it may be 10 off. The plan itself fills at 2 only: 60 + 15 + 80 + 60 min.
    """
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 1): 60, (3, 1): 80}
    slow = dict.fromkeys((2, 3), Pump(1.0, None, ()))
    plan = [(60 + 15 + 80 + 60, 16000, 1, -100)]
    assert answer(posed(ways | {(2, 3): 20}, 50, slow)) == plan
    assert answer(posed(ways | {(2, 3): 21}, 50, slow)) == []
    assert answer(posed(ways | {(2, 3): 10}, 50, slow, STRICT)) == plan
    assert answer(posed(ways | {(2, 3): 11}, 50, slow, STRICT)) == []


def test_from_the_alternate_the_plain_rule_holds(answer: Answer) -> None:
    """As above, but from 3 it is 90 l to the end: 10 left, just the floor; 91: no."""
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 1): 60, (2, 3): 20}
    assert len(answer(posed(ways | {(3, 1): 90}, 50, (2, 3)))) == 1
    assert answer(posed(ways | {(3, 1): 91}, 50, (2, 3))) == []


@pytest.mark.parametrize(("largest_l", "plans"), [(100.0, 1), (99.0, 0)])
def test_an_alternate_has_to_sell_a_whole_fill(answer: Answer, largest_l: float, plans: int) -> None:
    """It is reached with nothing left and fills 100 l."""
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 1): 60, (2, 3): 20, (3, 1): 80}
    assert len(answer(posed(ways, 50, {2: PUMP, 3: Pump(60.0, largest_l, ())}))) == plans


@pytest.mark.parametrize(
    ("windows", "plans"),
    [
        (((180, 240),), 1),  # open an hour a night, and it would be 10:20 then: one may wait
        (((180, 197),), 1),  # the fill takes 15 + 100/60 = 16.7 min
        (((180, 196),), 0),
        (((180, 190), (190, 197)), 1),  # two windows that touch are one opening
        (((180, 190), (191, 201)), 0),
    ],
)
def test_an_alternate_may_be_waited_for(answer: Answer, windows: tuple[tuple[int, int], ...], plans: int) -> None:
    """It opens long enough on some day, or never."""
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 1): 60, (2, 3): 20, (3, 1): 80}
    assert len(answer(posed(ways, 50, {2: PUMP, 3: Pump(60.0, None, windows)}))) == plans


def test_an_alternate_that_leads_back_through_the_closed_dock_is_none(answer: Answer) -> None:
    """3 is joined to 2 alone; 4 on beyond it, with fuel, makes the way round."""
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 1): 60, (2, 3): 10}
    assert answer(posed(ways, 50, (2, 3))) == []
    assert len(answer(posed(ways | {(3, 4): 80, (4, 1): 80}, 50, (2, 3, 4)))) == 1
    assert answer(posed(ways | {(3, 4): 80, (4, 1): 80}, 50, {2: PUMP, 3: PUMP, 4: Pump(60.0, 79.0, ())})) == []


def test_the_closed_dock_may_be_passed_but_not_filled_at(answer: Answer) -> None:
    """0 -30- 2 -20- 3, from 3 one way only to 4, 4 -a- 2 -20- 1; to pass 4 and 2.

    With 2 closed the way is 2 3 4 2 1: from the full mark at 3, 2 a + 20 have to be 90 at the most. With a = 35 they
    are; with 36 the boat would have to fill at 2, or go by 2 back to 3 for fuel, 92 l off too. The plan itself fills at
    2 before and after passing 4, which takes but 72 l.
    """

    def round_trip(a: float) -> Puzzle:
        puzzle = posed({(0, 2): 30, (2, 3): 20, (3, 4): a, (4, 2): a, (2, 1): 20}, 50, (2, 3), targets=(4, 2, 1))
        return replace(puzzle, ways={pair: ways for pair, ways in puzzle.ways.items() if pair != (4, 3)})

    assert answer(round_trip(35)) != []
    assert answer(round_trip(36)) == []
    assert answer(replace(round_trip(36), closed_dock="off")) != []


def test_doubt_is_judged_over_the_whole_burn(answer: Answer) -> None:
    """20 % at 2 sigma: 100 - 1.4 (40 + b) >= 0 holds to b = 31.4; from a low figure of 44, b = 44 would seem to do."""

    def doubtful(b: float) -> Puzzle:
        return posed({(0, 2): 40, (2, 1): b}, 100, sd_share=0.2, z=2.0)

    assert len(answer(doubtful(31))) == 1
    assert answer(doubtful(32)) == []


def test_doubt_of_the_last_level_counts_on_the_way_to_the_alternate(answer: Answer) -> None:
    """Departure known to 15 l, share 20 %, 1 sigma. At B = 40 + 60: 133 - 100 - sqrt(15^2 + 20^2) = 8, unusable 8."""
    doubtful = posed({(0, 2): 40, (2, 1): 60}, 133, sd_l=15.0, sd_share=0.2, z=1.0, unusable_l=8.0, full_l=150.0)
    assert len(answer(doubtful)) == 1
    assert answer(replace(doubtful, mean_l=132.9)) == []


def test_places_still_to_pass_may_be_passed_before_the_alternate_or_after_it(answer: Answer) -> None:
    """To pass 3, the end far beyond it. Dock 4 past 3: 2 -20- 3 -15- 4, aboard 35. Dock 5 on the near side: 35 off."""
    ways: dict[tuple[int, int], float | tuple[Way, ...]] = {(0, 2): 30, (2, 3): 20, (3, 1): 60}
    past = ways | {(3, 4): 15, (4, 1): 80}
    assert len(answer(posed(past, 65, (2, 4), targets=(3, 1)))) == 1
    assert answer(posed(past, 64, (2, 4), targets=(3, 1))) == []
    near = ways | {(2, 5): 35, (5, 3): 30}  # 5 3 1 burns 90
    assert len(answer(posed(near, 65, (2, 5), targets=(3, 1)))) == 1
    assert answer(posed(ways | {(2, 5): 35, (5, 3): 31}, 65, (2, 5), targets=(3, 1))) == []


def test_the_slow_way_to_the_alternate_counts(answer: Answer) -> None:
    """40 l are left at 2: at 24 kn the end takes 65, at 12 kn 40. Quick leaves 25 above the floor, slow 30 (at 2)."""
    two = (Way(1.0, 65.0, 24.0), Way(2.0, 40.0, 12.0))
    assert [point[3] for point in answer(posed({(0, 2): 30, (2, 1): two}, 70))] == [-250.0, -300.0]
    assert answer(posed({(0, 2): 30, (2, 1): two[:1]}, 70)) == []


def test_the_fill_before_leaving_needs_no_alternate(answer: Answer) -> None:
    """The dock is there and seen to be open: 100 l, the end 90 off, 70 l taken in 15 + 70 min."""
    slow = {0: Pump(1.0, None, ())}
    for rule in (ON, STRICT):
        assert answer(posed({(0, 1): 90}, 30, slow, rule, fill_first=True)) == [(15 + 70 + 60, 14000, 1, 0)]


def test_the_rule_by_stages_of_one_place() -> None:
    """Asked of the oracle alone: at 2 with 35 l, places 3 and 1 to come as in the case above, and then 1 only."""
    puzzle = posed({(0, 2): 30, (2, 3): 20, (3, 1): 60, (2, 1): 30}, 65, targets=(3, 1))
    assert not may_fill(puzzle, 2, 0, Tank(65, 30, 0))
    assert may_fill(puzzle, 2, 1, Tank(65, 30, 0))


def rule_of(seed: int) -> Literal["on", "strict"]:
    return "on" if seed % 2 else "strict"


def test_500_closed_dock_games() -> None:
    """On and strict by turns: every point of the Pareto set, none more; every plan holds when told again."""
    wrong, bitten, found = [], 0, 0
    for seed in range(500):
        puzzle = draw_puzzle(Random(seed), rule_of(seed), brief=seed % 10 == 0)  # noqa: S311  puzzles, no secrets
        game = Game(puzzle)
        plans = every_plan(puzzle, game.may_fill)
        answered = found_figures(puzzle)
        bitten += game.forbidden > 0
        found += len(answered) > 0
        if answered != figures(plans):
            wrong.append(seed)
    assert wrong == []
    assert bitten > 100  # else the rule is hardly tried
    assert found > 200


@pytest.mark.parametrize(("docks", "long_nmi"), [(16, 320.0), (40, 600.0), (40, 320.0)])
def test_the_ways_out_on_a_coast_are_those_that_networkx_leaves(docks: int, long_nmi: float) -> None:
    """Each dock is taken out of the graph in turn; on a sparse coast everything behind some of them hangs on them."""
    counts = set()
    for seed in range(3):
        problem = plane_problem(seed, docks, long_nmi=long_nmi, with_hours=False)
        carried = nx.DiGraph()
        for a, b, burn_l in problem.graph.edges(data="fuel_l"):
            sold_l = problem.docks[b].largest_sale_l if b in problem.docks else None
            enough = problem.low_l(problem.full_l, burn_l, problem.full_sd_l) >= problem.floor_l
            if a in problem.docks and enough and (sold_l is None or burn_l <= sold_l):
                carried.add_edge(a, b)
        escapes = Escapes(problem)
        for closed in problem.docks:
            left = nx.restricted_view(carried, [closed], [])
            finishing = (nx.ancestors(left, 1) | {1}) if 1 in left else {1}
            due = {place for place in finishing if problem.graph.has_edge(closed, place)}
            assert {way.place for way in escapes.ways(closed, 0)} == due
            counts.add(len(due))
    assert len(counts) > 5


def test_each_stop_of_each_plan_has_its_alternate() -> None:
    """Stop by stop, with what is aboard on arrival: the game says that it may be filled at."""
    stops = 0
    for seed in range(100):
        puzzle = draw_puzzle(Random(f"stop {seed}"), rule_of(seed))  # noqa: S311  puzzles, no secrets
        for end in find_labels(a_problem(puzzle)):
            assert faults_of(puzzle, end) == []
            for step in end.path():
                if step.hop is None or step.fill is None:
                    continue
                stops += 1
                assert step.before is not None
                arrived = Tank(step.before.mean_l, step.before.burned_l + step.hop.track.fuel_l, step.before.sd_l)
                assert may_fill(puzzle, step.place, step.stage, arrived)
    assert stops > 100


def test_a_stricter_rule_never_helps() -> None:
    """Every plan that strict leaves is there with on, every plan of on is there with off: the bests can't be better."""
    for seed in range(60):
        puzzle = draw_puzzle(Random(f"stricter {seed}"))  # noqa: S311  puzzles, no secrets
        off, on, strict = (found_figures(replace(puzzle, closed_dock=rule)) for rule in (OFF, ON, STRICT))
        for kinder, harder in ((off, on), (on, strict)):
            for point in harder:
                assert any(as_good(other, point) for other in kinder)
