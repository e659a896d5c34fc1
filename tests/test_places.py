"""Positions as they are written at sea."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.errors import InputError
from routeplan.places import looks_like_position, nearest_names, read_position, write_position

# A sum of three divisions in double precision: 1e-13 of a degree is a hundredth of a micrometre.
SAME_DEG = 1e-12


@pytest.mark.parametrize(
    "text",
    [
        "44 12.5N 38 03.0W",
        "44 12.5 N, 38 03.0 W",
        "44°12.5'N 38°03.0'W",
        "44° 12.5\u2032 N 038° 03\u2032 W",
        "44º12.5\u2019N 038º03.0\u2019W",
        "44 12 30N 38 03 00W",
        "44°12'30\"N 38°03'00\"W",
        "44°12'30''N 38°03'00''W",
        "44°12\u203230\u2033N, 038°03\u203200\u2033W",
        "N44 12.5 W038 03.0",
        "N 44°12.5', W 038°03.0'",
        "44-12.5N 038-03.0W",
        "44-12-30N/038-03-00W",
        "38 03.0W 44 12.5N",
        "44 12.5n38 03w",
        "44.208333333333333N 38.05W",
        "44.208333333333333 -38.05",
        "44.208333333333333, -38.05",
        "44.208333333333333,\u221238.05",
        "44.208333333333333° -38.05°",
        "+44.208333333333333 -38.05",
        "44 12.5 -38 03.0",
        "44 12 30 -38 03 00",
        "44°12.5' -38°03.0'",
        "44° 12' 30\" -38° 03' 00\"",
        "44\u200912.5N\u00a038\u200903.0W",
    ],
)
def test_one_position_written_in_many_ways(text: str):
    """12.5' are 0.208333... and 3' are 0.05 of a degree."""
    lon, lat = read_position(text, "FROM")
    assert lat == pytest.approx(44 + 12.5 / 60, abs=SAME_DEG)
    assert lon == pytest.approx(-38.05, abs=SAME_DEG)


@pytest.mark.parametrize(
    ("text", "lon", "lat"),
    [
        ("-0 30 -0 15", -0.25, -0.5),
        ("0 30S 0 15W", -0.25, -0.5),
        ("90N 180W", -180, 90),
        ("0 0", 0, 0),
        ("33 51.5S 151 12.5E", 151 + 12.5 / 60, -(33 + 51.5 / 60)),
    ],
)
def test_hemispheres_and_limits(text: str, lon: float, lat: float):
    assert read_position(text, "FROM") == pytest.approx((lon, lat), abs=SAME_DEG)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("44 12.5N", "hemisphere"),
        ("44 12.5N 38 03.2", "hemisphere"),
        ("44N 38N", "latitude twice"),
        ("38W 44E", "longitude twice"),
        ("-44N 38W", "both a letter and a sign"),
        ("44 60N 38 00W", "below 60"),
        ("44 12 60N 38 03 00W", "below 60"),
        ("44.5 12N 38W", "only the last part"),
        ("44 12.5 30N 38W", "only the last part"),
        ("91N 38W", "beyond 90"),
        ("-138.05 44.2", "latitude comes first"),
        ("44N 181W", "beyond 180"),
        ("44.2 321.95", "with W or a minus"),
        ("44 12.5 38", "not a latitude and a longitude"),
        ("44", "not a latitude and a longitude"),
        ("44,2083 -38,0533", "comma"),
        ("44 12,5N 38 03,2W", "comma"),
        ("44,38", "comma"),
        ("44 12.5N 38 03.2O", "hemisphere"),
        ("44'12°N 38W", "can't be read"),
        ('44"N 38W', "can't be read"),
        ("44.2 -38.05 12", "not a latitude and a longitude"),
        ("44.2 -38.05 1 2 3 4 5 6", "can't be read"),
        ("nan nan", "hemisphere"),
        ("1e400 0", "hemisphere"),
        ("9" * 30 + " 0", "beyond 90"),
        ("Outer Cove", "can't be read"),
        ("4" * 10_000, "longer than 64"),
    ],
)
def test_what_can_be_read_in_more_ways_or_none_is_refused(text: str, says: str):
    with pytest.raises(InputError) as caught:
        read_position(text, "FROM")
    line = str(caught.value)
    assert line.startswith("FROM: ")
    assert says in line
    assert "\n" not in line


@given(lon=st.floats(-180, 180), lat=st.floats(-90, 90))
def test_a_position_is_read_back_within_half_its_last_digit(lon: float, lat: float):
    """A hundredth of a minute is 1/6000 of a degree."""
    assert read_position(write_position((lon, lat)), "x") == pytest.approx((lon, lat), abs=0.5 / 6000 + SAME_DEG)


@given(lon=st.floats(-180, 180), lat=st.floats(-90, 90))
def test_decimal_degrees_are_read_exactly(lon: float, lat: float):
    assert read_position(f"{lat:.12f} {lon:.12f}", "x") == (float(f"{lon:.12f}"), float(f"{lat:.12f}"))


@given(text=st.text(alphabet="0123456789NSEWnsew °'\".,-+/;", max_size=40) | st.text(max_size=70))
def test_whatever_is_typed_is_read_or_refused(text: str):
    said = ""
    try:
        lon, lat = read_position(text, "x")
    except InputError as error:
        said = str(error)
    else:
        assert -180 <= lon <= 180
        assert -90 <= lat <= 90
        assert looks_like_position(text)
    assert "\n" not in said


@pytest.mark.parametrize(
    ("position", "text"),
    [
        ((-38.0533, 44.2083), "44 12.50N 038 03.20W"),
        ((5.999999, -9.999999), "10 00.00S 006 00.00E"),
        ((-0.000001, -0.000001), "00 00.00N 000 00.00E"),
        ((180.0, 90.0), "90 00.00N 180 00.00E"),
    ],
)
def test_minutes_never_reach_sixty(position: tuple[float, float], text: str):
    assert write_position(position) == text


@pytest.mark.parametrize("position", [(math.nan, 0.0), (0.0, math.inf), (181.0, 0.0), (0.0, -90.1)])
def test_a_position_off_the_earth_is_not_written(position: tuple[float, float]):
    with pytest.raises(InputError):
        write_position(position)


def test_names_are_told_from_positions():
    assert looks_like_position("44.2 -38.05")
    assert not looks_like_position("Outer Cove")
    assert not looks_like_position("Pier 7")
    assert not looks_like_position("News")  # letters of the four hemispheres, but no digit
    assert not looks_like_position("")


NAMES = ("Grey Gull Fuel", "Outer Cove", "Gull Rock", "Cove Fuel Dock", "Élan Quay")


@pytest.mark.parametrize(
    ("wanted", "first"),
    [
        ("outer cov", "Outer Cove"),
        ("Cove Outer", "Outer Cove"),
        ("GREY GULL", "Grey Gull Fuel"),
        ("gul rok", "Gull Rock"),
        ("elan quay", "Élan Quay"),
        ("quay", "Élan Quay"),
    ],
)
def test_the_name_that_was_meant_comes_first(wanted: str, first: str):
    assert nearest_names(wanted, NAMES)[0] == first


def test_nothing_is_offered_where_nothing_is_near():
    assert nearest_names("xyzzy", NAMES) == ()
    assert nearest_names("", NAMES) == ()
    assert nearest_names("cove", ()) == ()


def test_no_more_are_offered_than_asked_for_and_none_twice():
    assert nearest_names("cove", [*NAMES, *NAMES], count=1) == ("Cove Fuel Dock",)
    assert sorted(nearest_names("cove", [*NAMES, *NAMES])) == ["Cove Fuel Dock", "Outer Cove"]
