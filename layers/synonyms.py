"""What others call our layers and columns: plain English words, nothing else. Data only; `guessing` applies it."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "CHOICES",
    "COLUMNS",
    "CURRENCIES",
    "FUEL_ADJECTIVES",
    "FUEL_WORDS",
    "GRADES",
    "LAYER_WORDS",
    "MINOR_MONEY",
    "MONEY",
    "NO_FUEL",
    "NO_VALUE",
    "TELLING",
    "WORLD_COASTS",
]

_GASOLINE = ("gasoline", "petrol", "gas", "unleaded", "mogas", "octane", "bensin", "benzin", "benzina", "gasolina")
_DIESEL = ("diesel", "gasoil", "gas oil", "derv", "gazole", "gasolio", "gasoleo", "mgo")

FUEL_WORDS: Mapping[str, str] = MappingProxyType(
    {**dict.fromkeys(_GASOLINE, "gasoline"), **dict.fromkeys(_DIESEL, "diesel"), "both": "gasoline,diesel"}
)
"""Which fuel a word means."""

GRADES: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("87", "89", "91", "92", "93", "95", "98", "100", "e5", "e10", "ulp"), "gasoline"),
        **dict.fromkeys(("b7", "ulsd"), "diesel"),
    }
)
"""Octane numbers and grades that stand for a fuel in a cell of fuels (at pumps in many countries; from memory)."""

FUEL_ADJECTIVES = frozenset(
    {"marine", "boat", "premium", "regular", "plus", "mid", "super", "lead", "free", "white", "red", "dyed", "road"}
    | {"ron", "ethanol", "rec", "fuel", "fuels", "only"}
)
"""Words beside a fuel's name that don't change which fuel it is."""

NO_FUEL = frozenset({"no", "no fuel", "no fuels", "nothing", "neither", "not sold"})
"""What people write where a place sells no fuel."""

_NAME = ("name", "title", "label", "place", "place name", "full name", "objnam")  # the last one is S-57's
_WHY = ("why", "reason", "note", "notes", "description", "desc", "remarks", "information", "comment", "inform")
_KIND = ("kind", "type", "category", "class", "symbol", "sym")
_HOURS = ("opening hours", "hours", "open", "opening times", "opening time", "business hours", "open hours")
_VHF = ("vhf", "vhf channel", "channel", "vhf ch", "ch", "radio", "radio channel", "communication vhf")


def _price(words: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(form.format(word) for form in ("price {}", "{} price", "cost {}", "{} cost", "{}") for word in words)


COLUMNS: Mapping[str, Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "land": {"name": _NAME},
        "depth": {
            "min_depth_m": (
                "min depth",
                "depth min",
                "minimum depth",
                "shallowest",
                "least depth",
                "from",
                "depth",
                "drval1",
            ),
            "max_depth_m": ("max depth", "depth max", "maximum depth", "deepest", "to", "drval2"),
            "survey": ("survey", "survey quality", "quality"),
        },
        "hazards": {
            "name": _NAME,
            "kind": (*_KIND, "hazard"),
            "keep_off_m": ("keep off", "keep clear", "distance", "radius", "safe distance", "buffer"),
        },
        "zones": {
            "name": _NAME,
            "rule": ("rule", "restriction", "restricted", "zone type", *_KIND),
            "limit_kn": ("limit", "speed limit", "max speed", "maxspeed", "maximum speed", "speed"),
            "direction_deg": ("direction", "bearing", "course", "heading", "orientation", "orient"),
            "why": _WHY,
            "season": ("season", "period", "when", "dates", *_HOURS),
        },
        "overhead": {
            "name": (*_NAME, "bridge", "bridge name", "cable"),
            "kind": _KIND,
            "clearance_m": (
                *("clearance", "vertical clearance", "air clearance", "headroom", "safe clearance", "height"),
                *("max height", "maxheight", "air draft", "air draught", "vercsa", "verclr", "verccl"),
            ),
        },
        "openings": {
            "name": (*_NAME, "bridge", "bridge name", "lock", "lock name"),
            "kind": _KIND,
            "closed_clearance_m": (
                *("closed clearance", "clearance closed", "clearance", "vertical clearance", "headroom", "height"),
            ),
            "opening_hours": _HOURS,
            "vhf": _VHF,
            "wait_min": ("wait", "waiting time", "usual wait", "wait time"),
        },
        "docks": {
            "name": (*_NAME, "dock", "dock name", "fuel dock", "station", "station name", "marina"),
            "fuels": ("fuels", "fuel", "fuel types", "fuel type", "products", "sells", "fuels sold"),
            "opening_hours": _HOURS,
            "price_gasoline_per_l": _price(_GASOLINE),
            "price_diesel_per_l": _price(_DIESEL),
            "ethanol_share": ("ethanol", "ethanol content", "ethanol share"),
            "depth_m": ("depth", "water depth", "depth alongside", "charted depth", "dock depth", "min depth"),
            "max_length_m": (
                *("max length", "length", "maximum length", "length limit", "longest boat", "max loa", "loa"),
            ),
            "pumps": ("pumps", "number of pumps", "pump count"),
            "pump_lpm": ("pump rate", "flow", "flow rate", "pump flow", "pump"),
            "largest_sale_l": ("largest sale", "max sale", "sale limit", "maximum sale", "limit"),
            "payment": ("payment", "pay", "payment methods", "how to pay", "pays", "cards"),
            "members_only": ("members only", "members", "private"),
            "vhf": _VHF,
            "phone": ("phone", "telephone", "tel", "phone number", "mobile", "contact phone", "contact"),
            "confirmed_on": (
                *("confirmed on", "confirmed", "checked", "checked on", "last checked", "verified", "verified on"),
                *("last verified", "check date", "date checked", "asked on", "as of"),
            ),
            "note": ("note", "notes", "remarks", "comment", "comments", "description", "desc", "information"),
        },
        "waypoints": {"name": _NAME, "kind": _KIND},
        "currents": {
            "name": _NAME,
            "flood_deg": ("flood", "flood direction", "flood set"),
            "ebb_deg": ("ebb", "ebb direction", "ebb set"),
            "mean_kn": ("mean", "mean current", "mean speed"),
            "constituents": ("constituents", "harmonics"),
        },
    }
)
"""By layer and column: what others call it, best first; the order of words doesn't count."""

LAYER_WORDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "land": frozenset({"land", "coast", "coastline", "shore", "shoreline", "island", "islet"}),
        "depth": frozenset({"depth", "bathymetry", "sounding"}),
        "hazards": frozenset({"hazard", "rock", "wreck", "obstruction", "danger", "shoal", "reef"}),
        "zones": frozenset({"zone", "restricted", "restriction", "speed", "wake", "lane", "prohibited", "closed"}),
        "overhead": frozenset({"overhead", "bridge", "cable", "powerline"}),
        "openings": frozenset({"opening", "lock", "swingbridge", "drawbridge", "liftbridge"}),
        "docks": frozenset({"dock", "fuel", "pump", "petrol", "diesel", "gasoline", "gas", "bunker"}),
        "waypoints": frozenset(
            {"waypoint", "wpt", "place", "harbour", "harbor", "marina", "anchorage", "mark", "port", "buoy", "poi"}
        ),
        "currents": frozenset({"current", "stream"}),
    }
)
"""Words, one thing of each, that a file's or table's name has where it is that layer."""

TELLING: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "depth": ("min_depth_m",),
        "hazards": ("keep_off_m",),
        "zones": ("rule", "limit_kn"),
        "overhead": ("clearance_m",),
        "openings": ("closed_clearance_m", "wait_min"),
        "docks": ("fuels", "price_gasoline_per_l", "price_diesel_per_l"),
        "currents": ("constituents", "flood_deg", "ebb_deg"),
    }
)
"""Columns that only one layer has: where a table has them, it is that layer."""

CHOICES: Mapping[tuple[str, str], tuple[tuple[str, tuple[str, ...]], ...]] = MappingProxyType(
    {
        ("waypoints", "kind"): (
            ("anchorage", ("anchorage", "anchor", "mooring", "moorings")),
            ("harbour", ("harbour", "harbor", "marina", "port", "haven", "basin", "quay", "dock")),
            ("entrance", ("entrance", "inlet", "channel", "mouth", "pass")),
            ("anchorage", ("bay", "cove", "bight")),
            ("mark", ("mark", "buoy", "beacon", "light", "lighthouse", "waypoint", "flag")),
        ),
        ("zones", "rule"): (
            ("no-wake", ("no wake", "nowake", "slow", "idle speed", "minimum wash", "no wash")),
            ("speed-limit", ("speed limit", "speed", "maxspeed")),
            (
                "no-entry",
                ("no entry", "no go", "nogo", "entry prohibited", "prohibited", "closed", "exclusion", "keep out"),
            ),
            ("traffic-lane", ("traffic lane", "lane", "traffic separation")),
            ("fairway", ("fairway",)),
            ("bar", ("bar",)),
            ("caution", ("caution", "precaution", "precautionary", "care", "danger", "restricted")),
        ),
        ("overhead", "kind"): (("cable", ("cable", "power", "line", "wire")), ("bridge", ("bridge", "viaduct"))),
        ("openings", "kind"): (("lock", ("lock", "sluice")), ("bridge", ("bridge",))),
        ("depth", "survey"): (
            ("poor", ("poor", "bad", "old", "unsurveyed", "low")),
            ("good", ("good", "high", "full", "modern")),
        ),
    }
)
"""By layer and column: our choice, and the words that mean it; the first that is found counts."""

NO_VALUE = frozenset(
    {"", "-", "--", "n/a", "na", "nan", "none", "null", "nil", "unknown", "?", "not known", "tbc", "tbd"}
)
"""What people write where nothing is known."""

CURRENCIES: Mapping[str, str] = MappingProxyType(
    {
        code.lower(): code
        for code in ("AUD", "CAD", "CHF", "DKK", "EUR", "GBP", "JPY", "NOK", "NZD", "PLN", "SEK", "USD")
    }
)
"""ISO 4217 codes that are looked for in the names of price columns; a bare dollar sign may be any of several."""

MONEY = frozenset(
    {*CURRENCIES, "kr", "krone", "kroner", "kronor", "dollar", "dollars", "pound", "pounds", "euro", "euros"}
)
"""Words of money in the name of a column of prices."""

MINOR_MONEY = frozenset({"cent", "cents", "ct", "cts", "pence", "penny", "p", "c", "ore", "\u00f8re", "\u00f6re"})
"""Hundredths of money: a price in them isn't read, as it would be taken for a hundred times as much."""

WORLD_COASTS: tuple[tuple[str, str, str, str], ...] = (
    (r"gshhs_\w_l1", "land", "GSHHG, shores of the sea", "LGPL"),
    (r"gshhs_\w_l3", "land", "GSHHG, islands in lakes", "LGPL"),
    (r"gshhs_\w_l5", "land", "GSHHG, Antarctica by its ice", "LGPL"),
    (r"gshhs_\w_l[24]", "skip", "lakes and ponds: they are no land", ""),
    (r"gshhs_\w_l6", "skip", "Antarctica by its grounding line: L5 is the ice that a boat meets", ""),
    (r"ne_\d+m_(land|minor_islands)(_scale_rank)?", "land", "Natural Earth, land", "public domain"),
    (r"ne_\d+m_(lakes|ocean|rivers)\w*", "skip", "water: it is no land", ""),
)
"""Files of two open coasts of the world, as their own publishers name them (GSHHG's README; Natural Earth's downloads;
both from memory): pattern, layer, title or why not, licence."""
