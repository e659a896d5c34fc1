"""What is said of a group's stops for fuel: a boat's figures in her own units, the group's in the organiser's.

Where the fleet counts in US and in imperial gallons, every gallon says which it is. What is left is rounded down, what
is needed is rounded up; what a tank will take is told to the nearest tenth.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from routeplan.units_shown import shown_duration
from routeplan.words import Words, shown_calls

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from routeplan.cruise_asked import CruiseBoat
    from routeplan.cruises import AtPump, CruisePlan, CruiseStop, Fuel
    from routeplan.plans import Stop
    from routeplan.units_shown import DisplayUnits

__all__ = ["FUELS", "CruiseStopWords", "counted", "listed", "minutes_down", "minutes_up"]

FUELS: tuple[Fuel, ...] = ("gasoline", "diesel")
_FORGIVEN_MIN = 1e-6  # [min] a whole minute but for floating point stays that minute
_SOON_MIN = 0.5  # [min] what rounds to nothing isn't told


class CruiseStopWords:
    """Says the stops of a cruise.

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

    def __init__(
        self,
        plan: CruisePlan,
        boats: Sequence[CruiseBoat],
        zone: ZoneInfo,
        currency: str,
        units: DisplayUnits | None = None,
    ) -> None:
        self.plan = plan
        self.boats: Mapping[str, CruiseBoat] = {boat.name: boat for boat in boats}
        self.zone = zone
        self.currency = currency
        self.units = units or boats[0].boat.units
        said = Words(boats[0].boat, zone, currency)  # clocks and money are the region's, whosever boat it is
        self.clock, self.day_and_clock, self.when = said.clock, said.day_and_clock, said.when
        self.same_day, self.year, self.money = said.same_day, said.year, said.money
        gallons = {u.gallon for u in (self.units, *(boat.boat.units for boat in boats))} - {None}
        self._mixed = len(gallons) > 1

    def units_of(self, boat: str) -> DisplayUnits:
        """Tell a boat's units.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        Her own; the organiser's where she isn't known.
        """
        known = self.boats.get(boat)
        return self.units if known is None else known.boat.units

    def volume(self, volume_l: float, boat: str = "", *, rounded: str = "") -> str:
        """Say a volume.

        Parameters
        ----------
        volume_l
            [l] The volume.
        boat
            Whose it is; empty where it is the group's.
        rounded
            ``up`` or ``down``; empty for the nearest.

        Returns
        -------
        Such as ``71.0 gal``, or ``71.0 US gal`` where the fleet counts in both gallons.
        """
        units = self.units_of(boat) if boat else self.units
        shown = {"up": units.volume_up, "down": units.volume_down}.get(rounded, units.volume)(volume_l)
        return self._which_gallon(shown, units)

    def left(self, low_l: float, boat: str) -> str:
        """Say what a boat would have left somewhere, and how much of her reserve that takes.

        Parameters
        ----------
        low_l
            [l] Low figure.
        boat
            Her name.

        Returns
        -------
        Such as ``8.1 gal left (low)``; with the share of the reserve that is gone.
        """
        if boat not in self.boats:
            return f"{self.volume(low_l, boat, rounded='down')} left (low)"
        known = self.boats[boat].boat
        return self._which_gallon(Words(known, self.zone, self.currency).left(low_l), known.units)

    def floor_l(self, boat: str) -> float:
        """[l] Tell what a boat never plans to burn.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        Her unusable fuel and reserve; 0 where she isn't known.
        """
        return self.boats[boat].boat.floor_l if boat in self.boats else 0.0

    def _which_gallon(self, said: str, units: DisplayUnits) -> str:
        if not self._mixed or units.gallon is None:
            return said
        return said.replace(" gal", " US gal" if units.system == "us" else " imp gal")

    def contact(self, boat: str) -> str:
        """Tell how to call a boat.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        As the organiser was told; empty where nobody said.
        """
        return self.boats[boat].contact if boat in self.boats else ""

    def people(self, boat: str) -> int | None:
        """Tell how many are aboard.

        Parameters
        ----------
        boat
            Her name.

        Returns
        -------
        Persons; None where nobody said.
        """
        return self.boats[boat].people if boat in self.boats else None

    def totals(self, total_l: Mapping[Fuel, float]) -> str:
        """Say how much of each fuel a stop will be asked for.

        Parameters
        ----------
        total_l
            [l] By fuel.

        Returns
        -------
        Such as ``gasoline 98.0 gal, diesel 170.4 gal``, rounded up; what isn't wanted is left out.
        """
        parts = [f"{fuel} {self.volume(total_l[fuel], rounded='up')}" for fuel in FUELS if total_l.get(fuel, 0) > 0]
        return ", ".join(parts) or "nothing"

    def span_of(self, stop: CruiseStop) -> str:
        """Say when the group is at a dock.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        Such as ``Thu 2 Jul 12:12 to 13:09``: from the first boat's arrival until the last one leaves the pump.
        """
        return f"{self.day_and_clock(stop.arrive)} to {self.when(stop.depart, stop.arrive)}"

    def pumps_line(self, stop: CruiseStop) -> str:
        """Say with how many pumps a stop was reckoned.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        Such as ``1 gasoline and 1 diesel pump at one place, one boat at a time, 60 l/min; NOBODY SAID how many``.
        """
        wanted = [fuel for fuel in FUELS if stop.pumps.get(fuel, 0) and stop.total_l.get(fuel, 0) > 0]
        pumps = listed([counted(stop.pumps[fuel], f"{fuel} pump") for fuel in wanted])
        shared = ", one berth for both: one boat at a time" if stop.shared and len(wanted) > 1 else ""
        rate = f"{stop.pump_lpm:g} l/min"
        if self.units.gallon is not None:
            rate += f" ({self.volume(stop.pump_lpm)}/min)"
        known = "" if stop.pumps_known else "; nobody said how many it has: ask"
        return f"{pumps}{shared}, {rate}{known}"

    def order_line(self, stop: CruiseStop) -> str:
        """Say how good the order at the pump is, and what letting the thirstiest first would cost.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        One or two sentences without the last stop; empty where one boat fills.
        """
        if len(stop.boats) < 2:
            return ""
        said = "No order gets the group away sooner: proven"
        if stop.order != "proven":
            most = f"{minutes_up(stop.gap_min)} min sooner at the most"
            said = f"The best order found; another could get the group away {most}"
        if tuple(turn.boat for turn in stop.boats) == stop.thirstiest:
            return f"{said}. The thirstiest is first already"
        later = stop.thirstiest_later_min
        if later is None:
            return f"{said}. Thirstiest first, the dock would shut before all have filled: {listed(stop.thirstiest)}"
        cost = f"{minutes_up(later)} min later" if later >= _SOON_MIN else "no later"
        return f"{said}. Thirstiest first, the group gets away {cost}: {listed(stop.thirstiest)}"

    def closes_line(self, stop: CruiseStop) -> str:
        """Say how much time is in hand before a dock closes.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        Such as ``closes 19:00, 5 h 51 min after the last boat``; that it isn't known where nobody said the hours.
        """
        if stop.closes is None or stop.closes_after_min is None:
            return "closing time not known" if stop.hours is None else "doesn't close that day"
        left_min = minutes_down(stop.closes_after_min)
        closes = f"closes {self.when(stop.closes, stop.arrive)}"
        if left_min < 0:
            return f"{closes}, {-left_min} min BEFORE the last boat has filled"
        return f"{closes}, {shown_duration(left_min / 60)} after the last boat"

    def closed_lines(self, stop: CruiseStop) -> list[str]:
        """Say where each boat goes if a dock is closed.

        Parameters
        ----------
        stop
            The stop.

        Returns
        -------
        A line a place, the one that most go to first, with the boat that gets there with least; then who finds none.
        """
        goes: dict[str, list[tuple[float, str]]] = {}
        shut: dict[str, str] = {}
        nowhere: list[str] = []
        for turn in stop.boats:
            own = self.own_stop(turn, stop)
            if own is not None and own.alternate is not None:
                goes.setdefault(own.alternate.name, []).append((own.alternate.left_l, turn.boat))
                if own.alternate.wait_h * 60 >= _SOON_MIN:
                    shut[own.alternate.name] = f"; shut till {self.day_and_clock(own.alternate.begin)}"
            elif own is not None:
                nowhere.append(turn.boat)
        lines = []
        for name, who in sorted(goes.items(), key=lambda item: (item[0] != stop.alternate, -len(item[1]))):
            left_l, boat = min(who, key=lambda one: one[0] - self.floor_l(one[1]))
            whole = len(who) == len(stop.boats)
            all_of_them = "all" if whole else listed([b for _, b in who])
            tightest = f"{all_of_them}; tightest {boat}" if len(who) > 1 else boat
            lines.append(f"{name}: {tightest}, {self.left(left_l, boat)}{shut.get(name, '')}")
        if nowhere:
            lines.append(f"NOWHERE in reach: {listed(nowhere)}")
        return lines or [stop.alternate or "nowhere in reach"]

    def own_stop(self, turn: AtPump, stop: CruiseStop) -> Stop | None:
        """Find a boat's own stop behind her turn.

        Parameters
        ----------
        turn
            Her turn.
        stop
            The group's stop.

        Returns
        -------
        The one of her plan; None where it has none there.
        """
        plans = [boat.plan for boat in self.plan.boats if boat.boat == turn.boat]
        found = [own for plan in plans for own in plan.stops if own.dock == stop.dock]
        return min(found, key=lambda own: abs(own.begin - turn.begin), default=None)

    def how_to_call(self, stop: CruiseStop) -> str:
        """Say how to call a dock.

        Parameters
        ----------
        stop
            A stop there.

        Returns
        -------
        Its channel and number, or that none is known.
        """
        return ", ".join(shown_calls(stop.vhf, stop.phone)) or "no VHF channel or phone number known"


def counted(number: int, what: str) -> str:
    """Count things.

    Parameters
    ----------
    number
        How many.
    what
        One of them.

    Returns
    -------
    Such as ``1 boat`` or ``6 boats``.
    """
    return f"{number} {what}{'' if number == 1 else 's'}"


def listed(names: Sequence[str]) -> str:
    """List names as a sentence does.

    Parameters
    ----------
    names
        In order.

    Returns
    -------
    Such as ``A, B and C``.

    Examples
    --------
    >>> listed(["A", "B", "C"]), listed(["A"]), listed([])
    ('A, B and C', 'A', '')
    """
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def minutes_up(minutes: float) -> int:
    """[min] Round up: time that may be lost.

    Parameters
    ----------
    minutes
        [min] The time.

    Returns
    -------
    Whole minutes.
    """
    return math.ceil(minutes - _FORGIVEN_MIN)


def minutes_down(minutes: float) -> int:
    """[min] Round down: time in hand.

    Parameters
    ----------
    minutes
        [min] The time.

    Returns
    -------
    Whole minutes.
    """
    return math.floor(minutes + _FORGIVEN_MIN)
