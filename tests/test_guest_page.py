"""The guests' page: plain words and pictures that never promise too much, one file, and nothing on it to break."""

from __future__ import annotations

import html
import importlib
import importlib.util
import os
import re
import shutil
from html.parser import HTMLParser
from itertools import combinations
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from posed_reach import LEAVES, a_place, an_area

import layers
from maps.palette import BASE, COMPUTED, NIGHT, find_contrast
from routeplan.guest_page import guest_page
from routeplan.network import Place

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from playwright.sync_api import Browser, Page

    from routeplan.reach import Reach
    from routeplan.reached import InReach, ReachArea

CHROMIUM = "/usr/bin/chromium"
NEEDED = {
    f"{CHROMIUM} (apt-get install chromium)": lambda: shutil.which(CHROMIUM) is not None,
    "playwright (the test extra)": lambda: importlib.util.find_spec("playwright") is not None,
}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
TABLET, TABLET_UPRIGHT, PHONE, DESK = (1024, 768), (768, 1024), (390, 844), (1400, 900)
HOSTILE = "</style><script>window.harmed=1</script><img src=x onerror=window.harmed=2> &lt; {{ 7*191 }}"
HOME = (-38.0, 44.5)
KM = 1 / 111.195  # [deg] of latitude
SHARE = np.cos(np.radians(HOME[1]))
ABOUT = layers.RegionAbout(
    name="Nowhere Sound",
    extent=(-38.6, 44.0, -37.4, 45.0),
    time_zone="UTC",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
)


def at(east_km: float, north_km: float) -> tuple[float, float]:
    """[deg] A position by its way from home, good to a thousandth at these distances."""
    return HOME[0] + east_km * KM / SHARE, HOME[1] + north_km * KM


def ragged(radius_km: float) -> shapely.Polygon:
    """[deg] Water with a ragged edge about home, and a round hole of 1 km in the south of it."""
    turns = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    far = radius_km * (1 + 0.03 * np.sin(9 * turns) + 0.01 * np.sin(61 * turns) + 0.004 * np.cos(173 * turns))
    outline = shapely.Polygon([at(r * np.sin(t), r * np.cos(t)) for r, t in zip(far, turns, strict=True)])
    hole = shapely.Polygon([at(np.sin(t), np.cos(t) - radius_km / 2) for t in turns[::10]])
    return outline.difference(hole)


LAND = (
    shapely.box(*at(-14, 4), *at(-9, 9)),
    shapely.Polygon([at(3 + np.sin(t), 5 + np.cos(t)) for t in np.linspace(0, 2 * np.pi, 60, endpoint=False)]),
)
WATER = an_area(kind="out-and-back", there_and_back=True, geometry=ragged(20))
REGION = layers.build_region(
    ABOUT, {"land": layers.build_layer(layers.LAYERS["land"], [{"name": "Isle"}] * len(LAND), LAND)}
)


def seen_by_guests(places: Sequence[InReach] = (), areas: Sequence[ReachArea] = (WATER,), **changes: Any) -> Reach:
    """Make a reach by hand: home in the middle of a small sea, 20 km of water round it."""
    outing = {"depart": LEAVES, "time_h": None, "fuel_l": None, "out_and_back": False, "confidence": 0.9}
    found = {(area.kind, area.figure): area for area in areas}
    plain = {
        "network": SimpleNamespace(
            region=REGION, water=SimpleNamespace(plane=None, closed={}), boat=SimpleNamespace(reserve_l=10.0)
        ),
        "boat": SimpleNamespace(name="Salt Biscuit", reserve_l=10.0),
        "outing": SimpleNamespace(**{key: changes.pop(key, value) for key, value in outing.items()}),
        "start": Place("Home Quay", "dock", HOME),
        "places": tuple(places),
        "area": lambda kind, figure: found.get((kind, figure)),
        "areas": tuple(areas),
        "speed_kn": 20.0,
        "data_edges": shapely.MultiLineString(),
    }
    return SimpleNamespace(**plain | changes)  # type: ignore[return-value]


def haven(name: str, nmi: float, east_km: float, north_km: float, **changes: Any) -> InReach:
    """Make a harbour that a boat of 20 kn gets to, and back."""
    plain = {"kind": "harbour", "distance_nmi": nmi, "time_h": nmi / 20, "position": at(east_km, north_km)}
    return a_place(name, **plain | changes)


HAVENS = (
    haven("Near Cove", 3.0, 5.0, 0.0, kind="anchorage"),
    haven("Northhaven", 6.0, 0.0, 11.0),
    haven("Far Bay of the Long and Winding Name that Nobody Wants to Fold", 10.0, -12.0, -12.0),
)


def body_of(page: str) -> str:
    return page[page.index("<body>") :]


def said_in(page: str) -> str:
    """Return the words of a page, without its drawings."""
    drawn = re.sub(r"<svg.*?</svg>", " ", body_of(page), flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", drawn)).split())


def cards_of(page: str) -> list[str]:
    return re.findall(r'<li class="card">.*?</li>', page, flags=re.DOTALL)


def discs_of(page: str) -> dict[str, tuple[float, float]]:
    """Where home and each number are drawn, in units of the picture."""
    picture = page[page.index('<svg class="picture"') : page.index("<figcaption>")]
    found = re.findall(r'<g class="(home|number)" transform="translate\(([\d.]+) ([\d.]+)\)">(.*?)</g>', picture)
    names = [re.findall(r">(\d+)</text>", inside) for *_, inside in found]
    return {
        (name[0] if name else "home"): (float(x), float(y)) for name, (_, x, y, _) in zip(names, found, strict=True)
    }


# Nothing to break


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}


@pytest.mark.parametrize("name", ["Home Quay", HOSTILE])
def test_page_has_no_script_no_link_and_no_control(name: str) -> None:
    reach = seen_by_guests(
        [haven(name, 5, 9, 0)], start=Place(name, "dock", HOME), boat=SimpleNamespace(name=name, reserve_l=10.0)
    )
    page = guest_page(reach)
    tags = _Tags()
    tags.feed(page)
    for tag in ("script", "a", "link", "img", "iframe", "button", "input", "form", "select", "details", "use", "image"):
        assert tag not in tags.tags
    assert not {name for name in tags.attributes if name.startswith("on") or name in {"src", "href", "srcset"}}
    assert "default-src 'none'; style-src 'unsafe-inline'" in page
    assert not re.search(r"(?:https?|ftp|wss?):|url\(|@import", page)


def test_same_reach_makes_the_same_page() -> None:
    assert guest_page(seen_by_guests(HAVENS)) == guest_page(seen_by_guests(HAVENS))


def test_page_is_small() -> None:
    assert len(guest_page(seen_by_guests(HAVENS))) < 200_000


# Words


def test_page_says_where_from_and_when_and_leaves_the_rest_to_the_skipper() -> None:
    """LEAVES is Wednesday 1 July 2026, 08:00 UTC, and this region keeps UTC."""
    said = said_in(guest_page(seen_by_guests(HAVENS)))
    assert said.startswith("There and back with fuel to spare Salt Biscuit, from Home Quay")
    assert "leaving on Wednesday 1 July at 08:00" in said
    for part in ("An aid to planning", "skipper decides", "Weather, waves and tide are not counted", "no chart"):
        assert part in said


def test_guests_are_shown_no_fuel_no_knots_and_no_courses() -> None:
    said = said_in(guest_page(seen_by_guests(HAVENS)))
    assert not re.search(r"\d\s*(?:l|gal|kn|nmi|°|h)\b|litre|gallon|knot|burn|low figure|margin", said)


@pytest.mark.parametrize(
    ("time_h", "said"),
    [
        (0.02, "about 5 minutes"),
        (25 / 60, "about 25 minutes"),
        (25.01 / 60, "about 30 minutes"),
        (1.0, "about 1 hour"),
        (1.0001, "about 1 hour 5 minutes"),
        (2.5, "about 2 hours 30 minutes"),
    ],
)
def test_times_are_rounded_up(time_h: float, said: str) -> None:
    (card,) = cards_of(guest_page(seen_by_guests([haven("Cove", 8, 9, 0, time_h=time_h)])))
    assert f"<b>{said} each way</b>" in card


@pytest.mark.parametrize(("nmi", "said"), [(0.6, "1 sea mile<"), (8.0, "8 sea miles"), (8.01, "9 sea miles")])
def test_distances_are_rounded_up(nmi: float, said: str) -> None:
    (card,) = cards_of(guest_page(seen_by_guests([haven("Cove", nmi, 9, 0)])))
    assert f"about {said}" in card


@pytest.mark.parametrize(
    ("east_km", "north_km", "said"),
    [
        (0, 9, "to the north<"),
        (9, 9, "to the north-east<"),
        (9, 0, "to the east<"),
        (0, -9, "to the south<"),
        (-9, 0.5, "to the west<"),
        (-9, 9, "to the north-west<"),
    ],
)
def test_places_lie_in_plain_directions(east_km: float, north_km: float, said: str) -> None:
    (card,) = cards_of(guest_page(seen_by_guests([haven("Cove", 5, east_km, north_km)])))
    assert said in card


# Which places


def test_only_places_with_a_way_back_are_shown_nearest_first() -> None:
    places = [*reversed(HAVENS), haven("Oneway", 4, 7, 7, there_and_back=False)]
    names = re.findall(r"<h3><bdi>(.*?)</bdi>", guest_page(seen_by_guests(places)))
    assert names == [place.name for place in HAVENS]


def test_home_itself_is_no_outing_and_a_dock_in_a_harbour_is_told_once() -> None:
    """0.3 nmi are 556 m: the pump is 200 m from its harbour, the lonely one 9 km."""
    places = [
        haven("Home Harbour", 0.1, 0.1, 0.1),
        haven("Cove", 5, 9, 0),
        haven("Cove Pump", 5.1, 9.2, 0, kind="dock"),
        haven("Lonely Pump", 5.2, 0, 9, kind="dock"),
    ]
    assert re.findall(r"<h3><bdi>(.*?)</bdi>", guest_page(seen_by_guests(places))) == ["Cove", "Lonely Pump"]


def test_of_many_places_the_nearest_and_the_farthest_are_among_those_shown() -> None:
    places = [haven(f"Cove {n}", 1.0 + n, np.sin(n) * (1 + n), np.cos(n) * (1 + n)) for n in range(17)]
    page = guest_page(seen_by_guests(places), most_places=5)
    names = re.findall(r"<h3><bdi>(.*?)</bdi>", page)
    assert names == ["Cove 0", "Cove 4", "Cove 8", "Cove 12", "Cove 16"]
    assert "12 more places lie within it" in said_in(page)


def test_way_through_a_bridge_is_told() -> None:
    page = guest_page(seen_by_guests([haven("Cove", 5, 9, 0, gates=("Span",)), haven("Bay", 6, 0, 9)]))
    first, second = cards_of(page)
    assert "a bridge or lock has to open" in first
    assert "bridge" not in second


# With a time


def test_time_asked_for_counts_the_way_back() -> None:
    """Within 3 hours: 70 min out leave 40 min there, 90 min none, 91 min are too far. 160 min out and back of 180."""
    water = an_area(kind="budget", there_and_back=True, time_h=1.5, geometry=ragged(20))
    names = ("Cove", "Bay", "Edge", "Beyond")
    places = [haven(n, 9, 9, 0, time_h=t / 60) for n, t in zip(names, (70, 80, 90, 91), strict=True)]
    page = guest_page(seen_by_guests(places, [water, WATER], time_h=3.0, out_and_back=True))
    assert said_in(page).startswith("There and back within 3 hours")
    leaves = [re.findall(r"Leaves.*?\.", card) for card in cards_of(page)]
    assert sorted(leaves) == [
        ["Leaves no time there but to turn round."],
        ["Leaves up to 20 minutes there."],
        ["Leaves up to 40 minutes there."],
    ]


def test_time_that_counts_one_way_only_is_never_shown_to_guests() -> None:
    water = an_area(kind="budget", there_and_back=False, time_h=3.0, geometry=ragged(25))
    page = guest_page(seen_by_guests(HAVENS, [water, WATER], time_h=3.0))
    assert said_in(page).startswith("There and back with fuel to spare")
    assert page == guest_page(seen_by_guests(HAVENS))


def test_no_trip_is_said_and_nothing_is_promised() -> None:
    page = guest_page(seen_by_guests(HAVENS, []))
    assert said_in(page).startswith("No trip there and back today")
    assert cards_of(page) == []
    assert 'class="reach"' not in page


def test_no_places_is_said() -> None:
    assert "No harbour or anchorage on our map lies within it" in said_in(guest_page(seen_by_guests()))


def test_end_of_the_data_is_told_only_where_this_water_comes_up_to_it() -> None:
    """The data end 55 km west of home: an area of 60 km is cut there, the one of 20 km is not."""
    west = ABOUT.extent[0]
    edges = shapely.MultiLineString([[(west, 44.3), (west, 44.7)]])
    wide = shapely.box(*at(-60, -10), *at(10, 10)).intersection(shapely.box(*ABOUT.extent))
    cut = an_area(kind="out-and-back", there_and_back=True, cut_by_extent=True, geometry=wide)
    page = guest_page(seen_by_guests(HAVENS, [cut], data_edges=edges))
    assert "The picture ends where our map ends" in said_in(page)
    assert page.count('<path class="edge"') == 1
    whole = guest_page(seen_by_guests(HAVENS, data_edges=edges))
    assert "our map ends" not in said_in(whole)
    assert '<path class="edge"' not in whole


# Pictures


def sectors_of(minutes: int) -> list[str]:
    (card,) = cards_of(guest_page(seen_by_guests([haven("Cove", 8, 9, 0, time_h=minutes / 60)])))
    return re.findall(r'class="sector" (.*?)/>', card)


def test_clock_is_filled_from_twelve_by_the_time() -> None:
    """A quarter ends at three o'clock, 21 to the right, three quarters at nine; 70 min are a whole face and a sixth.

    A sixth is 60 degrees from twelve: 21 sin 60 = 18.19, 21 cos 60 = 10.5. An arc is the large one beyond a half.
    """
    assert [sector.replace("-0.00", "0.00") for sector in sectors_of(15)] == ['d="M0 0V-21A21 21 0 0 1 21.00 0.00Z"']
    assert [sector.replace("-0.00", "0.00") for sector in sectors_of(45)] == ['d="M0 0V-21A21 21 0 1 1 -21.00 0.00Z"']
    assert sectors_of(70) == ['r="21"', 'd="M0 0V-21A21 21 0 0 1 18.19 -10.50Z"']


def test_bar_is_as_long_as_the_way() -> None:
    """3, 6 and 10 miles against the farthest of 10."""
    page = guest_page(seen_by_guests(HAVENS))
    assert re.findall(r'class="bar".*?width:(.*?)"', page) == ["30.0%", "60.0%", "100.0%"]


def test_drawn_water_lies_within_the_reach_and_leaves_little_of_it_out() -> None:
    """Where a position is drawn is solved from home and the far place, both on their spots: north up, one scale."""
    far = HAVENS[2]
    page = guest_page(seen_by_guests([far]))
    discs = discs_of(page)
    (hx, hy), (fx, fy) = discs["home"], discs["1"]
    lon_per_unit = (far.position[0] - HOME[0]) / (fx - hx)
    lat_per_unit = (far.position[1] - HOME[1]) / (fy - hy)
    assert lon_per_unit > 0 > lat_per_unit
    assert lon_per_unit * SHARE == pytest.approx(-lat_per_unit, rel=0.01)
    (path,) = re.findall(r'<path class="reach" fill-rule="evenodd" d="(.*?)"', page)
    rings = [
        [(HOME[0] + (x - hx) * lon_per_unit, HOME[1] + (y - hy) * lat_per_unit) for x, y in ring]
        for ring in (
            [tuple(map(float, pair.split())) for pair in part.split("L")] for part in re.findall(r"M(.*?)Z", path)
        )
    ]
    outline, hole = (shapely.Polygon(ring) for ring in rings)
    drawn = outline.difference(hole)
    assert WATER.geometry.covers(drawn)
    assert drawn.area > 0.98 * WATER.geometry.area
    assert len(path) < 20_000, "simplified: 1,500 corners would be more"


def test_numbers_never_lie_on_each_other_on_home_or_on_north() -> None:
    """Twelve places within a few hundred metres of one another, one on top of home; a disc is 23 units in radius."""
    places = [haven(f"Cove {n}", 1.0 + n, 0.1 * n, 0.05 * (n % 3)) for n in range(12)]
    page = guest_page(seen_by_guests(places))
    discs = discs_of(page)
    wide, high = map(float, re.findall(r'class="picture" viewBox="0 0 ([\d.]+) ([\d.]+)"', page)[0])
    assert set(discs) == {"home", *map(str, range(1, 13))}
    for (_, one), (_, other) in combinations([*discs.items(), ("north", (wide - 34, 40))], 2):
        assert np.hypot(one[0] - other[0], one[1] - other[1]) >= 46
    assert all(23 <= x <= wide - 23 and 23 <= y <= high - 23 for x, y in discs.values())
    assert page.count('class="lead"') == page.count('class="spot"') >= 10


def test_colours_of_the_dark_can_be_told_apart() -> None:
    """Text 7 to 1, signs and the edge of the reach 3 to 1 (WCAG 2.2, 1.4.6 and 1.4.11), by day and by night."""
    for colours in ({**BASE, **COMPUTED}, NIGHT):
        for ink in ("ink", "quiet"):
            assert find_contrast(colours[ink], colours["paper"]) >= 7
        assert find_contrast(colours["ink"], colours["warning"]) >= 7
        assert find_contrast(colours["route"], colours["water"]) >= 3
        assert find_contrast(colours["route"], colours["paper"]) >= 3


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
  const faults = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) faults.push(`sideways ${root.scrollWidth}`);
  const light = (colour) => {
    const parts = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => part / 255);
    const [r, g, b] = parts.map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (element) => {
    if (element.closest('svg')) return getComputedStyle(element.parentNode.querySelector('circle')).fill;
    for (let at = element; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (!/, 0\\)$/.test(colour)) return colour;
    }
    return 'rgb(255, 255, 255)';
  };
  const picture = document.querySelector('.picture'), seen = picture.getBoundingClientRect();
  const shape = picture.viewBox.baseVal, bars = seen.width / seen.height - shape.width / shape.height;
  if (Math.abs(bars) > 0.02) faults.push('bars beside the picture');
  const words = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    if (!node.textContent.trim()) continue;
    const element = node.parentElement, style = getComputedStyle(element);
    const ink = element.closest('svg') ? style.fill : style.color;
    const [a, b] = [light(ink), light(ground(element))].sort((one, other) => other - one);
    const contrast = (a + 0.05) / (b + 0.05);
    if (contrast < 7) faults.push(`contrast ${contrast.toFixed(1)} ${node.textContent}`);
    const size = parseFloat(style.fontSize) * (element.closest('svg') ? element.getScreenCTM().a : 1);
    if (size < (element.closest('svg') ? 12 : 18)) faults.push(`small ${size} ${node.textContent}`);
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) words.push([node, box, node.textContent.trim().slice(0, 20)]);
  }
  const meet = (one, other) => one.left < other.right - 1 && other.left < one.right - 1
    && one.top < other.bottom - 1 && other.top < one.bottom - 1;
  const things = [...document.querySelectorAll('.card, figure, footer, header, .how, .more')];
  things.push(...document.querySelectorAll('.clock, .bar, .badge'));
  const boxes = things.map((element) => [element, element.getBoundingClientRect()]);
  boxes.forEach(([one, a], index) => boxes.slice(index + 1).forEach(([other, b]) => {
    if (!one.contains(other) && meet(a, b)) faults.push(`${one.outerHTML.slice(0, 40)} on ${other.className}`);
  }));
  for (const [, box, text] of words) {
    if (box.left < 0 || box.right > root.clientWidth + 1) faults.push(`outside: ${text}`);
    for (const drawn of document.querySelectorAll('.clock, .bar, figure .picture')) {
      const own = drawn.getBoundingClientRect();
      if (meet(box, own) && !/^\\d+$|^N$/.test(text)) faults.push(`covered: ${text}`);
    }
  }
  words.forEach(([one, a, text], index) => words.slice(index + 1).forEach(([other, b]) => {
    if (one !== other && meet(a, b)) faults.push(`${text} on ${other.textContent}`); // lines of one text may touch
  }));
  return faults;
}"""


def assert_sound(page: Page, size: tuple[int, int], scheme: str) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    assert page.evaluate(FAULTS) == [], (size, scheme)


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["many", "hostile", "none"])
def test_page_opens_without_network_and_can_be_read_on_every_screen(
    browser: Browser, tmp_path: Path, kind: str
) -> None:
    """Text 7 to 1 by the browser's computed colours, 18 px at least, nothing sideways, nothing on anything else."""
    long = "Harbour" * 14
    many = [haven(f"Cove {n}", 1.0 + 3 * n, np.sin(n) * (1 + n), np.cos(n) * (1 + n), gates=("x",)) for n in range(14)]
    hostile = [haven(HOSTILE, 5, 9, 0), haven(long, 6, 9.1, 0.1, time_h=9.0)]
    name = HOSTILE if kind == "hostile" else "Salt Biscuit"
    reach = {
        "many": lambda: seen_by_guests([*many, *HAVENS]),
        "hostile": lambda: seen_by_guests(
            hostile, boat=SimpleNamespace(name=name, reserve_l=10.0), start=Place(long, "position", HOME)
        ),
        "none": lambda: seen_by_guests((), ()),
    }[kind]()
    path = tmp_path / "guests.html"
    path.write_text(guest_page(reach), encoding="utf-8")
    context = browser.new_context(offline=True)
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: errors.append(message.text))
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(path.as_uri())
    for size in (TABLET, TABLET_UPRIGHT, PHONE, DESK):
        for scheme in ("light", "dark"):
            assert_sound(page, size, scheme)
    page.emulate_media(media="print")
    assert [fault for fault in page.evaluate(FAULTS) if not fault.startswith("small")] == [], "12 pt is enough on paper"
    page.emulate_media(media="screen")
    if kind == "hostile":
        assert page.locator("h3").first.text_content() == HOSTILE
        assert page.evaluate("window.harmed") is None
        assert "1337" not in page.content()
    assert page.locator("svg.picture").get_attribute("aria-label")
    assert asked == [path.as_uri()]
    assert errors == []
    context.close()


@pytest.mark.parametrize(
    ("confidence", "reserve_l", "said"),
    [(0.9, 10.0, "with fuel to spare"), (0.5, 10.0, "with little to spare"), (0.9, 5.0, "with little to spare")],
)
def test_fuel_to_spare_is_said_only_where_it_is(confidence: float, reserve_l: float, said: str) -> None:
    """The boat's own reserve is 10 l."""
    reach = seen_by_guests(
        HAVENS, confidence=confidence, boat=SimpleNamespace(name="Salt Biscuit", reserve_l=reserve_l)
    )
    assert said in said_in(guest_page(reach))


def test_water_that_land_closes_round_is_no_land() -> None:
    """The land's path is filled by the even-odd rule, so that a lagoon stays open."""
    page = guest_page(seen_by_guests(HAVENS))
    assert re.search(r'<path class="land" fill-rule="evenodd"', page)
