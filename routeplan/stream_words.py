"""What is said of a plan's currents, its waits and its days: whether the water stood still, what is met, the nights."""

from __future__ import annotations

from datetime import timedelta
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from routeplan.units_shown import shown_distance, shown_duration
from routeplan.words import Words, course

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.plans import Leg, Plan, StreamMet, TurnTold

__all__ = ["StreamWords", "stream_runs"]

_NIGHT = timedelta(hours=5)  # who lies longer between two days spends the night there
_AT_ONCE = timedelta(minutes=1)
_NONE_MET = "Currents: the track meets none of those that are known"
_STILL = "Still water: no current is allowed for"


class StreamWords(Words):
    """Says what the water does on a plan, in one region's time.

    Parameters
    ----------
    boat
        Its display units.
    zone
        The region's time zone.
    currency
        The region's currency.
    """

    def water_lines(self, plan: Plan) -> list[str]:
        """Say whether a plan counts currents, and which it meets.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        One sentence without its stop; where currents are met, a line for each after it.
        """
        if plan.still_water:
            return [_STILL]
        if not plan.streams:
            return [_NONE_MET]
        head = "Currents met, as predicted; courses to steer and times allow for them:"
        return [head, *map(self.stream_line, plan.streams)]

    def water_line(self, plan: Plan) -> str:
        """Say what `water_lines` says in one line.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        Without the times of slack water.
        """
        if plan.still_water or not plan.streams:
            return self.water_lines(plan)[0]
        met = "; ".join(f"{s.name} {self.when(s.enter, plan.depart)}, {self.stream_runs(s)}" for s in plan.streams)
        return f"Currents met, as predicted: {met}"

    def stream_line(self, stream: StreamMet) -> str:
        """Say a current that is met, and when it turns.

        Parameters
        ----------
        stream
            The current.

        Returns
        -------
        Such as ``Vindelsay Strait, 08:55 to 08:57: ebb 2.8 kn setting 185; slack 05:25 and 12:05; strongest 08:47``.
        """
        turns = self.turns_line(stream)
        times = f"{self.clock(stream.enter)} to {self.when(stream.leave, stream.enter)}"
        return f"{stream.name}, {times}: {self.stream_runs(stream)}{turns and '; '}{turns}"

    def stream_texts(self, stream: StreamMet) -> list[str]:
        """Say a current that is met in short lines, for a narrow screen.

        Parameters
        ----------
        stream
            The current.

        Returns
        -------
        How it runs, when the boat is in it, when it turns.
        """
        runs, turns = self.stream_runs(stream), self.turns_line(stream)
        leave = self.when(stream.leave, stream.enter)
        lines = [f"{runs[0].upper()}{runs[1:]} true", f"In it {self.day_and_clock(stream.enter)} to {leave}"]
        return lines + ([f"{turns[0].upper()}{turns[1:]}"] if turns else [])

    def stream_runs(self, stream: StreamMet) -> str:
        """Say how a current runs where it is met strongest.

        Parameters
        ----------
        stream
            The current.

        Returns
        -------
        Such as ``ebb 2.8 kn setting 185``, true; the tide isn't named where it turns meanwhile, or isn't known.
        """
        return f"{stream_runs(stream) or 'up to'} {stream.drift_kn:.1f} kn setting {course(stream.set_deg)}"

    def turns_line(self, stream: StreamMet) -> str:
        """Say when a current is slack next to the boat's passing, and when it runs fastest between.

        Parameters
        ----------
        stream
            The current.

        Returns
        -------
        Such as ``slack 05:25 and 12:05; strongest 08:47 (2.8 kn)``; empty where no turn is known.
        """
        before, after, between = _turns_about(stream)
        slacks = [self.when(turn.at, stream.enter) for turn in (*before, *after)]
        said = [f"slack {' and '.join(slacks)}"] if slacks else []
        if between is not None:
            said.append(f"strongest {self.when(between.at, stream.enter)} ({between.speed_kn:.1f} kn)")
        return "; ".join(said)

    def day_lines(self, plan: Plan) -> list[str]:
        """Say a plan of several days, a line a day.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        Date, hours from the first departure to the last arrival, miles, fuel, the night's place and what is aboard
        there; none where all legs begin on one day.
        """
        days = [list(legs) for _, legs in groupby(plan.legs, key=lambda leg: leg.depart.astimezone(self.zone).date())]
        if len(days) < 2:
            return []
        lines = [f"{self._day(legs)}; {self._night(plan, legs[-1], after[0])}" for legs, after in pairwise(days)]
        return [*lines, f"{self._day(days[-1])}; then at {plan.legs[-1].to}"]

    def _day(self, legs: list[Leg]) -> str:
        leaves, arrives = legs[0].depart, legs[-1].arrive
        long = shown_duration((arrives - leaves).total_seconds() / 3600)
        burned = self.units.volume(sum(leg.fuel_l for leg in legs))
        run = shown_distance(sum(leg.distance_nmi for leg in legs))
        return f"{self.day_and_clock(leaves)} to {self.when(arrives, leaves)}, {long}: {run}, burns {burned}"

    def _night(self, plan: Plan, last: Leg, first: Leg) -> str:
        lies = first.depart - last.arrive
        if lies < _AT_ONCE:
            return "under way at midnight"
        if lies < _NIGHT:
            return f"only {shown_duration(lies.total_seconds() / 3600)} at {last.to}"
        fills = any(stop.dock == last.to and last.arrive <= stop.begin < first.depart for stop in plan.stops)
        left = self.aboard(last.aboard_after_l, last.aboard_after_low_l)
        return f"night at {last.to}, there with {left}{', and fills' if fills else ''}"


def stream_runs(stream: StreamMet) -> str:
    """Name the tide that a current runs with while the boat is in it.

    Parameters
    ----------
    stream
        The current.

    Returns
    -------
    `flood` or `ebb`; empty where it turns meanwhile, or its turns aren't known.
    """
    if any(turn.kind == "slack" and stream.enter < turn.at < stream.leave for turn in stream.turns):
        return ""
    _, _, between = _turns_about(stream)
    return "" if between is None else between.kind


def _turns_about(stream: StreamMet) -> tuple[list[TurnTold], list[TurnTold], TurnTold | None]:
    """Find the slack before and the one after a passing, and when it runs fastest between them."""
    middle = _middle(stream)
    before = [turn for turn in stream.turns if turn.kind == "slack" and turn.at <= middle][-1:]
    after = [turn for turn in stream.turns if turn.kind == "slack" and turn.at > middle][:1]
    fastest = [
        turn
        for turn in stream.turns
        if turn.kind in ("flood", "ebb")
        and all(turn.at > slack.at for slack in before)
        and all(turn.at < slack.at for slack in after)
    ]
    return before, after, min(fastest, key=lambda turn: abs(turn.at - middle), default=None)


def _middle(stream: StreamMet) -> datetime:
    return stream.enter + (stream.leave - stream.enter) / 2
