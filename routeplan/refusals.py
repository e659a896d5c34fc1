"""Why no plan keeps the rules, and what would help: the other half of planning."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import networkx as nx
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.fuel import CONFIDENCE_LOW, greatest_burn_l
from routeplan.plans import Refusal
from routeplan.search import find_labels
from routeplan.tracks import Tracks, build_dock_graph
from routeplan.units_shown import shown_distance, shown_speed

if TYPE_CHECKING:
    from routeplan.asking import Question
    from routeplan.docks import Dock
    from routeplan.search import Problem

__all__ = ["explain_refusal"]

_MOST_IDEAS = 5


def explain_refusal(question: Question, tracks: Tracks, problem: Problem) -> Refusal:
    """Find the leg that breaks the rules, by how much, and the changes that would help.

    Parameters
    ----------
    question
        What was asked.
    tracks
        Tracks at the speed asked for.
    problem
        The search that found nothing.

    Returns
    -------
    The refusal. Its leg is the worst on the way that is least bad: the one whose worst shortfall is smallest.
    """
    whole = _all_hops(question, tracks)
    for a, b in zip((problem.start, *problem.targets), problem.targets, strict=False):
        if a != b and not nx.has_path(whole, a, b):
            return _no_way(question, a, b)
    worst: tuple[float, int, int] | None = None
    for a, b in zip((problem.start, *problem.targets), problem.targets, strict=False):
        for u, v in _least_bad(whole, problem, a, b):
            short_l = _short_l(whole, problem, u, v)
            if worst is None or short_l > worst[0]:
                worst = (short_l, u, v)
    if worst is None or worst[0] <= 0:
        return _no_time(question, problem)
    short_l, u, v = worst
    units = question.boat.units
    distance = whole[u][v]["distance_nmi"]
    names = [question.network.terminals[t].place.name for t in (u, v)]
    aboard = question.trip.aboard.mean_l if u == problem.start else problem.full_l
    why = (
        f"from {names[0]} to {names[1]} it is {shown_distance(distance)} over water, at "
        f"{shown_speed(question.speed_kn)}; with {units.volume_down(aboard)} aboard at {names[0]} the arrival would be "
        f"{units.volume_up(short_l)} short of the reserve at confidence {question.trip.confidence:g}"
    )
    return Refusal(
        from_=names[0],
        to=names[1],
        distance_nmi=distance,
        short_l=short_l,
        why=why,
        try_=tuple(_ideas(question, tracks, problem, short_l, from_start=u == problem.start)),
    )


def _all_hops(question: Question, tracks: Tracks) -> nx.DiGraph:
    """Join all suitable docks and targets by their least-fuel tracks, however far."""
    ends = {question.start, *question.targets, *question.by_terminal}
    graph = nx.DiGraph()
    graph.add_nodes_from(ends)
    multi = build_dock_graph(tracks, [(a, b) for a in ends for b in ends if a != b])
    for a, b, data in multi.edges(data=True):
        if not graph.has_edge(a, b) or data["fuel_l"] < graph[a][b]["fuel_l"]:
            graph.add_edge(a, b, **data)
    return graph


def _short_l(graph: nx.DiGraph, problem: Problem, a: int, b: int) -> float:
    """[l] How far under the floor the low figure would be after a hop from the departure, or from full."""
    mean_l, sd_l = (problem.mean_l, problem.sd_l) if a == problem.start else (problem.full_l, problem.full_sd_l)
    if a in problem.docks and a != problem.start:
        mean_l, sd_l = problem.full_l, problem.full_sd_l
    return problem.floor_l - problem.low_l(mean_l, graph[a][b]["fuel_l"], sd_l)


def _least_bad(graph: nx.DiGraph, problem: Problem, start: int, end: int) -> list[tuple[int, int]]:
    """Find the way whose worst shortfall is smallest: raise the bar until the end can be reached."""
    edges = sorted((_short_l(graph, problem, a, b), a, b) for a, b in graph.edges if b in problem.docks or b == end)
    low, high = 0, len(edges)
    while low < high:
        middle = (low + high) // 2
        if _joins(edges[: middle + 1], start, end):
            high = middle
        else:
            low = middle + 1
    kept = nx.DiGraph()
    kept.add_weighted_edges_from([(a, b, graph[a][b]["time_h"]) for _, a, b in edges[: low + 1]])
    path = nx.shortest_path(kept, start, end, weight=lambda _a, _b, data: data["weight"])
    return list(itertools.pairwise(path))


def _joins(edges: list[tuple[float, int, int]], start: int, end: int) -> bool:
    graph = nx.DiGraph()
    graph.add_nodes_from([start, end])
    graph.add_edges_from([(a, b) for _, a, b in edges])
    return bool(nx.has_path(graph, start, end))


def _ideas(question: Question, tracks: Tracks, problem: Problem, short_l: float, *, from_start: bool) -> list[str]:
    """Try changes, the smallest first, and keep those that really make a plan."""
    units, boat = question.boat.units, question.boat
    ideas = []
    if from_start and problem.mean_l + short_l <= boat.tank.full_mark_l:
        more = replace(problem, mean_l=problem.mean_l + short_l * (1 + 1e-9) + 1e-6)
        if find_labels(more):
            ideas.append(
                f"leave with {units.volume_up(short_l)} more, {units.volume_up(problem.mean_l + short_l)} in all"
            )
    if from_start and problem.mean_l < problem.full_l:
        filled = replace(problem, mean_l=problem.full_l, sd_l=problem.full_sd_l)
        most_l = greatest_burn_l(problem.full_l, problem.full_sd_l, problem.sd_share, problem.z, problem.floor_l)
        filled = replace(filled, graph=build_dock_graph(tracks, _pairs(question), most_l))
        if problem.start in filled.graph and find_labels(filled):
            ideas.append(f"leave filled to the mark, {units.volume(problem.full_l)}")
    for speed_kn in reversed(boat.offered_speeds_kn):
        if speed_kn < question.speed_kn and _plans_at(question, speed_kn):
            ideas.append(f"go at {shown_speed(speed_kn)}")
            break
    helpful = _docks_that_would_help(question, tracks)
    ideas += [f"{dock.name} would do, but: {', '.join(dock.why_not)}" for dock in helpful]
    if question.trip.confidence > CONFIDENCE_LOW:
        rule = replace(problem, z=0.0)
        rule = replace(rule, graph=build_dock_graph(tracks, _pairs(question), problem.full_l))
        if find_labels(rule):
            ideas.append(
                "only the plain rule of thumb (confidence 0.5) allows it: one arrival in two would touch the reserve"
            )
    return ideas[:_MOST_IDEAS]


def _pairs(question: Question) -> list[tuple[int, int]]:
    ends = {question.start, *question.targets, *question.by_terminal}
    return [(a, b) for a in ends for b in ends if a != b]


def _plans_at(question: Question, speed_kn: float) -> bool:
    problem = question.problem(Tracks(question.network, question.boat, speed_kn))
    return bool(find_labels(problem))


def _docks_that_would_help(question: Question, tracks: Tracks) -> list[Dock]:
    """Find docks that don't suit but whose fuel would make a plan."""
    terminals = question.network.terminals
    unsuited = {
        i: question.docks[t.place.row]
        for i, t in enumerate(terminals)
        if t.place.kind == "dock" and t.entries and i not in question.by_terminal
    }
    unsuited = {i: d for i, d in unsuited.items() if f"sells no {question.boat.fuel}" not in d.why_not}
    labels = find_labels(question.problem(tracks, {**question.by_terminal, **unsuited}))
    if not labels:
        return []
    return [unsuited[step.place] for step in labels[0].path() if step.fill is not None and step.place in unsuited]


def _no_time(question: Question, problem: Problem) -> Refusal:
    """Say that fuel would do, but a dock, its largest sale or a gate stands against it."""
    names = [question.network.terminals[t].place.name for t in (problem.start, problem.targets[-1])]
    free = {i: replace(d, hours=None, largest_sale_l=None) for i, d in problem.docks.items()}
    labels = find_labels(replace(problem, docks=free))
    blamed = []
    for step in labels[0].path() if labels else ():
        if step.fill is None:
            continue
        dock = problem.docks[step.place]
        if dock.largest_sale_l is not None and step.fill.take_l > dock.largest_sale_l:
            sold = question.boat.units.volume(dock.largest_sale_l)
            wanted = question.boat.units.volume(step.fill.take_l)
            blamed.append(f"{dock.name} sells {sold} at the most, {wanted} would be needed to fill")
        elif dock.hours is not None:
            blamed.append(f"{dock.name} is not open for this: {dock.hours}")
    if blamed:
        why = f"the fuel would do, but {'; '.join(blamed)}"
    else:
        why = f"the fuel would do, but a bridge or lock between {names[0]} and {names[1]} stays shut"
    return Refusal(
        from_=names[0],
        to=names[1],
        distance_nmi=None,
        short_l=None,
        why=why,
        try_=("another departure", "another route with --via"),
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
        closes = f"only channels too narrow for the stand-off of {boat.units.length(water.margins.standoff_m)}"
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
