"""Which docks a group opens, against every set of docks there is on small cruises."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import pytest
from oracles.every_dock_set import Alone, fewest, least_delay_h
from oracles.group_flow import fewest_by_flow
from posed_groups import Draw, days_of, draw_cruise, parties_of

from routeplan.dock_choice import Chooser

if TYPE_CHECKING:
    from oracles.every_dock_set import CruisePuzzle

    from routeplan.dock_choice import Choice

ROUNDING_H = 1e-6
A_MINUTE_H = 1 / 60  # delays nearer than this count as one, and cost decides


def drawn(seed: int, **what: object) -> tuple[CruisePuzzle, Choice | None]:
    """Draw boats by themselves, with pumps for all of them, and choose their docks."""
    rng = Random(f"choice {seed}")  # noqa: S311
    puzzle = draw_cruise(rng, Draw(sizes=(1,) * rng.randint(1, 4), docks=(3, 5), pumps=(40,), **what))  # type: ignore[arg-type]
    return puzzle, Chooser(parties_of(puzzle), days_of(puzzle)).choose()


def check_fewest(seed: int) -> bool:
    """Hold the number of docks and the delay against every set of docks, and the number against the flow's."""
    puzzle, choice = drawn(seed)
    least = fewest(puzzle)
    assert fewest_by_flow(puzzle) == least, seed  # two oracles
    assert (None if choice is None else choice.fewest) == least, seed
    if choice is None:
        return False
    assert len(choice.plan.rows) == least, seed
    least_h = least_delay_h(puzzle, choice.fewest)
    assert choice.plan.delay_h >= least_h - ROUNDING_H, seed
    assert choice.plan.delay_h - choice.gap_h <= least_h + ROUNDING_H, seed
    assert sum(choice.direct_h) == pytest.approx(sum(Alone(puzzle, each).direct_h() for each in puzzle.companies))
    return bool(least)


def check_one_more(seed: int) -> bool:
    """Hold what one dock more buys against every set of so many; few enough that patience lasts for all of them."""
    puzzle, choice = drawn(seed)
    if choice is None or not choice.fewest:
        return False
    more_h = least_delay_h(puzzle, choice.fewest + 1)
    with_more_h = choice.plan.delay_h if choice.more is None else choice.more.delay_h
    assert with_more_h <= more_h + A_MINUTE_H + ROUNDING_H, seed
    return more_h < choice.plan.delay_h - A_MINUTE_H


def check_by_the_clock(seed: int) -> bool:
    """Hold the number of docks against every set where docks keep hours and days end."""
    puzzle, choice = drawn(seed, hours_share=0.4, by_share=0.3, visits=(2, 3))
    least = fewest(puzzle)
    assert (None if choice is None else choice.fewest) == least, seed
    return bool(least)


def check_parties(seed: int) -> bool:
    """Hold the number of docks of boats that go together, and of such that don't, against every set."""
    rng = Random(f"parties {seed}")  # noqa: S311
    sizes = tuple(rng.randint(1, 3) for _ in range(rng.randint(1, 2)))
    what = Draw(sizes=sizes, docks=(3, 4), visits=(2, 3), pumps=(40,), both_fuels=True, need=(0.6, 1.4))
    puzzle = draw_cruise(rng, what)
    choice = Chooser(parties_of(puzzle), days_of(puzzle)).choose()
    least = fewest(puzzle)
    assert (None if choice is None else choice.fewest) == least, seed
    return bool(least)


def test_no_fewer_docks_do_and_the_gap_of_the_delay_is_true() -> None:
    """Boats by themselves, without queues."""
    assert sum(check_fewest(seed) for seed in range(60)) > 15


def test_what_one_dock_more_buys_is_found() -> None:
    """Where one dock more spares a minute of delay, it is told."""
    assert sum(check_one_more(seed) for seed in range(60)) > 3


def test_no_fewer_docks_do_by_the_clock() -> None:
    """Opening hours and days that end."""
    assert sum(check_by_the_clock(seed) for seed in range(40)) > 8


def test_no_fewer_docks_do_for_parties() -> None:
    """Boats that go together."""
    assert sum(check_parties(seed) for seed in range(60)) > 15


@pytest.mark.slow
def test_many_more_cruises() -> None:
    """The same, ten times as many."""
    assert sum(check_fewest(seed) for seed in range(60, 660)) > 150
    assert sum(check_one_more(seed) for seed in range(60, 660)) > 30
    assert sum(check_by_the_clock(seed) for seed in range(40, 440)) > 80
    assert sum(check_parties(seed) for seed in range(60, 660)) > 150
