"""Put the demo region together, from the seed to the files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from demo_region import files
from demo_region.boats import BOATS
from demo_region.coast import Spine, build_coast
from demo_region.cruise import CRUISE
from demo_region.depths import Partition, build_depth_m, build_partition
from demo_region.docks import build_docks, deep_shores_nmi
from demo_region.fillups import build_fillups
from demo_region.plane import to_lon_lat
from demo_region.rules import (
    NARROWS_NMI,
    POOR_SURVEYS_NMI,
    UNSURVEYED_NMI,
    build_currents,
    build_hazards,
    build_openings,
    build_overhead,
    build_zones,
)
from demo_region.shore import survey_shore
from demo_region.waypoints import build_waypoints

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from demo_region.rules import Item

__all__ = ["write_region"]

_MAINLAND_NAME = "Varrow"
_LICENCE = (
    "The data in this folder are invented and dedicated to the public domain under CC0 1.0 Universal "
    "(https://creativecommons.org/publicdomain/zero/1.0/).\n"
)


def _name_land(partition: Partition, islands: Sequence[Spine]) -> list[str | None]:
    """Name the land: the noise has moved the islands' backs, so the nearest big piece takes the name."""
    import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

    names: list[str | None] = [None] * len(partition.land)
    names[0] = _MAINLAND_NAME
    for island in islands:
        back = shapely.LineString(to_lon_lat(np.array(island.points_nmi)))
        away = shapely.distance(np.array(partition.land), back) - np.sqrt([land.area for land in partition.land]) * 0.3
        for index in np.argsort(away, kind="stable").tolist():
            if names[index] is None:
                names[index] = island.name
                break
    return names


def _write_items(folder: Path, name: str, items: Sequence[Item]) -> None:
    files.write_layer(folder, name, [files.feature(item.kind, item.points_nmi, item.columns) for item in items])


def write_region(folder: Path, seed: int) -> None:
    """Make the region and write its layers, boats, fill-ups and cruise.

    Parameters
    ----------
    folder
        Where they go.
    seed
        The region's seed.
    """
    coast = build_coast(seed)
    depth_m = build_depth_m(seed, coast, (*deep_shores_nmi(), *NARROWS_NMI))
    rings = [[np.array([*ring, ring[0]]) for ring in rings] for rings in (UNSURVEYED_NMI, POOR_SURVEYS_NMI)]
    partition = build_partition(coast, depth_m, rings[0], rings[1])
    shore = survey_shore(partition)
    docks = build_docks(shore)
    waypoints = build_waypoints(shore, docks)
    harbours_nmi = {name: place for place, name, kind in waypoints if kind == "harbour"}

    names = _name_land(partition, coast.islands)
    land = [files.polygon_feature(piece, {"name": name}) for piece, name in zip(partition.land, names, strict=True)]
    files.write_layer(folder, "land", land)
    depth: list[dict[str, Any]] = []
    for row in partition.depth:
        columns = {"min_depth_m": row.min_depth_m, "max_depth_m": row.max_depth_m, "survey": row.survey}
        depth.append(files.polygon_feature(row.polygon, columns))
    files.write_layer(folder, "depth", depth)
    _write_items(folder, "hazards", build_hazards(seed, shore))
    _write_items(folder, "zones", build_zones(harbours_nmi))
    _write_items(folder, "overhead", build_overhead(shore))
    _write_items(folder, "openings", build_openings(shore))
    _write_items(folder, "currents", build_currents())
    files.write_layer(folder, "docks", [files.feature("point", np.array([place]), dock.row()) for place, dock in docks])
    places = [
        files.feature("point", np.array([place]), {"name": name, "kind": kind}) for place, name, kind in waypoints
    ]
    files.write_layer(folder, "waypoints", places)
    files.write_region_toml(folder)
    files.write_text(folder / "LICENSE", _LICENCE)
    for name, text in BOATS.items():
        files.write_text(folder / "boats" / name, text)
    book = build_fillups(seed)
    files.write_text(folder / "fillups.csv", book.csv())
    files.write_text(folder / "fillups_answers.toml", book.answers())
    files.write_text(folder / "cruise.toml", CRUISE)
