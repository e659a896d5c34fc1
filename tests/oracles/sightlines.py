"""All-pairs sight lines over a polygon of whole-number coordinates, the slow way.

Every pair of corners is tried with `shapely.covers`. What touching rings demand beyond that is told by exact angles: a
line through a vertex must stay inside one wedge of water there, and a line that is grazed from both sides is no leg (it
has no width; its parts are legs).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

Point = tuple[int, int]


@dataclass(frozen=True)
class Wedge:
    """Water at one vertex, counter-clockwise from the edge ahead to the edge behind (the water on the left)."""

    at: Point
    ahead: Point
    behind: Point

    @property
    def reflex(self) -> bool:
        """Whether the water spans more than half a turn."""
        return cross(minus(self.ahead, self.at), minus(self.behind, self.at)) < 0

    def holds(self, d: Point) -> bool:
        """Whether a direction points into the wedge, its edges counted."""
        a, b = minus(self.ahead, self.at), minus(self.behind, self.at)
        turn = cross(a, b)
        if turn > 0:
            return cross(a, d) >= 0 and cross(d, b) >= 0
        if turn == 0 and dot(a, b) < 0:  # straight on: the water is all that lies to the left of the edge ahead
            return cross(a, d) >= 0
        return not (cross(b, d) > 0 and cross(d, a) > 0)

    def is_tangent(self, d: Point) -> bool:
        """Whether a line of this direction leaves both edges on one side."""
        a, b = cross(d, minus(self.ahead, self.at)), cross(d, minus(self.behind, self.at))
        return a * b >= 0

    def side(self, d: Point) -> int:
        """+1 where the land lies to the left of a line that passes the vertex within the wedge, -1 to the right."""
        a, b = cross(d, minus(self.ahead, self.at)), cross(d, minus(self.behind, self.at))
        if a or b:
            return 1 if a > 0 or b > 0 else -1
        return -1 if dot(d, minus(self.ahead, self.at)) > 0 else 1


def minus(a: Point, b: Point) -> Point:
    return a[0] - b[0], a[1] - b[1]


def cross(a: Point, b: Point) -> int:
    return a[0] * b[1] - a[1] * b[0]


def dot(a: Point, b: Point) -> int:
    return a[0] * b[0] + a[1] * b[1]


def find_wedges(water: Any) -> list[Wedge]:
    """Walk all rings with the water on the left; every visit of a vertex is a wedge of its own.

    Valid polygons alone: where rings touch at a vertex a ring's own two edges need not bound one wedge of water, so all
    edges are sorted by angle there and paired anew.
    """
    leaving: dict[Point, list[Point]] = {}
    coming: dict[Point, list[Point]] = {}
    for polygon in shapely.get_parts(water):
        for ring, ccw in [(polygon.exterior, True), *((r, False) for r in polygon.interiors)]:
            xy = [(round(x), round(y)) for x, y in (ring.coords if ring.is_ccw == ccw else list(ring.coords)[::-1])]
            for a, b in itertools.pairwise(xy):
                leaving.setdefault(a, []).append(b)
                coming.setdefault(b, []).append(a)
    wedges = []
    for at, ahead in leaving.items():
        for a in ahead:
            behind = min(coming[at], key=lambda b: _turn(minus(a, at), minus(b, at)))
            wedges.append(Wedge(at, a, behind))
    return wedges


def _turn(a: Point, b: Point) -> float:
    """[rad] Counter-clockwise from a to b, over 0 to a whole turn."""
    angle = float(np.arctan2(cross(a, b), dot(a, b)))
    return angle if angle > 0 else angle + 2 * np.pi


class Coast:
    """A polygon with what is asked of it again and again."""

    def __init__(self, water: Any) -> None:
        self.water = water
        self.wedges = find_wedges(water)
        self.at: dict[Point, list[Wedge]] = {}
        for wedge in self.wedges:
            self.at.setdefault(wedge.at, []).append(wedge)
        self._xy = np.array(list(self.at))
        shapely.prepare(water)

    def _between(self, a: Point, b: Point) -> list[Point]:
        """Find the vertices strictly between two points on the line that joins them."""
        d, away = np.array(minus(b, a)), self._xy - np.array(a)
        along = away @ d
        on = (away[:, 0] * d[1] == away[:, 1] * d[0]) & (along > 0) & (along < d @ d)
        return [(int(x), int(y)) for x, y in self._xy[on]]

    def sees(self, a: Point, b: Point, *, slit: bool = False) -> bool:
        """Whether a line runs over water; through slits of no width only if they are asked for."""
        if a == b:
            return True
        if not self.water.covers(shapely.LineString([a, b])):
            return False
        d = minus(b, a)
        sides = set()
        for v in self._between(a, b):
            through = [w for w in self.at[v] if w.holds(d) and w.holds((-d[0], -d[1]))]
            if not through:
                return False
            sides |= {w.side(d) for w in through}
        return slit or len(sides) < 2

    def leg(self, a: Wedge, b: Wedge, *, slit: bool = False) -> bool:
        """Whether two corners see one another, each through its own wedge."""
        d = minus(b.at, a.at)
        if d == (0, 0) or not (a.holds(d) and b.holds((-d[0], -d[1]))):
            return False
        return self.sees(a.at, b.at, slit=slit)

    def tangent_legs(self) -> dict[tuple[Wedge, Wedge], list[Wedge]]:
        """List legs between reflex corners, tangent at both ends, slits too, with the corners they graze.

        The smaller position comes first; corners in between are in order, so a leg with any is the sum of others.
        """
        reflex = [w for w in self.wedges if w.reflex]
        legs = {}
        for a in reflex:
            for b in reflex:
                d = minus(b.at, a.at)
                if a.at < b.at and a.is_tangent(d) and b.is_tangent(d) and self.leg(a, b, slit=True):
                    back = (-d[0], -d[1])
                    between = [
                        w
                        for v in self._between(a.at, b.at)
                        for w in self.at[v]
                        if w.reflex and w.holds(d) and w.holds(back)
                    ]
                    legs[a, b] = sorted(between, key=lambda w: w.at)
        return legs

    def point_legs(self, eye: Point) -> set[Wedge]:
        """Reflex corners that a point sees and is tangent to."""
        found = set()
        for w in self.wedges:
            d = minus(eye, w.at)
            if w.reflex and w.is_tangent(d) and (d == (0, 0) or (w.holds(d) and self.sees(eye, w.at))):
                found.add(w)
        return found

    def sight_graph(self, points: Sequence[Point]) -> nx.Graph:
        """Join all corners, tangent or not, and points that see one another; `nmi` stands for the plane's length."""
        graph = nx.Graph()
        graph.add_nodes_from([*self.wedges, *points])
        for i, a in enumerate(self.wedges):
            for b in self.wedges[i + 1 :]:
                if self.leg(a, b, slit=True):
                    graph.add_edge(a, b, length=float(np.hypot(*minus(a.at, b.at))))
            for p in points:
                d = minus(p, a.at)
                if (d == (0, 0) or a.holds(d)) and self.sees(p, a.at, slit=True):
                    graph.add_edge(a, p, length=float(np.hypot(*d)))
        for i, p in enumerate(points):
            for q in points[i + 1 :]:
                if p != q and self.sees(p, q, slit=True):
                    graph.add_edge(p, q, length=float(np.hypot(*minus(p, q))))
        return graph
