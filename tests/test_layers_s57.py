"""Charts in S-57: what was drawn in the cells of `reference/cells` comes back, or is counted with a reason.

The outside values are the drawing itself: `reference/make_cells.py` drew the cells with GDAL's writer, and
`contents.json` lists what it drew. Depths in feet: 1 fathom = 6 ft = 1.8288 m (international foot of 1959).
"""

from __future__ import annotations

import json
import random
import shutil
from collections import Counter
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pyogrio
import pytest
import shapely
from oracles.small_world import box, make_boat, make_region, to_globe, to_metres, waypoint

from layers.about import RegionAbout
from layers.checking import check_raw
from layers.errors import InputError
from layers.findings import find_doubts
from layers.findings_kinds import group_of
from layers.region import build_region
from layers.s57 import ChartChoices, ChartedWaters, read_cells
from layers.s57_cells import Cell, Objects, agency_name, find_cells, read_cell
from layers.s57_layers import draw_layers
from layers.s57_records import CellHeader, read_records
from layers.s57_sheet import Sheet
from layers.schema import LAYERS
from layers.shapes import object_array
from routeplan.building import build_network
from routeplan.fuel import full
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.trips import Trip

if TYPE_CHECKING:
    import geopandas as gpd

CELLS = Path(__file__).parent / "reference" / "cells"
COAST, UPDATE, HARBOUR, FEET = "ZZ3AA001.000", "ZZ3AA001.001", "ZZ5AA001.000", "ZZ4FM001.000"
DRAWN: dict[str, list[dict[str, Any]]] = json.loads((CELLS / "contents.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def waters() -> ChartedWaters:
    return read_cells([CELLS])


@pytest.fixture(scope="module")
def coast() -> ChartedWaters:
    return read_cells([CELLS / COAST])


def copied(folder: Path, *names: str) -> Path:
    for name in names:
        shutil.copy(CELLS / name, folder / name)
    return folder


def frame(waters: ChartedWaters, layer: str) -> gpd.GeoDataFrame:
    rows, faults = check_raw(waters.layers[layer], LAYERS[layer], zone=ZoneInfo("UTC"))
    assert not faults
    return rows


def drawn_now(name: str) -> list[dict[str, Any]]:
    """List what is drawn in a cell once its update, if it has one, is applied."""
    rows = {row["number"]: row for row in DRAWN[name]}
    for row in DRAWN.get(name.replace(".000", ".001"), []):
        if row["change"] == 2:
            del rows[row["number"]]
        elif row["change"] == 3:
            rows[row["number"]]["values"].update(row["values"])
        else:
            rows[row["number"]] = row
    return list(rows.values())


def drawn_shape(waters: str, kind: str, **values: object) -> Any:
    """Return the one shape that was drawn so."""
    (row,) = (
        row
        for row in DRAWN[waters]
        if row["kind"] == kind and all(row["values"].get(key) == value for key, value in values.items())
    )
    return shapely.from_wkt(row["shape"])


def drawn_shape_at(kind: str, lon: float, lat: float) -> bool:
    """Tell whether such an object was drawn there, on the coast."""
    shapes = [shapely.from_wkt(row["shape"]) for row in DRAWN[COAST] if row["kind"] == kind]
    return any(shape.contains(shapely.Point(lon, lat)) for shape in shapes)


def drawn(more: dict[str, int] | None = None, **kinds: list[tuple[dict[str, Any], Any]]) -> Sheet:
    """Make rows of made-up objects, and count more of which there is only a number."""
    header = CellHeader(Path("ZZ.000"), "ZZ", 1, 0, date(2026, 1, 1), 1, 20_000, 2, 16, 23, 1, 1, 1, True)  # noqa: FBT003
    objects = {
        kind: Objects(
            kind,
            {key: [values.get(key) for values, _ in rows] for key in {key for values, _ in rows for key in values}},
            object_array([shape for _, shape in rows]),
        )
        for kind, rows in kinds.items()
    }
    sheet = Sheet("ZZ.000")
    draw_layers(
        Cell(header, {kind: len(rows) for kind, rows in kinds.items()} | (more or {}), objects), sheet, ChartChoices()
    )
    return sheet


def test_every_object_that_was_drawn_is_accounted_for(waters: ChartedWaters):
    for name in (COAST, HARBOUR, FEET):
        drawn: Counter[str] = Counter()
        for row in drawn_now(name):
            # many soundings are one object
            drawn[row["kind"]] += len(shapely.from_wkt(row["shape"]).geoms) if row["kind"] == "SOUNDG" else 1
        told: Counter[str] = Counter()
        for account in waters.accounted:
            if account.cell == name:
                told[account.kind] += account.count
        assert told == drawn


def test_every_row_of_a_layer_is_accounted_for(coast: ChartedWaters):
    for layer, raw in coast.layers.items():
        told = sum(account.count for account in coast.accounted if account.became == f"layer {layer}")
        # depth areas are cut where the survey changes (4 of 6); two opening bridges are bridges, openings, and what
        # they leave while open; a cut, a road, a farm and two areas with two rules have zones besides; so has a named
        # beacon its hazard
        more = {"depth": 4, "openings": 2, "overhead": 2, "zones": 5, "hazards": 1}.get(layer, 0)
        assert len(raw.geometry) == told + more


def test_all_layers_pass_the_checks_of_a_region(waters: ChartedWaters):
    for layer in waters.layers:
        assert len(frame(waters, layer))


def test_the_header_is_what_gdal_says_of_it():
    """The header is read apart from GDAL; both have to agree."""
    for name in (COAST, HARBOUR, FEET):
        header = read_cell(CELLS / name, []).header
        said = pyogrio.read_dataframe(CELLS / name, layer="DSID").iloc[0]
        assert header.name == said.DSID_DSNM
        assert [header.edition, header.update] == [int(said.DSID_EDTN), int(said.DSID_UPDN)]
        assert header.issued is not None
        assert header.issued.strftime("%Y%m%d") == said.DSID_ISDT
        assert [header.agency, header.scale] == [said.DSID_AGEN, said.DSPM_CSCL]
        assert [header.horizontal_datum, header.position_units] == [said.DSPM_HDAT, said.DSPM_COUN]
        assert [header.vertical_datum, header.sounding_datum] == [said.DSPM_VDAT, said.DSPM_SDAT]
        assert [header.depth_units, header.height_units] == [said.DSPM_DUNI, said.DSPM_HUNI]


def test_land_is_what_was_drawn_and_islets_are_hazards(coast: ChartedWaters):
    land = frame(coast, "land")
    assert list(land["name"]) == ["Knap", None]
    assert land.geometry[0].equals(drawn_shape(COAST, "LNDARE", OBJNAM="Knap"))
    hazards = frame(coast, "hazards")
    islets = hazards[hazards["kind"] == "islet"]
    assert list(islets["name"]) == ["Tern Rock", None]
    assert islets.geometry.iloc[0].equals(shapely.Point(-37.97, 44.09))
    assert islets.geometry.iloc[1].contains(shapely.LineString([(-37.98, 44.095), (-37.979, 44.097)]))


def test_depths_are_what_was_drawn_cut_where_the_survey_changes(coast: ChartedWaters):
    """Zone of confidence B lies west of 38.1 W, D east of it; drying heights are negative."""
    depth = frame(coast, "depth")
    for low, high in ((20, 50), (5, 20), (0, 5), (-1.5, 0)):
        rows = depth[(depth["min_depth_m"] == low) & (depth["max_depth_m"] == high)]
        drawn = drawn_shape(COAST, "DEPARE", DRVAL1=low, DRVAL2=high)
        assert shapely.union_all(rows.geometry).symmetric_difference(drawn).area < 1e-12  # slanted shores were cut
        assert set(rows["survey"]) == {"good", "poor"}
        assert rows[rows["survey"] == "good"].total_bounds[2] == -38.1
        assert rows[rows["survey"] == "poor"].total_bounds[0] == -38.1
    dredged = depth[depth["min_depth_m"] == 6.5]
    assert dredged.geometry.iloc[0].equals(drawn_shape(COAST, "DRGARE", OBJNAM="West Cut"))


def test_water_that_was_not_surveyed_is_left_without_a_depth(coast: ChartedWaters):
    depth = shapely.union_all(frame(coast, "depth").geometry)
    nowhere = drawn_shape(COAST, "UNSARE")
    assert shapely.intersection(depth, nowhere).area == 0
    assert shapely.covers(coast.cover, nowhere)


def test_only_dangers_are_hazards(coast: ChartedWaters):
    hazards = frame(coast, "hazards")
    spots = {
        (round(p.x, 3), round(p.y, 3)): kind
        for p, kind in zip(shapely.centroid(hazards.geometry.to_numpy()), hazards["kind"], strict=True)
    }
    assert spots[-38.22, 44.1] == "wreck"  # 2.1 m over it
    assert spots[-38.23, 44.1] == "wreck"  # nobody knows how much
    assert (-38.25, 44.1) not in spots  # 31.5 m over it
    assert spots[-38.26, 44.1] == "wreck"  # always dry
    assert spots[-38.18, 44.0] == "rock"  # 0.4 m, covers and uncovers
    assert spots[-37.979, 44.001] == "obstruction"  # foul area
    assert (-37.97, 44.0) not in spots  # 6.2 m over it
    assert spots[-38.17, 44.1] == "shoal sounding"  # 3.2 m in 5 to 20 m
    assert (-38.18, 44.07) not in spots  # 4.8 m in 5 to 20 m: within half a metre of what the area says
    assert Counter(hazards["kind"])["pontoon"] == 2
    assert "shore construction" in set(hazards["kind"])
    assert "Hulk Anna" in set(hazards["name"])


def test_how_deep_is_deep_enough_can_be_chosen():
    waters = read_cells([CELLS / COAST], choices=ChartChoices(danger_depth_m=1, keep_off_m={"wreck": 77, "other": 3}))
    wrecks = frame(waters, "hazards").query("kind == 'wreck'")
    assert "Old Hob" not in set(wrecks["name"])  # 2.1 m over it
    assert set(wrecks["keep_off_m"]) == {77}
    told = {account.became for account in waters.accounted if account.kind == "WRECKS"}
    assert told == {"layer hazards", "not used: 1 m of water over it, or more"}


def test_clearances_and_openings(coast: ChartedWaters):
    overhead = frame(coast, "overhead").set_index("name")
    assert overhead.loc["Gull Bridge", "clearance_m"] == 11  # 12.5 m before the update
    assert overhead.loc["Old Swing", "clearance_m"] == 3.2  # closed
    others = {name.split(" at ")[0]: row["clearance_m"] for name, row in overhead.iterrows()}
    assert others["overhead cable"] == 15  # the safe clearance, not that of the wire
    assert others["overhead pipe"] == 9
    # drawn from 38.0 to 37.99 W on 44.02 N, its clearance not charted: closed to all, and its name says so
    unknown = "bridge at 44.0200N 37.9950W, clearance not charted: counts as closed"
    assert overhead.loc[unknown, "clearance_m"] == 0
    assert any("isn't charted" in str(finding) for finding in coast.findings)
    road = overhead.loc["High Road", "geometry"]  # an area 3 hundredths of a degree long: its middle line
    assert road.geom_type == "LineString"
    assert sum(sorted(road.coords), ()) == pytest.approx((-38.06, 44.0346, -38.03, 44.0346))
    openings = frame(coast, "openings").set_index("name")
    assert openings.loc["Old Swing", "closed_clearance_m"] == 3.2
    assert openings.loc["Old Swing", "geometry"].distance(overhead.loc["Old Swing", "geometry"]) < 1e-9
    assert openings.loc["Knap Lock", "kind"] == "lock"


def test_of_several_clearances_the_least_holds_and_an_open_bridge_is_as_high_as_charted(coast: ChartedWaters):
    """2.5 m fixed, 3 m closed, 9 m open; a bridge that opens to 30 m."""
    overhead = frame(coast, "overhead").set_index("name")
    called = "opening bridge at 44.1150N 38.1950W"
    assert called in set(frame(coast, "openings")["name"])
    assert overhead.loc[called, "clearance_m"] == 2.5
    for name, height in ((called, 9), ("Old Swing", 30)):
        shut, opened = overhead.loc[name], overhead.loc[f"{name}, when open"]
        assert opened["clearance_m"] == height
        away = shapely.distance(shut["geometry"], opened["geometry"]) * 60 * 1852
        assert 4 < away < 7  # m; off the line, so that the gate in the bridge doesn't lead through it too


@pytest.mark.parametrize(("opens_to_m", "passes"), [(None, True), (9.0, True), (2.0, False)])
def test_a_boat_passes_an_open_bridge_only_where_it_opens_high_enough(opens_to_m: float | None, passes: bool):  # noqa: FBT001
    """She is 3 m high, and the bridge across the only channel 1 m while it is closed."""
    line = to_globe(shapely.LineString([(0, -205), (0, 205)]))
    sheet = drawn(BRIDGE=[({"OBJNAM": "Low", "CATBRG": "3", "VERCCL": 1.0, "VERCOP": opens_to_m}, line)])
    rows = {layer: [(to_metres(shape), values) for values, shape in found] for layer, found in sheet.rows.items()}
    wall = [(box(-50, south, 50, south + 29_800), {"name": "Wall"}) for south in (-30_000, 200)]
    places = [waypoint(-5000, 0, "Home"), waypoint(5000, 0, "End")]
    boat = make_boat()
    trip = Trip(start="Home", finish="End", depart=datetime(2026, 7, 1, 8, tzinfo=UTC), aboard=full(boat))
    network = build_network(make_region(land=wall, waypoints=places, **rows), boat, when=trip.depart)
    if passes:
        assert find_passage(network, trip, now=trip.depart).recommended
    else:
        with pytest.raises(NoPassageError):
            find_passage(network, trip, now=trip.depart)


def test_zones_say_what_holds_and_why(coast: ChartedWaters):
    zones = frame(coast, "zones")
    rules = {(row["name"], row["rule"]): row for _, row in zones.iterrows()}
    assert rules["Fort Range", "no-entry"]["why"] == "military area; entry prohibited"
    assert rules["Quiet Reach", "no-wake"] is not None
    assert rules["restricted area", "speed-limit"]["limit_kn"] == 5
    assert rules["West Approach", "fairway"] is not None
    lanes = zones[zones["rule"] == "traffic-lane"]
    assert sorted(lanes["direction_deg"].fillna(-1)) == [-1, 90]
    reasons = {row["why"] for _, row in zones[zones["rule"] == "caution"].iterrows()}
    assert "nature reserve; anchoring prohibited; fishing prohibited" in reasons
    assert "entry restricted; By leave of the warden" in reasons
    assert "Many ferries cross here" in reasons


def rules_at(waters: ChartedWaters, lon: float, lat: float) -> dict[str, float]:
    """[kn] Return the limit of every rule that holds at a place; NaN where it has none."""
    zones = frame(waters, "zones")
    return {row["rule"]: row["limit_kn"] for _, row in zones[zones.contains(shapely.Point(lon, lat))].iterrows()}


def test_of_several_rules_each_holds_and_of_several_speeds_the_least(coast: ChartedWaters):
    both = rules_at(coast, -38.285, 44.125)
    assert set(both) == {"speed-limit", "no-wake"}  # RESTRN 27 and 13
    assert both["speed-limit"] == 8  # and 12 for the ferry
    assert rules_at(coast, -38.265, 44.125) == {"speed-limit": 5}  # 12 by day, 5 by night
    told = [finding for finding in coast.findings if "several speeds (5, 12 kn)" in finding.problem]
    assert len(told) == 1
    assert set(rules_at(coast, -38.225, 44.125)) == {"fairway", "caution"}  # entry restricted


def test_a_minefield_is_closed_whatever_else_is_not_said(coast: ChartedWaters):
    assert set(rules_at(coast, -38.245, 44.125)) == {"no-entry"}


@pytest.mark.parametrize(
    ("kind", "lon", "lat", "rule"),
    [
        ("DRGARE", -38.1775, 44.0975, "no-entry"),
        ("ACHARE", -38.205, 44.125, "no-wake"),
        ("TESARE", -38.185, 44.125, "no-entry"),
        ("MARCUL", -38.145, 44.125, "speed-limit"),
    ],
)
def test_what_is_restricted_is_a_zone_whatever_else_it_is(
    coast: ChartedWaters, kind: str, lon: float, lat: float, rule: str
):
    assert drawn_shape_at(kind, lon, lat)
    assert set(rules_at(coast, lon, lat)) == {rule}


def test_a_closed_place_without_an_inside_is_kept_off_and_told(coast: ChartedWaters):
    hazards = frame(coast, "hazards").set_index("name")
    assert hazards.loc["Lone Target", "keep_off_m"] == 100
    assert any(finding.name == "Lone Target" and "how far" in finding.problem for finding in coast.findings)
    assert any("weed or kelp" in str(finding) for finding in coast.findings)  # drawn as a line


def test_what_floats_is_in_the_way_however_deep_it_is_below(coast: ChartedWaters):
    hazards = frame(coast, "hazards")
    assert "Moored Raft" in set(hazards["name"])  # 9 m, WATLEV 7
    assert "marine farm" in set(hazards["kind"])  # 8 m


def test_beacons_stand_in_the_water_named_or_not(coast: ChartedWaters):
    hazards = frame(coast, "hazards").query("kind == 'beacon'")
    assert sorted(hazards["name"].fillna("")) == ["", "Perch 3"]
    assert hazards.total_bounds == pytest.approx((-38.165, 44.05, -38.12, 44.125))  # not the one on the island


def test_a_shoal_is_kept_off_where_no_depth_is_charted_around_it(coast: ChartedWaters):
    hazards = frame(coast, "hazards").query("kind == 'shoal sounding'")
    assert hazards.intersects(shapely.Point(-38.27, 43.97)).any()  # 0.5 m in water that wasn't surveyed
    alone = drawn(SOUNDG=[({"DEPTH": 0.5}, shapely.Point(2, 2)), ({"DEPTH": None}, shapely.Point(3, 3))])
    assert len(alone.rows["hazards"]) == 2


def test_objects_of_a_class_that_nobody_knows_are_told():
    sheet = drawn({"class 999": 2})
    assert [finding.kind for finding in sheet.findings] == ["unread"]
    assert "class 999" in str(sheet.findings[0])


def test_docks_are_where_fuel_is_sold(coast: ChartedWaters):
    docks = frame(coast, "docks").set_index("name")
    assert len(docks) == 5
    assert docks.loc["Knap Quay", "fuels"] == "diesel"
    assert docks.loc["Gull Stage", "fuels"] == "gasoline,diesel"
    assert any("Gull Stage" in str(finding) and "assumed" in str(finding) for finding in coast.findings)
    assert "fuel dock at 44.0493N 38.0305W" in docks.index or "fuel dock at 44.0492N 38.0305W" in docks.index


def test_a_dock_whose_fuels_are_assumed_says_so_itself_and_region_check_finds_it(coast: ChartedWaters):
    docks = frame(coast, "docks")
    notes = docks.set_index("name")["note"]
    assert notes["Gull Stage"] == "which fuels it sells isn't charted: both are assumed; ask"
    assert notes["Ice Steps"] == f'{notes["Gull Stage"]}; the chart says "Ice, VHF 9"'
    assert "assumed" not in notes["Knap Quay"]
    about = RegionAbout(
        name="Docks",
        extent=(-38.3, 43.95, -37.9, 44.14),
        chart_datum="any",
        clearance_datum="any",
        time_zone="UTC",
        currency="EUR",
    )
    region = build_region(about, {"docks": docks})
    doubts = [doubt for doubt in find_doubts(region, today=date(2026, 6, 1)) if doubt.kind == "dock-fuels"]
    assert sorted(doubt.name for doubt in doubts)[:2] == ["Gull Stage", "Ice Steps"]
    assert len(doubts) == 3
    assert {group_of(doubt) for doubt in doubts} == {"fuel"}


def test_a_fuel_that_a_dock_says_it_does_not_sell_is_not_sold(coast: ChartedWaters):
    docks = frame(coast, "docks").set_index("name")
    assert docks.loc["Spar Steps", "fuels"] == "diesel"  # no petrol, and a supermarket
    assert any(doubt.name == "Spar Steps" and doubt.kind == "dock-fuels" for doubt in coast.findings)
    assert "Dry Steps" not in docks.index  # disused
    assert any(doubt.name == "Dry Steps" and "left out" in doubt.problem for doubt in coast.findings)


@pytest.mark.parametrize(
    ("text", "sold"),
    [
        ("Petrol and diesel", "gasoline,diesel"),
        ("No petrol, diesel only", "diesel"),
        ("Petrol not available", "diesel"),
        ("Bottled petroleum gas, diesel", "diesel"),
        ("Superyachts only; gas oil", "diesel"),
        ("no more diesel", "gasoline"),
        ("No fuel", None),
        ("no diesel or petrol", None),
        ("fuel no longer sold", None),
    ],
)
def test_fuels_are_read_as_the_chart_means_them(text: str, sold: str | None):
    sheet = drawn(SMCFAC=[({"CATSCF": "13", "INFORM": text}, shapely.Point(1, 1))])
    assert [values["fuels"] for values, _ in sheet.rows.get("docks", [])] == ([] if sold is None else [sold])


def test_named_places_are_waypoints(coast: ChartedWaters):
    places = frame(coast, "waypoints").set_index("name")["kind"]
    assert dict(places) == {
        "Knap Harbour": "harbour",
        "Long Road": "anchorage",
        "Still Road": "anchorage",
        "Perch 3": "mark",
        "West Cut 1": "mark",
    }


def test_where_charts_overlap_the_larger_scale_rules(waters: ChartedWaters):
    sheet = drawn_shape(HARBOUR, "M_COVR")
    overhead = frame(waters, "overhead")
    assert list(overhead[overhead["name"] == "Gull Bridge"]["clearance_m"]) == [11.1]
    docks = frame(waters, "docks")
    docks = docks[docks.within(sheet)]
    assert list(docks["name"]) == ["Knap Quay"]
    assert list(docks["fuels"]) == ["gasoline,diesel"]  # "Petrol and diesel"
    hazards = frame(waters, "hazards")
    inside = hazards[hazards.within(sheet)]
    assert list(inside["name"]) == ["Shear Stone"]
    for layer in ("depth", "land"):
        shapes = frame(waters, layer).geometry.to_numpy()
        assert shapely.union_all(shapes).area == pytest.approx(shapely.area(shapes).sum(), rel=1e-9)
    land = shapely.union_all(frame(waters, "land").geometry)
    finer = shapely.union_all([drawn_shape(HARBOUR, "LNDARE", OBJNAM=name) for name in ("Knap", "Gull Holm")])
    assert shapely.intersection(land, sheet).symmetric_difference(finer).area < 1e-12
    rough = drawn_shape(COAST, "LNDARE", OBJNAM="Knap").difference(sheet)
    assert shapely.difference(rough, land).area < 1e-12


def test_what_lies_on_the_seam_of_two_charts_is_kept(waters: ChartedWaters):
    """The coast has both on 37.9 W, where the cell in fathoms begins, which has neither."""
    hazards, overhead = frame(waters, "hazards"), frame(waters, "overhead").set_index("name")
    assert "Seam Stone" in set(hazards["name"])
    assert overhead.loc["Seam Bridge", "geometry"].length == pytest.approx(0.01)


def test_fathoms_and_feet_are_converted():
    """5 fathoms are 9.144 m, 30 ft are 9.144 m; 1.5 fathoms over a rock are 2.74 m, 3 over an obstruction 5.49 m.

    A strip in the east is in metres: 7 to 12.
    """
    waters = read_cells([CELLS / FEET])
    depth = frame(waters, "depth")
    assert sorted(depth["min_depth_m"]) == pytest.approx([0.9144, 7, 9.144])
    assert sorted(depth["max_depth_m"]) == pytest.approx([9.144, 12, 18.288])
    assert list(frame(waters, "overhead")["clearance_m"]) == pytest.approx([9.144])
    assert list(frame(waters, "hazards")["kind"]) == ["rock"]
    assert any("fathoms" in str(finding) for finding in waters.findings)


def test_an_outline_that_crosses_itself_is_mended_and_told(waters: ChartedWaters):
    land = frame(waters, "land").set_index("name")
    assert land.loc["Crossed Keys", "geometry"].is_valid
    # two triangles, each with a base of a hundredth of a degree and half of that high
    assert land.loc["Crossed Keys", "geometry"].area == pytest.approx(2 * 0.01 * 0.005 / 2)
    assert any("crosses itself" in str(finding) and "Crossed Keys" in str(finding) for finding in waters.findings)


def test_levels_are_named_and_another_one_is_told(waters: ChartedWaters):
    assert waters.chart_datum == "lowest astronomical tide"
    assert waters.clearance_datum == "mean high water springs"
    assert any(FEET in str(finding) and "mean lower low water" in str(finding) for finding in waters.findings)
    assert waters.sources["depth"].datum == "lowest astronomical tide"


def test_the_source_names_the_cells_and_the_newest_day(waters: ChartedWaters):
    source = waters.sources["land"]
    assert source.title == "S-57 cells ZZ5AA001, ZZ4FM001, ZZ3AA001"
    assert source.edition == "3.0, 3.0, 3.1"
    assert str(source.date) == "2026-05-18"
    assert source.publisher is None  # no agency has the number 65,000
    assert ", " in str(agency_name(1))  # GDAL's table has a service and its country


def test_cover_and_extent_are_those_of_the_data(coast: ChartedWaters):
    """A strip at 44.14 to 44.15 N says that it has no data."""
    assert coast.extent == pytest.approx((-38.3, 43.95, -37.9, 44.14))
    assert coast.cover.equals(shapely.box(-38.3, 43.95, -37.9, 44.14))


def test_an_extent_cuts_and_counts_what_lies_outside():
    extent = (-38.02, 43.98, -37.9, 44.1)
    waters = read_cells([CELLS / COAST], extent)
    west = min(shapely.bounds(shape)[0] for raw in waters.layers.values() for shape in raw.geometry)
    assert west >= -38.07 - 1e-9  # 0.05 degrees more
    outside = [account for account in waters.accounted if "outside the extent" in account.became]
    assert ("WRECKS", 5) in [(account.kind, account.count) for account in outside]
    assert waters.extent == pytest.approx(extent)


def test_an_extent_without_a_chart_is_refused():
    with pytest.raises(InputError, match="covers anything inside the extent"):
        read_cells([CELLS], (10, 50, 11, 51))


def test_cells_on_both_sides_of_the_180th_meridian():
    folder = CELLS.with_name("cells_180")
    waters = read_cells([folder])
    assert waters.extent == pytest.approx((179.5, -17, -179.5, -16.5))
    assert sorted(frame(waters, "land")["name"]) == ["Isle of E", "Isle of W"]
    cut = read_cells([folder], (179.9, -17, -179.75, -16.5))
    assert sorted(frame(cut, "land")["name"]) == ["Isle of E"]
    assert cut.extent == pytest.approx((179.9, -17, -179.75, -16.5))


def test_without_the_update_the_wreck_stands_where_it_was(tmp_path: Path):
    waters = read_cells([copied(tmp_path, COAST)])
    told = {a.became: a.count for a in waters.accounted if a.kind == "WRECKS"}
    assert told == {"layer hazards": 3, "not used: 5 m of water over it, or more": 2}
    assert "Grey Gannet" not in set(frame(waters, "hazards")["name"])
    assert waters.cells[0].update == 0


def test_updates_go_on_from_where_a_new_issue_of_the_cell_stops(tmp_path: Path):
    """A cell issued anew with updates 1 to 4 in it is corrected by update 5."""
    copied(tmp_path, COAST)
    for name, old, new in (
        (COAST, b"\x1f3\x1f0\x1f", b"\x1f3\x1f4\x1f"),
        (UPDATE, b"\x1f3\x1f1\x1f", b"\x1f3\x1f5\x1f"),
    ):
        body = (CELLS / name).read_bytes()
        assert body.count(old) == 1
        (tmp_path / name.replace(".001", ".005")).write_bytes(body.replace(old, new))
    (tmp_path / "ZZ3AA001.002").write_bytes(b"older than the cell: not looked at")
    waters = read_cells([tmp_path])
    assert "Grey Gannet" in set(frame(waters, "hazards")["name"])
    assert waters.cells[0].update == 5


def test_updates_are_found_in_the_folders_of_an_exchange_set(tmp_path: Path):
    for number, name in ((0, COAST), (1, UPDATE)):
        (tmp_path / "ENC_ROOT" / "ZZ3AA001" / str(number)).mkdir(parents=True)
        shutil.copy(CELLS / name, tmp_path / "ENC_ROOT" / "ZZ3AA001" / str(number) / name)
    (tmp_path / "ENC_ROOT" / "CATALOG.031").write_bytes(b"what the set holds")
    waters = read_cells([tmp_path / "ENC_ROOT"])
    assert "Grey Gannet" in set(frame(waters, "hazards")["name"])


def test_a_missing_update_is_named(tmp_path: Path):
    copied(tmp_path, COAST, UPDATE)
    shutil.copy(CELLS / UPDATE, tmp_path / "ZZ3AA001.003")
    with pytest.raises(InputError, match=r"ZZ3AA001\.002 is missing, and there is ZZ3AA001\.003"):
        read_cells([tmp_path])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"\x1f3\x1f1\x1f", b"\x1f2\x1f1\x1f", "corrects edition 2 of the cell, and ZZ3AA001.000 is edition 3"),
        (b"\x1f3\x1f1\x1f", b"\x1f3\x1f2\x1f", "says that it is update 2"),
        (b"\x1f3\x1f1\x1f", b"\x1f0\x1f1\x1f", "ZZ3AA001.000 was withdrawn"),
    ],
)
def test_an_update_that_does_not_fit_is_refused(tmp_path: Path, old: bytes, new: bytes, said: str):
    copied(tmp_path, COAST)
    (tmp_path / UPDATE).write_bytes((CELLS / UPDATE).read_bytes().replace(old, new))
    with pytest.raises(InputError, match=said):
        read_cells([tmp_path])


def test_the_same_cell_twice_is_used_once(tmp_path: Path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    copied(tmp_path / "a", COAST)
    copied(tmp_path / "b", COAST, UPDATE)
    waters = read_cells([tmp_path])
    assert [cell.update for cell in waters.cells] == [1]
    assert any("given twice" in str(finding) for finding in waters.findings)


PARAMETERS = b"\x14\x01\x00\x00\x00\x02\x11\x17"  # DSPM: its name and number, then WGS 84, and both levels


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (PARAMETERS, PARAMETERS.replace(b"\x02\x11", b"\x03\x11"), "another datum than WGS 84.*European 1950"),
        (b"\x90_\x01\x00\x01\x01\x01\x01", b"\x90_\x01\x00\x01\x01\x01\x02", "other units than degrees"),
        (b"\x90_\x01\x00\x01\x01\x01\x01", b"\x90_\x01\x00\x09\x01\x01\x01", "no unit of depths"),
        (b"\x90_\x01\x00\x01\x01\x01\x01", b"\x90_\x01\x00\x01\x09\x01\x01", "no unit of heights"),
    ],
)
def test_what_cannot_be_converted_is_refused(tmp_path: Path, old: bytes, new: bytes, said: str):
    body = (CELLS / COAST).read_bytes()
    assert body.count(old) == 1
    (tmp_path / COAST).write_bytes(body.replace(old, new))
    with pytest.raises(InputError, match=said):
        read_cells([tmp_path])


@pytest.mark.parametrize(
    ("name", "body", "said"),
    [
        ("ZZ3AA001.000", b"", "is empty"),
        ("ZZ3AA001.000", bytes(range(256)) * 40, "doesn't begin as one"),
        ("ZZ3AA001.000", b"00024LE1 0900024 ! 3404", "no S-57 cell"),
        ("ZZ3AA001.001", b"alone", "which isn't there"),
        ("notes.txt", b"nothing", "holds no S-57 cell"),
    ],
)
def test_what_is_no_cell_is_refused(tmp_path: Path, name: str, body: bytes, said: str):
    (tmp_path / name).write_bytes(body)
    with pytest.raises(InputError, match=said):
        read_cells([tmp_path])


def test_an_update_given_alone_is_refused():
    with pytest.raises(InputError, match=r"is an update.*give ZZ3AA001\.000"):
        find_cells(CELLS / UPDATE)
    with pytest.raises(InputError, match="no such file"):
        read_cells([CELLS / "ZZ9NOT01.000"])
    with pytest.raises(InputError, match="none to read"):
        read_cells([])


def test_a_cell_cut_short_anywhere_is_refused(tmp_path: Path):
    """At every hundredth byte, and at the end of every record, where GDAL alone takes it for a smaller cell."""
    body = (CELLS / HARBOUR).read_bytes()
    ends, at = [], 0
    while at < len(body):
        at += int(body[at : at + 5])
        ends.append(at)
    for size in sorted({*range(0, len(body), 100), *ends[:-1]}):
        (tmp_path / HARBOUR).write_bytes(body[:size])
        with pytest.raises(InputError) as caught:
            read_cells([tmp_path])
        assert "\n" not in str(caught.value)


def test_an_outline_that_points_nowhere_is_damage(tmp_path: Path):
    """GDAL makes a land area from its remaining pieces, or from its holes."""
    body = bytearray((CELLS / HARBOUR).read_bytes())
    pointer = bytes([130]) + max(read_records(CELLS / HARBOUR).pieces)[1].to_bytes(4, "little")
    at = body.rindex(pointer + b"\x01")
    body[at + 1 : at + 5] = (9999).to_bytes(4, "little")
    (tmp_path / HARBOUR).write_bytes(body)
    with pytest.raises(InputError, match="pieces of outline"):
        read_cells([tmp_path])


def test_flipped_bytes_are_an_error_or_an_answer(tmp_path: Path):
    """A short run; 20,000 flips were tried by hand."""
    source = random.Random(57)  # noqa: S311  not for secrets
    body = (CELLS / HARBOUR).read_bytes()
    outcomes: Counter[str] = Counter()
    for _ in range(60):
        flipped = bytearray(body)
        for _ in range(source.choice([1, 2, 8])):
            flipped[source.randrange(2000, len(body))] = source.randrange(256)
        (tmp_path / HARBOUR).write_bytes(flipped)
        try:
            waters = read_cells([tmp_path])
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017  either outcome is right
            outcomes["refused"] += 1
        else:
            for layer in waters.layers:
                assert len(frame(waters, layer))
            outcomes["read"] += 1
    assert min(outcomes["refused"], outcomes["read"]) > 5


def test_a_position_gone_wrong_is_told(tmp_path: Path):
    """The rock moves from 44.04 N to 54.04 N: on the globe, and far off the chart."""
    old, new = (int(lat * 10**7).to_bytes(4, "little", signed=True) for lat in (44.04, 54.04))
    lon = int(-38.05 * 10**7).to_bytes(4, "little", signed=True)
    body = (CELLS / HARBOUR).read_bytes()
    assert body.count(old + lon) == 1
    (tmp_path / HARBOUR).write_bytes(body.replace(old + lon, new + lon))
    assert any("reaches out of the chart" in str(finding) for finding in read_cells([tmp_path]).findings)


def test_reading_leaves_the_files_as_they_were(tmp_path: Path):
    copied(tmp_path, COAST, UPDATE)
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    read_cells([tmp_path])
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before
