"""A triangulated polygon whose every orientation test is exact.

Coordinates are whole steps of a grid (a centimetre by default), held in float64: a cross product of two differences
stays below 2**53, so its sign is never wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["Corner", "Mesh", "build_mesh", "grid_m_for"]

_LARGEST = 9.0e15  # just under 2**53, above which float64 skips whole numbers


@dataclass(frozen=True)
class Corner:
    """Where the water's edge turns: one wedge of water at one vertex.

    Two islands that touch at a point share the position but not the corner, so no leg slips between them.

    Parameters
    ----------
    vertex
        Index of its position in `Mesh.x` and `Mesh.y`.
    following, preceding
        Indices of the next and previous vertex along the edge, the water on the left.
    fan
        Half-edges that leave the vertex, counter-clockwise through the wedge.
    reflex
        Whether the water spans more than half a turn here: only such corners bend a shortest path.
    """

    vertex: int
    following: int
    preceding: int
    fan: tuple[int, ...]
    reflex: bool


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles over a polygon, as half-edges.

    Half-edge ``3 t + k`` runs from corner k to corner k + 1 of triangle t, counter-clockwise.

    Parameters
    ----------
    grid_m
        [m] One step of the grid.
    x, y
        Positions of the vertices in steps.
    start
        Vertex at which each half-edge starts; three to a triangle.
    twin
        The half-edge on the other side, or -1 at the edge of the water.
    corners
        All corners of the water's edge.
    corner_of
        Index in `corners` for each half-edge's start.
    """

    grid_m: float
    x: list[float]
    y: list[float]
    start: list[int]
    twin: list[int]
    corners: tuple[Corner, ...]
    corner_of: list[int]

    @cached_property
    def positions(self) -> NDArray[np.float64]:
        """The vertices, n x 2."""
        return np.column_stack([np.asarray(self.x, dtype=float), np.asarray(self.y, dtype=float)]).reshape(-1, 2)

    @cached_property
    def triangles(self) -> NDArray[np.int64]:
        """The vertices of each triangle, counter-clockwise, m x 3."""
        return np.asarray(self.start, dtype=np.int64).reshape(-1, 3)

    @cached_property
    def twins(self) -> NDArray[np.int64]:
        """As `twin`."""
        return np.asarray(self.twin, dtype=np.int64)

    @cached_property
    def _tree(self) -> shapely.STRtree:
        return shapely.STRtree(shapely.polygons(self.positions[self.triangles]))

    def locate(self, xy: NDArray[np.float64]) -> list[tuple[int, ...]]:
        """Find the triangles that hold points.

        Parameters
        ----------
        xy
            n x 2, in steps of the grid.

        Returns
        -------
        For each point all triangles it lies in or on; empty where it lies outside.
        """
        if not self.start:
            return [() for _ in xy]
        ring = self.positions[self.triangles]
        point, triangle = self._tree.query(shapely.points(xy), predicate=None)
        a, b, c = ring[triangle, 0], ring[triangle, 1], ring[triangle, 2]
        p = xy[point]
        inside = (_cross(a, b, p) >= 0) & (_cross(b, c, p) >= 0) & (_cross(c, a, p) >= 0)
        held: list[list[int]] = [[] for _ in xy]
        for i, t in zip(point[inside].tolist(), triangle[inside].tolist(), strict=True):
            held[i].append(t)
        return [tuple(sorted(h)) for h in held]

    def locate_near(self, xy: NDArray[np.float64], within: float) -> list[tuple[int, ...]]:
        """Find the triangles that hold points, and for those outside the nearest triangle, if it is near.

        Parameters
        ----------
        xy
            n x 2, in steps of the grid.
        within
            [steps] How far outside a point may lie.

        Returns
        -------
        As `locate`.
        """
        held = self.locate(xy)
        outside = [i for i, triangles in enumerate(held) if not triangles]
        if outside and self.start:
            found, near = self._tree.query_nearest(shapely.points(xy[outside]), max_distance=within, all_matches=False)
            for i, triangle in zip(found.tolist(), near.tolist(), strict=True):
                held[outside[i]] = (triangle,)
        return held


def grid_m_for(width_m: float) -> float:
    """[m] The finest decimal grid on which cross products over this width are exact.

    Parameters
    ----------
    width_m
        [m] Largest difference between two coordinates.

    Returns
    -------
    A power of ten, a centimetre at the least.
    """
    grid = 0.01
    while 2 * (width_m / grid + 1) ** 2 > _LARGEST:
        grid *= 10
    return grid


def build_mesh(water: shapely.Polygon | shapely.MultiPolygon, grid_m: float) -> Mesh:
    """Triangulate water.

    Parameters
    ----------
    water
        [m] Valid polygon whose coordinates are whole steps of the grid (`shapely.set_precision`).
    grid_m
        [m] The step.

    Returns
    -------
    The mesh; an empty one for empty water.
    """
    parts = shapely.get_parts(water)
    triangles = shapely.get_parts(shapely.get_parts(shapely.constrained_delaunay_triangles(parts)))
    ring = np.rint(shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3] / grid_m)
    turn = _cross(ring[:, 0], ring[:, 1], ring[:, 2])
    ring = ring[turn != 0]
    clockwise = turn[turn != 0] < 0
    ring[clockwise] = ring[clockwise][:, ::-1]
    position, index = np.unique(ring.reshape(-1, 2), axis=0, return_inverse=True)
    start = index.reshape(-1)
    twin = _pair(start)
    x, y = position[:, 0].tolist(), position[:, 1].tolist()
    corners, corner_of = _find_corners(x, y, start.tolist(), twin)
    return Mesh(grid_m, x, y, start.tolist(), twin, corners, corner_of)


def _cross(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    ab, ac = b - a, c - a
    return np.asarray(ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0])


def _pair(start: NDArray[np.int64]) -> list[int]:
    """Match the half-edges that run the same way back."""
    corner = start.reshape(-1, 3)
    end = np.roll(corner, -1, axis=1).reshape(-1)
    count = int(start.max(initial=0)) + 1
    out, back = start * count + end, end * count + start
    order = np.argsort(out, kind="stable")
    at = np.searchsorted(out[order], back)
    found = np.minimum(at, len(order) - 1) if len(order) else at
    match = order[found] if len(order) else found
    return np.where(out[match] == back, match, -1).tolist() if len(order) else []


def _find_corners(
    x: Sequence[float], y: Sequence[float], start: Sequence[int], twin: Sequence[int]
) -> tuple[tuple[Corner, ...], list[int]]:
    """Walk the wedge of water at each edge vertex, from the edge ahead round to the edge behind."""
    corners: list[Corner] = []
    corner_of = [-1] * len(start)
    for first, other in enumerate(twin):
        if other != -1:
            continue
        vertex = start[first]
        fan = [first]
        while True:
            half = fan[-1]
            corner_of[half] = len(corners)
            behind = half - 1 if half % 3 else half + 2  # runs into the vertex
            if twin[behind] == -1:
                break
            fan.append(twin[behind])
        following = start[first + 1 if first % 3 != 2 else first - 2]
        preceding = start[behind]
        ox, oy = x[vertex], y[vertex]
        turn = (x[following] - ox) * (y[preceding] - oy) - (y[following] - oy) * (x[preceding] - ox)
        corners.append(Corner(vertex, following, preceding, tuple(fan), turn < 0))
    return tuple(corners), corner_of
