"""The passage: from a trip to plans, or to the reason why there is none."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import shapely

from layers.errors import InputError
from routeplan.docks import Dock, read_docks
from routeplan.fuel import greatest_burn_l, low_figure_l, z_of
from routeplan.itinerary import Stretch, TurnNames, find_stretches
from routeplan.network import Network, Place, join_places
from routeplan.places import looks_like_position, nearest_names, read_position, write_position
from routeplan.plans import Alternate, Leg, NoPassageError, Plan, PlanName, Stop
from routeplan.refusals import explain_refusal
from routeplan.search import Label, Problem, find_labels
from routeplan.tracks import Tracks, build_dock_graph
from routeplan.units_shown import shown_distance, shown_duration, shown_money

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.trips import Trip

__all__ = ["SAFETY_CAUTIONS", "Passage", "find_passage"]

SAFETY_CAUTIONS = (
    "An aid to planning, not for navigation: check current official charts, notices, weather and tides.",
    "Call each dock ahead; hours, prices and fuel change.",
    "Planned for still water: no tide, current, wind or sea is allowed for.",
    "Local rules and a licensed professional's advice come first.",
)
_SAVED_STOP_WORTH = timedelta(minutes=30)  # a stop fewer is recommended if it costs no more than this


@dataclass(frozen=True, eq=False)
class Passage:
    """The answer to a trip.

    Parameters
    ----------
    network
        The network, with the trip's positions joined.
    boat
        The boat, with the burn that was planned with.
    trip
        What was asked.
    docks
        Every dock of the region as the boat meets it.
    plans
        The recommended one first; never empty.
    cautions
        What holds for all plans, the safety cautions first.
    speed_kn
        [kn] Chosen speed.
    """

    network: Network
    boat: Boat
    trip: Trip
    docks: tuple[Dock, ...]
    plans: tuple[Plan, ...]
    cautions: tuple[str, ...]
    speed_kn: float

    @property
    def recommended(self) -> Plan:
        """The plan to take.

        Returns
        -------
        The first.
        """
        return self.plans[0]

    @property
    def soonest(self) -> Plan:
        """The plan that arrives first.

        Returns
        -------
        One of `plans`.
        """
        return self._best_at("soonest")

    @property
    def fewest_stops(self) -> Plan:
        """The plan with the fewest fill-ups.

        Returns
        -------
        One of `plans`.
        """
        return self._best_at("fewest-stops")

    def _best_at(self, name: PlanName) -> Plan:
        return next(p for p in self.plans if name == p.name or name in p.also)


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
    speed_kn
        [kn] Chosen speed.
    """

    network: Network
    boat: Boat
    trip: Trip
    docks: tuple[Dock, ...]
    by_terminal: Mapping[int, Dock]
    start: int
    targets: tuple[int, ...]
    speed_kn: float

    def problem(self, tracks: Tracks, docks: Mapping[int, Dock] | None = None) -> Problem:
        """Set the search up.

        Parameters
        ----------
        tracks
            For the boat at the speed to plan with.
        docks
            Docks to fill at; the suitable ones where None.

        Returns
        -------
        The search, on the graph of all hops that a full tank, or the fuel aboard, could make.
        """
        boat, trip = self.boat, self.trip
        docks = self.by_terminal if docks is None else docks
        z = z_of(trip.confidence)
        most_l = max(
            greatest_burn_l(mean, sd, boat.burn.sd_share, z, boat.floor_l)
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
            may_wait=frozenset(lying),
        )


def find_passage(network: Network, trip: Trip, *, now: datetime, boat: Boat | None = None) -> Passage:
    """Plan a passage.

    Parameters
    ----------
    network
        Built for the boat.
    trip
        What is asked.
    now
        The clock: docks are stale, and departures past, against it.
    boat
        The boat with another burn than the network's, such as one the log has taught; it must need the same water.

    Returns
    -------
    The plans, the recommended one first.

    Raises
    ------
    InputError
        A place is unknown or can't be reached from water, or the speed isn't one the boat can be planned at.
    NoPassageError
        No plan keeps the rules; carries the leg that breaks them, the shortfall and what would help.
    """
    question, notes = _ask(network, trip, boat or network.boat, now)
    tracks = Tracks(question.network, question.boat, question.speed_kn)
    problem = question.problem(tracks)
    labels = find_labels(problem)
    cautions = (*SAFETY_CAUTIONS, *notes)
    if not labels:
        raise NoPassageError(explain_refusal(question, tracks, problem), cautions)
    soonest = min(labels, key=lambda a: (a.time_h, a.stops, a.cost))
    fewest = min(labels, key=lambda a: (a.stops, a.time_h, a.cost))
    saves = (soonest.stops - fewest.stops) * _SAVED_STOP_WORTH
    first, second = (soonest, fewest)
    names: tuple[PlanName, PlanName] = ("soonest", "fewest-stops")
    if fewest is not soonest and timedelta(hours=fewest.time_h - soonest.time_h) <= saves:
        first, second, names = fewest, soonest, ("fewest-stops", "soonest")
    teller = _Teller(question, tracks, problem)
    plans = [teller.tell(first, names[0], also=(names[1],) if first is second else ())]
    if second is not first:
        other = teller.tell(second, names[1])
        plans.append(
            other.model_copy(update={"recommended": False, "difference": _difference(plans[0], other, question)})
        )
    return Passage(question.network, question.boat, trip, question.docks, tuple(plans), cautions, question.speed_kn)


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
    for terminal in network.terminals:
        if terminal.place.name.casefold() == wanted:
            return terminal.place
    if looks_like_position(text):
        position = read_position(text, where)
        return Place(write_position(position), "position", position)
    near = nearest_names(text, [t.place.name for t in network.terminals])
    offer = f"did you mean {' or '.join(near)}?" if near else "routeplan docks and region show list the names"
    raise InputError(where, "no dock or waypoint has this name", value=text, remedy=offer)


def _ask(network: Network, trip: Trip, boat: Boat, now: datetime) -> tuple[Question, list[str]]:
    """Resolve the trip's names, speed and docks."""
    speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
    boat.burn_lph(speed_kn, "--speed")
    if boat.steady_kn(speed_kn) != speed_kn:
        low, high = boat.burn.unsteady_kn or (0.0, 0.0)
        raise InputError(
            "--speed",
            f"{boat.name} can't hold a speed between {low:g} and {high:g} kn",
            value=f"{speed_kn:g} kn",
            remedy=f"choose {low:g} kn or {high:g} kn",
        )
    where = ["FROM", *(f"--via {v}" for v in trip.via), "TO"]
    places = [
        resolve_place(network, text, w) for text, w in zip((trip.start, *trip.via, trip.finish), where, strict=True)
    ]
    known = {t.place: i for i, t in enumerate(network.terminals)}
    new = list(dict.fromkeys(p for p in places if p not in known))
    network = join_places(network, new)
    known = {t.place: i for i, t in enumerate(network.terminals)}
    ends = [known[p] for p in places]
    notes: list[str] = []
    for w, index in zip(where, ends, strict=True):
        terminal = network.terminals[index]
        if terminal.attachment.why_not:
            raise InputError(
                w,
                f"{terminal.place.name} can't be reached by {boat.name}: {terminal.attachment.why_not}",
                remedy="give a position on the water, or another place",
            )
        if terminal.attachment.inland_m > 0:
            notes.append(
                f"{terminal.place.name} lies {terminal.attachment.inland_m:.0f} m on land: "
                "taken from the nearest shore."
            )
    if trip.depart < now:
        notes.append("The departure lies in the past.")
    if not network.water.depth_checked:
        notes.append("The region has no depth layer: depth was not checked on any leg.")
    elif network.water.margins.allow_unsurveyed:
        notes.append("Unsurveyed water was allowed: depth was not checked on dashed legs.")
    absent = sorted({"hazards", "zones", "overhead", "docks"} - network.region.present)
    notes += [
        f"The region has no {layer} layer: nothing is known of it, which is not the same as none." for layer in absent
    ]
    notes += [f"{finding[0].upper()}{finding[1:]}." for finding in network.water.findings]
    docks = read_docks(
        network.region,
        boat,
        network.water.margins.under_keel_m,
        now.astimezone(network.region.zone).date(),
        known_only=trip.known_docks_only,
    )
    by_terminal = {
        i: docks[t.place.row]
        for i, t in enumerate(network.terminals)
        if t.place.kind == "dock" and docks[t.place.row].suits and t.entries
    }
    return Question(network, boat, trip, docks, by_terminal, ends[0], tuple(ends[1:]), speed_kn), notes


class _Teller:
    """Turns labels into plans."""

    def __init__(self, question: Question, tracks: Tracks, problem: Problem) -> None:
        self.question = question
        self.tracks = tracks
        self.problem = problem
        self.units = question.boat.units

    def tell(self, label: Label, name: PlanName, also: tuple[PlanName, ...] = ()) -> Plan:
        path = label.path()
        legs, points = self._legs(path)
        stops = tuple(self._stop(path, i) for i, step in enumerate(path) if step.fill is not None)
        costs = [stop.cost for stop in stops]
        margins = [self._low_on_arrival(step) - self.problem.floor_l for step in path[1:]]
        end = path[-1]
        onward, warning = self._onward(end)
        cautions = [warning] if warning else []
        cautions += [f"{stop.dock}: {c}" for stop in stops for c in stop.cautions]
        cautions += [
            f"{stop.dock}: no other dock is in reach if it is closed; make sure of it before leaving"
            for stop in stops
            if stop.alternate is None
        ]
        plane = self.question.network.water.plane
        track = plane.unproject(shapely.LineString(points))
        return Plan(
            name=name,
            also=also,
            recommended=True,
            difference="",
            depart=self.problem.depart,
            arrive=self._at(end.time_h),
            distance_nmi=sum(leg.distance_nmi for leg in legs),
            time_h=end.time_h,
            fuel_l=sum(leg.fuel_l for leg in legs),
            cost=None if any(c is None for c in costs) else float(sum(c or 0.0 for c in costs)),
            least_margin_l=min(margins, default=self.problem.low_l(end.mean_l, 0.0, end.sd_l) - self.problem.floor_l),
            aboard_on_arrival_l=end.aboard_l,
            aboard_on_arrival_low_l=self.problem.low_l(end.mean_l, end.burned_l, end.sd_l),
            legs=tuple(legs),
            stops=stops,
            onward=onward,
            cautions=tuple(cautions),
            track={"type": "LineString", "coordinates": [[round(x, 6), round(y, 6)] for x, y in track.coords]},
        )

    def _at(self, time_h: float) -> datetime:
        return self.problem.depart + timedelta(hours=time_h)

    def _place_name(self, terminal: int) -> str:
        return self.question.network.terminals[terminal].place.name

    def _burned_on_arrival(self, step: Label) -> tuple[float, float, float]:
        """[l] Mean at the last known level, burn since and its sd, on arrival and before any fill."""
        before = step.before
        if before is None or step.hop is None:
            return step.mean_l, step.burned_l, step.sd_l
        return before.mean_l, before.burned_l + step.hop.track.fuel_l, before.sd_l

    def _low_on_arrival(self, step: Label) -> float:
        return self.problem.low_l(*self._burned_on_arrival(step))

    def _legs(self, path: list[Label]) -> tuple[list[Leg], list[tuple[float, float]]]:
        network, plane = self.question.network, self.question.network.water.plane
        names = TurnNames(network)
        legs: list[Leg] = []
        points: list[tuple[float, float]] = []
        for before, step in itertools.pairwise(path):
            if step.hop is None:
                continue
            stretches = find_stretches(network, self.tracks.rates, step.hop.track)
            points += [s.a for s in stretches] + [stretches[-1].b]
            positions = plane.to_lonlat([s.a for s in stretches] + [stretches[-1].b]).tolist()
            here = self._place_name(before.place)
            time_h, burned_l = step.hop.depart_h, before.burned_l
            for i, stretch in enumerate(stretches):
                last = i == len(stretches) - 1
                there = (
                    self._place_name(step.place)
                    if last
                    else names.name(stretch.b, _limit_words(network, stretches[i : i + 2]))
                )
                burned_l += stretch.fuel_l
                legs.append(
                    Leg(
                        from_=here,
                        from_position=_rounded(positions[i]),
                        to=there,
                        to_position=_rounded(positions[i + 1]),
                        kind=stretch.kind,
                        distance_nmi=stretch.distance_nmi,
                        course_deg=stretch.course_deg,
                        speed_kn=stretch.speed_kn,
                        depart=self._at(time_h),
                        arrive=self._at(time_h + stretch.time_h),
                        fuel_l=stretch.fuel_l,
                        aboard_after_l=before.mean_l - burned_l,
                        aboard_after_low_l=self.problem.low_l(before.mean_l, burned_l, before.sd_l),
                        depth_checked=stretch.depth_checked,
                        cautions=stretch.cautions,
                    )
                )
                here, time_h = there, time_h + stretch.time_h
        if len(points) == 1 or not points:
            only = plane.to_plane([network.terminals[self.problem.start].place.position])[0]
            points = [tuple(only), tuple(only)]
        return legs, points

    def _stop(self, path: list[Label], index: int) -> Stop:
        step = path[index]
        if step.fill is None or step.hop is None:
            raise ValueError(step.place)  # called for fill-ups only
        dock = self.problem.docks[step.place]
        mean_l, burned_l, sd_l = self._burned_on_arrival(step)
        alternate = self._alternate(step.place, mean_l, burned_l, sd_l, step.stage)
        return Stop(
            dock=dock.name,
            position=dock.position,
            arrive=self._at(step.hop.arrive_h),
            begin=self._at(step.fill.begin_h),
            depart=self._at(step.fill.end_h),
            aboard_l=mean_l - burned_l,
            aboard_low_l=self.problem.low_l(mean_l, burned_l, sd_l),
            take_l=step.fill.take_l,
            cost=None if dock.price_per_l is None else step.fill.take_l * dock.price_per_l,
            wait_h=step.fill.wait_h,
            alternate=alternate,
            why=self._why(path, index),
            cautions=dock.cautions,
            hours=None if dock.hours is None else str(dock.hours),
            vhf=dock.facts.get("vhf"),
            phone=dock.facts.get("phone"),
        )

    def _why(self, path: list[Label], index: int) -> str:
        """Say what would happen without a stop: the fuel carried past it to the next place where it fails."""
        mean_l, burned_l, sd_l = self._burned_on_arrival(path[index])
        distance_nmi = 0.0
        for step in path[index + 1 :]:
            if step.hop is None:
                break
            burned_l += step.hop.track.fuel_l
            distance_nmi += step.hop.track.distance_nmi
            low_l = self.problem.low_l(mean_l, burned_l, sd_l)
            name = self._place_name(step.place)
            if low_l < self.problem.floor_l:
                under = self.units.volume_up(self.problem.floor_l - low_l)
                where = f"{name}, {shown_distance(distance_nmi)} on,"
                if low_l < self.question.boat.tank.unusable_l:
                    return f"without it {where} can't be counted on at all: {under} short of keeping the reserve"
                return f"without it {where} is reached {under} into the reserve"
        return "without it a later fill would have to be larger"

    def _alternate(self, place: int, mean_l: float, burned_l: float, sd_l: float, stage: int) -> Alternate | None:
        """Find where most fuel would be left if the dock were closed; on the reserve, but never below unusable fuel."""
        targets = {*self.problem.docks, self.problem.targets[min(stage, len(self.problem.targets) - 1)]} - {place}
        return self._best_beyond(place, targets, mean_l, burned_l, sd_l)

    def _onward(self, end: Label) -> tuple[Alternate | None, str]:
        """For a destination without fuel, find the nearest dock that suits."""
        if end.place in self.problem.docks:
            return None, ""
        beyond = self._best_beyond(end.place, set(self.problem.docks), end.mean_l, end.burned_l, end.sd_l)
        name = self._place_name(end.place)
        if beyond is None:
            return None, f"{name} sells no fuel that suits, and no dock that does is in reach from there"
        return beyond, ""

    def _best_beyond(
        self, place: int, others: set[int], mean_l: float, burned_l: float, sd_l: float
    ) -> Alternate | None:
        best: Alternate | None = None
        for other, found in self._beyond(place, others):
            track = min(found, key=lambda t: t.fuel_l)
            low_l = low_figure_l(mean_l, burned_l + track.fuel_l, sd_l, self.problem.sd_share, self.problem.z)
            if low_l >= self.question.boat.tank.unusable_l and (best is None or low_l > best.left_l):
                best = Alternate(name=self._place_name(other), distance_nmi=track.distance_nmi, left_l=low_l)
        return best

    def _beyond(self, place: int, others: set[int]) -> list[tuple[int, tuple[Any, ...]]]:
        graph = self.problem.graph
        if graph.out_degree(place):
            return [
                (other, tuple(edge["track"] for edge in graph[place][other].values()))
                for other in sorted(others)
                if graph.has_edge(place, other)
            ]
        found = self.tracks.find([(place, other) for other in sorted(others)], self.question.boat.tank.full_mark_l)
        return [(other, tracks) for (a, other), tracks in found.items() if a == place]


def _limit_words(network: Network, pair: list[Stretch]) -> str | None:
    """Say which limit begins or ends between two stretches; nothing where only the course changes."""
    before, after = pair
    if before.kind != "leg" or after.kind != "leg" or before.area == after.area:
        return None
    if after.area < 0:
        return "limit ends"
    return f"{network.water.speed_areas[after.area].limit_kn:g} kn from here"


def _rounded(position: list[float]) -> tuple[float, float]:
    return round(position[0], 6), round(position[1], 6)


def _difference(first: Plan, other: Plan, question: Question) -> str:
    """Tell how a plan differs from the recommended one, in words."""
    said = []
    more_stops = len(other.stops) - len(first.stops)
    if more_stops:
        said.append(f"{_count(len(other.stops))} instead of {_count(len(first.stops))}")
    else:
        said.append(f"stops at {', '.join(s.dock for s in other.stops)}")
    later_h = other.time_h - first.time_h
    said.append(f"arrives {shown_duration(abs(later_h))} {'later' if later_h > 0 else 'earlier'}")
    said += [f"waits {shown_duration(s.wait_h)} at {s.dock} for it to open" for s in other.stops if s.wait_h > 1 / 60]
    if first.cost is not None and other.cost is not None and abs(other.cost - first.cost) >= 0.5:
        word = "more" if other.cost > first.cost else "less"
        said.append(
            f"{shown_money(abs(other.cost - first.cost), question.network.region.about.currency)} {word} for fuel"
        )
    margin_l = other.least_margin_l - first.least_margin_l
    said.append(
        f"least margin {question.boat.units.volume_down(abs(margin_l))} {'larger' if margin_l > 0 else 'smaller'}"
    )
    return "; ".join(said)


def _count(stops: int) -> str:
    return {0: "no stop", 1: "one stop", 2: "two stops"}.get(stops, f"{stops} stops")
