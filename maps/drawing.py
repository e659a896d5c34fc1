"""The one verb of this package: layers in, a map out."""

from __future__ import annotations

from itertools import count
from typing import TYPE_CHECKING, Any, get_args

import folium
import numpy as np
from branca.element import MacroElement
from folium.utilities import JsCode

from layers.errors import InputError
from maps.geometry import Bounds, drawn_out, find_bounds, run_on
from maps.manner import Lengths, Manner, Volumes
from maps.offline import Canvas, OfflineMap, Page, named
from maps.panels import STANDING_CAUTION, Told, write_panels
from maps.symbols import SYMBOLS, find_patterns
from maps.themes import find_themes
from maps.words import Markup, as_markup

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from layers.region import Region
    from maps.features import Theme

__all__ = ["draw"]

_PANES = (
    "edge",
    "depth",
    "reach",
    "closed",
    "zones",
    "currents",
    "land",
    "hazards",
    "overhead",
    "limits",
    "rings",
    "casing",
    "legs",
    "places",
)
"""Sheets of the map, the lowest first."""

_SMALLEST_DEG = 0.02  # [deg] about a nautical mile: the view never closes in further round a single point


def draw(
    region: Region,
    layers: Mapping[str, GeoDataFrame],
    *,
    title: str,
    notes: Sequence[str] = (),
    cautions: Sequence[str] = (),
    lengths: Lengths = "m",
    volumes: Volumes = "l",
) -> OfflineMap:
    """Draw a region and the layers computed on it as a page that opens with no network.

    Parameters
    ----------
    region
        The waters: all of its layers are drawn.
    layers
        Computed layers by name: ``legs``, ``stops``, ``rings``, ``closed_water``, ``dock_marks`` (in place of the
        region's docks), ``place_marks`` (in place of its waypoints), ``reach``, ``reach_places`` (each in place of the
        dock or place of that name there), ``turning_points``, ``data_edges``, ``party_legs``, ``group_stops``,
        ``streams_met``. A name of the region's own layers replaces that layer, any other name is drawn plainly.
    title
        What the map is about.
    notes
        Lines on what was planned; the first stands under the title.
    cautions
        Lines that must be read before use. Where there are none, the map carries the general ones by itself; that it is
        not for navigation is said on every map.
    lengths
        Unit of depths, clearances and distances to keep off: ``m`` or ``ft``.
    volumes
        Unit of volumes: ``l``, ``usgal`` or ``impgal``.

    Returns
    -------
    OfflineMap
        The page. The same input makes the same page, byte for byte.

    Raises
    ------
    InputError
        When a layer is not in WGS 84, or a position is impossible: carries the layer and row. When the unit of lengths
        or of volumes is another.

    Notes
    -----
    Every text is turned into HTML entities before folium sees it. The coast, depths and zones are simplified for
    drawing; the track, the rings and what crosses overhead are not. Reach is drawn a little inside what it is. A region
    that crosses the 180th meridian is drawn in one piece, with longitudes beyond 180; positions are told as ever.
    """
    if lengths not in get_args(Lengths):
        raise InputError("lengths", "not a unit of lengths on a map", value=lengths, remedy="give 'm' or 'ft'")
    if volumes not in get_args(Volumes):
        remedy = "give 'l', 'usgal' or 'impgal'"
        raise InputError("volumes", "not a unit of volumes on a map", value=volumes, remedy=remedy)
    frames = {name: drawn_out(name, f, region.about.extent) for name, f in {**region.frames, **layers}.items()}
    extent = run_on(region.about.extent)
    manner = Manner.of(lengths, frames.get("legs", frames.get("party_legs")), volumes)
    told = Told(title, tuple(notes), tuple(cautions))
    themes = find_themes(frames, extent, region.about.currency, manner)
    before = _write_head(told)
    beside = Markup(
        f'<aside aria-label="About this map">{_write_strip(told)}'
        f"{write_panels(told, region, frames, themes, manner)}</aside>{find_patterns()}"
    )
    page = Page(as_markup(title), before, beside)
    canvas = named(Canvas(_write_settings(extent, frames)), "sea")
    page.add_child(canvas)
    numbers = count()
    for height, pane in enumerate(_PANES):
        sheet = folium.map.CustomPane(pane, z_index=410 + 10 * height, pointer_events=True)
        named(sheet, str(next(numbers))).add_to(canvas)
    for number, theme in enumerate(themes):
        _write_layer(theme, number).add_to(canvas)
    canvas.add_child(named(_Started(), str(next(numbers))))
    return OfflineMap(page.write())


class _Started(MacroElement):
    """Tells the page, once all layers are on the map, that it can arrange the labels."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]

    _template = folium.template.Template(
        "{% macro script(this, kwargs) %}drawing.start({{ this._parent.get_name() }});{% endmacro %}"
    )


def _write_layer(theme: Theme, number: int) -> Any:
    collection = {"type": "FeatureCollection", "features": [feature.to_geojson() for feature in theme.features]}
    layer = folium.GeoJson(
        collection,
        name=theme.title,
        smooth_factor=1.0,
        on_each_feature=JsCode("drawing.each"),
        style=JsCode("drawing.style"),
        pointToLayer=JsCode("drawing.point"),
        pane=theme.pane,
        theme=number,
    )
    return named(layer, f"theme{number}")


def _write_settings(extent: Bounds, frames: Mapping[str, GeoDataFrame]) -> dict[str, Any]:
    reach = find_bounds([frames.get(name) for name in ("reach", "stops", "rings")]) if "reach" in frames else None
    route = find_bounds([frames.get(name) for name in ("legs", "stops", "party_legs", "group_stops")])
    view = _cut(reach, extent) or route or find_bounds([frames.get("rings")]) or extent
    return {"view": _as_corners(_widened(view)), "extent": _as_corners(extent), "symbols": dict(SYMBOLS)}


def _cut(bounds: Bounds | None, extent: Bounds) -> Bounds | None:
    """Return what of a box lies inside the region; None where nothing does."""
    if bounds is None:
        return None
    low, high = np.maximum(bounds[:2], extent[:2]), np.minimum(bounds[2:], extent[2:])
    return (*map(float, low), *map(float, high)) if (low < high).all() else None  # type: ignore[return-value]


def _widened(bounds: Bounds) -> Bounds:
    west, south, east, north = bounds
    wide, high = max(0.0, _SMALLEST_DEG - (east - west)) / 2, max(0.0, _SMALLEST_DEG - (north - south)) / 2
    return west - wide, south - high, east + wide, north + high


def _as_corners(bounds: Bounds) -> list[list[float]]:
    """Return a box as Leaflet's corners: the one place where longitude, latitude becomes latitude, longitude."""
    west, south, east, north = (round(bound, 5) for bound in bounds)
    return [[south, west], [north, east]]


def _write_head(told: Told) -> Markup:
    first = f"<p><bdi>{as_markup(told.notes[0])}</bdi></p>" if told.notes else ""
    return Markup(f"<header><h1><bdi>{as_markup(told.title)}</bdi></h1>{first}</header>")


def _write_strip(told: Told) -> Markup:
    return Markup(
        f'<button type="button" class="strip" data-opens="panel-cautions"><b>{STANDING_CAUTION}.</b> '
        f'<span class="more">Cautions ({len(told.all_cautions)})</span></button>'
    )
