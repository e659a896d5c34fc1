"""Places and the voyage: fuel docks, waypoints, range rings, the track and its stops."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from maps.features import (
    NOTHING,
    Feature,
    Theme,
    heeded,
    in_order,
    line_entry,
    pair,
    symbol_entry,
    told_lines,
    write_popup,
)
from maps.geometry import iterate_rows, simplified
from maps.words import Markup, as_lines, as_markup, flag_of, number_of, text_of, write_number

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from geopandas import GeoDataFrame

    from maps.features import Row
    from maps.manner import Manner

__all__ = ["DOCK_STATES", "KINDS", "VOYAGE", "Sign", "draw_docks", "draw_extra", "state_of"]


def draw_docks(frame: GeoDataFrame, currency: str, manner: Manner) -> Theme:
    """Return the fuel docks as the region knows them, for no particular boat.

    Parameters
    ----------
    frame
        The layer.
    currency
        Of its prices.
    manner
        How this map tells things.

    Returns
    -------
    Theme
        What is drawn of them.
    """
    features: list[Feature] = []
    for row, shape in iterate_rows("docks", frame):
        title = as_markup(text_of(row, "name") or "Fuel dock")
        lines = told_lines(row, fuels="Fuel: {}", opening_hours="Hours: {}")
        lines += [] if text_of(row, "opening_hours") else [as_markup("Hours not known: call ahead")]
        for fuel in ("gasoline", "diesel"):
            price = number_of(row, f"price_{fuel}_per_l")
            lines += [as_markup(f"{fuel.capitalize()} {price:.2f} {currency} per litre")] if price is not None else []
        for column, words in (("depth_m", "Depth"), ("max_length_m", "Boats up to")):
            metres = number_of(row, column)
            lines += [as_markup(f"{words} {manner.length(metres)}")] if metres is not None else []
        lines += told_lines(row, largest_sale_l="Largest sale {} l")
        lines += [as_markup("Members only")] if flag_of(row, "members_only") else []
        lines += told_lines(
            row, payment="Pays by: {}", vhf="VHF {}", phone="Phone {}", confirmed_on="Last confirmed {}"
        )
        lines += [] if text_of(row, "confirmed_on") else [as_markup("Never confirmed: call ahead")]
        lines += told_lines(row, note="{}")
        label = as_markup(text_of(row, "name"), longest=40)
        features.append(
            Feature(shape, "dock-mark", title, write_popup(title, lines, shape), label, icon="dock", rank=5)
        )
    return Theme("docks", Markup("Fuel docks"), tuple(features), (symbol_entry("dock", "fuel dock"),), "places")


@dataclass(frozen=True)
class Sign:
    """How a dock of one state is drawn, and what the key says of it.

    Parameters
    ----------
    icon
        Name of its symbol.
    rank
        Who gives way where labels meet.
    text
        What the key says.
    tip
        What is said on hovering.
    """

    icon: str
    rank: int
    text: str
    tip: str = ""


DOCK_STATES: Mapping[str, Sign] = MappingProxyType(
    {
        "good": Sign("dock-suits", 6, "fuel dock that suits this boat"),
        "doubtful": Sign("dock-doubtful", 5, "fuel dock that may suit: little or nothing recent is known", "Doubtful"),
        "unsuitable": Sign("dock-unsuited", 4, "fuel dock that does not suit", "Does not suit"),
        "out of reach": Sign("dock-apart", 4, "fuel dock that this boat cannot reach", "Out of reach"),
    }
)
"""Fuel docks by what they are to a boat."""


def state_of(row: Row) -> str:
    """Return a dock's state; without one, its verdict.

    Parameters
    ----------
    row
        A row of the dock marks.

    Returns
    -------
    str
        One of `DOCK_STATES`.
    """
    state = text_of(row, "state")
    if state in DOCK_STATES:
        return state
    return "good" if flag_of(row, "suits") else "unsuitable"


def _dock_marks(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("dock_marks", frame):
        state = state_of(row)
        sign = DOCK_STATES[state]
        seen.add(state)
        title = as_markup(text_of(row, "title") or text_of(row, "name") or "Fuel dock")
        popup = write_popup(title, [as_lines(text_of(row, "text"))], shape)
        name, words = text_of(row, "name"), text_of(row, "label")
        label = pair(as_markup(name, longest=40), as_markup("" if words == name else words, longest=40))
        tip = pair(title, as_markup(sign.tip))
        features.append(Feature(shape, "dock-mark", tip, popup, label, icon=sign.icon, rank=sign.rank))
    key = tuple(symbol_entry(sign.icon, sign.text) for state, sign in DOCK_STATES.items() if state in seen)
    return Theme("dock_marks", Markup("Fuel docks"), tuple(features), key, "places")


KINDS: Mapping[str, str] = MappingProxyType({kind: kind for kind in ("harbour", "anchorage", "mark", "entrance")})
"""Symbols of places by their kind."""


def _waypoints(frame: GeoDataFrame) -> Theme:
    return _places("waypoints", frame)


def _place_marks(frame: GeoDataFrame) -> Theme:
    return _places("place_marks", frame)


def _places(layer: str, frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows(layer, frame):
        icon = KINDS.get(text_of(row, "kind"), "place")
        seen.add(icon)
        name = text_of(row, "name")
        title = as_markup(text_of(row, "title") or name or icon.capitalize())
        lines = [as_lines(text_of(row, "text"))] if text_of(row, "text") else [as_markup(text_of(row, "kind"))]
        features.append(
            Feature(
                shape,
                "place-mark",
                title,
                write_popup(title, lines, shape),
                as_markup(name, longest=40),
                icon=icon,
                rank=2,
            )
        )
    key = tuple(symbol_entry(icon, icon if icon in KINDS else "place") for icon in (*KINDS, "place") if icon in seen)
    return Theme(layer, Markup("Places"), tuple(features), key, "places")


def _rings(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("rings", frame):
        kind = "promised" if text_of(row, "kind") == "promised" else "mark"
        seen.add(kind)
        title = as_markup(text_of(row, "title") or text_of(row, "label"))
        label = as_markup(text_of(row, "label"), longest=60)
        features.append(
            Feature(shape, f"ring {kind}", title, write_popup(title, []), label, rank=7 if kind == "promised" else 6)
        )
    words = {"promised": "at the chosen speed, in a straight line; round land it is less", "mark": "distance mark"}
    key = tuple(line_entry(f"ring {kind}", text) for kind, text in words.items() if kind in seen)
    return Theme("rings", Markup("Range rings"), tuple(features), key, "rings")


def _legs(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in in_order("legs", frame):
        kind = text_of(row, "kind")
        kind = kind if kind in {"approach", "gate"} else "leg"
        checked = flag_of(row, "depth_checked")
        seen |= {kind} | (set() if checked else {"unchecked"})
        look = f"leg {kind}" + ("" if checked else " unchecked")
        title = as_markup(text_of(row, "title") or f"{text_of(row, 'from_name')} to {text_of(row, 'to_name')}")
        lines = heeded(row)
        distance = number_of(row, "distance_nmi")
        label = as_markup(f"{distance:.1f} nmi") if distance is not None and kind == "leg" else NOTHING
        features.append(Feature(shape, look, title, write_popup(title, lines), label, rank=7))
    words = {
        "leg": ("leg leg", "the track, depth checked"),
        "unchecked": ("leg leg unchecked", "the track, depth not checked"),
        "approach": ("leg approach", "approach to a dock or harbour"),
        "gate": ("leg gate", "through an opening bridge or lock"),
    }
    key = tuple(line_entry(*words[kind]) for kind in words if kind in seen)
    return Theme("legs", Markup("The track"), tuple(features), key, "legs", fixed=True)


def _streams_met(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    for row, shape in in_order("streams_met", frame):
        title = as_markup(text_of(row, "title") or text_of(row, "name") or "Current")
        popup = write_popup(title, [as_lines(text_of(row, "text"))], shape)
        label = as_markup(text_of(row, "label"), longest=40)
        features.append(
            Feature(
                shape,
                "met-mark",
                pair(title, label),
                popup,
                label,
                icon="sets",
                rank=8,
                turn_deg=number_of(row, "set_deg") or 0.0,
            )
        )
    key = (symbol_entry("sets", "current met: points where it sets when the boat is there"),)
    return Theme("streams_met", Markup("Currents met"), tuple(features), key, "places")


_STOPS = {
    "start": ("stop-start", "start"),
    "fuel stop": ("stop-fuel", "fuel stop, with what is left on arrival"),
    "via": ("stop-via", "point to pass"),
    "finish": ("stop-finish", "finish"),
    "alternate": ("stop-alternate", "another dock in reach if a stop is closed"),
}


def _stops(frame: GeoDataFrame) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in in_order("stops", frame):
        kind = text_of(row, "kind")
        kind = kind if kind in _STOPS else "via"
        seen.add(kind)
        title = as_markup(text_of(row, "title") or text_of(row, "name"))
        popup = write_popup(title, [as_lines(text_of(row, "text"))], shape)
        order = number_of(row, "order")
        number = write_number(order, 0) if order is not None and kind in {"fuel stop", "via"} else ""
        name = as_markup(f"{number} {text_of(row, 'name')}".strip(), longest=40)
        label = pair(name, as_markup(text_of(row, "label"), longest=60))
        rank = 7 if kind == "alternate" else 9
        features.append(
            Feature(shape, "stop-mark", title, popup, label, icon=_STOPS[kind][0], rank=rank, number=number)
        )
    key = tuple(
        symbol_entry(icon, text, number="1" if kind in {"fuel stop", "via"} else "")
        for kind, (icon, text) in _STOPS.items()
        if kind in seen
    )
    return Theme("stops", Markup("Stops"), tuple(features), key, "places", fixed=True)


def draw_extra(name: str, frame: GeoDataFrame) -> Theme:
    """Return a layer that this package knows nothing of, drawn plainly under its own name.

    Parameters
    ----------
    name
        Its name.
    frame
        The layer.

    Returns
    -------
    Theme
        What is drawn of it.
    """
    features: list[Feature] = []
    for row, shape in iterate_rows(name, frame):
        title = as_markup(text_of(row, "title") or text_of(row, "name") or name)
        popup = write_popup(title, [as_lines(text_of(row, "text"))])
        if "Point" in shape.geom_type:
            features.append(Feature(shape, "place-mark", title, popup, title, icon="place", rank=2))
        else:
            features.append(Feature(simplified(shape), "extra", title, popup))
    return Theme(name, as_markup(name), tuple(features), (line_entry("extra", name),), "rings")


VOYAGE: Mapping[str, Callable[[GeoDataFrame], Theme]] = MappingProxyType(
    {
        "rings": _rings,
        "waypoints": _waypoints,
        "place_marks": _place_marks,
        "dock_marks": _dock_marks,
        "legs": _legs,
        "streams_met": _streams_met,
        "stops": _stops,
    }
)
"""How each of these layers is drawn, the lowest first."""
