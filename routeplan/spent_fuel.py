"""What was filled and metered since a passage began, from the log and from what was noted underway.

A fill to the mark makes the level known anew; a part fill adds to it. The dials count from where they were reset last:
at departure as the plan has it, at a fill-up as the log has it, or underway, where their figure before is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.joining import apart_m
from routeplan.moments import shown_moment
from routeplan.plan_hops import find_hops
from routeplan.stops_made import match_stops
from routeplan.todays_burn import Spent, find_today, surprise

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.fillups import Fillup
    from routeplan.plan_hops import Hop
    from routeplan.saved_plans import Report, SavedPlan
    from routeplan.todays_burn import Meter

__all__ = ["AT_DEPARTURE", "AT_DOCK_M", "Fill", "Since", "begun_at", "check_dial", "fills_of", "find_since"]

_ROUNDED_L = 0.2  # [l] a dial that shows less by so little was read or rounded otherwise
_STRANGE = 3.5  # standard deviations: a dial that shows so much less has most likely been reset, or a fill is missing
AT_DEPARTURE = -1  # the plan's run that a fill-up before leaving ends
_ENOUGH_SHARE = 0.05  # of the capacity: before so much is burnt nothing can be said of that
_SPILL_SHARE = 0.03  # of the capacity: more than was aboard by so much is no rounding and no scatter
_ONE_FILL = timedelta(hours=3)  # a fill that was noted and one that was logged at the same dock within this are one
_AT_ONCE = timedelta(minutes=30)  # and wherever, within this
AT_DOCK_M = 500.0  # [m] a fill noted so near to a dock was made there


@dataclass(frozen=True)
class Fill:
    """A fill on the way.

    Parameters
    ----------
    when
        The moment.
    dock
        Where; empty where not said.
    position
        [deg] Where, if it was noted underway; None from the log.
    pumped_l
        [l] How much; None where only the mark is known.
    to_mark
        Whether the tank was filled to its full mark.
    showed_l
        [l] What all dials together showed before it; None where not read.
    reset
        Whether they were reset.
    hop
        Index of the plan's run that it ended, -1 at the departure; None where the plan knows nothing of it.
    """

    when: datetime
    dock: str
    position: tuple[float, float] | None
    pumped_l: float | None
    to_mark: bool
    showed_l: float | None
    reset: bool
    hop: int | None = None


@dataclass(frozen=True)
class Since:
    """What holds since the last known level.

    Parameters
    ----------
    level_l, level_sd_l
        [l] That level, with what part fills have added since.
    carried_l
        [l] What the dials have shown since then and before their last reset.
    unread_l
        [l] What the plan has burnt since then that nobody read off a dial.
    base_l
        [l] What they showed at that reset: 0, or at departure what was read.
    planned_before_l
        [l] Mean burn by the plan between the level and the run that the boat is on.
    before
        Factor of the burn and its standard deviation, as earlier runs told; None where none did.
    last_seen
        When the dials were last read since their reset, and [l] what they showed; None where they weren't.
    showed_l
        [l] What the dials showed before they were reset at the last fill; None where that isn't known.
    """

    level_l: float
    level_sd_l: float
    carried_l: float
    unread_l: float
    base_l: float
    planned_before_l: float
    before: tuple[float, float] | None
    last_seen: tuple[datetime, float] | None
    showed_l: float | None = None

    def metered_l(self, shows_l: float) -> float:
        """[l] Tell what the dials have shown since the level, all together.

        Parameters
        ----------
        shows_l
            [l] What they show now.

        Returns
        -------
        Uncorrected.
        """
        return self.carried_l + max(0.0, shows_l - self.base_l)


def fills_of(saved: SavedPlan, fillups: Sequence[Fillup], reports: Sequence[Report], until: datetime) -> list[Fill]:
    """List the fills since departure.

    Parameters
    ----------
    saved
        The plan that is followed.
    fillups
        The boat's log.
    reports
        What was noted underway.
    until
        Later ones are left out.

    Returns
    -------
    In order of time; a fill that was both noted and logged counts once, as logged.
    """
    start = saved.trip.depart
    stops = match_stops(saved, fillups, start, until)
    logged = [
        Fill(
            f.when,
            f.dock,
            None,
            f.pumped_l,
            f.filled_to_full,
            None if None in f.meters_used_l else sum(v for v in f.meters_used_l if v is not None),
            f.meter_reset,
            stops.get(index),
        )
        for index, f in enumerate(fillups)
        if start < f.when <= until or (stops.get(index) == AT_DEPARTURE and saved.saved < f.when <= until)
    ]
    noted = [_noted(saved, r) for r in reports if _fills(r) and r.when <= until]
    for note in noted:
        twin = next((i for i, f in enumerate(logged) if _is_one(note, f)), None)
        if twin is None:
            logged.append(note)
        elif logged[twin].hop is None or logged[twin].hop == AT_DEPARTURE:
            logged[twin] = replace(logged[twin], position=note.position, hop=note.hop)  # where it was, she said then
    return sorted(logged, key=lambda fill: fill.when)


def _noted(saved: SavedPlan, report: Report) -> Fill:
    hops = find_hops(saved.plan, saved.boat, saved.trip.aboard)
    stops = [(AT_DEPARTURE, hops[0].begun_by), *((i, hop.ended_by) for i, hop in enumerate(hops))]
    near = [(i, stop) for i, stop in stops if stop is not None and apart_m(stop.position, report.position) < AT_DOCK_M]
    ended = min(near, key=lambda one: abs(one[1].depart - report.when), default=(None, None))[0]
    showed_l = None if report.was_l is None else float(sum(report.was_l))
    dock = _stop_at(saved, report.position)
    return Fill(
        report.when,
        dock,
        report.position,
        report.took_l,
        to_mark=report.filled,
        showed_l=showed_l,
        reset=True,
        hop=ended,
    )


def _fills(report: Report) -> bool:
    return report.filled or report.took_l is not None


def _stop_at(saved: SavedPlan, position: tuple[float, float]) -> str:
    """Name the plan's stop at a position; empty where there is none."""
    return next((s.dock for s in saved.plan.stops if apart_m(s.position, position) < AT_DOCK_M), "")


def _is_one(noted: Fill, logged: Fill) -> bool:
    """Tell whether a fill that was noted underway is the one in the log."""
    apart = abs(noted.when - logged.when)
    same_dock = noted.dock != "" and noted.dock.casefold() == logged.dock.casefold()
    return apart <= (_ONE_FILL if same_dock else _AT_ONCE)


def begun_at(saved: SavedPlan, fillups: Sequence[Fillup], until: datetime) -> datetime:
    """Tell since when a recorded track is of the run that she is on.

    Parameters
    ----------
    saved
        The plan that is followed.
    fillups
        The boat's log.
    until
        The moment at hand.

    Returns
    -------
    The last fill; before the first one some hours before the departure, as she may have left early.
    """
    fills = fills_of(saved, fillups, saved.reports, until)
    return fills[-1].when if fills else saved.plan.depart - _ONE_FILL


def find_since(
    saved: SavedPlan,
    hops: Sequence[Hop],
    hop: int,
    fills: Sequence[tuple[Fill, float]],
    reports: Sequence[Report],
    meter: Meter,
) -> Since:
    """Find the last known level, and what earlier runs told of today's burn.

    Parameters
    ----------
    saved
        The plan that is followed.
    hops
        Its runs.
    hop
        Index of the run that the boat is on.
    fills
        Each fill with the mean burn by the plan from the departure to there, in order.
    reports
        What was noted underway, the report at hand last; resets between fills are told there.
    meter
        What the dials are worth.

    Returns
    -------
    What holds now.
    """
    tally = _Tally(saved, hops[0], meter)
    for fill, planned_l in fills:
        tally.take(fill, planned_l)
    since = fills[-1][0].when if fills else saved.trip.depart
    for report in reports:
        if report.when >= since and not _fills(report):
            tally.note(report, is_last=report is reports[-1])
    run_begins_l = sum(one.fuel_l for one in hops[:hop])
    return Since(
        tally.level_l,
        tally.level_sd_l,
        tally.carried_l,
        tally.unread_l,
        tally.base_l,
        run_begins_l - tally.known_at_l,
        tally.before,
        tally.last_seen,
        tally.showed_l,
    )


class _Tally:
    """What dials and fills have come to so far."""

    def __init__(self, saved: SavedPlan, first: Hop, meter: Meter) -> None:
        self.boat, self.meter = saved.boat, meter
        self.level_l, self.level_sd_l = saved.trip.aboard.mean_l, saved.trip.aboard.sd_l
        self.base_l = 0.0 if first.begun_by is not None else float(sum(saved.helm.meter.shows_l))
        self.carried_l = 0.0  # metered since the level is known and before the last reset
        self.unread_l = 0.0
        self.known_at_l = 0.0  # the plan's burn where the level was known last
        self.filled_at_l = 0.0  # and at the last fill
        self.showed_l: float | None = None  # before the last reset at a fill
        self.before: tuple[float, float] | None = None
        self.last_seen: tuple[datetime, float] | None = None

    def take(self, fill: Fill, planned_l: float) -> None:
        """Take a fill, made where the plan has burnt so much."""
        boat, run_l = self.boat, max(0.0, planned_l - self.filled_at_l)
        unread_l = run_l / self.meter.factor  # what the dial must have shown, if nobody read it
        if fill.showed_l is not None and fill.hop != AT_DEPARTURE:  # there it is of what was run before
            metered_l = max(0.0, fill.showed_l - self.base_l)
            self.carried_l += metered_l
            if run_l > _ENOUGH_SHARE * boat.tank.capacity_l:
                spent = Spent(self.level_l, self.level_sd_l, metered_l, run_l)
                today = find_today(spent, self.meter, boat.burn.sd_share, boat.tank.capacity_l, self.before)
                self.before = (today.factor, today.factor_sd)
        elif fill.reset:
            self.unread_l += run_l
        if fill.reset:
            self.base_l = 0.0
        elif fill.showed_l is not None:
            self.base_l = fill.showed_l
        elif fill.to_mark:
            self.base_l += unread_l
        self.showed_l = fill.showed_l if fill.reset else None
        self.filled_at_l = planned_l
        if fill.to_mark:
            self.level_l, self.level_sd_l = boat.tank.full_mark_l, boat.full_mark_sd_l
            self.carried_l, self.unread_l, self.known_at_l = 0.0, 0.0, planned_l
        else:
            self.level_l += fill.pumped_l or 0.0

    def note(self, report: Report, *, is_last: bool) -> None:
        """Take a report since the last fill: a reset, and what the dials showed."""
        if report.not_reset and self.showed_l is not None:
            self.base_l, self.showed_l = self.showed_l, None
        if report.was_l is not None:
            self.carried_l += max(0.0, sum(report.was_l) - self.base_l)
            self.base_l, self.last_seen = 0.0, None
        if report.shows_l is not None and not is_last:
            self.last_seen = (report.when, float(sum(report.shows_l)))


def check_dial(saved: SavedPlan, since: Since, shows_l: float, planned_l: float, meter: Meter, *, sure: bool) -> None:
    """Refuse a reading that the dials can't show, or most likely don't, unless they were reset.

    Parameters
    ----------
    saved
        The plan that is followed.
    since
        The last known level.
    shows_l
        [l] What all dials show together.
    planned_l
        [l] Mean burn since that level by the plan.
    meter
        What the dials are worth.
    sure
        Whether the reading was said to be right.

    Raises
    ------
    InputError
        It went backwards, is far less than the plan has burnt, or more than was aboard; says what to add.
    """
    units, boat = saved.boat.units, saved.boat
    shown = units.volume(shows_l)
    reset = (
        "if the meter was reset underway, add what it showed before as --meter-was; if she took fuel, enter it first"
    )
    if since.last_seen is not None and shows_l < since.last_seen[1] - _ROUNDED_L and not sure:
        when, before_l = since.last_seen
        ago = f"{units.volume(before_l)} at {shown_moment(when, saved.zone)}"
        remedy = f"{reset}; if that reading was the slip, add --sure"
        raise InputError("--meter", f"went backwards: it showed {ago}", value=shown, remedy=remedy)
    if shows_l < since.base_l - _ROUNDED_L:
        problem = f"is less than the {units.volume(since.base_l)} that it showed at departure"
        both = "" if len(saved.helm.meter.shows_l) == 1 else "give both dials as 15.6+15.9, or their sum; "
        raise InputError("--meter", problem, value=shown, remedy=f"{both}{reset}")
    used_l = since.metered_l(shows_l) * meter.factor + since.unread_l
    off = _surprise(saved, since, since.metered_l(shows_l), planned_l, meter)
    if not sure and since.showed_l is not None and off > _STRANGE:
        ran_on = _surprise(saved, since, since.metered_l(shows_l) - since.showed_l, planned_l, meter)
        if abs(ran_on) < _STRANGE:
            problem = (
                f"is what it showed at the last fill, {units.volume(since.showed_l)}, and what the plan burns since"
            )
            raise InputError(
                "--meter", problem, value=shown, remedy="if it wasn't reset there, add --not-reset; else add --sure"
            )
    if used_l > since.level_l + 3.0 * since.level_sd_l + _SPILL_SHARE * boat.tank.capacity_l:
        problem = f"is more than was aboard, {units.volume(since.level_l)}"
        raise InputError("--meter", problem, value=shown, remedy="check figure and unit, or enter the fill-up first")
    if not sure and planned_l > _ENOUGH_SHARE * boat.tank.capacity_l and off < -_STRANGE:
        problem = f"says {units.volume(used_l)} burnt where the plan has {units.volume(planned_l)} by here"
        raise InputError("--meter", problem, value=shown, remedy=f"{reset}; if it is right, add --sure")


def _surprise(saved: SavedPlan, since: Since, metered_l: float, planned_l: float, meter: Meter) -> float:
    spent = Spent(since.level_l, since.level_sd_l, max(0.0, metered_l), max(0.0, planned_l - since.unread_l))
    return surprise(spent, meter, saved.boat.burn.sd_share, saved.boat.tank.capacity_l, since.before)
