"""routeplan: the fuel really aboard a fast outboard day boat, how far it goes, and where to refuel on a long run.

The names below are the public ones; they are loaded when first used, so that ``import routeplan`` is instant.

A plan in a few lines::

    import layers, maps, routeplan as rp

    region = layers.read_region("demo_region/data")
    boat = rp.read_boat("demo_region/data/boats/quick_errand.toml")
    taught = rp.learn(boat, rp.read_fillups("demo_region/data/fillups.csv").of(boat.name))
    aboard = rp.find_aboard(taught, rp.Readings(meters_l=(38.0, 39.0), gauge_l=265.0))
    network = rp.build_network(region, boat)
    trip = rp.Trip(start="Tolvarrow", finish="Ettermoy", depart="2026-07-01T08:00Z", aboard=aboard.fuel)
    passage = rp.find_passage(network, trip, boat=taught.boat)
    maps.draw(region, rp.layers_of(passage), title="Tolvarrow to Ettermoy").save("passage.html")
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layers.errors import InputError, LayersError, RouteplanError
    from routeplan.aboard import Aboard, Readings, find_aboard
    from routeplan.boats import Boat, read_boat
    from routeplan.building import build_network
    from routeplan.cruise import Cruise, find_cruise
    from routeplan.cruise_asked import CruiseAsked, CruiseBoat, DockTold, Visit
    from routeplan.cruise_file import read_cruise
    from routeplan.cruises import CruisePlan, NoCruiseError
    from routeplan.currents import Currents, read_currents
    from routeplan.departures import Departures, find_departures
    from routeplan.drawn import layers_of
    from routeplan.fillups import Entry, Fillup, FillupLog
    from routeplan.fuel import FuelAboard, full, promised_range_nmi, read_aboard
    from routeplan.helm_marks import find_helm, start_meter
    from routeplan.lessons import Lesson
    from routeplan.log_files import read_fillups
    from routeplan.logbook import Logbook, open_logbook
    from routeplan.margins import Margins
    from routeplan.network import Network
    from routeplan.outings import Outing
    from routeplan.passage import Passage, find_passage
    from routeplan.plan_routes import route_of
    from routeplan.plans import Leg, NoPassageError, Plan, Refusal, Stop
    from routeplan.reach import Reach, find_reach
    from routeplan.reach_layers import layers_of_reach
    from routeplan.reached import InReach, NoReachError, ReachArea, TurningPoint
    from routeplan.saved_plans import Report, SavedPlan, keep_plan, read_plan, write_plan
    from routeplan.sea import Seas, SeaState, read_sea, read_sea_table
    from routeplan.sea_allowance import SeaAllowance, find_allowance
    from routeplan.sheet_page import build_sheet
    from routeplan.teaching import Taught, learn
    from routeplan.trips import Trip
    from routeplan.underway import find_underway
    from routeplan.underway_state import AskedUnderway
    from routeplan.underway_values import Underway
    from routeplan.water import Water, build_water

__all__ = [
    "Aboard",
    "AskedUnderway",
    "Boat",
    "Cruise",
    "CruiseAsked",
    "CruiseBoat",
    "CruisePlan",
    "Currents",
    "Departures",
    "DockTold",
    "Entry",
    "Fillup",
    "FillupLog",
    "FuelAboard",
    "InReach",
    "InputError",
    "LayersError",
    "Leg",
    "Lesson",
    "Logbook",
    "Margins",
    "Network",
    "NoCruiseError",
    "NoPassageError",
    "NoReachError",
    "Outing",
    "Passage",
    "Plan",
    "Reach",
    "ReachArea",
    "Readings",
    "Refusal",
    "Report",
    "RouteplanError",
    "SavedPlan",
    "SeaAllowance",
    "SeaState",
    "Seas",
    "Stop",
    "Taught",
    "Trip",
    "TurningPoint",
    "Underway",
    "Visit",
    "Water",
    "build_network",
    "build_sheet",
    "build_water",
    "find_aboard",
    "find_allowance",
    "find_cruise",
    "find_departures",
    "find_helm",
    "find_passage",
    "find_reach",
    "find_underway",
    "full",
    "keep_plan",
    "layers_of",
    "layers_of_reach",
    "learn",
    "open_logbook",
    "promised_range_nmi",
    "read_aboard",
    "read_boat",
    "read_cruise",
    "read_currents",
    "read_fillups",
    "read_plan",
    "read_sea",
    "read_sea_table",
    "route_of",
    "start_meter",
    "write_plan",
]

_HOMES = {
    "layers.errors": ("InputError", "LayersError", "RouteplanError"),
    "routeplan.aboard": ("Aboard", "Readings", "find_aboard"),
    "routeplan.boats": ("Boat", "read_boat"),
    "routeplan.building": ("build_network",),
    "routeplan.cruise": ("Cruise", "find_cruise"),
    "routeplan.cruise_asked": ("CruiseAsked", "CruiseBoat", "DockTold", "Visit"),
    "routeplan.cruise_file": ("read_cruise",),
    "routeplan.cruises": ("CruisePlan", "NoCruiseError"),
    "routeplan.currents": ("Currents", "read_currents"),
    "routeplan.departures": ("Departures", "find_departures"),
    "routeplan.drawn": ("layers_of",),
    "routeplan.fillups": ("Entry", "Fillup", "FillupLog"),
    "routeplan.fuel": ("FuelAboard", "full", "promised_range_nmi", "read_aboard"),
    "routeplan.lessons": ("Lesson",),
    "routeplan.log_files": ("read_fillups",),
    "routeplan.logbook": ("Logbook", "open_logbook"),
    "routeplan.network": ("Network",),
    "routeplan.outings": ("Outing",),
    "routeplan.passage": ("Passage", "find_passage"),
    "routeplan.plans": ("Leg", "NoPassageError", "Plan", "Refusal", "Stop"),
    "routeplan.reach": ("Reach", "find_reach"),
    "routeplan.reach_layers": ("layers_of_reach",),
    "routeplan.reached": ("InReach", "NoReachError", "ReachArea", "TurningPoint"),
    "routeplan.helm_marks": ("find_helm", "start_meter"),
    "routeplan.plan_routes": ("route_of",),
    "routeplan.sea": ("SeaState", "Seas", "read_sea", "read_sea_table"),
    "routeplan.sea_allowance": ("SeaAllowance", "find_allowance"),
    "routeplan.saved_plans": ("Report", "SavedPlan", "keep_plan", "read_plan", "write_plan"),
    "routeplan.sheet_page": ("build_sheet",),
    "routeplan.underway": ("find_underway",),
    "routeplan.underway_state": ("AskedUnderway",),
    "routeplan.underway_values": ("Underway",),
    "routeplan.teaching": ("Taught", "learn"),
    "routeplan.trips": ("Trip",),
    "routeplan.margins": ("Margins",),
    "routeplan.water": ("Water", "build_water"),
}


def __getattr__(name: str) -> object:
    """Load a public name when it is first used (PEP 562)."""
    for home, names in _HOMES.items():
        if name in names:
            value = getattr(importlib.import_module(home), name)
            globals()[name] = value
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
