"""What tests of the refuel search share: puzzles of the oracles put the product's way, and its answers read back."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import networkx as nx
import numpy as np
from oracles.every_plan import ROUNDING, Point, front, low_l

from layers.hours import read_hours
from routeplan.docks import Dock
from routeplan.problem import Problem
from routeplan.search import find_labels
from routeplan.tracks import Track

if TYPE_CHECKING:
    from collections.abc import Iterable

    from oracles.every_plan import Puzzle

    from routeplan.problem import Label
    from routeplan.search import Criterion

MIDNIGHT = datetime(2026, 7, 1, tzinfo=UTC)  # a Wednesday
UTC_ZONE = ZoneInfo("UTC")
ALL_FOUR: tuple[Criterion, ...] = ("time", "cost", "stops", "margin")


def a_track(
    time_h: float, fuel_l: float, gates: tuple[tuple[int, float, float], ...] = (), speed_kn: float = 20.0
) -> Track:
    """Make a track that is nothing but its hours, litres and gates."""
    return Track(np.zeros((2, 2)), ("leg",), speed_kn * time_h, time_h, fuel_l, gates, (), speed_kn=speed_kn)


def a_dock(
    name: str,
    hours: str | None = None,
    lpm: float = 60.0,
    largest_l: float | None = None,
    zone: ZoneInfo = UTC_ZONE,
    price_per_l: float | None = 2.0,
) -> Dock:
    """Make a dock about which all else is known and well."""
    return Dock(
        name=name,
        row=0,
        position=(0, 0),
        hours=None if hours is None else read_hours(hours, zone),
        price_per_l=price_per_l,
        pump_lpm=lpm,
        largest_sale_l=largest_l,
        why_not=(),
        cautions=(),
        missing=(),
        facts={},
        stale=(),
    )


def a_problem(puzzle: Puzzle, **changes: Any) -> Problem:
    """Put a puzzle the product's way; the network lends nothing but its gates and its zone."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from({puzzle.start, *puzzle.targets, *puzzle.pumps})
    for (a, b), ways in puzzle.ways.items():
        for way in ways:
            track = a_track(way.time_h, way.fuel_l, speed_kn=way.speed_kn)
            graph.add_edge(a, b, track=track, time_h=way.time_h, fuel_l=way.fuel_l)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=()), region=SimpleNamespace(zone=UTC_ZONE))
    given: dict[str, Any] = {
        "network": network,
        "graph": graph,
        "docks": {
            i: a_dock(f"dock {i}", p.text(), p.lpm, p.largest_l, price_per_l=p.price_per_l)
            for i, p in puzzle.pumps.items()
        },
        "start": puzzle.start,
        "targets": puzzle.targets,
        "depart": MIDNIGHT + timedelta(hours=puzzle.depart_of_day_h),
        "mean_l": puzzle.mean_l,
        "sd_l": puzzle.sd_l,
        "full_l": puzzle.full_l,
        "full_sd_l": puzzle.full_sd_l,
        "floor_l": puzzle.floor_l,
        "sd_share": puzzle.sd_share,
        "z": puzzle.z,
        "berthing_h": puzzle.berthing_h,
        "may_wait": frozenset(graph),
        "unusable_l": puzzle.unusable_l,
        "closed_dock": puzzle.closed_dock,
        "fill_first": puzzle.fill_first,
        "guess_price_per_l": puzzle.guess_price_per_l,
    }
    return Problem(**(given | changes))


def figures(points: Iterable[Point], criteria: tuple[Criterion, ...] = ALL_FOUR) -> list[tuple[float, ...]]:
    """Keep of the oracle's points the figures asked for, the less the better, and of these the Pareto set."""
    return front(tuple(_figure(point, name) for name in criteria) for point in points)


def found_figures(puzzle: Puzzle, criteria: tuple[Criterion, ...] = ALL_FOUR) -> list[tuple[float, ...]]:
    """Ask the product for the same; points found twice stay two."""
    return sorted(
        tuple(_figure(point_of(label), name) for name in criteria)
        for label in find_labels(a_problem(puzzle), criteria=criteria)
    )


def point_of(label: Label) -> Point:
    """Read a label in the oracle's units; clocks of the product count whole microseconds, so minutes to five places."""
    return Point(
        round(label.time_h * 60, 5), round(label.cost * 100, 5), label.stops, round(label.least_margin_l * 10, ROUNDING)
    )


def _figure(point: Point, name: Criterion) -> float:
    figure = {
        "time": round(point.time_min, 3),
        "cost": round(point.cost_cents, 3),
        "stops": point.stops,
        "margin": -round(point.margin_dl, 4),
    }[name]
    return figure + 0.0  # no minus zero


def faults_of(puzzle: Puzzle, end: Label) -> list[str]:  # noqa: C901  the rules in one place, to be read through
    """Tell a plan again step by step and list where it isn't what the rules make of it."""
    faults: list[str] = []

    def hold(what: str, told: float, due: float) -> None:
        if not math.isclose(told, due, abs_tol=1e-6):
            faults.append(f"{what}: {told}, ought to be {due}")

    level, burned, sd = puzzle.mean_l, 0.0, puzzle.sd_l
    time_h, cost, stops, margin, passed, here = 0.0, 0.0, 0, math.inf, 0, puzzle.start
    for index, step in enumerate(end.path()):
        if step.hop is not None:
            track = step.hop.track
            if not any(
                (w.time_h, w.fuel_l, w.speed_kn) == (track.time_h, track.fuel_l, track.speed_kn)
                for w in puzzle.ways.get((here, step.place), ())
            ):
                faults.append(f"no such way from {here} to {step.place}")
            hold("departure", step.hop.depart_h, time_h)
            time_h, burned = time_h + track.time_h, burned + track.fuel_l
            hold("arrival", step.hop.arrive_h, time_h)
            left = low_l(puzzle, level, burned, sd) - puzzle.floor_l
            if left < -1e-9:
                faults.append(f"the floor is touched at {step.place} by {-left}")
            if step.fill is not None or (passed + 1 == len(puzzle.targets) and step.place == puzzle.targets[-1]):
                margin = min(margin, left)
            if step.place == puzzle.targets[passed]:
                passed += 1
        elif index and not (step.fill is not None and puzzle.fill_first and not stops):
            faults.append(f"came to {step.place} without a hop")
        here = step.place
        if step.fill is not None:
            pump = puzzle.pumps[here]
            take = max(puzzle.full_l - (level - burned), 0.0)
            lasts_h = puzzle.berthing_h + take / pump.lpm / 60
            hold("volume", step.fill.take_l, take)
            if pump.largest_l is not None and take > pump.largest_l:
                faults.append(f"{here} doesn't sell so much")
            begin_h = pump.begin_h(time_h, lasts_h, puzzle.depart_of_day_h)
            hold("begin", step.fill.begin_h, math.inf if begin_h is None else begin_h)
            hold("wait", step.fill.wait_h, step.fill.begin_h - time_h)
            hold("end", step.fill.end_h, step.fill.begin_h + lasts_h)
            time_h, stops = step.fill.end_h, stops + 1
            cost += take * (puzzle.guess_price_per_l if pump.price_per_l is None else pump.price_per_l)
            level, burned, sd = max(puzzle.full_l, level - burned), 0.0, puzzle.full_sd_l
        hold("time", step.time_h, time_h)
        hold("cost", step.cost, cost)
        hold("stops", step.stops, stops)
        hold("aboard", step.aboard_l, level - burned)
        if step.stage != passed:
            faults.append(f"stage {step.stage} at {here}, ought to be {passed}")
    if passed != len(puzzle.targets):
        faults.append("the destination is not reached")
    hold("least margin", end.least_margin_l, margin)
    if puzzle.fill_first and (not stops or end.path()[0].place != puzzle.start):
        faults.append("no fill before leaving")
    return faults
