"""Routes held against the formats' own rules, and opened by other programs.

GPX 1.1: order of elements and ranges, from its schema (seen; shared with the checks of the project's pages). The route
exchange format of IEC 61174:2015, version 1.0: elements, attributes and ranges as in its schema (seen in a public copy,
written down here in our own form), the limit of 400 kB and the route's name being the file's (second hand). KML 2.2 is
read by fastkml against the standard's own schema, GeoJSON by geojson-pydantic, both from the registry; GPX, KML,
GeoJSON and CSV by GDAL, GPX by gpxpy.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import fastkml
import gpxpy
import numpy as np
import pyogrio
import pytest
import shapely
from fastkml.validator import validate
from geojson_pydantic import FeatureCollection
from test_route_files import HOSTILE, a_route

from layers.route_files import ROUTE_ENDINGS, write_route

if TYPE_CHECKING:
    from pathlib import Path

GPX = "{http://www.topografix.com/GPX/1/1}"
ROOT_ORDER = ("metadata", "wpt", "rte", "trk", "extensions")
METADATA_ORDER = ("name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions")
POINT_ORDER = (
    *("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat"),
    *("hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions"),
)
ROUTE_ORDER = ("name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept")

EXCHANGE = "{http://www.cirm.org/RTZ/1/0}"
DECIMAL = r"-?[0-9]+(\.[0-9]+)?"
MOMENT = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z"
ANY = r"(?s).*"
# what each element may hold: attributes with the form of their values, those that must be there, children in order
RULES: dict[str, tuple[dict[str, str], set[str], tuple[str, ...]]] = {
    "route": ({"version": r"1\.0"}, {"version"}, ("routeInfo", "waypoints", "schedules", "extensions")),
    "routeInfo": (
        {
            "routeName": ANY,
            "routeAuthor": ANY,
            "routeStatus": ANY,
            "validityPeriodStart": MOMENT,
            "validityPeriodStop": MOMENT,
            "vesselName": ANY,
        },
        {"routeName"},
        ("extensions",),
    ),
    "waypoints": ({}, set(), ("defaultWaypoint", "waypoint", "extensions")),
    "waypoint": (
        {"id": "[0-9]+", "revision": "[0-9]+", "name": ANY, "radius": DECIMAL},
        {"id"},
        ("position", "leg", "extensions"),
    ),
    "position": ({"lat": DECIMAL, "lon": DECIMAL}, {"lat", "lon"}, ()),
    "leg": (
        {
            "starboardXTD": DECIMAL,
            "portsideXTD": DECIMAL,
            "geometryType": "Loxodrome|Orthodrome",
            "speedMin": DECIMAL,
            "speedMax": DECIMAL,
            "legInfo": ANY,
            "legNote1": ANY,
            "legNote2": ANY,
        },
        set(),
        (),
    ),
    "schedules": ({}, set(), ("schedule", "extensions")),
    "schedule": ({"id": "[0-9]+", "name": ANY}, {"id"}, ("manual", "calculated", "extensions")),
    "manual": ({}, set(), ("sheduleElement", "extensions")),  # spelt so in the schema of version 1.0
    "calculated": ({}, set(), ("sheduleElement", "extensions")),
    "sheduleElement": (
        {
            "waypointId": "[0-9]+",
            "etd": MOMENT,
            "eta": MOMENT,
            "stay": r"([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]",
            "speed": DECIMAL,
        },
        {"waypointId"},
        ("extensions",),
    ),
}


def in_order(element: ET.Element, order: tuple[str, ...], namespace: str) -> bool:
    places = [order.index(child.tag.removeprefix(namespace)) for child in element]
    return places == sorted(places)


def exchange_faults(root: ET.Element) -> list[str]:
    faults = []
    for element in root.iter():
        tag = element.tag.removeprefix(EXCHANGE)
        allowed, needed, children = RULES[tag]
        faults += [f"{tag}: {name} is no attribute" for name in set(element.keys()) - allowed.keys()]
        faults += [f"{tag}: {name} is missing" for name in needed - set(element.keys())]
        faults += [
            f"{tag}: {name}={value}"
            for name, value in element.items()
            if name in allowed and not re.fullmatch(allowed[name], value)
        ]
        if not in_order(element, children, EXCHANGE):
            faults.append(f"{tag}: children out of order")
    return faults


@pytest.fixture(scope="module", params=["plain", "hostile", "over 180"])
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    routes = {"plain": a_route(), "hostile": a_route(HOSTILE), "over 180": a_route(lon=179.95)}
    where = tmp_path_factory.mktemp("routes")
    for ending in ROUTE_ENDINGS:
        write_route(routes[request.param], where / f"run{ending}")
    return where


def test_gpx_keeps_the_schema(folder: Path) -> None:
    root = ET.parse(folder / "run.gpx").getroot()  # noqa: S314  our own file
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    assert in_order(root, ROOT_ORDER, GPX)
    for tag, order in (
        ("metadata", METADATA_ORDER),
        ("wpt", POINT_ORDER),
        ("rtept", POINT_ORDER),
        ("rte", ROUTE_ORDER),
    ):
        found = list(root.iter(f"{GPX}{tag}"))
        assert found
        assert all(in_order(element, order, GPX) for element in found)
    for point in (*root.iter(f"{GPX}wpt"), *root.iter(f"{GPX}rtept")):
        assert all(re.fullmatch(DECIMAL, point.get(axis, "")) for axis in ("lat", "lon"))
        assert -90 <= float(point.get("lat", "")) <= 90
        assert -180 <= float(point.get("lon", "")) < 180
        assert point.find(f"{GPX}time") is None, "a point's time is when it was made"


def test_the_exchange_format_keeps_its_schema(folder: Path) -> None:
    path = folder / "run.rtz"
    root = ET.parse(path).getroot()  # noqa: S314
    assert exchange_faults(root) == []
    info, points = root[0], root[1].findall(f"{EXCHANGE}waypoint")
    assert info.get("routeName") == path.stem, "the route is called as its file"
    assert len(points) >= 2
    assert path.stat().st_size <= 400_000
    ids = [point.get("id") for point in points]
    assert len(set(ids)) == len(ids)
    assert points[0].find(f"{EXCHANGE}leg") is None, "no leg leads to the first point"
    assert all(point.find(f"{EXCHANGE}leg") is not None for point in points[1:])
    for leg in root.iter(f"{EXCHANGE}leg"):
        assert all(0 <= float(leg.get(side, "0")) < 10 for side in ("starboardXTD", "portsideXTD"))
    for position in root.iter(f"{EXCHANGE}position"):
        assert -90 <= float(position.get("lat", "")) <= 90
        assert -180 <= float(position.get("lon", "")) < 180
    told = root.findall(f".//{EXCHANGE}calculated/{EXCHANGE}sheduleElement")
    assert [element.get("waypointId") for element in told] == ids
    for element in told:
        if element.get("eta") and element.get("etd"):
            assert element.get("eta", "") <= element.get("etd", "")
            assert element.get("stay") == "00:20:00"


def test_no_leg_leads_to_the_first_point_whatever_the_route_says(tmp_path: Path) -> None:
    """A part of a route begins with a point that a leg led to; where it leads to is all that a leg may stand on."""
    route = a_route()
    part = route.model_copy(update={"points": route.points[1:]})
    write_route(part, tmp_path / "run.rtz")
    points = ET.parse(tmp_path / "run.rtz").getroot()[1]  # noqa: S314
    assert [len(point.findall(f"{EXCHANGE}leg")) for point in points] == [0, 1]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('lon="-38.5"', 'lon="180"'),
        ("portsideXTD", "portXTD"),
        (' id="2"', ""),
        ("Loxodrome", "Rhumb"),
        ('Z"', '"'),
        ('version="1.0" xmlns', 'version="9" xmlns'),
    ],
)
def test_our_own_rules_can_fail(old: str, new: str, tmp_path: Path) -> None:
    write_route(a_route(), tmp_path / "run.rtz")
    text = (tmp_path / "run.rtz").read_text(encoding="utf-8")
    assert old in text
    root = ET.fromstring(text.replace(old, new))  # noqa: S314
    longitudes = [float(p.get("lon", "")) for p in root.iter(f"{EXCHANGE}position")]
    assert exchange_faults(root) or max(longitudes) >= 180


def test_kml_is_valid_by_the_standards_schema(folder: Path) -> None:
    assert validate(file_to_validate=folder / "run.kml") is True
    document = fastkml.KML.parse(folder / "run.kml").features[0]
    by_name = {feature.name: feature for feature in document.features}
    assert len(by_name["Points"].features) >= 3
    assert len(by_name["Marks"].features) == 1
    (line,) = (feature for feature in document.features if isinstance(feature, fastkml.Placemark))
    assert line.geometry.geom_type in ("LineString", "MultiLineString")


def test_geojson_is_valid(folder: Path) -> None:
    read = FeatureCollection.model_validate_json((folder / "run.geojson").read_bytes())
    assert read.features[0].geometry is not None
    assert {f.geometry.type for f in read.features[1:] if f.geometry} == {"Point"}
    assert "crs" not in json.loads((folder / "run.geojson").read_bytes())


def test_other_programs_open_them(folder: Path) -> None:
    """All find as many points, in the same places."""
    routes = gpxpy.parse((folder / "run.gpx").read_text(encoding="utf-8")).routes
    spots = np.array([(p.longitude, p.latitude) for p in routes[0].points])
    gpx = pyogrio.read_dataframe(folder / "run.gpx", layer="route_points")
    assert shapely.get_coordinates(gpx.geometry) == pytest.approx(spots)
    assert len(pyogrio.read_dataframe(folder / "run.gpx", layer="waypoints")) == 1
    geo = pyogrio.read_dataframe(folder / "run.geojson")
    assert shapely.get_coordinates(geo.geometry[geo["part"] == "point"]) == pytest.approx(spots)
    kml = pyogrio.read_dataframe(folder / "run.kml", layer="Points")
    assert shapely.get_coordinates(kml.geometry) == pytest.approx(spots)
    table = pyogrio.read_dataframe(folder / "run.csv")
    lonlat = table[["longitude_deg", "latitude_deg"]].to_numpy(dtype=float)
    assert lonlat[:-1] == pytest.approx(spots)
