"""Do passages end as predicted? Plans of the demo and of random docks, each sailed a million times and counted.

Run from the project's folder: ``python tests/bench/check_chances.py [--draws 1000000] [--problems 60] [--seed 1]``.
Some minutes. Ends with 1 where a mark is missed.

Each draw has one burn factor, an error of the level at departure and one at each full mark (tests/oracles/
sailed_plans.py). For each plan three counts are held against what was predicted, by the binomial distribution:
passages that break the reserve somewhere, those that run dry, and for each arrival by itself those below the floor,
which the trip's confidence limits. Marks: no count with odds under one in ten million (some thousand are looked at),
and the counts of all plans together spread as a binomial's do.
"""

from __future__ import annotations

import argparse
import itertools
import math
import sys
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import binom, chi2

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from oracles.plane_docks import plane_problem
from oracles.sailed_plans import sail_plan

import demo_region
from layers.region import read_region
from routeplan.asking import ask
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.chances import find_chances
from routeplan.fuel import FuelAboard, full, z_of
from routeplan.part_fills import find_part_filled
from routeplan.search import find_labels
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.problem import Label, Problem

UNLIKELY = 1e-7  # odds of a count that no sampling error explains
EXPECTED = 50  # events from which on a count is near enough to a normal for its spread to be looked at
MOST_PLANS = 6  # of one search that are sailed
DEMO = (("Tolvarrow", "Ettermoy", "full"), ("Ettermoy", "Tolvarrow", "half"), ("Tolvarrow", "Ettermoy", "half"))


@dataclass
class Tally:
    """What has been counted so far."""

    plans: int = 0
    arrivals: int = 0
    part_fills: int = 0
    odd: int = 0  # labels whose level isn't what their hop and fill make of it
    least_odds: dict[str, tuple[float, str]] = field(default_factory=dict)  # and where they were seen
    spread: dict[str, list[float]] = field(default_factory=dict)
    worst: float = 0.0  # difference of predicted and realised shares

    def hold(self, what: str, where: str, seen: int, draws: int, chance: float, *, one_sided: bool = False) -> None:
        """Hold a count against a chance."""
        above, below = float(binom.sf(seen - 1, draws, chance)), float(binom.cdf(seen, draws, chance))
        odds = above if one_sided else min(1.0, 2 * min(above, below))
        told = f"{where}: {seen} of {draws} seen, {draws * chance:.1f} expected"
        self.least_odds[what] = min((odds, told), self.least_odds.get(what, (1.0, "")))
        if one_sided:
            return
        self.worst = max(self.worst, abs(seen / draws - chance))
        if min(chance, 1 - chance) * draws >= EXPECTED:
            score = (seen - draws * chance) / math.sqrt(draws * chance * (1 - chance))
            self.spread.setdefault(what, []).append(score)


def demo_problems() -> Iterator[tuple[str, Problem, float]]:
    """Ask for passages of the demo at several confidences, with and without the closed-dock rule where it is there."""
    data = demo_region.data_folder()
    boat = read_boat(data / "boats" / "quick_errand.toml")
    network = build_network(read_region(data), boat)
    depart = datetime(2026, 7, 1, 8, tzinfo=UTC)
    half = FuelAboard(mean_l=boat.tank.full_mark_l / 2, sd_l=8.0, how="stated")
    for start, finish, level in DEMO:
        for confidence in (0.5, 0.9, 0.99):
            aboard = full(boat) if level == "full" else half
            trip = Trip(start=start, finish=finish, depart=depart, aboard=aboard, confidence=confidence)
            yield f"{start} to {finish}, {level}", demo_problem(network, trip, boat), confidence


def demo_problem(network: Network, trip: Trip, boat: Boat) -> Problem:
    """Set a search of the demo up, as `find_passage` does."""
    question, _ = ask(network, trip, boat, trip.depart)
    return question.problem(question.tracks())


def random_problems(count: int, seed: int) -> Iterator[tuple[str, Problem, float]]:
    """Draw searches in the plane; every third with levels or a burn known exactly."""
    rng = np.random.default_rng(seed)
    for number in range(count):
        confidence = float(rng.choice([0.5, 0.8, 0.9, 0.99]))
        known: dict[str, Any] = ({}, {"sd_l": 0.0, "full_sd_l": 0.0}, {"sd_share": 0.0})[number % 3]
        problem = plane_problem(int(rng.integers(1 << 30)), 14, rule_z=z_of(confidence), **known)
        yield f"random {number}", problem, confidence


def plans_of(problem: Problem, rng: np.random.Generator) -> list[Label]:
    """Find some of the plans with full fills, and those with part fills."""
    found = find_labels(problem)
    if len(found) > MOST_PLANS:
        found = [found[i] for i in sorted(rng.choice(len(found), MOST_PLANS, replace=False))]
    part = [find_part_filled(problem, rule, 20.0) for rule in ("enough", "best")]
    return found + [end for end in part if end is not None]


def agrees(problem: Problem, before: Label, step: Label) -> bool:
    """Tell whether a label's level, burn and doubt are what its hop and its fill make of those before."""
    assert step.hop is not None
    burned_l, fill = before.burned_l + step.hop.track.fuel_l, step.fill
    if fill is None:
        wanted = (before.mean_l, burned_l, before.sd_l)
    elif fill.to_mark:
        wanted = (max(problem.full_l, before.mean_l - burned_l), 0.0, problem.full_sd_l)
    else:
        wanted = (before.mean_l + fill.take_l, burned_l, before.sd_l)
    found = (step.mean_l, step.burned_l, step.sd_l)
    return all(math.isclose(a, b, abs_tol=1e-9) for a, b in zip(found, wanted, strict=True))


def judge(
    tally: Tally, name: str, problem: Problem, end: Label, confidence: float, draws: int, rng: np.random.Generator
) -> None:
    """Sail one plan and hold it against what was predicted."""
    name = f"{name}, by {'-'.join(str(step.place) for step in end.path())}"
    predicted, sailed = find_chances(problem, end), sail_plan(problem, end, draws, rng)
    tally.plans += 1
    tally.odd += sum(1 for before, step in itertools.pairwise(end.path()) if not agrees(problem, before, step))
    tally.part_fills += sum(1 for step in end.path() if step.fill is not None and not step.fill.to_mark)
    tally.hold("reserve broken somewhere", name, sailed.reserve_missed, draws, 1 - predicted.reserve_kept)
    tally.hold("run dry", name, sailed.ran_dry, draws, 1 - predicted.never_dry)
    tally.hold("run dry more than predicted", name, sailed.ran_dry, draws, 1 - predicted.never_dry, one_sided=True)
    for missed in sailed.missed_at:
        tally.arrivals += 1
        tally.hold("one arrival below the floor more than allowed", name, missed, draws, 1 - confidence, one_sided=True)


def main() -> int:
    """Print the table.

    Returns
    -------
    1 where a mark is missed.
    """
    options = argparse.ArgumentParser(description="Sail plans many times.")
    options.add_argument("--draws", type=int, default=1_000_000)
    options.add_argument("--problems", type=int, default=60, help="random ones")
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    rng = np.random.default_rng(asked.seed)
    begin = time.perf_counter()
    tally = Tally()
    for name, problem, confidence in itertools.chain(demo_problems(), random_problems(asked.problems, asked.seed)):
        plans = plans_of(problem, rng)
        for end in plans:
            judge(tally, name, problem, end, confidence, asked.draws, rng)
        if sys.stderr.isatty():
            print(f"\r{name}: {len(plans)} plans   ", end="", file=sys.stderr)
    print(
        f"{tally.plans} plans, {tally.arrivals} arrivals, {tally.part_fills} part fills, {asked.draws} passages each, "
        f"{time.perf_counter() - begin:.0f} s; predicted and realised shares differ by {tally.worst:.5f} at the most"
    )
    good = tally.plans > 0 and tally.odd == 0
    print(f"{'kept  ' if tally.odd == 0 else 'MISSED'} labels that don't follow from hop and fill: {tally.odd}")
    for what, (odds, where) in tally.least_odds.items():
        scores = np.array(tally.spread.get(what, []))
        kept = odds >= UNLIKELY
        told = ""
        if len(scores) >= 20:
            total = float(np.sum(scores**2))
            spread = 2 * min(chi2.cdf(total, len(scores)), chi2.sf(total, len(scores)))
            kept &= spread >= UNLIKELY
            told = f"; mean square of {len(scores)} scores {total / len(scores):.2f}, odds {spread:.2f}"
        good &= kept
        print(
            f"{'kept  ' if kept else 'MISSED'} {what}: least odds {odds:.1e} (at least {UNLIKELY:.0e}){told}; {where}"
        )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
