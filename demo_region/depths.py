"""The invented sea bed (shelf, deep, banks, drying ledges, shoal fringes) and the board's partition by depth.

Land and depth are one partition: neighbouring polygons share their corners exactly, so that no crack opens between two
depths or between the water and the shore.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from demo_region.coast import COAST_GRID, Coast, line_distance_nmi
from demo_region.contours import find_rings, ring_area_nmi2, thin_ring
from demo_region.plane import DECIMALS, EXTENT, Grid, chance, fractal, to_lon_lat, to_plane

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

__all__ = ["LEVELS_M", "DepthRow", "Partition", "build_depth_m", "build_partition"]

LEVELS_M: Final = (0.0, 2.0, 4.0, 10.0, 30.0, 100.0)  # [m] depth lines drawn
_DEEPEST_M: Final = 1200.0
_DEPTH_GRID: Final = Grid(step_nmi=0.25)
_COAST_TOLERANCE_NMI: Final = 0.028  # about 52 m
_DEPTH_TOLERANCE_NMI: Final = 0.07
_SMALLEST_RING_NMI2: Final = 0.12  # a smaller hump or hollow isn't worth a line

# Banks: x, y, long and short half axis [nmi], turn [deg, anticlockwise from east], least depth [m, negative dries].
_BANKS: Final = (
    (31.0, 44.0, 6.0, 2.2, 35.0, 1.2),
    (24.0, 38.0, 2.6, 1.2, 10.0, -0.8),
    (57.0, 17.0, 4.5, 1.6, 60.0, 2.6),
    (60.5, 27.0, 2.0, 1.0, 80.0, -0.6),
    (88.0, 12.0, 4.2, 1.7, 40.0, 2.4),
    (107.0, 31.0, 5.0, 2.0, 30.0, 1.0),
    (112.0, 57.0, 5.5, 2.0, 35.0, 0.6),
    (118.0, 61.0, 2.5, 1.2, 30.0, -1.1),
    (101.0, 56.0, 3.0, 1.4, 150.0, 2.2),
    (136.0, 29.0, 4.0, 1.8, 20.0, -0.5),
    (10.0, 42.0, 3.4, 1.6, 160.0, 2.0),
    (4.0, 26.0, 2.2, 1.2, 100.0, 3.0),
    (35.0, 12.0, 3.0, 1.5, 20.0, 5.0),
    (62.5, 8.8, 2.2, 0.8, 75.0, -0.4),
    (44.0, 52.0, 2.8, 1.1, 25.0, -0.9),
    (127.0, 37.0, 2.5, 1.3, 70.0, 1.6),
)
# Where the shore is shoal whatever the noise says, and where it is steep: line, half width [nmi].
_SHOAL_SHORES: Final = (
    (((15.0, 67.0), (23.0, 68.5)), 2.0),
    (((60.0, 41.0), (64.0, 41.0)), 1.6),
    (((78.0, 43.5), (81.5, 42.0)), 1.2),
    (((140.0, 64.0), (143.0, 57.0)), 1.4),
)


@dataclass(frozen=True)
class DepthRow:
    """One polygon of the depth layer.

    Parameters
    ----------
    polygon
        [deg] Its geometry in longitude and latitude.
    min_depth_m, max_depth_m
        [m] Shallowest and deepest water in it; negative dries.
    survey
        ``good`` or ``poor``.
    """

    polygon: Any
    min_depth_m: float
    max_depth_m: float
    survey: str


@dataclass(frozen=True, eq=False)
class Partition:
    """The board cut into land and water by depth.

    Parameters
    ----------
    land
        [deg] Land polygons, the largest first.
    depth
        Depth rows; what neither covers is unsurveyed.
    """

    land: tuple[Any, ...]
    depth: tuple[DepthRow, ...]


def build_depth_m(seed: int, coast: Coast, deep_shores_nmi: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    """Make the sea bed.

    Parameters
    ----------
    seed
        The region's seed.
    coast
        The land.
    deep_shores_nmi
        [nmi] Places with deep water up to the shore, such as harbours with a dock.

    Returns
    -------
    [m] Depth on the depth grid, negative where it dries; on land it means nothing.
    """
    from scipy.ndimage import distance_transform_edt  # noqa: PLC0415  # heavy: loaded only when a region is made

    rng = chance(seed, "depths")
    grid = _DEPTH_GRID
    x_nmi, y_nmi = grid.nodes_nmi()
    nodes = np.column_stack([x_nmi.ravel(), y_nmi.ravel()])
    away_fine = distance_transform_edt(~coast.is_land, sampling=COAST_GRID.step_nmi)
    away = COAST_GRID.sample(np.asarray(away_fine), nodes).reshape(grid.shape)

    shoal = np.clip(1.6 * fractal(rng, x_nmi, y_nmi, (14.0, 7.0, 3.0)) - 0.42, 0.0, 1.0)
    for line, half_width_nmi in _SHOAL_SHORES:
        near = np.clip(1.5 - line_distance_nmi(line, x_nmi, y_nmi) / half_width_nmi, 0.0, 1.0)
        shoal = np.maximum(shoal, 1.2 * near)
    for place in deep_shores_nmi:
        shoal = shoal * np.clip((np.hypot(x_nmi - place[0], y_nmi - place[1]) - 0.9) / 1.5, 0.0, 1.0)

    bumps = fractal(rng, x_nmi, y_nmi, (6.0, 2.8, 1.3, 0.7))
    fringe_nmi = 0.15 + 0.9 * shoal
    depth_m = np.where(
        away < fringe_nmi, 6.5 - 9.0 * shoal + 5.0 * away, 6.5 - 9.0 * shoal + 5.0 * away + 26.0 * (away - fringe_nmi)
    )
    depth_m = np.minimum(depth_m, 14.0 + 5.5 * away)  # the shelf
    south_nmi = np.clip((34.0 - y_nmi + 4.0 * bumps) / 30.0, 0.0, 1.0)
    drop = np.clip((away - 7.0 + 2.0 * bumps) / 12.0, 0.0, 1.0)
    depth_m = depth_m * (1.0 + 0.3 * bumps) + 1400.0 * (south_nmi * drop) ** 2
    for x_bank, y_bank, long_nmi, short_nmi, turn_deg, least_m in _BANKS:
        turn = math.radians(turn_deg)
        east = x_nmi + 0.9 * bumps - x_bank
        north = y_nmi - 0.7 * bumps - y_bank
        along = (east * math.cos(turn) + north * math.sin(turn)) / long_nmi
        across = (north * math.cos(turn) - east * math.sin(turn)) / short_nmi
        radius = np.hypot(along, across)
        depth_m = np.minimum(
            depth_m, least_m + 26.0 * radius**2 + np.where(radius > 1.0, 300.0 * (radius - 1.0) ** 2, 0.0)
        )
    for place in deep_shores_nmi:
        depth_m = np.where(np.hypot(x_nmi - place[0], y_nmi - place[1]) < 0.9, np.maximum(depth_m, 5.0), depth_m)
    return np.asarray(depth_m)


def _closed_line(ring: NDArray[np.float64]) -> Any:
    from shapely import LineString  # noqa: PLC0415

    return LineString(np.round(to_lon_lat(ring), DECIMALS))


def _patches_deg(patches_nmi: Iterable[NDArray[np.float64]]) -> list[Any]:
    from shapely import Polygon  # noqa: PLC0415

    return [Polygon(np.round(to_lon_lat(patch), DECIMALS)) for patch in patches_nmi]


def build_partition(
    coast: Coast,
    depth_m: NDArray[np.float64],
    unsurveyed_nmi: Sequence[NDArray[np.float64]],
    poor_nmi: Sequence[NDArray[np.float64]],
) -> Partition:
    """Cut the board along the coast, the depth lines and the borders of the surveys.

    Parameters
    ----------
    coast
        The land.
    depth_m
        [m] Depth on the depth grid.
    unsurveyed_nmi
        [nmi] Rings within which no depth is known.
    poor_nmi
        [nmi] Rings within which the survey is poor.

    Returns
    -------
    Land and depth rows whose corners lie on the files' grid of digits and meet exactly.
    """
    import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

    shore = [thin_ring(ring, _COAST_TOLERANCE_NMI) for ring in find_rings(coast.grid, coast.height.copy(), 0.0)]
    lines = [_closed_line(ring) for ring in shore]
    for level_m in LEVELS_M:
        for ring in find_rings(_DEPTH_GRID, -depth_m, -level_m):
            if abs(ring_area_nmi2(ring)) > _SMALLEST_RING_NMI2:
                tolerance_nmi = _DEPTH_TOLERANCE_NMI * (1.0 + (level_m > 20.0) + 2.0 * (level_m > 50.0))
                lines.append(_closed_line(thin_ring(ring, tolerance_nmi)))
    unsurveyed, poor = _patches_deg(unsurveyed_nmi), _patches_deg(poor_nmi)
    lines += [patch.exterior for patch in (*unsurveyed, *poor)]
    board = shapely.box(*EXTENT)
    lines.append(board.exterior)
    noded = shapely.union_all(lines, grid_size=10.0**-DECIMALS)
    faces = list(shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))))
    middles = shapely.point_on_surface(np.array(faces))
    on_board = shapely.covers(board, middles)
    rings = [(ring_area_nmi2(ring), shapely.Polygon(np.round(to_lon_lat(ring), DECIMALS))) for ring in shore]
    highs = np.array([polygon for area, polygon in rings if area > 0])
    hollows = np.array([polygon for area, polygon in rings if area < 0])
    tree, holes = shapely.STRtree(highs), shapely.STRtree(hollows)
    is_land = np.zeros(len(faces), dtype=bool)
    is_land[tree.query(middles, predicate="within")[0]] = True
    is_land[holes.query(middles, predicate="within")[0]] = False  # no island lies in the lagoon
    known_m = _DEPTH_GRID.sample(depth_m, to_plane(shapely.get_coordinates(middles)))
    band = np.searchsorted(np.array(LEVELS_M), known_m)
    groups: dict[tuple[str, int, str], list[Any]] = {}
    for face, middle, keep, dry, step in zip(faces, middles, on_board, is_land, band, strict=True):
        if not keep or (not dry and any(patch.covers(middle) for patch in unsurveyed)):
            continue
        survey = "" if dry else "poor" if any(patch.covers(middle) for patch in poor) else "good"
        groups.setdefault(("land", 0, "") if dry else ("depth", int(step), survey), []).append(face)
    land: list[Any] = []
    depth: list[DepthRow] = []
    for (kind, step, survey), members in sorted(groups.items()):
        parts = shapely.get_parts(shapely.coverage_union_all(np.array(members))).tolist()
        parts.sort(key=lambda part: (-round(part.area, 9), part.bounds))
        if kind == "land":
            land += parts
        else:
            low_m = LEVELS_M[step - 1] if step else -1.5
            high_m = LEVELS_M[step] if step < len(LEVELS_M) else _DEEPEST_M
            depth += [DepthRow(part, low_m, high_m, survey) for part in parts]
    return Partition(tuple(land), tuple(depth))
