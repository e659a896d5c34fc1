"""The closed-dock rule: where a boat can go on to if the dock that she comes to turns out to be closed.

From a closed dock v some other place w, a suitable dock or the destination, has to be in reach, on the reserve if
need be; and from w, filled to the mark, the destination by the plain rule without v. Once v is known to be closed
nothing is left to chance, so whether w can still finish doesn't depend on how the boat came; how far w may be does.
Waiting at w for it to open is allowed; a dock that stays shut for a week from the departure on, or from two days after
it, is out of season and no alternate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from routeplan.gate_waits import sail

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.docks import Dock
    from routeplan.problem import Problem
    from routeplan.tracks import Track

    Vector = NDArray[np.float64]

__all__ = ["Escape", "Escapes"]

_IN_SEASON = timedelta(days=7)  # a dock that stays shut for longer after the departure is no alternate
_STILL_IN_SEASON = timedelta(days=2)  # nor is one that does so from two days after it on: its season ends
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


class _Table(NamedTuple):
    """Ways out from one dock, side by side."""

    fuel_l: Vector
    sale_l: Vector
    place: NDArray[np.int_]
    stage: NDArray[np.int_]


class Escapes:
    """Judges arrivals by the closed-dock rule.

    Parameters
    ----------
    problem
        The search.
    """

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._limit_l = problem.floor_l if problem.closed_dock == "strict" else problem.unusable_l
        self._docks = np.array(list(problem.docks), dtype=int)
        self._sale_l = np.array([self._greatest_sale_l(dock) for dock in problem.docks.values()])
        places = dict.fromkeys([*problem.docks, *problem.targets])
        self._at = {place: i for i, place in enumerate(places)}  # the docks come first
        self._least: dict[tuple[int, int], Track] = {}
        self._least_l = np.full((len(places), len(places)), np.inf)
        for a, b, track in problem.graph.edges(data="track"):
            i, j = self._at.get(a), self._at.get(b)
            if i is None or j is None or track.most_l >= self._least_l[i, j]:
                continue
            if not track.gates or sail(problem, 0.0, track) is not None:
                self._least_l[i, j] = track.most_l  # nobody knows when a closed dock has to be left
                self._least[a, b] = track
        np.fill_diagonal(self._least_l, 0.0)
        carries, self._ends = self._list_carries()
        self._carried_from = np.ascontiguousarray(carries.T)
        self._finishing, self._relied_on = self._find_finishing(np.full(self._ends.size, fill_value=True))
        self._tables: dict[tuple[int, int], _Table] = {}
        self._nearest: dict[tuple[int, int], list[tuple[float, float]]] = {}

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
        table = self._table(place, stage)
        found = []
        for i in np.argsort(table.fuel_l, kind="stable"):
            stops = [place, *self._problem.targets[stage : table.stage[i]], int(table.place[i])]
            tracks = tuple(self._least[a, b] for a, b in pairwise(stops) if a != b)
            fuel_l, sale_l = float(table.fuel_l[i]), float(table.sale_l[i])
            found.append(Escape(stops[-1], int(table.stage[i]), fuel_l, tracks, sale_l))
        return tuple(found)

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
        key = (place, stage)
        if key not in self._nearest:
            self._nearest[key] = _unbeaten(self._table(place, stage))
        return min((self._need_l(*way, burned_l, sd_l) for way in self._nearest[key]), default=math.inf)

    def least_aboard_each_l(self, place: int, stage: int, burned_l: Vector, sd_l: float) -> Vector:
        """[l] Tell the same for several burns at once.

        Parameters
        ----------
        place, stage
            As in `least_aboard_l`.
        burned_l
            [l] Burns since the last known level.
        sd_l
            [l] That level's standard deviation.

        Returns
        -------
        One figure a burn; infinity where there is no way out at all.
        """
        self.least_aboard_l(place, stage, 0.0, sd_l)  # lists the ways that matter
        ways = np.array(self._nearest[place, stage]).reshape(-1, 2)
        if not len(ways):
            return np.full(len(burned_l), np.inf)
        problem = self._problem
        fuel_l, sale_l = ways[:, :1], ways[:, 1:]
        doubt_l = problem.z * np.hypot(sd_l, problem.sd_share * (burned_l + fuel_l))
        need_l = np.maximum(self._limit_l + fuel_l + doubt_l, problem.full_l + fuel_l - sale_l)
        return np.asarray(need_l.min(axis=0))

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
        return self.least_aboard_l(place, stage, burned_l, sd_l) <= mean_l - burned_l + _TIE_L

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
        return self._need_l(way.fuel_l, way.sale_l, burned_l, sd_l) <= mean_l - burned_l + _TIE_L

    def _need_l(self, fuel_l: float, sale_l: float, burned_l: float, sd_l: float) -> float:
        """[l] Fuel that must be aboard for a way out: for the way itself, and not to be too empty for a fill there."""
        problem = self._problem
        doubt_l = problem.z * math.hypot(sd_l, problem.sd_share * (burned_l + fuel_l))
        return max(self._limit_l + fuel_l + doubt_l, problem.full_l + fuel_l - sale_l)

    def _table(self, place: int, stage: int) -> _Table:
        """Lay the ways out from a dock side by side."""
        key = (place, stage)
        if key not in self._tables:
            self._tables[key] = self._find_table(place, stage)
        return self._tables[key]

    def _find_table(self, place: int, stage: int) -> _Table:
        problem = self._problem
        finishing = self._finishing_without(place)
        last, count = len(problem.targets), len(self._docks)
        here, fuel_l = place, 0.0
        parts: list[tuple[Vector, Vector, NDArray[np.int_], int]] = []
        for passed in range(stage, last):
            on_l = fuel_l + self._least_l[self._at[here], :count]
            good = finishing[:, passed] & np.isfinite(on_l)
            parts.append((on_l[good], self._sale_l[good], self._docks[good], passed))
            ahead = problem.targets[passed]
            fuel_l += self._least_l[self._at[here], self._at[ahead]]
            here = ahead
        if math.isfinite(fuel_l):
            parts.append((np.array([fuel_l]), np.array([math.inf]), np.array([here]), last))
        return _Table(
            np.concatenate([fuel for fuel, *_ in parts]) if parts else np.empty(0),
            np.concatenate([sale for _, sale, *_ in parts]) if parts else np.empty(0),
            np.concatenate([docks for *_, docks, _ in parts]) if parts else np.empty(0, dtype=int),
            np.concatenate([np.full(len(fuel), passed) for fuel, *_, passed in parts]) if parts else np.empty(0, int),
        )

    def _list_carries(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Tell which (dock, stage) a full tank carries to which, past targets too, and which it carries to the end."""
        problem = self._problem
        last, count = len(problem.targets), len(self._docks)
        carries = np.zeros((count, last, count, last), dtype=bool)
        ends = np.zeros((count, last), dtype=bool)
        same = np.eye(count, dtype=bool)
        for stage in range(last):
            here, fuel_l = np.arange(count), np.zeros(count)
            for passed in range(stage, last):
                on_l = fuel_l[:, None] + self._least_l[here, :count]
                can = self._carry(on_l) & (on_l <= self._sale_l)
                carries[:, stage, :, passed] = can & ~same if passed == stage else can
                ahead = self._at[problem.targets[passed]]
                fuel_l = fuel_l + self._least_l[here, ahead]
                here = np.full(count, ahead)
            ends[:, stage] = self._carry(fuel_l)
        return carries.reshape(count * last, count * last), ends

    def _carry(self, fuel_l: Vector) -> NDArray[np.bool_]:
        """Tell which burns a full tank carries by the plain rule."""
        problem = self._problem
        burned_l = np.where(np.isfinite(fuel_l), fuel_l, 0.0)
        doubt_l = problem.z * np.hypot(problem.full_sd_l, problem.sd_share * burned_l)
        good = problem.full_l - burned_l - doubt_l >= problem.floor_l - _TIE_L
        return np.asarray(np.isfinite(fuel_l) & good)

    def _greatest_sale_l(self, dock: Dock) -> float:
        """[l] Tell the most that a boat can take at a dock at once: what it sells, and what its hours allow."""
        problem = self._problem
        sale_l = math.inf if dock.largest_sale_l is None else dock.largest_sale_l
        if dock.hours is None:
            return sale_l
        open_h = min(
            dock.hours.longest_open(problem.depart + later, _IN_SEASON) / timedelta(hours=1)
            for later in (timedelta(), _STILL_IN_SEASON)
        )
        pumps_h = open_h - problem.berthing_h
        return min(sale_l, 60 * dock.pump_lpm * pumps_h) if pumps_h >= 0 else -math.inf

    def _finishing_without(self, closed: int) -> NDArray[np.bool_]:
        """Tell from which (dock, stage), filled to the mark, the destination can be reached without one dock."""
        usable = np.repeat(self._docks != closed, len(self._problem.targets))
        if closed in self._relied_on:
            reached, _ = self._find_finishing(usable)
        else:
            reached = self._finishing & usable
        return reached.reshape(self._ends.shape)

    def _find_finishing(self, usable: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], frozenset[int]]:
        """Go back from the destination; tell what can reach it, and a few docks over which all of that can."""
        reached = frontier = self._ends.reshape(-1) & usable
        relied_on: set[int] = set()
        while frontier.any():
            at = np.flatnonzero(frontier)
            carried = self._carried_from[at]
            frontier = carried.any(axis=0) & usable & ~reached
            reached = reached | frontier
            over = at[carried[:, frontier].argmax(axis=0)]
            relied_on.update(self._docks[over // len(self._problem.targets)].tolist())
        return reached, frozenset(relied_on)


def _unbeaten(table: _Table) -> list[tuple[float, float]]:
    """[l] Pick the ways out that none beats in both: fuel, and the most that is sold at their end."""
    kept: list[tuple[float, float]] = []
    for i in np.lexsort((-table.sale_l, table.fuel_l)):
        if not kept or table.sale_l[i] > kept[-1][1]:
            kept.append((float(table.fuel_l[i]), float(table.sale_l[i])))
    return kept
