"""The picture of a guests' page: land, the water that the boat gets to, home, and the places by number.

North is up. What is drawn of the reach lies inside it; numbers that would lie on each other are moved apart, each
joined to its place by a line.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.plane import Plane
from maps.geometry import open_edges, simplified_inwards
from routeplan.picture_view import M_PER_DEG, NORTH_AT, ROUND, WIDTH, View, discs_apart, land_within, write_path

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from layers.region import Region

    Points = NDArray[np.float64]
    Position = tuple[float, float]

__all__ = ["draw_picture", "write_home"]

_HOME_PATH = "M0 -15L16 0H10V13H-10V0H-16Z"
_NORTH = (
    f'<g class="north" transform="translate({NORTH_AT[0]:g} {NORTH_AT[1]:g})"><circle r="{ROUND:g}"/>'
    '<path d="M0 -20L7 -6L0 -9L-7 -6Z"/><text y="17">N</text></g>'
)
_ALONG_M = 100.0  # [m] an edge so close to a shore runs along it: twice the default stand-off
_SHARE_OF_UNIT = 0.35  # of a unit: how far the drawn reach may lie inside the true one
_LEAST_M = 5.0  # [m] finer is never drawn
_NEAR_EDGE_M = 500.0  # [m] an area comes no nearer to the end of the data than its stand-off, which is far less


def draw_picture(
    region: Region,
    area: Any,
    start: Position,
    places: Sequence[Position],
    *,
    closed: Sequence[Any] = (),
    data_edges: Any = None,
    label: str,
) -> str:
    """Draw the picture.

    Parameters
    ----------
    region
        Its land is drawn, and where its data end.
    area
        [deg] The water in reach; None where there is none.
    start
        [deg] Home.
    places
        [deg] The places in the order of their numbers.
    closed
        [deg] Water that is closed to the boat: no edge of the reach is drawn along it.
    data_edges
        [deg] Where the data end before the reach does; None or empty where they don't.
    label
        What it shows, for readers of screens: markup.

    Returns
    -------
    An SVG drawing that takes its colours from the page's style sheet.
    """
    plane = Plane(region.about.extent)  # whose longitudes run on, where the region crosses the 180th meridian
    area, data_edges = (plane.unwrapped(shape) if _is_something(shape) else None for shape in (area, data_edges))
    points = [plane.unwrapped(shapely.Point(spot)) for spot in (start, *places)]
    view = View.around([*points, *([area] if area is not None else [])])
    spots = view.place(shapely.get_coordinates(points))
    discs = discs_apart(spots, view)
    land = plane.unwrapped(region.layer("land").geometry.to_numpy())
    shores = [*land, *(plane.unwrapped(shape) for shape in closed), shapely.box(*plane.unwrapped_extent).exterior]
    box = f'viewBox="0 0 {WIDTH:g} {view.high:g}" style="--ratio:{WIDTH / view.high:.4f}"'
    parts = [
        f'<svg class="picture" {box} role="img" aria-label="{label}">',
        _extent(plane.unwrapped_extent, view),
        *_reach(area, shores, view),
        f'<path class="land" fill-rule="evenodd" d="{write_path(land_within(land, view), view)}"/>',
        _data_edges(area, data_edges, view),
        *_numbers(spots, discs),
        _NORTH,
        "</svg>",
    ]
    return "".join(parts)


def write_home() -> str:
    """Draw the sign of home by itself.

    Returns
    -------
    An SVG drawing.
    """
    return (
        f'<svg class="sign" viewBox="-26 -26 52 52" aria-hidden="true"><g class="home"><circle r="{ROUND:g}"/>'
        f'<path d="{_HOME_PATH}"/></g></svg>'
    )


def _extent(extent: tuple[float, float, float, float], view: View) -> str:
    """Draw the water as far as there are data; beyond it the ground shows."""
    west, south, east, north = extent
    (left, top), (right, bottom) = view.place(np.array([(west, north), (east, south)]))
    left, top = max(left, 0.0), max(top, 0.0)
    wide, high = min(right, WIDTH) - left, min(bottom, view.high) - top
    return f'<rect class="water" x="{left:.2f}" y="{top:.2f}" width="{max(wide, 0):.2f}" height="{max(high, 0):.2f}"/>'


def _reach(area: Any, shores: Sequence[Any], view: View) -> list[str]:
    if not _is_something(area):
        return []
    within_m = max(_LEAST_M, _SHARE_OF_UNIT * view.metres_per_unit)
    drawn = simplified_inwards(area, within_m)
    (edge,) = open_edges([drawn], shores, _ALONG_M + 2.2 * within_m)
    return [
        f'<path class="reach" fill-rule="evenodd" d="{write_path(drawn, view)}"/>',
        f'<path class="limit" d="{write_path(edge, view)}"/>' if _is_something(edge) else "",
    ]


def _data_edges(area: Any, data_edges: Any, view: View) -> str:
    """Draw the edges of the data that this area comes up to: there may be more, for areas that reach farther."""
    if not (_is_something(area) and _is_something(data_edges)):
        return ""
    near = shapely.intersection(data_edges, shapely.buffer(area, _NEAR_EDGE_M / M_PER_DEG))
    return f'<path class="edge" d="{write_path(near, view)}"/>' if _is_something(near) else ""


def _numbers(spots: Points, discs: Points) -> list[str]:
    lines, marks = [], []
    for number, ((x, y), (u, v)) in enumerate(zip(spots, discs, strict=True)):
        if math.hypot(u - x, v - y) > 1:
            lines.append(f'<path class="lead" d="M{x:.2f} {y:.2f}L{u:.2f} {v:.2f}"/>')
            marks.append(f'<circle class="spot" cx="{x:.2f}" cy="{y:.2f}" r="6"/>')
        inside = f'<path d="{_HOME_PATH}"/>' if number == 0 else f'<text y="10">{number}</text>'
        kind = "home" if number == 0 else "number"
        marks.append(f'<g class="{kind}" transform="translate({u:.2f} {v:.2f})"><circle r="{ROUND:g}"/>{inside}</g>')
    return [*lines, *marks]


def _is_something(shape: Any) -> bool:
    return shape is not None and not shape.is_empty
