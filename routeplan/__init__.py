"""routeplan: the fuel really aboard a fast outboard day boat, how far it goes, and where to refuel on a long run.

The names below are the public ones; they are loaded when first used, so that ``import routeplan`` is instant.

A plan in a few lines::

    import layers, maps, routeplan as rp

    region = layers.read_region("demo_region/data")
    boat = rp.read_boat("demo_region/data/boats/quick_errand.toml")
    network = rp.build_network(region, boat)
    trip = rp.Trip(start="Tolvarrow", finish="Ettermoy", depart="2026-07-01T08:00Z", aboard=rp.full(boat))
    passage = rp.find_passage(network, trip)
    maps.draw(region, rp.layers_of(passage), title="Tolvarrow to Ettermoy").save("passage.html")
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layers.errors import InputError, LayersError, RouteplanError
    from routeplan.boats import Boat, read_boat
    from routeplan.building import build_network
    from routeplan.drawn import layers_of
    from routeplan.fuel import FuelAboard, full, promised_range_nmi, read_aboard
    from routeplan.network import Network
    from routeplan.passage import Passage, find_passage
    from routeplan.plans import Leg, NoPassageError, Plan, Refusal, Stop
    from routeplan.trips import Trip
    from routeplan.water import Margins, Water, build_water

__all__ = [
    "Boat",
    "FuelAboard",
    "InputError",
    "LayersError",
    "Leg",
    "Margins",
    "Network",
    "NoPassageError",
    "Passage",
    "Plan",
    "Refusal",
    "RouteplanError",
    "Stop",
    "Trip",
    "Water",
    "build_network",
    "build_water",
    "find_passage",
    "full",
    "layers_of",
    "promised_range_nmi",
    "read_aboard",
    "read_boat",
]

_HOMES = {
    "layers.errors": ("InputError", "LayersError", "RouteplanError"),
    "routeplan.boats": ("Boat", "read_boat"),
    "routeplan.building": ("build_network",),
    "routeplan.drawn": ("layers_of",),
    "routeplan.fuel": ("FuelAboard", "full", "promised_range_nmi", "read_aboard"),
    "routeplan.network": ("Network",),
    "routeplan.passage": ("Passage", "find_passage"),
    "routeplan.plans": ("Leg", "NoPassageError", "Plan", "Refusal", "Stop"),
    "routeplan.trips": ("Trip",),
    "routeplan.water": ("Margins", "Water", "build_water"),
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
