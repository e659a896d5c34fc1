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

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.arcs import Disks, sector_polygons, widest_scale
from routeplan.leg_graph import Price
from routeplan.lookouts import lookouts_of, steps_of
from routeplan.overlays import unite
from routeplan.wedges import expand

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.lookouts import Cell, Lookout
    from routeplan.spreading import Spread

    Points = NDArray[np.float64]
    Indices = NDArray[np.int64]

__all__ = ["ARC_TOLERANCE_M", "Views", "find_views", "reach_within", "water_within"]

ARC_TOLERANCE_M = 5.0  # [m] how far the chords of a range's arcs lie inside it at the most
_LEAST_M = 1.0  # [m] an eye that reaches less far adds nothing
_ARC_NMI = 5e-5  # [nmi] a corner so near to the distance is an arc's


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

    cell: Cell
    known: NDArray[np.bool_]
    views: NDArray[np.object_]
    node: Indices

    def shapes(self) -> list[shapely.Geometry]:
        mesh = self.cell.mesh
        triangles = shapely.polygons(mesh.positions[mesh.triangles[self.known]] * mesh.grid_m)
        return [shapely.coverage_union_all(triangles), *self.views]


def _draw(spread: Spread, budget: float, arc_tolerance_m: float) -> list[_Drawing]:
    drawings = []
    for lookout in lookouts_of(spread):
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
    for lookout in lookouts_of(spread):
        drawn, node = _views(spread, lookout, budget, arc_tolerance_m)
        shapes.append(drawn)
        nodes.append(node)
        rates.append(np.full(len(drawn), float(spread.price.per_nmi[lookout.cell.kind])))
    if not shapes:
        return Views(np.empty(0, dtype=object), np.empty(0, dtype=np.int64), np.empty(0))
    return Views(np.concatenate(shapes), np.concatenate(nodes), np.concatenate(rates))


def _views(
    spread: Spread,
    lookout: Lookout,
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
    sectors = expand(lookout.cell.mesh, steps_of(network, eyes), of, lookout.cones[looking], ranges, known)
    disks = Disks.of(plane, network.nodes[eyes], radius_nmi, grid_m)
    drawn, owner = sector_polygons(disks, sectors, grid_m, arc_tolerance_m)
    return drawn, eyes[owner]


def _settled(spread: Spread, cell: Cell, budget: float) -> NDArray[np.bool_]:
    """Tell which triangles lie in reach as a whole: all of one is seen from its corners, and one is near enough."""
    corner = cell.mesh.corner_at.reshape(-1, 3)
    node = cell.node[corner]
    left_nmi = np.where(node >= 0, spread.left_nmi(node, cell.kind, budget), -np.inf)
    return np.asarray((cell.spans_nmi <= left_nmi).any(axis=1))
