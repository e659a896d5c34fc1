"""Joining docks, waypoints and positions to navigable water.

A dock lies inside the stand-off, so the last stretch is a straight approach of its own kind: it may cross the
stand-off, shoal or unsurveyed water, but never land, a no-entry zone or a low bridge, and it is marked as what it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.water import Water

__all__ = ["INSET_M", "Approach", "Attachment", "find_attachments"]

_STEP_M = 5.0  # [m] how finely the edge of the water is tried for a clear approach
INSET_M = 0.05  # [m] an entry lies this far inside the water, so that rounding to the grid leaves it there
_SHORE_M = 1.0  # [m] of an approach that may touch the shore it starts from
_MOST_PARTS = 3  # separate waters that one place is joined to at the most


@dataclass(frozen=True)
class Approach:
    """The straight stretch between a place and navigable water.

    Parameters
    ----------
    start
        [m] Where it leaves the place, in the plane; the nearest shore if the place lies on land.
    entry
        [m] Where it meets navigable water.
    crosses
        What it crosses that legs never do: any of `shoal`, `unsurveyed`, `hazard`.
    """

    start: tuple[float, float]
    entry: tuple[float, float]
    crosses: tuple[str, ...]


@dataclass(frozen=True)
class Attachment:
    """How one place is joined to navigable water.

    Parameters
    ----------
    approaches
        The nearest clear one for each separate water within the snap distance; empty if there is none.
    inland_m
        [m] How far on land the place lies; 0 on the water.
    why_not
        The reason where `approaches` is empty; else empty.
    """

    approaches: tuple[Approach, ...]
    inland_m: float
    why_not: str


def find_attachments(water: Water, places: Sequence[tuple[float, float]] | NDArray[np.float64]) -> list[Attachment]:
    """Join places to navigable water.

    Parameters
    ----------
    water
        The boat's water.
    places
        [m] n x 2 positions in the plane.

    Returns
    -------
    One attachment for each place.

    Notes
    -----
    The nearest entry is exact where nothing lies between; round an obstacle the edge is tried every 5 m.
    """
    xy = np.asarray(places, dtype=float).reshape(-1, 2)
    return [_attach(water, shapely.Point(p), water.margins.snap_nmi * METRES_PER_NMI) for p in xy]


def _attach(water: Water, place: shapely.Point, snap: float) -> Attachment:
    if water.plane.box().distance(place) > _SHORE_M:
        return Attachment((), 0.0, "outside the region's extent")
    window = (place.x - 2 * snap - 1, place.y - 2 * snap - 1, place.x + 2 * snap + 1, place.y + 2 * snap + 1)
    land = shapely.clip_by_rect(water.land, *window)
    start, inland = place, 0.0
    if land.intersects(place):
        start = shapely.Point(shapely.get_coordinates(shapely.shortest_line(place, land.boundary))[-1])
        inland = place.distance(start)
        if inland > snap:
            return Attachment((), inland, f"on land, over {snap / METRES_PER_NMI:g} nmi from the shore")
    shores = [p for p in shapely.get_parts(shapely.clip_by_rect(water.navigable, *window)) if p.area > 0]
    inner = [p.buffer(-INSET_M) for p in _whole_waters(water, shores)]
    barrier = shapely.clip_by_rect(water.barrier, *window)
    shapely.prepare(barrier)
    approaches = []
    blocked_nmi = float("inf")
    for part in inner:
        entry, nearest = _nearest_clear(start, part, barrier, snap)
        blocked_nmi = min(blocked_nmi, nearest / METRES_PER_NMI)
        if entry is not None:
            line = shapely.LineString([start, entry])
            crosses = tuple(
                reason
                for reason in ("shoal", "unsurveyed", "hazard")
                if reason in water.closed
                and shapely.clip_by_rect(water.closed[reason], *window).intersection(line).length > 1
            )
            approaches.append(Approach((start.x, start.y), (entry.x, entry.y), crosses))
    if approaches:
        approaches.sort(key=lambda a: shapely.Point(a.start).distance(shapely.Point(a.entry)))
        return Attachment(tuple(approaches[:_MOST_PARTS]), inland, "")
    if blocked_nmi > snap / METRES_PER_NMI:
        return Attachment(
            (), inland, f"no water deep and wide enough within {snap / METRES_PER_NMI:g} nmi{_culprits(water, place)}"
        )
    return Attachment(
        (), inland, f"land, a low bridge or a closed zone cuts it off from navigable water {blocked_nmi:.1f} nmi away"
    )


def _whole_waters(water: Water, clipped: list[shapely.Geometry]) -> list[shapely.Geometry]:
    """Group the clipped pieces by the separate water that they belong to."""
    parts = shapely.get_parts(water.navigable)
    tree = shapely.STRtree(parts)
    groups: dict[int, list[shapely.Geometry]] = {}
    for piece in clipped:
        owner = int(tree.query(piece.representative_point(), predicate="intersects")[0])
        groups.setdefault(owner, []).append(piece)
    return [shapely.union_all(pieces) for pieces in groups.values()]


def _nearest_clear(
    start: shapely.Point, part: shapely.Geometry, barrier: shapely.Geometry, snap: float
) -> tuple[shapely.Point | None, float]:
    """Find the nearest point of one water in a straight clear line, and [m] how near the water is at all."""
    if part.is_empty:
        return None, float("inf")
    foot = shapely.get_coordinates(shapely.shortest_line(start, part))[-1]
    nearest = float(start.distance(part))
    if nearest > snap:
        return None, nearest
    edge = shapely.get_coordinates(shapely.segmentize(part.boundary, _STEP_M))
    tried = np.vstack([foot, edge])
    away = np.hypot(*(tried - [start.x, start.y]).T)
    tried, away = tried[away <= snap], away[away <= snap]
    order = np.argsort(away, kind="stable")
    tried, away = tried[order], away[order]
    if away[0] < _SHORE_M:
        return shapely.Point(tried[0]), nearest
    origin = np.array([start.x, start.y])
    off = origin + (tried - origin) * (_SHORE_M / away)[:, None]
    clear = ~shapely.intersects(barrier, shapely.linestrings(np.stack([off, tried], axis=1)))
    return (shapely.Point(tried[int(np.argmax(clear))]) if clear.any() else None), nearest


def _culprits(water: Water, place: shapely.Point) -> str:
    """Name what closes the water around a place."""
    reasons = [reason for reason, shape in water.closed.items() if shape.distance(place) < water.margins.standoff_m]
    words = {"shoal": "too shallow", "unsurveyed": "unsurveyed", "hazard": "a hazard", "no-entry": "a no-entry zone"}
    return (
        f": the water there is {', '.join(words[r] for r in reasons)}" if reasons else ": too narrow for the stand-off"
    )
