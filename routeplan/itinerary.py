"""From a track to the legs that are steered: one course and one speed each, with time, fuel and what to heed on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.leg_graph import Rates
    from routeplan.network import Network
    from routeplan.tracks import Track
    from routeplan.water import SpeedArea

    Points = NDArray[np.float64]
    Point = tuple[float, float]

__all__ = ["Stretch", "TurnNames", "find_stretches"]

_SAME_SPOT_M = 2.0  # [m] a piece of a leg shorter than this is rounding
_STRAIGHT_M = 1.0  # [m] a way through a gate that bends by less than this is one leg
_NEAR_MARK_NMI = 1.0  # [nmi] a turn is named after a waypoint this near
_PASSED_NMI = 0.5  # [nmi] a waypoint this near is told as passed
_AT_AN_END_M = 200.0  # [m] one so near to where a leg begins or ends belongs to the turn
_IN_FAIRWAY = 0.5  # of a leg that has to lie in a fairway for it to be told
_WORDS = {"shoal": "water charted too shallow", "unsurveyed": "unsurveyed water", "hazard": "water near a hazard"}
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class Stretch:
    """One leg as steered: one course, one speed.

    Parameters
    ----------
    a, b
        [m] Both ends in the plane.
    kind
        `leg`, `approach` or `gate`.
    area
        Index of the speed area it lies in; -1 in open water.
    speed_kn
        [kn] Speed made.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] Of this stretch, a wait at a gate included.
    course_deg
        [deg] True initial course.
    cautions
        What to heed on it.
    depth_checked
        Whether all of it lies in water of charted depth enough.
    gate
        Name of the gate it runs through; empty elsewhere.
    limit
        The speed limit that holds on it, in words; empty where none does.
    """

    a: Point
    b: Point
    kind: str
    area: int
    speed_kn: float
    distance_nmi: float
    time_h: float
    fuel_l: float
    course_deg: float
    cautions: tuple[str, ...]
    depth_checked: bool
    gate: str
    limit: str


def find_stretches(network: Network, rates: Rates, track: Track, *, streams: bool = True) -> list[Stretch]:
    """Cut a track where the course or the speed changes.

    Parameters
    ----------
    network
        Its water's limits, gates and cautions.
    rates
        Speeds and burns that the track was planned with.
    track
        The track.
    streams
        Whether currents that aren't reckoned with are cautioned of.

    Returns
    -------
    The stretches in order; their distances, times and fuel add up to the track's.
    """
    bends, kinds = _with_gates_whole(track)
    pieces = [
        (a, b, kind, area)
        for start, end, kind in zip(bends, bends[1:], kinds, strict=False)
        for a, b, area in _cut(network, start, end)
    ]
    a, b = np.array([p[0] for p in pieces]), np.array([p[1] for p in pieces])
    plane = network.water.plane
    lengths, courses = plane.lengths_nmi(a, b), plane.courses_deg(a, b)
    gates = iter(track.gates)
    stretches: list[Stretch] = []
    gate_name = ""
    for (start, end, kind, area), nmi, course in zip(pieces, lengths.tolist(), courses.tolist(), strict=True):
        speed = (rates.speed_kn if kind == "leg" else rates.slow_kn)[area + 1]
        burn = (rates.burn_lph if kind == "leg" else rates.slow_lph)[area + 1]
        limit = _limit_words(network, start, end, area) if area >= 0 else ""
        time_h, cautions = nmi / speed, _cautions(network, start, end, course, streams=streams)
        cautions = (*filter(None, [limit]), *_fairway_words(network, start, end), *cautions)
        fuel_l = time_h * burn
        if kind != "gate":
            gate_name = ""
        elif not gate_name:
            gate = network.water.gates[next(gates)[0]]
            time_h += gate.wait_h
            fuel_l += gate.wait_h * rates.idle_lph
            cautions = (_gate_words(gate.name, gate.kind, gate.must_open, gate.hours, gate.vhf, gate.wait_h), *cautions)
            gate_name = gate.name
        crosses = () if kind == "leg" else _crosses(network, start, end)
        if crosses:
            cautions = (*cautions, f"{kind} over {' and '.join(_WORDS[c] for c in crosses)}: by eye, slowly")
        stretches.append(
            Stretch(
                start,
                end,
                kind,
                area,
                speed,
                nmi,
                time_h,
                fuel_l,
                course,
                cautions,
                depth_checked=network.water.depth_checked and not crosses and not _is_unsurveyed(network, start, end),
                gate=gate_name,
                limit=limit,
            )
        )
    return stretches


class TurnNames:
    """Names turns along a passage after the waypoints near them.

    Parameters
    ----------
    network
        Its terminals give the names.
    """

    def __init__(self, network: Network) -> None:
        named = [t.place for t in network.terminals if t.place.kind not in ("dock", "position")]
        self._names = [p.name for p in named]
        self._xy = network.water.plane.to_plane([p.position for p in named])

    def name(self, number: int, point: Point, limit: str | None) -> str:
        """Name a turn.

        Parameters
        ----------
        number
            Of the leg that ends there.
        point
            [m] Where it is, in the plane.
        limit
            The limit that begins or ends there; None at a change of course.

        Returns
        -------
        Such as ``turn 3, 0.4 nmi NE of Gull Mark``.
        """
        if limit is not None:
            return f"point {number}: {limit}"
        what = f"turn {number}"
        if not len(self._xy):
            return what
        dx, dy = (np.array(point) - self._xy).T
        away = np.hypot(dx, dy) / METRES_PER_NMI
        nearest = int(np.argmin(away))
        if away[nearest] > _NEAR_MARK_NMI:
            return what
        if away[nearest] < 0.05:
            return f"{what}, at {self._names[nearest]}"
        bearing = math.degrees(math.atan2(dx[nearest], dy[nearest])) % 360
        compass = _POINTS[round(bearing / 45) % 8]
        return f"{what}, {away[nearest]:.1f} nmi {compass} of {self._names[nearest]}"

    def passed(self, start: Point, end: Point) -> list[tuple[str, float, float, bool]]:
        """Find the waypoints close by a leg, those at its ends left out.

        Parameters
        ----------
        start, end
            [m] Ends of the leg, in the plane.

        Returns
        -------
        Name, [share] how far along the leg it is abeam, [m] how far off, and whether to port; in order along the leg.
        """
        along = np.subtract(end, start)
        length = float(np.hypot(*along))
        if not len(self._xy) or length < _SAME_SPOT_M:
            return []
        off = self._xy - np.asarray(start)
        share = off @ along / length**2
        left_m = (along[0] * off[:, 1] - along[1] * off[:, 0]) / length
        ends_m = np.minimum(share, 1 - share) * length
        near = np.flatnonzero((np.abs(left_m) <= _PASSED_NMI * METRES_PER_NMI) & (ends_m > _AT_AN_END_M))
        return [
            (self._names[i], float(share[i]), abs(float(left_m[i])), bool(left_m[i] > 0))
            for i in near[np.argsort(share[near])]
        ]


def _with_gates_whole(track: Track) -> tuple[list[Points], list[str]]:
    """Leave out the points on either side of a gate where the way through it is straight."""
    bends, kinds = [track.bends[0], track.bends[1]], [track.kinds[0]]
    for point, kind in zip(track.bends[2:], track.kinds[1:], strict=True):
        through = shapely.LineString([bends[-2], point])
        if kind == kinds[-1] == "gate" and through.distance(shapely.Point(bends[-1])) < _STRAIGHT_M:
            bends[-1] = point
            continue
        bends.append(point)
        kinds.append(kind)
    return bends, kinds


def _cut(network: Network, start: Points, end: Points) -> list[tuple[Point, Point, int]]:
    """Cut a straight leg where a speed limit begins or ends."""
    line = shapely.LineString([start, end])
    length = line.length
    inside: list[tuple[float, float, int]] = []
    areas = network.water.speed_areas
    for index, area in enumerate(areas):
        if math.isinf(area.limit_kn) or not area.shape.intersects(line):  # a fairway without a limit cuts nothing
            continue
        for part in shapely.get_parts(area.shape.intersection(line)):
            if part.length > _SAME_SPOT_M:
                ends = sorted(line.project(shapely.Point(xy)) for xy in (part.coords[0], part.coords[-1]))
                inside.append((ends[0], ends[1], index))
    pieces: list[tuple[float, int]] = []  # where each ends, and the area it lies in
    for begin, finish, index in [*sorted(inside), (length, length, -1)]:
        if begin - (pieces[-1][0] if pieces else 0.0) > _SAME_SPOT_M:
            pieces.append((begin, -1))
        if index < 0:
            continue
        if pieces and _is_same_limit(areas, pieces[-1][1], index):  # in the fairway and beside it
            index = pieces.pop()[1]  # noqa: PLW2901  one stretch has one area
        pieces.append((finish, index))
    if not pieces:
        return [(_pt(start), _pt(end), -1)]
    ends_m = [*(at for at, _ in pieces[:-1]), length]
    xy = [_pt(start + (end - start) * (at / length)) for at in (0.0, *ends_m)]
    return [(xy[i], xy[i + 1], index) for i, (_, index) in enumerate(pieces)]


def _is_same_limit(areas: Sequence[SpeedArea], a: int, b: int) -> bool:
    return a == b or (a >= 0 and (areas[a].limit_kn, areas[a].why) == (areas[b].limit_kn, areas[b].why))


def _pt(xy: Points) -> Point:
    return float(xy[0]), float(xy[1])


def _limit_words(network: Network, a: Point, b: Point, area: int) -> str:
    held = network.water.speed_areas[area]
    if held.why:
        return f"{held.limit_kn:g} kn {held.why}"
    near = _nearest_name(network, area, shapely.LineString([a, b]))
    return f"{held.limit_kn:g} kn limit{f' in {near}' if near else ''}"


def _fairway_words(network: Network, a: Point, b: Point) -> tuple[str, ...]:
    """Name the fairway that a leg keeps to, where fairways are preferred."""
    line = shapely.LineString([a, b])
    shapes = [area.shape for area in network.water.speed_areas if area.fairway]
    if sum(shape.intersection(line).length for shape in shapes) < _IN_FAIRWAY * line.length:
        return ()
    zones = network.region.layer("zones")
    middle = network.water.plane.unproject(line.interpolate(0.5, normalized=True))
    names = [row.name for row in zones.itertuples() if row.rule == "fairway" and row.geometry.intersects(middle)]
    return (f"in fairway {names[0]}",) if names else ()


def _cautions(network: Network, a: Point, b: Point, course_deg: float, *, streams: bool) -> tuple[str, ...]:
    line = shapely.LineString([a, b])
    said = []
    for zone in network.water.caution_areas:
        if not zone.shape.intersects(line) or (zone.rule == "stream" and not streams):
            continue
        why = f": {zone.why}" if zone.why else ""
        if zone.rule == "traffic-lane" and zone.direction_deg is not None:
            said.append(_lane_words(zone.name, zone.direction_deg, course_deg))
        elif zone.rule == "bar":
            said.append(f"bar {zone.name}{why}: cross it only in weather and tide that allow it")
        else:
            said.append(f"{zone.name}{why}")
    return tuple(dict.fromkeys(said))


def _nearest_name(network: Network, area: int, line: shapely.LineString) -> str:
    """Name the zone of a speed area that a stretch lies in."""
    zones = network.region.layer("zones")
    names = network.water.speed_areas[area].names
    middle = network.water.plane.unproject(line.interpolate(0.5, normalized=True))
    hit = [row.name for row in zones.itertuples() if row.name in names and row.geometry.buffer(1e-6).intersects(middle)]
    return hit[0] if hit else ""


def _lane_words(name: str, direction_deg: float, course_deg: float) -> str:
    off = abs((course_deg - direction_deg + 180) % 360 - 180)
    lane = f"traffic lane {name} ({direction_deg:03.0f} true)"
    if off < 45:
        return f"runs with {lane}"
    if off > 135:
        return f"AGAINST {lane}: keep out of it or choose another way"
    return f"crosses {lane} at {min(off, 180 - off):.0f} degrees: a right angle to it is the rule"


def _gate_words(name: str, kind: str, must_open: bool, hours: str | None, vhf: str, wait_h: float) -> str:  # noqa: FBT001
    if not must_open:
        return f"under the opening span of {name}"
    call = f", call VHF {vhf}" if vhf else ", call ahead"
    when = f" ({hours})" if hours else ", hours not known"
    what = name if kind in name.casefold() else f"{kind} {name}"
    return f"{what} has to open{when}{call}, allow {wait_h * 60:.0f} min"


def _crosses(network: Network, a: Point, b: Point) -> tuple[str, ...]:
    line = shapely.LineString([a, b])
    return tuple(
        what
        for what in ("shoal", "unsurveyed", "hazard")
        if what in network.water.closed and network.water.closed[what].intersection(line).length > 1
    )


def _is_unsurveyed(network: Network, a: Point, b: Point) -> bool:
    """Whether a leg that was allowed over unsurveyed water runs over it."""
    unsurveyed = network.water.unsurveyed
    return bool(unsurveyed.intersects(shapely.LineString([a, b])))
