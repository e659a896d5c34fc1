"""Maps that open with no network: layers drawn into one self-contained page.

A route is one more layer here; this package knows no boat and no plan. It is the only place that imports folium,
and the only one where (lon, lat) becomes (lat, lon).

::

    draw(region, layers, title=..) -> OfflineMap -> .save(path) | .html()

    drawing     the one verb, and the order of things on the page
    themes      which layers are drawn, and in which order
    waters      land, depths, zones, bridges, ...: rows -> features and entries of the key
    voyage      docks, places, rings, the track and its stops: the same
    group       a group cruise: the ways of its parties, its stops: the same, and the text beside the map
    reach       areas in reach and their edges, places, points to turn at: the same
    findings    what a check found: numbered marks, and their list
    features    what a drawn layer is made of
    geometry    simplifying and rounding for the screen, bounds
    manner      the unit of depths and heights, what is close to the track
    panels      the text beside the map: stops, legs, key, cautions, sources
    reach_panels  the same for places in reach and points to turn at
    symbols     our own symbols and patterns as SVG
    palette     the colours, each with its source
    words       text from files -> HTML entities; positions; rows
    offline     the page: folium without its links, assets inlined, saving
    assets/     the style sheet and script of the page

The names below load on first use, so that ``import maps`` brings in neither folium nor geopandas.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from maps.drawing import draw
    from maps.offline import OfflineMap

__all__ = ["OfflineMap", "draw"]


def __getattr__(name: str) -> object:
    """Load a public name from its module on first use (PEP 562)."""
    homes = {"OfflineMap": "maps.offline", "draw": "maps.drawing"}
    if name not in homes:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(homes[name]), name)
