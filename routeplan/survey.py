"""Looking round: docks and their distances, ranges at each speed, what a boat's water holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from routeplan.channels import find_closed_channels
from routeplan.docks import Dock, read_docks
from routeplan.fuel import promised_range_nmi
from routeplan.joining import join_place
from routeplan.network import unreached_docks
from routeplan.places import write_position
from routeplan.tracks import Tracks
from routeplan.units_shown import shown_distance

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.fuel import FuelAboard
    from routeplan.network import Network

__all__ = ["look_at_docks", "look_at_water", "ranges_at_each_speed"]


def look_at_docks(
    network: Network, origin: str | None, now: datetime, *, only_suitable: bool = False
) -> tuple[list[Dock], list[float | None], str]:
    """Look at all docks, nearest first where a place is given to count from.

    Parameters
    ----------
    network
        The boat's network.
    origin
        Name or position; None for no distances.
    now
        The clock.
    only_suitable
        Whether the others are left out.

    Returns
    -------
    The docks, [nmi] the distance over water to each or None, and the place's name.

    Raises
    ------
    InputError
        The place is unknown, or can't be reached from navigable water.
    """
    docks = read_docks(
        network.region, network.boat, network.water.margins.under_keel_m, now.astimezone(network.region.zone).date()
    )
    distances: dict[int, float] = {}
    name = ""
    if origin is not None:
        network, here = join_place(network, origin, "--from")
        name = network.terminals[here].place.name
        there = {i: t.place.row for i, t in enumerate(network.terminals) if t.place.kind == "dock"}
        tracks = Tracks(network, network.boat, network.boat.cruising_speed_kn).find([(here, t) for t in there])
        distances = {
            there[b]: min(t.distance_nmi for t in found) for (a, b), found in tracks.items() if a == here and b in there
        }
        if here in there:
            distances[there[here]] = 0.0
    unreached = unreached_docks(network)
    chosen = [d for d in docks if (d.suits and d.name not in unreached) or not only_suitable]
    if origin is not None:
        chosen.sort(key=lambda d: distances.get(d.row, float("inf")))
    return chosen, [distances.get(d.row) for d in chosen], name


def ranges_at_each_speed(boat: Boat, aboard: FuelAboard, confidence: float) -> list[dict[str, float]]:
    """Work out range at each speed that the boat can hold.

    Parameters
    ----------
    boat
        The boat.
    aboard
        Fuel aboard.
    confidence
        Share of arrivals that keep the reserve.

    Returns
    -------
    For each speed of the burn table: speed_kn, burn_lph, economy_nmi_per_l, range_nmi (all figures taken as certain)
    and promised_nmi (at the confidence).
    """
    return [
        {
            "speed_kn": speed,
            "burn_lph": boat.burn_lph(speed),
            "economy_nmi_per_l": boat.economy_nmi_per_l(speed),
            "range_nmi": boat.range_nmi(aboard.mean_l, speed),
            "promised_nmi": promised_range_nmi(boat, aboard, speed, confidence),
        }
        for speed in boat.offered_speeds_kn
    ]


def look_at_water(network: Network) -> tuple[dict[str, Any], list[str]]:
    """Tell what a boat's water is like: separate waters, channels that the stand-off closes, places out of reach.

    Parameters
    ----------
    network
        The boat's network.

    Returns
    -------
    A document and the same as lines.
    """
    water, units = network.water, network.boat.units
    channels = find_closed_channels(network)
    out_of_reach = {t.place.name: t.attachment.why_not for t in network.terminals if t.attachment.why_not}
    unreached = list((out_of_reach | unreached_docks(network)).items())
    approaches = _marked_approaches(network)
    parts = shapely.get_parts(water.navigable)
    document = {
        "boat": network.boat.name,
        "navigable_waters": len(parts),
        "corners": network.corner_count,
        "legs": len(network.legs),
        "closed_channels": [
            {"position": list(c.position), "width_m": round(c.width_m, 1), "way_round_nmi": c.way_round_nmi}
            for c in channels
        ],
        "out_of_reach": [{"name": name, "why": why} for name, why in unreached],
        "approaches_over_closed_water": [{"name": name, "crosses": list(crosses)} for name, crosses in approaches],
        "water_findings": list(water.findings),
    }
    lines = [
        "",
        f"For {network.boat.name}: navigable water in {len(parts)} separate part{'s' if len(parts) != 1 else ''}",
        f"Channels that the stand-off of {units.room(water.margins.standoff_m)} closes: {len(channels) or 'none'}",
        *(
            f"  {write_position(c.position)}, {units.room(c.width_m)} wide, "
            f"{'no other way' if c.way_round_nmi is None else f'the way round is {shown_distance(c.way_round_nmi)}'}"
            for c in channels
        ),
        f"Places out of reach: {len(unreached) or 'none'}",
        *(f"  {name}: {why}" for name, why in unreached),
        f"Approaches over closed water: {len(approaches) or 'none'}",
        *(f"  {name}: {', '.join(crosses)}" for name, crosses in approaches),
        *(f"Finding: {finding}" for finding in water.findings),
    ]
    return document, lines


def _marked_approaches(network: Network) -> Sequence[tuple[str, tuple[str, ...]]]:
    return [
        (t.place.name, t.attachment.approaches[0].crosses)
        for t in network.terminals
        if t.attachment.approaches and t.attachment.approaches[0].crosses
    ]
