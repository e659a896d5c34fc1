"""Positions as they are written at sea, latitude first, and the names that a misspelt one may have meant.

Inside, a position is always (longitude, latitude) in decimal degrees on WGS 84; text is the other way round.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.quantities import plain_text

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["looks_like_position", "nearest_names", "read_position", "write_position"]

_WANTED = "write 44 12.5N 38 03.2W, or decimal degrees with the latitude first: 44.2083 -38.0533"
_PART = r"[0-9]+(?:\.[0-9]*)?"
# Degrees, then perhaps minutes, then perhaps seconds; a mark stands for the space after it, and is in its own place.
_HALF = re.compile(
    rf"(?P<sign>[+-]?)(?P<deg>{_PART})"
    rf"(?:(?:\s*\u00b0\s*|\s+)(?P<min>{_PART})(?:(?:\s*'\s*|\s+)(?P<sec>{_PART})\s*(?:\"|'')?|\s*'?)|\s*\u00b0?)"
)
_LETTER_AFTER = re.compile(r"([^NSEW]+)([NSEW])[\s,;/]*([^NSEW]+)([NSEW])", re.IGNORECASE)
_LETTER_BEFORE = re.compile(r"([NSEW])([^NSEW]+?)[\s,;/]*([NSEW])([^NSEW]+)", re.IGNORECASE)
_ONLY_POSITION_SIGNS = re.compile(r"(?=.*[0-9])[0-9NSEW+\-.,;/\s\u00b0'\"]+", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"(?<![0-9.])[0-9]+,[0-9]")
_AXIS = {"N": "latitude", "S": "latitude", "E": "longitude", "W": "longitude"}
_LIMIT_DEG = {"latitude": 90.0, "longitude": 180.0}


def looks_like_position(text: str) -> bool:
    """Tell whether a text is meant as a position rather than as a name.

    Parameters
    ----------
    text
        What was typed for a place.

    Returns
    -------
    True where it has digits and nothing but the signs that positions are written with.

    Examples
    --------
    >>> looks_like_position("44 12.5N 38 03.2W"), looks_like_position("Pier 7")
    (True, False)
    """
    try:
        return _ONLY_POSITION_SIGNS.fullmatch(plain_text(text, "")) is not None
    except InputError:
        return False


def read_position(text: str, where: str) -> tuple[float, float]:
    r"""Read a position.

    Parameters
    ----------
    text
        Two of: decimal degrees, degrees and minutes, or degrees, minutes and seconds; the hemisphere as a letter before
        or after, or as a sign. The latitude comes first unless letters say otherwise. Marks, and a comma between the
        two, may be there or not.
    where
        The option or key that it came from.

    Returns
    -------
    [deg] Longitude and latitude, in this order.

    Raises
    ------
    InputError
        It can't be read in one way only, or lies outside 90 degrees of latitude or 180 of longitude.

    Examples
    --------
    >>> read_position("44 12.5N 38 03.0W", "FROM")
    (-38.05, 44.208333333333336)
    >>> read_position("44.25, -38.05", "FROM") == read_position("N44°15' W038°03'00\"", "FROM")
    True
    """
    by_axis: dict[str, float] = {}
    for half, letter, axis in _halves(text, where):
        if axis in by_axis:
            raise InputError(where, f"gives the {axis} twice", value=text, remedy=_WANTED)
        by_axis[axis] = _degrees(half, letter, axis, text, where)
    for axis, degrees in by_axis.items():
        if abs(degrees) > _LIMIT_DEG[axis]:
            problem = f"{axis} {degrees:g} is beyond {_LIMIT_DEG[axis]:g} degrees"
            remedy = "the latitude comes first" if axis == "latitude" else "write a western longitude with W or a minus"
            raise InputError(where, problem, value=text, remedy=remedy)
    return by_axis["longitude"], by_axis["latitude"]


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


def _halves(text: str, where: str) -> list[tuple[str, str, str]]:
    """Split into two halves, each with its hemisphere letter, which may be empty, and the axis that it stands for."""
    plain = plain_text(text, where)
    if _DECIMAL_COMMA.search(plain):
        raise InputError(where, "a comma after a whole number may be a decimal sign", value=text, remedy=_WANTED)
    if not re.search(r"[NSEW]", plain, re.IGNORECASE):
        if re.search(r"[,;/]", plain):
            pair = re.split(r"\s*[,;/]\s*", plain)
        else:
            words = plain.split()
            pair = [" ".join(words[: len(words) // 2]), " ".join(words[len(words) // 2 :])]
        if len(pair) != 2 or len(pair[0].split()) != len(pair[1].split()):
            raise InputError(where, "is not a latitude and a longitude", value=text, remedy=_WANTED)
        return [(pair[0], "", "latitude"), (pair[1], "", "longitude")]
    plain = re.sub(r"(?<=[0-9])-(?=[0-9])", " ", plain)  # 44-12.5N: beside a letter the dash is no sign
    if found := _LETTER_AFTER.fullmatch(plain):
        first, letter, second, other = found.groups()
    elif found := _LETTER_BEFORE.fullmatch(plain):
        letter, first, other, second = found.groups()
    else:
        problem = "is not a latitude and a longitude, each with its hemisphere"
        raise InputError(where, problem, value=text, remedy=_WANTED)
    return [
        (first.strip(), letter.upper(), _AXIS[letter.upper()]),
        (second.strip(), other.upper(), _AXIS[other.upper()]),
    ]


def _degrees(half: str, letter: str, axis: str, text: str, where: str) -> float:
    found = _HALF.fullmatch(half)
    if found is None:
        raise InputError(where, f"the {axis} {half!r} can't be read", value=text, remedy=_WANTED)
    if letter and found["sign"]:
        raise InputError(where, f"the {axis} has both a letter and a sign", value=text, remedy="keep one of them")
    parts = [part for part in found.group("deg", "min", "sec") if part is not None]
    if any("." in part for part in parts[:-1]):
        raise InputError(where, f"only the last part of the {axis} may have decimals", value=text, remedy=_WANTED)
    if any(float(part) >= 60 for part in parts[1:]):
        raise InputError(where, f"minutes and seconds of the {axis} stay below 60", value=text, remedy=_WANTED)
    degrees = sum((float(part) / divisor for part, divisor in zip(parts, (1, 60, 3600), strict=False)), start=0.0)
    return -degrees if letter in {"S", "W"} or found["sign"] == "-" else degrees


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
