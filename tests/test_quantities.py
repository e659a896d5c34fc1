"""Quantities as skippers type them; every expected figure is worked by hand from the exact definitions of the units."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.errors import InputError
from routeplan.quantities import (
    plain_text,
    read_burn_lph,
    read_distance_nmi,
    read_duration_h,
    read_length_m,
    read_share,
    read_speed_kn,
    read_volume_l,
)

if TYPE_CHECKING:
    from collections.abc import Callable

# One multiplication by an exact constant: three roundings of double precision at most, 1e-15 of the figure.
ROUNDING = 1e-14
READERS = (read_volume_l, read_burn_lph, read_speed_kn, read_length_m, read_distance_nmi, read_duration_h, read_share)


@pytest.mark.parametrize(
    ("text", "expected_l"),
    [
        ("270 l", 270.0),
        ("270L", 270.0),
        ("270 litres", 270.0),
        ("270 \u2113", 270.0),
        ("71 usgal", 268.764236664),  # 71 * 3.785411784
        ("71 US gal", 268.764236664),
        ("71 U.S. gallons", 268.764236664),
        ("59 impgal", 268.21931),  # 59 * 4.54609
        ("59 imp. gal", 268.21931),
        ("59 Imperial Gallons", 268.21931),
        ("71\u202fusgal", 268.764236664),
        ("71\u00a0usgal", 268.764236664),
        (" 71\tusgal ", 268.764236664),
        ("1\u2009200 l", 1200.0),
        ("1.2e2 l", 120.0),
        (".5 l", 0.5),
        ("71. l", 71.0),
        ("+71 l", 71.0),
        ("0 l", 0.0),
        ("-0 l", 0.0),
        (270, 270.0),
        (270.5, 270.5),
    ],
)
def test_a_volume_carries_its_unit(text: str | float, expected_l: float):
    assert read_volume_l(text, "--aboard") == pytest.approx(expected_l, rel=ROUNDING)


@pytest.mark.parametrize("text", ["71gal", "71 gal", "71 Gal.", "71 gallons", "71 gals"])
def test_bare_gal_is_the_gallon_that_the_caller_means(text: str):
    assert read_volume_l(text, "--aboard", bare="usgal") == pytest.approx(268.764236664, rel=ROUNDING)
    assert read_volume_l(text, "--aboard", gal="impgal") == pytest.approx(322.77239, rel=ROUNDING)  # 71 * 4.54609


@pytest.mark.parametrize("bare", [None, "l"])
def test_bare_gal_is_refused_where_nobody_says_which(bare: None):
    with pytest.raises(InputError) as caught:
        read_volume_l("71gal", "boat.toml, tank.capacity_l", bare=bare)
    line = str(caught.value)
    assert line.startswith("boat.toml, tank.capacity_l: ")
    assert "'71gal'" in line
    assert all(unit in line for unit in ("l", "usgal", "impgal"))


def test_a_number_without_unit_takes_the_callers_unit_or_none():
    assert read_volume_l("71", "--aboard", bare="impgal") == pytest.approx(322.77239, rel=ROUNDING)
    with pytest.raises(InputError, match="carries no unit"):
        read_volume_l("71", "--aboard")
    with pytest.raises(InputError, match="carries no unit"):  # gal says which gallon, not that a bare number is one
        read_volume_l("71", "--aboard", gal="usgal")


@pytest.mark.parametrize(
    ("text", "expected_lph"),
    [
        ("12 gph", 45.424941408),
        ("12 gal/h", 45.424941408),
        ("12 usgal/h", 45.424941408),
        ("45 l/h", 45.0),
        ("45lph", 45.0),
    ],
)
def test_burn(text: str, expected_lph: float):
    """12 US gallons an hour are 12 * 3.785411784 l."""
    assert read_burn_lph(text, "burn", gal="usgal") == pytest.approx(expected_lph, rel=ROUNDING)


def test_burn_in_bare_gallons_is_refused_where_nobody_says_which():
    with pytest.raises(InputError, match="US or the imperial gallon"):
        read_burn_lph("12 gph", "burn")


@pytest.mark.parametrize(
    ("text", "expected_kn"),
    [
        ("24", 24.0),
        ("24 kn", 24.0),
        ("24kt", 24.0),
        ("24 knots", 24.0),
        ("185.2 km/h", 100.0),
        ("57.875 mph", 50.292),  # 57.875 * 1609.344 = 93140.784 = 50.292 * 1852
        ("926 m/s", 1800.0),
    ],
)
def test_speed(text: str, expected_kn: float):
    assert read_speed_kn(text, "--speed") == pytest.approx(expected_kn, rel=ROUNDING)


@pytest.mark.parametrize(
    ("text", "expected_m"),
    [
        ("31 ft 6 in", 9.6012),  # 31.5 * 0.3048
        ("31ft6in", 9.6012),
        ("31'6\"", 9.6012),
        ("31' 6''", 9.6012),
        ("31\u20326\u2033", 9.6012),
        ("31\u2019 6\u201d", 9.6012),
        ("31'6", 9.6012),
        ("31 feet 6 inches", 9.6012),
        ("31.5ft", 9.6012),
        ("31.5'", 9.6012),
        ("3 ft 6.5 in", 1.0795),  # 42.5 * 0.0254
        ("6 in", 0.1524),
        ("0.9", 0.9),
        ("0.9 m", 0.9),
        ("90 cm", 0.9),
    ],
)
def test_length(text: str, expected_m: float):
    assert read_length_m(text, "draught_m") == pytest.approx(expected_m, rel=ROUNDING)


@pytest.mark.parametrize("text", ["31.5 ft 6 in", "31 ft 12 in"])
def test_feet_and_inches_that_can_not_both_be_meant(text: str):
    with pytest.raises(InputError, match="below 12"):
        read_length_m(text, "length_overall_m")


@pytest.mark.parametrize(
    ("text", "expected_nmi"), [("10", 10.0), ("10 nmi", 10.0), ("10nm", 10.0), ("18.52 km", 10.0), ("926 metres", 0.5)]
)
def test_distance(text: str, expected_nmi: float):
    assert read_distance_nmi(text, "--snap") == pytest.approx(expected_nmi, rel=ROUNDING)


@pytest.mark.parametrize("text", ["10 miles", "10 m", "10 M", "1 mile"])
def test_a_mile_that_may_be_either_is_refused(text: str):
    with pytest.raises(InputError, match="nautical"):
        read_distance_nmi(text, "--snap")


@pytest.mark.parametrize(
    ("text", "expected_h"),
    [
        ("15min", 0.25),
        ("15 m", 0.25),
        ("3h", 3.0),
        ("1h30", 1.5),
        ("1 h 30 min", 1.5),
        ("1:30", 1.5),
        ("90 min", 1.5),
        ("1.5 h", 1.5),
        ("900 s", 0.25),
        ("38 d 2 h", 914.0),
        (2, 2.0),
    ],
)
def test_duration(text: str | float, expected_h: float):
    assert read_duration_h(text, "--berthing") == pytest.approx(expected_h, rel=ROUNDING)


@pytest.mark.parametrize("text", ["15", "1h60", "1:75", "1d 24h", "1.5h30", "h", "::"])
def test_a_duration_that_is_no_duration(text: str):
    with pytest.raises(InputError):
        read_duration_h(text, "--berthing")


def test_share():
    assert read_share("10 %", "reserve.value") == pytest.approx(0.1, rel=ROUNDING)
    assert read_share("0.1", "reserve.value") == pytest.approx(0.1, rel=ROUNDING)


@pytest.mark.parametrize("text", ["71,5 l", "1,200 l", "1.200,5 l", ",5 l"])
def test_a_comma_is_refused_with_what_to_write(text: str):
    with pytest.raises(InputError, match=r"comma.*71\.5"):
        read_volume_l(text, "--aboard")


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    "bad",
    [
        "",
        "   ",
        "nan",
        "nan l",
        "inf",
        "infinity",
        "1e999",
        "1e999 l",
        "-1",
        "\u22121 l",
        "\u2013 1 l",
        "l",
        "l 71",
        "71 furlongs",
        "0x10",
        "1_0",
        "\u00bd l",
        "\u0667\u0661 l",
        "7 1 l",
        "--1",
        "1e",
        "9" * 400,
        "9" * 100_000,
        math.nan,
        math.inf,
        -math.inf,
        -1,
        -0.5,
        10**400,
        True,
        None,
        [71],
        {"l": 71},
        dt.date(2026, 7, 1),
        b"71 l",
    ],
    ids=lambda bad: str(bad)[:12],
)
def test_what_is_no_quantity_is_one_line_that_says_where(reader: Callable[[object, str], float], bad: object):
    with pytest.raises(InputError) as caught:
        reader(bad, "boat.toml, some.key")
    line = str(caught.value)
    assert line.startswith("boat.toml, some.key: ")
    assert "\n" not in line
    assert len(line) < 300


def test_a_unit_misspelt_gets_the_nearest_offered():
    with pytest.raises(InputError, match=r"did you mean litres\?"):
        read_volume_l("71 litrs", "--aboard")


@given(text=st.text(max_size=80))
def test_whatever_is_typed_is_read_or_refused(text: str):
    """No reader fails in another way, and none returns less than 0 or more than a finite number."""
    for reader in READERS:
        said = ""
        try:
            number = reader(text, "x")
        except InputError as error:
            said = str(error)
        else:
            assert 0 <= number < math.inf
        assert "\n" not in said


@given(number=st.floats(0, 1e6))
def test_a_number_is_in_the_inner_unit_already(number: float):
    for reader in READERS:
        assert reader(number, "x") == number


def test_plain_text_keeps_what_it_does_not_know():
    assert plain_text("71 ☃", "x") == "71 ☃"
