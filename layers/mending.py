"""Fit shapes to a region: longitudes from -180 to 180, sound, cut to its window; each change is counted."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.antimeridian import goes_round, the_short_way, wrap
from layers.errors import InputError
from layers.shapes import object_array, what_is_wrong

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Extent = tuple[float, float, float, float]

__all__ = ["SLIVER_M2", "Fitted", "Mend", "area_m2", "fit_shapes", "window_of"]

SLIVER_M2 = 1.0  # [m2] what is smaller is left over from cutting and mending: no chart draws it
_AUTHALIC_RADIUS_M = 6_371_007.2  # [m] of the sphere with the ellipsoid's surface: EPSG Guidance Note 7-2 (memory)


@dataclass(frozen=True)
class Mend:
    """One shape that was made sound.

    Parameters
    ----------
    place
        Its place among the shapes, from 0.
    problem
        What was wrong.
    before_m2
        [m2] Its area before.
    after_m2
        [m2] Its area after.
    """

    place: int
    problem: str
    before_m2: float
    after_m2: float


@dataclass
class Fitted:
    """Shapes fitted to a window.

    Parameters
    ----------
    shapes
        As many as before; None where nothing of one lies in the window.
    mends
        Those that were made sound.
    outside
        Places of those that lie outside, from 0.
    cut
        How many were cut at the window's edge.
    slivers
        How many parts smaller than `SLIVER_M2` were left out.
    turned
        How many were brought back from longitudes beyond 180.
    """

    shapes: NDArray[np.object_]
    mends: list[Mend] = field(default_factory=list)
    outside: list[int] = field(default_factory=list)
    cut: int = 0
    slivers: int = 0
    turned: int = 0


def window_of(extent: Extent, margin_deg: float = 0.0) -> Any:  # a shapely geometry
    """[deg] Return what an extent covers, within longitudes from -180 to 180.

    Parameters
    ----------
    extent
        [deg] West, south, east, north; a west above the east crosses the 180th meridian.
    margin_deg
        [deg] How much wider the window is on all sides.

    Returns
    -------
    shapely.Polygon or shapely.MultiPolygon
        One box, or one on either side of the 180th meridian.

    Examples
    --------
    >>> window_of((170, -48, -170, -30)).geom_type
    'MultiPolygon'
    """
    west, south, east, north = extent
    east += 360 if east < west else 0
    low, high = max(south - margin_deg, -90.0), min(north + margin_deg, 90.0)
    if east - west + 2 * margin_deg >= 360:
        return shapely.box(-180, low, 180, high)
    return wrap(shapely.box(west - margin_deg, low, east + margin_deg, high))


def area_m2(shape: Any) -> float:
    """[m2] Reckon an area on the sphere that has the earth's surface.

    Parameters
    ----------
    shape
        [deg] A geometry on WGS 84; its edges are taken as straight in longitude and the sine of latitude.

    Returns
    -------
    float
        Within a part in a hundred: the ellipsoid is flatter than the sphere.

    Examples
    --------
    >>> round(area_m2(shapely.box(0, 0, 1, 1)) / 1e6)  # a degree by a degree at the equator is 12,309 km2 (WGS 84)
    12364
    """

    def flat(lonlat: NDArray[np.float64]) -> NDArray[np.float64]:
        return _AUTHALIC_RADIUS_M * np.column_stack([np.radians(lonlat[:, 0]), np.sin(np.radians(lonlat[:, 1]))])

    return float(shapely.area(shapely.transform(shape, flat)))


def fit_shapes(
    shapes: NDArray[np.object_],
    window: Any,
    where: Callable[[int], str],
    progress: Callable[[float], None] | None = None,
) -> Fitted:
    """Fit shapes to a window.

    Parameters
    ----------
    shapes
        [deg] A geometry for every row, or None.
    window
        [deg] What to keep, from `window_of`.
    where
        Names a row, for messages.
    progress
        Told the share that is done.

    Returns
    -------
    Fitted
        Polygons cut to the window; lines and points whole if they touch it. What isn't finite or lies beyond a pole is
        left as it is for the checker to tell.

    Raises
    ------
    InputError
        A shape can't be cut.
    """
    out = Fitted(object_array(shapely.force_2d(shapes)))
    bounds = shapely.bounds(out.shapes)
    sane = np.isfinite(bounds).all(axis=1) & (np.abs(bounds[:, [1, 3]]) <= 90).all(axis=1)
    sane &= (np.abs(bounds[:, [0, 2]]) <= 540).all(axis=1)
    _turn(out, bounds, sane)
    near = sane & shapely.intersects(shapely.box(*shapely.bounds(out.shapes).T), window)
    for far in np.flatnonzero(sane & ~near).tolist():
        out.shapes[far] = None
        out.outside.append(far)
    places = np.flatnonzero(near)
    for done, place in enumerate(places.tolist()):
        shape = out.shapes[place]
        if shape.geom_type not in {"Polygon", "MultiPolygon"}:
            if not window.intersects(shape):
                out.shapes[place] = None
                out.outside.append(place)
            continue
        out.shapes[place] = _fit_polygon(out, place, shape, window, where)
        if progress is not None and done % 200 == 0:
            progress(done / len(places))
    out.outside.sort()
    return out


def _turn(out: Fitted, bounds: NDArray[np.float64], sane: NDArray[np.bool_]) -> None:
    """Bring longitudes back, and mend what was drawn over the 180th meridian the long way round."""
    for place in np.flatnonzero(sane & (bounds[:, 2] - bounds[:, 0] > 180)).tolist():
        shape = out.shapes[place]
        parts = shapely.get_parts(shape)
        short = [_short_way(part) for part in parts]
        lats = [lat for lat, _ in short if lat is not None]
        if lats:
            whole = [piece for _, part in short for piece in shapely.get_parts(part)]
            mended = shapely.MultiPolygon(whole) if whole[0].geom_type == "Polygon" else shapely.MultiLineString(whole)
            problem = f"it was drawn across the 180th meridian without a cut, at latitude {lats[0]:.4f}"
            problem += f" and in {len(lats) - 1} more of its parts" if len(lats) > 1 else ""
            out.mends.append(Mend(place, problem, area_m2(shape), area_m2(mended)))
            out.shapes[place] = mended
    beyond = sane & (np.abs(shapely.bounds(out.shapes)[:, [0, 2]]) > 180).any(axis=1)
    for place in np.flatnonzero(beyond).tolist():
        out.shapes[place] = wrap(out.shapes[place])
        out.turned += 1


def _short_way(part: Any) -> tuple[float | None, Any]:
    """Return where a part crosses the 180th meridian without a cut, None where it doesn't; and the part, cut."""
    west, _, east, _ = part.bounds
    if east - west <= 180 or part.geom_type not in {"Polygon", "LineString"}:
        return None, part
    lat = goes_round(part)
    if lat is None and not part.is_valid:  # corners on the meridian itself, on either side of it by turns
        lat = float(part.bounds[1])
    short = None if lat is None else the_short_way(part)
    return (None, part) if short is None else (lat, short)


def _fit_polygon(out: Fitted, place: int, shape: Any, window: Any, where: Callable[[int], str]) -> Any:
    cuts, mends = out.cut, len(out.mends)
    shape = _near_parts(out, shape, window)
    was_cut = out.cut > cuts
    try:
        if not shape.is_valid:
            sound = _areas(shapely.make_valid(shape, method="structure", keep_collapsed=False))
            out.mends.append(Mend(place, what_is_wrong(shape), area_m2(shape), area_m2(sound)))
            shape = sound
        if not window.covers(shape):
            inside = shapely.intersection(shape, window)
            out.cut += not (inside.is_empty or was_cut)
            shape = inside
    except shapely.errors.GEOSException as error:
        said = " ".join(str(error).split())[:120]
        raise InputError(where(place), f"its shape can't be mended: {said}", remedy="draw it anew") from error
    parts = [part for part in shapely.get_parts(shapely.get_parts(shape)) if part.geom_type == "Polygon"]
    whole = out.cut == cuts and len(out.mends) == mends  # as it was drawn, however small: a pile or an islet
    kept = parts if whole else [part for part in parts if area_m2(part) >= SLIVER_M2]
    out.slivers += len(parts) - len(kept)
    if not kept:
        if not parts:
            out.outside.append(place)
        return None
    return kept[0] if len(kept) == 1 else shapely.MultiPolygon(kept)


def _near_parts(out: Fitted, shape: Any, window: Any) -> Any:
    """Keep the parts that can lie in the window: what is wrong with a world's coast elsewhere is no concern here."""
    parts = shapely.get_parts(shape)
    near = shapely.intersects(shapely.box(*shapely.bounds(parts).T), window)
    if near.all():
        return shape
    out.cut += 1
    return shapely.MultiPolygon(parts[near].tolist())


def _areas(shape: Any) -> Any:
    parts = [part for part in shapely.get_parts(shapely.get_parts(shape)) if part.geom_type == "Polygon"]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
