"""Water drawn back from what closes it: the stand-off, wider where asked for and where there is room."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from routeplan.overlays import polygons_of, union_of

__all__ = ["ROUND_SEGMENTS", "Poor", "circumscribed", "draw_back", "with_narrows"]

_SIMPLIFY_SHARE = 0.1  # of the stand-off: the most that the edge may end up nearer than it
_FRINGE = 2.0  # of what the wider stand-off adds: fringe along a shore, in its bays and corners too, is no narrows
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


def with_narrows(
    wide: shapely.MultiPolygon, ordinary: shapely.MultiPolygon, box: shapely.Polygon, apart_m: float, grid_m: float
) -> tuple[shapely.MultiPolygon, shapely.MultiPolygon]:
    """Keep the wider stand-off where there is room for it, and the ordinary one in the narrows.

    Narrows are what lies further from the wide water than the fringe along open shores does: channels and creeks.
    They are drawn out to where they meet the wide water again, and never beyond the ordinary stand-off.

    Parameters
    ----------
    wide, ordinary
        [m] Water drawn back by the one stand-off and the other.
    box
        [m] The extent.
    apart_m
        [m] By how much the stand-offs differ.
    grid_m
        [m] Step of the grid that the result lies on.

    Returns
    -------
    [m] All of it; and the narrows alone, drawn a metre over their own edge.
    """
    beyond = shapely.buffer(shapely.get_parts(box.difference(wide)), -_FRINGE * apart_m, quad_segs=_ARC_SEGMENTS)
    cores = shapely.get_parts(polygons_of(shapely.union_all(beyond).intersection(ordinary)))
    drawn_out = shapely.buffer(cores, 1.1 * _FRINGE * apart_m, quad_segs=_ARC_SEGMENTS)
    narrows = shapely.union_all(drawn_out).intersection(ordinary)
    whole = polygons_of(shapely.set_precision(polygons_of(wide.union(narrows)), grid_m))
    # of what lies on the grid, so that both meet without a gap; rounding leaves slivers along the wide water's edge
    slow = [part for part in polygons_of(whole.difference(wide)).geoms if part.area > grid_m * part.length]
    # legs hug the edge of the water, where rounding would tell in from out: so it reaches a little over that edge
    over = shapely.union_all(shapely.buffer(slow, _OVER_THE_EDGE_M, join_style="mitre")) if slow else shapely.Polygon()
    return whole, polygons_of(over.difference(wide))


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
