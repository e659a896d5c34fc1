"""How fast the refuel search is: the whole Pareto set, one criterion on many docks, and what the closed-dock rule adds.

Run from the project's folder: ``python tests/bench/bench_search.py [--seeds 5]``. Some minutes.

Docks are drawn in the plane with hours, prices and largest sales (tests/oracles/plane_docks.py), on a longer coast for
more docks or on the same one more densely. Times are the least of a few runs (so the docks' openings have been looked
up before), told side by side. Answers are looked at first: each plan is followed step by step, none of a set is beaten
by another, and the best of each criterion in the set is what that criterion finds by itself. For one criterion the
shortest path on the hops by networkx is run beside it, where docks don't shut and nothing else counts; it must take as
many hours. Mark: the closed-dock rule takes at most twice the time of the plain search. Ends with 1 where an answer is
wrong; a ratio that misses its mark is told.
"""

from __future__ import annotations

import argparse
import itertools
import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from oracles.plane_docks import plane_problem

from routeplan.search import CRITERIA, find_labels

if TYPE_CHECKING:
    from collections.abc import Callable

    from routeplan.problem import Label, Problem
    from routeplan.search import Criterion

SETS = ((20, 1), (40, 1), (60, 1), (20, 3), (40, 3))  # docks and speeds, for the whole set
MANY = (40, 75, 150, 300)  # for one criterion
LONG_NMI = 320.0
MARK = 2.0  # times the plain search, with the closed-dock rule
TIE = 1e-6


def figures(label: Label) -> tuple[float, ...]:
    """List what is weighed, smaller being better."""
    return label.time_h, label.cost, label.stops, -label.least_margin_l


def timed(run: Callable[..., Any], *args: Any) -> tuple[float, Any]:
    """[s] Take the least of some runs; the answer of the last one."""
    best_s, answer = float("inf"), None
    for _ in range(3):
        begin = time.perf_counter()
        answer = run(*args)
        best_s = min(best_s, time.perf_counter() - begin)
        if best_s > 2:
            break
    return best_s, answer


def fault_of(problem: Problem, end: Label) -> str:
    """Follow a plan by the rules; say what is wrong with it, or nothing."""
    mean_l, burned_l, sd_l, time_h, cost, stops = problem.mean_l, 0.0, problem.sd_l, 0.0, 0.0, 0
    margin_l = float("inf")
    for before, step in itertools.pairwise(end.path()):
        hop, fill = step.hop, step.fill
        if hop is None or not any(t is hop.track for t in _tracks(problem, before.place, step.place)):
            return "a hop that isn't there"
        time_h, burned_l = time_h + hop.track.time_h, burned_l + hop.track.fuel_l
        doubt_l = (sd_l**2 + (problem.sd_share * burned_l) ** 2) ** 0.5
        margin_l = min(margin_l, mean_l - burned_l - problem.z * doubt_l - problem.floor_l)
        if fill is not None:
            dock, take_l = problem.docks[step.place], max(problem.full_l - mean_l + burned_l, 0.0)
            if dock.largest_sale_l is not None and take_l > dock.largest_sale_l + TIE:
                return "more than is sold"
            time_h += fill.wait_h + problem.berthing_h + take_l / dock.pump_lpm / 60
            price = problem.guess_price_per_l if dock.price_per_l is None else dock.price_per_l
            cost, stops = cost + take_l * price, stops + 1
            mean_l, burned_l, sd_l = max(problem.full_l, mean_l - burned_l), 0.0, problem.full_sd_l
    told = figures(end)
    if margin_l < -TIE or end.place != problem.targets[-1]:
        return "below the floor, or elsewhere"
    same = all(abs(a - b) <= TIE for a, b in zip(told, (time_h, cost, stops, -margin_l), strict=True))
    return "" if same else "figures that don't add up"


def _tracks(problem: Problem, a: int, b: int) -> list[Any]:
    return [data["track"] for data in (problem.graph.get_edge_data(a, b) or {}).values()]


def check(problem: Problem, found: list[Label]) -> None:
    """End the run where a set of plans is wrong."""
    points = [figures(end) for end in found]
    for end in found:
        if fault := fault_of(problem, end):
            sys.exit(f"wrong plan: {fault}")
    table = np.array(points).reshape(-1, len(CRITERIA))
    for place, point in enumerate(table):
        others = np.delete(table, place, axis=0)
        if ((others <= point + TIE / 1000).all(axis=1)).any():
            sys.exit("a plan of the set is no better than another in anything")
    for place, criterion in enumerate(CRITERIA):
        alone = [figures(end)[place] for end in find_labels(problem, (criterion,))]
        least = min((p[place] for p in points), default=None)
        if (least is None) != (not alone) or (least is not None and abs(least - alone[0]) > TIE):
            sys.exit(f"the best {criterion} of the set is another than that criterion finds")


def bench_sets(seeds: int) -> None:
    """Print what whole sets take, with one speed and three, with and without the closed-dock rule."""
    print("whole Pareto set (time, cost, stops, margin); medians over searches that have plans under all rules")
    head = ("docks", "speeds", "searches", "hops", "plans", "s", "rule on s", "times", "strict s", "times", "3 crit. s")
    print(" ".join(f"{h:>9}" for h in head))
    for docks, speeds in SETS:
        rows: list[tuple[float, ...]] = []
        for seed in itertools.count():
            if len(rows) == (seeds if speeds == 1 else 1):
                break
            problem = plane_problem(seed, docks, speeds=speeds)
            ruled = {rule: replace(problem, closed_dock=rule) for rule in ("on", "strict")}
            if not find_labels(ruled["strict"], ("time",)):
                continue
            plain_s, found = timed(find_labels, problem)
            check(problem, found)
            ruled_s = []
            for other in ruled.values():
                took_s, kept = timed(find_labels, other)
                ruled_s.append(took_s)
                check(other, kept)
            three_s, _ = timed(find_labels, problem, CRITERIA[:3])
            rows.append((problem.graph.number_of_edges(), len(found), plain_s, *ruled_s, three_s))
        hops, plans, plain_s, on_s, strict_s, three_s = (
            statistics.median(column) for column in zip(*rows, strict=True)
        )
        on, strict = (statistics.median(row[i] / row[2] for row in rows) for i in (3, 4))
        print(
            f"{docks:>9} {speeds:>9} {len(rows):>9} {hops:>9.0f} {plans:>9.0f} {plain_s:>9.3f} {on_s:>9.3f} {on:>9.2f} "
            f"{strict_s:>9.3f} {strict:>9.2f} {three_s:>9.3f}  {'kept' if max(on, strict) <= MARK else 'MISSED'}",
            flush=True,
        )


def networkx_path_h(problem: Problem) -> float:
    """[h] Find the quickest way where every dock is open and each stop is a fill of what its hop burns, by networkx."""
    graph = nx.DiGraph()
    for a, b, track in problem.graph.edges(data="track"):
        mean_l, sd_l = (problem.mean_l, problem.sd_l) if a == problem.start else (problem.full_l, problem.full_sd_l)
        if problem.low_l(mean_l, track.fuel_l, sd_l) < problem.floor_l:
            continue
        hours = track.time_h
        if b in problem.docks:
            dock, take_l = problem.docks[b], problem.full_l - mean_l + track.fuel_l
            if dock.largest_sale_l is not None and take_l > dock.largest_sale_l:
                continue
            hours += problem.berthing_h + take_l / dock.pump_lpm / 60
        if not graph.has_edge(a, b) or graph[a][b]["hours"] > hours:
            graph.add_edge(a, b, hours=hours)
    return float(nx.dijkstra_path_length(graph, problem.start, problem.targets[-1], lambda _a, _b, data: data["hours"]))


def bench_many() -> None:
    """Print how one criterion grows to many docks, on a longer coast and on one as long with docks more densely."""
    print(
        "\none criterion, one speed, plain rule and with the closed-dock rule; networkx from the same hops, docks open"
    )
    head = ("docks", "coast", "hops", *(f"{c} s" for c in CRITERIA), "rule on s", "times", "open s", "networkx s")
    print(" ".join(f"{h:>10}" for h in head))
    for longer in (False, True):
        for docks in MANY:
            long_nmi = LONG_NMI * docks / MANY[0] if longer else LONG_NMI
            problem = plane_problem(1, docks, long_nmi=long_nmi)
            seconds = []
            for criterion in CRITERIA:
                alone: tuple[Criterion] = (criterion,)
                took_s, found = timed(find_labels, problem, alone)
                seconds.append(took_s)
                if any(fault_of(problem, end) for end in found):
                    sys.exit("wrong plan")
            ruled = replace(problem, closed_dock="on")
            ruled_s, _ = timed(find_labels, ruled, ("time",))
            always = plane_problem(1, docks, long_nmi=long_nmi, with_hours=False)
            open_s, (soonest, *_) = timed(find_labels, always, ("time",))
            path_s, path_h = timed(networkx_path_h, always)
            if abs(path_h - soonest.time_h) > TIE:
                sys.exit(f"networkx finds {path_h} h, the search {soonest.time_h} h")
            print(
                f"{docks:>10} {long_nmi:>7.0f} nm {problem.graph.number_of_edges():>10} "
                + " ".join(f"{s:>10.3f}" for s in (*seconds, ruled_s))
                + f" {ruled_s / seconds[0]:>10.2f} {open_s:>10.3f} {path_s:>10.3f}"
                + f"  {'kept' if ruled_s <= MARK * seconds[0] else 'MISSED'}",
                flush=True,
            )


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description="Time the refuel search.")
    options.add_argument("--seeds", type=int, default=5, help="searches of a size")
    asked = options.parse_args()
    bench_sets(asked.seeds)
    bench_many()
    print(f"\nmark: at most {MARK:g} times as long with the closed-dock rule")


if __name__ == "__main__":
    main()
