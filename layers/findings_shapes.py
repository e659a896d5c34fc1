"""Doubts about how shapes lie to one another: land over land, bridges that end in the water, places off the shore."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.findings_kinds import Finding
from layers.findings_seen import length, meeting_pairs, name_of
from layers.plane import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from layers.findings_kinds import Weight
    from layers.findings_seen import Seen

__all__ = ["find_bridge_doubts", "find_land_over_land", "find_stray_places"]

BRIDGE_GAP_M = 100.0  # [m] how far the end of a bridge is drawn out to reach land
INLAND_NMI = 0.5  # [nmi] further inland than a start may be
ASHORE_M = 100.0  # [m] our choice: a mark or an anchorage further on land isn't where a boat goes; a harbour may be
OFFSHORE_NMI = 1.0  # [nmi] further out than a dock is likely to float
_COAST_MISSING = 3  # docks far from any land: fewer may each be in the wrong place
_MOST_ASKED = 2000  # pairs of shapes that meet on their edges
_MOST_PLACED = 100  # overlaps whose place is worked out; of more, the number is told


def find_land_over_land(seen: Seen) -> Iterator[Finding]:
    """Find land that overlaps other land: harmless to a plan, and a sign that one of them is misplaced.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One for each pair, with the place where both lie.
    """
    shapes = seen.shapes("land")
    if not len(shapes):
        return
    things = [(row, name_of(thing)) for row, thing in seen.rows("land")]
    a, b = meeting_pairs(shapes)
    over = shapely.covers(shapes[a], shapes[b])
    apart = np.flatnonzero(~over)[:_MOST_ASKED]
    over[apart] = shapely.overlaps(shapes[a[apart]], shapes[b[apart]]) | shapely.covers(
        shapes[b[apart]], shapes[a[apart]]
    )
    pairs = sorted((min(pair), max(pair)) for pair in zip(a[over].tolist(), b[over].tolist(), strict=True))
    remedy = "harmless to a plan, but one of them may be misplaced"
    for order, (a, b) in enumerate(pairs):
        # of hundreds only the number is told, so that their places needn't be worked out
        where = shapely.intersection(shapes[a], shapes[b]) if order < _MOST_PLACED else None
        at = None if where is None else seen.plane.wrapped(shapely.point_on_surface(where))
        problem = f"overlaps row {things[b][0]}{f' ({things[b][1]})' if things[b][1] else ''}"
        yield Finding("land", things[a][0], things[a][1], problem, remedy, "land-overlap", "doubtful", at)


def find_bridge_doubts(seen: Seen) -> Iterator[Finding]:
    """Find bridges and cables that end in the water or lie on land, and openings that open none.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a doubt.
    """
    inside = seen.inside("overhead")
    lines = np.full(len(inside), shapely.LineString(), dtype=object)  # far from the extent there is no plane
    lines[inside] = seen.plane.project(seen.shapes("overhead")[inside])
    if len(seen.land):
        yield from _bridges(seen, lines)
    if not len(seen.region.layer("openings")):
        return
    spans = shapely.STRtree(lines)  # leaves out what is empty
    opens = seen.inside("openings")
    for place, (row, thing) in enumerate(seen.rows("openings")):
        if thing.kind != "bridge" or not opens[place]:
            continue
        shape = seen.plane.project(seen.shapes("openings")[place])
        nearest = spans.nearest(shape) if inside.any() else None
        away_m = float("inf") if nearest is None else float(shapely.distance(lines[nearest], shape))
        if away_m > BRIDGE_GAP_M:
            where = "there is none" if nearest is None else f"the nearest is {length(away_m)} away"
            problem = f"it opens no bridge of layer overhead: {where}"
            remedy = "add the bridge, or move the opening onto it"
            yield Finding("openings", row, thing.name, problem, remedy, "opening", "doubtful", thing.geometry)


def _bridges(seen: Seen, lines: Any) -> Iterator[Finding]:
    parts, owners = shapely.get_parts(lines, return_index=True)
    tree = shapely.STRtree(parts)
    shores = shapely.STRtree(seen.land)
    for place, (row, thing) in enumerate(seen.rows("overhead")):
        for end in _ends(lines[place]):
            lonlat = seen.plane.wrapped(seen.plane.unproject(end))
            near = tree.query(end, predicate="dwithin", distance=1.0)
            joined = bool((owners[near] != place).any())
            gap_m = seen.from_land_m(end)
            if gap_m > BRIDGE_GAP_M and not joined and seen.box.covers(seen.plane.unwrapped(lonlat)):
                problem = f"its end stops {length(gap_m)} short of land"
                remedy = "a track may lead round it: draw it to the shore"
                yield Finding("overhead", row, thing.name, problem, remedy, "bridge", "wrong", lonlat)
        if not lines[place].is_empty and len(shores.query(lines[place], predicate="covered_by")):
            problem = "lies wholly on land"
            yield Finding("overhead", row, thing.name, problem, "check its position", "bridge", "wrong", thing.geometry)


def _ends(line: Any) -> list[Any]:
    """Return the ends of a line that no other of its parts touches."""
    merged = shapely.line_merge(line) if line.geom_type == "MultiLineString" else line
    return list(shapely.get_parts(shapely.boundary(merged)))


def find_stray_places(seen: Seen) -> Iterator[Finding]:
    """Find docks and waypoints that lie on land, and docks far from any.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a place.
    """
    if not len(seen.land):
        return
    for layer, kind in (("docks", "dock-place"), ("waypoints", "place-ashore")):
        shapes = seen.shapes(layer)
        inside = shapely.covers(seen.box, shapes)
        spots = np.full(len(shapes), shapely.Point(), dtype=object)
        spots[inside] = seen.plane.project(shapes[inside])
        inland = _inland(seen, spots)
        away_m = [
            seen.from_land_m(spot) if layer == "docks" and here else 0.0
            for spot, here in zip(spots, inside, strict=True)
        ]
        adrift = np.array(away_m) > OFFSHORE_NMI * METRES_PER_NMI
        if adrift.sum() >= _COAST_MISSING and adrift.sum() > inside.sum() / 2:  # it isn't the docks that are wrong
            problem = f"{adrift.sum()} of {inside.sum()} docks lie over {OFFSHORE_NMI:g} nmi off all charted land"
            where = seen.plane.wrapped(shapely.multipoints(shapely.get_coordinates(shapes[adrift])))
            yield Finding("land", 0, "", problem, "add the coast there", "coast", "wrong", where)
            away_m = [0.0] * len(spots)
        for place, (row, thing) in enumerate(seen.rows(layer)):
            may_be_ashore = layer == "docks" or thing.kind == "harbour"
            doubt = _stray(inland.get(place), away_m[place], may_be_ashore=may_be_ashore)
            if doubt is not None:
                problem, remedy, weight = doubt
                yield Finding(layer, row, thing.name, problem, remedy, kind, weight, thing.geometry)


def _inland(seen: Seen, spots: NDArray[np.object_]) -> dict[int, float]:
    """[m] Measure how far from the shore those of some points lie that are on land."""
    inland: dict[int, float] = {}
    for spot, shore in seen.tree.query(spots, predicate="within").T.tolist():
        deep_m = float(shapely.boundary(seen.land[shore]).distance(spots[spot]))
        inland[spot] = max(inland.get(spot, 0.0), deep_m)
    return inland


def _stray(inland_m: float | None, away_m: float, *, may_be_ashore: bool) -> tuple[str, str, Weight] | None:
    """Say what is odd about where a place lies: problem, remedy and weight."""
    if inland_m is None:
        if away_m > OFFSHORE_NMI * METRES_PER_NMI:
            return f"lies {length(away_m)} off the nearest land", "check its position", "doubtful"
    elif inland_m > INLAND_NMI * METRES_PER_NMI:
        return f"lies {length(inland_m)} inland", "move it to the water", "wrong"
    elif not may_be_ashore and inland_m > ASHORE_M:
        return f"lies {length(inland_m)} on land", "move it to the water", "doubtful"
    return None
