"""The way of a party, against every sequence of stops there is on small cruises."""

from __future__ import annotations

import math
from random import Random

import pytest
from oracles.every_dock_set import Alone, Company, Craft, CruisePuzzle, Quay, Run, Together
from posed_groups import Draw, days_of, draw_cruise, parties_of, rows_of

from routeplan.carrying import Carry
from routeplan.party_routes import Router

ROUNDING_H = 1e-6  # clocks of the planner count whole microseconds
KINDS = (
    Draw(docks=(3, 6)),
    Draw(docks=(3, 5), hours_share=0.6),
    Draw(docks=(3, 5), hours_share=0.9, nights_share=0.8, visits=(3, 4), need=(0.35, 0.9)),
    Draw(docks=(3, 5), hours_share=0.4, nights_share=0.3, by_share=0.6),
    Draw(docks=(3, 5), visits=(2, 3), hours_share=0.2, straight=False),
)


def found_h(router: Router, rows: frozenset[int], **asked: frozenset[int]) -> float:
    route = router.find(rows, twice=True, **asked)
    return math.inf if route is None else route.busy_h


def check_alone(seed: int, what: Draw) -> bool:
    """Hold the least hours of one boat against all voyages, with the look ahead and without."""
    rng = Random(f"alone {seed}")  # noqa: S311
    puzzle = draw_cruise(rng, what)
    (party,), alone, docks = parties_of(puzzle), Alone(puzzle, puzzle.companies[0]), frozenset(puzzle.quays)
    for left_h in (None, Carry(party, 0).left_h()):
        router = Router(party, days_of(puzzle), left_h)
        for chosen in (docks, frozenset(d for d in docks if rng.random() < 0.7)):
            least_h, rows = alone.least_h(chosen), rows_of(puzzle, chosen)
            assert found_h(router, rows) == pytest.approx(least_h, abs=ROUNDING_H), (seed, sorted(chosen))
            must = frozenset(rng.sample(sorted(chosen), min(1, len(chosen))))
            if len(chosen) < 4:
                least_h = alone.least_h(chosen, must=must)
                found = found_h(router, rows, must=rows_of(puzzle, must))
                assert found == pytest.approx(least_h, abs=ROUNDING_H), (seed, sorted(chosen), must)
    return alone.can(docks)


def check_together(seed: int) -> bool:
    """Hold a party's way against every route with every choice of who fills."""
    rng = Random(f"together {seed}")  # noqa: S311
    what = Draw(sizes=(rng.randint(2, 4),), docks=(3, 4), visits=(2, 3), both_fuels=True, need=(0.6, 1.4))
    puzzle = draw_cruise(rng, what)
    (party,), together = parties_of(puzzle), Together(puzzle, puzzle.companies[0])
    router, docks = Router(party, days_of(puzzle)), frozenset(puzzle.quays)
    for chosen in (docks, frozenset(d for d in docks if rng.random() < 0.7)):
        hours = found_h(router, rows_of(puzzle, chosen))
        assert (hours < math.inf) == together.can(chosen), (seed, chosen)
        if what.sizes[0] == 2:
            assert hours <= together.least_h(chosen) + ROUNDING_H, (seed, chosen)
    return together.can(docks)


@pytest.mark.slow
def test_no_voyage_takes_fewer_hours() -> None:
    """One boat: opening hours, visits that aren't left before a time, days that end, docks that have to be used."""
    assert sum(check_alone(seed, what) for seed in range(30) for what in KINDS) > 40


def test_a_party_has_a_way_where_some_choice_of_who_fills_does() -> None:
    """Two to four boats; no way takes fewer hours than the search says."""
    assert sum(check_together(seed) for seed in range(60)) > 10


@pytest.mark.slow
def test_many_more_cruises() -> None:
    """The same, ten times as many."""
    assert sum(check_alone(seed, what) for seed in range(30, 330) for what in KINDS) > 400
    assert sum(check_together(seed) for seed in range(60, 660)) > 100


def test_lying_at_a_visit_is_no_loss_where_a_dock_opens_late() -> None:
    """Two ways to the visit that nobody leaves before hour 4: in 4 h with 30 l, or in 3 h with 63 l, and 1 h lying.

    At the slow pump (0.5 l/min) the second takes 33 l, 1.1 h, more. So there it is later, and busier by 0.1 h; but at
    the next dock, which opens at hour 20, both wait for the same moment, and the second has lain 1 h at the visit:
    20 h less 1 h, then 60 l at 60 l/min, 1/60 h, and 2 h to the end.
    """
    craft = Craft("gasoline", 100.0, 0.0, 100.0, 0.0, 10.0, 5.0, 0.0, frozenset({3, 4}))
    runs = {
        (0, 1): (Run(3.0, (63.0,)), Run(4.0, (30.0,))),
        (1, 3): (Run(0.5, (5.0,)),),
        (3, 4): (Run(2.0, (60.0,)),),
        (4, 2): (Run(2.0, (60.0,)),),
    }
    puzzle = CruisePuzzle(
        companies=(Company((craft,), runs),),
        visits=(0, 1, 2),
        quays={3: Quay(0.5, None, ()), 4: Quay(60.0, None, ((20 * 60, 23 * 60),))},
        confidence=0.5,
        z=0.0,
        berthing_h=0.0,
        gather_h=0.0,
        closed_dock="off",
        depart_of_day_h=0.0,
        ready_h=(0.0, 0.0),
        not_before_h=(None, 4.0),
        by_h=(math.inf, math.inf),
    )
    least_h = 20 - 1 + 1 / 60 * 1 + 2
    assert Alone(puzzle, puzzle.companies[0]).least_h({3, 4}) == pytest.approx(least_h)
    router = Router(parties_of(puzzle)[0], days_of(puzzle))
    assert found_h(router, rows_of(puzzle, {3, 4})) == pytest.approx(least_h, abs=ROUNDING_H)
