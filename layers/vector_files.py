"""Vector files by GDAL: GeoPackage, Shapefile, FlatGeobuf, KML, TopoJSON; and GeoJSON by our own reader.

Whatever reference system a file is in, what comes out is WGS 84, longitude first. A file that doesn't say is refused
unless a person says it for it.
"""

from __future__ import annotations

import logging
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from layers.checking import WGS84, python_value
from layers.errors import InputError
from layers.files import check_file, describe, file_status
from layers.geojson import read_geojson
from layers.shapes import object_array
from layers.tables import BadEntry, NoSystemError, SourceTable

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Box = tuple[float, float, float, float]

__all__ = ["ASK", "ENDINGS", "LIMIT_BYTES", "looks_like_shapes", "read_vector_tables"]

ENDINGS = (".fgb", ".geojson", ".geojsonl", ".gpkg", ".json", ".kml", ".shp", ".topojson")
ASK = "?"  # what a recipe has for a reference system that a person is to fill in
LIMIT_BYTES = 2_000_000_000  # bytes; a coast of the whole world at full resolution is a tenth of it
_HEAD_BYTES = 4096  # bytes in which JSON says what it is
_FEW_ROWS = 2_000  # a table with no more is read as a whole
_ROUND_DEG = 180.0 + 1e-6  # [deg] of longitude, and what is lost in writing it
_MOST_TABLES = 200  # a file with more is no chart
_HOUSEKEEPING = frozenset(  # what KML says of how a place is drawn, not of what it is
    {"id", "altitudeMode", "tessellate", "extrude", "visibility", "drawOrder", "icon", "snippet", "begin", "end"}
)
_SHAPEFILE_PARTS = (".dbf", ".shx")


def read_vector_tables(path: Path, *, wanted: str = "", crs: str = "", near: Box | None = None) -> list[SourceTable]:
    """Read the tables of a vector file.

    Parameters
    ----------
    path
        The file.
    wanted
        The only table to read; empty for all.
    crs
        The reference system of a file that doesn't say its own: ``EPSG:4326``.
    near
        [deg] West, south, east, north: rows whose bounds lie outside may be left out unread.

    Returns
    -------
    list[SourceTable]
        Those with shapes, in the file's order, in WGS 84.

    Raises
    ------
    InputError
        It can't be read, doesn't say its reference system, says another than the one given, or has no such table.
    """
    check_file(path, LIMIT_BYTES)
    if path.suffix.lower() in {".geojson", ".json"} and not _is_topology(path):
        own = _geojson_table(path, crs)
        if own is not None:
            return [own]
    names, plain = _table_names(path)
    if wanted and wanted not in names:
        problem = f"has no table {wanted!r}; it has {', '.join(names) or 'none'}"
        raise InputError(str(path), problem, remedy="name one of them as layer")
    single = len(names) == 1
    found = [_read_table(path, name, "" if single else name, crs, near) for name in names if wanted in {"", name}]
    if not found:
        raise InputError(str(path), "has no table with shapes")
    if plain and not wanted:
        note = f"tables without shapes not read: {', '.join(plain)}"
        found[0] = replace(found[0], notes=(*found[0].notes, note))
    return found


def looks_like_shapes(path: Path) -> bool:
    """Tell whether a file of JSON begins like GeoJSON or TopoJSON.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    bool
        Whether its first lines name either.

    Raises
    ------
    InputError
        It can't be read.
    """
    return b'"FeatureCollection"' in _head(path) or _is_topology(path)


def _is_topology(path: Path) -> bool:
    return b'"Topology"' in _head(path)


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_HEAD_BYTES)
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error


def _geojson_table(path: Path, crs: str) -> SourceTable | None:
    """Read GeoJSON; None where it is in another reference system, which GDAL reprojects from."""
    raw = read_geojson(path, path.name)
    whole = next((fault for fault in raw.faults if fault.row == 0), None)
    if whole is not None:
        if whole.column == "crs":
            return None
        raise InputError(str(path), whole.rule)
    if crs and not _same(pyproj.CRS(WGS84), _crs(path, crs)):
        raise InputError(str(path), f"is GeoJSON, which is WGS 84, and not {crs}", remedy="leave crs out")
    faults = [BadEntry(str(path), f"row {fault.row:,}", "shape", fault.value, fault.rule) for fault in raw.faults]
    numbers = range(1, len(raw.geometry) + 1)
    return SourceTable(path, "", raw.columns, raw.geometry, numbers, faults=tuple(faults))


def _table_names(path: Path) -> tuple[list[str], list[str]]:
    """List the tables that have shapes, and those that don't."""
    import pyogrio  # noqa: PLC0415  # heavy: only where such a file is read

    try:
        with warnings.catch_warnings(), _Quiet():
            warnings.simplefilter("ignore")
            listed = pyogrio.list_layers(path)
    except (pyogrio.errors.DataSourceError, UnicodeDecodeError) as error:
        raise _unreadable(path, error) from error
    if len(listed) > _MOST_TABLES:
        raise InputError(str(path), f"has {len(listed):,} tables; the limit is {_MOST_TABLES}")
    rows = listed.tolist()
    return [str(name) for name, kind in rows if kind is not None], [str(name) for name, kind in rows if kind is None]


def _read_table(path: Path, name: str, shown: str, crs: str, near: Box | None) -> SourceTable:
    import pyogrio  # noqa: PLC0415  # heavy: only where such a file is read

    said: list[str] = []
    try:
        with warnings.catch_warnings(record=True) as caught, _Quiet():
            warnings.simplefilter("always")
            info = pyogrio.read_info(path, layer=name)
            stated = info["crs"] or crs
            if not stated and path.suffix.lower() in {".json", ".topojson"}:
                stated = WGS84  # what TopoJSON is in where nothing else is said
            system = _stated(path, stated, crs, info["crs"])
            box = _box_in(system, near)
            if box is not None and not _may_be_boxed(path, name, info):
                box = None
            meta, keys, bodies, fields = pyogrio.raw.read(path, layer=name, return_fids=True, bbox=box)
        said = list(dict.fromkeys(" ".join(str(warning.message).split()) for warning in caught))
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as error:
        raise _unreadable(path, error) from error
    except (UnicodeDecodeError, LookupError) as error:
        raise InputError(str(path), f"has text that can't be read: {error}", remedy="save it again in UTF-8") from error
    except MemoryError as error:
        raise InputError(str(path), "is too large for this computer's memory") from error
    where = f"{path}, {shown}" if shown else str(path)
    first = 0 if path.suffix.lower() in {".gpkg", ".kml"} else 1  # where keys count from 1, they are the row numbers
    numbers = [int(key) + first for key in keys]
    shapes = object_array(shapely.from_wkb(bodies, on_invalid="ignore"))
    faults = [
        BadEntry(where, f"row {numbers[row]:,}", "shape", "", "can't be read as a shape")
        for row, (shape, body) in enumerate(zip(shapes, bodies, strict=True))
        if shape is None and body is not None
    ]
    columns = {
        str(field): [_plain(value) for value in values]
        for field, values in zip(meta["fields"], fields, strict=True)
        if not (path.suffix.lower() == ".kml" and field in _HOUSEKEEPING)
    }
    notes = [f"GDAL says: {warning}" for warning in said]
    if box is not None and info["features"] > len(keys):
        notes.append(f"{info['features'] - len(keys):,} more rows lie away from the extent, and were not read")
    if path.suffix.lower() == ".shp" and not _beside(path, ".dbf"):
        notes.append("has no .dbf beside it, so that its rows have no names or values")
    if not _same(pyproj.CRS(WGS84), system):
        shapes = _to_wgs84(path, shapes, system)
        notes.append(f"reprojected to WGS 84 from {system.name}")
    if crs and not info["crs"]:
        notes.append(f"taken to be in {system.name}, as the recipe says; the file doesn't")
    return SourceTable(path, shown, columns, shapes, numbers, faults=tuple(faults), notes=tuple(notes), crs=system.name)


def _stated(path: Path, stated: str | None, given: str, own: str | None) -> pyproj.CRS:
    if not stated or stated == ASK:
        lacks = "; a shapefile says it in its .prj" if path.suffix.lower() == ".shp" else ""
        remedy = 'find out, and say it in a recipe: crs = "EPSG:4326" if it is WGS 84'
        problem = f"doesn't say which reference system its positions are in{lacks}"
        raise NoSystemError(str(path), problem, remedy=remedy)
    system = _crs(path, stated)
    if given and own and not _same(_crs(path, given), system):
        problem = f"says that it is in {system.name}, and the recipe says {given}"
        raise InputError(str(path), problem, remedy="crs is for files that don't say: leave it out")
    return system


def _crs(path: Path, text: str) -> pyproj.CRS:
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        problem = "is in a reference system that is not known"
        raise InputError(str(path), problem, value=text, remedy='write it as crs = "EPSG:4326"') from error


def _same(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    return bool(one.equals(other, ignore_axis_order=True) or (one.to_epsg() or 0) == other.to_epsg())


def _box_in(system: pyproj.CRS, near: Box | None) -> Box | None:
    """Return a box of degrees in a file's own system; None where there is none that can be trusted."""
    if near is None or not _same(pyproj.CRS(WGS84), system):
        return None  # a projected file is small: no world coast comes so
    return near


def _may_be_boxed(path: Path, name: str, info: Any) -> bool:
    """Tell whether rows away from what is of interest may be left unread.

    What lies elsewhere in a small table, or in one of points, may have a wrong sign, which is told of what is read
    alone; and longitudes beyond 180 degrees come back to the extent only once they are read.
    """
    import pyogrio  # noqa: PLC0415  # heavy: only where such a file is read

    if 0 <= info["features"] <= _FEW_ROWS or "Point" in str(info["geometry_type"]):
        return False
    bounds = info["total_bounds"] or pyogrio.read_info(path, layer=name, force_total_bounds=True)["total_bounds"]
    return bounds is not None and max(-bounds[0], bounds[2]) <= _ROUND_DEG


def _to_wgs84(path: Path, shapes: NDArray[np.object_], system: pyproj.CRS) -> NDArray[np.object_]:
    change = pyproj.Transformer.from_crs(system, WGS84, always_xy=True)

    def moved(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(change.transform(points[:, 0], points[:, 1]))

    try:
        return object_array(shapely.transform(shapely.force_2d(shapes), moved))
    except pyproj.exceptions.ProjError as error:
        raise InputError(str(path), f"can't be reprojected from {system.name}: {error}") from error


def _plain(value: Any) -> object:
    """Return a cell as Python has it; None where it is empty."""
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else value.astype("datetime64[D]").item()
    if isinstance(value, np.ndarray | list):
        return ", ".join(str(part) for part in value) or None
    if isinstance(value, str):
        return value.strip() or None
    return python_value(value)


def _unreadable(path: Path, error: Exception) -> InputError:
    """Say why GDAL can't read a file; whether it is still there is looked up first."""
    file_status(path)
    if path.suffix.lower() == ".shp":
        lost = [ending for ending in _SHAPEFILE_PARTS if not _beside(path, ending)]
        if lost:
            problem = f"lacks its {' and '.join(lost)}: a shapefile is several files"
            return InputError(str(path), problem, remedy="copy them all into one folder")
    said = " ".join(str(error).split()).partition(" It might help to specify")[0].rstrip(".;")
    said = said.replace(str(path), "it").replace("'it'", "it")
    return InputError(str(path), f"can't be read: {said[:200]}", remedy="is it whole, and what its name says?")


def _beside(path: Path, ending: str) -> bool:
    return any(path.with_suffix(case).exists() for case in (ending, ending.upper()))


class _Quiet:
    """Keeps GDAL's messages off stderr while a file is read: what matters comes as an error or a warning."""

    def __enter__(self) -> None:
        self._log = logging.getLogger("pyogrio")
        self._level = self._log.level
        self._log.setLevel(logging.CRITICAL)

    def __exit__(self, *_: object) -> None:
        self._log.setLevel(self._level)
