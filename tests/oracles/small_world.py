"""Hand-made regions and boats, small enough to be solved with a pencil.

Positions are given in metres east and north of the middle of the region, on an azimuthal equidistant plane: another
projection than the product's own. Over the few miles used here both agree to a few centimetres.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import Transformer

from layers.about import RegionAbout
from layers.checking import build_layer
from layers.region import Region, build_region
from layers.schema import LAYERS
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

MIDDLE = (-38.0, 44.0)  # open ocean
HALF_DEG = 0.25  # of the usual extent: some 20 km to either side, 28 km up and down
NMI_M = 1852.0  # [m/nmi] exact

Row = tuple[Any, "Mapping[str, object]"]  # geometry in metres, other columns


@cache
def _to_globe() -> Transformer:
    local = f"+proj=aeqd +lon_0={MIDDLE[0]} +lat_0={MIDDLE[1]} +ellps=WGS84 +units=m"
    return Transformer.from_crs(local, "EPSG:4326", always_xy=True)


def to_globe(shape: Any) -> Any:
    """[deg] Bring a geometry in metres about the middle to longitude and latitude, its edges cut to 100 m before."""
    fine = shapely.segmentize(shape, 100.0)
    return shapely.transform(fine, lambda xy: np.column_stack(_to_globe().transform(xy[:, 0], xy[:, 1])))


def to_metres(shape: Any) -> Any:
    """[m] The way back."""
    return shapely.transform(
        shape, lambda xy: np.column_stack(_to_globe().transform(xy[:, 0], xy[:, 1], direction="INVERSE"))
    )


def position(x: float, y: float) -> tuple[float, float]:
    """[deg] One point on the globe, of metres about the middle."""
    lon, lat = _to_globe().transform(x, y)
    return float(lon), float(lat)


def position_text(x: float, y: float) -> str:
    """Write a point as a person would type it."""
    lon, lat = position(x, y)
    return f"{lat:.6f}N {-lon:.6f}W"


def make_region(
    half_deg: float = HALF_DEG, zone: str = "UTC", poor_m: float | None = None, **rows: Sequence[Row]
) -> Region:
    """Make a region out of rows of geometry in metres and columns; layers that aren't named are absent."""
    lon, lat = MIDDLE
    about = RegionAbout(
        name="Paper Water",
        extent=(lon - half_deg, lat - half_deg, lon + half_deg, lat + half_deg),
        time_zone=zone,
        chart_datum="none",
        clearance_datum="none",
        currency="EUR",
        poor_survey_standoff_m=poor_m,
    )
    frames = {
        name: build_layer(
            LAYERS[name],
            [dict(columns) for _, columns in layer],
            [to_globe(shape) for shape, _ in layer],
            zone=about.zone,
        )
        for name, layer in rows.items()
    }
    return build_region(about, frames)


def make_boat(**changes: Any) -> Boat:
    """Make the plainest boat: 1 l a mile at 20 kn, 2 at 5 kn, all of the tank usable but 10 l of reserve."""
    tank = Tank(
        capacity_l=changes.pop("capacity_l", 100.0),
        unusable_l=changes.pop("unusable_l", 0.0),
        full_mark_l=changes.pop("full_mark_l", 100.0),
    )
    whole: dict[str, Any] = {
        "name": "Paper Boat",
        "fuel": "gasoline",
        "length_overall_m": 8.0,
        "draught_m": 1.0,
        "air_draught_m": 3.0,
        "cruising_speed_kn": 20.0,
        "no_wake_kn": 5.0,
        "display_units": "metric",
        "tank": tank,
        "reserve": Reserve(rule="volume", value=changes.pop("reserve_l", 10.0)),
        "burn": BurnTable(
            speed_kn=changes.pop("speed_kn", (5.0, 20.0)),
            burn_lph=changes.pop("burn_lph", (10.0, 20.0)),
            idle_lph=changes.pop("idle_lph", 2.0),
            sd_share=changes.pop("sd_share", 0.0),
        ),
        "instruments": Instruments(
            aboard_sd_share=changes.pop("aboard_sd_share", 0.0),
            full_mark_sd_share=changes.pop("full_mark_sd_share", 0.0),
        ),
    }
    return Boat(**(whole | changes))


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    """[m] A rectangle."""
    return shapely.box(west, south, east, north)


def dock(x: float, y: float, name: str, **columns: object) -> Row:
    """One row of the docks layer: gasoline, open, deep, known to all unless told otherwise."""
    known = {
        "name": name,
        "fuels": "gasoline",
        "depth_m": 5.0,
        "max_length_m": 20.0,
        "price_gasoline_per_l": 2.0,
        "opening_hours": "24/7",
    }
    return shapely.Point(x, y), known | columns


def waypoint(x: float, y: float, name: str, kind: str = "harbour") -> Row:
    """One row of the waypoints layer."""
    return shapely.Point(x, y), {"name": name, "kind": kind}


def zone(shape: Any, rule: str, name: str = "Zone", **columns: object) -> Row:
    """One row of the zones layer."""
    return shape, {"name": name, "rule": rule, "why": "test", **columns}
