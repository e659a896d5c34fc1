"""Fill-ups as CSV: read with all bad rows told at once, and written so that reading gives the same values again.

One row a fill-up, the unit of every volume in its column's name. Both ways a row at a time, so that a file of any
length takes the same memory.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any, NamedTuple

from pydantic import ValidationError

from layers.errors import InputError
from layers.files import describe, file_status
from routeplan.fillup_cells import (
    LITRES,
    MEASURED,
    OF_ENTRY,
    ORDER,
    PLAIN,
    REQUIRED,
    SPARSE,
    Columns,
    read_cell,
    write_cells,
)
from routeplan.fillup_checks import explain
from routeplan.fillups import Fillup
from routeplan.places import nearest_names

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.fillups import Entry
    from routeplan.moments import WallClock
    from routeplan.quantities import VolumeUnit

__all__ = ["BadLine", "Faults", "FillupFileError", "FillupWriter", "Row", "read_csv_fillups", "write_csv"]

_MOST_TOLD = 200  # faults kept and told: a screen that scrolls for minutes helps nobody
_LONGEST_LINE = 65_536  # bytes: a hundred times the longest row; what has no line ends is refused unread
_REPORT_ROWS = 500
_LONGEST_ROW = 8  # lines: a quote that is never closed would swallow the rest of the file


@dataclass(frozen=True)
class BadLine:
    """One fault in one row of a file of fill-ups.

    Parameters
    ----------
    line
        Line of the file, the header being line 1; 0 where the fault is the whole file's.
    column
        Name of the column; empty where the fault is the whole row's.
    value
        What stands there.
    rule
        What is wrong with it, and what to do.
    """

    line: int
    column: str
    value: str
    rule: str

    def __str__(self) -> str:
        """Return the fault as one line."""
        # A column's name is the file's own: what a terminal would obey, or scroll away with, is kept from it.
        column = _cut(self.column if self.column.isprintable() else repr(self.column), 40)
        place = ", ".join(part for part in (f"line {self.line}" if self.line else "", column) if part)
        shown = _cut(self.value, 60)
        got = f" (got {shown!r})" if self.value else ""
        problem, _, remedy = self.rule.partition(": ")
        then = f": {remedy}" if remedy else ""
        return " ".join(f"{place + ': ' if place else ''}{problem}{got}{then}".split())


class FillupFileError(InputError):
    """Every bad row of a file of fill-ups, at once.

    Parameters
    ----------
    where
        The file.
    bad_lines
        The faults in the order of the file; at least one, the first 200 at the most.
    count
        How many there are in all.
    """

    def __init__(self, where: str, bad_lines: Sequence[BadLine], count: int) -> None:
        self.bad_lines = tuple(bad_lines)
        self.count = count
        super().__init__(where, f"{count} fault{'' if count == 1 else 's'}; nothing was taken from it")

    def __str__(self) -> str:
        """Return a line that counts the faults, then one line each, up to 200."""
        if self.count == 1:
            return (
                f"{self.where}, {self.bad_lines[0]}" if self.bad_lines[0].line else f"{self.where}: {self.bad_lines[0]}"
            )
        told = [f"  {line}" for line in self.bad_lines]
        if self.count > len(told):
            told.append(f"  and {self.count - len(told)} more")
        return "\n".join([f"{self.where}: {self.problem}", *told])


class Faults:
    """Collects the faults of a file.

    Parameters
    ----------
    where
        The file.
    """

    def __init__(self, where: str) -> None:
        self.where = where
        self.count = 0
        self._told: list[BadLine] = []

    def add(self, line: int, column: str, value: str, rule: str) -> None:
        """Take down one fault.

        Parameters
        ----------
        line, column, value, rule
            As in `BadLine`.
        """
        self.count += 1
        if len(self._told) < _MOST_TOLD:
            self._told.append(BadLine(line, column, value, rule))

    def throw(self) -> None:
        """Raise what was collected.

        Raises
        ------
        FillupFileError
            There is some fault.
        """
        if self.count:
            raise FillupFileError(self.where, self._told, self.count)


class Row(NamedTuple):
    """One sound row of a file.

    Parameters
    ----------
    line
        Line of the file that it begins on.
    fillup
        The fill-up.
    entry, entered, replaces, withdrawn
        What the log that it was written from knew of it, as in `fillups.Entry`; None where the file doesn't say.
    """

    line: int
    fillup: Fillup
    entry: str | None = None
    entered: datetime | None = None
    replaces: str | None = None
    withdrawn: bool = False


def read_csv_fillups(
    path: Path,
    *,
    zone: WallClock | None = None,
    faults: Faults | None = None,
    columns: Callable[[Columns], None] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Iterator[Row]:
    """Read a file of fill-ups, row by row.

    Parameters
    ----------
    path
        The file.
    zone
        Time zone of moments without an offset; such are refused where this is None.
    faults
        Where faults are taken down, for a caller that finds more of them and raises them all; None to raise them here,
        after the last row.
    columns
        Told what the header says.
    progress
        Told the share of the file that has been read.

    Yields
    ------
    Row
        The sound rows, in the file's order. What is done with them must be undone where the end raises.

    Raises
    ------
    FillupFileError
        After the last row: every bad row.
    InputError
        The file can't be read, is empty or is no CSV in UTF-8.

    Notes
    -----
    Order of columns is free, and those that are not required may be absent. An empty cell is a figure that is not
    known. Volumes keep twelve significant digits.
    """
    own = faults if faults is not None else Faults(str(path))
    size = _checked_size(path)
    try:
        with path.open("rb") as file:
            lines = _Lines(file, str(path))
            reader = csv.reader(lines, strict=True)
            header = _read_header(next(_rows(reader, lines), (0, []))[1], own)
            if header is None:
                own.throw()
                return
            if columns is not None:
                columns(header)
            yield from _read_rows(reader, lines, header, zone, own, _reporting(progress, lines, size))
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    if progress is not None:
        progress(1.0)
    if faults is None:
        own.throw()


class FillupWriter:
    """Writes entries as CSV, a row at a time.

    Parameters
    ----------
    file
        A text file, opened with ``newline=""``.
    unit
        Unit of the volumes.
    sparse
        Which of the columns that few logs need are to be written: ``meter2_used``, ``since``, ``speeds_run``.
    history
        Whether the columns of an entry are written too.
    """

    def __init__(self, file: IO[str], unit: VolumeUnit, *, sparse: Iterable[str] = SPARSE, history: bool) -> None:
        left_out = (SPARSE - set(sparse)) | (frozenset() if history else frozenset(OF_ENTRY))
        self._fields = [field for field in ORDER if field not in left_out]
        self._unit = unit
        self._writer = csv.writer(file, lineterminator="\n")
        self._writer.writerow([f"{field}_{unit}" if field in MEASURED else field for field in self._fields])

    def write(self, entry: Entry) -> None:
        """Write one entry.

        Parameters
        ----------
        entry
            The entry.
        """
        cells = write_cells(entry, self._unit)
        self._writer.writerow([cells[field] for field in self._fields])


def write_csv(
    entries: Callable[[], Iterable[Entry]], file: IO[str], unit: VolumeUnit = "l", *, history: bool = False
) -> int:
    """Write entries as CSV.

    Parameters
    ----------
    entries
        Gives the entries, and gives them again: they are gone through twice, first for the columns that they need.
    file
        A text file, opened with ``newline=""``.
    unit
        Unit of the volumes.
    history
        Whether each row carries its entry's name, when it was entered and what it replaces.

    Returns
    -------
    How many rows were written, without the header.
    """
    needed: set[str] = set()
    for entry in entries():
        fillup = entry.fillup
        needed |= {
            field
            for field, held in (
                ("meter2_used", fillup.meter2_used_l is not None),
                ("since", fillup.since),
                ("speeds_run", fillup.speeds_run),
            )
            if held
        }
        if needed == SPARSE:
            break
    writer = FillupWriter(file, unit, sparse=needed, history=history)
    count = 0
    for entry in entries():
        writer.write(entry)
        count += 1
    return count


class _Lines:
    """The lines of a file as text; says where it stops being text in UTF-8."""

    def __init__(self, file: IO[bytes], where: str) -> None:
        self._file = file
        self._where = where
        self.number = 0
        self.bytes_read = 0
        self.row_began = 1

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        raw = self._file.readline(_LONGEST_LINE + 1)
        if not raw:
            raise StopIteration
        self.number += 1
        self.bytes_read += len(raw)
        here = f"{self._where}, line {self.number}"
        if self.number == 1:
            if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
                raise InputError(self._where, "is text in UTF-16", remedy="save it again as CSV in UTF-8")
            raw = raw.removeprefix(b"\xef\xbb\xbf")  # spreadsheets put it in front of UTF-8
        if b"\x00" in raw:
            raise InputError(here, "holds NUL bytes, which no text has", remedy="save it again as CSV in UTF-8")
        if len(raw) > _LONGEST_LINE:
            problem = f"is longer than {_LONGEST_LINE:,} bytes"
            raise InputError(here, problem, remedy="is this a CSV file with one fill-up a line?")
        if self.number - self.row_began >= _LONGEST_ROW:
            problem = f"a quoted text begins here and does not end within {_LONGEST_ROW} lines"
            raise InputError(f"{self._where}, line {self.row_began}", problem, remedy='close it with a "')
        try:
            return raw.decode("utf-8")
        except UnicodeDecodeError as error:
            byte = raw[error.start]
            problem = f"is not text in UTF-8 (byte {byte:#04x} after {raw[: error.start].decode('utf-8')[-20:]!r})"
            raise InputError(here, problem, remedy="save it again as CSV in UTF-8") from error


def _checked_size(path: Path) -> int:
    status = file_status(path)
    if path.is_dir():
        raise InputError(str(path), "is a folder, not a CSV file", remedy="name the file in it")
    if not path.is_file():
        raise InputError(str(path), "is a device or pipe, not a CSV file", remedy="save it as a file first")
    if status.st_size == 0:
        raise InputError(str(path), "is empty", remedy=f"its first line must name the columns: {_example_header()}")
    return status.st_size


def _rows(reader: Iterator[list[str]], lines: _Lines) -> Iterator[tuple[int, list[str]]]:
    """Give each row with the line that it begins on; empty ones are passed over."""
    while True:
        lines.row_began = began = lines.number + 1
        try:
            cells = next(reader, None)
        except csv.Error as error:
            where = f"{lines._where}, line {began}"  # noqa: SLF001  # one module
            raise InputError(
                where, f"is not CSV: {error}", remedy='look at its quotes: a " within a text is doubled'
            ) from error
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            yield began, cells


def _read_header(cells: Sequence[str], faults: Faults) -> Columns | None:
    """Read the names of the columns; None, with the faults taken down, where they can't be used."""
    if not cells:
        faults.add(1, "", "", f"names no columns: the first line must name them, {_example_header()}")
        return None
    names = tuple(cell.strip() for cell in cells)
    if len(names) == 1 and (sign := next((s for s in (";", "\t") if s in names[0]), "")):
        what = "semicolons" if sign == ";" else "tabs"
        rule = f"columns are parted by {what}: save it with commas between columns and points in numbers"
        faults.add(1, "", names[0], rule)
        return None
    before = faults.count
    known = {name: name for name in (*PLAIN, *OF_ENTRY)}
    known |= {f"{field}_{unit}": field for field in MEASURED for unit in LITRES}
    fields = [known.get(name.casefold(), "") for name in names]
    for name, field in zip(names, fields, strict=True):
        if not field:
            faults.add(1, name, "", _unknown_column(name, known))
    measured = {name: name.casefold().rsplit("_", 1)[1] for name, f in zip(names, fields, strict=True) if f in MEASURED}
    if len(set(measured.values())) > 1:
        first, its_unit = next(iter(measured.items()))
        other = next(name for name, another in measured.items() if another != its_unit)
        faults.add(1, other, "", f"has another unit than {first}: give all volumes of a file in one unit")
    for field in dict.fromkeys(f for f in fields if f and fields.count(f) > 1):
        doubled = [name for name, f in zip(names, fields, strict=True) if f == field]
        faults.add(1, doubled[1], "", f"is there {len(doubled)} times: keep one of them")
    for field in REQUIRED:
        if field not in fields and field not in map(str.casefold, names):
            wanted = " or ".join(f"{field}_{u}" for u in LITRES) if field in MEASURED else field
            faults.add(1, "", "", f"has no column {wanted}: it is required")
    if faults.count > before:
        return None
    unit: VolumeUnit = next((u for u in LITRES if u in measured.values()), "l")
    return Columns(names, tuple(fields), unit)


def _unknown_column(name: str, known: Mapping[str, str]) -> str:
    if not name:
        return "a column has no name: name it or take it out"
    bare = name.casefold()
    if bare in MEASURED:
        return f"does not say its unit: name it {bare}_l, {bare}_usgal or {bare}_impgal"
    near = nearest_names(name, known, 1)
    return f"is not a column that is known here: {f'did you mean {near[0]}?' if near else 'take it out'}"


def _read_rows(
    reader: Iterator[list[str]],
    lines: _Lines,
    columns: Columns,
    zone: WallClock | None,
    faults: Faults,
    report: Callable[[], None],
) -> Iterator[Row]:
    count = 0
    for line, cells in _rows(reader, lines):
        count += 1
        if count % _REPORT_ROWS == 0:
            report()
        if len(cells) != len(columns.names):
            what = "a comma in a note or a number? put a note in quotes, and write numbers with a point"
            counted = f"{len(cells)} cell{'' if len(cells) == 1 else 's'}"
            faults.add(line, "", "", f"has {counted} where the header has {len(columns.names)}: {what}")
            continue
        row = _read_row(line, cells, columns, zone, faults)
        if row is not None:
            yield row
    if not count:
        faults.add(0, "", "", "holds a header and no fill-up: write one a line below it")


def _read_row(line: int, cells: Sequence[str], columns: Columns, zone: WallClock | None, faults: Faults) -> Row | None:
    given: dict[str, Any] = {}
    before = faults.count
    for name, field, cell in zip(columns.names, columns.fields, cells, strict=True):
        text = cell.strip()
        if not text:
            if field in REQUIRED:
                faults.add(line, name, "", "is empty: it is required")
            continue
        try:
            given[field] = read_cell(field, text, columns.unit, zone)
        except InputError as error:
            faults.add(line, name, text, f"{error.problem}{f': {error.remedy}' if error.remedy else ''}")
    if faults.count > before:
        return None
    of_entry = {field: given.pop(field) for field in OF_ENTRY if field in given}
    try:
        fillup = Fillup(**{f"{field}_l" if field in MEASURED else field: value for field, value in given.items()})
    except ValidationError as error:
        for fault in explain(error):
            name = columns.name_of(fault.field)
            at = columns.names.index(name) if name in columns.names else None
            rule = f"{fault.problem}{f': {fault.remedy}' if fault.remedy else ''}"
            faults.add(line, name, "" if at is None else cells[at].strip(), rule)
        return None
    if of_entry.get("withdrawn") and "replaces" not in of_entry:
        rule = "is yes where no entry is replaced: name the withdrawn entry in the column replaces"
        faults.add(line, columns.name_of("withdrawn"), "", rule)
        return None
    return Row(line, fillup, **of_entry)


def _reporting(progress: Callable[[float], None] | None, lines: _Lines, size: int) -> Callable[[], None]:
    def report() -> None:
        if progress is not None:
            progress(min(1.0, lines.bytes_read / size))

    return report


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


def _example_header() -> str:
    return ",".join(f"{field}_l" if field in MEASURED else field for field in ORDER[:9] if field not in SPARSE)
