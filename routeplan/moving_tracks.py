"""Tracks over water that moves, or whose sea takes speed: ways worth taking at some time, each told by the clock.

Ways are looked for as if the currents of some moment stood still, at moments all through the tide, and in still water.
What each of them takes is then worked out for the moment at which it is left (`routeplan.sailing`).
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.lazy_sailing import LazySailing
from routeplan.leg_graph import Price
from routeplan.moving_legs import MovingLegs
from routeplan.network import put_points
from routeplan.pieces import cut
from routeplan.sailing import Sailed, Sailing, Way
from routeplan.tracks import SHORTEST_STEERED_M, Track, Tracks, undominated
from routeplan.triangle import find_ground_kn

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray
    from scipy import sparse

    from routeplan.boats import Boat
    from routeplan.conditions import Conditions
    from routeplan.network import GateLeg, Network

    Vector = NDArray[np.float64]
    Pair = tuple[int, int]
    Point = tuple[float, float]

__all__ = ["MovingTracks", "with_currents"]

_SNAPSHOT_H = 3.0  # [h] between the moments whose currents ways are looked for in
_OFTEN_H = 0.5  # [h] the same for pairs with a way that is shut at times
_TIDE_H = 26.0  # [h] two tides: after that the same ways come again
_COMPARED_H = 0.5  # [h] between departures at which ways are compared
_LONGER = 1.25  # times as long as the shortest way, and
_LONGER_NMI = 5.0  # [nmi] a little more: what a passage may sensibly be for its hops to be looked for by the currents
_STEERED_EXTRA = 5e-4  # share that fewer bends may cost
_MOST_SWAYED = 80  # pairs for which ways are looked for in the currents of many moments
_TIE = 1e-7  # share by which a way must be better somewhere to be kept


def with_currents(network: Network, conditions: Conditions) -> Network:
    """Put points into the water where currents run, so that ways can take the better side.

    Parameters
    ----------
    network
        The network.
    conditions
        Their currents count.

    Returns
    -------
    The network with these points; itself where no current is known.
    """
    if conditions.currents is None:
        return network
    points = conditions.currents.points_in(network.water.navigable)
    return put_points(network, points) if len(points) else network


class MovingTracks(Tracks):
    """Finds tracks for a boat at one speed under some conditions, each way by itself: there and back differ.

    Parameters
    ----------
    network
        The network, from `with_currents`.
    boat
        Whose burn table counts.
    speed_kn
        [kn] Chosen speed.
    conditions
        Currents and sea.
    fairways
        Whether they are preferred where the network's margins ask for it.
    """

    def __init__(
        self, network: Network, boat: Boat, speed_kn: float, conditions: Conditions, *, fairways: bool = True
    ) -> None:
        super().__init__(network, boat, speed_kn, fairways=fairways)
        self.conditions = conditions
        self._boat = boat
        self._known: dict[Pair, tuple[float, tuple[Track, ...]]] = {}
        self._as_found = False  # whether paths are drawn through all their nodes
        self._steered: dict[tuple[Pair, tuple[int, ...]], tuple[list[Point], list[str], list[GateLeg]]] = {}
        self._quick: dict[
            tuple[tuple[Point, ...], tuple[Point, ...]], bool
        ] = {}  # what was judged in the currents that stand
        self._ends: tuple[int, ...] = ()
        self._all_swayed: set[Pair] = set()
        self._ratios: tuple[Vector, Vector] | None = (
            None  # of each leg's hours, there and back, to those in still water
        )
        self._moment_h: float | None = None

    def keep_to(self, ends: Sequence[int]) -> None:
        """Look for ways by the currents only between places that lie about the way of a passage.

        Parameters
        ----------
        ends
            Terminals: its start, what it passes and its end.
        """
        self._ends = tuple(ends)

    def find(self, pairs: Iterable[Pair], most_l: float = np.inf) -> dict[Pair, tuple[Track, ...]]:
        """Find the ways of each pair that are worth taking at one time or another.

        Parameters
        ----------
        pairs
            From and to, indices of terminals.
        most_l
            [l] Tracks that always burn more are left out.

        Returns
        -------
        For each pair its tracks; pairs without a way are left out.
        """
        wanted = {pair for pair in pairs if pair[0] != pair[1]}
        new = {pair for pair in wanted if pair not in self._known or self._known[pair][0] < most_l}
        if new:
            self._known.update({pair: (most_l, ways) for pair, ways in self._find_moving(new).items()})
        kept = {pair: tuple(t for t in self._known[pair][1] if t.fuel_l <= most_l) for pair in wanted}
        return {pair: ways for pair, ways in kept.items() if ways}

    def add(self, pair: Pair, nodes: Sequence[int], leave_h: float, arrive_h: float) -> Track:
        """Take one more way of a pair up.

        Parameters
        ----------
        pair
            From and to.
        nodes
            The network's nodes that it passes.
        leave_h, arrive_h
            [h] When it is left and ends, since the beginning of the span.

        Returns
        -------
        The way as steered; through all its nodes where drawing it straighter would cost time in the currents then.
        """
        drawn: list[Track] = []
        self._take((leave_h + arrive_h) / 2)
        for self._as_found in (True, False):
            way = Tracks._steer(self, pair, tuple(nodes))  # noqa: SLF001  what was drawn before doesn't count
            self._measure({pair: [way]})
            drawn.append(self._under_way(self._track(pair, *way)))
        self._stand_still()
        as_found_h, steered_h = (_hours_at(track, leave_h) for track in drawn)
        track = drawn[1] if steered_h <= as_found_h * (1 + _STEERED_EXTRA) else drawn[0]
        most_l, ways = self._known.get(pair, (np.inf, ()))
        self._known[pair] = (most_l, (*ways, track))
        return track

    def best_at(self, pair: Pair, moment_h: float) -> tuple[int, ...]:
        """Find the best way of a pair if the currents of one moment stood still.

        Parameters
        ----------
        pair
            From and to.
        moment_h
            [h] Since the beginning of the span.

        Returns
        -------
        The network's nodes that it passes; none where there is no way.
        """
        paths: dict[Pair, dict[tuple[int, ...], None]] = {}
        self._take(moment_h)
        self._search({pair}, np.inf, by_fuel=False, shut=frozenset(), paths=paths)
        self._stand_still()
        return next(iter(paths.get(pair, {})), ())

    def sailing(self, way: Way, conditions: Conditions | None = None) -> Sailing:
        """Tell any way by the clock.

        Parameters
        ----------
        way
            The way.
        conditions
            A part of the span; the whole of it where None.

        Returns
        -------
        What it takes by the moment it is left.
        """
        return Sailing(conditions or self.conditions, self.network.water, self._boat, self.rates, way)

    def least_hours(self) -> sparse.csr_array:
        """[h] Bound what each leg takes from below, for all times.

        Returns
        -------
        Square matrix over nodes and terminals, as in `LegGraph.weigh`.
        """
        there, back = self._most_in_favour
        price = Price.of_time(self.rates)
        weight = self.network.lengths_nmi @ price.per_nmi
        return self._legs.lay(weight * there, weight * back, price)

    def is_moving(self, a: int, b: int) -> bool:
        """Tell whether it matters when a leg is run.

        Parameters
        ----------
        a, b
            Its nodes.

        Returns
        -------
        True where a current is known on it, or the sea counts.
        """
        return self.conditions.sea is not None or (a, b) in self._moving.both_ways

    def is_swayed(self, pair: Pair) -> bool:
        """Tell whether currents or the sea may make another way the best.

        Parameters
        ----------
        pair
            From and to, among those that were looked for.

        Returns
        -------
        False where the best way in still water is the best at any time.
        """
        return pair in self._all_swayed

    def gate_between(self, a: int, b: int) -> int | None:
        """Tell which gate lies between two nodes.

        Parameters
        ----------
        a, b
            The nodes.

        Returns
        -------
        Its index; None where they see one another, or none does.
        """
        return self._gates_between.get((a, b))

    @cached_property
    def _gates_between(self) -> dict[Pair, int]:
        legs = set(map(tuple, self.network.legs.tolist()))
        return {
            pair: gate.gate
            for gate in self.network.gate_legs
            for pair in (gate.nodes, gate.nodes[::-1])
            if pair not in legs and pair[::-1] not in legs
        }

    def _find_moving(self, wanted: set[Pair]) -> dict[Pair, tuple[Track, ...]]:
        """Find ways in still water, and where currents or sea may make others better, in those of many moments."""
        found: dict[Pair, dict[bytes, Track]] = {pair: {} for pair in wanted}
        self._stand_still()
        self._collect(found, {p: list(ways) for p, ways in super().find(wanted).items() if p in wanted})
        about = self._about_the_way(wanted, found)
        swayed = about if self.conditions.gridded else self._swayed(about)
        self._all_swayed |= swayed
        few = swayed if len(swayed) <= _MOST_SWAYED and not self.conditions.gridded else set()
        if few:
            self._look_through_the_tide(found, few, _SNAPSHOT_H)
        told = {pair: [self._under_way(t) for t in ways.values()] for pair, ways in found.items()}
        shut = {pair for pair in few if any(_is_shut_at_times(t, self.conditions.hours) for t in told[pair])}
        if shut:  # where minutes matter
            self._look_through_the_tide(found, shut, _OFTEN_H)
            told |= {pair: [self._under_way(t) for t in found[pair].values()] for pair in shut}
        return {pair: self._worth_keeping(tracks) for pair, tracks in told.items()}

    def _look_through_the_tide(self, found: dict[Pair, dict[bytes, Track]], pairs: set[Pair], every_h: float) -> None:
        """Look for the ways of pairs in the currents of many moments, the same for whatever departure."""
        self._most_h = _LONGER * max((t.time_h for pair in pairs for t in found[pair].values()), default=np.inf)
        last_h = min(self.conditions.hours, _TIDE_H) if self.conditions.currents is not None else 0.0
        first_h = -(self.conditions.begin.timestamp() / 3600) % every_h
        for moment_h in np.arange(first_h, max(last_h, first_h) + 1e-9, every_h):
            self._take(float(moment_h))
            self._collect(found, self._draw_best(pairs, np.inf))
        self._stand_still()
        self._most_h = np.inf

    def _about_the_way(self, wanted: set[Pair], found: dict[Pair, dict[bytes, Track]]) -> set[Pair]:
        """Pick the pairs that a passage may sensibly use: from start by way of both to the end isn't much longer."""
        legs = list(pairwise(self._ends))
        ways = [list(found.get(leg, {}).values()) or list(self._known.get(leg, (0.0, ()))[1]) for leg in legs]
        if not legs or not all(ways):
            return wanted
        most_nmi = [min(t.distance_nmi for t in several) * _LONGER + _LONGER_NMI for several in ways]
        terminals = self.network.terminals
        xy = self.network.water.plane.to_plane([terminal.place.position for terminal in terminals])

        def apart_nmi(a: int, b: int) -> float:
            return float(np.hypot(*(xy[a] - xy[b]))) / METRES_PER_NMI

        return {
            (a, b)
            for a, b in wanted
            if any(
                apart_nmi(s, a) + apart_nmi(a, b) + apart_nmi(b, t) <= most
                for (s, t), most in zip(legs, most_nmi, strict=True)
            )
        }

    def _collect(self, found: dict[Pair, dict[bytes, Track]], drawn: dict[Pair, list[Track]]) -> None:
        for pair, tracks in drawn.items():
            for track in tracks:
                found[pair].setdefault(np.round(track.bends).tobytes(), track)

    def _under_way(self, track: Track) -> Track:
        """Tell a way by the clock, where that matters."""
        conditions = self.conditions
        if conditions.sea is None and (
            conditions.currents is None
            or not shapely.intersects(conditions.currents.covered, shapely.LineString(track.bends))
        ):
            return track
        gates = tuple((gate, *span) for (gate, *_), span in zip(track.gates, track.gate_spans, strict=True))
        way = Way(track.bends, track.kinds, gates)
        if conditions.gridded:
            return self._lazily(track, way)
        sailing = self.sailing(way)
        least = sailing.least
        return replace(
            track,
            time_h=least.time_h,
            fuel_l=least.fuel_l,
            gates=least.gates,
            sailing=sailing if sailing.changes else None,
        )

    def _lazily(self, track: Track, way: Way) -> Track:
        """Bound what a way takes by the fastest current in favour and against her, all the way."""
        water, rates, currents = self.network.water, self.rates, self.conditions.currents
        line = np.array([shapely.LineString(track.bends)])
        fastest_kn = 0.0 if currents is None else float(currents.fastest_kn(line)[0])
        quick, slow = (track.priced(rates.changed(by_kn), water) for by_kn in (fastest_kn, -fastest_kn))
        least = Sailed(quick.time_h, quick.fuel_l, quick.gates)
        most_l = slow.fuel_l if self.conditions.sea is None else np.inf
        sailing = LazySailing(self.conditions, water, self._boat, rates, way, least, most_l)
        return replace(track, time_h=least.time_h, fuel_l=least.fuel_l, gates=least.gates, sailing=sailing)

    def _worth_keeping(self, tracks: list[Track]) -> tuple[Track, ...]:
        """Leave out the ways that are never better than all others through the same gates, in time or in fuel."""
        still = undominated([t for t in tracks if t.sailing is None])
        moving = [t for t in tracks if t.sailing is not None]
        if not moving or self.conditions.gridded:
            return tuple(sorted([*still, *moving], key=lambda t: t.time_h))
        moments = np.arange(0.0, self.conditions.hours, _COMPARED_H)
        kept: list[Track] = []
        for gates in dict.fromkeys(tuple(sorted(g[0] for g in t.gates)) for t in tracks):
            same = [t for t in (*still, *moving) if tuple(sorted(g[0] for g in t.gates)) == gates]
            hours, litres = (np.array(rows) for rows in zip(*(_sampled(t, moments) for t in same), strict=True))
            for figures in (hours, litres):
                figures[~np.isfinite(figures)] = np.inf
                better = figures <= figures.min(axis=0) * (1 + _TIE)
                finite = np.isfinite(figures.min(axis=0))
                uncovered = finite & ~better[[same.index(t) for t in kept if t in same]].any(axis=0)
                while uncovered.any():  # the fewest ways that are best at all moments, by the greedy rule
                    best = int((better & uncovered).sum(axis=1).argmax())
                    kept.append(same[best])
                    uncovered &= ~better[best]
            if same and not any(t in kept for t in same):
                kept.append(same[0])  # it opens after the span that was looked at, or never
        return tuple(sorted(kept, key=lambda t: t.time_h))

    def _swayed(self, wanted: set[Pair]) -> set[Pair]:
        """Tell which pairs may find a better way than in still water: those whose way would run over water that moves.

        Judged with the fastest current at any time in favour everywhere: where even then the best way keeps clear of
        all currents, it is the best at any time.
        """
        if self.conditions.sea is not None:
            return wanted
        if not len(self._moving.rows):
            return set()
        self._ratios = self._most_in_favour
        self._quick.clear()
        paths: dict[Pair, dict[tuple[int, ...], None]] = {}
        self._search(wanted, np.inf, by_fuel=False, shut=frozenset(), paths=paths)
        self._stand_still()
        return {
            pair
            for pair, ways in paths.items()
            if any(step in self._moving.both_ways for nodes in ways for step in pairwise(nodes))
        }

    def _stand_still(self) -> None:
        self._ratios, self._moment_h = None, None
        self._quick.clear()

    def _take(self, moment_h: float) -> None:
        """Let the currents and the sea of one moment stand."""
        self._moment_h, self._ratios = moment_h, None
        self._quick.clear()

    def _weigh(self, price: Price, shut: frozenset[int], *, by_fuel: bool) -> sparse.csr_array:
        if self._ratios is None and self._moment_h is None:
            return super()._weigh(price, shut, by_fuel=by_fuel)
        if self._ratios is None and self._moment_h is not None:
            self._ratios = self._find_ratios(self._moment_h)
        there, back = self._ratios or (1.0, 1.0)
        weight = self.network.lengths_nmi @ price.per_nmi
        return self._legs.lay(weight * there, weight * back, price, shut)

    @cached_property
    def _moving(self) -> MovingLegs:
        return MovingLegs.of(self.network, self.conditions)

    @cached_property
    def _most_in_favour(self) -> tuple[Vector, Vector]:
        ratios = self._moving.most_in_favour(np.array(self.rates.speed_kn))
        return ratios, ratios

    def _find_ratios(self, moment_h: float) -> tuple[Vector, Vector]:
        """Compare each leg's hours at a moment, there and back, with those in still water and a calm."""
        there, back = self._moving.ratios(moment_h, np.array(self.rates.speed_kn))
        sea_there, sea_back = self._sea_ratios(moment_h)
        return there * sea_there, back * sea_back

    def _sea_ratios(self, moment_h: float) -> tuple[Vector, Vector]:
        """Compare hours in the sea of a moment with those in a calm, there and back, by the open water's speed."""
        conditions, legs = self.conditions, self.network.legs
        state = conditions.sea_states[min(int(moment_h / conditions.hours * conditions.count), conditions.count - 1)]
        if conditions.sea is None or state < 0:
            return np.ones(len(legs)), np.ones(len(legs))
        courses = np.arange(360.0)
        speed = np.array(self.rates.speed_kn[:1])
        kn, _ = conditions.sea.rates(self._boat, speed, courses, int(state))
        ratio = speed[0] / kn[:, 0]
        nodes = self.network.nodes
        along = np.rint(self.network.water.plane.courses_deg(nodes[legs[:, 0]], nodes[legs[:, 1]])).astype(int)
        return ratio[along % 360], ratio[(along + 180) % 360]

    def _prices(self) -> tuple[bool, ...]:
        """Look for ways by time alone in the currents of a moment: at one speed fuel goes with it."""
        return super()._prices() if self._ratios is None and self._moment_h is None else (False,)

    def _steer(self, pair: Pair, nodes: tuple[int, ...]) -> tuple[list[Point], list[str], list[GateLeg]]:
        """Draw a path; where no current runs on it, as it was drawn before."""
        if any(step in self._moving.both_ways for step in pairwise(nodes)):
            return super()._steer(pair, nodes)
        key = (pair, nodes)
        if key not in self._steered:
            self._steered[key] = super()._steer(pair, nodes)
        return self._steered[key]

    def _smooth(self, nodes: Sequence[int]) -> list[Point]:
        if self._as_found:
            return [(float(x), float(y)) for x, y in self.network.nodes[list(nodes)]]
        return super()._smooth(nodes)

    def _is_needless(self, path: tuple[Point, ...]) -> bool:
        return super()._is_needless(path) and self._is_as_quick((path[0], path[-1]), path)

    def _merge(self, a: Point, b: Point, c: Point, d: Point) -> Point | None:
        meeting = super()._merge(a, b, c, d)
        if meeting is None or math.dist(b, c) < SHORTEST_STEERED_M:  # nobody steers bends so near to one another
            return meeting
        return meeting if self._is_as_quick((a, meeting, d), (a, b, c, d), extra=1e-3) else None

    def _is_as_quick(self, new: tuple[Point, ...], old: tuple[Point, ...], extra: float = 1e-6) -> bool:
        """Tell whether a redrawn piece is as quick as it was in the currents that stand."""
        currents = self.conditions.currents
        if self._moment_h is None or currents is None:
            return True
        key = (new, old)
        if key not in self._quick:
            moves = shapely.intersects(currents.covered, shapely.LineString([*new, *old]))
            self._quick[key] = not moves or self._hours(new) <= self._hours(old) * (1 + extra)
        return self._quick[key]

    def _hours(self, points: tuple[Point, ...]) -> float:
        """[h] Time along some points in the currents that stand, at the open water's speed where no limit holds."""
        xy, currents = np.array(points), self.conditions.currents
        pieces = cut(self.network.water, currents, xy[:-1], xy[1:])
        through = np.array(self.rates.speed_kn)[pieces.area + 1]
        made = through
        if currents is not None and self._moment_h is not None:
            at_s = np.array([self.conditions.begin.timestamp() + 3600 * self._moment_h])
            east, north = (np.nan_to_num(part[:, 0]) for part in currents.at(pieces.middles, at_s))
            made = find_ground_kn(through, pieces.course_deg, east, north)
        if (made <= 0).any():
            return np.inf
        return float((pieces.nmi / made).sum())


def _is_shut_at_times(track: Track, hours: float) -> bool:
    """Tell whether a way can't be passed at some time of the first two tides."""
    if track.sailing is None:
        return False
    return not np.isfinite(track.sailing.many(np.arange(0.0, min(hours, _TIDE_H), _COMPARED_H))[0]).all()


def _hours_at(track: Track, leave_h: float) -> float:
    """[h] Tell how long a way takes when it is left then; infinity where it can't be passed."""
    if track.sailing is None:
        return track.time_h
    sailed = track.sailing.at(leave_h)
    return np.inf if sailed is None else sailed.time_h


def _sampled(track: Track, moments: Vector) -> tuple[Vector, Vector]:
    """[h, l] What a way takes at many moments."""
    if track.sailing is None:
        return np.full(len(moments), track.time_h), np.full(len(moments), track.fuel_l)
    return track.sailing.many(moments)
