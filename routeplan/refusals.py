"""Why no plan keeps the rules, and what would help: the other half of planning."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import networkx as nx
import shapely

from layers.hours import NeverOpensError
from layers.plane import METRES_PER_NMI
from routeplan.docks import sells
from routeplan.escapes import Escapes
from routeplan.fuel import CONFIDENCE_LOW, z_of
from routeplan.gate_waits import sail
from routeplan.part_fills import find_part_filled
from routeplan.plans import Refusal
from routeplan.search import fill_to_mark, find_labels
from routeplan.tracks import Tracks, build_dock_graph
from routeplan.units_shown import shown_distance, shown_speed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from routeplan.asking import Question
    from routeplan.docks import Dock
    from routeplan.plans import Plan
    from routeplan.problem import Label, Problem

__all__ = ["explain_closed_dock", "explain_refusal"]

_MOST_IDEAS = 5
_NEAR_ENOUGH_L = 0.02  # [l] how near the smallest change of fuel is found: screens show tenths
_BESIDE_NMI = 0.5  # [nmi] a dock so near to the departure can be filled at before leaving


def explain_refusal(question: Question, tracks: Sequence[Tracks], problem: Problem) -> Refusal:
    """Find the leg that breaks the rules, by how much, and the changes that would help.

    Parameters
    ----------
    question
        What was asked.
    tracks
        Tracks at the speeds asked for.
    problem
        The search that found nothing.

    Returns
    -------
    The refusal. Its leg is the worst on the way that is least bad: the one whose worst shortfall is smallest. From one
    filling to the next it may pass vias.
    """
    if problem.fill_first and fill_to_mark(problem, problem.start, 0.0, problem.mean_l, 0.0) is None:
        return _no_first_fill(question, problem)
    hops = _all_hops(question, tracks, _helpful(question))
    _freeze(hops, problem)
    problem = replace(problem, graph=hops)
    whole = _least_fuel(question, hops)
    for a, b in pairwise((problem.start, *problem.targets)):
        if a != b and not nx.has_path(whole, a, b):
            return _no_way(question, a, b)
    units, trip = question.boat.units, question.trip
    start_low_l = problem.low_l(problem.mean_l, 0.0, problem.sd_l)
    worst = max(_least_bad(_carries(whole, problem)), key=lambda carry: carry.short_l)
    if worst.short_l <= 0:
        return _no_fill(question, problem)
    names = [question.network.terminals[t].place.name for t in (worst.source, *worst.via, worst.target)]
    aboard_l = problem.mean_l if worst.from_departure else problem.full_l
    way = f" by way of {', '.join(names[1:-1])}" if worst.via else ""
    why = (
        f"from {names[0]} to {names[-1]}{way} it is {shown_distance(worst.distance_nmi)} over water, at "
        f"{shown_speed(question.speed_kn)}; with {units.volume_down(aboard_l)} aboard there the arrival would be "
        f"{units.volume_up(worst.short_l)} short of the reserve at confidence {trip.confidence:g}"
    )
    if worst.from_departure and start_low_l < problem.floor_l:
        why = (
            f"{units.volume(aboard_l)} aboard, low figure {units.volume_down(max(start_low_l, 0.0))}, is less than "
            f"unusable fuel and reserve together, {units.volume_up(problem.floor_l)}, before leaving"
        )
    return Refusal(
        from_=names[0],
        to=names[-1],
        distance_nmi=worst.distance_nmi,
        short_l=worst.short_l,
        why=why,
        try_=tuple(_ideas(question, problem, from_start=worst.from_departure)),
    )


def explain_closed_dock(
    question: Question, tracks: Sequence[Tracks], problem: Problem, label: Label, plan: Plan
) -> Refusal:
    """Tell which stop of the best plan breaks the closed-dock rule, by how much, and the changes that would help.

    Parameters
    ----------
    question
        What was asked.
    tracks
        Tracks at the speeds asked for.
    problem
        The search under the rule, which found nothing.
    label
        The best way to the destination without the rule.
    plan
        What it is told as.

    Returns
    -------
    The refusal, with the plan as offered.
    """
    escapes = Escapes(problem)
    units, trip, names = question.boat.units, question.trip, [t.place.name for t in question.network.terminals]
    strict = problem.closed_dock == "strict"
    floor = "the reserve" if strict else "the unusable fuel"
    said: list[str] = []
    short_l = 0.0
    broken = [stop.dock for stop in plan.stops if not stop.keeps_closed_dock_rule]
    for step in label.path():
        if step.fill is None or step.hop is None or names[step.place] not in broken:
            continue
        mean_l, burned_l, sd_l = step.on_arrival
        ways = escapes.ways(step.place, step.stage)
        if not ways:
            said.append(f"if {names[step.place]} is closed, no other dock that suits leads on to {names[label.place]}")
            continue
        lacking_l = escapes.least_aboard_l(step.place, step.stage, burned_l, sd_l) - (mean_l - burned_l)
        short_l = max(short_l, lacking_l)
        nearest = ways[0]
        way = shown_distance(sum(track.distance_nmi for track in nearest.tracks))
        said.append(
            f"if {names[step.place]} is closed on arrival, {names[nearest.place]}, {way} on, is "
            f"{units.volume_up(lacking_l)} too far to be reached above {floor} at confidence {trip.confidence:g}"
        )
    problem = replace(problem, graph=_all_hops(question, tracks, _helpful(question)))
    ideas = [*_ideas(question, problem, from_start=True)]
    if strict and _has_plan(replace(problem, closed_dock="on")):
        ideas.append("--closed-dock on, which lets an alternate be reached on the reserve")
    calls = " and ".join(dict.fromkeys(broken))
    ideas.append(f"--closed-dock off, after making sure that {calls} will be open and has fuel")
    return Refusal(
        from_=names[problem.start],
        to=names[problem.targets[-1]],
        distance_nmi=None,
        short_l=short_l or None,
        why=f"no plan keeps the closed-dock rule{' and the reserve' if strict else ''}: {'; '.join(said)}",
        try_=tuple(ideas),
        breaks_at=tuple(broken),
        offered=plan,
    )


@dataclass(frozen=True)
class _Carry:
    """What one filling, or the departure, has to carry the boat through: past vias to the next fuel, or to the end."""

    source: int
    from_departure: bool
    stage: int
    via: tuple[int, ...]
    target: int
    end_stage: int
    distance_nmi: float
    short_l: float


def _helpful(question: Question) -> dict[int, Dock]:
    """List the docks that don't suit for another reason than the fuel they sell."""
    return {
        i: question.docks[t.place.row]
        for i, t in enumerate(question.network.terminals)
        if t.place.kind == "dock"
        and t.entries
        and i not in question.by_terminal
        and sells(question.docks[t.place.row].facts, question.boat)
    }


def _all_hops(question: Question, tracks: Sequence[Tracks], others: Iterable[int]) -> nx.MultiDiGraph:
    """Join the departure, the targets and all docks, however far."""
    ends = {question.start, *question.targets, *question.by_terminal, *others}
    graph = build_dock_graph(tracks, [(a, b) for a in ends for b in ends if a != b])
    graph.add_nodes_from(ends)
    return graph


def _freeze(hops: nx.MultiDiGraph, problem: Problem) -> None:
    """Let every hop take what it takes when it is left at the departure, or at the next moment at which it can be."""
    for _, _, edge in hops.edges(data=True):
        if edge["track"].sailing is None:
            continue
        hop = sail(replace(problem, daylight=None), 0.0, edge["track"])
        if hop is not None:
            edge["track"], edge["time_h"], edge["fuel_l"] = hop.track, hop.track.time_h, hop.track.fuel_l


def _least_fuel(question: Question, hops: nx.MultiDiGraph) -> nx.DiGraph:
    """Keep the least-fuel hop between each two of the departure, the targets and the docks that suit."""
    ends = {question.start, *question.targets, *question.by_terminal}
    graph = nx.DiGraph()
    graph.add_nodes_from(ends)
    for a, b, data in hops.edges(data=True):
        if a in ends and b in ends and (not graph.has_edge(a, b) or data["fuel_l"] < graph[a][b]["fuel_l"]):
            graph.add_edge(a, b, **data)
    return graph


def _carries(whole: nx.DiGraph, problem: Problem) -> list[_Carry]:
    """List every carry, feasible or not, with how far under the floor its arrival would be."""
    last = len(problem.targets)
    sources = [(problem.start, True, 0), *((dock, False, stage) for dock in problem.docks for stage in range(last))]
    found = []
    for source, from_departure, stage in sources:
        mean_l, sd_l = (problem.mean_l, problem.sd_l) if from_departure else (problem.full_l, problem.full_sd_l)
        here, fuel_l, distance_nmi = source, 0.0, 0.0
        via: tuple[int, ...] = ()
        for passed in range(stage, last):
            ahead = problem.targets[passed]
            for target in (*problem.docks, ahead):
                if target == here or not whole.has_edge(here, target):
                    continue
                hop = whole[here][target]
                short_l = problem.floor_l - problem.low_l(mean_l, fuel_l + hop["fuel_l"], sd_l)
                length = distance_nmi + hop["distance_nmi"]
                end_stage = passed + (target == ahead)
                if target in problem.docks or end_stage == last:
                    found.append(_Carry(source, from_departure, stage, via, target, end_stage, length, short_l))
            if not whole.has_edge(here, ahead):
                break
            fuel_l += whole[here][ahead]["fuel_l"]
            distance_nmi += whole[here][ahead]["distance_nmi"]
            here, via = ahead, (*via, ahead)
    return found


def _least_bad(carries: list[_Carry]) -> list[_Carry]:
    """Find the chain of carries whose worst shortfall is smallest: raise the bar until the end can be reached."""
    last = max(c.end_stage for c in carries)
    ordered = sorted(carries, key=lambda c: c.short_l)
    low, high = 1, len(ordered)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if _chain(ordered[:middle], last) else (middle + 1, high)
    return _chain(ordered[:low], last)


def _chain(carries: list[_Carry], last: int) -> list[_Carry]:
    """Find a chain of fewest carries from the departure to the end; empty where there is none."""
    graph = nx.DiGraph()
    graph.add_nodes_from(["departure", "end"])
    for carry in carries:
        tail = "departure" if carry.from_departure else (carry.source, carry.stage)
        head = "end" if carry.end_stage == last else (carry.target, carry.end_stage)
        if not graph.has_edge(tail, head):  # the smallest shortfall comes first
            graph.add_edge(tail, head, carry=carry)
    if not nx.has_path(graph, "departure", "end"):
        return []
    path = nx.shortest_path(graph, "departure", "end")
    return [graph[a][b]["carry"] for a, b in pairwise(path)]


def _has_plan(problem: Problem) -> bool:
    return bool(find_labels(problem, ("time",)))


def _ideas(question: Question, problem: Problem, *, from_start: bool) -> list[str]:
    """Try changes, the smallest first, and keep those that really make a plan."""
    units = question.boat.units
    ideas = []
    filled = replace(problem, mean_l=problem.full_l, sd_l=problem.full_sd_l)
    would_fill = from_start and not problem.fill_first and problem.mean_l < problem.full_l and _has_plan(filled)
    beside = _dock_beside(question, problem) if would_fill else None
    if from_start and not problem.fill_first:
        more_l = _more_at_departure_l(problem)
        if more_l is not None and more_l < problem.full_l - problem.mean_l:
            total = units.volume_up(problem.mean_l + more_l)
            ideas.append(f"leave with {units.volume_up(more_l)} more, {total} in all")
        if problem.start in problem.docks and _has_plan(replace(problem, fill_first=True)):
            ideas.append("--fill-first: fill where you lie")
        elif would_fill and beside is None:
            ideas.append(f"leave filled to the mark, {units.volume(problem.full_l)}")
    if beside is not None:
        ideas.append(f"fill at {beside.name} before you leave, then --aboard full")
    slower_kn = _slower_speed_kn(question)
    if slower_kn is not None:
        only = "" if question.trip.slower else ", or let --slower slow down only where it must be"
        ideas.append(f"go at {shown_speed(slower_kn)}{only}")
    unsuited = _helpful(question)
    labels = find_labels(replace(problem, docks={**problem.docks, **unsuited}), ("time",))
    for step in labels[0].path() if labels else ():
        if step.fill is not None and step.place in unsuited:
            dock = unsuited[step.place]
            ideas.append(f"{dock.name} would do, but: {', '.join(dock.why_not)}")
    ideas += _bolder_ideas(question, problem)
    return ideas[:_MOST_IDEAS]


def _bolder_ideas(question: Question, problem: Problem) -> list[str]:
    """Find the largest smaller reserve, and the highest lower confidence, that make a plan."""
    units, trip = question.boat.units, question.trip
    ideas = []
    reserve_l = _reserve_that_does_l(problem)
    if reserve_l is not None:
        whole_l = problem.floor_l - problem.unusable_l
        ideas.append(
            f"--reserve {units.volume_down(reserve_l).replace(' ', '')} would do in place of {units.volume(whole_l)}, "
            "at your own judgement"
        )
    confidence = _confidence_that_does(problem, trip.confidence)
    if confidence is not None and confidence <= CONFIDENCE_LOW:
        ideas.append(
            "only the plain rule of thumb (confidence 0.5) allows it: one arrival in two would touch the reserve"
        )
    elif confidence is not None:
        ideas.append(
            f"--confidence {confidence:g} would do in place of {trip.confidence:g}: "
            f"{round(100 * confidence)} arrivals in 100 would keep the reserve"
        )
    return ideas


def _more_at_departure_l(problem: Problem) -> float | None:
    """[l] Find the least more fuel at departure that makes a plan; None where even a full tank doesn't."""
    room_l = problem.full_l - problem.mean_l
    if room_l <= 0 or not _has_plan(replace(problem, mean_l=problem.full_l)):
        return None
    return _last_that_does_l(room_l, 0.0, lambda more_l: _has_plan(replace(problem, mean_l=problem.mean_l + more_l)))


def _reserve_that_does_l(problem: Problem) -> float | None:
    """[l] Find the largest smaller reserve that makes a plan; None where no reserve at all does."""
    whole_l = problem.floor_l - problem.unusable_l
    if whole_l <= 0 or not _has_plan(replace(problem, floor_l=problem.unusable_l)):
        return None
    unusable_l = problem.unusable_l
    return _last_that_does_l(0.0, whole_l, lambda kept_l: _has_plan(replace(problem, floor_l=unusable_l + kept_l)))


def _last_that_does_l(does_l: float, fails_l: float, does: Callable[[float], bool]) -> float:
    """[l] Halve the way from a volume that makes a plan to one that doesn't, and keep the side that does."""
    while abs(fails_l - does_l) > _NEAR_ENOUGH_L:
        middle_l = (does_l + fails_l) / 2
        does_l, fails_l = (middle_l, fails_l) if does(middle_l) else (does_l, middle_l)
    return does_l


def _confidence_that_does(problem: Problem, asked: float) -> float | None:
    """[share] Find the largest smaller confidence, in whole hundredths, that makes a plan."""
    low, high = 50, math.ceil(100 * asked)  # in hundredths: the lower one does, the higher one doesn't
    if asked <= CONFIDENCE_LOW or not _has_plan(replace(problem, z=0.0)):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _has_plan(replace(problem, z=z_of(middle / 100))) else (low, middle)
    return low / 100


def _dock_beside(question: Question, problem: Problem) -> Dock | None:
    """Find a dock that suits, within half a mile of the departure."""
    near = [
        (min(edge["distance_nmi"] for edge in problem.graph[problem.start][i].values()), i)
        for i in problem.docks
        if problem.graph.has_edge(problem.start, i)
    ]
    distance_nmi, nearest = min(near, default=(float("inf"), -1))
    return question.by_terminal[nearest] if distance_nmi <= _BESIDE_NMI else None


def _slower_speed_kn(question: Question) -> float | None:
    """[kn] Find the fastest slower speed that makes a plan; none if the most economical one doesn't."""
    boat = question.boat
    asked = boat.economy_nmi_per_l(question.speed_kn)
    slower = [v for v in boat.offered_speeds_kn if v < question.speed_kn and boat.economy_nmi_per_l(v) > asked]
    if not slower or not _plans_at(question, max(slower, key=boat.economy_nmi_per_l)):
        return None
    return next(v for v in sorted(slower, reverse=True) if _plans_at(question, v))


def _plans_at(question: Question, speed_kn: float) -> bool:
    return _has_plan(question.problem([question.tracks_at(speed_kn)]))


def _no_first_fill(question: Question, problem: Problem) -> Refusal:
    """Say that the tank can't be filled to the mark before leaving."""
    units, dock = question.boat.units, problem.docks[problem.start]
    wanted = units.volume(problem.full_l - problem.mean_l)
    why = f"{dock.name} doesn't open for long enough: {dock.hours}"
    if dock.largest_sale_l is not None and problem.full_l - problem.mean_l > dock.largest_sale_l:
        sold = units.volume(dock.largest_sale_l)
        why = f"{dock.name} sells {sold} at the most, {wanted} would be needed to fill to the mark before leaving"
    ideas = ["--fill best, which takes what is sold"] if find_part_filled(problem, "best", 0.0) else []
    if _has_plan(replace(problem, fill_first=False)):
        ideas.append("leave --fill-first out: there is a plan without it")
    return Refusal(
        from_=dock.name,
        to=question.network.terminals[problem.targets[-1]].place.name,
        distance_nmi=None,
        short_l=None,
        why=why,
        try_=tuple(ideas),
    )


def _no_fill(question: Question, problem: Problem) -> Refusal:
    """Say that full tanks would do, but a dock's largest sale, its hours or a gate stands against them."""
    units = question.boat.units
    names = [question.network.terminals[t].place.name for t in (problem.start, problem.targets[-1])]
    free = {i: replace(d, hours=None, largest_sale_l=None) for i, d in problem.docks.items()}
    labels = find_labels(replace(problem, docks=free, closed_dock="off"), ("time",))
    blamed: list[str] = []
    over_l = 0.0
    for step in labels[0].path() if labels else ():
        if step.fill is None:
            continue
        dock = problem.docks[step.place]
        if dock.largest_sale_l is not None and step.fill.take_l > dock.largest_sale_l:
            over_l = max(over_l, step.fill.take_l - dock.largest_sale_l)
            sold, wanted = units.volume(dock.largest_sale_l), units.volume(step.fill.take_l)
            blamed.append(f"{dock.name} sells {sold} at the most, {wanted} would be needed to fill to the mark")
            continue
        try:
            dock.begin_fill(problem.depart + timedelta(hours=step.fill.begin_h), step.fill.end_h - step.fill.begin_h)
        except NeverOpensError:
            blamed.append(f"{dock.name} doesn't open for long enough: {dock.hours}")
    why = f"full tanks would do, but {'; '.join(blamed)}"
    if not blamed and not question.network.water.gates:
        why = f"from {names[0]} to {names[1]} full tanks would do, but not with the docks' hours and sales together"
    elif not blamed:
        why = f"full tanks would do, but a bridge or lock between {names[0]} and {names[1]} stays shut"
    partial = []
    if over_l and question.trip.fill == "full" and find_part_filled(problem, "best", 0.0):
        partial.append("--fill best, which takes what is sold")
    ideas = _ideas(question, problem, from_start=over_l > 0)
    return Refusal(
        from_=names[0],
        to=names[1],
        distance_nmi=None,
        short_l=None,
        why=why,
        try_=(*partial, *ideas, "another route with --via"),
    )


def _no_way(question: Question, a: int, b: int) -> Refusal:
    """Say that no navigable water joins two places, and what closes it."""
    network, boat = question.network, question.boat
    water = network.water
    names = [network.terminals[t].place.name for t in (a, b)]
    ends = [shapely.Point(network.terminals[t].attachment.approaches[0].entry) for t in (a, b)]
    ideas: list[str] = []
    closes = "land"
    if _joined(water.open, ends):
        closes = f"only channels too narrow for the stand-off of {boat.units.room(water.margins.standoff_m)}"
        ideas.append("a smaller --stand-off, if you know the channel")
    else:
        reopened = water.open
        words = {
            "shoal": f"water too shallow for {boat.units.depth_up(boat.draught_m + water.margins.under_keel_m)}",
            "unsurveyed": "unsurveyed water",
            "hazard": "hazards",
            "no-entry": "a no-entry zone",
        }
        for reason, shape in water.closed.items():
            reopened = reopened.union(shape.difference(water.land))
            if _joined(reopened.buffer(0.01), ends):
                closes = words[reason]
                if reason == "unsurveyed":
                    ideas.append("--allow-unsurveyed, at your own judgement")
                break
        else:
            if _joined(water.plane.box().difference(water.land), ends):
                closes = (
                    f"a bridge or cable too low for {boat.units.length(boat.air_draught_m + water.margins.overhead_m)}"
                )
    apart = shown_distance(float(shapely.distance(*ends)) / METRES_PER_NMI)
    return Refusal(
        from_=names[0],
        to=names[1],
        distance_nmi=None,
        short_l=None,
        why=f"no way over water joins {names[0]} and {names[1]}, {apart} apart, for {boat.name}: {closes} between them",
        try_=tuple(ideas),
    )


def _joined(shape: shapely.Geometry, ends: list[shapely.Point]) -> bool:
    return any(all(p.distance(end) < 1.0 for end in ends) for p in shapely.get_parts(shape))
