"""A whole cruise with some docks: every party's way, who fills where, the clock, and what fuelling costs in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from routeplan.party_routes import Router, Traffic
from routeplan.pump_bookings import Bookings
from routeplan.timetable import find_timetable
from routeplan.who_fills import choose_who_fills

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from collections.abc import Set as AbstractSet

    from routeplan.carrying import Carry
    from routeplan.cruise_days import CruiseDays
    from routeplan.parties import Party
    from routeplan.party_routes import Route
    from routeplan.timetable import AtDock, Timetable
    from routeplan.who_fills import Fill

    Fills = tuple[tuple[Fill, ...], ...]

__all__ = ["GroupPlan", "GroupPlanner"]

_MOST_TRIES = 4  # to have a queue end before its dock shuts
_MOST_EASINGS = 12  # other ways tried for boats that lie in queues
_MOST_EXCESS_H = 4.0  # [h] beyond it other docks are wanted, no other ways
_ROUNDS = 2  # over boats that go by themselves, each seeing what the others have taken
_TIE_H = 1e-6


@dataclass(frozen=True, eq=False)
class GroupPlan:
    """A cruise.

    Parameters
    ----------
    rows
        Docks that are used, as rows of the layer.
    routes
        One a party.
    fills
        By party, for each of its stops who fills there.
    table
        All of it by the clock.
    delay_h
        [h] What fuelling costs, all boats together: detours, waits and time alongside.
    cost
        [currency] Of all fuel, with a guess where a price isn't known.
    excess_h
        [h] By how much it breaks what was asked for of the clock: waits beyond the longest, days beyond their end, all
        together; 0 where it keeps everything.
    """

    rows: frozenset[int]
    routes: tuple[Route, ...]
    fills: tuple[Fills, ...]
    table: Timetable
    delay_h: float
    cost: float
    excess_h: float


class GroupPlanner:
    """Plans a cruise with some docks.

    Parameters
    ----------
    parties
        Its parties.
    days
        Its days.
    carries
        By party, what each of its boats' tank carries.
    """

    def __init__(self, parties: Sequence[Party], days: CruiseDays, carries: Sequence[Sequence[Carry]]) -> None:
        self.parties, self.days = parties, days
        self.routers = [
            Router(party, days, each[0].left_h() if len(each) == 1 else None)
            for party, each in zip(parties, carries, strict=True)
        ]
        self._direct_h = [each[0].direct_h for each in carries]
        self._most_wait_h = parties[0].asked.longest_wait_h

    def is_possible(self, rows: AbstractSet[int]) -> bool | None:
        """Tell whether every party could do with some docks if there were no queues.

        Parameters
        ----------
        rows
            Docks that may be used.

        Returns
        -------
        True where each has a way that keeps her rules and ends every day in time; None where that is left open, as a
        search gave up.
        """
        for router in self.routers:
            router.gave_up = False
            if router.find(rows, twice=True) is None:
                return None if router.gave_up else False
        return True

    def plan(self, rows: AbstractSet[int]) -> GroupPlan | None:
        """Plan the cruise.

        Parameters
        ----------
        rows
            Docks that may be used.

        Returns
        -------
        The best plan that was found; None where the boats' rules can't be kept with these docks. Where the clock can't
        be kept, one that breaks it by as little as was found.
        """
        found: list[GroupPlan] = []
        for routes in self._candidates(rows):
            plan = self._timed(routes, rows)
            if plan is not None:
                found.append(plan)
                if plan.excess_h <= _TIE_H and len(self.parties) == 1:
                    break
        best = min(found, key=_badness, default=None)
        if best is None or len(self.parties) == 1 or best.excess_h > _MOST_EXCESS_H:
            return best
        return self._eased(best, rows)

    def _eased(self, plan: GroupPlan, rows: AbstractSet[int]) -> GroupPlan:
        """Try other ways for boats that lie in queues, the longest wait first, as long as that makes it better."""
        tried: set[tuple[int, tuple[int, int]]] = set()
        while len(tried) < _MOST_EASINGS:
            stop = self._longest_wait(plan, tried)
            if stop is None:
                break
            p, at = stop
            tried.add(stop)
            other = self.routers[p].find(rows, banned={at})
            if other is not None:
                eased = self._timed([*plan.routes[:p], other, *plan.routes[p + 1 :]], rows)
                if eased is not None and _badness(eased) < _badness(plan):
                    plan = eased
        return plan

    def _longest_wait(
        self, plan: GroupPlan, tried: AbstractSet[tuple[int, tuple[int, int]]]
    ) -> tuple[int, tuple[int, int]] | None:
        """Name the party of one boat, and her stop, with the longest wait that hasn't been tried yet."""
        waits = []
        for p, party in enumerate(self.parties):
            served = plan.table.served(party.members[0]) if len(party.members) == 1 else {}
            for place, stage in plan.routes[p].stops:
                for (row, leg), one in served.items():
                    here = row == party.row_of[place] and leg in (stage, stage - 1)
                    if here and one.wait_h > _TIE_H and (p, (place, stage)) not in tried:
                        waits.append((one.wait_h, p, (place, stage)))
        return max(waits)[1:] if waits else None

    def _candidates(self, rows: AbstractSet[int]) -> Iterator[list[Route]]:
        """Propose ways of all parties: the soonest by themselves, over all docks, and round one another's queues."""
        alone: list[Route] = []
        for router in self.routers:
            route = router.find(rows) or router.find(rows, by_daylight=False)
            if route is None:
                return
            alone.append(route)
        yield alone
        if len(self.parties) > 1:
            order = sorted(range(len(alone)), key=lambda p: (-alone[p].busy_h, p))  # the slowest first
            round_queues = self._round_queues(rows, alone, order)
            if round_queues is not None:
                yield round_queues
        else:
            over_all = self.routers[0].find(rows, must=set(rows)) if len(rows) > 1 else None
            if over_all is not None and over_all.stops != alone[0].stops:
                yield [over_all]

    def _round_queues(self, rows: AbstractSet[int], alone: Sequence[Route], order: Sequence[int]) -> list[Route] | None:
        """Plan the parties one after the other, each round the queues of those before, until they leave together."""
        routes = list(alone)
        for _ in range(_ROUNDS):
            fills = self._all_fills(routes)
            table = None if fills is None else find_timetable(self.parties, routes, fills, self.days)
            if table is None:
                return None
            bookings = Bookings(self.parties, self.days)
            traffic = Traffic(bookings.begin_h, (*table.leave_h, 0.0), self._most_wait_h)
            before = list(routes)
            for p in order:
                router = self.routers[p]
                route = router.find(rows, traffic=traffic) or router.find(rows, traffic=traffic, by_daylight=False)
                routes[p] = route or routes[p]
                self._book(bookings, p, routes[p], traffic)
            if [r.stops for r in before] == [r.stops for r in routes]:
                break
        return routes

    def _all_fills(self, routes: Sequence[Route]) -> list[Fills] | None:
        found = [choose_who_fills(party, route) for party, route in zip(self.parties, routes, strict=True)]
        known = [each for each in found if each is not None]
        return known if len(known) == len(found) else None

    def _book(self, bookings: Bookings, p: int, route: Route, traffic: Traffic) -> None:
        """Take the pumps for a party's fills on its way."""
        party, fills = self.parties[p], iter(choose_who_fills(self.parties[p], route) or ())
        time_h = 0.0
        for step in route.steps:
            time_h += party.track(0, step.way).time_h
            if step.stops:
                row, ends_h = party.row_of[step.place], [time_h]
                for fill in next(fills, ()):
                    fuel = party.boats[fill.member].boat.fuel
                    lasts_h = party.asked.berthing_h + fill.take_l / party.sides[row].lpm / 60
                    begin_h = bookings.begin_h(row, fuel, time_h, lasts_h)
                    if begin_h is not None:
                        bookings.book(row, fuel, begin_h, lasts_h)
                        ends_h.append(begin_h + lasts_h)
                time_h = max(ends_h)
            if step.place == party.visits[step.stage] and step.stage < len(party.visits) - 1:
                time_h = max(self.days.leave_h(step.stage, time_h), traffic.leave_h[step.stage])

    def _timed(self, routes: Sequence[Route], rows: AbstractSet[int]) -> GroupPlan | None:
        """Choose who fills and run the clock; where a queue lasts too long, choose again with less time there."""
        limits: list[dict[int, float]] = [{} for _ in routes]
        routes = list(routes)
        best: GroupPlan | None = None
        for _ in range(_MOST_TRIES):
            fills: list[Fills] = []
            for p, party in enumerate(self.parties):
                found = self._fills(p, party, routes, limits[p], rows)
                if found is None:
                    return best
                fills.append(found)
            table = find_timetable(self.parties, routes, fills, self.days)
            if table is None:
                return best
            plan = self._sum_up(routes, fills, table)
            best = plan if best is None or plan.excess_h < best.excess_h - _TIE_H else best
            if plan.excess_h <= _TIE_H or not self._tighten(routes, table, limits):
                return best
        return best

    def _fills(
        self, p: int, party: Party, routes: list[Route], limits: dict[int, float], rows: AbstractSet[int]
    ) -> Fills | None:
        """Choose who fills on a party's way; leave out the stops at which nobody has to."""
        if len(party.members) == 1:
            return choose_who_fills(party, routes[p])
        longest_h = self._most_wait_h + party.asked.berthing_h  # the last boat's turn is longer than this
        found = choose_who_fills(party, routes[p], dict.fromkeys(range(len(routes[p].stops)), longest_h) | limits)
        if found is None:
            return choose_who_fills(party, routes[p], limits) or choose_who_fills(party, routes[p])
        while not all(found):
            idle = {stop for stop, fills in zip(routes[p].stops, found, strict=True) if not fills}
            shorter = self.routers[p].find(rows, banned=idle)
            if shorter is None or len(shorter.stops) >= len(routes[p].stops):
                break
            again = choose_who_fills(party, shorter, dict.fromkeys(range(len(shorter.stops)), longest_h))
            if again is None:
                break
            routes[p], found = shorter, again
            limits.clear()
        return found

    def _tighten(self, routes: Sequence[Route], table: Timetable, limits: list[dict[int, float]]) -> bool:
        """Allow less time at stops whose queue lasts too long; False where there is none, or all was done."""
        found = False
        for p, party in enumerate(self.parties):
            if len(party.members) == 1:
                continue
            for s, (place, stage) in enumerate(routes[p].stops):
                row, legs = party.row_of[place], (stage, stage - 1)
                at = next((d for d in table.docks if d.row == row and d.leg in legs), None)
                if at is None:
                    continue
                shortest_h = min(one.end_h - one.begin_h for one in at.served)
                longest_h = min(self._open_h(party, at), self._most_wait_h + shortest_h) + _TIE_H
                if at.away_h - at.arrive_h > longest_h and limits[p].get(s, float("inf")) > longest_h:
                    limits[p][s], found = longest_h - _TIE_H, True
        return found

    def _open_h(self, party: Party, at: AtDock) -> float:
        """[h] Tell how long a dock stays open from the first arrival on; infinity where it always does, or is shut."""
        hours, arrive = party.docks[0][at.row].hours, self.days.at(at.arrive_h)
        if hours is None or not hours.is_open(arrive):
            return float("inf")
        change = hours.next_change(arrive)
        return float("inf") if change is None else self.days.hours(change) - at.arrive_h

    def _sum_up(self, routes: Sequence[Route], fills: Sequence[Fills], table: Timetable) -> GroupPlan:
        delay_h = 0.0
        for p, party in enumerate(self.parties):
            run_h = sum(times[p] - leave_h for times, leave_h in zip(table.in_h, table.leave_h, strict=True))
            delay_h += len(party.members) * (run_h - self._direct_h[p])
        cost = excess_h = 0.0
        for at in table.docks:
            for served in at.served:
                party = next(p for p in self.parties if served.boat in p.members)
                problem = party.problem(party.members.index(served.boat))
                price = next(d.price_per_l for i, d in problem.docks.items() if party.row_of[i] == at.row)
                cost += served.fill.take_l * (problem.guess_price_per_l if price is None else price)
                excess_h += max(0.0, served.wait_h - self._most_wait_h)
        excess_h += sum(max(0.0, max(table.in_h[leg]) - self.days.by_h[leg]) for leg in table.late(self.days))
        used = frozenset(at.row for at in table.docks)
        return GroupPlan(used, tuple(routes), tuple(fills), table, delay_h, cost, excess_h)


def _badness(plan: GroupPlan) -> tuple[bool, float, float]:
    """Order plans: those that keep the clock first, then by how much they don't, then by delay."""
    return plan.excess_h > _TIE_H, round(plan.excess_h, 6), plan.delay_h
