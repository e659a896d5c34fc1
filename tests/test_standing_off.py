"""The stand-off, wider while planing and where the survey is poor; fairways preferred; what that costs, by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.small_world import NMI_M, box, make_boat, make_region, position, to_metres, waypoint, zone

from layers import build_region
from layers.errors import InputError
from routeplan import standing_off
from routeplan.boats import BurnTable
from routeplan.building import build_network
from routeplan.fuel import FuelAboard, full
from routeplan.margins import Margins, read_margins
from routeplan.passage import find_passage
from routeplan.plan_words import PlanWords
from routeplan.standing_off import Poor, draw_back
from routeplan.trips import Trip
from routeplan.water import build_water

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
HUMP = BurnTable(speed_kn=(5, 8, 16, 20), burn_lph=(10, 16, 30, 20), idle_lph=2, unsteady_kn=(8, 16), sd_share=0)
# two blocks of land with a channel of 300 m between them, four kilometres long; open water all round
BLOCKS = (box(-2000, 150, 2000, 9000), box(-2000, -9000, 2000, -150))
ENDS = [waypoint(-6000, 0, "West"), waypoint(6000, 0, "East")]


def planer(burn: BurnTable = HUMP) -> Any:
    return make_boat(burn=burn)


def test_planing_keeps_further_off_and_slows_down_in_the_narrows() -> None:
    """400 m off the open shore; 150 m is all the channel has, so it is run at 8 kn, the speed below her hump.

    The blocks' corners are right angles: 400 m off them the wide water begins, so the channel's mouths lie where
    x is 2000 + 400 x cos(asin(150 / 400)) or less. Positions: an equidistant plane, good to a metre here.
    """
    region = make_region(land=[(block, {}) for block in BLOCKS])
    water = build_water(region, planer(), Margins(planing_standoff_m=400))
    (narrows,) = water.speed_areas
    assert narrows.limit_kn == 8
    for x in (0, 1500, 2300):
        assert water.navigable.covers(shapely.Point(x, 0))
        assert narrows.shape.covers(shapely.Point(x, 0))
    assert not narrows.shape.covers(shapely.Point(2450, 0))
    for y, navigable in ((9300, False), (9450, True)):
        assert water.navigable.covers(shapely.Point(0, y)) is navigable
    xy = np.random.default_rng(4).uniform(-6000, 6000, (4000, 2))
    inside = shapely.contains_xy(water.navigable, xy)
    slow = shapely.contains_xy(narrows.shape, xy)
    off = shapely.distance(water.land, shapely.points(xy))
    assert (off[inside & ~slow] >= 360).all(), "planing nearer than nine tenths of what was asked for"
    assert (off[inside] >= 45).all()
    # four chords a quarter turn stand off 2 % further, and simplifying may take a tenth
    assert not (~inside & (off > 450)).any(), "water with room enough is left out"


def test_the_narrows_are_passed_slowly_and_the_cost_is_told() -> None:
    """Twelve kilometres straight through, or round the blocks: either way time and fuel are those of what is steered.

    Round: 24 km against 12, of which 4.7 at 8 instead of 20 kn and twice the fuel a mile: through is better in both.
    """
    region = make_region(land=[(block, {}) for block in BLOCKS], waypoints=ENDS)
    boat = planer()
    margins = Margins(planing_standoff_m=400)
    network = build_network(region, boat, margins)
    trip = Trip(start="West", finish="East", depart=NOON, aboard=full(boat))
    plan = find_passage(network, trip, plain=build_network(region, boat, margins.plain)).recommended
    slow = [leg for leg in plan.legs if leg.speed_kn == 8]
    # mouths by hand, above: 400 m off the corners; simplifying may take a tenth, arcs drawn with chords add 2 %
    nearest, furthest = (2000 + (off_m**2 - 150**2) ** 0.5 for off_m in (360, 450))
    assert 2 * nearest <= sum(leg.distance_nmi for leg in slow) * NMI_M <= 2 * furthest
    assert "for want of room" in slow[0].cautions[0]
    assert plan.longer_nmi == pytest.approx(0, abs=0.01)
    assert plan.time_h == pytest.approx(sum(leg.distance_nmi / leg.speed_kn for leg in plan.legs))


def test_a_boat_without_a_hump_is_asked_at_which_speeds_she_planes() -> None:
    with pytest.raises(InputError, match="--planing-stand-off: Paper Boat's file doesn't tell") as told:
        build_water(make_region(land=[(b, {}) for b in BLOCKS]), make_boat(), Margins(planing_standoff_m=400))
    assert "unsteady_kn" in str(told.value)


@pytest.mark.parametrize("field", ["planing_standoff_m", "poor_survey_standoff_m"])
def test_a_wider_stand_off_has_to_be_wider(field: str) -> None:
    """Kept is the ordinary one of 50 m in any case: to say that 20 m are kept would not be true."""
    with pytest.raises(InputError, match="must be more than the stand-off that is kept anyway, 50 m"):
        read_margins({field: 20.0}, allow_unsurveyed=False)
    assert getattr(read_margins({field: 51.0}, allow_unsurveyed=False), field) == 51


def test_the_poor_survey_stand_off_asked_for_wins_over_the_regions() -> None:
    """Land to the south of y = 0; all water is poorly surveyed. The region says 100 m, the skipper 300."""
    rows = {
        "land": [(box(-9000, -9000, 9000, 0), {})],
        "depth": [(box(-9000, 0, 9000, 9000), {"min_depth_m": 20.0, "survey": "poor"})],
    }
    boat = make_boat()
    for margins, nearest_m in ((Margins(), 100), (Margins(poor_survey_standoff_m=300), 300)):
        water = build_water(make_region(poor_m=100, **rows), boat, margins)
        assert water.navigable.covers(shapely.Point(0, nearest_m + 2))
        assert not water.navigable.covers(shapely.Point(0, nearest_m * 0.9 - 2))


@pytest.mark.parametrize(("north_m", "metres"), [(1000, 10_667), (3000, 10_000)])
def test_a_fairway_is_taken_where_it_is_not_far(north_m: float, metres: float) -> None:
    """Ten kilometres west to east; a fairway eight kilometres long runs parallel, to the north.

    A mile outside counts 1.25, so the way meets the fairway at the angle whose cosine is 1 / 1.25 (as light does):
    36.9 degrees. At 1,000 m: 2 x 1,000 / 0.6 outside and 10,000 - 2 x 1,333 along, 11,500 against 12,500 straight on.
    At 3,000 m even the ends of the fairway are too far: straight on. 0.2 %: the fairway's edge is sampled.
    """
    fairway = zone(box(-4000, north_m, 4000, north_m + 400), "fairway", "Marked Way")
    region = make_region(zones=[fairway], waypoints=[waypoint(-5000, 0, "West"), waypoint(5000, 0, "East")])
    boat = make_boat()
    network, plain = (build_network(region, boat, Margins(fairways=f)) for f in (True, False))
    trip = Trip(start="West", finish="East", depart=NOON, aboard=full(boat))
    plan = find_passage(network, trip, plain=plain).recommended
    assert plan.distance_nmi * NMI_M == pytest.approx(metres, rel=2e-3)
    assert plan.longer_nmi is not None
    assert plan.longer_nmi * NMI_M == pytest.approx(metres - 10_000, abs=20)
    assert plan.fuel_l == pytest.approx(plan.distance_nmi, rel=1e-6)  # a litre a mile, in the fairway and outside
    assert any("in fairway Marked Way" in leg.cautions for leg in plan.legs) is (metres > 10_000)
    assert all(leg.speed_kn == 20 for leg in plan.legs)
    assert find_passage(plain, trip).recommended.longer_nmi is None


def test_a_fairway_that_the_fuel_does_not_reach_is_left_aside() -> None:
    """5.40 nmi straight and 5.76 by the fairway, a litre a mile: with 5.6 l above the reserve she goes straight."""
    fairway = zone(box(-4000, 1000, 4000, 1400), "fairway", "Marked Way")
    region = make_region(zones=[fairway], waypoints=[waypoint(-5000, 0, "West"), waypoint(5000, 0, "East")])
    network = build_network(region, make_boat(), Margins(fairways=True))
    for aboard_l, metres in ((15.6, 10_000), (15.9, 10_667)):
        trip = Trip(start="West", finish="East", depart=NOON, aboard=FuelAboard(mean_l=aboard_l, sd_l=0.0, how="told"))
        passage = find_passage(network, trip)
        assert passage.recommended.distance_nmi * NMI_M == pytest.approx(metres, rel=2e-3)
        assert any("keeps to fairways" in caution for caution in passage.cautions) is (metres == 10_000)


def test_what_nothing_is_known_of_is_not_told_as_kept() -> None:
    """No zones and no depths: both wishes are answered by a caution, and no sentence says that they were kept."""
    region = make_region(waypoints=[waypoint(-5000, 0, "West"), waypoint(5000, 0, "East")])
    boat, margins = make_boat(), Margins(fairways=True, poor_survey_standoff_m=300)
    network = build_network(region, boat, margins)
    trip = Trip(start="West", finish="East", depart=NOON, aboard=full(boat))
    passage = find_passage(network, trip, plain=build_network(region, boat, margins.plain))
    assert sum("changes nothing" in caution for caution in passage.cautions) == 2
    assert PlanWords(boat, region.zone, "EUR", 20).longer_line(passage.recommended, network.water) == ""


def test_an_extent_too_large_for_any_plane_is_cautioned_of() -> None:
    for extent, told in (((-60.0, 20.0, -10.0, 60.0), 1), ((-39.0, 43.0, -37.0, 45.0), 0)):
        about = make_region().about.model_copy(update={"extent": extent})
        water = build_water(build_region(about, {}), make_boat(), Margins())
        assert sum("larger than" in finding for finding in water.findings) == told


def test_marks_passed_are_told_with_side_distance_and_time() -> None:
    """Due east at 20 kn: a mark 555.6 m (0.3 nmi) to the north 4 km on is passed to port after 2.16 nmi, 6.48 min.

    One 1,111 m off (0.6 nmi) isn't told, nor one right at the end.
    """
    marks = [waypoint(-1000, 555.6, "Near", "mark"), waypoint(2000, -1111.2, "Far", "mark")]
    marks.append(waypoint(4990, 50, "End", "mark"))
    region = make_region(waypoints=[waypoint(-5000, 0, "West"), waypoint(5000, 0, "East"), *marks])
    boat = make_boat()
    trip = Trip(start="West", finish="East", depart=NOON, aboard=full(boat))
    plan = find_passage(build_network(region, boat), trip).recommended
    (passed,) = [mark for leg in plan.legs for mark in leg.passes]
    assert (passed.name, passed.side) == ("Near", "port")
    assert passed.abeam_nmi == pytest.approx(0.3, abs=0.002)
    assert passed.after_nmi == pytest.approx(4000 / NMI_M, abs=0.01)
    assert (passed.at - NOON).total_seconds() / 60 == pytest.approx(4000 / NMI_M * 3, abs=0.05)


rectangles = st.lists(
    st.tuples(st.integers(0, 90), st.integers(0, 90), st.integers(1, 25), st.integers(1, 25)), min_size=1, max_size=12
)


@settings(max_examples=40)
@given(rectangles, st.sampled_from([20.0, 50.0, 90.0]))
def test_drawn_back_water_keeps_nine_tenths_and_leaves_no_more_than_it_must(
    blocks: list[tuple[int, int, int, int]], standoff_m: float
) -> None:
    """Blocks of land in a sea of ten kilometres, touching and overlapping; distances by shapely's own measure.

    Inside: no point of the edge nearer than 0.9 of the stand-off to what is shut. Outside: no point further off than
    what arcs drawn with four chords a quarter turn and the simplification take, 2 % and a tenth.
    """
    land = shapely.union_all([shapely.box(100 * x, 100 * y, 100 * (x + w), 100 * (y + h)) for x, y, w, h in blocks])
    sea = shapely.box(0, 0, 10_000, 10_000)
    opened = sea.difference(land)
    opened = shapely.MultiPolygon([p for p in shapely.get_parts(opened) if p.geom_type == "Polygon"])
    kept = draw_back(opened, sea, standoff_m, Poor(np.empty(0, dtype=object), None), 0.01)
    assert kept.is_valid
    shut = shapely.union_all([sea.buffer(50).difference(opened)])
    if not kept.is_empty:
        assert kept.distance(shut) >= 0.9 * standoff_m - 0.02
        assert opened.covers(kept)
    xy = np.random.default_rng(1).uniform(0, 10_000, (300, 2))
    left_out = ~shapely.contains_xy(kept, xy)
    assert (shapely.distance(shut, shapely.points(xy[left_out])) <= 1.13 * standoff_m + 0.02).all()


def test_smooth_islands_keep_their_nine_tenths() -> None:
    """Round islands, on whose rings simplifying is tempted to move one stretch twice: none nearer than 0.9 x 50 m."""
    sea = shapely.box(0, 0, 30_000, 30_000)
    for seed in range(25):
        rng = np.random.default_rng(seed)
        land = []
        for x, y in rng.uniform(3000, 27_000, (8, 2)):
            turn = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(3, 120))))
            off_m = rng.uniform(300, 2000) + rng.normal(0, 4, len(turn))
            land.append(
                shapely.Polygon(np.column_stack([x + off_m * np.cos(turn), y + off_m * np.sin(turn)])).buffer(0)
            )
        opened = shapely.MultiPolygon(shapely.get_parts(sea.difference(shapely.union_all(land))).tolist())
        kept = draw_back(opened, sea, 50.0, Poor(np.empty(0, dtype=object), None), 0.01)
        assert kept.distance(shapely.union_all(land)) >= 45 - 0.02


def test_the_speed_in_the_narrows_is_the_boats_own_from_the_cache_too(tmp_path: Any) -> None:
    region = make_region(land=[(block, {}) for block in BLOCKS], waypoints=ENDS)
    margins = Margins(planing_standoff_m=400)
    for low_kn in (8, 5):
        boat = planer(burn=HUMP.model_copy(update={"unsteady_kn": (low_kn, 16)}))
        (narrows,) = build_network(region, boat, margins, cache=tmp_path).water.speed_areas
        assert narrows.limit_kn == low_kn


@pytest.mark.parametrize("planing_m", [150, 300, 500])
@pytest.mark.parametrize(("ends", "thick"), [(20_000, 300), (9_000, 300), (20_000, 100), (9_000, 100)])
def test_a_short_inlet_stays_open(planing_m: float, ends: float, thick: float) -> None:
    """A wall of land 100 or 300 m thick, an inlet 300 m wide: 12 km straight through, slowly in the inlet.

    Right across the region, and with water round its ends 9 km off, where the wide water is one, the way round 25 km.
    By hand the wide water ends where the corners of the inlet are as far off as was asked for; arcs take some of it.
    """
    half = thick / 2
    wall = [(box(-half, 150, half, ends), {}), (box(-half, -ends, half, -150), {})]
    boat, margins = planer(), Margins(planing_standoff_m=planing_m)
    network = build_network(make_region(land=wall, waypoints=ENDS), boat, margins)
    plan = find_passage(network, Trip(start="West", finish="East", depart=NOON, aboard=full(boat))).recommended
    assert plan.distance_nmi * NMI_M == pytest.approx(12_000, rel=1e-3)
    slow_m = sum(leg.distance_nmi for leg in plan.legs if leg.speed_kn == 8) * NMI_M
    assert slow_m == pytest.approx(thick + 2 * (planing_m**2 - 150**2) ** 0.5, abs=0.45 * planing_m)


def test_a_basin_with_a_harbour_in_it_stays_water() -> None:
    """A basin of 400 m behind a mouth of 300: with 150 m asked for it has hardly any room, but a harbour lies in it."""
    water = shapely.union_all([box(-200, 100, 200, 500), box(-150, 0, 150, 100)])
    land = shapely.box(-5000, 0, 5000, 3000).difference(water)
    region = make_region(land=[(land, {})], waypoints=[waypoint(0, 430, "Basin"), waypoint(0, -6000, "Sea")])
    boat = planer()
    network = build_network(region, boat, Margins(planing_standoff_m=150))
    plan = find_passage(network, Trip(start="Basin", finish="Sea", depart=NOON, aboard=full(boat))).recommended
    assert sum(leg.distance_nmi for leg in plan.legs if leg.kind == "approach") * NMI_M < 60
    assert network.water.navigable.covers(shapely.Point(network.water.plane.to_plane([position(0, 300)])[0]))


@pytest.mark.parametrize("seed", range(6))
def test_she_does_not_plane_along_the_bank_of_a_bent_channel(seed: int) -> None:
    """Channels 240 to 400 m wide with bends, 400 m asked for: legs hug the inner banks, and are slow there too.

    Held against the land itself: every stretch at more than 8 kn lies 360 m off, but for the last two metres.
    """
    rng = np.random.default_rng(seed)
    inner = [(x, float(rng.uniform(-900, 900))) for x in (-3000, -1000, 1000, 3000)]
    bends = [(-5000.0, 0.0), *inner, (5000.0, 0.0)]
    channel = shapely.LineString(bends).buffer(rng.uniform(120, 200), cap_style="flat", join_style="mitre")
    block = box(-4800, -12_000, 4800, 12_000).difference(channel)
    land = [part for part in shapely.get_parts(block) if part.area > 1e4]
    marks = [waypoint(-7000, 0, "West"), waypoint(7000, 0, "East")]
    region = make_region(land=[(part, {}) for part in land], waypoints=marks)
    boat = planer()
    network = build_network(region, boat, Margins(planing_standoff_m=400))
    plan = find_passage(network, Trip(start="West", finish="East", depart=NOON, aboard=full(boat))).recommended
    shore = shapely.union_all(land)
    fast = [leg for leg in plan.legs if leg.kind == "leg" and leg.speed_kn > 8]
    assert any(leg.speed_kn == 8 for leg in plan.legs)
    for leg in fast:
        assert to_metres(shapely.LineString([leg.from_position, leg.to_position])).distance(shore) >= 358


def test_tracks_at_planing_speed_stay_off() -> None:
    """The demo of the rule on its own terms: every stretch at more than 8 kn lies 360 m off the land."""
    region = make_region(land=[(block, {}) for block in BLOCKS], waypoints=[*ENDS, waypoint(0, 12_000, "North")])
    boat = planer()
    network = build_network(region, boat, Margins(planing_standoff_m=400))
    trip = Trip(start="West", finish="East", via=("North",), depart=NOON, aboard=full(boat))
    plan = find_passage(network, trip).recommended
    land = shapely.union_all(BLOCKS)
    for leg in plan.legs:
        line = to_metres(shapely.LineString([leg.from_position, leg.to_position]))
        if leg.kind == "leg" and leg.speed_kn > 8:
            assert line.distance(land) >= 358  # two metres for a straight line in degrees


def test_fairway_and_limit_together_are_one_kind_of_water_each() -> None:
    """A no-wake square half inside a fairway: three kinds of water, apart from one another."""
    rows = [zone(box(0, 0, 1000, 1000), "no-wake"), zone(box(500, -2000, 3000, 3000), "fairway", "Way")]
    water = build_water(make_region(zones=rows), make_boat(), Margins(fairways=True))
    kinds = [(area.limit_kn, area.fairway, round(area.shape.area / 1e6, 1)) for area in water.speed_areas]
    assert kinds == [(5, True, 0.5), (5, False, 0.5), (float("inf"), True, 12.0)]
    for a, b in pairwise(water.speed_areas):
        assert a.shape.intersection(b.shape).area < 1


def test_a_piece_of_land_that_simplified_water_swallowed_is_noticed() -> None:
    """Its shores may be hundreds of metres from any edge of the water: only a point of it tells."""
    island = shapely.box(400, 400, 410, 410)
    sea = shapely.box(0, 0, 1000, 1000)
    opened = shapely.MultiPolygon([sea.difference(island)])
    assert not standing_off._keeps_out(sea.buffer(-50), opened)  # noqa: SLF001  the one fault that it looks for
    assert standing_off._keeps_out(sea.buffer(-50).difference(island.buffer(50)), opened)  # noqa: SLF001


def test_rings_that_would_cross_when_simplified_stay_as_they_were() -> None:
    """A shore with a bay 3 m deep, a cape of an islet 1.5 m in it: with 4 m to go the bay alone is cut straight."""
    shore = [(0, 0), (100, 0), (100, 50), (53, 50), (52, 53), (48, 53), (47, 50), (0, 50)]
    islet = [(30, 30), (70, 30), (70, 44), (51, 44), (50.5, 51.5), (49.5, 51.5), (49, 44), (30, 44)]
    water = shapely.Polygon(shore, [islet])
    assert water.is_valid
    simple = standing_off._simplified(water, 4.0)  # noqa: SLF001  its own promise
    assert simple.is_valid
    assert simple.symmetric_difference(water).area < 4.0 * 400
    assert len(simple.geoms[0].interiors) == 1


def test_a_fairway_is_one_from_the_cache_too(tmp_path: Any) -> None:
    fairway = zone(box(-4000, 1000, 4000, 1400), "fairway", "Marked Way")
    region = make_region(zones=[fairway], waypoints=[waypoint(-5000, 0, "West"), waypoint(5000, 0, "East")])
    for _ in range(2):
        (area,) = build_network(region, make_boat(), Margins(fairways=True), cache=tmp_path).water.speed_areas
        assert (area.fairway, area.limit_kn, area.names, area.why) == (True, float("inf"), ("Marked Way",), "")
