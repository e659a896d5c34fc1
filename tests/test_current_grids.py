"""Gridded currents: read from real NetCDF files and tables, read off between points, and never beyond them."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import cftime
import netCDF4
import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from layers import current_files
from layers.current_files import read_current_grid
from layers.current_grids import CurrentGrid, build_current_grid
from layers.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

UTC_ZONE = ZoneInfo("UTC")
LISBON = ZoneInfo("Europe/Lisbon")
START_S = datetime(2026, 7, 1, tzinfo=UTC).timestamp()
LON, LAT = np.array([-38.5, -38.3, -38.2, -37.9]), np.array([44.0, 44.1, 44.4])
HOURS = np.arange(5.0)
# Weights of eight points add up to 1 but for some 1e-16 each, and currents are below 20 kn: a sum of a few such slips.
SLIP_KN = 1e-13
KN_PER_M_S = 3600 / 1852  # the international nautical mile, 1852 m exactly


def linear(lon: Any, lat: Any, hour: Any) -> tuple[Any, Any]:
    """[kn] Two fields that are linear in each of the three."""
    return 2 + 0.5 * (lon + 38) - 0.7 * (lat - 44) + 0.2 * hour, -1 + 0.1 * (lon + 38) + 2 * (lat - 44) - 0.3 * hour


def grid_of(east: Any, north: Any, lon: Any = LON, lat: Any = LAT) -> CurrentGrid:
    return CurrentGrid("a test", lon, lat, START_S + 3600 * HOURS, np.asarray(east), np.asarray(north))


def random_grid(seed: int = 9) -> CurrentGrid:
    rng = np.random.default_rng(seed)
    return grid_of(*rng.uniform(-4, 4, (2, HOURS.size, LAT.size, LON.size)))


def linear_grid() -> CurrentGrid:
    hour, lat, lon = np.meshgrid(HOURS, LAT, LON, indexing="ij")
    return grid_of(*linear(lon, lat, hour))


def write_nc(  # noqa: C901, PLR0912  every way a file may differ, in one place
    path: Path,
    *,
    kind: Any = "NETCDF4",
    names: tuple[str, str] = ("eastward_sea_water_velocity", "northward_sea_water_velocity"),
    units: str | None = "m s-1",
    time_units: str | None = "hours since 2026-07-01 00:00:00",
    calendar: str | None = "standard",
    times: Any = HOURS,
    lon: Any = LON,
    lat: Any = LAT,
    fields: Any = None,
    order: tuple[str, ...] = ("time", "lat", "lon"),
    depths: Any = None,
    positive: str | None = "down",
    extra: int = 0,
    dtype: str = "f8",
    packed: dict[str, Any] | None = None,
) -> Path:
    """Write a file of currents [its own units]; each option departs from the plain one in one way."""
    east, north = linear(*np.meshgrid(lon, lat, times)) if fields is None else fields
    if fields is None:  # meshgrid gives lat x lon x time
        east, north = (np.moveaxis(part, 2, 0) for part in (east, north))
    with netCDF4.Dataset(path, "w", format=kind) as file:
        sizes = {"time": len(times), "lat": len(lat), "lon": len(lon)}
        sizes |= {"depth": len(depths)} if depths is not None else {}
        sizes |= {"member": extra} if extra else {}
        for name, size in sizes.items():
            file.createDimension(name, size)
        for name, values, said in (("lat", lat, "degrees_north"), ("lon", lon, "degrees_east")):
            variable = file.createVariable(name, "f8", (name,))
            variable.units = said
            variable[:] = values
        if time_units != "none at all":
            variable = file.createVariable("time", "f8", ("time",))
            variable.standard_name = "time"
            if time_units is not None:
                variable.units = time_units
            if calendar is not None:
                variable.calendar = calendar
            variable[:] = times
        if depths is not None:
            variable = file.createVariable("depth", "f8", ("depth",))
            variable.units = "m"
            if positive is not None:
                variable.positive = positive
            variable[:] = depths
        for short, name, values in (("u", names[0], east), ("v", names[1], north)):
            if not name:
                continue
            held = dict(packed or {})
            whole = tuple(key for key in (*sizes,) if key not in {"time", "lat", "lon"})
            variable = file.createVariable(short, dtype, (*whole, *order), fill_value=held.pop("_FillValue", None))
            variable.setncatts({"standard_name": name, **({"units": units} if units is not None else {}), **held})
            values_in_order = np.transpose(values, [("time", "lat", "lon").index(key) for key in order])
            if depths is None:
                variable[:] = np.broadcast_to(values_in_order, variable.shape)
            else:
                for level in range(len(depths)):
                    variable[level] = values_in_order + level
    return path


def refused(path: Path, zone: ZoneInfo = UTC_ZONE) -> str:
    with pytest.raises(InputError) as caught:
        read_current_grid(path, zone)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith(str(path))
    return said.removeprefix(str(path))


def test_between_points_it_is_what_scipy_says() -> None:
    """scipy.interpolate.RegularGridInterpolator, linear, at 5,000 places and times within."""
    grid = random_grid()
    rng = np.random.default_rng(1)
    lon, lat = rng.uniform(LON[0], LON[-1], 5000), rng.uniform(LAT[0], LAT[-1], 5000)
    when = rng.uniform(grid.posix_s[0], grid.posix_s[-1], 5000)
    for found, field in zip(grid.at(lon, lat, when), (grid.east_kn, grid.north_kn), strict=True):
        outside = RegularGridInterpolator((grid.posix_s - START_S, LAT, LON), field)
        assert np.abs(found - outside(np.column_stack([when - START_S, lat, lon]))).max() < SLIP_KN


def test_a_linear_field_is_reproduced() -> None:
    """Between points of a field that is linear in all three, bilinear and linear reading is exact."""
    grid = linear_grid()
    rng = np.random.default_rng(2)
    lon, lat, hour = (rng.uniform(a[0], a[-1], 1000) for a in (LON, LAT, HOURS))
    # 2^-22 s is the spacing of doubles near 1.8e9 s; half of that moves the field by 0.3 kn/h x 3e-11 h = 1e-11 kn.
    for found, true in zip(grid.at(lon, lat, START_S + 3600 * hour), linear(lon, lat, hour), strict=True):
        assert np.abs(found - true).max() < 1e-10


def test_at_its_points_it_is_its_values_and_arguments_broadcast() -> None:
    grid = random_grid()
    east, north = grid.at(LON, LAT[:, None], grid.posix_s[:, None, None])
    assert np.array_equal(east, grid.east_kn)
    assert np.array_equal(north, grid.north_kn)
    assert [part.shape for part in grid.at(-38.0, 44.2, START_S)] == [(), ()]


def test_nothing_is_invented_outside() -> None:
    """A metre (1e-5 deg) and a second beyond each edge there is nothing, nor for what is no number."""
    grid = linear_grid()
    last = grid.posix_s[-1]
    outside = [
        (LON[0] - 1e-5, 44.2, START_S),
        (LON[-1] + 1e-5, 44.2, START_S),
        (-38.0, LAT[0] - 1e-5, START_S),
        (-38.0, LAT[-1] + 1e-5, START_S),
        (-38.0, 44.2, START_S - 1),
        (-38.0, 44.2, last + 1),
        (np.nan, 44.2, START_S),
        (np.inf, 44.2, START_S),
        (-38.0, 44.2, np.nan),
    ]
    assert np.isnan(grid.at(*np.array(outside).T)).all()
    inside = [(LON[0], LAT[0], START_S), (LON[-1], LAT[-1], last), (-38.0, 44.2, START_S)]
    assert np.isfinite(grid.at(*np.array(inside).T)).all()


def test_a_missing_corner_counts_where_it_carries_weight() -> None:
    """The point at lon -38.3, lat 44.1 has none at hour 2: not in the four cells about it, between hours 1 and 3."""
    grid = linear_grid()
    holed = grid.east_kn.copy()
    holed[2, 1, 1] = np.nan
    holed = replace(grid, east_kn=holed)
    for lon, lat, when, known in [
        (-38.4, 44.05, 1.5, False),
        (-38.25, 44.2, 2.5, False),
        (-38.3, 44.1, 2.0, False),
        (-38.25, 44.1, 2.0, False),
        (-38.4, 44.05, 1.0, True),  # hour 2 carries no weight
        (-38.4, 44.05, 3.0, True),
        (-38.2, 44.05, 2.0, True),  # on the line of the next column
        (-38.25, 44.0, 2.0, True),
        (-38.1, 44.2, 2.0, True),
    ]:
        east, _ = holed.at(lon, lat, START_S + 3600 * when)
        assert np.isfinite(east) == known, (lon, lat, when)


@pytest.mark.parametrize("lon", [LON + 360, LON])
def test_longitudes_are_counted_from_any_meridian(tmp_path: Path, lon: Any) -> None:
    """A file from 0 to 360 and one from -180 to 180 are the same waters."""
    rng = np.random.default_rng(3)
    fields = rng.uniform(-2, 2, (2, HOURS.size, LAT.size, LON.size))
    grid = read_current_grid(write_nc(tmp_path / "a.nc", lon=lon, fields=fields, units="knots"), UTC_ZONE)
    assert grid.extent == pytest.approx((-38.5, 44.0, -37.9, 44.4), abs=1e-12)
    expected = grid_of(*fields).at(-38.05, 44.25, START_S + 1000)
    for turns in (-1, 0, 1):
        found = grid.at(-38.05 + 360 * turns, 44.25, START_S + 1000)
        assert np.abs(np.subtract(found, expected)).max() < 1e-11  # 0.3 deg between points, read to 6e-14 deg
    edges = grid.at(np.array([321.5, -38.5, -37.9, 322.1]), 44.0, START_S)
    assert np.isfinite(edges).all()


def test_the_edge_is_inside_however_its_longitude_is_written() -> None:
    """Tenths of a degree have no exact double: 180.1 E and 179.9 W differ in their last bit, and are one meridian."""
    fields = np.ones((2, HOURS.size, LAT.size, 2))
    for tenth in range(1801, 3590, 7):
        lon = np.array([tenth, tenth + 10]) / 10
        grid = build_current_grid("here", "a test", (lon, LAT, START_S + 3600 * HOURS), *fields)
        written = np.array([*lon, (tenth - 3600) / 10, (tenth + 10 - 3600) / 10])
        assert np.isfinite(grid.at(written, 44.0, START_S)).all(), tenth


@pytest.mark.parametrize(
    "lon", [[179.0, 179.5, 180.0, -179.5], [179.0, 179.5, 180.0, 180.5], [-181, -180.5, -180, -179.5]]
)
def test_a_grid_across_the_180th_meridian(tmp_path: Path, lon: list[float]) -> None:
    """East runs 0, 1, 2, 3 kn from 179 E to 179.5 W: 2.5 kn halfway along the last cell."""
    fields = np.zeros((2, HOURS.size, LAT.size, 4))
    fields[0] = [0, 1, 2, 3]
    path = write_nc(tmp_path / "a.nc", lon=np.array(lon, dtype=float), fields=fields, units="kt")
    grid = read_current_grid(path, UTC_ZONE)
    assert grid.lon.tolist() == [179.0, 179.5, 180.0, 180.5]
    assert grid.extent == (179.0, 44.0, -179.5, 44.4)
    east, _ = grid.at(np.array([-179.75, 180.25, 179.25, -179.0]), 44.2, START_S)
    assert east[:3].tolist() == [2.5, 2.5, 0.5]
    assert np.isnan(east[3])


@pytest.mark.parametrize("kind", ["NETCDF4", "NETCDF4_CLASSIC", "NETCDF3_CLASSIC", "NETCDF3_64BIT_OFFSET"])
@pytest.mark.parametrize("ending", [".nc", ".nc4", ".cdf"])
def test_a_file_is_read_back(tmp_path: Path, kind: str, ending: str) -> None:
    path = write_nc(tmp_path / f"a{ending}", kind=kind)
    grid = read_current_grid(path, UTC_ZONE)
    hour, lat, lon = np.meshgrid(HOURS, LAT, LON, indexing="ij")
    east, north = linear(lon, lat, hour)
    assert np.allclose(grid.east_kn, east * KN_PER_M_S, rtol=1e-14, atol=0)
    assert np.allclose(grid.north_kn, north * KN_PER_M_S, rtol=1e-14, atol=0)
    assert grid.source == path.name
    assert grid.notes == ()
    assert (grid.begins, grid.ends) == (datetime(2026, 7, 1, tzinfo=UTC), datetime(2026, 7, 1, 4, tzinfo=UTC))
    assert grid.greatest_kn == pytest.approx(np.hypot(east, north).max() * KN_PER_M_S, rel=1e-14)


@pytest.mark.parametrize(
    ("units", "kn"),
    [
        *[
            (text, KN_PER_M_S)
            for text in ("m s-1", "m/s", "m s^-1", "m s**-1", "m.s-1", "meter second-1", "metres/second")
        ],
        *[(text, KN_PER_M_S / 100) for text in ("cm s-1", "cm/s")],
        *[(text, KN_PER_M_S / 3.6) for text in ("km h-1", "km/h", "km hr-1", "km/hour")],
        *[(text, 1.0) for text in ("knot", "knots", "kt", "Knots")],
    ],
)
def test_units_of_speed(tmp_path: Path, units: str, kn: float) -> None:
    """1 m/s is 3600/1852 kn, the mile being 1852 m."""
    fields = np.full((2, HOURS.size, LAT.size, LON.size), 2.0)
    grid = read_current_grid(write_nc(tmp_path / "a.nc", units=units, fields=fields), UTC_ZONE)
    assert grid.east_kn == pytest.approx(2 * kn, rel=1e-14)


@pytest.mark.parametrize(
    ("time_units", "calendar", "times"),
    [
        ("hours since 2026-07-01 00:00:00", "standard", HOURS),
        ("seconds since 1970-01-01", "gregorian", START_S + 3600 * HOURS),
        ("days since 1950-01-01 00:00", "proleptic_gregorian", 27940 + HOURS / 24),
        ("days since 0001-01-01", "standard", 739797 + HOURS / 24),
        ("days since 0001-01-01", "proleptic_gregorian", 739797 + HOURS / 24),
        ("minutes since 2026-6-30T12:30:15.5Z", None, 7 + 60 * HOURS),
        ("hours since 2026-02-28 23:00:00 UTC", "STANDARD", HOURS),
    ],
)
def test_times_are_those_of_cftime(tmp_path: Path, time_units: str, calendar: str | None, times: Any) -> None:
    """cftime.num2date, of the same numbers, units and calendar (offsets apart)."""
    path = write_nc(
        tmp_path / "a.nc", time_units=time_units, calendar=calendar, times=times, fields=np.ones((2, 5, 3, 4))
    )
    grid = read_current_grid(path, UTC_ZONE)
    outside = cftime.num2date(times, time_units, (calendar or "standard").lower())
    said = [(m.year, m.month, m.day, m.hour, m.minute, m.second, m.microsecond) for m in outside]
    assert [datetime.fromtimestamp(s, UTC) for s in grid.posix_s] == [datetime(*parts, tzinfo=UTC) for parts in said]


@pytest.mark.parametrize(
    ("offset", "begins"),
    [
        ("00:00:00 +01:00", "2026-06-30 23:00"),
        ("00:00:00 -6:00", "2026-07-01 06:00"),  # CF 4.4 has this very form, and cftime 1.6 passes over it
        ("00:00 +1:00", "2026-06-30 23:00"),
        ("00:00:00 +0530", "2026-06-30 18:30"),
        ("00:00:00 -3", "2026-07-01 03:00"),
        ("+1:00", "2026-06-30 23:00"),
        ("12:15 Z", "2026-07-01 12:15"),
        ("", "2026-07-01 00:00"),
    ],
)
def test_offsets_of_the_reference_are_taken_off(tmp_path: Path, offset: str, begins: str) -> None:
    path = write_nc(tmp_path / "a.nc", time_units=f"hours since 2026-07-01 {offset}".strip())
    assert read_current_grid(path, UTC_ZONE).begins == datetime.fromisoformat(f"{begins}Z")


@pytest.mark.parametrize("kind", ["NETCDF4", "NETCDF3_CLASSIC"])
def test_packed_and_missing_values(tmp_path: Path, kind: str) -> None:
    """Short integers of 0.01 knot, -9999 where there is none: as CF packs them (8.1)."""
    fields = np.full((2, HOURS.size, LAT.size, LON.size), 1.25)
    fields[0, :, 0, 0] = -9999 * 0.01  # unpacked as netCDF4 writes: held as the fill value itself
    fields[1, 2, 1, 1] = -9999 * 0.01
    packed = {"scale_factor": 0.01, "_FillValue": np.int16(-9999)}
    path = write_nc(tmp_path / "a.nc", kind=kind, fields=fields, units="knots", dtype="i2", packed=packed)
    grid = read_current_grid(path, UTC_ZONE)
    for part in (grid.east_kn, grid.north_kn):  # half a current is none
        assert np.argwhere(np.isnan(part)).tolist() == sorted([[hour, 0, 0] for hour in range(5)] + [[2, 1, 1]])
        assert np.nanmax(part) == pytest.approx(1.25, rel=1e-14)
    assert grid.notes == (
        "8 % of its 12 positions have no current (land, or no data)",
        "8 % of its 12 positions have none at some of the times",
    )


def test_latitudes_that_fall_and_dimensions_in_another_order(tmp_path: Path) -> None:
    path = write_nc(tmp_path / "a.nc", lat=LAT[::-1].copy(), order=("lon", "time", "lat"), units="kt")
    grid = read_current_grid(path, UTC_ZONE)
    assert grid.lat.tolist() == LAT.tolist()
    east, north = grid.at(-38.05, 44.3, START_S + 1800)
    assert (float(east), float(north)) == pytest.approx(linear(-38.05, 44.3, 0.5), abs=1e-10)


@pytest.mark.parametrize(
    ("depths", "positive", "level", "note"),
    [
        ([0.5, 5.0, 15.0], "down", 0, "the current is that at depth 0.5 m, the shallowest of 3 levels"),
        ([15.0, 5.0, 0.5], None, 2, "the current is that at depth 0.5 m, the shallowest of 3 levels"),
        ([-15.0, -0.5], "up", 1, "the current is that at depth -0.5 m, the shallowest of 2 levels"),
        ([-0.5, -15.0], None, 0, "the current is that at depth -0.5 m, the shallowest of 2 levels"),
        ([15.0], "down", 0, "the current is that at depth 15 m"),
    ],
)
def test_the_shallowest_level_is_taken_and_told(
    tmp_path: Path, depths: list[float], positive: str | None, level: int, note: str
) -> None:
    """Each level runs 1 kn faster both ways than the one before it in the file."""
    grid = read_current_grid(write_nc(tmp_path / "a.nc", depths=depths, positive=positive, units="kt"), UTC_ZONE)
    assert float(grid.east_kn[0, 0, 0]) == pytest.approx(linear(LON[0], LAT[0], 0)[0] + level, abs=1e-12)
    assert note in grid.notes


@pytest.mark.parametrize(
    ("names", "note"),
    [
        (("surface_eastward_sea_water_velocity", "surface_northward_sea_water_velocity"), ""),
        (("barotropic_eastward_sea_water_velocity", "barotropic_northward_sea_water_velocity"), "mean over the depth"),
        (("sea_water_x_velocity", "sea_water_y_velocity"), "taken as east and north"),
    ],
)
def test_other_standard_names(tmp_path: Path, names: tuple[str, str], note: str) -> None:
    grid = read_current_grid(write_nc(tmp_path / "a.nc", names=names, extra=1), UTC_ZONE)
    assert note in " ".join(grid.notes)
    assert bool(grid.notes) == bool(note)


def test_steps_of_more_than_an_hour_are_told(tmp_path: Path) -> None:
    grid = read_current_grid(write_nc(tmp_path / "a.nc", times=np.array([0.0, 6, 12, 18])), UTC_ZONE)
    assert grid.notes == ("times are up to 6 h apart (after 2026-07-01 00:00 UTC), and read in a line between",)


@pytest.mark.parametrize(
    ("change", "parts"),
    [
        ({"time_units": "none at all"}, [", u:", "no time coordinate", "standard_name time"]),
        ({"time_units": None}, [", time:", "has no units", "hours since 2026"]),
        ({"time_units": "hours"}, [", time:", "no time since a moment", "got 'hours'"]),
        ({"time_units": "hours since launch"}, ["no time since a moment", "got 'hours since launch'"]),
        ({"time_units": "hours since 2026-07-01 00:00 EST"}, ["no time since a moment", "EST"]),
        ({"time_units": "months since 2026-07-01"}, [", time:", "can't be understood", "months"]),
        ({"time_units": "hours since 2026-13-01"}, [", time:", "can't be understood", "2026-13"]),
        ({"time_units": "days since 1850-01-01"}, [", time:", "years 1970 to 2199", "1850-01-01"]),
        ({"calendar": "noleap"}, [", time:", "another calendar", "got 'noleap'", "proleptic_gregorian"]),
        ({"times": HOURS[::-1].copy()}, [", time:", "don't rise", "2026-07-01 04:00 UTC, then 2026-07-01 03:00 UTC"]),
        ({"times": np.array([0.0, 1, 1, 2])}, [", time:", "don't rise", "01:00 UTC, then 2026-07-01 01:00 UTC"]),
        (
            {"times": np.array([0.0, 1, 2, 4])},
            [", time:", "are missing", "1 h apart", "02:00 UTC, then 2026-07-01 04:00"],
        ),
        (
            {"times": np.array([0.0, 1, 7.1])},
            [", time:", "more than 6 h apart", "01:00 UTC, then 2026-07-01 07:06 UTC"],
        ),
        ({"times": np.array([0.0])}, [", time:", "fewer than two times", "got 1"]),
        ({"times": np.array([0.0, np.nan, 2])}, [", time:", "no value at place 2"]),
        ({"units": None}, [", u:", "has no units", "knots"]),
        ({"units": "furlongs"}, [", u:", "no speed known here", "got 'furlongs'", "m s-1"]),
        ({"names": ("", "")}, ["has no current", "lat, lon, time", "eastward_sea_water_velocity"]),
        ({"names": ("eastward_sea_water_velocity", "")}, [", u:", "one component", "northward_sea_water_velocity"]),
        ({"names": ("", "sea_water_y_velocity")}, [", v:", "one component", "sea_water_x_velocity"]),
        ({"names": ("eastward_sea_water_velocity",) * 2}, [", u:", "one component"]),
        ({"extra": 3}, [", u:", "dimension", "got 'member (3)'", "keep one"]),
        ({"lat": np.array([44.0])}, ["fewer than two latitudes", "got 1", "2 x 2"]),
        ({"lat": np.array([44.0, 95.0])}, ["latitudes that are none", "got 95.0"]),
        ({"lat": np.array([44.0, 45.0, 44.5])}, ["latitudes neither rise nor fall", "45, then 44.5"]),
        ({"lon": np.array([-38.0, -38.0, -37.0])}, ["longitudes neither rise nor fall", "-38, then -38"]),
        ({"lon": np.arange(0.0, 380, 20)}, []),
        ({"lon": np.arange(0.0, 400, 20)}, ["more than once round the world", "0 to 380"]),
    ],
)
def test_what_a_file_leaves_open_is_refused(tmp_path: Path, change: dict[str, Any], parts: list[str]) -> None:
    if "fields" not in change:
        shape = [len(change.get(key, plain)) for key, plain in (("times", HOURS), ("lat", LAT), ("lon", LON))]
        change = {**change, "fields": np.ones((2, *shape))}
    path = write_nc(tmp_path / "a.nc", **change)
    if not parts:  # once round is as much as there is
        assert read_current_grid(path, UTC_ZONE).extent[::2] == (-180, 180)
        return
    said = refused(path)
    assert all(part in said for part in parts), said


def test_currents_that_no_sea_has_are_refused(tmp_path: Path) -> None:
    """-999 that nothing marks as missing, and nothing but missing values."""
    fields = np.ones((2, HOURS.size, LAT.size, LON.size))
    fields[0, 3, 1, 2] = -999
    said = refused(write_nc(tmp_path / "a.nc", fields=fields, units="kt"))
    assert "more than 20 kn at lat 44.1, lon -38.2 at 2026-07-01 03:00 UTC (got '999.0 kn')" in said
    said = refused(write_nc(tmp_path / "b.nc", fields=np.full_like(fields, np.nan)))
    assert "has no current anywhere" in said


@pytest.mark.parametrize("row", [False, True])
def test_positions_for_every_point_are_refused(tmp_path: Path, *, row: bool) -> None:
    """A curvilinear grid, and places in a row: neither is latitudes by longitudes."""
    path = tmp_path / "a.nc"
    with netCDF4.Dataset(path, "w") as file:
        lattice = ("node",) if row else ("j", "i")
        for name, size in (("time", 3), *((name, 4) for name in lattice)):
            file.createDimension(name, size)
        for name, units, held in (
            ("time", "hours since 2026-07-01", ("time",)),
            ("nav_lat", "degrees_north", lattice),
            ("nav_lon", "degrees_east", lattice),
        ):
            variable = file.createVariable(name, "f8", held)
            variable.units = units
            variable[:] = np.arange(variable.size, dtype=float).reshape(variable.shape)
        for name in ("eastward_sea_water_velocity", "northward_sea_water_velocity"):
            variable = file.createVariable(name[:4], "f8", ("time", *lattice))
            variable.setncatts({"standard_name": name, "units": "m s-1"})
    said = refused(path)
    assert "grid of latitudes by longitudes" in said
    assert ("in a row along node" if row else "curvilinear or turned, with nav_lat and nav_lon") in said


def test_two_variables_of_one_name_and_components_apart(tmp_path: Path) -> None:
    path = write_nc(tmp_path / "a.nc")
    with netCDF4.Dataset(path, "a") as file:
        twin = file.createVariable("u_mean", "f8", ("lat", "lon"))
        twin.standard_name = "eastward_sea_water_velocity"
    said = refused(path)
    assert "2 variables that are eastward_sea_water_velocity (got 'u, u_mean')" in said
    with netCDF4.Dataset(path, "a") as file:
        file["u"].standard_name = "another"
    assert "lies on another grid than v (got 'lat, lon; time, lat, lon')" in refused(path)


def test_coordinates_by_axis_and_what_is_not_used_is_told(tmp_path: Path) -> None:
    """Degrees along axis X and Y are longitudes and latitudes, unless of a turned pole; radians are neither."""
    path = write_nc(tmp_path / "a.nc", units="kt")
    with netCDF4.Dataset(path, "a") as file:
        for name, axis in (("lon", "X"), ("lat", "Y")):
            file[name].setncatts({"axis": axis, "units": "degrees"})
        for way in ("eastward", "northward"):
            deep = file.createVariable(way, "f8", ("time", "lat", "lon"))
            deep.setncatts({"standard_name": f"barotropic_{way}_sea_water_velocity", "units": "m s-1"})
    grid = read_current_grid(path, UTC_ZONE)
    assert (grid.lon.tolist(), grid.lat.tolist()) == (LON.tolist(), LAT.tolist())
    assert float(grid.east_kn[0, 0, 0]) == pytest.approx(linear(LON[0], LAT[0], 0)[0], abs=1e-12)
    assert grid.notes == ("read from eastward_sea_water_velocity; not used: barotropic_eastward_sea_water_velocity",)
    with netCDF4.Dataset(path, "a") as file:
        file["lat"].standard_name = "grid_latitude"
    assert "is not on a grid of latitudes by longitudes (got 'time, lat, lon')" in refused(path)
    with netCDF4.Dataset(path, "a") as file:
        file["lat"].setncatts({"standard_name": "latitude", "units": "radians"})
    assert ", lat: has units that are no degrees (got 'radians')" in refused(path)


def test_times_as_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.nc"
    write_nc(path, time_units="none at all")
    with netCDF4.Dataset(path, "a") as file:
        text = file.createVariable("time", str, ("time",))
        text.setncatts({"standard_name": "time", "units": "hours since 2026-07-01"})
        text[:] = np.array([f"2026-07-01T0{hour}:00Z" for hour in range(5)], dtype=object)
    assert ", time: holds no numbers" in refused(path)


def test_files_that_are_none(tmp_path: Path) -> None:
    path = tmp_path / "a.nc"
    assert "there is no such file" in refused(path)
    path.write_text("time,lon,lat,set_deg,drift_kn\n")
    assert "can't be read as NetCDF (Unknown file format)" in refused(path)
    path.write_bytes(b"")
    assert "is empty" in refused(path)
    other = tmp_path / "a.grib"
    other.write_bytes(b"GRIB")
    assert "by its ending (got '.grib')" in refused(other)


@pytest.mark.parametrize("kind", ["NETCDF4", "NETCDF3_CLASSIC", "NETCDF3_64BIT_OFFSET"])
def test_a_file_cut_short_is_no_still_water(tmp_path: Path, kind: str) -> None:
    """A classic file that ends early is read with noughts by the library itself."""
    path = write_nc(tmp_path / "a.nc", kind=kind)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    said = refused(path)
    assert "can't be read as NetCDF" in said if kind == "NETCDF4" else "is cut short" in said


def test_a_scale_that_is_no_number_is_refused_and_other_oddities_are_told(tmp_path: Path) -> None:
    path = write_nc(tmp_path / "a.nc")
    with netCDF4.Dataset(path, "a") as file:
        file["v"].scale_factor = "ten"
    assert ", v: has a scale_factor that is no number (got 'ten')" in refused(path)
    path = write_nc(tmp_path / "b.nc", fields=np.ones((2, 5, 3, 4)), dtype="i2")
    with netCDF4.Dataset(path, "a") as file:
        file["u"].setncattr_string("missing_value", "none")
    (note,) = read_current_grid(path, UTC_ZONE).notes
    assert "missing_value not used" in note


def test_too_many_values_are_refused_before_they_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """2 x 5 x 3 x 4 values are 120."""
    path = write_nc(tmp_path / "a.nc")
    monkeypatch.setattr(current_files, "LIMIT_VALUES", 120)
    read_current_grid(path, UTC_ZONE)
    monkeypatch.setattr(current_files, "LIMIT_VALUES", 119)
    assert "holds 120 values of current" in refused(path)


def test_more_than_50_million_values(tmp_path: Path) -> None:
    """200 times by 400 by 400, twice, are 64 million; never written, so that the file is small."""
    path = tmp_path / "a.nc"
    with netCDF4.Dataset(path, "w") as file:
        for name, units, size in (
            ("time", "hours since 2026-07-01", 200),
            ("lat", "degrees_north", 400),
            ("lon", "degrees_east", 400),
        ):
            file.createDimension(name, size)
            file.createVariable(name, "f8", (name,)).units = units
        for name in ("eastward_sea_water_velocity", "northward_sea_water_velocity"):
            variable = file.createVariable(name[:4], "f4", ("time", "lat", "lon"), zlib=True)
            variable.setncatts({"standard_name": name, "units": "m s-1"})
    assert "holds 64,000,000 values of current, and 50 million are read at the most: cut it" in refused(path)


def test_without_the_extra_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_nc(tmp_path / "a.nc")
    monkeypatch.setitem(sys.modules, "netCDF4", None)
    said = refused(path)
    assert "extra netcdf, which isn't installed" in said
    assert "pip install 'routeplan[netcdf]'" in said


ROWS = [
    f"2026-07-01T{hour:02d}:00Z,{lon},{lat},{90 if lat == 44 else 180},{1 + hour}"
    for hour in range(2)
    for lat in (44, 44.5)
    for lon in (-38, -37.5)
]
HEAD = "time,lon,lat,set_deg,drift_kn"


def write_table(folder: Path, rows: list[str], head: str = HEAD) -> Path:
    path = folder / "streams.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_a_table_is_read_in_any_order(tmp_path: Path) -> None:
    """Set 90 at 2 kn runs 2 kn east; set 180 runs south. Halfway between them in place: half of each."""
    grid = read_current_grid(write_table(tmp_path, ROWS[::-1]), UTC_ZONE)
    assert (grid.lon.tolist(), grid.lat.tolist()) == ([-38.0, -37.5], [44.0, 44.5])
    assert grid.extent == (-38.0, 44.0, -37.5, 44.5)
    assert grid.begins == datetime(2026, 7, 1, tzinfo=UTC)
    east, north = grid.at(-37.7, 44.25, START_S + 3600)
    assert (float(east), float(north)) == pytest.approx((1.0, -1.0), abs=1e-15)
    assert grid.greatest_kn == 2
    assert grid.notes == ()


def test_a_table_of_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    rows = [row.replace(",", ";").replace(".5", ",5") + ",5;x" for row in ROWS]
    grid = read_current_grid(write_table(tmp_path, rows, HEAD.replace(",", ";").title() + ";remark"), UTC_ZONE)
    assert grid.lat.tolist() == [44.0, 44.5]
    assert grid.greatest_kn == 2.5
    assert grid.notes == ("columns not used: remark",)


def test_empty_cells_are_no_current_known_and_slack_needs_no_set(tmp_path: Path) -> None:
    rows = [*ROWS]
    rows[0] = "2026-07-01T00:00Z,-38,44,,"
    rows[1] = "2026-07-01T00:00Z,-37.5,44,,0"
    grid = read_current_grid(write_table(tmp_path, rows), UTC_ZONE)
    assert np.isnan(grid.at(-38, 44, START_S)).all()
    assert [float(part) for part in grid.at(-37.5, 44, START_S)] == [0, 0]
    assert grid.notes == ("25 % of its 4 positions have none at some of the times",)


def test_a_table_across_the_180th_meridian(tmp_path: Path) -> None:
    rows = [row.replace("-38,", "179.5,").replace("-37.5,", "-179.5,") for row in ROWS]
    grid = read_current_grid(write_table(tmp_path, rows), UTC_ZONE)
    assert grid.extent == (179.5, 44.0, -179.5, 44.5)
    assert float(grid.at(-179.9, 44, START_S)[0]) == pytest.approx(1, abs=1e-15)


def test_times_without_an_offset_are_the_regions(tmp_path: Path) -> None:
    """Lisbon keeps UTC + 1 h in July."""
    rows = [row.replace("Z", "") for row in ROWS]
    assert read_current_grid(write_table(tmp_path, rows), LISBON).begins == datetime(2026, 6, 30, 23, tzinfo=UTC)
    rows = [row.replace("Z", "-02:00") for row in ROWS]
    assert read_current_grid(write_table(tmp_path, rows), LISBON).begins == datetime(2026, 7, 1, 2, tzinfo=UTC)


@pytest.mark.parametrize(
    ("place", "row", "parts"),
    [
        (2, "2026-07-01T00:00Z,-38,44.5,361,1", [", line 4, set_deg:", "from 0 to 360 degrees", "got '361'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,-1,1", [", line 4, set_deg:", "from 0 to 360 degrees", "got '-1'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,north,1", [", line 4, set_deg:", "not a number", "got 'north'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,90,20.1", [", line 4, drift_kn:", "from 0 to 20 kn", "got '20.1'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,90,-1", [", line 4, drift_kn:", "from 0 to 20 kn", "got '-1'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,90,nan", [", line 4, drift_kn:", "not a number"]),
        (2, "2026-07-01T00:00Z,-38,44.5,90,", [", line 4, drift_kn:", "empty, and the set is not", "got '90'"]),
        (2, "2026-07-01T00:00Z,-38,44.5,,1", [", line 4, set_deg:", "empty, and the drift is 1"]),
        (2, "2026-07-01T00:00Z,-38,94.5,90,1", [", line 4, lat", "94.5"]),
        (2, "2026-07-01T00:00Z,-238,44.5,90,1", [", line 4, lon", "-238"]),
        (2, "2026-07-01T00:00Z,,44.5,90,1", [", line 4, ", "no position"]),
        (2, "2026-07-01,-38,44.5,90,1", [", line 4, time:", "no time of day", "got '2026-07-01'"]),
        (2, "1 July,-38,44.5,90,1", [", line 4, time:", "not a date and time", "got '1 July'"]),
        (2, ",-38,44.5,90,1", [", line 4, time:", "has no time"]),
        (2, "1926-07-01T00:00Z,-38,44.5,90,1", [", line 4, time:", "years 1970 to 2199"]),
        (2, "2026-10-25 01:30,-38,44.5,90,1", [", line 4, time:", "Europe/Lisbon show this time twice", "offset"]),
        (2, "2026-03-29 01:30,-38,44.5,90,1", [", line 4, time:", "Europe/Lisbon skip this time", "offset"]),
        (6, None, ["no row for one position and time", "lat 44.5, lon -38 at 2026-07-01 01:00:00 UTC", "1 such gaps"]),
        (7, None, ["no row for one position and time", "lat 44.5, lon -37.5 at 2026-07-01 01:00:00 UTC", "2 lat"]),
        (6, ROWS[1], [", line 8:", "that line 3 has already", "lat 44, lon -37.5 at 2026-07-01 00:00:00 UTC"]),
    ],
)
def test_bad_cells_gaps_and_repeated_rows_are_refused(
    tmp_path: Path, place: int, row: str | None, parts: list[str]
) -> None:
    rows = [*ROWS[:place], *([row] if row is not None else []), *ROWS[place + 1 :]]
    said = refused(write_table(tmp_path, rows), LISBON)
    assert all(part in said for part in parts), said


def test_tables_that_are_no_grid_in_place_or_time(tmp_path: Path) -> None:
    said = refused(write_table(tmp_path, [row for row in ROWS if ",44," in row]))
    assert "fewer than two latitudes" in said
    said = refused(write_table(tmp_path, ROWS[:4]))
    assert "fewer than two times" in said
    said = refused(write_table(tmp_path, [row.replace("T01", "T07") for row in ROWS]))
    assert "more than 6 h apart" in said
    said = refused(write_table(tmp_path, [row.rsplit(",", 2)[0] for row in ROWS], "time,lon,lat"))
    assert ", line 1: has no column set_deg or drift_kn: its first line must name time,lon,lat,set_deg,drift_kn" in said


def test_scattered_places_are_refused_without_their_grid_being_made(tmp_path: Path) -> None:
    """3,000 places of their own at two times would be a grid of 18 million points."""
    rows = [f"2026-07-01T0{h}:00Z,{-38 + k / 7000:.6f},{44 + k / 9000:.6f},90,1" for h in (0, 1) for k in range(3000)]
    said = refused(write_table(tmp_path, rows))
    assert "3,000 latitudes by 3,000 longitudes by 2 times, and 17,994,000 such gaps in all" in said
    assert "lat 44, lon -37.999857 at 2026-07-01 00:00:00 UTC" in said


@pytest.mark.parametrize("step", [1, -1])
def test_what_is_given_stays_as_it_was(step: int) -> None:
    """Building turns and fills copies: the arrays handed in are not written to."""
    fields = np.ones((2, 5, 3, 4))
    fields[0, 0, 0, 0] = np.nan
    before = fields.copy()
    axes = (LON + 360, LAT[::step].copy(), START_S + 3600 * HOURS)
    grid = build_current_grid("here", "a test", axes, fields[0], fields[1])
    assert np.array_equal(fields, before, equal_nan=True)
    assert axes[0][0] == LON[0] + 360
    assert np.isnan(grid.north_kn[0, 0 if step == 1 else 2, 0])
