"""What the helm checks against the dial: the reading expected at each mark, and where no way back is left."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from routeplan.plans import When
from routeplan.priors import METER_SCATTER_SHARE

__all__ = ["Helm", "LastTurn", "MeterMark", "MeterStart", "WayLeg"]

_Litres = Annotated[float, Field(ge=0)]
_Position = tuple[float, float]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class MeterStart(_Value):
    """The flow meters when a passage begins, and what they are worth.

    Parameters
    ----------
    shows_l
        [l] What each dial shows at departure; 0 where it is reset there.
    factor
        Pumped over metered: what a litre on the dial really is.
    factor_sd
        Its standard deviation.
    fillups
        How many sums from full to full it rests on; 0 where it is taken on trust.
    scatter_share
        Relative standard deviation of one reading.
    """

    shows_l: Annotated[tuple[_Litres, ...], Field(min_length=1, max_length=2)]
    factor: Annotated[float, Field(gt=0)]
    factor_sd: Annotated[float, Field(ge=0)]
    fillups: Annotated[int, Field(ge=0)]
    scatter_share: Annotated[float, Field(ge=0, lt=1)] = METER_SCATTER_SHARE


class WayLeg(_Value):
    """One straight stretch of the way to a dock.

    Parameters
    ----------
    course_deg
        [deg] True initial course.
    distance_nmi
        [nmi] Its length.
    """

    course_deg: float
    distance_nmi: float


class MeterMark(_Value):
    """What the dial should show at the end of a leg or on the way along a long one, and above what to turn.

    Parameters
    ----------
    leg
        Number of the leg that it ends, or lies on, from 1.
    after_nmi
        [nmi] From the leg's beginning, where it lies on it; None at its end.
    at
        When, if all goes as planned.
    position
        [deg] Longitude and latitude.
    since
        Where the meter was reset last: the place of departure, or a dock.
    shows_l
        [l] Mean of what all dials together show there, uncorrected, since that reset.
    turn_above_l
        [l] Above this, turn for `turn_for`; None where no other dock is nearer than the next stop.
    turn_for
        Dock to turn for.
    turn_nmi
        [nmi] How far that is from the mark, over water.
    turn_way
        The way there, stretch by stretch.
    turn_low_l
        [l] Low figure of the fuel left there, with the dial at `turn_above_l`.
    turn_opens
        When she can begin to fill there, if the dock is shut as she comes; None where it is open.
    slow_above_l
        [l] Where there is nothing to turn for: above this, slow down to `slow_kn`; None where that is no help.
    slow_kn
        [kn] The fastest slower speed that goes clearly further.
    """

    leg: Annotated[int, Field(ge=1)]
    after_nmi: float | None = None
    at: When
    position: _Position
    since: str
    shows_l: _Litres
    turn_above_l: _Litres | None = None
    turn_for: str | None = None
    turn_nmi: float | None = None
    turn_way: tuple[WayLeg, ...] = ()
    turn_low_l: float | None = None
    turn_opens: When | None = None
    slow_above_l: _Litres | None = None
    slow_kn: float | None = None


class LastTurn(_Value):
    """A point of no return: beyond it no dock is in reach with the reserve whole but the one that is steered for.

    Parameters
    ----------
    towards
        The next stop, or the destination.
    leg
        Number of the leg that it lies on, from 1.
    position
        [deg] Longitude and latitude.
    gone_nmi, to_go_nmi
        [nmi] From the last stop, and to the next one, along the way.
    at
        When, if all goes as planned.
    shows_l
        [l] What all dials together show there, if all goes as planned.
    dock
        The last dock in reach; None where from the run's beginning on none is.
    dock_nmi
        [nmi] How far that is from there, over water; None with it.
    opens
        When she can begin to fill there, if the dock is shut as she comes; None where it is open.
    """

    towards: str
    leg: Annotated[int, Field(ge=1)]
    position: _Position
    gone_nmi: float
    to_go_nmi: float
    at: When
    shows_l: _Litres
    dock: str | None
    dock_nmi: float | None
    opens: When | None = None


class Helm(_Value):
    """All that the helm checks on the way.

    Parameters
    ----------
    meter
        The meters at departure.
    marks
        In order: the end of each leg, and points between on long ones.
    last_turns
        Points of no return, in order; a run on which some other dock stays in reach has none.
    """

    meter: MeterStart
    marks: tuple[MeterMark, ...]
    last_turns: tuple[LastTurn, ...]
