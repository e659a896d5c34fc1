"""An extent as it is typed: four numbers, or two corners."""

from __future__ import annotations

import re

from layers.errors import InputError
from layers.positions import read_position

__all__ = ["read_extent"]

_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]*)?"
_FOUR = re.compile(rf"\[?\s*({_NUMBER})[\s,]+({_NUMBER})[\s,]+({_NUMBER})[\s,]+({_NUMBER})\s*\]?")
_WANTED = (
    'write "west south east north" in degrees, -38.8 44.1 -38.2 44.6, or two corners: 44 06N 38 48W to 44 36N 38 12W'
)


def read_extent(text: str, where: str) -> tuple[float, float, float, float]:
    """[deg] Read an extent.

    Parameters
    ----------
    text
        West, south, east and north in degrees, or two opposite corners with ``to`` between them.
    where
        The option that it came from.

    Returns
    -------
    West, south, east, north; a west above the east where the corners lie on either side of the 180th meridian.

    Raises
    ------
    InputError
        It can't be read.

    Examples
    --------
    >>> read_extent("-38.8 44.1 -38.2 44.6", "--extent")
    (-38.8, 44.1, -38.2, 44.6)
    >>> read_extent("36S 179W to 34S 179E", "--extent")
    (179.0, -36.0, -179.0, -34.0)
    """
    plain = text.strip()
    found = _FOUR.fullmatch(plain)
    if found is not None:
        west, south, east, north = (float(number) for number in found.groups())
        if south > north:
            remedy = "the order is west, south, east, north"
            raise InputError(where, "has its south above its north", value=plain, remedy=remedy)
        return west, south, east, north
    corners = re.split(r"\s+to\s+|\s*;\s*", plain)
    if len(corners) != 2:
        raise InputError(where, "can't be read", value=plain, remedy=_WANTED)
    (lon_a, lat_a), (lon_b, lat_b) = (read_position(corner, where) for corner in corners)
    south, north = sorted((lat_a, lat_b))
    west, east = sorted((lon_a, lon_b))
    if east - west > 180:  # the short way from one to the other crosses the 180th meridian
        west, east = east, west
    return west, south, east, north
