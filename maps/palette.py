"""The colours of the map, each with its source.

The base is quiet (grey-green water, warm grey land). The full colours are kept for what was computed. They are taken
from a published set that people with the common kinds of colour blindness tell apart, and every one of them is doubled
by a shape, a dash or a label, so that the map also reads in black and white.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["BASE", "COMPUTED", "NIGHT", "find_contrast", "write_variables"]

# M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations that are friendly to colorblind
# people" (2002, revised 2008); the RGB values are recalled, and are the ones in general circulation.
_BLACK, _ORANGE, _SKY, _GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
_YELLOW, _BLUE, _VERMILION, _PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"

COMPUTED: Mapping[str, str] = MappingProxyType(
    {
        "route": _BLUE,
        "stop": _VERMILION,
        "alternate": _ORANGE,
        "suits": _GREEN,
        "promised": _PURPLE,
        "mark": _SKY,
        "highlight": _YELLOW,
        "casing": "#FFFFFF",
    }
)
"""Colours of computed things (Okabe and Ito), and white for what sets them off."""

BASE: Mapping[str, str] = MappingProxyType(
    {
        "unknown": "#CBD2CE",
        "water": "#DCE6E1",
        "shallow": "#CCD8CD",
        "shoal": "#BECABB",
        "drying": "#B7B99E",
        "land": "#E3DCCF",
        "coast": "#6E675B",
        "outside": "#B7BEBA",
        "ink": "#16201E",
        "quiet": "#46524F",
        "closed": "#5A6663",
        "rule": "#7A3E12",
        "limit": "#4B4470",
        "paper": "#FFFFFF",
        "warning": "#FFF3C4",
        "none": _BLACK,
    }
)
"""Colours of the base: our own choice, low in saturation."""

NIGHT: Mapping[str, str] = MappingProxyType(
    {
        "unknown": "#24302F",
        "water": "#1B2B2E",
        "land": "#3D392F",
        "coast": "#A39A88",
        "outside": "#0B1110",
        "ink": "#F2F5F3",
        "quiet": "#C4CFCB",
        "paper": "#101817",
        "warning": "#35300F",
        "route": "#7CC4F2",
        "stop": "#FF9B4A",
        "none": "#000000",
    }
)
"""The same in the dark, for pages that follow the reader's choice: our own, lighter than the full colours."""


def find_contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours.

    Parameters
    ----------
    one, other
        Colours as ``#RRGGBB``.

    Returns
    -------
    float
        From 1 (the same) to 21 (black on white).

    Notes
    -----
    Relative luminance and contrast ratio as W3C defines them in Web Content Accessibility Guidelines 2.2, "relative
    luminance" and "contrast ratio": text needs 4.5, symbols and lines need 3.

    Examples
    --------
    >>> round(find_contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def write_variables(colours: Mapping[str, str] | None = None) -> str:
    """Return colours as custom properties of the style sheet, so that they are written once.

    Parameters
    ----------
    colours
        Colours by name; those of the day where None.

    Returns
    -------
    str
        A CSS rule.

    Examples
    --------
    >>> "--route:#0072B2" in write_variables()
    True
    """
    pairs = ";".join(f"--{name}:{colour}" for name, colour in (colours or {**BASE, **COMPUTED}).items())
    return f":root{{{pairs}}}"


def _luminance(colour: str) -> float:
    shares = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    red, green, blue = (share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
