"""Where ways go on from the nodes of a spread: all round from sources, and from corners into what was hidden before.

The water is divided into cells of one rate, each with a mesh of its own; a node looks into the cells that it lies in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.arcs import narrowest_scale
from routeplan.mesh import build_mesh
from routeplan.network import split_by_speed_area
from routeplan.overlays import polygons_of
from routeplan.wedges import all_round, all_through, round_corner

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.leg_graph import Price
    from routeplan.mesh import Corner, Mesh
    from routeplan.network import Network
    from routeplan.spreading import Spread
    from routeplan.wedges import Cone

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["Cell", "Lookout", "lookouts_of", "steps_of"]

_ON_EDGE_STEPS = 1.5  # of the grid: points rounded to it lie no further from the edge they were put on
_EDGE_M = 1.0  # [m] samples lie on the edge of a limit, points that skirt it further off
_WITHIN_NMI = 1e-6  # [nmi] of a leg that may lie elsewhere, by rounding, and the leg still counts as one water's


@dataclass(frozen=True, eq=False)
class Lookout:
    """Nodes that look on into one cell.

    Parameters
    ----------
    cell
        The cell.
    nodes
        The nodes that look anywhere in it.
    of
        Index in `nodes` of each cone; rising.
    cones
        m x 5, as `wedges.expand` takes them.
    """

    cell: Cell
    nodes: Indices
    of: Indices
    cones: Points


@dataclass(frozen=True, eq=False)
class Cell:
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


_KEPT: WeakKeyDictionary[Spread, tuple[Lookout, ...]] = WeakKeyDictionary()


def lookouts_of(spread: Spread) -> tuple[Lookout, ...]:
    """Find where the nodes of a spread look on to, whatever budgets are asked for later.

    Parameters
    ----------
    spread
        Prices of the nodes.

    Returns
    -------
    One a cell; found once for each spread.
    """
    if spread not in _KEPT:
        reached = np.flatnonzero(np.isfinite(spread.away))
        cells = _cells(spread.network, _dearer_kinds(spread.price))
        _KEPT[spread] = tuple(_look(spread, cell, reached) for cell in cells)
    return _KEPT[spread]


def _dearer_kinds(price: Price) -> frozenset[int]:
    """Name the speed areas whose water has another rate than open water."""
    return frozenset(kind for kind, rate in enumerate(price.per_nmi) if rate != price.per_nmi[0])


@lru_cache(maxsize=4)
def _cells(network: Network, apart: frozenset[int]) -> tuple[Cell, ...]:
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


def _cell(network: Network, kind: int, mesh: Mesh, *, whole: bool) -> Cell:
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
    return Cell(kind, mesh, whole, corners, others, node, spans_nmi)


def _place(mesh: Mesh, corner: Corner) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    """Where a corner is, and where the water's edge comes from and goes to."""
    at, last, ahead = corner.vertex, corner.preceding, corner.following
    return (mesh.x[at], mesh.y[at]), (mesh.x[last], mesh.y[last]), (mesh.x[ahead], mesh.y[ahead])


def steps_of(network: Network, nodes: Indices) -> Points:
    """Place nodes on the grid.

    Parameters
    ----------
    network
        The network.
    nodes
        Its nodes.

    Returns
    -------
    [steps] n x 2.
    """
    return np.asarray(np.rint(network.nodes[nodes] / network.water.grid_m))


def _look(spread: Spread, cell: Cell, nodes: Indices) -> Lookout:
    """Find where nodes look on to in a cell: those that look anywhere, and their cones."""
    network, count = spread.network, spread.network.corner_count
    before = spread.before[nodes]
    at = steps_of(network, nodes)
    came = steps_of(network, np.where(before < len(network.nodes), before, nodes))
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
    held = cell.mesh.locate_near(at[points], _ON_EDGE_STEPS)
    for i, triangles in zip(points.tolist(), held, strict=True):
        cones[i] = all_round(cell.mesh, _pair(at[i]), triangles)
    kept = [i for i, looks in enumerate(cones) if looks]
    of = np.repeat(np.arange(len(kept)), [len(cones[i]) for i in kept])
    flat = np.array([cone for i in kept for cone in cones[i]], dtype=float).reshape(-1, 5)
    return Lookout(cell, nodes[kept], of, flat)


def _pair(xy: Points) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def _looks_all_round(spread: Spread, cell: Cell, nodes: Indices) -> NDArray[np.bool_]:
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
