"""The map in a real Chromium: it opens with no network, hostile names stay text, nothing lies on anything else."""

from __future__ import annotations

import datetime as dt
import importlib
import importlib.util
import math
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

import layers
import maps

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

CHROMIUM = "/usr/bin/chromium"
NEEDED = {
    f"{CHROMIUM} (apt-get install chromium)": lambda: shutil.which(CHROMIUM) is not None,
    "playwright (the test extra)": lambda: importlib.util.find_spec("playwright") is not None,
}
PHONE, DESK = (360, 740), (1400, 900)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
HOSTILE = (
    "</script><script>window.harmed=1</script><img src=x onerror=window.harmed=2>"
    "${window.harmed=3}`+(window.harmed=4)+`\"'\\{{ 7*191 }}{% raw %}\u202eabc\u200f\x00&lt;-->"
)
SHOWN = (
    "</script><script>window.harmed=1</script><img src=x onerror=window.harmed=2>"
    "${window.harmed=3}`+(window.harmed=4)+`\"'\\{{ 7*191 }}{% raw %}[U+202E]abc\u200f[U+0000]&lt;-->"
)
EXTENT = (-39.5, 43.75, -36.0, 45.25)


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
        pytest.skip(f"missing: {', '.join(missing)}; the map was not opened in a browser")
    sync_api = importlib.import_module("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


@contextmanager
def opened(browser: Browser, path: Path, size: tuple[int, int]) -> Iterator[Opened]:
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, has_touch=size == PHONE, device_scale_factor=1
    )
    context.set_offline(True)
    shown = Opened(context.new_page())
    shown.page.on("request", lambda asked: shown.requests.append(asked.url))
    shown.page.on("pageerror", lambda error: shown.errors.append(str(error)))
    shown.page.on("console", lambda said: shown.errors.append(said.text) if said.type in {"error", "warning"} else None)
    shown.page.on("dialog", lambda dialog: (shown.errors.append("dialog"), dialog.dismiss()))
    try:
        shown.page.goto(path.as_uri())
        shown.page.wait_for_function("document.documentElement.dataset.ready === 'yes'", timeout=10_000)
        shown.page.wait_for_timeout(300)
        yield shown
    finally:
        context.close()


def assert_quiet(shown: Opened) -> None:
    assert [url for url in shown.requests if not url.startswith(("file:", "data:"))] == []
    assert len([url for url in shown.requests if url.startswith("file:")]) == 1, "the page and nothing else"
    assert shown.errors == []
    assert shown.page.evaluate("window.harmed") is None


# What is shown


def about(name: str, extent: tuple[float, float, float, float]) -> SimpleNamespace:
    return SimpleNamespace(
        name=name, extent=extent, currency=name[:60], chart_datum=name, clearance_datum=name, source_lines=(name,)
    )


def filled(schema: layers.LayerSchema, text: str, *, valid_choices: bool) -> dict[str, list[Any]]:
    """Make a row for each geometry the layer allows, `text` in every column that can hold text."""
    columns: dict[str, list[Any]] = {}
    for column in schema.columns:
        value: Any = text
        if column.kind == "choice" and valid_choices:
            value = column.choices[0]
        elif column.kind == "harmonics":
            value = "M2 1.8 43"  # no other text is taken
        elif column.kind == "flag":
            value = False
        elif column.kind in {"number", "integer"}:
            value = 1
        elif column.kind == "date":
            value = dt.date(2026, 3, 14)
        columns[column.name] = [value] * len(schema.geometry)
    return columns


def hostile_frames(*, valid_choices: bool) -> tuple[dict[str, gpd.GeoDataFrame], dict[str, gpd.GeoDataFrame]]:
    both: list[dict[str, gpd.GeoDataFrame]] = []
    spot = 0
    for schemas in (layers.LAYERS, layers.COMPUTED):
        frames = {}
        for name, schema in schemas.items():
            shapes = []
            for kind in schema.geometry:
                spot += 1
                lon, lat = -39.3 + 0.33 * (spot % 10), 43.9 + 0.4 * (spot // 10)
                shape = Point(lon, lat)
                shapes.append(
                    {"point": shape, "line": LineString([(lon, lat), (lon + 0.2, lat + 0.2)])}.get(
                        kind, shape.buffer(0.1)
                    )
                )
            columns = filled(schema, HOSTILE, valid_choices=valid_choices)
            frames[name] = gpd.GeoDataFrame(columns, geometry=shapes, crs=4326)
        both.append(frames)
    return both[0], both[1]


def passage() -> tuple[layers.Region, dict[str, gpd.GeoDataFrame]]:
    """Make up a passage between many places: 30 docks and 40 waypoints on a grid, islands under some of them."""
    around = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    spots = [(-39.2 + 0.32 * (n % 10), 43.95 + 0.17 * (n // 10)) for n in range(70)]
    land = [Polygon(np.c_[lon + 0.07 * np.cos(around), lat + 0.05 * np.sin(around)]) for lon, lat in spots[::3]]
    docks = [{"name": f"Landing number {n}", "fuels": "gasoline"} for n in range(30)]
    marks = [{"name": f"Waypoint number {n}", "kind": "mark"} for n in range(40)]
    region = layers.build_region(
        layers.RegionAbout(
            name="Grid Sound",
            extent=EXTENT,
            time_zone="UTC",
            chart_datum="LAT",
            clearance_datum="MHWS",
            currency="EUR",
        ),
        {
            "land": layers.build_layer(layers.LAYERS["land"], [{"name": "Isle"}] * len(land), land),
            "docks": layers.build_layer(layers.LAYERS["docks"], docks, [Point(at) for at in spots[::2][:30]]),
            "waypoints": layers.build_layer(
                layers.LAYERS["waypoints"], marks, [Point(at) for at in spots[1::2] + spots[60:65]]
            ),
        },
    )
    track = [(-39.25, 44.4), (-38.4, 44.55), (-37.3, 44.3), (-36.2, 44.6)]
    kinds = ("start", "fuel stop", "fuel stop", "finish")
    stops = [
        {
            "order": n,
            "name": f"Harbour of number {n}",
            "kind": kind,
            "title": "Stop",
            "text": "Take 48 gal",
            "label": "43 gal left",
        }
        for n, kind in enumerate(kinds)
    ]
    row = {
        "kind": "leg",
        "distance_nmi": 41.2,
        "course_deg": 63.0,
        "speed_kn": 24.0,
        "fuel_l": 70.0,
        "aboard_after_l": 200.0,
    }
    legs = [
        row
        | {
            "order": n,
            "depth_checked": n != 1,
            "from_name": "a",
            "to_name": "b",
            "title": "Leg",
            "text": "x",
            "aboard_after_low_l": 180.0,
        }
        for n in range(3)
    ]
    ring = {"title": "Promised", "label": "60 nmi promised", "kind": "promised", "distance_nmi": 60.0}
    circle = LineString([(-39.25 + 1.4 * np.cos(turn), 44.4 + np.sin(turn)) for turn in np.linspace(0, 2 * np.pi, 90)])
    made = layers.build_layer
    return region, {
        "stops": made(layers.COMPUTED["stops"], stops, [Point(at) for at in track]),
        "legs": made(layers.COMPUTED["legs"], legs, [LineString(track[n : n + 2]) for n in range(3)]),
        "rings": made(layers.COMPUTED["rings"], [ring], [circle]),
        "closed_water": made(
            layers.COMPUTED["closed_water"], [{"reason": "shoal", "title": "Shoal"}], [box(-38, 44, -37.8, 44.1)]
        ),
    }


@pytest.fixture(scope="module")
def passage_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    region, frames = passage()
    drawn = maps.draw(region, frames, title="A to B", notes=["Two stops"], cautions=["One bar", "Old survey"])
    return drawn.save(tmp_path_factory.mktemp("map") / "passage.html")


# Hostile names


@pytest.mark.parametrize("valid_choices", [True, False])
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_hostile_text_in_every_column_stays_text(
    browser: Browser, tmp_path: Path, size: tuple[int, int], *, valid_choices: bool
) -> None:
    own, computed = hostile_frames(valid_choices=valid_choices)
    frames = {**computed, HOSTILE: gpd.GeoDataFrame({"title": [HOSTILE]}, geometry=[Point(-37, 45)], crs=4326)}
    region = SimpleNamespace(about=about(HOSTILE, EXTENT), frames=own, present=frozenset())
    for name in ("dock_marks", "place_marks"):  # shown once with and once without what stands in for them
        if not valid_choices:
            del frames[name]
    path = maps.draw(region, frames, title=HOSTILE, notes=[HOSTILE] * 2, cautions=[HOSTILE]).save(tmp_path / "m.html")
    with opened(browser, path, size) as shown:
        page = shown.page
        assert page.title() == SHOWN
        assert page.locator("h1").text_content() == SHOWN
        popups = page.evaluate(OPEN_ALL)
        assert len(popups) >= 20
        assert sum(SHOWN in text for text in popups) >= 15
        names = page.locator("[data-theme] + b").all_text_contents()
        assert SHOWN in names, "the layer's own name, in the key"
        made = "script, img, iframe, object, link, style"
        inside = ", ".join(f"{where} {tag}" for where in (".map", "aside", "header") for tag in made.split(", "))
        assert page.locator(inside).count() == 0
        assert "1337" not in page.content()
        assert_quiet(shown)


OPEN_ALL = """() => {
  const texts = [];
  map_sea.eachLayer((layer) => {
    if (!layer.getPopup || !layer.getPopup()) return;
    if (layer.getTooltip && layer.getTooltip()) layer.openTooltip();
    layer.openPopup();
    const shown = document.querySelector('.leaflet-popup-content');
    if (shown) texts.push(shown.textContent);
    for (const tip of document.querySelectorAll('.leaflet-tooltip')) texts.push(tip.textContent);
    layer.closePopup();
  });
  return texts;
}"""


def test_page_runs_no_script_that_it_was_not_written_with(browser: Browser, passage_file: Path) -> None:
    """Even markup that slipped through would find its handler refused and its picture not asked for."""
    with opened(browser, passage_file, DESK) as shown:
        shown.page.evaluate(
            """document.body.insertAdjacentHTML(
                'beforeend', '<img src="https://evil.example/x.png" onerror="window.harmed=1">')"""
        )
        shown.page.wait_for_timeout(200)
        assert shown.page.evaluate("window.harmed") is None
        assert any("Content Security Policy" in error for error in shown.errors)


# Use


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_map_opens_without_network(browser: Browser, passage_file: Path, size: tuple[int, int]) -> None:
    with opened(browser, passage_file, size) as shown:
        assert shown.page.evaluate("document.documentElement.lang") == "en"
        assert shown.page.locator(".strip").is_visible()
        assert "not for navigation" in shown.page.locator(".strip").inner_text()
        assert_quiet(shown)


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_every_stop_says_its_fuel_and_no_label_lies_on_another(
    browser: Browser, passage_file: Path, size: tuple[int, int]
) -> None:
    with opened(browser, passage_file, size) as shown:
        boxes = shown.page.evaluate(
            """() => [...document.querySelectorAll('.label.shown')].map((label) => {
              const box = label.getBoundingClientRect();
              const frame = document.querySelector('.map').getBoundingClientRect();
              const wide = box.left >= frame.left && box.right <= frame.right;
              const high = box.top >= frame.top && box.bottom <= frame.bottom;
              return {text: label.textContent, stop: !!label.closest('.stop-mark'), inside: wide && high,
                left: box.left, right: box.right, top: box.top, bottom: box.bottom};
            })"""
        )
        assert sum(label["stop"] and "43 gal left" in label["text"] for label in boxes) == 4
        assert all(label["inside"] for label in boxes)
        for index, one in enumerate(boxes):
            for other in boxes[index + 1 :]:
                apart = (
                    one["right"] <= other["left"] + 1
                    or other["right"] <= one["left"] + 1
                    or one["bottom"] <= other["top"] + 1
                    or other["bottom"] <= one["top"] + 1
                )
                assert apart, (one["text"], other["text"])


def strait(spots: list[tuple[float, float]]) -> dict[str, gpd.GeoDataFrame]:
    """Make up a short passage due north through a lock, with a leg's length wanted just where the lock is."""
    made = layers.build_layer
    row = {
        "depth_checked": True,
        "from_name": "a",
        "to_name": "b",
        "distance_nmi": 1.0,
        "course_deg": 0.0,
        "speed_kn": 5.0,
        "fuel_l": 1.0,
        "aboard_after_l": 90.0,
        "aboard_after_low_l": 80.0,
        "title": "Leg",
        "text": "x",
    }
    ends = ((0, "start", "South end of the strait"), (1, "finish", "North end of the strait"))
    stops = [
        {"order": n, "name": name, "kind": kind, "title": name, "text": "x", "label": "12:50, 43 gal left"}
        for n, kind, name in ends
    ]
    lock = {"name": "Lock", "kind": "lock", "closed_clearance_m": 0.0, "opening_hours": "24/7", "wait_min": 10}
    legs = [row | {"order": n, "kind": kind} for n, kind in enumerate(("leg", "gate", "leg"))]
    return {
        "legs": made(layers.COMPUTED["legs"], legs, [LineString(spots[n : n + 2]) for n in range(3)]),
        "stops": made(layers.COMPUTED["stops"], stops, [Point(spots[0]), Point(spots[-1])]),
        "openings": made(layers.LAYERS["openings"], [lock], [LineString(spots[1:3]).centroid]),
    }


@pytest.mark.slow
@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("zoom", [0, -1.5, -3])
def test_lock_on_the_track_never_loses_to_lengths_and_arrows(
    browser: Browser, tmp_path: Path, size: tuple[int, int], zoom: float
) -> None:
    region, _ = passage()
    empty = layers.build_region(region.about, {})
    track = [(-38.0, 44.4), (-38.0, 44.429), (-38.0, 44.431), (-38.0, 44.46)]
    path = maps.draw(empty, strait(track), title="t").save(tmp_path / "m.html")
    with opened(browser, path, size) as shown:
        shown.page.evaluate(f"map_sea.setZoom(map_sea.getZoom() + {zoom}, {{animate: false}})")
        shown.page.wait_for_timeout(300)
        lock = shown.page.locator(".mark.opens > svg")
        assert lock.is_visible()
        boxes = shown.page.evaluate(
            """() => [...document.querySelectorAll('.leg-mark path, .opens circle')].filter((e) => e.checkVisibility())
              .map((e) => [e.closest('.opens') ? 'lock' : 'arrow', e.getBoundingClientRect().toJSON()])"""
        )
        own = next(b for name, b in boxes if name == "lock")
        for name, b in boxes:
            apart = b["bottom"] <= own["top"] or own["bottom"] <= b["top"]
            apart = apart or b["right"] <= own["left"] or own["right"] <= b["left"]
            assert name == "lock" or apart
        if zoom > -3:
            assert shown.page.locator(".opens .label.shown").count() == 1


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_label_of_a_stop_with_room_round_it_stands_beside_it_and_off_the_track(
    browser: Browser, tmp_path: Path, size: tuple[int, int]
) -> None:
    region, _ = passage()
    empty = layers.build_region(region.about, {})
    track = [(-38.0, 44.4), (-38.0, 44.429), (-38.0, 44.431), (-38.0, 44.46)]
    path = maps.draw(empty, strait(track), title="t").save(tmp_path / "m.html")
    with opened(browser, path, size) as shown:
        assert shown.page.locator(".stop-mark .leader.shown").count() == 0
        found = shown.page.evaluate(
            """() => [...document.querySelectorAll('.stop-mark')].map((mark) => {
              const label = mark.querySelector('.label').getBoundingClientRect();
              const stop = mark.getBoundingClientRect();
              const x = stop.left + stop.width / 2, y = stop.top + stop.height / 2;
              const legs = [...document.querySelectorAll('.leaflet-legs-pane path')];
              const track = legs.map((leg) => leg.getBoundingClientRect());
              const sideways = Math.max(label.left - x, 0, x - label.right);
              const near = Math.hypot(sideways, Math.max(label.top - y, 0, y - label.bottom));
              const over = track.some((b) => b.left < label.right && label.left < b.right
                && b.top < label.bottom - 1 && label.top + 1 < b.bottom);
              return [near, over];
            })"""
        )
        assert len(found) == 2
        for away, over in found:
            assert away < 30
            assert not over


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_nothing_covers_the_route(browser: Browser, passage_file: Path, size: tuple[int, int]) -> None:
    with opened(browser, passage_file, size) as shown:
        covered = shown.page.evaluate(
            """() => {
              const map = document.querySelector('.map').getBoundingClientRect();
              const things = [...document.querySelectorAll('.leaflet-control, header, aside')];
              const covers = things.map((thing) => thing.getBoundingClientRect());
              const within = (at, b) => at.x > b.left && at.x < b.right && at.y > b.top && at.y < b.bottom;
              const bad = [];
              for (const path of document.querySelectorAll('.leaflet-legs-pane path')) {
                const length = path.getTotalLength(), matrix = path.getScreenCTM();
                for (let along = 0; along <= length; along += 4) {
                  const at = path.getPointAtLength(along).matrixTransform(matrix);
                  if (!within(at, map)) bad.push('outside');
                  for (const b of covers) if (within(at, b)) bad.push('covered');
                }
              }
              return bad;
            }"""
        )
        assert shown.page.locator(".leaflet-legs-pane path").count() == 3
        assert covered == []


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_what_can_be_touched_is_large_enough(browser: Browser, passage_file: Path, size: tuple[int, int]) -> None:
    """44 by 44 pixels at least, as in WCAG 2.2, criterion 2.5.5."""
    with opened(browser, passage_file, size) as shown:
        small = shown.page.evaluate(
            """() => [...document.querySelectorAll(
                'button, summary, label.switch, .leaflet-bar a, .leaflet-marker-icon.leaflet-interactive')]
              .filter((e) => e.checkVisibility()).map((e) => [e.className || e.tagName, e.getBoundingClientRect()])
              .filter(([, b]) => b.width > 0 && (b.width < 43.5 || b.height < 43.5))
              .map(([name, b]) => `${name} ${b.width} x ${b.height}`)"""
        )
        assert small == []


@pytest.mark.slow
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_scale_is_in_nautical_miles(browser: Browser, passage_file: Path, size: tuple[int, int]) -> None:
    """Web Mercator by hand: a degree of longitude is 256 * 2^zoom / 360 px wide and 60 nmi * cos(latitude) long."""
    with opened(browser, passage_file, size) as shown:
        for zoom in (7, 9.5, 12):
            shown.page.evaluate(f"map_sea.setView([44.5, -38], {zoom}, {{animate: false}})")
            bar = shown.page.evaluate(
                """() => {
                  const bar = document.querySelector('.scale .bar');
                  return [Number(bar.dataset.nmi), parseFloat(bar.style.width), bar.parentNode.innerText];
                }"""
            )
            width_px = bar[0] / (60 * math.cos(math.radians(44.5))) * 256 * 2**zoom / 360
            assert bar[1] == pytest.approx(width_px, rel=0.01)
            assert bar[2].strip() == f"{bar[0]:g} nmi"


def test_switch_takes_a_layer_off_the_map_and_puts_it_back(browser: Browser, passage_file: Path) -> None:
    with opened(browser, passage_file, DESK) as shown:
        page = shown.page
        before = page.locator(".leaflet-rings-pane path").count()
        switch = page.get_by_label("Range rings")
        switch.uncheck()
        assert page.locator(".leaflet-rings-pane path").count() == 0
        assert page.locator(".ring-mark").count() == 0
        switch.check()
        assert page.locator(".leaflet-rings-pane path").count() == before
        assert page.get_by_label("Stops").count() == 0, "the track and its stops can't be switched off"
        assert_quiet(shown)


def test_phone_shows_one_panel_at_a_time_and_cautions_in_one_tap(browser: Browser, passage_file: Path) -> None:
    with opened(browser, passage_file, PHONE) as shown:
        page = shown.page
        assert page.locator(".panel[open]").count() == 0
        page.locator("#panel-key > summary").click()
        page.locator(".strip").click()
        page.wait_for_timeout(100)
        assert page.locator(".panel[open]").count() == 1
        assert page.get_by_text("Old survey").is_visible()
        page.keyboard.press("Escape")
        assert page.locator(".panel[open]").count() == 0


def test_stop_in_the_list_shows_the_stop_on_the_map(browser: Browser, passage_file: Path) -> None:
    with opened(browser, passage_file, DESK) as shown:
        shown.page.get_by_role("button", name="Harbour of number 2").first.click()
        shown.page.wait_for_timeout(600)
        centre = shown.page.evaluate("(() => { const c = map_sea.getCenter(); return [c.lng, c.lat]; })()")
        assert centre == pytest.approx([-37.3, 44.3], abs=0.01)


def test_unchecked_leg_is_dashed_and_the_others_are_not(browser: Browser, passage_file: Path) -> None:
    with opened(browser, passage_file, DESK) as shown:
        dashes = shown.page.evaluate(
            """[...document.querySelectorAll('.leaflet-legs-pane path')]
              .map((path) => getComputedStyle(path).strokeDasharray)"""
        )
        assert [dash != "none" for dash in dashes] == [False, True, False]


@pytest.mark.parametrize("frames", [{}, {"stops": gpd.GeoDataFrame(geometry=[Point(-38, 44.5)], crs=4326)}])
def test_map_of_little_or_nothing_opens(browser: Browser, tmp_path: Path, frames: dict[str, gpd.GeoDataFrame]) -> None:
    region, _ = passage()
    empty = layers.build_region(region.about, {})
    path = maps.draw(empty, frames, title="Nothing yet").save(tmp_path / "m.html")
    for size in (PHONE, DESK):
        with opened(browser, path, size) as shown:
            assert shown.page.locator(".scale").is_visible()
            assert_quiet(shown)


def test_without_script_the_stops_and_cautions_can_still_be_read(browser: Browser, passage_file: Path) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 740}, java_script_enabled=False, offline=True)
    page = context.new_page()
    page.goto(passage_file.as_uri())
    assert page.locator(".map noscript").is_visible()
    for panel, text in (("route", "Harbour of number 2"), ("cautions", "Old survey")):
        page.locator(f"#panel-{panel} > summary").click()
        assert page.locator(f"#panel-{panel}").get_by_text(text).first.is_visible()
        page.locator(f"#panel-{panel} > summary").click()
    context.close()


# Reach


def reach_frames() -> tuple[layers.Region, dict[str, gpd.GeoDataFrame]]:
    """Make up a reach from the middle of the grid: five kinds by two figures, another speed, places, points to turn."""
    region, _ = passage()
    rows, shapes = [], []
    kinds = {"one-way": 1.0, "some-dock": 0.85, "out-and-back": 0.6, "thirds": 0.5, "budget": 0.35}
    plain = {"fuel_l": 90.0, "there_and_back": False, "inside": False, "text": "Down to the reserve"}
    for kind, size in kinds.items():
        for figure, share in (("low", 1.0), ("mean", 1.07)):
            label = f"{kind} {figure}"
            rows.append(plain | {"kind": kind, "figure": figure, "speed_kn": 24.0, "title": label, "label": label})
            shapes.append(Point(-38, 44.5).buffer(0.6 * size * share))
    rows.append(rows[0] | {"speed_kn": 30.0, "label": "at 30 kn"})
    shapes.append(Point(-38, 44.5).buffer(0.5))
    spots = [(-38.3 + 0.11 * n, 44.3 + 0.06 * (n % 7)) for n in range(7)]
    place = {"distance_nmi": 12.3, "time_h": 1.2, "fuel_l": 50.0, "fuel_there_and_back_l": 100.0, "margin_low_l": 40.0}
    place |= {"aboard_on_return_low_l": 9.0, "refuel": "opens later", "title": "Place", "text": "x", "label": "12 nmi"}
    names = ["Landing with a name that is rather long", *(f"Cove {n}" for n in range(6))]
    places = [
        place | {"name": name, "kind": ("dock", "harbour", "anchorage")[n % 3], "there_and_back": n < 4}
        for n, name in enumerate(names)
    ]
    turn = {"dock": "Landing", "towards": "Cove", "distance_nmi": 20.0, "time_h": 1.0, "dock_distance_nmi": 8.0}
    turn |= {"aboard_at_dock_low_l": 9.0, "title": "Turn for Landing", "text": "x", "label": "last dock Landing"}
    start = {"order": 0, "name": "Home", "kind": "start", "title": "Home", "text": "x", "label": "71 gal aboard"}
    edge = {"title": "Data end", "text": "Not known"}
    made, schemas = layers.build_layer, layers.COMPUTED
    return region, {
        "reach": made(schemas["reach"], rows, shapes),
        "reach_places": made(schemas["reach_places"], places, [Point(at) for at in spots]),
        "turning_points": made(schemas["turning_points"], [turn] * 2, [Point(-38.5, 44.6), Point(-37.5, 44.6)]),
        "data_edges": made(schemas["data_edges"], [edge], [LineString([(-38.3, 44.0), (-37.7, 44.0)])]),
        "stops": made(schemas["stops"], [start], [Point(-38, 44.5)]),
    }


@pytest.fixture(scope="module")
def reach_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    region, frames = reach_frames()
    drawn = maps.draw(region, frames, title="Reach from Home", notes=["71 gal"], cautions=["Call ahead"])
    return drawn.save(tmp_path_factory.mktemp("map") / "reach.html")


BOXES = """(query) => [...document.querySelectorAll(query)].filter((e) => e.checkVisibility())
  .map((e) => [e.textContent, e.getBoundingClientRect().toJSON()])"""


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_map_of_the_reach_opens_without_network_and_names_what_to_count_on(
    browser: Browser, reach_file: Path, size: tuple[int, int]
) -> None:
    """Edges that are switched on are labelled, low figures always; no label lies on another; targets are large."""
    with opened(browser, reach_file, size) as shown:
        labels = shown.page.evaluate(BOXES, ".label.shown")
        for low in ("one-way low", "out-and-back low", "budget low", "some-dock low", "The data end here"):
            assert low in [text for text, _ in labels], low
        assert not {text for text, _ in labels} & {"thirds low", "at 30 kn"}, "not until switched on"
        for index, (text, one) in enumerate(labels):
            for other_text, other in labels[index + 1 :]:
                apart = one["right"] <= other["left"] + 1 or other["right"] <= one["left"] + 1
                assert apart or one["bottom"] <= other["top"] + 1 or other["bottom"] <= one["top"] + 1, (
                    text,
                    other_text,
                )
        if size == PHONE:
            assert shown.page.locator(".panel[open]").count() == 0
            shown.page.locator("#panel-reach > summary").click()
        assert shown.page.locator("#panel-reach .places").count() == 2
        boxes = shown.page.evaluate(BOXES, "#panel-reach button, summary")
        assert all(box["width"] >= 43.5 and box["height"] >= 43.5 for _, box in boxes)
        inside = "#panel-reach .inside"
        wide = shown.page.evaluate(
            f"(() => {{ const e = document.querySelector('{inside}'); return [e.scrollWidth, e.clientWidth]; }})()"
        )
        assert wide[0] <= wide[1]
        shown.page.get_by_role("button", name="Cove 3").click()
        shown.page.wait_for_timeout(500)
        centre = shown.page.evaluate("(() => { const c = map_sea.getCenter(); return [c.lng, c.lat]; })()")
        assert centre == pytest.approx([-38.3 + 0.11 * 4, 44.3 + 0.06 * 4], abs=0.01)
        shown.page.evaluate("map_sea.setView([44.5, -38], 7.3, {animate: false})")
        shown.page.wait_for_timeout(300)
        assert "one-way low" in [text for text, _ in shown.page.evaluate(BOXES, ".label.shown")], "also from afar"
        assert_quiet(shown)


def test_edges_of_the_reach_are_whole_for_low_figures_and_dashed_for_averages(
    browser: Browser, reach_file: Path
) -> None:
    """By computed styles: two lines there and back (a light one on a wider dark one), one line one way."""
    with opened(browser, reach_file, DESK) as shown:
        styles = shown.page.evaluate(
            """() => [...document.querySelectorAll('.leaflet-limits-pane path')].map((path) => {
              const style = getComputedStyle(path);
              return [path.className.baseVal.split(' leaflet')[0], style.strokeDasharray, style.stroke,
                parseFloat(style.strokeWidth)];
            })"""
        )
        drawn = {look: rest for look, *rest in styles}
        assert "shape reach thirds low" not in drawn
        for kind in ("one-way", "out-and-back", "some-dock"):
            assert drawn[f"shape reach {kind} low"][0] == "none"
            assert drawn[f"shape reach {kind} mean"][0] != "none"
        double, under = drawn["shape reach out-and-back low"], drawn["shape reach out-and-back low under"]
        assert (double[1], under[0], under[1]) == ("rgb(255, 255, 255)", "none", drawn["shape reach one-way low"][1])
        assert under[2] - double[2] >= 4, "two lines of 2 px and more"
        assert drawn["shape data-edge"][0] != "none"
        assert drawn["shape data-edge"][2] >= 5
        for look in ("reach one-way mean", "data-edge"):
            assert drawn[f"shape {look} under"][0] == "none", "what sets a dashed line off fills its gaps"
        shown.page.locator("#panel-key > summary").click()
        shown.page.get_by_role("checkbox", name="Reach by thirds").check()
        assert shown.page.locator(".leaflet-limits-pane .thirds.low").count() == 2, "the line and what sets it off"
        shown.page.get_by_role("checkbox", name="Reach one way").uncheck()
        assert shown.page.locator(".map path.one-way").count() == 0
        assert_quiet(shown)
