"""A given route with refuel stops: the same points passed in order, legs that can't be run led round."""

from __future__ import annotations

import heapq
import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.routes import RoutePoint
from routeplan.given_routes import thinned
from routeplan.joining import SAME_PLACE_M, apart_m
from routeplan.network import Place, join_places
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.route_followed import ON_THE_WAY_M, hold_against
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from layers.routes import Position, Route
    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.route_checked import RouteCheck
    from routeplan.trips import Trip

__all__ = ["MOST_VIAS", "plan_route"]

MOST_VIAS = 16  # points passed on the way: the search takes a time that grows with their square
_MOST_JOINED = 80  # points that are joined to the water, to see which of them lie on the way anyway
_AHEAD = 12  # points looked ahead for one that the way to passes all between


class _NoEndError(Exception):
    """An end of the route isn't on the boat's water; its text says which and why."""


def plan_route(
    network: Network,
    route: Route,
    trip: Trip,
    check: RouteCheck,
    *,
    boat: Boat | None = None,
    now: datetime | None = None,
    notes: Sequence[str] = (),
    where: str = "",
) -> tuple[RouteCheck, Passage | None]:
    """Plan a passage by a route's points.

    Parameters
    ----------
    network
        Built for the boat.
    route
        The route.
    trip
        What is asked besides: its start, finish and vias are replaced by the route's points.
    check
        The route as it stands.
    boat, now, notes
        As of `find_passage`.
    where
        How the route is named where it can't be planned, such as its file; empty takes its own name.

    Returns
    -------
    The check with the plan or why there is none, and the passage that the plan is of; None without a plan. An end that
    can't be joined to water leaves the check as it stands, with `no_plan`.
    """
    points, _ = thinned(network, route)
    kept, within_m = _few(network, points, _MOST_JOINED)
    try:
        network, names, over = _join(network, kept)
    except _NoEndError as error:
        return check.model_copy(update={"no_plan": f"{where or route.name}, {error}; end the route on water"}), None
    names = _needed(network, boat or network.boat, check.speed_kn, names)
    places = {t.place.name: t.place for t in network.terminals}
    fewer, further_m = _few(
        network, [RoutePoint(name=name, position=places[name].position) for name in names], MOST_VIAS + 2
    )
    names = _apart([places[point.name] for point in fewer])
    if len(names) == 2 and apart_m(*(places[name].position for name in names)) < SAME_PLACE_M:
        said = f"{where or route.name}, which begins and ends in one spot"
        return check.model_copy(update={"no_plan": said}), None
    asked = trip.model_copy(update={"start": names[0], "finish": names[-1], "via": tuple(names[1:-1])})
    try:
        passage = find_passage(network, asked, boat=boat, now=now, notes=notes)
    except NoPassageError as error:
        named = tuple(f"{point.name}: {over[point.position]}" for point in points if point.position in over)
        return check.model_copy(update={"refused": error.refusal, "passed_over": named}), None
    led, passed_over = hold_against(network, check, passage.recommended, over)
    aside = _aside_note(len(names) - 2, len(points) - 2, within_m + further_m)
    told = {
        "plan": passage.recommended,
        "cautions": passage.cautions,
        "led_round": led,
        "passed_over": passed_over,
        "notes": (*check.notes, *aside),
    }
    return check.model_copy(update=told), passage


def _aside_note(asked: int, count: int, within_m: float) -> list[str]:
    if not within_m:
        return []
    bent = f"The plan was asked to pass {asked:,} of the {count:,} points between the route's ends, those that bend it"
    return [f"{bent} most: the others lie within {math.ceil(within_m):,} m of straight lines between them."]


def _few(network: Network, points: Sequence[RoutePoint], most: int) -> tuple[list[RoutePoint], float]:
    """Keep the points that bend a route most; return also [m] how far the others lie off at the most.

    Time and again the point that lies furthest from the straight line between those kept is kept too.
    """
    if len(points) <= most:
        return list(points), 0.0
    xy = network.water.plane.to_plane([point.position for point in points])
    kept = {0, len(xy) - 1}
    waiting = [_furthest(xy, 0, len(xy) - 1)]
    while len(kept) < most:
        _, at, first, last = heapq.heappop(waiting)
        kept.add(at)
        for a, b in ((first, at), (at, last)):
            if b - a > 1:
                heapq.heappush(waiting, _furthest(xy, a, b))
    return [points[i] for i in sorted(kept)], max((-off_m for off_m, *_ in waiting), default=0.0)


def _furthest(xy: NDArray[np.float64], first: int, last: int) -> tuple[float, int, int, int]:
    """[m] Find the point that lies furthest from the line between two others; how far is told below nothing."""
    line = shapely.LineString([xy[first], xy[last]])
    off_m = shapely.distance(line, shapely.points(xy[first + 1 : last]))
    at = int(np.argmax(off_m))
    return -float(off_m[at]), first + 1 + at, first, last


def _needed(network: Network, boat: Boat, speed_kn: float, names: Sequence[str]) -> list[str]:
    """Leave out the points that the way over water passes without being asked to.

    Ways to each of the next dozen points are found at once; the furthest one whose way passes all points between is
    the next to be asked for.
    """
    index = {t.place.name: i for i, t in enumerate(network.terminals)}
    ids = [index[name] for name in names]
    xy = network.water.plane.to_plane([network.terminals[i].place.position for i in ids])
    count = len(ids)
    pairs = [(ids[i], ids[j]) for i in range(count) for j in range(i + 2, min(i + _AHEAD, count - 1) + 1)]
    ways = Tracks(network, boat, speed_kn).find([pair for pair in pairs if pair[0] != pair[1]])
    kept = [0]
    while kept[-1] < count - 1:
        here = kept[-1]
        ahead = here + 1
        for there in range(min(here + _AHEAD, count - 1), here + 1, -1):
            between = shapely.points(xy[here + 1 : there])
            tracks = ways.get((ids[here], ids[there]), ())
            if tracks and all(_passes(shapely.LineString(t.bends), between) for t in tracks):
                ahead = there
                break
        kept.append(ahead)
    return [names[i] for i in kept]


def _passes(way: shapely.LineString, points: NDArray[np.object_]) -> bool:
    """Tell whether a way passes points, in their order."""
    near = (shapely.distance(way, points) <= ON_THE_WAY_M).all()
    return bool(near and (np.diff(shapely.line_locate_point(way, points)) >= -ON_THE_WAY_M).all())


def _join(network: Network, points: Sequence[RoutePoint]) -> tuple[Network, list[str], dict[Position, str]]:
    """Join the points to the network under names of their own; those that can't be joined are passed over."""
    taken = {t.place.name.casefold(): t.place for t in network.terminals}
    places: list[Place | None] = []
    names: list[str] = []
    for number, point in enumerate(points, start=1):
        known = taken.get(point.name.casefold())
        if known is not None and apart_m(known.position, point.position) <= SAME_PLACE_M:
            places.append(None)
            names.append(known.name)
            continue
        name = point.name if known is None else f"{point.name} (point {number})"
        while name.casefold() in taken:
            name = f"{name}'"
        place = Place(name, "position", point.position)
        taken[name.casefold()] = place
        places.append(place)
        names.append(name)
    new = [place for place in places if place is not None]
    grown = join_places(network, new)
    places_by_name = {t.place.name: t.place for t in grown.terminals}
    why_not = {t.place.name: t.attachment.why_not for t in grown.terminals if t.attachment.why_not}
    ends = (("its first point", names[0]), ("its last point", names[-1]))
    dry = [f"{which} ({name}): {why_not[name]}" for which, name in ends if name in why_not]
    if dry:
        raise _NoEndError("; ".join(dry))
    over = {point.position: why_not[name] for name, point in zip(names, points, strict=True) if name in why_not}
    return grown, _apart([places_by_name[name] for name in names if name not in why_not]), over


def _apart(places: Sequence[Place]) -> list[str]:
    """Name places one after the other that lie apart; of two in one spot the dock, or an end of the route."""
    kept: list[Place] = []
    for i, place in enumerate(places):
        is_last = i == len(places) - 1
        if not kept or apart_m(kept[-1].position, place.position) >= SAME_PLACE_M:
            kept.append(place)
        elif len(kept) > 1 and (is_last or place.kind != "position"):
            kept[-1] = place
        elif is_last:
            kept.append(place)
    return [place.name for place in kept]
