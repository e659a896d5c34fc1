"""The public names: importable, documented, listed by hand, and no other distribution owns them."""

from __future__ import annotations

import importlib
import inspect
import json
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

import demo_region
import layers
import maps
import routeplan

PACKAGES = (demo_region, layers, maps, routeplan)
TOP_LEVEL = ("demo_region", "layers", "maps", "routeplan")
NAMES = [(package.__name__, name) for package in PACKAGES for name in package.__all__]
HEAVY = (
    *("geopandas", "pandas", "scipy", "shapely", "pyproj", "folium", "branca", "networkx", "pyogrio"),
    *("sqlalchemy", "matplotlib", "gpxpy", "psycopg"),
)

# What a notebook, or another program, may lean on: taking one away breaks somebody.
PROMISED = {
    "demo_region": {"Story", "data_folder", "generate", "story"},
    "layers": {"COMPUTED", "LAYERS", "Region", "LayersError", "find_doubts", "read_region", "write_region"},
    "maps": {"OfflineMap", "draw"},
    "routeplan": {
        *("Boat", "FuelAboard", "InputError", "LayersError", "Leg", "NoPassageError", "Passage", "Plan", "Refusal"),
        *("RouteplanError", "Stop", "Trip", "build_network", "find_passage", "full", "layers_of", "read_boat"),
        *("Fillup", "FillupLog", "Readings", "find_aboard", "learn", "open_logbook", "read_fillups"),
        *("InReach", "NoReachError", "Outing", "Reach", "ReachArea", "TurningPoint", "find_reach", "layers_of_reach"),
    },
}


@pytest.mark.parametrize(("package", "name"), NAMES)
def test_a_public_name_is_there_and_says_what_it_is(package: str, name: str) -> None:
    value = getattr(importlib.import_module(package), name)
    if callable(value):
        assert inspect.getdoc(value), f"{package}.{name} has no docstring"
        assert (value.__module__ or "").split(".")[0] in TOP_LEVEL


@pytest.mark.parametrize("package", PACKAGES, ids=TOP_LEVEL)
def test_the_list_is_in_order_and_whole(package: object) -> None:
    assert isinstance(package, type(sys))
    names = list(package.__all__)
    assert len(set(names)) == len(names)
    assert set(names) >= PROMISED[package.__name__]
    assert inspect.getdoc(package)


@pytest.mark.parametrize("package", TOP_LEVEL)
def test_nothing_else_is_promised(package: str) -> None:
    """In a fresh interpreter, what shows without an underscore is in the list, or a module of ours.

    `annotations`, `importlib` and the like are what an `__init__` needs for itself.
    """
    code = f"import json, {package} as p; print(json.dumps([n for n in vars(p) if not n.startswith('_')]))"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60)
    own = {"annotations", "importlib", "import_module", "Path", "SEED", "TYPE_CHECKING"}
    listed = set(importlib.import_module(package).__all__)
    modules = {path.stem for path in Path(importlib.import_module(package).__path__[0]).iterdir()}
    assert set(json.loads(done.stdout)) <= listed | own | modules


@pytest.mark.parametrize("package", TOP_LEVEL)
def test_an_unknown_name_is_an_attribute_error(package: str) -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        getattr(importlib.import_module(package), "no_such_name")  # noqa: B009  # a constant would not be looked up


@pytest.mark.parametrize("package", TOP_LEVEL)
def test_star_import_gives_the_list(package: str) -> None:
    code = f"from {package} import *\nimport {package} as p\nassert set(p.__all__) <= set(dir()), dir()"
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)


@pytest.mark.parametrize("package", TOP_LEVEL)
def test_importing_loads_no_heavy_library(package: str) -> None:
    code = f"import sys, {package}; print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "[]"


def test_every_name_of_routeplan_has_one_home() -> None:
    """The same error class, whichever package it is taken from."""
    assert routeplan.InputError is layers.InputError
    assert routeplan.LayersError is layers.LayersError
    assert routeplan.RouteplanError is layers.RouteplanError
    assert issubclass(routeplan.NoPassageError, routeplan.RouteplanError)
    assert not issubclass(routeplan.NoPassageError, routeplan.InputError)


@pytest.mark.parametrize("name", TOP_LEVEL)
def test_no_other_distribution_owns_our_names(name: str) -> None:
    owners = set(metadata.packages_distributions().get(name, ()))
    assert owners <= {"routeplan"}
