"""What has to be said with every answer: the safety cautions, and what is doubtful about the region at hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.conditions import Conditions
    from routeplan.network import Network

__all__ = ["SAFETY_CAUTIONS", "find_doubts", "find_gaps", "safety_cautions"]

SAFETY_CAUTIONS = (
    "An aid to planning, not for navigation: check current official charts, notices, weather and tides.",
    "Call each dock ahead; hours, prices and fuel change.",
    "Planned for still water: no tide, current, wind or sea is allowed for.",
    "Local rules and a licensed professional's advice come first.",
)
_STILL = SAFETY_CAUTIONS[2]
_COUNTED = {  # currents, sea
    (
        False,
        True,
    ): "Planned for still water with an allowance for the sea as entered: no tide or current is allowed for.",
    (True, False): "Currents are predictions: wind, rain and pressure change them. No wind or sea is allowed for.",
    (
        True,
        True,
    ): "Currents are predictions, and the sea is as entered: wind, rain and a change of weather change both.",
}
_ABSENT = {
    "land": "NOTHING keeps the track off the land",
    "hazards": "rocks and wrecks are not kept off",
    "zones": "no speed limit or closed area is known",
    "overhead": "bridges and cables are not known",
    "openings": "no bridge or lock counts as opening",
    "docks": "there is nowhere to take fuel",
    "currents": "tidal streams are not known",
}


def safety_cautions(conditions: Conditions | None) -> tuple[str, ...]:
    """Say what has to be said with every plan.

    Parameters
    ----------
    conditions
        Currents and sea that were reckoned with; None for still water and a calm.

    Returns
    -------
    Sentences.
    """
    if conditions is None:
        return SAFETY_CAUTIONS
    counted = _COUNTED[conditions.currents is not None, conditions.sea is not None]
    return tuple(counted if caution == _STILL else caution for caution in SAFETY_CAUTIONS)


def find_gaps(conditions: Conditions | None, arrives: datetime) -> tuple[str, ...]:
    """Say where gridded currents begin after a passage does, or end before it.

    Parameters
    ----------
    conditions
        What was reckoned with.
    arrives
        When the passage ends.

    Returns
    -------
    Sentences.
    """
    grid = None if conditions is None or conditions.currents is None else conditions.currents.grid
    if conditions is None or grid is None:
        return ()
    departs = conditions.departs
    if grid.begins <= departs and arrives <= grid.ends:
        return ()
    span = f"from {grid.begins:%Y-%m-%d %H:%M} to {grid.ends:%Y-%m-%d %H:%M} UTC"
    return (f"{grid.source} has currents {span} only: none of its own is reckoned with before and after.",)


def find_doubts(network: Network, ends: Sequence[int]) -> list[str]:
    """Say what is doubtful about where a boat begins or ends, and about the region.

    Parameters
    ----------
    network
        The network.
    ends
        Terminals.

    Returns
    -------
    Sentences.
    """
    notes = []
    for index in ends:
        terminal = network.terminals[index]
        if terminal.attachment.inland_m > 0:
            inland = f"{terminal.attachment.inland_m:.0f} m"
            notes.append(f"{terminal.place.name} lies {inland} on land: taken from the nearest shore.")
    if not network.water.depth_checked:
        notes.append("The region has no depth layer: depth was not checked on any leg.")
    elif network.water.margins.allow_unsurveyed:
        notes.append(
            "Unsurveyed water was allowed: where a leg runs over it, depth was not checked, and the leg says so."
        )
    absent = [name for name in network.region.frames if name not in network.region.present and name in _ABSENT]
    notes += [f"The region has no {name} layer: {_ABSENT[name]}." for name in absent]
    return notes + [f"{finding[0].upper()}{finding[1:]}." for finding in network.water.findings]
