"""A region as questions about it need it: row numbers, shapes without a jump at 180 degrees, the plane, the land."""

from __future__ import annotations

import itertools
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI, Plane

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from numpy.typing import NDArray

    from layers.region import Region

__all__ = ["Seen", "length", "meeting_pairs", "name_of", "names_of", "row_numbers"]

_MARGIN_DEG = 0.1  # [deg] land that far outside the extent still counts as near


class Seen:
    """A region with what several questions need.

    Parameters
    ----------
    region
        The region.
    today
        The day from which ages and hours are judged.
    """

    def __init__(self, region: Region, today: date) -> None:
        self.region = region
        self.today = today
        self.plane = Plane(region.about.extent)
        self.bounds = self.plane.unwrapped_extent
        """[deg] The extent with longitudes that run on."""
        self.box = shapely.box(*self.bounds)
        shapely.prepare(self.box)
        west, south, east, north = self.bounds
        self.wider_box = shapely.box(west - _MARGIN_DEG, south - _MARGIN_DEG, east + _MARGIN_DEG, north + _MARGIN_DEG)
        """[deg] The extent with what lies near it."""
        self._shapes: dict[str, NDArray[np.object_]] = {}

    def shapes(self, layer: str) -> NDArray[np.object_]:
        """[deg] Take a layer's shapes, longitudes running on from the extent's western edge.

        Parameters
        ----------
        layer
            Its name.

        Returns
        -------
        A shape for every row.
        """
        if layer not in self._shapes:
            self._shapes[layer] = self.plane.unwrapped(self.region.layer(layer).geometry.to_numpy())
        return self._shapes[layer]

    def inside(self, layer: str) -> NDArray[np.bool_]:
        """Tell which rows of a layer lie in the extent, at least in part.

        Parameters
        ----------
        layer
            Its name.

        Returns
        -------
        A flag for every row.
        """
        return np.asarray(shapely.intersects(self.box, self.shapes(layer)), dtype=bool)

    def rows(self, layer: str) -> Iterator[tuple[int, Any]]:
        """Count through the rows of a layer by their numbers in the file, where docks may have been left out.

        Parameters
        ----------
        layer
            Its name.

        Returns
        -------
        Number and row, one after the other.
        """
        return zip(
            row_numbers(self.region, layer), self.region.layer(layer).itertuples(index=False, name="Row"), strict=False
        )

    def near(self, layer: str) -> NDArray[np.object_]:
        """[m] Bring what a layer has in or close to the extent into the plane.

        Parameters
        ----------
        layer
            Its name; polygons.

        Returns
        -------
        A sound shape for every row, empty for those far away.
        """
        west, south, east, north = self.bounds
        wide = (west - _MARGIN_DEG, south - _MARGIN_DEG, east + _MARGIN_DEG, north + _MARGIN_DEG)
        flat = np.asarray(self.plane.project(shapely.clip_by_rect(self.shapes(layer), *wide)), dtype=object)
        bad = ~shapely.is_valid(flat)
        flat[bad] = shapely.make_valid(flat[bad])
        return flat

    @cached_property
    def land(self) -> NDArray[np.object_]:
        """[m] Land in or close to the extent, in the plane."""
        shores = self.near("land")
        return np.asarray(shores[~shapely.is_empty(shores)], dtype=object)

    @cached_property
    def tree(self) -> shapely.STRtree:
        """The same land, to be asked what is near."""
        return shapely.STRtree(self.land)

    def from_land_m(self, shape: Any) -> float:
        """[m] Measure from a shape of the plane to the nearest land.

        Parameters
        ----------
        shape
            [m] The shape.

        Returns
        -------
        The distance; infinite where there is no land.
        """
        nearest = self.tree.nearest(shape) if len(self.land) else None
        return float("inf") if nearest is None else float(shapely.distance(self.land[nearest], shape))


def row_numbers(region: Region, layer: str) -> Iterator[int]:
    """Count the rows of a layer as its file does.

    Parameters
    ----------
    region
        The region.
    layer
        The layer's name.

    Returns
    -------
    Numbers from 1 without end, those left out that were left out in reading.
    """
    left_out = {note.row for note in region.notes if note.layer == layer}
    return (number for number in itertools.count(1) if number not in left_out)


def name_of(thing: Any) -> str:
    """Look up what a row calls itself.

    Parameters
    ----------
    thing
        The row.

    Returns
    -------
    Its name; empty where it has none.
    """
    return getattr(thing, "name", None) or ""


def names_of(region: Region, layer: str) -> list[str]:
    """List what the rows of a layer call themselves.

    Parameters
    ----------
    region
        The region.
    layer
        The layer's name.

    Returns
    -------
    A name for every row, empty where it has none.
    """
    frame = region.layer(layer)
    return [name or "" for name in frame["name"]] if "name" in frame.columns else [""] * len(frame)


def meeting_pairs(shapes: NDArray[np.object_]) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Find the shapes that meet others.

    Parameters
    ----------
    shapes
        Shapes of one plane; they are prepared in passing.

    Returns
    -------
    Each pair once, in two arrays; in the first stands the shape with more corners, which is cheaper to ask many times.
    """
    a, b = shapely.STRtree(shapes).query(shapes)
    corners = shapely.get_num_coordinates(shapes)
    first = (corners[a] > corners[b]) | ((corners[a] == corners[b]) & (a < b))
    a, b = a[first], b[first]
    shapely.prepare(shapes[np.unique(a)])
    meet = shapely.intersects(shapes[a], shapes[b])
    return a[meet], b[meet]


def length(metres: float) -> str:
    """Say a length: metres below a nautical mile, else miles.

    Parameters
    ----------
    metres
        [m] The length.

    Returns
    -------
    The figure with its unit.

    Examples
    --------
    >>> length(1111), length(1852 * 6.04)
    ('1111 m', '6.0 nmi')
    """
    return f"{metres:.0f} m" if metres < METRES_PER_NMI else f"{metres / METRES_PER_NMI:.1f} nmi"
