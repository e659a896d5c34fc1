"""One metric plane per region: where water is cut, buffered and searched.

The plane is conformal, so a stand-off is as wide to the north as to the east. Over a day's waters its scale is within a
few parts in ten thousand; within twelve degrees of an equator that the extent touches, within 2 %. It is used for
shapes only: every length that leaves it is the geodesic's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import shapely
from pyproj import CRS, Geod, Transformer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Extent = tuple[float, float, float, float]
    Points = NDArray[np.float64]

__all__ = ["METRES_PER_NMI", "Plane", "geodesic_ring"]

METRES_PER_NMI = (
    1852.0  # [m/nmi] exact: International Extraordinary Hydrographic Conference, 1929; SI brochure, table 8
)
_EARTH_RADIUS_M = 6_371_000.0  # [m] mean radius, only to choose how finely to densify
_NARROW = 0.5  # an extent narrower than half its height gets a transverse projection
_EQUATOR_DEG = 1.0  # [deg] an extent that comes this near to the equator has no cone that fits: Mercator
_GEOD = Geod(ellps="WGS84")

Shape = TypeVar("Shape", bound=Any)


@dataclass(frozen=True)
class Plane:
    """A conformal metric plane over one extent, x to the east and y to the north of its middle.

    Parameters
    ----------
    extent
        [deg] (west, south, east, north) on WGS 84; an east below the west lies beyond the antimeridian.

    Examples
    --------
    >>> plane = Plane((-39.5, 43.75, -36.0, 45.25))
    >>> [round(float(v), 3) for v in plane.to_plane([(-37.75, 44.5)])[0]]
    [0.0, 0.0]
    """

    extent: Extent

    @cached_property
    def _middle(self) -> tuple[float, float]:
        west, south, east, north = self.extent
        if east < west:
            east += 360
        return (west + east) / 2, (south + north) / 2

    @cached_property
    def crs(self) -> CRS:
        """The plane's coordinate reference system.

        Returns
        -------
        Lambert conformal conic, Mercator near the equator, transverse Mercator for tall narrow extents; metres.
        """
        west, south, east, north = self.extent
        lon, lat = self._middle
        width = ((east - west) % 360 or 360) * math.cos(math.radians(lat))
        height = north - south
        common = f"+lon_0={lon!r} +ellps=WGS84 +units=m +no_defs"
        if width < _NARROW * height:
            return CRS.from_proj4(f"+proj=tmerc +lat_0={lat!r} {common}")
        if south < _EQUATOR_DEG and north > -_EQUATOR_DEG:
            northing = Transformer.from_crs(
                "EPSG:4326", CRS.from_proj4(f"+proj=merc +lat_ts={lat!r} {common}"), always_xy=True
            )
            return CRS.from_proj4(f"+proj=merc +lat_ts={lat!r} +y_0={-northing.transform(lon, lat)[1]!r} {common}")
        inner = height / 6  # the standard parallels that spread the scale error evenly
        return CRS.from_proj4(f"+proj=lcc +lat_0={lat!r} +lat_1={south + inner!r} +lat_2={north - inner!r} {common}")

    @cached_property
    def _forward(self) -> Transformer:
        return Transformer.from_crs("EPSG:4326", self.crs, always_xy=True)

    @cached_property
    def longest_edge_m(self) -> float:
        """[m] Longest straight edge that both lon/lat and the plane agree on to half a metre.

        A straight line in longitude and latitude bends by at most tan(latitude) / R against a geodesic, and a straight
        line of the plane by at most the gradient of its scale, half the extent's diagonal / R squared: the sagitta of
        an edge is its length squared times the sum of both, over 8.

        Returns
        -------
        Metres along the ground.
        """
        west, south, east, north = self.extent
        steepest = min(max(abs(south), abs(north)), 85.0)
        lon, _ = self._middle
        half_m = _GEOD.inv(west, south, lon, (south + north) / 2)[2] * 1.5 if east != west else 0.0
        bend = math.tan(math.radians(steepest)) / _EARTH_RADIUS_M + half_m / _EARTH_RADIUS_M**2
        return math.sqrt(8 * 0.5 / bend)

    def to_plane(self, lonlat: Sequence[tuple[float, float]] | Points) -> Points:
        """Project points.

        Parameters
        ----------
        lonlat
            [deg] n x 2, longitude first.

        Returns
        -------
        [m] n x 2, x and y.
        """
        points = np.asarray(lonlat, dtype=float).reshape(-1, 2)
        return np.column_stack(self._forward.transform(points[:, 0], points[:, 1]))

    def to_lonlat(self, xy: Sequence[tuple[float, float]] | Points) -> Points:
        """Bring points of the plane back to the globe.

        Parameters
        ----------
        xy
            [m] n x 2.

        Returns
        -------
        [deg] n x 2, longitude first.
        """
        points = np.asarray(xy, dtype=float).reshape(-1, 2)
        return np.column_stack(self._forward.transform(points[:, 0], points[:, 1], direction="INVERSE"))

    def project(self, shape: Shape) -> Shape:
        """Project a geometry, or an array of them, with edges densified so that none moves by a metre.

        Parameters
        ----------
        shape
            [deg] Shapely geometry or array of geometries on WGS 84.

        Returns
        -------
        [m] The same kind, in the plane.
        """
        dense = _densified(shape, self.longest_edge_m / (METRES_PER_NMI * 60))
        return shapely.transform(dense, self.to_plane)  # type: ignore[no-any-return]

    def unproject(self, shape: Shape) -> Shape:
        """Bring a geometry of the plane, or an array of them, back to the globe, edges densified likewise.

        Parameters
        ----------
        shape
            [m] Shapely geometry or array of geometries in the plane.

        Returns
        -------
        [deg] The same kind on WGS 84.
        """
        return shapely.transform(_densified(shape, self.longest_edge_m), self.to_lonlat)  # type: ignore[no-any-return]

    def lengths_nmi(self, a: Points, b: Points) -> NDArray[np.float64]:
        """[nmi] Geodesic lengths between points of the plane.

        Parameters
        ----------
        a, b
            [m] n x 2 each.

        Returns
        -------
        n lengths on the WGS 84 ellipsoid.
        """
        start, end = self.to_lonlat(a), self.to_lonlat(b)
        _, _, metres = _GEOD.inv(start[:, 0], start[:, 1], end[:, 0], end[:, 1])
        return np.asarray(metres, dtype=float) / METRES_PER_NMI

    def courses_deg(self, a: Points, b: Points) -> NDArray[np.float64]:
        """[deg] True initial courses between points of the plane.

        Parameters
        ----------
        a, b
            [m] n x 2 each.

        Returns
        -------
        n courses, 0 to 360.
        """
        start, end = self.to_lonlat(a), self.to_lonlat(b)
        azimuth, _, _ = _GEOD.inv(start[:, 0], start[:, 1], end[:, 0], end[:, 1])
        return np.asarray(azimuth, dtype=float) % 360

    def box(self) -> shapely.Polygon:
        """[m] The extent in the plane.

        Returns
        -------
        A polygon with densified edges.
        """
        west, south, east, north = self.extent
        return self.project(shapely.box(west, south, east if east > west else east + 360, north))


def geodesic_ring(
    position: tuple[float, float], radius_nmi: float, points: int = 180
) -> shapely.LineString | shapely.MultiLineString:
    """[deg] The circle of all positions at one distance, on the ellipsoid.

    Parameters
    ----------
    position
        [deg] Longitude and latitude of the middle.
    radius_nmi
        [nmi] Geodesic distance.
    points
        How many corners the ring gets; they lie on the circle, so its edges lie inside.

    Returns
    -------
    A closed line on WGS 84; split where it crosses the antimeridian.

    References
    ----------
    RFC 7946, section 3.1.9: what crosses the antimeridian is cut there.
    """
    bearing = np.linspace(0, 360, points + 1)
    lon, lat, _ = _GEOD.fwd(
        np.full_like(bearing, position[0]),
        np.full_like(bearing, position[1]),
        bearing,
        np.full_like(bearing, radius_nmi * METRES_PER_NMI),
    )
    unwrapped = position[0] + (lon - position[0] + 180) % 360 - 180  # no jump from one side of the world to the other
    ring = np.column_stack([unwrapped, lat])
    ring[-1] = ring[0]
    line = shapely.LineString(ring)
    beyond = -360 if unwrapped.max() > 180 else 360 if unwrapped.min() < -180 else 0
    if not beyond:
        return line
    home = line.intersection(shapely.box(-180, -90, 180, 90))
    away = shapely.transform(line, lambda xy: xy + np.array([beyond, 0.0])).intersection(
        shapely.box(-180, -90, 180, 90)
    )
    return shapely.union_all([home, away])


def _densified(shape: Any, longest: float) -> Any:
    """Divide long edges; a line of no length, which GEOS can't divide, stays as it is."""
    whole = np.asarray(shape, dtype=object)
    long = shapely.length(whole) > 0
    if whole.ndim == 0:
        return shapely.segmentize(shape, longest) if long else shape
    dense = whole.copy()
    dense[long] = shapely.segmentize(whole[long], longest)
    return dense
