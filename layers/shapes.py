"""Check the shapes of a layer: kind, position, soundness; and give them one form."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.antimeridian import goes_round, lonlat_near
from layers.errors import BadRow

if TYPE_CHECKING:
    from collections.abc import Container

    from numpy.typing import NDArray

    from layers.schema import LayerSchema

    Extent = tuple[float, float, float, float]

__all__ = ["check_shapes", "object_array", "what_is_wrong"]

_PLACED = re.compile(r"^(?P<reason>.*)\[(?P<lon>\S+) (?P<lat>\S+)\]$")
_KINDS = {
    "Point": "point",
    "LineString": "line",
    "MultiLineString": "line",
    "Polygon": "polygon",
    "MultiPolygon": "polygon",
}
_INVALID = {  # what GEOS calls it: what a person should look for
    "Self-intersection": "the outline crosses itself",
    "Ring Self-intersection": "the outline touches itself",
    "Hole lies outside shell": "a hole lies outside the outline",
    "Holes are nested": "a hole lies inside another hole",
    "Nested shells": "a part lies inside another part",
    "Interior is disconnected": "holes cut the polygon in two",
    "Duplicate Rings": "two outlines are the same",
    "Too few points in geometry component": "it has no length or area",
}


def check_shapes(
    shapes: NDArray[np.object_], schema: LayerSchema, extent: Extent | None, told: Container[int] = ()
) -> tuple[NDArray[np.object_], list[BadRow]]:
    """Check the shapes of a layer and give them one form.

    Parameters
    ----------
    shapes
        A shapely geometry for every row, or None.
    schema
        What the layer must hold.
    extent
        [deg] West, south, east, north of the region, to notice swapped positions; None: they aren't looked for. Nor are
        they in a layer of which other rows lie far away: one in some thousands of the world's islands looks so.
    told
        Rows, from 1, whose shape a reader has already told the fault of.

    Returns
    -------
    tuple[NDArray[object], list[BadRow]]
        The shapes in two dimensions, outer rings counter-clockwise as RFC 7946 wants them, no ring or
        one-point collection among them; and a fault for every shape that breaks a rule.

    Examples
    --------
    >>> import shapely
    >>> from layers.schema import LAYERS
    >>> hourglass = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    >>> check_shapes(object_array([hourglass]), LAYERS["land"], None)[1][0].rule
    'the outline crosses itself at longitude 1.000000, latitude 1.000000'
    """
    flat = object_array(shapely.force_2d(object_array([_plain_shape(shape) for shape in shapes])))
    faults = []
    if extent is not None and _goes_far(flat, extent):
        extent = None
    for row, shape in enumerate(flat, start=1):
        if row in told:
            continue
        rule = _kind_rule(shape, schema.geometry) or _position_rule(shape, extent) or what_is_wrong(shape)
        if rule:
            shown = f"{shape.x:.9g} {shape.y:.9g}" if isinstance(shape, shapely.Point) and not shape.is_empty else ""
            faults.append(BadRow(schema.name, row, "geometry", shown, rule))
    return object_array(shapely.orient_polygons(flat)), faults


def object_array(values: Any) -> NDArray[np.object_]:
    """Make an array of objects, one for one: numpy itself would take a list of lists or shapes apart.

    Parameters
    ----------
    values
        Anything with a length.

    Returns
    -------
    NDArray[object]
        One dimension, the same values in the same order.

    Examples
    --------
    >>> object_array([(1, 2), None]).shape
    (2,)
    """
    array = np.empty(len(values), dtype=object)
    for place, value in enumerate(values):
        array[place] = value
    return array


def _plain_shape(shape: object) -> object:
    """Return a ring as the line it is, and a lone point out of its collection: some programs write both."""
    if isinstance(shape, shapely.LinearRing):
        return shapely.LineString(shape)
    if isinstance(shape, shapely.MultiPoint) and len(shape.geoms) == 1:
        return shape.geoms[0]
    return shape


def _kind_rule(shape: Any, allowed: tuple[str, ...]) -> str:
    if shape is None:
        return "is missing; every row needs it"
    if _KINDS.get(shape.geom_type) not in allowed:
        return f"must be {' or '.join(allowed)}, not {shape.geom_type}"
    if shape.is_empty or (hasattr(shape, "geoms") and any(part.is_empty for part in shape.geoms)):
        return "is empty"
    return ""


def _position_rule(shape: Any, extent: Extent | None) -> str:
    points = shapely.get_coordinates(shape)
    if not np.isfinite(points).all():
        return "has a position that is not a finite number"
    if extent is not None and _looks_swapped(points, extent):
        return "longitude and latitude look swapped"
    outside = points[(np.abs(points) > (180, 90)).any(axis=1)]
    if not len(outside):
        latitude = goes_round(shape)
        if latitude is None:
            return ""
        return (
            f"has an edge, from latitude {latitude:.6f}, that runs over more than half of the world; cut what crosses"
            " the 180th meridian in two there (RFC 7946, section 3.1.9)"
        )
    lon, lat = outside[0]
    what = f"longitude {lon:.9g} is outside [-180, 180]"
    if abs(lon) <= 180:
        what = f"latitude {lat:.9g} is outside [-90, 90]"
    return f"{what}; positions must be WGS 84 degrees, longitude first"


def _goes_far(flat: NDArray[np.object_], extent: Extent) -> bool:
    """Tell whether rows lie far from the extent that wouldn't lie in it with both numbers exchanged either."""
    west, south, east, north = extent
    east += 360 if east < west else 0
    reach = max(east - west, north - south)
    to_west, to_south, to_east, to_north = shapely.bounds(flat).T  # NaN where there is nothing: not far
    far = (to_south > north + reach) | (to_north < south - reach)
    beside = [(to_west + turn > east + reach) | (to_east + turn < west - reach) for turn in (-360, 0, 360)]
    far |= np.logical_and.reduce(beside)
    return any(not _looks_swapped(shapely.get_coordinates(flat[place]), extent) for place in np.flatnonzero(far))


def _looks_swapped(points: NDArray[np.float64], extent: Extent) -> bool:
    """Tell whether a shape is far from the extent and would lie in it with both numbers exchanged.

    Far means further than the extent is long: what lies just outside may well have been meant so.
    """
    west, south, east, north = extent
    turned = points[:, ::-1]
    if east < west:  # across the 180th meridian: longitudes run on
        east += 360
        points, turned = (lonlat_near(shape, (west + east) / 2) for shape in (points, turned))
    reach = max(east - west, north - south)
    low, high = points.min(axis=0), points.max(axis=0)
    near = low[0] <= east + reach and high[0] >= west - reach and low[1] <= north + reach and high[1] >= south - reach
    low, high = turned.min(axis=0), turned.max(axis=0)
    swapped_inside = west <= low[0] and high[0] <= east and south <= low[1] and high[1] <= north
    return bool(not near and swapped_inside)


def what_is_wrong(shape: Any) -> str:
    """Say why a shape is unsound, and where.

    Parameters
    ----------
    shape
        [deg] A geometry.

    Returns
    -------
    str
        In plain words; empty where it is sound.

    Examples
    --------
    >>> what_is_wrong(shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)]))
    'the outline crosses itself at longitude 1.000000, latitude 1.000000'
    """
    if shape.is_valid:
        return ""
    reason = shapely.is_valid_reason(shape)
    placed = _PLACED.match(reason)
    if placed is None:
        return _INVALID.get(str(reason), str(reason))
    what = _INVALID.get(placed["reason"].strip(), placed["reason"].strip())
    if hasattr(shape, "geoms") and all(part.is_valid for part in shape.geoms):
        what = "its parts overlap"
    return f"{what} at longitude {float(placed['lon']):.6f}, latitude {float(placed['lat']):.6f}"
