"""The closed-dock rule: where a boat can go on to if the dock that she comes to turns out to be closed.

From a closed dock v some other place w, a suitable dock or the destination, has to be in reach, on the reserve if
need be; and from w, filled to the mark, the destination by the plain rule without v. Once v is known to be closed
nothing is left to chance, so whether w can still finish doesn't depend on how the boat came; how far w may be does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from routeplan.fuel import low_figure_l
from routeplan.gate_waits import sail

if TYPE_CHECKING:
    from routeplan.docks import Dock
    from routeplan.problem import Problem
    from routeplan.tracks import Track
    from routeplan.trips import ClosedDockRule

__all__ = ["Escape", "Escapes"]

_TIE_L = 1e-9  # [l] rounding: a fill that is planned to arrive on the rule may lie under it by so much


@dataclass(frozen=True)
class Escape:
    """One way out from a closed dock.

    Parameters
    ----------
    place
        Terminal of the dock or destination that it leads to.
    stage
        How many targets have been passed there.
    fuel_l
        [l] Mean burn on the way.
    tracks
        The way, by the places passed.
    sale_l
        [l] The most that is sold there; infinity without limit, and at the destination.
    """

    place: int
    stage: int
    fuel_l: float
    tracks: tuple[Track, ...]
    sale_l: float


class Escapes:
    """Judges arrivals by the closed-dock rule.

    Parameters
    ----------
    problem
        The search.
    rule
        The rule to judge by; the problem's own where None.
    """

    def __init__(self, problem: Problem, rule: ClosedDockRule | None = None) -> None:
        self._problem = problem
        self._limit_l = problem.floor_l if (rule or problem.closed_dock) == "strict" else problem.unusable_l
        self._least: dict[int, dict[int, Track]] = {}
        for a, b, track in problem.graph.edges(data="track"):
            ways = self._least.setdefault(a, {})
            if (b not in ways or track.fuel_l < ways[b].fuel_l) and sail(problem, 0.0, track) is not None:
                ways[b] = track
        self._sale_l = {i: self._greatest_sale_l(dock) for i, dock in problem.docks.items()}
        last = len(problem.targets)
        self._nodes = {node: i for i, node in enumerate((dock, s) for dock in problem.docks for s in range(last))}
        self._dock_of = np.array([dock for dock, _ in self._nodes], dtype=int)
        self._carries, self._ends = self._list_carries()
        self._finishing: dict[int, np.ndarray] = {}
        self._ways: dict[tuple[int, int], tuple[Escape, ...]] = {}

    def ways(self, place: int, stage: int) -> tuple[Escape, ...]:
        """List the ways out from a dock, whatever the fuel aboard.

        Parameters
        ----------
        place
            Terminal of the closed dock.
        stage
            How many targets have been passed, its own passing included.

        Returns
        -------
        Those from whose end the destination can be reached without the dock, least fuel first.
        """
        key = (place, stage)
        if key not in self._ways:
            found = self._find_ways(place, stage)
            self._ways[key] = tuple(sorted(found, key=lambda way: way.fuel_l))
        return self._ways[key]

    def least_aboard_l(self, place: int, stage: int, burned_l: float, sd_l: float) -> float:
        """[l] The least fuel aboard, as a mean, with which a boat may come to a dock.

        Parameters
        ----------
        place, stage
            As in `ways`.
        burned_l, sd_l
            [l] Burn since the last known level and that level's standard deviation, on arrival.

        Returns
        -------
        Infinity where there is no way out at all.
        """
        return min((self._need_l(way, burned_l, sd_l) for way in self.ways(place, stage)), default=math.inf)

    def allows(self, place: int, stage: int, mean_l: float, burned_l: float, sd_l: float) -> bool:
        """Tell whether an arrival leaves a way out.

        Parameters
        ----------
        place, stage
            As in `ways`.
        mean_l, burned_l, sd_l
            [l] Fuel on arrival: last known level with part fills, burn since, standard deviation.

        Returns
        -------
        True where some way out can be taken.
        """
        return any(self.can_take(way, mean_l, burned_l, sd_l) for way in self.ways(place, stage))

    def open_ways(self, place: int, stage: int, mean_l: float, burned_l: float, sd_l: float) -> list[Escape]:
        """List the ways out that an arrival leaves.

        Parameters
        ----------
        place, stage, mean_l, burned_l, sd_l
            As in `allows`.

        Returns
        -------
        Those that can be taken, least fuel first.
        """
        return [way for way in self.ways(place, stage) if self.can_take(way, mean_l, burned_l, sd_l)]

    def can_take(self, way: Escape, mean_l: float, burned_l: float, sd_l: float) -> bool:
        """Tell whether an arrival leaves one way out.

        Parameters
        ----------
        way
            One of `ways`, or the same by another track.
        mean_l, burned_l, sd_l
            [l] As in `allows`.

        Returns
        -------
        True where it can be taken.
        """
        return self._need_l(way, burned_l, sd_l) <= mean_l - burned_l + _TIE_L

    def _need_l(self, way: Escape, burned_l: float, sd_l: float) -> float:
        """[l] Fuel that must be aboard for a way out: for the way itself, and not to be too empty for a fill there."""
        problem = self._problem
        then_l = burned_l + way.fuel_l
        doubt_l = -low_figure_l(then_l, then_l, sd_l, problem.sd_share, problem.z)
        return max(self._limit_l + way.fuel_l + doubt_l, problem.full_l + way.fuel_l - way.sale_l)

    def _find_ways(self, place: int, stage: int) -> list[Escape]:
        problem = self._problem
        finishing = self._finishing_without(place)
        last = len(problem.targets)
        here, fuel_l = place, 0.0
        tracks: tuple[Track, ...] = ()
        found = []
        for passed in range(stage, last):
            for dock, sale_l in self._sale_l.items():
                if dock == place or not finishing[self._nodes[dock, passed]]:
                    continue
                if dock == here:
                    found.append(Escape(dock, passed, fuel_l, tracks, sale_l))
                elif dock in self._least.get(here, {}):
                    track = self._least[here][dock]
                    found.append(Escape(dock, passed, fuel_l + track.fuel_l, (*tracks, track), sale_l))
            ahead = problem.targets[passed]
            if ahead != here:
                if ahead not in self._least.get(here, {}):
                    return found
                track = self._least[here][ahead]
                fuel_l += track.fuel_l
                tracks = (*tracks, track)
            here = ahead
        found.append(Escape(here, last, fuel_l, tracks, math.inf))
        return found

    def _list_carries(self) -> tuple[np.ndarray, np.ndarray]:
        """Tell which (dock, stage) a full tank carries to which, past targets too, and which it carries to the end."""
        problem = self._problem
        last = len(problem.targets)
        carries = np.zeros((len(self._nodes), len(self._nodes)), dtype=bool)
        ends = np.zeros(len(self._nodes), dtype=bool)
        for (dock, stage), row in self._nodes.items():
            here, fuel_l = dock, 0.0
            for passed in range(stage, last):
                ways = self._least.get(here, {})
                for other, sale_l in self._sale_l.items():
                    if other == dock and passed == stage:
                        continue
                    more_l = 0.0 if other == here else ways[other].fuel_l if other in ways else math.inf
                    if fuel_l + more_l <= sale_l and self._carries_to(fuel_l + more_l):
                        carries[row, self._nodes[other, passed]] = True
                ahead = problem.targets[passed]
                if ahead != here:
                    if ahead not in ways:
                        break
                    fuel_l += ways[ahead].fuel_l
                    here = ahead
                if not self._carries_to(fuel_l):
                    break
            else:
                ends[row] = True
        return carries, ends

    def _carries_to(self, fuel_l: float) -> bool:
        problem = self._problem
        return math.isfinite(fuel_l) and problem.low_l(problem.full_l, fuel_l, problem.full_sd_l) >= problem.floor_l

    def _greatest_sale_l(self, dock: Dock) -> float:
        """[l] Tell the most that a boat can take at a dock at once: what it sells, and what its hours allow."""
        problem = self._problem
        sale_l = math.inf if dock.largest_sale_l is None else dock.largest_sale_l
        if dock.hours is None:
            return sale_l
        open_h = dock.hours.longest_open(problem.depart) / timedelta(hours=1)
        pumps_h = open_h - problem.berthing_h
        return min(sale_l, 60 * dock.pump_lpm * pumps_h) if pumps_h >= 0 else -math.inf

    def _finishing_without(self, closed: int) -> np.ndarray:
        """Tell from which (dock, stage), filled to the mark, the destination can be reached without one dock."""
        if closed not in self._finishing:
            usable = self._dock_of != closed
            reached = self._ends & usable
            frontier = reached
            while frontier.any():
                frontier = self._carries[:, frontier].any(axis=1) & usable & ~reached
                reached = reached | frontier
            self._finishing[closed] = reached
        return self._finishing[closed]
