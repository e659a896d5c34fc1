"""The waters and what bounds them: land, depths, closed water, zones, tidal streams, dangers, bridges and cables."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Protocol

from shapely.geometry import Point

from layers.constituents import read_constituents
from maps.features import (
    Feature,
    Theme,
    area_entry,
    label_in,
    largest_parts,
    line_entry,
    pair,
    symbol_entry,
    told_lines,
    write_popup,
)
from maps.geometry import DEPTHS_WITHIN_M, extent_frame, inside_point, iterate_rows, simplified
from maps.words import Markup, as_markup, number_of, text_of, write_number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame

    from maps.geometry import Bounds
    from maps.manner import Manner

__all__ = ["WATERS", "draw_edge"]


_NEAR_RANK = 8  # close to the track: gives way to a stop only, never to a length, an arrow or a ring


def draw_edge(extent: Bounds) -> Theme:
    """Return the edge of the region, beyond which nothing is known.

    Parameters
    ----------
    extent
        The region's extent.

    Returns
    -------
    Theme
        What is drawn of it.
    """
    shapes = extent_frame(extent)
    features = (Feature(shapes["outside"], "outside"), Feature(shapes["edge"], "edge"))
    return Theme(
        "edge",
        Markup("Edge of the data"),
        features,
        (area_entry("unknown", "depth not known"), area_entry("outside", "beyond the data: nothing is known")),
        "edge",
        fixed=True,
    )


def _land(frame: GeoDataFrame, manner: Manner) -> Theme:  # noqa: ARG001  # as its fellows
    features: list[Feature] = []
    for row, shape in iterate_rows("land", frame):
        features.append(Feature(simplified(shape), "land"))
        if name := text_of(row, "name"):
            features.append(label_in(shape, as_markup(name, longest=40), "land-name", rank=1))
    return Theme("land", Markup("Land"), tuple(features), (area_entry("land", "land"),), "land", fixed=True)


_BANDS = (
    (0.0, "drying", "dries"),
    (2.0, "shoal", "0 to {two} at chart datum"),
    (5.0, "shallow", "{bare_two} to {five} at chart datum"),
    (math.inf, "deep", "deeper than {five} at chart datum"),
)  # [m] upper limits of the shallowest charted depth: steps of our own, wide enough for boats that draw 0.5 to 2 m


def _depth(frame: GeoDataFrame, manner: Manner) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("depth", frame):
        low, high = number_of(row, "min_depth_m"), number_of(row, "max_depth_m")
        poor = text_of(row, "survey") == "poor"
        looks = [next(look for limit, look, _ in _BANDS if low < limit)] if low is not None else []
        looks += ["poor"] if poor else []
        lines = [f"Charted depth {_span(low, high, manner)} at chart datum" if low is not None else "Depth not known"]
        lines += ["Dries at low water"] if low is not None and low < 0 else []
        lines += ["Poorly surveyed"] if poor else []
        popup = write_popup(Markup("Depth"), [as_markup(line) for line in lines])
        drawn = simplified(shape, DEPTHS_WITHIN_M)
        seen.update(looks)
        features += [Feature(drawn, look, popup=popup, places=4) for look in looks]
    edges = {"two": manner.length(2.0), "bare_two": manner.figure(2.0), "five": manner.length(5.0)}
    key = [area_entry(look, text.format(**edges)) for _, look, text in _BANDS if look in seen]
    key += [area_entry("poor", "poorly surveyed")] if "poor" in seen else []
    return Theme("depth", Markup("Depths"), tuple(features), tuple(key), "depth")


_REASONS = {
    "shoal": ("Too shallow for this boat", "too shallow for this boat"),
    "unsurveyed": ("Depth not known", "closed: depth not known"),
    "hazard": ("Keep off", "closed: keep off a danger"),
    "no-entry": ("No entry", "closed: no entry"),
}


def _closed_water(frame: GeoDataFrame, manner: Manner) -> Theme:  # noqa: ARG001  # as its fellows
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("closed_water", frame):
        reason = text_of(row, "reason")
        reason = reason if reason in _REASONS else "shoal"
        seen.add(reason)
        title = as_markup(text_of(row, "title")) or as_markup(_REASONS[reason][0])
        features.append(Feature(simplified(shape), f"closed {reason}", tip=title, popup=write_popup(title, [])))
        if reason == "no-entry":
            continue  # the zone that closes it carries its own label
        label = as_markup(_REASONS[reason][0])
        features += [label_in(part, label, "closed-name", rank=3) for part in largest_parts(shape)]
    key = tuple(area_entry(f"closed {reason}", text) for reason, (_, text) in _REASONS.items() if reason in seen)
    return Theme("closed_water", Markup("Water closed to this boat"), tuple(features), key, "closed")


_RULES = {
    "no-entry": "No entry",
    "speed-limit": "Speed limit",
    "no-wake": "No wake",
    "traffic-lane": "Traffic lane",
    "fairway": "Fairway",
    "bar": "Bar",
    "caution": "Caution",
}


def _zones(frame: GeoDataFrame, manner: Manner) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("zones", frame):
        rule = text_of(row, "rule")
        rule = rule if rule in _RULES else "caution"
        seen.add(rule)
        limit, toward = number_of(row, "limit_kn"), number_of(row, "direction_deg")
        words = _RULES[rule] + (f" {write_number(limit)} kn" if limit is not None else "")
        name = text_of(row, "name")
        lines = [
            as_markup(words),
            *told_lines(row, why="{}", season="In force: {}"),
            *([as_markup(f"Traffic bound {toward:03.0f} true")] if toward is not None else []),
        ]
        title = as_markup(name or words)
        features.append(
            Feature(
                simplified(shape), f"zone {rule}", tip=pair(title, as_markup(words)), popup=write_popup(title, lines)
            )
        )
        label = pair(as_markup(words), as_markup(name, longest=40))
        if rule == "no-entry" and manner.is_near(shape):  # told from any distance, so by a sign that needs no room
            lon, lat, _ = inside_point(shape)
            popup, shut = write_popup(title, lines), "zone-name no-entry shut-mark"
            features.append(Feature(Point(lon, lat), shut, title, popup, label, icon="no-entry", rank=_NEAR_RANK))
        else:
            features.append(label_in(shape, label, f"zone-name {rule}", rank=4))
        if toward is not None:
            lon, lat, width = inside_point(shape)
            features.append(
                Feature(Point(lon, lat), "arrow", icon="lane-arrow", rank=3, turn_deg=toward, width_deg=width)
            )
    key = tuple(area_entry(f"zone {rule}", words.lower()) for rule, words in _RULES.items() if rule in seen)
    if any(feature.icon == "no-entry" for feature in features):
        key = (symbol_entry("no-entry", "no entry, close to the track"), *key)
    return Theme("zones", Markup("Zones with rules"), tuple(features), key, "zones")


def _currents(frame: GeoDataFrame, manner: Manner) -> Theme:  # noqa: ARG001  # as its fellows
    features: list[Feature] = []
    for row, shape in iterate_rows("currents", frame):
        flood, ebb, mean = (number_of(row, column) for column in ("flood_deg", "ebb_deg", "mean_kn"))
        name = as_markup(text_of(row, "name") or "Tidal stream")
        lines = [as_markup(_greatest(mean, text_of(row, "constituents")))]
        lines += [as_markup(f"Flood sets {flood:03.0f} true")] if flood is not None else []
        lines += [as_markup(f"Ebb sets {ebb:03.0f} true")] if ebb is not None else []
        lines += [as_markup(f"Mean flow {write_number(mean)} kn, flood positive")] if mean is not None else []
        lines += told_lines(row, constituents="Constituents: {}")
        popup = write_popup(name, lines)
        features.append(Feature(simplified(shape), "current", tip=name, popup=popup))
        lon, lat, _ = inside_point(shape)
        features.append(
            Feature(Point(lon, lat), "stream", name, popup, name, icon="flood", rank=3, turn_deg=flood or 0.0)
        )
    key = (
        symbol_entry("flood", "tidal stream: the arrow shows the flood"),
        area_entry("current", "where it runs"),
    )
    return Theme("currents", Markup("Tidal streams"), tuple(features), key, "currents")


def _hazards(frame: GeoDataFrame, manner: Manner) -> Theme:
    features: list[Feature] = []
    for row, shape in iterate_rows("hazards", frame):
        kind, off = text_of(row, "kind"), number_of(row, "keep_off_m")
        title = as_markup(text_of(row, "name") or kind or "Danger")
        lines = [as_markup(kind)] if kind else []
        lines += [as_markup(f"Keep off {manner.length(off, up=True)}")] if off is not None else []
        popup = write_popup(title, lines, shape)
        if "Point" in shape.geom_type:
            rank = _NEAR_RANK if manner.is_near(shape) else 4
            features.append(Feature(shape, "danger-mark", title, popup, icon="hazard", rank=rank, radius_m=off or 0.0))
        else:
            features.append(Feature(simplified(shape), "hazard-area", title, popup))
    return Theme(
        "hazards",
        Markup("Dangers"),
        tuple(features),
        (symbol_entry("hazard", "danger, with the distance to keep off"),),
        "hazards",
    )


def _overhead(frame: GeoDataFrame, manner: Manner) -> Theme:
    features: list[Feature] = []
    seen: set[str] = set()
    for row, shape in iterate_rows("overhead", frame):
        kind = "cable" if text_of(row, "kind") == "cable" else "bridge"
        seen.add(kind)
        clearance = number_of(row, "clearance_m")
        height = f"{manner.length(clearance)} clear" if clearance is not None else "clearance not known"
        title = as_markup(text_of(row, "name") or kind.capitalize())
        popup = write_popup(title, [as_markup(f"{kind.capitalize()}, {height}")])
        features.append(Feature(shape, f"overhead {kind}", pair(title, as_markup(height)), popup))
        lon, lat, _ = inside_point(shape)
        rank = _NEAR_RANK if manner.is_near(shape) else 4
        features.append(Feature(Point(lon, lat), "height", label=as_markup(f"{kind} {height}"), rank=rank))
    key = tuple(
        line_entry(f"overhead {kind}", f"{kind} overhead, safe clearance")
        for kind in ("bridge", "cable")
        if kind in seen
    )
    return Theme("overhead", Markup("Overhead"), tuple(features), key, "overhead")


def _openings(frame: GeoDataFrame, manner: Manner) -> Theme:
    features: list[Feature] = []
    for row, shape in iterate_rows("openings", frame):
        title = as_markup(text_of(row, "name") or text_of(row, "kind") or "Opening")
        closed = number_of(row, "closed_clearance_m")
        lines = told_lines(row, kind="Opening {}")
        lines += [as_markup(f"{manner.length(closed)} clear when closed")] if closed is not None else []
        lines += told_lines(row, opening_hours="Opens: {}", wait_min="Usual wait {} min", vhf="VHF {}")
        lon, lat, _ = inside_point(shape)
        popup = write_popup(title, lines, Point(lon, lat))
        rank = _NEAR_RANK if manner.is_near(shape) else 5
        features.append(Feature(Point(lon, lat), "opens", title, popup, title, icon="opening", rank=rank))
    return Theme(
        "openings",
        Markup("Opening bridges and locks"),
        tuple(features),
        (symbol_entry("opening", "opening bridge or lock"),),
        "overhead",
    )


def _span(low: float, high: float | None, manner: Manner) -> str:
    return manner.length(low) if high is None else f"{manner.figure(low)} to {manner.length(high)}"


def _greatest(mean_kn: float | None, constituents: str) -> str:
    """Return the greatest rate of a stream in words: its mean, and all its tides at their height at once."""
    greatest_kn = abs(mean_kn or 0.0) + sum(harmonic.amplitude_kn for harmonic in read_constituents(constituents))
    return f"Runs at up to {write_number(math.ceil(round(greatest_kn * 10, 6)) / 10, 1)} kn at its strongest"


class _Drawer(Protocol):
    def __call__(self, frame: GeoDataFrame, manner: Manner) -> Theme: ...


WATERS: Mapping[str, _Drawer] = MappingProxyType(
    {
        "depth": _depth,
        "closed_water": _closed_water,
        "zones": _zones,
        "currents": _currents,
        "land": _land,
        "hazards": _hazards,
        "overhead": _overhead,
        "openings": _openings,
    }
)
"""How each of these layers is drawn, the lowest first."""
