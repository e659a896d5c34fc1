"""The passage sheet as one page that prints: for the helm first, at its end for whoever waits ashore.

It opens with no network, holds no script, asks for no other file, and says so to the browser by a
Content-Security-Policy. No row is split between pages; heads of tables are repeated.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from maps.words import as_markup
from routeplan.crews import Crew
from routeplan.places import write_position
from routeplan.plan_words import is_before_leaving
from routeplan.sheet import fill_sheet
from routeplan.sheet_chart import draw_chart
from routeplan.sheet_style import write_style
from routeplan.sheet_words import SheetWords
from routeplan.units_shown import shown_speed
from routeplan.words import course, shown_calls, waits_for_light, waits_for_slack

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from layers.region import Region
    from routeplan.plans import Stop, StreamMet, Wait
    from routeplan.saved_plans import SavedPlan
    from routeplan.sheet import OtherDock, Sheet, SunAt
    from routeplan.sheet_rows import LastTurnRow, LegRow, StopRow, WaitRow
    from routeplan.sheet_style import Paper

__all__ = ["build_sheet"]

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_LONGEST = 2000  # characters of one paragraph
_NO_BREAK = "\u00a0"
_WIDTHS_MM = (13.5, 46, 9, 7, 8, 6, 12, 6.8, 12.2, 63, 12.2)  # [mm] of the helm's columns, the last to be written in
_KEPT_TOGETHER = 3  # rows at the end: none of them goes over to a page of its own
_BOX = '<span class="box"></span>'
_SPARE_NAMES = 4  # lines for names where nobody says how many are aboard
_MOST_SUNS = 3  # places of sun and tide beside the chart; more stand below it
_LONG_STAY_H = 1.0  # [h] a shorter stay isn't told ashore
_MOST_LINES = 12  # for names at the most: more are told by their number


def build_sheet(saved: SavedPlan, region: Region, crew: Crew | None = None, paper: Paper = "a4") -> str:
    """Build a passage sheet.

    Parameters
    ----------
    saved
        The plan with what the helm checks.
    region
        Its region: land, docks and variation are taken from it.
    crew
        Who is aboard and who waits ashore; None where all of that is written in by hand.
    paper
        What it is printed on, ``a4`` or ``letter``.

    Returns
    -------
    One HTML document, the same for the same plan, region and crew.

    Raises
    ------
    InputError
        The plan has neither legs nor stops, or she would be overdue before arriving.
    """
    if not saved.plan.legs and not saved.plan.stops:
        raise InputError("plan", "has no legs and no stops: there is nothing to print", remedy="plan anew")
    people = crew or Crew()
    if people.overdue is not None and people.overdue <= saved.plan.arrive:
        problem = f"is before the planned arrival, {saved.plan.arrive:%Y-%m-%dT%H:%MZ}"
        raise InputError("--overdue", problem, value=f"{people.overdue:%Y-%m-%dT%H:%MZ}")
    sheet = fill_sheet(saved, region)
    page = _Page(saved, sheet, people)
    foot = page.words.foot()
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{_text(foot)}</title>",
            f"<style>{write_style(paper, foot)}</style>",
            "</head>",
            "<body>",
            *page.head(),
            *page.helm(),
            *page.docks(),
            *page.ways(),
            *page.beside_chart(draw_chart(sheet, saved, region)),
            *page.sources(),
            *page.shore(),
            "</body>",
            "</html>",
            "",
        ]
    )


class _Page:
    """Writes the parts of one sheet."""

    def __init__(self, saved: SavedPlan, sheet: Sheet, crew: Crew) -> None:
        self.saved, self.sheet, self.crew = saved, sheet, crew
        self.words = SheetWords(saved, sheet)
        self.unit = saved.boat.units.volume_label

    def head(self) -> Iterator[str]:
        plan, words = self.saved.plan, self.words
        sheet, boat = self.sheet, self.saved.boat
        yield f"<header><h1><bdi>{_text(sheet.start)}</bdi> to <bdi>{_text(sheet.finish)}</bdi></h1>"
        length = boat.units.length(boat.length_overall_m)
        yield (
            f'<p class="under"><b><bdi>{_text(boat.name)}</bdi></b>, {_text(length)}, {boat.fuel}. '
            f"{_text(words.run_line())}. {_text(words.zone_line())}. <b>{_text(words.still_line())}</b></p></header>"
        )
        yield from (f'<p class="warn">{_text(said)}</p>' for said in sheet.differences)
        head, below = words.meter_lines()
        reaches = words.aboard(plan.aboard_on_arrival_l, plan.aboard_on_arrival_low_l).split(", low ")
        position = write_position(sheet.start_position).replace(" ", _NO_BREAK)
        keys = (
            ("Leave", words.day_and_clock(sheet.leaves), f"{position}; {words.light(sheet.suns[0])}"),
            (
                "Fuel aboard on leaving",
                words.units.volume_down(sheet.aboard_l),
                f"low {words.units.volume_down(sheet.aboard_low_l)}; how known: {sheet.how_known}",
            ),
            (
                "Arrive",
                words.when(plan.arrive, plan.depart),
                f"with {reaches[0]}, low {reaches[1]}; {words.light(sheet.suns[-1])}",
            ),
            ("Meter on leaving", head, below),
        )
        cells = "".join(f"<td>{_text(title)}<b>{_text(big)}</b>{_text(small)}</td>" for title, big, small in keys)
        yield f'<table class="keys"><tr>{cells}</tr></table>'
        yield (
            '<p class="how">At each mark read the dial and tick (6a: on the way along leg 6). <b>Dial over the figure '
            "in the heavy box: turn at once</b> for the dock named there, by these courses (+ Ways: the rest is listed "
            "there); where it says shut, wait there. <b>A box without a dock: the next stop is the nearest fuel</b>; "
            "over its figure slow down. Dial well over or under: find out why (leak, weed, wrong dial), read again in "
            "10 min. "
            f"{_text(words.fuel_rule())} {_text(words.variation_line())}</p>"
        )

    def helm(self) -> Iterator[str]:
        unit, magnetic = self.unit, self.sheet.variation_deg is not None
        heads = (
            ("leg", ""),
            ("to the mark", ""),
            ("M" if magnetic else "steer", "right"),
            ("T", "right"),
            ("nmi", "right"),
            ("kn", "right"),
            ("at", ""),
            ("min", "right"),
            (f"dial {unit}", "right"),
            ("if over: turn for, steer, nmi", ""),
            ("read, at", ""),
        )
        share = sum(_WIDTHS_MM)
        widths = "".join(f'<col style="width:{width / share:.2%}">' for width in _WIDTHS_MM)
        row = "".join(f'<th class="{kind}">{_text(title)}</th>' for title, kind in heads)
        yield f'<table class="helm"><colgroup>{widths}</colgroup><thead><tr>{row}</tr></thead><tbody>'
        turn_for, since = "", self.saved.plan.depart
        for index, line in enumerate(self.sheet.lines, start=1 - len(self.sheet.lines)):
            if line.kind == "leg":
                yield self._leg(line, turn_for, since, kind="near" if index > -_KEPT_TOGETHER else "")
                since = line.at
                turn_for = (line.limit.turn_for or "") if line.limit else turn_for
            elif line.kind == "stop":
                yield self._stop(line)
                turn_for = ""
            elif line.kind == "wait":
                yield self._wait(line)
            else:
                yield self._last_turn(line)
        yield self._arrival()
        yield "</tbody></table>"

    def _leg(self, row: LegRow, turn_for: str, since: datetime, *, kind: str) -> str:
        words, last = self.words, row.steers[-1]
        name = words.mark_name(row)
        where = f'<span class="nowrap">{_text(write_position(row.position))}</span>'
        notes = "".join(f"; {_text(note)}" for note in [words.place_on_leg(row), *words.row_notes(row)] if note)
        shows = "" if row.mark is None else words.bare(row.mark.shows_l)
        day = "" if words.same_day(row.at, since) else words.day_and_clock(row.at).split(" ", 1)[0]
        when = f'<span class="day">{_text(day)}</span>' if day else ""
        cells = (
            ("number nowrap" if len(row.label) < 6 else "number", "", f'{_BOX}<b class="nowrap">{row.label}</b>'),
            ("to", "", f"{f'<bdi>{_text(name)}</bdi> ' if name else ''}{where}{notes}"),
            (
                "steer",
                "steer M" if self.sheet.variation_deg is not None else "steer",
                _text(words.steered(last.course_deg).split(_NO_BREAK)[0]),
            ),
            ("bare", "true", course(last.course_deg)),
            ("bare", "nmi", f"{row.distance_nmi:.1f}"),
            ("bare", "kn", _text(shown_speed(row.speed_kn).removesuffix(" kn"))),
            ("at", "at", f"{when}{_text(words.clock(row.at))}"),
            ("bare", "min", str(round(row.run_h * 60))),
            ("figure", f"dial {self.unit}", shows),
            ("limit", "if over", self._limit(row, turn_for)),
            ("blank", "read, at", ""),
        )
        return f"""<tr class="{kind}">{"".join(_cell(*cell) for cell in cells)}</tr>"""

    def _limit(self, row: LegRow, turn_for: str) -> str:
        """Write what to do above which reading."""
        words, mark = self.words, row.limit
        figure = f"<b>{words.limit_figure(mark)}</b> "
        if mark is None or mark.turn_for is None:
            return f"{figure if mark is not None else ''}{_text(words.otherwise(row))}"
        name = "" if mark.turn_for == turn_for else f" <bdi>{_text(mark.turn_for)}</bdi>"
        near = "" if mark.turn_nmi is None else f" {mark.turn_nmi:.1f}"
        shut = words.shut_till(mark.turn_opens, row.at)
        told = f", <strong>{_text(shut)}</strong>" if shut else ""
        return f"{figure}{_tag(self.sheet.tag(mark.turn_for))}{name}{near}{told}: {_text(words.way(mark))}"

    def _stop(self, row: StopRow) -> str:
        said = self.words.stop_band(row.number, row.stop, resets=row.resets)
        head, _, rest = said.partition(". ")
        return _band(f"<b>{_text(head)}.</b> {_text(rest)}", "band dark stop")

    def _wait(self, row: WaitRow) -> str:
        return _band(f"<b>{_text(self.words.wait_line(row.wait))}</b>", "band pale ahead")

    def _last_turn(self, row: LastTurnRow) -> str:
        return _band(f"\u25b2 {_text(self.words.last_turn_line(row.number, row.turn))}.", "band pale ahead")

    def _arrival(self) -> str:
        plan, words = self.saved.plan, self.words
        left = words.aboard(plan.aboard_on_arrival_l, plan.aboard_on_arrival_low_l)
        when = words.day_and_clock(plan.arrive)
        return _band(
            f"<b>Arrive {_text(when)}: <bdi>{_text(self.sheet.finish)}</bdi>.</b> {_text(left)}", "band dark last"
        )

    def docks(self) -> Iterator[str]:
        plan, words = self.saved.plan, self.words
        if plan.stops:
            yield '<p class="head">Fuel stops: hours, call; take; if closed; written in</p><table class="docks">'
            yield '<colgroup><col style="width:20%"><col style="width:24%"><col style="width:56%"></colgroup><tbody>'
        for number, stop in enumerate(plan.stops, start=1):
            calls, take, closed = words.stop_cells(stop)
            yield (
                f"<tr><td>{_tag(str(number), 'filled')} <b><bdi>{_text(stop.dock)}</bdi></b></td>"
                f'<td>{_text(calls)}</td><td>{_text(take)}. {_text(closed)}. <span class="nowrap">{_BOX}called '
                f"pumped {_line('short')} dial {_line('short')}</span></td></tr>"
            )
        yield "</tbody></table>" if plan.stops else ""
        if self.sheet.docks:
            yield '<p class="head">Other docks: hours, call, confirmed on; needed if</p>'
            yield f'<ul class="listed">{"".join(map(self._dock, self.sheet.docks))}</ul>'

    def _dock(self, dock: OtherDock) -> str:
        where = "position not known" if dock.position is None else write_position(dock.position)
        calls = [dock.hours or "hours not known", *shown_calls(dock.vhf, dock.phone)]
        confirmed = dock.confirmed_on or "never confirmed"
        return (
            f"<li>{_BOX}{_tag(dock.tag)} <b><bdi>{_text(dock.name)}</bdi></b> "
            f'<span class="nowrap">{_text(where)}</span> {_text("; ".join(calls))}; '
            f'<span class="nowrap">{_text(confirmed)}</span> <b>{_text(self.words.other_dock_use(dock))}</b></li>'
        )

    def ways(self) -> Iterator[str]:
        ways = self.words.whole_ways()
        if ways:
            yield '<p class="head">Ways: from the mark, to the dock, each course with its nmi</p><ul class="ways">'
            for label, dock, way in ways:
                first, comma, rest = way.partition(", ")
                head = f"<b>{label}</b> {_tag(self.sheet.tag(dock))} {_text(first + comma)}"
                yield f'<li><span class="nowrap">{head}</span> {_text(rest)}</li> '
            yield "</ul>"

    def beside_chart(self, chart: str) -> Iterator[str]:
        suns = self._suns_told()
        yield '<table class="pair"><colgroup><col style="width:28%"><col style="width:45%"><col style="width:27%">'
        yield "</colgroup><tbody><tr><td>"
        if chart:
            no_return = " \u25b2 point of no return." if self.saved.helm.last_turns else ""
            no_return += " Two angles: current met." if self.saved.plan.streams else ""
            land = "" if self.sheet.land_known else " The region has no land layer."
            caption = "Never steer by this sketch. S start, F finish, letters: other docks."
            yield f'{chart}<p class="small">{_text(caption + no_return + land)}</p>'
        yield "</td><td>"
        yield from self._before()
        yield "</td><td>"
        yield from self._sun(suns[:_MOST_SUNS])
        yield "</td></tr></tbody></table>"
        if len(suns) > _MOST_SUNS:
            yield f'<ul class="sun wide">{"".join(self._sun_lines(suns[_MOST_SUNS:]))}</ul>'

    def _suns_told(self) -> list[SunAt]:
        """List the places whose sun both ends don't tell already."""
        zone, suns = self.words.zone, self.sheet.suns
        day = suns[0].at.astimezone(zone).date()
        return [s for s in suns if s.kind != "stop" or s.is_dark or s.at.astimezone(zone).date() != day]

    def _sun(self, suns: Sequence[SunAt]) -> Iterator[str]:
        yield '<h2>Sun and tide</h2><ul class="sun">'
        yield from self._sun_lines(suns)
        yield "</ul>"
        dark = self.words.dark_line()
        yield f'<p class="warn">{_text(dark)}</p>' if dark else ""
        plan = self.saved.plan
        if plan.streams:
            yield f'<ul class="streams">{"".join(map(self._stream, plan.streams))}</ul>'
        known = self.sheet.streams_known and plan.still_water
        streams = " Streams are in the region's data; the plan doesn't count them." if known else ""
        tides = "Tides" if plan.still_water else "Heights of tide"
        yield f'<p class="small">{tides} aren\'t predicted: fill in from the tables.{streams}</p>'

    def _stream(self, stream: StreamMet) -> str:
        """Write a current that is met: how it runs, and when it is slack."""
        words, since = self.words, self.saved.plan.depart
        turns = words.turns_line(stream)
        return (
            f"<li><b>{_text(words.when(stream.enter, since))} <bdi>{_text(stream.name)}</bdi></b>: "
            f"{_text(words.stream_runs(stream))} T{_text(f'; {turns}') if turns else ''}</li>"
        )

    def _sun_lines(self, suns: Sequence[SunAt]) -> Iterator[str]:
        words = self.words
        for sun in suns:
            dark = f" <b>{_text(words.light(sun))}</b>" if sun.is_dark else ""
            leaves = f", {words.when(sun.at, self.saved.plan.depart)}" if sun.kind == "night" else ""
            yield (
                f"<li><bdi>{_text(sun.place)}</bdi>{_text(leaves)}: {_text(words.sun_times(sun))}{dark} "
                f'<span class="nowrap">HW {_line("short")} LW {_line("short")}</span></li>'
            )

    def _before(self) -> Iterator[str]:
        crew, helm = self.crew, self.saved.helm
        reset = sum(helm.meter.shows_l) <= 0.05
        aboard = f"<b>{crew.people}</b>" if crew.people else _line("short")
        names = f". <bdi>{_text(', '.join(crew.names))}</bdi>" if crew.names else ""
        short = _line("short")
        checks = [
            f"Persons aboard: {aboard}{names}. Lifejackets that fit, worn by all",
            "Kill cord clipped to whoever steers, engines running",
            "VHF on, watch on channel 16; all know how to call for help",
            f"Gauge reads {short}; meter {'reset to 0' if reset else f'read, not reset: {short}'}",
            f"Forecast of {short}: wind {short} sea {short}",
            f"Charts, notices, tides current; shore part to {short}",
            f"Left at {short} with dial {short}",
        ]
        if self.sheet.dark_legs:
            checks.insert(3, "Navigation lights tested")
        yield "<h2>Before leaving</h2>"
        yield f'<ul class="checks">{"".join(f"<li>{_BOX}{check}</li>" for check in checks)}</ul>'

    def sources(self) -> Iterator[str]:
        saved = self.saved
        cautions = dict.fromkeys([*saved.plan.cautions, *saved.cautions])
        sources = [f"Source of {line}." for line in saved.sources]
        when = f"{self.words.day_and_clock(saved.saved)} {self.words.year(saved.saved)}"
        made = f"Planned {when} by routeplan {saved.version}."
        heed = f"<b>Cautions.</b> {_text(' '.join(map(_sentence, cautions)))} " if cautions else ""
        yield f'<p class="small notes">{heed}<b>Made from.</b> {_text(" ".join([*sources, made]))}</p>'

    def shore(self) -> Iterator[str]:
        saved, plan, words, crew = self.saved, self.saved.plan, self.words, self.crew
        boat, sheet = saved.boat, self.sheet
        contact = _text(crew.shore_contact) if crew.shore_contact else _line("long")
        yield '<section class="shore"><h2>For whoever waits ashore: cut off here, or send a picture</h2>'
        length = boat.units.length(boat.length_overall_m)
        aboard = f"<b>{crew.people}</b>" if crew.people else _line("short")
        blanks = min(max((crew.people or _SPARE_NAMES) - len(crew.names), 0), 1 if crew.names else _MOST_LINES)
        lines = "".join(f" {_line()}" for _ in range(blanks))
        names = f": <bdi>{_text(', '.join(crew.names))}</bdi>{lines}"
        due = f"{_text(words.day_and_clock(crew.overdue))}" if crew.overdue else _line()
        arrives, clock = _text(words.day_and_clock(plan.arrive)), _text(saved.region.time_zone)
        yield '<table class="frame"><tbody><tr><td colspan="2">'
        yield f"<p>You: <b><bdi>{contact}</bdi></b>. Arrives <b>{arrives}</b> ({clock}), tells you at once. "
        yield f'<span class="due">Overdue at {due}</span></p>'
        yield f"<p>Boat: <b><bdi>{_text(boat.name)}</bdi></b>, {_text(length)} long, motor boat. "
        yield f"Looks {_line()} call sign {_line('short')} phone {_line()}</p>"
        yield f"<p>Aboard: {aboard}{names}</p></td></tr><tr><td><ul>"
        yield "".join(f"<li>{part}</li>" for part in self._route())
        yield '</ul></td><td><ul class="steps">'
        steps = (
            "1. Overdue: call the boat, then the docks here, last one first.",
            f"2. No word: call the rescue service at sea, day or night: {_line('short')}",
            "3. Read them all of this part.",
            "4. If she turns up later, tell all whom you called.",
        )
        yield "".join(f"<li>{step}</li>" for step in steps)
        yield "</ul>"
        yield f"<p>Heard from at: {_line('short')} {_line('short')} {_line('short')}</p>"
        if sheet.docks:
            others = ", ".join(dock.name for dock in sheet.docks)
            yield f'</td></tr><tr><td colspan="2">May go instead to: <bdi>{_text(others)}</bdi>'
        yield "</td></tr></tbody></table></section>"

    def _route(self) -> Iterator[str]:
        plan, words, sheet = self.saved.plan, self.words, self.sheet
        day = words.day_and_clock(sheet.leaves)
        yield f"<b>{_text(day)}</b> leaves <bdi>{_text(sheet.start)}</bdi>, {_at(sheet.start_position)}"
        on_the_way = [(stop.arrive, self._fuels(stop)) for stop in plan.stops if not is_before_leaving(plan, stop)] + [
            (wait.until, self._lies(wait))
            for wait in plan.waits
            if wait.wait_h >= _LONG_STAY_H and (not wait.gate or waits_for_light(wait) or waits_for_slack(wait))
        ]
        yield from (said for _, said in sorted(on_the_way))
        arrives = _text(words.when(plan.arrive, plan.depart))
        yield f"<b>{arrives}</b> arrives <bdi>{_text(sheet.finish)}</bdi>, {_at(sheet.finish_position)}"

    def _fuels(self, stop: Stop) -> str:
        words, depart = self.words, self.saved.plan.depart
        when = f"{words.when(stop.arrive, depart)} to {words.when(stop.depart, depart)}"
        calls = "".join(f", {call}" for call in shown_calls(stop.vhf, stop.phone))
        return f"<b>{_text(when)}</b> fuel at <bdi>{_text(stop.dock)}</bdi>, {_at(stop.position)}{_text(calls)}"

    def _lies(self, wait: Wait) -> str:
        words, depart = self.words, self.saved.plan.depart
        comes = wait.until - timedelta(hours=wait.wait_h)
        when = f"{words.when(comes, depart)} to {words.when(wait.until, depart)}"
        return f"<b>{_text(when)}</b> lies at or close to <bdi>{_text(wait.at)}</bdi>"


def _cell(kind: str, title: str, body: str) -> str:
    said = f' data-is="{_text(title)}"' if title else ""
    return f'<td class="{kind}"{said}>{body}</td>'


def _band(body: str, kind: str) -> str:
    return f'<tr class="{kind}"><td colspan="{len(_WIDTHS_MM)}">{body}</td></tr>'


def _tag(tag: str, kind: str = "") -> str:
    if not tag:
        return ""
    style = kind or ("filled" if tag.isdigit() else "filled end" if tag in {"S", "F"} else "")
    return f'<span class="tag {style}">{_text(tag)}</span>'


def _at(position: tuple[float, float]) -> str:
    return f'<span class="nowrap">{_text(write_position(position))}</span>'


def _sentence(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else f"{words}."


def _line(kind: str = "") -> str:
    return f'<span class="line {kind}"></span>'


def _text(words: str) -> str:
    return "&#160;".join(as_markup(part, longest=_LONGEST) for part in words.split(_NO_BREAK))
