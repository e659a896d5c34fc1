"""Where one eye sees over water, as far as it has a reason to look: triangular expansion of many eyes at once.

Each eye starts with cones, each through one half-edge of the mesh. In every round all cones take one more triangle;
those that meet the water's edge, or only water beyond the eye's range, are done. What is left of each is a sector, and
the sectors of an eye lie in the order of their directions, counter-clockwise.

References
----------
Bungiu, Hemmer, Hershberger, Huang and Kröller, Efficient computation of visibility polygons, arXiv 1403.3905, 2014.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from routeplan.mesh import Corner, Mesh

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]
    Vector = tuple[float, float]

__all__ = ["Cone", "Sectors", "all_round", "all_through", "cross", "expand", "round_corner"]

Cone = tuple[int, float, float, float, float]  # half-edge, right limit, left limit as seen from the eye, in steps

_OVERLAP = 1e-5  # [rad] how far a wedge reaches into what the corner before sees: neighbours leave no crack between


@dataclass(frozen=True, eq=False)
class Sectors:
    """What many eyes see, in slices; those of one eye that touch follow one another.

    Parameters
    ----------
    eye
        Index of the eye of each sector; rising.
    right, left
        n x 2 directions of its limits.
    a, b
        n x 2 ends of the edge that closes it, as seen from the eye, in steps of the grid; the right one first.
    open
        Whether no edge closes it within the eye's range; then `a` and `b` mean nothing.
    """

    eye: Indices
    right: Points
    left: Points
    a: Points
    b: Points
    open: NDArray[np.bool_]


def round_corner(mesh: Mesh, corner: Corner, before: Vector) -> list[Cone]:
    """Cut the wedge that a shortest path may turn into at a corner: what is hidden from where it came from.

    Parameters
    ----------
    mesh
        The water.
    corner
        Where the path bends.
    before
        Position that it comes from, in steps of the grid.

    Returns
    -------
    Cones from the corner, counter-clockwise; empty where the path isn't tangent there, and so doesn't bend.

    Notes
    -----
    The wedge lies between the path straight on and the edge of the corner on the path's inner side. It is less than
    half a turn, so the sign of one cross product tells which spokes it spans.
    """
    x, y, start = mesh.x, mesh.y, mesh.start
    ox, oy = x[corner.vertex], y[corner.vertex]
    dx, dy = ox - before[0], oy - before[1]
    ahead = dx * (y[corner.following] - oy) - dy * (x[corner.following] - ox)
    behind = dx * (y[corner.preceding] - oy) - dy * (x[corner.preceding] - ox)
    if ahead > 0 > behind or ahead < 0 < behind:
        return []
    to_right = ahead < 0 or behind < 0
    turn = _OVERLAP if to_right else -_OVERLAP
    dx, dy = dx - turn * dy, dy + turn * dx
    cones: list[Cone] = []
    for spoke in corner.fan if to_right else reversed(corner.fan):
        far, right, left = _through(spoke)
        rx, ry = x[start[right]] - ox, y[start[right]] - oy
        lx, ly = x[start[left]] - ox, y[start[left]] - oy
        if to_right and dx * ly - dy * lx >= 0:
            if dx * ry - dy * rx < 0:
                cones.append((far, rx, ry, dx, dy))
            break
        if not to_right and dx * ry - dy * rx <= 0:
            if dx * ly - dy * lx > 0:
                cones.append((far, dx, dy, lx, ly))
            break
        cones.append((far, rx, ry, lx, ly))
    return cones if to_right else cones[::-1]


def all_through(mesh: Mesh, corner: Corner) -> list[Cone]:
    """Look from a corner through all of its water.

    Parameters
    ----------
    mesh
        The water.
    corner
        The eye.

    Returns
    -------
    Cones from the corner, counter-clockwise.
    """
    x, y, start = mesh.x, mesh.y, mesh.start
    ox, oy = x[corner.vertex], y[corner.vertex]
    return [
        (far, x[start[right]] - ox, y[start[right]] - oy, x[start[left]] - ox, y[start[left]] - oy)
        for far, right, left in map(_through, corner.fan)
    ]


def all_round(mesh: Mesh, eye: Vector, triangles: Iterable[int]) -> list[Cone]:
    """Look from a point of the water all round.

    Parameters
    ----------
    mesh
        The water.
    eye
        The point, in steps of the grid; no vertex of the mesh.
    triangles
        All triangles that hold it (`Mesh.locate`).

    Returns
    -------
    Cones from the point, counter-clockwise, beginning where the water begins if the point lies on its edge.
    """
    ox, oy = eye
    cones: list[Cone] = []
    for triangle in triangles:
        for half in range(3 * triangle, 3 * triangle + 3):
            following = half + 1 if half % 3 != 2 else half - 2
            rx, ry = mesh.x[mesh.start[half]] - ox, mesh.y[mesh.start[half]] - oy
            lx, ly = mesh.x[mesh.start[following]] - ox, mesh.y[mesh.start[following]] - oy
            if rx * ly - ry * lx > 0:
                cones.append((half, rx, ry, lx, ly))
    cones.sort(key=lambda cone: np.arctan2(cone[2], cone[1]))
    for i, cone in enumerate(cones):
        if cone[1:3] != cones[i - 1][3:5]:  # nothing is seen to the right of it
            return cones[i:] + cones[:i]
    return cones


def expand(
    mesh: Mesh, eyes: Points, of: Indices, cones: Points, ranges: Points, known: NDArray[np.bool_] | None = None
) -> Sectors:
    """Follow cones through the water.

    Parameters
    ----------
    mesh
        The water.
    eyes
        n x 2 positions in steps of the grid.
    of
        Index of the eye of each cone; rising.
    cones
        m x 5, where the eyes begin to look: each eye's cones counter-clockwise.
    ranges
        [steps] How far each eye has a reason to look, at the least.
    known
        Triangles that need no look: sectors that lie in none but these are left out. None for all sectors.

    Returns
    -------
    The sectors of all eyes.
    """
    start, twin = mesh.triangles.ravel(), mesh.twins
    fresh = np.ones(len(mesh.triangles), dtype=bool) if known is None else ~known
    eye, half, right, left = of, cones[:, 0].astype(np.int64), cones[:, 1:3], cones[:, 3:5]
    tells = fresh[half // 3]  # whether a cone has come through a triangle that needs a look
    done: list[tuple[Indices, Points, Points, Points, Points, NDArray[np.bool_], NDArray[np.bool_]]] = []
    rounds: list[tuple[NDArray[np.bool_], Indices]] = []  # which cones are done, and whose child each in the next is
    while len(half):
        ends = start[half], start[np.where(half % 3 != 2, half + 1, half - 2)]
        a, b = (mesh.positions[end] - eyes[eye] for end in ends)
        beyond = _is_beyond(a, b, right, left, ranges[eye])
        over = beyond | (twin[half] < 0)
        done.append((eye[over], right[over], left[over], a[over], b[over], beyond[over], tells[over]))
        on = ~over
        eye, half, right, left = eye[on], half[on], right[on], left[on]
        other = twin[half]
        tells = tells[on] | fresh[other // 3]
        onward = np.where(other % 3 != 2, other + 1, other - 2), np.where(other % 3 != 0, other - 1, other + 2)
        apex = mesh.positions[start[onward[1]]] - eyes[eye]
        to_right, to_left = cross(right, apex) > 0, cross(left, apex) < 0
        # the two children of a cone stand side by side, the right one first: so directions stay in their order
        kept = np.column_stack([to_right, to_left]).ravel()
        parent = np.repeat(np.flatnonzero(on), 2)[kept]
        half = np.column_stack(onward).ravel()[kept]
        eye, tells = np.repeat(eye, 2)[kept], np.repeat(tells, 2)[kept]
        limits = np.where(to_right[:, None], apex, right), np.where(to_left[:, None], apex, left)
        left = np.stack([limits[1], left], axis=1).reshape(-1, 2)[kept]
        right = np.stack([right, limits[0]], axis=1).reshape(-1, 2)[kept]
        rounds.append((over, parent))
    if not rounds:
        none = np.empty((0, 2))
        return Sectors(np.empty(0, dtype=np.int64), none, none, none, none, np.empty(0, dtype=bool))
    *parts, tells = (np.concatenate(column) for column in zip(*done, strict=True))
    order = np.argsort(_places(rounds), kind="stable")
    order = order[tells[order]]
    return Sectors(*(part[order] for part in parts))


def _through(spoke: int) -> tuple[int, int, int]:
    """Return the half-edge opposite a spoke's start, and the half-edges that start at its right and left end."""
    far = spoke + 1 if spoke % 3 != 2 else spoke - 2
    return far, far, spoke - 1 if spoke % 3 else spoke + 2


def cross(a: Points, b: Points) -> Points:
    """Multiply vectors crosswise.

    Parameters
    ----------
    a, b
        n x 2 each.

    Returns
    -------
    n numbers, positive where b lies to the left of a.
    """
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _is_beyond(a: Points, b: Points, right: Points, left: Points, ranges: Points) -> NDArray[np.bool_]:
    """Tell where the part of an edge between two limits lies wholly out of range."""
    along = b - a
    area = cross(a, b)
    squared = ranges**2
    line = area**2 > squared * (along**2).sum(axis=1)
    first = right * (area / cross(right, along))[:, None]
    last = left * (area / cross(left, along))[:, None]
    ends = ((first**2).sum(axis=1) > squared) & ((last**2).sum(axis=1) > squared)
    foot_between = ((first * along).sum(axis=1) < 0) & ((last * along).sum(axis=1) > 0)
    return np.asarray(line | (ends & ~foot_between))


def _places(rounds: Sequence[tuple[NDArray[np.bool_], Indices]]) -> Indices:
    """Give what is done its place in the order of directions: what came of one cone stays between its neighbours."""
    counts: list[Indices] = []
    for number in range(len(rounds) - 1, -1, -1):
        over, parent = rounds[number]
        count = over.astype(np.int64)
        if counts:
            count += np.bincount(parent, weights=counts[-1], minlength=len(over)).astype(np.int64)
        counts.append(count)
    counts.reverse()
    first = np.cumsum(counts[0]) - counts[0]
    places = [first[rounds[0][0]]]
    for number in range(1, len(rounds)):
        parent, count = rounds[number - 1][1], counts[number]
        second = np.zeros(len(parent), dtype=bool)
        second[1:] = parent[1:] == parent[:-1]
        first = first[parent]
        first[second] += count[:-1][second[1:]]
        places.append(first[rounds[number][0]])
    return np.concatenate(places)
