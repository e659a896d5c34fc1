"""Where the boat stands on her plan, and what is really left: a report underway, weighed with all that is known.

What the dial says since the last known level is held against what the plan has burnt by here (`todays_burn`). Which
level that is, and which run she is on, follows from the fills since departure and from the position.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.aboard import level_by_gauge
from routeplan.fuel import z_of
from routeplan.helm_marks import start_meter
from routeplan.moments import shown_moment
from routeplan.places import write_position
from routeplan.plan_hops import find_hops
from routeplan.progress import burned_by, find_progress
from routeplan.spent_fuel import AT_DEPARTURE, check_dial, fills_of, find_since
from routeplan.todays_burn import Meter, Spent, find_today, surprise
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.gpx_runs import TrackRuns
    from routeplan.network import Network
    from routeplan.plan_hops import Hop
    from routeplan.progress import Progress
    from routeplan.saved_plans import Report, SavedPlan
    from routeplan.spent_fuel import Fill, Since
    from routeplan.teaching import Taught
    from routeplan.todays_burn import Today

__all__ = ["FAR_NMI", "ON_ROUTE_NMI", "AskedUnderway", "State", "find_state"]

ON_ROUTE_NMI = 0.25  # [nmi] nearer than this she is on the route, as helmsmen steer
FAR_NMI = 2.0  # [nmi] further off than this the plan's burn up to here says nothing
_MISSED_NMI = 1.0  # [nmi] so far off the run that she ought to be on, and on a later one: its stop lies behind
_BESIDE_NMI = 10.0  # [nmi] a dock further off the run tells nothing of how far along it a fill was
_EARLIER = timedelta(hours=1)  # than the plan has her leave a stop: no boat has left it yet
_TRACK_SHARE = 0.7  # of the way gone: a recorded track that covers less isn't this run's
_DISAGREE = 2.5758  # standard deviations: one time in a hundred by chance, either way
_NOTICED_SHARE = 0.08  # of the capacity: a gauge that says so much less is told of, even if it may be chance
_LEAST_H = 0.25  # [h] over which a loss is reckoned at the least
_SOME_NMI = 3.0  # [nmi] a shorter way tells nothing of how fast she must have been
_STRANGE = 3.5  # standard deviations: so much more on the dial is asked about
_EARLIEST = timedelta(hours=12)  # before the departure: a plan for another day
_LATEST = timedelta(days=3)  # after the planned arrival: the same


@dataclass(frozen=True, eq=False)
class AskedUnderway:
    """What is asked underway, and what is at hand to answer it.

    Parameters
    ----------
    saved
        The plan that is followed.
    network
        Built for its boat and margins.
    taught
        What her log teaches, with the fill-ups of this passage.
    report
        Where she is, and what the instruments say.
    gauge_step_l
        [l] What the gauge's reading was rounded to.
    runs
        Today's recorded track since the last fill; None without one.
    distance_nmi
        [nmi] Distance run since the last fill, or the departure, as she says; None where she doesn't.
    passed_by
        Whether the stops before here were passed without filling.
    sure
        Whether the dial's reading was said to be right.
    replan
        Whether a new plan from here is wanted whatever the old one says.
    """

    saved: SavedPlan
    network: Network
    taught: Taught
    report: Report
    gauge_step_l: float = 0.0
    runs: TrackRuns | None = None
    distance_nmi: float | None = None
    passed_by: bool = False
    sure: bool = False
    replan: bool = False


@dataclass(frozen=True, eq=False)
class State:
    """Where the boat stands, and what is left.

    Parameters
    ----------
    hops
        The plan's runs.
    progress
        The run that she is on, and how far along it.
    since
        The last known level.
    meter
        What the dials are worth.
    planned_l
        [l] Mean burn since that level by the plan.
    today
        Fuel aboard, and today's burn.
    by_meter_l, by_gauge_l
        [l] Fuel aboard by one alone; None where it wasn't read.
    agree
        Whether the two agree within chance.
    loss_lph
        [l/h] How fast fuel has been lost beside what the dial counted, if the gauge is right that it was; 0 where it
        says nothing of the kind.
    z
        Standard deviations to keep clear, by the trip's confidence.
    findings
        What must be said, the gravest first.
    """

    hops: tuple[Hop, ...]
    progress: Progress
    since: Since
    meter: Meter
    planned_l: float
    today: Today
    by_meter_l: float | None
    by_gauge_l: float | None
    agree: bool
    loss_lph: float
    z: float
    findings: tuple[str, ...]

    @property
    def hop(self) -> Hop:
        """The run that she is on."""
        return self.hops[self.progress.hop]

    @property
    def far(self) -> bool:
        """Whether she is so far off the route that its burn says nothing."""
        return self.progress.off_nmi > FAR_NMI


def find_state(asked: AskedUnderway) -> State:
    """Find where the boat stands, and what is left.

    Parameters
    ----------
    asked
        The report, the plan, and what is at hand.

    Returns
    -------
    Her state.

    Raises
    ------
    InputError
        The report lies long before the departure or before the last one, the dial can't be right, or a fill is missing.
    """
    saved, report = asked.saved, asked.report
    hops = find_hops(saved.plan, saved.boat, saved.trip.aboard)
    _check_time(saved, report, has_legs=bool(hops))
    start = start_meter(asked.taught, None)
    meter = Meter(start.factor, start.factor_sd, start.scatter_share)
    reports = (*(one for one in saved.reports if one.when < report.when), report)  # one of the same minute is replaced
    plane = asked.network.water.plane
    fills = fills_of(saved, asked.taught.fillups, reports, report.when)
    hop, placed = _place_fills(asked, hops, fills)
    progress = find_progress(plane, hops, hop, report.position, report.when)
    findings = _first_fill(asked, hops[0], placed)
    for later in range(hop + 1, len(hops)):
        ahead = find_progress(plane, hops, later, report.position, report.when)
        nearer = ahead.off_nmi < 0.5 * progress.off_nmi
        if progress.off_nmi > _MISSED_NMI and nearer and report.when > hops[later].legs[0].depart - _EARLIER:
            findings.append(_stop_behind(asked, hops[hop:later]))
            progress = ahead
            break
    since = find_since(saved, hops, progress.hop, placed, reports, meter)
    planned_l = max(0.0, since.planned_before_l + progress.burned_l)
    fuel = _Fuel(asked, hops[progress.hop], progress, since, meter, planned_l)
    today = fuel.by_dial()
    by_meter_l = None if report.shows_l is None else today.aboard_l
    by_gauge_l, agree = None, True
    z = z_of(saved.trip.confidence)
    begun = placed[-1][0].when if placed else saved.plan.depart
    if not asked.sure:
        left = [fill.when for fill, _ in placed if fill.hop is not None]
        _check_speed(asked, hops[progress.hop], progress, left[-1] if left else saved.plan.depart)
    loss_l = 0.0
    if report.gauge_l is not None:
        before_l = today.aboard_l
        today, by_gauge_l, agree, said = _with_gauge(asked, today, report.gauge_l, z, read=by_meter_l is not None)
        loss_l = 0.0 if agree else max(0.0, before_l - by_gauge_l)
        findings = [*said, *findings]
    hours = max((report.when - begun).total_seconds() / 3600, _LEAST_H)
    return State(
        hops,
        progress,
        since,
        meter,
        planned_l,
        today,
        by_meter_l,
        by_gauge_l,
        agree,
        loss_l / hours,
        z,
        (*findings, *fuel.said),
    )


def _check_time(saved: SavedPlan, report: Report, *, has_legs: bool) -> None:
    if not has_legs:
        raise InputError("--plan", "has no legs to follow", remedy="plan anew")
    clock = saved.zone
    if report.when < saved.plan.depart - _EARLIEST:
        raise InputError(
            "--when",
            f"lies long before the departure, {shown_moment(saved.plan.depart, clock)}",
            value=shown_moment(report.when, clock),
            remedy="say when it was read, or plan anew for another day",
        )
    if report.when > saved.plan.arrive + _LATEST:
        raise InputError(
            "--when",
            f"lies long after the planned arrival, {shown_moment(saved.plan.arrive, clock)}",
            value=shown_moment(report.when, clock),
            remedy="say when it was read, with its date, or name the plan that she follows with --plan",
        )
    if saved.reports and report.when < saved.reports[-1].when:
        raise InputError(
            "--when",
            f"lies before the last report, {shown_moment(saved.reports[-1].when, clock)}",
            value=shown_moment(report.when, clock),
            remedy="say when it was read",
        )


def _check_speed(asked: AskedUnderway, hop: Hop, progress: Progress, begun: datetime) -> None:
    """Ask about a position that she can't have come to by then."""
    saved, report = asked.saved, asked.report
    gone_nmi = progress.gone_nmi - progress.off_nmi
    hours = (report.when - begun).total_seconds() / 3600
    fastest_kn = 1.3 * saved.boat.fastest_kn + 3.0  # a following sea and a stream
    if gone_nmi > _SOME_NMI and gone_nmi > fastest_kn * max(hours, 0.0):
        raise InputError(
            "--when",
            f"has her {shown_distance(gone_nmi)} from {hop.start} {shown_duration(max(hours, 0.0))} after leaving it",
            value=shown_moment(report.when, saved.zone),
            remedy="check --when and --at; if she left earlier than planned, add --sure",
        )


def _place_fills(
    asked: AskedUnderway, hops: Sequence[Hop], fills: Sequence[Fill]
) -> tuple[int, list[tuple[Fill, float]]]:
    """Find the run that follows on the fills, and what the plan has burnt at each of them."""
    plane = asked.network.water.plane
    rows = asked.network.region.layer("docks").itertuples()
    docks = {str(row.name).casefold(): (row.geometry.x, row.geometry.y) for row in rows}
    hop, placed = 0, []
    burned_l = [sum(one.fuel_l for one in hops[:i]) for i in range(len(hops) + 1)]
    for fill in fills:
        if fill.hop == AT_DEPARTURE:
            placed.append((fill, 0.0))
            continue
        if fill.hop is not None and fill.hop >= hop:
            hop = min(fill.hop + 1, len(hops) - 1)
            placed.append((fill, burned_l[fill.hop + 1]))
            continue
        position = fill.position or docks.get(fill.dock.casefold())
        by_time = burned_by(hops[hop], fill.when)
        if position is None:
            placed.append((fill, burned_l[hop] + by_time))
            continue
        where = find_progress(plane, hops, hop, position, fill.when)
        placed.append((fill, burned_l[hop] + (where.burned_l if where.off_nmi < _BESIDE_NMI else by_time)))
    return hop, placed


def _first_fill(asked: AskedUnderway, first: Hop, placed: Sequence[tuple[Fill, float]]) -> list[str]:
    """Ask about a fill before leaving of which nothing is known."""
    stop = first.begun_by
    if stop is None or any(fill.to_mark or burned_l <= 0.0 for fill, burned_l in placed):
        return []
    if asked.passed_by:
        return [f"{stop.dock}: left without filling, as said."]
    raise InputError(
        "--plan",
        f"fills at {stop.dock} before leaving, and no fill-up there is in the log yet",
        remedy="fill, then enter it (routeplan fillup add), or note it there with --filled or --took; if she left "
        "without, add --passed-by",
    )


def _stop_behind(asked: AskedUnderway, runs: Sequence[Hop]) -> str:
    """Ask about a stop that lies behind and of which no fill is known."""
    names = " and ".join(run.ended_by.dock for run in runs if run.ended_by is not None)
    if asked.passed_by:
        return f"{names}: passed without filling, as said."
    raise InputError(
        "--at",
        f"lies beyond {names}, where the plan fills, and no fill-up since departure is in the log",
        value=write_position(asked.report.position),
        remedy="enter it (routeplan fillup add), or note it there with --filled; if there was none, add --passed-by",
    )


class _Fuel:
    """The fuel aboard by the dial."""

    def __init__(
        self, asked: AskedUnderway, hop: Hop, progress: Progress, since: Since, meter: Meter, planned_l: float
    ) -> None:
        self.asked, self.hop, self.progress, self.since = asked, hop, progress, since
        self.meter, self.planned_l = meter, planned_l
        self.said: list[str] = []

    def by_dial(self) -> Today:
        """Find fuel aboard and today's burn; by the plan where the dial wasn't read."""
        report, since, boat = self.asked.report, self.since, self.asked.saved.boat
        spread, capacity_l = boat.burn.sd_share, boat.tank.capacity_l
        expected_l = self._expected_l()
        far = self.progress.off_nmi > FAR_NMI
        if report.filled:
            nothing = Spent(boat.tank.full_mark_l, boat.full_mark_sd_l, 0.0, 0.0)
            return find_today(nothing, self.meter, spread, capacity_l, since.before)
        if report.shows_l is None:
            level = Spent(since.level_l, since.level_sd_l, 0.0, 0.0)
            today = find_today(level, self.meter, spread, capacity_l, since.before)
            mean_l, sd_l = today.on_arrival(expected_l)
            if report.gauge_l is None:
                self.said.append("Neither meter nor gauge was read: the fuel aboard is reckoned from the plan.")
            return replace(today, aboard_l=max(0.0, mean_l), aboard_sd_l=sd_l)
        shows_l = float(sum(report.shows_l))
        check_dial(self.asked.saved, since, shows_l, 0.0 if far else expected_l, self.meter, sure=self.asked.sure)
        metered_l = since.metered_l(shows_l)
        if (
            far and self.asked.runs is None and self.asked.distance_nmi is None
        ):  # the plan's burn is of another way: the dial alone counts
            expected_l = metered_l * self.meter.factor
        seen_l = max(0.0, expected_l - since.unread_l)
        self._ask_about_more(metered_l, seen_l)
        self._ask_about_dials(report.shows_l)
        spent = Spent(since.level_l - since.unread_l, since.level_sd_l, metered_l, seen_l)
        return find_today(spent, self.meter, spread, capacity_l, since.before).with_earlier(since.unread_l)

    def _ask_about_dials(self, shows_l: tuple[float, ...]) -> None:
        """Say that one of two dials counted far more than the other."""
        start, units = self.asked.saved.helm.meter.shows_l, self.asked.saved.boat.units
        if len(shows_l) < 2:
            return
        fresh = self.hop.begun_by is not None or self.progress.hop > 0 or len(start) < 2
        used = sorted(max(0.0, now - was) for now, was in zip(shows_l, (0.0, 0.0) if fresh else start, strict=True))
        if used[1] > 2.0 * used[0] + 2.0 * units.litres_per_unit:
            self.said.append(
                f"One dial has counted {units.volume(used[1])}, the other {units.volume(used[0])}: a slip, a dial that "
                "sticks, or an engine that wasn't run. The two together are reckoned with."
            )

    def _ask_about_more(self, metered_l: float, expected_l: float) -> None:
        """Say that the dial counted far more than the way here takes."""
        since, boat = self.since, self.asked.saved.boat
        spent = Spent(since.level_l, since.level_sd_l, metered_l, expected_l)
        off = surprise(spent, self.meter, boat.burn.sd_share, boat.tank.capacity_l, since.before)
        if off < _STRANGE:
            return
        burnt, taken = boat.units.volume(metered_l * self.meter.factor), boat.units.volume(expected_l)
        self.said.append(
            f"By the dial {burnt} are burnt where the way here takes {taken}. Gone back or about? Say how far she ran "
            "with --distance or --track. Else look for the cause (weed, trim, a leak, sea or stream against her), and "
            "read the dial again in 15 minutes."
        )

    def _expected_l(self) -> float:
        """[l] Mean burn since the level: by today's track or distance where they tell it, else by the plan."""
        runs = self.asked.runs
        if self.asked.distance_nmi is not None:
            per_nmi_l = self.hop.fuel_l / max(self.hop.distance_nmi, 1e-9)
            return max(0.0, self.since.planned_before_l) + self.asked.distance_nmi * per_nmi_l
        if runs is None:
            return self.planned_l
        if runs.distance_nmi < _TRACK_SHARE * self.progress.gone_nmi:
            self.said.append(
                f"The track covers {shown_distance(runs.distance_nmi)} of the {shown_distance(self.progress.gone_nmi)} "
                f"since {self.hop.start}: its speeds aren't used."
            )
            return self.planned_l
        boat = self.asked.saved.boat
        run_l = sum(boat.burn_lph(min(max(r.speed_kn, 0.1), boat.fastest_kn)) * r.time_h for r in runs.speeds_run)
        return max(0.0, self.since.planned_before_l) + run_l


def _with_gauge(
    asked: AskedUnderway, today: Today, gauge_l: float, z: float, *, read: bool
) -> tuple[Today, float, bool, list[str]]:
    """Weigh the fuel aboard with the gauge; where the two disagree beyond chance, the one that says less counts."""
    units = asked.saved.boat.units
    gauge = level_by_gauge(asked.taught, gauge_l, asked.gauge_step_l)
    apart = abs(gauge.mean_l - today.aboard_l) / max(1e-9, (gauge.sd_l**2 + today.aboard_sd_l**2) ** 0.5)
    less = gauge.mean_l < today.aboard_l
    if apart <= _DISAGREE:
        said = []
        lower_l = today.aboard_l - gauge.mean_l
        if read and lower_l > _NOTICED_SHARE * asked.saved.boat.tank.capacity_l:
            said.append(
                f"The gauge says {units.volume(lower_l)} less than the meter. That can be chance with this gauge: read "
                "it again off the plane, smell the bilge, and look again in 15 minutes."
            )
        return today.weighed_with(gauge.mean_l, gauge.sd_l), gauge.mean_l, True, said
    by = "by the meter" if read else "by the plan"
    told = (
        f"{'Meter' if read else 'Plan'} and gauge disagree beyond chance: {units.volume(today.aboard_l)} {by}, "
        f"{units.volume(gauge.mean_l)} by the gauge. The one that says less is counted on. "
    )
    told += (
        "Fuel may be leaking: check the bilge for fuel and fumes before anything is switched or started."
        if less
        else "The gauge may stick or read high."
    )
    if gauge.mean_l - z * gauge.sd_l < today.aboard_l - z * today.aboard_sd_l:
        today = replace(today, aboard_l=gauge.mean_l, aboard_sd_l=gauge.sd_l, together_l=0.0)
    return today, gauge.mean_l, False, [told]
