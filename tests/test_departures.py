"""When to leave: every row is the plan of its departure, what bites is what is waited for, windows end where it bites.

A strait 2 nmi wide and 8 long with a race in its middle, that floods to the east: S2 of 6 kn, greatest at 00:00 and
12:00 UTC. A bridge with hours stands east of the race, a pump with hours lies west of it. B lies 6 nmi east, A 6 nmi
west; the boat burns a litre a mile through the water and runs 5 kn: against more than that she waits.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, waypoint

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.currents import Currents, read_currents
from routeplan.departures import Bite, Departure, Departures, Holds, find_departures
from routeplan.fuel import FuelAboard
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.sun import find_sun_day
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.network import Network
    from routeplan.plans import Plan

DAY = datetime(2026, 7, 1, tzinfo=UTC)
WITHIN_S = 5.0  # [s] a hop's way that gains less isn't looked for (routeplan.planner): a window has met more ways
WITHIN_L = WITHIN_S / 3600 * 5.0  # [l] burned meanwhile
HOUR, TEN = timedelta(hours=1), timedelta(minutes=10)
LAND = [(box(-4 * NMI_M, s * NMI_M, 4 * NMI_M, (s + 12) * NMI_M), {"name": "Side"}) for s in (-13.0, 1.0)]
RACE = {"name": "The Race", "flood_deg": 90, "ebb_deg": 270, "mean_kn": 0.0, "constituents": "S2 6 0"}
BOAT = make_boat(speed_kn=(2.5, 5.0), burn_lph=(2.5, 5.0), cruising_speed_kn=5.0, no_wake_kn=2.5)


@cache
def strait(bridge: str = "24/7", pump: str = "24/7") -> tuple[Network, Currents]:
    """Build the strait; the bridge and the pump have hours."""
    x = 3 * NMI_M
    region = make_region(
        land=LAND,
        currents=[(box(-NMI_M, -1.5 * NMI_M, NMI_M, 1.5 * NMI_M), RACE)],
        waypoints=[waypoint(-6 * NMI_M, 0, "A"), waypoint(6 * NMI_M, 0, "B")],
        docks=[dock(-4.5 * NMI_M, -1.5 * NMI_M, "West Pump", opening_hours=pump)],
        overhead=[
            (
                shapely.LineString([(x, -1.02 * NMI_M), (x, 1.02 * NMI_M)]),
                {"name": "The Bridge", "kind": "bridge", "clearance_m": 1.0},
            )
        ],
        openings=[
            (
                shapely.Point(x, 0),
                {"name": "The Bridge", "kind": "bridge", "closed_clearance_m": 1.0, "opening_hours": bridge},
            )
        ],
    )
    currents = read_currents(region)
    assert currents is not None
    return build_network(region, BOAT), currents


def a_trip(first_h: float, aboard_l: float = 100.0, **more: Any) -> Trip:
    """Ask for B to A, by no rule but the reserve of 10 l."""
    given = {"start": "B", "finish": "A", "closed_dock": "off", **more}
    return Trip(**given, depart=DAY + first_h * HOUR, aboard=FuelAboard(mean_l=aboard_l, sd_l=0.0, how="known"))


def look(water: tuple[Network, Currents], trip: Trip, last_h: float, *, still: bool = False) -> Departures:
    """Plan every departure up to an hour of the day."""
    network, currents = water
    return find_departures(network, trip, DAY + last_h * HOUR, now=DAY, currents=None if still else currents)


def plan(water: tuple[Network, Currents], trip: Trip, row: Departure) -> Plan | None:
    """Plan a row's departure from scratch."""
    network, currents = water
    asked = trip.model_copy(update={"depart": row.depart})
    try:
        return find_passage(network, asked, now=DAY, currents=currents).recommended
    except NoPassageError:
        return None


def check(water: tuple[Network, Currents], trip: Trip, found: Departures, every: int = 1) -> int:
    """Hold rows against plans made from scratch; tell how many have a plan."""
    planned = 0
    for row in found.rows[::every]:
        alone = plan(water, trip, row)
        assert (row.arrive is None) == (alone is None), row.depart
        if alone is None:
            assert row.bites
            assert not row.holds
            continue
        planned += 1
        hops = 1 + len(alone.stops)
        assert row.arrive is not None
        assert abs((row.arrive - alone.arrive).total_seconds()) <= hops * WITHIN_S, row.depart
        assert row.fuel_l == pytest.approx(alone.fuel_l, abs=hops * WITHIN_L)
        assert row.least_margin_l == pytest.approx(alone.least_margin_l, abs=hops * WITHIN_L)
        assert row.stops == tuple(stop.dock for stop in alone.stops)
        assert row.time_h == pytest.approx((row.arrive - row.depart) / HOUR, abs=1e-6)
        waited_h = sum(wait.wait_h for wait in alone.waits) + sum(stop.wait_h for stop in alone.stops)
        assert sum(bite.wait_h for bite in row.bites) == pytest.approx(waited_h, abs=3 / 60)
        under_way_h = sum((leg.arrive - leg.depart) / HOUR for leg in alone.legs)
        assert row.under_way_h == pytest.approx(under_way_h, abs=hops * WITHIN_S / 3600)
    return planned


@pytest.mark.slow
def test_every_row_is_the_plan_of_its_departure() -> None:
    """With a race, a bridge and a pump with hours, and fuel that just suffices: plans made anew are the same."""
    water = strait("05:00-20:30", "10:15-16:30")
    trip = a_trip(3, aboard_l=22.0)
    found = look(water, trip, 23)
    assert [row.depart for row in found.rows] == [DAY + 3 * HOUR + i * TEN for i in range(121)]
    planned = check(water, trip, found, every=3)
    assert planned >= 25
    assert {bite.kind for row in found.rows for bite in row.bites} == {"gate", "dock", "dark", "fuel"}
    assert {row.stops for row in found.rows} == {(), ("West Pump",)}
    assert not found.still_water


@pytest.mark.slow
def test_a_race_that_is_too_strong_bites_with_the_wait_for_it() -> None:
    """It runs over 5 kn from 10:49.5 to 13:10.5, its edge is an hour off: who leaves from 09:50 to 12:00 waits.

    All of them leave on the first ten-minute step from which it can be passed: about 12:10, as the way bends a little.
    """
    water, trip = strait(), a_trip(7)
    found = look(water, trip, 15)
    assert check(water, trip, found, every=4) == 13
    waiting = [row for row in found.rows if DAY + 9.8 * HOUR < row.depart < DAY + 12.1 * HOUR]
    assert len(waiting) == 14
    for row in waiting:
        (bite,) = row.bites
        assert (bite.kind, bite.where) == ("slack", "The Race")
        assert abs(row.depart + bite.wait_h * HOUR - (DAY + 12 * HOUR + TEN)) <= timedelta(seconds=1)
        assert row.holds == (bite.wait_h <= 5 / 60)
    assert found.rows[0].bites == ()
    assert found.rows[-1].bites == ()


def test_a_shut_bridge_is_a_gate_that_bites_to_the_minute() -> None:
    """The bridge opens at 06:00 and is 3 nmi off, 36 min: who leaves at 05:00 waits 24 minutes, at 05:30 not at all."""
    water = strait("06:00-21:00")
    found = look(water, a_trip(14, start="A", finish="B"), 14.5)  # the other way: the gate is far ahead, and open
    assert all(row.bites == () for row in found.rows)
    early = look(water, a_trip(4), 5.5)
    told = {row.depart: row.bites for row in early.rows}
    for minutes, depart in ((84, 4.0), (24, 5.0)):
        (bite,) = (each for each in told[DAY + depart * HOUR] if each.kind != "dark")
        assert (bite.kind, bite.where) == ("gate", "The Bridge")
        assert bite.wait_h * 60 == pytest.approx(minutes, abs=0.5)
    assert all(each.kind == "dark" for each in told[DAY + 5.5 * HOUR])


def test_the_window_opens_with_the_sun_and_shuts_with_it() -> None:
    """Holding is no departure before sunrise and no arrival after sunset, where nothing else bites."""
    found = look(strait(), a_trip(5), 8.5)
    zone = strait()[0].region.zone
    rises = find_sun_day((-38.15, 44.0), DAY.date(), zone).rises
    assert rises is not None
    (window,) = found.holding
    first = next(row for row in found.rows if row.depart == window.first)
    before = next(row for row in found.rows if row.depart == window.first - TEN)
    assert first.arrive is not None
    assert before.arrive is not None
    minute = timedelta(minutes=2)  # A lies a few miles off
    assert before.depart - minute <= rises <= first.depart + minute
    assert [bite.kind for bite in before.bites] == ["dark"]
    assert window.last == found.rows[-1].depart


def test_daylight_is_waited_for_where_she_lies() -> None:
    water, trip = strait(), a_trip(5, daylight="sun")
    found = look(water, trip, 7.5)
    assert check(water, trip, found, every=3) == 6
    assert [bite.kind for bite in found.rows[0].bites] == ["daylight"]
    assert found.rows[0].bites[0].where == "B"
    assert found.rows[-1].bites == ()


@pytest.mark.parametrize(
    ("kind", "aboard_l", "pump", "more"),
    [
        ("fuel", 15.0, "24/7", {}),
        ("dock", 22.0, "off", {}),
        ("closed-dock", 22.0, "24/7", {"closed_dock": "strict"}),
        ("daylight", 100.0, "24/7", {"daylight": "sun", "hours_per_day_h": 1.0}),
    ],
)
def test_a_departure_without_a_plan_says_what_stands_in_the_way(
    kind: str, aboard_l: float, pump: str, more: dict[str, Any]
) -> None:
    """At 13:10 a fill is needed on the way: too little fuel, a pump that never opens, no way out, an hour of light."""
    trip = a_trip(13 + 1 / 6, aboard_l, **more)
    found = look(strait(pump=pump), trip, 13 + 1 / 3)
    assert [[bite.kind for bite in row.bites] for row in found.rows] == [[kind], [kind]]
    assert check(strait(pump=pump), trip, found) == 0
    assert found.holding == ()
    assert found.soonest is found.shortest is found.thriftiest is None


def test_without_currents_it_is_a_still_water_plan() -> None:
    found = look(strait(), a_trip(9), 9.5, still=True)
    assert found.still_water
    assert len({round(row.time_h, 6) for row in found.rows}) == 1


def row(minutes: int, **changes: Any) -> Departure:
    """Make a departure of two hours, so many minutes after 08:00."""
    depart = DAY + 8 * HOUR + timedelta(minutes=minutes)
    plain = {"time_h": 2.0, "under_way_h": 2.0, "fuel_l": 20.0, "least_margin_l": 5.0, "stops": (), "bites": ()}
    given = {**plain, **changes}
    return Departure(**{"depart": depart, "arrive": depart + given["time_h"] * HOUR, **given})


def test_windows_break_at_waits_the_dark_other_stops_and_no_plan() -> None:
    """A wait of five minutes is borne, one of six is not."""
    rows = (
        row(0),
        row(10, bites=(Bite("gate", "Span", 5 / 60),)),
        row(20, bites=(Bite("gate", "Span", 6 / 60),)),
        row(30),
        row(40, stops=("Pump",)),
        row(50, bites=(Bite("dark", "A", 0.0),)),
        row(60, arrive=None, bites=(Bite("fuel", "", 0.0),)),
        row(70),
    )
    at = [r.depart for r in rows]
    assert Departures(rows, still_water=False).holding == (
        Holds(at[0], at[1], ()),
        Holds(at[3], at[3], ()),
        Holds(at[4], at[4], ("Pump",)),
        Holds(at[7], at[7], ()),
    )


def test_the_best_departures() -> None:
    """Of two that arrive together the later one is soonest; of two as short or thrifty the earlier one is named."""
    rows = (
        row(0, arrive=None, time_h=0.0, fuel_l=0.0),
        row(10, time_h=2.0, fuel_l=19.0),
        row(20, time_h=11 / 6, fuel_l=21.0),
        row(30, time_h=11 / 6, fuel_l=19.0),
    )
    found = Departures(rows, still_water=False)
    assert found.soonest is rows[2]
    assert found.shortest is rows[2]
    assert found.thriftiest is rows[1]


def test_a_window_that_ends_before_it_begins_or_is_too_long_is_one_line() -> None:
    for last_h, said in ((8.9, "ends before it begins"), (9 + 48.1, "longer than 48 hours")):
        with pytest.raises(InputError, match=said) as caught:
            look(strait(), a_trip(9), last_h)
        assert str(caught.value).startswith("--depart-between")
        assert "\n" not in str(caught.value)
    assert len(look(strait(), a_trip(9), 9).rows) == 1


def test_what_was_asked_is_left_as_it_was() -> None:
    network, currents = strait()
    trip = a_trip(9)
    before = trip.model_copy()
    terminals = len(network.terminals)
    find_departures(network, trip, trip.depart + TEN, now=DAY, currents=currents)
    assert trip == before
    assert len(network.terminals) == terminals
