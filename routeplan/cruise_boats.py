"""The boats of a cruise: each from her own file, with her log where one is named, and the fuel that she has aboard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from layers.errors import InputError
from routeplan.aboard import Readings, find_aboard
from routeplan.boats import BoatFileError, read_boat
from routeplan.cruise_asked import CruiseBoat
from routeplan.fillup_csv import FillupFileError
from routeplan.fuel import read_aboard, with_reserve
from routeplan.instrument_texts import read_gauge, read_meters
from routeplan.log_files import read_fillups
from routeplan.teaching import learn, without_log

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from routeplan.boats import Boat
    from routeplan.fuel import FuelAboard
    from routeplan.teaching import Taught

__all__ = ["BoatWritten", "CruiseName", "Line", "read_cruise_boats"]

_LONGEST_LINE = 1000  # characters: longer than any path or place


def _one_line(text: str) -> str:
    # What isn't printable takes in controls and the marks that turn the direction of reading.
    if not text.isprintable() or (text and not text.strip()):
        kind = "one_line"
        raise PydanticCustomError(kind, "must be one line of printable text")
    return text.strip()


Line = Annotated[str, Field(min_length=1, max_length=_LONGEST_LINE), AfterValidator(_one_line)]
CruiseName = Annotated[str, Field(max_length=120), AfterValidator(_one_line)]
_BoatName = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_one_line)]  # as in a boat file
_Contact = Annotated[str, Field(max_length=120), AfterValidator(_one_line)]


class BoatWritten(BaseModel):
    """One ``[[boat]]`` of a cruise file, as it is written there.

    Parameters
    ----------
    file
        Her boat file, seen from the cruise file's folder.
    name
        What she is called on this cruise; None takes the boat file's name.
    aboard
        Fuel aboard: ``full``, ``71gal``, ``71gal±3gal``.
    log
        Her log: a file, seen from the cruise file's folder, or a URL; None plans with the burn of her file.
    meter, gauge
        What the instruments say, in place of `aboard`.
    reserve
        Another reserve than her file's: a volume.
    contact
        Whom to call about her.
    people
        Persons aboard.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True)

    file: Line
    name: _BoatName | None = None
    aboard: Line | None = None
    log: Line | None = None
    meter: Line | None = None
    gauge: Line | None = None
    reserve: Line | None = None
    contact: _Contact = ""
    people: Annotated[int, Field(ge=1, le=500)] | None = None


def read_cruise_boats(
    written: Sequence[BoatWritten], folder: Path, confidence: float, where: str
) -> tuple[CruiseBoat, ...]:
    """Read the boats of a cruise.

    Parameters
    ----------
    written
        What the cruise file says of each.
    folder
        The folder of the cruise file.
    confidence
        [share] Of arrivals that keep the whole reserve.
    where
        The cruise file, as the errors name it.

    Returns
    -------
    The boats, in the file's order. A log is looked through for the boat's name on this cruise, then for the name in her
    file; the log of this machine isn't used for a boat that names none, so that the plan is the same everywhere.

    Raises
    ------
    InputError
        The fault of a boat: a file that can't be read, a log without her, fuel aboard that isn't said or is beyond the
        tank.
    BoatFileError
        The faults of all boats, one line each, where there are several.
    """
    boats: list[CruiseBoat] = []
    faults: list[InputError] = []
    for number, boat in enumerate(written, start=1):
        try:
            boats.append(_read_one(boat, folder, confidence, f"{where}, [[boat]] {number}"))
        except BoatFileError as error:
            faults += [fault for fault in error.faults if str(fault) not in map(str, faults)]  # one file, many boats
        except InputError as error:
            faults.append(error)
    if faults:
        raise faults[0] if len(faults) == 1 else BoatFileError(faults)
    return tuple(boats)


def _read_one(written: BoatWritten, folder: Path, confidence: float, at: str) -> CruiseBoat:
    path = folder / written.file
    try:
        boat = read_boat(path)
    except BoatFileError:
        raise
    except InputError as error:
        raise InputError(f"{at}, file {path}", error.problem, value=error.value, remedy=error.remedy) from error
    name = boat.name if written.name is None else written.name
    at = f"{at} ({name})"
    if written.reserve is not None:
        boat = with_reserve(boat, written.reserve, f"{at}, reserve")
    if written.log is None:
        boat = boat.model_copy(update={"name": name})
        taught = None
    else:
        taught = _taught(boat, name, written.log, folder, f"{at}, log")
        boat = taught.boat.model_copy(update={"name": name})
    return CruiseBoat(
        name=name,
        boat=boat,
        aboard=_aboard(written, boat, taught, confidence, at),
        file=str(path),
        contact=written.contact,
        people=written.people,
    )


def _taught(boat: Boat, name: str, log: str, folder: Path, where: str) -> Taught:
    """Learn from a log that was named, which has to hold something of this boat."""
    address = log if "://" in log else str(folder / log)
    try:
        fillups = read_fillups(address)
    except FillupFileError:  # every bad row, with the log's own name
        raise
    except InputError as error:
        at = where if error.where == "log" else f"{where}, {error.where}"
        raise InputError(at, error.problem, value=error.value, remedy=error.remedy) from error
    # A boat renamed because another has her name stands in her log as in her file.
    for called in (name, boat.name):
        if entries := fillups.of(called):
            return learn(boat.model_copy(update={"name": called}), entries)
    names = name if name == boat.name else f"{name}, nor of {boat.name}, as her file calls her"
    held = ", ".join(fillups.boats[:3])
    remedy = f"leave log out, or name one of hers: this is of {held}" if held else "leave log out, or name another"
    raise InputError(where, f"holds no fill-up of {names}", remedy=remedy)


def _aboard(written: BoatWritten, boat: Boat, taught: Taught | None, confidence: float, at: str) -> FuelAboard:
    if written.aboard is not None:
        if written.meter is not None or written.gauge is not None:
            raise InputError(
                f"{at}, aboard",
                "is given beside meter or gauge",
                value=written.aboard,
                remedy="give the volume, or what the instruments say",
            )
        return read_aboard(written.aboard, boat, f"{at}, aboard")
    if written.meter is None and written.gauge is None:
        raise InputError(
            f"{at}, aboard",
            "is missing, and is required: without the fuel aboard there is no plan",
            remedy='write aboard = "full" or "71gal", or what the instruments say: meter and gauge',
        )
    readings = _readings(written, boat, at)
    try:
        return find_aboard(without_log(boat) if taught is None else taught, readings, confidence).fuel
    except InputError as error:
        keys = {"--meter": "meter", "--gauge": "gauge"}
        problem, remedy = error.problem, error.remedy
        for option, key in keys.items():
            problem, remedy = problem.replace(option, key), remedy.replace(option, key)
        key = keys.get(error.where, error.where)
        raise InputError(f"{at}, {key}", problem, value=error.value, remedy=remedy) from error


def _readings(written: BoatWritten, boat: Boat, at: str) -> Readings:
    meters_l: list[float] = []
    if written.meter is not None:
        for shown_l in read_meters(written.meter, boat, f"{at}, meter")[0]:
            if shown_l is None:
                remedy = "read both, or give gauge alone"
                raise InputError(f"{at}, meter", "lacks one meter's figure", value=written.meter, remedy=remedy)
            meters_l.append(shown_l)
    return Readings(
        meters_l=tuple(meters_l) or None,
        gauge_l=None if written.gauge is None else read_gauge(written.gauge, boat, f"{at}, gauge")[0],
    )
