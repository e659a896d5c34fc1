"""A passage as layers: what a map draws and a GIS program opens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import shapely

from layers.checking import build_layer
from layers.plane import geodesic_ring
from layers.schema import COMPUTED
from routeplan.fuel import promised_range_nmi
from routeplan.network import unreached_docks
from routeplan.plan_words import PlanWords, is_before_leaving
from routeplan.units_shown import shown_distance, shown_distance_down, shown_speed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.fuel import FuelAboard
    from routeplan.passage import Passage
    from routeplan.plans import Leg, Plan, Stop
    from routeplan.stream_words import StreamWords
    from routeplan.water import Water
    from routeplan.words import Words

__all__ = ["closed_water_layer", "dock_layer", "dock_state", "draw_rings", "layers_of", "rings_layer", "streams_layer"]

_Mark: TypeAlias = "tuple[dict[str, Any], tuple[float, float]]"  # a row of the stops layer, and where it is

_RING_STEPS_NMI = (5, 10, 20, 25, 50, 100, 200, 500)  # [nmi] round figures to judge by
_MOST_RINGS = 4
_REASONS = {
    "shoal": "Too shallow for {boat}",
    "unsurveyed": "Unsurveyed: no charted depth",
    "hazard": "Hazard: keep off",
    "no-entry": "No entry",
}


def layers_of(passage: Passage, plan: Plan | None = None) -> dict[str, GeoDataFrame]:
    """Make the layers of one plan.

    Parameters
    ----------
    passage
        The answer to a trip.
    plan
        One of its plans; the recommended one where None.

    Returns
    -------
    Layers by name, on WGS 84, in the form of `layers.COMPUTED`: legs, stops, rings, closed_water, dock_marks; and
    streams_met where the plan meets currents.
    """
    plan = plan or passage.recommended
    region = passage.network.region
    words = PlanWords(passage.boat, region.zone, region.about.currency, passage.speed_kn)
    met = {"streams_met": streams_layer(plan, words)} if plan.streams else {}
    return {
        "legs": _legs(passage, plan, words),
        **met,
        "stops": _stops(passage, plan, words),
        "rings": rings_layer(
            passage.boat, plan.legs[0].from_position, passage.trip.aboard, passage.speed_kn, passage.trip.confidence
        ),
        "closed_water": closed_water_layer(passage.network.water, passage.boat),
        "dock_marks": dock_layer(passage.docks, words, unreached_docks(passage.network)),
    }


def rings_layer(
    boat: Boat, position: tuple[float, float], aboard: FuelAboard, speed_kn: float, confidence: float
) -> GeoDataFrame:
    """Draw range rings: the promised distance and round figures inside it.

    Parameters
    ----------
    boat
        The boat.
    position
        [deg] Longitude and latitude of the middle.
    aboard
        Fuel aboard there.
    speed_kn
        [kn] Speed.
    confidence
        Share of arrivals that keep the reserve.

    Returns
    -------
    The `rings` layer. Plain geodesic circles: they don't know of land.
    """
    promised_nmi = promised_range_nmi(boat, aboard, speed_kn, confidence)
    if promised_nmi <= 0:
        return build_layer(COMPUTED["rings"], [], [])
    step = next((s for s in _RING_STEPS_NMI if promised_nmi / s <= _MOST_RINGS + 1), _RING_STEPS_NMI[-1])
    marks = [m for m in range(step, int(promised_nmi) + 1, step) if promised_nmi - m > step / 5]
    return draw_rings(position, marks, promised_nmi, speed_kn)


def draw_rings(
    position: tuple[float, float], marks_nmi: Sequence[float], promised_nmi: float, speed_kn: float
) -> GeoDataFrame:
    """Draw the promised distance and marks beside it.

    Parameters
    ----------
    position
        [deg] Longitude and latitude of the middle.
    marks_nmi
        [nmi] Radii to judge by.
    promised_nmi
        [nmi] Promised distance.
    speed_kn
        [kn] Speed that it is promised at.

    Returns
    -------
    The `rings` layer, marks first.
    """
    promised = shown_distance_down(promised_nmi)
    rows: list[dict[str, Any]] = [
        {"title": f"{m:g} nmi in a straight line", "label": f"{m:g} nmi", "kind": "mark", "distance_nmi": float(m)}
        for m in marks_nmi
    ]
    rows.append(
        {
            "title": f"Promised range at {shown_speed(speed_kn)}: {promised}, in a straight line",
            "label": f"{promised}, straight line",
            "kind": "promised",
            "distance_nmi": promised_nmi,
        }
    )
    return build_layer(COMPUTED["rings"], rows, [geodesic_ring(position, row["distance_nmi"]) for row in rows])


def closed_water_layer(water: Water, boat: Boat) -> GeoDataFrame:
    """Draw the water that is closed to a boat.

    Parameters
    ----------
    water
        The boat's water.
    boat
        The boat.

    Returns
    -------
    The `closed_water` layer, one row a reason.
    """
    shut = {reason: shape for reason, shape in water.closed.items() if not shape.is_empty}
    rows = [{"reason": r, "title": _REASONS[r].format(boat=boat.name)} for r in shut]
    return build_layer(COMPUTED["closed_water"], rows, [water.plane.unproject(shape) for shape in shut.values()])


def dock_layer(docks: Sequence[Dock], words: Words, unreached: Mapping[str, str]) -> GeoDataFrame:
    """Draw every fuel dock, those that suit apart from the rest.

    Parameters
    ----------
    docks
        The docks as the boat meets them.
    words
        Units, time and currency.
    unreached
        Why docks can't be reached from navigable water, by name.

    Returns
    -------
    The `dock_marks` layer.
    """
    rows = [
        {
            "name": d.name,
            "suits": d.suits and d.name not in unreached,
            "state": dock_state(d, unreached),
            "title": d.name,
            "text": "\n".join(words.dock_lines(d, unreached.get(d.name, ""))),
            "label": d.name,
        }
        for d in docks
    ]
    return build_layer(COMPUTED["dock_marks"], rows, [shapely.Point(d.position) for d in docks])


def streams_layer(plan: Plan, words: StreamWords) -> GeoDataFrame:
    """Draw the currents that a plan meets, each where it is met strongest.

    Parameters
    ----------
    plan
        The plan.
    words
        Time.

    Returns
    -------
    The `streams_met` layer, in order; empty in still water.
    """
    rows = [
        {
            "order": i,
            "name": stream.name,
            "set_deg": stream.set_deg,
            "drift_kn": stream.drift_kn,
            "enter": words.day_and_clock(stream.enter),
            "leave": words.day_and_clock(stream.leave),
            "title": f"Current met: {stream.name}",
            "text": "\n".join(words.stream_texts(stream)),
            "label": f"current {stream.drift_kn:.1f} kn",
        }
        for i, stream in enumerate(plan.streams, start=1)
    ]
    return build_layer(COMPUTED["streams_met"], rows, [shapely.Point(stream.position) for stream in plan.streams])


def dock_state(dock: Dock, unreached: Mapping[str, str]) -> str:
    """Tell what a dock is to a boat.

    Parameters
    ----------
    dock
        As the boat meets it.
    unreached
        Why docks can't be reached from navigable water, by name.

    Returns
    -------
    `good`, `doubtful`, `unsuitable` or `out of reach`.
    """
    if not dock.suits:
        return "unsuitable"
    if dock.name in unreached:
        return "out of reach"
    return "doubtful" if dock.doubts else "good"


def _legs(passage: Passage, plan: Plan, words: PlanWords) -> GeoDataFrame:
    rows = [
        {
            "order": i,
            "from_name": leg.from_,
            "to_name": leg.to,
            "kind": leg.kind,
            "depth_checked": leg.depth_checked,
            "distance_nmi": leg.distance_nmi,
            "course_deg": leg.course_deg,
            "speed_kn": leg.speed_kn,
            "steer_deg": leg.steer_deg,
            "ground_kn": leg.ground_kn,
            "set_deg": leg.set_deg,
            "drift_kn": leg.drift_kn,
            "fuel_l": leg.fuel_l,
            "aboard_after_l": leg.aboard_after_l,
            "aboard_after_low_l": leg.aboard_after_low_l,
            "depart": words.day_and_clock(leg.depart),
            "arrive": words.day_and_clock(leg.arrive),
            "title": f"Leg {i} to {leg.to}, {shown_distance(leg.distance_nmi)}",
            "text": "\n".join(words.leg_lines(leg)),
            "cautions": "\n".join(leg.cautions) or None,
        }
        for i, leg in enumerate(plan.legs, start=1)
    ]
    return build_layer(COMPUTED["legs"], rows, [_line(passage, leg) for leg in plan.legs])


def _line(passage: Passage, leg: Leg) -> Any:
    """[deg] The leg as it runs: straight in the plane, so bent a little on the globe; cut at the 180th meridian."""
    plane = passage.network.water.plane
    return plane.unproject(shapely.LineString(plane.to_plane([leg.from_position, leg.to_position])))


def _stops(passage: Passage, plan: Plan, words: PlanWords) -> GeoDataFrame:
    """Draw start, fuel stops and finish in their order, then the alternates, each place once."""
    first = plan.stops[:1] if plan.stops and is_before_leaving(plan, plan.stops[0]) else ()
    drawn = [_start(passage, plan, words, first)]
    for i, stop in enumerate(plan.stops):
        if stop not in first:
            drawn.append((_fuel_stop(plan, i, words), stop.position))
    drawn.append((_finish(plan, words), plan.legs[-1].to_position))
    marks = {row["name"]: row for row, _ in reversed(drawn)}
    by_name = {t.place.name: t.place.position for t in passage.network.terminals}
    for i, stop in enumerate(plan.stops, start=1):
        alternate = stop.alternate
        if alternate is None:
            continue
        text = f"From {stop.dock}: {words.alternate_line(alternate)}"
        mark = marks.get(alternate.name)
        if mark is None:
            marks[alternate.name] = {
                "name": alternate.name,
                "kind": "alternate",
                "title": f"If {stop.dock} is closed: {alternate.name}",
                "text": text,
                "label": f"if stop {i} is closed",
            }
            drawn.append((marks[alternate.name], by_name[alternate.name]))
        elif mark["kind"] == "alternate":
            mark["title"] = mark["title"].replace(" is closed:", f" or {stop.dock} is closed:")
            mark["label"] = mark["label"].replace(" is closed", f" or {i} is closed")
            mark["text"] += f"\n{text}"
        else:
            mark["text"] += f"\nIf {stop.dock} is closed, from there: {words.alternate_line(alternate)}"
    skipped = len(first)  # numbers are those of the stops, also where the first is drawn as the start
    rows = [{"order": i + (skipped if i else 0), **row} for i, (row, _) in enumerate(drawn)]
    return build_layer(COMPUTED["stops"], rows, [shapely.Point(position) for _, position in drawn])


def _start(passage: Passage, plan: Plan, words: PlanWords, fills: Sequence[Stop]) -> _Mark:
    first, aboard = plan.legs[0], passage.trip.aboard
    waits = [words.wait_line(wait) for wait in plan.waits]
    leave = [f"Leave {words.day_and_clock(plan.depart)}"] if not fills else []
    row = {
        "name": first.from_,
        "kind": "start",
        "title": f"Start{' and stop 1, before leaving' if fills else ''}: {first.from_}",
        "text": "\n".join(
            [*leave, f"Aboard: {aboard.how}", *(line for s in fills for line in words.stop_lines(plan, s)), *waits]
        ),
        "label": f"{words.units.volume(aboard.mean_l)} aboard{', fill first' if fills else ''}",
        "take_l": fills[0].take_l if fills else None,
        "aboard_l": aboard.mean_l,
    }
    return row, first.from_position


def _fuel_stop(plan: Plan, index: int, words: PlanWords) -> dict[str, Any]:
    stop = plan.stops[index]
    broken = "" if stop.keeps_closed_dock_rule else "! no way on if closed; "
    return {
        "name": stop.dock,
        "kind": "fuel stop",
        "title": words.stop_title(plan, index),
        "text": "\n".join(words.stop_lines(plan, stop)),
        "label": f"{broken}{words.when(stop.arrive, plan.depart)}, {words.left(stop.aboard_low_l)}",
        "take_l": stop.take_l,
        "aboard_l": stop.aboard_l,
        "aboard_low_l": stop.aboard_low_l,
        "arrive": words.day_and_clock(stop.arrive),
    }


def _finish(plan: Plan, words: PlanWords) -> dict[str, Any]:
    ashore = f"Next fuel: {words.alternate_line(plan.onward)}" if plan.onward else ""
    left = words.aboard(plan.aboard_on_arrival_l, plan.aboard_on_arrival_low_l)
    return {
        "name": plan.legs[-1].to,
        "kind": "finish",
        "title": f"Finish: {plan.legs[-1].to}",
        "text": f"Arrive {words.day_and_clock(plan.arrive)} with {left}\n{ashore}".strip(),
        "label": f"{words.when(plan.arrive, plan.depart)}, {words.left(plan.aboard_on_arrival_low_l)}",
        "aboard_l": plan.aboard_on_arrival_l,
        "aboard_low_l": plan.aboard_on_arrival_low_l,
        "arrive": words.day_and_clock(plan.arrive),
    }
