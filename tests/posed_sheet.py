"""A plan made by hand for the tests of the passage sheet: two runs with one stop, and all that a row can carry."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import shapely

from layers.about import RegionAbout, Source
from layers.checking import build_layer
from layers.region import build_region
from layers.schema import LAYERS
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fuel import FuelAboard
from routeplan.helm import Helm, LastTurn, MeterMark, MeterStart
from routeplan.margins import Margins
from routeplan.plans import Alternate, Leg, Passed, Plan, Stop
from routeplan.saved_plans import SavedPlan, SavedRegion
from routeplan.trips import Trip

if TYPE_CHECKING:
    from layers.region import Region

DEPART = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)
CAUTION = "An aid to planning, not for navigation."
GAL = 3.785411784  # [l] US gallon, exact (NIST SP 811)


def at(minutes: float) -> datetime:
    return DEPART + timedelta(minutes=minutes)


def boat(name: str = "Posed", units: str = "us") -> Boat:
    return Boat(
        name=name,
        fuel="gasoline",
        length_overall_m=8.0,
        draught_m=0.8,
        air_draught_m=2.5,
        cruising_speed_kn=20,
        no_wake_kn=5,
        display_units=units,
        tank=Tank(capacity_l=100 * GAL, unusable_l=3 * GAL, full_mark_l=95 * GAL),
        reserve=Reserve(rule="volume", value=10 * GAL),
        burn=BurnTable(speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, sd_share=0.06),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


def region(*, variation: float | None = -8.5, land: bool = True) -> Region:
    about = RegionAbout(
        name="Posed Sound",
        extent=(-39.5, 43.75, -36.0, 45.25),
        time_zone="Atlantic/Azores",
        chart_datum="LAT",
        clearance_datum="MHWS",
        currency="EUR",
        variation_deg=variation,
        sources={"land": Source(title="a sketch")},
    )
    dock = {"fuels": "gasoline", "opening_hours": "Mo-Su 08:00-18:00", "vhf": "12", "phone": "555 0101"}
    rows = [{"name": "Mid Pump", **dock}, {"name": "Side Pump", **dock}]
    spots = [shapely.Point(-38.6, 44.2), shapely.Point(-38.9, 44.1)]
    layers = {"docks": build_layer(LAYERS["docks"], rows, spots)}
    if land:
        shape = shapely.box(-39.2, 44.3, -38.2, 44.9)
        layers["land"] = build_layer(LAYERS["land"], [{"name": "Holm"}], [shape])
    return build_region(about, layers)


def leg(number: int, length_nmi: float, course_deg: float, minutes: tuple[float, float], **more: object) -> Leg:
    west = -39.0 + 0.1 * number
    values: dict[str, object] = {
        "from": f"turn {number - 1}",
        "from_position": (west - 0.1, 44.2),
        "to": f"turn {number}",
        "to_position": (west, 44.2),
        "kind": "leg",
        "distance_nmi": length_nmi,
        "course_deg": course_deg,
        "speed_kn": 20.0,
        "depart": at(minutes[0]),
        "arrive": at(minutes[1]),
        "fuel_l": 10.0,
        "aboard_after_l": 300.0,
        "aboard_after_low_l": 290.0,
        "depth_checked": True,
    }
    return Leg.model_validate(values | more)


def legs() -> tuple[Leg, ...]:
    gull = Passed(name="Gull Mark", after_nmi=5, abeam_nmi=0.3, side="port", at=at(20))
    rock = Passed(name="On Rock", after_nmi=6, abeam_nmi=0.01, side="port", at=at(22))
    return (
        leg(1, 0.2, 100, (0, 1), **{"from": "Start Quay"}),
        leg(2, 20.0, 355, (1, 61), passes=(gull, rock)),
        leg(3, 0.02, 10, (61, 61.2), to="Mid Pump", kind="approach", speed_kn=5.0),
        leg(4, 10.0, 90, (91, 121), **{"from": "Mid Pump"}, depth_checked=False, cautions=("bar Long Bar: wait",)),
        leg(5, 5.0, 180, (121, 136), to="End Quay"),
    )


def alternate(name: str = "Side Pump") -> Alternate:
    return Alternate(
        name=name,
        distance_nmi=9.3,
        speed_kn=20,
        left_l=40 * GAL,
        wait_h=0,
        arrive=at(90),
        begin=at(90),
        depart=at(100),
        take_l=50,
        price_per_l=1.9,
        hours="Mo-Su 08:00-18:00",
        vhf="12",
        phone=None,
        confirmed_on=None,
        cautions=(),
    )


def stop(**more: object) -> Stop:
    values: dict[str, object] = {
        "dock": "Mid Pump",
        "position": (-38.6, 44.2),
        "arrive": at(61.2),
        "begin": at(61.2),
        "depart": at(91),
        "aboard_l": 60.19 * GAL,
        "aboard_low_l": 57.19 * GAL,
        "take_l": 35 * GAL,
        "to_mark": True,
        "cost": 250.0,
        "price_per_l": 1.9,
        "wait_h": 0.0,
        "alternate": alternate(),
        "keeps_closed_dock_rule": True,
        "why": "w",
        "instead": None,
        "confirmed_on": "2026-06-01",
        "cautions": (),
        "hours": "Mo-Su 08:00-20:00",
        "vhf": "9",
        "phone": "555 0109",
    }
    return Stop.model_validate(values | more)


def mark(leg: int, shows_gal: float, minutes: float, **more: object) -> MeterMark:
    values = {
        "leg": leg,
        "shows_l": shows_gal * GAL,
        "at": at(minutes),
        "since": "Start Quay" if leg < 4 else "Mid Pump",
    }
    return MeterMark.model_validate({"position": (-39.0 + 0.1 * leg, 44.2)} | values | more)


def turning(limit_gal: float, **more: object) -> dict[str, object]:
    """Tell a limit above which to turn for Side Pump: by two courses, and a third alongside."""
    way = [(221.5, 9.0), (190.0, 2.7), (100.0, 0.1)]
    values = {"turn_above_l": limit_gal * GAL, "turn_for": "Side Pump", "turn_nmi": 11.8, "turn_low_l": 20 * GAL}
    return values | {"turn_way": [{"course_deg": c, "distance_nmi": n} for c, n in way]} | more


def helm(**more: object) -> Helm:
    marks = (mark(2, 31.09, 61), mark(4, 12.09, 121, **turning(36.99)))
    turn = LastTurn(
        towards="End Quay",
        leg=5,
        position=(-38.55, 44.2),
        gone_nmi=12.0,
        to_go_nmi=3.0,
        at=at(125),
        shows_l=13.09 * GAL,
        dock="Side Pump",
        dock_nmi=14.0,
    )
    values = {
        "meter": MeterStart(shows_l=(0.0,), factor=1.021, factor_sd=0.005, fillups=24),
        "marks": marks,
        "last_turns": (turn,),
    }
    return Helm.model_validate(values | more)


def plan(**more: object) -> Plan:
    line = [[-39.0 + 0.1 * number, 44.2] for number in range(6)]
    values: dict[str, object] = {
        "name": "soonest",
        "recommended": True,
        "difference": "",
        "depart": DEPART,
        "arrive": at(136),
        "distance_nmi": 35.22,
        "time_h": 136 / 60,
        "fuel_l": 100.0,
        "cost": 250.0,
        "least_margin_l": 50.0,
        "chance_reserve_kept": 0.99,
        "chance_never_dry": 0.999,
        "closed_dock": "on",
        "aboard_on_arrival_l": 80.09 * GAL,
        "aboard_on_arrival_low_l": 77.09 * GAL,
        "speeds_kn": (20.0, 20.0),
        "legs": legs(),
        "stops": (stop(),),
        "waits": (),
        "onward": None,
        "slower": (),
        "leans_on": (),
        "cautions": (),
        "track": {"type": "LineString", "coordinates": line},
    }
    return Plan.model_validate(values | more)


def saved(told: Plan | None = None, checked: Helm | None = None, owner: Boat | None = None) -> SavedPlan:
    aboard = FuelAboard(mean_l=95 * GAL, sd_l=1 * GAL, how="full, to the mark")
    return SavedPlan(
        saved=DEPART - timedelta(hours=12),
        version="0",
        region=SavedRegion(name="Posed Sound", digest="", file="", time_zone="Atlantic/Azores", currency="EUR"),
        boat=owner or boat(),
        boat_file="",
        boat_digest="",
        speed_kn=20,
        trip=Trip(start="Start Quay", finish="End Quay", depart=DEPART, aboard=aboard),
        margins=Margins(),
        plan=told or plan(),
        helm=checked or helm(),
        cautions=(CAUTION,),
        sources=("land: a sketch",),
    )
