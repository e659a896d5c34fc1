"""What a doubt about a region is: a finding, the kinds there are, and how grave each is."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["EXTENT", "GROUPS", "KINDS", "Finding", "Kind", "capped", "group_of", "in_order_of_danger", "kind_of"]

EXTENT = "extent"
"""What stands for a layer's name where a finding is about the region's extent."""

MOST_TOLD = 20  # of one kind, one by one: the rest is a number, for nobody mends the hundredth by reading its line

Group = Literal["aground", "fuel", "other"]
Weight = Literal["wrong", "doubtful", "unknown"]

GROUPS: Mapping[Group, str] = MappingProxyType(
    {
        "aground": "could put you aground, or under a bridge that is too low",
        "fuel": "could leave you without fuel",
        "other": "may mislead a plan in some other way",
    }
)
"""What findings are grouped by, the gravest first, and what each can do."""

_GROUP_OF_LAYER: Mapping[str, Group] = MappingProxyType(
    {
        EXTENT: "aground",
        "land": "aground",
        "depth": "aground",
        "hazards": "aground",
        "overhead": "aground",
        "docks": "fuel",
    }
)


@dataclass(frozen=True)
class Kind:
    """One kind of finding.

    Parameters
    ----------
    one, many
        What it is called, alone and counted.
    group
        What it can do; None where that depends on the layer.
    """

    one: str
    many: str
    group: Group | None = None


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "extent": Kind("extent that doesn't fit the layers", "extents that don't fit the layers"),
        "absent": Kind("layer absent or empty", "layers absent or empty"),
        "zero": Kind("row at latitude 0, longitude 0", "rows at latitude 0, longitude 0"),
        "misplaced": Kind("row in the wrong place", "rows in the wrong place"),
        "outside": Kind("row outside the extent", "rows outside the extent"),
        "coast": Kind("coast that is missing", "coasts that are missing", "aground"),
        "bare": Kind("part of the extent without any coast", "parts of the extent without any coast", "aground"),
        "depth-gap": Kind("gap in the charted depths", "gaps in the charted depths", "aground"),
        "absurd": Kind("figure that is hard to believe", "figures that are hard to believe"),
        "bridge": Kind("bridge or cable that is drawn wrong", "bridges or cables that are drawn wrong", "aground"),
        "warning": Kind("warning of a source", "warnings of a source"),
        "old-chart": Kind("old chart", "old charts"),
        "dock-reach": Kind("dock out of reach", "docks out of reach", "fuel"),
        "dock-fuels": Kind("dock whose fuels are assumed", "docks whose fuels are assumed", "fuel"),
        "dock-place": Kind("dock that lies off the water's edge", "docks that lie off the water's edge", "fuel"),
        "apart": Kind("separate water with docks or places", "separate waters with docks or places"),
        "unconfirmed": Kind("dock not confirmed lately", "docks not confirmed lately", "fuel"),
        "dock-unknown": Kind("dock with figures missing", "docks with figures missing", "fuel"),
        "dock-price": Kind("dock with a doubtful price", "docks with a doubtful price", "fuel"),
        "hours": Kind("row with doubtful hours", "rows with doubtful hours"),
        "unread": Kind("thing that was not read", "things that were not read"),
        "place-reach": Kind("place out of reach", "places out of reach", "other"),
        "place-ashore": Kind("place on land", "places on land", "other"),
        "land-overlap": Kind("overlap of land", "overlaps of land", "other"),
        "depth-overlap": Kind("contradiction in the depths", "contradictions in the depths", "aground"),
        "beyond": Kind("layer that goes on beyond the extent", "layers that go on beyond the extent", "other"),
        "namesake": Kind("name given twice", "names given twice", "other"),
        "opening": Kind("opening that opens no bridge", "openings that open no bridge", "other"),
        "rule": Kind("rule or stream that can't be read", "rules or streams that can't be read", "other"),
        "source": Kind("layer without a stated source", "layers without a stated source", "other"),
        "remark": Kind("remark", "remarks"),
    }
)
"""Kinds of findings by name, in the order in which they are told inside a group."""


@dataclass(frozen=True)
class Finding:
    """Something doubtful in a region.

    Parameters
    ----------
    layer
        Name of the layer; `EXTENT` where it concerns the region's extent.
    row
        Row number as the file counts it, from 1; 0 where it concerns the whole layer.
    name
        Name of the thing, where it has one.
    problem
        What is doubtful, in plain words.
    remedy
        What to do about it; empty where the problem says it.
    kind
        Its kind, out of `KINDS`.
    weight
        ``wrong`` where it can't be so, ``unknown`` where nobody knows, else ``doubtful``.
    shape
        [deg] Where it is, on WGS 84; None where it has no place.
    count
        How many things it stands for: more than one where only their number is told.
    """

    layer: str
    row: int
    name: str
    problem: str
    remedy: str
    kind: str = "remark"
    weight: Weight = "doubtful"
    shape: Any = field(default=None, compare=False, repr=False)
    count: int = 1

    def __str__(self) -> str:
        """Return the finding as one line.

        Examples
        --------
        >>> str(Finding("docks", 3, "Knap Quay", "its hours are not known", "ask the dock"))
        'layer docks, row 3, Knap Quay: its hours are not known: ask the dock'
        """
        layer = self.layer if self.layer == EXTENT else f"layer {self.layer}"
        row = f", row {self.row}" if self.row else ""
        name = f", {self.name}" if self.name else ""
        remedy = f": {self.remedy}" if self.remedy else ""
        return " ".join(f"{layer}{row}{name}: {self.problem}{remedy}".split())

    @property
    def position(self) -> tuple[float, float] | None:
        """[deg] Longitude and latitude of a point of it, inside its largest part; None where it has no place."""
        if self.shape is None or self.shape.is_empty:
            return None
        largest = max(shapely.get_parts(self.shape), key=lambda part: (part.area, part.length))
        point = (
            largest.interpolate(0.5, normalized=True)
            if largest.geom_type == "LineString"
            else shapely.point_on_surface(largest)
        )
        return float(point.x), float(point.y)


def kind_of(finding: Finding) -> Kind:
    """Look up a finding's kind.

    Parameters
    ----------
    finding
        The finding.

    Returns
    -------
    Kind
        Its kind; that of a remark where nobody knows its name.
    """
    return KINDS.get(finding.kind, KINDS["remark"])


def group_of(finding: Finding) -> Group:
    """Tell what a finding can do.

    Parameters
    ----------
    finding
        The finding.

    Returns
    -------
    Group
        Its kind's group, or else its layer's.

    Examples
    --------
    >>> group_of(Finding("docks", 3, "Knap Quay", "its hours are not known", "ask the dock"))
    'fuel'
    """
    return kind_of(finding).group or _GROUP_OF_LAYER.get(finding.layer, "other")


def in_order_of_danger(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Put what could put a boat aground first, then what could leave her without fuel, then the rest.

    Parameters
    ----------
    findings
        Findings in any order.

    Returns
    -------
    tuple[Finding, ...]
        The same ones; those of one kind and group lie together, in the order they came in.
    """
    groups, kinds = list(GROUPS), list(KINDS)
    return tuple(sorted(findings, key=lambda f: (groups.index(group_of(f)), kinds.index(_known(f.kind)))))


def capped(findings: Iterable[Finding], most: int = MOST_TOLD) -> tuple[Finding, ...]:
    """Keep so many of each kind of each layer, and count the rest.

    Parameters
    ----------
    findings
        Findings; of one kind the first are kept, and all that stand for several things themselves.
    most
        How many are kept.

    Returns
    -------
    tuple[Finding, ...]
        Those kept, in their order, each kind followed by one that stands for the rest where there is a rest.

    Examples
    --------
    >>> docks = [Finding("docks", row, "", "was never confirmed", "call it", "unconfirmed") for row in range(1, 6)]
    >>> [str(finding) for finding in capped(docks, most=4)][3:]
    ['layer docks, row 4: was never confirmed: call it', 'layer docks: 1 more of this kind']
    """
    told: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        told.setdefault((finding.kind, finding.layer), []).append(finding)
    kept: list[Finding] = []
    for (kind, layer), found in told.items():
        single = [finding for finding in found if finding.count == 1]
        rest = single[most:]
        kept += [*single[:most], *(finding for finding in found if finding.count > 1)]
        if rest:
            number = len(rest)
            weight = "wrong" if any(finding.weight == "wrong" for finding in rest) else rest[0].weight
            kept.append(Finding(layer, 0, "", f"{number} more of this kind", "", kind, weight, count=number))
    return tuple(kept)


def _known(kind: str) -> str:
    return kind if kind in KINDS else "remark"
