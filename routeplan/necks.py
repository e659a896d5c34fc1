"""Necks of water: what lies beyond the fringe of wider water, with the mouths it opens into and the banks it has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

__all__ = ["Neck", "find_necks"]

_SLIT_M = 0.1  # [m] what rounding may leave between two shapes that touch
_SHORTEST_M = 2.0  # [m] a mouth or a bank shorter than this is rounding


@dataclass(frozen=True, eq=False)
class Neck:
    """A piece of water beyond the fringe of wider water.

    Parameters
    ----------
    shape
        [m] The piece.
    mouths
        [m] Where it meets the fringe, each stretch by itself.
    banks
        [m] The rest of its edge, each stretch by itself.
    """

    shape: shapely.Polygon
    mouths: tuple[shapely.LineString, ...]
    banks: tuple[shapely.LineString, ...]

    @property
    def leads_through(self) -> bool:
        """Whether it is a channel, with two mouths or more, and not the end of a creek or a corner of a bay."""
        return len(self.mouths) > 1 and len(self.banks) > 1


def find_necks(water: shapely.MultiPolygon, wider: shapely.Geometry, fringe_m: float, grid_m: float) -> list[Neck]:
    """Find the pieces of water that lie further from wider water than its fringe along open shores does.

    Parameters
    ----------
    water
        [m] All of it.
    wider
        [m] Part of it that has room.
    fringe_m
        [m] How wide the fringe around that is.
    grid_m
        [m] Step of the grid that the pieces are cut on.

    Returns
    -------
    The pieces; none where no water has room.
    """
    fringe = wider.buffer(fringe_m)
    if fringe.is_empty:
        return []
    corners = [shapely.get_coordinates(ring) for ring in shapely.get_parts(fringe.boundary)]
    edges = shapely.linestrings(np.concatenate([np.stack([c[:-1], c[1:]], axis=1) for c in corners]))
    tree = shapely.STRtree(edges)
    necks = []
    for piece in shapely.get_parts(shapely.difference(water, fringe, grid_size=grid_m)):
        if piece.geom_type != "Polygon":
            continue
        near = edges[tree.query(piece.buffer(2 * _SLIT_M))]  # the whole fringe for every piece would take minutes
        fringe_edge = shapely.union_all(near).buffer(_SLIT_M)
        mouths, banks = piece.boundary.intersection(fringe_edge), piece.boundary.difference(fringe_edge)
        necks.append(Neck(piece, _pieces(mouths), _pieces(banks)))
    return necks


def _pieces(line: shapely.Geometry) -> tuple[shapely.LineString, ...]:
    merged = shapely.line_merge(line) if line.geom_type == "MultiLineString" else line
    return tuple(p for p in shapely.get_parts(merged) if p.geom_type == "LineString" and p.length > _SHORTEST_M)
