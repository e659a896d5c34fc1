"""Doubts about what rows say: figures, hours, docks, names, rules, and where a layer comes from."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

import numpy as np

from layers.findings_kinds import Finding
from layers.findings_seen import name_of
from layers.hours import NeverOpensError, read_hours
from layers.s57_codes import FUELS_ASSUMED
from layers.schema import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from layers.findings_seen import Seen
    from layers.hours import Hours

__all__ = [
    "find_absent",
    "find_dock_doubts",
    "find_doubtful_hours",
    "find_namesakes",
    "find_old",
    "find_rules",
    "find_unusual",
    "find_warned",
]

STALE_DAYS = 365  # days; a season that has passed without anybody asking
CHART_YEARS = 10  # years; our choice: banks move, bridges and buoys are built, and surveys this old miss them

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
_CHARTED = ("land", "depth", "hazards", "zones", "overhead", "openings")  # layers that age as charts do
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


def find_absent(seen: Seen) -> Iterator[Finding]:
    """Find layers that are absent or empty, or whose source isn't stated.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a layer.
    """
    region = seen.region
    for name, consequence in _ABSENT.items():
        if name not in region.present:
            yield Finding(name, 0, "", f"the layer is absent: {consequence}", "", "absent", "unknown")
        elif not len(region.layer(name)):
            told = "all water counts as unsurveyed" if name == "depth" else consequence
            yield Finding(name, 0, "", f"the layer is empty: {told}", "", "absent", "unknown")
        elif name not in region.about.sources:
            remedy = f"add [sources.{name}] to region.toml"
            yield Finding(name, 0, "", "its source is not stated", remedy, "source", "unknown")


def find_old(seen: Seen) -> Iterator[Finding]:
    """Find charted layers whose source is old, or dated in the future.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a source, however many layers are from it.
    """
    dated: dict[tuple[str, date], list[str]] = {}
    for name in _CHARTED:
        source = seen.region.about.sources.get(name)
        if source is not None and source.date is not None and name in seen.region.present:
            dated.setdefault((source.title, source.date), []).append(name)
    for (title, day), names in dated.items():
        others = f", as is that of {', '.join(names[1:])}" if len(names) > 1 else ""
        years = (seen.today - day).days / 365.25
        if day > seen.today:
            problem = f"its source ({title}) is dated in the future, {day}{others}"
            yield Finding(names[0], 0, "", problem, "check the date in region.toml", "old-chart")
        elif years > CHART_YEARS:
            problem = f"its source ({title}) is dated {day}, {int(years)} years ago{others}"
            remedy = f"look for a newer edition: over {CHART_YEARS} years banks, marks, bridges and rules change"
            yield Finding(names[0], 0, "", problem, remedy, "old-chart")


def find_warned(seen: Seen) -> Iterator[Finding]:
    """Find layers whose source comes with a warning, such as depths from two datums.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a layer.
    """
    for name, source in seen.region.about.sources.items():
        if source.warning and name in seen.region.present:
            yield Finding(name, 0, "", f"beware: {source.warning}", "", "warning")


def find_unusual(seen: Seen) -> Iterator[Finding]:
    """Find figures that are possible and hard to believe.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a figure.
    """
    for name, limits in _USUAL.items():
        frame, shapes = seen.region.layer(name), seen.region.layer(name).geometry.to_numpy()
        units = {column.name: column.unit for column in LAYERS[name].columns}
        odd = np.zeros(len(frame), dtype=bool)
        for column, low, high in limits:
            values = frame[column].to_numpy(dtype=float)
            odd |= (values < low) | (values > high)  # both false where it is absent, NaN
        if not odd.any():
            continue
        for place, (row, thing) in enumerate(seen.rows(name)):
            for column, low, high in limits if odd[place] else ():
                value = getattr(thing, column)
                if value < low or value > high:
                    usual = f"usual are {low:g} to {high:g}"
                    problem = f"{column} of {value:g} {units[column]} is hard to believe".replace("  ", " ")
                    yield Finding(name, row, name_of(thing), problem, usual, "absurd", "wrong", shapes[place])
    for row, thing in seen.rows("depth"):
        if thing.max_depth_m < thing.min_depth_m:
            problem = f"its deepest, {thing.max_depth_m:g} m, is shallower than its shallowest, {thing.min_depth_m:g} m"
            yield Finding("depth", row, "", problem, "the shallowest is what counts", "absurd", "wrong", thing.geometry)


def find_doubtful_hours(seen: Seen) -> Iterator[Finding]:
    """Find hours and seasons that can't be relied on.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a doubt.
    """
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
                    told = f"its {column} {problem}: {text!r}"
                    yield Finding(layer, row, thing.name, told, remedy, "hours", "doubtful", thing.geometry)
            elif layer == "openings":
                problem, remedy = "when it opens is not known", "ask, and add opening_hours"
                yield Finding(layer, row, thing.name, problem, remedy, "hours", "unknown", thing.geometry)


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


def find_dock_doubts(seen: Seen) -> Iterator[Finding]:
    """Find docks of which something isn't known, or of which nobody made sure lately.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a doubt.
    """
    for row, dock in seen.rows("docks"):
        prices = {"gasoline": dock.price_gasoline_per_l, "diesel": dock.price_diesel_per_l}
        sold = dock.fuels.split(",")
        unknown = [f"price of {fuel}" for fuel in sold if np.isnan(prices[fuel])]
        unknown += ["hours"] if dock.opening_hours is None else []
        unknown += ["depth"] if np.isnan(dock.depth_m) else []
        at = dock.geometry
        if dock.note and FUELS_ASSUMED in dock.note:
            problem = "which fuels it sells isn't known: both are assumed, and it may not have yours"
            yield Finding("docks", row, dock.name, problem, "ask the dock", "dock-fuels", "unknown", at)
        if unknown:
            problem = f"not known: {', '.join(unknown)}"
            yield Finding("docks", row, dock.name, problem, "ask the dock", "dock-unknown", "unknown", at)
        for fuel, price in prices.items():
            if fuel not in sold and not np.isnan(price):
                problem = f"it has a price for {fuel}, which it doesn't sell"
                yield Finding("docks", row, dock.name, problem, "check fuels", "dock-price", "doubtful", at)
            elif price == 0:
                problem, remedy = f"its {fuel} costs nothing", "leave out what is not known"
                yield Finding("docks", row, dock.name, problem, remedy, "dock-price", "doubtful", at)
        for problem, remedy in _confirmation(seen.today, dock.confirmed_on):
            yield Finding("docks", row, dock.name, problem, remedy, "unconfirmed", "unknown", at)


def _confirmation(today: date, day: date | None) -> Iterator[tuple[str, str]]:
    if day is None:
        yield "was never confirmed", "call the dock, and add confirmed_on"
    elif day > today:
        yield f"was confirmed in the future, {day}", "check the date"
    elif (today - day).days > STALE_DAYS:
        yield f"was last confirmed on {day}, {(today - day).days} days ago", "call it"


def find_namesakes(seen: Seen) -> Iterator[Finding]:
    """Find docks and waypoints that share a name.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One for every place after the first of its name.
    """
    known: dict[str, tuple[str, int]] = {}
    for layer in ("docks", "waypoints"):
        for row, thing in seen.rows(layer):
            key = " ".join(thing.name.casefold().split())
            if key in known:
                other, number = known[key]
                problem = f"layer {other}, row {number}, has the same name"
                remedy = "rename one, so that a plan can name it"
                yield Finding(layer, row, thing.name, problem, remedy, "namesake", "doubtful", thing.geometry)
            known.setdefault(key, (layer, row))


def find_rules(seen: Seen) -> Iterator[Finding]:
    """Find rules that say less than they ought to.

    Parameters
    ----------
    seen
        The region.

    Yields
    ------
    Finding
        One a doubt.
    """
    for row, zone in seen.rows("zones"):
        if zone.rule == "traffic-lane" and np.isnan(zone.direction_deg):
            problem = "the direction of its traffic is not known"
            yield Finding("zones", row, zone.name, problem, "add direction_deg", "rule", "unknown", zone.geometry)
