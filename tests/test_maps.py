"""The map as text: nothing in it reaches outside, nothing out of a file reaches it unencoded, it stays small."""

from __future__ import annotations

import html
import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any, Literal

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
from maps.geometry import COAST_WITHIN_M, inside_point, open_edges, rounded, simplified, simplified_inwards
from maps.palette import BASE, COMPUTED, find_contrast
from maps.symbols import SYMBOLS
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


STATES = {
    "good": "dock-suits",
    "doubtful": "dock-doubtful",
    "unsuitable": "dock-unsuited",
    "out of reach": "dock-apart",
}


@pytest.mark.parametrize("state", STATES)
def test_dock_is_drawn_by_its_state_whatever_its_verdict(state: str) -> None:
    """A dock that suits but lies behind a shoal, or that nobody has confirmed, must not look like a good one."""
    mark = {"name": "Aber", "suits": True, "state": state, "title": "Aber", "text": "Sells diesel", "label": "Aber"}
    page = maps.draw(EMPTY, {"dock_marks": made("dock_marks", [mark], [Point(-38, 44.5)])}, title="t").html()
    assert features_of(page)[-1]["properties"]["i"] == STATES[state]
    key = page[page.index('id="panel-key"') : page.index('id="panel-cautions"')]
    assert {icon for icon in STATES.values() if f'class="symbol {icon}"' in key} == {STATES[state]}


def test_states_of_docks_differ_in_shape_and_colour() -> None:
    """Held against each other without their colours, and without their shapes."""
    signs = [SYMBOLS[icon].split("/>")[0] for icon in STATES.values()]
    looks = [re.sub(r'class="[\w ]+"', "", sign) for sign in signs]
    assert len(set(looks)) == len(STATES)
    sheet = maps.draw(EMPTY, {}, title="t").html()
    names = [re.findall(r'class="([\w ]+)"', sign)[0] for sign in signs]
    fills = [re.findall(rf"\.{name} {{ fill: var\(--(\w+)\)", sheet)[0] for name in names]
    assert len(set(fills)) == len(STATES)


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


def test_each_caution_of_a_leg_is_told_once_in_the_list_and_once_in_its_popup() -> None:
    told = "41.3 nmi at 5 kn\nDepth not checked\nHeed: 5 kn limit in Aber\nHeed: crosses a bar"
    row = leg(depth_checked=False, text=told, cautions="5 kn limit in Aber\ncrosses a bar")
    page = maps.draw(EMPTY, {"legs": made("legs", [row], [LineString(TRACK)])}, title="t").html()
    listed = page[page.index('class="legs"') : page.index('id="panel-key"')]
    for text in (listed, features_of(page)[-1]["properties"]["p"]):
        for part in ("41.3 nmi at 5 kn", "Depth not checked", "5 kn limit in Aber", "crosses a bar"):
            assert text.count(part) == 1, part


def cautions_of(page: str) -> str:
    return html.unescape(page[page.index('id="panel-cautions"') : page.index('id="panel-about"')])


def test_map_without_cautions_carries_the_general_ones() -> None:
    said = cautions_of(maps.draw(EMPTY, {}, title="t").html()).lower()
    for part in ("not for navigation", "official charts", "notices", "weather", "tides", "call each", "local rules"):
        assert part in said
    assert "licensed" in said
    own = cautions_of(maps.draw(EMPTY, {}, title="t", cautions=["Not for navigation here", "Old survey"]).html())
    assert "Old survey" in own
    assert "Local rules" not in own, "whoever gives cautions gives all but the one that every map carries"


def test_ring_is_never_told_as_a_promise_over_water() -> None:
    ring = {"title": "r", "label": "60 nmi", "kind": "promised", "distance_nmi": 60.0}
    rings = made("rings", [ring], [LineString([(-38, 44.2), (-37.9, 44.3), (-38.1, 44.3), (-38, 44.2)])])
    page = maps.draw(EMPTY, {"rings": rings}, title="t").html()
    key = html.unescape(page[page.index('id="panel-key"') : page.index('id="panel-cautions"')])
    assert "at the chosen speed, in a straight line; round land it is less" in key
    assert "can be promised" not in key


@pytest.mark.parametrize(
    ("constituents", "mean_kn", "said"),
    [
        ("M2 2.1 52; S2 0.7 88; N2 0.4 35; K1 0.2 120", -0.2, "up to 3.6 kn"),  # 2.1 + 0.7 + 0.4 + 0.2 + 0.2
        ("M2 2.9 64; S2 1.0 101; N2 0.6 47; M4 0.2 210;", 0.1, "up to 4.8 kn"),  # 2.9 + 1.0 + 0.6 + 0.2 + 0.1
        ("M2 1.01 3", 0.0, "up to 1.1 kn"),  # never rounded to the weaker side
    ],
)
def test_stream_tells_its_greatest_rate_first_and_its_constituents_last(
    constituents: str, mean_kn: float, said: str
) -> None:
    row = {"name": "Strait", "flood_deg": 5.0, "ebb_deg": 185.0, "mean_kn": mean_kn, "constituents": constituents}
    frame = made("currents", [row], [box(-38, 44.4, -37.9, 44.5)])
    popup = html.unescape(features_of(maps.draw(EMPTY, {"currents": frame}, title="t").html())[-1]["properties"]["p"])
    assert popup.index(said) < popup.index("Flood sets 005 true") < popup.index(constituents.split(";", maxsplit=1)[0])


def test_current_met_points_where_it_sets_and_is_in_the_list() -> None:
    row = {
        "order": 1,
        "name": "Strait",
        "set_deg": 184.6,
        "drift_kn": 2.76,
        "enter": "Wed 1 Jul 08:55",
        "leave": "Wed 1 Jul 08:57",
        "title": "Current met: Strait",
        "text": "Ebb 2.8 kn\nIn it 08:55 to 08:57",
        "label": "current 2.8 kn",
    }
    frames = {"streams_met": made("streams_met", [row], [Point(-38, 44.5)])}
    page = maps.draw(EMPTY, frames, title="t").html()
    (mark,) = drawn_as(page, "met-mark")
    assert mark["properties"]["a"] == 185
    assert mark["properties"]["i"] in SYMBOLS
    assert html.unescape(mark["properties"]["l"]) == "current 2.8 kn"
    assert "In it 08:55 to 08:57" in html.unescape(mark["properties"]["p"])
    listed = html.unescape(page[page.index('id="panel-route"') : page.index('id="panel-key"')])
    for part in ("Currents met", "Strait", "current 2.8 kn", "In it 08:55 to 08:57", "44 30.00N 038 00.00W"):
        assert part in listed
    assert "points where it sets" in html.unescape(page[page.index('id="panel-key"') :])


@pytest.mark.parametrize(
    ("lengths", "said"),
    [
        ("m", ("4.1 m clear", "2.2 m clear when closed", "Keep off 100 m", "30 to 100 m", "Depth 2.5 m", "0 to 2 m")),
        (
            "ft",  # 4.16 m = 13.648 ft, 2.2 = 7.217, 100 = 328.08, 30 = 98.42, 2.5 = 8.20, 2 = 6.56, 9.9 = 32.48
            (
                "13.6 ft clear",
                "7.2 ft clear when closed",
                "Keep off 328.1 ft",
                "98.4 to 328 ft",
                "Depth 8.2 ft",
                "0 to 6.5 ft",
                "Boats up to 32.4 ft",
            ),
        ),
    ],
)
def test_lengths_are_told_in_the_unit_asked_for_and_on_the_safe_side(
    lengths: Literal["m", "ft"], said: tuple[str, ...]
) -> None:
    spot, area = Point(-38, 44.5), box(-38.2, 44.2, -38.1, 44.3)
    frames = {
        "overhead": made("overhead", [{"name": "Arch", "kind": "bridge", "clearance_m": 4.16}], [LineString(TRACK)]),
        "openings": made(
            "openings",
            [{"name": "Span", "kind": "bridge", "closed_clearance_m": 2.2, "opening_hours": "24/7", "wait_min": 10}],
            [spot],
        ),
        "hazards": made("hazards", [{"name": "Rock", "kind": "rock", "keep_off_m": 100.0}], [spot]),
        "depth": made(
            "depth", [{"min_depth_m": 30.0, "max_depth_m": 100.0}, {"min_depth_m": 1.0, "max_depth_m": 2.0}], [area] * 2
        ),
        "docks": made("docks", [{"name": "Aber", "fuels": "diesel", "depth_m": 2.5, "max_length_m": 9.9}], [spot]),
    }
    page = maps.draw(EMPTY, frames, title="t", lengths=lengths).html()
    text = html.unescape(page)
    for part in said:
        assert part in text, part
    other = {"m": "ft", "ft": "m"}[lengths]
    shown = [
        html.unescape(value) for feature in features_of(page) for value in map(str, feature["properties"].values())
    ]
    shown += [text[text.index('id="panel-key"') : text.index('id="panel-cautions"')]]
    assert not [value for value in shown if re.search(rf"\d {other}\b", value)]


def test_unit_of_lengths_that_nobody_knows_is_refused() -> None:
    with pytest.raises(InputError, match="'m' or 'ft'"):
        maps.draw(EMPTY, {}, title="t", lengths="fathom")  # type: ignore[arg-type]


def test_what_must_be_heeded_near_the_track_comes_before_lengths_and_rings() -> None:
    """300 m and 3 km off the track, by hand: a degree of latitude is 60 nmi of 1852 m."""
    near, far = Point(-38, 44.5 + 300 / 111120), Point(-38, 44.5 + 3000 / 111120)
    line = LineString([(-38.5, 44.5), (-37.5, 44.5)])
    opening = {"name": "Span", "kind": "lock", "closed_clearance_m": 0.0, "opening_hours": "24/7", "wait_min": 10}
    frames = {
        "legs": made("legs", [leg()], [line]),
        "openings": made("openings", [opening] * 2, [near, far]),
        "hazards": made("hazards", [{"kind": "rock", "keep_off_m": 50.0}] * 2, [near, far]),
        "zones": made(
            "zones", [{"name": "Nest", "rule": "no-entry", "why": "birds"}] * 2, [near.buffer(1e-3), far.buffer(1e-3)]
        ),
    }
    features = [feature["properties"] for feature in features_of(maps.draw(EMPTY, frames, title="t").html())]
    track = next(feature["r"] for feature in features if feature["k"] == "leg leg")
    for icon in ("opening", "hazard"):
        close, away = (feature["r"] for feature in features if feature.get("i") == icon)
        assert close > track > away
    shut = [feature for feature in features if feature.get("i") == "no-entry"]
    assert [feature["r"] > track for feature in shut] == [True], "a sign close to the track, a plain label elsewhere"


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


# Reach

M = 1 / 111195  # [deg] a metre of latitude on a sphere of 6371.0088 km
LAT = np.cos(np.radians(44.5))


def at(east_m: float, north_m: float) -> tuple[float, float]:
    """[deg] A position by its way from 38 W, 44.5 N."""
    return -38 + east_m * M / LAT, 44.5 + north_m * M


def ragged(radius_m: float, corners: int = 3000) -> Polygon:
    """Water with a ragged edge, a small island and a comb of narrow bays in it."""
    turns = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    far = radius_m * (1 + 0.02 * np.sin(11 * turns) + 0.004 * np.cos(301 * turns))
    outline = Polygon([at(r * np.cos(t), r * np.sin(t)) for r, t in zip(far, turns, strict=True)])
    island = Polygon([at(3000 + 60 * np.cos(t), 60 * np.sin(t)) for t in turns[::100]])
    comb = [box(*at(-6000 + 130 * n, -3000), *at(-6000 + 130 * n + 60, 3000)) for n in range(20)]
    return outline.difference(shapely.union_all([island, *comb]))


@pytest.mark.parametrize("within_m", [5.0, 20.0, 80.0, 320.0])
@pytest.mark.parametrize("radius_m", [400.0, 9_000.0, 60_000.0])
def test_area_simplified_inwards_is_never_more_than_it_was_even_rounded(within_m: float, radius_m: float) -> None:
    water = ragged(radius_m, 1200)
    drawn = shapely.geometry.shape(rounded(simplified_inwards(water, within_m)))
    assert not drawn.is_empty
    assert water.covers(drawn)


def test_area_simplified_inwards_loses_corners_and_little_else() -> None:
    """The edge lies at the most 1.1 * 20 + 2 + 20 m inside: 44 m of its length is what may be lost."""
    water = ragged(20_000.0).buffer(-300 * M).buffer(300 * M)  # without what is narrower
    drawn = simplified_inwards(water, 20.0)
    assert shapely.get_num_coordinates(drawn) < shapely.get_num_coordinates(water) / 3
    planes = [shapely.transform(shape, lambda corners: corners * [LAT / M, 1 / M]) for shape in (water, drawn)]
    assert 0 < planes[0].area - planes[1].area < 44 * planes[0].length


def test_what_is_too_narrow_to_draw_is_nothing() -> None:
    assert simplified_inwards(box(*at(0, 0), *at(2, 2000))).is_empty


def test_edge_is_drawn_through_the_open_and_not_along_the_shore() -> None:
    """A square of 10 km, land 60 m to the west of it: three sides of 10 km are open, but for 100 m at two corners."""
    water, land = box(*at(0, 0), *at(10_000, 10_000)), box(*at(-5000, -5000), *at(-60, 15_000))
    (edge,) = open_edges([water], [land], 120.0)
    plane = shapely.transform(edge, lambda corners: (corners - at(0, 0)) * [LAT / M, 1 / M])
    assert 29_700 < plane.length <= 30_000
    assert plane.distance(Point(0, 5000)) > 4900
    assert water.boundary.buffer(1e-9).covers(edge)
    (whole,) = open_edges([water], [], 120.0)
    assert whole.length == pytest.approx(water.length)
    assert open_edges([water], [water.buffer(50 * M)], 120.0)[0].is_empty


@pytest.mark.parametrize(("wide_m", "drawn"), [(60.0, False), (200.0, True)])
def test_slit_in_an_area_is_no_edge_of_it(wide_m: float, *, drawn: bool) -> None:
    """A slit as wide as half the distance of 120 m has the area on both sides; one of 200 m is water to stay out of."""
    water = box(*at(0, 0), *at(10_000, 10_000))
    slit = box(*at(5000, -1), *at(5000 + wide_m, 8000))
    (edge,) = open_edges([water.difference(slit)], [], 120.0)
    inside = edge.intersection(box(*at(4000, 1000), *at(6000, 7000)))
    assert inside.is_empty is not drawn
    assert edge.intersects(box(*at(-10, 4000), *at(10, 6000))), "the outline is there"


def reach_row(**changes: object) -> dict[str, Any]:
    row: dict[str, Any] = {
        "kind": "one-way",
        "figure": "low",
        "speed_kn": 24.0,
        "fuel_l": 100.0,
        "there_and_back": False,
        "inside": False,
        "title": "One way",
        "text": "Down to the reserve",
        "label": "One way, low figure",
    }
    return row | changes


def place_row(**changes: object) -> dict[str, Any]:
    row: dict[str, Any] = {
        "name": "Aber",
        "kind": "harbour",
        "distance_nmi": 12.34,
        "time_h": 1.25,
        "fuel_l": 50.0,
        "fuel_there_and_back_l": 100.0,
        "margin_low_l": 40.0,
        "aboard_on_return_low_l": 20.0,
        "there_and_back": True,
        "refuel": "opens later",
        "title": "Aber",
        "text": "Opens Thu 09:00",
        "label": "12.3 nmi, 1 h 15 min",
    }
    return row | changes


def turn_row(**changes: object) -> dict[str, Any]:
    row: dict[str, Any] = {
        "dock": "Bede Fuel",
        "towards": "Corrie",
        "distance_nmi": 20.0,
        "time_h": 1.0,
        "dock_distance_nmi": 8.0,
        "aboard_at_dock_low_l": 15.0,
        "title": "Towards Corrie: last dock Bede Fuel",
        "text": "Turn within 20.0 nmi",
        "label": "last dock Bede Fuel",
    }
    return row | changes


def reach_of(*rows: dict[str, Any], radius_m: float = 20_000.0) -> gpd.GeoDataFrame:
    return made("reach", list(rows), [ragged(radius_m * 0.9**n) for n in range(len(rows))])


def drawn_as(page: str, look: str) -> list[dict[str, Any]]:
    return [feature for feature in features_of(page) if feature["properties"].get("k") == look]


def test_drawn_reach_claims_nothing_that_the_layer_does_not() -> None:
    frame = reach_of(reach_row(), reach_row(kind="out-and-back", there_and_back=True))
    page = maps.draw(EMPTY, {"reach": frame}, title="t").html()
    for kind, water in zip(("one-way", "out-and-back"), frame.geometry, strict=True):
        (fill,) = drawn_as(page, f"fill {kind}")
        drawn = shapely.geometry.shape(fill["geometry"])
        assert water.covers(drawn)
        assert drawn.area > 0.9 * water.area
        (edge,) = drawn_as(page, f"reach {kind} low")
        assert water.covers(shapely.geometry.shape(edge["geometry"]))


def test_kinds_and_figures_of_reach_are_told_apart_without_colour() -> None:
    """What to count on is filled or a whole line, the average is dashed; each kind has its own look and its label."""
    kinds = ("one-way", "out-and-back", "thirds", "budget", "some-dock")
    rows = [
        reach_row(kind=kind, figure=figure, label=f"{kind} {figure}") for kind in kinds for figure in ("low", "mean")
    ]
    page = maps.draw(EMPTY, {"reach": reach_of(*rows)}, title="t").html()
    assert {look for look in looks_of(page) if look.startswith("fill")} == {
        f"fill {kind}" for kind in ("one-way", "out-and-back", "budget")
    }
    style = page[page.index(".shape.reach {") : page.index(".shape.data-edge {")]
    rules = dict(re.findall(r"(\.shape\.reach[\w.-]*) \{ (.*?) \}", re.sub(r"stroke: [^;]*;", "", style)))
    dashes = {}
    for kind in kinds:
        (low,), (mean,) = drawn_as(page, f"reach {kind} low"), drawn_as(page, f"reach {kind} mean")
        assert (low["properties"]["l"], mean["properties"]["l"]) == (f"{kind} low", f"{kind} mean")
        assert low["properties"]["r"] > mean["properties"]["r"]
        own = rules.get(f".shape.reach.{kind}.mean", rules[".shape.reach.mean"])
        dashes[kind] = re.findall(r"stroke-dasharray: ([\d. ]+)", own)[0]
    assert len(set(dashes.values())) == len(kinds)
    lows = [rules.get(f".shape.reach.{kind}.low", rules[".shape.reach"]) for kind in kinds]
    lows = [low + rules.get(f".shape.reach.{kind}.low.under", "") for kind, low in zip(kinds, lows, strict=True)]
    assert len(set(lows)) == len(kinds)


def test_further_speeds_and_thirds_wait_to_be_switched_on() -> None:
    rows = [reach_row(), reach_row(kind="thirds"), reach_row(speed_kn=30.0), reach_row(speed_kn=30.0, figure="mean")]
    page = maps.draw(EMPTY, {"reach": reach_of(*rows)}, title="t").html()
    key = html.unescape(page[page.index('id="panel-key"') : page.index('id="panel-cautions"')])
    switches = re.findall(r'checkbox"( checked|) data-theme="\d+"><b><bdi>(.*?)</bdi>', key)
    assert {title: bool(on) for on, title in switches} == {
        "Reach one way": True,
        "Reach by thirds": False,
        "Reach at 30 kn": False,
    }
    assert len(drawn_as(page, "reach one-way other")) == 1, "the average at another speed would be one line too many"


def test_edge_of_the_data_says_that_it_is_no_edge_of_the_reach() -> None:
    edge = made("data_edges", [{"title": "Data end", "text": "How far is not known"}], [LineString(TRACK)])
    page = maps.draw(EMPTY, {"reach": reach_of(reach_row()), "data_edges": edge}, title="t").html()
    (drawn,) = drawn_as(page, "data-edge")
    assert "data end here" in drawn["properties"]["l"]
    assert "How far is not known" in html.unescape(drawn["properties"]["p"])
    key = page[page.index('id="panel-key"') : page.index('id="panel-cautions"')]
    assert "the data end here: how far she gets beyond is not known" in html.unescape(key)


def test_places_in_reach_stand_in_for_the_same_docks_and_places_and_keep_what_is_known_of_them() -> None:
    here, there = Point(-38, 44.5), Point(-38.4, 44.4)
    mark = {"suits": True, "state": "doubtful", "title": "Aber", "text": "VHF 09", "label": "Aber"}
    frames = {
        "reach": reach_of(reach_row()),
        "dock_marks": made("dock_marks", [mark | {"name": "Aber"}, mark | {"name": "Bede"}], [here, there]),
        "waypoints": made(
            "waypoints", [{"name": "Cove", "kind": "anchorage"}, {"name": "Aber", "kind": "mark"}], [here] * 2
        ),
        "reach_places": made(
            "reach_places",
            [place_row(kind="dock"), place_row(name="Cove", kind="anchorage", there_and_back=False)],
            [here, here],
        ),
    }
    marks = [
        f["properties"]
        for f in features_of(maps.draw(EMPTY, frames, title="t").html())
        if "mark" in f["properties"]["k"]
    ]
    assert sorted((mark["k"], mark["i"]) for mark in marks) == [
        ("dock-mark", "dock-doubtful"),
        ("dock-mark in-reach", "both dock-doubtful"),
        ("place-mark in-reach", "out-small anchorage"),
    ]
    (dock,) = [mark for mark in marks if mark["k"] == "dock-mark in-reach"]
    for part in ("Opens Thu 09&#58;00", "VHF 09", "44 30.00N 038 00.00W"):
        assert part in dock["p"]


def test_table_of_places_is_in_the_unit_asked_for_and_on_the_safe_side() -> None:
    """40 l above the reserve are 10.567 US gallons of 3.785411784 l: 10.5. 1.25 h are 1 h 15."""
    rows = [place_row(), place_row(name="Bede", there_and_back=False, time_h=0.5, refuel="no")]
    places = made("reach_places", rows, [Point(-38, 44.5), Point(-38.4, 44.4)])
    frames = {"reach": reach_of(reach_row()), "reach_places": places}
    page = maps.draw(EMPTY, frames, title="t", volumes="usgal").html()
    panel = html.unescape(page[page.index('id="panel-reach"') : page.index('id="panel-key"')])
    back, out = panel.split("One way only")
    assert re.findall(r"<td>(.*?)</td>", back) == ["12.3", "1 h 15", "10.5", "later"]
    assert re.findall(r"<td>(.*?)</td>", out) == ["12.3", "30 min", "10.5", "no"]
    assert "spare gal" in back
    assert "no dock left" not in panel
    assert "There and back" in back
    with pytest.raises(InputError, match="'usgal'"):
        maps.draw(EMPTY, {}, title="t", volumes="barrel")  # type: ignore[arg-type]


def test_places_with_no_dock_left_behind_them_say_so() -> None:
    rows = [place_row(dock_still_in_reach=True), place_row(name="Bede", dock_still_in_reach=False, refuel="no")]
    places = made("reach_places", rows, [Point(-38, 44.5), Point(-38.4, 44.4)])
    page = maps.draw(EMPTY, {"reach": reach_of(reach_row()), "reach_places": places}, title="t").html()
    panel = html.unescape(page[page.index('id="panel-reach"') : page.index('id="panel-key"')])
    aber, bede = panel.split("Bede")
    assert "no dock left" not in aber
    assert "harbour; no dock left to go on to" in bede


def test_turning_points_are_marked_and_listed() -> None:
    turns = made("turning_points", [turn_row()], [Point(-38, 44.5)])
    page = maps.draw(EMPTY, {"reach": reach_of(reach_row()), "turning_points": turns}, title="t").html()
    (mark,) = drawn_as(page, "turn-mark")
    assert (mark["properties"]["i"], mark["properties"]["l"]) == ("turn-back", "last dock Bede Fuel")
    listed = html.unescape(page[page.index('id="panel-turns"') : page.index('id="panel-key"')])
    for part in ("Towards Corrie: last dock Bede Fuel", "Turn within 20.0 nmi", "44 30.00N 038 00.00W"):
        assert part in listed


def test_view_holds_the_reach_and_its_rings_but_not_what_lies_beyond_the_data() -> None:
    """The ring goes 0.2 degrees beyond the extent's west side at 39 W, the reach stays 0.9 inside the south side."""
    ring = {"title": "r", "label": "r", "kind": "mark", "distance_nmi": 1.0}
    rings = made(
        "rings", [ring], [LineString([(-39.2, 44.5), (-38, 44.95), (-37.5, 44.5), (-38, 44.05), (-39.2, 44.5)])]
    )
    start = made("stops", [stop(kind="start", order=0)], [Point(-38, 44.5)])
    frames = {"reach": reach_of(reach_row()), "rings": rings, "stops": start}
    page = maps.draw(EMPTY, frames, title="t").html()
    settings = re.search(r"drawing.open\(\"map_sea\", (\{.*?\})\);\n", page)
    assert settings is not None
    assert json.loads(settings[1])["view"] == [[44.05, -39.0], [44.95, -37.5]]
    assert 'id="panel-route"' not in page, "the start alone is no passage"


def test_map_of_a_heavy_reach_stays_small() -> None:
    """Ten areas with 4,000 teeth 300 m high and 150 m apart: 40,000 corners at any tolerance that is fit to see."""
    turns = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    teeth = np.where(np.arange(4000) % 2, 95_000.0, 95_300.0)
    saws = [
        Polygon([at(r * np.cos(t), r * np.sin(t)) for r, t in zip(teeth - n, turns, strict=True)]) for n in range(10)
    ]
    rows = [reach_row(kind=kind, figure=figure) for kind in ("one-way", "thirds") for figure in ("low", "mean")]
    frame = made("reach", (rows * 3)[:10], saws)
    heavy = maps.draw(EMPTY, {"reach": frame}, title="t").html()
    assert len(heavy) - len(maps.draw(EMPTY, {}, title="t").html()) < 700_000
    (fill,) = drawn_as(heavy, "fill one-way")[:1]
    assert frame.geometry[0].covers(shapely.geometry.shape(fill["geometry"]))


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
    with pytest.raises(InputError, match=r"written|not a file"):
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
    for filled in ("stop", "suits", "alternate", "promised", "highlight", "mark"):
        assert find_contrast(COMPUTED[filled], BASE["ink"]) >= 3, filled
