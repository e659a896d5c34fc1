"""Why no plan keeps the rules where that is the water's or the light's doing, and when one would."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from routeplan.gate_waits import sail
from routeplan.plans import Refusal
from routeplan.search import find_labels
from routeplan.units_shown import shown_duration

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from routeplan.asking import Question
    from routeplan.problem import Label, Problem
    from routeplan.tracks import Track, Tracks

__all__ = ["ShutCurrent", "explain_conditions", "find_later_departure", "find_shut_current"]

_LATER = timedelta(minutes=30)  # between departures that are tried
_TRIES = 26  # departures: half a day's tides


def explain_conditions(question: Question, tracks: Sequence[Tracks], problem: Problem) -> Refusal | None:
    """Tell where daylight or a current alone stands in the way of any plan.

    Parameters
    ----------
    question
        What was asked.
    tracks
        Tracks at the speeds asked for.
    problem
        The search that found nothing.

    Returns
    -------
    The refusal; None where something else stands in the way too.
    """
    if problem.daylight is not None:
        free = find_labels(replace(problem, daylight=None), ("time",))
        if free:
            return _too_dark(question, problem, free[0])
    shut = find_shut_current(tracks[0], problem)
    return None if shut is None else _faster_than_she(question, shut)


def find_later_departure(problem: Callable[[datetime], Problem], depart: datetime) -> datetime | None:
    """Find the next departure that has a plan.

    Parameters
    ----------
    problem
        Sets the search of one departure up.
    depart
        The one that has none.

    Returns
    -------
    The first of those tried, half an hour apart, within thirteen hours; None where none has one.
    """
    for number in range(1, _TRIES + 1):
        later = depart + number * _LATER
        if find_labels(problem(later), ("time",)):
            return later
    return None


def _names(question: Question, *terminals: int) -> list[str]:
    return [question.network.terminals[t].place.name for t in terminals]


def _too_dark(question: Question, problem: Problem, free: Label) -> Refusal:
    """Say which hop is too long for a day, or that the days don't fit together."""
    light = problem.daylight
    hops = [(a.place, b.place, b.hop.track.time_h) for a, b in pairwise(free.path()) if b.hop is not None]
    a, b, longest_h = max(hops, key=lambda hop: hop[2])
    from_, to = _names(question, a, b)
    day = "a day with an hour of light in hand" if light is None or light.hours_per_day is None else "a day"
    window_h = 0.0 if light is None else light.longest_h
    why = (
        f"no plan keeps to daylight: from {from_} to {to} she is {shown_duration(longest_h)} under way, and {day} has "
    )
    why += shown_duration(window_h)
    if longest_h <= window_h:
        why = "no plan keeps to daylight: no nights ashore, docks' hours and fuel go together"
    ideas = []
    if light is not None and light.hours_per_day is not None:
        ideas.append("longer --hours-per-day")
    if light is not None and light.rule == "sun":
        ideas.append("--daylight civil, which counts from dawn to dusk")
    ideas += ["a faster --speed, if the sea allows it", "a harbour on the way with --via"]
    return Refusal(from_=from_, to=to, distance_nmi=None, short_l=None, why=why, try_=tuple(ideas))


class ShutCurrent(NamedTuple):
    """A current that no way leads through.

    Parameters
    ----------
    ends
        Terminals on either side.
    name
        Of the current.
    opens
        When a way leads through it next, zone-aware; None where none does within the span.
    """

    ends: tuple[int, int]
    name: str
    opens: datetime | None


def find_shut_current(found: Tracks, problem: Problem) -> ShutCurrent | None:
    """Find a current that shuts the way between two of a passage's places, whenever she leaves within a day.

    Parameters
    ----------
    found
        Tracks at the speed asked for.
    problem
        The search.

    Returns
    -------
    The first; None where every leg can be passed.
    """
    conditions = problem.conditions
    if conditions is None or conditions.currents is None:
        return None
    begun_h = conditions.hours_at(problem.depart)
    for a, b in pairwise((problem.start, *problem.targets)):
        tracks = found.find([(a, b)]).get((a, b), ())
        if not tracks or any(sail(problem, 0.0, track) is not None for track in tracks):
            continue
        stopped = [(t, t.sailing.stopped_at(begun_h)) for t in tracks if t.sailing is not None]
        shut = [(track, where) for track, where in stopped if where is not None]
        if shut:
            every = [_opens(problem, track) for track, _ in shut]
            opens = min((moment for moment in every if moment is not None), default=None)
            return ShutCurrent((a, b), conditions.currents.name_at(shut[0][1]), opens)
    return None


def _faster_than_she(question: Question, shut: ShutCurrent) -> Refusal:
    from_, to = _names(question, *shut.ends)
    when = ", and doesn't open in the days ahead"
    if shut.opens is not None:
        when = f"; it opens at {shut.opens.astimezone(question.network.region.zone):%Y-%m-%d %H:%M}"
    faster = f"the current of {shut.name} is faster than {question.boat.name} can stem"
    return Refusal(
        from_=from_,
        to=to,
        distance_nmi=None,
        short_l=None,
        why=f"no way from {from_} to {to}: {faster}{when}",
        try_=("a faster --speed", "another way with --via", "--still-water shows the way without currents"),
    )


def _opens(problem: Problem, track: Track) -> datetime | None:
    """Find when a way can be passed next, however long that takes."""
    conditions = problem.conditions
    if conditions is None or track.sailing is None:
        return None
    begun_h = conditions.hours_at(problem.depart)
    departs = np.arange(0.0, conditions.hours - begun_h, 1 / 6)
    hours, _ = track.sailing.many(begun_h + departs)
    open_ = np.flatnonzero(np.isfinite(hours))
    if not len(open_):
        return None
    return problem.depart + timedelta(hours=float(departs[open_[0]]))
