"""A group cruise: the ways of its parties, where it gathers and fuels, and the same as text beside the map.

Parties run together for most of the way. The first is drawn wide, each other one narrower, dashed, and in a white bed
over it: where two ways coincide both are seen, also without colours.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from maps.features import Feature, KeyEntry, Theme, in_order, line_entry, pair, symbol_entry, write_popup
from maps.words import Markup, as_lines, as_markup, number_of, text_of, write_position

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from maps.features import Row

__all__ = ["GROUP", "PARTY_LOOKS", "write_group"]

PARTY_LOOKS = 6
"""Ways that are told apart by colour and dash; a seventh party looks like the second."""

_SIGNS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "start": ("stop-start", "start"),
        "visit": ("stop-via", "place where the group gathers"),
        "fuel stop": ("stop-fuel", "fuel stop of the group, or of some boats"),
        "finish": ("stop-finish", "end of the cruise"),
        "alternate": ("stop-alternate", "where boats go if a stop is closed"),
    }
)


def _party_legs(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    key: list[KeyEntry] = []
    for row, shape in in_order("party_legs", frame):
        look = f"party {_look_of(row)}"
        title = as_markup(text_of(row, "title"))
        if key:
            features.append(Feature(shape, "bed"))
        popup = write_popup(title, [as_lines(text_of(row, "text"))])
        features.append(Feature(shape, look, title, popup, as_markup(text_of(row, "label"), longest=60), rank=7))
        key.append(line_entry(look, text_of(row, "title")))
    return Theme("party_legs", Markup("Ways of the group"), tuple(features), tuple(key), "legs", fixed=True)


def _group_stops(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in in_order("group_stops", frame):
        kind = _kind_of(row)
        seen.add(kind)
        title = as_markup(text_of(row, "title") or text_of(row, "name"))
        number = as_markup(text_of(row, "number"), longest=7)
        name = as_markup(f"{text_of(row, 'number')} {text_of(row, 'name')}".strip(), longest=40)
        label = pair(name, as_markup(text_of(row, "label"), longest=60))
        popup = write_popup(title, [as_lines(text_of(row, "text"))], shape)
        rank = 7 if kind == "alternate" else 9
        look = _SIGNS[kind][0]
        features.append(Feature(shape, "stop-mark of-group", title, popup, label, icon=look, rank=rank, number=number))
    key = tuple(
        symbol_entry(icon, text, number="1" if kind == "fuel stop" else "")
        for kind, (icon, text) in _SIGNS.items()
        if kind in seen
    )
    return Theme("group_stops", Markup("Stops of the group"), tuple(features), key, "places", fixed=True)


GROUP: Mapping[str, Callable[[GeoDataFrame], Theme]] = MappingProxyType(
    {"party_legs": _party_legs, "group_stops": _group_stops}
)
"""How each of these layers is drawn, the lowest first."""


def write_group(frames: Mapping[str, GeoDataFrame]) -> Markup:
    """Return stops and parties of a group as text beside the map.

    Parameters
    ----------
    frames
        Layers by name.

    Returns
    -------
    Markup
        Two lists; empty where there is no group.
    """
    stops = [_stop(row, shape) for row, shape in in_order("group_stops", frames.get("group_stops"))]
    ways = [_way(row) for row, _ in in_order("party_legs", frames.get("party_legs"))]
    parts = [f'<h3>Stops</h3><ul class="stops">{"".join(stops)}</ul>'] if stops else []
    parts += [f'<h3>Who goes which way</h3><ol class="legs">{"".join(ways)}</ol>'] if ways else []
    return Markup("".join(parts))


def _stop(row: Row, shape: BaseGeometry) -> str:
    number = as_markup(text_of(row, "number"), longest=7)
    head = f'<span class="number">{number}</span>' if number else ""
    name = as_markup(text_of(row, "name") or text_of(row, "title"))
    what, label = as_markup(_kind_of(row).capitalize()), as_markup(text_of(row, "label"))
    spot = shape.representative_point()
    return (
        f'<li><button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">{head}'
        f'<span><b><bdi>{name}</bdi></b> <span class="what">{what}</span>'
        f'<span class="left"><bdi>{label}</bdi></span></span></button>'
        f'<p><bdi>{as_lines(text_of(row, "text"))}</bdi></p><p class="at">{write_position(spot.x, spot.y)}</p></li>'
    )


def _way(row: Row) -> str:
    sample = line_entry(f"party {_look_of(row)}", "").sample
    title, text = as_markup(text_of(row, "title")), as_lines(text_of(row, "text"))
    return f"<li>{sample} <b><bdi>{title}</bdi></b><br><bdi>{text}</bdi></li>"


def _kind_of(row: Row) -> str:
    kind = text_of(row, "kind")
    return kind if kind in _SIGNS else "visit"


def _look_of(row: Row) -> str:
    """Name the look of a party: the first has its own, the others share the rest."""
    number = round(number_of(row, "order") or 1)
    return "p1" if number <= 1 else f"p{2 + (number - 2) % (PARTY_LOOKS - 1)}"
