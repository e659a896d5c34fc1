"""What is said of a plan on a screen, a map or a sheet: its sums, its stops, its chances."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING

from routeplan.stream_words import StreamWords
from routeplan.units_shown import shown_distance, shown_duration, shown_money, shown_speed
from routeplan.water import POOR_SURVEY
from routeplan.words import shown_calls, shown_nearness

if TYPE_CHECKING:
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

    from routeplan.boats import Boat
    from routeplan.calls import Call, Need
    from routeplan.plans import Alternate, Plan, SlowerRun, Stop
    from routeplan.trips import ClosedDockRule, Trip
    from routeplan.water import Water

__all__ = ["PlanWords", "is_before_leaving", "shown_chance"]

_RULES: Mapping[ClosedDockRule, str] = MappingProxyType(
    {
        "on": "Closed-dock rule on: should any one stop be closed, you can still go on, on the reserve if need be",
        "strict": "Closed-dock rule strict: should any one stop be closed, you can still go on and keep the reserve",
        "off": "Closed-dock rule off: should a stop be closed, there may be nowhere else to go",
    }
)
_ALL_BUT_SURE = 0.9999  # [share] nobody knows a spread well enough to promise more
_FORGIVEN = 1e-9  # of one time: 0.29 is 29 times in 100, whatever its binary fraction
_WHOLE_DAY_H = 24.0  # [h] who has to wait longer is told so in words


class PlanWords(StreamWords):
    """Says plans in one boat's units and one region's time and currency.

    Parameters
    ----------
    boat
        Its display units.
    zone
        The region's time zone.
    currency
        The region's currency.
    speed_kn
        [kn] Speed that is planned with: one that differs from it is told.
    """

    def __init__(self, boat: Boat, zone: ZoneInfo, currency: str, speed_kn: float) -> None:
        super().__init__(boat, zone, currency)
        self.speed_kn = speed_kn

    def summary(self, plan: Plan) -> str:
        """Say a plan in one line.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        Stops, distance, arrival, fuel, margin and cost.
        """
        stops = _count(plan)
        cost = "" if not plan.stops else f", {self.cost_of(plan)}"
        return (
            f"{stops}, {shown_distance(plan.distance_nmi)}{self._speeds(plan)}, arrives "
            f"{self.day_and_clock(plan.arrive)} after {shown_duration(plan.time_h)}, "
            f"burns {self.units.volume(plan.fuel_l)}, least margin "
            f"{self.units.volume_down(plan.least_margin_l)} above the reserve{cost}"
        )

    def _speeds(self, plan: Plan) -> str:
        """Say at which speeds a plan's hops are run, where they aren't all run at the one asked for."""
        if all(speed_kn == self.speed_kn for speed_kn in plan.speeds_kn):
            return ""
        return f" at {', then '.join(shown_speed(speed_kn) for speed_kn in plan.speeds_kn)}"

    def summary_lines(self, plan: Plan) -> list[str]:
        """Say a plan in short lines, for a narrow screen.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        Stops and arrival first, then fuel and margin, chances, and what the water does.
        """
        stops, arrives = _count(plan), f"arrives {self.day_and_clock(plan.arrive)}"
        fuel = f"Burns {self.units.volume(plan.fuel_l)}" + (f", {self.cost_of(plan)}" if plan.stops else "")
        return [
            f"{stops[0].upper()}{stops[1:]}, {shown_distance(plan.distance_nmi)}, {arrives}",
            f"{fuel}; least margin {self.units.volume_down(plan.least_margin_l)} above the reserve",
            self.chances(plan),
            self.water_line(plan),
        ]

    def longer_line(self, plan: Plan, water: Water) -> str:
        """Say what keeping further off, or to fairways, costs in distance.

        Parameters
        ----------
        plan
            The plan.
        water
            Its margins say what was asked for; what it has nothing of isn't told as kept.

        Returns
        -------
        A sentence without its stop; empty where nothing was asked for, or nothing could be kept.
        """
        margins, room = water.margins, self.units.room
        poorly = any(area.name == POOR_SURVEY for area in water.caution_areas)
        asked = [
            f"{room(margins.planing_standoff_m)} off while planing" if margins.planing_standoff_m else "",
            f"{room(margins.poor_survey_standoff_m)} off where the survey is poor"
            if margins.poor_survey_standoff_m and poorly
            else "",
            "to fairways" if any(area.fairway for area in water.speed_areas) else "",
        ]
        kept = " and ".join(filter(None, asked))
        if plan.longer_nmi is None or not kept:
            return ""
        cost = f"{shown_distance(plan.longer_nmi)} longer" if plan.longer_nmi >= 0.05 else "hardly longer"
        return f"Keeping {kept} makes it {cost} than the way without"

    def cost_of(self, plan: Plan) -> str:
        """Say what a plan's fuel costs, as far as prices are known.

        Parameters
        ----------
        plan
            The plan; it has stops.

        Returns
        -------
        Such as ``EUR 337.70 for fuel``.
        """
        known = [stop.cost for stop in plan.stops if stop.cost is not None]
        unpriced = len(plan.stops) - len(known)
        if not known:
            return "price of fuel not known"
        rest = (
            f" and {'one stop' if unpriced == 1 else f'{unpriced} stops'} whose price is not known" if unpriced else ""
        )
        return f"{shown_money(sum(known), self.currency)} for fuel{rest}"

    def bare_cost(self, plan: Plan) -> str:
        """Say what a plan's fuel costs, for a column.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        The amount without its currency; nothing where a price isn't known.
        """
        return "" if plan.cost is None else shown_money(plan.cost, self.currency).removeprefix(f"{self.currency} ")

    def chances(self, plan: Plan) -> str:
        """Say how often a whole plan goes well.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        How often no arrival touches the reserve, and how often none runs dry; rounded down.
        """
        kept, wet = shown_chance(plan.chance_reserve_kept), shown_chance(plan.chance_never_dry)
        none = "If every stop sells its fuel, no" if plan.stops else "No"
        if kept == wet:
            return f"{none} arrival touches the reserve, and none runs dry: {kept}"
        return f"{none} arrival touches the reserve: {kept}; none runs dry: {wet}"

    def rule_line(self, plan: Plan) -> str:
        """Say which closed-dock rule a plan was made with.

        Parameters
        ----------
        plan
            The plan.

        Returns
        -------
        One line, without its full stop.
        """
        return _RULES[plan.closed_dock]

    def fill_line(self, trip: Trip) -> str:
        """Say how much is taken at each stop, and what an hour counts for.

        Parameters
        ----------
        trip
            What was asked.

        Returns
        -------
        One or two sentences.
        """
        if trip.fill == "full":
            return "Fills to the full mark at each stop."
        how = (
            "the least that the rules demand" if trip.fill == "enough" else "what costs least, time and money together,"
        )
        if trip.price_of_time_per_h is None and trip.fill == "enough":
            told = "No price of time was given, so time comes first: say what an hour is worth with --price-of-time."
        elif trip.price_of_time_per_h is None:
            told = (
                "No price of time was given, so an hour counts for nothing: say what it is worth with --price-of-time."
            )
        else:
            told = f"An hour counts for {shown_money(trip.price_of_time_per_h, self.currency)}."
        return f"Takes {how} at each stop. {told}"

    def slower_line(self, run: SlowerRun) -> str:
        """Say what slowing down would buy.

        Parameters
        ----------
        run
            The hop to be run slower.

        Returns
        -------
        One line: the speed, the stop that isn't needed then, the time, and what is left.
        """
        time = shown_duration(abs(run.later_h))
        when = "at the same time" if time == "0 min" else f"{time} {'later' if run.later_h > 0 else 'earlier'}"
        return (
            f"At {shown_speed(run.speed_kn)} the run from {run.from_} to {run.to} needs no stop at {run.skips}: "
            f"the passage ends {when}, and {run.to} is reached {self.units.volume_down(run.margin_l)} above the reserve"
        )

    def alternate_line(self, alternate: Alternate) -> str:
        """Say where else to go.

        Parameters
        ----------
        alternate
            The place.

        Returns
        -------
        Name, distance, fuel left, waiting, how to call, and what speaks against it.
        """
        near = shown_nearness(alternate.distance_nmi)
        slower = "" if alternate.speed_kn == self.speed_kn else f" at {shown_speed(alternate.speed_kn)}"
        said = [f"{alternate.name}, {near}{slower}, {self.left(alternate.left_l)}"]
        if alternate.wait_h > 1 / 60:
            long = "for long, " if alternate.wait_h > _WHOLE_DAY_H else ""
            opens = self.day_and_clock(alternate.begin)
            said.append(f"shut {long}till {opens}, a wait of {shown_duration(alternate.wait_h)}")
        if alternate.hours:
            said.append(f"hours {alternate.hours}")
        return "; ".join([*said, *shown_calls(alternate.vhf, alternate.phone), *alternate.cautions])

    def take(self, stop: Stop) -> str:
        """Say how much to ask the pump for.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        About so much where the full mark decides; at least so much where the figure does, rounded up.
        """
        if stop.to_mark:
            return f"about {self.units.volume(stop.take_l)} to the full mark"
        return f"{self.units.volume_up(stop.take_l)}, no less"

    def call_lines(self, call: Call) -> list[str]:
        """Say what to ask a dock when calling it.

        Parameters
        ----------
        call
            The dock and what the plan wants of it.

        Returns
        -------
        Lines: how to call, each time it must be open with what will be asked for, price and hours, how stale, cautions.
        """
        how = "; ".join(shown_calls(call.vhf, call.phone)) or "No VHF channel or phone number known"
        price = "not known" if call.price_per_l is None else self.units.price(call.price_per_l, self.currency)
        hours = f"Hours {call.hours}" if call.hours else "Hours not known"
        return [
            how,
            *(self._need_line(need) for need in call.needs),
            f"{hours}; price {price}",
            f"Last confirmed {call.confirmed_on}" if call.confirmed_on else "Never confirmed",
            *(f"Heed: {caution}" for caution in call.cautions),
        ]

    def _need_line(self, need: Need) -> str:
        same = self.same_day(need.open_from, need.open_until)
        until = self.clock(need.open_until) if same else self.day_and_clock(need.open_until)
        when = f"from {self.day_and_clock(need.open_from)} to {until}"
        fuel = self.boat.fuel
        wanted: str = fuel
        if need.take_l is not None:
            about = f"about {self.units.volume(need.take_l)} of {fuel}, to the full mark"
            wanted = about if need.to_mark else f"{self.units.volume_up(need.take_l)} of {fuel}, no less"
        case = {"stop": "", "alternate": f"If {need.after} is closed: ", "onward": f"Next fuel after {need.after}: "}
        said = f"{case[need.kind]}must be open {when}, and sell {wanted}"
        return f"{said[0].upper()}{said[1:]}"

    def stop_title(self, plan: Plan, index: int) -> str:
        """Say which stop it is.

        Parameters
        ----------
        plan
            The plan.
        index
            Of the stop, from 0.

        Returns
        -------
        Its number, whether it is before leaving, its name, and that it breaks the closed-dock rule where it does.
        """
        stop = plan.stops[index]
        when = ", before leaving" if is_before_leaving(plan, stop) else ""
        broken = "" if stop.keeps_closed_dock_rule else " (breaks the closed-dock rule)"
        return f"Stop {index + 1}{when}: {stop.dock}{broken}"

    def stop_lines(self, plan: Plan, stop: Stop) -> list[str]:
        """Say a refuel stop.

        Parameters
        ----------
        plan
            The plan that it belongs to.
        stop
            The stop.

        Returns
        -------
        Lines: times, fuel, what to take, the alternate, why, hours and how to call, cautions.
        """
        first = is_before_leaving(plan, stop)
        come = "Here from" if first else "Arrive"
        lines = [f"{come} {self.day_and_clock(stop.arrive)} with {self.aboard(stop.aboard_l, stop.aboard_low_l)}"]
        if stop.wait_h > 1 / 120:
            what = "her turn" if stop.queues else "it to open"
            lines.append(f"Wait {shown_duration(stop.wait_h)} for {what}, {self.day_and_clock(stop.begin)}")
        lines.append(f"Take {self.take(stop)}, {self.money(stop.cost)}; leave {self.day_and_clock(stop.depart)}")
        lines += ["If closed: don't leave; wait, or plan anew without this fill"] if first else self.closed_lines(stop)
        lines.append(f"Why here: {stop.why[0].upper()}{stop.why[1:]}")
        contact = [f"Hours {stop.hours}" if stop.hours else "Hours not known", *shown_calls(stop.vhf, stop.phone)]
        lines.append("; ".join(contact))
        return lines + [f"Heed: {caution}" for caution in stop.cautions]

    def closed_lines(self, stop: Stop) -> list[str]:
        """Say what to do if a dock turns out to be closed, and whether the closed-dock rule is kept.

        Parameters
        ----------
        stop
            One that has to be reached first.

        Returns
        -------
        One line, or two where the rule is broken.
        """
        nowhere = "no other dock that suits is in reach, nor is the destination"
        broken = "! Breaks the closed-dock rule: if it is closed,"
        if stop.alternate is None:
            return [f"If closed: {nowhere}" if stop.keeps_closed_dock_rule else f"{broken} {nowhere}"]
        line = f"If closed: {self.alternate_line(stop.alternate)}"
        if stop.keeps_closed_dock_rule:
            return [line]
        return [f"{broken} the passage can't be finished by the rules", line]


def is_before_leaving(plan: Plan, stop: Stop) -> bool:
    """Tell whether a fill comes before the passage: at its start, where the boat lies already.

    Parameters
    ----------
    plan
        The plan.
    stop
        One of its stops.

    Returns
    -------
    True where the boat is there when the plan begins.
    """
    return stop.arrive == plan.depart


def shown_chance(chance: float) -> str:
    """Say a chance in times, rounded down: never more than there is, and never certainty.

    Parameters
    ----------
    chance
        [share] 0 to 1.

    Returns
    -------
    As many figures as its distance from certainty asks for.

    Examples
    --------
    >>> shown_chance(0.8699), shown_chance(0.9953), shown_chance(0.99949)
    ('86 times in 100', '995 times in 1,000', '9,994 times in 10,000')
    >>> shown_chance(1.0), shown_chance(0.0171), shown_chance(0.004)
    ('more than 9,999 times in 10,000', 'once in 100', 'less than once in 100')
    """
    if chance > _ALL_BUT_SURE:
        return "more than 9,999 times in 10,000"
    among = next(n for n in (100, 1_000, 10_000) if n == 10_000 or n * (1 - chance) >= 1)
    times = math.floor(chance * among + _FORGIVEN)
    if times < 1:
        return "less than once in 100"
    return f"once in {among}" if times == 1 else f"{times:,} times in {among:,}"


def _count(plan: Plan) -> str:
    count = {0: "no stop", 1: "one stop"}.get(len(plan.stops), f"{len(plan.stops)} stops")
    if not plan.stops or not is_before_leaving(plan, plan.stops[0]):
        return count
    return f"{count}, before leaving" if len(plan.stops) == 1 else f"{count}, the first before leaving"
