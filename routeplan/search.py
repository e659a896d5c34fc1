"""The refuel search for fills to the full mark: every plan that no other beats in time, cost, stops and margin.

Labels are set over (place, stage). A label carries what it has cost so far, and the fuel as what the arrival rule needs
to be judged anywhere further on: the mean at the last known level, the burn since, and the standard deviation it
started with. The low figure alone wouldn't do: of two labels with one low figure the less burnt one keeps a better one
later. What is still to come at the least, from the hops alone, shows early which labels can't end as one of the best.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from routeplan.escapes import Escapes
from routeplan.gate_waits import leave
from routeplan.problem import FillUp, Label, Problem

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from routeplan.problem import Hop
    from routeplan.tracks import Track

    Vector = NDArray[np.float64]

__all__ = ["CRITERIA", "Ahead", "Back", "Criterion", "fill_to_mark", "find_labels", "least_from_end"]

Criterion = Literal["time", "cost", "stops", "margin"]
Node = tuple[int, int]  # terminal, and targets passed
Back = dict[Node, list[tuple[Node, tuple[float, ...]]]]  # from where each can be come to, and what that costs
CRITERIA: tuple[Criterion, ...] = ("time", "cost", "stops", "margin")

_DROP_L = 1e-6  # [l] rounding: a fill may take so much more than a dock sells at the most
_TIE = 1e-9  # [h, currency, l] figures nearer than this are the same


def find_labels(problem: Problem, criteria: Sequence[Criterion] = CRITERIA) -> list[Label]:
    """Find the arrivals at the destination that no other beats.

    Parameters
    ----------
    problem
        The search.
    criteria
        What counts; fewer are found faster.

    Returns
    -------
    Labels at the last target, one for each point of the Pareto set, in order of time; of equal points, in the criteria
    asked for, the one found first. Empty where no plan keeps the rules.

    Notes
    -----
    Exact over the graph's hops: every hop takes time, a fill lasts longer and costs more the more is taken, and a wait
    for a gate is moved back to where a boat can lie, so of two labels at one place the one that is no worse in all
    criteria, has no less aboard, no more burnt since its last known level and no more doubt about that isn't worse off
    later either; only the other one is dropped. Of two ways with gates to a place where no boat can lie only the
    earlier is followed. Waiting is allowed and never breaks a rule, so hours matter to time alone. Where currents run,
    who comes later may meet a fairer one and burn less: nobody waits for that, and such labels are dropped.

    References
    ----------
    .. [1] E. Q. V. Martins, "On a multicriteria shortest path problem", European Journal of Operational Research 16
       (1984) 236-245, for labels with dominance (from memory).
    """
    return _Search(problem, tuple(criteria)).run()


def fill_to_mark(
    problem: Problem, place: int, arrive_h: float, mean_l: float, burned_l: float
) -> tuple[FillUp, float] | None:
    """Work a fill to the full mark out.

    Parameters
    ----------
    problem
        Docks, full mark, berthing time.
    place
        Terminal of the dock.
    arrive_h
        [h] Arrival, since the passage's departure.
    mean_l, burned_l
        [l] Last known level with part fills since, and burn since.

    Returns
    -------
    The fill, and [currency] what it costs; None where the dock doesn't sell so much at once or never opens for so long.
    A boat above the mark takes nothing, but is known to be full.
    """
    dock = problem.docks[place]
    take_l = max(problem.full_l - (mean_l - burned_l), 0.0)
    if dock.largest_sale_l is not None and take_l > dock.largest_sale_l + _DROP_L:
        return None
    wait_h = problem.wait_h(place, arrive_h, take_l)
    if wait_h is None:
        return None
    begin_h = arrive_h + wait_h
    return FillUp(
        begin_h, begin_h + dock.fill_h(take_l, problem.berthing_h), wait_h, take_l
    ), take_l * problem.price_per_l(place)


class Ahead:
    """Tells what is still to come at the least from each place on, whatever is aboard there.

    Parameters
    ----------
    problem
        The search.
    criteria
        What is asked for.

    Notes
    -----
    A hop is taken for possible where the fuller of a full tank and the tank at departure could make it, and each fill
    for as short as its hop's burn; hours and the closed-dock rule are left out. So nothing found here is too dear.
    """

    def __init__(self, problem: Problem, criteria: tuple[Criterion, ...]) -> None:
        self._problem = problem
        ends = (problem.targets[-1], len(problem.targets))
        back = self._list_back()
        self._ahead: dict[tuple[int, int], Vector | None] = {}
        found = [least_from_end(back, ends, CRITERIA.index(c), widest=c == "margin") for c in criteria]
        for node in found[0] if found else ():
            self._ahead[node] = np.array([least[node] for least in found])

    def of(self, place: int, stage: int) -> Vector | None:
        """Look a place up.

        Parameters
        ----------
        place, stage
            Terminal, and targets passed.

        Returns
        -------
        Per criterion the least still to come, for the margin the most that can be kept, negative; None where the
        end can't be reached.
        """
        return self._ahead.get((place, stage))

    def _list_back(self) -> Back:
        """List for each (place, stage) from where it can be come to, and what that costs in each criterion."""
        problem = self._problem
        most_l, least_sd_l = max(problem.full_l, problem.mean_l), min(problem.full_sd_l, problem.sd_l)
        over_l = max(0.0, problem.mean_l - problem.full_l)
        hops: list[tuple[int, int, Track, float]] = []
        for a, b, track in problem.graph.edges(data="track"):
            margin_l = problem.low_l(most_l, track.fuel_l, least_sd_l) - problem.floor_l
            if margin_l >= 0:
                hops.append((a, b, track, margin_l))
        back: Back = {}
        for stage, target in enumerate(problem.targets):
            for a, b, track, margin_l in hops:
                if b == target or b in problem.rests:
                    costs = (track.time_h, 0.0, 0.0, -margin_l)
                    back.setdefault((b, stage + (b == target)), []).append(((a, stage), costs))
                if problem.fills_at(b):
                    arrived = stage + (b == target)
                    if arrived < len(problem.targets):
                        take_l = max(track.fuel_l - over_l, 0.0)
                        time_h = track.time_h + problem.docks[b].fill_h(take_l, problem.berthing_h)
                        costs = (time_h, take_l * problem.price_per_l(b), 1.0, -margin_l)
                        back.setdefault((b, arrived), []).append(((a, stage), costs))
        return back


def least_from_end(back: Back, end: Node, which: int, *, widest: bool = False) -> dict[Node, float]:
    """Find the least that is still to come from everywhere, in one of several costs.

    Parameters
    ----------
    back
        For each node from where it can be come to, and what that costs; nowhere by an infinite cost.
    end
        Where it ends.
    which
        Index of the cost that counts.
    widest
        Whether the worst step of the best way counts in place of the sum.

    Returns
    -------
    By node; those from which the end is out of reach aren't in it.
    """
    best: dict[Node, float] = {}
    queue = [(-np.inf if widest else 0.0, end)]
    while queue:
        cost, node = heapq.heappop(queue)
        if node in best:
            continue
        best[node] = cost
        for before, costs in back.get(node, ()):
            if before not in best and costs[which] < np.inf:
                further = max(cost, costs[which]) if widest else cost + costs[which]
                heapq.heappush(queue, (further, before))
    return best


class _Entry:
    """A label that waits to be followed, and whether another has beaten it meanwhile."""

    __slots__ = ("alive", "label", "vector")

    def __init__(self, label: Label, vector: Vector) -> None:
        self.label = label
        self.vector = vector
        self.alive = True


class _Front:
    """The labels of one place that no other beats."""

    __slots__ = ("_count", "_entries", "_rows")

    def __init__(self, width: int) -> None:
        self._rows = np.empty((8, width))
        self._entries: list[_Entry] = []
        self._count = 0

    def beats(self, vector: Vector) -> bool:
        """Tell whether some label here is no worse in anything."""
        if not self._count:
            return False
        return bool((self._rows[: self._count] <= vector + _TIE).all(axis=1).any())

    def beats_each(self, vectors: Vector) -> NDArray[np.bool_]:
        """Tell the same of several vectors, one a row."""
        if not self._count:
            return np.zeros(len(vectors), dtype=bool)
        rows = self._rows[: self._count, None]
        return np.asarray((rows <= vectors + _TIE).all(axis=2).any(axis=0))

    def add(self, entry: _Entry) -> None:
        """Take a label up, and drop those that it beats."""
        rows = self._rows[: self._count]
        beaten = (rows >= entry.vector - _TIE).all(axis=1)
        if beaten.any():
            for i in np.flatnonzero(beaten):
                self._entries[i].alive = False
            self._entries = [e for e in self._entries if e.alive]
            kept = rows[~beaten]
            self._count = len(kept)
            self._rows[: self._count] = kept
        if self._count == len(self._rows):
            self._rows = np.concatenate([self._rows, np.empty_like(self._rows)])
        self._rows[self._count] = entry.vector
        self._entries.append(entry)
        self._count += 1

    @property
    def labels(self) -> list[Label]:
        return [e.label for e in self._entries]


class _Hops:
    """The hops from one place that can lead on, with the least that a fill at their end takes, side by side."""

    __slots__ = ("ahead", "cost_per_l", "fuel_l", "h_per_l", "stops", "time_h", "ways")

    def __init__(self, problem: Problem, ahead: Ahead, place: int, stage: int) -> None:
        target = problem.targets[stage]
        self.ways: list[tuple[int, Track]] = []
        rows: list[tuple[float, float, float, float, float]] = []
        still: list[Vector] = []
        for _, b, track in problem.graph.out_edges(place, data="track"):
            least = ahead.of(b, stage + (b == target))
            if least is None or not (b == target or problem.fills_at(b) or b in problem.rests):
                continue
            if b == target or b in problem.rests:  # it may be passed without a fill
                rows.append((track.time_h, track.fuel_l, 0.0, 0.0, 0.0))
            else:
                dock = problem.docks[b]
                time_h = track.time_h + problem.berthing_h
                rows.append((time_h, track.fuel_l, 1 / (60 * dock.pump_lpm), problem.price_per_l(b), 1.0))
            self.ways.append((b, track))
            still.append(least)
        columns = np.array(rows).reshape(-1, 5).T
        self.time_h, self.fuel_l, self.h_per_l, self.cost_per_l, self.stops = columns
        self.ahead = np.array(still)


class _Search:
    """One run of the search."""

    def __init__(self, problem: Problem, criteria: tuple[Criterion, ...]) -> None:
        self._problem = problem
        self._criteria = criteria
        self._ahead = Ahead(problem, criteria)
        self._margin_at = criteria.index("margin") if "margin" in criteria else None
        self._escapes = None if problem.closed_dock == "off" else Escapes(problem)
        self._allowed: dict[tuple[int, int, float, float, float], bool] = {}
        self._fronts: dict[tuple[int, int], _Front] = {}
        self._found = _Front(len(criteria))
        self._hops: dict[tuple[int, int], _Hops] = {}
        self._ties = itertools.count()
        self._queue: list[tuple[tuple[float, ...], int, _Entry]] = []

    def run(self) -> list[Label]:
        first = _first_label(self._problem)
        if first is None:
            return []
        self._push(first)
        while self._queue:
            *_, entry = heapq.heappop(self._queue)
            if not entry.alive:
                continue
            label = entry.label
            ideal = self._ideal(label)
            if ideal is None or self._found.beats(ideal):
                continue
            for following in self._extend(label):
                self._push(following)
        return sorted(self._found.labels, key=lambda label: (label.time_h, label.cost, label.stops))

    def _vector(self, time_h: float, cost: float, stops: int, margin_l: float) -> list[float]:
        values: dict[Criterion, float] = {"time": time_h, "cost": cost, "stops": stops, "margin": -margin_l}
        return [values[c] for c in self._criteria]

    def _ideal(self, label: Label) -> Vector | None:
        """Reckon the best that a label could still end as; None where the end is out of reach."""
        ahead = self._ahead.of(label.place, label.stage)
        if ahead is None:
            return None
        so_far = np.array(self._vector(label.time_h, label.cost, label.stops, label.least_margin_l))
        ideal: Vector = so_far + ahead
        if self._margin_at is not None:
            ideal[self._margin_at] = max(so_far[self._margin_at], ahead[self._margin_at])
        return ideal

    def _push(self, label: Label) -> None:
        ideal = self._ideal(label)
        if ideal is None or self._found.beats(ideal):
            return
        so_far = self._vector(label.time_h, label.cost, label.stops, label.least_margin_l)
        if label.stage == len(self._problem.targets):
            self._found.add(_Entry(label, np.array(so_far)))
            return
        vector = np.array([*so_far, -label.aboard_l, label.burned_l, label.sd_l])
        front = self._fronts.setdefault((label.place, label.stage), _Front(len(vector)))
        if front.beats(vector):
            return
        entry = _Entry(label, vector)
        front.add(entry)
        heapq.heappush(self._queue, (tuple(ideal), next(self._ties), entry))

    def _extend(self, label: Label) -> Iterator[Label]:
        problem = self._problem
        target = problem.targets[label.stage]
        for place, track in self._promising(label):
            left = leave(problem, label, track)
            if left is None:
                continue
            came_from, hop = left
            burned_l = came_from.burned_l + hop.track.fuel_l
            margin_l = problem.low_l(label.mean_l, burned_l, label.sd_l) - problem.floor_l
            if margin_l < -_TIE:
                continue
            margin_l = min(margin_l, came_from.least_margin_l)
            stage = label.stage + (place == target)
            if place == target or place in problem.rests:
                passed = Label(
                    place,
                    stage,
                    hop.arrive_h,
                    label.stops,
                    label.cost,
                    label.mean_l,
                    burned_l,
                    label.sd_l,
                    came_from,
                    hop,
                    least_margin_l=margin_l,
                )
                yield passed if place == target else _rested(problem, passed)
            if (
                problem.fills_at(place)
                and stage < len(problem.targets)
                and self._leaves_a_way_out(place, stage, label.mean_l, burned_l, label.sd_l)
            ):
                filled = self._fill(came_from, hop, place, stage, burned_l, margin_l)
                if filled is not None:
                    yield filled

    def _promising(self, label: Label) -> list[tuple[int, Track]]:
        """List the hops that may lead to one of the best plans, before hours, gates and ways out are looked at."""
        problem = self._problem
        key = (label.place, label.stage)
        if key not in self._hops:
            self._hops[key] = _Hops(problem, self._ahead, label.place, label.stage)
        hops = self._hops[key]
        if not hops.ways:
            return []
        burned_l = label.burned_l + hops.fuel_l
        doubt_l = problem.z * np.hypot(label.sd_l, problem.sd_share * burned_l)
        margin_l = np.minimum(label.mean_l - burned_l - doubt_l - problem.floor_l, label.least_margin_l)
        take_l = np.maximum(problem.full_l - (label.mean_l - burned_l), 0.0)
        so_far: dict[Criterion, Vector] = {
            "time": label.time_h + hops.time_h + take_l * hops.h_per_l,
            "cost": label.cost + take_l * hops.cost_per_l,
            "stops": label.stops + hops.stops,
            "margin": -margin_l,
        }
        ideal = np.empty_like(hops.ahead)
        for i, criterion in enumerate(self._criteria):
            ahead = hops.ahead[:, i]
            ideal[:, i] = np.maximum(so_far[criterion], ahead) if i == self._margin_at else so_far[criterion] + ahead
        good = (margin_l >= -_TIE) & ~self._found.beats_each(ideal)
        return [hops.ways[i] for i in np.flatnonzero(good)]

    def _leaves_a_way_out(self, place: int, stage: int, mean_l: float, burned_l: float, sd_l: float) -> bool:
        if self._escapes is None:
            return True
        key = (place, stage, mean_l, burned_l, sd_l)
        if key not in self._allowed:
            self._allowed[key] = self._escapes.allows(*key)
        return self._allowed[key]

    def _fill(self, label: Label, hop: Hop, place: int, stage: int, burned_l: float, margin_l: float) -> Label | None:
        found = fill_to_mark(self._problem, place, hop.arrive_h, label.mean_l, burned_l)
        if found is None:
            return None
        fill, cost = found
        return Label(
            place,
            stage,
            fill.end_h,
            label.stops + 1,
            label.cost + cost,
            max(self._problem.full_l, label.mean_l - burned_l),
            0.0,
            self._problem.full_sd_l,
            label,
            hop,
            fill,
            margin_l,
        )


def _rested(problem: Problem, label: Label) -> Label:
    """Spend the night at a place where nothing is taken: it is left at the next day's first light."""
    if problem.daylight is None:
        return label
    morning = problem.daylight.next_day(problem.depart + timedelta(hours=label.time_h))
    return replace(label, time_h=(morning - problem.depart) / timedelta(hours=1))


def _first_label(problem: Problem) -> Label | None:
    """Begin the passage, with a fill where one is wanted; None where that can't be had."""
    first = Label(problem.start, 0, 0.0, 0, 0.0, problem.mean_l, 0.0, problem.sd_l)
    if not problem.fill_first:
        return first
    found = fill_to_mark(problem, problem.start, 0.0, problem.mean_l, 0.0)
    if found is None:
        return None
    fill, cost = found
    level_l = max(problem.full_l, problem.mean_l)
    return Label(problem.start, 0, fill.end_h, 1, cost, level_l, 0.0, problem.full_sd_l, fill=fill)
