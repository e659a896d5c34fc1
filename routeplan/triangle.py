"""The current triangle: course to steer and speed made good where the water itself moves."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Vector = NDArray[np.float64]

__all__ = ["LEAST_WAY_KN", "Steered", "find_ground_kn", "set_of", "steer"]

LEAST_WAY_KN = 0.1  # [kn] a boat that makes less good over the ground along her track doesn't get on


class Steered(NamedTuple):
    """How a track is kept in a current.

    Parameters
    ----------
    steer_deg
        [deg] True course to steer.
    ground_kn
        [kn] Speed made good along the track.
    """

    steer_deg: float
    ground_kn: float


def find_ground_kn(through_kn: ArrayLike, track_deg: ArrayLike, east_kn: ArrayLike, north_kn: ArrayLike) -> Vector:
    """[kn] Find the speed made good along tracks.

    Parameters
    ----------
    through_kn
        [kn] Speed through the water.
    track_deg
        [deg] True direction of the track over the ground.
    east_kn, north_kn
        [kn] The current, where it sets to. All broadcast.

    Returns
    -------
    Along + sqrt(through² - across²); 0 where the track can't be kept or nothing is made good along it.

    References
    ----------
    The vector triangle of every text on chart work: along and across are the current's parts along the track and to
    starboard of it.

    Examples
    --------
    >>> float(find_ground_kn(10.0, 0.0, 0.0, -2.0))
    8.0
    """
    angle = np.radians(np.asarray(track_deg, dtype=float))
    along = east_kn * np.sin(angle) + north_kn * np.cos(angle)
    across = east_kn * np.cos(angle) - north_kn * np.sin(angle)
    through = np.asarray(through_kn, dtype=float)
    left = through**2 - across**2
    made = along + np.sqrt(np.maximum(left, 0.0))
    return np.where((left > 0) & (made >= LEAST_WAY_KN), made, 0.0)


def steer(through_kn: float, track_deg: float, set_deg: float, drift_kn: float) -> Steered | None:
    """Find the course to steer that keeps a track.

    Parameters
    ----------
    through_kn
        [kn] Speed through the water.
    track_deg
        [deg] True direction of the track.
    set_deg, drift_kn
        [deg, kn] Where the current sets to, and its speed.

    Returns
    -------
    Course and speed made good; None where the track can't be kept.

    Examples
    --------
    >>> made = steer(6.0, 0.0, 90.0, 3.0)
    >>> round(made.steer_deg), round(made.ground_kn, 2)
    (330, 5.2)
    """
    angle = np.radians(set_deg)
    east, north = drift_kn * np.sin(angle), drift_kn * np.cos(angle)
    ground_kn = float(find_ground_kn(through_kn, track_deg, east, north))
    if ground_kn <= 0:
        return None
    across = drift_kn * np.sin(np.radians(set_deg - track_deg))
    return Steered(_turned(float(track_deg - np.degrees(np.arcsin(across / through_kn)))), ground_kn)


def set_of(east_kn: float, north_kn: float) -> tuple[float, float]:
    """[deg, kn] Turn a current's parts into set and drift.

    Parameters
    ----------
    east_kn, north_kn
        [kn] Its parts.

    Returns
    -------
    Where it sets to, true, and its speed.
    """
    return _turned(float(np.degrees(np.arctan2(east_kn, north_kn)))), float(np.hypot(east_kn, north_kn))


def _turned(angle_deg: float) -> float:
    """[deg] Bring an angle into [0, 360): a hair under nothing would else come out as 360."""
    turned = angle_deg % 360.0
    return 0.0 if turned == 360.0 else turned
