"""The sea as a skipper enters it: from where, how high, how much wind; once for all, or as a table by the clock.

Nothing is worked out here but what holds when. Directions are those that sea and wind come from, in degrees true, as
forecasts give them. What a sea does to speed and burn is in `sea_allowance`.
"""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple, TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from layers.errors import InputError
from layers.files import read_text
from routeplan.moments import read_moment, shown_moment
from routeplan.places import nearest_names
from routeplan.quantities import METRES_PER_FT, plain_text, read_length_m, read_speed_kn

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import ArrayLike, NDArray

    from routeplan.fillups import Sea
    from routeplan.moments import WallClock
    from routeplan.units_shown import DisplayUnits

__all__ = ["HIGHEST_M", "STRONGEST_KN", "SeaState", "Seas", "read_sea", "read_sea_table", "wmo_sea"]

HIGHEST_M = 6.0  # m: beyond 'very rough' of code table 3700, and beyond any day boat
STRONGEST_KN = 60.0  # kn: a violent storm is near (Beaufort 11 is 56 to 63 kn); more is a slip of the pen

# Upper ends of the significant height in each state. WMO code table 3700, from memory; its note gives a height that
# is just on a bound to the lower state.
_WMO_UP_TO_M: tuple[tuple[float, Sea], ...] = (
    (0.1, "calm"),
    (0.5, "smooth"),
    (1.25, "slight"),
    (2.5, "moderate"),
    (4.0, "rough"),
    (6.0, "very rough"),
)
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
_POINT_DEG = 22.5  # degrees: from one point to the next
_DIRECTION = re.compile(
    r"(?:(?P<point>[A-Za-z]+)|(?P<degrees>[0-9]+(?:\.[0-9]+)?)\s*(?:\u00b0|deg|degrees)?\s*(?:T|true)?)(?=[\s,;]|$)",
    re.IGNORECASE,
)
_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_PARTING = re.compile(r"[\s,;]*")
_FIGURE = re.compile(
    rf"{_NUMBER}\s*(?:ft|foot|feet|')\.?\s*{_NUMBER}\s*(?:inches|inch|in\b|\"|'')|{_NUMBER}\s*[^\s0-9,;.]*",
    re.IGNORECASE,
)
_SPEED_UNIT = re.compile(r".*[0-9.,]\s*(?:kns?|kts?|knots?|nmi/h|mph|mi/h|km/h|kmh|kph|m/s|mps)", re.IGNORECASE)
_EXAMPLE = "write a direction, a height and if known the wind: 'W 4ft', '270 1.2m' or 'WSW 15kn 4ft'"
_CHECK = "check figure and unit"

_LIMIT_BYTES = 1_000_000  # bytes
_MOST_ROWS = 5_000  # rows: half a year by the hour
_COLUMNS = ("from_time", "sea_from", "height", "wind", "until")
_HEIGHTS: dict[str, Literal["m", "ft"] | None] = {"height": None, "height_m": "m", "height_ft": "ft"}
_WINDS: dict[str, Literal["kn"] | None] = {"wind": None, "wind_kn": "kn"}
_HEADER = "the first line is from_time,sea_from,height and if wanted wind and until"

Indices: TypeAlias = "NDArray[np.int64]"


class SeaState(BaseModel):
    """A sea, and the wind that comes with it.

    Parameters
    ----------
    from_deg
        [degrees true] Where it comes from; the wind comes from there too.
    height_m
        [m] Significant height: the mean of the highest third of the waves, trough to crest.
    wind_kn
        [kn] Mean wind; None where not said.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    from_deg: Annotated[float, Field(ge=0, lt=360)]
    height_m: Annotated[float, Field(ge=0, le=HIGHEST_M)]
    wind_kn: Annotated[float, Field(ge=0, le=STRONGEST_KN)] | None = None

    @property
    def wmo(self) -> Sea:
        """The WMO's word for a sea of this height."""
        return wmo_sea(self.height_m)

    @property
    def point(self) -> str:
        """The nearest of the compass's sixteen points."""
        return _POINTS[math.floor(self.from_deg / _POINT_DEG + 0.5) % len(_POINTS)]

    def shown(self, units: DisplayUnits) -> str:
        """Say it in a boat's units.

        Parameters
        ----------
        units
            The boat's.

        Returns
        -------
        In words.

        Examples
        --------
        >>> from routeplan.units_shown import DisplayUnits
        >>> SeaState(from_deg=270, height_m=1.2192, wind_kn=15).shown(DisplayUnits("us"))
        'sea of 4 ft from W (270° true), wind 15 kn'
        """
        metric = units.short_length == "m"
        height = round(self.height_m if metric else self.height_m / METRES_PER_FT, 1)
        wind = "" if self.wind_kn is None else f", wind {self.wind_kn:.0f} kn"
        deg = round(self.from_deg) % 360
        return f"sea of {height:g} {units.short_length} from {self.point} ({deg:03d}\u00b0 true){wind}"


@dataclass(frozen=True)
class Seas:
    """Which sea holds when: one for all time, or the rows of a table.

    Parameters
    ----------
    states
        The seas, in order of time.
    places
        Where each was entered: the option, or the file and line.
    begins_s
        [s] POSIX time from which each holds, until the next does.
    end_s
        [s] POSIX time at which the last one ends; infinite where it doesn't.
    notes
        What is to be said of what isn't covered.
    """

    states: tuple[SeaState, ...]
    places: tuple[str, ...]
    begins_s: tuple[float, ...]
    end_s: float = math.inf
    notes: tuple[str, ...] = ()

    @classmethod
    def always(cls, state: SeaState, where: str) -> Seas:
        """Let one sea hold for all time.

        Parameters
        ----------
        state
            The sea.
        where
            The option that it came from.

        Returns
        -------
        A table of one row, without begin or end.
        """
        return cls((state,), (where,), (-math.inf,))

    def at(self, posix_s: ArrayLike) -> Indices:
        """Tell which sea holds at each of many moments.

        Parameters
        ----------
        posix_s
            [s] POSIX times, in any shape.

        Returns
        -------
        Places in `states`, in the same shape; -1 where none holds: the sea counts as calm there, and `notes` say so.
        """
        when = np.asarray(posix_s, dtype=np.float64)
        found = np.searchsorted(np.array(self.begins_s), when, side="right") - 1
        return np.where(when < self.end_s, found, -1).astype(np.int64)

    def during(self, begin_s: float, end_s: float) -> tuple[int, ...]:
        """Tell which seas hold at some time between two moments.

        Parameters
        ----------
        begin_s, end_s
            [s] POSIX times; both ends count.

        Returns
        -------
        Places in `states`, in order of time.
        """
        ends = (*self.begins_s[1:], self.end_s)
        spans = enumerate(zip(self.begins_s, ends, strict=True))
        return tuple(place for place, (begin, end) in spans if begin <= end_s and end > begin_s)


def wmo_sea(height_m: float) -> Sea:
    """Name a sea by its height.

    Parameters
    ----------
    height_m
        [m] Significant height, 0 to 6.

    Returns
    -------
    The word of the WMO's code table 3700 (Manual on Codes); a height just on a bound has the lower state's.

    Examples
    --------
    >>> wmo_sea(0.05), wmo_sea(1.25), wmo_sea(1.26)
    ('calm', 'slight', 'moderate')
    """
    return next((word for up_to_m, word in _WMO_UP_TO_M if height_m <= up_to_m), _WMO_UP_TO_M[-1][1])


def read_sea(text: str, option: str) -> SeaState:
    """Read a sea as typed.

    Parameters
    ----------
    text
        Where it comes from, as one of sixteen points or in degrees true; then, in any order, its height and if known
        the wind, each with its unit.
    option
        The option that it came from.

    Returns
    -------
    The sea.

    Raises
    ------
    InputError
        It can't be read, lacks a part or a unit, has one twice, or is beyond 6 m or 60 kn.

    Examples
    --------
    >>> read_sea("WSW 15kn 1.2m", "--sea")
    SeaState(from_deg=247.5, height_m=1.2, wind_kn=15.0)
    """
    if not text.strip():
        raise InputError(option, "is empty", remedy=_EXAMPLE)
    plain = plain_text(text, option)
    direction = _DIRECTION.match(plain)
    if direction is None:
        raise InputError(option, "does not begin with where the sea comes from", value=text, remedy=_EXAMPLE)
    from_deg = _read_direction(direction[0], option, text)
    heights, winds = [], []
    for figure in _figures(plain[direction.end() :], option, text):
        if figure[-1] in "0123456789.,":
            problem = f"has a figure without a unit, {figure.strip()}"
            raise InputError(option, problem, value=text, remedy="write heights as 4ft or 1.2m, the wind as 15kn")
        if _SPEED_UNIT.fullmatch(figure):
            winds.append(_read_wind(figure, option))
        else:
            heights.append(_read_height(figure, option))
    if not heights:
        raise InputError(option, "does not say how high the sea is", value=text, remedy=_EXAMPLE)
    if len(heights) > 1 or len(winds) > 1:
        what = "height" if len(heights) > 1 else "wind"
        raise InputError(option, f"gives the {what} twice", value=text, remedy=_EXAMPLE)
    return SeaState(from_deg=from_deg, height_m=heights[0], wind_kn=winds[0] if winds else None)


def read_sea_table(path: Path, zone: WallClock | None) -> Seas:
    """Read a table of seas by the clock.

    Parameters
    ----------
    path
        A CSV file with the columns ``from_time``, ``sea_from`` and ``height`` and, if wanted, ``wind`` and ``until``.
        Cells of ``height`` and ``wind`` carry their unit; in columns called ``height_m``, ``height_ft`` or ``wind_kn``
        they needn't.
    zone
        Time zone of moments without an offset; such are refused where this is None.

    Returns
    -------
    Each row's sea, from its time until the next row's. The last one ends where its ``until`` says, and never where
    that is empty. Before the first and after the end the sea counts as calm: nothing is invented there.

    Raises
    ------
    InputError
        The file can't be read, or a row is bad, out of order, or leaves a gap to the next; carries the line.
    """
    rows = _sound_rows(path, zone)
    for before, row in pairwise(rows):
        if row.begin <= before.begin:
            problem = f"from_time is not after that of line {before.line}"
            remedy = "put the rows in order of time, each time once"
            raise InputError(row.place, problem, value=row.cells["from_time"], remedy=remedy)
        if before.until is not None and before.until != row.begin:
            gap = "leaves a gap before" if before.until < row.begin else "reaches beyond the beginning of"
            remedy = f"leave until empty but in the last row, or write {row.cells['from_time']}"
            raise InputError(before.place, f"until {gap} line {row.line}", value=before.cells["until"], remedy=remedy)
    clock = ZoneInfo("UTC") if zone is None else zone
    first, last = rows[0], rows[-1]
    notes = [f"The sea table begins on {shown_moment(first.begin, clock)}: before that the sea counts as calm."]
    if last.until is None:
        begun = shown_moment(last.begin, clock)
        notes.append(f"Its last row, from {begun} on, says no end: that sea is taken to hold on.")
    else:
        notes.append(f"It ends on {shown_moment(last.until, clock)}: after that the sea counts as calm.")
    return Seas(
        tuple(row.state for row in rows),
        tuple(row.place for row in rows),
        tuple(row.begin.timestamp() for row in rows),
        math.inf if last.until is None else last.until.timestamp(),
        tuple(notes),
    )


class _Row(NamedTuple):
    """One sound row of a table."""

    line: int
    place: str
    cells: dict[str, str]
    begin: datetime
    until: datetime | None
    state: SeaState


def _figures(rest: str, option: str, text: str) -> Iterator[str]:
    """Cut what follows the direction into numbers with their units."""
    at = 0
    while True:
        at = _PARTING.match(rest, at).end()  # type: ignore[union-attr]  # matches the empty text at the least
        if at == len(rest):
            return
        figure = _FIGURE.match(rest, at)
        if figure is None:
            raise InputError(option, f"can't be read from {rest[at:]!r} on", value=text, remedy=_EXAMPLE)
        yield figure[0]
        at = figure.end()


def _read_direction(text: str, where: str, value: str) -> float:
    """[degrees true] Read a point of the compass, or degrees."""
    found = _DIRECTION.fullmatch(text)
    if found is None:
        remedy = "write one of the sixteen points such as WSW, or degrees true such as 247"
        raise InputError(where, "is no direction that a sea comes from", value=value, remedy=remedy)
    if found["point"]:
        point = found["point"].upper()
        if point not in _POINTS:
            remedy = f"write one of {' '.join(_POINTS)}, or degrees true such as 247"
            raise InputError(where, f"{found['point']!r} is no point of the compass", value=value, remedy=remedy)
        return _POINTS.index(point) * _POINT_DEG
    degrees = float(found["degrees"])
    if degrees > 360:
        raise InputError(where, "has a direction above 360 degrees", value=value, remedy="write 0 to 360, true")
    return degrees % 360


def _read_height(text: str, where: str, bare: Literal["m", "ft"] | None = None) -> float:
    height_m = read_length_m(text, where, bare=bare)
    if height_m > HIGHEST_M:
        limit = f"{HIGHEST_M:g} m ({HIGHEST_M / METRES_PER_FT:.1f} ft)"
        raise InputError(where, f"is a sea above {limit}, no sea for a day boat", value=text, remedy=_CHECK)
    return height_m


def _read_wind(text: str, where: str, bare: Literal["kn"] | None = None) -> float:
    wind_kn = read_speed_kn(text, where, bare=bare)
    if wind_kn > STRONGEST_KN:
        limit = f"{STRONGEST_KN:g} kn"
        raise InputError(where, f"is a wind above {limit}, no wind for a day boat", value=text, remedy=_CHECK)
    return wind_kn


def _sound_rows(path: Path, zone: WallClock | None) -> list[_Row]:
    lines = _lines(path)
    number, header = next(lines, (0, []))
    names = [name.strip().casefold() for name in header]
    _check_header(names, f"{path}, line {number}")
    rows: list[_Row] = []
    for line, cells in lines:
        place = f"{path}, line {line}"
        if len(cells) != len(names):
            problem = f"has {len(cells)} cells, and the first line names {len(names)} columns"
            raise InputError(place, problem, remedy="look for a comma too many or too few")
        if len(rows) == _MOST_ROWS:
            raise InputError(place, f"is beyond the {_MOST_ROWS:,} rows that a sea table may have")
        rows.append(_read_row(line, place, dict(zip(names, (cell.strip() for cell in cells), strict=True)), zone))
    if not rows:
        raise InputError(str(path), "has a line of names, and no rows", remedy="add a row, or leave the table out")
    return rows


def _lines(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that aren't blank, each with its number."""
    text = read_text(path, _LIMIT_BYTES)
    first = text.partition("\n")[0]
    mark = ";" if ";" in first and "," not in first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as error:
            raise InputError(f"{path}, line {reader.line_num}", f"is no line of a CSV file: {error}") from error
        if cells is None:
            return
        if any(cell.strip() for cell in cells):
            yield reader.line_num, cells


def _check_header(names: list[str], place: str) -> None:
    known = [*_COLUMNS, "height_m", "height_ft", "wind_kn"]
    for name in names:
        if name not in known:
            near = nearest_names(name, known, 1) if name else ()
            remedy = f"did you mean {near[0]}? {_HEADER}" if near else _HEADER
            raise InputError(place, "names a column that a sea table doesn't have", value=name, remedy=remedy)
    for kinds in (("from_time",), ("sea_from",), tuple(_HEIGHTS), tuple(_WINDS), ("until",)):
        count = sum(names.count(kind) for kind in kinds)
        if count > 1:
            raise InputError(place, f"names the column {kinds[0]} twice", remedy="keep one of them")
        if not count and kinds[0] in _COLUMNS[:3]:
            raise InputError(place, f"names no column {kinds[0]}", remedy=_HEADER)


def _read_row(line: int, place: str, cells: dict[str, str], zone: WallClock | None) -> _Row:
    for name in ("from_time", "sea_from", *_HEIGHTS):
        if cells.get(name) == "":
            remedy = "fill the cell in, or take the row out; a calm sea has the height 0m"
            raise InputError(f"{place}, {name}", "is empty", remedy=remedy)
    begin = read_moment(cells["from_time"], f"{place}, from_time", zone)
    until = read_moment(cells["until"], f"{place}, until", zone) if cells.get("until") else None
    if until is not None and until <= begin:
        raise InputError(f"{place}, until", "is not after from_time", value=cells["until"], remedy="exchange the two")
    direction = plain_text(cells["sea_from"], f"{place}, sea_from")
    height = next(name for name in _HEIGHTS if name in cells)
    wind = next((name for name in _WINDS if cells.get(name)), None)
    state = SeaState(
        from_deg=_read_direction(direction, f"{place}, sea_from", cells["sea_from"]),
        height_m=_read_height(cells[height], f"{place}, {height}", _HEIGHTS[height]),
        wind_kn=None if wind is None else _read_wind(cells[wind], f"{place}, {wind}", _WINDS[wind]),
    )
    return _Row(line, place, cells, begin, until, state)
