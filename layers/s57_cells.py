"""Cells of S-57: found with their updates, checked to be whole, and their objects read.

GDAL makes the shapes and applies the updates. What it leaves out without a word is found by counting: the records are
walked apart from it (`s57_records`), and each class of objects has to come to the same number.

Notes
-----
GDAL takes updates that are numbered from 1 without a gap and stops at the first that is missing. A cell that was issued
anew with updates 1 to 4 inside is corrected from 5 on, so that the files are laid out for GDAL in a folder of our own,
from 1 on, once it is known that none is missing.
"""

from __future__ import annotations

import csv
import re
import shutil
import tempfile
import warnings
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import shapely

from layers.errors import InputError
from layers.files import describe
from layers.s57_codes import HORIZONTAL_DATUMS, WGS84_DATUM
from layers.s57_records import DELETED, read_records
from layers.shapes import object_array

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from layers.s57_records import CellHeader, FileRecords, ObjectRecord

__all__ = ["Cell", "Objects", "agency_name", "class_words", "find_cells", "read_cell"]

_OPTIONS = MappingProxyType(
    {
        "UPDATES": "APPLY",
        "SPLIT_MULTIPOINT": "ON",
        "ADD_SOUNDG_DEPTH": "ON",
        "RETURN_PRIMITIVES": "OFF",
        "RETURN_LINKAGES": "OFF",
        "LNAM_REFS": "OFF",
        "LIST_AS_STRING": "ON",
    }
)
_READ = (
    *("RCID", "OBJNAM", "NOBJNM", "INFORM", "NINFOM", "DRVAL1", "DRVAL2", "VALSOU", "DEPTH", "WATLEV", "VERDAT"),
    *("CATBRG", "CATCOV", "CATGAT", "CATMOR", "CATOBS", "CATREA", "CATSCF", "CATWRK", "CATZOC", "DUNITS", "HUNITS"),
    *("ORIENT", "RESTRN", "STATUS", "VERCCL", "VERCLR", "VERCOP", "VERCSA"),
)  # attributes; soundings come by the ten thousand, and each has two dozen more
_CATALOGUE = "CATALOG"  # CATALOG.031 lists what an exchange set holds; it is no update
_REMEDY = "copy it again from where it came from"
_NATIONAL = 1000  # classes from here on belong to other products than sea charts


@dataclass(frozen=True)
class Objects:
    """Objects of one class.

    Parameters
    ----------
    kind
        The class, by its six letters.
    values
        [as charted] A value for every object, by attribute; None where it has none.
    shapes
        [deg] A shape for every object; None where none could be made.
    """

    kind: str
    values: Mapping[str, Sequence[Any]]
    shapes: NDArray[np.object_]

    def get(self, attribute: str) -> Sequence[Any]:
        """Return an attribute of every object.

        Parameters
        ----------
        attribute
            Its six letters.

        Returns
        -------
        Sequence[Any]
            [as charted] The values; None where an object lacks it.
        """
        return self.values.get(attribute) or [None] * len(self.shapes)

    def taken(self, rows: Sequence[int] | NDArray[np.intp], shapes: NDArray[np.object_]) -> Objects:
        """Return some of the objects, with other shapes.

        Parameters
        ----------
        rows
            Their places.
        shapes
            [deg] The shapes that they have now.

        Returns
        -------
        Objects
            New ones.
        """
        return Objects(self.kind, {key: [col[row] for row in rows] for key, col in self.values.items()}, shapes)


@dataclass(frozen=True)
class Cell:
    """A cell with its updates applied.

    Parameters
    ----------
    header
        What it says about itself: edition and scale of the base, number and day of the last update.
    counts
        Number of objects, by class: all that are in the file, whether read or not.
    objects
        The objects that were asked for, by class.
    unread
        What could not be read, in words, by class.
    """

    header: CellHeader
    counts: Mapping[str, int]
    objects: Mapping[str, Objects]
    unread: Mapping[str, str] = field(default_factory=dict)


def find_cells(path: Path) -> tuple[Path, ...]:
    """Find the cells of a path.

    Parameters
    ----------
    path
        A cell (a file that ends in ``.000``), or a folder with cells in it or in folders below it.

    Returns
    -------
    tuple[Path, ...]
        The cells, in the order of their names.

    Raises
    ------
    InputError
        There is no such path, it holds no cell, or an update without the cell that it belongs to.
    """
    if not path.is_dir():
        if path.suffix != ".000":
            problem = "is no S-57 cell, whose name ends in .000"
            if re.fullmatch(r"\.\d{3}", path.suffix):
                problem = "is an update, which needs the cell that it belongs to"
            raise InputError(str(path), problem, remedy=f"give {path.stem}.000, with its updates beside it")
        return (path,)
    try:
        files = [file for file in sorted(path.rglob("*.[0-9][0-9][0-9]")) if file.stem.upper() != _CATALOGUE]
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    cells = [file for file in files if file.suffix == ".000"]
    names = {cell.stem for cell in cells}
    orphans = [file for file in files if file.stem not in names]
    if orphans:
        cell = f"{orphans[0].stem}.000"
        raise InputError(str(orphans[0]), f"is an update of {cell}, which isn't there", remedy=f"add {cell}")
    if not cells:
        raise InputError(str(path), "holds no S-57 cell: no file in it ends in .000", remedy="check the folder")
    return tuple(cells)


def read_cell(path: Path, kinds: Iterable[str]) -> Cell:
    """Read a cell and the updates beside it.

    Parameters
    ----------
    path
        The cell.
    kinds
        The classes of objects to read; all others are counted only.

    Returns
    -------
    Cell
        What is in it.

    Raises
    ------
    InputError
        A file is damaged, cut short or too large, an update is missing or belongs to another edition, or positions
        aren't degrees of WGS 84.
    """
    base = read_records(path)
    header = base.header
    _check_header(header)
    files, parts = [path], [base]
    for update in _updates(path, header):
        parts.append(read_records(update))
        _check_update(update, parts[-1].header, header)
        files.append(update)
    _check_pointers(parts)
    counts = _count([record for part in parts for record in part.objects])
    wanted = [kind for kind in kinds if kind in counts]
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / f"{path.stem}.000"
        try:
            for number, file in enumerate(files):
                shutil.copyfile(file, draft.with_suffix(f".{number:03d}"))
        except OSError as error:
            raise InputError(str(path), f"can't be read: {describe(error)}") from error
        found = {kind: _read_class(path, draft, kind) for kind in wanted}
    unread, whole = {}, {}
    for kind, (objects, number) in found.items():
        whole[kind] = _with_shapes(objects)
        lost = counts[kind] - number + len(objects.shapes) - len(whole[kind].shapes)
        if lost > 0:
            unread[kind] = f"{lost} of {counts[kind]} could not be read: their outline is broken or missing"
    return Cell(_updated(header, parts[-1].header), counts, whole, unread)


@cache
def agency_name(number: int) -> str | None:
    """Look up who produced a cell.

    Parameters
    ----------
    number
        Of the agency.

    Returns
    -------
    str | None
        Its name; None where the table that GDAL carries has none.
    """
    for row in _table("s57agencies.csv"):
        if len(row) > 3 and row[2] == str(number):
            return ", ".join(part.strip() for part in row[3:] if part.strip()) or None  # names hold commas
    return None


def class_words(kind: str) -> str:
    """Say what a class of objects is.

    Parameters
    ----------
    kind
        The class, by its six letters.

    Returns
    -------
    str
        What it is; the letters where nobody knows.

    Examples
    --------
    >>> class_words("LNDARE")
    'land area'
    """
    for row in _table("s57objectclasses.csv"):
        if len(row) > 2 and row[2] == kind:
            return " ".join(row[1].split()).lower()
    return kind


def _check_header(header: CellHeader) -> None:
    where = str(header.path)
    if not header.has_parameters:
        raise InputError(where, "lacks the record with scale, datums and units", remedy=_REMEDY)
    if header.position_units != 1:
        raise InputError(where, "has positions in other units than degrees", remedy="get it in degrees")
    if header.horizontal_datum != WGS84_DATUM:
        code = header.horizontal_datum
        datum = HORIZONTAL_DATUMS.get(code, f"number {code}")
        problem = "has positions on another datum than WGS 84, which may be hundreds of metres off"
        raise InputError(where, problem, value=datum, remedy="get it on WGS 84")


def _updates(path: Path, header: CellHeader) -> list[Path]:
    """Find the updates of a cell: beside it, or in folders named by their numbers beside its folder."""
    pattern = re.compile(re.escape(path.stem) + r"\.(\d{3})")
    found: dict[int, Path] = {}
    try:
        folders = [path.parent]
        if path.parent.name == "0":
            folders += [folder for folder in sorted(path.parent.parent.iterdir()) if folder.name.isdigit()]
        for folder in folders:
            for file in sorted(folder.iterdir()) if folder.is_dir() else ():
                match = pattern.fullmatch(file.name)
                if match and int(match[1]) > header.update:
                    found.setdefault(int(match[1]), file)
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    missing = sorted(set(range(header.update + 1, max(found, default=0))) - set(found))
    if missing:
        name = f"{path.stem}.{missing[0]:03d}"
        problem = f"its update {name} is missing, and there is {found[max(found)].name}"
        raise InputError(str(path), problem, remedy=f"add {name}")
    return [found[number] for number in sorted(found)]


def _check_update(path: Path, update: CellHeader, base: CellHeader) -> None:
    if update.edition == 0:  # S-57, appendix B.1: a cell is withdrawn by an update to edition 0
        raise InputError(str(path), f"says that {base.path.name} was withdrawn", remedy="leave that cell out")
    if update.edition != base.edition:
        problem = f"corrects edition {update.edition} of the cell, and {base.path.name} is edition {base.edition}"
        raise InputError(str(path), problem, remedy="get both of one edition")
    if update.update != int(path.suffix[1:]):
        problem = f"says that it is update {update.update}"
        raise InputError(str(path), problem, remedy="check the names of the updates")


def _check_pointers(parts: Sequence[FileRecords]) -> None:
    """Make sure that all outlines are there: GDAL makes do with what it finds, and a shore may be missing then."""
    known: set[tuple[int, int]] = set()
    for part in parts:
        known |= part.pieces
        lost = len(part.pointers - known)
        if lost:
            problem = f"is damaged: pieces of outline that its objects are drawn with are missing ({lost})"
            raise InputError(str(part.header.path), problem, remedy=_REMEDY)


def _updated(base: CellHeader, last: CellHeader) -> CellHeader:
    values = {**vars(base), "update": last.update, "issued": last.issued or base.issued}
    return type(base)(**values)


def _count(records: Sequence[ObjectRecord]) -> dict[str, int]:
    standing: dict[int, int] = {}
    for number, kind, instruction in records:
        if instruction == DELETED:
            standing.pop(number, None)
        else:
            standing[number] = kind
    names = _class_names()
    counts: dict[str, int] = {}
    for kind in standing.values():
        name = names.get(kind, f"class {kind}")
        counts[name] = counts.get(name, 0) + 1
    return dict(sorted(counts.items()))


@cache
def _class_names() -> Mapping[int, str]:
    rows = (row for row in _table("s57objectclasses.csv") if len(row) > 2 and row[0].isdigit())
    return MappingProxyType({int(row[0]): row[2] for row in rows if int(row[0]) < _NATIONAL})


@cache
def _table(name: str) -> list[list[str]]:
    folder = pyogrio.get_gdal_data_path()
    path = Path(folder or "") / name
    try:
        return list(csv.reader(path.read_text("latin-1").splitlines()))
    except OSError as error:
        remedy = "install pyogrio from its wheel, which brings them"
        raise InputError(str(path), f"GDAL's tables of S-57 can't be read: {describe(error)}", remedy=remedy) from error


def _read_class(path: Path, draft: Path, kind: str) -> tuple[Objects, int]:
    """Read the objects of a class, and count them: a row of soundings is one object and many rows."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what GDAL could not make is counted by the caller
            about, _, shapes, columns = pyogrio.raw.read(draft, layer=kind, columns=list(_READ), **_OPTIONS)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        # GDAL lists no layer where all of a class's objects are beyond it; anything else is a damaged file
        if "Layer" in str(error) and "could not be opened" in str(error):
            return Objects(kind, {}, object_array([])), 0
        raise InputError(str(path), "is damaged: GDAL can't read it", remedy=_REMEDY) from error
    except (pyogrio.errors.FeatureError, pyogrio.errors.FieldError, ValueError) as error:
        raise InputError(str(path), f"is damaged: the objects {kind} can't be read", remedy=_REMEDY) from error
    values = {
        str(name): [_plain(value) for value in column] for name, column in zip(about["fields"], columns, strict=True)
    }
    made = object_array(shapely.from_wkb(object_array(shapes), on_invalid="ignore"))
    return Objects(kind, values, made), len(set(values["RCID"]))


def _with_shapes(objects: Objects) -> Objects:
    rows = [
        row
        for row, shape in enumerate(objects.shapes)
        if shape is not None and not shape.is_empty and _is_on_globe(shape)
    ]
    return objects.taken(rows, objects.shapes[rows])


def _is_on_globe(shape: Any) -> bool:
    # a number that isn't finite is below nothing
    return bool((np.abs(shapely.get_coordinates(shape)) <= (180, 90)).all())


def _plain(value: Any) -> Any:
    """Return a value as Python has it: numbers, text without marks that nobody can see, or None."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        return None
    if isinstance(value, str):
        return " ".join("".join(c if c.isprintable() else " " for c in value).split()) or None
    return value
