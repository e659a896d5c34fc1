"""The network's legs, lengths and joins, against other programs and other ways of computing them."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.sightlines import Coast
from oracles.small_world import box, dock, make_boat, make_region, position, waypoint, zone
from pyproj import Geod
from scipy.sparse import csgraph

from routeplan.building import build_network
from routeplan.margins import Margins
from routeplan.network import Place, join_places, split_by_speed_area
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from routeplan.network import Network

GEOD = Geod(ellps="WGS84")


def _graph(network: Network, weights: Any) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(range(len(network.nodes)))
    for (a, b), weight in zip(network.legs.tolist(), weights.tolist(), strict=True):
        if not graph.has_edge(a, b) or weight < graph[a][b]["weight"]:
            graph.add_edge(a, b, weight=weight)
    return graph


def _plane_lengths(network: Network) -> Any:
    ends = network.nodes[network.legs]
    return np.hypot(*(ends[:, 0] - ends[:, 1]).T)


@st.composite
def island_rows(draw: st.DrawFn) -> list[Any]:
    """Draw boxes and triangles within 3 km of the middle."""
    far = st.integers(-3000, 3000)
    rows: list[Any] = []
    for _ in range(draw(st.integers(1, 6))):
        x, y = draw(far), draw(far)
        if draw(st.booleans()):
            shape: Any = box(x, y, x + draw(st.integers(50, 2500)), y + draw(st.integers(50, 2500)))
        else:
            shape = shapely.convex_hull(shapely.MultiPoint([(x, y), (draw(far), draw(far)), (draw(far), draw(far))]))
        if shape.area > 1000:
            rows.append((shape, {}))
    return rows or [(box(0, 0, 500, 500), {})]


@settings(max_examples=max(15, settings().max_examples // 4))
@given(
    island_rows(),
    st.lists(st.tuples(st.integers(-4000, 4000), st.integers(-4000, 4000)), min_size=2, max_size=4, unique=True),
)
def test_shortest_ways_are_those_of_all_sight_lines(rows: list[Any], spots: list[tuple[int, int]]) -> None:
    """Through files, planes, buffers and grids: the network against every sight line over the same water, by networkx.

    In the plane, to 1e-9; places that lie in open water only, as approaches are another matter.
    """
    region = make_region(half_deg=0.06, land=rows, waypoints=[waypoint(*s, f"W{i}") for i, s in enumerate(spots)])
    network = build_network(region, make_boat())
    grid_m = network.water.grid_m
    coast = Coast(shapely.transform(network.water.navigable, lambda xy: np.rint(xy / grid_m)))
    nodes = [
        t.entries[0]
        if len(t.entries) == 1 and math.dist(t.attachment.approaches[0].start, t.attachment.approaches[0].entry) < 0.02
        else None
        for t in network.terminals
    ]
    joined = sorted({n for n in nodes if n is not None})
    steps = {n: tuple(int(v) for v in np.rint(network.nodes[n] / grid_m)) for n in joined}
    ours, theirs = _graph(network, _plane_lengths(network)), coast.sight_graph(list(steps.values()))
    for i, a in enumerate(joined):
        away = nx.single_source_dijkstra_path_length(ours, a)
        expected = nx.single_source_dijkstra_path_length(theirs, steps[a], weight=lambda _a, _b, data: data["length"])
        for b in joined[i + 1 :]:
            assert (b in away) == (steps[b] in expected)
            if b in away:
                assert away[b] == pytest.approx(expected[steps[b]] * grid_m, rel=1e-9)


def test_scipy_and_networkx_agree_on_the_demo(demo_network: Network) -> None:
    """The same weights, two programs: from three docks to every node."""
    miles = demo_network.lengths_nmi.sum(axis=1)
    graph = _graph(demo_network, miles)
    matrix = nx.to_scipy_sparse_array(graph, nodelist=range(len(graph)), format="csr")
    sources = [t.entries[0] for t in demo_network.terminals if t.entries][:3]
    away = csgraph.dijkstra(matrix, directed=True, indices=sources)
    for row, source in enumerate(sources):
        expected = nx.single_source_dijkstra_path_length(graph, source)
        assert set(np.flatnonzero(np.isfinite(away[row])).tolist()) == set(expected)
        assert away[row][list(expected)] == pytest.approx(list(expected.values()), rel=1e-12, abs=1e-12)


def test_the_tracks_graph_gives_networkx_the_same_hours(demo_network: Network) -> None:
    """Least litres from one dock to the others, with approaches and gates put in by hand."""
    boat = demo_network.boat
    tracks = Tracks(demo_network, boat, boat.cruising_speed_kn)
    litres = tracks.rates.litres_per_nmi
    graph = _graph(demo_network, demo_network.lengths_nmi @ litres)
    plane = demo_network.water.plane
    areas = demo_network.water.speed_areas

    def slowly_l(path: Any) -> float:
        """[l] At no-wake speed, or at a lower limit where one holds."""
        litres = 0.0
        for p, q in itertools.pairwise(np.array(path)):
            line = shapely.LineString([p, q])
            whole = float(GEOD.inv(*plane.to_lonlat([p])[0], *plane.to_lonlat([q])[0])[2] / 1852)
            speeds = {
                boat.steady_kn(min(boat.no_wake_kn, a.limit_kn)): a.shape.intersection(line).length for a in areas
            }
            plain = boat.steady_kn(boat.no_wake_kn)
            shares = {v: part / max(line.length, 1e-9) for v, part in speeds.items() if v != plain}
            shares[plain] = 1 - sum(shares.values())
            litres += sum(whole * share / v * boat.burn_lph(v) for v, share in shares.items())
        return litres

    for leg in demo_network.gate_legs:
        cost = slowly_l(leg.path) + demo_network.water.gates[leg.gate].wait_h * boat.burn.idle_lph
        graph.add_edge(*leg.nodes, weight=min(cost, graph.get_edge_data(*leg.nodes, {"weight": math.inf})["weight"]))
    docks = [i for i, t in enumerate(demo_network.terminals) if t.place.kind == "dock" and t.entries]
    start = demo_network.terminals[docks[0]]
    best = dict.fromkeys(docks, math.inf)
    for approach, entry in zip(start.attachment.approaches, start.entries, strict=True):
        away = nx.single_source_dijkstra_path_length(graph, entry)
        out_l = slowly_l((approach.start, approach.entry))
        for i in docks:
            for last, node in zip(
                demo_network.terminals[i].attachment.approaches, demo_network.terminals[i].entries, strict=True
            ):
                if node in away:
                    best[i] = min(best[i], out_l + away[node] + slowly_l((last.start, last.entry)))
    found = tracks.reach_l(docks[0])
    assert [found[i] for i in docks[1:]] == pytest.approx([best[i] for i in docks[1:]], rel=1e-9)


def test_a_leg_weighs_its_geodesic_length(demo_network: Network) -> None:
    rng = np.random.default_rng(1)
    for leg in rng.choice(len(demo_network.legs), 200):
        a, b = demo_network.water.plane.to_lonlat(demo_network.nodes[demo_network.legs[leg]])
        assert demo_network.lengths_nmi[leg].sum() == pytest.approx(GEOD.inv(*a, *b)[2] / 1852, rel=1e-9, abs=1e-9)


def test_lengths_are_split_where_the_limit_holds() -> None:
    """A straight line of 4 km, 1 km of it inside a square zone of 1 km, and nothing of it beside."""
    region = make_region(land=[(box(9000, 0, 9100, 100), {})], zones=[zone(box(-500, -500, 500, 500), "no-wake")])
    water = build_network(region, make_boat()).water
    a, b = (
        water.plane.to_plane([position(x, y) for x, y in line])
        for line in ([(-2000, 0), (-2000, 600)], [(2000, 0), (2000, 600)])
    )
    through, beside = split_by_speed_area(water, a, b) * 1852
    assert through == pytest.approx([3000, 1000], abs=1.0)
    assert beside == pytest.approx([4000, 0], abs=1.0)


def test_no_leg_of_the_network_leaves_the_water(demo_network: Network) -> None:
    """A sample of the demo's legs, with shapely; the margin is the grid's rounding of points that lie in between."""
    rng = np.random.default_rng(2)
    legs = demo_network.legs[rng.choice(len(demo_network.legs), 4000, replace=False)]
    room = demo_network.water.navigable.buffer(0.02)
    shapely.prepare(room)
    assert shapely.covers(room, shapely.linestrings(demo_network.nodes[legs])).all()


def test_places_joined_later_are_joined_as_if_they_had_been_there() -> None:
    land = [(box(-500, -500, 500, 500), {})]
    spots = [(-3000, 100), (3000, -200), (0, 900)]
    boat = make_boat()
    whole = build_network(make_region(land=land, waypoints=[waypoint(*s, f"W{i}") for i, s in enumerate(spots)]), boat)
    grown = build_network(make_region(land=land, waypoints=[waypoint(*spots[0], "W0")]), boat)
    before = (len(grown.nodes), len(grown.legs))
    for s in spots[1:]:
        more = join_places(grown, [Place("later", "position", position(*s))])
        assert (len(grown.nodes), len(grown.legs)) == before or grown is not more
        grown, before = more, (len(more.nodes), len(more.legs))
    pairs = [(0, 1), (0, 2), (1, 2)]
    expected, found = (Tracks(n, boat, 20.0).find(pairs) for n in (whole, grown))
    for pair in pairs:
        assert [t.distance_nmi for t in found[pair]] == pytest.approx(
            [t.distance_nmi for t in expected[pair]], rel=1e-9
        )


def test_a_place_with_no_way_to_it_still_has_a_terminal() -> None:
    inland = box(-5000, -5000, 5000, 5000)
    network = build_network(
        make_region(land=[(inland, {})], docks=[dock(0, 0, "Dry"), dock(6000, 0, "Wet")]), make_boat()
    )
    dry, wet = network.terminals
    assert dry.entries == ()
    assert "land" in dry.attachment.why_not
    assert len(wet.entries) == 1
    assert network.terminal("Wet") == 1
    with pytest.raises(KeyError):
        network.terminal("Neither")


def test_separate_waters_are_not_joined() -> None:
    """A wall from edge to edge of the extent."""
    wall = (box(-200, -30000, 200, 30000), {})
    region = make_region(land=[wall], waypoints=[waypoint(-3000, 0, "West"), waypoint(3000, 0, "East")])
    boat = make_boat()
    assert Tracks(build_network(region, boat), boat, 20.0).find([(0, 1)]) == {}


def test_no_navigable_water_at_all_is_told_place_by_place() -> None:
    everywhere = (box(-40000, -40000, 40000, 40000), {})
    network = build_network(make_region(land=[everywhere], docks=[dock(0, 0, "Dry")]), make_boat())
    assert len(network.nodes) == 0
    assert network.terminals[0].attachment.why_not


def test_a_narrower_stand_off_never_lengthens_the_way() -> None:
    lands = [(box(-500, 60, 500, 4000), {}), (box(-500, -4000, 500, -60), {})]
    region = make_region(land=lands, waypoints=[waypoint(-3000, 0, "West"), waypoint(3000, 0, "East")])
    boat = make_boat()
    miles = []
    for standoff_m in (20.0, 50.0, 70.0, 200.0):
        network = build_network(region, boat, Margins(standoff_m=standoff_m))
        miles.append(Tracks(network, boat, 20.0).find([(0, 1)])[0, 1][0].distance_nmi)
    assert miles == sorted(miles)
    # by hand: through the gap of 120 m it is straight, 6 km; from 60 m of stand-off on the way is round an end at 4 km
    assert miles[1] == pytest.approx(6000 / 1852, rel=1e-3)
    assert miles[2] == pytest.approx((2 * math.hypot(2430, 4070) + 1140) / 1852, rel=0.01)
