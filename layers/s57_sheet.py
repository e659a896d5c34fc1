"""What the rows of a chart are drawn on: choices, the sheet that gathers rows and counts, and a chart's units."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import shapely

from layers.findings_kinds import Finding
from layers.units import METRES_PER_FATHOM, METRES_PER_FT

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from layers.s57_cells import Cell, Objects

__all__ = ["KEEP_OFF_M", "Chart", "ChartChoices", "Sheet", "check_units"]

_METRES_PER_DEPTH_UNIT = {1: 1.0, 2: METRES_PER_FATHOM, 3: METRES_PER_FT, 4: METRES_PER_FATHOM}  # attribute DUNITS
_METRES_PER_HEIGHT_UNIT = {1: 1.0, 2: METRES_PER_FT}  # attribute HUNITS
KEEP_OFF_M: Mapping[str, float] = MappingProxyType(  # m; our choice, see `ChartChoices`
    {
        "rock": 30.0,
        "wreck": 50.0,
        "obstruction": 50.0,
        "islet": 30.0,
        "shoal sounding": 30.0,
        "fishing gear": 20.0,
        "marine farm": 20.0,
        "platform": 100.0,
        "closed spot": 100.0,
        "dam": 50.0,
        "waterfall": 50.0,
        "rapids": 20.0,
        "other": 5.0,
    }
)


@dataclass(frozen=True)
class ChartChoices:
    """What a chart leaves to the reader.

    Parameters
    ----------
    danger_depth_m
        [m] A rock, wreck or sounding with as much water over it, by the chart's datum, bars no boat. No boat that is
        planned for draws nearly as much.
    keep_off_m
        [m] Distance to stay away, by the kind of hazard; kinds that aren't named have that of ``other``. Our choice:
        a point on a chart is a mark of a millimetre, and the dangers spread about it.
    """

    danger_depth_m: float = 5.0
    keep_off_m: Mapping[str, float] = field(default_factory=lambda: dict(KEEP_OFF_M))

    def keep_off(self, kind: str) -> float:
        """[m] Look up the distance to stay away from a kind of hazard.

        Parameters
        ----------
        kind
            The kind, as in layer hazards.

        Returns
        -------
        float
            [m] The distance.
        """
        return self.keep_off_m.get(kind, self.keep_off_m.get("other", 5.0))


@dataclass
class Sheet:
    """What became of the objects of a cell, being drawn.

    Parameters
    ----------
    name
        Of the cell.
    rows
        Values and shape of each row, by our layer.
    became
        What became of how many objects, by their class.
    findings
        What is doubtful.
    """

    name: str
    rows: dict[str, list[tuple[dict[str, object], Any]]] = field(default_factory=dict)
    became: dict[str, Counter[str]] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    def count(self, kind: str, became: str, number: int = 1) -> None:
        """Note what became of objects of a class.

        Parameters
        ----------
        kind
            The class.
        became
            What became of them.
        number
            How many.
        """
        if number:
            self.became.setdefault(kind, Counter())[became] += number

    def add(self, kind: str, layer: str, values: dict[str, object], shape: Any) -> None:
        """Add a row, and note it.

        Parameters
        ----------
        kind
            The class of the object that it was made of.
        layer
            Our layer.
        values
            By column.
        shape
            [deg] Where it is.
        """
        self.rows.setdefault(layer, []).append((values, shape))
        self.count(kind, f"layer {layer}")

    def doubt(self, layer: str, name: str, problem: str, remedy: str, **more: Any) -> None:
        """Note something doubtful.

        Parameters
        ----------
        layer
            Our layer.
        name
            Of the thing; empty where it has none.
        problem
            What is doubtful.
        remedy
            What to do about it.
        **more
            Kind, weight and shape, as `Finding` takes them.
        """
        self.findings.append(Finding(layer, 0, name, f"{problem} ({self.name})", remedy, **more))


@dataclass(frozen=True)
class Chart:
    """A cell, and what its rows need to know of it as a whole.

    Parameters
    ----------
    cell
        The cell, its objects cut to where it rules.
    sheet
        Where its rows go.
    choices
        What it leaves open.
    land
        [deg] All its land.
    sure
        [deg] Where soundings can be relied on.
    surveyed
        [deg] Where it says how far they can be.
    """

    cell: Cell
    sheet: Sheet
    choices: ChartChoices
    land: Any
    sure: Any
    surveyed: Any

    def metres(self, objects: Objects, attribute: str, *, heights: bool = False) -> list[float | None]:
        """[m] Read depths or heights, which a chart may have in other units in some of its areas.

        Parameters
        ----------
        objects
            Objects of a class.
        attribute
            Its six letters.
        heights
            Whether it is a height and not a depth.

        Returns
        -------
        list[float | None]
            [m] For every object; None where it has none.
        """
        units = _METRES_PER_HEIGHT_UNIT if heights else _METRES_PER_DEPTH_UNIT
        own = units[self.cell.header.height_units if heights else self.cell.header.depth_units]
        per_unit = [own] * len(objects.shapes)
        areas = self.cell.objects.get("M_UNIT")
        if areas is not None:
            middles = shapely.point_on_surface(objects.shapes)  # neighbours touch the area too
            for code, area in zip(areas.get("HUNITS" if heights else "DUNITS"), areas.shapes, strict=True):
                inside = shapely.intersects(area, middles) if code in units else ()
                per_unit = [units[code] if was else per for per, was in zip(per_unit, inside, strict=False)] or per_unit
        found = objects.get(attribute)
        # a hundredth of a millimetre: so that 12 ft don't come out as 3.6576000000000004 m
        return [None if v is None else round(v * per, 5) for v, per in zip(found, per_unit, strict=True)]

    def each(self, objects: Objects, *attributes: str) -> Iterator[tuple[Any, ...]]:
        """Go through objects one by one.

        Parameters
        ----------
        objects
            Objects of a class.
        *attributes
            Those wanted, each by its six letters.

        Yields
        ------
        tuple[Any, ...]
            Name, attributes and shape of each.
        """
        names = [own or national for own, national in zip(objects.get("OBJNAM"), objects.get("NOBJNM"), strict=True)]
        yield from zip(names, *(objects.get(key) for key in attributes), objects.shapes, strict=True)


def check_units(cell: Cell) -> str:
    """Tell what is wrong with the units of a cell.

    Parameters
    ----------
    cell
        The cell.

    Returns
    -------
    str
        What is wrong, in words; empty where nothing is.
    """
    if cell.header.depth_units not in _METRES_PER_DEPTH_UNIT:
        return f"states no unit of depths that is known (its code is {cell.header.depth_units})"
    if cell.header.height_units not in _METRES_PER_HEIGHT_UNIT:
        return f"states no unit of heights that is known (its code is {cell.header.height_units})"
    return ""
