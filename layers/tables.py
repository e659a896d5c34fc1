"""What a file holds, as it was found: columns, shapes, and the faults of its rows; nothing of it understood yet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

__all__ = ["BadEntry", "NoSystemError", "SourceError", "SourceTable"]

_MOST_TOLD = 200  # faults told in full: a screen that scrolls for minutes helps nobody; `bad_entries` holds all
_WIDEST = 80  # characters of a value that are quoted


@dataclass(frozen=True)
class BadEntry:
    """One fault in one row of a file that a region was to be made of.

    Parameters
    ----------
    file
        The file, and the table in it where it has several.
    row
        Which row, as the file counts them: ``line 7``, ``row 3``; empty where the fault is the whole file's.
    column
        The column as the file calls it; empty where the fault is the whole row's.
    value
        What stands there, as text.
    rule
        The rule it breaks, and what to do.
    name
        What the row calls itself; empty where it doesn't.
    """

    file: str
    row: str
    column: str
    value: str
    rule: str
    name: str = ""

    def __str__(self) -> str:
        """Return the fault as one line."""
        called = f" ({self.name})" if self.name else ""
        row = f", {self.row}{called}" if self.row else ""
        column = f", {_cut(self.column)}" if self.column else ""
        got = f" (got {_cut(self.value)!r})" if self.value else ""
        return " ".join(f"{self.file}{row}{column}: {self.rule}{got}".split())


class SourceError(InputError):
    """Every bad row of the files that a region was to be made of, at once.

    Parameters
    ----------
    bad_entries
        The faults in the order of files and rows; at least one.
    """

    def __init__(self, bad_entries: Sequence[BadEntry]) -> None:
        self.bad_entries = tuple(bad_entries)
        files = list(dict.fromkeys(entry.file for entry in bad_entries))
        count = len(self.bad_entries)
        where = files[0] if len(files) == 1 else f"{len(files)} files"
        super().__init__(where, f"{count} bad {'entry' if count == 1 else 'entries'}; nothing was written")

    def __str__(self) -> str:
        """Return a line that counts the faults, then one line each, up to 200."""
        if len(self.bad_entries) == 1:
            return str(self.bad_entries[0])
        told = [f"  {entry}" for entry in self.bad_entries[:_MOST_TOLD]]
        if len(self.bad_entries) > _MOST_TOLD:
            told.append(f"  and {len(self.bad_entries) - _MOST_TOLD} more")
        return "\n".join([f"{self.where}: {self.problem}", *told])


class NoSystemError(InputError):
    """A file that doesn't say which reference system its positions are in.

    Parameters
    ----------
    where
        The file.
    problem
        What is missing.
    value
        None.
    remedy
        How to say it.
    """


@dataclass(frozen=True)
class SourceTable:
    """One table of a file, unchecked.

    Parameters
    ----------
    path
        The file.
    name
        Name of the table in it; empty where the file is one table.
    columns
        A value for every row, by column as the file calls it, in its order; None where the row has none.
    shapes
        [deg] A shapely geometry for every row on WGS 84, longitude first; None where there is none.
    numbers
        What the file calls each row: its line or its number.
    row_word
        ``line`` of a text, else ``row``.
    decimal_comma
        Whether its numbers may have a comma for the decimal point.
    faults
        What the reader found wrong itself.
    notes
        What the reader did that isn't plain: reprojected, lines passed over.
    crs
        The reference system that it was in, in words.
    """

    path: Path
    name: str
    columns: Mapping[str, Sequence[object]]
    shapes: NDArray[np.object_]
    numbers: Sequence[int]
    row_word: str = "row"
    decimal_comma: bool = False
    faults: tuple[BadEntry, ...] = ()
    notes: tuple[str, ...] = field(default=())
    crs: str = "WGS 84"

    @property
    def where(self) -> str:
        """The file, and the table in it where it has several."""
        return f"{self.path}, {self.name}" if self.name else str(self.path)

    def row(self, place: int) -> str:
        """Name a row as the file counts it.

        Parameters
        ----------
        place
            Its place in the table, from 0.

        Returns
        -------
        str
            Such as ``line 7``.
        """
        return f"{self.row_word} {self.numbers[place]:,}"


def _cut(text: str) -> str:
    plain = text if text.isprintable() else repr(text)
    return plain if len(plain) <= _WIDEST else f"{plain[: _WIDEST - 4]} ..."
