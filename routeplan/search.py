"""The refuel search: which docks to fill at, so that no arrival touches the reserve.

Labels are set in order of time over (stage, place). A label carries the time, the stops, and the fuel as what the
arrival rule needs to be judged anywhere further on: the mean at the last known level, the burn since, and the standard
deviation it started with. The low figure alone wouldn't do: of two labels with one low figure the less burnt one
keeps a better one later.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.hours import NeverOpensError, read_hours
from routeplan.fuel import low_figure_l

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    import networkx as nx

    from layers.hours import Hours
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.tracks import Track

__all__ = ["FillUp", "Hop", "Label", "Problem", "find_labels", "sail"]

_TIE_H = 1e-9  # [h] times nearer than this are the same
_TIE_L = 1e-9  # [l]
_MOST_WAITS = 50  # openings tried for one hop through several gates
_AHEAD = "a gate ahead"  # waited for further back, until its name is known


@dataclass(frozen=True)
class Problem:
    """A refuel search.

    Parameters
    ----------
    network
        Its water's gates count.
    graph
        Hops between places, from `build_dock_graph`.
    docks
        Suitable docks by terminal.
    start
        Terminal of the departure.
    targets
        Terminals to pass in order, the last one the destination.
    depart
        Departure, zone-aware.
    mean_l, sd_l
        [l] Fuel aboard at departure.
    full_l, full_sd_l
        [l] Full mark and how sure a fill to it is.
    floor_l
        [l] What no arrival may touch.
    sd_share
        [share] Relative standard deviation of the burn, one factor for the whole passage.
    z
        Standard deviations to keep clear.
    berthing_h
        [h] At each stop, besides pumping.
    may_wait
        Terminals at which a boat can lie and wait: the departure, docks, harbours, anchorages.
    """

    network: Network
    graph: nx.MultiDiGraph
    docks: Mapping[int, Dock]
    start: int
    targets: tuple[int, ...]
    depart: datetime
    mean_l: float
    sd_l: float
    full_l: float
    full_sd_l: float
    floor_l: float
    sd_share: float
    z: float
    berthing_h: float
    may_wait: frozenset[int]

    def low_l(self, mean_l: float, burned_l: float, sd_l: float) -> float:
        """[l] The low figure at this problem's confidence.

        Parameters
        ----------
        mean_l, burned_l, sd_l
            [l] Mean at the last known level, burn since, standard deviation of that level.

        Returns
        -------
        The low figure.
        """
        return low_figure_l(mean_l, burned_l, sd_l, self.sd_share, self.z)


@dataclass(frozen=True)
class Hop:
    """One track sailed.

    Parameters
    ----------
    track
        The track.
    depart_h, arrive_h
        [h] Since the passage's departure; a wait for a gate lies before the departure.
    wait_h
        [h] Waited at the place left, so that a gate is open when reached.
    gate
        Name of the gate waited for; empty without.
    """

    track: Track
    depart_h: float
    arrive_h: float
    wait_h: float
    gate: str


@dataclass(frozen=True)
class FillUp:
    """One fill to the full mark.

    Parameters
    ----------
    begin_h, end_h
        [h] At the dock, since the passage's departure.
    wait_h
        [h] Waited for it to open.
    take_l
        [l] Mean volume pumped.
    """

    begin_h: float
    end_h: float
    wait_h: float
    take_l: float


@dataclass(frozen=True, eq=False)
class Label:
    """One way to have come to a place.

    Parameters
    ----------
    place
        Terminal.
    stage
        How many of the problem's targets have been passed.
    time_h
        [h] When it is ready to go on, since the passage's departure.
    stops
        Fill-ups so far.
    cost
        [currency] Of the fill-ups so far at known prices.
    mean_l, burned_l, sd_l
        [l] Fuel at the last known level, mean burn since, standard deviation of that level.
    before
        The label it came from; None at the departure.
    hop
        How it came; None at the departure.
    fill
        The fill-up made here; None where none was.
    """

    place: int
    stage: int
    time_h: float
    stops: int
    cost: float
    mean_l: float
    burned_l: float
    sd_l: float
    before: Label | None = None
    hop: Hop | None = None
    fill: FillUp | None = None

    @property
    def aboard_l(self) -> float:
        """[l] Mean fuel aboard."""
        return self.mean_l - self.burned_l

    def path(self) -> list[Label]:
        """Follow it back.

        Returns
        -------
        All labels from the departure to this one.
        """
        steps: list[Label] = []
        label: Label | None = self
        while label is not None:
            steps.append(label)
            label = label.before
        return steps[::-1]


def find_labels(problem: Problem) -> list[Label]:
    """Find the arrivals at the destination that no other beats in time and stops.

    Parameters
    ----------
    problem
        The search.

    Returns
    -------
    Labels at the last target, in order of time; equal ones told apart by cost. Empty where no plan keeps the rules.

    Notes
    -----
    Exact over the graph's tracks: every hop takes time, fills last longer the more is taken, and a wait for a gate is
    moved back to where a boat can lie, so who is earlier with no more burnt isn't worse off later; a label is dropped
    only for one that is no later, has no more stops, no less fuel aboard, no more burnt since its last known level and
    no more doubt about that. Of two ways with gates to a place where no boat can lie only the earlier is followed.
    """
    first = Label(problem.start, 0, 0.0, 0, 0.0, problem.mean_l, 0.0, problem.sd_l)
    ties = itertools.count()
    queue = [(0.0, 0, 0.0, next(ties), first)]
    settled: dict[tuple[int, int], list[Label]] = {}
    found: list[Label] = []
    while queue:
        *_, label = heapq.heappop(queue)
        kept = settled.setdefault((label.place, label.stage), [])
        if any(_beats(k, label) for k in kept):
            continue
        kept.append(label)
        if label.stage == len(problem.targets):
            found.append(label)
            continue
        for following in _extend(problem, label):
            key = (following.place, following.stage)
            if not any(_beats(k, following) for k in settled.get(key, ())):
                heapq.heappush(queue, (following.time_h, following.stops, following.cost, next(ties), following))
    return [label for label in found if not any(_beats_at_end(other, label) for other in found if other is not label)]


def sail(problem: Problem, time_h: float, track: Track) -> Hop | None:
    """Sail a track, leaving it later where a gate on it would be shut.

    Parameters
    ----------
    problem
        Its gates.
    time_h
        [h] When the boat is ready, since the passage's departure.
    track
        The track.

    Returns
    -------
    The hop; None where a gate stays shut.
    """
    depart_h, waited_for = time_h, ""
    for _ in range(_MOST_WAITS):
        later_h = depart_h
        for index, reached_h, left_h in track.gates:
            gate = problem.network.water.gates[index]
            hours = _gate_hours(problem, gate.hours)
            if hours is None:
                continue
            reached = problem.depart + timedelta(hours=depart_h + reached_h)
            try:
                opens = hours.next_open_for(reached, timedelta(hours=left_h - reached_h))
            except NeverOpensError:
                return None
            if opens > reached:
                later_h = max(later_h, (opens - problem.depart) / timedelta(hours=1) - reached_h)
                waited_for = gate.name
        if later_h <= depart_h + _TIE_H:
            return Hop(track, depart_h, depart_h + track.time_h, depart_h - time_h, waited_for)
        depart_h = later_h
    return None


def _leave_later(problem: Problem, label: Label, depart_h: float) -> Label | None:
    """Come to a place where no boat can lie just in time to go on: the wait is moved back to where one can."""
    if label.before is None or label.hop is None or label.place in problem.may_wait:
        return label
    track = label.hop.track
    earlier = _leave_later(problem, label.before, depart_h - track.time_h)
    if earlier is None:
        return None
    hop = sail(problem, max(earlier.time_h, depart_h - track.time_h), track)
    if hop is None:
        return None
    wait_h = hop.depart_h - earlier.time_h
    if wait_h > _TIE_H and earlier.place not in problem.may_wait:  # a gate on the way there shuts meanwhile
        return None
    hop = replace(hop, wait_h=wait_h, gate=hop.gate or label.hop.gate or _AHEAD)
    return replace(label, time_h=hop.arrive_h, before=earlier, hop=hop)


def _depart(problem: Problem, label: Label, track: Track) -> tuple[Label, Hop] | None:
    """Leave a place along a track, having waited for its gates where a boat can lie."""
    hop = sail(problem, label.time_h, track)
    for _ in range(_MOST_WAITS):
        if hop is None:
            return None
        if hop.wait_h <= _TIE_H or label.place in problem.may_wait:
            return label, hop
        gate = hop.gate
        later = _leave_later(problem, label, hop.depart_h)
        if later is None:
            return None
        label = _named_wait(later, gate)
        hop = sail(problem, label.time_h, track)
    return None


def _named_wait(label: Label, gate: str) -> Label:
    """Say for which gate ahead a wait further back is."""
    if label.before is None or label.hop is None:
        return label
    hop = replace(label.hop, gate=gate) if label.hop.gate == _AHEAD else label.hop
    return replace(label, hop=hop, before=_named_wait(label.before, gate))


def _gate_hours(problem: Problem, text: str | None) -> Hours | None:
    return None if not text else read_hours(text, problem.network.region.zone)


def _extend(problem: Problem, label: Label) -> Iterator[Label]:
    target = problem.targets[label.stage]
    for _, place, track in problem.graph.out_edges(label.place, data="track"):
        if place != target and place not in problem.docks:
            continue
        burned_l = label.burned_l + track.fuel_l
        if problem.low_l(label.mean_l, burned_l, label.sd_l) < problem.floor_l:
            continue
        left = _depart(problem, label, track)
        if left is None:
            continue
        came_from, hop = left
        stage = label.stage + (place == target)
        if place == target:
            yield Label(
                place, stage, hop.arrive_h, label.stops, label.cost, label.mean_l, burned_l, label.sd_l, came_from, hop
            )
        if place in problem.docks and stage < len(problem.targets):
            filled = _fill(problem, came_from, place, stage, burned_l, hop)
            if filled is not None:
                yield filled


def _fill(problem: Problem, label: Label, place: int, stage: int, burned_l: float, hop: Hop) -> Label | None:
    dock = problem.docks[place]
    take_l = problem.full_l - (label.mean_l - burned_l)
    if take_l <= 0:
        return None  # above the mark already: nothing is learnt by a fill of nothing
    if dock.largest_sale_l is not None and take_l > dock.largest_sale_l:
        return None  # it couldn't be filled to the mark, and only a full mark is known for sure
    lasts_h = dock.fill_h(take_l, problem.berthing_h)
    arrive = problem.depart + timedelta(hours=hop.arrive_h)
    try:
        begin = dock.begin_fill(arrive, lasts_h)
    except NeverOpensError:
        return None
    wait_h = (begin - arrive) / timedelta(hours=1)
    fill = FillUp(hop.arrive_h + wait_h, hop.arrive_h + wait_h + lasts_h, wait_h, take_l)
    cost = label.cost + take_l * (dock.price_per_l or 0.0)
    return Label(
        place, stage, fill.end_h, label.stops + 1, cost, problem.full_l, 0.0, problem.full_sd_l, label, hop, fill
    )


def _beats(a: Label, b: Label) -> bool:
    """Whether b can be dropped for a: wherever b goes, a gets with as much fuel, as soon and with as few stops."""
    if a.time_h > b.time_h + _TIE_H or a.stops > b.stops:
        return False
    return (
        a.aboard_l >= b.aboard_l - _TIE_L
        and a.burned_l <= b.burned_l + _TIE_L
        and a.sd_l <= b.sd_l + _TIE_L
        and (a.cost <= b.cost or a.time_h < b.time_h - _TIE_H or a.stops < b.stops)
    )


def _beats_at_end(a: Label, b: Label) -> bool:
    """Whether arrival a is as early and as cheap in stops as b, and better in one of them or in cost."""
    if a.time_h > b.time_h + _TIE_H or a.stops > b.stops:
        return False
    return a.time_h < b.time_h - _TIE_H or a.stops < b.stops or a.cost < b.cost
