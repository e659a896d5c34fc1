"""A cruise file: where a group of boats goes, when and with which boats, read from TOML by `read_cruise`.

Every text becomes a quantity here, so that what is planned from holds hours, knots and litres only.
"""

from __future__ import annotations

import difflib
import re
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from layers.errors import InputError
from routeplan.cruise_asked import MOST_BOATS, MOST_VISITS, CruiseAsked, DockTold, Pace, Visit, name_key
from routeplan.cruise_boats import BoatWritten, CruiseName, Line, read_cruise_boats
from routeplan.fuel import read_confidence
from routeplan.quantities import read_duration_h, read_speed_kn
from routeplan.toml_files import read_toml
from routeplan.trips import ClosedDockRule, read_berthing_h, read_departure

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

__all__ = ["read_cruise"]

_Model = TypeVar("_Model", bound=BaseModel)

_FORMAT = 1
_BITS = 63  # of a whole number in TOML, besides its sign; beyond a few thousand digits Python can't even print one
_TIME_OF_DAY = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?")
_WRITE_MOMENT = "write it like 2026-07-01T08:00"
_UNIT_OF = {"h": "h", "kn": "kn", "lpm": "l/min"}  # last word of a value's name -> its unit
_KEY_OF = {  # a value's name -> its key in the file
    "gather_h": "gather",
    "stay_h": "stay",
    "berthing_h": "berthing",
    "longest_wait_h": "longest_wait",
}

_WHY_REQUIRED = {
    "depart": ("a plan begins with it", 'write depart = "2026-07-01T08:00"'),
    "visit": ("it says where the cruise goes", 'write visit = ["Start", "Next place", "End"]'),
    "boat": ("a cruise has boats", "write a [[boat]] with file and aboard for each"),
    "place": ("it says where the group gathers", 'write {place = "...", night = true}'),
    "file": ("it describes her", 'write file = "my_boat.toml", as seen from the cruise file'),
    "name": ("it says which dock is meant", 'write name = "...", as the region calls it'),
}
_EXAMPLES = {
    "speed_kn": '"18 kn"',
    "confidence": '"90 %"',
    "gather": '"15min"',
    "berthing": '"15min"',
    "longest_wait": '"2h"',
    "stay": '"2h"',
    "aboard": '"full" or "71gal"',
    "meter": '"31.2gal", or "15.4+15.8" for two',
    "gauge": '"44gal" or "3/8"',
    "reserve": '"10gal" or "40 l"',
    "contact": '"VHF 72"',
}


class _Written(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)


class _VisitWritten(_Written):
    place: Line
    stay: Line | None = None
    leave: object = None
    night: bool = False


class _DockWritten(DockTold):
    model_config = ConfigDict(strict=True)

    name: Line


class _CruiseWritten(_Written):
    """A cruise file's keys; what is `object` is read by hand."""

    format: object = _FORMAT
    name: CruiseName = ""
    depart: object
    visit: object
    pace: Pace = "together"
    speed_kn: object = None
    gather: Line | None = None
    confidence: object = None
    berthing: Line | None = None
    longest_wait: Line | None = None
    closed_dock: ClosedDockRule = "on"
    known_docks_only: bool = False
    confirmed_docks_only: bool = False
    daylight: bool = True
    boat: object
    dock: object = ()


_AS_WRITTEN = {"name", "pace", "closed_dock", "known_docks_only", "confirmed_docks_only", "daylight"}
_HOMES: dict[str, type[BaseModel]] = {
    "before the first [[boat]]": _CruiseWritten,
    "in a [[boat]]": BoatWritten,
    'in a visit, such as {place = "...", night = true}': _VisitWritten,
    "in a [[dock]]": _DockWritten,
}


def read_cruise(path: str | os.PathLike[str], zone: ZoneInfo) -> CruiseAsked:
    """Read a cruise from her organiser's TOML file.

    Parameters
    ----------
    path
        The file; boat files and logs are seen from its folder.
    zone
        The region's time zone: of moments without an offset.

    Returns
    -------
    What is asked, with every boat read.

    Raises
    ------
    InputError
        The first fault of the file: file, key, value, limit and remedy.
    BoatFileError
        The faults of the boats, one line each.
    FillupFileError
        The bad rows of a boat's log.
    """
    where = str(path)
    document = read_toml(path, "cruise file")
    _check_format(document, where)
    written = _checked(_CruiseWritten, document, where)
    values: dict[str, Any] = written.model_dump(include=_AS_WRITTEN, exclude_unset=True)
    depart = values["depart"] = _moment(written.depart, zone, f"{where}, depart")
    if written.speed_kn is not None:
        speed = _figure(written.speed_kn, where, "speed_kn")
        values["speed_kn"] = read_speed_kn(speed, f"{where}, speed_kn", bare=None)
    if written.gather is not None:
        values["gather_h"] = read_duration_h(written.gather, f"{where}, gather")
    if written.confidence is not None:
        share = str(_figure(written.confidence, where, "confidence"))
        values["confidence"] = read_confidence(share, f"{where}, confidence")
    if written.berthing is not None:
        values["berthing_h"] = read_berthing_h(written.berthing, f"{where}, berthing")
    if written.longest_wait is not None:
        values["longest_wait_h"] = read_duration_h(written.longest_wait, f"{where}, longest_wait")
    values["visits"] = _visits(written.visit, depart, zone, where)
    values["docks"] = _docks(written.dock, where)
    boats = [
        _checked(BoatWritten, table, f"{where}, [[boat]] {number}")
        for number, table in enumerate(_tables(written.boat, "boat", where), start=1)
    ]
    if not boats:
        why, remedy = _WHY_REQUIRED["boat"]
        raise InputError(f"{where}, [[boat]]", f"there is none: {why}", remedy=remedy)
    if len(boats) > MOST_BOATS:
        problem = f"{len(boats)} boats, and a cruise has {MOST_BOATS} at the most"
        raise InputError(f"{where}, [[boat]]", problem, remedy="divide the fleet")
    confidence = values.get("confidence", CruiseAsked.model_fields["confidence"].default)
    values["boats"] = read_cruise_boats(boats, Path(path).parent, confidence, where)
    return _checked_values(CruiseAsked, values, document, where)


def _check_format(document: Mapping[str, object], where: str) -> None:
    given = document.get("format", _FORMAT)
    if isinstance(given, bool) or given != _FORMAT:
        newer = isinstance(given, int) and given > _FORMAT
        remedy = "a newer routeplan reads it" if newer else f"write format = {_FORMAT}, or leave it out"
        raise InputError(
            f"{where}, format", f"this version reads format {_FORMAT}", value=_quotable(given), remedy=remedy
        )


def _visits(given: object, depart: datetime, zone: ZoneInfo, where: str) -> tuple[Visit, ...]:
    rows = _rows(given, f"{where}, visit", 'a list of places, such as ["Start", "Next place", "End"]')
    if len(rows) < 2:
        problem = "a cruise visits two places at the least, the start and the end"
        raise InputError(f"{where}, visit", problem, value=len(rows), remedy=_WHY_REQUIRED["visit"][1])
    if len(rows) > MOST_VISITS:
        problem = f"{len(rows)} visits, and a cruise has {MOST_VISITS} at the most"
        raise InputError(f"{where}, visit", problem, remedy="divide the cruise")
    visits: list[Visit] = []
    left, left_words = depart, "depart"
    for number, row in enumerate(rows, start=1):
        at = f"{where}, visit {number}"
        if not isinstance(row, str | dict):
            problem = "must be the name of a place in quotes, or a table"
            raise InputError(at, problem, value=_quotable(row), remedy=_WHY_REQUIRED["place"][1])
        written = _checked(_VisitWritten, {"place": row} if isinstance(row, str) else row, at)
        if visits and name_key(visits[-1].place) == name_key(written.place):
            problem = "is the same place as the visit before"
            raise InputError(at, problem, value=written.place, remedy="to stay longer, give it a stay or a night")
        _check_ends(written, number, len(rows), at)
        leave = None if written.leave is None else _leave(written.leave, zone, f"{at}, leave")
        if isinstance(leave, datetime):
            if leave <= left:
                raise InputError(
                    f"{at}, leave",
                    f"must be after {left_words}, {left.astimezone(zone):%Y-%m-%dT%H:%M}",
                    value=_quotable(written.leave),
                    remedy="check the dates",
                )
            left, left_words = leave, f"the leave of visit {number}"
        values: dict[str, Any] = {"place": written.place, "leave": leave, "night": written.night}
        if written.stay is not None:
            values["stay_h"] = read_duration_h(written.stay, f"{at}, stay")
        visits.append(_checked_values(Visit, values, row, at))
    return tuple(visits)


def _check_ends(written: _VisitWritten, number: int, count: int, at: str) -> None:
    """Refuse what would be passed over: the start is left at the departure, and the end isn't left."""
    if number == 1 and (extra := sorted(written.model_fields_set - {"place"})):
        raise InputError(f"{at}, {extra[0]}", "the group leaves the start at depart", remedy="leave it out")
    if number == count and written.leave is not None:
        raise InputError(f"{at}, leave", "the cruise ends here", remedy="leave it out, or add the next place")


def _docks(given: object, where: str) -> tuple[DockTold, ...]:
    docks: dict[str, DockTold] = {}
    for number, table in enumerate(_tables(given, "dock", where), start=1):
        at = f"{where}, [[dock]] {number}"
        dock = _checked(_DockWritten, table, at)
        key = name_key(dock.name)
        if key in docks:
            problem, remedy = "this dock is told of twice", "put all that is known of it in one [[dock]]"
            raise InputError(f"{at}, name", problem, value=dock.name, remedy=remedy)
        docks[key] = DockTold.model_validate(dock.model_dump())
    return tuple(docks.values())


def _tables(given: object, key: str, where: str) -> list[Any]:
    if isinstance(given, dict):
        raise InputError(f"{where}, [{key}]", "is one table, and may be several", remedy=f"write [[{key}]]")
    return _rows(given, f"{where}, {key}", f"written as [[{key}]]")


def _rows(given: object, where: str, wanted: str) -> list[Any]:
    if not isinstance(given, list | tuple):
        raise InputError(where, f"must be {wanted}", value=_quotable(given))
    return list(given)


def _leave(given: object, zone: ZoneInfo, where: str) -> datetime | time:
    """Read a moment, or a time of day for the first such time after the stay."""
    if isinstance(given, time):
        return given
    clock = _TIME_OF_DAY.fullmatch(given.strip()) if isinstance(given, str) else None
    if clock is None:
        return _moment(given, zone, where)
    try:
        hour, minute, second = (int(part) for part in clock.groups("0"))
        return time(hour, minute, second)
    except ValueError as error:
        raise InputError(where, "is not a time of day", value=given, remedy="write it like 09:00") from error


def _moment(given: object, zone: ZoneInfo, where: str) -> datetime:
    if isinstance(given, date):  # of which a TOML date with its time is one
        given = given.isoformat()
    if not isinstance(given, str):
        raise InputError(where, "must be a date and time", value=_quotable(given), remedy=_WRITE_MOMENT)
    return read_departure(given, zone, where)


def _checked(model: type[_Model], table: object, where: str) -> _Model:
    """Hold a table against the keys that it may have, their types and limits."""
    if not isinstance(table, dict):
        raise InputError(where, "must be a table with keys", value=_quotable(table))
    for key, value in table.items():
        if isinstance(value, int) and value.bit_length() > _BITS:
            raise InputError(f"{where}, {_shown(key)}", "is too large a number", value="a whole number of many digits")
    return _checked_values(model, table, table, where)


def _checked_values(model: type[_Model], values: Mapping[str, Any], written: object, where: str) -> _Model:
    try:
        return model.model_validate(values)
    except InputError as error:  # a rule between values, which knows the key and not the file
        raise InputError(f"{where}, {error.where}", error.problem, value=error.value, remedy=error.remedy) from error
    except ValidationError as error:
        raise _told(error, model, written, where) from error


def _told(error: ValidationError, model: type[BaseModel], written: object, where: str) -> InputError:
    """Tell the first fault; a key that isn't known is often the one that is missing, misspelt, and goes before all."""
    details = error.errors(include_url=False)
    detail = next((each for each in details if each["type"] == "extra_forbidden"), details[0])
    name = str(detail["loc"][0])
    key = _KEY_OF.get(name, name)
    at = f"{where}, {_shown(key)}"
    if detail["type"] == "extra_forbidden":
        return InputError(at, "is not known here", remedy=_nearest(model, key))
    if detail["type"] == "missing":
        why, remedy = _WHY_REQUIRED[key]
        return InputError(at, f"is missing, and is required: {why}", remedy=remedy)
    given = written.get(key) if isinstance(written, dict) else written
    unit = _UNIT_OF.get(name.rpartition("_")[2], "")
    remedy = f"write for example {_EXAMPLES[key]}" if detail["type"] == "string_type" and key in _EXAMPLES else ""
    return InputError(at, _problem(detail, unit), value=_quotable(given), remedy=remedy)


def _problem(detail: Any, unit: str) -> str:
    said = {
        "greater_than": "must be above {gt:g} {unit}",
        "greater_than_equal": "must be at least {ge:g} {unit}",
        "less_than_equal": "must be at most {le:g} {unit}",
        "finite_number": "must be a finite number",
        "float_type": "must be a number, in {unit}",
        "int_type": "must be a whole number",
        "bool_type": "must be true or false",
        "string_type": "must be text in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": "must be at most {max_length} characters",
        "literal_error": "must be {expected}",
    }
    if detail["type"] not in said:
        return str(detail["msg"])
    return said[detail["type"]].format(**detail.get("ctx", {}), unit=unit).strip()


def _nearest(model: type[BaseModel], key: str) -> str:
    """Say where a key belongs that is only in the wrong table, else offer the one that was probably meant."""
    for home, other in _HOMES.items():
        if key in other.model_fields and key != "name":  # which has many homes
            return f"it belongs {home}"
    known = list(model.model_fields)
    if near := difflib.get_close_matches(key[:100], known, n=1):
        return f"did you mean {near[0]}?"
    return f"known here are {', '.join(known)}"


def _figure(given: object, where: str, key: str) -> str | float:
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        problem = f"must be a number, or text such as {_EXAMPLES[key]}"
        raise InputError(f"{where}, {key}", problem, value=_quotable(given))
    return given


def _shown(key: str) -> str:
    return key if key and key.isprintable() and len(key) <= 40 else repr(key[:40])


def _quotable(given: object) -> object:
    """Return what an error can quote in one line: of a list or a table only that it is one."""
    if isinstance(given, date | time):
        return given.isoformat()
    if isinstance(given, list | tuple | dict):
        return "a table" if isinstance(given, dict) else "a list"
    if isinstance(given, int) and given.bit_length() > _BITS:
        return "a whole number of many digits"
    return given
