"""The refuel search against every plan there is, on small dock graphs; and what must hold of any search."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import networkx as nx
import numpy as np
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from oracles.every_plan import Pump, Puzzle, Way, every_arrival, low_l, pareto

from layers.hours import read_hours
from routeplan.docks import Dock
from routeplan.search import Problem, find_labels
from routeplan.tracks import Track
from routeplan.water import Gate

if TYPE_CHECKING:
    from routeplan.search import Label

MIDNIGHT = datetime(2026, 7, 1, tzinfo=UTC)  # a Wednesday
UTC_ZONE = ZoneInfo("UTC")
MANY = max(300, settings().max_examples)  # most of these examples cost milliseconds


def a_track(time_h: float, fuel_l: float, gates: tuple[tuple[int, float, float], ...] = ()) -> Track:
    return Track(np.zeros((2, 2)), ("leg",), 20 * time_h, time_h, fuel_l, gates, ())


def a_dock(
    name: str, hours: str | None = None, lpm: float = 60.0, largest_l: float | None = None, zone: ZoneInfo = UTC_ZONE
) -> Dock:
    return Dock(
        name=name,
        row=0,
        position=(0, 0),
        hours=None if hours is None else read_hours(hours, zone),
        price_per_l=2.0,
        pump_lpm=lpm,
        largest_sale_l=largest_l,
        why_not=(),
        cautions=(),
        missing=(),
        facts={},
        stale=(),
    )


def a_problem(puzzle: Puzzle, **changes: Any) -> Problem:
    """Put a puzzle the product's way; the network lends nothing but its gates and its zone."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from([puzzle.start, *puzzle.targets, *puzzle.pumps])
    for (a, b), ways in puzzle.ways.items():
        for way in ways:
            graph.add_edge(a, b, track=a_track(way.time_h, way.fuel_l), time_h=way.time_h, fuel_l=way.fuel_l)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=()), region=SimpleNamespace(zone=UTC_ZONE))
    given_: dict[str, Any] = {
        "network": network,
        "graph": graph,
        "docks": {i: a_dock(f"dock {i}", p.text(), p.lpm, p.largest_l) for i, p in puzzle.pumps.items()},
        "start": puzzle.start,
        "targets": puzzle.targets,
        "depart": MIDNIGHT + timedelta(hours=puzzle.depart_of_day_h),
        "mean_l": puzzle.mean_l,
        "sd_l": puzzle.sd_l,
        "full_l": puzzle.full_l,
        "full_sd_l": puzzle.full_sd_l,
        "floor_l": puzzle.floor_l,
        "sd_share": puzzle.sd_share,
        "z": puzzle.z,
        "berthing_h": puzzle.berthing_h,
        "may_wait": frozenset(graph),
    }
    return Problem(**(given_ | changes))


QUARTERS = st.integers(1, 24).map(lambda n: n / 4)  # [h]
LITRES = st.integers(4, 70).map(float)


@st.composite
def pumps(draw: st.DrawFn) -> Pump:
    windows: tuple[tuple[int, int], ...] = ()
    if draw(st.booleans()):
        begin = draw(st.integers(0, 22)) * 60
        windows = ((begin, begin + 60 * draw(st.integers(1, 14))),)
        if windows[0][1] < 19 * 60 and draw(st.booleans()):
            second = windows[0][1] + 60 * draw(st.integers(1, 3))
            windows = (*windows, (second, second + 90))
    return Pump(draw(st.sampled_from([20.0, 40.0, 80.0])), draw(st.sampled_from([None, None, 40.0, 75.0])), windows)


@st.composite
def puzzles(draw: st.DrawFn) -> Puzzle:
    """Draw up to six places: start, destination, docks (the ends may be docks too), now and then a place to pass."""
    count = draw(st.sampled_from([3, 4, 5, 5, 5, 6]))
    places = list(range(count))
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for i in places:
        for j in places[i + 1 :]:
            if (i, j) == (0, 1) or draw(st.integers(0, 4)) == 0:  # never straight: most would need no stop
                continue
            quick = Way(draw(QUARTERS), draw(LITRES))
            both = (
                (quick, Way(quick.time_h + draw(QUARTERS), max(quick.fuel_l - draw(LITRES), 1.0)))
                if draw(st.booleans())
                else (quick,)
            )
            ways[i, j] = ways[j, i] = both
    targets = [1]
    if count > 3 and draw(st.booleans()):
        targets.insert(0, draw(st.sampled_from(places[2:])))
    dry = draw(st.sets(st.sampled_from(places), max_size=2))
    return Puzzle(
        ways=ways,
        pumps={i: draw(pumps()) for i in places if i not in dry},
        start=0,
        targets=tuple(targets),
        depart_of_day_h=float(draw(st.integers(0, 23))),
        mean_l=float(draw(st.integers(30, 100))),
        sd_l=draw(st.sampled_from([0.0, 2.0, 5.0])),
        full_l=95.0,
        full_sd_l=draw(st.sampled_from([0.0, 1.0])),
        floor_l=10.0,
        sd_share=draw(st.sampled_from([0.0, 0.06, 0.2])),
        z=draw(st.sampled_from([0.0, 1.2815515655446004])),
        berthing_h=draw(st.sampled_from([0.0, 0.25])),
    )


def front_of(problem: Problem) -> list[tuple[float, int]]:
    return sorted({(round(label.time_h, 6), label.stops) for label in find_labels(problem)})


@settings(max_examples=MANY)
@given(puzzles())
def test_the_front_is_that_of_every_plan(puzzle: Puzzle) -> None:
    """Time and stops: every point, none more; a fill that closing time cuts short waits for the next opening."""
    expected = sorted((round(t, 6), s) for t, s in pareto(every_arrival(puzzle)))
    event(f"{len(expected)} plans")
    found = front_of(a_problem(puzzle))
    assert [s for _, s in found] == [s for _, s in expected]
    assert [t for t, _ in found] == pytest.approx(
        [t for t, _ in expected], abs=1e-5
    )  # datetimes count whole microseconds


@settings(max_examples=MANY)
@given(puzzles())
def test_each_plan_keeps_the_rules_when_told_step_by_step(puzzle: Puzzle) -> None:
    """The path of every label: hops that exist, arrivals above the floor, fills to the mark, clocks that add up."""
    for end in find_labels(a_problem(puzzle)):
        path = end.path()
        mean_l, burned_l, sd_l, time_h = puzzle.mean_l, 0.0, puzzle.sd_l, 0.0
        passed = 0
        for before, step in itertools.pairwise(path):
            assert step.hop is not None
            assert (before.place, step.place) in puzzle.ways
            assert Way(step.hop.track.time_h, step.hop.track.fuel_l) in puzzle.ways[before.place, step.place]
            assert step.hop.depart_h == pytest.approx(time_h)
            time_h += step.hop.track.time_h
            burned_l += step.hop.track.fuel_l
            assert low_l(puzzle, mean_l, burned_l, sd_l) >= puzzle.floor_l - 1e-9
            if step.stage > passed:
                assert step.place == puzzle.targets[passed]
                passed += 1
            if step.fill is not None:
                pump = puzzle.pumps[step.place]
                assert step.fill.take_l == pytest.approx(max(puzzle.full_l - (mean_l - burned_l), 0))
                assert pump.largest_l is None or step.fill.take_l <= pump.largest_l
                assert step.fill.begin_h == pytest.approx(time_h + step.fill.wait_h)
                time_h = step.fill.end_h
                mean_l, burned_l, sd_l = max(puzzle.full_l, mean_l - burned_l), 0.0, puzzle.full_sd_l
            assert step.time_h == pytest.approx(time_h)
        assert passed == len(puzzle.targets)


def soonest_h(puzzle: Puzzle) -> float:
    front = front_of(a_problem(puzzle))
    return min((t for t, _ in front), default=float("inf"))


def fewest(puzzle: Puzzle) -> float:
    return min((s for _, s in front_of(a_problem(puzzle))), default=float("inf"))


@given(puzzles(), st.integers(1, 40))
def test_more_fuel_at_departure_never_hurts(puzzle: Puzzle, more_l: int) -> None:
    """Fills are to the mark, so more aboard means shorter ones: never later, never none, never a stop more."""
    richer = replace(puzzle, mean_l=puzzle.mean_l + more_l)
    assert soonest_h(richer) <= soonest_h(puzzle) + 1e-6
    assert fewest(richer) <= fewest(puzzle)


@given(puzzles(), st.integers(1, 10))
def test_a_lower_reserve_never_hurts(puzzle: Puzzle, less_l: int) -> None:
    kinder = replace(puzzle, floor_l=puzzle.floor_l - less_l)
    assert soonest_h(kinder) <= soonest_h(puzzle) + 1e-6
    assert fewest(kinder) <= fewest(puzzle)


@given(puzzles(), pumps())
def test_one_more_dock_never_hurts(puzzle: Puzzle, pump: Pump) -> None:
    spare = max(max(p) for p in [*puzzle.ways, (1, 1)]) + 1
    ways = dict(puzzle.ways)
    for place in range(spare):
        ways[place, spare] = ways[spare, place] = (Way(0.5, 5.0),)
    more = replace(puzzle, ways=ways, pumps={**puzzle.pumps, spare: pump})
    assert soonest_h(more) <= soonest_h(puzzle) + 1e-6
    assert fewest(more) <= fewest(puzzle)


@given(puzzles())
def test_more_confidence_never_helps(puzzle: Puzzle) -> None:
    assert soonest_h(replace(puzzle, z=0.0)) <= soonest_h(replace(puzzle, z=2.0)) + 1e-6


def in_line(*legs: tuple[float, float], pumps_at: dict[int, Pump], **changes: Any) -> Puzzle:
    """Places 0, 2, 3, ... in a row, the last one called 1, joined to the next by (hours, litres)."""
    order = [0, *range(2, len(legs) + 1), 1]
    ways = {}
    for (a, b), leg in zip(itertools.pairwise(order), legs, strict=True):
        ways[a, b] = ways[b, a] = (Way(*leg),)
    plain: dict[str, Any] = {
        "ways": ways,
        "pumps": pumps_at,
        "start": 0,
        "targets": (1,),
        "depart_of_day_h": 8.0,
        "mean_l": 50.0,
        "sd_l": 0.0,
        "full_l": 100.0,
        "full_sd_l": 0.0,
        "floor_l": 10.0,
        "sd_share": 0.0,
        "z": 0.0,
        "berthing_h": 0.25,
    }
    return Puzzle(**(plain | changes))


ALWAYS = Pump(60.0, None, ())


def only(problem: Problem) -> Label:
    (label,) = find_labels(problem)
    return label


def test_a_fill_by_hand() -> None:
    """50 l aboard, 30 to the dock, 80 on: arrives with 20, takes 80 at 60 l/min (80 s) and 15 min of berthing.

    2 h + 0.25 h + 80/3600 h + 4 h = 6.2722 h; 100 - 80 = 20 l left.
    """
    end = only(a_problem(in_line((2, 30), (4, 80), pumps_at={2: ALWAYS})))
    assert end.time_h == pytest.approx(2 + 0.25 + 80 / 3600 + 4)
    assert (end.stops, end.aboard_l) == (1, 20)
    assert end.cost == 160  # 80 l at 2


def test_the_arrival_rule_by_hand() -> None:
    """100 l full of sd 0, burn doubtful by 20 % at 2 sigma: 64 l burnt leave 100 - 64 - 25.6 = 10.4, 65 leave 9: no."""
    sure = {"sd_share": 0.2, "z": 2.0, "mean_l": 100.0}
    assert len(find_labels(a_problem(in_line((1, 64), pumps_at={}, **sure)))) == 1
    assert find_labels(a_problem(in_line((1, 65), pumps_at={}, **sure))) == []


def test_doubt_restarts_at_a_full_mark_only() -> None:
    """Two legs of 40 l at 20 % and 2 sigma. Past a place without fuel 100 - 80 - 32 < 10; filled between, it holds."""
    sure: dict[str, Any] = {"sd_share": 0.2, "z": 2.0, "mean_l": 100.0}
    dry = in_line((1, 40), (1, 40), pumps_at={}, **sure)
    assert find_labels(a_problem(replace(dry, targets=(2, 1)))) == []
    assert only(a_problem(in_line((1, 40), (1, 40), pumps_at={2: ALWAYS}, **sure))).stops == 1


@pytest.mark.parametrize(
    ("rules", "last_l", "onward_l"),
    [
        # 20 % at 2 sigma. Straight: 100 - 1.4 (40 + 24.5) = 9.7 < 10. Filled: 95 - 1.4 (36 + 24.5) = 10.3.
        ({"sd_share": 0.2, "z": 2.0}, 36, 24.5),
        # The departure's level: sd of 5 l, at 2 sigma. Straight: 100 - 10 - 40 - 43 = 7. Filled: 95 - 40 - 43 = 12.
        ({"sd_l": 5.0, "z": 2.0}, 40, 43.0),
    ],
)
def test_more_in_the_tank_is_not_enough_where_it_is_less_sure(
    rules: dict[str, float], last_l: float, onward_l: float
) -> None:
    """Via 3: straight there with 60 l left, sooner and without a stop, or by the dock with a little less and surer."""
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        (0, 3): (Way(1, 40),),
        (0, 2): (Way(1, 10),),
        (2, 3): (Way(1, last_l),),
        (3, 1): (Way(1, onward_l),),
    }
    plain = in_line((1, 5), pumps_at={}, mean_l=100.0, **rules)
    puzzle = replace(plain, ways=ways, pumps={2: ALWAYS}, targets=(3, 1), full_l=95.0)
    assert only(a_problem(puzzle)).stops == 1


def test_waiting_past_midnight() -> None:
    """Open 06:00 to 08:00; leaves at 20:00, there at 22:00: waits eight hours, over midnight."""
    pump = Pump(60.0, None, ((360, 480),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump}, depart_of_day_h=20.0)))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(8)
    assert end.time_h == pytest.approx(2 + 8 + 0.25 + 80 / 3600 + 1)


def test_hours_that_span_midnight_are_one_opening() -> None:
    """Open 22:00 to 02:00; there at 23:50 for a fill that ends at 00:06:20."""
    pump = Pump(60.0, None, ((22 * 60, 26 * 60),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump}, depart_of_day_h=21 + 5 / 6)))
    assert end.path()[1].fill is not None
    assert end.time_h == pytest.approx(2 + 0.25 + 80 / 3600 + 1, abs=1e-6)


def test_a_dock_that_closes_before_the_fill_is_done_is_waited_for() -> None:
    """There at 10:00 for 0.25 h + 80/20/60 h = 19 min; open until 10:15: not before 08:00 next day, 22 h on."""
    pump = Pump(20.0, None, ((480, 615),))
    end = only(a_problem(in_line((2, 30), (1, 80), pumps_at={2: pump})))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(22)


def test_a_largest_sale_that_does_not_fill_the_tank_is_no_stop() -> None:
    """80 l are needed to the mark: a dock that sells 79 at most is none, one that sells 80 is."""
    assert find_labels(a_problem(in_line((2, 30), (4, 80), pumps_at={2: Pump(60.0, 79.0, ())}))) == []
    assert only(a_problem(in_line((2, 30), (4, 80), pumps_at={2: Pump(60.0, 80.0, ())}))).stops == 1


@pytest.mark.parametrize(
    ("depart", "wait_h"),
    [
        # 25 October 2026, 01:00 UTC: from UTC+0 to UTC-1. 08:00 there is 08:00 UTC on the 24th, 09:00 on the 25th.
        ("2026-10-24T04:00+00:00", 2.0),
        ("2026-10-24T20:00+00:00", 11.0),
        # 29 March 2026, 01:00 UTC: from UTC-1 to UTC+0. 08:00 is 09:00 UTC on the 28th, 08:00 on the 29th.
        ("2026-03-28T20:00+00:00", 10.0),
        ("2026-03-28T04:00+00:00", 3.0),
    ],
)
def test_waiting_over_a_change_of_clocks(depart: str, wait_h: float) -> None:
    """Two hours to a dock open 08:00 to 18:00 by the clock on the wall."""
    azores = ZoneInfo("Atlantic/Azores")
    puzzle = in_line((2, 30), (1, 80), pumps_at={2: ALWAYS})
    docks = {2: a_dock("wall clock", "08:00-18:00", zone=azores)}
    end = only(a_problem(puzzle, docks=docks, depart=datetime.fromisoformat(depart)))
    fill = end.path()[1].fill
    assert fill is not None
    assert fill.wait_h == pytest.approx(wait_h)


def gated(hours: str | None, offset_h: float, lasts_h: float = 0.0) -> Problem:
    gate = Gate("Leaf", "bridge", hours, True, 0.0, "", ((0, 0), (0, 0)))  # noqa: FBT003  must open
    problem = a_problem(in_line((2, 30), pumps_at={}))
    graph = nx.MultiDiGraph()
    graph.add_edge(0, 1, track=a_track(2, 30, ((0, offset_h, offset_h + lasts_h),)), time_h=2, fuel_l=30)
    network: Any = SimpleNamespace(water=SimpleNamespace(gates=(gate,)), region=SimpleNamespace(zone=UTC_ZONE))
    return replace(problem, graph=graph, network=network, may_wait=frozenset({0}))


def test_a_gate_that_is_shut_is_waited_for_before_leaving() -> None:
    """Leaves at 08:00, at the bridge at 09:30, which opens at 11:00: leaves at 09:30."""
    end = only(gated("11:00-12:00", 1.5))
    assert end.hop is not None
    assert (end.hop.wait_h, end.hop.gate) == (pytest.approx(1.5), "Leaf")
    assert end.time_h == pytest.approx(3.5)
    assert only(gated(None, 1.5)).time_h == pytest.approx(2)
    assert only(gated("09:00-10:00", 1.5)).time_h == pytest.approx(2)


def test_a_gate_has_to_stay_open_until_the_boat_is_through() -> None:
    """At the bridge at 09:30 and through by 09:50; it shuts at 09:40 and opens again from 13:00: leaves at 11:30."""
    end = only(gated("08:00-09:40,13:00-15:00", 1.5, 1 / 3))
    assert end.hop is not None
    assert end.hop.wait_h == pytest.approx(3.5)


def test_no_boat_waits_where_it_can_not_lie() -> None:
    assert find_labels(replace(gated("11:00-12:00", 1.5), may_wait=frozenset())) == []


def test_targets_are_passed_in_order() -> None:
    """0 - 2 - 1 in a row and 3 beyond 1: via 3 the way is 0 2 1 3 1."""
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for a, b in ((0, 2), (2, 1), (1, 3)):
        ways[a, b] = ways[b, a] = (Way(1.0, 5.0),)
    puzzle = replace(
        in_line((1, 5), pumps_at={}), ways=ways, pumps={2: ALWAYS, 1: ALWAYS}, targets=(3, 1), mean_l=100.0
    )
    fewest_stops = min(find_labels(a_problem(puzzle)), key=lambda label: label.stops)
    assert fewest_stops.path()[-1].stage == 2
    assert [step.place for step in fewest_stops.path()][-2:] == [3, 1]
