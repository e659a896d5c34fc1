"""Underway: what the arrivals still to come look like now, what to do, and where needed a new plan from here.

The plan was made on what was believed; the dial tells what happened (`underway_state`). The arrivals still to come are
reckoned anew, and the advice follows the same rules as the limits on the sheet (`helm_marks`, `advising`). What breaks
the plan beside the fuel (a dock that will be shut, a position far off the route) is planned anew from here.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from layers.hours import NeverOpensError
from routeplan.advising import Outlook, advise
from routeplan.ahead import by_plan, over_water
from routeplan.docks import read_docks
from routeplan.fallbacks import Fallbacks
from routeplan.fuel import FuelAboard
from routeplan.joining import join_place
from routeplan.passage import find_passage
from routeplan.places import write_position
from routeplan.plans import NoPassageError
from routeplan.underway_state import ON_ROUTE_NMI, find_state
from routeplan.underway_values import Advice, Arrival, Standing, Underway
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.ahead import Ahead
    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.underway_state import Asked, State

__all__ = ["find_underway"]

_ARRIVED_NMI = 0.15  # [nmi] so near to the destination she is there
_OPEN_WITHIN = timedelta(minutes=30)  # a dock that opens so soon counts as open


def find_underway(asked: Asked) -> tuple[Underway, Passage | None]:
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
    is_last = state.hop.ended_by is None
    there = is_last and ahead.total_nmi < _ARRIVED_NMI
    arrivals = () if there else road.arrivals(ahead)
    turn_by, beyond = None, False
    if there:
        advice = Advice(kind="there", why=f"{state.hop.end} is reached")
    else:
        advice, turn_by, beyond = advise(road.outlook(ahead))
    findings = list(state.findings)
    if state.progress.off_nmi > ON_ROUTE_NMI and not there:
        away = f"{shown_distance(state.progress.off_nmi)} off the route"
        findings.append(f"She is {away}: planned anew from here." if state.far else f"She is {away}.")
    shut = [f"{arrival.name} will be {arrival.shut}." for arrival in arrivals if arrival.shut]
    findings += shut
    fails = advice.kind in ("turn", "short") or any(arrival.margin_l < 0 for arrival in arrivals)
    passage = None
    if not there and (asked.replan or state.far or fails or shut):
        passage, said = _replan(asked, state)
        findings += said
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


def _standing(asked: Asked, state: State, ahead: Ahead, later_nmi: float) -> Standing:
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
        distance_run_nmi=None if runs is None else runs.distance_nmi,
        mean_speed_kn=None if runs is None else runs.distance_nmi / runs.time_h,
    )


class _Road:
    """What lies ahead of the boat."""

    def __init__(self, asked: Asked, state: State, network: Network, here: int, docks: tuple[Dock, ...]) -> None:
        self.asked, self.state, self.network, self.here, self.docks = asked, state, network, here, docks
        self.boat: Boat = asked.saved.boat
        self.by_name = {dock.name: dock for dock in docks}

    def at_speed(self, speed_kn: float) -> Ahead:
        """Find the way to the next place: by the plan, or off the route over water."""
        state, report = self.state, self.asked.report
        if state.progress.off_nmi <= ON_ROUTE_NMI:
            return by_plan(state.hop, state.progress, self.boat, report.position, speed_kn)
        network, stops = self.network, [self.here]
        for name in [*vias_left(self.asked, state, within=True), state.hop.end]:
            network, terminal = join_place(network, name, "--at")
            if terminal != stops[-1]:
                stops.append(terminal)
        return over_water(network, self.boat, stops, speed_kn)

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

    def arrivals(self, ahead: Ahead) -> tuple[Arrival, ...]:
        """Reckon the arrivals still to come: the next one from the fuel aboard, later ones from full marks on."""
        state, boat, today, z = self.state, self.boat, self.state.today, self.state.z
        found = []
        when = self.asked.report.when + timedelta(hours=ahead.total_h)
        mean_l, sd_l = today.on_arrival(ahead.total_l)
        for index in range(state.progress.hop, len(state.hops)):
            hop = state.hops[index]
            stop = hop.ended_by
            planned = stop.aboard_low_l if stop is not None else self.asked.saved.plan.aboard_on_arrival_low_l
            low_l = mean_l - z * sd_l
            found.append(
                Arrival(
                    name=hop.end,
                    is_stop=stop is not None,
                    arrive=when,
                    aboard_l=mean_l,
                    low_l=low_l,
                    margin_l=low_l - boat.floor_l,
                    planned_margin_l=planned - boat.floor_l,
                    shut=self.shut(hop.end, when) if stop is not None else "",
                )
            )
            if stop is None:
                break
            onward = state.hops[index + 1] if index + 1 < len(state.hops) else None
            if onward is None:
                break
            when += stop.depart - stop.begin
            when += onward.legs[-1].arrive - onward.legs[0].depart
            level_l = boat.tank.full_mark_l if stop.to_mark else mean_l + stop.take_l
            level_sd_l = boat.full_mark_sd_l if stop.to_mark else sd_l
            mean_l = level_l - onward.fuel_l * today.factor
            sd_l = (level_sd_l**2 + (onward.fuel_l * today.factor_sd) ** 2) ** 0.5
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


def vias_left(asked: Asked, state: State, *, within: bool = False) -> list[str]:
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


def _replan(asked: Asked, state: State) -> tuple[Passage | None, list[str]]:
    """Plan anew from here, with the fuel that is left and with today's burn."""
    saved, report, today = asked.saved, asked.report, state.today
    burn = saved.boat.burn
    table = burn.model_copy(
        update={
            "burn_lph": tuple(lph * today.factor for lph in burn.burn_lph),
            "sd_share": min(0.99, max(today.factor_sd / today.factor, 0.0)),
        }
    )
    boat = saved.boat.model_copy(update={"burn": table})
    how = f"{boat.units.volume_pm(today.aboard_l, today.aboard_sd_l)} as reckoned underway"
    trip = saved.trip.model_copy(
        update={
            "start": write_position(report.position),
            "depart": report.when,
            "aboard": FuelAboard(mean_l=max(0.0, today.aboard_l), sd_l=today.aboard_sd_l, how=how),
            "via": tuple(vias_left(asked, state)),
            "fill_first": False,
        }
    )
    try:
        return find_passage(asked.network, trip, now=report.when, boat=boat), []
    except NoPassageError as error:
        return None, [f"No plan from here keeps the rules: {error.refusal.why}."]
