"""Channels that the stand-off alone closes: where a skipper who knows the place may want a smaller one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.necks import find_necks
from routeplan.network import Network, Place, join_places
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from routeplan.water import Water

__all__ = ["ClosedChannel", "find_closed_channels"]

_LOOSE = 1.05  # of the stand-off: water this near to navigable water is its fringe and no channel
_WORTH_NMI = 0.5  # [nmi] a channel that saves less isn't told


@dataclass(frozen=True)
class ClosedChannel:
    """One channel that is open but narrower than twice the stand-off.

    Parameters
    ----------
    position
        [deg] Longitude and latitude of its narrowest part.
    width_m
        [m] Its width there: half of it is the stand-off at which it opens.
    way_round_nmi
        [nmi] How long the way round is; None where there is no other.
    """

    position: tuple[float, float]
    width_m: float
    way_round_nmi: float | None


def find_closed_channels(network: Network) -> list[ClosedChannel]:
    """Find channels of open water that only the stand-off closes.

    Parameters
    ----------
    network
        The boat's network.

    Returns
    -------
    Those whose way round is at least half a mile longer, or that have none; the longest way round first.

    Notes
    -----
    A channel is a piece of open water beyond the fringe of navigable water that meets the fringe at two mouths or more;
    what meets it at one is only the end of a creek. Its width is the shortest distance between two of its banks.
    """
    found = _find_necks(network.water)
    if not found:
        return []
    plane = network.water.plane
    mouths = plane.to_lonlat([m for _, _, pair in found for m in pair])
    places = [Place(f"mouth {i}", "position", (float(lon), float(lat)), i) for i, (lon, lat) in enumerate(mouths)]
    first = len(network.terminals)
    joined = join_places(network, places)
    pairs = [(first + 2 * i, first + 2 * i + 1) for i in range(len(found))]
    tracks = Tracks(joined, network.boat, network.boat.cruising_speed_kn).find(pairs)
    channels = []
    for (narrowest, width_m, (a, b)), pair in zip(found, pairs, strict=True):
        round_nmi = min((t.distance_nmi for t in tracks.get(pair, ())), default=None)
        through_nmi = float(np.hypot(a[0] - b[0], a[1] - b[1])) / METRES_PER_NMI
        if round_nmi is None or round_nmi - through_nmi >= _WORTH_NMI:
            lon, lat = plane.to_lonlat([narrowest])[0].tolist()
            channels.append(ClosedChannel((round(lon, 6), round(lat, 6)), width_m, round_nmi))
    return sorted(channels, key=lambda c: -(c.way_round_nmi or np.inf))


def _find_necks(water: Water) -> list[tuple[tuple[float, float], float, list[tuple[float, float]]]]:
    """[m] Find for each neck its narrowest point, its width there and its two mouths furthest apart."""
    necks = []
    for neck in find_necks(water.open, water.navigable, water.margins.standoff_m * _LOOSE, water.grid_m):
        if not neck.leads_through:
            continue
        across = min((shapely.shortest_line(a, b) for a, b in combinations(neck.banks, 2)), key=shapely.length)
        middles = [m.interpolate(0.5, normalized=True) for m in neck.mouths]
        a, b = max(combinations(middles, 2), key=lambda pair: pair[0].distance(pair[1]))
        centre = across.interpolate(0.5, normalized=True)
        necks.append(((centre.x, centre.y), across.length, [(a.x, a.y), (b.x, b.y)]))
    return necks
