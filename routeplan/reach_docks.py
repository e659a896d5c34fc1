"""What docks mean for reach: where some suitable dock can still be made, and the last one on each way out."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from routeplan.dock_water import water_between
from routeplan.leg_graph import LegGraph, Price
from routeplan.over_water import find_views, spread
from routeplan.reach_areas import on_globe
from routeplan.reach_places import BERTHING_H, tell_refuel
from routeplan.reached import TurningPoint
from routeplan.turning_back import find_turns

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import shapely

    from routeplan.docks import Dock
    from routeplan.outings import AskedReach
    from routeplan.tracks import Track, Tracks
    from routeplan.turning_back import Turn

__all__ = ["find_dock_water", "find_suitable"]

_LATEST = timedelta(days=3)  # a dock that stays shut for so long after the departure is none to count on


def find_suitable(asked: AskedReach, docks: Sequence[Dock]) -> tuple[int, ...]:
    """List the docks that a boat in need can count on: they suit her, and they open soon.

    Parameters
    ----------
    asked
        The outing.
    docks
        By row of the layer.

    Returns
    -------
    Terminals, the start among them if it is such a dock.
    """
    return tuple(
        i
        for i, t in enumerate(asked.network.terminals)
        if t.place.kind == "dock" and t.entries and docks[t.place.row].suits and _opens_soon(asked, docks[t.place.row])
    )


def find_dock_water(
    asked: AskedReach,
    tracks: Tracks,
    docks: Sequence[Dock],
    suitable: Sequence[int],
    ways: Mapping[int, tuple[Track, ...]],
) -> tuple[shapely.MultiPolygon | None, tuple[TurningPoint, ...]]:
    """Find the water from which some suitable dock can still be made, and where each way out leaves it.

    Parameters
    ----------
    asked
        The outing.
    tracks
        At the chosen speed.
    docks
        By row of the layer.
    suitable
        Terminals of the docks that count.
    ways
        Tracks from the start by terminal.

    Returns
    -------
    [deg] The water, None where no dock counts; and the points of no return, nearest first, those beyond the outing's
    own limits left out. Both on the low figure.
    """
    if not suitable:
        return None, ()
    network, price, budget_l = asked.network, Price.of_fuel(tracks.rates), asked.burn_l("low")
    out = spread(network, [asked.start], price, budget_l)
    home = spread(network, suitable, price, budget_l)
    goals = find_views(home, budget_l)
    water = water_between(out, home, goals, budget_l)
    legs = LegGraph(network)
    leading: dict[int, Track] = {}
    for terminal, several in ways.items():
        track = min(several, key=lambda t: t.fuel_l)
        on_l, _ = legs.arrive(terminal, home.away, price)
        if track.fuel_l + (0.0 if terminal in suitable else on_l) > budget_l:
            leading[terminal] = track
    ways_out = 2 if asked.outing.out_and_back else 1
    latest_h = asked.outing.time_h or np.inf
    turns = [
        turn
        for turn in find_turns(tracks, asked.boat, leading, home, goals, budget_l)
        if turn.fuel_l * ways_out <= asked.budget_l("low") and turn.time_h * ways_out <= latest_h
    ]
    return on_globe(network.water.plane, water), tuple(_told(asked, docks, turn) for turn in turns)


def _opens_soon(asked: AskedReach, dock: Dock) -> bool:
    try:
        begin = dock.begin_fill(asked.outing.depart, BERTHING_H)
    except NeverOpensError:
        return False
    return begin <= asked.outing.depart + _LATEST


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
