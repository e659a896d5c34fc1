"""Passages that were run, made by hand: a saved plan of two runs with a stop between, and honest fill-ups."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from faces import a_plan, a_stop
from oracles.small_logs import NAME, plain_boat

from routeplan.fillups import Fillup
from routeplan.fuel import FuelAboard
from routeplan.helm import Helm, MeterStart
from routeplan.margins import Margins
from routeplan.plans import Leg
from routeplan.saved_plans import SavedPlan, SavedRegion
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat

LEAVES = datetime(2026, 7, 1, 8, tzinfo=UTC)
BOAT = plain_boat()  # 18 l/h at 6 kn, 60 at 20, 120 at 30; full mark 380 of 400 l
ALONGSIDE = timedelta(minutes=20)
RUNS: tuple[tuple[tuple[float, float], ...], ...] = (  # (nmi, kn) leg by leg, run by run
    ((1.0, 6.0), (36.0, 30.0)),  # 10 min and 1 h 12: 3 + 144 = 147 l
    ((30.0, 30.0), (1.5, 6.0)),  # 1 h and 15 min: 120 + 4.5 = 124.5 l
)
PLACES = ("West Mark", "North Pump", "East Mark")


def made_plan(
    runs: Sequence[Sequence[tuple[float, float]]] = RUNS,
    places: Sequence[str] = PLACES,
    *,
    leaves: datetime = LEAVES,
    boat: Boat = BOAT,
    meters: tuple[float, ...] = (0.0,),
    **changes: Any,
) -> SavedPlan:
    """Make a plan of straight runs along a parallel, with a stop of twenty minutes between each two."""
    legs: list[Leg] = []
    stops = []
    at, lon = leaves, -38.9
    for number, run in enumerate(runs):
        for leg, (distance_nmi, speed_kn) in enumerate(run):
            names = [f"{places[number]} {leg}" if leg else places[number]]
            names.append(places[number + 1] if leg == len(run) - 1 else f"{places[number]} {leg + 1}")
            time_h = distance_nmi / speed_kn
            there, end = at + timedelta(hours=time_h), lon + distance_nmi / 60
            legs.append(
                Leg(
                    **{"from": names[0], "to": names[1], "from_position": (lon, 44.5), "to_position": (end, 44.5)},
                    kind="leg",
                    distance_nmi=distance_nmi,
                    course_deg=90.0,
                    speed_kn=speed_kn,
                    depart=at,
                    arrive=there,
                    fuel_l=boat.burn_lph(speed_kn) * time_h,
                    aboard_after_l=200.0,
                    aboard_after_low_l=190.0,
                    depth_checked=True,
                )
            )
            at, lon = there, end
        if number < len(runs) - 1:
            stops.append(
                a_stop(dock=places[number + 1], position=(lon, 44.5), arrive=at, begin=at, depart=at + ALONGSIDE)
            )
            at += ALONGSIDE
    aboard = FuelAboard(mean_l=380.0, sd_l=4.0, how="full")
    plan = a_plan(*stops, legs=tuple(legs), depart=leaves, arrive=at, distance_nmi=sum(e.distance_nmi for e in legs))
    values = {
        "saved": leaves - timedelta(hours=2),
        "version": "0.6.0",
        "region": SavedRegion(name="Small Waters", digest="", file="", time_zone="Atlantic/Azores", currency="EUR"),
        "boat": boat,
        "boat_file": "boat.toml",
        "boat_digest": "",
        "speed_kn": 30.0,
        "trip": Trip(start=places[0], finish=places[-1], depart=leaves, aboard=aboard),
        "margins": Margins(),
        "plan": plan,
        "helm": Helm(meter=MeterStart(shows_l=meters, factor=1.0, factor_sd=0.01, fillups=9), marks=(), last_turns=()),
        "cautions": (),
        "sources": (),
    }
    return SavedPlan.model_validate(values | changes)


def filled(when: datetime, used_l: float, **more: Any) -> Fillup:
    """Write the three numbers of a fill-up to the mark, of honest instruments."""
    values = {
        "boat": NAME,
        "when": when,
        "dock": "North Pump",
        "meter_used_l": used_l,
        "gauge_before_l": 380.0 - used_l,
        "pumped_l": used_l,
    }
    return Fillup(**values | more)
