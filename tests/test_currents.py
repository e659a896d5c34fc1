"""One field of areas and a grid: weights add up, nothing jumps where areas meet, nothing is invented outside."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from oracles.small_world import HALF_DEG, MIDDLE, NMI_M, box, make_region

from layers.current_grids import CurrentGrid
from layers.plane import Plane
from routeplan.currents import BLEND_NMI, Currents, read_currents
from routeplan.tidal_streams import TidalStream

if TYPE_CHECKING:
    from layers.plane import Plane as _Plane

NOON_S = np.array([1_782_000_000.0])  # any moment: the streams here are steady


@cache
def plane() -> _Plane:
    """Take the plane of the usual extent."""
    lon, lat = MIDDLE
    return Plane((lon - HALF_DEG, lat - HALF_DEG, lon + HALF_DEG, lat + HALF_DEG))


def steady(name: str, east_kn: float) -> TidalStream:
    """Make a stream to the east."""
    return TidalStream(name, 90.0, 270.0, east_kn, (), 44.0)


def field(*areas: tuple[tuple[float, float, float, float], float], grid: CurrentGrid | None = None) -> Currents:
    """Lay steady streams to the east over boxes in miles."""
    shapes = tuple(shapely.box(*(NMI_M * v for v in bounds)) for bounds, _ in areas)
    return Currents(plane(), tuple(steady(f"Race {i}", kn) for i, (_, kn) in enumerate(areas)), shapes, grid)


def east_kn(currents: Currents, *miles: tuple[float, float]) -> list[float]:
    """[kn] What runs to the east at some places."""
    east, north = currents.at(NMI_M * np.array(miles, dtype=float), NOON_S)
    assert np.isnan(north).tolist() == np.isnan(east).tolist()
    assert np.nan_to_num(north) == pytest.approx(0, abs=1e-12)
    return [float(v) for v in east[:, 0]]


def a_grid(*, missing: bool = False) -> CurrentGrid:
    """Lay 5 kn to the east over the middle; nothing is known at its north-eastern corner where that is asked for."""
    lon, lat = np.array([-38.05, -38.0, -37.95]), np.array([43.95, 44.0, 44.05])
    east = np.full((2, 3, 3), 5.0)
    if missing:
        east[:, 2, 2] = np.nan
    times = NOON_S[0] + np.array([-3600.0, 3600.0])
    return CurrentGrid("a table", lon, lat, times, east, np.where(np.isnan(east), np.nan, 0.0))


def test_a_lone_area_is_the_same_all_over_and_nothing_outside() -> None:
    values = east_kn(field(((-2, -2, 2, 2), 3.0)), (0, 0), (1.99, -1.99), (-2, 0), (2.001, 0), (5, 5))
    assert values[:3] == pytest.approx([3.0, 3.0, 3.0])
    assert np.isnan(values[3:]).all()


def test_two_areas_side_by_side_by_hand() -> None:
    """2 kn west of the line and 4 kn east of it, mixed over a quarter mile to either side.

    On the line a half each: 3. An eighth of a mile into the west one: weights 1 and 1/2: (2 + 2) / 1.5 = 2.667.
    """
    currents = field(((-3, -2, 0, 2), 2.0), ((0, -2, 3, 2), 4.0))
    here = [(-1, 0), (-BLEND_NMI, 0), (-BLEND_NMI / 2, 0), (0, 0), (BLEND_NMI / 2, 0), (BLEND_NMI, 0), (1, 0)]
    assert east_kn(currents, *here) == pytest.approx([2, 2, 8 / 3, 3, 10 / 3, 4, 4])


MILES = st.integers(-4000, 2000).map(lambda m: m / 1000)  # thousandths: no place lies a hair beside an edge
SIDES = st.integers(100, 4000).map(lambda m: m / 1000)
BOUNDS = st.tuples(MILES, MILES, SIDES, SIDES).map(lambda b: (b[0], b[1], b[0] + b[2], b[1] + b[3]))
PLACES = st.tuples(*(st.integers(-5000, 7000).map(lambda m: m / 1000 + 1 / 3000) for _ in range(2)))


@given(st.lists(BOUNDS, min_size=1, max_size=5), st.lists(PLACES, min_size=1, max_size=20))
def test_weights_add_up_to_one_inside_and_are_none_outside(bounds: list, places: list) -> None:
    currents = field(*((b, 1.0 + i) for i, b in enumerate(bounds)))
    weights = currents.weights(NMI_M * np.array(places))
    assert (weights >= 0).all()
    inside = np.array(
        [any(s.intersects(shapely.Point(NMI_M * x, NMI_M * y)) for s in currents.shapes) for x, y in places]
    )
    assert weights.sum(axis=1) == pytest.approx(inside.astype(float))
    for (x, y), row in zip(places, weights, strict=True):
        for weight, shape in zip(row, currents.shapes, strict=True):
            if shape.distance(shapely.Point(NMI_M * x, NMI_M * y)) > BLEND_NMI * NMI_M:
                assert weight == 0


@settings(max_examples=40)
@given(st.lists(BOUNDS, min_size=2, max_size=4), PLACES, PLACES)
def test_nothing_jumps_inside_the_areas(bounds: list, a: tuple[float, float], b: tuple[float, float]) -> None:
    """Along a line no weight changes by more than the distance allows: 2 / BLEND a mile for each area at most."""
    assume(np.hypot(b[0] - a[0], b[1] - a[1]) > 0.1)
    currents = field(*((bound, 1.0 + i) for i, bound in enumerate(bounds)))
    shares = np.linspace(0, 1, 4000)[:, None]
    xy = NMI_M * (np.array(a) + shares * (np.array(b) - np.array(a)))
    weights = currents.weights(xy)
    known = weights.any(axis=1)
    both = known[1:] & known[:-1]
    # a step out of all areas and in again between two samples is no step inside
    crossed = shapely.covers(currents.covered, shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)))
    step_nmi = np.hypot(*(xy[1] - xy[0])) / NMI_M
    jumps = np.abs(np.diff(weights, axis=0)).max(axis=1)[both & crossed]
    assert (jumps <= len(bounds) * 2 * step_nmi / BLEND_NMI + 1e-9).all()


def test_a_grid_counts_where_it_is_known_and_the_areas_elsewhere() -> None:
    currents = field(((-9, -9, 9, 9), 1.0), grid=a_grid())
    inside = currents.at(plane().to_plane([(-38.0, 44.0), (-37.96, 44.04)]), NOON_S)[0]
    assert inside == pytest.approx(5.0)
    assert currents.at(plane().to_plane([(-37.9, 44.0)]), NOON_S)[0] == pytest.approx(1.0)
    assert currents.at(plane().to_plane([(-38.0, 44.0)]), NOON_S + 7200)[0] == pytest.approx(1.0)  # beyond its times
    holed = field(((-9, -9, 9, 9), 1.0), grid=a_grid(missing=True))
    assert holed.at(plane().to_plane([(-37.96, 44.04)]), NOON_S)[0] == pytest.approx(1.0)
    alone = field(grid=a_grid(missing=True))
    assert np.isnan(alone.at(plane().to_plane([(-37.96, 44.04), (-37.5, 44.2)]), NOON_S)[0]).all()


def test_currents_are_named_by_the_area_that_counts_most() -> None:
    currents = field(((-3, -2, 0, 2), 2.0), ((0, -2, 3, 2), 4.0))
    assert currents.name_at((-0.1 * NMI_M, 0.0)) == "Race 0"
    assert currents.name_at((0.1 * NMI_M, 0.0)) == "Race 1"
    assert currents.name_at((9 * NMI_M, 0.0)) == ""
    assert field(grid=a_grid()).name_at(tuple(plane().to_plane([(-38.0, 44.0)])[0])) == "a table"


def test_points_lie_in_the_water_that_moves() -> None:
    currents = field(((-3, -2, 0, 2), 2.0), ((0, -2, 3, 2), 4.0))
    water = shapely.box(-5 * NMI_M, -1 * NMI_M, 5 * NMI_M, 5 * NMI_M)
    points = currents.points_in(water)
    assert len(points) > 60
    assert shapely.covers(water.buffer(3), shapely.points(points)).all()
    assert shapely.covers(currents.covered.buffer(3), shapely.points(points)).all()
    on_edge = shapely.distance(shapely.union_all([s.boundary for s in currents.shapes]), shapely.points(points)) < 0.1
    assert on_edge.sum() >= 6
    assert len(currents.points_in(shapely.Polygon())) == 0


def test_a_regions_areas_are_read_as_they_stand() -> None:
    row = {"name": "The Race", "flood_deg": 60, "ebb_deg": 225, "mean_kn": 0.2, "constituents": "M2 1.8 43; S2 0.6 78"}
    currents = read_currents(make_region(currents=[(box(-5000, -5000, 5000, 5000), row)]))
    assert currents is not None
    assert currents.name_at((0.0, 0.0)) == "The Race"
    stream = TidalStream("The Race", 60, 225, 0.2, currents.streams[0].harmonics, 44.0)
    assert [h.name for h in stream.harmonics] == ["M2", "S2"]
    times = NOON_S[0] + 3600.0 * np.arange(24)
    east, north = currents.at(np.array([[0.0, 0.0]]), times)
    assert np.stack([east[0], north[0]], axis=-1) == pytest.approx(stream.east_north_kn(times), abs=1e-3)
    assert read_currents(make_region()) is None


def test_touching_areas_leave_no_crack_whose_edges_were_cut_apart() -> None:
    """One area's edge has a corner in the middle of the other's: drawn on the plane both are cut finely, then no crack.

    What lies in a crack would be still water.
    """
    row = {"name": "R", "flood_deg": 90, "ebb_deg": 270, "mean_kn": 1.0, "constituents": "M2 0.5 43"}
    west = (box(-9000, -9000, 0, 9000), row)
    east = [(box(0, -9000, 9000, 1234), {**row, "name": "S"}), (box(0, 1234, 9000, 9000), {**row, "name": "T"})]
    currents = read_currents(make_region(currents=[west, *east]))
    assert currents is not None
    xy = np.column_stack([np.linspace(-3, 3, 601).repeat(41), np.tile(np.linspace(-8500, 8500, 41), 601)])
    known = currents.weights(xy).any(axis=1)
    assert (~known).mean() < 0.02  # cracks of centimetres at the most
