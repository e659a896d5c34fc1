"""GeoJSON layers: text to rows and back, exactly.

Positions are read and written to the last digit; shapes are built here and not by a library, so that a bad one
is told by its row.

References
----------
.. [1] H. Butler et al., *The GeoJSON Format*, RFC 7946, https://www.rfc-editor.org/rfc/rfc7946
"""

from __future__ import annotations

import json
import math
import re
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.checking import RawLayer
from layers.errors import BadRow, InputError
from layers.files import read_text
from layers.shapes import object_array

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from numpy.typing import NDArray

    from layers.schema import LayerSchema

__all__ = ["LIMIT_BYTES", "read_geojson", "write_geojson"]

LIMIT_BYTES = 512_000_000  # bytes; parsed, this is about 2 GB of memory
_WGS84_NAMES = re.compile(r"(CRS:?84|EPSG:(\d*(\.\d+)?:)?4326)$", re.IGNORECASE)
_DEPTH = {"Point": 0, "MultiPoint": 1, "LineString": 1, "MultiLineString": 2, "Polygon": 2, "MultiPolygon": 3}


class _BadShapeError(ValueError):
    """A geometry breaks RFC 7946; stays inside this module."""


def read_geojson(path: Path, name: str) -> RawLayer:
    """Read a layer from a GeoJSON file.

    Parameters
    ----------
    path
        The file.
    name
        Name of the layer.

    Returns
    -------
    RawLayer
        The rows in the order of the file, unchecked but for their shapes; a file that is no GeoJSON gives a layer
        without rows and a fault of the whole layer.

    Notes
    -----
    Altitudes, ids and members that RFC 7946 [1]_ doesn't name are left out. The limit is `LIMIT_BYTES`.

    References
    ----------
    .. [1] https://www.rfc-editor.org/rfc/rfc7946
    """
    try:
        features = _features(path)
    except InputError as error:
        column = error.where if error.where == "crs" else "file"
        shown = "" if error.value is None else str(error.value)
        return RawLayer(name, {}, object_array([]), (BadRow(name, 0, column, shown, error.problem),))
    shapes: list[object] = []
    rows: list[dict[str, object]] = []
    faults = []
    for row, feature in enumerate(features, start=1):
        shape, values, rule = _read_feature(feature)
        shapes.append(shape)
        rows.append(values)
        if rule:
            faults.append(BadRow(name, row, "geometry", "", rule))
    names = dict.fromkeys(key for values in rows for key in values)  # in the order of the file
    columns = {key: [values.get(key) for values in rows] for key in names}
    return RawLayer(name, columns, object_array(shapes), tuple(faults))


def write_geojson(frame: gpd.GeoDataFrame, schema: LayerSchema) -> str:
    """Write a layer as GeoJSON.

    Parameters
    ----------
    frame
        The layer, in the form of the schema.
    schema
        What it holds.

    Returns
    -------
    str
        A FeatureCollection after RFC 7946 [1]_: outer rings counter-clockwise, no ``crs`` member, no NaN; one row
        a line, so that changes can be read line by line.

    References
    ----------
    .. [1] https://www.rfc-editor.org/rfc/rfc7946

    Examples
    --------
    >>> import shapely
    >>> from layers.checking import build_layer
    >>> from layers.schema import LAYERS
    >>> schema = LAYERS["waypoints"]
    >>> frame = build_layer(schema, [{"name": "Knap", "kind": "mark"}], [shapely.Point(-38.1, 44)])
    >>> print(write_geojson(frame, schema))
    {"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"name": "Knap", "kind": "mark"}, "geometry": {"type": "Point", "coordinates": [-38.1, 44.0]}}
    ]}
    <BLANKLINE>
    """  # noqa: E501  the line that is written is as long as it is
    columns = {column.name: _cells(frame[column.name].tolist(), column.kind) for column in schema.columns}
    shapes = shapely.orient_polygons(frame.geometry.to_numpy())
    lines = []
    for row, shape in enumerate(shapes):
        feature = {
            "type": "Feature",
            "properties": {name: cells[row] for name, cells in columns.items()},
            "geometry": shapely.geometry.mapping(shape),
        }
        lines.append(json.dumps(feature, ensure_ascii=False, allow_nan=False))
    body = ",\n".join(lines)
    return f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'


def _cells(values: list[Any], kind: str) -> list[object]:
    if kind == "number":
        return [None if math.isnan(value) else float(value) for value in values]
    if kind == "integer":
        return [None if math.isnan(value) else int(value) for value in values]
    return [value.isoformat() if isinstance(value, date) else value for value in values]


def _features(path: Path) -> list[object]:
    text = read_text(path, LIMIT_BYTES)
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        said = error.msg[:1].lower() + error.msg[1:]
        raise InputError("file", f"is not whole JSON: line {error.lineno}, column {error.colno}: {said}") from error
    except RecursionError as error:
        raise InputError("file", "is not GeoJSON: it is nested too deep") from error
    except ValueError as error:  # a number of thousands of digits
        raise InputError("file", "is not GeoJSON: it has a number that is far too long") from error
    except MemoryError as error:
        raise InputError("file", "is too large for this computer's memory") from error
    if not isinstance(document, dict) or document.get("type") != "FeatureCollection":
        raise InputError("file", "is not a GeoJSON FeatureCollection")
    if "crs" in document:
        _check_crs(document["crs"])
    features = document.get("features")
    if not isinstance(features, list):
        raise InputError("file", "is not a GeoJSON FeatureCollection: it has no list of features")
    return features


def _check_crs(crs: object) -> None:
    """Accept what an older GeoJSON says of its reference system only where it is WGS 84 all the same."""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str):
        raise InputError("crs", "is not stated by name; GeoJSON is WGS 84: remove the crs member, or reproject")
    if not _WGS84_NAMES.search(name.strip()):
        raise InputError("crs", "is not WGS 84; reproject to EPSG:4326", value=name)


def _read_feature(feature: object) -> tuple[object, dict[str, object], str]:
    if not isinstance(feature, dict) or feature.get("type") != "Feature":
        return None, {}, "is no GeoJSON Feature"
    properties = feature.get("properties")
    values = properties if isinstance(properties, dict) else {}
    geometry = feature.get("geometry")
    if geometry is None:
        return None, values, ""  # the checker says that it is missing
    try:
        return _shape(geometry), values, ""
    except _BadShapeError as error:
        return None, values, str(error)


def _shape(geometry: object) -> object:
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if not isinstance(geometry, dict) or not isinstance(kind, str) or kind not in _DEPTH:
        raise _BadShapeError(f"must be one of {', '.join(_DEPTH)}")
    coordinates = geometry.get("coordinates")
    if not isinstance(coordinates, list):
        raise _BadShapeError("has no list of coordinates")
    if not coordinates:
        raise _BadShapeError("is empty")
    match kind:
        case "Point":
            return shapely.Point(_positions([coordinates])[0])
        case "MultiPoint":
            return shapely.MultiPoint(_positions(coordinates))
        case "LineString":
            return _line(coordinates)
        case "MultiLineString":
            return shapely.MultiLineString([_line(part) for part in coordinates])
        case "Polygon":
            return _polygon(coordinates)
        case _:
            return shapely.MultiPolygon([_polygon(part) for part in coordinates])


def _line(coordinates: object) -> Any:
    positions = _positions(coordinates)
    if len(positions) < 2:
        raise _BadShapeError("has a line of fewer than 2 positions")
    return shapely.LineString(positions)


def _polygon(coordinates: object) -> Any:
    if not isinstance(coordinates, list) or not coordinates:
        raise _BadShapeError("has a polygon without rings")
    rings = [_ring(ring) for ring in coordinates]
    return shapely.Polygon(rings[0], rings[1:])


def _ring(coordinates: object) -> Any:
    positions = _positions(coordinates)
    if len(positions) < 4:
        raise _BadShapeError("has a ring of fewer than 4 positions")
    if (positions[0] != positions[-1]).any():
        lon, lat = positions[-1]
        raise _BadShapeError(f"has a ring that is not closed: it ends at longitude {lon:.6f}, latitude {lat:.6f}")
    return shapely.LinearRing(positions)


def _positions(coordinates: object) -> NDArray[np.float64]:
    """Turn a list of positions into an array of longitude and latitude; an altitude is left out."""
    if not isinstance(coordinates, list) or not coordinates:
        raise _BadShapeError("has no list of positions")
    try:
        array = np.asarray(coordinates)
    except ValueError:  # some positions have an altitude and some haven't
        if not all(isinstance(position, list) and len(position) >= 2 for position in coordinates):
            raise _BadShapeError("has a position that is not [longitude, latitude]") from None
        array = _array_of([position[:2] for position in coordinates])
    if array.ndim != 2 or array.shape[1] < 2 or array.dtype.kind not in "iuf":
        raise _BadShapeError("has a position that is not [longitude, latitude] in numbers")
    positions = array[:, :2].astype(np.float64)
    if not np.isfinite(positions).all():
        raise _BadShapeError("has a position that is not a finite number")
    return positions


def _array_of(positions: list[list[object]]) -> NDArray[Any]:
    try:
        return np.asarray(positions)
    except ValueError as error:
        raise _BadShapeError("has a position that is not [longitude, latitude] in numbers") from error
