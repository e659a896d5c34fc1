"""Underway: what the arrivals still to come look like now, what to do, and where needed a new plan from here.

The plan was made on what was believed; the dial tells what happened (`underway_state`). The arrivals still to come are
reckoned anew, and the advice follows the same rules as the limits on the sheet (`helm_marks`, `advising`). What breaks
the plan beside the fuel (a dock that will be shut, a position far off the route) is planned anew from here.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError
from routeplan.advising import Outlook, advise
from routeplan.ahead import by_plan, over_water
from routeplan.currents import read_currents
from routeplan.docks import read_docks
from routeplan.fallbacks import Fallbacks, stretches_of
from routeplan.fillups import SpeedRun
from routeplan.fuel import FuelAboard
from routeplan.gates_ahead import find_shut_gates
from routeplan.helm import WayLeg
from routeplan.joining import join_place
from routeplan.moments import shown_moment
from routeplan.passage import find_passage
from routeplan.places import write_position
from routeplan.plans import NoPassageError
from routeplan.saved_plans import Before
from routeplan.tracks import Tracks
from routeplan.underway_state import ON_ROUTE_NMI, find_state
from routeplan.underway_values import Advice, Arrival, Standing, Underway
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.ahead import Ahead
    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.gates_ahead import ShutGate
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.plans import Plan
    from routeplan.saved_plans import Report, SavedPlan
    from routeplan.underway_state import AskedUnderway, State
    from routeplan.underway_values import TurnBy

__all__ = ["find_underway", "run_before"]

_SHELTERS = ("dock", "harbour", "anchorage")
_MOST_PLACES = 8  # that are steered to, the nearest ones, where fuel may be leaking
_MOST_LEGS = 6  # of a way that are told
_OFF_TIME_H = 1 / 6  # [h] so far off her time the currents ahead are others
_STREAM_KN = 0.5  # [kn] a weaker current doesn't matter
_LONGEST_WAIT_H, _LONGEST_PLAN = 24.0, timedelta(days=3)  # a new plan beyond either is no help at sea
_SECONDS_H = 0.002  # [h] a shorter time at a speed isn't told
_LATE, _SOON_OVERDUE = timedelta(minutes=30), timedelta(minutes=45)
_ARRIVED_NMI = 0.15  # [nmi] so near to the destination she is there
_OPEN_WITHIN = timedelta(minutes=30)  # a dock that opens so soon counts as open


def find_underway(asked: AskedUnderway) -> tuple[Underway, Passage | None]:
    """Tell where the boat stands and what to do.

    Parameters
    ----------
    asked
        The report, the plan, and what is at hand.

    Returns
    -------
    The answer, and the new passage that its `replan` was taken from.

    Raises
    ------
    InputError
        The report lies long before the departure or before the last one, the dial can't be right, a fill is missing, or
        no water that she can use is near the position.
    """
    saved, report = asked.saved, asked.report
    state = find_state(asked)
    network, here = join_place(asked.network, write_position(report.position), "--at")
    day = report.when.astimezone(network.region.zone).date()
    docks = read_docks(network.region, saved.boat, saved.margins.under_keel_m, day)
    road = _Road(asked, state, network, here, docks)
    ahead = road.at_speed(state.hop.speed_kn)
    advice, turn_by, beyond = _advise(road, ahead)
    there = advice.kind == "there"
    arrivals = () if there else road.arrivals(road.at_speed(advice.speed_kn) if advice.speed_kn is not None else ahead)
    findings = list(state.findings)
    if state.progress.off_nmi > ON_ROUTE_NMI and not there:
        findings.append(f"She is {shown_distance(state.progress.off_nmi)} off the route.")
    shut = [f"{arrival.name} will be {arrival.shut}." for arrival in arrivals if arrival.shut]
    shut += [] if there else [_gate_line(gate, saved) for gate in find_shut_gates(network, ahead, report.when)]
    shut += [] if there else _streams_missed(saved, state, report)
    findings += [*road.waits(), *shut]
    fails = advice.kind in ("turn", "short", "leak") or any(arrival.margin_l < 0 for arrival in arrivals)
    passage = None
    if not there and (asked.replan or state.far or fails or shut):
        passage, said = _replan(asked, state, advice)
        findings += said
    if passage is not None and advice.kind == "turn":
        passage, advice = _agreed(passage, advice, report.when)
    if advice.kind == "leak":
        passage = None  # first to the nearest place
    if passage is not None and state.far and advice.kind in ("go-on", "watch", "slow-down"):
        advice, arrivals = _follow(passage.recommended, state), _arrivals_of(passage.recommended, saved)
    findings += _tell_ashore(saved, arrivals, report.when)
    later_nmi = sum(hop.distance_nmi for hop in state.hops[state.progress.hop + 1 :])
    answer = Underway(
        when=report.when,
        position=report.position,
        aboard_l=state.today.aboard_l,
        aboard_sd_l=state.today.aboard_sd_l,
        aboard_low_l=max(0.0, state.today.aboard_l - state.z * state.today.aboard_sd_l),
        by_meter_l=state.by_meter_l,
        by_gauge_l=state.by_gauge_l,
        agree=state.agree,
        burn_factor=state.today.factor,
        burn_factor_sd=state.today.factor_sd,
        meter_factor=state.meter.factor,
        meter_factor_sd=state.meter.factor_sd,
        standing=_standing(asked, state, ahead, later_nmi),
        arrivals=arrivals,
        turn_by=turn_by,
        beyond_return=beyond,
        advice=advice,
        findings=tuple(findings),
        replan=None if passage is None else passage.recommended,
    )
    return answer, passage


def _advise(road: _Road, ahead: Ahead) -> tuple[Advice, TurnBy | None, bool]:
    """Tell what to do: arrived, fill, make for somewhere near, or what the fuel says."""
    state, units = road.state, road.boat.units
    stop = state.hop.ended_by
    at_end = ahead.total_nmi < _ARRIVED_NMI
    if at_end and stop is None:
        return Advice(kind="there", why=f"{state.hop.end} is reached"), None, False
    if at_end and stop is not None:
        take = units.volume(
            max(0.0, road.boat.tank.full_mark_l - state.today.aboard_l if stop.to_mark else stop.take_l)
        )
        mark = " to the full mark" if stop.to_mark else ""
        why = f"take about {take}{mark}; write the dial down, reset it, then enter the fill-up or note it with --filled"
        return Advice(kind="fill", dock=stop.dock, vhf=stop.vhf, phone=stop.phone, why=why), None, False
    if state.loss_lph > 0:
        return road.make_for(), None, False
    return advise(road.outlook(ahead))


def _gate_line(gate: ShutGate, saved: SavedPlan) -> str:
    opens = "it stays shut" if gate.opens is None else f"it opens {shown_moment(gate.opens, saved.zone)}"
    return f"{gate.name} ({gate.hours}) is shut when she comes, {shown_moment(gate.reached, saved.zone)}: {opens}."


def _streams_missed(saved: SavedPlan, state: State, report: Report) -> list[str]:
    """Say which currents ahead were reckoned for another time than she will come at."""
    late_h = (report.when - state.progress.planned_at).total_seconds() / 3600
    if abs(late_h) < _OFF_TIME_H:
        return []
    how = f"{shown_duration(abs(late_h))} {'later' if late_h > 0 else 'sooner'}"
    return [
        f"{met.name} was reckoned for {shown_moment(met.enter, saved.zone)}, she comes {how}: its current is another."
        for met in saved.plan.streams
        if met.leave > state.progress.planned_at and max([met.drift_kn, *(t.speed_kn for t in met.turns)]) >= _STREAM_KN
    ]


def _agreed(passage: Passage, advice: Advice, now: datetime) -> tuple[Passage | None, Advice]:
    """Turn for the dock that the new plan begins with; a plan that waits for days is none."""
    plan = passage.recommended
    first = plan.stops[0] if plan.stops else None
    if first is None or first.wait_h > _LONGEST_WAIT_H or plan.arrive - now > _LONGEST_PLAN:
        return None, advice
    if first.dock == advice.dock:
        return passage, advice
    legs = [leg for leg in plan.legs if leg.arrive <= first.arrive]
    shut = f"shut for {shown_duration(first.wait_h)} when she comes" if first.wait_h > 1 / 60 else ""
    told = advice.model_copy(
        update={
            "dock": first.dock,
            "dock_nmi": sum(leg.distance_nmi for leg in legs),
            "dock_way": tuple(WayLeg(course_deg=leg.course_deg, distance_nmi=leg.distance_nmi) for leg in legs),
            "dock_low_l": first.aboard_low_l,
            "dock_arrive": first.arrive,
            "dock_shut": shut,
            "vhf": first.vhf,
            "phone": first.phone,
        }
    )
    return passage, told


def run_before(asked: AskedUnderway) -> Before | None:
    """Tell what was run since the last fill, for a plan that goes on from here.

    Parameters
    ----------
    asked
        The report, and the plan so far.

    Returns
    -------
    The run; None right after a fill.
    """
    saved, state = asked.saved, find_state(asked)
    if asked.report.filled or asked.report.took_l is not None:
        return None
    hop, earlier = state.hop, saved.before if state.progress.hop == 0 else None
    gone_nmi = state.progress.gone_nmi if asked.distance_nmi is None else asked.distance_nmi
    begun = hop.begun_by is not None or state.progress.hop > 0
    return Before(
        start=earlier.start if earlier is not None else hop.start,
        began=earlier.began if earlier is not None else hop.legs[0].depart,
        distance_nmi=gone_nmi + (earlier.distance_nmi if earlier is not None else 0.0),
        planned_l=state.progress.burned_l + (earlier.planned_l if earlier is not None else 0.0),
        shows_l=earlier.shows_l if earlier is not None else ((0.0,) if begun else saved.helm.meter.shows_l),
        speeds_run=_speeds_run(state, earlier),
    )


def _speeds_run(state: State, earlier: Before | None) -> tuple[SpeedRun, ...]:
    """Tell how long was run at which speed on the legs that lie behind, by the plan."""
    hours = {} if earlier is None else {run.speed_kn: run.time_h for run in earlier.speeds_run}
    legs = state.hop.legs[: state.progress.leg + 1]
    for number, leg in enumerate(legs):
        share = state.progress.share if number == len(legs) - 1 else 1.0
        hours[leg.speed_kn] = hours.get(leg.speed_kn, 0.0) + share * leg.distance_nmi / leg.speed_kn
    return tuple(
        SpeedRun(speed_kn=kn, time_h=round(time_h, 4)) for kn, time_h in sorted(hours.items()) if time_h > _SECONDS_H
    )


def _follow(plan: Plan, state: State) -> Advice:
    """Tell her to follow a new plan."""
    first = plan.stops[0] if plan.stops else None
    legs = [leg for leg in plan.legs if first is None or leg.arrive <= first.arrive]
    return Advice(
        kind="new-plan",
        dock=plan.legs[-1].to if first is None else first.dock,
        dock_nmi=sum(leg.distance_nmi for leg in legs),
        dock_way=tuple(WayLeg(course_deg=leg.course_deg, distance_nmi=leg.distance_nmi) for leg in legs[:_MOST_LEGS]),
        dock_low_l=plan.aboard_on_arrival_low_l if first is None else first.aboard_low_l,
        dock_arrive=plan.arrive if first is None else first.arrive,
        vhf=None if first is None else first.vhf,
        phone=None if first is None else first.phone,
        why=f"she is {shown_distance(state.progress.off_nmi)} off the old route",
    )


def _arrivals_of(plan: Plan, saved: SavedPlan) -> tuple[Arrival, ...]:
    """Tell the arrivals of a new plan."""
    floor_l = saved.boat.floor_l
    ends = [(s.dock, True, s.arrive, s.aboard_l, s.aboard_low_l) for s in plan.stops]
    ends.append((plan.legs[-1].to, False, plan.arrive, plan.aboard_on_arrival_l, plan.aboard_on_arrival_low_l))
    return tuple(
        Arrival(
            name=name,
            is_stop=is_stop,
            arrive=arrive,
            aboard_l=aboard_l,
            low_l=low_l,
            margin_l=low_l - floor_l,
            planned_margin_l=low_l - floor_l,
            shut="",
        )
        for name, is_stop, arrive, aboard_l, low_l in ends
    )


def _tell_ashore(saved: SavedPlan, arrivals: Sequence[Arrival], now: datetime) -> list[str]:
    """Remind her of whoever waits ashore, where she will be late or turns up elsewhere."""
    end = arrivals[-1] if arrivals else None
    contact = (saved.crew.shore_contact if saved.crew is not None else "") or "whoever waits ashore"
    overdue = None if saved.crew is None else saved.crew.overdue
    if end is None or end.is_stop:
        return []
    if overdue is not None and max(end.arrive, now) > overdue - _SOON_OVERDUE:
        clock = shown_moment(overdue, saved.zone)
        return [f"She counts as overdue from {clock}: tell {contact} now when she will really arrive."]
    if end.arrive - saved.plan.arrive > _LATE:
        late = shown_duration((end.arrive - saved.plan.arrive).total_seconds() / 3600)
        return [f"She will arrive {late} later than planned: tell {contact}."]
    return []


def _standing(asked: AskedUnderway, state: State, ahead: Ahead, later_nmi: float) -> Standing:
    report, hop, progress, runs = asked.report, state.hop, state.progress, asked.runs
    return Standing(
        leg=hop.first + progress.leg + 1,
        off_route_nmi=progress.off_nmi,
        since=hop.start,
        next=hop.end,
        gone_nmi=progress.gone_nmi,
        to_next_nmi=ahead.total_nmi,
        to_end_nmi=ahead.total_nmi + later_nmi,
        late_h=(report.when - progress.planned_at).total_seconds() / 3600,
        metered_l=None if report.shows_l is None else state.since.metered_l(float(sum(report.shows_l))),
        burned_l=max(0.0, state.since.level_l - state.today.aboard_l),
        planned_l=state.planned_l,
        planned_aboard_l=hop.level_l - hop.burned_before_l - progress.burned_l,
        way=tuple(WayLeg(course_deg=course, distance_nmi=nmi) for course, nmi in ahead.way[:_MOST_LEGS]),
        distance_run_nmi=None if runs is None else runs.distance_nmi,
        mean_speed_kn=None if runs is None else runs.distance_nmi / runs.time_h,
    )


class _Road:
    """What lies ahead of the boat."""

    def __init__(
        self, asked: AskedUnderway, state: State, network: Network, here: int, docks: tuple[Dock, ...]
    ) -> None:
        self.asked, self.state, self.network, self.here, self.docks = asked, state, network, here, docks
        self.boat: Boat = asked.saved.boat
        self.by_name = {dock.name: dock for dock in docks}

    def at_speed(self, speed_kn: float) -> Ahead:
        """Find the way to the next place: by the plan, or off the route over water."""
        state, report = self.state, self.asked.report
        if state.progress.off_nmi <= ON_ROUTE_NMI:
            waits = {wait.until for wait in self.asked.saved.plan.waits}
            return by_plan(state.hop, state.progress, self.boat, report, speed_kn, waits)
        network, stops = self.network, [self.here]
        for name in [*vias_left(self.asked, state, within=True), state.hop.end]:
            network, terminal = join_place(network, name, "--at")
            if terminal != stops[-1]:
                stops.append(terminal)
        return over_water(network, self.boat, stops, speed_kn)

    def waits(self) -> list[str]:
        """Say where the plan lies and waits for a gate, if that is here and isn't over."""
        state, saved, now = self.state, self.asked.saved, self.asked.report.when
        leg = state.hop.legs[state.progress.leg]
        return [
            f"Lie at {wait.at} until {shown_moment(wait.until, saved.zone)}: "
            f"{f'the plan waits for {wait.gate}' if wait.gate else 'the group leaves then'}."
            for wait in saved.plan.waits
            if wait.until > now and leg.depart == wait.until and leg.from_ == wait.at
        ]

    def outlook(self, ahead: Ahead) -> Outlook:
        """Take together what the advice rests on."""
        state, boat = self.state, self.boat
        speeds = [kn for kn in sorted(boat.offered_speeds_kn, reverse=True) if kn < ahead.speed_kn]
        when = self.asked.report.when
        span = (when, when + timedelta(hours=ahead.total_h))
        fallbacks = Fallbacks(self.network, boat, ahead.speed_kn, self.docks, ahead.positions, span)
        return Outlook(
            boat=boat,
            today=state.today,
            z=state.z,
            when=when,
            next=state.hop.end,
            ahead=ahead,
            slower=[self.at_speed(kn) for kn in speeds],
            docks=fallbacks,
            open_then=lambda when: state.hop.ended_by is None or not self.shut(state.hop.end, when),
        )

    def make_for(self) -> Advice:
        """Find the place that is reached soonest: fuel may be running out of the boat."""
        state, plane = self.state, self.network.water.plane
        here = plane.to_plane([self.asked.report.position])[0]
        terminals = self.network.terminals
        places = [i for i, t in enumerate(terminals) if t.place.kind in _SHELTERS and t.entries]
        away = np.hypot(*(plane.to_plane([terminals[i].place.position for i in places]) - here).T) if places else []
        near = [places[i] for i in np.argsort(away)[:_MOST_PLACES].tolist()]
        tracks = Tracks(self.network, self.boat, state.hop.speed_kn).find([(self.here, i) for i in near])
        ways = [(min(t, key=lambda track: track.time_h), b) for (a, b), t in tracks.items() if a == self.here]
        rate = self.boat.units.burn(state.loss_lph)
        why = f"about {rate} are lost beside what the dial counts, if the gauge is right"
        if not ways:
            return Advice(kind="leak", why=why)
        track, place = min(ways, key=lambda way: way[0].time_h)
        return Advice(
            kind="leak",
            dock=terminals[place].place.name,
            dock_nmi=track.distance_nmi,
            dock_way=tuple(WayLeg(course_deg=c, distance_nmi=nmi) for c, nmi in stretches_of(plane, track.bends)),
            dock_low_l=state.today.low_l(track.fuel_l, state.z) - state.loss_lph * track.time_h,
            dock_arrive=self.asked.report.when + timedelta(hours=track.time_h),
            why=why,
        )

    def arrivals(self, ahead: Ahead) -> tuple[Arrival, ...]:
        """Reckon the arrivals still to come: the next one from the fuel aboard, later ones from full marks on."""
        state, boat, z = self.state, self.boat, self.state.z
        known, burn_l, added_l = state.today, ahead.total_l, 0.0
        lost_l = state.loss_lph * ahead.total_h
        found = []
        when = self.asked.report.when + timedelta(hours=ahead.total_h)
        for index in range(state.progress.hop, len(state.hops)):
            hop = state.hops[index]
            stop = hop.ended_by
            planned = stop.aboard_low_l if stop is not None else self.asked.saved.plan.aboard_on_arrival_low_l
            mean_l, sd_l = known.on_arrival(burn_l)
            mean_l -= lost_l
            low_l = mean_l + added_l - z * sd_l
            found.append(
                Arrival(
                    name=hop.end,
                    is_stop=stop is not None,
                    arrive=when,
                    aboard_l=mean_l + added_l,
                    low_l=low_l,
                    margin_l=low_l - boat.floor_l,
                    planned_margin_l=planned - boat.floor_l,
                    shut=self.shut(hop.end, when) if stop is not None else "",
                )
            )
            if stop is None or index + 1 == len(state.hops) or lost_l > 0:  # what leaks is not known any further
                break
            onward = state.hops[index + 1]
            when += stop.depart - stop.begin
            when += onward.legs[-1].arrive - onward.legs[0].depart
            if stop.to_mark:
                full_l, sd_l = boat.tank.full_mark_l, boat.full_mark_sd_l
                known = replace(state.today, aboard_l=full_l, aboard_sd_l=sd_l, together_l=0.0)
                burn_l, added_l = onward.fuel_l, 0.0
            else:
                burn_l, added_l = burn_l + onward.fuel_l, added_l + stop.take_l
        return tuple(found)

    def shut(self, name: str, when: datetime) -> str:
        """Say for how long a dock is shut at a moment; nothing where it is open, or not a dock."""
        dock = self.by_name.get(name)
        if dock is None:
            return ""
        try:
            begin = dock.begin_fill(when, dock.fill_h(0.5 * self.boat.tank.capacity_l, 0.0))
        except NeverOpensError:
            return "shut, for long"
        if begin - when <= _OPEN_WITHIN:
            return ""
        return f"shut for {shown_duration((begin - when).total_seconds() / 3600)} when she comes ({dock.hours})"


def vias_left(asked: AskedUnderway, state: State, *, within: bool = False) -> list[str]:
    """List the places that were to be passed and haven't been yet.

    Parameters
    ----------
    asked
        The plan that is followed.
    state
        Where she stands.
    within
        Whether only those before the next fill count.

    Returns
    -------
    Names, in order.
    """
    legs = asked.saved.plan.legs
    here = state.hop.first + state.progress.leg
    until = state.hop.first + len(state.hop.legs) - 1 if within else len(legs) - 1
    left: list[str] = []
    at = 0
    for name in asked.saved.trip.via:
        while at < len(legs) - 1 and legs[at].to.casefold() != " ".join(name.split()).casefold():
            at += 1
        if here <= at < until or (here <= at == until and not within):
            left.append(name)
        at += 1
    return left


def _replan(asked: AskedUnderway, state: State, advice: Advice) -> tuple[Passage | None, list[str]]:
    """Plan anew from here, with the fuel that is left and with today's burn."""
    saved, report, today = asked.saved, asked.report, state.today
    burn = saved.boat.burn
    # Fuel and burn lean the same way, and a new plan takes them apart: both are told so much wider that none of its low
    # figures is better than today's own, whatever the burn (t R0 + t R^2 / R0 >= 2 t R).
    about_l = max(0.25 * today.aboard_l, 1.0)
    aboard_sd_l = math.sqrt(today.aboard_sd_l**2 + today.together_l * about_l)
    spread = max(today.factor_sd**2, min(today.usual_sd**2, today.factor_sd**2 + today.wander_l / about_l))
    sd_share = math.sqrt(spread + today.together_l / about_l) / today.factor
    table = burn.model_copy(
        update={
            "burn_lph": tuple(lph * today.factor for lph in burn.burn_lph),
            "sd_share": min(0.99, sd_share),
        }
    )
    boat = saved.boat.model_copy(update={"burn": table})
    trip_kn = saved.trip.speed_kn
    how = f"{boat.units.volume_pm(today.aboard_l, aboard_sd_l)} as reckoned underway"
    trip = saved.trip.model_copy(
        update={
            "start": write_position(report.position),
            "depart": report.when,
            "aboard": FuelAboard(mean_l=max(0.0, today.aboard_l), sd_l=aboard_sd_l, how=how),
            "via": tuple(vias_left(asked, state)),
            "speed_kn": advice.speed_kn if advice.kind == "slow-down" else trip_kn,
            "fill_first": False,
        }
    )
    try:
        currents = None if saved.plan.still_water else read_currents(asked.network.region)
        return find_passage(asked.network, trip, now=report.when, boat=boat, currents=currents), []
    except NoPassageError as error:
        return None, [f"No plan from here keeps the rules: {error.refusal.why}."]
