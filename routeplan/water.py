"""The water that one boat may use: the region's layers cut by its draught, its height and the margins kept.

Everything here happens in the region's plane, in metres. What is open is cut first, then drawn back by the stand-off
and simplified by a tenth of it, so that every leg clears land by nine tenths of the stand-off at the least.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from layers.errors import InputError
from layers.hours import read_hours
from layers.plane import Plane
from routeplan.mesh import grid_m_for
from routeplan.overlays import polygons_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from geopandas import GeoDataFrame

    from layers import Region
    from routeplan.boats import Boat

__all__ = [
    "SEASON_LOOKAHEAD_H",
    "CautionArea",
    "Gate",
    "Margins",
    "SpeedArea",
    "Water",
    "build_water",
    "read_margins",
    "zones_in_force",
]

_STRIP_HALF_M = 1.0  # [m] half the width of the strip that closes water under a low bridge
_CRACK_M = 1.0  # [m] half the width below which a gap between depth areas is a crack in the data
_END_REACH_M = 100.0  # [m] how far a bridge's end is extended to meet land
_SIMPLIFY_SHARE = 0.1  # of the stand-off: the most that the edge may end up nearer than it
_ARC_SEGMENTS = 4  # per quarter turn of the stand-off: few, for few corners
_ROUND_SEGMENTS = 16  # per quarter turn of what has to be nearer to round
SEASON_LOOKAHEAD_H = 72  # [h] a season that begins so soon after the departure counts from the start
_GATE_WAIT_H = 10 / 60  # [h] stated default where an opening gives no wait_min (common practice: ten minutes a lift)
_GATE_REACH_M = 100.0  # [m] how near to its bridge an opening has to lie


class Margins(BaseModel):
    """What a boat keeps clear of.

    Parameters
    ----------
    under_keel_m
        [m] Least charted water under the keel.
    overhead_m
        [m] Least air over the highest point, under bridges and cables.
    standoff_m
        [m] Distance kept from everything that closes the water.
    snap_nmi
        [nmi] How far a place may lie from navigable water and still be joined to it.
    allow_unsurveyed
        Whether water without charted depth may be used.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    under_keel_m: float = Field(default=0.5, ge=0, le=50)
    overhead_m: float = Field(default=0.5, ge=0, le=50)
    standoff_m: float = Field(default=50.0, ge=5, le=2000)
    snap_nmi: float = Field(default=0.5, ge=0, le=5)
    allow_unsurveyed: bool = False


@dataclass(frozen=True)
class SpeedArea:
    """Water in which one speed limit holds; areas don't overlap, the lowest limit wins.

    Parameters
    ----------
    limit_kn
        [kn] Fastest speed through water.
    names
        The zones it comes from.
    shape
        [m] Polygon in the plane.
    """

    limit_kn: float
    names: tuple[str, ...]
    shape: shapely.Geometry


@dataclass(frozen=True)
class CautionArea:
    """A zone that doesn't close the water but belongs on the leg that crosses it.

    Parameters
    ----------
    name, rule, why
        As in the zones layer.
    direction_deg
        [deg] Direction of a traffic lane; None elsewhere.
    shape
        [m] Polygon in the plane.
    """

    name: str
    rule: str
    why: str
    direction_deg: float | None
    shape: shapely.Geometry


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


@dataclass(frozen=True, eq=False)
class Water:
    """The water of one region for one boat.

    Parameters
    ----------
    plane
        The region's plane.
    grid_m
        [m] Step of the grid that `navigable` lies on.
    margins
        What was kept clear of.
    navigable
        [m] Where legs run: open water drawn back by the stand-off.
    open
        [m] Open water before the stand-off.
    barrier
        [m] What not even an approach crosses: land, no-entry zones, low bridges and cables.
    land
        [m] Land alone.
    closed
        [m] Water closed to this boat, by reason: `shoal`, `unsurveyed`, `hazard`, `no-entry`.
    gates
        Openings through the barrier.
    speed_areas
        Where limits hold, lowest limit first.
    caution_areas
        Zones that put a caution on a leg.
    unsurveyed
        [m] Water without charted depth, closed or not; empty where the region has no depth layer.
    depth_checked
        False where the region has no depth layer.
    findings
        What was found doubtful while cutting, in words.
    """

    plane: Plane
    grid_m: float
    margins: Margins
    navigable: shapely.MultiPolygon
    open: shapely.MultiPolygon
    barrier: shapely.MultiPolygon
    land: shapely.MultiPolygon
    closed: Mapping[str, shapely.MultiPolygon]
    gates: tuple[Gate, ...]
    speed_areas: tuple[SpeedArea, ...]
    caution_areas: tuple[CautionArea, ...]
    unsurveyed: shapely.MultiPolygon
    depth_checked: bool
    findings: tuple[str, ...]


def build_water(region: Region, boat: Boat, margins: Margins, when: datetime | None = None) -> Water:
    """Cut the water that a boat may use out of a region.

    Parameters
    ----------
    region
        Layers on WGS 84.
    boat
        Its draught, air draught and no-wake speed count.
    margins
        Clearances and stand-off.
    when
        Zone-aware departure, for zones with a season: they count if in season within three days of it. None counts all.

    Returns
    -------
    The water, in the region's plane.
    """
    plane = Plane(region.about.extent)
    box = plane.box()
    land = _union(plane.project(region.layer("land").geometry.array), box)
    zones = zones_in_force(region.layer("zones"), region.zone, when)
    zone_shapes = _repair(plane.project(zones.geometry.array))
    rule = zones["rule"].to_numpy()
    depth = region.layer("depth")
    depth_shapes = _repair(plane.project(depth.geometry.array))
    shoal = depth["min_depth_m"].to_numpy(dtype=float) < boat.draught_m + margins.under_keel_m
    closed = {
        "shoal": _union(depth_shapes[shoal], box, without=land),
        "hazard": _union(_keep_off(plane, region.layer("hazards")), box, without=land),
        "no-entry": _union(zone_shapes[rule == "no-entry"], box, without=land),
    }
    depth_checked = "depth" in region.present
    unsurveyed = shapely.MultiPolygon()
    if depth_checked:
        gaps = box.difference(shapely.union_all([*depth_shapes, land]))
        # neighbours whose shared edge has corners of its own on one side leave hairline cracks: they aren't unsurveyed
        unsurveyed = polygons_of(gaps.buffer(-_CRACK_M, join_style="mitre").buffer(_CRACK_M, join_style="mitre"))
        if not margins.allow_unsurveyed:
            closed["unsurveyed"] = unsurveyed
    strips, gates, findings = _cut_bridges(plane, region, boat, margins, land)
    barrier = polygons_of(shapely.union_all([land, closed["no-entry"], *strips]))
    shut = shapely.union_all([barrier, *closed.values()])
    opened = polygons_of(box.difference(shut))
    poor = None
    if region.about.poor_survey_standoff_m is not None and depth_checked:
        poor = shapely.union_all(depth_shapes[depth["survey"].to_numpy() == "poor"])
    west, south, east, north = box.bounds
    grid_m = grid_m_for(max(east - west, north - south))
    return Water(
        plane=plane,
        grid_m=grid_m,
        margins=margins,
        navigable=_draw_back(opened, margins.standoff_m, poor, region.about.poor_survey_standoff_m, grid_m),
        open=opened,
        barrier=barrier,
        land=land,
        closed=closed,
        gates=gates,
        speed_areas=_speed_areas(zones, zone_shapes, boat.no_wake_kn),
        caution_areas=(
            *_caution_areas(zones, zone_shapes),
            *_stream_areas(plane, region),
            *(
                CautionArea("poorly surveyed water", "caution", "less is charted than is there", None, shape)
                for shape in depth_shapes[depth["survey"].to_numpy() == "poor"]
            ),
        ),
        unsurveyed=unsurveyed,
        depth_checked=depth_checked,
        findings=tuple(findings),
    )


def _repair(shapes: Any) -> Any:
    """Mend the rings that projecting a hair's breadth apart may have made touch."""
    shapes = np.asarray(shapes, dtype=object)
    bad = ~shapely.is_valid(shapes)
    shapes[bad] = shapely.make_valid(shapes[bad])
    return shapes


def _union(shapes: Any, box: shapely.Polygon, without: shapely.Geometry | None = None) -> shapely.MultiPolygon:
    whole = shapely.union_all(_repair(shapes)).intersection(box)
    return polygons_of(whole if without is None else whole.difference(without))


def _keep_off(plane: Plane, hazards: GeoDataFrame) -> Any:
    shapes = plane.project(hazards.geometry.array)
    return shapely.buffer(
        shapes, _circumscribed(hazards["keep_off_m"].to_numpy(dtype=float), _ROUND_SEGMENTS), quad_segs=_ROUND_SEGMENTS
    )


def _circumscribed(metres: Any, segments: int) -> Any:
    """[m] Widen a buffer so that the chords of its arcs don't cut inside the distance asked for."""
    return metres / math.cos(math.pi / (4 * segments))


def zones_in_force(zones: GeoDataFrame, zone: ZoneInfo, when: datetime | None) -> GeoDataFrame:
    """Keep the zones whose season may be on at some time of a passage.

    Parameters
    ----------
    zones
        The zones layer.
    zone
        The region's time zone.
    when
        Zone-aware departure; None keeps all.

    Returns
    -------
    The rows that count, with their own index.
    """
    if when is None or not len(zones):
        return zones
    keep = []
    for season in zones["season"]:
        until = when + timedelta(hours=SEASON_LOOKAHEAD_H)
        keep.append(not season or read_hours(season, zone).may_open_within(when, until))
    return zones[keep]


def _draw_back(
    opened: shapely.MultiPolygon,
    standoff_m: float,
    poor: shapely.Geometry | None,
    poor_standoff_m: float | None,
    grid_m: float,
) -> shapely.MultiPolygon:
    """Keep the stand-off, with few corners, on the grid."""
    slack = standoff_m * _SIMPLIFY_SHARE
    kept = opened.buffer(-_circumscribed(standoff_m, _ARC_SEGMENTS), quad_segs=_ARC_SEGMENTS)
    limit = opened.buffer(-(standoff_m - slack), quad_segs=_ROUND_SEGMENTS)
    if poor is not None and poor_standoff_m is not None and poor_standoff_m > standoff_m:
        wide = _circumscribed(poor_standoff_m, _ROUND_SEGMENTS)
        kept = kept.difference(poor.difference(opened.buffer(-wide, quad_segs=_ROUND_SEGMENTS)))
        limit = limit.difference(poor.difference(opened.buffer(-(wide - slack), quad_segs=_ROUND_SEGMENTS)))
    simple = kept.simplify(0.9 * slack)
    if not (simple.is_valid and limit.covers(simple)):  # simplifying bulged out, or joined two sides of a neck
        simple = shapely.make_valid(simple).intersection(limit)
    return polygons_of(shapely.set_precision(simple, grid_m))


def _cut_bridges(
    plane: Plane, region: Region, boat: Boat, margins: Margins, land: shapely.MultiPolygon
) -> tuple[list[shapely.Geometry], tuple[Gate, ...], list[str]]:
    """Close the lines that the boat can't pass, and find the gates in them."""
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
    strips = [_strip(f"{s.kind} {s.name}", s.line, land, findings) for s in spans if s.is_low]
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


def _strip(name: str, line: shapely.Geometry, land: shapely.MultiPolygon, findings: list[str]) -> shapely.Geometry:
    """Widen a line to a strip whose ends reach land."""
    pieces = []
    for part in shapely.get_parts(line):
        xy = shapely.get_coordinates(part)
        head, tail = _reach(xy[1], xy[0], land), _reach(xy[-2], xy[-1], land)
        for end, point in ((head, xy[0]), (tail, xy[-1])):
            if end is None:
                gap = land.distance(shapely.Point(point))
                short = (
                    "reaches no land, for there is no land layer"
                    if land.is_empty
                    else f"ends {gap:.0f} m short of land"
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


def _speed_areas(zones: GeoDataFrame, shapes: Any, no_wake_kn: float) -> tuple[SpeedArea, ...]:
    """Make zones with limits disjoint, the lowest limit first."""
    limited: dict[float, tuple[list[str], list[Any]]] = {}
    for row, shape in zip(zones.itertuples(), shapes, strict=True):
        if row.rule not in ("no-wake", "speed-limit"):
            continue
        limit = no_wake_kn if row.rule == "no-wake" else row.limit_kn
        names, members = limited.setdefault(float(limit), ([], []))
        names.append(row.name)
        members.append(shape)
    areas: list[SpeedArea] = []
    taken: shapely.Geometry = shapely.Polygon()
    for limit in sorted(limited):
        names, members = limited[limit]
        whole = shapely.union_all(members)
        areas.append(SpeedArea(limit, tuple(names), polygons_of(whole.difference(taken))))
        taken = taken.union(whole)
    return tuple(areas)


def _caution_areas(zones: GeoDataFrame, shapes: Any) -> tuple[CautionArea, ...]:
    return tuple(
        CautionArea(
            row.name, row.rule, row.why or "", None if math.isnan(row.direction_deg) else row.direction_deg, shape
        )
        for row, shape in zip(zones.itertuples(), shapes, strict=True)
        if row.rule in ("traffic-lane", "bar", "caution")
    )


def _stream_areas(plane: Plane, region: Region) -> list[CautionArea]:
    """Put a caution where tidal streams run: a plan for still water doesn't count them."""
    currents = region.layer("currents")
    areas = []
    for row, shape in zip(currents.itertuples(), plane.project(currents.geometry.array), strict=True):
        parts = [part.split() for part in row.constituents.split(";") if part.strip()]
        rate_kn = abs(row.mean_kn) + sum(abs(float(part[1])) for part in parts if len(part) > 1)
        areas.append(
            CautionArea(row.name, "stream", f"streams up to about {rate_kn:.1f} kn, not allowed for", None, shape)
        )
    return areas


def read_margins(given: Mapping[str, float], *, allow_unsurveyed: bool) -> Margins:
    """Make margins of what was given on the command line.

    Parameters
    ----------
    given
        Values by field, in metres and nautical miles.
    allow_unsurveyed
        Whether water without charted depth may be used.

    Returns
    -------
    The margins, the rest at their defaults.

    Raises
    ------
    InputError
        A value is outside its limits.
    """
    try:
        return Margins(**given, allow_unsurveyed=allow_unsurveyed)
    except ValidationError as error:
        first = error.errors()[0]
        field = str(first["loc"][0])
        option = {"standoff_m": "--stand-off"}.get(field, f"--{field.rsplit('_', 1)[0].replace('_', '-')}")
        unit = field.rsplit("_", 1)[1]
        limit = first["msg"].removeprefix("Input should be ")
        raise InputError(option, f"must be {limit} {unit}", value=f"{given[field]:g} {unit}") from error
