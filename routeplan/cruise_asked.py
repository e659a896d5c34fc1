"""What the organiser of a group cruise asks for: where to, when, with which boats, how."""

from __future__ import annotations

import re
from datetime import time
from typing import Annotated, Literal, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from layers.errors import InputError
from routeplan.boats import Boat
from routeplan.fuel import CONFIDENCE_HIGH, CONFIDENCE_LOW, FuelAboard
from routeplan.trips import LONGEST_BERTHING_H, ClosedDockRule

__all__ = ["MOST_BOATS", "MOST_VISITS", "CruiseAsked", "CruiseBoat", "DockTold", "Pace", "Visit", "name_key"]

Pace = Literal["together", "own"]
MOST_BOATS = 60  # a club's fleet; beyond it the order at a pump is all that there is to plan
MOST_VISITS = 30  # places of one cruise
LONGEST_STAY_H = 24.0 * 14  # [h] who lies for longer plans two cruises
_BLANKS = re.compile(r"\s+")


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class CruiseBoat(_Value):
    """One boat of a cruise.

    Parameters
    ----------
    name
        What she is called on this cruise; no two alike.
    boat
        Her file, with the burn that her log has taught where one was given; its name is `name`.
    aboard
        Fuel aboard at the departure.
    file
        Where her file is.
    contact
        Whom to call about her: a telephone number, a VHF channel, a name; empty where none was given.
    people
        Persons aboard; None where nobody said.
    """

    name: str
    boat: Boat
    aboard: FuelAboard
    file: str
    contact: str = ""
    people: Annotated[int, Field(ge=1, le=100)] | None = None


class Visit(_Value):
    """A place where the group gathers: the start, those on the way, the end.

    Parameters
    ----------
    place
        Name of a dock or waypoint, or a position.
    stay_h
        [h] How long the group stays once everyone is there, besides the time for gathering.
    leave
        When it leaves at the earliest: a moment, or a time of day, on the day of arriving or, after a night, on the
        next. None: as soon as everyone is there and gathered.
    night
        Whether it spends the night: then it leaves on the next day, at `leave` or at the time of day at which the
        cruise began.
    """

    place: str
    stay_h: Annotated[float, Field(ge=0, le=LONGEST_STAY_H)] = 0.0
    leave: AwareDatetime | time | None = None
    night: bool = False


class DockTold(_Value):
    """What the organiser learnt of a dock by calling it: it goes before the region's layer.

    Parameters
    ----------
    name
        Its name in the docks layer.
    closed
        Whether it is closed during the cruise.
    gasoline_pumps, diesel_pumps
        How many boats can fill with each at once, 0 where it has run out of it; None where nobody said.
    pump_lpm
        [l/min] Rate of one pump; None takes the layer's.
    """

    name: str
    closed: bool = False
    gasoline_pumps: Annotated[int, Field(ge=0, le=50)] | None = None
    diesel_pumps: Annotated[int, Field(ge=0, le=50)] | None = None
    pump_lpm: Annotated[float, Field(gt=0, le=1000)] | None = None


class CruiseAsked(_Value):
    """A cruise to be planned.

    Parameters
    ----------
    name
        What it is called; may be empty.
    depart
        When the group leaves the first place.
    visits
        Where it gathers, in order: two at the least, the first is the start.
    boats
        Its boats.
    pace
        `together`: all at one speed that each of them can hold. `own`: each at her own, gathering at every visit.
    speed_kn
        [kn] The common speed; None takes the fastest that all can hold and none has to be driven beyond her cruising
        speed for. Only with `together`.
    gather_h
        [h] From when the last boat is there until the group leaves a visit or, together, a fuel stop.
    confidence
        Share of arrivals that keep the whole reserve, for each boat by herself.
    berthing_h
        [h] Coming alongside, paying and leaving, for each boat at a pump.
    longest_wait_h
        [h] The longest that a boat is to wait for her turn at a pump, if some docks do for that.
    closed_dock
        The closed-dock rule, as in a trip.
    known_docks_only, confirmed_docks_only
        As in a trip.
    daylight
        Whether every day has to begin after sunrise and end before sunset (common practice: floats and logs can't be
        seen in the dark at planing speed).
    docks
        What the organiser learnt by calling.
    leave_behind
        Whether boats that can't come are left out and the rest is planned.
    """

    name: str = ""
    depart: AwareDatetime
    visits: Annotated[tuple[Visit, ...], Field(min_length=2, max_length=MOST_VISITS)]
    boats: Annotated[tuple[CruiseBoat, ...], Field(min_length=1, max_length=MOST_BOATS)]
    pace: Pace = "together"
    speed_kn: Annotated[float, Field(gt=0)] | None = None
    gather_h: Annotated[float, Field(ge=0, le=12)] = 0.25
    confidence: Annotated[float, Field(ge=CONFIDENCE_LOW, le=CONFIDENCE_HIGH)] = 0.9
    berthing_h: Annotated[float, Field(ge=0, le=LONGEST_BERTHING_H)] = 0.25
    longest_wait_h: Annotated[float, Field(ge=0, le=24)] = 2.0
    closed_dock: ClosedDockRule = "on"
    known_docks_only: bool = False
    confirmed_docks_only: bool = False
    daylight: bool = True
    docks: tuple[DockTold, ...] = ()
    leave_behind: bool = False

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        seen: dict[str, str] = {}
        for boat in self.boats:
            key = name_key(boat.name)
            if key in seen:
                raise InputError(
                    "[[boat]]",
                    "two boats have one name, and a plan has to say whose it is",
                    value=boat.name,
                    remedy='give one of them another: name = "..."',
                )
            seen[key] = boat.name
        if self.pace == "own" and self.speed_kn is not None:
            raise InputError(
                "speed_kn",
                'is the common speed, and with pace = "own" each boat keeps her own',
                value=f"{self.speed_kn:g} kn",
                remedy='leave it out, or write pace = "together"',
            )
        return self


def name_key(name: str) -> str:
    """Fold a name, so that two that a radio or a file system can't tell apart are one.

    Parameters
    ----------
    name
        A boat's or dock's name.

    Returns
    -------
    Without case, blanks as one.

    Examples
    --------
    >>> name_key("Half  Promise ") == name_key("half promise")
    True
    """
    return _BLANKS.sub(" ", name.strip()).casefold()
