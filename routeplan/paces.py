"""The speed of a group: one that each of its boats can hold, in open water, under each limit and alongside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.leg_graph import Rates

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.network import Network

__all__ = ["common_speed_kn", "group_rates", "held_by_all_kn", "reference_rates"]


def held_by_all_kn(boats: Sequence[Boat], limit_kn: float) -> float:
    """[kn] Find the fastest speed under a limit that every boat can hold.

    Parameters
    ----------
    boats
        The group.
    limit_kn
        [kn] What none may exceed, or wants to.

    Returns
    -------
    The limit, or less: no boat's fastest speed is exceeded and none lies over her hump.

    Examples
    --------
    Two boats whose humps are 10 to 17 and 9 to 14 kn: under a limit of 12 kn the first falls back to 10, where the
    second can't stay; 9 kn is what both hold.

    >>> from types import SimpleNamespace
    >>> def hump(low, high):
    ...     return SimpleNamespace(steady_kn=lambda v: low if low < v < high else v)
    >>> held_by_all_kn([hump(10, 17), hump(9, 14)], 12.0)
    9
    """
    speed_kn = limit_kn
    while True:
        held_kn = min(boat.steady_kn(speed_kn) for boat in boats)
        if held_kn >= speed_kn:
            return speed_kn
        speed_kn = held_kn


def common_speed_kn(boats: Sequence[Boat], asked_kn: float | None) -> float:
    """[kn] Find the speed that a group goes at together.

    Parameters
    ----------
    boats
        The group.
    asked_kn
        [kn] The speed that was asked for; None takes the fastest that all can hold, at most the least of their
        cruising speeds.

    Returns
    -------
    The speed.

    Raises
    ------
    InputError
        A boat can't hold the speed that was asked for; the nearest that all can are offered.
    """
    if asked_kn is None:
        return held_by_all_kn(boats, min(boat.cruising_speed_kn for boat in boats))
    for boat in boats:
        slowest_kn = min(boat.no_wake_kn, boat.burn.speed_kn[0])
        if asked_kn > boat.fastest_kn:
            problem = f"{boat.name} makes {boat.fastest_kn:g} kn at the most"
        elif asked_kn < slowest_kn:
            problem = f"slower than {slowest_kn:g} kn, the least that {boat.name}'s file speaks of"
        elif boat.steady_kn(asked_kn) != asked_kn:
            low, high = boat.burn.unsteady_kn or (0.0, 0.0)
            problem = f"{boat.name} can't hold a speed between {low:g} and {high:g} kn"
        else:
            continue
        raise InputError("speed_kn", problem, value=f"{asked_kn:g} kn", remedy=_offer(boats, asked_kn))
    return asked_kn


def group_rates(boats: Sequence[Boat], network: Network, speed_kn: float) -> tuple[Rates, ...]:
    """Work out what a mile costs each boat of a group that keeps together.

    Parameters
    ----------
    boats
        The group.
    network
        Its water holds the limits.
    speed_kn
        [kn] The common speed.

    Returns
    -------
    One a boat: the same speeds in each, her own burn. Of one boat they are her own rates.
    """
    limits = [float("inf"), *(area.limit_kn for area in network.water.speed_areas)]
    no_wake_kn = min(boat.no_wake_kn for boat in boats)
    speeds = tuple(held_by_all_kn(boats, min(speed_kn, limit)) for limit in limits)
    slow = tuple(held_by_all_kn(boats, min(no_wake_kn, speed_kn, limit)) for limit in limits)
    return tuple(
        Rates(
            speeds,
            tuple(boat.burn_lph(v) for v in speeds),
            slow,
            tuple(boat.burn_lph(v) for v in slow),
            boat.burn.idle_lph,
        )
        for boat in boats
    )


def reference_rates(boats: Sequence[Boat], rates: Sequence[Rates]) -> Rates:
    """Make the rates that a group's ways are found with.

    Parameters
    ----------
    boats
        The group.
    rates
        From `group_rates`.

    Returns
    -------
    The group's speeds, and as burn the mean of each boat's as a share of what she can burn from full to floor, in
    litres of the first boat's tank: least fuel is then the least share of the tanks together.
    """
    if len(rates) == 1:
        return rates[0]
    usable_l = [boat.tank.full_mark_l - boat.floor_l for boat in boats]
    scale = [usable_l[0] / one / len(boats) for one in usable_l]

    def mean(burns: Sequence[Sequence[float]]) -> tuple[float, ...]:
        return tuple(sum(k * burn for k, burn in zip(scale, each, strict=True)) for each in zip(*burns, strict=True))

    return Rates(
        rates[0].speed_kn,
        mean([r.burn_lph for r in rates]),
        rates[0].slow_kn,
        mean([r.slow_lph for r in rates]),
        mean([(r.idle_lph,) for r in rates])[0],
    )


def _offer(boats: Sequence[Boat], asked_kn: float) -> str:
    """Offer the nearest speeds that all can hold: below, and above where there is one."""
    fastest_kn = min(boat.fastest_kn for boat in boats)
    slowest_kn = max(min(boat.no_wake_kn, boat.burn.speed_kn[0]) for boat in boats)
    below_kn = held_by_all_kn(boats, min(asked_kn, fastest_kn))
    ends = sorted({high for boat in boats if boat.burn.unsteady_kn for high in boat.burn.unsteady_kn[1:]})
    above = [v for v in ends if asked_kn < v <= fastest_kn and held_by_all_kn(boats, v) == v]
    found = [*([below_kn] if below_kn >= slowest_kn else []), *above[:1]]
    if not found:
        return 'no one speed will do for all: write pace = "own"'
    return f"all can hold {' or '.join(f'{v:g} kn' for v in found)}"
