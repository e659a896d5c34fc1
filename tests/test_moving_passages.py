"""Whole passages over moving water: rules kept when sailed; waits for slack and light where a boat can lie."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from oracles.moving_water import GEOD, made_good_kn
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, waypoint

from routeplan.asking import ask
from routeplan.building import build_network
from routeplan.currents import Currents, read_currents
from routeplan.earliest import EarliestSearch
from routeplan.fuel import FuelAboard, z_of
from routeplan.moving_tracks import MovingTracks
from routeplan.passage import find_passage
from routeplan.planner import Planner, find_conditions
from routeplan.plans import NoPassageError
from routeplan.sun import find_sun_day
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.problem import Label, Problem

DAY = datetime(2026, 7, 1, tzinfo=UTC)
AGREE_H = 5 / 3600  # a leg's hours against Runge and Kutta's of half its streams' steps
LAND = [(box(-4 * NMI_M, s * NMI_M, 4 * NMI_M, (s + 12) * NMI_M), {"name": "Side"}) for s in (-13.0, 1.0)]
RACE = box(-NMI_M, -1.5 * NMI_M, NMI_M, 1.5 * NMI_M)


def race(text: str, mean_kn: float = 0.0, shape: Any = RACE) -> list[Any]:
    """Make the layer of one stream that floods to the east."""
    row = {"name": "The Race", "flood_deg": 90, "ebb_deg": 270, "mean_kn": mean_kn, "constituents": text}
    return [(shape, row)]


def a_boat(kn: float = 8.0, **changes: Any) -> Any:
    """Make a boat of one litre a mile at 8 kn."""
    slow = min(4.0, kn / 2)
    given = {"speed_kn": (slow, kn), "burn_lph": (slow, kn), "cruising_speed_kn": kn, "no_wake_kn": slow, **changes}
    return make_boat(**given)


def aboard(mean_l: float, sd_l: float = 0.0) -> FuelAboard:
    """Say what is in the tank."""
    return FuelAboard(mean_l=mean_l, sd_l=sd_l, how="said")


@cache
def narrows(text: str, mean_kn: float = 0.0, kind: str = "harbour", *, docks: bool = False) -> tuple[Network, Currents]:
    """Build a strait 2 nmi wide and 8 long, with the race in its middle; A lies west of it, B east."""
    rows: dict[str, Any] = {"land": LAND, "currents": race(text, mean_kn)}
    rows["waypoints"] = [waypoint(-6 * NMI_M, 0, "A", kind), waypoint(6 * NMI_M, 0, "B")]
    if docks:
        rows["docks"] = [
            dock(-4 * NMI_M, -1.2 * NMI_M, "West Pump", price_gasoline_per_l=1.5, opening_hours="06:00-20:00"),
            dock(4 * NMI_M, 1.2 * NMI_M, "East Pump", opening_hours="06:00-20:00"),
            dock(8 * NMI_M, 2 * NMI_M, "Far Pump", opening_hours="06:00-20:00"),
        ]
    region = make_region(**rows)
    currents = read_currents(region)
    assert currents is not None
    return build_network(region, a_boat()), currents


def plan(
    network: Network, currents: Currents, depart: datetime, kn: float = 8.0, aboard_l: float = 100.0, **more: Any
) -> Passage:
    """Plan from A to B."""
    boat = more.pop("boat", a_boat(kn))
    trip = Trip(
        **{"start": "A", "finish": "B", "depart": depart, "aboard": aboard(aboard_l, 0.0), "speed_kn": kn, **more}
    )
    return find_passage(network, trip, boat=boat, now=min(DAY, depart), currents=currents)


def test_a_fair_and_a_foul_race_by_hand() -> None:
    """12 nmi at 8 kn, 2 of them in a steady 2 kn: 10 / 8 + 2 / 10 with it, 10 / 8 + 2 / 6 against it."""
    network, currents = narrows("S2 0.0001 0", 2.0)
    fair = plan(network, currents, DAY + timedelta(hours=9)).recommended
    assert fair.time_h == pytest.approx(10 / 8 + 2 / 10, abs=0.01)
    foul = plan(network, currents, DAY + timedelta(hours=9), start="B", finish="A").recommended
    assert foul.time_h == pytest.approx(10 / 8 + 2 / 6, abs=0.01)
    assert foul.fuel_l == pytest.approx(8 * foul.time_h, abs=0.1)
    assert not foul.still_water


def test_a_race_that_is_too_strong_is_waited_for_at_the_harbour() -> None:
    """From B west at 5 kn against the flood, S2 of 6 kn, greatest at 00:00: open from 35.24 / 30 = 1.175 h on.

    The race's edge is 5 nmi away, an hour: so 00:10.5 is the first departure, and 00:20 of every ten minutes.
    """
    network, currents = narrows("S2 6 0")
    found = plan(network, currents, DAY, 5.0, start="B", finish="A").recommended
    (wait,) = found.waits
    assert wait.gate == "slack water at The Race"
    assert wait.at == "B"
    assert wait.until == DAY + timedelta(minutes=20)
    assert wait.wait_h == pytest.approx(1 / 3)
    assert found.legs[0].depart == wait.until
    assert found.fuel_l < 100


def test_a_race_that_never_opens_is_no_way() -> None:
    network, currents = narrows("S2 0.0001 0", 6.0)
    with pytest.raises(NoPassageError):
        plan(network, currents, DAY, 5.0, start="B", finish="A")
    assert plan(network, currents, DAY, 5.0).recommended.time_h == pytest.approx(10 / 5 + 2 / 11, abs=0.01)


@cache
def refuelling() -> tuple[Network, Currents]:
    """Take the narrows with docks, in a tide."""
    return narrows("M2 3 40; M4 0.4 80", 0.3, docks=True)


def problem_of(trip: Trip, network: Network, currents: Currents, boat: Any) -> tuple[Planner, Problem, Label | None]:
    """Search a trip, down to its recommended label."""
    conditions = find_conditions(trip, currents, None)
    question, _ = ask(network, trip, boat, DAY, conditions)
    planner = Planner(question)
    problem, choice = planner.choose()
    return planner, problem, None if choice is None else choice.recommended


def run_again(planner: Planner, problem: Problem, label: Label, currents: Currents) -> list[tuple[float, float]]:
    """[h, l] Run every hop's bends again in steps of 50 m, at the stream of each place and moment."""
    conditions, rates = planner.question.conditions, planner.tracks[0].rates
    assert conditions is not None
    plane, found = planner.question.network.water.plane, []
    for step in label.path():
        if step.hop is None:
            continue
        track, at_s = step.hop.track, (problem.depart + timedelta(hours=step.hop.depart_h)).timestamp()
        litres, begun_s = 0.0, at_s
        for (a, b), kind in zip(pairwise(track.bends), track.kinds, strict=True):
            kn, lph = (rates.speed_kn[0], rates.burn_lph[0]) if kind == "leg" else (rates.slow_kn[0], rates.slow_lph[0])
            count = max(1, math.ceil(math.dist(a, b) / 50))
            for i in range(count):
                p, q = (a + (b - a) * (i + j) / count for j in (0, 1))
                ends = plane.to_lonlat([p, q])
                course, _, metres = GEOD.inv(*ends[0], *ends[1])
                east, north = currents.at(((p + q) / 2)[None], np.array([at_s]))
                flow = (0.0, 0.0) if math.isnan(east[0, 0]) else (float(east[0, 0]), float(north[0, 0]))
                hours = metres / NMI_M / made_good_kn(kn, course, *flow)
                at_s += 3600 * hours
                litres += lph * hours
        found.append(((at_s - begun_s) / 3600, litres))
    return found


@pytest.mark.parametrize("fill", ["full", "enough", "best"])
@pytest.mark.parametrize("hour", [8.5, *(pytest.param(h, marks=pytest.mark.slow) for h in (5, 12))])
def test_the_rules_hold_when_the_plan_is_run_again_leg_by_leg(fill: str, hour: float) -> None:
    """Reserve on arrival everywhere, opening hours, and way enough left at every dock if it turns out to be closed."""
    network, currents = refuelling()
    boat = a_boat(capacity_l=22.0, full_mark_l=22.0, reserve_l=4.0, sd_share=0.05)
    depart = DAY + timedelta(hours=hour)
    trip = Trip(
        start="A", finish="B", depart=depart, aboard=aboard(15.0, 0.3), via=("Far Pump",), fill=fill, speed_kn=8.0
    )  # type: ignore[arg-type]
    planner, problem, label = problem_of(trip, network, currents, boat)
    assert label is not None
    again = run_again(planner, problem, label, currents)
    level, burned, sd, z = 15.0, 0.0, 0.3, z_of(trip.confidence)
    steps = [s for s in label.path() if s.hop is not None]
    assert any(s.fill is not None for s in steps)
    for (hours, litres), step in zip(again, steps, strict=True):
        assert step.hop is not None
        assert step.hop.arrive_h - step.hop.depart_h == pytest.approx(hours, abs=AGREE_H)
        assert step.hop.track.fuel_l == pytest.approx(litres, abs=0.02)
        burned += litres
        low = level - burned - z * math.hypot(sd, 0.05 * burned)
        assert low >= 4.0 - 0.02
        if step.fill is None:
            continue
        begin = (depart + timedelta(hours=step.fill.begin_h)).time()
        end = (depart + timedelta(hours=step.fill.end_h)).time()
        assert timedelta(hours=6) <= timedelta(hours=begin.hour, minutes=begin.minute)
        assert end.hour < 20 or (end.hour, end.minute) == (20, 0)
        assert level - burned + step.fill.take_l <= 22 + 0.02
        if step.fill.to_mark:
            level, burned, sd = 22.0, 0.0, boat.full_mark_sd_l
        else:
            level += step.fill.take_l


@pytest.mark.parametrize("hour", [3.1, *(pytest.param(h, marks=pytest.mark.slow) for h in (0, 6.2, 9.3))])
def test_a_hop_is_about_as_early_as_the_network_allows(hour: float) -> None:
    """Against the earliest arrival, itself tested against all paths: merging bends may cost half a percent."""
    network, currents = narrows("M2 3 40; M4 0.4 80", 0.3)
    trip = Trip(start="B", finish="A", depart=DAY + timedelta(hours=hour), aboard=aboard(90, 0), speed_kn=8.0)
    planner, _, label = problem_of(trip, network, currents, a_boat())
    assert label is not None
    tracks = planner.tracks[0]
    assert isinstance(tracks, MovingTracks)
    earliest = EarliestSearch(tracks).find(planner.question.start, planner.question.targets[-1], 1.0)
    assert earliest is not None
    assert label.time_h <= (earliest.arrive_h - 1.0) * 1.005


@cache
def long_water(kind: str = "harbour") -> tuple[Network, Currents]:
    """Build 26 nmi of open water with a place to lie in the middle, and a race before it."""
    places = [waypoint(-13 * NMI_M, 0, "A"), waypoint(0, 3 * NMI_M, "Middle", kind), waypoint(13 * NMI_M, 0, "B")]
    region = make_region(
        0.35,
        "Atlantic/Azores",
        waypoints=places,
        currents=race("S2 2 0", 0, box(*(NMI_M * v for v in (-4, -9, -2, 9)))),
    )
    currents = read_currents(region)
    assert currents is not None
    return build_network(region, a_boat()), currents


def lit(network: Network, day: datetime) -> tuple[datetime, datetime]:
    """Tell sunrise and sunset at both ends: the narrower of the two."""
    zone = ZoneInfo("Atlantic/Azores")
    ends = [t.place.position for t in network.terminals if t.place.name in "AB"]
    days = [find_sun_day(p, day.astimezone(zone).date(), zone) for p in ends]
    return max(d.rises for d in days if d.rises), min(d.sets for d in days if d.sets)


@pytest.mark.parametrize("hour", [4, 18, *(pytest.param(h, marks=pytest.mark.slow) for h in (12, 20, 23))])
def test_legs_keep_to_daylight_with_an_hour_in_hand(hour: float) -> None:
    """At 4 kn 26 nmi take six and a half hours of a summer's day."""
    network, currents = long_water()
    found = plan(network, currents, DAY + timedelta(hours=hour), 4.0, daylight="sun", boat=a_boat(4.0)).recommended
    for leg in found.legs:
        rises, sets = lit(network, leg.depart)
        assert rises - timedelta(seconds=1) <= leg.depart
        assert leg.arrive <= sets - timedelta(hours=1) + timedelta(seconds=2)
    if hour in {18, 20, 23, 4}:
        assert any(wait.gate == "daylight" for wait in found.waits)


@pytest.mark.parametrize(("kind", "possible"), [("harbour", True), ("anchorage", True), ("mark", False)])
def test_a_passage_longer_than_its_hours_spends_the_night_at_a_harbour(kind: str, *, possible: bool) -> None:
    """26 nmi at 4 kn with 4 hours a day: a night at the middle, where a boat can lie there."""
    network, currents = long_water(kind)
    boat, depart = a_boat(4.0), DAY + timedelta(hours=10)
    if not possible:
        with pytest.raises(NoPassageError):
            plan(network, currents, depart, 4.0, boat=boat, daylight="sun", hours_per_day_h=4.5)
        return
    found = plan(network, currents, depart, 4.0, boat=boat, daylight="sun", hours_per_day_h=4.5).recommended
    (night,) = [wait for wait in found.waits if wait.gate == "daylight"]
    assert night.at == "Middle"
    assert night.until == depart + timedelta(days=1)
    by_day: dict[Any, list[datetime]] = {}
    for leg in found.legs:
        by_day.setdefault(leg.depart.date(), []).extend([leg.depart, leg.arrive])
    assert len(by_day) == 2
    assert all(max(times) - min(times) <= timedelta(hours=4.5, seconds=2) for times in by_day.values())


@pytest.mark.slow
def test_daylight_and_a_race_together_wait_for_both() -> None:
    """5 kn against 6: slack in the night is of no use; the first departure of the day from which it is open.

    S2 is greatest at 00:00 and 12:00, so shut from 10.825 to 13.175 h at its edge, an hour from B. It is light by six.
    """
    network, currents = narrows("S2 6 0")
    found = plan(network, currents, DAY + timedelta(hours=1), 5.0, start="B", finish="A", daylight="sun").recommended
    assert {wait.gate for wait in found.waits} <= {"daylight", "slack water at The Race"}
    rises = find_sun_day((-38.0, 44.0), DAY.date(), ZoneInfo("UTC")).rises
    assert rises is not None
    assert found.legs[0].depart >= rises - timedelta(minutes=2)
    assert found.legs[0].depart <= rises + timedelta(minutes=2)
    late = plan(network, currents, DAY + timedelta(hours=10, minutes=20), 5.0, start="B", finish="A", daylight="sun")
    assert DAY + timedelta(hours=12, minutes=10) <= late.recommended.legs[0].depart <= DAY + timedelta(hours=12.5)


def test_departures_beside_the_span_end_in_no_plan() -> None:
    """Before the currents that were laid out, and so late that they end under way: no plan, and no error."""
    network, currents = narrows("M2 3 40", 0.3)
    trip = Trip(start="A", finish="B", depart=DAY, aboard=aboard(90, 0), speed_kn=8.0)
    question, _ = ask(network, trip, a_boat(), DAY, find_conditions(trip, currents, None))
    planner = Planner(question)
    for away in (-30, 94.9, 200):
        _, choice = planner.choose(DAY + timedelta(hours=away))
        assert choice is None
    for away in (-0.5, 0, 40):
        _, choice = planner.choose(DAY + timedelta(hours=away))
        assert choice is not None


@pytest.mark.slow
def test_a_planner_asked_for_a_departure_answers_as_one_set_up_for_it() -> None:
    """To five seconds: a way taken up for one departure may serve another better than its own search would look."""
    network, currents = refuelling()
    trip = Trip(start="A", finish="B", depart=DAY, aboard=aboard(90, 0), speed_kn=8.0)
    question, _ = ask(network, trip, a_boat(), DAY, find_conditions(trip, currents, None, DAY + timedelta(hours=12)))
    planner = Planner(question)
    for hour in (0, 4, 8, 12):
        depart = DAY + timedelta(hours=hour)
        _, choice = planner.choose(depart)
        _, _, label = problem_of(trip.model_copy(update={"depart": depart}), network, currents, a_boat())
        assert choice is not None
        assert label is not None
        assert choice.recommended.time_h == pytest.approx(label.time_h, abs=AGREE_H)


def test_closed_docks_are_judged_by_the_most_that_leaving_may_take() -> None:
    """A dock whose alternate lies through the race: whoever fills there would have got there in its worst hour."""
    network, currents = refuelling()
    boat = a_boat(capacity_l=30.0, full_mark_l=30.0, reserve_l=4.0)
    trip = Trip(
        start="A", finish="B", depart=DAY + timedelta(hours=8), aboard=aboard(18.0, 0), via=("West Pump",), speed_kn=8.0
    )
    _, problem, label = problem_of(trip, network, currents, boat)
    assert label is not None
    for step in label.path():
        if step.hop is None or step.fill is None:
            continue
        left = step.before.mean_l - step.before.burned_l - step.hop.track.fuel_l if step.before else 0.0
        ways = [
            t
            for a, b, t in problem.graph.edges(data="track")
            if a == step.place and b in {*problem.docks, *problem.targets}
        ]
        worst = []
        for track in ways:
            departures = np.arange(0.0, 90.0, 0.25)
            worst.append(track.fuel_l if track.sailing is None else float(np.nanmax(track.sailing.many(departures)[1])))
        assert left - min(worst) >= problem.unusable_l - 1e-3
