"""The refuel search against every plan there is, and the closed-dock rule against the game played out, on many puzzles.

Run from the project's folder: ``python tests/bench/check_refuel.py``. A quarter of an hour for 10,000 puzzles of each
kind. Each puzzle is solved for all four criteria and for one drawn subset of them: every point has to be there and none
more, and every plan is told again step by step. Disagreements are printed, the first of each kind cut down to the
smallest puzzle that still shows them; then it ends with 1.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace
from functools import partial
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[1]))  # the tests' own modules

from oracles.closed_game import every_safe_plan
from oracles.every_plan import every_plan
from oracles.puzzle_draws import draw_puzzle
from posed import ALL_FOUR, a_problem, faults_of, figures, found_figures

from routeplan.search import find_labels

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from oracles.every_plan import Point, Puzzle

    from routeplan.search import Criterion

KINDS: dict[str, Callable[[Random], Puzzle]] = {
    "pareto": draw_puzzle,  # without a closed-dock rule; part of the docks keep hours
    "hours": partial(draw_puzzle, shut_share=1.0),  # all of them do
    "on": partial(draw_puzzle, rule="on"),
    "strict": partial(draw_puzzle, rule="strict"),
    "brief": partial(draw_puzzle, rule="on", shut_share=0.7, brief=True),  # some never for long enough
}


def difference(puzzle: Puzzle, criteria: tuple[Criterion, ...], plans: set[Point] | None = None) -> str:
    """Say in what product and oracle (its plans, where known) differ; nothing where they agree."""
    plans = every_safe_plan(puzzle) if plans is None else plans
    for asked in (ALL_FOUR, criteria):
        due, found = figures(plans, asked), found_figures(puzzle, asked)
        if found != due:
            missing, extra = Counter(due) - Counter(found), Counter(found) - Counter(due)
            return f"{asked}: not found {sorted(missing)}, found too much {sorted(extra.elements())}"
    faults = [fault for label in find_labels(a_problem(puzzle)) for fault in faults_of(puzzle, label)]
    return "; ".join(faults)


def smaller(puzzle: Puzzle) -> Iterator[Puzzle]:
    """Leave out one thing after another."""
    for pair, ways in puzzle.ways.items():
        rest = {p: w for p, w in puzzle.ways.items() if p != pair}
        yield replace(puzzle, ways=rest)
        if len(ways) > 1:
            for index in range(len(ways)):
                yield replace(puzzle, ways={**rest, pair: ways[:index] + ways[index + 1 :]})
    yield from _plainer_pumps(puzzle)
    for index in range(len(puzzle.targets) - 1):
        targets = puzzle.targets[:index] + puzzle.targets[index + 1 :]
        if all(a != b for a, b in zip((puzzle.start, *targets), targets, strict=False)):
            yield replace(puzzle, targets=targets)
    plain = {"fill_first": False, "z": 0.0, "berthing_h": 0.0, "unusable_l": 0.0, "guess_price_per_l": 0.0}
    for field, figure in plain.items():
        if getattr(puzzle, field) != figure:
            yield replace(puzzle, **{field: figure})  # type: ignore[arg-type]


def _plainer_pumps(puzzle: Puzzle) -> Iterator[Puzzle]:
    for place, pump in puzzle.pumps.items():
        if place != puzzle.start or not puzzle.fill_first:
            yield replace(puzzle, pumps={p: d for p, d in puzzle.pumps.items() if p != place})
        for plainer in (
            replace(pump, windows=()),
            replace(pump, windows=pump.windows[:1]),
            replace(pump, largest_l=None),
            replace(pump, price_per_l=2.0),
        ):
            if plainer != pump:
                yield replace(puzzle, pumps={**puzzle.pumps, place: plainer})


def smallest(puzzle: Puzzle, criteria: tuple[Criterion, ...]) -> Puzzle:
    """Leave out all that the difference can do without."""
    while True:
        for less in smaller(puzzle):
            if difference(less, criteria):
                puzzle = less
                break
        else:
            return puzzle


def check(kind: str, instances: int, seed: int) -> int:
    """Compare so many puzzles of one kind, print what came of it and tell how many differ."""
    began, wrong, sizes, bitten = time.perf_counter(), 0, Counter[str](), 0
    for index in range(instances):
        rng = Random(f"{kind} {seed} {index}")  # noqa: S311  puzzles, no secrets
        puzzle = KINDS[kind](rng)
        criteria = tuple(name for name in ALL_FOUR if rng.random() < 0.5) or ("margin",)
        plans = every_safe_plan(puzzle)
        points = len(figures(plans))
        sizes["none" if not points else "one" if points == 1 else "2 to 5" if points < 6 else "6 and more"] += 1
        if puzzle.closed_dock != "off":
            bitten += every_plan(puzzle) != plans
        if said := difference(puzzle, criteria, plans):
            wrong += 1
            print(f"{kind}, seed {seed}, puzzle {index}: {said}")
            if wrong <= 3:
                print(f"  the least of it: {(least := smallest(puzzle, criteria))}\n  {difference(least, criteria)}")
    points_text = ", ".join(f"{name} {sizes[name]}" for name in ("none", "one", "2 to 5", "6 and more"))
    rule_text = f"; the rule forbids plans of {bitten}" if bitten else ""
    seconds = time.perf_counter() - began
    print(f"{kind}: {instances} puzzles, {wrong} differ; points {points_text}{rule_text} ({seconds:.0f} s)", flush=True)
    return wrong


def main() -> None:
    """Check all kinds."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--instances", type=int, default=10_000, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS, action="append", help="one of the kinds only; may be repeated")
    given = parser.parse_args()
    wrong = sum([check(kind, given.instances, given.seed) for kind in given.kind or KINDS])
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
