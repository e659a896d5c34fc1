"""Routes as files: names that try to break them, the 180th meridian, numbers, and nothing half written."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import gpxpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layers import route_exchange
from layers.errors import InputError
from layers.route_files import ROUTE_ENDINGS, check_route_file, route_text, write_route
from layers.route_reading import read_route
from layers.route_shapes import route_lines
from layers.routes import Route, RouteLeg, RouteMark, RoutePoint, plain_name
from layers.xml_text import decimal, lon_text

if TYPE_CHECKING:
    from pathlib import Path

LEAVES = datetime(2026, 7, 1, 8, tzinfo=UTC)
HOSTILE = (
    "Gull & Rock <b>bold</b>",
    "ends ]]> here",
    "nul \x00 and bell \x07",
    "turned \u202eback\u202c",
    "boat \U0001f6a4 and \U0001f468\u200d\U0001f469",
    "half \ud83d of a pair",
    "quote \" and ' and `",
    "no \ufffe character",
    "=1+1",
    "line\nfeed\rand\ttab",
    "&amp; &#0; &lol;",
    "\u0645\u0631\u0633\u0649 \u200fport",
)


def a_route(names: tuple[str, ...] = ("West", "Middle", "East"), lon: float = -38.5, step: float = 0.1) -> Route:
    """Lay points along a parallel, an hour apart, with a stop of twenty minutes at each between the ends."""
    points = []
    for i, name in enumerate(names):
        last = i == len(names) - 1
        points.append(
            RoutePoint(
                name=name,
                position=((lon + i * step + 180) % 360 - 180, 44.5),
                kind="start" if i == 0 else "end" if last else "stop",
                comment=f"comment of {name}",
                description=f"first line of {name}\nsecond line",
                leg=RouteLeg(course_deg=90, distance_nmi=4.3, speed_kn=20, keep_within_nmi=0.019) if i else None,
                arrive=LEAVES + timedelta(hours=i) if i else None,
                depart=None if last else LEAVES + timedelta(hours=i, minutes=20 if i else 0),
                facts=(("aboard_l", f"{100 - i:.2f}"),),
            )
        )
    marks = (RouteMark(name="Pump", position=(-38.4, 44.6), kind="alternate", facts=(("vhf", "12"),)),)
    return Route(name=names[0], points=tuple(points), marks=marks, cautions=("Not for navigation.",), made=LEAVES)


@pytest.mark.parametrize("name", HOSTILE)
def test_no_name_breaks_a_file(name: str, tmp_path: Path) -> None:
    """Every format holds the name, less what no display can show, and is read by a reader of its own."""
    kept = plain_name(name)
    route = a_route((name, "Middle", "East")).model_copy(update={"vessel": name})
    written = {}
    for ending in ROUTE_ENDINGS:
        write_route(route, tmp_path / f"run{ending}")
        written[ending] = (tmp_path / f"run{ending}").read_text(encoding="utf-8")
    assert gpxpy.parse(written[".gpx"]).routes[0].points[0].name == kept
    assert read_route(tmp_path / "run.gpx").points[0].name == kept
    first = ET.fromstring(written[".rtz"]).find(".//{*}waypoint")  # noqa: S314  our own file
    assert first is not None
    assert first.get("name") == kept
    placemark = ET.fromstring(written[".kml"]).findall(".//{*}Folder/{*}Placemark")[0]  # noqa: S314
    assert placemark.findtext("{*}name") == kept
    assert json.loads(written[".geojson"])["features"][1]["properties"]["name"] == kept
    assert list(csv.reader(io.StringIO(written[".csv"])))[1][1].removeprefix("'") == kept


@pytest.mark.slow
@settings(max_examples=15)
@given(st.lists(st.text(max_size=30), min_size=2, max_size=5))
def test_any_names_make_sound_files(names: list[str]) -> None:
    route = a_route(tuple(names))
    for ending in (".gpx", ".rtz", ".kml"):
        ET.fromstring(route_text(route, f"x{ending}").encode("utf-8"))  # noqa: S314
    json.loads(route_text(route, "x.geojson"))
    rows = list(csv.reader(io.StringIO(route_text(route, "x.csv"), newline="")))
    assert [row[1].removeprefix("'") for row in rows[1:-1]] == [plain_name(name).removeprefix("'") for name in names]
    assert len({len(row) for row in rows}) == 1


def test_a_name_is_no_markup_in_a_viewer_and_no_formula_in_a_spreadsheet() -> None:
    route = a_route(("<script>alert(1)</script>", "=SUM(A1)", "East"))
    document = ET.fromstring(route_text(route, "x.kml"))  # noqa: S314
    said = document.findtext(".//{*}Folder/{*}Placemark/{*}description")
    assert said is not None
    assert "<script" not in said
    assert "&lt;script&gt;" in said
    rows = list(csv.reader(io.StringIO(route_text(route, "x.csv"))))
    assert rows[2][1] == "'=SUM(A1)"


FORMULAS = ("=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r\n=1+1", " =1+1", "\x00=1+1", "\u202e=1+1", "\u200b+1+1")


@pytest.mark.parametrize("text", FORMULAS)
def test_no_text_of_a_table_is_a_formula(text: str) -> None:
    """Spreadsheets begin a formula at = + - @, some after a tab or a carriage return (common practice of guards)."""
    route = a_route((text, "Middle", text))
    leg = route.points[1].leg
    assert leg is not None
    noted = route.points[1].model_copy(update={"leg": leg.model_copy(update={"note": text}), "facts": (("vhf", text),)})
    mark = route.marks[0].model_copy(update={"name": text, "description": text, "facts": (("vhf", text),)})
    route = route.model_copy(update={"points": (route.points[0], noted, route.points[2]), "marks": (mark,)})
    rows = list(csv.reader(io.StringIO(route_text(route, "x.csv"), newline="")))
    cells = [cell for row in rows[1:] for cell in row]
    begun = [cell for cell in cells if re.match(r"[=+\-@\t\r]", cell) and not re.fullmatch(r"-?[0-9.]+", cell)]
    assert begun == []
    guarded = f"'{plain_name(text)}"
    head = rows[0]
    first, second, third, marked = (dict(zip(head, row, strict=True)) for row in rows[1:])
    assert [first["name"], third["name"], marked["name"]] == [guarded] * 3
    assert [second["note"], second["vhf"], marked["note"], marked["vhf"]] == [guarded] * 4


def test_figures_of_a_table_stay_figures() -> None:
    """Below nothing too: a guard before it would make it a text. A phone number isn't a figure."""
    texts = {"low_l": "-3.5", "phone": "+000111", "a": "-3-2", "b": "--3", "c": "-", "d": "-3."}
    route = a_route()
    point = route.points[1].model_copy(update={"facts": tuple(texts.items())})
    route = route.model_copy(update={"points": (route.points[0], point, route.points[2]), "marks": ()})
    rows = list(csv.reader(io.StringIO(route_text(route, "x.csv"), newline="")))
    told = dict(zip(rows[0], rows[2], strict=True))
    assert {name: told[name] for name in texts} == {
        name: text if name == "low_l" else f"'{text}" for name, text in texts.items()
    }


def test_a_route_over_the_180th_meridian_is_cut_there() -> None:
    """From 179.9 E by 0.1 degrees a point: the third point lies at 179.9 W. RFC 7946, 3.1.9."""
    route = a_route(("A", "B", "C"), lon=179.9, step=0.1)
    assert [point.position[0] for point in route.points] == pytest.approx([179.9, -180.0, -179.9])
    lines = route_lines(route)
    assert lines[0][0] == (179.9, 44.5)
    assert lines[-1][-1] == (-179.9, 44.5)
    for line in lines:
        assert all(-180 <= lon <= 180 for lon, _ in line)
        assert max(abs(a[0] - b[0]) for a, b in pairwise(line)) < 1
    gpx = gpxpy.parse(route_text(route, "x.gpx"))
    assert [p.longitude for p in gpx.routes[0].points] == pytest.approx([179.9, -180.0, -179.9])


@pytest.mark.parametrize("lon", [180.0, 179.99999999, -180.0])
def test_longitudes_stay_below_180(lon: float) -> None:
    """GPX 1.1 and the route exchange format: -180 up to but not 180 (schemas, seen)."""
    assert lon_text((lon, 0.0)) == "-180"


@settings(max_examples=25)
@given(st.floats(-180, 180))
def test_numbers_are_decimals_without_exponent(number: float) -> None:
    text = decimal(number, 7)
    assert re.fullmatch(r"-?(0|[1-9][0-9]*)(\.[0-9]*[1-9])?", text)
    assert text != "-0"
    assert float(text) == pytest.approx(number, abs=5.1e-8)


def test_an_unknown_ending_is_one_line_that_names_the_five(tmp_path: Path) -> None:
    for name in ("run.txt", "run", "run.gpx.bak"):
        with pytest.raises(InputError, match=r"\.gpx, \.rtz, \.geojson, \.kml, \.csv") as caught:
            write_route(a_route(), tmp_path / name)
        assert "\n" not in str(caught.value)
    check_route_file("RUN.GPX")
    assert not list(tmp_path.iterdir())


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "run.gpx"
    write_route(a_route(), path)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InputError, match="no space left"):
        write_route(a_route(("New", "Other")), path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["run.gpx"]


def test_a_table_has_course_distance_speed_and_times_of_the_leg_to_each_point() -> None:
    head, first, second, *_ = csv.reader(io.StringIO(route_text(a_route(), "x.csv"), newline=""))
    told = dict(zip(head, second, strict=True))
    assert [told[n] for n in ("course_deg", "distance_nmi", "speed_kn")] == ["90", "4.3", "20"]
    assert (told["arrive"], told["depart"]) == ("2026-07-01T09:00:00Z", "2026-07-01T09:20:00Z")
    assert (told["latitude_deg"], told["longitude_deg"]) == ("44.5", "-38.4")
    assert dict(zip(head, first, strict=True))["course_deg"] == ""


def test_cautions_stand_in_every_format_that_has_a_place_for_them() -> None:
    route = a_route().model_copy(update={"cautions": ("Not for navigation.", "Call ahead."), "description": "A run."})
    gpx = ET.fromstring(route_text(route, "x.gpx"))  # noqa: S314
    assert (gpx.findtext("{*}metadata/{*}desc") or "").split("\n") == ["A run.", *route.cautions]
    assert gpx.findtext("{*}rte/{*}cmt") == "Not for navigation."
    kml = ET.fromstring(route_text(route, "x.kml"))  # noqa: S314
    assert kml.findtext("{*}Document/{*}description") == "A run.<br>Not for navigation.<br>Call ahead."
    features = json.loads(route_text(route, "x.geojson"))["features"]
    assert features[0]["properties"]["cautions"] == "Not for navigation. Call ahead."
    assert features[2]["properties"]["course_deg"] == 90
    exchange = ET.fromstring(route_text(route, "x.rtz"))  # noqa: S314
    assert "not for navigation" in exchange.find("{*}routeInfo").get("routeStatus", "")  # type: ignore[union-attr]


def test_the_exchange_format_stays_within_its_ranges() -> None:
    """Less than 10 nmi to either side, stays below a day (schema, seen); departure and stays are what was chosen."""
    route = a_route(("A", "B", "C", "D"))
    points = list(route.points)
    for i, stay in ((1, timedelta(hours=23, minutes=59, seconds=59)), (2, timedelta(hours=24))):
        leg = points[i].leg
        arrive = points[i].arrive
        assert leg is not None
        assert arrive is not None
        update = {"leg": leg.model_copy(update={"keep_within_nmi": 25.0}), "depart": arrive + stay}
        points[i] = points[i].model_copy(update=update)
    root = ET.fromstring(route_text(route.model_copy(update={"points": tuple(points)}), "x.rtz"))  # noqa: S314
    assert [leg.get("portsideXTD") for leg in root.iter() if leg.tag.endswith("leg")] == ["9.99", "9.99", "0.019"]
    chosen = root.findall(".//{*}manual/{*}sheduleElement")
    assert [(c.get("waypointId"), c.get("etd"), c.get("stay")) for c in chosen] == [
        ("1", "2026-07-01T08:00:00Z", None),
        ("2", None, "23:59:59"),
    ]


def test_a_long_route_stays_within_what_readers_take(monkeypatch: pytest.MonkeyPatch) -> None:
    """400 kB (IEC 61174:2015, second hand), here twenty: notes on legs go first."""
    assert route_exchange.LARGEST_BYTES == 400_000
    monkeypatch.setattr(route_exchange, "LARGEST_BYTES", 20_000)
    names = tuple(f"point number {i} with a long name" for i in range(60))
    assert "legInfo" not in route_text(a_route(names, lon=-50, step=0.001), "x.rtz")
    assert "legInfo" in route_text(a_route(names[:20], lon=-50, step=0.001), "x.rtz")
