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

from layers.constituents import read_constituents
from layers.errors import InputError
from layers.hours import read_hours
from layers.plane import METRES_PER_NMI, Plane
from routeplan.bridges import cut_bridges
from routeplan.mesh import grid_m_for
from routeplan.overlays import polygons_of, union_of
from routeplan.standing_off import ROUND_SEGMENTS, Poor, circumscribed, draw_back, with_narrows

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from geopandas import GeoDataFrame

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.bridges import Gate
    from routeplan.margins import Margins

__all__ = [
    "POOR_SURVEY",
    "SEASON_LOOKAHEAD_H",
    "CautionArea",
    "SpeedArea",
    "Water",
    "build_water",
    "zones_in_force",
]

POOR_SURVEY = "poorly surveyed water"  # name of the caution on it
_MOST_EXCESS = 5e-4  # of a leg: the most by which it may be longer than the geodesic
_WIDEST_NMI = 1600.0  # [nmi] from corner to corner in the plane: 1,500 on the globe, and what the scale may make of it
_CRACK_M = 1.0  # [m] half the width below which a gap between depth areas is a crack in the data
SEASON_LOOKAHEAD_H = 72  # [h] a season that begins so soon after the departure counts from the start


@dataclass(frozen=True)
class SpeedArea:
    """Water of one kind: where one speed limit holds, or a fairway; areas don't overlap, the lowest limit wins.

    Parameters
    ----------
    limit_kn
        [kn] Fastest speed through water; infinite in a fairway without a limit.
    names
        The zones it comes from.
    shape
        [m] Polygon in the plane.
    why
        Why the boat goes slowly there, where it isn't a zone that says so; else empty.
    fairway
        Whether it is a marked fairway, where fairways are preferred.
    """

    limit_kn: float
    names: tuple[str, ...]
    shape: shapely.Geometry
    why: str = ""
    fairway: bool = False


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
    strips, gates, findings = cut_bridges(plane, region, boat, margins, land)
    barrier = polygons_of(union_of([land, closed["no-entry"], *strips]))
    shut = union_of([barrier, *closed.values()])
    opened = polygons_of(box.difference(shut))
    west, south, east, north = box.bounds
    grid_m = grid_m_for(max(east - west, north - south))
    poor_m = margins.poor_survey_standoff_m or region.about.poor_survey_standoff_m
    poor = Poor(depth_shapes[depth["survey"].to_numpy() == "poor"], poor_m)
    navigable = draw_back(opened, box, margins.standoff_m, poor, grid_m)
    narrows = shapely.MultiPolygon()
    if margins.planing_standoff_m is not None and margins.planing_standoff_m > margins.standoff_m:
        wide = draw_back(opened, box, margins.planing_standoff_m, poor, grid_m)
        apart_m = margins.planing_standoff_m - margins.standoff_m
        places = [point.coords[0] for layer in ("docks", "waypoints") for point in region.layer(layer).geometry]
        navigable, narrows = with_narrows(
            wide, navigable, box, plane.to_plane(places), apart_m, margins.snap_nmi * METRES_PER_NMI, grid_m
        )
    return Water(
        plane=plane,
        grid_m=grid_m,
        margins=margins,
        navigable=navigable,
        open=opened,
        barrier=barrier,
        land=land,
        closed=closed,
        gates=gates,
        speed_areas=_speed_areas(
            zones,
            zone_shapes,
            boat.no_wake_kn,
            None if narrows.is_empty else _slow_narrows(boat, margins, narrows),
            fairways=margins.fairways,
        ),
        caution_areas=(
            *_caution_areas(zones, zone_shapes),
            *_stream_areas(plane, region),
            *(
                CautionArea(POOR_SURVEY, "caution", "less is charted than is there", None, shape)
                for shape in depth_shapes[depth["survey"].to_numpy() == "poor"]
            ),
        ),
        unsurveyed=unsurveyed,
        depth_checked=depth_checked,
        findings=(*findings, *_asked_in_vain(region, margins), *_too_wide(plane)),
    )


def _asked_in_vain(region: Region, margins: Margins) -> list[str]:
    """Say what was asked to be kept that this region knows nothing of."""
    zones, depth = region.layer("zones"), region.layer("depth")
    said = []
    if margins.fairways and not (zones["rule"] == "fairway").any():
        said.append("no fairway is marked in these waters: --fairways changes nothing")
    if margins.poor_survey_standoff_m is not None and not (depth["survey"] == "poor").any():
        said.append("nothing tells where the survey is poor: --poor-survey-stand-off changes nothing")
    return said


def _too_wide(plane: Plane) -> list[str]:
    """Say where an extent is larger than the plane can be true to."""
    box = plane.box()
    west, south, east, north = box.bounds
    if plane.most_excess <= _MOST_EXCESS and np.hypot(east - west, north - south) <= _WIDEST_NMI * METRES_PER_NMI:
        return []
    larger = "the extent is larger than 1,500 nmi from corner to corner"
    return [f"{larger}: distances kept and steered are not true in it; cut it to the waters of this passage"]


def _repair(shapes: Any) -> Any:
    """Mend the rings that projecting a hair's breadth apart may have made touch."""
    shapes = np.asarray(shapes, dtype=object)
    bad = ~shapely.is_valid(shapes)
    shapes[bad] = shapely.make_valid(shapes[bad])
    return shapes


def _union(shapes: Any, box: shapely.Polygon, without: shapely.Geometry | None = None) -> shapely.MultiPolygon:
    whole = union_of(_repair(shapes)).intersection(box)
    return polygons_of(whole if without is None else whole.difference(without))


def _keep_off(plane: Plane, hazards: GeoDataFrame) -> Any:
    shapes = plane.project(hazards.geometry.array)
    return shapely.buffer(
        shapes, circumscribed(hazards["keep_off_m"].to_numpy(dtype=float), ROUND_SEGMENTS), quad_segs=ROUND_SEGMENTS
    )


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


def _slow_narrows(boat: Boat, margins: Margins, narrows: shapely.MultiPolygon) -> SpeedArea:
    """Go at displacement speed where there is no room for the stand-off that planing asks for."""
    if boat.burn.unsteady_kn is None:
        raise InputError(
            "--planing-stand-off",
            f"{boat.name}'s file doesn't tell at which speeds she planes",
            remedy="add unsteady_kn to [burn], the speeds over the hump that she can't hold",
        )
    why = f"for want of room: nearer than {margins.planing_standoff_m:g} m to the shore or a danger"
    return SpeedArea(boat.burn.unsteady_kn[0], (), narrows, why)


def _speed_areas(
    zones: GeoDataFrame, shapes: Any, no_wake_kn: float, narrows: SpeedArea | None, *, fairways: bool
) -> tuple[SpeedArea, ...]:
    """Make water of one kind each, disjoint, the lowest limit first."""
    limited: dict[tuple[float, str], tuple[list[str], list[Any]]] = {}
    for row, shape in zip(zones.itertuples(), shapes, strict=True):
        if row.rule not in ("no-wake", "speed-limit"):
            continue
        limit = no_wake_kn if row.rule == "no-wake" else row.limit_kn
        names, members = limited.setdefault((float(limit), ""), ([], []))
        names.append(row.name)
        members.append(shape)
    if narrows is not None:
        limited.setdefault((narrows.limit_kn, narrows.why), ([], []))[1].append(narrows.shape)
    marked = [(row.name, s) for row, s in zip(zones.itertuples(), shapes, strict=True) if row.rule == "fairway"]
    if fairways and marked:
        limited[math.inf, ""] = ([name for name, _ in marked], [shape for _, shape in marked])
    fairway = shapely.union_all([shape for _, shape in marked]) if fairways else shapely.Polygon()
    areas: list[SpeedArea] = []
    taken: shapely.Geometry = shapely.Polygon()
    for limit, why in sorted(limited):
        names, members = limited[limit, why]
        whole = shapely.union_all(members)
        own = polygons_of(whole.difference(taken))
        within = polygons_of(own.intersection(fairway))
        if not within.is_empty:
            areas.append(SpeedArea(limit, tuple(names), within, why, fairway=True))
            own = polygons_of(own.difference(fairway))
        if not own.is_empty:
            areas.append(SpeedArea(limit, tuple(names), own, why))
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
        rate_kn = abs(row.mean_kn) + sum(harmonic.amplitude_kn for harmonic in read_constituents(row.constituents))
        areas.append(
            CautionArea(row.name, "stream", f"streams up to about {rate_kn:.1f} kn, not allowed for", None, shape)
        )
    return areas
