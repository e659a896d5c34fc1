"""Prices spread over the network: the least price of the way to every node, and what else the same ways cost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csgraph

from routeplan.leg_graph import LegGraph
from routeplan.network import split_by_speed_area

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.leg_graph import Price
    from routeplan.network import Network

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["Limit", "Spread", "leg_graph_of", "spread"]

_SAME_PRICE = 1e-9  # prices that differ by less are the same


@dataclass(frozen=True, eq=False)
class Limit:
    """What ways may cost by another price than the one that is least.

    Parameters
    ----------
    price
        The other price.
    away
        What the way to each node costs by it.
    most
        In its unit.
    """

    price: Price
    away: Points
    most: float


@dataclass(frozen=True, eq=False)
class Spread:
    """The least price of every node of a network.

    Parameters
    ----------
    network
        The network.
    price
        What is least.
    away
        Price of the way to each node from the nearest source; infinity beyond the limit.
    before
        The node, or after the nodes the terminal, that each is reached from; negative where none.
    source
        Index of the terminal that each is reached from in the end; negative where none.
    limit
        What else the same ways may cost at the most; None where nothing else counts.
    """

    network: Network
    price: Price
    away: Points
    before: Indices
    source: Indices
    limit: Limit | None = None

    def along(self, price: Price) -> Points:
        """Price the same ways by another price.

        Parameters
        ----------
        price
            The other price.

        Returns
        -------
        What the way to each node costs; infinity where there is none.
        """
        legs = leg_graph_of(self.network)
        reached = np.flatnonzero(np.isfinite(self.away))
        nodes = self.network.nodes
        before = self.before[reached]
        straight = np.flatnonzero(before < legs.first)
        lengths = split_by_speed_area(self.network.water, nodes[before[straight]], nodes[reached[straight]])
        steps = np.zeros(len(reached))
        steps[straight] = lengths @ price.per_nmi
        gates = {pair: gate for gate in self.network.gate_legs for pair in (gate.nodes, gate.nodes[::-1])}
        for i, (last, node) in enumerate(zip(before.tolist(), reached.tolist(), strict=True)):
            if last >= legs.first:
                terminal = self.network.terminals[last - legs.first]
                approach = terminal.attachment.approaches[terminal.entries.index(node)]
                steps[i] = legs.slow_price((approach.start, approach.entry), price)
            elif (last, node) in gates:
                gate = gates[last, node]
                if legs.gate_price(gate, self.price) <= self.away[node] - self.away[last] + _SAME_PRICE:
                    steps[i] = legs.gate_price(gate, price)
        found = np.full(len(self.away), np.inf)
        for i in np.argsort(self.away[reached], kind="stable").tolist():
            last = before[i]
            found[reached[i]] = steps[i] + (found[last] if last < legs.first else 0.0)
        return found

    def limited(self, price: Price, most: float) -> Spread:
        """Limit what the same ways cost by another price.

        Parameters
        ----------
        price
            The other price.
        most
            In its unit.

        Returns
        -------
        The spread with the limit.
        """
        return replace(self, limit=Limit(price, self.along(price), most))

    def left_nmi(self, nodes: Indices, kind: int, budget: float) -> Points:
        """[nmi] Tell how far ways go on from nodes.

        Parameters
        ----------
        nodes
            The nodes.
        kind
            Of the water that they go on in.
        budget
            In the price's unit.

        Returns
        -------
        Miles until the budget, or the limit, is spent; negative where it is already.
        """
        left = (budget - self.away[nodes]) / float(self.price.per_nmi[kind])
        if self.limit is None:
            return np.asarray(left)
        other = (self.limit.most - self.limit.away[nodes]) / float(self.limit.price.per_nmi[kind])
        return np.asarray(np.minimum(left, other))


def spread(
    network: Network,
    sources: Sequence[int],
    price: Price,
    limit: float = np.inf,
    shut: frozenset[int] = frozenset(),
) -> Spread:
    """Find the least price of the way to every node.

    Parameters
    ----------
    network
        The network.
    sources
        Indices of the terminals to begin at.
    price
        What is to be least.
    limit
        Nodes beyond this price are left out.
    shut
        Gates that aren't passed.

    Returns
    -------
    The prices, from whichever source is nearest.
    """
    legs = leg_graph_of(network)
    if not sources:
        none = np.full(legs.first, -1)
        return Spread(network, price, np.full(legs.first, np.inf), none, none)
    away, before, source = csgraph.dijkstra(
        legs.weigh(price, shut),
        directed=True,
        indices=[legs.first + s for s in sources],
        return_predecessors=True,
        limit=limit,
        min_only=True,
    )
    begun = source[: legs.first].astype(np.int64) - legs.first
    return Spread(network, price, away[: legs.first], before[: legs.first].astype(np.int64), np.maximum(begun, -1))


@lru_cache(maxsize=4)
def leg_graph_of(network: Network) -> LegGraph:
    """Weigh a network's legs; its approaches are measured once.

    Parameters
    ----------
    network
        The network.

    Returns
    -------
    Its legs, the same each time.
    """
    return LegGraph(network)
