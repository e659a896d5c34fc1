"""What to ask the pump for: solved by hand, against simulated fills, and as properties."""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from layers.errors import InputError
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.pumping import Advice, advice_document, advise, tell_advice
from routeplan.quantities import LITRES_PER_IMPGAL, LITRES_PER_USGAL

if TYPE_CHECKING:
    from routeplan.units_shown import UnitSystem

ROUNDING_L = 1e-9  # a few operations in double precision


def boat_in(units: UnitSystem = "metric", capacity_l: float = 320, full_mark_l: float = 300) -> Boat:
    return Boat(
        name="Pump Test",
        fuel="gasoline",
        length_overall_m=8,
        draught_m=0.8,
        air_draught_m=2.5,
        cruising_speed_kn=20,
        no_wake_kn=5,
        display_units=units,
        tank=Tank(capacity_l=capacity_l, unusable_l=10, full_mark_l=full_mark_l),
        reserve=Reserve(rule="volume", value=40),
        burn=BurnTable(speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, sd_share=0.06),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


BOAT = boat_in()
EXACT = {"full_mark_sd_l": 0.0, "pump_lpm": 40.0}  # 40 l/min: 2 l in the three seconds of closing the nozzle


def test_fill_solved_by_hand() -> None:
    """300 - 100 = 200. Spread 3-4-5: aboard 12 l, mark 9 l (1.645 * 5.471), so 15 l; 2 l for the nozzle.

    200 l at 40 l/min run five minutes and cost 360 at 1.80.
    """
    advice = advise(
        BOAT, 100, 7, aboard_low_l=92, aboard_high_l=112, full_mark_sd_l=5.471, pump_lpm=40, price_per_l=1.8
    )
    assert advice.ask_l == 200
    assert advice.ask_low_l == pytest.approx(185, abs=0.01)
    assert advice.ask_high_l == pytest.approx(200 + math.hypot(8, 9), abs=0.01)
    assert advice.slow_at_l == pytest.approx(183, abs=0.01)
    assert advice.time_min == 5
    assert advice.cost == pytest.approx(360)
    assert advice.full
    assert advice.pump_rate_stated
    assert advice.findings == ()


def test_without_a_stated_rate_the_usual_pump_is_taken_and_said() -> None:
    """38 l/min deliver 1.9 l in three seconds."""
    advice = advise(BOAT, 100, 0, full_mark_sd_l=0)
    assert advice.slow_at_l == pytest.approx(200 - 1.9)
    assert not advice.pump_rate_stated
    assert "the dock states no rate" in tell_advice(advice, BOAT, "EUR")
    assert advice.cost is None
    assert "Costs" not in tell_advice(advice, BOAT, "EUR")


@pytest.mark.parametrize(("aboard_sd_l", "mark_sd_l"), [(6.0, 1.0), (2.0, 4.0), (0.5, 3.0)])
def test_one_tank_in_twenty_is_at_the_mark_before_the_low_end(aboard_sd_l: float, mark_sd_l: float) -> None:
    """100,000 fills: the standard error of a share of 5 % is 0.07 %, so 0.3 % is more than four of them."""
    advice = advise(BOAT, 120, aboard_sd_l, full_mark_sd_l=mark_sd_l, pump_lpm=40)
    rng = np.random.default_rng(5)
    aboard_l = rng.normal(120, aboard_sd_l, 100_000)
    mark_l = rng.normal(300, mark_sd_l, 100_000)
    reached_l = mark_l - aboard_l
    assert np.mean(reached_l < advice.slow_at_l + advice.closing_l) == pytest.approx(0.05, abs=0.003)
    assert np.mean(reached_l > advice.ask_high_l) == pytest.approx(0.05, abs=0.003)


def test_nobody_is_told_to_ask_for_what_could_run_over() -> None:
    """Aboard 100 but perhaps 135: 320 - 135 - 2 = 183 fit for certain, 200 might not."""
    advice = advise(BOAT, 100, 20, aboard_low_l=65, aboard_high_l=135, **EXACT)
    assert advice.ask_l == 183
    assert "183 l is less than the tank is reckoned to take" in advice.findings[-1]
    assert advice.full


@given(
    aboard_l=st.floats(0, 320),
    sd_l=st.floats(0, 80),
    mark_sd_l=st.floats(0, 20),
    rate_lpm=st.floats(5, 200),
    take_l=st.none() | st.floats(0, 400),
    sale_l=st.none() | st.floats(1, 400),
)
def test_what_holds_for_every_fill(
    aboard_l: float, sd_l: float, mark_sd_l: float, rate_lpm: float, take_l: float | None, sale_l: float | None
) -> None:
    advice = advise(
        BOAT, aboard_l, sd_l, full_mark_sd_l=mark_sd_l, pump_lpm=rate_lpm, take_l=take_l, largest_sale_l=sale_l
    )
    asked = [v for v in (take_l, sale_l) if v is not None]
    assert 0 <= advice.slow_at_l <= advice.ask_l <= max(0.0, 300 - aboard_l)
    assert all(advice.ask_l <= v for v in asked)
    assert advice.ask_low_l <= advice.ask_high_l
    if advice.ask_l > 0:
        assert advice.ask_l <= 320 - advice.aboard_high_l - advice.closing_l + ROUNDING_L
        assert advice.slow_at_l <= max(0.0, advice.ask_low_l - advice.closing_l) + ROUNDING_L
    else:
        assert advice.stop == "don't fill"
    if advice.slow_at_l == 0 and advice.ask_l > 0:
        assert "from the first drop" in tell_advice(advice, BOAT, "EUR")
    sooner = advise(BOAT, min(320.0, aboard_l + 5), sd_l, full_mark_sd_l=mark_sd_l, pump_lpm=rate_lpm)
    whole = advise(BOAT, aboard_l, sd_l, full_mark_sd_l=mark_sd_l, pump_lpm=rate_lpm)
    assert sooner.slow_at_l <= whole.slow_at_l + ROUNDING_L


@given(aboard_l=st.floats(10, 250), units=st.sampled_from(["us", "imperial", "metric"]))
def test_totals_on_the_screen_never_lie_above_the_true_ones(aboard_l: float, units: UnitSystem) -> None:
    boat = boat_in(units)
    advice = advise(boat, aboard_l, 3)
    assume(advice.slow_at_l > 0)
    told = tell_advice(advice, boat, "EUR")
    per_unit = {"us": LITRES_PER_USGAL, "imperial": LITRES_PER_IMPGAL, "metric": 1.0}[units]
    for line, true_l in (("Ask for", advice.ask_l), ("Slow down", advice.slow_at_l)):
        found = re.search(rf"^{line} +\D*([\d.]+) (gal|l)(?: \(([\d.]+) l\))?", told, re.MULTILINE)
        assert found is not None
        own_l = float(found[1]) * per_unit
        assert true_l - max(1.0, per_unit) <= own_l <= true_l + 1e-5
        if units != "metric":
            assert true_l - 1 <= float(found[3]) <= true_l + 1e-5


def test_pump_that_counts_gallons_and_one_that_counts_litres_are_both_served() -> None:
    """164 l are 43.3 US gallons: both are shown, each rounded down."""
    boat = boat_in("us")
    told = tell_advice(advise(boat, 136, 0, **EXACT), boat, "EUR")
    assert "about 43 gal (164 l)" in told
    assert "from 42 gal (162 l) on the pump" in told
    assert "at 10.6 gal/min (40 l/min)" in told


def test_part_fill_stops_at_its_total_or_at_the_mark() -> None:
    advice = advise(BOAT, 100, 0, take_l=60, **EXACT)
    assert (advice.ask_l, advice.slow_at_l, advice.full) == (60, 58, False)
    assert advice.stop == "at 60 l, or at the full mark if it comes first"
    assert tell_advice(advice, BOAT, "EUR").endswith("fillup add METER GAUGE PUMPED --part")


def test_dock_that_sells_less_is_said_with_what_is_short() -> None:
    advice = advise(BOAT, 100, 0, largest_sale_l=150, **EXACT)
    assert (advice.ask_l, advice.full) == (150, False)
    assert advice.findings == ("This dock sells at most 150 l at once: 50.0 l short of the mark.",)


@pytest.mark.parametrize(
    ("aboard_l", "sd_l", "take_l", "ask_l", "words"),
    [
        (305, 0, None, 0, "Don't fill: even if less is aboard"),
        (305, 6, None, 0, "Don't fill by this figure"),
        (298, 6, None, 2, "She may be at the full mark already"),  # 298 + 9.9 + 2 are below the brim
        (299, 0, None, 1, "There is little room"),
        (290, 20, None, 0, "Name no figure"),  # 290 + 32.9 is over the brim
        (100, 3, 260, 200, "260 l doesn't fit: even if little is aboard"),
        (100, 10, 205, 200, "205 l isn't likely to fit"),
        (100, 5, 195, 195, "The full mark may come before 195 l"),
    ],
)
def test_what_does_not_fit_is_said(
    aboard_l: float, sd_l: float, take_l: float | None, ask_l: float, words: str
) -> None:
    advice = advise(BOAT, aboard_l, sd_l, take_l=take_l, **EXACT)
    assert advice.ask_l == pytest.approx(ask_l)
    assert words in advice.findings[0]
    told = tell_advice(advice, BOAT, "EUR")
    assert f"! {advice.findings[0]}" in told
    assert ("Ask for" in told) == (ask_l > 0)


def test_cautions_come_in_the_order_in_which_they_are_needed() -> None:
    advice = advise(BOAT, 100, 3)
    phases = [caution.partition(":")[0] for caution in advice.cautions]
    assert list(dict.fromkeys(phases)) == ["Before", "During", "After", "Spill"]
    assert phases == sorted(phases, key=["Before", "During", "After", "Spill"].index)
    told = tell_advice(advice, BOAT, "EUR")
    wanted = [
        "Moor",
        "ashore",
        "off; no flame",
        "hatches and ports",
        "portable tanks",
        "phone away",
        "touching the filler",
        "slow down",
        "vent",
        "Stop at the full mark",
        "Cap on; wipe",
        "Open hatches",
        "four minutes",
        "nose in the bilge",
        "Start the engines",
        "guests",
        "local authority",
        "800-424-8802",
        "soap",
    ]
    at = told.index("Before")
    for words in wanted:
        at = told.lower().index(words.lower(), at)


def test_document_is_plain_and_in_litres() -> None:
    advice = advise(BOAT, 100, 3, price_per_l=2.0)
    document = json.loads(json.dumps(advice_document(advice, "EUR"), allow_nan=False))
    assert document["schema"] == "routeplan/advice/1"
    assert document["currency"] == "EUR"
    assert document["ask_l"] == 200
    assert document["cost"] == 400
    assert Advice.model_validate({k: v for k, v in document.items() if k not in {"schema", "currency"}}) == advice


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"aboard_mean_l": 400}, "more aboard than Pump Test's tank holds, 320.0 l"),
        ({"aboard_mean_l": -1}, "not negative"),
        ({"aboard_mean_l": math.nan}, "finite"),
        ({"aboard_sd_l": math.inf}, "finite"),
        ({"pump_lpm": 0}, "rate must be above 0"),
        ({"pump_lpm": 5000}, "at most 2000 l/min"),
        ({"price_per_l": -2}, "not negative"),
        ({"take_l": math.nan}, "finite"),
        ({"largest_sale_l": -5}, "not negative"),
    ],
)
def test_impossible_figures_are_refused(figures: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        advise(BOAT, **{"aboard_mean_l": 100.0, "aboard_sd_l": 3.0, **figures})
