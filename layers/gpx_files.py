"""GPX files: parsed once, safely; and their waypoints as a table of places."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import shapely

from layers.errors import InputError
from layers.files import read_text
from layers.shapes import object_array
from layers.tables import BadEntry, SourceTable

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["parse_gpx", "read_gpx_table"]

LIMIT_BYTES = 64_000_000  # bytes: a hundred thousand waypoints
_COLUMNS = ("name", "type", "symbol", "description", "comment")


def parse_gpx(path: Path, limit_bytes: int) -> Any:  # gpxpy's document
    """Read a GPX file.

    Parameters
    ----------
    path
        The file.
    limit_bytes
        The largest size, itself allowed.

    Returns
    -------
    gpxpy.gpx.GPX
        What it holds; latitudes, longitudes and times as written, unchecked.

    Raises
    ------
    InputError
        It can't be read, is no GPX, or has a DOCTYPE or ENTITY.
    """
    import gpxpy  # noqa: PLC0415  # heavy: only where a GPX file is read
    import gpxpy.gpx  # noqa: PLC0415

    text = read_text(path, limit_bytes)
    if re.search(r"<!\s*(?:DOCTYPE|ENTITY)", text, re.IGNORECASE):
        # Entities can be made to expand without end, and GPX has no use for them.
        raise InputError(str(path), "has a DOCTYPE or ENTITY, which no GPX file needs", remedy="export the track again")
    try:
        return gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, ValueError, LookupError) as error:
        said = " ".join(str(error).split())[:100]
        raise InputError(str(path), f"is not a GPX file that can be read: {said}") from error


def read_gpx_table(path: Path) -> SourceTable:
    """Read the waypoints of a GPX file.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    SourceTable
        Its waypoints; routes and tracks are no places, and are counted in a note.

    Raises
    ------
    InputError
        It can't be read, is no GPX, or has no waypoints.
    """
    document = parse_gpx(path, LIMIT_BYTES)
    marks = document.waypoints
    others = [
        f"{len(found)} {word}" for found, word in ((document.routes, "routes"), (document.tracks, "tracks")) if found
    ]
    if not marks:
        holds = f"; it has {' and '.join(others)}, which are no places" if others else ""
        raise InputError(str(path), f"has no waypoints{holds}", remedy="export the waypoints")
    shapes: list[object] = []
    faults = []
    for row, mark in enumerate(marks, start=1):
        lat, lon = mark.latitude, mark.longitude
        if lat is None or lon is None or not (math.isfinite(lat) and math.isfinite(lon)):
            shapes.append(None)
            rule = "has no position that is a finite number"
            faults.append(BadEntry(str(path), f"waypoint {row:,}", "position", f"{lat}, {lon}", rule, mark.name or ""))
        else:
            shapes.append(shapely.Point(lon, lat))
    columns = {
        column: [" ".join(str(value).split()) if (value := getattr(mark, column)) else None for mark in marks]
        for column in _COLUMNS
    }
    notes = (f"{' and '.join(others)} not used: they are no places",) if others else ()
    return SourceTable(
        path, "", columns, object_array(shapes), range(1, len(marks) + 1), "waypoint", faults=tuple(faults), notes=notes
    )
