"""Made-up outings for the search with part fills, put the product's way, and its plans told step by step."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise, permutations
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import networkx as nx
import numpy as np
from oracles.part_fill_plans import Outing, Stand, Way

from layers.hours import read_hours
from routeplan.docks import Dock
from routeplan.problem import Problem
from routeplan.tracks import Track

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

    from routeplan.problem import Label

MIDNIGHT = datetime(2026, 7, 1, tzinfo=UTC)  # a Wednesday
SLACK = 1e-6  # [l, h] rounding of a plan told again; its clock counts whole microseconds


def as_problem(outing: Outing) -> Problem:
    """Put an outing the product's way; the network lends nothing but its gates and its zone."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from([outing.start, *outing.targets, *outing.stands])
    for (a, b), ways in outing.ways.items():
        for way in ways:
            track = Track(np.zeros((2, 2)), ("leg",), 20 * way.time_h, way.time_h, way.fuel_l, (), ())
            graph.add_edge(a, b, track=track, time_h=way.time_h, fuel_l=way.fuel_l)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=()), region=SimpleNamespace(zone=ZoneInfo("UTC")))
    return Problem(
        network=network,
        graph=graph,
        docks={i: _dock(f"dock {i}", stand) for i, stand in outing.stands.items()},
        start=outing.start,
        targets=outing.targets,
        depart=MIDNIGHT + timedelta(hours=outing.depart_of_day_h),
        mean_l=outing.mean_l,
        sd_l=outing.sd_l,
        full_l=outing.full_l,
        full_sd_l=outing.full_sd_l,
        floor_l=outing.floor_l,
        sd_share=outing.sd_share,
        z=outing.z,
        berthing_h=outing.berthing_h,
        may_wait=frozenset(graph),
        unusable_l=outing.unusable_l,
        closed_dock=outing.closed_dock,
        fill_first=outing.fill_first,
        guess_price_per_l=outing.guess_price,
    )


def _dock(name: str, stand: Stand) -> Dock:
    text = stand.text()
    return Dock(
        name=name,
        row=0,
        position=(0, 0),
        hours=None if text is None else read_hours(text, ZoneInfo("UTC")),
        price_per_l=stand.price,
        pump_lpm=stand.lpm,
        largest_sale_l=stand.largest_l,
        why_not=(),
        cautions=(),
        stale=(),
        missing=(),
        facts={},
    )


@dataclass(frozen=True)
class Retold:
    """A plan of the product's, worked out again from its hops and volumes alone."""

    bill: float
    time_h: float
    cost: float
    stops: int
    margin_l: float
    faults: tuple[str, ...]


def retell(  # noqa: C901, PLR0912, PLR0915  the rules in one place, to be read through
    outing: Outing, label: Label
) -> Retold:
    """Sail a plan's hops and pump its volumes by the rules, and list every rule that it breaks."""
    faults: list[str] = []
    path = label.path()
    level_l, burned_l, sd_l = outing.mean_l, 0.0, outing.sd_l
    time_h, cost, stops, margin_l, stage = 0.0, 0.0, 0, math.inf, 0

    def fill(step: Label) -> None:
        nonlocal level_l, burned_l, sd_l, time_h, cost, stops
        assert step.fill is not None
        stand, aboard_l, take_l = outing.stands[step.place], level_l - burned_l, step.fill.take_l
        if stand.largest_l is not None and take_l > stand.largest_l + SLACK:
            faults.append(f"takes {take_l} l at {step.place}, more than its largest sale")
        if step.fill.to_mark:
            if abs(take_l - max(outing.full_l - aboard_l, 0.0)) > SLACK:
                faults.append(f"{take_l} l at {step.place} isn't to the mark")
            level_l, burned_l, sd_l = max(outing.full_l, aboard_l), 0.0, outing.full_sd_l
        else:
            if take_l < -SLACK or (aboard_l + take_l > outing.full_l + SLACK and take_l > SLACK):
                faults.append(f"takes {take_l} l at {step.place} on top of {aboard_l}")
            level_l += take_l
        lasts_h = outing.berthing_h + take_l / stand.lpm / 60
        begin_h = _begin_h(outing, stand, time_h, lasts_h)
        if abs(begin_h - step.fill.begin_h) > SLACK or abs(begin_h + lasts_h - step.fill.end_h) > SLACK:
            faults.append(f"at {step.place} from {step.fill.begin_h} to {step.fill.end_h}, not from {begin_h}")
        time_h = begin_h + lasts_h
        cost += take_l * outing.price(step.place)
        stops += 1

    if path[0].place != outing.start:
        faults.append("begins elsewhere")
    if path[0].fill is not None:
        fill(path[0])
    if (path[0].fill is not None) > outing.fill_first:
        faults.append("fills at the start unasked")
    for before, step in pairwise(path):
        if step.hop is None:  # a fill of its own at the place
            if step.place != before.place or step.fill is None:
                faults.append("jumps")
            else:
                fill(step)
            continue
        way = Way(step.hop.track.time_h, step.hop.track.fuel_l)
        if way not in outing.ways.get((before.place, step.place), ()):
            faults.append(f"no such hop: {before.place} to {step.place}")
        time_h += way.time_h
        burned_l += way.fuel_l
        if stage == len(outing.targets):
            faults.append("sails on")
        stage = outing.after(step.place, stage)
        margin_l = min(margin_l, level_l - burned_l - outing.doubt_l(burned_l, sd_l) - outing.floor_l)
        needed_l = outing.least_aboard_l(step.place, stage, burned_l, sd_l, stop=step.fill is not None)
        if level_l - burned_l < needed_l - SLACK:
            faults.append(f"arrives at {step.place} with {level_l - burned_l} l, {needed_l} needed")
        if step.fill is None and stage == before.stage:
            faults.append(f"passes {step.place} for nothing")
        if step.fill is not None:
            fill(step)
        if step.stage != stage:
            faults.append(f"counts {step.stage} targets at {step.place}, not {stage}")
    if stage != len(outing.targets):
        faults.append("isn't there")
    said = (label.time_h, label.cost, label.stops, label.least_margin_l)
    for what, ours, theirs in zip(
        ("time", "cost", "stops", "margin"), (time_h, cost, stops, margin_l), said, strict=True
    ):
        if abs(ours - theirs) > SLACK * 10:
            faults.append(f"says {what} {theirs}, it is {ours}")
    return Retold(cost + outing.price_of_time * time_h, time_h, cost, stops, margin_l, tuple(faults))


def _begin_h(outing: Outing, stand: Stand, arrive_h: float, lasts_h: float) -> float:
    for opens_h, shuts_h in stand.openings_h(outing.depart_of_day_h, arrive_h + 72):
        begin_h = max(opens_h, arrive_h)
        if begin_h < shuts_h - 1e-9 and begin_h + lasts_h <= shuts_h + SLACK:
            return begin_h
    return math.inf


# ---- made-up outings


def plane_outing(rng: random.Random, docks: int, *, rules: Sequence[str] = (), speeds: int = 1) -> Outing:
    """Scatter docks in a plane between start 0 and destination 1; ways as the crow flies, an odd detour now and then.

    Rules are any of `doubt`, `sales`, `hours`, `closed`, `strict`, `first`, `via`, `guess`, `time`, `berthing`.
    """
    length = rng.uniform(25, 45) * (docks + 1) ** 0.9  # in litres of the slower speed
    at = {0: (0.0, 0.0), 1: (length, 0.0)}
    for i in range(2, docks + 2):
        at[i] = ((i - 1 + rng.uniform(-0.8, 0.8)) / (docks + 1) * length, rng.uniform(-15, 15))
    targets = [1]
    if "via" in rules:
        via = rng.choice([docks + 2, rng.randrange(2, docks + 2)])
        if via == docks + 2:
            at[via] = (rng.uniform(0.2, 0.8) * length, rng.uniform(-20, 20))
        targets = [via, 1]
    rates = [(0.04, 1.0), (0.031, 1.23)][:speeds]  # [h], [l] a unit of length
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for a, b in permutations(at, 2):
        far = math.dist(at[a], at[b]) * rng.choice([1.0, 1.0, 1.0, rng.uniform(1, 1.3)]) + 0.5
        ways[a, b] = tuple(Way(far * h, far * f) for h, f in rates)
    stands = {}
    for i in range(2, docks + 2):
        windows: tuple[tuple[int, int], ...] = ()
        if "hours" in rules and rng.random() < 0.7:
            begin = rng.randrange(5 * 60, 12 * 60)
            windows = ((begin, begin + rng.randrange(2 * 60, 12 * 60)),)
        price = None if "guess" in rules and rng.random() < 0.3 else round(rng.uniform(1.2, 2.6), 2)
        largest = round(rng.uniform(15, 80), 1) if "sales" in rules and rng.random() < 0.4 else None
        stands[i] = Stand(price, rng.uniform(15, 70), largest, windows)
    if "first" in rules:
        stands[0] = Stand(round(rng.uniform(1.2, 2.6), 2), rng.uniform(15, 70))
    doubt = "doubt" in rules
    return Outing(
        ways=ways,
        stands=stands,
        start=0,
        targets=tuple(targets),
        mean_l=rng.uniform(15, 60) if "first" in rules else rng.uniform(45, 96),
        full_l=96.0,
        floor_l=rng.uniform(5, 14),
        price_of_time=rng.choice([3.0, 20.0, 80.0]) if "time" in rules else 0.0,
        sd_l=rng.choice([0.0, 1.0, 3.0]) if doubt else 0.0,
        full_sd_l=rng.choice([0.0, 1.0]) if doubt else 0.0,
        unusable_l=rng.uniform(0, 4),
        sd_share=rng.choice([0.0, 0.06, 0.12]) if doubt else 0.0,
        z=rng.choice([0.6, 1.2815515655446004, 2.0]) if doubt else 0.0,
        berthing_h=0.25 if "berthing" in rules else 0.0,
        depart_of_day_h=float(rng.randrange(24)),
        closed_dock="strict" if "strict" in rules else "on" if "closed" in rules else "off",
        fill_first="first" in rules,
        guess_price=1.9 if "guess" in rules else 0.0,
    )


RULES = ("doubt", "sales", "hours", "closed", "strict", "first", "via", "guess", "time", "berthing")


def any_rules(rng: random.Random, *, without: Sequence[str] = ()) -> tuple[str, ...]:
    """Choose some rules at random."""
    return tuple(r for r in RULES if r not in without and rng.random() < (0.2 if r == "strict" else 0.4))


def line_outing(
    prices: Sequence[float], uses_l: Sequence[float], *, full_l: float, start_l: float, floor_l: float, **more: Any
) -> Outing:
    """Put docks in a row: 0, which is the start too, then 2, 3, ...; the destination is 1."""
    order = [0, *range(2, len(prices) + 1), 1]
    at = [sum(uses_l[:i]) for i in range(len(uses_l) + 1)]
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        (order[i], order[j]): (Way(0.1 * (at[j] - at[i]), at[j] - at[i]),)
        for i in range(len(order))
        for j in range(i + 1, len(order))
    }
    stands = {place: Stand(float(price)) for place, price in zip(order, prices, strict=False)}
    return Outing(
        ways=ways,
        stands=stands,
        start=0,
        targets=(1,),
        mean_l=start_l,
        full_l=full_l,
        floor_l=floor_l,
        fill_first=True,
        **more,
    )
