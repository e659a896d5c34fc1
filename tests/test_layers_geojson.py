"""GeoJSON to rows and back, against RFC 7946 and a second reader."""

from __future__ import annotations

import itertools
import json
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given
from hypothesis import strategies as st

from layers import LAYERS, build_layer
from layers.checking import check_raw
from layers.geojson import read_geojson, write_geojson

if TYPE_CHECKING:
    from pathlib import Path

ZONE = ZoneInfo("UTC")

# RFC 7946, appendix A.3, "With holes" (seen, quoted by documentation that links to the RFC).
RFC_RINGS = [
    [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
    [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]],
]
RING = [[-38, 44], [-37, 44], [-37, 45], [-38, 44]]


def signed_area(ring: list[list[float]]) -> float:
    """Half the sum of cross products: positive where the ring runs counter-clockwise (the shoelace formula)."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring)) / 2


def saved(folder: Path, text: str | bytes) -> Path:
    path = folder / "layer.geojson"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
    return path


def collection(*features: object, **members: object) -> str:
    return json.dumps({"type": "FeatureCollection", "features": features, **members})


def feature(geometry: object, **properties: object) -> dict[str, object]:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def polygon(*rings: object) -> dict[str, object]:
    return {"type": "Polygon", "coordinates": rings}


@pytest.mark.parametrize("turned", [(), (0,), (1,), (0, 1)])
def test_rings_are_written_as_rfc_7946_wants_them(turned: tuple[int, ...]):
    """Section 3.1.6: exterior rings are counter-clockwise, holes clockwise (seen); whichever way they came."""
    rings = [ring[::-1] if place in turned else ring for place, ring in enumerate(RFC_RINGS)]
    frame = build_layer(LAYERS["land"], [{}], [shapely.Polygon(rings[0], rings[1:])])
    document = json.loads(write_geojson(frame, LAYERS["land"]))
    outer, hole = document["features"][0]["geometry"]["coordinates"]
    assert signed_area(outer) == pytest.approx(1.0)
    assert signed_area(hole) == pytest.approx(-0.36)
    assert [outer[0], hole[0]] == [outer[-1], hole[-1]]


def test_no_crs_member_is_written():
    """Section 4: the crs member of earlier GeoJSON is gone (memory)."""
    frame = build_layer(LAYERS["land"], [{}], [shapely.Polygon(RFC_RINGS[0])])
    document = json.loads(write_geojson(frame, LAYERS["land"]))
    assert sorted(document) == ["features", "type"]
    assert sorted(document["features"][0]) == ["geometry", "properties", "type"]


def test_nan_is_written_as_null_and_nought_as_nought(tmp_path: Path):
    rows = [{"name": "A", "fuels": "diesel"}, {"name": "B", "fuels": "diesel", "price_diesel_per_l": 0, "pumps": 3}]
    frame = build_layer(LAYERS["docks"], rows, [shapely.Point(-38, 44)] * 2)
    text = write_geojson(frame, LAYERS["docks"])
    first, second = (row["properties"] for row in json.loads(text)["features"])
    assert (first["price_diesel_per_l"], first["pumps"]) == (None, None)
    assert (second["price_diesel_per_l"], second["pumps"]) == (0.0, 3)
    assert "NaN" not in text
    assert '"pumps": 3,' in text
    assert read_geojson(saved(tmp_path, text), "docks").columns["price_diesel_per_l"] == [None, 0.0]


@given(
    st.lists(
        st.tuples(st.floats(-180, 180, allow_subnormal=False), st.floats(-90, 90, allow_subnormal=False)),
        min_size=1,
        max_size=5,
    )
)
def test_positions_keep_every_digit(positions: list[tuple[float, float]]):
    frame = build_layer(
        LAYERS["waypoints"],
        [{"name": "A", "kind": "mark"}] * len(positions),
        [shapely.Point(position) for position in positions],
    )
    text = write_geojson(frame, LAYERS["waypoints"])
    read = [tuple(row["geometry"]["coordinates"]) for row in json.loads(text)["features"]]
    assert read == positions


def test_gdal_reads_what_we_write(tmp_path: Path):
    """A second reader, GDAL's, sees the same rows."""
    rows = [{"name": "Knap Quay", "fuels": "gasoline", "depth_m": 2.5}, {"name": "Holm", "fuels": "diesel"}]
    frame = build_layer(LAYERS["docks"], rows, [shapely.Point(-38.123456789012345, 44), shapely.Point(-37, 44)])
    path = saved(tmp_path, write_geojson(frame, LAYERS["docks"]))
    other = pyogrio.read_dataframe(path)
    assert list(other["name"]) == ["Knap Quay", "Holm"]
    assert other["depth_m"][0] == 2.5
    assert other["depth_m"].isna()[1]
    assert other.geometry[0].x == pytest.approx(-38.123456789012345, abs=1e-12)  # GDAL keeps 15 digits
    assert other.crs.to_epsg() == 4326


def test_we_read_what_gdal_writes(tmp_path: Path):
    rows = [{"min_depth_m": -0.5, "survey": "poor"}, {"min_depth_m": 3}]
    shapes = [shapely.Polygon(RFC_RINGS[0], RFC_RINGS[1:]), shapely.box(102, 0, 103, 1)]
    frame = build_layer(LAYERS["depth"], rows, shapes)
    path = tmp_path / "depth.geojson"
    pyogrio.write_dataframe(frame, path, driver="GeoJSON")
    clean, faults = check_raw(read_geojson(path, "depth"), LAYERS["depth"], zone=ZONE)
    assert faults == []
    assert_geodataframe_equal(clean.assign(max_depth_m=float("nan")), frame)


def test_a_byte_order_mark_is_let_pass(tmp_path: Path):
    path = saved(tmp_path, b"\xef\xbb\xbf" + collection(feature(polygon(RING))).encode())
    assert len(read_geojson(path, "land").geometry) == 1


def test_altitudes_are_left_out_even_where_only_some_have_them(tmp_path: Path):
    ring = [[-38, 44, 1.5], [-37, 44], [-37, 45, None], [-38, 44]]
    raw = read_geojson(saved(tmp_path, collection(feature(polygon(ring)))), "land")
    assert raw.faults == ()
    assert raw.geometry[0].wkt == "POLYGON ((-38 44, -37 44, -37 45, -38 44))"


def test_columns_are_all_that_any_row_has(tmp_path: Path):
    path = saved(tmp_path, collection(feature(polygon(RING), a=1), feature(polygon(RING), b=None), feature(None)))
    assert read_geojson(path, "land").columns == {"a": [1, None, None], "b": [None, None, None]}


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "is empty"),
        ("\0\0\0", "is not whole JSON: line 1, column 1"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "is not text in UTF-8 (byte 1)"),
        (collection(feature(polygon(RING))).encode("utf-16"), "is not text in UTF-8"),
        (collection(feature(polygon(RING)))[:-20], "is not whole JSON"),
        ('{"type": "FeatureCollection",\n "features": [}', "line 2, column 15"),
        ("[]", "is not a GeoJSON FeatureCollection"),
        ("17", "is not a GeoJSON FeatureCollection"),
        (json.dumps(polygon(RING)), "is not a GeoJSON FeatureCollection"),
        ('{"type": "FeatureCollection", "features": {}}', "has no list of features"),
        ("[" * 200_000, "nested too deep"),
        ('{"a":' * 200_000, "nested too deep"),
        ('{"type": "FeatureCollection", "n": ' + "9" * 10_000 + "}", "far too long"),
    ],
)
def test_what_is_no_geojson_is_one_fault_of_the_layer(tmp_path: Path, text: str | bytes, rule: str):
    raw = read_geojson(saved(tmp_path, text), "land")
    (fault,) = raw.faults
    assert (fault.layer, fault.row, fault.column) == ("land", 0, "file")
    assert rule in fault.rule
    assert len(raw.geometry) == 0


@pytest.mark.parametrize(
    "name", ["urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:EPSG::4326", "EPSG:4326", "OGC:CRS84"]
)
def test_an_older_crs_member_that_means_wgs_84_is_let_pass(tmp_path: Path, name: str):
    crs = {"type": "name", "properties": {"name": name}}
    assert read_geojson(saved(tmp_path, collection(crs=crs)), "land").faults == ()


@pytest.mark.parametrize(
    ("crs", "value", "rule"),
    [
        (
            {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}},
            "urn:ogc:def:crs:EPSG::25832",
            "is not WGS 84; reproject",
        ),
        ({"type": "name", "properties": {"name": "EPSG:54326"}}, "EPSG:54326", "is not WGS 84; reproject"),
        ({"type": "link", "properties": {"href": "x"}}, "", "is not stated by name"),
        (None, "", "is not stated by name"),
        ("EPSG:4326", "", "is not stated by name"),
    ],
)
def test_any_other_crs_member_is_a_fault(tmp_path: Path, crs: object, value: str, rule: str):
    (fault,) = read_geojson(saved(tmp_path, collection(crs=crs)), "land").faults
    assert (fault.column, fault.value) == ("crs", value)
    assert rule in fault.rule


@pytest.mark.parametrize(
    ("geometry", "rule"),
    [
        (polygon(), "is empty"),
        (polygon([]), "has no list of positions"),
        (polygon([[1, 2]]), "fewer than 4 positions"),
        (polygon([*RING[:3], [-38, 44.1]]), "not closed: it ends at longitude -38.000000, latitude 44.100000"),
        (polygon(RING, None), "has no list of positions"),
        (polygon([[float("nan"), 44], *RING[1:]]), "not a finite number"),
        (polygon([["-38", "44"], *RING[1:]]), "in numbers"),
        (polygon([[None, 44], *RING[1:]]), "in numbers"),
        (polygon([[10**400, 44], *RING[1:]]), "in numbers"),
        (polygon([[-38], *RING[1:]]), "not [longitude, latitude]"),
        (polygon([{"lon": 1}]), "in numbers"),
        ({"type": "Polygon", "coordinates": "x"}, "has no list of coordinates"),
        ({"type": "Polygon"}, "has no list of coordinates"),
        ({"type": "Point", "coordinates": [1]}, "in numbers"),
        ({"type": "LineString", "coordinates": [[1, 2]]}, "fewer than 2 positions"),
        ({"type": "GeometryCollection", "geometries": []}, "must be one of Point"),
        ({"type": ["Point"], "coordinates": [1, 2]}, "must be one of Point"),
        (17, "must be one of Point"),
        ([], "must be one of Point"),
    ],
)
def test_a_shape_that_is_none_is_told_by_its_row(tmp_path: Path, geometry: object, rule: str):
    path = saved(tmp_path, collection(feature(polygon(RING)), feature(geometry)))
    raw = read_geojson(path, "land")
    (fault,) = raw.faults
    assert (fault.row, fault.column) == (2, "geometry")
    assert rule in fault.rule
    assert [shape is None for shape in raw.geometry] == [False, True]
    checked = check_raw(raw, LAYERS["land"], zone=ZONE)[1]
    assert checked == [fault]  # told once


@pytest.mark.parametrize("thing", [1, None, [], "x", {"type": "Point", "coordinates": [1, 2]}])
def test_what_is_no_feature_is_told_by_its_row(tmp_path: Path, thing: object):
    (fault,) = read_geojson(saved(tmp_path, collection(thing)), "land").faults
    assert (fault.row, fault.rule) == (1, "is no GeoJSON Feature")


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=3),
        lambda child: (
            st.lists(child, max_size=4)
            | st.dictionaries(st.sampled_from(["type", "coordinates", "geometry"]), child, max_size=3)
        ),
        max_leaves=12,
    )
)
def test_no_coordinates_make_a_crash(tmp_path_factory: pytest.TempPathFactory, coordinates: object):
    kinds = ["Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon"]
    text = collection(*(feature({"type": kind, "coordinates": coordinates}) for kind in kinds))
    raw = read_geojson(saved(tmp_path_factory.mktemp("any"), text), "land")
    faults = check_raw(raw, LAYERS["land"], zone=ZONE)[1]
    assert {fault.row for fault in faults} >= {1, 2, 4, 5}  # no land is a point or a line


@given(st.binary(max_size=60))
def test_no_bytes_make_a_crash(tmp_path_factory: pytest.TempPathFactory, content: bytes):
    raw = read_geojson(saved(tmp_path_factory.mktemp("any"), content), "land")
    assert len(raw.faults) == 1
