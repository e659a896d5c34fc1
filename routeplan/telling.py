"""From a label of the search to a plan that is told: legs, stops, alternates, and why each stop is there."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import shapely

from layers.plane import METRES_PER_NMI
from routeplan.chances import find_chances
from routeplan.detours import plain_distances_nmi
from routeplan.escapes import Escapes
from routeplan.gate_waits import DAYLIGHT, sail
from routeplan.itinerary import Stretch, TurnNames, find_stretches
from routeplan.plans import Alternate, Leg, Passed, Plan, PlanName, Stop, Wait
from routeplan.steered_legs import SteeredStretch, find_streams_met, steer_stretches
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from routeplan.asking import Question
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.problem import Hop, Label, Problem
    from routeplan.sailing import Made
    from routeplan.tracks import Track, Tracks

__all__ = ["Teller"]

_SHELTERS = ("dock", "harbour", "anchorage")
_SHORT_WAIT_H = 0.5  # [h] an alternate that opens sooner than this counts as open
_DOUBT_WORTH = timedelta(hours=2)  # how much later a sure alternate may be than a doubtful one
_AT_THE_MARK_L = 0.1  # [l] a fill that ends so near the mark is told as one to the mark: nobody pours beyond it
_LONGEST_WAIT_H = 24.0  # [h] one that stays shut for longer is none


class Teller:
    """Turns labels into plans.

    Parameters
    ----------
    question
        What was asked.
    tracks
        Its rates are those that were planned with, the chosen speed's first.
    problem
        The search that found the labels.
    plain
        The network without a wider stand-off and fairways, where these were asked for.
    """

    def __init__(
        self, question: Question, tracks: Sequence[Tracks], problem: Problem, plain: Network | None = None
    ) -> None:
        self.plain = plain
        self.question = question
        self.tracks = tracks[0]
        self.rates = {t.rates.speed_kn[0]: t.rates for t in tracks}
        self.problem = problem
        self.units = question.boat.units
        self.escapes = Escapes(problem)

    def tell(self, label: Label, name: PlanName, also: tuple[PlanName, ...] = ()) -> Plan:
        """Tell one way to have come to the destination.

        Parameters
        ----------
        label
            At the last target.
        name, also
            What the plan is best at.

        Returns
        -------
        The plan, marked as recommended.
        """
        path = label.path()
        chances = find_chances(self.problem, label)
        legs, points = self._legs(path)
        stops = tuple(self._stop(path, i) for i, step in enumerate(path) if step.fill is not None)
        costs = [stop.cost for stop in stops]
        margins = [self._low_on_arrival(step) - self.problem.floor_l for step in path[1:]]
        end = path[-1]
        onward, cautions = self._onward(end)
        cautions += [f"{stop.dock}: {c}" for stop in stops for c in stop.cautions]
        cautions += [
            f"{stop.dock}: if closed, {stop.alternate.name} opens {shown_duration(stop.alternate.wait_h)} later only"
            for stop in stops
            if stop.alternate is not None and stop.alternate.wait_h > _LONGEST_WAIT_H
        ]
        cautions += [
            f"{stop.dock}: no other dock is in reach if it is closed; make sure of it before leaving"
            for stop, step in zip(stops, (s for s in path if s.fill is not None), strict=True)
            if stop.alternate is None and step.hop is not None
        ]
        cautions += [
            f"{self._place_name(before.place)} is no harbour, dock or anchorage that is known: find a place to wait at"
            for before, step in pairwise(path)
            if step.hop is not None and step.hop.gate and self._place_kind(before.place) not in _SHELTERS
        ]
        plane, conditions = self.question.network.water.plane, self.question.conditions
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
            chance_reserve_kept=chances.reserve_kept,
            chance_never_dry=chances.never_dry,
            longer_nmi=self._longer_nmi(path),
            closed_dock=self.problem.closed_dock,
            aboard_on_arrival_l=end.aboard_l,
            aboard_on_arrival_low_l=self.problem.low_l(end.mean_l, end.burned_l, end.sd_l),
            speeds_kn=tuple(step.hop.track.speed_kn for step in path if step.hop is not None),
            legs=tuple(legs),
            stops=stops,
            waits=tuple(self._waits(path)),
            onward=onward,
            slower=(),
            leans_on=tuple(
                f"{dock.name} ({', '.join(dock.doubts)})"
                for dock in (self.problem.docks[step.place] for step in path if step.fill is not None)
                if dock.doubts
            ),
            cautions=tuple(cautions),
            still_water=conditions is None or conditions.currents is None,
            streams=find_streams_met(conditions, self.question.network.water, legs),
            track=_geojson(track),
        )

    def breaches(self, label: Label) -> list[int]:
        """List the stops that break the closed-dock rule.

        Parameters
        ----------
        label
            At the last target.

        Returns
        -------
        Terminals, in order.
        """
        return [
            step.place
            for step in label.path()
            if step.fill is not None
            and step.hop is not None
            and not self.escapes.allows(step.place, step.stage, *self._burned_on_arrival(step))
        ]

    def _longer_nmi(self, path: list[Label]) -> float | None:
        """[nmi] Tell how much longer a way is than it would be without what was asked to keep off from or to."""
        if self.plain is None:
            return None
        question = self.question
        hops = [(a.place, b.place, b.hop.track.distance_nmi) for a, b in pairwise(path) if b.hop is not None]
        plain = plain_distances_nmi(
            question.network, self.plain, question.boat, question.speed_kn, [(a, b) for a, b, _ in hops]
        )
        return sum(nmi - plain.get((a, b), nmi) for a, b, nmi in hops)

    def _waits(self, path: list[Label]) -> Iterator[Wait]:
        """Tell where the boat lies before she goes on: for a gate, slack water or light, and nights without a fill."""
        for before, step in pairwise(path):
            if step.hop is None:
                continue
            since_h = before.time_h if before.fill is not None or before.hop is None else before.hop.arrive_h
            wait_h = step.hop.depart_h - since_h
            rests = before.fill is None and before.hop is not None and before.time_h > before.hop.arrive_h
            if step.hop.gate or rests:
                gate = step.hop.gate or DAYLIGHT
                yield Wait(
                    at=self._place_name(before.place), until=self._at(step.hop.depart_h), wait_h=wait_h, gate=gate
                )

    def _at(self, time_h: float) -> datetime:
        return self.problem.depart + timedelta(hours=time_h)

    def _place_kind(self, terminal: int) -> str:
        return self.question.network.terminals[terminal].place.kind

    def _place_name(self, terminal: int) -> str:
        return self.question.network.terminals[terminal].place.name

    def _burned_on_arrival(self, step: Label) -> tuple[float, float, float]:
        """[l] Mean at the last known level, burn since and its sd, on arrival and before any fill."""
        return (self.problem.mean_l, 0.0, self.problem.sd_l) if step.hop is None else step.on_arrival

    def _low_on_arrival(self, step: Label) -> float:
        return self.problem.low_l(*self._burned_on_arrival(step))

    def _legs(self, path: list[Label]) -> tuple[list[Leg], list[tuple[float, float]]]:
        network, plane = self.question.network, self.question.network.water.plane
        names = TurnNames(network)
        legs: list[Leg] = []
        points: list[tuple[float, float]] = []
        for before, step in pairwise(path):
            if step.hop is None:
                continue
            steered = self._steered(step.hop)
            stretches = [one.stretch for one in steered]
            points += [s.a for s in stretches] + [stretches[-1].b]
            positions = plane.to_lonlat([s.a for s in stretches] + [stretches[-1].b]).tolist()
            here = self._place_name(before.place)
            time_h, burned_l = step.hop.depart_h, before.burned_l
            for i, (stretch, made) in enumerate((one.stretch, one.made) for one in steered):
                last = i == len(stretches) - 1
                there = self._place_name(step.place)
                if not last:
                    there = names.name(len(legs) + 1, stretch.b, _point_words(stretch, steered[i + 1]))
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
                        passes=tuple(
                            Passed(
                                name=name,
                                after_nmi=share * stretch.distance_nmi,
                                abeam_nmi=off_m / METRES_PER_NMI,
                                side="port" if port else "starboard",
                                at=self._at(time_h + share * stretch.time_h),
                            )
                            for name, share, off_m, port in names.passed(stretch.a, stretch.b)
                        ),
                        **({} if made is None or made.drift_kn is None else _in_current(made)),
                    )
                )
                here, time_h = there, time_h + stretch.time_h
        if len(points) == 1 or not points:
            only = plane.to_plane([network.terminals[self.problem.start].place.position])[0]
            points = [tuple(only), tuple(only)]
        return legs, points

    def _steered(self, hop: Hop) -> list[SteeredStretch]:
        """Cut a hop into the legs that are steered."""
        question, rates = self.question, self.rates[hop.track.speed_kn]
        conditions = question.conditions
        counted = conditions is not None and conditions.currents is not None
        stretches = find_stretches(question.network, rates, hop.track, streams=not counted)
        if conditions is None:
            return [SteeredStretch(stretch, None) for stretch in stretches]
        leave_h = conditions.hours_at(self.problem.depart) + hop.depart_h
        return steer_stretches(conditions, question.network.water, question.boat, rates, stretches, leave_h)

    def _stop(self, path: list[Label], index: int) -> Stop:
        step = path[index]
        if step.fill is None:
            raise ValueError(step.place)  # called for fill-ups only
        dock = self.problem.docks[step.place]
        mean_l, burned_l, sd_l = self._burned_on_arrival(step)
        arrive_h = 0.0 if step.hop is None else step.hop.arrive_h
        # Who waits for a dock to open learns only then that it stays closed.
        found_h = step.fill.begin_h
        alternate, keeps = (None, True) if step.hop is None else self._alternate(step, found_h, mean_l, burned_l, sd_l)
        ends_at_mark = mean_l - burned_l + step.fill.take_l >= self.problem.full_l - _AT_THE_MARK_L
        return Stop(
            dock=dock.name,
            position=dock.position,
            arrive=self._at(arrive_h),
            begin=self._at(step.fill.begin_h),
            depart=self._at(step.fill.end_h),
            aboard_l=mean_l - burned_l,
            aboard_low_l=self.problem.low_l(mean_l, burned_l, sd_l),
            take_l=step.fill.take_l,
            to_mark=step.fill.to_mark or ends_at_mark,
            cost=None if dock.price_per_l is None else step.fill.take_l * dock.price_per_l,
            price_per_l=dock.price_per_l,
            wait_h=step.fill.wait_h,
            alternate=alternate,
            keeps_closed_dock_rule=keeps,
            why=self._why(path, index),
            instead=None,
            confirmed_on=_confirmed_on(dock),
            cautions=dock.cautions,
            hours=None if dock.hours is None else str(dock.hours),
            vhf=dock.facts.get("vhf"),
            phone=dock.facts.get("phone"),
        )

    def _why(self, path: list[Label], index: int) -> str:
        """Say what would happen without a stop: the fuel carried past it to the next place where it fails."""
        mean_l, burned_l, sd_l = self._burned_on_arrival(path[index])
        if path[index].hop is None:
            return "the passage begins with it, as asked"
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
                unusable_l = self.question.boat.tank.unusable_l
                if low_l < unusable_l:
                    more = self.units.volume_up(unusable_l - low_l)
                    return f"without it {where} would take the whole reserve and {more} more"
                return f"without it {where} is reached {under} into the reserve"
            if step.fill is not None:
                over = self.units.volume_down(low_l - self.problem.floor_l)
                return f"without it {name} is still reached, {over} above the reserve"
        return "without it a later fill would have to be larger"

    def _alternate(
        self, step: Label, found_h: float, mean_l: float, burned_l: float, sd_l: float
    ) -> tuple[Alternate | None, bool]:
        """Find where to go if the dock were closed, and whether that keeps the closed-dock rule.

        The place where the boat can fill soonest, a doubtful one being given two hours' handicap. Where no way out
        keeps the rule, the best place in reach is told all the same, above the unusable fuel.
        """
        found = []
        for way in self.escapes.open_ways(step.place, step.stage, mean_l, burned_l, sd_l):
            ways = [way.tracks]
            if len(way.tracks) == 1:  # not slower than need be
                straight = [edge["track"] for edge in self.problem.graph[step.place][way.place].values()]
                ways = [
                    (track,)
                    for track in sorted(straight, key=lambda t: (-t.speed_kn, t.fuel_l))
                    if self.escapes.can_take(replace(way, fuel_l=track.most_l), mean_l, burned_l, sd_l)
                ]
            told = (self._alternate_at(way.place, tracks, found_h, mean_l, burned_l, sd_l) for tracks in ways)
            found += [alternate for alternate in told if alternate is not None][:1]
        keeps = bool(found)
        if not found:
            others = {*self.problem.docks, self.problem.targets[-1]} - {step.place}
            found = self._in_reach(step.place, others, found_h, mean_l, burned_l, sd_l)
        return self._best_alternate(found), keeps

    def _best_alternate(self, found: list[Alternate]) -> Alternate | None:
        return min(
            found,
            key=lambda f: (f.begin + (_DOUBT_WORTH if self._is_doubtful(f) else timedelta()), -f.left_l),
            default=None,
        )

    def _onward(self, end: Label) -> tuple[Alternate | None, list[str]]:
        """Say where fuel is to be had after the destination, unless it is sold there on arrival."""
        name = self._place_name(end.place)
        dock = self.problem.docks.get(end.place)
        said: list[str] = []
        docks = set(self.problem.docks)
        if dock is not None:
            wait_h = self._wait_h(end.place, end.time_h, end.aboard_l)
            if wait_h is not None and wait_h <= _SHORT_WAIT_H:
                return None, [f"{name}: {caution}" for caution in dock.cautions]
            is_long = wait_h is None or wait_h > _LONGEST_WAIT_H
            opens = "stays shut for more than a day" if is_long else f"opens {shown_duration(wait_h or 0.0)} later"
            said.append(f"{name} is shut on arrival and {opens} ({dock.hours})")
            docks -= {end.place}
        found = self._in_reach(end.place, docks, end.time_h, end.mean_l, end.burned_l, end.sd_l)
        nearest = min(found, key=lambda f: (self._is_doubtful(f), f.distance_nmi), default=None)
        if nearest is None:
            said.append(f"from {name} no dock that suits and opens within a day is in reach: ask for fuel there")
        return nearest, said

    def _is_doubtful(self, alternate: Alternate) -> bool:
        return any(dock.name == alternate.name and dock.doubts for dock in self.problem.docks.values())

    def _in_reach(
        self, place: int, others: set[int], time_h: float, mean_l: float, burned_l: float, sd_l: float
    ) -> list[Alternate]:
        """List where the boat could go on to and fill within a day, each by its track that leaves most."""
        found = []
        for other, tracks in self._beyond(place, others):
            for track in sorted(tracks, key=lambda t: t.fuel_l):
                alternate = self._alternate_at(other, (track,), time_h, mean_l, burned_l, sd_l)
                unusable_l = self.question.boat.tank.unusable_l
                if alternate is None or alternate.left_l < unusable_l or alternate.wait_h > _LONGEST_WAIT_H:
                    continue
                found.append(alternate)
                break
        return found

    def _alternate_at(
        self, place: int, tracks: Sequence[Track], time_h: float, mean_l: float, burned_l: float, sd_l: float
    ) -> Alternate | None:
        """Go on to a place and tell what would be left there, and how long it stays shut; None where it never opens."""
        waited_h = 0.0
        for track in tracks:
            hop = sail(self.problem, time_h, track)
            if hop is None:
                return None
            waited_h += hop.wait_h
            time_h = hop.arrive_h
            burned_l += hop.track.fuel_l
        wait_h = self._wait_h(place, time_h, mean_l - burned_l)
        if wait_h is None:
            return None
        dock = self.problem.docks.get(place)
        take_l = None if dock is None else self._take_l(dock, mean_l - burned_l)
        lasts_h = 0.0 if dock is None else dock.fill_h(take_l or 0.0, self.problem.berthing_h)
        facts = {} if dock is None else dock.facts
        return Alternate(
            name=self._place_name(place),
            distance_nmi=sum(track.distance_nmi for track in tracks),
            speed_kn=tracks[-1].speed_kn if tracks else self.question.speed_kn,
            left_l=self.problem.low_l(mean_l, burned_l, sd_l),
            wait_h=waited_h + wait_h,
            arrive=self._at(time_h),
            begin=self._at(time_h + wait_h),
            depart=self._at(time_h + wait_h + lasts_h),
            take_l=take_l,
            price_per_l=None if dock is None else dock.price_per_l,
            hours=None if dock is None or dock.hours is None else str(dock.hours),
            vhf=facts.get("vhf"),
            phone=facts.get("phone"),
            confirmed_on=None if dock is None else _confirmed_on(dock),
            cautions=() if dock is None else dock.cautions,
        )

    def _take_l(self, dock: Dock, aboard_l: float) -> float:
        """[l] Take as much as goes up to the mark and is sold."""
        room_l = max(self.problem.full_l - aboard_l, 0.0)
        return room_l if dock.largest_sale_l is None else min(room_l, dock.largest_sale_l)

    def _wait_h(self, place: int, time_h: float, aboard_l: float) -> float | None:
        """[h] Wait for a dock to open for a fill to the mark; 0 where no fuel is sold, None where it never does."""
        dock = self.problem.docks.get(place)
        if dock is None:
            return 0.0
        return self.problem.wait_h(place, time_h, self._take_l(dock, aboard_l))

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


def _confirmed_on(dock: Dock) -> str | None:
    return str(dock.facts["confirmed_on"])[:10] if "confirmed_on" in dock.facts else None


def _in_current(made: Made) -> dict[str, float | None]:
    return {
        "steer_deg": made.steer_deg,
        "ground_kn": made.ground_kn,
        "set_deg": made.set_deg,
        "drift_kn": made.drift_kn,
    }


def _point_words(before: Stretch, steered: SteeredStretch) -> str | None:
    """Say which limit, gate or current begins or ends between two stretches; None where only the course changes."""
    after = steered.stretch
    if after.gate:
        return f"at {after.gate}"
    if before.gate:
        return f"past {before.gate}"
    if before.limit == after.limit:
        if steered.enters:
            return f"into the current of {steered.enters}"
        return f"out of the current of {steered.leaves}" if steered.leaves else None
    return after.limit or f"end of {before.limit}"


def _rounded(position: list[float]) -> tuple[float, float]:
    return round(position[0], 6), round(position[1], 6)


def _geojson(track: shapely.LineString | shapely.MultiLineString) -> dict[str, Any]:
    """Write a track: one line, or where it crosses the 180th meridian its pieces in their order."""
    lines = [[[round(x, 6), round(y, 6)] for x, y in line.coords] for line in shapely.get_parts(track)]
    if len(lines) == 1:
        return {"type": "LineString", "coordinates": lines[0]}
    return {"type": "MultiLineString", "coordinates": lines}
