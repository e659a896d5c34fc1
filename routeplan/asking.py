"""A trip resolved against a network: which places, which docks, at which speed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pyproj import Geod

from layers.errors import InputError
from routeplan.docks import Dock, read_docks
from routeplan.fuel import greatest_burn_l, z_of
from routeplan.network import Network, Place, join_places
from routeplan.places import looks_like_position, nearest_names, read_position, write_position
from routeplan.problem import Problem
from routeplan.tracks import Rates, Tracks, build_dock_graph

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.trips import Trip

__all__ = ["Question", "ask", "join_place", "resolve_place"]

_ABSENT = {
    "land": "NOTHING keeps the track off the land",
    "hazards": "rocks and wrecks are not kept off",
    "zones": "no speed limit or closed area is known",
    "overhead": "bridges and cables are not known",
    "openings": "no bridge or lock counts as opening",
    "docks": "there is nowhere to take fuel",
    "currents": "tidal streams are not known",
}
_SAME_PLACE_M = 20.0  # [m] positions are shown to a hundredth of a minute, 19 m


@dataclass(frozen=True, eq=False)
class Question:
    """A trip, resolved against a network: all that a search needs.

    Parameters
    ----------
    network
        With the trip's positions joined.
    boat, trip
        As asked.
    docks
        By row of the layer.
    by_terminal
        Suitable, reachable docks by terminal.
    start
        Terminal.
    targets
        Terminals of the vias and the destination.
    speeds_kn
        [kn] Speeds that a hop may be run at, the chosen one first.
    """

    network: Network
    boat: Boat
    trip: Trip
    docks: tuple[Dock, ...]
    by_terminal: Mapping[int, Dock]
    start: int
    targets: tuple[int, ...]
    speeds_kn: tuple[float, ...]

    @property
    def speed_kn(self) -> float:
        """[kn] The chosen speed, the fastest that is planned."""
        return self.speeds_kn[0]

    def tracks(self) -> tuple[Tracks, ...]:
        """Set up the tracks.

        Returns
        -------
        One set a speed.
        """
        return tuple(Tracks(self.network, self.boat, speed_kn) for speed_kn in self.speeds_kn)

    def problem(self, tracks: Sequence[Tracks], docks: Mapping[int, Dock] | None = None) -> Problem:
        """Set the search up.

        Parameters
        ----------
        tracks
            For the boat at the speeds to plan with.
        docks
            Docks to fill at; the suitable ones where None.

        Returns
        -------
        The search, on the graph of all hops that a full tank, or the fuel aboard, could make down to the unusable fuel.
        """
        boat, trip = self.boat, self.trip
        docks = self.by_terminal if docks is None else docks
        z = z_of(trip.confidence)
        most_l = max(
            greatest_burn_l(mean, sd, boat.burn.sd_share, z, boat.tank.unusable_l)  # an alternate may cost the reserve
            for mean, sd in ((trip.aboard.mean_l, trip.aboard.sd_l), (boat.tank.full_mark_l, boat.full_mark_sd_l))
        )
        sources = {self.start, *docks, *self.targets[:-1]}
        pairs = [(a, b) for a in sources for b in {*docks, *self.targets} if a != b]
        terminals = self.network.terminals
        lying = {i for i, t in enumerate(terminals) if t.place.kind in ("dock", "harbour", "anchorage")}
        graph = build_dock_graph(tracks, pairs, most_l)
        graph.add_nodes_from([self.start, *self.targets])
        return Problem(
            network=self.network,
            graph=graph,
            docks=docks,
            start=self.start,
            targets=self.targets,
            depart=trip.depart,
            mean_l=trip.aboard.mean_l,
            sd_l=trip.aboard.sd_l,
            full_l=boat.tank.full_mark_l,
            full_sd_l=boat.full_mark_sd_l,
            floor_l=boat.floor_l,
            sd_share=boat.burn.sd_share,
            z=z,
            berthing_h=trip.berthing_h,
            may_wait=frozenset(lying | {self.start}),
            unusable_l=boat.tank.unusable_l,
            closed_dock=trip.closed_dock,
            fill_first=trip.fill_first,
            guess_price_per_l=max((d.price_per_l for d in docks.values() if d.price_per_l is not None), default=0.0),
        )


def ask(network: Network, trip: Trip, boat: Boat, now: datetime) -> tuple[Question, list[str]]:
    """Resolve a trip's names, speed and docks.

    Parameters
    ----------
    network
        Built for the boat.
    trip
        What is asked.
    boat
        Whose burn counts.
    now
        The clock.

    Returns
    -------
    The question, and what was found doubtful on the way, in sentences.

    Raises
    ------
    InputError
        A place is unknown or can't be reached from water, or the boat can't be planned at the speed.
    """
    speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
    _check_speed(boat, speed_kn)
    network, ends = _join_ends(network, trip)
    notes = _notes(network, ends)
    if trip.depart < now:
        notes.append("The departure lies in the past.")
    docks = read_docks(
        network.region,
        boat,
        network.water.margins.under_keel_m,
        now.astimezone(network.region.zone).date(),
        known_only=trip.known_docks_only,
        confirmed_only=trip.confirmed_docks_only,
    )
    by_terminal = {
        i: docks[t.place.row]
        for i, t in enumerate(network.terminals)
        if t.place.kind == "dock" and docks[t.place.row].suits and t.entries
    }
    if trip.fill_first and ends[0] not in by_terminal:
        _refuse_fill_first(network, boat, docks, ends[0])
    speeds = _speeds_kn(network, boat, speed_kn) if trip.slower else (speed_kn,)
    return Question(network, boat, trip, docks, by_terminal, ends[0], tuple(ends[1:]), speeds), notes


def _speeds_kn(network: Network, boat: Boat, fastest_kn: float) -> tuple[float, ...]:
    """[kn] List the speeds a hop may be run at, the chosen one first; one that is nowhere of use is left out."""
    speeds = [fastest_kn, *sorted((v for v in boat.offered_speeds_kn if v < fastest_kn), reverse=True)]
    costs = []
    for speed_kn in speeds:
        rates = Rates.of(boat, network, speed_kn)
        by_time = [rates.hours_per_nmi, rates.slow_hours_per_nmi]
        costs.append(np.concatenate([*by_time, rates.litres_per_nmi, rates.slow_litres_per_nmi]))
    return tuple(
        v
        for i, v in enumerate(speeds)
        if not any((costs[j] <= costs[i]).all() and (j < i or (costs[j] < costs[i]).any()) for j in range(len(speeds)))
    )


def _refuse_fill_first(network: Network, boat: Boat, docks: Sequence[Dock], start: int) -> None:
    place = network.terminals[start].place
    if place.kind == "dock":
        dock = docks[place.row]
        raise InputError(
            "--fill-first",
            f"{boat.name} can't fill at {place.name}: {'; '.join(dock.why_not) or 'out of reach from open water'}",
            remedy="leave --fill-first out",
        )
    near = sorted((_apart_m(place, t.place), t.place.name) for t in network.terminals if _is_good(t.place, docks))
    offer = f"begin at {near[0][1]}, the nearest that does, or leave --fill-first out" if near else "leave it out"
    raise InputError("--fill-first", f"{place.name} sells no fuel", remedy=offer)


def _is_good(place: Place, docks: Sequence[Dock]) -> bool:
    return place.kind == "dock" and docks[place.row].suits


def _check_speed(boat: Boat, speed_kn: float) -> None:
    boat.burn_lph(speed_kn, "--speed")
    slowest_kn = min(boat.no_wake_kn, boat.burn.speed_kn[0])
    if speed_kn < slowest_kn:
        raise InputError(
            "--speed",
            f"slower than {slowest_kn:g} kn, the least that {boat.name}'s file speaks of",
            value=f"{speed_kn:g} kn",
            remedy="choose a speed of her burn table",
        )
    if boat.steady_kn(speed_kn) != speed_kn:
        low, high = boat.burn.unsteady_kn or (0.0, 0.0)
        raise InputError(
            "--speed",
            f"{boat.name} can't hold a speed between {low:g} and {high:g} kn",
            value=f"{speed_kn:g} kn",
            remedy=f"choose {low:g} kn or {high:g} kn",
        )


def _join_ends(network: Network, trip: Trip) -> tuple[Network, list[int]]:
    """Join start, vias and finish, each of which has to lie somewhere else than the one before."""
    where = ["FROM", *(f"--via {v}" for v in trip.via), "TO"]
    ends: list[int] = []
    for text, option in zip((trip.start, *trip.via, trip.finish), where, strict=True):
        network, index = join_place(network, text, option)
        if ends:
            before, here = network.terminals[ends[-1]].place, network.terminals[index].place
            if _apart_m(before, here) < _SAME_PLACE_M:
                also = "" if here.name == before.name else f", {before.name}"
                raise InputError(
                    option, f"{here.name} is where the boat is already{also}", remedy="name another, or --via one"
                )
        ends.append(index)
    return network, ends


def _notes(network: Network, ends: Sequence[int]) -> list[str]:
    """Say what is doubtful about the ends and the region, in sentences."""
    notes = []
    for index in ends:
        terminal = network.terminals[index]
        if terminal.attachment.inland_m > 0:
            inland = f"{terminal.attachment.inland_m:.0f} m"
            notes.append(f"{terminal.place.name} lies {inland} on land: taken from the nearest shore.")
    if not network.water.depth_checked:
        notes.append("The region has no depth layer: depth was not checked on any leg.")
    elif network.water.margins.allow_unsurveyed:
        notes.append(
            "Unsurveyed water was allowed: where a leg runs over it, depth was not checked, and the leg says so."
        )
    absent = [name for name in network.region.frames if name not in network.region.present and name in _ABSENT]
    notes += [f"The region has no {name} layer: {_ABSENT[name]}." for name in absent]
    return notes + [f"{finding[0].upper()}{finding[1:]}." for finding in network.water.findings]


def resolve_place(network: Network, text: str, where: str) -> Place:
    """Find the place that a text names.

    Parameters
    ----------
    network
        Its terminals are the known places.
    text
        A dock's or waypoint's name, or a position.
    where
        The option that it came from.

    Returns
    -------
    The place.

    Raises
    ------
    InputError
        No place has that name; the nearest names are offered.
    """
    wanted = " ".join(text.split()).casefold()
    named = [t.place for t in network.terminals if t.place.name.casefold() == wanted]
    for other in named[1:]:
        if _apart_m(named[0], other) > _SAME_PLACE_M:
            choices = "; ".join(f"{write_position(p.position)} ({p.kind})" for p in named)
            raise InputError(
                where, f"{len(named)} places have this name", value=text, remedy=f"give one's position: {choices}"
            )
    if named:
        return named[0]
    if looks_like_position(text):
        position = read_position(text, where)
        return Place(write_position(position), "position", position)
    near = nearest_names(text, [t.place.name for t in network.terminals])
    offer = f"did you mean {' or '.join(near)}?" if near else "routeplan docks and region show list the names"
    raise InputError(where, "no dock or waypoint has this name", value=text, remedy=offer)


def join_place(network: Network, text: str, where: str) -> tuple[Network, int]:
    """Resolve a place and join it to the network.

    Parameters
    ----------
    network
        The network.
    text
        A name or a position.
    where
        The option that it came from.

    Returns
    -------
    The network, grown if the place is new, and the place's terminal.

    Raises
    ------
    InputError
        The place is unknown, or can't be reached from navigable water.
    """
    place = resolve_place(network, text, where)
    known = {t.place: i for i, t in enumerate(network.terminals)}
    if place not in known:
        network = join_places(network, [place])
        known[place] = len(network.terminals) - 1
    terminal = network.terminals[known[place]]
    if terminal.attachment.why_not:
        raise InputError(
            where,
            f"{place.name} can't be reached by {network.boat.name}: {terminal.attachment.why_not}",
            remedy="give a position on the water, or another place",
        )
    return network, known[place]


def _apart_m(a: Place, b: Place) -> float:
    _, _, metres = Geod(ellps="WGS84").inv(*a.position, *b.position)
    return float(metres)
