"""What is in reach, as it is told: areas, places, turning points. The shape of `reach --json`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, PlainSerializer

from layers.errors import RouteplanError

__all__ = ["AreaKind", "Figure", "InReach", "NoReachError", "OutOfFuel", "ReachArea", "Refuel", "Shape", "TurningPoint"]

AreaKind = Literal["one-way", "out-and-back", "thirds", "budget"]
Figure = Literal["mean", "low"]
Refuel = Literal["yes", "opens later", "doubtful", "no"]
Position = tuple[float, float]


def _geojson(shape: Any) -> dict[str, Any]:
    """Write a shape as GeoJSON: rings the way round that RFC 7946 wants, to the centimetre."""
    import shapely  # noqa: PLC0415  values are read without it

    right_handed = shapely.orient_polygons(shape, exterior_cw=False)
    found: dict[str, Any] = shapely.geometry.mapping(shapely.transform(right_handed, lambda xy: xy.round(7)))
    return found


Shape = Annotated[Any, PlainSerializer(_geojson, when_used="json")]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class ReachArea(_Value):
    """Water that can be reached.

    Parameters
    ----------
    kind
        `one-way`: down to the reserve. `out-and-back`: back at the start with the reserve whole. `thirds`: a third of
        the usable fuel out, a third back. `budget`: within the fuel or time that was asked for, and the reserve.
    figure
        `mean`: on the average of many days. `low`: with the trip's confidence.
    speed_kn
        [kn] Chosen speed.
    fuel_l
        [l] Mean burn from the start to its edge, where time sets it at the most; as much again on the way back.
    time_h
        [h] Time from the start to its edge where time sets the edge or may; None where fuel alone does.
    there_and_back
        Whether the way back is paid for too.
    out_nmi
        [nmi] Length over water of the longest way to its edge.
    inside
        Whether it is drawn a little inside the truth, as speed limits hold on the water.
    gates
        Bridges and locks that have to open for some of it.
    cut_by_extent
        Whether the data end before the boat's reach does.
    geometry
        [deg] MultiPolygon on WGS 84.
    """

    kind: AreaKind
    figure: Figure
    speed_kn: float
    fuel_l: float
    time_h: float | None
    there_and_back: bool
    out_nmi: float
    inside: bool
    gates: tuple[str, ...]
    cut_by_extent: bool
    geometry: Shape


class InReach(_Value):
    """A place that can be reached, by its best track at one speed.

    Parameters
    ----------
    name, kind
        Name; `dock`, `harbour` or `anchorage`.
    position
        [deg] Longitude and latitude.
    speed_kn
        [kn] Chosen speed.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] One way: length over water, time under way and at gates, mean burn.
    fuel_there_and_back_l
        [l] Mean burn for both ways.
    aboard_on_arrival_l, aboard_on_arrival_low_l
        [l] Mean and low figure of the fuel aboard there.
    margin_low_l
        [l] Low figure on arrival, less unusable fuel and reserve: never negative.
    aboard_on_return_l, aboard_on_return_low_l
        [l] The same back at the start, nothing taken in on the way; negative where she would run dry.
    there_and_back
        Whether the low figure back at the start keeps the reserve, and the gates on the way back are still open if she
        turns round at once.
    dock_still_in_reach
        Whether from there, nothing taken in, some dock that is counted on can still be made with the reserve whole.
    refuel
        Whether she could refuel there, at a harbour or anchorage at the best dock of its own; `no` where no fuel that
        she burns is sold.
    refuel_note
        Where, why not, when it opens, or what is doubtful; empty where there is nothing to say.
    gates
        Bridges and locks that have to open on the way.
    crosses
        What its approach crosses: any of `shoal`, `unsurveyed`, `hazard`.
    """

    name: str
    kind: str
    position: Position
    speed_kn: float
    distance_nmi: float
    time_h: float
    fuel_l: float
    fuel_there_and_back_l: float
    aboard_on_arrival_l: float
    aboard_on_arrival_low_l: float
    margin_low_l: float
    aboard_on_return_l: float
    aboard_on_return_low_l: float
    there_and_back: bool
    dock_still_in_reach: bool
    refuel: Refuel
    refuel_note: str
    gates: tuple[str, ...]
    crosses: tuple[str, ...]


class TurningPoint(_Value):
    """A point of no return on one way out: beyond it no suitable dock is left in reach with the reserve whole.

    Parameters
    ----------
    position
        [deg] Longitude and latitude of the point.
    towards
        Places that this way out leads to, nearest first.
    course_deg
        [deg] True bearing of the point from the start, as the crow flies.
    speed_kn
        [kn] Chosen speed.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] From the start to the point: length over water, time, mean burn.
    dock
        The last dock that can be made, from the point; the start itself where that is a suitable dock.
    dock_distance_nmi, dock_time_h
        [nmi, h] From the point to the dock.
    aboard_at_dock_low_l
        [l] Low figure of the fuel aboard there.
    dock_note
        When it opens if it is shut when she would come, and what is doubtful; empty where nothing is.
    """

    position: Position
    towards: tuple[str, ...]
    course_deg: float
    speed_kn: float
    distance_nmi: float
    time_h: float
    fuel_l: float
    dock: str
    dock_distance_nmi: float
    dock_time_h: float
    aboard_at_dock_low_l: float
    dock_note: str


class OutOfFuel(_Value):
    """Why nothing is in reach.

    Parameters
    ----------
    from_
        Where the boat is.
    aboard_l, aboard_low_l
        [l] Mean and low figure of the fuel aboard.
    short_l
        [l] How much more has to be aboard before anything can be burned.
    why
        The reason in a sentence.
    try_
        What would help, a sentence each.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        populate_by_name=True,
        alias_generator=lambda name: name.rstrip("_"),
    )

    from_: str
    aboard_l: float
    aboard_low_l: float
    short_l: float
    why: str
    try_: tuple[str, ...]


class NoReachError(RouteplanError):
    """There is no usable fuel above the reserve.

    Parameters
    ----------
    refusal
        What is short, and what would help.
    cautions
        As with an answer.
    """

    def __init__(self, refusal: OutOfFuel, cautions: tuple[str, ...]) -> None:
        super().__init__(refusal.why)
        self.refusal = refusal
        self.cautions = cautions
