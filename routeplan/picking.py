"""Which of the places in reach are told, in which order, and which docks go with which harbour."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias

from layers.plane import METRES_PER_NMI
from routeplan.joining import apart_m
from routeplan.reach_places import BESIDE_NMI

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from routeplan.reached import InReach

__all__ = ["PlaceOrder", "pick_places", "with_docks"]

PlaceOrder: TypeAlias = Literal["distance", "time", "margin", "name"]


def pick_places(
    places: Sequence[InReach], kinds: Sequence[str] = (), *, refuel_only: bool = False, order: PlaceOrder = "distance"
) -> tuple[InReach, ...]:
    """Choose the places to tell, and put them in order.

    Parameters
    ----------
    places
        All in reach.
    kinds
        Any of `dock`, `harbour`, `anchorage`; all where empty.
    refuel_only
        Whether places where she can't refuel are left out; doubtful ones, and those that open later, stay.
    order
        `distance` and `time` nearest first, `margin` largest first, `name` by the alphabet.

    Returns
    -------
    The places; equals by distance, then by name.
    """
    keys: Mapping[PlaceOrder, Callable[[InReach], float | str]] = {
        "distance": lambda p: p.distance_nmi,
        "time": lambda p: p.time_h,
        "margin": lambda p: -p.margin_low_l,
        "name": lambda p: p.name.casefold(),
    }
    picked = [
        place for place in places if (not kinds or place.kind in kinds) and (not refuel_only or place.refuel != "no")
    ]
    return tuple(sorted(picked, key=lambda p: (keys[order](p), p.distance_nmi, p.name)))


def with_docks(places: Sequence[InReach]) -> list[tuple[InReach, tuple[InReach, ...]]]:
    """Put docks that lie in a harbour or anchorage with it.

    Parameters
    ----------
    places
        In the order to be told.

    Returns
    -------
    Each place once, in that order: harbours and anchorages with the docks next to them, and the docks that stand alone.
    """
    havens = [place for place in places if place.kind != "dock"]
    held: dict[int, list[InReach]] = {}
    alone = set()
    for i, place in enumerate(places):
        if place.kind != "dock":
            continue
        near = [(apart_m(place.position, haven.position), j) for j, haven in enumerate(havens)]
        away_m, j = min(near, default=(math.inf, -1))
        if away_m < BESIDE_NMI * METRES_PER_NMI:
            held.setdefault(j, []).append(place)
        else:
            alone.add(i)
    number = {id(haven): j for j, haven in enumerate(havens)}
    return [
        (place, tuple(held.get(number.get(id(place), -1), ())))
        for i, place in enumerate(places)
        if place.kind != "dock" or i in alone
    ]
