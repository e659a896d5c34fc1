"""Routes written to files: the ending of the name says which format."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from layers.errors import InputError
from layers.files import replaced_file
from layers.route_csv import csv_text
from layers.route_exchange import exchange_text
from layers.route_geojson import geojson_text
from layers.route_gpx import gpx_text
from layers.route_kml import kml_text

if TYPE_CHECKING:
    import os

    from layers.routes import Route

__all__ = ["ROUTE_ENDINGS", "check_route_file", "route_text", "write_route"]

ROUTE_ENDINGS = (".gpx", ".rtz", ".geojson", ".kml", ".csv")


def check_route_file(path: str | os.PathLike[str], where: str = "") -> None:
    """Refuse a name whose ending says no format, before any work.

    Parameters
    ----------
    path
        The file to be written.
    where
        The option that it came from; empty names the file itself.

    Raises
    ------
    InputError
        The ending is none of the five.

    Examples
    --------
    >>> check_route_file("run.gpx", "--route")
    """
    ending = Path(path).suffix.lower()
    if ending not in ROUTE_ENDINGS:
        problem = f"its ending says no format for a route: {', '.join(ROUTE_ENDINGS)}"
        raise InputError(where or str(path), problem, value=str(path), remedy="end its name with one of them")


def route_text(route: Route, path: str | os.PathLike[str]) -> str:
    """Write a route as text.

    Parameters
    ----------
    route
        The route.
    path
        Names the format by its ending, and the route where the format wants the file's name.

    Returns
    -------
    str
        GPX 1.1, the route exchange format of IEC 61174, GeoJSON, KML 2.2 or CSV.

    Raises
    ------
    InputError
        The ending is none of the five.
    """
    check_route_file(path)
    name = Path(path)
    match name.suffix.lower():
        case ".gpx":
            return gpx_text(route)
        case ".rtz":
            return exchange_text(route, name.stem)
        case ".geojson":
            return geojson_text(route)
        case ".kml":
            return kml_text(route)
        case _:
            return csv_text(route)


def write_route(route: Route, path: str | os.PathLike[str]) -> None:
    """Write a route to a file, whole or not at all.

    Parameters
    ----------
    route
        The route.
    path
        Its ending says the format: `ROUTE_ENDINGS`. An old file is replaced.

    Raises
    ------
    InputError
        The ending is none of the five, or the file can't be written.
    """
    text = route_text(route, path)
    with replaced_file(Path(path)) as draft:
        draft.write_bytes(text.encode("utf-8"))
