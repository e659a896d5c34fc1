"""What a plan from a file must keep to, whoever wrote it: positions on the globe, moments, figures that can be."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from routeplan.helm import Helm
    from routeplan.plans import Plan

__all__ = ["find_fault"]

_LARGEST = 1_000_000.0  # of any figure: litres, miles, money
_YEARS = (1970, 2199)  # time zones are known for these
_MOST_POINTS = 200_000  # of a track
_FASTEST_KN = 150.0  # kn, as in a boat file


def find_fault(plan: Plan, helm: Helm) -> str:
    """Find the first thing that can't be in a plan.

    Parameters
    ----------
    plan
        The plan.
    helm
        What the helm checks.

    Returns
    -------
    Where and what, in words; empty where all can be.
    """
    faults = (
        *_figures({"plan": plan.model_dump(), "helm": helm.model_dump()}, ""),
        *_legs(plan),
        *_stops(plan),
        *_track(plan.track),
    )
    return next(iter(faults), "")


def _figures(value: Any, where: str) -> Iterator[str]:
    if isinstance(value, dict):
        for key, part in value.items():
            if key != "track":
                yield from _figures(part, f"{where}.{key}" if where else str(key))
    elif isinstance(value, list | tuple):
        for number, part in enumerate(value):
            yield from _figures(part, f"{where}.{number}")
    elif isinstance(value, int | float) and not isinstance(value, bool) and abs(value) > _LARGEST:
        yield f"{where}: {value:g} is beyond {_LARGEST:,.0f}"
    elif isinstance(value, datetime) and not _YEARS[0] <= value.year <= _YEARS[1]:
        yield f"{where}: out of the years {_YEARS[0]} to {_YEARS[1]}"


def _legs(plan: Plan) -> Iterator[str]:
    for number, leg in enumerate(plan.legs):
        where = f"plan.legs.{number}"
        for position in (leg.from_position, leg.to_position):
            if not _is_position(position):
                yield f"{where}: {position} is no position on the globe"
        if not 0 <= leg.course_deg <= 360:
            yield f"{where}.course_deg: {leg.course_deg:g} is not within 0 to 360"
        if not 0 < leg.speed_kn <= _FASTEST_KN:
            yield f"{where}.speed_kn: {leg.speed_kn:g} is not above 0 and up to {_FASTEST_KN:g}"
        if min(leg.distance_nmi, leg.fuel_l) < 0 or leg.arrive < leg.depart:
            yield f"{where}: distance, fuel or time runs backwards"
    for number, (one, other) in enumerate(pairwise(plan.legs), start=1):
        if other.depart < one.depart:
            yield f"plan.legs.{number}: begins before the leg before it"


def _stops(plan: Plan) -> Iterator[str]:
    for number, stop in enumerate(plan.stops):
        if not _is_position(stop.position):
            yield f"plan.stops.{number}: {stop.position} is no position on the globe"
        if not stop.why or not stop.dock.strip():
            yield f"plan.stops.{number}: has no name or no reason"
        if stop.take_l < 0:
            yield f"plan.stops.{number}.take_l: {stop.take_l:g} is below 0"


def _track(track: dict[str, Any]) -> Iterator[str]:
    lines = track.get("coordinates")
    kind = track.get("type")
    if kind not in {"LineString", "MultiLineString"} or not isinstance(lines, list):
        yield "plan.track: is no GeoJSON line"
        return
    parts = [lines] if kind == "LineString" else lines
    if not parts or not all(isinstance(part, list) and _is_line(part) for part in parts):
        yield "plan.track: has a position that is none, or too many"


def _is_line(points: list[Any]) -> bool:
    return 2 <= len(points) <= _MOST_POINTS and all(
        isinstance(p, list | tuple) and len(p) == 2 and all(isinstance(v, int | float) for v in p) and _is_position(p)
        for p in points
    )


def _is_position(position: Iterable[float]) -> bool:
    lon, lat = position
    return abs(lon) <= 180 and abs(lat) <= 90
