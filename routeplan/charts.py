"""Pictures of what a log teaches: meter against pump, the gauge, economy over the season, the factor as it sharpened.

Each says its message on top, in words. Every colour is doubled by a shape or a dash; doubtful points are struck out
and stay in the picture. Axes begin at zero, but for the two that show a ratio near one: those say so by the line of a
meter that reads right.
"""

from __future__ import annotations

from datetime import UTC, timedelta, tzinfo
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

import numpy as np
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

from layers.errors import InputError
from layers.files import replaced_file
from maps.palette import BASE, COMPUTED
from routeplan.chart_sheet import INK, QUIET, Mark, Picture, Sketch, date_ticks, drawing_settings, write_png, write_svg
from routeplan.lesson_words import (
    count_of,
    day,
    economy_message,
    factor,
    factor_ends,
    gauge_message,
    meter_message,
    reserve_reading_l,
    sharpening_message,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from matplotlib.axes import Axes

    from routeplan.lessons import Figure, Lesson, RunLesson, SumPoint

__all__ = ["build_pictures", "draw_pictures"]

Kind: TypeAlias = Literal["svg", "png"]

_Z_NINE_IN_TEN = 1.645  # standard deviations: one chance in twenty on either side
_LAST_FIFTH = 0.2  # share of the tank
_LEAST_SPAN = 0.03  # of a factor: an axis that showed less would make much of nothing
_MANY = 120  # points: beyond this they cover one another at full size
_FEW = 40  # sums: up to here each has its own bar

# Tints of the palette's blue on white paper: solid, as a transparent one changes with what lies under it.
_BAND, _WIDE_BAND, _FIFTH = "#A9CFE6", "#E3EEF4", "#F1ECE3"
_LINE: dict[str, Any] = {"color": COMPUTED["route"], "linewidth": 2.2}
_SURE: dict[str, Any] = {"color": _BAND, "linewidth": 9, "solid_capstyle": "butt"}
_NINE: dict[str, Any] = {"color": _WIDE_BAND, "linewidth": 9, "solid_capstyle": "butt"}
_RIGHT: dict[str, Any] = {"color": INK, "linewidth": 1.3, "dashes": (4, 3)}
_GOOD: dict[str, Any] = {
    "linestyle": "none",
    "marker": "o",
    "markersize": 5.5,
    "markerfacecolor": "white",
    "markeredgecolor": INK,
}
_GOOD |= {"markeredgewidth": 1.3}
_STRUCK: dict[str, Any] = {
    "linestyle": "none",
    "marker": "X",
    "markersize": 9,
    "markeredgewidth": 0.9,
    "markeredgecolor": "white",
}
_STRUCK |= {"markerfacecolor": COMPUTED["stop"]}
_SEAS: Final[tuple[tuple[str, frozenset[str], dict[str, Any]], ...]] = (
    ("calm, smooth", frozenset({"calm", "smooth"}), {"marker": "o", "markerfacecolor": "white"}),
    ("slight", frozenset({"slight"}), {"marker": "s", "markerfacecolor": COMPUTED["mark"]}),
    (
        "moderate, rough",
        frozenset({"moderate", "rough", "very rough"}),
        {"marker": "^", "markerfacecolor": INK, "markersize": 7},
    ),
    ("sea not noted", frozenset(), {"marker": "D", "markerfacecolor": "white", "markersize": 4.5}),
)


def build_pictures(
    lesson: Lesson, sharpened: Sequence[tuple[datetime, Figure]], zone: tzinfo = UTC
) -> tuple[Picture, ...]:
    """Draw a lesson's pictures, as far as there is anything to draw.

    Parameters
    ----------
    lesson
        What a log taught.
    sharpened
        After each sum from full to full, the meter factor as it was known then.
    zone
        Whose days the dates are.

    Returns
    -------
    Up to four: ``meter``, ``gauge``, ``economy``, ``sharpening``.
    """
    found = []
    with drawing_settings():
        if lesson.sums and lesson.meter_factor is not None:
            found.append(_draw_meter(lesson, lesson.meter_factor, zone))
        if lesson.gauge_table:
            found.append(_draw_gauge(lesson, zone))
        if lesson.economy_nmi_per_l is not None and any(run.economy_nmi_per_l is not None for run in lesson.runs):
            found.append(_draw_economy(lesson, lesson.economy_nmi_per_l, zone))
        if sharpened:
            found.append(_draw_sharpening(lesson, sharpened, zone))
    return tuple(found)


def draw_pictures(
    lesson: Lesson,
    sharpened: Sequence[tuple[datetime, Figure]],
    folder: Path,
    kind: Kind = "svg",
    zone: tzinfo = UTC,
) -> tuple[Path, ...]:
    """Draw a lesson's pictures into files.

    Parameters
    ----------
    lesson, sharpened
        As `build_pictures`.
    folder
        Where to; it is made where missing.
    kind
        ``svg`` or ``png``.
    zone
        Whose days the dates are.

    Returns
    -------
    The files: ``meter.svg``, ``gauge.svg``, ``economy.svg``, ``sharpening.svg``, as far as there is anything to draw.

    Raises
    ------
    InputError
        The kind is another one, or a file can't be written.
    """
    if kind not in {"svg", "png"}:
        raise InputError("pictures", "are drawn as svg or png", value=kind)
    written = []
    for picture in build_pictures(lesson, sharpened, zone):
        content = write_svg(picture).encode() if kind == "svg" else write_png(picture)
        path = folder / f"{picture.name}.{kind}"
        with replaced_file(path) as draft:
            draft.write_bytes(content)
        written.append(path)
    return tuple(written)


def _draw_meter(lesson: Lesson, figure: Figure, zone: tzinfo) -> Picture:
    units = lesson.boat.units
    per_unit, label = units.litres_per_unit, units.volume_label
    good = [point for point in lesson.sums if point.good]
    doubtful = [point for point in lesson.sums if not point.good]
    key = [
        Mark("one sum, full to full", _GOOD),
        *([Mark("doubtful, left out", _STRUCK)] if doubtful else []),
        Mark(f"factor {factor(figure)}", _LINE),
        Mark("90 % sure", _SURE),
        Mark("meter right", _RIGHT),
        Mark("nine sums in ten", _NINE),
    ]
    lines = [f"90 % sure: {factor_ends(figure)}. Rests on {count_of(figure.rests_on, 'sum')}."]
    sketch = Sketch(meter_message(lesson), lines, _footer(lesson, zone), key, (1.75, 1.9), 0.72)
    whole, ratio = sketch.axes
    most = 1.08 * max(max(point.metered_l, point.pumped_l) for point in lesson.sums) / per_unit
    across = np.linspace(0, most, 200)
    whole.fill_between(across, figure.low * across, figure.high * across, color=_BAND, linewidth=0)
    whole.plot([0, most], [0, figure.mean * most], **_LINE)
    whole.plot([0, most], [0, most], **_RIGHT)
    for points, style in ((good, _sized(_GOOD, len(good))), (doubtful, _STRUCK)):
        whole.plot([p.metered_l / per_unit for p in points], [p.pumped_l / per_unit for p in points], **style)
    whole.set(xlim=(0, most), ylim=(0, most))
    for axis in (whole.xaxis, whole.yaxis):
        axis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    sketch.name_axes(whole, f"the meter showed [{label}]", f"the pump gave [{label}]")

    ends = _draw_ratios(ratio, lesson, figure, most * per_unit, per_unit)
    ratio.set(xlim=(0, most), ylim=ends)
    _draw_ratio_points(ratio, good, doubtful, per_unit, ends)
    ratio.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    ratio.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
    ratio.yaxis.set_major_formatter(FuncFormatter(_factor_label))
    sketch.name_axes(ratio, f"the meter showed [{label}]", "the same, larger: pump / meter")
    told = "; ".join(
        f"{day(p.when, zone)} meter {units.volume(p.metered_l)}, pump {units.volume(p.pumped_l)}"
        + ("" if p.good else " (doubtful)")
        for p in lesson.sums
    )
    return Picture("meter", sketch.title, f"{lines[0]} Sums: {told}.", sketch.sheet)


def _draw_ratios(axes: Axes, lesson: Lesson, figure: Figure, most_l: float, per_unit: float) -> tuple[float, float]:
    """Draw factor, band, and where nine sums in ten should lie; return the ends that the axis needs."""
    ratios = [p.pumped_l / p.metered_l for p in lesson.sums if p.good and p.metered_l > 0]
    low, high = min([*ratios, figure.low, 1.0]), max([*ratios, figure.high, 1.0])
    room = 0.12 * max(high - low, _LEAST_SPAN)
    middle, half = 0.5 * (low + high), max(0.5 * (high - low), 0.5 * _LEAST_SPAN) + room
    across_l = np.linspace(0.001 * most_l, most_l, 300)
    # Two marks, each off by its own error, and the meters' scatter, which two meters halve the square of.
    marks = np.sqrt(2.0) * lesson.full_mark_sd_l.mean / across_l
    scatter = lesson.meter_sd_share.mean * figure.mean / np.sqrt(max(1, len(lesson.meters)))
    wide = _Z_NINE_IN_TEN * np.hypot(np.hypot(marks, scatter), figure.sd)
    ends = (figure.mean - wide, figure.mean + wide)
    axes.fill_between(across_l / per_unit, *ends, color=_WIDE_BAND, linewidth=0)
    for end in ends:
        axes.plot(across_l / per_unit, end, color=QUIET, linewidth=0.8, linestyle=":")
    axes.axhspan(figure.low, figure.high, color=_BAND, linewidth=0)
    axes.axhline(figure.mean, **_LINE)
    axes.axhline(1.0, **_RIGHT)
    out = [p.pumped_l / p.metered_l for p in lesson.sums if not p.good and p.metered_l > 0]
    below, above = (any(side * (r - middle) > half for r in out) for side in (-1, 1))
    return middle - half - 0.3 * half * below, middle + half + 0.3 * half * above  # room for those beyond


def _draw_ratio_points(
    axes: Axes,
    good: Sequence[SumPoint],
    doubtful: Sequence[SumPoint],
    per_unit: float,
    ends: tuple[float, float],
) -> None:
    shown = [p for p in good if p.metered_l > 0]
    axes.plot(
        [p.metered_l / per_unit for p in shown], [p.pumped_l / p.metered_l for p in shown], **_sized(_GOOD, len(shown))
    )
    for point in doubtful:
        if point.metered_l <= 0:
            continue
        value = point.pumped_l / point.metered_l
        _plot_struck(axes, point.metered_l / per_unit, value, ends, _factor_label(round(value, 2)))


def _draw_gauge(lesson: Lesson, zone: tzinfo) -> Picture:
    boat, units, table = lesson.boat, lesson.boat.units, lesson.gauge_table
    per_unit, label = units.litres_per_unit, units.volume_label
    doubtful = any(not point.good for point in lesson.gauge_points)
    reserve_l = reserve_reading_l(lesson)
    key = [
        Mark("one reading", _GOOD),
        *([Mark("doubtful, left out", _STRUCK)] if doubtful else []),
        Mark("really there", _LINE),
        Mark("90 % sure", _SURE),
        Mark("gauge right", _RIGHT),
    ]
    lowest_l = min((point.reading_l for point in lesson.gauge_points), default=boat.tank.capacity_l)
    lines = []
    if lowest_l > 1.25 * _LAST_FIFTH * boat.tank.capacity_l:
        lines.append("No reading that low yet: reckoned from higher ones.")
    if reserve_l is not None:
        lines.append(f"From {units.volume_up(reserve_l)} on the gauge downwards the reserve may be in use.")
    sketch = Sketch(gauge_message(lesson), lines, _footer(lesson, zone), key, (3.12,))
    axes = sketch.axes[0]
    capacity = boat.tank.capacity_l / per_unit
    readings, means, lows, highs = (
        np.array([getattr(row, name) for row in table]) / per_unit
        for name in ("reading_l", "mean_l", "low_l", "high_l")
    )
    axes.axvspan(0, _LAST_FIFTH * capacity, color=_FIFTH, linewidth=0, zorder=0)
    axes.fill_between(readings, lows, highs, color=_BAND, linewidth=0)
    for end in (lows, highs):
        axes.plot(readings, end, color=COMPUTED["route"], linewidth=0.8)
    axes.plot(readings, means, **_LINE)
    axes.plot([0, capacity], [0, capacity], **_RIGHT)
    floor = boat.floor_l / per_unit
    axes.plot([0, capacity], [floor, floor], color=BASE["rule"], linewidth=1.3, linestyle="-.")
    axes.annotate("reserve", (capacity, floor), (0, 3), textcoords="offset points", ha="right", color=BASE["rule"])
    for good in (True, False):
        points = [p for p in lesson.gauge_points if p.good is good]
        xs, ys = [p.reading_l / per_unit for p in points], [p.level_l / per_unit for p in points]
        spread = [_Z_NINE_IN_TEN * p.level_sd_l / per_unit for p in points]
        axes.errorbar(xs, ys, spread, fmt="none", ecolor=QUIET, elinewidth=1.2)
        axes.plot(xs, ys, clip_on=False, zorder=4, **(_sized(_GOOD, len(points)) if good else _STRUCK))
    axes.set(xlim=(0, capacity), ylim=(0, capacity))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    sketch.name_axes(axes, f"the gauge shows [{label}]", f"really there [{label}]")
    axes.text(0.96 * _LAST_FIFTH * capacity, 0.97 * capacity, "last\nfifth", va="top", ha="right", color=QUIET)
    axes.text(0.24 * capacity, 0.97 * capacity, "more there than shown", va="top", color=QUIET)
    up = 0.03 * capacity if floor > 0.18 * capacity else floor + 0.08 * capacity  # clear of the reserve's line and word
    axes.text(0.98 * capacity, up, "less there than shown:\na boat runs dry", ha="right", color=QUIET)
    told = "; ".join(
        f"at {units.volume(row.reading_l)} on the gauge {units.volume(row.mean_l)} "
        f"({units.volume(row.low_l)} to {units.volume(row.high_l)})"
        for row in table
    )
    return Picture("gauge", sketch.title, f"Really there: {told}.", sketch.sheet)


def _draw_economy(lesson: Lesson, figure: Figure, zone: tzinfo) -> Picture:
    units = lesson.boat.units
    per_unit = units.litres_per_unit
    runs = [run for run in lesson.runs if run.economy_nmi_per_l is not None]
    groups = [(words, style, [r for r in runs if r.good and _sea_of(r) == words]) for words, _, style in _SEAS]
    base = {**_GOOD, "color": INK}
    key = [Mark(words, {**base, **style}) for words, style, found in groups if found]
    if not all(run.good for run in runs):
        key.append(Mark("doubtful, left out", _STRUCK))
    key += [Mark("season", _LINE), Mark("90 % sure", _SURE)]
    ends = f"{units.economy(figure.low).split(' ')[0]} to {units.economy(figure.high)}"
    lines = [f"90 % sure of the season's figure: {ends}. Rests on {count_of(figure.rests_on, 'run')}."]
    sketch = Sketch(economy_message(lesson), lines, _footer(lesson, zone), key, (2.1,))
    axes = sketch.axes[0]
    first, last = (moment.astimezone(zone) for moment in (runs[0].when, runs[-1].when))
    margin = max(0.04 * (last - first), timedelta(days=1))
    first, last = first - margin, last + margin
    axes.axhspan(figure.low * per_unit, figure.high * per_unit, color=_BAND, linewidth=0)
    axes.axhline(figure.mean * per_unit, **_LINE)
    for _, style, found in groups:
        _plot_runs(axes, found, per_unit, _sized({**base, **style}, len(runs)))
    shown = [run.economy_nmi_per_l or 0.0 for run in runs if run.good]
    most = max([*shown, figure.high])
    beyond = any((run.economy_nmi_per_l or 0.0) > 1.12 * most for run in runs if not run.good)
    top = (1.35 if beyond else 1.12) * most * per_unit  # room for those beyond, clear of the others
    axes.set(xlim=(_days(first), _days(last)), ylim=(0, top))
    for run in runs:
        if not run.good:
            economy = run.economy_nmi_per_l or 0.0
            words = units.economy(economy).split(" ")[0]
            _plot_struck(axes, _days(run.when), economy * per_unit, (0, top), words)
    ticks = date_ticks(first, last)
    axes.xaxis.set_major_locator(FixedLocator([_days(moment) for moment, _ in ticks]))
    axes.set_xticklabels([words for _, words in ticks])
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    sketch.name_axes(axes, "", f"economy [nmi/{units.volume_label}]")
    told = "; ".join(
        f"{day(r.when, zone)} {units.economy(r.economy_nmi_per_l or 0.0)}"
        + (f", {r.sea}" if r.sea else "")
        + ("" if r.good else " (doubtful)")
        for r in runs
    )
    return Picture("economy", sketch.title, f"{lines[0]} Runs: {told}.", sketch.sheet)


def _plot_runs(axes: Axes, runs: Sequence[RunLesson], per_unit: float, style: dict[str, Any]) -> None:
    moments = [_days(run.when) for run in runs]
    axes.plot(moments, [(run.economy_nmi_per_l or 0.0) * per_unit for run in runs], zorder=4, **style)


def _plot_struck(axes: Axes, across: float, up: float, ends: tuple[float, float], words: str) -> None:
    """Plot a doubtful point; one that lies beyond the axis stands at its edge, with its figure."""
    inset = 0.05 * (ends[1] - ends[0])
    inside = min(max(up, ends[0] + inset), ends[1] - inset) if not ends[0] <= up <= ends[1] else up
    axes.plot([across], [inside], clip_on=False, zorder=5, **_STRUCK)
    if inside != up:
        left = across > 0.5 * sum(axes.get_xlim())
        axes.annotate(
            f"{words} \u2193" if up < inside else f"{words} \u2191",
            (across, inside),
            (-8 if left else 8, 0),
            textcoords="offset points",
            ha="right" if left else "left",
            va="center",
            zorder=6,
        )


def _sized(style: dict[str, Any], count: int) -> dict[str, Any]:
    """Make points smaller where there are very many."""
    return style if count <= _MANY else {**style, "markersize": 0.6 * style["markersize"], "markeredgewidth": 0.8}


def _days(moment: datetime) -> float:
    return moment.timestamp() / 86_400


def _sea_of(run: RunLesson) -> str:
    return next((words for words, seas, _ in _SEAS if run.sea in seas), _SEAS[-1][0])


def _draw_sharpening(lesson: Lesson, sharpened: Sequence[tuple[datetime, Figure]], zone: tzinfo) -> Picture:
    figures = [figure for _, figure in sharpened]
    numbers = np.arange(1, len(figures) + 1)
    means, lows, highs = (np.array([getattr(f, name) for f in figures]) for name in ("mean", "low", "high"))
    key = [
        Mark("factor as known then", {**_LINE, **_GOOD, "linestyle": "-"}),
        Mark("90 % sure", _SURE),
        Mark("meter right", _RIGHT),
    ]
    now = lesson.meter_factor
    last = figures[-1]
    lines = [f"Now {factor(last)}, 90 % sure: {factor_ends(last)}."]
    if now is not None and now.sharpen:
        lines.append(f"Next: {now.sharpen}.")
    sketch = Sketch(sharpening_message(sharpened), lines, _footer(lesson, zone), key, (2.1,))
    axes = sketch.axes[0]
    if len(figures) > 1:
        axes.fill_between(numbers, lows, highs, color=_BAND, linewidth=0)
    if len(figures) <= _FEW:
        axes.vlines(numbers, lows, highs, color=COMPUTED["route"], linewidth=1.0)
    axes.axhline(1.0, **_RIGHT)
    few = len(figures) <= _FEW
    axes.plot(numbers, means, clip_on=False, zorder=4, **({**_LINE, **_GOOD, "linestyle": "-"} if few else _LINE))
    low, high = min(*lows, 1.0), max(*highs, 1.0)
    half = 0.56 * max(high - low, _LEAST_SPAN)
    axes.set(xlim=(0.4, len(figures) + 0.6), ylim=(0.5 * (low + high) - half, 0.5 * (low + high) + half))
    axes.xaxis.set_major_locator(MaxNLocator(6, integer=True, steps=[1, 2, 5, 10], min_n_ticks=1))
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(_factor_label))
    sketch.name_axes(axes, "sums from full to full", "multiply the meter by")
    told = "; ".join(f"{day(when, zone)} {factor(f)} ({factor_ends(f)})" for when, f in sharpened)
    return Picture("sharpening", sketch.title, f"After each sum: {told}.", sketch.sheet)


def _factor_label(value: float, _: int | None = None) -> str:
    return f"{value:.3f}".rstrip("0").ljust(4, "0")


def _footer(lesson: Lesson, zone: tzinfo) -> str:
    moments = [*(p.when for p in lesson.sums), *(p.when for p in lesson.gauge_points), *(r.when for r in lesson.runs)]
    last = f", the last on {day(max(moments), zone)}" if moments else ""
    return f"{lesson.boat.name}: {count_of(lesson.fillups, 'fill-up')}{last}"
