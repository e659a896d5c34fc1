"""Questions about the finished coast: where a dock can stand, where a mark can float, where a bridge reaches land.

Everything is answered on the flat board, in nautical miles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from demo_region.plane import METRE_NMI, to_plane

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_region.depths import Partition

__all__ = ["Shore", "ring_about", "survey_shore"]

_CLEAR_OF_SHORE_NMI: Final = 75.0 * METRE_NMI  # a little more than the planner's own stand-off of 50 m
_QUAY_OFF_NMI: Final = 30.0 * METRE_NMI  # a dock stands this far out from the shore line
_DEEP_ENOUGH_M: Final = 2.0  # a day boat floats here with water to spare
_QUAY_SEARCH_NMI: Final = 6.0
_APPROACH_NMI: Final = 0.3  # less than the planner's own 0.5 nmi


@dataclass(frozen=True, eq=False)
class Shore:
    """The coast as the other parts of the region ask about it.

    Parameters
    ----------
    land
        [nmi] All land, as one geometry of the board.
    open_water
        [nmi] Water that joins the open sea, deep enough for a day boat and clear of the shore.
    """

    land: Any
    open_water: Any

    def find_quay(self, near_nmi: tuple[float, float], *, reachable: bool = True) -> tuple[float, float]:
        """Find the place on the water's edge, nearest to a wish, where a fuel dock can stand.

        Parameters
        ----------
        near_nmi
            [nmi] The wish.
        reachable
            Whether a straight approach from open water must exist.

        Returns
        -------
        [nmi] A point in the water, a boat's length or three from the shore line.

        Raises
        ------
        LookupError
            There is no such place within six miles; carries the wish.
        """
        import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

        wish = np.array(near_nmi)
        reach = shapely.box(*(wish - _QUAY_SEARCH_NMI), *(wish + _QUAY_SEARCH_NMI))
        pieces = shapely.get_parts(shapely.intersection(shapely.boundary(self.land), reach))
        places: list[tuple[float, float, float]] = []
        for piece in pieces:
            line = shapely.get_coordinates(piece)
            for begin, end in pairwise(line):
                along = end - begin
                length = float(np.hypot(*along))
                if length < 2 * _QUAY_OFF_NMI:
                    continue
                across = np.array([along[1], -along[0]]) / length * _QUAY_OFF_NMI
                for side in (across, -across):
                    place = 0.5 * (begin + end) + side
                    places.append((round(float(np.hypot(*(place - wish))), 9), float(place[0]), float(place[1])))
        for _, x_nmi, y_nmi in sorted(places):
            spot = shapely.Point(x_nmi, y_nmi)
            if shapely.intersects(self.land, spot):
                continue
            if not reachable:
                return x_nmi, y_nmi
            approach = shapely.shortest_line(spot, self.open_water)
            if approach.length < _APPROACH_NMI and not shapely.intersects(self.land, approach):
                return x_nmi, y_nmi
        raise LookupError("no shore for a dock near", near_nmi)

    def float_at(self, near_nmi: tuple[float, float]) -> tuple[float, float]:
        """Return the wish where it lies in open water, else the nearest open water.

        Parameters
        ----------
        near_nmi
            [nmi] The wish.

        Returns
        -------
        [nmi] A point that a boat can reach.
        """
        import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

        wish = shapely.Point(near_nmi)
        if shapely.covers(self.open_water, wish):
            return near_nmi
        edge = shapely.get_coordinates(shapely.shortest_line(wish, self.open_water))[-1]
        away = edge - np.array(near_nmi)
        inward = edge + away / max(float(np.hypot(*away)), 1e-9) * 0.02
        best = inward if shapely.covers(self.open_water, shapely.Point(inward)) else edge
        return float(best[0]), float(best[1])

    def span(self, middle_nmi: tuple[float, float], bearing_deg: float) -> NDArray[np.float64]:
        """Find the line through a point in the water from land to land.

        Parameters
        ----------
        middle_nmi
            [nmi] The point.
        bearing_deg
            [deg] The line's direction, clockwise from north.

        Returns
        -------
        [nmi] Two points, each a few metres inside the land.

        Raises
        ------
        LookupError
            The point lies on land, or there is no land that way within four miles; carries the point.
        """
        import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

        if shapely.intersects(self.land, shapely.Point(middle_nmi)):
            raise LookupError("the middle of a bridge lies on land", middle_nmi)
        way = np.array([math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))])
        ends = []
        for sign in (-1.0, 1.0):
            ray = shapely.LineString([middle_nmi, np.array(middle_nmi) + sign * 4.0 * way])
            met = shapely.intersection(ray, self.land)
            if met.is_empty:
                raise LookupError("no land at the end of a bridge", middle_nmi)
            off_nmi = shapely.distance(shapely.Point(middle_nmi), met) + 25.0 * METRE_NMI
            ends.append(np.array(middle_nmi) + sign * off_nmi * way)
        return np.array(ends)


def survey_shore(partition: Partition) -> Shore:
    """Look at the finished partition once, for all the questions that follow.

    Parameters
    ----------
    partition
        Land and depth rows.

    Returns
    -------
    The answers' ground.
    """
    import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

    land = shapely.union_all(shapely.transform(np.array(partition.land), to_plane))
    deep = [row.polygon for row in partition.depth if row.min_depth_m >= _DEEP_ENOUGH_M]
    water = shapely.union_all(shapely.transform(np.array(deep), to_plane))
    clear = shapely.get_parts(shapely.buffer(water, -_CLEAR_OF_SHORE_NMI, quad_segs=2))
    open_water = max(clear, key=lambda part: float(part.area))
    shapely.prepare(land)
    shapely.prepare(open_water)
    return Shore(land, open_water)


def ring_about(middle_nmi: tuple[float, float], radius_nmi: float, corners: int = 16) -> NDArray[np.float64]:
    """Return a regular ring about a point.

    Parameters
    ----------
    middle_nmi
        [nmi] The point.
    radius_nmi
        [nmi] How far the corners lie from it.
    corners
        How many there are.

    Returns
    -------
    [nmi] The ring anticlockwise, the first point repeated last.
    """
    angle = np.arange(corners) * (2 * math.pi / corners)
    ring = np.column_stack([np.cos(angle), np.sin(angle)]) * radius_nmi + np.array(middle_nmi)
    return np.vstack([ring, ring[:1]])
