"""A season of fill-ups for each boat, as honest instruments with honest errors would have written them.

What the instruments are really worth is drawn here and written to the answers file alone: a log that is read well
finds it again.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from demo_region.boats import BOATS
from demo_region.docks import DOCKS
from demo_region.plane import chance

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["COLUMNS", "FillupBook", "Truth", "build_fillups"]

COLUMNS: Final = (
    "boat", "when", "dock", "meter_used_l", "meter2_used_l", "gauge_before_l", "pumped_l", "filled_to_full",
    "meter_reset", "distance_run_nmi", "engine_hours_h", "sea", "people", "price_per_l", "note",
)  # fmt: skip
_LITRES: Final = {
    "l": 1.0,
    "gal": 3.785411784,
    "impgal": 4.54609,
}  # [l] litre, US gallon, imperial gallon (NIST SP 811)
_SEAS: Final = (("calm", 0.98), ("slight", 1.0), ("moderate", 1.03))  # and what each does to the burn
_METER_NOISE: Final = 0.006  # sd of one reading, share of it
_GAUGE_NOISE: Final = 0.012  # sd of one reading, share of the tank
_RUN_NOISE: Final = 0.03  # sd of one run's burn: load, trim, growth


@dataclass(frozen=True)
class _Habit:
    """How one boat is used: meters, fill-ups in the season, fuel between two of them [share of the tank], docks."""

    file: str
    meters: int
    fillups: int
    least_used: float
    most_used: float
    people: int
    slower_kn: float
    faster_kn: float
    harbours: tuple[str, ...]


_HABITS: Final = (
    _Habit(
        "quick_errand.toml", 2, 24, 0.3, 0.78, 4, 3.0, 3.0,
        ("Tolvarrow", "Tolvarrow", "Bressaval", "Kestorin", "Pellanore", "Callowhythe", "Tamblewick"),
    ),
    _Habit(
        "salt_biscuit.toml", 1, 22, 0.25, 0.75, 3, 3.0, 2.0,
        ("Vellistrand", "Vellistrand", "Orrendale", "Zennimore", "Brimmerquay", "Corrigale"),
    ),
    _Habit(
        "second_opinion.toml", 1, 18, 0.25, 0.7, 5, 2.0, 2.0,
        ("Ettermoy", "Ettermoy", "Sundrevik", "Rostermay", "Larkhythe", "Brimmerquay"),
    ),
    _Habit(
        "tall_story.toml", 1, 16, 0.15, 0.6, 3, 1.0, 0.5,
        ("Wickmarrow", "Wickmarrow", "Callowhythe", "Drovessa", "Tolvarrow", "Hesterquay"),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """What one boat's instruments are really worth.

    Parameters
    ----------
    boat
        Its name.
    meter_factors
        Pumped / metered of each flow meter.
    gauge_readings_l, gauge_true_l
        [l] What the gauge says, and the fuel that is really there.
    full_mark_sd_l
        [l] How well the full mark repeats.
    burn_factor
        Real burn / burn table, in a slight sea.
    oddities
        Fill-ups that went wrong: when, and what.
    """

    boat: str
    meter_factors: tuple[float, ...]
    gauge_readings_l: tuple[float, ...]
    gauge_true_l: tuple[float, ...]
    full_mark_sd_l: float
    burn_factor: float
    oddities: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class FillupBook:
    """The log of all boats, and what stands behind it.

    Parameters
    ----------
    rows
        One mapping a fill-up, with the keys of `COLUMNS`, as text.
    truths
        The answers, one for each boat.
    """

    rows: tuple[Mapping[str, str], ...]
    truths: tuple[Truth, ...]

    def csv(self) -> str:
        """Write the log.

        Returns
        -------
        str
            CSV text.
        """
        out = io.StringIO()
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(self.rows)
        return out.getvalue()

    def answers(self) -> str:
        """Write what stands behind the log.

        Returns
        -------
        str
            TOML text.
        """
        lines = ["# What the instruments are really worth: for those who check what a log teaches."]
        for truth in self.truths:
            lines += [
                "",
                "[[boat]]",
                f'name = "{truth.boat}"',
                f"meter_factors = [{', '.join(f'{value:.4f}' for value in truth.meter_factors)}]",
                f"gauge_readings_l = [{', '.join(f'{value:.1f}' for value in truth.gauge_readings_l)}]",
                f"gauge_true_l = [{', '.join(f'{value:.1f}' for value in truth.gauge_true_l)}]",
                f"full_mark_sd_l = {truth.full_mark_sd_l:.2f}",
                f"burn_factor = {truth.burn_factor:.4f}",
            ]
            for when, what in truth.oddities:
                lines += ["[[boat.oddity]]", f'when = "{when}"', f'what = "{what}"']
        return "\n".join(lines) + "\n"


def _litres(value: float | str) -> float:
    if isinstance(value, str):
        number, unit = value.split()
        return float(number) * _LITRES[unit]
    return float(value)


def _bell(rng: np.random.Generator) -> float:
    """One draw of the standard normal, from two of the uniform (Box and Muller 1958)."""
    return math.sqrt(-2.0 * math.log(1.0 - rng.random())) * math.cos(2 * math.pi * rng.random())


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return low + (high - low) * float(rng.random())


def _draw_truth(rng: np.random.Generator, boat: str, meters: int, capacity_l: float) -> Truth:
    """Draw instrument errors within what boats are known to have: meters a few per cent, gauges worst near empty."""
    factors = tuple(round(_between(rng, 0.955, 1.06), 4) for _ in range(meters))
    readings = tuple(round(share * capacity_l, 1) for share in (0.0, 0.125, 0.25, 0.5, 0.75, 1.0))
    lift = _between(rng, 0.02, 0.075) * (1.0 if rng.random() < 0.7 else -0.35)
    belly = _between(rng, -0.05, 0.05)
    shares = (
        max(lift, 0.0),
        0.125 + lift * 0.8,
        0.25 + 0.6 * lift + 0.4 * belly,
        0.5 + belly,
        0.75 + 0.7 * belly,
        0.985,
    )
    burn = round(_between(rng, 0.95, 1.09), 4)
    full_mark_sd_l = round(_between(rng, 0.005, 0.012) * capacity_l, 2)
    return Truth(
        boat, factors, readings, tuple(round(share * capacity_l, 1) for share in shares), full_mark_sd_l, burn, ()
    )


def _season(rng: np.random.Generator, habit: _Habit) -> tuple[list[dict[str, str]], Truth]:
    """Run one boat through its season."""
    boat = tomllib.loads(BOATS[habit.file])
    capacity_l, full_mark_l = (_litres(boat["tank"][key]) for key in ("capacity_l", "full_mark_l"))
    burn_speeds_kn, burn_lph = boat["burn"]["speed_kn"], boat["burn"]["burn_lph"]
    cruise_kn = float(boat["cruising_speed_kn"])
    truth = _draw_truth(rng, boat["name"], habit.meters, capacity_l)
    docks = {dock.harbour: dock for dock in DOCKS}
    part, missed, forgotten = (2 + int(rng.random() * (habit.fillups - 5)) for _ in range(3))
    missed = part + 3 if missed in {part, part + 1} else missed
    while forgotten in {part, missed, missed - 1, part - 1}:
        forgotten = 2 + int(rng.random() * (habit.fillups - 5))
    day = datetime(2025, 4, 26, tzinfo=UTC)
    level_l, metered_l = full_mark_l, [0.0] * habit.meters
    distance_nmi = hours_h = 0.0
    rows: list[dict[str, str]] = []
    oddities: list[tuple[str, str]] = []
    for number in range(habit.fillups + 1):
        day += timedelta(days=2 + int(rng.random() * 11))
        when = day + timedelta(minutes=9 * 60 + int(rng.random() * 8 * 60))
        speed_kn = round(_between(rng, cruise_kn - habit.slower_kn, cruise_kn + habit.faster_kn), 1)
        sea, sea_factor = _SEAS[min(int(rng.random() * 3), 2)]
        wanted_l = _between(rng, habit.least_used, habit.most_used) * capacity_l
        wanted_l = min(wanted_l, level_l - 0.12 * capacity_l)
        lph = float(np.interp(speed_kn, burn_speeds_kn, burn_lph)) * truth.burn_factor * sea_factor
        run_h = round(wanted_l / lph, 1)
        used_l = min(run_h * lph * (1.0 + _RUN_NOISE * _bell(rng)), level_l - 0.05 * capacity_l)
        level_l -= used_l
        distance_nmi, hours_h = distance_nmi + run_h * speed_kn, hours_h + run_h
        for meter, factor in enumerate(truth.meter_factors):
            metered_l[meter] += used_l / habit.meters / factor * (1.0 + _METER_NOISE * _bell(rng))
        reading_l = float(
            np.interp(level_l, truth.gauge_true_l, truth.gauge_readings_l)
        ) + _GAUGE_NOISE * capacity_l * _bell(rng)
        to_full_l = full_mark_l + truth.full_mark_sd_l * _bell(rng) - level_l
        pumped_l = to_full_l * 0.55 if number == part else to_full_l
        level_l += pumped_l
        dock = docks[habit.harbours[int(rng.random() * len(habit.harbours))]]
        stamp = when.strftime("%Y-%m-%dT%H:%MZ")
        if number == missed:
            oddities.append((stamp, "a fill-up to the full mark that nobody wrote down; the meter ran on"))
            continue
        reset = number != forgotten
        price = dock.gasoline if boat["fuel"] == "gasoline" else dock.diesel
        rows.append(
            {
                "boat": boat["name"],
                "when": stamp,
                "dock": dock.name,
                "meter_used_l": f"{metered_l[0]:.1f}",
                "meter2_used_l": f"{metered_l[1]:.1f}" if habit.meters > 1 else "",
                "gauge_before_l": f"{max(round(reading_l / 2.0) * 2.0, 0.0):.0f}",
                "pumped_l": f"{pumped_l:.1f}",
                "filled_to_full": "no" if number == part else "yes",
                "meter_reset": "yes" if reset else "no",
                "distance_run_nmi": f"{distance_nmi:.1f}",
                "engine_hours_h": f"{hours_h:.1f}",
                "sea": sea,
                "people": str(1 + int(rng.random() * habit.people)),
                "price_per_l": f"{price:.2f}",
                "note": "queue behind us, left before it was full" if number == part else "",
            }
        )
        if number == part:
            oddities.append((stamp, "a part fill"))
        if reset:
            metered_l = [0.0] * habit.meters
        else:
            oddities.append((stamp, "the meter was not reset: the next reading covers both runs"))
        distance_nmi = hours_h = 0.0
    return rows, replace(truth, oddities=tuple(oddities))


def build_fillups(seed: int) -> FillupBook:
    """Make the log and its answers.

    Parameters
    ----------
    seed
        The region's seed.

    Returns
    -------
    All boats, one after the other, each in order of time.
    """
    seasons = [_season(chance(seed, f"fillups of {habit.file}"), habit) for habit in _HABITS]
    return FillupBook(tuple(row for rows, _ in seasons for row in rows), tuple(truth for _, truth in seasons))
