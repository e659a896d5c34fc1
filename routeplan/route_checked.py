"""The values that `route check --json` prints: what a given route meets, leg by leg, and how its fuel comes out."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from routeplan.plans import Plan, Refusal, When

__all__ = ["CheckedLeg", "FuelPoint", "Hit", "HitKind", "LedRound", "RouteCheck"]

HitKind = Literal[
    "land", "outside", "no-entry", "low bridge", "shoal", "hazard", "unsurveyed", "stand-off", "gate", "approach"
]
Position = tuple[float, float]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class Hit(_Value):
    """What a leg meets on one stretch of it.

    Parameters
    ----------
    kind
        What it is. `gate`: a bridge or lock that has to open. `approach`: the last stretch to a berth, which may cross
        what legs may not.
    stops
        Whether the route can't be run as it stands for it.
    begins_nmi, ends_nmi
        [nmi] From the leg's beginning; the same where it is met at a point.
    position
        [deg] Longitude and latitude where it begins.
    worst_position
        [deg] Where it is worst: shallowest, or nearest to what is to be kept off.
    name
        Of the zone, bridge, hazard or gate; empty where it has none.
    depth_m
        [m] Least charted depth; None where it isn't about depth, or unknown.
    needed_m
        [m] What is needed: depth, clearance or distance to be kept; None where nothing is measured.
    found_m
        [m] Clearance, or distance kept; None where nothing is measured.
    why
        What else is known of it; empty where nothing is.
    on_rhumb
        Whether it is met on the rhumb line between the leg's ends only, not on the great circle.
    """

    kind: HitKind
    stops: bool
    begins_nmi: float
    ends_nmi: float
    position: Position
    worst_position: Position
    name: str = ""
    depth_m: float | None = None
    needed_m: float | None = None
    found_m: float | None = None
    why: str = ""
    on_rhumb: bool = False


class CheckedLeg(_Value):
    """One leg of the route as it stands.

    Parameters
    ----------
    from_
        Name of the point where it begins.
    from_position
        [deg] Longitude and latitude there.
    to
        Name of the point where it ends.
    to_position
        [deg] Longitude and latitude there.
    distance_nmi
        [nmi] Geodesic length.
    course_deg
        [deg] True initial course.
    speed_kn
        [kn] Mean speed: limits on the way are kept.
    depart, arrive
        Times at both ends.
    fuel_l
        [l] Mean burn.
    aboard_after_l, aboard_after_low_l
        [l] Fuel aboard at its end, mean and low figure; the mean never below nothing.
    rhumb_off_m
        [m] How far the rhumb line between its ends lies from the great circle at the most.
    limits
        Speed limits on it, in words.
    cautions
        What else to heed on it.
    hits
        What it meets, in order.
    """

    from_: str = Field(alias="from")
    from_position: Position
    to: str
    to_position: Position
    distance_nmi: float
    course_deg: float
    speed_kn: float
    depart: When
    arrive: When
    fuel_l: float
    aboard_after_l: float
    aboard_after_low_l: float
    rhumb_off_m: float
    limits: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    hits: tuple[Hit, ...] = ()


class FuelPoint(_Value):
    """Where on a route the fuel comes down to a level.

    Parameters
    ----------
    leg
        Number of the leg, from 1.
    gone_nmi
        [nmi] From the route's beginning.
    after_nmi
        [nmi] From the leg's beginning.
    position
        [deg] Longitude and latitude.
    at
        When.
    """

    leg: Annotated[int, Field(ge=1)]
    gone_nmi: float
    after_nmi: float
    position: Position
    at: When


class LedRound(_Value):
    """A leg that the plan runs otherwise than the route does.

    Parameters
    ----------
    leg
        Number of the route's leg, from 1.
    from_, to
        Names of its ends.
    why
        What stands in its way, by kind; empty where the plan leaves it for a stop, or for a point that it passes by.
    stops
        Docks that the plan calls at between its ends, or those of the legs beside it that are led round with it.
    """

    leg: Annotated[int, Field(ge=1)]
    from_: str = Field(alias="from")
    to: str
    why: tuple[HitKind, ...]
    stops: tuple[str, ...] = ()


class RouteCheck(_Value):
    """A route as it stands, and with stops.

    Parameters
    ----------
    route
        Its name.
    boat
        Her name.
    points
        How many points were checked.
    left_out
        How many points of the file were left out as they lie within 25 m of a straight line.
    can_be_run
        Whether nothing on it stops the boat.
    keeps_reserve
        Whether the low figure at its end is at or above the floor.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] Of the route as it stands, without any stop.
    depart, arrive
        Both ends.
    speed_kn
        [kn] Chosen speed.
    aboard_l
        [l] Fuel aboard at its beginning, mean.
    arrival_l, arrival_low_l
        [l] Fuel aboard at its end, mean and low figure; both below nothing where it runs out before.
    floor_l
        [l] Unusable fuel and reserve together.
    reserve_touched
        Where the low figure comes down to the floor; None where it doesn't.
    may_run_dry
        Where the low figure comes down to the unusable fuel; None where it doesn't.
    legs
        In order.
    plan
        The same points with refuel stops, bad legs led round; None where none was looked for or found.
    refused
        Why there is no such plan; None where there is one, or none was looked for.
    no_plan
        Why none could be looked for: an end of the route that can't be joined to water; empty where one could be.
    led_round
        Legs of the route that the plan doesn't run as they stand.
    passed_over
        Points that the plan doesn't pass, each with the reason.
    notes
        What was left out or assumed, in sentences.
    cautions
        What holds for all of it, the safety cautions first.
    """

    route: str
    boat: str
    points: int
    left_out: int
    can_be_run: bool
    keeps_reserve: bool
    distance_nmi: float
    time_h: float
    fuel_l: float
    depart: When
    arrive: When
    speed_kn: float
    aboard_l: float
    arrival_l: float
    arrival_low_l: float
    floor_l: float
    reserve_touched: FuelPoint | None
    may_run_dry: FuelPoint | None
    legs: tuple[CheckedLeg, ...]
    plan: Plan | None = None
    refused: Refusal | None = None
    no_plan: str = ""
    led_round: tuple[LedRound, ...] = ()
    passed_over: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Whether it can be run as it stands and keeps the rules."""
        return self.can_be_run and self.keeps_reserve
