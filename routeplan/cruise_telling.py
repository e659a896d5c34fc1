"""From a group plan to what is told of it: each boat's own plan, the docks with their queues, legs and days."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from routeplan.cruises import AtPump, BoatPlan, CruiseDay, CruiseLeg, CruiseStop
from routeplan.passage import Passage
from routeplan.plans import Wait
from routeplan.problem import FillUp, Hop, Label
from routeplan.telling import Teller
from routeplan.timetable import thirstiest_order

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from routeplan.cruise_days import CruiseDays
    from routeplan.docks import Dock
    from routeplan.group_plans import GroupPlan
    from routeplan.parties import Party
    from routeplan.plans import Plan, Stop
    from routeplan.timetable import AtDock, Served

__all__ = ["Told", "tell_boats", "tell_days", "tell_legs", "tell_stops"]


_TIE_H = 1e-9
_TOLD_H = 1 / 60  # [h] a shorter wait for the others isn't told


@dataclass(frozen=True, eq=False)
class Told:
    """One boat's cruise.

    Parameters
    ----------
    boat
        As `cruise --json` has it.
    passage
        Her plan as the answer to a trip of her own: for her sheet, her route, her saved plan.
    label
        Her way through the refuel search.
    party, member
        Which party she is in, and which of its members she is.
    """

    boat: BoatPlan
    passage: Passage
    label: Label
    party: Party
    member: int


def tell_boats(
    parties: Sequence[Party],
    plan: GroupPlan,
    direct_h: Sequence[float],
    why_apart: Sequence[str],
    cautions: tuple[str, ...],
) -> tuple[Told, ...]:
    """Tell each boat's plan.

    Parameters
    ----------
    parties
        Its parties.
    plan
        The group's plan.
    direct_h
        [h] By party: the least time for all legs without fuel.
    why_apart
        By party: why it goes another way than the first.
    cautions
        What holds for all.

    Returns
    -------
    One a boat, in the order of the file.
    """
    found: dict[int, Told] = {}
    numbers = _numbers(parties, plan)
    for p, party in enumerate(parties):
        busy_h = sum(times[p] - leave_h for times, leave_h in zip(plan.table.in_h, plan.table.leave_h, strict=True))
        for m, boat in enumerate(party.members):
            question, problem = party.question(m), party.problem(m)
            label = _sail(party, p, m, plan)
            told = Teller(question, [party.tracks(m)], problem).tell(label, "with-the-group")
            told = _with_the_others(told, label, party)
            one = party.boats[m]
            served = plan.table.served(boat).values()
            found[boat] = Told(
                BoatPlan(
                    boat=one.name,
                    fuel=one.boat.fuel,
                    party=numbers[p],
                    why_apart=why_apart[p],
                    delay_h=max(0.0, busy_h - direct_h[p]),
                    queue_min=60 * sum(s.wait_h for s in served),
                    plan=told,
                ),
                Passage(party.network, one.boat, question.trip, party.docks[m], (told,), cautions, party.speed_kn),
                label,
                party,
                m,
            )
    return tuple(found[boat] for boat in sorted(found))


def _numbers(parties: Sequence[Party], plan: GroupPlan) -> list[int]:
    """Give each party a number, those on the same tracks the same one."""
    known: dict[tuple[tuple[str, bytes], ...], int] = {}
    numbers = []
    for party, route in zip(parties, plan.routes, strict=True):
        ways = tuple(
            (party.network.terminals[step.place].place.name, party.ways.tracks[step.way].bends.tobytes())
            for step in route.steps
        )
        numbers.append(known.setdefault(ways, len(known) + 1))
    return numbers


def _with_the_others(told: Plan, label: Label, party: Party) -> Plan:
    """Tell where she lies until the others leave, and which waits are for her turn."""
    terminals, depart = party.network.terminals, told.depart
    waits = list(told.waits)
    for before, step in pairwise(label.path()):
        if step.hop is None or step.hop.gate:
            continue
        lies_h = step.hop.depart_h - before.time_h
        if lies_h > _TOLD_H:
            until = depart + timedelta(hours=step.hop.depart_h)
            waits.append(Wait(at=terminals[before.place].place.name, until=until, wait_h=lies_h, gate=""))
    docks = {dock.name: dock for dock in party.docks[0]}
    stops = [
        stop.model_copy(update={"queues": stop.wait_h > 0 and _is_open(docks[stop.dock], stop.arrive)})
        for stop in told.stops
    ]
    return told.model_copy(update={"waits": tuple(sorted(waits, key=lambda wait: wait.until)), "stops": tuple(stops)})


def _is_open(dock: Dock, moment: datetime) -> bool:
    return dock.hours is None or dock.hours.is_open(moment)


def _sail(party: Party, p: int, m: int, plan: GroupPlan) -> Label:
    """Run one boat through the timetable."""
    problem, boat = party.problem(m), party.members[m]
    served = plan.table.served(boat)
    label = Label(party.visits[0], 0, 0.0, 0, 0.0, problem.mean_l, 0.0, problem.sd_l)
    for step, hop in zip(plan.routes[p].steps, plan.table.hops[p], strict=True):
        track = party.track(m, step.way)
        sailed = Hop(track, hop.depart_h, hop.arrive_h, hop.wait_h, hop.gate)
        burned_l = label.burned_l + track.fuel_l
        margin_l = problem.low_l(label.mean_l, burned_l, label.sd_l) - problem.floor_l
        arrived = Label(
            step.place,
            step.stage,
            hop.arrive_h,
            label.stops,
            label.cost,
            label.mean_l,
            burned_l,
            label.sd_l,
            label,
            sailed,
            least_margin_l=min(margin_l, label.least_margin_l),
        )
        one = served.get((party.row_of.get(step.place, -1), label.stage)) if step.stops else None
        label = arrived if one is None else _fill(arrived, one, problem.full_l, problem.full_sd_l, problem.price_per_l)
    return label


def _fill(arrived: Label, one: Served, full_l: float, sd_l: float, price_per_l: Callable[[int], float]) -> Label:
    fill = FillUp(one.begin_h, one.end_h, one.wait_h, one.fill.take_l)
    return replace(
        arrived,
        time_h=one.end_h,
        stops=arrived.stops + 1,
        cost=arrived.cost + one.fill.take_l * price_per_l(arrived.place),
        mean_l=max(full_l, arrived.aboard_l),
        burned_l=0.0,
        sd_l=sd_l,
        fill=fill,
    )


def tell_stops(
    parties: Sequence[Party], plan: GroupPlan, told: Sequence[Told], days: CruiseDays
) -> tuple[CruiseStop, ...]:
    """Tell the docks with their queues.

    Parameters
    ----------
    parties
        Their docks and boats.
    plan
        The group's plan.
    told
        Each boat's plan.
    days
        Its days.

    Returns
    -------
    In the order of time.
    """
    return tuple(_stop(number, at, parties, told, days) for number, at in enumerate(plan.table.docks, start=1))


def _stop(number: int, at: AtDock, parties: Sequence[Party], told: Sequence[Told], days: CruiseDays) -> CruiseStop:
    boats = parties[0].asked.boats
    party = next(p for p in parties if at.row in p.sides)
    dock, side = party.docks[0][at.row], party.sides[at.row]
    order, later_h = thirstiest_order(parties, at, days)
    turns = tuple(_turn(s, at, told, days) for s in at.served)
    closes = _closes(party, at, days)
    costs = [turn.cost for turn in turns]
    return CruiseStop(
        number=number,
        dock=dock.name,
        position=dock.position,
        day=days.numbers[at.leg],
        leg=at.leg + 1,
        arrive=days.at(at.arrive_h),
        depart=days.at(at.away_h),
        boats=turns,
        total_l={fuel: sum(s.fill.take_l for s in at.served if s.fuel == fuel) for fuel in ("gasoline", "diesel")},
        cost=None if any(c is None for c in costs) else float(sum(c or 0.0 for c in costs)),
        pumps=dict(side.pumps),
        pumps_known=side.known,
        shared=side.shared,
        pump_lpm=side.lpm,
        order="proven" if at.proven else "best found",
        gap_min=60 * at.gap_h,
        thirstiest=tuple(boats[b].name for b in order),
        thirstiest_later_min=None if later_h == float("inf") else 60 * later_h,
        onward=_onward(at, told, days),
        closes=closes,
        closes_after_min=None if closes is None else 60 * (days.hours(closes) - at.away_h),
        hours=None if dock.hours is None else str(dock.hours),
        vhf=dock.facts.get("vhf"),
        phone=dock.facts.get("phone"),
        confirmed_on=None if "confirmed_on" not in dock.facts else str(dock.facts["confirmed_on"])[:10],
        cautions=dock.cautions,
        alternate=_alternate(dock.name, at, told),
    )


def _turn(served: Served, at: AtDock, told: Sequence[Told], days: CruiseDays) -> AtPump:
    one = told[served.boat]
    stop = _own_stop(served, at, one, days)
    return AtPump(
        boat=one.boat.boat,
        fuel=served.fuel,
        pump=served.pump,
        arrive=days.at(served.arrive_h),
        come=days.at(served.begin_h),
        begin=days.at(served.begin_h),
        end=days.at(served.end_h),
        wait_min=60 * served.wait_h,
        aboard_l=stop.aboard_l,
        aboard_low_l=stop.aboard_low_l,
        margin_low_l=served.fill.margin_l,
        take_l=served.fill.take_l,
        cost=stop.cost,
    )


def _own_stop(served: Served, at: AtDock, one: Told, days: CruiseDays) -> Stop:
    """Find a turn among the stops of the boat's own plan."""
    name = one.party.docks[one.member][at.row].name
    begins = days.at(served.begin_h)
    return min((stop for stop in one.boat.plan.stops if stop.dock == name), key=lambda stop: abs(stop.begin - begins))


def _onward(at: AtDock, told: Sequence[Told], days: CruiseDays) -> datetime | None:
    """Tell when the boats go on together; None where there are several parties, or one boat."""
    parties = {id(told[s.boat].party): told[s.boat] for s in at.served}
    if len(parties) != 1:
        return None
    (one,) = parties.values()
    if len(one.party.members) == 1:
        return None
    path = one.label.path()
    leaves = []
    for before, step in pairwise(path):
        here = one.party.row_of.get(before.place) == at.row
        if here and step.hop is not None and step.hop.depart_h >= at.away_h - _TIE_H:
            leaves.append(step.hop.depart_h)
    return days.at(min(leaves)) if leaves else None


def _closes(party: Party, at: AtDock, days: CruiseDays) -> datetime | None:
    """Tell when a dock shuts after the last boat has begun to fill."""
    hours = party.docks[0][at.row].hours
    return None if hours is None else hours.next_change(days.at(max(s.begin_h for s in at.served)))


def _alternate(dock: str, at: AtDock, told: Sequence[Told]) -> str | None:
    """Name the place that most boats would go to if the dock is closed."""
    stops = [stop for s in at.served for stop in told[s.boat].boat.plan.stops if stop.dock == dock]
    named = Counter(stop.alternate.name for stop in stops if stop.alternate is not None)
    return named.most_common(1)[0][0] if named else None


def tell_legs(
    parties: Sequence[Party], plan: GroupPlan, told: Sequence[Told], days: CruiseDays
) -> tuple[CruiseLeg, ...]:
    """Tell the legs from visit to visit.

    Parameters
    ----------
    parties, plan, told, days
        As in `tell_stops`.

    Returns
    -------
    In the order of time.
    """
    names = [parties[0].network.terminals[v].place.name for v in parties[0].visits]
    speeds = [party.speed_kn for party in parties]
    longest = [0.0] * len(plan.table.leave_h)
    for one in told:
        runs: dict[int, float] = defaultdict(float)
        for before, step in pairwise(one.label.path()):
            if step.hop is not None:
                runs[before.stage] += step.hop.track.distance_nmi
        longest = [max(nmi, runs[leg]) for leg, nmi in enumerate(longest)]
    return tuple(
        CruiseLeg(
            number=leg + 1,
            day=days.numbers[leg],
            from_=names[leg],
            to=names[leg + 1],
            depart=days.at(leave_h),
            first_in=days.at(min(times)),
            last_in=days.at(max(times)),
            distance_nmi=longest[leg],
            speeds_kn=(min(speeds), max(speeds)),
        )
        for leg, (leave_h, times) in enumerate(zip(plan.table.leave_h, plan.table.in_h, strict=True))
    )


def tell_days(legs: Sequence[CruiseLeg], days: CruiseDays) -> tuple[CruiseDay, ...]:
    """Tell the days.

    Parameters
    ----------
    legs
        As told.
    days
        Their dates and the sun.

    Returns
    -------
    In the order of time.
    """
    return tuple(_days(legs, days))


def _days(legs: Sequence[CruiseLeg], days: CruiseDays) -> Iterator[CruiseDay]:
    for number in sorted(set(days.numbers)):
        of_day = [i for i, each in enumerate(days.numbers) if each == number]
        first, last = of_day[0], of_day[-1]
        sets = days.sun_down[last].sets
        yield CruiseDay(
            number=number,
            date=days.dates[first].isoformat(),
            from_=legs[first].from_,
            to=legs[last].to,
            depart=legs[first].depart,
            arrive=legs[last].last_in,
            sunrise=days.sun_up[first].rises,
            sunset=sets,
            light_left_min=None if sets is None else (sets - legs[last].last_in).total_seconds() / 60,
        )
