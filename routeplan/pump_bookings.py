"""Pumps that are taken already: when a boat that comes to a dock next could begin to fill."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.party_routes import opens_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.cruise_days import CruiseDays
    from routeplan.cruises import Fuel
    from routeplan.parties import Party

__all__ = ["Bookings"]

_TIE_H = 1e-9
_MOST_MOVES = 50  # from one gap to the next, for one boat


class Bookings:
    """Turns at the pumps of all docks.

    Parameters
    ----------
    parties
        Their docks.
    days
        Hours are counted from their departure.
    """

    def __init__(self, parties: Sequence[Party], days: CruiseDays) -> None:
        self._days = days
        self._docks = {row: party.docks[0][row] for party in parties for row in party.sides}
        self._sides = {row: side for party in parties for row, side in party.sides.items()}
        self._taken: dict[tuple[int, str], list[list[tuple[float, float]]]] = {}

    def begin_h(self, row: int, fuel: Fuel, arrive_h: float, lasts_h: float) -> float | None:
        """[h] Tell when a boat could begin to fill.

        Parameters
        ----------
        row
            Of the docks layer.
        fuel
            What she takes.
        arrive_h, lasts_h
            [h] When she comes, and how long she needs.

        Returns
        -------
        The earliest moment at which the dock is open and a pump free for so long; None where there is none.
        """
        found = [self._first_gap(row, taken, arrive_h, lasts_h) for taken in self._pumps(row, fuel)]
        return min((h for h in found if h is not None), default=None)

    def book(self, row: int, fuel: Fuel, begin_h: float, lasts_h: float) -> None:
        """Take a pump.

        Parameters
        ----------
        row, fuel, begin_h, lasts_h
            As told by `begin_h`.
        """
        for taken in self._pumps(row, fuel):
            if all(begin_h + lasts_h <= b + _TIE_H or begin_h >= e - _TIE_H for b, e in taken):
                taken.append((begin_h, begin_h + lasts_h))
                taken.sort()
                return

    def _pumps(self, row: int, fuel: Fuel) -> list[list[tuple[float, float]]]:
        side = self._sides[row]
        key = (row, "" if side.shared else fuel)
        return self._taken.setdefault(key, [[] for _ in range(1 if side.shared else side.pumps[fuel])])

    def _first_gap(self, row: int, taken: Sequence[tuple[float, float]], at_h: float, lasts_h: float) -> float | None:
        for _ in range(_MOST_MOVES):
            open_h = opens_at(self._docks[row], self._days, at_h, lasts_h)
            if open_h is None:
                return None
            clash = next((e for b, e in taken if b < open_h + lasts_h - _TIE_H and open_h < e - _TIE_H), None)
            if clash is None:
                return open_h
            at_h = clash
        return None
