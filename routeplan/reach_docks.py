"""What docks mean for reach: where some suitable dock can still be made, and the last one on each way out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from routeplan.dock_water import water_between
from routeplan.joining import SAME_PLACE_M, apart_m
from routeplan.leg_graph import Price
from routeplan.over_water import find_views
from routeplan.reach_areas import on_globe
from routeplan.reach_gates import can_pass, find_shut
from routeplan.reach_places import BERTHING_H, tell_refuel
from routeplan.reached import TurningPoint
from routeplan.spreading import leg_graph_of, spread
from routeplan.turning_back import find_turns
from routeplan.units_shown import shown_distance, shown_duration, shown_speed

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    import shapely

    from routeplan.docks import Dock
    from routeplan.outings import AskedReach
    from routeplan.spreading import Spread
    from routeplan.tracks import Track, Tracks
    from routeplan.turning_back import Turn

__all__ = ["DockReach", "docks_on_reserve", "find_docks"]

_LONGEST_WAIT = timedelta(hours=1)  # a dock that is shut for longer when she comes is none to count on
_LATEST = timedelta(days=3)  # nor is one, where there is no better, that stays shut for so long
_MOST_ROUNDS = 4
_MOST_ON_RESERVE = 3


@dataclass(frozen=True, eq=False)
class DockReach:
    """What docks mean for an outing.

    Parameters
    ----------
    counted
        Terminals of the docks that are counted on.
    left_out
        Docks in reach that suit but aren't counted on, with the reason; nearest first.
    water
        [deg] Where some counted dock can still be made, on the low figure; None where none is counted.
    turning_points
        Where each way out leaves that water, nearest first; those beyond the outing's own limits left out.
    onward
        Terminals from which some counted dock can still be made.
    """

    counted: tuple[int, ...]
    left_out: tuple[tuple[str, str], ...]
    water: shapely.MultiPolygon | None
    turning_points: tuple[TurningPoint, ...]
    onward: frozenset[int]


def find_docks(
    asked: AskedReach, tracks: Tracks, docks: Sequence[Dock], ways: Mapping[int, tuple[Track, ...]]
) -> DockReach:
    """Find which docks can be counted on, where some of them can still be made, and the last one on each way out.

    Parameters
    ----------
    asked
        The outing.
    tracks
        At the chosen speed.
    docks
        By row of the layer.
    ways
        Tracks from the start by terminal.

    Returns
    -------
    All of it.

    Notes
    -----
    A dock is counted on where it suits, nothing about it is doubtful, and it is open within the hour when she comes: by
    the direct way, and as the last dock on a way out. Where no such dock is in reach doubtful ones are, and where none
    is open those that open within three days; `TurningPoint.dock_note` says so.
    """
    network, price, budget_l = asked.network, Price.of_fuel(tracks.rates), asked.burn_l("low")
    passed = {t: [track for track in several if can_pass(asked, track)] for t, several in ways.items()}
    direct = {t: min(several, key=lambda track: track.fuel_l) for t, several in passed.items() if several}
    shut = find_shut(asked, tracks.rates, budget_l / tracks.rates.burn_lph[0])
    reached = {t: (track.time_h, track.fuel_l) for t, track in direct.items() if track.fuel_l <= budget_l}
    here = network.terminals[asked.start].place.position
    for t, terminal in enumerate(network.terminals):  # the start, and the dock that lies there by another name
        if terminal.entries and apart_m(here, terminal.place.position) < SAME_PLACE_M:
            reached[t] = (0.0, 0.0)
    suitable = [t for t in reached if _dock(asked, docks, t) is not None]
    why = {t: _why_not_counted(asked, docks, t, *reached[t]) for t in suitable}
    counted = _best_of(asked, docks, suitable, why)
    out = spread(network, [asked.start], price, budget_l, shut)
    turns: list[Turn] = []
    for _ in range(_MOST_ROUNDS):
        home = spread(network, sorted(counted), price, budget_l, shut)
        goals = find_views(home, budget_l)
        leading = {t: track for t, track in direct.items() if track.fuel_l + _onward_l(home, t, counted) > budget_l}
        turns = find_turns(tracks, asked.boat, leading, home, goals, budget_l)
        closed = {turn.dock: note for turn in turns if (note := _shut_note(asked, docks, turn))}
        if not closed or counted <= set(closed):
            break
        why.update(closed)
        counted -= set(closed)
    if not counted:
        return DockReach((), _told_out(asked, why, counted, reached), None, (), frozenset())
    water = water_between(out, home, goals, budget_l)
    ways_out, latest_h = (2 if asked.outing.out_and_back else 1), asked.outing.time_h or np.inf
    told = [
        _told(asked, docks, turn)
        for turn in turns
        if turn.fuel_l * ways_out <= asked.budget_l("low") and turn.time_h * ways_out <= latest_h
    ]
    onward = frozenset(t for t, track in direct.items() if track.fuel_l + _onward_l(home, t, counted) <= budget_l)
    left_out = _told_out(asked, why, counted, reached)
    return DockReach(tuple(sorted(counted)), left_out, on_globe(network.water.plane, water), tuple(told), onward)


def docks_on_reserve(asked: AskedReach, tracks: Tracks, docks: Sequence[Dock]) -> list[str]:
    """Name the nearest docks that can be made on the reserve, where there is nothing above it.

    Parameters
    ----------
    asked
        The outing.
    tracks
        At the chosen speed.
    docks
        By row of the layer.

    Returns
    -------
    A sentence each, nearest first: those that the low figure makes before the fuel that can't be drawn.
    """
    network, boat, units = asked.network, asked.boat, asked.boat.units
    here = network.terminals[asked.start].place.position
    suitable = [t for t, terminal in enumerate(network.terminals) if terminal.entries and _dock(asked, docks, t)]
    beside = [t for t in suitable if apart_m(here, network.terminals[t].place.position) < SAME_PLACE_M]
    if beside:
        return [f"fill up here: {network.terminals[beside[0]].place.name}"]
    found = tracks.find([(asked.start, t) for t in suitable], asked.outing.aboard.mean_l - boat.tank.unusable_l)
    told = []
    for (start, t), several in sorted(found.items(), key=lambda item: min(track.fuel_l for track in item[1])):
        if start != asked.start:
            continue
        track = min(several, key=lambda w: w.fuel_l)
        left_l = asked.low_l(track.fuel_l) - boat.tank.unusable_l
        if left_l < 0:
            continue
        _, note = tell_refuel(asked, docks[network.terminals[t].place.row], track.time_h, track.fuel_l)
        told.append(
            f"on the reserve: {network.terminals[t].place.name}{f' ({note})' if note else ''}, "
            f"{shown_distance(track.distance_nmi)} over water, {shown_duration(track.time_h)} at "
            f"{shown_speed(track.speed_kn)}; {units.volume_down(left_l)} above what can't be drawn is left there (low)"
        )
    return told[:_MOST_ON_RESERVE]


def _dock(asked: AskedReach, docks: Sequence[Dock], terminal: int) -> Dock | None:
    """Return the dock at a terminal, if it suits."""
    place = asked.network.terminals[terminal].place
    return docks[place.row] if place.kind == "dock" and docks[place.row].suits else None


def _wait(asked: AskedReach, dock: Dock, time_h: float) -> timedelta:
    """Tell how long she would wait at a dock, coming so many hours after the departure."""
    arrive = asked.outing.depart + timedelta(hours=time_h)
    try:
        return dock.begin_fill(arrive, BERTHING_H) - arrive
    except NeverOpensError:
        return timedelta.max


def _why_not_counted(asked: AskedReach, docks: Sequence[Dock], terminal: int, time_h: float, burned_l: float) -> str:
    """Say why a dock isn't counted on, coming by the direct way; empty where it is."""
    dock = docks[asked.network.terminals[terminal].place.row]
    shut = _wait(asked, dock, time_h) > _LONGEST_WAIT
    return tell_refuel(asked, dock, time_h, burned_l)[1] if shut else "; ".join(dock.doubts)


def _best_of(asked: AskedReach, docks: Sequence[Dock], suitable: Sequence[int], why: Mapping[int, str]) -> set[int]:
    """Choose the docks that are counted on; where nothing is known well, what there is."""
    good = {t for t in suitable if not why[t]}
    if good:
        return good
    waits = {t: _wait(asked, docks[asked.network.terminals[t].place.row], 0.0) for t in suitable}
    open_soon = {t for t in suitable if waits[t] <= _LONGEST_WAIT}
    return open_soon or {t for t in suitable if waits[t] <= _LATEST}


def _onward_l(home: Spread, terminal: int, counted: Collection[int]) -> float:
    """[l] Least burn from a place to a counted dock."""
    return 0.0 if terminal in counted else leg_graph_of(home.network).arrive(terminal, home.away, home.price)[0]


def _shut_note(asked: AskedReach, docks: Sequence[Dock], turn: Turn) -> str:
    """Say when a last dock opens that is shut when she would come to it; empty where it is open."""
    dock = docks[asked.network.terminals[turn.dock].place.row]
    there_h, burned_l = turn.time_h + turn.back.time_h, turn.fuel_l + turn.back.fuel_l
    if _wait(asked, dock, there_h) <= _LONGEST_WAIT:
        return ""
    return tell_refuel(asked, dock, there_h, burned_l)[1]


def _told_out(
    asked: AskedReach, why: Mapping[int, str], counted: Collection[int], reached: Mapping[int, tuple[float, float]]
) -> tuple[tuple[str, str], ...]:
    """Name the docks that aren't counted on, nearest first."""
    names = {t: asked.network.terminals[t].place.name for t in why}
    order = sorted((reached[t][1], names[t], t) for t in why if t not in counted)
    return tuple((name, why[t]) for _, name, t in order)


def _told(asked: AskedReach, docks: Sequence[Dock], turn: Turn) -> TurningPoint:
    network = asked.network
    plane = network.water.plane
    position = plane.to_lonlat([turn.xy])[0]
    start = plane.to_plane([network.terminals[asked.start].place.position])
    dock = network.terminals[turn.dock].place
    return TurningPoint(
        position=(float(position[0]), float(position[1])),
        towards=tuple(network.terminals[t].place.name for t in turn.towards),
        course_deg=float(plane.courses_deg(start, np.array([turn.xy]))[0]),
        speed_kn=turn.back.speed_kn,
        distance_nmi=turn.distance_nmi,
        time_h=turn.time_h,
        fuel_l=turn.fuel_l,
        dock=dock.name,
        dock_distance_nmi=turn.back.distance_nmi,
        dock_time_h=turn.back.time_h,
        aboard_at_dock_low_l=asked.low_l(turn.fuel_l + turn.back.fuel_l),
        dock_note=tell_refuel(asked, docks[dock.row], turn.time_h + turn.back.time_h, turn.fuel_l + turn.back.fuel_l)[
            1
        ],
    )
