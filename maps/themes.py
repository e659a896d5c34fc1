"""Which layers are drawn, in which order, and which of them stands in for another."""

from __future__ import annotations

from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING

from maps.findings import draw_findings
from maps.group import GROUP
from maps.reach import REACH, draw_reach, rest_of
from maps.voyage import VOYAGE, draw_docks, draw_extra
from maps.waters import WATERS, draw_edge

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from geopandas import GeoDataFrame

    from maps.features import Theme
    from maps.geometry import Bounds
    from maps.manner import Manner

__all__ = ["find_themes"]

_STANDS_IN: Mapping[str, str] = MappingProxyType({"docks": "dock_marks", "waypoints": "place_marks"})
"""Layers of the region, and the computed ones that show the same places with more to say."""

_PLACES = frozenset({*_STANDS_IN, *_STANDS_IN.values()})
"""Layers whose rows give way, one by one, to the same places in reach."""


def find_themes(frames: Mapping[str, GeoDataFrame], extent: Bounds, currency: str, manner: Manner) -> tuple[Theme, ...]:
    """Return everything that is to be drawn, the lowest sheet first.

    Parameters
    ----------
    frames
        Layers by name; names that nobody knows are drawn plainly.
    extent
        The region's extent.
    currency
        Of the docks' prices.
    manner
        How this map tells things.

    Returns
    -------
    tuple[Theme, ...]
        Themes with at least one feature.

    Raises
    ------
    InputError
        When a layer is not in WGS 84.
    """
    drawers: dict[str, Callable[[GeoDataFrame], Theme]] = {
        **{name: partial(drawer, manner=manner) for name, drawer in WATERS.items()},
        "docks": partial(draw_docks, currency=currency, manner=manner),
        **VOYAGE,
        **GROUP,
        "findings": draw_findings,
    }
    hidden = {old for old, new in _STANDS_IN.items() if new in frames}
    places = frames.get("reach_places")
    themes = [draw_edge(extent)]
    for name, drawer in drawers.items():
        if name == "legs":  # above all that only says where things are
            themes += draw_reach(frames, extent)
        if name in frames and name not in hidden:
            shown = rest_of(frames[name], places) if name in _PLACES else frames[name]
            themes.append(drawer(shown))
    themes += [draw_extra(name, frames[name]) for name in frames if name not in drawers and name not in REACH]
    return tuple(theme for theme in themes if theme.features)
