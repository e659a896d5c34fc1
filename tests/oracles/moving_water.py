"""Water that moves, worked out another way: the triangle by its square, ways by Runge and Kutta, networks path by path.

Nothing of the product's sailing is used: of a network only its nodes and legs are read, of a stream what it predicts
(that is checked against another program elsewhere), once a minute and straight in between.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Geod

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from layers.plane import Plane
    from routeplan.conditions import Conditions
    from routeplan.network import Network

    Along = Callable[[float], tuple[float, float]]  # [h] -> [kn] east and north

GEOD = Geod(ellps="WGS84")
NMI_M = 1852.0  # [m/nmi] exact
_MINUTE_H = 1 / 60


def made_good_kn(through_kn: float, track_deg: float, east_kn: float, north_kn: float) -> float:
    """[kn] The greater root g of |g u - c| = V; 0 where there is none, or none that gets the boat on by 0.1 kn."""
    u = (math.sin(math.radians(track_deg)), math.cos(math.radians(track_deg)))
    half = u[0] * east_kn + u[1] * north_kn
    left = half**2 - (east_kn**2 + north_kn**2 - through_kn**2)
    if left <= 0:
        return 0.0
    made = half + math.sqrt(left)
    return made if made >= 0.1 else 0.0


@dataclass
class Minutes:
    """A stream once a minute of a span."""

    east_kn: np.ndarray
    north_kn: np.ndarray

    @classmethod
    def of(cls, conditions: Conditions, index: int) -> Minutes:
        """Read one area's stream off."""
        assert conditions.currents is not None
        times = conditions.begin.timestamp() + 60.0 * np.arange(round(conditions.hours * 60) + 2)
        east, north = conditions.currents.streams[index].east_north_kn(times).T
        return cls(east, north)

    def at(self, hour: float) -> tuple[float, float]:
        """[kn] East and north, so many hours after the beginning."""
        at = hour / _MINUTE_H
        i = int(at)
        share = at - i
        east = self.east_kn[i] + share * (self.east_kn[i + 1] - self.east_kn[i])
        north = self.north_kn[i] + share * (self.north_kn[i + 1] - self.north_kn[i])
        return float(east), float(north)


def run(nmi: float, track_deg: float, through_kn: float, leave_h: float, stream: Along, steps: int = 12) -> float:
    """[h] When a piece in one stream ends: dt/ds = 1 / g(t), by Runge and Kutta's fourth order; infinity if stopped."""

    def slowness(hour: float) -> float:
        made = made_good_kn(through_kn, track_deg, *stream(hour))
        return 1 / made if made > 0 else math.inf

    at, step = leave_h, nmi / steps
    for _ in range(steps):
        k1 = slowness(at)
        if math.isinf(k1):
            return math.inf
        k2 = slowness(at + step * k1 / 2)
        if math.isinf(k2):
            return math.inf
        k3 = slowness(at + step * k2 / 2)
        if math.isinf(k3):
            return math.inf
        k4 = slowness(at + step * k3)
        if math.isinf(k4):
            return math.inf
        at += step * (k1 + 2 * k2 + 2 * k3 + k4) / 6
    return at


@dataclass
class Span:
    """A stretch of a leg in one stream."""

    nmi: float
    track_deg: float
    area: int  # -1 in still water


def spans_of(plane: Plane, shapes: Iterable[shapely.Geometry], a: np.ndarray, b: np.ndarray) -> list[Span]:
    """Cut a leg where it enters and leaves areas that don't touch one another."""
    line = shapely.LineString([a, b])
    cuts = {0.0, 1.0}
    shapes = list(shapes)
    for shape in shapes:
        met = shapely.get_coordinates(line.intersection(shape.boundary))
        cuts |= {float(np.hypot(*(p - a)) / line.length) for p in met}
    shares = sorted(cuts)
    found = []
    for low, high in pairwise(shares):
        ends = plane.to_lonlat(np.array([a + (b - a) * low, a + (b - a) * high]))
        course, back, metres = GEOD.inv(*ends[0], *ends[1])
        course += math.remainder(back + 180 - course, 360) / 2  # half way: a geodesic's course turns
        middle = shapely.Point(a + (b - a) * (low + high) / 2)
        area = next((i for i, shape in enumerate(shapes) if shape.intersects(middle)), -1)
        found.append(Span(metres / NMI_M, course, area))
    return found


@dataclass
class EveryPath:
    """All simple paths over a network's legs, each run by the clock."""

    network: Network
    conditions: Conditions
    through_kn: float
    slow_kn: float
    runs: int = 0
    _spans: dict[tuple[int, int], list[Span]] = field(default_factory=dict)

    @cached_property
    def minutes(self) -> list[Minutes]:
        """Each area's stream."""
        assert self.conditions.currents is not None
        return [Minutes.of(self.conditions, i) for i in range(len(self.conditions.currents.streams))]

    @cached_property
    def beside(self) -> dict[int, list[int]]:
        """The nodes that each node has legs to."""
        found: defaultdict[int, list[int]] = defaultdict(list)
        for a, b in self.network.legs.tolist():
            found[a].append(b)
            found[b].append(a)
        return found

    def along(self, spans: list[Span], at_h: float, kn: float) -> float:
        """[h] When some stretches, left then, are behind."""
        self.runs += 1
        for span in spans:
            if span.area < 0:
                at_h += span.nmi / kn
            else:
                at_h = run(span.nmi, span.track_deg, kn, at_h, self.minutes[span.area].at)
            if math.isinf(at_h):
                break
        return at_h

    def _cut(self, a: np.ndarray, b: np.ndarray) -> list[Span]:
        assert self.conditions.currents is not None
        return spans_of(self.network.water.plane, self.conditions.currents.shapes, a, b)

    def leg(self, a: int, b: int, at_h: float) -> float:
        """[h] When a leg, left then, is behind."""
        if (a, b) not in self._spans:
            self._spans[a, b] = self._cut(self.network.nodes[a], self.network.nodes[b])
        return self.along(self._spans[a, b], at_h, self.through_kn)

    def find(self, source: int, target: int, leave_h: float) -> float:
        """[h] The earliest arrival of all simple paths; a path is left where it can't become the best."""
        starts, ends = (self.network.terminals[t] for t in (source, target))
        last = defaultdict(list)
        for approach, node in zip(ends.attachment.approaches, ends.entries, strict=True):
            last[node].append(approach)
        best = math.inf
        fastest = self.through_kn + max(float(np.hypot(m.east_kn, m.north_kn).max()) for m in self.minutes)
        away = self.network.nodes - np.array(ends.attachment.approaches[0].start)
        least_h = 0.999 * np.hypot(*away.T) / NMI_M / fastest  # straight on, with the fastest stream of all

        def go(node: int, at_h: float, passed: frozenset[int]) -> None:
            nonlocal best
            for approach in last[node]:
                best = min(best, self._approach(approach.entry, approach.start, at_h))
            after = [(self.leg(node, other, at_h), other) for other in self.beside[node] if other not in passed]
            for there_h, other in sorted(after):
                if there_h + least_h[other] < best:
                    go(other, there_h, passed | {other})

        for approach, node in zip(starts.attachment.approaches, starts.entries, strict=True):
            go(node, self._approach(approach.start, approach.entry, leave_h), frozenset({node}))
        return best

    def _approach(self, a: tuple[float, float], b: tuple[float, float], at_h: float) -> float:
        if a == b:
            return at_h
        return self.along(self._cut(np.array(a), np.array(b)), at_h, self.slow_kn)
