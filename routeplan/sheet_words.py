"""What a passage sheet says, in one boat's units and one region's time: figures rounded to the safe side."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from routeplan.fuel import z_of
from routeplan.places import write_position
from routeplan.plan_words import is_before_leaving
from routeplan.sheet_mark_words import MarkWords
from routeplan.units_shown import shown_distance, shown_duration, shown_speed
from routeplan.words import course, shown_calls, shown_nearness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.helm import LastTurn
    from routeplan.plans import Passed, Stop
    from routeplan.sheet import OtherDock, SunAt
    from routeplan.sheet_rows import LegRow

__all__ = ["SheetWords", "reach_of_numbers"]

_NO_BREAK = "\u00a0"
_FULL_SHARE = 0.98  # of the full mark: a tank with less isn't full
_SOON_H = 1 / 60  # [h] what is nearer than a minute is now


class SheetWords(MarkWords):
    """Says what is on a sheet.

    Parameters
    ----------
    saved
        The plan: boat, zone, currency and speed are its own.
    sheet
        What the sheet holds.
    """

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

    def variation_line(self) -> str:
        """Say what the courses are.

        Returns
        -------
        One line.
        """
        variation = self.sheet.variation_deg
        met = ""
        if self.saved.plan.streams:
            met = " Courses along the track allow for the current, those to other docks don't; kn: through the water."
        if variation is None:
            return f"Courses are true (T): the region doesn't say its magnetic variation.{met}"
        side = "E" if variation >= 0 else "W"
        shown = f"{abs(variation):g}{_NO_BREAK}{side}"
        return f"M: magnetic, with variation {shown}; T: true. Your compass's own error comes on top.{met}"

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
        notes += [self.current_on(row)] if any(s.drift_kn is not None for s in row.steers) else []
        notes += ["through the bridge or lock"] if row.is_gate else []
        notes += [] if row.depth_checked else ["depth not checked"]
        notes += [f"{self.clock(passed.at)} {self.passed_by(passed)}" for passed in row.passes]
        return notes + [f"heed: {caution}" for caution in row.cautions if "kn limit" not in caution or row.is_gate]

    def current_on(self, row: LegRow) -> str:
        """Say the current on a row: of several courses the strongest, with the course that it belongs to.

        Parameters
        ----------
        row
            One on which a current runs.

        Returns
        -------
        Such as ``sets 185 T 2.6 kn: track 208 T, 28.4 kn over ground``.
        """
        met = max(row.steers, key=lambda steer: steer.drift_kn or 0.0)
        if met.set_deg is None or met.drift_kn is None:
            return ""
        on = f"on {self.steered(met.course_deg)} " if len(row.steers) > 1 else ""
        ground = "" if met.ground_kn is None else f", {met.ground_kn:.1f}{_NO_BREAK}kn over ground"
        sets = f"{on}sets {course(met.set_deg)}{_NO_BREAK}T {met.drift_kn:.1f}{_NO_BREAK}kn"
        return f"{sets}: track {course(met.track_deg)}{_NO_BREAK}T{ground}"

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
        why = "turn at" if stop.queues else "shut till"
        shut = f"{self.when(stop.arrive, since)}, {why} " if stop.wait_h > _SOON_H and not first else ""
        when = f"{shut}{self.when(stop.begin, since)} to {self.when(stop.depart, since)}"
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
        why = "her turn" if stop.queues else "it to open"
        wait = f"; wait till {self.clock(stop.begin)} for {why}" if stop.wait_h > _SOON_H else ""
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
        Such as ``stop 1 is closed``, or ``dial over``.
        """
        many = len(dock.for_stops) > 1
        closed = f"stop{'s' if many else ''} {reach_of_numbers(dock.for_stops)} {'are' if many else 'is'} closed"
        uses = [closed] if dock.for_stops else []
        uses += ["dial over"] if dock.is_turned_for and not dock.for_stops else []
        uses += ["next fuel at the end"] if dock.is_onward else []
        return "; ".join(uses)

    def still_line(self) -> str:
        """Say what the plan takes the water for.

        Returns
        -------
        One sentence: that it stands still, that currents are predicted, or that none that is known is met.
        """
        plan = self.saved.plan
        if plan.streams:
            return "Currents: as predicted."
        return f"{self.water_line(plan)}."

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
