"""What real waters cost, from a few thousand corners to a whole coast; and how much faster than others.

Run from the project's folder, with ``.[test,bench,fast]``: ``python tests/bench/bench_waters.py`` (about ten minutes).
``--waters i,h,f`` chooses some; ``--curve FILE.png`` draws the cost against the corners, ``--keep FILE`` adds to the
rows of earlier runs. Every water is built in a process of its own, so that its peak of memory is its own. Coasts are
GSHHG's (see ``tests/reference/coasts.py``), with 60 docks on their shores.

Answers are compared first: legs found by compiled code and by plain Python are the same to the last one; those that
trying all tangent pairs with shapely finds are among them, or are made up of others in line (on large waters from a
share of the corners, and its seconds are scaled up); the general-purpose polygon library finds the same distances.

That library is extremitypathfinder 2.7, which asks for an older numpy than ours and runs with ours all the same:
``pip install --no-deps extremitypathfinder==2.7.2``. Without it its columns stay empty.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from bench_network import _ordered, missing_but_made_up, pairs_by_shapely
from matplotlib.figure import Figure
from reference.coasts import coast_region
from scipy.sparse import csgraph

from layers import LAYERS, build_layer, build_region, read_region, write_region
from routeplan import looking
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.fuel import full
from routeplan.leg_graph import LegGraph, Price
from routeplan.margins import Margins
from routeplan.mesh import build_mesh
from routeplan.network import connect, unreached_docks
from routeplan.passage import find_passage
from routeplan.sight import find_corner_legs
from routeplan.trips import Trip
from routeplan.water import build_water

HERE = Path(__file__).resolve().parent
MARK_FAST, MARK_PLAIN = 1000, 100
DOCKS = 60
GULF = (-70.5, 42.5, -67.5, 45.0)  # 3 x 2.5 degrees: an open gulf, a ragged shore, hundreds of islands
WATERS: dict[str, tuple[tuple[float, float, float, float], str]] = {
    "i": (GULF, "i"),
    "h": (GULF, "h"),
    "f": (GULF, "f"),
    "large": ((4.5, 59.2, 7.0, 61.8), "f"),
    "coast": ((4.5, 58.0, 14.0, 66.0), "f"),
}
_BEARABLE_S = 60  # [s] that shapely is given for tangent pairs; from a share of the corners where all take longer
_SHAPELY_CORNERS = 100_000  # beyond, the pairs of one single corner take minutes
_LIBRARY_CORNERS = 3_000  # with more the other library takes minutes to prepare


def make_region(name: str, folder: Path) -> None:
    """Write a water's region, docks on its shores, evenly spread among those in the main water."""
    extent, resolution = WATERS[name]
    coast = coast_region(extent, resolution)
    west, south, east, north = extent
    inner = shapely.box(west + 0.05, south + 0.05, east - 0.05, north - 0.05)
    shores = shapely.boundary(shapely.union_all(coast.layer("land").geometry.to_numpy())).intersection(inner)
    sea = shapely.box(*extent).difference(shapely.union_all(coast.layer("land").geometry.to_numpy()))
    main = max(shapely.get_parts(sea), key=shapely.area)
    lines = [line for line in shapely.get_parts(shores) if line.length > 0.1 and main.intersects(line)]
    rng = np.random.default_rng(6)
    share = np.array([line.length for line in lines])
    chosen = rng.choice(len(lines), DOCKS, p=share / share.sum())
    points = [lines[i].interpolate(rng.uniform(), normalized=True) for i in chosen]
    rows = [
        {"name": f"Dock {i}", "fuels": "gasoline,diesel", "opening_hours": "24/7", "depth_m": 3.0}
        for i in range(len(points))
    ]
    docks = build_layer(LAYERS["docks"], rows, points)
    write_region(build_region(coast.about, {"land": coast.layer("land"), "docks": docks}), folder)


def measure(name: str, folder: Path) -> dict[str, Any]:
    """Build one water, compare, time; run in a process of its own."""
    clock = time.perf_counter
    boat = read_boat(HERE.parents[1] / "demo_region" / "data" / "boats" / "quick_errand.toml")
    told: dict[str, Any] = {"water": name}
    begin = clock()
    region = read_region(folder)
    told["read_s"] = clock() - begin
    begin = clock()
    water = build_water(region, boat, Margins())
    told["water_s"] = clock() - begin
    begin = clock()
    mesh = build_mesh(water.navigable, water.grid_m)
    told["mesh_s"] = clock() - begin
    told["corners"], told["reflex"] = len(mesh.corners), int(mesh.corners.reflex.sum())
    fast = legs_of(mesh, compiled=True)  # loads the compiled code
    begin = clock()
    fast = legs_of(mesh, compiled=True)
    told["fast_s"] = clock() - begin
    begin = clock()
    plain = legs_of(mesh, compiled=False)
    told["plain_s"] = clock() - begin
    told["legs"] = len(plain)
    told["same"] = "yes" if np.array_equal(fast, plain) else "NO"
    begin = clock()
    connect(region, boat, water)
    told["connect_s"] = clock() - begin
    told["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with tempfile.TemporaryDirectory() as cache:
        build_network(region, boat, cache=Path(cache))
        begin = clock()
        network = build_network(region, boat, cache=Path(cache))
        told["load_s"] = clock() - begin
        told["stored_mb"] = sum(file.stat().st_size for file in Path(cache).rglob("*.npy")) / 1e6
    told |= plans(network)
    if told["corners"] <= _SHAPELY_CORNERS:
        told |= against_shapely(water, mesh, fast)
    if told["corners"] <= _LIBRARY_CORNERS:
        told |= against_a_library(network)
    return told


def legs_of(mesh: Any, *, compiled: bool) -> Any:
    """Find a mesh's legs by the one loop or the other."""
    before = looking._WORTH_COMPILING  # noqa: SLF001  the one switch between the two
    looking._WORTH_COMPILING = 0 if compiled else sys.maxsize  # noqa: SLF001
    try:
        return find_corner_legs(mesh)
    finally:
        looking._WORTH_COMPILING = before  # noqa: SLF001


def plans(network: Any) -> dict[str, Any]:
    """Time a plan in a program that has the network, the first time and again."""
    unreached = unreached_docks(network)
    names = [t.place.name for t in network.terminals if t.place.kind == "dock" and t.place.name not in unreached]
    plane = network.water.plane
    positions = plane.to_plane([t.place.position for t in network.terminals if t.place.name in names])
    away = np.hypot(*(positions - positions[0]).T)
    finish = names[int(np.argsort(away)[len(away) // 3])]
    trip = Trip(start=names[0], finish=finish, depart=datetime(2026, 7, 1, 8, tzinfo=UTC), aboard=full(network.boat))
    seconds = []
    for _ in range(3):
        begin = time.perf_counter()
        find_passage(network, trip)
        seconds.append(time.perf_counter() - begin)
    return {"ask": [trip.start, trip.finish], "plan_first_s": seconds[0], "plan_again_s": min(seconds[1:])}


def against_shapely(water: Any, mesh: Any, legs: Any) -> dict[str, Any]:
    """Try tangent pairs with shapely, from as many corners as is bearable."""
    at = mesh.positions[mesh.corners.vertex]
    found = {
        _ordered(tuple(a), tuple(b)) for a, b in zip(at[legs[:, 0]].tolist(), at[legs[:, 1]].tolist(), strict=True)
    }
    reflex = int(mesh.corners.reflex.sum())
    _, seconds, _ = pairs_by_shapely(water.navigable, water.grid_m, max(1, reflex // 4))
    share = max(1, round(seconds / 4 * reflex / _BEARABLE_S))
    wanted, seconds, _ = pairs_by_shapely(water.navigable, water.grid_m, share)
    if share == 1:
        same = missing_but_made_up(found, wanted)
    else:
        spots = {point for leg in wanted for point in leg}
        near = {leg for leg in found if leg[0] in spots or leg[1] in spots}
        same = missing_but_made_up(near, wanted | near) and all_clear(water, found)
    return {"pairs_s": seconds * share, "share": share, "pairs_same": "yes" if same else "NO"}


def all_clear(water: Any, found: set[Any], tried: int = 300) -> bool:
    """Tell whether legs, some drawn by lot, lie in the water by shapely's word."""
    legs = sorted(found)
    chosen = np.random.default_rng(2).choice(len(legs), min(tried, len(legs)), replace=False)
    steps = shapely.transform(water.navigable, lambda xy: np.rint(xy / water.grid_m))
    shapely.prepare(steps)
    return bool(shapely.covers(steps, shapely.linestrings([legs[i] for i in chosen])).all())


def against_a_library(network: Any) -> dict[str, Any]:
    """Ask a general-purpose polygon path library the same, on the largest of the waters."""
    if importlib.util.find_spec("extremitypathfinder") is None:
        return {}
    part = max(shapely.get_parts(network.water.navigable), key=shapely.area)
    clock = time.perf_counter
    begin = clock()
    environment = importlib.import_module("extremitypathfinder").PolygonEnvironment()
    rings = [shapely.get_coordinates(shapely.orient_polygons(part).exterior)[:-1]]
    rings += [shapely.get_coordinates(ring)[:-1] for ring in shapely.orient_polygons(part).interiors]
    environment.store(rings[0], rings[1:], validate=False)
    environment.prepare()
    told: dict[str, Any] = {"library_s": clock() - begin}
    graph = LegGraph(network)
    price = Price.of_distance(network)
    weights = graph.weigh(price)
    shapely.prepare(part)
    entries = [t.entries[0] for t in network.terminals if t.entries]
    entries = [n for n in entries if shapely.contains_xy(part.buffer(-0.01), *network.nodes[n])]
    rng = np.random.default_rng(1)
    worst, theirs_s, ours_s = 0.0, 0.0, 0.0
    for _ in range(20):
        a, b = rng.choice(entries, 2, replace=False)
        begin = clock()
        path, length = environment.find_shortest_path(tuple(network.nodes[a]), tuple(network.nodes[b]), verify=False)
        theirs_s += clock() - begin
        begin = clock()
        away = csgraph.dijkstra(weights, directed=True, indices=int(a))
        ours_s += clock() - begin
        xy = np.array(path, dtype=float)
        nmi = float(network.water.plane.lengths_nmi(xy[:-1], xy[1:]).sum()) if length else np.inf
        worst = max(worst, abs(nmi - float(away[b])) / max(float(away[b]), 1e-9))
    told |= {"library_query_ms": theirs_s * 50, "query_ms": ours_s * 50, "library_worst": worst}
    return told


def from_files(folder: Path, ask: list[str], *, fast: bool) -> float:
    """[s] From the region's files to a printed plan, in a new process: nothing built is kept, compiled code is."""
    boat = HERE.parents[1] / "demo_region" / "data" / "boats" / "quick_errand.toml"
    block = "" if fast else "import sys; sys.modules['numba'] = None; "
    words = ["routeplan", "passage", *ask, "--region", str(folder), "--boat", str(boat), "--aboard", "full"]
    words += ["--depart", "2027-07-01T08:00", "--no-cache", "--no-log"]
    program = f"{block}import sys; sys.argv = {words!r}; from routeplan.cli import main; main()"
    best = np.inf
    for _ in range(2):
        begin = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, check=False, cwd=HERE.parents[1], env=os.environ
        )
        best = min(best, time.perf_counter() - begin)
        if done.returncode not in (0, 2, 3):
            sys.exit(done.stderr.decode())
    return best


def draw(rows: list[dict[str, Any]], path: Path) -> None:
    """Draw seconds against corners."""
    figure = Figure(figsize=(7.2, 4.2), layout="constrained")
    axes = figure.subplots()
    corners = [row["corners"] for row in rows]
    kinds = (
        ("water cut and drawn back", "water_s", "o-", "#1b6f7a"),
        ("triangles", "mesh_s", "s--", "#5b5b5b"),
        ("legs, plain Python", "plain_s", "^-", "#a65628"),
        ("legs, compiled", "fast_s", "v-", "#d95f02"),
        ("loaded from the cache", "load_s", "D:", "#7570b3"),
        ("planned again", "plan_again_s", "x:", "#222222"),
    )
    for label, key, style, colour in kinds:
        axes.plot(corners, [row[key] for row in rows], style, color=colour, label=label, markersize=5)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlabel("corners of the boat's water")
    axes.set_ylabel("seconds")
    axes.grid(visible=True, which="major", alpha=0.3)
    axes.legend(fontsize=8, frameon=False)
    figure.savefig(path, dpi=130)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--waters", default=",".join(WATERS))
    parser.add_argument("--curve", type=Path)
    parser.add_argument("--keep", type=Path, help="file of rows: those in it are drawn too, new ones are added")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        print(json.dumps(measure(asked.one, asked.folder)))
        return
    rows = [] if asked.keep is None or not asked.keep.exists() else json.loads(asked.keep.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as made:
        for name in asked.waters.split(","):
            folder = Path(made) / name
            make_region(name, folder)
            words = [sys.executable, __file__, "--one", name, "--folder", str(folder)]
            done = subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True)
            row = json.loads(done.stdout.splitlines()[-1])
            for kind in ("fast", "plain"):
                row[f"files_{kind}_s"] = from_files(folder, row["ask"], fast=kind == "fast")
            rows = [other for other in rows if other["water"] != name] + [row]
            tell(row)
    if asked.keep:
        asked.keep.write_text(json.dumps(rows), encoding="utf-8")
    if asked.curve:
        draw(sorted(rows, key=lambda row: row["corners"]), asked.curve)
    print(
        f"marks: {MARK_FAST} times with compiled code, {MARK_PLAIN} without; about 2 s from files, milliseconds again"
    )


def tell(row: dict[str, Any]) -> None:
    """Print what one water cost."""
    of = row.get("pairs_s", np.nan)
    ratios = {kind: of / (row["mesh_s"] + row[f"{kind}_s"]) for kind in ("fast", "plain")}
    scaled = f" (from one corner in {row['share']})" if row.get("share", 1) > 1 else ""
    print(
        f"\n{row['water']}: {row['corners']} corners, {row['reflex']} of them reflex, {row['legs']} legs; "
        f"compiled and plain the same: {row['same']}; as tangent pairs: {row.get('pairs_same', 'not asked')}{scaled}\n"
        f"  read {row['read_s']:.2f} s, water {row['water_s']:.2f}, mesh {row['mesh_s']:.2f}, legs compiled "
        f"{row['fast_s']:.2f}, plain {row['plain_s']:.2f}, all joined {row['connect_s']:.2f}; "
        f"peak {row['peak_mb']:.0f} MB\n"
        f"  tangent pairs with shapely {of:.1f} s: {ratios['fast']:.0f} times mesh and compiled legs, "
        f"{ratios['plain']:.0f} times mesh and plain legs\n"
        f"  loaded from the cache in {row['load_s']:.3f} s ({row['stored_mb']:.0f} MB); a plan "
        f"{row['plan_first_s']:.2f} s, again {row['plan_again_s'] * 1000:.1f} ms\n"
        f"  from files to a printed plan in a new process {row['files_fast_s']:.1f} s with numba at hand, "
        f"{row['files_plain_s']:.1f} s without"
    )
    if "library_s" in row:
        times = row["library_s"] / (row["mesh_s"] + row["plain_s"])
        print(
            f"  polygon library: prepared in {row['library_s']:.1f} s, {times:.0f} times mesh and plain legs; a query "
            f"{row['library_query_ms']:.1f} ms, ours to all places {row['query_ms']:.1f} ms; "
            f"greatest relative difference {row['library_worst']:.1e}"
        )


if __name__ == "__main__":
    main()
