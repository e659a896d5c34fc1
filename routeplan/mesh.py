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
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Indices = NDArray[np.int64]

__all__ = ["Corner", "Corners", "Mesh", "build_mesh", "grid_m_for"]

_LARGEST = 9.0e15  # just under 2**53, above which float64 skips whole numbers


@dataclass(frozen=True)
class Corner:
    """Where the water's edge turns: one wedge of water at one vertex.

    Two islands that touch at a point share the position but not the corner, so no leg slips between them.

    Parameters
    ----------
    vertex
        Index of its position in `Mesh.positions`.
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
class Corners:
    """All corners of a mesh, in columns; see `Corner`.

    Parameters
    ----------
    vertex, following, preceding
        Indices of vertices.
    reflex
        Whether each is reflex.
    fan_first
        Where the fan of each begins in `fan`, and one more for the end of the last.
    fan
        The half-edges of all fans.
    """

    vertex: Indices
    following: Indices
    preceding: Indices
    reflex: NDArray[np.bool_]
    fan_first: Indices
    fan: Indices

    def __len__(self) -> int:
        """Count the corners."""
        return len(self.vertex)

    def __iter__(self) -> Iterator[Corner]:
        """Take out one corner after the other."""
        return (self[index] for index in range(len(self)))

    def __getitem__(self, index: int) -> Corner:
        """Take out one corner."""
        return Corner(
            int(self.vertex[index]),
            int(self.following[index]),
            int(self.preceding[index]),
            tuple(self.fan[self.fan_first[index] : self.fan_first[index + 1]].tolist()),
            bool(self.reflex[index]),
        )


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles over a polygon, as half-edges.

    Half-edge ``3 t + k`` runs from corner k to corner k + 1 of triangle t, counter-clockwise.

    Parameters
    ----------
    grid_m
        [m] One step of the grid.
    positions
        n x 2 positions of the vertices in steps.
    starts
        Vertex at which each half-edge starts; three to a triangle.
    twins
        The half-edge on the other side, or -1 at the edge of the water.
    corners
        All corners of the water's edge.
    corner_at
        Index in `corners` for each half-edge's start; -1 at a vertex inside the water.
    """

    grid_m: float
    positions: NDArray[np.float64]
    starts: Indices
    twins: Indices
    corners: Corners
    corner_at: Indices

    @cached_property
    def triangles(self) -> Indices:
        """The vertices of each triangle, counter-clockwise, m x 3."""
        return self.starts.reshape(-1, 3)

    @cached_property
    def x(self) -> list[float]:
        """The vertices' first coordinates, for loops in plain Python."""
        return list(self.positions[:, 0].tolist())

    @cached_property
    def y(self) -> list[float]:
        """The vertices' second coordinates, for loops in plain Python."""
        return list(self.positions[:, 1].tolist())

    @cached_property
    def start(self) -> list[int]:
        """The same as `starts`, for loops in plain Python."""
        return list(self.starts.tolist())

    @cached_property
    def twin(self) -> list[int]:
        """The same as `twins`, for loops in plain Python."""
        return list(self.twins.tolist())

    @cached_property
    def corner_of(self) -> list[int]:
        """The same as `corner_at`, for loops in plain Python."""
        return list(self.corner_at.tolist())

    @cached_property
    def wanted(self) -> list[bool]:
        """Whether each corner is reflex, for loops in plain Python."""
        return list(self.corners.reflex.tolist())

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
        if not len(self.starts):
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
        if outside and len(self.starts):
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
    vertex = ring.reshape(-1, 2).astype(np.int64)
    low = vertex.min(axis=0) if len(vertex) else np.zeros(2, dtype=np.int64)
    key = (vertex[:, 0] - low[0]) << 32 | (vertex[:, 1] - low[1])  # by x, then by y
    _, first, index = np.unique(key, return_index=True, return_inverse=True)
    starts = index.reshape(-1).astype(np.int64)
    positions = vertex[first].astype(np.float64)
    twins = _pair(starts)
    corners, corner_at = _find_corners(positions, starts, twins)
    return Mesh(grid_m, positions, starts, twins, corners, corner_at)


def _cross(a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64]) -> NDArray[np.float64]:
    ab, ac = b - a, c - a
    return np.asarray(ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0])


def _pair(starts: Indices) -> Indices:
    """Match the half-edges that run the same way back."""
    if not len(starts):
        return starts
    corner = starts.reshape(-1, 3)
    end = np.roll(corner, -1, axis=1).reshape(-1)
    count = int(starts.max()) + 1
    out, back = starts * count + end, end * count + starts
    order = np.argsort(out, kind="stable")
    match = order[np.minimum(np.searchsorted(out, back, sorter=order), len(order) - 1)]
    return np.where(out[match] == back, match, -1)


def _find_corners(positions: NDArray[np.float64], starts: Indices, twins: Indices) -> tuple[Corners, Indices]:
    """Walk the wedge of water at each edge vertex, from the edge ahead round to the edge behind: all at once."""
    half = np.flatnonzero(twins < 0)
    following = starts[half + np.where(half % 3 != 2, 1, -2)]
    vertex, count = starts[half], len(half)
    corner, behind = np.arange(count), np.empty(count, dtype=np.int64)
    fans: list[Indices] = []
    owners: list[Indices] = []
    while len(half):
        fans.append(half)
        owners.append(corner)
        into = half + np.where(half % 3, -1, 2)  # runs into the vertex
        behind[corner] = into
        onward = twins[into] >= 0
        half, corner = twins[into[onward]], corner[onward]
    owner = np.concatenate(owners) if owners else np.empty(0, dtype=np.int64)
    order = np.argsort(owner, kind="stable")  # within a corner the rounds stay in their order
    fan = np.concatenate(fans)[order] if fans else np.empty(0, dtype=np.int64)
    corner_at = np.full(len(starts), -1, dtype=np.int64)
    corner_at[fan] = owner[order]
    preceding = starts[behind]
    turn = _cross(positions[vertex], positions[following], positions[preceding])
    first = np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=count))]).astype(np.int64)
    return Corners(vertex, following, preceding, turn < 0, first, fan), corner_at
