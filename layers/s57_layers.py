"""Objects of a chart as rows of our layers.

Every object becomes a row or is counted with the reason why not. Where a chart leaves open what matters to a boat, the
side that keeps her out is taken, and said.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.s57_cells import class_words
from layers.s57_codes import UNUSED
from layers.s57_docks import draw_docks
from layers.s57_shapes import beside, centre_line, parts_of, placed, thickened
from layers.s57_sheet import Chart
from layers.s57_zones import ZONES, codes_of, draw_restrictions, draw_zones

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from layers.s57_cells import Cell, Objects
    from layers.s57_sheet import ChartChoices, Sheet

__all__ = ["READ_KINDS", "draw_layers"]

_SHOALER_M = 0.5  # [m] a sounding that much shoaler than its depth area is a shoal of its own
_SURE = frozenset({1, 2, 3})  # CATZOC A1, A2, B: the whole sea floor searched, or positions and depths to be relied on
_IN_THE_WAY = frozenset({1, 2, 4, 5, 6, 7})  # WATLEV: dry at some state of the tide, awash, or afloat (7: from memory)
_OPENS = frozenset({2, 3, 4, 5, 7})  # CATBRG: opening, swing, lifting, bascule, draw bridge
_BESIDE_M = 6.0  # [m] from a bridge to what it leaves when it is open: clear of both ends of the gate in it
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
_STANDING = ("BCNCAR", "BCNISD", "BCNLAT", "BCNSAW", "BCNSPP")  # beacons: piles and towers, in the water or ashore
_PLACES: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("ACHARE", "ACHBRT"), "anchorage"),
        **dict.fromkeys(("HRBARE", "HRBFAC"), "harbour"),
        **dict.fromkeys(_STANDING, "mark"),
        **dict.fromkeys(("BOYCAR", "BOYINB", "BOYISD", "BOYLAT", "BOYSAW", "BOYSPP", "LITFLT", "LITVES"), "mark"),
    }
)
_OVERHEAD = MappingProxyType({"BRIDGE": "bridge", "CBLOHD": "cable", "CONVYR": "bridge", "PIPOHD": "cable"})
_OVERHEAD_WORDS = {"CBLOHD": "overhead cable", "CONVYR": "conveyor", "PIPOHD": "overhead pipe"}
_UNKNOWN = "not used: nothing is known of such objects here"
_DEPTH_KINDS = ("DEPARE", "DRGARE", "SOUNDG", "OBSTRN", "UWTROC", "WRECKS")
_META = ("M_COVR", "M_QUAL", "M_UNIT", "M_SDAT", "M_VDAT")

READ_KINDS: tuple[str, ...] = (
    *_META,
    *("DEPARE", "DRGARE", "GATCON", "LNDARE", "SMCFAC", "SOUNDG", "UNSARE"),
    *_DANGERS,
    *_OVERHEAD,
    *_PLACES,
    *_STRUCTURES,
    *ZONES,
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
        **dict.fromkeys(ZONES, draw_zones),
        **dict.fromkeys(_PLACES, _draw_places),
        **dict.fromkeys(_OVERHEAD, _draw_overhead),
        **dict.fromkeys(("DEPARE", "DRGARE"), _draw_depths),
        "LNDARE": _draw_land,
        "SOUNDG": _draw_soundings,
        "SMCFAC": draw_docks,
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
            if kind not in ZONES:
                draw_restrictions(chart, objects)
    for kind, number in cell.counts.items():
        if kind not in cell.objects:
            sheet.count(kind, UNUSED.get(kind, _UNKNOWN), number)
            if kind not in UNUSED:
                problem = (
                    f"{number} objects {kind} ({class_words(kind)}) were not used: nobody here knows what they are"
                )
                sheet.doubt("hazards", "", problem, "look at the chart", kind="unread", weight="unknown")
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
        afloat = objects.kind == "MARCUL"  # what is farmed hangs from something that floats, however deep it is
        if depth is not None and depth >= limit_m and level not in _IN_THE_WAY and not afloat:
            chart.sheet.count(objects.kind, f"not used: {limit_m:g} m of water over it, or more")
        elif depth is None and level not in _IN_THE_WAY and (wreck == 1 or obstacle == 7):
            chart.sheet.count(objects.kind, "not used: charted as no danger to boats")
        else:
            _add_hazard(chart, objects.kind, _DANGERS[objects.kind], name, shape)


def _draw_structures(chart: Chart, objects: Objects) -> None:
    for name, mooring, shape in chart.each(objects, "CATMOR"):
        if objects.kind == "MORFAC" and mooring in _LOW_MOORINGS:
            chart.sheet.count(objects.kind, "not used: boats may lie there")
            continue
        afloat = _in_water(chart, shape)
        if afloat.is_empty:
            chart.sheet.count(objects.kind, "not used: it stands on land or along its edge")
        else:
            _add_hazard(chart, objects.kind, _STRUCTURES[objects.kind], name, afloat)


def _in_water(chart: Chart, shape: Any) -> Any:
    wet = shapely.difference(shape, chart.land) if shapely.intersects(chart.land, shape) else shape
    return parts_of(wet, shapely.get_dimensions(shape))


def _add_hazard(chart: Chart, kind: str, word: str, name: str | None, shape: Any) -> None:
    values: dict[str, object] = {"name": name, "kind": word, "keep_off_m": chart.choices.keep_off(word)}
    chart.sheet.add(kind, "hazards", values, thickened(shape))


def _draw_soundings(chart: Chart, objects: Objects) -> None:
    areas = [chart.cell.objects[kind] for kind in ("DEPARE", "DRGARE") if kind in chart.cell.objects]
    shapes = np.concatenate([area.shapes for area in areas]) if areas else np.empty(0, dtype=object)
    least = [low for area in areas for low in chart.metres(area, "DRVAL1")]
    depths = np.array(chart.metres(objects, "DEPTH"), dtype=float)
    shoal = np.flatnonzero(~(depths >= chart.choices.danger_depth_m))  # one without a depth too
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
        # where no depth area says anything, the sounding is all that is known
        if not (math.isfinite(charted) and depths[place] >= charted - _SHOALER_M):
            _add_hazard(chart, "SOUNDG", "shoal sounding", None, point)
        else:
            chart.sheet.count("SOUNDG", "not used: the depth area around it says as much")


def _draw_overhead(chart: Chart, objects: Objects) -> None:
    kind = objects.kind
    heights = {key: chart.metres(objects, key, heights=True) for key in ("VERCSA", "VERCLR", "VERCCL", "VERCOP")}
    rows = chart.each(objects, "CATBRG")
    for place, (name, category, shape) in enumerate(rows):
        closed, opened = heights["VERCCL"][place], heights["VERCOP"][place]
        opens = kind == "BRIDGE" and (bool(_OPENS & codes_of(category)) or closed is not None)
        word = ("opening bridge" if opens else "bridge") if kind == "BRIDGE" else _OVERHEAD_WORDS[kind]
        called = name or placed(word, shape)
        line = centre_line(shape)
        if line is None:
            chart.sheet.count(kind, "not used: drawn as a point, and it may hang over water")
            problem = "is drawn as a point, so that nobody knows which water it crosses"
            chart.sheet.doubt("overhead", called, problem, "draw it as a line", weight="unknown", shape=shape)
            continue
        known = [height for key in ("VERCCL", "VERCLR", "VERCSA") if (height := heights[key][place]) is not None]
        clearance = max(min(known), 0.0) if known else 0.0
        told = called
        if not known and not (opens and opened is not None):
            told = f"{called}, clearance not charted: counts as closed"
            problem = "its clearance isn't charted, and it counts as closed to every boat"
            chart.sheet.doubt("overhead", called, problem, "find its clearance", weight="unknown", shape=shape)
        chart.sheet.add(kind, "overhead", {"name": told, "kind": _OVERHEAD[kind], "clearance_m": clearance}, line)
        if opens:
            _draw_opening(chart, called, line, clearance if known else None, opened)


def _draw_opening(chart: Chart, called: str, line: Any, closed_m: float | None, open_m: float | None) -> None:
    """Let boats through a bridge while it is open, and those only that it has room for then.

    A gate has no height of its own: what an open bridge leaves is a second bridge close beside it.
    """
    opening: dict[str, object] = {"name": called, "kind": "bridge", "closed_clearance_m": closed_m}
    longest = max(shapely.get_parts(line), key=lambda p: p.length)
    middle = shapely.line_interpolate_point(longest, 0.5, normalized=True)
    chart.sheet.rows.setdefault("openings", []).append((opening, middle))
    if open_m is not None:
        values: dict[str, object] = {"name": f"{called}, when open", "kind": "bridge", "clearance_m": max(open_m, 0.0)}
        chart.sheet.rows.setdefault("overhead", []).append((values, beside(line, _BESIDE_M)))


def _draw_gates(chart: Chart, objects: Objects) -> None:
    for name, category, shape in chart.each(objects, "CATGAT"):
        line = centre_line(shape)
        if category == _LOCK and line is not None:
            chart.sheet.add("GATCON", "openings", {"name": name or placed("lock", shape), "kind": "lock"}, line)
        else:
            _add_hazard(chart, "GATCON", "gate", name, shape)


def _draw_places(chart: Chart, objects: Objects) -> None:
    for name, shape in chart.each(objects):
        if objects.kind in _STANDING and not (wet := _in_water(chart, shape)).is_empty:
            # named or not, nobody runs through it
            values: dict[str, object] = {"name": name, "kind": "beacon", "keep_off_m": chart.choices.keep_off("beacon")}
            chart.sheet.rows.setdefault("hazards", []).append((values, thickened(wet)))
            if name is None:
                chart.sheet.count(objects.kind, "layer hazards")
                continue
        if name is None:
            chart.sheet.count(objects.kind, "not used: it has no name")
            continue
        point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
        chart.sheet.add(objects.kind, "waypoints", {"name": name, "kind": _PLACES[objects.kind]}, point)
