"""Data that is possible and still doubtful: what a careful skipper would ask about.

A finding never stops a plan. What can't be right at all is a `layers.errors.BadRow` and does.

::

    findings_kinds    a finding, its kinds, what each can do
    findings_seen     a region as the questions below need it
    findings_extent   the extent and what lies outside it
    findings_cover    what depths and coast cover
    findings_shapes   land over land, bridges, places off the shore
    findings_rows     figures, hours, docks, names, rules, sources
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from layers.findings_cover import find_bare_sides, find_depth_doubts
from layers.findings_extent import extent_is_wrong, find_misplaced
from layers.findings_kinds import Finding, capped
from layers.findings_rows import (
    STALE_DAYS,
    find_absent,
    find_dock_doubts,
    find_doubtful_hours,
    find_namesakes,
    find_old,
    find_rules,
    find_unusual,
    find_warned,
)
from layers.findings_seen import Seen
from layers.findings_shapes import find_bridge_doubts, find_land_over_land, find_stray_places

if TYPE_CHECKING:
    from datetime import date

    from layers.region import Region

__all__ = ["STALE_DAYS", "Finding", "find_doubts"]


def find_doubts(region: Region, *, today: date) -> tuple[Finding, ...]:
    """Find what is possible in a region's data and still doubtful.

    Parameters
    ----------
    region
        The region.
    today
        The day from which ages and hours are judged.

    Returns
    -------
    tuple[Finding, ...]
        What was left out in reading first, then what is doubtful; of one kind and layer twenty at the most, then one
        that stands for the rest. Where the extent itself is wrong, nothing is measured in it.

    Examples
    --------
    >>> import shapely
    >>> from datetime import date
    >>> from layers.about import RegionAbout
    >>> from layers.checking import build_layer
    >>> from layers.region import build_region
    >>> from layers.schema import LAYERS
    >>> about = RegionAbout(name="Nowhere", extent=(-39, 44, -37, 45), time_zone="UTC", chart_datum="LAT",
    ...                     clearance_datum="MHWS", currency="EUR")
    >>> lane = {"name": "Cape lane", "rule": "traffic-lane", "why": "ships"}
    >>> zones = build_layer(LAYERS["zones"], [lane], [shapely.box(-38, 44.2, -37.9, 44.3)])
    >>> doubts = find_doubts(build_region(about, {"zones": zones}), today=date(2026, 7, 1))
    >>> [doubt.problem for doubt in doubts if doubt.row == 1]
    ['the direction of its traffic is not known']
    """
    seen = Seen(region, today)
    found = [
        *region.notes,
        *find_absent(seen),
        *find_warned(seen),
        *find_old(seen),
        *find_misplaced(seen),
        *find_unusual(seen),
    ]
    if not extent_is_wrong(found):
        found += [
            *find_bare_sides(seen),
            *find_depth_doubts(seen),
            *find_land_over_land(seen),
            *find_bridge_doubts(seen),
            *find_stray_places(seen),
        ]
    found += [*find_doubtful_hours(seen), *find_dock_doubts(seen), *find_namesakes(seen), *find_rules(seen)]
    return capped(found)
