"""Which places are in reach, what it takes to get there and back, and whether a boat could refuel there."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from layers.plane import METRES_PER_NMI
from routeplan.joining import SAME_PLACE_M, apart_m
from routeplan.reach_gates import can_pass
from routeplan.reached import InReach

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from routeplan.docks import Dock
    from routeplan.network import Place
    from routeplan.outings import AskedReach
    from routeplan.reached import Refuel
    from routeplan.tracks import Track, Tracks

__all__ = ["BERTHING_H", "BESIDE_NMI", "find_places", "find_ways", "tell_refuel"]

BERTHING_H = 0.25  # [h] alongside besides pumping, when it is asked whether a dock is open for long enough
BESIDE_NMI = 0.3  # [nmi] a dock so near to a harbour or anchorage is its own
_KINDS = ("dock", "harbour", "anchorage")
_A_WEEK = timedelta(days=6)  # an opening further off is told with its date
_BEST_FIRST: tuple[Refuel, ...] = ("yes", "doubtful", "opens later", "no")


def find_ways(asked: AskedReach, tracks: Tracks) -> dict[int, tuple[Track, ...]]:
    """Find the ways to every dock, harbour and anchorage, in reach or not.

    Parameters
    ----------
    asked
        The outing.
    tracks
        At the chosen speed.

    Returns
    -------
    Tracks from the start by terminal; places that can't be reached over water are left out, and so is the start.
    """
    network, start = asked.network, asked.start
    here = network.terminals[start].place.position
    places = [
        i
        for i, t in enumerate(network.terminals)
        if i != start and t.entries and t.place.kind in _KINDS and apart_m(here, t.place.position) > SAME_PLACE_M
    ]
    found = tracks.find([(start, place) for place in places])
    return {place: found[start, place] for place in places if (start, place) in found}


def find_places(
    asked: AskedReach, docks: Sequence[Dock], ways: Mapping[int, tuple[Track, ...]], onward: Collection[int]
) -> tuple[InReach, ...]:
    """List the places in reach on the low figure, within the outing's limits.

    Parameters
    ----------
    asked
        The outing.
    docks
        By row of the layer.
    ways
        Tracks from the start by terminal.
    onward
        Terminals from which some dock can still be made.

    Returns
    -------
    Places, nearest first; those that the boat can't come back from only where she needn't.
    """
    outing, found = asked.outing, []
    for terminal, several in ways.items():
        fitting: list[tuple[float, int, Track, Track | None]] = []
        for track in several:
            back = _way_back(asked, track, several)
            both_l, both_h = track.fuel_l, track.time_h
            if outing.out_and_back:
                both_l, both_h = (both_l + back.fuel_l, both_h + back.time_h) if back else (np.inf, np.inf)
            in_time = outing.time_h is None or both_h <= outing.time_h
            if both_l <= asked.budget_l("low") and in_time and can_pass(asked, track):
                fitting.append((track.fuel_l, len(fitting), track, back))
        if fitting:
            _, _, track, back = min(fitting)
            place = asked.network.terminals[terminal].place
            found.append(_place(asked, place, docks, track, back, onward=terminal in onward))
    return tuple(sorted(found, key=lambda p: (p.distance_nmi, p.name)))


def _way_back(asked: AskedReach, out: Track, several: Sequence[Track]) -> Track | None:
    """Find the way back that burns least, if she turns round at once: gates may have shut behind her."""
    passed = [track for track in several if can_pass(asked, track, out.time_h, back=True)]
    return min(passed, key=lambda track: track.fuel_l, default=None)


def tell_refuel(asked: AskedReach, dock: Dock, track_h: float, burned_l: float) -> tuple[Refuel, str]:
    """Tell whether the boat could fill to the mark at a dock when she comes.

    Parameters
    ----------
    asked
        The outing.
    dock
        The dock.
    track_h, burned_l
        [h, l] Time and mean burn until she is there.

    Returns
    -------
    Whether she could; and why not, when it opens, or what is doubtful.
    """
    if not dock.suits:
        return "no", "; ".join(dock.why_not)
    arrive = asked.outing.depart + timedelta(hours=track_h)
    take_l = max(asked.boat.tank.full_mark_l - (asked.outing.aboard.mean_l - burned_l), 0.0)
    try:
        begin = dock.begin_fill(arrive, dock.fill_h(take_l, BERTHING_H))
    except NeverOpensError:
        return "no", "doesn't open for long enough"
    if begin > arrive:
        local = begin.astimezone(asked.network.region.zone)
        same_day = local.date() == arrive.astimezone(local.tzinfo).date()
        date = "" if begin - arrive < _A_WEEK else f"{local.day} {local:%b} "
        day = "" if same_day else f"{local:%a} {date}"
        return "opens later", "; ".join([f"opens {day}{local:%H:%M}", *dock.doubts])
    return ("doubtful", "; ".join(dock.doubts)) if dock.doubts else ("yes", "")


def _place(
    asked: AskedReach, place: Place, docks: Sequence[Dock], track: Track, back: Track | None, *, onward: bool
) -> InReach:
    mean_l, floor_l = asked.outing.aboard.mean_l, asked.boat.floor_l
    both_l = track.fuel_l + (back or track).fuel_l
    arrival_low_l, return_low_l = asked.low_l(track.fuel_l), asked.low_l(both_l)
    refuel, note = _refuel(asked, place, docks, track)
    return InReach(
        name=place.name,
        kind=place.kind,
        position=place.position,
        speed_kn=track.speed_kn,
        distance_nmi=track.distance_nmi,
        time_h=track.time_h,
        fuel_l=track.fuel_l,
        fuel_there_and_back_l=both_l,
        aboard_on_arrival_l=mean_l - track.fuel_l,
        aboard_on_arrival_low_l=arrival_low_l,
        margin_low_l=arrival_low_l - floor_l,
        aboard_on_return_l=mean_l - both_l,
        aboard_on_return_low_l=return_low_l,
        there_and_back=back is not None and return_low_l >= floor_l,
        dock_still_in_reach=onward,
        refuel=refuel,
        refuel_note=note,
        gates=tuple(asked.network.water.gates[gate].name for gate, _, _ in track.gates),
        crosses=track.crosses,
    )


def _refuel(asked: AskedReach, place: Place, docks: Sequence[Dock], track: Track) -> tuple[Refuel, str]:
    """Tell whether she could refuel at a place: at the dock itself, or at the best of the docks beside it."""
    if place.kind == "dock":
        return tell_refuel(asked, docks[place.row], track.time_h, track.fuel_l)
    beside = [
        (_BEST_FIRST.index(refuel), note, t.place.name)
        for t in asked.network.terminals
        if t.place.kind == "dock"
        and t.entries
        and apart_m(place.position, t.place.position) < BESIDE_NMI * METRES_PER_NMI
        for refuel, note in [tell_refuel(asked, docks[t.place.row], track.time_h, track.fuel_l)]
    ]
    if not beside:
        return "no", ""
    rank, note, name = min(beside)
    return _BEST_FIRST[rank], f"at {name}{': ' if note else ''}{note}"
