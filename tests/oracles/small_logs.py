"""Boats and fill-ups written down in few words, for logs that are solved by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fillups import Fillup

if TYPE_CHECKING:
    from routeplan.units_shown import UnitSystem

START = datetime(2026, 5, 1, 12, tzinfo=UTC)
NAME = "Plain Sums"
LITRES = {"us": 3.785411784, "imperial": 4.54609, "metric": 1.0}  # l; both gallons are exact by definition


def plain_boat(
    units: UnitSystem = "metric", *, capacity: float = 400.0, fill_share: float = 0.01, full: float | None = None
) -> Boat:
    """Make a boat whose figures are round in her own unit: full mark 380 of 400, floor 50, 60 an hour at 20 kn."""
    unit_l = LITRES[units]
    size = capacity / 400.0
    return Boat(
        name=NAME,
        fuel="gasoline",
        length_overall_m=9.0,
        draught_m=0.9,
        air_draught_m=2.9,
        cruising_speed_kn=20.0,
        no_wake_kn=5.0,
        display_units=units,
        tank=Tank(
            capacity_l=capacity * unit_l,
            unusable_l=10.0 * size * unit_l,
            full_mark_l=(0.95 * capacity if full is None else full) * unit_l,
        ),
        reserve=Reserve(rule="volume", value=40.0 * size * unit_l),
        burn=BurnTable(
            speed_kn=(6.0, 20.0, 30.0),
            burn_lph=(18.0 * unit_l, 60.0 * unit_l, 120.0 * unit_l),
            idle_lph=3.0 * unit_l,
            unsteady_kn=(10.0, 17.0),
            sd_share=0.06,
        ),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=fill_share),
    )


def fill(
    day: float, pumped_l: float, meter_l: float | None = None, gauge_l: float | None = None, **more: Any
) -> Fillup:
    """Write down a fill-up."""
    return Fillup(
        boat=more.pop("boat", NAME),
        when=START + timedelta(days=day),
        pumped_l=pumped_l,
        meter_used_l=meter_l,
        gauge_before_l=gauge_l,
        **more,
    )
