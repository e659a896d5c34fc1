"""Positions as files and people write them, read into degrees.

Inside, a position is always (longitude, latitude) in decimal degrees on WGS 84; text is the other way round.
"""

from __future__ import annotations

import re

from layers.errors import InputError

__all__ = ["looks_like_position", "plain_text", "read_degrees", "read_position"]

_LONGEST_TEXT = 64  # characters: no quantity is longer, and a pasted page is refused before it is searched
# What keyboards, phones and word processors put where a plain sign is meant.
_PLAIN = {
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011\u2012\u2013\ufe63\uff0d"), "-"),
    **dict.fromkeys(map(ord, "\u2032\u2019\u2018\u02b9\u00b4"), "'"),
    **dict.fromkeys(map(ord, "\u2033\u201d\u201c\u02ba"), '"'),
    **dict.fromkeys(map(ord, "\u00ba\u02da"), "\u00b0"),
    **dict.fromkeys(map(ord, "\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u205f\u3000"), " "),
}
_DIGIT_GROUP = re.compile(r"(?<=[0-9])[\u00a0\u2009\u202f](?=[0-9]{3}(?![0-9]))")
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
        _check_limit(axis, degrees, text, where)
    return by_axis["longitude"], by_axis["latitude"]


def read_degrees(text: str, axis: str, where: str) -> float:
    r"""Read one half of a position.

    Parameters
    ----------
    text
        Decimal degrees, degrees and minutes, or degrees, minutes and seconds; the hemisphere as a letter before or
        after, or as a sign.
    axis
        ``latitude`` or ``longitude``.
    where
        The file and row that it came from.

    Returns
    -------
    float
        [deg] North and east positive.

    Raises
    ------
    InputError
        It can't be read in one way only, is of the other axis, or lies outside 90 degrees of latitude or 180 of
        longitude.

    Examples
    --------
    >>> read_degrees("38 03.0W", "longitude", "row 1"), read_degrees("N44\u00b012'30\"", "latitude", "row 1")
    (-38.05, 44.208333333333336)
    """
    plain = plain_text(text, where)
    if _DECIMAL_COMMA.search(plain):
        raise InputError(where, "a comma after a whole number may be a decimal sign", value=text, remedy=_WANTED)
    letters = re.findall(r"[NSEW]", plain, re.IGNORECASE)
    letter = letters[0].upper() if letters else ""
    half = plain
    if letter:
        half = re.sub(r"(?<=[0-9])-(?=[0-9])", " ", plain)
        half = re.sub(r"^[NSEW]\s*|\s*[NSEW]$", "", half, count=1, flags=re.IGNORECASE)
        if _AXIS[letter] != axis:
            raise InputError(where, f"is a {_AXIS[letter]}, not a {axis}", value=text, remedy=_WANTED)
    degrees = _degrees(half.strip(), letter, axis, text, where)
    _check_limit(axis, degrees, text, where)
    return degrees


def plain_text(given: str, where: str) -> str:
    r"""Put plain signs where a phone or a word processor put others, and refuse what can't be a quantity.

    Parameters
    ----------
    given
        The text as typed.
    where
        The file and key, or the option, that it came from.

    Returns
    -------
    The text with plain minus, quotes, degree signs and spaces; thin spaces that group digits by threes are gone.

    Raises
    ------
    InputError
        The text is empty or longer than 64 characters.

    Examples
    --------
    >>> plain_text("\u22121\u2009200 l", "--aboard")
    '-1200 l'
    """
    if len(given) > _LONGEST_TEXT:
        problem = f"is longer than {_LONGEST_TEXT} characters"
        raise InputError(where, problem, value=given, remedy="write a number and its unit")
    text = " ".join(_DIGIT_GROUP.sub("", given).translate(_PLAIN).split())
    if not text:
        raise InputError(where, "is empty", value=given, remedy="write a number and its unit")
    return text


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


def _check_limit(axis: str, degrees: float, text: str, where: str) -> None:
    if abs(degrees) > _LIMIT_DEG[axis]:
        problem = f"{axis} {degrees:g} is beyond {_LIMIT_DEG[axis]:g} degrees"
        remedy = "the latitude comes first" if axis == "latitude" else "write a western longitude with W or a minus"
        raise InputError(where, problem, value=text, remedy=remedy)
