"""The least that a way with part fills can still come to, reckoned from the end backwards."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csgraph

from routeplan.search import least_from_end

if TYPE_CHECKING:
    from routeplan.problem import Problem
    from routeplan.search import Back

__all__ = ["PartBounds"]

_NEAR_L = 1e-9  # [l] rounding


class PartBounds:
    """Reckons lower bounds on money and time together.

    Parameters
    ----------
    problem
        The search.
    price_of_time_per_h
        [currency/h] What an hour is worth.

    Notes
    -----
    Two bounds, of which the greater counts. One buys all fuel that lacks at the least worth of any dock, by the way of
    least fuel. The other goes by hops that a full tank can make, with the berthing at each dock, and buys what each hop
    burns at the least worth of the docks from which its beginning is in reach on one tank: whatever is burnt first in,
    first out was bought no further back. What is aboard already is burnt first; it saves at the most the greatest such
    worth within a tank of the place. Hours, doubt and the closed-dock rule are left out, so nothing is too dear.
    """

    def __init__(self, problem: Problem, price_of_time_per_h: float) -> None:
        self._floor_l = problem.floor_l
        self._per_h = price_of_time_per_h
        worth = {
            i: problem.price_per_l(i) + price_of_time_per_h / (60 * dock.pump_lpm) for i, dock in problem.docks.items()
        }
        self._least_per_l = min(worth.values(), default=0.0)
        tank_l = max(problem.full_l, problem.mean_l) - problem.floor_l + _NEAR_L
        hops = [(a, b, track.time_h, track.fuel_l) for a, b, track in problem.graph.edges(data="track")]
        places = {place: i for i, place in enumerate(problem.graph)}
        apart = np.full((len(places), len(places)), np.inf)
        for a, b, _, fuel_l in hops:
            i, j = places[a], places[b]
            apart[i, j] = min(apart[i, j], fuel_l)
        apart = csgraph.shortest_path(np.where(apart == 0, _NEAR_L, apart)) if places else apart
        within = apart <= tank_l
        worths = np.array([worth.get(place, math.inf) for place in places])
        behind = np.where(within, worths[:, None], math.inf).min(axis=0, initial=math.inf)
        # who can't have bought any fuel within a tank burns what she left with, which is paid
        behind = np.where(np.isfinite(behind), behind, 0.0)
        self._dearest = dict(zip(places, np.where(within, behind, 0.0).max(axis=1, initial=0.0).tolist(), strict=True))
        back: Back = {}
        for stage, target in enumerate(problem.targets):
            for a, b, time_h, fuel_l in hops:
                berthing_h = 0.0 if b == target else problem.berthing_h
                money = price_of_time_per_h * (time_h + berthing_h) + fuel_l * behind[places[a]]
                money = money if fuel_l <= tank_l else math.inf
                back.setdefault((b, stage + (b == target)), []).append(((a, stage), (time_h, fuel_l, money)))
        end = (problem.targets[-1], len(problem.targets))
        hours, litres, money = (least_from_end(back, end, which) for which in (0, 1, 2))
        self._ahead = {node: (hours[node], litres[node], money.get(node, math.inf)) for node in hours}

    def of(self, place: int, stage: int, time_h: float, cost: float, aboard_l: float) -> float:
        """[currency] Reckon the least that a way can come to in the end.

        Parameters
        ----------
        place, stage
            Where it is, and how many targets it has passed.
        time_h, cost
            [h, currency] So far.
        aboard_l
            [l] Mean fuel aboard.

        Returns
        -------
        Infinity where the end is out of reach.
        """
        ahead = self._ahead.get((place, stage))
        if ahead is None:
            return math.inf
        hours, fuel_l, money = ahead
        so_far = cost + self._per_h * time_h
        over_l = aboard_l - self._floor_l
        plain = self._per_h * hours + max(0.0, fuel_l - over_l) * self._least_per_l
        saved = over_l * (self._dearest[place] if over_l > 0 else self._least_per_l)
        return so_far + max(plain, money - saved)
