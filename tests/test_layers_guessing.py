"""What a table is taken for, which columns are which, and what is asked because it can't be guessed."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest
import shapely

from layers.converting import convert
from layers.errors import InputError
from layers.guessing import guess_source, why_unknown
from layers.recipe import RecipeSource
from layers.shapes import object_array
from layers.tables import BadEntry, SourceTable

if TYPE_CHECKING:
    from pathlib import Path

POINT, LINE, AREA = (
    shapely.Point(-38.3, 44.3),
    shapely.LineString([(-38, 44), (-38, 45)]),
    shapely.box(-38, 44, -37, 45),
)


def table(path: Path, shape: Any = POINT, *, comma: bool = False, **columns: list[object]) -> SourceTable:
    count = len(next(iter(columns.values()), [None]))
    given = {name.replace("__", " "): cells for name, cells in columns.items()}
    return SourceTable(path, "", given, object_array([shape] * count), range(1, count + 1), decimal_comma=comma)


def read(given: SourceTable, **recipe: Any) -> tuple[Any, Any]:
    """Guess and convert; the guess and the rows."""
    guess = guess_source(given, RecipeSource(file=str(given.path), **recipe))
    assert guess is not None
    return guess, convert(given, guess.source)


@pytest.mark.parametrize(
    ("name", "shape", "columns", "layer"),
    [
        ("docks.csv", POINT, {"name": ["A"]}, "docks"),
        ("stops.csv", POINT, {"name": ["A"], "fuel": ["diesel"]}, "docks"),
        ("marinas.csv", POINT, {"name": ["A"], "fuel": ["diesel"]}, "docks"),
        ("marinas.csv", POINT, {"name": ["A"]}, "waypoints"),
        ("summer.gpx", POINT, {"name": ["A"]}, "waypoints"),
        ("bridges.geojson", LINE, {"headroom": [4.0]}, "overhead"),
        ("islands.shp", AREA, {}, "land"),
        ("rocks.shp", POINT, {"kind": ["rock"]}, "hazards"),
        ("areas.gpkg", AREA, {"Restriction": ["No wake"]}, "zones"),
        ("chart.gpkg", AREA, {"DRVAL1": [2.0]}, "depth"),
        ("GSHHS_f_L1.shp", AREA, {}, "land"),
        ("GSHHS_f_L2.shp", AREA, {}, "skip"),
        ("ne_10m_land.shp", AREA, {}, "land"),
        ("ne_10m_ocean.shp", AREA, {}, "skip"),
    ],
)
def test_what_a_table_is(tmp_path: Path, name: str, shape: Any, columns: dict[str, list[object]], layer: str):
    guess = guess_source(table(tmp_path / name, shape, **(columns or {"id": [1]})), RecipeSource(file=name))
    assert guess is not None
    assert guess.source.as_ == layer
    assert guess.why


def test_a_table_of_several_kinds_of_shapes_is_what_half_of_them_can_be(tmp_path: Path):
    shapes = object_array([POINT, LINE])
    given = SourceTable(tmp_path / "my.kml", "Places", {"Name": ["Cove", "Track"]}, shapes, [1, 2])
    guess, rows = read(given)
    assert guess.source.as_ == "waypoints"
    assert rows.columns["name"] == ["Cove"]
    assert "1 row with lines left out" in rows.notes[0]


def test_nothing_is_guessed_from_nothing(tmp_path: Path):
    assert guess_source(table(tmp_path / "export.shp", AREA, id=[1]), RecipeSource(file="export.shp")) is None


def test_a_dock_as_others_write_it(tmp_path: Path):
    """Eight feet are 2.4384 m, 40 ft 12.192 m (0.3048 m each); 7.57 a US gallon are 2.00 a litre (3.785411784 l)."""
    given = table(
        tmp_path / "fuel.csv",
        Dock=["Knap Quay"],
        OpeningHours=["24/7"],
        Diesel__per__USgal=["$7.57"],
        Depth__alongside__ft=["8"],
        Max__LOA=["40 ft"],
        Ethanol__percent=[None],
        Members__only=["N"],
        Last__checked=["20.06.2026"],
        VHF__channel=["12"],
        Fuel=["Petrol & diesel"],
        Owner=["nobody"],
    )
    guess, rows = read(given)
    assert not rows.faults
    (found,) = [{column: cells[0] for column, cells in rows.columns.items()}]
    assert found["depth_m"] == pytest.approx(2.4384, rel=1e-9)
    assert found["max_length_m"] == pytest.approx(12.192, rel=1e-9)
    assert found["price_diesel_per_l"] == pytest.approx(2.00, abs=0.001)
    assert found["confirmed_on"] == date(2026, 6, 20)
    assert found["members_only"] is False
    assert found["fuels"] == "gasoline,diesel"
    assert found["name"] == "Knap Quay"
    assert guess.unused == ("Owner",)
    assert [column.ours for column in guess.columns if column.unit_assumed] == []


def test_a_unit_that_nothing_says_is_marked(tmp_path: Path):
    guess, _ = read(table(tmp_path / "docks.csv", name=["A"], fuels=["diesel"], depth=[2.0], depth_m=[None]))
    assert [(column.theirs, column.unit, column.unit_assumed) for column in guess.columns if column.unit] == [
        ("depth", "m", True)
    ]


def test_gallons_are_asked_for(tmp_path: Path):
    given = table(tmp_path / "docks.csv", name=["A"], fuels=["diesel"], price_diesel_per_gal=[4.2])
    with pytest.raises(InputError, match="US or imperial"):
        guess_source(given, RecipeSource(file="docks.csv"))
    _, rows = read(given, **{"as": "docks", "units": {"price_diesel_per_l": "impgal"}})
    assert rows.columns["price_diesel_per_l"][0] == pytest.approx(4.2 / 4.54609)


def test_what_a_dock_sells_by_yes_and_no(tmp_path: Path):
    given = table(tmp_path / "docks.csv", name=["A", "B"], petrol=["yes", "no"], fuel__diesel=["no", "x"])
    guess, rows = read(given)
    assert rows.columns["fuels"] == ["gasoline", "diesel"]
    assert next(column.theirs for column in guess.columns if column.ours == "fuels") == "petrol + fuel diesel"


def test_what_a_dock_sells_by_its_prices(tmp_path: Path):
    _, rows = read(table(tmp_path / "docks.csv", name=["A", "B"], petrol=["2.05", ""], diesel=["-", "1.80"]))
    assert rows.columns["fuels"] == ["gasoline", "diesel"]
    assert rows.columns["price_gasoline_per_l"] == [2.05, None]


def test_a_dock_that_sells_nothing_is_told(tmp_path: Path):
    _, rows = read(table(tmp_path / "docks.csv", name=["A", "B"], petrol=["yes", "no"]))
    assert [fault.row for fault in rows.faults] == ["row 2"]


def test_names_that_a_shapefile_cut(tmp_path: Path):
    given = table(tmp_path / "docks.shp", name=["A"], fuels=["diesel"], opening_ho=["24/7"], price_dies=[1.9])
    _, rows = read(given)
    assert rows.columns["opening_hours"] == ["24/7"]
    assert rows.columns["price_diesel_per_l"] == [1.9]


def test_kinds_of_places_by_their_words(tmp_path: Path):
    _, rows = read(table(tmp_path / "a.gpx", name=["Mill Harbour", "Outer Cove", "Nine"]))
    assert rows.columns["kind"] == ["harbour", "anchorage", "mark"]
    given = table(tmp_path / "a.gpx", name=["Mill Harbour", "B"], symbol=["Anchor", None])
    assert read(given)[1].columns["kind"] == ["anchorage", "mark"]


@pytest.mark.parametrize(
    ("cell", "comma", "value"),
    [
        ("2.4", False, 2.4),
        ("2,4", True, 2.4),
        ("8 ft", False, 2.4384),
        ("8'", False, 2.4384),
        ("240cm", False, 2.4),
        ("n/a", False, None),
        ("?", False, None),
        (3, False, 3.0),
    ],
)
def test_numbers_as_they_are_written(tmp_path: Path, cell: object, value: float | None, *, comma: bool):
    _, rows = read(table(tmp_path / "docks.csv", comma=comma, name=["A", "B"], fuels=["diesel"] * 2, depth=[cell, "1"]))
    assert not rows.faults
    assert rows.columns["depth_m"][0] == (value if value is None else pytest.approx(value))


@pytest.mark.parametrize(
    ("column", "cell", "says"),
    [
        ("depth", "2,4", "comma"),
        ("depth", "deep", "no number"),
        ("depth", "2 spans", "unit"),
        ("checked", "03/04/2026", "either of two days"),
        ("checked", "31.04.2026", "no day of the calendar"),
        ("checked", "soon", "no date"),
        ("members", "perhaps", "neither yes nor no"),
        ("fuels", "paraffin", "neither gasoline nor diesel"),
    ],
)
def test_what_cannot_be_read_in_one_way_is_a_fault_of_its_row(tmp_path: Path, column: str, cell: str, says: str):
    cells = {"name": ["A", "B"], "fuels": ["diesel", "diesel"], "depth": ["1", "1"]}
    cells |= {"checked": ["2026-06-20", "13/06/2026"], "members": ["no", "yes"]}
    cells[column] = [cells[column][0], cell]
    _, rows = read(table(tmp_path / "docks.csv", **cells))
    assert [(fault.row, fault.column, fault.value) for fault in rows.faults] == [("row 2", column, cell)]
    assert says in rows.faults[0].rule


@pytest.mark.parametrize("text", ["13/06/2026", "06/13/2026", "13.06.2026", "2026-06-13 10:00", "2026-06-13"])
def test_one_day_in_many_ways(tmp_path: Path, text: str):
    cells = {"name": ["A", "B"], "fuels": ["diesel", "diesel"], "checked": [text, "05.06.2026"]}
    _, rows = read(table(tmp_path / "docks.csv", **cells))
    assert [str(day) for day in rows.columns["confirmed_on"]] == ["2026-06-13", "2026-06-05"]


def test_faults_of_rows_that_are_not_picked_are_no_concern(tmp_path: Path):
    bad = BadEntry("a", "row 2", "position", "", "can't be read")
    shapes = object_array([POINT, None])
    given = SourceTable(tmp_path / "a.csv", "", {"name": ["A", "B"], "type": ["x", "y"]}, shapes, [1, 2], faults=(bad,))
    assert read(given, **{"as": "waypoints", "where": {"type": "x"}})[1].faults == ()
    assert read(given, **{"as": "waypoints", "where": {"type": "y"}})[1].faults == (bad,)


def test_a_recipe_overrules_every_guess(tmp_path: Path):
    given = table(tmp_path / "docks.csv", name=["A"], title=["Z"], fuel=["kero"], depth=["2"], vhf=["9"])
    recipe = {
        "as": "docks",
        "columns": {"name": "title", "vhf": ""},
        "units": {"depth_m": "fathom"},
        "values": {"fuels": {"kero": "diesel"}},
        "set": {"payment": "cash"},
    }
    guess, rows = read(given, **recipe)
    (found,) = [{column: cells[0] for column, cells in rows.columns.items()}]
    assert found == {"name": "Z", "fuels": "diesel", "depth_m": pytest.approx(3.6576), "payment": "cash"}  # 2 x 6 ft
    assert guess.unused == ("name", "vhf")


def test_rows_are_picked_and_other_shapes_left_out_by_number(tmp_path: Path):
    given = SourceTable(
        tmp_path / "all.kml",
        "",
        {"name": ["A", "B", "C", None], "type": ["fuel", "fuel", "inn", "fuel"]},
        object_array([POINT, LINE, POINT, AREA]),
        range(1, 5),
    )
    _, rows = read(given, **{"as": "waypoints", "where": {"type": "fuel"}})
    assert rows.columns["name"] == ["A"]
    assert rows.notes == (
        "1 of 4 rows left out, as the recipe says",
        "1 row with lines left out: waypoints are points",
        "1 row with an area taken as a point in its middle",
        "1 row without a name left out: nobody could ask for it",
    )


def test_a_place_at_0_0_is_refused(tmp_path: Path):
    given = SourceTable(tmp_path / "a.gpx", "", {"name": ["A"]}, object_array([shapely.Point(0, 0)]), [1])
    _, rows = read(given)
    assert "0/0" in rows.faults[0].rule


@pytest.mark.parametrize(
    ("heading", "ours", "unit"),
    [
        ("petrol kr/l", "price_gasoline_per_l", "l"),
        ("Price petrol per US gallon", "price_gasoline_per_l", "usgal"),
        ("Petrol ($ per US gal)", "price_gasoline_per_l", "usgal"),
        ("diesel USD/gal (US)", "price_diesel_per_l", "usgal"),
        ("Petrol price (imp gal)", "price_gasoline_per_l", "impgal"),
        ("Diesel, imperial gallon", "price_diesel_per_l", "impgal"),
        ("Diesel price per litre", "price_diesel_per_l", "l"),
        ("diesel ISK/l", "price_diesel_per_l", "l"),
    ],
)
def test_headings_of_prices(tmp_path: Path, heading: str, ours: str, unit: str):
    given = SourceTable(
        tmp_path / "docks.csv", "", {"name": ["A"], "fuels": ["both"], heading: ["8.0"]}, object_array([POINT]), [2]
    )
    guess, _ = read(given)
    assert [(column.ours, column.unit) for column in guess.columns if column.theirs == heading] == [(ours, unit)]


@pytest.mark.parametrize("heading", ["diesel pence/l", "petrol ct/l", "Diesel tank l", "diesel/litre rules apply"])
def test_headings_that_are_no_prices(tmp_path: Path, heading: str):
    given = SourceTable(
        tmp_path / "docks.csv", "", {"name": ["A"], "fuels": ["both"], heading: ["8.0"]}, object_array([POINT]), [2]
    )
    guess, _ = read(given)
    assert heading in " ".join(guess.unused)


def test_hours_and_fuels_that_are_not_understood_stand_in_the_recipe(tmp_path: Path):
    hours, fuels = ["24h", "8-6", "-"], ["bensin", "95 & 98", "paraffin"]
    guess, rows = read(table(tmp_path / "docks.csv", name=["A", "B", "C"], fuels=fuels, hours=hours))
    assert guess.source.values["opening_hours"] == {"24h": "24/7", "8-6": ""}
    assert guess.source.values["fuels"] == {"bensin": "gasoline", "95 & 98": "gasoline", "paraffin": ""}
    assert [note.split(":")[0] for note in guess.unsaid] == ["fuels", "hours"]
    told = {fault.row: fault.rule for fault in rows.faults}
    assert set(told) == {"row 2", "row 3"}
    assert "24/7" in told["row 2"]
    assert "leave them empty" in told["row 2"]
    said = {"as": "docks", "values": {"fuels": {"paraffin": "no"}, "opening_hours": {"8-6": "unknown"}}}
    guess, rows = read(table(tmp_path / "docks.csv", name=["A", "B", "C"], fuels=fuels, hours=hours), **said)
    assert not rows.faults
    assert not guess.unsaid
    assert rows.columns["opening_hours"] == ["24/7", None]
    assert rows.columns["name"] == ["A", "B"]


def test_places_are_of_the_kind_that_their_table_is_called_after(tmp_path: Path):
    given = SourceTable(
        tmp_path / "my.kml", "Anchorages", {"Name": ["Pool", "Old Marina"]}, object_array([POINT] * 2), [1, 2]
    )
    _, rows = read(given)
    assert rows.columns["kind"] == ["anchorage", "harbour"]
    _, rows = read(table(tmp_path / "anchorages.gpx", name=["Pool"]))
    assert rows.columns["kind"] == ["anchorage"]
    _, rows = read(table(tmp_path / "port holm trip.gpx", name=["Pool"]))
    assert rows.columns["kind"] == ["mark"]


@pytest.mark.parametrize(
    ("name", "rule"), [("No go", "no-entry"), ("No-entry zones", "no-entry"), ("No wake", "no-wake")]
)
def test_zones_have_the_rule_that_their_table_is_called_after(tmp_path: Path, name: str, rule: str):
    _, rows = read(SourceTable(tmp_path / "my.kml", name, {"Name": ["Farm"]}, object_array([AREA]), [1]))
    assert rows.columns["rule"] == [rule]


def test_why_a_table_is_not_what_it_is_called_after(tmp_path: Path):
    given = table(tmp_path / "land.geojson", LINE, id=[1])
    assert guess_source(given, RecipeSource(file="land.geojson")) is None
    assert why_unknown(given) == "its name says land, but it holds lines, and land must be polygons"


def test_prices_and_yes_or_no_in_one_column(tmp_path: Path):
    cells = {"petrol": ["1.9", "2.0", "no", "no"], "diesel": ["0", None, "yes", "1.7"]}
    _, rows = read(table(tmp_path / "docks.csv", name=list("ABCG"), **cells))
    assert not rows.faults
    assert rows.columns["fuels"] == ["gasoline", "gasoline", "diesel", "diesel"]
    assert rows.columns["price_gasoline_per_l"] == [1.9, 2.0, None, None]
    assert rows.columns["price_diesel_per_l"] == [None, None, None, 1.7]


def test_one_odd_cell_does_not_make_names_of_prices(tmp_path: Path):
    given = table(
        tmp_path / "docks.csv", comma=True, name=list("ABC"), petrol=["1,9", "2,0", "ask"], diesel=["1,8", "", "1"]
    )
    _, rows = read(given)
    assert [(fault.row, fault.column, fault.value) for fault in rows.faults] == [("row 3", "petrol", "ask")]


def test_dates_are_read_in_the_order_that_the_column_shows(tmp_path: Path):
    days = ["07/06/2026", "13/06/2026"]
    _, rows = read(table(tmp_path / "docks.csv", name=["A", "B"], fuels=["diesel"] * 2, checked=days))
    assert rows.columns["confirmed_on"] == [date(2026, 6, 7), date(2026, 6, 13)]
    assert any("day first, as row 2 has them" in note for note in rows.notes)
    _, rows = read(
        table(tmp_path / "docks.csv", name=["A", "B"], fuels=["diesel"] * 2, checked=["07/06/2026", "06/13/2026"])
    )
    assert rows.columns["confirmed_on"] == [date(2026, 7, 6), date(2026, 6, 13)]
    both = ["07/06/2026", "13/06/2026", "06/13/2026"]
    _, rows = read(table(tmp_path / "docks.csv", name=list("ABC"), fuels=["diesel"] * 3, checked=both))
    assert [fault.row for fault in rows.faults] == ["row 1"]


def test_bridges_stay_bridges_whatever_else_is_drawn_among_them(tmp_path: Path):
    """A file with a layer's own name and column: a stray area or point mustn't make hazards of its bridges."""
    shapes = object_array([LINE, AREA, POINT])
    columns = {"name": ["A", "B", "C"], "kind": ["bridge"] * 3, "clearance_m": [3.0, 4.0, 5.0]}
    guess, rows = read(SourceTable(tmp_path / "overhead.geojson", "", columns, shapes, [1, 2, 3]))
    assert guess.source.as_ == "overhead"
    assert rows.columns["clearance_m"] == [3.0, 4.0]
    assert rows.shapes[1].equals(AREA.exterior)
    assert "1 row with points left out: overhead are lines" in rows.notes
    guess, _ = read(table(tmp_path / "bridges.geojson", AREA, name=["A"], clearance_m=[3.0]))
    assert guess.source.as_ == "overhead"
    guess, _ = read(table(tmp_path / "rocks.geojson", kind=["rock"], clearance=[3.0]))
    assert "keep_off_m" not in {column.ours for column in guess.columns}


def test_a_danger_drawn_as_a_line_is_kept(tmp_path: Path):
    _, rows = read(table(tmp_path / "hazards.geojson", LINE, kind=["breakwater"]))
    assert rows.shapes[0].covers(LINE)
