"""Places and speeds as a skipper names them, found on a network or joined to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely
from pyproj import Geod

from layers.errors import InputError
from layers.plane import METRES_PER_NMI
from routeplan.network import Network, Place, join_places
from routeplan.places import looks_like_position, nearest_names, read_position, write_position
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from routeplan.boats import Boat

__all__ = ["SAME_PLACE_M", "apart_m", "check_speed", "join_place", "resolve_place"]

_GEOD = Geod(ellps="WGS84")
SAME_PLACE_M = 20.0  # [m] positions are shown to a hundredth of a minute, 19 m


def check_speed(boat: Boat, speed_kn: float) -> None:
    """Refuse a speed that a boat can't be planned at.

    Parameters
    ----------
    boat
        Her burn table.
    speed_kn
        [kn] The speed.

    Raises
    ------
    InputError
        It is outside the table, or one that she can't hold.
    """
    boat.burn_lph(speed_kn, "--speed")
    slowest_kn = min(boat.no_wake_kn, boat.burn.speed_kn[0])
    if speed_kn < slowest_kn:
        raise InputError(
            "--speed",
            f"slower than {slowest_kn:g} kn, the least that {boat.name}'s file speaks of",
            value=f"{speed_kn:g} kn",
            remedy="choose a speed of her burn table",
        )
    if boat.steady_kn(speed_kn) != speed_kn:
        low, high = boat.burn.unsteady_kn or (0.0, 0.0)
        raise InputError(
            "--speed",
            f"{boat.name} can't hold a speed between {low:g} and {high:g} kn",
            value=f"{speed_kn:g} kn",
            remedy=f"choose {low:g} kn or {high:g} kn",
        )


def resolve_place(network: Network, text: str, where: str) -> Place:
    """Find the place that a text names.

    Parameters
    ----------
    network
        Its terminals are the known places.
    text
        A dock's or waypoint's name, or a position.
    where
        The option that it came from.

    Returns
    -------
    The place.

    Raises
    ------
    InputError
        No place has that name; the nearest names are offered.
    """
    wanted = " ".join(text.split()).casefold()
    named = [t.place for t in network.terminals if t.place.name.casefold() == wanted]
    for other in named[1:]:
        if apart_m(named[0].position, other.position) > SAME_PLACE_M:
            choices = "; ".join(f"{write_position(p.position)} ({p.kind})" for p in named)
            raise InputError(
                where, f"{len(named)} places have this name", value=text, remedy=f"give one's position: {choices}"
            )
    if named:
        return named[0]
    if looks_like_position(text):
        position = read_position(text, where)
        return Place(write_position(position), "position", position)
    near = nearest_names(text, [t.place.name for t in network.terminals])
    offer = f"did you mean {' or '.join(near)}?" if near else "routeplan docks and region show list the names"
    raise InputError(where, "no dock or waypoint has this name", value=text, remedy=offer)


def join_place(network: Network, text: str, where: str) -> tuple[Network, int]:
    """Resolve a place and join it to the network.

    Parameters
    ----------
    network
        The network.
    text
        A name or a position.
    where
        The option that it came from.

    Returns
    -------
    The network, grown if the place is new, and the place's terminal.

    Raises
    ------
    InputError
        The place is unknown, or can't be reached from navigable water.
    """
    place = resolve_place(network, text, where)
    known = {t.place: i for i, t in enumerate(network.terminals)}
    if place not in known:
        network = join_places(network, [place])
        known[place] = len(network.terminals) - 1
    terminal = network.terminals[known[place]]
    if terminal.attachment.why_not:
        raise InputError(
            where,
            f"{place.name} can't be reached by {network.boat.name}: {terminal.attachment.why_not}",
            remedy=_nearest_water(network, place),
        )
    return network, known[place]


def apart_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """[m] Measure how far two positions lie apart.

    Parameters
    ----------
    a, b
        [deg] Longitude and latitude.

    Returns
    -------
    Geodesic distance.
    """
    _, _, metres = _GEOD.inv(*a, *b)
    return float(metres)


def _nearest_water(network: Network, place: Place) -> str:
    """Offer the nearest water that the boat can use."""
    water = network.water
    west, south, east, north = water.plane.extent
    if not water.plane.covers_lonlat([place.position])[0]:
        corners = f"{write_position((west, south))} to {write_position((east, north))}"
        return f"the region's data run from {corners}: give a place within them"
    if water.navigable.is_empty:
        return "no water of the region is deep and wide enough for her"
    here = shapely.Point(water.plane.to_plane([place.position])[0])
    nearest = shapely.get_coordinates(shapely.shortest_line(here, water.navigable))[-1]
    position = water.plane.to_lonlat([nearest])[0]
    away = shown_distance(here.distance(shapely.Point(nearest)) / METRES_PER_NMI)
    where = write_position((float(position[0]), float(position[1])))
    return f"the nearest water that she can use is {away} away: give {where}, or another place"
