"""The gauge table: what is really there where the gauge shows so much, and what that means in the last fifth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan.lessons import GaugeRow

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.gauge_fit import GaugeFit

__all__ = ["build_gauge_table", "level_at", "tell_last_fifth"]

_LOW, _HIGH = 0.05, 0.95  # share: the ends of a 90 % interval
_TABLE_ROWS = 12
_LAST_FIFTH = 0.2  # share of the tank
_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)  # display units between two rows


def build_gauge_table(boat: Boat, gauge: GaugeFit, readings_l: Sequence[float]) -> tuple[GaugeRow, ...]:
    """Build the gauge table, in round figures of the boat's display unit.

    Parameters
    ----------
    boat
        The boat.
    gauge
        What is known of her gauge.
    readings_l
        [l] The readings that it is known by.

    Returns
    -------
    About a dozen rows, from empty to full.
    """
    capacity_l, per_unit = boat.tank.capacity_l, boat.units.litres_per_unit
    rough = capacity_l / per_unit / _TABLE_ROWS
    step = min((s for s in _STEPS if s >= 0.8 * rough), default=1000) * per_unit
    marks = [step * n for n in range(int(capacity_l / step + 1e-9) + 1)]
    nearest = [min(range(len(marks)), key=lambda n, r=r: abs(marks[n] - r)) for r in readings_l]  # type: ignore[misc]
    rows = []
    for number, mark in enumerate(marks):
        mean_l, low_l, high_l = level_at(gauge, mark)
        rows.append(GaugeRow(reading_l=mark, mean_l=mean_l, low_l=low_l, high_l=high_l, rests_on=nearest.count(number)))
    return tuple(rows)


def level_at(gauge: GaugeFit, reading_l: float) -> tuple[float, float, float]:
    """Tell how much is really there at a reading of the gauge.

    Parameters
    ----------
    gauge
        What is known of it.
    reading_l
        [l] The reading, taken without scatter.

    Returns
    -------
    [l] Mean, and the ends of the 90 % interval. At a stop of the needle anything beyond it is possible.
    """
    levels = gauge.levels_at_l(reading_l)
    mean, low, high = float(levels.mean()), *(float(v) for v in np.quantile(levels, (_LOW, _HIGH)))
    empty, brim = float(gauge.prior.knots_l[0]), float(gauge.prior.knots_l[-1])
    if reading_l <= gauge.prior.low_l:
        mean, low = 0.5 * (empty + mean), empty
    elif reading_l >= gauge.prior.high_l:
        mean, high = 0.5 * (brim + mean), brim
    return min(max(mean, low), high), low, high


def tell_last_fifth(boat: Boat, gauge: GaugeFit, readings_l: Sequence[float]) -> str:
    """Tell what the gauge does in the last fifth of the tank, and what that means.

    Parameters
    ----------
    boat
        The boat.
    gauge
        What is known of her gauge.
    readings_l
        [l] The readings that it is known by.

    Returns
    -------
    Two or three sentences.
    """
    units, capacity_l = boat.units, boat.tank.capacity_l
    step = units.litres_per_unit
    reading_l = max(step, round(0.6 * _LAST_FIFTH * capacity_l / step) * step)
    mean_l, low_l, high_l = level_at(gauge, reading_l)
    count = sum(1 for r in readings_l if r <= 1.25 * _LAST_FIFTH * capacity_l)
    basis = f"{'no reading' if not count else '1 reading' if count == 1 else f'{count} readings'} that low"
    there = f"{units.volume(mean_l)} ({units.volume(low_l)} to {units.volume(high_l)})"
    shown = units.volume(reading_l)
    if high_l < reading_l:
        return (
            f"In the last fifth the gauge reads high: where it shows {shown} there are {there}, by {basis}. "
            "This is the dangerous way to be wrong: there is less aboard than it says."
        )
    if low_l > reading_l:
        return (
            f"In the last fifth the gauge reads low: where it shows {shown} there are {there}, by {basis}. "
            "There is more aboard than it says; count on the low figure only."
        )
    lean = "either way" if abs(mean_l - reading_l) < 0.02 * capacity_l else "low" if mean_l > reading_l else "high"
    may = "may be off either way" if lean == "either way" else f"seems to read {lean}, which isn't sure yet"
    return (
        f"In the last fifth the gauge {may}: where it shows {shown} there are {there}, by {basis}. "
        "Plan with the low figure: a gauge that reads high there leaves a boat dry."
    )
