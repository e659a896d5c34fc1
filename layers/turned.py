"""What is likely not meant: an extent with its numbers exchanged, and unsurveyed water that a file gives a depth to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.errors import InputError
from layers.findings_extent import holds, other_extents
from layers.gathering import CHARTS
from layers.mending import area_m2
from layers.shapes import object_array

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import NDArray

    from layers.gathering import Gathered

    Extent = tuple[float, float, float, float]

__all__ = ["find_opened", "refuse_turned"]

_LEAST_OPENED_M2 = 10_000.0  # [m2] of water: smaller parts are cracks between areas of the chart
_M2_PER_KM2 = 1e6


def refuse_turned(extent: Extent, shapes: Sequence[NDArray[np.object_]]) -> None:
    """Refuse an extent that holds no place, and would hold all of them with numbers exchanged or signs changed.

    Parameters
    ----------
    extent
        [deg] West, south, east, north as given.
    shapes
        [deg] The shapes of each table; points alone count.

    Raises
    ------
    InputError
        It is likely not the one that was meant.
    """
    points = np.vstack(
        [np.empty((0, 2)), *(shapely.get_coordinates(some[shapely.get_type_id(some) == 0]) for some in shapes)]
    )
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points) or holds(extent, points).any():
        return
    for how, other in other_extents(extent):
        if holds(other, points).all():
            west, south, east, north = other
            count = f"none of the {len(points):,} places" if len(points) > 1 else "not the one place"
            problem = f"holds {count} of the sources; {how}, it would hold {'all of them' if len(points) > 1 else 'it'}"
            remedy = (
                f'the order is west south east north: "{west:g} {south:g} {east:g} {north:g}"; or correct the places'
            )
            raise InputError("--extent", problem, value=" ".join(f"{bound:g}" for bound in extent), remedy=remedy)


def find_opened(gathered: Gathered, cover: Any) -> list[str]:
    """Find water that a chart leaves unsurveyed and that a file gives a depth to.

    Parameters
    ----------
    gathered
        The rows.
    cover
        [deg] Where there is a chart.

    Returns
    -------
    list[str]
        What each file opens, in words.
    """
    rows = gathered.layers["depth"].rows if "depth" in gathered.layers else []
    own: dict[str, list[Any]] = {}
    for row in rows:
        if row.file != CHARTS and row.shape is not None:
            own.setdefault(row.file, []).append(row.shape)
    if not own:
        return []
    known = [row.shape for row in rows if row.file == CHARTS]
    known += [row.shape for row in (gathered.layers["land"].rows if "land" in gathered.layers else [])]
    sound = object_array([shape for shape in known if shape is not None and shape.is_valid])
    tree = shapely.STRtree(sound)
    told = []
    for file, shapes in own.items():
        given = shapely.intersection(shapely.union_all([shape for shape in shapes if shape.is_valid]), cover)
        near = sound[tree.query(given)]
        bare = shapely.get_parts(shapely.difference(given, shapely.union_all(near)))
        parts = [(area_m2(part), part) for part in bare if part.geom_type == "Polygon"]
        wide = [(area, part) for area, part in parts if area >= _LEAST_OPENED_M2]
        if wide:
            largest = shapely.point_on_surface(max(wide, key=lambda pair: pair[0])[1])
            total = sum(area for area, _ in wide) / _M2_PER_KM2
            told.append(
                f"{file} gives a depth to {total:,.2f} km2 of water that the chart leaves unsurveyed, most of it at"
                f" latitude {largest.y:.4f}, longitude {largest.x:.4f}: tracks may lead there on its word alone"
            )
    return told
