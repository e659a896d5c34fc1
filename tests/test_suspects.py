"""Fill-ups that don't fit: found, named with the right row, figure and reason; and honest ones left alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.small_logs import START, fill, plain_boat

from routeplan.suspects import possible_slips
from routeplan.teaching import learn

if TYPE_CHECKING:
    from routeplan.fillups import Fillup
    from routeplan.lessons import Suspicion

BOAT = plain_boat()
USED_L = (210.0, 180.0, 240.0, 150.0, 230.0, 190.0, 260.0, 170.0, 220.0, 200.0)


def honest(count: int = 10, start: int = 0) -> list[Fillup]:
    """Write an honest log: meter and pump agree to a litre, the gauge to two."""
    rng = np.random.default_rng(7)
    return [
        fill(
            start + row,
            USED_L[row] + round(float(rng.normal()), 1),
            USED_L[row],
            380 - USED_L[row] + round(2 * float(rng.normal()), 1),
        )
        for row in range(count)
    ]


def told(log: list[Fillup]) -> dict[int, Suspicion]:
    """Return what is suspicious, by the day of the fill-up."""
    return {(one.when - START).days: one for one in learn(BOAT, log).lesson.suspicious}


def test_an_honest_log_raises_no_suspicion():
    assert told(honest()) == {}


def test_a_forgotten_reset_is_found_and_named():
    """Row 4 shows 150 + 230 = 380 where 230 were pumped; nothing else is told."""
    log = honest()
    log[4] = log[4].model_copy(update={"meter_used_l": 150.0 + 230.0})
    found = told(log)
    assert list(found) == [4]
    assert found[4].doubtful == "meter"
    assert found[4].probability > 0.9
    assert "not reset at the fill-up before" in found[4].why
    assert "380.0 l" in found[4].why
    assert "150.0 l" in found[4].why


def test_a_reset_that_the_log_denies_is_found_and_named():
    """The log says that the meter ran on after row 3, but 230 fit row 4 as they stand."""
    log = honest()
    log[3] = log[3].model_copy(update={"meter_reset": False})
    found = told(log)
    assert list(found) == [4]
    assert "says that the meter was not reset" in found[4].why


def test_a_figure_with_a_lost_digit_is_found_and_the_right_one_proposed():
    """24.0 for 240 by the meter; the gauge and the pump agree."""
    log = honest()
    log[2] = log[2].model_copy(update={"meter_used_l": 24.0})
    found = told(log)
    assert list(found) == [2]
    assert found[2].doubtful == "meter"
    assert "240.0 l for 24.0" in found[2].why


def test_digits_exchanged_in_the_pumped_volume_are_found():
    """216.9 typed for 261.9 or so: the gauge sides with the meter."""
    log = honest()
    log[6] = log[6].model_copy(update={"pumped_l": 216.0})  # for 261.0; 260 by the meter
    found = told(log)
    assert list(found) == [6]
    assert found[6].doubtful == "pumped"
    assert "261.0 l for 216.0" in found[6].why


def test_a_gauge_that_was_misread_is_found():
    """130 l where 230 were there."""
    log = honest()
    log[3] = log[3].model_copy(update={"gauge_before_l": 130.0})
    found = told(log)
    assert list(found) == [3]
    assert found[3].doubtful == "gauge"


def test_fuel_that_was_lost_says_leak():
    """250 pumped where the meter saw 190, and the gauge saw 250 go: a leak, or a meter that stuck."""
    log = honest()
    log[5] = log[5].model_copy(update={"pumped_l": 250.0, "gauge_before_l": 130.0})
    found = told(log)
    assert list(found) == [5]
    assert "leak" in found[5].why
    assert found[5].doubtful == "meter"


def test_an_unwritten_fill_up_is_one_of_the_reasons():
    """330 by the meter, but 190 pumped at a gauge that shows 190: 140 must have come in between."""
    log = honest()
    log[5] = log[5].model_copy(update={"meter_used_l": 333.0})
    found = told(log)
    assert list(found) == [5]
    assert "a fill-up that was not written down" in found[5].why


def test_what_the_log_explains_itself_is_not_suspicious():
    log = honest()
    log[4] = log[4].model_copy(update={"meter_used_l": 380.0, "since": ("reset-forgotten",)})
    log[6] = log[6].model_copy(update={"meter_used_l": 400.0, "since": ("unwritten-fillup",)})
    log[8] = log[8].model_copy(update={"meter_used_l": 50.0, "since": ("reset-in-mid-tank",)})
    assert told(log) == {}


def test_a_gross_row_under_each_of_two_meters():
    """Under the first meter and under the second, at the same place: both are told."""
    log = [*honest(6), *honest(6, start=10)]
    log[6] = log[6].model_copy(update={"since": ("meter-replaced",)})
    for row in (3, 9):
        log[row] = log[row].model_copy(update={"meter_used_l": 330.0})
    assert list(told(log)) == [3, 13]


def test_a_run_that_burnt_far_more_than_the_others():
    """20 nmi an hour at 60 l; one run of 3.6 h claims 1.2 h, so that it burnt three times the table."""
    log = [
        one.model_copy(update={"distance_run_nmi": one.pumped_l / 3, "engine_hours_h": one.pumped_l / 60})
        for one in honest()
    ]
    hours = log[5].engine_hours_h or 0.0
    log[5] = log[5].model_copy(update={"distance_run_nmi": 20 * hours / 3, "engine_hours_h": hours / 3})
    found = told(log)
    assert list(found) == [5]
    assert found[5].doubtful == "burn"


def test_the_entrys_own_name_is_told():
    log = honest()
    log[4] = log[4].model_copy(update={"meter_used_l": 380.0})
    (only,) = learn(BOAT, log).lesson.suspicious
    assert only.entry == "00000004"
    assert only.when == log[4].when


@given(st.floats(0.1, 900), st.sampled_from([1.0, 3.785411784, 4.54609]))
def test_slips_of_the_pen_are_other_figures(volume: float, unit_l: float):
    """Each is written otherwise, is above nothing, and says the same in litres as in words."""
    for text, litres in possible_slips(volume * unit_l, unit_l):
        assert float(text) * unit_l == pytest.approx(litres)
        assert litres >= 0
        assert text != f"{volume:.1f}" or volume < 1
