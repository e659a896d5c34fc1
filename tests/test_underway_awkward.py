"""Underway where things go otherwise: what is asked about, what is never believed, and who has to be told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from oracles.small_world import box, dock, make_boat, make_region, position, waypoint
from test_underway import BOAT, DOCKS, NMI, WHEN, look, plan, water

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.crews import Crew
from routeplan.docks import read_docks
from routeplan.fallbacks import Fallbacks
from routeplan.fillups import Fillup
from routeplan.fuel import FuelAboard
from routeplan.helm import MeterStart
from routeplan.helm_marks import find_helm
from routeplan.margins import Margins
from routeplan.passage import find_passage
from routeplan.plan_hops import find_hops
from routeplan.saved_plans import Report, SavedPlan
from routeplan.teaching import learn, without_log
from routeplan.trips import Trip
from routeplan.underway import find_underway, run_before
from routeplan.underway_state import AskedUnderway

if TYPE_CHECKING:
    from routeplan.network import Network


@pytest.fixture(scope="module")
def three() -> Network:
    return water(*DOCKS)


@pytest.fixture(scope="module")
def with_stop(three: Network) -> SavedPlan:
    """Nine miles on 18 l, with a fill at Half Way Pump after six."""
    return plan(three, 18.0)


@pytest.fixture(scope="module")
def plenty(three: Network) -> SavedPlan:
    return plan(three, 60.0)


def filled_at(saved: SavedPlan, **more: Any) -> Fillup:
    """Fill up at the stop, as the plan has it."""
    stop = saved.plan.stops[0]
    known: dict[str, Any] = {"dock": stop.dock, "meter_used_l": 6.1, "pumped_l": 88.0, "when": stop.begin}
    return Fillup(boat=BOAT.name, **(known | more))


def test_out_and_back_at_the_start_the_dial_stands(three: Network, plenty: SavedPlan):
    """12 l on the dial where the way here takes none: 60 less 12, and not 60."""
    told = look(three, plenty, 0.0, 12.0, when=WHEN + timedelta(minutes=36))
    assert told.aboard_l == pytest.approx(48.0, abs=1.2)
    assert told.burn_factor == pytest.approx(1.0, abs=0.02)
    assert "Gone back or about?" in " ".join(told.findings)
    said = look(three, plenty, 0.0, 12.0, when=WHEN + timedelta(minutes=36), distance_nmi=12.0)
    assert said.aboard_l == pytest.approx(48.0, abs=0.5)
    assert "Gone back or about?" not in " ".join(said.findings)


def test_a_dial_eight_times_the_plan_is_never_given_back_to_the_tank(three: Network, plenty: SavedPlan):
    told = look(three, plenty, 4.0, 32.0, sure=True)
    assert told.aboard_low_l <= 60.0 - 32.0 * (1 - 2 * 0.035)
    assert "read the dial again in 15 minutes" in " ".join(told.findings)


def test_half_of_what_is_due_is_asked_about_and_never_taken_for_a_frugal_day(three: Network, plenty: SavedPlan):
    with pytest.raises(InputError, match="where the plan has"):
        look(three, plenty, 8.0, 4.0)
    told = look(three, plenty, 8.0, 4.0, sure=True)
    assert told.burn_factor >= 1.0 - 2 * BOAT.burn.sd_share


def test_a_fill_that_the_log_has_under_the_dock_before_is_still_the_stops(three: Network, with_stop: SavedPlan):
    """The log takes a dock over from the fill-up before where none is typed."""
    home = Fillup(boat=BOAT.name, when=WHEN - timedelta(hours=30), dock="Side Pump", pumped_l=40.0, meter_used_l=38.0)
    taken_over = filled_at(with_stop, dock="Side Pump")
    leaves = with_stop.plan.stops[0].depart
    told = look(three, with_stop, 8.5, 2.6, when=leaves + timedelta(minutes=8), taught=learn(BOAT, [home, taken_over]))
    assert told.standing.since == "Half Way Pump"
    assert told.aboard_l == pytest.approx(97.4, abs=0.6)
    assert told.standing.planned_l == pytest.approx(2.6, abs=0.2)


def test_a_top_up_some_minutes_later_is_of_the_same_stop():
    """Six litres to burn, stops after four and eight miles: the second entry at the first one isn't the second stop."""
    boat = make_boat(capacity_l=18.0, full_mark_l=18.0, reserve_l=12.0)
    docks = [dock(at * NMI, 300, f"Pump {at}") for at in (4, 8)]
    network = water(*docks, boat=boat, far_nmi=10.0)
    saved = plan(network, 18.0)
    stop, last = saved.plan.stops
    assert (stop.dock, last.dock) == ("Pump 4", "Pump 8")
    log = [
        Fillup(boat=boat.name, when=stop.begin, dock="Pump 4", meter_used_l=4.2, pumped_l=3.9),
        Fillup(boat=boat.name, when=stop.begin + timedelta(minutes=6), pumped_l=0.3),
    ]
    told = look(network, saved, 5.0, 1.1, when=stop.depart + timedelta(minutes=4), taught=learn(boat, log))
    assert (told.standing.since, told.standing.next) == ("Pump 4", "Pump 8")
    assert told.aboard_l == pytest.approx(16.9, abs=0.6)


def test_a_fill_at_another_dock_counts_from_there(three: Network, plenty: SavedPlan):
    """Filled at Side Pump, two miles north of mile three: five miles on the dial has counted two since mile three."""
    aside = Fillup(boat=BOAT.name, when=WHEN + timedelta(minutes=26), dock="Side Pump", meter_used_l=5.2, pumped_l=44.0)
    told = look(three, plenty, 6.0, 3.1, when=WHEN + timedelta(minutes=40), taught=learn(BOAT, [aside]))
    assert told.aboard_l == pytest.approx(96.9, abs=0.6)
    assert told.standing.planned_l == pytest.approx(3.0, abs=0.3)
    assert told.burn_factor == pytest.approx(1.0, abs=0.05)


def test_a_part_fill_whose_dial_nobody_read_leaves_what_was_burnt_before_it_burnt(three: Network):
    """30 l, six miles, 20 l taken unread, two miles more: 30 + 20 - 6 - 2.5 are left, not 6 more."""
    saved = plan(three, 30.0)
    part = Fillup(
        boat=BOAT.name, when=WHEN + timedelta(minutes=26), dock="Half Way Pump", pumped_l=20.0, filled_to_full=False
    )
    told = look(three, saved, 8.0, 2.2, when=WHEN + timedelta(minutes=34), taught=learn(BOAT, [part]))
    assert told.aboard_l == pytest.approx(30 + 20 - 6 - 2.2, abs=0.8)
    measured = look(three, saved, 8.0, 8.2)
    assert told.aboard_sd_l > measured.aboard_sd_l


def test_what_was_taken_in_a_part_fill_is_noted_with_took(three: Network, with_stop: SavedPlan):
    stop = with_stop.plan.stops[0]
    took = Report(when=stop.depart, position=stop.position, took_l=20.0, was_l=(6.1,))
    noted = with_stop.model_copy(update={"reports": (took,)})
    told = look(three, noted, 8.5, 2.6, when=stop.depart + timedelta(minutes=8))
    assert told.aboard_l == pytest.approx(18.0 + 20.0 - 6.1 - 2.6, abs=0.5)


def test_a_reset_forgotten_at_the_stop_is_guessed_and_asked(three: Network, with_stop: SavedPlan):
    leaves = with_stop.plan.stops[0].depart + timedelta(minutes=8)
    log = learn(BOAT, [filled_at(with_stop)])
    with pytest.raises(InputError, match="if it wasn't reset there, add --not-reset"):
        look(three, with_stop, 8.5, 8.6, when=leaves, taught=log)
    told = look(three, with_stop, 8.5, 8.6, when=leaves, taught=log, report={"not_reset": True})
    assert told.aboard_l == pytest.approx(100.0 - 2.5, abs=0.6)


def test_a_slip_is_taken_back_and_the_same_minute_replaces(three: Network, plenty: SavedPlan):
    slip = Report(when=WHEN + timedelta(minutes=9), position=position(3 * NMI, 0), shows_l=(12.0,))
    noted = plenty.model_copy(update={"reports": (slip,)})
    with pytest.raises(InputError, match="if that reading was the slip, add --sure"):
        look(three, noted, 4.0, 4.0)
    assert look(three, noted, 4.0, 4.0, sure=True).aboard_l == pytest.approx(56.0, abs=0.2)
    again = look(three, noted, 3.0, 3.0, when=slip.when)
    assert again.aboard_l == pytest.approx(57.0, abs=0.2)


def test_a_leak_makes_for_the_nearest_place_and_is_carried_forward(three: Network, plenty: SavedPlan):
    """24 l gone beside the dial in twelve minutes: 120 l an hour; Half Way Pump is two miles on."""
    told = look(three, plenty, 4.0, 4.0, report={"gauge_l": 25.0})
    assert told.advice.kind == "leak"
    assert told.advice.dock == "Half Way Pump"
    assert told.advice.speed_kn is None
    assert len(told.arrivals) == 1
    assert told.arrivals[0].aboard_l < 0.0
    assert told.replan is None


def test_a_gauge_a_good_deal_lower_is_told_even_if_it_may_be_chance(three: Network, plenty: SavedPlan):
    told = look(three, plenty, 4.0, 4.0, report={"gauge_l": 47.8})
    assert told.agree
    assert "less than the meter" in told.findings[0]


def test_slowing_down_is_what_arrivals_and_new_plan_are_reckoned_with(three: Network):
    told = look(three, plan(three, 21.0), 4.0, 5.3)
    assert (told.advice.kind, told.advice.speed_kn) == ("slow-down", 16.0)
    assert told.arrivals[0].margin_l >= 0
    assert told.replan is None or set(told.replan.speeds_kn) == {16.0}


def test_a_new_plan_is_no_more_hopeful_than_underway_itself(three: Network):
    """The low figure at the end by the new plan, fuel and burn taken apart, against today's own with both together."""
    told = look(three, plan(three, 60.0), 4.0, 4.6, replan=True)
    assert told.replan is not None
    assert told.replan.aboard_on_arrival_low_l <= told.arrivals[-1].low_l + 0.02


def test_two_dials_that_differ_are_told(three: Network, plenty: SavedPlan):
    report = Report(when=WHEN + timedelta(minutes=24), position=position(8 * NMI, 0), shows_l=(8.0, 0.2))
    told, _ = find_underway(AskedUnderway(plenty, three, without_log(BOAT), report))
    assert "One dial has counted 8.0 l, the other 0.2 l" in " ".join(told.findings)


def test_alongside_the_stop_she_is_told_to_fill(three: Network, with_stop: SavedPlan):
    stop = with_stop.plan.stops[0]
    report = Report(when=stop.arrive, position=stop.position, shows_l=(6.1,))
    told, _ = find_underway(
        AskedUnderway(with_stop, three, learn(BOAT, [filled_at(with_stop, when=WHEN - timedelta(days=9))]), report)
    )
    assert (told.advice.kind, told.advice.dock) == ("fill", "Half Way Pump")


def test_a_fill_before_leaving_counts_once_it_is_known(three: Network):
    """30 l and a fill at Home Pump before leaving; at 20 kn she burns a litre a mile, so three by three miles on."""
    saved = plan(three, 30.0, start="Home Pump", fill_first=True)
    stop = saved.plan.stops[0]
    assert stop.dock == "Home Pump"
    leaves = stop.depart + timedelta(minutes=9)
    for when, east_nmi in ((WHEN, 0.0), (leaves, 3.0)):
        with pytest.raises(InputError, match="fills at Home Pump before leaving, and no fill-up there is in the log"):
            look(three, saved, east_nmi, 0.0, when=when)
    noted = Report(when=WHEN - timedelta(minutes=5), position=stop.position, filled=True)  # earlier than planned
    told = look(three, saved.model_copy(update={"reports": (noted,)}), 3.0, 3.0, when=leaves)
    assert told.aboard_l == pytest.approx(BOAT.tank.full_mark_l - 3.0, abs=0.3)
    passed = look(three, saved, 3.0, 3.0, when=leaves, passed_by=True)
    assert passed.aboard_l == pytest.approx(27.0, abs=0.3)
    assert "Home Pump: left without filling, as said." in passed.findings
    part = noted.model_copy(update={"filled": False, "took_l": 20.0, "was_l": (41.0,)})
    told = look(three, saved.model_copy(update={"reports": (part,)}), 3.0, 3.0, when=leaves)
    assert told.aboard_l == pytest.approx(47.0, abs=0.3)  # what the dial showed of earlier runs is no part of it


def test_a_place_that_she_cant_have_come_to_is_asked_about(three: Network, plenty: SavedPlan):
    with pytest.raises(InputError, match=r"has her 8\.0 nmi from Home"):
        look(three, plenty, 8.0, 8.0, when=WHEN + timedelta(minutes=3))
    assert look(three, plenty, 8.0, 8.0, when=WHEN + timedelta(minutes=3), sure=True).standing.late_h < 0


def test_whoever_waits_ashore_is_thought_of(three: Network, plenty: SavedPlan):
    late = look(three, plenty, 4.0, 4.0, when=WHEN + timedelta(minutes=72))
    assert "tell whoever waits ashore" in " ".join(late.findings)
    crew = Crew(shore_contact="Wen, 555 0101", overdue=WHEN + timedelta(hours=1))
    due = look(three, plenty.model_copy(update={"crew": crew}), 4.0, 4.0, when=WHEN + timedelta(minutes=32))
    assert "She counts as overdue from" in " ".join(due.findings)
    assert "tell Wen, 555 0101" in " ".join(due.findings)


def test_a_lock_that_is_shut_when_she_comes_is_told_and_its_wait_is_kept():
    """A closed line across the way with a lock in it that opens at nine: a plan for eight lies at Home till then."""
    wall = (
        shapely.LineString([(5 * NMI, -40_000), (5 * NMI, 40_000)]),
        {"name": "Wall", "kind": "bridge", "clearance_m": 0.5},
    )
    lock = (
        shapely.Point(5 * NMI, 0),
        {"name": "Wall Lock", "kind": "lock", "opening_hours": "Mo-Su 09:00-20:00", "wait_min": 10.0},
    )
    places = [waypoint(0, 0, "Home"), waypoint(9 * NMI, 0, "East End")]
    region = make_region(waypoints=places, docks=list(DOCKS), overhead=[wall], openings=[lock])
    network = build_network(region, BOAT, Margins(standoff_m=5.0), when=WHEN)
    saved = plan(network, 60.0)
    assert [wait.gate for wait in saved.plan.waits] == ["Wall Lock"]
    early = look(network, saved, 0.0, 0.0, when=WHEN)
    assert "Lie at Home until" in " ".join(early.findings)
    assert early.arrivals[-1].arrive == pytest.approx(saved.plan.arrive, abs=timedelta(minutes=2))
    late = look(network, saved, 1.0, 1.0, when=WHEN.replace(hour=20))
    assert "Wall Lock (Mo-Su 09:00-20:00) is shut when she comes" in " ".join(late.findings)


def test_what_was_run_before_a_new_plan_is_kept_with_it(three: Network, plenty: SavedPlan):
    report = Report(when=WHEN + timedelta(minutes=12), position=position(4 * NMI, 0), shows_l=(4.0,))
    before = run_before(
        AskedUnderway(plenty, three, learn(BOAT, [filled_at(plan(three, 18.0), when=WHEN - timedelta(days=9))]), report)
    )
    assert before is not None
    assert (before.start, before.began, before.shows_l) == ("Home", WHEN, (0.0,))
    assert before.distance_nmi == pytest.approx(4.0, abs=0.02)
    (run,) = before.speeds_run
    assert (run.speed_kn, run.time_h) == (20.0, pytest.approx(0.2, abs=0.001))


def test_docks_that_dont_serve_her_are_nothing_to_fall_back_on():
    docks = [
        dock(0, 0, "Diesel", fuels="diesel"),
        dock(3 * NMI, 0, "Night Pump", opening_hours="2026 Jul 20-2026 Aug 20 08:00-20:00"),
    ]
    network = water(*docks, dock(6 * NMI, 0, "Good Pump"))
    known = read_docks(network.region, BOAT, 0.5, WHEN.date())
    found = Fallbacks(network, BOAT, 20.0, known, [position(1000, 0)], (WHEN, WHEN))
    assert {found.name(int(i)) for i in found.least_burn_l()[1]} == {"Good Pump"}
    assert found.least_burn_l({"Good Pump"})[1].tolist() == [-1]


def test_a_dock_behind_a_lock_is_nothing_to_fall_back_on():
    wall = (
        shapely.LineString([(3 * NMI, -40_000), (3 * NMI, 40_000)]),
        {"name": "Wall", "kind": "bridge", "clearance_m": 0.5},
    )
    lock = (shapely.Point(3 * NMI, 0), {"name": "Wall Lock", "kind": "lock", "opening_hours": "24/7", "wait_min": 10.0})
    docks = [dock(4 * NMI, 300, "Near But Behind"), dock(-5 * NMI, 300, "Far But Free")]
    region = make_region(waypoints=[waypoint(0, 0, "Home")], docks=docks, overhead=[wall], openings=[lock])
    network = build_network(region, BOAT, Margins(standoff_m=5.0), when=WHEN)
    known = read_docks(region, BOAT, 0.5, WHEN.date())
    found = Fallbacks(network, BOAT, 20.0, known, [position(1000, 0)], (WHEN, WHEN))
    assert {found.name(int(i)) for i in found.least_burn_l()[1]} == {"Far But Free"}
    assert [f.dock.name for f in found.within(0, 50.0, WHEN)] == ["Far But Free"]


def test_the_dock_where_she_can_fill_soonest_comes_first():
    near = dock(2 * NMI, 300, "Near Pump", opening_hours="Mo-Su 12:00-20:00", confirmed_on="2026-06-01")
    network = water(near, dock(5 * NMI, 300, "Far Pump", confirmed_on="2026-06-01"))
    known = read_docks(network.region, BOAT, 0.5, WHEN.date())
    found = Fallbacks(network, BOAT, 20.0, known, [position(1000, 0)], (WHEN, WHEN)).within(0, 50.0, WHEN)
    assert [f.dock.name for f in found] == ["Far Pump", "Near Pump"]
    assert found[0].opens is None
    assert found[1].opens == WHEN.replace(hour=12)
    assert sum(nmi for _, nmi in found[0].way) == pytest.approx(found[0].track.distance_nmi, abs=0.1)


def test_after_a_part_fill_the_dial_begins_anew_and_the_level_doesnt():
    """18 l, six miles, a part fill: what was burnt before it is still doubted, and the dial shows the rest alone."""
    boat = make_boat(sd_share=0.1, burn_lph=(10.0, 20.0))
    network = water(dock(6 * NMI, 300, "Half Way Pump"), boat=boat, far_nmi=10.0)
    aboard = FuelAboard(mean_l=18.0, sd_l=0.0, how="as stated")
    trip = Trip(start="Home", finish="East End", depart=WHEN, aboard=aboard, fill="enough", closed_dock="off")
    passage = find_passage(network, trip)
    _, last = find_hops(passage.recommended, boat, aboard)
    assert last.burned_before_l == pytest.approx(6.1, abs=0.2)
    start = MeterStart(shows_l=(0.0,), factor=1.0, factor_sd=0.0, fillups=0, scatter_share=0.0)
    marks = [m for m in find_helm(passage, passage.recommended, start).marks if m.since == "Half Way Pump"]
    assert marks[-1].shows_l == pytest.approx(last.fuel_l, rel=1e-3)


def test_across_180_stations_go_the_short_way():
    middle = (179.9, 0.0)
    from routeplan.helm_marks import stations_of  # noqa: PLC0415  only here

    leg = find_hops(plan(water(*DOCKS), 60.0).plan, BOAT, FuelAboard(mean_l=60.0, sd_l=0.0, how="x"))[0].legs[0]
    hop = find_hops(plan(water(*DOCKS), 60.0).plan, BOAT, FuelAboard(mean_l=60.0, sd_l=0.0, how="x"))[0]
    across = leg.model_copy(update={"from_position": middle, "to_position": (-179.9, 0.0)})
    lons = [s.position[0] for s in stations_of(hop.__class__(**{**hop.__dict__, "legs": (across,)}))]
    assert min(abs(lon) for lon in lons) >= 179.9 - 1e-9


def test_water_where_land_lies_between_is_not_gone_through():
    """Off the route behind a wall of land: the way back is told stretch by stretch, and is longer than straight."""
    land = [(box(3 * NMI, -6 * NMI, 4 * NMI, 1000), {})]
    places = [waypoint(0, 0, "Home"), waypoint(9 * NMI, 0, "East End")]
    network = build_network(
        make_region(waypoints=places, docks=list(DOCKS), land=land), BOAT, Margins(standoff_m=5.0), when=WHEN
    )
    told = look(network, plan(network, 60.0), 2.0, 4.0, north_m=-4 * NMI, when=WHEN + timedelta(minutes=20), sure=True)
    straight = float(np.hypot(7.0, 4.0))
    assert told.standing.to_next_nmi > straight + 0.3
    assert len(told.standing.way) >= 2
    assert datetime(2026, 7, 1, tzinfo=UTC) < told.when
