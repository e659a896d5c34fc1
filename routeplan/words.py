"""Times, places and figures as a plan says them on a screen, a map or a sheet."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from routeplan.gate_waits import DAYLIGHT, SLACK
from routeplan.units_shown import shown_distance, shown_duration, shown_money, shown_speed

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.plans import Leg, Passed, Wait

__all__ = [
    "Words",
    "compass",
    "course",
    "runs_in_current",
    "shown_calls",
    "shown_current",
    "shown_nearness",
    "waits_for_light",
    "waits_for_slack",
]

_ROUNDING_L = 1e-3  # [l] a plan that just keeps the reserve isn't told to touch it
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")

_ON_THE_TRACK_NMI = 0.05  # [nmi] a mark passed nearer than this has to be steered round
_SHOWN_KN = 0.05  # [kn] a weaker current would be shown as 0.0
_NIGHT_H = 5.0  # [h] who waits longer for light spends the night there


class Words:
    """Says things in one boat's units and one region's time and currency.

    Parameters
    ----------
    boat
        Its display units.
    zone
        The region's time zone.
    currency
        The region's currency.
    """

    def __init__(self, boat: Boat, zone: ZoneInfo, currency: str) -> None:
        self.boat = boat
        self.units = boat.units
        self.zone = zone
        self.currency = currency

    def clock(self, moment: datetime) -> str:
        """Say a time of day, to the minute.

        Parameters
        ----------
        moment
            Zone-aware.

        Returns
        -------
        Such as ``14:05``, local; with its offset where the clocks show that time twice.
        """
        local = moment.astimezone(self.zone)
        twice = local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()
        offset = f" (UTC{local:%z})" if twice else ""
        return f"{local:%H:%M}{offset}"

    def day_and_clock(self, moment: datetime) -> str:
        """Say a day and a time.

        Parameters
        ----------
        moment
            Zone-aware.

        Returns
        -------
        Such as ``Wed 1 Jul 14:05``, local; English whatever the machine speaks.
        """
        local = moment.astimezone(self.zone)
        return f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]} {self.clock(moment)}"

    def when(self, moment: datetime, since: datetime) -> str:
        """Say a time, with its day where that is another than before.

        Parameters
        ----------
        moment, since
            Zone-aware.

        Returns
        -------
        Such as ``14:05``, or ``Thu 07:00``, or ``Thu 9 Jul 07:00`` where that is days away.
        """
        if self.same_day(moment, since):
            return self.clock(moment)
        if moment - since > timedelta(days=5):
            return self.day_and_clock(moment)
        return f"{_DAYS[moment.astimezone(self.zone).weekday()]} {self.clock(moment)}"

    def year(self, moment: datetime) -> int:
        """Tell a moment's year.

        Parameters
        ----------
        moment
            Zone-aware.

        Returns
        -------
        The year, local.
        """
        return moment.astimezone(self.zone).year

    def same_day(self, moment: datetime, other: datetime) -> bool:
        """Tell whether two moments fall on one day of the region.

        Parameters
        ----------
        moment, other
            Zone-aware.

        Returns
        -------
        True where their local dates are equal.
        """
        return moment.astimezone(self.zone).date() == other.astimezone(self.zone).date()

    def left(self, low_l: float) -> str:
        """Say what would be left somewhere at the low figure, and how much of the reserve that takes.

        Parameters
        ----------
        low_l
            [l] Low figure.

        Returns
        -------
        Such as ``8.1 gal left (low), 4.5 gal into the reserve, 5.1 gal of it usable``.
        """
        into_l = self.boat.floor_l - low_l
        into = ""
        if into_l > _ROUNDING_L:
            usable_l = max(low_l - self.boat.tank.unusable_l, 0.0)
            into = f", {self.units.volume_up(into_l)} into the reserve, {self.units.volume_down(usable_l)} of it usable"
        return f"{self.units.volume_down(low_l)} left (low){into}"

    def money(self, amount: float | None) -> str:
        """Say an amount.

        Parameters
        ----------
        amount
            [currency] None where it isn't known.

        Returns
        -------
        The amount, or that the price is not known.
        """
        return "price not known" if amount is None else shown_money(amount, self.currency)

    def aboard(self, mean_l: float, low_l: float) -> str:
        """Say fuel aboard as mean and low figure.

        Parameters
        ----------
        mean_l, low_l
            [l] Both.

        Returns
        -------
        Such as ``53.5 gal, low 50.4 gal``.
        """
        return f"{self.units.volume_down(mean_l)}, low {self.units.volume_down(low_l)}"

    def leg_lines(self, leg: Leg) -> list[str]:
        """Say a leg.

        Parameters
        ----------
        leg
            The leg.

        Returns
        -------
        Lines: course and speed, the current where one runs, times, fuel, what to heed.
        """
        run = f"{shown_distance(leg.distance_nmi)} at {shown_speed(leg.speed_kn)}"
        steers = [f"Steer {course(leg.course_deg)} true, {run}"]
        if runs_in_current(leg) and leg.steer_deg is not None:
            track = f"to keep the track of {course(leg.course_deg)}"
            steers = [f"Steer {course(leg.steer_deg)} true {track}, {run}", f"The current {shown_current(leg)}"]
        lines = [
            *steers,
            f"{self.clock(leg.depart)} to {self.clock(leg.arrive)}",
            (
                f"Burns {self.units.volume_up(leg.fuel_l)}, "
                f"leaves {self.aboard(leg.aboard_after_l, leg.aboard_after_low_l)}"
            ),
        ]
        if not leg.depth_checked:
            lines.append("Depth not checked")
        lines += [f"{self.clock(passed.at)} {self.passed(passed)}" for passed in leg.passes]
        return lines + [f"Heed: {caution}" for caution in leg.cautions]

    def passed(self, passed: Passed) -> str:
        """Say what a leg passes.

        Parameters
        ----------
        passed
            The waypoint.

        Returns
        -------
        Such as ``Gull Mark 0.3 nmi to port``.
        """
        if passed.abeam_nmi < _ON_THE_TRACK_NMI:
            return f"{passed.name} on the track: keep clear of it"
        return f"{passed.name} {shown_distance(passed.abeam_nmi)} to {passed.side}"

    def wait_line(self, wait: Wait) -> str:
        """Say a wait for a bridge or lock, for slack water, for light, or for the others.

        Parameters
        ----------
        wait
            The wait.

        Returns
        -------
        One line.
        """
        until, long = self.day_and_clock(wait.until), shown_duration(wait.wait_h)
        if not wait.gate:
            return f"Lie at or close to {wait.at} for {long}, until {until}: the group leaves then"
        if waits_for_light(wait) and wait.wait_h > _NIGHT_H:
            return f"Night at {wait.at}, {long}: leave {until}"
        if waits_for_light(wait) or waits_for_slack(wait):
            return f"Wait {long} at {wait.at} for {wait.gate}, until {until}"
        return f"Lie at {wait.at} for {long}, until {until}: {wait.gate} is shut before"

    def dock_lines(self, dock: Dock, unreached: str = "") -> list[str]:
        """Say what is known of a dock.

        Parameters
        ----------
        dock
            The dock.
        unreached
            Why it can't be reached from navigable water; empty where it can.

        Returns
        -------
        Lines: whether it suits, hours, fuel and price, depth and length, how to call, how stale.
        """
        facts = dock.facts
        lines = ["Suits" if dock.suits else f"Doesn't suit: {'; '.join(dock.why_not)}"]
        if dock.suits and unreached:
            lines = [f"Would suit, but is out of reach: {unreached}"]
        lines.append(f"Hours: {facts['opening_hours']}" if "opening_hours" in facts else "Hours not known")
        lines.append(f"Sells {str(facts['fuels']).replace(',', ' and ')}")
        if dock.price_per_l is not None:
            price = self.units.price(dock.price_per_l, self.currency)
            lines[-1] += f" at {price}" if facts["fuels"] == self.boat.fuel else f", {self.boat.fuel} at {price}"
        if "largest_sale_l" in facts:
            lines.append(f"Sells {self.units.volume(facts['largest_sale_l'])} at the most")
        berth = [f"depth {self.units.depth(facts['depth_m'])}"] if "depth_m" in facts else []
        berth += [f"boats up to {self.units.length(facts['max_length_m'])}"] if "max_length_m" in facts else []
        if berth:
            lines.append(", ".join(berth).capitalize())
        calls = shown_calls(facts.get("vhf"), facts.get("phone"))
        if calls:
            lines.append("; ".join(calls))
        lines.append(f"Confirmed {facts['confirmed_on']}" if "confirmed_on" in facts else "Never confirmed")
        if "note" in facts:
            lines.append(str(facts["note"]))
        return lines + [f"Heed: {caution}" for caution in dock.cautions]


def course(course_deg: float) -> str:
    """Say a course in three figures.

    Parameters
    ----------
    course_deg
        [deg] True.

    Returns
    -------
    Such as ``007``; never ``360``.
    """
    return f"{round(course_deg) % 360:03d}"


def runs_in_current(leg: Leg) -> bool:
    """Tell whether a leg runs in a current that is worth telling.

    Parameters
    ----------
    leg
        The leg.

    Returns
    -------
    False where no current is known, or it would be shown as 0.0 kn.
    """
    return leg.drift_kn is not None and leg.set_deg is not None and leg.drift_kn >= _SHOWN_KN


def shown_current(leg: Leg) -> str:
    """Say the current on a leg, and what it makes of the speed.

    Parameters
    ----------
    leg
        One that runs in a current.

    Returns
    -------
    Such as ``sets 185 at 2.6 kn: 28.4 kn over the ground``, true; a tenth is always told.
    """
    if leg.set_deg is None or leg.drift_kn is None:
        return ""
    ground = "" if leg.ground_kn is None else f": {leg.ground_kn:.1f} kn over the ground"
    return f"sets {course(leg.set_deg)} at {leg.drift_kn:.1f} kn{ground}"


def waits_for_slack(wait: Wait) -> bool:
    """Tell whether a wait is for a current that is too strong.

    Parameters
    ----------
    wait
        The wait.

    Returns
    -------
    True for slack water.
    """
    return wait.gate.startswith(SLACK)


def waits_for_light(wait: Wait) -> bool:
    """Tell whether a wait is for daylight.

    Parameters
    ----------
    wait
        The wait.

    Returns
    -------
    True for a night, or for a while before sunrise.
    """
    return wait.gate == DAYLIGHT


def compass(course_deg: float) -> str:
    """Name a direction by the nearest of eight winds.

    Parameters
    ----------
    course_deg
        [deg] True course.

    Returns
    -------
    Such as ``south-east``.

    Examples
    --------
    >>> compass(110.0), compass(359.0), compass(-40.0)
    ('east', 'north', 'north-west')
    """
    return _WINDS[round(course_deg / 45) % 8]


def shown_nearness(distance_nmi: float) -> str:
    """Say how much further a place lies.

    Parameters
    ----------
    distance_nmi
        [nmi] Over water.

    Returns
    -------
    Such as ``3.2 nmi on``, or ``close by`` where a tenth would round to nothing.
    """
    return "close by" if distance_nmi < 0.05 else f"{shown_distance(distance_nmi)} on"


def shown_calls(vhf: object, phone: object) -> list[str]:
    """Say how to call a place.

    Parameters
    ----------
    vhf, phone
        As the docks layer says; None where it doesn't.

    Returns
    -------
    What there is of both.
    """
    return [*([f"VHF {vhf}"] if vhf else []), *([f"phone {phone}"] if phone else [])]
