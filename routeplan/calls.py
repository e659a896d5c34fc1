"""Whom to call before leaving: each dock that a plan leans on, when it must be open and how much will be asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict

from routeplan.plans import Alternate, Stop, When

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.plans import Plan

__all__ = ["Call", "Need", "find_calls"]


class Need(BaseModel):
    """What a plan wants of a dock, once.

    Parameters
    ----------
    kind
        `stop`, `alternate` (where to go if a stop is closed) or `onward` (the next fuel after the destination).
    after
        The stop that would be closed, or the destination; None for a stop.
    open_from, open_until
        When it must be open: from the fill's beginning to its end, if the boat comes there without delay.
    take_l
        [l] How much will be asked for; None where nothing is sold.
    to_mark
        Whether that fills the tank to its full mark.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: Literal["stop", "alternate", "onward"]
    after: str | None
    open_from: When
    open_until: When
    take_l: float | None
    to_mark: bool


class Call(BaseModel):
    """One dock to call.

    Parameters
    ----------
    dock
        Its name.
    vhf, phone, hours
        As the docks layer says; None where it doesn't.
    price_per_l
        [currency/l] Of the boat's fuel; None where unknown.
    confirmed_on
        Date of the last confirmation; None where there was none.
    needs
        What the plan wants of it, in the plan's order.
    cautions
        What to ask about.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    dock: str
    vhf: str | None
    phone: str | None
    hours: str | None
    price_per_l: float | None
    confirmed_on: str | None
    needs: tuple[Need, ...]
    cautions: tuple[str, ...]


def find_calls(plan: Plan) -> tuple[Call, ...]:
    """List whom to call before a plan is sailed.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    Each dock once: the stops in their order, each with the alternate behind it, then the next fuel after the
    destination. An alternate that sells nothing, such as the destination, isn't called.
    """
    asked: list[tuple[str, Stop | Alternate, Need]] = []
    for stop in plan.stops:
        asked.append((stop.dock, stop, _need("stop", stop, None)))
        if stop.alternate is not None:
            asked.append((stop.alternate.name, stop.alternate, _need("alternate", stop.alternate, stop.dock)))
    if plan.onward is not None:
        asked.append((plan.onward.name, plan.onward, _need("onward", plan.onward, plan.legs[-1].to)))
    needs: dict[str, list[Need]] = {}
    known: dict[str, Stop | Alternate] = {}
    for name, place, need in asked:
        if need.take_l is not None:
            known.setdefault(name, place)
            needs.setdefault(name, []).append(need)
    return tuple(_call(name, place, needs[name]) for name, place in known.items())


def _need(kind: Literal["stop", "alternate", "onward"], place: Stop | Alternate, after: str | None) -> Need:
    return Need(
        kind=kind,
        after=after,
        open_from=place.begin,
        open_until=place.depart,
        take_l=place.take_l,
        to_mark=place.to_mark if isinstance(place, Stop) else True,
    )


def _call(name: str, place: Stop | Alternate, needs: Sequence[Need]) -> Call:
    return Call(
        dock=name,
        vhf=place.vhf,
        phone=place.phone,
        hours=place.hours,
        price_per_l=place.price_per_l,
        confirmed_on=place.confirmed_on,
        needs=tuple(needs),
        cautions=place.cautions,
    )
