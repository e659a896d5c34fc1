"""Fuel aboard, the arrival rule and the range to promise: solved by hand, and as properties."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fuel import (
    FuelAboard,
    burned_l,
    full,
    greatest_burn_l,
    low_figure_l,
    promised_range_nmi,
    read_aboard,
    run_time_h,
    z_of,
)

if TYPE_CHECKING:
    from routeplan.units_shown import UnitSystem

ROUNDING = 1e-12  # a few operations in double precision


def boat_in(units: UnitSystem, *, capacity_l: float = 400, sd_share: float = 0.06) -> Boat:
    return Boat(
        name="Test Boat",
        fuel="gasoline",
        length_overall_m=9,
        draught_m=0.9,
        air_draught_m=2.9,
        cruising_speed_kn=20,
        no_wake_kn=5,
        display_units=units,
        tank=Tank(capacity_l=capacity_l, unusable_l=10),
        reserve=Reserve(rule="volume", value=40),
        burn=BurnTable(
            speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, unsteady_kn=(10, 17), sd_share=sd_share
        ),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


US, METRIC = boat_in("us"), boat_in("metric")


@pytest.mark.parametrize(
    ("text", "boat", "mean_l", "sd_l"),
    [
        ("full", US, 380.0, 4.0),  # 0.95 and 0.01 of 400 l
        (" FULL ", METRIC, 380.0, 4.0),
        ("71gal", US, 268.764236664, 12.0),  # 0.03 of 400 l
        ("71", US, 268.764236664, 12.0),
        ("270", METRIC, 270.0, 12.0),
        ("270 l", US, 270.0, 12.0),
        ("71gal±3gal", US, 268.764236664, 11.356235352),
        ("71gal+-3gal", US, 268.764236664, 11.356235352),
        ("71 gal +/- 3 gal", US, 268.764236664, 11.356235352),
        ("71 ± 3 gal", US, 268.764236664, 11.356235352),
        ("71gal ± 3", US, 268.764236664, 11.356235352),
        ("71gal+\u22123gal", US, 268.764236664, 11.356235352),
        ("71±3", US, 268.764236664, 11.356235352),
        ("71gal±11l", US, 268.764236664, 11.0),
        ("270±11 l", METRIC, 270.0, 11.0),
        ("71usgal±3usgal", METRIC, 268.764236664, 11.356235352),
        ("270l±0l", METRIC, 270.0, 0.0),
        ("0 l", METRIC, 0.0, 12.0),
    ],
)
def test_fuel_aboard_is_a_mean_and_a_sd(text: str, boat: Boat, mean_l: float, sd_l: float):
    aboard = read_aboard(text, boat, "--aboard")
    assert (aboard.mean_l, aboard.sd_l) == pytest.approx((mean_l, sd_l), rel=ROUNDING)


@pytest.mark.parametrize(
    ("text", "boat", "says"),
    [
        ("106gal", US, ("more than Test Boat's tank holds, 105.7 US gal (400.0 l)", "'106gal'")),
        ("401 l", METRIC, ("more than Test Boat's tank holds, 400.0 l",)),
        ("71gal", METRIC, ("usgal", "impgal")),
        ("71gal±3gal", METRIC, ("usgal", "impgal")),
        ("71gal±500l", US, ("± is more than the tank holds",)),
        ("71gal±3gal±1gal", US, ("more than one ±",)),
        ("±3gal", US, ()),
        ("71gal±", US, ()),
        ("-71gal", US, ("negative",)),
        ("71gal±-3gal", US, ("negative",)),
        ("71,5gal", US, ("comma",)),
        ("nan", US, ()),
        ("nan±3gal", US, ()),
        ("1e999gal", US, ("finite",)),
        ("half", US, ()),
        ("", US, ("empty",)),
        ("x" * 1000, US, ("longer than 64",)),
    ],
)
def test_fuel_aboard_that_can_not_be(text: str, boat: Boat, says: tuple[str, ...]):
    with pytest.raises(InputError) as caught:
        read_aboard(text, boat, "--aboard")
    line = str(caught.value)
    assert line.startswith("--aboard: ")
    assert all(part in line for part in says), line
    assert "\n" not in line


def test_a_tank_as_the_screen_says_it_is_taken_back():
    """363.0 l are 95.8945 gal, which screens call 95.9: 0.0055 gal too much is the whole tank, 0.1 gal is not."""
    boat = boat_in("us", capacity_l=363.0)
    assert read_aboard("95.9gal", boat, "--aboard").mean_l == 363.0
    with pytest.raises(InputError):
        read_aboard("96gal", boat, "--aboard")


@given(mean_l=st.floats(0, 400), sd_l=st.floats(0, 100), units=st.sampled_from(["us", "imperial", "metric"]))
def test_fuel_aboard_is_read_back_from_the_screen(mean_l: float, sd_l: float, units: UnitSystem):
    """The mean within half a tenth of a unit; the sd is rounded up, so by less than a tenth."""
    boat = boat_in(units)
    tenth_l = 0.1 * boat.units.litres_per_unit
    aboard = read_aboard(boat.units.volume_pm(mean_l, sd_l), boat, "--aboard")
    assert aboard.mean_l == pytest.approx(mean_l, abs=tenth_l / 2 + 1e-9)
    assert sd_l - 1e-5 <= aboard.sd_l <= sd_l + tenth_l + 1e-5


@given(text=st.text(alphabet="0123456789.,±+-/ galfulimps", max_size=30))
def test_whatever_is_typed_is_fuel_aboard_or_refused(text: str):
    said = ""
    try:
        aboard = read_aboard(text, US, "--aboard")
    except InputError as error:
        said = str(error)
    else:
        assert 0 <= aboard.mean_l <= 400
        assert 0 <= aboard.sd_l <= 400
        assert aboard.how
    assert "\n" not in said


@pytest.mark.parametrize(("mean_l", "sd_l"), [(-1, 0), (1, -1), (math.nan, 0), (1, math.inf)])
def test_fuel_aboard_is_never_negative_or_unknown(mean_l: float, sd_l: float):
    with pytest.raises(ValidationError):
        FuelAboard(mean_l=mean_l, sd_l=sd_l, how="test")


def test_full_is_the_mark_and_not_the_brim():
    aboard = full(US)
    assert (aboard.mean_l, aboard.sd_l) == pytest.approx((380, 4), rel=ROUNDING)
    assert "100.4 US gal (380.0 l)" in aboard.how


@pytest.mark.parametrize("confidence", [0.49, 0.0, -1, 0.9991, 1.0, 90, math.nan, math.inf])
def test_a_confidence_outside_its_limits(confidence: float):
    with pytest.raises(InputError, match=r"^--confidence: must be from 0\.5 to 0\.999"):
        z_of(confidence)


def test_half_is_the_plain_rule_of_thumb():
    assert z_of(0.5) == 0.0


def test_the_low_figure_by_hand():
    """300 l of sd 3; 40 l burnt at 10 % are 4 l of sd: together 5, two of them 10, so 300 - 40 - 10 = 250."""
    assert low_figure_l(300, 40, 3, 0.10, 2) == 250
    assert low_figure_l(300, 40, 3, 0.10, 0) == 260
    assert low_figure_l(10, 40, 3, 0.10, 2) == -40


class Case(NamedTuple):
    """The figures of the arrival rule, in the order that `greatest_burn_l` takes them."""

    mean_l: float
    sd_l: float
    sd_share: float
    z: float
    floor_l: float

    def low_l(self, burn_l: float) -> float:
        """Return the left side of the rule."""
        return low_figure_l(self.mean_l, burn_l, self.sd_l, self.sd_share, self.z)


@pytest.mark.parametrize(
    ("case", "burn_l"),
    [
        (Case(300, 3, 0.10, 2, 250), 40.0),  # the low figure above, backwards
        (Case(300, 3, 0.10, 0, 250), 50.0),  # z = 0: what is above the floor
        (Case(300, 0, 0.50, 2, 200), 50.0),  # z k = 1: 100 - B = B
        (Case(300, 0, 0.50, 4, 0), 100.0),  # z k = 2: 300 - B = 2 B
        (Case(300, 25, 0, 2, 200), 50.0),  # no doubt about the burn: 100 - 2 * 25
        (Case(300, 50, 0.06, 2, 200), 0.0),  # the start's doubt alone takes what is above the floor
        (Case(300, 51, 0.06, 2, 200), 0.0),
        (Case(200, 0, 0.06, 2, 200), 0.0),
        (Case(100, 3, 0.06, 2, 200), 0.0),
        (Case(1000, 0, 0.06, 0, 5e-324), 1000.0),  # a floor far finer than the rule's rounding
    ],
)
def test_the_greatest_burn_by_hand(case: Case, burn_l: float):
    assert greatest_burn_l(*case) == pytest.approx(burn_l, rel=ROUNDING, abs=0)


CASES = st.builds(
    Case,
    mean_l=st.floats(0, 2000),
    sd_l=st.floats(0, 200),
    sd_share=st.floats(0, 1),
    z=st.floats(0, 3.1),
    floor_l=st.floats(0, 2000),
)


@given(case=CASES)
def test_the_greatest_burn_is_the_edge_of_the_arrival_rule(case: Case):
    """The rule holds there as it stands in floating point, and fails a millionth and a microlitre beyond.

    The left side of the rule falls at least as fast as the burn grows, so 1e-6 of the burn plus 1e-6 l is six orders of
    magnitude over the rounding of figures up to 2000 l (5e-13 l): the edge can't hide in rounding.
    """
    burn_l = greatest_burn_l(*case)
    assert 0 <= burn_l <= max(0.0, case.mean_l - case.floor_l)
    if case.low_l(0) >= case.floor_l:
        assert case.low_l(burn_l) >= case.floor_l
    else:
        assert burn_l == 0
    assert case.low_l(burn_l * (1 + 1e-6) + 1e-6) < case.floor_l


@given(case=CASES, more_l=st.floats(0, 500))
def test_more_fuel_never_allows_less_burn(case: Case, more_l: float):
    """Stepping back over the edge may cost the last bits: 1e-9 l is forgiven, a thousandth of a drop."""
    assert greatest_burn_l(*case._replace(mean_l=case.mean_l + more_l)) >= greatest_burn_l(*case) - 1e-9


@given(case=CASES, more=st.floats(0, 1))
def test_more_confidence_or_more_doubt_never_allows_more_burn(case: Case, more: float):
    burn_l = greatest_burn_l(*case)
    assert greatest_burn_l(*case._replace(z=case.z + more)) <= burn_l + 1e-9
    assert greatest_burn_l(*case._replace(sd_l=case.sd_l + more)) <= burn_l + 1e-9
    assert greatest_burn_l(*case._replace(sd_share=case.sd_share + more)) <= burn_l + 1e-9


@given(mean_l=st.floats(0, 400), sd_l=st.floats(0, 40), speed_kn=st.floats(0.5, 30), confidence=st.floats(0.5, 0.999))
def test_a_run_of_the_promised_range_ends_above_the_floor(
    mean_l: float, sd_l: float, speed_kn: float, confidence: float
):
    aboard = FuelAboard(mean_l=mean_l, sd_l=sd_l, how="test")
    range_nmi = promised_range_nmi(METRIC, aboard, speed_kn, confidence)
    assert 0 <= range_nmi <= METRIC.range_nmi(mean_l, speed_kn) * (1 + ROUNDING)
    assume(range_nmi > 0)
    burn_l = burned_l(METRIC, range_nmi, speed_kn)
    # Litres to miles and back is four roundings: 1e-9 l covers them a thousandfold at 400 l.
    assert low_figure_l(mean_l, burn_l, sd_l, METRIC.burn.sd_share, z_of(confidence)) >= METRIC.floor_l - 1e-9


def test_the_promised_range_by_hand():
    """A boat of sd_share 0.5, z = 2 and a sure start: (350 - 50) - B = B leaves 150 l, 50 nmi at 20 kn and 60 l/h.

    The confidence of z = 2 is 0.977249868 (table of the normal distribution); its nine digits settle the range
    to 1e-6 nmi.
    """
    boat = boat_in("metric", sd_share=0.5)
    aboard = FuelAboard(mean_l=350, sd_l=0, how="test")
    assert promised_range_nmi(boat, aboard, 20, 0.977249868) == pytest.approx(50, abs=1e-6)


def test_at_even_odds_the_promise_is_the_rule_of_thumb():
    aboard = FuelAboard(mean_l=350, sd_l=12, how="test")
    assert promised_range_nmi(METRIC, aboard, 20, 0.5) == pytest.approx(METRIC.range_nmi(350, 20), rel=ROUNDING)
    assert promised_range_nmi(METRIC, aboard, 20, 0.9) < METRIC.range_nmi(350, 20)


def test_the_promise_names_the_option_that_is_wrong():
    with pytest.raises(InputError, match=r"^--speed: "):
        promised_range_nmi(METRIC, full(METRIC), 31, 0.9, "--speed")
    with pytest.raises(InputError, match=r"^--confidence: "):
        promised_range_nmi(METRIC, full(METRIC), 20, 1.0)


def test_time_and_burn_of_a_run():
    """30 nmi at 20 kn are 1.5 h, at 60 l/h 90 l."""
    assert run_time_h(30, 20) == 1.5
    assert burned_l(METRIC, 30, 20) == pytest.approx(90, rel=ROUNDING)
