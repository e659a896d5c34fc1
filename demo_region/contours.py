"""Level lines of a field on a grid, as closed rings, and their thinning to the points that matter.

Written out here rather than taken from a drawing library: the demo's files must come out the same everywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_region.plane import Grid

__all__ = ["find_rings", "ring_area_nmi2", "thin_ring"]

# Edges of a cell: 0 south, 1 east, 2 north, 3 west.
# Corners' bits: 1 south-west, 2 south-east, 4 north-east, 8 north-west.
# A stroke runs from one edge to another with the high ground on its left.
_STROKES: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((0, 3),),
    2: ((1, 0),),
    3: ((1, 3),),
    4: ((2, 1),),
    6: ((2, 0),),
    7: ((2, 3),),
    8: ((3, 2),),
    9: ((0, 2),),
    11: ((1, 2),),
    12: ((3, 1),),
    13: ((0, 1),),
    14: ((3, 0),),
}
_SADDLES: dict[int, tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]] = {  # (middle low, middle high)
    5: (((0, 3), (2, 1)), ((2, 3), (0, 1))),
    10: (((1, 0), (3, 2)), ((1, 2), (3, 0))),
}
_CLEAR_OF_NODES = 0.06  # a crossing keeps this share of an edge away from its nodes, so that no step is tiny


def find_rings(grid: Grid, field: NDArray[np.float64], level: float) -> list[NDArray[np.float64]]:
    """Find the closed lines along which a field crosses a level.

    Parameters
    ----------
    grid
        The nodes.
    field
        One value a node; the outermost nodes count as below the level, so that every line closes.
    level
        The level, in the field's unit.

    Returns
    -------
    [nmi] Rings with first point repeated last, the high ground on their left: anticlockwise round high ground,
    clockwise round a hollow. Ordered by their southernmost row, then column.
    """
    above = field - level
    above[0, :] = above[-1, :] = above[:, 0] = above[:, -1] = -1e9
    high = above > 0
    rows, columns = field.shape
    case = high[:-1, :-1] * 1 + high[:-1, 1:] * 2 + high[1:, 1:] * 4 + high[1:, :-1] * 8
    follows: dict[int, int] = {}
    upright = rows * columns  # numbers of upright edges start here; an edge has the number of its south-west node
    for i, j in np.argwhere((case > 0) & (case < 15)).tolist():
        code = int(case[i, j])
        strokes = _STROKES.get(code)
        if strokes is None:
            middle = above[i, j] + above[i, j + 1] + above[i + 1, j] + above[i + 1, j + 1]
            strokes = _SADDLES[code][int(middle > 0)]
        node = i * columns + j
        edge = (node, upright + node + 1, node + columns, upright + node)
        for begin, end in strokes:
            follows[edge[begin]] = edge[end]
    flat = above.ravel()
    rings = []
    while follows:
        first = next(iter(follows))
        chain = [first]
        here = follows.pop(first)
        while here != first:
            chain.append(here)
            here = follows.pop(here)
        edges = np.array([*chain, first])
        is_upright = edges >= upright
        node_from = np.where(is_upright, edges - upright, edges)
        node_to = node_from + np.where(is_upright, columns, 1)
        share = np.clip(flat[node_from] / (flat[node_from] - flat[node_to]), _CLEAR_OF_NODES, 1 - _CLEAR_OF_NODES)
        x = node_from % columns + np.where(is_upright, 0.0, share)
        y = node_from // columns + np.where(is_upright, share, 0.0)
        rings.append(np.column_stack([x, y]) * grid.step_nmi - grid.margin_nmi)
    return rings


def ring_area_nmi2(ring_nmi: NDArray[np.float64]) -> float:
    """Return the area inside a ring, negative where it runs clockwise.

    Parameters
    ----------
    ring_nmi
        [nmi] Points, the first repeated last.

    Returns
    -------
    [nmi2] The area.

    Examples
    --------
    >>> ring_area_nmi2(np.array([[0, 0], [2, 0], [2, 1], [0, 1], [0, 0]]))
    2.0
    """
    x, y = ring_nmi[:, 0] - ring_nmi[0, 0], ring_nmi[:, 1] - ring_nmi[0, 1]
    return float(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def thin_ring(ring_nmi: NDArray[np.float64], tolerance_nmi: float) -> NDArray[np.float64]:
    """Leave out points of a ring that lie close to the line between those that stay.

    Parameters
    ----------
    ring_nmi
        [nmi] Points, the first repeated last.
    tolerance_nmi
        [nmi] The farthest that a point left out may lie from the thinned ring.

    Returns
    -------
    [nmi] The thinned ring, the first point repeated last; never fewer than three different points.

    Notes
    -----
    The method of Douglas and Peucker (1973) on the two halves between the first point and the one farthest from it. It
    doesn't promise that neighbouring rings stay apart: the caller nodes all rings together, and the tests look.
    """
    points = ring_nmi[:-1]
    far = int(np.argmax(np.hypot(*(points - points[0]).T)))
    keep = np.zeros(len(ring_nmi), dtype=bool)
    keep[[0, far, len(ring_nmi) - 1]] = True
    todo = [(0, far), (far, len(ring_nmi) - 1)]
    while todo:
        begin, end = todo.pop()
        if end - begin < 2:
            continue
        along = ring_nmi[end] - ring_nmi[begin]
        off = ring_nmi[begin + 1 : end] - ring_nmi[begin]
        length = float(np.hypot(*along))
        away = np.abs(off[:, 0] * along[1] - off[:, 1] * along[0]) / length if length > 0 else np.hypot(*off.T)
        worst = int(np.argmax(away))
        if away[worst] > tolerance_nmi or (begin, end) == (0, far):
            middle = begin + 1 + worst
            keep[middle] = True
            todo += [(begin, middle), (middle, end)]
    thinned: NDArray[np.float64] = ring_nmi[keep]
    return thinned
