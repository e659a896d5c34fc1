"""What is known of each fuel dock, whether it suits a boat, and how long a fill takes there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from layers.errors import InputError
from layers.findings_rows import STALE_DAYS
from layers.hours import Hours, NeverOpensError, read_hours
from routeplan.places import nearest_names

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from layers import Region
    from routeplan.boats import Boat

__all__ = ["DEFAULT_PUMP_LPM", "STALE_DAYS", "Dock", "pump_facts", "read_docks", "sells"]

DEFAULT_PUMP_LPM = 38.0  # [l/min] about 10 US gal/min, a usual nozzle (common practice), where a dock states no rate
_BLEND_LIMIT = 0.10  # share of ethanol above which marine engines must not be fed (common practice: E10 at the most)


@dataclass(frozen=True)
class Dock:
    """One fuel dock as a boat meets it.

    Parameters
    ----------
    name
        Its name.
    row
        Row in the docks layer.
    position
        [deg] Longitude and latitude.
    hours
        Opening hours; None where unknown: then it counts as open, with a caution.
    price_per_l
        [currency/l] Price of the boat's fuel; None where unknown.
    pump_lpm
        [l/min] Rate of the pump, the dock's own or the stated default.
    largest_sale_l
        [l] The most it sells to one boat; None without limit.
    why_not
        Reasons why it doesn't suit; empty where it does.
    cautions
        What a skipper has to know before leaning on it.
    stale
        Whether and how long ago it was confirmed, where that is too long ago; else empty.
    missing
        Attributes that nobody has filled in: any of `depth`, `length`, `hours`, `price`.
    facts
        All that its row says, for screens: text by column, absent ones left out.
    """

    name: str
    row: int
    position: tuple[float, float]
    hours: Hours | None
    price_per_l: float | None
    pump_lpm: float
    largest_sale_l: float | None
    why_not: tuple[str, ...]
    cautions: tuple[str, ...]
    stale: tuple[str, ...]
    missing: tuple[str, ...]
    facts: dict[str, Any]

    @property
    def suits(self) -> bool:
        """Whether the boat can fill here when it is open."""
        return not self.why_not

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why a plan had better not lean on it: hours that nobody knows, or nobody has confirmed it for long."""
        return (*self.stale, *(("hours not known",) if self.hours is None else ()))

    def fill_h(self, take_l: float, berthing_h: float) -> float:
        """[h] Time at the dock for a fill.

        Parameters
        ----------
        take_l
            [l] Volume pumped.
        berthing_h
            [h] Coming alongside, paying and leaving.

        Returns
        -------
        Berthing and pumping together.
        """
        return berthing_h + take_l / self.pump_lpm / 60

    def begin_fill(self, arrive: datetime, lasts_h: float) -> datetime:
        """Find when a fill can begin: the dock must stay open until it is done.

        Parameters
        ----------
        arrive
            Arrival, zone-aware.
        lasts_h
            [h] Time at the dock.

        Returns
        -------
        The arrival, or a later opening.

        Raises
        ------
        NeverOpensError
            It doesn't open for so long within the time that hours are looked ahead.
        """
        return arrive if self.hours is None else self.hours.next_open_for(arrive, timedelta(hours=lasts_h))


def read_docks(
    region: Region,
    boat: Boat,
    under_keel_m: float,
    today: date,
    *,
    known_only: bool = False,
    confirmed_only: bool = False,
) -> tuple[Dock, ...]:
    """Look at every dock of a region with a boat's eyes.

    Parameters
    ----------
    region
        Its docks layer.
    boat
        Fuel, draught and length count.
    under_keel_m
        [m] Least water under the keel.
    today
        The date that staleness is counted from.
    known_only
        Whether a dock with missing attributes is to count as unsuitable.
    confirmed_only
        Whether one that nobody has confirmed for long is.

    Returns
    -------
    One dock a row, in the layer's order.
    """
    return tuple(
        _read_dock(row, index, region, boat, under_keel_m, today, known_only=known_only, confirmed_only=confirmed_only)
        for index, row in enumerate(region.layer("docks").to_dict("records"))
    )


def sells(facts: dict[str, Any], boat: Boat) -> bool:
    """Tell whether a dock sells what a boat burns.

    Parameters
    ----------
    facts
        Its row of the docks layer, as in `Dock.facts`.
    boat
        The boat.

    Returns
    -------
    True where the boat's fuel is among those it sells.
    """
    return boat.fuel in str(facts["fuels"]).split(",")


def pump_facts(region: Region, boat: Boat, name: str) -> tuple[dict[str, float], str]:
    """Look up what a dock's pump does, for one who is going to fill there.

    Parameters
    ----------
    region
        Its docks layer.
    boat
        Its fuel counts.
    name
        The dock's name, in any case of letters.

    Returns
    -------
    What is known of `pump_lpm`, `price_per_l` and `largest_sale_l`, and the currency.

    Raises
    ------
    InputError
        There is no such dock, or it doesn't sell the boat's fuel.
    """
    rows = region.layer("docks").to_dict("records")
    found = [row for row in rows if str(row["name"]).casefold() == name.strip().casefold()]
    if not found:
        near = nearest_names(name, [str(row["name"]) for row in rows])
        remedy = f"did you mean {', '.join(near)}?" if near else "routeplan docks lists them"
        raise InputError("--dock", f"there is no such dock in {region.about.name}", value=name, remedy=remedy)
    facts = {k: v for k, v in found[0].items() if k != "geometry" and not _is_absent(v)}
    if not sells(facts, boat):
        remedy = "never put another fuel into her tank"
        raise InputError("--dock", f"sells no {boat.fuel}, which {boat.name} burns", value=name, remedy=remedy)
    named = {"pump_lpm": "pump_lpm", f"price_{boat.fuel}_per_l": "price_per_l", "largest_sale_l": "largest_sale_l"}
    return {ours: float(facts[column]) for column, ours in named.items() if column in facts}, region.about.currency


def _read_dock(
    row: dict[str, Any],
    index: int,
    region: Region,
    boat: Boat,
    under_keel_m: float,
    today: date,
    *,
    known_only: bool,
    confirmed_only: bool,
) -> Dock:
    facts = {k: v for k, v in row.items() if k != "geometry" and not _is_absent(v)}
    has_fuel = sells(facts, boat)
    price = facts.get(f"price_{boat.fuel}_per_l") if has_fuel else None
    hours, cautions = _hours(facts, region.zone, today)
    known = {"depth": "depth_m" in facts, "length": "max_length_m" in facts, "hours": hours, "price": price is not None}
    missing = [what for what, found in known.items() if not found] if has_fuel else []
    why_not = _reasons(facts, boat, under_keel_m)
    stale = _staleness(facts, today)
    cautions += [f"{s}: call ahead" for s in stale]
    if stale and confirmed_only:
        why_not.append(f"{', '.join(stale)}, and only confirmed docks are wanted")
    if missing:
        cautions.append(f"{', '.join(missing)} not known: call ahead")
        if known_only:
            why_not.append(f"{', '.join(missing)} not known, and only known docks are wanted")
    point = row["geometry"]
    return Dock(
        name=row["name"],
        row=index,
        position=(point.x, point.y),
        hours=hours,
        price_per_l=price,
        pump_lpm=facts.get("pump_lpm", DEFAULT_PUMP_LPM),
        largest_sale_l=facts.get("largest_sale_l"),
        why_not=tuple(why_not),
        cautions=tuple(cautions),
        stale=tuple(stale),
        missing=tuple(missing),
        facts=facts,
    )


def _is_absent(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def _reasons(facts: dict[str, Any], boat: Boat, under_keel_m: float) -> list[str]:
    """Say why a dock doesn't suit; what isn't known counts as suitable."""
    units = boat.units
    reasons = []
    if not sells(facts, boat):
        reasons.append(f"sells no {boat.fuel}")
    needed_m = boat.draught_m + under_keel_m
    if facts.get("depth_m", needed_m) < needed_m:
        reasons.append(f"too shallow: {units.depth(facts['depth_m'])}, {boat.name} needs {units.depth_up(needed_m)}")
    if facts.get("max_length_m", boat.length_overall_m) < boat.length_overall_m:
        reasons.append(f"berth too short: takes boats up to {units.length(facts['max_length_m'])}")
    if facts.get("members_only"):
        reasons.append("members only")
    ethanol = facts.get("ethanol_share", 0.0)
    if boat.fuel == "gasoline" and ethanol > _BLEND_LIMIT:
        reasons.append(f"its gasoline holds {ethanol:.0%} ethanol, marine engines take {_BLEND_LIMIT:.0%} at most")
    return reasons


def _hours(facts: dict[str, Any], zone: ZoneInfo, today: date) -> tuple[Hours | None, list[str]]:
    """Read a dock's hours; those that only say in words when it opens count as unknown."""
    if "opening_hours" not in facts:
        return None, []
    hours = read_hours(facts["opening_hours"], zone)
    if not hours.has_bare_remarks:
        return hours, []
    return hours if _ever_opens(hours, today) else None, [f"opens by arrangement: {hours}"]


def _staleness(facts: dict[str, Any], today: date) -> list[str]:
    if "confirmed_on" not in facts:
        return ["never confirmed"]
    confirmed = _as_date(facts["confirmed_on"])
    days = (today - confirmed).days
    if days <= STALE_DAYS:
        return []
    years = days // 365
    return [f"last confirmed {confirmed}, over {years} year{'s' if years > 1 else ''} ago"]


def _ever_opens(hours: Hours, today: date) -> bool:
    try:
        hours.next_open(datetime(today.year, today.month, today.day, tzinfo=UTC))
    except NeverOpensError:
        return False
    return True


def _as_date(value: Any) -> date:
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])
