"""Gridded currents from files: CF NetCDF [1]_ here, tables in `layers.current_tables`.

What a file leaves open is refused, never guessed: a wrong unit or clock turns the tide.

References
----------
.. [1] NetCDF Climate and Forecast (CF) Metadata Conventions 1.11, sections 3.1 (units), 3.3 (standard names),
   4 (coordinates: types, time); https://cfconventions.org/
"""

from __future__ import annotations

import re
import sys
import warnings
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from layers.current_grids import build_current_grid, check_times
from layers.current_tables import read_current_table
from layers.errors import InputError
from layers.files import check_file
from layers.units import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from numpy.typing import NDArray

    from layers.current_grids import CurrentGrid

    Floats = NDArray[np.float64]

__all__ = ["LIMIT_VALUES", "read_current_grid"]

LIMIT_VALUES = 50_000_000  # both components together: 400 MB once read
_NETCDF = (".nc", ".nc4", ".cdf")
_PAIRS = tuple(  # CF standard names, the surface's first; the last are along the grid, which here is east and north
    (before + east, before + north)
    for east, north in (
        ("eastward_sea_water_velocity", "northward_sea_water_velocity"),
        ("sea_water_x_velocity", "sea_water_y_velocity"),
    )
    for before in ("surface_", "", "barotropic_")
)
_KN_PER = {  # kn, by unit
    **dict.fromkeys(("m s-1", "m/s"), 3600 / METRES_PER_NMI),
    **dict.fromkeys(("cm s-1", "cm/s"), 36 / METRES_PER_NMI),
    **dict.fromkeys(("km h-1", "km/h"), 1000 / METRES_PER_NMI),
    **dict.fromkeys(("knot", "knots", "kt", "kts", "kn"), 1.0),
}
_SPELT = (  # how units are written as well, and how they stand in _KN_PER
    (r"\bmet(?:re|er)s?\b", "m"),
    (r"\bsec(?:ond)?s?", "s"),
    (r"\bh(?:ou)?rs?", "h"),
    (r"\s*/\s*", "/"),
    (r"[\s.*]+(?=[a-z])", " "),
)
_DEGREES = {  # CF 4.1 and 4.2
    **dict.fromkeys(("degrees_north", "degree_north", "degree_n", "degrees_n", "degreen", "degreesn"), "lat"),
    **dict.fromkeys(("degrees_east", "degree_east", "degree_e", "degrees_e", "degreee", "degreese"), "lon"),
}
_NAMED = {"latitude": "lat", "longitude": "lon", "time": "time"}
_VERTICAL = ("depth", "height", "altitude", "ocean_s", "sea_water_pressure")  # how such standard names begin
_CALENDARS = ("standard", "gregorian", "proleptic_gregorian")
_SINCE = re.compile(
    r"(?P<unit>[a-z]+)\s+since\s+(?P<day>\d{4}-\d{1,2}-\d{1,2})"
    r"(?:[T\s]\s*(?P<clock>\d{1,2}:\d{1,2}(?::\d{1,2}(?:\.\d*)?)?))?"
    r"\s*(?:Z|UTC|GMT|(?P<sign>[+-])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?)?",
    re.IGNORECASE,
)
_YEARS = (1970, 2199)  # time zones are known for these


def read_current_grid(path: Path, zone: ZoneInfo) -> CurrentGrid:
    """Read currents on a grid of positions and times.

    Parameters
    ----------
    path
        CF NetCDF (``.nc``, ``.nc4``, ``.cdf``) or a table (``.csv``) of ``time,lon,lat,set_deg,drift_kn``.
    zone
        The region's time zone, for times of a table without an offset from UTC.

    Returns
    -------
    CurrentGrid
        The currents; its notes say what is to be known of them.

    Raises
    ------
    InputError
        The file can't be read, is too large, leaves its units, times or positions open, or has gaps; carries the file,
        and the variable, or the line and column.
    """
    ending = path.suffix.lower()
    if ending == ".csv":
        return read_current_table(path, zone)
    if ending not in _NETCDF:
        remedy = f"give CF NetCDF ({', '.join(_NETCDF)}) or a table (.csv)"
        raise InputError(str(path), "is no file of currents by its ending", value=path.suffix, remedy=remedy)
    check_file(path, sys.maxsize)  # days and levels that aren't read don't count: LIMIT_VALUES is what is held to
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        return _read_netcdf(path, said)


@dataclass(frozen=True)
class _Lattice:
    """Which dimension of the velocities is which, the coordinates along them, and what to read of the others."""

    axes: dict[str, Any]  # by role: lon, lat, time
    dimensions: dict[str, str]  # by role
    chosen: dict[str, int]  # place along each other dimension
    notes: tuple[str, ...]


def _read_netcdf(path: Path, said: Sequence[warnings.WarningMessage]) -> CurrentGrid:
    try:
        import cftime  # noqa: PLC0415  an extra
        import netCDF4  # noqa: PLC0415
    except ImportError as error:
        remedy = "run pip install 'routeplan[netcdf]', or give a table (.csv)"
        raise InputError(str(path), "NetCDF needs the extra netcdf, which isn't installed", remedy=remedy) from error
    try:
        with netCDF4.Dataset(path) as file:
            _refuse_torn(path, file)
            return _read_velocities(path, file, cftime.num2date, said)
    except (OSError, RuntimeError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).removeprefix("NetCDF: ")
        remedy = "get the file again, or write it as NetCDF"
        raise InputError(str(path), f"can't be read as NetCDF ({reason})", remedy=remedy) from error


def _refuse_torn(path: Path, file: Any) -> None:
    """Refuse a classic file shorter than its own values: what is missing would be read as 0, still water."""
    if not file.data_model.startswith("NETCDF3"):
        return  # HDF5 keeps its length, and refuses by itself
    least = sum(variable.size * variable.dtype.itemsize for variable in file.variables.values())
    if path.stat().st_size < least:
        problem = f"is cut short: its values alone take {least:,} bytes"
        raise InputError(str(path), problem, value=path.stat().st_size, remedy="get the file again")


def _read_velocities(
    path: Path, file: Any, num2date: Callable[..., Any], said: Sequence[warnings.WarningMessage]
) -> CurrentGrid:
    pair, notes = _find_pair(path, file)
    lattice = _find_lattice(path, file, pair)
    factors = [_kn_per_unit(path, variable) for variable in pair]
    axes = lattice.axes
    count = 2 * int(axes["time"].size) * int(axes["lat"].size) * int(axes["lon"].size)
    if count > LIMIT_VALUES:
        problem = f"holds {count:,} values of current, and {LIMIT_VALUES // 1_000_000} million are read at the most"
        raise InputError(str(path), problem, remedy="cut it to the region and the days that are planned for")
    posix_s = _read_times(f"{path}, {axes['time'].name}", axes["time"], num2date)
    lon, lat = (_read_degrees(f"{path}, {axes[role].name}", axes[role]) for role in ("lon", "lat"))
    order = [lattice.dimensions[role] for role in ("time", "lat", "lon")]
    east_kn, north_kn = (
        _read_values(f"{path}, {variable.name}", variable, lattice.chosen, order) * factor
        for variable, factor in zip(pair, factors, strict=True)
    )
    told = list(dict.fromkeys(str(one.message) for one in said if one.category is UserWarning))
    notes = (*notes, *lattice.notes, *(f"the reader of NetCDF says: {' '.join(text.split())}" for text in told))
    return build_current_grid(str(path), path.name, (lon, lat, posix_s), east_kn, north_kn, notes)


def _find_pair(path: Path, file: Any) -> tuple[tuple[Any, Any], tuple[str, ...]]:
    """Find the two components by their standard names."""
    found: dict[str, list[Any]] = {}
    for variable in file.variables.values():
        found.setdefault(_text(variable, "standard_name"), []).append(variable)
    whole = [names for names in _PAIRS if all(name in found for name in names)]
    if not whole:
        half = [(name, other) for names in _PAIRS for name, other in (names, names[::-1]) if name in found]
        if half:
            problem = f"has {half[0][0]} only, one component of the current"
            remedy = f"give {half[0][1]} in the same file"
            raise InputError(f"{path}, {found[half[0][0]][0].name}", problem, remedy=remedy)
        problem = "has no current: no variable has the standard_name eastward_sea_water_velocity"
        remedy = "give it and northward_sea_water_velocity, in the file itself and not in a group of it"
        raise InputError(str(path), problem, value=", ".join(file.variables) or None, remedy=remedy)
    for name in whole[0]:
        if len(found[name]) > 1:
            names = ", ".join(variable.name for variable in found[name])
            problem = f"has {len(found[name])} variables that are {name}"
            raise InputError(str(path), problem, value=names, remedy="keep the one to plan by")
    notes = []
    if whole[0] == _PAIRS[2] or whole[0] == _PAIRS[5]:
        notes.append("the current is the mean over the depth (barotropic)")
    if whole[0] in _PAIRS[3:]:
        notes.append("velocities along x and y of the grid are taken as east and north")
    if len(whole) > 1:
        notes.append(f"read from {whole[0][0]}; not used: {', '.join(name for name, _ in whole[1:])}")
    return (found[whole[0][0]][0], found[whole[0][1]][0]), tuple(notes)


def _find_lattice(path: Path, file: Any, pair: tuple[Any, Any]) -> _Lattice:
    """Tell which dimension is which, and which place of those that aren't longitude, latitude or time is read."""
    east, north = pair
    where = f"{path}, {east.name}"
    if sorted(east.dimensions) != sorted(north.dimensions):
        value = f"{', '.join(east.dimensions)}; {', '.join(north.dimensions)}"
        problem = f"lies on another grid than {north.name}"
        raise InputError(where, problem, value=value, remedy="bring both to the same positions and times")
    axes: dict[str, Any] = {}
    dimensions: dict[str, str] = {}
    chosen: dict[str, int] = {}
    notes: list[str] = []
    unknown: list[str] = []
    for name in east.dimensions:
        along = [variable for variable in file.variables.values() if variable.dimensions == (name,)]
        roles = {_role(variable): variable for variable in sorted(along, key=lambda one: one.name == name)}
        size = file.dimensions[name].size
        role = next((role for role in ("time", "lat", "lon") if role in roles and role not in axes), None)
        if "lat" in roles and "lon" in roles:
            problem = f"has its positions in a row along {name}, not on a grid of latitudes by longitudes"
            raise InputError(where, problem, remedy="bring it to such a grid")
        if role is not None:
            axes[role], dimensions[role] = roles[role], name
        elif "depth" in roles:
            chosen[name], note = _shallowest(path, roles["depth"])
            notes.append(note)
        elif size == 1:
            chosen[name] = 0
        else:
            unknown.append(f"{name} ({size})")
    _refuse_other_lattices(where, file, east, axes, unknown)
    return _Lattice(axes, dimensions, chosen, tuple(notes))


def _refuse_other_lattices(where: str, file: Any, east: Any, axes: dict[str, Any], unknown: Sequence[str]) -> None:
    if "lat" not in axes or "lon" not in axes:
        flat = [v.name for v in file.variables.values() if len(v.dimensions) > 1 and _role(v) in {"lat", "lon"}]
        problem = "is not on a grid of latitudes by longitudes"
        if flat:
            problem += f": it is curvilinear or turned, with {' and '.join(flat)} for every point"
        raise InputError(where, problem, value=", ".join(east.dimensions), remedy="bring it to such a grid")
    if "time" not in axes:
        remedy = "give a variable with the standard_name time along one of its dimensions"
        raise InputError(where, "has no time coordinate", value=", ".join(east.dimensions), remedy=remedy)
    if unknown:
        problem = "has a dimension that is no longitude, latitude, time or depth"
        raise InputError(where, problem, value=", ".join(unknown), remedy="keep one place of it")


def _role(variable: Any) -> str:
    """Tell whether a variable is a coordinate: lon, lat, time or depth; empty where it is none of them."""
    name, units, axis = (_text(variable, key).casefold() for key in ("standard_name", "units", "axis"))
    if name:
        vertical = name.startswith(_VERTICAL) or axis == "z"
        return _NAMED.get(name, "depth" if vertical else "")
    if units in _DEGREES:
        return _DEGREES[units]
    if " since " in f" {units} " or axis == "t" or variable.name.casefold() == "time":
        return "time"
    if axis in {"x", "y"} and units in {"degree", "degrees"}:
        return {"x": "lon", "y": "lat"}[axis]
    is_depth = axis == "z" or bool(_text(variable, "positive")) or variable.name.casefold() == "depth"
    return "depth" if is_depth else ""


def _shallowest(path: Path, depth: Any) -> tuple[int, str]:
    """Return the place of the shallowest level, and what to say of it."""
    levels = _read_numbers(f"{path}, {depth.name}", depth)
    above = _text(depth, "standard_name").startswith(("height", "altitude"))
    way = _text(depth, "positive").casefold() or ("down" if np.all(levels >= 0) and not above else "up")
    place = int(np.argmax(levels) if way == "up" else np.argmin(levels))
    told = f"{depth.name} {levels[place]:g} {_text(depth, 'units')}".strip()
    if levels.size == 1:
        return place, f"the current is that at {told}"
    return place, f"the current is that at {told}, the shallowest of {levels.size} levels"


def _read_times(where: str, variable: Any, num2date: Callable[..., Any]) -> Floats:
    """[s] Read times; their offset from UTC is taken off here, as cftime passes over some of those that CF allows."""
    units = _text(variable, "units")
    remedy = "give units such as 'hours since 2026-07-01 00:00:00'"
    said = _SINCE.fullmatch(units)
    if said is None:
        problem = "has units that are no time since a moment" if units else "has no units"
        raise InputError(where, problem, value=units or None, remedy=remedy)
    calendar = _text(variable, "calendar").casefold() or "standard"
    if calendar not in _CALENDARS:
        allowed = f"only {', '.join(_CALENDARS)} have the days that tides and docks keep to"
        raise InputError(where, "has another calendar", value=calendar, remedy=allowed)
    away = timedelta(hours=int(said["hours"] or 0), minutes=int(said["minutes"] or 0)) * (
        -1 if said["sign"] == "-" else 1
    )
    values = _read_numbers(where, variable)
    try:
        moments = num2date(values, f"{said['unit']} since {said['day']} {said['clock'] or '00:00'}", calendar)
        utc = [
            datetime(m.year, m.month, m.day, m.hour, m.minute, m.second, m.microsecond, tzinfo=UTC) - away
            for m in np.atleast_1d(moments)
        ]
    except (ValueError, OverflowError, TypeError) as error:
        raise InputError(where, "has times that can't be understood", value=units, remedy=remedy) from error
    stray = next((moment for moment in utc if not _YEARS[0] <= moment.year <= _YEARS[1]), None)
    if stray is not None:
        problem = f"is out of the years {_YEARS[0]} to {_YEARS[1]}"
        raise InputError(where, problem, value=f"{stray:%Y-%m-%d %H:%M} UTC", remedy=remedy)
    posix_s = np.array([moment.timestamp() for moment in utc])
    check_times(posix_s, where)
    return posix_s


def _kn_per_unit(path: Path, variable: Any) -> float:
    units = _text(variable, "units")
    plain = re.sub(r"\^|\*\*", "", units.casefold())
    for pattern, short in _SPELT:
        plain = re.sub(pattern, short, plain)
    if plain not in _KN_PER:
        problem = "has units that are no speed known here" if units else "has no units"
        remedy = "give m s-1, cm s-1, km h-1 or knots"
        raise InputError(f"{path}, {variable.name}", problem, value=units or None, remedy=remedy)
    return _KN_PER[plain]


def _read_degrees(where: str, variable: Any) -> Floats:
    units = _text(variable, "units").casefold()
    if units not in {"", "degree", "degrees", *_DEGREES}:
        remedy = "give degrees_north and degrees_east"
        raise InputError(where, "has units that are no degrees", value=units, remedy=remedy)
    return _read_numbers(where, variable)


def _read_numbers(where: str, variable: Any) -> Floats:
    """Read the values of a coordinate, all of which must be there."""
    values = _read_values(where, variable, {}, variable.dimensions)
    if not np.isfinite(values).all():
        place = int(np.argmax(~np.isfinite(values))) + 1
        raise InputError(where, f"has no value at place {place:,}", remedy="write the file again with all of them")
    return values


def _read_values(where: str, variable: Any, chosen: dict[str, int], order: Sequence[str]) -> Floats:
    """Read no more than the places chosen along some dimensions, the others in order; NaN where there is no value."""
    if getattr(variable.dtype, "kind", "") not in {"f", "i", "u"}:
        raise InputError(
            where, "holds no numbers", value=str(variable.dtype), remedy="write the file again with numbers"
        )
    for key in ("scale_factor", "add_offset"):  # with such a one netCDF4 warns, and gives the packed numbers
        packing = getattr(variable, key, 1.0)
        if np.size(packing) != 1 or np.asarray(packing).dtype.kind not in {"f", "i", "u"}:
            raise InputError(where, f"has a {key} that is no number", value=packing, remedy="write the file again")
    read = variable[tuple(chosen.get(name, slice(None)) for name in variable.dimensions)]
    values = np.ma.filled(np.ma.asarray(read, dtype=np.float64), np.nan)
    left = [name for name in variable.dimensions if name not in chosen]
    values = np.transpose(values, [left.index(name) for name in order])
    return np.where(np.isfinite(values), values, np.nan)


def _text(variable: Any, key: str) -> str:
    value = getattr(variable, key, "")
    return value.strip() if isinstance(value, str) else ""
