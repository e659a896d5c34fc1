"""Tables of places as CSV: commas, semicolons or tabs, decimal points or commas, positions as people write them.

Every row is understood, or refused by its line.
"""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

import shapely

from layers.errors import InputError
from layers.files import check_file, describe
from layers.positions import read_degrees, read_position
from layers.shapes import object_array
from layers.tables import BadEntry, SourceTable

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

__all__ = ["LIMIT_BYTES", "has_positions", "position_columns", "read_csv_table"]

LIMIT_BYTES = 64_000_000  # bytes: half a million docks
_LATITUDE = ("lat", "latitude", "lat dd", "y", "ycoord", "y coord")
_LONGITUDE = ("lon", "long", "lng", "longitude", "lon dd", "x", "xcoord", "x coord")
_BOTH = ("position", "pos", "positions", "coordinates", "coordinate", "coords", "lat lon", "latlon", "location")
_DECIMAL_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")
_STATED = re.compile(r"sep=(?P<mark>[,;\t])\r?\n", re.IGNORECASE)  # how some spreadsheets say what parts the columns
_MARKS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_EXAMPLE = "name,lat,lon,fuels"


def read_csv_table(path: Path) -> SourceTable:
    """Read a table of places.

    Parameters
    ----------
    path
        The file; its first line names the columns. One or two of them hold the position.

    Returns
    -------
    SourceTable
        Its rows, those without a position that can be read each with a fault; empty lines are passed over.

    Raises
    ------
    InputError
        The file can't be read, is no CSV in UTF-8, has no rows, or no column says where the places are.
    """
    text = _text(path)
    stated = _STATED.match(text)
    mark = stated["mark"] if stated else _delimiter(text)
    rows = _rows(path, text, mark)
    if stated:
        next(rows, None)
    header = next(rows, (0, []))[1]
    names = [" ".join(cell.split()) for cell in header]
    if not names:
        raise InputError(str(path), "names no columns", remedy=f"its first line must name them, such as {_EXAMPLE}")
    twice = next((name for name in names if name and names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"{path}, line 1", "names a column twice", value=twice, remedy="rename one of them")
    at = position_columns(names)
    if not at:
        problem = f"has no columns that say where the places are; it has {', '.join(filter(None, names))}"
        remedy = "call them lat and lon, or put both into one called position"
        raise InputError(f"{path}, line 1", problem, remedy=remedy)
    comma = mark != ","
    cells: list[list[str]] = []
    lines: list[int] = []
    shapes: list[object] = []
    faults: list[BadEntry] = []
    for line, row in rows:
        if len(row) != len(names) and any(cell.strip() for cell in row[len(names) :]):
            hint = ", such as the decimal comma of a number: write it with a point" if mark == "," else ""
            rule = (
                f"has {len(row)} cells, and the first line names {len(names)} columns: look for a stray {mark!r}{hint}"
            )
            faults.append(BadEntry(str(path), f"line {line:,}", "", "", rule, _called(row, names)))
            cells.append([""] * len(names))  # nobody knows which cell belongs to which column
            lines.append(line)
            shapes.append(None)
            continue
        padded = [*row, *[""] * (len(names) - len(row))][: len(names)]
        shape, fault = _place(path, line, padded, names, at, comma=comma)
        if fault and len(at) == 1 and _is_split(padded, names.index(at[0])):
            rule = "has its position in two cells, so that all behind it stand one too far: put both into one"
            fault = BadEntry(str(path), f"line {line:,}", at[0], fault.value, rule, _called(row, names))
            padded = [""] * len(names)
        faults += [fault] if fault else []
        cells.append(padded)
        lines.append(line)
        shapes.append(shape)
    if not cells:
        raise InputError(str(path), "has a line of names, and no rows")
    columns = {
        name: [row[place].strip() or None for row in cells]
        for place, name in enumerate(names)
        if name and name not in at
    }
    notes = [f"columns parted by {_MARKS[mark]}, position from {' and '.join(at)}"]
    nameless = [place for place, name in enumerate(names) if not name and any(row[place].strip() for row in cells)]
    if nameless:
        numbers = ", ".join(str(place + 1) for place in nameless)
        notes.append(f"columns without a name not used: {numbers}")
    return SourceTable(
        path,
        "",
        columns,
        object_array(shapes),
        lines,
        "line",
        decimal_comma=comma,
        faults=tuple(faults),
        notes=tuple(notes),
    )


def has_positions(path: Path) -> bool:
    """Tell whether a file of text begins like a table of places.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    bool
        Whether its first line names columns that say where places are.

    Raises
    ------
    InputError
        It can't be read as text.
    """
    text = _text(path)
    mark = _delimiter(text)
    return bool(position_columns([cell.strip() for cell in next(_rows(path, text, mark), (0, []))[1]]))


def position_columns(names: Sequence[str]) -> tuple[str, ...]:
    """Find the columns that say where a place is.

    Parameters
    ----------
    names
        Names of the columns as the file has them.

    Returns
    -------
    tuple[str, ...]
        Latitude and longitude, or the one that holds both; empty where there are none.

    Examples
    --------
    >>> position_columns(["Name", "Longitude", "LAT"])
    ('LAT', 'Longitude')
    """
    plain = {" ".join(re.sub(r"[\W_]+", " ", name).lower().split()): name for name in reversed(names)}
    latitude = next((plain[word] for word in _LATITUDE if word in plain), None)
    longitude = next((plain[word] for word in _LONGITUDE if word in plain), None)
    if latitude is not None and longitude is not None:
        return (latitude, longitude)
    both = next((plain[word] for word in _BOTH if word in plain), None)
    return (both,) if both is not None else ()


def _place(
    path: Path, line: int, row: Sequence[str], names: Sequence[str], at: Sequence[str], *, comma: bool
) -> tuple[object, BadEntry | None]:
    texts = [row[names.index(name)].strip() for name in at]
    given = ", ".join(texts)
    if comma:
        texts = [_DECIMAL_COMMA.sub(".", text) for text in texts]
    entry = (str(path), f"line {line:,}")
    try:
        if not all(texts):
            return None, BadEntry(
                *entry, " and ".join(at), given.strip(", "), "has no position: give one, or leave the row out"
            )
        if len(at) == 1:
            lon, lat = read_position(texts[0], at[0])
        else:
            lat, lon = (read_degrees(texts[0], "latitude", at[0]), read_degrees(texts[1], "longitude", at[1]))
    except InputError as error:
        rule = f"{error.problem}{f': {error.remedy}' if error.remedy else ''}"
        return None, BadEntry(*entry, error.where, given, rule)
    return shapely.Point(lon, lat), None


def _is_split(row: Sequence[str], place: int) -> bool:
    """Tell whether a cell and the one behind it each hold one number of degrees."""
    pair = row[place : place + 2]
    return len(pair) == 2 and all(
        re.fullmatch(r"[+-]?\d{1,3}[.,]\d+\s*\u00b0?\s*[NSEWnsew]?", cell.strip()) for cell in pair
    )


def _called(row: Sequence[str], names: Sequence[str]) -> str:
    """Return what a row with too many cells is likely called: its first cell, where the first column is for names."""
    return row[0].strip() if names[0].lower() in {"name", "dock", "place", "title"} else ""


def _text(path: Path) -> str:
    check_file(path, LIMIT_BYTES)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError(str(path), "is text in UTF-16", remedy="save it again as CSV in UTF-8")
    if b"\x00" in raw:
        raise InputError(str(path), "holds NUL bytes, which no text has", remedy="save it again as CSV in UTF-8")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        problem = f"is not text in UTF-8 (byte {raw[error.start]:#04x})"
        raise InputError(f"{path}, line {line:,}", problem, remedy="save it again as CSV in UTF-8") from error


def _delimiter(text: str) -> str:
    """Return what parts the columns: whichever the line of names has most of, outside quotes."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"', "", first)
    return max((",", ";", "\t"), key=bare.count)


def _rows(path: Path, text: str, mark: str) -> Iterator[tuple[int, list[str]]]:
    """Give each row with the line that it begins on; empty ones are passed over."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    began = 1
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as error:
            remedy = 'look at its quotes: a " within a text is doubled'
            raise InputError(f"{path}, line {began:,}", f"is not CSV: {error}", remedy=remedy) from error
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            yield began, cells
        began = reader.line_num + 1
