"""The rows of a table in our own words and units: numbers with their units, yes and no, dates, fuels.

What can't be read in one way only is a fault of its row, told with its line and column; nothing is guessed here.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import shapely

from layers.errors import InputError
from layers.schema import LAYERS
from layers.shapes import object_array
from layers.synonyms import CURRENCIES, NO_VALUE
from layers.tables import BadEntry
from layers.units import UNIT_WORDS, UNITS, unit_kind
from layers.value_guesses import fuel_of, fuels_in

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from layers.recipe import RecipeSource, Value
    from layers.schema import Column, LayerSchema
    from layers.tables import SourceTable

__all__ = ["Rows", "convert"]

_DIGITS = 12  # significant ones that a converted figure keeps: free of the last bits of the conversion
_NOWHERE_DEG = 1e-6  # [deg] a tenth of a metre: nearer than this to 0/0 a receiver had no position
_NUMBER = re.compile(
    r"(?P<number>[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(?P<unit>[^\d\s].*)?"
)
_YES = frozenset({"yes", "y", "true", "1", "x"})
_NO = frozenset({"no", "n", "false", "0"})
_PRICE_BEGINS = frozenset("0123456789.,\u20ac\u00a3$")
_DAY_FIRST = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_KINDS = {
    "LinearRing": "line",
    "LineString": "line",
    "MultiLineString": "line",
    "Point": "point",
    "MultiPoint": "point",
}


@dataclass(frozen=True)
class Rows:
    """Rows of a layer, in our words, unchecked.

    Parameters
    ----------
    columns
        A value for every row, by our column.
    shapes
        A geometry for every row.
    places
        Where in its table each row stands, from 0.
    faults
        What couldn't be read.
    notes
        Which rows were left out, and why.
    """

    columns: Mapping[str, list[object]]
    shapes: NDArray[np.object_]
    places: tuple[int, ...]
    faults: tuple[BadEntry, ...]
    notes: tuple[str, ...]


def convert(table: SourceTable, source: RecipeSource) -> Rows:
    """Put a table's rows into our words.

    Parameters
    ----------
    table
        The table.
    source
        The recipe's entry for it, with nothing left to guess.

    Returns
    -------
    Rows
        Its rows; none is left out without a note, and none that can't be read without a fault.
    """
    schema = LAYERS[source.as_ or ""]
    notes: list[str] = []
    places = _picked(table, source, notes)
    shapes, places = _fitting(table, schema, places, notes)
    faults = [fault for fault in table.faults if _belongs(fault, table, places)]
    columns: dict[str, list[object]] = {}
    for column in schema.columns:
        theirs = source.columns.get(column.name, "")
        if not theirs and column.name not in source.set_:
            continue
        reader = _Reader(column, source, table, theirs)
        columns[column.name] = [reader.read(place, faults) for place in places]
    if "name" in columns and schema.name == "waypoints":
        named = [i for i, name in enumerate(columns["name"]) if name is not None]
        if len(named) < len(places):
            notes.append(f"{_rows(len(places) - len(named))} without a name left out: nobody could ask for it")
            columns = {key: [cells[i] for i in named] for key, cells in columns.items()}
            shapes, places = shapes[named], [places[i] for i in named]
    faults += _nowhere(table, places, shapes, columns)
    return Rows(columns, shapes, tuple(places), tuple(faults), tuple(notes))


def _picked(table: SourceTable, source: RecipeSource, notes: list[str]) -> list[int]:
    """Return the rows that the recipe's `where` picks."""
    places = list(range(len(table.shapes)))
    for theirs, wanted in source.where.items():
        if theirs not in table.columns:
            problem = f"has no column {theirs!r}, by which the recipe picks rows"
            raise InputError(table.where, problem, remedy=f"it has {', '.join(table.columns) or 'none'}")
        texts = {_text(value).casefold() for value in wanted}
        cells = table.columns[theirs]
        places = [place for place in places if cells[place] is not None and _text(cells[place]).casefold() in texts]
    if source.where:
        notes.append(f"{len(table.shapes) - len(places):,} of {len(table.shapes):,} rows left out, as the recipe says")
    return places


def _fitting(
    table: SourceTable, schema: LayerSchema, places: list[int], notes: list[str]
) -> tuple[NDArray[np.object_], list[int]]:
    """Leave out shapes of a kind that the layer can't have; take areas as points where it has points alone."""
    kept: list[int] = []
    shapes: list[Any] = []
    lost: dict[str, int] = {}
    middles = 0
    for place in places:
        shape = table.shapes[place]
        kind = "" if shape is None else _KINDS.get(shape.geom_type, "polygon")
        if kind == "polygon" and schema.geometry == ("point",) and not shape.is_empty and shape.is_valid:
            shape, kind = shapely.point_on_surface(shape), "point"
            middles += 1
        if kind and kind not in schema.geometry:
            lost[kind] = lost.get(kind, 0) + 1
            continue
        kept.append(place)
        shapes.append(shape)
    wanted = " or ".join(f"{kind}s" for kind in schema.geometry)
    notes += [f"{_rows(count)} with {kind}s left out: {schema.name} are {wanted}" for kind, count in lost.items()]
    if middles:
        notes.append(f"{_rows(middles)} with an area taken as a point in its middle")
    return object_array(shapes), kept


def _rows(count: int) -> str:
    return f"{count:,} row{'' if count == 1 else 's'}"


def _belongs(fault: BadEntry, table: SourceTable, places: Sequence[int]) -> bool:
    """Tell whether a reader's fault is of a row that is used."""
    return len(places) == len(table.shapes) or fault.row in {table.row(place) for place in places}


def _nowhere(
    table: SourceTable, places: Sequence[int], shapes: NDArray[np.object_], columns: Mapping[str, list[object]]
) -> list[BadEntry]:
    rule = "its position is 0/0, which is what is written where none was known: give it, or leave the row out"
    names = columns.get("name", [None] * len(places))
    return [
        BadEntry(table.where, table.row(place), "position", "", rule, str(name or ""))
        for place, shape, name in zip(places, shapes, names, strict=True)
        if isinstance(shape, shapely.Point) and not shape.is_empty and max(abs(shape.x), abs(shape.y)) < _NOWHERE_DEG
    ]


class _RuleBrokenError(Exception):
    """A value breaks a rule; stays inside this module."""


class _Reader:
    """Reads one of our columns from a table."""

    def __init__(self, column: Column, source: RecipeSource, table: SourceTable, theirs: str) -> None:
        self._column = column
        self._theirs = theirs
        self._table = table
        self._values = {_text(key).casefold(): value for key, value in source.values.get(column.name, {}).items()}
        self._set: Value | None = source.set_.get(column.name)
        self._units = UNITS.get(unit_kind(column.name, column.unit), {})
        self._factor = self._units.get(source.units.get(column.name, ""), 1.0)
        parts = [theirs] if theirs in table.columns else [part.strip() for part in theirs.split(" + ")]
        self._cells = [table.columns[part] for part in parts if part in table.columns]
        self._parts = parts
        self._read = _READERS.get(column.kind, _as_text)
        self._by_fuel = column.kind == "fuels" and all(fuel_of(part) for part in parts) and self._tells_by_fuel()
        self.one_line = column.name.endswith("name")

    def _tells_by_fuel(self) -> bool:
        """Tell whether columns, one a fuel, say whether it is sold: by yes and no, or by its price."""
        told = {_text(cell).casefold() for cells in self._cells for cell in cells if cell is not None} - NO_VALUE
        return bool(told) and all(text in _YES | _NO or text[0] in _PRICE_BEGINS for text in told)

    def read(self, place: int, faults: list[BadEntry]) -> object:
        """Read one cell; a fault of it is added to the others."""
        try:
            value = self._joined(place) if self._by_fuel else self._single(place)
        except _RuleBrokenError as broken:
            cell = next((cells[place] for cells in self._cells if cells[place] is not None), "")
            name = self._table.columns.get("name", self._table.columns.get("Name", ()))
            called = str(name[place] or "") if len(name) else ""
            faults.append(
                BadEntry(self._table.where, self._table.row(place), self._theirs, _text(cell), str(broken), called)
            )
            return None
        return self._set if value is None else value

    def _single(self, place: int) -> object:
        cell = self._cells[0][place] if self._cells else None
        if cell is None or _text(cell).casefold() in NO_VALUE:
            return None
        if self._values:
            found = self._values.get(_text(cell).casefold())
            if found is None and not (isinstance(cell, str) and cell in self._column.choices):
                found = self._values.get("*")
            if found is not None:
                return found
        return self._read(cell, self)

    def _joined(self, place: int) -> object:
        """Read what a dock sells from a column for each fuel: yes, or a price."""
        sold = set()
        for part, cells in zip(self._parts, self._cells, strict=True):
            text = "" if cells[place] is None else _text(cells[place]).casefold()
            if text not in NO_VALUE | _NO:
                sold.add(fuel_of(part))
        if not sold:
            raise _RuleBrokenError("says that it sells neither gasoline nor diesel: leave the row out, or correct it")
        return ",".join(fuel for fuel in self._column.choices if fuel in sold)

    def number(self, cell: object) -> float:
        """Read a number, in our unit."""
        if isinstance(cell, bool):
            raise _RuleBrokenError("must be a number")
        if isinstance(cell, int | float):
            return _kept(float(cell), self._factor)
        text = self._bare(_text(cell))
        found = _NUMBER.fullmatch(text)
        if found is None:
            raise _RuleBrokenError("is no number: write it in digits, or leave it empty where it is not known")
        number, unit = found["number"], found["unit"]
        if "," in number:
            if not self._table.decimal_comma:
                raise _RuleBrokenError("has a comma in its number: write the decimal point as 2.4")
            number = number.replace(",", ".")
        factor = self._factor
        if unit:
            factor = self._units.get(self._unit(unit), math.nan)
            if math.isnan(factor):
                raise _RuleBrokenError(
                    f"has a unit that isn't known here: write it in {self._choices()}, or the number alone"
                )
        return _kept(float(number), factor)

    def _bare(self, text: str) -> str:
        """Take the currency out of a price."""
        if not self._column.name.startswith("price_"):
            return text
        text = re.sub(r"[\u20ac\u00a3$]", " ", text)
        return " ".join(word for word in text.split() if word.lower() not in CURRENCIES)

    def _unit(self, text: str) -> str:
        words = re.findall(r"[a-z%]+", text.lower().replace("'", "ft"))
        joined = "".join(words)
        if joined in {"kmh", "mph", "kph"}:
            return UNIT_WORDS[joined]
        if joined in {"ms", "mps"} and "m/s" in self._units:
            return "m/s"
        if "gal" in joined:
            return "usgal" if "us" in joined else "impgal" if "imp" in joined else "gal"
        known = [UNIT_WORDS["percent" if word == "%" else word] for word in words if word == "%" or word in UNIT_WORDS]
        return known[0] if known else text

    def _choices(self) -> str:
        return " or ".join(self._units) or "our own unit"


def _as_number(cell: object, reader: _Reader) -> object:
    return reader.number(cell)


def _as_integer(cell: object, reader: _Reader) -> object:
    number = reader.number(cell)
    return int(number) if number.is_integer() else number


def _as_flag(cell: object, _: _Reader) -> object:
    text = _text(cell).casefold()
    if text in _YES:
        return True
    if text in _NO:
        return False
    raise _RuleBrokenError("is neither yes nor no")


def _as_date(cell: object, _: _Reader) -> object:
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    text = _text(cell)
    if re.fullmatch(r"\d{4}-\d\d-\d\d([T ].*)?", text):
        return text[:10]
    found = _DAY_FIRST.fullmatch(text)
    if found is None:
        raise _RuleBrokenError("is no date: write it as 2026-06-20")
    first, sign, second, year = found.groups()
    a, b = int(first), int(second)
    if sign != "." and a <= 12 and b <= 12 and a != b:
        raise _RuleBrokenError("may be either of two days: write it as 2026-06-20")
    day, month = (b, a) if sign != "." and b > 12 else (a, b)
    try:
        return date(int(year), month, day)
    except ValueError as error:
        raise _RuleBrokenError("is no day of the calendar: write it as 2026-06-20") from error


def _as_fuels(cell: object, _: _Reader) -> object:
    fuels = fuels_in(_text(cell))
    if not fuels:
        raise _RuleBrokenError(
            "names something that is neither gasoline nor diesel: leave it out, or say in a recipe what it is, under"
            " [source.values.fuels]"
        )
    return fuels


def _as_text(cell: object, reader: _Reader) -> object:
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return cell  # a VHF channel or a telephone number: the checker writes it out
    text = _text(cell)
    return " ".join(text.split()) if reader.one_line else text


_READERS: dict[str, Callable[[object, _Reader], object]] = {
    "number": _as_number,
    "integer": _as_integer,
    "flag": _as_flag,
    "date": _as_date,
    "fuels": _as_fuels,
}


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _kept(number: float, factor: float) -> float:
    return number if factor == 1.0 or not math.isfinite(number) else float(f"{number * factor:.{_DIGITS}g}")
