"""The water from which some fuel dock is still in reach: out from the start, and on to whichever dock is nearest.

From a view of the start's spread and a view of the docks' spread that overlap, a place p costs at most

    price of the one node + rate * (|node p| + |p other node|) + price of the other node,

so what the two views share, cut with an ellipse about the two nodes, is on the safe side always. Which pairs matter is
found by asking: at points spread over the water, then along the far side of the edge of what was found, until nothing
more is there. As every way out leads through nearer water, what is in reach hangs together, and nothing is missed but
what is smaller than the steps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.arcs import narrowest_scale
from routeplan.over_water import ARC_TOLERANCE_M, find_views, water_within
from routeplan.overlays import cut, unite

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from layers.plane import Plane
    from routeplan.over_water import Views
    from routeplan.spreading import Spread

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["least_price", "water_between"]

_SEEDS = 6000  # points that are asked first, about
_LEAST_APART_M = 100.0  # [m] between them
_MOST_ROUNDS = 25
_LARGEST_GAP_M2 = 25e6  # [m2] gaps that are filled at once where all of their edge is well within the budget
_EDGE_STEP_M = 50.0  # [m] between points that are asked along an edge
_OFF_M = 2.0  # [m] how far outside of it
_HAIR_STEPS = 4  # of the grid: ellipses lie so far inside their sum of distances, and rounding claims nothing beyond
_CORRECTIONS = 3


def water_between(
    out: Spread, home: Spread, goals: Views, budget: float, arc_tolerance_m: float = ARC_TOLERANCE_M
) -> shapely.MultiPolygon:
    """Draw all water that can be reached, and some goal be reached from there, within one budget.

    Parameters
    ----------
    out
        Prices from the start.
    home
        Prices from the goals, the same both ways.
    goals
        Its views, at this budget or more.
    budget
        In the prices' unit.
    arc_tolerance_m
        [m] How far the chords of arcs may lie inside them.

    Returns
    -------
    [m] A subset of the boat's navigable water, in the plane: nothing in it is dearer than the budget.
    """
    views = find_views(out, budget, arc_tolerance_m)
    if not len(views.shapes) or not len(goals.shapes):
        return shapely.MultiPolygon()
    grid_m = out.network.water.grid_m
    reached = water_within(out, budget, arc_tolerance_m)
    goals = goals.near(reached)

    def price(points: Points) -> tuple[Points, Indices, Indices]:
        price_out, view = least_price(out, views, points)
        price_home, goal = least_price(home, goals, points)
        return price_out + price_home, view, goal

    dearest, scale = 2 * float(out.price.per_nmi.max()), narrowest_scale(out.network.water.plane)
    tried: set[tuple[int, int]] = set()
    asked = np.empty(0, dtype=np.int64)
    shapes: list[shapely.Geometry] = []
    found = shapely.MultiPolygon()  # so far, near enough to see where more may be
    points = _spread_over(reached)
    for _ in range(_MOST_ROUNDS):
        dear, view, goal = price(points)
        good = dear <= budget
        pairs = sorted(set(zip(view[good].tolist(), goal[good].tolist(), strict=True)) - tried)
        if not pairs:
            break
        tried.update(pairs)
        shared = _shared(out, home, views, goals, np.array(pairs), budget, arc_tolerance_m)
        found = unite([found, *shared], grid_m)
        gaps = _sure_gaps(cut(reached, found, grid_m), price, budget, dearest, scale)
        found = unite([found, *gaps], grid_m) if gaps else found
        shapes += [*shared, *gaps]
        points = _just_outside(found, reached)
        keys = _keys(points)
        points = points[~np.isin(keys, asked)]
        asked = np.concatenate([asked, keys])
    whole = unite(shapes, grid_m)  # anew: what was united round by round has moved by a hair each time
    return unite([whole, *_sure_gaps(cut(reached, whole, grid_m), price, budget, dearest, scale)], grid_m)


def _sure_gaps(
    rest: shapely.MultiPolygon,
    price: Callable[[Points], tuple[Points, Indices, Indices]],
    budget: float,
    per_nmi: float,
    scale: float,
) -> list[shapely.Geometry]:
    """Find the gaps between pairs' shares that lie within the budget as a whole.

    From any point of a gap its edge is no further than the radius of a circle of the gap's area, and along the edge a
    point that was priced no further than the longest stretch between two of them; the price can't rise faster than both
    ways' rates together.
    """
    gaps = np.array([part for part in rest.geoms if part.area < _LARGEST_GAP_M2], dtype=object)
    if not len(gaps):
        return []
    inner, _, _ = price(shapely.get_coordinates(shapely.point_on_surface(gaps)))
    gaps, inner = gaps[inner <= budget], inner[inner <= budget]
    edges, of = shapely.get_coordinates(shapely.segmentize(gaps, _EDGE_STEP_M), return_index=True)
    if not len(gaps):
        return []
    dear, _, _ = price(edges)
    seen = np.isfinite(dear)  # a corner of the shore may lie a hair outside of all views
    blind = np.zeros(len(dear), dtype=np.int64)
    for i in range(len(dear)):
        blind[i] = 0 if seen[i] else (blind[i - 1] if i and of[i] == of[i - 1] else 0) + 1
    worst = inner.copy()
    np.maximum.at(worst, of[seen], dear[seen])
    longest = np.zeros(len(gaps))
    np.maximum.at(longest, of, 2 * blind)  # a blind stretch may go on past the ring's first point
    any_seen = np.zeros(len(gaps), dtype=bool)
    np.logical_or.at(any_seen, of, seen)
    apart_nmi = (np.sqrt(shapely.area(gaps) / np.pi) + _EDGE_STEP_M * (1 + longest)) / METRES_PER_NMI / scale
    return list(gaps[any_seen & (worst + per_nmi * apart_nmi <= budget)])


def least_price(spread: Spread, views: Views, points: Points) -> tuple[Points, Indices]:
    """Price points of the water.

    Parameters
    ----------
    spread
        Prices of the nodes.
    views
        What the nodes see.
    points
        [m] n x 2 positions in the plane.

    Returns
    -------
    The price of the way to each point, and the view that it is seen in; infinity and -1 outside of all views. It is
    never less than the least, and more than that only where two ways differ by less than the plane's own scale does.
    """
    price, best = np.full(len(points), np.inf), np.full(len(points), -1)
    view, point = shapely.STRtree(shapely.points(points)).query(views.shapes, predicate="intersects")
    network, node = spread.network, views.node[view]
    straight_m = np.hypot(*(network.nodes[node] - points[point]).T)  # close enough to choose by
    nearly = spread.away[node] + straight_m / METRES_PER_NMI * views.rate[view]
    order = np.lexsort((view, nearly, point))
    which, at = np.unique(point[order], return_index=True)
    chosen, node = view[order][at], node[order][at]
    straight_nmi = network.water.plane.lengths_nmi(network.nodes[node], points[which])
    price[which], best[which] = spread.away[node] + straight_nmi * views.rate[chosen], chosen
    return price, best


def _spread_over(area: shapely.Geometry) -> Points:
    """[m] Points all over an area."""
    west, south, east, north = area.bounds
    apart = max(np.sqrt(area.area / _SEEDS), _LEAST_APART_M)
    x, y = np.meshgrid(np.arange(west, east, apart), np.arange(south, north, apart))
    grid = np.column_stack([x.ravel(), y.ravel()])
    shapely.prepare(area)
    return np.asarray(grid[shapely.contains_xy(area, grid)])


def _just_outside(found: shapely.MultiPolygon, reached: shapely.MultiPolygon) -> Points:
    """[m] Points along the edge of what was found, on its far side: where more can be found, some of them tell."""
    rings = shapely.get_rings(shapely.get_parts(shapely.orient_polygons(found, exterior_cw=False)))
    steps, of = shapely.get_coordinates(shapely.segmentize(rings, _EDGE_STEP_M), return_index=True)
    same = of[1:] == of[:-1]
    a, b = steps[:-1][same], steps[1:][same]
    along = b - a
    length = np.hypot(along[:, 0], along[:, 1])
    far_side = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(length, 1e-9)[:, None]  # water on the left
    points = (a + b) / 2 + far_side * _OFF_M
    points = points[length > 2 * _OFF_M]
    shapely.prepare(reached)
    shapely.prepare(found)
    return np.asarray(points[shapely.contains_xy(reached, points) & ~shapely.contains_xy(found, points)])


def _keys(points: Points) -> Indices:
    """Give points in the same square of two metres the same number."""
    squares = np.rint(points / _OFF_M).astype(np.int64)
    return np.asarray(squares[:, 0] * 2**32 + squares[:, 1])


def _shared(
    out: Spread,
    home: Spread,
    views: Views,
    goals: Views,
    pairs: Indices,
    budget: float,
    arc_tolerance_m: float,
) -> list[shapely.Geometry]:
    """Cut what two views share with the ellipse that the budget leaves them."""
    plane, nodes = out.network.water.plane, out.network.nodes
    hair_m = _HAIR_STEPS * out.network.water.grid_m
    a, b = pairs[:, 0], pairs[:, 1]
    same = views.rate[a] == goals.rate[b]  # views of different water meet on the edge between at most
    a, b = a[same], b[same]
    shared = shapely.intersection(views.shapes[a], goals.shapes[b])
    sum_nmi = (budget - out.away[views.node[a]] - home.away[goals.node[b]]) / views.rate[a]
    u, v = nodes[views.node[a]], nodes[goals.node[b]]
    bounds = shapely.bounds(shared)
    corners = [bounds[:, [i, j]] for i in (0, 2) for j in (1, 3)]
    furthest = np.max([np.hypot(*(c - u).T) + np.hypot(*(c - v).T) for c in corners], axis=0)
    sure_m = sum_nmi * METRES_PER_NMI * narrowest_scale(plane)
    doubtful = np.flatnonzero(~shapely.is_empty(shared) & ~(furthest < sure_m))
    limits = _ellipses(plane, u[doubtful], v[doubtful], sum_nmi[doubtful], arc_tolerance_m, hair_m)
    shared[doubtful] = shapely.intersection(shared[doubtful], limits)
    return list(shared)


def _ellipses(
    plane: Plane, u: Points, v: Points, sum_nmi: Points, tolerance_m: float, hair_m: float
) -> NDArray[np.object_]:
    """[m] Inscribe polygons in the lines of one sum of two geodesic distances; empty where there is no such line."""
    middle, half = (u + v) / 2, (v - u) / 2
    focal = np.hypot(half[:, 0], half[:, 1])
    axis = np.where(focal[:, None] > 0, half / np.maximum(focal, 1e-9)[:, None], np.array([1.0, 0.0]))
    shapes = np.full(len(u), shapely.Polygon(), dtype=object)
    major = sum_nmi * METRES_PER_NMI / 2
    count = np.ceil(np.pi / np.arccos(1 - np.minimum(tolerance_m / np.maximum(major, 1.0), 0.05))).astype(np.int64)
    of = np.repeat(np.arange(len(u)), count)
    turn = 2 * np.pi * (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)) / count[of]
    total = sum_nmi[of] * METRES_PER_NMI
    point = middle[of]
    for _ in range(_CORRECTIONS):
        minor = np.sqrt(np.maximum((total / 2) ** 2 - focal[of] ** 2, 0.0))
        along, across = total / 2 * np.cos(turn), minor * np.sin(turn)
        point = middle[of] + axis[of] * along[:, None] + np.column_stack([-axis[of, 1], axis[of, 0]]) * across[:, None]
        length = plane.lengths_nmi(u[of], point) + plane.lengths_nmi(v[of], point)
        total = total * sum_nmi[of] / np.maximum(length, 1e-12)
    minor = np.sqrt(np.maximum(((total - hair_m) / 2) ** 2 - focal[of] ** 2, 0.0))
    along, across = (total - hair_m) / 2 * np.cos(turn), minor * np.sin(turn)
    point = middle[of] + axis[of] * along[:, None] + np.column_stack([-axis[of, 1], axis[of, 0]]) * across[:, None]
    real = np.ones(len(u), dtype=bool)
    np.logical_and.at(real, of, (total - hair_m) / 2 > focal[of])
    if real.any():
        kept = real[of]
        _, number = np.unique(of[kept], return_inverse=True)
        shapes[real] = shapely.polygons(shapely.linearrings(point[kept], indices=number))
    return shapes
