"""Doubts about what the layers cover: gaps in the charted depths, depths that contradict, sides without any coast."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.findings_kinds import MOST_TOLD, Finding
from layers.findings_seen import meeting_pairs

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from layers.findings_seen import Seen

__all__ = ["find_bare_sides", "find_depth_doubts"]

CRACK_M = 1.0  # [m] half the width below which a gap between depth areas is a crack in the data, as when water is cut
BARE_SHARE = 0.25  # of the extent's width or height, our choice: so much without a coast may be a chart that is missing
CHARTED_BARE_SHARE = 0.5  # the same where depths are charted
_MOST_PAIRS = 20_000  # depth areas that meet: more are looked at in part, in the order of rows
_DRAWN_WITHIN_M = 5.0  # [m] a gap's outline for the eye
_HAIR_M2 = 1.0  # [m2] rounding in the sum of areas
_HAIR_SHARE = 1e-9  # the same as a share of them
_KM2 = 1e6  # [m2]


def find_bare_sides(seen: Seen) -> Iterator[Finding]:
    """Find sides of the extent without any coast: open sea, or a chart that is missing.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One about all sides, or none.
    """
    if not len(seen.region.layer("land")):
        return
    shapes = seen.shapes("land")[seen.inside("land")]
    west, south, east, north = seen.bounds
    parts = shapely.clip_by_rect(shapes, west, south, east, north)
    parts = parts[~shapely.is_empty(parts)]
    if not len(parts):
        remedy = "add the coast of these waters, or check the extent"
        yield Finding("land", 0, "", "none of it lies in the extent", remedy, "coast", "wrong")
        return
    low_lon, low_lat, high_lon, high_lat = shapely.total_bounds(parts)
    limit = CHARTED_BARE_SHARE if len(seen.region.layer("depth")) else BARE_SHARE
    sides = [
        (f"{side} {share * 100:.0f} %", shapely.box(*strip))
        for side, share, strip in (
            ("western", (low_lon - west) / (east - west), (west, south, low_lon, north)),
            ("eastern", (east - high_lon) / (east - west), (high_lon, south, east, north)),
            ("southern", (low_lat - south) / (north - south), (west, south, east, low_lat)),
            ("northern", (north - high_lat) / (north - south), (west, high_lat, east, north)),
        )
        if share > limit
    ]
    if sides:
        *most, last = [side for side, _ in sides]
        told = f"{', '.join(most)} and the {last}" if most else last
        problem = f"there is no land in the {told} of the extent: it may be open sea, or a chart may be missing"
        remedy = "add the chart of that part, or narrow the extent to what is charted"
        shape = seen.plane.wrapped(shapely.union_all([strip for _, strip in sides]))
        yield Finding("land", 0, "", problem, remedy, "bare", "unknown", shape)


def find_depth_doubts(seen: Seen) -> Iterator[Finding]:
    """Find water in the extent without charted depth, hairlines apart, and areas whose depths contradict.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        The gaps, the largest first, those beyond the first twenty counted; then one about all contradictions.
    """
    if not len(seen.region.layer("depth")):
        return
    depths = seen.near("depth")
    box = seen.plane.box()
    charted = shapely.union_all(depths)
    gaps = shapely.difference(box, shapely.union_all([charted, *seen.land]))
    # neighbours whose shared edge has corners of its own on one side leave hairline cracks: they are no gaps
    wide = gaps.buffer(-CRACK_M, join_style="mitre").buffer(CRACK_M, join_style="mitre")
    parts = [part for part in shapely.get_parts(wide) if part.geom_type == "Polygon" and not part.is_empty]
    parts.sort(key=lambda part: (-round(part.area), *part.bounds))
    remedy = "closed to every boat unless unsurveyed water is allowed: add its depths"
    for part in parts[:MOST_TOLD]:
        problem = f"{_area(part.area)} of water has no charted depth{_share_of(part.area, box.area)}"
        shape = seen.plane.wrapped(seen.plane.unproject(part.simplify(_DRAWN_WITHIN_M)))
        yield Finding("depth", 0, "", problem, remedy, "depth-gap", "unknown", shape)
    if rest := parts[MOST_TOLD:]:
        problem = f"{len(rest)} more gaps, {_area(sum(part.area for part in rest))} together"
        yield Finding("depth", 0, "", problem, remedy, "depth-gap", "unknown", count=len(rest))
    total = float(shapely.area(depths).sum())
    if total - charted.area > max(_HAIR_M2, _HAIR_SHARE * total):  # something counts twice
        yield from _contradictions(seen, depths)


def _contradictions(seen: Seen, depths: NDArray[np.object_]) -> Iterator[Finding]:
    shallowest = seen.region.layer("depth")["min_depth_m"].to_numpy(dtype=float)
    a, b = meeting_pairs(depths)
    a, b = np.minimum(a, b), np.maximum(a, b)
    meet = shallowest[a] != shallowest[b]
    order = np.lexsort((b[meet], a[meet]))[:_MOST_PAIRS]
    a, b = a[meet][order], b[meet][order]
    common = shapely.intersection(depths[a], depths[b])
    areas, around = shapely.area(common), shapely.length(common)
    over = areas > CRACK_M * around  # a strip's area is its width times half the way round it
    if not over.any():
        return
    largest = int(np.argmax(np.where(over, areas, 0)))
    numbers = [number for number, _ in seen.rows("depth")]
    apart_m = float(np.abs(shallowest[a[over]] - shallowest[b[over]]).max())
    pairs = int(over.sum())
    at_least = "at least " if len(a) == _MOST_PAIRS else ""
    problem = (
        f"{at_least}{pairs} pair{'s' if pairs > 1 else ''} of areas with different depths overlap, "
        f"{_area(float(areas[over].sum()))} together, up to {apart_m:g} m apart; "
        f"the largest overlap is that of rows {numbers[a[largest]]} and {numbers[b[largest]]}"
    )
    shape = seen.plane.wrapped(seen.plane.unproject(common[largest].simplify(_DRAWN_WITHIN_M)))
    remedy = "the shoaler counts; one of them is likely from an older or a coarser chart"
    yield Finding("depth", 0, "", problem, remedy, "depth-overlap", "doubtful", shape)


def _area(square_m: float) -> str:
    if square_m < 10_000:
        return f"{square_m:.0f} m2"
    return f"{square_m / _KM2:.2f} km2" if square_m < 10 * _KM2 else f"{square_m / _KM2:,.0f} km2"


def _share_of(part: Any, whole: Any) -> str:
    share = part / whole * 100
    return f", {share:.0f} % of the extent" if share >= 1 else ""
