"""The page of what a log teaches: what it says, and how it opens in a real Chromium with no network."""

from __future__ import annotations

import importlib
import importlib.util
import os
import re
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from functools import cache
from html.parser import HTMLParser
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from lesson_samples import boat_named, empty, figure, sample, sharpening

from layers.errors import InputError
from routeplan.fillups import Fillup
from routeplan.learn_page import build_page, write_page
from routeplan.teaching import learn, sharpened

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from routeplan.lessons import Lesson

CHROMIUM = "/usr/bin/chromium"
NEEDED = {
    f"{CHROMIUM} (apt-get install chromium)": lambda: shutil.which(CHROMIUM) is not None,
    "playwright (the test extra)": lambda: importlib.util.find_spec("playwright") is not None,
}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
PHONE, DESK = (390, 844), (1280, 800)
LARGEST_BYTES = 1_000_000
HOSTILE = "</style></svg><script>window.harmed=1</script><img src=x onerror=window.harmed=2>\"'&lt;{{7*7}}\u202e71"
NAME = "<img src=x onerror=window.harmed=3>$x$"


class Text(HTMLParser):
    """The words of a page, sections by their heading."""

    def __init__(self) -> None:
        super().__init__()
        self.headings: list[str] = []
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Note words."""
        if self.tags and self.tags[-1][0] == "h2" and data.strip():
            self.headings.append(data)
        self.words.append(data)

    @property
    def said(self) -> str:
        """All words, single spaces between them."""
        return " ".join(" ".join(self.words).split())


def read(lesson: Lesson, count: int = 20, zone: tzinfo = UTC) -> Text:
    text = Text()
    text.feed(build_page(lesson, sharpening(count) if count else (), zone))
    text.close()
    return text


@cache
def usual() -> Text:
    return read(sample())


# What it says


def test_figures_come_first_then_what_does_not_fit_then_the_pictures() -> None:
    page = usual()
    wanted = ["In short", "Fill-ups that don't fit", "Gauge table", "Pictures", "Notes", "Cautions"]
    assert page.headings == wanted
    assert "By Hand: what her log teaches" in page.said
    assert "20 fill-ups, 8 May 2025 to 18 Sep 2025" in page.said


def test_figures_are_told_in_plain_words() -> None:
    """Half of 360 l is 47.6 US gallons, so 50: times 1.02 are 51.0; 1.014 and 1.026 make 50.7 and 51.3."""
    said = usual().said
    assert "The meter reads 2.0 % low: multiply by 1.020" in said
    assert "Shows 50.0 gal: really used 51.0 gal (90 % sure: 50.7 to 51.3 gal)" in said
    assert "by 20 sums from full to full. Three more full fill-ups halve this." in said
    assert "She burns 3.0 % more than her burn table says" in said
    assert "calm \u00d7 0.97 (7 runs), moderate \u00d7 1.06 (5 runs)" in said
    assert "She runs 1.51 nmi on a US gallon" in said
    assert "\u00b1 1.0 gal Nine fills in ten" in said  # 1.645 * 0.006 * 360 l = 3.55 l = 0.94 gal, rounded up


def test_two_meters_are_told_one_by_one_too() -> None:
    assert "meter 1 \u00d7 1.02 (1.00 to 1.04), meter 2 \u00d7 1.02" in read(sample(meters=2)).said


def test_gauge_that_reads_high_is_told_as_the_danger_that_it_is() -> None:
    page = read(sample(bias=-0.06))
    assert "Danger: in the last fifth the gauge reads high" in page.said
    assert any(attributes.get("class") == "card danger" for _, attributes in page.tags)
    assert not any(attributes.get("class") == "card danger" for _, attributes in usual().tags)


def test_gauge_table_tells_the_figure_to_count_on() -> None:
    """At 36 l on the gauge 44.64 l: between 37.44 and 51.84, which is 9.8 down and 13.7 up, in US gallons."""
    said = usual().said
    assert re.search(r"gauge \[gal\] count on best guess at most readings", said)
    assert re.search(r"9\.5 9\.8 11\.8 13\.7 1 ", said)


def test_doubtful_fill_ups_are_listed_with_day_reason_and_entry() -> None:
    said = usual().said
    assert "17 Jul 2025: meter, probably wrong (entry abcd1234)" in said
    assert "18 Sep 2025: gauge, perhaps wrong The gauge stood still." in said
    assert "They stay in the log" in said
    assert "None: every fill-up agrees" in read(sample(doubtful=False)).said


def test_what_is_not_sure_is_told_as_not_sure() -> None:
    lesson = sample()
    unsure = lesson.model_copy(
        update={
            "gauge_table": tuple(row.model_copy(update={"low_l": 0.0}) for row in lesson.gauge_table),
            "burn_factor": figure(1.01, 0.03),
            "by_sea": (),
            "suspicious": (lesson.suspicious[0].model_copy(update={"probability": 0.999}),),
        }
    )
    said = read(unsure).said
    assert "At no reading does this gauge show for sure that the reserve is untouched" in said
    assert "She burns what her burn table says, as far as can be told" in said
    assert "By sea" not in said
    assert "meter, almost certainly wrong" in said


def test_days_are_those_of_the_zone() -> None:
    assert "9 May 2025 to 19 Sep 2025" in read(sample(), 0, ZoneInfo("Pacific/Kiritimati")).said


def test_log_that_holds_nothing_says_what_to_write_down() -> None:
    page = read(empty(), 0)
    assert page.headings == ["In short", "Fill-ups that don't fit", "Cautions"]
    assert "Note the meter at each fill-up" in page.said
    assert "Note the gauge at each fill-up" in page.said
    assert not any(tag == "svg" for tag, _ in page.tags)


def test_cautions_are_on_every_page() -> None:
    for lesson in (sample(), empty()):
        said = read(lesson).said
        assert "not for navigation" in said
        assert "check the bilge" in said
        assert "licensed professional's advice come first" in said


def test_page_is_small_the_same_each_time_and_holds_no_script(tmp_path: Path) -> None:
    lesson, steps = sample(count=400), sharpening(399)
    write_page(lesson, steps, tmp_path / "a.html")
    write_page(lesson, steps, tmp_path / "b.html")
    content = (tmp_path / "a.html").read_bytes()
    assert content == (tmp_path / "b.html").read_bytes()
    assert len(content) < LARGEST_BYTES
    page = usual()
    policy = next(a["content"] for tag, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none'; img-src data:; style-src 'unsafe-inline'")
    assert not any(tag in {"script", "link", "iframe", "object", "embed", "form", "img"} for tag, _ in page.tags)
    assert not any(name.startswith("on") for _, attributes in page.tags for name in attributes)
    for _, attributes in page.tags:
        for name in ("href", "xlink:href", "src"):
            assert (attributes.get(name) or "#").startswith("#")


def test_page_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a folder, not a file"):
        write_page(sample(), (), tmp_path)
    assert list(tmp_path.iterdir()) == []


# How it opens


@dataclass
class Opened:
    """A page, and what went wrong on it."""

    page: Page
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


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


@contextmanager
def opened(browser: Browser, path: Path, size: tuple[int, int]) -> Iterator[Opened]:
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, device_scale_factor=2 if size == PHONE else 1
    )
    context.set_offline(True)
    shown = Opened(context.new_page())
    shown.page.on("request", lambda asked: shown.requests.append(asked.url))
    shown.page.on("pageerror", lambda error: shown.errors.append(str(error)))
    shown.page.on("console", lambda said: shown.errors.append(said.text))
    shown.page.on("dialog", lambda dialog: (shown.errors.append("dialog"), dialog.dismiss()))
    try:
        shown.page.goto(path.as_uri())
        yield shown
    finally:
        context.close()


def real_log() -> tuple[Lesson, tuple[tuple[datetime, object], ...]]:
    """Learn from eight fill-ups by the real fit, in imperial gallons."""
    boat = boat_named("Really Learnt", "imperial")
    log = [
        Fillup(
            boat=boat.name,
            when=datetime(2025, 6, 1 + 2 * n, 12, tzinfo=UTC),
            meter_used_l=100.0 + 12 * n,
            gauge_before_l=230.0 - 12 * n,
            pumped_l=(100.0 + 12 * n) * 1.03,
            distance_run_nmi=40 + 5 * n,
            engine_hours_h=2 + 0.25 * n,
            sea="calm",
        )
        for n in range(8)
    ]
    taught = learn(boat, log)
    return taught.lesson, sharpened(taught)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    hostile = sample(boat_named(NAME), note=HOSTILE)
    why = {"why": HOSTILE}
    hostile = hostile.model_copy(
        update={
            "suspicious": tuple(one.model_copy(update=why) for one in hostile.suspicious),
            "gauge_in_words": HOSTILE,
            "gauge_sharpen": HOSTILE,
        }
    )
    lesson, steps = real_log()
    found = {
        "usual": (sample(meters=2), sharpening(20)),
        "hostile": (hostile, sharpening(20)),
        "learnt": (lesson, steps),
        "nothing": (empty(), ()),
    }
    paths = {}
    for name, (taught, path_steps) in found.items():
        paths[name] = folder / f"{name}.html"
        write_page(taught, path_steps, paths[name])
    return paths


@pytest.mark.browser
@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("name", ["usual", "hostile", "learnt", "nothing"])
def test_page_opens_offline_and_can_be_read(
    browser: Browser, files: dict[str, Path], name: str, size: tuple[int, int]
) -> None:
    with opened(browser, files[name], size) as shown:
        page = shown.page
        assert shown.requests == [files[name].as_uri()], "the page and nothing else"
        assert shown.errors == []
        assert page.evaluate("window.harmed") is None
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert page.locator("svg[role=img]").count() == (0 if name == "nothing" else 4)
        # Text in pictures is 11 px and more as it is shown, all other text 14; nothing leaves its picture.
        found = page.evaluate(
            """() => [...document.querySelectorAll('svg text')].map((text) => {
              const scale = text.getScreenCTM().a, box = text.getBoundingClientRect();
              const svg = text.closest('svg'), edge = svg.getBoundingClientRect();
              const inside = box.left >= edge.left - 1 && box.right <= edge.right + 1
                && box.top >= edge.top - 1 && box.bottom <= edge.bottom + 1;
              return {words: text.textContent, px: parseFloat(getComputedStyle(text).fontSize) * scale,
                svg: svg.getAttribute('aria-labelledby'), box: box.toJSON(), inside};
            })"""
        )
        for text in found:
            assert text["px"] >= 11, text
            assert text["inside"], text
        for i, one in enumerate(found):
            for other in found[i + 1 :]:
                if one["svg"] == other["svg"]:
                    a, b = one["box"], other["box"]
                    across = min(a["right"], b["right"]) - max(a["left"], b["left"])
                    down = min(a["bottom"], b["bottom"]) - max(a["top"], b["top"])
                    # A line's box is higher than its letters: 3 px of it may be shared with the line below.
                    assert across <= 1 or down <= 3.5, (one["words"], other["words"])
        small = page.evaluate(
            """() => [...document.querySelectorAll('p, li, td, th, h1, h2, h3, a')]
              .map((e) => parseFloat(getComputedStyle(e).fontSize)).filter((px) => px < 14)"""
        )
        assert small == []
        low = page.evaluate(
            """() => [...document.querySelectorAll('nav a')].map((e) => e.getBoundingClientRect())
              .filter((b) => b.height < 43.5 || b.width < 43.5).length"""
        )
        assert low == 0


@pytest.mark.browser
def test_text_from_files_stays_text(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["hostile"], PHONE) as shown:
        said = shown.page.locator("body").inner_text()
        assert HOSTILE.replace("\u202e", "[U+202E]") in said
        assert f"{NAME}: what her log teaches" in said
        assert shown.page.title() == f"{NAME}: what her log teaches"
        assert shown.page.locator("img, script").count() == 0


@pytest.mark.browser
def test_links_lead_to_their_part(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["usual"], PHONE) as shown:
        shown.page.get_by_role("link", name="Pictures").click()
        top = shown.page.get_by_role("heading", name="Pictures").bounding_box()
        assert top is not None
        assert -1 < top["y"] < 60  # a browser scrolls by whole pixels; 24 px of padding are inside the heading's box


@pytest.mark.browser
def test_readers_of_screens_hear_the_message_of_each_picture(browser: Browser, files: dict[str, Path]) -> None:
    with opened(browser, files["usual"], DESK) as shown:
        assert shown.page.get_by_role("img", name="The two meters together read 2.0 % low").count() == 1
        assert shown.page.get_by_role("img", name="The meter factor sharpened").count() == 1
