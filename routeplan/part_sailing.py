"""A way with part fills as it is really sailed, and its litres shared out anew where the boat waits for openings."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

from routeplan.gate_waits import leave
from routeplan.part_ways import TICK_H, TIE, Way
from routeplan.problem import FillUp, Label, Problem
from routeplan.search import fill_to_mark

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from routeplan.escapes import Escapes

    Vector = NDArray[np.float64]

__all__ = ["sail_through", "share_out"]


def sail_through(problem: Problem, way: Way, amounts: Mapping[int, float] | None = None) -> Label | None:
    """Sail a way with its amounts decided: clocks, hours and levels as they really come.

    Parameters
    ----------
    problem
        The search.
    way
        To the last target.
    amounts
        [l] By number of the stop, for part fills; what the way has taken where None.

    Returns
    -------
    The label at the last target; None where hours or gates don't allow it.
    """
    amounts = _amounts(way) if amounts is None else amounts
    label = Label(problem.start, 0, 0.0, 0, 0.0, problem.mean_l, 0.0, problem.sd_l)
    for step in _steps(way):
        hop, burned_l, margin_l, came_from = None, label.burned_l, label.least_margin_l, label
        arrive_h = 0.0
        if step.track is not None:
            left = leave(problem, label, step.track)
            if left is None:
                return None
            came_from, hop = left
            arrive_h = hop.arrive_h
            burned_l += hop.track.fuel_l
            margin_l = min(margin_l, problem.low_l(label.mean_l, burned_l, label.sd_l) - problem.floor_l)
        before = None if step.track is None else came_from
        if step.fills:
            filled = _fill(problem, step, arrive_h, label, burned_l, amounts.get(step.stops - 1, 0.0))
            if filled is None:
                return None
            fill, cost, mean_l, burned_l, sd_l = filled
            label = Label(
                step.place,
                step.stage,
                fill.end_h,
                label.stops + 1,
                label.cost + cost,
                mean_l,
                burned_l,
                sd_l,
                before,
                hop,
                fill,
                margin_l,
            )
        elif step.track is not None:
            label = Label(
                step.place,
                step.stage,
                arrive_h,
                label.stops,
                label.cost,
                label.mean_l,
                burned_l,
                label.sd_l,
                before,
                hop,
                None,
                margin_l,
            )
    return label


def share_out(
    problem: Problem, escapes: Escapes | None, way: Way, label: Label, price_of_time_per_h: float
) -> Label | None:
    """Share the litres of part fills out anew, the order of stops and the openings used being given.

    Parameters
    ----------
    problem
        The search.
    escapes
        Its closed-dock rule; None where that is off.
    way
        To the last target.
    label
        The same as it was sailed.
    price_of_time_per_h
        [currency/h] What an hour is worth.

    Returns
    -------
    The best that this order can come to, sailed; None where it can't be told: a gate is waited for.

    Notes
    -----
    A linear programme over the litres taken and the moments at which fills begin. What an arrival needs aboard is the
    same however the litres are shared out, as it depends on the burn since the last full mark alone.
    """
    path = label.path()
    if any(step.hop is not None and step.hop.wait_h > TIE for step in path):
        return None
    count = sum(step.fill is not None for step in path)
    unit = np.eye(2 * count)  # the unknowns: litres, then moments at which fills begin
    rows: list[Vector] = []
    limits: list[float] = []  # what they must not exceed
    equal: list[Vector] = []
    equals: list[float] = []
    cost = np.zeros(2 * count)
    bounds: list[tuple[float, float | None]] = [(0.0, None)] * (2 * count)
    aboard, aboard_l = np.zeros(2 * count), problem.mean_l  # fuel aboard: in the unknowns, and besides
    ready, ready_h = np.zeros(2 * count), 0.0  # when the boat is ready to go on, the same
    number = 0
    for step in path:
        if step.hop is not None:
            aboard_l -= step.hop.track.fuel_l
            ready_h += step.hop.track.time_h
            _, burned_l, sd_l = step.on_arrival
            need_l = problem.floor_l - problem.low_l(burned_l, burned_l, sd_l)
            if step.fill is not None and escapes is not None:
                need_l = max(need_l, escapes.least_aboard_l(step.place, step.stage, burned_l, sd_l))
            rows.append(-aboard)
            limits.append(aboard_l - need_l)
        if step.fill is None:
            continue
        dock = problem.docks[step.place]
        litres, begins = unit[number], unit[count + number]
        rows.append(ready - begins)  # no fill before the arrival
        limits.append(-ready_h)
        aboard = aboard + litres
        (equal if step.fill.to_mark else rows).append(aboard)
        (equals if step.fill.to_mark else limits).append(max(problem.full_l, step.aboard_l) - aboard_l)
        ready, ready_h = begins + litres / (60 * dock.pump_lpm), problem.berthing_h
        opens_h, closes_h = _opening(problem, step.place, step.fill)
        if closes_h < math.inf:
            rows.append(ready)
            limits.append(closes_h - ready_h - TICK_H)
        bounds[number], bounds[count + number] = (0.0, dock.largest_sale_l), (opens_h, None)
        cost[number] = problem.price_per_l(step.place)
        number += 1
    cost += price_of_time_per_h * ready
    found = linprog(
        cost,
        A_ub=np.array(rows),
        b_ub=np.array(limits),
        A_eq=np.array(equal) if equal else None,
        b_eq=np.array(equals) if equals else None,
        bounds=bounds,
        method="highs",
    )
    return sail_through(problem, way, dict(enumerate(found.x[:count].tolist()))) if found.success else None


def _opening(problem: Problem, place: int, fill: FillUp) -> tuple[float, float]:
    """[h] Tell from when, where the boat waited, and till when a dock is open around a fill."""
    hours = problem.docks[place].hours
    if hours is None:
        return 0.0, math.inf
    closes = hours.next_change(problem.depart + timedelta(hours=fill.begin_h))
    closes_h = math.inf if closes is None else (closes - problem.depart) / timedelta(hours=1)
    return (fill.begin_h if fill.wait_h > TIE else 0.0), closes_h


def _steps(way: Way) -> list[Way]:
    steps: list[Way] = []
    step: Way | None = way
    while step is not None:
        steps.append(step)
        step = step.before
    return steps[::-1]


def _amounts(way: Way) -> dict[int, float]:
    """[l] Sum up what has been taken at each stop."""
    amounts: dict[int, float] = {}
    for step in _steps(way):
        for stop, litres in step.taken:
            amounts[stop] = amounts.get(stop, 0.0) + litres
    return amounts


def _fill(
    problem: Problem, step: Way, arrive_h: float, label: Label, burned_l: float, take_l: float
) -> tuple[FillUp, float, float, float, float] | None:
    """Work a fill out: its times and cost, and level, burn and doubt after it."""
    if step.to_mark:
        found = fill_to_mark(problem, step.place, arrive_h, label.mean_l, burned_l)
        if found is None:
            return None
        return *found, max(problem.full_l, label.mean_l - burned_l), 0.0, problem.full_sd_l
    dock = problem.docks[step.place]
    wait_h = problem.wait_h(step.place, arrive_h, take_l)
    if wait_h is None:
        return None
    # With doubt a part fill that happens to end at the mark has been chosen for what is known before it.
    to_mark = problem.z == 0 and label.mean_l - burned_l + take_l >= problem.full_l - TIE
    begin_h = arrive_h + wait_h
    fill = FillUp(begin_h, begin_h + dock.fill_h(take_l, problem.berthing_h), wait_h, take_l, to_mark=to_mark)
    cost = take_l * problem.price_per_l(step.place)
    if to_mark:
        return fill, cost, problem.full_l, 0.0, problem.full_sd_l
    return fill, cost, label.mean_l + take_l, burned_l, label.sd_l
