"""A group cruise as layers: what a map draws and a GIS program opens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import shapely
from shapely.geometry import shape as geometry_of

from layers.checking import build_layer
from layers.schema import COMPUTED
from routeplan.cruise_stop_words import counted, listed
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from layers.region import Region
    from routeplan.cruise_words import CruiseWords
    from routeplan.cruises import BoatPlan, CruiseStop

__all__ = ["layers_of_cruise"]

_Mark: TypeAlias = "tuple[dict[str, Any], tuple[float, float]]"  # a row of the group's stops, and where it is

_NAMED = 3  # boats whose names stand beside a line; more are counted


def layers_of_cruise(words: CruiseWords, region: Region | None = None) -> dict[str, GeoDataFrame]:
    """Make the layers of a cruise.

    Parameters
    ----------
    words
        What is said of it.
    region
        Its region, which knows where the docks lie that boats turn to if a stop is closed; None leaves those out that
        are no place of the cruise.

    Returns
    -------
    Layers by name, on WGS 84, in the form of `layers.COMPUTED`: party_legs, one line a party;
    group_stops, each place once: where the group gathers, fuels, and may have to go instead.
    """
    return {"party_legs": _party_legs(words), "group_stops": _group_stops(words, region)}


def _party_legs(words: CruiseWords) -> GeoDataFrame:
    rows, shapes = [], []
    for number, boats in words.parties().items():
        names = [boat.boat for boat in boats]
        plan = boats[0].plan
        who = listed(names) if len(names) <= _NAMED else counted(len(names), "boat")
        why = [f"Apart: {boats[0].why_apart}"] if boats[0].why_apart else []
        leaves, comes = words.day_and_clock(plan.depart), words.day_and_clock(plan.arrive)
        lines = [
            ", ".join(names),
            f"{shown_distance(plan.distance_nmi)}; leaves {leaves}, at the end {comes}",
            *why,
        ]
        rows.append(
            {
                "order": number,
                "boats": "\n".join(names),
                "distance_nmi": plan.distance_nmi,
                "title": f"Party {number}: {who}" if len(words.parties()) > 1 else f"The group: {who}",
                "text": "\n".join(lines),
                "label": f"party {number}: {who}" if len(words.parties()) > 1 else who,
            }
        )
        shapes.append(geometry_of(plan.track))
    return build_layer(COMPUTED["party_legs"], rows, shapes)


def _group_stops(words: CruiseWords, region: Region | None) -> GeoDataFrame:
    """Draw each place once: where the group gathers in its order, the docks among them, the alternates at the end."""
    plan = words.plan
    spots = _spots(words)
    marks: dict[str, _Mark] = {}
    start, finish = words.ends()
    for leg in plan.legs:
        leaves = words.when(leg.depart, plan.depart)
        said = f"Leave {words.day_and_clock(leg.depart)} for {leg.to}"
        _visit(marks, leg.from_, spots[leg.from_], said, f"leave {leaves}")
        marks[leg.from_][0].setdefault("depart", words.day_and_clock(leg.depart))
        for stop in plan.stops:
            if stop.leg == leg.number:
                _fuel(words, marks, stop)
        first, last = words.day_and_clock(leg.first_in), words.when(leg.last_in, leg.first_in)
        comes = f"All in {first}" if leg.first_in == leg.last_in else f"First boat in {first}, last {last}"
        _visit(marks, leg.to, spots[leg.to], comes, f"all in {words.when(leg.last_in, plan.depart)}")
        marks[leg.to][0].setdefault("arrive", first)
    _name_end(marks[start][0], "start", f"leave {words.when(plan.depart, plan.depart)}")
    _name_end(marks[finish][0], "finish", f"in {words.when(plan.arrive, plan.depart)}")
    known = {name: position for name, (_, position) in marks.items()}
    for stop in plan.stops:
        _alternates(words, marks, stop, {**_docks(region), **known})
    rows = [{"order": number, **row} for number, (row, _) in enumerate(marks.values())]
    return build_layer(COMPUTED["group_stops"], rows, [shapely.Point(position) for _, position in marks.values()])


def _visit(marks: dict[str, _Mark], name: str, position: tuple[float, float], said: str, label: str) -> None:
    """Add what happens at a place of gathering; one that is a dock, too, stays a fuel stop."""
    if name not in marks:
        marks[name] = ({"name": name, "kind": "visit", "title": name, "text": said, "label": label}, position)
    else:
        marks[name][0]["text"] += f"\n{said}"


def _name_end(row: dict[str, Any], kind: str, label: str) -> None:
    """Mark where the cruise begins or ends; where it comes back to its start, the start's sign stays."""
    if kind == "finish" and row["kind"] == "start":
        row["title"] = f"Start and end: {row['name']}"
        row["label"] += f"; {label}"
        return
    row["title"] = f"{'Start' if kind == 'start' else 'End'}: {row['title']}"
    if row["kind"] == "visit":
        row["kind"], row["label"] = kind, label


def _fuel(words: CruiseWords, marks: dict[str, _Mark], stop: CruiseStop) -> None:
    """Add a stop for fuel; a second one at the same dock gets the same mark with both numbers."""
    turns = [
        f"{words.when(turn.begin, stop.arrive)} {turn.boat}, {turn.fuel} {words.volume(turn.take_l, turn.boat)}"
        for turn in stop.boats
    ]
    lines = [
        f"Stop {stop.number}, {words.span_of(stop)}: {words.totals(stop.total_l)}",
        *turns,
        *(f"If closed: {line}" for line in words.closed_lines(stop)),
        f"{words.how_to_call(stop)}; {stop.hours or 'hours not known'}",
        *(f"Heed: {caution}" for caution in stop.cautions),
    ]
    label = f"{words.when(stop.arrive, words.plan.depart)}, {counted(len(stop.boats), 'boat')}"  # fuels don't add up
    names = "\n".join(turn.boat for turn in stop.boats)
    wanted = {f"{fuel}_l": litres for fuel, litres in stop.total_l.items()}
    times = {"arrive": words.day_and_clock(stop.arrive), "depart": words.day_and_clock(stop.depart)}
    row = marks.get(stop.dock, ({}, stop.position))[0]
    if row.get("kind") == "fuel stop":
        row["number"] += f"+{stop.number}"
        row["title"] = f"Stops {row['number'].replace('+', ' and ')}: {stop.dock}"
        row["text"] += "\n" + "\n".join(lines)
        row["label"] += f"; {label}"
        row["boats"] += f"\n{names}"
        row["depart"] = times["depart"]
        for fuel, litres in wanted.items():
            row[fuel] += litres
        return
    before = f"{row['text']}\n" if row else ""
    marks[stop.dock] = (
        {
            "number": str(stop.number),
            "name": stop.dock,
            "kind": "fuel stop",
            "boats": names,
            **wanted,
            **times,
            "title": f"Stop {stop.number}: {stop.dock}",
            "text": before + "\n".join(lines),
            "label": label,
        },
        stop.position,
    )


def _alternates(
    words: CruiseWords, marks: dict[str, _Mark], stop: CruiseStop, spots: Mapping[str, tuple[float, float]]
) -> None:
    """Add where boats go if a stop is closed."""
    goes: dict[str, list[str]] = {}
    for turn in stop.boats:
        own = words.own_stop(turn, stop)
        if own is not None and own.alternate is not None:
            goes.setdefault(own.alternate.name, []).append(turn.boat)
    for name, boats in goes.items():
        said = f"If {stop.dock} is closed: {listed(boats)}"
        if name in marks:
            row = marks[name][0]
            row["text"] += f"\n{said}"
            if row["kind"] == "alternate":
                row["label"] = row["label"].replace(" is closed", f" or {stop.number} is closed")
        elif name in spots:
            row = {"name": name, "kind": "alternate", "title": name, "text": said}
            marks[name] = ({**row, "label": f"if stop {stop.number} is closed"}, spots[name])


def _spots(words: CruiseWords) -> dict[str, tuple[float, float]]:
    """[deg] Find where the visits lie: at the ends of legs of any boat; by the clock where no leg says so."""
    found: dict[str, tuple[float, float]] = {}
    for boat in words.plan.boats:
        for leg in boat.plan.legs:
            found.setdefault(leg.from_, leg.from_position)
            found.setdefault(leg.to, leg.to_position)
    missing = {name for leg in words.plan.legs for name in (leg.from_, leg.to)} - found.keys()
    for name in missing:
        found[name] = _place_by_time(words.plan.boats[0], words, name)
    return found


def _place_by_time(boat: BoatPlan, words: CruiseWords, name: str) -> tuple[float, float]:
    """[deg] Find where a boat is when the group leaves a place whose name her legs spell otherwise."""
    moment = next((leg.depart for leg in words.plan.legs if leg.from_ == name), boat.plan.arrive)
    before = [leg for leg in boat.plan.legs if leg.arrive <= moment]
    return before[-1].to_position if before else boat.plan.legs[0].from_position


def _docks(region: Region | None) -> dict[str, tuple[float, float]]:
    if region is None:
        return {}
    frame = region.frames["docks"]
    return {name: (spot.x, spot.y) for name, spot in zip(frame["name"], frame.geometry, strict=True)}
