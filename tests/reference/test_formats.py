"""What we write, held against the open standards and opened by other programs.

GeoJSON: RFC 7946. Marks: 3.1.1, 3.1.6 and 3.1.9 seen in the text or second hand in a quotation of it, section 4 and the
rest from memory. GeoPackage: OGC 12-128r19, from memory, with GDAL (pyogrio) and sqlite3 as the other programs. The
small cases of either are in ``test_layers_geojson.py`` and ``test_layers_geopackage.py``; here it is everything that
the demo holds, the layers of a plan, and the track of its JSON.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import struct
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pytest
import shapely

import demo_region
from layers import COMPUTED, LAYERS, geodesic_ring, write_layers, write_region
from routeplan import Trip, find_passage, full, layers_of

if TYPE_CHECKING:
    from pathlib import Path

    from layers import Region
    from routeplan import Network, Passage

SAME_DEG = 1e-9  # GDAL keeps 15 digits of a number in text


@pytest.fixture(scope="module")
def passage(demo_network: Network) -> Passage:
    """Plan a run across the whole demo."""
    trip = Trip(start="Tolvarrow", finish="Ettermoy", depart="2026-07-01T08:00Z", aboard=full(demo_network.boat))
    return find_passage(demo_network, trip)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, demo: Region, passage: Passage) -> Path:
    """Write the demo and the layers of a plan, each as a folder and as a GeoPackage."""
    folder = tmp_path_factory.mktemp("formats")
    write_region(demo, folder / "region")
    write_region(demo, folder / "region.gpkg")
    write_layers(layers_of(passage), folder / "plan")
    write_layers(layers_of(passage), folder / "plan.gpkg")
    return folder


def faults_of_ring(ring: list[Any], *, outer: bool) -> list[str]:
    faults = []
    if len(ring) < 4:
        faults.append("a linear ring has four or more positions (3.1.6)")
    if ring[0] != ring[-1]:
        faults.append("its first and last positions are the same (3.1.6)")
    x, y = np.array(ring)[:, :2].T - np.array(ring[0])[:2, None]
    if ((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() > 0) != outer:
        faults.append("outer rings run counter-clockwise, holes clockwise (3.1.6)")
    return faults


def faults_of_geometry(geometry: dict[str, Any]) -> list[str]:
    """Tell where a geometry breaks RFC 7946; written from its text and not from our reader."""
    kind, coordinates = geometry["type"], geometry["coordinates"]
    faults = [] if sorted(geometry) == ["coordinates", "type"] else ["it has other members"]
    if kind.startswith("Multi"):
        parts = [{"type": kind.removeprefix("Multi"), "coordinates": part} for part in coordinates]
        return faults + [fault for part in parts for fault in faults_of_geometry(part)]
    flat = {"Point": [coordinates], "LineString": coordinates}
    positions = flat[kind] if kind in flat else [position for ring in coordinates for position in ring]
    if any(len(p) != 2 or not (-180 <= p[0] <= 180 and -90 <= p[1] <= 90) for p in positions):
        faults.append("a position is longitude, latitude in degrees (3.1.1)")
    if any(abs(a[0] - b[0]) > 180 for a, b in pairwise(positions)):
        faults.append("a geometry over the antimeridian is cut in two there (3.1.9)")
    if kind == "LineString" and len(positions) < 2:
        faults.append("a line has two or more positions (3.1.4)")
    if kind == "Polygon":
        faults += [fault for i, ring in enumerate(coordinates) for fault in faults_of_ring(ring, outer=i == 0)]
    elif kind not in ("Point", "LineString"):
        faults.append(f"{kind} is no geometry type (1.4)")
    return faults


def faults_of_document(text: str) -> list[str]:
    def refuse(token: str) -> float:
        raise ValueError(f"{token} is not JSON (RFC 8259)")

    document = json.loads(text, parse_constant=refuse)
    faults = [] if sorted(document) == ["features", "type"] else ["it has other members, a crs perhaps (4)"]
    if document["type"] != "FeatureCollection":
        faults.append("it is no FeatureCollection (3.3)")
    for feature in document["features"]:
        if feature["type"] != "Feature" or not {"geometry", "properties"} <= set(feature):
            faults.append("a feature has type, geometry and properties (3.2)")
        faults += faults_of_geometry(feature["geometry"])
    return faults


def test_the_demos_files_keep_to_rfc_7946():
    files = sorted(demo_region.data_folder().glob("*.geojson"))
    assert len(files) == len(LAYERS)
    assert {path.stem: faults_of_document(path.read_text("utf-8")) for path in files} == {p.stem: [] for p in files}


@pytest.mark.parametrize("folder", ["region", "plan"])
def test_what_is_written_keeps_to_rfc_7946(written: Path, folder: str):
    files = sorted((written / folder).glob("*.geojson"))
    assert {p.stem for p in files} <= set(LAYERS) | set(COMPUTED)
    assert {path.stem: faults_of_document(path.read_bytes().decode()) for path in files} == {p.stem: [] for p in files}


def test_the_check_itself_finds_what_breaks_rfc_7946():
    """The document of each fault, made by hand."""
    square = [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]
    for kind, coordinates, said in [
        ("Polygon", [square[::-1]], "3.1.6"),
        ("Polygon", [square, square], "3.1.6"),
        ("Polygon", [square[:-1]], "3.1.6"),
        ("Point", [44, 200], "3.1.1"),
        ("LineString", [[179, 0], [-179, 0]], "3.1.9"),
    ]:
        assert said in " ".join(faults_of_geometry({"type": kind, "coordinates": coordinates}))
    assert faults_of_geometry({"type": "Polygon", "coordinates": [square]}) == []


def test_the_track_of_a_plan_is_a_geojson_line(passage: Passage):
    document = json.loads(json.dumps(passage.recommended.model_dump(mode="json")))
    assert document["track"]["type"] == "LineString"
    assert faults_of_geometry(document["track"]) == []


@pytest.mark.parametrize("lon", [179.5, -179.2, 180.0, -180.0, 179.999])
def test_a_ring_over_the_antimeridian_is_split(lon: float):
    """RFC 7946, 3.1.9, second hand: what crosses 180 is cut there, so that no edge runs round the world.

    Nothing of the ring may go with the cut: it is as long as the same ring elsewhere, to the rounding of degrees.
    """
    ring = geodesic_ring((lon, -40.0), 60.0)
    assert ring.geom_type == "MultiLineString"
    assert faults_of_geometry(json.loads(shapely.to_geojson(ring))) == []
    assert ring.length == pytest.approx(geodesic_ring((10.0, -40.0), 60.0).length, rel=1e-9)


@pytest.mark.parametrize("what", ["region", "plan"])
def test_gdal_reads_the_same_from_either_format(written: Path, what: str):
    """Every layer, opened by GDAL from GeoJSON and from the GeoPackage: as many rows, the same shapes and names."""
    package = written / f"{what}.gpkg"
    tables = {name for name, kind in pyogrio.list_layers(package) if kind is not None}
    assert tables == {path.stem for path in (written / what).glob("*.geojson")}
    for name in sorted(tables):
        if not (rows := json.loads((written / what / f"{name}.geojson").read_text())["features"]):
            continue
        text = pyogrio.read_dataframe(written / what / f"{name}.geojson")
        table = pyogrio.read_dataframe(package, layer=name)
        assert len(text) == len(table) == len(rows), name
        assert text.crs.to_epsg() == table.crs.to_epsg() == 4326, name
        assert shapely.equals_exact(text.geometry.to_numpy(), table.geometry.to_numpy(), SAME_DEG, normalize=True).all()
        for column in {"name", "title", "kind", "rule"} & set(table):
            assert text[column].tolist() == table[column].tolist(), (name, column)


@pytest.mark.parametrize("what", ["region", "plan"])
def test_it_is_a_geopackage(written: Path, what: str):
    """OGC 12-128r19 as far as it bears on vector layers: the file, its reference systems, contents, columns. Memory."""
    package = written / f"{what}.gpkg"
    assert package.read_bytes()[:16] == b"SQLite format 3\0"
    with contextlib.closing(sqlite3.connect(f"file:{package}?mode=ro", uri=True)) as database:
        ask = database.execute
        assert ask("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert ask("PRAGMA user_version").fetchone()[0] >= 10200
        assert ask("PRAGMA integrity_check").fetchone() == ("ok",)
        assert ask("PRAGMA foreign_key_check").fetchall() == []
        systems = dict(ask("SELECT srs_id, organization_coordsys_id FROM gpkg_spatial_ref_sys"))
        assert {-1, 0, 4326} <= set(systems)
        assert systems[4326] == 4326
        tables = ask("SELECT table_name, data_type, srs_id, min_x, min_y, max_x, max_y FROM gpkg_contents").fetchall()
        for name, kind, system, *_ in tables:
            keys = [row for row in ask(f'PRAGMA table_info("{name}")') if row[5]]
            assert [(key[2].upper(), key[5]) for key in keys] == [("INTEGER", 1)], name
            assert kind in ("features", "attributes")
            assert kind == "attributes" or system == 4326
        features = {name for name, kind, *_ in tables if kind == "features"}
        columns = ask("SELECT table_name, column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns")
        columns = {name: rest for name, *rest in columns}
        assert set(columns) == features
        for name, (column, kind, system, z, m) in columns.items():
            assert (system, z, m) == (4326, 0, 0)
            assert kind.removeprefix("MULTI") in {"POINT", "LINESTRING", "POLYGON", "GEOMETRY"}
            blobs = [blob for (blob,) in ask(f'SELECT "{column}" FROM "{name}"')]  # noqa: S608  our own file's names
            assert all(blob[:3] == b"GP\0" and shapes_kind(blob, kind) for blob in blobs), name


def shapes_kind(blob: bytes, kind: str) -> bool:
    """Take a GeoPackage geometry apart by hand: flags, WGS 84, an envelope that fits, WKB of the column's kind."""
    order = "<" if blob[3] & 1 else ">"
    envelope_doubles = {0: 0, 1: 4, 2: 6, 3: 6, 4: 8}[blob[3] >> 1 & 7]
    shape = shapely.from_wkb(blob[8 + 8 * envelope_doubles :])
    west, south, east, north = shape.bounds
    box = struct.unpack(f"{order}{envelope_doubles}d", blob[8 : 8 + 8 * envelope_doubles])
    return (
        struct.unpack(f"{order}i", blob[4:8]) == (4326,)
        and (not box or box[:4] == (west, east, south, north))
        and kind in ("GEOMETRY", shape.geom_type.upper())
    )


def test_the_extents_it_states_hold_its_shapes(written: Path, demo: Region):
    """The bounds in gpkg_contents are informative; a GIS zooms to them. Memory (2.2.6). Exact."""
    with contextlib.closing(sqlite3.connect(written / "region.gpkg")) as database:
        stated = {
            name: bounds
            for name, kind, *bounds in database.execute(
                "SELECT table_name, data_type, min_x, min_y, max_x, max_y FROM gpkg_contents"
            )
            if kind == "features"
        }
    for name, bounds in stated.items():
        assert bounds == pytest.approx(demo.layer(name).total_bounds.tolist(), abs=1e-12), name
