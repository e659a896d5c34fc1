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
from layers.plain_hours import HOURS_REMEDY, plain_hours
from layers.schema import LAYERS
from layers.shapes import object_array
from layers.synonyms import MONEY, NO_FUEL, NO_VALUE
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

_NOT_WHETHER = "is neither yes nor no, nor a price"
_NO_NUMBER = "is no number"
_THIN_DEG = 1e-5  # [deg] on either side of a line: about a metre
_MONTHS = 12  # in a year
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


def _outline(shape: Any) -> Any:
    """Take an area as the line round it, so that a bridge drawn as an area bars its water from either side."""
    return shapely.boundary(shape) if shapely.get_dimensions(shape) == 2 else None


def _strip(shape: Any) -> Any:
    """Take a line, such as a breakwater, as a strip."""
    return shapely.buffer(shape, _THIN_DEG) if shapely.get_dimensions(shape) == 1 else None


_REDRAWN: dict[str, Callable[[Any], Any]] = {"overhead": _outline, "hazards": _strip}


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
    shapes, places = _readable(table, shapes, places)
    columns: dict[str, list[object]] = {}
    for column in schema.columns:
        theirs = source.columns.get(column.name, "")
        if not theirs and column.name not in source.set_:
            continue
        reader = _Reader(column, source, table, theirs)
        columns[column.name] = [reader.read(place, faults) for place in places]
        notes += reader.notes
    if "name" in columns and schema.name == "waypoints":
        named = [i for i, name in enumerate(columns["name"]) if name is not None]
        if len(named) < len(places):
            notes.append(f"{_rows(len(places) - len(named))} without a name left out: nobody could ask for it")
            columns = {key: [cells[i] for i in named] for key, cells in columns.items()}
            shapes, places = shapes[named], [places[i] for i in named]
    if schema.name == "docks" and "no" in (sold := columns.get("fuels", [])):
        pumps = [i for i, fuels in enumerate(sold) if fuels != "no"]
        names = [
            str(name)
            for name, fuels in zip(columns.get("name", [None] * len(sold)), sold, strict=True)
            if fuels == "no"
        ]
        notes.append(
            f"{_rows(len(names))} that sell no fuel left out: {', '.join(names[:5])}{', ...' if len(names) > 5 else ''}"
        )
        columns = {key: [cells[i] for i in pumps] for key, cells in columns.items()}
        shapes, places = shapes[pumps], [places[i] for i in pumps]
    if schema.name == "docks" and "fuels" in columns:
        faults = _settle_fuels(columns, faults)
    faults += _nowhere(table, places, shapes, columns)
    return Rows(columns, shapes, tuple(places), tuple(faults), tuple(notes))


def _readable(
    table: SourceTable, shapes: NDArray[np.object_], places: list[int]
) -> tuple[NDArray[np.object_], list[int]]:
    """Pass over rows whose cells the reader gave up, which have a fault already."""
    bad = {fault.row for fault in table.faults}
    if not bad:
        return shapes, places
    blank = {
        place
        for place in places
        if table.row(place) in bad and all(cells[place] is None for cells in table.columns.values())
    }
    kept = [i for i, place in enumerate(places) if place not in blank]
    return shapes[kept], [places[i] for i in kept]


def _settle_fuels(columns: Mapping[str, list[object]], faults: list[BadEntry]) -> list[BadEntry]:
    """Take prices of nothing from what isn't sold, and a cell that is a fault of fuels out of those of prices."""
    for column, prices in columns.items():
        if column.startswith("price_"):
            sold = [str(fuels or "") for fuels in columns["fuels"]]
            prices[:] = [
                None if p == 0 and fuel_of(column) not in fuels else p for p, fuels in zip(prices, sold, strict=True)
            ]
    told = {(fault.row, fault.column) for fault in faults if fault.rule.startswith(_NOT_WHETHER)}
    return [fault for fault in faults if (fault.row, fault.column) not in told or not fault.rule.startswith(_NO_NUMBER)]


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
    middles = redrawn = 0
    for place in places:
        shape = table.shapes[place]
        kind = "" if shape is None else _KINDS.get(shape.geom_type, "polygon")
        if kind == "polygon" and schema.geometry == ("point",) and not shape.is_empty and shape.is_valid:
            shape, kind = shapely.point_on_surface(shape), "point"
            middles += 1
        elif kind and kind not in schema.geometry and schema.name in _REDRAWN and shape.is_valid and not shape.is_empty:
            fits = _REDRAWN[schema.name](shape)
            shape, kind, redrawn = (
                (fits, schema.geometry[-1], redrawn + 1) if fits is not None else (shape, kind, redrawn)
            )
        if kind and kind not in schema.geometry:
            lost[kind] = lost.get(kind, 0) + 1
            continue
        kept.append(place)
        shapes.append(shape)
    wanted = " or ".join(f"{kind}s" for kind in schema.geometry)
    notes += [f"{_rows(count)} with {kind}s left out: {schema.name} are {wanted}" for kind, count in lost.items()]
    if redrawn:
        how = "an area taken as its outline" if schema.name == "overhead" else "a line taken as a strip of some 2 m"
        notes.append(f"{_rows(redrawn)} with {how}")
    if middles:
        notes.append(f"{_rows(middles)} with an area taken as a point in its middle")
    return object_array(shapes), kept


def _rows(count: int) -> str:
    return f"{count:,} row{'' if count == 1 else 's'}"


def _belongs(fault: BadEntry, table: SourceTable, places: Sequence[int]) -> bool:
    """Tell whether a reader's fault is of a row that is used."""
    return not fault.column or len(places) == len(table.shapes) or fault.row in {table.row(place) for place in places}


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

    def __init__(self, rule: str, column: str = "", value: str = "") -> None:
        super().__init__(rule)
        self.column = column
        self.value = value


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
        self.notes: list[str] = []
        self.day_first = self._find_day_first() if column.kind == "date" else None

    def _tells_by_fuel(self) -> bool:
        """Tell whether columns, one a fuel, say whether it is sold: by yes and no, or by its price."""
        told = {_text(cell).casefold() for cells in self._cells for cell in cells if cell is not None} - NO_VALUE
        return 2 * sum(_says_whether(text) for text in told) > len(told)

    def _find_day_first(self) -> bool | None:
        """Tell from days above 12 in a column of dates which of its numbers is the day; None where none tells."""
        told: dict[bool, int] = {}
        unsure = False
        for place, cell in enumerate(self._cells[0] if self._cells else ()):
            found = _DAY_FIRST.fullmatch(_text(cell)) if cell is not None else None
            if found is None or found[2] == ".":
                continue
            first, second = int(found[1]), int(found[3])
            if max(first, second) > _MONTHS:
                told.setdefault(first > _MONTHS, place)
            unsure = unsure or (max(first, second) <= _MONTHS and first != second)
        if len(told) != 1:
            return None
        ((day_first, place),) = told.items()
        if unsure:
            order = "day" if day_first else "month"
            self.notes.append(f"dates of {self._theirs!r} are read {order} first, as {self._table.row(place)} has them")
        return day_first

    def read(self, place: int, faults: list[BadEntry]) -> object:
        """Read one cell; a fault of it is added to the others."""
        try:
            value = self._joined(place) if self._by_fuel else self._single(place)
        except _RuleBrokenError as broken:
            cell = broken.value or next((cells[place] for cells in self._cells if cells[place] is not None), "")
            column = broken.column or self._theirs
            name = self._table.columns.get("name", self._table.columns.get("Name", ()))
            called = str(name[place] or "") if len(name) else ""
            faults.append(BadEntry(self._table.where, self._table.row(place), column, _text(cell), str(broken), called))
            return None
        return self._set if value is None else value

    def _single(self, place: int) -> object:
        cell = self._cells[0][place] if self._cells else None
        if cell is None:
            return None
        text = _text(cell).casefold()
        found = self._values.get(text)
        if found in {None, ""} and text in NO_VALUE:
            return None
        if found in {None, ""} and not (isinstance(cell, str) and cell in self._column.choices):
            found = self._values.get("*")
        if found not in {None, ""}:
            return None if str(found).casefold() in NO_VALUE else found
        return self._read(cell, self)

    def _joined(self, place: int) -> object:
        """Read what a dock sells from a column for each fuel: yes, or a price."""
        sold = set()
        for part, cells in zip(self._parts, self._cells, strict=True):
            text = "" if cells[place] is None else _text(cells[place]).casefold()
            if text in NO_VALUE | _NO:
                continue
            if not _says_whether(text):
                remedy = f"correct it, or leave it empty where no {fuel_of(part)} is sold"
                raise _RuleBrokenError(f"{_NOT_WHETHER}: {remedy}", part, _text(cells[place]))
            sold.add(fuel_of(part))
        if not sold:
            raise _RuleBrokenError("says that it sells neither gasoline nor diesel: leave the row out, or correct it")
        return ",".join(fuel for fuel in self._column.choices if fuel in sold)

    def number(self, cell: object) -> float | None:
        """Read a number, in our unit."""
        if isinstance(cell, bool):
            raise _RuleBrokenError("must be a number")
        if isinstance(cell, int | float):
            return _kept(float(cell), self._factor)
        text = self._bare(_text(cell))
        if self._column.name.startswith("price_") and text.casefold() in _YES | _NO - {"1", "0"}:
            return None  # says whether it is sold, and `fuels` takes it from here
        found = _NUMBER.fullmatch(text)
        if found is None:
            raise _RuleBrokenError(f"{_NO_NUMBER}: write it in digits, or leave it empty where it is not known")
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
        return " ".join(word for word in text.split() if word.lower() not in MONEY)

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
    return int(number) if number is not None and number.is_integer() else number


def _as_flag(cell: object, _: _Reader) -> object:
    text = _text(cell).casefold()
    if text in _YES:
        return True
    if text in _NO:
        return False
    raise _RuleBrokenError("is neither yes nor no")


def _as_date(cell: object, reader: _Reader) -> object:
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
    turned = sign != "." and (b > _MONTHS or (reader.day_first is False and a <= _MONTHS))
    if sign != "." and a <= _MONTHS and b <= _MONTHS and a != b and reader.day_first is None:
        raise _RuleBrokenError("may be either of two days: write it as 2026-06-20")
    day, month = (b, a) if turned else (a, b)
    try:
        return date(int(year), month, day)
    except ValueError as error:
        raise _RuleBrokenError("is no day of the calendar: write it as 2026-06-20") from error


def _as_fuels(cell: object, _: _Reader) -> object:
    text = _text(cell)
    if text.casefold() in NO_FUEL:
        return "no"
    fuels = fuels_in(text)
    if not fuels:
        raise _RuleBrokenError(
            "names something that is neither gasoline nor diesel: leave it out, write no where neither is sold, or"
            " say in a recipe what it is, under [source.values.fuels]"
        )
    return fuels


def _as_hours(cell: object, _: _Reader) -> object:
    text = _text(cell)
    hours = plain_hours(text)
    if not hours:
        raise _RuleBrokenError(
            f"can't be read as hours in one way only: {HOURS_REMEDY}; a recipe can say it for all rows"
        )
    return hours


def _says_whether(text: str) -> bool:
    """Tell whether a cell of a fuel's own column says whether it is sold: by yes or no, or by a price."""
    return text in _YES | _NO or text[0] in _PRICE_BEGINS


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
    "hours": _as_hours,
}


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _kept(number: float, factor: float) -> float:
    return number if factor == 1.0 or not math.isfinite(number) else float(f"{number * factor:.{_DIGITS}g}")
