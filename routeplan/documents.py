"""The JSON documents of the command line: one schema name each, internal units spelt in every key."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from layers.findings_kinds import group_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from layers import Finding, Region
    from routeplan.aboard import Aboard
    from routeplan.boats import Boat
    from routeplan.calls import Call
    from routeplan.cruise_changes import Change
    from routeplan.cruises import CruisePlan, NoCruiseError
    from routeplan.docks import Dock
    from routeplan.fuel import FuelAboard
    from routeplan.lessons import Lesson
    from routeplan.outings import Outing
    from routeplan.passage import Passage
    from routeplan.plans import NoPassageError
    from routeplan.reach import Reach
    from routeplan.reached import NoReachError
    from routeplan.saved_plans import SavedPlan
    from routeplan.trips import Trip
    from routeplan.underway_values import Underway

__all__ = [
    "aboard_document",
    "asked_of",
    "boat_document",
    "cruise_document",
    "cruise_refusal_document",
    "docks_document",
    "lesson_document",
    "passage_document",
    "reach_document",
    "reach_refusal_document",
    "read_cruise_document",
    "refusal_document",
    "region_document",
    "saved_plan_document",
    "sources_of",
    "underway_document",
]


CRUISE_SCHEMA: Final = "routeplan/cruise/1"
_LARGEST_BYTES = 100_000_000  # a cruise of sixty boats has 10 MB


def passage_document(passage: Passage, calls: Sequence[Call] | None = None) -> dict[str, Any]:
    """Tell a passage.

    Parameters
    ----------
    passage
        The answer to a trip.
    calls
        Whom to call before leaving; None where nobody asked.

    Returns
    -------
    What `passage --json` prints.
    """
    region = passage.network.region
    return {
        "schema": "routeplan/passage/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "boat": passage.boat.name,
        "speed_kn": passage.speed_kn,
        **asked_of(passage.trip),
        "plans": [plan.model_dump(mode="json", by_alias=True) for plan in passage.plans],
        "refused": None,
        **_call_ahead(calls),
        "cautions": list(passage.cautions),
        "sources": sources_of(region),
    }


def refusal_document(
    error: NoPassageError, region: Region, boat: Boat, trip: Trip, calls: Sequence[Call] | None = None
) -> dict[str, Any]:
    """Tell why there is no plan.

    Parameters
    ----------
    error
        Carries the refusal.
    region, boat, trip
        What it was asked of.
    calls
        Whom to call before leaving on the plan that is offered; None where nobody asked.

    Returns
    -------
    What `passage --json` prints with exit 3.
    """
    return {
        "schema": "routeplan/passage/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "boat": boat.name,
        **asked_of(trip),
        "plans": [],
        "refused": error.refusal.model_dump(mode="json", by_alias=True),
        **_call_ahead(calls),
        "cautions": list(error.cautions),
        "sources": sources_of(region),
    }


def cruise_document(plan: CruisePlan, region: Region, changes: Sequence[Change] | None = None) -> dict[str, Any]:
    """Tell a group cruise.

    Parameters
    ----------
    plan
        The cruise.
    region
        Its region.
    changes
        What is new in it, by boat; None where it was held against no other.

    Returns
    -------
    What `cruise --json` prints; `CruisePlan` is read back from it.
    """
    told = {} if changes is None else {"changes": [change.model_dump(mode="json") for change in changes]}
    return {
        "schema": CRUISE_SCHEMA,
        "currency": region.about.currency,
        "region": region.about.name,
        **plan.model_dump(mode="json", by_alias=True),
        "refused": None,
        **told,
        "sources": sources_of(region),
    }


def cruise_refusal_document(error: NoCruiseError, region: Region) -> dict[str, Any]:
    """Tell why there is no cruise.

    Parameters
    ----------
    error
        Carries the refusal.
    region
        Where it was asked for.

    Returns
    -------
    What `cruise --json` prints with exit 3.
    """
    return {
        "schema": CRUISE_SCHEMA,
        "currency": region.about.currency,
        "region": region.about.name,
        "stops": [],
        "boats": [],
        "limits": [],
        "refused": error.refusal.model_dump(mode="json", by_alias=True),
        "cautions": list(error.cautions),
        "sources": sources_of(region),
    }


def read_cruise_document(path: Path) -> CruisePlan:
    """Read a cruise that was written before.

    Parameters
    ----------
    path
        What `cruise --save` or `--json` wrote.

    Returns
    -------
    The cruise.

    Raises
    ------
    InputError
        The file can't be read, or holds no cruise.
    """
    from pydantic import ValidationError  # noqa: PLC0415  read where it is needed

    from layers.errors import InputError  # noqa: PLC0415
    from layers.files import read_text  # noqa: PLC0415
    from routeplan.cruises import CruisePlan  # noqa: PLC0415

    try:
        document = json.loads(read_text(path, _LARGEST_BYTES))
        found = document["schema"] == CRUISE_SCHEMA and document["refused"] is None
        kept = {key: document[key] for key in CruisePlan.model_fields} if found else {}
        return CruisePlan.model_validate(kept)
    except (ValueError, KeyError, TypeError, RecursionError, ValidationError) as error:
        remedy = "name a file that routeplan cruise --save wrote"
        raise InputError(str(path), "holds no cruise of this version", remedy=remedy) from error


def reach_document(reach: Reach) -> dict[str, Any]:
    """Tell a reach.

    Parameters
    ----------
    reach
        The answer to an outing, its places in the order to be told.

    Returns
    -------
    What `reach --json` prints: every shape as GeoJSON, longitude first.
    """
    from layers.plane import geodesic_ring  # noqa: PLC0415  other documents hold no shapes

    region = reach.network.region
    rings = [("mark", nmi) for nmi in reach.rings_nmi] + [("promised", reach.promised_nmi)]
    return {
        "schema": "routeplan/reach/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "boat": reach.boat.name,
        "from": reach.start.name,
        "from_position": list(reach.start.position),
        "speed_kn": reach.speed_kn,
        "speeds_kn": list(reach.speeds_kn),
        **_asked_of_reach(reach.outing, reach.boat),
        "promised_nmi": reach.promised_nmi,
        "rings": [
            {
                "distance_nmi": nmi,
                "kind": kind,
                "geometry": _geojson(geodesic_ring(reach.start.position, nmi)),
            }
            for kind, nmi in rings
        ],
        "areas": [area.model_dump(mode="json") for area in reach.areas],
        "places": [place.model_dump(mode="json") for place in reach.places],
        "turning_points": [point.model_dump(mode="json") for point in reach.turning_points],
        "docks_not_counted": [{"name": name, "why": why} for name, why in reach.docks_left_out],
        "some_dock": None if reach.dock_water is None else {"geometry": _geojson(reach.dock_water)},
        "cut_by_extent": reach.cut_by_extent,
        "data_edges": None if reach.data_edges.is_empty else {"geometry": _geojson(reach.data_edges)},
        "refused": None,
        "cautions": list(reach.cautions),
        "sources": sources_of(region),
    }


def reach_refusal_document(error: NoReachError, region: Region, boat: Boat, outing: Outing) -> dict[str, Any]:
    """Tell why nothing is in reach.

    Parameters
    ----------
    error
        Carries what is short.
    region, boat, outing
        What it was asked of.

    Returns
    -------
    What `reach --json` prints with exit 3.
    """
    return {
        "schema": "routeplan/reach/1",
        "currency": region.about.currency,
        "region": region.about.name,
        "boat": boat.name,
        "from": error.refusal.from_,
        **_asked_of_reach(outing, boat),
        "rings": [],
        "areas": [],
        "places": [],
        "turning_points": [],
        "docks_not_counted": [],
        "some_dock": None,
        "cut_by_extent": False,
        "data_edges": None,
        "refused": error.refusal.model_dump(mode="json", by_alias=True),
        "cautions": list(error.cautions),
        "sources": sources_of(region),
    }


def docks_document(
    docks: Sequence[Dock], region: Region, boat: Boat, distances_nmi: Sequence[float | None]
) -> dict[str, Any]:
    """Tell what is known of each dock.

    Parameters
    ----------
    docks
        The docks as the boat meets them.
    region, boat
        Whose they are, and whose eyes.
    distances_nmi
        [nmi] Over water from where was asked; None where not asked, or without a way.

    Returns
    -------
    What `docks --json` prints.
    """
    return {
        "schema": "routeplan/docks/1",
        "currency": region.about.currency,
        "boat": boat.name,
        "docks": [
            {
                "name": dock.name,
                "position": list(dock.position),
                "suits": dock.suits,
                "why_not": list(dock.why_not),
                "cautions": list(dock.cautions),
                "missing": list(dock.missing),
                "distance_nmi": distance,
                **{k: _plain(v) for k, v in dock.facts.items() if k != "name"},
            }
            for dock, distance in zip(docks, distances_nmi, strict=True)
        ],
        "sources": sources_of(region),
    }


def boat_document(boat: Boat, aboard: FuelAboard, ranges: Sequence[dict[str, float]]) -> dict[str, Any]:
    """Tell a boat's fuel and range.

    Parameters
    ----------
    boat
        The boat.
    aboard
        Fuel that the ranges are for.
    ranges
        One entry a speed of the burn table.

    Returns
    -------
    What `boat show --json` prints.
    """
    return {
        "schema": "routeplan/boat/1",
        "boat": boat.model_dump(mode="json"),
        "reserve_l": boat.reserve_l,
        "floor_l": boat.floor_l,
        "aboard": aboard.model_dump(mode="json"),
        "usable_l": boat.usable_l(aboard.mean_l),
        "ranges": list(ranges),
    }


def aboard_document(found: Aboard, boat: Boat, confidence: float, cautions: Sequence[str]) -> dict[str, Any]:
    """Tell the fuel aboard now.

    Parameters
    ----------
    found
        The answer.
    boat
        Whose.
    confidence
        [share] That the range is promised at.
    cautions
        What must be said with it.

    Returns
    -------
    What `aboard --json` prints.
    """
    return {
        "schema": "routeplan/aboard/1",
        "boat": boat.name,
        "confidence": confidence,
        **found.model_dump(mode="json"),
        "cautions": list(cautions),
    }


def lesson_document(lesson: Lesson, where: str, cautions: Sequence[str]) -> dict[str, Any]:
    """Tell what a log teaches.

    Parameters
    ----------
    lesson
        What it teaches.
    where
        The log.
    cautions
        What must be said with it.

    Returns
    -------
    What `boat learn --json` prints: low and high are the ends of 90 % intervals.
    """
    plain = lesson.model_dump(
        mode="json", exclude={"boat", "taught", "sums", "gauge_points", "runs", "full_mark_sd_l", "meters"}
    )
    return {
        "schema": "routeplan/lesson/1",
        "boat": lesson.boat.name,
        "log": where,
        **plain,
        "full_mark_sd_l": lesson.full_mark_sd_l.mean,
        "full_mark_sd": lesson.full_mark_sd_l.model_dump(mode="json"),
        "meters": [meter.model_dump(mode="json") for meter in lesson.meters],
        "burn_lph": list(lesson.taught.burn.burn_lph),
        "sums": [point.model_dump(mode="json") for point in lesson.sums],
        "gauge_points": [point.model_dump(mode="json") for point in lesson.gauge_points],
        "runs": [run.model_dump(mode="json") for run in lesson.runs],
        "cautions": list(cautions),
    }


def region_document(region: Region, doubts: Sequence[Finding], more: dict[str, Any] | None = None) -> dict[str, Any]:
    """Tell what a region holds and what is doubtful in it.

    Parameters
    ----------
    region
        The region.
    doubts
        Its findings.
    more
        What else was found, for one boat.

    Returns
    -------
    What `region check --json` and `region show --json` print.
    """
    about = region.about
    return {
        "schema": "routeplan/region/1",
        "name": about.name,
        "extent": list(about.extent),
        "time_zone": about.time_zone,
        "chart_datum": about.chart_datum,
        "clearance_datum": about.clearance_datum,
        "currency": about.currency,
        "layers": {name: len(frame) if name in region.present else None for name, frame in region.frames.items()},
        "findings": [
            {
                "layer": d.layer,
                "row": d.row,
                "name": d.name,
                "problem": d.problem,
                "remedy": d.remedy,
                "kind": d.kind,
                "danger": group_of(d),
                "weight": d.weight,
                "count": d.count,
                "position": None if d.position is None else [round(degrees, 6) for degrees in d.position],
            }
            for d in doubts
        ],
        **(more or {}),
        "sources": sources_of(region),
    }


def saved_plan_document(saved: SavedPlan, differences: Sequence[str]) -> dict[str, Any]:
    """Tell a saved plan.

    Parameters
    ----------
    saved
        The plan.
    differences
        How region and boat at hand differ from the plan's.

    Returns
    -------
    What `plan show --json` prints.
    """
    return {
        "schema": "routeplan/plan-shown/1",
        "plan": saved.model_dump(mode="json", by_alias=True),
        "differences": list(differences),
    }


def underway_document(answer: Underway, saved: SavedPlan, differences: Sequence[str]) -> dict[str, Any]:
    """Tell where a boat stands underway, and what to do.

    Parameters
    ----------
    answer
        What was found.
    saved
        The plan that is followed.
    differences
        How region and boat at hand differ from the plan's.

    Returns
    -------
    What `underway --json` prints.
    """
    from routeplan.underway_words import UNDERWAY_CAUTIONS  # noqa: PLC0415  other documents say nothing of it

    return {
        "schema": "routeplan/underway/1",
        "currency": saved.region.currency,
        "region": saved.region.name,
        "boat": saved.boat.name,
        "confidence": saved.trip.confidence,
        **answer.model_dump(mode="json", by_alias=True),
        "differences": list(differences),
        "cautions": list(UNDERWAY_CAUTIONS),
        "sources": list(saved.sources),
    }


def asked_of(trip: Trip) -> dict[str, Any]:
    """Echo what plans were made by.

    Parameters
    ----------
    trip
        What was asked.

    Returns
    -------
    Its rules, in plain values.
    """
    plain = trip.model_dump(mode="json")
    keys = ("confidence", "aboard", "fill", "price_of_time_per_h", "closed_dock", "daylight", "hours_per_day_h")
    return {key: plain[key] for key in keys}


def _asked_of_reach(outing: Outing, boat: Boat) -> dict[str, Any]:
    """Echo what the reach was found by."""
    plain = outing.model_dump(mode="json")
    return {
        **{key: plain[key] for key in ("depart", "confidence", "aboard", "out_and_back")},
        "reserve_l": boat.reserve_l,
        "asked_time_h": plain["time_h"],
        "asked_fuel_l": plain["fuel_l"],
    }


def _geojson(shape: Any) -> Any:
    """Write a shape as areas are written."""
    from pydantic import TypeAdapter  # noqa: PLC0415  other documents hold no shapes

    from routeplan.reached import Shape  # noqa: PLC0415

    return TypeAdapter(Shape).dump_python(shape, mode="json")


def _call_ahead(calls: Sequence[Call] | None) -> dict[str, Any]:
    return {} if calls is None else {"call_ahead": [call.model_dump(mode="json") for call in calls]}


def sources_of(region: Region) -> list[dict[str, Any]]:
    """Tell where a region's layers come from.

    Parameters
    ----------
    region
        The region.

    Returns
    -------
    A row a layer.
    """
    return [{"layer": layer, **source.model_dump(mode="json")} for layer, source in region.about.sources.items()]


def _plain(value: Any) -> Any:
    if isinstance(value, bool | int | float | str):
        return value
    return value.item() if hasattr(value, "item") else str(value)
