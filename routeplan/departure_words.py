"""What `passage --depart-between` prints for a person: when to leave, what closes the window, every departure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

from routeplan.console import caution_lines, table, wrapped
from routeplan.departures import EVERY
from routeplan.units_shown import shown_duration, shown_speed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from routeplan.departures import Bite, Departure, Departures, Holds
    from routeplan.plan_words import PlanWords
    from routeplan.trips import Trip

__all__ = [
    "Fold",
    "Window",
    "answer_lines",
    "asked_line",
    "best_lines",
    "bites_line",
    "find_windows",
    "fold_rows",
    "marks_of_docks",
    "still_line",
    "tell_departures",
]

_NIGHT_H = 4.0  # [h] a shorter wait for light is no night
_WORTH_H = 5 / 60  # [h] less time than this isn't told apart
_WORTH_GAL = 0.25  # [gal] nor less fuel, which is about a litre
_WORTH_L = 1.0  # [l]
_FEWEST_FOLDED = 3  # rows: two are as short as they stand
_MOST_CHANGES = 3  # of stops that are told in one sentence
_NO_PLAN = {
    "slack": "a current can't be passed",
    "gate": "a bridge or lock stays shut",
    "dock": "docks are shut",
    "daylight": "too little daylight",
    "closed-dock": "the closed-dock rule can't be kept",
    "fuel": "the fuel doesn't suffice",
}


@dataclass(frozen=True)
class Window:
    """A span of departures without a break, each of which holds; stops may change within it.

    Parameters
    ----------
    holds
        The spans with the same stops, one following the other.
    before, after
        The departures that border on it; None where the window that was asked for ends there.
    """

    holds: tuple[Holds, ...]
    before: Departure | None
    after: Departure | None


@dataclass(frozen=True)
class Fold:
    """Departures that follow one another and are told alike but for their times of leaving and arriving.

    Parameters
    ----------
    first, last
        The first and the last of them; the same one where it stands alone.
    """

    first: Departure
    last: Departure


def find_windows(departures: Departures) -> tuple[Window, ...]:
    """Join spans that follow one another.

    Parameters
    ----------
    departures
        All departures.

    Returns
    -------
    The windows, in order.
    """
    joined: list[list[Holds]] = []
    for span in departures.holding:
        if joined and span.first - joined[-1][-1].last <= EVERY:
            joined[-1].append(span)
        else:
            joined.append([span])
    by_time = {row.depart: row for row in departures.rows}
    return tuple(
        Window(tuple(spans), by_time.get(spans[0].first - EVERY), by_time.get(spans[-1].last + EVERY))
        for spans in joined
    )


def fold_rows(departures: Departures, words: PlanWords) -> tuple[Fold, ...]:
    """Put departures together that are told alike.

    Parameters
    ----------
    departures
        All departures.
    words
        In whose units they are told.

    Returns
    -------
    Every departure once, in order; only three or more are put together.

    Notes
    -----
    Alike are rows of which duration, fuel, margin, stops, bites and the days are the same as told, and so no row is
    lost that a reader could tell from its neighbours.
    """

    def told(row: Departure) -> tuple[object, ...]:
        days = [words.day_and_clock(m).removesuffix(words.clock(m)) for m in (row.depart, row.arrive) if m is not None]
        return (*_figures(row, words), row.stops, bites_line(row), row.holds, *days)

    found: list[Fold] = []
    for _, group in groupby(departures.rows, key=told):
        rows = list(group)
        found += [Fold(rows[0], rows[-1])] if len(rows) >= _FEWEST_FOLDED else [Fold(row, row) for row in rows]
    return tuple(found)


def marks_of_docks(departures: Departures) -> dict[str, str]:
    """Give each dock that is filled at a letter.

    Parameters
    ----------
    departures
        All departures.

    Returns
    -------
    Letters by dock, in the order in which they come up; numbers after Z.
    """
    names = dict.fromkeys(name for row in departures.rows for name in row.stops)
    return {name: chr(ord("A") + i) if i < 26 else f"({i + 1})" for i, name in enumerate(names)}


def bites_line(row: Departure) -> str:
    """Say what a departure meets.

    Parameters
    ----------
    row
        The departure.

    Returns
    -------
    Such as ``slack water at Gull Race, waits 40 min; dark at Gull Haven``; empty where it meets nothing.
    """
    return "; ".join(_bite(bite, row) for bite in row.bites) or ("" if row.arrive is not None else "no plan")


def answer_lines(departures: Departures, words: PlanWords) -> list[str]:
    """Say when to leave.

    Parameters
    ----------
    departures
        All departures.
    words
        Say times.

    Returns
    -------
    A sentence or two for each window in which the plan holds; why there is none where there is none.
    """
    rows = departures.rows
    windows = find_windows(departures)
    if not windows:
        return _none_holds(rows, words)
    lines = [_window(window, departures, words) for window in windows]
    return lines if len(lines) == 1 else [f"The plan holds in {len(lines)} windows.", *lines]


def best_lines(departures: Departures, words: PlanWords) -> list[str]:
    """Say which departures are shortest and thriftiest.

    Parameters
    ----------
    departures
        All departures.
    words
        Say times and fuel.

    Returns
    -------
    Nothing of what hardly differs between departures.
    """
    units = words.units
    worth_l = _WORTH_L if units.system == "metric" else _WORTH_GAL * units.litres_per_unit
    rows = [row for row in departures.rows if row.arrive is not None]
    held = [row for row in rows if row.holds]
    shortest, thriftiest = departures.shortest, departures.thriftiest
    if shortest is None or thriftiest is None:
        return []
    lines = []
    longest_h = max(row.time_h for row in rows)
    if longest_h - shortest.time_h >= _WORTH_H:
        time = shown_duration(shortest.time_h)
        told = [f"Shortest: leave at {_leaves(shortest, departures, words)}, {time}{_but(shortest)}"]
        if held and not shortest.holds:
            best = min(held, key=lambda row: (round(row.time_h, 3), row.depart))
            if best.time_h - shortest.time_h >= _WORTH_H:
                told.append(f"where the plan holds: {_leaves(best, departures, words)}, {shown_duration(best.time_h)}")
        lines.append(f"{'; '.join([*told, f'the longest takes {shown_duration(longest_h)}'])}.")
    most_l = max(row.fuel_l for row in rows)
    if most_l - thriftiest.fuel_l >= worth_l:
        fuel = units.volume(thriftiest.fuel_l)
        told = [f"Thriftiest: leave at {_leaves(thriftiest, departures, words)}, {fuel}{_but(thriftiest)}"]
        if held and not thriftiest.holds:
            best = min(held, key=lambda row: (round(row.fuel_l, 1), row.depart))
            if best.fuel_l - thriftiest.fuel_l >= worth_l:
                told.append(f"where the plan holds: {_leaves(best, departures, words)}, {units.volume(best.fuel_l)}")
        lines.append(f"{'; '.join([*told, f'the thirstiest burns {units.volume(most_l)}'])}.")
    return lines


def still_line(departures: Departures) -> str:
    """Say that currents weren't reckoned with.

    Parameters
    ----------
    departures
        All departures.

    Returns
    -------
    A sentence; empty where they were.
    """
    return "A still-water plan: no current is reckoned with." if departures.still_water else ""


def asked_line(departures: Departures, words: PlanWords, trip: Trip) -> str:
    """Echo what was understood.

    Parameters
    ----------
    departures
        All departures.
    words
        In the boat's units.
    trip
        What was asked.

    Returns
    -------
    Sentences.
    """
    first, last = departures.rows[0].depart, departures.rows[-1].depart
    via = f", by way of {', '.join(trip.via)}" if trip.via else ""
    boat, units = words.boat, words.units
    slower = " or slower" if trip.slower else ""
    count = len(departures.rows)
    return (
        f"{boat.name}: {trip.start} to {trip.finish}{via}. "
        f"{'One departure' if count == 1 else f'{count} departures'}, {words.day_and_clock(first)} to "
        f"{words.when(last, first)} {words.year(last)} ({words.zone.key}), at {shown_speed(words.speed_kn)}{slower}; "
        f"aboard {trip.aboard.how}. Reserve {units.volume(boat.reserve_l)}, confidence {trip.confidence:g}. "
        f"{words.fill_line(trip)}"
    )


def tell_departures(departures: Departures, words: PlanWords, trip: Trip) -> str:
    """Tell a window of departures to a person.

    Parameters
    ----------
    departures
        All departures.
    words
        In the boat's units.
    trip
        What was asked.

    Returns
    -------
    Text of several lines: the answer first, then the best departures, all of them in a table, and cautions.
    """
    answer = answer_lines(departures, words)
    bullets = len(answer) > 1
    out = [wrapped(answer[0]), *(wrapped(f"- {line}" if bullets else line, "  ") for line in answer[1:])]
    out += [wrapped(line) for line in (*best_lines(departures, words), still_line(departures)) if line]
    out += ["", wrapped(asked_line(departures, words, trip)), "", *_table(departures, words)]
    return "\n".join([*out, "", *caution_lines(departures.cautions)])


def _table(departures: Departures, words: PlanWords) -> list[str]:
    """Line all departures up, those that are alike folded to their first and last."""
    marks = marks_of_docks(departures)
    rows, before = [], departures.rows[0].depart
    for fold in fold_rows(departures, words):
        first, last = fold.first, fold.last
        rows.append(
            (
                "+" if first.holds else "",
                words.when(first.depart, before),
                "" if first.arrive is None else words.when(first.arrive, first.depart),
                *_figures(first, words),
                "".join(marks[name] for name in first.stops),
                bites_line(first),
            )
        )
        if last is not first:
            arrives = "" if last.arrive is None else words.when(last.arrive, last.depart)
            rows.append((rows[-1][0], f"to {words.clock(last.depart)}", arrives, "", "", "", "", ""))
        before = last.depart
    head = ("", "leave", "arrive", "time", "fuel", "margin", "fills", "what bites")
    unit = words.units.volume_label
    meaning = f"fuel: burned, margin: the least above the reserve, low figure; both in {unit}."
    if any(row.holds for row in departures.rows):
        meaning = f"+: no wait over 5 min, not in the dark; {meaning}"
    if marks:
        meaning += f" Fills: {', '.join(f'{mark} {name}' for name, mark in marks.items())}."
    return [*table(head, rows), wrapped(meaning, "  ")]


def _figures(row: Departure, words: PlanWords) -> tuple[str, str, str]:
    """Say duration, fuel and margin for columns; nothing where there is no plan."""
    if row.arrive is None:
        return "", "", ""
    units = words.units
    unit = f" {units.volume_label}"
    return (
        shown_duration(row.time_h),
        units.volume(row.fuel_l).removesuffix(unit),
        units.volume_down(row.least_margin_l).removesuffix(unit),
    )


def _bite(bite: Bite, row: Departure) -> str:
    if row.arrive is None:
        return f"no plan: {f'{bite.where}: ' if bite.where else ''}{_NO_PLAN.get(bite.kind, bite.kind)}"
    waits = f", waits {shown_duration(bite.wait_h)}" if bite.wait_h > 0 else ""
    if bite.kind == "slack":
        return f"slack water{f' at {bite.where}' if bite.where else ''}{waits}"
    if bite.kind == "dark":
        return f"dark at {bite.where}"
    if bite.kind == "daylight":
        night = bite.wait_h >= _NIGHT_H
        return f"night at {bite.where}" if night else f"waits {shown_duration(bite.wait_h)} for light at {bite.where}"
    return f"{bite.where} shut{waits}"


def _closing(row: Departure) -> str:
    """Say what keeps a departure out of a window: those bites alone that break it."""
    breaking = [bite for bite in row.bites if not replace(row, bites=(bite,)).holds]
    return " and ".join(dict.fromkeys(_cause(bite, row) for bite in breaking)) or bites_line(row)


def _cause(bite: Bite, row: Departure) -> str:
    """Name a bite without its wait, so that neighbours share the name."""
    if row.arrive is None:
        return _bite(bite, row)
    if bite.kind == "slack":
        return f"waits for slack water{f' at {bite.where}' if bite.where else ''}"
    if bite.kind == "dark":
        return f"dark at {bite.where}"
    if bite.kind == "daylight":
        return f"{'night' if bite.wait_h >= _NIGHT_H else 'waits for light'} at {bite.where}"
    return f"{bite.where} is shut"


def _window(window: Window, departures: Departures, words: PlanWords) -> str:
    """Say one window: its departures, stops, and what closes it."""
    first, last = window.holds[0].first, window.holds[-1].last
    start = departures.rows[0].depart
    when = f"at {words.when(first, start)}"
    if last > first:
        when = f"between {words.when(first, start)} and {words.when(last, first)}"
    inside = [row for row in departures.rows if first <= row.depart <= last]
    waits = "hardly any waiting" if any(bite.wait_h > 0 for row in inside for bite in row.bites) else "no waiting"
    margin_l = min(row.least_margin_l for row in inside)
    waits += f", least margin {words.units.volume_down(margin_l)}"
    if len(window.holds) == 1:
        said = f"Leave {when}: {_stops(window.holds[0].stops)}, {waits}."
    elif len(window.holds) <= _MOST_CHANGES:
        changes = [f"from {words.when(span.first, first)} {_stops(span.stops)}" for span in window.holds[1:]]
        said = f"Leave {when}, {waits}: {'; '.join([_stops(window.holds[0].stops), *changes])}."
    else:
        said = f"Leave {when}, {waits}; the stops change with the time of leaving, see the table."
    ends = (("earlier", window.before), ("later", window.after))
    closes = [f"{end}: {_closing(row)}" for end, row in ends if row is not None]
    if window.before is not None and window.after is not None and _closing(window.before) == _closing(window.after):
        closes = [f"earlier and later: {_closing(window.after)}"]
    if not closes:
        return f"{said} That is every departure asked for."
    told = "; ".join(closes)
    return f"{said} {told[0].upper()}{told[1:]}."


def _none_holds(rows: Sequence[Departure], words: PlanWords) -> list[str]:
    """Say that no departure holds, and which causes stand in the way when; then the one that arrives soonest."""
    spans: dict[str, list[tuple[Departure, Departure]]] = {}
    for cause, group in groupby(rows, key=_closing):
        same = list(group)
        spans.setdefault(cause, []).append((same[0], same[-1]))
    every = "No departure asked for has a plan"
    planned = [row for row in rows if row.arrive is not None]
    if planned:
        every = "No departure asked for gets there without waiting or darkness"
    if len(spans) == 1:
        return [f"{every}: {next(iter(spans))}.", *_least_wait(planned, rows, words)]
    told = [f"{cause} ({', '.join(_span(a, b, rows, words) for a, b in found)})" for cause, found in spans.items()]
    lines = [f"{every}."] + [f"{line[0].upper()}{line[1:]}." for line in told]
    return [*lines, *_least_wait(planned, rows, words)]


def _least_wait(planned: Sequence[Departure], rows: Sequence[Departure], words: PlanWords) -> Iterable[str]:
    """Offer the departure that comes nearest to holding."""
    if planned:
        best = min(planned, key=lambda row: (sum(bite.wait_h for bite in row.bites), row.depart))
        yield f"The least wait: leave at {words.when(best.depart, rows[0].depart)}{_but(best)}."


def _span(first: Departure, last: Departure, rows: Sequence[Departure], words: PlanWords) -> str:
    begin = words.when(first.depart, rows[0].depart)
    return begin if first is last else f"{begin} to {words.when(last.depart, first.depart)}"


def _leaves(row: Departure, departures: Departures, words: PlanWords) -> str:
    return words.when(row.depart, departures.rows[0].depart)


def _but(row: Departure) -> str:
    return f" ({bites_line(row)})" if row.bites else ""


def _stops(stops: Sequence[str]) -> str:
    if not stops:
        return "no stop"
    return f"stops at {stops[0]}" if len(stops) == 1 else f"stops at {', '.join(stops[:-1])} and {stops[-1]}"
