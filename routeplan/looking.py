"""The loop that all sight comes down to: from triangle to triangle inside a cone, narrowing as it goes.

It is written for plain Python and for numba alike: the extra ``fast`` compiles the very same lines. All tests are signs
of exact cross products (see `routeplan.mesh`), so both give the same answers to the last leg.
"""

from __future__ import annotations

import importlib
import importlib.util
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from routeplan.mesh import Mesh

    Indices = NDArray[np.int64]
    Points = NDArray[np.float64]
    Placed = tuple[Indices, Indices, Points]  # where those of each triangle begin, points by triangle, positions

__all__ = ["compiled_look", "is_worth_compiling", "look", "look_over"]

_WORTH_COMPILING = 12_000  # eyes: with fewer, plain Python is done before numba is loaded (0.8 s)


def look(  # noqa: C901, PLR0912, PLR0915  one loop without calls is what numba and plain Python both do best
    eyes: Any,
    cone_first: Any,
    cone_half: Any,
    cones: Any,
    x: Any,
    y: Any,
    start: Any,
    twin: Any,
    corner_at: Any,
    wanted: Any,
    held_first: Any,
    held: Any,
    points: Any,
    seen_corner: Any,
    seen_point: Any,
) -> Any:
    """Walk every cone of many eyes.

    Parameters
    ----------
    eyes
        [steps] n pairs x, y.
    cone_first
        n + 1 places in `cone_half`: where the cones of each eye begin, and where the last one's end.
    cone_half
        The half-edge that each cone looks through; its start is on the right.
    cones
        The right and the left limit of each, x, y, x, y, as seen from the eye.
    x, y, start, twin, corner_at
        The mesh.
    wanted
        Whether each corner counts.
    held_first, held
        Points by triangle: where those of each begin in `held`; empty where there are none.
    points
        [steps] Pairs x, y.
    seen_corner, seen_point
        Room for one number a corner and a point, -1 at first; written to.

    Returns
    -------
    Four lists: eyes and the corners that they see, eyes and the points that they see.
    """
    corner_eyes, corners, point_eyes, seen = [0], [0], [0], [0]
    corner_eyes.pop()
    corners.pop()
    point_eyes.pop()
    seen.pop()
    stack = [(0, 0.0, 0.0, 0.0, 0.0)]
    stack.pop()
    any_held = len(held) > 0
    for eye in range(len(cone_first) - 1):
        ox = eyes[eye][0]
        oy = eyes[eye][1]
        for cone in range(cone_first[eye], cone_first[eye + 1]):
            limits = cones[cone]
            stack.append((cone_half[cone], limits[0], limits[1], limits[2], limits[3]))
            while len(stack) > 0:
                half, rx, ry, lx, ly = stack.pop()
                other = twin[half]
                if other < 0:
                    continue
                k = other % 3
                right = other + 1 if k != 2 else other - 2  # from the right end to the apex
                left = other - 1 if k != 0 else other + 2  # from the apex to the left end
                if any_held:
                    triangle = other // 3
                    for i in range(held_first[triangle], held_first[triangle + 1]):
                        point = held[i]
                        px = points[point][0] - ox
                        py = points[point][1] - oy
                        inside = rx * py - ry * px >= 0 and lx * py - ly * px <= 0
                        if inside and seen_point[point] != eye:
                            seen_point[point] = eye
                            point_eyes.append(eye)
                            seen.append(point)
                apex = start[left]
                ax = x[apex] - ox
                ay = y[apex] - oy
                from_right = rx * ay - ry * ax
                from_left = lx * ay - ly * ax
                if from_right >= 0 and from_left <= 0:
                    corner = corner_at[left]
                    if corner >= 0 and wanted[corner] and seen_corner[corner] != eye:
                        seen_corner[corner] = eye
                        corner_eyes.append(eye)
                        corners.append(corner)
                if from_right > 0:
                    if from_left < 0:
                        stack.append((right, rx, ry, ax, ay))
                    else:
                        stack.append((right, rx, ry, lx, ly))
                if from_left < 0:
                    if from_right > 0:
                        stack.append((left, ax, ay, lx, ly))
                    else:
                        stack.append((left, rx, ry, lx, ly))
    return corner_eyes, corners, point_eyes, seen


@cache
def compiled_look() -> Callable[..., Any] | None:
    """Compile the loop, or take it from numba's cache.

    Returns
    -------
    The same as `look`, for arrays; None where numba, the extra ``fast``, isn't installed.
    """
    if importlib.util.find_spec("numba") is None:
        return None
    numba: Any = importlib.import_module("numba")

    def array(kind: Any, dimensions: int = 1, layout: str = "C", *, written: bool = False) -> Any:
        return numba.types.Array(kind, dimensions, layout, readonly=not written)  # mapped from disk: read only

    whole, real = numba.int64, numba.float64
    signature = (
        array(real, 2, "A"), array(whole), array(whole), array(real, 2, "A"), array(real, layout="A"),
        array(real, layout="A"), array(whole), array(whole), array(whole), array(numba.boolean), array(whole),
        array(whole), array(real, 2, "A"), array(whole, written=True), array(whole, written=True),
    )  # fmt: skip
    try:
        return numba.njit(signature, cache=True)(look)  # type: ignore[no-any-return]
    except RuntimeError:  # nowhere to keep it
        return numba.njit(signature)(look)  # type: ignore[no-any-return]


def is_worth_compiling(eyes: int) -> bool:
    """Tell whether so many eyes look by compiled code.

    Parameters
    ----------
    eyes
        How many will have looked in the end.

    Returns
    -------
    False for few, and where numba isn't installed.
    """
    return eyes >= _WORTH_COMPILING and importlib.util.find_spec("numba") is not None


def look_over(
    mesh: Mesh,
    eyes: Points,
    eye_of: Indices,
    halves: Indices,
    cones: Points,
    placed: Placed | None = None,
    *,
    eyes_in_all: int,
) -> tuple[Indices, Indices]:
    """Look from many eyes through cones.

    Parameters
    ----------
    mesh
        The water.
    eyes
        [steps] n x 2 positions.
    eye_of
        Index of the eye of each cone; rising.
    halves
        The half-edge that each cone looks through.
    cones
        k x 4: right and left limit of each, as seen from its eye.
    placed
        Points to look for; None for none.
    eyes_in_all
        How many eyes will have looked in the end: for few it isn't worth loading numba.

    Returns
    -------
    Pairs n x 2 of eyes and the reflex corners they see, and of eyes and the points they see; each once.
    """
    first = np.searchsorted(eye_of, np.arange(len(eyes) + 1))
    none = np.empty(0, dtype=np.int64)
    held_first, held, points = (none, none, np.empty((0, 2))) if placed is None else placed
    compiled = compiled_look() if is_worth_compiling(eyes_in_all) else None
    room = np.full(len(mesh.corners), -1), np.full(len(points), -1)
    if compiled is not None:
        found = compiled(
            eyes, first, halves, cones, mesh.positions[:, 0], mesh.positions[:, 1], mesh.starts, mesh.twins,
            mesh.corner_at, mesh.corners.reflex, held_first, held, points, *room,
        )  # fmt: skip
    else:
        found = look(
            eyes.tolist(), first.tolist(), halves.tolist(), cones.tolist(), mesh.x, mesh.y, mesh.start, mesh.twin,
            mesh.corner_of, mesh.wanted, held_first.tolist(), held.tolist(), points.tolist(),
            *(r.tolist() for r in room),
        )  # fmt: skip
    by_corner, corner, by_point, point = (np.array(column, dtype=np.int64) for column in found)
    return np.column_stack([by_corner, corner]), np.column_stack([by_point, point])
