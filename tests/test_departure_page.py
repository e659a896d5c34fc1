"""The page of a window of departures: nothing from outside, read without colour, drawn for a phone and for a desk."""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from oracles.small_world import make_boat, make_region

from maps.palette import BASE, NIGHT, find_contrast
from routeplan.departure_page import draw_departures, write_departures_page
from routeplan.departures import Bite, Departure, Departures
from routeplan.fuel import FuelAboard
from routeplan.plan_words import PlanWords
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

CHROMIUM = "/usr/bin/chromium"
NEEDED = {
    f"{CHROMIUM} (apt-get install chromium)": lambda: shutil.which(CHROMIUM) is not None,
    "playwright (the test extra)": lambda: importlib.util.find_spec("playwright") is not None,
}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
SVG = "{http://www.w3.org/2000/svg}"
SIX = datetime(2026, 7, 1, 6, tzinfo=UTC)
NASTY = "<b>\"Race\" & 'x'</b></svg><script>alert(1)</script>"
WORDS = PlanWords(make_boat(), ZoneInfo("UTC"), "EUR", 20.0)


def row(number: int, *bites: Bite, **changes: Any) -> Departure:
    depart = SIX + timedelta(minutes=10 * number)
    plain = {"time_h": 2.0, "under_way_h": 2.0, "fuel_l": 40.0, "least_margin_l": 12.34, "stops": (), "bites": bites}
    given = {**plain, **changes}
    return Departure(**{"depart": depart, "arrive": depart + timedelta(hours=given["time_h"]), **given})


def a_day(where: str = "Gull Race") -> Departures:
    """Twelve departures wait for slack, thirty hold, two have no plan, sixteen arrive in the dark."""
    rows = [row(i, Bite("slack", where, (12 - i) / 6), time_h=2 + (12 - i) / 6) for i in range(12)]
    rows += [row(i, stops=("North Pump",)) for i in range(12, 42)]
    rows += [row(i, Bite("fuel", "", 0.0), arrive=None, time_h=0.0, under_way_h=0.0) for i in range(42, 44)]
    rows += [row(i, Bite("dark", "Far Bay", 0.0)) for i in range(44, 60)]
    return Departures(tuple(rows), still_water=False, cautions=("Call ahead.", where))


def page(departures: Departures, start: str = "Home") -> str:
    aboard = FuelAboard(mean_l=80.0, sd_l=0.0, how="80 l")
    trip = Trip(start=start, finish="Far Bay", depart=departures.rows[0].depart, aboard=aboard)
    return write_departures_page(departures, WORDS, trip, make_region())


def plain(markup: str) -> str:
    """Take tags and entities out."""
    return unescape(re.sub(r"<[^>]+>", "", markup))


def drawing(departures: Departures, size: str = "desk") -> ET.Element:
    svg = draw_departures(departures, WORDS, size).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return ET.fromstring(svg)  # noqa: S314  our own output


def texts(svg: ET.Element) -> list[str]:
    return ["".join(text.itertext()) for text in svg.iter(f"{SVG}text")]


def test_the_page_asks_for_nothing_and_holds_no_script() -> None:
    html = page(a_day())
    assert "default-src 'none'" in html
    for outside in ("http://", "https://", "src=", "@import", "<script", "<link", "href="):
        assert outside not in html
    assert not re.search(r"url\((?!#)", html)
    assert "<strong>Leave between 08:00 and 12:50</strong>: stops at North Pump" in unescape(html)
    assert '<meta name="viewport" content="width=device-width, initial-scale=1">' in html


def test_every_string_is_escaped() -> None:
    html = page(a_day(NASTY), start=NASTY)
    assert "<script" not in html
    assert "<b>" not in html
    assert html.count("</svg>") == 2
    assert "&#60;script&#62;" in html
    said = " ".join(texts(drawing(a_day(NASTY))))
    assert "alert(1)" in said  # as words


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_bands_lie_where_they_bite_each_with_a_pattern_and_its_name(size: str) -> None:
    """60 departures across the axis: the slack takes the first 12 of them, no plan 2, the dark the last 16."""
    svg = drawing(a_day(), size)
    frame = next(r for r in svg.iter(f"{SVG}rect") if r.get("class") == "lane")
    left, wide = float(frame.get("x", "nan")), float(frame.get("width", "nan"))
    bands = {
        str(r.get("fill")): ((float(r.get("x", "nan")) - left) / wide * 60, float(r.get("width", "nan")) / wide * 60)
        for r in svg.iter(f"{SVG}rect")
        if r.get("class") == "bite"
    }
    assert bands[f"url(#{size}-slack)"] == pytest.approx((0, 12), abs=0.05)
    assert bands[f"url(#{size}-none)"] == pytest.approx((42, 2), abs=0.05)
    assert bands[f"url(#{size}-dark)"] == pytest.approx((44, 16), abs=0.05)
    patterns = {str(p.get("id")) for p in svg.iter(f"{SVG}pattern")}
    assert {fill[5:-1] for fill in bands} <= patterns
    tiles = [ET.tostring(p)[40:] for p in svg.iter(f"{SVG}pattern")]
    assert len(set(tiles)) == len(tiles) == 6
    (bar,) = [r for r in svg.iter(f"{SVG}rect") if r.get("class") == "bar"]
    assert (float(bar.get("x", "nan")) - left) / wide * 60 == pytest.approx(12, abs=0.05)
    assert float(bar.get("width", "nan")) / wide * 60 == pytest.approx(30, abs=0.05)
    said = " ".join(texts(svg))
    for name in ("Slack water at Gull Race, up to 2 h 00 min", "No plan: the fuel doesn't suffice", "08:00 to 12:50"):
        assert name in said
    assert "Dark at Far Bay" in said


def test_the_line_stands_at_its_hours_and_breaks_where_there_is_no_plan() -> None:
    """From 4 h down to 2 h on a scale of 2 to 4: the first point on top, the last at the bottom; two lines, one gap."""
    svg = drawing(a_day())
    lines = [
        str(p.get("d")) for p in svg.iter(f"{SVG}path") if p.get("class") == "all" and "h24" not in str(p.get("d"))
    ]
    assert len(lines) == 2
    points = [tuple(map(float, pair.split())) for pair in lines[0][1:].split("L")]
    assert len(points) == 42
    axis = next(str(p.get("d")) for p in svg.iter(f"{SVG}path") if p.get("class") == "axis")
    top, bottom = map(float, re.findall(r"M\S+ (\S+)V([\d.]+)H", axis)[0])
    assert points[0][1] == pytest.approx(top, abs=0.1)
    assert points[6][1] == pytest.approx((top + bottom) / 2, abs=0.1)
    assert points[12][1] == pytest.approx(bottom, abs=0.1)
    assert {"2 h", "4 h"} <= set(texts(svg))


def test_under_each_time_of_leaving_stands_the_arrival() -> None:
    said = texts(drawing(a_day()))
    at = said.index("09:00")
    assert said[at + 1] == "11:00"
    at = said.index("07:00")
    assert said[at + 1] == "10:00"  # an hour's wait


def test_the_picture_is_told_in_words() -> None:
    for size in ("phone", "desk"):
        svg = drawing(a_day(), size)
        assert svg.get("role") == "img"
        told, title = svg.find(f"{SVG}desc"), svg.find(f"{SVG}title")
        assert told is not None
        assert title is not None
        assert svg.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}"
        assert "Leave between 08:00 and 12:50" in str(told.text)
        assert "Slack water at Gull Race, up to 2 h 00 min: 06:00 to 07:50." in str(told.text)
    html = page(a_day())
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_what_is_read_stands_out_seven_to_one() -> None:
    style = page(a_day())
    holds = re.findall(r"--hold:(#\w{6});--hold-edge:(#\w{6})", style)
    assert len(holds) == 2
    for (hold, edge), palette in zip(holds, (BASE, NIGHT), strict=True):
        assert find_contrast(palette["ink"], hold) >= 7
        assert find_contrast(edge, palette["paper"]) >= 7
        for front, back in (("ink", "paper"), ("quiet", "paper"), ("ink", "warning")):
            assert find_contrast(palette[front], palette[back]) >= 7


def test_windows_of_one_departure_and_of_none_are_drawn() -> None:
    alone = drawing(Departures((row(0),), still_water=True))
    assert any(c.get("class") == "point" for c in alone.iter(f"{SVG}circle"))
    nothing = row(0, Bite("fuel", "", 0.0), arrive=None, time_h=0.0, under_way_h=0.0)
    svg = drawing(Departures((nothing,), still_water=False))
    assert "at no departure" in texts(svg)
    assert "no plan at any departure" in texts(svg)
    assert "nan" not in ET.tostring(svg).decode()


def test_the_table_has_what_the_words_have_and_a_still_water_plan_says_so() -> None:
    html = page(Departures(a_day().rows, still_water=True))
    assert "A still-water plan" in html
    assert "A still-water plan" not in page(a_day())
    body = html[html.index("<tbody") :]
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", body)
    cells = [[plain(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", r)] for r in rows]
    assert len(cells) == 12 + 1 + 2 + 1
    assert cells[12] == ["holds", "08:00 to 12:50", "10:00 to 14:50", "2 h 00 min", "40.0", "12.3", "North Pump", ""]
    assert cells[13][1:3] == ["13:00", ""]
    assert "no plan" in cells[13][-1]


# In a browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    missing = [name for name, found in NEEDED.items() if not found()]
    if missing and os.environ.get("CI"):
        pytest.fail(f"missing, and never to be skipped here: {', '.join(missing)}")
    if missing:
        pytest.skip(f"missing: {', '.join(missing)}; the page was not opened in a browser")
    sync_api = importlib.import_module("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


FAULTS = """() => {
  const faults = [], root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) faults.push(`sideways ${root.scrollWidth}`);
  const seen = [...document.querySelectorAll('svg')].filter((svg) => svg.getBoundingClientRect().width > 0);
  if (seen.length !== 1) faults.push(`${seen.length} pictures`);
  const frame = seen[0].getBoundingClientRect();
  const words = [...seen[0].querySelectorAll('text')];
  const boxes = words.map((text) => text.getBoundingClientRect());
  words.forEach((text, i) => {
    const box = boxes[i], size = parseFloat(text.getAttribute('font-size')) * text.getScreenCTM().a;
    if (box.left < frame.left - 1 || box.right > frame.right + 1) faults.push(`out: ${text.textContent}`);
    if (size < 12) faults.push(`small ${size}: ${text.textContent}`);
    for (let k = 0; k < i; k++) {
      const meet = box.left < boxes[k].right - 1 && boxes[k].left < box.right - 1
        && box.top + 2 < boxes[k].bottom - 2 && boxes[k].top + 2 < box.bottom - 2;
      if (meet) faults.push(`${words[k].textContent} on ${text.textContent}`);
    }
  });
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => part / 255)
      .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (!/, 0\\)$/.test(colour)) return colour;
    }
  };
  for (const element of document.querySelectorAll('h1, h2, p, td, th, li, strong')) {
    const pair = [light(getComputedStyle(element).color), light(ground(element))].sort((a, b) => b - a);
    const contrast = (pair[0] + 0.05) / (pair[1] + 0.05);
    if (contrast < 7) faults.push(`contrast ${contrast.toFixed(1)}: ${element.textContent.slice(0, 30)}`);
  }
  return faults;
}"""


@pytest.mark.parametrize("wide", [360, 1400, *(pytest.param(wide, marks=pytest.mark.slow) for wide in (719, 768, 880))])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_browser_nothing_runs_out_or_over_or_fades(browser: Browser, wide: int, scheme: Any) -> None:
    """On a phone of 360 pixels, a tablet and a desk; with names as long as they come, and several windows."""
    long = "The Long and Winding Race between Two Islands of Long Names"
    days = (a_day(), a_day(long), Departures(a_day().rows[8:14], still_water=True))
    for departures in days:
        context = browser.new_context(viewport={"width": wide, "height": 900}, offline=True, color_scheme=scheme)
        opened = context.new_page()
        asked: list[str] = []
        opened.on("request", lambda request, asked=asked: asked.append(request.url))
        opened.set_content(page(departures))
        assert opened.evaluate(FAULTS) == []
        assert asked == []
        context.close()
