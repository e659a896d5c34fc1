"""The network: every leg a shortest path over a boat's water can have, and the places joined to it.

Nodes are the reflex corners of the water and the points put into it: entries of docks and waypoints, both ends of gates
and samples along the edges of speed limits. Legs carry their geodesic length, split by the limit that holds on them.
"""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import networkx as nx
import numpy as np
import shapely

from routeplan.approaches import INSET_M, Approach, Attachment, find_attachments
from routeplan.looking import is_worth_compiling
from routeplan.mesh import build_mesh
from routeplan.sight import find_corner_legs, find_point_legs

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.mesh import Mesh
    from routeplan.water import Water

    Points = NDArray[np.float64]

__all__ = [
    "GateLeg",
    "Network",
    "Place",
    "Terminal",
    "connect",
    "join_places",
    "put_points",
    "split_by_speed_area",
    "unreached_docks",
]

# shares of the work after which the triangles and the legs are made, in plain Python and compiled (bench_waters.py)
_STAGES = {False: (0.14, 0.86), True: (0.45, 0.88)}
_SAMPLE_M = 100.0  # [m] between samples on the edge of a speed limit, at the most
_CLOSEST_SAMPLE_M = 20.0  # [m] and at the least
_LEAST_SAMPLES = 40  # on one stretch of such an edge, if they needn't lie closer than that
_MOUTH_SAMPLES = 6  # on the mouth of narrows at the most
_MOST_SAMPLES = 400  # on one stretch of such an edge
_AROUND_M = 50.0  # [m] of water looked at round a limit, well beyond its skirting points
_SKIRT_M = 2.0  # [m] how far outside a limit its skirting points lie, so that legs between them stay outside


@dataclass(frozen=True)
class Place:
    """A named point that a passage can start from, end at or call at.

    Parameters
    ----------
    name
        As in its layer, or as the position was given.
    kind
        `dock`, a waypoint's kind, or `position`.
    position
        [deg] Longitude and latitude.
    row
        Row in the docks or waypoints layer; -1 for a bare position.
    """

    name: str
    kind: str
    position: tuple[float, float]
    row: int = -1


@dataclass(frozen=True)
class Terminal:
    """A place with its way onto the network.

    Parameters
    ----------
    place
        The place.
    attachment
        How it is joined, or why it can't be.
    entries
        The node of each approach's entry.
    """

    place: Place
    attachment: Attachment
    entries: tuple[int, ...]


@dataclass(frozen=True)
class GateLeg:
    """The way through one gate.

    Parameters
    ----------
    gate
        Index in `Water.gates`.
    nodes
        The network's node on either side.
    path
        [m] From the first node through the gate to the second.
    """

    gate: int
    nodes: tuple[int, int]
    path: tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class Network:
    """Legs over one boat's water.

    Parameters
    ----------
    region, boat
        What it was built from.
    water
        The boat's water.
    nodes
        [m] n x 2 positions in the plane.
    corner_count
        The first nodes are reflex corners of the water; the others are points put into it.
    legs
        m x 2 node indices, each leg once.
    lengths_nmi
        [nmi] m x (1 + speed areas): geodesic length outside any speed limit, then inside each area.
    gate_legs
        Ways through gates.
    terminals
        Docks, then waypoints, then whatever was joined since.
    mesh
        The navigable water in triangles.
    own
        How many of the terminals are the region's docks and waypoints.
    ways
        What `routeplan.tracks` has found between these, by what it was asked for; all networks grown from one share it.
    """

    region: Region
    boat: Boat
    water: Water
    nodes: Points
    corner_count: int
    legs: NDArray[np.int32]
    lengths_nmi: Points
    gate_legs: tuple[GateLeg, ...]
    terminals: tuple[Terminal, ...]
    mesh: Mesh
    own: int = 0
    ways: dict[Any, Any] = field(default_factory=dict, repr=False)

    def terminal(self, name: str) -> int:
        """Find a terminal by its place's exact name.

        Parameters
        ----------
        name
            The name.

        Returns
        -------
        Index in `terminals`.

        Raises
        ------
        KeyError
            No terminal has that name.
        """
        for index, terminal in enumerate(self.terminals):
            if terminal.place.name == name:
                return index
        raise KeyError(name)


def unreached_docks(network: Network) -> dict[str, str]:
    """List the docks that can't be reached from navigable water.

    Parameters
    ----------
    network
        The boat's network.

    Returns
    -------
    The reason for each, by name: it isn't joined, or only to a water that holds no other place.
    """
    tree = shapely.STRtree(shapely.get_parts(network.water.navigable))
    gates = nx.Graph()  # separate waters, joined where a gate leads from one to the other
    for gate in network.gate_legs:
        gates.add_edge(*(int(part) for part in tree.nearest(shapely.points(network.nodes[list(gate.nodes)]))))
    joined = {part: min(waters) for waters in nx.connected_components(gates) for part in waters}
    held: list[set[int]] = []
    for terminal in network.terminals:
        entries = shapely.points(network.nodes[list(terminal.entries)]) if terminal.entries else []
        held.append({joined.get(int(part), int(part)) for part in tree.nearest(entries)} if len(entries) else set())
    count = Counter(water for waters in held for water in waters)
    main = max(count, key=lambda water: count[water], default=-1)
    return {
        t.place.name: t.attachment.why_not or "no way over water joins it to the other places"
        for t, waters in zip(network.terminals, held, strict=True)
        if t.place.kind == "dock" and main not in waters
    }


def connect(region: Region, boat: Boat, water: Water, progress: Callable[[float], None] | None = None) -> Network:
    """Build the network of a boat's water, with the region's docks and waypoints joined.

    Parameters
    ----------
    region
        The layers.
    boat
        The boat.
    water
        Its water.
    progress
        Called now and then with the share that is done.

    Returns
    -------
    The network.
    """
    mesh = build_mesh(water.navigable, water.grid_m)
    begun, looked = _STAGES[is_worth_compiling(int(mesh.corners.reflex.sum()))]

    def told(share: float) -> None:
        if progress is not None:
            progress(begun + (looked - begun) * share)

    nodes = mesh.positions[mesh.corners.vertex[mesh.corners.reflex]]
    legs = _node_of(mesh)[find_corner_legs(mesh, told)]
    empty = Network(
        region=region,
        boat=boat,
        water=water,
        nodes=nodes * water.grid_m,
        corner_count=len(nodes),
        legs=legs,
        lengths_nmi=split_by_speed_area(water, nodes[legs[:, 0]] * water.grid_m, nodes[legs[:, 1]] * water.grid_m),
        gate_legs=(),
        terminals=(),
        mesh=mesh,
    )
    with_samples, _ = _add_points(empty, _sample_speed_edges(water))
    joined = join_places(_add_gates(with_samples), _places_of(region))
    return dataclasses.replace(joined, own=len(joined.terminals))


def join_places(network: Network, places: Sequence[Place]) -> Network:
    """Join more places.

    Parameters
    ----------
    network
        The network.
    places
        Places anywhere; those that can't be joined get a terminal with the reason.

    Returns
    -------
    A network whose last terminals are these places.
    """
    if not places:
        return network
    xy = network.water.plane.to_plane([p.position for p in places])
    attachments = find_attachments(network.water, xy)
    entries = [a.entry for attachment in attachments for a in attachment.approaches]
    grown, numbers = _add_points(network, np.array(entries).reshape(-1, 2))
    terminals = list(network.terminals)
    numbers_left = iter(numbers)
    for place, attachment in zip(places, attachments, strict=True):
        joined = [(a, next(numbers_left)) for a in attachment.approaches]
        approaches = tuple(_on_grid(a, grown.nodes[n]) for a, n in joined)
        terminals.append(
            Terminal(place, dataclasses.replace(attachment, approaches=approaches), tuple(n for _, n in joined))
        )
    return dataclasses.replace(grown, terminals=tuple(terminals))


def put_points(network: Network, xy: Points) -> Network:
    """Put points into the water at which ways may bend.

    Parameters
    ----------
    network
        The network.
    xy
        [m] n x 2 points in navigable water, in the plane.

    Returns
    -------
    The network with their legs; what was found on the old one isn't shared with it.
    """
    grown, _ = _add_points(network, xy)
    return dataclasses.replace(grown, ways={})


def split_by_speed_area(water: Water, a: Points, b: Points) -> Points:
    """[nmi] Geodesic lengths of straight legs, split by the speed limit that holds.

    Parameters
    ----------
    water
        The boat's water.
    a, b
        [m] n x 2 ends in the plane.

    Returns
    -------
    n x (1 + speed areas): outside any limit, then inside each area.
    """
    whole = water.plane.lengths_nmi(a, b)
    lengths = np.zeros((len(whole), 1 + len(water.speed_areas)))
    lengths[:, 0] = whole
    if not water.speed_areas or not len(whole):
        return lengths
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    metres = np.maximum(shapely.length(lines), 1e-9)
    tree = shapely.STRtree(lines)
    for column, area in enumerate(water.speed_areas, start=1):
        for part in shapely.get_parts(area.shape):
            shapely.prepare(part)
            hit = tree.query(part, predicate="intersects")
            inside = shapely.length(shapely.intersection(lines[hit], part)) / metres[hit] * whole[hit]
            lengths[hit, column] += inside
            lengths[hit, 0] -= inside
    return np.maximum(lengths, 0.0)


def _places_of(region: Region) -> list[Place]:
    places = []
    for layer in ("docks", "waypoints"):
        frame = region.layer(layer)
        kinds = ["dock"] * len(frame) if layer == "docks" else frame["kind"].tolist()
        places += [
            Place(name, kind, (point.x, point.y), row)
            for row, (name, kind, point) in enumerate(zip(frame["name"], kinds, frame.geometry, strict=True))
        ]
    return places


def _on_grid(approach: Approach, node: Points) -> Approach:
    return dataclasses.replace(approach, entry=(float(node[0]), float(node[1])))


def _add_points(network: Network, xy: Points) -> tuple[Network, list[int]]:
    """Put points into the water and find their legs to corners and to one another."""
    water, mesh = network.water, network.mesh
    if not len(xy):
        return network, []
    first = len(network.nodes)
    steps = np.rint(xy / water.grid_m)
    older = np.rint(network.nodes[network.corner_count :] / water.grid_m)
    points = np.vstack([older, steps])
    to_corners, to_points = find_point_legs(mesh, points, mesh.locate(points), first=len(older))
    to_points = to_points[to_points[:, 1] < to_points[:, 0]] + network.corner_count
    to_corners[:, 0] += network.corner_count
    to_corners[:, 1] = _node_of(mesh)[to_corners[:, 1]]
    nodes = np.vstack([network.nodes, steps * water.grid_m])
    new = np.vstack([to_corners, to_points])[:, ::-1].astype(np.int32)
    grown = dataclasses.replace(
        network,
        nodes=nodes,
        legs=np.vstack([network.legs, new]),
        lengths_nmi=np.vstack([network.lengths_nmi, split_by_speed_area(water, nodes[new[:, 0]], nodes[new[:, 1]])]),
    )
    return grown, list(range(first, len(nodes)))


def _node_of(mesh: Mesh) -> NDArray[np.int32]:
    """Give each reflex corner the number of its node: nodes are these, in their order."""
    return np.cumsum(mesh.corners.reflex, dtype=np.int32) - np.int32(1)


def _sample_speed_edges(water: Water) -> Points:
    """[m] Points where a path may bend for a speed limit: along its edge as light does, and just outside to skirt it.

    On the edge alone a convex limit could never be skirted: a chord between two of its points runs inside.
    """
    samples = []
    for area in water.speed_areas:
        west, south, east, north = area.shape.bounds
        around = west - _AROUND_M, south - _AROUND_M, east + _AROUND_M, north + _AROUND_M
        inner = shapely.clip_by_rect(water.navigable, *around).buffer(-INSET_M)
        shapely.prepare(inner)
        if not area.why:
            outside = area.shape.buffer(_SKIRT_M, join_style="mitre").simplify(0.9 * _SKIRT_M)
            corners = shapely.get_coordinates(outside)
            samples.append(corners[shapely.contains_xy(inner, corners)])
        edge = shapely.line_merge(area.shape.boundary.intersection(inner))
        for line in shapely.get_parts(edge):
            if line.geom_type != "LineString" or line.length == 0:
                continue
            step = min(max(line.length / _LEAST_SAMPLES, _CLOSEST_SAMPLE_M), _SAMPLE_M)
            if area.why:  # the mouth of narrows: it is crossed about its middle, and ragged coasts have hundreds
                step = max(line.length / _MOUTH_SAMPLES, _CLOSEST_SAMPLE_M)
            count = min(max(1, math.ceil(line.length / step)), _MOST_SAMPLES)
            samples.append(shapely.get_coordinates(line.interpolate(np.linspace(0, 1, count + 1), normalized=True)))
    return np.vstack(samples) if samples else np.empty((0, 2))


def _add_gates(network: Network) -> Network:
    """Join both sides of every gate."""
    gate_legs = []
    for index, gate in enumerate(network.water.gates):
        attachments = find_attachments(network.water, gate.sides)
        if any(a.inland_m > 0 for a in attachments):  # a side that lies on land would lead the way over it
            continue
        for near in attachments[0].approaches:
            for far in attachments[1].approaches:
                network, (a, b) = _add_points(network, np.array([near.entry, far.entry]))
                ends = [tuple(network.nodes[n].tolist()) for n in (a, b)]
                gate_legs.append(GateLeg(index, (a, b), (ends[0], near.start, far.start, ends[1])))
    return dataclasses.replace(network, gate_legs=tuple(gate_legs))
