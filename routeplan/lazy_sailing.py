"""Ways in gridded currents, worked out only for the hours in which they are asked for.

A grid gives every piece of a way its own series, and a passage has thousands of ways that are never sailed. So their
bounds come from the grid's fastest current, against them or in favour all the way, and the rest when it is needed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan.sailing import Sailed, Sailing, Way

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.conditions import Conditions
    from routeplan.leg_graph import Rates
    from routeplan.water import Water

    Vector = NDArray[np.float64]

__all__ = ["LazySailing"]

_WINDOW_H = 3.0  # [h] of departures that are worked out together
_SLOWER = 1.6  # times the quickest hours, and
_SLOWER_H = 1.0  # [h] a little more: how long a way is given at first


class LazySailing:
    """The same as `routeplan.sailing.Sailing`, hours by hours.

    Parameters
    ----------
    conditions, water, boat, rates, way
        As there.
    least
        A bound from below.
    most_l
        [l] A bound from above.
    """

    def __init__(
        self,
        conditions: Conditions,
        water: Water,
        boat: Boat,
        rates: Rates,
        way: Way,
        least: Sailed,
        most_l: float,
    ) -> None:
        self._conditions = conditions
        self._made_of = (water, boat, rates, way)
        self.least = least
        self.most_l = most_l
        self.changes = True
        self._sailed: dict[float, Sailed | None] = {}
        self._windows: dict[tuple[int, int], Sailing] = {}

    def at(self, leave_h: float) -> Sailed | None:
        """Sail it.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        As `Sailing.at`.
        """
        if not 0 <= leave_h <= self._conditions.hours:
            return None
        if leave_h not in self._sailed:
            self._sailed[leave_h] = self._sail(leave_h)[0]
        return self._sailed[leave_h]

    def many(self, leave_h: Vector) -> tuple[Vector, Vector]:
        """[h, l] Sail it at many moments.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        As `Sailing.many`.
        """
        hours, litres = np.full(len(leave_h), np.nan), np.full(len(leave_h), np.nan)
        for i, each in enumerate(np.asarray(leave_h).tolist()):
            sailed = self.at(each)
            if sailed is not None:
                hours[i], litres[i] = sailed.time_h, sailed.fuel_l
        return hours, litres

    def stopped_at(self, leave_h: float) -> tuple[float, float] | None:
        """[m] Tell where a way can't be passed.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        As `Sailing.stopped_at`.
        """
        if not 0 <= leave_h <= self._conditions.hours:
            return None
        return self._sail(leave_h)[1]

    def _sail(self, leave_h: float) -> tuple[Sailed | None, tuple[float, float] | None]:
        """Work the way out for the hours about a departure, more of them where it takes longer; tell where it stops."""
        number, wider = int(leave_h // _WINDOW_H), 0
        while True:
            begin_h = number * _WINDOW_H
            lasts_h = (self.least.time_h * _SLOWER + _SLOWER_H) * 2**wider
            if (number, wider) not in self._windows:
                window = self._conditions.window(begin_h, _WINDOW_H + lasts_h)
                self._windows[number, wider] = Sailing(window, *self._made_of)
            sailing = self._windows[number, wider]
            local_h = leave_h - begin_h
            sailed = sailing.at(local_h)
            stopped = sailing.stopped_at(local_h) if sailed is None else None
            if sailed or stopped or begin_h + _WINDOW_H + lasts_h >= self._conditions.hours:
                return sailed, stopped
            wider += 1
