"""Places of one name: the same row twice is kept once, two that differ are told, a file's own beats the chart's.

A plan names its places, so that each must have a name of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pyproj import Geod

from layers.gathering import CHARTS
from layers.plane import METRES_PER_NMI
from layers.s57_codes import FUELS_ASSUMED
from layers.tables import BadEntry

if TYPE_CHECKING:
    from layers.gathering import Gathered, GatheredRow

__all__ = ["settle_namesakes"]

_SAME_PLACE_NMI = 1.0  # [nmi] a chart's place and a person's of the same name that lie nearer are one
_GEOD = Geod(ellps="WGS84")


def settle_namesakes(gathered: Gathered) -> list[str]:
    """Settle what to do with docks, and with waypoints, of one name.

    Parameters
    ----------
    gathered
        The rows; those that aren't kept are taken out, and each whose name another row of a file has is a fault.

    Returns
    -------
    list[str]
        What was taken out, in words.
    """
    notes = []
    for name in ("docks", "waypoints"):
        if name in gathered.layers:
            layer = gathered.layers[name]
            first: dict[str, GatheredRow] = {}
            dropped = set()
            for row in sorted(layer.rows, key=lambda row: row.file == CHARTS):  # a person's own come first
                key = " ".join(str(row.values.get("name") or "").casefold().split())
                other = first.setdefault(key, row) if key and row.shape is not None else row
                if other is not row and (note := _note(name, row, other, gathered.faults)):
                    notes.append(note)
                    dropped.add(id(row))
            layer.rows = [row for row in layer.rows if id(row) not in dropped]
    return notes


def _note(layer: str, row: GatheredRow, other: GatheredRow, faults: list[BadEntry]) -> str:
    """Say why a row is dropped; empty where it isn't."""
    called = row.values["name"]
    away_nmi = _apart_nmi(row.shape, other.shape)
    if row.values == other.values and away_nmi == 0:
        return f"{layer}: {called!r} is there twice over, {other.told} and {row.told}: kept once"
    if row.file == CHARTS:
        if other.file != CHARTS and away_nmi < _SAME_PLACE_NMI:
            return f"{layer}: {called!r} is taken from {other.told}, and not from the chart{_contradiction(row, other)}"
        return ""
    rule = f"has the name of another, {other.told}, and differs from it: rename one, so that a plan can name it"
    faults.append(BadEntry(row.file, row.row, "name", str(called), rule))
    return ""


def _contradiction(charted: GatheredRow, own: GatheredRow) -> str:
    """Say where the chart and a file differ on what a dock sells."""
    on_chart, in_file = charted.values.get("fuels"), own.values.get("fuels")
    assumed = FUELS_ASSUMED in str(charted.values.get("note") or "")
    if assumed or not on_chart or not in_file or on_chart == in_file:
        return ""
    return f"; they contradict: it sells {in_file} by the file and {on_chart} by the chart, so ask the dock"


def _apart_nmi(one: Any, other: Any) -> float:
    """[nmi] Between two points."""
    return float(_GEOD.inv(one.x, one.y, other.x, other.y)[2]) / METRES_PER_NMI
