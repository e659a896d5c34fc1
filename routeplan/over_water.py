"""How far a boat gets over water on a budget: exact areas, drawn from the network's corners.

Every shortest way ends with a straight stretch from a source or from the corner that it last bent round. So what is
in reach is what the sources see, and what the corners see of the water hidden from where each was reached from, all of
it cut off where the budget ends.

References
----------
Bungiu and others (see `routeplan.wedges`); the shortest path map: Hershberger and Suri, An optimal algorithm for
Euclidean shortest paths in the plane, SIAM Journal on Computing 28 (6), 1999.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csgraph

from layers.plane import METRES_PER_NMI
from routeplan.arcs import Disks, narrowest_scale, sector_polygons, widest_scale
from routeplan.leg_graph import LegGraph, Price
from routeplan.mesh import build_mesh
from routeplan.network import split_by_speed_area
from routeplan.overlays import polygons_of, unite
from routeplan.wedges import all_round, all_through, expand, round_corner

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.mesh import Corner, Mesh
    from routeplan.network import Network
    from routeplan.wedges import Cone

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["ARC_TOLERANCE_M", "Limit", "Spread", "Views", "find_views", "reach_within", "spread", "water_within"]

ARC_TOLERANCE_M = 5.0  # [m] how far the chords of a range's arcs lie inside it at the most
_LEAST_M = 1.0  # [m] an eye that reaches less far adds nothing
_ON_EDGE_STEPS = 1.5  # of the grid: points rounded to it lie no further from the edge they were put on
_EDGE_M = 1.0  # [m] samples lie on the edge of a limit, points that skirt it further off
_ARC_NMI = 5e-5  # [nmi] a corner so near to the distance is an arc's
_SAME_PRICE = 1e-9  # prices that differ by less are the same
_WITHIN_NMI = 1e-6  # [nmi] of a leg that may lie elsewhere, by rounding, and the leg still counts as one water's


@dataclass(frozen=True, eq=False)
class Limit:
    """What ways may cost by another price than the one that is least.

    Parameters
    ----------
    price
        The other price.
    away
        What the way to each node costs by it.
    most
        In its unit.
    """

    price: Price
    away: Points
    most: float


@dataclass(frozen=True, eq=False)
class Spread:
    """The least price of every node of a network.

    Parameters
    ----------
    network
        The network.
    price
        What is least.
    away
        Price of the way to each node from the nearest source; infinity beyond the limit.
    before
        The node, or after the nodes the terminal, that each is reached from; negative where none.
    source
        Index of the terminal that each is reached from in the end; negative where none.
    limit
        What else the same ways may cost at the most; None where nothing else counts.
    """

    network: Network
    price: Price
    away: Points
    before: Indices
    source: Indices
    limit: Limit | None = None

    def along(self, price: Price) -> Points:
        """Price the same ways by another price.

        Parameters
        ----------
        price
            The other price.

        Returns
        -------
        What the way to each node costs; infinity where there is none.
        """
        legs = _leg_graph(self.network)
        reached = np.flatnonzero(np.isfinite(self.away))
        nodes = self.network.nodes
        before = self.before[reached]
        straight = np.flatnonzero(before < legs.first)
        lengths = split_by_speed_area(self.network.water, nodes[before[straight]], nodes[reached[straight]])
        steps = np.zeros(len(reached))
        steps[straight] = lengths @ price.per_nmi
        gates = {pair: gate for gate in self.network.gate_legs for pair in (gate.nodes, gate.nodes[::-1])}
        for i, (last, node) in enumerate(zip(before.tolist(), reached.tolist(), strict=True)):
            if last >= legs.first:
                terminal = self.network.terminals[last - legs.first]
                approach = terminal.attachment.approaches[terminal.entries.index(node)]
                steps[i] = legs.slow_price((approach.start, approach.entry), price)
            elif (last, node) in gates:
                gate = gates[last, node]
                if legs.gate_price(gate, self.price) <= self.away[node] - self.away[last] + _SAME_PRICE:
                    steps[i] = legs.gate_price(gate, price)
        found = np.full(len(self.away), np.inf)
        for i in np.argsort(self.away[reached], kind="stable").tolist():
            last = before[i]
            found[reached[i]] = steps[i] + (found[last] if last < legs.first else 0.0)
        return found

    def limited(self, price: Price, most: float) -> Spread:
        """Limit what the same ways cost by another price.

        Parameters
        ----------
        price
            The other price.
        most
            In its unit.

        Returns
        -------
        The spread with the limit.
        """
        return replace(self, limit=Limit(price, self.along(price), most))

    def left_nmi(self, nodes: Indices, kind: int, budget: float) -> Points:
        """[nmi] Tell how far ways go on from nodes.

        Parameters
        ----------
        nodes
            The nodes.
        kind
            Of the water that they go on in.
        budget
            In the price's unit.

        Returns
        -------
        Miles until the budget, or the limit, is spent; negative where it is already.
        """
        left = (budget - self.away[nodes]) / float(self.price.per_nmi[kind])
        if self.limit is None:
            return np.asarray(left)
        other = (self.limit.most - self.limit.away[nodes]) / float(self.limit.price.per_nmi[kind])
        return np.asarray(np.minimum(left, other))

    @cached_property
    def lookouts(self) -> tuple[_Lookout, ...]:
        """Where nodes look on to, for each cell of one rate: found once, whatever budgets are asked for."""
        reached = np.flatnonzero(np.isfinite(self.away))
        return tuple(_look(self, cell, reached) for cell in _cells(self.network, _dearer_kinds(self.price)))


@dataclass(frozen=True, eq=False)
class Views:
    """What the nodes of a spread see of the water that their ways go on to.

    Parameters
    ----------
    shapes
        [m] Polygons in the plane.
    node
        The node that looks, for each.
    rate
        Price of a mile in each: a view never leaves water of one rate.
    """

    shapes: NDArray[np.object_]
    node: Indices
    rate: Points

    def near(self, area: shapely.Geometry) -> Views:
        """Keep the views that lie in an area's box, at least in part.

        Parameters
        ----------
        area
            [m] A geometry in the plane.

        Returns
        -------
        Fewer views.
        """
        kept = shapely.intersects(shapely.box(*area.bounds), self.shapes)
        return Views(self.shapes[kept], self.node[kept], self.rate[kept])


@dataclass(frozen=True, eq=False)
class _Lookout:
    """Nodes that look on into one cell, and the cones that they begin with: m x 5, and whose each is."""

    cell: _Cell
    nodes: Indices
    of: Indices
    cones: Points


@dataclass(frozen=True, eq=False)
class _Cell:
    """Water of one rate.

    Parameters
    ----------
    kind
        The speed area, 0 for open water.
    mesh
        Its triangles.
    whole
        Whether all water is of this rate.
    corner
        The corner of the mesh at each of the network's nodes that is one, its edges the same.
    others
        Corners that are no nodes, by position: those where the cell's own edge begins, for one.
    node
        The node at each corner of the mesh, or -1.
    spans_nmi
        [nmi] How far each triangle reaches from each of its vertices, at the most: m x 3.
    """

    kind: int
    mesh: Mesh
    whole: bool
    corner: dict[int, Corner]
    others: dict[tuple[float, float], list[Corner]]
    node: Indices
    spans_nmi: Points


def spread(
    network: Network,
    sources: Sequence[int],
    price: Price,
    limit: float = np.inf,
    shut: frozenset[int] = frozenset(),
) -> Spread:
    """Find the least price of the way to every node.

    Parameters
    ----------
    network
        The network.
    sources
        Indices of the terminals to begin at.
    price
        What is to be least.
    limit
        Nodes beyond this price are left out.
    shut
        Gates that aren't passed.

    Returns
    -------
    The prices, from whichever source is nearest.
    """
    legs = _leg_graph(network)
    if not sources:
        none = np.full(legs.first, -1)
        return Spread(network, price, np.full(legs.first, np.inf), none, none)
    away, before, source = csgraph.dijkstra(
        legs.weigh(price, shut),
        directed=True,
        indices=[legs.first + s for s in sources],
        return_predecessors=True,
        limit=limit,
        min_only=True,
    )
    begun = source[: legs.first].astype(np.int64) - legs.first
    return Spread(network, price, away[: legs.first], before[: legs.first].astype(np.int64), np.maximum(begun, -1))


def water_within(spread: Spread, budget: float, arc_tolerance_m: float = ARC_TOLERANCE_M) -> shapely.MultiPolygon:
    """Draw all water whose price is within a budget.

    Parameters
    ----------
    spread
        Prices of the nodes.
    budget
        In the price's unit.
    arc_tolerance_m
        [m] How far the chords of arcs may lie inside them.

    Returns
    -------
    [m] A subset of the boat's navigable water, in the plane: nothing in it is dearer than the budget.

    Notes
    -----
    Exact but for the arcs where all water has one rate. Where speed limits hold, ways from one rate to another pass
    through the samples on the edge between: the area lies a little inside the truth.
    """
    shapes = [shape for drawing in _draw(spread, budget, arc_tolerance_m) for shape in drawing.shapes()]
    return unite(shapes, spread.network.water.grid_m)


def reach_within(
    spread: Spread, budget: float, arc_tolerance_m: float = ARC_TOLERANCE_M
) -> tuple[shapely.MultiPolygon, float]:
    """Draw all water whose price is within a budget, and tell how long the longest way to its edge is.

    Parameters
    ----------
    spread, budget, arc_tolerance_m
        As for `water_within`.

    Returns
    -------
    The area, and [nmi] the length over water of the longest of the ways that it is drawn from.
    """
    network = spread.network
    drawings = _draw(spread, budget, arc_tolerance_m)
    run_nmi = spread.along(Price.of_distance(network))
    passed = np.flatnonzero(np.isfinite(run_nmi))
    farthest_nmi = float(run_nmi[passed[spread.left_nmi(passed, 0, budget) >= 0]].max(initial=0.0))
    for drawing in drawings:
        corners, of = shapely.get_coordinates(drawing.views, return_index=True)
        if len(corners):
            eyes = drawing.node[of]
            nearly = run_nmi[eyes] + np.hypot(*(corners - network.nodes[eyes]).T) / METRES_PER_NMI
            last = slice(int(np.argmax(nearly)), int(np.argmax(nearly)) + 1)
            straight_nmi = network.water.plane.lengths_nmi(network.nodes[eyes[last]], corners[last])
            left_nmi = spread.left_nmi(eyes[last], drawing.cell.kind, budget)
            on_arc = left_nmi - straight_nmi < _ARC_NMI  # arcs are drawn a hair inside the distance
            farthest_nmi = max(farthest_nmi, float((run_nmi[eyes[last]] + np.where(on_arc, left_nmi, straight_nmi))[0]))
    shapes = [shape for drawing in drawings for shape in drawing.shapes()]
    return unite(shapes, network.water.grid_m), farthest_nmi


@dataclass(frozen=True, eq=False)
class _Drawing:
    """What is in reach of one cell: triangles as a whole, and views of the rest by the node that looks."""

    cell: _Cell
    known: NDArray[np.bool_]
    views: NDArray[np.object_]
    node: Indices

    def shapes(self) -> list[shapely.Geometry]:
        mesh = self.cell.mesh
        triangles = shapely.polygons(mesh.positions[mesh.triangles[self.known]] * mesh.grid_m)
        return [shapely.coverage_union_all(triangles), *self.views]


def _draw(spread: Spread, budget: float, arc_tolerance_m: float) -> list[_Drawing]:
    drawings = []
    for lookout in spread.lookouts:
        known = _settled(spread, lookout.cell, budget)
        drawings.append(_Drawing(lookout.cell, known, *_views(spread, lookout, budget, arc_tolerance_m, known)))
    return drawings


def find_views(spread: Spread, budget: float, arc_tolerance_m: float = ARC_TOLERANCE_M) -> Views:
    """Draw what each node that the budget reaches sees of the water that ways go on to.

    Parameters
    ----------
    spread
        Prices of the nodes.
    budget
        In the price's unit.
    arc_tolerance_m
        [m] How far the chords of arcs may lie inside them.

    Returns
    -------
    The views; they overlap.
    """
    shapes, nodes, rates = [], [], []
    for lookout in spread.lookouts:
        drawn, node = _views(spread, lookout, budget, arc_tolerance_m)
        shapes.append(drawn)
        nodes.append(node)
        rates.append(np.full(len(drawn), float(spread.price.per_nmi[lookout.cell.kind])))
    if not shapes:
        return Views(np.empty(0, dtype=object), np.empty(0, dtype=np.int64), np.empty(0))
    return Views(np.concatenate(shapes), np.concatenate(nodes), np.concatenate(rates))


def _views(
    spread: Spread,
    lookout: _Lookout,
    budget: float,
    arc_tolerance_m: float,
    known: NDArray[np.bool_] | None = None,
) -> tuple[NDArray[np.object_], Indices]:
    """Draw what nodes see of one cell, but for triangles that are known to lie in reach; and the node of each shape."""
    network = spread.network
    plane, grid_m = network.water.plane, network.water.grid_m
    radius_nmi = spread.left_nmi(lookout.nodes, lookout.cell.kind, budget)
    kept = radius_nmi * METRES_PER_NMI > _LEAST_M
    eyes, radius_nmi = lookout.nodes[kept], radius_nmi[kept]
    looking = kept[lookout.of]
    of = (np.cumsum(kept) - 1)[lookout.of[looking]]
    ranges = radius_nmi * METRES_PER_NMI * widest_scale(plane) / grid_m
    sectors = expand(lookout.cell.mesh, _steps(network, eyes), of, lookout.cones[looking], ranges, known)
    disks = Disks.of(plane, network.nodes[eyes], radius_nmi)
    drawn, owner = sector_polygons(disks, sectors, grid_m, arc_tolerance_m)
    return drawn, eyes[owner]


def _settled(spread: Spread, cell: _Cell, budget: float) -> NDArray[np.bool_]:
    """Tell which triangles lie in reach as a whole: all of one is seen from its corners, and one is near enough."""
    corner = np.asarray(cell.mesh.corner_of, dtype=np.int64).reshape(-1, 3)
    node = cell.node[corner]
    left_nmi = np.where(node >= 0, spread.left_nmi(node, cell.kind, budget), -np.inf)
    return np.asarray((cell.spans_nmi <= left_nmi).any(axis=1))


def _dearer_kinds(price: Price) -> frozenset[int]:
    """Name the speed areas whose water has another rate than open water."""
    return frozenset(kind for kind, rate in enumerate(price.per_nmi) if rate != price.per_nmi[0])


@lru_cache(maxsize=4)
def _leg_graph(network: Network) -> LegGraph:
    return LegGraph(network)


@lru_cache(maxsize=4)
def _cells(network: Network, apart: frozenset[int]) -> tuple[_Cell, ...]:
    """Divide the navigable water by rate."""
    water = network.water
    if not apart:
        return (_cell(network, 0, network.mesh, whole=True),)
    areas = {kind: water.speed_areas[kind - 1].shape for kind in sorted(apart)}
    pieces = {0: water.navigable.difference(shapely.union_all(list(areas.values())))}
    pieces |= {kind: water.navigable.intersection(shape) for kind, shape in areas.items()}
    meshes = {
        kind: build_mesh(polygons_of(shapely.set_precision(piece, water.grid_m)), water.grid_m)
        for kind, piece in pieces.items()
    }
    return tuple(_cell(network, kind, mesh, whole=False) for kind, mesh in meshes.items() if len(mesh.corners))


def _cell(network: Network, kind: int, mesh: Mesh, *, whole: bool) -> _Cell:
    """Find the network's corners in a cell's mesh, by position and edges: where islands touch there are two."""
    reflex = [corner for corner in network.mesh.corners if corner.reflex]
    nodes = {_place(network.mesh, corner): node for node, corner in enumerate(reflex)}
    node = np.array([nodes.get(_place(mesh, corner), -1) for corner in mesh.corners], dtype=np.int64)
    corners: dict[int, Corner] = {}
    others: dict[tuple[float, float], list[Corner]] = {}
    for corner, at in zip(mesh.corners, node.tolist(), strict=True):
        if at >= 0:
            corners[at] = corner
        else:
            others.setdefault(_place(mesh, corner)[0], []).append(corner)
    ring = mesh.positions[mesh.triangles] * mesh.grid_m
    sides = [np.hypot(*(ring[:, k] - ring[:, (k + 1) % 3]).T) for k in range(3)]
    spans_m = np.column_stack([np.maximum(sides[k], sides[k - 1]) for k in range(3)])
    spans_nmi = spans_m / METRES_PER_NMI / narrowest_scale(network.water.plane)
    return _Cell(kind, mesh, whole, corners, others, node, spans_nmi)


def _place(mesh: Mesh, corner: Corner) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    """Where a corner is, and where the water's edge comes from and goes to."""
    at, last, ahead = corner.vertex, corner.preceding, corner.following
    return (mesh.x[at], mesh.y[at]), (mesh.x[last], mesh.y[last]), (mesh.x[ahead], mesh.y[ahead])


def _steps(network: Network, nodes: Indices) -> Points:
    return np.asarray(np.rint(network.nodes[nodes] / network.water.grid_m))


def _look(spread: Spread, cell: _Cell, nodes: Indices) -> _Lookout:
    """Find where nodes look on to in a cell: those that look anywhere, and their cones."""
    network, count = spread.network, spread.network.corner_count
    before = spread.before[nodes]
    at = _steps(network, nodes)
    came = _steps(network, np.where(before < len(network.nodes), before, nodes))
    cones: list[list[Cone]] = [[] for _ in nodes]
    for i in np.flatnonzero(nodes < count).tolist():
        corner = cell.corner.get(int(nodes[i]))
        if corner is not None:
            cones[i] = round_corner(cell.mesh, corner, _pair(came[i]))
            continue
        others = cell.others.get(_pair(at[i]), [])
        if len(others) == 1:  # the cell's own edge begins here, its wedge is another: look at all of it, claim no more
            cones[i] = all_through(cell.mesh, others[0])
    points = np.flatnonzero((nodes >= count) & _looks_all_round(spread, cell, nodes))
    # samples on a slanting edge lie a hair to one side of it: they look into the water on the other side all the same
    held = cell.mesh.locate_near(at[points], 0.0 if cell.whole else _ON_EDGE_STEPS)
    for i, triangles in zip(points.tolist(), held, strict=True):
        cones[i] = all_round(cell.mesh, _pair(at[i]), triangles)
    kept = [i for i, looks in enumerate(cones) if looks]
    of = np.repeat(np.arange(len(kept)), [len(cones[i]) for i in kept])
    flat = np.array([cone for i in kept for cone in cones[i]], dtype=float).reshape(-1, 5)
    return _Lookout(cell, nodes[kept], of, flat)


def _pair(xy: Points) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def _looks_all_round(spread: Spread, cell: _Cell, nodes: Indices) -> NDArray[np.bool_]:
    """Tell which points put into the water send ways on in all directions.

    Sources do, and the far end of a gate; so does a sample on the edge of a speed limit, unless the way to it came
    through the same water: then what lies ahead was seen from further back. Points where limits are skirted always do.
    """
    network = spread.network
    before = spread.before[nodes]
    looks = before >= len(network.nodes)
    gates = {pair for gate in network.gate_legs for pair in (gate.nodes, gate.nodes[::-1])}
    if gates:
        looks |= np.array([pair in gates for pair in zip(before.tolist(), nodes.tolist(), strict=True)], dtype=bool)
    if cell.whole:
        return looks
    others = [entry for terminal in network.terminals for entry in terminal.entries]
    others += [node for gate in network.gate_legs for node in gate.nodes]
    sampled = np.flatnonzero((nodes >= network.corner_count) & ~np.isin(nodes, others) & ~looks & (before >= 0))
    if not len(sampled):
        return looks
    here = network.nodes[nodes[sampled]]
    lengths = split_by_speed_area(network.water, network.nodes[before[sampled]], here)
    apart = _dearer_kinds(spread.price)
    own = np.array([kind == cell.kind or (cell.kind == 0 and kind not in apart) for kind in range(lengths.shape[1])])
    edge = shapely.union_all([area.shape.boundary for area in network.water.speed_areas])
    skirts = shapely.distance(shapely.points(here), edge) > _EDGE_M
    looks[sampled] = skirts | (lengths[:, ~own].sum(axis=1) > _WITHIN_NMI)
    return looks
