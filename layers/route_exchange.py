"""Routes in the route exchange format of IEC 61174: what a leg says stands on the point that it leads to.

Version 1.0, the form of IEC 61174:2015: whoever reads a later one reads this one, not the other way round. Its schema
spells the elements of a schedule ``sheduleElement``; a reader that was made from the schema looks for that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from layers.routes import plain_name, utc_text
from layers.xml_text import decimal, lat_text, lon_text, xml_document

if TYPE_CHECKING:
    from layers.routes import Route, RouteLeg, RoutePoint

__all__ = ["LARGEST_BYTES", "exchange_text"]

LARGEST_BYTES = 400_000  # bytes that a reader has to take (IEC 61174:2015, second hand)
_NAMESPACE = "http://www.cirm.org/RTZ/1/0"
_FURTHEST_NMI = 9.99  # [nmi] to either side: the schema wants less than 10
_LONGEST_STAY_S = 86_399  # [s] a time of day
_LONGEST_NAME = 60  # letters; long names of a route are cut by displays


def exchange_text(route: Route, name: str) -> str:
    """Write a route in the route exchange format.

    Parameters
    ----------
    route
        The route.
    name
        Name of the file without its ending: the standard wants the route to be called so.

    Returns
    -------
    str
        A document of version 1.0. Marks beside the way have no place in it. Legs are rhumb lines: the route's points
        lie close enough for that. Where it would be too large for readers, the notes on its legs are left out.
    """
    whole = _document(route, name, notes=True)
    return whole if len(whole.encode()) <= LARGEST_BYTES else _document(route, name, notes=False)


def _document(route: Route, name: str, *, notes: bool) -> str:
    root = ET.Element("route", {"version": "1.0", "xmlns": _NAMESPACE})
    about = {"routeName": plain_name(name)[:_LONGEST_NAME] or "route", "routeAuthor": "routeplan"}
    about["routeStatus"] = "planning aid, not for navigation"
    start, end = route.points[0].depart, route.points[-1].arrive
    if start is not None and end is not None and start < end:
        about |= {"validityPeriodStart": utc_text(start), "validityPeriodStop": utc_text(end)}
    if plain_name(route.vessel):
        about["vesselName"] = plain_name(route.vessel)
    ET.SubElement(root, "routeInfo", about)
    points = ET.SubElement(root, "waypoints")
    for number, point in enumerate(route.points, start=1):
        element = ET.SubElement(
            points, "waypoint", {"id": str(number), "revision": "0", "name": plain_name(point.name)}
        )
        ET.SubElement(element, "position", {"lat": lat_text(point.position), "lon": lon_text(point.position)})
        if point.leg is not None and number > 1:  # no leg leads to the first
            ET.SubElement(element, "leg", _leg(point.leg, point.comment if notes else ""))
    if any(point.arrive or point.depart for point in route.points):
        _add_schedule(root, route)
    return xml_document(root)


def _leg(leg: RouteLeg, comment: str) -> dict[str, str]:
    said: dict[str, str] = {}
    if leg.keep_within_nmi is not None:
        off = decimal(min(leg.keep_within_nmi, _FURTHEST_NMI), 3)
        said |= {"starboardXTD": off, "portsideXTD": off}
    said["geometryType"] = "Loxodrome"
    if leg.speed_kn is not None:
        said["speedMax"] = decimal(leg.speed_kn, 2)
    for attribute, text in (("legInfo", plain_name(comment)), ("legNote2", plain_name(leg.note))):
        if text and not (attribute == "legNote2" and not comment):
            said[attribute] = text
    return said


def _add_schedule(root: ET.Element, route: Route) -> None:
    """Say what was asked for, the departure and the stays, by hand; and what follows from it, reckoned."""
    schedule = ET.SubElement(ET.SubElement(root, "schedules"), "schedule", {"id": "1", "name": "as planned"})
    manual = ET.SubElement(schedule, "manual")
    reckoned = ET.SubElement(schedule, "calculated")
    for number, point in enumerate(route.points, start=1):
        chosen = _stay(point)
        if number == 1 and point.depart is not None:
            chosen["etd"] = utc_text(point.depart)
        if chosen:
            ET.SubElement(manual, "sheduleElement", {"waypointId": str(number), **chosen})
        told: dict[str, str] = {}
        if point.depart is not None:
            told["etd"] = utc_text(point.depart)
        if point.arrive is not None:
            told["eta"] = utc_text(point.arrive)
        told |= _stay(point)
        if point.leg is not None and point.leg.speed_kn is not None and number > 1:
            told["speed"] = decimal(point.leg.speed_kn, 2)
        if told:
            ET.SubElement(reckoned, "sheduleElement", {"waypointId": str(number), **told})
    if not len(manual):
        schedule.remove(manual)


def _stay(point: RoutePoint) -> dict[str, str]:
    if point.arrive is None or point.depart is None or point.depart <= point.arrive:
        return {}
    seconds = round((point.depart - point.arrive).total_seconds())
    if seconds > _LONGEST_STAY_S:  # a time of day can't say it; arrival and departure do
        return {}
    hours, rest = divmod(seconds, 3600)
    return {"stay": f"{hours:02d}:{rest // 60:02d}:{rest % 60:02d}"}
