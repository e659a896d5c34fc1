"""The list of boats that has all away from a fuel dock soonest: by search of all lists, or improved step by step."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from routeplan.pump_lists import SAME_H, by_rank, least_waiting, place, value_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from routeplan.pump_lists import Hours, Turn, Value

__all__ = ["improve_order", "search_orders"]

_TRIES = 1500  # lists tried beyond the exact search: a few hundredths of a second for 20 boats
_STEPS = 90_000  # boats placed in these tries at the most, so that long queues don't take for ever


def search_orders(turns: Sequence[Turn], pumps: int, hours: Hours, bound_h: float) -> list[Turn]:
    """Search all lists by branch and bound.

    Parameters
    ----------
    turns
        The boats; few, for there are factorially many lists.
    pumps
        How many pumps there are.
    hours
        The dock's hours.
    bound_h
        [h] What no plan ends before.

    Returns
    -------
    A list with the least last end, and of these with the least waiting.
    """
    return _Search(turns, pumps, hours, _by_rules(turns, pumps, hours)[0]).find(bound_h)


def improve_order(turns: Sequence[Turn], pumps: int, hours: Hours, bound_h: float) -> list[Turn]:
    """Take the best list of several rules, and exchange and move boats as long as that gains, near ones first.

    Parameters
    ----------
    turns
        The boats.
    pumps
        How many pumps there are.
    hours
        The dock's hours.
    bound_h
        [h] What no plan ends before.

    Returns
    -------
    The best list found within a fixed number of tries: the same for the same boats.
    """
    heads_h = [hours.begin_h(turn.arrive_h, turn.lasts_h) for turn in turns]
    by_length = sorted(zip(turns, heads_h, strict=True), key=lambda pair: pair[0].lasts_h)
    least_wait_h = least_waiting(
        [turn for turn, _ in by_length], [head for _, head in by_length], [min(heads_h)] * pumps
    )
    goal: Value = (0, bound_h + SAME_H, least_wait_h + SAME_H)
    count = len(turns)
    moves = [(kind, first, first + by) for by in range(1, count) for first in range(count - by) for kind in range(3)]
    tries = min(_TRIES, _STEPS // count)
    best: list[Turn] = []
    best_value: Value = (count + 1, math.inf, math.inf)
    for start in _by_rules(turns, pumps, hours):
        order, value, used = _descend(start, pumps, hours, moves, goal, tries)
        tries -= used
        if _is_better(value, best_value):
            best, best_value = order, value
        if tries <= 0 or all(have <= want for have, want in zip(best_value, goal, strict=True)):
            break
    return best


def _descend(
    order: list[Turn], pumps: int, hours: Hours, moves: Sequence[tuple[int, int, int]], goal: Value, tries: int
) -> tuple[list[Turn], Value, int]:
    """Make every move that gains, round and round, until none does; then let the shortest go first at each pump."""
    value = value_of(order, pumps, hours)
    in_vain = used = 0
    while used < tries and in_vain < len(moves) and any(have > want for have, want in zip(value, goal, strict=True)):
        trial = _moved(order, *moves[used % len(moves)])
        trial_value = value_of(trial, pumps, hours)
        in_vain, used = in_vain + 1, used + 1
        if _is_better(trial_value, value):
            order, value, in_vain = trial, trial_value, 0
    trial = _shortest_on_each(order, pumps, hours)
    trial_value = value_of(trial, pumps, hours)
    return (trial, trial_value, used) if _is_better(trial_value, value) else (order, value, used)


def _is_better(new: Value, old: Value) -> bool:
    if new[0] != old[0]:
        return new[0] < old[0]
    if abs(new[1] - old[1]) > SAME_H:
        return new[1] < old[1]
    return new[2] < old[2] - SAME_H


def _by_rules(turns: Sequence[Turn], pumps: int, hours: Hours) -> list[list[Turn]]:
    """Order boats by several rules, the best order first."""
    ranks: list[Callable[[Turn], float]] = [
        lambda turn: turn.arrive_h,
        lambda turn: turn.lasts_h,
        lambda turn: -turn.lasts_h,
        lambda turn: turn.due_h,
        lambda turn: turn.margin_l,
    ]
    orders = [by_rank(turns, pumps, hours, rank) for rank in ranks]
    orders += [_shortest_on_each(order, pumps, hours) for order in orders]
    best, best_value = orders[0], value_of(orders[0], pumps, hours)
    for order in orders[1:]:
        value = value_of(order, pumps, hours)
        if _is_better(value, best_value):
            best, best_value = order, value
    return [best, *(order for order in orders if order is not best)]


def _shortest_on_each(order: Sequence[Turn], pumps: int, hours: Hours) -> list[Turn]:
    """Leave each boat her pump, and let the shortest go first there."""
    turn_of = {turn.key: turn for turn in order}
    at_pump: dict[int, list[Turn]] = {}
    for boat in place(order, pumps, hours):
        at_pump.setdefault(boat.pump, []).append(turn_of[boat.key])
    again = [
        (boat.begin_h, boat.key)
        for boats in at_pump.values()
        for boat in place(by_rank(boats, 1, hours, lambda turn: turn.lasts_h), 1, hours)
    ]
    first = [turn_of[key] for _, key in sorted(again)]
    left = set(turn_of) - {turn.key for turn in first}
    return first + [turn for turn in order if turn.key in left]


def _moved(order: list[Turn], kind: int, first: int, second: int) -> list[Turn]:
    """Exchange two boats (0), or move the one behind the other (1) or the other before the one (2)."""
    trial = order.copy()
    if kind == 0:
        trial[first], trial[second] = trial[second], trial[first]
    elif kind == 1:
        trial.insert(second, trial.pop(first))
    else:
        trial.insert(first, trial.pop(second))
    return trial


class _Search:
    """A walk over all lists in which nobody begins before the one ahead of her.

    A list that breaks this is no better than its boats in the order in which they begin.
    """

    def __init__(self, turns: Sequence[Turn], pumps: int, hours: Hours, order: list[Turn]) -> None:
        self.turns = tuple(sorted(turns, key=lambda turn: (turn.lasts_h, turn.arrive_h, turn.key)))
        self.pumps = pumps
        self.hours = hours
        self.order = order
        left_out, self.away_h, self.waiting_h = value_of(order, pumps, hours)
        if left_out:
            self.away_h = self.waiting_h = math.inf
        self.limit_h = math.inf  # once the least end is known, no later end is looked at, only less waiting

    def find(self, bound_h: float) -> list[Turn]:
        """Find the soonest end, then the least waiting with it."""
        free_h = (-math.inf,) * self.pumps
        if self.away_h > bound_h + SAME_H:
            self._walk((), self.turns, free_h, -math.inf, bound_h, 0.0)
        self.limit_h = self.away_h + SAME_H
        if self.limit_h < math.inf:
            self._walk((), self.turns, free_h, -math.inf, bound_h, 0.0)
        return self.order

    def _walk(
        self,
        taken: tuple[Turn, ...],
        left: tuple[Turn, ...],
        free_h: tuple[float, ...],
        since_h: float,
        away_h: float,
        waited_h: float,
    ) -> None:
        if not left:
            _, self.away_h, self.waiting_h = value_of(taken, self.pumps, self.hours)
            self.order = list(taken)
            return
        begins_h = [self.hours.begin_h(max(turn.arrive_h, free_h[0]), turn.lasts_h) for turn in left]
        if max(begins_h) == math.inf or self._hopeless(left, begins_h, free_h, away_h, waited_h):
            return
        tried = set()
        for begin_h, which in sorted(zip(begins_h, range(len(left)), strict=True)):
            turn = left[which]
            if begin_h < since_h or (turn.arrive_h, turn.lasts_h) in tried:
                continue
            tried.add((turn.arrive_h, turn.lasts_h))
            end_h = begin_h + turn.lasts_h
            rest = left[:which] + left[which + 1 :]
            frees_h = tuple(sorted((*free_h[1:], end_h)))
            waiting_h = waited_h + begin_h - turn.arrive_h
            self._walk((*taken, turn), rest, frees_h, begin_h, max(away_h, end_h), waiting_h)

    def _hopeless(
        self,
        left: tuple[Turn, ...],
        begins_h: list[float],
        free_h: tuple[float, ...],
        away_h: float,
        waited_h: float,
    ) -> bool:
        first_h = min(begins_h)
        frees_h = [max(first_h, one_h) for one_h in free_h]
        work_h = sum(turn.lasts_h for turn in left)
        least_h = max(
            away_h,
            (sum(frees_h) + work_h) / self.pumps,
            *(begin_h + turn.lasts_h for begin_h, turn in zip(begins_h, left, strict=True)),
        )
        if self.limit_h == math.inf:
            return least_h > self.away_h - SAME_H
        if least_h > self.limit_h:
            return True
        return waited_h + least_waiting(left, begins_h, frees_h) > self.waiting_h - SAME_H
