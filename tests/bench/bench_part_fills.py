"""How much faster the search with part fills is than a tank cut into hundredths and searched by networkx.

Run from the project's folder: ``python tests/bench/bench_part_fills.py``. About two minutes. The mark is 25 times, and
never a dearer plan than the grid's.

The same made-up docks for both, by the plain rule of thumb (no doubt, no hours, no largest sales), as a grid knows
neither; fuel is dear, an hour is worth something or nothing. The grid has a node for each dock and hundredth of a tank
aboard, burns rounded up to whole hundredths so that its plans hold. It is timed twice: its search alone, and with the
making of its graph; the product from the problem to the plan, each time anew.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
import time
from dataclasses import dataclass
from itertools import permutations, product
from pathlib import Path

import networkx as nx

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))

from oracles.part_fill_cases import Retold, as_problem, retell
from oracles.part_fill_plans import Outing, Stand, Way

from routeplan.part_fills import find_part_filled

MARK = 25
STEPS = 100  # of a tank
RUNS = 3  # of each, the fastest counts
NEAR = 1e-9  # [currency]


def outing_of(rng: random.Random, docks: int, price_of_time: float) -> Outing:
    """Scatter docks over a coast about three tanks long."""
    length = 280.0  # [l]
    at = {0: (0.0, 0.0), 1: (length, 0.0)}
    for i in range(2, docks + 2):
        at[i] = (rng.uniform(0, length), rng.uniform(-30, 30))
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for a, b in permutations(at, 2):
        far = math.dist(at[a], at[b]) + 0.5
        ways[a, b] = (Way(far * 0.04, far),)
    stands = {i: Stand(round(rng.uniform(1.2, 2.6), 2), rng.uniform(15, 70)) for i in range(2, docks + 2)}
    return Outing(
        ways=ways,
        stands=stands,
        start=0,
        targets=(1,),
        mean_l=rng.uniform(60, 100),
        full_l=100.0,
        floor_l=10.0,
        price_of_time=price_of_time,
        berthing_h=0.25,
    )


def grid_of(outing: Outing) -> nx.DiGraph:
    """Cut the tank: a node for each place and step of fuel aboard, the destination one node."""
    step_l = outing.full_l / STEPS
    least = math.ceil(outing.floor_l / step_l)
    graph = nx.DiGraph()
    for place in outing.stands:
        for level in range(least, STEPS):
            graph.add_edge((place, level), (place, level + 1), weight=outing.worth(place) * step_l)
    for (a, b), ways in outing.ways.items():
        if a == 1 or (b != 1 and b not in outing.stands):
            continue
        levels = [math.floor(outing.mean_l / step_l)] if a == 0 else range(least, STEPS + 1)
        for way in ways:
            burn = math.ceil(way.fuel_l / step_l)
            hours = way.time_h + (0.0 if b == 1 else outing.berthing_h)
            for level in levels:
                if level - burn >= least:
                    to = "there" if b == 1 else (b, level - burn)
                    weight = outing.price_of_time * hours
                    known = graph.get_edge_data((a, level), to)
                    if known is None or weight < known["weight"]:
                        graph.add_edge((a, level), to, weight=weight)
    return graph


@dataclass
class Race:
    """One outing, both ways: seconds of each, the grid's bill and ours."""

    ours_s: float
    making_s: float
    search_s: float
    grid_bill: float | None
    told: Retold | None

    def fault(self) -> str:
        """Say what is wrong with our plan; empty where nothing is."""
        if self.told is None:
            return "" if self.grid_bill is None else f"the grid finds a plan of {self.grid_bill}, the search none"
        dearer = self.grid_bill is not None and self.told.bill > self.grid_bill + NEAR
        return f"{self.told} where the grid has {self.grid_bill}" if dearer or self.told.faults else ""


def race(outing: Outing) -> Race:
    """Search both ways, several times each; the fastest of each counts."""
    problem = as_problem(outing)
    ours_s = making_s = search_s = math.inf
    label, bill = None, None
    for _ in range(RUNS):
        begin = time.perf_counter()
        label = find_part_filled(problem, "best", outing.price_of_time)
        done = time.perf_counter()
        graph = grid_of(outing)
        made = time.perf_counter()
        start = (0, math.floor(outing.mean_l / outing.full_l * STEPS))
        try:
            bill, _ = nx.single_source_dijkstra(graph, start, "there")
        except (nx.NetworkXNoPath, nx.NodeNotFound):
            bill = None
        searched = time.perf_counter()
        ours_s = min(ours_s, done - begin)
        making_s, search_s = min(making_s, made - done), min(search_s, searched - made)
    return Race(ours_s, making_s, search_s, bill, None if label is None else retell(outing, label))


def main() -> int:
    """Print the table; 1 where a plan is dearer than the grid's or breaks a rule."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--instances", type=int, default=8, help="of each size and price of time")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    wrong = 0
    heads = f"{'docks':>5} {'hour':>5} {'plans':>5} {'ours ms':>8} {'search, times':>18} {'with making it':>18}"
    print(heads, " grid dearer by")
    for docks, price_of_time in product((20, 40), (0.0, 20.0)):
        rng = random.Random(asked.seed)  # noqa: S311  no secret
        races = [race(outing_of(rng, docks, price_of_time)) for _ in range(asked.instances)]
        for fault in filter(None, (r.fault() for r in races)):
            print(fault)
            wrong += 1
        both = [(r, r.grid_bill, r.told.bill) for r in races if r.grid_bill is not None and r.told is not None]
        alone = [r.search_s / r.ours_s for r, _, _ in both]
        whole = [(r.search_s + r.making_s) / r.ours_s for r, _, _ in both]
        spans = [f"{statistics.median(r):.1f} ({min(r):.1f} to {max(r):.1f})" for r in (alone, whole)]
        dearer = [grid / ours - 1 for _, grid, ours in both if ours]
        ours_ms = 1000 * statistics.median(r.ours_s for r, _, _ in both)
        extra = f"{statistics.median(dearer):.2%}, at most {max(dearer):.2%}"
        print(f"{docks:>5} {price_of_time:>5.0f} {len(both):>5} {ours_ms:>8.1f} {spans[0]:>18} {spans[1]:>18}  {extra}")
    print(f"mark: {MARK} times; medians, least and most in brackets")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
