"""Our own symbols and patterns, drawn as inline SVG: plain geometry, none of them taken from a chart or a product.

Every symbol is drawn about the origin, so that the page can turn it; its colours come from the style sheet.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from maps.words import Markup

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["PATTERNS", "SYMBOLS", "find_patterns", "write_area_key", "write_line_key", "write_symbol"]

_DROP = "M0 -6.4C2.6 -2.9 4 -.9 4 1.4A4 4 0 0 1 -4 1.4C-4 -.9 -2.6 -2.9 0 -6.4Z"
_SQUARE = 'x="-10" y="-10" width="20" height="20" rx="4"'
_DOTS = '<circle cx="2" cy="2" r="{0}" fill="{1}"/><circle cx="6" cy="6" r="{0}" fill="{1}"/>'

SYMBOLS: Mapping[str, str] = MappingProxyType(
    {
        # Places where fuel is sold: a solid square with a drop suits; a dashed disc with a drop may; a hollow,
        # struck-out disc does not; two halves set apart can't be reached.
        "dock-suits": f'<rect class="box" {_SQUARE}/><path class="drop" d="{_DROP}"/>',
        "dock-unsuited": '<circle class="disc" r="7"/><path class="strike" d="M-5 5L5 -5"/>',
        "dock-doubtful": f'<circle class="doubt" r="11"/><path class="drop" d="{_DROP}"/>',
        "dock-apart": '<path class="apart" d="M-2.5 -9A9 9 0 0 0 -2.5 9ZM2.5 -9A9 9 0 0 1 2.5 9Z"/>',
        "dock": f'<rect class="box plain" {_SQUARE}/><path class="drop" d="{_DROP}"/>',
        # Stops of the passage: the number is written by the page.
        "stop-start": '<circle class="ring" r="12"/><path class="core" d="M-4 -6.5L7 0L-4 6.5Z"/>',
        "stop-fuel": '<rect class="badge" x="-14" y="-14" width="28" height="28" rx="7"/>',
        "stop-via": '<path class="badge via" d="M0 -16L16 0L0 16L-16 0Z"/>',
        "stop-finish": '<circle class="ring" r="12"/><rect class="core" x="-5" y="-5" width="10" height="10"/>',
        "stop-alternate": '<rect class="spare" x="-11" y="-11" width="22" height="22" rx="5"/>'
        f'<path class="drop" d="{_DROP}"/>',
        # Places.
        "harbour": '<circle class="place" r="5"/><circle class="dot" r="1.8"/>',
        "anchorage": '<circle class="place" r="5"/><path class="dot" d="M-5 0A5 5 0 0 0 5 0Z"/>',
        "mark": '<path class="place" d="M0 -5.5L5.5 4.5H-5.5Z"/>',
        "entrance": '<path class="gate" d="M-4 -5V5M4 -5V5"/>',
        "place": '<rect class="place" x="-4" y="-4" width="8" height="8"/>',
        # Round places in reach: a whole ring where the boat gets there and back, an open one where she only gets there.
        "both": '<circle class="round" r="16"/>',
        "out": '<path class="round" d="M-16 0A16 16 0 0 1 16 0"/>',
        "both-small": '<circle class="round" r="9.5"/>',
        "out-small": '<path class="round" d="M-9.5 0A9.5 9.5 0 0 1 9.5 0"/>',
        # Where to turn for the last dock: an arrow that comes, and goes back down.
        "turn-back": '<circle class="turn" r="14"/><path class="bend" d="M-6 8V-2A5 5 0 0 1 4 -2V6M-.5 2L4 7L8.5 2"/>',
        # What a check found, numbered by the page: an eight-sided plate, a square one, a round one.
        "found-aground": '<path class="found aground" d="M-7 -16H7L16 -7V7L7 16H-7L-16 7V-7Z"/>',
        "found-fuel": '<rect class="found fuel" x="-15" y="-13" width="30" height="26" rx="3"/>',
        "found-other": '<circle class="found other" r="15"/>',
        # Dangers and limits.
        "hazard": '<path class="danger" d="M0 -9L9 7H-9Z"/><path class="bang" d="M0 -4V2M0 4V5.4"/>',
        "no-entry": '<rect class="shut" x="-10" y="-10" width="20" height="20"/>'
        '<path class="bars" d="M-6 -4H6M-6 0H6M-6 4H6"/>',
        "opening": '<circle class="leafs" r="9"/><path class="gate" d="M-6 3L-2 -4M6 3L2 -4"/>',
        "lane-arrow": '<path class="way" d="M0 12V-10M-5 -4L0 -11L5 -4"/>',
        "flood": '<path class="way" d="M0 11V-9M-4 -3L0 -10L4 -3M-3 9L3 9"/>',
        # A current that the track meets: two angles, one behind the other, that point where it sets.
        "sets": '<path class="sets bed" d="M-9 1L0 -11L9 1M-9 12L0 0L9 12"/>'
        '<path class="sets" d="M-9 1L0 -11L9 1M-9 12L0 0L9 12"/>',
        "leg-arrow": '<path class="heading" d="M0 -8L6 6L0 3L-6 6Z"/>',
    }
)
"""The symbols by name, as the inside of an SVG drawing centred on 0, 0."""

PATTERNS: Mapping[str, str] = MappingProxyType(
    {
        "shoal": '<path d="M-2 10L10 -2M-2 2L2 -2M6 10L10 6" stroke="var(--closed)" stroke-width="1.1"/>',
        "unsurveyed": _DOTS.format(1.1, "var(--closed)"),
        "hazard": '<path d="M-2 10L10 -2M-2 -2L10 10" stroke="var(--closed)" stroke-width="1"/>',
        "no-entry": '<path d="M0 2H8" stroke="var(--rule)" stroke-width="2"/>',
        "drying": _DOTS.format(0.8, "var(--coast)"),
        "poor": '<path d="M1 4H4" stroke="var(--quiet)" stroke-width="1"/>',
    }
)
"""What an area is filled with, by name: 8 x 8 tiles."""


def find_patterns() -> Markup:
    """Return the definitions of all patterns, to be placed once in the page.

    Returns
    -------
    Markup
        A drawing without size. It must not be ``display:none``: some browsers then leave the patterns out.

    Examples
    --------
    >>> 'id="fill-shoal"' in find_patterns()
    True
    """
    tiles = "".join(
        f'<pattern id="fill-{name}" width="8" height="8" patternUnits="userSpaceOnUse">{inside}</pattern>'
        for name, inside in PATTERNS.items()
    )
    return Markup(f'<svg class="patterns" width="0" height="0" aria-hidden="true"><defs>{tiles}</defs></svg>')


def write_symbol(name: str, *, text: str = "") -> Markup:
    """Return a symbol as it stands in the key.

    Parameters
    ----------
    name
        One of ``SYMBOLS``, or several that are drawn over each other.
    text
        A letter or digit of our own to write on it.

    Returns
    -------
    Markup
        An SVG drawing of 36 x 36.

    Examples
    --------
    >>> write_symbol("mark").startswith('<svg class="symbol')
    True
    """
    letter = f'<text class="count" y="5">{text}</text>' if text else ""
    signs = "".join(SYMBOLS[part] for part in name.split())
    return Markup(
        f'<svg class="symbol {name}" viewBox="-18 -18 36 36" width="36" height="36" aria-hidden="true">'
        f"{signs}{letter}</svg>"
    )


def write_line_key(look: str) -> Markup:
    """Return a piece of line as it stands in the key.

    Parameters
    ----------
    look
        Class names of the line, as on the map.

    Returns
    -------
    Markup
        An SVG drawing.

    Examples
    --------
    >>> 'class="shape leg"' in write_line_key("leg")
    True
    """
    under = f'<path class="shape {look} under" d="M2 12H42"/>'
    return Markup(
        f'<svg class="symbol line" viewBox="0 0 44 24" width="44" height="24" aria-hidden="true">{under}'
        f'<path class="shape {look}" d="M2 12H42"/></svg>'
    )


def write_area_key(look: str) -> Markup:
    """Return a patch of an area as it stands in the key.

    Parameters
    ----------
    look
        Class names of the area, as on the map.

    Returns
    -------
    Markup
        An SVG drawing.

    Examples
    --------
    >>> 'class="shape land"' in write_area_key("land")
    True
    """
    return Markup(
        '<svg class="symbol area" viewBox="0 0 44 24" width="44" height="24" aria-hidden="true">'
        f'<rect class="shape {look}" x="3" y="3" width="38" height="18"/></svg>'
    )
