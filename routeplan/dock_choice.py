"""Which docks a group opens: the fewest that keep everyone's rules, then the least delay, then the least cost.

Logic-based Benders decomposition: a small integer programme proposes docks; each boat's rules, daylight and the queues
are looked at apart, and what they find fault with comes back as a constraint: one of some docks has to be added, or so
much delay there is at the least unless one of some others is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from routeplan.carrying import Carry
from routeplan.group_plans import GroupPlan, GroupPlanner
from routeplan.programmes import solve

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from routeplan.cruise_days import CruiseDays
    from routeplan.parties import Party

    Progress = Callable[[float], None]

__all__ = ["Choice", "Chooser"]

_MOST_LOOKS = 200  # sets of docks that are proposed while the fewest are looked for
_MOST_WORK = 12_000  # ways followed by then: beyond it the fewest docks are left unproven
_MOST_ADDITIONS = 12  # times that docks are added for the clock's sake
_FAR_OFF_H = 6.0  # [h] of waits and days too long, all together: then several docks are added at once
_MOST_GROWTH = 12  # docks that are added to a set that won't do, to see whether that helps
_TIE_H = 1e-6
_SAME_DELAY_H = 1 / 60  # [h] delays of all boats together nearer than this are the same, and cost decides


@dataclass(frozen=True)
class _Patience:
    """How many sets of docks are planned in full: one takes the longer the more parties there are.

    Parameters
    ----------
    same
        Of the fewest docks, until one keeps the clock.
    added
        Docks of which the one is taken that helps the clock most.
    delay
        While the least delay is looked for.
    more
        With one dock more.
    """

    same: int
    added: int
    delay: int
    more: int

    @classmethod
    def for_parties(cls, count: int) -> _Patience:
        if count == 1:
            return cls(12, 8, 30, 5)
        return cls(max(2, 24 // count), max(3, 40 // count), max(2, 60 // count), max(1, 20 // count))


@dataclass(frozen=True, eq=False)
class Choice:
    """The docks that a group opens.

    Parameters
    ----------
    plan
        The cruise with them.
    fewest
        How many docks were shown to be needed.
    gap_h
        [h] By how much the least delay with so many docks could be less at the most.
    more
        A plan with one dock more and less delay; None where none was found.
    direct_h
        [h] By party: the least time for all legs without fuel, that the delay is counted from.
    """

    plan: GroupPlan
    fewest: int
    gap_h: float
    more: GroupPlan | None
    direct_h: tuple[float, ...]

    @property
    def is_fewest(self) -> bool:
        """Whether fewer docks were shown not to do."""
        return len(self.plan.rows) == self.fewest


@dataclass(eq=False)
class _Master:
    """The integer programme that proposes docks.

    Parameters
    ----------
    rows
        Docks that can be of use.
    needs
        Sets of which one dock at least has to be opened.
    delays
        Lower bounds of the delay: a figure, and by how much each dock that is opened lowers it.
    tried
        Sets that aren't to be proposed again.
    """

    rows: list[int]
    needs: list[frozenset[int]] = field(default_factory=list)
    delays: list[tuple[float, dict[int, float]]] = field(default_factory=list)
    tried: list[frozenset[int]] = field(default_factory=list)

    def propose(self, count: int | None = None) -> tuple[frozenset[int], float] | None:
        """Propose docks: as few as the needs allow, or so many with the least bound of the delay.

        Returns
        -------
        The docks and [h] the bound; None where there is no such set.
        """
        at = {row: i for i, row in enumerate(self.rows)}
        size = len(self.rows)
        matrix: list[np.ndarray[tuple[int], np.dtype[np.float64]]] = []
        low: list[float] = []
        for need in self.needs:
            matrix.append(_row(size, dict.fromkeys((at[r] for r in need), 1.0)))
            low.append(1.0)
        for tried in self.tried:
            matrix.append(_row(size, dict.fromkeys((at[r] for r in tried), -1.0)))
            low.append(1.0 - len(tried))
        if count is not None:
            for least_h, gains in self.delays:
                matrix.append(_row(size, {size: 1.0} | {at[r]: g for r, g in gains.items() if r in at}))
                low.append(least_h)
            matrix.append(_row(size, dict.fromkeys(range(size), 1.0)))
            low.append(float(count))
        high = np.full(len(matrix), np.inf)
        if count is not None:
            high[-1] = count
        cost = _row(size, dict.fromkeys(range(size), 1.0) if count is None else {size: 1.0})
        whole = _row(size, dict.fromkeys(range(size), 1.0))
        found = solve(cost, whole, np.append(np.ones(size), np.inf), np.array(matrix), np.array(low), high)
        if found is None:
            return None
        return frozenset(self.rows[i] for i in np.flatnonzero(found[:size] > 0.5)), float(found[size])


class Chooser:
    """Chooses the docks of a cruise.

    Parameters
    ----------
    parties
        Its parties.
    days
        Its days.
    progress
        Called now and then with the share of the work that is done; None tells nobody.
    """

    def __init__(self, parties: Sequence[Party], days: CruiseDays, progress: Progress | None = None) -> None:
        self.parties, self.days = parties, days
        self.carries = [[Carry(party, m) for m in range(len(party.members))] for party in parties]
        self.planner = GroupPlanner(parties, days, self.carries)
        useful = {row for each in self.carries for carry in each for row in carry.useful}
        self._master = _Master(sorted(useful))
        self._progress = progress or (lambda _: None)
        self._looks = 0
        self._patience = _Patience.for_parties(len(parties))

    def unable(self) -> list[tuple[int, int]]:
        """List the boats that no docks will do for.

        Returns
        -------
        Party and member, as indices.
        """
        return [
            (p, m)
            for p, each in enumerate(self.carries)
            for m, carry in enumerate(each)
            if not carry.suffices(carry.useful)
        ]

    def has_a_way(self) -> bool:
        """Tell whether every party has a way, daylight and queues left out.

        Returns
        -------
        False where boats that can't part have no stops that do for all of them.
        """
        rows = frozenset(self._master.rows)
        for router in self.planner.routers:
            router.gave_up = False
            if router.find(rows, by_daylight=False, twice=True) is None and not router.gave_up:
                return False
        return True

    def choose(self) -> Choice | None:
        """Choose the docks.

        Returns
        -------
        The choice; None where no docks will do. Where no docks were found with which the clock is kept, waits and days
        among it, the plan that breaks it by least.

        Notes
        -----
        No fewer docks than `fewest` will do: that is shown by each boat's own rules, daylight and hours, without any
        queue, as far as no search gave up. What a queue adds is looked at for as many sets of that size as patience
        has; after that docks are added. With as many docks as there are then the delay is the least but for `gap_h`.
        """
        fewest = self._fewest()
        if fewest is None:
            return None
        rows, shown = fewest
        plan = self._first_plan(rows)
        if plan is None:
            return None
        more = None
        if plan.rows:
            plan, least_h = self._least_delay(plan)
            more = self._one_more(plan)
        else:
            least_h = self._note(plan.rows)
        self._progress(1.0)
        direct_h = tuple(each[0].direct_h for each in self.carries)
        return Choice(plan, shown, max(0.0, plan.delay_h - least_h), more, direct_h)

    @property
    def rows(self) -> tuple[int, ...]:
        """Docks that can be of use to some boat, as rows of the layer."""
        return tuple(self._master.rows)

    def _fewest(self) -> tuple[frozenset[int], int] | None:
        """Find the fewest docks that keep all rules, queues left out; and how many were shown to be needed."""
        master, shown = self._master, 0
        all_do: bool | None = None  # whether all docks do, where some don't; nobody asked yet
        rows: frozenset[int] = frozenset(master.rows)
        for looks in range(_MOST_LOOKS):
            proposed = master.propose()
            if proposed is None:
                return None
            rows, shown = proposed[0], len(proposed[0])
            if self._add_needs(rows):
                continue
            self._progress(min(0.5, looks / _MOST_LOOKS))
            possible = self.planner.is_possible(rows)
            if possible is None or possible or sum(r.looks for r in self.planner.routers) > _MOST_WORK:
                break
            others = frozenset(master.rows) - rows
            if all_do is None:
                all_do = self.planner.is_possible(frozenset(master.rows)) is not False
            if not others or not all_do:
                return None
            master.needs.append(self._grown(rows, others))
        return rows, shown

    def _grown(self, rows: frozenset[int], others: frozenset[int]) -> frozenset[int]:
        """Add docks as long as that doesn't do either: one of those that are left is needed."""
        grown, needed = set(rows), set(others)
        for row in sorted(others)[:_MOST_GROWTH]:
            if self.planner.is_possible(frozenset(grown | {row})) is False:
                grown.add(row)
                needed.discard(row)
        return frozenset(needed)

    def _add_needs(self, rows: frozenset[int]) -> bool:
        """Ask each boat whether docks will do; note what is needed where they won't."""
        found = False
        for each in self.carries:
            for carry in each:
                if not carry.suffices(rows):
                    self._master.needs += carry.cuts(rows)
                    found = True
        return found

    def _first_plan(self, rows: frozenset[int]) -> GroupPlan | None:
        """Find a plan that keeps the clock: with as few docks, with others, or with more."""
        master, count = self._master, len(rows)
        best = self._look(rows) or self._look(frozenset(master.rows))
        for _same in range(self._patience.same if count else 0):
            if best is not None and best.excess_h <= _TIE_H:
                break
            self._note(rows)
            master.tried.append(rows)
            proposed = master.propose(count)
            if proposed is None:
                break
            rows = proposed[0]
            if not self._add_needs(rows) and self.planner.is_possible(rows) is not False:
                best = _less_bad(self._look(rows), best)
        master.tried.clear()
        return self._with_more(best)

    def _with_more(self, best: GroupPlan | None) -> GroupPlan | None:
        """Add docks as long as the clock isn't kept: the one that helps most, or several where it is far from it."""
        several = 2
        for _ in range(_MOST_ADDITIONS):
            if best is None or best.excess_h <= _TIE_H:
                break
            near = sorted(set(self._master.rows) - best.rows, key=self._cost)
            if not near:
                break
            if best.excess_h > _FAR_OFF_H:
                sets, several = [near[:several]], 2 * several
            else:
                sets = [[row] for row in near[: self._patience.added]]
            found: GroupPlan | None = None
            for rows in sets:
                found = _less_bad(self._look(best.rows | set(rows)), found)
                if found is not None and found.excess_h <= _TIE_H:
                    return found
            if found is None or (found.excess_h > best.excess_h - _TIE_H and len(sets[0]) == 1):
                break
            best = _less_bad(found, best)
        return best

    def _cost(self, row: int) -> tuple[bool, float]:
        """Order docks to be added: those that nobody knows well last, then by what a stop there costs."""
        return any(bool(party.docks[0][row].doubts) for party in self.parties), self._through_h(row)

    def _through_h(self, row: int) -> float:
        """[h] Tell what a stop at a dock costs the boats that it can serve, each at the best."""
        boats = [carry for each in self.carries for carry in each]
        known = [carry.through_h()[row] - carry.direct_h for carry in boats if row in carry.through_h()]
        return sum(known) / len(known) if known else np.inf

    def _look(self, rows: frozenset[int]) -> GroupPlan | None:
        self._looks += 1
        self._progress(min(0.95, 1 - 0.5 / (1 + self._looks / 10)))
        return self.planner.plan(rows)

    def _least_delay(self, best: GroupPlan) -> tuple[GroupPlan, float]:
        """[h] Find the docks of least delay, as many as the best plan so far has; and bound that delay."""
        master, count = self._master, len(best.rows)
        bounds_h = [self._note(best.rows)]
        master.tried.append(best.rows)
        for _ in range(self._patience.delay):
            proposed = master.propose(count)
            if proposed is None:
                return best, min(bounds_h)
            rows, least_h = proposed
            if least_h >= best.delay_h - _TIE_H:
                return best, min([*bounds_h, least_h])
            if self._add_needs(rows):
                continue
            bounds_h.append(self._note(rows))
            master.tried.append(rows)
            if bounds_h[-1] < best.delay_h - _TIE_H:
                other = self._look(rows)
                if other is not None and _is_better(other, best):
                    best = other
        proposed = master.propose(count)
        return best, min([*bounds_h, *([] if proposed is None else [proposed[1]])])

    def _one_more(self, best: GroupPlan) -> GroupPlan | None:
        """Look whether one dock more would spare delay."""
        found: GroupPlan | None = None
        self._master.tried.clear()  # it would bar what holds a set that was tried
        for _ in range(self._patience.more):
            proposed = self._master.propose(len(best.rows) + 1)
            if proposed is None or proposed[1] >= (found or best).delay_h - _TIE_H:
                break
            rows, _least_h = proposed
            if self._add_needs(rows):
                continue
            self._note(rows)
            self._master.tried.append(rows)
            other = self._look(rows)
            if other is not None and len(other.rows) == len(rows) and _is_better(other, found or best):
                found = other
        return found

    def _note(self, rows: frozenset[int]) -> float:
        """[h] Bound the delay with some docks, and tell the programme by how much other docks could lower it."""
        total_h, gains = 0.0, dict[int, float]()
        for party, each in zip(self.parties, self.carries, strict=True):
            count, alone = len(party.members), len(party.members) == 1
            worst = max(each, key=lambda carry: carry.least_h(rows, pumping=alone))
            least_h = worst.least_h(rows, pumping=alone)
            pumping = _Pumping(party, each, rows)
            total_h += count * (least_h - worst.direct_h + (0.0 if alone else pumping.least_h))
            through_h = worst.through_h(pumping=alone)
            for row in set(self._master.rows) - rows:
                gain_h = max(0.0, least_h - through_h.get(row, np.inf)) + (0.0 if alone else pumping.gain_h(row))
                if gain_h > 0:
                    gains[row] = gains.get(row, 0.0) + count * gain_h
        if np.isfinite(total_h):
            self._master.delays.append((total_h, gains))
        return total_h


class _Pumping:
    """Bounds how long a party lies at pumps in all, with some docks, and by how much others could lower that.

    Each boat that needs fuel takes her least in all, at the side where that occupies its pumps for the shortest time;
    the fuel with more of that work decides.
    """

    def __init__(self, party: Party, each: Sequence[Carry], rows: frozenset[int]) -> None:
        self._party, self._rows = party, rows
        self._needing = [(m, carry) for m, carry in enumerate(each) if not carry.needs_none]
        self._take_l = {m: carry.least_take_l(rows) for m, carry in self._needing}
        self._all_l = {m: carry.least_take_l(carry.useful) for m, carry in self._needing}

    @property
    def least_h(self) -> float:
        """[h] With these docks."""
        work_h = {"gasoline": 0.0, "diesel": 0.0}
        for m, _ in self._needing:
            if np.isfinite(self._take_l[m]):
                work_h[self._party.boats[m].boat.fuel] += self._work_h(m, self._rows, self._take_l[m])
        return max(work_h.values())

    def gain_h(self, row: int) -> float:
        """[h] By how much one dock more lowers it at the most, whatever others are added besides."""
        gain_h, more = 0.0, self._rows | {row}
        for m, carry in self._needing:
            here_l = self._take_l[m]
            if not np.isfinite(here_l):
                continue
            faster_h = max(
                0.0,
                *(self._work_h(m, self._rows, take) - self._work_h(m, more, take) for take in (here_l, self._all_l[m])),
            )
            sides = [self._party.sides[r] for r in self._rows if r in self._party.sides]
            fuel = self._party.boats[m].boat.fuel
            slowest_h = max((1 / side.lpm / 60 / side.pumps[fuel] for side in sides if side.pumps[fuel]), default=0.0)
            gain_h += faster_h + (here_l - min(here_l, carry.least_take_l(more))) * slowest_h
        return gain_h

    def _work_h(self, m: int, rows: frozenset[int], take_l: float) -> float:
        fuel, berthing_h = self._party.boats[m].boat.fuel, self._party.asked.berthing_h
        sides = [self._party.sides[r] for r in rows if r in self._party.sides]
        return min(
            ((berthing_h + take_l / side.lpm / 60) / side.pumps[fuel] for side in sides if side.pumps[fuel]),
            default=0.0,
        )


def _is_better(plan: GroupPlan, other: GroupPlan) -> bool:
    if abs(plan.excess_h - other.excess_h) > _TIE_H:
        return plan.excess_h < other.excess_h
    if abs(plan.delay_h - other.delay_h) > _SAME_DELAY_H:
        return plan.delay_h < other.delay_h
    return plan.cost < other.cost - 1e-6


def _less_bad(plan: GroupPlan | None, other: GroupPlan | None) -> GroupPlan | None:
    if plan is None or other is None:
        return plan or other
    return plan if _is_better(plan, other) else other


def _row(size: int, values: dict[int, float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    row = np.zeros(size + 1)
    for i, value in values.items():
        row[i] = value
    return row
