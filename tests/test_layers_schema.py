"""The schemas, and the check of frames against them."""

from __future__ import annotations

import math
from datetime import date
from zoneinfo import ZoneInfo

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from layers import (
    COMPUTED,
    FUELS,
    LAYERS,
    BadRow,
    Column,
    LayerSchema,
    LayersError,
    build_layer,
    check_layer,
    empty_layer,
)

ZONE = ZoneInfo("Atlantic/Azores")
HERE = shapely.Point(-38.0, 44.5)
SQUARE = shapely.box(-38.1, 44.4, -38.0, 44.5)
EXTENT = (-39.5, 43.75, -36.0, 45.25)


def bad(frame: gpd.GeoDataFrame, layer: str) -> list[BadRow]:
    return check_layer(frame, LAYERS[layer], zone=ZONE, extent=EXTENT)[1]


def docks(**columns: object) -> gpd.GeoDataFrame:
    """Make a frame of one dock, sound but for what is given."""
    values = {"name": "Knap Quay", "fuels": "gasoline"} | columns
    return gpd.GeoDataFrame(pd.DataFrame([values], dtype=object), geometry=[HERE], crs="EPSG:4326")


@pytest.mark.parametrize("schema", [*LAYERS.values(), *COMPUTED.values()], ids=lambda schema: schema.name)
def test_schemas_are_whole(schema: LayerSchema):
    assert len(set(schema.column_names)) == len(schema.columns)
    assert set(schema.geometry) <= {"point", "line", "polygon"}
    for column in schema.columns:
        assert column.meaning, column.name
        assert bool(column.choices) == (column.kind in {"choice", "fuels"}), column.name
        if column.needed_for:
            assert column.needed_for[0] in schema.column_names
    assert {**LAYERS, **COMPUTED}[schema.name] is schema


def test_the_unit_is_the_last_word_of_a_name():
    units = {"m": "m", "kn": "kn", "deg": "degrees true", "l": "l", "lpm": "l/min", "min": "min", "nmi": "nmi"}
    for schema in [*LAYERS.values(), *COMPUTED.values()]:
        for column in schema.columns:
            last = column.name.rsplit("_", 1)[-1]
            if column.kind == "number" and last in units and not column.name.endswith("per_l"):
                assert column.unit == units[last], column.name


def test_no_name_serves_two_layers():
    assert not set(LAYERS) & set(COMPUTED)
    assert {name for name in LAYERS if "point" in LAYERS[name].geometry} == {
        "hazards",
        "openings",
        "docks",
        "waypoints",
    }


@pytest.mark.parametrize("schema", [*LAYERS.values(), *COMPUTED.values()], ids=lambda schema: schema.name)
def test_an_empty_layer_has_its_columns_and_types(schema: LayerSchema):
    frame = empty_layer(schema)
    assert list(frame.columns) == [*schema.column_names, "geometry"]
    assert len(frame) == 0
    assert frame.crs.to_epsg() == 4326
    for column in schema.columns:
        kind = "float64" if column.kind in {"number", "integer"} else "object"
        if column.kind == "integer" and column.required:
            kind = "int64"
        assert frame[column.name].dtype == kind, column.name


def test_absent_is_none_in_words_and_nan_in_numbers():
    frame = build_layer(
        LAYERS["docks"],
        [
            {"name": "Knap Quay", "fuels": "diesel", "pumps": 2},
            {"name": "Holm", "fuels": "diesel", "price_diesel_per_l": 0, "members_only": False},
        ],
        [HERE, HERE],
    )
    first, second = frame.itertuples(index=False)
    assert first.opening_hours is None
    assert first.members_only is None
    assert math.isnan(first.price_diesel_per_l)
    assert first.pumps == 2
    assert second.price_diesel_per_l == 0
    assert second.members_only is False
    assert second.confirmed_on is None


def test_values_are_brought_to_one_form():
    frame, faults = check_layer(
        docks(fuels=" Diesel ,gasoline, diesel", vhf=16.0, phone=5551234, note="  ", confirmed_on="2026-05-01"),
        LAYERS["docks"],
        zone=ZONE,
    )
    assert faults == []
    dock = next(frame.itertuples(index=False))
    assert dock.fuels.split(",") == list(FUELS)
    assert (dock.vhf, dock.phone, dock.note, dock.confirmed_on) == ("16", "5551234", None, date(2026, 5, 1))


def test_a_frame_is_not_changed_by_checking():
    frame = docks(fuels=" Diesel ", note=" ")
    before = frame.copy(deep=True)
    check_layer(frame, LAYERS["docks"], zone=ZONE)
    pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(before))


@pytest.mark.parametrize(
    ("column", "value", "rule", "shown"),
    [
        ("name", None, "is missing", ""),
        ("name", "   ", "is missing", "   "),
        ("name", "two\nlines", "one line", "two\nlines"),
        ("name", "\x1b[2J", "control characters", "\x1b[2J"),
        ("name", ["a"], "must be text", "['a']"),
        ("name", True, "must be text", "true"),
        ("name", "\ud800", "control characters", "\\ud800"),
        ("note", "x" * 10_001, "at most 10000 characters", "x" * 76 + " ..."),
        ("fuels", None, "is missing", ""),
        ("fuels", "", "is missing", ""),
        ("fuels", "petrol", "gasoline, diesel", "petrol"),
        ("fuels", "diesel,", "gasoline, diesel", "diesel,"),
        ("opening_hours", "8-18", "from character 1", "8-18"),
        ("price_diesel_per_l", -0.01, "at least 0 per litre", "-0.01"),
        ("price_diesel_per_l", "1.9", "must be a number", "1.9"),
        ("price_diesel_per_l", True, "must be a number", "true"),
        ("price_diesel_per_l", math.inf, "finite", "inf"),
        ("price_diesel_per_l", 10**400, "finite", "1" + "0" * 75 + " ..."),
        pytest.param("price_diesel_per_l", 10**5000, "finite", "a very long number", id="5000 digits"),
        ("ethanol_share", 10, "between 0 and 1", "10"),
        ("pumps", 1.5, "whole number", "1.5"),
        ("pumps", 0, "at least 1", "0"),
        ("members_only", "yes", "true or false", "yes"),
        ("members_only", 1, "true or false", "1"),
        ("confirmed_on", "1/5/2026", "2026-07-01", "1/5/2026"),
        ("confirmed_on", "20260501", "2026-07-01", "20260501"),
        ("confirmed_on", "2026-02-30", "day of the calendar", "2026-02-30"),
        ("confirmed_on", 2026, "2026-07-01", "2026"),
    ],
)
def test_a_wrong_value_is_told_with_row_column_value_and_rule(column: str, value: object, rule: str, shown: str):
    (fault,) = bad(docks(**{column: value}), "docks")
    assert (fault.layer, fault.row, fault.column, fault.value) == ("docks", 1, column, shown)
    assert rule in fault.rule


def test_choices_are_told_with_the_allowed_ones():
    zone = build_layer(LAYERS["zones"], [{"name": "Reach", "rule": "no-wake", "why": "moorings"}], [SQUARE])
    zone["rule"] = "nowake"
    (fault,) = bad(zone, "zones")
    assert fault.rule == "must be one of no-entry, speed-limit, no-wake, traffic-lane, fairway, bar, caution"


def test_a_speed_limit_needs_its_limit_and_others_do_not():
    rows = [{"name": "A", "rule": rule, "why": "x"} for rule in ("no-wake", "speed-limit", "speed-limit")]
    rows[2]["limit_kn"] = 5  # type: ignore[assignment]
    with pytest.raises(LayersError) as caught:
        build_layer(LAYERS["zones"], rows, [SQUARE] * 3)
    assert [(row.row, row.column) for row in caught.value.bad_rows] == [(2, "limit_kn")]


def test_every_fault_of_every_row_comes_in_order():
    frame = pd.concat([docks(), docks(name=None, fuels="petrol"), docks(), docks(pumps=0)], ignore_index=True)
    frame.loc[3, "geometry"] = None
    found = [(fault.row, fault.column) for fault in bad(frame, "docks")]
    assert found == [(2, "name"), (2, "fuels"), (4, "pumps"), (4, "geometry")]


REACH = {
    "reach": {
        "kind": "some-dock",
        "figure": "low",
        "speed_kn": 26.0,
        "there_and_back": False,
        "inside": True,
        "title": "t",
        "text": "t",
        "label": "t",
    },
    "reach_places": {
        **dict.fromkeys(("name", "kind", "title", "text", "label"), "t"),
        **dict.fromkeys(("distance_nmi", "time_h", "fuel_l", "fuel_there_and_back_l", "margin_low_l"), 1.0),
        "aboard_on_return_low_l": -9.0,
        "there_and_back": False,
        "refuel": "opens later",
    },
    "turning_points": {
        **dict.fromkeys(("dock", "towards", "title", "text", "label"), "t"),
        **dict.fromkeys(("distance_nmi", "time_h", "dock_distance_nmi", "aboard_at_dock_low_l"), 1.0),
    },
    "data_edges": {"title": "t", "text": "t"},
}
SHAPE_OF = {"point": HERE, "line": shapely.LineString([(-38, 44), (-37, 44)]), "polygon": SQUARE}


@pytest.mark.parametrize(
    ("layer", "column", "value", "rule"),
    [
        ("reach", "kind", "there", "must be one of one-way, out-and-back, thirds, budget, some-dock"),
        ("reach", "figure", "high", "must be one of mean, low"),
        ("reach", "there_and_back", None, "is missing"),
        ("reach", "fuel_l", -1.0, "at least 0 l"),
        ("reach_places", "refuel", "perhaps", "must be one of yes, opens later, doubtful, no"),
        ("reach_places", "distance_nmi", None, "is missing"),
        ("turning_points", "time_h", -0.1, "at least 0 h"),
        ("data_edges", "title", "", "is missing"),
    ],
)
def test_layers_of_a_reach_take_what_is_right_and_refuse_the_rest(layer: str, column: str, value: object, rule: str):
    """Dock water has no fuel and no time of its own; a boat that would run dry on the way back is told by a minus."""
    schema, row = COMPUTED[layer], REACH[layer]
    (kind,) = schema.geometry
    assert len(build_layer(schema, [row], [SHAPE_OF[kind]])) == 1
    with pytest.raises(LayersError) as caught:
        build_layer(schema, [{**row, column: value}], [SHAPE_OF[kind]])
    (fault,) = caught.value.bad_rows
    assert (fault.column, fault.rule.startswith(rule) or rule in fault.rule) == (column, True)


def test_rows_without_fault_are_kept_and_numbered_anew():
    frame = pd.concat([docks(name="A"), docks(fuels="petrol"), docks(name="C")], ignore_index=True)
    clean, faults = check_layer(frame, LAYERS["docks"], zone=ZONE)
    assert (list(clean["name"]), list(clean.index), len(faults)) == (["A", "C"], [0, 1], 1)


def test_a_missing_column_is_told_once():
    frame = pd.concat([docks(), docks(), docks()], ignore_index=True).drop(columns="fuels")
    assert bad(frame, "docks") == [BadRow("docks", 0, "fuels", "", "column is missing; every row needs it")]


def test_unknown_columns_are_left_out_of_frames_and_refused_in_computed_rows():
    clean, faults = check_layer(docks(colour="red"), LAYERS["docks"], zone=ZONE)
    assert "colour" not in clean.columns
    assert faults == []
    with pytest.raises(LayersError, match="colour"):
        build_layer(LAYERS["waypoints"], [{"name": "A", "kind": "mark", "colour": "red"}], [HERE])


CROSSED = shapely.Polygon([(-38, 44), (-37, 45), (-37, 44), (-38, 45)])
SHAPES = [
    ("docks", None, "is missing"),
    ("docks", shapely.Point(), "is empty"),
    ("docks", SQUARE, "must be point, not Polygon"),
    ("land", HERE, "must be polygon, not Point"),
    ("openings", SQUARE, "must be point or line, not Polygon"),
    ("docks", shapely.MultiPoint([(-38, 44), (-37, 44)]), "must be point, not MultiPoint"),
    ("docks", shapely.GeometryCollection([HERE]), "must be point, not GeometryCollection"),
    ("docks", shapely.Point(math.nan, 44), "not a finite number"),
    ("docks", shapely.Point(-38, math.inf), "not a finite number"),
    ("docks", shapely.Point(190, 44), "longitude 190 is outside [-180, 180]"),
    ("docks", shapely.Point(-38, -91), "latitude -91 is outside [-90, 90]"),
    ("docks", shapely.Point(512345, 4932100), "longitude 512345 is outside [-180, 180]"),
    ("docks", shapely.Point(44.5, -38), "longitude and latitude look swapped"),
    ("land", shapely.box(44.4, -38.1, 44.5, -38.0), "longitude and latitude look swapped"),
    ("land", CROSSED, "the outline crosses itself at longitude -37.500000, latitude 44.500000"),
    ("land", shapely.MultiPolygon([SQUARE, SQUARE]), "its parts overlap at longitude"),
    ("land", shapely.from_wkt("MULTIPOLYGON (((-38 44, -37 44, -37 45, -38 44)), EMPTY)"), "is empty"),
    ("overhead", shapely.LineString([(-38, 44), (-38, 44)]), "it has no length or area"),
]


@pytest.mark.parametrize(("layer", "shape", "rule"), SHAPES)
def test_a_wrong_shape_is_told(layer: str, shape: object, rule: str):
    rows = {
        "docks": {"name": "A", "fuels": "diesel"},
        "land": {},
        "openings": {"name": "A", "kind": "lock"},
        "overhead": {"name": "A", "kind": "cable", "clearance_m": 12},
    }
    frame = gpd.GeoDataFrame(pd.DataFrame([rows[layer]], dtype=object), geometry=[shape], crs="EPSG:4326")
    (fault,) = bad(frame, layer)
    assert (fault.row, fault.column) == (1, "geometry")
    assert fault.rule.startswith(rule) or rule in fault.rule


def test_a_swapped_point_shows_where_it_was():
    frame = docks()
    frame.loc[0, "geometry"] = shapely.Point(44.5, -38)
    assert bad(frame, "docks")[0].value == "44.5 -38"


def test_islands_of_the_world_are_not_swapped():
    """Of a layer that goes round the world some row lies where the extent would, with both numbers exchanged."""
    shapes = [shapely.Point(44.5, -38), shapely.Point(10, 10), shapely.Point(-38, 44.5)]
    rows = [{"name": str(i), "kind": "mark"} for i in range(3)]
    frame = build_layer(LAYERS["waypoints"], rows, shapes)
    extent = (-39.5, 43.75, -36.0, 45.25)
    assert check_layer(frame, LAYERS["waypoints"], zone=ZoneInfo("UTC"), extent=extent)[1] == []
    near = frame.iloc[[0, 2]].reset_index(drop=True)
    (fault,) = check_layer(near, LAYERS["waypoints"], zone=ZoneInfo("UTC"), extent=extent)[1]
    assert "swapped" in fault.rule


def test_just_outside_is_not_swapped():
    """An extent that is nearly its own mirror: a dock a mile north of it may well be meant."""
    extent = (34.0, 35.0, 38.0, 37.0)
    frame = docks()
    frame.loc[0, "geometry"] = shapely.Point(36.0, 37.5)  # swapped, it would lie inside
    assert check_layer(frame, LAYERS["docks"], zone=ZONE, extent=extent)[1] == []


def test_shapes_are_brought_to_one_form():
    clockwise = shapely.Polygon([(-38, 44), (-38, 45), (-37, 45), (-37, 44)])
    assert not clockwise.exterior.is_ccw
    land = gpd.GeoDataFrame(geometry=[clockwise], crs="EPSG:4326")
    assert check_layer(land, LAYERS["land"], zone=ZONE)[0].geometry[0].exterior.is_ccw
    frame = docks()
    frame.loc[0, "geometry"] = shapely.MultiPoint([(-38, 44, 7)])
    shape = check_layer(frame, LAYERS["docks"], zone=ZONE)[0].geometry[0]
    assert shape.wkt == "POINT (-38 44)"


def test_several_parts_are_allowed_in_lines_and_polygons():
    parts = shapely.MultiPolygon([SQUARE, shapely.box(-37.5, 44, -37.4, 44.1)])
    assert bad(gpd.GeoDataFrame(geometry=[parts], crs="EPSG:4326"), "land") == []


@pytest.mark.parametrize(("crs", "rule"), [(None, "is not stated"), ("EPSG:3857", "is not WGS 84")])
def test_another_reference_system_is_refused(crs: str | None, rule: str):
    frame = gpd.GeoDataFrame({"name": ["A"], "fuels": ["diesel"]}, geometry=[HERE], crs=crs)
    (fault,) = bad(frame, "docks")
    assert (fault.row, fault.column) == (0, "crs")
    assert rule in fault.rule


def test_a_column_is_frozen():
    column = Column("name", "text", required=True)
    with pytest.raises(AttributeError):
        column.name = "other"  # type: ignore[misc]
