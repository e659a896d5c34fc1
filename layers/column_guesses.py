"""Guess which of a table's columns is which of ours, by names and values; and the unit of each."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.name_words import has_values, words_of
from layers.synonyms import CHOICES, COLUMNS, MINOR_MONEY, MONEY, NO_VALUE
from layers.units import UNIT_WORDS, UNITS, unit_kind
from layers.value_guesses import choice_for, fuel_of, fuels_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layers.recipe import RecipeSource
    from layers.schema import LayerSchema
    from layers.tables import SourceTable

__all__ = ["OWN_NAME", "ColumnGuess", "best_match", "guess_columns", "parts_of_name", "price_heading"]

OWN_NAME = "its own name"  # why a column that is called as ours is it
_CUT = 10  # letters that a shapefile keeps of a column's name: its dBASE table, level 5
_FLAGS = frozenset({"yes", "no", "y", "n", "true", "false", "0", "1", "x"})
_FILLERS = frozenset({"per", "in", "a", "an", "of", "each", "the"})
_GALLONS = {"us": "usgal", "usa": "usgal", "imp": "impgal", "imperial": "impgal", "uk": "impgal", "british": "impgal"}
_VOLUMES = frozenset({"l", "gal", "usgal", "impgal"})
_PRICE_WORDS = frozenset({"price", "prices", "cost", "fuel", "marine"})
_PRICES = {"price_gasoline_per_l": "gasoline", "price_diesel_per_l": "diesel"}
_SHORT = 4  # letters of a word, unknown here, beside a price by the litre: what money is called there


@dataclass(frozen=True)
class ColumnGuess:
    """Which of a table's columns is one of ours.

    Parameters
    ----------
    ours
        Our column.
    theirs
        Theirs.
    unit
        The unit that its numbers are in; empty where it has none.
    why
        Why it is thought so; empty where a recipe says it.
    unit_assumed
        Whether nothing says the unit, so that ours is taken.
    """

    ours: str
    theirs: str
    unit: str
    why: str
    unit_assumed: bool = False


def guess_columns(table: SourceTable, schema: LayerSchema, given: RecipeSource) -> list[ColumnGuess]:
    """Guess which columns of a table are ours, as far as a recipe doesn't say.

    Parameters
    ----------
    table
        The table.
    schema
        The layer that it is.
    given
        The recipe's entry for it.

    Returns
    -------
    list[ColumnGuess]
        In the order of the schema.

    Raises
    ------
    InputError
        A column that the recipe names isn't there, or a column is in gallons that may be either.
    """
    chosen: dict[str, ColumnGuess] = {}
    for ours, theirs in given.columns.items():
        if not theirs:
            continue
        missing = [part for part in parts_of_name(table, theirs) if part not in table.columns]
        if missing:
            near = difflib.get_close_matches(missing[0], list(table.columns), n=1, cutoff=0.5)
            remedy = f"did you mean {near[0]!r}?" if near else f"it has {', '.join(table.columns) or 'none'}"
            raise InputError(table.where, f"has no column {missing[0]!r}, which the recipe names", remedy=remedy)
        chosen[ours] = _with_unit(table, schema, ours, theirs, given, "")
    ranked = sorted(
        (rank, ours, theirs, why)
        for column in schema.columns
        if (ours := column.name) not in given.columns
        for rank, theirs, why in _matches(table, schema, ours)
    )
    taken = {part for guess in chosen.values() for part in parts_of_name(table, guess.theirs)}
    for _, ours, theirs, why in ranked:
        if ours not in chosen and theirs not in taken:
            chosen[ours] = _with_unit(table, schema, ours, theirs, given, why)
            taken.add(theirs)
    if schema.name == "docks":
        _guess_fuels(table, schema, given, chosen, taken)
    if "kind" in schema.column_names and "kind" not in chosen and "kind" not in given.columns and "name" in chosen:
        names = chosen["name"].theirs
        if (
            (schema.name, "kind") in CHOICES
            and "kind" not in given.set_
            and any(choice_for(schema.name, "kind", cell) for cell in table.columns[names] if cell is not None)
        ):
            chosen["kind"] = ColumnGuess("kind", names, "", "words in the names tell it")
    order = {name: place for place, name in enumerate(schema.column_names)}
    return sorted(chosen.values(), key=lambda guess: order[guess.ours])


def best_match(table: SourceTable, schema: LayerSchema, ours: str) -> str | None:
    """Find the column that is most like one of ours.

    Parameters
    ----------
    table
        The table.
    schema
        The layer that it might be.
    ours
        Our column.

    Returns
    -------
    str | None
        Theirs; None where none is like it.
    """
    found = sorted(_matches(table, schema, ours))
    return found[0][1] if found else None


def price_heading(name: str) -> str:
    """Read whose price by volume a column is, whatever its money is called.

    Parameters
    ----------
    name
        Its name.

    Returns
    -------
    str
        Our word for the fuel; empty where it is no price by the litre or gallon, or one in hundredths.

    Examples
    --------
    >>> price_heading("petrol kr/l"), price_heading("Diesel per US gallon"), price_heading("diesel pence/l")
    ('gasoline', 'diesel', '')
    """
    words = words_of(name)
    if not re.search(r"/|\bper\b|_per_", name.lower()) or not any(UNIT_WORDS.get(word) in _VOLUMES for word in words):
        return ""
    left = [word for word in words if not fuel_of(word) and word not in _FILLERS | _PRICE_WORDS | MONEY]
    left = [word for word in left if word not in _GALLONS and UNIT_WORDS.get(word) not in _VOLUMES]
    if MINOR_MONEY & set(left) or len(left) > 1 or any(len(word) > _SHORT for word in left):
        return ""
    fuels = {fuel for word in words if (fuel := fuel_of(word))}
    return fuels.pop() if len(fuels) == 1 else ""


def _matches(table: SourceTable, schema: LayerSchema, ours: str) -> list[tuple[int, str, str]]:
    """List the table's columns that may be one of ours: how far off (0 is our own name), the column, why."""
    column = next(column for column in schema.columns if column.name == ours)
    synonyms = COLUMNS[schema.name].get(ours, ())
    units = UNITS.get(unit_kind(ours, column.unit), {})
    found = []
    for theirs, cells in table.columns.items():
        if not has_values(cells):
            continue
        lowered = theirs.lower()
        if lowered == ours:
            found.append((0, theirs, OWN_NAME))
        elif _is_cut(table, ours, lowered):
            found.append((1, theirs, "its name, cut to ten letters by the shapefile"))
        else:
            rank = _likeness(theirs, synonyms, with_unit=bool(units))
            if rank is None and ours in _PRICES and price_heading(theirs) == _PRICES[ours]:
                rank = len(synonyms)
            if rank is not None and _holds(column.kind, cells, mixed=ours in _PRICES):
                found.append((2 + rank, theirs, "a word for it"))
    return found


def _is_cut(table: SourceTable, ours: str, lowered: str) -> bool:
    """Tell whether a name is one of ours, cut by a shapefile."""
    return table.path.suffix.lower() == ".shp" and len(ours) > _CUT and lowered == ours[:_CUT]


def _holds(kind: str, cells: Sequence[object], *, mixed: bool) -> bool:
    """Tell whether a column's values can be of a kind at all: yes and no are no price, but may stand among some."""
    if kind not in {"number", "integer"}:
        return True
    told = [str(cell).strip() for cell in cells if cell is not None and str(cell).strip().lower() not in NO_VALUE]
    flags = sum(text.lower() in _FLAGS - {"0", "1"} for text in told)
    return flags < len(told) if mixed else flags * 2 < len(told)


def _likeness(theirs: str, synonyms: Sequence[str], *, with_unit: bool) -> int | None:
    words = [word for word in words_of(theirs) if word not in MONEY]
    tries = [words]
    if with_unit:
        bare = list(words)
        while bare and (bare[-1] in UNIT_WORDS or bare[-1] in _FILLERS or bare[-1] in _GALLONS):
            bare = bare[:-1]
        tries.append(bare)
    for candidate in tries:
        for rank, synonym in enumerate(synonyms):
            if candidate and sorted(candidate) == sorted(synonym.split()):
                return rank
    return None


def _with_unit(
    table: SourceTable, schema: LayerSchema, ours: str, theirs: str, given: RecipeSource, why: str
) -> ColumnGuess:
    column = next(column for column in schema.columns if column.name == ours)
    units = UNITS.get(unit_kind(ours, column.unit), {})
    if not units:
        return ColumnGuess(ours, theirs, "", why)
    own = next(iter(units))
    if ours in given.units:
        return ColumnGuess(ours, theirs, given.units[ours], why)
    if theirs.lower() == ours or _is_cut(table, ours, theirs.lower()):
        return ColumnGuess(ours, theirs, own, why)
    words = words_of(theirs)
    said = next((UNIT_WORDS[word] for word in reversed(words[1:]) if word in UNIT_WORDS), "")
    if said == "gal" and "usgal" in units:
        which = {_GALLONS[word] for word in words if word in _GALLONS}
        said = which.pop() if len(which) == 1 else said
        if said == "gal":
            remedy = f'call it {ours.removesuffix("_l")}_usgal or _impgal, or say [source.units] {ours} = "usgal"'
            raise InputError(
                f"{table.where}, {theirs}", "is in gallons, which may be US or imperial ones", remedy=remedy
            )
    if said in units:
        return ColumnGuess(ours, theirs, said, why)
    assumed = ours != "ethanol_share" and _numbers_alone(table.columns.get(theirs, ()))
    return ColumnGuess(ours, theirs, own, why, unit_assumed=assumed)


def _numbers_alone(cells: Sequence[object]) -> bool:
    """Tell whether some number of a column has no unit beside it."""
    return any(
        isinstance(cell, int | float) or re.fullmatch(r"[+-]?[0-9.,\s]+", str(cell)) is not None
        for cell in cells
        if cell is not None
    )


def _guess_fuels(
    table: SourceTable, schema: LayerSchema, given: RecipeSource, chosen: dict[str, ColumnGuess], taken: set[str]
) -> None:
    """Find what a dock sells in columns of yes and no, or in the prices that it has; and whose price a bare one is."""
    if "fuels" not in given.columns and "fuels" not in given.set_ and "fuels" not in chosen:
        flags = [
            name for name, cells in table.columns.items() if name not in taken and fuel_of(name) and _is_flag(cells)
        ]
        priced = [chosen[c].theirs for c in ("price_gasoline_per_l", "price_diesel_per_l") if c in chosen]
        if flags or priced:
            why = "yes and no" if flags else "a fuel with a price is sold"
            joined = " + ".join(flags or priced)
            chosen["fuels"] = ColumnGuess("fuels", joined, "", why)
            taken.update(flags)
    bare = [
        name
        for name in table.columns
        if name not in taken and _likeness(name, ("price", "fuel price", "cost"), with_unit=True) is not None
    ]
    if len(bare) == 1 and not any(column.startswith("price_") for column in chosen):
        cells = table.columns.get(chosen["fuels"].theirs, ()) if "fuels" in chosen else ()
        sold = {fuels_in(str(cell)) for cell in cells if cell is not None}
        if len(sold) == 1 and (fuel := sold.pop()) in {"gasoline", "diesel"}:
            ours = f"price_{fuel}_per_l"
            chosen[ours] = _with_unit(table, schema, ours, bare[0], given, f"all of them sell {fuel} alone")
            taken.add(bare[0])


def _is_flag(cells: Sequence[object]) -> bool:
    told = {str(cell).strip().lower() for cell in cells if cell is not None} - NO_VALUE
    return bool(told) and told <= _FLAGS


def parts_of_name(table: SourceTable, theirs: str) -> list[str]:
    """Return the columns that a name stands for.

    Parameters
    ----------
    table
        The table.
    theirs
        A column's name, or several with a plus between them.

    Returns
    -------
    list[str]
        The names one by one.
    """
    return [theirs] if theirs in table.columns else [part.strip() for part in theirs.split(" + ")]
