"""The passage: from a trip to plans, or to the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from routeplan.asking import ask
from routeplan.plans import NoPassageError, Plan, PlanName
from routeplan.refusals import explain_refusal
from routeplan.search import find_labels
from routeplan.telling import Teller
from routeplan.tracks import Tracks
from routeplan.units_shown import shown_duration, shown_money
from routeplan.water import SEASON_LOOKAHEAD_H

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.search import Label
    from routeplan.trips import Trip

__all__ = ["SAFETY_CAUTIONS", "Passage", "find_passage"]

SAFETY_CAUTIONS = (
    "An aid to planning, not for navigation: check current official charts, notices, weather and tides.",
    "Call each dock ahead; hours, prices and fuel change.",
    "Planned for still water: no tide, current, wind or sea is allowed for.",
    "Local rules and a licensed professional's advice come first.",
)
_SAVED_STOP_WORTH = timedelta(minutes=30)  # a stop fewer is recommended if it costs no more than this
_SURE_DOCKS_WORTH = timedelta(hours=1)  # so are docks that are known and confirmed


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


def find_passage(
    network: Network,
    trip: Trip,
    *,
    now: datetime | None = None,
    boat: Boat | None = None,
    notes: Sequence[str] = (),
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
    question, asked = ask(network, trip, boat or network.boat, now or trip.depart)
    tracks = Tracks(question.network, question.boat, question.speed_kn)
    problem = question.problem(tracks)
    labels = find_labels(problem)
    cautions = (*SAFETY_CAUTIONS, *notes, *asked)
    if not labels:
        raise NoPassageError(explain_refusal(question, tracks, problem), cautions)
    soonest, fewest, best = _choose(labels)
    chosen: dict[PlanName, Label] = {"soonest": soonest, "fewest-stops": fewest}
    doubtful = {i for i, dock in problem.docks.items() if dock.doubts}
    if any(step.fill is not None and step.place in doubtful for step in best.path()):
        known = find_labels(replace(problem, docks={i: d for i, d in problem.docks.items() if i not in doubtful}))
        if known:
            *_, sure = _choose(known)
            chosen["known-docks"] = sure
            if timedelta(hours=sure.time_h - best.time_h) <= _SURE_DOCKS_WORTH:
                best = sure
    teller = Teller(question, tracks, problem)
    first = next(name for name, label in chosen.items() if label is best)
    plans = [teller.tell(best, first, also=tuple(n for n, label in chosen.items() if label is best and n != first))]
    for name, label in chosen.items():
        if label is best or any(label is chosen[n] for n in chosen if n in {p.name for p in plans}):
            continue
        other = teller.tell(label, name, also=tuple(n for n, same in chosen.items() if same is label and n != name))
        told = _difference(plans[0], other, question.boat, network.region.about.currency)
        plans.append(other.model_copy(update={"recommended": False, "difference": told}))
    lookahead = trip.depart + timedelta(hours=SEASON_LOOKAHEAD_H)
    if any(plan.arrive > lookahead for plan in plans):
        cautions = (
            *cautions,
            f"Zones whose season begins over {SEASON_LOOKAHEAD_H} h after departure were not counted.",
        )
    return Passage(question.network, question.boat, trip, question.docks, tuple(plans), cautions, question.speed_kn)


def _choose(labels: list[Label]) -> tuple[Label, Label, Label]:
    """Pick the soonest, the one of fewest stops, and of these two the one to recommend."""
    soonest = min(labels, key=lambda a: (a.time_h, a.stops, a.cost))
    fewest = min(labels, key=lambda a: (a.stops, a.time_h, a.cost))
    saves = (soonest.stops - fewest.stops) * _SAVED_STOP_WORTH
    return soonest, fewest, fewest if timedelta(hours=fewest.time_h - soonest.time_h) <= saves else soonest


def _difference(first: Plan, other: Plan, boat: Boat, currency: str) -> str:
    """Tell how a plan differs from the recommended one, in words."""
    said = []
    more_stops = len(other.stops) - len(first.stops)
    if more_stops:
        said.append(f"{_count(len(other.stops))} instead of {_count(len(first.stops)).split()[0]}")
    else:
        said.append(f"stops at {', '.join(s.dock for s in other.stops)}")
    later_h = other.time_h - first.time_h
    said.append(f"arrives {shown_duration(abs(later_h))} {'later' if later_h > 0 else 'earlier'}")
    if "known-docks" in (other.name, *other.also):
        said.append("stops only at docks that are known and confirmed")
    elif other.leans_on and not first.leans_on:
        said.append(f"but leans on {'; '.join(other.leans_on)}")
    said += [f"waits {shown_duration(s.wait_h)} at {s.dock} for it to open" for s in other.stops if s.wait_h > 1 / 60]
    if first.cost is not None and other.cost is not None and abs(other.cost - first.cost) >= 0.5:
        word = "more" if other.cost > first.cost else "less"
        said.append(f"{shown_money(abs(other.cost - first.cost), currency)} {word} for fuel")
    margin_l = other.least_margin_l - first.least_margin_l
    said.append(f"least margin {boat.units.volume_down(abs(margin_l))} {'larger' if margin_l > 0 else 'smaller'}")
    return "; ".join(said)


def _count(stops: int) -> str:
    return {0: "no stop", 1: "one stop", 2: "two stops"}.get(stops, f"{stops} stops")
