"""Random coasts of whole-number coordinates for hypothesis: islands, holes, slots, collinear runs, touching corners."""

from __future__ import annotations

from typing import Any

import shapely
from hypothesis import strategies as st

SIZE = 24  # steps: small, so that corners fall on one line and on one another often


def _polygons(geometry: Any) -> Any:
    parts = [p for p in shapely.get_parts(shapely.get_parts(geometry)) if p.geom_type == "Polygon" and p.area > 0]
    return shapely.MultiPolygon(parts)


@st.composite
def coasts(draw: st.DrawFn, most_islands: int = 7) -> Any:
    """Draw a sea with boxes, slivers and triangles of land in it, and now and then a lake with an islet in a land."""
    whole = st.integers(0, SIZE)
    lands = []
    for _ in range(draw(st.integers(0, most_islands))):
        x, y = draw(whole), draw(whole)
        kind = draw(st.sampled_from(["box", "wall", "triangle", "atoll"]))
        if kind == "box":
            lands.append(shapely.box(x, y, x + draw(st.integers(1, 8)), y + draw(st.integers(1, 8))))
        elif kind == "wall":
            long = draw(st.integers(2, 20))
            lands.append(
                shapely.box(x, y, x + long, y + 1) if draw(st.booleans()) else shapely.box(x, y, x + 1, y + long)
            )
        elif kind == "triangle":
            lands.append(
                shapely.convex_hull(
                    shapely.MultiPoint([(x, y), (draw(whole), draw(whole)), (draw(whole), draw(whole))])
                )
            )
        else:
            lands.append(
                shapely.box(x, y, x + 7, y + 7).difference(
                    shapely.box(x + 2, y + 2, x + 6, y + draw(st.integers(3, 6)))
                )
            )
    sea = shapely.box(0, 0, SIZE, SIZE).difference(shapely.union_all(lands))
    return _polygons(shapely.set_precision(_polygons(sea), 1.0))


def points(most: int = 4) -> st.SearchStrategy[list[tuple[int, int]]]:
    """Draw whole-number points, in the water or not."""
    return st.lists(st.tuples(st.integers(0, SIZE), st.integers(0, SIZE)), max_size=most, unique=True)
