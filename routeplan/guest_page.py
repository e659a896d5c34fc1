"""A page for guests: how far the boat gets today and back, in a picture and plain words.

One file that opens with no network, and nothing on it that could be pressed: no script, no link, no control. It shows
the careful side only, there and back on the low figure, and rounds times up. Fuel, speeds and courses are left out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from maps.palette import NIGHT, write_variables
from maps.words import Markup, as_markup
from routeplan.guest_picture import draw_picture, write_home
from routeplan.picking import with_docks
from routeplan.words import compass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.reach import Reach
    from routeplan.reached import InReach, ReachArea

__all__ = ["guest_page"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_STEP_MIN = 5  # [min] times are rounded up to this: nobody steers by a clock face
_CAREFUL = 0.8  # share of arrivals that keep the reserve: below it nothing is to spare
_HERE_NMI = 0.3  # [nmi] a place so near to the start is no outing
_MOST_CLOCKS = 6
_LONGEST = 300  # characters of a name or a sentence
_KINDS = {"harbour": "Harbour", "anchorage": "Anchorage", "dock": "Fuel dock"}
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_CAUTIONS = (
    "An aid to planning. The skipper decides whether to go, where and when.",
    "Weather, waves and tide are not counted. They can make a trip longer, or stop it.",
    "Times are for running only: stops, swimming and lunch come on top.",
    "The picture is no chart. Nobody should find the way by it.",
)
_STYLE = """
*, *::before, *::after { box-sizing: border-box; }
html { color-scheme: light dark; -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: 1360px; padding: 20px 24px 28px; color: var(--ink); background: var(--paper);
  font: 20px/1.4 system-ui, -apple-system, "Segoe UI", Roboto, "Liberation Sans", sans-serif;
  overflow-wrap: anywhere; hyphens: auto; }
h1, h2, h3, p, ol, ul, figure { margin: 0; padding: 0; }
ol, ul { list-style: none; }
h1 { font-size: 40px; line-height: 1.1; letter-spacing: -.01em; }
header p { margin-top: 6px; font-size: 22px; }
.when { color: var(--quiet); font-size: 20px; }
main { display: grid; gap: 24px 28px; margin-top: 18px; }
.picture { --most: 400vh; display: block; width: min(100%, calc(var(--most) * var(--ratio))); height: auto;
  margin: 0 auto; border: 2px solid var(--ink); border-radius: 10px;
  background: var(--outside); }
figcaption { display: flex; flex-wrap: wrap; gap: 4px 22px; margin-top: 10px; }
figcaption span { display: inline-flex; align-items: center; gap: 10px; }
.sign { flex: none; width: 38px; height: 38px; }
.water { fill: var(--water); }
.reach { fill: var(--route); fill-opacity: .34; }
.limit { fill: none; stroke: var(--route); stroke-width: 5; stroke-linecap: round; stroke-linejoin: round; }
.land { fill: var(--land); stroke: var(--coast); stroke-width: 1; stroke-linejoin: round; }
.edge { fill: none; stroke: var(--ink); stroke-width: 6; stroke-dasharray: 18 12; }
.lead { stroke: var(--ink); stroke-width: 2.5; }
.spot { fill: var(--ink); }
.number circle, .north circle { fill: var(--paper); stroke: var(--ink); stroke-width: 3; }
.number text { font: 700 28px/1 system-ui, "Liberation Sans", sans-serif; text-anchor: middle; fill: var(--ink); }
.north text { font: 700 26px/1 system-ui, "Liberation Sans", sans-serif; text-anchor: middle; fill: var(--ink); }
.north path { fill: var(--ink); }
.home circle { fill: var(--ink); }
.home path { fill: var(--paper); }
.swatch { flex: none; width: 46px; height: 28px; border: 3px solid var(--route); border-radius: 6px;
  background: color-mix(in srgb, var(--route) 34%, var(--water)); }
.how { margin-bottom: 14px; }
.cards { display: grid; gap: 16px; }
.card { display: grid; grid-template-columns: auto minmax(0, 1fr); gap: 8px 14px; padding: 16px 18px;
  border: 2px solid var(--quiet); border-radius: 12px; align-content: start; break-inside: avoid; }
.badge { display: grid; place-items: center; width: 50px; height: 50px; border: 3px solid var(--ink);
  border-radius: 50%; font-size: 26px; font-weight: 700; }
.card h3 { font-size: 26px; line-height: 1.15; }
.card .what { margin-top: 2px; color: var(--quiet); }
.time, .far { grid-column: 1 / -1; display: flex; flex-wrap: wrap; align-items: center; gap: 6px 10px; }
.far { display: block; }
.time b { font-size: 20px; }
.clocks { display: flex; flex-wrap: wrap; gap: 6px; }
.clock { display: block; width: 54px; height: 54px; }
.face { fill: var(--paper); stroke: var(--ink); stroke-width: 3; }
.sector { fill: var(--route); }
.ticks { stroke: var(--ink); stroke-width: 2.5; }
.bar { display: block; height: 22px; border: 3px solid var(--ink); border-radius: 11px; overflow: hidden; }
.bar i { display: block; height: 100%; border-right: 3px solid var(--ink); background: var(--route); }
.also { grid-column: 1 / -1; color: var(--quiet); }
.more { margin-top: 14px; }
.note { margin-top: 12px; padding: 12px 16px; border-left: 8px solid var(--stop); background: var(--warning); }
footer { margin-top: 26px; padding-top: 14px; border-top: 2px solid var(--quiet); }
footer li { margin-top: 8px; padding-left: 26px; text-indent: -26px; }
footer li::before { content: "\\25A0"; display: inline-block; width: 26px; text-indent: 0; color: var(--quiet); }
@media (max-width: 599px) {
  body { padding: 14px 14px 22px; font-size: 19px; }
  h1 { font-size: 31px; }
  header p { font-size: 20px; }
  .when { font-size: 18px; }
}
@media (min-width: 700px) and (max-width: 999px) { .cards { grid-template-columns: 1fr 1fr; } }
@media (min-width: 1000px) {
  main { grid-template-columns: minmax(0, 11fr) minmax(0, 9fr); align-items: start; }
  figure { position: sticky; top: 16px; }
  .picture { --most: max(420px, 100vh - 110px); }
}
@media (min-width: 1300px) {
  main { grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); }
  .cards { grid-template-columns: 1fr 1fr; }
}
@media print {
  body { max-width: none; padding: 0; font-size: 12pt; }
  main { display: block; }
  figure { position: static; break-inside: avoid; }
  .picture { --most: 150mm; }
  .how { margin-top: 14px; }
  .cards { grid-template-columns: 1fr 1fr; }
  .reach, .limit, .sector, .bar i, .swatch, .note { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""


def guest_page(reach: Reach, most_places: int = 12) -> str:
    """Build the page.

    Parameters
    ----------
    reach
        What is in reach.
    most_places
        How many places it shows at the most, spread over near and far.

    Returns
    -------
    One HTML document, the same for the same reach.
    """
    area = _area(reach)
    found = _places(reach, _limit_h(reach, area))
    shown = _spread_out(found, most_places)
    region, water = reach.network.region, reach.network.water
    closed = [water.plane.unproject(shape) for shape in water.closed.values() if not shape.is_empty]
    picture = draw_picture(
        region,
        area.geometry if area else None,
        reach.start.position,
        [place.position for place in shown],
        closed=closed,
        data_edges=reach.data_edges if area is not None and area.cut_by_extent else None,
        label=_text("Picture: land, the water the boat gets to and back, home, and the places by number. North is up."),
    )
    title = _heading(reach, area)
    who = f"{reach.boat.name}, from {reach.start.name}"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{_text(f'{title}: {who}')}</title>",
        f"<style>{_colours()}{_STYLE}</style>",
        "</head>",
        "<body>",
        f"<header><h1>{_text(title)}</h1><p><bdi>{_text(who)}</bdi></p>",
        f'<p class="when">{_text(_when(reach))}</p></header>',
        "<main>",
        f"<figure>{picture}{_caption(reach, shown, has_water=area is not None)}{_cut(area)}</figure>",
        f"<section>{_cards(reach, shown, len(found), area)}</section>",
        "</main>",
        f"<footer><ul>{''.join(f'<li>{_text(line)}</li>' for line in _CAUTIONS)}</ul></footer>",
        "</body>",
        "</html>",
        "",
    ]
    return "\n".join(parts)


def _area(reach: Reach) -> ReachArea | None:
    """Choose the water to show: within the time asked for if that counts the way back, else all there and back."""
    wanted = ("budget", "low", reach.speed_kn, True)
    within = (a for a in reach.areas if (a.kind, a.figure, a.speed_kn, a.there_and_back) == wanted)
    return next(within, reach.area("out-and-back", "low"))


def _limit_h(reach: Reach, area: ReachArea | None) -> float | None:
    """[h] How long the whole outing may run; None where nothing but fuel limits it."""
    return reach.outing.time_h if area is not None and area.kind == "budget" else None


def _places(reach: Reach, limit_h: float | None) -> list[InReach]:
    """Choose the places to get to and back, nearest first: a dock beside a harbour is the harbour's."""
    fuel_l = reach.outing.fuel_l
    able = [
        place
        for place in reach.places
        if place.there_and_back
        and place.distance_nmi > _HERE_NMI
        and (limit_h is None or 2 * place.time_h <= limit_h)
        and (fuel_l is None or place.fuel_there_and_back_l <= fuel_l)
    ]
    return [place for place, _ in with_docks(sorted(able, key=lambda place: (place.distance_nmi, place.name)))]


def _spread_out(places: Sequence[InReach], most: int) -> list[InReach]:
    """Take so many places at the most, the nearest and the farthest among them."""
    if len(places) <= most:
        return list(places)
    return [places[index] for index in np.linspace(0, len(places) - 1, most).round().astype(int)]


def _heading(reach: Reach, area: ReachArea | None) -> str:
    limit_h = _limit_h(reach, area)
    if area is None:
        return "No trip there and back today"
    if limit_h is None:
        return "There and back with fuel to spare" if _is_careful(reach) else "There and back, with little to spare"
    return f"There and back within {_hours(math.floor(limit_h * 60 + 1e-6))}"


def _is_careful(reach: Reach) -> bool:
    """Tell whether the reserve is the boat's own, and arrivals keep it as often as they usually have to."""
    own_l = reach.network.boat.reserve_l
    return reach.outing.confidence >= _CAREFUL and reach.boat.reserve_l >= own_l * (1 - 1e-9)


def _when(reach: Reach) -> str:
    local = reach.outing.depart.astimezone(reach.network.region.zone)
    day = f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]} at {local:%H:%M}"
    return f"Worked out for leaving on {day}, with the fuel aboard then. Later, ask the skipper for a new one."


def _caption(reach: Reach, shown: Sequence[InReach], *, has_water: bool) -> str:
    here = "Where we are" if reach.start.kind == "position" else "Home"
    parts = [f"<span>{write_home()}{here}</span>"]
    parts += ['<span><i class="swatch"></i>Where we get to, and back</span>'] if has_water else []
    parts += ["<span>Numbers: the places listed</span>"] if shown else []
    return f"<figcaption>{''.join(parts)}</figcaption>"


def _cut(area: ReachArea | None) -> str:
    if area is None or not area.cut_by_extent:
        return ""
    words = "The picture ends where our map ends. What lies beyond isn't on it."
    return f'<p class="note">{_text(words)}</p>'


def _cards(reach: Reach, shown: Sequence[InReach], count: int, area: ReachArea | None) -> str:
    if area is None:
        words = "With the fuel aboard we cannot promise a trip there and back. The skipper will say what is possible."
        return f'<p class="note">{_text(words)}</p>'
    if not shown:
        words = "No harbour or anchorage on our map lies within it: the coloured water is there for a cruise."
        return f'<p class="note">{_text(words)}</p>'
    how = (
        "Clocks show the time to get there: once round is an hour. "
        "Bars show how far it is, against the farthest place listed."
    )
    farthest_nmi = max(place.distance_nmi for place in shown)
    limit_h = _limit_h(reach, area)
    cards = [
        _card(number, place, reach, farthest_nmi=farthest_nmi, limit_h=limit_h)
        for number, place in enumerate(shown, start=1)
    ]
    left = count - len(shown)
    more = f'<p class="more">{_text(_left_out(left))}</p>' if left else ""
    return f'<p class="how">{_text(how)}</p><ol class="cards">{"".join(cards)}</ol>{more}'


def _left_out(count: int) -> str:
    return "One more place lies within it." if count == 1 else f"{count} more places lie within it."


def _card(number: int, place: InReach, reach: Reach, *, farthest_nmi: float, limit_h: float | None) -> str:
    minutes = _minutes_up(place.time_h)
    what = f"{_KINDS.get(place.kind, 'Place')}, {_direction(reach.start.position, place.position)}"
    far = f"about {_count(math.ceil(place.distance_nmi - 1e-9), 'sea mile')}"
    also = [_ashore(limit_h - 2 * place.time_h)] if limit_h is not None else []
    also += ["On the way a bridge or lock has to open for us."] if place.gates else []
    lines = "".join(f'<p class="also">{_text(line)}</p>' for line in also)
    return (
        f'<li class="card"><span class="badge" aria-hidden="true">{number}</span>'
        f'<div><h3><bdi>{_text(place.name)}</bdi></h3><p class="what">{_text(what)}</p></div>'
        f'<div class="time"><span class="clocks" aria-hidden="true">{_clocks(minutes)}</span>'
        f"<b>{_text(f'about {_hours(minutes)} each way')}</b></div>"
        f'<div class="far"><span class="bar" aria-hidden="true">'
        f'<i style="width:{place.distance_nmi / farthest_nmi:.1%}"></i></span>{_text(far)}</div>{lines}</li>'
    )


def _minutes_up(hours: float) -> int:
    """[min] A time rounded up, so that it never promises too little."""
    return max(_STEP_MIN, math.ceil(hours * 60 / _STEP_MIN - 1e-6) * _STEP_MIN)


def _ashore(left_h: float) -> str:
    minutes = math.floor(left_h * 60 / _STEP_MIN + 1e-6) * _STEP_MIN
    return f"Leaves up to {_hours(minutes)} there." if minutes else "Leaves no time there but to turn round."


def _hours(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    parts = [_count(hours, "hour")] if hours else []
    parts += [_count(rest, "minute")] if rest or not hours else []
    return " ".join(parts)


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _direction(start: tuple[float, float], end: tuple[float, float]) -> str:
    """Say where a place lies as the crow flies."""
    share = math.cos(math.radians(start[1]))
    east_deg = (end[0] - start[0] + 180) % 360 - 180  # the short way, also over the 180th meridian
    turn_deg = math.degrees(math.atan2(east_deg * share, end[1] - start[1]))
    return f"to the {compass(turn_deg)}"


def _clocks(minutes: int) -> str:
    """Draw a time as clock faces, filled from twelve on: one for each hour, and one for what is left."""
    faces = [60] * (minutes // 60) + ([minutes % 60] if minutes % 60 else [])
    return "".join(_clock(face) for face in faces[:_MOST_CLOCKS])


def _clock(minutes: int) -> str:
    turn = math.radians(minutes * 6)
    sector = '<circle class="sector" r="21"/>'
    if minutes < 60:
        end = f"{21 * math.sin(turn):.2f} {-21 * math.cos(turn):.2f}"
        sector = f'<path class="sector" d="M0 0V-21A21 21 0 {int(minutes > 30)} 1 {end}Z"/>'
    return (
        f'<svg class="clock" viewBox="-26 -26 52 52"><circle class="face" r="23.5"/>{sector}'
        '<path class="ticks" d="M0 -23V-18M0 18V23M-23 0H-18M18 0H23"/></svg>'
    )


def _colours() -> str:
    return f"{write_variables()}@media screen and (prefers-color-scheme: dark){{{write_variables(NIGHT)}}}"


def _text(words: str) -> Markup:
    return as_markup(words, longest=_LONGEST)
