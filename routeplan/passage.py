"""The passage: from a trip to plans, or to the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.asking import ask
from routeplan.cautions import find_gaps, safety_cautions
from routeplan.choosing import choose, without_unpriced
from routeplan.comparing import difference, without_near_ones
from routeplan.explaining import explain
from routeplan.moving_refusals import explain_conditions, find_later_departure
from routeplan.planner import Planner, find_conditions
from routeplan.plans import NoPassageError, Plan, Refusal
from routeplan.refusals import explain_closed_dock, explain_refusal
from routeplan.telling import Teller
from routeplan.water import SEASON_LOOKAHEAD_H

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.asking import Question
    from routeplan.boats import Boat
    from routeplan.currents import Currents
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.plans import PlanName
    from routeplan.problem import Label, Problem
    from routeplan.sea_allowance import SeaAllowance
    from routeplan.tracks import Tracks
    from routeplan.trips import Trip

__all__ = ["Passage", "find_passage"]

_MOST_TOLD = 2  # plans besides the recommended one


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
    def others_told(self) -> tuple[Plan, ...]:
        """The plans to tell beside the recommended one.

        Returns
        -------
        Two at the most, those that hardly differ left out.
        """
        return without_near_ones(self.plans, self.boat.tank.capacity_l, _MOST_TOLD)

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

    @property
    def cheapest(self) -> Plan:
        """The plan whose fuel costs least.

        Returns
        -------
        One of `plans`.

        Raises
        ------
        StopIteration
            No plan's prices are all known.
        """
        return self._best_at("cheapest")

    @property
    def most_margin(self) -> Plan:
        """The plan whose least margin is largest.

        Returns
        -------
        One of `plans`.
        """
        return self._best_at("most-margin")

    def _best_at(self, name: PlanName) -> Plan:
        return next(p for p in self.plans if name == p.name or name in p.also)


def find_passage(
    network: Network,
    trip: Trip,
    *,
    now: datetime | None = None,
    boat: Boat | None = None,
    notes: Sequence[str] = (),
    every: bool = False,
    plain: Network | None = None,
    currents: Currents | None = None,
    sea: SeaAllowance | None = None,
) -> Passage:
    """Plan a passage.

    Parameters
    ----------
    network
        Built for the boat.
    trip
        What is asked.
    now
        The clock: docks are stale, and departures past, against it. None takes the departure itself.
    boat
        The boat with another burn than the network's, such as one the log has taught; it must need the same water.
    notes
        What else is to be said with the plans, such as what the fuel aboard was taken from.
    every
        Whether all plans that no other beats are told, not only those that are best at something.
    plain
        The network with `Margins.plain`, where a wider stand-off or fairways were asked for: what they cost in distance
        is told against it.
    currents
        Currents to reckon with; None for still water.
    sea
        What the sea takes; None for a calm.

    Returns
    -------
    The plans, the recommended one first.

    Raises
    ------
    InputError
        A place is unknown or can't be reached from water, the speed isn't one the boat can be planned at, or money is
        to count and no price is known.
    NoPassageError
        No plan keeps the rules; carries the leg that breaks them, the shortfall and what would help.
    """
    conditions = find_conditions(trip, currents, sea)
    question, asked = ask(network, trip, boat or network.boat, now or trip.depart, conditions)
    planner = Planner(question)
    skipped = [
        f"{note.name} was {note.problem}." for note in network.region.notes if note.layer == "docks" and note.row
    ]
    cautions = (*safety_cautions(conditions), *notes, *asked, *skipped, *_price_notes(question))
    problem, choice = planner.choose(every=every)
    if choice is None and network.water.margins.fairways:  # a wish; the rules aren't
        planner = Planner(question, fairways=False)
        problem, choice = planner.choose(every=every)
        cautions = (*cautions, "No plan that keeps to fairways keeps the rules: planned without preferring them.")
    tracks = planner.tracks
    teller = Teller(question, tracks, problem, plain)
    if choice is None:
        refusal = _refuse(question, tracks, problem, teller)
        raise NoPassageError(_with_later_departure(refusal, planner), cautions)
    by_label: dict[Label, list[PlanName]] = {}
    for name, label in choice.named.items():
        by_label.setdefault(label, []).append(name)
    best = choice.recommended
    first, *also = sorted(by_label.pop(best), key=lambda name: name != trip.prefer)
    plans = [explain(question, problem, best, teller.tell(best, first, also=tuple(also)))]
    rest: list[tuple[Label, PlanName, tuple[PlanName, ...]]] = [
        (label, names[0], tuple(names[1:])) for label, names in by_label.items()
    ]
    rest.sort(key=lambda r: "known-docks" not in (r[1], *r[2]))  # told first, where the best plan leans on a dock
    rest += [(label, "in-between", ()) for label in choice.others]
    for label, name, further in rest:
        other = teller.tell(label, name, also=further)
        told = difference(plans[0], other, question.boat, network.region.about.currency)
        plans.append(other.model_copy(update={"recommended": False, "difference": told}))
    cautions = (*cautions, *find_gaps(conditions, max(plan.arrive for plan in plans)))
    lookahead = trip.depart + timedelta(hours=SEASON_LOOKAHEAD_H)
    if any(plan.arrive > lookahead for plan in plans):
        cautions = (
            *cautions,
            f"Zones whose season begins over {SEASON_LOOKAHEAD_H} h after departure were not counted.",
        )
    return Passage(question.network, question.boat, trip, question.docks, tuple(plans), cautions, question.speed_kn)


def _price_notes(question: Question) -> list[str]:
    """Say what prices a plan by money rests on; refuse one that no price is known for."""
    trip, boat = question.trip, question.boat
    unpriced = [dock.name for dock in question.by_terminal.values() if dock.price_per_l is None]
    if trip.fill == "full" and trip.prefer != "cheapest":
        return []
    option = f"--fill {trip.fill}" if trip.fill != "full" else "--prefer cheapest"
    if question.by_terminal and len(unpriced) == len(question.by_terminal):
        raise InputError(
            option,
            f"no dock that suits {boat.name} states a price for {boat.fuel}",
            remedy=f"add price_{boat.fuel}_per_l to the docks layer, or plan by time",
        )
    return [f"Left out as their price isn't known: {', '.join(unpriced)}."] if unpriced else []


def _refuse(question: Question, tracks: Sequence[Tracks], problem: Problem, teller: Teller) -> Refusal:
    """Say why there is no plan; where only the closed-dock rule stands against it, offer the best plan without."""
    trip = question.trip.model_copy(update={"prefer": None})
    free = replace(problem, closed_dock="off")
    without = None if problem.closed_dock == "off" else choose(free, trip, every=not trip.slower)
    if without is None:
        moved = explain_conditions(question, tracks, problem)
        if moved is not None:
            return moved
        if trip.fill != "full" and choose(
            problem, trip.model_copy(update={"fill": "full", "price_of_time_per_h": None})
        ):
            return _refuse_part_fills(question, problem)
        return explain_refusal(question, tracks, problem if trip.fill == "full" else without_unpriced(problem))
    labels = [*without.named.values(), *without.others]
    offered = min(
        labels, key=lambda label: (len(teller.breaches(label)), label is not without.recommended, label.time_h)
    )
    name: PlanName = next((n for n, label in without.named.items() if label is offered), "in-between")
    plan = teller.tell(offered, name).model_copy(update={"recommended": False, "closed_dock": "off"})
    return explain_closed_dock(question, tracks, problem, offered, plan)


def _with_later_departure(refusal: Refusal, planner: Planner) -> Refusal:
    """Offer the next departure that has a plan, where it matters when she leaves."""
    conditions, trip = planner.question.conditions, planner.question.trip
    if conditions is None and trip.daylight is None:
        return refusal
    later = find_later_departure(planner.problem, trip.depart)
    if later is None:
        return refusal
    shown = later.astimezone(planner.question.network.region.zone)
    return refusal.model_copy(
        update={"try_": (f"leave at {shown:%Y-%m-%d %H:%M}: there is a plan then", *refusal.try_)}
    )


def _refuse_part_fills(question: Question, problem: Problem) -> Refusal:
    """Say that part fills won't do, but fills to the mark will: at docks whose prices aren't known, or by the rule."""
    names = [question.network.terminals[t].place.name for t in (problem.start, problem.targets[-1])]
    return Refusal(
        from_=names[0],
        to=names[1],
        distance_nmi=None,
        short_l=None,
        why=f"no plan keeps the rules with --fill {question.trip.fill}, but one does with fills to the mark",
        try_=("--fill full",),
    )
