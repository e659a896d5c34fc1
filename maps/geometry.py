"""Geometries made fit for the screen: simplified, rounded, bounded. Order is (lon, lat) throughout.

What is drawn here is for the eye: nothing is measured on it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import LineString, box, mapping

from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "Bounds",
    "distance_m",
    "extent_frame",
    "find_bounds",
    "inside_point",
    "iterate_rows",
    "rounded",
    "simplified",
]

Bounds = tuple[float, float, float, float]
"""West, south, east, north in degrees."""

COAST_WITHIN_M = 20.0
"""[m] How far the drawn coast and closed water may stray from the data: well under the default stand-off of 50 m."""

DEPTHS_WITHIN_M = 50.0
"""[m] The same for depths, which are only a tone, and are the bulk of a map."""

_M_PER_DEG = 111_195.0  # [m] one degree of latitude on a sphere of 6,371,008.8 m (the mean radius R1 of IUGG)
_PLACES = 5  # decimal places of a degree: 1.1 m of latitude
_WGS84 = frozenset({"EPSG:4326", "OGC:CRS84", "EPSG:4979"})  # the datum's codes, latitude first, longitude first, 3D


def iterate_rows(name: str, frame: GeoDataFrame | None) -> Iterator[tuple[dict[str, Any], BaseGeometry]]:
    """Yield the rows of a layer that can be drawn, with their geometry.

    Parameters
    ----------
    name
        The layer's name, for the error.
    frame
        The layer; None, a frame without columns, and rows without geometry yield nothing.

    Yields
    ------
    tuple[dict[str, Any], BaseGeometry]
        The row's values by column, and its geometry.

    Raises
    ------
    InputError
        When the layer is not in WGS 84, or a position is not a longitude and latitude.
    """
    if frame is None or len(frame) == 0 or frame.active_geometry_name is None:
        return
    crs = frame.crs
    if crs is not None and not _is_wgs84(crs):
        raise InputError(f"layer {name}", "not in WGS 84", value=crs.to_string(), remedy="reproject it to EPSG:4326")
    columns = [column for column in frame.columns if column != frame.active_geometry_name]
    values = zip(*(frame[column] for column in columns), strict=True) if columns else iter([()] * len(frame))
    for number, (cells, shape) in enumerate(zip(values, frame.geometry, strict=True), start=1):
        if shape is None or shape.is_empty:
            continue
        west, south, east, north = shapely.bounds(shape)
        if not (west >= -180 and east <= 180 and south >= -90 and north <= 90):
            raise InputError(
                f"layer {name}, row {number}",
                "position outside longitude -180 to 180, latitude -90 to 90",
                value=tuple(float(bound) for bound in (west, south, east, north)),
            )
        yield dict(zip(columns, cells, strict=True)), shape


def simplified(shape: BaseGeometry, within_m: float = COAST_WITHIN_M) -> BaseGeometry:
    """Return a geometry with fewer corners, for drawing only.

    Parameters
    ----------
    shape
        The geometry in degrees.
    within_m
        [m] The farthest that the drawn line may lie from the data.

    Returns
    -------
    BaseGeometry
        Never empty where the data are not: a small island stays a triangle.

    Notes
    -----
    Ramer, Douglas and Peucker's method with topology kept, after shrinking longitudes by the cosine of the latitude so
    that the tolerance means the same distance in every direction.
    """
    share = max(0.01, math.cos(math.radians(shape.centroid.y)))
    scale = np.array([share, 1.0])
    flat = shapely.transform(shape, lambda corners: corners * scale)
    fewer = shapely.simplify(flat, within_m / _M_PER_DEG, preserve_topology=True)
    return shapely.transform(shape if fewer.is_empty else fewer, lambda corners: corners / scale)


def rounded(shape: BaseGeometry, places: int = _PLACES) -> dict[str, Any]:
    """Return a geometry as GeoJSON with about a metre's resolution.

    Parameters
    ----------
    shape
        The geometry in degrees.
    places
        Decimal places of a degree.

    Returns
    -------
    dict[str, Any]
        GeoJSON (RFC 7946, section 11.2: six decimals are 10 centimetres; we keep five).

    Examples
    --------
    >>> rounded(shapely.Point(-38.123456789, 44.5))
    {'type': 'Point', 'coordinates': (-38.12346, 44.5)}
    """
    flat = shapely.force_2d(shape)
    return dict(mapping(shapely.transform(flat, lambda corners: np.round(corners, places))))


def inside_point(shape: BaseGeometry) -> tuple[float, float, float]:
    """Return where a label sits best, and how wide the shape is.

    Parameters
    ----------
    shape
        A polygon or line in degrees.

    Returns
    -------
    tuple[float, float, float]
        Longitude, latitude, and the width in degrees of the largest part: a label is shown only where it fits.

    Examples
    --------
    >>> inside_point(box(-38, 44, -37, 45))
    (-37.5, 44.5, 1.0)
    """
    largest = max(shapely.get_parts(shape), key=lambda part: part.area or part.length, default=shape)
    west, _, east, _ = largest.bounds
    if largest.geom_type == "LineString":
        spot = largest.interpolate(0.5, normalized=True)
    elif largest.geom_type == "Point":
        spot = largest
    else:
        spot = largest.centroid if largest.contains(largest.centroid) else largest.representative_point()
    return round(spot.x, _PLACES), round(spot.y, _PLACES), round(east - west, _PLACES)


def distance_m(one: BaseGeometry, other: BaseGeometry) -> float:
    """Return about how far apart two geometries are: good for sorting what is drawn, not for planning.

    Parameters
    ----------
    one, other
        Geometries in degrees.

    Returns
    -------
    float
        [m] On a plane that fits the first one's latitude.

    Examples
    --------
    >>> round(distance_m(shapely.Point(-38, 60), shapely.Point(-38.01, 60)))
    556
    """
    scale = np.array([max(0.01, math.cos(math.radians(one.centroid.y))), 1.0]) * _M_PER_DEG
    flat = [shapely.transform(shape, lambda corners: corners * scale) for shape in (one, other)]
    return float(shapely.distance(*flat))


def find_bounds(frames: Sequence[GeoDataFrame | None]) -> Bounds | None:
    """Return the box round all rows of some layers.

    Parameters
    ----------
    frames
        The layers.

    Returns
    -------
    Bounds | None
        None where there is nothing in them.
    """
    boxes = [shapely.bounds(shape) for frame in frames for _, shape in iterate_rows("", frame)]
    if not boxes:
        return None
    low, high = np.min(boxes, axis=0), np.max(boxes, axis=0)
    return float(low[0]), float(low[1]), float(high[2]), float(high[3])


def extent_frame(extent: Bounds) -> Mapping[str, BaseGeometry]:
    """Return the region's edge, and the water beyond it of which nothing is known.

    Parameters
    ----------
    extent
        The region's extent.

    Returns
    -------
    Mapping[str, BaseGeometry]
        ``edge`` (a line) and ``outside`` (a polygon with the extent as its hole).
    """
    west, south, east, north = extent
    inner = box(west, south, east, north)
    wide = max(east - west, north - south)
    outer = box(
        max(-180.0, west - wide), max(-85.0, south - wide), min(180.0, east + wide), min(85.0, north + wide)
    )  # 85: a little less than where Web Mercator ends
    return {"edge": LineString(inner.exterior.coords), "outside": outer.difference(inner)}


def _is_wgs84(crs: Any) -> bool:
    authority = crs.to_authority()
    return authority is not None and ":".join(authority) in _WGS84
