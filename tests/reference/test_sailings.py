"""Rhumb lines against values from outside the project.

The product sails no rhumb lines: a leg is as long as the geodesic, and its course is the geodesic's initial course. But
over an extent that touches the equator its plane is Mercator's, and there a straight leg *is* a rhumb line. Published
rhumb lines so check the plane itself, by a road that no geodesic test takes: its angles must be the true courses, and a
straight leg brought back to the globe and measured piece by piece must be as long as the rhumb line.

Plane sailing (026 deg, 435 nm: 391.0 N, departure 190.7) has no place here: nothing in the product takes the sea for
flat, so such a test could only check its own sine and cosine.

Marks: seen (the number was read in the source).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from layers import METRES_PER_NMI, Plane


def walk(plane: Plane, line: shapely.LineString, pieces: int) -> tuple[np.ndarray, np.ndarray]:
    """[deg, nmi] Positions along a leg of the plane as it is drawn, and how far each lies from its start."""
    xy = shapely.get_coordinates(line.interpolate(np.linspace(0, 1, pieces + 1), normalized=True))
    along = np.concatenate([[0.0], np.cumsum(plane.lengths_nmi(xy[:-1], xy[1:]))])
    return plane.to_lonlat(xy), along


def course_of(a: np.ndarray, b: np.ndarray) -> float:
    """[deg] Of a straight line on a plane whose y is north everywhere."""
    dx, dy = (b - a).tolist()
    return math.degrees(math.atan2(dx, dy)) % 360


def test_a_rhumb_line_half_round_the_world():
    """40 38 23 N 73 46 44 W to 1 21 33 N 103 59 22 E: 103.582 833 003 4 deg, 18 523 563.042 38 m. Seen; 1e-3 m.

    Manual of RhumbSolve (GeographicLib). The ten decimals of the course allow 1e-9 deg. Chords of 93 m are shorter than
    the line by 1e-11 of it, a fifth of a millimetre.
    """
    plane = Plane((-80.0, -42.0, 110.0, 42.0))  # as far south as north: Mercator
    start = -(73 + 46 / 60 + 44 / 3600), 40 + 38 / 60 + 23 / 3600
    end = 103 + 59 / 60 + 22 / 3600, 1 + 21 / 60 + 33 / 3600
    ends = plane.to_plane([start, end])
    assert course_of(*ends) == pytest.approx(103.5828330034, rel=0, abs=1e-9)
    _, along = walk(plane, shapely.LineString(ends), 200_000)
    assert along[-1] * METRES_PER_NMI == pytest.approx(18523563.04238, rel=0, abs=1e-3)


def test_a_mercator_sailing():
    """From 36 48 N 85 53 W on 241 deg, 1897 miles: 21 28.3 N 117 32.5 W. Seen (nautical examination exercise).

    Where the leg crosses 21 28.3 N its longitude must be the exercise's to 0.5', which is what tables of another
    spheroid leave; on a sphere it would be out by 10'. The distance agrees only to half a percent, and both are right:
    the exercise counts a minute of latitude as a mile, and on WGS 84 that is 1843 m at the equator, 1862 at the poles.
    """
    plane = Plane((-125.0, -40.0, -80.0, 40.0))  # as far south as north: Mercator
    start = plane.to_plane([(-(85 + 53 / 60), 36 + 48 / 60)])[0]
    course = math.radians(241)
    line = shapely.LineString([start, start + np.array([math.sin(course), math.cos(course)]) * 5e6])
    positions, along = walk(plane, line, 5000)
    lon, lat = positions.T
    at_lat = 21 + 28.3 / 60
    assert np.interp(-at_lat, -lat, lon) == pytest.approx(-(117 + 32.5 / 60), rel=0, abs=0.5 / 60)
    assert np.interp(-at_lat, -lat, along) == pytest.approx(1897, rel=5e-3)
