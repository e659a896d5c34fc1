"""Fuel docks of a chart: which fuels they sell, as far as the chart says it."""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING

import shapely

from layers.s57_codes import FUELS_ASSUMED
from layers.s57_shapes import placed
from layers.s57_zones import codes_of

if TYPE_CHECKING:
    from layers.s57_cells import Objects
    from layers.s57_sheet import Chart

__all__ = ["draw_docks", "fuels_said"]

_FUEL = 13  # CATSCF: fuel station
_DISUSED = 4  # STATUS
_STATUSES = MappingProxyType({2: "occasional", 5: "not always there", 6: "reserved", 7: "temporary", 8: "private"})
# "super" alone is a fuel, and neither a supermarket nor a superyacht; petroleum gas is for the galley
_FUEL_WORDS = MappingProxyType(
    {
        "gasoline": r"(?:petrol|gasoline|gasolene|benzine?|super|unleaded)\b",
        "diesel": r"(?:diesel|gas ?oil)",
    }
)
_ANY_FUEL = "|".join(_FUEL_WORDS.values())
_NO = r"\b(?:no|nor|not|neither|without|except)(?:\s+(?:more|longer|any|sales?|of|sell|selling|sold))*\s+"
_LIST = rf"(?:(?:{_ANY_FUEL})\s*(?:or|nor|and|/)\s*)*"  # "no petrol or diesel" denies both, "no petrol, diesel" the one
_GONE = r"\s+(?:is\s+|are\s+|sales?\s+|sold\s+)*(?:not\b|no longer|unavailable|discontinued|out of)"
_DENIED = re.compile(
    r"\b(no|nor|not|neither|without|except|closed|unavailable|discontinued|formerly|suspended|out of)\b", re.IGNORECASE
)


def draw_docks(chart: Chart, objects: Objects) -> None:
    """Make docks of the small craft facilities that have a fuel station.

    Parameters
    ----------
    chart
        Where they are from, and where the rows go.
    objects
        The objects SMCFAC.
    """
    for name, category, status, inform, national, shape in chart.each(objects, "CATSCF", "STATUS", "INFORM", "NINFOM"):
        if _FUEL not in codes_of(category):
            chart.sheet.count("SMCFAC", "not used: it sells no fuel, by the chart")
            continue
        point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
        called = name or placed("fuel dock", point)
        said = " / ".join(text for text in (inform, national) if text)
        sold, denied = fuels_said(said)
        states = codes_of(status)
        if _DISUSED in states or denied == set(_FUEL_WORDS):
            chart.sheet.count("SMCFAC", "not used: a fuel station that sells none any more, by the chart")
            problem = f"the chart says that it is disused or sells no fuel, and it was left out ({said or 'disused'})"
            chart.sheet.doubt("docks", called, problem, "ask, and add it if it sells", shape=point)
            continue
        notes = [f"by the chart: {', '.join(_STATUSES[code] for code in sorted(states) if code in _STATUSES)}"]
        notes = notes if states & set(_STATUSES) else []
        if not sold and denied:
            sold = [fuel for fuel in _FUEL_WORDS if fuel not in denied]
        if not sold:
            notes.insert(0, FUELS_ASSUMED)
            problem = "which fuels it sells isn't charted: both are assumed"
            chart.sheet.doubt(
                "docks", called, problem, "ask the dock", kind="dock-fuels", weight="unknown", shape=point
            )
        elif said and _DENIED.search(said):
            problem = f'what the chart says of its fuels isn\'t plain, and was read as {" and ".join(sold)}: "{said}"'
            chart.sheet.doubt(
                "docks", called, problem, "ask the dock", kind="dock-fuels", weight="doubtful", shape=point
            )
        if said:
            notes.append(f'the chart says "{said}"')
        values = {"name": called, "fuels": ",".join(sold or _FUEL_WORDS), "note": "; ".join(notes)[:1000] or None}
        chart.sheet.add("SMCFAC", "docks", values, point)


def fuels_said(text: str) -> tuple[list[str], set[str]]:
    """Read which fuels a text says are sold, and which it says aren't.

    Parameters
    ----------
    text
        What a chart says of a dock.

    Returns
    -------
    tuple[list[str], set[str]]
        Those sold; those denied, which are never among them.

    Examples
    --------
    >>> fuels_said("Diesel only, no petrol; near the supermarket")
    (['diesel'], {'gasoline'})
    >>> fuels_said("Water and ice")
    ([], set())
    >>> sorted(fuels_said("no petrol or diesel")[1])
    ['diesel', 'gasoline']
    """
    denied = {fuel for fuel, words in _FUEL_WORDS.items() if _is_denied(words, text)}
    if _is_denied(r"fuel\b", text):
        denied |= set(_FUEL_WORDS)
    said = [fuel for fuel, words in _FUEL_WORDS.items() if re.search(rf"\b{words}", text, re.IGNORECASE)]
    return [fuel for fuel in said if fuel not in denied], denied


def _is_denied(words: str, text: str) -> bool:
    return re.search(rf"{_NO}{_LIST}{words}|\b{words}{_GONE}", text, re.IGNORECASE) is not None
