"""Water drawn back from what closes it: the stand-off, wider where asked for and where there is room."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from routeplan.necks import find_necks
from routeplan.overlays import polygons_of, union_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.necks import Neck

__all__ = ["ROUND_SEGMENTS", "Poor", "circumscribed", "draw_back", "with_narrows"]

_SIMPLIFY_SHARE = 0.1  # of the stand-off: the most that the edge may end up nearer than it
_LOOSE = 1.05  # of what the wider stand-off adds: so wide is the fringe along an open shore
_FAR_IN = 2.0  # of it: what lies further from wide water is more than the corner of a bay
_ROUND = 3.0  # of two fringes: a way round that is no longer is no reason to go through narrows
_DRAWN_OUT = 1.2  # of it: so far out, narrows meet the wide water again
_OVER_THE_EDGE_M = 1.0  # [m] how far the narrows' slow water reaches over the edge of navigable water
_ARC_SEGMENTS = 4  # per quarter turn of the stand-off: few, for few corners
ROUND_SEGMENTS = 16  # per quarter turn of what has to be nearer to round


@dataclass(frozen=True)
class Poor:
    """Poorly surveyed water.

    Parameters
    ----------
    shapes
        [m] Its pieces in the plane.
    standoff_m
        [m] The stand-off asked for in it; None for the ordinary one.
    """

    shapes: Any
    standoff_m: float | None


def draw_back(
    opened: shapely.MultiPolygon, box: shapely.Polygon, standoff_m: float, poor: Poor, grid_m: float
) -> shapely.MultiPolygon:
    """Keep the stand-off, with few corners, on the grid.

    Parameters
    ----------
    opened
        [m] Water that isn't closed.
    box
        [m] The extent; what lies outside is closed.
    standoff_m
        [m] Distance kept from everything that closes the water; nine tenths of it at the least are left.
    poor
        Poorly surveyed water, in which it may be more.
    grid_m
        [m] Step of the grid that the result lies on.

    Returns
    -------
    [m] Navigable water.
    """
    slack = standoff_m * _SIMPLIFY_SHARE
    shut = shapely.get_parts(polygons_of(box.difference(opened)))
    kept = _eroded(box, shut, circumscribed(standoff_m, _ARC_SEGMENTS), _ARC_SEGMENTS)
    wide_m = poor.standoff_m if poor.standoff_m is not None and poor.standoff_m > standoff_m else 0.0
    wider = bool(wide_m and len(poor.shapes))
    if wider:
        where = shapely.union_all(poor.shapes)
        wide_m = circumscribed(wide_m, ROUND_SEGMENTS)
        kept = kept.difference(where.difference(_eroded(box, shut, wide_m, ROUND_SEGMENTS)))
    simple = _simplified(kept, 0.9 * slack)
    if wider or not _keeps_out(simple, opened):
        limit = _eroded(box, shut, standoff_m - slack, ROUND_SEGMENTS)
        if wider:
            limit = limit.difference(where.difference(_eroded(box, shut, wide_m - slack, ROUND_SEGMENTS)))
        if not (simple.is_valid and limit.covers(simple)):  # simplifying bulged out, or joined two sides of a neck
            simple = shapely.make_valid(simple).intersection(limit)
    return polygons_of(shapely.set_precision(simple, grid_m))


def with_narrows(  # what it is, and where it is wanted
    wide: shapely.MultiPolygon,
    ordinary: shapely.MultiPolygon,
    box: shapely.Polygon,
    places: Any,
    apart_m: float,
    snap_m: float,
    grid_m: float,
) -> tuple[shapely.MultiPolygon, shapely.MultiPolygon]:
    """Keep the wider stand-off where there is room for it, and the ordinary one in the narrows.

    Narrows are the pieces beyond the fringe of the wide water that lead through, reach far in or hold a place, drawn
    out to where they meet it again; and gaps so short that its fringe fills them. Never beyond the ordinary stand-off.

    Parameters
    ----------
    wide, ordinary
        [m] Water drawn back by the one stand-off and the other.
    box
        [m] The extent.
    places
        [m] n x 2 docks and waypoints, which have to be got to.
    apart_m
        [m] By how much the stand-offs differ.
    snap_m
        [m] How far a place may lie from water and still be joined to it: a creek no longer than that needs no way in.
    grid_m
        [m] Step of the grid that the result lies on.

    Returns
    -------
    [m] All of it; and the narrows alone, drawn a metre over their own edge.
    """
    necks = find_necks(ordinary, wide, _LOOSE * apart_m, grid_m)
    pieces = np.array([neck.shape for neck in necks], dtype=object)
    if wide.is_empty:
        pieces = shapely.get_parts(ordinary)
    tree = shapely.STRtree(pieces)
    far_in = shapely.buffer(
        shapely.get_parts(box.difference(wide)), -max(_FAR_IN * apart_m, snap_m), quad_segs=_ARC_SEGMENTS
    )
    kept = set(tree.query(far_in[~shapely.is_empty(far_in)], predicate="intersects")[1].tolist())
    at = shapely.points(np.asarray(places, dtype=float).reshape(-1, 2))
    kept |= set(tree.query(at, predicate="dwithin", distance=apart_m)[1].tolist())
    edge = _Edge.of(wide, apart_m)
    kept |= {i for i, neck in enumerate(necks) if neck.leads_through and edge.is_far_round(neck)}
    chosen = pieces if wide.is_empty else pieces[sorted(kept)]
    drawn_out = shapely.buffer(chosen, _DRAWN_OUT * apart_m, quad_segs=_ARC_SEGMENTS)
    across = shapely.buffer(_short_gaps(edge, wide, ordinary), apart_m, quad_segs=_ARC_SEGMENTS)
    narrows = shapely.union_all([*drawn_out, *across]).intersection(ordinary)
    whole = polygons_of(shapely.set_precision(polygons_of(wide.union(narrows)), grid_m))
    # of what lies on the grid, so that both meet without a gap; rounding leaves slivers along the wide water's edge
    slow = [part for part in polygons_of(whole.difference(wide)).geoms if part.area > grid_m * part.length]
    # legs hug the edge of the water, where rounding would tell in from out: so it reaches a little over that edge
    over = shapely.union_all(shapely.buffer(slow, _OVER_THE_EDGE_M, join_style="mitre")) if slow else shapely.Polygon()
    return whole, polygons_of(over.difference(wide))


@dataclass(frozen=True, eq=False)
class _Edge:
    """The edge of the wide water as points, each with its ring and how far along that it lies."""

    xy: NDArray[np.float64]
    ring: NDArray[np.int64]
    along: NDArray[np.float64]
    around: NDArray[np.float64]
    tree: shapely.STRtree
    fringes_m: float  # twice the fringe's width

    @classmethod
    def of(cls, wide: shapely.MultiPolygon, apart_m: float) -> _Edge:
        """Take points of the edge, near enough to one another."""
        rings = shapely.segmentize(shapely.get_rings(shapely.get_parts(wide)), apart_m / 2)
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
        along = np.cumsum(np.where(np.diff(ring, prepend=ring[:1]) == 0, step, 0.0))
        around = np.asarray(shapely.length(rings))[ring] if len(ring) else np.empty(0)
        return cls(xy, ring, along, around, shapely.STRtree(shapely.points(xy)), 2 * _LOOSE * apart_m)

    def are_far(self, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Tell whether points lie on different rings, or far from one another along one."""
        apart = np.abs(self.along[a] - self.along[b])
        return np.asarray(
            (self.ring[a] != self.ring[b]) | (np.minimum(apart, self.around[a] - apart) > _ROUND * self.fringes_m)
        )

    def is_far_round(self, neck: Neck) -> bool:
        """Tell whether the way round from one of a neck's mouths to another is worth the way through."""
        middles = [mouth.interpolate(0.5, normalized=True) for mouth in neck.mouths]
        at = self.tree.nearest(middles)
        return bool(any(self.are_far(at[:1], at[i : i + 1]).any() for i in range(1, len(at))))


def _short_gaps(edge: _Edge, wide: shapely.MultiPolygon, ordinary: shapely.MultiPolygon) -> Any:
    """[m] Draw lines over water between edges of the wide water so near that its fringe fills what is between.

    Across land there is none so short: all that isn't wide water is thicker.
    """
    points = shapely.points(edge.xy)
    a, b = edge.tree.query(points, predicate="dwithin", distance=edge.fringes_m)
    a, b = a[a < b], b[a < b]
    shapely.prepare([wide, ordinary])
    wanted = edge.are_far(a, b) & ~shapely.contains_xy(wide, (edge.xy[a] + edge.xy[b]) / 2)
    lines = shapely.linestrings(np.stack([edge.xy[a[wanted]], edge.xy[b[wanted]]], axis=1))
    return lines[shapely.covers(ordinary, lines)]


def _eroded(box: shapely.Polygon, shut: Any, distance_m: float, segments: int) -> shapely.Geometry:
    """Draw water back from what is shut, piece by piece: one buffer round everything takes ten times as long."""
    return box.buffer(-distance_m).difference(union_of(shapely.buffer(shut, distance_m, quad_segs=segments)))


def _simplified(water: shapely.Geometry, within_m: float) -> shapely.Geometry:
    """Simplify ring by ring; rings that come to touch one another stay as they were.

    All rings at once, as one polygon, take a time that grows with the square of their number.
    """
    polygons = shapely.get_parts(water)
    whole, owner = shapely.get_rings(polygons, return_index=True)
    # as closed lines: of a ring GEOS takes out the first corner afterwards, which moves the edge there a second time
    points, of = shapely.get_coordinates(whole, return_index=True)
    lines = shapely.simplify(shapely.linestrings(points, indices=of), within_m)
    corners = shapely.get_num_coordinates(lines)
    rings = whole.copy()
    sound = corners >= 4  # a corner, two more, and the first again
    points, of = shapely.get_coordinates(lines[sound], return_index=True)
    rings[sound] = shapely.linearrings(points, indices=of)
    a, b = shapely.STRtree(whole).query(whole)  # boxes that meet: simplified rings lie within those
    near = corners[a] * len(whole) + a > corners[b] * len(whole) + b  # each pair once, the one with more corners first
    a, b = a[near], b[near]
    left = ~sound
    while True:
        shapely.prepare(rings)
        meet = shapely.intersects(rings[a], rings[b]) & ~(left[a] & left[b])
        met = np.union1d(a[meet], b[meet])
        if not len(met):
            break
        left[met] = True
        rings[met] = whole[met]
    first = np.flatnonzero(np.diff(owner, prepend=-1))
    ends = np.append(first, len(rings))[1:]
    return shapely.MultiPolygon(
        [shapely.Polygon(rings[i], rings[i + 1 : end]) for i, end in zip(first, ends, strict=True)]
    )


def _keeps_out(simple: shapely.Geometry, opened: shapely.MultiPolygon) -> bool:
    """Tell whether simplified water still keeps clear of all that is shut.

    Simplifying moves no edge by more than its tolerance, so no edge has come nearer to what is shut than the
    stand-off less that. What is left to go wrong is that a piece as a whole comes to lie inside the water: then so
    does the first corner of the ring around it.
    """
    if not simple.is_valid:
        return False
    rings = shapely.get_rings(shapely.get_parts(opened))
    first = shapely.get_coordinates(shapely.get_point(rings, 0))
    shapely.prepare(simple)
    return not shapely.contains_xy(simple, first).any()


def circumscribed(metres: Any, segments: int) -> Any:
    """[m] Widen a buffer so that the chords of its arcs don't cut inside the distance asked for.

    Parameters
    ----------
    metres
        [m] The distance, or many.
    segments
        Chords in a quarter turn.

    Returns
    -------
    The radius to ask for.
    """
    return metres / math.cos(math.pi / (4 * segments))
