"""What a passage sheet holds, as values: rows for the helm, places to turn for, the sun, the people."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Literal

from maps.words import text_of
from routeplan.fuel import FuelAboard, low_figure_l, z_of
from routeplan.plan_hops import find_hops
from routeplan.plan_words import is_before_leaving
from routeplan.plans import When  # noqa: TC001  values are checked against it as they are made
from routeplan.saved_plans import differences
from routeplan.sheet_rows import Line, Position, SheetValue, find_lines, letters
from routeplan.sun import find_sun_day, is_dark, is_dark_between, last_change, next_change
from routeplan.words import waits_for_light

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from layers.region import Region
    from routeplan.plans import Alternate
    from routeplan.saved_plans import SavedPlan

__all__ = ["OtherDock", "Sheet", "SunAt", "fill_sheet"]

_SAME_MOMENT = timedelta(minutes=1)


class OtherDock(SheetValue):
    """A place to go to that isn't on the plan: an alternate, a dock to turn for, the next fuel after the end.

    Parameters
    ----------
    tag
        What stands for it on chart and rows: a letter.
    name
        Its name.
    position
        [deg] Longitude and latitude; None where the region at hand doesn't have it.
    for_stops
        Numbers of the stops that it stands in for, if they are closed.
    is_turned_for
        Whether the dial, or a point of no return, may send the boat there.
    is_onward
        Whether it is the next fuel after the destination.
    hours, vhf, phone, confirmed_on
        As the docks layer says; None where it doesn't.
    """

    tag: str
    name: str
    position: Position | None
    for_stops: tuple[int, ...]
    is_turned_for: bool
    is_onward: bool
    hours: str | None
    vhf: str | None
    phone: str | None
    confirmed_on: str | None


class SunAt(SheetValue):
    """The sun at a place of the passage, on the day that the boat is there.

    Parameters
    ----------
    place, position
        The place, and its longitude and latitude.
    kind
        `leave`, `stop`, `night` or `arrive`.
    at
        When the boat is there; after a wait for light when she leaves.
    rises, sets
        Sunrise and sunset of that local day; None where there is none.
    lit_until
        End of civil twilight; None where there is none.
    is_up_at_noon
        Where it neither rises nor sets: whether it is up all day or down.
    is_dark
        Whether the sun is down when the boat is there.
    changes, changed
        When it rises or sets next, and did last; None where it doesn't within a day.
    """

    place: str
    position: Position
    kind: Literal["leave", "stop", "night", "arrive"]
    at: When
    rises: When | None
    sets: When | None
    lit_until: When | None
    is_up_at_noon: bool
    is_dark: bool
    changes: When | None
    changed: When | None


class Sheet(SheetValue):
    """All that is on a passage sheet but people and words.

    Parameters
    ----------
    start, finish
        Names of both ends.
    start_position, finish_position
        [deg] Longitude and latitude of both.
    variation_deg
        [deg] Magnetic variation, east positive; None where the region doesn't say.
    leaves
        When the boat leaves, after the fill where she fills before that.
    aboard_l, aboard_low_l
        [l] Fuel aboard on leaving, mean and low figure.
    how_known
        Where that figure comes from.
    lines
        In the order that they are met.
    docks
        Places that aren't on the plan, in the order that they may be needed.
    suns
        Start, stops, nights and finish.
    dark_legs
        Numbers of the legs on which the sun is down, for a part of them at least.
    streams_known
        Whether the region knows tidal streams.
    land_known
        Whether the region at hand has land to draw.
    differences
        How the region at hand differs from the one planned with, in sentences.
    """

    start: str
    finish: str
    start_position: Position
    finish_position: Position
    variation_deg: float | None
    leaves: When
    aboard_l: float
    aboard_low_l: float
    how_known: str
    lines: tuple[Line, ...]
    docks: tuple[OtherDock, ...]
    suns: tuple[SunAt, ...]
    dark_legs: tuple[int, ...]
    streams_known: bool
    land_known: bool
    differences: tuple[str, ...]

    def tag(self, name: str) -> str:
        """Tell what stands for a place on chart and rows.

        Parameters
        ----------
        name
            Of a stop, another dock, the start or the finish.

        Returns
        -------
        A stop's number, another dock's letter, ``S`` or ``F``; empty where it is none of them.
        """
        stops = {line.stop.dock: str(line.number) for line in reversed(self.lines) if line.kind == "stop"}
        others = {dock.name: dock.tag for dock in self.docks}
        return {self.start: "S", self.finish: "F", **stops, **others}.get(name, "")


def fill_sheet(saved: SavedPlan, region: Region) -> Sheet:
    """Fill a sheet.

    Parameters
    ----------
    saved
        The plan with what the helm checks.
    region
        Its region: land, docks and variation are taken from it.

    Returns
    -------
    What the sheet holds.
    """
    plan, variation = saved.plan, region.about.variation_deg
    trip, boat = saved.trip, saved.boat
    names = (plan.legs[0].from_, plan.legs[-1].to) if plan.legs else (trip.start, trip.finish)
    if plan.legs:
        ends = plan.legs[0].from_position, plan.legs[-1].to_position
    else:
        ends = plan.stops[0].position, plan.stops[-1].position
    leaves, aboard = plan.legs[0].depart if plan.legs else plan.depart, trip.aboard
    if plan.legs and plan.stops and is_before_leaving(plan, plan.stops[0]):
        leaves = plan.stops[0].depart
        first = find_hops(plan, boat, trip.aboard)[0]
        how = "filled to the mark at stop 1" if plan.stops[0].to_mark else "as told, and what stop 1 adds"
        aboard = FuelAboard(mean_l=first.level_l, sd_l=first.level_sd_l, how=how)
    return Sheet(
        start=names[0],
        finish=names[1],
        start_position=ends[0],
        finish_position=ends[1],
        variation_deg=variation,
        leaves=leaves,
        aboard_l=aboard.mean_l,
        aboard_low_l=low_figure_l(aboard.mean_l, 0.0, aboard.sd_l, boat.burn.sd_share, z_of(trip.confidence)),
        how_known=aboard.how,
        lines=tuple(find_lines(saved, variation)),
        docks=_other_docks(saved, region, names),
        suns=tuple(_suns(saved, region, names, ends, leaves)),
        dark_legs=tuple(
            number
            for number, leg in enumerate(plan.legs, start=1)
            if is_dark_between((leg.from_position, leg.depart), (leg.to_position, leg.arrive))
        ),
        streams_known=len(region.layer("currents")) > 0,
        land_known=len(region.layer("land")) > 0,
        differences=differences(saved, region, None),
    )


def _other_docks(saved: SavedPlan, region: Region, names: tuple[str, str]) -> tuple[OtherDock, ...]:
    """List the places that may be gone to and aren't on the plan, in the order that they may be needed."""
    plan, helm = saved.plan, saved.helm
    known = {stop.dock for stop in plan.stops} | set(names)
    alternates: dict[str, tuple[Alternate, list[int]]] = {}
    for number, stop in enumerate(plan.stops, start=1):
        if stop.alternate is not None:
            alternates.setdefault(stop.alternate.name, (stop.alternate, []))[1].append(number)
    turned = {mark.turn_for for mark in helm.marks if mark.turn_for} | {
        turn.dock for turn in helm.last_turns if turn.dock
    }
    onward = {plan.onward.name} if plan.onward is not None else set()
    facts = {str(row["name"]): row for row in _records(region)}
    needed = sorted((set(alternates) | turned | onward) - known, key=lambda name: (_needed_at(saved, name), name))
    docks = []
    for index, name in enumerate(needed):
        row = facts.get(name, {})
        said = alternates[name][0] if name in alternates else plan.onward if name in onward else None
        docks.append(
            OtherDock(
                tag=letters(index),
                name=name,
                position=row["position"] if row else None,
                for_stops=tuple(alternates[name][1]) if name in alternates else (),
                is_turned_for=name in turned,
                is_onward=name in onward,
                hours=text_of(row, "opening_hours") or (said.hours if said else None),
                vhf=text_of(row, "vhf") or (said.vhf if said else None),
                phone=text_of(row, "phone") or (said.phone if said else None),
                confirmed_on=text_of(row, "confirmed_on") or (said.confirmed_on if said else None),
            )
        )
    return tuple(docks)


def _needed_at(saved: SavedPlan, name: str) -> datetime:
    """Tell when a place may be needed first."""
    plan, helm = saved.plan, saved.helm
    moments = [mark.at for mark in helm.marks if mark.turn_for == name]
    moments += [turn.at for turn in helm.last_turns if turn.dock == name]
    moments += [stop.arrive for stop in plan.stops if stop.alternate is not None and stop.alternate.name == name]
    return min(moments, default=plan.arrive)


def _records(region: Region) -> Iterable[dict[str, object]]:
    docks = region.layer("docks")
    for record, shape in zip(docks.to_dict("records"), docks.geometry, strict=True):
        yield {**record, "position": (float(shape.x), float(shape.y))}


def _suns(
    saved: SavedPlan, region: Region, names: tuple[str, str], ends: tuple[Position, Position], leaves: datetime
) -> Iterator[SunAt]:
    plan = saved.plan
    between: list[tuple[str, Position, Literal["leave", "stop", "night", "arrive"], datetime]] = [
        (stop.dock, stop.position, "stop", stop.arrive) for stop in plan.stops if not is_before_leaving(plan, stop)
    ]
    between += [
        (wait.at, leg.from_position, "night", leg.depart)
        for wait in plan.waits
        for leg in plan.legs
        if waits_for_light(wait) and leg.from_ == wait.at and abs(leg.depart - wait.until) < _SAME_MOMENT
    ]
    if saved.trip.daylight is not None:
        zone = region.zone
        between += [
            (stop.dock, stop.position, "night", stop.depart)
            for stop in plan.stops
            if stop.arrive.astimezone(zone).date() != stop.depart.astimezone(zone).date()
        ]
    between.sort(key=lambda place: place[3])
    there = [
        (names[0], ends[0], "leave", leaves),
        *between,
        (names[1], ends[1], "arrive", plan.arrive),
    ]
    for place, position, kind, at in there:
        sun = find_sun_day(position, at.astimezone(region.zone).date(), region.zone)
        yield SunAt(
            place=place,
            position=position,
            kind=kind,
            at=at,
            rises=sun.rises,
            sets=sun.sets,
            lit_until=sun.lit_until,
            is_up_at_noon=sun.is_up_at_noon,
            is_dark=is_dark(position, at),
            changes=next_change(position, at),
            changed=last_change(position, at),
        )
