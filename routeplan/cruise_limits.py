"""Who has least in hand on each leg of a group cruise, what would help her, and who could come to her."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from routeplan.cruise_buddies import find_buddies, may_follow
from routeplan.cruises import LegLimit
from routeplan.paces import group_rates, held_by_all_kn
from routeplan.party_routes import opens_at
from routeplan.units_shown import shown_distance_down, shown_duration, shown_speed

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from routeplan.cruise_days import CruiseDays
    from routeplan.cruise_telling import Told
    from routeplan.cruises import CruiseLeg
    from routeplan.group_plans import GroupPlan
    from routeplan.leg_graph import Rates
    from routeplan.parties import Party
    from routeplan.problem import Label, Problem
    from routeplan.timetable import AtDock
    from routeplan.tracks import Track

    Vector = NDArray[np.float64]

__all__ = ["find_limits", "margins_l"]

_MOST_HELP = 3
_SLOWING_SHARE = 0.1  # of what she has in hand: what slowing down must add, or
_SLOWING_TANK_SHARE = 0.02  # of her tank; either will do
_LEAST_TANK_SHARE = 0.01  # of her tank: what adds less is no help
_MOST_LATER_SHARE = 1.0  # of the time under way: nobody takes more than twice as long to keep a few litres
_LEAST_SPARE_NMI = 1.0  # [nmi] by which a boat to stay with must have more in hand
_TIE = 1e-9


@dataclass(frozen=True)
class _Arrival:
    """Where a boat has least in hand on a leg.

    Parameters
    ----------
    step
        Index in her path.
    margin_l, margin_nmi
        [l, nmi] What she has in hand there, and how much further that would carry her.
    """

    step: int
    margin_l: float
    margin_nmi: float


@dataclass(frozen=True)
class _Idea:
    """One thing that would help: what it costs in time, and how it is said."""

    cost_h: float
    words: str


def find_limits(
    told: Sequence[Told], legs: Sequence[CruiseLeg], plan: GroupPlan, days: CruiseDays
) -> tuple[LegLimit, ...]:
    """Find who limits each leg.

    Parameters
    ----------
    told
        Each boat's plan, in the order of the file.
    legs
        From visit to visit.
    plan
        The group's plan.
    days
        Its days.

    Returns
    -------
    One a leg: the boat whose least low figure above her floor, over all arrivals of the leg, would carry her least far
    at her planned speed in open water.
    """
    paths = [one.label.path() for one in told]
    least = [_least_by_leg(one, path) for one, path in zip(told, paths, strict=True)]
    margins_nmi = np.array([[each[leg].margin_nmi for each in least] for leg in range(len(legs))])
    limiting = [int(row.argmin()) for row in margins_nmi]
    buddies = find_buddies(told, plan, days, margins_nmi, limiting)
    help_for = _Help(told, paths, plan, days)
    found = []
    for i, (leg, boat) in enumerate(zip(legs, limiting, strict=True)):
        arrival, one = least[boat][i], told[boat]
        found.append(
            LegLimit(
                leg=f"{leg.from_} to {leg.to}",
                number=leg.number,
                boat=one.boat.boat,
                at=_name(one, paths[boat][arrival.step]),
                margin_low_l=arrival.margin_l,
                margin_nmi=arrival.margin_nmi,
                help=help_for.words(boat, i, arrival, margins_nmi[i]),
                buddies=buddies[i],
            )
        )
    return tuple(found)


def margins_l(
    problem: Problem,
    path: Sequence[Label],
    *,
    fuel_l: Mapping[int, float] | None = None,
    more_fills: Collection[int] = (),
) -> list[float]:
    """[l] Run a boat along her path and tell what she has in hand on every arrival.

    Parameters
    ----------
    problem
        Her tank, floor and confidence.
    path
        From the departure on; a fill at the departure may be added too.
    fuel_l
        [l] By index in the path: what the hop that leads there burns, where that is changed.
    more_fills
        Indices in the path at which she fills to the mark besides.

    Returns
    -------
    One for each label of the path but the first: low figure above the floor, before any fill there.
    """
    changed = fuel_l or {}
    level_l, burned_l, sd_l = path[0].mean_l, path[0].burned_l, path[0].sd_l
    found: list[float] = []
    for i, step in enumerate(path):
        if step.hop is not None:
            burned_l += changed.get(i, step.hop.track.fuel_l)
            found.append(problem.low_l(level_l, burned_l, sd_l) - problem.floor_l)
        if i in more_fills or (i and step.fill is not None):
            level_l, burned_l, sd_l = max(problem.full_l, level_l - burned_l), 0.0, problem.full_sd_l
    return found


def _least_by_leg(one: Told, path: Sequence[Label]) -> list[_Arrival]:
    """Find on each leg the arrival with least in hand."""
    per_nmi = float(one.party.rates[one.member].litres_per_nmi[0])
    found: dict[int, _Arrival] = {}
    margins = margins_l(one.party.problem(one.member), path)
    for i, ((before, _), margin_l) in enumerate(zip(pairwise(path), margins, strict=True), start=1):
        if before.stage not in found or margin_l < found[before.stage].margin_l:
            found[before.stage] = _Arrival(i, margin_l, margin_l / per_nmi)
    return [found[leg] for leg in sorted(found)]


def _name(one: Told, step: Label) -> str:
    return one.party.network.terminals[step.place].place.name


class _Help:
    """Says what would help a boat on a leg."""

    def __init__(
        self, told: Sequence[Told], paths: Sequence[Sequence[Label]], plan: GroupPlan, days: CruiseDays
    ) -> None:
        self.told, self.paths, self.plan, self.days = told, paths, plan, days
        self._rates: dict[tuple[int, float], tuple[Rates, ...] | None] = {}

    def words(self, boat: int, leg: int, arrival: _Arrival, margins_nmi: Vector) -> tuple[str, ...]:
        """Say it, what costs least time first, then whom to stay with."""
        ideas = [
            idea
            for idea in (
                self._more_at_start(boat, arrival),
                self._slower(boat, leg, arrival),
                self._fuel_earlier(boat, leg, arrival),
            )
            if idea is not None
        ]
        ideas.sort(key=lambda idea: idea.cost_h)
        found = [idea.words for idea in ideas] + list(self._stay_with(boat, margins_nmi))
        return tuple(found[:_MOST_HELP])

    def _problem(self, boat: int) -> Problem:
        one = self.told[boat]
        return one.party.problem(one.member)

    def _last_fill(self, boat: int, step: int) -> int:
        """Tell where a boat has filled last before an arrival: an index in her path, 0 at the departure."""
        return next((i for i in range(step - 1, 0, -1) if self.paths[boat][i].fill is not None), 0)

    def _is_help(self, boat: int, gain_l: float) -> bool:
        return gain_l >= _LEAST_TANK_SHARE * self.told[boat].passage.boat.tank.capacity_l

    def _in_hand(self, boat: int, gain_l: float) -> str:
        return f"{self.told[boat].passage.boat.units.volume_down(gain_l)} more in hand"

    def _more_at_start(self, boat: int, arrival: _Arrival) -> _Idea | None:
        """Fill to the mark before leaving, if she hasn't filled since."""
        path, problem = self.paths[boat], self._problem(boat)
        add_l = problem.full_l - path[0].aboard_l
        if self._last_fill(boat, arrival.step) > 0 or add_l <= _TIE:
            return None
        gain_l = margins_l(problem, path, more_fills=(0,))[arrival.step - 1] - arrival.margin_l
        if not self._is_help(boat, gain_l):
            return None
        add = self.told[boat].passage.boat.units.volume_down(add_l)
        return _Idea(0.0, f"start with {add} more aboard, to the full mark: {self._in_hand(boat, gain_l)}")

    def _slower(self, boat: int, leg: int, arrival: _Arrival) -> _Idea | None:
        """Slow down from the last fill on: the fastest speed of her table that is worth it."""
        one, path = self.told[boat], self.paths[boat]
        party, tank_l = one.party, one.passage.boat.tank.capacity_l
        first = self._last_fill(boat, arrival.step)
        hops = range(first + 1, arrival.step + 1)
        enough_l = min(_SLOWING_SHARE * max(arrival.margin_l, 0.0), _SLOWING_TANK_SHARE * tank_l)
        for speed_kn in sorted(one.passage.boat.offered_speeds_kn, reverse=True):
            rates = self._rates_at(party, speed_kn)
            if speed_kn >= party.speed_kn or rates is None:
                continue
            runs = {i: self._track(boat, i).priced(rates[one.member], party.network.water) for i in hops}
            burned_l = {i: run.fuel_l for i, run in runs.items()}
            gain_l = margins_l(self._problem(boat), path, fuel_l=burned_l)[arrival.step - 1] - arrival.margin_l
            if gain_l < enough_l or not self._is_help(boat, gain_l) or not self._all_keep_rules(party, rates, hops):
                continue
            later_each_h = {i: run.time_h - self._track(boat, i).time_h for i, run in runs.items()}
            later_h = sum(later_each_h.values())
            run_h = sum(self._track(boat, i).time_h for i in hops)
            if later_h > _MOST_LATER_SHARE * run_h + _TIE or not self._keeps_daylight(boat, later_each_h):
                return None  # slower still would be later still
            slow = "if all slow to" if len(party.members) > 1 else "slow to"
            later = shown_duration(math.ceil(60 * later_h - _TIE) / 60)
            later += " later" if path[first].stage == leg else " more under way"
            words = f"{slow} {shown_speed(speed_kn)} from {_name(one, path[first])}: {self._in_hand(boat, gain_l)}"
            return _Idea(later_h, f"{words}, {later}")
        return None

    def _track(self, boat: int, step: int) -> Track:
        hop = self.paths[boat][step].hop
        if hop is None:
            raise ValueError(step)  # called for arrivals only
        return hop.track

    def _rates_at(self, party: Party, speed_kn: float) -> tuple[Rates, ...] | None:
        """Tell what a mile costs the boats of a party at another speed; None where one of them can't hold it."""
        key = (party.number, speed_kn)
        if key not in self._rates:
            boats = [one.boat for one in party.boats]
            slowest_kn = max(min(boat.no_wake_kn, boat.burn.speed_kn[0]) for boat in boats)
            can = speed_kn >= slowest_kn and held_by_all_kn(boats, speed_kn) == speed_kn
            self._rates[key] = group_rates(boats, party.network, speed_kn) if can else None
        return self._rates[key]

    def _keeps_daylight(self, boat: int, later_h: Mapping[int, float]) -> bool:
        """Tell whether every day still ends in time if hops, by index in her path, take so much longer."""
        path, numbers = self.paths[boat], self.days.numbers
        in_h = {before.stage: step.time_h for before, step in pairwise(path)}  # the last one of each leg
        for leg, by_h in enumerate(self.days.by_h):
            more_h = sum(h for i, h in later_h.items() if numbers[path[i - 1].stage] == numbers[leg])
            if more_h > _TIE and in_h[leg] + more_h > by_h + _TIE:
                return False
        return True

    def _all_keep_rules(self, party: Party, rates: Sequence[Rates], hops: Sequence[int]) -> bool:
        """Tell whether slowing on some hops takes nobody of the party under her floor."""
        for boat in party.members:
            one = self.told[boat]
            burned_l = {i: self._track(boat, i).priced(rates[one.member], party.network.water).fuel_l for i in hops}
            after = margins_l(self._problem(boat), self.paths[boat], fuel_l=burned_l)
            before = margins_l(self._problem(boat), self.paths[boat])
            if any(new < min(old, 0.0) - _TIE for new, old in zip(after, before, strict=True)):
                return False
        return True

    def _fuel_earlier(self, boat: int, leg: int, arrival: _Arrival) -> _Idea | None:
        """Fill at a stop of her party at which she doesn't: the one that adds most."""
        one, path, problem = self.told[boat], self.paths[boat], self._problem(boat)
        best: tuple[float, _Idea] | None = None
        for at, i in self._passed_by(boat, arrival):
            level_l, burned_l, sd_l = path[i].on_arrival
            take_l = problem.full_l - level_l + burned_l
            cost_h = self._fill_h(boat, at, i, take_l)
            escapes = one.party.escapes(one.member)
            if cost_h is None or (
                escapes is not None and not escapes.allows(path[i].place, path[i].stage, level_l, burned_l, sd_l)
            ):
                continue
            gain_l = margins_l(problem, path, more_fills=(i,))[arrival.step - 1] - arrival.margin_l
            if self._is_help(boat, gain_l) and (best is None or gain_l > best[0] + _TIE):
                take = one.passage.boat.units.volume_up(take_l)
                where = f"fill at {_name(one, path[i])} too{self._day(at.leg, leg)}"
                best = gain_l, _Idea(cost_h, f"{where}: takes {take}, {self._in_hand(boat, gain_l)}")
        return None if best is None else best[1]

    def _passed_by(self, boat: int, arrival: _Arrival) -> Iterator[tuple[AtDock, int]]:
        """List the stops of her party since her last fill at which she doesn't fill, with their place in her path."""
        party, path = self.told[boat].party, self.paths[boat]
        for at in self.plan.table.docks:
            if not any(s.boat in party.members for s in at.served):
                continue
            for i in range(self._last_fill(boat, arrival.step) + 1, arrival.step):
                before = path[i - 1]
                if party.row_of.get(path[i].place) == at.row and before.stage == at.leg and path[i].fill is None:
                    yield at, i

    def _fill_h(self, boat: int, at: AtDock, step: int, take_l: float) -> float | None:
        """[h] Tell how long she would be at the pump after all others; None where she can't fill there then."""
        dock = self._problem(boat).docks.get(self.paths[boat][step].place)
        if dock is None or take_l <= _TIE or (dock.largest_sale_l is not None and take_l > dock.largest_sale_l + _TIE):
            return None
        party = self.told[boat].party
        lasts_h = party.asked.berthing_h + take_l / party.sides[at.row].lpm / 60
        begin_h = opens_at(dock, self.days, at.away_h, lasts_h)
        return None if begin_h is None or begin_h > at.away_h + _TIE else lasts_h

    def _day(self, stop_leg: int, leg: int) -> str:
        """Say on which day a stop is, where there are several."""
        numbers = self.days.numbers
        if numbers[-1] == 1:
            return ""
        earlier = numbers[leg] - numbers[stop_leg]
        days = "a day earlier" if earlier == 1 else f"{earlier} days earlier"
        return f" on day {numbers[stop_leg]}" + (f", {days}" if earlier else "")

    def _stay_with(self, boat: int, margins_nmi: Vector) -> Iterator[str]:
        """Name the boat that has most to spare, of those that can go where she goes."""
        one = self.told[boat]
        others = [b for b in range(len(self.told)) if b != boat and may_follow(self.told[b], one)]
        spare = max(others, key=lambda b: float(margins_nmi[b]), default=None)
        if spare is not None and margins_nmi[spare] > margins_nmi[boat] + _LEAST_SPARE_NMI:
            in_hand = shown_distance_down(float(margins_nmi[spare]))
            yield f"stay with {self.told[spare].boat.boat}, who has most to spare: {in_hand}"
