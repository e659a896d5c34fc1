"""Usable fuel, reserve and range against values from outside the project.

Each value carries its source and how it was had: seen (the number was read in the source) or practice (common in the
trade, no published source).
"""

from __future__ import annotations

import pytest

from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fuel import FuelAboard, burned_l, promised_range_nmi, run_time_h
from routeplan.quantities import LITRES_PER_USGAL, read_volume_l

EVEN_ODDS = 0.5  # the sources speak of the plain rule of thumb


def boat_of(*, capacity_gal: float, reserve: Reserve, burn_gph: float, speed_kn: float = 20) -> Boat:
    """Build a boat that burns the same at every speed, all of whose fuel can be drawn, as the sources have it."""
    capacity_l = capacity_gal * LITRES_PER_USGAL
    return Boat(
        name="Reference",
        fuel="gasoline",
        length_overall_m=9,
        draught_m=0.9,
        air_draught_m=2.9,
        cruising_speed_kn=speed_kn,
        no_wake_kn=5,
        display_units="us",
        tank=Tank(capacity_l=capacity_l, unusable_l=0, full_mark_l=capacity_l),
        reserve=reserve,
        burn=BurnTable(
            speed_kn=(5, 2 * speed_kn), burn_lph=(burn_gph * LITRES_PER_USGAL,) * 2, idle_lph=1, sd_share=0.06
        ),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


def full_tank(boat: Boat) -> FuelAboard:
    return FuelAboard(mean_l=boat.tank.capacity_l, sd_l=0, how="reference")


def test_74_gallons_a_tenth_off_at_1_9_miles_a_gallon():
    """74 gal, 10 % kept: about 66 gal usable, about 125 nm at 1.9 nm/gal. Practice.

    "About" drops the fraction of a gallon and goes to the nearest 5 miles: 1 gal and 2.5 nm.
    """
    boat = boat_of(capacity_gal=74, reserve=Reserve(rule="fraction", value=0.10), burn_gph=20 / 1.9)
    usable_gal = boat.usable_l(boat.tank.capacity_l) / LITRES_PER_USGAL
    assert usable_gal == pytest.approx(66, abs=1)
    assert boat.economy_nmi_per_l(20) * LITRES_PER_USGAL == pytest.approx(1.9, rel=1e-12)
    assert boat.range_nmi(boat.tank.capacity_l, 20) == pytest.approx(125, abs=2.5)
    assert promised_range_nmi(boat, full_tank(boat), 20, EVEN_ODDS) == pytest.approx(125, abs=2.5)
    assert boat.units.volume_down(boat.usable_l(boat.tank.capacity_l)) == "66.6 gal"  # 74 - 7.4, by hand


def test_the_rule_of_thirds():
    """A third out, a third back, a third in reserve: U.S. Coast Guard boating-safety advice, seen. Exact."""
    boat = boat_of(capacity_gal=90, reserve=Reserve(rule="thirds"), burn_gph=10)
    third_l = 30 * LITRES_PER_USGAL
    assert boat.reserve_l == pytest.approx(third_l, rel=1e-12)
    assert boat.usable_l(boat.tank.capacity_l) == pytest.approx(2 * third_l, rel=1e-12)
    out_nmi = boat.range_nmi(boat.tank.capacity_l, 20) / 2
    assert burned_l(boat, out_nmi, 20) == pytest.approx(third_l, rel=1e-12)


@pytest.mark.parametrize(("capacity_gal", "burn_gph"), [(40, 10), (74, 12), (96, 16.4)])
def test_safe_time_is_three_quarters_of_the_fuel_over_the_rate(capacity_gal: float, burn_gph: float):
    """FAA P-8740-03: safe time = 75 % of usable fuel / rate; seen. Exact: a reserve of a quarter is the same rule."""
    boat = boat_of(capacity_gal=capacity_gal, reserve=Reserve(rule="fraction", value=0.25), burn_gph=burn_gph)
    time_h = run_time_h(boat.range_nmi(boat.tank.capacity_l, 20), 20)
    assert time_h == pytest.approx(0.75 * capacity_gal / burn_gph, rel=1e-12)


def test_a_fuel_log_leg():
    """2.0 gal in 18 min are 2.9 gal in 26 min; 33.0 then leaves 30.1. Navigation lesson, seen; 0.05 gal."""
    burn_gph = 2.0 / (18 / 60)
    boat = boat_of(capacity_gal=40, reserve=Reserve(rule="volume", value=0), burn_gph=burn_gph)
    leg_l = burned_l(boat, 20 * 26 / 60, 20)
    assert leg_l / LITRES_PER_USGAL == pytest.approx(2.9, abs=0.05)
    left_l = read_volume_l("33.0 usgal", "x") - leg_l
    assert left_l / LITRES_PER_USGAL == pytest.approx(30.1, abs=0.05)
