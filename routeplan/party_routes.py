"""Which way a party goes, and where it stops, if it may stop at some docks only: what takes it the fewest hours.

Hours count under way, in queues and at pumps, not while it lies at visits, where it waits for others anyway.

Every member fills to the mark wherever her rules let her, which is never worse for what comes after; who really has to
is settled later (`who_fills`). So a label's time at a stop counts the least that any member needs there.
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from routeplan.gate_waits import sail

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from collections.abc import Set as AbstractSet

    from numpy.typing import NDArray

    from routeplan.cruise_days import CruiseDays
    from routeplan.cruises import Fuel
    from routeplan.docks import Dock
    from routeplan.parties import Party

    Vector = NDArray[np.float64]
    _Fronts = dict[tuple[int, int, frozenset[int]], list[Vector]]

__all__ = ["Route", "Router", "Step", "Traffic", "opens_at"]

_TIE = 1e-9
_MOST_LABELS = 4_000  # ways to come to a place that are followed in one search: some seconds for a large party
_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Step:
    """One hop of a party.

    Parameters
    ----------
    place
        Terminal that it leads to.
    stage
        How many visits behind the start have been reached there.
    way
        Index among the party's ways.
    stops
        Whether it stops there for fuel.
    """

    place: int
    stage: int
    way: int
    stops: bool


@dataclass(frozen=True)
class Route:
    """Where a party goes.

    Parameters
    ----------
    steps
        From the start to the last visit.
    least_h
        [h] When it is at the end at the earliest, since the departure.
    busy_h
        [h] Of that, all but lying at visits.
    """

    steps: tuple[Step, ...]
    least_h: float
    busy_h: float

    @property
    def stops(self) -> tuple[tuple[int, int], ...]:
        """Terminal and stage of each stop."""
        return tuple((step.place, step.stage) for step in self.steps if step.stops)


@dataclass(frozen=True)
class Traffic:
    """What the parties that were planned before leave of the pumps.

    Parameters
    ----------
    begin_h
        [h] Tells when a boat could begin at a dock, by row, fuel, arrival and time alongside; None never.
    leave_h
        [h] By visit, when the others leave it.
    most_wait_h
        [h] The longest wait for a turn.
    """

    begin_h: Callable[[int, Fuel, float, float], float | None]
    leave_h: Sequence[float]
    most_wait_h: float


@dataclass(eq=False)
class _Label:
    place: int
    stage: int
    time_h: float
    busy_h: float  # under way, waiting for a turn and at pumps; not lying at visits
    burned_l: Vector
    fresh: NDArray[np.bool_]
    before: _Label | None
    step: Step | None
    due: frozenset[int]  # docks that have to be stopped at still


@dataclass(frozen=True)
class _Asked:
    """What one search is asked for."""

    allowed: dict[int, NDArray[np.bool_]]
    banned: AbstractSet[tuple[int, int]]
    by_daylight: bool
    traffic: Traffic | None
    twice: bool


class Router:
    """Finds a party's routes.

    Parameters
    ----------
    party
        Its ways, docks and boats.
    days
        When it may leave each visit, and by when it has to be in.
    left_h
        [h] By terminal and stage, what is still to come at the least after a fill there, for a party of one boat: it
        makes the search look ahead. None goes without.
    """

    def __init__(self, party: Party, days: CruiseDays, left_h: Mapping[tuple[int, int], float] | None = None) -> None:
        self.party, self.days = party, days
        boats = party.boats
        problems = [party.problem(m) for m in range(len(boats))]
        self._problems = problems
        self._level_l = np.array([[p.mean_l, p.full_l] for p in problems])
        self._sd_l = np.array([[p.sd_l, p.full_sd_l] for p in problems])
        self._floor_l = np.array([p.floor_l for p in problems])
        self._share = np.array([p.sd_share for p in problems])
        self._z = problems[0].z
        self._every = np.arange(len(boats))
        self._left_h, self._latest_h = _least_left_h(party, days)
        self._filled_left_h = left_h
        self.gave_up = False
        self.looks = 0  # ways followed so far, over all searches

    def find(
        self,
        rows: AbstractSet[int],
        *,
        banned: AbstractSet[tuple[int, int]] = frozenset(),
        must: AbstractSet[int] = frozenset(),
        by_daylight: bool = True,
        traffic: Traffic | None = None,
        twice: bool = False,
    ) -> Route | None:
        """Find the route of fewest hours.

        Parameters
        ----------
        rows
            Docks that it may stop at, as rows of the layer.
        banned
            Stops, terminal and stage, that it may not make.
        must
            Docks of these that it has to stop at once at the least.
        by_daylight
            Whether each day has to end in time.
        traffic
            What the other parties have taken already; None where there are none, or nobody asked.
        twice
            Whether it may stop twice at one dock on one leg: exact then, but no plan is made of it.

        Returns
        -------
        The route; None where there is none, or where so many ways were tried in vain that it gave up, which it notes
        in `gave_up`.
        """
        party = self.party
        allowed = {i: can for i, can in party.fills.items() if party.row_of[i] in rows}
        asked = _Asked(allowed, banned, by_daylight, traffic, twice)
        ties = itertools.count()
        members = len(party.members)
        first = _Label(
            party.visits[0], 0, 0.0, 0.0, np.zeros(members), np.zeros(members, dtype=bool), None, None, frozenset(must)
        )
        queue: list[tuple[float, float, int, _Label]] = [(0.0, 0.0, next(ties), first)]
        fronts: _Fronts = {}
        for tried in itertools.count():
            if not queue:
                break
            if tried > _MOST_LABELS:
                self.gave_up = True
                break
            self.looks += 1
            *_, label = heapq.heappop(queue)
            if label.stage == len(party.visits) - 1:
                if not label.due:
                    return _route(label)
                continue
            if self._is_beaten(fronts, label):
                continue
            for following in self._extend(label, asked):
                left_h = self._least_left_h(following)
                if left_h < np.inf and not (by_daylight and self._is_late(following)):
                    order = round(following.busy_h + left_h, 6)  # of equal hours what ends sooner
                    heapq.heappush(queue, (order, following.time_h, next(ties), following))
        return None

    def _extend(self, label: _Label, asked: _Asked) -> Iterator[_Label]:
        party, target = self.party, self.party.visits[1 + label.stage]
        level_l, sd_l = self._known(label)
        stopped = frozenset[int]() if asked.twice else _stopped_at(label)
        by_h = self.days.by_h[label.stage] + _TIE if asked.by_daylight else np.inf
        for place, way in party.ways.out.get(label.place, ()):
            if place != target and place not in asked.allowed:
                continue
            burned_l = label.burned_l + party.ways.fuel_l[:, way]
            low_l = level_l - burned_l - self._z * np.hypot(sd_l, self._share * burned_l)
            if (low_l < self._floor_l - _TIE).any():
                continue
            ready_h = label.time_h
            if label.step is not None and label.step.stops and label.place != party.visits[label.stage]:
                ready_h += party.gathers_h(way, to_visit=place == target)
            hop = sail(self._problems[0], ready_h, party.track(0, way))
            if hop is None:
                continue
            stage = label.stage + (place == target)
            if place == target and hop.arrive_h <= by_h:
                left_h = self._leaves_h(stage, hop.arrive_h, asked.traffic)
                step, busy_h = Step(place, stage, way, stops=False), label.busy_h + hop.arrive_h - label.time_h
                yield _Label(place, stage, left_h, busy_h, burned_l, label.fresh, label, step, label.due)
            barred = (place, stage) in asked.banned or (stage == label.stage and place in stopped)
            if place not in asked.allowed or stage == len(party.visits) - 1 or barred:
                continue
            filling = self._who_may_fill(place, stage, asked.allowed[place], level_l, burned_l, sd_l)
            takes_l = np.maximum(self._level_l[:, 1] - level_l + burned_l, 0.0)[filling]
            filled_h = self._filled_h(place, hop.arrive_h, takes_l, asked.traffic)
            if filled_h is None or (place == target and filled_h > by_h):
                continue
            left_h = self._leaves_h(stage, filled_h, asked.traffic) if place == target else filled_h
            step, busy_h = Step(place, stage, way, stops=True), label.busy_h + filled_h - label.time_h
            burned_l, due = np.where(filling, 0.0, burned_l), label.due - {party.row_of[place]}
            yield _Label(place, stage, left_h, busy_h, burned_l, label.fresh | filling, label, step, due)

    def _is_late(self, label: _Label) -> bool:
        """Tell whether a day can't end in time any more, even without another stop."""
        if label.stage == len(self.party.visits) - 1:
            return False
        return label.time_h > self._latest_h[label.stage].get(label.place, np.inf) + _TIE

    def _least_left_h(self, label: _Label) -> float:
        """[h] Bound what is still to come."""
        if label.step is not None and label.step.stops and self._filled_left_h is not None:
            return self._filled_left_h.get((label.place, label.stage), np.inf)
        return self._left_h[label.stage].get(label.place, np.inf)

    def _known(self, label: _Label) -> tuple[Vector, Vector]:
        """[l] Tell each member's last known level, and its standard deviation."""
        state = label.fresh.astype(int)
        return self._level_l[self._every, state], self._sd_l[self._every, state]

    def _leaves_h(self, stage: int, in_h: float, traffic: Traffic | None) -> float:
        """[h] Tell when it leaves a visit: with the others, where it is known when they do."""
        if stage == len(self.party.visits) - 1:
            return in_h
        left_h = self.days.leave_h(stage, in_h)
        return left_h if traffic is None else max(left_h, traffic.leave_h[stage])

    def _is_beaten(self, fronts: _Fronts, label: _Label) -> bool:
        """Tell whether an earlier label at the place is no worse for any member; else note this one."""
        front = fronts.setdefault((label.place, label.stage, label.due), [])
        level_l, sd_l = self._known(label)
        # who came later but lay longer at visits may wait less for a dock that opens late
        vector = np.concatenate(
            [[label.time_h, label.busy_h - label.time_h], label.burned_l - level_l, label.burned_l, sd_l]
        )
        if front and bool((np.array(front) <= vector + _TIE).all(axis=1).any()):
            return True
        front.append(vector)
        return False

    def _who_may_fill(
        self, place: int, stage: int, can: NDArray[np.bool_], level_l: Vector, burned_l: Vector, sd_l: Vector
    ) -> NDArray[np.bool_]:
        """Tell which members may stop here: the dock suits them, sells enough, and leaves them a way out."""
        filling = can.copy()
        row = self.party.row_of[place]
        for m in np.flatnonzero(can):
            sale_l = self.party.docks[m][row].largest_sale_l
            take_l = self._level_l[m, 1] - level_l[m] + burned_l[m]
            escapes = self.party.escapes(int(m))
            filling[m] = (
                take_l > 0
                and (sale_l is None or take_l <= sale_l + _TIE)
                and (
                    escapes is None
                    or escapes.allows(place, stage, float(level_l[m]), float(burned_l[m]), float(sd_l[m]))
                )
            )
        return filling

    def _filled_h(self, place: int, arrive_h: float, takes_l: Vector, traffic: Traffic | None) -> float | None:
        """[h] Tell when the party can go on at the earliest: with one member, exactly; None where nobody can fill."""
        if not takes_l.size:
            return None
        party, row = self.party, self.party.row_of[place]
        lasts_h = party.asked.berthing_h + float(takes_l.min()) / party.sides[row].lpm / 60
        if traffic is None:
            begin_h = opens_at(party.docks[0][row], self.days, arrive_h, lasts_h)
        else:
            begin_h = traffic.begin_h(row, party.boats[0].boat.fuel, arrive_h, lasts_h)
        if begin_h is None or (traffic is not None and begin_h - arrive_h > traffic.most_wait_h + _TIE):
            return None
        return begin_h + lasts_h


def _stopped_at(label: _Label) -> frozenset[int]:
    """List the places at which a label's way has stopped on this leg."""
    found: set[int] = set()
    at: _Label | None = label
    while at is not None and at.stage == label.stage:
        if at.step is not None and at.step.stops:
            found.add(at.place)
        at = at.before
    return frozenset(found)


def opens_at(dock: Dock, days: CruiseDays, arrive_h: float, lasts_h: float) -> float | None:
    """[h] Tell when a dock is open for so long.

    Parameters
    ----------
    dock
        Its hours count.
    days
        Hours are counted from their departure.
    arrive_h
        [h] From when on.
    lasts_h
        [h] For how long.

    Returns
    -------
    None where it never is.
    """
    if dock.hours is None:
        return arrive_h
    arrive = days.at(arrive_h)
    try:
        return arrive_h + (dock.begin_fill(arrive, lasts_h) - arrive) / _HOUR
    except NeverOpensError:
        return None


def _least_left_h(party: Party, days: CruiseDays) -> tuple[list[dict[int, float]], list[dict[int, float]]]:
    """[h] Tell for each stage and place how long the way to the end takes at least, and when to be there at the latest.

    The latest is that with which every day ends in time. By chains of ways, without any fuel, so that no way is shorter
    than the difference of its ends: what a label search needs to be right.
    """
    places = sorted({*party.fills, *party.visits})
    at = {place: i for i, place in enumerate(places)}
    time_h = np.full((len(places), len(places)), np.inf)
    np.fill_diagonal(time_h, 0.0)
    for a, ways in party.ways.out.items():
        for b, way in ways if a in at else ():
            if b in at:
                time_h[at[a], at[b]] = min(time_h[at[a], at[b]], party.ways.time_h[way])
    for k in range(len(places)):
        np.minimum(time_h, time_h[:, k : k + 1] + time_h[k : k + 1], out=time_h)
    left_h, latest_h = [dict.fromkeys(places, 0.0)], [dict.fromkeys(places, np.inf)]
    beyond_h, in_by_h = 0.0, np.inf
    for stage in range(len(party.visits) - 2, -1, -1):
        ahead = at[party.visits[stage + 1]]
        in_by_h = min(in_by_h, days.by_h[stage])
        left_h.append({place: float(time_h[i, ahead]) + beyond_h for place, i in at.items()})
        latest_h.append({place: in_by_h - float(time_h[i, ahead]) for place, i in at.items()})
        beyond_h = left_h[-1][party.visits[stage]]
        in_by_h = latest_h[-1][party.visits[stage]] - days.ready_h[stage]
    return left_h[::-1], latest_h[::-1]


def _route(label: _Label) -> Route:
    steps: list[Step] = []
    at: _Label | None = label
    while at is not None and at.step is not None:
        steps.append(at.step)
        at = at.before
    return Route(tuple(reversed(steps)), label.time_h, label.busy_h)
