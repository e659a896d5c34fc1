"""Routes as KML 2.2: the line, its points and the marks beside it, in folders of their own."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from layers.route_shapes import route_lines
from layers.routes import plain_name
from layers.xml_text import add_text, decimal, xml_document

if TYPE_CHECKING:
    from collections.abc import Iterable

    from layers.routes import Route, RouteMark, RoutePoint

__all__ = ["kml_text"]

_NAMESPACE = "http://www.opengis.net/kml/2.2"


def kml_text(route: Route) -> str:
    """Write a route as KML.

    Parameters
    ----------
    route
        The route.

    Returns
    -------
    str
        A document of version 2.2 [1]_, without styles and links. Descriptions are shown as HTML by viewers, so what
        would be markup in a name is written as the letters that it is.

    References
    ----------
    .. [1] OGC 07-147r2
    """
    root = ET.Element("kml", {"xmlns": _NAMESPACE})
    document = ET.SubElement(root, "Document")
    add_text(document, "name", route.name)
    ET.SubElement(document, "open").text = "1"
    _describe(document, [route.description, *route.cautions])
    way = ET.SubElement(document, "Placemark")
    add_text(way, "name", route.name)
    lines = route_lines(route)
    holder = way if len(lines) == 1 else ET.SubElement(way, "MultiGeometry")
    for line in lines:
        drawn = ET.SubElement(holder, "LineString")
        ET.SubElement(drawn, "tessellate").text = "1"  # along the sea, not through it
        ET.SubElement(drawn, "coordinates").text = " ".join(_pair(xy) for xy in line)
    _add_folder(document, "Points", route.points)
    if route.marks:
        _add_folder(document, "Marks", route.marks)
    return xml_document(root)


def _add_folder(document: ET.Element, name: str, members: Iterable[RoutePoint | RouteMark]) -> None:
    folder = ET.SubElement(document, "Folder")
    add_text(folder, "name", name)
    for one in members:
        place = ET.SubElement(folder, "Placemark")
        add_text(place, "name", one.name)
        _describe(place, (one.description or one.comment).splitlines())
        values = [("kind", str(one.kind)), *one.facts]
        extended = ET.SubElement(place, "ExtendedData")
        for key, value in values:
            held = ET.SubElement(extended, "Data", {"name": plain_name(key)})
            ET.SubElement(held, "value").text = plain_name(value)
        ET.SubElement(ET.SubElement(place, "Point"), "coordinates").text = _pair(one.position)


def _describe(parent: ET.Element, lines: Iterable[str]) -> None:
    add_text(parent, "description", "<br>".join(html.escape(plain_name(line)) for line in lines if plain_name(line)))


def _pair(xy: tuple[float, float]) -> str:
    return f"{decimal(xy[0], 7)},{decimal(xy[1], 7)}"
