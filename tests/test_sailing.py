"""Ways by the clock: closed forms, an ODE solver, the trade's examples, and that nobody overtakes by leaving later."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from oracles.moving_water import GEOD, made_good_kn
from oracles.small_world import NMI_M, box, make_boat, make_region, waypoint, zone
from scipy.integrate import solve_ivp

from layers.constituents import read_constituents
from layers.current_grids import CurrentGrid
from routeplan.building import build_network
from routeplan.conditions import Conditions
from routeplan.currents import Currents
from routeplan.leg_graph import Rates
from routeplan.sailing import Sailing, Way, find_made
from routeplan.tidal_streams import TidalStream

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.network import Network

BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
SECOND_H = 1 / 3600
STEADY_H = 2 * SECOND_H  # over hours: a straight line of the plane is a geodesic to 1e-4, and its course turns a little
CHANGING_H = 3 * SECOND_H  # and straight between moments three minutes apart: h^2 g'' / 8 is under 3e-4 kn
CROWDED = 10 * NMI_M


def stream(sets_deg: float = 90.0, mean_kn: float = 0.0, text: str = "", ebb_deg: float | None = None) -> TidalStream:
    """Make a stream; the ebb sets the other way."""
    ebb_deg = (sets_deg + 180) % 360 if ebb_deg is None else ebb_deg
    return TidalStream("Race", sets_deg, ebb_deg, mean_kn, read_constituents(text) if text else (), 44.0)


@cache
def open_water(cruising_kn: float = 20.0) -> Network:
    """Build water without any land, at whose middle A and B lie 12 nmi apart."""
    ends = [waypoint(-6 * NMI_M, 0, "A"), waypoint(6 * NMI_M, 0, "B")]
    return build_network(make_region(waypoints=ends), boat_of(cruising_kn))


def boat_of(kn: float) -> Boat:
    """Make a boat that burns 10 l/h at any speed up to this one."""
    return make_boat(
        speed_kn=(min(5.0, kn / 2), kn), burn_lph=(10.0, 10.0), cruising_speed_kn=kn, no_wake_kn=min(5.0, kn)
    )


def sail(
    conditions: Conditions, kn: float, bends: Sequence[tuple[float, float]], network: Network | None = None
) -> Sailing:
    """Sail a way of legs, in metres about the middle."""
    network, boat = network or open_water(), boat_of(kn)
    way = Way(np.array(bends, dtype=float), ("leg",) * (len(bends) - 1))
    return Sailing(conditions, network.water, boat, Rates.of(boat, network, kn), way)


def everywhere(*streams: TidalStream, hours: float = 96.0, grid: CurrentGrid | None = None) -> Conditions:
    """Let one stream run all over the region."""
    water = open_water().water
    shapes = [water.plane.box() for _ in streams]
    return Conditions(BEGIN, hours, Currents(water.plane, streams, tuple(shapes), grid))


def nmi_of(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
    """[nmi, deg] Length and first course of the geodesic between two places in the plane."""
    ends = open_water().water.plane.to_lonlat(np.array([a, b]))
    course, _, metres = GEOD.inv(*ends[0], *ends[1])
    return metres / NMI_M, course


def ode_h(field: Any, kn: float, a: tuple[float, float], b: tuple[float, float], leave_h: float) -> float:
    """[h] Steer the ground track from a to b: scipy's solver, ended where the way is behind; field(lon, lat, hour)."""
    (lon, lat), (to_lon, to_lat) = open_water().water.plane.to_lonlat(np.array([a, b]))
    course, _, metres = GEOD.inv(lon, lat, to_lon, to_lat)

    def speed(hour: float, made: np.ndarray) -> list[float]:
        here_lon, here_lat, back = GEOD.fwd(lon, lat, course, float(made[0]) * NMI_M)
        east, north = field(here_lon, here_lat, hour)
        return [made_good_kn(kn, back + 180, east, north)]

    def is_there(_hour: float, made: np.ndarray) -> float:
        return float(made[0]) - metres / NMI_M

    is_there.terminal = True  # type: ignore[attr-defined]
    span = (leave_h, leave_h + 60)
    solved = solve_ivp(speed, span, [0.0], events=is_there, rtol=1e-9, atol=1e-9, max_step=0.1)
    return float(solved.t_events[0][0]) - leave_h


@pytest.mark.parametrize("sets_deg", [0, 35, 90, 180, 251])
@pytest.mark.parametrize("turned", [False, True])
def test_a_steady_stream_is_the_closed_form_and_the_solvers(sets_deg: float, *, turned: bool) -> None:
    """8 kn through the water, 2.5 kn of stream, 14 nmi of open water."""
    a, b = (-9 * NMI_M, -2 * NMI_M), (5 * NMI_M, 1.5 * NMI_M)
    a, b = (b, a) if turned else (a, b)
    sailed = sail(everywhere(stream(sets_deg, 2.5)), 8, [a, b]).at(3.21)
    assert sailed is not None
    nmi, course = nmi_of(a, b)
    east, north = 2.5 * math.sin(math.radians(sets_deg)), 2.5 * math.cos(math.radians(sets_deg))
    assert sailed.time_h == pytest.approx(nmi / made_good_kn(8, course, east, north), abs=10 * STEADY_H)  # course turns
    assert sailed.time_h == pytest.approx(ode_h(lambda *_: (east, north), 8, a, b, 3.21), abs=STEADY_H)
    assert sailed.fuel_l == pytest.approx(10 * sailed.time_h)


@pytest.mark.parametrize("leave_h", [1.0, 4.4, 9.87])
def test_a_stream_that_turns_with_the_tide_is_the_solvers(leave_h: float) -> None:
    """Flood to 060, ebb to 225, 3 kn of M2 and a sixth of it of M4, over 16 nmi at 7 kn: hours of the tide."""
    a, b, tide = (-8 * NMI_M, -3 * NMI_M), (7 * NMI_M, 4 * NMI_M), stream(60, 0.2, "M2 3 40; M4 0.5 10", ebb_deg=225)
    sailed = sail(everywhere(tide), 7, [a, b]).at(leave_h)
    assert sailed is not None

    def field(_lon: float, _lat: float, hour: float) -> Any:
        return tide.east_north_kn(np.array([BEGIN.timestamp() + 3600 * hour]))[0]

    assert sailed.time_h == pytest.approx(ode_h(field, 7, a, b, leave_h), abs=CHANGING_H)


def rotating(every_min: float, kn: float = 2.0, hours: float = 30.0) -> CurrentGrid:
    """Lay a stream that turns round the compass in 12 h, the same everywhere, on a grid."""
    times_s = BEGIN.timestamp() + 60 * np.arange(0, hours * 60 + 1, every_min)
    angle = (times_s - BEGIN.timestamp()) / 3600 * (2 * np.pi / 12)
    east, north = (np.tile((kn * f(angle))[:, None, None], (1, 2, 2)) for f in (np.sin, np.cos))
    return CurrentGrid("a table", np.array([-38.4, -37.6]), np.array([43.6, 44.4]), times_s, east, north)


@pytest.mark.parametrize("leave_h", [0.0, 3.3, 11.0])
def test_a_rotating_stream_is_the_solvers(leave_h: float) -> None:
    """2 kn once round in 12 h, on a grid of ten minutes: in between short by 2 w^2 h^2 / 8 = 0.2 % at most.

    So 0.002 kn of 6 may be missing, which is 3 s an hour beside what a changing stream may be off by.
    """
    a, b = (-8 * NMI_M, -3 * NMI_M), (7 * NMI_M, 4 * NMI_M)
    sailed = sail(everywhere(grid=rotating(10), hours=29), 6, [a, b]).at(leave_h)
    assert sailed is not None

    def field(_lon: float, _lat: float, hour: float) -> tuple[float, float]:
        return 2 * math.sin(hour * math.pi / 6), 2 * math.cos(hour * math.pi / 6)

    theirs_h = ode_h(field, 6, a, b, leave_h)
    assert sailed.time_h == pytest.approx(theirs_h, abs=CHANGING_H + 3 * SECOND_H * theirs_h)


def test_an_hourly_table_is_read_in_a_straight_line_between_its_hours() -> None:
    """The same on a grid of an hour, against the solver on that grid itself."""
    a, b, grid = (-8 * NMI_M, -3 * NMI_M), (7 * NMI_M, 4 * NMI_M), rotating(60)
    sailed = sail(everywhere(grid=grid, hours=29), 6, [a, b]).at(2.5)
    assert sailed is not None

    def field(lon: float, lat: float, hour: float) -> Any:
        return [float(part) for part in grid.at(lon, lat, BEGIN.timestamp() + 3600 * hour)]

    assert sailed.time_h == pytest.approx(ode_h(field, 6, a, b, 2.5), abs=CHANGING_H)


def test_a_stream_that_changes_from_place_to_place_is_the_solvers() -> None:
    """A grid whose stream grows from nothing in the west to 3 kn foul in the east: to the piece's length squared.

    Cells of 0.1 degrees make pieces of 2 nmi, over which 1 / g curves by (3 / 32 nmi)^2 2 / g^3: 1e-4 an hour, so 4 s.
    """
    lon, lat = np.linspace(-38.4, -37.6, 9), np.linspace(43.6, 44.4, 9)
    times_s = BEGIN.timestamp() + 3600 * np.arange(30.0)
    east = np.tile(-3 * (lon + 38.4) / 0.8, (30, 9, 1))
    grid = CurrentGrid("a table", lon, lat, times_s, east, np.zeros_like(east))
    a, b = (-8 * NMI_M, -3 * NMI_M), (8 * NMI_M, 3 * NMI_M)
    sailed = sail(everywhere(grid=grid, hours=28), 8, [a, b]).at(1.0)
    assert sailed is not None

    def field(lon: float, lat: float, hour: float) -> Any:
        return [float(part) for part in grid.at(lon, lat, BEGIN.timestamp() + 3600 * hour)]

    theirs_h = ode_h(field, 8, a, b, 1.0)
    assert sailed.time_h == pytest.approx(theirs_h, abs=CHANGING_H + 4 * SECOND_H * theirs_h)


def out_and_home_kn(through_kn: float, along_kn: float, across_kn: float = 0.0) -> tuple[float, float]:
    """[kn] Sail 6 nmi east and back in a steady stream."""
    sets = math.degrees(math.atan2(along_kn, across_kn))
    conditions = everywhere(stream(sets, math.hypot(along_kn, across_kn)))
    ends = [(-3 * NMI_M, 0.0), (3 * NMI_M, 0.0)]
    nmi, _ = nmi_of(*ends)
    out, home = (sail(conditions, through_kn, way).at(1.0) for way in (ends, ends[::-1]))
    assert out is not None
    assert home is not None
    return nmi / out.time_h, nmi / home.time_h


@pytest.mark.parametrize(
    ("endurance_h", "out_kn", "home_kn", "turn_min", "turn_nmi", "give_min", "give_nmi"),
    [
        (6.5, 240, 210, 182, 728, 0.5, 1.0),
        (10, 100, 100, 300, 500, 1e-3, 0.05),
        (10, 50, 150, 450, 375, 1e-3, 0.05),
    ],
)
def test_the_point_of_no_return_of_a_training_text(
    endurance_h: float,
    out_kn: float,
    home_kn: float,
    turn_min: float,
    turn_nmi: float,
    give_min: float,
    give_nmi: float,
) -> None:
    """Aviation training text (seen; checks.md): endurance x home / (out + home), at speeds that a stream makes good.

    The stream is half the difference, the boat runs at half the sum. 7.5 h out at 50 kn and 2.5 h home at 150 kn.
    """
    scale = 2 if out_kn > 150 else 1  # no boat is faster than 150 kn: half of both, and twice the way
    out, home = (kn * scale for kn in out_and_home_kn((out_kn + home_kn) / 2 / scale, (out_kn - home_kn) / 2 / scale))
    assert (out, home) == pytest.approx((out_kn, home_kn), rel=1e-4)
    at_h = endurance_h * home / (out + home)
    assert at_h * 60 == pytest.approx(turn_min, abs=give_min + 0.05)
    assert at_h * out == pytest.approx(turn_nmi, abs=give_nmi)


@settings(max_examples=40)
@example(6.0, 1e-3, 0.0)  # across, and next to nothing: the course out and the course home have to be opposite
@given(st.floats(3, 40), st.floats(0, 0.97), st.floats(0, 360))
def test_out_and_home_in_a_steady_stream_is_never_shorter(kn: float, share: float, sets: float) -> None:
    """Nor is it ever the same: by the square of the drift's share of the speed at the least half as much."""
    drift = share * kn
    along, across = drift * math.sin(math.radians(sets)), drift * math.cos(math.radians(sets))
    assume(kn - abs(along) > 0.2 and math.sqrt(kn**2 - across**2) - abs(along) > 0.2)
    out, home = out_and_home_kn(kn, along, across)
    assert 1 / out + 1 / home >= 2 / kn * (1 + share**2 / 2) * (1 - 1e-8)


AREAS = [  # [nmi] beside one another, apart, large and small: pieces from metres to miles
    (-9, -4, -3, 4),
    (-3, -4, 0.5, 5),
    (0.6, -1, 0.65, 1),
    (2, -5, 8, 5),
]


@st.composite
def tides(draw: st.DrawFn) -> TidalStream:
    """Draw a stream of up to 4 kn."""
    text = f"M2 {draw(st.floats(0, 2.5)):.3f} {draw(st.floats(0, 360)):.1f}; M4 {draw(st.floats(0, 0.8)):.3f} 77"
    return stream(draw(st.floats(0, 359)), draw(st.floats(-0.7, 0.7)), text, ebb_deg=draw(st.floats(0, 359)))


@settings(max_examples=40)
@given(
    st.tuples(tides(), tides(), tides(), tides()),
    st.lists(st.tuples(st.floats(-9, 9), st.floats(-4, 4)), min_size=2, max_size=4),
    st.lists(st.floats(0.0, 20.0), min_size=2, max_size=30, unique=True),
    st.sampled_from([4.5, 8.0, 25.0]),
)
def test_who_leaves_later_arrives_later(
    streams: Any, bends: list[tuple[float, float]], leave: list[float], kn: float
) -> None:
    """Strictly, down to what floats can tell apart, and one by one as many at once."""
    assume(all(math.dist(p, q) > 0.01 for p, q in pairwise(bends)))
    water = open_water().water
    currents = Currents(water.plane, streams, tuple(shapely.box(*(NMI_M * v for v in area)) for area in AREAS))
    sailing = sail(Conditions(BEGIN, 40, currents), kn, [(NMI_M * x, NMI_M * y) for x, y in bends])
    leave = sorted({round(h, 6) for h in leave} | {round(h, 6) + 1e-6 for h in leave})
    arrivals = []
    hours, litres = sailing.many(np.array(leave))
    for at, lasts_h, burnt_l in zip(leave, hours, litres, strict=True):
        sailed = sailing.at(at)
        if sailed is None:
            assert not np.isfinite(lasts_h)
            continue
        assert sailed.time_h == pytest.approx(lasts_h, abs=1e-7)
        assert sailed.fuel_l == pytest.approx(burnt_l, abs=1e-6)
        assert sailed.time_h >= sailing.least.time_h - 1e-9
        assert sailing.least.fuel_l - 1e-9 <= sailed.fuel_l
        arrivals.append(at + sailed.time_h)
    assert all(a < b for a, b in pairwise(arrivals))


@settings(max_examples=25)
@given(tides(), st.floats(0.0, 20.0), st.floats(0.1, 0.9))
def test_a_leg_in_two_takes_what_it_takes_in_one(tide: TidalStream, leave_h: float, share: float) -> None:
    a, b = np.array([-6 * NMI_M, NMI_M]), np.array([6 * NMI_M, -NMI_M])
    conditions = everywhere(tide)
    whole, halves = (sail(conditions, 9, way).at(leave_h) for way in ([a, b], [a, a + share * (b - a), b]))
    assert whole is not None
    assert halves is not None
    assert halves.time_h == pytest.approx(whole.time_h, abs=STEADY_H)


def test_a_foul_stream_as_fast_as_the_boat_shuts_the_way_while_it_lasts() -> None:
    """S2 of 6 kn at its flood at 00:00 UTC, against 5 kn: 6 cos(30 t) > 4.9 until t = 35.24 / 30 = 1.175 h.

    S2 keeps the clock, and its node factor is within half a percent of one: the moment to within 3 minutes or so, the
    step of the conditions.
    """
    race = shapely.box(-NMI_M, -9 * NMI_M, NMI_M, 9 * NMI_M)
    water = open_water().water
    conditions = Conditions(BEGIN, 30, Currents(water.plane, (stream(90, 0, "S2 6 0"),), (race,)))
    sailing = sail(conditions, 5, [(6 * NMI_M, 0), (-6 * NMI_M, 0)])  # the race's edge is an hour away
    opens_h = math.degrees(math.acos(4.9 / 6)) / 30
    assert sailing.at(opens_h - 1 - 0.06) is None
    passed = sailing.at(opens_h - 1 + 0.06)
    assert passed is not None
    stopped = sailing.stopped_at(0.0)
    assert stopped is not None
    assert abs(stopped[0]) <= NMI_M
    assert conditions.currents is not None
    assert conditions.currents.name_at(stopped) == "Race"
    assert sailing.stopped_at(opens_h) is None
    hours, _ = sailing.many(np.arange(0, 12, 1 / 60))
    shut = ~np.isfinite(hours)
    at_edge = np.arange(0, 12, 1 / 60) + 1
    foul = 6 * np.cos(np.radians(30 * at_edge)) > 4.9
    assert (shut | ~foul).all()  # never passed while it is foul at the edge
    assert shut.mean() < 0.4


def test_what_ends_after_the_span_is_no_way_and_no_place_stops_it() -> None:
    conditions = everywhere(stream(90, 1), hours=3)
    sailing = sail(conditions, 6, [(6 * NMI_M, 0), (-6 * NMI_M, 0)])
    assert sailing.at(0.5) is not None
    assert sailing.at(1.0) is None
    assert sailing.at(500.0) is None
    assert not np.isfinite(sailing.many(np.array([1.0, 500.0]))[0]).any()
    assert sailing.stopped_at(500.0) is None


def test_a_departure_before_the_span_is_no_way_and_no_place_stops_it() -> None:
    sailing = sail(everywhere(stream(90, 1), hours=3), 6, [(NMI_M, 0), (-NMI_M, 0)])
    assert sailing.at(-0.5) is None
    assert not np.isfinite(sailing.many(np.array([-0.5]))[0]).any()
    assert sailing.stopped_at(-0.5) is None


def test_still_water_is_still() -> None:
    """12 nmi at 8 kn; where no current is known, and where one is known to be nothing."""
    ends = [(-6 * NMI_M, 0.0), (6 * NMI_M, 0.0)]
    nmi, _ = nmi_of(*ends)
    for conditions in (Conditions(BEGIN, 9), everywhere(stream(90, 0.0))):
        sailing = sail(conditions, 8, ends)
        assert not sailing.changes
        sailed = sailing.at(1e6)
        assert sailed is not None
        assert sailed.time_h == pytest.approx(nmi / 8)
        assert sailing.least.time_h == pytest.approx(
            sailed.time_h
        )  # so far from the beginning a float has no more to it
        assert sailing.most_l == pytest.approx(10 * nmi / 8)


def test_marks_tell_when_each_piece_is_begun() -> None:
    """Area of 2 nmi at -1 kn in the middle of 12: at 6 kn 5 / 6 h, 2 / 5 h, 5 / 6 h."""
    race, water = shapely.box(-NMI_M, -NMI_M, NMI_M, NMI_M), open_water().water
    conditions = Conditions(BEGIN, 30, Currents(water.plane, (stream(270, 1.0),), (race,)))
    sailing = sail(conditions, 6, [(-6 * NMI_M, 0), (6 * NMI_M, 0)])
    marks = sailing.marks_h(2.0)
    assert marks is not None
    assert marks - 2 == pytest.approx([0, 5 / 6, 5 / 6 + 2 / 5, 10 / 6 + 2 / 5], abs=STEADY_H)


@dataclass(frozen=True)
class Limited:
    """Water with a limit in the east."""

    network: Network

    @classmethod
    def build(cls) -> Limited:
        """Build it."""
        ends = [waypoint(-6 * NMI_M, 0, "A"), waypoint(6 * NMI_M, 0, "B")]
        slow = zone(box(0, -NMI_M / 4, 5 * NMI_M, NMI_M / 4), "no-wake")
        return cls(build_network(make_region(waypoints=ends, zones=[slow]), boat_of(20)))


def test_the_speed_through_the_water_of_a_stretch_is_its_mean_over_the_time() -> None:
    """4 nmi at 20 kn and 1 at 5 kn: 5 nmi in 0.2 + 0.2 h, 12.5 kn; 1 and 4: 5 in 0.05 + 0.8 h, 5.88 kn.

    In still water, so that speed through the water and over the ground are the same.
    """
    network, boat = Limited.build().network, boat_of(20)
    rates = Rates.of(boat, network, 20)
    conditions = Conditions(BEGIN, 9, Currents(network.water.plane, (), ()))
    for west, east in ((4, 1), (1, 4)):
        ends = [(-west * NMI_M, 0.0), (east * NMI_M, 0.0)]
        made = find_made(conditions, network.water, boat, rates, ends, "leg", 1.0)
        assert made is not None
        assert made.ground_kn == pytest.approx(5 / (west / 20 + east / 5), rel=1e-3)
        assert made.through_kn == pytest.approx(made.ground_kn, rel=1e-3)


def test_a_stretch_is_told_with_set_drift_and_course() -> None:
    """6 kn through the water, 3 kn across from the west going north: 330 to steer, 5.2 made (30-60-90 triangle)."""
    conditions, network, boat = everywhere(stream(90, 3)), open_water(), boat_of(6)
    ends = [(0.0, -2 * NMI_M), (0.0, 2 * NMI_M)]
    made = find_made(conditions, network.water, boat, Rates.of(boat, network, 6), ends, "leg", 1.0)
    assert made is not None
    assert made.steer_deg == pytest.approx(330, abs=0.1)
    assert made.ground_kn == pytest.approx(3 * math.sqrt(3), abs=0.01)
    assert (made.set_deg, made.drift_kn) == pytest.approx((90, 3), abs=0.01)
    assert made.through_kn == pytest.approx(6)
    assert made.fuel_l == pytest.approx(10 * made.time_h)


def test_nothing_is_said_of_a_current_where_none_is_known() -> None:
    race, network, boat = shapely.box(5 * NMI_M, 5 * NMI_M, 6 * NMI_M, 6 * NMI_M), open_water(), boat_of(6)
    conditions = Conditions(BEGIN, 30, Currents(network.water.plane, (stream(270, 1.0),), (race,)))
    ends = [(0.0, -2 * NMI_M), (0.0, 2 * NMI_M)]
    made = find_made(conditions, network.water, boat, Rates.of(boat, network, 6), ends, "leg", 1.0)
    assert made is not None
    assert made.set_deg is None
    assert made.drift_kn is None


def test_the_most_fuel_is_what_no_departure_exceeds() -> None:
    """Over departures once a minute; between those that are looked at, ten minutes apart, a hair may be missing."""
    sailing = sail(everywhere(stream(90, 0.2, "M2 2 40"), hours=30), 5, [(-6 * NMI_M, 0), (2 * NMI_M, 0)])
    _, litres = sailing.many(np.arange(0, 29, 1 / 60))
    assert np.nanmax(litres) <= sailing.most_l * (1 + 1e-3)
    assert np.nanmax(litres) >= sailing.most_l - 1e-9
    assert np.nanmin(litres) >= sailing.least.fuel_l - 1e-9


def test_hours_are_counted_from_the_spans_beginning() -> None:
    conditions = Conditions(BEGIN, 2.0)
    assert conditions.hours_at(BEGIN + timedelta(minutes=90)) == pytest.approx(1.5)
    assert conditions.hours_at(BEGIN - timedelta(minutes=30)) == pytest.approx(-0.5)
    assert conditions.posix_s[-1] >= (BEGIN + timedelta(hours=2)).timestamp()
    assert (conditions.sea_states == -1).all()
