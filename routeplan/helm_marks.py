"""What the dial should show at each mark, above what to turn, and where no way back is left.

At a mark the helm has one figure, what the dials show. Above the limit told there the boat turns. She goes on where the
arrival rule holds for the next stop with that reading (today's burn told from it, `todays_burn`); and also where it
doesn't, as long as the bare mean still arrives on the reserve and she can turn at the next mark just as well: early
figures say little, and who turns for each of them never arrives. The limit is the highest reading of either kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from routeplan.fallbacks import Fallbacks
from routeplan.fuel import low_figure_l, z_of
from routeplan.helm import Helm, LastTurn, MeterMark, MeterStart, WayLeg
from routeplan.plan_hops import find_hops
from routeplan.todays_burn import Meter, Spent, find_today

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.fallbacks import Fallback
    from routeplan.passage import Passage
    from routeplan.plan_hops import Hop
    from routeplan.plans import Leg, Plan
    from routeplan.teaching import Taught
    from routeplan.todays_burn import Today

__all__ = ["Station", "find_helm", "highest_l", "most_burn_l", "start_meter", "stations_of"]

_STATION_NMI = 1.0  # [nmi] between points that are asked for docks in reach, at the most
_GAP_NMI = 1.0  # [nmi] a stretch without a dock in reach that is shorter than this is none
_LEAST_SPENT_SHARE = 0.02  # of the capacity: before so much is burnt the dials tell nothing of the day's burn
_LOOK_FAST_H, _LOOK_SLOW_H = 0.5, 1.0  # [h] between marks on a long leg: what is lost shows before it is far
_FAST_KN = 15.0  # [kn] from which speed on it is the shorter time
_WORTH = 1.02  # times the economy: slowing down for less is no help
_WORTH_OFF_PLANE = 1.10  # and for less than this nobody comes off the plane
_HALVINGS = 50  # of an interval of litres: to the last digit


@dataclass(frozen=True)
class Station:
    """A point along a run.

    Parameters
    ----------
    position
        [deg] Longitude and latitude.
    leg
        Index of the leg that it lies on, or ends, within the run.
    ends
        Whether the leg ends there.
    gone_nmi, burned_l
        [nmi, l] From the run's beginning.
    at
        When, by the plan.
    """

    position: tuple[float, float]
    leg: int
    ends: bool
    gone_nmi: float
    burned_l: float
    at: datetime


def start_meter(taught: Taught, shows_l: tuple[float, ...] | None) -> MeterStart:
    """Tell what the meters show at departure, and what they are worth.

    Parameters
    ----------
    taught
        What the boat's log taught.
    shows_l
        [l] What they show; None where they are reset there.

    Returns
    -------
    As kept with a plan.
    """
    figure, fit = taught.lesson.meter_factor, taught.meter_fit
    scatter = float(np.average(fit.meter_sd_share, weights=fit.weights))
    shown = shows_l or (0.0,) * max(1, taught.meters)
    if figure is None:
        mean = float(np.average(fit.common, weights=fit.weights))
        sd = float(np.sqrt(np.average((fit.common - mean) ** 2, weights=fit.weights)))
        return MeterStart(shows_l=shown, factor=mean, factor_sd=sd, fillups=0, scatter_share=scatter)
    return MeterStart(
        shows_l=shown,
        factor=figure.mean,
        factor_sd=figure.sd,
        fillups=figure.rests_on,
        scatter_share=scatter,
    )


def find_helm(passage: Passage, plan: Plan, start: MeterStart) -> Helm:
    """Find what the helm checks on the way.

    Parameters
    ----------
    passage
        The answer to a trip.
    plan
        One of its plans.
    start
        The meters at departure.

    Returns
    -------
    A mark at the end of each leg, and the points of no return.
    """
    boat, z = passage.boat, z_of(passage.trip.confidence)
    meter = Meter(start.factor, start.factor_sd, start.scatter_share)
    marks: list[MeterMark] = []
    turns: list[LastTurn] = []
    for hop in find_hops(plan, boat, passage.trip.aboard):
        stations = stations_of(hop)
        span = (stations[0].at, stations[-1].at)
        positions = [s.position for s in stations]
        docks = Fallbacks(passage.network, boat, hop.speed_kn, passage.docks, positions, span)
        run = _Run(hop, stations, docks, boat, z, meter, _dial_at_start(hop, start))
        marks += run.marks()
        turns += run.last_turns()
    return Helm(meter=start, marks=tuple(marks), last_turns=tuple(turns))


def stations_of(hop: Hop) -> list[Station]:
    """Lay points along a run: its beginning, the end of each leg, and one a mile between.

    Parameters
    ----------
    hop
        The run.

    Returns
    -------
    In order.
    """
    first = hop.legs[0]
    stations = [Station(first.from_position, 0, ends=False, gone_nmi=0.0, burned_l=0.0, at=first.depart)]
    gone_nmi = burned_l = 0.0
    for index, leg in enumerate(hop.legs):
        count = max(1, int(np.ceil(leg.distance_nmi / _STATION_NMI)))
        for step in range(1, count + 1):
            share = step / count
            stations.append(
                Station(
                    _between(leg, share),
                    index,
                    ends=step == count,
                    gone_nmi=gone_nmi + share * leg.distance_nmi,
                    burned_l=burned_l + share * leg.fuel_l,
                    at=leg.depart + share * (leg.arrive - leg.depart),
                )
            )
        gone_nmi, burned_l = gone_nmi + leg.distance_nmi, burned_l + leg.fuel_l
    return stations


def highest_l(holds: Callable[[float], bool], low_l: float, high_l: float) -> float | None:
    """Find the highest reading at which a rule holds that higher ones only break.

    Parameters
    ----------
    holds
        The rule.
    low_l, high_l
        [l] Between which readings to look.

    Returns
    -------
    [l] The reading; None where the rule breaks at the lowest already.

    Examples
    --------
    >>> highest_l(lambda reading: reading <= 30, 0, 80)
    30.0
    """
    if not holds(low_l):
        return None
    if holds(high_l):
        return high_l
    for _ in range(_HALVINGS):
        middle = (low_l + high_l) / 2
        low_l, high_l = (middle, high_l) if holds(middle) else (low_l, middle)
    return low_l


def most_burn_l(today: Today, z: float, floor_l: float, most_l: float) -> float:
    """[l] Find how much may be burnt, by the plan's mean, until the low figure is down to the floor.

    Parameters
    ----------
    today
        What is known now.
    z
        Standard deviations to keep clear.
    floor_l
        [l] Unusable fuel and reserve.
    most_l
        [l] More isn't looked for.

    Returns
    -------
    0 where the floor is touched already.
    """
    return highest_l(lambda burn_l: today.low_l(burn_l, z) >= floor_l, 0.0, most_l) or 0.0


def _between(leg: Leg, share: float) -> tuple[float, float]:
    """[deg] Go along a leg; across the 180th meridian the short way."""
    (lon, lat), (to_lon, to_lat) = leg.from_position, leg.to_position
    east = (to_lon - lon + 540.0) % 360.0 - 180.0
    there = (lon + share * east + 180.0) % 360.0 - 180.0
    return there, lat + share * (to_lat - lat)


def _dial_at_start(hop: Hop, meter: MeterStart) -> float:
    """[l] Tell what all dials show when a run begins: reset at each fill."""
    return 0.0 if hop.begun_by is not None else float(sum(meter.shows_l))


@dataclass(frozen=True, eq=False)
class _Run:
    """One run with all that its marks are found from."""

    hop: Hop
    stations: Sequence[Station]
    docks: Fallbacks
    boat: Boat
    z: float
    meter: Meter
    begins_l: float

    @cached_property
    def there(self) -> frozenset[str]:
        """Docks at the run's end: nothing to fall back on."""
        return self.docks.at(self.hop.legs[-1].to_position) | {self.hop.end}

    def shows_l(self, burned_l: float) -> float:
        """[l] Tell what the dials show after a mean burn."""
        return self.begins_l + burned_l / self.meter.factor

    def today(self, burned_l: float, shows_l: float) -> Today:
        """Tell what a reading says where the plan has burnt so much on this run."""
        hop, before_l = (
            self.hop,
            self.hop.burned_before_l,
        )  # what was burnt before a part fill: the dial was reset since
        spent = Spent(hop.level_l - before_l, hop.level_sd_l, max(0.0, shows_l - self.begins_l), burned_l)
        today = find_today(spent, self.meter, self.boat.burn.sd_share, self.boat.tank.capacity_l)
        return today.with_earlier(before_l) if before_l else today

    def marks(self) -> list[MeterMark]:
        """Find the marks: the ends of legs, and points between on long ones."""
        points = self._points()
        away_l, _ = self.docks.least_burn_l(self.there)
        found = []
        for i, following in [*pairwise(points), (points[-1], None)]:
            station = self.stations[i]
            mark = self._plain(station)
            rest_l = self.hop.fuel_l - station.burned_l
            told = station.burned_l >= _LEAST_SPENT_SHARE * self.boat.tank.capacity_l
            if told and following is not None:
                onward_l = self.stations[following].burned_l - station.burned_l
                turn = None
                if away_l[i] < rest_l:
                    turn = self._turn(i, station, rest_l, onward_l + float(away_l[following]))
                mark = mark.model_copy(update=turn or self._slow(station, rest_l))
            found.append(mark)
        return found

    def _points(self) -> list[int]:
        """Choose the stations that are marks."""
        points = []
        for number, leg in enumerate(self.hop.legs):
            own = [i for i, station in enumerate(self.stations) if i and station.leg == number]
            apart_h = _LOOK_FAST_H if leg.speed_kn >= _FAST_KN else _LOOK_SLOW_H
            count = int((leg.arrive - leg.depart).total_seconds() / 3600 / apart_h)
            step = len(own) / (count + 1)
            points += sorted(
                {own[min(len(own) - 1, max(0, round(step * k) - 1))] for k in range(1, count + 1)} | {own[-1]}
            )
        return points

    def _plain(self, station: Station) -> MeterMark:
        before = [s for s in self.stations if s.leg < station.leg]
        begun_nmi = before[-1].gone_nmi if before else 0.0
        return MeterMark(
            leg=self.hop.first + station.leg + 1,
            after_nmi=None if station.ends else station.gone_nmi - begun_nmi,
            at=station.at,
            position=(round(station.position[0], 6), round(station.position[1], 6)),
            since=self.hop.start,
            shows_l=self.shows_l(station.burned_l),
        )

    def _turn(self, point: int, station: Station, rest_l: float, later_l: float) -> dict[str, object] | None:
        """Find the highest reading that lets her go on, and where to turn above it; None where there is nowhere."""
        limit_l = self._limit_l(station, rest_l, later_l)
        fallback = self._fallback(point, station, limit_l, self.boat.floor_l)
        if limit_l is None or fallback is None:
            return None
        return {
            "turn_above_l": limit_l,
            "turn_for": fallback.dock.name,
            "turn_nmi": fallback.track.distance_nmi,
            "turn_way": tuple(WayLeg(course_deg=course, distance_nmi=nmi) for course, nmi in fallback.way),
            "turn_low_l": self.today(station.burned_l, limit_l).low_l(fallback.track.fuel_l, self.z),
            "turn_opens": fallback.opens,
        }

    def _slow(self, station: Station, rest_l: float) -> dict[str, object]:
        """Find above which reading the speed that goes furthest had better be run."""
        slow_kn = self._furthest_kn()
        if slow_kn is None:
            return {}
        sure = highest_l(
            lambda shows: self.today(station.burned_l, shows).low_l(rest_l, self.z) >= self.boat.floor_l,
            *self._readings_l(),
        )
        return {} if sure is None else {"slow_above_l": sure, "slow_kn": slow_kn}

    def _furthest_kn(self) -> float | None:
        """[kn] The fastest slower speed that goes clearly further: on the plane if one does, else off it."""
        boat, planned = self.boat, self.hop.speed_kn
        hump = boat.burn.unsteady_kn[1] if boat.burn.unsteady_kn is not None else 0.0
        further = {
            kn: boat.economy_nmi_per_l(kn) / boat.economy_nmi_per_l(planned)
            for kn in boat.offered_speeds_kn
            if kn < planned
        }
        planing = [kn for kn, times in further.items() if kn >= hump and times >= _WORTH]
        slow = [kn for kn, times in further.items() if kn < hump and times >= _WORTH_OFF_PLANE]
        return max(planing or slow, default=None)

    def _readings_l(self) -> tuple[float, float]:
        """[l] Between which readings a limit lies: what she left with, and all that was known to be aboard burnt."""
        return self.begins_l, self.begins_l + (self.hop.level_l - self.hop.burned_before_l) / self.meter.factor

    def _limit_l(self, station: Station, rest_l: float, turn_later_l: float) -> float | None:
        """[l] Find the highest reading that lets her go on; None where none does."""
        floor_l, z = self.boat.floor_l, self.z
        low_l, high_l = self._readings_l()

        def told(shows_l: float) -> Today:
            return self.today(station.burned_l, shows_l)

        sure = highest_l(lambda shows: told(shows).low_l(rest_l, z) >= floor_l, low_l, high_l)
        mean = highest_l(lambda shows: told(shows).on_arrival(rest_l)[0] >= floor_l, low_l, high_l)
        later = highest_l(lambda shows: told(shows).low_l(turn_later_l, z) >= floor_l, low_l, high_l)
        waits = None if mean is None or later is None else min(mean, later)
        return max((limit for limit in (sure, waits) if limit is not None), default=None)

    def _fallback(self, point: int, station: Station, limit_l: float | None, floor_l: float) -> Fallback | None:
        if limit_l is None:
            return None
        most_l = most_burn_l(self.today(station.burned_l, limit_l), self.z, floor_l, self.boat.tank.capacity_l)
        return next(iter(self.docks.within(point, most_l, station.at, self.there)), None)

    def last_turns(self) -> list[LastTurn]:
        """Find where stretches end from which some other dock is in reach, if all goes as planned."""
        hop = self.hop
        away_l, _ = self.docks.least_burn_l(self.there)
        spent_l = np.array([hop.burned_before_l + s.burned_l for s in self.stations]) + away_l
        good = np.array(
            [bool(np.isfinite(all_l)) and self._low_l(float(all_l)) >= self.boat.floor_l for all_l in spent_l]
        )
        gone = np.array([s.gone_nmi for s in self.stations])
        found = []
        if not good[0]:
            found.append(self._told(self.stations[0], None))
        for i in np.flatnonzero(good[:-1] & ~good[1:]).tolist():
            again = np.flatnonzero(good[i + 1 :])
            until = gone[i + 1 + again[0]] if len(again) else np.inf
            if until - gone[i] > _GAP_NMI and gone[i] < gone[-1] - _GAP_NMI:
                found.append(self._told(self.stations[i], self._last_dock(i)))
        return found

    def _low_l(self, burned_l: float) -> float:
        """[l] Tell the low figure by the plan after a burn since the last known level."""
        return low_figure_l(self.hop.level_l, burned_l, self.hop.level_sd_l, self.boat.burn.sd_share, self.z)

    def _last_dock(self, point: int) -> Fallback | None:
        away_l, _ = self.docks.least_burn_l(self.there)
        near = self.docks.within(point, float(away_l[point]) * 1.02, self.stations[point].at, self.there)
        return min(near, key=lambda f: f.track.fuel_l, default=None)

    def _told(self, station: Station, last: Fallback | None) -> LastTurn:
        hop = self.hop
        return LastTurn(
            towards=hop.end,
            leg=hop.first + station.leg + 1,
            position=(round(station.position[0], 6), round(station.position[1], 6)),
            gone_nmi=station.gone_nmi,
            to_go_nmi=hop.distance_nmi - station.gone_nmi,
            at=station.at,
            shows_l=self.shows_l(station.burned_l),
            dock=None if last is None else last.dock.name,
            dock_nmi=None if last is None else last.track.distance_nmi,
            opens=None if last is None else last.opens,
        )
