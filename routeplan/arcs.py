"""What eyes see, cut off at a geodesic distance: sectors of water become polygons with inscribed arcs.

The plane is conformal, so a geodesic circle is nearly a circle in it, but not quite: over a day's range its radius
differs by some metres from one direction to another. Every corner of an arc is therefore set by the geodesic itself,
and every chord lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.wedges import cross

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from layers.plane import Plane
    from routeplan.wedges import Sectors

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["Disks", "narrowest_scale", "sector_polygons", "widest_scale"]

_HAIR_STEPS = 2  # of the grid: arcs lie so far inside the distance, and rounding never claims a point beyond it
_LEAST_SAGITTA_M = 0.02  # [m] finer arcs than this aren't drawn
_WIDEST_STEP = 0.5  # [rad] between two corners of an arc, however small it is
_SAME_M = 0.005  # [m] corners nearer than this are one
_EXACT = 1e-9  # relative: a radius that is so near to the geodesic's is not corrected again
_MOST_ROUNDS = 6
_SCALE_SLACK = 1e-3  # relative: how far scales may lie beyond those sampled on the extent
_SAMPLES = 9  # by side of the extent, for its scales


@dataclass(frozen=True, eq=False)
class Disks:
    """Eyes and how far each of them reaches.

    Parameters
    ----------
    plane
        The region's plane.
    centre
        [m] n x 2 positions in the plane.
    radius_nmi
        [nmi] Geodesic distances.
    scale
        Metres of the plane to a metre on the ground, at each eye.
    hair_m
        [m] How far inside the distance arcs are drawn.
    """

    plane: Plane
    centre: Points
    radius_nmi: Points
    scale: Points
    hair_m: float

    @classmethod
    def of(cls, plane: Plane, centre: Points, radius_nmi: Points, grid_m: float) -> Disks:
        """Measure the plane's scale at each eye.

        Parameters
        ----------
        plane
            The region's plane.
        centre
            [m] n x 2 positions.
        radius_nmi
            [nmi] Geodesic distances.
        grid_m
            [m] Step of the grid that corners are put on in the end.

        Returns
        -------
        The disks.
        """
        step = np.array([100.0, 0.0])
        ground_nmi = plane.lengths_nmi(centre - step, centre + step)
        return cls(plane, centre, radius_nmi, 200.0 / (ground_nmi * METRES_PER_NMI), _HAIR_STEPS * grid_m)

    def lengths_nmi(self, eye: Indices, points: Points) -> Points:
        """[nmi] Geodesic lengths from eyes.

        Parameters
        ----------
        eye
            Index of the eye of each point.
        points
            [m] n x 2, as seen from the eye.

        Returns
        -------
        n lengths.
        """
        centre = self.centre[eye]
        return self.plane.lengths_nmi(centre, centre + points)


def widest_scale(plane: Plane) -> float:
    """Return the most metres of a plane to a metre on the ground, anywhere on its extent.

    Parameters
    ----------
    plane
        The plane.

    Returns
    -------
    A bound from above.
    """
    return _scales(plane)[1]


def narrowest_scale(plane: Plane) -> float:
    """Return the fewest metres of a plane to a metre on the ground, anywhere on its extent.

    Parameters
    ----------
    plane
        The plane.

    Returns
    -------
    A bound from below.
    """
    return _scales(plane)[0]


def sector_polygons(
    disks: Disks, sectors: Sectors, grid_m: float, tolerance_m: float
) -> tuple[NDArray[np.object_], Indices]:
    """Draw what eyes see within their distances.

    Parameters
    ----------
    disks
        The eyes.
    sectors
        What they see, closed or out of range.
    grid_m
        [m] Step of the sectors' grid.
    tolerance_m
        [m] How far the chords of an arc may lie inside it; 5 cm at the least.

    Returns
    -------
    Polygons in the plane, one for sectors of an eye that touch one another, and the index of the eye of each.
    """
    if not len(sectors.eye):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.int64)
    runs = _Runs.of_sectors(sectors)
    pieces = _pieces(disks, sectors, runs, grid_m)
    run, points, is_arc = _corners(disks, pieces, runs, tolerance_m)
    arcs = np.flatnonzero(is_arc)
    points[arcs] = _on_circle(disks, runs.eye[run[arcs]], points[arcs])
    return _rings(disks, runs, run, points)


@dataclass(frozen=True, eq=False)
class _Runs:
    """Sectors that touch one another: each run becomes one polygon.

    Parameters
    ----------
    of
        The run of each sector.
    eye
        The eye of each run.
    around
        Which runs go all round their eye.
    """

    of: Indices
    eye: Indices
    around: NDArray[np.bool_]

    @classmethod
    def of_sectors(cls, sectors: Sectors) -> _Runs:
        """Divide sectors where the eye changes, or where the next doesn't begin at the last one's limit."""
        begins = np.ones(len(sectors.eye), dtype=bool)
        begins[1:] = (sectors.eye[1:] != sectors.eye[:-1]) | (sectors.right[1:] != sectors.left[:-1]).any(axis=1)
        heads = np.flatnonzero(begins)
        tails = np.append(heads[1:], len(begins)) - 1
        around = (sectors.right[heads] == sectors.left[tails]).all(axis=1)
        return cls(np.cumsum(begins) - 1, sectors.eye[heads], around)


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Boundary of what eyes see, in order: stretches of edges, and arcs from direction to direction.

    Parameters
    ----------
    run
        Of each piece.
    first, last
        [m] Ends as seen from the eye; of an arc only their directions count.
    is_arc
        Which are arcs.
    """

    run: Indices
    first: Points
    last: Points
    is_arc: NDArray[np.bool_]


@lru_cache(maxsize=8)
def _scales(plane: Plane) -> tuple[float, float]:
    """Bound the plane's scales on its extent from below and above."""
    west, south, east, north = plane.box().bounds
    grid = np.stack(np.meshgrid(np.linspace(west, east, _SAMPLES), np.linspace(south, north, _SAMPLES)), axis=-1)
    at = grid.reshape(-1, 2)
    step = np.array([100.0, 0.0])
    scale = 200.0 / (plane.lengths_nmi(at - step, at + step) * METRES_PER_NMI)
    return float(scale.min() * (1 - _SCALE_SLACK)), float(scale.max() * (1 + _SCALE_SLACK))


def _pieces(disks: Disks, sectors: Sectors, runs: _Runs, grid_m: float) -> _Pieces:
    """Cut each sector's edge with its eye's circle."""
    count = len(sectors.eye)
    eye, a, b = sectors.eye, sectors.a * grid_m, sectors.b * grid_m
    along = b - a
    area = cross(a, b)
    with np.errstate(divide="ignore", invalid="ignore"):
        first = sectors.right * (area / cross(sectors.right, along))[:, None]
        last = sectors.left * (area / cross(sectors.left, along))[:, None]
    closed = ~sectors.open
    first[sectors.open], last[sectors.open] = sectors.right[sectors.open], sectors.left[sectors.open]
    whole = last - first
    share = np.clip(-(first * whole).sum(axis=1) / np.maximum((whole**2).sum(axis=1), 1e-12), 0.0, 1.0)
    nearest = first + whole * share[:, None]
    reached = closed.copy()
    reached[closed] = _is_inside(disks, eye[closed], nearest[closed])
    starts_in, ends_in = reached.copy(), reached.copy()
    starts_in[reached] = _is_inside(disks, eye[reached], first[reached])
    ends_in[reached] = _is_inside(disks, eye[reached], last[reached])
    begin, end = first.copy(), last.copy()
    cut = reached & ~starts_in
    begin[cut] = _crossing(disks, eye[cut], nearest[cut], first[cut])
    cut = reached & ~ends_in
    end[cut] = _crossing(disks, eye[cut], nearest[cut], last[cut])
    # three pieces to a sector: an arc up to the edge, the edge, an arc on; where no edge is met, one arc
    kept = np.column_stack([~starts_in, reached, reached & ~ends_in]).ravel()
    is_arc = np.column_stack([np.ones(count, bool), np.zeros(count, bool), np.ones(count, bool)]).ravel()[kept]
    arc_end = np.where(reached[:, None], begin, last)
    firsts = np.stack([first, begin, end], axis=1).reshape(-1, 2)[kept]
    lasts = np.stack([arc_end, end, last], axis=1).reshape(-1, 2)[kept]
    return _Pieces(np.repeat(runs.of, 3)[kept], firsts, lasts, is_arc)


def _is_inside(disks: Disks, eye: Indices, points: Points) -> NDArray[np.bool_]:
    """Tell which points lie within their eye's distance; the geodesic is asked only where the plane leaves a doubt."""
    narrow, wide = _scales(disks.plane)
    away = np.hypot(points[:, 0], points[:, 1])
    radius = disks.radius_nmi[eye] * METRES_PER_NMI
    inside = away < radius * narrow
    doubtful = np.flatnonzero(~inside & (away <= radius * wide))
    inside[doubtful] = disks.lengths_nmi(eye[doubtful], points[doubtful]) <= disks.radius_nmi[eye[doubtful]]
    return inside


def _crossing(disks: Disks, eye: Indices, inner: Points, outer: Points) -> Points:
    """[m] Find where stretches from inside a circle to outside of it leave it, a hair inside."""
    if not len(eye):
        return inner
    radius = disks.radius_nmi[eye]
    along = outer - inner
    squared, middle = (along**2).sum(axis=1), (inner * along).sum(axis=1)
    inner_squared = (inner**2).sum(axis=1)
    reach = radius * METRES_PER_NMI * disks.scale[eye]
    share = np.zeros(len(eye))
    for _ in range(_MOST_ROUNDS):
        root = np.sqrt(np.maximum(middle**2 + squared * (reach**2 - inner_squared), 0.0))
        share = np.clip((root - middle) / np.maximum(squared, 1e-12), 0.0, 1.0)
        found = inner + along * share[:, None]
        ratio = radius / np.maximum(disks.lengths_nmi(eye, found), 1e-12)
        if bool((np.abs(ratio - 1) < _EXACT).all()):
            break
        reach = np.hypot(found[:, 0], found[:, 1]) * ratio
    share = np.maximum(share - disks.hair_m / np.sqrt(np.maximum(squared, 1e-12)), 0.0)
    return np.asarray(inner + along * share[:, None])


def _corners(
    disks: Disks, pieces: _Pieces, runs: _Runs, tolerance_m: float
) -> tuple[Indices, Points, NDArray[np.bool_]]:
    """Lay the corners of all boundaries out in order; those of arcs as directions only."""
    joined = np.zeros(len(pieces.run), dtype=bool)  # an arc that goes on where another ended
    joined[1:] = pieces.is_arc[1:] & pieces.is_arc[:-1] & (pieces.run[1:] == pieces.run[:-1])
    line = np.cumsum(~joined) - 1
    head = np.flatnonzero(~joined)
    turned = np.abs(np.arctan2(cross(pieces.first, pieces.last), (pieces.first * pieces.last).sum(axis=1)))
    angle = np.bincount(line, weights=turned)
    run, is_arc = pieces.run[head], pieces.is_arc[head]
    radius = np.maximum(disks.radius_nmi[runs.eye[run]] * METRES_PER_NMI, 1e-6)
    sagitta = max(tolerance_m - 1.5 * disks.hair_m, _LEAST_SAGITTA_M)
    step = np.minimum(2 * np.arccos(np.maximum(1 - sagitta / radius, np.cos(_WIDEST_STEP / 2))), _WIDEST_STEP)
    chords = np.where(is_arc, np.maximum(np.ceil(angle / step), 1), 1).astype(np.int64)
    of = np.repeat(np.arange(len(head)), chords + 1)
    place = np.arange(len(of)) - np.repeat(np.cumsum(chords + 1) - (chords + 1), chords + 1)
    tail = np.append(head[1:], len(pieces.run)) - 1
    share = place / chords[of]
    heading = np.arctan2(pieces.first[head, 1], pieces.first[head, 0])[of] + angle[of] * share
    points = np.column_stack([np.cos(heading), np.sin(heading)])
    straight = ~is_arc[of]
    ends = np.where((place == 0)[:, None], pieces.first[head[of]], pieces.last[tail[of]])
    points[straight] = ends[straight]
    return run[of], points, ~straight


def _on_circle(disks: Disks, eye: Indices, directions: Points) -> Points:
    """[m] Go from eyes in directions as far as they reach, less a hair."""
    if not len(eye):
        return directions
    radius = disks.radius_nmi[eye]
    reach = radius * METRES_PER_NMI * disks.scale[eye]
    for _ in range(_MOST_ROUNDS):
        ratio = radius / np.maximum(disks.lengths_nmi(eye, directions * reach[:, None]), 1e-12)
        reach = reach * ratio
        if bool((np.abs(ratio - 1) < _EXACT).all()):
            break
    return directions * np.maximum(reach - disks.hair_m, 0.0)[:, None]


def _rings(disks: Disks, runs: _Runs, run: Indices, points: Points) -> tuple[NDArray[np.object_], Indices]:
    """Make polygons of corners; an eye that doesn't see all round is a corner itself."""
    own = np.flatnonzero(~runs.around)
    owner = np.concatenate([run, own])
    order = np.argsort(owner, kind="stable")
    owner = owner[order]
    xy = np.vstack([points, np.zeros((len(own), 2))])[order] + disks.centre[runs.eye[owner]]
    fresh = np.ones(len(xy), dtype=bool)
    fresh[1:] = (owner[1:] != owner[:-1]) | (np.abs(xy[1:] - xy[:-1]).max(axis=1) > _SAME_M)
    owner, xy = owner[fresh], xy[fresh]
    good = (np.bincount(owner, minlength=len(runs.eye)) >= 3)[owner]
    owner, xy = owner[good], xy[good]
    if not len(owner):
        return np.empty(0, dtype=object), np.empty(0, dtype=np.int64)
    drawn, number = np.unique(owner, return_inverse=True)
    polygons: Any = shapely.polygons(shapely.linearrings(xy, indices=number))
    bad = ~shapely.is_valid(polygons)
    polygons[bad] = shapely.make_valid(polygons[bad])
    return np.asarray(polygons), runs.eye[drawn]
