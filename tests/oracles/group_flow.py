"""The fewest docks of a group as one integer programme: docks are opened, and each boat is a flow from fill to fill.

Nodes are (dock, stage), arcs what a full tank carries from one to the next, past visits on the way. Ways are taken to
be straight lines, so that the nearest way to a dock leads past nothing but the visits; hours don't count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from oracles.every_dock_set import Skipper
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

if TYPE_CHECKING:
    from collections.abc import Iterator

    from oracles.every_dock_set import Company, CruisePuzzle, Tank

Node = tuple[int, int] | str


def fewest_by_flow(puzzle: CruisePuzzle) -> int | None:
    """Find the least number of docks for boats that go by themselves; None where all won't do."""
    docks = sorted(puzzle.quays)
    arcs = [(k, a, b) for k, company in enumerate(puzzle.companies) for a, b in _arcs(puzzle, company)]
    nodes = {(k, node) for k, a, b in arcs for node in (a, b)}
    nodes |= {(k, end) for k in range(len(puzzle.companies)) for end in ("start", "end")}
    balance = {each: i for i, each in enumerate(sorted(nodes, key=str))}
    size = len(docks) + len(arcs)
    rows = sparse.lil_array((len(balance) + len(arcs), size))
    low, high = np.zeros(rows.shape[0]), np.zeros(rows.shape[0])
    for (_, node), i in balance.items():
        low[i] = high[i] = {"start": 1.0, "end": -1.0}.get(node, 0.0) if isinstance(node, str) else 0.0
    for j, (k, a, b) in enumerate(arcs, start=len(docks)):
        rows[balance[k, a], j] += 1.0
        rows[balance[k, b], j] -= 1.0
        i = len(balance) + j - len(docks)
        low[i] = -np.inf
        if isinstance(b, tuple):  # what is filled at is open
            rows[i, j] = 1.0
            rows[i, docks.index(b[0])] = -1.0
    found = milp(
        np.concatenate([np.ones(len(docks)), np.zeros(len(arcs))]),
        integrality=np.concatenate([np.ones(len(docks)), np.zeros(len(arcs))]),
        bounds=Bounds(
            np.zeros(size), np.concatenate([np.ones(len(docks)), np.full(len(arcs), float(len(puzzle.companies)))])
        ),
        constraints=LinearConstraint(rows.tocsr(), low, high),
    )
    return None if found.x is None else round(float(found.fun))


def _arcs(puzzle: CruisePuzzle, company: Company) -> Iterator[tuple[Node, Node]]:  # noqa: C901  the rules in one place
    skipper = Skipper(puzzle, company, 0)
    burn_l = {pair: min(run.litres[0] for run in runs) for pair, runs in company.runs.items()}

    def carried(first: Node, here: int, stage: int, tank: Tank) -> Iterator[tuple[Node, Node]]:
        for passed in range(stage, puzzle.last):
            for dock in puzzle.quays:
                ahead = (dock, passed)
                if dock == here or dock == puzzle.visits[passed + 1]:
                    continue  # coming to the next visit is the next stage
                there = tank._replace(burned=tank.burned + burn_l[here, dock])
                if skipper.arrives(there) and skipper.may_fill(dock, passed, there):
                    yield first, ahead
            target = puzzle.visits[passed + 1]
            tank = tank._replace(burned=tank.burned + burn_l[here, target])
            here = target
            if not skipper.arrives(tank):
                return
            if passed + 1 == puzzle.last:
                yield first, "end"
            elif here in puzzle.quays and skipper.may_fill(here, passed + 1, tank):
                yield first, (here, passed + 1)

    yield from carried("start", puzzle.visits[0], 0, skipper.first)
    for dock in puzzle.quays:
        for stage in range(puzzle.last):
            if dock != puzzle.visits[stage + 1]:
                yield from carried((dock, stage), dock, stage, skipper.full)
