"""Routes as a table: one row a point, in order, then one a mark."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

from layers.routes import plain_name, utc_text
from layers.xml_text import decimal

if TYPE_CHECKING:
    from layers.routes import Route, RouteMark, RoutePoint

__all__ = ["COLUMNS", "csv_text"]

COLUMNS = (
    "number",
    "name",
    "kind",
    "latitude_deg",
    "longitude_deg",
    "course_deg",
    "distance_nmi",
    "speed_kn",
    "arrive",
    "depart",
    "note",
)
_FIGURE = re.compile(r"-?[0-9]+(\.[0-9]+)?")  # below nothing; with a plus it is a phone number


def csv_text(route: Route) -> str:
    """Write a route as a table.

    Parameters
    ----------
    route
        The route.

    Returns
    -------
    str
        CSV after RFC 4180, with a head. Course, distance and speed are of the leg that leads to the point; times are
        UTC. A text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    facts = route.fact_names
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*COLUMNS, *facts])
    for number, point in enumerate(route.points, start=1):
        writer.writerow([*_point(point, number), *_facts(point, facts)])
    for mark in route.marks:
        spot = [decimal(mark.position[1], 7), decimal(mark.position[0], 7)]
        row = ["", _text(mark.name), mark.kind, *spot, "", "", "", "", "", _text(mark.description or mark.comment)]
        writer.writerow([*row, *_facts(mark, facts)])
    return out.getvalue()


def _point(point: RoutePoint, number: int) -> list[str]:
    leg = point.leg
    return [
        str(number),
        _text(point.name),
        point.kind,
        decimal(point.position[1], 7),
        decimal(point.position[0], 7),
        "" if leg is None else decimal(leg.course_deg, 1),
        "" if leg is None else decimal(leg.distance_nmi, 3),
        "" if leg is None or leg.speed_kn is None else decimal(leg.speed_kn, 2),
        "" if point.arrive is None else utc_text(point.arrive),
        "" if point.depart is None else utc_text(point.depart),
        _text("" if leg is None else leg.note),
    ]


def _facts(one: RoutePoint | RouteMark, names: tuple[str, ...]) -> list[str]:
    held = dict(one.facts)
    return [_text(held.get(name, ""), number=True) for name in names]


def _text(text: str, *, number: bool = False) -> str:
    plain = plain_name(" ".join(text.split()))
    if plain[:1] in ("=", "+", "-", "@") and not (number and _FIGURE.fullmatch(plain)):
        return f"'{plain}"
    return plain
