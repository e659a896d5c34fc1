"""The legs of a network that run where currents are known, and how the currents of a moment change what they take."""

from __future__ import annotations

from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from routeplan.pieces import cut
from routeplan.tidal_streams import most_kn
from routeplan.triangle import find_ground_kn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.conditions import Conditions
    from routeplan.network import Network
    from routeplan.pieces import Pieces

    Vector = NDArray[np.float64]

__all__ = ["MovingLegs"]

_SHUT_KN = 1e-6  # [kn] what is made good on a leg that can't be passed
_COARSE_M = 1852.0  # [m] pieces for ways that are looked for; those that are found are worked out on finer ones


class MovingLegs:
    """Legs where currents are known; hours are compared with those in still water, leg by leg.

    Parameters
    ----------
    network
        The network.
    conditions
        Their currents count.
    """

    def __init__(self, network: Network, conditions: Conditions) -> None:
        self._network = network
        self._conditions = conditions

    @classmethod
    def of(cls, network: Network, conditions: Conditions) -> MovingLegs:
        """Take them from the network, where they were asked for before.

        Parameters
        ----------
        network
            The network.
        conditions
            Their currents count.

        Returns
        -------
        The legs.
        """
        found = network.ways.get(("moving", conditions, len(network.legs)))
        if found is None:
            found = network.ways["moving", conditions, len(network.legs)] = cls(network, conditions)
        return found

    @cached_property
    def rows(self) -> NDArray[np.int64]:
        """Which of the network's legs they are."""
        network, currents = self._network, self._conditions.currents
        if currents is None:
            return np.empty(0, dtype=np.int64)
        return np.flatnonzero(shapely.intersects(currents.covered, shapely.linestrings(network.nodes[network.legs])))

    @cached_property
    def both_ways(self) -> frozenset[tuple[int, int]]:
        """Their nodes, both ways."""
        legs = self._network.legs[self.rows].tolist()
        return frozenset(pair for a, b in legs for pair in ((a, b), (b, a)))

    @cached_property
    def _pieces(self) -> Pieces:
        a, b = (self._network.nodes[self._network.legs[self.rows, i]] for i in (0, 1))
        return cut(self._network.water, self._conditions.currents, a, b, _COARSE_M)

    @cached_property
    def _weights(self) -> Vector:
        """Of each area on each piece."""
        currents = self._conditions.currents
        return np.empty((0, 0)) if currents is None else currents.weights(self._pieces.middles)

    @cached_property
    def _greatest_kn(self) -> Vector:
        """[kn] No current on a piece is ever faster."""
        pieces, currents, begin = self._pieces, self._conditions.currents, self._conditions.begin
        if currents is None:
            return np.zeros(len(pieces.nmi))
        end = begin + timedelta(hours=self._conditions.hours)
        most = np.array([most_kn(stream, begin, end) for stream in currents.streams])
        greatest = np.zeros(len(pieces.nmi))
        if len(most):  # where areas meet, the faster one's
            greatest = np.where(self._weights > 0, most, 0.0).max(axis=1)
            varying = shapely.intersects_xy(currents.varying, pieces.middles)
            greatest[varying] = most.max()
        if currents.grid is not None:
            greatest = np.maximum(greatest, currents.grid.greatest_kn)
        return np.where(pieces.moving, greatest, 0.0)

    def most_in_favour(self, speeds_kn: Vector) -> Vector:
        """Compare hours with the fastest current of all times in favour everywhere: a bound from below.

        Parameters
        ----------
        speeds_kn
            [kn] Speed through the water in each kind of water.

        Returns
        -------
        One ratio a leg of the network.
        """
        ratios = np.ones(len(self._network.legs))
        currents = self._conditions.currents
        if currents is not None and currents.grid is not None:  # as if all of a leg lay in the fastest
            slowest = float(speeds_kn.min())
            lines = shapely.linestrings(self._network.nodes[self._network.legs[self.rows]])
            ratios[self.rows] = slowest / (slowest + currents.fastest_kn(lines))
        elif len(self.rows):
            through = speeds_kn[self._pieces.area + 1]
            ratios[self.rows] = self._ratio(through, through + self._greatest_kn)
        return ratios

    def ratios(self, moment_h: float, speeds_kn: Vector) -> tuple[Vector, Vector]:
        """Compare hours in the currents of a moment.

        Parameters
        ----------
        moment_h
            [h] Since the beginning of the conditions' span.
        speeds_kn
            [kn] Speed through the water in each kind of water.

        Returns
        -------
        One ratio a leg of the network, from its first node to its second, and back; huge where it can't be run.
        """
        there, back = np.ones(len(self._network.legs)), np.ones(len(self._network.legs))
        currents = self._conditions.currents
        if currents is not None and len(self.rows):
            through = speeds_kn[self._pieces.area + 1]
            at_s = np.array([self._conditions.begin.timestamp() + 3600 * moment_h])
            east, north = (np.nan_to_num(part[:, 0]) for part in currents.at(self._pieces.middles, at_s, self._weights))
            for ratios, turned in ((there, 0.0), (back, 180.0)):
                made = find_ground_kn(through, self._pieces.course_deg + turned, east, north)
                ratios[self.rows] = self._ratio(through, made)
        return there, back

    def _ratio(self, through_kn: Vector, made_kn: Vector) -> Vector:
        nmi, leg = self._pieces.nmi, self._pieces.stretch
        hours = nmi / np.maximum(made_kn, _SHUT_KN)  # never infinite: no length at all times that would be no number
        still = np.bincount(leg, nmi / through_kn, len(self.rows))
        return np.asarray(np.bincount(leg, hours, len(self.rows)) / np.maximum(still, 1e-12))
