"""A plan cut at its fills: from one place of refuelling to the next, with the level that each run begins at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.fuel import FuelAboard
    from routeplan.plans import Leg, Plan, Stop

__all__ = ["Hop", "find_hops"]

_SAME_MOMENT = timedelta(seconds=1)  # plans are kept to the second


@dataclass(frozen=True)
class Hop:
    """A run from one place of refuelling to the next, or to the destination.

    Parameters
    ----------
    first
        Index of its first leg in the plan.
    legs
        Its legs, in order; vias may lie between them.
    begun_by
        The fill that it begins with; None where it begins at the departure, without one.
    ended_by
        The fill that it ends with; None at the destination.
    level_l, level_sd_l
        [l] The last known level with what part fills have added since, and its standard deviation, by the plan.
    burned_before_l
        [l] Mean burn between that level and the hop's beginning; 0 after a fill to the mark.
    """

    first: int
    legs: tuple[Leg, ...]
    begun_by: Stop | None
    ended_by: Stop | None
    level_l: float
    level_sd_l: float
    burned_before_l: float

    @property
    def start(self) -> str:
        """Where it begins."""
        return self.begun_by.dock if self.begun_by is not None else self.legs[0].from_

    @property
    def end(self) -> str:
        """Where it ends."""
        return self.ended_by.dock if self.ended_by is not None else self.legs[-1].to

    @property
    def distance_nmi(self) -> float:
        """[nmi] Of all its legs."""
        return sum(leg.distance_nmi for leg in self.legs)

    @property
    def fuel_l(self) -> float:
        """[l] Mean burn on all its legs."""
        return sum(leg.fuel_l for leg in self.legs)

    @property
    def speed_kn(self) -> float:
        """[kn] The fastest that it is run at: its chosen speed, but where a limit holds all the way."""
        return max(leg.speed_kn for leg in self.legs)


def find_hops(plan: Plan, boat: Boat, aboard: FuelAboard) -> tuple[Hop, ...]:
    """Cut a plan at its fills.

    Parameters
    ----------
    plan
        The plan.
    boat
        Her full mark, and how well it repeats.
    aboard
        Fuel aboard at departure.

    Returns
    -------
    In order; none where the plan has no legs.
    """
    hops: list[Hop] = []
    stops = list(plan.stops)
    begun_by: Stop | None = None
    level_l, sd_l, burned_l = aboard.mean_l, aboard.sd_l, 0.0
    if stops and plan.legs and stops[0].depart <= plan.legs[0].depart + _SAME_MOMENT:  # a fill before leaving
        begun_by = stops.pop(0)
        level_l, sd_l, burned_l = _after(begun_by, boat, level_l, sd_l, burned_l)
    first = 0
    for index, leg in enumerate(plan.legs):
        last = index == len(plan.legs) - 1
        here = bool(stops) and leg.to == stops[0].dock and abs(leg.arrive - stops[0].arrive) <= _SAME_MOMENT
        if not (here or last):
            continue
        ended_by = stops.pop(0) if here else None
        legs = plan.legs[first : index + 1]
        hops.append(Hop(first, legs, begun_by, ended_by, level_l, sd_l, burned_l))
        burned_l += sum(one.fuel_l for one in legs)
        if ended_by is not None:
            level_l, sd_l, burned_l = _after(ended_by, boat, level_l, sd_l, burned_l)
        begun_by, first = ended_by, index + 1
    return tuple(hops)


def _after(stop: Stop, boat: Boat, level_l: float, sd_l: float, burned_l: float) -> tuple[float, float, float]:
    if stop.to_mark:
        return boat.tank.full_mark_l, boat.full_mark_sd_l, 0.0
    return level_l + stop.take_l, sd_l, burned_l
