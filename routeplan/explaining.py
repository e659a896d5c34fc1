"""Why each stop is there: what the best plan without it would cost, and what slowing down would buy."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pyproj import Geod

from layers.plane import METRES_PER_NMI
from routeplan.choosing import part_rule, rank, without_unpriced
from routeplan.comparing import later_words, margin_words
from routeplan.escapes import Escapes
from routeplan.gate_waits import sail
from routeplan.part_fills import find_part_filled
from routeplan.plans import Instead, SlowerRun
from routeplan.search import fill_to_mark, find_labels
from routeplan.units_shown import shown_money

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.asking import Question
    from routeplan.plans import Plan, PlanName
    from routeplan.problem import Label, Problem
    from routeplan.search import Criterion
    from routeplan.tracks import Track

__all__ = ["explain"]

_MOST_LATER_SHARE = 0.25  # of the passage's time: nobody crawls for longer to save a stop
_TOLD_SHARE = 0.01  # of the tank: how much more or less aboard at the end is told
_TIE = 1e-9  # [l, h] rounding


def explain(question: Question, problem: Problem, label: Label, plan: Plan) -> Plan:
    """Add to a plan why its stops are where they are.

    Parameters
    ----------
    question
        What was asked.
    problem
        The search that found it.
    label
        The way to the destination that it tells.
    plan
        As told so far.

    Returns
    -------
    The plan; each stop with the best plan that does without its dock, and the hops that could be run slower.
    """
    filled = [step for step in label.path() if step.fill is not None]
    stops = []
    for stop, step in zip(plan.stops, filled, strict=True):
        if step.hop is None:
            stops.append(stop)
            continue
        other = _best_without(question, problem, step.place, plan.name)
        said, instead = "no plan keeps the rules without this dock", None
        if other is not None:
            instead = _compare(problem, label, other)
            said = _words(question, instead)
        stops.append(stop.model_copy(update={"why": f"{stop.why}; {said}", "instead": instead}))
    slower = tuple(_slower_runs(question, problem, label)) if question.trip.fill == "full" else ()
    return plan.model_copy(update={"stops": tuple(stops), "slower": slower})


def _best_without(question: Question, problem: Problem, place: int, name: PlanName) -> Label | None:
    trip = question.trip
    by_money = trip.fill != "full" or name == "cheapest"  # then docks without a price aren't looked at
    poorer = replace(problem, avoid=problem.avoid | {place})
    if by_money:
        poorer = without_unpriced(poorer)
    if trip.fill != "full":
        return find_part_filled(poorer, *part_rule(trip))
    criteria: dict[PlanName, tuple[Criterion, ...]] = {
        "cheapest": ("cost", "time"),
        "fewest-stops": ("stops", "time"),
        "most-margin": ("margin", "time"),
    }
    found = find_labels(poorer, criteria.get(name, ("time", "stops")))
    return min(found, key=lambda label: rank(label, name), default=None)


def _compare(problem: Problem, label: Label, other: Label) -> Instead:
    prices = [
        problem.docks[step.place].price_per_l for end in (label, other) for step in end.path() if step.fill is not None
    ]
    return Instead(
        stops=tuple(problem.docks[step.place].name for step in other.path() if step.fill is not None),
        later_h=other.time_h - label.time_h,
        dearer=None if None in prices else other.cost - label.cost,
        margin_less_l=label.least_margin_l - other.least_margin_l,
        aboard_more_l=other.aboard_l - label.aboard_l,
        leans_on=tuple(
            problem.docks[step.place].name
            for step in other.path()
            if step.fill is not None and problem.docks[step.place].doubts
        ),
    )


def _words(question: Question, instead: Instead) -> str:
    units, currency = question.boat.units, question.network.region.about.currency
    if not instead.stops:
        return "without this dock the best plan has no stop"
    dearer = instead.dearer
    said = [later_words(instead.later_h)]
    if dearer is None:
        said.append("cost can't be compared, as a price isn't known")
    elif abs(dearer) >= 0.5:
        said.append(f"{shown_money(abs(dearer), currency)} {'dearer' if dearer > 0 else 'cheaper'}")
    said += margin_words(-instead.margin_less_l, question.boat)
    if abs(instead.aboard_more_l) >= _TOLD_SHARE * question.boat.tank.capacity_l:
        word = "more" if instead.aboard_more_l > 0 else "less"
        said.append(f"{units.volume(abs(instead.aboard_more_l))} {word} aboard at the end")
    if instead.leans_on:
        said.append(f"but {' and '.join(instead.leans_on)} not known or not confirmed")
    return f"next best without it: {' and '.join(instead.stops)}, {', '.join(said)}"


def _slower_runs(question: Question, problem: Problem, label: Label) -> list[SlowerRun]:
    """For each stop find the fastest slower speed at which the hops before and after it can be run as one."""
    path = label.path()
    boat = question.boat
    economy = boat.economy_nmi_per_l(question.speed_kn)
    speeds = [v for v in sorted(boat.offered_speeds_kn, reverse=True) if v < question.speed_kn]
    speeds = [v for v in speeds if boat.economy_nmi_per_l(v) > economy]
    skips = [
        (i, path[i - 1], path[i + 1])
        for i in range(1, len(path) - 1)
        if path[i].fill is not None and path[i].place not in problem.targets and path[i - 1].place != path[i + 1].place
    ]
    if not (speeds and skips):
        return []
    escapes = None if problem.closed_dock == "off" else Escapes(problem)
    most_h = path[-1].time_h * _MOST_LATER_SHARE
    found: dict[int, SlowerRun] = {}
    for speed_kn in speeds:
        todo = [
            (i, before, after)
            for i, before, after in skips
            if i not in found and after.time_h - before.time_h + most_h > _apart_nmi(question, before, after) / speed_kn
        ]
        if not todo:
            break  # slower still would be later still
        tracks = question.tracks_at(speed_kn).find([(a.place, b.place) for _, a, b in todo])
        for i, before, after in todo:
            run = _try_slower(problem, escapes, path, i, tracks.get((before.place, after.place), ()))
            if run is not None:
                later_h, margin_l = run
                names = [question.network.terminals[step.place].place.name for step in (before, after, path[i])]
                found[i] = SlowerRun(
                    from_=names[0], to=names[1], speed_kn=speed_kn, skips=names[2], later_h=later_h, margin_l=margin_l
                )
    return [found[i] for i in sorted(found) if found[i].later_h <= most_h]


def _apart_nmi(question: Question, a: Label, b: Label) -> float:
    """[nmi] How far two places are apart in a straight line, which no way over water undercuts."""
    ends = [question.network.terminals[label.place].place.position for label in (a, b)]
    metres = Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2]
    return float(metres) / METRES_PER_NMI


def _try_slower(
    problem: Problem, escapes: Escapes | None, path: list[Label], skipped: int, tracks: Sequence[Track]
) -> tuple[float, float] | None:
    """Run past a stop, then on as planned; [h, l] how much later that ends and the margin at the hop's end."""
    before, after = path[skipped - 1], path[skipped + 1]
    for track in tracks:
        hop = sail(problem, before.time_h, track)
        if hop is None or (hop.wait_h > _TIE and before.place not in problem.may_wait):
            continue
        burned_l = before.burned_l + hop.track.fuel_l
        margin_l = problem.low_l(before.mean_l, burned_l, before.sd_l) - problem.floor_l
        if margin_l < -_TIE:
            continue
        state = (before.mean_l, burned_l, before.sd_l)
        if after.fill is not None and escapes is not None and not escapes.allows(after.place, after.stage, *state):
            continue
        end_h = _go_on(problem, path, skipped + 1, hop.arrive_h, before.mean_l, burned_l)
        if end_h is not None:
            return end_h - path[-1].time_h, margin_l
    return None


def _go_on(
    problem: Problem, path: list[Label], index: int, arrive_h: float, mean_l: float, burned_l: float
) -> float | None:
    """[h] Follow a plan from the arrival at one of its places on; None where its next fill can't be had then."""
    for at, step in enumerate(path[index:], start=index):
        if at > index:
            if step.hop is None:
                return None
            hop = sail(problem, arrive_h, step.hop.track)
            if hop is None:
                return None
            arrive_h = hop.arrive_h
            burned_l += hop.track.fuel_l
        if step.fill is not None:
            filled = fill_to_mark(problem, step.place, arrive_h, mean_l, burned_l)
            if filled is None:
                return None
            arrive_h = filled[0].end_h
            mean_l, burned_l = max(problem.full_l, mean_l - burned_l), 0.0
        elif at == index and step is not path[-1]:
            return None  # a place passed without a fill: what it carries on to would have to be judged anew
    return arrive_h
