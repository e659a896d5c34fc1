"""Who fills where on a party's way: as few hours at the pumps as will do, every boat's rules kept.

For each boat all sets of stops that would do for her are listed; then one set a boat is chosen so that the hours that
the party lies at its stops are least: a small mixed-integer programme.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from routeplan.fuel import low_figure_l
from routeplan.programmes import solve

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from routeplan.cruises import Fuel
    from routeplan.parties import Party
    from routeplan.party_routes import Route
    from routeplan.pumps import PumpSide

__all__ = ["Fill", "choose_who_fills"]

_TIE = 1e-9
_MOST_WAYS = 256  # sets of stops looked at for one boat
_A_FILL_H = 1e-4  # [h] what a fill fewer is worth where the hours are the same
_MOST_NODES = 5_000  # of the programme's search; the best that was found by then is taken
_FUELS: tuple[Fuel, ...] = ("gasoline", "diesel")


@dataclass(frozen=True)
class Fill:
    """One boat's fill at a stop of her party.

    Parameters
    ----------
    member
        Index among the party's members.
    take_l
        [l] Mean volume.
    margin_l
        [l] Low figure above her floor on arrival.
    """

    member: int
    take_l: float
    margin_l: float


@dataclass(frozen=True)
class _Way:
    """One set of stops that will do for a boat."""

    fills: tuple[tuple[int, Fill], ...]  # index among the stops
    least_margin_l: float


def choose_who_fills(
    party: Party, route: Route, most_h: Mapping[int, float] | None = None
) -> tuple[tuple[Fill, ...], ...] | None:
    """Choose who fills at which stop of a route.

    Parameters
    ----------
    party
        Its boats.
    route
        Its way.
    most_h
        [h] By stop, how long the party may lie there at the most.

    Returns
    -------
    For each stop who fills there; None where no choice keeps the rules and these limits. A stop at which nobody has to
    fill is left empty.

    Notes
    -----
    Hours at a stop are the work divided by the pumps of the fuel that takes longest, and no shorter than any one fill:
    exact for a single pump, else a bound that the queue itself comes close to.
    """
    stops = [i for i, step in enumerate(route.steps) if step.stops]
    if len(party.members) == 1:
        way = _sail(party, route, {at: s for s, at in enumerate(stops)}, 0)
        return None if way is None else tuple((fill,) for _, fill in way.fills)
    options = [list(itertools.islice(_ways(party, route, stops, m), _MOST_WAYS)) for m in range(len(party.members))]
    if not all(options):
        return None
    chosen = _choose(party, route, stops, options, most_h or {})
    if chosen is None:
        return None
    by_stop: list[list[Fill]] = [[] for _ in stops]
    for way in chosen:
        for s, fill in way.fills:
            by_stop[s].append(fill)
    return tuple(tuple(fills) for fills in by_stop)


def _ways(party: Party, route: Route, stops: list[int], member: int) -> Iterator[_Way]:
    """List the sets of stops that will do for a boat, fewest fills first.

    Whether one stop carries to another doesn't depend on what came before, as each fill ends at the mark; so sets are
    grown from the start only over stops from which the end can be reached.
    """
    count = len(stops)
    reaches = partial(_carries, party, route, stops, member)
    carries = {
        before: [after for after in (*range(before + 1, count), count) if reaches(before, after)]
        for before in range(-1, count)
    }
    ends = {count}
    for before in range(count - 1, -2, -1):
        if ends.intersection(carries[before]):
            ends.add(before)
    found: list[tuple[int, ...]] = [()] if -1 in ends else []
    while found:
        longer: list[tuple[int, ...]] = []
        for chosen in found:
            for after in carries[chosen[-1] if chosen else -1]:
                if after == count:
                    way = _sail(party, route, {stops[s]: s for s in chosen}, member)
                    if way is not None:
                        yield way
                elif after in ends:
                    longer.append((*chosen, after))
        found = longer[:_MOST_WAYS]


def _carries(party: Party, route: Route, stops: list[int], member: int, before: int, after: int) -> bool:
    """Tell whether a boat gets from one of her fills, or the start, to another, or the end, within her rules."""
    problem, count = party.problem(member), len(stops)
    first = stops[before] + 1 if before >= 0 else 0
    last = stops[after] if after < count else len(route.steps) - 1
    level_l, sd_l = (problem.full_l, problem.full_sd_l) if before >= 0 else (problem.mean_l, problem.sd_l)
    burned_l = sum(float(party.ways.fuel_l[member, route.steps[i].way]) for i in range(first, last + 1))
    if low_figure_l(level_l, burned_l, sd_l, problem.sd_share, problem.z) - problem.floor_l < -_TIE:
        return False
    return after == count or _may_fill(party, route, last, member, level_l, burned_l, sd_l)


def _may_fill(party: Party, route: Route, at: int, member: int, level_l: float, burned_l: float, sd_l: float) -> bool:
    """Tell whether a boat may fill at a step's end: she is below the mark, the dock suits her, and leaves a way out."""
    problem, escapes, step = party.problem(member), party.escapes(member), route.steps[at]
    dock, take_l = problem.docks.get(step.place), problem.full_l - (level_l - burned_l)
    if dock is None or take_l <= 0 or (dock.largest_sale_l is not None and take_l > dock.largest_sale_l + _TIE):
        return False
    return escapes is None or escapes.allows(step.place, step.stage, level_l, burned_l, sd_l)


def _sail(party: Party, route: Route, fills_at: Mapping[int, int], member: int) -> _Way | None:
    """Run a boat along a route that fills at some stops; None where that breaks a rule of hers."""
    problem = party.problem(member)
    level_l, burned_l, sd_l = problem.mean_l, 0.0, problem.sd_l
    fills: list[tuple[int, Fill]] = []
    least_l = float("inf")
    for i, step in enumerate(route.steps):
        burned_l += float(party.ways.fuel_l[member, step.way])
        margin_l = low_figure_l(level_l, burned_l, sd_l, problem.sd_share, problem.z) - problem.floor_l
        if margin_l < -_TIE:
            return None
        least_l = min(least_l, margin_l)
        if i not in fills_at:
            continue
        if not _may_fill(party, route, i, member, level_l, burned_l, sd_l):
            return None
        take_l = problem.full_l - (level_l - burned_l)
        fills.append((fills_at[i], Fill(member, take_l, margin_l)))
        level_l, burned_l, sd_l = problem.full_l, 0.0, problem.full_sd_l
    return _Way(tuple(fills), least_l)


def _choose(
    party: Party, route: Route, stops: list[int], options: list[list[_Way]], most_h: Mapping[int, float]
) -> list[_Way] | None:
    """Choose one set a boat by a mixed-integer programme: columns are the sets, then the hours at each stop."""
    columns = [(m, way) for m, ways in enumerate(options) for way in ways]
    first = len(columns)
    cost = np.concatenate([[_A_FILL_H * len(way.fills) for _, way in columns], np.ones(len(stops))])
    rows = [{c: 1.0 for c, (member, _) in enumerate(columns) if member == m} for m in range(len(options))]
    equal = len(rows)
    for s, at in enumerate(stops):
        side = party.sides[party.row_of[route.steps[at].place]]
        hours = _hours_at(party, columns, s, side)
        for work, pumps in _queues(hours, columns, party, side):
            rows.append({first + s: 1.0} | {c: -h / pumps for c, h in work.items()})
            if pumps > 1:
                rows += [
                    {first + s: 1.0} | {c: -h for c, h in work.items() if columns[c][0] == m}
                    for m in {columns[c][0] for c in work}
                ]
    low = np.array([1.0] * equal + [0.0] * (len(rows) - equal))
    high = np.array([1.0] * equal + [np.inf] * (len(rows) - equal))
    matrix = sparse.lil_array((len(rows), len(cost)))
    for i, row in enumerate(rows):
        for c, value in row.items():
            matrix[i, c] = value
    most = [most_h.get(s, np.inf) for s in range(len(stops))]
    found = solve(
        cost,
        np.concatenate([np.ones(first), np.zeros(len(stops))]),
        np.concatenate([np.ones(first), most]),
        matrix.tocsr(),
        low,
        high,
        nodes=_MOST_NODES,
    )
    if found is None:
        return None
    return [columns[int(c)][1] for c in np.flatnonzero(found[:first] > 0.5)]


def _hours_at(party: Party, columns: list[tuple[int, _Way]], stop: int, side: PumpSide) -> dict[int, float]:
    """[h] Tell how long each column's boat lies at a stop, of those that fill there."""
    return {
        c: party.asked.berthing_h + fill.take_l / side.lpm / 60
        for c, (_, way) in enumerate(columns)
        for s, fill in way.fills
        if s == stop
    }


def _queues(
    hours: dict[int, float], columns: list[tuple[int, _Way]], party: Party, side: PumpSide
) -> Iterator[tuple[dict[int, float], int]]:
    """Divide the work at a stop by the pumps that it waits for; none is told where there is none."""
    if side.shared:
        parts = [(hours, 1)]
    else:
        parts = [
            ({c: h for c, h in hours.items() if party.boats[columns[c][0]].boat.fuel == fuel}, side.pumps[fuel])
            for fuel in _FUELS
        ]
    yield from ((work, pumps) for work, pumps in parts if work)
