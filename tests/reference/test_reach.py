"""Water in reach on a real coast, by the price of points, and against fast marching, whose error is known.

Coast: GSHHG 2.3.6 at its intermediate resolution (see `coasts.py`). Fast marching: scikit-fmm, second order, after
Sethian, *Level Set Methods and Fast Marching Methods* (Cambridge, 1999), seen by running it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from oracles.over_water import NMI_M, Tariff, WaysOut, judge, some_corners, strew, strew_near_edge
from oracles.small_world import box, make_boat, make_region, waypoint
from reference.coasts import coast_region

from routeplan.building import build_network
from routeplan.leg_graph import Price
from routeplan.margins import Margins
from routeplan.network import Place, join_places
from routeplan.over_water import water_within
from routeplan.spreading import spread

if TYPE_CHECKING:
    from routeplan.network import Network

ARCS_M, ROUNDING_M = 5.0, 0.02  # [m] the product's tolerances, as it states them


@pytest.fixture(scope="module")
def sound() -> Network:
    """Build the waters between Vancouver Island and the mainland: hundreds of islands, four basins behind narrows."""
    return build_network(coast_region((-123.7, 48.0, -122.3, 49.0)), make_boat(), Margins(standoff_m=20))


@pytest.mark.parametrize(
    ("start", "nmi"),
    [((-123.0, 48.42), 14.0), ((-122.75, 48.55), 9.0), ((-123.4, 48.9), 30.0)],
    ids=["a strait", "between islands", "a channel"],
)
def test_a_real_coast_by_the_price_of_points(sound: Network, start: tuple[float, float], nmi: float):
    """80 points over the water, 80 within 30 m of the area's edge, 80 of its corners: none is wrong."""
    network = join_places(sound, [Place("Start", "position", start)])
    source = [network.terminal("Start")]
    area = water_within(spread(network, source, Price.of_distance(network), nmi), nmi, ARCS_M)
    rng = np.random.default_rng(11)
    navigable = network.water.navigable
    window = area.buffer(2000).bounds
    points = np.vstack(
        [
            strew(navigable, window, 80, rng),
            strew_near_edge(area, navigable, 80, rng),
            some_corners(area, 80, rng),
        ]
    )
    prices = WaysOut(network, source, Tariff.plain(network), nmi + 100 / NMI_M).prices(points)
    found = judge(
        area, points, prices, nmi, arcs=(ARCS_M + ROUNDING_M) / NMI_M, rounding=ROUNDING_M / NMI_M, hair_m=ROUNDING_M
    )
    assert (found.over_claimed, found.missed) == ((), ())
    assert min(found.claimed, found.left_out) > 30  # else little was tried


def march_m(wet: Any, x: Any, y: Any, start: tuple[float, float], cell_m: float, near_m: float) -> Any:
    """[m] Distances over wet cells by fast marching from a disc of `near_m`, in which they are what they are."""
    skfmm = pytest.importorskip("skfmm")
    apart = np.hypot(x - start[0], y - start[1])
    found = skfmm.distance(np.ma.MaskedArray(apart - near_m, mask=~wet), dx=cell_m, order=2)
    return np.where(np.ma.getmaskarray(found), np.inf, np.ma.filled(found, np.inf) + near_m)


def test_fast_marching_finds_the_same_but_for_its_error():
    """Islands on a grid of 25 m, 4.5 km to go, three bends at the most on the way to any place.

    Its error is had from open water on the same grid, where distances are known: so much for the way to the first bend
    and from each bend on, as each is a source anew; and a cell's diagonal for each bend, as the grid may put the corner
    so far off. Nearer than that to the budget either may be right.
    """
    islands = [
        box(1500, -2500, 2200, 300),
        box(-2600, 900, -300, 1400),
        shapely.Polygon([(-1800, -700), (-900, -2600), (-700, -2500), (-1500, -600)]),
        box(500, 1700, 700, 4200),
    ]
    region = make_region(half_deg=0.07, land=[(shape, {}) for shape in islands], waypoints=[waypoint(0, 0, "Home")])
    network = build_network(region, make_boat(), Margins(standoff_m=20))
    (home,) = network.terminals
    start, budget_m, cell_m, bends = home.attachment.approaches[0].entry, 4500.0, 25.0, 3
    x, y = np.meshgrid(*(np.arange(at - 5000, at + 5000, cell_m) + cell_m / 2 for at in start))
    navigable = network.water.navigable
    shapely.prepare(navigable)
    marched = march_m(shapely.contains_xy(navigable, x, y), x, y, start, cell_m, 3 * cell_m)
    open_water = march_m(np.ones_like(x, dtype=bool), x, y, start, cell_m, 3 * cell_m)
    off_m = float(np.abs(open_water - np.hypot(x - start[0], y - start[1])).max())
    known_m = (bends + 1) * off_m + bends * cell_m * 2**0.5
    assert known_m < 0.05 * budget_m  # else it would tell little
    area = water_within(spread(network, [0], Price.of_distance(network)), budget_m / NMI_M, ARCS_M)
    shapely.prepare(area)
    ours = shapely.contains_xy(area, x, y)
    assert ours[marched < budget_m - known_m].all()
    assert not ours[marched > budget_m + known_m].any()
    assert ours.sum() * cell_m**2 == pytest.approx(area.area, rel=0.01)  # no cell stands for much that it isn't
