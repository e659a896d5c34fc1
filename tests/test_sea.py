"""The sea as typed and as a table: read, held by the clock, and every fault in one line."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.fillups import SEAS
from routeplan.sea import Seas, SeaState, read_sea, read_sea_table, wmo_sea
from routeplan.units_shown import DisplayUnits

if TYPE_CHECKING:
    from pathlib import Path

METRES_PER_FT = 0.3048  # the international foot of 1959
HEADER = "from_time,sea_from,height,wind,until\n"
# 1 July 2026 00:00 UTC is 1,782,864,000 s after the epoch (date -u -d 2026-07-01 +%s)
MIDNIGHT_S = 1_782_864_000.0


def table(folder: Path, rows: str, header: str = HEADER) -> Path:
    path = folder / "sea.csv"
    path.write_text(header + rows, encoding="utf-8")
    return path


def refused(folder: Path, rows: str, header: str = HEADER) -> str:
    with pytest.raises(InputError) as caught:
        read_sea_table(table(folder, rows, header), ZoneInfo("UTC"))
    line = str(caught.value)
    assert "\n" not in line
    return line.removeprefix(str(folder / "sea.csv"))


@pytest.mark.parametrize(
    ("text", "from_deg", "height_m", "wind_kn"),
    [
        ("W 4ft", 270, 4 * METRES_PER_FT, None),
        ("270 1.2m", 270, 1.2, None),
        ("WSW 15kn 4ft", 247.5, 4 * METRES_PER_FT, 15),
        ("wsw 4 ft 15 kn", 247.5, 4 * METRES_PER_FT, 15),
        ("N, 0.5 m, 10 knots", 0, 0.5, 10),
        ("360 1m", 0, 1, None),
        ("045° 1m", 45, 1, None),
        ("12.5 deg 80cm", 12.5, 0.8, None),
        ("NNE 4 ft 6 in", 22.5, 4.5 * METRES_PER_FT, None),
        ("S 4'6\" 12kt", 180, 4.5 * METRES_PER_FT, 12),
        ("NNW 15kn4ft", 337.5, 4 * METRES_PER_FT, 15),
        ("E 0m", 90, 0, None),
        ("E 6m 60kn", 90, 6, 60),
    ],
)
def test_reads_a_sea_as_typed(text: str, from_deg: float, height_m: float, wind_kn: float | None):
    sea = read_sea(text, "--sea")
    assert sea.from_deg == from_deg
    assert sea.height_m == pytest.approx(height_m, abs=1e-12)
    assert sea.wind_kn == wind_kn


def test_sixteen_points_stand_evenly_round_the_compass():
    """The points by their names, quarter by quarter, 22.5 degrees apart."""
    points = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"]
    assert [read_sea(f"{point} 1m", "--sea").from_deg for point in points] == [22.5 * n for n in range(16)]
    assert [SeaState(from_deg=22.5 * n + 11, height_m=1).point for n in range(16)] == points
    assert [SeaState(from_deg=(22.5 * n - 11) % 360, height_m=1).point for n in range(16)] == points


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("   ", "is empty"),
        ("4ft W", "does not begin with where the sea comes from"),
        ("-10 1m", "does not begin with where"),
        ("W", "does not say how high"),
        ("W 15kn", "does not say how high"),
        ("W 4", "figure without a unit, 4"),
        ("270 1.2", "figure without a unit, 1.2"),
        ("X 4ft", "'X' is no point of the compass"),
        ("WWS 4ft", "'WWS' is no point of the compass"),
        ("400 1m", "above 360 degrees"),
        ("W 4ft 3ft", "gives the height twice"),
        ("W 4ft 10kn 12kn", "gives the wind twice"),
        ("W -4ft", "can't be read from '-4ft' on"),
        ("W four feet", "can't be read from 'four feet' on"),
        ("W 1,2m", "has a comma in its number"),
        ("W 4fz", "unit 'fz' is not known"),
        ("W 20ft", "above 6 m (19.7 ft)"),
        ("W 6.01m", "above 6 m"),
        ("W 4ft 61kn", "above 60 kn"),
        ("W 1m " + "x" * 80, "longer than 64 characters"),
    ],
)
def test_a_bad_sea_is_one_clear_line(text: str, said: str):
    with pytest.raises(InputError) as caught:
        read_sea(text, "--sea")
    line = str(caught.value)
    assert line.startswith("--sea: ")
    assert said in line
    assert "\n" not in line


@given(st.text(max_size=80))
def test_any_text_is_a_sea_or_a_line(text: str):
    try:
        sea = read_sea(text, "--sea")
    except InputError as error:
        assert "\n" not in str(error)  # noqa: PT017 the other outcome is checked too
    else:
        assert 0 <= sea.from_deg < 360
        assert 0 <= sea.height_m <= 6


def test_values_keep_their_limits():
    for wrong in ({"from_deg": 360}, {"height_m": -0.1}, {"height_m": 6.1}, {"wind_kn": 61}, {"height_m": math.nan}):
        with pytest.raises(ValidationError):
            SeaState(**{"from_deg": 0, "height_m": 1, **wrong})


def test_words_are_those_of_the_wmos_table():
    """Code table 3700, from memory: calm to 0.1 m, smooth to 0.5, slight to 1.25, moderate to 2.5, rough to 4.

    Very rough goes to 6; a height on a bound has the lower state's word.
    """
    bounds = {"calm": (0, 0.1), "smooth": (0.1, 0.5), "slight": (0.5, 1.25), "moderate": (1.25, 2.5)}
    bounds |= {"rough": (2.5, 4), "very rough": (4, 6)}
    assert tuple(bounds) == SEAS
    for word, (above_m, up_to_m) in bounds.items():
        assert wmo_sea(math.nextafter(above_m, 9)) == word
        assert wmo_sea(up_to_m) == word
    assert wmo_sea(0) == "calm"


def test_shown_in_the_boats_units():
    sea = SeaState(from_deg=270, height_m=4 * METRES_PER_FT, wind_kn=15)
    assert sea.shown(DisplayUnits("us")) == "sea of 4 ft from W (270° true), wind 15 kn"
    assert sea.shown(DisplayUnits("metric")) == "sea of 1.2 m from W (270° true), wind 15 kn"
    assert SeaState(from_deg=359.8, height_m=1).shown(DisplayUnits("metric")) == "sea of 1 m from N (000° true)"


def test_one_sea_holds_always():
    seas = Seas.always(SeaState(from_deg=270, height_m=1), "--sea")
    assert seas.at([-1e12, 0.0, 1e12]).tolist() == [0, 0, 0]
    assert seas.during(0.0, 1.0) == (0,)
    assert seas.places == ("--sea",)
    assert not seas.notes


def test_each_row_holds_until_the_next_and_calm_beyond(tmp_path: Path):
    """Rows from 06:00 and 12:00, ending at 18:00: a boundary belongs to what begins there."""
    rows = "2026-07-01T06:00Z,W,2ft,10kn,\n\n2026-07-01T12:00Z,WSW,1.2m,,2026-07-01T18:00Z\n"
    seas = read_sea_table(table(tmp_path, rows), None)
    hours = np.array([[5.99, 6.0, 11.99], [12.0, 17.99, 18.0]])
    found = seas.at(MIDNIGHT_S + 3600 * hours)
    assert found.tolist() == [[-1, 0, 0], [1, 1, -1]]
    assert seas.states[0] == SeaState(from_deg=270, height_m=2 * METRES_PER_FT, wind_kn=10)
    assert seas.states[1] == SeaState(from_deg=247.5, height_m=1.2)
    assert seas.places[1] == f"{tmp_path / 'sea.csv'}, line 4"
    assert seas.notes == (
        "The sea table begins on Wed 1 Jul 2026 06:00 UTC: before that the sea counts as calm.",
        "It ends on Wed 1 Jul 2026 18:00 UTC: after that the sea counts as calm.",
    )


def test_the_seas_of_a_passage_are_those_that_hold_in_it(tmp_path: Path):
    rows = "2026-07-01T06:00Z,W,2ft,,\n2026-07-01T12:00Z,W,4ft,,2026-07-01T18:00Z\n"
    seas = read_sea_table(table(tmp_path, rows), None)

    def between(begin_h: float, end_h: float) -> tuple[int, ...]:
        return seas.during(MIDNIGHT_S + 3600 * begin_h, MIDNIGHT_S + 3600 * end_h)

    assert between(1, 5) == ()
    assert between(5, 7) == (0,)
    assert between(11, 12) == (0, 1)
    assert between(12, 13) == (1,)
    assert between(18, 20) == ()


def test_without_an_end_the_last_row_holds_on(tmp_path: Path):
    seas = read_sea_table(table(tmp_path, "2026-07-01T06:00Z,W,2ft\n", "from_time,sea_from,height\n"), None)
    assert seas.at([MIDNIGHT_S + 1e9]).tolist() == [0]
    assert "says no end: that sea is taken to hold on" in seas.notes[1]


def test_times_are_by_the_zone_that_is_named(tmp_path: Path):
    """08:00 in Lisbon in July is 07:00 UTC; the note tells both."""
    path = table(tmp_path, "2026-07-01 08:00,W,2ft,,\n")
    seas = read_sea_table(path, ZoneInfo("Europe/Lisbon"))
    assert seas.begins_s == (datetime(2026, 7, 1, 7, tzinfo=UTC).timestamp(),)
    assert "08:00 (07:00 UTC)" in seas.notes[0]
    with pytest.raises(InputError, match="does not say in which time zone"):
        read_sea_table(path, None)


def test_columns_with_units_in_any_order_and_with_semicolons(tmp_path: Path):
    rows = "12;2.5;2026-07-01T08:00Z;W\n"
    seas = read_sea_table(table(tmp_path, rows, "wind_kn;height_ft;from_time;sea_from\n"), None)
    assert seas.states == (SeaState(from_deg=270, height_m=2.5 * METRES_PER_FT, wind_kn=12),)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("", ": has a line of names, and no rows"),
        ("2026-07-01T06:00Z,W,,,\n", ", line 2, height: is empty"),
        ("2026-07-01T06:00Z,,1m,,\n", ", line 2, sea_from: is empty"),
        (",W,1m,,\n", ", line 2, from_time: is empty"),
        ("6 o'clock,W,1m,,\n", ", line 2, from_time: is not a date and time"),
        ("2026-07-01T06:00Z,Q,1m,,\n", ", line 2, sea_from: 'Q' is no point of the compass"),
        ("2026-07-01T06:00Z,W 1m,1m,,\n", ", line 2, sea_from: is no direction"),
        ("2026-07-01T06:00Z,W,1,,\n", ", line 2, height: carries no unit"),
        ("2026-07-01T06:00Z,W,7m,,\n", ", line 2, height: is a sea above 6 m"),
        ("2026-07-01T06:00Z,W,1m,15,\n", ", line 2, wind: carries no unit"),
        ("2026-07-01T06:00Z,W,1m,99kn,\n", ", line 2, wind: is a wind above 60 kn"),
        ("2026-07-01T06:00Z,W,1m\n", ", line 2: has 3 cells, and the first line names 5 columns"),
        ("2026-07-01T06:00Z,W,1m,,2026-07-01T06:00Z\n", ", line 2, until: is not after from_time"),
        ('2026-07-01T06:00Z,"W,1m,,\n', ", line 2: is no line of a CSV file"),
        (
            "2026-07-01T06:00Z,W,1m,,\n2026-07-01T05:00Z,W,1m,,\n",
            ", line 3: from_time is not after that of line 2",
        ),
        (
            "2026-07-01T06:00Z,W,1m,,\n2026-07-01T06:00Z,W,2m,,\n",
            ", line 3: from_time is not after that of line 2",
        ),
        (
            "2026-07-01T06:00Z,W,1m,,2026-07-01T08:00Z\n2026-07-01T09:00Z,W,1m,,\n",
            ", line 2: until leaves a gap before line 3",
        ),
        (
            "2026-07-01T06:00Z,W,1m,,2026-07-01T10:00Z\n2026-07-01T09:00Z,W,1m,,\n",
            ", line 2: until reaches beyond the beginning of line 3",
        ),
    ],
)
def test_a_bad_row_is_one_clear_line(tmp_path: Path, rows: str, said: str):
    assert refused(tmp_path, rows).startswith(said)


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("from_time,sea_from,hight\n", ", line 1: names a column that a sea table doesn't have (got 'hight')"),
        ("from_time,sea_from\n", ", line 1: names no column height"),
        ("sea_from,height\n", ", line 1: names no column from_time"),
        ("from_time,sea_from,height_m,height_ft\n", ", line 1: names the column height twice"),
        ("from_time,sea_from,height,wind,wind\n", ", line 1: names the column wind twice"),
        ("from_time,sea_from,height,\n", ", line 1: names a column that"),
    ],
)
def test_a_bad_header_is_one_clear_line(tmp_path: Path, header: str, said: str):
    assert refused(tmp_path, "2026-07-01T06:00Z,W,1m\n", header).startswith(said)


def test_files_that_are_no_table(tmp_path: Path):
    with pytest.raises(InputError, match="no such file"):
        read_sea_table(tmp_path / "none.csv", None)
    (tmp_path / "sea.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_sea_table(tmp_path / "sea.csv", None)
    with pytest.raises(InputError, match="names a column"):
        read_sea_table(table(tmp_path, "", "just words\n"), None)


def test_more_rows_than_any_forecast_has_are_refused(tmp_path: Path):
    begin = datetime(2026, 1, 1, tzinfo=UTC).timestamp()
    rows = [f"{datetime.fromtimestamp(begin + 60 * n, UTC):%Y-%m-%dT%H:%MZ},W,1m,," for n in range(5001)]
    line = refused(tmp_path, "\n".join(rows))
    assert line.startswith(", line 5002: is beyond the 5,000 rows")
