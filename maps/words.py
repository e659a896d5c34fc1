"""Text from files made harmless, positions as spoken at sea, values of a row.

A name in a file can hold anything: markup, script, template braces, back-ticks, controls that turn the reading order.
folium writes such text raw into script, and its scripts are read once more as templates. So nothing but letters,
digits and a few plain marks leaves this module unencoded.
"""

from __future__ import annotations

import math
import unicodedata
from typing import TYPE_CHECKING, NewType

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "Markup",
    "as_lines",
    "as_markup",
    "flag_of",
    "joined",
    "number_of",
    "text_of",
    "write_number",
    "write_position",
]

Markup = NewType("Markup", str)
"""Text that may be put into a page as it stands."""

_PLAIN = frozenset(" .,-+()")
"""Marks that mean nothing to HTML, JavaScript, CSS or a template."""

_TURNING = frozenset("\u061c\u200e\u200f")
"""Marks (U+061C, U+200E, U+200F) that honest right-to-left names need: kept, as entities, and isolated by ``bdi``."""

_OVERRIDING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Embeddings, overrides and isolates of the Unicode Bidirectional Algorithm (UAX 9): they can make 71 read as 17."""


def as_markup(text: str, *, longest: int = 200) -> Markup:
    """Return text from a file as HTML entities, on one line.

    Parameters
    ----------
    text
        Anything.
    longest
        Characters kept; what is cut off is marked by an ellipsis.

    Returns
    -------
    Markup
        Letters, digits and plain marks as they are, everything else as a numeric entity. Controls, lone surrogates
        and marks that override the reading order can't be shown: they appear by number, as ``[U+0000]``.

    Examples
    --------
    >>> as_markup("Cap'n <b>")
    'Cap&#39;n &#60;b&#62;'
    >>> as_markup("a`${b}{{c}}")
    'a&#96;&#36;&#123;b&#125;&#123;&#123;c&#125;&#125;'
    >>> as_markup("nul" + chr(0))
    'nul&#91;U+0000&#93;'
    """
    line = " ".join(text.split())
    cut = line if len(line) <= longest else f"{line[: longest - 1].rstrip()}\u2026"
    return Markup("".join(_encoded(character) for character in cut))


def as_lines(text: str, *, most: int = 60) -> Markup:
    r"""Return text of several lines as markup with a break at each line's end.

    Parameters
    ----------
    text
        Anything; lines end with a line feed.
    most
        Lines kept.

    Returns
    -------
    Markup
        The lines, without empty ones.

    Examples
    --------
    >>> as_lines("Fuel: diesel\nVHF 12\n")
    'Fuel&#58; diesel<br>VHF 12'
    """
    lines = [line for line in text.replace("\r", "\n").split("\n") if line.strip()]
    kept = lines if len(lines) <= most else [*lines[: most - 1], "\u2026"]
    return joined("<br>", [as_markup(line, longest=400) for line in kept])


def joined(between: str, parts: list[Markup]) -> Markup:
    """Return parts that are markup, with our own markup between them.

    Parameters
    ----------
    between
        Markup of our own, never text from a file.
    parts
        The parts.

    Returns
    -------
    Markup
        One piece.

    Examples
    --------
    >>> joined("<br>", [as_markup("one"), as_markup("two")])
    'one<br>two'
    """
    return Markup(between.join(parts))


def text_of(row: Mapping[str, object], column: str) -> str:
    """Return a cell as text, empty where the row has none.

    Parameters
    ----------
    row
        A row of a layer.
    column
        Its column; it may be absent.

    Returns
    -------
    str
        The text; a date without its time of day.

    Examples
    --------
    >>> text_of({"name": "Skerry Fuel"}, "name"), text_of({"name": float("nan")}, "name"), text_of({}, "name")
    ('Skerry Fuel', '', '')
    """
    value = row.get(column)
    # NaN differs from itself; the other two marks of absence can't even be compared without an error
    if value is None or type(value).__name__ in {"NAType", "NaTType"} or value != value:  # noqa: PLR0124
        return ""
    return str(value.strftime("%Y-%m-%d")) if hasattr(value, "strftime") else str(value)


def number_of(row: Mapping[str, object], column: str) -> float | None:
    """Return a cell as a finite number, None where the row has none.

    Parameters
    ----------
    row
        A row of a layer.
    column
        Its column; it may be absent.

    Returns
    -------
    float | None
        The number. None is "not known" here, which is drawn as such, never as a value.

    Examples
    --------
    >>> number_of({"depth_m": "2.5"}, "depth_m"), number_of({"depth_m": None}, "depth_m")
    (2.5, None)
    """
    try:
        number = float(text_of(row, column))
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def flag_of(row: Mapping[str, object], column: str) -> bool:
    """Return whether a cell says yes; anything unknown is a no.

    Parameters
    ----------
    row
        A row of a layer.
    column
        Its column; it may be absent.

    Returns
    -------
    bool
        True only where the cell says so: a missing flag must not draw a leg as checked or a dock as suitable.

    Examples
    --------
    >>> flag_of({"suits": True}, "suits"), flag_of({"suits": float("nan")}, "suits"), flag_of({}, "suits")
    (True, False, False)
    """
    return text_of(row, column).lower() in {"true", "1", "1.0", "yes"}


def write_number(value: float, places: int = 2) -> str:
    """Return a number without needless zeros.

    Parameters
    ----------
    value
        The number.
    places
        Most decimal places.

    Returns
    -------
    str
        As it is printed on the map.

    Examples
    --------
    >>> write_number(2.50), write_number(12.0), write_number(-0.001)
    ('2.5', '12', '0')
    """
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text


def write_position(lon_deg: float, lat_deg: float) -> str:
    """Return a position in degrees and minutes, latitude first as spoken at sea.

    Parameters
    ----------
    lon_deg
        [deg] Longitude, east positive; beyond 180 it is told as it is on the other side.
    lat_deg
        [deg] Latitude, north positive.

    Returns
    -------
    str
        Minutes to two places: 0.01 minute of latitude is 18.5 m.

    Examples
    --------
    >>> write_position(-38.05333, 44.20833)
    '44 12.50N 038 03.20W'
    >>> write_position(-0.00001, 59.99999)  # never 60 minutes, never 0 west
    '60 00.00N 000 00.00E'
    >>> write_position(180.5, -17.0)
    '17 00.00S 179 30.00W'
    """
    turned = lon_deg - 360 if lon_deg > 180 else lon_deg + 360 if lon_deg < -180 else lon_deg
    return f"{_half(lat_deg, 2, 'NS')} {_half(turned, 3, 'EW')}"


def _half(angle_deg: float, width: int, letters: str) -> str:
    hundredths = round(abs(angle_deg) * 6000)
    degrees, rest = divmod(hundredths, 6000)
    letter = letters[1] if angle_deg < 0 and hundredths else letters[0]
    return f"{degrees:0{width}d} {rest / 100:05.2f}{letter}"


def _encoded(character: str) -> str:
    if character in _PLAIN or (character.isascii() and character.isalnum()):
        return character
    code = ord(character)
    if character in _TURNING:
        return f"&#{code};"
    if unicodedata.category(character) in {"Cc", "Cs", "Cn"} or character in _OVERRIDING:
        return f"&#91;U+{code:04X}&#93;"
    return f"&#{code};"
