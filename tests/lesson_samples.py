"""Lessons made by hand, for the tests of pictures and page: every figure is chosen, none is fitted."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.lessons import (
    Figure,
    GaugePoint,
    GaugeRow,
    Lesson,
    MeterLesson,
    RunLesson,
    SeaLesson,
    SumPoint,
    Suspicion,
)

if TYPE_CHECKING:
    from routeplan.units_shown import UnitSystem

__all__ = ["boat_named", "empty", "figure", "sample", "sharpening"]

START = datetime(2025, 5, 8, 11, 45, tzinfo=UTC)
SEAS = ("calm", "slight", "moderate", None, "smooth", "rough")


def boat_named(name: str = "By Hand", units: UnitSystem = "us", capacity_l: float = 360.0) -> Boat:
    return Boat(
        name=name,
        fuel="gasoline",
        length_overall_m=9,
        draught_m=0.9,
        air_draught_m=2.9,
        cruising_speed_kn=20,
        no_wake_kn=5,
        display_units=units,
        tank=Tank(capacity_l=capacity_l, unusable_l=capacity_l / 36),
        reserve=Reserve(rule="fraction", value=0.1),
        burn=BurnTable(speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, sd_share=0.06),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


def figure(
    mean: float, half: float, rests_on: int = 20, sharpen: str = "three more full fill-ups halve this"
) -> Figure:
    """Make a figure with a 90 % interval of this half width."""
    return Figure(mean=mean, sd=half / 1.645, low=mean - half, high=mean + half, rests_on=rests_on, sharpen=sharpen)


def sharpening(count: int, mean: float = 1.02, half: float = 0.04) -> tuple[tuple[datetime, Figure], ...]:
    """Let a factor sharpen by the root of the count, a week apart."""
    return tuple(
        (START + timedelta(days=7 * n), figure(1 + (mean - 1) * n / (n + 1), half / math.sqrt(n), n, ""))
        for n in range(1, count + 1)
    )


def sample(
    boat: Boat | None = None,
    *,
    count: int = 20,
    factor: float = 1.02,
    bias: float = 0.03,
    apart: timedelta = timedelta(days=7),
    doubtful: bool = True,
    meters: int = 1,
    note: str = "The pump is taken at its word.",
) -> Lesson:
    """Make a whole lesson; `bias` is how much more is in the tank than the gauge shows, low down, as a share of it."""
    boat = boat or boat_named()
    capacity_l = boat.tank.capacity_l
    when = [START + n * apart for n in range(count)]
    wobble = [0.012 * math.sin(2.4 * n + 0.3) for n in range(count)]
    used = [capacity_l * (0.25 + 0.5 * ((7 * n) % 11) / 11) for n in range(count)]
    sums = [
        SumPoint(when=w, metered_l=u, pumped_l=u * (factor + e), good=True)
        for w, u, e in zip(when, used, wobble, strict=True)
    ]
    gauge, runs = [], []
    for n, (w, u, e) in enumerate(zip(when, used, wobble, strict=True)):
        level_l = capacity_l * 0.95 - u
        there = bias * capacity_l * max(0.0, 1 - level_l / (0.5 * capacity_l))
        gauge.append(
            GaugePoint(when=w, reading_l=max(0.0, level_l - there), level_l=level_l, level_sd_l=2.0, good=True)
        )
        runs.append(
            RunLesson(
                when=w,
                used_l=u,
                distance_nmi=0.4 * u * (1 + 2 * e),
                time_h=3.0,
                economy_nmi_per_l=0.4 * (1 + 2 * e),
                burn_factor=1 - 2 * e,
                sea=SEAS[n % len(SEAS)],
                people=2,
                good=True,
            )
        )
    suspicious: tuple[Suspicion, ...] = ()
    if doubtful:
        middle = count // 2
        sums[middle] = sums[middle].model_copy(update={"good": False, "metered_l": 1.9 * used[middle]})
        gauge[middle] = gauge[middle].model_copy(update={"good": False, "reading_l": 0.9 * capacity_l})
        runs[middle] = runs[middle].model_copy(update={"good": False, "economy_nmi_per_l": 0.9})
        why = "the meter shows far more than was pumped: a meter that was not reset, or a slip of the pen"
        suspicious = (
            Suspicion(entry="abcd1234", when=when[middle], doubtful="meter", probability=0.97, why=why),
            Suspicion(entry="", when=when[-1], doubtful="gauge", probability=0.6, why="the gauge stood still"),
        )
    table = []
    for n in range(11):
        reading_l = capacity_l * n / 10
        mean_l = min(capacity_l, max(0.0, reading_l + bias * capacity_l * max(0.0, 1 - n / 5)))
        half_l = capacity_l * (0.02 if n < 3 else 0.008)
        table.append(
            GaugeRow(
                reading_l=reading_l,
                mean_l=mean_l,
                low_l=max(0.0, mean_l - half_l),
                high_l=min(capacity_l, mean_l + half_l),
                rests_on=n % 4,
            )
        )
    learnt = figure(factor, 0.006)
    return Lesson(
        boat=boat,
        taught=boat,
        fillups=count,
        meter_factor=learnt,
        meters=tuple(MeterLesson(meter=n + 1, since=None, factor=figure(factor, 0.02)) for n in range(meters)),
        full_mark_sd_l=figure(0.006 * capacity_l, 1.0),
        meter_sd_share=figure(0.008, 0.004),
        gauge_sd_l=figure(4.0, 1.0),
        gauge_table=tuple(table),
        gauge_sharpen="four more readings near the bottom halve its widest part",
        gauge_in_words="In the last fifth the gauge is as it is: plan with the low figure.",
        burn_factor=figure(1.03, 0.02),
        burn_sd_share=0.04,
        economy_nmi_per_l=figure(0.4, 0.008),
        by_sea=(SeaLesson(sea="calm", runs=7, burn_factor=0.97), SeaLesson(sea="moderate", runs=5, burn_factor=1.06)),
        suspicious=suspicious,
        sums=tuple(sums),
        gauge_points=tuple(gauge),
        runs=tuple(runs),
        notes=(note,),
    )


def empty(boat: Boat | None = None) -> Lesson:
    """Make the lesson of a log that holds nothing."""
    return sample(boat).model_copy(
        update={
            "fillups": 0,
            "meter_factor": None,
            "meters": (),
            "full_mark_sd_l": figure(3.6, 2.0, 0),
            "gauge_table": (),
            "burn_factor": None,
            "economy_nmi_per_l": None,
            "by_sea": (),
            "suspicious": (),
            "sums": (),
            "gauge_points": (),
            "runs": (),
            "notes": (),
        }
    )
