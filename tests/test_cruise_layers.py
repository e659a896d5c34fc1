"""A group cruise as layers, and on a map: every party seen, every place once."""

from __future__ import annotations

import importlib
import importlib.util
import re
import shutil
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import cruise_samples as samples
import pytest
import shapely

import layers
import maps
from layers.checking import build_layer, check_layer
from layers.schema import COMPUTED, LAYERS
from maps.group import PARTY_LOOKS
from routeplan.cruise_layers import layers_of_cruise

if TYPE_CHECKING:
    from pathlib import Path

    from geopandas import GeoDataFrame

    from routeplan.cruise_words import CruiseWords

CHROMIUM = "/usr/bin/chromium"
ABOUT = layers.RegionAbout(
    name="Posed Sound",
    extent=(-39.5, 43.75, -36.0, 45.25),
    time_zone="Atlantic/Azores",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
)
_DOCK = {"name": "Ettermoy Fuel Quay", "fuels": "gasoline,diesel"}
REGION = layers.build_region(
    ABOUT, {"docks": build_layer(LAYERS["docks"], [_DOCK], [shapely.Point(-36.338007, 45.052301)])}
)


def stops_of(words: CruiseWords, region: layers.Region | None = REGION) -> dict[str, dict[str, Any]]:
    frame = layers_of_cruise(words, region)["group_stops"]
    return {row["name"]: row for row in frame.to_dict("records")}


def page_of(words: CruiseWords) -> str:
    return maps.draw(REGION, layers_of_cruise(words, REGION), title=words.title()).html()


@pytest.mark.parametrize("count", [1, 6, 20])
def test_the_layers_keep_their_schema(count: int):
    for name, frame in layers_of_cruise(samples.clones(count), REGION).items():
        _, faults = check_layer(frame, COMPUTED[name], zone=ZoneInfo("Atlantic/Azores"))
        assert faults == [], name
        assert len(frame)


def test_one_line_a_party_along_its_first_boats_track():
    frame: GeoDataFrame = layers_of_cruise(samples.words())["party_legs"]
    assert list(frame["order"]) == [1, 2]
    assert list(frame["label"]) == ["party 1: 5 boats", "party 2: Tall Order"]
    plan = samples.cruise()
    for line, boat in zip(frame.geometry, (plan.boats[0], plan.boats[5]), strict=True):
        assert [list(corner) for corner in line.coords] == boat.plan.track["coordinates"]
    assert "Apart: 14.5 m high" in frame["text"][1]


def test_every_place_is_there_once_with_what_happens_there():
    rows = stops_of(samples.words())
    assert [(name, row["kind"], row["number"]) for name, row in rows.items()] == [
        ("Vellistrand", "start", None),
        ("Mirrowick Pier Pump", "fuel stop", "1"),
        ("Vindelsay Pool", "visit", None),
        ("Dollamore", "visit", None),
        ("Dollamore Quay", "fuel stop", "2"),
        ("Rostermay Fuel Dock", "fuel stop", "3"),
        ("Ettermoy", "finish", None),
        ("Ettermoy Fuel Quay", "alternate", None),
    ]
    third = rows["Rostermay Fuel Dock"]
    assert third["label"] == "Fri 11:38, 5 boats"  # no sum of two fuels
    assert "12:00 Tall Order, diesel 73.9 imp gal" in third["text"]
    assert "If Mirrowick Pier Pump is closed: Loose Change, Half Promise and Quick Errand" in third["text"]
    assert (third["gasoline_l"], third["diesel_l"]) == pytest.approx((318.9, 646.5))
    assert rows["Ettermoy Fuel Quay"]["label"] == "if stop 3 is closed"
    assert "Ettermoy Fuel Quay" not in stops_of(samples.words(), None)


def test_a_dock_visited_twice_is_one_mark_with_both_numbers():
    plan = samples.cruise()
    first, second, third = plan.stops
    again = third.model_copy(update={"dock": first.dock, "position": first.position})
    row = stops_of(samples.words(stops=(first, second, again)))[first.dock]
    assert (row["number"], row["title"]) == ("1+3", "Stops 1 and 3: Mirrowick Pier Pump")
    assert row["gasoline_l"] == pytest.approx(370.9 + 318.9)


def test_a_cruise_that_comes_home_has_one_mark_there():
    plan = samples.cruise()
    home = plan.legs[2].model_copy(update={"to": "Vellistrand"})
    row = stops_of(samples.words(legs=(*plan.legs[:2], home)))["Vellistrand"]
    assert (row["kind"], row["title"]) == ("start", "Start and end: Vellistrand")
    assert row["label"] == "leave 10:00; in Fri 14:48"
    assert row["text"] == "Leave Thu 2 Jul 10:00 for Vindelsay Pool\nAll in Fri 3 Jul 14:48"


def test_the_map_draws_each_party_in_its_own_look_and_says_so_in_the_key():
    page = page_of(samples.words())
    for look in ("party p1", "party p2"):
        assert page.count(f'"k": "{look}"') == 1
        assert f'class="shape {look}"' in page
    assert page.count('"k": "bed"') == 1
    assert "Who goes which way" in page
    assert "fuel stop of the group" in page


def test_many_parties_stay_apart_in_looks():
    plan = samples.cruise()
    boats = tuple(boat.model_copy(update={"party": n}) for n, boat in enumerate(plan.boats, start=1))
    page = page_of(samples.words(boats=boats))
    looks = re.findall(r'"k": "(party p\d)"', page)
    assert looks == [f"party p{n}" for n in range(1, PARTY_LOOKS + 1)]
    styles = re.findall(r"\.shape\.party\.(p\d) \{ ([^}]+) \}", page)
    assert len({style for _, style in styles}) == PARTY_LOOKS
    assert len({re.search(r"stroke-dasharray: ([\d ]+)", style + "stroke-dasharray: 0")[1] for _, style in styles}) == 6  # type: ignore[index]


def test_no_name_of_a_boat_does_harm_on_the_map():
    hostile = "</script><script>window.harmed=1</script>"
    plan = samples.cruise()
    boats = (plan.boats[0].model_copy(update={"boat": hostile}), *plan.boats[1:])
    page = page_of(samples.words(boats=boats, name=hostile))
    assert "<script>window.harmed" not in page


@pytest.mark.browser
@pytest.mark.parametrize("size", [(1280, 900), (360, 780)])
def test_both_parties_are_seen_with_no_network(tmp_path: Path, size: tuple[int, int]):
    """Where both run together, the narrow one lies on the wide one in a white bed: three strokes, each narrower."""
    if shutil.which(CHROMIUM) is None or importlib.util.find_spec("playwright") is None:
        pytest.skip("missing: chromium or playwright; the map was not opened in a browser")
    path = tmp_path / "map.html"
    path.write_text(page_of(samples.words()), encoding="utf-8")
    sync_api = importlib.import_module("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        context.set_offline(True)
        shown = context.new_page()
        asked: list[str] = []
        errors: list[str] = []
        shown.on("request", lambda request: asked.append(request.url))
        shown.on("pageerror", lambda error: errors.append(str(error)))
        shown.goto(path.as_uri())
        shown.wait_for_function("document.documentElement.dataset.ready === 'yes'", timeout=10_000)
        shown.wait_for_timeout(300)
        drawn = """[...document.querySelectorAll('.map path.shape.party:not(.under), .map path.shape.bed')]
            .map(path => [path.getAttribute('class').match(/party p\\d|bed/)[0],
                          parseFloat(getComputedStyle(path).strokeWidth), getComputedStyle(path).strokeDasharray])"""
        found = shown.evaluate(drawn)
        assert [name for name, _, _ in found] == ["party p1", "bed", "party p2"], "the lowest first"
        widths = [width for _, width, _ in found]
        assert widths == sorted(widths, reverse=True)
        assert [dash == "none" for _, _, dash in found] == [True, True, False]
        labels = shown.evaluate("[...document.querySelectorAll('.stop-mark .label.shown')].map(one => one.innerText)")
        assert {"1 Mirrowick Pier Pump", "3 Rostermay Fuel Dock"} <= {label.split("\n")[0] for label in labels}
        cut = """[...document.querySelectorAll('.of-group .label')].filter(one => one.scrollWidth > one.clientWidth)
            .map(one => one.innerText)"""
        assert shown.evaluate(cut) == [], "no figure is cut off"
        assert [url for url in asked if not url.startswith("data:")] == [path.as_uri()]
        assert errors == []
        browser.close()
