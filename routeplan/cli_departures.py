"""The part of `passage` that plans a window of departures: it calls and prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from layers.errors import InputError
from routeplan import edges

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.cli_passage import Asked

__all__ = ["check_window", "print_departures"]


def check_window(
    between: tuple[str, str] | None, depart: str | None, picture: Path | None, others: Sequence[str]
) -> None:
    """Refuse what doesn't go with a window of departures, or needs one.

    Parameters
    ----------
    between
        The window as typed; None where none was.
    depart
        One departure, as typed.
    picture
        File of the picture.
    others
        Options that were given and tell one plan alone.

    Raises
    ------
    InputError
        Something doesn't go together.
    """
    if between is None:
        if picture is not None:
            raise InputError(
                "--picture",
                "draws the departures of --depart-between",
                value=str(picture),
                remedy="add it, or take --map",
            )
        return
    if depart is not None:
        raise InputError("--depart-between", "doesn't go with --depart", value=depart, remedy="take one of them")
    if others:
        raise InputError(
            others[0], "tells one plan, --depart-between many", remedy="choose a departure, then plan it with --depart"
        )


def print_departures(asked: Asked, last: datetime, notes: Sequence[str], picture: Path | None) -> None:
    """Plan a window of departures and tell them; where none has a plan, leave with 3.

    Parameters
    ----------
    asked
        What was asked for; its trip departs first.
    last
        The last departure.
    notes
        What else is to be said.
    picture
        File of the picture; None for none.

    Raises
    ------
    Exit
        No departure has a plan.
    """
    from layers.files import replaced_file
    from routeplan.departure_page import write_departures_page
    from routeplan.departure_words import tell_departures
    from routeplan.departures import find_departures
    from routeplan.plan_words import PlanWords
    from routeplan.water_documents import departures_document

    network, trip, boat = asked.network, asked.trip, asked.boat
    region = network.region
    typer.echo("Planning every departure of the window ...", err=True)
    found = find_departures(
        network,
        trip,
        last,
        now=asked.now,
        boat=boat,
        currents=asked.surroundings.currents,
        sea=asked.surroundings.sea,
        notes=notes,
    )
    speed_kn = boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn
    words = PlanWords(boat, region.zone, region.about.currency, speed_kn)
    if picture is not None:
        with replaced_file(edges.named(picture, "--picture")) as draft:
            draft.write_text(write_departures_page(found, words, trip, region), encoding="utf-8")
    if asked.as_json:
        edges.print_json(departures_document(found, region, boat, trip))
    else:
        edges.say(tell_departures(found, words, trip))
    if all(row.arrive is None for row in found.rows):
        raise typer.Exit(3)
