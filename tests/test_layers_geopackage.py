"""GeoPackages, against OGC 12-128 as SQLite and GDAL see it."""

from __future__ import annotations

import contextlib
import math
import sqlite3
import struct
from typing import TYPE_CHECKING

import pyogrio
import pytest
import shapely

from layers import LAYERS, InputError, LayersError, RegionAbout, build_layer, build_region, read_region, write_region

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from layers import Region

ABOUT = RegionAbout(
    name="Nowhere Sound",
    extent=(-39.5, 43.75, -36.0, 45.25),
    time_zone="Atlantic/Azores",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
)
LAND = shapely.box(-38.2, 44.2, -38.1, 44.3)


@pytest.fixture(scope="module")
def region() -> Region:
    docks = [
        {"name": "Knap Quay", "fuels": "gasoline", "members_only": True, "confirmed_on": "2026-05-01", "pumps": 2},
        {"name": "Holm", "fuels": "diesel", "members_only": False, "depth_m": 0},
        {"name": "Ayre", "fuels": "diesel"},
    ]
    frames = {
        "land": build_layer(LAYERS["land"], [{}, {"name": "Holm"}], [LAND, shapely.MultiPolygon([LAND])]),
        "docks": build_layer(LAYERS["docks"], docks, [shapely.Point(-38, 44 + 1 / 3)] * 3),
        "hazards": build_layer(
            LAYERS["hazards"], [{"kind": "rock", "keep_off_m": 50}] * 2, [shapely.Point(-38, 44), LAND]
        ),
        "currents": build_layer(LAYERS["currents"], [], []),
    }
    return build_region(ABOUT, frames)


@pytest.fixture
def package(region: Region, tmp_path: Path) -> Path:
    path = tmp_path / "region.gpkg"
    write_region(region, path)
    return path


def changed(path: Path, *statements: str) -> Path:
    with contextlib.closing(sqlite3.connect(path)) as database, database:
        for statement in statements:
            database.execute(statement)
    return path


def fault_of(path: Path) -> tuple[str, int, str, str]:
    with pytest.raises(LayersError) as caught:
        read_region(path)
    (row,) = caught.value.bad_rows
    return row.layer, row.row, row.column, row.rule


def test_it_is_a_geopackage_as_the_standard_says(package: Path):
    """OGC 12-128: application id "GPKG" (requirement 2, seen), version MMmmPP (seen), its core tables (memory)."""
    with contextlib.closing(sqlite3.connect(package)) as database:
        assert database.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert database.execute("PRAGMA user_version").fetchone()[0] >= 10200
        contents = dict(database.execute("SELECT table_name, data_type FROM gpkg_contents"))
        assert contents == {
            "land": "features",
            "docks": "features",
            "hazards": "features",
            "currents": "features",
            "routeplan_region": "attributes",
        }
        assert set(database.execute("SELECT srs_id FROM gpkg_geometry_columns")) == {(4326,)}
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        header = database.execute("SELECT geom FROM docks").fetchone()[0]
        assert header[:2] == b"GP"
        assert struct.unpack("<i", header[4:8]) == (4326,)


def test_gdal_reads_what_we_write(package: Path):
    assert {name for name, _ in pyogrio.list_layers(package)} == {
        "land",
        "docks",
        "hazards",
        "currents",
        "routeplan_region",
    }
    docks = pyogrio.read_dataframe(package, layer="docks")
    assert list(docks["name"]) == ["Knap Quay", "Holm", "Ayre"]
    assert docks["depth_m"].tolist()[1] == 0
    assert docks["depth_m"].isna().tolist() == [True, False, True]
    assert docks.geometry[0].y == 44 + 1 / 3
    assert pyogrio.read_info(package, layer="docks")["dtypes"].tolist()[12] == "bool"


def test_the_region_is_the_same_again(package: Path, region: Region):
    again = read_region(package)
    assert again.digest == region.digest
    assert again.present == {"land", "docks", "hazards", "currents"}
    dock, other, third = again.layer("docks").itertuples(index=False)
    assert (dock.members_only, other.members_only, third.members_only) == (True, False, None)
    assert other.depth_m == 0
    assert math.isnan(third.depth_m)
    assert again.layer("land").geometry[1].geom_type == "MultiPolygon"


def test_we_read_what_gdal_writes(package: Path, region: Region):
    """GDAL writes a layer anew from a frame, as a GIS would: its own key, its own column types."""
    frame = region.layer("docks").copy()
    pyogrio.write_dataframe(frame, package, layer="docks", driver="GPKG", append=False)
    again = read_region(package)
    assert list(again.layer("docks")["name"]) == ["Knap Quay", "Holm", "Ayre"]
    assert again.digest == region.digest


def test_rows_are_counted_in_the_order_of_their_keys(package: Path):
    changed(
        package, "UPDATE docks SET fid = 99 WHERE name = 'Knap Quay'", "UPDATE docks SET fuels = 'x' WHERE fid = 99"
    )
    assert fault_of(package)[:3] == ("docks", 3, "fuels")


def test_other_tables_of_features_are_noted(package: Path):
    frame = build_layer(LAYERS["land"], [{}], [LAND])
    pyogrio.write_dataframe(frame, package, layer="dock", driver="GPKG")
    (note,) = read_region(package).notes
    assert (
        str(note)
        == "layer dock: table dock is no layer of a region and was not read: call it docks if it is that layer"
    )


@pytest.mark.parametrize(
    ("statements", "fault"),
    [
        (["UPDATE gpkg_geometry_columns SET srs_id = -1"], ("crs", "is not stated")),
        (["UPDATE gpkg_geometry_columns SET srs_id = 0"], ("crs", "is not stated")),
        (["UPDATE gpkg_geometry_columns SET srs_id = 777"], ("crs", "is not stated")),
        (
            [
                "INSERT INTO gpkg_spatial_ref_sys VALUES ('UTM', 25828, 'EPSG', 25828, 'EPSG:25828', NULL)",
                "UPDATE gpkg_geometry_columns SET srs_id = 25828",
            ],
            ("crs", "is not WGS 84; reproject"),
        ),
        (
            [
                "INSERT INTO gpkg_spatial_ref_sys VALUES ('?', 9, 'nobody', 9, 'gibberish', NULL)",
                "UPDATE gpkg_geometry_columns SET srs_id = 9",
            ],
            ("crs", "is not WGS 84; reproject"),
        ),
        (["DELETE FROM gpkg_geometry_columns WHERE table_name = 'docks'"], ("geometry", "no shapes")),
        (["UPDATE gpkg_geometry_columns SET column_name = 'shape'"], ("geometry", "no shapes")),
    ],
)
def test_a_layer_that_is_not_in_wgs_84_is_a_fault(package: Path, statements: list[str], fault: tuple[str, str]):
    changed(package, "DELETE FROM gpkg_contents WHERE table_name IN ('land', 'hazards', 'currents')", *statements)
    layer, row, column, rule = fault_of(package)
    assert (layer, row, column) == ("docks", 0, fault[0])
    assert fault[1] in rule


def test_wgs_84_by_another_name_is_let_pass(package: Path):
    changed(
        package,
        "INSERT INTO gpkg_spatial_ref_sys VALUES ('WGS 84', 1000, 'OGC', 84, 'OGC:CRS84', NULL)",
        "UPDATE gpkg_geometry_columns SET srs_id = 1000",
    )
    assert len(read_region(package).layer("docks")) == 3


def blob(body: bytes, flags: int = 1, envelope: bytes = b"") -> str:
    return (b"GP\x00" + bytes([flags]) + struct.pack("<i", 4326) + envelope + body).hex()


NESTED = b"\x01\x07\x00\x00\x00\x01\x00\x00\x00" * 100_000
POINT = shapely.to_wkb(shapely.Point(-38, 44))


@pytest.mark.parametrize(
    "content",
    [
        "''",
        "'text'",
        "17",
        "x'4750'",
        f"x'{blob(b'')}'",
        f"x'{blob(POINT[:-3])}'",
        f"x'{blob(POINT, flags=0b1011)}'",
        f"x'{blob(NESTED)}'",
        f"x'{blob(bytes([1, 3, 0, 0, 0, 255, 255, 255, 255]))}'",
        f"x'{POINT.hex()}'",
    ],
)
def test_a_shape_that_cannot_be_read_is_told_by_its_row(package: Path, content: str):
    changed(package, f"UPDATE docks SET geom = {content} WHERE fid = 2")  # noqa: S608  our own test data
    assert fault_of(package) == ("docks", 2, "geometry", "can't be read as a GeoPackage geometry")


@pytest.mark.parametrize("code", [1, 2, 3, 4])
def test_envelopes_are_passed_over(package: Path, code: int):
    """Clause 2.1.3.1.1 (seen): no envelope, or 4, 6, 6 or 8 doubles before the shape."""
    envelope = bytes(8 * (0, 4, 6, 6, 8)[code])
    text = blob(POINT, flags=1 | code << 1, envelope=envelope)
    changed(package, f"UPDATE docks SET geom = x'{text}' WHERE fid = 2")  # noqa: S608  our own test data
    assert read_region(package).layer("docks").geometry[1].wkt == "POINT (-38 44)"


@pytest.mark.parametrize(
    ("statement", "column", "rule"),
    [
        ("UPDATE docks SET members_only = 7 WHERE fid = 2", "members_only", "true or false"),
        ("UPDATE docks SET depth_m = 'deep' WHERE fid = 2", "depth_m", "must be a number"),
        ("UPDATE docks SET name = x'00' WHERE fid = 2", "name", "must be text"),
        ("UPDATE docks SET name = CAST(x'ff41' AS TEXT) WHERE fid = 2", "name", "control characters"),
        ("UPDATE docks SET confirmed_on = 'soon' WHERE fid = 2", "confirmed_on", "must be a date"),
        ("UPDATE docks SET geom = NULL WHERE fid = 2", "geometry", "is missing"),
    ],
)
def test_what_sqlite_lets_into_a_column_is_checked(package: Path, statement: str, column: str, rule: str):
    changed(package, statement)
    found = fault_of(package)
    assert found[:3] == ("docks", 2, column)
    assert rule in found[3]


def test_an_empty_table_still_needs_its_columns(package: Path):
    changed(package, "DELETE FROM docks", "ALTER TABLE docks DROP COLUMN fuels")
    assert fault_of(package) == ("docks", 0, "fuels", "column is missing; every row needs it")


def test_a_view_is_refused(package: Path):
    """A view can compute without end; a layer is a table."""
    endless = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x AS fid, NULL AS geom FROM n"
    changed(package, "DROP TABLE currents", f"CREATE VIEW currents AS {endless}")
    assert fault_of(package)[:3] == ("currents", 0, "table")


def cut(path: Path, share: float) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share)])


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (lambda path: path.write_bytes(b""), "is empty"),
        (lambda path: path.write_bytes(b"hello"), "is no sound GeoPackage"),
        (lambda path: path.write_bytes(b"SQLite format 3\0" + bytes(4000)), "is no sound GeoPackage"),
        (lambda path: cut(path, 0.9), "GeoPackage"),
        (lambda path: cut(path, 0.5), "GeoPackage"),
        (lambda path: cut(path, 0.1), "GeoPackage"),
        (lambda path: cut(path, 0.01), "GeoPackage"),
        (lambda path: changed(path, "DROP TABLE gpkg_contents"), "no GeoPackage"),
        (lambda path: changed(path, "DROP TABLE routeplan_region"), "has no table routeplan_region"),
        (lambda path: changed(path, "DELETE FROM routeplan_region"), "must have one row"),
        (lambda path: changed(path, "UPDATE routeplan_region SET toml = x'00'"), "must have one row"),
        (lambda path: changed(path, "INSERT INTO routeplan_region (toml) VALUES ('')"), "must have one row"),
        (lambda path: changed(path, "ALTER TABLE routeplan_region RENAME toml TO text"), "has no column toml"),
    ],
)
def test_a_file_that_is_no_region_is_one_line(package: Path, spoil: Callable[[Path], object], problem: str):
    spoil(package)
    with pytest.raises(InputError) as caught:
        read_region(package)
    assert problem in str(caught.value)
    assert str(package) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_bad_toml_in_it_is_told_by_key(package: Path):
    changed(package, "UPDATE routeplan_region SET toml = replace(toml, 'EUR', 'euro')")
    assert fault_of(package)[:3] == ("region.toml", 0, "currency")


def test_reading_leaves_the_file_alone(package: Path):
    before = package.read_bytes()
    read_region(package)
    assert package.read_bytes() == before
    assert [path.name for path in package.parent.iterdir()] == [package.name]
