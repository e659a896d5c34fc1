"""Random outings with part fills against separate solvers, disagreements counted; exit 1 where there is one.

Run from the project's folder: ``python tests/bench/check_part_fills.py``; ``--instances`` and ``--seed``. By default
10,000 outings a rule, about a quarter of an hour. In turn:

- best: every plan there is, by its least bill (`plans_by_bill`): cost, and the plan told again step by step;
- enough: every order with the least fill each: cost, time, stops, and the plan told again;
- proven: best against a programme over the whole graph by HiGHS, up to eight docks, plain rule of thumb (1 in 20);
- hours: best where boats wait and an hour costs, against a programme a plan and opening (1 in 100). There the product
  doesn't claim to be exact: counted as wrong is a plan missed, one that breaks a rule, and one that is too good; how
  often it is dearer than need be, and by how much, is printed;
- oracles: the walk over all plans against a linear programme for each of the first few (1 in 10).
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import time
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))

from oracles.part_fill_cases import any_rules, as_problem, plane_outing, retell
from oracles.part_fill_network import bill_by_network
from oracles.part_fill_plans import (
    MOST_STOPS,
    Outing,
    bill_by_program,
    every_enough,
    least_bill,
    least_with_hours,
    plans_by_bill,
)

from routeplan.part_fills import find_part_filled

NEAR = 1e-6  # [currency, h]
NEAR_PROVEN = 1e-4  # [currency] HiGHS keeps its rows to 1e-6


@dataclass
class Tally:
    """What one comparison came to."""

    name: str
    asked: int = 0
    planned: int = 0
    wrong: int = 0
    beyond: int = 0  # plans with more stops than the solver tries: told again, and not dearer than what it finds
    dearer: list[float] = field(default_factory=list)  # [share] of the optimum, where that isn't claimed
    begin_s: float = field(default_factory=time.perf_counter)

    def fault(self, seed: int, what: object) -> None:
        """Count and print a disagreement."""
        self.wrong += 1
        print(f"  {self.name} seed {seed}: {what}", flush=True)

    def say(self) -> None:
        """Print the line."""
        spent_s = time.perf_counter() - self.begin_s
        print(f"{self.name}: {self.asked} outings, {self.planned} with a plan, {self.wrong} wrong; {spent_s:.0f} s")
        if self.beyond:
            print(f"  {self.beyond} with more stops than were tried")
        if self.dearer:
            share = len(self.dearer) / self.planned
            by = f"{statistics.median(self.dearer):.2%} in the middle, {max(self.dearer):.2%} at most"
            print(f"  {len(self.dearer)} ({share:.2%}) dearer than need be, by {by}")


def made(seed: int, **how: object) -> Outing:
    """Make the outing of a seed; hours only where an hour costs nothing, unless asked for."""
    rng = random.Random(seed)  # noqa: S311  no secret
    without = how.get("without", ())
    assert isinstance(without, tuple)
    most = how.get("most_docks", 4)
    assert isinstance(most, int)
    rules = {*any_rules(rng, without=without)}
    if how.get("clock"):
        rules |= {"hours", "time", "berthing"}
    elif "time" in rules:
        rules -= {"hours"}
    outing = plane_outing(
        rng, rng.randint(2, most), rules=sorted(rules), speeds=1 if how.get("clock") else rng.randint(1, 2)
    )
    if how.get("clock") and seed % 2:  # so slow that a fill takes an hour: pump and waits interplay
        slow = {i: replace(stand, lpm=rng.uniform(0.7, 3)) for i, stand in outing.stands.items()}
        outing = replace(outing, stands=slow)
    return outing


def compare(
    tally: Tally,
    seed: int,
    outing: Outing,
    expected: float | None,
    near: float,
    *,
    exact: bool = True,
    tried: int = MOST_STOPS,
) -> None:
    """Hold the product's plan by `best` against the optimum."""
    tally.asked += 1
    label = find_part_filled(as_problem(outing), "best", outing.price_of_time)
    told = None if label is None else retell(outing, label)
    if told is not None and told.stops > tried:  # to and fro between docks that sell little
        tally.beyond += 1
        if told.faults or (expected is not None and told.bill > expected + near):
            tally.fault(seed, f"optimum {expected}, the search has {told}")
        return
    if (told is None) != (expected is None):
        tally.fault(seed, f"optimum {expected}, the search has {'no' if told is None else 'a'} plan")
    if told is None or expected is None:
        return
    tally.planned += 1
    if told.faults:
        tally.fault(seed, told.faults)
    elif told.bill < expected - near or (exact and told.bill > expected + near):
        tally.fault(seed, f"optimum {expected}, the search has {told.bill}")
    elif told.bill > expected + near:
        tally.dearer.append(told.bill / expected - 1)


def check_best(seeds: range) -> Tally:
    """Compare with every plan by its bill."""
    tally = Tally("best")
    for seed in seeds:
        outing = made(seed)
        found = least_bill(outing)
        compare(tally, seed, outing, None if found is None else found[0], NEAR)
    return tally


def check_enough(seeds: range) -> Tally:
    """Compare with every order with the least fill each."""
    tally = Tally("enough")
    for seed in seeds:
        outing = made(seed)
        expected = every_enough(outing, MOST_STOPS)
        label = find_part_filled(as_problem(outing), "enough", outing.price_of_time)
        tally.asked += 1
        told = None if label is None else retell(outing, label)
        if told is not None and told.stops > MOST_STOPS:  # to and fro, to be given a full fill: more than is tried here
            tally.beyond += 1
            if told.faults or (expected is not None and told.bill > expected[0].bill + NEAR):
                tally.fault(seed, f"expected {expected}, the search has {told}")
            continue
        if (told is None) != (expected is None):
            tally.fault(seed, f"expected {expected}, the search has {'no' if label is None else 'a'} plan")
        if told is None or expected is None:
            continue
        tally.planned += 1
        figures = (told.bill, told.time_h, told.cost, told.stops)
        wanted = (expected[0].bill, expected[0].time_h, expected[0].cost, expected[0].stops)
        if told.faults:
            tally.fault(seed, told.faults)
        elif any(abs(a - b) > NEAR for a, b in zip(figures, wanted, strict=True)):
            tally.fault(seed, f"expected {wanted}, the search has {figures}")
    return tally


def check_proven(seeds: range) -> Tally:
    """Compare with a programme over the whole graph."""
    tally = Tally("proven")
    for seed in seeds:
        outing = made(seed, without=("doubt", "hours"), most_docks=8)
        compare(tally, seed, outing, bill_by_network(outing), NEAR_PROVEN, tried=12)
    return tally


def check_hours(seeds: range) -> Tally:
    """Compare where boats wait and hours cost."""
    tally = Tally("hours")
    for seed in seeds:
        outing = made(seed, clock=True, most_docks=3)
        found = least_with_hours(outing)
        compare(tally, seed, outing, None if found is None else found[0], NEAR, exact=False)
    return tally


def check_oracles(seeds: range) -> Tally:
    """Compare the solvers with one another."""
    tally = Tally("oracles")
    for seed in seeds:
        outing = replace(made(seed, without=("hours",)))
        tally.asked += 1
        listed = list(islice(plans_by_bill(outing), 4))
        tally.planned += bool(listed)
        for value, steps in listed:
            program = bill_by_program(outing, steps)
            if program is None or abs(program - value) > NEAR:
                tally.fault(seed, f"by the walk {value}, by the programme {program}")
    return tally


def main() -> int:
    """Print what was found."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--instances", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", choices=["best", "enough", "proven", "hours", "oracles"])
    asked = parser.parse_args()
    checks = {
        "best": (check_best, 1),
        "enough": (check_enough, 1),
        "proven": (check_proven, 20),
        "hours": (check_hours, 100),
        "oracles": (check_oracles, 10),
    }
    wrong = 0
    for name, (check, one_in) in checks.items():
        if asked.only in (None, name):
            tally = check(range(asked.seed, asked.seed + max(1, asked.instances // one_in)))
            tally.say()
            wrong += tally.wrong
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
