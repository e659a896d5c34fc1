"""Geometries made fit for the screen: simplified, rounded, bounded. Order is (lon, lat) throughout.

What is drawn here is for the eye: nothing is measured on it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import LineString, box, mapping

from layers.antimeridian import unwrap
from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "Bounds",
    "distance_m",
    "drawn_out",
    "extent_frame",
    "find_bounds",
    "inside_point",
    "iterate_rows",
    "open_edges",
    "rounded",
    "run_on",
    "simplified",
    "simplified_inwards",
]

Bounds = tuple[float, float, float, float]
"""West, south, east, north in degrees; where it crosses the 180th meridian, an east beyond 180."""

COAST_WITHIN_M = 20.0
"""[m] How far the drawn coast and closed water may stray from the data: well under the default stand-off of 50 m."""

DEPTHS_WITHIN_M = 50.0
"""[m] The same for depths, which are only a tone, and are the bulk of a map."""

_MORE_INSIDE = 1.1  # times the tolerance: a corner's arc drawn in chords comes 8 % closer than its radius (cos 22.5)
_ROUNDED_M = 2.0  # [m] more than the rounding to five decimal places can move a corner (0.8 m)
_SLIT = 2 / 3  # times the distance: narrower gaps in an area are no edge of it
_SLIT_TOLERANCE_M = 3.0  # [m] an edge so near to the outline is on it: a corner sharper than the mitre moves a little
_STEP_M = 150.0  # [m] between the points at which an edge is asked what it runs along
_SHORTEST = 2.5  # times the distance: a shorter piece of open edge is a chink between two shores, no limit to be seen

_M_PER_DEG = 111_195.0  # [m] one degree of latitude on a sphere of 6,371,008.8 m (the mean radius R1 of IUGG)
_PLACES = 5  # decimal places of a degree: 1.1 m of latitude
_HALF_DEG = 180.0  # [deg] half a turn
_DRAWN_OUT_DEG = 2 * _HALF_DEG  # [deg] the farthest that a longitude lies from 0 in half a turn about a middle
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
        When the layer is not in WGS 84, or a position is not a longitude and latitude, drawn out beyond 180 or not.
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
        if not (west >= -_DRAWN_OUT_DEG and east <= _DRAWN_OUT_DEG and south >= -90 and north <= 90):
            raise _bad_position(name, number, shape)
        yield dict(zip(columns, cells, strict=True)), shape


def run_on(extent: Bounds) -> Bounds:
    """Return an extent whose longitudes run on beyond 180 where it crosses the 180th meridian.

    Parameters
    ----------
    extent
        West, south, east, north; an east below the west lies beyond the 180th meridian.

    Returns
    -------
    Bounds
        With the east above the west.

    Examples
    --------
    >>> run_on((178, -19, -178, -16)), run_on((-39.5, 43.75, -36.0, 45.25))
    ((178, -19, 182, -16), (-39.5, 43.75, -36.0, 45.25))
    """
    west, south, east, north = extent
    return (west, south, east + 360, north) if east < west else extent


def drawn_out(name: str, frame: GeoDataFrame, extent: Bounds) -> GeoDataFrame:
    """Return a layer as it is drawn: what was cut at the 180th meridian is in one piece, in one turn round an extent.

    Parameters
    ----------
    name
        The layer's name, for the error.
    frame
        The layer, longitudes from -180 to 180.
    extent
        The region's extent.

    Returns
    -------
    GeoDataFrame
        The same layer where nothing of it lies more than half the world away from the extent's middle.

    Raises
    ------
    InputError
        When the layer is not in WGS 84, or a position is not a longitude and latitude.
    """
    shapes = [shape for _, shape in iterate_rows(name, frame)]
    west, _, east, _ = run_on(extent)
    if not shapes:
        return frame
    whole = frame.geometry.to_numpy()
    bounds = shapely.bounds(whole)  # NaN where there is no shape: not beyond anything
    beyond = np.flatnonzero((bounds[:, 0] < -_HALF_DEG) | (bounds[:, 2] > _HALF_DEG))
    if len(beyond):
        raise _bad_position(name, int(beyond[0]) + 1, whole[beyond[0]])
    out = unwrap(whole, (west + east) / 2)
    return frame if out is whole else frame.set_geometry(out, crs=frame.crs)


def _bad_position(name: str, number: int, shape: BaseGeometry) -> InputError:
    return InputError(
        f"layer {name}, row {number}",
        "position outside longitude -180 to 180, latitude -90 to 90",
        value=tuple(float(bound) for bound in shapely.bounds(shape)),
    )


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


def simplified_inwards(shape: BaseGeometry, within_m: float = COAST_WITHIN_M) -> BaseGeometry:
    """Return an area with fewer corners that nowhere reaches beyond it, for drawing only.

    Parameters
    ----------
    shape
        Polygons in degrees.
    within_m
        [m] How far the drawn edge may stray from one that lies a little more than this inside.

    Returns
    -------
    BaseGeometry
        Inside the area, also after its corners are rounded to five decimal places. Passages narrower than twice the
        tolerance are lost; where nothing else would be left, a smaller tolerance is taken. Empty where the area is
        narrower than a few metres throughout.

    Notes
    -----
    The area is drawn in by more than the tolerance, then simplified as `simplified` does, which moves no edge by more
    than the tolerance. Holes only grow: an island or a danger in the area stays outside it.
    """
    scale = np.array([max(0.01, math.cos(math.radians(shape.centroid.y))), 1.0]) * _M_PER_DEG
    flat = shapely.transform(shape, lambda corners: corners * scale)
    for finer in (1, 4, 16):
        within = within_m / finer
        inset = shapely.buffer(flat, -(_MORE_INSIDE * within + _ROUNDED_M), quad_segs=2)
        if not inset.is_empty:
            break
    fewer = shapely.simplify(inset, within, preserve_topology=True)
    return shapely.transform(fewer, lambda corners: corners / scale)


def open_edges(areas: Sequence[BaseGeometry], shut: Sequence[BaseGeometry], away_m: float) -> list[BaseGeometry]:
    """Return the part of each area's edge that runs through the open, not along something.

    Parameters
    ----------
    areas
        Polygons in degrees.
    shut
        What the rest of their edges runs along, in degrees: land, closed water. No area lies in any of it.
    away_m
        [m] How far from all of that an edge is in the open.

    Returns
    -------
    list[BaseGeometry]
        Lines on each area's edge, without pieces too short to matter and without slits; empty where there is none.
    """
    middle = shapely.centroid(shapely.box(*shapely.total_bounds(list(areas)))).y if len(areas) else 0.0
    scale = np.array([max(0.01, math.cos(math.radians(middle))), 1.0]) * _M_PER_DEG
    sides = [pair for shape in shut for line in _lines_of(shape) for pair in (line[:-1], line[1:])]
    if sides:
        ends = np.stack([np.vstack(sides[::2]), np.vstack(sides[1::2])], axis=1) * scale
        tree = shapely.STRtree(shapely.linestrings(ends))
    found: list[BaseGeometry] = []
    for area in areas:
        pieces: list[BaseGeometry] = []
        outline = _without_slits(shapely.transform(area, lambda corners: corners * scale), away_m * _SLIT)
        for ring in _lines_of(area):
            corners = shapely.get_coordinates(shapely.segmentize(LineString(ring * scale), _STEP_M))
            middles = shapely.points((corners[:-1] + corners[1:]) / 2)
            is_open = np.zeros(len(middles), dtype=bool)
            is_open[outline.query(middles, predicate="dwithin", distance=_SLIT_TOLERANCE_M)[0]] = True
            if sides:
                is_open[tree.query(middles, predicate="dwithin", distance=away_m)[0]] = False
            pieces += [line for line in _runs(corners, is_open) if line.length >= _SHORTEST * away_m]
        lines = shapely.simplify(pieces, 0.1)
        found.append(shapely.transform(shapely.MultiLineString(list(lines)), lambda at: at / scale))
    return found


def _without_slits(flat: BaseGeometry, wide_m: float) -> shapely.STRtree:
    """Return the outline of an area whose slits are filled: an edge inside one has the area on both sides."""
    filled = flat
    for distance_m in (wide_m / 2, -wide_m / 2):
        filled = shapely.buffer(filled, distance_m, join_style="mitre", mitre_limit=5.0)
    lines = _lines_of(filled)
    ends = np.concatenate([np.stack([line[:-1], line[1:]], axis=1) for line in lines]) if lines else np.empty((0, 2, 2))
    return shapely.STRtree(shapely.linestrings(ends))


def _lines_of(shape: BaseGeometry) -> list[np.ndarray[Any, Any]]:
    """Return the corners of each ring of an area, of each part of a line."""
    is_area = "Polygon" in shape.geom_type
    parts = shapely.get_parts(shapely.boundary(shape) if is_area else shape)
    lines = [shapely.get_coordinates(part) for part in shapely.get_parts(parts)]
    return [line for line in lines if len(line) > 1]


def _runs(corners: np.ndarray[Any, Any], is_open: np.ndarray[Any, Any]) -> Iterator[LineString]:
    """Yield the runs of open segments of a closed ring, those over its seam in one piece."""
    if is_open.all():
        yield LineString(corners)
        return
    first = int(np.argmin(is_open))  # a shut segment: begin there, and no run crosses the seam
    around = np.roll(corners[:-1], -first, axis=0)
    closed = np.vstack([around, around[:1]])
    opens = np.roll(is_open, -first)
    steps = np.flatnonzero(np.diff(np.r_[False, opens, False]))
    for begin, end in zip(steps[::2], steps[1::2], strict=True):
        yield LineString(closed[begin : end + 1])


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
        The region's extent, run on where it crosses the 180th meridian.

    Returns
    -------
    Mapping[str, BaseGeometry]
        ``edge`` (a line) and ``outside`` (a polygon with the extent as its hole).
    """
    west, south, east, north = extent
    inner = box(west, south, east, north)
    wide = max(east - west, north - south)
    half_turn = (west + east) / 2 - _HALF_DEG, (west + east) / 2 + _HALF_DEG
    outer = box(
        max(half_turn[0], west - wide),
        max(-85.0, south - wide),
        min(half_turn[1], east + wide),
        min(85.0, north + wide),
    )  # 85: a little less than where Web Mercator ends
    return {"edge": LineString(inner.exterior.coords), "outside": outer.difference(inner)}


def _is_wgs84(crs: Any) -> bool:
    authority = crs.to_authority()
    return authority is not None and ":".join(authority) in _WGS84
