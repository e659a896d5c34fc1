"""Lengths, courses and circles on the ellipsoid against values from outside the project.

Each value carries its source and how it was had: seen (the number was read in the source), second hand (in a quotation
of it) or memory (known, checked against the library beside it). All of them go through `layers.plane`, as every length
and course of the product does: positions are projected to a plane and measured there.
"""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from geographiclib.test.test_geodesic import GeodesicTest

from layers import METRES_PER_NMI, Plane, geodesic_ring

# Rows of (lat1, lon1, azi1, lat2, lon2, azi2, s12 and five more); azimuths are forward at either end.
PUBLISHED = np.array(GeodesicTest.testcases)
# Only a Mercator plane holds both ends of geodesics that go half round the world; no one's waters are so wide.
WORLD = Plane((-179.0, -80.0, 179.0, 80.0))
# Two programs that each claim 15 nm (geographiclib) and 1e-8 m for a trip to the plane and back: a hundredfold of it.
SAME_M = 1e-6
# That far across the ground, seen over the shortest of the lines (2300 km), is 2.5e-11 deg; fortyfold of it.
SAME_DEG = 1e-9


def between(a_deg: float, b_deg: float) -> float:
    """[deg] The angle between two courses, the short way round."""
    return abs((a_deg - b_deg + 180) % 360 - 180)


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60 + seconds / 3600


def ends_in(plane: Plane, *lonlat: tuple[float, float]) -> list[np.ndarray]:
    return [plane.to_plane([position]) for position in lonlat]


def test_there_are_twenty_published_geodesics():
    assert PUBLISHED.shape == (20, 12)


@pytest.mark.parametrize("row", PUBLISHED, ids=[f"{row[6] / 1000:.0f} km" for row in PUBLISHED])
def test_a_published_geodesic(row: np.ndarray):
    """The 20 geodesics of geographiclib's own tests, read from its wheel (2.1). Seen; 1e-6 m."""
    lat1, lon1, azi1, lat2, lon2, azi2, s12 = row[:7]
    a, b = ends_in(WORLD, (lon1, lat1), (lon2, lat2))
    assert WORLD.lengths_nmi(a, b)[0] * METRES_PER_NMI == pytest.approx(s12, rel=0, abs=SAME_M)
    assert WORLD.lengths_nmi(b, a)[0] * METRES_PER_NMI == pytest.approx(s12, rel=0, abs=SAME_M)
    assert between(WORLD.courses_deg(a, b)[0], azi1) < SAME_DEG
    assert between(WORLD.courses_deg(b, a)[0], azi2 + 180) < SAME_DEG


def test_the_published_geodesics_all_at_once():
    """The same, as arrays: what the product passes; the library is run beside it. Seen; 1e-6 m."""
    a, b = WORLD.to_plane(PUBLISHED[:, [1, 0]]), WORLD.to_plane(PUBLISHED[:, [4, 3]])
    beside = [Geodesic.WGS84.Inverse(row[0], row[1], row[3], row[4]) for row in PUBLISHED]
    metres = WORLD.lengths_nmi(a, b) * METRES_PER_NMI
    assert metres == pytest.approx([line["s12"] for line in beside], rel=0, abs=SAME_M)
    courses = WORLD.courses_deg(a, b)
    assert ((courses >= 0) & (courses < 360)).all()
    assert max(map(between, courses, [line["azi1"] for line in beside])) < SAME_DEG


def test_flinders_peak_to_buninyong():
    """54 972.271 m, 306 52 05.37 out and 127 10 25.07 back. Second hand; 1 mm and 0.01".

    Geoscience Australia's worked example of Vincenty's method. It is on GRS 80, whose flattening differs from WGS 84's
    in the ninth decimal place: under a thousandth of a millimetre over this line.
    """
    plane = Plane((143.5, -38.5, 145.0, -37.0))
    flinders, buninyong = ends_in(
        plane,
        (dms(144, 25, 29.52440), -dms(37, 57, 3.72030)),
        (dms(143, 55, 35.38390), -dms(37, 39, 10.15610)),
    )
    assert plane.lengths_nmi(flinders, buninyong)[0] * METRES_PER_NMI == pytest.approx(54972.271, abs=1e-3)
    assert between(plane.courses_deg(flinders, buninyong)[0], dms(306, 52, 5.37)) < 0.01 / 3600
    assert between(plane.courses_deg(buninyong, flinders)[0], dms(127, 10, 25.07)) < 0.01 / 3600


def test_a_nautical_mile():
    """1852 m exactly: International Extraordinary Hydrographic Conference 1929, SI brochure table 8. Memory."""
    assert METRES_PER_NMI == 1852


@pytest.mark.parametrize(
    ("middle", "minute_of_latitude_m", "minute_of_longitude_m"),
    [
        (0.0, 1842.9, 1855.3),
        (30.0, 1847.5, 1608.1),
        (45.0, 1852.2, 1314.2),
        (60.0, 1856.9, 930.0),
        (-60.0, 1856.9, 930.0),
    ],
)
def test_minutes_of_arc(middle: float, minute_of_latitude_m: float, minute_of_longitude_m: float):
    """Lengths of a minute as tables of the terrestrial spheroid print them (Bowditch, table 7). Memory; 0.1 m.

    Printed to a tenth, so 0.05 m; the older tables' spheroids differ by as much again.
    """
    plane = Plane((9.5, middle - 0.5, 10.5, middle + 0.5))
    south, north = ends_in(plane, (10.0, middle - 1 / 120), (10.0, middle + 1 / 120))
    assert plane.lengths_nmi(south, north)[0] * 1852 == pytest.approx(minute_of_latitude_m, abs=0.1)
    assert plane.courses_deg(south, north)[0] == pytest.approx(0, abs=1e-6)
    west, east = ends_in(plane, (10.0, middle), (10.0 + 1 / 60, middle))
    assert plane.lengths_nmi(west, east)[0] * 1852 == pytest.approx(minute_of_longitude_m, abs=0.1)
    assert plane.courses_deg(west, east)[0] == pytest.approx(90, abs=0.02)


@pytest.mark.parametrize(
    "extent",
    [
        (-39.5, 43.75, -36.0, 45.25),
        (103.0, -1.0, 105.0, 1.5),
        (174.0, -42.2, 179.5, -36.6),
        (18.0, 69.0, 26.0, 71.0),
        (10.0, 54.0, 11.0, 60.0),
        (178.0, -19.0, -178.0, -16.0),
    ],
)
def test_lengths_and_courses_over_a_days_waters(extent: tuple[float, float, float, float]):
    """By geographiclib 2.1, seen by running it; 1e-6 m, and courses to what 1e-6 m is over a mile, 3e-8 deg."""
    west, south, east, north = extent
    chance = np.random.default_rng(20260701)
    spread = chance.random((40, 4))
    lon = west + spread[:, [0, 2]] * ((east - west) % 360)
    lat = south + spread[:, [1, 3]] * (north - south)
    plane = Plane(extent)
    a, b = (plane.to_plane(np.column_stack([lon[:, end], lat[:, end]])) for end in (0, 1))
    lines = [Geodesic.WGS84.Inverse(y1, x1, y2, x2) for (x1, x2), (y1, y2) in zip(lon, lat, strict=True)]
    assert min(line["s12"] for line in lines) > METRES_PER_NMI
    assert plane.lengths_nmi(a, b) * METRES_PER_NMI == pytest.approx([line["s12"] for line in lines], rel=0, abs=SAME_M)
    assert max(map(between, plane.courses_deg(a, b), [line["azi1"] for line in lines])) < 3e-8


@pytest.mark.parametrize("radius_nmi", [1.0, 60.0, 250.0])
@pytest.mark.parametrize("position", [(-38.0, 44.5), (104.0, 0.2), (144.4, -37.9), (25.0, 71.0)])
def test_a_ring_is_a_circle_on_the_ellipsoid(position: tuple[float, float], radius_nmi: float):
    """Each corner as geographiclib 2.1 finds it, seen by running it: 1e-6 m, or 1e-11 deg.

    Between corners two degrees of bearing apart a ring cuts inside by 1 - cos 1 deg, 1.6e-4 of its radius: the promised
    range is never drawn too wide by that.
    """
    lon, lat = position
    ring = np.array(geodesic_ring(position, radius_nmi).coords)
    assert (ring[0] == ring[-1]).all()
    assert len(ring) == 181
    for bearing, corner in zip(range(0, 360, 2), ring, strict=False):
        there = Geodesic.WGS84.Direct(lat, lon, bearing, radius_nmi * METRES_PER_NMI)
        assert corner == pytest.approx([there["lon2"], there["lat2"]], rel=0, abs=1e-11)
    halfway = (ring[:-1] + ring[1:]) / 2
    for x, y in halfway:
        away_nmi = Geodesic.WGS84.Inverse(lat, lon, y, x)["s12"] / METRES_PER_NMI
        assert radius_nmi * (1 - 1e-3) < away_nmi
