"""The lesson of a log: what was fitted, turned into figures, tables and words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan.fillups import SEAS
from routeplan.gauge_table import build_gauge_table, tell_last_fifth
from routeplan.lessons import (
    Figure,
    GaugePoint,
    Lesson,
    MeterLesson,
    RunLesson,
    SeaLesson,
    SumPoint,
    Suspicion,
)
from routeplan.meter_fit import quantile
from routeplan.sharpening import sharpen_burn, sharpen_gauge, sharpen_meter, sharpen_scatter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.burn_fit import BurnFit
    from routeplan.fillups import Fillup
    from routeplan.gauge_fit import GaugeFit
    from routeplan.levels import MeterEra, RowTruth

__all__ = ["Fits", "build_lesson"]

Floats: TypeAlias = "NDArray[np.float64]"

_LOW, _HIGH = 0.05, 0.95  # share: the ends of a 90 % interval
_HALF = 0.5  # share: likelier good than not
_WIDEST_SHARE = 0.99  # share: a spread that a boat file may state
_DEEP_SHARE = 0.65  # of the capacity: a long run
_FEWEST_IN_A_SEA = 3  # runs: fewer say nothing of what a sea does
_PUMP_NOTE = "The pump is taken at its word; a pump that is off by half a per cent moves the meter factor by as much."


@dataclass(frozen=True, eq=False)
class Fits:
    """All that was fitted to one boat's log.

    Parameters
    ----------
    boat
        The boat, as her file says.
    fillups
        Her fill-ups, in order of time.
    left_out
        How many older ones were left out.
    meters
        How many meters were read; 0 where none was.
    eras
        Her sums under each set of meters, and what they taught.
    truths
        What really was at each fill-up.
    gauge, gauge_rows
        What the gauge is worth, and the fill-ups that say so.
    burn, burn_rows, burn_ratios
        The burn factor, the fill-ups that say so, and each fill-up's ratio or None.
    economy, economy_rows
        [nmi/l] The same of the economy.
    suspicious
        Fill-ups that don't fit.
    """

    boat: Boat
    fillups: tuple[Fillup, ...]
    left_out: int
    meters: int
    eras: tuple[MeterEra, ...]
    truths: tuple[RowTruth, ...]
    gauge: GaugeFit
    gauge_rows: tuple[int, ...]
    burn: BurnFit
    burn_rows: tuple[int, ...]
    burn_ratios: tuple[float | None, ...]
    economy: BurnFit
    economy_rows: tuple[int, ...]
    suspicious: tuple[Suspicion, ...]

    @property
    def era(self) -> MeterEra:
        """The sums under the meters that are fitted now."""
        return self.eras[-1]

    @property
    def good_sums(self) -> int:
        """How many sums are believed, under all meters."""
        return sum(1 for era in self.eras for verdict in era.fit.verdicts if verdict.odd < _HALF)

    @property
    def usual_l(self) -> float:
        """[l] What a run between two fill-ups uses."""
        used = [truth.used_l for truth in self.truths if truth.used_l]
        return float(np.median(used)) if used else 0.5 * self.boat.tank.capacity_l

    @property
    def readings_l(self) -> list[float]:
        """[l] The gauge's readings that it is fitted to."""
        return [self.fillups[row].gauge_before_l or 0.0 for row in self.gauge_rows]


def build_lesson(fits: Fits) -> Lesson:
    """Turn what was fitted into what is told.

    Parameters
    ----------
    fits
        All that was fitted.

    Returns
    -------
    The lesson.
    """
    boat, fit, gauge = fits.boat, fits.era.fit, fits.gauge
    mark = _full_mark(fits)
    sd_share = fits.burn.next_sd_share if fits.burn_rows else boat.burn.sd_share
    here = len([v for v in fit.verdicts if v.odd < _HALF])
    even = np.full(len(gauge.scatters_l), 1.0 / len(gauge.scatters_l))
    level_var = float(np.median([t.level_sd_l or 0.0 for t in fits.truths])) ** 2 if fits.truths else mark.mean**2
    factor = sharpen_meter(fit, fits.usual_l, _deep_l(boat), boat.units)
    return Lesson(
        boat=boat,
        taught=_teach(fits, sd_share, mark.mean),
        fillups=len(fits.fillups),
        meter_factor=_figure(fit.common, fit.weights, here, factor) if fits.meters else None,
        meters=_meter_lessons(fits, here) if fits.meters else (),
        full_mark_sd_l=mark,
        meter_sd_share=_scatter(fit.meter_sd_share, fit.weights, here, fits.usual_l**2, 2.0 * mark.mean**2),
        gauge_sd_l=_scatter(gauge.scatters_l, even, len(fits.gauge_rows), 1.0, level_var + gauge.step_l**2 / 12.0),
        gauge_table=build_gauge_table(boat, gauge, fits.readings_l) if fits.gauge_rows else (),
        gauge_sharpen=sharpen_gauge(gauge, boat, mark.mean),
        gauge_in_words=tell_last_fifth(boat, gauge, fits.readings_l),
        burn_factor=_of_runs(fits.burn, len(fits.burn_rows), "distance and hours") if fits.burn_rows else None,
        burn_sd_share=sd_share,
        economy_nmi_per_l=_of_runs(fits.economy, len(fits.economy_rows), "the distance") if fits.economy_rows else None,
        by_sea=_by_sea(fits),
        suspicious=fits.suspicious,
        sums=_sum_points(fits),
        gauge_points=_gauge_points(fits),
        runs=_runs(fits),
        notes=_notes(fits),
    )


def _full_mark(fits: Fits) -> Figure:
    """Tell how well the full mark repeats: two fills make their part of a sum's variance, the meters the rest."""
    fit = fits.era.fit
    noise_var = (float(fit.weights @ fit.meter_sd_share) * fits.usual_l) ** 2
    return _scatter(fit.full_mark_sd_l, fit.weights, fits.good_sums, 2.0, noise_var)


def _figure(values: Floats, weights: Floats, rests_on: int, sharpen: str) -> Figure:
    mean = float(weights @ values)
    sd = float(np.sqrt(max(0.0, float(weights @ (values - mean) ** 2))))
    low, high = quantile(values, weights, _LOW), quantile(values, weights, _HIGH)
    return Figure(mean=mean, sd=sd, low=low, high=high, rests_on=rests_on, sharpen=sharpen)


def _scatter(values: Floats, weights: Floats, rests_on: int, own: float, other_var: float) -> Figure:
    """Tell a scatter: `own` times its square, and `other_var`, make the variance of what it is seen in."""
    figure = _figure(values, weights, rests_on, "")
    own_var = own * figure.mean**2
    sharpen = sharpen_scatter(figure.sd / figure.mean, own_var / (own_var + other_var))
    return figure.model_copy(update={"sharpen": sharpen})


def _of_runs(fit: BurnFit, runs: int, what: str) -> Figure:
    return _figure(fit.ratios, fit.weights, runs, sharpen_burn(fit, runs, what))


def _meter_lessons(fits: Fits, sums: int) -> tuple[MeterLesson, ...]:
    fit = fits.era.fit
    replaced = len(fits.eras) > 1
    since = fits.fillups[fits.era.closures[0].rows[-1]].when if replaced else None
    told = (
        sharpen_meter(fit, fits.usual_l, _deep_l(fits.boat), fits.boat.units)
        if fits.meters == 1
        else "only runs that use the engines unequally part the two meters; together they are known better"
    )
    return tuple(
        MeterLesson(meter=number + 1, since=since, factor=_figure(fit.factors[:, number], fit.weights, sums, told))
        for number in range(fits.meters)
    )


def _by_sea(fits: Fits) -> tuple[SeaLesson, ...]:
    told: dict[str, list[float]] = {}
    for row, honest in zip(fits.burn_rows, fits.burn.good, strict=True):
        sea, ratio = fits.fillups[row].sea, fits.burn_ratios[row]
        if sea is not None and ratio is not None and honest > _HALF:
            told.setdefault(sea, []).append(ratio)
    return tuple(
        SeaLesson(sea=sea, runs=len(found), burn_factor=float(np.exp(np.mean(np.log(found)))))
        for sea, found in sorted(told.items(), key=lambda pair: SEAS.index(pair[0]))
        if len(found) >= _FEWEST_IN_A_SEA
    )


def _deep_l(boat: Boat) -> float:
    """[l] Return what a long run may use: nothing is learnt by touching the reserve."""
    return min(_DEEP_SHARE * boat.tank.capacity_l, 0.9 * (boat.tank.full_mark_l - boat.floor_l))


def _teach(fits: Fits, sd_share: float, full_mark_sd_l: float) -> Boat:
    """Return the boat with what was learnt: nothing is put in place of her file's figures where nothing was."""
    boat = fits.boat
    burn, instruments = boat.burn, boat.instruments
    if fits.burn_rows:
        factor = fits.burn.mean
        burn = burn.model_copy(
            update={
                "burn_lph": tuple(value * factor for value in burn.burn_lph),
                "idle_lph": burn.idle_lph * factor,
                "sd_share": min(sd_share, _WIDEST_SHARE),
            }
        )
    if any(closure.full and closure.metered for era in fits.eras for closure in era.closures):
        instruments = instruments.model_copy(update={"full_mark_sd_share": full_mark_sd_l / boat.tank.capacity_l})
    return boat.model_copy(update={"burn": burn, "instruments": instruments})


def _sum_points(fits: Fits) -> tuple[SumPoint, ...]:
    points = []
    for era in fits.eras:
        for verdict in era.fit.verdicts:
            closure = era.closures[verdict.closure]
            choices = {(row, reading): metered for row, reading, metered in closure.choices()}
            believed = verdict.odd < _HALF
            used = choices[(verdict.row, verdict.reading) if believed else (None, "as-written")]
            points.append(
                SumPoint(
                    when=fits.fillups[closure.rows[-1]].when,
                    metered_l=sum(map(sum, used)),
                    pumped_l=closure.pumped_l,
                    good=believed,
                )
            )
    return tuple(points)


def _gauge_points(fits: Fits) -> tuple[GaugePoint, ...]:
    return tuple(
        GaugePoint(
            when=fits.fillups[row].when,
            reading_l=fits.fillups[row].gauge_before_l or 0.0,
            level_l=max(0.0, fits.truths[row].level_l or 0.0),
            level_sd_l=fits.truths[row].level_sd_l or 0.0,
            good=bool(honest > _HALF),
        )
        for row, honest in zip(fits.gauge_rows, fits.gauge.good, strict=True)
    )


def _runs(fits: Fits) -> tuple[RunLesson, ...]:
    doubtful = {s.when for s in fits.suspicious if s.doubtful != "gauge"}
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
        for fillup, truth, ratio in zip(fits.fillups, fits.truths, fits.burn_ratios, strict=True)
        if truth.used_l is not None and truth.used_l > 0
    )


def _notes(fits: Fits) -> tuple[str, ...]:
    boat, fillups = fits.boat, fits.fillups
    if not fillups:
        return ()
    notes = [_PUMP_NOTE]
    if fits.left_out:
        notes.append(
            f"{fits.left_out} older fill-ups are left out: the last {len(fillups)} say more of today's instruments."
        )
    if not any(f.filled_to_full for f in fillups):
        notes.append("No fill-up to the full mark is in the log, and only these teach what instruments are worth.")
    gap_l = boat.tank.capacity_l - boat.tank.full_mark_l
    below = f", {boat.units.volume(gap_l)} below the brim" if gap_l > 0 else ""
    notes.append(
        f"Levels count from the full mark of the boat file, {boat.units.volume(boat.tank.full_mark_l)}{below}."
    )
    return tuple(notes)
