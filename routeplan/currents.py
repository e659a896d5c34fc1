"""What currents run where: areas with harmonic constituents, and gridded currents, as one field over a region's water.

Inside an area its own current runs; within `BLEND_NMI` of other areas theirs is mixed in, so that nothing jumps where
two of them meet. Outside all areas and the grid no current is known: nothing is invented there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.constituents import read_constituents
from layers.plane import METRES_PER_NMI, Plane
from routeplan.tidal_streams import TidalStream

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from layers import Region
    from layers.current_grids import CurrentGrid

    Vector = NDArray[np.float64]

__all__ = ["BLEND_NMI", "Currents", "read_currents"]

BLEND_NMI = 0.25  # [nmi] how far from an area its current still counts in the areas beside it
_GREATEST_FACTOR = 1.3  # of a constituent's speed: the greatest node factor that counts
_LEAST_SPACING_M = 150.0  # [m] between the points put into a current, at the least
_SKIRT_M = 2.0  # [m] how far outside an area the points lie by which it is gone round
_POINTS_AN_AREA = 40  # put into one area, and along its edge half as many, about
_POINTS_IN_A_GRID = 200  # put into gridded currents, about


@dataclass(frozen=True, eq=False)
class Currents:
    """The currents that are known of a region.

    Parameters
    ----------
    plane
        The region's.
    streams
        Of each area.
    shapes
        [m] The areas in the plane, in the same order.
    grid
        Gridded currents; where they are known they count in place of the areas.
    """

    plane: Plane
    streams: tuple[TidalStream, ...]
    shapes: tuple[shapely.Geometry, ...]
    grid: CurrentGrid | None = None

    def at(self, xy: Vector, posix_s: Vector, weights: Vector | None = None) -> tuple[Vector, Vector]:
        """[kn] Predict the current at places and times.

        Parameters
        ----------
        xy
            [m] n x 2 places in the plane.
        posix_s
            [s] t moments since 1970-01-01 UTC.
        weights
            Of the areas at these places, where they are known already.

        Returns
        -------
        East and north, n x t; not a number where no current is known.

        Notes
        -----
        The weight of an area at a place is 1 - distance / `BLEND_NMI`, not below 0, and 1 inside; the weights of a
        place that lies in some area are scaled to 1. So the field has no jump but at the outer edge of all areas.
        """
        weights = self.weights(xy) if weights is None else weights
        series = self._series(posix_s)
        east, north = weights @ series[:, 0], weights @ series[:, 1]
        unknown = ~weights.any(axis=1)
        east[unknown] = north[unknown] = np.nan
        if self.grid is not None:
            lon, lat = self.plane.to_lonlat(xy).T
            grid_east, grid_north = self.grid.at(lon[:, None], lat[:, None], posix_s[None, :])
            known = np.isfinite(grid_east) & np.isfinite(grid_north)
            east, north = np.where(known, grid_east, east), np.where(known, grid_north, north)
        return east, north

    def _series(self, posix_s: Vector) -> Vector:
        """[kn] Predict all areas, areas x 2 x t; the span of a plan is asked for again and again."""
        key = posix_s.tobytes()
        if key not in self._predicted:
            found = [stream.east_north_kn(posix_s).T for stream in self.streams]
            series = np.array(found).reshape(-1, 2, len(posix_s))
            if len(posix_s) == 1:
                return series
            self._predicted[key] = series
        return self._predicted[key]

    @cached_property
    def _predicted(self) -> dict[bytes, Vector]:
        return {}

    def weights(self, xy: Vector) -> Vector:
        """Weigh the areas at places.

        Parameters
        ----------
        xy
            [m] n x 2 places in the plane.

        Returns
        -------
        n x areas; the rows of places in no area are zero, those of others add up to 1.
        """
        points = shapely.points(xy)
        away_m = np.array([shapely.distance(shape, points) for shape in self.shapes]).reshape(-1, len(points)).T
        weights = np.maximum(0.0, 1.0 - away_m / (BLEND_NMI * METRES_PER_NMI))
        weights[~(away_m == 0.0).any(axis=1)] = 0.0
        total = weights.sum(axis=1, keepdims=True)
        return np.asarray(np.divide(weights, total, out=weights, where=total > 0))

    def fastest_kn(self, lines: NDArray[np.object_]) -> Vector:
        """[kn] Bound the current on lines from above, for all times.

        Parameters
        ----------
        lines
            [m] n lines in the plane.

        Returns
        -------
        The fastest that the areas they run through, and the grid, ever have; 0 where none is known. Node factors lie
        under 1.3 but for constituents of little account.
        """
        fastest = np.zeros(len(lines))
        if self.grid is not None:
            fastest[shapely.intersects(self._grid_box, lines)] = self.grid.greatest_kn
        for stream, shape in zip(self.streams, self.shapes, strict=True):
            most_kn = abs(stream.mean_kn) + _GREATEST_FACTOR * sum(h.amplitude_kn for h in stream.harmonics)
            met = shapely.distance(shape, lines) < BLEND_NMI * METRES_PER_NMI
            fastest[met] = np.maximum(fastest[met], most_kn)
        return fastest

    @cached_property
    def covered(self) -> shapely.Geometry:
        """[m] Where currents may be known: the areas, and the grid's extent."""
        parts = list(self.shapes)
        if self.grid is not None:
            parts.append(self._grid_box)
        covered = shapely.union_all(parts)
        shapely.prepare(covered)
        return covered

    @cached_property
    def varying(self) -> shapely.Geometry:
        """[m] Where the current changes from place to place: near where areas meet, and in the grid."""
        near_m = BLEND_NMI * METRES_PER_NMI
        wide = [shape.buffer(near_m) for shape in self.shapes]
        parts = [
            shape.intersection(other)
            for i, shape in enumerate(self.shapes)
            for j, other in enumerate(wide)
            if i != j and shape.intersects(other)
        ]
        if self.grid is not None:
            parts.append(self._grid_box)
        varying = shapely.union_all(parts)
        shapely.prepare(varying)
        return varying

    @cached_property
    def outline(self) -> shapely.Geometry:
        """[m] Lines at which areas begin and end."""
        return shapely.union_all([shape.boundary for shape in self.shapes])

    @cached_property
    def edges(self) -> shapely.Geometry:
        """[m] Lines at which the current may begin, end or change."""
        near_m = BLEND_NMI * METRES_PER_NMI
        lines = [shape.boundary for shape in self.shapes]
        lines += [
            shape.buffer(near_m).boundary.intersection(other)
            for i, shape in enumerate(self.shapes)
            for j, other in enumerate(self.shapes)
            if i != j and shape.distance(other) < near_m
        ]
        if self.grid is not None:
            lines.append(self._grid_box.boundary)
        return shapely.union_all(lines)

    @cached_property
    def cell_m(self) -> float:
        """[m] How far apart places may lie for a current that changes to be taken as one between them."""
        near_m = BLEND_NMI * METRES_PER_NMI / 2
        if self.grid is None:
            return near_m
        lon, lat = self.grid.lon, self.grid.lat
        steps = self.plane.to_plane([(lon[0], lat[0]), (lon[1], lat[0]), (lon[0], lat[1])])
        least = min(float(np.hypot(*(steps[1] - steps[0]))), float(np.hypot(*(steps[2] - steps[0]))))
        return float(np.clip(least / 2, near_m, 2 * METRES_PER_NMI))

    @cached_property
    def _grid_box(self) -> shapely.Geometry:
        if self.grid is None:
            return shapely.Polygon()
        lon, lat = self.grid.lon, self.grid.lat
        box = shapely.segmentize(shapely.box(lon[0], lat[0], lon[-1], lat[-1]), 0.05)
        xy = self.plane.to_plane(shapely.get_coordinates(box))
        return shapely.Polygon(xy).intersection(self.plane.box())

    def area_at(self, xy: tuple[float, float]) -> str:
        """Name the area at a place.

        Parameters
        ----------
        xy
            [m] In the plane.

        Returns
        -------
        The one that counts most there; empty outside all of them.
        """
        (weights,) = self.weights(np.array([xy]))
        return self.streams[int(weights.argmax())].name if weights.any() else ""

    def source_at(self, xy: tuple[float, float], posix_s: float) -> str:
        """Name what tells the current at a place and time.

        Parameters
        ----------
        xy
            [m] In the plane.
        posix_s
            [s] Since 1970-01-01 UTC.

        Returns
        -------
        The grid's source where it is known then, else the area; empty where nothing is.
        """
        if self.grid is not None and self.grid.begins.timestamp() <= posix_s <= self.grid.ends.timestamp():
            ((lon, lat),) = self.plane.to_lonlat(np.array([xy]))
            east, _ = self.grid.at(lon, lat, posix_s)
            if np.isfinite(east):
                return self.grid.source
        return self.area_at(xy)

    def name_at(self, xy: tuple[float, float]) -> str:
        """Name the current at a place.

        Parameters
        ----------
        xy
            [m] In the plane.

        Returns
        -------
        The area that counts most there; the grid's source where only that is known; empty where nothing is.
        """
        area = self.area_at(xy)
        if area or self.grid is None:
            return area
        return self.grid.source if shapely.intersects_xy(self._grid_box, *xy) else ""

    def points_in(self, water: shapely.Geometry) -> Vector:
        """[m] Lay points into the currents, where a way may bend to take the better side of a channel.

        Parameters
        ----------
        water
            [m] Navigable water.

        Returns
        -------
        n x 2: along the areas' edges, where ways bend as light does, just outside their corners, and all over their
        water.
        """
        found = [np.empty((0, 2))]
        for shape in self.shapes:
            wet = water.intersection(shape)
            if wet.is_empty:
                continue
            spacing_m = max(_LEAST_SPACING_M, float(np.sqrt(wet.area / _POINTS_AN_AREA)))
            found.append(_lattice(wet, spacing_m))
            corners = shapely.get_coordinates(shape.buffer(_SKIRT_M, join_style="mitre").simplify(0.9 * _SKIRT_M))
            found.append(corners[shapely.contains_xy(water, corners) & ~shapely.intersects_xy(self.covered, corners)])
            edge = shapely.line_merge(shape.boundary.intersection(water.buffer(-1.0)))
            for line in shapely.get_parts(edge):
                if line.geom_type == "LineString" and line.length > 0:
                    count = max(2, int(np.ceil(line.length / spacing_m)) + 1)
                    shares = (np.arange(count) + 0.5) / count
                    found.append(shapely.get_coordinates(line.interpolate(shares, normalized=True)))
        if self.grid is not None:
            wet = water.intersection(self._grid_box)
            spacing_m = max(_LEAST_SPACING_M, self.cell_m, float(np.sqrt(wet.area / _POINTS_IN_A_GRID)))
            found.append(_lattice(wet, spacing_m))
        return np.vstack(found)


def _lattice(shape: shapely.Geometry, spacing_m: float) -> Vector:
    """[m] Lay rows of points, each shifted by half a step, into a shape."""
    if shape.is_empty:
        return np.empty((0, 2))
    west, south, east, north = shape.bounds
    rows = np.arange(south + spacing_m / 2, north, spacing_m * np.sqrt(3) / 2)
    points = np.array(
        [
            (x, y)
            for i, y in enumerate(rows)
            for x in np.arange(west + spacing_m * (0.25 + 0.5 * (i % 2)), east, spacing_m)
        ]
    ).reshape(-1, 2)
    inner = shape.buffer(-1.0)
    shapely.prepare(inner)
    return np.asarray(points[shapely.contains_xy(inner, points)])


def read_currents(region: Region, grid: CurrentGrid | None = None) -> Currents | None:
    """Take the currents of a region.

    Parameters
    ----------
    region
        Its layer `currents`.
    grid
        Gridded currents beside it.

    Returns
    -------
    The currents; None where none are known.
    """
    frame, plane = region.layer("currents"), Plane(region.about.extent)
    if not len(frame) and grid is None:
        return None
    streams = tuple(
        TidalStream(
            name=row.name,
            flood_deg=row.flood_deg,
            ebb_deg=row.ebb_deg,
            mean_kn=row.mean_kn,
            harmonics=read_constituents(row.constituents),
            latitude_deg=row.geometry.representative_point().y,
        )
        for row in frame.itertuples()
    )
    return Currents(plane, streams, tuple(plane.project(frame.geometry.array)) if len(frame) else (), grid)
