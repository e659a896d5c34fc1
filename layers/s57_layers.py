"""Objects of a chart as rows of our layers.

Every object becomes a row or is counted with the reason why not. Where a chart leaves open what matters to a boat, the
side that keeps her out is taken, and said.
"""

from __future__ import annotations

import math
import re
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.s57_codes import RESERVED_FOR, RESTRICTIONS, UNUSED
from layers.s57_shapes import centre_line, parts_of, thickened
from layers.s57_sheet import Chart
from layers.units import METRES_PER_MI, METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from layers.s57_cells import Cell, Objects
    from layers.s57_sheet import ChartChoices, Sheet

__all__ = ["READ_KINDS", "draw_layers"]

_KNOTS = {"kn": 1.0, "kt": 1.0, "km": 1000 / METRES_PER_NMI, "mp": METRES_PER_MI / METRES_PER_NMI}
_SPEED = re.compile(r"(\d+(?:[.,]\d+)?)\s*-?\s*(kn|kt|km/h|km/hr|kmh|mph)", re.IGNORECASE)
_SHOALER_M = 0.5  # [m] a sounding that much shoaler than its depth area is a shoal of its own
_SURE = frozenset({1, 2, 3})  # CATZOC A1, A2, B: the whole sea floor searched, or positions and depths to be relied on
_DRIES = frozenset({1, 2, 4, 5, 6})  # WATLEV: dry at some state of the tide, or awash
_OPENS = frozenset({2, 3, 4, 5, 7})  # CATBRG: opening, swing, lifting, bascule, draw bridge
_FUEL = 13  # CATSCF: fuel station
_LOCK = 4  # CATGAT: lock gate

_DANGERS = MappingProxyType(  # closed unless the depth over them is known and enough
    {"OBSTRN": "obstruction", "UWTROC": "rock", "WRECKS": "wreck", "FSHFAC": "fishing gear", "MARCUL": "marine farm"}
)
_STRUCTURES = MappingProxyType(  # closed wherever they aren't on land
    {
        "CAUSWY": "causeway",
        "DAMCON": "dam",
        "FLODOC": "floating dock",
        "HULKES": "hulk",
        "LOGPON": "log pond",
        "MORFAC": "dolphin",
        "OFSPLF": "platform",
        "OILBAR": "oil barrier",
        "PILPNT": "pile",
        "PONTON": "pontoon",
        "PYLONS": "pylon",
        "RAPIDS": "rapids",
        "SLCONS": "shore construction",
        "WATFAL": "waterfall",
    }
)
_LOW_MOORINGS = frozenset({3, 4, 6, 7})  # CATMOR: bollard, wall, chain, buoy; the others stand in the water
_ZONES: Mapping[str, str | None] = MappingProxyType(  # the rule where the object itself states none; None: no zone
    {
        **dict.fromkeys(("CTNARE", "MIPARE", "PRCARE", "RESARE", "SPLARE", "TSEZNE", "TSSCRS", "TSSRON"), "caution"),
        **dict.fromkeys(("CBLARE", "CTSARE", "DMPGRD", "DWRTPT", "FSHGRD", "ICNARE", "ISTZNE", "OSPARE"), None),
        **dict.fromkeys(("PIPARE", "RCTLPT", "SUBTLN", "TWRTPT"), None),
        "FAIRWY": "fairway",
        "TSSLPT": "traffic-lane",
    }
)
_PLACES: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("ACHARE", "ACHBRT"), "anchorage"),
        **dict.fromkeys(("HRBARE", "HRBFAC"), "harbour"),
        **dict.fromkeys(("BCNCAR", "BCNISD", "BCNLAT", "BCNSAW", "BCNSPP"), "mark"),
        **dict.fromkeys(("BOYCAR", "BOYINB", "BOYISD", "BOYLAT", "BOYSAW", "BOYSPP", "LITFLT", "LITVES"), "mark"),
    }
)
_OVERHEAD = MappingProxyType({"BRIDGE": "bridge", "CBLOHD": "cable", "CONVYR": "bridge", "PIPOHD": "cable"})
_OVERHEAD_WORDS = {"CBLOHD": "overhead cable", "CONVYR": "conveyor", "PIPOHD": "overhead pipe"}
_DEPTH_KINDS = ("DEPARE", "DRGARE", "SOUNDG", "OBSTRN", "UWTROC", "WRECKS")
_META = ("M_COVR", "M_QUAL", "M_UNIT", "M_SDAT", "M_VDAT")

READ_KINDS: tuple[str, ...] = (
    *_META,
    *("DEPARE", "DRGARE", "GATCON", "LNDARE", "SMCFAC", "SOUNDG", "UNSARE"),
    *_DANGERS,
    *_OVERHEAD,
    *_PLACES,
    *_STRUCTURES,
    *_ZONES,
)
"""Classes whose shapes are needed."""


def draw_layers(cell: Cell, sheet: Sheet, choices: ChartChoices) -> None:
    """Make rows of the objects of a cell.

    Parameters
    ----------
    cell
        The cell, its objects cut to where it rules.
    sheet
        Where the rows go; what can't be made one is counted there.
    choices
        What the chart leaves open.
    """
    land = cell.objects.get("LNDARE")
    quality = cell.objects.get("M_QUAL")
    zones = [] if quality is None else list(zip(quality.get("CATZOC"), quality.shapes, strict=True))
    chart = Chart(
        cell=cell,
        sheet=sheet,
        choices=choices,
        land=shapely.union_all([] if land is None else [s for s in land.shapes if shapely.get_dimensions(s) == 2]),
        sure=shapely.union_all([shape for code, shape in zones if code in _SURE]),
        surveyed=shapely.union_all([shape for _, shape in zones]),
    )
    shapely.prepare([chart.land, chart.sure, chart.surveyed])
    drawers: dict[str, Callable[[Chart, Objects], None]] = {
        **dict.fromkeys(_DANGERS, _draw_dangers),
        **dict.fromkeys(_STRUCTURES, _draw_structures),
        **dict.fromkeys(_ZONES, _draw_zones),
        **dict.fromkeys(_PLACES, _draw_places),
        **dict.fromkeys(_OVERHEAD, _draw_overhead),
        **dict.fromkeys(("DEPARE", "DRGARE"), _draw_depths),
        "LNDARE": _draw_land,
        "SOUNDG": _draw_soundings,
        "SMCFAC": _draw_docks,
        "GATCON": _draw_gates,
    }
    told = {
        "UNSARE": "left without a depth: not surveyed",
        "M_COVR": "used: how far the chart reaches",
        "M_QUAL": "used: how far soundings can be trusted",
        "M_UNIT": "used: units of some areas",
        "M_SDAT": "used: a finding where depths are counted from another level",
        "M_VDAT": "used: a finding where heights are counted from another level",
    }
    for kind, objects in cell.objects.items():
        if kind in told:
            sheet.count(kind, told[kind], len(objects.shapes))
        else:
            drawers[kind](chart, objects)
    for kind, number in cell.counts.items():
        if kind not in cell.objects:
            sheet.count(kind, UNUSED.get(kind, "not used: nothing is known of such objects here"), number)
    _doubt_levels(chart)


def _doubt_levels(chart: Chart) -> None:
    header = chart.cell.header
    for kind, layer, own in (
        ("M_SDAT", "depth", header.sounding_datum),
        ("M_VDAT", "overhead", header.vertical_datum),
    ):
        others = chart.cell.objects.get(kind)
        for code, shape in zip(others.get("VERDAT"), others.shapes, strict=True) if others else ():
            if code is not None and code != own:
                problem = "in a part of the chart another level is counted from"
                chart.sheet.doubt(layer, "", problem, "look at the chart", shape=shape)
    for kinds, layer, own in (
        (_DEPTH_KINDS, "depth", header.sounding_datum),
        (_OVERHEAD, "overhead", header.vertical_datum),
    ):
        for kind in kinds:
            objects = chart.cell.objects.get(kind)
            other = sum(code not in {None, own} for code in objects.get("VERDAT")) if objects else 0
            if other:
                problem = f"{other} objects {kind} are counted from another level than the rest"
                chart.sheet.doubt(layer, "", problem, "look at the chart")
    if header.depth_units == 2:
        problem = "depths in fathoms and feet were read as fathoms and tenths, the shallower of two readings"
        chart.sheet.doubt("depth", "", problem, "compare a few depths with the chart")


def _draw_land(chart: Chart, objects: Objects) -> None:
    for name, shape in chart.each(objects):
        if shapely.get_dimensions(shape) == 2:
            chart.sheet.add("LNDARE", "land", {"name": name}, shape)
        else:
            _add_hazard(chart, "LNDARE", "islet", name, shape)


def _draw_depths(chart: Chart, objects: Objects) -> None:
    kind = objects.kind
    shoalest, deepest = chart.metres(objects, "DRVAL1"), chart.metres(objects, "DRVAL2")
    for (_, shape), low, high in zip(chart.each(objects), shoalest, deepest, strict=True):
        if shapely.get_dimensions(shape) < 2:
            chart.sheet.count(kind, "not used: drawn as a line")
            continue
        known = [depth for depth in (low, high) if depth is not None]
        if low is None:
            problem = "a depth area states no shallowest depth, and is left without a depth"
            chart.sheet.doubt("depth", "", problem, "look at the chart", weight="unknown", shape=shape)
            chart.sheet.count(kind, "not used: it states no shallowest depth")
            continue
        values = {"min_depth_m": min(known), "max_depth_m": max(known) if high is not None else None}
        pieces = _by_survey(chart, shape)
        for survey, piece in pieces:
            chart.sheet.rows.setdefault("depth", []).append(({**values, "survey": survey}, piece))
        chart.sheet.count(kind, "layer depth")


def _by_survey(chart: Chart, shape: Any) -> list[tuple[str | None, Any]]:
    if shapely.covers(chart.sure, shape):
        return [("good", shape)]
    rest = shape
    pieces: list[tuple[str | None, Any]] = []
    if shapely.intersects(chart.sure, shape):
        pieces.append(("good", parts_of(shapely.intersection(shape, chart.sure), 2)))
        rest = shapely.difference(shape, chart.sure)
    if shapely.intersects(chart.surveyed, rest):
        pieces.append(("poor", parts_of(shapely.intersection(rest, chart.surveyed), 2)))
        rest = shapely.difference(rest, chart.surveyed)
    pieces.append((None, parts_of(rest, 2)))
    return [(survey, piece) for survey, piece in pieces if not piece.is_empty]


def _draw_dangers(chart: Chart, objects: Objects) -> None:
    limit_m = chart.choices.danger_depth_m
    depths = chart.metres(objects, "VALSOU")
    rows = chart.each(objects, "WATLEV", "CATWRK", "CATOBS")
    for (name, level, wreck, obstacle, shape), depth in zip(rows, depths, strict=True):
        if depth is not None and depth >= limit_m and level not in _DRIES:
            chart.sheet.count(objects.kind, f"not used: {limit_m:g} m of water over it, or more")
        elif depth is None and level not in _DRIES and (wreck == 1 or obstacle == 7):
            chart.sheet.count(objects.kind, "not used: charted as no danger to boats")
        else:
            _add_hazard(chart, objects.kind, _DANGERS[objects.kind], name, shape)


def _draw_structures(chart: Chart, objects: Objects) -> None:
    for name, mooring, shape in chart.each(objects, "CATMOR"):
        if objects.kind == "MORFAC" and mooring in _LOW_MOORINGS:
            chart.sheet.count(objects.kind, "not used: boats may lie there")
            continue
        afloat = shapely.difference(shape, chart.land) if shapely.intersects(chart.land, shape) else shape
        afloat = parts_of(afloat, shapely.get_dimensions(shape))
        if afloat.is_empty:
            chart.sheet.count(objects.kind, "not used: it stands on land or along its edge")
        else:
            _add_hazard(chart, objects.kind, _STRUCTURES[objects.kind], name, afloat)


def _add_hazard(chart: Chart, kind: str, word: str, name: str | None, shape: Any) -> None:
    values: dict[str, object] = {"name": name, "kind": word, "keep_off_m": chart.choices.keep_off(word)}
    chart.sheet.add(kind, "hazards", values, thickened(shape))


def _draw_soundings(chart: Chart, objects: Objects) -> None:
    areas = [chart.cell.objects[kind] for kind in ("DEPARE", "DRGARE") if kind in chart.cell.objects]
    shapes = np.concatenate([area.shapes for area in areas]) if areas else np.empty(0, dtype=object)
    least = [low for area in areas for low in chart.metres(area, "DRVAL1")]
    depths = np.array(chart.metres(objects, "DEPTH"), dtype=float)
    shoal = np.flatnonzero(depths < chart.choices.danger_depth_m)
    deep = len(depths) - len(shoal)
    chart.sheet.count("SOUNDG", f"not used: {chart.choices.danger_depth_m:g} m deep or more", deep)
    around = np.full(len(shoal), -math.inf)
    if len(shapes):
        points, places = shapely.STRtree(shapes).query(objects.shapes[shoal], predicate="intersects")
        for point, place in zip(points, places, strict=True):
            low = least[place]
            around[point] = max(around[point], -math.inf if low is None else low)
    for place, charted in zip(shoal, around, strict=True):
        point = shapely.force_2d(objects.shapes[place])
        if depths[place] < charted - _SHOALER_M:
            _add_hazard(chart, "SOUNDG", "shoal sounding", None, point)
        else:
            chart.sheet.count("SOUNDG", "not used: the depth area around it says as much")


def _draw_overhead(chart: Chart, objects: Objects) -> None:
    kind = objects.kind
    heights = {key: chart.metres(objects, key, heights=True) for key in ("VERCSA", "VERCLR", "VERCCL", "VERCOP")}
    rows = chart.each(objects, "CATBRG")
    for place, (name, category, shape) in enumerate(rows):
        closed, fixed, safe = (heights[key][place] for key in ("VERCCL", "VERCLR", "VERCSA"))
        opens = kind == "BRIDGE" and (bool(_OPENS & _codes(category)) or closed is not None)
        called = name or (("opening bridge" if opens else "bridge") if kind == "BRIDGE" else _OVERHEAD_WORDS[kind])
        line = centre_line(shape)
        if line is None:
            chart.sheet.count(kind, "not used: drawn as a point, and it may hang over water")
            problem = "is drawn as a point, so that nobody knows which water it crosses"
            chart.sheet.doubt("overhead", called, problem, "draw it as a line", weight="unknown", shape=shape)
            continue
        known = [height for height in ((closed,) if closed is not None else (fixed, safe)) if height is not None]
        clearance = max(min(known), 0.0) if known else 0.0
        if not known and not (opens and heights["VERCOP"][place] is not None):
            problem = "its clearance isn't charted, and it counts as closed to every boat"
            chart.sheet.doubt("overhead", called, problem, "find its clearance", weight="unknown", shape=shape)
        values = {"name": called, "kind": _OVERHEAD[kind], "clearance_m": clearance}
        chart.sheet.add(kind, "overhead", values, line)
        if opens:
            opening = {"name": called, "kind": "bridge", "closed_clearance_m": clearance if known else None}
            middle = shapely.line_interpolate_point(
                max(shapely.get_parts(line), key=lambda p: p.length), 0.5, normalized=True
            )
            chart.sheet.rows.setdefault("openings", []).append((opening, middle))
            opened = heights["VERCOP"][place]
            if opened is not None and opened < 20:
                problem = f"has a clearance of {opened:g} m while it is open, which isn't checked"
                chart.sheet.doubt("openings", called, problem, "keep it in mind", shape=middle)


def _draw_gates(chart: Chart, objects: Objects) -> None:
    for name, category, shape in chart.each(objects, "CATGAT"):
        line = centre_line(shape)
        if category == _LOCK and line is not None:
            chart.sheet.add("GATCON", "openings", {"name": name or "lock", "kind": "lock"}, line)
        else:
            _add_hazard(chart, "GATCON", "gate", name, shape)


def _draw_zones(chart: Chart, objects: Objects) -> None:
    for name, restricted, reserved, orient, inform, shape in chart.each(
        objects, "RESTRN", "CATREA", "ORIENT", "INFORM"
    ):
        if shapely.get_dimensions(shape) < 2:
            chart.sheet.count(objects.kind, "not used: a point or line, which has no inside")
            continue
        rules, kinds = _codes(restricted), _codes(reserved)
        rule, limit_kn = _rule(rules, kinds, inform, _ZONES[objects.kind])
        if rule is None:
            chart.sheet.count(objects.kind, "not used: it restricts no boat on her way")
            continue
        words = [
            *(RESERVED_FOR.get(code, f"area of kind {code}") for code in sorted(kinds)),
            *(RESTRICTIONS.get(code, f"restriction {code}") for code in sorted(rules)),
            *([inform] if inform else []),
        ]
        default = _ZONE_WORDS[objects.kind]
        values = {
            "name": name or default,
            "rule": rule,
            "limit_kn": limit_kn,
            "direction_deg": orient % 360 if rule == "traffic-lane" and orient is not None else None,
            "why": "; ".join(words)[:1000] or default,
        }
        chart.sheet.add(objects.kind, "zones", values, shape)
        if rule == "caution" and 8 in rules:
            problem = "entry is restricted, and the chart doesn't say for whom"
            chart.sheet.doubt(
                "zones", name or default, problem, "ask, and close it if it is meant for you", shape=shape
            )
        if rule == "caution" and 27 in rules:
            problem = "speed is restricted, and the chart doesn't say to what"
            chart.sheet.doubt(
                "zones", name or default, problem, "ask, and add the limit", weight="unknown", shape=shape
            )


_ZONE_WORDS = {
    "CBLARE": "cable area",
    "CTNARE": "caution area",
    "CTSARE": "cargo transfer area",
    "DMPGRD": "dumping ground",
    "DWRTPT": "deep water route",
    "FAIRWY": "fairway",
    "FSHGRD": "fishing ground",
    "ICNARE": "incineration area",
    "ISTZNE": "inshore traffic zone",
    "MIPARE": "military practice area",
    "OSPARE": "offshore production area",
    "PIPARE": "pipeline area",
    "PRCARE": "precautionary area",
    "RCTLPT": "recommended traffic lane",
    "RESARE": "restricted area",
    "SPLARE": "seaplane landing area",
    "SUBTLN": "submarine transit lane",
    "TSEZNE": "traffic separation zone",
    "TSSCRS": "traffic separation crossing",
    "TSSLPT": "traffic lane",
    "TSSRON": "traffic separation roundabout",
    "TWRTPT": "two-way route",
}


def _rule(
    rules: set[int], kinds: set[int], inform: str | None, otherwise: str | None
) -> tuple[str | None, float | None]:
    if rules & {7, 14}:
        return "no-entry", None
    speed = _SPEED.search(inform or "")
    if speed and 27 in rules and float(speed[1].replace(",", ".")) > 0:
        return "speed-limit", round(float(speed[1].replace(",", ".")) * _KNOTS[speed[2].lower()[:2]], 2)
    if 13 in rules or 24 in kinds:
        return "no-wake", None
    if rules & {8, 27} and otherwise != "traffic-lane":
        return "caution", None
    return otherwise, None


def _draw_docks(chart: Chart, objects: Objects) -> None:
    for name, category, inform, national, shape in chart.each(objects, "CATSCF", "INFORM", "NINFOM"):
        if _FUEL not in _codes(category):
            chart.sheet.count("SMCFAC", "not used: it sells no fuel, by the chart")
            continue
        point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
        called = name or f"fuel dock at {abs(point.y):.4f}{'NS'[point.y < 0]} {abs(point.x):.4f}{'EW'[point.x < 0]}"
        said = " ".join(text for text in (inform, national) if text)
        sold = [fuel for fuel, words in _FUEL_WORDS.items() if re.search(words, said, re.IGNORECASE)]
        if not sold:
            problem = "which fuels it sells isn't charted: both are assumed"
            chart.sheet.doubt("docks", called, problem, "call the dock", weight="unknown", shape=point)
        values = {"name": called, "fuels": ",".join(sold or _FUEL_WORDS), "note": said or None}
        chart.sheet.add("SMCFAC", "docks", values, point)


_FUEL_WORDS = {"gasoline": r"\b(petrol|gasoline|gasolene|benzin|super|unleaded)", "diesel": r"\b(diesel|gas ?oil)\b"}


def _draw_places(chart: Chart, objects: Objects) -> None:
    for name, shape in chart.each(objects):
        if name is None:
            chart.sheet.count(objects.kind, "not used: it has no name")
            continue
        point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
        chart.sheet.add(objects.kind, "waypoints", {"name": name, "kind": _PLACES[objects.kind]}, point)


def _codes(text: object) -> set[int]:
    """Return the numbers of a list such as ``13,12``."""
    return {int(part) for part in re.findall(r"\d+", str(text or ""))}
