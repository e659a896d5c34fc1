"""What a boat's log teaches: one call that fits meters, gauge and burn, and tells what each is worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan.burn_fit import BurnFit, fit_ratios, table_burn_l
from routeplan.closures import find_closures, meter_count
from routeplan.fillups import Entry, Fillup
from routeplan.gauge_fit import GaugeData, GaugeFit, fit_gauge, reading_step_l, stated_prior
from routeplan.lessons import (
    Figure,
    GaugePoint,
    GaugeRow,
    Lesson,
    MeterLesson,
    RunLesson,
    SeaLesson,
    SumPoint,
)
from routeplan.levels import MeterEra, find_levels
from routeplan.meter_fit import MeterPrior, fit_meters, quantile
from routeplan.sharpening import sharpen_burn, sharpen_gauge, sharpen_mark, sharpen_meter
from routeplan.suspects import Witnesses, find_suspects

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.closures import Closure
    from routeplan.lessons import Suspicion
    from routeplan.levels import Levels, RowTruth
    from routeplan.meter_fit import MeterFit

__all__ = ["Taught", "learn", "sharpened", "without_log"]

Floats: TypeAlias = "NDArray[np.float64]"

_MOST_FILLUPS = 400  # fill-ups, the last ones: instruments age, and older ones say nothing of today's
_LOW, _HIGH = 0.05, 0.95  # share: the ends of a 90 % interval
_HALF = 0.5  # share: likelier good than not
_TABLE_ROWS = 12
_LAST_FIFTH = 0.2  # share of the tank
_DEEP_SHARE = 0.65  # of the capacity: a long run
_NEW_METER = {"meter-replaced", "meter2-replaced"}
_FEWEST_IN_A_SEA = 3  # runs: fewer say nothing of what a sea does
_PUMP_NOTE = "The pump is taken at its word; a pump that is off by half a per cent moves the meter factor by as much."


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
        How many meters there are.
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
    meters = meter_count(fillups) or 1
    eras = _fit_eras(boat, fillups, meters)
    era = eras[-1]
    levels = find_levels(fillups, eras, boat.tank.full_mark_l)
    truths = levels.rows
    gauge, gauge_rows = _fit_gauge(boat, fillups, levels)
    burn, burn_rows, ratios = _fit_burn(boat, fillups, truths)
    economy, economy_rows = _fit_economy(fillups, truths)
    gauge_good = _by_row(len(fillups), gauge_rows, gauge.good)
    burn_good = _by_row(len(fillups), burn_rows, burn.good)
    by_row_ratio = _by_row(len(fillups), burn_rows, ratios)
    known = Witnesses(boat, entries, truths, gauge if gauge_rows else None, gauge_good, burn_good, by_row_ratio)
    suspicious = find_suspects(known)
    used_l = (
        float(np.median([t.used_l for t in truths if t.used_l]))
        if any(t.used_l for t in truths)
        else (0.5 * boat.tank.capacity_l)
    )
    metered = any(closure.full and closure.metered for one in eras for closure in one.closures)
    sums = [v for v in era.fit.verdicts if v.odd < _HALF]
    mark = _figure(era.fit.full_mark_sd_l, era.fit.weights, _good_sums(eras), sharpen_mark(_good_sums(eras)))
    level_sd_l = mark.mean
    burn_figure = (
        _figure(burn.ratios, burn.weights, len(burn_rows), sharpen_burn(burn, len(burn_rows), "distance and hours"))
        if burn_rows
        else None
    )
    sd_share = burn.next_sd_share if burn_rows else boat.burn.sd_share
    lesson = Lesson(
        boat=boat,
        taught=_teach(boat, burn.mean if burn_rows else None, sd_share, mark.mean if metered else None),
        fillups=len(fillups),
        meter_factor=_figure(
            era.fit.common,
            era.fit.weights,
            len(sums),
            sharpen_meter(era.fit, used_l, _deep_l(boat), boat.units),
        )
        if meter_count(fillups)
        else None,
        meters=_meter_lessons(boat, fillups, era, eras, len(sums), used_l) if meter_count(fillups) else (),
        full_mark_sd_l=mark,
        meter_sd_share=_figure(era.fit.meter_sd_share, era.fit.weights, len(sums), sharpen_mark(len(sums))),
        gauge_sd_l=_figure(
            gauge.scatters_l,
            np.full(len(gauge.scatters_l), 1.0 / len(gauge.scatters_l)),
            len(gauge_rows),
            sharpen_mark(len(gauge_rows)),
        ),
        gauge_table=_gauge_table(boat, gauge, [fillups[row].gauge_before_l or 0.0 for row in gauge_rows])
        if gauge_rows
        else (),
        gauge_sharpen=sharpen_gauge(gauge, boat, level_sd_l),
        gauge_in_words=_in_words(boat, gauge, [fillups[row].gauge_before_l or 0.0 for row in gauge_rows]),
        burn_factor=burn_figure,
        burn_sd_share=sd_share,
        economy_nmi_per_l=_figure(
            economy.ratios, economy.weights, len(economy_rows), sharpen_burn(economy, len(economy_rows), "the distance")
        )
        if economy_rows
        else None,
        by_sea=_by_sea(fillups, burn_rows, ratios, burn.good),
        suspicious=suspicious,
        sums=_sum_points(fillups, eras),
        gauge_points=_gauge_points(fillups, truths, gauge_rows, gauge.good),
        runs=_runs(fillups, truths, by_row_ratio, suspicious),
        notes=_notes(boat, fillups, left_out),
    )
    return Taught(lesson, fillups, era.closures, meters, era.fit, gauge)


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


def sharpened(boat: Boat, log: Sequence[Entry | Fillup]) -> tuple[tuple[datetime, Figure], ...]:
    """Tell how the meter factor sharpened, fill-up by fill-up.

    Parameters
    ----------
    boat
        The boat.
    log
        Her fill-ups.

    Returns
    -------
    After each sum that the meters now fitted closed: its moment, and the factor as it was known then.
    """
    entries, _ = _chosen(boat, log)
    fillups = tuple(entry.fillup for entry in entries)
    if not meter_count(fillups):
        return ()
    era = _fit_eras(boat, fillups, meter_count(fillups))[-1]
    return tuple(
        (
            fillups[row].when,
            Figure(mean=mean, sd=sd, low=low, high=high, rests_on=number, sharpen=""),
        )
        for number, (row, mean, sd, low, high) in enumerate(era.fit.path, start=1)
    )


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
    prior = MeterPrior(boat.tank.capacity_l, boat.full_mark_sd_l)
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
    ]
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
        if table_l and truth.used_l and truth.used_sd_l is not None and truth.used_l > 0 and truth.believed:
            rows.append(row)
            ratios.append(truth.used_l / table_l)
            errors.append(truth.used_sd_l / truth.used_l)
    values = np.array(ratios)
    return fit_ratios(values, np.array(errors)), rows, values


def _fit_economy(fillups: Sequence[Fillup], truths: Sequence[RowTruth]) -> tuple[BurnFit, list[int]]:
    rows, ratios, errors = [], [], []
    for row, (fillup, truth) in enumerate(zip(fillups, truths, strict=True)):
        if fillup.distance_run_nmi and truth.used_l and truth.used_sd_l is not None and truth.believed:
            if truth.used_l <= 0:
                continue
            rows.append(row)
            ratios.append(fillup.distance_run_nmi / truth.used_l)
            errors.append(truth.used_sd_l / truth.used_l)
    return fit_ratios(np.array(ratios), np.array(errors), prior_sd=None if rows else 1.0), rows


def _by_row(count: int, rows: Sequence[int], values: Floats) -> list[float | None]:
    found: list[float | None] = [None] * count
    for row, value in zip(rows, values, strict=True):
        found[row] = float(value)
    return found


def _figure(values: Floats, weights: Floats, rests_on: int, sharpen: str) -> Figure:
    mean = float(weights @ values)
    sd = float(np.sqrt(max(0.0, float(weights @ (values - mean) ** 2))))
    low, high = quantile(values, weights, _LOW), quantile(values, weights, _HIGH)
    return Figure(mean=mean, sd=sd, low=low, high=high, rests_on=rests_on, sharpen=sharpen)


def _good_sums(eras: Sequence[MeterEra]) -> int:
    return sum(1 for era in eras for verdict in era.fit.verdicts if verdict.odd < _HALF)


def _meter_lessons(
    boat: Boat, fillups: Sequence[Fillup], era: MeterEra, eras: Sequence[MeterEra], sums: int, used_l: float
) -> tuple[MeterLesson, ...]:
    since = fillups[era.closures[0].rows[-1]].when if len(eras) > 1 else None
    meters = era.fit.factors.shape[1]
    told = (
        sharpen_meter(era.fit, used_l, _deep_l(boat), boat.units)
        if meters == 1
        else "only runs that use the engines unequally part the two meters; together they are known better"
    )
    return tuple(
        MeterLesson(
            meter=number + 1,
            since=since,
            factor=_figure(era.fit.factors[:, number], era.fit.weights, sums, told),
        )
        for number in range(meters)
    )


def _gauge_table(boat: Boat, gauge: GaugeFit, readings_l: Sequence[float]) -> tuple[GaugeRow, ...]:
    capacity_l, per_unit = boat.tank.capacity_l, boat.units.litres_per_unit
    rough = capacity_l / per_unit / _TABLE_ROWS
    step = min((s for s in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000) if s >= 0.8 * rough), default=1000) * per_unit
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
        return 0.5 * (empty + mean), empty, high
    if reading_l >= gauge.prior.high_l:
        return 0.5 * (brim + mean), low, brim
    return mean, low, high


def _in_words(boat: Boat, gauge: GaugeFit, readings_l: Sequence[float]) -> str:
    """Tell what the gauge does in the last fifth of the tank, and what that means."""
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


def _by_sea(fillups: Sequence[Fillup], rows: Sequence[int], ratios: Floats, good: Floats) -> tuple[SeaLesson, ...]:
    told: dict[str, list[float]] = {}
    for row, ratio, honest in zip(rows, ratios, good, strict=True):
        sea = fillups[row].sea
        if sea is not None and honest > _HALF:
            told.setdefault(sea, []).append(float(ratio))
    return tuple(
        SeaLesson(sea=sea, runs=len(found), burn_factor=float(np.exp(np.mean(np.log(found)))))
        for sea, found in sorted(told.items())
        if len(found) >= _FEWEST_IN_A_SEA
    )


def _deep_l(boat: Boat) -> float:
    """[l] Return what a long run may use: nothing is learnt by touching the reserve."""
    return min(_DEEP_SHARE * boat.tank.capacity_l, 0.9 * (boat.tank.full_mark_l - boat.floor_l))


def _teach(boat: Boat, burn_factor: float | None, sd_share: float, full_mark_sd_l: float | None) -> Boat:
    burn, instruments = boat.burn, boat.instruments
    if burn_factor is not None:
        burn = burn.model_copy(
            update={
                "burn_lph": tuple(value * burn_factor for value in burn.burn_lph),
                "idle_lph": burn.idle_lph * burn_factor,
                "sd_share": min(sd_share, 0.99),
            }
        )
    if full_mark_sd_l is not None:
        instruments = instruments.model_copy(update={"full_mark_sd_share": full_mark_sd_l / boat.tank.capacity_l})
    return boat.model_copy(update={"burn": burn, "instruments": instruments})


def _sum_points(fillups: Sequence[Fillup], eras: Sequence[MeterEra]) -> tuple[SumPoint, ...]:
    points = []
    for era in eras:
        for verdict in era.fit.verdicts:
            closure = era.closures[verdict.closure]
            choices = {(row, reading): metered for row, reading, metered in closure.choices()}
            believed = verdict.odd < _HALF
            used = choices[(verdict.row, verdict.reading) if believed else (None, "as-written")]
            points.append(
                SumPoint(
                    when=fillups[closure.rows[-1]].when,
                    metered_l=sum(map(sum, used)),
                    pumped_l=closure.pumped_l,
                    good=believed,
                )
            )
    return tuple(points)


def _gauge_points(
    fillups: Sequence[Fillup], truths: Sequence[RowTruth], rows: Sequence[int], good: Floats
) -> tuple[GaugePoint, ...]:
    return tuple(
        GaugePoint(
            when=fillups[row].when,
            reading_l=fillups[row].gauge_before_l or 0.0,
            level_l=max(0.0, truths[row].level_l or 0.0),
            level_sd_l=truths[row].level_sd_l or 0.0,
            good=bool(honest > _HALF),
        )
        for row, honest in zip(rows, good, strict=True)
    )


def _runs(
    fillups: Sequence[Fillup],
    truths: Sequence[RowTruth],
    ratios: Sequence[float | None],
    suspicious: Sequence[Suspicion],
) -> tuple[RunLesson, ...]:
    doubtful = {s.when for s in suspicious if s.doubtful != "gauge"}
    return tuple(
        RunLesson(
            when=fillup.when,
            used_l=truth.used_l,
            distance_nmi=fillup.distance_run_nmi,
            time_h=fillup.engine_hours_h,
            economy_nmi_per_l=fillup.distance_run_nmi / truth.used_l if fillup.distance_run_nmi else None,
            burn_factor=ratio,
            sea=fillup.sea,
            people=fillup.people,
            good=truth.believed and fillup.when not in doubtful,
        )
        for fillup, truth, ratio in zip(fillups, truths, ratios, strict=True)
        if truth.used_l is not None and truth.used_l > 0
    )


def _notes(boat: Boat, fillups: Sequence[Fillup], left_out: int) -> tuple[str, ...]:
    notes = [_PUMP_NOTE] if fillups else []
    if left_out:
        notes.append(
            f"{left_out} older fill-ups are left out: the last {_MOST_FILLUPS} say more of today's instruments."
        )
    if fillups and not any(f.filled_to_full for f in fillups):
        notes.append(
            "No fill-up to the full mark is in the log, and only such fill-ups teach what instruments are worth."
        )
    gap = boat.tank.capacity_l - boat.tank.full_mark_l
    if fillups:
        notes.append(
            f"Levels count from the full mark of the boat file, {boat.units.volume(boat.tank.full_mark_l)}"
            + (f", {boat.units.volume(gap)} below the brim." if gap > 0 else ".")
        )
    return tuple(notes)
