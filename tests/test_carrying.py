"""What a tank carries, against every sequence of stops there is on small cruises."""

from __future__ import annotations

import itertools
from random import Random

import pytest
from oracles.every_dock_set import Alone, sets_that_do
from posed_groups import Draw, draw_cruise, parties_of, row_of, rows_of

from routeplan.carrying import Carry

ROUNDING_H = 1e-7
STRAIGHT, DETOURS = Draw(docks=(3, 6)), Draw(docks=(3, 5), visits=(2, 3), straight=False)


def check_sets(seed: int) -> int:
    """Hold every set of docks, and what is to be added to those that don't do, against all that do."""
    puzzle = draw_cruise(Random(f"sets {seed}"), STRAIGHT)  # noqa: S311
    carry, docks = Carry(parties_of(puzzle)[0], 0), sorted(puzzle.quays)
    enough = sets_that_do(Alone(puzzle, puzzle.companies[0]))
    for chosen in itertools.chain.from_iterable(itertools.combinations(docks, k) for k in range(len(docks) + 1)):
        rows, does = rows_of(puzzle, chosen), frozenset(chosen) in enough
        assert carry.suffices(rows) == does, (seed, chosen)
        if not does:
            for cut in carry.cuts(rows):
                assert bool(cut) == bool(enough), (seed, chosen)
                assert not cut & rows, (seed, chosen)
                assert all(cut & rows_of(puzzle, each) for each in enough), (seed, chosen, cut)
    return len(enough)


def check_bounds(seed: int, what: Draw) -> int:
    """Hold the bounds of hours against the least there are."""
    rng = Random(f"bounds {seed}")  # noqa: S311
    puzzle = draw_cruise(rng, what)
    carry, alone = Carry(parties_of(puzzle)[0], 0), Alone(puzzle, puzzle.companies[0])
    docks = frozenset(puzzle.quays)
    for chosen in (docks, *(frozenset(d for d in docks if rng.random() < 0.6) for _ in range(3))):
        rows, least_h = rows_of(puzzle, chosen), alone.least_h(chosen)
        assert carry.least_h(rows) <= least_h + ROUNDING_H, (seed, chosen)
        assert carry.least_h(rows, pumping=False) <= carry.least_h(rows) + ROUNDING_H, (seed, chosen)
        assert carry.suffices(rows) or not alone.can(chosen), (seed, chosen)
    if what.straight:
        assert carry.direct_h == pytest.approx(alone.direct_h()), seed
    through_h = carry.through_h()
    for dock in docks if len(docks) < 5 else ():
        least_h = alone.least_h(docks, must=frozenset({dock}))
        assert through_h.get(row_of(puzzle, dock), float("inf")) <= least_h + ROUNDING_H, (seed, dock)
    return alone.can(docks)


def test_docks_that_will_do_are_those_that_some_voyage_does_with() -> None:
    """Every set of docks; of each set that is named to be added to, every set that does has one."""
    assert sum(check_sets(seed) > 0 for seed in range(150)) > 40


def test_no_voyage_takes_less_than_the_bound() -> None:
    """On straight ways and on such with detours, where there are two of some."""
    assert sum(check_bounds(seed, what) for seed in range(75) for what in (STRAIGHT, DETOURS)) > 40


@pytest.mark.slow
def test_many_more_cruises() -> None:
    """The same, ten times as many."""
    assert sum(check_sets(seed) > 0 for seed in range(150, 1650)) > 400
    assert sum(check_bounds(seed, what) for seed in range(75, 825) for what in (STRAIGHT, DETOURS)) > 400
