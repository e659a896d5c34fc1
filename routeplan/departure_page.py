"""One page of a window of departures: when to leave in a sentence, a picture, every departure in a table.

It opens with no network and holds no script. The picture is drawn twice, for a phone and for a desk, and the style
sheet shows one of them, so that its letters keep their size. No colour stands alone: each band has its own pattern and
its name beside it.
"""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from maps.palette import NIGHT, write_variables
from maps.words import as_markup
from routeplan.departure_words import (
    answer_lines,
    asked_line,
    best_lines,
    bites_line,
    find_windows,
    fold_rows,
    still_line,
)
from routeplan.departures import EVERY
from routeplan.units_shown import shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from layers import Region
    from routeplan.departures import Bite, Departure, Departures
    from routeplan.plan_words import PlanWords
    from routeplan.trips import Trip

__all__ = ["draw_departures", "write_departures_page"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_LONGEST = 2000  # characters of one paragraph
_HOLD_DAY = ";--hold:#CFE9DE;--hold-edge:#00503A}"  # our own: ink on the one, and the other on paper, over 7 to 1
_HOLD_NIGHT = ";--hold:#123B2D;--hold-edge:#7FE0B8}"
_PHONE, _DESK = 336.0, 960.0  # [px] widths of the two drawings
_LEFT, _RIGHT = 44.0, 10.0  # [px] beside the axes
_HOURS_STEPS = (0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0)  # [h] between lines across
_CLOCK_STEPS = (10, 20, 30, 60, 120, 180, 240, 360, 720)  # [min] between lines up
_MOST_LINES = 5
_APART_PX = 56.0  # [px] between clock times, at least
_LETTER = 0.56  # of the size of a letter: how wide one is, about
_SHOWN_APART_H = 1 / 60  # [h] a shorter wait leaves one line
_WINDOW = re.compile(r"Leave (at|between) (\w{3} )?\d\d:\d\d( and (\w{3} )?\d\d:\d\d)?")
_STYLE = """
*, *::before, *::after { box-sizing: border-box; }
html { color-scheme: light dark; -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: 1128px; padding: 12px; color: var(--ink); background: var(--paper);
  font: 17px/1.45 system-ui, -apple-system, "Segoe UI", Roboto, "Liberation Sans", sans-serif;
  overflow-wrap: anywhere; }
h1 { margin: 4px 0 0; font-size: 24px; line-height: 1.2; }
h2 { margin: 0 0 8px; padding-top: 24px; font-size: 20px; line-height: 1.25; }
p { margin: 4px 0; }
figure { margin: 0; break-inside: avoid; }
.quiet { color: var(--quiet); font-size: 15px; }
.answer { margin-top: 12px; padding: 10px 14px; border: 2px solid var(--ink); border-left-width: 8px;
  border-radius: 6px; }
.answer.holds { border-color: var(--hold-edge); background: var(--hold); }
.answer .first { font-size: 20px; line-height: 1.3; }
.note { margin-top: 10px; padding: 8px 14px; border-left: 8px solid var(--ink); background: var(--warning); }
svg { display: block; width: 100%; height: auto; margin: 0 auto; }
svg.phone { max-width: 460px; }
svg.desk { display: none; }
svg path { fill: none; }
svg text { fill: var(--ink); font-family: inherit; }
svg .strong { font-weight: 700; }
svg .grid { stroke: var(--quiet); stroke-width: 1; stroke-dasharray: 1 3; }
svg .axis { stroke: var(--ink); stroke-width: 1.5; }
svg .hold { fill: var(--hold); stroke: none; }
svg .bar { fill: var(--hold); stroke: var(--hold-edge); stroke-width: 3; }
svg .edge { stroke: var(--hold-edge); stroke-width: 2; }
svg .all { fill: none; stroke: var(--ink); stroke-width: 3; stroke-linejoin: round; stroke-linecap: round; }
svg .under { fill: none; stroke: var(--ink); stroke-width: 2; stroke-dasharray: 5 4; }
svg .point { fill: var(--ink); }
svg .lane { fill: none; stroke: var(--quiet); stroke-width: 1; }
svg .bite { stroke: var(--ink); stroke-width: 1.5; }
svg .ground { fill: var(--paper); }
svg .pen { fill: none; stroke: var(--ink); stroke-width: 1.6; }
svg .ink { fill: var(--ink); }
table { width: 100%; border-collapse: collapse; font-variant-numeric: tabular-nums; overflow-wrap: normal; }
th, td { padding: 5px 8px 5px 4px; text-align: left; vertical-align: top; border-bottom: 1px solid var(--quiet); }
th { font-size: 15px; white-space: nowrap; border-bottom: 2px solid var(--ink); vertical-align: bottom; }
.figure { text-align: right; white-space: nowrap; }
tr.holds { background: var(--hold); }
tr.holds td:first-child { border-left: 6px solid var(--hold-edge); padding-left: 6px; }
.cautions { padding: 10px 14px 10px 30px; border: 2px solid var(--ink); background: var(--warning); }
.cautions li { margin: 4px 0; }
@media screen and (max-width: 719px) {
  thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  table, tbody { display: block; }
  tr { display: flex; flex-wrap: wrap; gap: 0 14px; padding: 6px 4px; border-bottom: 1px solid var(--quiet); }
  tr.holds { border-left: 6px solid var(--hold-edge); }
  td, tr.holds td:first-child { display: block; padding: 1px 4px; border: 0; }
  td::before { content: attr(data-is) " "; font-size: 14px; font-weight: 400; color: var(--quiet); }
  tr.holds td::before { color: var(--ink); }
  td.clock { font-size: 18px; font-weight: 700; }
  td.wide { flex-basis: 100%; }
  td:empty { display: none !important; }
  td.told { order: -1; flex-basis: 100%; font-weight: 700; }
  td.told::before { content: "plan "; }
}
@media screen and (max-width: 1023px) { table { font-size: 15px; } td.clock { font-size: 17px; } }
@media (min-width: 860px) { svg.phone { display: none; } svg.desk { display: block; } }
@media print {
  body { max-width: none; padding: 0; font-size: 10.5pt; }
  svg.phone { display: none; } svg.desk { display: block; }
  tr, .answer, .note, .cautions { break-inside: avoid; }
  thead { display: table-header-group; }
  .answer.holds, tr.holds, svg { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""
_PATTERNS = {  # of each kind: how a tile of it is drawn, 8 px across
    "slack": '<path class="pen" d="M-2 2L2 -2M0 8L8 0M6 10L10 6"/>',
    "gate": '<path class="pen" d="M0 4H8"/>',
    "dock": '<circle class="ink" cx="2" cy="2" r="1.5"/><circle class="ink" cx="6" cy="6" r="1.5"/>',
    "daylight": '<path class="pen" d="M4 0V8"/>',
    "dark": '<path class="pen" d="M-2 2L2 -2M0 8L8 0M6 10L10 6M-2 6L2 10M0 0L8 8M6 -2L10 2"/>',
    "none": '<rect class="ink" width="8" height="8"/>',
}
_NAMES = {"slack": "slack water at", "gate": "shut:", "dock": "shut:", "daylight": "night, or waiting for light, at"}


def write_departures_page(departures: Departures, words: PlanWords, trip: Trip, region: Region) -> str:
    """Write the page.

    Parameters
    ----------
    departures
        All departures.
    words
        In the boat's units and the region's time.
    trip
        What was asked.
    region
        Its sources are named.

    Returns
    -------
    One HTML document.
    """
    first, *more = answer_lines(departures, words)
    best, still = best_lines(departures, words), still_line(departures)
    title = f"When to leave: {trip.start} to {trip.finish}"
    sources = region.about.source_lines or ("not stated by the region",)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{_text(title)}</title>",
        f"<style>{_colours()}{_STYLE}</style>",
        "</head>",
        "<body>",
        "<main>",
        f"<h1>{_text(title)}</h1>",
        f'<section class="answer{" holds" if departures.holding else ""}"><p class="first">{_answer(first)}</p>',
        *(f"<p>{_answer(line)}</p>" for line in (*more, *best)),
        "</section>",
        f'<p class="note">{_text(still)}</p>' if still else "",
        f'<p class="quiet">{_text(asked_line(departures, words, trip))}</p>',
        "<figure>",
        draw_departures(departures, words, "phone"),
        draw_departures(departures, words, "desk"),
        "</figure>",
        "<h2>Every departure</h2>",
        *_table(departures, words),
        "<h2>Cautions</h2>",
        f'<ul class="cautions">{"".join(f"<li>{_text(line)}</li>" for line in departures.cautions)}</ul>',
        f'<p class="quiet">Sources: {_text("; ".join(sources))}.</p>',
        "</main>",
        "</body>",
        "</html>",
        "",
    ]
    return "\n".join(parts)


@dataclass(frozen=True)
class _Scale:
    """Where moments stand across a drawing."""

    begin: datetime
    end: datetime
    left: float
    right: float

    def x(self, moment: datetime) -> float:
        """[px] Place a moment; what lies beyond the ends stands at them."""
        share = (moment - self.begin) / (self.end - self.begin)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)


def draw_departures(departures: Departures, words: PlanWords, size: str) -> str:
    """Draw the picture: the windows, the hours of each departure, and below them what bites when.

    Parameters
    ----------
    departures
        All departures.
    words
        Say times.
    size
        `phone` or `desk`.

    Returns
    -------
    An SVG drawing that takes its colours from the page's style sheet.
    """
    wide, letter, high = (_DESK, 15.0, 250.0) if size == "desk" else (_PHONE, 13.0, 170.0)
    rows = departures.rows
    half = EVERY / 2
    scale = _Scale(rows[0].depart - half, rows[-1].depart + half, _LEFT, wide - _RIGHT)
    line = 1.35 * letter
    spans = [
        (
            scale.x(w.holds[0].first - half),
            scale.x(w.holds[-1].last + half),
            _span(w.holds[0].first, w.holds[-1].last, words),
        )
        for w in find_windows(departures)
    ]
    drawn = [_words(0, letter, "The plan holds", letter, "strong")]
    y = letter + 7
    bar = 2.1 * letter
    top = y + bar + 2.9 * line
    drawn += [
        f'<rect class="hold" x="{a:.1f}" y="{top:.1f}" width="{b - a:.1f}" height="{high:.1f}"/>' for a, b, _ in spans
    ]
    drawn += [_words(0, top - 1.5 * line, "Hours until she arrives", letter, "strong")]
    drawn += _hours(rows, scale, top, high, letter)
    drawn += [f'<path class="edge" d="M{a:.1f} {top:.1f}v{high:g}M{b:.1f} {top:.1f}v{high:g}"/>' for a, b, _ in spans]
    drawn += _windows(spans, scale, y, bar, letter)
    y = top + high
    drawn += _clocks(rows, scale, (top, y), letter, words)
    y += 3.2 * line
    lanes = list(_lanes(rows))
    if lanes:
        drawn.append(_words(0, y + letter, "What bites, by time of leaving", letter, "strong"))
        y += 1.6 * line
    for kind, name, biting in lanes:
        for part in textwrap.wrap(name, int(wide / (_LETTER * letter))):
            drawn.append(_words(0, y + letter, part, letter))
            y += line
        drawn += _lane(kind, biting, scale, y + 2, size)
        y += 2 + 16 + 0.7 * line
    tiles = "".join(
        f'<pattern id="{size}-{kind}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect class="ground" width="8" height="8"/>{tile}</pattern>'
        for kind, tile in _PATTERNS.items()
    )
    told = " ".join(
        [*answer_lines(departures, words), *(f"{name}: {_times(biting, rows, words)}." for _, name, biting in lanes)]
    )
    return (
        f'<svg class="{size}" viewBox="0 0 {wide:g} {y:.0f}" role="img" aria-labelledby="{size}-title {size}-told">'
        f'<title id="{size}-title">Hours until she arrives, and what bites, by time of leaving</title>'
        f'<desc id="{size}-told">{_text(told)}</desc><defs>{tiles}</defs>{"".join(drawn)}</svg>'
    )


def _windows(
    spans: Sequence[tuple[float, float, str]], scale: _Scale, y: float, bar: float, letter: float
) -> Iterator[str]:
    """Draw the windows as bars, each with its times where they fit in."""
    yield _box("lane", scale.left, y, scale.right - scale.left, bar)
    if not spans:
        yield _words((scale.left + scale.right) / 2, y + 0.68 * bar, "at no departure", letter, "strong", "middle")
    for a, b, times in spans:
        yield _box("bar", a, y, b - a, bar)
        for size in (letter + 2, letter, letter - 1):
            if _LETTER * size * len(times) < b - a - 6:
                yield _words((a + b) / 2, y + 0.5 * bar + 0.36 * size, times, size, "strong", "middle")
                break


def _hours(rows: Sequence[Departure], scale: _Scale, top: float, high: float, letter: float) -> Iterator[str]:
    """Draw how long each passage takes in all, and under way where that is less; lines break where there is no plan."""
    planned = [row for row in rows if row.arrive is not None]
    waits = any(row.time_h - row.under_way_h > _SHOWN_APART_H for row in planned)
    times = [h for row in planned for h in ((row.time_h, row.under_way_h) if waits else (row.time_h,))] or [0.0]
    step = next((s for s in _HOURS_STEPS if (max(times) - min(times)) / s <= _MOST_LINES - 1), _HOURS_STEPS[-1])
    low = min(times) // step
    count = max(1, -int(-(max(times) / step - low) // 1))

    def y(time_h: float) -> float:
        return top + high * (1 - (time_h / step - low) / count)

    for i in range(count + 1):
        at = top + high * (1 - i / count)
        yield f'<path class="grid" d="M{scale.left:g} {at:.1f}H{scale.right:g}"/>'
        yield _words(scale.left - 5, at + 0.36 * letter, f"{(low + i) * step:g} h", letter, "", "end")
    if waits:
        at, second = top - 0.55 * letter, scale.left + 34 + 4.5 * letter
        yield f'<path class="all" d="M{scale.left:g} {at - 4:.1f}h24"/>'
        yield _words(scale.left + 29, at, "in all", letter)
        yield f'<path class="under" d="M{second:.1f} {at - 4:.1f}h24"/>'
        yield _words(second + 29, at, "under way", letter)
    if not planned:
        yield _words(
            (scale.left + scale.right) / 2, top + high / 2, "no plan at any departure", letter, "strong", "middle"
        )
    for has_plan, group in groupby(rows, key=lambda row: row.arrive is not None):
        same = list(group)
        if not has_plan:
            continue
        if waits:
            yield _drawn("under", [(scale.x(r.depart), y(r.under_way_h)) for r in same])
        yield _drawn("all", [(scale.x(r.depart), y(r.time_h)) for r in same])
        if len(same) == 1:
            yield f'<circle class="point" cx="{scale.x(same[0].depart):.1f}" cy="{y(same[0].time_h):.1f}" r="4"/>'


def _clocks(
    rows: Sequence[Departure], scale: _Scale, ends: tuple[float, float], letter: float, words: PlanWords
) -> Iterator[str]:
    """Draw the axis: times of leaving, and below each the time of arriving."""
    top, bottom = ends
    yield f'<path class="axis" d="M{scale.left:g} {top:.1f}V{bottom:.1f}H{scale.right:g}"/>'
    per_min = (scale.right - scale.left) / ((scale.end - scale.begin) / timedelta(minutes=1))
    step = next((s for s in _CLOCK_STEPS if s * per_min >= _APART_PX), _CLOCK_STEPS[-1])
    local = rows[0].depart.astimezone(words.zone)
    past = (local.hour * 60 + local.minute) % step if local.minute % 10 == 0 else 0
    arrives = {row.depart: row.arrive for row in rows}
    line = 1.35 * letter
    yield _words(0, bottom + line, "leave", letter)
    yield _words(0, bottom + 2 * line, "arrive", letter)
    at = rows[0].depart - timedelta(minutes=past)
    while at <= rows[-1].depart:
        x = scale.x(at)
        if at >= rows[0].depart and x - scale.left >= 0.2 * _APART_PX and scale.right - x >= 0.2 * _APART_PX:
            yield f'<path class="axis" d="M{x:.1f} {bottom:.1f}v5"/>'
            yield f'<path class="grid" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>'
            yield _words(x, bottom + line + 2, words.clock(at)[:5], letter, "strong", "middle")
            arrive = arrives.get(at)
            if arrive is not None:
                yield _words(x, bottom + 2 * line + 1, words.clock(arrive)[:5], letter, "", "middle")
        at += timedelta(minutes=step)


def _lanes(rows: Sequence[Departure]) -> Iterator[tuple[str, str, list[Departure]]]:
    """Yield what bites: its pattern, its name with the longest wait, and the departures; in the order of coming up."""
    found: dict[tuple[str, str], list[tuple[Departure, Bite | None]]] = {}
    for row in rows:
        if row.arrive is None:
            found.setdefault(("none", bites_line(row)), []).append((row, None))
            continue
        for bite in row.bites:
            found.setdefault((bite.kind, bite.where), []).append((row, bite))
    for (kind, where), biting in found.items():
        longest_h = max((bite.wait_h for _, bite in biting if bite is not None), default=0.0)
        name = where if kind == "none" else f"{_NAMES.get(kind, 'dark at')} {where}".rstrip()
        waits = f", up to {shown_duration(longest_h)}" if longest_h else ""
        yield kind, f"{name[0].upper()}{name[1:]}{waits}", list(dict.fromkeys(row for row, _ in biting))


def _lane(kind: str, biting: Sequence[Departure], scale: _Scale, y: float, size: str) -> Iterator[str]:
    yield _box("lane", scale.left, y, scale.right - scale.left, 16)
    for first, last in _runs(biting):
        a, b = scale.x(first.depart - EVERY / 2), scale.x(last.depart + EVERY / 2)
        yield (
            f'<rect class="bite" fill="url(#{size}-{kind})" x="{a:.1f}" y="{y:.1f}" width="{b - a:.1f}" height="16"/>'
        )


def _runs(biting: Sequence[Departure]) -> Iterator[tuple[Departure, Departure]]:
    """Yield the first and the last of departures that follow one another."""
    first = last = biting[0]
    for row in biting[1:]:
        if row.depart - last.depart > EVERY:
            yield first, last
            first = row
        last = row
    yield first, last


def _times(biting: Sequence[Departure], rows: Sequence[Departure], words: PlanWords) -> str:
    start = rows[0].depart
    return ", ".join(
        words.when(a.depart, start) if a is b else f"{words.when(a.depart, start)} to {words.when(b.depart, a.depart)}"
        for a, b in _runs(biting)
    )


def _table(departures: Departures, words: PlanWords) -> Iterator[str]:
    """Write all departures; those that are told alike share a row."""
    units = words.units
    unit = units.volume_label
    heads = ("plan", "leave", "arrive", "time", f"fuel {unit}", f"margin {unit}", "fills at", "what bites")
    kinds = ("told", "clock", "clock", "figure", "figure", "figure", "wide", "wide")
    cells = "".join(
        f'<th role="columnheader" scope="col" class="{"figure" if kind == "figure" else ""}">{head}</th>'
        for head, kind in zip(heads, kinds, strict=True)
    )
    yield f'<table role="table"><thead role="rowgroup"><tr role="row">{cells}</tr></thead><tbody role="rowgroup">'
    before = departures.rows[0].depart
    for fold in fold_rows(departures, words):
        first, last = fold.first, fold.last
        leaves, arrives = words.when(first.depart, before), ""
        if first.arrive is not None:
            arrives = words.when(first.arrive, first.depart)
        if last is not first:
            leaves = f"{leaves} to {words.clock(last.depart)}"
            arrives = "" if last.arrive is None else f"{arrives} to {words.clock(last.arrive)}"
        figures = ("", "", "")
        if first.arrive is not None:
            figures = (
                shown_duration(first.time_h),
                units.volume(first.fuel_l).removesuffix(f" {unit}"),
                units.volume_down(first.least_margin_l).removesuffix(f" {unit}"),
            )
        told = ("holds" if first.holds else "", leaves, arrives, *figures, ", ".join(first.stops), bites_line(first))
        cells = "".join(
            f'<td role="cell" class="{kind}" data-is="{head}">{_text(cell)}</td>'
            for head, kind, cell in zip(heads, kinds, told, strict=True)
        )
        yield f'<tr role="row"{" class=holds" if first.holds else ""}>{cells}</tr>'
        before = last.depart
    yield "</tbody></table>"
    meaning = "Holds: no wait over 5 min, not in the dark. Margin: the least above the reserve, low figure."
    yield f'<p class="quiet">{meaning}</p>'


def _answer(line: str) -> str:
    """Write a line of the answer, the times of a window in bold."""
    window = _WINDOW.match(line)
    if window is None:
        return _text(line)
    return f"<strong>{_text(window[0])}</strong>{_text(line[window.end() :])}"


def _colours() -> str:
    """Write the colours of the day, and those of the dark for a reader who chose it; paper is always bright."""
    day, night = write_variables(), write_variables(NIGHT)
    return f"{day[:-1]}{_HOLD_DAY}@media screen and (prefers-color-scheme: dark){{{night[:-1]}{_HOLD_NIGHT}}}"


def _span(first: datetime, last: datetime, words: PlanWords) -> str:
    return words.clock(first) if first == last else f"{words.clock(first)} to {words.when(last, first)}"


def _drawn(kind: str, points: Iterable[tuple[float, float]]) -> str:
    return f'<path class="{kind}" d="M{"L".join(f"{x:.1f} {y:.1f}" for x, y in points)}"/>'


def _box(kind: str, x: float, y: float, wide: float, high: float) -> str:
    return f'<rect class="{kind}" x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"/>'


def _words(x: float, y: float, words: str, letter: float, kind: str = "", anchor: str = "start") -> str:
    shown = f' class="{kind}"' if kind else ""
    return f'<text{shown} x="{x:.1f}" y="{y:.1f}" font-size="{letter:g}" text-anchor="{anchor}">{_text(words)}</text>'


def _text(words: str) -> str:
    return str(as_markup(words, longest=_LONGEST))
