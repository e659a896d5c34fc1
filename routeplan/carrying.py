"""What a tank carries: from which dock a boat gets to which, past the visits between, and how long that takes at least.

It tells quickly whether some docks will do for one boat, names docks of which one at least has to be added where they
won't, and bounds from below how long she takes with them. Hours, waits and the other boats are left out, and a way
between two places costs the least that any chain of ways does, so nothing here is too dear.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable
    from collections.abc import Set as AbstractSet

    from numpy.typing import NDArray

    from routeplan.parties import Party

    Vector = NDArray[np.float64]
    Mask = NDArray[np.bool_]

__all__ = ["Carry"]

_TIE_L = 1e-9  # [l] rounding, as in the rules


class Carry:
    """One boat's cruise between full tanks.

    Parameters
    ----------
    party
        Its ways count.
    member
        Index among its members.
    """

    def __init__(self, party: Party, member: int) -> None:
        self._party, self._member = party, member
        self._docks = sorted(party.by_terminal(member))
        self._stages = len(party.visits) - 1
        self._problem = party.problem(member)
        self._node_row = np.repeat([party.row_of[d] for d in self._docks], self._stages).astype(int)
        others = (place for place in (*party.fills, *party.visits) if place not in set(self._docks))
        places = [*self._docks, *dict.fromkeys(others)]
        at = {place: i for i, place in enumerate(places)}
        self._visits = [at[v] for v in party.visits]
        self._fuel_l, self._time_h = _chained(party, member, at)
        self._through: dict[bool, dict[int, float]] = {}
        self._fill_arcs()
        self.useful = frozenset(self._node_row[self._reach(self._every) & self._reach_back()].tolist())

    @property
    def _every(self) -> Mask:
        return np.ones(len(self._node_row), dtype=bool)

    def _fill_arcs(self) -> None:
        """Tell which (dock, stage) a full tank carries to which and to the end, and the start's fuel as well."""
        count, last = len(self._docks), self._stages
        size = count * last
        self._carries = np.zeros((size, size), dtype=bool)
        self._arc_h, self._run_h = np.full((size, size), np.inf), np.full((size, size), np.inf)
        self._ends = np.zeros(size, dtype=bool)
        self._end_h = np.full(size, np.inf)
        problem = self._problem
        for stage in range(last):
            here = np.arange(count)
            rows = here * last + stage
            for passed, on_l, on_h in self._onward(here, stage):
                columns = np.arange(count) * last + passed
                carried, hours = self._carried(passed, on_l, on_h, problem.full_l, problem.full_sd_l)
                if passed == stage:
                    np.fill_diagonal(carried, val=False)
                self._carries[np.ix_(rows, columns)] = carried
                self._arc_h[np.ix_(rows, columns)] = np.where(carried, hours, np.inf)
                self._run_h[np.ix_(rows, columns)] = np.where(carried, on_h, np.inf)
            fuel_l, time_h = self._to_end(here, stage)
            self._ends[rows] = self._keeps(fuel_l, problem.full_l, problem.full_sd_l)
            self._end_h[rows] = np.where(self._ends[rows], time_h, np.inf)
        start = np.array([self._visits[0]])
        self._starts = np.zeros(size, dtype=bool)
        self._start_h, self._start_run_h = np.full(size, np.inf), np.full(size, np.inf)
        self._start_l = np.full(size, np.inf)
        for passed, on_l, on_h in self._onward(start, 0):
            columns = np.arange(count) * last + passed
            carried, hours = self._carried(passed, on_l, on_h, problem.mean_l, problem.sd_l)
            if passed == 0 and self._visits[0] < count:
                carried[0, self._visits[0]] = False  # nobody fills where she starts without having left
            self._starts[columns] = carried[0]
            self._start_h[columns] = np.where(carried[0], hours[0], np.inf)
            self._start_run_h[columns] = np.where(carried[0], on_h[0], np.inf)
            self._start_l[columns] = on_l[0]
        fuel_l, time_h = self._to_end(start, 0)
        self.needs_none = bool(self._keeps(fuel_l, problem.mean_l, problem.sd_l)[0])
        self.direct_h = float(time_h[0])

    def _onward(self, here: NDArray[np.int_], stage: int) -> Iterable[tuple[int, Vector, Vector]]:
        """[l, h] From some places, at a stage: for each later one, what it costs to get to each dock."""
        count = len(self._docks)
        fuel_l, time_h = np.zeros(len(here)), np.zeros(len(here))
        for passed in range(stage, self._stages):
            yield (
                passed,
                fuel_l[:, None] + self._fuel_l[here][:, :count],
                time_h[:, None] + self._time_h[here][:, :count],
            )
            ahead = self._visits[passed + 1]
            fuel_l = fuel_l + self._fuel_l[here, ahead]
            time_h = time_h + self._time_h[here, ahead]
            here = np.full(len(here), ahead)

    def _to_end(self, here: NDArray[np.int_], stage: int) -> tuple[Vector, Vector]:
        fuel_l, time_h = np.zeros(len(here)), np.zeros(len(here))
        for ahead in self._visits[stage + 1 :]:
            fuel_l = fuel_l + self._fuel_l[here, ahead]
            time_h = time_h + self._time_h[here, ahead]
            here = np.full(len(here), ahead)
        return fuel_l, time_h

    def _keeps(self, burned_l: Vector, level_l: float, sd_l: float) -> Mask:
        problem = self._problem
        known_l = np.where(np.isfinite(burned_l), burned_l, 0.0)
        low_l = level_l - known_l - problem.z * np.hypot(sd_l, problem.sd_share * known_l)
        return np.asarray(np.isfinite(burned_l) & (low_l >= problem.floor_l - _TIE_L))

    def _carried(
        self, stage: int, burned_l: Vector, time_h: Vector, level_l: float, sd_l: float
    ) -> tuple[Mask, Vector]:
        """[h] Tell which docks may be filled at after a burn, and how long the way and the fill take."""
        good = self._keeps(burned_l, level_l, sd_l)
        escapes, problem = self._party.escapes(self._member), self._problem
        take_l = np.maximum(problem.full_l - level_l + np.where(good, burned_l, 0.0), 0.0)
        service_h = np.zeros_like(take_l)
        for j, terminal in enumerate(self._docks):
            dock, side = problem.docks[terminal], self._party.sides[self._party.row_of[terminal]]
            service_h[:, j] = problem.berthing_h + take_l[:, j] / side.lpm / 60
            if dock.largest_sale_l is not None:
                good[:, j] &= take_l[:, j] <= dock.largest_sale_l + _TIE_L
            if escapes is not None and good[:, j].any():
                need_l = escapes.least_aboard_each_l(terminal, stage, burned_l[:, j], sd_l)
                good[:, j] &= need_l <= level_l - burned_l[:, j] + _TIE_L
        return good, time_h + service_h

    def _mask(self, rows: AbstractSet[int]) -> Mask:
        return np.isin(self._node_row, list(rows))

    def _reach(self, mask: Mask) -> Mask:
        """Tell what can be filled at from the start on, with some docks."""
        reached = frontier = self._starts & mask
        while frontier.any():
            frontier = self._carries[frontier].any(axis=0) & mask & ~reached
            reached = reached | frontier
        return reached

    def _reach_back(self) -> Mask:
        reached = frontier = self._ends.copy()
        while frontier.any():
            frontier = self._carries[:, frontier].any(axis=1) & ~reached
            reached = reached | frontier
        return reached

    def suffices(self, rows: AbstractSet[int]) -> bool:
        """Tell whether some docks will do.

        Parameters
        ----------
        rows
            Rows of the docks layer.

        Returns
        -------
        True also where she needs none.
        """
        return self.needs_none or bool((self._reach(self._mask(rows)) & self._ends).any())

    def cuts(self, rows: AbstractSet[int]) -> list[frozenset[int]]:
        """Name docks of which one at least has to be added where some won't do.

        Parameters
        ----------
        rows
            Rows of the docks layer that don't suffice.

        Returns
        -------
        One or two sets, each as small as leaving out what can be left out makes it; an empty one where no docks will
        do.

        Notes
        -----
        Docks are added as long as that doesn't do either; one of those left out is then needed, as more docks are
        never worse. Adding them in two orders finds two different sets.
        """
        others = sorted(self.useful - set(rows))
        found: dict[frozenset[int], None] = {}
        for order in (others, others[::-1]):
            grown, needed = set(rows), []
            for row in order:
                if self.suffices(grown | {row}):
                    needed.append(row)
                else:
                    grown.add(row)
            found[frozenset(needed)] = None
        return list(found)

    def least_h(self, rows: AbstractSet[int], *, pumping: bool = True) -> float:
        """[h] Bound how long the cruise takes her with some docks, stays and waits left out.

        Parameters
        ----------
        rows
            Rows of the docks layer.
        pumping
            Whether time alongside counts.

        Returns
        -------
        The least there is; infinity where they won't do.
        """
        start_h, arc_h = (self._start_h, self._arc_h) if pumping else (self._start_run_h, self._run_h)
        at = np.flatnonzero(self._mask(rows))
        best_h = _settled(start_h[at], arc_h[np.ix_(at, at)])
        by_docks_h = float((best_h + self._end_h[at]).min(initial=np.inf))
        return min(by_docks_h, self.direct_h) if self.needs_none else by_docks_h

    def least_take_l(self, rows: AbstractSet[int]) -> float:
        """[l] Bound how much she takes in all with some docks, filling to the mark.

        Parameters
        ----------
        rows
            Rows of the docks layer.

        Returns
        -------
        What is missing from the mark at the start, and the least burn up to a dock from which a full tank carries to
        the end: there, or beyond it, she fills for the last time. 0 where she needs none, infinity where they won't do.
        """
        if self.needs_none:
            return 0.0
        last = self._mask(rows) & self._ends
        missing_l = self._problem.full_l - self._problem.mean_l
        return max(0.0, missing_l + float(self._start_l[last].min(initial=np.inf)))

    def left_h(self) -> dict[tuple[int, int], float]:
        """[h] Bound how long it takes from each dock on to the end, with a full tank, fills on the way among it.

        Returns
        -------
        By terminal and stage; those from which the end is out of reach aren't in it.
        """
        hours = _settled(self._end_h, self._arc_h.T).reshape(len(self._docks), self._stages)
        return {
            (terminal, stage): float(hours[i, stage])
            for i, terminal in enumerate(self._docks)
            for stage in range(self._stages)
            if np.isfinite(hours[i, stage])
        }

    def through_h(self, *, pumping: bool = True) -> dict[int, float]:
        """[h] Bound how long it takes if she fills at a dock at least once, whatever else she may fill at.

        Parameters
        ----------
        pumping
            Whether time alongside counts.

        Returns
        -------
        By row; docks that can't be of use are left out.
        """
        if pumping in self._through:
            return self._through[pumping]
        start_h, arc_h = (self._start_h, self._arc_h) if pumping else (self._start_run_h, self._run_h)
        total_h = _settled(start_h, arc_h) + _settled(self._end_h, arc_h.T)
        found: dict[int, float] = {}
        for row, hours in zip(self._node_row.tolist(), total_h.tolist(), strict=True):
            if np.isfinite(hours):
                found[row] = min(hours, found.get(row, np.inf))
        self._through[pumping] = found
        return found


def _settled(first_h: Vector, arc_h: Vector) -> Vector:
    """[h] Find the least time to each node: from the start at once, or over others."""
    best_h = first_h
    while best_h.size:
        better_h = np.minimum(best_h, (best_h[:, None] + arc_h).min(axis=0))
        if (better_h >= best_h - 1e-12).all():
            break
        best_h = better_h
    return best_h


def _chained(party: Party, member: int, at: dict[int, int]) -> tuple[Vector, Vector]:
    """[l, h] Find the least fuel and the least time between places, by any chain of ways."""
    size = len(at)
    fuel_l, time_h = np.full((size, size), np.inf), np.full((size, size), np.inf)
    for a, ways in party.ways.out.items():
        i = at.get(a)
        for b, way in ways if i is not None else ():
            j = at.get(b)
            if j is not None:
                fuel_l[i, j] = min(fuel_l[i, j], party.ways.fuel_l[member, way])
                time_h[i, j] = min(time_h[i, j], party.ways.time_h[way])
    for matrix in (fuel_l, time_h):
        np.fill_diagonal(matrix, 0.0)
        for k in range(size):
            np.minimum(matrix, matrix[:, k : k + 1] + matrix[k : k + 1], out=matrix)
    return fuel_l, time_h
