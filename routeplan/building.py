"""Building a network, or taking it from the cache where nothing that it depends on has changed."""

from __future__ import annotations

import dataclasses
import hashlib
import inspect
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from layers import antimeridian
from layers.plane import Plane
from routeplan.approaches import Approach, Attachment
from routeplan.bridges import Gate
from routeplan.cache import cache_key, load_arrays, store_arrays
from routeplan.margins import Margins
from routeplan.mesh import Corners, Mesh
from routeplan.network import GateLeg, Network, Place, Terminal, connect
from routeplan.water import CautionArea, SpeedArea, Water, build_water, zones_in_force

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from numpy.typing import NDArray

    from layers import Region
    from routeplan.boats import Boat

__all__ = ["build_network"]

_WATER_SHARE = 0.3  # of the work is cutting the water: a quarter with legs in plain Python, half with compiled ones
_MESH = ("positions", "starts", "twins", "corner_at")  # arrays of a mesh
_METHOD = (
    "margins",
    "mesh",
    "overlays",
    "looking",
    "sight",
    "wedges",
    "necks",
    "standing_off",
    "bridges",
    "water",
    "approaches",
    "network",
)  # modules that decide what a network is


def build_network(  # what a network depends on, and how to go about it
    region: Region,
    boat: Boat,
    margins: Margins | None = None,
    *,
    when: datetime | None = None,
    cache: Path | None = None,
    progress: Callable[[float], None] | None = None,
) -> Network:
    """Build the network of a boat's water in a region.

    Parameters
    ----------
    region
        The layers.
    boat
        Draught, air draught, no-wake speed and the speeds she can't hold count.
    margins
        Clearances and stand-off; the defaults where None.
    when
        Departure, for zones with a season; None counts all of them.
    cache
        Folder of built networks; None builds without one.
    progress
        Called now and then with the share of the building that is done.

    Returns
    -------
    The network, with docks and waypoints joined.
    """
    margins = margins or Margins()
    key = cache_key(
        libraries=[shapely.geos_version_string, shapely.__version__, np.__version__, pyproj.proj_version_str],
        method=_method_digest(),
        region=region.digest,
        boat=[boat.draught_m, boat.air_draught_m, boat.no_wake_kn, boat.burn.unsteady_kn],
        margins=margins.model_dump(),
        zones=[int(i) for i in zones_in_force(region.layer("zones"), region.zone, when).index],
    )
    if cache is not None:
        loaded = load_arrays(cache, key)
        if loaded is not None:
            try:
                return _unpack(region, boat, margins, *loaded)
            except (KeyError, TypeError, ValueError, IndexError, shapely.errors.ShapelyError):
                pass  # an entry that another version wrote: build anew
    water = build_water(region, boat, margins, when)
    network = connect(region, boat, water, None if progress is None else _after_water(progress))
    if cache is not None:
        store_arrays(cache, key, *_pack(network))
    return network


def _after_water(progress: Callable[[float], None]) -> Callable[[float], None]:
    """Tell the share of the whole work, where the share of what comes after cutting the water is told."""
    return lambda share: progress(_WATER_SHARE + (1 - _WATER_SHARE) * share)


def _method_digest() -> str:
    """Hash the sources of the modules that a network comes from, so that none outlives a change of method."""
    here = Path(__file__)
    sources = [
        *(Path(inspect.getfile(each)) for each in (Plane, antimeridian)),
        *(here.with_name(f"{name}.py") for name in _METHOD),
    ]
    return hashlib.sha256(b"".join(source.read_bytes() for source in sources)).hexdigest()


def _pack(network: Network) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    water = network.water
    shapes = {
        "navigable": water.navigable,
        "open": water.open,
        "barrier": water.barrier,
        "land": water.land,
        "unsurveyed": water.unsurveyed,
        **{f"closed-{reason}": shape for reason, shape in water.closed.items()},
        **{f"speed-{i}": area.shape for i, area in enumerate(water.speed_areas)},
        **{f"caution-{i}": area.shape for i, area in enumerate(water.caution_areas)},
    }
    arrays: dict[str, NDArray[Any]] = {
        f"shape-{name}": np.frombuffer(shapely.to_wkb(shape), dtype=np.uint8) for name, shape in shapes.items()
    }
    arrays |= {"nodes": network.nodes, "legs": network.legs, "lengths_nmi": network.lengths_nmi}
    mesh = network.mesh
    arrays |= {f"mesh-{name}": getattr(mesh, name) for name in _MESH}
    arrays |= {f"corner-{field.name}": getattr(mesh.corners, field.name) for field in dataclasses.fields(Corners)}
    data = {
        "grid_m": water.grid_m,
        "corner_count": network.corner_count,
        "closed": list(water.closed),
        "gates": [[g.name, g.kind, g.hours, g.must_open, g.wait_h, g.vhf, g.sides] for g in water.gates],
        "speed_areas": [
            [None if math.isinf(a.limit_kn) else a.limit_kn, a.names, a.why, a.fairway] for a in water.speed_areas
        ],
        "caution_areas": [[a.name, a.rule, a.why, a.direction_deg] for a in water.caution_areas],
        "depth_checked": water.depth_checked,
        "findings": water.findings,
        "gate_legs": [[g.gate, g.nodes, g.path] for g in network.gate_legs],
        "terminals": [
            [
                [t.place.name, t.place.kind, t.place.position, t.place.row],
                [[a.start, a.entry, a.crosses] for a in t.attachment.approaches],
                t.attachment.inland_m,
                t.attachment.why_not,
                t.entries,
            ]
            for t in network.terminals
        ],
    }
    return arrays, data


def _unpack(
    region: Region, boat: Boat, margins: Margins, arrays: dict[str, NDArray[Any]], data: dict[str, Any]
) -> Network:
    def shape(name: str) -> Any:  # a geometry
        return shapely.from_wkb(arrays[f"shape-{name}"].tobytes())

    water = Water(
        plane=Plane(region.about.extent),
        grid_m=data["grid_m"],
        margins=margins,
        navigable=shape("navigable"),
        open=shape("open"),
        barrier=shape("barrier"),
        land=shape("land"),
        closed={reason: shape(f"closed-{reason}") for reason in data["closed"]},
        gates=tuple(
            Gate(name, kind, hours, must_open, wait_h, vhf, (_point(sides[0]), _point(sides[1])))
            for name, kind, hours, must_open, wait_h, vhf, sides in data["gates"]
        ),
        speed_areas=tuple(
            SpeedArea(math.inf if limit is None else limit, tuple(names), shape(f"speed-{i}"), why, fairway=fairway)
            for i, (limit, names, why, fairway) in enumerate(data["speed_areas"])
        ),
        caution_areas=tuple(
            CautionArea(name, rule, why, direction, shape(f"caution-{i}"))
            for i, (name, rule, why, direction) in enumerate(data["caution_areas"])
        ),
        unsurveyed=shape("unsurveyed"),
        depth_checked=data["depth_checked"],
        findings=tuple(data["findings"]),
    )
    terminals = tuple(
        Terminal(
            Place(place[0], place[1], _point(place[2]), place[3]),
            Attachment(tuple(Approach(_point(a), _point(b), tuple(c)) for a, b, c in approaches), inland_m, why_not),
            tuple(entries),
        )
        for place, approaches, inland_m, why_not, entries in data["terminals"]
    )
    corners = Corners(**{field.name: arrays[f"corner-{field.name}"] for field in dataclasses.fields(Corners)})
    return Network(
        region=region,
        boat=boat,
        water=water,
        nodes=arrays["nodes"],
        corner_count=data["corner_count"],
        legs=arrays["legs"],
        lengths_nmi=arrays["lengths_nmi"],
        gate_legs=tuple(GateLeg(g, (n[0], n[1]), tuple(_point(p) for p in path)) for g, n, path in data["gate_legs"]),
        terminals=terminals,
        own=len(terminals),
        mesh=Mesh(grid_m=water.grid_m, corners=corners, **{name: arrays[f"mesh-{name}"] for name in _MESH}),
    )


def _point(pair: list[float]) -> tuple[float, float]:
    return float(pair[0]), float(pair[1])
