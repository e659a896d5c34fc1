"""Parties: boats that go one way over one water at common speeds, each with her own fuel; what every way costs them."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx
import numpy as np

from layers.errors import InputError
from layers.plane import METRES_PER_NMI
from routeplan.asking import Question, most_burn_l
from routeplan.docks import read_docks
from routeplan.escapes import Escapes
from routeplan.joining import SAME_PLACE_M, apart_m, join_place
from routeplan.paces import group_rates, reference_rates
from routeplan.pumps import PumpSide, pump_side, told_of
from routeplan.tracks import Tracks
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.cruise_asked import CruiseAsked, CruiseBoat
    from routeplan.docks import Dock
    from routeplan.leg_graph import Rates
    from routeplan.margins import Margins
    from routeplan.network import Network
    from routeplan.problem import Problem
    from routeplan.tracks import Track

    Vector = NDArray[np.float64]
    Builder = Callable[[Boat], Network]

__all__ = ["Party", "Ways", "build_parties", "deepest_and_tallest", "join_visits", "water_key"]

_CLOSE_BY_NMI = 1.0  # [nmi] from a fuel stop to a visit: a harbour and its pumps
_MOST_REFERENCES = 2  # boats of one water by whose rates ways are looked for, where each goes at her own pace


@dataclass(frozen=True, eq=False)
class Ways:
    """Every way between the places of a party, and what it costs.

    Parameters
    ----------
    tracks
        As steered, at the rates of a reference.
    time_h
        [h] Time of each for the party.
    fuel_l
        [l] Mean burn, a row a boat.
    out
        By terminal: where ways lead, and which way, the quickest of a pair first.
    """

    tracks: tuple[Track, ...]
    time_h: Vector
    fuel_l: Vector
    out: Mapping[int, tuple[tuple[int, int], ...]]


@dataclass(frozen=True, eq=False)
class Party:
    """Boats that go one way together.

    Parameters
    ----------
    number
        From 1.
    asked
        The cruise.
    members
        Which of its boats.
    network
        Over the water that all of them can use, with the visits joined.
    rates
        One a member; the speeds in them are the same.
    visits
        Terminals, the start among them.
    docks
        By member: every dock as she meets it, by row of the layer.
    ways
        What the ways between visits and docks cost.
    """

    number: int
    asked: CruiseAsked
    members: tuple[int, ...]
    network: Network
    rates: tuple[Rates, ...]
    visits: tuple[int, ...]
    docks: tuple[tuple[Dock, ...], ...]
    ways: Ways

    @property
    def boats(self) -> tuple[CruiseBoat, ...]:
        """Its boats."""
        return tuple(self.asked.boats[m] for m in self.members)

    @property
    def speed_kn(self) -> float:
        """[kn] Chosen speed in open water."""
        return self.rates[0].speed_kn[0]

    @property
    def gather_h(self) -> float:
        """[h] From when its last boat has fuelled until it goes on."""
        return self.asked.gather_h if len(self.members) > 1 else 0.0

    def gathers_h(self, way: int, *, to_visit: bool) -> float:
        """[h] Tell how long it gathers after a fuel stop before it goes on.

        Parameters
        ----------
        way
            Index of the way on.
        to_visit
            Whether that leads to the next visit.

        Returns
        -------
        Nothing where the visit is close by: there all gather anyway.
        """
        close_by = to_visit and self.ways.tracks[way].distance_nmi <= _CLOSE_BY_NMI
        return 0.0 if close_by else self.gather_h

    @cached_property
    def row_of(self) -> dict[int, int]:
        """Row of the docks layer by terminal, of docks that are joined to the water."""
        return {i: t.place.row for i, t in enumerate(self.network.terminals) if t.place.kind == "dock" and t.entries}

    @cached_property
    def fills(self) -> dict[int, NDArray[np.bool_]]:
        """Which members can fill where, by terminal; docks that suit none are left out."""
        found = {i: np.array([docks[row].suits for docks in self.docks]) for i, row in self.row_of.items()}
        return {i: can for i, can in found.items() if can.any()}

    @cached_property
    def sides(self) -> dict[int, PumpSide]:
        """The pumps of each dock, by row."""
        rows = {self.row_of[i] for i in self.fills}
        return {
            row: pump_side(self.docks[0][row].facts, told_of(self.docks[0][row].name, self.asked.docks)) for row in rows
        }

    def by_terminal(self, member: int) -> dict[int, Dock]:
        """List where a member can fill.

        Parameters
        ----------
        member
            Index among the members.

        Returns
        -------
        Docks by terminal.
        """
        return {i: self.docks[member][self.row_of[i]] for i, can in self.fills.items() if can[member]}

    def question(self, member: int) -> Question:
        """Put a member's cruise as the question of a passage.

        Parameters
        ----------
        member
            Index among the members.

        Returns
        -------
        The question; her visits are what it passes.
        """
        one, places = self.boats[member], [self.network.terminals[v].place.name for v in self.visits]
        trip = Trip(
            start=places[0],
            finish=places[-1],
            via=tuple(places[1:-1]),
            depart=self.asked.depart,
            aboard=one.aboard,
            speed_kn=self.speed_kn,
            confidence=self.asked.confidence,
            berthing_h=self.asked.berthing_h,
            known_docks_only=self.asked.known_docks_only,
            confirmed_docks_only=self.asked.confirmed_docks_only,
            closed_dock=self.asked.closed_dock,
        )
        return Question(
            self.network,
            one.boat,
            trip,
            self.docks[member],
            self.by_terminal(member),
            self.visits[0],
            self.visits[1:],
            (self.speed_kn,),
        )

    def tracks(self, member: int) -> Tracks:
        """Set up the tracks of a member at the party's speeds.

        Parameters
        ----------
        member
            Index among the members.

        Returns
        -------
        The tracks.
        """
        return Tracks(self.network, self.boats[member].boat, self.speed_kn, rates=self.rates[member])

    def problem(self, member: int) -> Problem:
        """Set up the refuel search of a member, on the party's ways with her own fuel.

        Parameters
        ----------
        member
            Index among the members.

        Returns
        -------
        The search; made once.
        """
        return self._problems[member]

    def escapes(self, member: int) -> Escapes | None:
        """Set up the closed-dock rule for a member.

        Parameters
        ----------
        member
            Index among the members.

        Returns
        -------
        The rule; None where it is off. Boats with one file have one.
        """
        return self._escapes[member]

    @cached_property
    def _problems(self) -> tuple[Problem, ...]:
        return tuple(self._problem(m) for m in range(len(self.members)))

    @cached_property
    def _escapes(self) -> tuple[Escapes | None, ...]:
        known: dict[str, Escapes] = {}
        found: list[Escapes | None] = []
        for m, one in enumerate(self.boats):
            if self.asked.closed_dock == "off":
                found.append(None)
                continue
            key = one.boat.model_copy(update={"name": ""}).digest
            if key not in known:
                known[key] = Escapes(self._problems[m])
            found.append(known[key])
        return tuple(found)

    def _problem(self, m: int) -> Problem:
        question = self.question(m)
        most_l = most_burn_l(question.boat, question.trip.aboard, self.asked.confidence)
        graph = nx.MultiDiGraph()
        places = {*question.by_terminal, *self.visits}
        for a, ways in self.ways.out.items():
            if a not in places:
                continue
            for b, way in ways:
                if b in places and self.ways.fuel_l[m, way] <= most_l:
                    track = self.track(m, way)
                    graph.add_edge(
                        a, b, track=track, distance_nmi=track.distance_nmi, time_h=track.time_h, fuel_l=track.fuel_l
                    )
        posed = question.pose(graph, question.by_terminal)
        return replace(posed, may_wait=posed.may_wait | set(self.visits))

    def track(self, member: int, way: int) -> Track:
        """Tell a way as a member runs it.

        Parameters
        ----------
        member
            Index among the members.
        way
            Index among the ways.

        Returns
        -------
        The track with the party's time and her fuel.
        """
        key = (member, way)
        if key not in self._priced:
            track = self.ways.tracks[way]
            if track.gates:
                track = track.priced(self.rates[member], self.network.water)
            else:
                time_h, fuel_l = float(self.ways.time_h[way]), float(self.ways.fuel_l[member, way])
                track = replace(track, time_h=time_h, fuel_l=fuel_l, speed_kn=self.speed_kn)
            self._priced[key] = track
        return self._priced[key]

    @cached_property
    def _priced(self) -> dict[tuple[int, int], Track]:
        return {}


def water_key(region: Region, boat: Boat, margins: Margins) -> tuple[int, int]:
    """Tell which water of a region is deep and high enough for a boat.

    Parameters
    ----------
    region
        Its depths, bridges and openings.
    boat
        Draught and air draught count.
    margins
        Least water under the keel and air overhead.

    Returns
    -------
    How many of the depths, and how many of the clearances in the layers, are too small for her: boats with the same
    pair have the same water.
    """
    depths = sorted({float(v) for v in region.layer("depth")["min_depth_m"]}) if len(region.layer("depth")) else []
    heights = sorted(
        {float(v) for v in region.layer("overhead")["clearance_m"]}
        | {float(v) for v in region.layer("openings")["closed_clearance_m"].dropna()}
    )
    return (
        bisect_left(depths, boat.draught_m + margins.under_keel_m),
        bisect_left(heights, boat.air_draught_m + margins.overhead_m),
    )


def deepest_and_tallest(boats: Sequence[Boat]) -> Boat:
    """Make a boat whose water all of a group can use.

    Parameters
    ----------
    boats
        The group.

    Returns
    -------
    The first boat with the greatest draught and height, and the slowest no-wake speed; herself where she is alone.
    """
    if len(boats) == 1:
        return boats[0]
    return boats[0].model_copy(
        update={
            "name": "the group",
            "draught_m": max(b.draught_m for b in boats),
            "air_draught_m": max(b.air_draught_m for b in boats),
            "no_wake_kn": min(b.no_wake_kn for b in boats),
        }
    )


def build_parties(
    asked: CruiseAsked,
    region: Region,
    groups: Sequence[Sequence[int]],
    speeds_kn: Sequence[float],
    today: date,
    build: Builder,
    margins: Margins,
) -> tuple[Party, ...]:
    """Set parties up: water, visits, docks, and what every way costs.

    Parameters
    ----------
    asked
        The cruise.
    region
        The layers.
    groups
        Which boats go together, by their numbers.
    speeds_kn
        [kn] Chosen speed of each group.
    today
        The date that staleness of docks is counted from.
    build
        Builds the network of a boat's water.
    margins
        What is kept clear of.

    Returns
    -------
    One party a group. Parties on the same water look for their ways together: by the rates of each where they are at
    most two, else by those of the slowest and the fastest, and each takes the best of all that were found.

    Raises
    ------
    InputError
        A visit is unknown, or can't be reached by the boats that are to go there.
    """
    waters: dict[tuple[int, int], list[int]] = {}
    for g, group in enumerate(groups):
        keys = [water_key(region, asked.boats[m].boat, margins) for m in group]
        waters.setdefault((max(k[0] for k in keys), max(k[1] for k in keys)), []).append(g)
    told = {m: _docks(asked, region, m, today, margins) for group in groups for m in group}
    parties: dict[int, Party] = {}
    for sharing in waters.values():
        everyone = [asked.boats[m].boat for g in sharing for m in groups[g]]
        network = build(deepest_and_tallest(everyone))
        network, visits = join_visits(network, asked)
        rates = {g: group_rates([asked.boats[m].boat for m in groups[g]], network, speeds_kn[g]) for g in sharing}
        pairs = _pairs(asked, network, visits, [m for g in sharing for m in groups[g]], told, rates, groups, sharing)
        tracks = _find_tracks(asked, network, pairs, rates, groups, sharing)
        for g in sharing:
            parties[g] = Party(
                number=g + 1,
                asked=asked,
                members=tuple(groups[g]),
                network=network,
                rates=rates[g],
                visits=visits,
                docks=tuple(told[m] for m in groups[g]),
                ways=_price(tracks, rates[g], network),
            )
    return tuple(parties[g] for g in range(len(groups)))


def _docks(asked: CruiseAsked, region: Region, m: int, today: date, margins: Margins) -> tuple[Dock, ...]:
    """Look at the docks with one boat's eyes, and with what the organiser was told."""
    docks = read_docks(
        region,
        asked.boats[m].boat,
        margins.under_keel_m,
        today,
        known_only=asked.known_docks_only,
        confirmed_only=asked.confirmed_docks_only,
    )
    changed = []
    for dock in docks:
        told = told_of(dock.name, asked.docks)
        fuel = asked.boats[m].boat.fuel
        if told is not None and (told.gasoline_pumps if fuel == "gasoline" else told.diesel_pumps) == 0:
            changed.append(replace(dock, why_not=(*dock.why_not, f"has no {fuel}, as the organiser was told")))
        elif told is not None and told.closed:
            changed.append(replace(dock, why_not=(*dock.why_not, "closed, as the organiser was told")))
        elif told is not None and told.pump_lpm is not None:
            changed.append(replace(dock, pump_lpm=told.pump_lpm))
        else:
            changed.append(dock)
    return tuple(changed)


def join_visits(network: Network, asked: CruiseAsked) -> tuple[Network, tuple[int, ...]]:
    """Join the visits of a cruise to a network.

    Parameters
    ----------
    network
        The network.
    asked
        Its visits.

    Returns
    -------
    The network, grown by positions that it doesn't know yet, and the terminals.

    Raises
    ------
    InputError
        A visit is unknown, can't be reached, or is where the group is already.
    """
    visits: list[int] = []
    for number, visit in enumerate(asked.visits, start=1):
        where = f"visit {number}"
        network, index = join_place(network, visit.place, where)
        if visits:
            before, here = (network.terminals[i].place for i in (visits[-1], index))
            if apart_m(before.position, here.position) < SAME_PLACE_M:
                raise InputError(
                    where,
                    f"{here.name} is where the group is already",
                    value=visit.place,
                    remedy="name another place, or give the one before a stay",
                )
        visits.append(index)
    return network, tuple(visits)


def _pairs(
    asked: CruiseAsked,
    network: Network,
    visits: tuple[int, ...],
    members: Sequence[int],
    told: Mapping[int, tuple[Dock, ...]],
    rates: Mapping[int, tuple[Rates, ...]],
    groups: Sequence[Sequence[int]],
    sharing: Sequence[int],
) -> list[tuple[int, int]]:
    """List the pairs of places that some boat may run between: no further apart than the longest range."""
    suits = {d.row for m in members for d in told[m] if d.suits}
    docks = {
        i for i, t in enumerate(network.terminals) if t.place.kind == "dock" and t.entries and t.place.row in suits
    }
    range_nmi = max(
        most_burn_l(asked.boats[m].boat, asked.boats[m].aboard, asked.confidence)
        / min(float(r.litres_per_nmi.min()), float(r.slow_litres_per_nmi.min()))
        for g in sharing
        for m, r in zip(groups[g], rates[g], strict=True)
    )
    places = sorted({*docks, *visits})
    spots = {i: network.terminals[i].place.position for i in places}
    legs = {*pairwise(visits)}
    return [
        (a, b)
        for a in places
        for b in places
        if a != b and ((a, b) in legs or apart_m(spots[a], spots[b]) / METRES_PER_NMI <= range_nmi)
    ]


def _find_tracks(
    asked: CruiseAsked,
    network: Network,
    pairs: Iterable[tuple[int, int]],
    rates: Mapping[int, tuple[Rates, ...]],
    groups: Sequence[Sequence[int]],
    sharing: Sequence[int],
) -> dict[tuple[int, int], list[Track]]:
    """Find the ways of all parties on one water."""
    references: dict[Rates, Boat] = {}
    for g in sharing:
        boats = [asked.boats[m].boat for m in groups[g]]
        references.setdefault(reference_rates(boats, rates[g]), boats[0])
    chosen = sorted(references, key=lambda r: r.speed_kn[0])
    if len(chosen) > _MOST_REFERENCES:
        chosen = [chosen[0], chosen[-1]]
    found: dict[tuple[int, int], list[Track]] = {}
    for reference in chosen:
        boat = references[reference]
        for pair, tracks in Tracks(network, boat, reference.speed_kn[0], rates=reference).find(pairs).items():
            known = found.setdefault(pair, [])
            known += [t for t in tracks if not any(np.array_equal(t.bends, k.bends) for k in known)]
    return found


def _price(tracks: Mapping[tuple[int, int], Sequence[Track]], rates: Sequence[Rates], network: Network) -> Ways:
    """Price all ways for a party at once, and drop those that others beat."""
    listed = [(pair, track) for pair, several in tracks.items() for track in several]
    kinds = 1 + len(network.water.speed_areas)
    fast, slow = np.zeros((len(listed), kinds)), np.zeros((len(listed), kinds))
    waited_h = np.zeros(len(listed))
    for i, (_, track) in enumerate(listed):
        is_slow = np.array([kind != "leg" for kind in track.kinds])
        lengths = track.lengths_nmi if track.lengths_nmi is not None else np.zeros((len(track.kinds), kinds))
        fast[i], slow[i] = lengths[~is_slow].sum(axis=0), lengths[is_slow].sum(axis=0)
        waited_h[i] = sum(network.water.gates[gate].wait_h for gate, *_ in track.gates)
    time_h = fast @ rates[0].hours_per_nmi + slow @ rates[0].slow_hours_per_nmi + waited_h
    fuel_l = np.array([fast @ r.litres_per_nmi + slow @ r.slow_litres_per_nmi + waited_h * r.idle_lph for r in rates])
    by_pair: dict[tuple[int, int], list[int]] = {}
    for i in np.argsort(time_h, kind="stable"):
        pair, track = listed[i]
        gates = {g[0] for g in track.gates}
        kept = by_pair.setdefault(pair, [])
        beaten = any(
            (fuel_l[:, k] <= fuel_l[:, i] + 1e-9).all() and {g[0] for g in listed[k][1].gates} <= gates for k in kept
        )
        if not beaten:
            kept.append(int(i))
    order = [i for kept in by_pair.values() for i in kept]
    number = {i: n for n, i in enumerate(order)}
    out: dict[int, list[tuple[int, int]]] = {}
    for (a, b), kept in by_pair.items():
        out.setdefault(a, []).extend((b, number[i]) for i in kept)
    return Ways(
        tuple(listed[i][1] for i in order),
        time_h[order],
        fuel_l[:, order],
        {a: tuple(sorted(ways, key=lambda w: (w[0], float(time_h[order[w[1]]])))) for a, ways in out.items()},
    )
