"""Gridded currents from a table: a row for every position and time, with set and drift."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
import shapely

from layers.csv_files import read_csv_table
from layers.current_grids import MOST_KN, build_current_grid
from layers.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from layers.current_grids import CurrentGrid
    from layers.tables import SourceTable

    Floats = NDArray[np.float64]

__all__ = ["read_current_table"]

_COLUMNS = ("time", "set_deg", "drift_kn")
_DIGITS = 9  # of a degree: positions closer than a tenth of a millimetre are one
_HALF_DEG = 180.0  # [deg]
_YEARS = (1970, 2199)  # time zones are known for these
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_LIKE = "write it like 2026-07-01T08:00Z"


def read_current_table(path: Path, zone: ZoneInfo) -> CurrentGrid:
    """Read currents from a table.

    Parameters
    ----------
    path
        CSV whose first line names ``time,lon,lat,set_deg,drift_kn``, in any order: the direction that the water runs
        to, and how fast. Both are left empty where no current is known; the set may be where the drift is 0.
    zone
        The region's time zone, for times without an offset from UTC.

    Returns
    -------
    CurrentGrid
        The currents.

    Raises
    ------
    InputError
        The file can't be read, a cell doesn't hold what it should, or a position lacks at some time; carries the file,
        the line and the column.
    """
    table = read_csv_table(path)
    columns = {name.casefold(): name for name in table.columns}
    lacking = [name for name in _COLUMNS if name not in columns]
    if lacking:
        remedy = "its first line must name time,lon,lat,set_deg,drift_kn"
        raise InputError(f"{path}, line 1", f"has no column {' or '.join(lacking)}", remedy=remedy)
    if table.faults:
        fault = table.faults[0]
        where = ", ".join(filter(None, (fault.file, fault.row, fault.column)))
        raise InputError(where, fault.rule, value=fault.value or None)
    read_at = _Clock(zone)
    posix_s = np.array([read_at(cell, where) for cell, where in _cells(table, columns["time"])])
    speeds = [
        _read_current(set_text, drift_text, where, comma=table.decimal_comma)
        for (set_text, where), (drift_text, _) in zip(
            _cells(table, columns["set_deg"]), _cells(table, columns["drift_kn"]), strict=True
        )
    ]
    lonlat = np.round(shapely.get_coordinates(table.shapes), _DIGITS)
    if np.ptp(lonlat[:, 0]) > _HALF_DEG:  # the short way round is across the 180th meridian
        lonlat[lonlat[:, 0] < 0, 0] += 2 * _HALF_DEG
    axes, order = _sort_out(table, lonlat, posix_s)
    shape = (axes[2].size, axes[1].size, axes[0].size)
    east_kn, north_kn = (part[order].reshape(shape) for part in np.array(speeds).T)
    unused = [name for low, name in columns.items() if low not in _COLUMNS]
    notes = (f"columns not used: {', '.join(unused)}",) if unused else ()
    return build_current_grid(str(path), path.name, axes, east_kn, north_kn, notes)


def _cells(table: SourceTable, column: str) -> list[tuple[str, str]]:
    """List the cells of a column as text, each with where it stands."""
    return [
        (str(cell or ""), f"{table.where}, {table.row(place)}, {column}")
        for place, cell in enumerate(table.columns[column])
    ]


class _Clock:
    """Times read once each, as tables say the same one for every position."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone
        self._known: dict[str, float] = {}

    def __call__(self, text: str, where: str) -> float:
        """[s] Read a time."""
        if text not in self._known:
            self._known[text] = _read_moment(text, where, self._zone).timestamp()
        return self._known[text]


def _read_moment(text: str, where: str, zone: ZoneInfo) -> datetime:
    if not text:
        raise InputError(where, "has no time", remedy=_LIKE)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(where, "is not a date and time", value=text, remedy=_LIKE) from error
    if not re.search(r"\d[T ]\d", text):
        raise InputError(where, "has no time of day", value=text, remedy=_LIKE)
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise InputError(where, f"is out of the years {_YEARS[0]} to {_YEARS[1]}", value=text, remedy=_LIKE)
    if moment.tzinfo is not None:
        return moment.astimezone(UTC)
    early, late = (moment.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if early != late:
        skipped = early.astimezone(zone).replace(tzinfo=None) != moment
        what = "skip this time" if skipped else "show this time twice"
        remedy = "end all times with Z, or with an offset from UTC such as +01:00"
        raise InputError(where, f"the clocks of {zone.key} {what}", value=text, remedy=remedy)
    return early


def _read_current(set_text: str, drift_text: str, where: str, *, comma: bool) -> tuple[float, float]:
    """[kn] Read set and drift as what runs to the east and to the north; `where` names the column of the set."""
    at_drift = where.rsplit(", ", 1)[0] + ", drift_kn"
    if not drift_text:
        if set_text:
            remedy = "give the drift, or leave both empty where no current is known"
            raise InputError(at_drift, "is empty, and the set is not", value=set_text, remedy=remedy)
        return np.nan, np.nan
    drift_kn = _read_number(drift_text, at_drift, MOST_KN, "kn", comma=comma)
    if not set_text:
        if drift_kn == 0:
            return 0.0, 0.0  # slack water sets nowhere
        remedy = "say where the water runs to, or leave both empty where no current is known"
        raise InputError(where, f"is empty, and the drift is {drift_text}", remedy=remedy)
    towards = np.radians(_read_number(set_text, where, 360.0, "degrees", comma=comma))
    return drift_kn * float(np.sin(towards)), drift_kn * float(np.cos(towards))


def _read_number(text: str, where: str, most: float, unit: str, *, comma: bool) -> float:
    plain = text.replace(",", ".") if comma else text
    if not _NUMBER.fullmatch(plain):
        raise InputError(where, "is not a number", value=text, remedy=f"give {unit}, from 0 to {most:g}")
    if not 0 <= float(plain) <= most:
        remedy = "look at its unit, and leave set and drift empty where no current is known"
        raise InputError(where, f"must be from 0 to {most:g} {unit}", value=text, remedy=remedy)
    return float(plain)


def _sort_out(
    table: SourceTable, lonlat: Floats, posix_s: Floats
) -> tuple[tuple[Floats, Floats, Floats], NDArray[np.int_]]:
    """Return longitudes, latitudes and times, each once, and the rows by time, latitude and longitude."""
    lon, column = np.unique(lonlat[:, 0], return_inverse=True)
    lat, line = np.unique(lonlat[:, 1], return_inverse=True)
    when, hour = np.unique(posix_s, return_inverse=True)
    point = (hour.astype(np.int64) * lat.size + line) * lon.size + column
    order = np.argsort(point, kind="stable")
    held = point[order]
    twice = np.flatnonzero(held[1:] == held[:-1])
    if twice.size:
        first, second = min((int(order[place]), int(order[place + 1])) for place in twice)
        value = _told(lonlat[second, 0], lonlat[second, 1], posix_s[second])
        problem = f"has a position and time that {table.row(first)} has already"
        raise InputError(f"{table.where}, {table.row(second)}", problem, value=value, remedy="keep one of them")
    count = when.size * lat.size * lon.size
    if held.size < count:
        gaps = np.flatnonzero(held != np.arange(held.size))
        gap = int(gaps[0]) if gaps.size else held.size
        place, east = divmod(gap, lon.size)
        value = _told(lon[east], lat[place % lat.size], when[place // lat.size])
        problem = (
            f"has no row for one position and time of its grid of {lat.size:,} latitudes by {lon.size:,} longitudes by "
            f"{when.size:,} times, and {count - held.size:,} such gaps in all"
        )
        remedy = "give a row for each, with set and drift left empty where no current is known"
        raise InputError(table.where, problem, value=value, remedy=remedy)
    return (lon, lat, when), order


def _told(lon: float, lat: float, posix_s: float) -> str:
    west = lon - 2 * _HALF_DEG if lon > _HALF_DEG else lon
    moment = datetime.fromtimestamp(float(posix_s), UTC)
    return f"lat {lat:.9g}, lon {west:.9g} at {moment.replace(tzinfo=None).isoformat(sep=' ')} UTC"
