"""Who goes to which pump of a fuel dock, and when: boats in an order, or in the order that has all away soonest.

Pumps of one kind are alike, and a boat once begun is finished. Boats are taken in an order, and each goes to the pump
that lets her begin first; some such order is as good as any plan, opening hours or not, as long as who comes later
never begins earlier (`pump_lists` says why).

Ends that differ by less than a nanohour, the noise of sums, count as the same.

References
----------
All from memory. Smith, W. E.: "Various optimizers for single-stage production", Naval Research Logistics Quarterly 3
(1956), 59-66: on one machine the shortest first waits least. Conway, R. W., Maxwell, W. L., Miller, L. W.: "Theory of
Scheduling", 1967: so it does on alike machines. Jackson, J. R.: "Scheduling a production line to minimize maximum
tardiness", Management Science Research Project, UCLA, 1955: earliest due first. Graham, R. L.: "Bounds on
multiprocessing timing anomalies", SIAM J. Appl. Math. 17 (1969), 416-429: the longest first ends within 4/3 - 1/(3m) of
the soonest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.pump_lists import SAME_H, Hours, Opens, Served, Turn, by_rank, least_away, place
from routeplan.pump_search import improve_order, search_orders

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

__all__ = [
    "Opens",
    "Queue",
    "Served",
    "Turn",
    "least_lateness",
    "serve_in_order",
    "soonest_away",
    "soonest_away_apart",
    "thirstiest_first",
]


@dataclass(frozen=True)
class Queue:
    """A dock's boats, each with her turn.

    Parameters
    ----------
    served
        In order of begin, then pump.
    away_h
        [h] The last end; 0 where nobody came.
    waiting_h
        [h] All waits together.
    proven
        Whether no plan has the last boat away sooner. Of waiting and lateness it says nothing.
    gap_h
        [h] How much sooner that could be at the most; 0 where proven.
    """

    served: tuple[Served, ...]
    away_h: float
    waiting_h: float
    proven: bool
    gap_h: float


def serve_in_order(turns: Sequence[Turn], pumps: int, opens: Opens | None) -> Queue | None:
    """Serve boats in the order given: each takes the pump that lets her begin first, the lowest where several do.

    Parameters
    ----------
    turns
        The boats, in order.
    pumps
        How many pumps there are.
    opens
        The dock's hours; None for always open.

    Returns
    -------
    The queue; None where some boat would never be served.

    Raises
    ------
    InputError
        Fewer than one pump, a figure that is not finite, a boat that takes less than no time, a key given twice.

    Examples
    --------
    By hand: 10, 20 and 30 min at one pump, all there at 0, wait 0, 10 and 30, together 40, and are away after 60.

    >>> queue = serve_in_order([Turn(1, 0, 10 / 60), Turn(2, 0, 20 / 60), Turn(3, 0, 30 / 60)], 1, None)
    >>> [round(boat.wait_h * 60) for boat in queue.served], round(queue.waiting_h * 60), round(queue.away_h * 60)
    ([0, 10, 30], 40, 60)
    """
    _check(turns, pumps)
    return _queue(turns, pumps, Hours(opens, turns))


def soonest_away(turns: Sequence[Turn], pumps: int, opens: Opens | None, *, exact_to: int = 7) -> Queue | None:
    """Find the order that has the last boat away soonest, and of these one that waits least.

    Parameters
    ----------
    turns
        The boats, in any order.
    pumps
        How many pumps there are.
    opens
        The dock's hours; None for always open.
    exact_to
        Up to how many boats all lists are searched.

    Returns
    -------
    The queue; None where some boat would never be served (beyond `exact_to`: by any list that was tried).

    Raises
    ------
    InputError
        As by `serve_in_order`.

    Notes
    -----
    Up to `exact_to` boats exact in both, by branch and bound. Beyond, the best of a fixed number of lists, so that the
    same boats always get the same queue: those of good rules, improved by exchanges and moves. Where its end meets a
    bound below every plan's it is `proven`; its waiting may then still be more than need be, but not for one pump that
    doesn't close and boats that arrive at once (shortest first, Smith 1956). The bound is the greatest of: each boat
    alone; of those who can't begin before some moment, the work spread over all pumps and the hours, or the longest
    of them that must share a pump.

    Examples
    --------
    By hand: two pumps, boats of 3, 2 and 2 h at once. The last two must share a pump for all to be away after 4 h;
    shortest first would wait as long, 2 h, but end after 5.

    >>> queue = soonest_away([Turn(1, 0, 2), Turn(2, 0, 2), Turn(3, 0, 3)], 2, None)
    >>> queue.away_h, queue.waiting_h, queue.proven
    (4, 2.0, True)
    """
    _check(turns, pumps)
    if not turns:
        return _told([], 0.0)
    hours = Hours(opens, turns)
    bound_h = least_away(turns, pumps, hours)
    if len(turns) <= exact_to:
        return _queue(search_orders(turns, pumps, hours, bound_h), pumps, hours, proven=True)
    return _queue(improve_order(turns, pumps, hours, bound_h), pumps, hours)


def thirstiest_first(turns: Sequence[Turn], pumps: int, opens: Opens | None) -> Queue | None:
    """Serve the boat with the least margin first.

    Parameters
    ----------
    turns
        The boats, in any order.
    pumps
        How many pumps there are.
    opens
        The dock's hours; None for always open.

    Returns
    -------
    The queue; None where some boat would never be served.

    Raises
    ------
    InputError
        As by `serve_in_order`.

    Notes
    -----
    Whenever a pump is free and some boat can begin, the one with the least margin of those who can begin then goes. Who
    hasn't arrived, or wouldn't be done before the dock closes, holds no free pump up. Of two with the same margin who
    arrived first goes, then the lower key.

    Examples
    --------
    By hand: when the pump comes free at 1 both are there, and the one with 5 l goes first, although 9 l came first.

    >>> boats = [Turn(1, 0, 1, margin_l=40), Turn(2, 0.2, 1, margin_l=9), Turn(3, 0.5, 2, margin_l=5)]
    >>> [(boat.key, boat.begin_h) for boat in thirstiest_first(boats, 1, None).served]
    [(1, 0), (3, 1), (2, 3)]
    """
    _check(turns, pumps)
    hours = Hours(opens, turns)
    return _queue(by_rank(turns, pumps, hours, lambda turn: turn.margin_l), pumps, hours)


def least_lateness(turns: Sequence[Turn], pumps: int, opens: Opens | None) -> Queue | None:
    """Serve the boat that is due first.

    Parameters
    ----------
    turns
        The boats, in any order.
    pumps
        How many pumps there are.
    opens
        The dock's hours; None for always open.

    Returns
    -------
    The queue; None where some boat would never be served.

    Raises
    ------
    InputError
        As by `serve_in_order`.

    Notes
    -----
    Taken as in `thirstiest_first`, by due date. The greatest lateness, end less due, is then the least there is for one
    pump that doesn't close and boats that arrive at once (Jackson 1955). Else it is a good rule and no more: not even
    a boat due at once is waited for.

    Examples
    --------
    By hand: due at 2 and at 3, an hour and two: done at 1 and 3, none late; the other way round one would be, by 1 h.

    >>> [boat.end_h for boat in least_lateness([Turn(1, 0, 2, due_h=3), Turn(2, 0, 1, due_h=2)], 1, None).served]
    [1, 3]
    """
    _check(turns, pumps)
    hours = Hours(opens, turns)
    return _queue(by_rank(turns, pumps, hours, lambda turn: turn.due_h), pumps, hours)


def soonest_away_apart(
    by_fuel: Mapping[str, Sequence[Turn]], pumps: Mapping[str, int], opens: Opens | None, *, shared: bool
) -> dict[str, Queue] | None:
    """Find the order of boats that burn different fuels.

    Parameters
    ----------
    by_fuel
        The boats by what they burn.
    pumps
        How many pumps each fuel has.
    opens
        The dock's hours; None for always open.
    shared
        Whether there is one berth for all: then one boat at a time, whatever she burns.

    Returns
    -------
    A queue each; None where some boat would never be served.

    Raises
    ------
    InputError
        As by `serve_in_order`; a fuel without a pump.

    Notes
    -----
    At a shared berth all are one queue at one pump, told apart by fuel: last end and waiting are each fuel's own, and
    `proven` and `gap_h` those of the whole.

    Examples
    --------
    By hand: one hour, then two at the same berth.

    >>> boats = {"gasoline": [Turn(1, 0, 1)], "diesel": [Turn(2, 0, 2)]}
    >>> queues = soonest_away_apart(boats, {"gasoline": 1, "diesel": 1}, None, shared=True)
    >>> {fuel: queue.away_h for fuel, queue in queues.items()}
    {'gasoline': 1, 'diesel': 3}
    """
    for fuel, turns in by_fuel.items():
        if turns and fuel not in pumps:
            raise InputError("pumps", "no pump has this fuel", value=fuel, remedy="say how many pumps it has")
    if not shared:
        apart = {fuel: soonest_away(turns, pumps.get(fuel, 1), opens) for fuel, turns in by_fuel.items()}
        told = {fuel: queue for fuel, queue in apart.items() if queue is not None}
        return told if len(told) == len(apart) else None
    whole = soonest_away(list(chain.from_iterable(by_fuel.values())), 1, opens)
    if whole is None:
        return None
    keys = {fuel: {turn.key for turn in turns} for fuel, turns in by_fuel.items()}
    return {fuel: _told([boat for boat in whole.served if boat.key in keys[fuel]], whole.gap_h) for fuel in by_fuel}


def _check(turns: Sequence[Turn], pumps: int) -> None:
    if pumps < 1:
        raise InputError("pumps", "a dock needs one at the least", value=pumps)
    seen = set()
    for turn in turns:
        where = f"boat {turn.key} at the pump"
        if turn.key in seen:
            raise InputError(where, "is in the queue twice", value=turn.key, remedy="give each boat a key of her own")
        seen.add(turn.key)
        if not math.isfinite(turn.arrive_h):
            raise InputError(where, "arrives at no finite hour", value=turn.arrive_h)
        if not (math.isfinite(turn.lasts_h) and turn.lasts_h >= 0):
            raise InputError(where, "takes a finite time that is not negative", value=turn.lasts_h)
        if math.isnan(turn.margin_l) or math.isnan(turn.due_h):
            raise InputError(where, "has a margin or a due date that is no number", value=(turn.margin_l, turn.due_h))


def _queue(order: Sequence[Turn], pumps: int, hours: Hours, *, proven: bool = False) -> Queue | None:
    served = place(order, pumps, hours)
    if len(served) < len(order):
        return None
    if proven or not served:
        return _told(served, 0.0)
    return _told(served, max(boat.end_h for boat in served) - least_away(order, pumps, hours))


def _told(served: Sequence[Served], gap_h: float) -> Queue:
    proven = gap_h < SAME_H
    away_h = max((boat.end_h for boat in served), default=0.0)
    waiting_h = math.fsum(boat.wait_h for boat in served)
    return Queue(tuple(served), away_h, waiting_h, proven, 0.0 if proven else gap_h)
