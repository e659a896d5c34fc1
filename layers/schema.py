"""What each layer holds: geometry, columns, units and limits. Data only; `checking` applies it.

A column marked optional may be absent from the file or empty in a row. How a value is kept in a frame:

=========  ======================  ===================================
kind       in the frame            absent
=========  ======================  ===================================
text       ``str`` (object)        None
choice     ``str`` (object)        None
hours      ``str`` (object)        None
harmonics  ``str`` (object)        never, a stream has some
fuels      ``str`` (object)        never, a dock sells something
date       ``datetime.date``       None
flag       ``bool`` (object)       None
number     ``float64``             NaN
integer    ``int64`` if required,  NaN
           else ``float64``
=========  ======================  ===================================
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["COMPUTED", "FUELS", "LAYERS", "Column", "LayerSchema"]

Kind = Literal["text", "number", "integer", "flag", "date", "hours", "harmonics", "choice", "fuels"]

FUELS = ("gasoline", "diesel")


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    Parameters
    ----------
    name
        Its name in files and frames; the unit is the last word.
    kind
        What it holds; see the table at the top of this module.
    required
        Whether every row must have it.
    choices
        The allowed values of a ``choice``.
    low
        The least allowed number, itself allowed; None where there is no limit.
    high
        The greatest allowed number, itself allowed; None where there is no limit.
    unit
        Unit of a number, as a person writes it.
    meaning
        What it says, for people.
    needed_for
        Column and value that make an otherwise optional column required: a speed limit needs its limit.
    """

    name: str
    kind: Kind
    required: bool
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    unit: str = ""
    meaning: str = ""
    needed_for: tuple[str, str] | None = None


@dataclass(frozen=True)
class LayerSchema:
    """What a layer holds.

    Parameters
    ----------
    name
        Name of the layer, of its GeoJSON file without the ending, and of its GeoPackage table.
    geometry
        The allowed kinds: ``point``, ``line``, ``polygon``; lines and polygons may have several parts.
    columns
        Its columns, in the order of frames and files.

    Examples
    --------
    >>> LAYERS["hazards"].geometry
    ('point', 'polygon')
    >>> [column.name for column in LAYERS["hazards"].columns if column.required]
    ['kind', 'keep_off_m']
    """

    name: str
    geometry: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns in order, the geometry left out."""
        return tuple(column.name for column in self.columns)


def _text(name: str, meaning: str, *, required: bool = True) -> Column:
    return Column(name, "text", required, meaning=meaning)


def _choice(name: str, choices: tuple[str, ...], meaning: str, *, required: bool = True) -> Column:
    return Column(name, "choice", required, choices=choices, meaning=meaning)


def _number(
    name: str, unit: str, low: float | None, high: float | None, meaning: str, *, required: bool = True
) -> Column:
    return Column(name, "number", required, low=low, high=high, unit=unit, meaning=meaning)


def _by_name(schemas: Iterable[LayerSchema]) -> Mapping[str, LayerSchema]:
    return MappingProxyType({schema.name: schema for schema in schemas})


# The limits below only shut out what can't be (a price below nothing, a course of 400 degrees); what is merely
# doubtful is told by `findings`.

LAYERS: Mapping[str, LayerSchema] = _by_name(
    (
        LayerSchema("land", ("polygon",), (_text("name", "name of the island or shore", required=False),)),
        LayerSchema(
            "depth",
            ("polygon",),
            (
                _number("min_depth_m", "m", None, None, "shallowest charted depth; negative dries"),
                _number("max_depth_m", "m", None, None, "deepest charted depth", required=False),
                _choice("survey", ("good", "poor"), "how far the soundings can be trusted", required=False),
            ),
        ),
        LayerSchema(
            "hazards",
            ("point", "polygon"),
            (
                _text("name", "name of the hazard", required=False),
                _text("kind", "rock, wreck, obstruction, ..."),
                _number("keep_off_m", "m", 0, None, "distance to stay away"),
            ),
        ),
        LayerSchema(
            "zones",
            ("polygon",),
            (
                _text("name", "name of the zone"),
                _choice(
                    "rule",
                    ("no-entry", "speed-limit", "no-wake", "traffic-lane", "fairway", "bar", "caution"),
                    "what holds inside",
                ),
                Column(
                    "limit_kn",
                    "number",
                    required=False,
                    low=0.1,
                    unit="kn",
                    meaning="speed limit through the water",
                    needed_for=("rule", "speed-limit"),
                ),
                _number("direction_deg", "degrees true", 0, 360, "the lane's direction of traffic", required=False),
                _text("why", "reason, for the skipper"),
                Column("season", "hours", required=False, meaning="when the rule holds; always where absent"),
            ),
        ),
        LayerSchema(
            "overhead",
            ("line",),
            (
                _text("name", "name of the bridge or cable"),
                _choice("kind", ("bridge", "cable"), "what hangs over the water"),
                _number("clearance_m", "m", 0, None, "safe clearance at the region's clearance datum"),
            ),
        ),
        LayerSchema(
            "openings",
            ("point", "line"),
            (
                _text("name", "name of the bridge or lock"),
                _choice("kind", ("bridge", "lock"), "what opens"),
                _number("closed_clearance_m", "m", 0, None, "clearance while it is closed", required=False),
                Column("opening_hours", "hours", required=False, meaning="when it opens for boats"),
                _text("vhf", "VHF channel", required=False),
                _number("wait_min", "min", 0, None, "usual wait for an opening", required=False),
            ),
        ),
        LayerSchema(
            "docks",
            ("point",),
            (
                _text("name", "name of the fuel dock"),
                Column("fuels", "fuels", required=True, choices=FUELS, meaning="what it sells"),
                Column("opening_hours", "hours", required=False, meaning="when it sells"),
                _number("price_gasoline_per_l", "per litre", 0, None, "price of gasoline", required=False),
                _number("price_diesel_per_l", "per litre", 0, None, "price of diesel", required=False),
                _number("ethanol_share", "", 0, 1, "ethanol in the gasoline", required=False),
                _number("depth_m", "m", None, None, "charted depth alongside", required=False),
                _number("max_length_m", "m", 0.1, None, "longest boat that fits", required=False),
                Column("pumps", "integer", required=False, low=1, meaning="boats that can fuel at once"),
                _number("pump_lpm", "l/min", 0.1, None, "flow of a pump", required=False),
                _number("largest_sale_l", "l", 0.1, None, "largest sale to one boat", required=False),
                _text("payment", "how to pay", required=False),
                Column("members_only", "flag", required=False, meaning="sells to members only"),
                _text("vhf", "VHF channel", required=False),
                _text("phone", "telephone", required=False),
                Column("confirmed_on", "date", required=False, meaning="day on which somebody last made sure"),
                _text("note", "anything else", required=False),
            ),
        ),
        LayerSchema(
            "waypoints",
            ("point",),
            (
                _text("name", "name of the place"),
                _choice("kind", ("harbour", "anchorage", "mark", "entrance"), "what it is"),
            ),
        ),
        LayerSchema(
            "currents",
            ("polygon",),
            (
                _text("name", "name of the narrows"),
                _number("flood_deg", "degrees true", 0, 360, "set of the flood"),
                _number("ebb_deg", "degrees true", 0, 360, "set of the ebb"),
                _number("mean_kn", "kn", None, None, "mean current, flood positive"),
                Column(
                    "constituents",
                    "harmonics",
                    required=True,
                    meaning="name, speed in kn, Greenwich phase lag in degrees; ';' between them",
                ),
            ),
        ),
    )
)
"""Layers of a region, by name."""

COMPUTED: Mapping[str, LayerSchema] = _by_name(
    (
        LayerSchema(
            "legs",
            ("line",),
            (
                Column("order", "integer", required=True, low=0, meaning="place in the passage"),
                _text("from_name", "where it begins"),
                _text("to_name", "where it ends"),
                _choice("kind", ("leg", "approach", "gate"), "open water, an approach to a dock, a bridge or lock"),
                Column("depth_checked", "flag", required=True, meaning="whether depths are known all along"),
                _number("distance_nmi", "nmi", 0, None, "length"),
                _number("course_deg", "degrees true", 0, 360, "initial course"),
                _number("speed_kn", "kn", 0, None, "speed through the water"),
                _number("steer_deg", "degrees true", 0, 360, "course to steer in the current", required=False),
                _number("ground_kn", "kn", 0, None, "speed over the ground", required=False),
                _number("set_deg", "degrees true", 0, 360, "where the current sets to", required=False),
                _number("drift_kn", "kn", 0, None, "speed of the current", required=False),
                _number("fuel_l", "l", 0, None, "fuel burned"),
                _number("aboard_after_l", "l", None, None, "fuel aboard at its end, mean"),
                _number("aboard_after_low_l", "l", None, None, "fuel aboard at its end, low figure"),
                _text("depart", "departure as shown", required=False),
                _text("arrive", "arrival as shown", required=False),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("cautions", "cautions, one line each", required=False),
            ),
        ),
        LayerSchema(
            "streams_met",
            ("point",),
            (
                Column("order", "integer", required=True, low=1, meaning="place in the passage"),
                _text("name", "name of the current"),
                _number("set_deg", "degrees true", 0, 360, "where it sets to when the boat is there"),
                _number("drift_kn", "kn", 0, None, "its speed then, the strongest met"),
                _text("enter", "when the boat comes into it, as shown"),
                _text("leave", "when she leaves it, as shown"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
            ),
        ),
        LayerSchema(
            "stops",
            ("point",),
            (
                Column("order", "integer", required=True, low=0, meaning="place in the passage"),
                _text("name", "name of the place"),
                _choice("kind", ("start", "fuel stop", "via", "finish", "alternate"), "what it is on this passage"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
                _number("take_l", "l", 0, None, "fuel to take", required=False),
                _number("aboard_l", "l", None, None, "fuel aboard on arrival, mean", required=False),
                _number("aboard_low_l", "l", None, None, "fuel aboard on arrival, low figure", required=False),
                _text("arrive", "arrival as shown", required=False),
            ),
        ),
        LayerSchema(
            "rings",
            ("line",),
            (
                _text("title", "heading for a person"),
                _text("label", "a few words beside the ring"),
                _choice("kind", ("promised", "mark"), "the promised distance, or a round figure to judge by"),
                _number("distance_nmi", "nmi", 0, None, "radius"),
            ),
        ),
        LayerSchema(
            "reach",
            ("polygon",),
            (
                _choice(
                    "kind",
                    ("one-way", "out-and-back", "thirds", "budget", "some-dock"),
                    "down to the reserve, back with the reserve, by thirds, within the fuel or time asked for, "
                    "or some suitable dock still in reach",
                ),
                _choice("figure", ("mean", "low"), "on the average of many days, or with the trip's confidence"),
                _number("speed_kn", "kn", 0, None, "speed through the water"),
                _number("fuel_l", "l", 0, None, "mean burn from the start to its edge", required=False),
                _number("time_h", "h", 0, None, "time from the start to its edge", required=False),
                Column("there_and_back", "flag", required=True, meaning="whether the way back is paid for too"),
                Column("inside", "flag", required=True, meaning="whether it is drawn a little inside the truth"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words on its edge"),
            ),
        ),
        LayerSchema(
            "reach_places",
            ("point",),
            (
                _text("name", "name of the place"),
                _text("kind", "what it is"),
                _number("distance_nmi", "nmi", 0, None, "length over water, one way"),
                _number("time_h", "h", 0, None, "time under way and at gates, one way"),
                _number("fuel_l", "l", 0, None, "fuel burned, one way, mean"),
                _number("fuel_there_and_back_l", "l", 0, None, "fuel burned both ways, mean"),
                _number("margin_low_l", "l", None, None, "above the reserve on arrival, low figure"),
                _number("aboard_on_return_low_l", "l", None, None, "fuel aboard back at the start, low figure"),
                Column(
                    "there_and_back", "flag", required=True, meaning="whether she comes back with the reserve whole"
                ),
                _choice("refuel", ("yes", "opens later", "doubtful", "no"), "whether this boat can refuel there"),
                Column(
                    "dock_still_in_reach",
                    "flag",
                    required=False,
                    meaning="whether from there some dock can still be made; absent where no dock is counted on",
                ),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
            ),
        ),
        LayerSchema(
            "turning_points",
            ("point",),
            (
                _text("dock", "the last dock that can be made"),
                _text("towards", "places that the way out leads to"),
                _number("distance_nmi", "nmi", 0, None, "length over water from the start"),
                _number("time_h", "h", 0, None, "time from the start"),
                _number("dock_distance_nmi", "nmi", 0, None, "length over water from here to the dock"),
                _number("aboard_at_dock_low_l", "l", None, None, "fuel aboard at the dock, low figure"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
            ),
        ),
        LayerSchema(
            "data_edges",
            ("line",),
            (
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
            ),
        ),
        LayerSchema(
            "closed_water",
            ("polygon",),
            (
                _choice("reason", ("shoal", "unsurveyed", "hazard", "no-entry"), "why this boat stays out"),
                _text("title", "heading for a person"),
            ),
        ),
        LayerSchema(
            "dock_marks",
            ("point",),
            (
                _text("name", "name of the fuel dock"),
                Column("suits", "flag", required=True, meaning="whether this boat can fuel there"),
                _choice(
                    "state",
                    ("good", "doubtful", "unsuitable", "out of reach"),
                    "how far it can be relied on: doubtful where it suits, but little or nothing recent is known",
                    required=False,
                ),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
            ),
        ),
        LayerSchema(
            "place_marks",
            ("point",),
            (
                _text("name", "name of the place"),
                _text("kind", "what it is"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
            ),
        ),
        LayerSchema(
            "party_legs",
            ("line",),
            (
                Column("order", "integer", required=True, low=1, meaning="number of the party, that of the most first"),
                _text("boats", "names of the boats that go this way, one a line"),
                _number("distance_nmi", "nmi", 0, None, "length of the whole way"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the line"),
            ),
        ),
        LayerSchema(
            "group_stops",
            ("point",),
            (
                Column("order", "integer", required=True, low=0, meaning="place in the cruise"),
                _text("number", "number of the stop for fuel, or of several at one dock", required=False),
                _text("name", "name of the place"),
                _choice("kind", ("start", "visit", "fuel stop", "finish", "alternate"), "what it is to the group"),
                _text("boats", "names of the boats that fill there, one a line", required=False),
                _number("gasoline_l", "l", 0, None, "gasoline to take in all", required=False),
                _number("diesel_l", "l", 0, None, "diesel to take in all", required=False),
                _text("arrive", "when the first boat is there, as shown", required=False),
                _text("depart", "when the group leaves, or the last boat the pump, as shown", required=False),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
                _text("label", "a few words beside the mark"),
            ),
        ),
        LayerSchema(
            "findings",
            ("point", "line", "polygon"),
            (
                Column("order", "integer", required=True, low=1, meaning="its number in the list of findings"),
                _choice("danger", ("aground", "fuel", "other"), "what it could do to a boat"),
                _text("kind", "what its like are called"),
                Column("everywhere", "flag", required=True, meaning="whether it has no place but the whole extent"),
                _text("title", "heading for a person"),
                _text("text", "details for a person, one line each"),
            ),
        ),
    )
)
"""Layers that are computed from a region and a boat, by name: drawn by `maps`, written as GIS files."""
