"""What a skipper reads off meters, gauge and price board, as typed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.fillup_cells import LITRES, kept_digits
from routeplan.quantities import plain_text, read_volume_l

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.quantities import VolumeUnit

__all__ = [
    "LEADING_NUMBER",
    "UNREAD",
    "gauge_step_l",
    "read_gauge",
    "read_meters",
    "read_price_per_l",
    "read_typed_volume",
]

UNREAD = "-"
"""What stands for an instrument that was not read."""
_PART_OF_TANK = re.compile(r"(?P<some>[0-9]{1,3})\s*/\s*(?P<of>[0-9]{1,3})|(?P<percent>[0-9]+(?:\.[0-9]+)?)\s*%")
LEADING_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
"""A number that a unit may follow."""


def read_typed_volume(text: str, where: str, boat: Boat) -> tuple[float, VolumeUnit]:
    """Read a volume, and tell the unit that it was written in.

    Parameters
    ----------
    text
        A figure in the boat's display unit, or with its unit.
    where
        The option or argument that it came from.
    boat
        The boat.

    Returns
    -------
    [l] The volume, and the unit.

    Raises
    ------
    InputError
        It can't be read, or is negative.
    """
    volume_l = read_volume_l(text, where, bare=boat.units.volume_unit)
    number = LEADING_NUMBER.match(plain_text(text, where))
    figure = float(number[0]) if number else 0.0
    unit = boat.units.volume_unit
    if figure > 0:
        unit = min(LITRES, key=lambda name: abs(LITRES[name] - volume_l / figure))
    return kept_digits(volume_l), unit


def read_meters(text: str, boat: Boat, where: str) -> tuple[tuple[float | None, ...], VolumeUnit]:
    """Read one meter or two, and tell the unit that they were written in.

    Parameters
    ----------
    text
        ``46.8``, ``22.7+24.1``, ``22.7+-`` where the second was not read; a unit said once is for both.
    boat
        The boat.
    where
        The option or argument that it came from.

    Returns
    -------
    [l] One figure or two, None where not read; and the unit.

    Raises
    ------
    InputError
        It can't be read, or has more than two figures.
    """
    parts = [part.strip() for part in plain_text(text, where).split("+")]
    if len(parts) > 2:
        raise InputError(where, "has more than two figures", value=text, remedy="write both meters as 22.7+24.1")
    units = [LEADING_NUMBER.sub("", part).strip() for part in parts if part != UNREAD]
    said = next(filter(None, units), "")
    read: list[float | None] = []
    unit = boat.units.volume_unit
    for part in parts:
        if part == UNREAD:
            read.append(None)
        elif not part:
            raise InputError(where, "lacks a figure beside the +", value=text, remedy="write 22.7+24.1, or 22.7+-")
        else:
            whole = f"{part} {said}".strip() if LEADING_NUMBER.fullmatch(part) else part
            volume_l, unit = read_typed_volume(whole, where, boat)
            read.append(volume_l)
    return tuple(read), unit


def read_gauge(text: str, boat: Boat, where: str) -> tuple[float, VolumeUnit | None]:
    """Read a gauge, and tell the unit that it was written in.

    Parameters
    ----------
    text
        A volume, or a part of the tank: ``44gal``, ``3/8``, ``40%``.
    boat
        The boat.
    where
        The option or argument that it came from.

    Returns
    -------
    [l] What it shows, and the unit; None where a part of the tank was written.

    Raises
    ------
    InputError
        It can't be read, or is more than the whole tank.
    """
    part = _PART_OF_TANK.fullmatch(plain_text(text, where))
    if part is None:
        return read_typed_volume(text, where, boat)
    share = float(part["percent"]) / 100 if part["percent"] else int(part["some"]) / max(1, int(part["of"]))
    if share > 1 or part["of"] in {"0", "00", "000"}:
        raise InputError(where, "is more than the whole tank", value=text, remedy="write a part such as 3/8 or 40%")
    return kept_digits(share * boat.tank.capacity_l), None


def gauge_step_l(text: str, boat: Boat) -> float:
    """Tell what a gauge's reading was rounded to by the way it is written.

    Parameters
    ----------
    text
        As for `read_gauge`.
    boat
        The boat.

    Returns
    -------
    [l] Of ``3/8`` an eighth of the tank; 0 where a volume was written.
    """
    part = _PART_OF_TANK.fullmatch(plain_text(text, "--gauge"))
    if part is None:
        return 0.0
    return boat.tank.capacity_l / (100 if part["percent"] else max(1, int(part["of"])))


def read_price_per_l(text: str, boat: Boat, where: str) -> float:
    """Read a price.

    Parameters
    ----------
    text
        For one display unit, ``7.46``, or for a unit that is said, ``1.97/l``.
    boat
        The boat.
    where
        The option that it came from.

    Returns
    -------
    [currency/l] The price.

    Raises
    ------
    InputError
        It can't be read, or is negative.
    """
    figure, slash, unit = text.strip().partition("/")
    if not LEADING_NUMBER.fullmatch(figure.strip()):
        remedy = f"write the number alone, for one {boat.units.volume_label}, or 1.97/l; no sign of a currency"
        raise InputError(where, "is not a price of fuel", value=text, remedy=remedy)
    number = float(figure)
    if number < 0:
        raise InputError(where, "must not be negative", value=text)
    litres = read_volume_l(f"1 {unit.strip()}", where, bare=boat.units.volume_unit)
    if slash and not unit.strip():
        raise InputError(where, "names no unit after the /", value=text, remedy="write 1.97/l or 7.46/gal")
    return kept_digits(number / litres)
