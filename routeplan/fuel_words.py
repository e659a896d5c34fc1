"""What the log teaches and what is aboard, told to a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.console import table, wrapped
from routeplan.moments import shown_gap, shown_moment
from routeplan.units_shown import shown_distance_down, shown_speed

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.aboard import Aboard, Guess, Readings
    from routeplan.boats import Boat
    from routeplan.lessons import Figure, Lesson
    from routeplan.moments import WallClock
    from routeplan.units_shown import DisplayUnits

__all__ = ["FUEL_CAUTIONS", "tell_aboard", "tell_lesson"]

FUEL_CAUTIONS = (
    "A figure reckoned from instruments, not a measurement: keep the reserve, and dip the tank where you can.",
    "An aid to planning, not for navigation. Local rules and a licensed professional's advice come first.",
)
_SHARE_SHOWN = 0.0005  # share: smaller departures from 1 show as none


def tell_aboard(found: Aboard, boat: Boat, readings: Readings, confidence: float, now: datetime) -> str:
    """Tell the fuel aboard.

    Parameters
    ----------
    found
        The answer.
    boat
        The boat, for her units.
    readings
        What was read.
    confidence
        [share] That the range is promised at.
    now
        The clock.

    Returns
    -------
    Text of several lines, the figure to count on first.
    """
    units = boat.units
    rows = []
    if found.by_meter is not None and readings.meters_l is not None:
        shown = " + ".join(units.volume(v) for v in readings.meters_l)
        rows.append(("by the meter", f"{shown} used", *_guess(found.by_meter, units)))
    if found.by_gauge is not None and readings.gauge_l is not None:
        rows.append(("by the gauge", f"shows {units.volume(readings.gauge_l)}", *_guess(found.by_gauge, units)))
    if found.by_meter is not None and found.by_gauge is not None:
        best = (f"{units.volume(found.mean_l)}", _interval(found.low_l, found.high_l, units))
        rows.append(("both weighed" if found.agree else "both, in doubt", "", *best))
    counted = f"{found.fillups} fill-up{'' if found.fillups == 1 else 's'} of the log"
    out = [
        f"{boat.name}: count on {units.volume_down(found.safe_l)} aboard",
        "",
        *table(("", "", "aboard", "nine in ten between"), rows),
        "",
        *(wrapped(line if found.agree else f"! {line}") for line in found.findings),
    ]
    cruise = f"at {shown_speed(boat.cruising_speed_kn)}, {confidence:.0%} sure, still water"
    takes = f"({units.volume(found.takes_low_l)} to {units.volume(found.takes_high_l)})"
    usable = f"above reserve and unusable fuel ({units.volume(boat.floor_l)})"
    out += [""] if found.findings else []
    out += [
        f"Usable   {units.volume_down(found.usable_l)} {usable}",
        f"Range    {shown_distance_down(found.range_nmi)} {cruise}",
        f"Takes    about {units.volume(found.takes_l)} to the full mark {takes}",
        f"Rests on {counted if found.fillups else 'no fill-up: the log has none of hers'}{_start(found, now)}",
        "",
        *(wrapped(f"- {caution}") for caution in FUEL_CAUTIONS),
    ]
    return "\n".join(out)


def _start(found: Aboard, now: datetime) -> str:
    if found.counts_from is None:
        return ""
    ago = shown_gap(now - found.counts_from)
    return f"; the meter is counted from that of {shown_moment(found.counts_from, 'here')}, {ago} ago"


def tell_lesson(lesson: Lesson, where: str, clock: WallClock) -> str:
    """Tell what a log teaches.

    Parameters
    ----------
    lesson
        What it teaches.
    where
        The log.
    clock
        Whose clock on the wall moments are shown by.

    Returns
    -------
    Text of several lines.
    """
    units = lesson.boat.units
    count = f"{lesson.fillups} fill-up{'' if lesson.fillups == 1 else 's'}"
    out = [f"{lesson.boat.name}: what {count} in {where} {'teaches' if lesson.fillups == 1 else 'teach'}", ""]
    out += _meter_lines(lesson)
    mark = lesson.full_mark_sd_l
    out += _figure_lines(
        "Full mark",
        f"repeats within {units.volume_up(mark.mean)} (one standard deviation)",
        mark,
        f"{units.volume(mark.low)} to {units.volume(mark.high)}",
        "sum",
    )
    if lesson.burn_factor is not None:
        factor = lesson.burn_factor
        said = f"{factor.mean:.3f} times the burn table"
        out += _figure_lines("Burn", said, factor, f"{factor.low:.3f} to {factor.high:.3f}", "run")
        out.append(f"  from one passage to the next it differs by {lesson.burn_sd_share:.1%} (one standard deviation)")
        if lesson.by_sea:
            seas = "; ".join(f"{s.sea} {s.burn_factor:.2f} ({s.runs} runs)" for s in lesson.by_sea)
            out.append(f"  by the sea: {seas}")
    else:
        out.append("Burn: unknown to the log; write down distance and engine hours, and it will learn it.")
    if lesson.economy_nmi_per_l is not None:
        economy = lesson.economy_nmi_per_l
        ends = f"{units.economy(economy.low)} to {units.economy(economy.high)}"
        out += _figure_lines("Economy", f"{units.economy(economy.mean)} over these runs", economy, ends, "run")
    out += ["", *_gauge_lines(lesson, units), ""]
    out += _suspect_lines(lesson, clock)
    out += [wrapped(note) for note in lesson.notes]
    out += ["", *(wrapped(f"- {caution}") for caution in FUEL_CAUTIONS)]
    return "\n".join(out)


def _meter_lines(lesson: Lesson) -> list[str]:
    if lesson.meter_factor is None:
        return ["Flow meter: never read in this log."]
    factor = lesson.meter_factor
    name = "Flow meter" if len(lesson.meters) == 1 else "Flow meters, both together"
    reads = (
        "reads true"
        if abs(factor.mean - 1.0) < _SHARE_SHOWN
        else (f"reads {abs(1.0 - 1.0 / factor.mean):.1%} {'low' if factor.mean > 1 else 'high'}")
    )
    if len(lesson.meters) > 1:
        reads = reads.replace("reads", "read", 1)
    said = f"{reads}: multiply by {factor.mean:.3f}"
    out = _figure_lines(name, said, factor, f"{factor.low:.3f} to {factor.high:.3f}", "sum")
    if len(lesson.meters) > 1:
        for meter in lesson.meters:
            one = meter.factor
            out.append(f"  meter {meter.meter} alone: {one.mean:.3f} ({one.low:.3f} to {one.high:.3f})")
        out.append(wrapped(lesson.meters[0].factor.sharpen, "  "))
    scatter = lesson.meter_sd_share
    out.append(f"  one reading scatters by {scatter.mean:.1%} ({scatter.low:.1%} to {scatter.high:.1%})")
    return out


def _figure_lines(name: str, said: str, figure: Figure, ends: str, noun: str) -> list[str]:
    basis = f"{figure.rests_on} {noun}{'' if figure.rests_on == 1 else 's'}"
    basis += " from full mark to full mark" if noun == "sum" else ""
    rests = f"rests on {basis}" if figure.rests_on else "nothing in the log yet: this is what most boats have"
    return [wrapped(f"{name}: {said}; nine in ten {ends}"), wrapped(f"{rests}; {figure.sharpen}", "  ")]


def _gauge_lines(lesson: Lesson, units: DisplayUnits) -> list[str]:
    if not lesson.gauge_table:
        return ["Gauge: never read in this log."]
    rows = [
        (
            units.volume(row.reading_l),
            units.volume(row.mean_l),
            _interval(row.low_l, row.high_l, units),
            str(row.rests_on) if row.rests_on else "none",
        )
        for row in lesson.gauge_table
    ]
    scatter = lesson.gauge_sd_l
    return [
        wrapped(lesson.gauge_in_words),
        "",
        *table(("gauge shows", "really there", "nine in ten", "readings near"), rows),
        wrapped(f"One reading scatters by {units.volume(scatter.mean)}; {lesson.gauge_sharpen}."),
    ]


def _suspect_lines(lesson: Lesson, clock: WallClock) -> list[str]:
    if not lesson.suspicious:
        return ["No fill-up stands out."]
    out = ["Look again at:"]
    out += [wrapped(f"{shown_moment(one.when, clock)} [{one.entry}]: {one.why}", "  ") for one in lesson.suspicious]
    out.append(
        wrapped(
            "They stay in the log, and are given no weight where they don't fit. What you know better, correct: "
            "routeplan fillup add METER GAUGE PUMPED --replaces ENTRY, with --since unwritten-fillup, "
            "reset-forgotten or reset-in-mid-tank where that is what happened."
        )
    )
    return [*out, ""]


def _guess(guess: Guess, units: DisplayUnits) -> tuple[str, str]:
    return units.volume(guess.mean_l), _interval(guess.low_l, guess.high_l, units)


def _interval(low_l: float, high_l: float, units: DisplayUnits) -> str:
    return f"{units.volume(low_l)} to {units.volume(high_l)}"
