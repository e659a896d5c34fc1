"""What drawings of waters share: what one shows, where things are on it, land and lines, discs kept apart.

The guests' picture and the chart of the sheet are made with it. North is up; a drawing is 720 units wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from maps.geometry import simplified

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Points = NDArray[np.float64]

__all__ = ["M_PER_DEG", "NORTH_AT", "ROUND", "WIDTH", "View", "discs_apart", "land_within", "write_path"]

WIDTH = 720.0  # units across; on a phone one is half a pixel
ROUND = 23.0  # radius of a number's disc, of home's and of north's
NORTH_AT = (WIDTH - 34.0, 40.0)
M_PER_DEG = 111_195.0  # [m] one degree of latitude on a sphere of 6,371,008.8 m (the mean radius R1 of IUGG)
_LEAST_HIGH, _MOST_HIGH = 0.72, 1.05  # times the width
_APART = 3.0  # between discs
_SMALLEST_M = 1500.0  # [m] across: the picture never closes in further


@dataclass(frozen=True)
class View:
    """What the picture shows, and where on it things are.

    Parameters
    ----------
    west_deg, north_deg
        [deg] Its upper left corner.
    units_per_lon, units_per_lat
        Units of the picture to a degree.
    high
        Its height in units; its width is 720.
    """

    west_deg: float
    north_deg: float
    units_per_lon: float
    units_per_lat: float
    high: float

    @classmethod
    def around(cls, shapes: Sequence[Any]) -> View:
        """Choose a view that shows all of some shapes.

        Parameters
        ----------
        shapes
            [deg] Geometries.

        Returns
        -------
        The view, with a margin round them.
        """
        west, south, east, north = shapely.total_bounds(list(shapes))
        middle = (west + east) / 2, (south + north) / 2
        share = math.cos(math.radians(middle[1]))
        wide = max((east - west) * share, _SMALLEST_M / M_PER_DEG) * 1.12
        high = max(north - south, _SMALLEST_M / M_PER_DEG) * 1.12
        wide = max(wide, high / _MOST_HIGH)
        high = max(high, wide * _LEAST_HIGH)
        units = WIDTH / wide
        return cls(middle[0] - wide / share / 2, middle[1] + high / 2, units * share, units, round(high * units, 1))

    @property
    def metres_per_unit(self) -> float:
        """[m] One unit."""
        return M_PER_DEG / self.units_per_lat

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """[deg] West, south, east, north."""
        return (
            self.west_deg,
            self.north_deg - self.high / self.units_per_lat,
            self.west_deg + WIDTH / self.units_per_lon,
            self.north_deg,
        )

    def place(self, lonlat: Points) -> Points:
        """Find where positions are on the picture.

        Parameters
        ----------
        lonlat
            [deg] n x 2 longitudes and latitudes.

        Returns
        -------
        n x 2 units from its upper left corner, right and down.
        """
        moved = np.asarray(lonlat, dtype=np.float64) - (self.west_deg, self.north_deg)
        return np.asarray(moved * (self.units_per_lon, -self.units_per_lat))


def land_within(land: Sequence[Any], view: View) -> Any:
    """Take the land that a view shows, as finely as it can show it.

    Parameters
    ----------
    land
        [deg] Polygons.
    view
        The view.

    Returns
    -------
    [deg] One geometry.
    """
    within_m = max(20.0, 0.5 * view.metres_per_unit)
    shapes = [simplified(shape, within_m) for shape in land]
    return shapely.union_all([shapely.clip_by_rect(shapely.make_valid(shape), *view.bounds) for shape in shapes])


def discs_apart(spots: Points, view: View) -> Points:
    """Move discs apart until none lies on another, on home or on the sign of north; home stays where it is.

    Parameters
    ----------
    spots
        n x 2 units: where the discs belong, home first.
    view
        What the picture shows.

    Returns
    -------
    n x 2 units: where they are drawn.

    Notes
    -----
    Overlapping pairs push each other away in equal parts, again and again, from places a little apart; all stay inside
    the frame. Three hundred rounds settle a dozen discs at the size they have.
    """
    turns = np.arange(len(spots)) * 2.399963  # the golden angle, so that no two begin in the same direction
    discs = spots + np.column_stack([np.cos(turns), np.sin(turns)]) * 0.01
    discs[0] = np.clip(spots[0], ROUND + 2, (WIDTH - ROUND - 2, view.high - ROUND - 2))
    fixed = [0, len(spots)]
    discs = np.vstack([discs, NORTH_AT])
    least = 2 * ROUND + _APART
    for _ in range(300):
        moved = False
        for one, other in combinations(range(len(discs)), 2):
            away = discs[other] - discs[one]
            gap = math.hypot(*away)
            if gap >= least:
                continue
            moved = True
            push = away / max(gap, 1e-9) * (least - gap + 0.5)
            shares = (0.0, 1.0) if one in fixed else (1.0, 0.0) if other in fixed else (0.5, 0.5)
            discs[one] -= push * shares[0]
            discs[other] += push * shares[1]
        discs[1:-1] = np.clip(discs[1:-1], ROUND + 2, (WIDTH - ROUND - 2, view.high - ROUND - 2))
        if not moved:
            break
    return np.asarray(discs[:-1])


def write_path(shape: Any, view: View) -> str:
    """Write rings or lines as the data of an SVG path, to a hundredth of a unit.

    Parameters
    ----------
    shape
        [deg] A geometry; points in it are left out.
    view
        What the picture shows.

    Returns
    -------
    The path's data; empty where there is nothing.
    """
    written: list[str] = []
    for part in shapely.get_parts(shape):
        area = part.geom_type == "Polygon"
        for line in [part.exterior, *part.interiors] if area else [part]:
            if line.geom_type == "Point":
                continue
            corners = view.place(shapely.get_coordinates(line))
            points = "L".join(f"{x:.2f} {y:.2f}" for x, y in (corners[:-1] if area else corners))
            written.append(f"M{points}{'Z' if area else ''}")
    return "".join(written)
