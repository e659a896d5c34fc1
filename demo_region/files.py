"""Write the region's files: GeoJSON with one feature a line, TOML, and the manifest of hashes."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from demo_region.plane import DECIMALS, EXTENT, to_lon_lat

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["feature", "polygon_rings_deg", "write_layer", "write_manifest", "write_region_toml", "write_text"]

_DISCLAIMER: Final = "invented for the routeplan demo; not a chart; never for navigation"
_LAYERS: Final = ("land", "depth", "hazards", "zones", "overhead", "openings", "docks", "waypoints", "currents")


def write_text(path: Path, text: str) -> None:
    """Write text with the same bytes on every system.

    Parameters
    ----------
    path
        The file; its folder is made where it is missing.
    text
        What goes in; its newlines stay as they are.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode())


def polygon_rings_deg(polygon: Any) -> list[NDArray[np.float64]]:
    """Return a polygon's rings as RFC 7946 wants them: outer anticlockwise, holes clockwise.

    Parameters
    ----------
    polygon
        [deg] A shapely polygon.

    Returns
    -------
    [deg] The outer ring, then the holes in order of their first corner, which is each ring's westernmost.
    """
    import shapely  # noqa: PLC0415  # heavy: loaded only when a region is made

    def turned(ring: Any, *, anticlockwise: bool) -> NDArray[np.float64]:
        points = np.round(shapely.get_coordinates(ring), DECIMALS)[:-1]
        if bool(ring.is_ccw) != anticlockwise:
            points = points[::-1]
        first = int(np.lexsort((points[:, 1], points[:, 0]))[0])
        points = np.roll(points, -first, axis=0)
        return np.vstack([points, points[:1]])

    holes = [turned(ring, anticlockwise=False) for ring in polygon.interiors]
    holes.sort(key=lambda ring: (ring[0, 0], ring[0, 1]))
    return [turned(polygon.exterior, anticlockwise=True), *holes]


def _pairs(points_deg: NDArray[np.float64]) -> list[list[float]]:
    return [[round(float(lon), DECIMALS), round(float(lat), DECIMALS)] for lon, lat in points_deg]


def feature(kind: str, points_nmi: NDArray[np.float64], columns: Mapping[str, Any]) -> dict[str, Any]:
    """Make a GeoJSON feature of something drawn on the board.

    Parameters
    ----------
    kind
        ``point``, ``line`` or ``polygon`` (one closed ring without holes).
    points_nmi
        [nmi] Its points.
    columns
        Its properties.

    Returns
    -------
    The feature, in longitude and latitude, kept inside the extent.
    """
    west, south, east, north = EXTENT
    deg = np.clip(to_lon_lat(points_nmi), (west, south), (east, north))
    pairs = _pairs(deg)
    if kind == "point":
        geometry: dict[str, Any] = {"type": "Point", "coordinates": pairs[0]}
    elif kind == "line":
        geometry = {"type": "LineString", "coordinates": pairs}
    else:
        x, y = deg[:, 0], deg[:, 1]
        clockwise = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) < 0
        geometry = {"type": "Polygon", "coordinates": [pairs[::-1] if clockwise else pairs]}
    return {"type": "Feature", "properties": dict(columns), "geometry": geometry}


def polygon_feature(polygon: Any, columns: Mapping[str, Any]) -> dict[str, Any]:
    """Make a GeoJSON feature of a polygon that is in longitude and latitude already.

    Parameters
    ----------
    polygon
        [deg] A shapely polygon.
    columns
        Its properties.

    Returns
    -------
    The feature.
    """
    rings = [_pairs(ring) for ring in polygon_rings_deg(polygon)]
    return {"type": "Feature", "properties": dict(columns), "geometry": {"type": "Polygon", "coordinates": rings}}


def write_layer(folder: Path, name: str, features: Iterable[Mapping[str, Any]]) -> None:
    """Write one layer.

    Parameters
    ----------
    folder
        The region's folder.
    name
        The layer's name; the file is ``NAME.geojson``.
    features
        Its rows.
    """
    rows = ",\n".join(json.dumps(row, separators=(",", ":"), ensure_ascii=True) for row in features)
    write_text(folder / f"{name}.geojson", f'{{"type":"FeatureCollection","features":[\n{rows}\n]}}\n')


def write_region_toml(folder: Path) -> None:
    """Write what the region says about itself.

    Parameters
    ----------
    folder
        The region's folder.
    """
    lines = [
        "# The demo region of routeplan. Everything in it is invented.",
        "format = 1",
        'name = "Coast of Varrow (invented)"',
        f"extent = [{', '.join(str(value) for value in EXTENT)}]",
        'time_zone = "Atlantic/Azores"',
        'chart_datum = "lowest tide of the demo (invented)"',
        'clearance_datum = "highest tide of the demo (invented)"',
        'currency = "EUR"',
        "poor_survey_standoff_m = 90",
        "variation_deg = -8.5",
    ]
    for layer in _LAYERS:
        lines += [
            "",
            f"[sources.{layer}]",
            f'title = "Coast of Varrow: {_DISCLAIMER}"',
            'publisher = "routeplan demo generator"',
            "date = 2026-06-30",
            'licence = "CC0 1.0"',
        ]
    write_text(folder / "region.toml", "\n".join(lines) + "\n")


def write_manifest(folder: Path, seed: int) -> None:
    """Write the list of all other files with their sizes and hashes.

    Parameters
    ----------
    folder
        The region's folder.
    seed
        The seed it was made with.
    """
    files = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name != "manifest.json":
            content = path.read_bytes()
            files[name] = {"sha256": hashlib.sha256(content).hexdigest(), "bytes": len(content)}
    write_text(folder / "manifest.json", json.dumps({"format": 1, "seed": seed, "files": files}, indent=1) + "\n")
