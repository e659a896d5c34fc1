"""Tracks keep clear of closed water, cost what they say, and are as quick and as lean as can be found another way."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import pytest
import shapely
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, position, waypoint, zone
from pyproj import Geod

from routeplan.building import build_network
from routeplan.itinerary import find_stretches
from routeplan.margins import Margins
from routeplan.tracks import Track, Tracks, build_dock_graph

if TYPE_CHECKING:
    from oracles.closed_water import ClosedWater

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.leg_graph import Rates
    from routeplan.network import Network

GEOD = Geod(ellps="WGS84")
FAR_LAND = (box(17000, 25000, 17100, 25100), {"name": "Rock"})
STEER_SHARE = 1e-3  # what a kink must save to stay
FINER_SHARE = 1e-3  # the design's: tracks stay within 0.1 % of a ten times finer sampling
MERGED_M, MERGED_SHORT_SHARE, SHORT_M = 25.0, 0.5, 0.15 * NMI_M  # the constants that merging bends is allowed


def _tracks(region: Region, boat: Boat, speed_kn: float = 20.0) -> tuple[Network, tuple[Track, ...]]:
    """Join the first two places of a region."""
    network = build_network(region, boat)
    return network, Tracks(network, boat, speed_kn).find([(0, 1)])[0, 1]


def _mile(x: float, y: float) -> tuple[float, float]:
    return x * NMI_M, y * NMI_M


def _ends(a: tuple[float, float], b: tuple[float, float]) -> list[Any]:
    return [waypoint(*_mile(*a), "A"), waypoint(*_mile(*b), "B")]


def _square(half: float) -> Any:
    return box(-half * NMI_M, -half * NMI_M, half * NMI_M, half * NMI_M)


def test_a_no_wake_square_is_skirted_where_that_is_quicker_and_leaner() -> None:
    """A square of 2 x 2 nmi at 5 kn and 2 l/nmi; around 20 kn and 1 l/nmi; from 2 nmi west of its middle to 2 nmi east.

    Round two corners: 2 sqrt(2) + 2 = 4.828 nmi, 0.2414 h, 4.83 l. Through: 2 nmi at 20 kn and 2 at 5: 0.5 h, 6 l.
    """
    region = make_region(land=[FAR_LAND], zones=[zone(_square(1), "no-wake")], waypoints=_ends((-2, 0), (2, 0)))
    _, tracks = _tracks(region, make_boat())
    best_nmi = 2 * math.sqrt(2) + 2
    assert tracks[0].time_h == pytest.approx(best_nmi / 20, rel=2 * FINER_SHARE)
    assert tracks[-1].fuel_l == pytest.approx(best_nmi, rel=2 * FINER_SHARE)


def test_a_round_no_wake_zone_is_skirted_along_its_edge() -> None:
    """Radius 1 nmi, from 2 nmi west to 2 nmi east: tangent, arc, tangent: 2 sqrt(3) + pi / 3 = 4.511 nmi at 20 kn."""
    disc = shapely.Point(0, 0).buffer(NMI_M, quad_segs=64)
    region = make_region(land=[FAR_LAND], zones=[zone(disc, "no-wake")], waypoints=_ends((-2, 0), (2, 0)))
    _, tracks = _tracks(region, make_boat())
    assert tracks[0].time_h == pytest.approx((2 * math.sqrt(3) + math.pi / 3) / 20, rel=2 * FINER_SHARE)


def test_a_no_wake_zone_is_crossed_where_skirting_takes_longer() -> None:
    """A strip 0.2 nmi wide and 8 nmi long, crossed square: 3.8 nmi at 20 kn and 0.2 at 5: 0.23 h.

    Round its end from 2 nmi off the middle: 2 sqrt(1.9^2 + 4^2) + 0.2 = 9.06 nmi, 0.45 h.
    """
    strip = box(-0.1 * NMI_M, -4 * NMI_M, 0.1 * NMI_M, 4 * NMI_M)
    region = make_region(land=[FAR_LAND], zones=[zone(strip, "no-wake")], waypoints=_ends((-2, 0), (2, 0)))
    _, tracks = _tracks(region, make_boat())
    assert tracks[0].time_h == pytest.approx(3.8 / 20 + 0.2 / 5, rel=FINER_SHARE)
    assert tracks[0].distance_nmi == pytest.approx(4, rel=FINER_SHARE)


def test_quickest_and_leanest_part_where_the_boat_burns_less_slowly() -> None:
    """At 5 kn 0.5 l/nmi, at 20 kn 1 l/nmi: skirting the square is quicker (0.241 h), crossing leaner: 2 + 1 = 3 l."""
    boat = make_boat(burn_lph=(2.5, 20.0))
    region = make_region(land=[FAR_LAND], zones=[zone(_square(1), "no-wake")], waypoints=_ends((-2, 0), (2, 0)))
    _, tracks = _tracks(region, boat)
    assert len(tracks) == 2
    quick, lean = tracks
    assert quick.time_h == pytest.approx((2 * math.sqrt(2) + 2) / 20, rel=2 * FINER_SHARE)
    assert lean.fuel_l == pytest.approx(3, rel=FINER_SHARE)
    assert lean.time_h == pytest.approx(2 / 20 + 2 / 5, rel=FINER_SHARE)


@pytest.mark.parametrize(
    "offset", [pytest.param(0.5, marks=pytest.mark.slow), 1.5, pytest.param(3.0, marks=pytest.mark.slow)]
)
def test_a_slow_strip_is_crossed_as_light_is_bent(offset: float) -> None:
    """Strip of 1 nmi at 10 kn between waters at 20 kn; A and B 1 nmi off it and `offset` miles along it.

    The optimum is the least of the sum over one crossing angle: sin(a) / 20 = sin(b) / 10, found here by halving.
    """
    strip = box(-0.5 * NMI_M, -12 * NMI_M, 0.5 * NMI_M, 12 * NMI_M)
    boat = make_boat(speed_kn=(5.0, 10.0, 20.0), burn_lph=(10.0, 15.0, 20.0))
    region = make_region(
        land=[FAR_LAND], zones=[zone(strip, "speed-limit", limit_kn=10.0)], waypoints=_ends((-1.5, 0), (1.5, offset))
    )
    _, tracks = _tracks(region, boat)
    low, high = 0.0, math.pi / 2
    for _ in range(60):  # sideways travel grows with the angle outside
        a = (low + high) / 2
        b = math.asin(math.sin(a) / 2)
        low, high = (a, high) if 2 * math.tan(a) + math.tan(b) < offset else (low, a)
    b = math.asin(math.sin(low) / 2)
    best_h = 2 / math.cos(low) / 20 + 1 / math.cos(b) / 10
    assert tracks[0].time_h == pytest.approx(best_h, rel=FINER_SHARE)
    assert tracks[0].time_h >= best_h * (1 - 1e-4)  # less than the optimum would be an error of measuring


def _finer_h(network: Network, speed_kn: float, a: tuple[float, float], b: tuple[float, float], step_m: float) -> float:
    """[h] Quickest way over corners of the water and points on and just off the zones' edges, all pairs.

    In the plane; the water here is open but for its corners, so the sight lines are tried with shapely.
    """
    water = network.water
    zones = [water.plane.project(s) for s in network.region.layer("zones").geometry]
    spots = [water.plane.to_plane([position(*a), position(*b)])]
    spots += [shapely.get_coordinates(water.navigable.simplify(1.0))]
    for shape in zones:
        for edge in (shape.boundary, shape.buffer(0.5, join_style="mitre").simplify(0.2).boundary):
            spots.append(shapely.get_coordinates(shapely.segmentize(edge, step_m)))
    xy = np.unique(np.vstack(spots), axis=0)
    i, j = np.triu_indices(len(xy), 1)
    lines = shapely.linestrings(np.stack([xy[i], xy[j]], axis=1))
    room = water.navigable.buffer(0.5)
    shapely.prepare(room)
    clear = shapely.covers(room, lines)
    i, j, lines = i[clear], j[clear], lines[clear]
    slow = shapely.length(shapely.intersection(lines, shapely.union_all(zones)))
    hours = ((shapely.length(lines) - slow) / speed_kn + slow / network.boat.no_wake_kn) / NMI_M
    graph = nx.Graph()
    graph.add_weighted_edges_from(zip(i.tolist(), j.tolist(), hours.tolist(), strict=True), weight="hours")
    start, end = (int(np.argmin(np.hypot(*(xy - spots[0][k]).T))) for k in (0, 1))
    return float(nx.dijkstra_path_length(graph, start, end, weight="hours"))


@pytest.mark.slow
def test_zones_among_islands_cost_what_ten_times_finer_sampling_says() -> None:
    """Two no-wake zones of awkward shape by an island; the oracle samples their edges every 10 m, all pairs."""
    shapes = [
        shapely.Polygon([(-320, -80), (80, -360), (240, 120), (-120, 200)]),
        shapely.Polygon([(360, -120), (600, -120), (600, 360), (480, 80)]),
    ]
    isle = (shapely.Polygon([(-120, -600), (120, -640), (80, -400)]), {"name": "Isle"})
    boat = make_boat()
    for a, b in [((-880.0, 0.0), (920.0, 40.0)), ((-600.0, -600.0), (640.0, 440.0)), ((-40.0, 40.0), (800.0, 0.0))]:
        region = make_region(
            half_deg=0.03,
            land=[isle],
            zones=[zone(s, "no-wake", f"zone {i}") for i, s in enumerate(shapes)],
            waypoints=[waypoint(*a, "A"), waypoint(*b, "B")],
        )
        network, tracks = _tracks(region, boat)
        best_h = _finer_h(network, 20.0, a, b, 10.0)
        skirt_h = 4 * 2.0 / NMI_M / 20  # corners are rounded two metres off, four of them at the most
        assert best_h * (1 - FINER_SHARE) <= tracks[0].time_h <= best_h * (1 + FINER_SHARE) + skirt_h


def _stepped(network: Network, rates: Rates, track: Track, step_m: float = 5.0) -> tuple[float, float, float, float]:
    """Walk a track in small steps: miles, hours, litres, and hours that a step may be wrong by where a limit begins.

    The limit of each step is looked up in longitude and latitude, in the raw zones.
    """
    region, boat, plane = network.region, network.boat, network.water.plane
    zones = region.layer("zones")
    limited = zones[zones["rule"].isin(["no-wake", "speed-limit"])]
    nmi = hours = litres = doubt_h = 0.0
    for (a, b), kind in zip(pairwise(track.bends), track.kinds, strict=True):
        count = max(1, math.ceil(math.dist(a, b) / step_m))
        lonlat = plane.to_lonlat(a + (b - a) * np.linspace(0, 1, count + 1)[:, None])
        _, _, metres = GEOD.inv(lonlat[:-1, 0], lonlat[:-1, 1], lonlat[1:, 0], lonlat[1:, 1])
        middle = (lonlat[:-1] + lonlat[1:]) / 2
        limit = np.full(count, rates.speed_kn[0] if kind == "leg" else min(boat.no_wake_kn, rates.speed_kn[0]))
        for row in limited.itertuples():
            most = boat.no_wake_kn if row.rule == "no-wake" else row.limit_kn
            inside = shapely.contains_xy(row.geometry, middle[:, 0], middle[:, 1])
            limit = np.where(inside, np.minimum(limit, most), limit)
        speed = np.array([boat.steady_kn(float(v)) for v in np.unique(limit)])[np.unique(limit, return_inverse=True)[1]]
        burn = np.array([boat.burn_lph(float(v)) for v in np.unique(speed)])[np.unique(speed, return_inverse=True)[1]]
        nmi += float(metres.sum()) / NMI_M
        hours += float((metres / NMI_M / speed).sum())
        litres += float((metres / NMI_M / speed * burn).sum())
        doubt_h += np.count_nonzero(np.diff(limit)) * step_m / NMI_M / float(speed.min())
    for gate, _, _ in track.gates:
        wait_h = network.water.gates[gate].wait_h
        hours += wait_h
        litres += wait_h * boat.burn.idle_lph
    return nmi, hours, litres, doubt_h


@pytest.fixture(scope="module")
def demo_tracks(demo_network: Network) -> tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]]:
    """All tracks between all docks of the demo, one boat, her cruising speed."""
    boat = demo_network.boat
    ends = [i for i, t in enumerate(demo_network.terminals) if t.place.kind == "dock" and t.entries]
    tracks = Tracks(demo_network, boat, boat.cruising_speed_kn)
    return tracks, tracks.find([(a, b) for a in ends for b in ends])


@pytest.mark.slow
def test_no_leg_of_the_demo_touches_closed_water(
    demo_closed: ClosedWater,
    demo_network: Network,
    demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]],
) -> None:
    """All legs between docks (approaches and gates apart), from the raw layers, by nine tenths of the stand-off."""
    water = demo_network.water
    legs = {
        tuple(sorted([tuple(a), tuple(b)]))
        for found in demo_tracks[1].values()
        for track in found
        for (a, b), kind in zip(pairwise(track.bends.tolist()), track.kinds, strict=True)
        if kind == "leg"
    }
    assert len(legs) > 300
    lines = [
        demo_closed.line(
            water.plane.to_lonlat(shapely.get_coordinates(shapely.segmentize(shapely.LineString(leg), 500.0)))
        )
        for leg in legs
    ]
    assert (
        demo_closed.nearer(lines, 0.9 * water.margins.standoff_m - 0.5) == []
    )  # half a metre between the two projections
    assert demo_closed.unsurveyed(lines) == []


def test_distance_time_and_fuel_of_demo_tracks_are_those_of_small_steps(
    demo_network: Network, demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]]
) -> None:
    tracks, found = demo_tracks
    slowed = [t for ts in found.values() for t in ts if t.time_h > 1.2 * t.distance_nmi / tracks.rates.speed_kn[0]]
    rng = np.random.default_rng(5)
    everything = [t for ts in found.values() for t in ts]
    some = [slowed[i] for i in rng.choice(len(slowed), 12)] + [everything[i] for i in rng.choice(len(everything), 12)]
    some += [t for t in everything if t.gates][:4]
    for track in some:
        nmi, hours, litres, doubt_h = _stepped(demo_network, tracks.rates, track)
        assert track.distance_nmi == pytest.approx(nmi, rel=1e-5)
        # 1e-4: a leg's share inside a limit is taken in the plane, whose scale differs by so much along it
        assert track.time_h == pytest.approx(hours, rel=1e-4, abs=doubt_h + 1e-6)
        burn = max(tracks.rates.burn_lph)
        assert track.fuel_l == pytest.approx(litres, rel=1e-4, abs=burn * doubt_h + 1e-6)


def test_a_steered_track_is_hardly_longer_than_the_shortest_path(
    demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]],
) -> None:
    """Least litres over the network, without steering, are the floor; each merge and each kink may add its constant."""
    tracks, found = demo_tracks
    worst = max(tracks.rates.litres_per_nmi)
    sources = sorted({a for a, _ in found})[::6]
    for source in sources:
        floor_l = tracks.reach_l(source)
        for (a, b), ts in found.items():
            if a != source:
                continue
            least_l = min(t.fuel_l for t in ts)
            assert least_l >= floor_l[b] * (1 - 1e-6) - 0.01  # merging may save the rounding of a corner, no more
            corners = 30  # no shortest path of the demo between two docks has more bends than this
            most_nmi = corners * max(MERGED_M, MERGED_SHORT_SHARE * SHORT_M) / NMI_M
            assert least_l <= floor_l[b] * (1 + STEER_SHARE) + worst * most_nmi
            assert least_l <= floor_l[b] * 1.02 + 0.5 * worst, "steering adds more than a skipper would believe"


def test_there_and_back_agree(demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]]) -> None:
    _, found = demo_tracks
    for (a, b), there in found.items():
        back = found[b, a]
        assert [(t.time_h, t.fuel_l, t.distance_nmi) for t in there] == [
            (t.time_h, t.fuel_l, t.distance_nmi) for t in back
        ]
        for t, r in zip(there, back, strict=True):
            assert (t.bends[::-1] == r.bends).all()


def test_there_and_back_agree_searched_from_either_end(demo_tracks: tuple[Tracks, Any]) -> None:
    """The product searches one way and turns it round; here the network's distances are asked from both ends."""
    tracks, found = demo_tracks
    ends = sorted({a for a, _ in found})[:6]
    away = {a: tracks.reach_l(a) for a in ends}
    for a in ends:
        for b in ends:
            if a != b:
                assert away[a][b] == pytest.approx(away[b][a], rel=1e-9)


def test_no_track_of_a_pair_is_worse_than_another(
    demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]],
) -> None:
    for found in demo_tracks[1].values():
        for i, a in enumerate(found):
            for b in found[i + 1 :]:
                assert a.time_h <= b.time_h
                same_gates = {g[0] for g in a.gates} <= {g[0] for g in b.gates}
                assert not (same_gates and a.fuel_l <= b.fuel_l)


def test_stretches_add_up_to_the_track(
    demo_network: Network, demo_tracks: tuple[Tracks, dict[tuple[int, int], tuple[Track, ...]]]
) -> None:
    tracks, found = demo_tracks
    everything = [t for ts in found.values() for t in ts]
    for track in everything[:: max(1, len(everything) // 60)]:
        stretches = find_stretches(demo_network, tracks.rates, track)
        assert all(math.dist(a.b, b.a) < 1e-6 for a, b in pairwise(stretches))
        assert math.dist(stretches[0].a, track.bends[0]) < 1e-6
        assert math.dist(stretches[-1].b, track.bends[-1]) < 1e-6
        assert sum(s.distance_nmi for s in stretches) == pytest.approx(track.distance_nmi, rel=1e-6)
        # a piece of a leg under 2 m may count to its neighbour's limit
        slack_h = len(stretches) * 2.0 / NMI_M * float(max(tracks.rates.hours_per_nmi))
        assert sum(s.time_h for s in stretches) == pytest.approx(track.time_h, rel=1e-4, abs=slack_h)
        assert sum(s.fuel_l for s in stretches) == pytest.approx(
            track.fuel_l, rel=1e-4, abs=slack_h * max(tracks.rates.burn_lph)
        )


def test_the_dock_graph_says_what_its_tracks_say() -> None:
    docks = [dock(-3000, 0, "West"), dock(3000, 0, "East"), dock(0, 4000, "North")]
    boat = make_boat()
    network = build_network(make_region(land=[(box(-500, -500, 500, 500), {})], docks=docks), boat)
    tracks = Tracks(network, boat, 20.0)
    graph = build_dock_graph([tracks], [(0, 1), (1, 2)])
    assert isinstance(graph, nx.MultiDiGraph)
    assert {track.speed_kn for _, _, track in graph.edges(data="track")} == {20.0}
    assert {(a, b) for a, b in graph.edges()} == {(0, 1), (1, 0), (1, 2), (2, 1)}
    for _, _, data in graph.edges(data=True):
        track = data["track"]
        assert (data["distance_nmi"], data["time_h"], data["fuel_l"]) == (
            track.distance_nmi,
            track.time_h,
            track.fuel_l,
        )
    assert graph.nodes[0]["place"].name == "West"
    # by hand: round an island corner that keeps 50 m: the straight 6 km is cut by a square of 1 km, 550 m to its side
    assert graph[0][1][0]["distance_nmi"] == pytest.approx((2 * math.hypot(2450, 550) + 1100) / NMI_M, rel=0.01)
    # at 20 kn 1 l a mile
    assert graph[0][1][0]["fuel_l"] == pytest.approx(graph[0][1][0]["distance_nmi"], rel=1e-9)
    lean = build_dock_graph([tracks], [(0, 1), (1, 2)], most_l=2.9)
    assert {(a, b) for a, b in lean.edges()} == {(1, 2), (2, 1)}


def test_parallel_hops_differ_in_speed_and_none_is_worse_in_all() -> None:
    """20 kn take 1 l a mile, 10 kn as much: no use. 5 kn take half a litre."""
    docks = [dock(-3000, 0, "West"), dock(3000, 0, "East")]
    boat = make_boat(speed_kn=(5.0, 10.0, 20.0), burn_lph=(2.5, 10.0, 20.0))
    network = build_network(make_region(land=[FAR_LAND], docks=docks), boat)
    graph = build_dock_graph([Tracks(network, boat, v) for v in (20.0, 10.0, 5.0)], [(0, 1)])
    miles = 6000 / NMI_M
    told = {data["track"].speed_kn: (data["time_h"], data["fuel_l"]) for data in graph[0][1].values()}
    assert set(told) == {20.0, 5.0}
    assert told[20.0] == pytest.approx((miles / 20, miles), rel=2e-4)
    assert told[5.0] == pytest.approx((miles / 5, miles / 2), rel=2e-4)


def test_a_place_is_not_joined_to_itself() -> None:
    docks = [dock(-3000, 0, "West"), dock(3000, 0, "East")]
    boat = make_boat()
    network = build_network(make_region(land=[FAR_LAND], docks=docks), boat)
    assert Tracks(network, boat, 20.0).find([(0, 0)]) == {}


def test_what_else_was_asked_changes_no_answer() -> None:
    """Three walls of land with four opening bridges each: far more sets of shut gates than are tried for one pair.

    Each pair alone, on a network of its own, and all together, and again in another order with less fuel first.
    """
    walls, spans, lifts = [], [], []
    for wall in (-3000, 0, 3000):
        edges = [-15_000, -4000, -3800, -1500, -1300, 1300, 1500, 3800, 4000, 15_000]
        walls += [(box(wall - 50, edges[i], wall + 50, edges[i + 1]), {}) for i in range(0, 10, 2)]
        for south, north in zip(edges[1:-1:2], edges[2:-1:2], strict=True):
            name = f"Bridge {wall} {south}"
            line = shapely.LineString([(wall, south - 20), (wall, north + 20)])
            spans.append((line, {"name": name, "kind": "bridge", "clearance_m": 1.0}))
            lifts.append((shapely.Point(wall, (south + north) / 2), {"name": name, "kind": "bridge"}))
    places = [waypoint(x, y, f"P{x}{y}") for x, y in ((-6000, 0), (6000, 0), (6000, 2500), (-1500, -2600))]
    region = make_region(land=walls, overhead=spans, openings=lifts, waypoints=places)
    boat, margins = make_boat(), Margins(standoff_m=20)
    pairs = [(a, b) for a in range(4) for b in range(a)]

    def told(found: Any) -> list[tuple[float, tuple[int, ...]]]:
        return sorted((round(t.distance_nmi, 6), tuple(g[0] for g in t.gates)) for t in found)

    network = build_network(region, boat, margins)
    assert len(network.water.gates) == 12
    Tracks(network, boat, 20).find(pairs[:2], most_l=6.0)
    together = Tracks(network, boat, 20).find(pairs)
    alone = [Tracks(build_network(region, boat, margins), boat, 20).find([pair])[pair] for pair in pairs]
    assert max(map(len, alone)) > 3
    assert [told(together[pair]) for pair in pairs] == [told(found) for found in alone]
