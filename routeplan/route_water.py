"""What a straight leg of a given route meets: land, shoals, hazards, closed zones, low bridges, unsurveyed water.

Legs of a plan never leave the boat's water, so nobody has to ask what they meet. Legs that somebody drew do; what is
asked for then is where along the leg, how bad, and what it is called.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
import shapely.ops

from routeplan.water import zones_in_force

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.bridges import Gate
    from routeplan.network import Network
    from routeplan.route_checked import HitKind

    Shapes = NDArray[np.object_]
    Points = NDArray[np.float64]

__all__ = ["Met", "Obstacles", "held_off_m", "line_between", "rhumb_between"]

_SLIVER_M = 0.5  # [m] a leg that cuts less of a shape touches it by rounding
_JOINED_M = 10.0  # [m] stretches of one kind with less between them are one
_GATE_REACH_M = 60.0  # [m] a leg that passes a low bridge so near to its opening goes through that
_BY_THE_GATE_M = 200.0  # [m] from a gate on, the shores are as near as they have to be
_KEPT_SHARE = 0.9  # of the stand-off, which legs of a plan keep at the least: routeplan.standing_off
_RHUMB_M, _RHUMB_SHARE, _ROUNDING_M = 10.0, 0.2, 2.0  # what a written route may lose of it: routeplan.plan_routes
_RHUMB_STEP_M = 2000.0  # [m] between the points that a rhumb line is drawn by
_EXTENT_EDGE_M = 1.0  # [m] how far beyond the extent a point may lie by rounding


@dataclass(frozen=True)
class Met:
    """One stretch of a leg, in metres along it, and what is met there.

    Parameters
    ----------
    kind
        What it is.
    begins_m, ends_m, worst_m
        [m] Along the leg in the plane: both ends, and where it is worst.
    name
        What it is called; empty where it has no name.
    depth_m, needed_m, found_m
        [m] Charted depth; what is needed; clearance or distance found. None where it isn't about that.
    why
        What else is known of it.
    """

    kind: HitKind
    begins_m: float
    ends_m: float
    worst_m: float
    name: str = ""
    depth_m: float | None = None
    needed_m: float | None = None
    found_m: float | None = None
    why: str = ""


@dataclass(frozen=True)
class _Rows:
    """Shapes in the plane with a tree over them, and the columns that go with them."""

    shapes: Shapes
    tree: shapely.STRtree
    columns: dict[str, list[Any]]

    @classmethod
    def of(cls, shapes: Any, **columns: Sequence[Any]) -> _Rows:
        whole = np.asarray(shapes, dtype=object)
        shapely.prepare(whole)
        return cls(whole, shapely.STRtree(whole), {name: list(column) for name, column in columns.items()})

    def met(self, line: shapely.LineString) -> list[int]:
        near = self.tree.query(line)
        return [int(i) for i in near[shapely.intersects(self.shapes[near], line)]]

    def near(self, line: shapely.LineString, within_m: float) -> list[int]:
        return [int(i) for i in self.tree.query(line, predicate="dwithin", distance=within_m)]


def held_off_m(standoff_m: float) -> float:
    """[m] Tell how near to what closes the water a route may come that keeps a stand-off.

    Parameters
    ----------
    standoff_m
        [m] The stand-off asked for.

    Returns
    -------
    The stand-off less what simplifying the water, and a rhumb line between the points of a written route, may cost: a
    plan that was written as a route keeps it when it is read again.
    """
    return max(_KEPT_SHARE * standoff_m - min(_RHUMB_M, _RHUMB_SHARE * standoff_m) - _ROUNDING_M, 0.0)


def line_between(a: Points, b: Points) -> shapely.LineString:
    """[m] Draw the straight line between two points of the plane.

    Parameters
    ----------
    a, b
        [m] Both.

    Returns
    -------
    The line: within a few metres of the great circle.
    """
    return shapely.LineString([a, b])


def rhumb_between(network: Network, a: tuple[float, float], b: tuple[float, float]) -> shapely.LineString:
    """[m] Draw the rhumb line between two positions, as many plotters steer it.

    Parameters
    ----------
    network
        Its plane.
    a, b
        [deg] Longitude and latitude.

    Returns
    -------
    The line in the plane.
    """
    plane = network.water.plane
    east = (b[0] - a[0] + 180) % 360 - 180
    whole_m = float(plane.lengths_nmi(plane.to_plane([a]), plane.to_plane([b]))[0]) * 1852
    share = np.linspace(0, 1, max(2, math.ceil(whole_m / _RHUMB_STEP_M)) + 1)
    y = [math.asinh(math.tan(math.radians(lat))) for lat in (a[1], b[1])]
    lat = np.degrees(np.arctan(np.sinh(y[0] + share * (y[1] - y[0]))))
    lonlat = np.column_stack([a[0] + share * east, lat])
    lonlat[0], lonlat[-1] = a, (a[0] + east, b[1])
    return shapely.LineString(plane.to_plane(lonlat))


class Obstacles:
    """All that a boat's legs must not meet, with its names and figures.

    Parameters
    ----------
    network
        The boat's water and the region's layers.
    when
        Departure: zones with a season count if it is on within three days of it.
    """

    def __init__(self, network: Network, when: datetime) -> None:
        region, water, boat = network.region, network.water, network.boat
        plane, margins = water.plane, water.margins
        self.gates = water.gates
        self.standoff_m = margins.standoff_m
        self.held_m = held_off_m(margins.standoff_m)
        self.needed_depth_m = boat.draught_m + margins.under_keel_m
        self.needed_air_m = boat.air_draught_m + margins.overhead_m
        self._extent = plane.box().buffer(_EXTENT_EDGE_M)
        shapely.prepare(self._extent)
        self._shut = {
            kind: _Rows.of(shapely.get_parts(shape))
            for kind, shape in (("land", water.land), *((kind, shape) for kind, shape in water.closed.items()))
        }
        self._barrier = _Rows.of(shapely.get_parts(water.barrier))
        land, depth, hazards = (region.layer(name) for name in ("land", "depth", "hazards"))
        self._land = _Rows.of(plane.project(land.geometry.array), name=land["name"])
        self._depth = _Rows.of(plane.project(depth.geometry.array), depth_m=depth["min_depth_m"])
        self._hazards = _Rows.of(
            plane.project(hazards.geometry.array),
            name=[name or kind for name, kind in zip(hazards["name"], hazards["kind"], strict=True)],
            keep_off_m=hazards["keep_off_m"],
        )
        zones = zones_in_force(region.layer("zones"), region.zone, when)
        zones = zones[zones["rule"] == "no-entry"]
        self._zones = _Rows.of(plane.project(zones.geometry.array), name=zones["name"], why=zones["why"])
        overhead = region.layer("overhead")
        low = overhead[overhead["clearance_m"] < self.needed_air_m]
        self._spans = _Rows.of(plane.project(low.geometry.array), name=low["name"], clearance_m=low["clearance_m"])

    def met(self, line: shapely.LineString) -> list[Met]:
        """Find what a leg meets.

        Parameters
        ----------
        line
            [m] The leg in the plane.

        Returns
        -------
        Stretches in order, those where only the stand-off isn't kept among them.
        """
        found = [
            *self._outside(line),
            *self._on_land(line),
            *self._closed_zones(line),
            *self._shoals(line),
            *self._near_hazards(line),
            *(self._plain("unsurveyed", line) if "unsurveyed" in self._shut else []),
        ]
        bridges = self._bridges(line)
        return sorted([*found, *bridges, *self._too_near(line, bridges)], key=lambda met: (met.begins_m, met.ends_m))

    def _pieces(self, rows: _Rows, line: shapely.LineString) -> list[tuple[float, float]]:
        """[m] Where a leg lies inside of shapes, near stretches joined."""
        cut = shapely.intersection(rows.shapes[rows.met(line)], line)
        return _stretches(line, cut)

    def _plain(self, kind: HitKind, line: shapely.LineString) -> list[Met]:
        return [Met(kind, a, b, (a + b) / 2) for a, b in self._pieces(self._shut[kind], line)]

    def _outside(self, line: shapely.LineString) -> list[Met]:
        if self._extent.contains(line):
            return []
        beyond = np.array([line.difference(self._extent)], dtype=object)
        return [Met("outside", a, b, (a + b) / 2) for a, b in _stretches(line, beyond)]

    def _on_land(self, line: shapely.LineString) -> list[Met]:
        found = []
        for a, b in self._pieces(self._shut["land"], line):
            middle = line.interpolate((a + b) / 2)
            names = [self._land.columns["name"][i] for i in self._land.near(middle, _SLIVER_M)]
            found.append(Met("land", a, b, (a + b) / 2, name=next((str(n) for n in names if n), "")))
        return found

    def _closed_zones(self, line: shapely.LineString) -> list[Met]:
        found = []
        for i in self._zones.met(line):
            name, why = (self._zones.columns[key][i] for key in ("name", "why"))
            cut = np.array([line.intersection(self._zones.shapes[i])], dtype=object)
            found += [
                Met("no-entry", a, b, (a + b) / 2, str(name), why=str(why or "")) for a, b in _stretches(line, cut)
            ]
        return found

    def _shoals(self, line: shapely.LineString) -> list[Met]:
        found = []
        for a, b in self._pieces(self._shut["shoal"], line):
            part = shapely.ops.substring(line, a, b)
            depths = [(float(self._depth.columns["depth_m"][i]), i) for i in self._depth.met(part)]
            depths = [(m, i) for m, i in depths if part.intersection(self._depth.shapes[i]).length > _SLIVER_M]
            least, at = min(depths, default=(math.nan, -1))
            worst = (a + b) / 2
            if at >= 0:
                inside = part.intersection(self._depth.shapes[at])
                worst = line.project(inside.interpolate(0.5, normalized=True)) if inside.length else worst
            told = None if math.isnan(least) else least
            found.append(Met("shoal", a, b, worst, depth_m=told, needed_m=self.needed_depth_m))
        return found

    def _near_hazards(self, line: shapely.LineString) -> list[Met]:
        found = []
        for a, b in self._pieces(self._shut["hazard"], line):
            part = shapely.ops.substring(line, a, b)
            offs = [
                (part.distance(shape) - float(keep_m), part.distance(shape), i)
                for i, (shape, keep_m) in enumerate(
                    zip(self._hazards.shapes, self._hazards.columns["keep_off_m"], strict=True)
                )
                if part.distance(shape) <= float(keep_m) * 1.01
            ]
            _, off_m, at = min(offs, default=(0.0, 0.0, -1))
            if at < 0:
                found.append(Met("hazard", a, b, (a + b) / 2))
                continue
            nearest = shapely.Point(shapely.shortest_line(part, self._hazards.shapes[at]).coords[0])
            name, keep_m = str(self._hazards.columns["name"][at]), float(self._hazards.columns["keep_off_m"][at])
            found.append(Met("hazard", a, b, line.project(nearest), name, needed_m=keep_m, found_m=off_m))
        return found

    def _bridges(self, line: shapely.LineString) -> list[Met]:
        """Find the lines over the water that a leg passes: low ones, and gates in them."""
        inside = shapely.union_all(shapely.intersection(self._barrier.shapes[self._barrier.met(line)], line))
        for kind in ("land", "no-entry"):
            rows = self._shut[kind]
            for i in rows.met(line):
                inside = inside.difference(rows.shapes[i].buffer(_SLIVER_M))
        found = []
        for a, b in _stretches(line, np.array([inside], dtype=object)):
            middle = line.interpolate((a + b) / 2)
            gate = self._gate_at(middle)
            if gate is not None:
                found.append(Met("gate", a, b, (a + b) / 2, gate.name, why=_gate_words(gate)))
                continue
            near = [(middle.distance(self._spans.shapes[i]), i) for i in self._spans.near(middle, _BY_THE_GATE_M)]
            at = min(near)[1] if near else -1
            name = str(self._spans.columns["name"][at]) if near else ""
            clear_m = float(self._spans.columns["clearance_m"][at]) if near else None
            found.append(Met("low bridge", a, b, (a + b) / 2, name, needed_m=self.needed_air_m, found_m=clear_m))
        return found

    def _gate_at(self, spot: shapely.Point) -> Gate | None:
        near = [(spot.distance(shapely.LineString(gate.sides)), i) for i, gate in enumerate(self.gates)]
        off_m, at = min(near, default=(math.inf, -1))
        return self.gates[at] if off_m <= _GATE_REACH_M else None

    def _too_near(self, line: shapely.LineString, bridges: Sequence[Met]) -> list[Met]:
        """Find where a leg doesn't keep the stand-off; inside of what is shut it doesn't either."""
        held_m = self.held_m
        west, south, east, north = line.bounds
        window = (west - 2 * held_m, south - 2 * held_m, east + 2 * held_m, north + 2 * held_m)
        near: list[Any] = []
        for rows in (self._barrier, *(self._shut[kind] for kind in self._shut if kind not in ("land", "no-entry"))):
            near += [shapely.clip_by_rect(rows.shapes[i], *window) for i in rows.near(line, held_m)]
        near = [shape for shape in near if not shape.is_empty]
        if not near or held_m <= 0:
            return []
        cut = shapely.intersection(shapely.buffer(np.array(near, dtype=object), held_m, quad_segs=16), line)
        gates = [met for met in bridges if met.kind == "gate"]
        found = []
        for a, b in _stretches(line, cut):
            if any(a - _BY_THE_GATE_M <= gate.worst_m <= b + _BY_THE_GATE_M for gate in gates):
                continue
            part = shapely.ops.substring(line, a, b)
            off_m, shape = min(((part.distance(shape), i) for i, shape in enumerate(near)), default=(0.0, 0))
            spot = shapely.Point(shapely.shortest_line(part, near[shape]).coords[0])
            found.append(Met("stand-off", a, b, line.project(spot), needed_m=self.standoff_m, found_m=off_m))
        return found


def _gate_words(gate: Gate) -> str:
    if not gate.must_open:
        return "under its opening span"
    call = f", call VHF {gate.vhf}" if gate.vhf else ", call ahead"
    hours = f" ({gate.hours})" if gate.hours else ", hours not known"
    return f"has to open{hours}{call}, allow {gate.wait_h * 60:.0f} min"


def _stretches(line: shapely.LineString, cut: Shapes) -> list[tuple[float, float]]:
    """[m] Put pieces of a line in order along it, near ones joined."""
    pieces = [piece for piece in shapely.get_parts(_flat(cut)) if piece.geom_type == "LineString"]
    ends = []
    for piece in pieces:
        if piece.length <= 0:
            continue
        at = sorted(line.project(shapely.Point(xy)) for xy in (piece.coords[0], piece.coords[-1]))
        ends.append((at[0], at[1]))
    joined: list[tuple[float, float]] = []
    for a, b in sorted(ends):
        if joined and a - joined[-1][1] <= _JOINED_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], b))
        else:
            joined.append((a, b))
    return [(a, b) for a, b in joined if b - a > _SLIVER_M]


def _flat(cut: Shapes) -> Shapes:
    """Take collections within collections apart."""
    parts = shapely.get_parts(np.asarray(cut, dtype=object).ravel())
    while any(part.geom_type in ("GeometryCollection", "MultiLineString") for part in parts):
        parts = shapely.get_parts(parts)
    return np.asarray(parts, dtype=object)
