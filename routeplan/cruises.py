"""Group cruises as they are told: days, stops, queues, boats, who limits each leg. The shape of `cruise --json`."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from layers.errors import RouteplanError
from routeplan.plans import Plan, When

__all__ = [
    "AtPump",
    "BoatPlan",
    "Buddy",
    "CruiseDay",
    "CruiseLeg",
    "CruisePlan",
    "CruiseRefusal",
    "CruiseStop",
    "Fuel",
    "LeftBehind",
    "LegLimit",
    "NoCruiseError",
    "OneDockMore",
]

Fuel = Literal["gasoline", "diesel"]
Position = tuple[float, float]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class AtPump(_Value):
    """One boat's turn at a pump.

    Parameters
    ----------
    boat
        Her name.
    fuel
        What she takes.
    pump
        Which of the pumps with that fuel, from 1.
    arrive
        When she is there.
    come
        Before which she need not be there: her turn, so as not to lie in the queue.
    begin, end
        From coming alongside to leaving the pump.
    wait_min
        [min] From arriving to her turn.
    aboard_l, aboard_low_l
        [l] Fuel aboard on arrival, mean and low figure.
    margin_low_l
        [l] That low figure above her unusable fuel and reserve: the least is the thirstiest.
    take_l
        [l] Mean volume to the full mark.
    cost
        [currency] At the dock's price; None where unknown.
    """

    boat: str
    fuel: Fuel
    pump: int
    arrive: When
    come: When
    begin: When
    end: When
    wait_min: float
    aboard_l: float
    aboard_low_l: float
    margin_low_l: float
    take_l: float
    cost: float | None


class CruiseStop(_Value):
    """One visit of the group, or of some of its boats, to a fuel dock.

    Parameters
    ----------
    number
        From 1, in the order of time.
    dock
        Name of the dock.
    position
        [deg] Longitude and latitude.
    day
        Number of the cruise's day, from 1.
    leg
        Number of the leg, from one visit to the next, on which it lies, from 1.
    arrive, depart
        When the first boat is there, and the last one leaves the pump.
    boats
        Turns, in the order of time.
    total_l
        [l] To be taken in all, by fuel: both keys always.
    cost
        [currency] Of all; None where a price is unknown.
    pumps
        Pumps by fuel that were reckoned with: both keys always, 0 where it isn't sold.
    pumps_known
        Whether somebody said how many there are.
    shared
        Whether both fuels are sold from one place, where one boat lies at a time.
    pump_lpm
        [l/min] Rate reckoned with.
    order
        `proven` where no order gets the group away sooner, else `best found`.
    gap_min
        [min] By how much the best order could get the group away sooner at the most; 0 where proven.
    thirstiest
        The order in which the boat with least in hand fills first.
    thirstiest_later_min
        [min] How much later that order gets the group away; None where the dock would shut before the last one.
    onward
        When the boats go on from here together, gathered; None where each goes on by herself.
    closes
        When the dock closes after the first arrival; None where it doesn't, or nobody knows.
    closes_after_min
        [min] From the last boat's leaving the pump to that; None likewise.
    hours, vhf, phone, confirmed_on
        As the docks layer says; None where it doesn't.
    cautions
        What to know before leaning on it.
    alternate
        Where the boats go if it is closed: the place that most of them would go to; None where no boat would find one.
    """

    number: int
    dock: str
    position: Position
    day: int
    leg: int
    arrive: When
    depart: When
    boats: tuple[AtPump, ...]
    total_l: dict[Fuel, float]
    cost: float | None
    pumps: dict[Fuel, int]
    pumps_known: bool
    shared: bool
    pump_lpm: float
    order: Literal["proven", "best found"]
    gap_min: float
    thirstiest: tuple[str, ...]
    thirstiest_later_min: float | None
    onward: When | None
    closes: When | None
    closes_after_min: float | None
    hours: str | None
    vhf: str | None
    phone: str | None
    confirmed_on: str | None
    cautions: tuple[str, ...]
    alternate: str | None


class CruiseLeg(_Value):
    """From one visit to the next.

    Parameters
    ----------
    number
        From 1.
    day
        Number of the day, from 1.
    from_, to
        Names of the visits.
    depart
        When the group leaves.
    first_in, last_in
        When the first and the last boat are at the next visit.
    distance_nmi
        [nmi] The longest way that a boat of the group makes, stops for fuel among them.
    speeds_kn
        [kn] Least and greatest chosen speed.
    """

    number: int
    day: int
    from_: str = Field(alias="from")
    to: str
    depart: When
    first_in: When
    last_in: When
    distance_nmi: float
    speeds_kn: tuple[float, float]


class CruiseDay(_Value):
    """One day of the cruise.

    Parameters
    ----------
    number
        From 1.
    date
        Local date, such as 2026-07-04.
    from_, to
        Where it begins and ends.
    depart, arrive
        When the group leaves in the morning, and the last boat is in.
    sunrise, sunset
        Where the day begins, and where it ends; None where the sun doesn't rise or set.
    light_left_min
        [min] From the last boat's arrival to sunset; negative after it; None where there is none.
    """

    number: int
    date: str
    from_: str = Field(alias="from")
    to: str
    depart: When
    arrive: When
    sunrise: When | None
    sunset: When | None
    light_left_min: float | None


class Buddy(_Value):
    """A boat that could reach another one on a leg, with the fuel both have.

    Parameters
    ----------
    boat
        Who would come.
    to
        To whom.
    most_min
        [min] The longest it would take anywhere on the leg, at the helper's cruising speed.
    most_nmi
        [nmi] How far apart they are at the most, over the water.
    """

    boat: str
    to: str
    most_min: float
    most_nmi: float


class LegLimit(_Value):
    """Who has least in hand on a leg.

    Parameters
    ----------
    leg
        Such as ``Tolvarrow to Callowhythe``.
    number
        Of the leg, from 1.
    boat
        Her name.
    at
        Where her low figure is least above the floor: a fuel dock, or the next visit.
    margin_low_l
        [l] Low figure there above her unusable fuel and reserve.
    margin_nmi
        [nmi] How much further that would carry her at her planned speed.
    help
        What would help her, in words, the smallest change first.
    buddies
        Who could come to her on the leg, the soonest first.
    """

    leg: str
    number: int
    boat: str
    at: str
    margin_low_l: float
    margin_nmi: float
    help: tuple[str, ...]
    buddies: tuple[Buddy, ...]


class BoatPlan(_Value):
    """One boat's own plan.

    Parameters
    ----------
    boat
        Her name.
    fuel
        What she burns.
    party
        Which boats go the same way: boats with one number have one track; from 1.
    why_apart
        Why she goes another way than party 1; empty where she doesn't.
    delay_h
        [h] What fuelling costs her: detours, waiting and time at the pump.
    queue_min
        [min] Of that, waiting for her turn, over the whole cruise.
    plan
        As `passage` tells it.
    """

    boat: str
    fuel: Fuel
    party: int
    why_apart: str
    delay_h: float
    queue_min: float
    plan: Plan


class OneDockMore(_Value):
    """What one dock more than the fewest would buy.

    Parameters
    ----------
    docks
        Names of the docks then.
    sooner_h
        [h] How much sooner the whole cruise ends; 0 where it ends no sooner.
    delay_less_h
        [h] By how much the delay of all boats together is less.
    """

    docks: tuple[str, ...]
    sooner_h: float
    delay_less_h: float


class LeftBehind(_Value):
    """A boat that can't come.

    Parameters
    ----------
    boat
        Her name.
    from_, to
        Ends of the leg that she can't make.
    distance_nmi
        [nmi] Of that leg; None where there is no way for her.
    short_l
        [l] How far its arrival would lie under her floor; None where fuel isn't the reason.
    why
        In words.
    try_
        Changes that would help, the smallest first.
    """

    boat: str
    from_: str = Field(alias="from")
    to: str
    distance_nmi: float | None
    short_l: float | None
    why: str
    try_: tuple[str, ...] = Field(alias="try")


class CruisePlan(_Value):
    """A cruise planned.

    Parameters
    ----------
    name
        What it is called; may be empty.
    pace
        `together` or `own`.
    speed_kn
        [kn] The common speed; None with `own`.
    depart, arrive
        When the group leaves, and when the last boat is at the end.
    days, legs, stops
        In order of time.
    boats
        In the order of the file.
    limits
        One a leg.
    docks
        Names of the docks that are used, in the order of their first use.
    one_set
        Whether all boats go one way and stop at the same places.
    docks_proven
        Whether fewer docks were shown not to do.
    fewest_docks
        The least number of docks that was shown to be needed.
    delay_h
        [h] Of all boats together.
    delay_gap_h
        [h] By how much the least delay with so many docks could be less at the most; 0 where proven.
    queue_min
        [min] The longest that a boat waits at one stop.
    cost
        [currency] Of all fuel; None where a price is unknown.
    one_dock_more
        What one dock more would buy; None where nothing, or where it wasn't looked for.
    left_behind
        Boats that can't come, where the rest was planned.
    cautions
        What to heed, the safety cautions first.
    """

    name: str
    pace: Literal["together", "own"]
    speed_kn: float | None
    depart: When
    arrive: When
    days: tuple[CruiseDay, ...]
    legs: tuple[CruiseLeg, ...]
    stops: tuple[CruiseStop, ...]
    boats: tuple[BoatPlan, ...]
    limits: tuple[LegLimit, ...]
    docks: tuple[str, ...]
    one_set: bool
    docks_proven: bool
    fewest_docks: int
    delay_h: float
    delay_gap_h: float
    queue_min: float
    cost: float | None
    one_dock_more: OneDockMore | None
    left_behind: tuple[LeftBehind, ...]
    cautions: tuple[str, ...]


class CruiseRefusal(_Value):
    """Why there is no cruise.

    Parameters
    ----------
    why
        In words.
    boats
        Boats that can't come, each with her leg and shortfall; empty where the day is the reason.
    try_
        Changes that would help.
    """

    why: str
    boats: tuple[LeftBehind, ...] = ()
    try_: tuple[str, ...] = Field(default=(), alias="try")


class NoCruiseError(RouteplanError):
    """No plan for the group keeps the rules.

    Parameters
    ----------
    refusal
        Who or what stands against it.
    cautions
        What was found on the way to the answer.
    """

    def __init__(self, refusal: CruiseRefusal, cautions: tuple[str, ...] = ()) -> None:
        self.refusal = refusal
        self.cautions = cautions
        super().__init__(refusal, cautions)

    def __str__(self) -> str:
        """Return the answer in one line."""
        ideas = f" Try: {'; '.join(self.refusal.try_)}." if self.refusal.try_ else ""
        return f"no cruise keeps the rules: {self.refusal.why}{ideas}"
