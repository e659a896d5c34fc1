"""Documents about currents and departures: what `currents --json` and `passage --depart-between --json` print."""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING, Any

from routeplan.documents import asked_of, sources_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from layers import Region
    from layers.current_grids import CurrentGrid
    from routeplan.boats import Boat
    from routeplan.current_times import CurrentArea, CurrentTimes
    from routeplan.departures import Departure, Departures
    from routeplan.trips import Trip

__all__ = ["current_areas_document", "current_times_document", "departures_document"]


def current_areas_document(
    areas: Sequence[CurrentArea], grid: CurrentGrid | None, begin: datetime, region: Region, cautions: Sequence[str]
) -> dict[str, Any]:
    """Tell which currents a region has.

    Parameters
    ----------
    areas
        Its areas.
    grid
        Gridded currents beside them; None where there are none.
    begin
        From when the strongest current and the next slack are told.
    region
        The region.
    cautions
        What must be said with it.

    Returns
    -------
    What `currents --json` prints without a place.
    """
    gridded = (
        None
        if grid is None
        else {
            "file": grid.source,
            "extent": list(grid.extent),
            "from": _moment(grid.begins),
            "until": _moment(grid.ends),
            "greatest_kn": grid.greatest_kn,
            "notes": list(grid.notes),
        }
    )
    return {
        "schema": "routeplan/current-areas/1",
        "region": region.about.name,
        "from": _moment(begin),
        "areas": [area.model_dump(mode="json") for area in areas],
        "gridded": gridded,
        "cautions": list(cautions),
        "sources": sources_of(region),
    }


def current_times_document(times: CurrentTimes, region: Region) -> dict[str, Any]:
    """Tell when the current turns at a place.

    Parameters
    ----------
    times
        What was found.
    region
        The region.

    Returns
    -------
    What `currents PLACE --json` prints.
    """
    return {
        "schema": "routeplan/currents/1",
        "region": region.about.name,
        **times.model_dump(mode="json", by_alias=True),
        "sources": sources_of(region),
    }


def departures_document(departures: Departures, region: Region, boat: Boat, trip: Trip) -> dict[str, Any]:
    """Tell a window of departures.

    Parameters
    ----------
    departures
        All departures.
    region, boat, trip
        What they were asked of.

    Returns
    -------
    What `passage --depart-between --json` prints; a departure is named by its moment, and one without a plan has no
    figures.
    """
    best = {
        "soonest": departures.soonest,
        "shortest": departures.shortest,
        "thriftiest": departures.thriftiest,
    }
    return {
        "schema": "routeplan/departures/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "boat": boat.name,
        "speed_kn": boat.cruising_speed_kn if trip.speed_kn is None else trip.speed_kn,
        **asked_of(trip),
        "from": trip.start,
        "to": trip.finish,
        "via": list(trip.via),
        "still_water": departures.still_water,
        "holding": [
            {"first": _moment(span.first), "last": _moment(span.last), "stops": list(span.stops)}
            for span in departures.holding
        ],
        **{name: None if row is None else _moment(row.depart) for name, row in best.items()},
        "departures": [_departure(row) for row in departures.rows],
        "cautions": list(departures.cautions),
        "sources": sources_of(region),
    }


def _departure(row: Departure) -> dict[str, Any]:
    planned = row.arrive is not None
    return {
        "depart": _moment(row.depart),
        "arrive": None if row.arrive is None else _moment(row.arrive),
        "time_h": row.time_h if planned else None,
        "under_way_h": row.under_way_h if planned else None,
        "fuel_l": row.fuel_l if planned else None,
        "least_margin_l": row.least_margin_l if planned else None,
        "stops": list(row.stops),
        "bites": [{"kind": bite.kind, "where": bite.where, "wait_h": bite.wait_h} for bite in row.bites],
        "holds": row.holds,
    }


def _moment(moment: datetime) -> str:
    """Write a moment in UTC, as pydantic does."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
