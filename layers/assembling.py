"""Put a region together from files of open formats, and tell what became of all that they hold.

Read, guess, convert, mend, cut, check. Nothing is written here: `layers.write_region` writes what comes out, whole or
not at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from layers.about_guesses import check_given, guess_about, guess_extent
from layers.build_report import BuildReport, Built, PassedOver, TableReport
from layers.converting import convert
from layers.errors import InputError
from layers.extents import rounded_outwards
from layers.findings import find_doubts
from layers.gathering import LAND_MARGIN_DEG, Gathered
from layers.guessing import guess_currency, guess_source
from layers.namesakes import settle_namesakes
from layers.recipe import CELLS, SKIP
from layers.region import Region
from layers.schema import LAYERS
from layers.sources import cells_in, read_tables
from layers.tables import SourceError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from layers.about import Source
    from layers.converting import Rows
    from layers.guessing import SourceGuess
    from layers.recipe import Recipe, RecipeSource
    from layers.tables import SourceTable

    Extent = tuple[float, float, float, float]

__all__ = ["Guessed", "assemble", "guess_recipe"]


@dataclass(frozen=True)
class Guessed:
    """Sources as they were read, and what was made of them.

    Parameters
    ----------
    recipe
        The recipe with nothing left to guess about its sources.
    tables
        The tables, but for S-57 cells.
    guesses
        What each was taken for, in the same order.
    passed_over
        What wasn't read.
    """

    recipe: Recipe
    tables: tuple[SourceTable, ...]
    guesses: tuple[SourceGuess, ...]
    passed_over: tuple[PassedOver, ...] = ()


def guess_recipe(recipe: Recipe) -> Guessed:
    """Read a recipe's sources and guess what it doesn't say of them.

    Parameters
    ----------
    recipe
        The recipe; `layers.add_sources` puts files into one.

    Returns
    -------
    Guessed
        The tables, and a recipe in which each is one entry.

    Raises
    ------
    InputError
        A source can't be read, or nothing tells what any of its tables is.
    """
    check_given(recipe)
    near = _box_to_read(recipe.extent)
    tables: list[SourceTable] = []
    guesses: list[SourceGuess] = []
    passed: list[PassedOver] = []
    whole: list[RecipeSource] = []
    for source in recipe.sources:
        if source.as_ == CELLS:
            whole.append(source)
            continue
        found = read_tables(source, near)
        guessed = [guess_source(table, source) for table in found]
        if found and not any(guessed):
            remedy = f'call it after its layer ({", ".join(LAYERS)}), or say it in a recipe: as = "land", or "skip"'
            raise InputError(source.file, "nothing tells what it holds", remedy=remedy)
        if not found:
            passed.append(PassedOver(source.file, "left out, as the recipe says"))
        for table, guess in zip(found, guessed, strict=True):
            if guess is None:
                passed.append(PassedOver(table.where, "nothing tells what it holds: say in a recipe what it is"))
                continue
            tables.append(table)
            guesses.append(guess)
            whole.append(guess.source)
    return Guessed(recipe.model_copy(update={"sources": tuple(whole)}), tuple(tables), tuple(guesses), tuple(passed))


def assemble(
    recipe: Recipe,
    *,
    today: date,
    guessed: Guessed | None = None,
    passed_over: Sequence[PassedOver] = (),
    progress: Callable[[float], None] | None = None,
) -> Built:
    """Put a region together.

    Parameters
    ----------
    recipe
        Which sources, and what they are; what it leaves out is guessed.
    today
        The day from which ages are judged.
    guessed
        What `guess_recipe` made of it, where that is done already.
    passed_over
        What wasn't read before it came here.
    progress
        Told the share that is done.

    Returns
    -------
    Built
        The region, checked and not written yet, and what became of each source.

    Raises
    ------
    SourceError
        Rows that can't be used; carries all of them.
    InputError
        A source can't be read, nothing says how far the waters go, hours come without a time zone or prices without a
        currency, or a layer has too many corners.
    """
    tell = progress or (lambda _: None)
    guessed = guessed or guess_recipe(recipe)
    recipe = guessed.recipe
    tell(0.2)
    passed = [*passed_over, *guessed.passed_over]
    charts = _read_charts(recipe, passed)
    tell(0.5)
    pairs = list(zip(guessed.tables, guessed.guesses, strict=True))
    rows = [None if guess.source.as_ == SKIP else convert(table, guess.source) for table, guess in pairs]
    try:
        extent, why_extent = _extent(recipe, guessed.guesses, rows, charts)
    except InputError as error:
        bad = [fault for found in rows if found is not None for fault in found.faults]
        raise (SourceError(bad) if bad else error) from error
    gathered = Gathered(extent)
    reports = []
    for place, ((table, guess), found) in enumerate(zip(pairs, rows, strict=True)):
        part = _part(tell, 0.5 + 0.35 * place / len(pairs), 0.35 / len(pairs))
        if found is None:
            reports.append(TableReport(guess, len(table.shapes), 0, table.notes))
        else:
            reports.append(gathered.add(table, guess, found, part))
    for name, raw in charts.layers.items() if charts else ():
        gathered.add_chart(raw, _charted_source(recipe, charts.sources.get(name)))
    tell(0.85)
    cautions = settle_namesakes(gathered)
    frames = gathered.checked(ZoneInfo(recipe.time_zone or "UTC"))
    if gathered.faults:
        raise SourceError(gathered.faults)
    about, why, more = guess_about(recipe, gathered, charts, guess_currency(guessed.tables, guessed.guesses))
    present = frozenset(name for name, layer in gathered.layers.items() if layer.rows)
    region = Region(about, frames, present, "a region in memory")
    tell(0.95)
    doubts = find_doubts(region, today=today)
    absent = [doubt for doubt in doubts if doubt.layer not in present and doubt.row == 0]
    report = BuildReport(
        tables=tuple(reports),
        cells=charts.accounted if charts else (),
        passed_over=tuple(passed),
        repairs=tuple(gathered.repairs),
        said={"extent": why_extent, **why},
        cautions=(*_unused(reports), *more, *_unsaid_units(guessed.guesses), *cautions),
        missing=tuple(absent),
        findings=(*(charts.findings if charts else ()), *(doubt for doubt in doubts if doubt not in absent)),
    )
    tell(1.0)
    told = about.model_dump(include={"name", "extent", "time_zone", "chart_datum", "clearance_datum", "currency"})
    return Built(region, report, recipe.model_copy(update=told))


def _box_to_read(extent: Extent | None) -> Extent | None:
    """[deg] Return a box to read in; None where it lies across the 180th meridian, so that one box can't say it."""
    if extent is None or extent[0] > extent[2]:
        return None
    west, south, east, north = extent
    return (west - LAND_MARGIN_DEG, south - LAND_MARGIN_DEG, east + LAND_MARGIN_DEG, north + LAND_MARGIN_DEG)


def _read_charts(recipe: Recipe, passed: list[PassedOver]) -> Any:  # layers.s57.ChartedWaters
    folders = [source for source in recipe.sources if source.as_ == CELLS]
    if not folders:
        return None
    from layers.s57 import ChartChoices, read_cells  # noqa: PLC0415  # only where there are cells

    cells: list[Path] = []
    for folder in folders:
        found, others = cells_in(Path(folder.file))
        cells += found
        passed += others
    return read_cells(cells, recipe.extent, choices=ChartChoices(danger_depth_m=recipe.danger_depth_m))


def _extent(
    recipe: Recipe, guesses: Sequence[SourceGuess], rows: Sequence[Rows | None], charts: Any
) -> tuple[Extent, str]:
    if charts is not None and recipe.extent is None:
        return rounded_outwards(charts.extent, 1e-6), "what the chart cells cover"
    shapes = [
        (str(guess.source.as_), found.shapes) for guess, found in zip(guesses, rows, strict=True) if found is not None
    ]
    return guess_extent(shapes, recipe.extent)


def _charted_source(recipe: Recipe, source: Source | None) -> Source | None:
    """Return what cells say of themselves, with what the recipe says of them over it."""
    if source is None:
        return None
    said = {
        key: value
        for entry in reversed(recipe.sources)
        if entry.as_ == CELLS
        for key in ("title", "publisher", "edition", "date", "licence", "datum")
        if (value := getattr(entry, key)) is not None
    }
    return source.model_copy(update=said)


def _part(tell: Callable[[float], None], begins: float, length: float) -> Callable[[float], None]:
    return lambda share: tell(begins + length * share)


def _unused(reports: Sequence[TableReport]) -> list[str]:
    """Say which sources came to nothing."""
    return [
        f"no row of {report.guess.where} is in the region"
        for report in reports
        if report.rows and not report.used and report.guess.source.as_ != SKIP
    ]


def _unsaid_units(guesses: Sequence[SourceGuess]) -> list[str]:
    """Say which units nothing says."""
    spoken = {"m": "metres", "l": "litres", "kn": "knots", "min": "minutes"}
    return [
        f"{guess.where}: the numbers of {column.theirs!r} are taken for {spoken.get(column.unit, column.unit)}, for"
        f" nothing says their unit: if they are others, say so in a recipe ([source.units] {column.ours} = ...)"
        for guess in guesses
        for column in guess.columns
        if column.unit_assumed
    ]
