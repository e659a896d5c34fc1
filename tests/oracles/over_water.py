"""What the way to a point of the water costs, one point at a time, the slow way; and an area judged by it.

Networkx finds the least price of every node over the network's legs and gates. A point then costs the least, over all
nodes that it sees, of the node's price and the straight way between: a sight is a line that the water covers, for
shapely; its length is the geodesic's, for pyproj, split by the limits it runs through. Nodes that can't give the least
aren't tried; nothing else is left out. No mesh, no cones, no tangents, no circles.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import shapely
from pyproj import Geod, Transformer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.network import Network

    Points = NDArray[np.float64]

GEOD = Geod(ellps="WGS84")
NMI_M = 1852.0  # [m/nmi] exact
HAIR_M = 0.01  # [m] a sight along the water's edge may leave it by so much: a step of the grid
_SLACK = 1e-4  # relative: by how much the plane's scale may pass those sampled
_ON_EDGE_M = 1e-6  # [m] a point so near to an area, such as a corner of its edge, counts as claimed
_HOME = -1  # stands for all places that ways begin at


@dataclass(frozen=True)
class Tariff:
    """What ways are charged: a mile in open water, then under each limit; the same of slow miles; an hour's waiting."""

    per_nmi: tuple[float, ...]
    slow_per_nmi: tuple[float, ...]
    per_waited_h: float

    @classmethod
    def plain(cls, network: Network) -> Tariff:
        """Charge nothing but the distance."""
        ones = (1.0,) * (1 + len(network.water.speed_areas))
        return cls(ones, ones, 0.0)


def litres_tariff(network: Network, speed_kn: float) -> Tariff:
    """[l] Work out what miles, slow miles and an hour's waiting burn, from the boat's table and the limits in force."""
    boat = network.boat
    speeds = _speeds(network, speed_kn), _speeds(network, min(boat.no_wake_kn, speed_kn))
    per_nmi, slow_per_nmi = (tuple(boat.burn_lph(kn) / kn for kn in several) for several in speeds)
    return Tariff(per_nmi, slow_per_nmi, boat.burn.idle_lph)


def hours_tariff(network: Network, speed_kn: float) -> Tariff:
    """[h] Work out how long miles, slow miles and an hour's waiting take."""
    speeds = _speeds(network, speed_kn), _speeds(network, min(network.boat.no_wake_kn, speed_kn))
    per_nmi, slow_per_nmi = (tuple(1 / kn for kn in several) for several in speeds)
    return Tariff(per_nmi, slow_per_nmi, 1.0)


def _speeds(network: Network, fastest_kn: float) -> tuple[float, ...]:
    """[kn] Speeds made in open water and under each limit."""
    limits = [float("inf"), *(area.limit_kn for area in network.water.speed_areas)]
    return tuple(network.boat.steady_kn(min(fastest_kn, limit)) for limit in limits)


@dataclass(frozen=True)
class Judgement:
    """How an area stands to the prices of points: indices of those it claims and oughtn't, and of those it misses."""

    claimed: int
    left_out: int
    over_claimed: tuple[int, ...]
    missed: tuple[int, ...]


class WaysOut:
    """The least price from some places to nodes and points.

    Parameters
    ----------
    network
        The boat's network; its legs, gates and approaches are read.
    sources
        Indices of the terminals that ways begin at.
    tariff
        What is charged.
    most
        Ways that cost more aren't followed.
    """

    def __init__(self, network: Network, sources: Sequence[int], tariff: Tariff, most: float) -> None:
        water = network.water
        self._limits = [area.shape for area in water.speed_areas]
        self._to_globe = Transformer.from_crs(water.plane.crs, "EPSG:4326", always_xy=True)
        self._tariff, self.most = tariff, most
        least_rate = min(*tariff.per_nmi, *tariff.slow_per_nmi)
        self._least_per_m = least_rate * self._least_nmi_per_m(water.navigable.bounds)
        self._room = water.navigable.buffer(HAIR_M, join_style="mitre")
        shapely.prepare(self._room)
        out = [
            (_HOME, entry, float(self._straight(approach.start, approach.entry, tariff.slow_per_nmi)[0]))
            for terminal in (network.terminals[source] for source in sources)
            for approach, entry in zip(terminal.attachment.approaches, terminal.entries, strict=True)
        ]
        near = np.zeros(len(network.nodes), dtype=bool)  # others are too far even as the crow flies
        for _, entry, price in out:
            near |= price + self._least(network.nodes, network.nodes[entry]) <= most
        legs = near[network.legs].all(axis=1)
        prices = network.lengths_nmi[legs] @ np.array(tariff.per_nmi)
        graph = nx.Graph()
        _join(graph, out)
        _join(graph, zip(*network.legs[legs].T.tolist(), prices.tolist(), strict=True))
        for gate in network.gate_legs:
            slowly = float(self._straight(gate.path[:-1], gate.path[1:], tariff.slow_per_nmi).sum())
            waited_h = water.gates[gate.gate].wait_h
            _join(graph, [(*gate.nodes, slowly + waited_h * tariff.per_waited_h)])
        found = nx.single_source_dijkstra_path_length(graph, _HOME, cutoff=most) if _HOME in graph else {}
        found.pop(_HOME, None)
        self.away: dict[int, float] = found
        self.nodes = network.nodes[list(found)].reshape(-1, 2)
        self.paid = np.array(list(found.values()), dtype=float)

    def by_way_of(self, points: Points) -> WaysOut:
        """Let ways bend at more points too, each at its own least price."""
        prices = self.prices(points)
        reached = np.isfinite(prices)
        more = copy(self)
        more.nodes = np.vstack([self.nodes, points[reached]])
        more.paid = np.concatenate([self.paid, prices[reached]])
        return more

    def lengths_nmi(self, a: Any, b: Any) -> Points:
        """[nmi] Geodesic lengths between points of the plane."""
        (lon, lat), (far_lon, far_lat) = (
            self._to_globe.transform(*np.asarray(xy, dtype=float).reshape(-1, 2).T) for xy in (a, b)
        )
        return np.asarray(GEOD.inv(lon, lat, far_lon, far_lat)[2], dtype=float) / NMI_M

    def prices(self, points: Any) -> Points:
        """Tell what the way to each point of the plane costs; infinity beyond the most, or where there is none."""
        return np.array([self._price(point) for point in np.asarray(points, dtype=float).reshape(-1, 2)])

    def _price(self, point: Points) -> float:
        least = self.paid + self._least(self.nodes, point)
        order = np.argsort(least, kind="stable")
        order = order[least[order] <= self.most]
        best, at, batch = float("inf"), 0, 8
        while at < len(order) and least[order[at]] < best:
            tried = order[at : at + batch]
            at, batch = at + batch, 2 * batch
            ends = np.stack([self.nodes[tried], np.broadcast_to(point, (len(tried), 2))], axis=1)
            seen = shapely.covers(self._room, shapely.linestrings(ends))
            if seen.any():
                near = tried[seen]
                rates = self._tariff.per_nmi
                best = min(best, float((self.paid[near] + self._straight(self.nodes[near], point, rates)).min()))
        return best if best <= self.most else float("inf")

    def _least_nmi_per_m(self, bounds: tuple[float, float, float, float]) -> float:
        """Bound the geodesic length of a metre of the plane from below, by short lines all over the water."""
        west, south, east, north = bounds
        x, y = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
        at = np.column_stack([x.ravel(), y.ravel()])
        return float(self.lengths_nmi(at, at + np.array([100.0, 0.0])).min()) / 100.0 * (1 - _SLACK)

    def _least(self, nodes: Points, point: Points) -> Points:
        """Bound the price of straight ways from below by their length in the plane."""
        return np.asarray(np.hypot(*(nodes - point).T) * self._least_per_m)

    def _straight(self, a: Any, b: Any, rates: tuple[float, ...]) -> Points:
        """Charge straight lines, each by its shares of open water and of the limits it runs through."""
        start = np.asarray(a, dtype=float).reshape(-1, 2)
        end = np.broadcast_to(np.asarray(b, dtype=float).reshape(-1, 2), start.shape)
        whole = self.lengths_nmi(start, end)
        price = whole * rates[0]
        if self._limits:
            lines = shapely.linestrings(np.stack([start, end], axis=1))
            metres = np.maximum(shapely.length(lines), 1e-9)
            for shape, rate in zip(self._limits, rates[1:], strict=True):
                share = shapely.length(shapely.intersection(lines, shape)) / metres
                price += whole * share * (rate - rates[0])
        return price


def _join(graph: nx.Graph, edges: Any) -> None:
    """Add edges; of two between the same nodes the cheaper counts."""
    for a, b, price in edges:
        if not graph.has_edge(a, b) or price < graph[a][b]["weight"]:
            graph.add_edge(a, b, weight=price)


def judge(
    area: Any, points: Any, prices: Points, budget: float, *, arcs: float, rounding: float, hair_m: float
) -> Judgement:
    """Hold an area against the prices of points.

    Parameters
    ----------
    area
        [m] What is claimed to cost no more than the budget.
    points
        [m] n x 2.
    prices
        Of each point.
    budget
        The budget.
    arcs
        By how much less than the budget a point may cost and yet be left out.
    rounding
        By how much more it may cost and yet be claimed.
    hair_m
        [m] How far off the area a point may lie and yet not be missed: rounding along a shore.

    Returns
    -------
    The judgement.
    """
    shapely.prepare(area)
    claimed = shapely.dwithin(area, shapely.points(points), _ON_EDGE_M)
    over = np.flatnonzero(claimed & (prices > budget + rounding))
    off = ~shapely.dwithin(area, shapely.points(points), hair_m)
    missed = np.flatnonzero(off & (prices < budget - arcs))
    return Judgement(int(claimed.sum()), int((~claimed).sum()), tuple(over.tolist()), tuple(missed.tolist()))


def strew(water: Any, window: tuple[float, float, float, float], count: int, rng: np.random.Generator) -> Points:
    """[m] Draw points of the water evenly over a window."""
    shapely.prepare(water)
    found = np.empty((0, 2))
    while len(found) < count:
        tried = rng.uniform(window[:2], window[2:], (4 * count, 2))
        found = np.vstack([found, tried[shapely.contains_xy(water, tried)]])
    return found[:count]


def some_corners(area: Any, count: int, rng: np.random.Generator) -> Points:
    """[m] Choose corners of an area: of all that it claims, they lie the farthest out."""
    return np.asarray(rng.choice(shapely.get_coordinates(area), count))


def strew_near_edge(area: Any, water: Any, count: int, rng: np.random.Generator, within_m: float = 30.0) -> Points:
    """[m] Draw points of the water near an area's edge, on both sides.

    A third of them where the edge isn't the shore, a third where it meets the shore, the others anywhere along it.
    """
    edge = area.boundary
    off_shore = shapely.line_merge(edge.difference(water.boundary.buffer(1.0)))
    tips = shapely.MultiPoint([xy for part in shapely.get_parts(off_shore) for xy in (part.coords[0], part.coords[-1])])
    at_shore = shapely.intersection(edge, tips.buffer(3 * within_m))
    shapely.prepare(water)
    found = np.empty((0, 2))
    for lines, wanted in ((off_shore, count // 3), (at_shore, 2 * (count // 3)), (edge, count)):
        parts = np.array([part for part in shapely.get_parts(lines) if part.length > 0], dtype=object)
        ends = np.cumsum(shapely.length(parts))
        while len(found) < wanted and len(parts):
            along = rng.uniform(0, ends[-1], 4 * count)
            part = np.minimum(np.searchsorted(ends, along), len(parts) - 1)
            feet = shapely.get_coordinates(shapely.line_interpolate_point(parts[part], ends[part] - along))
            turn = rng.uniform(0, 2 * np.pi, len(feet))
            off = np.column_stack([np.cos(turn), np.sin(turn)]) * rng.uniform(0, within_m, len(feet))[:, None]
            tried = (feet + off)[shapely.contains_xy(water, feet + off)]
            found = np.vstack([found, tried[: wanted - len(found)]])
    return found
