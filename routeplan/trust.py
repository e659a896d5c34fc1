"""Whether a region can be trusted: its findings, and what of it a small boat can't get to, and why.

`layers.findings` judges the data; this looks at the water that they leave, with the eyes of the smallest boat that is
planned for, so that what is out of her reach is out of every boat's.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import networkx as nx
import numpy as np
import shapely

from layers.findings import find_doubts
from layers.findings_extent import extent_is_wrong
from layers.findings_kinds import Finding, capped, group_of, in_order_of_danger
from layers.findings_seen import row_numbers
from routeplan.approaches import find_attachments
from routeplan.boats import build_boat
from routeplan.margins import Margins
from routeplan.water import build_water

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from layers import Region
    from routeplan.approaches import Attachment
    from routeplan.boats import Boat
    from routeplan.water import Water

__all__ = ["SMALLEST_DRAUGHT_M", "SMALLEST_HEIGHT_M", "Trust", "look_at_trust", "smallest_boat"]

SMALLEST_DRAUGHT_M = 0.5  # [m] our choice: an outboard boat of five metres with the leg down
SMALLEST_HEIGHT_M = 2.0  # [m] our choice: her windscreen and whoever stands behind it
_MOVED_M = 10.0  # [m] on land and more: a dock nearer to the shore is drawn on it for all that a map can tell
_MOST_NAMED = 4  # places of one separate water that are named
_DRAWN_WITHIN_M = 20.0  # [m] the outline of a separate water for the eye
_WHY = {"shoal": "water too shallow", "unsurveyed": "unsurveyed water", "hazard": "a hazard", "no-entry": "a zone"}

Verdict = Literal["not yet", "with care", "nothing against it"]


@dataclass(frozen=True)
class Trust:
    """What can be said of a region.

    Parameters
    ----------
    findings
        What could put a boat aground first, then what could leave her without fuel, then the rest.
    verdict
        ``not yet`` where something is wrong or missing that keeps boats off the ground, ``with care`` where anything
        else was found that could harm, ``nothing against it``.
    boat
        The boat with whose eyes the water was looked at.
    is_assumed
        Whether that is the smallest boat planned for.
    margins
        What she keeps clear of.
    """

    findings: tuple[Finding, ...]
    verdict: Verdict
    boat: Boat
    is_assumed: bool
    margins: Margins

    @property
    def count(self) -> int:
        """How many things were found, those that are only counted among them."""
        return sum(finding.count for finding in self.findings)

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """How many of each group and kind, in the order of the findings."""
        total: Counter[tuple[str, str]] = Counter()
        for finding in self.findings:
            total[group_of(finding), finding.kind] += finding.count
        return dict(total)


def smallest_boat() -> Boat:
    """Make the smallest boat that is planned for: only her draught and her height count here.

    Returns
    -------
    Boat
        The boat.
    """
    return build_boat(
        {
            "name": "the smallest boat planned for",
            "fuel": "gasoline",
            "length_overall_m": 5.0,
            "draught_m": SMALLEST_DRAUGHT_M,
            "air_draught_m": SMALLEST_HEIGHT_M,
            "cruising_speed_kn": 20,
            "no_wake_kn": 5,
            "tank": {"capacity_l": 100, "unusable_l": 5, "full_mark_l": 95},
            "reserve": {"rule": "fraction", "value": 0.1},
            "burn": {"speed_kn": [5, 20], "burn_lph": [5, 20], "idle_lph": 1, "sd_share": 0.1},
            "instruments": {"aboard_sd_share": 0.05, "full_mark_sd_share": 0.02},
        },
        "the smallest boat",
    )


def look_at_trust(region: Region, *, today: date, boat: Boat | None = None, margins: Margins | None = None) -> Trust:
    """Find everything that speaks against trusting a region.

    Parameters
    ----------
    region
        The region.
    today
        The day from which ages and hours are judged.
    boat
        With whose eyes the water is looked at; the smallest boat planned for where None.
    margins
        What she keeps clear of; the usual ones where None.

    Returns
    -------
    Trust
        The findings and what follows from them. Where the extent is wrong, the water isn't looked at.
    """
    margins = margins or Margins()
    looking = boat or smallest_boat()
    found = list(find_doubts(region, today=today))
    any_reached = True
    if not extent_is_wrong(found):
        water = build_water(region, looking, margins)
        reached, any_reached = _find_unreached(region, water, found)
        found += capped(reached)
    ordered = in_order_of_danger(found)
    return Trust(ordered, _judge(ordered, any_reached=any_reached), looking, boat is None, margins)


def _judge(findings: Sequence[Finding], *, any_reached: bool) -> Verdict:
    groups = [group_of(finding) for finding in findings]
    for finding, group in zip(findings, groups, strict=True):
        missing = finding.kind == "absent" and finding.layer in {"land", "depth"}
        if group == "aground" and (finding.weight == "wrong" or missing):
            return "not yet"
    if not any_reached:
        return "not yet"
    return "with care" if {"aground", "fuel"} & set(groups) else "nothing against it"


def _find_unreached(region: Region, water: Water, told: Sequence[Finding]) -> tuple[list[Finding], bool]:
    """Find docks and places out of reach and separate waters, and whether any dock is in reach if there are docks."""
    already = {(f.layer, f.row) for f in told if f.kind in {"dock-place", "misplaced", "outside", "zero"}}
    already |= {(f.layer, f.row) for f in told if f.kind == "place-ashore" and f.weight == "wrong"}
    found: list[Finding] = []
    joined: list[tuple[Finding, Attachment]] = []
    for layer in ("docks", "waypoints"):
        frame = region.layer(layer)
        lonlat = shapely.get_coordinates(frame.geometry.to_numpy())
        inside = water.plane.covers_lonlat(lonlat)
        spots = iter(find_attachments(water, water.plane.to_plane(lonlat[inside])))
        kind = "dock-reach" if layer == "docks" else "place-reach"
        for number, name, shape, is_in in zip(
            row_numbers(region, layer), frame["name"], frame.geometry, inside, strict=False
        ):
            if not is_in:
                continue
            attachment = next(spots)
            why = attachment.why_not
            finding = Finding(layer, number, name, f"can't be reached: {why}", _remedy(why), kind, "doubtful", shape)
            if attachment.approaches:
                joined.append((finding, attachment))
                if layer == "docks" and attachment.inland_m >= _MOVED_M and (layer, number) not in already:
                    found.append(_moved(finding, attachment))
            elif (layer, number) not in already:
                found.append(finding)
    docks = len(region.layer("docks"))
    any_reached = not docks or any(finding.layer == "docks" for finding, _ in joined)
    return [*found, *_find_separate(water, joined)], any_reached


def _moved(finding: Finding, attachment: Attachment) -> Finding:
    """Tell of a dock on land that tracks go to from the nearest shore: which may be that of the wrong side."""
    problem = f"lies {attachment.inland_m:.0f} m on land: tracks go to the nearest shore from which it is reached"
    remedy = "move it to the water's edge where boats lie, for the nearest shore may be the wrong side"
    return replace(finding, problem=problem, remedy=remedy, kind="dock-place")


def _remedy(why: str) -> str:
    if why.endswith("too narrow for the stand-off"):
        return "check the coast there, or plan with a smaller --stand-off if you know the channel"
    if why.endswith("is unsurveyed"):
        return "add the depths there, or plan with --allow-unsurveyed if you know the water"
    return "check its position, and the coast and depths round it"


def _find_separate(water: Water, joined: Sequence[tuple[Finding, Attachment]]) -> Iterator[Finding]:
    """Find waters that hold docks or places and don't join the one that holds most."""
    parts = shapely.get_parts(water.navigable)
    if len(parts) < 2 or not joined:
        return
    tree = shapely.STRtree(parts)

    def parts_of(attachment: Attachment) -> list[int]:
        return [int(tree.nearest(shapely.Point(approach.entry))) for approach in attachment.approaches]

    waters = nx.Graph()
    waters.add_nodes_from(range(len(parts)))
    for gate in water.gates:
        near, far = find_attachments(water, np.array(gate.sides))
        if near.inland_m == 0 and far.inland_m == 0:  # a side that lies on land would lead the way over it
            waters.add_edges_from((a, b) for a in parts_of(near) for b in parts_of(far))
    whole = {part: min(members) for members in nx.connected_components(waters) for part in members}
    owners = [[whole[part] for part in parts_of(attachment)] for _, attachment in joined]
    count = Counter(owner for each in owners for owner in set(each))
    main = max(count, key=lambda owner: (count[owner], parts[owner].area))
    in_main = next(a.approaches[each.index(main)] for (_, a), each in zip(joined, owners, strict=True) if main in each)
    held: dict[int, list[tuple[Finding, Attachment]]] = {}
    for (finding, attachment), each in zip(joined, owners, strict=True):
        if main not in each:
            held.setdefault(each[0], []).append((finding, attachment))  # the nearest of its waters
    closers = _Closers(water)
    edge = water.plane.box().exterior
    for owner, places in sorted(held.items()):
        why = closers.between(places[0][1].approaches[0].entry, in_main.entry)
        docks = [finding.name for finding, _ in places if finding.layer == "docks"]
        others = [finding.name for finding, _ in places if finding.layer != "docks"]
        at_edge = parts[owner].distance(edge) < 2 * water.margins.standoff_m
        remedy = "check the coast and the depths round it, unless it is a lake"
        if why.startswith("only the stand-off"):
            remedy = "plan with a smaller --stand-off if you know the channel"
        elif at_edge:
            remedy = "check the coast and the depths between, or widen the extent if the way leads outside it"
        outline = water.plane.unproject(parts[owner].simplify(_DRAWN_WITHIN_M))
        problem = f"water that doesn't join the rest holds {_listed(docks, others)}; {why}"
        yield Finding("docks" if docks else "waypoints", 0, "", problem, remedy, "apart", "doubtful", outline)


def _listed(docks: Sequence[str], others: Sequence[str]) -> str:
    counted = [
        f"{len(names)} {word if len(names) == 1 else f'{word}s'}"
        for names, word in ((docks, "dock"), (others, "place"))
        if names
    ]
    names = [*docks, *others]
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return f"{' and '.join(counted)}: {', '.join(names[:_MOST_NAMED])}{more}"


class _Closers:
    """Finds out what keeps two waters apart: what, if it were open, would join them."""

    def __init__(self, water: Water) -> None:
        self.water = water
        self._trees: dict[str, shapely.STRtree] = {}

    def between(self, a: tuple[float, float], b: tuple[float, float]) -> str:
        if self._join("", a, b):
            return f"only the stand-off of {self.water.margins.standoff_m:g} m closes the way"
        for reason, words in _WHY.items():
            if reason in self.water.closed and self._join(reason, a, b):
                return f"{words} lies between"
        return "land, a low bridge or several of these lie between"

    def _join(self, reason: str, a: tuple[float, float], b: tuple[float, float]) -> bool:
        if reason not in self._trees:
            shapes = [self.water.open, *([self.water.closed[reason]] if reason else [])]
            self._trees[reason] = shapely.STRtree(shapely.get_parts(shapely.union_all(shapes)))
        tree = self._trees[reason]
        in_a, in_b = (set(tree.query(shapely.Point(at), predicate="intersects").tolist()) for at in (a, b))
        return bool(in_a & in_b)
