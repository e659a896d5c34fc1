"""The metric plane: conformal, near to scale, and true to a metre both ways.

Angles, scale and edges are measured with geographiclib, not with what the plane itself uses.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given
from hypothesis import strategies as st

from layers import METRES_PER_NMI, Plane

DEMO = (-39.5, 43.75, -36.0, 45.25)
DAYS_WATERS = {
    "the demo": DEMO,
    "across the equator": (103.0, -1.0, 105.5, 1.5),
    "south": (150.0, -35.0, 153.0, -32.5),
    "70 north": (18.0, 69.0, 26.0, 71.0),
    "tall and narrow": (10.0, 54.0, 11.0, 58.0),
    "tall and narrow in the south": (-74.0, -46.0, -73.0, -42.0),
    "across the antimeridian": (178.5, -19.0, -178.5, -16.5),
    "low latitudes": (-62.0, 9.0, -59.0, 12.0),
    "just clear of the equator": (-80.0, 2.0, -77.0, 5.0),
    "one harbour": (-38.1, 44.5, -38.05, 44.53),
}
WIDE = {"half of New Zealand": (174.0, -42.2, 179.5, -36.6), "just outside the tropics": (-62.0, 12.0, -59.0, 14.5)}
LOW = {"from the equator north": (-52.0, -0.5, -45.0, 12.0)}
EXTENTS = DAYS_WATERS | WIDE | LOW

every_extent = pytest.mark.parametrize("extent", EXTENTS.values(), ids=EXTENTS)


plane_of = cache(Plane)
thousandths = st.tuples(*[st.integers(0, 1000)] * 4)  # of an extent's width and height, for either end of a line


def line_in(extent: tuple[float, float, float, float], ends: tuple[int, int, int, int]) -> np.ndarray:
    """[deg] Two different positions in an extent."""
    assume(ends[:2] != ends[2:])
    west, south, east, north = extent
    return np.array(ends).reshape(2, 2) / 1000 * [(east - west) % 360, north - south] + [west, south]


def grid(extent: tuple[float, float, float, float], count: int = 9) -> np.ndarray:
    """[deg] Longitude and latitude of points all over an extent, its edges and corners among them."""
    west, south, east, north = extent
    lon = west + np.linspace(0, 1, count) * ((east - west) % 360)
    return np.array([(x, y) for x in lon for y in np.linspace(south, north, count)])


def steps(plane: Plane, lonlat: np.ndarray, bearing: float, metres: float = 10.0) -> np.ndarray:
    """[m] What a step over the ground becomes in the plane, half of it behind each point and half ahead."""
    ends = []
    for lon, lat in lonlat:
        ahead, behind = (Geodesic.WGS84.Direct(lat, lon, bearing, by) for by in (metres / 2, -metres / 2))
        ends.append([(behind["lon2"], behind["lat2"]), (ahead["lon2"], ahead["lat2"])])
    xy = plane.to_plane(np.array(ends).reshape(-1, 2)).reshape(-1, 2, 2)
    return xy[:, 1] - xy[:, 0]


def scales(plane: Plane, lonlat: np.ndarray, bearing: float) -> np.ndarray:
    return np.hypot(*steps(plane, lonlat, bearing).T) / 10.0


def turned(plane: Plane, lonlat: np.ndarray) -> np.ndarray:
    """[deg] From true north to the plane's y."""
    north = steps(plane, lonlat, 0.0)
    return np.degrees(np.arctan2(north[:, 0], north[:, 1]))


@every_extent
def test_it_is_conformal(extent: tuple[float, float, float, float]):
    """Bearings keep their angles and steps of 10 m their proportions, wherever and whichever way.

    Over 10 m the sphere itself bends by 2e-6, at 70 degrees north the meridians by three times that: 1e-5.
    """
    plane, points = plane_of(extent), grid(extent)
    north = steps(plane, points, 0.0)
    for bearing in (37.0, 90.0, 211.0):
        step = steps(plane, points, bearing)
        turn = np.arctan2(step[:, 0], step[:, 1]) - np.arctan2(north[:, 0], north[:, 1]) - np.radians(bearing)
        assert np.abs((turn + np.pi) % (2 * np.pi) - np.pi).max() < 1e-5
        assert scales(plane, points, bearing) == pytest.approx(scales(plane, points, 0.0), rel=1e-5)


@pytest.mark.parametrize("extent", DAYS_WATERS.values(), ids=DAYS_WATERS)
def test_its_scale_is_within_a_few_parts_in_ten_thousand(extent: tuple[float, float, float, float]):
    """As the module says of a day's waters; a stand-off of 50 m is then out by 2.5 cm."""
    plane, points = plane_of(extent), grid(extent)
    assert np.abs(scales(plane, points, 90.0) - 1).max() < 5e-4


@pytest.mark.parametrize("extent", WIDE.values(), ids=WIDE)
def test_its_scale_over_wide_waters(extent: tuple[float, float, float, float]):
    """On a cone the scale is out by an eighth of the square of the height, once the parallels share it: 1.2e-3."""
    plane, points = plane_of(extent), grid(extent)
    assert np.abs(scales(plane, points, 90.0) - 1).max() < 1.2e-3


@pytest.mark.parametrize("extent", LOW.values(), ids=LOW)
def test_its_scale_over_low_latitudes(extent: tuple[float, float, float, float]):
    """A cone fits as soon as the middle is off the equator, though the extent crosses it.

    By hand: 12.5 degrees are 0.218; a sixteenth of the square is 0.30 %, once the parallels share it. On a cylinder it
    would be cos 5.75 / cos 12 = 1.7 %. A stand-off of 50 m is then out by 0.15 m.
    """
    plane, points = plane_of(extent), grid(extent)
    assert np.abs(scales(plane, points, 90.0) - 1).max() < 0.004


@every_extent
def test_north_is_up_in_the_middle(extent: tuple[float, float, float, float]):
    west, south, east, north = extent
    middle = np.array([(west + ((east - west) % 360) / 2, (south + north) / 2)])
    plane = Plane(extent)
    assert np.abs(plane.to_plane(middle)).max() < 1e-3
    assert np.abs(turned(plane, middle)).max() < 1e-5


@every_extent
def test_there_and_back(extent: tuple[float, float, float, float]):
    """A ten-thousandth of a millimetre, a hundredth of the grid that water is cut on, and then some."""
    plane, points = plane_of(extent), grid(extent)
    back = plane.to_lonlat(plane.to_plane(points))
    assert np.abs((back - points + 180) % 360 - 180).max() < 1e-12 * 180
    assert np.abs(plane.to_plane(back) - plane.to_plane(points)).max() < 1e-7


@every_extent
@given(ends=thousandths)
def test_an_edge_drawn_in_degrees_moves_by_less_than_a_metre(
    extent: tuple[float, float, float, float], ends: tuple[int, int, int, int]
):
    """A straight line in longitude and latitude, tried every thousandth of its length; design: less than 1 m.

    The other reading of an edge, the geodesic, differs from it by far more where the edge is long. Formats that carry
    longitude and latitude mean the straight line (RFC 7946, 3.1.1), so that is the one kept.
    """
    plane, across = plane_of(extent), line_in(extent, ends)
    drawn = plane.project(shapely.LineString(across))
    true = plane.to_plane(across[0] + np.linspace(0, 1, 1001)[:, None] * (across[1] - across[0]))
    assert shapely.distance(shapely.points(true), drawn).max() < 1.0


@every_extent
def test_the_edges_of_the_extent_move_by_less_than_a_metre(extent: tuple[float, float, float, float]):
    """Along its parallels, where an edge bends most."""
    west, south, east, north = extent
    plane = Plane(extent)
    span = np.linspace(0, (east - west) % 360, 20_001) + west
    box = plane.box()
    for lat in (south, north):
        edge = shapely.points(plane.to_plane(np.column_stack([span, np.full_like(span, lat)])))
        assert shapely.distance(edge, box.exterior).max() < 1.0
    assert box.area == pytest.approx(true_area_m2(extent), rel=2 * 0.02)  # the square of the widest scale


def true_area_m2(extent: tuple[float, float, float, float]) -> float:
    """[m2] Of a box of degrees on the ellipsoid, its parallels cut into short geodesics."""
    west, south, east, north = extent
    polygon = Geodesic.WGS84.Polygon()
    span = west + np.linspace(0, 1, 501) * ((east - west) % 360)
    for lon in span:
        polygon.AddPoint(south, lon)
    for lon in span[::-1]:
        polygon.AddPoint(north, lon)
    return float(polygon.Compute(reverse=False, sign=True)[2])


@every_extent
@given(ends=thousandths)
def test_a_track_stays_within_a_metre_of_its_leg(
    extent: tuple[float, float, float, float], ends: tuple[int, int, int, int]
):
    """A leg is straight in the plane; its track is what a chart plotter joins up in longitude and latitude.

    Both ways: every thousandth of the leg lies within a metre of the track, and every tenth of each piece of the track,
    whether the plotter draws it straight in degrees or as the geodesic, within a metre of the leg.
    """
    plane, across = plane_of(extent), line_in(extent, ends)
    leg = shapely.LineString(plane.to_plane(across))
    track = shapely.get_coordinates(plane.unwrapped(plane.unproject(leg)))  # pieces of a cut track are one again
    pieces = np.stack([track[:-1], track[1:]], axis=1)
    share = np.linspace(0, 1, 11)[:, None]
    straight = np.concatenate([a + share * (b - a) for a, b in pieces])
    along = plane.to_plane(straight)
    assert shapely.distance(shapely.points(along), leg).max() < 1.0
    true = shapely.get_coordinates(leg.interpolate(np.linspace(0, 1, 1001), normalized=True))
    assert shapely.distance(shapely.points(true), shapely.LineString(along)).max() < 1.0
    geodesic = []
    for (x1, y1), (x2, y2) in pieces[:: max(1, len(pieces) // 4)]:
        line = Geodesic.WGS84.InverseLine(y1, x1, y2, x2)
        for part in share[:, 0]:
            there = line.Position(part * line.s13)
            geodesic.append((there["lon2"], there["lat2"]))
    assert shapely.distance(shapely.points(plane.to_plane(np.array(geodesic))), leg).max() < 1.0


def test_a_leg_is_all_but_the_geodesic():
    """The longest leg of the demo, corner to corner: its track is longer than the geodesic by less than 1e-5 of it."""
    plane = Plane(DEMO)
    ends = plane.to_plane([DEMO[:2], DEMO[2:]])
    leg = shapely.get_coordinates(shapely.segmentize(shapely.LineString(ends), 100.0))
    along_nmi = plane.lengths_nmi(leg[:-1], leg[1:]).sum()
    straight_nmi = Geodesic.WGS84.Inverse(DEMO[1], DEMO[0], DEMO[3], DEMO[2])["s12"] / METRES_PER_NMI
    assert straight_nmi <= along_nmi < straight_nmi * (1 + 1e-5)
    assert plane.lengths_nmi(ends[:1], ends[1:])[0] == pytest.approx(straight_nmi, rel=1e-12)


# 1,500 nmi from corner to corner, the most that is promised
FARTHEST = {
    "square across the equator": (-45.8, -8.8, -28.2, 8.8),
    "square, its middle just off the equator": (171.2, -7.3, -171.2, 10.3),
    "square from the equator north": (171.1, 0.2, -171.1, 17.8),
    "square from the equator south": (-169.3, -17.0, -150.7, 0.0),
    "square in middle latitudes": (-51.5, 36.2, -24.5, 53.8),
    "square across 180 in the south": (167.5, -53.8, -167.5, -36.2),
    "square up to 72 north": (160.4, 54.3, -160.4, 72.0),
    "60 to 72 north": (-6.9, 60.0, 46.9, 72.0),
    "60 to 72 south": (152.1, -72.0, -154.1, -60.0),
    "71 to 72 south": (139.6, -72.0, -141.6, -71.0),
    "wide": (163.5, 40.5, -163.5, 49.5),
    "tall": (-48.3, 48.9, -25.7, 71.1),
    "tall and narrow across 180": (178.0, -62.0, -178.0, -38.0),
}


@pytest.mark.parametrize("extent", FARTHEST.values(), ids=FARTHEST)
def test_a_leg_across_the_largest_extents_is_all_but_the_geodesic(extent: tuple[float, float, float, float]):
    """Straight in the plane and walked on the globe it is longer by less than 0.05 %, and than the plane says.

    Between corners and middles of sides, where bends are largest and ways longest, as far as they stay in the extent.
    Twenty pieces lose a four-hundredth of a bend.
    """
    west, south, east, north = extent
    plane, lon = Plane(extent), west + np.array([0, 0.5, 1]) * ((east - west) % 360)
    ends = [(x, y) for x in lon for y in (south, (south + north) / 2, north)]
    worst = 0.0
    for a, b in combinations(ends, 2):
        xy = plane.to_plane([a, b])
        walked = plane.to_lonlat(xy[0] + np.linspace(0, 1, 21)[:, None] * (xy[1] - xy[0]))
        if not plane.covers_lonlat(walked[1:-1]).all():
            continue
        straight = Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"]
        length = sum(Geodesic.WGS84.Inverse(p[1], p[0], q[1], q[0])["s12"] for p, q in pairwise(walked))
        worst = max(worst, length / straight - 1)
    assert 0 < worst < 0.0005
    assert worst <= plane.most_excess + 1e-9
    assert plane.most_excess < 0.0005


def test_the_excess_of_a_square_is_as_by_hand():
    """1,060 nmi are 0.308 of the radius; half of them off the middle the scale's logarithm grows by 0.154 a radius.

    A leg along the edge is longer by (0.154 x 0.308)^2 / 24 = 9.4e-5.
    """
    assert Plane(FARTHEST["square across the equator"]).most_excess == pytest.approx(9.4e-5, rel=0.03)


@pytest.mark.parametrize("extent", (EXTENTS | FARTHEST).values(), ids=EXTENTS | FARTHEST)
def test_land_of_the_whole_world_is_no_trouble(extent: tuple[float, float, float, float]):
    """A rectangle of the world covers the extent, one of the other pole nothing of it: both sound and finite."""
    plane = plane_of(extent)
    other = shapely.box(-180, -90, 180, -80) if extent[1] + extent[3] > 0 else shapely.box(-180, 80, 180, 90)
    world, far = plane.project(np.array([shapely.box(-180, -90, 180, 90), other], dtype=object))
    assert world.is_valid
    assert world.intersection(plane.box()).area == pytest.approx(plane.box().area, rel=1e-9)
    assert far.is_valid
    assert far.is_empty or not far.intersects(plane.box())


def test_shapes_of_every_kind_are_projected_in_kind():
    plane = Plane(DEMO)
    shapes = np.array(
        [
            shapely.Point(-38, 44),
            shapely.LineString([(-38, 44), (-37, 44)]),
            shapely.Polygon([(-38, 44), (-37, 44), (-37, 45)], [[(-37.3, 44.2), (-37.2, 44.2), (-37.2, 44.3)]]),
            shapely.MultiPolygon([shapely.box(-38, 44, -37.9, 44.1), shapely.box(-37, 44, -36.9, 44.1)]),
            shapely.Polygon(),
        ],
        dtype=object,
    )
    there = plane.project(shapes)
    back = plane.unproject(there)
    for before, in_plane, after in zip(shapes, there, back, strict=True):
        assert in_plane.geom_type == after.geom_type == before.geom_type
        assert after.is_empty == before.is_empty
        assert shapely.get_num_interior_rings(in_plane) == shapely.get_num_interior_rings(before)
        if not before.is_empty:
            assert after.hausdorff_distance(before) < 1e-5  # a metre at the most
    assert shapes[1].equals(shapely.LineString([(-38, 44), (-37, 44)]))  # what came in is as it was


def test_a_line_of_no_length_stays_one():
    """A passage to where the boat lies already has such a track."""
    plane = Plane(DEMO)
    there = plane.project(shapely.LineString([(-38, 44), (-38, 44)]))
    assert there.length == 0
    assert plane.unproject(there).length == 0


def test_no_points_are_no_points():
    plane = Plane(DEMO)
    nothing = np.empty((0, 2))
    assert plane.to_plane(nothing).shape == plane.to_lonlat(nothing).shape == (0, 2)
    assert plane.lengths_nmi(nothing, nothing).shape == plane.courses_deg(nothing, nothing).shape == (0,)
