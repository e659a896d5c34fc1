"""Routes as GeoJSON: the line, then its points, then the marks beside it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from layers.route_shapes import route_lines
from layers.routes import plain_name, utc_text

if TYPE_CHECKING:
    from layers.routes import Route, RouteMark, RoutePoint

__all__ = ["geojson_text", "number_or_text"]


def geojson_text(route: Route) -> str:
    """Write a route as GeoJSON.

    Parameters
    ----------
    route
        The route.

    Returns
    -------
    str
        A FeatureCollection after RFC 7946 [1]_, one feature a line: no NaN, no ``crs``; the line is cut at the 180th
        meridian.

    References
    ----------
    .. [1] https://www.rfc-editor.org/rfc/rfc7946
    """
    lines = route_lines(route)
    one = len(lines) == 1
    shape = {"type": "LineString" if one else "MultiLineString", "coordinates": lines[0] if one else lines}
    about = {
        "part": "route",
        "name": plain_name(route.name),
        "vessel": plain_name(route.vessel) or None,
        "description": route.description or None,
        "cautions": " ".join(route.cautions) or None,
        "made": None if route.made is None else utc_text(route.made),
    }
    features = [_feature(shape, about)]
    features += [_feature(_spot(p), _point(p, number)) for number, p in enumerate(route.points, start=1)]
    features += [_feature(_spot(m), _mark(m)) for m in route.marks]
    body = ",\n".join(json.dumps(_sound(feature), ensure_ascii=False, allow_nan=False) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'


def number_or_text(text: str) -> float | str:
    """Read a figure back.

    Parameters
    ----------
    text
        As `facts` hold it.

    Returns
    -------
    float or str
        The number, where it is one.

    Examples
    --------
    >>> number_or_text("31.5"), number_or_text("VHF 12")
    (31.5, 'VHF 12')
    """
    try:
        number = float(text)
    except ValueError:
        return text
    return number if text.strip("+-0123456789.") == "" else text  # nan and inf are no figures


def _spot(one: RoutePoint | RouteMark) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [round(one.position[0], 7) + 0.0, round(one.position[1], 7) + 0.0]}


def _feature(shape: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "properties": values, "geometry": shape}


def _point(point: RoutePoint, number: int) -> dict[str, Any]:
    leg = point.leg
    return {
        "part": "point",
        "number": number,
        "name": plain_name(point.name),
        "kind": point.kind,
        "course_deg": None if leg is None else round(leg.course_deg, 1),
        "distance_nmi": None if leg is None else round(leg.distance_nmi, 3),
        "speed_kn": None if leg is None else leg.speed_kn,
        "arrive": None if point.arrive is None else utc_text(point.arrive),
        "depart": None if point.depart is None else utc_text(point.depart),
        "note": (leg.note if leg is not None else "") or None,
        **{name: number_or_text(text) for name, text in point.facts},
    }


def _mark(mark: RouteMark) -> dict[str, Any]:
    return {
        "part": "mark",
        "name": plain_name(mark.name),
        "kind": mark.kind,
        "note": mark.description or mark.comment or None,
        **{name: number_or_text(text) for name, text in mark.facts},
    }


def _sound(value: Any) -> Any:
    """Leave out what isn't text in UTF-8, wherever it stands."""
    if isinstance(value, dict):
        return {key: _sound(inner) for key, inner in value.items()}
    if isinstance(value, str):
        return "\n".join(plain_name(line) for line in value.splitlines())
    return value
