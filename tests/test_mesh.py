"""Triangles over water: they cover it exactly, meet edge to edge, and their corners are the wedges of its edge."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from oracles.coasts import SIZE, coasts
from oracles.sightlines import find_wedges

from routeplan.mesh import Mesh, build_mesh, grid_m_for


def _triangle(mesh: Mesh, t: int) -> list[tuple[float, float]]:
    return [(mesh.x[mesh.start[3 * t + k]], mesh.y[mesh.start[3 * t + k]]) for k in range(3)]


@given(coasts())
def test_triangles_tile_the_water_exactly(water: Any) -> None:
    """Twice the area of each triangle is a whole number, so their sum is the water's to the last digit."""
    mesh = build_mesh(water, 1.0)
    twice = 0.0
    for t in range(len(mesh.start) // 3):
        (ax, ay), (bx, by), (cx, cy) = _triangle(mesh, t)
        turn = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        assert turn > 0, "a triangle runs clockwise or has no area"
        assert water.covers(shapely.Polygon(_triangle(mesh, t)))
        twice += turn
    assert twice == round(2 * water.area, 6)


@given(coasts())
def test_half_edges_are_paired_inside_and_single_along_the_edge(water: Any) -> None:
    mesh = build_mesh(water, 1.0)
    ends = [mesh.start[h + 1 if h % 3 != 2 else h - 2] for h in range(len(mesh.start))]
    edge = 0.0
    for half, other in enumerate(mesh.twin):
        if other < 0:
            edge += float(
                np.hypot(mesh.x[mesh.start[half]] - mesh.x[ends[half]], mesh.y[mesh.start[half]] - mesh.y[ends[half]])
            )
        else:
            assert mesh.twin[other] == half
            assert (mesh.start[other], ends[other]) == (ends[half], mesh.start[half])
    assert edge == pytest.approx(water.length, rel=1e-12)  # sums of square roots, in two orders


@given(coasts())
def test_corners_are_the_wedges_of_the_edge(water: Any) -> None:
    """Also where islands touch at a point: there each wedge of water is a corner of its own."""
    mesh = build_mesh(water, 1.0)

    def at(v: int) -> tuple[int, int]:
        return int(mesh.x[v]), int(mesh.y[v])

    found = sorted((at(c.vertex), at(c.following), at(c.preceding), c.reflex) for c in mesh.corners)
    assert found == sorted((w.at, w.ahead, w.behind, w.reflex) for w in find_wedges(water))


@given(coasts())
def test_locate_finds_every_triangle_that_holds_a_point(water: Any) -> None:
    mesh = build_mesh(water, 1.0)
    triangles = [shapely.Polygon(_triangle(mesh, t)) for t in range(len(mesh.start) // 3)]
    xy = np.array([(x, y) for x in range(-1, SIZE + 2, 4) for y in range(-1, SIZE + 2, 3)], dtype=float)
    for point, held in zip(xy, mesh.locate(xy), strict=True):
        assert held == tuple(t for t, shape in enumerate(triangles) if shape.covers(shapely.Point(point)))


def test_no_water_gives_an_empty_mesh() -> None:
    mesh = build_mesh(shapely.MultiPolygon(), 1.0)
    assert (mesh.start, mesh.twin, len(mesh.corners)) == ([], [], 0)
    assert mesh.locate(np.array([(0.0, 0.0)])) == [()]


def test_grid_is_fine_enough_for_exact_cross_products() -> None:
    """A double holds whole numbers up to 2**53: 2 w^2 stays below it for w = 4.7e7 steps, 470 km of centimetres."""
    assert grid_m_for(300e3) == 0.01
    assert grid_m_for(1000e3) == 0.1
    for width_m in (1.0, 4.6e5, 4.8e5, 3e6):
        assert 2 * (width_m / grid_m_for(width_m)) ** 2 < 2**53


@pytest.mark.parametrize(("point", "held"), [((5.0, -1.0), 1), ((5.0, -2.0), 0), ((2.0, 1.0), 1)])
def test_a_point_a_hair_outside_is_held_by_the_nearest_triangle(point: tuple[float, float], held: int):
    """A square of ten steps; a step outside counts with a step and a half to spare, two steps don't."""
    mesh = build_mesh(shapely.MultiPolygon([shapely.box(0, 0, 0.1, 0.1)]), 0.01)
    assert [len(triangles) for triangles in mesh.locate_near(np.array([point]), 1.5)] == [held]
