"""Leaving so that the way is open: bridges, locks, currents that can be passed, light; waits are where she can lie."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from layers.hours import NeverOpensError, read_hours
from routeplan.problem import Hop

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from layers.hours import Hours
    from routeplan.problem import Label, Problem
    from routeplan.tracks import Track

__all__ = ["DAYLIGHT", "SLACK", "leave", "sail"]

_TIE_H = 1e-9  # [h] times nearer than this are the same
_MOST_WAITS = 50  # openings tried for one hop through several gates
_DEPART_EVERY_H = 1 / 6  # [h] between departures that are tried where a current can't be passed
_LONGEST_SLACK_WAIT_H = 26.0  # [h] two tides: what isn't open by then stays shut
DAYLIGHT = "daylight"  # waited for
SLACK = "slack water"  # waited for, with ` at` and the name of the current where it has one
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
    depart_h, longest_h, waited_for = time_h, 0.0, ""
    if not (track.gates or track.sailing or problem.daylight):
        return Hop(track, time_h, time_h + track.time_h, 0.0, "")
    for _ in range(_MOST_WAITS):
        run = _run(problem, depart_h, track)
        later = _next_passable(problem, depart_h, track) if run is None else _when_open(problem, depart_h, run)
        if later is None:
            return None
        later_h, name = later
        if run is not None and later_h <= depart_h + _TIE_H:
            return Hop(run, depart_h, depart_h + run.time_h, depart_h - time_h, waited_for)
        if later_h - depart_h > longest_h:  # told for what she waits longest for
            longest_h, waited_for = later_h - depart_h, name
        depart_h = later_h
    return None


def _when_open(problem: Problem, depart_h: float, run: Track) -> tuple[float, str] | None:
    """[h] Tell until when to wait for the gates on a way, then for light, and for what; None where it stays shut."""
    later_h, waited_for = depart_h, ""
    for index, reached_h, left_h in run.gates:
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
    if problem.daylight is not None and later_h <= depart_h + _TIE_H:
        leaves = problem.depart + timedelta(hours=depart_h)
        light = problem.daylight.leave(leaves, run.time_h)
        if light is None:
            return None
        if light > leaves:
            return (light - problem.depart) / timedelta(hours=1), DAYLIGHT
    return later_h, waited_for


def _run(problem: Problem, depart_h: float, track: Track) -> Track | None:
    """Tell what a track takes when it is left then; None where a current on it can't be passed."""
    if track.sailing is None or problem.conditions is None:
        return track
    sailed = track.sailing.at(problem.conditions.hours_at(problem.depart) + depart_h)
    if sailed is None:
        return None
    return replace(track, time_h=sailed.time_h, fuel_l=sailed.fuel_l, gates=sailed.gates)


def _next_passable(problem: Problem, depart_h: float, track: Track) -> tuple[float, str] | None:
    """[h] Find the next departure, on a grid of ten minutes, at which a track can be passed, and what shuts it now."""
    if track.sailing is None or problem.conditions is None:
        return None
    conditions = problem.conditions
    begun_h = conditions.hours_at(problem.depart)
    count = round(_LONGEST_SLACK_WAIT_H / _DEPART_EVERY_H)
    departs_h = depart_h + np.linspace(_DEPART_EVERY_H, _LONGEST_SLACK_WAIT_H, count)
    hours, _ = track.sailing.many(begun_h + departs_h)
    passable = np.flatnonzero(np.isfinite(hours))
    at = track.sailing.stopped_at(begun_h + depart_h)
    if not len(passable) or at is None:
        return None
    name = conditions.currents.name_at(at) if conditions.currents is not None else ""
    return float(departs_h[passable[0]]), f"{SLACK} at {name}" if name else SLACK


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
    burned_l = earlier.burned_l + hop.track.fuel_l  # no fuel is taken where no boat can lie
    margin_l = problem.low_l(label.mean_l, burned_l, label.sd_l) - problem.floor_l
    if margin_l < -_TIE_H:
        return None
    margin_l = min(margin_l, earlier.least_margin_l)
    return replace(label, time_h=hop.arrive_h, burned_l=burned_l, before=earlier, hop=hop, least_margin_l=margin_l)


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
