"""Routes read from GPX: one route of a file, every point of it checked."""

from __future__ import annotations

import difflib
import math
from typing import TYPE_CHECKING, Any

from layers.errors import InputError
from layers.gpx_files import parse_gpx
from layers.routes import Route, RoutePoint, plain_name

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from layers.routes import PointKind, Position

__all__ = ["LARGEST_BYTES", "MOST_POINTS", "read_route"]

LARGEST_BYTES = 16_000_000  # some 50,000 points with all that may be said of them
MOST_POINTS = 50_000  # of one route: what has more is a recorded track, whatever it is called
_MOST_NAMED = 6  # routes named when it has to be asked which
_SAME_DEG = 1e-6  # [deg] a tenth of a metre: one point written twice


def read_route(path: Path, name: str | None = None) -> Route:
    """Read a route from a GPX file.

    Parameters
    ----------
    path
        The file.
    name
        Which of its routes, by name or by number from 1; None where there is one only.

    Returns
    -------
    Route
        Its points in order, points without a name numbered; a point that comes twice in a row is taken once, and said.

    Raises
    ------
    InputError
        It can't be read, is no GPX, has an entity, no route, several of which none or an unknown one was named, a
        position that isn't on the globe, fewer than two points, or far too many.
    """
    document = parse_gpx(path, LARGEST_BYTES)
    where, found, called = _choose(path, document, name)
    count = len(found.points)
    if count > MOST_POINTS:
        remedy = "that is a recorded track: draw a route of its turning points"
        raise InputError(where, f"has {count:,} points; the limit is {MOST_POINTS:,}", remedy=remedy)
    spots = [_position(point, f"{where}, point {number}") for number, point in enumerate(found.points, start=1)]
    kept: list[int] = []
    for i, spot in enumerate(spots):
        if not kept or not _is_same(spots[kept[-1]], spot):
            kept.append(i)
        elif not plain_name(found.points[kept[-1]].name or "") and plain_name(found.points[i].name or ""):
            kept[-1] = i  # the one that has a name
    if len(kept) < 2:
        if not count:
            raise InputError(where, "has no points", remedy="export it again, with its points")
        alike = "one point only" if count == 1 else f"{count:,} points, all of them in one spot"
        raise InputError(where, f"has {alike}: a route needs two", remedy="add where it leads to")
    points = [_point(found.points[i], spots[i], i + 1) for i in kept]
    ends: tuple[PointKind, PointKind] = ("start", "end")
    for at, kind in zip((0, -1), ends, strict=True):
        points[at] = points[at].model_copy(update={"kind": kind})
    notes = _notes(document, called, count - len(kept))
    return Route(name=called, points=tuple(points), description=plain_name(found.description or ""), notes=notes)


def _point(point: Any, spot: Position, number: int) -> RoutePoint:
    return RoutePoint(
        name=plain_name(point.name or "") or f"point {number}",
        position=spot,
        comment=plain_name(point.comment or ""),
        description=plain_name(point.description or ""),
    )


def _notes(document: Any, called: str, twice: int) -> tuple[str, ...]:
    """Say what of a file was left aside."""
    notes = []
    if twice:
        points = "One point came" if twice == 1 else f"{twice:,} points came"
        notes.append(f"{points} twice in a row, and counted once.")
    if len(document.routes) > 1:
        notes.append(f"The file holds {len(document.routes)} routes; this is {called}.")
    if document.tracks:
        notes.append("The tracks in the file were left aside.")
    return tuple(notes)


def _choose(path: Path, document: Any, name: str | None) -> tuple[str, Any, str]:
    """Find the route that is meant; return how errors name it, the route and its name."""
    routes = document.routes
    if not routes:
        others = [
            f"{len(held):,} {word if len(held) > 1 else word[:-1]}"
            for held, word in ((document.tracks, "tracks"), (document.waypoints, "waypoints"))
            if held
        ]
        holds = f"; it has {' and '.join(others)}" if others else ""
        remedy = "export the route, not the track" if document.tracks else "export a route"
        raise InputError(str(path), f"has no route{holds}", remedy=remedy)
    names = [plain_name(route.name or "") or f"route {i}" for i, route in enumerate(routes, start=1)]
    at = 0
    if name is not None:
        at = _index(path, names, name)
    elif len(routes) > 1:
        remedy = f"add --route-name with one of {_listed(names)}"
        raise InputError(str(path), f"has {len(routes)} routes, and nothing says which is meant", remedy=remedy)
    return f"{path}, {names[at]}" if len(routes) > 1 else str(path), routes[at], names[at]


def _index(path: Path, names: Sequence[str], name: str) -> int:
    wanted = plain_name(name).casefold()
    found = [i for i, held in enumerate(names) if held.casefold() == wanted]
    if len(found) == 1:
        return found[0]
    if wanted.isascii() and wanted.isdigit() and 1 <= int(wanted[:9]) <= len(names) and not found:
        return int(wanted) - 1
    where = f"{path}, --route-name"
    if found:
        numbers = " or ".join(str(i + 1) for i in found)
        raise InputError(where, f"{len(found)} routes have this name", value=name, remedy=f"give its number, {numbers}")
    near = difflib.get_close_matches(wanted, [held.casefold() for held in names], n=1)
    offer = [held for held in names if near and held.casefold() == near[0]]
    remedy = f"did you mean {offer[0]!r}?" if offer else f"it has {_listed(names)}"
    raise InputError(where, "no route has this name", value=name, remedy=remedy)


def _listed(names: Sequence[str]) -> str:
    told = ", ".join(repr(name[:40]) for name in names[:_MOST_NAMED])
    return f"{told} and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else told


def _position(point: Any, where: str) -> Position:
    lat, lon = point.latitude, point.longitude
    for axis, degrees, limit in (("latitude", lat, 90), ("longitude", lon, 180)):
        if not isinstance(degrees, int | float) or not math.isfinite(degrees) or abs(degrees) > limit:
            told = plain_name(point.name or "")
            called = f" ({told[:40]})" if told else ""
            raise InputError(
                f"{where}{called}",
                f"its {axis} must be a number within {limit} degrees",
                value=str(degrees),
                remedy="export the route again, or mend the point",
            )
    return float(lon), float(lat)


def _is_same(a: Position, b: Position) -> bool:
    off = abs(a[0] - b[0]) % 360
    return min(off, 360 - off) <= _SAME_DEG and abs(a[1] - b[1]) <= _SAME_DEG
