"""Part fills as one mixed-integer programme over the whole dock graph, solved by HiGHS and proven optimal.

For the plain rule of thumb (z = 0), where a full fill is only a part fill that ends at the mark. Nothing is shared with
the product, and no plan is listed: fuel and hours flow along the arcs that are sailed.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

if TYPE_CHECKING:
    from oracles.part_fill_plans import Outing, Way

COPIES = 2  # how often one dock may be filled at between two targets
ON_GAP = 1e-6  # [currency] greatest distance between the optimum and what is proven


@dataclass(frozen=True)
class _Node:
    """A place at a stage, to be visited once at the most; an opening where it is one of a stop."""

    place: int
    stage: int
    stop: bool
    opens_h: float = 0.0
    shuts_h: float = math.inf
    copy: int = 0


@dataclass
class _Programme:
    """Variables and rows of one programme, as they come."""

    cost: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)

    def unknown(self, cost: float = 0.0, low: float = 0.0, high: float = math.inf, *, whole: bool = False) -> int:
        self.cost.append(cost)
        self.low.append(low)
        self.high.append(high)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, terms: dict[int, float], low: float, high: float) -> None:
        self.rows.append((terms, low, high))

    def solve(self) -> float | None:
        data = [(i, j, v) for i, (terms, _, _) in enumerate(self.rows) for j, v in terms.items()]
        at, to, value = zip(*data, strict=True)
        matrix = sparse.csr_array((value, (at, to)), shape=(len(self.rows), len(self.cost)))
        limits = LinearConstraint(matrix, [r[1] for r in self.rows], [r[2] for r in self.rows])
        solved = milp(
            self.cost,
            constraints=limits,
            integrality=self.whole,
            bounds=Bounds(self.low, self.high),
            options={"mip_rel_gap": 0.0},
        )
        if solved.status == 2:
            return None
        assert solved.status == 0, solved.message
        assert solved.fun - solved.mip_dual_bound <= ON_GAP, "not proven"
        return float(solved.fun)


def bill_by_network(  # noqa: C901, PLR0915  all rows in one place, to be read through
    outing: Outing, *, hours: bool = False, horizon_h: float = 96.0
) -> float | None:
    """Find the least money and time over all plans; None where there is none. Hours only where asked for."""
    assert outing.z == 0, "only the plain rule of thumb is linear"
    assert outing.mean_l <= outing.full_l, "and only up to the mark"
    nodes, arcs = _expand(outing, horizon_h if hours else None)
    last = len(outing.targets)
    programme = _Programme()
    into: dict[_Node, list[tuple[int, int, int, Way]]] = defaultdict(list)  # sailed, fuel, hour, way
    out: dict[_Node, list[tuple[int, int, int]]] = defaultdict(list)
    for a, b, way in arcs:
        needed_l = outing.least_aboard_l(b.place, b.stage, 0.0, 0.0, stop=b.stop) + way.fuel_l
        if needed_l > outing.full_l:
            continue
        at_end = outing.price_of_time if b.stage == last else 0.0
        sailed = programme.unknown(at_end * way.time_h, 0, 1, whole=True)
        fuel = programme.unknown()  # aboard when leaving a
        hour = programme.unknown(at_end)  # of leaving a
        programme.row({fuel: 1.0, sailed: -needed_l}, 0, math.inf)
        programme.row({fuel: 1.0, sailed: -outing.full_l}, -math.inf, 0)
        programme.row({hour: 1.0, sailed: -horizon_h * 4}, -math.inf, 0)
        out[a].append((sailed, fuel, hour))
        into[b].append((sailed, fuel, hour, way))
    for node in nodes:
        is_first = node == nodes[0]
        terms_out = out[node]
        if node.stage == last:
            continue
        come = {s: 1.0 for s, _, _, _ in into[node]}
        fuel_terms = {f: -1.0 for _, f, _, _ in into[node]} | {s: w.fuel_l for s, _, _, w in into[node]}
        hour_terms = {h: -1.0 for _, _, h, _ in into[node]} | {s: -w.time_h for s, _, _, w in into[node]}
        # as many leave as come
        programme.row({s: 1.0 for s, _, _ in terms_out} | dict.fromkeys(come, -1.0), float(is_first), float(is_first))
        if not is_first:
            programme.row(come, 0, 1)
        fuel_terms |= {f: 1.0 for _, f, _ in terms_out}  # aboard leaving - aboard arriving = taken
        hour_terms_end = {h: 1.0 for _, _, h in terms_out}
        if not node.stop:
            programme.row(fuel_terms, outing.mean_l * is_first, outing.mean_l * is_first)
            programme.row(hour_terms | hour_terms_end, 0, 0)
            continue
        stand = outing.stands[node.place]
        taken = programme.unknown(outing.price(node.place), 0, math.inf)
        most_l = outing.full_l if stand.largest_l is None else min(stand.largest_l, outing.full_l)
        if not hours:
            most_l = min(most_l, outing.most_l(node.place))
        fuel_terms[taken] = -1.0
        programme.row(fuel_terms, outing.mean_l * is_first, outing.mean_l * is_first)
        visit = dict.fromkeys(come, -max(most_l, 0.0))
        programme.row({taken: 1.0} | visit, -math.inf, max(most_l, 0.0) if is_first else 0.0)
        if most_l < 0:
            programme.row(come, 0, 0)
        begin = programme.unknown()
        programme.row({begin: 1.0} | hour_terms, 0, math.inf)  # not before the arrival
        programme.row(
            hour_terms_end | {begin: -1.0, taken: -1 / stand.lpm / 60} | dict.fromkeys(come, -outing.berthing_h),
            outing.berthing_h * is_first,
            outing.berthing_h * is_first,
        )
        if hours:
            programme.row({begin: 1.0} | dict.fromkeys(come, -node.opens_h), node.opens_h * is_first, math.inf)
            shuts_h = min(node.shuts_h, horizon_h * 4)
            ends = {**hour_terms_end}
            for s in come:
                ends[s] = ends.get(s, 0.0) - shuts_h
            programme.row(ends, -math.inf, shuts_h * is_first)
    ends_at = {s: 1.0 for node in nodes if node.stage == last for s, _, _, _ in into[node]}
    if not ends_at:
        return None
    programme.row(ends_at, 1, 1)
    return programme.solve()


def _expand(  # noqa: C901  as above
    outing: Outing, horizon_h: float | None
) -> tuple[list[_Node], list[tuple[_Node, _Node, Way]]]:
    """List nodes, the departure first, and arcs; a stop's node for each of its openings where hours count."""
    last = len(outing.targets)

    def stops_at(place: int, stage: int) -> list[_Node]:
        stand = outing.stands[place]
        if horizon_h is None:
            return [_Node(place, stage, stop=True, copy=i) for i in range(COPIES)]
        if not stand.windows:
            return [_Node(place, stage, stop=True, copy=i) for i in range(COPIES)]
        spans = stand.openings_h(outing.depart_of_day_h, horizon_h)
        return [
            _Node(place, stage, True, max(o, 0.0), s)  # noqa: FBT003
            for o, s in spans
            if s - max(o, 0.0) >= outing.berthing_h
        ]

    if not outing.fill_first:
        first = [_Node(outing.start, 0, stop=False, copy=-1)]
    elif horizon_h is None or not outing.stands[outing.start].windows:
        first = [_Node(outing.start, 0, stop=True, copy=-1)]
    else:
        assert horizon_h is None, "a first fill under hours isn't modelled"
        first = []
    nodes: dict[_Node, None] = dict.fromkeys(first)
    arcs: list[tuple[_Node, _Node, Way]] = []
    todo = list(first)
    while todo:
        a = todo.pop()
        for (here, b), ways in outing.ways.items():
            if here != a.place or a.stage == last:
                continue
            after = outing.after(b, a.stage)
            ends = [_Node(b, after, stop=False)] if after > a.stage else []
            if b in outing.stands and after < last:
                ends += stops_at(b, after)
            for end in ends:
                if end not in nodes:
                    nodes[end] = None
                    todo.append(end)
                arcs += [(a, end, way) for way in ways]
    return list(nodes), arcs
