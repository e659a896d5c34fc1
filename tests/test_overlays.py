"""Polygons united and cut: valid whatever goes in."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from routeplan.overlays import cut, polygons_of, unite

GRID_M = 0.01


def test_lines_among_the_shapes_are_left_out():
    """Two squares, the second in a collection with a line that runs out of it."""
    mixed = shapely.GeometryCollection([shapely.box(1, 0, 3, 2), shapely.LineString([(3, 1), (5, 1)])])
    whole = unite([shapely.box(0, 0, 2, 2), mixed], GRID_M)
    assert whole.is_valid
    assert whole.equals(shapely.box(0, 0, 3, 2))


def test_a_bow_tie_among_the_shapes_counts_by_both_of_its_loops():
    tie = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    whole = unite([tie, shapely.box(0, 0, 0.5, 0.5)], GRID_M)
    assert whole.is_valid
    assert whole.covers(shapely.Point(1.9, 1)) or whole.covers(shapely.Point(0.1, 1))


def test_nothing_stays_nothing():
    assert unite([], GRID_M).is_empty
    assert polygons_of(shapely.LineString([(0, 0), (1, 1)])).is_empty
    assert cut(shapely.box(0, 0, 1, 1), shapely.box(-1, -1, 2, 2), GRID_M).is_empty


@pytest.mark.parametrize("seed", range(4))
def test_slivers_by_the_thousand_are_united_soundly(seed: int):
    """Wedges from one eye, each a hair wider than its share, as views are: the union is the polygon they cut up."""
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * np.pi, 800))
    ends = 1000 * np.column_stack([np.cos(turn), np.sin(turn)])
    early = 1000 * np.column_stack([np.cos(turn - 1e-5), np.sin(turn - 1e-5)])
    wedges = [shapely.Polygon([(0, 0), a, b]) for a, b in zip(early, np.roll(ends, -1, axis=0), strict=True)]
    whole = unite(wedges, GRID_M)
    assert whole.is_valid
    assert whole.area == pytest.approx(shapely.Polygon(ends).area, rel=1e-4)
    coordinates = shapely.get_coordinates(whole) / GRID_M
    assert np.abs(coordinates - np.rint(coordinates)).max() < 1e-6
    rest = cut(shapely.Polygon(ends), whole, GRID_M)
    assert rest.area < 100.0
