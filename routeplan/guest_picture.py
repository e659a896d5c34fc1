"""The picture of a guests' page: land, the water that the boat gets to, home, and the places by number.

North is up. What is drawn of the reach lies inside it; numbers that would lie on each other are moved apart, each
joined to its place by a line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.plane import Plane
from maps.geometry import open_edges, simplified, simplified_inwards

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from layers.region import Region

    Points = NDArray[np.float64]
    Position = tuple[float, float]

__all__ = ["View", "draw_picture", "write_home"]

_WIDTH = 720.0  # units across; on a phone one is half a pixel
_LEAST_HIGH, _MOST_HIGH = 0.72, 1.05  # times the width
_ROUND = 23.0  # radius of a number's disc, of home's and of north's
_APART = 3.0  # between discs
_HOME_PATH = "M0 -15L16 0H10V13H-10V0H-16Z"
_NORTH_AT = (_WIDTH - 34.0, 40.0)
_NORTH = (
    f'<g class="north" transform="translate({_NORTH_AT[0]:g} {_NORTH_AT[1]:g})"><circle r="{_ROUND:g}"/>'
    '<path d="M0 -20L7 -6L0 -9L-7 -6Z"/><text y="17">N</text></g>'
)
_M_PER_DEG = 111_195.0  # [m] one degree of latitude on a sphere of 6,371,008.8 m (the mean radius R1 of IUGG)
_ALONG_M = 100.0  # [m] an edge so close to a shore runs along it: twice the default stand-off
_SHARE_OF_UNIT = 0.35  # of a unit: how far the drawn reach may lie inside the true one
_LEAST_M = 5.0  # [m] finer is never drawn
_NEAR_EDGE_M = 500.0  # [m] an area comes no nearer to the end of the data than its stand-off, which is far less
_SMALLEST_M = 1500.0  # [m] across: the picture never closes in further


@dataclass(frozen=True)
class View:
    """What the picture shows, and where on it things are.

    Parameters
    ----------
    west_deg, north_deg
        [deg] Its upper left corner.
    units_per_lon, units_per_lat
        Units of the picture to a degree.
    high
        Its height in units; its width is 720.
    """

    west_deg: float
    north_deg: float
    units_per_lon: float
    units_per_lat: float
    high: float

    @classmethod
    def around(cls, shapes: Sequence[Any]) -> View:
        """Choose a view that shows all of some shapes.

        Parameters
        ----------
        shapes
            [deg] Geometries.

        Returns
        -------
        The view, with a margin round them.
        """
        west, south, east, north = shapely.total_bounds(list(shapes))
        middle = (west + east) / 2, (south + north) / 2
        share = math.cos(math.radians(middle[1]))
        wide = max((east - west) * share, _SMALLEST_M / _M_PER_DEG) * 1.12
        high = max(north - south, _SMALLEST_M / _M_PER_DEG) * 1.12
        wide = max(wide, high / _MOST_HIGH)
        high = max(high, wide * _LEAST_HIGH)
        units = _WIDTH / wide
        return cls(middle[0] - wide / share / 2, middle[1] + high / 2, units * share, units, round(high * units, 1))

    @property
    def metres_per_unit(self) -> float:
        """[m] One unit."""
        return _M_PER_DEG / self.units_per_lat

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """[deg] West, south, east, north."""
        return (
            self.west_deg,
            self.north_deg - self.high / self.units_per_lat,
            self.west_deg + _WIDTH / self.units_per_lon,
            self.north_deg,
        )

    def place(self, lonlat: Points) -> Points:
        """Find where positions are on the picture.

        Parameters
        ----------
        lonlat
            [deg] n x 2 longitudes and latitudes.

        Returns
        -------
        n x 2 units from its upper left corner, right and down.
        """
        moved = np.asarray(lonlat, dtype=np.float64) - (self.west_deg, self.north_deg)
        return np.asarray(moved * (self.units_per_lon, -self.units_per_lat))


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
    discs = _apart(spots, view)
    land = plane.unwrapped(region.layer("land").geometry.to_numpy())
    shores = [*land, *(plane.unwrapped(shape) for shape in closed), shapely.box(*plane.unwrapped_extent).exterior]
    box = f'viewBox="0 0 {_WIDTH:g} {view.high:g}" style="--ratio:{_WIDTH / view.high:.4f}"'
    parts = [
        f'<svg class="picture" {box} role="img" aria-label="{label}">',
        _extent(plane.unwrapped_extent, view),
        *_reach(area, shores, view),
        f'<path class="land" fill-rule="evenodd" d="{_path(_land(land, view), view)}"/>',
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
        f'<svg class="sign" viewBox="-26 -26 52 52" aria-hidden="true"><g class="home"><circle r="{_ROUND:g}"/>'
        f'<path d="{_HOME_PATH}"/></g></svg>'
    )


def _extent(extent: tuple[float, float, float, float], view: View) -> str:
    """Draw the water as far as there are data; beyond it the ground shows."""
    west, south, east, north = extent
    (left, top), (right, bottom) = view.place(np.array([(west, north), (east, south)]))
    left, top = max(left, 0.0), max(top, 0.0)
    wide, high = min(right, _WIDTH) - left, min(bottom, view.high) - top
    return f'<rect class="water" x="{left:.2f}" y="{top:.2f}" width="{max(wide, 0):.2f}" height="{max(high, 0):.2f}"/>'


def _land(land: Sequence[Any], view: View) -> Any:
    within_m = max(20.0, 0.5 * view.metres_per_unit)
    shapes = [simplified(shape, within_m) for shape in land]
    return shapely.union_all([shapely.clip_by_rect(shapely.make_valid(shape), *view.bounds) for shape in shapes])


def _reach(area: Any, shores: Sequence[Any], view: View) -> list[str]:
    if not _is_something(area):
        return []
    within_m = max(_LEAST_M, _SHARE_OF_UNIT * view.metres_per_unit)
    drawn = simplified_inwards(area, within_m)
    (edge,) = open_edges([drawn], shores, _ALONG_M + 2.2 * within_m)
    return [
        f'<path class="reach" fill-rule="evenodd" d="{_path(drawn, view)}"/>',
        f'<path class="limit" d="{_path(edge, view)}"/>' if _is_something(edge) else "",
    ]


def _data_edges(area: Any, data_edges: Any, view: View) -> str:
    """Draw the edges of the data that this area comes up to: there may be more, for areas that reach farther."""
    if not (_is_something(area) and _is_something(data_edges)):
        return ""
    near = shapely.intersection(data_edges, shapely.buffer(area, _NEAR_EDGE_M / _M_PER_DEG))
    return f'<path class="edge" d="{_path(near, view)}"/>' if _is_something(near) else ""


def _numbers(spots: Points, discs: Points) -> list[str]:
    lines, marks = [], []
    for number, ((x, y), (u, v)) in enumerate(zip(spots, discs, strict=True)):
        if math.hypot(u - x, v - y) > 1:
            lines.append(f'<path class="lead" d="M{x:.2f} {y:.2f}L{u:.2f} {v:.2f}"/>')
            marks.append(f'<circle class="spot" cx="{x:.2f}" cy="{y:.2f}" r="6"/>')
        inside = f'<path d="{_HOME_PATH}"/>' if number == 0 else f'<text y="10">{number}</text>'
        kind = "home" if number == 0 else "number"
        marks.append(f'<g class="{kind}" transform="translate({u:.2f} {v:.2f})"><circle r="{_ROUND:g}"/>{inside}</g>')
    return [*lines, *marks]


def _apart(spots: Points, view: View) -> Points:
    """Move discs apart until none lies on another, on home or on the sign of north; home stays where it is.

    Notes
    -----
    Overlapping pairs push each other away in equal parts, again and again, from places a little apart; all stay inside
    the frame. Three hundred rounds settle a dozen discs at the size they have.
    """
    turns = np.arange(len(spots)) * 2.399963  # the golden angle, so that no two begin in the same direction
    discs = spots + np.column_stack([np.cos(turns), np.sin(turns)]) * 0.01
    discs[0] = np.clip(spots[0], _ROUND + 2, (_WIDTH - _ROUND - 2, view.high - _ROUND - 2))
    fixed = [0, len(spots)]
    discs = np.vstack([discs, _NORTH_AT])
    least = 2 * _ROUND + _APART
    for _ in range(300):
        moved = False
        for one, other in combinations(range(len(discs)), 2):
            away = discs[other] - discs[one]
            gap = math.hypot(*away)
            if gap >= least:
                continue
            moved = True
            push = away / max(gap, 1e-9) * (least - gap + 0.5)
            shares = (0.0, 1.0) if one in fixed else (1.0, 0.0) if other in fixed else (0.5, 0.5)
            discs[one] -= push * shares[0]
            discs[other] += push * shares[1]
        discs[1:-1] = np.clip(discs[1:-1], _ROUND + 2, (_WIDTH - _ROUND - 2, view.high - _ROUND - 2))
        if not moved:
            break
    return np.asarray(discs[:-1])


def _is_something(shape: Any) -> bool:
    return shape is not None and not shape.is_empty


def _path(shape: Any, view: View) -> str:
    """Write rings or lines as the data of an SVG path, to a hundredth of a unit."""
    written: list[str] = []
    for part in shapely.get_parts(shape):
        area = part.geom_type == "Polygon"
        for line in [part.exterior, *part.interiors] if area else [part]:
            if line.geom_type == "Point":
                continue
            corners = view.place(shapely.get_coordinates(line))
            points = "L".join(f"{x:.2f} {y:.2f}" for x, y in (corners[:-1] if area else corners))
            written.append(f"M{points}{'Z' if area else ''}")
    return "".join(written)
