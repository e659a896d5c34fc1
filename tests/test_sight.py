"""Legs found by walking triangles are those that trying all pairs with shapely finds, on coasts made to be awkward."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import example, given
from oracles.coasts import coasts, points
from oracles.sightlines import Coast, Wedge

from routeplan.mesh import Mesh, build_mesh
from routeplan.sight import find_corner_legs, find_point_legs

if TYPE_CHECKING:
    from collections.abc import Sequence

TOUCHING = shapely.box(0, 0, 24, 24).difference(
    shapely.union_all([shapely.box(4, 4, 10, 10), shapely.box(10, 10, 16, 16), shapely.box(16, 4, 20, 10)])
)  # two islands meet in one point, a third lies across a channel in line with them
SLOTS = shapely.box(0, 0, 24, 24).difference(
    shapely.union_all(
        [shapely.box(0, 8, 11, 9), shapely.box(12, 8, 24, 9), shapely.box(1, 15, 12, 16), shapely.box(13, 15, 23, 16)]
    )
)  # slots one step wide, walls in line
STAIRS = shapely.Polygon(
    [(0, 0), (24, 0), (24, 24), (20, 24), (20, 20), (16, 20), (16, 16), (12, 16), (12, 12), (8, 12), (8, 8), (0, 8)]
)


def _wedges(mesh: Mesh) -> list[Wedge]:
    def at(v: int) -> tuple[int, int]:
        return int(mesh.x[v]), int(mesh.y[v])

    return [Wedge(at(c.vertex), at(c.following), at(c.preceding)) for c in mesh.corners]


def _corner_legs(mesh: Mesh) -> list[tuple[int, int]]:
    return [(a, b) for a, b in find_corner_legs(mesh).tolist()]


def _point_legs(
    mesh: Mesh, eye: tuple[int, int], others: Sequence[tuple[int, int]] = ()
) -> tuple[set[Wedge], set[int]]:
    spots = np.array([*others, eye], dtype=float)
    corners, seen = find_point_legs(mesh, spots, mesh.locate(spots), first=len(others))
    assert set(corners[:, 0]) | set(seen[:, 0]) <= {len(others)}
    wedges = _wedges(mesh)
    return {wedges[c] for c in corners[:, 1].tolist()}, set(seen[:, 1].tolist())


@given(coasts())
@example(TOUCHING)
@example(SLOTS)
@example(STAIRS)
def test_corner_legs_are_those_of_all_pairs(water: Any) -> None:
    """No leg that shapely doesn't find, and none missing but what other legs in line add up to."""
    mesh = build_mesh(water, 1.0)
    wedges = _wedges(mesh)
    pairs = _corner_legs(mesh)
    assert len(pairs) == len(set(pairs)), "a leg was found twice"
    assert all(a < b for a, b in pairs)
    found = {tuple(sorted((wedges[a], wedges[b]), key=lambda w: w.at)) for a, b in pairs}
    legs = Coast(water).tangent_legs()
    assert found <= set(legs)
    for (a, b), between in legs.items():
        assert (a, b) in found or between
        spots = sorted({w.at for w in between} | {a.at, b.at})
        for p, q in itertools.pairwise(spots):  # at a spot where islands touch any of its corners will do
            assert any((u.at, v.at) == (p, q) for u, v in found)


@given(coasts(), points())
@example(TOUCHING, [(10, 10), (4, 7), (16, 10), (2, 2)])
@example(SLOTS, [(11, 8), (12, 0), (0, 12), (12, 24)])
@example(STAIRS, [(16, 16), (4, 8), (24, 24)])
def test_point_legs_are_those_of_all_pairs(water: Any, spots: list[tuple[int, int]]) -> None:
    """Points in open water, on an edge, at a corner, and where islands touch."""
    mesh, coast = build_mesh(water, 1.0), Coast(water)
    wet = [p for p in spots if water.covers(shapely.Point(p))]
    for i, eye in enumerate(wet):
        others = wet[:i] + wet[i + 1 :]
        corners, seen = _point_legs(mesh, eye, others)
        assert corners == coast.point_legs(eye)
        assert seen == {k for k, other in enumerate(others) if coast.sees(eye, other)}


@given(coasts(), points(6))
@example(TOUCHING, [(9, 11), (11, 9), (18, 2), (0, 24)])
@example(SLOTS, [(1, 1), (23, 23), (12, 12)])
def test_shortest_ways_are_those_of_the_whole_sight_line_graph(water: Any, spots: list[tuple[int, int]]) -> None:
    """Tangent legs alone against every sight line there is, tangent or not: same distances, same places unreachable."""
    mesh, coast = build_mesh(water, 1.0), Coast(water)
    wet = [p for p in spots if water.covers(shapely.Point(p))]
    wedges = _wedges(mesh)
    ours = nx.Graph()
    ours.add_nodes_from(wet)
    for a, b in _corner_legs(mesh):
        ours.add_edge(wedges[a], wedges[b], length=float(np.hypot(*np.subtract(wedges[a].at, wedges[b].at))))
    for i, eye in enumerate(wet):
        corners, seen = _point_legs(mesh, eye, wet[:i])
        for w in corners:
            ours.add_edge(eye, w, length=float(np.hypot(*np.subtract(eye, w.at))))
        for k in seen:
            ours.add_edge(eye, wet[k], length=float(np.hypot(*np.subtract(eye, wet[k]))))
    theirs = coast.sight_graph(wet)
    for i, a in enumerate(wet):
        expected = nx.single_source_dijkstra_path_length(theirs, a, weight=lambda _a, _b, data: data["length"])
        away = nx.single_source_dijkstra_path_length(ours, a, weight=lambda _a, _b, data: data["length"])
        for b in wet[i + 1 :]:
            assert (b in away) == (b in expected)
            if b in away:
                assert away[b] == pytest.approx(expected[b], rel=1e-9)


def test_nobody_looks_between_islands_that_touch() -> None:
    """Two boxes meet at (10, 10); from (9, 11) the point (11, 9) lies behind that spot."""
    mesh = build_mesh(shapely.MultiPolygon([TOUCHING]), 1.0)
    _, seen = _point_legs(mesh, (9, 11), [(11, 9)])
    assert seen == set()


def test_a_grazed_corner_is_seen_past_and_a_step_further_in_hides() -> None:
    """A box from (10, 10) to (14, 14): (4, 10) to (20, 10) runs along its edge; (4, 10) to (20, 11) cuts it."""
    mesh = build_mesh(shapely.MultiPolygon([shapely.box(0, 0, 24, 24).difference(shapely.box(10, 10, 14, 14))]), 1.0)
    assert _point_legs(mesh, (4, 10), [(20, 10)])[1] == {0}
    assert _point_legs(mesh, (4, 10), [(20, 11)])[1] == set()


def test_progress_tells_a_growing_share() -> None:
    rows = [shapely.box(2 * i, 2 * j, 2 * i + 1, 2 * j + 1) for i in range(12) for j in range(12)]
    mesh = build_mesh(shapely.MultiPolygon([shapely.box(-1, -1, 24, 24).difference(shapely.union_all(rows))]), 1.0)
    told: list[float] = []
    find_corner_legs(mesh, told.append)
    assert told == sorted(told)
    assert told[0] == 0
    assert 0 < told[-1] < 1
