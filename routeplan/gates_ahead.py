"""Bridges and locks on the way that is left: whether they are open when she comes, going on as she does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.hours import NeverOpensError, read_hours

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.ahead import Ahead
    from routeplan.network import Network

__all__ = ["ShutGate", "find_shut_gates"]

_BY_THE_GATE_M = 60.0  # [m] a way that comes so near to an opening goes through it


@dataclass(frozen=True)
class ShutGate:
    """A bridge or lock that is shut when she comes.

    Parameters
    ----------
    name
        Its name.
    reached
        When she comes.
    opens
        When it opens; None where it stays shut for as long as hours are looked ahead.
    hours
        Its hours, as the openings layer has them.
    """

    name: str
    reached: datetime
    opens: datetime | None
    hours: str


def find_shut_gates(network: Network, ahead: Ahead, when: datetime) -> tuple[ShutGate, ...]:
    """Find the gates on a way that are shut when she comes.

    Parameters
    ----------
    network
        Its water holds the gates.
    ahead
        The way.
    when
        When she is at its beginning.

    Returns
    -------
    In the order of the way; those whose hours aren't known, or that she passes under, are left out.
    """
    gates = [gate for gate in network.water.gates if gate.must_open and gate.hours]
    if not gates or len(ahead.positions) < 2:
        return ()
    xy = network.water.plane.to_plane(list(ahead.positions))
    line = shapely.LineString(xy)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    found = []
    for gate in gates:
        sides = shapely.LineString(gate.sides)
        if line.distance(sides) > _BY_THE_GATE_M or gate.hours is None:
            continue
        at = line.project(sides.centroid)
        reached = when + timedelta(hours=float(np.interp(at, along, ahead.time_h)))
        try:
            opens = read_hours(gate.hours, network.region.zone).next_open_for(reached, timedelta(hours=gate.wait_h))
        except NeverOpensError:
            opens = None
        if opens is None or opens > reached:
            found.append((at, ShutGate(gate.name, reached, opens, gate.hours)))
    return tuple(gate for _, gate in sorted(found, key=lambda item: item[0]))
