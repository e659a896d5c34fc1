"""The legs as a weighted graph: what each costs a boat, in fuel, time or miles."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import sparse

from routeplan.network import split_by_speed_area

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.network import GateLeg, Network

    Points = NDArray[np.float64]
    Path = tuple[tuple[float, float], ...]

__all__ = ["LegGraph", "Price", "Rates"]


_STEMMED_KN = 1e-3  # [kn] what is left of a speed that a current takes whole


@dataclass(frozen=True)
class Rates:
    """What a mile costs a boat at one chosen speed, in open water and under each limit.

    Parameters
    ----------
    speed_kn
        [kn] Speed made in open water, then in each of the water's speed areas.
    burn_lph
        [l/h] Burn at each of them.
    slow_kn, slow_lph
        [kn, l/h] Speed and burn on approaches and through gates, in open water and in each area: no wake, or less.
    idle_lph
        [l/h] Burn while a bridge is waited for.
    """

    speed_kn: tuple[float, ...]
    burn_lph: tuple[float, ...]
    slow_kn: tuple[float, ...]
    slow_lph: tuple[float, ...]
    idle_lph: float

    @classmethod
    def of(cls, boat: Boat, network: Network, speed_kn: float) -> Rates:
        """Work out the rates.

        Parameters
        ----------
        boat
            Its burn table.
        network
            Its water holds the limits.
        speed_kn
            [kn] Chosen speed.

        Returns
        -------
        The rates.
        """
        limits = [float("inf"), *(area.limit_kn for area in network.water.speed_areas)]
        speeds = [boat.steady_kn(min(speed_kn, limit)) for limit in limits]
        slow = [boat.steady_kn(min(boat.no_wake_kn, speed_kn, limit)) for limit in limits]
        return cls(
            tuple(speeds),
            tuple(boat.burn_lph(v) for v in speeds),
            tuple(slow),
            tuple(boat.burn_lph(v) for v in slow),
            boat.burn.idle_lph,
        )

    def changed(self, by_kn: float) -> Rates:
        """Tell the same boat carried along or held back by a current, all the time.

        Parameters
        ----------
        by_kn
            [kn] In favour; negative against her.

        Returns
        -------
        The same burn at that much more speed over the ground; next to none where the current is as fast as she.
        """
        return replace(
            self,
            speed_kn=tuple(max(v + by_kn, _STEMMED_KN) for v in self.speed_kn),
            slow_kn=tuple(max(v + by_kn, _STEMMED_KN) for v in self.slow_kn),
        )

    @cached_property
    def hours_per_nmi(self) -> Points:
        """[h/nmi] Time for a mile in each kind of water."""
        return np.asarray(1 / np.array(self.speed_kn))

    @cached_property
    def litres_per_nmi(self) -> Points:
        """[l/nmi] Fuel for a mile in each kind of water."""
        return np.asarray(np.array(self.burn_lph) / np.array(self.speed_kn))

    @cached_property
    def slow_hours_per_nmi(self) -> Points:
        """[h/nmi] Time for a mile of approach or gate in each kind of water."""
        return np.asarray(1 / np.array(self.slow_kn))

    @cached_property
    def slow_litres_per_nmi(self) -> Points:
        """[l/nmi] Fuel for a mile of approach or gate in each kind of water."""
        return np.asarray(np.array(self.slow_lph) / np.array(self.slow_kn))


@dataclass(frozen=True, eq=False)
class Price:
    """What is to be least along a way.

    Parameters
    ----------
    per_nmi
        Price of a mile in each kind of water: outside any speed limit, then in each of the water's speed areas.
    slow_per_nmi
        The same on approaches and through gates.
    per_waited_h
        Price of an hour of waiting for a bridge or lock.
    """

    per_nmi: Points
    slow_per_nmi: Points
    per_waited_h: float

    @classmethod
    def of_distance(cls, network: Network) -> Price:
        """Price miles, wherever they are run.

        Parameters
        ----------
        network
            Its water holds the limits.

        Returns
        -------
        [nmi] Distances.
        """
        ones = np.ones(1 + len(network.water.speed_areas))
        return cls(ones, ones, 0.0)

    @classmethod
    def of_fuel(cls, rates: Rates) -> Price:
        """Price the mean burn.

        Parameters
        ----------
        rates
            The boat's at her speed.

        Returns
        -------
        [l] Litres.
        """
        return cls(rates.litres_per_nmi, rates.slow_litres_per_nmi, rates.idle_lph)

    @classmethod
    def of_time(cls, rates: Rates) -> Price:
        """Price the time.

        Parameters
        ----------
        rates
            The boat's at her speed.

        Returns
        -------
        [h] Hours.
        """
        return cls(rates.hours_per_nmi, rates.slow_hours_per_nmi, 1.0)


class _Shape(NamedTuple):
    """A sparse matrix without its weights."""

    order: NDArray[np.int64]  # of the weights, by row and column
    firsts: NDArray[np.int64]  # where the weights of each entry begin
    columns: NDArray[np.int32]
    row_starts: NDArray[np.int32]


class LegGraph:
    """Weighs a network's legs; its terminals come after the nodes and have only ways out: none is passed through.

    Parameters
    ----------
    network
        The network.
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self._slow_nmi: dict[Path, Points] = {}

    @property
    def first(self) -> int:
        """Row of the first terminal, after the nodes."""
        return len(self.network.nodes)

    def weigh(self, price: Price, shut: frozenset[int] = frozenset()) -> sparse.csr_array:
        """Weigh every way between neighbours.

        Parameters
        ----------
        price
            What is to be least.
        shut
            Gates that aren't passed.

        Returns
        -------
        Square matrix over nodes and terminals, symmetric among the nodes; no weight is zero.
        """
        weight = self.network.lengths_nmi @ price.per_nmi
        return self.lay(weight, weight, price, shut)

    def lay(self, there: Points, back: Points, price: Price, shut: frozenset[int] = frozenset()) -> sparse.csr_array:
        """Lay prices of legs out as a matrix.

        Parameters
        ----------
        there, back
            Price of each leg from its first node to its second, and back.
        price
            What approaches and gates cost.
        shut
            Gates that aren't passed.

        Returns
        -------
        Square matrix over nodes and terminals; no weight is zero.
        """
        network, shape = self.network, self._shape
        gates = [np.inf if g.gate in shut else self.gate_price(g, price) for g in network.gate_legs]
        approaches = [
            self.slow_price((approach.start, approach.entry), price)
            for terminal in network.terminals
            for approach in terminal.attachment.approaches
        ]
        weights = np.concatenate([there, back, gates, gates, approaches])[shape.order]
        lightest = np.minimum.reduceat(weights, shape.firsts) if len(weights) else weights
        lightest = np.maximum(lightest, 1e-12)
        size = self.first + len(network.terminals)
        return sparse.csr_array((lightest, shape.columns, shape.row_starts), shape=(size, size))

    def arrive(self, target: int, away: Points, price: Price) -> tuple[float, int]:
        """Find the best of a terminal's approaches.

        Parameters
        ----------
        target
            Index of the terminal.
        away
            Price of the way to each node.
        price
            What is to be least.

        Returns
        -------
        The price of the way to the terminal, and the node at which it leaves the network; infinity and -1 where the
        terminal isn't joined.
        """
        terminal = self.network.terminals[target]
        prices = [
            (float(away[entry]) + self.slow_price((approach.start, approach.entry), price), entry)
            for approach, entry in zip(terminal.attachment.approaches, terminal.entries, strict=True)
        ]
        return min(prices, default=(np.inf, -1))

    def slow_price(self, path: Path, price: Price) -> float:
        """Price a stretch that is run at no-wake speed.

        Parameters
        ----------
        path
            [m] Points in the plane.
        price
            What a mile costs.

        Returns
        -------
        In the price's unit.
        """
        lengths = self._slow_nmi.get(path)
        if lengths is None:
            xy = np.array(path)
            lengths = self._slow_nmi[path] = split_by_speed_area(self.network.water, xy[:-1], xy[1:]).sum(axis=0)
        return float(lengths @ price.slow_per_nmi)

    def gate_price(self, leg: GateLeg, price: Price) -> float:
        """Price the way through a gate and the wait for it.

        Parameters
        ----------
        leg
            The way.
        price
            What a mile and an hour's wait cost.

        Returns
        -------
        In the price's unit.
        """
        return self.slow_price(leg.path, price) + self.network.water.gates[leg.gate].wait_h * price.per_waited_h

    @cached_property
    def _shape(self) -> _Shape:
        """The matrix but for its weights: parallel legs lie side by side, to keep the lighter weight."""
        network, first = self.network, self.first
        a, b = network.legs[:, 0], network.legs[:, 1]
        ends = np.array([g.nodes for g in network.gate_legs], dtype=np.int32).reshape(-1, 2)
        entries = [(first + i, entry) for i, t in enumerate(network.terminals) for entry in t.entries]
        out, into = np.array(entries, dtype=np.int32).reshape(-1, 2).T
        rows = np.concatenate([a, b, ends[:, 0], ends[:, 1], out])
        columns = np.concatenate([b, a, ends[:, 1], ends[:, 0], into])
        order = np.lexsort((columns, rows))
        rows, columns = rows[order], columns[order]
        starts = np.ones(len(rows), dtype=bool)
        starts[1:] = (rows[1:] != rows[:-1]) | (columns[1:] != columns[:-1])
        firsts = np.flatnonzero(starts)
        row_starts = np.searchsorted(rows[firsts], np.arange(first + len(network.terminals) + 1))
        return _Shape(order, firsts, columns[firsts].astype(np.int32), row_starts.astype(np.int32))
