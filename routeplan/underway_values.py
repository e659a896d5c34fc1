"""What `underway` answers, as values: the shape of its JSON document."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from routeplan.helm import WayLeg
from routeplan.plans import Plan, When

__all__ = ["Advice", "AdviceKind", "Arrival", "Standing", "TurnBy", "Underway"]

AdviceKind = Literal["go-on", "watch", "slow-down", "turn", "short", "leak", "new-plan", "fill", "there"]
"""Go on; go on and decide at the point of no return; slow down; turn; nothing keeps the reserve; fuel may be leaking;
follow the new plan; at the dock where the plan fills; arrived."""


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Standing(_Value):
    """Where the boat stands on her way, against the plan.

    Parameters
    ----------
    leg
        Number of the plan's leg that she is on, from 1.
    off_route_nmi
        [nmi] How far she is off it.
    since, next
        The place of the last fill, or of departure, and the next place of refuelling, or the destination.
    gone_nmi, to_next_nmi, to_end_nmi
        [nmi] From the one, to the other, and to the destination, by the plan or, off the route, over water from here.
    late_h
        [h] Behind the plan's time; negative where ahead.
    metered_l
        [l] What the dials have shown since then, uncorrected.
    burned_l, planned_l
        [l] What was burnt since then, as reckoned, and by the plan.
    planned_aboard_l
        [l] Fuel aboard here by the plan.
    way
        From here on, stretch by stretch, where she is off the route; empty on it.
    distance_run_nmi, mean_speed_kn
        [nmi, kn] Of today's recorded track since then; None without one.
    """

    leg: int
    off_route_nmi: float
    since: str
    next: str
    gone_nmi: float
    to_next_nmi: float
    to_end_nmi: float
    late_h: float
    metered_l: float | None
    burned_l: float
    planned_l: float
    planned_aboard_l: float
    way: tuple[WayLeg, ...]
    distance_run_nmi: float | None
    mean_speed_kn: float | None


class Arrival(_Value):
    """An arrival still to come.

    Parameters
    ----------
    name
        The dock, or the destination.
    is_stop
        Whether fuel is taken there.
    arrive
        When, if she goes on as planned from here.
    aboard_l, low_l
        [l] Fuel aboard on arrival, mean and low figure.
    margin_l
        [l] Low figure above unusable fuel and reserve; negative where it isn't kept.
    planned_margin_l
        [l] The same by the plan.
    shut
        Whether the dock is shut then, and for how long, in words; empty where it is open, or sells nothing.
    """

    name: str
    is_stop: bool
    arrive: When
    aboard_l: float
    low_l: float
    margin_l: float
    planned_margin_l: float
    shut: str


class TurnBy(_Value):
    """The point of no return ahead, with what is known now.

    Parameters
    ----------
    dock
        The last dock in reach with the reserve whole.
    in_nmi, in_min
        [nmi, min] How far ahead along the way, and how long at the planned speeds.
    position
        [deg] Longitude and latitude.
    """

    dock: str
    in_nmi: float
    in_min: float
    position: tuple[float, float]


class Advice(_Value):
    """What to do.

    Parameters
    ----------
    kind
        In a word.
    speed_kn
        [kn] To slow to, or to be run at; None where the plan's stands.
    dock
        To turn for, or to make for; None where there is none.
    dock_nmi
        [nmi] How far that is over water.
    dock_way
        The way there, stretch by stretch.
    dock_low_l, dock_arrive
        [l] The low figure left there, and when.
    dock_shut
        Whether it is shut then, in words; empty where it is open.
    vhf, phone
        Of that dock; None where not known.
    why
        In words.
    """

    kind: AdviceKind
    speed_kn: float | None = None
    dock: str | None = None
    dock_nmi: float | None = None
    dock_way: tuple[WayLeg, ...] = ()
    dock_low_l: float | None = None
    dock_arrive: When | None = None
    dock_shut: str = ""
    vhf: str | None = None
    phone: str | None = None
    why: str = ""


class Underway(_Value):
    """Where the boat stands and what to do.

    Parameters
    ----------
    when, position
        [-, deg] Of the report.
    aboard_l, aboard_sd_l, aboard_low_l
        [l] Fuel aboard: mean, standard deviation, and the low figure at the trip's confidence.
    by_meter_l, by_gauge_l
        [l] By one alone; None where it wasn't read.
    agree
        Whether the two agree within chance.
    burn_factor, burn_factor_sd
        Today's burn over the planned, for what is left, and its standard deviation.
    meter_factor, meter_factor_sd
        What a litre on the dial is, as the log with this passage's fill-ups teaches.
    standing
        Against the plan.
    arrivals
        Those to come, in order.
    turn_by
        The point of no return; None where some other dock stays in reach all the way to the next place.
    beyond_return
        Whether no other dock is in reach from here already.
    advice
        What to do.
    findings
        What must be said, the gravest first.
    replan
        A new plan from here; None where the old one stands and none was asked for.
    """

    when: When
    position: tuple[float, float]
    aboard_l: float
    aboard_sd_l: float
    aboard_low_l: float
    by_meter_l: float | None
    by_gauge_l: float | None
    agree: bool
    burn_factor: float
    burn_factor_sd: float
    meter_factor: float
    meter_factor_sd: float
    standing: Standing
    arrivals: tuple[Arrival, ...]
    turn_by: TurnBy | None
    beyond_return: bool
    advice: Advice
    findings: tuple[str, ...]
    replan: Plan | None
