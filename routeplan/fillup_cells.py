"""The cells of a file of fill-ups: which columns there are, what may stand in them, and how it is written."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, NamedTuple

from pydantic import ValidationError

from layers.errors import InputError
from routeplan.fillup_checks import explain
from routeplan.fillups import SEAS, SINCE, SpeedRun
from routeplan.moments import read_moment, write_moment
from routeplan.places import nearest_names
from routeplan.quantities import LITRES_PER_IMPGAL, LITRES_PER_USGAL, VolumeUnit

if TYPE_CHECKING:
    from collections.abc import Callable

    from routeplan.fillups import Entry, Fillup
    from routeplan.moments import WallClock

__all__ = [
    "LITRES",
    "MEASURED",
    "OF_ENTRY",
    "ORDER",
    "PLAIN",
    "REQUIRED",
    "SPARSE",
    "VOLUMES",
    "Columns",
    "kept_digits",
    "kept_fillup",
    "read_cell",
    "write_cells",
]

LITRES: dict[VolumeUnit, float] = {"l": 1.0, "usgal": LITRES_PER_USGAL, "impgal": LITRES_PER_IMPGAL}
_UNIT_WORDS: dict[VolumeUnit, str] = {"l": "litres", "usgal": "US gallons", "impgal": "imperial gallons"}
VOLUMES = ("meter_used", "meter2_used", "gauge_before", "pumped")
MEASURED = (*VOLUMES, "price_per")  # columns whose names end in a unit of volume
PLAIN = (
    "boat",
    "when",
    "dock",
    "filled_to_full",
    "meter_reset",
    "since",
    "distance_run_nmi",
    "engine_hours_h",
    "speeds_run",
    "sea",
    "people",
    "note",
)
OF_ENTRY = ("entry", "entered", "replaces", "withdrawn")
ORDER = (
    *("boat", "when", "dock", "meter_used", "meter2_used", "gauge_before", "pumped", "filled_to_full", "meter_reset"),
    *("since", "distance_run_nmi", "engine_hours_h", "speeds_run", "sea", "people", "price_per", "note"),
    *OF_ENTRY,
)
REQUIRED = ("boat", "when", "pumped")
SPARSE = frozenset({"meter2_used", "since", "speeds_run"})  # written only where some row has one

_DIGITS = 12  # significant ones that a volume keeps: a millionth of a drop, and free of the last bits of a conversion
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_RUN = re.compile(r"(?P<speed>[^\s]+?)\s*kn\s+(?P<time>[^\s]+?)\s*h")
_ENTRY = re.compile(r"[a-z0-9]{8}")
_FLAGS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


class Columns(NamedTuple):
    """What the header of a file says.

    Parameters
    ----------
    names
        As written, in the file's order.
    fields
        Our own names, without the unit, in the same order.
    unit
        The unit of all volumes.
    """

    names: tuple[str, ...]
    fields: tuple[str, ...]
    unit: VolumeUnit

    def name_of(self, field: str) -> str:
        """Return a column's name as the file spells it.

        Parameters
        ----------
        field
            A field of `Fillup` or `Entry`, or our own name of a column.

        Returns
        -------
        The column's name; the field's own where the file has no such column.
        """
        own = field.removesuffix("_l")
        return self.names[self.fields.index(own)] if own in self.fields else field


def kept_digits(number: float) -> float:
    """Round a figure to the twelve significant digits that a log keeps.

    Parameters
    ----------
    number
        Any finite number.

    Returns
    -------
    The figure without the last bits that a conversion of units leaves.

    Examples
    --------
    >>> 46.8 * 3.785411784, kept_digits(46.8 * 3.785411784)
    (177.1572714912, 177.157271491)
    """
    return float(f"{number:.{_DIGITS}g}")


def kept_fillup(fillup: Fillup) -> Fillup:
    """Round a fill-up's volumes and price to the digits that a log keeps.

    Parameters
    ----------
    fillup
        The fill-up.

    Returns
    -------
    The same, as it comes back from a file.
    """
    measured = {
        name: kept_digits(number)
        for name in (*(f"{field}_l" for field in VOLUMES), "price_per_l")
        if (number := getattr(fillup, name)) is not None
    }
    return fillup.model_copy(update=measured)


def write_cells(entry: Entry, unit: VolumeUnit) -> dict[str, str]:
    """Write what an entry holds, each as the text of a cell.

    Parameters
    ----------
    entry
        The entry.
    unit
        Unit of the volumes.

    Returns
    -------
    By our own names of the columns.
    """
    fillup = entry.fillup
    return {
        "boat": fillup.boat,
        "when": write_moment(fillup.when),
        "dock": fillup.dock,
        "filled_to_full": _yes_no(said=fillup.filled_to_full),
        "meter_reset": _yes_no(said=fillup.meter_reset),
        "since": " ".join(fillup.since),
        "distance_run_nmi": _shortest(fillup.distance_run_nmi),
        "engine_hours_h": _shortest(fillup.engine_hours_h),
        "speeds_run": "; ".join(f"{_shortest(run.speed_kn)}kn {_shortest(run.time_h)}h" for run in fillup.speeds_run),
        "sea": fillup.sea or "",
        "people": "" if fillup.people is None else str(fillup.people),
        "note": fillup.note,
        "entry": entry.entry,
        "entered": write_moment(entry.entered),
        "replaces": entry.replaces or "",
        "withdrawn": _yes_no(said=entry.withdrawn),
        "price_per": _per_unit(fillup.price_per_l, unit),
        **{field: _in_unit(getattr(fillup, f"{field}_l"), unit) for field in VOLUMES},
    }


def read_cell(field: str, text: str, unit: VolumeUnit, zone: WallClock | None) -> Any:
    """Read one cell.

    Parameters
    ----------
    field
        Our own name of its column.
    text
        What stands there; not empty.
    unit
        The unit of the file's volumes.
    zone
        Whose clock a moment without an offset was read from; None where such is refused.

    Returns
    -------
    The value, as `fillups.Fillup` and `fillups.Entry` take it.

    Raises
    ------
    InputError
        It can't be read; its place is the caller's to say.
    """
    if field in VOLUMES:
        return kept_digits(_number(text, unit) * LITRES[unit])
    if field == "price_per":
        return kept_digits(_number(text, unit) / LITRES[unit])
    read = _READERS.get(field)
    if read is not None:
        return read(text)
    if field in {"when", "entered"}:
        return read_moment(text, field, zone)
    return text


def _number(text: str, unit: VolumeUnit | None = None) -> float:
    if _NUMBER.fullmatch(text):
        number = float(text)
        if text.startswith("-") and number:
            raise InputError("", "must not be negative", remedy="leave it empty where it is not known")
        if math.isfinite(number):
            return abs(number)
    if re.fullmatch(r"[+-]?(?:nan|inf|infinity)", text, re.IGNORECASE) or _NUMBER.fullmatch(text):
        raise InputError("", "is not a finite number", remedy="leave it empty where it is not known")
    if re.search(r"[0-9],|,[0-9]", text):
        remedy = "write the decimal point as 71.5, and thousands without a sign"
        raise InputError("", "has a comma in its number", remedy=remedy)
    if re.search(r"[0-9][\s'\u00a0\u202f\u2009_][0-9]", text):
        raise InputError("", "has a sign between its digits", remedy="write thousands without one")
    if re.match(r"[+-]?\.?[0-9]", text):
        is_in = f"the column is in {_UNIT_WORDS[unit]}" if unit else "the column's name says the unit"
        raise InputError("", "is not a bare number", remedy=f"{is_in}; write the number alone")
    raise InputError("", "is not a number", remedy="write it in digits, or leave it empty where it is not known")


def _flag(text: str) -> bool:
    said = _FLAGS.get(text.casefold())
    if said is None:
        raise InputError("", "is neither yes nor no", remedy="write yes or no")
    return said


def _sea(text: str) -> str:
    word = " ".join(text.casefold().split())
    if word not in SEAS:
        raise InputError("", "is not a sea that is known here", remedy=f"write {', '.join(SEAS[:-1])} or {SEAS[-1]}")
    return word


def _since(text: str) -> tuple[str, ...]:
    words = tuple(dict.fromkeys(re.sub(r"[;\s]+", " ", text.casefold()).split()))
    for word in words:
        if word not in SINCE:
            near = nearest_names(word, SINCE, 1)
            remedy = f"did you mean {near[0]}?" if near else f"write {', '.join(SINCE[:-1])} or {SINCE[-1]}"
            raise InputError("", f"{word!r} is not known here", remedy=remedy)
    return words


def _runs(text: str) -> tuple[SpeedRun, ...]:
    runs = []
    for part in filter(None, (part.strip() for part in text.split(";"))):
        found = _RUN.fullmatch(part)
        if found is None:
            raise InputError("", f"{part!r} is not a speed and a time", remedy="write 4.5kn 0.3h; 26kn 1.9h")
        try:
            runs.append(SpeedRun(speed_kn=_number(found["speed"]), time_h=_number(found["time"])))
        except ValidationError as error:
            fault = explain(error)[0]
            raise InputError("", f"{part!r}: {fault.problem}", remedy=fault.remedy) from error
    return tuple(runs)


def _people(text: str) -> int:
    number = _number(text)
    if not number.is_integer():
        raise InputError("", "is not a whole number", remedy="write how many were aboard")
    return int(number)


def _entry_name(text: str) -> str:
    name = text.casefold()
    if not _ENTRY.fullmatch(name):
        problem = "is not the name of an entry, eight letters and digits"
        raise InputError("", problem, remedy="leave it empty for a new fill-up")
    return name


_READERS: dict[str, Callable[[str], Any]] = {
    "filled_to_full": _flag,
    "meter_reset": _flag,
    "withdrawn": _flag,
    "since": _since,
    "distance_run_nmi": _number,
    "engine_hours_h": _number,
    "speeds_run": _runs,
    "sea": _sea,
    "people": _people,
    "entry": _entry_name,
    "replaces": _entry_name,
}


def _yes_no(*, said: bool) -> str:
    return "yes" if said else "no"


def _shortest(number: float | None) -> str:
    """Write the shortest text that reads back as this number, whole ones without a point."""
    return "" if number is None else repr(number).removesuffix(".0")


def _in_unit(volume_l: float | None, unit: VolumeUnit) -> str:
    if volume_l is None:
        return ""
    kept_l, factor = kept_digits(volume_l), LITRES[unit]
    if unit == "l":
        return _shortest(kept_l)
    return _shortest_that(kept_l / factor, lambda number: kept_digits(number * factor) == kept_l)


def _per_unit(price_per_l: float | None, unit: VolumeUnit) -> str:
    if price_per_l is None:
        return ""
    kept, factor = kept_digits(price_per_l), LITRES[unit]
    if unit == "l":
        return _shortest(kept)
    return _shortest_that(kept * factor, lambda number: kept_digits(number / factor) == kept)


def _shortest_that(number: float, reads_back: Callable[[float], bool]) -> str:
    """Write a converted figure with as few digits as give the same litres again: 46.8, not 46.79999999995."""
    for digits in range(1, 18):
        text = f"{number:.{digits}g}"
        if reads_back(float(text)):
            return _shortest(float(text))
    return _shortest(number)
