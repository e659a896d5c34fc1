"""Routes as GPX 1.1: marks first, then the route, each element in the order of the schema."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from layers.routes import plain_name, utc_text
from layers.xml_text import add_lines, add_text, lat_text, lon_text, xml_document

if TYPE_CHECKING:
    from layers.routes import Route, RouteMark, RoutePoint

__all__ = ["gpx_text"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"


def gpx_text(route: Route) -> str:
    """Write a route as GPX.

    Parameters
    ----------
    route
        The route.

    Returns
    -------
    str
        A document of version 1.1 [1]_. Points carry name, comment and description; no ``time``, which in GPX is when a
        point was made, not when it will be passed; no symbols, which every receiver names in its own way.

    References
    ----------
    .. [1] https://www.topografix.com/GPX/1/1/
    """
    root = ET.Element("gpx", {"version": "1.1", "creator": "routeplan", "xmlns": _NAMESPACE})
    about = ET.SubElement(root, "metadata")
    add_text(about, "name", route.name)
    add_lines(about, "desc", "\n".join(filter(None, [route.description, *route.cautions])))
    if route.made is not None:
        add_text(about, "time", utc_text(route.made))
    for mark in route.marks:
        _add_point(root, "wpt", mark, mark.kind)
    way = ET.SubElement(root, "rte")
    add_text(way, "name", route.name)
    add_text(way, "cmt", route.cautions[0] if route.cautions else "")
    add_lines(way, "desc", route.description)
    add_text(way, "src", f"planned for {plain_name(route.vessel)}" if route.vessel else "")
    for point in route.points:
        _add_point(way, "rtept", point, point.kind)
    return xml_document(root)


def _add_point(parent: ET.Element, tag: str, point: RoutePoint | RouteMark, kind: str) -> None:
    element = ET.SubElement(parent, tag, {"lat": lat_text(point.position), "lon": lon_text(point.position)})
    add_text(element, "name", point.name)
    add_text(element, "cmt", point.comment)
    add_lines(element, "desc", point.description)
    add_text(element, "type", kind)
