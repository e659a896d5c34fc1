"""A given route with refuel stops: the same points passed in order, legs that can't be run led round."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.errors import InputError
from layers.routes import RoutePoint
from routeplan.given_routes import THIN_M, thinned
from routeplan.joining import SAME_PLACE_M, apart_m
from routeplan.network import Place, join_places
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.route_checked import LedRound
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from layers.routes import Route
    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.route_checked import RouteCheck
    from routeplan.trips import Trip

__all__ = ["MOST_VIAS", "plan_route"]

MOST_VIAS = 16  # points passed on the way: the search takes a time that grows with their square
_MOST_JOINED = 80  # points that are joined to the water, to see which of them lie on the way anyway
_AHEAD = 12  # points looked ahead for one that the way to passes all between
_ON_THE_WAY_M = 50.0  # [m] a point so near to the way is passed
_WIDER = 2.0  # by how much more is thinned, again and again, until so many are left


def plan_route(
    network: Network,
    route: Route,
    trip: Trip,
    check: RouteCheck,
    *,
    boat: Boat | None = None,
    now: datetime | None = None,
    notes: Sequence[str] = (),
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

    Returns
    -------
    The check with the plan or why there is none, and the passage that the plan is of; None with a refusal.

    Raises
    ------
    InputError
        One of the route's ends can't be reached from water.
    """
    points, _ = thinned(network, route)
    kept, within_m = _few(network, points, _MOST_JOINED)
    network, names, passed_over = _join(network, kept)
    names = _needed(network, boat or network.boat, check.speed_kn, names)
    said = []
    if len(names) > MOST_VIAS + 2:
        spots = {t.place.name: t.place.position for t in network.terminals}
        fewer, within_m = _few(network, [RoutePoint(name=n, position=spots[n]) for n in names], MOST_VIAS + 2)
        names = [point.name for point in fewer]
        passes = f"The plan passes the {len(names) - 2} of the route's points that bend it most"
        said = [
            f"{passes}: the others lie within {within_m:g} m of straight lines between those, and may be left aside."
        ]
    asked = trip.model_copy(update={"start": names[0], "finish": names[-1], "via": tuple(names[1:-1])})
    led = tuple(
        LedRound(leg=number, from_=leg.from_, to=leg.to, why=tuple(dict.fromkeys(h.kind for h in leg.hits if h.stops)))
        for number, leg in enumerate(check.legs, start=1)
        if any(hit.stops for hit in leg.hits)
    )
    told = check.model_copy(update={"led_round": led, "passed_over": passed_over, "notes": (*check.notes, *said)})
    try:
        passage = find_passage(network, asked, boat=boat, now=now, notes=notes)
    except NoPassageError as error:
        return told.model_copy(update={"refused": error.refusal, "led_round": ()}), None
    return told.model_copy(update={"plan": passage.recommended, "cautions": passage.cautions}), passage


def _few(network: Network, points: Sequence[RoutePoint], most: int) -> tuple[list[RoutePoint], float]:
    """Keep the points that bend a route most; return also [m] how far the others lie off at the most."""
    if len(points) <= most:
        return list(points), 0.0
    xy = network.water.plane.to_plane([point.position for point in points])
    line, within_m = shapely.LineString(xy), THIN_M
    while len(corners := shapely.get_coordinates(line.simplify(within_m, preserve_topology=False))) > most:
        within_m *= _WIDER
    kept: list[RoutePoint] = []
    at = 0
    for corner in corners:
        while at < len(xy) - 1 and not np.array_equal(xy[at], corner):
            at += 1
        kept.append(points[at])
        at = min(at + 1, len(xy) - 1)
    return kept, within_m


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
            if tracks and all(
                (shapely.distance(shapely.LineString(t.bends), between) <= _ON_THE_WAY_M).all() for t in tracks
            ):
                ahead = there
                break
        kept.append(ahead)
    return [names[i] for i in kept]


def _join(network: Network, points: Sequence[RoutePoint]) -> tuple[Network, list[str], tuple[str, ...]]:
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
    for name in (names[0], names[-1]):
        if name in why_not:
            raise InputError(
                name, f"can't be reached by {network.boat.name}: {why_not[name]}", remedy="end the route on water"
            )
    over = tuple(f"{name}: {why_not[name]}" for name in names[1:-1] if name in why_not)
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
