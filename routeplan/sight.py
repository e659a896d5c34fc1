"""What can be seen over water: triangular expansion.

From a corner or a point the walk goes from triangle to triangle inside a cone whose two limits are vertices, narrowing
as it goes. All tests are signs of exact cross products (see `routeplan.mesh`), so a leg that grazes a corner is seen
and one that misses it by a centimetre is not.

References
----------
Bungiu, Hemmer, Hershberger, Huang and Kröller, Efficient computation of visibility polygons, arXiv 1403.3905, 2014.
Oh and Leong, Edge N-level sparse visibility graphs, arXiv 1702.01524, 2017: tangency at both ends keeps shortest paths.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from routeplan.mesh import Corner, Mesh

    Progress = Callable[[float], None]
    Cone = tuple[float, float, float, float]  # right limit, left limit, as seen from the eye
    Held = dict[int, list[int]]  # points in each triangle

__all__ = ["Sight", "find_corner_legs", "find_point_legs", "place_points"]

_REPORT_EVERY = 256  # corners between two words on progress


@dataclass(frozen=True)
class Sight:
    """Corners and points that one eye sees; filled in place by the walk.

    Parameters
    ----------
    corners
        Indices into `Mesh.corners`, tangent or not.
    points
        Indices of the points that were placed in the mesh.
    """

    corners: set[int] = field(default_factory=set)
    points: set[int] = field(default_factory=set)


def place_points(triangles: Sequence[Sequence[int]]) -> Held:
    """Sort points by the triangles that hold them.

    Parameters
    ----------
    triangles
        For each point the triangles from `Mesh.locate`.

    Returns
    -------
    Indices of points for each triangle that holds any.
    """
    held: Held = {}
    for point, holders in enumerate(triangles):
        for triangle in holders:
            held.setdefault(triangle, []).append(point)
    return held


def find_corner_legs(mesh: Mesh, progress: Progress | None = None) -> list[tuple[int, int]]:
    """Find every leg between two reflex corners that is tangent to the water's edge at both ends.

    Parameters
    ----------
    mesh
        The water.
    progress
        Called now and then with the share of corners that are done.

    Returns
    -------
    Pairs of corners, the smaller index first, in no order.

    Notes
    -----
    From a reflex corner only two cones can hold tangent legs, each bounded by one edge and the other edge's extension;
    the walk starts inside them, which is what makes it quick on a coast of many nearly straight corners.
    """
    legs: list[tuple[int, int]] = []
    corners = mesh.corners
    for index, corner in enumerate(corners):
        if progress is not None and index % _REPORT_EVERY == 0:
            progress(index / len(corners))
        if not corner.reflex:
            continue
        sight = Sight()
        for half, cone in _tangent_cones(mesh, corner):
            _walk(mesh, (mesh.x[corner.vertex], mesh.y[corner.vertex]), half, cone, {}, (), sight)
        _add_spokes(mesh, corner, sight)
        legs.extend(
            (index, other)
            for other in sight.corners
            if other > index and _is_tangent(mesh, corner, other) and _is_tangent(mesh, corners[other], index)
        )
    return legs


def find_point_legs(
    mesh: Mesh,
    eye: tuple[float, float],
    triangles: Iterable[int],
    held: Held,
    points: Sequence[tuple[float, float]],
) -> tuple[list[int], list[int]]:
    """Find the legs from one point of the water.

    Parameters
    ----------
    mesh
        The water.
    eye
        The point, in steps of the grid.
    triangles
        All triangles that hold it (`Mesh.locate`).
    held
        The other points by triangle (`place_points`).
    points
        Positions of all points in steps of the grid.

    Returns
    -------
    Reflex corners at which the leg is tangent, and points (the eye itself among them if it was placed); both sorted.
    """
    sight = Sight()
    ox, oy = eye
    for triangle in triangles:
        sight.points.update(held.get(triangle, ()))
        for half in range(3 * triangle, 3 * triangle + 3):
            following = half + 1 if half % 3 != 2 else half - 2
            sight.corners.add(mesh.corner_of[half])
            rx, ry = mesh.x[mesh.start[half]] - ox, mesh.y[mesh.start[half]] - oy
            lx, ly = mesh.x[mesh.start[following]] - ox, mesh.y[mesh.start[following]] - oy
            if rx * ly - ry * lx > 0:  # an eye on the edge looks through it from the neighbour, which holds it too
                _walk(mesh, eye, half, (rx, ry, lx, ly), held, points, sight)
    tangent = [c for c in sight.corners if mesh.corners[c].reflex and _is_tangent_from(mesh, eye, mesh.corners[c])]
    return sorted(tangent), sorted(sight.points)


def _walk(
    mesh: Mesh,
    eye: tuple[float, float],
    first: int,
    cone: Cone,
    held: Held,
    points: Sequence[tuple[float, float]],
    sight: Sight,
) -> None:
    """Collect what is seen through one half-edge, whose start is on the right."""
    x, y, start, twin, corner_of = mesh.x, mesh.y, mesh.start, mesh.twin, mesh.corner_of
    ox, oy = eye
    seen = sight.corners.add
    stack = [(first, *cone)]
    while stack:
        half, rx, ry, lx, ly = stack.pop()
        other = twin[half]
        if other < 0:
            continue
        k = other % 3
        right = other + 1 if k != 2 else other - 2  # from the right end to the apex
        left = other - 1 if k else other + 2  # from the apex to the left end
        if held and other // 3 in held:
            for point in held[other // 3]:
                px, py = points[point]
                px -= ox
                py -= oy
                if rx * py - ry * px >= 0 and lx * py - ly * px <= 0:
                    sight.points.add(point)
        apex = start[left]
        ax, ay = x[apex] - ox, y[apex] - oy
        from_right = rx * ay - ry * ax
        from_left = lx * ay - ly * ax
        if from_right >= 0 and from_left <= 0:
            seen(corner_of[left])
        if from_right > 0:
            stack.append((right, rx, ry, ax, ay) if from_left < 0 else (right, rx, ry, lx, ly))
        if from_left < 0:
            stack.append((left, ax, ay, lx, ly) if from_right > 0 else (left, rx, ry, lx, ly))


def _tangent_cones(mesh: Mesh, corner: Corner) -> list[tuple[int, Cone]]:
    """Cut the two tangent wedges of a reflex corner along the triangles around it.

    Counting angles from the edge ahead, the water spans (0, t) with t over 180 degrees. The wedges are [0, t - 180]
    and [180, t]; in that range one cross product tells before from behind.
    """
    x, y, start = mesh.x, mesh.y, mesh.start
    ox, oy = x[corner.vertex], y[corner.vertex]
    nx, ny = x[corner.following] - ox, y[corner.following] - oy
    px, py = x[corner.preceding] - ox, y[corner.preceding] - oy
    cones: list[tuple[int, Cone]] = []
    for spoke in corner.fan:
        k = spoke % 3
        far = spoke + 1 if k != 2 else spoke - 2
        end = spoke - 1 if k else spoke + 2
        rx, ry = x[start[far]] - ox, y[start[far]] - oy
        lx, ly = x[start[end]] - ox, y[start[end]] - oy
        if ry * px - rx * py > 0:  # the right limit lies before the extension of the edge behind
            limit = (-px, -py) if ly * px - lx * py < 0 else (lx, ly)
            cones.append((far, (rx, ry, *limit)))
        if ny * lx - nx * ly > 0:  # the left limit lies past the extension of the edge ahead
            limit = (-nx, -ny) if ny * rx - nx * ry < 0 else (rx, ry)
            cones.append((far, (*limit, lx, ly)))
    return cones


def _add_spokes(mesh: Mesh, corner: Corner, sight: Sight) -> None:
    for spoke in corner.fan:
        sight.corners.add(mesh.corner_of[spoke + 1 if spoke % 3 != 2 else spoke - 2])
    last = corner.fan[-1]
    sight.corners.add(mesh.corner_of[last - 1 if last % 3 else last + 2])


def _is_tangent(mesh: Mesh, corner: Corner, other: int) -> bool:
    far = mesh.corners[other]
    if not (corner.reflex and far.reflex):
        return False
    return _is_tangent_from(mesh, (mesh.x[far.vertex], mesh.y[far.vertex]), corner)


def _is_tangent_from(mesh: Mesh, eye: tuple[float, float], corner: Corner) -> bool:
    """Tell whether the line from the eye leaves both edges of the corner on one side."""
    ox, oy = mesh.x[corner.vertex], mesh.y[corner.vertex]
    dx, dy = eye[0] - ox, eye[1] - oy
    ahead = dx * (mesh.y[corner.following] - oy) - dy * (mesh.x[corner.following] - ox)
    behind = dx * (mesh.y[corner.preceding] - oy) - dy * (mesh.x[corner.preceding] - ox)
    return not (ahead > 0 > behind or ahead < 0 < behind)
