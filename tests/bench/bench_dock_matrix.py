"""How much faster than networkx scipy finds the ways from docks to all nodes: same weights, answers compared.

Run from the project's folder: ``python tests/bench/bench_dock_matrix.py``. About a minute. The mark is 50 times.

A dock matrix holds distances and paths. Networkx is asked for distances (``lengths``), for both with the weight by
name (``paths``), and for both with the weight by a function that indexes (``safe``), as a missing weight can't fool it;
scipy for the same each time (distances alone, and with predecessors).
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import networkx as nx
import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

sys.path.insert(0, str(Path(__file__).parents[2]))

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.tracks import Tracks

MARK = 50


def worst_difference(fast: Any, slow: list[dict[int, float]]) -> float:
    """Compare two answers; ends the run where they reach different nodes."""
    worst = 0.0
    for row, expected in zip(fast, slow, strict=True):
        reached = np.flatnonzero(np.isfinite(row))
        if set(reached.tolist()) != set(expected):
            sys.exit("they reach different nodes")
        values = np.array([expected[n] for n in reached.tolist()])
        worst = max(worst, float(np.max(np.abs(row[reached] - values) / np.maximum(values, 1e-9))))
    return worst


def main() -> None:
    """Print the table."""
    data = demo_region.data_folder()
    boat = read_boat(data / "boats" / "quick_errand.toml")
    network = build_network(read_region(data), boat)
    docks = [i for i, t in enumerate(network.terminals) if t.place.kind == "dock" and t.entries]
    sources = [network.terminals[i].entries[0] for i in docks]
    tracks = Tracks(network, boat, boat.cruising_speed_kn)
    print(f"{len(network.nodes)} nodes, {len(network.legs)} legs, {len(docks)} docks")
    print(
        f"{'weight':<8} {'asked for':<9} {'networkx s':>11} {'scipy s':>9} {'ratio':>7}  greatest relative difference"
    )
    for what, rates in (("hours", tracks.rates.hours_per_nmi), ("litres", tracks.rates.litres_per_nmi)):
        weight = np.maximum(network.lengths_nmi @ rates, 1e-12)
        a, b = network.legs.T
        size = len(network.nodes)
        graph = nx.Graph()
        graph.add_nodes_from(range(size))
        graph.add_weighted_edges_from(zip(a.tolist(), b.tolist(), weight.tolist(), strict=True))
        both = sparse.csr_array((np.tile(weight, 2), (np.r_[a, b], np.r_[b, a])), shape=(size, size))
        ways: dict[str, Any] = {
            "lengths": lambda s, g=graph: nx.single_source_dijkstra_path_length(g, s),
            "paths": lambda s, g=graph: nx.single_source_dijkstra(g, s)[0],
            "safe": lambda s, g=graph: nx.single_source_dijkstra(g, s, weight=lambda _a, _b, data: data["weight"])[0],
        }
        for asked, way in ways.items():
            begin = time.perf_counter()
            slow = [way(s) for s in sources]
            slow_s = time.perf_counter() - begin
            best_s = np.inf
            for _ in range(3):
                begin = time.perf_counter()
                if asked == "lengths":
                    fast = csgraph.dijkstra(both, directed=True, indices=sources)
                else:
                    fast, _ = csgraph.dijkstra(both, directed=True, indices=sources, return_predecessors=True)
                best_s = min(best_s, time.perf_counter() - begin)
            worst = worst_difference(fast, slow)
            print(f"{what:<8} {asked:<9} {slow_s:>11.2f} {best_s:>9.3f} {slow_s / best_s:>7.0f}  {worst:.1e}")
    begin = time.perf_counter()
    pairs = [(i, j) for i in docks for j in docks if i < j]
    found = Tracks(network, boat, boat.cruising_speed_kn).find(pairs)
    print(
        f"all {len(pairs)} pairs, by hours and litres, with and without gates, steered and measured: "
        f"{time.perf_counter() - begin:.2f} s, {sum(len(t) for t in found.values()) // 2} tracks"
    )
    print(f"mark: {MARK} times")


if __name__ == "__main__":
    main()
