"""What a table is taken for, which columns are which, and what is asked because it can't be guessed."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pytest
import shapely

from layers.converting import convert
from layers.errors import InputError
from layers.guessing import guess_source
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
