"""What keeping further off, or to fairways, costs in distance: the same places joined without it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.network import join_places
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Iterable

    from routeplan.boats import Boat
    from routeplan.network import Network

__all__ = ["plain_distances_nmi"]


def plain_distances_nmi(
    network: Network, plain: Network, boat: Boat, speed_kn: float, hops: Iterable[tuple[int, int]]
) -> dict[tuple[int, int], float]:
    """[nmi] Find how far it is between places where nothing but the ordinary margins is kept.

    Parameters
    ----------
    network
        The network that was planned on, with the trip's positions joined.
    plain
        The network of the same region and boat with the ordinary margins.
    boat
        Whose burn counts.
    speed_kn
        [kn] Chosen speed.
    hops
        Pairs of terminals of `network`.

    Returns
    -------
    The shortest of the quickest and the thriftiest way of each pair; a pair that has none is left out.
    """
    wanted = {hop for hop in hops if hop[0] != hop[1]}
    ends = {terminal: terminal for hop in wanted for terminal in hop if terminal < network.own}
    joined = sorted({terminal for hop in wanted for terminal in hop} - set(ends))
    ends |= {terminal: len(plain.terminals) + i for i, terminal in enumerate(joined)}
    plain = join_places(plain, [network.terminals[terminal].place for terminal in joined])
    tracks = Tracks(plain, boat, speed_kn).find([(ends[a], ends[b]) for a, b in wanted])
    return {
        (a, b): min(track.distance_nmi for track in tracks[ends[a], ends[b]])
        for a, b in wanted
        if (ends[a], ends[b]) in tracks
    }
