"""Data that is possible and still doubtful: what a careful skipper would ask about.

A finding never stops a plan. What can't be right at all is a `layers.errors.BadRow` and does.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from layers.hours import NeverOpensError, read_hours
from layers.plane import METRES_PER_NMI, Plane
from layers.schema import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from layers.hours import Hours
    from layers.region import Region

__all__ = ["Finding", "find_doubts"]

STALE_DAYS = 365  # days; a season that has passed without anybody asking
BRIDGE_GAP_M = 100.0  # [m] how far the end of a bridge is drawn out to reach land
INLAND_NMI = 0.5  # [nmi] further inland than a start may be
OFFSHORE_NMI = 1.0  # [nmi] further out than a dock is likely to float
_MARGIN_DEG = 0.1  # [deg] land that far outside the extent still counts as near
_MOST_PAIRS = 20  # overlaps told one by one

_ABSENT = {
    "land": "nothing keeps a track off the land",
    "depth": "no depth is checked",
    "hazards": "rocks and wrecks are not kept off",
    "zones": "no speed limit or closed area is known",
    "overhead": "bridges and cables are not known",
    "openings": "no bridge or lock counts as opening",
    "docks": "there is nowhere to take fuel",
    "waypoints": "places can be given as docks or positions only",
    "currents": "currents are not known",
}
# What would be possible and is still hard to believe: column, lowest, highest, as a sailor knows them.
_USUAL: dict[str, tuple[tuple[str, float, float], ...]] = {
    "depth": (("min_depth_m", -20, 11_000), ("max_depth_m", -20, 11_000)),
    "hazards": (("keep_off_m", 0, 10_000),),
    "zones": (("limit_kn", 1, 60),),
    "overhead": (("clearance_m", 0.5, 200),),
    "openings": (("closed_clearance_m", 0, 100), ("wait_min", 0, 24 * 60)),
    "docks": (
        ("depth_m", 0, 50),
        ("max_length_m", 4, 150),
        ("pumps", 1, 30),
        ("pump_lpm", 5, 1000),
        ("largest_sale_l", 10, 100_000),
    ),
    "currents": (("mean_kn", -16, 16),),
}
_CONSTITUENT = re.compile(r"[A-Za-z0-9]{2,6} \d+(\.\d+)? \d+(\.\d+)?")


@dataclass(frozen=True)
class Finding:
    """Something doubtful in a region.

    Parameters
    ----------
    layer
        Name of the layer.
    row
        Row number as the file counts it, from 1; 0 where it concerns the whole layer.
    name
        Name of the thing, where it has one.
    problem
        What is doubtful, in plain words.
    remedy
        What to do about it; empty where the problem says it.
    """

    layer: str
    row: int
    name: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        """Return the finding as one line.

        Examples
        --------
        >>> str(Finding("docks", 3, "Knap Quay", "its hours are not known", "ask the dock"))
        'layer docks, row 3, Knap Quay: its hours are not known: ask the dock'
        """
        row = f", row {self.row}" if self.row else ""
        name = f", {self.name}" if self.name else ""
        remedy = f": {self.remedy}" if self.remedy else ""
        return " ".join(f"layer {self.layer}{row}{name}: {self.problem}{remedy}".split())


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
        What was left out in reading first, then what is doubtful, layer by layer.

    Examples
    --------
    >>> import shapely
    >>> from layers.about import RegionAbout
    >>> from layers.checking import build_layer
    >>> from layers.region import build_region
    >>> about = RegionAbout(name="Nowhere", extent=(-39, 44, -37, 45), time_zone="UTC", chart_datum="LAT",
    ...                     clearance_datum="MHWS", currency="EUR")
    >>> lane = {"name": "Cape lane", "rule": "traffic-lane", "why": "ships"}
    >>> zones = build_layer(LAYERS["zones"], [lane], [shapely.box(-38, 44.2, -37.9, 44.3)])
    >>> doubts = find_doubts(build_region(about, {"zones": zones}), today=date(2026, 7, 1))
    >>> [doubt.problem for doubt in doubts if doubt.row == 1]
    ['the direction of its traffic is not known']
    """
    seen = _Seen(region, today)
    return (
        *region.notes,
        *_absent(region),
        *_outside(seen),
        *_unusual(seen),
        *_overlapping_land(seen),
        *_bridges(seen),
        *_hours(seen),
        *_docks(seen),
        *_places(seen),
        *_namesakes(seen),
        *_zones_and_currents(seen),
    )


class _Seen:
    """A region with what several questions need: row numbers, the plane, the land near the extent."""

    def __init__(self, region: Region, today: date) -> None:
        self.region = region
        self.today = today
        self.plane = Plane(region.about.extent)
        west, south, east, north = region.about.extent
        self.box = shapely.box(west, south, east, north)
        shores = shapely.clip_by_rect(
            region.layer("land").geometry.to_numpy(),
            *(west - _MARGIN_DEG, south - _MARGIN_DEG, east + _MARGIN_DEG, north + _MARGIN_DEG),
        )
        self.land: NDArray[np.object_] = self.plane.project(shores[~shapely.is_empty(shores)])
        self.tree = shapely.STRtree(self.land)

    def rows(self, layer: str) -> Iterator[tuple[int, Any]]:
        """Yield the rows of a layer with their numbers in the file, where docks may have been left out."""
        left_out = {note.row for note in self.region.notes if note.layer == layer}
        numbers = (number for number in itertools.count(1) if number not in left_out)
        return zip(numbers, self.region.layer(layer).itertuples(index=False), strict=False)

    def from_land_m(self, shape: Any) -> float:
        """[m] From a shape of the plane to the nearest land; infinite where there is none."""
        nearest = self.tree.nearest(shape) if len(self.land) else None
        return float("inf") if nearest is None else float(shapely.distance(self.land[nearest], shape))


def _absent(region: Region) -> Iterator[Finding]:
    for name, consequence in _ABSENT.items():
        if name not in region.present:
            yield Finding(name, 0, "", f"the layer is absent: {consequence}", "")
        elif not len(region.layer(name)):
            all_closed = "all water counts as unsurveyed"
            yield Finding(name, 0, "", f"the layer is empty: {all_closed if name == 'depth' else consequence}", "")
        elif name not in region.about.sources:
            yield Finding(name, 0, "", "its source is not stated", f"add [sources.{name}] to region.toml")


def _outside(seen: _Seen) -> Iterator[Finding]:
    for name in LAYERS:
        rows = [(row, thing) for row, thing in seen.rows(name) if not seen.box.intersects(thing.geometry)]
        if name in {"land", "depth"} and len(rows) > 1:  # charts of the neighbourhood often come along
            numbers = f"{len(rows)} rows lie outside the region's extent, the first is row {rows[0][0]}"
            yield Finding(name, 0, "", numbers, "correct them, or widen the extent")
            continue
        for row, thing in rows:
            problem = "lies outside the region's extent"
            yield Finding(name, row, _name(thing), problem, "correct it, or widen the extent")


def _unusual(seen: _Seen) -> Iterator[Finding]:
    for name, limits in _USUAL.items():
        units = {column.name: column.unit for column in LAYERS[name].columns}
        for row, thing in seen.rows(name):
            for column, low, high in limits:
                value = getattr(thing, column)
                if value < low or value > high:  # both false where it is absent, NaN
                    usual = f"usual are {low:g} to {high:g}"
                    problem = f"{column} of {value:g} {units[column]} is hard to believe".replace("  ", " ")
                    yield Finding(name, row, _name(thing), problem, usual)
    for row, thing in seen.rows("depth"):
        if thing.max_depth_m < thing.min_depth_m:
            problem = f"its deepest, {thing.max_depth_m:g} m, is shallower than its shallowest, {thing.min_depth_m:g} m"
            yield Finding("depth", row, "", problem, "the shallowest is what counts")


def _overlapping_land(seen: _Seen) -> Iterator[Finding]:
    shapes = seen.region.layer("land").geometry.to_numpy()
    names = [_name(thing) for _, thing in seen.rows("land")]
    tree = shapely.STRtree(shapes)
    found = [tree.query(shapes, predicate=relation).T.tolist() for relation in ("overlaps", "covers")]
    pairs = {(min(pair), max(pair)) for pair in itertools.chain(*found) if pair[0] != pair[1]}
    for a, b in sorted(pairs)[:_MOST_PAIRS]:
        lon, lat = shapely.get_coordinates(shapely.point_on_surface(shapely.intersection(shapes[a], shapes[b])))[0]
        problem = f"overlaps row {b + 1} at longitude {lon:.5f}, latitude {lat:.5f}"
        yield Finding("land", a + 1, names[a], problem, "harmless to a plan, but one of them may be misplaced")
    if len(pairs) > _MOST_PAIRS:
        yield Finding("land", 0, "", f"{len(pairs) - _MOST_PAIRS} more rows overlap", "")


def _bridges(seen: _Seen) -> Iterator[Finding]:
    nowhere = shapely.LineString()
    lines = [  # far from the extent there is no plane to measure in
        seen.plane.project(thing.geometry if seen.box.intersects(thing.geometry) else nowhere)
        for _, thing in seen.rows("overhead")
    ]
    if len(seen.land):
        for place, (row, thing) in enumerate(seen.rows("overhead")):
            others = shapely.MultiLineString(
                [
                    part
                    for other in range(len(lines))
                    if other != place
                    for part in shapely.get_parts(lines[other])
                    if not part.is_empty
                ]
            )
            for end in _ends(lines[place]):
                gap_m = seen.from_land_m(end)
                lon, lat = seen.plane.to_lonlat([(end.x, end.y)])[0]
                joined = not others.is_empty and others.distance(end) <= 1
                if gap_m > BRIDGE_GAP_M and not joined and seen.box.covers(shapely.Point(lon, lat)):
                    problem = f"its end at longitude {lon:.5f}, latitude {lat:.5f} stops {_length(gap_m)} short of land"
                    remedy = "a track may lead round it: draw it to the shore"
                    yield Finding("overhead", row, thing.name, problem, remedy)
            if not lines[place].is_empty and shapely.covers(seen.land, lines[place]).any():
                yield Finding("overhead", row, thing.name, "lies wholly on land", "check its position")
    spans = shapely.STRtree(lines)  # leaves out what is empty
    for row, thing in seen.rows("openings"):
        if thing.kind != "bridge" or not seen.box.intersects(thing.geometry):
            continue
        shape = seen.plane.project(thing.geometry)
        nearest = spans.nearest(shape) if any(not line.is_empty for line in lines) else None
        away_m = float("inf") if nearest is None else float(shapely.distance(lines[nearest], shape))
        if away_m > BRIDGE_GAP_M:
            where = "there is none" if nearest is None else f"the nearest is {_length(away_m)} away"
            problem = f"it opens no bridge of layer overhead: {where}"
            yield Finding("openings", row, thing.name, problem, "add the bridge, or move the opening onto it")


def _ends(line: Any) -> list[Any]:
    """Return the ends of a line that no other of its parts touches."""
    merged = shapely.line_merge(line) if line.geom_type == "MultiLineString" else line
    return list(shapely.get_parts(shapely.boundary(merged)))


def _hours(seen: _Seen) -> Iterator[Finding]:
    noon = datetime.combine(seen.today, time(12), UTC)
    for layer, column, verb in (
        ("docks", "opening_hours", "opens"),
        ("openings", "opening_hours", "opens"),
        ("zones", "season", "holds"),
    ):
        for row, thing in seen.rows(layer):
            text = getattr(thing, column)
            if text is not None:
                for problem, remedy in _doubtful_hours(read_hours(text, seen.region.zone), noon, verb):
                    yield Finding(layer, row, thing.name, f"its {column} {problem}: {text!r}", remedy)
            elif layer == "openings":
                yield Finding(layer, row, thing.name, "when it opens is not known", "ask, and add opening_hours")


def _doubtful_hours(hours: Hours, noon: datetime, verb: str) -> Iterator[tuple[str, str]]:
    try:
        hours.next_open(noon)
    except NeverOpensError:
        yield f"say that it never {verb} in the coming year", "check them"
    if hours.has_bare_remarks:
        yield "remark on something without a state, which counts as unknown", "write open before it where that is meant"
    if re.search(r"\d\+", str(hours)):
        yield "have no closing time", "ask, and give one"
    if re.search(r"\b[PS]H\b", str(hours)):
        yield "name holidays, which are not known and count as other days", "on a holiday, ask"


def _docks(seen: _Seen) -> Iterator[Finding]:
    for row, dock in seen.rows("docks"):
        prices = {"gasoline": dock.price_gasoline_per_l, "diesel": dock.price_diesel_per_l}
        sold = dock.fuels.split(",")
        unknown = [f"price of {fuel}" for fuel in sold if np.isnan(prices[fuel])]
        unknown += ["hours"] if dock.opening_hours is None else []
        unknown += ["depth"] if np.isnan(dock.depth_m) else []
        if unknown:
            yield Finding("docks", row, dock.name, f"not known: {', '.join(unknown)}", "ask the dock")
        for fuel, price in prices.items():
            if fuel not in sold and not np.isnan(price):
                problem = f"it has a price for {fuel}, which it doesn't sell"
                yield Finding("docks", row, dock.name, problem, "check fuels")
            elif price == 0:
                yield Finding("docks", row, dock.name, f"its {fuel} costs nothing", "leave out what is not known")
        yield from _confirmation(seen.today, row, dock)


def _confirmation(today: date, row: int, dock: Any) -> Iterator[Finding]:
    if dock.confirmed_on is None:
        yield Finding("docks", row, dock.name, "was never confirmed", "call the dock, and add confirmed_on")
    elif dock.confirmed_on > today:
        yield Finding("docks", row, dock.name, f"was confirmed in the future, {dock.confirmed_on}", "check the date")
    elif (today - dock.confirmed_on).days > STALE_DAYS:
        days = (today - dock.confirmed_on).days
        yield Finding("docks", row, dock.name, f"was last confirmed on {dock.confirmed_on}, {days} days ago", "call it")


def _places(seen: _Seen) -> Iterator[Finding]:
    if not len(seen.land):
        return
    for layer in ("docks", "waypoints"):
        for row, thing in seen.rows(layer):
            if not seen.box.covers(thing.geometry):
                continue
            spot = seen.plane.project(thing.geometry)
            inside = seen.tree.query(spot, predicate="within")
            if len(inside):
                inland_m = max(float(shapely.boundary(seen.land[place]).distance(spot)) for place in inside)
                if inland_m > INLAND_NMI * METRES_PER_NMI:
                    yield Finding(layer, row, thing.name, f"lies {_length(inland_m)} inland", "move it to the water")
            elif layer == "docks" and seen.from_land_m(spot) > OFFSHORE_NMI * METRES_PER_NMI:
                away = _length(seen.from_land_m(spot))
                yield Finding(layer, row, thing.name, f"lies {away} off the nearest land", "check its position")


def _namesakes(seen: _Seen) -> Iterator[Finding]:
    known: dict[str, tuple[str, int]] = {}
    for layer in ("docks", "waypoints"):
        for row, thing in seen.rows(layer):
            key = " ".join(thing.name.casefold().split())
            if key in known:
                other, number = known[key]
                problem = f"layer {other}, row {number}, has the same name"
                yield Finding(layer, row, thing.name, problem, "rename one, so that a plan can name it")
            known.setdefault(key, (layer, row))


def _zones_and_currents(seen: _Seen) -> Iterator[Finding]:
    for row, zone in seen.rows("zones"):
        if zone.rule == "traffic-lane" and np.isnan(zone.direction_deg):
            yield Finding("zones", row, zone.name, "the direction of its traffic is not known", "add direction_deg")
    for row, current in seen.rows("currents"):
        parts: Sequence[str] = [" ".join(part.split()) for part in current.constituents.split(";")]
        wrong = [part for part in parts if not _CONSTITUENT.fullmatch(part)]
        if wrong:
            problem = f"its constituents can't be read at {wrong[0]!r}"
            yield Finding("currents", row, current.name, problem, "write them as 'M2 1.8 43; S2 0.6 78'")


def _name(thing: Any) -> str:
    return getattr(thing, "name", None) or ""


def _length(metres: float) -> str:
    return f"{metres:.0f} m" if metres < METRES_PER_NMI else f"{metres / METRES_PER_NMI:.1f} nmi"
