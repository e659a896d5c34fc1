"""GeoPackage layers: tables to rows and back.

Read and written with SQLite itself, as the standard lays the tables out: flags stay flags and an absent number stays
absent, which the usual route through an array library loses; and a file appears in one transaction.

References
----------
.. [1] Open Geospatial Consortium, *GeoPackage Encoding Standard*, OGC 12-128, https://www.geopackage.org/spec/
"""

from __future__ import annotations

import contextlib
import math
import sqlite3
import struct
from datetime import date
from typing import TYPE_CHECKING

import pyproj
import shapely

from layers.checking import WGS84, RawLayer
from layers.errors import BadRow, InputError
from layers.files import check_file
from layers.shapes import object_array

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    import geopandas as gpd
    import numpy as np
    from numpy.typing import NDArray

    from layers.schema import LayerSchema

__all__ = ["ABOUT_TABLE", "LIMIT_BYTES", "has_about", "read_geopackage", "write_geopackage"]

LIMIT_BYTES = 1_000_000_000  # bytes; nine layers of the size that GeoJSON may have, in their shorter form
ABOUT_TABLE = "routeplan_region"
_ENVELOPE_BYTES = (0, 32, 48, 48, 64)  # bytes, by the envelope code: OGC 12-128, clause 2.1.3
WGS84_ID = 4326
_SQL_TYPES = {"number": "DOUBLE", "integer": "INTEGER", "flag": "BOOLEAN", "date": "DATE"}  # clause 1.1.1.1.3, table 1
# Application id "GPKG" and version 1.2.0: requirement 2. The tables: clauses 1.1.2, 1.1.3 and 2.1.5, annex C.
_CORE_TABLES = f"""
PRAGMA application_id = {0x47504B47};
PRAGMA user_version = 10200;
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""
_UNDEFINED_SYSTEMS = (  # requirement 11
    ("undefined cartesian", -1, "NONE", -1, "undefined", "undefined cartesian"),
    ("undefined geographic", 0, "NONE", 0, "undefined", "undefined geographic"),
)


def has_about(path: Path) -> bool:
    """Tell whether a file is a GeoPackage that holds a region.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    bool
        False where it is something else, or can't be opened.
    """
    try:
        with _opened(path) as database:
            found = database.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (ABOUT_TABLE,)).fetchone()
    except InputError:
        return False
    return found is not None


def read_geopackage(path: Path, schemas: Mapping[str, LayerSchema]) -> tuple[str, dict[str, RawLayer], tuple[str, ...]]:
    """Read the layers of a region from a GeoPackage.

    Parameters
    ----------
    path
        The file.
    schemas
        The layers to look for, by name.

    Returns
    -------
    tuple[str, dict[str, RawLayer], tuple[str, ...]]
        The region's TOML, the layers that are there by name (rows in the order of their keys), and the names of
        other tables of features.

    Raises
    ------
    InputError
        It is missing, no GeoPackage, damaged, too large, or has no table ``routeplan_region``.
    """
    check_file(path, LIMIT_BYTES)
    with _opened(path) as database:
        tables = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if not {"gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys"} <= tables:
            raise InputError(str(path), "is a database but no GeoPackage: it lacks the tables of OGC 12-128")
        text = _read_about(database, tables, path)
        contents = dict(database.execute("SELECT table_name, data_type FROM gpkg_contents"))
        found = {name: _read_layer(database, tables, schemas[name]) for name in schemas if name in contents}
        others = sorted(str(name) for name, kind in contents.items() if kind == "features" and name not in schemas)
    return text, found, tuple(others)


def write_geopackage(
    path: Path,
    layers: Mapping[str, gpd.GeoDataFrame],
    schemas: Mapping[str, LayerSchema],
    about: str | None = None,
) -> None:
    """Write layers as a new GeoPackage.

    Parameters
    ----------
    path
        The file: new, or there and empty.
    layers
        The layers by name, in the form of their schemas.
    schemas
        What they hold.
    about
        The region's TOML; None where the layers are no region.

    Raises
    ------
    InputError
        The file can't be written.
    """
    try:
        with contextlib.closing(sqlite3.connect(path)) as database:
            # Nothing is lost if this is cut short: the file is a draft until its writer puts it in its place.
            database.execute("PRAGMA journal_mode = OFF")
            database.execute("PRAGMA synchronous = OFF")
            database.executescript(_CORE_TABLES)
            wkt = pyproj.CRS(WGS84).to_wkt("WKT1_GDAL")
            systems = [*_UNDEFINED_SYSTEMS, ("WGS 84 geodetic", WGS84_ID, "EPSG", 4326, wkt, "longitude, latitude")]
            database.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", systems)
            for name, frame in layers.items():
                _write_layer(database, frame, schemas[name])
            if about is not None:
                _write_about(database, about)
            database.commit()
    except sqlite3.Error as error:
        raise InputError(str(path), f"can't be written: {error}") from error


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    try:
        database = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    except sqlite3.Error as error:
        raise InputError(str(path), f"can't be opened: {error}") from error
    # Text that is no UTF-8 comes through as lone surrogates, which the checker tells by row and column.
    database.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield database
    except sqlite3.DatabaseError as error:
        raise InputError(str(path), f"is no sound GeoPackage: {error}") from error
    finally:
        database.close()


def _read_about(database: sqlite3.Connection, tables: set[str], path: Path) -> str:
    remedy = "write it with routeplan, or add the table with the text of a region.toml in its column toml"
    if ABOUT_TABLE not in tables:
        raise InputError(str(path), f"has no table {ABOUT_TABLE}, which says what region it is", remedy=remedy)
    if "toml" not in {row[1] for row in database.execute(f"PRAGMA table_info({_quoted(ABOUT_TABLE)})")}:
        raise InputError(f"{path}, table {ABOUT_TABLE}", "has no column toml", remedy=remedy)
    rows = database.execute(f"SELECT toml FROM {_quoted(ABOUT_TABLE)} LIMIT 2").fetchall()  # noqa: S608  a constant
    if len(rows) != 1 or not isinstance(rows[0][0], str):
        raise InputError(f"{path}, table {ABOUT_TABLE}", "must have one row, with text in column toml", remedy=remedy)
    return str(rows[0][0])


def _read_layer(database: sqlite3.Connection, tables: set[str], schema: LayerSchema) -> RawLayer:
    name = schema.name
    nothing = object_array([])
    if name not in tables:
        fault = BadRow(name, 0, "table", "", "is a view or missing; store the layer as a table")
        return RawLayer(name, {}, nothing, (fault,))
    described = database.execute(
        "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    if described is None:
        return RawLayer(name, {}, nothing, (BadRow(name, 0, "geometry", "", "is missing; the table has no shapes"),))
    shape_column, srs_id = described
    crs_fault = _crs_fault(database, name, srs_id)
    if crs_fault is not None:
        return RawLayer(name, {}, nothing, (crs_fault,))
    columns = [(row[1], bool(row[5])) for row in database.execute(f"PRAGMA table_info({_quoted(name)})")]
    wanted = [column for column, is_key in columns if not is_key and column != shape_column]
    if shape_column not in {column for column, _ in columns}:
        return RawLayer(name, {}, nothing, (BadRow(name, 0, "geometry", "", "is missing; the table has no shapes"),))
    names = ", ".join(_quoted(column) for column in (shape_column, *wanted))
    rows = database.execute(f"SELECT {names} FROM {_quoted(name)} ORDER BY rowid").fetchall()  # noqa: S608  quoted
    shapes, faults = _read_shapes(name, [row[0] for row in rows])
    flags = {column.name for column in schema.columns if column.kind == "flag"}
    values = {
        column: [_flag(row[place]) if column in flags else row[place] for row in rows]
        for place, column in enumerate(wanted, start=1)
    }
    missing = [
        BadRow(name, 0, column.name, "", "column is missing; every row needs it")
        for column in schema.columns
        if column.required and column.name not in values and not rows  # the checker tells it where there are rows
    ]
    return RawLayer(name, values, shapes, (*missing, *faults))


def _flag(value: object) -> object:
    """Return the truth that SQLite keeps as 0 or 1, and some programs as a word."""
    words = {"true": True, "false": False}
    if isinstance(value, str):
        return words.get(value.lower(), value)
    return bool(value) if isinstance(value, int) and value in {0, 1} else value


def _crs_fault(database: sqlite3.Connection, name: str, srs_id: object) -> BadRow | None:
    row = database.execute(
        "SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys WHERE srs_id = ?",
        (srs_id,),
    ).fetchone()
    # -1 and 0 are the standard's words for an undefined system: OGC 12-128, requirement 11.
    if row is None or srs_id in {-1, 0}:
        return BadRow(name, 0, "crs", "", "is not stated; positions must be WGS 84 (EPSG:4326)")
    organization, number, definition = row
    if str(organization).upper() == "EPSG" and number == 4326:
        return None
    try:
        if pyproj.CRS.from_user_input(str(definition)).equals(pyproj.CRS(WGS84), ignore_axis_order=True):
            return None
    except pyproj.exceptions.CRSError:
        pass  # what can't be understood is not WGS 84
    return BadRow(name, 0, "crs", f"{organization}:{number}", "is not WGS 84; reproject to EPSG:4326")


def _read_shapes(name: str, blobs: Sequence[object]) -> tuple[NDArray[np.object_], list[BadRow]]:
    bodies = [_well_known_binary(blob) for blob in blobs]
    shapes = object_array(shapely.from_wkb(object_array(bodies), on_invalid="ignore"))
    faults = [
        BadRow(name, row, "geometry", "", "can't be read as a GeoPackage geometry")
        for row, (blob, shape) in enumerate(zip(blobs, shapes, strict=True), start=1)
        if blob is not None and shape is None
    ]
    return shapes, faults


def _well_known_binary(blob: object) -> bytes | None:
    """Return the WKB in a geometry of OGC 12-128, clause 2.1.3; None where it is none that a layer may have."""
    if not isinstance(blob, bytes) or len(blob) < 8 or blob[:2] != b"GP":
        return None
    code = blob[3] >> 1 & 7
    if code >= len(_ENVELOPE_BYTES):
        return None
    body = blob[8 + _ENVELOPE_BYTES[code] :]
    if len(body) < 5 or body[0] > 1:
        return None
    (kind,) = struct.unpack("<I" if body[0] else ">I", body[1:5])
    # Collections can be nested without end; a layer holds points, lines, polygons and their multiples: 1 to 6.
    return body if 1 <= (kind & 0x0FFF_FFFF) % 1000 <= 6 else None


def _write_layer(database: sqlite3.Connection, frame: gpd.GeoDataFrame, schema: LayerSchema) -> None:
    shapes = frame.geometry.to_numpy()
    kinds = {shape.geom_type.upper() for shape in shapes}
    if not kinds and len(schema.geometry) == 1:
        kinds = {{"point": "POINT", "line": "LINESTRING", "polygon": "POLYGON"}[schema.geometry[0]]}
    kind = kinds.pop() if len(kinds) == 1 else "GEOMETRY"
    table = _quoted(schema.name)
    typed = [f"{_quoted(column.name)} {_SQL_TYPES.get(column.kind, 'TEXT')}" for column in schema.columns]
    declared = ["fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL", f"geom {kind}", *typed]
    database.execute(f"CREATE TABLE {table} ({', '.join(declared)})")
    bounds = [float(edge) for edge in frame.total_bounds] if len(shapes) else [None] * 4
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, min_x, min_y, max_x, max_y, srs_id)"
        " VALUES (?, 'features', ?, ?, ?, ?, ?, ?)",
        (schema.name, schema.name, *bounds, WGS84_ID),
    )
    database.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)", (schema.name, kind, WGS84_ID))
    cells = [[_stored(value) for value in frame[column.name].tolist()] for column in schema.columns]
    marks = ", ".join("?" * (1 + len(cells)))
    names = ", ".join(["geom", *(_quoted(column.name) for column in schema.columns)])
    database.executemany(
        f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608  quoted names of our own schema
        zip(_blobs(shapes), *cells, strict=True),
    )


def _blobs(shapes: NDArray[np.object_]) -> Iterator[bytes]:
    """Yield each shape as OGC 12-128, clause 2.1.3, stores it: little-endian, with its envelope."""
    for shape, body in zip(shapes, shapely.to_wkb(shapes, byte_order=1), strict=True):
        west, south, east, north = shape.bounds
        yield b"GP\x00\x03" + struct.pack("<i4d", WGS84_ID, west, east, south, north) + body


def _stored(value: object) -> object:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float):
        return None if math.isnan(value) else value
    return value.isoformat() if isinstance(value, date) else value


def _write_about(database: sqlite3.Connection, about: str) -> None:
    database.execute(f"CREATE TABLE {ABOUT_TABLE} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, toml TEXT NOT NULL)")
    database.execute(f"INSERT INTO {ABOUT_TABLE} (toml) VALUES (?)", (about,))  # noqa: S608  a constant
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)",
        (ABOUT_TABLE, ABOUT_TABLE),
    )


def _quoted(name: str) -> str:
    """Quote a name for SQL; names come from the file."""
    return '"' + name.replace('"', '""') + '"'
