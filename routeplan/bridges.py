"""Bridges, cables and locks: the lines across water that a boat can't pass, and the gates in them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from routeplan.places import write_position

if TYPE_CHECKING:
    from collections.abc import Callable

    from layers import Region
    from layers.plane import Plane
    from routeplan.boats import Boat
    from routeplan.margins import Margins

__all__ = ["Gate", "cut_bridges"]

_STRIP_HALF_M = 1.0  # [m] half the width of the strip that closes water under a low bridge
_END_REACH_M = 100.0  # [m] how far a bridge's end is extended to meet land
_GATE_WAIT_H = 10 / 60  # [h] stated default where an opening gives no wait_min (common practice: ten minutes a lift)
_GATE_REACH_M = 100.0  # [m] how near to its bridge an opening has to lie


@dataclass(frozen=True)
class Gate:
    """An opening bridge or a lock: the one way through a line that is closed to this boat.

    Parameters
    ----------
    name, kind
        As in the openings layer.
    hours
        Opening hours in OSM syntax; None where the layer gives none and it opens on request.
    must_open
        False where the boat passes under the closed span.
    wait_h
        [h] Time that an opening costs.
    vhf
        Channel to call; empty where unknown.
    sides
        [m] The point just off the line on either side.
    """

    name: str
    kind: str
    hours: str | None
    must_open: bool
    wait_h: float
    vhf: str
    sides: tuple[tuple[float, float], tuple[float, float]]


def cut_bridges(
    plane: Plane, region: Region, boat: Boat, margins: Margins, land: shapely.MultiPolygon
) -> tuple[list[shapely.Geometry], tuple[Gate, ...], list[str]]:
    """Close the lines that the boat can't pass, and find the gates in them.

    Parameters
    ----------
    plane
        The region's plane.
    region
        Its layers `overhead` and `openings` count.
    boat
        Her air draught counts.
    margins
        Air over it.
    land
        [m] Land, which a line's ends are drawn out to.

    Returns
    -------
    [m] Strips that close the water, the gates in them, and what was found doubtful, in words.
    """
    needed_m = boat.air_draught_m + margins.overhead_m
    overhead, openings = region.layer("overhead"), region.layer("openings")
    spans = [
        _Span(row.kind, row.name, line, row.clearance_m < needed_m)
        for row, line in zip(overhead.itertuples(), plane.project(overhead.geometry.array), strict=True)
    ]
    findings: list[str] = []
    places: list[tuple[Any, shapely.Geometry, shapely.Point]] = []
    shapes = plane.project(openings.geometry.array)
    for row, shape in zip(openings.itertuples(), shapes, strict=True):
        if shape.geom_type == "Point":
            # an opening bridge opens no cable, and one in a bridge that is high enough is not needed
            own = [span for span in spans if row.kind != "bridge" or span.kind == "bridge"]
            span = min(own, key=lambda s: s.line.distance(shape), default=None)
            if span is None or span.line.distance(shape) > _GATE_REACH_M:
                findings.append(f"opening {row.name} lies on no bridge within {_GATE_REACH_M:.0f} m: left out")
                continue
            if not span.is_low:
                continue
            at = _wet_point(span.line, shape, land)
            if at is None:
                findings.append(f"opening {row.name} lies over {_GATE_REACH_M:.0f} m from water: left out")
                continue
            places.append((row, span.line, at))
        elif _must_open(row, needed_m):
            spans.append(_Span(row.kind, row.name, shape, is_low=True))
            wet = [p for p in shapely.get_parts(shape.difference(land)) if p.length > 0]
            if wet:
                longest = max(wet, key=lambda p: p.length)
                places.append((row, shape, longest.interpolate(0.5, normalized=True)))
    strips = [
        _strip(
            s.name if s.kind in s.name.casefold() else f"{s.kind} {s.name}",
            s.line,
            land,
            plane,
            boat.units.room,
            findings,
        )
        for s in spans
        if s.is_low
    ]
    gates = tuple(_gate(row, line, at, needed_m) for row, line, at in places)
    return strips, gates, findings


@dataclass(frozen=True)
class _Span:
    """A bridge, cable or lock gate across water, and whether the boat has to be let through."""

    kind: str
    name: str
    line: shapely.Geometry
    is_low: bool


def _must_open(row: Any, needed_m: float) -> bool:
    return bool(row.kind == "lock" or math.isnan(row.closed_clearance_m) or row.closed_clearance_m < needed_m)


def _wet_point(line: shapely.Geometry, near: shapely.Point, land: shapely.MultiPolygon) -> shapely.Point | None:
    """[m] Find the point of a line over water that is nearest to where its opening was drawn."""
    wet = line.difference(land.buffer(2 * _STRIP_HALF_M))
    if wet.is_empty or wet.distance(near) > _GATE_REACH_M:
        return None
    return shapely.Point(shapely.get_coordinates(shapely.shortest_line(near, wet))[-1])


def _strip(
    name: str,
    line: shapely.Geometry,
    land: shapely.MultiPolygon,
    plane: Plane,
    room: Callable[[float], str],
    findings: list[str],
) -> shapely.Geometry:
    """Widen a line to a strip whose ends reach land."""
    pieces = []
    for part in shapely.get_parts(line):
        xy = shapely.get_coordinates(part)
        head, tail = _reach(xy[1], xy[0], land), _reach(xy[-2], xy[-1], land)
        for end, point in ((head, xy[0]), (tail, xy[-1])):
            if end is None:
                gap = land.distance(shapely.Point(point))
                at = write_position(tuple(plane.to_lonlat([point])[0].tolist()))
                short = (
                    "reaches no land, for there is no land layer"
                    if land.is_empty
                    else f"ends {room(gap)} short of land at {at}"
                )
                findings.append(f"{name} {short}: a gap that is left open, check the line")
        pieces.append(shapely.LineString([*([] if head is None else [head]), *xy, *([] if tail is None else [tail])]))
    return shapely.union_all(shapely.buffer(pieces, _STRIP_HALF_M, cap_style="flat", join_style="mitre"))


def _reach(inner: Any, end: Any, land: shapely.MultiPolygon) -> tuple[float, float] | None:
    """[m] Extend a bridge's end to land: straight on if that meets it, else to the nearest shore; None if too far."""
    tip = shapely.Point(end)
    along = (end - inner) / max(float(np.hypot(*(end - inner))), 1e-9)
    if land.intersects(tip):
        return tuple(end + along * _STRIP_HALF_M)
    ahead = shapely.LineString([end, end + along * _END_REACH_M]).intersection(land)
    if not ahead.is_empty:
        return tuple(end + along * (tip.distance(ahead) + _STRIP_HALF_M))
    shore = shapely.shortest_line(tip, land)
    if shore is None or shore.length > _END_REACH_M:
        return None
    foot = shapely.get_coordinates(shore)[-1]
    return tuple(foot + (foot - end) / max(shore.length, 1e-9) * _STRIP_HALF_M)


def _gate(row: Any, line: shapely.Geometry, at: shapely.Point, needed_m: float) -> Gate:
    """Stand off a step on either side of the line, square to it."""
    along = line.project(at)
    a, b = line.interpolate(max(along - 1.0, 0.0)), line.interpolate(min(along + 1.0, line.length))
    step = 2 * _STRIP_HALF_M / max(a.distance(b), 1e-9)
    nx, ny = -(b.y - a.y) * step, (b.x - a.x) * step
    must_open = _must_open(row, needed_m)
    wait_h = (_GATE_WAIT_H if math.isnan(row.wait_min) else row.wait_min / 60) if must_open else 0.0
    hours = row.opening_hours if must_open else None
    return Gate(
        row.name, row.kind, hours, must_open, wait_h, row.vhf or "", ((at.x + nx, at.y + ny), (at.x - nx, at.y - ny))
    )
