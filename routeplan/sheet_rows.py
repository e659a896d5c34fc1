"""The rows of a passage sheet for the helm, as values: a mark each, with stops, waits and points of no return between.

Legs of a few lengths, such as those out of a harbour, share a row with the leg after them: the helm has one mark to
check then, and not four in a minute. Every course is kept but for the last few lengths alongside. A long leg takes
several rows, one to each mark on it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict

from routeplan.helm import LastTurn, MeterMark
from routeplan.plan_words import is_before_leaving
from routeplan.plans import Passed, Stop, Wait, When

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from routeplan.plans import Leg
    from routeplan.saved_plans import SavedPlan

__all__ = ["LastTurnRow", "LegRow", "Line", "Position", "SheetValue", "Steer", "StopRow", "WaitRow", "find_lines"]

SHORT_NMI = 0.45  # [nmi] a shorter leg is run in about a minute on the plane, and shares a row
_MOST_STEERED = 3  # courses in one row
_BESIDE_NMI = 0.05  # [nmi] an approach so short is part of coming alongside, at whatever speed

Position: TypeAlias = tuple[float, float]


class SheetValue(BaseModel):
    """What all values of a sheet are: frozen, no more fields than told, no figures that aren't finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Steer(SheetValue):
    """One course of a row.

    Parameters
    ----------
    course_deg
        [deg] True.
    magnetic_deg
        [deg] Magnetic; None where the region doesn't say its variation.
    distance_nmi
        [nmi] How far.
    """

    course_deg: float
    magnetic_deg: float | None
    distance_nmi: float


class LegRow(SheetValue):
    """One row for the helm: a leg, or a few short ones, up to a mark.

    Parameters
    ----------
    kind
        `leg`.
    first_leg, last_leg
        Numbers of its legs, from 1.
    steers
        Its courses, in order, but for the last few lengths alongside.
    to, position
        Name and place (longitude and latitude) of the mark at its end.
    distance_nmi
        [nmi] Of the row.
    speed_kn
        [kn] Through the water.
    run_h
        [h] How long it takes.
    at
        When the mark is reached.
    is_gate
        Whether it leads through an opening bridge or a lock.
    mark
        What the dial should show there; None where nothing is expected of it.
    depth_checked
        Whether all of it lies over charted depth enough.
    cautions
        What to heed on it.
    passes
        What it passes close by.
    """

    kind: Literal["leg"] = "leg"
    first_leg: int
    last_leg: int
    steers: tuple[Steer, ...]
    to: str
    position: Position
    distance_nmi: float
    speed_kn: float
    run_h: float
    at: When
    is_gate: bool
    mark: MeterMark | None
    depth_checked: bool
    cautions: tuple[str, ...]
    passes: tuple[Passed, ...]


class StopRow(SheetValue):
    """A refuel stop between the rows.

    Parameters
    ----------
    kind
        `stop`.
    number
        From 1.
    stop
        The stop.
    resets
        Whether the meters are reset there, as the figures after it count from there; None where no figure comes after.
    """

    kind: Literal["stop"] = "stop"
    number: int
    stop: Stop
    resets: bool | None


class WaitRow(SheetValue):
    """A wait for a bridge or lock, between the rows.

    Parameters
    ----------
    kind
        `wait`.
    wait
        The wait.
    """

    kind: Literal["wait"] = "wait"
    wait: Wait


class LastTurnRow(SheetValue):
    """A point of no return, before the row of the leg that it lies on.

    Parameters
    ----------
    kind
        `last turn`.
    number
        From 1.
    turn
        The point.
    """

    kind: Literal["last turn"] = "last turn"
    number: int
    turn: LastTurn


Line: TypeAlias = LegRow | StopRow | WaitRow | LastTurnRow


def _lines(saved: SavedPlan, variation: float | None) -> Iterator[Line]:
    plan, helm = saved.plan, saved.helm
    stops, waits = list(enumerate(plan.stops, start=1)), list(plan.waits)
    turns = list(enumerate(helm.last_turns, start=1))
    if stops and is_before_leaving(plan, stops[0][1]):
        number, stop = stops.pop(0)
        yield StopRow(number=number, stop=stop, resets=_resets(saved, stop, plan.depart))
    for hop in _hops(saved):
        legs = [leg for _, leg in hop]
        while waits and waits[0].until <= legs[0].depart:  # told before the legs that it holds up
            yield WaitRow(wait=waits.pop(0))
        for group in _grouped(hop):
            numbers = [number for number, _ in group]
            while waits and waits[0].until <= group[0][1].depart:
                yield WaitRow(wait=waits.pop(0))
            while turns and turns[0][1].leg <= numbers[-1]:
                number, turn = turns.pop(0)
                yield LastTurnRow(number=number, turn=turn)
            yield _row(group, saved, variation)
        if stops and legs[-1].to == stops[0][1].dock and legs[-1].arrive <= stops[0][1].begin:
            number, stop = stops.pop(0)
            yield StopRow(number=number, stop=stop, resets=_resets(saved, stop, stop.depart))


def _resets(saved: SavedPlan, stop: Stop, after: datetime) -> bool | None:
    """Tell whether what the dial should show after a stop counts from there."""
    legs = saved.plan.legs
    later = (mark for mark in saved.helm.marks if legs[mark.leg - 1].depart >= after)
    mark = next(later, None)
    return None if mark is None else mark.since == stop.dock


def _hops(saved: SavedPlan) -> list[list[tuple[int, Leg]]]:
    """Part the legs, with their numbers, at the refuel stops."""
    hops: list[list[tuple[int, Leg]]] = [[]]
    ahead = [stop for stop in saved.plan.stops if not is_before_leaving(saved.plan, stop)]
    for number, leg in enumerate(saved.plan.legs, start=1):
        hops[-1].append((number, leg))
        if ahead and leg.to == ahead[0].dock and leg.arrive <= ahead[0].begin:
            ahead.pop(0)
            hops.append([])
    return [hop for hop in hops if hop]


def _grouped(hop: Sequence[tuple[int, Leg]]) -> list[list[tuple[int, Leg]]]:
    """Put short legs into one row with the leg after them, the last ones with the leg before."""
    groups: list[list[tuple[int, Leg]]] = [[hop[0]]]
    for one, other in pairwise(hop):
        if _shares_a_row(groups[-1], one[1], other[1]):
            groups[-1].append(other)
        else:
            groups.append([other])
    return groups


def _shares_a_row(group: Sequence[tuple[int, Leg]], leg: Leg, after: Leg) -> bool:
    if "gate" in (leg.kind, after.kind) or len(group) >= _MOST_STEERED or after.depart > leg.arrive:
        return False  # a bridge is met by itself, and whoever waits has a mark to wait at
    if "approach" in (leg.kind, after.kind) and min(leg.distance_nmi, after.distance_nmi) < _BESIDE_NMI:
        return True
    same = leg.speed_kn == after.speed_kn
    return same and all(short.distance_nmi < SHORT_NMI for _, short in group)


def _row(group: Sequence[tuple[int, Leg]], saved: SavedPlan, variation: float | None) -> LegRow:
    numbers, legs = [number for number, _ in group], [leg for _, leg in group]
    marks = [mark for mark in saved.helm.marks if mark.leg in numbers]
    longest = max(legs, key=lambda leg: leg.distance_nmi)
    steered = [leg for leg in legs if leg.distance_nmi >= _BESIDE_NMI] or legs  # alongside she is steered by eye
    return LegRow(
        first_leg=numbers[0],
        last_leg=numbers[-1],
        steers=tuple(
            Steer(
                course_deg=leg.course_deg,
                magnetic_deg=None if variation is None else (leg.course_deg - variation) % 360,
                distance_nmi=leg.distance_nmi,
            )
            for leg in steered
        ),
        to=legs[-1].to,
        position=legs[-1].to_position,
        distance_nmi=sum(leg.distance_nmi for leg in legs),
        speed_kn=longest.speed_kn,
        run_h=(legs[-1].arrive - legs[0].depart).total_seconds() / 3600,
        at=legs[-1].arrive,
        is_gate=any(leg.kind == "gate" for leg in legs),
        mark=marks[-1] if marks else None,
        depth_checked=all(leg.depth_checked for leg in legs),
        cautions=tuple(dict.fromkeys(caution for leg in legs for caution in leg.cautions)),
        passes=tuple(passed for leg in legs for passed in leg.passes),
    )


