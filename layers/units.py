"""Units that files come in, and how many of ours each one is.

Inside there are metres, knots, litres, minutes and shares; the last word of a column's name says which.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "LITRES_PER_IMPGAL",
    "LITRES_PER_USGAL",
    "METRES_PER_FATHOM",
    "METRES_PER_FT",
    "METRES_PER_MI",
    "METRES_PER_NMI",
    "UNITS",
    "UNIT_WORDS",
    "unit_kind",
]

METRES_PER_FT = 0.3048  # m, exact: international foot of 1959; NIST SP 811, appendix B
METRES_PER_FATHOM = 6 * METRES_PER_FT  # m, exact: six feet
METRES_PER_MI = 1609.344  # m, exact: 5280 ft, the statute mile of 1959
METRES_PER_NMI = 1852.0  # m, exact: international nautical mile, Monaco conference 1929; SI brochure, table 8 (8th ed.)
LITRES_PER_USGAL = 3.785411784  # l, exact: 231 cubic inches; NIST SP 811, appendix B
LITRES_PER_IMPGAL = 4.54609  # l, exact: UK Weights and Measures Act 1985, schedule 1; NIST SP 811, appendix B

_VOLUMES = {"l": 1.0, "usgal": LITRES_PER_USGAL, "impgal": LITRES_PER_IMPGAL}

UNITS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "m": {"m": 1.0, "cm": 0.01, "ft": METRES_PER_FT, "fathom": METRES_PER_FATHOM, "nmi": METRES_PER_NMI},
        "kn": {
            "kn": 1.0,
            "km/h": 1000 / METRES_PER_NMI,
            "mph": METRES_PER_MI / METRES_PER_NMI,
            "m/s": 3600 / METRES_PER_NMI,
        },
        "l": _VOLUMES,
        "per l": {unit: 1 / litres for unit, litres in _VOLUMES.items()},
        "l/min": _VOLUMES,
        "min": {"min": 1.0, "h": 60.0},
        "share": {"share": 1.0, "percent": 0.01},
    }
)
"""By our own unit: how many of it one of a file's is."""

UNIT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
        "cm": "cm",
        **dict.fromkeys(("ft", "foot", "feet"), "ft"),
        **dict.fromkeys(("fathom", "fathoms", "fm"), "fathom"),
        **dict.fromkeys(("nmi", "nm"), "nmi"),
        **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), "kn"),
        **dict.fromkeys(("kmh", "kph"), "km/h"),
        "mph": "mph",
        "mps": "m/s",
        **dict.fromkeys(("l", "lt", "ltr", "litre", "litres", "liter", "liters"), "l"),
        **dict.fromkeys(("lpm",), "l"),
        **dict.fromkeys(("usgal", "usg"), "usgal"),
        **dict.fromkeys(("impgal", "ukgal", "igal"), "impgal"),
        **dict.fromkeys(("gal", "gals", "gallon", "gallons", "gpm"), "gal"),  # which one is for a person to say
        **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
        **dict.fromkeys(("h", "hr", "hrs"), "h"),
        **dict.fromkeys(("percent", "pct"), "percent"),
    }
)
"""What people write, in small letters: the unit that it is; ``gal`` may be either gallon."""

_KINDS = {"m": "m", "kn": "kn", "per litre": "per l", "l": "l", "l/min": "l/min", "min": "min"}


def unit_kind(column: str, unit: str) -> str:
    """Return which units a column can be given in.

    Parameters
    ----------
    column
        Its name in a schema.
    unit
        Its unit in the schema.

    Returns
    -------
    str
        A key of `UNITS`; empty where a file must have it as we do.

    Examples
    --------
    >>> unit_kind("depth_m", "m"), unit_kind("price_diesel_per_l", "per litre"), unit_kind("flood_deg", "degrees true")
    ('m', 'per l', '')
    """
    return "share" if column.endswith("_share") else _KINDS.get(unit, "")
