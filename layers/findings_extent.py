"""Doubts about the extent, and about rows that lie outside it: what was typed wrong, and what would put it right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.extents import LONGEST_NMI, wide_nmi
from layers.findings_kinds import EXTENT, Finding
from layers.findings_seen import names_of, row_numbers
from layers.schema import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from layers.findings_seen import Seen

    Extent = tuple[float, float, float, float]
    Points = NDArray[np.float64]

__all__ = ["extent_is_wrong", "find_misplaced", "holds", "other_extents"]

_FEW = 0.2  # the most of all rows that may lie in an extent that is wrong: a shape of half the world lies in any
_NEARLY_ALL = 0.8  # of the rows outside, that another extent has to hold
_AS_WHOLE = 3  # rows of a layer with the same mistake are told together from this many on

_FLIPS: dict[str, tuple[int, int]] = {
    "the sign of its longitude": (-1, 1),
    "the sign of its latitude": (1, -1),
    "the signs of both its longitude and its latitude": (-1, -1),
}


def find_misplaced(seen: Seen) -> Iterator[Finding]:
    """Find out whether the extent fits the layers, or else which rows lie outside it, and what was likely meant.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One about the extent, or those about rows.
    """
    wrong = _wrong_extent(seen)
    if wrong is not None:
        yield wrong
        return
    if (long_nmi := wide_nmi(seen.region.about.extent)) > LONGEST_NMI:
        problem = (
            f"is {long_nmi:,.0f} nmi from corner to corner: over {LONGEST_NMI:,.0f} nmi lengths and stand-offs are off"
        )
        yield Finding(EXTENT, 0, "", problem, "make it smaller in region.toml", "extent")
    for name in LAYERS:
        yield from _misplaced_rows(seen, name)


def extent_is_wrong(findings: Any) -> bool:
    """Tell whether the extent itself was found wrong, so that nothing measured in it means much.

    Parameters
    ----------
    findings
        Findings.

    Returns
    -------
    bool
        True where one of them says so.
    """
    return any(finding.layer == EXTENT and finding.weight == "wrong" for finding in findings)


def _wrong_extent(seen: Seen) -> Finding | None:
    """Look for another extent that the rows outside would lie in."""
    outside: list[Points] = []
    total = 0
    for name in LAYERS:
        shapes = seen.region.layer(name).geometry.to_numpy()
        total += len(shapes)
        outside.append(_middles(shapes[~seen.inside(name)]))
    points = np.vstack(outside)
    if not len(points) or total - len(points) > _FEW * total:
        return None
    given = seen.region.about.extent
    for words, extent in other_extents(given):
        held = int(holds(extent, points).sum())
        if held >= _NEARLY_ALL * len(points):
            new = ", ".join(f"{bound:g}" for bound in extent)
            problem = f"{len(points)} of {total} rows lie outside it; {words}, it would hold {held} of them"
            return Finding(EXTENT, 0, "", problem, f"write extent = [{new}] in region.toml", "extent", "wrong")
    problem = f"{len(points)} of {total} rows lie outside it"
    remedy = "check the extent in region.toml, and that the layers are of these waters"
    return Finding(EXTENT, 0, "", problem, remedy, "extent", "wrong")


def other_extents(given: Extent) -> Iterator[tuple[str, Extent]]:
    """[deg] Make the extents that may have been meant.

    Parameters
    ----------
    given
        [deg] West, south, east, north.

    Yields
    ------
    tuple[str, Extent]
        What is changed, and the extent.

    Examples
    --------
    >>> dict(other_extents((70, 23, 71, 27)))["with longitudes and latitudes exchanged"]
    (23, 70, 27, 71)
    """
    west, south, east, north = given
    yield "with the signs of west and east changed", (-east, south, -west, north)
    yield "with the signs of south and north changed", (west, -north, east, -south)
    yield "with all signs changed", (-east, -north, -west, -south)
    if (west - east) % 360 < (east - west) % 360:  # the other way round the globe is the shorter one
        yield "with west and east exchanged", (east, south, west, north)
    if -90 <= west <= 90 and -90 <= east <= 90:
        yield "with longitudes and latitudes exchanged", (south, west, north, east)


def holds(extent: Extent, points: Points) -> NDArray[np.bool_]:
    """Tell which points lie in an extent.

    Parameters
    ----------
    extent
        [deg] West, south, east, north; a west above the east crosses the 180th meridian.
    points
        [deg] n x 2: longitude and latitude.

    Returns
    -------
    NDArray[np.bool_]
        A flag for each.
    """
    west, south, east, north = extent
    lon, lat = points[:, 0], points[:, 1]
    across = (lon >= west) & (lon <= east) if west <= east else (lon >= west) | (lon <= east)
    return np.asarray(across & (lat >= south) & (lat <= north))


def _middles(shapes: NDArray[np.object_]) -> Points:
    """[deg] Take a point for each shape: the middle of its largest part's box."""
    if not len(shapes):
        return np.empty((0, 2))
    points = []
    for shape in shapes:
        part = max(shapely.get_parts(shape), key=lambda part: part.area)
        west, south, east, north = part.bounds
        points.append(((west + east) / 2, (south + north) / 2))
    return np.array(points)


def _misplaced_rows(seen: Seen, name: str) -> Iterator[Finding]:
    shapes = seen.region.layer(name).geometry.to_numpy()
    inside = seen.inside(name)
    numbers = [number for number, _ in zip(row_numbers(seen.region, name), shapes, strict=False)]
    at_zero = _touch_zero(shapes)
    away = np.flatnonzero(~inside & ~at_zero)
    points = _middles(shapes[away])
    why = np.full(len(away), "", dtype=object)
    extent = seen.region.about.extent
    for words, signs in _FLIPS.items():
        why[(why == "") & holds(extent, points * np.array(signs))] = f"with {words} changed"
    why[(why == "") & holds(extent, points[:, ::-1])] = "with longitude and latitude exchanged"
    names = names_of(seen.region, name)
    for place in np.flatnonzero(at_zero):
        called = names[place]
        problem = "lies at latitude 0, longitude 0, where programs put what has no position"
        yield Finding(name, numbers[place], called, problem, "give its position", "zero", "wrong", shapes[place])
    for reason in dict.fromkeys(why[why != ""].tolist()):
        rows = away[why == reason]
        if len(rows) >= _AS_WHOLE and len(rows) == len(shapes):
            plural = reason.replace(" its ", " their ")
            problem = f"all {len(rows)} rows lie outside the region's extent; {plural}, they would lie inside"
            where = shapely.multipoints(points[why == reason])
            yield Finding(name, 0, "", problem, "correct the layer", "misplaced", "wrong", where, len(rows))
            continue
        for place in rows:
            problem = f"lies outside the region's extent; {reason}, it would lie inside"
            called = names[place]
            yield Finding(name, numbers[place], called, problem, "correct it", "misplaced", "wrong", shapes[place])
    rest = away[why == ""]
    if name in {"land", "hazards"} and len(rest):  # what lies just outside counts, and building a region keeps it
        rest = rest[~shapely.intersects(seen.wider_box, seen.shapes(name)[rest])]
    if name in {"land", "depth"} and len(rest) > 1:  # charts of the neighbourhood often come along
        problem = f"{len(rest)} rows lie outside the region's extent, the first is row {numbers[rest[0]]}"
        yield Finding(name, 0, "", problem, "correct them, or widen the extent", "beyond")
        return
    for place in rest:
        called, problem = names[place], "lies outside the region's extent"
        remedy = "correct it, or widen the extent"
        yield Finding(name, numbers[place], called, problem, remedy, "outside", "doubtful", shapes[place])


def _touch_zero(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Tell which shapes have a corner at exactly 0, 0."""
    found = np.zeros(len(shapes), dtype=bool)
    if len(shapes):
        points, owners = shapely.get_coordinates(shapes, return_index=True)
        found[owners[(points == 0).all(axis=1)]] = True
    return found
