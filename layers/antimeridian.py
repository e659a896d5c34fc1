"""Shapes that meet the 180th meridian: drawn out beyond it to compute on, cut at it to be kept.

Files and frames keep longitudes in [-180, 180] and cut at 180 whatever crosses it; what computes or draws wants them
to run on without a jump.

References
----------
.. [1] RFC 7946, section 3.1.9: what crosses the antimeridian is cut there; section 5.2: a box that crosses it has its
   west above its east. https://www.rfc-editor.org/rfc/rfc7946
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Points = NDArray[np.float64]

__all__ = ["goes_round", "lonlat_near", "the_short_way", "unwrap", "wrap"]

_HALF = 180.0  # [deg]
_ROUND = 360.0  # [deg]
_HAIR = 1e-9  # [deg] a tenth of a millimetre: nearer to the 180th meridian than this is on it
_POLE = 90.0  # [deg]

Shape = TypeVar("Shape", bound=Any)


def lonlat_near(lonlat: Points, middle_deg: float) -> Points:
    """[deg] Give each position the longitude that lies nearest to a middle.

    Parameters
    ----------
    lonlat
        [deg] n x 2, longitude first, within a turn and a half of the middle.
    middle_deg
        [deg] The middle.

    Returns
    -------
    n x 2; longitudes that lie within half a turn of it already are as they were, to the last bit.

    Examples
    --------
    >>> lonlat_near(np.array([[-179.0, 5.0], [179.0, 5.0]]), 180.0).tolist()
    [[181.0, 5.0], [179.0, 5.0]]
    """
    low, high = lonlat[:, 0] < middle_deg - _HALF, lonlat[:, 0] > middle_deg + _HALF
    if not (low.any() or high.any()):
        return lonlat
    moved = lonlat.copy()
    moved[low, 0] += _ROUND
    moved[high, 0] -= _ROUND
    return moved


def unwrap(shapes: Shape, middle_deg: float) -> Shape:
    """[deg] Draw shapes out beyond the 180th meridian, so that no longitude jumps near a middle.

    Parameters
    ----------
    shapes
        [deg] A geometry or an array of them on WGS 84.
    middle_deg
        [deg] The middle of what is looked at.

    Returns
    -------
    The same kind, every longitude within half a turn of the middle; parts that met at the 180th meridian are one.
    Shapes that lie so already are the same objects.

    Examples
    --------
    >>> parts = shapely.MultiPolygon([shapely.box(179, 0, 180, 1), shapely.box(-180, 0, -179, 1)])
    >>> unwrap(parts, 180.0).bounds
    (179.0, 0.0, 181.0, 1.0)
    """
    return _each(shapes, lambda whole: _strays(whole, middle_deg), lambda shape: _unwrapped(shape, middle_deg))  # type: ignore[no-any-return]


def wrap(shapes: Shape) -> Shape:
    """[deg] Bring shapes back to longitudes from -180 to 180, cut at the 180th meridian.

    Parameters
    ----------
    shapes
        [deg] A geometry or an array of them, drawn out less than a turn beyond it.

    Returns
    -------
    The same kind, or its collection where it was cut, the pieces of a line in their order. Shapes that lie within it
    already are the same objects.

    Examples
    --------
    >>> wrap(shapely.LineString([(179, 0), (181, 1)])).wkt
    'MULTILINESTRING ((179 0, 180 0.5), (-180 0.5, -179 1))'
    """
    return _each(shapes, lambda whole: _strays(whole, 0.0), _wrapped)  # type: ignore[no-any-return]


def goes_round(shape: Any) -> float | None:
    """[deg] Find an edge that runs over more than half of the world: one that was meant to cross the 180th meridian.

    Parameters
    ----------
    shape
        [deg] A geometry on WGS 84.

    Returns
    -------
    The latitude that it starts at; None where there is none. The frame of a map of the world, whose edges run from -180
    to 180, is none.

    Examples
    --------
    >>> goes_round(shapely.LineString([(179.5, -17), (-179.5, -16)]))
    -17.0
    >>> goes_round(shapely.box(-180, -90, 180, -70)) is None
    True
    """
    west, _, east, _ = shapely.bounds(shape)
    if not east - west > _HALF:
        return None
    for part in shapely.get_parts(shape):
        for ring in shapely.get_parts(shapely.boundary(part)) if part.geom_type == "Polygon" else [part]:
            points = shapely.get_coordinates(ring)
            far = np.abs(np.diff(points[:, 0]))
            wrong = np.flatnonzero((far > _HALF) & (far < _ROUND - _HAIR))
            if len(wrong):
                return float(points[wrong[0], 1])
    return None


def the_short_way(shape: Any) -> Any:
    """[deg] Mend a shape that was drawn over the 180th meridian without a cut: its long edges go the short way round.

    Parameters
    ----------
    shape
        [deg] A line, a polygon or a collection of either on WGS 84.

    Returns
    -------
    The shape, cut at the 180th meridian; None where a ring goes round a pole, so that nobody can tell what it holds.

    Examples
    --------
    >>> the_short_way(shapely.LineString([(179.5, -17), (-179.5, -16)])).wkt
    'MULTILINESTRING ((179.5 -17, 180 -16.5), (-180 -16.5, -179.5 -16))'
    """
    pieces: list[Any] = []
    for part in shapely.get_parts(shape):
        is_area = part.geom_type == "Polygon"
        rings = [_run_on(line) for line in ([part.exterior, *part.interiors] if is_area else [part])]
        if is_area:
            if any(ring[0, 0] != ring[-1, 0] for ring in rings):
                return None
            west, east = rings[0][:, 0].min(), rings[0][:, 0].max()
            holes = [_into(ring, (west + east) / 2) for ring in rings[1:]]
            whole = wrap(shapely.Polygon(rings[0], holes))
        else:
            whole = wrap(shapely.LineString(rings[0]))
        pieces += list(shapely.get_parts(whole))
    return pieces[0] if len(pieces) == 1 else _collected(pieces)


def _run_on(line: Any) -> Points:
    """[deg] Corners of a line with longitudes that never jump by more than half a turn."""
    points: Points = shapely.get_coordinates(line)
    turns = -_ROUND * np.round(np.diff(points[:, 0]) / _ROUND)
    points[1:, 0] += np.cumsum(turns)
    return points


def _into(ring: Points, middle_deg: float) -> Points:
    """[deg] Move a ring by whole turns to where it lies nearest to a middle."""
    own = (ring[:, 0].min() + ring[:, 0].max()) / 2
    return np.asarray(ring + np.array([_ROUND * np.round((middle_deg - own) / _ROUND), 0.0]))


def _each(shapes: Any, asked: Any, change: Any) -> Any:
    """Change those of some shapes that a question picks out; with none of them, return what came."""
    whole = np.asarray(shapes, dtype=object)
    if whole.ndim == 0:
        return change(shapes) if asked(whole.reshape(1))[0] else shapes
    picked = np.flatnonzero(asked(whole))
    if not len(picked):
        return shapes
    changed = whole.copy()
    for place in picked:
        changed[place] = change(whole[place])
    return changed


def _strays(whole: NDArray[np.object_], middle_deg: float) -> NDArray[np.bool_]:
    west, _, east, _ = shapely.bounds(whole).T  # NaN where empty: compares as false
    return np.asarray((west < middle_deg - _HALF) | (east > middle_deg + _HALF))


def _unwrapped(shape: Any, middle_deg: float) -> Any:
    west, _, east, _ = shapely.bounds(shape)
    seam = middle_deg - _HALF
    if east <= seam or west >= seam + _ROUND:
        return _moved(shape, _ROUND if east <= seam else -_ROUND)
    parts = [part for piece in _cut(shape, seam) for part in shapely.get_parts(piece)]
    return _joined(parts)


def _wrapped(shape: Any) -> Any:
    shape = shapely.transform(shape, _on_180)
    if not _strays(np.array([shape], dtype=object), 0.0)[0]:
        return shape
    parts = [part for piece in _cut(shape, -_HALF) for part in shapely.get_parts(piece)]
    return parts[0] if len(parts) == 1 else _collected(parts)


def _on_180(lonlat: Points) -> Points:
    """Put what lies a hair beside the 180th meridian on it."""
    lonlat = lonlat.copy()
    for edge in (-_HALF, _HALF):
        lonlat[np.abs(lonlat[:, 0] - edge) < _HAIR, 0] = edge
    return lonlat


def _cut(shape: Any, seam: float) -> list[Any]:
    """Cut a shape at a meridian and at every turn from it, and bring the pieces between it and the next turn."""
    if shape.geom_type in {"LineString", "MultiLineString"}:
        return [piece for part in shapely.get_parts(shape) for piece in _cut_line(part, seam)]
    if shape.geom_type in {"Point", "MultiPoint"}:
        moved = [
            _moved(point, -_ROUND * np.floor((point.x - seam) / _ROUND))
            if not seam <= point.x <= seam + _ROUND
            else point
            for point in shapely.get_parts(shape)
        ]
        return list(moved)
    if shape.geom_type not in {"Polygon", "MultiPolygon"}:
        return [piece for part in shape.geoms for piece in _cut(part, seam)]
    sound = shape if shape.is_valid else shapely.make_valid(shape)
    pieces = []
    for turn in (0.0, _ROUND, -_ROUND):
        strip = shapely.box(seam + turn, -_POLE - 1, seam + turn + _ROUND, _POLE + 1)
        inside = shapely.intersection(sound, strip)
        areas = [p for p in shapely.get_parts(shapely.get_parts(inside)) if p.geom_type == "Polygon" and p.area > 0]
        if areas:
            area = areas[0] if len(areas) == 1 else shapely.MultiPolygon(areas)
            pieces.append(_moved(area, -turn, (seam, seam + _ROUND)))
    return pieces


def _cut_line(line: Any, seam: float) -> list[Any]:
    """Cut a line where it crosses a meridian or a turn from it; pieces come in the line's order."""
    points = shapely.get_coordinates(line)
    turns = np.floor((points[:, 0] - seam) / _ROUND)
    walls = [seam + _ROUND * n for n in range(int(turns.min()), int(turns.max()) + 2)]
    pieces: list[Any] = []
    run, here = [points[0]], None  # the piece that is being drawn, and its turn as soon as that is known
    for a, b in pairwise(points):
        west, east = sorted((a[0], b[0]))
        between = sorted((wall for wall in walls if west < wall < east), reverse=bool(b[0] < a[0]))
        steps = [a, *(np.array([w, a[1] + (b[1] - a[1]) * (w - a[0]) / (b[0] - a[0])]) for w in between), b]
        for start, end in pairwise(steps):
            if start[0] != end[0] or start[0] not in walls:  # what runs along the meridian stays on its side
                turn = np.floor(((start[0] + end[0]) / 2 - seam) / _ROUND)
                if here is not None and turn != here:
                    pieces.append(_line(run, here, seam))
                    run = [start]
                here = turn
            run.append(end)
    return [*pieces, _line(run, turns[0] if here is None else here, seam)]


def _line(points: list[Points], turn: float, seam: float) -> Any:
    return _moved(shapely.LineString(points), -_ROUND * turn, (seam, seam + _ROUND))


def _moved(shape: Any, by_deg: float, within: tuple[float, float] | None = None) -> Any:
    """Move a shape along its parallels; corners that a hair puts outside of two meridians are put on them."""

    def move(lonlat: Points) -> Points:
        moved: Points = lonlat + np.array([by_deg, 0.0])
        for wall in within or ():
            moved[np.abs(moved[:, 0] - wall) < _HAIR, 0] = wall
        return moved

    return shapely.transform(shape, move)


def _joined(parts: list[Any]) -> Any:
    """Join parts that meet: areas, whose corners come in one order however they were cut; lines end to end."""
    kinds = {part.geom_type for part in parts}
    if len(parts) == 1:
        return parts[0]
    if kinds == {"Polygon"}:
        return shapely.orient_polygons(shapely.normalize(shapely.union_all(parts)), exterior_cw=False)
    if kinds == {"LineString"}:
        return shapely.line_merge(shapely.MultiLineString(parts), directed=True)
    return _collected(parts)


def _collected(parts: list[Any]) -> Any:
    kinds = {part.geom_type for part in parts}
    if kinds == {"Polygon"}:
        return shapely.MultiPolygon(parts)
    if kinds == {"LineString"}:
        return shapely.MultiLineString(parts)
    if kinds == {"Point"}:
        return shapely.MultiPoint(parts)
    return shapely.GeometryCollection(parts)
