"""Tracks: the ways over water between places that a helmsman can steer, and the dock graph made of them.

Shortest paths by time and by fuel come from the network. They are then drawn as they are steered: bends a few lengths
apart round one headland become one, kinks that save next to nothing go. Time and fuel are those of the steered track.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import shapely
from scipy.sparse import csgraph

from layers.plane import METRES_PER_NMI
from routeplan.leg_graph import LegGraph, Price, Rates
from routeplan.network import split_by_speed_area

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from scipy import sparse

    from routeplan.boats import Boat
    from routeplan.lazy_sailing import LazySailing
    from routeplan.network import GateLeg, Network
    from routeplan.sailing import Sailing
    from routeplan.water import Water

    Points = NDArray[np.float64]
    Point = tuple[float, float]

__all__ = ["OUTSIDE_FAIRWAYS", "SHORTEST_STEERED_M", "Track", "Tracks", "build_dock_graph", "undominated"]

SHORTEST_STEERED_M = 0.15 * METRES_PER_NMI  # [m] bends nearer than this are merged: 21 s at 26 kn
_KINK_SHARE = 5e-4  # of time or fuel on the legs around: what a kink must save to stay
_MERGE_EXTRA = 0.5  # of such a short leg: the most that merging its ends may lengthen the track by
_MERGE_EXTRA_M = 25.0  # [m] and the most that merging the ends of a longer leg may, for a bend less
_MOST_SHUT = 12  # sets of gates that are tried shut for one pair
OUTSIDE_FAIRWAYS = 1.25  # what a mile outside counts where fairways are preferred: they may be a quarter longer
_ROOM_M = 0.02  # [m] a leg that runs along the water's edge may leave it by this much: rounding


@dataclass(frozen=True, eq=False)
class Track:
    """One way from place to place, as steered.

    Parameters
    ----------
    bends
        [m] n x 2 positions in the plane, both ends among them.
    kinds
        n - 1 kinds of stretch: `leg`, `approach` or `gate`.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] Geodesic length, time under way and at gates, fuel for both.
    gates
        Index of each gate passed and [h] the times from the start at which it is reached and left behind.
    crosses
        What its approaches cross: any of `shoal`, `unsurveyed`, `hazard`.
    speed_kn
        [kn] Chosen speed that time and fuel are for.
    lengths_nmi
        [nmi] n - 1 rows: how much of each stretch lies in each kind of water; None where it was made without.
    gate_spans
        For each gate passed its first stretch and the one after its last.
    sailing
        What it takes by the moment it is left, where currents or the sea count; time, fuel and gates are then the
        least that they could ever be, until it is sailed (`routeplan.gate_waits.sail`).
    """

    bends: Points
    kinds: tuple[str, ...]
    distance_nmi: float
    time_h: float
    fuel_l: float
    gates: tuple[tuple[int, float, float], ...]
    crosses: tuple[str, ...]
    speed_kn: float = 0.0
    lengths_nmi: Points | None = None
    gate_spans: tuple[tuple[int, int], ...] = ()
    sailing: Sailing | LazySailing | None = None

    @property
    def most_l(self) -> float:
        """[l] The most fuel that it takes, whenever it is left."""
        return self.fuel_l if self.sailing is None else self.sailing.most_l

    def reversed(self) -> Track:
        """Turn it round.

        Returns
        -------
        The same way from the other end.
        """
        return Track(
            self.bends[::-1],
            self.kinds[::-1],
            self.distance_nmi,
            self.time_h,
            self.fuel_l,
            tuple(
                (gate, self.time_h - left_h, self.time_h - reached_h)
                for gate, reached_h, left_h in reversed(self.gates)
            ),
            self.crosses,
            self.speed_kn,
            None if self.lengths_nmi is None else self.lengths_nmi[::-1],
            tuple((len(self.kinds) - last, len(self.kinds) - first) for first, last in reversed(self.gate_spans)),
        )

    def priced(self, rates: Rates, water: Water) -> Track:
        """Tell the same way for other rates.

        Parameters
        ----------
        rates
            Another boat's, or another speed's.
        water
            The water that it was found on; its gates count.

        Returns
        -------
        The way, with the time, fuel and speed of these rates.

        Raises
        ------
        ValueError
            It was made without its lengths.
        """
        if self.lengths_nmi is None:
            raise ValueError(self.kinds)
        passed = tuple((gate, span) for (gate, *_), span in zip(self.gates, self.gate_spans, strict=True))
        time_h, fuel_l, gates = _cost(rates, water, self.lengths_nmi, self.kinds, passed)
        return replace(self, time_h=time_h, fuel_l=fuel_l, gates=gates, speed_kn=rates.speed_kn[0])


class Tracks:
    """Finds tracks between a network's terminals for a boat at one speed.

    Parameters
    ----------
    network
        The network.
    boat
        Whose burn table counts.
    speed_kn
        [kn] Chosen speed.
    fairways
        Whether they are preferred where the network's margins ask for it.
    rates
        Rates to find them with, where they aren't the boat's own: those of a group.
    """

    def __init__(
        self, network: Network, boat: Boat, speed_kn: float, *, fairways: bool = True, rates: Rates | None = None
    ) -> None:
        self.network = network
        self.rates = rates or Rates.of(boat, network, speed_kn)
        self._most_h = np.inf  # [h] ways that take longer aren't looked for by time
        self._merged: dict[tuple[Point, ...], Point | None] = {}
        self._straight: dict[tuple[Point, ...], bool] = {}
        self._lengths: dict[tuple[Point, Point], Points] = {}
        self._legs = LegGraph(network)
        dear = _dearness(network) if fairways else np.ones(1 + len(network.water.speed_areas))
        self._dearest = float(dear.max())
        self._by_fuel, self._by_time = (
            Price(price.per_nmi * dear, price.slow_per_nmi * dear, price.per_waited_h)
            for price in (Price.of_fuel(self.rates), Price.of_time(self.rates))
        )

    def find(
        self, pairs: Iterable[tuple[int, int]], most_l: float = np.inf
    ) -> dict[tuple[int, int], tuple[Track, ...]]:
        """Find the quickest and the least-fuel track of each pair, with every gate and without those it would pass.

        Parameters
        ----------
        pairs
            From and to, indices of terminals.
        most_l
            [l] Tracks that burn more are left out.

        Returns
        -------
        For each pair its tracks, quickest first, none of them worse than another in both time and fuel and gates;
        pairs without a way are left out.
        """
        wanted = {(min(p), max(p)) for p in pairs if p[0] != p[1]}
        known = self.network.ways.setdefault((self.rates, self._dearest), {})
        tracks = {pair: known[pair][1] for pair in wanted if pair in known and known[pair][0] >= most_l}
        new = self._find_new(wanted - set(tracks), most_l)
        known.update({pair: (most_l, found) for pair, found in new.items() if pair[1] < self.network.own})
        both: dict[tuple[int, int], tuple[Track, ...]] = {}
        for (a, b), found in (tracks | new).items():
            kept = tuple(t for t in found if t.fuel_l <= most_l)
            if kept:
                both[a, b] = kept
                both[b, a] = tuple(t.reversed() for t in kept)
        return both

    def _find_new(self, wanted: set[tuple[int, int]], most_l: float) -> dict[tuple[int, int], tuple[Track, ...]]:
        """Find the tracks of pairs; those of a pair without a way are none."""
        drawn = self._draw_best(wanted, most_l) if wanted else {}
        return {pair: tuple(undominated(drawn.get(pair, []))) for pair in sorted(wanted)}

    def _draw_best(self, wanted: set[tuple[int, int]], most_l: float) -> dict[tuple[int, int], list[Track]]:
        """Draw the best ways of pairs, by time and by fuel."""
        paths: dict[tuple[int, int], dict[tuple[int, ...], None]] = {}
        # without limits and gates the shortest way is the quickest and takes the least fuel
        for by_fuel in self._prices():
            todo: dict[frozenset[int], set[tuple[int, int]]] = {frozenset(): wanted}
            tried: Counter[tuple[int, int]] = Counter()
            while todo:  # where a gate is passed, find the way without it too
                shut = min(todo, key=lambda gates: (len(gates), sorted(gates)))  # in an order that no other pair sways
                asked = {pair for pair in todo.pop(shut) if tried[pair] < _MOST_SHUT}
                tried.update(asked)
                passed = self._search(asked, most_l, by_fuel=by_fuel, shut=shut, paths=paths)
                for gate, through in passed.items():
                    todo.setdefault(shut | {gate}, set()).update(through)
        drawn = {pair: [self._steer(pair, nodes) for nodes in found] for pair, found in paths.items()}
        self._measure(drawn)
        return {pair: [self._track(pair, *way) for way in ways] for pair, ways in drawn.items()}

    def _prices(self) -> tuple[bool, ...]:
        """Tell by which prices ways are looked for: by time, by fuel."""
        return (False, True) if self.network.water.speed_areas or self.network.gate_legs else (True,)

    @cached_property
    def _room(self) -> tuple[NDArray[np.object_], shapely.STRtree]:
        """[m] Where legs may run, each water by itself, and an index of it; made when a way has to be steered."""
        room = _widened(self.network.water.navigable, _ROOM_M)
        return room, shapely.STRtree(room)

    @cached_property
    def _limited(self) -> shapely.Geometry:
        """[m] Where any speed limit holds."""
        limited = shapely.union_all([area.shape for area in self.network.water.speed_areas])
        shapely.prepare(limited)
        return limited

    def reach_l(self, source: int, shut: frozenset[int] = frozenset()) -> Points:
        """[l] Least fuel from one terminal to every terminal, along the network, before steering.

        Parameters
        ----------
        source
            Index of the terminal.
        shut
            Gates that aren't passed.

        Returns
        -------
        One figure a terminal; infinity where there is no way.
        """
        legs, price = self._legs, Price.of_fuel(self.rates)
        away = csgraph.dijkstra(legs.weigh(price, shut), directed=True, indices=legs.first + source)
        return np.array([legs.arrive(t, away, price)[0] for t in range(len(self.network.terminals))])

    def _search(
        self,
        wanted: set[tuple[int, int]],
        most_l: float,
        *,
        by_fuel: bool,
        shut: frozenset[int],
        paths: dict[tuple[int, int], dict[tuple[int, ...], None]],
    ) -> dict[int, set[tuple[int, int]]]:
        """Add the best path of each pair; return which pairs' paths pass which gate."""
        passed: dict[int, set[tuple[int, int]]] = {}
        sources = sorted({a for a, _ in wanted})
        if not sources:
            return passed
        legs, first = self._legs, self._legs.first
        price = self._by_fuel if by_fuel else self._by_time
        gates = {pair: g.gate for g in self.network.gate_legs for pair in (g.nodes, g.nodes[::-1])}
        limit = most_l * self._dearest if by_fuel else self._most_h * self._dearest
        away, before = csgraph.dijkstra(
            self._weigh(price, shut, by_fuel=by_fuel),
            directed=True,
            indices=[first + s for s in sources],
            return_predecessors=True,
            limit=limit,
        )
        for row, source in enumerate(sources):
            for target in range(len(self.network.terminals)):
                if (source, target) not in wanted:
                    continue
                cost, last = legs.arrive(target, away[row], price)
                if not np.isfinite(cost) or cost > limit:
                    continue
                nodes = [last]
                while before[row, nodes[-1]] < first:
                    nodes.append(int(before[row, nodes[-1]]))
                paths.setdefault((source, target), {})[tuple(reversed(nodes))] = None
                for step in pairwise(nodes):
                    if step in gates:
                        passed.setdefault(gates[step], set()).add((source, target))
        return passed

    def _weigh(self, price: Price, shut: frozenset[int], *, by_fuel: bool) -> sparse.csr_array:  # noqa: ARG002
        """Weigh the legs; by what doesn't matter in still water."""
        return self._legs.weigh(price, shut)

    def _steer(self, pair: tuple[int, int], nodes: tuple[int, ...]) -> tuple[list[Point], list[str], list[GateLeg]]:
        """Draw a path as it is steered: its bends, the kind of each stretch between them, and the gates it passes."""
        network = self.network
        source, target = (network.terminals[t] for t in pair)
        start = source.attachment.approaches[source.entries.index(nodes[0])].start
        end = target.attachment.approaches[target.entries.index(nodes[-1])].start
        by_ends = {g.nodes: g for g in network.gate_legs} | {g.nodes[::-1]: g for g in network.gate_legs}
        bends: list[Point] = [start]
        kinds: list[str] = []
        gates: list[GateLeg] = []
        stretch: list[int] = []

        def close_stretch() -> None:
            points = self._smooth(stretch)
            kinds.extend(["leg"] * (len(points) - 1))
            bends.extend(points[1:])

        entry = _xy(network.nodes[nodes[0]])
        kinds.append("approach")
        bends.append(entry)
        stretch.append(nodes[0])
        for a, b in pairwise(nodes):
            gate = by_ends.get((a, b))
            if gate is not None and not self._sees(network.nodes[a], network.nodes[b]):
                close_stretch()
                path = gate.path if gate.nodes == (a, b) else gate.path[::-1]
                bends.extend(path[1:])
                kinds.extend(["gate"] * (len(path) - 1))
                gates.append(gate)
                stretch = [b]
            else:
                stretch.append(b)
        close_stretch()
        bends.append(end)
        kinds.append("approach")
        return *_without_stubs(bends, kinds), gates

    def _smooth(self, nodes: Sequence[int]) -> list[Point]:
        """Drop the kinks and merge the bends that are too near to one another to be steered."""
        shortest = [_xy(self.network.nodes[n]) for n in nodes]
        kept = list(range(len(nodes)))
        i = 1
        while i < len(kept) - 1:
            replaced = tuple(shortest[kept[i - 1] : kept[i + 1] + 1])  # all since the last point kept: savings add up
            if nodes[kept[i]] >= self.network.corner_count and self._is_needless(replaced):
                del kept[i]
                i = max(1, i - 1)
            else:
                i += 1
        points = [shortest[k] for k in kept]
        while True:
            lengths = [math.dist(p, q) for p, q in pairwise(points[1:-1])]
            for at in sorted(range(len(lengths)), key=lengths.__getitem__):
                merged = self._merge(*points[at : at + 4])
                if merged is not None:
                    points[at + 1 : at + 3] = [merged]
                    break
            else:
                break
        return points

    def _is_needless(self, path: tuple[Point, ...]) -> bool:
        """Tell whether a path may as well run straight from its first point to its last."""
        if path not in self._straight:
            straight = [path[0], path[-1]]
            needless = self._sees(*straight) and (
                not self._meets_limit(list(path)) or self._is_as_cheap(straight, list(path))
            )
            self._straight[path] = self._straight[path[::-1]] = needless
        return self._straight[path]

    def _meets_limit(self, points: list[Point]) -> bool:
        """Tell whether a speed limit may hold anywhere among some points."""
        return bool(self.network.water.speed_areas and self._limited.intersects(shapely.MultiPoint(points).convex_hull))

    def _is_as_cheap(self, new: list[Point], old: list[Point]) -> bool:
        """Tell whether a redrawn piece costs, in time and in fuel, next to nothing more than it did."""
        ends = np.array([*pairwise(new), *pairwise(old)])
        lengths = split_by_speed_area(self.network.water, ends[:, 0], ends[:, 1])
        redrawn, before = lengths[: len(new) - 1].sum(axis=0), lengths[len(new) - 1 :].sum(axis=0)
        rates = (self._by_time.per_nmi, self._by_fuel.per_nmi)
        return all(redrawn @ rate <= before @ rate * (1 + _KINK_SHARE) for rate in rates)

    def _merge(self, a: Point, b: Point, c: Point, d: Point) -> Point | None:
        """Find where the legs before and after a short one meet, if the water there is open."""
        key = (a, b, c, d)
        if key not in self._merged:
            self._merged[key] = self._merged[key[::-1]] = self._meeting(a, b, c, d)
        return self._merged[key]

    def _meeting(self, a: Point, b: Point, c: Point, d: Point) -> Point | None:
        ux, uy = b[0] - a[0], b[1] - a[1]
        vx, vy = d[0] - c[0], d[1] - c[1]
        wx, wy = c[0] - b[0], c[1] - b[1]
        turn = ux * vy - uy * vx
        first, second = ux * wy - uy * wx, wx * vy - wy * vx
        if turn == 0 or first * second <= 0 or first * turn <= 0:  # one bend to port and one to starboard
            return None
        share = (wx * vy - wy * vx) / turn
        meeting = (b[0] + ux * share, b[1] + uy * share)
        short = float(np.hypot(wx, wy))
        round_ = float(np.hypot(meeting[0] - b[0], meeting[1] - b[1]) + np.hypot(meeting[0] - c[0], meeting[1] - c[1]))
        most = short * _MERGE_EXTRA if short < SHORTEST_STEERED_M else _MERGE_EXTRA_M
        if round_ - short > most or not (self._sees(b, meeting) and self._sees(meeting, c)):
            return None
        around = [a, b, c, d]
        if self._meets_limit([*around, meeting]) and not self._is_as_cheap([a, meeting, d], around):
            return None
        return meeting

    def _sees(self, a: Any, b: Any) -> bool:
        line = shapely.LineString([a, b])
        room, tree = self._room
        return bool(shapely.covers(room[tree.query(line)], line).any())

    def _measure(self, drawn: dict[tuple[int, int], list[tuple[list[Point], list[str], list[GateLeg]]]]) -> None:
        """Measure every stretch of the drawn tracks that hasn't been measured yet, all at once."""
        new = {
            (a, b): None
            for found in drawn.values()
            for bends, _, _ in found
            for a, b in pairwise(bends)
            if (a, b) not in self._lengths
        }
        if not new:
            return
        ends = np.array(list(new))
        for stretch, lengths in zip(new, split_by_speed_area(self.network.water, ends[:, 0], ends[:, 1]), strict=True):
            self._lengths[stretch] = lengths

    def _track(self, pair: tuple[int, int], bends: list[Point], kinds: list[str], passed: list[GateLeg]) -> Track:
        lengths = np.array([self._lengths[a, b] for a, b in pairwise(bends)])
        spans: list[tuple[int, int]] = []
        stretch = 0
        for leg in passed:
            stretch = kinds.index("gate", stretch)
            spans.append((stretch, stretch + len(leg.path) - 1))
            stretch = spans[-1][1]
        through = tuple((leg.gate, span) for leg, span in zip(passed, spans, strict=True))
        time_h, fuel_l, gates = _cost(self.rates, self.network.water, lengths, kinds, through)
        terminals = [self.network.terminals[t] for t in pair]
        ends = {bends[0], bends[-1], bends[1], bends[-2]}
        crosses = {
            what for t in terminals for a in t.attachment.approaches if {a.start, a.entry} <= ends for what in a.crosses
        }
        return Track(
            np.array(bends),
            tuple(kinds),
            float(lengths.sum(axis=1).sum()),
            time_h,
            fuel_l,
            gates,
            tuple(sorted(crosses)),
            self.rates.speed_kn[0],
            lengths,
            tuple(spans),
        )


def build_dock_graph(
    at_speeds: Sequence[Tracks], pairs: Iterable[tuple[int, int]], most_l: float = np.inf
) -> nx.MultiDiGraph:
    """Build the graph that refuel stops are searched on.

    Parameters
    ----------
    at_speeds
        For one boat, at each of the speeds that a hop may be run at.
    pairs
        Which terminals to join to which.
    most_l
        [l] Hops that burn more are left out.

    Returns
    -------
    Nodes are indices of terminals with `place`; edges have `track`, `distance_nmi`, `time_h` and `fuel_l`, parallel
    edges differ in time, fuel, speed or gates, none of them worse in all than another.
    """
    pairs = list(pairs)
    graph = nx.MultiDiGraph()
    found: dict[tuple[int, int], list[Track]] = {}
    for tracks in at_speeds:
        for pair, ways in tracks.find(pairs, most_l).items():
            found.setdefault(pair, []).extend(ways)
    for pair, several in found.items():
        for track in undominated([t for t in several if np.isfinite(t.time_h)]):  # others can never be passed
            graph.add_edge(
                *pair, track=track, distance_nmi=track.distance_nmi, time_h=track.time_h, fuel_l=track.fuel_l
            )
    for index in graph:
        graph.nodes[index]["place"] = at_speeds[0].network.terminals[index].place
    return graph


def _cost(
    rates: Rates, water: Water, lengths_nmi: Points, kinds: Sequence[str], passed: Iterable[tuple[int, tuple[int, int]]]
) -> tuple[float, float, tuple[tuple[int, float, float], ...]]:
    """[h, l] Work out time and fuel of a way, waits at its gates among them, and when each gate is reached and left."""
    slow = np.array([kind != "leg" for kind in kinds])
    hours = np.where(slow, lengths_nmi @ rates.slow_hours_per_nmi, lengths_nmi @ rates.hours_per_nmi)
    litres = np.where(slow, lengths_nmi @ rates.slow_litres_per_nmi, lengths_nmi @ rates.litres_per_nmi)
    gates: list[tuple[int, float, float]] = []
    waited_h = 0.0
    for gate, (first, last) in passed:
        reached_h = float(hours[:first].sum()) + waited_h
        waited_h += water.gates[gate].wait_h
        gates.append((gate, reached_h, float(hours[:last].sum()) + waited_h))
    return float(hours.sum()) + waited_h, float(litres.sum()) + waited_h * rates.idle_lph, tuple(gates)


def _dearness(network: Network) -> Points:
    """Tell what a mile counts in each kind of water where fairways are preferred; 1 everywhere where they aren't."""
    fairway = np.array([False, *(area.fairway for area in network.water.speed_areas)])
    return np.where(fairway | (not fairway.any()), 1.0, OUTSIDE_FAIRWAYS)


def _widened(water: shapely.MultiPolygon, by_m: float) -> NDArray[np.object_]:
    """[m] Widen each of several waters a little, ring by ring: one buffer round everything takes ten times as long."""
    wide = []
    for part in shapely.get_parts(water):
        shore = shapely.polygons(part.exterior).buffer(by_m, join_style="mitre")
        islands = shapely.get_parts(
            shapely.buffer(shapely.polygons(np.asarray(part.interiors, dtype=object)), -by_m, join_style="mitre")
        )
        rings = [island.exterior for island in islands if not island.is_empty]
        wide.append(shapely.Polygon(shore.exterior, [*shore.interiors, *rings]))
    room = np.empty(len(wide), dtype=object)
    room[:] = wide
    shapely.prepare(room)
    return room


def _xy(node: Points) -> Point:
    return float(node[0]), float(node[1])


def _without_stubs(bends: list[Point], kinds: list[str]) -> tuple[list[Point], list[str]]:
    """Take out approaches of no length, where a place lies in navigable water."""
    kept_bends, kept_kinds = [bends[0]], []
    for point, kind in zip(bends[1:], kinds, strict=True):
        before = kept_bends[-1]
        if kind == "approach" and np.hypot(point[0] - before[0], point[1] - before[1]) < 1.0:
            if len(kept_bends) > 1:
                continue
            kept_bends[0] = point
            continue
        kept_bends.append(point)
        kept_kinds.append(kind)
    if len(kept_bends) == 1:  # start and end are the same spot
        return [bends[0], bends[-1]], ["approach"]
    return kept_bends, kept_kinds


def undominated(tracks: Sequence[Track]) -> list[Track]:
    """Keep the tracks that no other beats in time and fuel without needing another gate.

    Parameters
    ----------
    tracks
        Between the same places.

    Returns
    -------
    Quickest first. One that depends on when it is left isn't beaten by what it takes at the least.
    """
    ordered = sorted(tracks, key=lambda t: (t.time_h, t.fuel_l, len(t.gates)))
    kept: list[Track] = []
    for track in ordered:
        beaten = track.sailing is None and any(
            k.sailing is None
            and k.fuel_l <= track.fuel_l + 1e-9
            and {g[0] for g in k.gates} <= {g[0] for g in track.gates}
            for k in kept
        )
        if not beaten:
            kept.append(track)
    return kept
