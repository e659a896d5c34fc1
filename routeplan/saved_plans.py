"""A plan as a file: all that the helm, a sheet, a route and a re-plan underway need, in one JSON document.

The document carries a checksum of its contents, so that a file cut short or edited is found out, and a schema name with
its version. A document of an older form is brought up to this one when it is read; `plan_schema` publishes the form.
"""

from __future__ import annotations

import hashlib
import json
import re
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from layers.errors import InputError
from layers.files import read_text, replaced_file
from routeplan.boats import Boat
from routeplan.crews import Crew
from routeplan.fillups import SpeedRun
from routeplan.helm import Helm
from routeplan.margins import Margins
from routeplan.moments import read_moment, write_moment
from routeplan.older_plans import PASSAGE_SCHEMA, from_passage
from routeplan.plan_bounds import find_fault
from routeplan.plans import Plan, When
from routeplan.trips import Trip

if TYPE_CHECKING:
    from pathlib import Path

    from layers import Region
    from routeplan.passage import Passage

__all__ = [
    "MOST_REPORTS",
    "Before",
    "Report",
    "SavedPlan",
    "SavedRegion",
    "differences",
    "keep_plan",
    "plan_schema",
    "read_plan",
    "read_when",
    "write_plan",
]

SCHEMA: Final = "routeplan/plan/1"
_LARGEST_BYTES = 20_000_000  # a plan of a hundred legs has 0.1 MB
MOST_REPORTS = 10_000  # one a minute for a week
_EARLY, _LATE = timedelta(hours=3), timedelta(days=3)  # about the plan: when its own day is meant by a time alone
_HALF_DAY = timedelta(hours=12)
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}")
_EARLIEST, _LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2199, 12, 31, tzinfo=UTC)
_Moment = Annotated[When, Field(ge=_EARLIEST, le=_LATEST)]
_Litres = Annotated[float, Field(ge=0, le=100_000)]


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class SavedRegion(_Value):
    """The region that a plan was made with.

    Parameters
    ----------
    name
        Its name.
    digest
        SHA-256 of all that it held; empty where that wasn't kept.
    file
        Where it was.
    time_zone, currency
        Of its hours and prices.
    """

    name: str
    digest: str
    file: str
    time_zone: str
    currency: str

    @field_validator("time_zone")
    @classmethod
    def _is_known(cls, name: str) -> str:
        if name not in available_timezones():
            raise ValueError("is not a time zone that is known here")
        return name


class Report(_Value):
    """What was noted underway: where, when, and what the instruments said.

    Parameters
    ----------
    when
        The moment.
    position
        [deg] Longitude and latitude.
    shows_l
        [l] What each dial showed; None where not read.
    gauge_l
        [l] What the gauge showed; None where not read.
    was_l
        [l] What each dial had shown when it was reset since the report before; None where it wasn't.
    filled
        Whether the tank was just filled to its full mark, and the meters were reset.
    took_l
        [l] What a part fill just took, after which the meters were reset; None where there was none.
    not_reset
        Whether the meters ran on at the last fill, though the log or a report has them reset.
    """

    when: _Moment
    position: tuple[Annotated[float, Field(ge=-180, le=180)], Annotated[float, Field(ge=-90, le=90)]]
    shows_l: Annotated[tuple[_Litres, ...], Field(min_length=1, max_length=2)] | None = None
    gauge_l: _Litres | None = None
    was_l: Annotated[tuple[_Litres, ...], Field(min_length=1, max_length=2)] | None = None
    filled: bool = False
    took_l: _Litres | None = None
    not_reset: bool = False


class Before(_Value):
    """What was run before a plan that was made underway, since the last fill-up or the departure.

    Parameters
    ----------
    start
        Where that run began.
    began
        When.
    distance_nmi, planned_l
        [nmi, l] From there to where the new plan begins, by the old plan.
    shows_l
        [l] What each dial showed where the run began.
    speeds_run
        How long at which speed from there, by the old plan.
    """

    start: str
    began: _Moment
    distance_nmi: Annotated[float, Field(ge=0, le=10_000)]
    planned_l: _Litres
    shows_l: Annotated[tuple[_Litres, ...], Field(min_length=1, max_length=2)]
    speeds_run: tuple[SpeedRun, ...] = ()


class SavedPlan(_Value):
    """A plan with all that is needed to follow it.

    Parameters
    ----------
    schema
        Name and version of the form.
    saved
        When.
    version
        Of the program that saved it.
    region
        The region that it was made with.
    boat
        The boat, with the burn that was planned with.
    boat_file, boat_digest
        Her file, and SHA-256 of what it said; empty where that wasn't kept.
    log
        File of the log that was learnt from; None for the default, or none.
    speed_kn
        [kn] Chosen speed.
    trip
        What was asked.
    margins
        What was kept clear of.
    plan
        The plan.
    helm
        What the helm checks against the dial.
    cautions
        What holds for it, the safety cautions first.
    sources
        Where the region's layers come from, a line each.
    crew
        Who is aboard and who waits ashore; None where it wasn't said.
    before
        What was run before it, where it was made underway; None where it begins at a departure.
    reports
        What was noted underway, in order of time.
    closed
        When the passage was entered in the log; None where it wasn't yet.
    """

    schema_: Literal["routeplan/plan/1"] = Field(default=SCHEMA, alias="schema")
    saved: _Moment
    version: str
    region: SavedRegion
    boat: Boat
    boat_file: str
    boat_digest: str
    log: str | None = None
    speed_kn: Annotated[float, Field(gt=0)]
    trip: Trip
    margins: Margins
    plan: Plan
    helm: Helm
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    crew: Crew | None = None
    before: Before | None = None
    reports: Annotated[tuple[Report, ...], Field(max_length=MOST_REPORTS)] = ()
    closed: _Moment | None = None

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the region that it was made with."""
        return ZoneInfo(self.region.time_zone)

    @property
    def is_older(self) -> bool:
        """Whether it was read from an older form, which nothing is noted in."""
        return not self.boat_digest

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        if any(mark.leg > len(self.plan.legs) for mark in self.helm.marks):
            raise ValueError("helm has a mark for a leg that the plan doesn't have")
        fault = find_fault(self.plan, self.helm)
        if not _EARLIEST <= self.trip.depart <= _LATEST:
            fault = "trip.depart: out of the years 1970 to 2199"
        if fault:
            raise ValueError(fault)
        moments = [report.when for report in self.reports]
        if moments != sorted(moments):
            raise ValueError("reports aren't in order of time")
        return self


def keep_plan(
    passage: Passage,
    helm: Helm,
    now: datetime,
    *,
    plan: Plan | None = None,
    files: tuple[str, str, str | None] = ("", "", None),
    boat_digest: str = "",
) -> SavedPlan:
    """Take from a passage what is to be kept of it.

    Parameters
    ----------
    passage
        The answer to a trip.
    helm
        What the helm checks on the way.
    now
        The clock.
    plan
        Which of its plans; None for the recommended one.
    files
        Those of the region, of the boat and of the log; a log's address isn't kept, as it may hold a password.
    boat_digest
        SHA-256 of what the boat's file said, before the log taught better.

    Returns
    -------
    The plan, as it is saved, printed and exported.
    """
    region = passage.network.region
    region_file, boat_file, log = files
    kept = SavedPlan(
        saved=now,
        version=version("routeplan"),
        region=SavedRegion(
            name=region.about.name,
            digest=region.digest,
            file=region_file,
            time_zone=region.about.time_zone,
            currency=region.about.currency,
        ),
        boat=passage.boat,
        boat_file=boat_file,
        boat_digest=boat_digest,
        log=None if log is None or "://" in log else log,
        speed_kn=passage.speed_kn,
        trip=passage.trip,
        margins=passage.network.water.margins,
        plan=passage.recommended if plan is None else plan,
        helm=helm,
        cautions=passage.cautions,
        sources=region.about.source_lines,
    )
    return SavedPlan.model_validate(_plain(kept))  # to the second, as the file has it: paper and file tell the same


def write_plan(saved: SavedPlan, path: Path) -> None:
    """Write a plan to a file, whole or not at all.

    Parameters
    ----------
    saved
        The plan.
    path
        The file; an old one is replaced.

    Raises
    ------
    InputError
        It can't be written.
    """
    document = _plain(saved)
    document["checksum"] = _checksum(document)
    with replaced_file(path) as draft:
        draft.write_text(json.dumps(document, indent=1, allow_nan=False) + "\n", encoding="utf-8")


def read_plan(path: Path, boat: Boat | None = None) -> SavedPlan:
    """Read a plan from a file, of this form or an older one.

    Parameters
    ----------
    path
        The file.
    boat
        The boat, for an older form that doesn't hold her.

    Returns
    -------
    The plan.

    Raises
    ------
    InputError
        The file can't be read, is no plan, was cut short or edited, is of a newer form, or needs the boat.
    """
    document = _read_document(path)
    schema = document.get("schema")
    if schema == PASSAGE_SCHEMA:
        document = from_passage(document, path, boat)
    elif schema != SCHEMA:
        raise _not_ours(path, schema)
    else:
        told = document.pop("checksum", None)
        if told != _checksum(document):
            raise InputError(
                str(path),
                "was changed since it was saved: its checksum doesn't fit what it holds",
                remedy="take an untouched copy, or plan anew with --save",
            )
    try:
        return SavedPlan.model_validate(document)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = ".".join(map(str, fault["loc"])) or "the whole"
        said = f"is no plan that can be followed: {where}: {fault['msg'].removeprefix('Value error, ')}"
        more = f", and {error.error_count() - 1} more faults" if error.error_count() > 1 else ""
        raise InputError(str(path), said + more, remedy="plan anew with --save") from error


def read_when(text: str, where: str, saved: SavedPlan, now: datetime) -> datetime:
    """Read a moment underway: a time of day alone is the last one, or where the plan is for another day, of that day.

    Parameters
    ----------
    text
        As typed.
    where
        The option that it came from.
    saved
        The plan that is followed.
    now
        The clock.

    Returns
    -------
    The moment, in UTC.

    Raises
    ------
    InputError
        It can't be read.
    """
    earliest, latest = saved.plan.depart - _EARLY, saved.plan.arrive + _LATE
    if not _TIME_OF_DAY.fullmatch(text.strip()):
        return read_moment(text, where, saved.zone, now=now)
    about = min(max(now, earliest), latest)  # the clock, where it is of the plan's own days
    if not earliest <= now <= latest:
        about = saved.reports[-1].when if saved.reports else saved.plan.depart
        about += _HALF_DAY  # the nearest such time, before or after
    return read_moment(text, where, saved.zone, now=about)


def plan_schema() -> dict[str, Any]:
    """Publish the form of a saved plan.

    Returns
    -------
    JSON Schema, draft 2020-12.
    """
    body = SavedPlan.model_json_schema(mode="serialization", by_alias=True)
    body["properties"]["checksum"] = {
        "description": "SHA-256 of the document without this key: JSON with sorted keys, no blanks, ASCII only.",
        "pattern": "^[0-9a-f]{64}$",
        "type": "string",
    }
    body["required"] = ["schema", *body.get("required", []), "checksum"]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA, **body}


def differences(saved: SavedPlan, region: Region | None, boat: Boat | None) -> tuple[str, ...]:
    """Say how region and boat at hand differ from those that a plan was made with.

    Parameters
    ----------
    saved
        The plan.
    region
        The region at hand; None where there is none.
    boat
        The boat as her file says now; None where there is none.

    Returns
    -------
    Sentences; none where nothing differs.
    """
    found = []
    if region is not None:
        name, was = region.about.name, saved.region
        if name != was.name:
            found.append(f"The plan was made with another region: {was.name}; this is {name}. Plan anew.")
        elif was.digest and region.digest != was.digest:
            when = write_moment(saved.saved)
            found.append(f"{name} has changed since the plan was saved ({when}): plan anew before you leave.")
    if boat is not None and saved.boat_digest and boat.digest != saved.boat_digest:
        if boat.name != saved.boat.name:
            found.append(f"The plan was made for another boat: {saved.boat.name}; this is {boat.name}. Plan anew.")
        else:
            found.append(f"{boat.name}'s file has changed since the plan was saved{_changed(saved.boat, boat)}.")
    return tuple(found)


def _changed(was: Boat, now: Boat) -> str:
    """Name what changed of a boat, leaving out what a log teaches."""
    units = now.units
    said = [
        f"{word} {show(old)}, now {show(new)}"
        for word, show, old, new in (
            ("capacity", units.volume, was.tank.capacity_l, now.tank.capacity_l),
            ("unusable fuel", units.volume, was.tank.unusable_l, now.tank.unusable_l),
            ("full mark", units.volume, was.tank.full_mark_l, now.tank.full_mark_l),
            ("draught", units.length, was.draught_m, now.draught_m),
            ("air draught", units.length, was.air_draught_m, now.air_draught_m),
        )
        if abs(old - new) > 1e-6
    ]
    if was.fuel != now.fuel:
        said.insert(0, f"fuel {was.fuel}, now {now.fuel}")
    return f": {'; '.join(said)}" if said else ""


def _plain(saved: SavedPlan) -> dict[str, Any]:
    return saved.model_dump(mode="json", by_alias=True)


def _checksum(document: dict[str, Any]) -> str:
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _read_document(path: Path) -> dict[str, Any]:
    text = read_text(path, _LARGEST_BYTES)
    try:
        document = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        at = f" at line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        said = f"is no plan that can be read: it was cut short or edited{at}"
        raise InputError(str(path), said, remedy="take another copy, or plan anew with --save") from error
    if not isinstance(document, dict):
        raise _not_ours(path, None)
    return document


def _no_constant(word: str) -> float:
    raise ValueError(word)  # NaN and Infinity are no JSON


def _not_ours(path: Path, schema: object) -> InputError:
    told = schema if isinstance(schema, str) else None
    if told and told.startswith("routeplan/plan/"):
        remedy = "it was saved by a newer program: update this one, or plan anew"
        return InputError(
            str(path), f"is of a form that this program doesn't know, its own is {SCHEMA}", value=told, remedy=remedy
        )
    return InputError(str(path), "is not a saved plan", value=told, remedy="save one with routeplan passage ... --save")
