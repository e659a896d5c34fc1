"""One page that tells what a boat's log teaches: opens with no network, on a phone or a desk, and prints.

The figures come first, in plain words, then the fill-ups that don't fit, then the pictures. It holds no script, asks
for no other file, and says so to the browser by a Content-Security-Policy.
"""

from __future__ import annotations

from datetime import UTC, tzinfo
from typing import TYPE_CHECKING

from layers.files import replaced_file
from maps.palette import write_variables
from maps.words import as_markup
from routeplan.chart_sheet import write_svg
from routeplan.charts import build_pictures
from routeplan.lesson_words import (
    count_of,
    day,
    economy_message,
    factor,
    factor_ends,
    gauge_message,
    gauge_verdict,
    meter_message,
    reserve_reading_l,
    tied,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.lessons import Figure, Lesson, Suspicion

__all__ = ["build_page", "write_page"]

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_CAUTIONS = (
    "An aid to planning, not for navigation. What was learnt holds for the boat, load and water it was learnt in.",
    "Plan with the low figures, keep the reserve, and fill to the full mark: that is what the figures rest on.",
    "A meter that jumps or a gauge that falls faster than it should may be a leak: check the bilge before you go on.",
    "Local rules and a licensed professional's advice come first.",
)
_LONGEST = 2000  # characters of one paragraph
_NONE = "\u2013"
_DOUBTFUL = {"meter": "meter", "pumped": "pump figure", "gauge": "gauge", "burn": "burn"}
_STYLE = """
*, *::before, *::after { box-sizing: border-box; }
html { color-scheme: light; -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: 1180px; padding: 12px; color: var(--ink); background: var(--paper);
  font: 17px/1.45 system-ui, -apple-system, "Segoe UI", Roboto, "Liberation Sans", sans-serif;
  overflow-wrap: anywhere; }
h1 { margin: 4px 0 0; font-size: 24px; line-height: 1.2; }
h2 { margin: 0 0 8px; padding-top: 24px; font-size: 20px; line-height: 1.25; }
h3 { margin: 0; font-size: 17px; line-height: 1.3; }
p { margin: 4px 0; }
.quiet { color: var(--quiet); }
nav { display: flex; flex-wrap: wrap; gap: 0 18px; margin-top: 6px; }
nav a { display: flex; align-items: center; min-height: 44px; min-width: 44px; color: var(--route); }
.cards, .pictures { display: grid; gap: 12px; }
.card { padding: 12px 14px; border: 1px solid var(--quiet); border-left: 6px solid var(--route); border-radius: 6px; }
.card.danger { border: 2px solid var(--stop); border-left-width: 8px; }
.card .large { margin: 2px 0; font-size: 32px; font-weight: 700; line-height: 1.15; }
.card .rests { margin-top: 8px; font-size: 15px; color: var(--quiet); }
.doubtful { margin: 0; padding: 0; list-style: none; }
.doubtful li { margin: 0 0 8px; padding: 8px 12px; border-left: 6px solid var(--stop); background: var(--warning); }
table { width: 100%; overflow-wrap: normal; border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: 7px 4px; border-bottom: 1px solid var(--unknown); text-align: right; vertical-align: bottom; }
th { font-size: 15px; line-height: 1.25; border-bottom: 2px solid var(--ink); }
td.count { color: var(--quiet); }
td.low { font-weight: 700; }
.bare td { color: var(--quiet); }
figure { margin: 0; padding: 4px 0; border-top: 1px solid var(--unknown); }
figure svg { display: block; width: 100%; max-width: 500px; height: auto; margin: 0 auto; }
.cautions { padding: 10px 14px 10px 30px; border: 2px solid var(--ink); background: var(--warning); }
.cautions li { margin: 4px 0; }
@media (min-width: 900px) {
  .cards { grid-template-columns: 1fr 1fr; }
  .pictures { grid-template-columns: 1fr 1fr; align-items: start; }
  table { max-width: 640px; }
}
@media print { body { font-size: 11pt; } .card, figure, .doubtful li { break-inside: avoid; } }
"""


def build_page(lesson: Lesson, sharpened: Sequence[tuple[datetime, Figure]], zone: tzinfo = UTC) -> str:
    """Build the page.

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
    One HTML document, the same for the same lesson.
    """
    pictures = build_pictures(lesson, sharpened, zone)
    figures = [f"<figure>\n{write_svg(picture)}</figure>" for picture in pictures]
    moments = [*(p.when for p in lesson.sums), *(p.when for p in lesson.gauge_points), *(r.when for r in lesson.runs)]
    span = f", {day(min(moments), zone)} to {day(max(moments), zone)}" if moments else ""
    title = f"{lesson.boat.name}: what her log teaches"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{_text(title)}</title>",
        f"<style>{write_variables()}{_STYLE}</style>",
        "</head>",
        "<body>",
        "<header>",
        f"<h1>{_text(title)}</h1>",
        f'<p class="quiet">{count_of(lesson.fillups, "fill-up")}{_text(span)}</p>',
        "</header>",
        "<main>",
        *_sections(
            {
                "In short": [f'<div class="cards">{"".join(_cards(lesson, zone))}</div>'],
                "Fill-ups that don't fit": _doubtful(lesson.suspicious, zone),
                "Gauge table": _gauge_table(lesson) if lesson.gauge_table else [],
                "Pictures": ['<div class="pictures">', *figures, "</div>"] if figures else [],
                "Notes": [_list(lesson.notes)] if lesson.notes else [],
                "Cautions": [_list(_CAUTIONS, "cautions")],
            }
        ),
        "</main>",
        "</body>",
        "</html>",
        "",
    ]
    return "\n".join(parts)


def write_page(lesson: Lesson, sharpened: Sequence[tuple[datetime, Figure]], path: Path, zone: tzinfo = UTC) -> None:
    """Write the page to a file, whole or not at all.

    Parameters
    ----------
    lesson, sharpened
        As `build_page`.
    path
        The file.
    zone
        Whose days the dates are.

    Raises
    ------
    InputError
        It can't be written.
    """
    page = build_page(lesson, sharpened, zone)
    with replaced_file(path) as draft:
        draft.write_text(page, encoding="utf-8", newline="\n")


def _cards(lesson: Lesson, zone: tzinfo) -> Iterable[str]:
    yield _meter_card(lesson, zone)
    yield _gauge_card(lesson)
    yield _economy_card(lesson)
    yield _burn_card(lesson)
    mark, units = lesson.full_mark_sd_l, lesson.boat.units
    yield _card(
        "How well a fill to the full mark repeats",
        f"\u00b1 {units.volume_up(1.645 * mark.mean)}",
        ["Nine fills in ten end this close to the mark."],
        f"{count_of(mark.rests_on, 'sum')}. {_sentence(mark.sharpen)}" if mark.rests_on else "",
    )


def _meter_card(lesson: Lesson, zone: tzinfo) -> str:
    figure, units = lesson.meter_factor, lesson.boat.units
    if figure is None:
        return _card(meter_message(lesson), "", ["Note the meter at each fill-up, before it is reset."])
    shown_l = round(0.5 * lesson.boat.tank.capacity_l / units.litres_per_unit / 10 + 0.5) * 10 * units.litres_per_unit
    ends = f"{_bare(lesson, figure.low * shown_l)} to {units.volume(figure.high * shown_l)}"
    said = [f"Shows {units.volume(shown_l)}: really used {units.volume(figure.mean * shown_l)} (90 % sure: {ends})."]
    if len(lesson.meters) > 1:
        each = ", ".join(f"meter {m.meter} \u00d7 {factor(m.factor)} ({factor_ends(m.factor)})" for m in lesson.meters)
        said.append(f"Each alone, less surely: {each}.")
    said += [f"Meter {m.meter} counts from {day(m.since, zone)}, when it was new." for m in lesson.meters if m.since]
    rests = f"{factor_ends(figure)}, 90 % sure, by {count_of(figure.rests_on, 'sum')} from full to full. "
    return _card(meter_message(lesson), f"\u00d7 {factor(figure)}", said, rests + _sentence(figure.sharpen))


def _gauge_card(lesson: Lesson) -> str:
    verdict, units = gauge_verdict(lesson), lesson.boat.units
    if verdict is None:
        return _card(gauge_message(lesson), "", ["Note the gauge at each fill-up, before the pump runs."])
    reserve_l = reserve_reading_l(lesson)
    large = "" if reserve_l is None else units.volume_up(reserve_l)
    under = "on the gauge: below this the reserve may be in use."
    if reserve_l is None:
        under = "At no reading does this gauge show for sure that the reserve is untouched."
    kind = "card danger" if verdict in {"high", "seems high"} else "card"
    return _card(gauge_message(lesson), large, [under, lesson.gauge_in_words], _sentence(lesson.gauge_sharpen), kind)


def _economy_card(lesson: Lesson) -> str:
    figure, units = lesson.economy_nmi_per_l, lesson.boat.units
    if figure is None:
        return _card(economy_message(lesson), "", ["Note the distance run at each fill-up."])
    ends = f"{units.economy(figure.low).split(' ')[0]} to {units.economy(figure.high)}"
    rests = f"{ends}, 90 % sure, by {count_of(figure.rests_on, 'run')}. {_sentence(figure.sharpen)}"
    return _card(
        economy_message(lesson), units.economy(figure.mean), ["The season's figure, all speeds and seas."], rests
    )


def _burn_card(lesson: Lesson) -> str:
    figure = lesson.burn_factor
    if figure is None:
        said = ["Note distance and engine hours at each fill-up, or give a recorded track."]
        return _card("No run can be held against her burn table yet", "", said)
    more = figure.mean > 1
    certain = figure.low > 1 or figure.high < 1
    percent = f"{abs(figure.mean - 1):.1%}".replace("%", " %")
    message = f"She burns {percent} {'more' if more else 'less'} than her burn table says"
    if not certain:
        message = "She burns what her burn table says, as far as can be told"
    said = [f"Plans use the table times {factor(figure)}, and \u00b1{lesson.burn_sd_share:.1%} for one passage."]
    if lesson.by_sea:
        seas = ", ".join(f"{s.sea} \u00d7 {s.burn_factor:.2f} ({count_of(s.runs, 'run')})" for s in lesson.by_sea)
        said.append(f"By sea: {seas}.")
    rests = f"{factor_ends(figure)}, 90 % sure, by {count_of(figure.rests_on, 'run')}. {_sentence(figure.sharpen)}"
    return _card(message, f"\u00d7 {factor(figure)}", [s.replace("%", " %") for s in said], rests)


def _card(message: str, large: str, said: Iterable[str], rests: str = "", kind: str = "card") -> str:
    figure = f'<p class="large">{_text(large)}</p>' if large else ""
    words = "".join(f"<p>{_text(line)}</p>" for line in said if line)
    basis = f'<p class="rests">{_text(rests)}</p>' if rests else ""
    return f'\n<section class="{kind}"><h3>{_text(message)}</h3>{figure}{words}{basis}</section>'


def _doubtful(suspicious: Sequence[Suspicion], zone: tzinfo) -> list[str]:
    if not suspicious:
        return ["<p>None: every fill-up agrees with the others within chance.</p>"]
    rows = [
        f"<li><h3>{_text(day(one.when, zone))}: {_DOUBTFUL[one.doubtful]}, {_how_likely(one.probability)}"
        f"{f' (entry {_text(one.entry)})' if one.entry else ''}</h3><p>{_text(_sentence(one.why))}</p></li>"
        for one in suspicious
    ]
    kept = "They stay in the log, and the figures don't lean on them. If one is a slip, enter a correction."
    return [f'<ul class="doubtful">{"".join(rows)}</ul>', f'<p class="quiet">{kept}</p>']


def _how_likely(probability: float) -> str:
    if probability >= 0.99:
        return "almost certainly wrong"
    return "probably wrong" if probability >= 0.8 else "perhaps wrong"


def _gauge_table(lesson: Lesson) -> list[str]:
    units = lesson.boat.units
    heads = (f"gauge [{units.volume_label}]", "count on", "best guess", "at most", "readings")
    head = f"<tr>{''.join(f'<th>{_text(words)}</th>' for words in heads)}</tr>"
    rows = [
        f"<tr{'' if row.rests_on else ' class=bare'}><td>{_bare(lesson, row.reading_l).removesuffix('.0')}</td>"
        f'<td class="low">{units.volume_down(row.low_l).split(" ")[0]}</td><td>{_bare(lesson, row.mean_l)}</td>'
        f'<td>{units.volume_up(row.high_l).split(" ")[0]}</td><td class="count">{row.rests_on or _NONE}</td></tr>'
        for row in lesson.gauge_table
    ]
    words = "Nine times in ten the fuel lies between the bold figure and the one at most. Grey rows have no reading."
    return [f"<table><thead>{head}</thead><tbody>{''.join(rows)}</tbody></table>", f'<p class="quiet">{words}</p>']


def _sections(parts: Mapping[str, Sequence[str]]) -> Iterable[str]:
    """Write the sections that hold something, and links to them."""
    there = [(number, title) for number, title in enumerate(parts, start=1) if parts[title]]
    links = [f'<a href="#part-{number}">{_text(title)}</a>' for number, title in there]
    yield f"<nav>{''.join(links)}</nav>"
    for number, title in there:
        yield f'<section id="part-{number}">\n<h2>{_text(title)}</h2>'
        yield from parts[title]
        yield "</section>"


def _list(lines: Iterable[str], kind: str = "") -> str:
    return f'<ul class="{kind}">{"".join(f"<li>{_text(line)}</li>" for line in lines)}</ul>'


def _bare(lesson: Lesson, volume_l: float) -> str:
    return lesson.boat.units.volume(volume_l).split(" ")[0]


def _sentence(words: str) -> str:
    if not words:
        return ""
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def _text(words: str) -> str:
    return "&#160;".join(as_markup(part, longest=_LONGEST) for part in tied(words).split("\u00a0"))
