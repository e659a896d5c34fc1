"""Docks to fall back on from points along a way: which are in reach, and what it takes to get there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from layers.plane import METRES_PER_NMI
from routeplan.network import Place, join_places
from routeplan.places import write_position
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from layers.plane import Plane
    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.tracks import Track

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["Fallback", "Fallbacks", "stretches_of"]

_STEERED_SHARE = 1e-3  # of a burn: a steered track takes so much more than the least over the network, or less
_SHORTEST_M = 100.0  # [m] a stretch of a way that is shorter isn't told
_SAME_PLACE_NMI = 1.0  # [nmi] docks so near to a place are of that place
_AT_ONCE = timedelta(minutes=1)
_OPEN_IS_WORTH, _NOTHING = timedelta(minutes=30), timedelta(0)  # who lies before a shut dock isn't sure of it yet
_MOST_STEERED = 5  # docks from one point that are steered to, the nearest by burn: who turns wants a near one
_LONGEST_WAIT = timedelta(hours=24)  # a dock that stays shut for longer is none to fall back on


@dataclass(frozen=True, eq=False)
class Fallback:
    """One dock to fall back on.

    Parameters
    ----------
    dock
        The dock.
    track
        The way there from the point, as steered.
    way
        Its stretches: [deg] true initial course and [nmi] length of each.
    arrive, begin
        When the boat would be there, and when she could begin to fill.
    """

    dock: Dock
    track: Track
    way: tuple[tuple[float, float], ...]
    arrive: datetime
    begin: datetime

    @property
    def opens(self) -> datetime | None:
        """When she can begin to fill, if the dock is shut as she comes; None where it is open."""
        return self.begin if self.begin - self.arrive > _AT_ONCE else None


class Fallbacks:
    """Tells from each of some points which docks a boat can fall back on.

    Parameters
    ----------
    network
        The network.
    boat
        Whose burn counts.
    speed_kn
        [kn] Speed that she runs there at.
    docks
        Every dock of the region as she meets it, by row.
    positions
        [deg] Longitudes and latitudes of the points.
    span
        When she is at the first point and at the last: a dock that stays shut for more than a day then doesn't count.

    Notes
    -----
    Docks that nobody has confirmed for long, or whose hours aren't known, count only where no other does; those behind
    a bridge or lock that has to open don't.
    """

    def __init__(
        self,
        network: Network,
        boat: Boat,
        speed_kn: float,
        docks: Sequence[Dock],
        positions: Sequence[tuple[float, float]],
        span: tuple[datetime, datetime],
    ) -> None:
        self._first = len(network.terminals)
        self._network = join_places(network, [Place(write_position(p), "position", p) for p in positions])
        self._tracks = Tracks(self._network, boat, speed_kn)
        self._boat = boat
        counted = {
            i: docks[t.place.row]
            for i, t in enumerate(network.terminals)
            if t.place.kind == "dock" and t.entries and self._counts(docks[t.place.row], span)
        }
        self._docks = {i: dock for i, dock in counted.items() if not dock.doubts} or counted
        self._terminals = list(self._docks)
        self._gates = frozenset(i for i, gate in enumerate(network.water.gates) if gate.must_open)
        rows = [self._tracks.reach_l(terminal, self._gates)[self._first :] for terminal in self._terminals]
        self._burn_l = np.array(rows).reshape(len(rows), len(positions)) * (1 + _STEERED_SHARE)

    def _counts(self, dock: Dock, span: tuple[datetime, datetime]) -> bool:
        """Whether she can fall back on a dock at all."""
        return dock.suits and all(self._begin(dock, moment) is not None for moment in span)

    def _begin(self, dock: Dock, arrive: datetime) -> datetime | None:
        """Tell when a fill can begin; None where she would wait for more than a day."""
        try:
            begin = dock.begin_fill(arrive, dock.fill_h(self._boat.tank.full_mark_l, 0.0))
        except NeverOpensError:
            return None
        return begin if begin - arrive <= _LONGEST_WAIT else None

    def least_burn_l(self, without: Collection[str] = ()) -> tuple[Points, Indices]:
        """Find the least burn from each point to any dock.

        Parameters
        ----------
        without
            Names of docks that don't count.

        Returns
        -------
        [l] The mean burn, infinity where no dock can be reached, and a number of the dock, -1 where there is none.
        """
        burn_l = self._burn_l.copy()
        for row, terminal in enumerate(self._terminals):
            if self._docks[terminal].name in without:
                burn_l[row] = np.inf
        if not len(burn_l):
            count = self._burn_l.shape[1]
            return np.full(count, np.inf), np.full(count, -1)
        best = np.argmin(burn_l, axis=0)
        least = burn_l[best, np.arange(burn_l.shape[1])]
        return least, np.where(np.isfinite(least), best, -1)

    def at(self, position: tuple[float, float]) -> frozenset[str]:
        """Name the docks at a place: who can get there can get to them, so they are nothing to fall back on.

        Parameters
        ----------
        position
            [deg] Longitude and latitude of the place.

        Returns
        -------
        Those within a mile.
        """
        here = self._network.water.plane.to_plane([position])[0]
        near = _SAME_PLACE_NMI * METRES_PER_NMI
        spots = self._network.water.plane.to_plane([dock.position for dock in self._docks.values()])
        away = np.hypot(*(spots - here).T) if len(spots) else np.empty(0)
        return frozenset(d.name for d, m in zip(self._docks.values(), away.tolist(), strict=True) if m <= near)

    def name(self, dock: int) -> str:
        """Name a dock by its number.

        Parameters
        ----------
        dock
            As `least_burn_l` gives it.

        Returns
        -------
        Its name.
        """
        return self._docks[self._terminals[dock]].name

    def within(self, point: int, most_l: float, at: datetime, without: Collection[str] = ()) -> tuple[Fallback, ...]:
        """List the docks within a burn from one point, the one where she can fill soonest first.

        Parameters
        ----------
        point
            Number of the point.
        most_l
            [l] The most that may be burnt on the way.
        at
            When she leaves the point.
        without
            Names of docks that don't count.

        Returns
        -------
        Of the five nearest, each by its quickest way within that burn; those shut for more than a day are left out.
        """
        here = self._first + point
        near = sorted(zip(self._burn_l[:, point].tolist(), self._terminals, strict=True))
        wanted = [t for burn_l, t in near if burn_l <= most_l and self._docks[t].name not in without][:_MOST_STEERED]
        found = []
        for (_, terminal), ways in self._tracks.find([(here, terminal) for terminal in wanted], most_l).items():
            if terminal not in self._docks:
                continue  # the same way from its other end
            free = [way for way in ways if not self._gates.intersection(gate for gate, _, _ in way.gates)]
            if not free:
                continue
            fallback = self._fallback(self._docks[terminal], min(free, key=lambda way: way.time_h), at)
            if fallback is not None:
                found.append(fallback)
        return tuple(sorted(found, key=lambda f: (f.begin + (_OPEN_IS_WORTH if f.opens else _NOTHING), f.track.fuel_l)))

    def _fallback(self, dock: Dock, track: Track, at: datetime) -> Fallback | None:
        arrive = at + timedelta(hours=track.time_h)
        begin = self._begin(dock, arrive)
        if begin is None:
            return None
        return Fallback(dock, track, stretches_of(self._network.water.plane, track.bends), arrive, begin)


def stretches_of(plane: Plane, bends: Points) -> tuple[tuple[float, float], ...]:
    """Tell a way stretch by stretch, as it is steered by compass.

    Parameters
    ----------
    plane
        The region's metric plane.
    bends
        [m] n x 2 positions in it.

    Returns
    -------
    [deg, nmi] True initial course and length of each; bends that follow too close on the one before are left out.
    """
    kept = [bends[0]]
    for point in bends[1:-1]:
        if np.hypot(*(point - kept[-1])) > _SHORTEST_M:
            kept.append(point)
    ends = np.array([*kept, bends[-1]])
    courses, lengths = plane.courses_deg(ends[:-1], ends[1:]), plane.lengths_nmi(ends[:-1], ends[1:])
    return tuple(zip(courses.tolist(), lengths.tolist(), strict=True))
