"""A cruise by the clock: who is where when, who lies at which pump until when, when the group leaves each place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from routeplan.gate_waits import sail
from routeplan.party_routes import opens_at
from routeplan.pump_queue import Turn, soonest_away_apart, thirstiest_first

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.cruise_days import CruiseDays
    from routeplan.cruises import Fuel
    from routeplan.parties import Party
    from routeplan.party_routes import Route, Step
    from routeplan.problem import Hop
    from routeplan.pump_queue import Opens, Queue
    from routeplan.who_fills import Fill

__all__ = ["AtDock", "Served", "Timetable", "find_timetable", "thirstiest_order"]

_MOST_PASSES = 12  # over one leg: boats that meet at a dock move one another's times
_STEADY_PASSES = 6  # after these a boat's time only moves on, so that they come to rest
_TIE_H = 1e-9


@dataclass(frozen=True)
class Served:
    """One boat at a pump.

    Parameters
    ----------
    boat
        Index in the cruise.
    fuel
        What she takes.
    fill
        How much, and with what in hand.
    arrive_h, begin_h, end_h
        [h] Since the departure.
    pump
        Number of the pump, from 1.
    """

    boat: int
    fuel: Fuel
    fill: Fill
    arrive_h: float
    begin_h: float
    end_h: float
    pump: int

    @property
    def wait_h(self) -> float:
        """[h] From arriving to her turn."""
        return self.begin_h - self.arrive_h


@dataclass(frozen=True)
class AtDock:
    """All boats at one dock on one leg.

    Parameters
    ----------
    row
        Of the docks layer.
    leg
        Index of the leg.
    served
        In the order of their turns.
    proven
        Whether no order would have the last one away sooner.
    gap_h
        [h] By how much it might at the most.
    """

    row: int
    leg: int
    served: tuple[Served, ...]
    proven: bool
    gap_h: float

    @property
    def arrive_h(self) -> float:
        """[h] When the first boat is there."""
        return min(s.arrive_h for s in self.served)

    @property
    def away_h(self) -> float:
        """[h] When the last one leaves the pump."""
        return max(s.end_h for s in self.served)


@dataclass(frozen=True)
class Timetable:
    """A cruise by the clock.

    Parameters
    ----------
    leave_h
        [h] Of each leg: when the group leaves, since the departure.
    in_h
        [h] Of each leg, by party: when it is in.
    hops
        By party: how each of its steps is sailed.
    docks
        Visits to docks, in order of time.
    """

    leave_h: tuple[float, ...]
    in_h: tuple[tuple[float, ...], ...]
    hops: tuple[tuple[Hop, ...], ...]
    docks: tuple[AtDock, ...]

    def served(self, boat: int) -> dict[tuple[int, int], Served]:
        """List where a boat fills.

        Parameters
        ----------
        boat
            Index in the cruise.

        Returns
        -------
        By row of the dock and leg.
        """
        return {(dock.row, dock.leg): s for dock in self.docks for s in dock.served if s.boat == boat}

    @property
    def ends_h(self) -> float:
        """[h] When the last boat is at the end."""
        return max(self.in_h[-1])

    def late(self, days: CruiseDays) -> list[int]:
        """List the legs that end too late.

        Parameters
        ----------
        days
            By when they have to end.

        Returns
        -------
        Indices of legs.
        """
        return [leg for leg, times in enumerate(self.in_h) if max(times) > days.by_h[leg] + _TIE_H]


def find_timetable(
    parties: Sequence[Party],
    routes: Sequence[Route],
    fills: Sequence[Sequence[Sequence[Fill]]],
    days: CruiseDays,
) -> Timetable | None:
    """Run a cruise by the clock.

    Parameters
    ----------
    parties
        Their ways, docks and boats.
    routes
        One a party.
    fills
        By party, for each of its stops who fills there.
    days
        When the group may leave each visit.

    Returns
    -------
    The timetable; None where a gate stays shut, or a dock never opens for somebody.

    Notes
    -----
    The group leaves a visit when its last boat is in and it has stayed and gathered. A party goes on from a fuel stop
    when the last of its boats has fuelled. Boats that come to one dock on the same leg are one queue, in the order that
    has the last one away soonest; as that moves the times of what follows, a leg is run again until nothing moves.
    """
    leaves: list[float] = []
    ins: list[tuple[float, ...]] = []
    hops: list[list[Hop]] = [[] for _ in parties]
    docks: list[AtDock] = []
    leave_h = 0.0
    for leg in range(len(parties[0].visits) - 1):
        run = _Leg(parties, routes, fills, days, leg, leave_h)
        if not run.settle():
            return None
        leaves.append(leave_h)
        ins.append(tuple(run.in_h))
        for p, found in enumerate(run.hops):
            hops[p] += found
        docks += run.docks
        if leg < len(parties[0].visits) - 2:
            leave_h = days.leave_h(leg + 1, max(run.in_h))
    docks.sort(key=lambda d: (d.arrive_h, d.row))
    return Timetable(tuple(leaves), tuple(ins), tuple(map(tuple, hops)), tuple(docks))


def thirstiest_order(parties: Sequence[Party], dock: AtDock, days: CruiseDays) -> tuple[tuple[int, ...], float]:
    """Order the boats at a dock so that those with least in hand fill first.

    Parameters
    ----------
    parties
        Their docks.
    dock
        Who is there when.
    days
        Hours are counted from their departure.

    Returns
    -------
    Indices of the boats in order of their turns, and [h] how much later the last one is away than in the order of the
    timetable; infinity where the dock would shut before it.
    """
    side = parties[0].sides.get(dock.row) or next(p.sides[dock.row] for p in parties if dock.row in p.sides)
    opens = _opens(parties, dock.row, days)
    turns = {
        fuel: [_turn(s) for s in dock.served if s.fuel == fuel] for fuel in dict.fromkeys(s.fuel for s in dock.served)
    }
    if side.shared:
        queues = [thirstiest_first([t for each in turns.values() for t in each], 1, opens)]
    else:
        queues = [thirstiest_first(each, side.pumps[fuel], opens) for fuel, each in turns.items()]
    found = [q for q in queues if q is not None]
    if len(found) < len(queues):
        return tuple(s.boat for s in sorted(dock.served, key=lambda s: s.fill.margin_l)), float("inf")
    order = sorted((s for q in found for s in q.served), key=lambda s: (s.begin_h, s.pump))
    return tuple(s.key for s in order), max(max(q.away_h for q in found) - dock.away_h, 0.0)


def _turn(served: Served) -> Turn:
    return Turn(served.boat, served.arrive_h, served.end_h - served.begin_h, served.fill.margin_l)


def _opens(parties: Sequence[Party], row: int, days: CruiseDays) -> Opens | None:
    dock = parties[0].docks[0][row]
    return None if dock.hours is None else lambda at_h, lasts_h: opens_at(dock, days, at_h, lasts_h)


class _Leg:
    """One leg of all parties, run until nothing moves any more."""

    def __init__(
        self,
        parties: Sequence[Party],
        routes: Sequence[Route],
        fills: Sequence[Sequence[Sequence[Fill]]],
        days: CruiseDays,
        leg: int,
        leave_h: float,
    ) -> None:
        self.parties, self.days, self.leg, self.leave_h = parties, days, leg, leave_h
        self.steps = [_steps(route, leg) for route in routes]
        self.fills = [_fills(route, each, leg) for route, each in zip(routes, fills, strict=True)]
        self.in_h: list[float] = []
        self.hops: list[list[Hop]] = []
        self.docks: list[AtDock] = []
        self._ends_h: dict[tuple[int, int], float] = {}  # by party and row: when its last boat has fuelled
        self._came_h: dict[tuple[int, int], float] = {}

    def settle(self) -> bool:
        """Run it until no time moves; False where it can't be run."""
        for attempt in range(_MOST_PASSES):
            came_h = self._walk()
            if came_h is None:
                return False
            if attempt >= _STEADY_PASSES:
                came_h = {key: max(h, self._came_h.get(key, h)) for key, h in came_h.items()}
            if all(abs(h - self._came_h.get(key, -1.0)) <= _TIE_H for key, h in came_h.items()):
                return True
            self._came_h = came_h
            if not self._queue():
                return False
        came_h = self._walk()
        return came_h is not None and all(h <= self._came_h.get(key, h) + _TIE_H for key, h in came_h.items())

    def _walk(self) -> dict[tuple[int, int], float] | None:
        """[h] Sail all parties to the next visit with the times at the pumps as they are known so far."""
        came_h: dict[tuple[int, int], float] = {}
        self.in_h, self.hops = [], []
        for p, party in enumerate(self.parties):
            time_h, sailed, fuelled = self.leave_h, [], False
            for step in self.steps[p]:
                if fuelled:
                    time_h += party.gathers_h(step.way, to_visit=step.stage > self.leg)
                hop = sail(party.problem(0), time_h, party.track(0, step.way))
                if hop is None:
                    return None
                sailed.append(hop)
                time_h, fuelled = hop.arrive_h, bool(self.fills[p].get(step))
                if fuelled:
                    key = (p, party.row_of[step.place])
                    came_h[key] = time_h
                    time_h = max(self._ends_h.get(key, time_h), time_h)
            self.in_h.append(time_h)
            self.hops.append(sailed)
        return came_h

    def _queue(self) -> bool:
        """Order the boats at each dock; False where one would never be served."""
        self.docks = []
        for row in sorted({row for _, row in self._came_h}):
            coming = [(p, h) for (p, r), h in self._came_h.items() if r == row]
            fills: dict[int, tuple[int, Fill, float]] = {}
            for p, h in coming:
                party = self.parties[p]
                at = next(step for step in self.fills[p] if party.row_of.get(step.place) == row and self.fills[p][step])
                for fill in self.fills[p][at]:
                    fills[party.members[fill.member]] = (p, fill, h)
            found = self._serve(row, fills)
            if found is None:
                return False
            self.docks.append(found)
            for p, _ in coming:
                self._ends_h[p, row] = max(s.end_h for s in found.served if s.boat in self.parties[p].members)
        return True

    def _serve(self, row: int, fills: dict[int, tuple[int, Fill, float]]) -> AtDock | None:
        side = self.parties[next(iter(fills.values()))[0]].sides[row]
        turns: dict[str, list[Turn]] = {}
        for boat, (p, fill, arrive_h) in fills.items():
            asked = self.parties[p].asked
            lasts_h = asked.berthing_h + fill.take_l / side.lpm / 60
            turns.setdefault(asked.boats[boat].boat.fuel, []).append(Turn(boat, arrive_h, lasts_h, fill.margin_l))
        pumps = {str(fuel): count for fuel, count in side.pumps.items()}
        queues = soonest_away_apart(turns, pumps, _opens(self.parties, row, self.days), shared=side.shared)
        if queues is None:
            return None
        served = [
            Served(s.key, self.parties[0].asked.boats[s.key].boat.fuel, *fills[s.key][1:], s.begin_h, s.end_h, s.pump)
            for queue in queues.values()
            for s in queue.served
        ]
        served.sort(key=lambda s: (s.begin_h, s.fuel != "gasoline", s.pump))
        last: Queue = max(queues.values(), key=lambda q: q.away_h)
        gap_h = max(0.0, last.away_h - max(q.away_h - q.gap_h for q in queues.values()))
        return AtDock(row, self.leg, tuple(served), gap_h <= _TIE_H, gap_h)


def _steps(route: Route, leg: int) -> list[Step]:
    """List a route's steps from one visit to the next: up to the first that reaches it."""
    reached = [next(i for i, s in enumerate(route.steps) if s.stage == stage) for stage in range(1, leg + 2)]
    return list(route.steps[reached[-2] + 1 if leg else 0 : reached[-1] + 1])


def _fills(route: Route, fills: Sequence[Sequence[Fill]], leg: int) -> dict[Step, Sequence[Fill]]:
    stops = [step for step in route.steps if step.stops]
    mine = set(_steps(route, leg))
    return {step: each for step, each in zip(stops, fills, strict=True) if step in mine}
