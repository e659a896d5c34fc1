"""What a passage sheet says, in one boat's units and one region's time: figures rounded to the safe side."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from routeplan.fuel import z_of
from routeplan.places import write_position
from routeplan.plan_words import PlanWords, is_before_leaving
from routeplan.units_shown import shown_distance, shown_duration, shown_speed
from routeplan.words import course, shown_calls, shown_nearness

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.helm import LastTurn, MeterMark, WayLeg
    from routeplan.plans import Passed, Stop
    from routeplan.saved_plans import SavedPlan
    from routeplan.sheet import OtherDock, Sheet, SunAt
    from routeplan.sheet_rows import LegRow

__all__ = ["SheetWords", "reach_of_numbers"]

_COUNTED = re.compile(r"^(?:turn|point) \d+(?:[,:] |$)")  # the row has the number already
_NO_BREAK = "\u00a0"
_IN_SIGHT_NMI = 0.3  # [nmi] from the dock she is steered by eye
_MOST_IN_A_ROW = 3  # courses of a way that a row has room for
_FULL_SHARE = 0.98  # of the full mark: a tank with less isn't full
_SOON_H = 1 / 60  # [h] what is nearer than a minute is now


class SheetWords(PlanWords):
    """Says what is on a sheet.

    Parameters
    ----------
    saved
        The plan: boat, zone, currency and speed are its own.
    sheet
        What the sheet holds.
    """

    def __init__(self, saved: SavedPlan, sheet: Sheet) -> None:
        super().__init__(saved.boat, ZoneInfo(saved.region.time_zone), saved.region.currency, saved.speed_kn)
        self.saved = saved
        self.sheet = sheet

    def foot(self) -> str:
        """Say what stands at the bottom of each page.

        Returns
        -------
        Boat, day and both ends.
        """
        depart = self.saved.plan.depart
        day = self.day_and_clock(depart).rsplit(" ", 1)[0]
        return f"{self.boat.name}, {day} {self.year(depart)}: {self.sheet.start} to {self.sheet.finish}"

    def zone_line(self) -> str:
        """Say which clock the times are told by.

        Returns
        -------
        One line; both offsets where the clocks change on the way.
        """
        plan = self.saved.plan
        offsets = dict.fromkeys(f"UTC{moment.astimezone(self.zone):%z}" for moment in (plan.depart, plan.arrive))
        shown = ", then ".join(f"{offset[:6]}:{offset[6:]}" for offset in offsets)
        return f"Times: {self.saved.region.time_zone} ({shown})"

    def bare(self, volume_l: float) -> str:
        """Say what a dial shows or may show at the most, without its unit: rounded down.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        Tenths of a gallon, whole litres.
        """
        if self.units.system == "metric":
            return str(math.floor(volume_l + 1e-6))
        return self.units.volume_down(volume_l).split(" ", 1)[0]

    def steered(self, course_deg: float) -> str:
        """Say a course to steer, magnetic where the region gives the variation, with its letter.

        Parameters
        ----------
        course_deg
            [deg] True.

        Returns
        -------
        Such as ``142 M`` or ``133 T``.
        """
        variation = self.sheet.variation_deg
        if variation is None:
            return f"{course(course_deg)}{_NO_BREAK}T"
        return f"{course(course_deg - variation)}{_NO_BREAK}M"

    def variation_line(self) -> str:
        """Say what the courses are.

        Returns
        -------
        One line.
        """
        variation = self.sheet.variation_deg
        if variation is None:
            return "Courses are true (T): the region doesn't say its magnetic variation."
        side = "E" if variation >= 0 else "W"
        shown = f"{abs(variation):g}{_NO_BREAK}{side}"
        return f"M: magnetic, with variation {shown}; T: true. Your compass's own error comes on top."

    def mark_name(self, row: LegRow) -> str:
        """Name the mark at a row's end, without the number that the row has.

        Parameters
        ----------
        row
            The row.

        Returns
        -------
        Its name; empty where it is a turn in open water.
        """
        return _COUNTED.sub("", row.to)

    def place_on_leg(self, row: LegRow) -> str:
        """Say where a mark lies on a leg that it doesn't end.

        Parameters
        ----------
        row
            The row up to the mark.

        Returns
        -------
        Such as ``11.8 of 35.5 nmi on``; empty where it ends the leg.
        """
        if not row.part:
            return ""
        return f"{row.after_nmi:.1f} of {row.leg_nmi:.1f} nmi on"

    def limit_figure(self, mark: MeterMark | None) -> str:
        """Say above which reading something is to be done.

        Parameters
        ----------
        mark
            The mark whose limit counts; None where there is none.

        Returns
        -------
        The figure, rounded down; empty where there is none.
        """
        if mark is None:
            return ""
        limit_l = mark.slow_above_l if mark.turn_above_l is None else mark.turn_above_l
        return "" if limit_l is None else self.bare(limit_l)

    def otherwise(self, row: LegRow) -> str:
        """Say what is to be done at a mark from which there is nowhere to turn.

        Parameters
        ----------
        row
            The row up to the mark.

        Returns
        -------
        To slow down above the limit; or to go on.
        """
        if row.limit is not None and row.limit.slow_kn is not None:
            return f"slow to {shown_speed(row.limit.slow_kn)}"
        return {"stop": "fuel here", "finish": "", "": "go on"}[row.ends_at]

    def way(self, mark: MeterMark) -> str:
        """Say the way from a mark to the dock to turn for, shortly.

        Parameters
        ----------
        mark
            The mark.

        Returns
        -------
        Up to three courses with their lengths; of a way of more the first two, and where the others stand.
        """
        stretches = _steered(mark.turn_way)
        if len(stretches) <= _MOST_IN_A_ROW:
            return self._stretches(stretches)
        return f"{self._stretches(stretches[:2])} + Ways"

    def whole_ways(self) -> list[tuple[str, str, str]]:
        """Say the ways that a row has no room for.

        Returns
        -------
        Of each the row's number, the dock's name and all courses with their lengths.
        """
        rows = [row for row in self.sheet.lines if row.kind == "leg" and row.limit is not None]
        return [
            (row.label, row.limit.turn_for, self._stretches(_steered(row.limit.turn_way)))
            for row in rows
            if row.limit is not None
            and row.limit.turn_for is not None
            and len(_steered(row.limit.turn_way)) > _MOST_IN_A_ROW
        ]

    def _stretches(self, stretches: Sequence[WayLeg]) -> str:
        return ", ".join(f"{self.steered(leg.course_deg)}{_NO_BREAK}{leg.distance_nmi:.1f}" for leg in stretches)

    def shut_till(self, opens: datetime | None, at: datetime) -> str:
        """Say that a dock is shut when the boat comes, and until when.

        Parameters
        ----------
        opens
            When she can begin to fill; None where it is open.
        at
            When she turns for it.

        Returns
        -------
        Such as ``shut till Thu 07:00``; empty where it is open.
        """
        return "" if opens is None else f"shut till {self.when(opens, at)}"

    def row_notes(self, row: LegRow) -> list[str]:
        """Say what to heed on a row.

        Parameters
        ----------
        row
            The row.

        Returns
        -------
        Short lines.
        """
        first = [f"{self.steered(s.course_deg)}{_NO_BREAK}{s.distance_nmi:.1f}" for s in row.steers[:-1]]
        notes = [f"first {', '.join(first)}"] if first else []
        notes += ["through the bridge or lock"] if row.is_gate else []
        notes += [] if row.depth_checked else ["depth not checked"]
        notes += [f"{self.clock(passed.at)} {self.passed_by(passed)}" for passed in row.passes]
        return notes + [f"heed: {caution}" for caution in row.cautions if "kn limit" not in caution or row.is_gate]

    def passed_by(self, passed: Passed) -> str:
        """Say what a row passes, shortly.

        Parameters
        ----------
        passed
            The waypoint.

        Returns
        -------
        Such as ``Gull Mark 0.3 nmi to port``, or ``keep clear of Gull Mark`` where it stands on the track.
        """
        said = self.passed(passed)
        return f"keep clear of {passed.name}" if "keep clear" in said else said

    def meter_lines(self) -> tuple[str, str]:
        """Say what the dial is at departure, and what it is worth.

        Returns
        -------
        A headline and what is below it.
        """
        meter = self.saved.helm.meter
        both = len(meter.shows_l) > 1
        dials = "both dials" if both else "dial"
        start_l = sum(meter.shows_l)
        head = f"reset {'both' if both else ''} to 0".replace("  ", " ")
        if start_l > 0.05:
            head = f"starts at {self.bare(start_l)}"
        rests = f"by {meter.fillups} fill-up{'s' if meter.fillups > 1 else ''}" if meter.fillups else "on trust, no log"
        add = " Add both dials." if both else ""
        then = " Don't reset it." if start_l > 0.05 else self._reset_note()
        return head, f"{dials.capitalize()} as shown. Really used: {meter.factor:.3f} times that, {rests}.{add}{then}"

    def _reset_note(self) -> str:
        """Say what a reset with the tank part full asks for, so that the log's sums from full to full stay whole."""
        saved = self.saved
        stops = saved.plan.stops
        filled = bool(stops) and is_before_leaving(saved.plan, stops[0])
        if filled or saved.trip.aboard.mean_l >= _FULL_SHARE * saved.boat.tank.full_mark_l:
            return ""
        return " Write the old reading down first; log the next fill with --since reset-in-mid-tank."

    def fuel_rule(self) -> str:
        """Say what the low figures are.

        Returns
        -------
        One sentence.
        """
        confidence = self.saved.trip.confidence
        kept = f"{confidence:.1%}".replace(".0%", "%").replace("%", " %")
        sure = "the plain mean: no allowance" if z_of(confidence) == 0 else f"{kept} of arrivals have more"
        floor = self.units.volume_up(self.boat.floor_l)
        return (
            f"Low: {sure}. Keep {floor} (reserve {self.units.volume_up(self.boat.reserve_l)}, "
            f"unusable {self.units.volume_up(self.boat.tank.unusable_l)})."
        )

    def stop_band(self, number: int, stop: Stop, *, resets: bool | None) -> str:
        """Say a stop in the helm's table.

        Parameters
        ----------
        number
            From 1.
        stop
            The stop.
        resets
            Whether the meters are reset there; None where no figure comes after.

        Returns
        -------
        Times, fuel, what to take, what to do with the dial.
        """
        first = is_before_leaving(self.saved.plan, stop)
        since = self.saved.plan.depart
        when = f"{self.when(stop.begin, since)} to {self.when(stop.depart, since)}"
        aboard = f"{self.units.volume_down(stop.aboard_l)} aboard, low {self.units.volume_down(stop.aboard_low_l)}"
        dial = {
            None: "",
            True: " Write the dial down, then reset it to 0.",
            False: " Don't reset the dial: figures go on from before.",
        }[resets]
        before = " before leaving" if first else ""
        return f"Stop {number}{before}, {when}: {stop.dock}. Arrive with {aboard}. Take {self.take(stop)}.{dial}"

    def last_turn_line(self, number: int, turn: LastTurn) -> str:
        """Say a point of no return.

        Parameters
        ----------
        number
            From 1.
        turn
            The point.

        Returns
        -------
        When, where, what the dial shows, and what it means.
        """
        position = write_position(turn.position).replace(" ", _NO_BREAK)
        place = f"{shown_distance(turn.gone_nmi)} on, {position}, dial {self.bare(turn.shows_l)}"
        head = f"{self.clock(turn.at)} Point of no return {number}"
        only = f"only {turn.towards} is in reach with the reserve whole, {shown_distance(turn.to_go_nmi)} to go"
        if turn.dock is None or turn.dock_nmi is None:
            return f"{head}, {place}: no other dock is in reach on this run: {only}"
        named = f"{self.sheet.tag(turn.dock)} {turn.dock}".strip()
        shut = self.shut_till(turn.opens, turn.at)
        last = f"last chance to turn for {named} ({shown_distance(turn.dock_nmi)}{shut and '; '}{shut})"
        return f"{head}, {place}: {last}. Beyond it {only}"

    def stop_cells(self, stop: Stop) -> tuple[str, str, str]:
        """Say a stop in the table of stops.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        Hours and calls; what to take and at what price; what if it is closed, and what to heed.
        """
        calls = "; ".join([stop.hours or "hours not known", *shown_calls(stop.vhf, stop.phone)])
        confirmed = f"; confirmed {stop.confirmed_on}" if stop.confirmed_on else "; never confirmed"
        price = self.money(stop.cost)
        wait = f"; wait till {self.clock(stop.begin)} for it to open" if stop.wait_h > _SOON_H else ""
        first = is_before_leaving(self.saved.plan, stop)
        closed = ["If closed: don't leave; wait, or plan anew"] if first else self.closed_lines(stop)
        heed = [f"Heed: {caution}" for caution in stop.cautions]
        hours = self.tagged_alternate(stop)
        closed = closed if first or hours is None else [*closed[:-1], f"If closed: {hours}"]
        return f"{calls}{confirmed}", f"{self.take(stop)}, {price}{wait}", ". ".join([*closed, *heed])

    def tagged_alternate(self, stop: Stop) -> str | None:
        """Say where else to go, by the sign of the dock, whose hours and calls the sheet lists once.

        Parameters
        ----------
        stop
            The stop that would be closed.

        Returns
        -------
        Name, distance, what is left, how long to wait, what speaks against it; None where there is no other place.
        """
        other = stop.alternate
        if other is None:
            return None
        slower = "" if other.speed_kn == self.speed_kn else f" at {shown_speed(other.speed_kn)}"
        near = f"{shown_nearness(other.distance_nmi)}{slower}"
        wait = f"; shut till {self.day_and_clock(other.begin)}" if other.wait_h > _SOON_H else ""
        heed = "".join(f"; {caution}" for caution in other.cautions)
        return f"{self.sheet.tag(other.name)} {other.name}, {near}, {self.left(other.left_l)}{wait}{heed}".strip()

    def other_dock_use(self, dock: OtherDock) -> str:
        """Say when another dock is needed.

        Parameters
        ----------
        dock
            The dock.

        Returns
        -------
        Such as ``1 is closed; dial over``.
        """
        uses = [f"{reach_of_numbers(dock.for_stops)} is closed"] if dock.for_stops else []
        uses += ["dial over"] if dock.is_turned_for and not dock.for_stops else []
        uses += ["next fuel at the end"] if dock.is_onward else []
        return "; ".join(uses)

    def sun_times(self, sun: SunAt) -> str:
        """Say when the sun rises and sets at a place.

        Parameters
        ----------
        sun
            The sun there.

        Returns
        -------
        Sunrise and sunset, or that it does neither.
        """
        if sun.rises is None and sun.sets is None:
            return "sun up all day" if sun.is_up_at_noon else "sun down all day"
        rises = [f"sunrise {self.clock(sun.rises)}"] if sun.rises else []
        sets = [f"sunset {self.clock(sun.sets)}"] if sun.sets else []
        return ", ".join([*rises, *sets])

    def light(self, sun: SunAt) -> str:
        """Say how the boat's time at a place lies to sunrise and sunset.

        Parameters
        ----------
        sun
            The sun there.

        Returns
        -------
        Such as ``2 h 10 min before sunset``; light is rounded down.
        """
        to_next = None if sun.changes is None else self._gap(sun, after=False)
        since = None if sun.changed is None else self._gap(sun, after=True)
        if sun.is_dark:
            if sun.changes is not None and (sun.changed is None or sun.changes - sun.at < sun.at - sun.changed):
                return f"IN THE DARK, {to_next} before sunrise"
            return "IN THE DARK" if since is None else f"IN THE DARK, {since} after sunset"
        rather_rose = sun.changed is not None and (sun.changes is None or sun.at - sun.changed <= sun.changes - sun.at)
        if sun.kind == "leave" and rather_rose:
            return f"{since} after sunrise"
        return "in daylight" if to_next is None else f"{to_next} before sunset"

    def _gap(self, sun: SunAt, *, after: bool) -> str:
        moment = sun.changed if after else sun.changes
        gap = abs((sun.at - (moment or sun.at)).total_seconds()) / 3600
        minutes = math.floor(gap * 60)  # never more light than there is
        return shown_duration(minutes / 60)

    def dark_line(self) -> str:
        """Say which legs are run in the dark.

        Returns
        -------
        A sentence; empty where none is.
        """
        if not self.sheet.dark_legs:
            return ""
        legs = reach_of_numbers(self.sheet.dark_legs)
        return (
            f"In the dark on leg{'s' if len(self.sheet.dark_legs) > 1 else ''} {legs}: test the lights before leaving."
        )

    def run_line(self) -> str:
        """Say how long the passage is.

        Returns
        -------
        Distance, speed and time.
        """
        plan = self.saved.plan
        speeds = list(dict.fromkeys(plan.speeds_kn)) or [self.saved.speed_kn]
        stops = " with stops" if plan.stops or plan.waits else ""
        shown = ", ".join(shown_speed(speed_kn) for speed_kn in speeds)
        return f"{shown_distance(plan.distance_nmi)} at {shown}, {shown_duration(plan.time_h)}{stops}"


def _steered(way: Sequence[WayLeg]) -> Sequence[WayLeg]:
    """Leave out the last few lengths, when the dock is in sight."""
    count = len(way)
    while count > 1 and sum(leg.distance_nmi for leg in way[count - 1 :]) <= _IN_SIGHT_NMI:
        count -= 1
    return way[:count]


def reach_of_numbers(numbers: Sequence[int]) -> str:
    """Say numbers shortly, those that follow one another as a reach.

    Parameters
    ----------
    numbers
        In order.

    Returns
    -------
    Such as ``1, 4 to 7``.

    Examples
    --------
    >>> reach_of_numbers([1, 4, 5, 6, 7, 9, 10])
    '1, 4 to 7, 9, 10'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [f"{r[0]} to {r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs]
    return ", ".join(parts)
