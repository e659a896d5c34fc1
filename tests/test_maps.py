"""The map as text: nothing in it reaches outside, nothing out of a file reaches it unencoded, it stays small."""

from __future__ import annotations

import html
import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

import layers
import maps
from layers.errors import InputError
from maps.geometry import COAST_WITHIN_M, inside_point, simplified
from maps.palette import BASE, COMPUTED, find_contrast
from maps.words import as_lines, as_markup, text_of, write_position

if TYPE_CHECKING:
    from pathlib import Path

ABOUT = layers.RegionAbout(
    name="Nowhere Sound",
    extent=(-39.0, 44.0, -37.0, 45.0),
    time_zone="UTC",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
    sources={"land": layers.Source(title="Drawn by hand", licence="CC0")},
)
EMPTY = layers.build_region(ABOUT, {})
TRACK = [(-38.912345678, 44.1), (-38.5, 44.500001234), (-37.2, 44.9)]


def made(name: str, rows: list[dict[str, Any]], shapes: list[Any]) -> gpd.GeoDataFrame:
    return layers.build_layer({**layers.LAYERS, **layers.COMPUTED}[name], rows, shapes)


def leg(**changes: object) -> dict[str, Any]:
    row: dict[str, Any] = {
        "order": 1,
        "from_name": "Aber",
        "to_name": "Bede",
        "kind": "leg",
        "depth_checked": True,
        "distance_nmi": 41.26,
        "course_deg": 63.0,
        "speed_kn": 24.0,
        "fuel_l": 70.0,
        "aboard_after_l": 200.0,
        "aboard_after_low_l": 180.0,
        "title": "Aber to Bede",
        "text": "41.3 nmi, 063 true",
    }
    return row | changes


def stop(**changes: object) -> dict[str, Any]:
    row: dict[str, Any] = {
        "order": 1,
        "name": "Bede Fuel",
        "kind": "fuel stop",
        "title": "Bede Fuel",
        "text": "Arrive 09:40\nTake 48 gal",
        "label": "43 gal left",
    }
    return row | changes


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, _tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [
            value or "" for name, value in attrs if name in {"src", "href", "srcset", "data", "action", "poster"}
        ]


def links_of(page: str) -> list[str]:
    links = _Links()
    links.feed(page)
    return links.found


def features_of(page: str) -> list[dict[str, Any]]:
    found = re.findall(r"geo_json_theme\d+_add\((\{.*?\})\);\n", page)
    return [feature for text in found for feature in json.loads(text)["features"]]


def looks_of(page: str) -> list[str]:
    return [feature["properties"].get("k", "") for feature in features_of(page)]


# No network


@pytest.mark.parametrize("name", ["folium", "geopandas", "shapely", "pandas"])
def test_import_is_light(name: str) -> None:
    code = f"import sys, maps; assert 'draw' in maps.__all__; sys.exit({name!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_page_names_no_address_outside() -> None:
    """SVG's namespace is a name, not an address; everything else that looks like one would be."""
    row = {"name": "http://evil.example/a.js", "kind": "mark"}
    frame = made("waypoints", [row], [Point(-38, 44.5)])
    page = maps.draw(EMPTY, {"waypoints": frame}, title="https://evil.example").html()
    rest = page.replace("http://www.w3.org/2000/svg", "")
    assert not re.findall(r"(?:https?|ftp|wss?):", rest)
    assert not re.findall(r"@import|sourceMappingURL", page)
    assert links_of(page) == ["data:,"], "only the icon that keeps browsers from asking for one"
    assert {part[:6] for part in re.findall(r"url\(['\"]?([^)]*)", page)} <= {
        "data:i",  # pictures of the style sheet
        "#fill-",  # our patterns
        "#defau",  # what Leaflet's script tells Internet Explorer of itself
    }
    assert "$(" not in page, "folium has begun to call jQuery, which is not in the page"


def test_page_forbids_itself_to_load_anything() -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', maps.draw(EMPTY, {}, title="t").html())
    assert policy is not None
    assert policy[1].startswith("default-src 'none'; img-src data:")
    assert policy[1].count("'sha256-") == 2
    assert "unsafe-inline'; script" in policy[1]
    assert "unsafe-eval" not in policy[1]


def test_same_input_makes_the_same_bytes() -> None:
    frames = {"stops": made("stops", [stop()], [Point(-38, 44.5)])}
    assert maps.draw(EMPTY, frames, title="t").html() == maps.draw(EMPTY, frames, title="t").html()


def test_input_is_left_as_it_was() -> None:
    frame = made("legs", [leg()], [LineString(TRACK)])
    before = frame.copy(deep=True)
    maps.draw(EMPTY, {"legs": frame}, title="t")
    pd.testing.assert_frame_equal(
        pd.DataFrame(frame.drop(columns="geometry")), pd.DataFrame(before.drop(columns="geometry"))
    )
    assert frame.geometry.geom_equals_exact(before.geometry, 0).all()


# Text out of files


@given(st.text(max_size=150))
def test_markup_is_plain_and_reads_back(text: str) -> None:
    """Solved by the reader's own decoder: what a browser shows is the text, or its code point where it has no look."""
    markup = as_markup(text)
    assert re.fullmatch(r"[A-Za-z0-9 .,\-+()&#;]*", markup)
    if text.isprintable() and text == " ".join(text.split()):
        assert html.unescape(markup) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("</script><script>", "</script><script>"),
        ("${alert}`\\", "${alert}`\\"),
        ("{{ 7*191 }}{% x %}{# y #}", "{{ 7*191 }}{% x %}{# y #}"),
        ("a\x00b", "a[U+0000]b"),
        ("\u202e17", "[U+202E]17"),
        ("\ud800", "[U+D800]"),
        ("\u05d0\u200f", "\u05d0\u200f"),
        ("&lt;", "&lt;"),
        ("a\n b", "a b"),
        ("x" * 300, "x" * 199 + "\u2026"),
    ],
)
def test_markup_shows(text: str, shown: str) -> None:
    assert html.unescape(as_markup(text)) == shown


def test_lines_break_and_nothing_else_does() -> None:
    assert as_lines("a<br>b\n\nc\r\nd") == "a&#60;br&#62;b<br>c<br>d"


@pytest.mark.parametrize("empty", [None, float("nan"), pd.NA, pd.NaT, np.nan, ""])
def test_absent_cells_are_empty(empty: object) -> None:
    assert text_of({"note": empty}, "note") == ""


def test_template_in_a_name_is_not_executed() -> None:
    """Scripts are compiled a second time by folium: 7 * 191 = 1337 would betray it."""
    frame = made("waypoints", [{"name": "{{ 7*191 }}{% raw %}", "kind": "mark"}], [Point(-38, 44.5)])
    page = maps.draw(EMPTY, {"waypoints": frame}, title="{{ 7*191 }}").html()
    assert "1337" not in page
    assert "&#123;&#123; 7&#42;191 &#125;&#125;" in page


# Geometry


def test_track_is_drawn_as_computed() -> None:
    page = maps.draw(EMPTY, {"legs": made("legs", [leg()], [LineString(TRACK)])}, title="t").html()
    drawn = next(feature for feature in features_of(page) if feature["properties"].get("k") == "leg leg")
    assert drawn["geometry"]["coordinates"] == [[-38.91235, 44.1], [-38.5, 44.5], [-37.2, 44.9]]


def test_drawn_coast_stays_within_its_tolerance() -> None:
    """A circle of 5 km, cut into 720 corners 44 m apart, measured in metres on a local plane."""
    around = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    share = np.cos(np.radians(44.5))
    coast = Polygon(np.c_[-38 + 5000 / 111195 / share * np.cos(around), 44.5 + 5000 / 111195 * np.sin(around)])
    drawn = simplified(coast)
    assert shapely.get_num_coordinates(drawn) < 80
    planes = [shapely.transform(shape, lambda at: at * [111195 * share, 111195]) for shape in (coast, drawn)]
    assert shapely.hausdorff_distance(*planes, densify=0.2) < COAST_WITHIN_M * 1.02


def test_small_island_is_still_drawn() -> None:
    assert simplified(box(-38, 44, -37.99999, 44.00001)).area > 0


def test_label_of_a_crescent_is_inside_it() -> None:
    crescent = box(0, 0, 10, 10).difference(box(2, -1, 11, 11)).union(box(0, 9, 10, 10))
    lon, lat, _ = inside_point(crescent)
    assert crescent.contains(Point(lon, lat))


def test_position_is_degrees_and_minutes() -> None:
    """38.0533333 degrees are 38 degrees and 0.0533333 * 60 = 3.2 minutes."""
    assert write_position(-38.0533333, 44.2083333) == "44 12.50N 038 03.20W"
    assert write_position(8.5, -0.25) == "00 15.00S 008 30.00E"


@pytest.mark.parametrize(
    ("frame", "said"),
    [
        (gpd.GeoDataFrame({"name": ["x"]}, geometry=[Point(500000, 4900000)], crs=32624), "WGS 84"),
        (gpd.GeoDataFrame({"name": ["x"]}, geometry=[Point(44.5, -138.0)], crs=4326), "latitude -90 to 90"),
        (gpd.GeoDataFrame({"name": ["x"]}, geometry=[Point(np.inf, 1)], crs=4326), "longitude -180 to 180"),
    ],
)
def test_layer_in_other_coordinates_is_refused(frame: gpd.GeoDataFrame, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        maps.draw(EMPTY, {"hides": frame}, title="t")
    assert caught.value.where.startswith("layer hides")


# What is drawn


@pytest.mark.parametrize(
    "frames",
    [
        {},
        {name: layers.empty_layer(schema) for name, schema in layers.COMPUTED.items()},
        {"stops": gpd.GeoDataFrame()},
        {"stops": gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=[None, Point()], crs=4326)},
        {"stops": gpd.GeoDataFrame(geometry=[Point(-38, 44.5)], crs=4326)},
    ],
)
def test_map_of_little_or_nothing_is_still_a_map(frames: dict[str, gpd.GeoDataFrame]) -> None:
    page = maps.draw(EMPTY, frames, title="Nothing yet").html()
    assert page.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert "<title>Nothing yet</title>" in page
    assert "An aid to planning, not for navigation" in page


def test_unchecked_depth_is_dashed_and_so_is_an_unknown_one() -> None:
    shapes = [LineString(TRACK)] * 2
    frame = made("legs", [leg(), leg(order=2, depth_checked=False)], shapes)
    assert looks_of(maps.draw(EMPTY, {"legs": frame}, title="t").html())[-2:] == ["leg leg", "leg leg unchecked"]
    frame = frame.drop(columns="depth_checked")
    assert looks_of(maps.draw(EMPTY, {"legs": frame}, title="t").html())[-2:] == ["leg leg unchecked"] * 2


def test_dock_without_verdict_is_not_drawn_as_suitable() -> None:
    rows = [{"name": "A", "suits": True}, {"name": "B", "suits": None}]
    frame = gpd.GeoDataFrame(rows, geometry=[Point(-38, 44.5), Point(-38.5, 44.5)], crs=4326)
    page = maps.draw(EMPTY, {"dock_marks": frame}, title="t").html()
    icons = [feature["properties"].get("i") for feature in features_of(page)]
    assert icons[-2:] == ["dock-suits", "dock-unsuited"]


def test_marks_stand_in_for_the_layers_they_explain() -> None:
    docks = made("docks", [{"name": "Aber Fuel", "fuels": "diesel"}], [Point(-38, 44.5)])
    region = layers.build_region(ABOUT, {"docks": docks})
    mark = {"name": "Aber Fuel", "suits": True, "title": "Aber Fuel", "text": "Sells diesel", "label": "Aber Fuel"}
    marks = {"dock_marks": made("dock_marks", [mark], [Point(-38, 44.5)])}
    assert looks_of(maps.draw(region, {}, title="t").html()).count("dock-mark") == 1
    assert looks_of(maps.draw(region, marks, title="t").html()).count("dock-mark") == 1


def test_dock_says_what_is_known_and_what_is_not() -> None:
    rows = [
        {
            "name": "Aber Fuel",
            "fuels": "gasoline,diesel",
            "opening_hours": "Mo-Su 08:00-18:00",
            "price_gasoline_per_l": 1.8,
            "vhf": "09",
            "confirmed_on": "2026-03-14",
        },
        {"name": "Bede Fuel", "fuels": "diesel"},
    ]
    docks = made("docks", rows, [Point(-38, 44.5), Point(-38.4, 44.5)])
    page = maps.draw(layers.build_region(ABOUT, {"docks": docks}), {}, title="t").html()
    known, unknown = (html.unescape(feature["properties"]["p"]) for feature in features_of(page)[-2:])
    for part in ("gasoline,diesel", "Mo-Su 08:00-18:00", "1.80 EUR", "VHF 09", "2026-03-14", "44 30.00N 038 00.00W"):
        assert part in known
    assert "Hours not known" in unknown
    assert "Never confirmed" in unknown


def test_key_lists_only_what_is_on_the_map() -> None:
    page = maps.draw(EMPTY, {"stops": made("stops", [stop()], [Point(-38, 44.5)])}, title="t").html()
    key = page[page.index('id="panel-key"') : page.index('id="panel-cautions"')]
    assert "fuel stop" in key
    assert "stop-start" not in key
    assert "range" not in key.lower()
    assert "beyond the data" in key


def test_list_beside_the_map_tells_what_the_map_tells() -> None:
    frames = {
        "stops": made("stops", [stop(order=2, name="Later"), stop()], [Point(-38, 44.5), Point(-38.4, 44.4)]),
        "legs": made("legs", [leg(depth_checked=False, cautions="Crosses a bar")], [LineString(TRACK)]),
    }
    drawn = maps.draw(EMPTY, frames, title="t", notes=["Two stops", "Second"], cautions=["Old survey"]).html()
    text = html.unescape(drawn[drawn.index("<body>") : drawn.rindex("<script>")])
    assert text.index("Bede Fuel") < text.index("Later")
    for part in (
        "43 gal left",
        "Take 48 gal",
        "44 24.00N 038 24.00W",
        "Depth not checked",
        "Crosses a bar",
        "Second",
        "Old survey",
    ):
        assert part in text
    assert "No data on: " in text
    assert "Drawn by hand, CC0" in text


def test_unknown_layer_is_drawn_under_its_own_name() -> None:
    frame = gpd.GeoDataFrame({"title": ["Ferry"]}, geometry=[LineString(TRACK)], crs=4326)
    page = maps.draw(EMPTY, {"ferry <i>": frame}, title="t").html()
    assert "extra" in looks_of(page)
    assert "ferry &#60;i&#62;" in page


def test_view_holds_the_route_else_the_rings_else_the_extent() -> None:
    def view(**frames: gpd.GeoDataFrame) -> list[list[float]]:
        settings = re.search(r"drawing.open\(\"map_sea\", (\{.*?\})\);\n", maps.draw(EMPTY, frames, title="t").html())
        assert settings is not None
        corners: list[list[float]] = json.loads(settings[1])["view"]
        return corners

    ring = {"title": "r", "label": "r", "kind": "mark", "distance_nmi": 1.0}
    rings = made("rings", [ring], [LineString([(-38, 44.2), (-37.9, 44.3), (-38.1, 44.3), (-38, 44.2)])])
    legs = made("legs", [leg()], [LineString(TRACK)])
    assert view() == [[44.0, -39.0], [45.0, -37.0]]
    assert view(rings=rings) == [[44.2, -38.1], [44.3, -37.9]]
    assert view(rings=rings, legs=legs) == [[44.1, -38.91235], [44.9, -37.2]]


# Saving


def test_save_writes_the_page_whole(tmp_path: Path) -> None:
    drawn = maps.draw(EMPTY, {}, title="t")
    path = drawn.save(tmp_path / "m.html")
    assert path.read_bytes() == drawn.html().encode("ascii")
    drawn.save(path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["m.html"]


@pytest.mark.parametrize("name", ["folder", "file/m.html", "a\0b.html"])
def test_save_where_nothing_can_be_written(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("in the way")
    before = sorted(entry.name for entry in tmp_path.rglob("*"))
    with pytest.raises(InputError, match="written|not a file"):
        maps.draw(EMPTY, {}, title="t").save(tmp_path / name)
    assert sorted(entry.name for entry in tmp_path.rglob("*")) == before
    assert (tmp_path / "file").read_text() == "in the way"


def test_map_of_a_large_region_stays_small() -> None:
    """10,000 corners of coast at 200 m, as many of depth, 100 places: under 1.5 MB with everything that shows them."""
    islands = []
    for number in range(100):
        around = np.linspace(0, 2 * np.pi, 100, endpoint=False)
        reach = 0.03 * (1 + 0.2 * np.sin(number + 9 * around) + 0.05 * np.cos(37 * around))
        centre = -38.9 + 0.19 * (number % 10), 44.05 + 0.1 * (number // 10)
        islands.append(Polygon(np.c_[centre[0] + reach * np.cos(around), centre[1] + reach * np.sin(around)]))
    land = made("land", [{"name": f"Isle {number}"} for number in range(100)], islands)
    banks = [shapely.affinity.scale(island, 1.3, 1.3) for island in islands]
    depth = made("depth", [{"min_depth_m": 1.0, "max_depth_m": 3.0}] * 100, banks)
    places = made(
        "waypoints", [{"name": f"Mark {n}", "kind": "mark"} for n in range(100)], [bank.centroid for bank in banks]
    )
    region = layers.build_region(ABOUT, {"land": land, "depth": depth, "waypoints": places})
    assert len(maps.draw(region, {}, title="t").html()) < 1_500_000


# Colours


def test_contrast_is_that_of_the_guidelines() -> None:
    """Black on white is 21 to 1, any colour on itself 1 to 1 (WCAG 2.2, "contrast ratio")."""
    assert find_contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert find_contrast("#D55E00", "#D55E00") == pytest.approx(1)
    assert find_contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)  # recalled from common use


def test_text_can_be_read_on_every_ground() -> None:
    for ground in ("water", "unknown", "shallow", "shoal", "drying", "land", "outside", "paper", "warning"):
        assert find_contrast(BASE["ink"], BASE[ground]) >= 7, ground
    for ink in ("quiet", "rule", "limit"):
        assert find_contrast(BASE[ink], BASE["paper"]) >= 4.5, ink
    assert find_contrast(BASE["none"], COMPUTED["stop"]) >= 4.5, "the number on a stop"


def test_lines_and_outlines_stand_out_from_the_water() -> None:
    """Non-text contrast of 3 to 1: the track by itself, filled symbols by their outline in ink."""
    for ground in ("water", "shallow"):
        assert find_contrast(COMPUTED["route"], BASE[ground]) >= 3
        assert find_contrast(BASE["closed"], BASE[ground]) >= 3
    for filled in ("stop", "suits", "alternate", "promised"):
        assert find_contrast(COMPUTED[filled], BASE["ink"]) >= 3, filled
