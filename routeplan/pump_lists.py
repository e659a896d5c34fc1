"""Boats served by list at a fuel dock's pumps, within its hours, and bounds below what any plan comes to.

Pumps of one kind are alike, a boat once begun is finished, and a pump serves one boat at a time. By list means: boats
are taken in an order, and each goes to the pump that lets her begin first. Some list is as good as any plan for every
aim that never gains by a later end: take the best plan's boats in the order in which they begin, and by list none
begins later than in the plan, for the pumps, sorted by when they come free, are each free as soon. Opening hours change
nothing in that as long as who comes later never begins earlier. So it is enough to search the lists.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from heapq import heapify, heapreplace
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "SAME_H",
    "Hours",
    "Opens",
    "Served",
    "Turn",
    "Value",
    "by_rank",
    "least_away",
    "least_waiting",
    "place",
    "value_of",
]

Opens: TypeAlias = Callable[[float, float], float | None]
"""[h] From (hour, hours needed): the first begin from then on from which the dock stays open so long; None if never."""
Value: TypeAlias = tuple[int, float, float]
"""What a list comes to: how many are never served, the last end [h], all waits together [h]."""
SAME_H = 1e-9  # h, some microseconds: ends that differ by less are the same, for sums depend on their order
_CLOSING_H = 1e-6  # h: how well a closing time is found by halving
_OPENINGS = 100  # openings looked at for a bound: a season of days; a bound that looks at fewer is weaker, not wrong


@dataclass(frozen=True)
class Turn:
    """A boat that wants a pump.

    Parameters
    ----------
    key
        Whose turn it is; no two in a queue have the same.
    arrive_h
        [h] When she arrives.
    lasts_h
        [h] How long she holds the pump: berthing and pumping.
    margin_l
        [l] Fuel above the floor on arrival; the least is the thirstiest.
    due_h
        [h] When she ought to be done.
    """

    key: int
    arrive_h: float
    lasts_h: float
    margin_l: float = 0.0
    due_h: float = math.inf


@dataclass(frozen=True)
class Served:
    """A boat's turn, as it comes.

    Parameters
    ----------
    key
        Whose turn it is.
    pump
        Which pump, from 1.
    begin_h, end_h
        [h] When she takes the pump and when she leaves it.
    wait_h
        [h] From her arrival to then.
    """

    key: int
    pump: int
    begin_h: float
    end_h: float
    wait_h: float


class Hours:
    """What is known of a dock's hours, so that they aren't asked for what can be told from earlier answers.

    Parameters
    ----------
    opens
        The dock's hours; None for always open.
    turns
        The boats that it is asked for.

    Attributes
    ----------
    always
        Whether it stays open for as long as these boats could need.

    Notes
    -----
    A dock open from a to b and from b to c is open from a to c. If none who takes so long can begin between a and b,
    who comes between can't either, nor who takes longer. If it is open from a to b and shut before c, nobody who comes
    between a and b and would be done after c begins before the next opening.
    """

    def __init__(self, opens: Opens | None, turns: Sequence[Turn]) -> None:
        self.always = opens is None
        self._opens = opens
        self._from: list[float] = []  # stretches known to be open, apart and in order
        self._to: list[float] = []
        self._shut: list[float] = []  # of each, a time before which it is known to end
        self._none_begins: dict[float, tuple[list[float], list[float]]] = {}  # gaps, by how long a boat takes
        self._shortest_h = min((turn.lasts_h for turn in turns), default=0.0)
        if turns and not self.always:
            first_h, last_h = min(turn.arrive_h for turn in turns), max(turn.arrive_h for turn in turns)
            longest_h = last_h - first_h + math.fsum(turn.lasts_h for turn in turns) + SAME_H
            self.always = self._ask(first_h, longest_h) == first_h

    def begin_h(self, from_h: float, lasts_h: float) -> float:
        """Find when a boat can begin.

        Parameters
        ----------
        from_h
            [h] When she and a pump are there.
        lasts_h
            [h] How long she holds the pump.

        Returns
        -------
        [h] Then or later; inf for never.
        """
        if self.always:
            return from_h
        stretch = bisect_right(self._from, from_h) - 1
        if stretch >= 0 and from_h <= self._to[stretch]:
            if from_h + lasts_h <= self._to[stretch]:
                return from_h
            if from_h + lasts_h >= self._shut[stretch]:
                from_h = self._to[stretch]
        starts, ends = self._none_begins.setdefault(lasts_h, ([], []))
        gap = bisect_right(starts, from_h)
        if gap > 0 and from_h <= ends[gap - 1]:
            return ends[gap - 1]
        begin_h = self._jump(from_h, lasts_h)
        if begin_h > from_h:
            if gap < len(starts) and starts[gap] <= begin_h:
                starts[gap] = from_h
            else:
                starts.insert(gap, from_h)
                ends.insert(gap, begin_h)
        return begin_h

    def worked_h(self, from_h: float, work_h: float, shortest_h: float) -> float:
        """Bound when a pump can have worked for so long.

        Parameters
        ----------
        from_h
            [h] When it starts.
        work_h
            [h] How long it works.
        shortest_h
            [h] The shortest boat's time: where not even that fits in, nobody begins.

        Returns
        -------
        [h] A time before which it can't have.
        """
        begin_h = from_h
        left_h = work_h - SAME_H  # so that what just fits isn't put off by a rounding
        for _ in range(_OPENINGS):
            begin_h = self.begin_h(from_h, shortest_h)
            if begin_h == math.inf:
                return from_h
            if left_h <= shortest_h or self._fits(begin_h, left_h):
                return begin_h + left_h + SAME_H
            open_h, shut_h = shortest_h, left_h
            while shut_h - open_h > _CLOSING_H:
                middle_h = (open_h + shut_h) / 2
                if self._fits(begin_h, middle_h):
                    open_h = middle_h
                else:
                    shut_h = middle_h
            left_h -= shut_h
            from_h = begin_h + open_h
        return begin_h

    def _known(self, from_h: float, lasts_h: float) -> bool | None:
        """Tell whether a boat can begin just then; None where that isn't known."""
        stretch = bisect_right(self._from, from_h) - 1
        if stretch < 0 or from_h > self._to[stretch]:
            return None
        if from_h + lasts_h <= self._to[stretch]:
            return True
        return False if from_h + lasts_h >= self._shut[stretch] else None

    def _fits(self, from_h: float, lasts_h: float) -> bool:
        known = self.always or self._known(from_h, lasts_h)
        return self._ask(from_h, lasts_h) == from_h if known is None else known

    def _jump(self, from_h: float, lasts_h: float) -> float:
        """Begin no sooner than the shortest boat could; ask only where that doesn't tell."""
        if lasts_h > self._shortest_h:
            from_h = self.begin_h(from_h, self._shortest_h)
            if from_h == math.inf or self._known(from_h, lasts_h):
                return from_h
        return self._ask(from_h, lasts_h)

    def _ask(self, from_h: float, lasts_h: float) -> float:
        told_h = None if self._opens is None else self._opens(from_h, lasts_h)
        begin_h = math.inf if told_h is None else max(from_h, told_h)
        stretch = bisect_right(self._from, from_h) - 1
        if begin_h > from_h and stretch >= 0 and from_h <= self._to[stretch]:
            self._shut[stretch] = min(self._shut[stretch], from_h + lasts_h)
        if begin_h < math.inf:
            self._learn(begin_h, begin_h + lasts_h)
        return begin_h

    def _learn(self, begin_h: float, end_h: float) -> None:
        first, after = bisect_left(self._to, begin_h), bisect_right(self._from, end_h)
        shut_h = min(self._shut[first:after], default=math.inf)
        if first < after:
            begin_h, end_h = min(begin_h, self._from[first]), max(end_h, self._to[after - 1])
        self._from[first:after], self._to[first:after], self._shut[first:after] = [begin_h], [end_h], [shut_h]


def _pump_for(begin_h: float, free_h: Sequence[float]) -> int:
    """Take the lowest of the pumps that let a boat begin then: all that are free by then do."""
    return next(place for place, one_h in enumerate(free_h) if one_h <= begin_h)


def by_rank(turns: Sequence[Turn], pumps: int, hours: Hours, rank: Callable[[Turn], float]) -> list[Turn]:
    """Order boats so that whenever one can begin, the first in rank of those who can does.

    Parameters
    ----------
    turns
        The boats.
    pumps
        How many pumps there are.
    hours
        The dock's hours.
    rank
        Least goes first; then who arrived first, then the lowest key.

    Returns
    -------
    The list. Those who can never be served come last.
    """
    free_h = [-math.inf] * pumps
    left = sorted(turns, key=lambda turn: (rank(turn), turn.arrive_h, turn.key))
    order = []
    while left:
        low_h = min(free_h)
        begins_h = [hours.begin_h(max(turn.arrive_h, low_h), turn.lasts_h) for turn in left]
        begin_h = min(begins_h)
        turn = left.pop(begins_h.index(begin_h))
        order.append(turn)
        if begin_h < math.inf:
            free_h[_pump_for(begin_h, free_h)] = begin_h + turn.lasts_h
    return order


def place(order: Sequence[Turn], pumps: int, hours: Hours) -> list[Served]:
    """Serve by list: each takes the pump that lets her begin first, the lowest where several do.

    Parameters
    ----------
    order
        The list.
    pumps
        How many pumps there are.
    hours
        The dock's hours.

    Returns
    -------
    In order of begin, then pump; who can never be served is left out.
    """
    free_h = [-math.inf] * pumps
    served = []
    for turn in order:
        begin_h = hours.begin_h(max(turn.arrive_h, min(free_h)), turn.lasts_h)
        if begin_h < math.inf:
            pump = _pump_for(begin_h, free_h)
            free_h[pump] = begin_h + turn.lasts_h
            served.append(Served(turn.key, pump + 1, begin_h, free_h[pump], begin_h - turn.arrive_h))
    return sorted(served, key=lambda boat: (boat.begin_h, boat.pump))


def value_of(order: Sequence[Turn], pumps: int, hours: Hours) -> Value:
    """Tell what a list comes to, served as `place` does, but faster.

    Parameters
    ----------
    order
        The list.
    pumps
        How many pumps there are.
    hours
        The dock's hours.

    Returns
    -------
    How many are never served, the last end [h] and all waits together [h] of the others.
    """
    free_h = [-math.inf] * pumps
    left_out, away_h, waiting_h = 0, -math.inf, 0.0
    always, begin_of = hours.always, hours.begin_h
    for turn in order:
        begin_h = max(turn.arrive_h, min(free_h))
        if not always:
            begin_h = begin_of(begin_h, turn.lasts_h)
            if begin_h == math.inf:
                left_out += 1
                continue
        pump = 0
        while free_h[pump] > begin_h:
            pump += 1
        end_h = begin_h + turn.lasts_h
        free_h[pump] = end_h
        away_h = max(away_h, end_h)
        waiting_h += begin_h - turn.arrive_h
    return left_out, away_h, waiting_h


def least_waiting(left: Sequence[Turn], begins_h: Sequence[float], free_h: Sequence[float]) -> float:
    """Bound all waits together.

    Parameters
    ----------
    left
        The boats, the shortest first.
    begins_h
        [h] Before when each can't begin.
    free_h
        [h] Before when no boat begins at each pump.

    Returns
    -------
    [h] What no plan is below.

    Notes
    -----
    As if all were there and the dock open: then shortest first waits least, on alike machines (Conway, Maxwell and
    Miller 1967, from memory) that may come free at different times.
    """
    frees_h = list(free_h)
    heapify(frees_h)
    begins_all_h = 0.0
    for turn in left:
        begins_all_h += frees_h[0]
        heapreplace(frees_h, frees_h[0] + turn.lasts_h)
    return max(math.fsum(begins_h), begins_all_h) - math.fsum(turn.arrive_h for turn in left)


def least_away(turns: Sequence[Turn], pumps: int, hours: Hours) -> float:
    """Bound the last end.

    Parameters
    ----------
    turns
        The boats.
    pumps
        How many pumps there are.
    hours
        The dock's hours.

    Returns
    -------
    [h] What no plan ends before; inf where some boat can't be served even alone.

    Notes
    -----
    The greatest of: each boat alone; of those who can't begin before some moment, the work spread over all pumps within
    the hours, or each pump beginning with a boat of its own, or the longest of them that must share a pump.
    """
    heads = sorted((hours.begin_h(turn.arrive_h, turn.lasts_h), turn.lasts_h) for turn in turns)
    bound_h = max(head_h + lasts_h for head_h, lasts_h in heads)
    if bound_h == math.inf:
        return bound_h
    for place, (head_h, _) in enumerate(heads):
        rest = heads[place:]
        longest_h = sorted((lasts_h for _, lasts_h in rest), reverse=True)
        work_h = math.fsum(longest_h)
        bound_h = max(bound_h, hours.worked_h(head_h, work_h / pumps, longest_h[-1]))
        if len(rest) >= pumps:  # each pump begins with a boat of its own
            bound_h = max(bound_h, (math.fsum(head for head, _ in rest[:pumps]) + work_h) / pumps)
        for last in range(pumps, len(rest), pumps):  # of k m + 1 boats some k + 1 share a pump
            bound_h = max(bound_h, head_h + math.fsum(longest_h[last - last // pumps : last + 1]))
    return bound_h
