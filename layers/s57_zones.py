"""Areas of a chart where something is restricted, as rows of layer zones: of several rules, each that holds.

An object that is something else too (a dredged cut, an anchorage, a marine farm) gets its zone besides what it is.
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import shapely

from layers.s57_codes import RESERVED_FOR, RESTRICTIONS
from layers.s57_shapes import thickened
from layers.units import METRES_PER_MI, METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Mapping

    from layers.s57_cells import Objects
    from layers.s57_sheet import Chart

__all__ = ["ZONES", "codes_of", "draw_restrictions", "draw_zones", "speeds_kn"]

_MPH = METRES_PER_MI / METRES_PER_NMI
_KNOTS = MappingProxyType({"kn": 1.0, "kt": 1.0, "km": 1000 / METRES_PER_NMI, "mp": _MPH, "mi": _MPH})
_NUMBER = r"\d+(?:[.,]\d+)?"
_SPEED = re.compile(  # one number or several, as in "5-8 kn", "5 or 8 knots"
    rf"({_NUMBER}(?:\s*(?:-|\u2013|/|,|;|&|to|or|and)?\s*{_NUMBER})*)\s*-?\s*"
    r"(kn|kt|km/h|km/hr|kmh|kmph|mph|miles per hour)",
    re.IGNORECASE,
)
_SHUT = frozenset({7, 14})  # RESTRN: entry prohibited, area to be avoided
_RESTRICTED, _NO_WAKE, _SPEED_RESTRICTED = 8, 13, 27  # RESTRN
_MINEFIELD, _NO_WAKE_AREA = 14, 24  # CATREA
_SPOT = "closed spot"  # kind of hazard: a place that is shut, and drawn without an inside

ZONES: Mapping[str, str | None] = MappingProxyType(  # the rule where the object itself states none; None: no zone
    {
        **dict.fromkeys(("CTNARE", "MIPARE", "PRCARE", "RESARE", "SPLARE", "TSEZNE", "TSSCRS", "TSSRON"), "caution"),
        **dict.fromkeys(("CBLARE", "CTSARE", "DMPGRD", "DWRTPT", "FSHGRD", "ICNARE", "ISTZNE", "OSPARE"), None),
        **dict.fromkeys(("PIPARE", "RCTLPT", "SUBTLN", "TESARE", "TWRTPT"), None),
        **dict.fromkeys(("NEWOBJ", "WATTUR", "WEDKLP"), "caution"),
        "FAIRWY": "fairway",
        "TSSLPT": "traffic-lane",
    }
)
"""Classes that are zones and nothing else."""

_WORDS = MappingProxyType(
    {
        "ACHARE": "anchorage",
        "CBLARE": "cable area",
        "CTNARE": "caution area",
        "CTSARE": "cargo transfer area",
        "DMPGRD": "dumping ground",
        "DRGARE": "dredged area",
        "DWRTPT": "deep water route",
        "FAIRWY": "fairway",
        "FSHGRD": "fishing ground",
        "ICNARE": "incineration area",
        "ISTZNE": "inshore traffic zone",
        "MARCUL": "marine farm",
        "MIPARE": "military practice area",
        "NEWOBJ": "object of a new kind",
        "OSPARE": "offshore production area",
        "PIPARE": "pipeline area",
        "PRCARE": "precautionary area",
        "RCTLPT": "recommended traffic lane",
        "RESARE": "restricted area",
        "SPLARE": "seaplane landing area",
        "SUBTLN": "submarine transit lane",
        "TESARE": "territorial sea",
        "TSEZNE": "traffic separation zone",
        "TSSCRS": "traffic separation crossing",
        "TSSLPT": "traffic lane",
        "TSSRON": "traffic separation roundabout",
        "TWRTPT": "two-way route",
        "WATTUR": "overfalls or breakers",
        "WEDKLP": "weed or kelp",
    }
)


def draw_zones(chart: Chart, objects: Objects) -> None:
    """Make zones of objects that are nothing else.

    Parameters
    ----------
    chart
        Where they are from, and where the rows go.
    objects
        Objects of one class of `ZONES`; those that restrict no boat are counted only.
    """
    _draw(chart, objects, counted=True)


def draw_restrictions(chart: Chart, objects: Objects) -> None:
    """Make zones of objects that are something else too, and were counted as that.

    Parameters
    ----------
    chart
        Where they are from, and where the rows go.
    objects
        Objects of one class that isn't in `ZONES`; most have no restriction.
    """
    if any(objects.get("RESTRN")) or any(objects.get("CATREA")):
        _draw(chart, objects, counted=False)


def speeds_kn(text: str | None) -> list[float]:
    """[kn] Read the speeds that a text names, each once.

    Parameters
    ----------
    text
        Any text; None counts as empty.

    Returns
    -------
    list[float]
        [kn] Slowest first; empty where it names none.

    Examples
    --------
    >>> speeds_kn("12 kn by day, 5 kn by night"), speeds_kn("5-8 knots"), speeds_kn("vessels over 12 m")
    ([5.0, 12.0], [5.0, 8.0], [])
    """
    found = {
        round(float(number.replace(",", ".")) * _KNOTS[unit.lower()[:2]], 2)
        for numbers, unit in _SPEED.findall(text or "")
        for number in re.findall(_NUMBER, numbers)
    }
    return sorted(speed for speed in found if speed >= 0.1)


def codes_of(text: object) -> set[int]:
    """Return the numbers of a list such as ``13,12``.

    Parameters
    ----------
    text
        The list; None counts as empty.

    Returns
    -------
    set[int]
        Its numbers.

    Examples
    --------
    >>> sorted(codes_of("13,12"))
    [12, 13]
    """
    return {int(part) for part in re.findall(r"\d+", str(text or ""))}


def _draw(chart: Chart, objects: Objects, *, counted: bool) -> None:
    kind, default = objects.kind, _WORDS.get(objects.kind, "restricted water")
    for name, restricted, reserved, orient, inform, national, shape in chart.each(
        objects, "RESTRN", "CATREA", "ORIENT", "INFORM", "NINFOM"
    ):
        rules, kinds = codes_of(restricted), codes_of(reserved)
        said = " / ".join(text for text in (inform, national) if text)
        speeds = speeds_kn(said) if _SPEED_RESTRICTED in rules else []
        held = _rules(kind, rules, kinds, speeds)
        if not held:
            if counted:
                chart.sheet.count(kind, "not used: it restricts no boat on her way")
            continue
        words = [
            *(RESERVED_FOR.get(code, f"area of kind {code}") for code in sorted(kinds)),
            *(RESTRICTIONS.get(code, f"restriction {code}") for code in sorted(rules)),
            *([said] if said else []),
        ]
        why = "; ".join(words)[:1000] or default
        if shapely.get_dimensions(shape) < 2:
            _draw_spot(chart, kind, (name, default, why), shape, shut="no-entry" in held, counted=counted)
            continue
        for rule in held:
            values = {
                "name": name or default,
                "rule": rule,
                "limit_kn": speeds[0] if rule == "speed-limit" else None,
                "direction_deg": orient % 360 if rule == "traffic-lane" and orient is not None else None,
                "why": why,
            }
            chart.sheet.rows.setdefault("zones", []).append((values, shape))
        if counted:
            chart.sheet.count(kind, "layer zones")
        if "no-entry" not in held:
            _doubt(chart, name or default, rules, speeds, shape)


def _rules(kind: str, rules: set[int], kinds: set[int], speeds: list[float]) -> list[str]:
    """List all rules that hold: one that shuts the water makes the others idle, and no other does."""
    if rules & _SHUT or _MINEFIELD in kinds:
        return ["no-entry"]
    held = []
    if speeds:
        held.append("speed-limit")
    if _NO_WAKE in rules or _NO_WAKE_AREA in kinds:
        held.append("no-wake")
    own = ZONES.get(kind)
    if own in {"fairway", "traffic-lane"}:
        held.append(own)
    # what a speed limit, or the lack of one, doesn't tell
    rest = (rules - {_NO_WAKE} - ({_SPEED_RESTRICTED} if speeds else set())) | (kinds - {_NO_WAKE_AREA})
    unsaid = bool(rules & {_RESTRICTED}) or (_SPEED_RESTRICTED in rules and not speeds)
    caution = own == "caution" and (kind != "RESARE" or bool(rest) or not held)
    if (unsaid and own != "traffic-lane") or caution:
        held.append("caution")
    return held


def _draw_spot(
    chart: Chart, kind: str, words: tuple[str | None, str, str], shape: Any, *, shut: bool, counted: bool
) -> None:
    """Keep off a place that is shut and has no inside; tell of any other."""
    name, default, why = words
    became = "not used: a point or line, which has no inside"
    problem = f"is drawn as a point or line, so that nobody knows how far it reaches ({why})"
    if shut:
        values: dict[str, object] = {
            "name": name or default,
            "kind": _SPOT,
            "keep_off_m": chart.choices.keep_off(_SPOT),
        }
        chart.sheet.rows.setdefault("hazards", []).append((values, thickened(shape)))
        became = "layer hazards"
    if counted:
        chart.sheet.count(kind, became)
    remedy = "look at the chart, and draw it as an area"
    chart.sheet.doubt("hazards" if shut else "zones", name or default, problem, remedy, weight="unknown", shape=shape)


def _doubt(chart: Chart, called: str, rules: set[int], speeds: list[float], shape: Any) -> None:
    if _RESTRICTED in rules:
        problem = "entry is restricted, and the chart doesn't say for whom"
        chart.sheet.doubt("zones", called, problem, "ask, and close it if it is meant for you", shape=shape)
    if _SPEED_RESTRICTED in rules and not speeds:
        problem = "speed is restricted, and the chart doesn't say to what"
        chart.sheet.doubt("zones", called, problem, "ask, and add the limit", weight="unknown", shape=shape)
    if len(speeds) > 1:
        told = ", ".join(f"{speed:g}" for speed in speeds)
        problem = f"the chart names several speeds ({told} kn): the least is taken"
        chart.sheet.doubt("zones", called, problem, "look at the chart when each holds", shape=shape)
