"""The line that a route draws, cut where it crosses the 180th meridian."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from layers.routes import Route

__all__ = ["route_lines"]


def route_lines(route: Route) -> list[list[tuple[float, float]]]:
    """[deg] Draw a route's line.

    Parameters
    ----------
    route
        The route.

    Returns
    -------
    list of lists of positions
        One line; where the route crosses the 180th meridian its pieces in their order, each with its ends on it
        (RFC 7946, section 3.1.9). Points in the same spot as the one before are left out.

    Examples
    --------
    >>> from layers.routes import Route, RoutePoint
    >>> points = (RoutePoint(name="A", position=(179.5, -17)), RoutePoint(name="B", position=(-179.5, -17)))
    >>> route_lines(Route(name="Across", points=points))
    [[(179.5, -17.0), (180.0, -17.0)], [(-180.0, -17.0), (-179.5, -17.0)]]
    """
    import shapely  # noqa: PLC0415  heavy: only where a line is drawn

    from layers.antimeridian import wrap  # noqa: PLC0415

    run: list[tuple[float, float]] = []
    turn = 0.0
    for before, point in zip((None, *route.points), route.points, strict=False):
        lon, lat = point.position
        if before is not None and abs(lon - before.position[0]) > 180:  # the short way round
            turn += 360.0 if lon < before.position[0] else -360.0
        here = (lon + turn, lat)
        if not run or run[-1] != here:
            run.append(here)
    if len(run) < 2:
        return [[_rounded(run[0]), _rounded(run[0])]]
    shape: Any = wrap(shapely.LineString(run))
    return [[_rounded(xy) for xy in part.coords] for part in shapely.get_parts(shape)]


def _rounded(xy: tuple[float, float]) -> tuple[float, float]:
    return round(xy[0], 7) + 0.0, round(xy[1], 7) + 0.0
