"""Gates and the clock: which bridges and locks an outing can count on, out and on the way back."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError, read_hours
from routeplan.leg_graph import Price
from routeplan.spreading import spread

if TYPE_CHECKING:
    from layers.hours import Hours
    from routeplan.leg_graph import Rates
    from routeplan.outings import AskedReach
    from routeplan.tracks import Track

__all__ = ["can_pass", "find_shut", "shut_words"]

_LEAST_OPEN_H = 5 / 60  # [h] a gate has to stay open for so long when she comes, if it asks for no wait


def find_shut(asked: AskedReach, rates: Rates, total_h: float | None = None) -> frozenset[int]:
    """Find the gates that an outing can't count on.

    Parameters
    ----------
    asked
        The outing.
    rates
        The boat's at her speed.
    total_h
        [h] Until she is back at the latest, without stops; None where she needn't come back.

    Returns
    -------
    Gates that are shut when she comes to them by the quickest way, or, where she comes back, at some time until she
    passes them again at the latest. A boat can't lie and wait for one under way, so no wait is planned.
    """
    network = asked.network
    timed = [i for i, gate in enumerate(network.water.gates) if _hours(asked, i) is not None]
    if not timed:
        return frozenset()
    by_time = spread(network, [asked.start], Price.of_time(rates))
    shut = set()
    for gate in timed:
        sides = [node for leg in network.gate_legs if leg.gate == gate for node in leg.nodes]
        out_h = float(min((by_time.away[node] for node in sides), default=np.inf))
        if np.isfinite(out_h) and not _stays_open(asked, gate, out_h, None if total_h is None else total_h - out_h):
            shut.add(gate)
    return frozenset(shut)


def can_pass(asked: AskedReach, track: Track, leave_h: float = 0.0, *, back: bool = False) -> bool:
    """Tell whether all gates of a track are open when she comes to them.

    Parameters
    ----------
    asked
        The outing.
    track
        From the start.
    leave_h
        [h] When she leaves its beginning, or its end on the way back, since the departure.
    back
        Whether it is run from its end.

    Returns
    -------
    Whether she gets through without lying and waiting.
    """
    return all(
        _stays_open(asked, gate, leave_h + (track.time_h - left_h if back else reached_h), None)
        for gate, reached_h, left_h in track.gates
    )


def shut_words(asked: AskedReach, gates: frozenset[int]) -> list[str]:
    """Say which gates count as shut.

    Parameters
    ----------
    asked
        The outing.
    gates
        As found.

    Returns
    -------
    Sentences.
    """
    found = [asked.network.water.gates[gate] for gate in sorted(gates)]
    return [
        f"{gate.name} counts as shut when she comes there or back (hours {gate.hours}): water behind it is left out "
        "unless there is a way round."
        for gate in found
    ]


def _hours(asked: AskedReach, gate: int) -> Hours | None:
    text = asked.network.water.gates[gate].hours
    return read_hours(text, asked.network.region.zone) if text else None


def _stays_open(asked: AskedReach, gate: int, first_h: float, last_h: float | None) -> bool:
    """Tell whether a gate is open at one time after the departure, and until another."""
    hours = _hours(asked, gate)
    if hours is None:
        return True
    wait_h = max(asked.network.water.gates[gate].wait_h, _LEAST_OPEN_H)
    first = asked.outing.depart + timedelta(hours=first_h)
    lasts_h = wait_h if last_h is None else max(last_h - first_h, 0.0) + wait_h
    try:
        return bool(hours.next_open_for(first, timedelta(hours=lasts_h)) <= first)
    except NeverOpensError:
        return False
