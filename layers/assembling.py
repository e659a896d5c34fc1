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
from layers.build_report import BuildReport, Built, PassedOver, TableReport, Unsaid
from layers.converting import convert
from layers.errors import InputError
from layers.extents import rounded_outwards
from layers.findings import find_doubts
from layers.findings_kinds import in_order_of_danger
from layers.gathering import LAND_MARGIN_DEG, Gathered
from layers.guessing import guess_currency, guess_source, why_unknown
from layers.name_words import words_of
from layers.namesakes import settle_namesakes
from layers.recipe import CELLS, SKIP, TO_SAY
from layers.region import Region
from layers.schema import LAYERS
from layers.sources import cells_in, read_tables
from layers.tables import NoSystemError, SourceError
from layers.turned import find_opened, refuse_turned
from layers.value_guesses import fuel_of
from layers.vector_files import ASK

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from layers.about import Source
    from layers.converting import Rows
    from layers.findings import Finding
    from layers.guessing import SourceGuess
    from layers.recipe import Recipe, RecipeSource
    from layers.tables import SourceTable

    Extent = tuple[float, float, float, float]

__all__ = ["Guessed", "assemble", "guess_recipe"]

_SHAPE_WORDS = ("points", "lines", "polygons")
_LONGEST = 500  # characters of a warning
_MOST_DOUBTS = 10  # of one layer of a chart, told one by one


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
    unsaid
        What nothing tells, so that no region can be put together before a person says it.
    """

    recipe: Recipe
    tables: tuple[SourceTable, ...]
    guesses: tuple[SourceGuess, ...]
    passed_over: tuple[PassedOver, ...] = ()
    unsaid: tuple[Unsaid, ...] = ()


def guess_recipe(recipe: Recipe) -> Guessed:
    """Read a recipe's sources and guess what it doesn't say of them.

    Parameters
    ----------
    recipe
        The recipe; `layers.add_sources` puts files into one.

    Returns
    -------
    Guessed
        The tables, and a recipe in which each is one entry; those of which nothing tells what they are stand in it
        with that left to fill in.

    Raises
    ------
    InputError
        A source can't be read.
    SourceError
        So many rows of a table can't be read that nothing tells what it is.
    """
    check_given(recipe)
    near = _box_to_read(recipe.extent)
    tables: list[SourceTable] = []
    guesses: list[SourceGuess] = []
    passed: list[PassedOver] = []
    whole: list[RecipeSource] = []
    unsaid: list[Unsaid] = []
    for source in recipe.sources:
        if source.as_ == CELLS:
            whole.append(source)
            continue
        try:
            found = read_tables(source, near)
        except NoSystemError as error:
            unsaid.append(Unsaid(error.where, error.problem, error.remedy))
            whole.append(source.model_copy(update={"crs": ASK}))
            continue
        guessed = [guess_source(table, source) for table in found]
        if not found:
            passed.append(PassedOver(source.file, "left out, as the recipe says"))
        for table, guess in zip(found, guessed, strict=True):
            if guess is None and table.faults:  # rows that can't be read are why nothing tells it
                raise SourceError(table.faults)
            if guess is None:
                why = why_unknown(table)
                unsaid.append(Unsaid(table.where, why, _how_to_say(table, named="its name says" in why)))
                whole.append(source.model_copy(update={"as_": TO_SAY, "layer": table.name}))
                continue
            tables.append(table)
            guesses.append(guess)
            whole.append(guess.source)
    told = recipe.model_copy(update={"sources": tuple(whole)})
    return Guessed(told, tuple(tables), tuple(guesses), tuple(passed), tuple(unsaid))


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
        A source can't be read, or nothing tells what it is; nothing says how far the waters go, or nothing lies there;
        hours come without a time zone or prices without a currency, or a layer has too many corners.
    """
    tell = progress or (lambda _: None)
    guessed = guessed or guess_recipe(recipe)
    _refuse_unsaid(guessed.unsaid)
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
    if recipe.extent is not None and charts is None:
        refuse_turned(recipe.extent, [found.shapes for found in rows if found is not None])
    gathered = Gathered(extent)
    reports = []
    for place, ((table, guess), found) in enumerate(zip(pairs, rows, strict=True)):
        part = _part(tell, 0.5 + 0.35 * place / len(pairs), 0.35 / len(pairs))
        if found is None:
            reports.append(TableReport(guess, len(table.shapes), 0, table.notes))
        else:
            reports.append(gathered.add(table, guess, found, part))
    for name, raw in charts.layers.items() if charts else ():
        gathered.add_chart(raw, _charted_source(recipe, charts.sources.get(name), name, charts.findings))
    tell(0.85)
    if not gathered.faults and not any(layer.rows for layer in gathered.layers.values()):
        raise InputError(
            "--extent", "holds nothing of the sources", value=extent, remedy="check it and their positions"
        )
    opened = find_opened(gathered, charts.cover) if charts else []
    cautions = settle_namesakes(gathered)
    frames = gathered.checked(ZoneInfo(recipe.time_zone or "UTC"))
    if gathered.faults:
        raise SourceError(gathered.faults)
    about, why, more = guess_about(recipe, gathered, charts, guess_currency(guessed.tables, guessed.guesses))
    present = frozenset(name for name, layer in gathered.layers.items() if layer.rows)
    region = Region(about, frames, present, "a region in memory")
    tell(0.95)
    doubts = find_doubts(region, today=today)
    charted = charts.findings if charts else ()  # those about a whole layer have become warnings of its source
    absent = [doubt for doubt in doubts if doubt.layer not in present and doubt.row == 0]
    report = BuildReport(
        tables=tuple(reports),
        cells=charts.accounted if charts else (),
        passed_over=tuple(passed),
        repairs=tuple(gathered.repairs),
        said={"extent": why_extent, **why},
        cautions=(
            *gathered.strays,
            *opened,
            *_misshapen(reports),
            *_unused(reports),
            *_unused_prices(guessed.guesses),
            *_charted_doubts(charted),
            *more,
            *_unsaid_units(guessed.guesses),
            *cautions,
        ),
        missing=tuple(absent),
        findings=(
            *(found for found in charted if found.name or found.row),
            *(doubt for doubt in doubts if doubt not in absent),
        ),
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


def _charted_source(recipe: Recipe, source: Source | None, layer: str, findings: Sequence[Finding]) -> Source | None:
    """Return what cells say of a layer, with what the recipe says over it, and what is doubtful in all of the layer."""
    if source is None:
        return None
    doubts = [f"{f.problem}; {f.remedy}" for f in findings if f.layer == layer and not f.name and not f.row]
    warning = "; ".join(dict.fromkeys(doubts))
    said: dict[str, Any] = {"warning": warning if len(warning) <= _LONGEST else f"{warning[: _LONGEST - 4]} ..."}
    said = {key: value or None for key, value in said.items()}
    said |= {
        key: value
        for entry in reversed(recipe.sources)
        if entry.as_ == CELLS
        for key in ("title", "publisher", "edition", "date", "licence", "datum", "warning")
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


def _misshapen(reports: Sequence[TableReport]) -> list[str]:
    """Say which rows are left out for the kind of their shapes: dangers and rules among them."""
    return [
        f"{report.guess.where}: {note}"
        for report in reports
        if report.guess.source.as_ != "waypoints"
        for note in report.notes
        if " left out: " in note and note.endswith(_SHAPE_WORDS)
    ]


def _unused_prices(guesses: Sequence[SourceGuess]) -> list[str]:
    """Say which columns about fuels, or their prices, aren't used."""
    told = []
    for guess in guesses:
        names = [name.split(" (is it ")[0] for name in guess.unused] if guess.source.as_ == "docks" else []
        told += [
            f"{guess.where}: column {name!r} isn't used, and looks like one of fuels or prices: call it"
            " price_gasoline_per_l or price_diesel_per_l, or say in a recipe which one it is ([source.columns])"
            for name in names
            if fuel_of(name) or {"price", "prices", "cost"} & set(words_of(name))
        ]
    return told


def _charted_doubts(findings: Sequence[Finding]) -> list[str]:
    """Say what a chart leaves doubtful, the gravest first; of a layer's objects a few, and how many more."""
    told: dict[str, list[str]] = {}
    for finding in in_order_of_danger(findings):
        told.setdefault(finding.layer, []).append(str(finding))
    lines = []
    for layer, doubts in told.items():
        once = list(dict.fromkeys(doubts))
        lines += once[:_MOST_DOUBTS]
        if rest := once[_MOST_DOUBTS:]:
            lines.append(f"layer {layer}: {len(rest)} more such objects of the chart (--json tells them)")
    return lines


def _how_to_say(table: SourceTable, *, named: bool) -> str:
    """Say how a person tells what a table is, the short way first."""
    if named:
        return 'save it with such shapes, or leave it out by a recipe (--dry-run --write-recipe FILE): as = "skip"'
    layers = ", ".join(LAYERS)
    short = f"call the table after its layer ({layers})"
    if not table.name:
        short = f"rename the file after its layer, such as land{table.path.suffix}"
    return (
        f'{short}, or say it in a recipe (--dry-run --write-recipe FILE writes one to fill in): as = "land", or "skip"'
    )


def _refuse_unsaid(unsaid: Sequence[Unsaid]) -> None:
    if not unsaid:
        return
    first = unsaid[0]
    more = (
        f"; and so for {len(unsaid) - 1} more: {', '.join(other.where for other in unsaid[1:4])}" if unsaid[1:] else ""
    )
    raise InputError(first.where, f"{first.problem}{more}", remedy=first.remedy)


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
