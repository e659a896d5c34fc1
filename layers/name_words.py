"""Names and cells taken apart into words, as guesses need them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from layers.synonyms import NO_VALUE

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["has_values", "singular", "words_of"]

_RATES = {
    r"\bu\.\s?s\.": "us",
    r"\bu\.\s?k\.": "uk",
    r"\bkm ?/ ?h\b": "kmh",
    r"\bm ?/ ?s\b": "mps",
    r"\bl ?/ ?min\b": "lpm",
}
_SIGNS = {"\u20ac": " eur ", "\u00a3": " gbp ", "$": " ", "%": " percent ", "\u00b0": " "}


def words_of(name: str) -> list[str]:
    """Take a name apart into small words.

    Parameters
    ----------
    name
        Name of a column, table or file.

    Returns
    -------
    list[str]
        Letters and digits, one word each.

    Examples
    --------
    >>> words_of("OpeningHours"), words_of("Diesel \u20ac/l"), words_of("DEPTH_FT")
    (['opening', 'hours'], ['diesel', 'eur', 'l'], ['depth', 'ft'])
    """
    for sign, word in _SIGNS.items():
        name = name.replace(sign, word)
    for sign, word in _RATES.items():
        name = re.sub(sign, f" {word} ", name, flags=re.IGNORECASE)
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return re.findall(r"[^\W_]+", name.lower())


def has_values(cells: Sequence[object]) -> bool:
    """Tell whether a column holds anything.

    Parameters
    ----------
    cells
        Its values.

    Returns
    -------
    bool
        False where all of them are empty or say that nothing is known.
    """
    return any(cell is not None and str(cell).strip().lower() not in NO_VALUE for cell in cells)


def singular(word: str) -> str:
    """Return one thing where a word names several.

    Parameters
    ----------
    word
        An English word in small letters.

    Returns
    -------
    str
        Without its plural's s.

    Examples
    --------
    >>> singular("docks"), singular("gas"), singular("cross")
    ('dock', 'gas', 'cross')
    """
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word
