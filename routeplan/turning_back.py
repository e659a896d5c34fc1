"""Points of no return: how far each way out may be followed before no suitable dock is left in reach."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from layers.plane import METRES_PER_NMI
from routeplan.dock_water import least_price
from routeplan.network import Place, join_places, split_by_speed_area
from routeplan.places import write_position
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.over_water import Views
    from routeplan.spreading import Spread
    from routeplan.tracks import Track

    Points = NDArray[np.float64]

__all__ = ["Turn", "Way", "find_turns", "walk_track"]

_STATION_M = 500.0  # [m] between the points of a way that are tried first
_NEARER = 25  # points that are then tried between the last good one and the next
_SAME_WAY_NMI = 0.5  # [nmi] points of no return that lie nearer than this are one
_ONE_FORK_NMI = 5.0  # [nmi] and with the same last dock so are those nearer than this
_ONE_DIRECTION = np.radians(20)  # [rad] if they lie within so much of one direction from the start
_AT_START_NMI = 0.02  # [nmi] a point so near to the start says nothing
_STEERED_SHARE = 1e-3  # of the budget: a steered track is so much longer than the shortest, or less
_MOST_TRIES = 4


@dataclass(frozen=True, eq=False)
class Turn:
    """A point of no return.

    Parameters
    ----------
    xy
        [m] Where it is, in the plane.
    towards
        Terminals that its way out leads to, nearest first.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] From the start, along the way out.
    dock
        Terminal of the dock that is the last.
    back
        The track from the point to the dock.
    """

    xy: tuple[float, float]
    towards: tuple[int, ...]
    distance_nmi: float
    time_h: float
    fuel_l: float
    dock: int
    back: Track


@dataclass(frozen=True, eq=False)
class Way:
    """A way with what it has cost at each of its points.

    Parameters
    ----------
    target
        Terminal that it leads to.
    xy
        [m] n x 2 points in the plane.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] From its beginning to each of them.
    """

    target: int
    xy: Points
    distance_nmi: Points
    time_h: Points
    fuel_l: Points

    def at(self, distance_nmi: Points) -> tuple[Points, Points, Points]:
        """Return positions, hours and litres at distances along it.

        Parameters
        ----------
        distance_nmi
            [nmi] From its beginning.

        Returns
        -------
        [m, h, l] One of each a distance.
        """
        x, y, hours, litres = (
            np.interp(distance_nmi, self.distance_nmi, values)
            for values in (self.xy[:, 0], self.xy[:, 1], self.time_h, self.fuel_l)
        )
        return np.column_stack([x, y]), hours, litres


def find_turns(
    tracks: Tracks, boat: Boat, ways: Mapping[int, Track], home: Spread, goals: Views, budget_l: float
) -> list[Turn]:
    """Find the point of no return on each way out.

    Parameters
    ----------
    tracks
        At the chosen speed.
    boat
        Whose burn counts.
    ways
        Tracks from the start by the terminal that they lead to, none of which is a dock in reach.
    home
        Litres from the suitable docks.
    goals
        Its views, at this budget or more.
    budget_l
        [l] Mean burn that the arrival rule leaves.

    Returns
    -------
    The points, nearest first; ways out that part later share one. At each the dock's track is steered, and out and on
    together burn no more than the budget.
    """
    walked = [walk_track(tracks, target, track) for target, track in ways.items()]
    lasts = _last_good(walked, home, goals, budget_l * (1 - _STEERED_SHARE))
    found = [(w, last) for w, last in zip(walked, lasts, strict=True) if last is not None and last > _AT_START_NMI]
    found.sort(key=lambda f: (f[1], f[0].target))
    groups: list[list[tuple[Way, float]]] = []
    for way, last in found:
        here = way.at(np.array([last]))[0][0]
        for group in groups:
            first, its = group[0]
            there = first.at(np.array([its]))[0][0]
            if np.hypot(*(here - there)) < _SAME_WAY_NMI * METRES_PER_NMI:
                group.append((way, last))
                break
        else:
            groups.append([(way, last)])
    turns = []
    for group in groups:
        group.sort(key=lambda f: f[1])
        order = sorted((float(way.distance_nmi[-1]), way.target) for way, _ in group)
        turn = _steered(tracks, boat, *group[0], tuple(t for _, t in order), home, goals, budget_l)
        if turn is not None:
            turns.append(turn)
    return _merged(sorted(turns, key=lambda turn: turn.distance_nmi), {way.target: way for way, _ in found})


def _merged(turns: Sequence[Turn], ways: Mapping[int, Way]) -> list[Turn]:
    """Let forks of one way out share the point that comes first, where their last dock is the same."""
    lengths_nmi = {target: float(way.distance_nmi[-1]) for target, way in ways.items()}
    kept: list[Turn] = []
    for turn in turns:
        start = ways[turn.towards[0]].xy[0]
        for i, first in enumerate(kept):
            if first.dock == turn.dock and _lie_one_way(start, np.array(first.xy), np.array(turn.xy)):
                towards = sorted({*first.towards, *turn.towards}, key=lambda t: (lengths_nmi[t], t))
                kept[i] = replace(first, towards=tuple(towards))
                break
        else:
            kept.append(turn)
    return kept


def _lie_one_way(start: Points, a: Points, b: Points) -> bool:
    """Tell whether two points lie near one another, and in about the same direction from the start."""
    (ax, ay), (bx, by) = a - start, b - start
    angle = abs(np.arctan2(ax * by - ay * bx, ax * bx + ay * by))
    return bool(np.hypot(*(a - b)) < _ONE_FORK_NMI * METRES_PER_NMI and angle < _ONE_DIRECTION)


def walk_track(tracks: Tracks, target: int, track: Track) -> Way:
    """Lay points along a track, with distance, time and mean burn at each.

    Parameters
    ----------
    tracks
        At the speed that it is run at.
    target
        Terminal that it leads to.
    track
        The track.

    Returns
    -------
    A point every half a kilometre, and at each bend.
    """
    network, rates = tracks.network, tracks.rates
    xy = [track.bends[:1]]
    slow: list[bool] = []
    begins: list[int] = []  # the steps that gates begin with
    before = ""
    for (a, b), kind in zip(pairwise(track.bends), track.kinds, strict=True):
        if kind == "gate" and before != "gate":
            begins.append(len(slow))
        before = kind
        count = max(1, int(np.ceil(np.hypot(*(b - a)) / _STATION_M)))
        share = np.arange(1, count + 1)[:, None] / count
        xy.append(a + (b - a) * share)
        slow += [kind != "leg"] * count
    points = np.vstack(xy)
    lengths = split_by_speed_area(network.water, points[:-1], points[1:])
    is_slow = np.array(slow)
    hours = np.where(is_slow, lengths @ rates.slow_hours_per_nmi, lengths @ rates.hours_per_nmi)
    litres = np.where(is_slow, lengths @ rates.slow_litres_per_nmi, lengths @ rates.litres_per_nmi)
    waits = iter(network.water.gates[gate].wait_h for gate, _, _ in track.gates)
    for at in begins:
        waited_h = next(waits)
        hours[at] += waited_h
        litres[at] += waited_h * rates.idle_lph
    sums = [np.concatenate([[0.0], np.cumsum(values)]) for values in (lengths.sum(axis=1), hours, litres)]
    return Way(target, points, *sums)


def _last_good(ways: Sequence[Way], home: Spread, goals: Views, limit_l: float) -> list[float | None]:
    """[nmi] Find how far each way may be followed; None where not even its beginning will do."""
    if not ways:
        return []
    lasts: list[float | None] = [None] * len(ways)
    narrow: dict[int, Points] = {}  # where a way breaks, in fine steps
    needed = _home_l([(way.xy, way.fuel_l) for way in ways], home, goals)
    for i, (way, home_l) in enumerate(zip(ways, needed, strict=True)):
        good = way.fuel_l + home_l <= limit_l
        if not good.any():
            continue
        bad = np.flatnonzero(~good[np.argmax(good) :]) + np.argmax(good)
        if len(bad):
            narrow[i] = np.linspace(way.distance_nmi[bad[0] - 1], way.distance_nmi[bad[0]], _NEARER)
        else:
            lasts[i] = float(way.distance_nmi[-1])
    points = {i: ways[i].at(between) for i, between in narrow.items()}
    needed = _home_l([(xy, litres) for xy, _, litres in points.values()], home, goals)
    for (i, (_, _, litres)), home_l in zip(points.items(), needed, strict=True):
        good = litres + home_l <= limit_l
        lasts[i] = float(narrow[i][max(int(np.argmin(good)) - 1, 0)])
    return lasts


def _home_l(ways: Sequence[tuple[Points, Points]], home: Spread, goals: Views) -> list[Points]:
    """[l] Least burn from points of ways, given with what was burned up to them, to a dock.

    A point of a steered track may lie a hair outside the water that views are drawn on; then what the point before or
    after it needs, and the stretch between, is a bound from above.
    """
    if not ways:
        return []
    points, place = np.unique(np.vstack([xy for xy, _ in ways]), axis=0, return_inverse=True)  # ways begin alike
    priced, _ = least_price(home, goals, points)
    needed = np.split(priced[place.reshape(-1)], np.cumsum([len(xy) for xy, _ in ways])[:-1])
    for some, (_, spent_l) in zip(needed, ways, strict=True):
        steps = np.diff(spent_l)
        for i in range(1, len(some)):
            some[i] = min(some[i], some[i - 1] + steps[i - 1])
        for i in range(len(some) - 2, -1, -1):
            some[i] = min(some[i], some[i + 1] + steps[i])
    return needed


def _steered(
    tracks: Tracks,
    boat: Boat,
    way: Way,
    last_nmi: float,
    towards: Sequence[int],
    home: Spread,
    goals: Views,
    budget_l: float,
) -> Turn | None:
    """Steer from the point to its dock; where that burns too much, the point moves back."""
    for _ in range(_MOST_TRIES):
        xy, hours, litres = way.at(np.array([last_nmi]))
        _, view = least_price(home, goals, xy)
        if view[0] < 0:  # a hair outside the water: a little further back it is inside
            last_nmi -= 0.01
            continue
        dock = int(home.source[goals.node[view[0]]])
        lonlat = tracks.network.water.plane.to_lonlat(xy)[0]
        position = (float(lonlat[0]), float(lonlat[1]))
        grown = join_places(tracks.network, [Place(write_position(position), "position", position)])
        here = len(grown.terminals) - 1
        back = Tracks(grown, boat, tracks.rates.speed_kn[0]).find([(here, dock)]).get((here, dock), ())
        if not back:
            return None
        least = min(back, key=lambda t: t.fuel_l)
        over_l = float(litres[0]) + least.fuel_l - budget_l
        if over_l <= 0:
            return Turn(
                (float(xy[0, 0]), float(xy[0, 1])),
                tuple(towards),
                last_nmi,
                float(hours[0]),
                float(litres[0]),
                dock,
                least,
            )
        last_nmi -= over_l / float(tracks.rates.litres_per_nmi.min()) + 0.01
        if last_nmi <= 0:
            return None
    return None
