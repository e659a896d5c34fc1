"""The group cruise: from what the organiser asks to one plan for all, or to who or what stands against it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.cautions import SAFETY_CAUTIONS, find_doubts
from routeplan.cruise_asked import CruiseAsked, name_key
from routeplan.cruise_days import find_days
from routeplan.cruise_limits import find_limits
from routeplan.cruise_telling import tell_boats, tell_days, tell_legs, tell_stops
from routeplan.cruises import CruisePlan, CruiseRefusal, LeftBehind, NoCruiseError, OneDockMore
from routeplan.dividing import Waters, divide
from routeplan.dock_choice import Chooser
from routeplan.margins import Margins
from routeplan.parties import deepest_and_tallest, join_visits, water_key
from routeplan.places import nearest_names
from routeplan.refusals import explain_refusal
from routeplan.units_shown import shown_duration

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.cruise_days import CruiseDays
    from routeplan.cruise_telling import Told
    from routeplan.dividing import Division
    from routeplan.dock_choice import Choice
    from routeplan.group_plans import GroupPlan
    from routeplan.network import Network
    from routeplan.parties import Party
    from routeplan.plans import Refusal

    Progress = Callable[[float], None]

__all__ = ["Cruise", "find_cruise"]

_TIE_H = 1e-6
_TOLD_H = 1 / 12  # [h] one dock more is told if it saves so much
_MINUTE_H = 1 / 60
_SECOND_H = 1 / 3600
_AT_YOUR_OWN = "daylight = false in the cruise file, at your own judgement"


@dataclass(frozen=True, eq=False)
class Cruise:
    """The answer to a cruise.

    Parameters
    ----------
    asked
        What was asked; boats that were left behind aren't in it.
    region
        The layers.
    plan
        What is told of it.
    told
        Each boat's cruise, in the order of the plan's boats.
    """

    asked: CruiseAsked
    region: Region
    plan: CruisePlan
    told: tuple[Told, ...]


def find_cruise(
    asked: CruiseAsked,
    region: Region,
    margins: Margins | None = None,
    *,
    build: Callable[[Boat], Network] | None = None,
    now: datetime | None = None,
    progress: Progress | None = None,
) -> Cruise:
    """Plan a group cruise.

    Parameters
    ----------
    asked
        What is asked.
    region
        The layers.
    margins
        What is kept clear of; the defaults where None.
    build
        Builds the network of a boat's water with these margins; None builds it here.
    now
        The clock: docks are stale, and departures past, against it. None takes the departure itself.
    progress
        Called now and then with the share of the work that is done.

    Returns
    -------
    The cruise: fewest docks first, then least delay, then cost. `CruisePlan.docks_proven`, `delay_gap_h` and each
    stop's `gap_min` say how much of that is proven.

    Raises
    ------
    InputError
        A visit or a dock is unknown, can't be reached, or the boats have no such common speed.
    NoCruiseError
        Boats can't come, or days are too long; carries who, where and by how much.
    """
    clock, margins = now or asked.depart, margins or Margins()
    if build is None:
        build = partial(build_network, region, margins=margins, when=asked.depart)
    _check_told_docks(asked, region)
    waters = Waters(region, margins, clock.astimezone(region.zone).date(), _remembered(build))
    whole = asked
    asked, left_behind = _without_the_unreached(asked, waters)

    def days_of(party: Party) -> CruiseDays:
        spots = [party.network.terminals[v].place.position for v in party.visits]
        return find_days(asked, spots, region.zone)

    while True:
        division = divide(asked, waters, days_of)
        days = days_of(division.parties[0])
        _check_daylight(asked, days, region)
        chooser = Chooser(division.parties, days, progress)
        unable = [(division.parties[p].members[m], _left_behind(division.parties[p], m)) for p, m in chooser.unable()]
        if not unable:
            break
        left_behind = (*left_behind, *(told for _, told in unable))
        asked = _without(asked, {m for m, _ in unable}, left_behind)
    cautions = _cautions(whole, division, clock)
    too_long = _late_without_fuel(division, days)
    if too_long is not None:
        raise NoCruiseError(too_long, cautions)
    choice = chooser.choose()
    if choice is None:
        raise NoCruiseError(_refuse_all(chooser, days), cautions)
    late = choice.plan.table.late(days)
    if late:
        raise NoCruiseError(_refuse_days(asked, division, choice.plan, days, late), cautions)
    return _tell(asked, region, division, days, choice, (*cautions, *_clock_cautions(asked, choice)), left_behind)


def _remembered(build: Callable[[Boat], Network]) -> Callable[[Boat], Network]:
    """Build each water once: ways that were found on it are kept with it."""
    known: dict[tuple[float, ...], Network] = {}

    def find(boat: Boat) -> Network:
        key = (boat.draught_m, boat.air_draught_m, boat.no_wake_kn, *(boat.burn.unsteady_kn or ()))
        if key not in known:
            known[key] = build(boat)
        return known[key]

    return find


def _check_told_docks(asked: CruiseAsked, region: Region) -> None:
    names = [str(name) for name in region.layer("docks")["name"]] if len(region.layer("docks")) else []
    for told in asked.docks:
        if name_key(told.name) not in {name_key(name) for name in names}:
            near = nearest_names(told.name, names)
            offer = f"did you mean {' or '.join(near)}?" if near else "routeplan docks lists them"
            raise InputError("[[dock]]", f"there is no such dock in {region.about.name}", value=told.name, remedy=offer)


def _without_the_unreached(asked: CruiseAsked, waters: Waters) -> tuple[CruiseAsked, tuple[LeftBehind, ...]]:
    """Leave out the boats that can't reach a visit over their own water; refuse where nobody asked for that."""
    alike: dict[tuple[int, int], list[int]] = {}
    for m, one in enumerate(asked.boats):
        alike.setdefault(water_key(waters.region, one.boat, waters.margins), []).append(m)
    unreached: dict[int, LeftBehind] = {}
    first: InputError | None = None
    for members in alike.values():
        network = waters.build(deepest_and_tallest([asked.boats[m].boat for m in members]))
        try:
            join_visits(network, asked)
        except InputError as error:
            first = first or error
            for m in members:
                why = str(error.problem).replace(f" by {network.boat.name}:", f" by {asked.boats[m].name}:")
                unreached[m] = LeftBehind(
                    boat=asked.boats[m].name,
                    from_=asked.visits[0].place,
                    to=asked.visits[-1].place,
                    distance_nmi=None,
                    short_l=None,
                    why=why,
                    try_=(error.remedy,) if error.remedy else (),
                )
    if first is not None and len(unreached) == len(asked.boats):
        raise first
    told = tuple(unreached[m] for m in sorted(unreached))
    return (_without(asked, set(unreached), told), told) if told else (asked, ())


def _left_behind(party: Party, m: int) -> LeftBehind:
    refusal: Refusal = explain_refusal(party.question(m), [party.tracks(m)], party.problem(m))
    one, fuels = party.boats[m], party.by_terminal(m)
    return LeftBehind(
        boat=one.name,
        from_=refusal.from_,
        to=refusal.to,
        distance_nmi=refusal.distance_nmi,
        short_l=refusal.short_l,
        why=refusal.why if fuels else f"no dock that sells {one.boat.fuel} and suits her can be reached; {refusal.why}",
        try_=tuple(_as_keys(idea) for idea in refusal.try_),
    )


def _as_keys(idea: str) -> str:
    """Tell a change as the key of the cruise file that it is, in place of the option of a passage."""
    return re.sub(r"--([a-z-]+)", lambda option: option[1].replace("-", "_"), idea)


def _without(asked: CruiseAsked, gone: set[int], told: tuple[LeftBehind, ...]) -> CruiseAsked:
    """Take boats out, if that was asked for and some are left; else refuse."""
    rest = tuple(one for m, one in enumerate(asked.boats) if m not in gone)
    if asked.leave_behind and rest:
        return asked.model_copy(update={"boats": rest})
    names = ", ".join(each.boat for each in told)
    leg = f" from {told[0].from_} to {told[0].to}" if len(told) == 1 else ""
    why = f"{names} can't come{leg}: {told[0].why}" if len(told) == 1 else f"{len(told)} boats can't come: {names}"
    ideas = told[0].try_ if len(told) == 1 else ()
    offer = ("--leave-behind plans the others without",) if rest else ()
    raise NoCruiseError(CruiseRefusal(why=why, boats=told, try_=(*ideas, *offer)))


def _check_daylight(asked: CruiseAsked, days: CruiseDays, region: Region) -> None:
    """Refuse a day that begins before sunrise."""
    if not asked.daylight:
        return
    for leg, (sun, earliest) in enumerate(zip(days.sun_up, days.not_before, strict=True)):
        begins = leg == 0 or days.ends_day(leg - 1)
        if begins and earliest is not None and sun.rises is not None and earliest < sun.rises:
            rises, leaves = (moment.astimezone(region.zone) for moment in (sun.rises, earliest))
            why = (
                f"day {days.numbers[leg]} would begin at {leaves:%H:%M} from {asked.visits[leg].place}, before sunrise "
                f"at {rises:%H:%M}"
            )
            ideas = (f"leave at {rises:%H:%M} or later", _AT_YOUR_OWN)
            raise NoCruiseError(CruiseRefusal(why=why, try_=ideas))


def _cautions(asked: CruiseAsked, division: Division, clock: datetime) -> tuple[str, ...]:
    first = division.parties[0]
    notes = [note for party in division.parties for note in find_doubts(party.network, party.visits)]
    skipped = [
        f"{note.name} was {note.problem}." for note in first.network.region.notes if note.layer == "docks" and note.row
    ]
    past = ["The departure lies in the past."] if asked.depart < clock else []
    return (*SAFETY_CAUTIONS, *dict.fromkeys([*notes, *skipped, *past]))


def _clock_cautions(asked: CruiseAsked, choice: Choice) -> list[str]:
    """Say what is asked of the clock and not kept, and what was guessed of the pumps."""
    waits = [s.wait_h for at in choice.plan.table.docks for s in at.served]
    said = []
    if waits and max(waits) > asked.longest_wait_h + _MINUTE_H:
        said.append(
            f"No docks were found with which nobody waits longer than {shown_duration(asked.longest_wait_h)}: the "
            f"longest wait is {shown_duration(max(waits))}."
        )
    return said


def _refuse_all(chooser: Chooser, days: CruiseDays) -> CruiseRefusal:
    """Say why no docks do for the group: each boat could go by herself."""
    if chooser.has_a_way() and any(by_h < float("inf") for by_h in days.by_h):
        rows = frozenset(chooser.rows)
        routes = [router.find(rows, by_daylight=False, twice=True) for router in chooser.planner.routers]
        ends = max((days.at(r.least_h) for r in routes if r is not None), default=None)
        soonest = "" if ends is None else f": without queues it would end at {ends:%Y-%m-%d %H:%MZ} at the earliest"
        why = f"a day is longer than daylight, with whatever docks{soonest}"
        ideas = ("a night more on the way", "an earlier departure", "fewer miles a day")
        return CruiseRefusal(why=why, try_=(*ideas, _AT_YOUR_OWN))
    why = "each boat's fuel would do, but no stops were found that do for all by the clock"
    alone = all(len(party.members) == 1 for party in chooser.parties)
    return CruiseRefusal(why=why, try_=(*(() if alone else ('pace = "own"',)), "more fuel at the departure"))


def _late_without_fuel(division: Division, days: CruiseDays) -> CruiseRefusal | None:
    """Refuse a day that is too long even without any fuelling."""
    first = division.parties[0]
    zone = first.network.region.zone
    names = [first.network.terminals[v].place.name for v in first.visits]
    leave_h, began = 0.0, 0
    for leg, by_h in enumerate(days.by_h):
        in_h = leave_h + max(
            min((float(p.ways.time_h[w]) for b, w in p.ways.out.get(p.visits[leg], ()) if b == p.visits[leg + 1]))
            for p in division.parties
        )
        if in_h > by_h + _TIE_H:
            arrives, sets = (days.at(h).astimezone(zone) for h in (in_h, by_h))
            why = (
                f"day {days.numbers[leg]}, {names[began]} to {names[leg + 1]}, would last until "
                f"{arrives:%Y-%m-%d %H:%M} even without fuelling, {shown_duration(in_h - by_h)} after sunset at "
                f"{sets:%H:%M}"
            )
            ideas = (
                "spend a night on the way",
                "go faster",
                _AT_YOUR_OWN,
            )
            return CruiseRefusal(why=why, try_=ideas)
        if leg < len(days.by_h) - 1:
            leave_h, began = days.leave_h(leg + 1, in_h), leg + 1 if days.ends_day(leg) else began
    return None


def _refuse_days(
    asked: CruiseAsked, division: Division, plan: GroupPlan, days: CruiseDays, late: Sequence[int]
) -> CruiseRefusal:
    """Say which day is too long, by how much, and what would help."""
    leg = late[0]
    zone = division.parties[0].network.region.zone
    names = [division.parties[0].network.terminals[v].place.name for v in division.parties[0].visits]
    arrives, sets = days.at(max(plan.table.in_h[leg])), days.at(days.by_h[leg])
    first = max([i for i in range(leg + 1) if i == 0 or days.ends_day(i - 1)])
    leaves, rises = days.at(plan.table.leave_h[first]), days.sun_up[first].rises
    over_h = max(plan.table.in_h[leg]) - days.by_h[leg]
    queue_h = sum(at.away_h - at.arrive_h for at in plan.table.docks if first <= at.leg <= leg)
    why = (
        f"day {days.numbers[leg]}, {names[first]} to {names[leg + 1]}, would last from "
        f"{leaves.astimezone(zone):%H:%M} to {arrives.astimezone(zone):%Y-%m-%d %H:%M}, "
        f"{shown_duration(over_h)} after sunset at {sets.astimezone(zone):%H:%M}; fuelling takes "
        f"{shown_duration(queue_h)} of it"
    )
    early = rises is not None and (leaves - rises).total_seconds() / 3600 >= over_h
    ideas = [f"leave {shown_duration(over_h + _MINUTE_H)} earlier"] if early else []
    ideas.append("spend a night on the way")
    if asked.pace == "together" and len(asked.boats) > 1:
        ideas.append('pace = "own", so that boats need not wait for one another at pumps')
    ideas.append(_AT_YOUR_OWN)
    return CruiseRefusal(why=why, try_=tuple(ideas))


def _tell(
    asked: CruiseAsked,
    region: Region,
    division: Division,
    days: CruiseDays,
    choice: Choice,
    cautions: tuple[str, ...],
    left_behind: tuple[LeftBehind, ...],
) -> Cruise:
    parties, plan = division.parties, choice.plan
    told = tell_boats(parties, plan, choice.direct_h, division.why_apart, cautions)
    stops, legs = tell_stops(parties, plan, told, days), tell_legs(parties, plan, told, days)
    leaning = dict.fromkeys(
        f"{stop.dock}: {caution}" for stop in stops for caution in (*stop.cautions, *_pump_doubt(stop.pumps_known))
    )
    costs = [stop.cost for stop in stops]
    cruise = CruisePlan(
        name=asked.name,
        pace=asked.pace,
        speed_kn=division.speed_kn,
        depart=asked.depart,
        arrive=days.at(plan.table.ends_h),
        days=tell_days(legs, days),
        legs=legs,
        stops=stops,
        boats=tuple(one.boat for one in told),
        limits=find_limits(told, legs, plan, days),
        docks=tuple(dict.fromkeys(stop.dock for stop in stops)),
        one_set=len(parties) == 1,
        docks_proven=choice.is_fewest,
        fewest_docks=choice.fewest,
        delay_h=max(0.0, plan.delay_h),
        delay_gap_h=choice.gap_h if choice.gap_h > _SECOND_H else 0.0,
        queue_min=max((turn.wait_min for stop in stops for turn in stop.boats), default=0.0),
        cost=None if any(c is None for c in costs) else float(sum(c or 0.0 for c in costs)),
        one_dock_more=_one_more(parties[0], choice),
        left_behind=left_behind,
        cautions=(*cautions, *leaning),
    )
    passages = tuple(replace(one, passage=replace(one.passage, cautions=cruise.cautions)) for one in told)
    return Cruise(asked, region, cruise, passages)


def _pump_doubt(known: bool) -> tuple[str, ...]:  # noqa: FBT001  the one thing it asks
    return () if known else ("how many pumps it has isn't known: one was reckoned with",)


def _one_more(party: Party, choice: Choice) -> OneDockMore | None:
    more = choice.more
    if more is None:
        return None
    sooner_h, less_h = choice.plan.table.ends_h - more.table.ends_h, choice.plan.delay_h - more.delay_h
    if max(sooner_h, less_h) < _TOLD_H:
        return None
    names = [next(d.name for d in party.docks[0] if d.row == row) for row in sorted(more.rows)]
    return OneDockMore(docks=tuple(names), sooner_h=max(0.0, sooner_h), delay_less_h=less_h)
