"""What a new plan of a group cruise changes, and for whom: boats that may go on as they were told aren't troubled."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from routeplan.units_shown import DisplayUnits, shown_duration

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime, tzinfo

    from routeplan.cruises import AtPump, BoatPlan, CruisePlan, CruiseStop

__all__ = ["Change", "find_changes"]

_LEAVES_MIN = 1.0  # [min] a group that leaves so much sooner leaves somebody behind
_MOVED_MIN = 5.0  # [min] what moves by less isn't worth a call
_TAKE_L = 1.0  # [l] nor is a difference that no pump is watched for
_METRIC = DisplayUnits("metric")


class Change(BaseModel):
    """What changes for one boat.

    Parameters
    ----------
    boat
        Her name.
    what
        What is new to her, in words; one at the least.
    moved_min
        [min] By how much the time that moves most is moved, of her leaving, her turns at a pump and her arrival:
        positive where it is later. 0 where she joins or drops out.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    boat: str
    what: tuple[str, ...]
    moved_min: float


def find_changes(
    before: CruisePlan,
    after: CruisePlan,
    volume: Callable[[float, str], str] | None = None,
    zone: tzinfo = UTC,
) -> tuple[Change, ...]:
    """Find what changes for whom.

    Parameters
    ----------
    before
        The plan that the boats have.
    after
        The new one.
    volume
        Says a volume [l] in the units of the boat that is named; litres where None.
    zone
        Whose clock times are told by.

    Returns
    -------
    One a boat for which anything does, in the order of the new plan; then those that aren't in it any more. Times moved
    by 5 min or less, leaving moved by less than a minute and volumes within 1 l are no change.
    """
    shown = volume or (lambda volume_l, _: _METRIC.volume(volume_l))
    old = {boat.boat: boat for boat in before.boats}
    found = []
    for boat in after.boats:
        known = old.pop(boat.boat, None)
        if known is None:
            docks = [stop.dock for stop, _ in _turns(after, boat.boat)]
            fills = f"fills at {', then '.join(docks)}" if docks else "fills nowhere"
            what = (f"new in the plan: leaves {_clock(boat.plan.depart, zone)}, {fills}",)
            found.append(Change(boat=boat.boat, what=what, moved_min=0.0))
            continue
        facts = list(_facts(before, after, known, boat, shown, zone))
        if facts:
            moved = max((minutes for _, minutes in facts), key=abs)
            found.append(Change(boat=boat.boat, what=tuple(said for said, _ in facts), moved_min=moved))
    gone = {left.boat: left.why for left in after.left_behind}
    for name in old:
        why = f": {gone[name]}" if name in gone else ""
        found.append(Change(boat=name, what=(f"no longer in the plan{why}",), moved_min=0.0))
    return tuple(found)


def _facts(
    before: CruisePlan,
    after: CruisePlan,
    was: BoatPlan,
    now: BoatPlan,
    volume: Callable[[float, str], str],
    zone: tzinfo,
) -> Iterator[tuple[str, float]]:
    """Give each thing that is new to a boat, with the minutes that it is moved by."""
    leaves = _minutes(was.plan.depart, now.plan.depart)
    if abs(leaves) >= _LEAVES_MIN:
        yield f"leaves {_clock(now.plan.depart, zone)}, {_moved(leaves)}", leaves
    if before.speed_kn != after.speed_kn:
        pace = "each at her own speed" if after.speed_kn is None else f"together at {after.speed_kn:g} kn"
        yield f"goes {pace}", 0.0
    if was.why_apart != now.why_apart:
        yield f"goes another way: {now.why_apart or 'that of the others'}", 0.0
    old, new = _visits(before, now.boat), _visits(after, now.boat)
    for key in old.keys() - new.keys():
        yield f"no longer fills at {key[0]}", 0.0
    for key, (stop, turn) in new.items():
        if key in old:
            yield from _turn_facts(old[key][1], turn, stop, volume, zone)
        else:
            yield (
                (
                    f"fills at {stop.dock} now: day {stop.day}, from {_clock(turn.begin, zone)} to "
                    f"{_clock(turn.end, zone)}, {_take(volume, turn)}"
                ),
                0.0,
            )
    yield from _alternate_facts(was, now)
    comes = _minutes(was.plan.arrive, now.plan.arrive)
    if abs(comes) > _MOVED_MIN:
        yield f"arrives {_clock(now.plan.arrive, zone)}, {_moved(comes)}", comes


def _turn_facts(
    was: AtPump, now: AtPump, stop: CruiseStop, volume: Callable[[float, str], str], zone: tzinfo
) -> Iterator[tuple[str, float]]:
    moved = _minutes(was.begin, now.begin)
    if abs(moved) > _MOVED_MIN:
        yield f"turn at {stop.dock} {_clock(now.begin, zone)}, {_moved(moved)}", moved
    if was.pump != now.pump:
        yield f"at {stop.dock} the {now.fuel} pump {now.pump}, not {was.pump}", 0.0
    more_l = now.take_l - was.take_l
    if abs(more_l) > _TAKE_L:
        change = f"{volume(abs(more_l), now.boat)} {'more' if more_l > 0 else 'less'}"
        yield f"at {stop.dock} takes {_take(volume, now)}, {change}", 0.0


def _alternate_facts(was: BoatPlan, now: BoatPlan) -> Iterator[tuple[str, float]]:
    old = {stop.dock: stop.alternate.name if stop.alternate else "" for stop in was.plan.stops}
    for stop in now.plan.stops:
        name = stop.alternate.name if stop.alternate else ""
        if stop.dock in old and old[stop.dock] != name:
            yield f"if {stop.dock} is closed: {name or 'nowhere to go'}, no longer {old[stop.dock] or 'nowhere'}", 0.0


def _turns(plan: CruisePlan, boat: str) -> list[tuple[CruiseStop, AtPump]]:
    return [(stop, turn) for stop in plan.stops for turn in stop.boats if turn.boat == boat]


def _visits(plan: CruisePlan, boat: str) -> dict[tuple[str, int], tuple[CruiseStop, AtPump]]:
    """Name a boat's turns by the dock, and by which time it is that she fills there."""
    found: dict[tuple[str, int], tuple[CruiseStop, AtPump]] = {}
    for stop, turn in _turns(plan, boat):
        found[stop.dock, sum(dock == stop.dock for dock, _ in found)] = stop, turn
    return found


def _minutes(was: datetime, now: datetime) -> float:
    return (now - was).total_seconds() / 60


def _moved(minutes: float) -> str:
    return f"{shown_duration(abs(minutes) / 60)} {'later' if minutes > 0 else 'EARLIER'}"


def _clock(moment: datetime, zone: tzinfo) -> str:
    return f"{moment.astimezone(zone):%H:%M}"


def _take(volume: Callable[[float, str], str], turn: AtPump) -> str:
    return f"about {volume(turn.take_l, turn.boat)} of {turn.fuel}"
