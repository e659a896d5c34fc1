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
from pathlib import Path

import networkx as nx

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))

from oracles.part_fill_cases import as_problem, retell
from oracles.part_fill_plans import Outing, Stand, Way

from routeplan.part_fills import find_part_filled

MARK = 25
STEPS = 100  # of a tank
RUNS = 3  # of each, the fastest counts


def outing_of(rng: random.Random, docks: int, price_of_time: float) -> Outing:
    """Scatter docks over a coast about three tanks long."""
    length = 280.0  # [l]
    at = {0: (0.0, 0.0), 1: (length, 0.0)}
    for i in range(2, docks + 2):
        at[i] = (rng.uniform(0, length), rng.uniform(-30, 30))
    ways = {}
    for a in at:
        for b in at:
            if a != b:
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


def main() -> int:
    """Print the table; 1 where a plan is dearer than the grid's or breaks a rule."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--instances", type=int, default=8, help="of each size and price of time")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    wrong = 0
    print(f"{'docks':>5} {'hour':>5} {'plans':>5} {'search, times':>22} {'with making it':>22} {'grid dearer by':>20}")
    for docks in (20, 40):
        for price_of_time in (0.0, 20.0):
            rng = random.Random(asked.seed)  # noqa: S311  no secret
            alone, whole, dearer = [], [], []
            for _ in range(asked.instances):
                outing = outing_of(rng, docks, price_of_time)
                problem = as_problem(outing)
                ours_s, label = math.inf, None
                for _ in range(RUNS):
                    begin = time.perf_counter()
                    label = find_part_filled(problem, "best", price_of_time)
                    ours_s = min(ours_s, time.perf_counter() - begin)
                making_s = search_s = math.inf
                bill: float | None = None
                for _ in range(RUNS):
                    begin = time.perf_counter()
                    graph = grid_of(outing)
                    made = time.perf_counter()
                    start = (0, math.floor(outing.mean_l / outing.full_l * STEPS))
                    try:
                        bill = nx.dijkstra_path_length(graph, start, "there")
                    except (nx.NetworkXNoPath, nx.NodeNotFound):
                        bill = None
                    searched = time.perf_counter()
                    making_s, search_s = min(making_s, made - begin), min(search_s, searched - made)
                if bill is None and label is None:
                    continue
                if label is None:
                    print(f"the grid finds a plan of {bill}, the search none")
                    wrong += 1
                    continue
                told = retell(outing, label)
                if told.faults or (bill is not None and told.bill > bill + 1e-9):
                    print(f"{told} where the grid has {bill}")
                    wrong += 1
                if bill is None:
                    continue
                alone.append(search_s / ours_s)
                whole.append((search_s + making_s) / ours_s)
                dearer.append(bill / told.bill - 1 if told.bill else 0.0)
            spans = [
                f"{statistics.median(r):.0f} ({min(r):.0f} to {max(r):.0f})" if r else "none" for r in (alone, whole)
            ]
            extra = f"{statistics.median(dearer):.2%}, at most {max(dearer):.2%}" if dearer else ""
            print(f"{docks:>5} {price_of_time:>5.0f} {len(alone):>5} {spans[0]:>22} {spans[1]:>22} {extra:>20}")
    print(f"mark: {MARK} times; medians, least and most in brackets")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
