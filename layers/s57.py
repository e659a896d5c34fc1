"""Nautical charts in S-57: cells of several scales, read into our layers.

Where charts overlap, the one of the larger scale rules: what smaller ones have there is cut away, before anything is
made of it. Nothing is left out without being counted (`ChartedWaters.accounted`).
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.about import Source
from layers.checking import RawLayer
from layers.errors import InputError
from layers.findings_kinds import Finding
from layers.s57_cells import agency_name, class_words, find_cells, read_cell
from layers.s57_codes import DATUMS
from layers.s57_layers import READ_KINDS, draw_layers
from layers.s57_shapes import METRES_PER_DEGREE, lon_lat_box, mended, parts_of
from layers.s57_sheet import ChartChoices, Sheet, check_units
from layers.schema import LAYERS
from layers.shapes import object_array

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from layers.s57_cells import Cell, Objects
    from layers.s57_records import CellHeader

    Extent = tuple[float, float, float, float]

__all__ = ["Account", "ChartChoices", "ChartedWaters", "find_cells", "read_cells"]

MARGIN_DEG = 0.05  # [deg] how far beyond the extent shapes are kept, so that the shores just outside count
_LAYER_OF = {"LNDARE": "land", "DEPARE": "depth", "DRGARE": "depth"}  # whatever else is lost may be a hazard
_STRAY = 0.1  # of a chart's width and height: outlines may end on its edge, and no further out
_LOOK = "the file may be damaged: compare with the chart, or get the cell again"
_MOST_NAMED = 20  # cells told by name in a source
_LONG_AGO = date(1900, 1, 1)
_NUMBERED = ("docks", "waypoints")  # places are asked for by name, so that each needs its own


@dataclass(frozen=True)
class Account:
    """What became of some objects of a cell.

    Parameters
    ----------
    cell
        Name of the cell's file.
    kind
        The class of objects, by its six letters.
    what
        The same in words.
    count
        How many; soundings are counted one by one.
    became
        What became of them: the layer they are in, or why they were not used.
    """

    cell: str
    kind: str
    what: str
    count: int
    became: str

    def __str__(self) -> str:
        """Return the account as one line.

        Examples
        --------
        >>> str(Account("ZZ3AA001.000", "LNDARE", "land area", 2, "layer land"))
        'ZZ3AA001.000: land area (LNDARE), 2: layer land'
        """
        return f"{self.cell}: {self.what} ({self.kind}), {self.count}: {self.became}"


@dataclass(frozen=True)
class ChartedWaters:
    """What a set of cells says.

    Parameters
    ----------
    layers
        Our layers by name, those with rows; unchecked, as any reader gives them.
    sources
        Where each of these comes from.
    accounted
        What became of every object of every cell.
    findings
        What is doubtful; row 0 throughout, for rows are numbered later.
    cover
        [deg] Where there is a chart; depths outside it are not known.
    extent
        [deg] West, south, east, north of the cover.
    chart_datum
        What depths are counted from; None where no cell says.
    clearance_datum
        What clearances are counted from; None where no cell says.
    cells
        What each cell says about itself, the largest scale first.
    """

    layers: Mapping[str, RawLayer]
    sources: Mapping[str, Source]
    accounted: tuple[Account, ...]
    findings: tuple[Finding, ...]
    cover: Any
    extent: Extent
    chart_datum: str | None
    clearance_datum: str | None
    cells: tuple[CellHeader, ...]


def read_cells(
    paths: Sequence[Path],
    extent: Extent | None = None,
    *,
    choices: ChartChoices | None = None,
    progress: Callable[[str], None] | None = None,
) -> ChartedWaters:
    """Read cells of S-57, with the updates beside them, as our layers.

    Parameters
    ----------
    paths
        Cells (files that end in ``.000``) and folders of cells, which are searched through.
    extent
        [deg] West, south, east, north of the waters wanted; objects wholly outside it are counted only, others are cut
        to it and 0.05 degrees more. None: all.
    choices
        What a chart leaves to its reader; None: as stated in `ChartChoices`.
    progress
        Called with the name of each cell before it is read.

    Returns
    -------
    ChartedWaters
        The layers, and what became of every object.

    Raises
    ------
    InputError
        A path is missing or holds no cell, a file is damaged or cut short, an update is missing, positions aren't on
        WGS 84, or no cell reaches into the extent.
    """
    if not paths:
        raise InputError("S-57 cells", "there are none to read", remedy="name a cell or a folder of cells")
    choices = choices or ChartChoices()
    window = None if extent is None else lon_lat_box(extent, MARGIN_DEG)
    shapely.prepare(window)
    files = list(dict.fromkeys(cell for path in paths for cell in find_cells(path)))
    cells: list[Cell] = []
    for file in files:
        if progress is not None:
            progress(file.name)
        cells.append(read_cell(file, READ_KINDS))
        if problem := check_units(cells[-1]):
            raise InputError(str(file), problem, remedy="get the cell in metres or feet")
    findings: list[Finding] = []
    cells = _newest(cells, findings)
    cells.sort(key=lambda cell: (cell.header.scale or 10**9, -(cell.header.issued or _LONG_AGO).toordinal()))
    covered: Any = shapely.Polygon()
    sheets: list[Sheet] = []
    for cell in cells:
        sheet = Sheet(cell.header.path.name)
        cover = _cover(cell, sheet)
        draw_layers(_cut(cell, cover, covered, window, sheet), sheet, choices)
        covered = parts_of(shapely.union(covered, cover), 2)
        sheets.append(sheet)
    cover = covered if extent is None else parts_of(shapely.intersection(covered, lon_lat_box(extent)), 2)
    if cover.is_empty:
        reach = "" if extent is None else " inside the extent"
        raise InputError(str(paths[0]), f"no cell covers anything{reach}", remedy="check the extent and the cells")
    findings += _unlike_datums(cells)
    layers = _layers(sheets)
    headers = tuple(cell.header for cell in cells)
    return ChartedWaters(
        layers=layers,
        sources={name: _source(name, headers) for name in layers},
        accounted=tuple(
            Account(sheet.name, kind, class_words(kind), number, became)
            for sheet in sheets
            for kind, fates in sorted(sheet.became.items())
            for became, number in sorted(fates.items())
        ),
        findings=(*findings, *(finding for sheet in sheets for finding in sheet.findings)),
        cover=cover,
        extent=_around(cover),
        chart_datum=_commonest([cell.header.sounding_datum for cell in cells]),
        clearance_datum=_commonest([cell.header.vertical_datum for cell in cells]),
        cells=headers,
    )


def _newest(cells: Sequence[Cell], findings: list[Finding]) -> list[Cell]:
    """Keep one of several files of the same cell, the newest."""
    kept: dict[str, Cell] = {}
    for cell in cells:
        key = cell.header.path.name
        other = kept.get(key)
        if other is None:
            kept[key] = cell
            continue
        old, new = sorted((other, cell), key=lambda c: (c.header.edition, c.header.update))
        kept[key] = new
        problem = f"{key} was given twice: {new.header.path} is used, {old.header.path} is not"
        findings.append(Finding("depth", 0, "", problem, "leave the older one out", "unread"))
    return list(kept.values())


def _cover(cell: Cell, sheet: Sheet) -> Any:
    """[deg] Find where a cell has data."""
    stated = cell.objects.get("M_COVR")
    areas = [] if stated is None else list(zip(stated.get("CATCOV"), stated.shapes, strict=True))
    with_data = [mended(shape) for code, shape in areas if code == 1 and shapely.get_dimensions(shape) == 2]
    if with_data:
        return parts_of(shapely.union_all(with_data), 2)
    sheet.doubt("depth", "", "the cell doesn't say how far it reaches: its land and depth areas are taken", "")
    shapes = [
        mended(shape)
        for kind in ("DEPARE", "DRGARE", "LNDARE", "UNSARE")
        if kind in cell.objects
        for shape in cell.objects[kind].shapes
        if shapely.get_dimensions(shape) == 2
    ]
    return parts_of(shapely.union_all(shapes), 2)


def _cut(cell: Cell, cover: Any, covered: Any, window: Any, sheet: Sheet) -> Cell:
    """Cut the objects of a cell to where it rules, and note what that leaves out."""
    for kind, words in cell.unread.items():
        layer = _LAYER_OF.get(kind, "hazards")
        problem = f"of the objects {kind} ({class_words(kind)}) {words}"
        sheet.doubt(layer, "", problem, "look at the chart there", kind="unread", weight="unknown")
    _doubt_strays(cell, cover, sheet)
    overlap = shapely.intersection(cover, covered)
    larger = covered if parts_of(overlap, 2).area > 0 else None
    shapely.prepare(larger)
    objects = {kind: _cut_objects(found, larger, window, sheet) for kind, found in cell.objects.items()}
    for kind, found in cell.objects.items():
        if kind != "SOUNDG":
            sheet.count(kind, "not used: it could not be read", cell.counts[kind] - len(found.shapes))
    return type(cell)(cell.header, cell.counts, objects, cell.unread)


def _doubt_strays(cell: Cell, cover: Any, sheet: Sheet) -> None:
    """Note what lies far outside the chart: a position with a digit gone wrong."""
    if cover.is_empty:
        return
    west, south, east, north = cover.bounds
    wide, high = (east - west) * _STRAY, (north - south) * _STRAY
    around = shapely.box(west - wide, south - high, east + wide, north + high)
    for kind, objects in cell.objects.items():
        for row in np.flatnonzero(~shapely.covers(around, objects.shapes)).tolist():
            problem = f"an object {kind} ({class_words(kind)}) reaches out of the chart that it belongs to"
            more = {"kind": "misplaced", "weight": "wrong", "shape": objects.shapes[row]}
            sheet.doubt(_LAYER_OF.get(kind, "hazards"), objects.get("OBJNAM")[row] or "", problem, _LOOK, **more)


def _cut_objects(objects: Objects, larger: Any, window: Any, sheet: Sheet) -> Objects:
    kind, shapes = objects.kind, objects.shapes.copy()
    kept = np.ones(len(shapes), dtype=bool)
    if window is not None:
        kept = shapely.intersects(window, shapes)
        sheet.count(kind, "not used: outside the extent", int(np.count_nonzero(~kept)))
    for row in np.flatnonzero(kept & ~shapely.is_valid(shapes)).tolist():
        shapes[row] = _mend(kind, objects.get("OBJNAM")[row], shapes[row], sheet)
    if window is not None:
        across = np.flatnonzero(kept & ~shapely.covers(window, shapes))
        shapes[across] = _kept_parts(shapes[across], shapely.intersection(shapes[across], window))
    if larger is not None:
        ruled = np.flatnonzero(kept & shapely.intersects(larger, shapes))
        shapes[ruled] = _kept_parts(shapes[ruled], _outside(shapes[ruled], larger))
        left = kept & ~shapely.is_empty(shapes)
        became = "not used: a chart of larger scale rules there"
        sheet.count(kind, became, int(np.count_nonzero(kept & ~left)))
        kept = left
    empty = kept & shapely.is_empty(shapes)
    sheet.count(kind, "not used: nothing of it is left inside the extent", int(np.count_nonzero(empty)))
    rows = np.flatnonzero(kept & ~empty)
    return objects.taken(rows, shapes[rows])


def _outside(shapes: Any, larger: Any) -> Any:
    """[deg] Cut away what a larger scale rules: of points and lines not what lies on its edge, which it may lack."""
    edge = shapely.boundary(larger)
    left = shapely.difference(shapes, larger)
    thin = np.flatnonzero((shapely.get_dimensions(shapes) < 2) & shapely.intersects(edge, shapes))
    left[thin] = shapely.union(left[thin], shapely.intersection(shapes[thin], edge))
    return left


def _kept_parts(before: Any, after: Any) -> Any:
    """Keep what has the dimension that a shape had before it was cut."""
    pairs = zip(before, after, strict=True)
    return object_array([parts_of(new, int(shapely.get_dimensions(old))) for old, new in pairs])


def _mend(kind: str, name: str | None, shape: Any, sheet: Sheet) -> Any:
    whole = mended(shape)
    area_m2 = whole.area * METRES_PER_DEGREE**2 * math.cos(math.radians(shape.bounds[1]))
    layer = _LAYER_OF.get(kind, "hazards")
    problem = f"the outline of an object {kind} crosses itself; it was mended, and holds {area_m2:,.0f} m2"
    sheet.doubt(layer, name or "", problem, "look at it", shape=whole)
    return whole


def _layers(sheets: Sequence[Sheet]) -> dict[str, RawLayer]:
    layers = {}
    taken: set[str] = set()
    for name, schema in LAYERS.items():
        rows = [row for sheet in sheets for row in sheet.rows.get(name, ())]
        if not rows:
            continue
        columns: dict[str, list[object]] = {
            column: [values.get(column) for values, _ in rows]
            for column in schema.column_names
            if any(column in values for values, _ in rows)
        }
        if name in _NUMBERED:
            columns["name"] = [_own_name(str(called), taken) for called in columns["name"]]
        layers[name] = RawLayer(name, columns, object_array([shapely.force_2d(shape) for _, shape in rows]))
    return layers


def _own_name(name: str, taken: set[str]) -> str:
    """Return a name that no other place has, by a number after it."""
    own, number = name, 1
    while own.casefold() in taken:
        number += 1
        own = f"{name} ({number})"
    taken.add(own.casefold())
    return own


def _source(layer: str, cells: Sequence[CellHeader]) -> Source:
    names = [cell.path.stem for cell in cells]
    told = ", ".join(names[:_MOST_NAMED]) + (
        f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    )
    editions = [f"{cell.edition}.{cell.update}" for cell in cells]
    agencies = sorted({agency for cell in cells if (agency := agency_name(cell.agency))})
    code = {
        "depth": _commonest([cell.sounding_datum for cell in cells]),
        "overhead": _commonest([cell.vertical_datum for cell in cells]),
        "openings": _commonest([cell.vertical_datum for cell in cells]),
    }.get(layer)
    return Source(
        title=f"S-57 cell{'s' if len(names) > 1 else ''} {told}",
        publisher="; ".join(agencies)[:500] or None,
        date=max((cell.issued for cell in cells if cell.issued), default=None),
        edition=", ".join(editions[:_MOST_NAMED]) if len(names) <= _MOST_NAMED else None,
        datum=code,
    )


def _unlike_datums(cells: Sequence[Cell]) -> list[Finding]:
    findings = []
    for layer, what, codes in (
        ("depth", "depths", {cell.header.path.name: cell.header.sounding_datum for cell in cells}),
        ("overhead", "clearances", {cell.header.path.name: cell.header.vertical_datum for cell in cells}),
    ):
        common = _commonest(list(codes.values()))
        for name, code in codes.items():
            if DATUMS.get(code) != common:
                own = DATUMS.get(code, "a level that it doesn't name")
                problem = f"{name} counts {what} from {own}, and other cells from {common}"
                remedy = "allow for the difference there: nothing was converted"
                findings.append(Finding(layer, 0, "", problem, remedy))
    return findings


def _commonest(codes: Sequence[int]) -> str | None:
    """Return the level that most cells count from."""
    known = Counter(DATUMS[code] for code in codes if code in DATUMS)
    return known.most_common(1)[0][0] if known else None


def _around(cover: Any) -> Extent:
    """[deg] Find the extent of a cover: the widest gap between its parts, all round the globe, lies outside."""
    spans = sorted((part.bounds[0], part.bounds[2]) for part in shapely.get_parts(cover))
    south, north = cover.bounds[1], cover.bounds[3]
    runs = [list(spans[0])]
    for west, east in spans[1:]:
        if west <= runs[-1][1]:
            runs[-1][1] = max(runs[-1][1], east)
        else:
            runs.append([west, east])
    ends = [*runs[1:], [runs[0][0] + 360.0, 0.0]]
    gaps = [after[0] - before[1] for before, after in zip(runs, ends, strict=True)]
    widest = int(np.argmax(gaps))
    if widest == len(runs) - 1:
        return runs[0][0], south, runs[-1][1], north
    return runs[widest + 1][0], south, runs[widest][1], north
