"""Who could come to whom on a leg of a group cruise: how far apart its boats are at the most, over the water.

Boats are looked at every ten minutes. How far one is from another is told by a way that is known to be there: the
straight line where it lies in open water, or along the ways that both have run, or have still to run.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Geod

from layers.plane import METRES_PER_NMI
from routeplan.cruises import Buddy

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from routeplan.cruise_days import CruiseDays
    from routeplan.cruise_telling import Told
    from routeplan.group_plans import GroupPlan

    Vector = NDArray[np.float64]
    Points = NDArray[np.float64]
    Indices = NDArray[np.int_]

__all__ = ["SAMPLE_H", "Run", "find_buddies", "greatest_apart_nmi", "may_follow", "shared_nmi", "ways_apart_nmi"]

SAMPLE_H = 1 / 6  # [h] between two looks at where everybody is
THERE_AND_BACK = 2.0  # how often the helper must be able to run the distance on what she has in hand
_MOST_TOLD = 3  # boats that could come to the one that limits a leg
_SAME_PLACE_NMI = 1e-3  # [nmi] boats nearer than this lie at one place, be it on land
_SAME_BEND = 0.5  # [m] bends of two ways nearer than this are one
_TIE = 1e-9
_GEOD = Geod(ellps="WGS84")


@dataclass(frozen=True, eq=False)
class Run:
    """One boat on one leg, by the clock.

    Parameters
    ----------
    begin_h, end_h
        [h] Of each stretch, in order of time; between two of them she lies where the first one ends.
    from_deg, to_deg
        [deg] n x 2 longitudes and latitudes of their ends.
    length_nmi
        [nmi] Of each.
    bends
        [m] k x 2 positions in the plane at which her way bends, both ends among them.
    bends_nmi
        [nmi] Her miles at each bend.
    """

    begin_h: Vector
    end_h: Vector
    from_deg: Points
    to_deg: Points
    length_nmi: Vector
    bends: Points
    bends_nmi: Vector

    @property
    def total_nmi(self) -> float:
        """[nmi] Of the whole leg."""
        return float(self.length_nmi.sum())

    @cached_property
    def _before_nmi(self) -> Vector:
        return np.concatenate([[0.0], np.cumsum(self.length_nmi)[:-1]])

    @cached_property
    def _course_and_m(self) -> tuple[Vector, Vector]:
        course, _, metres = _GEOD.inv(*self.from_deg.T, *self.to_deg.T)
        return np.asarray(course), np.asarray(metres)

    def at(self, times_h: Vector) -> tuple[Points, Vector]:
        """Tell where she is.

        Parameters
        ----------
        times_h
            [h] When.

        Returns
        -------
        [deg] Longitudes and latitudes along the geodesics of her stretches, and [nmi] the miles that she has run.
        """
        i = np.clip(np.searchsorted(self.begin_h, times_h, side="right") - 1, 0, None)
        lasts_h = np.maximum(self.end_h[i] - self.begin_h[i], _TIE)
        share = np.clip((times_h - self.begin_h[i]) / lasts_h, 0.0, 1.0)
        course, metres = self._course_and_m
        lon, lat, _ = _GEOD.fwd(self.from_deg[i, 0], self.from_deg[i, 1], course[i], share * metres[i])
        return np.column_stack([lon, lat]), self._before_nmi[i] + share * self.length_nmi[i]


def shared_nmi(a: Run, b: Run) -> tuple[float, float]:
    """[nmi] Tell how far two boats go one way.

    Parameters
    ----------
    a, b
        Their runs on one leg.

    Returns
    -------
    From the beginning on, and up to the end.
    """
    from_begin = _same(a.bends, b.bends)
    to_end = _same(a.bends[::-1], b.bends[::-1])
    total_nmi = a.bends_nmi[-1]
    return (
        float(a.bends_nmi[from_begin - 1]) if from_begin else 0.0,
        float(total_nmi - a.bends_nmi[-to_end]) if to_end else 0.0,
    )


def _same(a: Points, b: Points) -> int:
    """Count the bends that two ways have in common from their first one on."""
    count = min(len(a), len(b))
    differ = np.flatnonzero(np.abs(a[:count] - b[:count]).max(axis=1) > _SAME_BEND)
    return int(differ[0]) if differ.size else count


def ways_apart_nmi(helper_nmi: Vector, other_nmi: Vector, shared: float, *, may_follow: bool) -> Vector:
    """[nmi] Tell how far apart two boats are along ways that fork.

    Parameters
    ----------
    helper_nmi, other_nmi
        [nmi] How far each is along her own way from the place where both begin.
    shared
        [nmi] How far the ways are one.
    may_follow
        Whether the helper can run the other's way beyond the fork.

    Returns
    -------
    Back to the fork and on from there, or straight along what is shared; infinity where she can't follow.

    Examples
    --------
    The ways fork at 4 nmi; the helper is at 6, the other one at 9: 2 back and 5 on.

    >>> ways_apart_nmi(np.array([6.0]), np.array([9.0]), 4.0, may_follow=True).tolist()
    [7.0]
    """
    back_nmi, on_nmi = np.maximum(helper_nmi - shared, 0.0), np.maximum(other_nmi - shared, 0.0)
    apart_nmi = np.abs(np.minimum(helper_nmi, shared) - np.minimum(other_nmi, shared)) + back_nmi + on_nmi
    return apart_nmi if may_follow else np.where(on_nmi > _SAME_PLACE_NMI, np.inf, apart_nmi)


def greatest_apart_nmi(
    along_nmi: Points, straight_nmi: Points, is_clear: Callable[[Indices, Indices], NDArray[np.bool_]]
) -> Vector:
    """[nmi] Tell how far apart boats are at the most.

    Parameters
    ----------
    along_nmi
        [nmi] A row a pair, a column a moment: the distance along ways that are known.
    straight_nmi
        [nmi] The same straight across.
    is_clear
        Tells of pairs and moments, by row and column, whether the straight line lies in open water.

    Returns
    -------
    One a pair: the greatest of the lesser of both. Lines are looked at only where the answer may hang on them.
    """
    apart_nmi = along_nmi.copy()
    settled = straight_nmi >= along_nmi - _TIE
    rows = np.arange(len(apart_nmi))
    while rows.size:
        at = apart_nmi[rows].argmax(axis=1)
        rows, at = (each[~settled[rows, at]] for each in (rows, at))
        if not rows.size:
            break
        clear = is_clear(rows, at)
        apart_nmi[rows[clear], at[clear]] = straight_nmi[rows[clear], at[clear]]
        settled[rows, at] = True
        rows = rows[clear]  # of the others the greatest is known: no line shortens it
    return np.asarray(apart_nmi.max(axis=1))


def may_follow(helper: Told, other: Told) -> bool:
    """Tell whether a boat can go wherever another one goes.

    Parameters
    ----------
    helper, other
        The boats.

    Returns
    -------
    Whether the other's way was found for boats that draw as much as the helper and are as tall.
    """
    if helper.party.network is other.party.network:
        return True
    boat, found_for = helper.passage.boat, other.party.network.boat
    return boat.draught_m <= found_for.draught_m and boat.air_draught_m <= found_for.air_draught_m


def find_buddies(
    told: Sequence[Told], plan: GroupPlan, days: CruiseDays, margins_nmi: Points, limiting: Sequence[int]
) -> tuple[tuple[Buddy, ...], ...]:
    """Find who could come to whom.

    Parameters
    ----------
    told
        Each boat's plan, in the order of the file.
    plan
        When each leg begins and ends.
    days
        Hours are counted from their departure.
    margins_nmi
        [nmi] A row a leg, a column a boat: how much further the least of what she has in hand would carry her.
    limiting
        By leg, which boat limits it.

    Returns
    -------
    By leg: those who could come to the boat that limits it, the soonest first and three at the most; then, where boats
    go by themselves, for every other boat the one that is soonest with her.

    Notes
    -----
    A helper counts if what she has in hand carries her there and back from anywhere on the leg. Of boats that are as
    soon the one with more in hand comes first. Between two looks, ten minutes, boats may be a little further apart.
    """
    by_leg = [_runs(one, plan, days) for one in told]
    return tuple(
        _Leg(told, [each[leg] for each in by_leg], leave_h, max(plan.table.in_h[leg]), margins_nmi[leg]).tell(
            limiting[leg]
        )
        for leg, leave_h in enumerate(plan.table.leave_h)
    )


class _Leg:
    """All boats on one leg."""

    def __init__(
        self, told: Sequence[Told], runs: Sequence[Run], leave_h: float, in_h: float, margins_nmi: Vector
    ) -> None:
        self.told, self.runs, self.margins_nmi = told, runs, margins_nmi
        self.parties = np.array([one.party.number for one in told])
        self.speed_kn = np.array([one.party.speed_kn for one in told])
        self.apart = self.parties[:, None] != self.parties
        times_h = np.append(np.arange(leave_h, in_h - _TIE, SAMPLE_H), in_h)
        found = [run.at(times_h) for run in runs]
        self.deg, self.run_nmi = np.array([deg for deg, _ in found]), np.array([nmi for _, nmi in found])
        self.straight_nmi = np.zeros((len(told), len(told), len(times_h)))
        a, b = np.nonzero(np.triu(self.apart))
        metres = _GEOD.inv(*self.deg[a].reshape(-1, 2).T, *self.deg[b].reshape(-1, 2).T)[2]
        self.straight_nmi[a, b] = self.straight_nmi[b, a] = np.reshape(metres, (len(a), len(times_h))) / METRES_PER_NMI

    def tell(self, limiting: int) -> tuple[Buddy, ...]:
        """Tell who could come to the boat that limits the leg, then who to the others."""
        boats = range(len(self.told))
        wanted = {limiting: _MOST_TOLD}
        if self.apart.any():
            wanted |= {b: 1 for b in boats if b != limiting}
        found = self._soonest(wanted)
        return tuple(
            Buddy(
                boat=self.told[helper].boat.boat,
                to=self.told[to].boat.boat,
                most_min=60 * hours,
                most_nmi=hours * float(self.speed_kn[helper]),
            )
            for to, count in wanted.items()
            for hours, _, helper in found[to][:count]
        )

    def _soonest(self, wanted: dict[int, int]) -> dict[int, list[tuple[float, float, int]]]:
        """[h] List for each boat the soonest helpers, with what they have in hand; some more may be among them."""
        # nobody is nearer than straight across: who can't be among the soonest even so isn't looked at
        least_h = self.straight_nmi.max(axis=2) / self.speed_kn[:, None]
        found: dict[int, list[tuple[float, float, int]]] = {to: [] for to in wanted}
        queues = {to: self._candidates(to, least_h[:, to]) for to in wanted}
        while queues:
            pairs = [(queue.pop(0), to) for to, queue in queues.items() if queue]
            for (helper, to), nmi in zip(pairs, self._most_nmi(pairs), strict=True):
                if self._covers(helper, nmi):
                    found[to].append((float(nmi / self.speed_kn[helper]), -float(self.margins_nmi[helper]), helper))
            for helpers in found.values():
                helpers.sort()
            queues = {
                to: queue
                for to, queue in queues.items()
                if queue and (len(found[to]) < wanted[to] or least_h[queue[0], to] < found[to][wanted[to] - 1][0])
            }
        return found

    def _candidates(self, to: int, least_h: Vector) -> list[int]:
        order = np.lexsort((-self.margins_nmi, least_h))
        return [int(h) for h in order if h != to and self._covers(int(h), float(least_h[h] * self.speed_kn[h]))]

    def _covers(self, helper: int, apart_nmi: float) -> bool:
        return bool(self.margins_nmi[helper] + _TIE >= THERE_AND_BACK * apart_nmi)

    def _most_nmi(self, pairs: Sequence[tuple[int, int]]) -> Vector:
        """[nmi] Tell how far apart pairs, helper and other, are at the most; boats of one party aren't."""
        most_nmi = np.zeros(len(pairs))
        rows = np.array([i for i, (helper, to) in enumerate(pairs) if self.apart[helper, to]], dtype=int)
        if not rows.size:
            return most_nmi
        helpers, others = np.array(pairs)[rows].T
        along_nmi = np.array([self._along_nmi(int(h), int(to)) for h, to in zip(helpers, others, strict=True)])

        def is_clear(row: Indices, at: Indices) -> NDArray[np.bool_]:
            return self._is_clear(helpers[row], others[row], at)

        most_nmi[rows] = greatest_apart_nmi(along_nmi, self.straight_nmi[helpers, others], is_clear)
        return most_nmi

    def _along_nmi(self, helper: int, other: int) -> Vector:
        runs = self.runs[helper], self.runs[other]
        follow = may_follow(self.told[helper], self.told[other])
        begin_nmi, end_nmi = shared_nmi(*runs)
        run_nmi = self.run_nmi[helper], self.run_nmi[other]
        left_nmi = runs[0].total_nmi - run_nmi[0], runs[1].total_nmi - run_nmi[1]
        return np.minimum(
            ways_apart_nmi(*run_nmi, begin_nmi, may_follow=follow),
            ways_apart_nmi(*left_nmi, end_nmi, may_follow=follow),
        )

    def _is_clear(self, helpers: Indices, others: Indices, at: Indices) -> NDArray[np.bool_]:
        """Tell which straight lines lie in water that is open to the helper; no line is needed at one place."""
        clear = self.straight_nmi[helpers, others, at] <= _SAME_PLACE_NMI
        waters = {id(one.party.network): one.party.network.water for one in self.told}
        of = np.array([id(self.told[h].party.network) for h in helpers])
        for key, water in waters.items():
            mine = np.flatnonzero((of == key) & ~clear)
            if mine.size:
                shapely.prepare(water.open)
                ends = [water.plane.to_plane(self.deg[boats[mine], at[mine]]) for boats in (helpers, others)]
                clear[mine] = shapely.covers(water.open, shapely.linestrings(np.stack(ends, axis=1)))
        return clear


def _runs(one: Told, plan: GroupPlan, days: CruiseDays) -> list[Run]:
    """Cut a boat's plan into the legs of the cruise."""
    legs, plane = one.boat.plan.legs, one.party.network.water.plane
    begin_h, end_h = np.array([(days.hours(s.depart), days.hours(s.arrive)) for s in legs]).T
    number = np.searchsorted(plan.table.leave_h, (begin_h + end_h) / 2) - 1
    from_deg, to_deg = np.array([(s.from_position, s.to_position) for s in legs]).swapaxes(0, 1)
    length_nmi = np.array([s.distance_nmi for s in legs])
    bends: list[list[Points]] = [[] for _ in plan.table.leave_h]
    for before, step in pairwise(one.label.path()):
        if step.hop is not None:
            bends[before.stage].append(step.hop.track.bends)
    found = []
    for leg, several in enumerate(bends):
        mine = number == leg
        way = np.concatenate(several)
        steps_nmi = plane.lengths_nmi(way[:-1], way[1:])
        found.append(
            Run(
                *(begin_h[mine], end_h[mine], from_deg[mine], to_deg[mine], length_nmi[mine]),
                bends=way,
                bends_nmi=np.concatenate([[0.0], np.cumsum(steps_nmi)]),
            )
        )
    return found
