"""What came of building a region, for a person to judge: nothing is left out, mended or assumed without a word here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from layers.findings import Finding
    from layers.guessing import SourceGuess
    from layers.recipe import Recipe
    from layers.region import Region
    from layers.s57 import Account

__all__ = ["BuildReport", "Built", "PassedOver", "Repair", "TableReport", "Unsaid"]


@dataclass(frozen=True)
class Repair:
    """One shape that was unsound and was mended.

    Parameters
    ----------
    layer
        The layer that it is in.
    where
        The file, and the table in it where it has several.
    row
        Which row, as the file counts them.
    name
        Its name; empty where it has none.
    problem
        What was wrong.
    before_m2
        [m2] Its area as it was reckoned before; what an outline that crosses itself goes round twice counts for that.
    after_m2
        [m2] Its area now.
    """

    layer: str
    where: str
    row: str
    name: str
    problem: str
    before_m2: float
    after_m2: float


@dataclass(frozen=True)
class TableReport:
    """What became of one table of a source.

    Parameters
    ----------
    guess
        What it was taken for, and why.
    rows
        How many rows it has.
    used
        How many of them are in the region.
    notes
        What happened to the others, and what the readers did.
    """

    guess: SourceGuess
    rows: int
    used: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PassedOver:
    """Something in a source that wasn't read.

    Parameters
    ----------
    where
        The file or folder.
    why
        Why not.
    """

    where: str
    why: str


@dataclass(frozen=True)
class Unsaid:
    """A source of which nothing tells what a region needs to know, so that a person must.

    Parameters
    ----------
    where
        The file, and the table in it where it has several.
    problem
        What nobody says.
    remedy
        What to do.
    """

    where: str
    problem: str
    remedy: str


@dataclass(frozen=True)
class BuildReport:
    """What came of building a region.

    Parameters
    ----------
    tables
        Each table that was read, in the order of the sources.
    cells
        What became of each class of objects of each chart cell.
    passed_over
        What wasn't read.
    repairs
        What was mended.
    said
        What the region says about itself and where each of it comes from, by key.
    cautions
        What a person must look at before trusting it.
    missing
        The layers that are absent, each with what that means.
    findings
        What is doubtful in the region as it is.
    """

    tables: tuple[TableReport, ...]
    cells: tuple[Account, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    repairs: tuple[Repair, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    missing: tuple[Finding, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Built:
    """A region that was put together, and how.

    Parameters
    ----------
    region
        The region, checked; not written yet.
    report
        What came of each source.
    recipe
        The recipe with nothing left to guess.
    """

    region: Region
    report: BuildReport
    recipe: Recipe
