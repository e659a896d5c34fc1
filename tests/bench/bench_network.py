"""How much faster than tangent pairs with shapely legs are found: the same water, edges compared first.

Run from the project's folder: ``python tests/bench/bench_network.py [--quick]``. The demo's water takes shapely some
minutes; ``--quick`` leaves it out. The mark is 100 times, in pure Python.

Shapely is asked in three ways: pair by pair as a plain program would (``plain``), the same on a prepared geometry
(``prepared``), and prepared with all pairs of a corner in one array (``arrays``). Tangency is told by numpy in all,
which flatters them. The first two are timed on a share of the corners, evenly spread, and scaled up by pairs.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[2]))

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.margins import Margins
from routeplan.mesh import Mesh, build_mesh
from routeplan.sight import find_corner_legs
from routeplan.water import build_water

MARK = 100
Legs = set[tuple[tuple[float, float], tuple[float, float]]]


def synthetic(corners: int, seed: int = 7) -> Any:
    """Scatter ragged islands over a sea until it has about this many corners; on whole steps of a grid."""
    rng = np.random.default_rng(seed)
    islands = []
    side = 200_000
    for x, y in rng.uniform(0, side, (corners // 24, 2)):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 24))
        radius = rng.uniform(600, 4_500) * rng.uniform(0.6, 1.0, 24)
        islands.append(
            shapely.Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])).buffer(0)
        )
    sea = shapely.box(-10_000, -10_000, side + 10_000, side + 10_000).difference(shapely.union_all(islands))
    whole = shapely.set_precision(sea, 1.0)
    return shapely.MultiPolygon([p for p in shapely.get_parts(whole) if p.geom_type == "Polygon"])


def ours(water: Any, grid_m: float) -> tuple[Legs, float, float]:
    """Find the legs by triangles; seconds for the mesh and for the walk."""
    begin = time.perf_counter()
    mesh = build_mesh(water, grid_m)
    meshed = time.perf_counter()
    pairs = find_corner_legs(mesh)
    walked = time.perf_counter()
    return {_ordered(_at(mesh, a), _at(mesh, b)) for a, b in pairs}, meshed - begin, walked - meshed


def _at(mesh: Mesh, corner: int) -> tuple[float, float]:
    vertex = int(mesh.corners.vertex[corner])
    return mesh.x[vertex], mesh.y[vertex]


def _ordered(a: tuple[float, float], b: tuple[float, float]) -> tuple[tuple[float, float], tuple[float, float]]:
    return (a, b) if a < b else (b, a)


def pairs_by_shapely(
    water: Any, grid_m: float, every: int = 1, *, at_once: bool = True, prepared: bool = True
) -> tuple[Legs, float, int]:
    """Try every pair of reflex corners that is tangent at both ends with prepared `covers`; tangency by numpy.

    On whole steps of the grid, as the other: what lies on one line does so exactly. Tells legs, seconds and pairs.
    """
    begin = time.perf_counter()
    tried = 0
    steps = shapely.transform(water, lambda xy: np.rint(xy / grid_m))
    at, ahead, behind = [], [], []
    for polygon in steps.geoms:
        for ring, ccw in [(polygon.exterior, True), *((r, False) for r in polygon.interiors)]:
            xy = shapely.get_coordinates(ring)[:-1]
            xy = xy if ring.is_ccw == ccw else xy[::-1]
            at.append(xy)
            ahead.append(np.roll(xy, -1, axis=0))
            behind.append(np.roll(xy, 1, axis=0))
    v, n, p = (np.concatenate(part) for part in (at, ahead, behind))
    reflex = _cross(n - v, p - v) < 0
    v, n, p = v[reflex], n[reflex] - v[reflex], p[reflex] - v[reflex]
    if prepared:
        shapely.prepare(steps)
    legs: Legs = set()
    for i in range(0, len(v) - 1, every):
        d = v[i + 1 :] - v[i]
        here = _cross(d, n[i]) * _cross(d, p[i]) >= 0
        there = _cross(-d, n[i + 1 :]) * _cross(-d, p[i + 1 :]) >= 0
        both = np.flatnonzero(here & there) + i + 1
        tried += len(both)
        if at_once:
            lines = shapely.linestrings(np.stack([np.broadcast_to(v[i], (len(both), 2)), v[both]], axis=1))
            clear = shapely.covers(steps, lines)
        else:
            clear = np.array([steps.covers(shapely.LineString([v[i], v[j]])) for j in both], dtype=bool)
        for j in both[clear]:
            legs.add(_ordered((float(v[i][0]), float(v[i][1])), (float(v[j][0]), float(v[j][1]))))
    return legs, time.perf_counter() - begin, tried


def _cross(a: Any, b: Any) -> Any:
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def missing_but_made_up(found: Legs, wanted: Legs) -> bool:
    """Whether legs differ by nothing but such as others in line with them add up to."""
    return found <= wanted and all(
        any(_between(a, b, c) for c in {p for leg in found for p in leg if p not in (a, b)}) for a, b in wanted - found
    )


def _between(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    along = (b[0] - a[0]) * (c[0] - a[0]) + (b[1] - a[1]) * (c[1] - a[1])
    return cross == 0 and 0 < along < (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2


def main() -> None:
    """Print the table."""
    waters = {"synthetic": (synthetic(2400), 1.0)}
    if "--quick" not in sys.argv[1:]:
        data = demo_region.data_folder()
        boat = read_boat(data / "boats" / "quick_errand.toml")
        water = build_water(read_region(data), boat, Margins())
        waters["the demo's"] = (water.navigable, water.grid_m)
    print(
        f"{'water':<12} {'corners':>8} {'pairs':>8} {'legs':>7} {'mesh s':>7} {'walk s':>7}"
        f" {'plain s':>8} {'ratio':>6} {'prepared s':>11} {'ratio':>6} {'arrays s':>9} {'ratio':>6}  same legs"
    )
    for name, (water, grid_m) in waters.items():
        corners = len(shapely.get_coordinates(water))
        found, mesh_s, walk_s = min((ours(water, grid_m) for _ in range(3)), key=lambda run: run[1] + run[2])
        wanted, arrays_s, pairs = pairs_by_shapely(water, grid_m)
        times = []
        for prepared, every in ((False, corners // 40), (True, corners // 120)):
            _, share_s, tried = pairs_by_shapely(water, grid_m, every, at_once=False, prepared=prepared)
            times.append(share_s * pairs / tried)
        times.append(arrays_s)
        same = (
            "yes"
            if found == wanted
            else f"but for {len(wanted - found)} sums"
            if missing_but_made_up(found, wanted)
            else "NO"
        )
        told = [
            text
            for s, width in zip(times, (8, 11, 9), strict=True)
            for text in (f"{s:>{width}.1f}", f"{s / (mesh_s + walk_s):>6.0f}")
        ]
        print(
            f"{name:<12} {corners:>8} {pairs:>8} {len(found):>7} {mesh_s:>7.3f} {walk_s:>7.3f} {' '.join(told)}  {same}"
        )
    print(f"mark: {MARK} times")


if __name__ == "__main__":
    main()
