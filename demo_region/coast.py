"""The invented coast: a ragged mainland with a long cape, islands, and belts of skerries.

A hand-drawn skeleton gives the lie of the land, noise of many wavelengths makes it ragged, and channels are cut where
boats must pass. The coast is the zero line of the resulting height.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from demo_region.plane import Grid, chance, fractal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["COAST_GRID", "Coast", "Spine", "build_coast", "line_distance_nmi"]

COAST_GRID: Final = Grid(step_nmi=0.1)
_BASE_GRID: Final = Grid(step_nmi=0.5, margin_nmi=8.0)  # wide enough for the noise to reach beyond the board

# The mainland, anticlockwise from the west border along the coast and back round the north and the east. [nmi]
_MAINLAND: Final = (
    (-8.0, 62.0), (0.0, 62.5), (5.0, 65.0), (10.0, 70.0), (15.0, 70.5), (21.0, 67.0), (26.0, 69.0),
    (30.0, 74.0), (37.0, 78.0), (44.0, 78.5), (51.0, 75.0), (55.0, 69.0), (57.5, 61.0), (61.0, 53.0),
    (63.0, 45.0), (65.0, 37.0), (66.0, 29.0), (68.5, 21.0), (71.0, 14.5), (73.0, 9.8), (74.8, 9.6),
    (76.5, 12.0), (79.5, 16.0), (83.5, 21.0), (85.5, 25.5), (84.5, 30.0), (81.0, 35.0), (80.0, 42.0),
    (82.5, 50.0), (87.0, 58.0), (90.0, 66.0), (95.0, 72.5), (103.0, 75.5), (110.0, 77.5), (118.0, 78.0),
    (126.0, 76.0), (133.0, 75.5), (138.0, 73.5), (140.5, 68.0), (141.5, 61.0), (143.5, 54.0), (145.5, 46.0),
    (146.0, 39.0), (148.0, 33.0), (153.0, 29.0), (159.0, 28.0), (159.0, 99.0), (-8.0, 99.0),
)  # fmt: skip


@dataclass(frozen=True)
class Spine:
    """A line with a width: the back of an island, or the middle of a channel.

    Parameters
    ----------
    points_nmi
        [nmi] The line's points.
    half_width_nmi
        [nmi] How far it reaches to each side.
    name
        Name of the island; empty where it has none.
    """

    points_nmi: tuple[tuple[float, float], ...]
    half_width_nmi: float
    name: str = ""


_ISLANDS: Final = (
    Spine(((44.0, 24.5), (48.5, 28.5), (51.5, 32.5)), 1.7, "Great Ossavay"),
    Spine(((40.5, 21.8), (42.0, 23.0)), 0.6, "Little Ossavay"),
    Spine(((9.0, 52.5), (14.0, 55.5), (19.0, 56.8)), 1.3, "Tarrelund"),
    Spine(((25.0, 58.5), (29.5, 62.0)), 1.1, "Quarrow Isle"),
    Spine(((36.0, 66.0), (42.0, 68.0), (46.0, 66.5)), 1.3, "Hallowmar"),
    Spine(((49.5, 60.5), (51.5, 56.0)), 1.0, "Skerravin"),
    Spine(((14.0, 19.0), (17.0, 22.0), (18.0, 26.0)), 1.1, "Farrowmere"),
    Spine(((21.0, 15.5), (23.0, 16.5)), 0.7, "Outer Farrow"),
    Spine(((95.0, 39.0), (100.0, 40.5), (103.5, 44.0)), 1.6, "Yarlowen"),
    Spine(((106.0, 47.0), (109.5, 49.0)), 0.9, "Little Yarl"),
    Spine(((96.0, 63.5), (102.0, 66.0), (108.0, 67.0), (112.5, 69.2)), 1.2, "Long Ombrick"),
    Spine(((117.0, 71.0), (122.0, 70.8)), 0.9, "East Ombrick"),
    Spine(((125.0, 50.0), (130.0, 55.0), (133.0, 60.0), (134.0, 63.5)), 1.6, "Vindelsay"),
    Spine(((119.0, 45.0), (122.0, 46.5)), 0.8, "Vindelsay Calf"),
    Spine(((118.0, 22.0), (124.0, 24.5), (128.0, 24.0)), 1.2, "Corrowen"),
    Spine(((133.0, 20.0), (134.5, 21.0)), 0.6, "Corrow Lamb"),
    Spine(((139.0, 37.0), (140.5, 42.0)), 0.9, "Nessarow"),
    Spine(((90.0, 56.5), (92.0, 60.0)), 0.6, "Fesselow"),
)

# Belts where the rock comes up in many small pieces: line, half width, how high the rock stands. [nmi]
_BELTS: Final = (
    (((4.0, 58.0), (16.0, 62.5), (27.0, 64.5), (36.0, 71.5)), 3.6, 0.36),
    (((27.0, 56.0), (34.0, 61.0), (46.0, 62.5), (53.0, 66.0)), 3.4, 0.36),
    (((56.0, 56.0), (59.0, 46.0), (61.5, 36.0)), 2.2, 0.33),
    (((40.0, 19.0), (53.0, 35.0)), 3.0, 0.22),
    (((11.0, 16.0), (20.0, 28.0)), 3.0, 0.2),
    (((91.0, 36.0), (112.0, 51.0)), 3.0, 0.26),
    (((92.0, 60.0), (104.0, 70.0), (124.0, 73.0)), 3.2, 0.33),
    (((120.0, 42.0), (131.0, 52.0), (136.0, 62.0)), 3.0, 0.28),
    (((114.0, 20.0), (132.0, 24.0)), 2.6, 0.22),
    (((140.0, 52.0), (142.5, 44.0), (145.0, 36.0)), 2.4, 0.3),
)

# Channels and inlets that must stay open, cut after the noise. [nmi]
_CHANNELS: Final = (
    Spine(((7.0, 64.0), (9.5, 68.0), (11.0, 71.5), (12.0, 75.0)), 0.42),  # inlet of the western harbour
    Spine(((38.0, 74.0), (38.5, 80.0), (36.5, 85.0), (37.0, 88.0)), 0.45),  # long northern inlet
    Spine(((86.8, 22.5), (84.8, 23.4), (83.4, 24.2), (82.3, 24.1), (81.2, 25.0)), 0.24),  # bay under the cape's heel
    Spine(((82.6, 18.4), (81.0, 19.5), (79.6, 20.6), (78.5, 22.4), (78.3, 23.0)), 0.2),  # the cape's eastern inlet
    Spine(((62.0, 48.0), (66.0, 49.5), (69.0, 52.5)), 0.34),  # river of the cape's western flank
    Spine(((103.0, 73.0), (103.5, 78.0), (106.0, 82.0), (106.0, 85.5)), 0.5),  # inlet at the gulf's head
    Spine(((132.0, 72.5), (134.5, 77.0), (138.0, 80.5)), 0.4),  # north-eastern inlet
    Spine(
        ((128.0, 72.0), (132.0, 67.5), (136.3, 66.5), (138.2, 62.0), (137.8, 57.0), (136.0, 52.5), (133.0, 47.0)), 0.55
    ),  # sound inside Vindelsay
    Spine(
        ((91.0, 66.0), (95.5, 68.5), (101.0, 71.0), (108.0, 72.0), (114.0, 73.6), (121.0, 74.2), (128.0, 73.0)), 0.5
    ),  # sound inside the Ombricks
    Spine(
        ((126.0, 58.2), (127.6, 57.9), (129.6, 56.9), (131.6, 56.7), (133.4, 57.4), (136.0, 57.0)), 0.2
    ),  # strait through Vindelsay
    Spine(((113.8, 72.5), (114.9, 69.0)), 0.3),  # gap between the Ombricks
    Spine(
        ((32.0, 70.0), (38.0, 72.5), (44.0, 73.0), (50.0, 70.0), (53.5, 62.0), (56.0, 56.0)), 0.5
    ),  # sound inside Hallowmar
    Spine(((88.0, 54.0), (90.0, 55.0), (93.5, 63.0)), 0.4),
)
_LAGOON: Final = Spine(((22.2, 73.4), (24.0, 75.0)), 0.55)  # water with no way to the sea
_SMALLEST_ISLAND_CELLS: Final = 12  # of 0.1 by 0.1 nmi: smaller ones are drawn as hazards, not as land


@dataclass(frozen=True, eq=False)
class Coast:
    """The land on the fine grid.

    Parameters
    ----------
    grid
        The nodes.
    height
        [nmi] Above zero on land; a distance to the coast only roughly.
    islands
        The islands that have a name, with their backs.
    """

    grid: Grid
    height: NDArray[np.float64]
    islands: tuple[Spine, ...]

    @property
    def is_land(self) -> NDArray[np.bool_]:
        """True at nodes on land."""
        return np.asarray(self.height > 0)


def line_distance_nmi(
    points_nmi: Sequence[tuple[float, float]], x_nmi: NDArray[np.float64], y_nmi: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how far nodes lie from a line.

    Parameters
    ----------
    points_nmi
        [nmi] The line's points, two or more.
    x_nmi, y_nmi
        [nmi] The nodes.

    Returns
    -------
    [nmi] The distances.

    Examples
    --------
    >>> line_distance_nmi([(0, 0), (4, 0)], np.array([2.0, 7.0]), np.array([3.0, 4.0])).tolist()
    [3.0, 5.0]
    """
    best = np.full(np.broadcast(x_nmi, y_nmi).shape, np.inf)
    for (ax, ay), (bx, by) in pairwise(points_nmi):
        dx, dy = bx - ax, by - ay
        share = np.clip(((x_nmi - ax) * dx + (y_nmi - ay) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        best = np.minimum(best, (x_nmi - ax - share * dx) ** 2 + (y_nmi - ay - share * dy) ** 2)
    return np.asarray(np.sqrt(best))


def _inside(
    corners: Sequence[tuple[float, float]], x_nmi: NDArray[np.float64], y_nmi: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Tell which nodes lie inside a polygon, by counting the sides east of them."""
    inside = np.zeros(np.broadcast(x_nmi, y_nmi).shape, dtype=bool)
    for (ax, ay), (bx, by) in zip(corners, (*corners[1:], corners[0]), strict=True):
        if ay == by:
            continue
        crosses = (y_nmi < ay) != (y_nmi < by)
        inside ^= crosses & (x_nmi < ax + (y_nmi - ay) * (bx - ax) / (by - ay))
    return inside


def _base() -> NDArray[np.float64]:
    """Signed distance to the skeleton's coast on the coarse grid, positive on land."""
    x_nmi, y_nmi = _BASE_GRID.nodes_nmi()
    away = line_distance_nmi((*_MAINLAND, _MAINLAND[0]), x_nmi, y_nmi)
    height = np.where(_inside(_MAINLAND, x_nmi, y_nmi), away, -away)
    for island in _ISLANDS:
        height = np.maximum(height, island.half_width_nmi - line_distance_nmi(island.points_nmi, x_nmi, y_nmi))
    return np.asarray(height)


def _clean(height: NDArray[np.float64], grid: Grid) -> NDArray[np.float64]:
    """Drown specks of land and fill ponds, but for the lagoon."""
    from scipy.ndimage import label  # noqa: PLC0415  # heavy: loaded only when a region is made

    land = height > 0
    parts, _ = label(land)
    small = np.bincount(parts.ravel()) < _SMALLEST_ISLAND_CELLS
    height = np.where(small[parts] & land, -0.03, height)
    waters, _ = label(height <= 0)
    kept = np.zeros(int(waters.max()) + 1, dtype=bool)
    kept[waters[grid.index(75.0, 2.0)]] = True  # the open sea
    kept[waters[grid.index(*_LAGOON.points_nmi[0])]] = True
    return np.asarray(np.where((height <= 0) & ~kept[waters], 0.03, height))


def build_coast(seed: int) -> Coast:
    """Make the land.

    Parameters
    ----------
    seed
        The region's seed.

    Returns
    -------
    Height on the fine grid, without ponds and without specks.
    """
    rng = chance(seed, "coast")
    grid = COAST_GRID
    x_nmi, y_nmi = grid.nodes_nmi()
    bend = (9.0, 4.4, 2.2, 1.1)
    warped_x = x_nmi + 2.6 * fractal(rng, x_nmi, y_nmi, bend)
    warped_y = y_nmi + 2.6 * fractal(rng, x_nmi, y_nmi, bend)
    height = _BASE_GRID.sample(_base(), np.column_stack([warped_x.ravel(), warped_y.ravel()])).reshape(grid.shape)
    raggedness = 0.7 + 0.5 * np.clip(2.0 * fractal(rng, x_nmi, y_nmi, (22.0, 11.0)) + 0.3, -1.0, 1.0)
    height = height + 4.4 * raggedness * fractal(rng, x_nmi, y_nmi, (5.0, 2.7, 1.5, 0.83, 0.45, 0.28), 0.9)
    drowned = np.abs(
        fractal(rng, warped_x, warped_y, (7.5, 3.4, 1.5))
    )  # zero along winding lines: valleys that the sea has filled
    height = height - 2.6 * np.clip(1.0 - drowned / 0.2, 0.0, 1.0) * np.clip(1.0 - np.abs(height) / 5.0, 0.0, 1.0)

    rock = fractal(rng, x_nmi, y_nmi, (3.3, 1.8, 0.95, 0.5, 0.27), 0.75)
    for line, half_width_nmi, stand in _BELTS:
        within = np.clip(1.0 - line_distance_nmi(line, warped_x, warped_y) / half_width_nmi, 0.0, 1.0)
        height = np.maximum(height, np.where(within > 0, 0.55 * (rock - 0.95) + stand * np.sqrt(within), -9.0))

    shake_x = x_nmi + 0.5 * fractal(rng, x_nmi, y_nmi, (2.2, 1.0, 0.5, 0.27))
    shake_y = y_nmi + 0.5 * fractal(rng, x_nmi, y_nmi, (2.2, 1.0, 0.5, 0.27))
    swell = np.clip(
        1.3 * fractal(rng, x_nmi, y_nmi, (2.5, 1.1, 0.5)), -0.1, 1.2
    )  # narrows and pools along the channels
    for channel in (*_CHANNELS, _LAGOON):
        height = np.minimum(
            height, line_distance_nmi(channel.points_nmi, shake_x, shake_y) - (1.0 + swell) * channel.half_width_nmi
        )
    wall = line_distance_nmi(
        ((19.5, 71.5), (22.6, 71.2), (26.5, 74.2), (25.0, 77.5), (21.0, 75.0), (19.5, 71.5)), shake_x, shake_y
    )
    height = np.maximum(height, 0.7 - wall)  # dry land all round the lagoon
    return Coast(grid, _clean(height, grid), _ISLANDS)
