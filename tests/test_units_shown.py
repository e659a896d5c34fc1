"""Figures on screens: to the safe side, and read back as what they were."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.quantities import read_distance_nmi, read_duration_h, read_length_m, read_speed_kn, read_volume_l
from routeplan.units_shown import (
    DisplayUnits,
    shown_distance,
    shown_distance_down,
    shown_duration,
    shown_money,
    shown_speed,
)

US, IMPERIAL, METRIC = DisplayUnits("us"), DisplayUnits("imperial"), DisplayUnits("metric")
SYSTEMS = st.sampled_from([US, IMPERIAL, METRIC])
VOLUMES = st.floats(0, 5000)


@pytest.mark.parametrize(
    ("units", "expected"),
    [
        (US, ("26.4 gal", "26.4 gal", "26.5 gal")),
        (IMPERIAL, ("22.0 gal", "21.9 gal", "22.0 gal")),
        (METRIC, ("100.0 l",) * 3),
    ],
)
def test_fuel_left_goes_down_and_fuel_needed_up(units: DisplayUnits, expected: tuple[str, str, str]):
    """100 l are 26.417 US gallons and 21.997 imperial ones (NIST SP 811 factors, divided by hand)."""
    assert (units.volume(100), units.volume_down(100), units.volume_up(100)) == expected


def test_a_whole_figure_keeps_its_last_digit():
    """71 gallons must not become 70.9 because a double holds 70.99999999999999."""
    assert US.volume_down(71 * 3.785411784) == "71.0 gal"
    assert US.volume_up(71 * 3.785411784) == "71.0 gal"
    assert METRIC.volume_down(0.1 + 0.2) == "0.3 l"
    assert METRIC.volume_up(0.1 + 0.2) == "0.3 l"


def test_a_shortfall_is_shown_no_smaller_than_it_is():
    assert METRIC.volume_down(-0.01) == "-0.1 l"
    assert METRIC.volume(-0.01) == "0.0 l"  # never a negative zero


def test_economy_price_burn_and_money():
    """0.375 nmi/l times 3.785411784 is 1.4195 nmi/gal; 1.85 a litre is 7.003 a gallon."""
    assert US.economy(0.375) == "1.42 nmi/gal"
    assert METRIC.economy(0.375) == "0.375 nmi/l"
    assert US.price(1.85, "EUR") == "EUR 7.00/gal"
    assert US.burn(45.424941408) == "12.0 gal/h"
    assert shown_money(123.4, "EUR") == "EUR 123.40"


def test_lengths_and_depths():
    """9.6012 m are 31.5 ft; 2.4 m are 7.874 ft, and water is never shown deeper than it is."""
    assert US.length(9.6012) == "31 ft 6 in"
    assert US.length(0.3047) == "1 ft 0 in"  # 11.996 in: rounded once, in inches
    assert METRIC.length(9.6012) == "9.60 m"
    assert US.depth(2.4) == "7.8 ft"
    assert METRIC.depth(2.49) == "2.4 m"
    assert METRIC.depth(-0.61) == "-0.7 m"


def test_what_was_understood_names_the_gallon():
    assert US.echo_volume(268.764236664) == "71.0 US gal (268.8 l)"
    assert IMPERIAL.echo_volume(268.21931) == "59.0 imperial gal (268.2 l)"
    assert METRIC.echo_volume(270) == "270.0 l"


def test_distance_speed_duration():
    assert (shown_distance(12.34), shown_distance_down(125.99), shown_speed(24), shown_speed(24.5)) == (
        "12.3 nmi",
        "125 nmi",
        "24 kn",
        "24.5 kn",
    )
    assert [shown_duration(hours) for hours in (0, 0.25, 0.999, 1.5, 26, 914)] == [
        "0 min",
        "15 min",
        "1 h 00 min",
        "1 h 30 min",
        "26 h 00 min",
        "38 d 2 h",
    ]


@given(units=SYSTEMS, volume_l=VOLUMES)
def test_a_volume_is_read_back_within_half_its_last_digit(units: DisplayUnits, volume_l: float):
    read_l = read_volume_l(units.volume(volume_l), "x", bare=units.volume_unit)
    assert read_l == pytest.approx(volume_l, abs=(0.05 + 1e-9) * units.litres_per_unit)


@given(units=SYSTEMS, volume_l=VOLUMES)
def test_the_safe_side_is_kept_and_costs_less_than_a_digit(units: DisplayUnits, volume_l: float):
    """Down is at most the figure and up at least it, but for the millionth of a digit that is forgiven."""
    forgiven_l = 2e-7 * units.litres_per_unit
    down_l = read_volume_l(units.volume_down(volume_l), "x", bare=units.volume_unit)
    up_l = read_volume_l(units.volume_up(volume_l), "x", bare=units.volume_unit)
    assert volume_l - 0.1 * units.litres_per_unit - forgiven_l <= down_l <= volume_l + forgiven_l
    assert volume_l - forgiven_l <= up_l <= volume_l + 0.1 * units.litres_per_unit + forgiven_l


@given(units=SYSTEMS, length_m=st.floats(0, 100))
def test_a_length_is_read_back_within_half_its_last_digit(units: DisplayUnits, length_m: float):
    half_m = 0.005 if units.system == "metric" else 0.0127
    assert read_length_m(units.length(length_m), "x") == pytest.approx(length_m, abs=half_m + 1e-9)


@given(value=st.floats(0, 5000))
def test_distance_speed_and_duration_are_read_back(value: float):
    assert read_distance_nmi(shown_distance(value), "x") == pytest.approx(value, abs=0.05 + 1e-9)
    assert read_speed_kn(shown_speed(value), "x") == pytest.approx(value, abs=0.05 + 1e-9)
    half_h = 0.5 if value >= 47.99 else 0.5 / 60  # days are shown without minutes
    assert read_duration_h(shown_duration(value), "x") == pytest.approx(value, abs=half_h + 1e-9)
