"""Water from which a dock can still be reached: closed forms, and the prices of points, both ways, by other means.

Bounds were set before anything was computed: `ROUNDING_M` is two coordinates of whole centimetres, one each way; an
area may lie inside the truth by the arc tolerance, and is never outside it.
"""

from __future__ import annotations

import itertools
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from oracles.over_water import Tariff, WaysOut, strew, strew_near_edge
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, position, waypoint, zone

from routeplan.building import build_network
from routeplan.dock_water import water_between
from routeplan.leg_graph import Price, Rates
from routeplan.margins import Margins
from routeplan.over_water import find_views
from routeplan.spreading import spread

if TYPE_CHECKING:
    from routeplan.network import Network

ROUNDING_M = 0.04
ARCS_M = 0.5
CLOSE = Margins(standoff_m=5.0)
ISLANDS = [(box(-1500, 1000, 1500, 1800), {}), (box(2500, -4000, 3300, 600), {}), (box(-4200, -2500, -2600, -900), {})]


def network_of(*docks: Any, **rows: Any) -> Network:
    """Build a network with `Home` in its middle and some docks."""
    region = make_region(waypoints=[waypoint(0, 0, "Home")], docks=list(docks), **rows)
    return build_network(region, make_boat(), CLOSE, when=datetime(2026, 7, 1, 8, tzinfo=UTC))


def between(network: Network, budget_nmi: float, *names: str) -> Any:
    """Ask for the water between `Home` and some docks, by distance."""
    price = Price.of_distance(network)
    out = spread(network, [network.terminal("Home")], price, budget_nmi)
    home = spread(network, [network.terminal(name) for name in names], price, budget_nmi)
    return water_between(out, home, find_views(home, budget_nmi, ARCS_M), budget_nmi, ARCS_M)


def sums_m(network: Network, points: Any, *ends: tuple[float, float]) -> Any:
    """[m] Sum of the geodesics from points of the plane to two ends on the globe, by geographiclib."""
    lonlat = network.water.plane.to_lonlat(points)
    return np.array(
        [sum(Geodesic.WGS84.Inverse(lat, lon, end[1], end[0])["s12"] for end in ends) for lon, lat in lonlat]
    )


def test_between_two_places_of_open_water_lies_an_ellipse():
    """The place of all points with one sum of distances to two others, by geographiclib along 72 bearings."""
    network = network_of(dock(6000, 3000, "Pump"))
    budget_m = 9000.0  # the two lie 6,708 m apart
    area = between(network, budget_m / NMI_M, "Pump")
    middle = network.water.plane.to_plane([position(3000, 1500)])[0]
    ends = position(0, 0), position(6000, 3000)
    turn = np.radians(np.arange(0, 360, 5))
    rays = shapely.linestrings(
        np.stack([np.broadcast_to(middle, (72, 2)), middle + 9000 * np.column_stack([np.cos(turn), np.sin(turn)])], 1)
    )
    edges = shapely.get_coordinates(shapely.intersection(area.boundary, rays))
    assert len(edges) == 72
    sums = sums_m(network, edges, *ends)
    assert sums.max() <= budget_m + ROUNDING_M
    assert sums.min() >= budget_m - 2 * ARCS_M - ROUNDING_M


def test_back_to_the_start_it_is_half_a_circle_out():
    """Out and back is the ellipse whose two ends are one: a circle of half the budget."""
    network = network_of(dock(0, 0, "Pump"))
    area = between(network, 4.0, "Pump")
    points = shapely.get_coordinates(area)
    assert len(area.geoms) == 1
    assert not len(area.geoms[0].interiors)
    away = sums_m(network, points, position(0, 0))
    assert away.max() <= 2 * NMI_M + ROUNDING_M
    assert away.min() >= 2 * NMI_M - ROUNDING_M


@pytest.mark.parametrize("budget_nmi", [3.5, 0.5])
def test_a_dock_out_of_reach_opens_no_water(budget_nmi: float):
    """It lies 6,708 m or 3.62 nmi away."""
    assert between(network_of(dock(6000, 3000, "Pump")), budget_nmi, "Pump").is_empty


def test_no_docks_no_water():
    network = network_of(dock(6000, 3000, "Pump"))
    assert between(network, 10.0).is_empty


@pytest.mark.parametrize("budget_nmi", [4.2, 5.5, 8.0])
def test_among_islands_by_the_price_of_points(budget_nmi: float):
    network = network_of(dock(5000, 1000, "East"), dock(-3000, 4000, "North"), land=ISLANDS)
    names = ("East", "North")
    area = between(network, budget_nmi, *names)
    points, prices = priced(network, area, budget_nmi, Tariff.plain(network), *names)
    claimed = shapely.contains_xy(area, points)
    assert claimed.any()
    assert not claimed.all()
    assert prices[claimed].max() <= budget_nmi + ROUNDING_M / NMI_M
    assert prices[~claimed].min() >= budget_nmi - (2 * ARCS_M + ROUNDING_M) / NMI_M


def priced(network: Network, area: Any, budget: float, tariff: Tariff, *names: str) -> tuple[Any, Any]:
    """Strew points over the water and about an area's edge; price them by the slow way, out and on."""
    rng = np.random.default_rng(7)
    navigable = network.water.navigable
    points = np.vstack(
        [strew(navigable, area.buffer(3000).bounds, 120, rng), strew_near_edge(area, navigable, 120, rng)]
    )
    most = budget * 1.2
    out = WaysOut(network, [network.terminal("Home")], tariff, most)
    home = WaysOut(network, [network.terminal(name) for name in names], tariff, most)
    return points, out.prices(points) + home.prices(points)


def test_under_limits_it_is_never_over_claimed():
    """Fuel, with a harbour of no wake about the start and another limit about the dock."""
    slow = [zone(box(-800, -800, 900, 900), "no-wake"), zone(box(4200, 200, 6000, 2200), "speed-limit", limit_kn=8.0)]
    network = network_of(dock(5000, 1000, "East"), land=ISLANDS, zones=slow)
    rates = Rates.of(make_boat(), network, 20.0)
    price = Price.of_fuel(rates)
    start, pump = network.terminal("Home"), network.terminal("East")
    budget_l = 6.5
    out, home = (spread(network, [place], price, budget_l) for place in (start, pump))
    area = water_between(out, home, find_views(home, budget_l, ARCS_M), budget_l, ARCS_M)
    tariff = Tariff(tuple(rates.litres_per_nmi), tuple(rates.slow_litres_per_nmi), rates.idle_lph)
    points, prices = priced(network, area, budget_l, tariff, "East")
    claimed = shapely.contains_xy(area, points)
    dearest = max(rates.litres_per_nmi)
    assert claimed.sum() > 50
    assert prices[claimed].max() <= budget_l + ROUNDING_M / NMI_M * dearest
    missed = ~claimed & (prices < budget_l * 0.99)
    assert missed.sum() <= 2  # an inner approximation: by 1 % of the budget at the most, but for slivers


def test_more_to_spend_never_shrinks_it():
    network = network_of(dock(5000, 1000, "East"), dock(-3000, 4000, "North"), land=ISLANDS)
    areas = [between(network, budget, "East", "North") for budget in (4.0, 4.5, 6.0, 9.0)]
    for less, more in itertools.pairwise(areas):
        assert less.difference(more.buffer(2 * ARCS_M)).area < 1.0
        assert less.area < more.area


def test_one_more_dock_never_shrinks_it():
    network = network_of(dock(5000, 1000, "East"), dock(-3000, 4000, "North"), land=ISLANDS)
    one, both = between(network, 6.0, "East"), between(network, 6.0, "East", "North")
    assert one.difference(both.buffer(2 * ARCS_M)).area < 1.0
    assert one.area < both.area


def test_far_from_the_middle_of_a_wide_plane_the_ellipse_is_the_globes():
    """The plane's scale is off by some parts in a thousand at its corner: metres, which the sums would show."""
    at = (215_000.0, 165_000.0)
    region = make_region(3.0, waypoints=[waypoint(*at, "Home")], docks=[dock(at[0] + 9000, at[1], "Pump")])
    network = build_network(region, make_boat(), CLOSE, when=datetime(2026, 7, 1, 8, tzinfo=UTC))
    budget_m = 14_000.0
    area = between(network, budget_m / NMI_M, "Pump")
    ends = (network.terminals[network.terminal(name)].place.position for name in ("Home", "Pump"))
    sums = sums_m(network, shapely.get_coordinates(area), *ends)
    assert sums.max() <= budget_m + ROUNDING_M
    assert sums.min() >= budget_m - 2 * ROUNDING_M - 0.05  # corners lie on the line, 4 cm of the sum inside
