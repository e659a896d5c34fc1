"""Plans side by side: how one differs from another in words, and which differ too little to be told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.units_shown import shown_duration, shown_money, shown_speed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.plans import Plan

__all__ = ["difference", "later_words", "margin_words", "without_near_ones"]

_NEAR_H = 5 / 60  # [h] plans are near one another if they arrive within this,
_NEAR_SHARE = 0.01  # cost the same but for this share of it, and keep margins within this share of the tank
_FAR_H = 24.0  # [h] a plan that arrives so much later is listed on request only
_LEAST_TOLD_L = 0.2  # [l] margins that differ by less are the same
_COUNTS = {0: ("no stop", "none"), 1: ("one stop", "one"), 2: ("two stops", "two")}


def without_near_ones(plans: Sequence[Plan], capacity_l: float, most: int) -> tuple[Plan, ...]:
    """Leave out the plans that hardly differ from the first or from one told before, or arrive over a day later.

    Parameters
    ----------
    plans
        The recommended one first.
    capacity_l
        [l] Of the tank.
    most
        How many to tell besides the first.

    Returns
    -------
    The others to tell, in their order.
    """
    told = [plans[0]]
    for plan in plans[1:]:
        if plan.time_h > plans[0].time_h + _FAR_H:
            continue
        if len(told) <= most and not any(_are_near(plan, other, capacity_l) for other in told):
            told.append(plan)
    return tuple(told[1:])


def difference(first: Plan, other: Plan, boat: Boat, currency: str) -> str:
    """Tell how a plan differs from the recommended one, in words.

    Parameters
    ----------
    first, other
        The recommended plan and another.
    boat
        Its display units.
    currency
        The region's.

    Returns
    -------
    Parts of a sentence.
    """
    said = [*_route_words(first, other), *_doubt_words(first, other)]
    if first.cost is not None and other.cost is not None and abs(other.cost - first.cost) >= 0.5:
        word = "more" if other.cost > first.cost else "less"
        said.append(f"{shown_money(abs(other.cost - first.cost), currency)} {word} for fuel")
    elif other.cost is None and first.cost is not None:
        said.append("price of fuel not known")
    more_l = other.aboard_on_arrival_l - first.aboard_on_arrival_l
    if abs(more_l) >= _NEAR_SHARE * boat.tank.capacity_l:
        said.append(f"arrives with {boat.units.volume(abs(more_l))} {'more' if more_l > 0 else 'less'} aboard")
    said += margin_words(other.least_margin_l - first.least_margin_l, boat)
    return "; ".join(said)


def later_words(later_h: float) -> str:
    """Tell how much later one plan is than another.

    Parameters
    ----------
    later_h
        [h] How much; negative for earlier.

    Returns
    -------
    Such as ``19 h 17 min later``.
    """
    if abs(later_h) * 60 < 0.5:
        return "at the same time"
    return f"{shown_duration(abs(later_h))} {'later' if later_h > 0 else 'earlier'}"


def margin_words(larger_l: float, boat: Boat) -> list[str]:
    """Tell how much larger one plan's least margin is than another's.

    Parameters
    ----------
    larger_l
        [l] How much; negative for smaller.
    boat
        Its display units.

    Returns
    -------
    Such as ``least margin 4.0 gal smaller``; nothing where they hardly differ.
    """
    if abs(larger_l) < _LEAST_TOLD_L:
        return []
    return [f"least margin {boat.units.volume_down(abs(larger_l))} {'larger' if larger_l > 0 else 'smaller'}"]


def _route_words(first: Plan, other: Plan) -> list[str]:
    said = []
    if len(other.stops) != len(first.stops):
        stops, instead = (
            _COUNTS.get(len(p.stops), (f"{len(p.stops)} stops", str(len(p.stops)))) for p in (other, first)
        )
        said.append(f"{stops[0]} instead of {instead[1]}")
    elif other.stops:
        said.append(f"stops at {', '.join(s.dock for s in other.stops)}")
    said.append(f"arrives {later_words(other.time_h - first.time_h)}")
    slowest_kn = min(other.speeds_kn, default=0.0)
    if slowest_kn < min(first.speeds_kn, default=0.0):
        said.append(f"runs at {shown_speed(slowest_kn)} for a part of the way")
    return said


def _doubt_words(first: Plan, other: Plan) -> list[str]:
    said = []
    if "known-docks" in (other.name, *other.also) and not other.leans_on:
        said.append("stops only at docks that are known and confirmed")
    if other.leans_on and other.leans_on != first.leans_on:
        said.append(f"but leans on {'; '.join(other.leans_on)}")
    return said + [
        f"waits {shown_duration(s.wait_h)} at {s.dock} for it to open" for s in other.stops if s.wait_h > 1 / 60
    ]


def _are_near(a: Plan, b: Plan, capacity_l: float) -> bool:
    if len(a.stops) != len(b.stops) or abs(a.time_h - b.time_h) > _NEAR_H or (a.cost is None) != (b.cost is None):
        return False
    cost_a, cost_b = a.cost or 0.0, b.cost or 0.0
    if abs(cost_a - cost_b) > _NEAR_SHARE * max(cost_a, cost_b):
        return False
    return abs(a.least_margin_l - b.least_margin_l) <= _NEAR_SHARE * capacity_l
