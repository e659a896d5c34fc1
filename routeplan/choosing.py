"""From all plans that no other beats to the few that are told: named, thinned, one of them recommended."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.part_fills import find_part_filled
from routeplan.search import CRITERIA, find_labels
from routeplan.trips import DEAREST_HOUR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.part_fills import PartRule
    from routeplan.plans import PlanName
    from routeplan.problem import Label, Problem
    from routeplan.search import Criterion
    from routeplan.trips import Trip

__all__ = ["Choice", "choose", "is_priced", "part_rule", "rank", "without_unpriced"]

_SAVED_STOP_WORTH = timedelta(minutes=30)  # a stop fewer is recommended if it costs no more than this
_SURE_DOCKS_SHARE = 0.1  # of the bill: how much dearer known docks may be where money counts
_SURE_DOCKS_WORTH = timedelta(hours=1)  # so are docks that are known and confirmed
_FIRST: dict[PlanName, Criterion] = {
    "soonest": "time",
    "cheapest": "cost",
    "fewest-stops": "stops",
    "most-margin": "margin",
}


@dataclass(frozen=True)
class Choice:
    """What was found for a trip.

    Parameters
    ----------
    named
        What is best at what.
    recommended
        One of them.
    others
        The rest of the Pareto set, in order of time; empty where it wasn't asked for.
    """

    named: dict[PlanName, Label]
    recommended: Label
    others: tuple[Label, ...]


def choose(problem: Problem, trip: Trip, *, every: bool = False, best_only: bool = False) -> Choice | None:
    """Search, name what is best at what, and recommend.

    Parameters
    ----------
    problem
        The search.
    trip
        Its fill rule and preference.
    every
        Whether the whole Pareto set is wanted.
    best_only
        Whether the plan that is recommended will do, which is found sooner where nothing is preferred.

    Returns
    -------
    The choice; None where no plan keeps the rules.

    Raises
    ------
    InputError
        The cheapest is preferred, and every plan needs a dock whose price isn't known.

    Notes
    -----
    At one speed the four named plans are taken from the Pareto set; where each hop has several, or nights may be spent
    anywhere, that set runs to thousands, so unless all are wanted each named plan is searched by its criterion and time
    alone.
    """
    if trip.fill != "full":
        return _choose_part_filled(problem, trip)
    if best_only and trip.prefer is None:
        return _choose_best(problem)
    search = find_labels if every or not (trip.slower or problem.rests) else _ends
    labels = search(problem)
    if not labels:
        return None
    named = _named(labels)
    cheapest = _cheapest(problem, labels)
    if cheapest is None:
        del named["cheapest"]
    else:
        named["cheapest"] = cheapest
    best = named.get(trip.prefer) if trip.prefer else _weigh(named)
    if best is None:
        raise InputError(
            "--prefer",
            "no plan keeps the rules with docks whose price is known alone",
            value=trip.prefer,
            remedy="state the missing prices in the docks layer, or plan by time",
        )
    known = _known(problem, best)
    if known is not None:
        sure = search(known)
        if sure:
            named["known-docks"] = _weigh(_named(sure))
            named = _merged(named)
            best = next(label for label in named.values() if _key(label) == _key(best))
            late = timedelta(hours=named["known-docks"].time_h - best.time_h)
            if trip.prefer is None and late <= _SURE_DOCKS_WORTH:
                best = named["known-docks"]
    chosen = list(named.values())
    others = tuple(label for label in labels if not any(label is c for c in chosen)) if every else ()
    return Choice(named, best, others)


def _choose_best(problem: Problem) -> Choice | None:
    """Recommend by time and stops alone, which decide where nothing is preferred."""
    labels = find_labels(problem, ("time", "stops"))
    if not labels:
        return None
    best = _weigh(_named(labels))
    known = _known(problem, best)
    sure = [] if known is None else find_labels(known, ("time", "stops"))
    if sure:
        other = _weigh(_named(sure))
        if timedelta(hours=other.time_h - best.time_h) <= _SURE_DOCKS_WORTH:
            best = other
    return Choice({"soonest": best}, best, ())


def part_rule(trip: Trip) -> tuple[PartRule, float]:
    """Tell how part fills are to be found.

    Parameters
    ----------
    trip
        Its fill rule and price of time.

    Returns
    -------
    The rule, and [currency/h] what an hour is worth: where the trip doesn't say, nothing for `best`, which then counts
    money alone, and more than anything for `enough`, which then counts time first.
    """
    if trip.fill == "enough":
        return "enough", DEAREST_HOUR if trip.price_of_time_per_h is None else trip.price_of_time_per_h
    return "best", trip.price_of_time_per_h or 0.0


def rank(label: Label, name: PlanName) -> tuple[float, ...]:
    """Order plans by what a name stands for, then time, cost, stops and margin.

    Parameters
    ----------
    label
        At the destination.
    name
        One of the four named plans.

    Returns
    -------
    What is smaller for the better plan; figures within a billionth are equal.
    """
    values: dict[Criterion, float] = {
        "time": round(label.time_h, 9),
        "cost": round(label.cost, 9),
        "stops": label.stops,
        "margin": round(-label.least_margin_l, 9),
    }
    first = _FIRST.get(name, "time")
    return (values[first], *(values[c] for c in CRITERIA if c != first))


def without_unpriced(problem: Problem) -> Problem:
    """Avoid the docks that state no price.

    Parameters
    ----------
    problem
        The search.

    Returns
    -------
    The same for who counts money; such docks are still somewhere to go to if another is closed.
    """
    unpriced = {i for i, dock in problem.docks.items() if dock.price_per_l is None}
    return replace(problem, avoid=problem.avoid | unpriced)


def is_priced(problem: Problem, label: Label) -> bool:
    """Tell whether every dock that a plan fills at states its price.

    Parameters
    ----------
    problem
        Its docks.
    label
        At the destination.

    Returns
    -------
    True where all do, and where none is filled at.
    """
    return all(step.fill is None or problem.docks[step.place].price_per_l is not None for step in label.path())


def _named(labels: Sequence[Label]) -> dict[PlanName, Label]:
    return {name: min(labels, key=partial(rank, name=name)) for name in _FIRST}


def _merged(named: dict[PlanName, Label]) -> dict[PlanName, Label]:
    """Take one label for plans that are the same: found twice, once without the doubtful docks."""
    first: dict[tuple[object, ...], Label] = {}
    for label in named.values():
        first.setdefault(_key(label), label)
    return {name: first[_key(label)] for name, label in named.items()}


def _key(label: Label) -> tuple[object, ...]:
    places = tuple((step.place, step.fill is not None) for step in label.path())
    return (*places, *(round(v, 6) for v in (label.time_h, label.cost, label.least_margin_l)))


def _ends(problem: Problem) -> list[Label]:
    """Find the best in each criterion, and how they trade against time."""
    found = [label for c in CRITERIA for label in find_labels(problem, (c,) if c == "time" else (c, "time"))]
    return sorted(dict.fromkeys(found), key=lambda label: label.time_h)


def _choose_part_filled(problem: Problem, trip: Trip) -> Choice | None:
    problem = without_unpriced(problem)
    rule, per_h = part_rule(trip)
    best = find_part_filled(problem, rule, per_h)
    if best is None:
        return None
    named: dict[PlanName, Label] = {rule: best}
    known = _known(problem, best)
    if known is not None:
        sure = find_part_filled(known, rule, per_h)
        if sure is not None:
            named["known-docks"] = sure
            late = timedelta(hours=sure.time_h - best.time_h)
            if late <= _SURE_DOCKS_WORTH and sure.cost <= best.cost * (1 + _SURE_DOCKS_SHARE):
                best = sure
    return Choice(named, best, ())


def _weigh(named: dict[PlanName, Label]) -> Label:
    """Recommend the soonest, or the one of fewest stops if what it saves is worth its time."""
    soonest, fewest = named["soonest"], named["fewest-stops"]
    saves = (soonest.stops - fewest.stops) * _SAVED_STOP_WORTH
    return fewest if timedelta(hours=fewest.time_h - soonest.time_h) <= saves else soonest


def _cheapest(problem: Problem, labels: Sequence[Label]) -> Label | None:
    """Find the cheapest plan whose prices are all known; None where there is none."""
    best = min(labels, key=lambda label: rank(label, "cheapest"))
    if is_priced(problem, best):
        return best
    found = find_labels(without_unpriced(problem), ("cost", "time", "stops", "margin"))
    return min(found, key=lambda label: rank(label, "cheapest"), default=None)


def _known(problem: Problem, best: Label) -> Problem | None:
    """Leave the doubtful docks out, where the best plan leans on one."""
    doubtful = {i for i, dock in problem.docks.items() if dock.doubts}
    if not any(step.fill is not None and step.hop is not None and step.place in doubtful for step in best.path()):
        return None
    return replace(problem, avoid=problem.avoid | doubtful)
