"""What water and weather do while a boat is under way: currents and the sea's allowance, over a span of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.currents import Currents
    from routeplan.sea_allowance import SeaAllowance

    Vector = NDArray[np.float64]

__all__ = ["STEP_H", "Conditions"]

STEP_H = 1 / 20  # [h] between the moments at which currents are taken; straight in between
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, eq=False)
class Conditions:
    """Currents and sea during a span of time.

    Parameters
    ----------
    begin
        When the span begins, zone-aware.
    hours
        [h] How long it lasts; nobody is under way beyond it.
    currents
        The currents; None for still water.
    sea
        What the sea takes; None for none.
    before_h
        [h] How long before the first departure the span begins.
    """

    begin: datetime
    hours: float
    currents: Currents | None = None
    sea: SeaAllowance | None = None
    before_h: float = 0.0

    @property
    def departs(self) -> datetime:
        """The first departure that they are for."""
        return self.begin + self.before_h * _HOUR

    @cached_property
    def count(self) -> int:
        """How many moments there are."""
        return int(np.ceil(self.hours / STEP_H)) + 1

    @cached_property
    def posix_s(self) -> Vector:
        """[s] The moments, since 1970-01-01 UTC."""
        return np.asarray(self.begin.timestamp() + np.arange(self.count) * STEP_H * 3600, dtype=np.float64)

    @cached_property
    def sea_states(self) -> NDArray[np.int64]:
        """Which state of the sea holds at each moment; -1 for a calm."""
        if self.sea is None:
            return np.full(self.count, -1)
        return np.asarray(self.sea.seas.at(self.posix_s))

    @property
    def gridded(self) -> bool:
        """Whether gridded currents are among them, which differ from place to place."""
        return self.currents is not None and self.currents.grid is not None

    def window(self, begin_h: float, hours: float) -> Conditions:
        """Take a part of the span.

        Parameters
        ----------
        begin_h, hours
            [h] Its beginning since that of the span, and how long it lasts.

        Returns
        -------
        The same currents and sea for that part, or as much of it as the span has.
        """
        hours = max(STEP_H, min(hours, self.hours - begin_h))
        return Conditions(self.begin + begin_h * _HOUR, hours, self.currents, self.sea)

    def hours_at(self, moment: datetime) -> float:
        """[h] Count from the beginning.

        Parameters
        ----------
        moment
            Zone-aware.

        Returns
        -------
        Negative before it.
        """
        return (moment - self.begin) / _HOUR
