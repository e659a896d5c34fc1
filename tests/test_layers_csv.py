"""Tables of places as CSV: how they are parted, where the places are, and which line is wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from layers.csv_files import read_csv_table
from layers.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

# 12.5' are 0.208333... and 12' 30" the same; 20.4' are 0.34 of a degree. A sum of three divisions in double precision.
SAME_DEG = 1e-12


def write(folder: Path, text: str, name: str = "docks.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "text",
    [
        "name,lat,lon\nA,44.208333333333333,-38.34\n",
        "Name,Latitude,Longitude\nA,44 12.5N,38 20.4W\n",
        "lon,lat,name\n38°20'24\"W,44°12'30\"N,A\n",
        "name\ty\tx\nA\tN44 12.5\tW038 20.4\n",
        "name;Lat;Lon\nA;44,208333333333333;-38,34\n",
        "name;Lat;Lon\nA;44°12,5'N;38°20,4'W\n",
        "sep=;\nname;Position\nA;44 12,5N 38 20,4W\n",
        'name,position\nA,"44 12.5N, 38 20.4W"\n',
        "\ufeffname,lat,lon\n\n,,\nA,44-12.5N,038-20.4W\n\n",
    ],
)
def test_one_place_in_many_tables(tmp_path: Path, text: str):
    table = read_csv_table(write(tmp_path, text))
    assert not table.faults
    (point,) = table.shapes
    assert point.x == pytest.approx(-38.34, abs=SAME_DEG)
    assert point.y == pytest.approx(44 + 12.5 / 60, abs=SAME_DEG)
    assert next(iter(table.columns.values())) == ["A"]


def test_each_row_is_read_or_refused_by_its_line(tmp_path: Path):
    rows = [
        "Plain,44.25,-38.3",
        "Minutes,44 15.0N,38 18.0W",
        "Torn,44.12.5,-38.2",
        "Nowhere,,",
        "Half,,-38.2",
        "Swapped,-138.3,44.25",
        "Axis,38 18.0W,44 15.0N",
        "Sixty,44 60.0N,38 18.0W",
        "Comma,44.25,-38.3,stray",
        'Quoted,"44,25",-38.3',
    ]
    table = read_csv_table(write(tmp_path, "name,lat,lon\n" + "\n".join(rows) + "\n"))
    told = {fault.row: fault.rule for fault in table.faults}
    assert [shape is not None for shape in table.shapes] == [True, True, *[False] * 8]
    assert sorted(told) == ["line 10", "line 11", "line 4", "line 5", "line 6", "line 7", "line 8", "line 9"]
    assert "can't be read" in told["line 4"]
    assert "no position" in told["line 5"]
    assert "no position" in told["line 6"]
    assert "beyond 90" in told["line 7"]
    assert "is a longitude, not a latitude" in told["line 8"]
    assert "below 60" in told["line 9"]
    assert "4 cells" in told["line 10"]
    assert "decimal sign" in told["line 11"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"name,lat,lon\n", "no rows"),
        (b"name,fuels\nA,diesel\n", "lat and lon"),
        (b"name,lat,lon,name\nA,1,2,B\n", "twice"),
        ("name,lat,lon\nCaf\u00e9,44,-38\n".encode("latin-1"), "line 2: is not text in UTF-8 (byte 0xe9)"),
        ("name,lat,lon\nA,44,-38\n".encode("utf-16"), "UTF-16"),
        (b"name,lat,lon\nA\x00,44,-38\n", "NUL"),
        (b'name,lat,lon\n"A,44,-38\n', "not CSV"),
    ],
)
def test_what_is_no_table_of_places_is_one_line(tmp_path: Path, content: bytes, says: str):
    path = tmp_path / "docks.csv"
    path.write_bytes(content)
    with pytest.raises(InputError) as raised:
        read_csv_table(path)
    assert says in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_row_that_is_shifted_is_the_only_one_that_is_blamed(tmp_path: Path):
    """Its position stands in two cells: what follows means nothing, and must not be judged."""
    rows = "Knap;44,1 -38,1;1,98;2,10\nTern;44,07;-38,00;1,9\n"
    table = read_csv_table(write(tmp_path, f"Name;Position;Petrol EUR/l;Diesel EUR/l\n{rows}"))
    (fault,) = table.faults
    assert (fault.row, fault.name) == ("line 3", "Tern")
    assert "position in two cells" in fault.rule
    assert table.columns["Petrol EUR/l"] == ["1,98", None]
