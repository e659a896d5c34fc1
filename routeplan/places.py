"""Positions as they are written at sea, latitude first, and the names that a misspelt one may have meant.

Inside, a position is always (longitude, latitude) in decimal degrees on WGS 84; text is the other way round.
"""

from __future__ import annotations

import difflib
import math
import unicodedata
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.positions import looks_like_position, read_position

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["looks_like_position", "nearest_names", "read_position", "write_position"]


def write_position(position: tuple[float, float]) -> str:
    """Write a position as it is spoken at sea: degrees and minutes, latitude first.

    Parameters
    ----------
    position
        [deg] Longitude and latitude, in this order.

    Returns
    -------
    The position to a hundredth of a minute, 19 m or less.

    Raises
    ------
    InputError
        The position is not finite, or outside 90 degrees of latitude or 180 of longitude.

    Examples
    --------
    >>> write_position((-38.0533, 44.2083))
    '44 12.50N 038 03.20W'
    """
    lon, lat = position
    if not (math.isfinite(lon) and math.isfinite(lat) and abs(lon) <= 180 and abs(lat) <= 90):
        raise InputError("position", "must lie within 180 degrees of longitude and 90 of latitude", value=position)
    return f"{_degrees_minutes(lat, 2, 'NS')} {_degrees_minutes(lon, 3, 'EW')}"


def nearest_names(wanted: str, names: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """Return the names that a misspelt one may have meant.

    Parameters
    ----------
    wanted
        What was typed.
    names
        The names that exist.
    count
        How many to return at most.

    Returns
    -------
    The nearest names, best first, as they are spelt; empty where none is near. Case, accents and word order in the
    name don't count, and a part of a name finds it.

    Examples
    --------
    >>> nearest_names("grey gul", ["Grey Gull Fuel", "Outer Cove", "Gull Rock"])
    ('Grey Gull Fuel',)
    >>> nearest_names("gull", ["Grey Gull Fuel", "Outer Cove", "Gull Rock"])
    ('Grey Gull Fuel', 'Gull Rock')
    """
    looked_for = _plain(wanted[:100])
    scored = [(_likeness(looked_for, _plain(name)), name) for name in dict.fromkeys(names)]
    near = sorted((-score, name) for score, name in scored if score >= 0.55)
    return tuple(name for _, name in near[:count])


def _degrees_minutes(degrees: float, width: int, letters: str) -> str:
    hundredths = round(abs(degrees) * 6000)  # of a minute: rounded once, so that 59.999' becomes the next degree
    whole, minutes = divmod(hundredths, 6000)
    letter = letters[1] if degrees < 0 and hundredths else letters[0]
    return f"{whole:0{width}d} {minutes / 100:05.2f}{letter}"


def _plain(name: str) -> str:
    letters = unicodedata.normalize("NFKD", name.casefold())
    return " ".join("".join(letter for letter in letters if not unicodedata.combining(letter)).split())


def _likeness(wanted: str, name: str) -> float:
    """Return 1 for equal names, and less the more they differ: as wholes, or by the best words for each word wanted."""
    if not wanted or not name:
        return 0.0
    whole = difflib.SequenceMatcher(None, wanted, name).ratio()
    words = name.split()
    each = [max(difflib.SequenceMatcher(None, part, word).ratio() for word in words) for part in wanted.split()]
    by_words = sum(each) / len(each)
    inside = 0.95 if len(wanted) >= 3 and wanted in name else 0.0
    return max(whole, 0.95 * by_words, inside)
