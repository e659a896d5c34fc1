"""Quantities as a skipper writes them, read into the one unit that the rest of routeplan works in.

Inside there are litres, nautical miles, knots, hours and metres only. A quantity is either a number, taken in that
inner unit, or a text: a number and its unit, ``71 gal``, ``31 ft 6 in``, ``1h30``. Nothing is guessed: bare ``gal`` is
read only where the caller says which gallon is meant, and a comma in a number is refused rather than taken for either.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from layers.errors import InputError
from layers.positions import plain_text
from layers.units import LITRES_PER_IMPGAL, LITRES_PER_USGAL, METRES_PER_FT, METRES_PER_MI, METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "LITRES_PER_IMPGAL",
    "LITRES_PER_USGAL",
    "METRES_PER_FT",
    "METRES_PER_IN",
    "METRES_PER_MI",
    "METRES_PER_NMI",
    "GallonUnit",
    "VolumeUnit",
    "plain_text",
    "read_burn_lph",
    "read_distance_nmi",
    "read_duration_h",
    "read_length_m",
    "read_share",
    "read_speed_kn",
    "read_volume_l",
]

METRES_PER_IN = 0.0254  # m, exact: a twelfth of the foot of 1959

GallonUnit: TypeAlias = Literal["usgal", "impgal"]
VolumeUnit: TypeAlias = Literal["l", "usgal", "impgal"]

_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER_THEN_UNIT = re.compile(rf"(?P<sign>[+-]?)\s*(?P<number>{_NUMBER})\s*(?P<unit>.*)", re.DOTALL)
_FEET_AND_INCHES = re.compile(
    rf"(?P<feet>{_NUMBER})\s*(?:ft|foot|feet|')\.?\s*(?P<inches>{_NUMBER})\s*(?:in|inch|inches|\"|'')?\.?",
    re.IGNORECASE,
)
_DAYS_HOURS_MINUTES = re.compile(
    r"(?:(?P<days>[0-9]+)\s*d(?:ays?)?)?\s*(?:(?P<hours>[0-9]+)\s*h(?:ours?|rs?)?)?\s*(?:(?P<minutes>[0-9]+)\s*(?:m|mins?|minutes?)?)?",
    re.IGNORECASE,
)
_CLOCK = re.compile(r"(?P<hours>[0-9]{1,3}):(?P<minutes>[0-9]{2})")


@dataclass(frozen=True)
class _Units:
    """What one kind of quantity may be written in: factors to the inner unit, and names refused as unclear."""

    factors: Mapping[str, float]
    offered: str
    unclear: frozenset[str] = frozenset()
    unclear_problem: str = ""

    def with_gallon(self, gal: GallonUnit | None) -> _Units:
        """Let the unclear names stand for the gallon that is meant."""
        if gal is None:
            return self
        litres = {"usgal": LITRES_PER_USGAL, "impgal": LITRES_PER_IMPGAL}[gal]
        return _Units({**self.factors, **dict.fromkeys(self.unclear, litres)}, self.offered)


_GALLON_UNSAID = frozenset({"gal", "gals", "gallon", "gallons"})
_WHICH_GALLON = "bare 'gal' may be the US or the imperial gallon"
_PER_HOUR = ("/h", "/hr", "/hour", "ph")
_VOLUME_FACTORS = {
    **dict.fromkeys(("l", "\u2113", "lt", "ltr", "ltrs", "litre", "litres", "liter", "liters"), 1.0),
    **dict.fromkeys(("usgal", "usg", "usgals", "usgallon", "usgallons"), LITRES_PER_USGAL),
    **dict.fromkeys(("impgal", "impgals", "impgallon", "impgallons", "ukgal"), LITRES_PER_IMPGAL),
    **dict.fromkeys(("imperialgallon", "imperialgallons"), LITRES_PER_IMPGAL),
}
_VOLUME = _Units(_VOLUME_FACTORS, "l, usgal or impgal", _GALLON_UNSAID, _WHICH_GALLON)
_BURN = _Units(
    {f"{unit}{per}": litres for unit, litres in _VOLUME_FACTORS.items() for per in _PER_HOUR},
    "l/h, usgal/h or impgal/h",
    frozenset({"gph", *(f"{unit}{per}" for unit in _GALLON_UNSAID for per in _PER_HOUR)}),
    _WHICH_GALLON,
)
_SPEED = _Units(
    {
        **dict.fromkeys(("kn", "kns", "kt", "kts", "knot", "knots", "nmi/h"), 1.0),
        **dict.fromkeys(("mph", "mi/h"), METRES_PER_MI / METRES_PER_NMI),
        **dict.fromkeys(("km/h", "kmh", "kph"), 1000 / METRES_PER_NMI),
        **dict.fromkeys(("m/s", "mps"), 3600 / METRES_PER_NMI),
    },
    "kn, mph, km/h or m/s",
)
_LENGTH = _Units(
    {
        **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
        "cm": 0.01,
        **dict.fromkeys(("ft", "foot", "feet", "'"), METRES_PER_FT),
        **dict.fromkeys(("in", "inch", "inches", '"', "''"), METRES_PER_IN),
        "nmi": METRES_PER_NMI,
    },
    "m, cm, ft or in",
)
_DISTANCE = _Units(
    {
        **dict.fromkeys(("nmi", "nm", "nauticalmile", "nauticalmiles"), 1.0),
        **dict.fromkeys(("km", "kilometre", "kilometres"), 1000 / METRES_PER_NMI),
        **dict.fromkeys(("mi", "statutemile", "statutemiles"), METRES_PER_MI / METRES_PER_NMI),
        **dict.fromkeys(("metre", "metres"), 1 / METRES_PER_NMI),
    },
    "nmi (nautical), mi (statute), km or metres",
    frozenset({"m", "mile", "miles"}),  # M is the sea mile on charts and m the metre; a mile may be either mile
    "the unit may mean more than one distance",
)
_DURATION = _Units(
    {
        **dict.fromkeys(("d", "day", "days"), 24.0),
        **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 1.0),
        **dict.fromkeys(("min", "mins", "m", "minute", "minutes"), 1 / 60),
        **dict.fromkeys(("s", "sec", "second", "seconds"), 1 / 3600),
    },
    "min, h or d",
)
_SHARE = _Units({"": 1.0, "%": 0.01}, "a share such as 0.10, or 10 %")


def read_volume_l(given: object, where: str, *, bare: VolumeUnit | None = None, gal: GallonUnit | None = None) -> float:
    """Read a volume of fuel.

    Parameters
    ----------
    given
        A number, taken in litres, or a text with its unit: ``l``, ``usgal``, ``impgal`` (also spelt out or dotted).
    where
        The file and key, or the option, that it came from.
    bare
        Unit of a text that carries none; such a text is refused where this is None. A gallon also reads bare ``gal``.
    gal
        The gallon that a bare ``gal`` stands for; refused where neither this nor `bare` says.

    Returns
    -------
    [l] The volume, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite; carries where, the value and what to write instead.

    Examples
    --------
    >>> round(read_volume_l("71 gal", "--aboard", bare="usgal"), 3)
    268.764
    >>> read_volume_l("270L", "--aboard")
    270.0
    >>> read_volume_l("71gal", "boat.toml, tank.capacity_l")
    Traceback (most recent call last):
    layers.errors.InputError: boat.toml, tank.capacity_l: bare 'gal' may be the US or the imperial gallon \
(got '71gal'): write l, usgal or impgal
    """
    return _read(given, where, _VOLUME.with_gallon(gal or (bare if bare != "l" else None)), bare)


def read_burn_lph(given: object, where: str, *, gal: GallonUnit | None = None) -> float:
    """Read a burn, a volume of fuel per hour.

    Parameters
    ----------
    given
        A number, taken in litres per hour, or a text with its unit: ``l/h``, ``usgal/h``, ``impgal/h``, ``gph``.
    where
        The file and key, or the option, that it came from.
    gal
        The gallon that a bare ``gal/h`` or ``gph`` stands for; refused where this is None.

    Returns
    -------
    [l/h] The burn, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite.

    Examples
    --------
    >>> round(read_burn_lph("12 gph", "boat.toml, burn.burn_lph", gal="usgal"), 2)
    45.42
    """
    return _read(given, where, _BURN.with_gallon(gal))


def read_speed_kn(given: object, where: str, *, bare: Literal["kn"] | None = "kn") -> float:
    """Read a speed.

    Parameters
    ----------
    given
        A number, taken in knots, or a text with its unit: ``kn``, ``mph``, ``km/h``, ``m/s``.
    where
        The file and key, or the option, that it came from.
    bare
        Unit of a text that carries none; such a text is refused where this is None.

    Returns
    -------
    [kn] The speed, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite.

    Examples
    --------
    >>> read_speed_kn("24", "--speed"), round(read_speed_kn("30 mph", "--speed"), 2)
    (24.0, 26.07)
    """
    return _read(given, where, _SPEED, bare)


def read_length_m(given: object, where: str, *, bare: Literal["m", "ft"] | None = "m") -> float:
    r"""Read a length, a depth or a height.

    Parameters
    ----------
    given
        A number, taken in metres, or a text with its unit: ``m``, ``cm``, ``ft``, ``in``, or feet and inches together.
    where
        The file and key, or the option, that it came from.
    bare
        Unit of a text that carries none; such a text is refused where this is None.

    Returns
    -------
    [m] The length, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite, or counts twelve inches or more beside feet.

    Examples
    --------
    >>> [round(read_length_m(text, "length"), 4) for text in ("31 ft 6 in", "31'6\"", "31.5ft", "0.9")]
    [9.6012, 9.6012, 9.6012, 0.9]
    """
    both = _FEET_AND_INCHES.fullmatch(plain_text(given, where)) if isinstance(given, str) else None
    if both:
        feet, inches = float(both["feet"]), float(both["inches"])
        if not feet.is_integer() or inches >= 12:
            problem = "feet before inches are whole, and the inches stay below 12"
            raise InputError(where, problem, value=given, remedy="write 31 ft 6 in, or 31.5 ft")
        return _finite(feet * METRES_PER_FT + inches * METRES_PER_IN, given, where)
    return _read(given, where, _LENGTH, bare)


def read_distance_nmi(given: object, where: str, *, bare: Literal["nmi"] | None = "nmi") -> float:
    """Read a distance over water.

    Parameters
    ----------
    given
        A number, taken in nautical miles, or a text with its unit: ``nmi``, ``km``, ``mi`` (the statute mile).
    where
        The file and key, or the option, that it came from.
    bare
        Unit of a text that carries none; such a text is refused where this is None.

    Returns
    -------
    [nmi] The distance, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite, or says ``miles`` or ``m`` without saying which.

    Examples
    --------
    >>> round(read_distance_nmi("18.52 km", "--snap"), 9)
    10.0
    """
    return _read(given, where, _DISTANCE, bare)


def read_duration_h(given: object, where: str) -> float:
    """Read a length of time.

    Parameters
    ----------
    given
        A number, taken in hours, or a text with its unit: ``15min``, ``3h``, ``1h30``, ``1:30``, ``1 d 6 h``.
    where
        The file and key, or the option, that it came from.

    Returns
    -------
    [h] The duration, never negative.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite, carries no unit, or counts sixty minutes or more beside hours.

    Examples
    --------
    >>> [read_duration_h(text, "--berthing") for text in ("15min", "3h", "1h30", "1:30", "1d 6h")]
    [0.25, 3.0, 1.5, 1.5, 30.0]
    """
    text = plain_text(given, where) if isinstance(given, str) else ""
    parts = _CLOCK.fullmatch(text) or _DAYS_HOURS_MINUTES.fullmatch(text)
    found = {name: int(digits) for name, digits in parts.groupdict().items() if digits is not None} if parts else {}
    if len(found) > 1:  # one part alone may carry decimals, and must carry its unit: left to the general reader
        if found.get("minutes", 0) >= 60 or ("days" in found and found.get("hours", 0) >= 24):
            problem = "minutes beside hours stay below 60, and hours beside days below 24"
            raise InputError(where, problem, value=given, remedy="write 1h30 or 90min")
        return _finite(found.get("days", 0) * 24.0 + found.get("hours", 0) + found.get("minutes", 0) / 60, given, where)
    return _read(given, where, _DURATION)


def read_share(given: object, where: str) -> float:
    """Read a share of a whole.

    Parameters
    ----------
    given
        A number or text between nothing and one, or a text in per cent, ``10 %``.
    where
        The file and key, or the option, that it came from.

    Returns
    -------
    [share] 0.10 for ten per cent; the caller sets the limit.

    Raises
    ------
    InputError
        It can't be read, is negative or not finite.

    Examples
    --------
    >>> read_share("10 %", "reserve.value"), read_share(0.1, "reserve.value")
    (0.1, 0.1)
    """
    return _read(given, where, _SHARE)


def _read(given: object, where: str, units: _Units, bare: str | None = None) -> float:
    """Read a number, taken in the inner unit, or a text, whose unit is `bare` where it carries none."""
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise InputError(where, "must be a number, or a text with its unit", value=given)
    if not isinstance(given, str):
        if given < 0:
            raise InputError(where, "must not be negative", value=given)
        try:
            return _finite(float(given), given, where)
        except OverflowError as error:  # a whole number of more than 308 digits
            raise InputError(where, "is too large a number", value="a whole number of many digits") from error
    number, unit = _number_and_unit(given, where)
    unit = unit or bare or ""
    if unit in units.factors:
        return _finite(number * units.factors[unit], given, where)
    if unit in units.unclear:
        raise InputError(where, units.unclear_problem, value=given, remedy=f"write {units.offered}")
    if not unit:
        raise InputError(where, "carries no unit", value=given, remedy=f"add {units.offered}")
    near = difflib.get_close_matches(unit, units.factors, n=1, cutoff=0.7)
    meant = f"did you mean {near[0]}? " if near else ""
    raise InputError(where, f"unit {unit!r} is not known here", value=given, remedy=f"{meant}write {units.offered}")


def _number_and_unit(given: str, where: str) -> tuple[float, str]:
    text = plain_text(given, where)
    if re.search(r"[0-9],|,[0-9]", text):
        remedy = "write the decimal point as 71.5, and thousands without a sign"
        raise InputError(where, "has a comma in its number", value=given, remedy=remedy)
    parts = _NUMBER_THEN_UNIT.fullmatch(text)
    if parts is None:
        raise InputError(
            where, "is not a number with its unit", value=given, remedy="write the number first, in digits"
        )
    number = float(parts["number"])
    if parts["sign"] == "-" and number > 0:
        raise InputError(where, "must not be negative", value=given)
    return _finite(number, given, where), re.sub(r"[\s._]", "", parts["unit"]).casefold()


def _finite(number: float, given: object, where: str) -> float:
    if not math.isfinite(number):
        raise InputError(where, "is not a finite number", value=given, remedy="write an ordinary number")
    return number
