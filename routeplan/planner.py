"""One trip's search, set up once and asked for any departure: the graph of hops is the same, what they take isn't."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from routeplan.choosing import choose
from routeplan.conditions import Conditions
from routeplan.daylight import find_daylight
from routeplan.earliest import EarliestSearch
from routeplan.moving_tracks import MovingTracks

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.asking import Question
    from routeplan.choosing import Choice
    from routeplan.currents import Currents
    from routeplan.problem import Label, Problem
    from routeplan.sea_allowance import SeaAllowance
    from routeplan.tracks import Tracks
    from routeplan.trips import Trip

__all__ = ["Planner", "find_conditions"]

_BEFORE = timedelta(hours=1)  # currents are known from so long before the departure on
_SPAN_H = 96.0  # [h] nobody is under way for longer
_SPAN_BY_DAY_H = 264.0  # [h] nor, where nights are spent ashore, than eleven days
_DAYS = 11
_LATER_H = 5 / 3600  # [h] an arrival that is earlier by less isn't worth another way
_MOST_ROUNDS = 4  # of looking for better ways on a plan's hops


def find_conditions(
    trip: Trip, currents: Currents | None, sea: SeaAllowance | None, last: datetime | None = None
) -> Conditions | None:
    """Lay out what water and weather do for as long as a trip may last.

    Parameters
    ----------
    trip
        Its departure, and whether nights are spent ashore.
    currents, sea
        The currents and the sea's allowance; None where there is none.
    last
        The last departure that is asked for; None for the trip's own.

    Returns
    -------
    The conditions; None for still water without a sea.
    """
    if currents is None and sea is None:
        return None
    span_h = _SPAN_H if trip.daylight is None else _SPAN_BY_DAY_H
    later_h = 0.0 if last is None else max(0.0, (last - trip.depart) / timedelta(hours=1))
    # on the hour, so that other departures of a window find the same ways
    begin = (trip.depart - _BEFORE).astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    before_h = (trip.depart - begin) / timedelta(hours=1)
    return Conditions(begin, span_h + later_h, currents, sea, before_h)


class Planner:
    """Searches for a trip's plans, at its departure or others.

    Parameters
    ----------
    question
        The trip.
    fairways
        Whether they are preferred where the margins ask for it.
    """

    def __init__(self, question: Question, *, fairways: bool = True) -> None:
        self.question = question
        self.tracks: tuple[Tracks, ...] = question.tracks(fairways=fairways)
        self._by_day = question.problem(self.tracks)
        self._with_nights: Problem | None = None
        self._searches: dict[float, EarliestSearch] = {}

    def problem(self, depart: datetime | None = None, *, nights: bool = False) -> Problem:
        """Set the search of one departure up.

        Parameters
        ----------
        depart
            The departure; None for the trip's own.
        nights
            Whether nights may be spent at harbours and anchorages.

        Returns
        -------
        The search.
        """
        trip = self.question.trip
        depart = trip.depart if depart is None else depart
        problem = self._by_day
        if nights:
            if self._with_nights is None:
                self._with_nights = self.question.problem(self.tracks, rests=self.question.harbours)
            problem = self._with_nights
        if trip.daylight is None:
            return replace(problem, depart=depart)
        terminals = self.question.network.terminals
        places = [terminals[t].place.position for t in (problem.start, *problem.targets)]
        zone = self.question.network.region.zone
        light = find_daylight(trip.daylight, places, depart, _DAYS, zone, trip.hours_per_day_h)
        return replace(problem, depart=depart, daylight=light)

    def choose(
        self, depart: datetime | None = None, *, every: bool = False, best_only: bool = False
    ) -> tuple[Problem, Choice | None]:
        """Search, name and recommend plans.

        Parameters
        ----------
        depart
            The departure; None for the trip's own.
        every
            Whether the whole Pareto set is wanted.
        best_only
            Whether the plan that is recommended will do.

        Returns
        -------
        The search and what it found; None where no plan keeps the rules.

        Notes
        -----
        Hops are looked for in the currents of many moments; those of the plan that is recommended are then looked for
        exactly, at the moment at which each is left, until none can be bettered. In gridded currents, which take too
        long for that, they are looked for in still water, then in the currents that run half way.
        """
        trip = self.question.trip
        problem = self.problem(depart)
        choice = choose(problem, trip, every=every, best_only=best_only)
        if problem.daylight is not None and (choice is None or _has_night(problem, choice.recommended)):
            problem = self.problem(depart, nights=True)
            choice = choose(problem, trip, every=every, best_only=best_only)
        for _ in range(_MOST_ROUNDS):
            if choice is None or not self._better(problem, choice.recommended):
                break
            choice = choose(problem, trip, every=every, best_only=best_only)
        return problem, choice

    def _better(self, problem: Problem, label: Label) -> bool:
        """Look for quicker ways on the hops of a plan and take them up; tell whether there were any."""
        conditions = self.question.conditions
        if conditions is None:
            return False
        found = False
        begun_h = conditions.hours_at(problem.depart)
        for before, step in pairwise(label.path()):
            hop = step.hop
            if hop is None or hop.track.gates:  # who passes gates goes by their hours
                continue
            tracks = self._tracks_at(hop.track.speed_kn)
            if not isinstance(tracks, MovingTracks) or not tracks.is_swayed((before.place, step.place)):
                continue
            leave_h, arrive_h = begun_h + hop.depart_h, begun_h + hop.arrive_h
            nodes = self._quickest(tracks, (before.place, step.place), leave_h, arrive_h)
            if not nodes:
                continue
            track = tracks.add((before.place, step.place), nodes, leave_h, arrive_h)
            sailed = track if track.sailing is None else track.sailing.at(leave_h)
            if sailed is None or hop.depart_h + sailed.time_h >= hop.arrive_h - _LATER_H:
                continue  # as it is steered it gains nothing
            problem.graph.add_edge(
                before.place,
                step.place,
                track=track,
                distance_nmi=track.distance_nmi,
                time_h=track.time_h,
                fuel_l=track.fuel_l,
            )
            found = True
        return found

    def _quickest(
        self, tracks: MovingTracks, pair: tuple[int, int], leave_h: float, arrive_h: float
    ) -> tuple[int, ...]:
        """Find a quicker way than one that is known: exactly, or in a grid as if the currents half way stood still."""
        if tracks.conditions.gridded:
            return tracks.best_at(pair, (leave_h + arrive_h) / 2)
        speed_kn = tracks.rates.speed_kn[0]
        if speed_kn not in self._searches:
            self._searches[speed_kn] = EarliestSearch(tracks)
        found = self._searches[speed_kn].find(*pair, leave_h)
        return () if found is None or found.arrive_h >= arrive_h - _LATER_H else found.nodes

    def _tracks_at(self, speed_kn: float) -> Tracks:
        return next(t for t in self.tracks if t.rates.speed_kn[0] == speed_kn)


def _has_night(problem: Problem, label: Label) -> bool:
    if problem.daylight is None:
        return False
    return problem.daylight.next_day(problem.depart) <= problem.depart + timedelta(hours=label.time_h)
