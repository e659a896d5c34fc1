"""The water a boat may use: what closes it really does, what doesn't leaves it open, and the stand-off is kept."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from oracles.closed_water import ClosedWater
from oracles.small_world import box, make_boat, make_region, position, waypoint, zone

from routeplan.building import build_network
from routeplan.channels import find_closed_channels
from routeplan.margins import Margins
from routeplan.tracks import Tracks
from routeplan.water import Water, build_water

if TYPE_CHECKING:
    from layers import Region
    from routeplan.boats import Boat
    from routeplan.network import Network

MARGINS = Margins()
KEPT_SHARE = 0.9  # of the stand-off: the most that simplifying may take is a tenth
EDGE_M = 0.5  # [m] either projection's densified edges lie within half a metre of the true ones

# A strait 1,200 m wide and 6 km long between two lands that reach the extent's north and south edge.
SHORES = [(box(-3000, 600, 3000, 30000), {"name": "North"}), (box(-3000, -30000, 3000, -600), {"name": "South"})]


def _water(region: Region, boat: Boat | None = None, when: datetime | None = None, **margins: Any) -> Water:
    return build_water(region, boat or make_boat(), Margins(**margins), when)


def _is_open(water: Water, x: float, y: float) -> bool:
    """Whether a point in metres about the middle may be navigated."""
    return bool(water.navigable.intersects(shapely.Point(water.plane.to_plane([position(x, y)])[0])))


def _clear_m(water: Water, region: Region, boat: Boat) -> float:
    """[m] Measure how near the navigable edge comes to closed water, halving to a centimetre."""
    closed = ClosedWater(region, boat, water.margins)
    lines = _edge_lines(water, closed)
    low, high = 0.0, 500.0
    while high - low > 0.01:
        middle = (low + high) / 2
        low, high = (low, middle) if closed.nearer(lines, middle) else (middle, high)
    return low


def _edge_lines(water: Water, closed: ClosedWater) -> Any:
    rings = [r for p in water.navigable.geoms for r in (p.exterior, *p.interiors)]
    fine = [
        closed.metres(water.plane.to_lonlat(shapely.get_coordinates(shapely.segmentize(ring, 500.0)))) for ring in rings
    ]
    return np.concatenate([shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)) for xy in fine])


@pytest.mark.parametrize("standoff_m", [20.0, 50.0, 200.0])
def test_the_stand_off_is_kept_and_not_much_more(standoff_m: float) -> None:
    """Two islands, a rock, a bank and a closed zone; measured on another plane from the raw layers."""
    region = make_region(
        land=[
            (shapely.Point(0, 0).buffer(1500, quad_segs=40), {}),
            (shapely.Polygon([(4000, 0), (9000, 500), (6000, 4000)]), {}),
        ],
        depth=[
            (box(-19000, -27000, 19000, 27000), {"min_depth_m": 20.0}),
            (box(-6000, -6000, -3000, -3000), {"min_depth_m": 0.4}),
        ],
        hazards=[(shapely.Point(-8000, 4000), {"kind": "rock", "keep_off_m": 75.0})],
        zones=[zone(box(5000, -8000, 8000, -4000), "no-entry")],
    )
    boat = make_boat()
    clear_m = _clear_m(_water(region, boat, standoff_m=standoff_m), region, boat)
    assert clear_m >= KEPT_SHARE * standoff_m - EDGE_M
    assert clear_m <= 1.1 * standoff_m, "more is kept off than the stand-off by far"


@pytest.mark.slow
def test_the_demo_keeps_its_stand_off(demo_closed: ClosedWater, demo_network: Network) -> None:
    """All of the demo's navigable edge, seen from the raw layers."""
    lines = _edge_lines(demo_network.water, demo_closed)
    assert demo_closed.nearer(lines, KEPT_SHARE * MARGINS.standoff_m - EDGE_M) == []
    assert demo_closed.unsurveyed(lines) == []


def test_most_of_what_is_far_from_everything_is_navigable(
    demo: Region, demo_closed: ClosedWater, demo_network: Network
) -> None:
    """Nothing would be wrong with no water at all in the tests above: random open points have to be in it."""
    water, closed = demo_network.water, demo_closed
    west, south, east, north = demo.about.extent
    rng = np.random.default_rng(3)
    lonlat = rng.uniform((west, south), (east, north), (3000, 2))
    spots = shapely.points(closed.metres(lonlat))
    far = set(range(len(spots))) - {i for i, _ in closed.nearer(spots, 150.0)}
    far -= {int(i) for i in np.flatnonzero(shapely.distance(closed.extent.boundary, spots) < 150)}
    around = shapely.points(closed.metres(lonlat)[:, None] + 150 * np.array([(0, 1), (1, 0), (0, -1), (-1, 0), (0, 0)]))
    surveyed = closed.is_surveyed(around.ravel()).reshape(around.shape).all(axis=1)
    inside = [i for i in sorted(far) if surveyed[i]]
    assert len(inside) > 500
    xy = water.plane.to_plane(lonlat[inside])
    assert shapely.intersects_xy(water.navigable, xy[:, 0], xy[:, 1]).all()


def test_outside_the_extent_is_closed_and_kept_off() -> None:
    region = make_region(land=[(box(0, 0, 10, 10), {})])
    water = _water(region)
    edge = water.plane.box().boundary
    assert water.navigable.distance(edge) == pytest.approx(50.0, abs=6.0)  # a tenth may go to simplifying


@pytest.mark.parametrize(
    ("clearance_m", "is_open"),
    [(3.4, False), (3.5, True), (30.0, True)],  # 3 m of boat and half a metre of air
)
def test_a_low_bridge_closes_the_strait_and_a_high_one_does_not(clearance_m: float, is_open: bool) -> None:  # noqa: FBT001
    bridge = (shapely.LineString([(0, -700), (0, 700)]), {"name": "Span", "kind": "bridge", "clearance_m": clearance_m})
    region = make_region(land=SHORES, overhead=[bridge])
    assert _joined(region) is is_open
    assert _water(region).findings == ()


def _joined(region: Region, boat: Boat | None = None, **margins: Any) -> bool:
    """Whether the strait's two ends belong to one water."""
    water = _water(region, boat, **margins)
    ends = [shapely.Point(water.plane.to_plane([position(x, 0)])[0]) for x in (-5000, 5000)]
    return any(all(p.intersects(e) for e in ends) for p in water.navigable.geoms)


@pytest.mark.parametrize(("short_m", "is_open"), [(0.0, False), (80.0, False), (150.0, True)])
def test_bridge_ends_are_extended_to_land_or_the_gap_is_told(short_m: float, is_open: bool) -> None:  # noqa: FBT001
    """The bridge stops short of the north shore at y = 600; 30 m of stand-off would leave a gap of 150 m open."""
    bridge = (
        shapely.LineString([(0, -700), (0, 600 - short_m)]),
        {"name": "Span", "kind": "cable", "clearance_m": 1.0},
    )
    region = make_region(land=SHORES, overhead=[bridge])
    assert _joined(region, standoff_m=30.0) is is_open
    findings = _water(region).findings
    if is_open:
        assert len(findings) == 1
        assert "Span" in findings[0]
        assert "150 m" in findings[0]
    else:
        assert findings == ()


def test_a_bridge_end_beside_land_is_extended_sideways() -> None:
    """The line runs out 60 m off a pier to its side, past which straight on there is only water."""
    pier = (box(-300, -600, -60, 400), {})
    bridge = (shapely.LineString([(0, 700), (0, 300)]), {"name": "Span", "kind": "bridge", "clearance_m": 1.0})
    region = make_region(land=[*SHORES, pier], overhead=[bridge])
    assert not _joined(region, standoff_m=20.0)


def test_depth_decides_by_draught_and_clearance_together() -> None:
    """A sill of 1.5 m: a boat of 1.0 m with 0.5 m under the keel just may, one of 1.1 m not, nor with 0.6 m."""
    deep = (box(-19000, -27000, 19000, 27000), {"min_depth_m": 30.0})
    sill = (box(-200, -700, 200, 700), {"min_depth_m": 1.5})
    region = make_region(land=SHORES, depth=[deep, sill])
    assert _joined(region, make_boat(draught_m=1.0))
    assert not _joined(region, make_boat(draught_m=1.1))
    assert not _joined(region, make_boat(draught_m=1.0), under_keel_m=0.6)


def test_where_depths_overlap_the_shallowest_counts() -> None:
    deep = (box(-19000, -27000, 19000, 27000), {"min_depth_m": 30.0})
    drying = (box(-200, -700, 200, 700), {"min_depth_m": -1.0})
    for rows in ([deep, drying], [drying, deep]):
        assert not _joined(make_region(land=SHORES, depth=rows))


def test_unsurveyed_water_is_closed_unless_allowed() -> None:
    """No depth over 400 m of the strait; without any depth layer it is open and said not to be checked."""
    halves = [
        (box(-19000, -27000, -200, 27000), {"min_depth_m": 30.0}),
        (box(200, -27000, 19000, 27000), {"min_depth_m": 30.0}),
    ]
    region = make_region(land=SHORES, depth=halves)
    assert not _joined(region)
    assert _joined(region, allow_unsurveyed=True)
    water = _water(region)
    assert water.depth_checked
    assert water.unsurveyed.intersects(shapely.Point(water.plane.to_plane([position(0, 0)])[0]))
    bare = make_region(land=SHORES)
    assert _joined(bare)
    assert not _water(bare).depth_checked


def test_hazards_keep_their_distance_and_the_stand_off() -> None:
    """A rock with 300 m of its own: 340 m off is too near by the stand-off of 50, 360 m is not (arcs may take 5 m)."""
    region = make_region(
        land=[(box(9000, 0, 9100, 100), {})], hazards=[(shapely.Point(0, 0), {"kind": "rock", "keep_off_m": 300.0})]
    )
    water = _water(region)
    for angle in np.linspace(0, 2 * np.pi, 24, endpoint=False):
        c, s = float(np.cos(angle)), float(np.sin(angle))
        assert not _is_open(water, 340 * c, 340 * s)
        assert _is_open(water, 362 * c, 362 * s)


def test_a_polygon_hazard_is_closed_inside_too() -> None:
    farm = (box(-500, -500, 500, 500), {"kind": "fish farm", "keep_off_m": 0.0})
    water = _water(make_region(land=[(box(9000, 0, 9100, 100), {})], hazards=[farm]))
    assert not _is_open(water, 0, 0)
    assert not _is_open(water, 540, 0)
    assert _is_open(water, 560, 0)


def test_no_entry_closes_in_its_season_only() -> None:
    """April to July: a departure on 29 June finds it closed, one on 5 August open; three days ahead count."""
    region = make_region(land=SHORES, zones=[zone(box(-200, -700, 200, 700), "no-entry", season="Apr-Jul")])
    closed = {
        None: True,
        datetime(2026, 6, 29, tzinfo=UTC): True,
        datetime(2026, 8, 5, tzinfo=UTC): False,
        datetime(2026, 3, 30, tzinfo=UTC): True,
        datetime(2026, 3, 20, tzinfo=UTC): False,
    }
    for when, shut in closed.items():
        water = _water(region, when=when)
        assert _is_open(water, 0, 0) is not shut


def test_poor_surveys_get_the_wider_stand_off() -> None:
    """Survey poor east of x = 0: from the shore at y = 600 there 200 m are kept, elsewhere 50."""
    halves = [
        (box(-19000, -27000, 0, 27000), {"min_depth_m": 30.0, "survey": "good"}),
        (box(0, -27000, 19000, 27000), {"min_depth_m": 30.0, "survey": "poor"}),
    ]
    water = _water(make_region(land=SHORES, depth=halves, poor_m=200.0))
    assert _is_open(water, -1000, 530)
    assert not _is_open(water, 1000, 530)
    assert not _is_open(water, 1000, 415)
    assert _is_open(water, 1000, 385)


def test_an_opening_bridge_is_a_gate_with_hours_and_a_wait() -> None:
    bridge = (shapely.LineString([(0, -700), (0, 700)]), {"name": "Span", "kind": "bridge", "clearance_m": 2.0})
    leaf = (
        shapely.Point(20, 0),
        {
            "name": "Leaf",
            "kind": "bridge",
            "closed_clearance_m": 2.0,
            "opening_hours": "08:00-18:00",
            "wait_min": 12.0,
            "vhf": "9",
        },
    )
    region = make_region(land=SHORES, overhead=[bridge], openings=[leaf])
    (gate,) = _water(region).gates
    assert (gate.name, gate.kind, gate.hours, gate.must_open, gate.vhf) == ("Leaf", "bridge", "08:00-18:00", True, "9")
    assert gate.wait_h == pytest.approx(0.2)
    assert not _joined(region), "the gate must stay the only way"


def test_a_boat_that_fits_under_the_closed_span_neither_waits_nor_heeds_hours() -> None:
    """The fixed spans are 2 m, the opening one 6 m even when closed; the boat needs 3.5 m."""
    bridge = (shapely.LineString([(0, -700), (0, 700)]), {"name": "Span", "kind": "bridge", "clearance_m": 2.0})
    leaf = (
        shapely.Point(0, 0),
        {"name": "Leaf", "kind": "bridge", "closed_clearance_m": 6.0, "opening_hours": "08:00-18:00", "wait_min": 12.0},
    )
    (gate,) = _water(make_region(land=SHORES, overhead=[bridge], openings=[leaf])).gates
    assert (gate.must_open, gate.wait_h, gate.hours) == (False, 0.0, None)


def test_a_lock_closes_and_opens_by_itself() -> None:
    lock = (shapely.LineString([(0, -700), (0, 700)]), {"name": "Lock", "kind": "lock", "opening_hours": "07:00-21:00"})
    region = make_region(land=SHORES, openings=[lock])
    assert not _joined(region)
    (gate,) = _water(region).gates
    assert gate.must_open
    assert gate.wait_h == pytest.approx(10 / 60)  # the stated default
    for x, y in gate.sides:
        assert not _water(region).barrier.intersects(shapely.Point(x, y))


def test_an_opening_on_no_bridge_is_told_and_left_out() -> None:
    leaf = (shapely.Point(0, 0), {"name": "Leaf", "kind": "bridge"})
    water = _water(make_region(land=SHORES, openings=[leaf]))
    assert water.gates == ()
    assert ["Leaf" in f for f in water.findings] == [True]


def test_gates_are_passed_at_no_wake_with_the_wait_paid() -> None:
    """West to east through the bridge and the wait of 12 min; high boats only: without the gate there is no way."""
    bridge = (shapely.LineString([(0, -700), (0, 700)]), {"name": "Span", "kind": "bridge", "clearance_m": 2.0})
    leaf = (shapely.Point(0, 100), {"name": "Leaf", "kind": "bridge", "closed_clearance_m": 2.0, "wait_min": 12.0})
    ends = [waypoint(-1852, 0, "West"), waypoint(1852, 0, "East")]
    boat = make_boat()
    network = build_network(make_region(land=SHORES, overhead=[bridge], openings=[leaf], waypoints=ends), boat)
    (track,) = Tracks(network, boat, 20.0).find([(0, 1)])[0, 1]
    ((gate, reached_h, left_h),) = track.gates
    assert gate == 0
    # by hand: 2 nmi and a little for the 100 m aside; some 110 m of it, the stand-off on both sides, at 5 kn not 20
    assert track.distance_nmi == pytest.approx(2.0, rel=0.01)
    slow_nmi = 2 * 52 / 1852
    assert track.time_h == pytest.approx((track.distance_nmi - slow_nmi) / 20 + slow_nmi / 5 + 0.2, abs=0.002)
    assert reached_h == pytest.approx(1.0 / 20, abs=0.01)
    assert left_h - reached_h == pytest.approx(0.2 + slow_nmi / 5, abs=0.002)
    assert build_network(make_region(land=SHORES, overhead=[bridge], waypoints=ends), boat).gate_legs == ()


def test_speed_areas_do_not_overlap_and_the_lowest_limit_wins() -> None:
    zones = [
        zone(box(-1000, -1000, 1000, 1000), "speed-limit", "Outer", limit_kn=8.0),
        zone(box(0, 0, 2000, 2000), "no-wake", "Inner"),
        zone(box(-400, -400, -200, -200), "speed-limit", "Slow", limit_kn=3.0),
    ]
    water = _water(make_region(land=[(box(9000, 0, 9100, 100), {})], zones=zones))
    assert [a.limit_kn for a in water.speed_areas] == [3.0, 5.0, 8.0]
    for i, a in enumerate(water.speed_areas):
        for b in water.speed_areas[i + 1 :]:
            assert a.shape.intersection(b.shape).area < 1.0
    areas = [
        a.shape.area for a in water.speed_areas
    ]  # by hand: 200 m square; 2 km square; 2 km square less 1 km and 200 m
    assert areas == pytest.approx([4e4, 4e6, 4e6 - 1e6 - 4e4], rel=1e-3)


def test_a_channel_that_the_stand_off_closes_is_found_with_its_width() -> None:
    """80 m of water between two lands, 3 km long; the way round is 30 nmi and more, or there is none at all."""
    lands = [(box(-1500, 40, 1500, 30000), {}), (box(-1500, -20000, 1500, -40), {})]
    boat = make_boat()
    region = make_region(land=lands)
    (channel,) = find_closed_channels(build_network(region, boat))
    assert channel.width_m == pytest.approx(80, abs=2)
    x, y = _metres(channel.position)
    assert abs(x) < 1600
    assert abs(y) < 40
    # by hand: from (-1.6 km, 0) round the south end at -20 km and back up: 2 x 20 km and 3 km across
    assert channel.way_round_nmi == pytest.approx((2 * 20000 + 3000) / 1852, rel=0.05)
    assert find_closed_channels(build_network(region, boat, Margins(standoff_m=30))) == []


def _metres(lonlat: tuple[float, float]) -> tuple[float, float]:
    from oracles.small_world import to_metres  # noqa: PLC0415

    point = to_metres(shapely.Point(lonlat))
    return point.x, point.y


def test_a_creek_is_no_channel() -> None:
    """The same 80 m of water, but closed at its end."""
    lands = [(box(-1500, 40, 1500, 9000), {}), (box(-1500, -9000, 1500, -40), {}), (box(1400, -100, 1500, 100), {})]
    assert find_closed_channels(build_network(make_region(land=lands), make_boat())) == []


def test_building_leaves_the_region_as_it_was(demo: Region, demo_network: Network) -> None:
    assert (
        demo_network.region.digest == type(demo)(demo.about, demo.frames, demo.present, demo.where, demo.notes).digest
    )
