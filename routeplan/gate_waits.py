"""Gates on the way: a boat leaves so that bridges and locks are open when she comes, and waits where she can lie."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from layers.hours import NeverOpensError, read_hours
from routeplan.problem import Hop

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from layers.hours import Hours
    from routeplan.problem import Label, Problem
    from routeplan.tracks import Track

__all__ = ["leave", "sail"]

_TIE_H = 1e-9  # [h] times nearer than this are the same
_MOST_WAITS = 50  # openings tried for one hop through several gates
_AHEAD = "a gate ahead"  # waited for further back, until its name is known


def sail(problem: Problem, time_h: float, track: Track) -> Hop | None:
    """Sail a track, leaving it later where a gate on it would be shut.

    Parameters
    ----------
    problem
        Its gates.
    time_h
        [h] When the boat is ready, since the passage's departure.
    track
        The track.

    Returns
    -------
    The hop; None where a gate stays shut.
    """
    depart_h, waited_for = time_h, ""
    if not track.gates:
        return Hop(track, time_h, time_h + track.time_h, 0.0, "")
    for _ in range(_MOST_WAITS):
        later_h = depart_h
        for index, reached_h, left_h in track.gates:
            gate = problem.network.water.gates[index]
            hours = _gate_hours(gate.hours, problem.network.region.zone)
            if hours is None:
                continue
            reached = problem.depart + timedelta(hours=depart_h + reached_h)
            try:
                opens = hours.next_open_for(reached, timedelta(hours=left_h - reached_h))
            except NeverOpensError:
                return None
            if opens > reached:
                later_h = max(later_h, (opens - problem.depart) / timedelta(hours=1) - reached_h)
                waited_for = gate.name
        if later_h <= depart_h + _TIE_H:
            return Hop(track, depart_h, depart_h + track.time_h, depart_h - time_h, waited_for)
        depart_h = later_h
    return None


def _leave_later(problem: Problem, label: Label, depart_h: float) -> Label | None:
    """Come to a place where no boat can lie just in time to go on: the wait is moved back to where one can."""
    if label.before is None or label.hop is None or label.place in problem.may_wait:
        return label
    track = label.hop.track
    earlier = _leave_later(problem, label.before, depart_h - track.time_h)
    if earlier is None:
        return None
    hop = sail(problem, max(earlier.time_h, depart_h - track.time_h), track)
    if hop is None:
        return None
    wait_h = hop.depart_h - earlier.time_h
    if wait_h > _TIE_H and earlier.place not in problem.may_wait:  # a gate on the way there shuts meanwhile
        return None
    hop = replace(hop, wait_h=wait_h, gate=hop.gate or label.hop.gate or _AHEAD)
    return replace(label, time_h=hop.arrive_h, before=earlier, hop=hop)


def leave(problem: Problem, label: Label, track: Track) -> tuple[Label, Hop] | None:
    """Leave a place along a track, having waited for its gates where a boat can lie.

    Parameters
    ----------
    problem
        Its gates, and where a boat can lie.
    label
        Where the boat is.
    track
        The track.

    Returns
    -------
    The label, come to later where the wait lies further back, and the hop; None where a gate stays shut.
    """
    hop = sail(problem, label.time_h, track)
    for _ in range(_MOST_WAITS):
        if hop is None:
            return None
        if hop.wait_h <= _TIE_H or label.place in problem.may_wait:
            return label, hop
        gate = hop.gate
        later = _leave_later(problem, label, hop.depart_h)
        if later is None:
            return None
        label = _named_wait(later, gate)
        hop = sail(problem, label.time_h, track)
    return None


def _named_wait(label: Label, gate: str) -> Label:
    """Say for which gate ahead a wait further back is."""
    if label.before is None or label.hop is None:
        return label
    hop = replace(label.hop, gate=gate) if label.hop.gate == _AHEAD else label.hop
    return replace(label, hop=hop, before=_named_wait(label.before, gate))


@lru_cache(maxsize=64)
def _gate_hours(text: str | None, zone: ZoneInfo) -> Hours | None:
    return None if not text else read_hours(text, zone)
