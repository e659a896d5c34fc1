"""What is said of a group cruise as a whole: how long, how good, who limits it, who goes apart, who stays behind."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from routeplan.cruise_stop_words import CruiseStopWords, counted, listed, minutes_down, minutes_up
from routeplan.units_shown import shown_distance, shown_distance_down, shown_duration, shown_speed

if TYPE_CHECKING:
    from routeplan.cruises import BoatPlan, Buddy, CruiseDay, CruiseStop, LeftBehind, LegLimit

__all__ = ["FILLING_RULES", "CruiseWords"]

FILLING_RULES = (
    "moor fast; whoever isn't fuelling goes ashore",
    "engines, stove, electrics and blower off; no flame, nobody smokes; shut hatches and ports",
    "right fuel, into the fuel filler; nozzle touching the filler, never left; stop at the full mark",
    "cap on, wipe up, open hatches and ports; run the blower four minutes at least",
    "nose in the bilge: if it smells of fuel, nothing is switched on",
    "a spill is reported to the local authority; never put soap on it",
)
"""The rules of filling a tank, in short: `routeplan.pumping` has them in full."""

_SOON_MIN = 0.5  # [min] what rounds to nothing isn't told


class CruiseWords(CruiseStopWords):
    """Says a cruise.

    Parameters
    ----------
    plan
        The cruise.
    boats
        Its boats, with their units and contacts; one at the least. A boat of the plan that isn't among them is told in
        the organiser's units.
    zone
        The region's time zone.
    currency
        The region's currency.
    units
        The organiser's units; the first boat's where None.
    """

    def ends(self) -> tuple[str, str]:
        """Tell where the cruise begins and ends.

        Returns
        -------
        Names of the first and the last place.
        """
        return self.plan.legs[0].from_, self.plan.legs[-1].to

    def title(self) -> str:
        """Name the cruise.

        Returns
        -------
        Its name, or its ends.
        """
        return self.plan.name or "{} to {}".format(*self.ends())

    def head(self) -> str:
        """Say how large the cruise is and how fast it goes.

        Returns
        -------
        Such as ``6 boats, 2 days, together at 18 kn``.
        """
        plan = self.plan
        pace = "each at her own speed, gathering at every visit"
        if plan.speed_kn is not None:
            pace = f"together at {shown_speed(plan.speed_kn)}"
        return f"{counted(len(plan.boats), 'boat')}, {counted(len(plan.days), 'day')}, {pace}"

    def span(self) -> str:
        """Say when the cruise begins and ends.

        Returns
        -------
        One sentence with the time zone, without its stop.
        """
        start, finish = self.ends()
        depart, arrive = self.day_and_clock(self.plan.depart), self.day_and_clock(self.plan.arrive)
        return f"Leaves {start} {depart} {self.year(self.plan.depart)}, last boat in at {finish} {arrive} ({self.zone})"

    def docks_line(self) -> str:
        """Say at how many docks the group fuels, and whether fewer would do.

        Returns
        -------
        One sentence, without its stop.
        """
        plan = self.plan
        if not plan.docks:
            return "No boat has to fuel on the way"
        good = "the fewest that do, proven"
        if not plan.docks_proven:
            good = f"at least {plan.fewest_docks} are needed, whether fewer than {len(plan.docks)} do isn't known"
        return f"Fuel at {counted(len(plan.docks), 'dock')} ({good}): {listed(plan.docks)}"

    def delay_line(self) -> str:
        """Say what fuelling costs in time, and how much less it could be.

        Returns
        -------
        One sentence, without its stop.
        """
        plan = self.plan
        all_boats = shown_duration(minutes_up(plan.delay_h * 60) / 60)
        gap_min = minutes_up(plan.delay_gap_h * 60)
        good = "with so few docks it can't be less, proven"
        if gap_min == 1:
            good = "with so few docks it can't be a minute less, proven"
        elif gap_min:
            good = f"with so few docks {shown_duration(gap_min / 60)} of that could be saved at the most"
        wait = f". Longest wait at one pump: {minutes_up(plan.queue_min)} min" if plan.stops else ""
        return f"Fuelling (detours, waiting, filling) costs all boats together {all_boats}; {good}{wait}"

    def more_line(self) -> str:
        """Say what one dock more would buy.

        Returns
        -------
        One sentence without its stop; empty where that is nothing, or wasn't looked for.
        """
        more = self.plan.one_dock_more
        if more is None:
            return ""
        less = f"all boats together lose {_gain(more.delay_less_h)} less"
        # where the cruise ends no sooner, both figures are the delay of all boats
        if abs(more.sooner_h - more.delay_less_h) * 60 >= _SOON_MIN and more.sooner_h * 60 >= _SOON_MIN:
            less = f"the cruise ends {_gain(more.sooner_h)} sooner, {less}"
        named = [dock for dock in more.docks if dock not in self.plan.docks]
        gone = [dock for dock in self.plan.docks if dock not in more.docks]
        change = f" (with {listed(named)}{f', without {listed(gone)}' if gone else ''})" if named else ""
        return f"With one dock more{change}: {less}"

    def cost_line(self) -> str:
        """Say what all fuel costs.

        Returns
        -------
        Such as ``EUR 1,204.50``; as far as prices are known.
        """
        known = [stop.cost for stop in self.plan.stops if stop.cost is not None]
        if len(known) == len(self.plan.stops):
            return self.money(sum(known))
        unknown = counted(len(self.plan.stops) - len(known), "stop")
        return f"{self.money(sum(known))} without {unknown} of unknown price" if known else "price not known"

    def calls(self) -> list[tuple[str, tuple[CruiseStop, ...]]]:
        """List whom to call before leaving.

        Returns
        -------
        Each dock with the group's stops there, in the order of the first.
        """
        docks = dict.fromkeys(stop.dock for stop in self.plan.stops)
        return [(dock, tuple(stop for stop in self.plan.stops if stop.dock == dock)) for dock in docks]

    def limit_line(self, limit: LegLimit) -> str:
        """Say who has least in hand on a leg.

        Parameters
        ----------
        limit
            She.

        Returns
        -------
        One sentence, without its stop.
        """
        margin = self.volume(limit.margin_low_l, limit.boat, rounded="down")
        further = shown_distance_down(limit.margin_nmi)
        return f"{limit.boat} at {limit.at}: {margin} above her reserve (low), good for {further} more"

    def buddy_line(self, limit: LegLimit) -> str:
        """Say who could come to whom on a leg.

        Parameters
        ----------
        limit
            The leg's weakest boat, and who could reach her and others.

        Returns
        -------
        Such as ``in company: Quick Errand``, or ``Salt Biscuit within 5 min, 1.6 nmi off at the most``; that nobody can
        where there is none. Then the same of boats that go another way than she.
        """
        hers = [buddy for buddy in limit.buddies if buddy.to == limit.boat]
        company = [buddy.boat for buddy in hers if buddy.most_nmi == 0]
        said = [f"in company: {listed(company)}"] if company else []
        said += [_coming(buddy) for buddy in hers if buddy.most_nmi > 0]
        said = said or ["nobody could come to her with the fuel they have"]
        said += [
            f"to {buddy.to}: {_coming(buddy)}"
            for buddy in limit.buddies
            if buddy.to != limit.boat and buddy.most_nmi > 0
        ]
        alone = self._unreached(limit)
        said += [f"NOBODY could reach {listed(alone)}"] if alone else []
        return "; ".join(said)

    def _unreached(self, limit: LegLimit) -> list[str]:
        """Name the boats, besides the weakest, to which nobody could come."""
        reached = {limit.boat, *(buddy.to for buddy in limit.buddies)}
        together = self.plan.pace == "together"
        sizes = {number: len(boats) for number, boats in self.parties().items()}
        return [
            one.boat
            for one in self.plan.boats
            if one.boat not in reached and len(self.plan.boats) > 1 and not (together and sizes[one.party] > 1)
        ]

    def left_line(self, left: LeftBehind) -> str:
        """Say why a boat can't come.

        Parameters
        ----------
        left
            She.

        Returns
        -------
        One or two sentences, without the last stop.
        """
        leg = f"{left.from_} to {left.to}"
        length = "" if left.distance_nmi is None else f", {shown_distance(left.distance_nmi)}"
        ideas = f". Would help: {'; '.join(left.try_)}" if left.try_ else ""
        return f"{left.boat}, {leg}{length}: {left.why}{ideas}"

    def light_line(self, day: CruiseDay) -> str:
        """Say how much daylight a day leaves.

        Parameters
        ----------
        day
            The day.

        Returns
        -------
        Such as ``6 h 31 min before sunset``.
        """
        if day.light_left_min is None or day.sunset is None:
            return "the sun doesn't set"
        left_min = minutes_down(day.light_left_min)
        if left_min < 0:
            return f"IN THE DARK, {shown_duration(-left_min / 60)} after sunset"
        return f"{shown_duration(left_min / 60)} before sunset"

    def party_lines(self) -> list[str]:
        """Say who goes which way.

        Returns
        -------
        A line a party that goes apart, with the reason; none where all go one way.
        """
        lines = []
        for number, boats in self.parties().items():
            if number != 1 and (boats[0].why_apart or self.plan.pace == "together"):
                go = "goes" if len(boats) == 1 else "go"
                why = f": {boats[0].why_apart}" if boats[0].why_apart else ""
                lines.append(f"{listed([boat.boat for boat in boats])} (party {number}) {go} another way{why}")
        return lines

    def parties(self) -> dict[int, list[BoatPlan]]:
        """List who goes the same way.

        Returns
        -------
        Boats by the number of their party, in order.
        """
        found: dict[int, list[BoatPlan]] = {}
        for boat in sorted(self.plan.boats, key=lambda one: one.party):
            found.setdefault(boat.party, []).append(boat)
        return found


def _coming(buddy: Buddy) -> str:
    return f"{buddy.boat} within {minutes_up(buddy.most_min)} min, {_distance_up(buddy.most_nmi)} off at the most"


def _gain(time_h: float) -> str:
    return shown_duration(max(minutes_down(time_h * 60), 0) / 60)


def _distance_up(distance_nmi: float) -> str:
    return f"{math.ceil(distance_nmi * 10 - 1e-6) / 10:.1f} nmi"
