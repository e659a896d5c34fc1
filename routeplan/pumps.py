"""How many boats can fill at a dock at once, with which fuel: what its row says, and what the organiser was told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from routeplan.cruise_asked import name_key
from routeplan.docks import DEFAULT_PUMP_LPM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from routeplan.cruise_asked import DockTold
    from routeplan.cruises import Fuel

__all__ = ["PumpSide", "pump_side", "told_of"]


@dataclass(frozen=True)
class PumpSide:
    """A dock's pumps.

    Parameters
    ----------
    pumps
        How many boats can take each fuel at once; 0 where it isn't sold.
    shared
        Whether both fuels come from one place, where one boat lies at a time.
    lpm
        [l/min] Rate of one pump.
    known
        Whether somebody said how many there are.
    """

    pumps: Mapping[Fuel, int]
    shared: bool
    lpm: float
    known: bool


def told_of(name: str, told: Sequence[DockTold]) -> DockTold | None:
    """Find what the organiser was told of a dock.

    Parameters
    ----------
    name
        The dock's name.
    told
        All that was told.

    Returns
    -------
    None where nothing was.
    """
    return next((each for each in told if name_key(each.name) == name_key(name)), None)


def pump_side(facts: Mapping[str, Any], told: DockTold | None) -> PumpSide:
    """Tell how many boats can fill at a dock at once.

    Parameters
    ----------
    facts
        Its row of the docks layer, as in `Dock.facts`.
    told
        What the organiser was told of it; goes first.

    Returns
    -------
    Its pumps. A row that doesn't say counts as one. Of two and more that serve both fuels nobody knows how they are
    divided: half each, the odd one to gasoline, which more day boats burn; a single one serves one boat at a time.

    Examples
    --------
    >>> side = pump_side({"fuels": "gasoline,diesel", "pumps": 3, "pump_lpm": 55.0}, None)
    >>> side.pumps, side.shared
    ({'gasoline': 2, 'diesel': 1}, False)
    >>> pump_side({"fuels": "gasoline,diesel"}, None).shared
    True
    """
    sold = [fuel for fuel in ("gasoline", "diesel") if fuel in str(facts["fuels"]).split(",")]
    count = int(facts.get("pumps") or 1)
    shared = len(sold) > 1 and count == 1
    pumps: dict[Fuel, int] = {"gasoline": 0, "diesel": 0}
    for fuel in sold:
        pumps[fuel] = count if len(sold) == 1 else max(1, (count + (fuel == "gasoline")) // 2)
    known = facts.get("pumps") is not None
    lpm = float(facts.get("pump_lpm", DEFAULT_PUMP_LPM))
    if told is not None:
        said: dict[Fuel, int | None] = {"gasoline": told.gasoline_pumps, "diesel": told.diesel_pumps}
        for fuel in sold:
            told_pumps = said[fuel]
            pumps[fuel] = pumps[fuel] if told_pumps is None else told_pumps
        if any(said[fuel] is not None for fuel in sold):
            several = any((said[fuel] or 0) > 1 for fuel in sold)
            known, shared = True, shared and not several and any(said[fuel] is None for fuel in sold)
        lpm = told.pump_lpm or lpm
    return PumpSide(pumps, shared, lpm, known)
