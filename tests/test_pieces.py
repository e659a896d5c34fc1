"""Pieces: whole stretches come back, cut where the current or the limit changes and no longer than it varies over."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.small_world import NMI_M, box, make_boat, make_region, waypoint, zone

from layers.current_grids import CurrentGrid
from routeplan.building import build_network
from routeplan.currents import BLEND_NMI, Currents
from routeplan.network import split_by_speed_area
from routeplan.pieces import cut
from routeplan.tidal_streams import TidalStream

if TYPE_CHECKING:
    from routeplan.water import Water

SLOW = box(-NMI_M, -NMI_M / 3, 2 * NMI_M, NMI_M / 3)
SLOWER = box(NMI_M, -NMI_M / 2, 1.5 * NMI_M, NMI_M / 4)


@cache
def the_water() -> Water:
    """Build open water with two limits, one partly over the other."""
    zones = [zone(SLOW, "no-wake"), zone(SLOWER, "speed-limit", "Slower", limit_kn=3.0)]
    region = make_region(waypoints=[waypoint(-6 * NMI_M, 0, "A")], zones=zones)
    return build_network(region, make_boat(speed_kn=(3.0, 5.0, 20.0), burn_lph=(8.0, 10.0, 20.0))).water


def streams(count: int) -> tuple[TidalStream, ...]:
    """Make steady streams, each of its own."""
    return tuple(TidalStream(f"Race {i}", 40.0 * i, 40.0 * i + 180, 1.0 + i, (), 44.0) for i in range(count))


def areas(*bounds: tuple[float, float, float, float]) -> Currents:
    """Make areas of bounds in miles."""
    shapes = tuple(shapely.box(*(NMI_M * v for v in b)) for b in bounds)
    return Currents(the_water().plane, streams(len(shapes)), shapes)


points = st.tuples(st.floats(-9, 9), st.floats(-9, 9)).map(lambda p: (p[0] * NMI_M, p[1] * NMI_M))
FIELDS = [
    None,
    areas((-4, -4, 0, 4)),
    areas((-4, -4, 0, 4), (0, -4, 5, 4)),
    areas((-4, -4, 0, 4), (0.1, -4, 5, 4), (-2, 4.2, 3, 5)),
]


@settings(max_examples=60)
@given(st.lists(st.tuples(points, points), min_size=1, max_size=6), st.sampled_from(FIELDS))
def test_pieces_add_up_to_their_stretches(ends: Any, currents: Currents | None) -> None:
    a, b = (np.array([e[i] for e in ends]) for i in (0, 1))
    pieces, plane = cut(the_water(), currents, a, b), the_water().plane
    assert sorted(set(pieces.stretch.tolist())) == list(range(len(a)))
    whole = plane.lengths_nmi(a, b)
    assert np.bincount(pieces.stretch, pieces.nmi) == pytest.approx(whole, rel=1e-4, abs=1e-9)
    for i in range(len(a)):
        own = pieces.stretch == i
        assert pieces.a[own][0] == pytest.approx(a[i])
        assert pieces.b[own][-1] == pytest.approx(b[i])
        assert pieces.a[own][1:] == pytest.approx(pieces.b[own][:-1])
    by_kind = np.zeros((len(a), 1 + len(the_water().speed_areas)))
    np.add.at(by_kind, (pieces.stretch, pieces.area + 1), pieces.nmi)
    assert by_kind == pytest.approx(split_by_speed_area(the_water(), a, b), rel=1e-3, abs=2e-3)  # cuts may be 1 m off


@settings(max_examples=60)
@given(points, points, st.sampled_from(FIELDS[1:]))
def test_one_current_and_one_limit_hold_on_a_piece(a: Any, b: Any, currents: Currents) -> None:
    """Weights of the areas at ten points of each piece: the same all over it, or it is short."""
    pieces = cut(the_water(), currents, np.array([a]), np.array([b]))
    for p, q in zip(pieces.a, pieces.b, strict=True):
        length_m = math.dist(p, q)
        if length_m < 20:
            continue
        rim = 2.0 / length_m  # cuts nearer than a metre are one
        inner = p + (q - p) * np.linspace(rim, 1 - rim, 10)[:, None]
        weights = currents.weights(inner)
        if np.ptp(weights, axis=0).max() > 1e-6:
            assert length_m <= currents.cell_m + 1
            assert weights.any(axis=1).all() or not weights.any()
        kinds = [any(shape.contains(shapely.Point(x)) for shape in currents.shapes) for x in inner]
        assert len(set(kinds)) == 1


def test_a_stretch_in_still_water_is_one_piece() -> None:
    pieces = cut(the_water(), None, np.array([[-9000.0, 3000.0]]), np.array([[9000.0, 5000.0]]))
    assert len(pieces.nmi) == 1
    assert not pieces.moving.any()
    assert pieces.area.tolist() == [-1]


def test_limits_and_areas_cut_where_they_should() -> None:
    """Along y = 0 from -6 to 6 nmi: area from -4 to 0, limit from -1 to 2, a slower one from 1 to 1.5."""
    pieces = cut(the_water(), FIELDS[1], np.array([[-6 * NMI_M, 0.0]]), np.array([[6 * NMI_M, 0.0]]))
    assert pieces.b[:, 0] / NMI_M == pytest.approx([-4, -1, 0, 1, 1.5, 2, 6], abs=2e-3)
    assert pieces.moving.tolist() == [False, True, True, False, False, False, False]
    limits = [np.inf if i < 0 else the_water().speed_areas[i].limit_kn for i in pieces.area]
    assert limits == [np.inf, np.inf, 5, 5, 3, 5, np.inf]


def test_stretches_without_length_are_borne() -> None:
    spot = np.array([[100.0, 100.0], [-4 * NMI_M, 0.0]])
    pieces = cut(the_water(), FIELDS[1], spot, spot)
    assert pieces.nmi.tolist() == [0.0, 0.0]
    assert pieces.stretch.tolist() == [0, 1]


def test_a_grid_is_cut_finer_than_its_cells() -> None:
    lon, lat, times = np.linspace(-38.2, -37.8, 5), np.linspace(43.8, 44.2, 5), np.array([0.0, 3600.0])
    east = np.ones((2, 5, 5))
    currents = Currents(the_water().plane, (), (), CurrentGrid("a table", lon, lat, times, east, east))
    pieces = cut(the_water(), currents, np.array([[-10 * NMI_M, NMI_M]]), np.array([[10 * NMI_M, NMI_M]]))
    assert pieces.nmi[pieces.moving].max() <= currents.cell_m / NMI_M + 1e-3
    assert currents.cell_m <= 0.1 * 60 * math.cos(math.radians(44)) * NMI_M / 2 * 1.01
    assert (np.abs(pieces.middles[~pieces.moving][:, 0]) > 8.6 * NMI_M).all()
    assert currents.cell_m >= BLEND_NMI / 2 * NMI_M
