"""Guess what a table is and which of its columns is which: by names, shapes and values.

Nothing is guessed silently: each guess carries its reason, and what a recipe says is never overruled.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layers.column_guesses import best_match, guess_columns, parts_of_name
from layers.name_words import has_values, singular, words_of
from layers.recipe import SKIP, RecipeSource
from layers.schema import LAYERS
from layers.synonyms import (
    CURRENCIES,
    LAYER_WORDS,
    TELLING,
    WORLD_COASTS,
)
from layers.value_guesses import choice_for, guess_constants, guess_values

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from layers.column_guesses import ColumnGuess
    from layers.schema import LayerSchema
    from layers.tables import SourceTable

__all__ = ["SourceGuess", "guess_currency", "guess_source", "why_unknown"]

_REDRAWN = {"hazards": ("line",), "overhead": ("polygon",)}  # kinds that `converting` makes shapes of the layer of
_PLAIN_RULES = frozenset({"no-entry", "no-wake", "speed-limit", "traffic-lane"})  # a table called so holds zones

_KINDS = {
    "Point": "point",
    "MultiPoint": "point",
    "LineString": "line",
    "MultiLineString": "line",
    "LinearRing": "line",
}


@dataclass(frozen=True)
class SourceGuess:
    """What a table was taken for.

    Parameters
    ----------
    where
        The file, and the table in it where it has several.
    source
        The recipe's entry, with nothing left to guess.
    why
        Why it is thought to be this layer; empty where a recipe says it.
    columns
        The columns that are used.
    unused
        Those that aren't, each with a hint where one looks like ours.
    assumed
        What was filled in for rows that say nothing, in words.
    unsaid
        What isn't understood and is for a person to say, in words.
    """

    where: str
    source: RecipeSource
    why: str
    columns: tuple[ColumnGuess, ...] = ()
    unused: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    unsaid: tuple[str, ...] = ()


def guess_source(table: SourceTable, given: RecipeSource) -> SourceGuess | None:
    """Guess what a table is, as far as a recipe doesn't say.

    Parameters
    ----------
    table
        The table.
    given
        The recipe's entry for it.

    Returns
    -------
    SourceGuess | None
        What it was taken for; None where nothing tells.

    Raises
    ------
    InputError
        A column that the recipe names isn't there, or a column is in gallons that may be either.
    """
    where = table.where
    kind, why, title, licence = given.as_, "", None, None
    if not kind:
        found = _guess_layer(table)
        if found is None:
            return None
        kind, why, title, licence = found
    named = given.model_copy(
        update={
            "as_": kind,
            "layer": table.name,
            "title": given.title or title or _title(table),
            "licence": given.licence or licence,
        }
    )
    if kind not in LAYERS:
        return SourceGuess(where, named.model_copy(update={"title": given.title}), why)
    schema = LAYERS[kind]
    chosen = guess_columns(table, schema, given)
    values, assumed_values, unsaid = guess_values(table, schema, given, chosen)
    set_, assumed = guess_constants(table, schema, given, chosen)
    used = {part for guess in chosen for part in parts_of_name(table, guess.theirs)} | set(given.where)
    unused = [
        f"{name}{_hint(name, schema, {*given.columns, *(column.ours for column in chosen)})}"
        for name, cells in table.columns.items()
        if name not in used and has_values(cells)
    ]
    full = named.model_copy(
        update={
            "columns": {**{g.ours: g.theirs for g in chosen}, **{k: "" for k, v in given.columns.items() if not v}},
            "units": {g.ours: g.unit for g in chosen if g.unit},
            "values": values,
            "set_": set_,
        }
    )
    return SourceGuess(where, full, why, tuple(chosen), tuple(unused), (*assumed_values, *assumed), tuple(unsaid))


def why_unknown(table: SourceTable) -> str:
    """Say why a table wasn't taken for any layer.

    Parameters
    ----------
    table
        The table.

    Returns
    -------
    str
        In words: that nothing tells it, or that its shapes are of another kind than its name needs.
    """
    words = {singular(word) for word in words_of(f"{table.path.stem} {table.name}")}
    for layer, schema in LAYERS.items():
        if words & LAYER_WORDS[layer] or layer in {table.name.lower(), table.path.stem.lower()}:
            wanted = " or ".join(f"{kind}s" for kind in schema.geometry)
            return (
                f"its name says {layer}, but it holds {_spoken_kinds(_kinds_in(table))}, and {layer} must be {wanted}"
            )
    return "nothing tells what it holds"


def guess_currency(tables: Iterable[SourceTable], guesses: Iterable[SourceGuess]) -> str | None:
    """Guess the currency from the names of price columns.

    Parameters
    ----------
    tables
        The tables.
    guesses
        What they were taken for, in the same order.

    Returns
    -------
    str | None
        Its code where exactly one is named, else None.
    """
    named = {
        CURRENCIES[word]
        for _, guess in zip(tables, guesses, strict=True)
        for column in guess.columns
        if column.ours.startswith("price_")
        for word in words_of(column.theirs)
        if word in CURRENCIES
    }
    return named.pop() if len(named) == 1 else None


def _title(table: SourceTable) -> str:
    return f"{table.path.name}{f', {table.name}' if table.name else ''}"


def _kinds_in(table: SourceTable) -> list[str]:
    """List the kind of each shape; where no position could be read, points they were to be."""
    kinds = [_KINDS.get(shape.geom_type, "polygon") for shape in table.shapes if shape is not None]
    return kinds or (["point"] if table.faults else [])


def _guess_layer(table: SourceTable) -> tuple[str, str, str | None, str | None] | None:
    stem = table.path.stem.lower()
    coast = next((told for pattern, *told in WORLD_COASTS if re.fullmatch(pattern, stem)), None)
    if coast is not None:
        layer, what, licence = coast
        known = (None, None) if layer == SKIP else (what, licence)
        return layer, f"its name says {what}", *known
    kinds = _kinds_in(table)
    fitting = {name: sum(map(kinds.count, schema.geometry)) * 2 >= len(kinds) for name, schema in LAYERS.items()}
    fitting["overhead"] = sum(kinds.count(kind) for kind in ("line", "polygon")) * 2 >= len(kinds)
    if not kinds:
        return SKIP, "it has no rows with a shape", None, None
    for name in (table.name.lower(), stem):
        if name in LAYERS and set(kinds) & {*LAYERS[name].geometry, *_REDRAWN.get(name, ())}:
            return name, "its name is the layer's", None, None
    scores: dict[str, tuple[float, str]] = {}
    for layer, schema in LAYERS.items():
        if not fitting[layer]:
            continue
        telling = [c for c in TELLING.get(layer, ()) if best_match(table, schema, c) is not None]
        hits = _words_for(layer, table)
        reasons = [f"it has a column for {' and '.join(_spoken(c) for c in telling)}"] if telling else []
        reasons += [f"its name has {' and '.join(hits)}"] if hits else []
        score = 4.0 * bool(telling) + 0.5 * len(telling) + 3.0 * bool(hits)
        if layer == "waypoints" and not score and best_match(table, schema, "name") is not None:
            score, reasons = 1.0, ["it has points with names"]
        if score:
            scores[layer] = (score, f"{' and '.join(reasons)}, and it holds {_spoken_kinds(kinds)}")
    if not scores:
        return None
    best = max(scores, key=lambda layer: scores[layer][0])
    return best, scores[best][1], None, None


def _words_for(layer: str, table: SourceTable) -> list[str]:
    """List the words of a table's name that tell a layer."""
    words = {singular(word) for word in words_of(f"{table.path.stem} {table.name}")}
    rule = choice_for("zones", "rule", table.name or table.path.stem) if layer == "zones" else ""
    return sorted(words & LAYER_WORDS[layer]) or ([rule] if rule in _PLAIN_RULES else [])


def _spoken_kinds(kinds: Sequence[str]) -> str:
    return " and ".join(f"{kind}s" for kind in sorted(set(kinds)))


def _spoken(column: str) -> str:
    return re.sub(r"_(m|kn|deg|min|per_l|l|lpm)$", "", column).replace("_", " ")


def _hint(name: str, schema: LayerSchema, taken: set[str]) -> str:
    free = [column for column in schema.column_names if column not in taken]
    near = difflib.get_close_matches("_".join(words_of(name)), free, n=1, cutoff=0.75)
    return f" (is it {near[0]}?)" if near else ""
