"""What the commands print for a person: plain tables that survive a narrow terminal and a pipe."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
import time
from typing import TYPE_CHECKING

from layers.findings_kinds import in_order_of_danger
from routeplan.places import write_position
from routeplan.plan_words import PlanWords
from routeplan.units_shown import shown_distance, shown_distance_down, shown_speed
from routeplan.words import course, runs_in_current, shown_current

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from layers import Finding, Region
    from routeplan.boats import Boat
    from routeplan.calls import Call
    from routeplan.docks import Dock
    from routeplan.fuel import FuelAboard
    from routeplan.passage import Passage
    from routeplan.plans import NoPassageError, Plan
    from routeplan.trips import Trip
    from routeplan.units_shown import DisplayUnits
    from routeplan.words import Words

__all__ = [
    "Progress",
    "caution_lines",
    "holding_lines",
    "source_lines",
    "table",
    "tell_boat",
    "tell_docks",
    "tell_passage",
    "tell_refusal",
    "tell_region",
    "terminal_width",
    "wrapped",
]

_QUIET_S = 1.0  # [s] building that takes less shows nothing
_ALONGSIDE_NMI = 0.05  # [nmi] a shorter approach is no leg to read
_WIDEST = 110  # characters: longer lines are hard to follow
_NO_BREAK = "\u00a0"
_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:gal|h|kn|l|min|nmi)\b)|(?<=\d\d) (?=\d\d\.\d\d[NSEW])|(?<=\.\d\d[NS]) (?=\d{3} \d)"
)
_NARROWEST = 20  # characters that a column of words is folded to


class Progress:
    """Shows on stderr how far long work has come.

    Parameters
    ----------
    what
        The work, in words.
    clock
        Seconds, rising.
    """

    def __init__(self, what: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._what = what
        self._clock = clock
        self._began = clock()
        self._shown = False

    def __call__(self, share: float) -> None:
        """Take word of the share that is done.

        Parameters
        ----------
        share
            0 to 1.
        """
        gone = self._clock() - self._began
        if gone < _QUIET_S:
            return
        left = f", about {gone / share * (1 - share):.0f} s left" if share > 0.05 else ""
        if sys.stderr.isatty():
            print(f"\r{self._what}: {share:4.0%}{left}   ", end="", file=sys.stderr, flush=True)
        elif not self._shown:
            print(f"{self._what} ...", file=sys.stderr, flush=True)
        self._shown = True

    def close(self) -> None:
        """End the line."""
        if self._shown and sys.stderr.isatty():
            print(file=sys.stderr)


def tell_passage(passage: Passage, *, every: bool = False, calls: Sequence[Call] | None = None) -> str:
    """Tell a passage to a person.

    Parameters
    ----------
    passage
        The answer to a trip.
    every
        Whether to list all of its plans, a line each.
    calls
        Whom to call before leaving; None where nobody asked.

    Returns
    -------
    Text of several lines.
    """
    region, trip = passage.network.region, passage.trip
    words = PlanWords(passage.boat, region.zone, region.about.currency, passage.speed_kn)
    best = passage.recommended
    out = [_understood(trip, best, words), "", wrapped(f"Recommended ({_names(best)}): {words.summary(best)}.")]
    out += [*_water(best, words), *_sureness(best, words)]
    longer = words.longer_line(best, passage.network.water)
    out += [wrapped(f"{longer}.")] if longer else []
    out += [wrapped(f"Or {_names(plan)}: {plan.difference}.") for plan in passage.others_told]
    if every:
        out += ["", *_all_plans(passage.plans, words)]
    out += _way(best, words)
    out += [] if calls is None else _call_ahead(calls, words)
    return "\n".join([*out, "", *caution_lines((*best.cautions, *passage.cautions)), *source_lines(region)])


def tell_refusal(error: NoPassageError, words: PlanWords, trip: Trip, calls: Sequence[Call] | None = None) -> str:
    """Tell why there is no plan.

    Parameters
    ----------
    error
        Carries the refusal.
    words
        Units, time and currency.
    trip
        What was asked.
    calls
        Whom to call before leaving on the plan that is offered; None where nobody asked.

    Returns
    -------
    Text of several lines. A plan that breaks the closed-dock rule is told in full, and marked as such at both ends.
    """
    refusal = error.refusal
    offered = refusal.offered
    said_already = refusal.why.startswith("no plan keeps")
    out = [] if said_already else ["No plan keeps the rules."]
    out.append(wrapped(f"{refusal.why[0].upper()}{refusal.why[1:]}."))
    if refusal.try_:
        out += ["", "What would help:", *(wrapped(f"- {idea}", "  ") for idea in refusal.try_)]
    if offered is not None:
        broken = f"BREAKS the closed-dock rule at {' and '.join(refusal.breaks_at)}"
        out += ["", wrapped(f"! The plan below {broken}. It is the best one without that rule.")]
        out += [_understood(trip, offered, words), "", wrapped(f"Not recommended: {words.summary(offered)}.")]
        out += [*_water(offered, words), *_sureness(offered, words), *_way(offered, words)]
        out += [] if calls is None else _call_ahead(calls, words)
        out += ["", wrapped(f"! The plan above {broken}: don't leave before you know that fuel will be sold there.")]
    cautions = error.cautions if offered is None else (*offered.cautions, *error.cautions)
    return "\n".join([*out, "", *caution_lines(cautions)])


def tell_docks(
    docks: Sequence[Dock],
    words: Words,
    distances_nmi: Sequence[float | None],
    origin: str,
    unreached: Mapping[str, str],
) -> str:
    """Tell what is known of each dock.

    Parameters
    ----------
    docks
        The docks, in the order to be told.
    words
        Units, time and currency.
    distances_nmi
        [nmi] Over water, or None.
    origin
        Where the distances are from; empty where none was asked.
    unreached
        Why docks can't be reached from navigable water, by name.

    Returns
    -------
    Text of several lines.
    """
    counted = f", distances over water from {origin}" if origin else ""
    out = [f"Fuel docks for {words.boat.name} ({words.boat.fuel}){counted}"]
    count = 0
    for dock, distance in zip(docks, distances_nmi, strict=True):
        away = ""
        if origin:
            away = f"  {shown_distance(distance)}" if distance is not None else "  no way over water"
        suits = dock.suits and dock.name not in unreached
        count += suits
        out += ["", f"{'+' if suits else '-'} {dock.name}{away}  {write_position(dock.position)}"]
        out += [wrapped(line, "  ") for line in words.dock_lines(dock, unreached.get(dock.name, ""))]
    return "\n".join([*out, "", f"{count} of {len(docks)} suit (+). Call ahead: hours, prices and fuel change."])


def tell_boat(boat: Boat, aboard: FuelAboard, confidence: float, ranges: Sequence[dict[str, float]]) -> str:
    """Tell a boat's fuel and range.

    Parameters
    ----------
    boat
        The boat.
    aboard
        Fuel that the ranges are for.
    confidence
        Share of arrivals that keep the reserve.
    ranges
        One entry a speed.

    Returns
    -------
    Text of several lines.
    """
    units = boat.units
    share = f"{boat.reserve.value or 0:.0%} of the capacity"
    rule = {"fraction": share, "volume": "a fixed volume", "thirds": "by thirds"}[boat.reserve.rule]
    rows = [
        (
            shown_speed(r["speed_kn"]),
            units.burn(r["burn_lph"]),
            units.economy(r["economy_nmi_per_l"]),
            shown_distance_down(r["range_nmi"]),
            shown_distance_down(r["promised_nmi"]),
        )
        for r in ranges
    ]
    hull = [
        units.length(boat.length_overall_m),
        f"draught {units.length(boat.draught_m)}",
        f"air draught {units.length(boat.air_draught_m)}",
    ]
    tank = [
        f"capacity {units.echo_volume(boat.tank.capacity_l)}",
        f"full mark {units.volume(boat.tank.full_mark_l)}",
        f"unusable {units.volume(boat.tank.unusable_l)}",
        f"reserve {units.volume(boat.reserve_l)} ({rule})",
    ]
    kept = "nine arrivals in ten keep" if confidence == 0.9 else f"{confidence:.1%} of arrivals keep"
    out = [
        f"{boat.name}, {boat.fuel}, {', '.join(hull)}",
        f"Tank: {', '.join(tank)}",
        f"Aboard: {aboard.how}; usable after the reserve {units.volume_down(boat.usable_l(aboard.mean_l))}",
        "",
        *table(("speed", "burn", "economy", "range", f"promised at {confidence:g}"), rows),
        "",
        wrapped(
            "Range is usable fuel times economy, as if all figures were certain. Promised counts how sure they are: "
            f"{kept} the whole reserve. Still water, no wind or sea."
        ),
    ]
    if boat.burn.unsteady_kn is not None:
        low_kn, high_kn = boat.burn.unsteady_kn
        out.append(f"Between {low_kn:g} and {high_kn:g} kn she can't be held: never planned.")
    return "\n".join(out)


def tell_region(region: Region, doubts: Sequence[Finding], more: Iterable[str] = ()) -> str:
    """Tell what a region holds and what is doubtful in it.

    Parameters
    ----------
    region
        The region.
    doubts
        Its findings.
    more
        Further lines, for one boat.

    Returns
    -------
    Text of several lines.
    """
    out = [region.about.name, *holding_lines(region), *source_lines(region), *more]
    if doubts:
        count = sum(doubt.count for doubt in doubts)
        out += ["", f"{count} finding{'' if count == 1 else 's'}:"]
        for d in in_order_of_danger(doubts):
            at = "" if d.position is None else f", {write_position(d.position)}"
            where = f"{d.layer}{f' row {d.row}' if d.row else ''}{f' ({d.name})' if d.name else ''}{at}"
            out.append(wrapped(f"{where}: {d.problem}{f'; {d.remedy}' if d.remedy else ''}", "  "))
    else:
        out += ["", "No findings."]
    return "\n".join(out)


def holding_lines(region: Region) -> list[str]:
    """Tell what a region holds: where it lies, what its figures count from, its layers and where they are from.

    Parameters
    ----------
    region
        The region.

    Returns
    -------
    Lines, a table the last of them.
    """
    about = region.about
    west, south, east, north = about.extent
    prices = "no prices" if about.currency == "XXX" else f"prices in {about.currency}"
    return [
        f"Extent {write_position((west, south))} to {write_position((east, north))}, time zone {about.time_zone}",
        f"Depths from {about.chart_datum}, clearances from {about.clearance_datum}, {prices}",
        "",
        *table(
            ("layer", "rows", "source"),
            [
                (
                    name,
                    str(len(frame)) if name in region.present else "absent",
                    about.sources[name].title if name in about.sources else "not stated",
                )
                for name, frame in region.frames.items()
            ],
        ),
    ]


def _understood(trip: Trip, plan: Plan, words: PlanWords) -> str:
    """Echo what was understood, so that a wrong unit or place is seen before the answer is believed."""
    boat = words.boat
    ends = f"{plan.legs[0].from_} ({write_position(plan.legs[0].from_position)})"
    ends += f" to {plan.legs[-1].to} ({write_position(plan.legs[-1].to_position)})"
    via = f", by way of {', '.join(trip.via)}" if trip.via else ""
    begins = "Fills and leaves from" if trip.fill_first else "Leaves"
    slower = " or slower" if trip.slower else ""
    return "\n".join(
        [
            wrapped(f"{boat.name}: {ends}{via}."),
            wrapped(
                f"{begins} {words.day_and_clock(trip.depart)} {words.year(trip.depart)} ({words.zone.key}) at "
                f"{shown_speed(words.speed_kn)}{slower}; aboard {trip.aboard.how}. Reserve "
                f"{words.units.volume(boat.reserve_l)}, unusable {words.units.volume(boat.tank.unusable_l)}, "
                f"confidence {trip.confidence:g}. {words.fill_line(trip)}"
            ),
        ]
    )


def _water(plan: Plan, words: PlanWords) -> list[str]:
    """Say what the water does on a plan: that it stood still, or which currents are met; then a line a day."""
    first, *met = words.water_lines(plan)
    out = [wrapped(first if met else f"{first}."), *(wrapped(f"- {line}", "  ") for line in met)]
    return out + [wrapped(f"{line}.") for line in words.day_lines(plan)]


def _sureness(plan: Plan, words: PlanWords) -> list[str]:
    """Say how far a plan can be relied on: its chances, the rule it keeps, the doubtful docks it leans on."""
    out = [wrapped(f"{words.chances(plan)}.")]
    if plan.stops:
        out.append(wrapped(f"{words.rule_line(plan)}."))
    if plan.leans_on:
        out.append(wrapped(f"It leans on {'; '.join(plan.leans_on)}: make sure before you leave."))
    return out


def _way(plan: Plan, words: PlanWords) -> list[str]:
    """Tell a plan in full: stops, waits, legs, and what is left at the end."""
    out = [wrapped(f"{words.slower_line(run)}.") for run in plan.slower]
    for i, stop in enumerate(plan.stops):
        out += ["", f"{words.stop_title(plan, i)}  {write_position(stop.position)}"]
        out += [wrapped(line, "  ") for line in words.stop_lines(plan, stop)]
    for wait in plan.waits:
        out += ["", wrapped(words.wait_line(wait))]
    out += ["", *_legs(plan, words)]
    arrival = words.aboard(plan.aboard_on_arrival_l, plan.aboard_on_arrival_low_l)
    out += ["", wrapped(f"On arrival: {arrival}.")]
    if plan.onward is not None:
        out.append(wrapped(f"Next fuel after {plan.legs[-1].to}: {words.alternate_line(plan.onward)}."))
    return out


def _all_plans(plans: Sequence[Plan], words: PlanWords) -> list[str]:
    """List plans, a line each."""
    units = words.units
    rows = [
        (
            str(i),
            words.day_and_clock(plan.arrive),
            str(len(plan.stops)),
            words.bare_cost(plan),
            _bare(units, plan.least_margin_l),
            units.volume(plan.fuel_l).removesuffix(f" {units.volume_label}"),
            "" if plan.name == "in-between" else _names(plan),
            ", ".join(stop.dock for stop in plan.stops) or "nowhere",
        )
        for i, plan in enumerate(plans, start=1)
    ]
    unit = units.volume_label
    head = ("", "arrives", "stops", words.currency, f"margin {unit}", f"burns {unit}", "best at", "fills at")
    lines = table(head, rows)
    if max(map(len, lines)) > terminal_width():
        lines = table((*head[:-2], head[-1]), [(*r[:-2], f"{r[-2]}: {r[-1]}" if r[-2] else r[-1]) for r in rows])
    count = "One plan" if len(plans) == 1 else f"{len(plans)} plans"
    return [f"{count}, the recommended one first; none is beaten in every way by another:", *lines]


def _call_ahead(calls: Sequence[Call], words: PlanWords) -> list[str]:
    """List whom to call before leaving."""
    if not calls:
        return ["", "Call ahead: this plan needs no fuel dock."]
    out = ["", "Call ahead, before leaving:"]
    for call in calls:
        out += ["", f"  {call.dock}", *(wrapped(line, "    ") for line in words.call_lines(call))]
    return out


def _names(plan: Plan) -> str:
    return " and ".join((plan.name, *plan.also))


def _legs(plan: Plan, words: PlanWords) -> list[str]:
    """Line the legs up, with the fill-ups between them; an approach of a few lengths is part of the stop."""
    units = words.units
    ahead = list(plan.stops)
    since = plan.depart
    steered = any(runs_in_current(leg) for leg in plan.legs)
    rows: list[tuple[tuple[str, ...], tuple[str, ...]]] = []  # figures; where to, its position, what to heed
    beside: list[str] = []  # numbers of the approaches to and from a stop
    for i, leg in enumerate(plan.legs, start=1):
        alongside = leg.kind == "approach" and leg.distance_nmi < _ALONGSIDE_NMI
        if ahead and leg.from_ == ahead[0].dock and leg.depart >= ahead[0].depart:  # later, where a gate is waited for
            stop = ahead.pop(0)
            full = _bare(units, leg.aboard_after_l + leg.fuel_l)
            take = units.volume(stop.take_l) if stop.to_mark else units.volume_up(stop.take_l)
            taken = f"-- {stop.dock}: take {take}, leave"
            beside += [str(i)] if alongside else []
            rows.append((("-".join(beside), "", "", "", words.clock(stop.depart), full, ""), (taken, "", "")))
            beside = []
            if alongside:
                continue
        elif alongside and ahead and leg.to == ahead[0].dock:
            beside = [str(i)]
            continue
        figures = (
            str(i),
            course(leg.steer_deg if steered and leg.steer_deg is not None else leg.course_deg),
            f"{leg.distance_nmi:.1f}",
            f"{round(leg.speed_kn, 1):g}",
            words.clock(leg.arrive) if words.same_day(leg.arrive, since) else words.day_and_clock(leg.arrive),
            _bare(units, leg.aboard_after_l),
            _bare(units, leg.aboard_after_low_l),
        )
        remarks = [f"track {course(leg.course_deg)}, {shown_current(leg)}"] if runs_in_current(leg) else []
        remarks += [] if leg.depth_checked else ["depth not checked"]
        rows.append((figures, (leg.to, write_position(leg.to_position), ", ".join(remarks))))
        since = leg.arrive
    unit = units.volume_label
    head = ("leg", "steer" if steered else "true", "nmi", "kn", "at", f"left {unit}", f"low {unit}")
    wide = [(f[0], to, position, *f[1:], remark) for f, (to, position, remark) in rows]
    lines = table((head[0], "to", "position", *head[1:], ""), wide)
    if max(map(len, lines)) > terminal_width():
        narrow = [  # a position isn't broken
            (
                *figures,
                ", ".join(filter(None, (to, position.replace(" ", _NO_BREAK), _TOGETHER.sub(_NO_BREAK, remark)))),
            )
            for figures, (to, position, remark) in rows
        ]
        lines = [line.replace(_NO_BREAK, " ") for line in table((*head, "to"), narrow)]
    heeded: dict[str, list[int]] = {}
    for i, leg in enumerate(plan.legs, start=1):
        for caution in leg.cautions:
            if "kn limit" not in caution:  # the table has the speed, and the point where it begins
                heeded.setdefault(caution, []).append(i)
    notes = [
        wrapped(f"Leg{'s' if len(on) > 1 else ''} {', '.join(map(str, on))}: {caution}", "  ")
        for caution, on in heeded.items()
    ]
    passed = [
        f"{words.clock(mark.at)} {words.passed(mark)} (leg {i})"
        for i, leg in enumerate(plan.legs, start=1)
        for mark in leg.passes
    ]
    notes += [wrapped(f"On the way: {', '.join(passed)}", "  ")] if passed else []
    return [*lines, *([""] if notes else []), *notes]


def _bare(units: DisplayUnits, volume_l: float) -> str:
    return units.volume_down(volume_l).removesuffix(f" {units.volume_label}")


def caution_lines(cautions: Iterable[str]) -> list[str]:
    """Tell cautions, each once.

    Parameters
    ----------
    cautions
        Sentences.

    Returns
    -------
    Their heading, then a paragraph each.
    """
    return ["Cautions:", *(wrapped(f"- {c}", "  ") for c in dict.fromkeys(cautions))]


def source_lines(region: Region) -> list[str]:
    """Tell where a region's layers are from.

    Parameters
    ----------
    region
        The region.

    Returns
    -------
    An empty line, then each source once.
    """
    lines = [wrapped(f"- {line}", "  ") for line in region.about.source_lines]
    return ["", "Sources:", *lines] if lines else ["", "Sources: not stated by the region."]


def table(head: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "") -> list[str]:
    """Line up columns; figures to the right, words to the left.

    Parameters
    ----------
    head
        Names of the columns.
    rows
        As many cells each.
    indent
        What every line begins with.

    Returns
    -------
    One line a row, the head first; where the last column holds words and is too wide for the terminal, it is folded.
    """
    widths = [max(len(cell) for cell in column) for column in zip(head, *rows, strict=True)]
    right = [all(cell[:1].isdigit() or not cell for cell in column) for column in zip(*rows, strict=True)] or [
        False
    ] * len(head)
    room = terminal_width() - len(indent) - sum(widths[:-1]) - 2 * len(widths[:-1])
    folds = widths[-1] > room >= _NARROWEST and not right[-1]
    lines = []
    for row in [head, *rows]:
        cells = [c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)]
        last = _folded(row[-1], room) if folds else [cells[-1]]
        beside = indent + "  ".join([*cells[:-1], ""])
        lines += [f"{beside if i == 0 else ' ' * len(beside)}{words}".rstrip() for i, words in enumerate(last or [""])]
    return lines


def _folded(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def terminal_width() -> int:
    """[characters] Tell how wide the terminal is.

    Returns
    -------
    Its width; 100 where there is no terminal and `COLUMNS` doesn't say.
    """
    return shutil.get_terminal_size((100, 24)).columns


def wrapped(text: str, indent: str = "") -> str:
    """Fold a text to the terminal.

    Parameters
    ----------
    text
        One paragraph.
    indent
        What every line begins with.

    Returns
    -------
    The lines; a figure and its unit, or a position, stay together.
    """
    width = max(40, min(_WIDEST, terminal_width()))
    return textwrap.fill(
        _TOGETHER.sub(_NO_BREAK, text),
        width,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    ).replace(_NO_BREAK, " ")
