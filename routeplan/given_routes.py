"""A route that somebody drew, held against water, fuel and reserve as it stands: straight from point to point.

Receivers and plotters steer the stretch between two points as a great circle or as a rhumb line, and a GPX file doesn't
say which. Where the two lie further apart than a rhumb line may leave a plan's way, both are looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.errors import InputError
from layers.hours import NeverOpensError, read_hours
from layers.plane import METRES_PER_NMI
from routeplan.cautions import SAFETY_CAUTIONS, find_doubts
from routeplan.fuel import greatest_burn_l, low_figure_l, z_of
from routeplan.itinerary import find_stretches
from routeplan.joining import check_speed
from routeplan.leg_graph import Rates
from routeplan.route_checked import CheckedLeg, FuelPoint, Hit, RouteCheck
from routeplan.route_water import Met, Obstacles, line_between, rhumb_between
from routeplan.tracks import Track

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from layers.routes import Route, RoutePoint
    from routeplan.boats import Boat
    from routeplan.bridges import Gate
    from routeplan.itinerary import Stretch
    from routeplan.network import Network
    from routeplan.trips import Trip

    Points = NDArray[np.float64]

__all__ = ["MOST_LEGS", "THINNED_OVER", "THIN_M", "BerthFinder", "check_route", "thinned"]

THINNED_OVER = 200  # points of a route: nobody steers more, so what has more was drawn by hand or recorded
THIN_M = 25.0  # [m] from a straight line between others: such points of a long route are left out
MOST_LEGS = 1_000  # after that: each is looked at on its own
_BOTH_LINES_M = 10.0  # [m] how far apart great circle and rhumb line may lie without both being looked at
_BERTH_M = 100.0  # [m] a point so near to a dock, harbour or anchorage is there
_CHAIN_M = 40.0  # [m] of clear water that doesn't end an approach
_SAME_SPOT_M = 0.1  # [m] rounding
_LANDING_M = 1.0  # [m] from a berth, where a stretch over land begins that is the berth's own
_LYING = ("dock", "harbour", "anchorage")
_APPROACHED = ("shoal", "hazard", "unsurveyed", "stand-off")  # what an approach may cross, by eye


def check_route(
    network: Network, route: Route, trip: Trip, *, boat: Boat | None = None, now: datetime | None = None
) -> RouteCheck:
    """Hold a route against water, fuel and reserve as it stands.

    Parameters
    ----------
    network
        Built for the boat.
    route
        The route.
    trip
        Departure, fuel aboard, speed and confidence; its start and finish don't count.
    boat
        The boat with another burn than the network's, such as one the log has taught; it must need the same water.
    now
        The clock; None takes the departure.

    Returns
    -------
    What each leg meets, and how the fuel comes out without any stop.

    Raises
    ------
    InputError
        The boat can't be planned at the speed, the route has far too many points, or none of it lies in the region.

    Notes
    -----
    Shoal, hazards and the stand-off count from where the route is first in clear water: before, to a berth no further
    away than places may lie from water, it is an approach, to be run by eye.
    """
    boat = boat or network.boat
    speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
    check_speed(boat, speed_kn)
    points, left_out = thinned(network, route)
    _refuse_far_off(network, route, points)
    found = _met_by_leg(network, points, trip.depart)
    legs, burns = _sail(network, points, found, trip, boat, speed_kn)
    floor_l, z = boat.floor_l, z_of(trip.confidence)
    fuel_l = math.fsum(leg.fuel_l for leg in legs)
    low_l = low_figure_l(trip.aboard.mean_l, fuel_l, trip.aboard.sd_l, boat.burn.sd_share, z)
    reached = [
        _where(
            network, legs, burns, greatest_burn_l(trip.aboard.mean_l, trip.aboard.sd_l, boat.burn.sd_share, z, level_l)
        )
        for level_l in (floor_l, boat.tank.unusable_l)
    ]
    past = ["The departure lies in the past."] if trip.depart < (now or trip.depart) else []
    return RouteCheck(
        route=route.name,
        boat=boat.name,
        points=len(points),
        left_out=left_out,
        can_be_run=not any(hit.stops for leg in legs for hit in leg.hits),
        keeps_reserve=low_l >= floor_l,
        distance_nmi=math.fsum(leg.distance_nmi for leg in legs),
        time_h=(legs[-1].arrive - trip.depart) / timedelta(hours=1),
        fuel_l=fuel_l,
        depart=trip.depart,
        arrive=legs[-1].arrive,
        speed_kn=speed_kn,
        aboard_l=trip.aboard.mean_l,
        arrival_l=trip.aboard.mean_l - fuel_l,
        arrival_low_l=low_l,
        floor_l=floor_l,
        reserve_touched=reached[0] if low_l < floor_l else None,
        may_run_dry=reached[1] if low_l < boat.tank.unusable_l else None,
        legs=tuple(legs),
        notes=(*route.notes, *_thin_note(len(route.points), left_out)),
        cautions=(*SAFETY_CAUTIONS, *past, *find_doubts(network, ())),
    )


def thinned(network: Network, route: Route) -> tuple[tuple[RoutePoint, ...], int]:
    """Leave out points of a long route that hardly bend it.

    Parameters
    ----------
    network
        Its plane.
    route
        The route; one of up to 200 points stays as it is.

    Returns
    -------
    The points that are left, and how many were left out: those within 25 m of a straight line between others.

    Raises
    ------
    InputError
        More than 1,001 are left.
    """
    points = route.points
    if len(points) <= THINNED_OVER:
        return points, 0
    xy = network.water.plane.to_plane([point.position for point in points])
    kept = shapely.get_coordinates(shapely.LineString(xy).simplify(THIN_M, preserve_topology=False))
    left = []
    at = 0
    for corner in kept:  # simplifying keeps some of the points, in their order
        while at < len(xy) and not (xy[at] == corner).all():
            at += 1
        if at < len(xy):
            left.append(at)
            at += 1
    if left[-1] != len(points) - 1:
        left.append(len(points) - 1)
    if len(left) > MOST_LEGS + 1:
        problem = f"bends at {len(left):,} points by more than {THIN_M:g} m; the limit is {MOST_LEGS + 1:,}"
        raise InputError(route.name, problem, remedy="give a part of it, or a route of its turning points")
    return tuple(points[i] for i in left), len(points) - len(left)


@dataclass(frozen=True)
class _Bad:
    """One stretch of a route where the water isn't clear, along the whole of it."""

    begins_m: float
    ends_m: float
    leg: int
    index: int
    met: Met


class BerthFinder:
    """Finds which points of a route are berths: its ends, and docks, harbours and anchorages on the way.

    Parameters
    ----------
    network
        Its places.
    """

    def __init__(self, network: Network) -> None:
        places = [t.place for t in network.terminals if t.place.kind in _LYING]
        self.names = [place.name for place in places]
        xy = network.water.plane.to_plane([place.position for place in places])
        self._tree = shapely.STRtree(shapely.points(xy))

    def berths(self, xy: Points) -> list[int]:
        """Find the berths.

        Parameters
        ----------
        xy
            [m] The route's points in the plane.

        Returns
        -------
        Their indices.
        """
        hit, _ = self._tree.query(shapely.points(xy), predicate="dwithin", distance=_BERTH_M)
        return sorted({0, len(xy) - 1, *(int(i) for i in hit)})


def _refuse_far_off(network: Network, route: Route, points: Sequence[RoutePoint]) -> None:
    plane = network.water.plane
    if plane.covers_lonlat([point.position for point in points]).any():
        return
    about = network.region.about
    west, south, east, north = about.extent
    extent = f"longitudes {west:g} to {east:g}, latitudes {south:g} to {north:g}"
    raise InputError(
        route.name,
        f"no point of it lies in {about.name}, {extent}",
        value=f"longitude {points[0].position[0]:.4f}, latitude {points[0].position[1]:.4f}",
        remedy="give the region that it runs through",
    )


def _met_by_leg(network: Network, points: Sequence[RoutePoint], when: datetime) -> list[list[tuple[Met, bool]]]:
    """Find what each leg meets, with whether on its rhumb line only; approaches marked, the rest of them left out."""
    xy = network.water.plane.to_plane([point.position for point in points])
    obstacles = Obstacles(network, when)
    by_leg: list[list[tuple[Met, bool]]] = []
    for i in range(len(xy) - 1):
        straight = line_between(xy[i], xy[i + 1])
        found = [(met, False) for met in obstacles.met(straight)]
        rhumb = rhumb_between(network, points[i].position, points[i + 1].position)
        if straight.hausdorff_distance(rhumb) > _BOTH_LINES_M:
            share = straight.length / rhumb.length
            beside = [_scaled(met, share) for met in obstacles.met(rhumb)]
            found += [(met, True) for met in beside if not any(_is_told(met, told) for told, _ in found)]
        by_leg.append(found)
    return _without_approaches(network, xy, by_leg, obstacles)


def _scaled(met: Met, share: float) -> Met:
    return replace(met, begins_m=met.begins_m * share, ends_m=met.ends_m * share, worst_m=met.worst_m * share)


def _is_told(met: Met, told: Met) -> bool:
    """Tell whether the great circle meets the same thing at about the same place."""
    near_m = 500.0
    overlap = met.begins_m - near_m <= told.ends_m and told.begins_m - near_m <= met.ends_m
    return overlap and met.kind in (told.kind, "stand-off") and met.name in (told.name, "")


def _without_approaches(
    network: Network, xy: Points, by_leg: list[list[tuple[Met, bool]]], obstacles: Obstacles
) -> list[list[tuple[Met, bool]]]:
    lengths = np.hypot(*np.diff(xy, axis=0).T)
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    bad = [
        _Bad(starts[leg] + met.begins_m, starts[leg] + met.ends_m, leg, index, met)
        for leg, found in enumerate(by_leg)
        for index, (met, _) in enumerate(found)
        if met.kind in (*_APPROACHED, "land")
    ]
    snap_m = network.water.margins.snap_nmi * METRES_PER_NMI
    own: set[tuple[int, int]] = set()
    for berth in BerthFinder(network).berths(xy):
        own |= _approach(bad, float(starts[berth]), snap_m, forwards=True)
        own |= _approach(bad, float(starts[berth]), snap_m, forwards=False)
    kept: list[list[tuple[Met, bool]]] = []
    for leg, found in enumerate(by_leg):
        told = []
        crossed: list[Met] = []
        for index, (met, rhumb) in enumerate(found):
            if (leg, index) not in own:
                told.append((met, rhumb))
            elif met.kind != "stand-off":
                crossed.append(met)
        faults = [met for met, _ in told if met.kind != "stand-off"]
        told = [(m, r) for m, r in told if m.kind != "stand-off" or not _is_beside(m, faults, obstacles.standoff_m)]
        if crossed:
            kinds = " and ".join(dict.fromkeys(_CROSSED[met.kind] for met in crossed))
            begins, ends = min(m.begins_m for m in crossed), max(m.ends_m for m in crossed)
            depths = [m.depth_m for m in crossed if m.depth_m is not None]
            least = min(depths, default=None)
            told.append((Met("approach", begins, ends, crossed[0].worst_m, depth_m=least, why=kinds), False))
        kept.append(sorted(told, key=lambda pair: pair[0].begins_m))
    return kept


_CROSSED = {
    "shoal": "water charted too shallow",
    "hazard": "water near a hazard",
    "unsurveyed": "unsurveyed water",
    "land": "land as charted, where the berth lies",
}


def _approach(bad: Sequence[_Bad], berth_m: float, snap_m: float, *, forwards: bool) -> set[tuple[int, int]]:
    """Follow a route from a berth to where it is first in clear water; return what is crossed until then."""
    sign = 1.0 if forwards else -1.0
    spans: list[tuple[float, float, _Bad]] = []
    for piece in bad:
        near, far = sorted((sign * (piece.begins_m - berth_m), sign * (piece.ends_m - berth_m)))
        spans.append((near, far, piece))
    spans.sort(key=lambda span: span[:2])
    edge = 0.0
    own: set[tuple[int, int]] = set()
    for near, far, piece in spans:
        if far <= _SAME_SPOT_M:  # behind
            continue
        if near > edge + _CHAIN_M:
            break
        if max(far, -near) > snap_m:  # too long to be an approach; what lies within it may be
            continue
        if piece.met.kind == "land" and near > _LANDING_M:
            continue
        edge = max(edge, far)
        own.add((piece.leg, piece.index))
    return own


def _is_beside(met: Met, faults: Sequence[Met], standoff_m: float) -> bool:
    """Tell whether a stand-off that isn't kept is no more than the way to something worse and from it."""
    reach_m = 2 * standoff_m
    return any(fault.begins_m - reach_m <= met.worst_m <= fault.ends_m + reach_m for fault in faults)


def _sail(
    network: Network,
    points: Sequence[RoutePoint],
    found: Sequence[Sequence[tuple[Met, bool]]],
    trip: Trip,
    boat: Boat,
    speed_kn: float,
) -> tuple[list[CheckedLeg], list[list[Stretch]]]:
    """Run the route at the chosen speed, limits kept, gates waited for."""
    plane = network.water.plane
    rates = Rates.of(boat, network, speed_kn)
    z = z_of(trip.confidence)
    xy = plane.to_plane([point.position for point in points])
    gates = {gate.name: gate for gate in network.water.gates}
    at, burned_l = trip.depart, 0.0
    legs: list[CheckedLeg] = []
    burns: list[list[Stretch]] = []
    for i, met in enumerate(found):
        track = Track(xy[i : i + 2], ("leg",), 0.0, 0.0, 0.0, (), ())
        stretches = find_stretches(network, rates, track)
        waits_h = math.fsum(gates[m.name].wait_h for m, _ in met if m.kind == "gate" and m.name in gates)
        distance_nmi = math.fsum(s.distance_nmi for s in stretches)
        time_h = math.fsum(s.time_h for s in stretches) + waits_h
        fuel_l = math.fsum(s.fuel_l for s in stretches) + waits_h * rates.idle_lph
        burned_l += fuel_l
        leaves, at = at, at + timedelta(hours=time_h)
        unchecked = () if all(s.depth_checked for s in stretches) else ("depth not checked",)
        shut = [
            _gate_words(gates[m.name], leaves + (at - leaves) * share, network.region.zone)
            for m, share in ((m, m.worst_m / max(float(np.hypot(*(xy[i + 1] - xy[i]))), 1e-9)) for m, _ in met)
            if m.kind == "gate" and m.name in gates
        ]
        cautions = dict.fromkeys(c for s in stretches for c in s.cautions if c != s.limit)
        legs.append(
            CheckedLeg(
                from_=points[i].name,
                from_position=points[i].position,
                to=points[i + 1].name,
                to_position=points[i + 1].position,
                distance_nmi=distance_nmi,
                course_deg=float(plane.courses_deg(xy[i : i + 1], xy[i + 1 : i + 2])[0]),
                speed_kn=distance_nmi / max(time_h - waits_h, 1e-9) if distance_nmi else speed_kn,
                depart=leaves,
                arrive=at,
                fuel_l=fuel_l,
                aboard_after_l=max(trip.aboard.mean_l - burned_l, 0.0),
                aboard_after_low_l=low_figure_l(trip.aboard.mean_l, burned_l, trip.aboard.sd_l, boat.burn.sd_share, z),
                rhumb_off_m=line_between(xy[i], xy[i + 1]).hausdorff_distance(
                    rhumb_between(network, points[i].position, points[i + 1].position)
                ),
                limits=tuple(dict.fromkeys(s.limit for s in stretches if s.limit)),
                cautions=(*unchecked, *filter(None, shut), *cautions),
                hits=tuple(_hit(network, xy[i : i + 2], distance_nmi, m, rhumb=rhumb) for m, rhumb in met),
            )
        )
        burns.append(stretches)
    return legs, burns


def _gate_words(gate: Gate, at: datetime, zone: ZoneInfo) -> str:
    """Say that a gate is shut when she comes; the route as it stands doesn't wait for it."""
    if gate.hours is None or not gate.must_open:
        return ""
    hours = read_hours(gate.hours, zone)
    if hours.is_open(at):
        return ""
    try:
        opens = f"{hours.next_open(at).astimezone(zone):%H:%M on %d %b}"
    except NeverOpensError:
        opens = "nobody knows when"
    return f"{gate.name} is shut when she comes, {at.astimezone(zone):%H:%M}, and opens {opens}: not waited for here"


def _hit(network: Network, ends: Points, distance_nmi: float, met: Met, *, rhumb: bool) -> Hit:
    length_m = max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    shares = [min(max(m / length_m, 0.0), 1.0) for m in (met.begins_m, met.ends_m, met.worst_m)]
    lonlat = network.water.plane.to_lonlat([ends[0] + share * (ends[1] - ends[0]) for share in shares])
    return Hit(
        kind=met.kind,
        stops=met.kind not in ("gate", "approach"),
        begins_nmi=shares[0] * distance_nmi,
        ends_nmi=shares[1] * distance_nmi,
        position=(round(float(lonlat[0][0]), 6), round(float(lonlat[0][1]), 6)),
        worst_position=(round(float(lonlat[2][0]), 6), round(float(lonlat[2][1]), 6)),
        name=met.name,
        depth_m=met.depth_m,
        needed_m=met.needed_m,
        found_m=met.found_m,
        why=met.why,
        on_rhumb=rhumb,
    )


def _where(
    network: Network, legs: Sequence[CheckedLeg], burns: Sequence[Sequence[Stretch]], burn_l: float
) -> FuelPoint | None:
    """Find where so much is burnt; None where the route ends before."""
    gone_nmi, burned_l = 0.0, 0.0
    for number, (leg, stretches) in enumerate(zip(legs, burns, strict=True), start=1):
        after_nmi, time_h = 0.0, 0.0
        for stretch in stretches:
            if burned_l + stretch.fuel_l >= burn_l:
                share = (burn_l - burned_l) / stretch.fuel_l if stretch.fuel_l else 0.0
                spot = np.asarray(stretch.a) + share * (np.asarray(stretch.b) - np.asarray(stretch.a))
                lon, lat = network.water.plane.to_lonlat([spot])[0].tolist()
                after = after_nmi + share * stretch.distance_nmi
                at = leg.depart + timedelta(hours=time_h + share * stretch.time_h)
                return FuelPoint(leg=number, gone_nmi=gone_nmi + after, after_nmi=after, position=(lon, lat), at=at)
            burned_l += stretch.fuel_l
            after_nmi += stretch.distance_nmi
            time_h += stretch.time_h
        burned_l += leg.fuel_l - math.fsum(s.fuel_l for s in stretches)  # what was burnt waiting for gates
        gone_nmi += leg.distance_nmi
        if burned_l >= burn_l:
            return FuelPoint(
                leg=number, gone_nmi=gone_nmi, after_nmi=leg.distance_nmi, position=leg.to_position, at=leg.arrive
            )
    return None


def _thin_note(count: int, left_out: int) -> list[str]:
    if not left_out:
        return []
    which = f"Of {count:,} points {left_out:,} lie within {THIN_M:g} m of a straight line between others"
    return [f"{which}: left out; what is told is of the {count - left_out:,} that are left."]
