"""The root of the error tree: everything routeplan raises on purpose.

::

    RouteplanError
    ├── InputError          bad input: file, row or option, value, limit, what to do
    │   ├── LayersError     every bad row of a region's layers at once
    │   ├── SourceError     (layers.tables) every bad row of the files that a region is built of
    │   ├── NoSystemError   (layers.tables) a file that doesn't say its reference system
    │   └── BoatFileError   (routeplan.boats) every fault of a boat file at once
    ├── NeverOpensError     (layers.hours) hours that stay shut for longer than they are looked ahead
    └── NoPassageError      (routeplan.plans) no plan keeps the rules

Each error carries its data as attributes and says it in one line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["BadRow", "InputError", "LayersError", "RouteplanError"]

_MOST_TOLD = 200  # faults told in full: a screen that scrolls for minutes helps nobody; `bad_rows` holds all


class RouteplanError(Exception):
    """Root of all errors that routeplan raises on purpose."""


class InputError(RouteplanError):
    """Something the user gave can't be used.

    Parameters
    ----------
    where
        The file, and the row, key or option in it: ``boats/gannet.toml, tank.capacity_l``.
    problem
        What is wrong, in plain words, with the limit that was broken.
    value
        What was found there, as the user would recognise it; None where there is nothing to quote.
    remedy
        What to do about it; empty where the problem already says it.

    Examples
    --------
    >>> str(InputError("--aboard", "more than the tank holds, 74 gal", value="90gal", remedy="check the figure"))
    "--aboard: more than the tank holds, 74 gal (got '90gal'): check the figure"
    """

    def __init__(self, where: str, problem: str, *, value: object = None, remedy: str = "") -> None:
        self.where = where
        self.problem = problem
        self.value = value
        self.remedy = remedy
        super().__init__(where, problem)

    def __str__(self) -> str:
        """Return the one line that a user reads."""
        got = "" if self.value is None else f" (got {_quoted(self.value)})"
        then = f": {self.remedy}" if self.remedy else ""
        return " ".join(f"{self.where}: {self.problem}{got}{then}".split())


@dataclass(frozen=True)
class BadRow:
    """One fault in one row of a layer.

    Parameters
    ----------
    layer
        Name of the layer, or ``region.toml`` where the fault lies in what the region says about itself.
    row
        Row number as the file counts it, from 1; 0 where the fault is the whole layer's.
    column
        Name of the column, or ``geometry``.
    value
        What was found there, as text.
    rule
        The rule it breaks, and what to do.
    name
        What the row itself says it is called; empty where it doesn't.
    """

    layer: str
    row: int
    column: str
    value: str
    rule: str
    name: str = ""

    def __str__(self) -> str:
        """Return the fault as one line."""
        called = f" ({self.name})" if self.name else ""
        row = f", row {self.row}{called}" if self.row else ""
        got = f" (got {_quoted(self.value)})" if self.value else ""
        name = self.layer if self.layer.endswith(".toml") else f"layer {self.layer}"
        return " ".join(f"{name}{row}, {self.column}: {self.rule}{got}".split())


class LayersError(InputError):
    """Every bad row of a region's layers, at once.

    Parameters
    ----------
    where
        The region's folder or file.
    bad_rows
        The faults, in the order of layers and rows; at least one.
    """

    def __init__(self, where: str, bad_rows: Sequence[BadRow]) -> None:
        self.bad_rows = tuple(bad_rows)
        count = len(self.bad_rows)
        super().__init__(where, f"{count} bad {'entry' if count == 1 else 'entries'}")

    def __str__(self) -> str:
        """Return a line that counts the faults, then one line each, up to 200."""
        first = self.bad_rows[0]
        if len(self.bad_rows) == 1:
            return f"{self.where}: {first}"
        told = [f"  {row}" for row in self.bad_rows[:_MOST_TOLD]]
        if len(self.bad_rows) > _MOST_TOLD:
            told.append(f"  and {len(self.bad_rows) - _MOST_TOLD} more")
        return "\n".join([f"{self.where}: {self.problem}", *told])


def _quoted(value: object) -> str:
    text = repr(value.strip() if isinstance(value, str) else value)
    return text if len(text) <= 80 else f"{text[:76]} ..."
