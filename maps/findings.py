"""What a check of a region found: numbered marks on the map, and the same numbers in a list beside it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from types import MappingProxyType
from typing import TYPE_CHECKING

from shapely.geometry import Point

from maps.features import Feature, Theme, area_entry, in_order, symbol_entry, write_popup
from maps.geometry import simplified
from maps.words import Markup, as_lines, as_markup, flag_of, joined, number_of, text_of, write_number, write_position

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from maps.features import Row

__all__ = ["draw_findings", "write_findings"]


@dataclass(frozen=True)
class _Danger:
    """How findings of one danger are marked and headed."""

    icon: str
    title: str
    text: str


_DANGERS: Mapping[str, _Danger] = MappingProxyType(
    {
        "aground": _Danger("found-aground", "Could put you aground", "found: could put you aground"),
        "fuel": _Danger("found-fuel", "Could leave you without fuel", "found: could leave you without fuel"),
        "other": _Danger("found-other", "May mislead a plan", "found: may mislead a plan"),
    }
)
_RANK = 8  # above docks and dangers, which give way: the map is about what was found


def draw_findings(frame: GeoDataFrame) -> Theme:
    """Return the findings that have a place.

    Parameters
    ----------
    frame
        The layer ``findings``.

    Returns
    -------
    Theme
        A numbered mark each, and the outline of what is no point.
    """
    features: list[Feature] = []
    marks: dict[tuple[float, float], list[Row]] = {}
    outlined = False
    for row, shape in in_order("findings", frame):
        if flag_of(row, "everywhere"):
            continue
        spot = _spot_of(shape)
        marks.setdefault((spot.x, spot.y), []).append(row)
        if "Point" not in shape.geom_type:
            outlined = True
            drawn = simplified(shape) if "Polygon" in shape.geom_type else shape
            title, lines = _title_of(row), [as_lines(text_of(row, "text"))]
            features.append(Feature(drawn, f"found {_danger_of(row)}", title, write_popup(title, lines, spot)))
    features += [_mark(rows, Point(at)) for at, rows in marks.items()]
    seen = {_danger_of(rows[0]) for rows in marks.values()}
    key = [symbol_entry(sign.icon, sign.text, number="1") for name, sign in _DANGERS.items() if name in seen]
    if any(len(rows) > 1 for rows in marks.values()):
        key.append(symbol_entry("found-other", "the first of several at one place", number="1+"))
    key += [area_entry("found", "its outline")] if outlined else []
    return Theme("findings", Markup("Findings"), tuple(features), tuple(key), "places")


def write_findings(frame: GeoDataFrame | None) -> str:
    """Return the findings as a list, with the numbers of the map.

    Parameters
    ----------
    frame
        The layer ``findings``, if there is one.

    Returns
    -------
    str
        Markup: grouped by what they could do, then by kind; empty without the layer.
    """
    if frame is None:
        return ""
    rows = in_order("findings", frame)
    if not rows:
        return "<p>Nothing was found.</p>"
    parts = []
    for danger, found in groupby(rows, key=lambda one: _danger_of(one[0])):
        parts.append(f"<h3>{_DANGERS[danger].title}</h3>")
        for kind, alike in groupby(found, key=lambda one: text_of(one[0], "kind")):
            items = "".join(_item(row, shape) for row, shape in alike)
            parts.append(f'<p class="what">{as_markup(kind).capitalize()}</p><ul class="stops">{items}</ul>')
    return "".join(parts)


def _mark(rows: list[Row], spot: Point) -> Feature:
    """Return the one mark of all findings at a spot: the number of the first, with a plus where there are more."""
    first, more = rows[0], rows[1:]
    lines = [as_lines(text_of(first, "text"))]
    lines += [as_lines(f"{_number_of(row)}. {text_of(row, 'text')}") for row in more]
    title = _title_of(first)
    return Feature(
        spot,
        "found-mark",
        joined("<br>", [_title_of(row) for row in rows]),
        write_popup(title, lines, spot),
        icon=_DANGERS[_danger_of(first)].icon,
        rank=_RANK,
        number=f"{_number_of(first)}{'+' if more else ''}",
    )


def _title_of(row: Row) -> Markup:
    return Markup(f"{_number_of(row)}. {as_markup(text_of(row, 'title'))}")


def _item(row: Row, shape: BaseGeometry) -> str:
    spot = _spot_of(shape)
    number = f'<span class="number {_danger_of(row)}">{_number_of(row)}</span>'
    head = f"{number}<span><b><bdi>{as_markup(text_of(row, 'title'))}</bdi></b></span>"
    text = f"<p><bdi>{as_lines(text_of(row, 'text'))}</bdi></p>"
    if flag_of(row, "everywhere"):
        return f'<li><div class="show still">{head}</div>{text}</li>'
    where = f'<p class="at">{write_position(spot.x, spot.y)}</p>'
    button = f'<button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">{head}</button>'
    return f"<li>{button}{text}{where}</li>"


def _danger_of(row: Row) -> str:
    danger = text_of(row, "danger")
    return danger if danger in _DANGERS else "other"


def _number_of(row: Row) -> str:
    return write_number(number_of(row, "order") or 0.0, 0)


def _spot_of(shape: BaseGeometry) -> Point:
    """[deg] Take a point of the largest part: of a line its middle, of an area one inside."""
    parts = list(getattr(shape, "geoms", [shape]))
    largest = max(parts, key=lambda part: (part.area, part.length))
    if largest.geom_type == "LineString":
        return largest.interpolate(0.5, normalized=True)
    return largest.representative_point()
