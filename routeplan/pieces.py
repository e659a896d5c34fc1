"""Straight stretches cut where the current or the speed limit changes: pieces over which both can be taken as one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.currents import Currents
    from routeplan.water import Water

    Vector = NDArray[np.float64]

__all__ = ["Pieces", "apart", "cut"]

_SAME_SPOT_M = 1.0  # [m] cuts nearer than this to one another or to an end are rounding


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of straight stretches, in order.

    Parameters
    ----------
    stretch
        Index of the stretch that each belongs to.
    a, b
        [m] k x 2 ends in the plane.
    nmi
        [nmi] Geodesic lengths.
    course_deg
        [deg] True courses in their middles.
    area
        Index of the speed area that each lies in; -1 in open water.
    moving
        Whether a current may be known on it.
    """

    stretch: NDArray[np.int64]
    a: Vector
    b: Vector
    nmi: Vector
    course_deg: Vector
    area: NDArray[np.int64]
    moving: NDArray[np.bool_]

    @property
    def middles(self) -> Vector:
        """[m] k x 2 middles, where the current is taken."""
        return (self.a + self.b) / 2


def cut(water: Water, currents: Currents | None, a: Vector, b: Vector, longest_m: float = 0.0) -> Pieces:
    """Cut straight stretches.

    Parameters
    ----------
    water
        Its speed limits.
    currents
        Where they begin, end and vary; None for none.
    a, b
        [m] n x 2 ends in the plane.
    longest_m
        [m] How long a piece may be where the current varies from place to place, if that is more than
        `Currents.cell_m`.

    Returns
    -------
    Their pieces: at most so long where the current varies from place to place.

    Notes
    -----
    A current that varies is taken at a piece's middle, which is right to the second order of the piece's length.
    """
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    length_m = np.hypot(*(b - a).T)
    touched = np.zeros(len(lines), dtype=bool)
    covered = None if currents is None else currents.covered
    edges = [area.shape.boundary for area in water.speed_areas if np.isfinite(area.limit_kn)]
    for shape in edges:
        touched |= _crosses(shape, lines)
    if currents is not None and covered is not None:
        moved = shapely.intersects(covered, lines)
        touched |= moved
        edges.append(currents.edges)
    touched &= length_m > _SAME_SPOT_M
    rows = np.flatnonzero(touched)
    crossed, line_of = np.empty((0, 2)), np.empty(0, dtype=int)
    if len(rows):
        met = shapely.intersection(lines[rows], shapely.union_all(edges))
        crossed, line_of = shapely.get_coordinates(met, return_index=True)
    at = np.hypot(*(crossed - a[rows[line_of]]).T) / length_m[rows[line_of]] if len(rows) else np.empty(0)
    cuts = np.split(at, np.cumsum(np.bincount(line_of, minlength=len(rows)))[:-1]) if len(rows) else []
    varying = np.zeros(len(lines), dtype=bool)
    if currents is not None and len(rows):
        varying[rows] = shapely.intersects(currents.varying, lines[rows])
    whole = np.array([0.0, 1.0])
    shares = [whole] * len(lines)
    for i, inner in zip(rows.tolist(), cuts, strict=True):
        ends = apart(inner, float(_SAME_SPOT_M / length_m[i])) if len(inner) else whole
        if varying[i] and currents is not None:
            ends = _divided(ends, a[i], b[i], currents, max(longest_m, currents.cell_m))
        shares[i] = ends
    stretch = np.repeat(np.arange(len(lines)), [len(s) - 1 for s in shares])
    from_share = np.concatenate([s[:-1] for s in shares])[:, None]
    to_share = np.concatenate([s[1:] for s in shares])[:, None]
    start, along = a[stretch], (b - a)[stretch]
    begin, end = start + along * from_share, start + along * to_share
    middles = (begin + end) / 2
    moving = np.zeros(len(stretch), dtype=bool)
    if covered is not None:
        moving = shapely.intersects_xy(covered, middles)
    return Pieces(
        stretch,
        begin,
        end,
        water.plane.lengths_nmi(begin, end),
        water.plane.courses_deg(middles, end),
        _areas_at(water, middles),
        moving,
    )


def _crosses(shape: shapely.Geometry, lines: NDArray[np.object_]) -> NDArray[np.bool_]:
    shapely.prepare(shape)
    return np.asarray(shapely.intersects(shape, lines))


def apart(shares: Vector, least: float) -> Vector:
    """Put shares of a stretch at which it is cut in order.

    Parameters
    ----------
    shares
        [share] In any order, from 0 to 1.
    least
        [share] The shortest piece that is cut off.

    Returns
    -------
    From 0 to 1, both ends among them, without those that lie nearer to one another or to an end than that.
    """
    kept = [0.0]
    for share in sorted(shares.tolist()):
        if share - kept[-1] >= least and 1.0 - share >= least:
            kept.append(share)
    return np.array([*kept, 1.0])


def _divided(ends: Vector, a: Vector, b: Vector, currents: Currents, longest_m: float) -> Vector:
    """Divide the pieces that lie where the current varies."""
    middles = a + (b - a) * ((ends[:-1] + ends[1:]) / 2)[:, None]
    varying = shapely.intersects_xy(currents.varying, middles)
    lengths_m = np.diff(ends) * np.hypot(*(b - a))
    counts = np.where(varying, np.maximum(1, np.ceil(lengths_m / longest_m)), 1).astype(int)
    parts = [np.linspace(ends[i], ends[i + 1], counts[i] + 1)[:-1] for i in range(len(counts))]
    return np.concatenate([*parts, [1.0]])


def _areas_at(water: Water, points: Vector) -> NDArray[np.int64]:
    """Tell in which speed area each of some points lies; the slowest where several overlap."""
    found = np.full(len(points), -1)
    limit = np.full(len(points), np.inf)
    for index, area in enumerate(water.speed_areas):
        shapely.prepare(area.shape)
        inside = shapely.intersects_xy(area.shape, points) & ((area.limit_kn < limit) | (found < 0))
        found[inside] = index
        limit[inside] = area.limit_kn
    return found
