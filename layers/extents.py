"""Extents: the smallest that holds some boxes on a round world, rounded outwards, and how long it is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from pyproj import Geod

from layers.plane import METRES_PER_NMI

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Extent = tuple[float, float, float, float]

__all__ = ["LONGEST_NMI", "extent_around", "rounded_outwards", "wide_nmi"]

LONGEST_NMI = 1_500.0  # [nmi] from corner to corner: in longer waters one plane bends lengths and stand-offs too much

_GEOD = Geod(ellps="WGS84")


def extent_around(boxes: NDArray[np.float64]) -> Extent:
    """[deg] Return the narrowest extent that holds some boxes.

    Parameters
    ----------
    boxes
        [deg] n x 4: west, south, east, north of each; at least one.

    Returns
    -------
    Extent
        West, south, east, north; a west above the east where the widest gap lies round the other side.

    Examples
    --------
    >>> extent_around(np.array([[178.0, -40, 179, -39], [-179.5, -41, -179, -40]]))
    (178.0, -41.0, -179.0, -39.0)
    """
    south, north = float(boxes[:, 1].min()), float(boxes[:, 3].max())
    runs: list[list[float]] = []
    for west, east in sorted((float(box[0]), float(box[2])) for box in boxes):
        if runs and west <= runs[-1][1]:
            runs[-1][1] = max(runs[-1][1], east)
        else:
            runs.append([west, east])
    gaps = [after[0] - before[1] for before, after in zip(runs, [*runs[1:], [runs[0][0] + 360, 0.0]], strict=True)]
    widest = int(np.argmax(gaps))
    if widest == len(runs) - 1 or gaps[widest] < 180:
        return runs[0][0], south, runs[-1][1], north
    return runs[widest + 1][0], south, runs[widest][1], north


def rounded_outwards(extent: Extent, step_deg: float) -> Extent:
    """[deg] Round an extent outwards.

    Parameters
    ----------
    extent
        [deg] West, south, east, north.
    step_deg
        [deg] To multiples of this.

    Returns
    -------
    Extent
        At most a step wider on each side, and within the world.

    Examples
    --------
    >>> rounded_outwards((-38.412, 44.315, -38.2, 44.51), 0.05)
    (-38.45, 44.3, -38.2, 44.55)
    """
    west, south, east, north = extent
    low = [_stepped(edge, step_deg, math.floor) for edge in (west, south)]
    high = [_stepped(edge, step_deg, math.ceil) for edge in (east, north)]
    return max(low[0], -180.0), max(low[1], -90.0), min(high[0], 180.0), min(high[1], 90.0)


def _stepped(edge: float, step: float, toward: object) -> float:
    """Round to a multiple; what lies a hair beside one is on it."""
    nearest = round(edge / step)
    if abs(edge / step - nearest) < 1e-6:
        return round(nearest * step, 9)
    return round((math.floor if toward is math.floor else math.ceil)(edge / step) * step, 9)


def wide_nmi(extent: Extent) -> float:
    """[nmi] Tell how long an extent is from corner to corner.

    Parameters
    ----------
    extent
        [deg] West, south, east, north.

    Returns
    -------
    float
        Along the ground; for an extent of more than half the world round, half the world.
    """
    west, south, east, north = extent
    if (east - west) % 360 > 180 or east - west >= 360:
        return _GEOD.a * math.pi / METRES_PER_NMI
    return float(_GEOD.inv(west, south, east, north)[2]) / METRES_PER_NMI
