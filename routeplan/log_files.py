"""A log of fill-ups from wherever it is kept: a CSV file, a database file or a database server."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.fillup_csv import read_csv_fillups
from routeplan.fillups import Entry, FillupLog
from routeplan.moments import write_moment

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator

    from routeplan.fillup_csv import Row
    from routeplan.moments import WallClock

__all__ = ["check_csv_target", "entries_of_csv", "is_csv", "read_fillups"]

_LONGEST_HEAD = 4096  # bytes: of a file that is looked into before it is replaced
_LETTERS = "bcdfghjkmnpqrstvwxz"  # as the names in a log: nothing that a spreadsheet takes for a number


def read_fillups(where: str | os.PathLike[str], *, zone: WallClock | None = None) -> FillupLog:
    """Read a log of fill-ups.

    Parameters
    ----------
    where
        A CSV file (its name ends in ``.csv``), a database file, or ``postgresql://...``.
    zone
        Time zone of moments without an offset in a CSV file; such are refused where this is None.

    Returns
    -------
    What the log says today.

    Raises
    ------
    FillupFileError
        Every bad row of a CSV file.
    InputError
        It can't be read.
    """
    if is_csv(where):
        return FillupLog.of_entries(str(where), entries_of_csv(Path(where), zone=zone))
    from routeplan.logbook import open_logbook  # noqa: PLC0415  # heavy: only where there is a database

    with open_logbook(str(where)) as logbook:
        return logbook.log()


def is_csv(where: str | os.PathLike[str]) -> bool:
    """Tell a CSV file from a database by its name.

    Parameters
    ----------
    where
        A path or a URL.

    Returns
    -------
    Whether its name ends in ``.csv``.
    """
    return "://" not in str(where) and Path(where).suffix.casefold() == ".csv"


def check_csv_target(path: Path) -> None:
    """Make sure that a CSV file may be written here: that nothing is there, or a CSV file of fill-ups.

    Parameters
    ----------
    path
        The file that is to be written.

    Raises
    ------
    InputError
        Something else is there, such as the log itself.
    """
    try:
        with path.open("rb") as file:
            head = file.readline(_LONGEST_HEAD)
    except OSError:
        return  # it isn't there, or can't be read: whoever writes it finds out
    names = head.decode("utf-8-sig", errors="replace").strip().split(",")
    if head and not {"boat", "when"} <= {name.strip().strip('"').casefold() for name in names}:
        what = "a database" if head.startswith(b"SQLite format 3") else "a file, but no CSV of fill-ups"
        raise InputError(str(path), f"is {what}, which would be lost", remedy="name another file")


def entries_of_csv(path: Path, *, zone: WallClock | None = None) -> Iterator[Entry]:
    """Read the rows of a CSV file as entries.

    Parameters
    ----------
    path
        The file.
    zone
        Time zone of moments without an offset; such are refused where this is None.

    Yields
    ------
    Entry
        In the file's order. A row that carries no name gets one that its boat, moment and place among equals make, and
        counts as entered at the moment of the fill-up.

    Raises
    ------
    FillupFileError
        Every bad row, after the last.
    InputError
        The file can't be read, or names an entry twice.
    """
    taken: set[str] = set()
    for row in read_csv_fillups(path, zone=zone):
        name = row.entry or _made_name(row, taken)
        if name in taken:
            raise InputError(f"{path}, line {row.line}", "names an entry that is further up already", value=name)
        taken.add(name)
        yield Entry(
            entry=name,
            entered=row.entered or row.fillup.when,
            replaces=row.replaces,
            withdrawn=row.withdrawn,
            fillup=row.fillup,
        )


def _made_name(row: Row, taken: set[str]) -> str:
    """Make a name that is the same whenever the file is read."""
    for again in range(len(taken) + 1):
        seed = f"{row.fillup.boat}\x00{write_moment(row.fillup.when)}\x00{again}".encode()
        number = int.from_bytes(hashlib.blake2b(seed, digest_size=8).digest(), "big")
        signs = []
        for _ in range(8):
            number, place = divmod(number, len(_LETTERS))
            signs.append(_LETTERS[place])
        if (name := "".join(signs)) not in taken:
            return name
    raise AssertionError  # one of more names than are taken is free
