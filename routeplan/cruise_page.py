"""The organiser's sheet of a group cruise as one page that prints: when, who fills where, whom to call, the roll.

It opens with no network, holds no script, asks for no other file, and says so to the browser by a
Content-Security-Policy. No row is split between pages; heads of tables are repeated.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from maps.words import as_markup
from routeplan.cruise_stop_words import counted
from routeplan.cruise_style import write_cruise_style
from routeplan.cruise_words import FILLING_RULES
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from routeplan.cruise_words import CruiseWords
    from routeplan.cruises import AtPump, CruiseDay, CruiseStop, LegLimit
    from routeplan.sheet_style import Paper

__all__ = ["build_cruise_page"]

_IN_THE_QUEUE = (
    "Until it is your turn lie moored or at anchor, engine off: idling isn't reckoned. Then leave the pier to the next."
)

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_LONGEST = 2000  # characters of one paragraph
_BOX = '<span class="box"></span>'
_MOST_TICKS = 8  # gatherings with a box each on the roll: more don't fit on paper, and a count is kept by hand
_SOON_MIN = 1.0  # [min] coming later than that is told


def build_cruise_page(words: CruiseWords, paper: Paper = "a4") -> str:
    """Build the organiser's sheet.

    Parameters
    ----------
    words
        What is said of the cruise.
    paper
        What it is printed on, ``a4`` or ``letter``.

    Returns
    -------
    One HTML document, the same for the same plan.
    """
    page = _Page(words)
    foot = f"{words.title()}, {words.day_and_clock(words.plan.depart)} {words.year(words.plan.depart)}"
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
            f"<style>{write_cruise_style(paper, foot)}</style>",
            "</head>",
            "<body>",
            *page.head(),
            *page.timeline(),
            *page.queues(),
            *page.calls(),
            *page.limits(),
            *page.roll(),
            *page.rules(),
            *page.shore(),
            "</body>",
            "</html>",
            "",
        ]
    )


class _Page:
    """Writes the parts of one sheet."""

    def __init__(self, words: CruiseWords) -> None:
        self.words = words
        self.plan = words.plan

    def head(self) -> Iterator[str]:
        words, plan = self.words, self.plan
        known = [words.people(boat.boat) for boat in plan.boats]
        people = f", {sum(n or 0 for n in known)} persons" if all(known) else ""
        yield f"<header><h1><bdi>{_text(words.title())}</bdi></h1>"
        yield f'<p class="under"><b>{_text(words.head())}{people}.</b> Times: {_text(str(words.zone))}.</p></header>'
        for left in plan.left_behind:
            yield f'<p class="heed">Can\'t come: {_text(words.left_line(left))}.</p>'
        start, finish = words.ends()
        wait = "no fuel on the way" if not plan.stops else f"longest wait {round(plan.queue_min)} min"
        docks = counted(len(plan.docks), "fuel dock")
        proven = "the fewest that do: proven" if plan.docks_proven else f"at least {plan.fewest_docks} needed"
        keys = (
            ("Leave", words.day_and_clock(plan.depart), f"<bdi>{_text(start)}</bdi>"),
            ("Last boat in", words.day_and_clock(plan.arrive), f"<bdi>{_text(finish)}</bdi>"),
            ("Fuel", docks, _text(proven)),
            ("Cost of all fuel", words.cost_line(), _text(wait)),
        )
        cells = "".join(f"<td>{title}<b>{_text(big)}</b>{small}</td>" for title, big, small in keys)
        yield f'<table class="keys"><tr>{cells}</tr></table>'
        said = [words.delay_line(), words.more_line(), *words.party_lines()]
        yield f'<p class="how">{_text(". ".join(filter(None, said)))}.</p>'

    def timeline(self) -> Iterator[str]:
        yield from _begin("When", (11, 12, 33, 44), ("time", "", "where", ""))
        for day in self.plan.days:
            light = self.words.light_line(day)
            date = self.words.day_and_clock(day.depart).rsplit(" ", 1)[0]
            sunset = "" if day.sunset is None else f"; sunset {self.words.clock(day.sunset)}"
            head = f"Day {day.number}, {date}: {day.from_} to {day.to}. Last boat in {light}{sunset}"
            yield f'<tr class="head"><td class="over" colspan="4">{_text(head)}</td></tr>'
            for _, row in sorted(self._events(day), key=lambda event: event[0]):
                yield row
        yield "</tbody></table>"

    def _events(self, day: CruiseDay) -> Iterator[tuple[datetime, str]]:
        words = self.words
        for leg in self.plan.legs:
            if leg.day != day.number:
                continue
            first, last = words.when(leg.first_in, day.depart), words.when(leg.last_in, day.depart)
            low_kn, high_kn = leg.speeds_kn
            speed = f"{low_kn:g} kn" if low_kn == high_kn else f"{low_kn:g} to {high_kn:g} kn"
            rest = f"leg {leg.number} for {leg.to}, {shown_distance(leg.distance_nmi)} at {speed}"
            yield leg.depart, self._event(words.when(leg.depart, day.depart), "leave", leg.from_, rest)
            here = "all in" if first == last else f"first {first}, all in by {last}: count boats"
            yield leg.first_in, self._event(first, "gather", leg.to, here)
        for stop in self.plan.stops:
            if stop.day == day.number:
                until = words.when(stop.depart, stop.arrive)
                on = f", all go on {words.when(stop.onward, stop.arrive)}" if stop.onward else ""
                many = f"until {until}{on}; {counted(len(stop.boats), 'boat')}: {words.totals(stop.total_l)}"
                yield (
                    stop.arrive,
                    self._event(words.when(stop.arrive, day.depart), f"fuel {stop.number}", stop.dock, many),
                )

    def _event(self, when: str, what: str, where: str, rest: str) -> str:
        cells = (("time", "", _text(when)), ("", "", what), ("name", "", _name(where)), ("wide", "", _text(rest)))
        return _row(cells)

    def queues(self) -> Iterator[str]:
        if self.plan.stops:
            yield "<h2>At the pumps, in this order</h2>"
            yield f'<p class="how">{_text(_IN_THE_QUEUE)}</p>'
        for stop in self.plan.stops:
            yield from self._queue(stop)

    def _queue(self, stop: CruiseStop) -> Iterator[str]:
        words = self.words
        heads = ("", "boat", "contact", "fuel", "here", "begin", "end", "wait", "take")
        yield from _begin("", (4, 21, 19, 11, 9, 9, 9, 9, 14), heads, kind="queue")
        head = f"Stop {stop.number}, day {stop.day}: {stop.dock}, {words.span_of(stop)}"
        yield f'<tr class="head"><td class="over" colspan="9">{_text(head)}</td></tr>'
        for number, turn in enumerate(stop.boats, start=1):
            yield self._turn(stop, number, turn)
        order = words.order_line(stop)
        lines = [f"<b>In all: {_text(words.totals(stop.total_l))}; {_text(words.money(stop.cost))}.</b>"]
        lines += [f"{_text(order)}."] if order else []
        lines += [f"<b>If closed:</b> {_text('. '.join(words.closed_lines(stop)))}."]
        yield f'<tr class="sum"><td class="wide" colspan="9">{" ".join(lines)}</td></tr></tbody></table>'

    def _turn(self, stop: CruiseStop, number: int, turn: AtPump) -> str:
        words, since = self.words, stop.arrive
        several = stop.pumps.get(turn.fuel, 0) > 1
        comes = words.when(turn.arrive, since)
        if _minutes(turn.arrive, turn.come) >= _SOON_MIN <= abs(_minutes(turn.begin, turn.come)):
            comes = f"{comes}, come {words.when(turn.come, since)}"
        return _row(
            (
                ("tick", "", _BOX),
                ("name half", "", f"{number} {_name(turn.boat)}"),
                ("small", "contact", _text(words.contact(turn.boat))),
                ("small", "fuel", f"{turn.fuel}{f', pump {turn.pump}' if several else ''}"),
                ("small", "here", _text(comes)),
                ("turn", "begin", _text(words.when(turn.begin, since))),
                ("turn", "end", _text(words.when(turn.end, since))),
                ("right", "wait", f"{round(turn.wait_min)}&#160;min"),
                ("right name", "take", _text(words.volume(turn.take_l, turn.boat))),
            )
        )

    def calls(self) -> Iterator[str]:
        if not self.plan.stops:
            return
        words = self.words
        ask = "Open then? Enough of each fuel? How many boats fill at once? May the rest wait alongside? How to pay?"
        yield f'<h2>Call each dock ahead</h2><p class="small ask">{ask}</p>'
        heads = ("", "dock", "call", "when, how many", "ask for", "reckoned with")
        yield from _begin("", (4, 19, 20, 18, 20, 25), heads, kind="calls")
        for dock, stops in words.calls():
            first = stops[0]
            for stop in stops:
                when = f"{words.span_of(stop)}; {counted(len(stop.boats), 'boat')}"
                wanted = words.totals(stop.total_l)
                hours = stop.hours or "hours not known"
                confirmed = f"confirmed {stop.confirmed_on}" if stop.confirmed_on else "never confirmed"
                # that it was confirmed long ago stands beside it already
                new = [line for line in stop.cautions if stop.confirmed_on is None or stop.confirmed_on not in line]
                heed = "".join(f"; {line}" for line in new)
                yield _row(
                    (
                        ("tick", "", _BOX),
                        ("name wide", "", _name(dock) if stop is first else "again"),
                        ("half", "call", f"{_text(words.how_to_call(stop))}; {_text(hours)}"),
                        ("half", "when", _text(when)),
                        ("half", "ask for", _text(f"{wanted}; {words.closes_line(stop)}; {confirmed}{heed}")),
                        ("half", "reckoned with", _text(words.pumps_line(stop))),
                    )
                )
        yield "</tbody></table>"

    def limits(self) -> Iterator[str]:
        heads = ("leg", "least in hand", "near her", "would help")
        yield from _begin("Who limits each leg", (20, 32, 28, 20), heads)
        for limit in self.plan.limits:
            yield self._limit(limit)
        yield "</tbody></table>"

    def _limit(self, limit: LegLimit) -> str:
        words = self.words
        return _row(
            (
                ("name wide", "", f"{limit.number} {_name(limit.leg)}"),
                ("wide", "least in hand", _text(words.limit_line(limit))),
                ("half", "near her", _text(words.buddy_line(limit))),
                ("half", "would help", _text("; ".join(limit.help))),
            )
        )

    def roll(self) -> Iterator[str]:
        words, plan = self.words, self.plan
        gatherings = [str(leg.number) for leg in plan.legs][:_MOST_TICKS]
        apart = len(words.parties()) > 1
        heads = ["boat", "contact", "people", "fuel", *(["party"] if apart else []), "stops", "at the end"]
        shares = [21, 19, 8, 10, *([7] if apart else []), 8, 11]
        heads += [f"leg {number} in" for number in gatherings]
        shares += [6] * len(gatherings)
        yield from _begin("Roll: tick each boat at each gathering", shares, heads, kind="roll")
        for boat in plan.boats:
            people = words.people(boat.boat)
            stops = [str(stop.number) for stop in plan.stops if any(turn.boat == boat.boat for turn in stop.boats)]
            cells = [
                ("name wide", "", _name(boat.boat)),
                ("", "contact", _text(words.contact(boat.boat)) or _line()),
                ("", "people", str(people) if people else _line("short")),
                ("", "fuel", boat.fuel),
                *([("", "party", str(boat.party))] if apart else []),
                ("", "stops", ", ".join(stops) or "none"),
                ("time", "at the end", _text(words.when(boat.plan.arrive, plan.depart))),
                *(("tick", f"leg {number} in", _BOX) for number in gatherings),
            ]
            yield _row(cells)
        yield "</tbody></table>"

    def rules(self) -> Iterator[str]:
        rules = ". ".join(f"{rule[0].upper()}{rule[1:]}" for rule in FILLING_RULES)
        yield f'<p class="rules"><b>Each boat at the pump.</b> {_text(rules)}.</p>'
        cautions = dict.fromkeys(self.plan.cautions)
        said = " ".join(line if line.endswith((".", "!")) else f"{line}." for line in cautions)
        yield f'<p class="small notes"><b>Cautions.</b> {_text(said)}</p>' if said else ""

    def shore(self) -> Iterator[str]:
        words, short = self.words, _line("short")
        yield '<section class="shore"><h2>Somebody ashore knows</h2>'
        yield f"<p>Who waits ashore: {_line('long')} phone {_line()}</p>"
        for day in self.plan.days:
            due = words.day_and_clock(day.arrive)
            yield (
                f"<p>Day {day.number}: last boat in at <bdi>{_text(day.to)}</bdi> <b>{_text(due)}</b>; "
                f"overdue at {short}; reported at {short}</p>"
            )
        yield f"<p>Rescue service at sea, day or night: {_line()} our radio channel {short} boats counted {short}</p>"
        yield "</section>"


def _begin(title: str, shares: Sequence[int], heads: Sequence[str], kind: str = "") -> Iterator[str]:
    """Begin a table: its heading, the widths of its columns, its head."""
    if title:
        yield f"<h2>{title}</h2>"
    columns = "".join(f'<col style="width:{share / sum(shares):.2%}">' for share in shares)
    right = {"wait", "take"}
    row = "".join(f'<th class="{"right" if head in right else ""}">{head}</th>' for head in heads)
    yield f'<table class="lists {kind}"><colgroup>{columns}</colgroup><thead><tr>{row}</tr></thead><tbody>'


def _row(cells: Iterable[tuple[str, str, str]]) -> str:
    """Write a row: of each cell its look, what it is called on a phone, and its markup."""
    said = (
        f'<td class="{kind}"{f" data-is={chr(34)}{title}{chr(34)}" if title and body else ""}>{body}</td>'
        for kind, title, body in cells
    )
    return f"<tr>{''.join(said)}</tr>"


def _name(name: str) -> str:
    return f"<bdi>{_text(name)}</bdi>"


def _line(kind: str = "") -> str:
    return f'<span class="line {kind}"></span>'


def _minutes(early: datetime, late: datetime) -> float:
    return (late - early).total_seconds() / 60


def _text(words: str) -> str:
    return as_markup(words, longest=_LONGEST)
