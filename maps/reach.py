"""What is in reach: areas with their edges, places, points to turn back at, and where the data end before the boat.

An area is filled lightly and its edge is drawn only where it runs through the open: along a shore it would say nothing.
What is drawn lies inside what was computed, never beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeAlias

import shapely

from maps.features import Feature, KeyEntry, Theme, area_entry, line_entry, pair, symbol_entry, write_popup
from maps.geometry import COAST_WITHIN_M, distance_m, extent_frame, iterate_rows, open_edges, simplified_inwards
from maps.voyage import DOCK_STATES, KINDS, state_of
from maps.words import Markup, as_lines, as_markup, flag_of, number_of, text_of, write_number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from maps.features import Row
    from maps.geometry import Bounds

__all__ = ["REACH", "draw_reach", "rest_of"]

REACH = ("reach", "data_edges", "reach_places", "turning_points")
"""The layers that are drawn here, the lowest first."""

_ALONG_M = 100.0  # [m] an edge so close to what closes the water runs along it: twice the default stand-off
_WIDEST_STAND_OFF_M = 400.0  # [m] an area that keeps farther off than this from everything doesn't show its stand-off
_MOST_CORNERS = 30_000  # on all areas together, some 20 bytes each: 0.6 MB
_COARSEST_M = 320.0  # [m] a pixel or so of a phone that shows 100 nmi: coarser is never drawn


@dataclass(frozen=True)
class _Kind:
    """How a kind of area is told: its title on the page, and the entries of the key for its edge."""

    title: str
    low: str
    mean: str
    fill: str = ""
    shown: bool = True


_KINDS: Mapping[str, _Kind] = MappingProxyType(
    {
        "one-way": _Kind(
            "Reach one way",
            "one way, reserve whole: count on this",
            "one way, on average: some days it is less",
            "in reach one way only",
        ),
        "out-and-back": _Kind(
            "Reach there and back",
            "there and back, reserve whole: count on this",
            "there and back, on average: some days it is less",
            "in reach there and back",
        ),
        "thirds": _Kind(
            "Reach by thirds",
            "a third out, a third back, a third in hand",
            "by thirds, on average: some days it is less",
            shown=False,
        ),
        "budget": _Kind(
            "Reach within the limit asked for",
            "within the fuel or time asked for: count on this",
            "within it on average: some days it is less",
            "in reach within the fuel or time asked for",
        ),
        "some-dock": _Kind(
            "Water with a fuel dock in reach",
            "beyond this line no suitable fuel dock is left in reach",
            "the same on average",
        ),
    }
)


def draw_reach(frames: Mapping[str, GeoDataFrame], extent: Bounds) -> list[Theme]:
    """Return everything about the reach that is to be drawn, the lowest sheet first.

    Parameters
    ----------
    frames
        Layers by name.
    extent
        The region's extent.

    Returns
    -------
    list[Theme]
        A theme for each kind of area, one for each further speed, then edges of the data, places, points to turn at.
    """
    themes = _areas(frames, extent)
    themes.append(_data_edges(frames.get("data_edges")))
    themes.append(_places(frames.get("reach_places"), frames.get("dock_marks")))
    themes.append(_turning_points(frames.get("turning_points")))
    return themes


def rest_of(frame: GeoDataFrame, places: GeoDataFrame | None) -> GeoDataFrame:
    """Return the docks or places of a layer that are not drawn as places in reach.

    Parameters
    ----------
    frame
        Docks, waypoints or marks of either.
    places
        The places in reach, if there are any.

    Returns
    -------
    GeoDataFrame
        Its rows without those of the same name at the same position.
    """
    told = {_identity(row, shape) for row, shape in iterate_rows("reach_places", places)}
    if not told or frame.active_geometry_name is None:
        return frame
    kept = [
        shape is None or shape.is_empty or _identity(row, shape) not in told
        for row, shape in zip(frame.to_dict("records"), frame.geometry, strict=True)
    ]
    return frame[kept]


def _identity(row: Mapping[Any, Any], shape: BaseGeometry) -> tuple[str, float, float]:
    spot = shape.representative_point()
    return text_of(row, "name"), round(spot.x, 5), round(spot.y, 5)


_Area: TypeAlias = "tuple[Row, BaseGeometry, BaseGeometry]"
"""A row of the layer, its area as drawn, and the edge of that in the open."""


def _areas(frames: Mapping[str, GeoDataFrame], extent: Bounds) -> list[Theme]:
    rows = [(row, shape) for row, shape in iterate_rows("reach", frames.get("reach")) if shape.area > 0]
    if not rows:
        return []
    areas = _as_drawn(rows, _shut(frames, extent))
    chosen_kn = number_of(rows[0][0], "speed_kn")
    mine = [one for one in areas if number_of(one[0], "speed_kn") == chosen_kn]
    themes = [
        _kind_of_area(kind, [one for one in mine if _kind(one[0]) == kind])
        for kind in sorted(_KINDS, key=lambda kind: -_largest(kind, mine))
    ]
    others = dict.fromkeys(number_of(row, "speed_kn") for row, _ in rows)
    others.pop(chosen_kn)
    themes += [_other_speed(kn, [one for one in areas if number_of(one[0], "speed_kn") == kn]) for kn in others]
    return themes


def _as_drawn(rows: Sequence[tuple[Row, BaseGeometry]], shut: Sequence[BaseGeometry]) -> list[_Area]:
    """Draw areas inside what they are, coarser where their corners would make the page heavy, and find their edges."""
    within_m = COAST_WITHIN_M
    drawn = [simplified_inwards(shape, within_m) for _, shape in rows]
    while sum(map(shapely.get_num_coordinates, drawn)) > _MOST_CORNERS and within_m < _COARSEST_M:
        within_m *= 2
        drawn = [simplified_inwards(shape, within_m) for _, shape in rows]
    closest_m = distance_m(rows[0][1], shapely.GeometryCollection(list(shut)))
    along_m = max(_ALONG_M, 2 * closest_m) if closest_m < _WIDEST_STAND_OFF_M else _ALONG_M
    edges = open_edges(drawn, shut, along_m + 2.2 * within_m)  # drawn in by 1.1 times that, then simplified by as much
    return [(row, area, edge) for (row, _), area, edge in zip(rows, drawn, edges, strict=True)]


def _shut(frames: Mapping[str, GeoDataFrame], extent: Bounds) -> list[BaseGeometry]:
    """Return what the edge of an area may run along: land, closed water, low bridges, the end of the data."""
    names = ("land", "closed_water", "overhead")
    shapes = [shape for name in names for _, shape in iterate_rows(name, frames.get(name))]
    return [*shapely.get_parts(shapes), extent_frame(extent)["edge"]]


def _kind(row: Row) -> str:
    kind = text_of(row, "kind")
    return kind if kind in _KINDS else "budget"


def _figure(row: Row) -> str:
    return "low" if text_of(row, "figure") == "low" else "mean"


def _largest(kind: str, areas: Sequence[_Area]) -> float:
    """Return the size of the largest area of a kind: the smaller ones are drawn over it."""
    return max((float(area.area) for row, area, _ in areas if _kind(row) == kind), default=0.0)


def _kind_of_area(kind: str, areas: Sequence[_Area]) -> Theme:
    words = _KINDS[kind]
    features: list[Feature] = []
    key: list[KeyEntry] = []
    for row, area, edge in sorted(areas, key=lambda one: _figure(one[0])):
        figure = _figure(row)
        if figure == "low" and words.fill:
            features.append(Feature(area, f"fill {kind}"))
            key.append(area_entry(f"fill {kind}", words.fill))
        if not edge.is_empty:
            features.append(_edge(row, edge, f"reach {kind} {figure}"))
            key.append(line_entry(f"reach {kind} {figure}", words.low if figure == "low" else words.mean))
    return Theme(f"reach {kind}", Markup(words.title), tuple(features), _once(key), "reach", shown=words.shown)


def _other_speed(speed_kn: float | None, areas: Sequence[_Area]) -> Theme:
    """Return the reach at a speed that isn't the chosen one: low figures, thin edges, switched off at first."""
    low = [(row, edge) for row, _, edge in areas if _figure(row) == "low" and not edge.is_empty]
    features = tuple(_edge(row, edge, f"reach {_kind(row)} other") for row, edge in low)
    speed = f"{write_number(speed_kn, 1)} kn" if speed_kn is not None else "another speed"
    key = (line_entry("reach other", f"edges of the same at {speed}, low figures"),)
    return Theme(f"reach at {speed}", as_markup(f"Reach at {speed}"), features, key, "reach", shown=False)


def _edge(row: Row, edge: BaseGeometry, look: str) -> Feature:
    title = as_markup(text_of(row, "title") or text_of(row, "label") or _KINDS[_kind(row)].title)
    popup = write_popup(title, [as_lines(text_of(row, "text"))])
    label = as_markup(text_of(row, "label"), longest=60)
    return Feature(edge, look, title, popup, label, rank=8 if look.endswith("low") else 7, pane="limits")


def _once(key: Sequence[KeyEntry]) -> tuple[KeyEntry, ...]:
    return tuple(dict.fromkeys(key))


_DATA_END = "The data end here"


def _data_edges(frame: GeoDataFrame | None) -> Theme:
    features: list[Feature] = []
    for row, shape in iterate_rows("data_edges", frame):
        title = as_markup(text_of(row, "title") or _DATA_END)
        popup = write_popup(title, [as_lines(text_of(row, "text"))])
        features.append(Feature(shape, "data-edge", title, popup, Markup(_DATA_END), rank=8, pane="limits"))
    key = (line_entry("data-edge", "the data end here: how far she gets beyond is not known"),)
    return Theme("data_edges", Markup("Where the data end before the boat"), tuple(features), key, "limits", fixed=True)


_WAYS = {True: ("both", "In reach there and back"), False: ("out", "In reach one way only")}


def _places(frame: GeoDataFrame | None, docks: GeoDataFrame | None) -> Theme:
    marks = {_identity(row, shape): row for row, shape in iterate_rows("dock_marks", docks)}
    features: list[Feature] = []
    seen: dict[str, None] = {}
    for row, shape in iterate_rows("reach_places", frame):
        mark = marks.get(_identity(row, shape))
        is_dock = mark is not None or text_of(row, "kind") == "dock"
        ring, told = _WAYS[flag_of(row, "there_and_back")]
        name = text_of(row, "name")
        title = as_markup(text_of(row, "title") or name or "Place in reach")
        dock_lines = [as_lines(text_of(mark, "text"))] if mark is not None else []
        popup = write_popup(title, [as_lines(text_of(row, "text")), *dock_lines], shape)
        icon = (
            f"{ring} {_dock_icon(row, mark)}" if is_dock else f"{ring}-small {KINDS.get(text_of(row, 'kind'), 'place')}"
        )
        seen[icon] = None
        features.append(
            Feature(
                shape,
                f"{'dock' if is_dock else 'place'}-mark in-reach",
                pair(title, Markup(told)),
                popup,
                pair(as_markup(name, longest=40), as_markup(text_of(row, "label"), longest=60)),
                icon=icon,
                rank=6 if is_dock else 3,
            )
        )
    return Theme("reach_places", Markup("Places in reach"), tuple(features), _places_key(list(seen)), "places")


def _dock_icon(row: Row, mark: Row | None) -> str:
    if mark is not None:
        return DOCK_STATES[state_of(mark)].icon
    return {"yes": "dock-suits", "no": "dock-unsuited"}.get(text_of(row, "refuel"), "dock-doubtful")


def _places_key(icons: Sequence[str]) -> tuple[KeyEntry, ...]:
    """Return what each ring and each sign inside one means, once."""
    rings, signs = zip(*(icon.split() for icon in icons), strict=True) if icons else ((), ())
    told = {"both": "ringed: in reach there and back", "out": "half ringed: in reach one way only"}
    key = [symbol_entry(ring, text) for ring, text in told.items() if ring in {r.removesuffix("-small") for r in rings}]
    docks = {state.icon: state.text for state in DOCK_STATES.values()}
    order = [sign for sign in (*docks, *KINDS, "place") if sign in signs]
    return (*key, *(symbol_entry(sign, docks.get(sign, sign)) for sign in order))


def _turning_points(frame: GeoDataFrame | None) -> Theme:
    features: list[Feature] = []
    for row, shape in iterate_rows("turning_points", frame):
        title = as_markup(text_of(row, "title") or f"Last dock: {text_of(row, 'dock')}")
        popup = write_popup(title, [as_lines(text_of(row, "text"))], shape)
        label = as_markup(text_of(row, "label"), longest=60)
        features.append(Feature(shape, "turn-mark", title, popup, label, icon="turn-back", rank=8))
    key = (symbol_entry("turn-back", "turn here at the latest: beyond it no suitable fuel dock is left in reach"),)
    return Theme("turning_points", Markup("Where to turn"), tuple(features), key, "places")
