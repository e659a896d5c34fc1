"""A group cruise on the console: what it comes to first, then each stop's queue, the legs, the cautions last."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.console import caution_lines, table, terminal_width, wrapped
from routeplan.cruise_changes import find_changes
from routeplan.cruise_stop_words import FUELS, counted, listed
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from routeplan.cruise_words import CruiseWords
    from routeplan.cruises import AtPump, CruisePlan, CruiseStop, NoCruiseError

__all__ = ["tell_changes", "tell_cruise", "tell_cruise_refusal"]


def tell_cruise(words: CruiseWords) -> str:
    """Tell a cruise to a person.

    Parameters
    ----------
    words
        What is said of it.

    Returns
    -------
    Text of several lines: the sums, the docks, who fills where in which order, what each boat loses, who limits each
    leg, who stays behind, the cautions.
    """
    plan = words.plan
    out = [wrapped(f"{words.title()}: {words.head()}."), wrapped(f"{words.span()}."), ""]
    out += [wrapped(f"{words.docks_line()}."), wrapped(f"{words.delay_line()}.")]
    out += [wrapped(f"{words.more_line()}.")] if plan.one_dock_more else []
    out += [wrapped(f"Fuel for all: {words.cost_line()}.")] if plan.stops else []
    out += [wrapped(f"{line}.") for line in words.party_lines()]
    left = [wrapped(f"- {words.left_line(one)}.", "  ") for one in plan.left_behind]
    out += ["", f"! {counted(len(left), 'boat')} can't come:", *left] if left else []
    out += _docks(words)
    for day in plan.days:
        out += ["", *_day(words, day.number)]
    for stop in plan.stops:
        out += ["", *_stop(words, stop)]
    out += ["", *_boats(words), "", *_limits(words)]
    return "\n".join([*out, "", *caution_lines(plan.cautions)])


def tell_cruise_refusal(error: NoCruiseError) -> str:
    """Tell why there is no cruise.

    Parameters
    ----------
    error
        Carries who or what stands against it.

    Returns
    -------
    Text of several lines.
    """
    refusal = error.refusal
    out = [wrapped(f"No cruise keeps the rules: {refusal.why}.")]
    if refusal.boats:
        out += ["", f"{counted(len(refusal.boats), 'boat')} can't come:"]
    for one in refusal.boats:
        length = "" if one.distance_nmi is None else f", {shown_distance(one.distance_nmi)}"
        out.append(wrapped(f"- {one.boat}, {one.from_} to {one.to}{length}: {one.why}", "  "))
        out += [wrapped(f"would help: {idea}", "    ") for idea in one.try_]
    if refusal.try_:
        out += ["", "What would help:", *(wrapped(f"- {idea}", "  ") for idea in refusal.try_)]
    return "\n".join([*out, "", *caution_lines(error.cautions)] if error.cautions else out)


def tell_changes(before: CruisePlan, words: CruiseWords) -> str:
    """Tell what changes for whom.

    Parameters
    ----------
    before
        The plan that the boats have.
    words
        What is said of the new one.

    Returns
    -------
    Text of several lines: a paragraph a boat that has to do something else, the most moved first; then, once, all for
    whom nothing changes.
    """
    after = words.plan
    found = find_changes(before, after, words.volume, words.zone)
    changes = sorted(found, key=lambda change: -abs(change.moved_min))
    out: list[str] = []
    for change in changes:
        call = words.contact(change.boat)
        out.append(f"{change.boat}{f' ({call})' if call else ''}:")
        out += [wrapped(f"- {what}", "  ") for what in change.what]
    same = [boat.boat for boat in after.boats if boat.boat not in {change.boat for change in changes}]
    if not changes:
        return "Nothing changes for any boat."
    if same:
        out += ["", wrapped(f"Nothing changes for {listed(same)}.")]
    head = f"Changes for {counted(len(changes), 'boat')} of {len({*same, *(change.boat for change in changes)})}:"
    return "\n".join([head, "", *out])


def _docks(words: CruiseWords) -> list[str]:
    """List the docks: when, how many boats, how much."""
    plan = words.plan
    if not plan.stops:
        return []
    fuels = [fuel for fuel in FUELS if any(stop.total_l.get(fuel, 0) > 0 for stop in plan.stops)]
    rows = [
        (
            str(stop.number),
            str(stop.day),
            words.clock(stop.arrive),
            words.when(stop.depart, stop.arrive),
            str(len(stop.boats)),
            *(words.volume(stop.total_l[f], rounded="up") if stop.total_l.get(f, 0) > 0 else "" for f in fuels),
            stop.dock,
        )
        for stop in plan.stops
    ]
    return ["", *_fitted(("stop", "day", "from", "until", "boats", *fuels, "dock"), rows, "")]


def _day(words: CruiseWords, number: int) -> Iterator[str]:
    """Tell a day: when it leaves, stops, gathers and ends."""
    day = next(one for one in words.plan.days if one.number == number)
    head = f"Day {number}, {words.day_and_clock(day.depart).rsplit(' ', 1)[0]}: {day.from_} to {day.to}"
    yield wrapped(f"{head}, {words.clock(day.depart)} to {words.when(day.arrive, day.depart)}, {words.light_line(day)}")
    for leg in words.plan.legs:
        if leg.day != number:
            continue
        first, last = words.when(leg.first_in, leg.depart), words.when(leg.last_in, leg.depart)
        comes = f"all in {last}" if first == last else f"first in {first}, last {last}"
        low_kn, high_kn = leg.speeds_kn
        speed = f"{low_kn:g} kn" if low_kn == high_kn else f"{low_kn:g} to {high_kn:g} kn"
        length = shown_distance(leg.distance_nmi)
        said = f"{words.clock(leg.depart)} leave {leg.from_}: leg {leg.number}, {length} at {speed}; {leg.to}, {comes}"
        yield wrapped(said, "  ")
        for stop in words.plan.stops:
            if stop.leg == leg.number:
                span = f"{words.clock(stop.arrive)} to {words.when(stop.depart, stop.arrive)}"
                on = f"; all go on {words.when(stop.onward, stop.arrive)}" if stop.onward else ""
                who = counted(len(stop.boats), "boat")
                yield wrapped(f"stop {stop.number}, {span}: {stop.dock}, {who}{on}", "    ")


def _stop(words: CruiseWords, stop: CruiseStop) -> Iterator[str]:
    """Tell a stop: who fills when and how much, how to call the dock, what if it is closed."""
    yield wrapped(f"Stop {stop.number}, day {stop.day}: {stop.dock}, {words.span_of(stop)}")
    yield wrapped(f"{words.totals(stop.total_l)}; {words.money(stop.cost)}; {words.pumps_line(stop)}", "  ")
    head = ("", "boat", "fuel", "here", "begin", "end", "wait", "take")
    yield from _fitted(head, [_turn(words, stop, n, turn) for n, turn in enumerate(stop.boats, start=1)])
    order = words.order_line(stop)
    if order:
        yield wrapped(f"{order}.", "  ")
    hours = f"hours {stop.hours}" if stop.hours else "hours not known"
    confirmed = f"confirmed {stop.confirmed_on}" if stop.confirmed_on else "never confirmed"
    call = f"Call {words.how_to_call(stop)}; {hours}; {words.closes_line(stop)}; {confirmed}"
    yield wrapped(call, "  ")
    for line in words.closed_lines(stop):
        yield wrapped(f"If closed: {line}", "  ")
    for caution in stop.cautions:
        yield wrapped(f"Heed: {caution}", "  ")


def _turn(words: CruiseWords, stop: CruiseStop, number: int, turn: AtPump) -> tuple[str, ...]:
    several = stop.pumps.get(turn.fuel, 0) > 1
    return (
        str(number),
        turn.boat,
        f"{turn.fuel}{f' {turn.pump}' if several else ''}",
        words.when(turn.arrive, stop.arrive),
        words.when(turn.begin, stop.arrive),
        words.when(turn.end, stop.arrive),
        f"{round(turn.wait_min)} min",
        words.volume(turn.take_l, turn.boat),
    )


def _boats(words: CruiseWords) -> list[str]:
    """List the boats: where each fills, what it costs her in time, the least that she has in hand."""
    plan = words.plan
    parties = len(words.parties()) > 1
    rows = []
    for boat in plan.boats:
        stops = [str(s.number) for s in plan.stops if any(turn.boat == boat.boat for turn in s.boats)]
        row = (
            boat.boat,
            *([str(boat.party)] if parties else []),
            ", ".join(stops) or "-",
            str(round(boat.queue_min)),
            shown_duration(boat.delay_h),
            words.volume(boat.plan.least_margin_l, boat.boat, rounded="down"),
            words.when(boat.plan.arrive, plan.depart),
        )
        rows.append(row)
    head = ("boat", *(["party"] if parties else []), "stops", "wait min", "delay", "least margin", "arrives")
    return ["Each boat (margin: low figure above her reserve):", *_fitted(head, rows, "")]


def _fitted(head: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "  ") -> list[str]:
    """Line up columns; where that is too wide, without what can be done without, then with names last, that fold."""
    whole: list[Sequence[str]] = [head, *rows]
    for spared in ("here", "until", "boat"):
        lines = table(whole[0], whole[1:], indent)
        if spared in whole[0] and max(map(len, lines)) > terminal_width():
            at = whole[0].index(spared)
            kept: list[Sequence[str]] = [[*row[:at], *row[at + 1 :]] for row in whole]
            whole = kept if spared != "boat" else [[*rest, row[at]] for rest, row in zip(kept, whole, strict=True)]
    return table(whole[0], whole[1:], indent)


def _limits(words: CruiseWords) -> Iterator[str]:
    """Tell who has least in hand on each leg, what would help her, who is near."""
    yield "Who limits each leg:"
    for limit in words.plan.limits:
        yield wrapped(f"{limit.number} {limit.leg}: {words.limit_line(limit)}.", "  ")
        for idea in limit.help:
            yield wrapped(f"would help: {idea}", "    ")
        yield wrapped(f"near her: {words.buddy_line(limit)}", "    ")
