"""Docks and positions join the water at the nearest entry that a straight approach may reach, or say why they can't."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.small_world import box, make_boat, make_region, position, to_metres, zone

from routeplan.approaches import Attachment, find_attachments
from routeplan.margins import Margins
from routeplan.water import Water, build_water

if TYPE_CHECKING:
    from oracles.closed_water import ClosedWater

    from layers import Region
    from routeplan.network import Network

STEP_M = 5.0  # [m] how finely the product says that it tries the edge
ISLE = (box(-2000, -1000, 2000, 0), {"name": "Isle"})  # its north shore is y = 0


def _join(region: Region, x: float, y: float, **margins: Any) -> tuple[Water, Attachment]:
    water = build_water(region, make_boat(), Margins(**margins))
    (attachment,) = find_attachments(water, water.plane.to_plane([position(x, y)]))
    return water, attachment


def _metres(water: Water, xy: tuple[float, float]) -> tuple[float, float]:
    point = to_metres(shapely.Point(water.plane.to_lonlat([xy])[0]))
    return point.x, point.y


def test_a_dock_off_the_shore_goes_straight_out() -> None:
    """10 m off a straight shore, 50 m of stand-off: the approach is 40 m to the north, 10 % less at the most."""
    water, joined = _join(make_region(land=[ISLE]), 0, 10)
    (approach,) = joined.approaches
    assert (joined.inland_m, joined.why_not, approach.crosses) == (0, "", ())
    assert math.dist(approach.start, approach.entry) == pytest.approx(40, abs=5.5)
    assert _metres(water, approach.entry)[0] == pytest.approx(0, abs=5)


def test_a_place_in_open_water_is_where_it_is() -> None:
    _, joined = _join(make_region(land=[ISLE]), 0, 5000)
    (approach,) = joined.approaches
    assert math.dist(approach.start, approach.entry) < 0.02  # the grid's centimetre


def test_a_place_on_land_begins_at_the_nearest_shore() -> None:
    """100 m inland; 600 m is beyond a snap of 0.25 nmi, 463 m."""
    water, joined = _join(make_region(land=[ISLE]), 0, -100)
    assert joined.inland_m == pytest.approx(100, abs=1)
    assert _metres(water, joined.approaches[0].start) == pytest.approx((0, 0), abs=1)
    _, far = _join(make_region(land=[(box(-3000, -3000, 3000, 0), {})]), 0, -600, snap_nmi=0.25)
    assert far.approaches == ()
    assert "on land" in far.why_not


def test_beyond_the_snap_there_is_no_water() -> None:
    """A shoal of 2 km round the place; the snap is half a mile."""
    deep, flat = (
        (box(-19000, -27000, 19000, 27000), {"min_depth_m": 20.0}),
        (box(-2000, 0, 2000, 2000), {"min_depth_m": 0.2}),
    )
    _, joined = _join(make_region(land=[ISLE], depth=[deep, flat]), 0, 300)
    assert joined.approaches == ()
    assert "0.5 nmi" in joined.why_not
    assert "shallow" in joined.why_not


def test_outside_the_extent_nothing_is_known() -> None:
    _, joined = _join(make_region(land=[ISLE]), 0, 40000)
    assert joined.approaches == ()
    assert "extent" in joined.why_not


@pytest.mark.parametrize("kind", ["land", "no-entry", "low bridge"])
def test_an_approach_goes_round_a_wall_that_it_may_not_cross(kind: str) -> None:
    """A wall 20 m to the north of the place, 600 m to the west and 20 m to the east of it: the way out is to the east.

    All 110 m off a shore whose stand-off is 120 m, so that the ends of a cable are too far from land to be extended.
    """
    wall, layers = box(-600, 130, 20, 134), {"land": [ISLE]}
    if kind == "land":
        layers["land"].append((wall, {}))
    elif kind == "no-entry":
        layers["zones"] = [zone(wall, "no-entry")]
    else:
        line = shapely.LineString([(-600, 132), (20, 132)])
        layers["overhead"] = [(line, {"name": "Pipe", "kind": "cable", "clearance_m": 1.0})]
    region = make_region(**layers)
    water, joined = _join(region, 0, 110, standoff_m=120.0)
    (approach,) = joined.approaches
    start, entry = _metres(water, approach.start), _metres(water, approach.entry)
    assert not shapely.LineString([start, entry]).intersects(wall.buffer(-0.5))
    assert entry[0] > 20
    assert math.dist(start, entry) == pytest.approx(_nearest_clear_m(region, water, (0, 110)), abs=STEP_M)


def test_a_dock_shut_in_by_walls_can_not_be_reached() -> None:
    ring = box(-60, 100, 60, 220).difference(box(-50, 110, 50, 210))
    _, joined = _join(make_region(land=[ISLE, (ring, {})]), 0, 160)
    assert joined.approaches == ()
    assert "cut" in joined.why_not


def test_a_dock_between_two_waters_joins_both() -> None:
    """On a wall 6 m wide between a lagoon and the sea, standing in the lagoon's shallow edge: open to the lagoon alone.

    From the top of the wall itself (on land, nearest shore to the north) only the sea is in sight.
    """
    lagoon = box(-3000, -3000, 3000, 3000).difference(box(-1500, -1500, 1500, 2994))
    region = make_region(land=[(lagoon, {})])
    water, inside = _join(region, 0, 2990)
    assert [_metres(water, a.entry)[1] < 2994 for a in inside.approaches] == [True]
    water, outside = _join(region, 0, 3002)
    assert [_metres(water, a.entry)[1] > 3000 for a in outside.approaches] == [True]


def test_what_an_approach_crosses_is_marked() -> None:
    """A shoal of 60 m along the shore and a rock's keep-off over it."""
    deep, flat = (
        (box(-19000, -27000, 19000, 27000), {"min_depth_m": 20.0}),
        (box(-2000, 0, 2000, 60), {"min_depth_m": 0.2}),
    )
    rock = (shapely.Point(0, 60), {"kind": "rock", "keep_off_m": 30.0})
    _, joined = _join(make_region(land=[ISLE], depth=[deep, flat], hazards=[rock]), 0, 5)
    assert [set(a.crosses) for a in joined.approaches] == [{"shoal", "hazard"}]
    holes = [(box(-19000, 80, 19000, 27000), {"min_depth_m": 20.0})]
    _, joined = _join(make_region(land=[ISLE], depth=holes), 0, 5)
    assert [a.crosses for a in joined.approaches] == [("unsurveyed",)]


def _nearest_clear_m(region: Region, water: Water, at: tuple[float, float]) -> float:
    """[m] Try the navigable edge every metre, and rays to the sides of every corner, against the raw layers."""
    closed = [to_metres(s) for name in ("land", "zones", "overhead") for s in region.layer(name).geometry]
    barrier = shapely.union_all(
        [s.buffer(1.0, cap_style="flat") if "Line" in s.geom_type else s.buffer(-0.05) for s in closed]
    )
    edge = to_metres(shapely.transform(shapely.segmentize(water.navigable.boundary, 1.0), water.plane.to_lonlat))
    xy = shapely.get_coordinates(edge)
    if to_metres(shapely.transform(water.navigable, water.plane.to_lonlat)).covers(shapely.Point(at)):
        return 0.0
    lines = shapely.linestrings(np.stack([np.broadcast_to(at, xy.shape), xy], axis=1))
    shapely.prepare(barrier)
    clear = ~shapely.intersects(barrier, lines)
    return float(shapely.length(lines[clear]).min()) if clear.any() else math.inf


@pytest.mark.slow
@settings(max_examples=max(25, settings().max_examples // 2))
@given(
    st.lists(
        st.tuples(st.integers(-500, 500), st.integers(20, 500), st.integers(5, 300), st.integers(5, 60)), max_size=5
    ),
    st.tuples(st.integers(-300, 300), st.integers(2, 400)),
)
def test_the_entry_is_the_nearest_clear_one(walls: list[tuple[int, int, int, int]], at: tuple[int, int]) -> None:
    """Random walls off a shore, on 40 m of stand-off; every metre of the edge is tried by the oracle.

    The product may be STEP_M longer where it goes round something, never shorter by more than its centimetres.
    """
    walls_m = [box(x, y, x + w, y + h) for x, y, w, h in walls]
    region = make_region(half_deg=0.05, land=[ISLE, *((wall, {}) for wall in walls_m)])
    if any(wall.buffer(1).covers(shapely.Point(at)) for wall in walls_m):
        return
    water, joined = _join(region, *at, standoff_m=40.0, snap_nmi=1.0)
    best_m = _nearest_clear_m(region, water, at)
    if not joined.approaches:
        assert best_m == math.inf
        return
    found_m = min(math.dist(a.start, a.entry) for a in joined.approaches)
    # the oracle's metre steps may miss the true nearest point by half a metre, to either side
    assert best_m - 1.0 <= found_m <= best_m + STEP_M


def test_no_approach_of_the_demo_crosses_land_or_a_closed_zone(demo_closed: ClosedWater, demo_network: Network) -> None:
    """From the raw layers; the first two metres may touch the shore that a place stands on."""
    water = demo_network.water
    names, lines = [], []
    for terminal in demo_network.terminals:
        for approach in terminal.attachment.approaches:
            long_m = math.dist(approach.start, approach.entry)
            if long_m < 3:
                continue
            line = shapely.LineString([approach.start, approach.entry])
            off = shapely.LineString([line.interpolate(2.0), line.interpolate(long_m)])
            names.append(terminal.place.name)
            lines.append(demo_closed.line(water.plane.to_lonlat(shapely.get_coordinates(off))))
    assert len(lines) > 20
    assert [
        (names[i], what)
        for i, what in demo_closed.nearer(lines, 0.0, kinds=("land", "no-entry", "low"))
        if what != "hazard"
    ] == []


def test_a_place_that_can_not_be_joined_is_listed_with_the_reason(demo_network: Network) -> None:
    for terminal in demo_network.terminals:
        assert bool(terminal.entries) is bool(terminal.attachment.approaches)
        assert bool(terminal.entries) is not bool(terminal.attachment.why_not)
