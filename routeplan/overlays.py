"""Polygons united and cut, on a grid: what floating point can't overlay is overlaid on the grid instead.

Thousands of nearly coincident edges now and then defeat an overlay in full precision; snap rounding never fails, but
takes twice as long.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Shapes = NDArray[np.object_] | Sequence[shapely.Geometry]

__all__ = ["cut", "polygons_of", "union_of", "unite"]


def union_of(shapes: Shapes) -> shapely.Geometry:
    """Unite shapes, most of which lie apart, as islands do.

    Parameters
    ----------
    shapes
        [m] Valid geometries.

    Returns
    -------
    [m] What they cover together; the one itself where all others are empty.
    """
    whole = np.asarray(shapes, dtype=object)
    whole = whole[~shapely.is_empty(whole)]
    if len(whole) == 1:
        return whole[0]
    return shapely.disjoint_subset_union_all(whole) if len(whole) else shapely.Polygon()


def unite(shapes: Shapes, grid_m: float) -> shapely.MultiPolygon:
    """Unite polygons that overlap.

    Parameters
    ----------
    shapes
        [m] Polygons.
    grid_m
        [m] Step of the grid that the corners are put on.

    Returns
    -------
    [m] What they cover, without lines and points, and without corners that hardly bend: no edge lies further than
    twice the step from where it was. Valid, and no two corners so near that it falls apart elsewhere.
    """
    whole = np.asarray(shapes, dtype=object)
    try:
        # lines are taken out before rounding: in a mixture each member would be rounded by itself, and come to overlap
        united = polygons_of(shapely.set_precision(polygons_of(shapely.union_all(whole)), grid_m))
    except shapely.errors.GEOSException:
        united = polygons_of(shapely.union_all([polygons_of(s) for s in shapely.make_valid(whole)], grid_size=grid_m))
    simple = polygons_of(shapely.simplify(united, grid_m))
    return simple if simple.is_valid else united  # parts that are simplified one by one may come to touch


def cut(shape: shapely.Geometry, away: shapely.Geometry, grid_m: float) -> shapely.MultiPolygon:
    """Cut one area out of another.

    Parameters
    ----------
    shape, away
        [m] The area, and what is taken from it.
    grid_m
        [m] Step of the grid that is used where floating point fails.

    Returns
    -------
    [m] What is left, without lines and points.
    """
    try:
        left = shapely.difference(shape, away)
    except shapely.errors.GEOSException:
        whole, less = (polygons_of(shapely.make_valid(s)) for s in (shape, away))
        left = shapely.difference(whole, less, grid_size=grid_m)
    return polygons_of(left)


def polygons_of(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Keep the polygons of what an overlay returned.

    Parameters
    ----------
    shape
        [m] Any geometry.

    Returns
    -------
    [m] Its polygons that cover anything.
    """
    parts = shapely.get_parts(shapely.get_parts(shape))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon" and part.area > 0])
