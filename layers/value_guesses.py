"""Guess what values mean in our words, and fill in what a layer needs and a table doesn't say."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from layers.name_words import singular, words_of
from layers.plain_hours import plain_hours
from layers.synonyms import CHOICES, FUEL_ADJECTIVES, FUEL_WORDS, GRADES, LAYER_WORDS, NO_FUEL, NO_VALUE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from layers.column_guesses import ColumnGuess
    from layers.recipe import RecipeSource, Value
    from layers.schema import Column, LayerSchema
    from layers.tables import SourceTable

__all__ = ["choice_for", "fuel_of", "fuels_in", "guess_constants", "guess_values"]

KEEP_OFF_M = 50.0  # [m] from a hazard that doesn't say: the least stand-off that the planner keeps from anything
_MOST_VALUES = 5_000  # different values of a column that are looked at one by one
_MOST_ASKED = 50  # words of a column that a recipe asks about
_CUT_WORD = 5  # letters that a fuel's name must keep to be known where a shapefile has cut it
_FALLBACKS = {("waypoints", "kind"): "mark"}
_SET: dict[tuple[str, str], tuple[Value, str]] = {  # what rows get that say nothing, and why that does no harm
    ("waypoints", "kind"): ("mark", "a place where nobody waits for a dock to open"),
    ("hazards", "kind"): ("hazard", ""),
    ("hazards", "keep_off_m"): (KEEP_OFF_M, ""),
    ("zones", "name"): ("Unnamed zone", ""),
    ("zones", "why"): ("not said by the source", ""),
    ("overhead", "name"): ("Unnamed", ""),
    ("openings", "name"): ("Unnamed", ""),
}


def fuel_of(name: str) -> str:
    """Read which fuel a column is about.

    Parameters
    ----------
    name
        Its name.

    Returns
    -------
    str
        Our word; empty where its name has none.

    Examples
    --------
    >>> fuel_of("Petrol y/n"), fuel_of("price_diesel_per_l"), fuel_of("fuel")
    ('gasoline', 'diesel', '')
    """
    for word in words_of(name):
        whole = [known for known in FUEL_WORDS if known == word or (len(word) >= _CUT_WORD and known.startswith(word))]
        if word != "both" and len({FUEL_WORDS[known] for known in whole}) == 1:
            return FUEL_WORDS[whole[0]]
    return ""


def fuels_in(text: str) -> str:
    """Read which fuels a text names.

    Parameters
    ----------
    text
        What a table says a dock sells.

    Returns
    -------
    str
        Our words with a comma between; empty where some of it isn't understood.

    Examples
    --------
    >>> fuels_in("Petrol & diesel"), fuels_in("both"), fuels_in("paraffin")
    ('gasoline,diesel', 'gasoline,diesel', '')
    >>> fuels_in("Marine diesel"), fuels_in("95 & 98"), fuels_in("diesel, no petrol")
    ('diesel', 'gasoline', '')
    """
    parts = [part.strip() for part in re.split(r"[,;/+&|]|\band\b", text.lower()) if part.strip()]
    found = [FUEL_WORDS.get(part) or _fuel_in_words(part) for part in parts]
    if not parts or not all(found):
        return ""
    named = {fuel for fuels in found for fuel in fuels.split(",")}
    return ",".join(fuel for fuel in ("gasoline", "diesel") if fuel in named)


def _fuel_in_words(part: str) -> str:
    """Read one fuel with words beside it that don't change it."""
    words = [word for word in re.findall(r"[^\W_]+", part) if word not in FUEL_ADJECTIVES]
    fuels = {FUEL_WORDS.get(word) or GRADES.get(word, "") for word in words}
    return fuels.pop() if len(fuels) == 1 else ""


def choice_for(layer: str, column: str, value: object) -> str:
    """Return our choice for a value of theirs.

    Parameters
    ----------
    layer, column
        Our column, one that has a choice of words.
    value
        Theirs.

    Returns
    -------
    str
        Our word; empty where no word of it is known.

    Examples
    --------
    >>> choice_for("waypoints", "kind", "Visitors' Moorings"), choice_for("zones", "rule", "Entry prohibited!")
    ('anchorage', 'no-entry')
    """
    words = [singular(word) for word in words_of(str(value))]
    text = f" {' '.join(words)} "
    for choice, known in CHOICES[(layer, column)]:
        if any(f" {' '.join(singular(part) for part in word.split())} " in text for word in known):
            return choice
    return ""


def guess_values(
    table: SourceTable, schema: LayerSchema, given: RecipeSource, chosen: Sequence[ColumnGuess]
) -> tuple[dict[str, Mapping[str, Value]], list[str], list[str]]:
    """Say what each of their values is in our words, for columns that have a choice of them.

    Parameters
    ----------
    table
        The table.
    schema
        The layer that it is.
    given
        The recipe's entry for it.
    chosen
        Its columns that are ours.

    Returns
    -------
    tuple[dict[str, Mapping[str, Value]], list[str], list[str]]
        By our column, ours by theirs, ``*`` for all others, empty where that is for a person to say; the same in
        words; and what is to be said.
    """
    values: dict[str, Mapping[str, Value]] = dict(given.values)
    said: list[str] = []
    unsaid: list[str] = []
    for guess in chosen:
        column = next(column for column in schema.columns if column.name == guess.ours)
        cells = table.columns.get(guess.theirs, ())
        told = list(dict.fromkeys(str(cell).strip() for cell in cells if cell is not None))[:_MOST_VALUES]
        told = [text for text in told if text.lower() not in NO_VALUE]
        if column.kind == "fuels" and guess.theirs in table.columns:
            sold = [text for text in told if text.lower() not in NO_FUEL]
            found = {text: fuels_in(text) for text in sold if text not in column.choices}
        elif column.kind == "hours":
            found = {text: plain_hours(text) for text in told}
        elif (schema.name, column.name) in CHOICES:
            found = {text: choice_for(schema.name, column.name, text) for text in told if text not in column.choices}
        else:
            continue
        own = values.get(guess.ours, {})
        good = {theirs: ours for theirs, ours in found.items() if ours and theirs not in own and ours != theirs}
        fallback = _FALLBACKS.get((schema.name, guess.ours)) and (_kind_of_places(table) or "mark")
        lost = [text for text, ours in found.items() if not ours and not own.get(text)]
        if fallback and lost and "*" not in own:
            good["*"] = fallback
            said.append(f"{guess.ours} is {fallback} for {_some(lost)}: no word of it is known")
        elif lost and "*" not in own and guess.theirs != _name_column(chosen):
            good |= dict.fromkeys(lost[:_MOST_ASKED], "")
            unsaid.append(f"{guess.theirs}: {_some(lost)} isn't understood: say what it is ({_wanted(column)})")
        if good or own:
            values[guess.ours] = {**good, **own}
        if guess.theirs != _name_column(chosen):
            said += [
                f"{guess.ours}: {theirs!r} means {ours}"
                for theirs, ours in list(good.items())[:8]
                if theirs != "*" and ours
            ]
    return values, said, unsaid


def _wanted(column: Column) -> str:
    """Say what may stand in a column."""
    if column.kind == "hours":
        return "08:00-18:00, Mo-Fr 08:00-18:00, 24/7, or unknown"
    if column.kind == "fuels":
        return 'gasoline, diesel, "gasoline,diesel", or no'
    return ", ".join(column.choices)


def _kind_of_places(table: SourceTable) -> str:
    """Read the kind of places from a table's name, Anchorages or harbours.gpx; empty where it doesn't say."""
    stem = words_of(table.path.stem)
    return choice_for("waypoints", "kind", table.name) or (
        choice_for("waypoints", "kind", table.path.stem) if len(stem) == 1 else ""
    )


def _name_column(chosen: Sequence[ColumnGuess]) -> str:
    return next((guess.theirs for guess in chosen if guess.ours == "name"), "")


def _some(texts: Sequence[str]) -> str:
    first = ", ".join(repr(text) for text in texts[:3])
    return f"{first} and {len(texts) - 3} more" if len(texts) > 3 else first


def guess_constants(
    table: SourceTable, schema: LayerSchema, given: RecipeSource, chosen: Sequence[ColumnGuess]
) -> tuple[dict[str, Value], list[str]]:
    """Fill in what a layer needs and a table doesn't say, where that can be done on the safe side.

    Parameters
    ----------
    table
        The table.
    schema
        The layer that it is.
    given
        The recipe's entry for it.
    chosen
        Its columns that are ours.

    Returns
    -------
    tuple[dict[str, Value], list[str]]
        By our column, what rows have that say nothing; and the same in words.
    """
    set_: dict[str, Value] = dict(given.set_)
    said = []
    have = {guess.ours: guess.theirs for guess in chosen}
    for column in schema.columns:
        ours = column.name
        empty = ours not in have or any(
            cell is None or str(cell).strip().lower() in NO_VALUE for cell in table.columns.get(have[ours], (None,))
        )
        if ours in set_ or not column.required or not empty:
            continue
        value, why = _constant(table, schema.name, ours, have)
        if value is not None:
            set_[ours] = value
            shown = f"{value:g}" if isinstance(value, float) else str(value)
            said.append(f"{ours} is {shown} where a row says nothing{f': {why}' if why else ''}")
    return set_, said


def _constant(table: SourceTable, layer: str, ours: str, have: Mapping[str, str]) -> tuple[Value | None, str]:
    called = f"{table.name} {table.path.stem}"
    words = {singular(word) for word in words_of(called)}
    if (layer, ours) == ("waypoints", "kind") and (kind := _kind_of_places(table)) not in {"", "mark"}:
        return kind, "the table's name says so"
    if layer == "hazards" and ours == "kind":
        named = sorted(words & LAYER_WORDS["hazards"] - {"hazard", "danger"})
        if len(named) == 1:
            return named[0], "the table's name says so"
    if (layer, ours) in {("overhead", "kind"), ("openings", "kind")}:
        found = choice_for(layer, "kind", called)
        return (found or "bridge"), "the table's name says so" if found else "the commoner of the two"
    if (layer, ours) == ("zones", "rule"):
        if "limit_kn" in have:
            return "speed-limit", "there is a column of limits"
        found = choice_for("zones", "rule", called)
        return (found, "the table's name says so") if found else (None, "")
    return _SET.get((layer, ours), (None, ""))
