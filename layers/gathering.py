"""The rows of a region's layers as they come together from many files, each with where it comes from."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.about import Source
from layers.build_report import Repair, TableReport
from layers.checking import RawLayer, check_raw, empty_layer
from layers.errors import InputError
from layers.mending import fit_shapes, window_of
from layers.schema import LAYERS
from layers.shapes import object_array
from layers.tables import BadEntry

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from zoneinfo import ZoneInfo

    from layers.converting import Rows
    from layers.guessing import SourceGuess
    from layers.mending import Fitted
    from layers.recipe import RecipeSource
    from layers.tables import SourceTable

    Extent = tuple[float, float, float, float]

__all__ = ["CHARTS", "Gathered", "GatheredLayer", "GatheredRow"]

CHARTS = "chart cells"  # what rows from S-57 cells are said to come from
LAND_MARGIN_DEG = 0.05  # [deg] of land kept beyond the extent, so that the shores just outside count
HAZARD_MARGIN_DEG = 0.03  # [deg] of hazards kept beyond the extent: 2 km and more, what they are kept off reaches in
MOST_CORNERS = 4_000_000  # in a layer: as GeoJSON some 200 MB, and more than a planner can hold
_MOST_STRAYS = 10  # rows of a table that are told one by one
_LONGEST = 500  # characters of a line of a source


@dataclass(frozen=True)
class GatheredRow:
    """One row of a layer and where it comes from.

    Parameters
    ----------
    values
        Its values by our column.
    shape
        [deg] Its geometry.
    file
        The file, and the table in it where it has several.
    row
        Which row, as the file counts them.
    theirs
        What the file calls our columns.
    source
        Where it comes from, as plans tell it; None where nothing says.
    """

    values: dict[str, object]
    shape: Any
    file: str
    row: str
    theirs: dict[str, str]
    source: Source | None = None

    @property
    def told(self) -> str:
        """The file and the row."""
        return f"{self.file}, {self.row}"


@dataclass
class GatheredLayer:
    """The rows of one layer.

    Parameters
    ----------
    rows
        The rows, in the order of sources.
    """

    rows: list[GatheredRow] = field(default_factory=list)

    @property
    def sources(self) -> list[Source]:
        """Where the rows that are there come from, each once."""
        return list({id(row.source): row.source for row in self.rows if row.source is not None}.values())

    @property
    def source(self) -> Source:
        """All sources as one: each of its lines says all of them."""
        sources = self.sources
        if len(sources) == 1:
            return sources[0]
        joined: dict[str, Any] = {}
        for key in ("title", "publisher", "edition", "licence", "datum", "warning"):
            text = "; ".join(dict.fromkeys(value for source in sources if (value := getattr(source, key))))
            joined[key] = (text if len(text) <= _LONGEST else f"{text[: _LONGEST - 4]} ...") or None
        dates = {source.date for source in sources}
        return Source(**joined, date=dates.pop() if len(dates) == 1 else None)


class Gathered:
    """What has come together so far, fitted to a region's extent.

    Parameters
    ----------
    extent
        [deg] West, south, east, north of the region.
    """

    def __init__(self, extent: Extent) -> None:
        self.extent = extent
        self.layers: dict[str, GatheredLayer] = {}
        self.repairs: list[Repair] = []
        self.faults: list[BadEntry] = []
        self.strays: list[str] = []
        """Rows left out that would lie inside with a sign changed or exchanged, in words."""

    def add(
        self, table: SourceTable, guess: SourceGuess, rows: Rows, progress: Callable[[float], None] | None = None
    ) -> TableReport:
        """Fit a table's rows to the extent and add them to their layer.

        Parameters
        ----------
        table
            The table.
        guess
            What it was taken for.
        rows
            Its rows in our words.
        progress
            Told the share that is done.

        Returns
        -------
        TableReport
            What became of them.
        """
        name = str(guess.source.as_)
        fitted = fit_shapes(
            rows.shapes, self._window(name), lambda place: f"{table.where}, {table.row(rows.places[place])}", progress
        )
        names = rows.columns.get("name", [None] * len(rows.places))
        self.faults += rows.faults
        gone = {place for place, shape in enumerate(fitted.shapes) if shape is None and rows.shapes[place] is not None}
        self._note_repairs(name, table.where, [table.row(place) for place in rows.places], names, fitted, gone)
        layer = self.layers.setdefault(name, GatheredLayer())
        source = _source_of(guess.source)
        bad = {(fault.file, fault.row) for fault in rows.faults}
        theirs = dict(guess.source.columns)
        for place in range(len(rows.places)):
            origin = (table.where, table.row(rows.places[place]))
            if place not in gone and origin not in bad:  # what has a fault is told already
                values = {column: cells[place] for column, cells in rows.columns.items()}
                layer.rows.append(GatheredRow(values, fitted.shapes[place], *origin, theirs, source))
        used = len(rows.places) - len(gone)
        told = [str(names[place]) for place in fitted.outside if names[place] is not None and name != "land"]
        hints = {} if name in {"land", "depth"} else _moved_inside(rows.shapes[fitted.outside], self._window(name))
        lost = [
            (f"{table.where}, {table.row(rows.places[place])}", str(names[place] or ""), hints[number])
            for number, place in enumerate(fitted.outside)
            if number in hints
        ]
        self.strays += _told_strays(table.where, lost)
        counts = Counter(hints.values())
        hint = "; ".join(
            f"{count:,} of these would lie inside {how}: are they written so?" for how, count in counts.items()
        )
        notes = (*table.notes, *rows.notes, *_fates(fitted, told), *([hint] if hint else []))
        return TableReport(guess, len(table.shapes), used, notes)

    def add_chart(self, raw: RawLayer, source: Source | None) -> None:
        """Add what chart cells have of a layer.

        Parameters
        ----------
        raw
            Its rows.
        source
            Where they come from.
        """
        name = raw.name
        fitted = fit_shapes(raw.geometry, self._window(name), lambda place: f"{CHARTS}, {name} {place + 1}")
        numbers = [f"{name} {place + 1}" for place in range(len(raw.geometry))]
        names = raw.columns.get("name", [None] * len(raw.geometry))
        self._note_repairs(name, CHARTS, numbers, names, fitted, set())
        layer = self.layers.setdefault(name, GatheredLayer())
        for place, shape in enumerate(fitted.shapes):
            if shape is not None:
                values = {column: cells[place] for column, cells in raw.columns.items()}
                layer.rows.append(GatheredRow(values, shape, CHARTS, numbers[place], {}, source))

    def checked(self, zone: ZoneInfo) -> dict[str, Any]:
        """Hold every layer against its schema; what breaks it is added to the faults.

        Parameters
        ----------
        zone
            Time zone that hours are written in.

        Returns
        -------
        dict[str, GeoDataFrame]
            Every layer, absent ones without rows.

        Raises
        ------
        InputError
            A layer has too many corners.
        """
        frames = {}
        for name, schema in LAYERS.items():
            rows = self.layers[name].rows if name in self.layers else []
            if not rows:
                frames[name] = empty_layer(schema)
                continue
            shapes = object_array([row.shape for row in rows])
            corners = int(shapely.get_num_coordinates(shapes).sum())
            if corners > MOST_CORNERS:
                problem = f"layer {name} has {corners:,} corners inside the extent; the limit is {MOST_CORNERS:,}"
                remedy = "simplify its source, or take a smaller --extent"
                raise InputError(rows[0].file, problem, remedy=remedy)
            columns = {
                column: [row.values.get(column) for row in rows]
                for column in schema.column_names
                if any(column in row.values for row in rows)
            }
            frames[name], bad = check_raw(RawLayer(name, columns, shapes), schema, zone=zone, extent=self.extent)
            for fault in bad:
                self.faults += _in_their_words(fault, rows)
        return frames

    def first_with(self, layer: str, column: str) -> str:
        """Tell where the first row comes from that has something in a column.

        Parameters
        ----------
        layer
            The layer.
        column
            Our column.

        Returns
        -------
        str
            File and row; empty where there is none.
        """
        rows = self.layers[layer].rows if layer in self.layers else []
        return next((row.told for row in rows if row.values.get(column) is not None), "")

    def _window(self, name: str) -> Any:
        return window_of(self.extent, {"land": LAND_MARGIN_DEG, "hazards": HAZARD_MARGIN_DEG}.get(name, 0.0))

    def _note_repairs(
        self, name: str, where: str, numbers: Sequence[str], names: Sequence[object], fitted: Fitted, gone: set[int]
    ) -> None:
        self.repairs += [
            Repair(name, where, numbers[m.place], str(names[m.place] or ""), m.problem, m.before_m2, m.after_m2)
            for m in fitted.mends
            if m.place not in gone
        ]


def _fates(fitted: Fitted, outside: Sequence[str]) -> list[str]:
    """Say what became of rows that aren't as they were."""
    notes = []
    if fitted.outside:
        which = f": {', '.join(outside[:5])}{', ...' if len(outside) > 5 else ''}" if outside else ""
        notes.append(f"{_rows(len(fitted.outside))} outside the extent left out{which}")
    notes += [f"{_rows(fitted.cut)} cut at the edge of the extent"] if fitted.cut else []
    notes += [f"{fitted.slivers:,} parts smaller than 1 m2 left out"] if fitted.slivers else []
    notes += [f"{_rows(fitted.turned)} brought back from longitudes beyond 180"] if fitted.turned else []
    return notes


def _moved_inside(outside: Any, window: Any) -> dict[int, str]:
    """Say what would bring shapes that lie outside to where they may have been meant, by their place among them."""
    lonlat = shapely.get_coordinates(shapely.centroid(shapely.envelope(outside)))
    found: dict[int, str] = {}
    if not len(lonlat) or len(lonlat) != len(outside):
        return found
    for words, moved in (
        ("with the sign of the longitude changed", lonlat * (-1, 1)),
        ("with the sign of the latitude changed", lonlat * (1, -1)),
        ("with latitude and longitude exchanged", lonlat[:, ::-1]),
    ):
        for place in np.flatnonzero(shapely.intersects_xy(window, *moved.T)).tolist():
            found.setdefault(place, words)
    return found


def _told_strays(where: str, lost: Sequence[tuple[str, str, str]]) -> list[str]:
    """Say which rows are left out and may have been meant to be inside."""
    told = []
    for row, name, how in lost[:_MOST_STRAYS]:
        called = f" ({name})" if name else ""
        told.append(
            f"{row}{called} lies outside the extent and is left out; {how} it would lie inside: is it written so?"
        )
    if rest := len(lost) - len(told):
        told.append(f"{where}: {rest:,} more rows that lie outside would lie inside with a sign changed or exchanged")
    return told


def _rows(count: int) -> str:
    return f"{count:,} row{'' if count == 1 else 's'}"


def _in_their_words(fault: Any, rows: Sequence[GatheredRow]) -> list[BadEntry]:
    """Tell a fault of the schema by file, row and column as a person knows them."""
    if fault.row:
        row = rows[fault.row - 1]
        theirs = row.theirs.get(fault.column) or fault.column
        called = "" if fault.column == "name" else str(row.values.get("name") or "")
        return [BadEntry(row.file, row.row, theirs, fault.value, f"{fault.rule}{_remedy(fault)}", called)]
    rule = (
        f"none of its columns is known to be {fault.column}, which every row of layer {fault.layer} needs: call one so,"
        " or say in a recipe which one it is ([source.columns]), or what it is for all rows ([source.set])"
        f"{_choices(fault)}"
    )
    return [BadEntry(file, "", "", "", rule) for file in dict.fromkeys(row.file for row in rows)]


def _remedy(fault: Any) -> str:
    """Say what to do about a cell that is empty and may not be."""
    if not fault.rule.startswith("is missing"):
        return ""
    if (fault.layer, fault.column) == ("docks", "fuels"):
        return (
            ": say what it sells, or write no where it sells none, and the row is left out; for all such rows a recipe"
            ' says it: [source.set] fuels = "no"'
        )
    choices = _choices(fault)
    return (
        f": give it, or say it for all such rows in a recipe{choices}" if choices else ": give it, or leave the row out"
    )


def _choices(fault: Any) -> str:
    """Show how a recipe says for all rows what one column with a choice of words is; empty for other columns."""
    column = next((column for column in LAYERS[fault.layer].columns if column.name == fault.column), None)
    if column is None or not column.choices or column.kind != "choice":
        return ""
    return f': [source.set] {column.name} = "{column.choices[0]}" (or {", ".join(column.choices[1:])})'


def _source_of(source: RecipeSource) -> Source:
    keys = ("title", "publisher", "edition", "date", "licence", "datum", "warning")
    return Source(**{key: getattr(source, key) for key in keys})
