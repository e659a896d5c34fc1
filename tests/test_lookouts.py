"""Triangles that are taken as a whole: never a corner of one that is dearer than the budget."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
import shapely
from oracles.over_water import Tariff, WaysOut
from oracles.small_world import NMI_M, box, make_boat, make_region, waypoint

from routeplan.building import build_network
from routeplan.leg_graph import Price
from routeplan.margins import Margins
from routeplan.over_water import water_within
from routeplan.spreading import spread

LAND = [(box(1500, -2500, 2200, 300), {}), (box(-2600, 900, -300, 1400), {}), (box(500, 1700, 700, 4200), {})]


def test_a_triangle_just_too_long_is_not_taken_as_a_whole():
    """Budgets that end 1.5 % short of a triangle's far vertex, from a corner that ways bend round."""
    region = make_region(waypoints=[waypoint(0, 0, "Home")], land=LAND)
    network = build_network(region, make_boat(), Margins(standoff_m=5.0), when=datetime(2026, 7, 1, 8, tzinfo=UTC))
    price, home = Price.of_distance(network), [network.terminal("Home")]
    away = spread(network, home, price).away
    mesh = network.mesh
    at = mesh.positions * mesh.grid_m
    tried = 0
    for node in range(network.corner_count):
        for triangle in mesh.triangles:
            apart = np.hypot(*(at[triangle] - network.nodes[node]).T)
            if apart.min() > 0.01 or not 100 < apart.max() < 30000:
                continue
            far = at[triangle[np.argmax(apart)]]
            budget = float(away[node]) + 0.985 * apart.max() / NMI_M
            due = WaysOut(network, home, Tariff.plain(network), budget * 1.1).prices([far])[0]
            if due <= budget * 1.001:
                continue  # there is a shorter way to it
            area = water_within(spread(network, home, price, budget), budget)
            tried += 1
            assert not area.buffer(-0.1).intersects(shapely.Point(far).buffer((due - budget) * NMI_M * 0.5))
            if tried == 3:
                return
    pytest.fail(f"little was tried: {tried}")
