"""What can be seen over water: the legs between corners, and from points to corners and to one another.

From a corner or a point the walk goes from triangle to triangle inside a cone whose two limits are vertices, narrowing
as it goes (`routeplan.looking`). All tests are signs of exact cross products (see `routeplan.mesh`), so a leg that
grazes a corner is seen and one that misses it by a centimetre is not.

References
----------
Bungiu, Hemmer, Hershberger, Huang and Kröller, Efficient computation of visibility polygons, arXiv 1403.3905, 2014.
Oh and Leong, Edge N-level sparse visibility graphs, arXiv 1702.01524, 2017: tangency at both ends keeps shortest paths.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan.looking import look_over
from routeplan.wedges import cross

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from routeplan.mesh import Mesh

    Indices = NDArray[np.int64]
    Points = NDArray[np.float64]
    Progress = Callable[[float], None]

__all__ = ["find_corner_legs", "find_point_legs"]

_AT_ONCE = 512  # corners looked from at once, between two words on progress: 40 ms in plain Python
_MOST_WORDS = 100  # on progress: looking takes room for every corner each time


def find_corner_legs(mesh: Mesh, progress: Progress | None = None) -> Indices:
    """Find every leg between two reflex corners that is tangent to the water's edge at both ends.

    Parameters
    ----------
    mesh
        The water.
    progress
        Called now and then with the share of corners that are done.

    Returns
    -------
    n x 2 pairs of corners, each once, the smaller index first, rising.

    Notes
    -----
    From a reflex corner only two cones can hold tangent legs, each bounded by one edge and the other edge's extension;
    the walk starts inside them, which is what makes it quick on a coast of many nearly straight corners.
    """
    corners = mesh.corners
    reflex = np.flatnonzero(corners.reflex)
    found = []
    at_once = max(_AT_ONCE, len(reflex) // _MOST_WORDS)
    for begin in range(0, len(reflex), at_once):
        if progress is not None:
            progress(begin / len(reflex))
        looking = reflex[begin : begin + at_once]
        owner, spokes = _fans(mesh, looking)
        eyes = mesh.positions[corners.vertex[looking]]
        eye_of, halves, cones = _tangent_cones(mesh, looking, owner, spokes)
        seen, _ = look_over(mesh, eyes, eye_of, halves, cones, eyes_in_all=len(reflex))
        pairs = np.vstack([seen, _spoke_ends(mesh, owner, spokes)])
        pairs[:, 0] = looking[pairs[:, 0]]
        pairs = _each_once(pairs[pairs[:, 1] > pairs[:, 0]])
        a, b = pairs.T
        at = mesh.positions[corners.vertex]
        found.append(pairs[_is_tangent(mesh, at[b], a) & _is_tangent(mesh, at[a], b)])
    return np.vstack([np.empty((0, 2), dtype=np.int64), *found])


def find_point_legs(
    mesh: Mesh, points: Points, triangles: Sequence[Sequence[int]], first: int = 0
) -> tuple[Indices, Indices]:
    """Find the legs from points of the water.

    Parameters
    ----------
    mesh
        The water.
    points
        [steps] n x 2 positions.
    triangles
        For each point all triangles that hold it (`Mesh.locate`).
    first
        Index of the first point to look from; to those before it and after it is looked all the same.

    Returns
    -------
    Pairs of a point and a reflex corner at which the leg is tangent, and of two points that see one another, the eye
    first (no point sees itself); each n x 2, rising.
    """
    holder = np.repeat(np.arange(len(points)), [len(t) for t in triangles])
    triangle = np.fromiter((t for holders in triangles for t in holders), dtype=np.int64, count=len(holder))
    by_triangle = np.argsort(triangle, kind="stable")
    held = holder[by_triangle]
    held_first = np.searchsorted(triangle[by_triangle], np.arange(len(mesh.starts) // 3 + 1))
    eye, own = holder[holder >= first] - first, triangle[holder >= first]
    eyes = points[first:]
    halves = (3 * own[:, None] + np.arange(3)).ravel()
    eye_of = np.repeat(eye, 3)
    right = mesh.positions[mesh.starts[halves]] - eyes[eye_of]
    left = mesh.positions[mesh.starts[_following(halves)]] - eyes[eye_of]
    through = cross(right, left) > 0  # an eye on the edge looks through it from the neighbour, which holds it too
    cones = np.hstack([right, left])[through]
    placed = held_first, held, points
    seen_corners, seen_points = look_over(
        mesh, eyes, eye_of[through], halves[through], cones, placed, eyes_in_all=len(eyes)
    )
    near = mesh.corner_at[halves]
    is_corner = near >= 0
    is_corner[is_corner] = mesh.corners.reflex[near[is_corner]]
    corners = np.vstack([seen_corners, np.column_stack([eye_of, near])[is_corner]])
    count = held_first[own + 1] - held_first[own]
    start = np.repeat(held_first[own] - np.cumsum(count) + count, count)
    beside = np.column_stack([np.repeat(eye, count), held[start + np.arange(len(start))]])
    others = np.vstack([seen_points, beside])
    corners[:, 0] += first
    others[:, 0] += first
    corners = _each_once(corners)
    others = _each_once(others[others[:, 0] != others[:, 1]])
    return corners[_is_tangent(mesh, points[corners[:, 0]], corners[:, 1])], others


def _fans(mesh: Mesh, looking: Indices) -> tuple[Indices, Indices]:
    """List the spokes around corners, and whose each is, by its place in `looking`."""
    first, end = mesh.corners.fan_first[looking], mesh.corners.fan_first[looking + 1]
    count = end - first
    owner = np.repeat(np.arange(len(looking)), count)
    place = np.repeat(first - np.cumsum(count) + count, count) + np.arange(len(owner))
    return owner, mesh.corners.fan[place]


def _tangent_cones(mesh: Mesh, looking: Indices, owner: Indices, spokes: Indices) -> tuple[Indices, Indices, Points]:
    """Cut the two tangent wedges of reflex corners along the triangles around them.

    Counting angles from the edge ahead, the water spans (0, t) with t over 180 degrees. The wedges are [0, t - 180]
    and [180, t]; in that range one cross product tells before from behind.
    """
    corners, positions = mesh.corners, mesh.positions
    eye = positions[corners.vertex[looking]][owner]
    ahead = positions[corners.following[looking]][owner] - eye
    behind = positions[corners.preceding[looking]][owner] - eye
    far = _following(spokes)
    right = positions[mesh.starts[far]] - eye
    left = positions[mesh.starts[_preceding(spokes)]] - eye
    before = cross(behind, right) > 0  # the right limit lies before the extension of the edge behind
    cut = cross(behind, left) < 0
    first = np.hstack([right, np.where(cut[:, None], -behind, left)])
    after = cross(ahead, left) < 0  # the left limit lies past the extension of the edge ahead
    cut = cross(ahead, right) > 0
    last = np.hstack([np.where(cut[:, None], -ahead, right), left])
    eye_of = np.concatenate([owner[before], owner[after]])
    order = np.argsort(eye_of, kind="stable")
    halves = np.concatenate([far[before], far[after]])[order]
    return eye_of[order], halves, np.vstack([first[before], last[after]])[order]


def _spoke_ends(mesh: Mesh, owner: Indices, spokes: Indices) -> Indices:
    """Pair corners with the reflex corners at the other ends of the edges that leave them."""
    ends = np.concatenate([mesh.corner_at[_following(spokes)], mesh.corner_at[_preceding(spokes)]])
    owners = np.concatenate([owner, owner])
    is_corner = ends >= 0
    is_corner[is_corner] = mesh.corners.reflex[ends[is_corner]]
    return np.column_stack([owners, ends])[is_corner]


def _each_once(pairs: Indices) -> Indices:
    """Drop what stands there twice, and order the rest: by one number a pair, for rows take ten times as long."""
    count = int(pairs.max(initial=0)) + 1
    key = np.unique(pairs[:, 0] * count + pairs[:, 1])
    return np.column_stack([key // count, key % count])


def _is_tangent(mesh: Mesh, eyes: Points, corner: Indices) -> NDArray[np.bool_]:
    """Tell whether the lines from eyes leave both edges of their corners on one side."""
    at = mesh.positions[mesh.corners.vertex[corner]]
    along = eyes - at
    ahead = cross(along, mesh.positions[mesh.corners.following[corner]] - at)
    behind = cross(along, mesh.positions[mesh.corners.preceding[corner]] - at)
    return ~(((ahead > 0) & (behind < 0)) | ((ahead < 0) & (behind > 0)))


def _following(halves: Indices) -> Indices:
    return np.asarray(np.where(halves % 3 != 2, halves + 1, halves - 2))


def _preceding(halves: Indices) -> Indices:
    return np.asarray(np.where(halves % 3 != 0, halves - 1, halves + 2))
