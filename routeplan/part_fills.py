"""Part fills: how much to take where, for the least of money and time together.

A way to have come to a place is carried with its offers: what could still have been taken at the stops so far, each
with its price and its time at the pump, cheapest first. Fuel is taken from the offers only when a rule on the way
demands it, so how much to take at a dock is decided by what comes after it, and no step of any size is tried. That is
the greedy for a fixed order of stops [1]_ inside a search over the orders; between two full marks the fuel that an
arrival needs doesn't depend on how it was shared out, which makes it exact [2]_.

References
----------
.. [1] S. Lin, N. Gertsch, J. R. Russell, "A linear-time algorithm for finding optimal vehicle refueling policies",
   Operations Research Letters 35 (2007) 290-296 (from memory).
.. [2] S. Khuller, A. Malekian, J. Mestre, "To fill or not to fill: the gas station problem", ACM Transactions on
   Algorithms 7(3) (2011), https://doi.org/10.1145/1978782.1978791, for what an optimum looks like.
"""

from __future__ import annotations

import heapq
import itertools
import math
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

from routeplan.escapes import Escapes
from routeplan.gate_waits import sail
from routeplan.part_bounds import PartBounds
from routeplan.part_sailing import sail_through, share_out
from routeplan.part_ways import TICK_H, TIE, Offer, Way, cut, draw, state

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from routeplan.problem import Hop, Label, Problem
    from routeplan.tracks import Track

__all__ = ["PartRule", "find_part_filled"]

PartRule = Literal["enough", "best"]

_MOST_WAYS = 1000  # followed to prove a plan by `enough`: about a second at 40 docks
_MOST_OPENINGS = 20  # of one dock that are tried for longer and longer fills
_LONGER_L = 1e-3  # [l] an opening is longer if so much more can be taken


def find_part_filled(problem: Problem, rule: PartRule, price_of_time_per_h: float) -> Label | None:
    """Find the best plan with part fills.

    Parameters
    ----------
    problem
        The search.
    rule
        `enough`: at each stop the least that the rules demand up to the next one, and a fill to the mark where a part
        fill can't do it; no dock twice between two targets. `best`: any amount.
    price_of_time_per_h
        [currency/h] What an hour is worth, 0 or more.

    Returns
    -------
    The label at the last target with the least money and time together, then the soonest, cheapest, of fewest stops;
    None where no plan keeps the rules.

    Notes
    -----
    A part fill adds to the last known level and leaves the burn since then, and the doubt about it, as they are; a fill
    to the mark begins anew. Exact where no boat waits for a dock to open, or an hour is worth nothing. Where pumping
    longer would only shorten a wait, the litres are shared out anew, exactly, for the order of stops found; another
    order might then cost a little less. By the rule of `enough` the boat that is worse off may do better, as she is
    made to take more where it is cheap; so what was found by dropping the worse off is checked against all ways that
    could still be better, as many as `_MOST_WAYS`; beyond that it is the best of those looked at.
    """
    search = _PartSearch(problem, rule, price_of_time_per_h)
    best = search.run()
    return search.prove(best) if rule == "enough" else best


class _PartSearch:
    """One run of the search."""

    def __init__(self, problem: Problem, rule: PartRule, price_of_time_per_h: float) -> None:
        self._problem = problem
        self._rule = rule
        self._per_h = price_of_time_per_h
        self._escapes = None if problem.closed_dock == "off" else Escapes(problem)
        timed = any(dock.hours is not None for dock in problem.docks.values()) or bool(problem.network.water.gates)
        self._watches_clock = timed and price_of_time_per_h > 0
        self._bounds = PartBounds(problem, price_of_time_per_h)
        self._kept: dict[tuple[float, ...], list[Way]] = {}
        self._beaten: set[Way] = set()
        self._out: dict[int, list[tuple[int, Track]]] = {}
        self._ties = itertools.count()
        self._queue: list[tuple[float, float, int, Way, tuple[int, Track] | None]] = []
        self._best: Label | None = None
        self._proves = False

    def prove(self, best: Label | None) -> Label | None:
        """Look for a better plan among all ways that may lead to one, none dropped for another in another state."""
        self._best, self._proves = best, True
        self._kept, self._queue, self._beaten = {}, [], set()
        return self.run(_MOST_WAYS) or best

    def run(self, most: int | None = None) -> Label | None:
        for first in self._first():
            self._push(first)
        followed = 0
        while self._queue and followed != most:
            bound, *_, way, hop = heapq.heappop(self._queue)
            if self._best is not None and bound > self._value(self._best) + TIE:
                break
            if way in self._beaten:
                continue
            if hop is not None:
                for following in self._follow(way, *hop):
                    self._push(following)
            elif way.stage == len(self._problem.targets):
                self._finish(way)
            else:
                followed += 1
                self._look_ahead(way)
        return self._best

    def _value(self, label: Label) -> float:
        return label.cost + self._per_h * label.time_h

    def _finish(self, way: Way) -> None:
        label = sail_through(self._problem, way)
        if label is None:
            return
        if self._watches_clock and self._rule == "best" and any(s.fill and s.fill.wait_h > TIE for s in label.path()):
            shared = share_out(self._problem, self._escapes, way, label, self._per_h)
            if shared is not None and self._order(shared) < self._order(label):
                label = shared
        best = self._best
        if best is None or self._order(label) < self._order(best):
            self._best = label

    def _order(self, label: Label) -> tuple[float, ...]:
        return (*(round(v, 9) for v in (self._value(label), label.time_h, label.cost)), label.stops)

    def _first(self) -> Iterator[Way]:
        problem = self._problem
        first = Way(problem.start, 0, problem.mean_l, 0.0, problem.sd_l, 0.0, 0.0, 0)
        if problem.fill_first:
            yield from self._fill(first, problem.start)
        else:
            yield first

    def _queue_up(self, bound: float, way: Way, hop: tuple[int, Track] | None = None) -> None:
        if bound < math.inf and (self._best is None or bound <= self._value(self._best) + TIE):
            heapq.heappush(self._queue, (bound, way.time_h, next(self._ties), way, hop))

    def _push(self, way: Way) -> None:
        bound = self._bounds.of(way.place, way.stage, way.time_h, way.cost, way.aboard_l)
        if bound == math.inf:
            return
        if way.stage < len(self._problem.targets):
            key: tuple[float, ...] = (way.place, way.stage)
            if self._proves:
                key = (*key, *state(way))
            kept = self._kept.setdefault(key, [])
            if any(self._beats(other, way) for other in kept):
                return
            beaten = [other for other in kept if self._beats(way, other)]
            if beaten:
                self._beaten.update(beaten)
                kept[:] = [other for other in kept if other not in self._beaten]
            kept.append(way)
        self._queue_up(bound, way)

    def _look_ahead(self, way: Way) -> None:
        """Queue the hops from a place by the least that each can come to; most are never sailed."""
        problem = self._problem
        if way.place not in self._out:
            self._out[way.place] = [(b, track) for _, b, track in problem.graph.out_edges(way.place, data="track")]
        target, most_l = problem.targets[way.stage], way.most_l - problem.floor_l + TIE
        for place, track in self._out[way.place]:
            if track.fuel_l > most_l or (place != target and not problem.fills_at(place)):
                continue
            time_h = way.time_h + track.time_h + (0.0 if place == target else problem.berthing_h)
            stage = way.stage + (place == target)
            bound = self._bounds.of(place, stage, time_h, way.cost, way.aboard_l - track.fuel_l)
            self._queue_up(bound, way, (place, track))

    def _follow(self, way: Way, place: int, track: Track) -> Iterator[Way]:
        """Sail one hop: past a target, or to a fill."""
        problem = self._problem
        hop = sail(problem, way.time_h, track)
        if hop is None:
            return  # where no boat can lie the wait is moved back when the way is sailed
        last = len(problem.targets)
        passes = place == problem.targets[way.stage]
        stage = way.stage + passes
        if passes:
            arrived = self._arrive(way, hop, place, stage, fills=False)
            if arrived is not None and not (stage == last and self._is_needless(arrived)):
                yield arrived
        if problem.fills_at(place) and stage < last and not self._is_loop(way, place):
            arrived = self._arrive(way, hop, place, stage, fills=True)
            if arrived is not None and not self._is_needless(arrived):
                yield from self._fill(arrived, place)

    def _is_loop(self, way: Way, place: int) -> bool:
        """Tell whether, by `enough`, a boat would sail to and fro to empty her tank: no dock twice between targets."""
        step: Way | None = way if self._rule == "enough" else None
        while step is not None and step.stage == way.stage:
            if step.fills and step.place == place:
                return True
            step = step.before
        return False

    def _is_needless(self, arrived: Way) -> bool:
        """Tell whether, by `enough`, the last fill wasn't the least: one to the mark where a part would do, or none."""
        if self._rule != "enough" or not arrived.stops:
            return False
        return bool(arrived.parts) or arrived.owes

    def _arrive(self, way: Way, hop: Hop, place: int, stage: int, *, fills: bool) -> Way | None:
        """Come to a place with as much as the rules demand there, taken from the cheapest offers."""
        problem, track = self._problem, hop.track
        burned_l = way.burned_l + track.most_l  # what is pumped moves the clock, and so the currents met
        need_l = problem.floor_l - problem.low_l(burned_l, burned_l, way.sd_l)
        if fills and self._escapes is not None:
            need_l = max(need_l, self._escapes.least_aboard_l(place, stage, burned_l, way.sd_l))
        lacking_l = need_l - (way.aboard_l - track.most_l)
        drawn = draw(way.offers, lacking_l)
        if drawn is None:
            return None
        taken, rest = drawn
        more_l = sum(offer.litres for offer in taken)
        return Way(
            place,
            stage,
            way.aboard_l - track.most_l + more_l,
            burned_l,
            way.sd_l,
            hop.arrive_h + sum(offer.litres * offer.h_per_l for offer in taken),
            way.cost + sum(offer.litres * offer.cost_per_l for offer in taken),
            way.stops,
            rest,
            way,
            track,
            taken=tuple((offer.stop, offer.litres) for offer in taken),
            parts=tuple(
                came for part in way.parts if (came := self._arrive(part, hop, place, stage, fills=fills)) is not None
            ),
            owes=way.owes and not taken,
        )

    def _fill(self, arrived: Way, place: int) -> Iterator[Way]:
        """Lie at a dock: take some of what it offers, or fill to the mark."""
        problem = self._problem
        dock = problem.docks[place]
        room_l = max(problem.full_l - arrived.aboard_l, 0.0)
        sale_l = min(math.inf if dock.largest_sale_l is None else dock.largest_sale_l, room_l)
        stop = arrived.stops
        parts: list[Way] = []
        for begin_h, most_l in self._openings(place, arrived.time_h, sale_l):
            own = Offer(most_l, 1 / (60 * dock.pump_lpm), problem.price_per_l(place), stop)
            offers: Iterable[Offer] = () if self._rule == "enough" else arrived.offers
            if begin_h > arrived.time_h + TIE:  # while the boat waits, longer pumping before costs no time
                offers = [offer._replace(h_per_l=0.0) for offer in offers]
            merged = sorted([own, *offers], key=lambda o: o.cost_per_l + self._per_h * o.h_per_l)
            time_h = begin_h + problem.berthing_h
            if most_l > 0 or problem.z == 0:
                part = Way(
                    place,
                    arrived.stage,
                    arrived.aboard_l,
                    arrived.burned_l,
                    arrived.sd_l,
                    time_h,
                    arrived.cost,
                    stop + 1,
                    cut(merged, room_l),
                    arrived.before,
                    arrived.track,
                    fills=True,
                    taken=arrived.taken,
                    owes=self._rule == "enough" and arrived.before is not None,
                )
                parts.append(part)
                yield part
            drawn = None if problem.z == 0 else draw(tuple(merged), room_l)
            if drawn is None:  # without doubt a fill to the mark is a part fill like another
                continue
            taken, _ = drawn
            yield Way(
                place,
                arrived.stage,
                max(problem.full_l, arrived.aboard_l),
                0.0,
                problem.full_sd_l,
                time_h + sum(offer.litres * offer.h_per_l for offer in taken),
                arrived.cost + sum(offer.litres * offer.cost_per_l for offer in taken),
                stop + 1,
                (),
                arrived.before,
                arrived.track,
                fills=True,
                to_mark=True,
                taken=(*arrived.taken, *((offer.stop, offer.litres) for offer in taken)),
                parts=tuple(parts) if self._rule == "enough" else (),
            )

    def _openings(self, place: int, arrive_h: float, most_l: float) -> list[tuple[float, float]]:
        """[h, l] List when a fill may begin, and how much can be taken then before the dock closes."""
        problem = self._problem
        dock = problem.docks[place]
        if dock.hours is None:
            return [(arrive_h, most_l)]
        found: list[tuple[float, float]] = []
        wanted_l = 0.0
        for _ in range(_MOST_OPENINGS):  # each one longer than those before
            wait_h = problem.wait_h(place, arrive_h, wanted_l)
            if wait_h is None:
                break
            begin_h = arrive_h + wait_h
            closes = dock.hours.next_change(problem.depart + timedelta(hours=begin_h))
            left_h = math.inf if closes is None else (closes - problem.depart) / timedelta(hours=1) - begin_h
            room_l = min(most_l, max(0.0, left_h - problem.berthing_h - TICK_H) * 60 * dock.pump_lpm)
            found.append((begin_h, room_l))
            if room_l >= most_l - TIE:
                break
            wanted_l = max(room_l, wanted_l) + _LONGER_L
        return found

    def _beats(self, a: Way, b: Way) -> bool:
        """Tell whether b can be dropped for a: with any fuel aboard that b can have, a is no worse off."""
        if self._problem.z > 0 and (a.sd_l > b.sd_l + TIE or self._problem.sd_share * (a.burned_l - b.burned_l) > TIE):
            return False
        if not self._is_no_worse((a.time_h, a.cost), (b.time_h, b.cost)):
            return False
        most_l = b.most_l
        if a.most_l < most_l - TIE:
            return False
        levels = {b.aboard_l, most_l, *b.bends(), *(x for x in a.bends() if b.aboard_l < x < most_l)}
        return all(self._is_no_worse(a.at(x), b.at(x)) for x in levels)

    def _is_no_worse(self, a: tuple[float, float], b: tuple[float, float]) -> bool:
        (time_a, cost_a), (time_b, cost_b) = a, b
        if self._watches_clock:
            return time_a <= time_b + TIE and cost_a <= cost_b + TIE
        value_a, value_b = cost_a + self._per_h * time_a, cost_b + self._per_h * time_b
        return value_a < value_b - TIE or (value_a <= value_b + TIE and time_a <= time_b + TIE)
