"""The flat drawing board on which the invented coast is made, and the noise that makes it ragged.

Everything is drawn in nautical miles east (x) and north (y) of the extent's south-west corner and turned into
longitude and latitude once, when it is written.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = [
    "DECIMALS",
    "EXTENT",
    "HEIGHT_NMI",
    "METRE_NMI",
    "WIDTH_NMI",
    "Grid",
    "chance",
    "fractal",
    "to_lon_lat",
    "to_plane",
]

EXTENT = (-39.5, 43.75, -36.0, 45.25)  # [deg] west, south, east, north: open Atlantic, far from any land
DECIMALS = 6  # of a degree in every file: about 0.1 m
METRE_NMI = 1.0 / 1852.0  # [nmi per m] by definition of the nautical mile
_NMI_PER_DEG_LAT = 60.0  # the drawing's own scale; distances that matter are measured on the ellipsoid
_NMI_PER_DEG_LON = 60.0 * math.cos(math.radians(0.5 * (EXTENT[1] + EXTENT[3])))
WIDTH_NMI = (EXTENT[2] - EXTENT[0]) * _NMI_PER_DEG_LON  # [nmi] of the board
HEIGHT_NMI = (EXTENT[3] - EXTENT[1]) * _NMI_PER_DEG_LAT  # [nmi] of the board


def to_lon_lat(points_nmi: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn points of the board into longitude and latitude.

    Parameters
    ----------
    points_nmi
        [nmi] x and y, one point a row.

    Returns
    -------
    [deg] longitude and latitude, one point a row, not yet rounded.

    Examples
    --------
    >>> to_lon_lat(np.array([[0.0, 45.0]])).tolist()
    [[-39.5, 44.5]]
    """
    scale = np.array([_NMI_PER_DEG_LON, _NMI_PER_DEG_LAT])
    return np.asarray(np.asarray(points_nmi, dtype=np.float64) / scale + np.array(EXTENT[:2]))


def to_plane(lon_lat: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn longitude and latitude into points of the board.

    Parameters
    ----------
    lon_lat
        [deg] longitude and latitude, one point a row.

    Returns
    -------
    [nmi] x and y, one point a row.
    """
    scale = np.array([_NMI_PER_DEG_LON, _NMI_PER_DEG_LAT])
    return np.asarray((np.asarray(lon_lat, dtype=np.float64) - np.array(EXTENT[:2])) * scale)


@dataclass(frozen=True)
class Grid:
    """Square nodes over the board and a margin round it, rows from south to north.

    Parameters
    ----------
    step_nmi
        [nmi] Distance of neighbouring nodes.
    margin_nmi
        [nmi] How far the nodes go beyond the extent, so that nothing is drawn by the edge of the grid.
    """

    step_nmi: float
    margin_nmi: float = 1.0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of nodes."""
        rows = math.ceil((HEIGHT_NMI + 2 * self.margin_nmi) / self.step_nmi) + 1
        columns = math.ceil((WIDTH_NMI + 2 * self.margin_nmi) / self.step_nmi) + 1
        return rows, columns

    def nodes_nmi(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Place the nodes.

        Returns
        -------
        tuple
            [nmi] x and y of every node, each in the grid's shape.
        """
        rows, columns = self.shape
        x_nmi = np.arange(columns) * self.step_nmi - self.margin_nmi
        y_nmi = np.arange(rows) * self.step_nmi - self.margin_nmi
        return np.broadcast_to(x_nmi, self.shape), np.broadcast_to(y_nmi[:, None], self.shape)

    def index(self, x_nmi: float, y_nmi: float) -> tuple[int, int]:
        """Find the node nearest to a point of the board.

        Parameters
        ----------
        x_nmi, y_nmi
            [nmi] The point.

        Returns
        -------
        tuple
            Its row and column.
        """
        return (round((y_nmi + self.margin_nmi) / self.step_nmi), round((x_nmi + self.margin_nmi) / self.step_nmi))

    def sample(self, field: NDArray[np.float64], points_nmi: NDArray[np.float64]) -> NDArray[np.float64]:
        """Read a field between its nodes, by bilinear interpolation.

        Parameters
        ----------
        field
            One value a node, in the grid's shape.
        points_nmi
            [nmi] x and y, one point a row.

        Returns
        -------
        One value a point, in the field's unit.
        """
        at = (np.asarray(points_nmi, dtype=np.float64) + self.margin_nmi) / self.step_nmi
        rows, columns = self.shape
        column = np.clip(at[:, 0], 0, columns - 1.000001)
        row = np.clip(at[:, 1], 0, rows - 1.000001)
        left, low = column.astype(int), row.astype(int)
        east, north = column - left, row - low
        south = field[low, left] * (1 - east) + field[low, left + 1] * east
        above = field[low + 1, left] * (1 - east) + field[low + 1, left + 1] * east
        return np.asarray(south * (1 - north) + above * north)


def chance(seed: int, stream: str) -> np.random.Generator:
    """Return the random numbers of one part of the region.

    Each part draws from a stream of its own, so that a change in one leaves the others as they were.

    Parameters
    ----------
    seed
        The region's seed.
    stream
        Name of the part.

    Returns
    -------
    Always the same numbers for the same seed and name. Only ``random()`` is drawn from it: that stream is the same
    in every version of numpy, which the shaped distributions don't promise.
    """
    return np.random.Generator(np.random.PCG64([seed, *stream.encode()]))


def _one_wave(
    rng: np.random.Generator, x_nmi: NDArray[np.float64], y_nmi: NDArray[np.float64], wave_nmi: float
) -> NDArray[np.float64]:
    """Gradient noise of one wavelength, about -1 to 1, on a lattice turned and shifted at random."""
    turn = rng.random() * 2 * math.pi
    shift = rng.random(2)
    u = (x_nmi * math.cos(turn) - y_nmi * math.sin(turn)) / wave_nmi + shift[0]
    v = (x_nmi * math.sin(turn) + y_nmi * math.cos(turn)) / wave_nmi + shift[1]
    left, low = np.floor(u), np.floor(v)
    u, v = u - left, v - low
    left, low = left - left.min(), low - low.min()
    i, j = low.astype(np.int64), left.astype(np.int64)
    angle = rng.random((int(i.max()) + 2, int(j.max()) + 2)) * 2 * math.pi
    east, north = np.cos(angle), np.sin(angle)

    def corner(di: int, dj: int) -> NDArray[np.float64]:
        return np.asarray(east[i + di, j + dj] * (u - dj) + north[i + di, j + dj] * (v - di))

    fade_u, fade_v = u * u * u * (u * (u * 6 - 15) + 10), v * v * v * (v * (v * 6 - 15) + 10)
    south = corner(0, 0) * (1 - fade_u) + corner(0, 1) * fade_u
    above = corner(1, 0) * (1 - fade_u) + corner(1, 1) * fade_u
    return np.asarray(1.5 * (south * (1 - fade_v) + above * fade_v))


def fractal(
    rng: np.random.Generator,
    x_nmi: NDArray[np.float64],
    y_nmi: NDArray[np.float64],
    waves_nmi: Sequence[float],
    roughness: float = 0.85,
) -> NDArray[np.float64]:
    """Sum noise of several wavelengths, the long ones high and the short ones low.

    Parameters
    ----------
    rng
        Where the random numbers come from.
    x_nmi, y_nmi
        [nmi] Where the noise is wanted.
    waves_nmi
        [nmi] The wavelengths.
    roughness
        Power of the wavelength that the height follows: less is rougher.

    Returns
    -------
    The sum; the longest wave has a height of about 1.
    """
    longest = max(waves_nmi)
    total = np.zeros(np.broadcast(x_nmi, y_nmi).shape)
    for wave_nmi in waves_nmi:
        total += (wave_nmi / longest) ** roughness * _one_wave(rng, x_nmi, y_nmi, wave_nmi)
    return total
