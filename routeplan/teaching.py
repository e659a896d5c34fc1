"""What a boat's log teaches: one call that fits meters, gauge and burn, and tells what each is worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan.burn_fit import BurnFit, fit_ratios, table_burn_l
from routeplan.closures import find_closures, meter_count
from routeplan.fillups import Entry, Fillup
from routeplan.gauge_fit import GaugeData, GaugeFit, fit_gauge, reading_step_l, stated_prior
from routeplan.lesson_building import Fits, build_lesson
from routeplan.lessons import Figure
from routeplan.levels import MeterEra, find_levels
from routeplan.meter_fit import MeterPrior, fit_meters
from routeplan.suspects import Witnesses, find_suspects

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.closures import Closure
    from routeplan.lessons import Lesson
    from routeplan.levels import Levels, RowTruth
    from routeplan.meter_fit import MeterFit

__all__ = ["Taught", "learn", "meter_prior", "sharpened", "without_log"]

Floats: TypeAlias = "NDArray[np.float64]"

_MOST_FILLUPS = 400  # fill-ups, the last ones: instruments age, and older ones say nothing of today's
_MOST_READINGS = 120  # of the gauge, the last ones: more hardly move its table, and each makes all others dearer
_LEAST_SCATTER_SHARE = 0.0005  # of the capacity: no hand and no eye is better than this at the full mark
_LEAST_RUN_SHARE = 0.001  # of the capacity: a run that burnt less says nothing of the burn
_LEAST_RUN_NMI = 0.1  # nmi: nor does a shorter one of the economy
_NEW_METER = {"meter-replaced", "meter2-replaced"}


@dataclass(frozen=True, eq=False)
class Taught:
    """What a log taught, with the posteriors that later readings are weighed with.

    Parameters
    ----------
    lesson
        The figures, as they are told.
    fillups
        The fill-ups that it rests on, in order of time.
    closures
        Sums under the meters that are fitted now.
    meters
        How many meters were read; 0 where none was.
    meter_fit
        What they are worth.
    gauge_fit
        What the gauge is worth.
    """

    lesson: Lesson
    fillups: tuple[Fillup, ...]
    closures: tuple[Closure, ...]
    meters: int
    meter_fit: MeterFit
    gauge_fit: GaugeFit

    @property
    def boat(self) -> Boat:
        """The boat, with the burn and the full mark as learnt."""
        return self.lesson.taught


def learn(boat: Boat, log: Sequence[Entry | Fillup]) -> Taught:
    """Learn what a boat's instruments are worth, and what she really burns.

    Parameters
    ----------
    boat
        The boat, as her file says.
    log
        Her fill-ups, in any order; another boat's are left aside. There may be none: then the priors speak.

    Returns
    -------
    The figures, each with how many fill-ups it rests on and what would sharpen it most; and the posteriors.

    Notes
    -----
    The last 400 fill-ups are used. Levels are counted from the boat file's full mark: where that is wrong, all of the
    gauge table is shifted with it.
    """
    entries, left_out = _chosen(boat, log)
    fillups = tuple(entry.fillup for entry in entries)
    meters = meter_count(fillups)
    eras = _fit_eras(boat, fillups, meters)
    levels = find_levels(fillups, eras, boat.tank.full_mark_l)
    gauge, gauge_rows = _fit_gauge(boat, fillups, levels)
    burn, burn_rows, ratios = _fit_burn(boat, fillups, levels.rows)
    economy, economy_rows = _fit_economy(boat, fillups, levels.rows)
    by_row_ratio = _by_row(len(fillups), burn_rows, ratios)
    known = Witnesses(
        boat,
        entries,
        levels.rows,
        gauge if gauge_rows else None,
        _by_row(len(fillups), gauge_rows, gauge.good),
        _by_row(len(fillups), burn_rows, burn.good),
        by_row_ratio,
    )
    fits = Fits(
        boat=boat,
        fillups=fillups,
        left_out=left_out,
        meters=meters,
        eras=tuple(eras),
        truths=levels.rows,
        gauge=gauge,
        gauge_rows=tuple(gauge_rows),
        burn=burn,
        burn_rows=tuple(burn_rows),
        burn_ratios=tuple(by_row_ratio),
        economy=economy,
        economy_rows=tuple(economy_rows),
        suspicious=find_suspects(known),
    )
    return Taught(build_lesson(fits), fillups, eras[-1].closures, meters, eras[-1].fit, gauge)


def without_log(boat: Boat) -> Taught:
    """Say what is believed of a boat that has no log.

    Parameters
    ----------
    boat
        The boat.

    Returns
    -------
    The priors, in the shape of what a log teaches.
    """
    return learn(boat, ())


def sharpened(taught: Taught) -> tuple[tuple[datetime, Figure], ...]:
    """Tell how the meter factor sharpened, fill-up by fill-up.

    Parameters
    ----------
    taught
        What the log taught.

    Returns
    -------
    After each sum that the meters now fitted closed: its moment, and the factor as it was known then.
    """
    return tuple(
        (
            taught.fillups[row].when,
            Figure(mean=mean, sd=sd, low=low, high=high, rests_on=number, sharpen=""),
        )
        for number, (row, mean, sd, low, high) in enumerate(taught.meter_fit.path, start=1)
    )


def meter_prior(boat: Boat) -> MeterPrior:
    """Return what is believed of a boat's meters and full mark before her log speaks.

    Parameters
    ----------
    boat
        The boat.

    Returns
    -------
    The prior. A boat file that says that her full mark repeats exactly is not believed to the last drop.
    """
    capacity_l = boat.tank.capacity_l
    return MeterPrior(capacity_l, max(boat.full_mark_sd_l, _LEAST_SCATTER_SHARE * capacity_l))


def _chosen(boat: Boat, log: Sequence[Entry | Fillup]) -> tuple[tuple[Entry, ...], int]:
    """Take the boat's own fill-ups in order of time, the last ones where there are very many."""
    entries: list[Entry] = []
    for number, one in enumerate(log):
        entry = Entry(entry=f"{number:08d}", entered=one.when, fillup=one) if isinstance(one, Fillup) else one
        if entry.fillup.boat == boat.name:
            entries.append(entry)
    entries.sort(key=lambda e: e.fillup.when)
    left_out = max(0, len(entries) - _MOST_FILLUPS)
    return tuple(entries[left_out:]), left_out


def _fit_eras(boat: Boat, fillups: Sequence[Fillup], meters: int) -> list[MeterEra]:
    """Fit each set of meters to its own sums; the full mark's scatter is handed on from one to the next."""
    meters = max(meters, 1)
    prior = meter_prior(boat)
    parts: list[list[Closure]] = [[]]
    for closure in find_closures(fillups, meters):
        if any(_NEW_METER.intersection(fillups[row].since) for row in closure.rows) and parts[-1]:
            parts.append([])
        parts[-1].append(closure)
    eras: list[MeterEra] = []
    for part in parts:
        fit = fit_meters(part, meters, prior, eras[-1].fit if eras else None)
        eras.append(MeterEra(tuple(part), fit))
    return eras


def _fit_gauge(boat: Boat, fillups: Sequence[Fillup], levels: Levels) -> tuple[GaugeFit, list[int]]:
    rows = [
        row
        for row, (fillup, truth) in enumerate(zip(fillups, levels.rows, strict=True))
        if fillup.gauge_before_l is not None and truth.level_l is not None
    ][-_MOST_READINGS:]
    readings = [fillups[row].gauge_before_l or 0.0 for row in rows]
    data = GaugeData(
        np.array(readings, dtype=np.float64),
        np.clip(np.array([levels.rows[row].level_l for row in rows], dtype=np.float64), 0.0, boat.tank.capacity_l),
        levels.covariance_l2[np.ix_(rows, rows)],
        reading_step_l(readings, boat.tank.capacity_l, boat.units.litres_per_unit),
    )
    return fit_gauge(data, stated_prior(boat.tank.capacity_l)), rows


def _fit_burn(boat: Boat, fillups: Sequence[Fillup], truths: Sequence[RowTruth]) -> tuple[BurnFit, list[int], Floats]:
    rows, ratios, errors = [], [], []
    for row, (fillup, truth) in enumerate(zip(fillups, truths, strict=True)):
        table_l = table_burn_l(boat, fillup)
        least_l = _LEAST_RUN_SHARE * boat.tank.capacity_l
        if table_l is None or truth.used_l is None or truth.used_sd_l is None or not truth.believed:
            continue
        if min(table_l, truth.used_l) > least_l:
            rows.append(row)
            ratios.append(truth.used_l / table_l)
            errors.append(truth.used_sd_l / truth.used_l)
    values = np.array(ratios)
    return fit_ratios(values, np.array(errors)), rows, values


def _fit_economy(boat: Boat, fillups: Sequence[Fillup], truths: Sequence[RowTruth]) -> tuple[BurnFit, list[int]]:
    rows, ratios, errors = [], [], []
    for row, (fillup, truth) in enumerate(zip(fillups, truths, strict=True)):
        if truth.used_l is None or truth.used_sd_l is None or not truth.believed:
            continue
        distance_nmi = fillup.distance_run_nmi or 0.0
        if distance_nmi > _LEAST_RUN_NMI and truth.used_l > _LEAST_RUN_SHARE * boat.tank.capacity_l:
            rows.append(row)
            ratios.append(distance_nmi / truth.used_l)
            errors.append(truth.used_sd_l / truth.used_l)
    return fit_ratios(np.array(ratios), np.array(errors), prior_sd=None if rows else 1.0), rows


def _by_row(count: int, rows: Sequence[int], values: Floats) -> list[float | None]:
    found: list[float | None] = [None] * count
    for row, value in zip(rows, values, strict=True):
        found[row] = float(value)
    return found
