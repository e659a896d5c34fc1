"""What a boat keeps clear of, as options, and the network that is built of it; taken by several commands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from datetime import datetime

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.margins import Margins
    from routeplan.network import Network

__all__ = [
    "NoCache",
    "Overhead",
    "PlaningStandOff",
    "PoorSurveyStandOff",
    "SkipBadDocks",
    "Snap",
    "StandOff",
    "UnderKeel",
    "Unsurveyed",
    "find_network",
    "given_margins",
]

UnderKeel = Annotated[str | None, typer.Option("--under-keel", help="Least water under the keel, such as 0.5m or 2ft.")]
Overhead = Annotated[str | None, typer.Option("--overhead", help="Least air under bridges and cables, such as 0.5m.")]
StandOff = Annotated[
    str | None, typer.Option("--stand-off", help="Distance kept from land and closed water, such as 50m.")
]
PlaningStandOff = Annotated[
    str | None,
    typer.Option("--planing-stand-off", help="Distance kept while planing, such as 200m; slow where there's no room."),
]
PoorSurveyStandOff = Annotated[
    str | None, typer.Option("--poor-survey-stand-off", help="Distance kept where the survey is poor, such as 300m.")
]
Snap = Annotated[
    str | None, typer.Option("--snap", help="How far a place may lie from navigable water, such as 0.5nmi.")
]
Unsurveyed = Annotated[
    bool, typer.Option("--allow-unsurveyed", help="Use water without charted depth, at your own judgement.")
]
SkipBadDocks = Annotated[bool, typer.Option("--skip-bad-docks", help="Leave out docks whose hours can't be read.")]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Build the network anew and keep nothing.")]


def given_margins(
    under_keel: str | None,
    overhead: str | None,
    stand_off: str | None,
    snap: str | None,
    planing_stand_off: str | None = None,
    poor_survey_stand_off: str | None = None,
    *,
    allow_unsurveyed: bool,
    fairways: bool = False,
) -> Margins:
    """Read the clearances that were given.

    Parameters
    ----------
    under_keel, overhead, stand_off, snap, planing_stand_off, poor_survey_stand_off
        As typed; None for the default.
    allow_unsurveyed
        Whether water without charted depth may be used.
    fairways
        Whether marked fairways are preferred.

    Returns
    -------
    All of them.
    """
    from routeplan.margins import read_margins
    from routeplan.quantities import read_distance_nmi, read_length_m

    given = {
        "under_keel_m": None if under_keel is None else read_length_m(under_keel, "--under-keel"),
        "overhead_m": None if overhead is None else read_length_m(overhead, "--overhead"),
        "standoff_m": None if stand_off is None else read_length_m(stand_off, "--stand-off"),
        "planing_standoff_m": None
        if planing_stand_off is None
        else read_length_m(planing_stand_off, "--planing-stand-off"),
        "poor_survey_standoff_m": (
            None if poor_survey_stand_off is None else read_length_m(poor_survey_stand_off, "--poor-survey-stand-off")
        ),
        "snap_nmi": None if snap is None else read_distance_nmi(snap, "--snap"),
    }
    return read_margins(
        {k: v for k, v in given.items() if v is not None}, allow_unsurveyed=allow_unsurveyed, fairways=fairways
    )


def find_network(region: Region, boat: Boat, margins: Margins, when: datetime | None, *, cached: bool) -> Network:
    """Build a network, or find it in the cache, and show how far that has come.

    Parameters
    ----------
    region, boat, margins
        What it is built of.
    when
        When zones with a season count; None for all of them.
    cached
        Whether to look in the cache, and to keep it there.

    Returns
    -------
    The network.
    """
    from routeplan.building import build_network
    from routeplan.cache import cache_folder
    from routeplan.console import Progress

    progress = Progress(f"Building the network of {region.about.name} for {boat.name}")
    try:
        return build_network(
            region, boat, margins, when=when, cache=cache_folder() if cached else None, progress=progress
        )
    finally:
        progress.close()
