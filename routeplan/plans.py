"""Plans as they are told: legs, stops, figures. The shape of `passage --json`."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

from layers.errors import RouteplanError
from routeplan.trips import ClosedDockRule

__all__ = [
    "Alternate",
    "Instead",
    "Leg",
    "NoPassageError",
    "Passed",
    "Plan",
    "PlanName",
    "Refusal",
    "SlowerRun",
    "Stop",
    "StreamMet",
    "TurnTold",
    "Wait",
    "When",
]

PlanName = Literal[
    "soonest",
    "cheapest",
    "fewest-stops",
    "most-margin",
    "known-docks",
    "enough",
    "best",
    "in-between",
    "with-the-group",
]
Position = tuple[float, float]


def _zulu(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


When = Annotated[datetime, PlainSerializer(_zulu, when_used="json")]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class Alternate(_Value):
    """Where else a boat can go if a dock turns out to be closed.

    Parameters
    ----------
    name
        The dock, or the destination.
    distance_nmi
        [nmi] From the closed dock, over water.
    speed_kn
        [kn] Chosen speed that it is reached at.
    left_l
        [l] Low figure of the fuel aboard on arriving there.
    wait_h
        [h] Until it opens.
    arrive, begin, depart
        When the boat would be there, begin to fill to the mark and be ready to leave; where it sells nothing all three
        are the arrival.
    take_l
        [l] Mean volume to the full mark; None where it sells nothing that the boat burns.
    price_per_l
        [currency/l] Its price; None where unknown.
    hours
        As the docks layer says; None where it doesn't, or where no fuel is sold.
    vhf, phone
        As the docks layer says; None where it doesn't.
    confirmed_on
        Date of the last confirmation, as the docks layer says; None where it doesn't.
    cautions
        What to know before leaning on it.
    """

    name: str
    distance_nmi: float
    speed_kn: float
    left_l: float
    wait_h: float
    arrive: When
    begin: When
    depart: When
    take_l: float | None
    price_per_l: float | None
    hours: str | None
    vhf: str | None
    phone: str | None
    confirmed_on: str | None
    cautions: tuple[str, ...]


class Passed(_Value):
    """A waypoint that a leg passes close by.

    Parameters
    ----------
    name
        Its name.
    after_nmi
        [nmi] From the leg's beginning to where it is abeam.
    abeam_nmi
        [nmi] How far off it is then.
    side
        `port` or `starboard`.
    at
        When.
    """

    name: str
    after_nmi: float
    abeam_nmi: float
    side: Literal["port", "starboard"]
    at: When


class Leg(_Value):
    """One leg as steered: one course, one speed.

    Parameters
    ----------
    from_
        Name of the place or turn where it begins.
    from_position
        [deg] Longitude and latitude there.
    to
        Name of the place or turn where it ends.
    to_position
        [deg] Longitude and latitude there.
    kind
        `leg`, `approach` or `gate`.
    distance_nmi
        [nmi] Geodesic length.
    course_deg
        [deg] True initial course.
    speed_kn
        [kn] Speed through the water.
    depart, arrive
        Times at both ends.
    fuel_l
        [l] Mean burn.
    aboard_after_l, aboard_after_low_l
        [l] Fuel aboard at its end, mean and low figure.
    depth_checked
        Whether all of it lies over charted depth enough.
    cautions
        What to heed on it.
    passes
        Waypoints that it passes close by, in order.
    steer_deg
        [deg] True course to steer so that the track is kept in the current; None where no current is known.
    ground_kn
        [kn] Speed over the ground, the mean; None where no current is known.
    set_deg, drift_kn
        [deg, kn] Where the current sets to while the boat is there, and its speed, the mean; None where none is known.
    """

    from_: str = Field(alias="from")
    from_position: Position
    to: str
    to_position: Position
    kind: Literal["leg", "approach", "gate"]
    distance_nmi: float
    course_deg: float
    speed_kn: float
    depart: When
    arrive: When
    fuel_l: float
    aboard_after_l: float
    aboard_after_low_l: float
    depth_checked: bool
    cautions: tuple[str, ...] = ()
    passes: tuple[Passed, ...] = ()
    steer_deg: float | None = None
    ground_kn: float | None = None
    set_deg: float | None = None
    drift_kn: float | None = None


class Instead(_Value):
    """The best that could be done without one of a plan's docks.

    Parameters
    ----------
    stops
        Docks of the runner-up plan, in order.
    later_h
        [h] How much later it arrives; negative where earlier.
    dearer
        [currency] How much more its fuel costs; None where a price is unknown.
    margin_less_l
        [l] By how much its least margin is smaller.
    aboard_more_l
        [l] How much more it has aboard at the destination; negative where less.
    leans_on
        Those of its docks that nobody has confirmed for long, or whose hours aren't known.
    """

    stops: tuple[str, ...]
    later_h: float
    dearer: float | None
    margin_less_l: float
    aboard_more_l: float
    leans_on: tuple[str, ...]


class SlowerRun(_Value):
    """What slowing down on one hop would buy: a stop less.

    Parameters
    ----------
    from_, to
        Places at both ends of the hop.
    speed_kn
        [kn] The fastest slower speed that does it.
    skips
        The dock that needs no stop then.
    later_h
        [h] How much later the passage ends; negative where earlier.
    margin_l
        [l] Low figure above the floor on arrival at the hop's end.
    """

    from_: str = Field(alias="from")
    to: str
    speed_kn: float
    skips: str
    later_h: float
    margin_l: float


class Stop(_Value):
    """One refuel stop.

    Parameters
    ----------
    dock
        Name of the dock.
    position
        [deg] Longitude and latitude.
    arrive, begin, depart
        When the boat is there, when the fill begins, when she leaves.
    aboard_l, aboard_low_l
        [l] Fuel aboard on arrival, mean and low figure.
    take_l
        [l] Mean volume to take.
    to_mark
        Whether that fills the tank to its full mark, from which on the level is known anew.
    cost, price_per_l
        [currency, currency/l] At the dock's price; None where unknown.
    wait_h
        [h] Until it opens, or until her turn.
    alternate
        Where else to go if it is closed; None where no other place is in reach.
    keeps_closed_dock_rule
        Whether, the dock being closed, another place is in reach from which the destination is; always true of a fill
        before leaving.
    why
        Why the stop is there and what would happen without it.
    instead
        The best plan without this dock; None where there is none, or none was looked for.
    confirmed_on
        Date of the last confirmation, as the docks layer says; None where it doesn't.
    cautions
        What to know before leaning on this dock.
    hours, vhf, phone
        As the docks layer says; None where it doesn't.
    queues
        Whether the wait is for her turn at the pump, as on a group cruise.
    """

    dock: str
    position: Position
    arrive: When
    begin: When
    depart: When
    aboard_l: float
    aboard_low_l: float
    take_l: float
    to_mark: bool
    cost: float | None
    price_per_l: float | None
    wait_h: float
    alternate: Alternate | None
    keeps_closed_dock_rule: bool
    why: str
    instead: Instead | None
    confirmed_on: str | None
    cautions: tuple[str, ...]
    hours: str | None
    vhf: str | None
    phone: str | None
    queues: bool = False


class Wait(_Value):
    """Time spent lying at a place until a gate or a current can be passed, it is light, or the group leaves.

    Parameters
    ----------
    at
        Where the boat lies.
    until
        When she leaves.
    wait_h
        [h] How long she lies.
    gate
        The bridge or lock that is shut till then, `slack water at` a current that is too strong, or `daylight`; empty
        where she waits for the other boats of a group.
    """

    at: str
    until: When
    wait_h: float
    gate: str


class TurnTold(_Value):
    """A moment at which a current turns or runs fastest.

    Parameters
    ----------
    kind
        `slack`; `flood` or `ebb` where it runs fastest; `least` where it runs slowest without turning.
    at
        When.
    speed_kn
        [kn] How fast it runs then.
    """

    kind: Literal["slack", "flood", "ebb", "least"]
    at: When
    speed_kn: float


class StreamMet(_Value):
    """A current that a plan's track runs through.

    Parameters
    ----------
    name
        Of its area, or of the gridded currents.
    enter, leave
        When the boat is in it.
    position
        [deg] Longitude and latitude of the place where it is met strongest.
    set_deg, drift_kn
        [deg, kn] There and then.
    turns
        When it turns and runs fastest, from seven hours before to seven hours after; none for gridded currents.
    """

    name: str
    enter: When
    leave: When
    position: Position
    set_deg: float
    drift_kn: float
    turns: tuple[TurnTold, ...] = ()


class Plan(_Value):
    """One passage with its refuel stops.

    Parameters
    ----------
    name
        What it is best at.
    also
        What else it is best at.
    recommended
        Whether it is the one to take.
    difference
        For the others: how they differ from the recommended one, in words.
    depart, arrive
        Of the whole passage.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] Of the whole passage; time with stops and waits.
    cost
        [currency] Of all stops; None where a price is unknown.
    least_margin_l
        [l] Least low figure above unusable fuel and reserve, over stops and destination.
    chance_reserve_kept
        [share] Chance that no arrival of the whole passage touches the reserve.
    chance_never_dry
        [share] Chance that no arrival finds less than the unusable fuel.
    longer_nmi
        [nmi] How much longer it is than the ways without, where a wider stand-off or fairways were asked for; None
        where they weren't.
    closed_dock
        The closed-dock rule that the plan was made with.
    aboard_on_arrival_l, aboard_on_arrival_low_l
        [l] Fuel aboard at the destination, mean and low figure.
    speeds_kn
        [kn] Chosen speed of each hop, from one place of refuelling or via to the next; limits on the way hold besides.
    legs, stops
        In order.
    waits
        For bridges and locks, slack water and daylight, in order.
    onward
        For a destination where the boat can't refuel: the nearest dock that suits, and what would be left there.
    slower
        Where going slower would save a stop, and what that costs.
    leans_on
        Docks among the stops that nobody has confirmed for long, or whose hours aren't known, each with the reason.
    cautions
        What to heed on this plan in particular.
    still_water
        Whether no current was reckoned with.
    streams
        Currents that the track runs through, in order.
    track
        GeoJSON LineString of the whole way, within 1 m of it; a MultiLineString where it crosses the 180th meridian.
    """

    name: PlanName
    also: tuple[PlanName, ...] = ()
    recommended: bool
    difference: str
    depart: When
    arrive: When
    distance_nmi: float
    time_h: float
    fuel_l: float
    cost: float | None
    least_margin_l: float
    chance_reserve_kept: float
    chance_never_dry: float
    longer_nmi: float | None = None
    closed_dock: ClosedDockRule
    aboard_on_arrival_l: float
    aboard_on_arrival_low_l: float
    speeds_kn: tuple[float, ...]
    legs: tuple[Leg, ...]
    stops: tuple[Stop, ...]
    waits: tuple[Wait, ...]
    onward: Alternate | None
    slower: tuple[SlowerRun, ...]
    leans_on: tuple[str, ...]
    cautions: tuple[str, ...]
    still_water: bool = True
    streams: tuple[StreamMet, ...] = ()
    track: dict[str, Any]


class Refusal(_Value):
    """Why no plan keeps the rules.

    Parameters
    ----------
    from_, to
        Ends of the leg that breaks them.
    distance_nmi
        [nmi] Of that leg over water; None where there is no way.
    short_l
        [l] How far its arrival would lie under the floor; None where fuel isn't the reason.
    why
        The rule that breaks, in words.
    try_
        Changes that would help, the smallest first.
    breaks_at
        Docks of the offered plan that break the closed-dock rule.
    offered
        The best plan without the closed-dock rule, where that alone stands in the way.
    """

    from_: str = Field(alias="from")
    to: str
    distance_nmi: float | None
    short_l: float | None
    why: str
    try_: tuple[str, ...] = Field(alias="try")
    breaks_at: tuple[str, ...] = ()
    offered: Plan | None = None


class NoPassageError(RouteplanError):
    """No plan keeps the rules.

    Parameters
    ----------
    refusal
        The leg that breaks them, by how much, and what would help.
    cautions
        What was found on the way to the answer.
    """

    def __init__(self, refusal: Refusal, cautions: tuple[str, ...] = ()) -> None:
        self.refusal = refusal
        self.cautions = cautions
        super().__init__(refusal, cautions)

    def __str__(self) -> str:
        """Return the answer in one line."""
        ideas = f" Try: {'; '.join(self.refusal.try_)}." if self.refusal.try_ else ""
        return f"no plan keeps the rules: {self.refusal.why}{ideas}"
