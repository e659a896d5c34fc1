"""Shapes fitted to a window: mended, cut, counted; areas by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from layers.mending import area_m2, fit_shapes, window_of
from layers.shapes import object_array

WINDOW = window_of((-39, 44, -38, 45))


def fit(*shapes: object, window: object = WINDOW) -> object:
    return fit_shapes(object_array(list(shapes)), window, lambda place: f"row {place + 1}")


def test_areas_are_those_of_the_ellipsoid_within_a_percent():
    """A box of a tenth of a degree at 10, 45 and 70 degrees, by geographiclib."""
    for lat in (10, 45, 70):
        ring = Geodesic.WGS84.Polygon()
        for corner in ((lat, 0), (lat, 0.1), (lat + 0.1, 0.1), (lat + 0.1, 0)):
            ring.AddPoint(*corner)
        assert area_m2(shapely.box(0, lat, 0.1, lat + 0.1)) == pytest.approx(abs(ring.Compute()[2]), rel=1e-2)


def test_an_outline_that_crosses_itself_is_mended_and_told():
    """Two triangles of base 0.2 and height 0.1 degrees, point to point: 0.02 square degrees at 44.5 north.

    A square degree there is 111.2 km x 111.2 km x cos 44.5, by the sphere; as drawn, their areas cancel out.
    """
    hourglass = shapely.Polygon([(-38.6, 44.4), (-38.4, 44.6), (-38.6, 44.6), (-38.4, 44.4)])
    fitted = fit(hourglass)
    (mend,) = fitted.mends
    assert "crosses itself at longitude -38.500000, latitude 44.500000" in mend.problem
    assert mend.before_m2 == pytest.approx(0, abs=1e6)
    assert mend.after_m2 == pytest.approx(0.02 * 111.2e3**2 * math.cos(math.radians(44.5)), rel=0.01)
    assert fitted.shapes[0].is_valid


def test_an_outline_that_goes_round_twice_leaves_no_hole():
    """What a ring goes round twice is land, not water: the safe side."""
    ring = [(-38.6, 44.4), (-38.3, 44.4), (-38.3, 44.6), (-38.5, 44.6), (-38.5, 44.3), (-38.4, 44.3), (-38.4, 44.7)]
    twice = shapely.Polygon([*ring, (-38.6, 44.7)])
    assert not twice.is_valid
    mended = fit(twice).shapes[0]
    assert mended.covers(shapely.Point(-38.45, 44.5))
    assert mended.covers(shapely.Point(-38.35, 44.5))


def test_what_lies_outside_is_counted_and_what_crosses_the_edge_is_cut():
    fitted = fit(
        shapely.box(-38.6, 44.4, -38.5, 44.5),
        shapely.box(-38.1, 44.4, -37.5, 44.5),
        shapely.box(10, 44, 11, 45),
        shapely.Point(-38.5, 44.5),
        shapely.Point(-37.5, 44.5),
        shapely.LineString([(-38.5, 44.5), (-37, 44.5)]),
    )
    assert [shape is None for shape in fitted.shapes] == [False, False, True, False, True, False]
    assert fitted.outside == [2, 4]
    assert fitted.cut == 1
    assert fitted.shapes[1].bounds == pytest.approx((-38.1, 44.4, -38, 44.5))
    assert fitted.shapes[5].bounds == (-38.5, 44.5, -37, 44.5)  # a bridge stays whole


def test_slivers_are_left_out_and_counted():
    """A millionth of a degree is a tenth of a metre: a square of it has a hundredth of a square metre."""
    speck = shapely.box(-38.5, 44.5, -38.499999, 44.500001)
    fitted = fit(shapely.MultiPolygon([speck, shapely.box(-38.4, 44.4, -38.3, 44.5)]), speck)
    assert fitted.slivers == 0  # as they were drawn: an islet, a pile
    west = WINDOW.bounds[0]
    over = shapely.box(west - 0.1, 44.5, west + 0.000001, 44.500001)
    fitted = fit(over)
    assert fitted.slivers == 1
    assert fitted.shapes[0] is None
    fitted = fit(shapely.MultiPolygon([over, shapely.box(-38.4, 44.4, -38.3, 44.5)]), over)
    assert fitted.slivers == 2
    assert fitted.shapes[0].geom_type == "Polygon"
    assert fitted.shapes[1] is None


def test_what_is_wrong_elsewhere_in_a_coast_of_the_world_is_no_concern():
    hourglass = shapely.Polygon([(100, 0), (102, 2), (100, 2), (102, 0)])
    fitted = fit(shapely.MultiPolygon([hourglass, shapely.box(-38.6, 44.4, -38.5, 44.5)]))
    assert not fitted.mends
    assert fitted.shapes[0].equals(shapely.box(-38.6, 44.4, -38.5, 44.5))


def test_the_180th_meridian():
    """Drawn beyond 180, drawn from 0 to 360, and drawn without a cut: the same island, a degree on either side."""
    window = window_of((178, -20, -178, -15))
    whole = [shapely.box(179, -18, 180, -17), shapely.box(-180, -18, -179, -17)]
    beyond, uncut = shapely.box(179, -18, 181, -17), shapely.Polygon([(179, -18), (-179, -18), (-179, -17), (179, -17)])
    fitted = fit(beyond, shapely.box(-181, -18, -179, -17), uncut, window=window)
    for shape in fitted.shapes:
        assert shapely.equals(shapely.union_all(whole), shapely.union_all([shape]))
        assert np.abs(shapely.get_coordinates(shape)[:, 0]).max() <= 180
    assert fitted.turned == 2
    (mend,) = fitted.mends
    assert mend.place == 2
    assert "drawn across the 180th meridian without a cut" in mend.problem


def test_what_is_no_position_is_left_to_the_checker():
    shapes = [
        shapely.Point(math.nan, 44),
        shapely.Point(-38, 95),
        shapely.Polygon([(0, 0), (math.inf, 1), (1, 1)]),
        None,
    ]
    fitted = fit(*shapes)
    assert [shape is None for shape in fitted.shapes] == [False, False, False, True]
