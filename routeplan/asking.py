"""A trip resolved against a network: which places, which docks, at which speed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from layers.errors import InputError
from routeplan.cautions import find_doubts
from routeplan.docks import Dock, read_docks
from routeplan.fuel import greatest_burn_l, z_of
from routeplan.joining import SAME_PLACE_M, apart_m, check_speed, join_place
from routeplan.leg_graph import Rates
from routeplan.moving_tracks import MovingTracks, with_currents
from routeplan.problem import Problem
from routeplan.tracks import Tracks, build_dock_graph

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    import networkx as nx

    from routeplan.boats import Boat
    from routeplan.conditions import Conditions
    from routeplan.daylight import Daylight
    from routeplan.fuel import FuelAboard
    from routeplan.network import Network, Place
    from routeplan.trips import Trip

__all__ = ["Question", "ask", "most_burn_l"]


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
    conditions
        Currents and sea; None for still water without a sea.
    """

    network: Network
    boat: Boat
    trip: Trip
    docks: tuple[Dock, ...]
    by_terminal: Mapping[int, Dock]
    start: int
    targets: tuple[int, ...]
    speeds_kn: tuple[float, ...]
    conditions: Conditions | None = None

    @property
    def speed_kn(self) -> float:
        """[kn] The chosen speed, the fastest that is planned."""
        return self.speeds_kn[0]

    def tracks(self, *, fairways: bool = True) -> tuple[Tracks, ...]:
        """Set up the tracks.

        Parameters
        ----------
        fairways
            Whether they are preferred where the margins ask for it.

        Returns
        -------
        One set a speed.
        """
        return tuple(self.tracks_at(speed_kn, fairways=fairways) for speed_kn in self.speeds_kn)

    def tracks_at(self, speed_kn: float, *, fairways: bool = True) -> Tracks:
        """Set the tracks of one speed up.

        Parameters
        ----------
        speed_kn
            [kn] The speed.
        fairways
            Whether they are preferred where the margins ask for it.

        Returns
        -------
        For still water, or by the clock where currents or the sea count.
        """
        if self.conditions is None:
            return Tracks(self.network, self.boat, speed_kn, fairways=fairways)
        tracks = MovingTracks(self.network, self.boat, speed_kn, self.conditions, fairways=fairways)
        tracks.keep_to((self.start, *self.targets))
        return tracks

    @property
    def harbours(self) -> frozenset[int]:
        """Terminals at which a night may be spent without a fill."""
        terminals = self.network.terminals
        return frozenset(i for i, t in enumerate(terminals) if t.entries and t.place.kind in ("harbour", "anchorage"))

    def problem(
        self,
        tracks: Sequence[Tracks],
        docks: Mapping[int, Dock] | None = None,
        *,
        daylight: Daylight | None = None,
        rests: frozenset[int] = frozenset(),
    ) -> Problem:
        """Set the search up.

        Parameters
        ----------
        tracks
            For the boat at the speeds to plan with.
        docks
            Docks to fill at; the suitable ones where None.
        daylight
            When she may be under way; None at any time.
        rests
            Where a night may be spent without a fill.

        Returns
        -------
        The search, on the graph of all hops that a full tank, or the fuel aboard, could make down to the unusable fuel.
        """
        docks = self.by_terminal if docks is None else docks
        rests = rests - {self.start, *self.targets}
        sources = {self.start, *docks, *self.targets[:-1], *rests}
        pairs = [(a, b) for a in sources for b in {*docks, *self.targets, *rests} if a != b]
        most_l = most_burn_l(self.boat, self.trip.aboard, self.trip.confidence)
        problem = self.pose(build_dock_graph(tracks, pairs, most_l), docks)
        return replace(problem, conditions=self.conditions, daylight=daylight, rests=rests)

    @property
    def sd_share(self) -> float:
        """[share] Relative standard deviation of the burn, the sea's doubt among it."""
        sea = None if self.conditions is None else self.conditions.sea
        return math.hypot(self.boat.burn.sd_share, 0.0 if sea is None else sea.sd_share())

    def pose(self, graph: nx.MultiDiGraph, docks: Mapping[int, Dock]) -> Problem:
        """Set the search up on hops that are known already.

        Parameters
        ----------
        graph
            Hops, in the form of `build_dock_graph`.
        docks
            Docks to fill at.

        Returns
        -------
        The search.
        """
        boat, trip, terminals = self.boat, self.trip, self.network.terminals
        graph.add_nodes_from([self.start, *self.targets])
        lying = {i for i, t in enumerate(terminals) if t.place.kind in ("dock", "harbour", "anchorage")}
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
            sd_share=self.sd_share,
            z=z_of(trip.confidence),
            berthing_h=trip.berthing_h,
            may_wait=frozenset(lying | {self.start}),
            unusable_l=boat.tank.unusable_l,
            closed_dock=trip.closed_dock,
            fill_first=trip.fill_first,
            guess_price_per_l=max((d.price_per_l for d in docks.values() if d.price_per_l is not None), default=0.0),
        )


def most_burn_l(boat: Boat, aboard: FuelAboard, confidence: float) -> float:
    """[l] Tell the most that one hop may burn: down to the unusable fuel, as an alternate may cost the reserve.

    Parameters
    ----------
    boat
        Her tank and burn count.
    aboard
        Fuel aboard at departure.
    confidence
        [share] Of arrivals that keep what they are to keep.

    Returns
    -------
    From a full tank, or the fuel aboard, whichever carries further.
    """
    return max(
        greatest_burn_l(mean, sd, boat.burn.sd_share, z_of(confidence), boat.tank.unusable_l)
        for mean, sd in ((aboard.mean_l, aboard.sd_l), (boat.tank.full_mark_l, boat.full_mark_sd_l))
    )


def ask(
    network: Network, trip: Trip, boat: Boat, now: datetime, conditions: Conditions | None = None
) -> tuple[Question, list[str]]:
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
    conditions
        Currents and sea; None for still water without a sea.

    Returns
    -------
    The question, and what was found doubtful on the way, in sentences.

    Raises
    ------
    InputError
        A place is unknown or can't be reached from water, or the boat can't be planned at the speed.
    """
    speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
    check_speed(boat, speed_kn)
    if conditions is not None:
        network = with_currents(network, conditions)
    network, ends = _join_ends(network, trip)
    notes = find_doubts(network, ends)
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
    return Question(network, boat, trip, docks, by_terminal, ends[0], tuple(ends[1:]), speeds, conditions), notes


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
    near = sorted(
        (apart_m(place.position, t.place.position), t.place.name) for t in network.terminals if _is_good(t.place, docks)
    )
    offer = f"begin at {near[0][1]}, the nearest that does, or leave --fill-first out" if near else "leave it out"
    raise InputError("--fill-first", f"{place.name} sells no fuel", remedy=offer)


def _is_good(place: Place, docks: Sequence[Dock]) -> bool:
    return place.kind == "dock" and docks[place.row].suits


def _join_ends(network: Network, trip: Trip) -> tuple[Network, list[int]]:
    """Join start, vias and finish, each of which has to lie somewhere else than the one before."""
    where = ["FROM", *(f"--via {v}" for v in trip.via), "TO"]
    ends: list[int] = []
    for text, option in zip((trip.start, *trip.via, trip.finish), where, strict=True):
        network, index = join_place(network, text, option)
        if ends:
            before, here = network.terminals[ends[-1]].place, network.terminals[index].place
            if apart_m(before.position, here.position) < SAME_PLACE_M:
                also = "" if here.name == before.name else f", {before.name}"
                raise InputError(
                    option, f"{here.name} is where the boat is already{also}", remedy="name another, or --via one"
                )
        ends.append(index)
    return network, ends
