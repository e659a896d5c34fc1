"""The earliest arrival over a network whose water moves: shortest paths whose legs take what they take when run.

References
----------
.. [1] S. E. Dreyfus, "An appraisal of some shortest-path algorithms", Operations Research 17 (1969) 395-412: Dijkstra's
   algorithm finds earliest arrivals where no leg lets a later boat overtake (from memory).
.. [2] P. E. Hart, N. J. Nilsson and B. Raphael, "A formal basis for the heuristic determination of minimum cost paths",
   IEEE Transactions on Systems Science and Cybernetics 4 (1968) 100-107, for the bound on what is left (from memory).
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csgraph

from routeplan.sailing import Sailing, Way

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.moving_tracks import MovingTracks

    Path = tuple[tuple[float, float], ...]

__all__ = ["Earliest", "EarliestSearch"]


@dataclass(frozen=True)
class Earliest:
    """An earliest arrival.

    Parameters
    ----------
    arrive_h
        [h] Since the beginning of the conditions' span.
    nodes
        The network's nodes that the way passes.
    """

    arrive_h: float
    nodes: tuple[int, ...]


class EarliestSearch:
    """Finds earliest arrivals over the legs of a network; gates are passed with their waits, whatever their hours.

    Parameters
    ----------
    tracks
        Network, conditions and rates.

    Notes
    -----
    Exact over the network's legs where all of them can be passed: along a leg no later boat overtakes
    (`routeplan.sailing`), so a node's first arrival is its best. Where a leg can't be passed the boat doesn't wait
    under way; who comes to it too early is shut out where a later boat wouldn't be, which is then missed. What is left
    from a node is bounded from below by ways with the fastest current of all times in favour.
    """

    def __init__(self, tracks: MovingTracks) -> None:
        self._tracks = tracks
        self._network = tracks.network
        self._sailings: dict[tuple[int, int], Sailing] = {}
        self._begin_h, self._window = 0.0, tracks.conditions
        self._bounds: dict[int, NDArray[np.float64]] = {}
        least = tracks.least_hours()
        self._least = least
        self._towards = least.T.tocsr()

    def find(self, source: int, target: int, leave_h: float) -> Earliest | None:
        """Find the earliest arrival.

        Parameters
        ----------
        source, target
            Terminals.
        leave_h
            [h] When the source is left, since the beginning of the conditions' span.

        Returns
        -------
        The arrival; None where there is no way then.
        """
        network, first = self._network, len(self._network.nodes)
        bound = self._bound(target)
        self._look_at(leave_h, min((float(bound[node]) for node in network.terminals[source].entries), default=np.inf))
        start, end = network.terminals[source], network.terminals[target]
        last = [(node, (a.entry, a.start)) for a, node in zip(end.attachment.approaches, end.entries, strict=True)]
        arrived: dict[int, int] = {}  # from where
        best: dict[int, float] = {}
        queue: list[tuple[float, int, float, int]] = []

        def come(node: int, at_h: float | None, came_from: int) -> None:
            if at_h is not None and at_h < best.get(node, np.inf):
                best[node] = at_h
                heapq.heappush(queue, (at_h + float(bound[node]), node, at_h, came_from))

        for approach, node in zip(start.attachment.approaches, start.entries, strict=True):
            come(node, self._run((approach.start, approach.entry), leave_h), -1)
        while queue:
            _, node, at_h, came_from = heapq.heappop(queue)
            if arrived.setdefault(node, came_from) != came_from or at_h > best[node]:
                continue
            if node == first + target:
                return Earliest(at_h, _path(arrived, came_from))
            for path in (path for entry, path in last if entry == node):
                come(first + target, self._run(path, at_h), node)
            for other, least_h in self._ways_out(node):
                if at_h + least_h < best.get(other, np.inf):
                    come(other, self._leg(node, other, at_h, least_h), node)
        return None

    def _look_at(self, leave_h: float, least_h: float) -> None:
        """Take a part of the span where a grid gives every leg a series of its own."""
        if not self._tracks.conditions.gridded or not np.isfinite(least_h):
            return
        self._sailings.clear()
        self._begin_h = max(0.0, float(np.floor(leave_h)))
        self._window = self._tracks.conditions.window(self._begin_h, 2.0 * least_h + 4.0)

    def _ways_out(self, node: int) -> list[tuple[int, float]]:
        """[h] List the nodes beside one, and the least that each can be reached in; terminals aren't passed."""
        row = slice(self._least.indptr[node], self._least.indptr[node + 1])
        beside = zip(self._least.indices[row].tolist(), self._least.data[row].tolist(), strict=True)
        return [(other, least_h) for other, least_h in beside if other < len(self._network.nodes)]

    def _bound(self, target: int) -> NDArray[np.float64]:
        """[h] The least hours from every node to a terminal."""
        if target not in self._bounds:
            terminal, first = self._network.terminals[target], len(self._network.nodes)
            entries = sorted(set(terminal.entries))
            bound = np.full(first + len(self._network.terminals), np.inf)
            if entries:
                away = csgraph.dijkstra(self._towards[:first, :first], directed=True, indices=entries, min_only=True)
                bound[:first] = away
            bound[first + target] = 0.0
            self._bounds[target] = bound
        return self._bounds[target]

    def _leg(self, a: int, b: int, at_h: float, least_h: float) -> float | None:
        gate = self._tracks.gate_between(a, b)
        if gate is not None:
            return at_h + least_h
        if not self._tracks.is_moving(a, b):
            return at_h + least_h
        if (a, b) not in self._sailings:
            self._sailings[a, b] = self._tracks.sailing(Way(self._network.nodes[[a, b]], ("leg",)), self._window)
        sailed = self._sailings[a, b].at(at_h - self._begin_h)
        return None if sailed is None else at_h + sailed.time_h

    def _run(self, path: Path, at_h: float) -> float | None:
        """[h] Run an approach."""
        if np.hypot(path[1][0] - path[0][0], path[1][1] - path[0][1]) == 0:
            return at_h
        way = Way(np.array(path), ("approach",))
        sailed = self._tracks.sailing(way, self._window).at(at_h - self._begin_h)
        return None if sailed is None else at_h + sailed.time_h


def _path(came_from: dict[int, int], node: int) -> tuple[int, ...]:
    nodes = []
    while node >= 0:
        nodes.append(node)
        node = came_from[node]
    return tuple(reversed(nodes))
