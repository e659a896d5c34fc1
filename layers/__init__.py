"""GIS in and out: a schema for every layer, readers and writers for open formats, regions, errors.

Names are loaded when they are first used, so that ``import layers`` is instant and brings no GIS library along.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layers.about import RegionAbout, Source, read_about, write_about
    from layers.checking import build_layer, check_layer, empty_layer
    from layers.errors import BadRow, InputError, LayersError, RouteplanError
    from layers.findings import Finding, find_doubts
    from layers.hours import Hours, NeverOpensError, read_hours
    from layers.plane import METRES_PER_NMI, Plane, geodesic_ring
    from layers.region import Region, build_region, read_region
    from layers.schema import COMPUTED, FUELS, LAYERS, Column, LayerSchema
    from layers.writing import write_layers, write_region

__all__ = [
    "COMPUTED",
    "FUELS",
    "LAYERS",
    "METRES_PER_NMI",
    "BadRow",
    "Column",
    "Finding",
    "Hours",
    "InputError",
    "LayerSchema",
    "LayersError",
    "NeverOpensError",
    "Plane",
    "Region",
    "RegionAbout",
    "RouteplanError",
    "Source",
    "build_layer",
    "build_region",
    "check_layer",
    "empty_layer",
    "find_doubts",
    "geodesic_ring",
    "read_about",
    "read_hours",
    "read_region",
    "write_about",
    "write_layers",
    "write_region",
]

_HOMES = {
    "about": ("RegionAbout", "Source", "read_about", "write_about"),
    "checking": ("build_layer", "check_layer", "empty_layer"),
    "errors": ("BadRow", "InputError", "LayersError", "RouteplanError"),
    "findings": ("Finding", "find_doubts"),
    "hours": ("Hours", "NeverOpensError", "read_hours"),
    "plane": ("METRES_PER_NMI", "Plane", "geodesic_ring"),
    "region": ("Region", "build_region", "read_region"),
    "schema": ("COMPUTED", "FUELS", "LAYERS", "Column", "LayerSchema"),
    "writing": ("write_layers", "write_region"),
}


def __getattr__(name: str) -> object:
    """Load a public name from the module that it lives in."""
    for module, names in _HOMES.items():
        if name in names:
            value: object = getattr(importlib.import_module(f"layers.{module}"), name)
            globals()[name] = value  # asked for once only
            return value
    raise AttributeError(f"module 'layers' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
