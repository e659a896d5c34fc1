"""Shapes of a chart, brought into the form that our layers have."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

__all__ = [
    "METRES_PER_DEGREE",
    "beside",
    "centre_line",
    "lon_lat_box",
    "mended",
    "parts_of",
    "placed",
    "thickened",
]

METRES_PER_DEGREE = 111_120.0  # m of latitude: 60 nautical miles; good to a third of a per cent, enough for a hair
_HALF_WIDTH_M = 1.0  # [m] half the width of a pier or wall that is drawn as a line
_LEAST_DEG2 = 1e-12  # square degrees, a hundredth of a square metre: what rounding leaves of an outline cut twice
_LONG = 3.0  # times as long as wide: a bridge that is drawn as an area and has a middle line


def parts_of(shape: Any, dimension: int) -> Any:
    """Keep what has a dimension, and no crumbs.

    Parameters
    ----------
    shape
        [deg] Any geometry.
    dimension
        0 for points, 1 for lines, 2 for areas.

    Returns
    -------
    Geometry
        [deg] One geometry, or several of one kind; empty where nothing is left.

    Examples
    --------
    >>> both = shapely.from_wkt("GEOMETRYCOLLECTION (POINT (0 0), LINESTRING (0 0, 1 0))")
    >>> parts_of(both, 1).wkt
    'LINESTRING (0 0, 1 0)'
    """
    parts = [part for part in _simple_parts(shape) if shapely.get_dimensions(part) == dimension and not part.is_empty]
    if dimension == 2:
        parts = [part for part in parts if part.area > _LEAST_DEG2]
    if len(parts) == 1:
        return parts[0]
    many = (shapely.MultiPoint, shapely.MultiLineString, shapely.MultiPolygon)[dimension]
    return many(parts)


def mended(shape: Any) -> Any:
    """Mend an outline that crosses itself.

    Parameters
    ----------
    shape
        [deg] Any geometry.

    Returns
    -------
    Geometry
        [deg] The same where it is sound, else one that is and covers what it covered.
    """
    if shape.is_valid:
        return shape
    return parts_of(shapely.make_valid(shape, method="structure", keep_collapsed=False), shapely.get_dimensions(shape))


def thickened(shape: Any) -> Any:
    """Give lines a width, so that a layer of points and areas can hold them.

    Parameters
    ----------
    shape
        [deg] Any geometry.

    Returns
    -------
    Geometry
        [deg] Points and areas as they were, of several points an area each; lines as areas two metres wide.
    """
    if shape.geom_type == "Point" or shapely.get_dimensions(shape) == 2:
        return shape
    shrink = max(math.cos(math.radians(shapely.centroid(shape).y)), 0.01)
    flat = shapely.transform(shape, lambda xy: xy * (shrink, 1.0))
    wide = shapely.buffer(flat, _HALF_WIDTH_M / METRES_PER_DEGREE, quad_segs=1, cap_style="square")
    return shapely.transform(wide, lambda xy: xy / (shrink, 1.0))


def centre_line(shape: Any) -> Any:
    """Find the line along which something hangs over the water.

    Parameters
    ----------
    shape
        [deg] A line, or an area.

    Returns
    -------
    Geometry | None
        [deg] Lines as they are; of a long and narrow area its middle line from end to end; of any other area its
        edge, which nobody passes under without crossing; None of a point.
    """
    dimension = shapely.get_dimensions(shape)
    if dimension == 0:
        return None
    if dimension == 1:
        return shape
    lines = [_middle(part) for part in shapely.get_parts(shape)]
    return lines[0] if len(lines) == 1 else shapely.MultiLineString([p for ln in lines for p in shapely.get_parts(ln)])


def beside(line: Any, away_m: float) -> Any:
    """Draw a line close beside another, so that who crosses the one crosses the other.

    Parameters
    ----------
    line
        [deg] The line, or several.
    away_m
        [m] How far from it.

    Returns
    -------
    Geometry
        [deg] A line on one side of it; where that can't be drawn (it closes on itself or bends too much), one all
        round it.
    """
    shrink = max(math.cos(math.radians(shapely.centroid(line).y)), 0.01)
    flat = shapely.transform(line, lambda xy: xy * (shrink, 1.0))
    away = away_m / METRES_PER_DEGREE
    drawn = []
    for part in shapely.get_parts(flat):
        side = None if part.is_closed else shapely.offset_curve(part, away, join_style="mitre")
        if side is None or side.geom_type != "LineString" or side.length < part.length / 2:
            side = shapely.boundary(shapely.buffer(part, away, cap_style="square"))
        drawn += list(shapely.get_parts(side))
    found = drawn[0] if len(drawn) == 1 else shapely.MultiLineString(drawn)
    return shapely.transform(found, lambda xy: xy / (shrink, 1.0))


def placed(word: str, shape: Any) -> str:
    """Name a thing that has no name by where it is.

    Parameters
    ----------
    word
        What it is.
    shape
        [deg] The thing.

    Returns
    -------
    str
        The word and a point of it.

    Examples
    --------
    >>> placed("bridge", shapely.Point(-38.0305, 44.0493))
    'bridge at 44.0493N 38.0305W'
    """
    largest = max(shapely.get_parts(shape), key=lambda part: (part.area, part.length))
    on_line = largest.geom_type == "LineString"
    at = largest.interpolate(0.5, normalized=True) if on_line else shapely.point_on_surface(largest)
    return f"{word} at {abs(at.y):.4f}{'NS'[at.y < 0]} {abs(at.x):.4f}{'EW'[at.x < 0]}"


def lon_lat_box(extent: tuple[float, float, float, float], margin: float = 0.0) -> Any:
    """Draw an extent.

    Parameters
    ----------
    extent
        [deg] West, south, east, north; a west above the east crosses the 180th meridian.
    margin
        [deg] How far to go beyond it.

    Returns
    -------
    Geometry
        [deg] One rectangle, or one on either side of the meridian.

    Examples
    --------
    >>> [part.bounds for part in lon_lat_box((170, -48, -170, -30)).geoms]
    [(170.0, -48.0, 180.0, -30.0), (-180.0, -48.0, -170.0, -30.0)]
    """
    west, south, east, north = extent
    south, north = max(south - margin, -90.0), min(north + margin, 90.0)
    west, east = west - margin, east + margin
    if west <= east:
        return shapely.box(max(west, -180.0), south, min(east, 180.0), north)
    return shapely.MultiPolygon([shapely.box(west, south, 180.0, north), shapely.box(-180.0, south, east, north)])


def _middle(area: Any) -> Any:
    shrink = max(math.cos(math.radians(shapely.centroid(area).y)), 0.01)
    flat = shapely.transform(area, lambda xy: xy * (shrink, 1.0))
    frame = shapely.oriented_envelope(flat)
    if shapely.get_dimensions(frame) == 2 and flat.area > 0.5 * frame.area:
        corners = shapely.get_coordinates(frame)[:4]
        sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
        first = int(np.argmin(sides[:2]))
        if sides[first] * _LONG <= sides[1 - first]:
            ends = [(corners[first + at] + corners[(first + at + 1) % 4]) / 2 for at in (0, 2)]
            return shapely.transform(shapely.LineString(ends), lambda xy: xy / (shrink, 1.0))
    return shapely.boundary(area)


def _simple_parts(shape: Any) -> list[Any]:
    parts = list(shapely.get_parts(shape))
    return [piece for part in parts for piece in (_simple_parts(part) if hasattr(part, "geoms") else [part])]
