"""Every queue there is at a dock's pumps, tried one by one: each order of the boats, and each choice of pumps.

Nothing is shared with the product. Boats are tuples (arrives, lasts), the dock's hours windows (opens, closes), all in
whole numbers of some unit of time, so that sums are exact and ties are ties. A plan is a tuple of (pump, begin), one
for each boat as given, pumps counted from 0.
"""

from __future__ import annotations

from itertools import permutations, product
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Boat = tuple[int, int]
    Windows = Sequence[tuple[int, int]] | None

Plan: TypeAlias = tuple[tuple[int, int], ...]


def first_begin(windows: Windows, from_then: int, lasts: int) -> int | None:
    """Look through the windows, in order and apart, for the first begin; None where there is none."""
    if windows is None:
        return from_then
    for begin, end in windows:
        if max(begin, from_then) + lasts <= end:
            return max(begin, from_then)
    return None


def every_plan(boats: Sequence[Boat], pumps: int, windows: Windows) -> Iterator[Plan]:
    """Serve the boats in every order, each at every pump: each pump's boats in every order, none left idle for long."""
    for order in permutations(range(len(boats))):
        for chosen in product(range(pumps), repeat=len(boats)):
            free = [0] * pumps
            plan: list[tuple[int, int]] = [(0, 0)] * len(boats)
            for boat in order:
                arrives, lasts = boats[boat]
                begin = first_begin(windows, max(arrives, free[chosen[boat]]), lasts)
                if begin is None:
                    break
                plan[boat] = (chosen[boat], begin)
                free[chosen[boat]] = begin + lasts
            else:
                yield tuple(plan)


def listed(boats: Sequence[Boat], order: Sequence[int], pumps: int, windows: Windows) -> Plan | None:
    """Serve the boats in one order, each where she begins first, the lowest pump where several do."""
    free = [0] * pumps
    plan: list[tuple[int, int]] = [(0, 0)] * len(boats)
    for boat in order:
        arrives, lasts = boats[boat]
        begins = [first_begin(windows, max(arrives, one), lasts) for one in free]
        known = [begin for begin in begins if begin is not None]
        if not known:
            return None
        pump = begins.index(min(known))
        plan[boat] = (pump, min(known))
        free[pump] = min(known) + lasts
    return tuple(plan)


def every_list(boats: Sequence[Boat], pumps: int, windows: Windows) -> Iterator[Plan]:
    """Serve the boats in every order by list."""
    for order in permutations(range(len(boats))):
        plan = listed(boats, order, pumps, windows)
        if plan is not None:
            yield plan


def away(boats: Sequence[Boat], plan: Plan) -> int:
    """Tell when the last boat is done."""
    return max(begin + lasts for (_, begin), (_, lasts) in zip(plan, boats, strict=True))


def waiting(boats: Sequence[Boat], plan: Plan) -> int:
    """Add up all waits."""
    return sum(begin - arrives for (_, begin), (arrives, _) in zip(plan, boats, strict=True))


def greatest_lateness(boats: Sequence[Boat], dues: Sequence[int], plan: Plan) -> int:
    """Tell how late the latest boat is; below 0 where all are early."""
    return max(begin + lasts - due for (_, begin), (_, lasts), due in zip(plan, boats, dues, strict=True))


def best(
    boats: Sequence[Boat],
    pumps: int,
    windows: Windows,
    ways: Callable[[Sequence[Boat], int, Windows], Iterator[Plan]] = every_plan,
) -> tuple[int, int] | None:
    """Find the least last end and the least waiting with it; None where no plan serves all."""
    return min(((away(boats, plan), waiting(boats, plan)) for plan in ways(boats, pumps, windows)), default=None)


def stepped(boats: Sequence[Boat], ranks: Sequence[int], pumps: int, windows: Windows, until: int) -> dict[int, int]:
    """Go through the hours one by one; whenever a pump is free, the first in rank of those there who can begin does.

    Ranks must differ. Returns the begin of each boat; who isn't served by the last hour is left out.
    """
    free = [0] * pumps
    begins: dict[int, int] = {}
    for hour in range(until):
        for pump in range(pumps):
            able = [
                boat
                for boat, (arrives, lasts) in enumerate(boats)
                if boat not in begins and arrives <= hour and first_begin(windows, hour, lasts) == hour
            ]
            if free[pump] <= hour and able:
                boat = min(able, key=lambda one: ranks[one])
                begins[boat] = hour
                free[pump] = hour + boats[boat][1]
    return begins
