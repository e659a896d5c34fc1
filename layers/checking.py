"""Check the rows of a layer against its schema, and make frames of one form.

Every fault of every row is collected before anything is reported: a person who mends a file wants to mend it once.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from layers.constituents import read_constituents
from layers.errors import BadRow, InputError, LayersError
from layers.hours import read_hours
from layers.shapes import check_shapes, object_array

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from layers.schema import Column, LayerSchema

    Extent = tuple[float, float, float, float]
    Geometries = NDArray[np.object_]

__all__ = ["RawLayer", "build_layer", "check_layer", "check_raw", "empty_layer", "python_value"]

WGS84 = "EPSG:4326"
LONGEST_TEXT = 10_000  # characters; a note of three pages
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d")


@dataclass(frozen=True)
class RawLayer:
    """A layer as a reader found it, unchecked.

    Parameters
    ----------
    name
        Name of the layer.
    columns
        A value for every row, by column; None where the row has none.
    geometry
        A shapely geometry for every row; None where there is none or it could not be made.
    faults
        What the reader found wrong itself: the whole layer (row 0) or a row's geometry.
    """

    name: str
    columns: Mapping[str, Sequence[object]]
    geometry: Geometries
    faults: tuple[BadRow, ...] = ()


class _RuleBrokenError(Exception):
    """A value breaks a rule; stays inside this module."""


def empty_layer(schema: LayerSchema) -> gpd.GeoDataFrame:
    """Make a layer without rows.

    Parameters
    ----------
    schema
        What the layer holds.

    Returns
    -------
    GeoDataFrame
        All columns with their types, no rows, WGS 84.

    Examples
    --------
    >>> from layers.schema import LAYERS
    >>> list(empty_layer(LAYERS["waypoints"]).columns)
    ['name', 'kind', 'geometry']
    """
    nothing: dict[str, list[object]] = {name: [] for name in schema.column_names}
    return _frame(schema, nothing, np.empty(0, dtype=object))


def build_layer(
    schema: LayerSchema,
    rows: Sequence[Mapping[str, object]],
    geometries: Sequence[object],
    *,
    zone: ZoneInfo | None = None,
) -> gpd.GeoDataFrame:
    """Make a layer from values that were computed.

    Parameters
    ----------
    schema
        What the layer holds.
    rows
        The values of each row by column; optional ones may be left out.
    geometries
        A shapely geometry for each row, in (lon, lat).
    zone
        Time zone that hours are written in; UTC where there are none.

    Returns
    -------
    GeoDataFrame
        The layer, in the form of the schema.

    Raises
    ------
    LayersError
        Rows break the schema; carries all of them.

    Examples
    --------
    >>> import shapely
    >>> from layers.schema import LAYERS
    >>> frame = build_layer(LAYERS["waypoints"], [{"name": "Knap", "kind": "mark"}], [shapely.Point(-38, 44)])
    >>> frame.loc[0, "name"]
    'Knap'
    """
    names = {name for row in rows for name in row}
    columns = {name: [row.get(name) for row in rows] for name in names}
    unknown = sorted(names - set(schema.column_names))
    faults = [BadRow(schema.name, 0, name, "", "is no column of this layer") for name in unknown]
    raw = RawLayer(schema.name, columns, object_array(geometries), tuple(faults))
    clean, bad = check_raw(raw, schema, zone=zone or ZoneInfo("UTC"))
    if bad:
        raise LayersError("computed layers", bad)
    return clean


def check_layer(
    frame: gpd.GeoDataFrame, schema: LayerSchema, *, zone: ZoneInfo, extent: Extent | None = None
) -> tuple[gpd.GeoDataFrame, list[BadRow]]:
    """Check a frame against a schema.

    Parameters
    ----------
    frame
        Any GeoDataFrame; columns that the schema lacks are left out, NaN and None mean absent.
    schema
        What the layer must hold.
    zone
        Time zone that hours are written in.
    extent
        [deg] West, south, east, north of the region, to notice swapped positions; None: they aren't looked for.

    Returns
    -------
    tuple[GeoDataFrame, list[BadRow]]
        The rows without a fault, in the form of the schema; and every fault of the others, in the order of rows.
    """
    faults = []
    if frame.crs is None:
        faults.append(BadRow(schema.name, 0, "crs", "", "is not stated; positions must be WGS 84 (EPSG:4326)"))
    elif not frame.crs.equals(WGS84):
        found = frame.crs.to_string()
        faults.append(BadRow(schema.name, 0, "crs", found, "is not WGS 84; reproject to EPSG:4326"))
    attributes = frame.drop(columns=frame.geometry.name)
    columns = {str(name): [python_value(value) for value in attributes[name]] for name in attributes.columns}
    return check_raw(
        RawLayer(schema.name, columns, object_array(frame.geometry.to_numpy()), tuple(faults)),
        schema,
        zone=zone,
        extent=extent,
    )


def check_raw(
    raw: RawLayer, schema: LayerSchema, *, zone: ZoneInfo, extent: Extent | None = None
) -> tuple[gpd.GeoDataFrame, list[BadRow]]:
    """Check what a reader found against a schema.

    Parameters
    ----------
    raw
        The layer as found; a number that is NaN is a fault here, for it was written so.
    schema
        What the layer must hold.
    zone
        Time zone that hours are written in.
    extent
        [deg] West, south, east, north of the region, to notice swapped positions; None: they aren't looked for.

    Returns
    -------
    tuple[GeoDataFrame, list[BadRow]]
        The rows without a fault, in the form of the schema; and every fault of the others, in the order of rows.
    """
    count = len(raw.geometry)
    faults = list(raw.faults)
    values: dict[str, list[Any]] = {}
    for column in schema.columns:
        found = raw.columns.get(column.name)
        if found is None:
            found = [None] * count
            if column.required and count:
                faults.append(BadRow(schema.name, 0, column.name, "", "column is missing; every row needs it"))
                values[column.name] = [None] * count
                continue
        values[column.name] = _checked_column(column, found, schema.name, zone, faults)
    faults += _unmet_needs(schema, values, faults)
    told = {fault.row for fault in raw.faults if fault.column == "geometry"}
    geometry, geometry_faults = check_shapes(raw.geometry, schema, extent, told)
    faults += geometry_faults
    order = {name: place for place, name in enumerate((*schema.column_names, "geometry"))}
    faults.sort(key=lambda fault: (fault.row, order.get(fault.column, -1)))
    bad_rows = {fault.row - 1 for fault in faults}
    keep = [] if -1 in bad_rows else [row for row in range(count) if row not in bad_rows]
    kept = {name: [column[row] for row in keep] for name, column in values.items()}
    return _frame(schema, kept, geometry[keep]), faults


def _checked_column(
    column: Column, found: Sequence[object], layer: str, zone: ZoneInfo, faults: list[BadRow]
) -> list[Any]:
    clean: list[Any] = []
    for row, value in enumerate(found, start=1):
        try:
            read = None if value is None else _read_value(column, value, zone)
            rule = "is missing; every row needs it" if read is None and column.required else ""
        except _RuleBrokenError as broken:
            read, rule = None, str(broken)
        if rule:
            faults.append(BadRow(layer, row, column.name, _shown(value), rule))
        clean.append(read)
    return clean


def _unmet_needs(schema: LayerSchema, values: Mapping[str, list[Any]], faults: Sequence[BadRow]) -> list[BadRow]:
    already = {(fault.row, fault.column) for fault in faults}
    unmet = []
    for column in schema.columns:
        if column.needed_for is None:
            continue
        other, needing = column.needed_for
        for row, (value, cause) in enumerate(zip(values[column.name], values[other], strict=True), start=1):
            if value is None and cause == needing and (row, column.name) not in already:
                unmet.append(BadRow(schema.name, row, column.name, "", f"is missing; {other} {needing!r} needs it"))
    return unmet


def _read_value(column: Column, value: object, zone: ZoneInfo) -> object:
    match column.kind:
        case "number":
            return _read_number(column, value)
        case "integer":
            number = _read_number(column, value)
            if not number.is_integer():
                raise _RuleBrokenError("must be a whole number")
            return int(number)
        case "flag":
            if not isinstance(value, bool):
                raise _RuleBrokenError("must be true or false")
            return value
        case "date":
            return _read_date(value)
        case _:
            text = _read_text(value, one_line=column.name.endswith("name"))
            return text and _read_meaning(column, text, zone)


def _read_meaning(column: Column, text: str, zone: ZoneInfo) -> str:
    if column.kind == "choice" and text not in column.choices:
        raise _RuleBrokenError(f"must be one of {', '.join(column.choices)}")
    try:
        if column.kind == "hours":
            read_hours(text, zone)
        elif column.kind == "harmonics":
            read_constituents(text)
    except InputError as error:
        raise _RuleBrokenError(f"{error.problem}; {error.remedy}".removesuffix("; ")) from error
    if column.kind == "fuels":
        named = [part.strip().lower() for part in text.split(",")]
        if any(part not in column.choices for part in named):
            raise _RuleBrokenError(f"must be fuels with commas between them, out of {', '.join(column.choices)}")
        return ",".join(fuel for fuel in column.choices if fuel in named)
    return text


def _read_text(value: object, *, one_line: bool) -> str | None:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _RuleBrokenError("must be text")
    if isinstance(value, float):  # a VHF channel of 16.0 was a 16 before some table program met it
        if not math.isfinite(value):
            raise _RuleBrokenError("must be text")
        value = int(value) if value.is_integer() else repr(value)
    if isinstance(value, int) and abs(value) >= 10**18:  # longer ones are no channel or telephone number
        raise _RuleBrokenError("must be text")
    text = str(value).replace("\r\n", "\n").strip()
    if _CONTROL.search(text):
        raise _RuleBrokenError("must be text without control characters")
    if one_line and re.search(r"[\n\r\t\u2028\u2029]", text):
        raise _RuleBrokenError("must be one line")
    if len(text) > LONGEST_TEXT:
        raise _RuleBrokenError(f"must be at most {LONGEST_TEXT} characters")
    return text or None


def _read_number(column: Column, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _RuleBrokenError("must be a number, without quotes or unit")
    try:
        number = float(value)
    except OverflowError as error:
        raise _RuleBrokenError("must be a finite number") from error
    if not math.isfinite(number):
        raise _RuleBrokenError("must be a finite number")
    low, high = column.low, column.high
    if (low is not None and number < low) or (high is not None and number > high):
        unit = f" {column.unit}" if column.unit else ""
        limits = f"between {low:g} and {high:g}" if low is not None and high is not None else f"at least {low:g}"
        raise _RuleBrokenError(f"must be {limits}{unit}")
    return number


def _read_date(value: object) -> date:
    if isinstance(value, datetime):
        value = value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, str) and _ISO_DATE.fullmatch(value.strip()):
        try:
            return date.fromisoformat(value.strip())
        except ValueError as error:
            raise _RuleBrokenError("must be a day of the calendar, such as 2026-07-01") from error
    raise _RuleBrokenError("must be a date such as 2026-07-01")


def _frame(schema: LayerSchema, values: Mapping[str, list[Any]], geometry: Geometries) -> gpd.GeoDataFrame:
    data = {column.name: _series(column, values[column.name]) for column in schema.columns}
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(geometry, crs=WGS84), crs=WGS84)


def _series(column: Column, values: list[Any]) -> pd.Series:
    if column.kind == "integer" and column.required:
        return pd.Series(np.array([0 if value is None else value for value in values], dtype=np.int64))
    if column.kind in {"number", "integer"}:
        return pd.Series(np.array([math.nan if value is None else value for value in values], dtype=np.float64))
    return pd.Series(object_array(values), dtype=object)


def python_value(value: Any) -> Any:
    """Return a value as plain Python has it.

    Parameters
    ----------
    value
        A cell of a frame or an array.

    Returns
    -------
    object
        The same without numpy's or pandas' type; None where it is NaN, NaT or NA.
    """
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    return value


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    try:
        text = str(value)
    except ValueError:  # a whole number of thousands of digits
        return "a very long number"
    text = text.encode("utf-8", "backslashreplace").decode()
    return text if len(text) <= 80 else f"{text[:76]} ..."
