"""Records of an S-57 file (ISO 8211): that they are whole, and what the file says about itself.

GDAL reads the objects. It takes a file that was cut short for a shorter one, and a chart that lacks its second half
without a word is worse than none; so every record is walked here first, and counted against what the file states.

References
----------
.. [1] International Hydrographic Organization, *Transfer Standard for Digital Hydrographic Data*, S-57 edition 3.1,
   part 3, clauses 7.3 to 7.7 (layout of DSID, DSSI, DSPM, FRID, FSPT, VRID and VRPT; from memory, and as GDAL's writer
   lays them out).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.files import check_file, describe

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["DELETED", "LIMIT_BYTES", "CellHeader", "FileRecords", "ObjectRecord", "read_records"]

LIMIT_BYTES = 200_000_000  # bytes; cells hold 5 MB by the rules of their publishers, and seldom more
_LEADER = 24  # bytes
_FIELD_END = 0x1E
_TEXT_END = b"\x1f"
_REMEDY = "copy it again from where it came from"
DELETED = 2  # update instruction: S-57 3.1, part 3, clause 7.6.1

ObjectRecord = tuple[int, int, int]
Piece = tuple[int, int]


@dataclass(frozen=True)
class CellHeader:
    """What a cell or an update of it says about itself.

    Parameters
    ----------
    path
        The file.
    name
        Name of the data set, as the file has it.
    edition
        Number of the edition.
    update
        Number of the last update in it; 0 for a new edition.
    issued
        Day on which it was issued; None where that can't be read.
    agency
        Number of the agency that produced it.
    scale
        Denominator of the compilation scale; 0 where none is given, and in an update.
    horizontal_datum
        Its code.
    vertical_datum
        Code of what heights are counted from.
    sounding_datum
        Code of what depths are counted from.
    depth_units
        Code of the unit of depths.
    height_units
        Code of the unit of heights.
    position_units
        Code of the unit of positions; 1 for degrees.
    has_parameters
        Whether scale, datums and units were given at all; an update lacks them.
    """

    path: Path
    name: str
    edition: int
    update: int
    issued: date | None
    agency: int
    scale: int = 0
    horizontal_datum: int = 0
    vertical_datum: int = 0
    sounding_datum: int = 0
    depth_units: int = 0
    height_units: int = 0
    position_units: int = 0
    has_parameters: bool = False


@dataclass(frozen=True)
class FileRecords:
    """What is in a file of S-57.

    Parameters
    ----------
    header
        What it says about itself.
    objects
        Its objects: number of the record, number of the class, and what the record says to do (1 insert, 2 delete,
        3 modify).
    pieces
        Kind and number of the pieces of outline in it: nodes, edges, faces.
    pointers
        Those that its objects and edges are drawn with, which may lie in the file that it updates.
    """

    header: CellHeader
    objects: tuple[ObjectRecord, ...]
    pieces: frozenset[Piece]
    pointers: frozenset[Piece]


def read_records(path: Path) -> FileRecords:
    """Read what a file of S-57 says about itself, and make sure that all its records are there.

    Parameters
    ----------
    path
        A cell (``.000``) or an update of one (``.001`` and so on).

    Returns
    -------
    FileRecords
        What it says, and what is in it.

    Raises
    ------
    InputError
        It is missing, too large, no S-57 file, damaged or cut short.
    """
    check_file(path, LIMIT_BYTES)
    try:
        body = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"can't be read: {describe(error)}") from error
    dataset: dict[str, bytes] = {}
    objects: list[ObjectRecord] = []
    pieces: list[Piece] = []
    pointers: set[Piece] = set()
    try:
        for fields in _records(path, body):
            if "FRID" in fields:
                objects.append(struct.unpack("<xI2xH2xB", fields["FRID"]))
            elif "VRID" in fields:
                pieces.append(struct.unpack_from("<BI", fields["VRID"]))
            else:
                dataset |= {tag: value for tag, value in fields.items() if tag in {"DSID", "DSSI", "DSPM"}}
            pointers.update(struct.iter_unpack("<BI3x", fields.get("FSPT", b"")))
            pointers.update(struct.iter_unpack("<BI4x", fields.get("VRPT", b"")))
    except struct.error as error:
        raise InputError(str(path), "is damaged: an object or its outline can't be read", remedy=_REMEDY) from error
    if "DSID" not in dataset:
        raise InputError(str(path), "is no S-57 cell: it has no record that names the data set", remedy=_REMEDY)
    try:
        header = _read_dataset(path, dataset)
        stated = _stated_counts(dataset)
    except (struct.error, ValueError, IndexError) as error:
        raise InputError(str(path), "is damaged: what it says about itself can't be read", remedy=_REMEDY) from error
    if len(objects) < stated[0] or len(pieces) < stated[1]:
        problem = (
            f"is cut short: it holds {len(objects)} objects and {len(pieces)} pieces of outline,"
            f" and says that there are {stated[0]} and {stated[1]}"
        )
        raise InputError(str(path), problem, remedy=_REMEDY)
    return FileRecords(header, tuple(objects), frozenset(pieces), frozenset(pointers))


def _records(path: Path, body: bytes) -> Iterator[dict[str, bytes]]:
    """Yield the fields of each record after the first, which describes the format."""
    if len(body) < _LEADER or body[6:7] != b"L":
        raise InputError(str(path), "is no S-57 cell: it doesn't begin as one", remedy="check that it is a chart file")
    start = 0
    while start < len(body):
        try:
            end, fields = _record(body, start)
        except (ValueError, IndexError) as error:
            problem = f"is damaged or cut short at byte {start:,} of {len(body):,}"
            raise InputError(str(path), problem, remedy=_REMEDY) from error
        if start:
            yield fields
        start = end


def _record(body: bytes, start: int) -> tuple[int, dict[str, bytes]]:
    length, base = _number(body, start, 5), _number(body, start + 12, 5)
    if body[start + 6 : start + 7] != (b"D" if start else b"L"):
        raise ValueError("no record begins here")
    length_size, place_size, tag_size = (_number(body, start + at, 1) for at in (20, 21, 23))
    step = tag_size + length_size + place_size
    if not (tag_size and length_size and place_size) or base <= _LEADER or (base - 1 - _LEADER) % step:
        raise ValueError("a directory of another size")
    fields: dict[str, bytes] = {}
    furthest = 0
    for entry in range(start + _LEADER, start + base - 1, step):
        tag = body[entry : entry + tag_size].decode("ascii")
        size = _number(body, entry + tag_size, length_size)
        place = _number(body, entry + tag_size + length_size, place_size)
        furthest = max(furthest, place + size)
        first = start + base + place
        if not size or body[first + size - 1] != _FIELD_END:
            raise ValueError("a field without its end")
        fields[tag] = fields.get(tag, b"") + body[first : first + size - 1]
    end = start + (length or base + furthest)  # records too long for five digits state no length
    if body[start + base - 1] != _FIELD_END or base + furthest > end - start or end > len(body):
        raise ValueError("a record without its end")
    return end, fields


def _number(body: bytes, start: int, size: int) -> int:
    digits = body[start : start + size]
    if len(digits) < size or not digits.isdigit():
        raise ValueError("not a number")
    return int(digits)


def _read_dataset(path: Path, dataset: dict[str, bytes]) -> CellHeader:
    name, edition, update, rest = dataset["DSID"][7:].split(_TEXT_END, 3)
    issued = rest[8:16].decode("ascii", "replace")
    agency_at = rest.index(_TEXT_END, rest.index(_TEXT_END, 21) + 1) + 2  # after two texts and the profile
    (agency,) = struct.unpack("<H", rest[agency_at : agency_at + 2])
    header = CellHeader(
        path=path,
        name=name.decode("latin-1").strip(),
        edition=int(edition or b"0"),
        update=int(update or b"0"),
        issued=_day(issued),
        agency=agency,
    )
    if "DSPM" not in dataset:
        return header
    horizontal, vertical, sounding, scale, depth, height, _, position = struct.unpack_from(
        "<BBBIBBBB", dataset["DSPM"], 5
    )
    return CellHeader(
        path=path,
        name=header.name,
        edition=header.edition,
        update=header.update,
        issued=header.issued,
        agency=agency,
        scale=scale,
        horizontal_datum=horizontal,
        vertical_datum=vertical,
        sounding_datum=sounding,
        depth_units=depth,
        height_units=height,
        position_units=position,
        has_parameters=True,
    )


def _day(digits: str) -> date | None:
    try:
        return date.fromisoformat(digits)
    except ValueError:
        return None


def _stated_counts(dataset: dict[str, bytes]) -> tuple[int, int]:
    """Return how many objects and how many nodes, edges and faces the file says it holds; 0 where it doesn't."""
    if "DSSI" not in dataset:
        return 0, 0
    meta, cartographic, geo, collections, *vectors = struct.unpack_from("<8I", dataset["DSSI"], 3)
    return meta + cartographic + geo + collections, sum(vectors)
