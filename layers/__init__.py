"""GIS in and out: a schema for every layer, readers and writers for open formats, regions, errors.

Names are loaded when they are first used, so that ``import layers`` is instant and brings no GIS library along.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from layers.about import RegionAbout, Source, read_about, write_about
    from layers.assembling import Guessed, assemble, guess_recipe
    from layers.build_report import BuildReport, Built, PassedOver, Repair, TableReport
    from layers.checking import build_layer, check_layer, empty_layer
    from layers.current_files import read_current_grid
    from layers.current_grids import CurrentGrid
    from layers.errors import BadRow, InputError, LayersError, RouteplanError
    from layers.findings import Finding, find_doubts
    from layers.guessing import SourceGuess
    from layers.hours import Hours, NeverOpensError, read_hours
    from layers.plane import METRES_PER_NMI, Plane, geodesic_ring
    from layers.recipe import Recipe, RecipeSource, read_recipe, write_recipe
    from layers.region import Region, build_region, read_region
    from layers.route_files import write_route
    from layers.route_reading import read_route
    from layers.routes import Route, RoutePoint
    from layers.schema import COMPUTED, FUELS, LAYERS, Column, LayerSchema
    from layers.sources import add_sources
    from layers.tables import BadEntry, SourceError
    from layers.writing import check_target, write_layers, write_region

__all__ = [
    "COMPUTED",
    "FUELS",
    "LAYERS",
    "METRES_PER_NMI",
    "BadEntry",
    "BadRow",
    "BuildReport",
    "Built",
    "Column",
    "CurrentGrid",
    "Finding",
    "Guessed",
    "Hours",
    "InputError",
    "LayerSchema",
    "LayersError",
    "NeverOpensError",
    "PassedOver",
    "Plane",
    "Recipe",
    "RecipeSource",
    "Region",
    "RegionAbout",
    "Repair",
    "Route",
    "RoutePoint",
    "RouteplanError",
    "Source",
    "SourceError",
    "SourceGuess",
    "TableReport",
    "add_sources",
    "assemble",
    "build_layer",
    "build_region",
    "check_layer",
    "check_target",
    "empty_layer",
    "find_doubts",
    "geodesic_ring",
    "guess_recipe",
    "read_about",
    "read_current_grid",
    "read_hours",
    "read_recipe",
    "read_region",
    "read_route",
    "write_about",
    "write_layers",
    "write_recipe",
    "write_region",
    "write_route",
]

_HOMES = {
    "about": ("RegionAbout", "Source", "read_about", "write_about"),
    "assembling": ("Guessed", "assemble", "guess_recipe"),
    "build_report": ("BuildReport", "Built", "PassedOver", "Repair", "TableReport"),
    "checking": ("build_layer", "check_layer", "empty_layer"),
    "current_files": ("read_current_grid",),
    "current_grids": ("CurrentGrid",),
    "errors": ("BadRow", "InputError", "LayersError", "RouteplanError"),
    "findings": ("Finding", "find_doubts"),
    "guessing": ("SourceGuess",),
    "hours": ("Hours", "NeverOpensError", "read_hours"),
    "plane": ("METRES_PER_NMI", "Plane", "geodesic_ring"),
    "recipe": ("Recipe", "RecipeSource", "read_recipe", "write_recipe"),
    "region": ("Region", "build_region", "read_region"),
    "route_files": ("write_route",),
    "route_reading": ("read_route",),
    "routes": ("Route", "RoutePoint"),
    "schema": ("COMPUTED", "FUELS", "LAYERS", "Column", "LayerSchema"),
    "sources": ("add_sources",),
    "tables": ("BadEntry", "SourceError"),
    "writing": ("check_target", "write_layers", "write_region"),
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
