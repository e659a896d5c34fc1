"""The public face of `layers`: its names, and what importing it costs."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import layers

HEAVY = ("geopandas", "pandas", "numpy", "shapely", "pyogrio", "pyproj", "pydantic", "scipy", "folium", "opening_hours")


def modules_after(statement: str) -> set[str]:
    code = f"{statement}\nimport json, sys\nprint(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout))


def test_importing_brings_no_gis_library():
    assert modules_after("import layers").isdisjoint(HEAVY)


def test_errors_and_schemas_bring_no_gis_library():
    names = "BadRow, InputError, LayersError, RouteplanError, LAYERS, COMPUTED, Column, LayerSchema, NeverOpensError"
    assert modules_after(f"from layers import {names}").isdisjoint(HEAVY)


def test_hours_bring_only_their_reader():
    ask = "import layers, zoneinfo\nlayers.read_hours('24/7', zoneinfo.ZoneInfo('UTC'))"
    assert modules_after(ask).isdisjoint(set(HEAVY) - {"opening_hours"})


def test_every_public_name_is_there_and_has_a_docstring_or_is_data():
    for name in layers.__all__:
        thing = getattr(layers, name)
        assert not callable(thing) or thing.__doc__, name


def test_names_are_listed_once_and_shown():
    assert len(layers.__all__) == len(set(layers.__all__))
    assert dir(layers) == sorted(layers.__all__)


def test_the_lazy_homes_are_the_list():
    homes = [name for names in layers._HOMES.values() for name in names]  # noqa: SLF001  kept in step by hand
    assert sorted(homes) == sorted(layers.__all__)


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'read_chart'"):
        layers.read_chart  # noqa: B018  looking it up is the test
