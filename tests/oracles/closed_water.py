"""What is closed to a boat, straight from a region's raw layers, by another way than the product's.

A transverse Mercator plane instead of the region's own; edges cut every 50 m in longitude and latitude; nothing is
unioned, buffered or simplified: distances are measured to the raw edges one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import Transformer

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.margins import Margins

STEP_DEG = 50 / 111_000  # about 50 m of latitude
KINDS = ("land", "shoal", "no-entry", "low")


class ClosedWater:
    """Closed water of one region for one boat, all zones in force.

    Parameters
    ----------
    region, boat, margins
        As for the product.
    """

    def __init__(self, region: Region, boat: Boat, margins: Margins) -> None:
        west, south, east, north = region.about.extent
        local = f"+proj=tmerc +lon_0={(west + east) / 2} +lat_0={(south + north) / 2} +ellps=WGS84 +units=m"
        self._to_metres = Transformer.from_crs("EPSG:4326", local, always_xy=True)
        depth, zones, overhead = (region.layer(name) for name in ("depth", "zones", "overhead"))
        openings = region.layer("openings")
        needed_m, height_m = boat.draught_m + margins.under_keel_m, boat.air_draught_m + margins.overhead_m
        locks = openings[(openings.geometry.geom_type != "Point") & ~(openings["closed_clearance_m"] >= height_m)]
        self.shapes = {
            "land": self._project(region.layer("land").geometry.array),
            "shoal": self._project(depth[depth["min_depth_m"] < needed_m].geometry.array),
            "no-entry": self._project(zones[zones["rule"] == "no-entry"].geometry.array),
            "low": self._project([*overhead[overhead["clearance_m"] < height_m].geometry, *locks.geometry]),
        }
        hazards = region.layer("hazards")
        self.hazards = self._project(hazards.geometry.array)
        self.keep_off_m = hazards["keep_off_m"].to_numpy(dtype=float)
        self._edges: dict[str, shapely.STRtree] = {
            kind: shapely.STRtree(_segments(shapes)) for kind, shapes in self.shapes.items()
        }
        self._trees = {kind: shapely.STRtree(shapes) for kind, shapes in self.shapes.items()}
        self._surveys = self._project(depth.geometry.array)
        self.extent = self._project([shapely.box(west, south, east, north)])[0]

    def _project(self, shapes: Any) -> NDArray[np.object_]:
        fine = shapely.segmentize(np.asarray(list(shapes), dtype=object), STEP_DEG)
        return np.asarray(shapely.transform(fine, self.metres), dtype=object)

    def metres(self, lonlat: Any) -> NDArray[np.float64]:
        """[m] Project positions."""
        lonlat = np.asarray(lonlat, dtype=float).reshape(-1, 2)
        return np.column_stack(self._to_metres.transform(lonlat[:, 0], lonlat[:, 1]))

    def line(self, lonlat: Any) -> shapely.LineString:
        """[m] Project a line whose points lie close enough together."""
        return shapely.LineString(self.metres(lonlat))

    def nearer(self, lines: Any, clear_m: float, kinds: tuple[str, ...] = KINDS) -> list[tuple[int, str]]:
        """Find lines or points nearer to closed water than this, or in it; hazards add their own distance."""
        lines = np.asarray(lines, dtype=object)
        found: set[tuple[int, str]] = set()
        for kind in kinds:
            if not len(self.shapes[kind]):
                continue
            near, _ = self._edges[kind].query(lines, predicate="dwithin", distance=clear_m)
            first = np.where(shapely.get_type_id(lines) == 0, lines, shapely.get_point(lines, 0))
            held, _ = self._trees[kind].query(first, predicate="intersects")
            found |= {(int(i), kind) for i in (*near, *held)}
        for shape, keep_off in zip(self.hazards, self.keep_off_m, strict=True):
            near = np.flatnonzero(shapely.dwithin(lines, shape, keep_off + clear_m))
            found |= {(int(i), "hazard") for i in near}
        return sorted(found)

    def is_surveyed(self, points: Any) -> Any:
        """Tell for each point whether a depth polygon holds it, or passes within the metre that edges may part by."""
        held = np.zeros(len(points), dtype=bool)
        tree = shapely.STRtree(points)
        held[tree.query(self._surveys, predicate="dwithin", distance=1.0)[1]] = True  # polygons prepared, not points
        return held

    def unsurveyed(self, lines: Any) -> list[int]:
        """Find lines that leave surveyed water, tried at points every 100 m and less along them."""
        xy, line = shapely.get_coordinates(
            shapely.segmentize(np.asarray(lines, dtype=object), 100.0), return_index=True
        )
        return sorted({int(i) for i in line[~self.is_surveyed(shapely.points(xy))]})


def _segments(shapes: Any) -> list[Any]:
    segments = []
    for shape in shapes:
        for ring in shapely.get_parts(shape if "Line" in shape.geom_type else shape.boundary):
            xy = shapely.get_coordinates(ring)
            segments.append(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)))
    return list(np.concatenate(segments)) if segments else []
