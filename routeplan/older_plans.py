"""Older forms of saved plans, brought up to today's when they are read."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from layers.errors import InputError
from routeplan.margins import Margins
from routeplan.moments import write_moment

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan.boats import Boat

__all__ = ["PASSAGE_SCHEMA", "from_passage"]

PASSAGE_SCHEMA: Final = "routeplan/passage/1"  # what `passage --json` prints, and the demo keeps


def from_passage(document: dict[str, Any], path: Path, boat: Boat | None) -> dict[str, Any]:
    """Bring what `passage --json` printed up to the form of a saved plan: its first plan is the one followed.

    Parameters
    ----------
    document
        What the file holds.
    path
        The file.
    boat
        The boat, which it doesn't hold.

    Returns
    -------
    A document of today's form, yet to be validated.

    Raises
    ------
    InputError
        It holds no plan, lacks what a plan needs, or the boat isn't hers.
    """
    if not document.get("plans"):
        raise InputError(str(path), "holds no plan: none kept the rules", remedy="plan anew")
    if boat is None:
        problem = "is what passage --json printed, which doesn't hold the boat"
        raise InputError(str(path), problem, value=document.get("boat"), remedy="add --boat FILE.toml")
    if boat.name != document.get("boat"):
        problem = f"was planned for another boat than {boat.name}"
        raise InputError(str(path), problem, value=document.get("boat"), remedy="give that boat's file")
    try:
        plan = dict(document["plans"][0])
        legs = plan["legs"]
        ends = [leg["from"] for leg in legs[:1]] + [leg["to"] for leg in legs[-1:]]
        first, last = ends or [stop["dock"] for stop in (plan["stops"] * 2)[:2]]
        asked = {key: document[key] for key in ("confidence", "aboard", "fill", "price_of_time_per_h", "closed_dock")}
        speed_kn = document["speed_kn"]
        trip = {"start": first, "finish": last, "depart": plan["depart"], "speed_kn": speed_kn, **asked}
        sources = [source["title"] for source in document["sources"]]
    except (KeyError, TypeError, IndexError, ValueError) as error:
        said = f"is no plan that can be followed: {error} is missing"
        raise InputError(str(path), said, remedy="plan anew with --save") from error
    return {
        "schema": "routeplan/plan/1",
        "saved": write_moment(datetime.fromtimestamp(path.stat().st_mtime, UTC)),
        "version": "0.5",
        "region": {
            "name": document.get("region", ""),
            "digest": "",
            "file": "",
            "time_zone": "UTC",
            "currency": document.get("currency", "EUR"),
        },
        "boat": boat.model_dump(mode="json"),
        "boat_file": "",
        "boat_digest": "",
        "log": None,
        "speed_kn": speed_kn,
        "trip": trip,
        "margins": Margins().model_dump(mode="json"),
        "plan": plan,
        "helm": {
            "meter": {"shows_l": [0.0], "factor": 1.0, "factor_sd": 0.03, "fillups": 0},
            "marks": [],
            "last_turns": [],
        },
        "cautions": document.get("cautions", []),
        "sources": list(dict.fromkeys(sources)),
        "reports": [],
    }
