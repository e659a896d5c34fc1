"""The organiser's sheet of a cruise: complete, closed to the outside, harmless; two pages for eight boats."""

from __future__ import annotations

import html
import importlib
import importlib.util
import re
import shutil
import subprocess
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import cruise_samples as samples
import pytest

from routeplan.cruise_page import build_cruise_page
from routeplan.cruise_words import FILLING_RULES, CruiseWords

if TYPE_CHECKING:
    from pathlib import Path

CHROMIUM = "/usr/bin/chromium"
HOSTILE = "</style></script><script>window.harmed=1</script><img src=x onerror=window.harmed=2>\"'`${1}"


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in {"src", "href", "srcset", "action", "data"}]


def tags_of(page: str) -> _Tags:
    found = _Tags()
    found.feed(page)
    return found


def said(words: CruiseWords | None = None) -> str:
    body = build_cruise_page(words or samples.words()).split("<body>", 1)[1]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " ").split())


def test_the_page_reaches_for_nothing_and_runs_nothing():
    page = build_cruise_page(samples.words())
    tags = tags_of(page)
    assert tags.links == []
    assert not {"script", "img", "link", "iframe", "object", "form"} & set(tags.tags)
    assert "default-src 'none'" in page
    assert "http" not in page.replace("http-equiv", "")


def test_the_page_is_the_same_for_the_same_plan():
    assert build_cruise_page(samples.words()) == build_cruise_page(samples.words())
    assert "215.9mm 279.4mm" in build_cruise_page(samples.words(), "letter")


@pytest.mark.parametrize(
    "part",
    [
        "6 boats, 2 days, together at 18 kn",
        "Can't come: Far Enough",
        "Day 1, Thu 2 Jul: Vellistrand to Vindelsay Pool. Last boat in 6 h 31 min before sunset; sunset 20:11",
        "12:12 fuel 1 Mirrowick Pier Pump until 13:09; 3 boats: gasoline 98.0 US gal",
        "09:49 gather Dollamore first 09:49, all in by 10:19: count boats",
        "2 Half Promise +351 555 0102 gasoline 12:12 12:31 12:51 19 min 47.3 US gal",
        "2 Tall Order VHF 72 diesel 11:38 12:00 12:24 22 min 73.9 imp gal",
        "In all: gasoline 84.3 US gal, diesel 170.8 US gal",
        "If closed: Rostermay Fuel Dock: all; tightest Loose Change, 78.9 l left (low)",
        "VHF 12, phone 555 0199; Mo-Sa 07:00-18:00; Su 09:00-13:00 Fri 3 Jul 11:38 to 13:24; 5 boats",
        "Salt Biscuit within 5 min, 1.6 nmi off at the most",
        "Roll: tick each boat at each gathering",
        "Second Opinion 555 0105 5 diesel 1 3 Fri 14:48",
        "Day 2: last boat in at Ettermoy Fri 3 Jul 14:48 ; overdue at",
        "An aid to planning, not for navigation",
    ],
)
def test_the_page_says(part: str):
    assert part in said()


def test_every_filling_rule_and_caution_is_there():
    text = said()
    for line in (*FILLING_RULES, *samples.cruise().cautions):
        assert line[1:].rstrip(".") in text


def test_each_boat_has_a_box_at_each_stop_each_gathering_and_each_call():
    """9 turns, 3 docks to call, 6 boats at 3 gatherings."""
    assert build_cruise_page(samples.words()).count('class="box"') == 9 + 3 + 18


def test_a_dock_visited_twice_is_called_once():
    plan = samples.cruise()
    again = plan.stops[2].model_copy(update={"dock": plan.stops[0].dock})
    text = said(samples.words(stops=(*plan.stops[:2], again)))
    calls = text.split("Call each dock ahead", 1)[1].split("Who limits each leg", 1)[0]
    assert calls.count("Mirrowick Pier Pump") == 1
    assert "again" in calls


def test_coming_only_for_her_turn_is_told_where_it_differs():
    plan = samples.cruise()
    turn = plan.stops[0].boats[2].model_copy(update={"come": samples.at("12:40")})
    first = plan.stops[0].model_copy(update={"boats": (*plan.stops[0].boats[:2], turn)})
    assert "12:12, come 12:40" in said(samples.words(stops=(first, *plan.stops[1:])))


def test_no_name_does_harm():
    plan, boats = samples.cruise(name=HOSTILE), samples.boats()
    first = plan.stops[0].model_copy(
        update={"dock": HOSTILE, "phone": HOSTILE, "cautions": (HOSTILE,), "hours": HOSTILE}
    )
    fleet = tuple(boat.model_copy(update={"contact": HOSTILE}) for boat in boats)
    words = CruiseWords(plan.model_copy(update={"stops": (first, *plan.stops[1:])}), fleet, samples.ZONE, HOSTILE)
    page = build_cruise_page(words)
    tags = tags_of(page)
    assert not {"script", "img"} & set(tags.tags)
    assert page.count("<style>") == page.count("</style>") == 1
    assert "<script" not in page


def test_a_cruise_without_stops_needs_no_dock():
    text = said(samples.words(stops=(), docks=(), one_dock_more=None, left_behind=()))
    assert "Open then?" not in text
    assert "no fuel on the way" in text
    assert "Who limits each leg" in text


# In a browser


def launched() -> Any:
    missing = shutil.which(CHROMIUM) is None or importlib.util.find_spec("playwright") is None
    if missing:
        pytest.skip("missing: chromium or playwright; the page was not opened in a browser")
    return importlib.import_module("playwright.sync_api").sync_playwright()


@pytest.mark.browser
@pytest.mark.parametrize("size", [(1280, 900), (360, 780)])
def test_the_page_fits_its_screen(tmp_path: Path, size: tuple[int, int]):
    path = tmp_path / "cruise.html"
    path.write_text(build_cruise_page(samples.clones(20)), encoding="utf-8")
    with launched() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        context.set_offline(True)
        shown = context.new_page()
        asked: list[str] = []
        shown.on("request", lambda request: asked.append(request.url))
        shown.goto(path.as_uri())
        assert shown.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert asked == [path.as_uri()]
        small = """[...document.querySelectorAll('td, p, li')].filter(one => one.innerText.trim() && one.offsetHeight
            && parseFloat(getComputedStyle(one).fontSize) < 11).map(one => one.innerText)"""
        assert shown.evaluate(small) == []
        browser.close()


@pytest.mark.browser
@pytest.mark.parametrize(("count", "most"), [(6, 2), (8, 2), (20, 4)])
def test_it_prints_on_few_pages_and_splits_no_row(tmp_path: Path, count: int, most: int):
    path, printed = tmp_path / "cruise.html", tmp_path / "cruise.pdf"
    words = samples.clones(count)
    path.write_text(build_cruise_page(words), encoding="utf-8")
    with launched() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        shown = browser.new_page()
        shown.goto(path.as_uri())
        shown.pdf(path=printed, prefer_css_page_size=True)
        browser.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) <= most
    if shutil.which("pdftotext") is None:
        pytest.skip("missing: pdftotext (apt-get install poppler-utils)")
    text = subprocess.run(["pdftotext", "-layout", printed, "-"], check=True, capture_output=True, text=True).stdout
    for stop in words.plan.stops:
        for number, turn in enumerate(stop.boats, start=1):
            row = (
                rf"{number} {turn.boat}\b.*{words.clock(turn.begin)}.*{re.escape(words.volume(turn.take_l, turn.boat))}"
            )
            assert re.search(row, text), (stop.dock, turn.boat)
