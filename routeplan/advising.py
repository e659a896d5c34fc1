"""What to do underway: go on, slow down, turn, or decide at the point of no return."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from routeplan.helm import WayLeg
from routeplan.helm_marks import most_burn_l
from routeplan.underway_values import Advice, TurnBy
from routeplan.units_shown import shown_distance, shown_duration, shown_speed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from routeplan.ahead import Ahead
    from routeplan.boats import Boat
    from routeplan.fallbacks import Fallback, Fallbacks
    from routeplan.todays_burn import Today

__all__ = ["Outlook", "advise"]

_WORTH_H = 1.0  # [h] who would be later than this by slowing down had better turn for fuel, where that can be done
_LOOK_MIN = 20.0  # [min] nobody looks at the dial more often: a decision that can wait so long may wait


@dataclass(frozen=True, eq=False)
class Outlook:
    """All that the advice rests on.

    Parameters
    ----------
    boat
        The boat, as planned with.
    today
        Fuel aboard and today's burn.
    z
        Standard deviations to keep clear.
    when
        The moment.
    next
        The next place of refuelling, or the destination.
    ahead
        The way there at the planned speed.
    slower
        The same at slower speeds that she holds, the fastest first.
    docks
        Docks to fall back on from each point of `ahead`.
    open_then
        Whether the next place can be used at a moment: open, or not a dock.
    """

    boat: Boat
    today: Today
    z: float
    when: datetime
    next: str
    ahead: Ahead
    slower: Sequence[Ahead]
    docks: Fallbacks
    open_then: Callable[[datetime], bool]

    @property
    def there(self) -> frozenset[str]:
        """Docks at the next place: nothing to fall back on."""
        return self.docks.at(self.ahead.positions[-1]) | {self.next}

    def low_l(self, burn_l: float) -> float:
        """[l] Tell the low figure left after a burn, by the plan's mean.

        Parameters
        ----------
        burn_l
            [l] The burn.

        Returns
        -------
        Negative where she would be dry.
        """
        return self.today.low_l(burn_l, self.z)

    def arrives(self, ahead: Ahead) -> datetime:
        """Tell when a way ends.

        Parameters
        ----------
        ahead
            The way.

        Returns
        -------
        The moment.
        """
        return self.when + timedelta(hours=ahead.total_h)


def advise(outlook: Outlook) -> tuple[Advice, TurnBy | None, bool]:
    """Tell what to do.

    Parameters
    ----------
    outlook
        What it rests on.

    Returns
    -------
    The advice; the point of no return ahead, None where another dock stays in reach all the way or none is from here;
    and whether none is in reach from here already.
    """
    turn_by, beyond, last_min = _point_of_no_return(outlook)
    floor_l, units, ahead = outlook.boat.floor_l, outlook.boat.units, outlook.ahead
    left_l = outlook.low_l(ahead.total_l) - floor_l
    if left_l >= 0:
        kept = f"{outlook.next} is reached {units.volume_down(left_l)} above the reserve, by the low figure"
        return Advice(kind="go-on", why=kept), turn_by, beyond
    short = f"{outlook.next} would be reached {units.volume_up(-left_l)} into the reserve, by the low figure"
    slower = [_slowing(outlook, way, short) for way in outlook.slower]
    sooner = next((told for told, later_h in slower if told is not None and later_h <= _WORTH_H), None)
    if sooner is not None:
        return sooner, turn_by, beyond
    mean_l, _ = outlook.today.on_arrival(ahead.total_l)
    if mean_l >= floor_l and not beyond and last_min > _LOOK_MIN:
        why = f"{short}, but on average it is still reached above it: read the dial again before the point of no return"
        return Advice(kind="watch", why=why), turn_by, beyond
    turn = _dock_to_turn_for(outlook)
    if turn is not None:
        return _turning(outlook, turn, "turn", short), turn_by, beyond
    at_last = next((told for told, _ in slower if told is not None), None)
    return at_last or _surest(outlook, short), turn_by, beyond


def _slowing(outlook: Outlook, way: Ahead, short: str) -> tuple[Advice | None, float]:
    """Judge a slower speed: the advice where it keeps the rule and finds the place open, and how much later it is."""
    spare_l = outlook.low_l(way.total_l) - outlook.boat.floor_l
    later_h = max(0.0, way.total_h - outlook.ahead.total_h)
    if spare_l < 0 or not outlook.open_then(outlook.arrives(way)):
        return None, later_h
    spare, later = outlook.boat.units.volume_down(spare_l), shown_duration(later_h)
    why = f"{short}; at {shown_speed(way.speed_kn)} it is {spare} above it, {later} later"
    return Advice(kind="slow-down", speed_kn=way.speed_kn, why=why), later_h


def _point_of_no_return(outlook: Outlook) -> tuple[TurnBy | None, bool, float]:
    """Find how far on some other dock stays in reach with the reserve whole, as things are now."""
    ahead, floor_l = outlook.ahead, outlook.boat.floor_l
    away_l, dock = outlook.docks.least_burn_l(outlook.there)
    spent_l = ahead.fuel_l + away_l
    good = np.array([bool(np.isfinite(s)) and outlook.low_l(float(s)) >= floor_l for s in spent_l])
    if not good[0]:
        return None, True, 0.0
    if good.all():
        return None, False, float("inf")
    last = int(np.argmin(good)) - 1
    in_min = float(ahead.time_h[last]) * 60
    name = outlook.docks.name(int(dock[last]))
    return (
        TurnBy(dock=name, in_nmi=float(ahead.distance_nmi[last]), in_min=in_min, position=ahead.positions[last]),
        False,
        in_min,
    )


def _dock_to_turn_for(outlook: Outlook) -> Fallback | None:
    """Find the dock in reach with the reserve whole where she can fill soonest."""
    most_l = most_burn_l(outlook.today, outlook.z, outlook.boat.floor_l, outlook.boat.tank.capacity_l)
    return next(iter(outlook.docks.within(0, most_l, outlook.when, outlook.there)), None)


def _turning(outlook: Outlook, turn: Fallback, kind: str, why: str) -> Advice:
    facts = turn.dock.facts
    shut = ""
    if turn.opens is not None:
        shut = f"shut for {shown_duration((turn.begin - turn.arrive).total_seconds() / 3600)} when she comes"
    return Advice(
        kind="turn" if kind == "turn" else "short",
        dock=turn.dock.name,
        dock_nmi=turn.track.distance_nmi,
        dock_way=tuple(WayLeg(course_deg=course, distance_nmi=nmi) for course, nmi in turn.way),
        dock_low_l=outlook.low_l(turn.track.fuel_l),
        dock_arrive=turn.arrive,
        dock_shut=shut,
        vhf=facts.get("vhf"),
        phone=facts.get("phone"),
        why=why,
    )


def _surest(outlook: Outlook, short: str) -> Advice:
    """Where nothing keeps the reserve: what leaves most, another dock or the next place at the best economy."""
    ways = [outlook.ahead, *outlook.slower]
    best = max(ways, key=lambda way: outlook.low_l(way.total_l))
    near = outlook.docks.within(0, outlook.boat.tank.capacity_l, outlook.when, outlook.there)
    other = min(near, key=lambda f: f.track.fuel_l, default=None)
    why = f"{short}, and no dock is in reach with the reserve whole"
    if other is not None and other.track.fuel_l < best.total_l:
        return _turning(outlook, other, "short", why)
    slow = best.speed_kn if best is not outlook.ahead else None
    at = "" if slow is None else f" at {shown_speed(slow)}"
    left = outlook.boat.units.volume_down(max(0.0, outlook.low_l(best.total_l)))
    why += f": {outlook.next}, {shown_distance(best.total_nmi)} on{at}, leaves most, {left} by the low figure"
    return Advice(kind="short", speed_kn=slow, why=why)
