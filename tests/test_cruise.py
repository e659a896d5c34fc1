"""The group cruise from what is asked to what is told, on the demo region and, by hand, on small water.

Every plan is followed anew by `oracles/cruises_followed.py`; a group of one is held against `find_passage`; what must
not matter, such as the order of the boats, is changed and must not matter.
"""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest
from oracles.cruises_followed import draw_fleet, faults_of, overlaps, way_out
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, waypoint

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.cruise import find_cruise
from routeplan.cruise_asked import CruiseAsked, CruiseBoat, DockTold, Visit
from routeplan.cruises import NoCruiseError
from routeplan.docks import read_docks
from routeplan.fuel import FuelAboard, full
from routeplan.margins import Margins
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.tracks import Tracks
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from layers.region import Region
    from routeplan.boats import Boat
    from routeplan.cruise import Cruise
    from routeplan.cruise_telling import Told
    from routeplan.cruises import CruiseStop
    from routeplan.network import Network

    Find = Callable[[CruiseAsked], Cruise]
    Build = Callable[[Boat], Network]

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)  # the day the demo's data are dated
DEPART = datetime(2026, 7, 4, 8, 30, tzinfo=UTC)  # a Saturday; the Azores' summer clock is UTC
EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
LOOP = ("Tolvarrow", "Callowhythe", "Wickmarrow", "Tamblewick", "Tolvarrow")
DAY_BOATS = ("Quick Errand", "Salt Biscuit", "Second Opinion")
SECOND = timedelta(seconds=1)


@pytest.fixture(scope="module")
def build(demo: Region, cache_with_demo: Path) -> Build:
    """Build each water of the demo once: tracks that were found on it are kept with it."""
    known: dict[tuple[object, ...], Network] = {}

    def find(boat: Boat) -> Network:
        key = (boat.draught_m, boat.air_draught_m, boat.no_wake_kn, boat.burn.unsteady_kn)
        if key not in known:
            known[key] = build_network(demo, boat, cache=cache_with_demo)
        return known[key]

    return find


@pytest.fixture(scope="module")
def find(demo: Region, build: Build) -> Find:
    """Plan a cruise on the demo."""
    return partial(find_cruise, region=demo, margins=Margins(), build=build, now=NOW)


def _one(boat: Boat, aboard: FuelAboard | None = None, name: str = "") -> CruiseBoat:
    named = boat.model_copy(update={"name": name or boat.name})
    return CruiseBoat(name=named.name, boat=named, aboard=aboard or full(boat), file="boat.toml")


def _litres(mean_l: float, sd_l: float = 5.0) -> FuelAboard:
    return FuelAboard(mean_l=mean_l, sd_l=sd_l, how="stated")


def _asked(visits: Sequence[str | Visit], boats: Sequence[CruiseBoat], **more: Any) -> CruiseAsked:
    places = tuple(Visit(place=v) if isinstance(v, str) else v for v in visits)
    return CruiseAsked(**({"depart": DEPART, "visits": places, "boats": tuple(boats)} | more))


def _day_boats(demo_boats: dict[str, Boat]) -> list[Boat]:
    return [demo_boats[name] for name in DAY_BOATS]


def _part_full(demo_boats: dict[str, Boat], *shares: float) -> list[CruiseBoat]:
    """Make as many boats as shares of a full tank are told, of the day boats in turn."""
    models = itertools.cycle(_day_boats(demo_boats))
    return [
        _one(boat, _litres(share * boat.tank.full_mark_l), f"Boat {number}")
        for number, (boat, share) in enumerate(zip(models, shares, strict=False), start=1)
    ]


def _docks_of(cruise: Cruise) -> list[list[str]]:
    return [[stop.dock for stop in one.plan.stops] for one in cruise.plan.boats]


# a group of one is a passage


@pytest.mark.parametrize(
    ("name", "visits", "share"),
    [
        pytest.param("Quick Errand", ("Tolvarrow", "Ettermoy"), 1.0, marks=pytest.mark.slow),
        ("Quick Errand", ("Tolvarrow", "Wickmarrow", "Ettermoy"), 0.6),
        ("Quick Errand", LOOP, 0.6),
        pytest.param("Salt Biscuit", ("Ettermoy", "Tamblewick", "Callowhythe"), 0.6, marks=pytest.mark.slow),
        pytest.param("Salt Biscuit", ("Tolvarrow", "Ettermoy"), 1.0, marks=pytest.mark.slow),
        pytest.param("Second Opinion", ("Tolvarrow", "Wickmarrow", "Ettermoy"), 0.6, marks=pytest.mark.slow),
        pytest.param("Tall Story", ("Ettermoy", "Tolvarrow"), 0.6, marks=pytest.mark.slow),
    ],
)
def test_a_group_of_one_is_a_passage(
    name: str, visits: tuple[str, ...], share: float, demo_boats: dict[str, Boat], build: Build, find: Find
) -> None:
    boat = demo_boats[name]
    aboard = full(boat) if share == 1.0 else _litres(share * boat.tank.full_mark_l)
    asked = _asked(visits, [_one(boat, aboard)], gather_h=0.0, daylight=False)
    mine = find(asked).plan.boats[0].plan
    trip = Trip(start=visits[0], via=visits[1:-1], finish=visits[-1], depart=DEPART, aboard=aboard)
    alone = find_passage(build(boat), trip, now=NOW).fewest_stops
    assert [s.dock for s in mine.stops] == [s.dock for s in alone.stops]
    assert mine.stops or name in DAY_BOATS or share == 1.0
    for one, other in zip(mine.stops, alone.stops, strict=True):
        assert (one.arrive, one.begin, one.depart) == (other.arrive, other.begin, other.depart)
        assert one.take_l == pytest.approx(other.take_l, abs=1e-6)
        assert one.alternate is not None
        assert other.alternate is not None
        assert one.alternate.name == other.alternate.name
        assert one.alternate.left_l == pytest.approx(other.alternate.left_l, abs=1e-6)
    figures = ("time_h", "distance_nmi", "fuel_l", "least_margin_l", "aboard_on_arrival_low_l", "chance_reserve_kept")
    for figure in figures:
        assert getattr(mine, figure) == pytest.approx(getattr(alone, figure), abs=1e-6), figure
    assert mine.track == alone.track


# identical boats, by hand


def _row_of_three(**columns: object) -> Region:
    """Lay out Aye, a dock with one pump 9 nmi to the east, and Bee another 9 nmi on; open water throughout."""
    return make_region(
        land=[(box(17000, 25000, 17100, 25100), {"name": "Rock"})],
        docks=[dock(0, 0, "Half Way", **({"confirmed_on": "2026-06-01", "pump_lpm": 60.0, "pumps": 1} | columns))],
        waypoints=[waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")],
    )


@pytest.mark.parametrize(("pumps", "turns"), [(1, 4), (2, 2)])
def test_identical_boats_are_one_and_the_queue(pumps: int, turns: int) -> None:
    """25 l aboard: at the dock with 16, each takes 84 to the mark: 15 min and 84 s, or 0.2733 h.

    Of four at one pump the last begins after three such turns, at two pumps after one; and all go on together.
    """
    region, boat = _row_of_three(pumps=pumps), make_boat()
    build = partial(build_network, region)
    fleet = [_one(boat, _litres(25, 0.0), f"Clone {n}") for n in range(1, 5)]
    more = {"depart": EIGHT, "confidence": 0.5, "gather_h": 0.0, "daylight": False}
    plans = [
        find_cruise(_asked(("Aye", "Bee"), boats, **more), region, Margins(), build=build, now=EIGHT).plan
        for boats in (fleet[:1], fleet)
    ]
    alone, group = plans
    (stop,) = group.stops
    turn = timedelta(hours=0.25, seconds=84)
    begins = sorted(each.begin for each in stop.boats)
    for number, begin in enumerate(begins):
        assert abs(begin - stop.arrive - number // pumps * turn) < SECOND
    assert abs(group.arrive - alone.arrive - (turns - 1) * turn) < SECOND
    assert group.queue_min == pytest.approx((turns - 1) * 16.4, abs=0.02)
    assert [one.plan.stops[0].dock for one in group.boats] == ["Half Way"] * 4
    assert all(one.plan.track == alone.boats[0].plan.track for one in group.boats)
    assert (stop.order, group.docks_proven, group.delay_gap_h) == ("proven", True, 0.0)


@pytest.mark.slow
def test_identical_boats_take_the_docks_of_one(demo_boats: dict[str, Boat], find: Find) -> None:
    boat = demo_boats["Quick Errand"]
    fleet = [_one(boat, name=f"Clone {n}") for n in range(1, 4)]
    more: dict[str, Any] = {"gather_h": 0.0, "daylight": False}
    alone, group = (find(_asked(("Tolvarrow", "Ettermoy"), boats, **more)) for boats in (fleet[:1], fleet))
    assert _docks_of(group) == _docks_of(alone) * 3
    queues = sum((s.depart - s.arrive for s in group.plan.stops), timedelta())
    alongside = sum((s.depart - s.arrive for s in alone.plan.stops), timedelta())
    assert abs(group.plan.arrive - alone.plan.arrive - (queues - alongside)) < SECOND
    assert queues > 2.9 * alongside  # one gasoline pump each, and as much to take for each


# the rules, followed anew

RUNS: dict[str, tuple[str | Visit, ...]] = {
    "across": ("Tolvarrow", "Ettermoy"),
    "loop": LOOP,
    "stay": ("Ettermoy", Visit(place="Larkhythe", stay_h=1.5), "Callowhythe"),
    "days": (
        "Tolvarrow",
        "Tamblewick",
        Visit(place="Callowhythe", night=True),
        Visit(place="Larkhythe", leave=datetime(2026, 7, 5, 14, tzinfo=UTC)),
        Visit(place="Vellistrand", night=True),
        "Ettermoy",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seed", "count", "run", "more"),
    [
        (0, 3, "across", {"pace": "together", "daylight": False}),
        (0, 3, "loop", {"pace": "own", "daylight": False}),
        pytest.param(1, 4, "across", {"pace": "own", "daylight": False}, marks=pytest.mark.slow),
        pytest.param(
            2, 5, "loop", {"pace": "together", "daylight": False, "longest_wait_h": 0.5}, marks=pytest.mark.slow
        ),
        pytest.param(3, 6, "loop", {"pace": "own", "daylight": False}, marks=pytest.mark.slow),
        pytest.param(4, 3, "stay", {"pace": "own", "daylight": False}, marks=pytest.mark.slow),
        pytest.param(5, 4, "days", {"pace": "together"}, marks=pytest.mark.slow),
        pytest.param(6, 8, "days", {"pace": "own"}, marks=pytest.mark.slow),
    ],
)
def test_every_rule_is_kept(
    seed: int, count: int, run: str, more: dict[str, Any], demo: Region, demo_boats: dict[str, Boat], find: Find
) -> None:
    """Boats with drawn tanks, fuel and speeds: arrivals, pumps, hours, waits and the group's clock."""
    fleet = draw_fleet(seed, count, _day_boats(demo_boats))
    cruise = find(_asked(RUNS[run], fleet, leave_behind=True, **more))
    assert faults_of(cruise.asked, cruise.plan, demo) == []
    assert cruise.plan.stops


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", "own"])
@pytest.mark.parametrize("run", list(RUNS))
@pytest.mark.parametrize("seed", range(100, 102))
def test_every_rule_is_kept_by_many(
    seed: int, run: str, pace: str, demo: Region, demo_boats: dict[str, Boat], build: Build, find: Find
) -> None:
    """The same with more fleets, the closed-dock rule, and every boat left behind refused by herself too."""
    fleet = draw_fleet(seed, 3 + seed % 6, list(demo_boats.values()) if seed % 3 == 0 else _day_boats(demo_boats))
    asked = _asked(RUNS[run], fleet, leave_behind=True, pace=pace, daylight=False)
    cruise = find(asked)
    assert faults_of(cruise.asked, cruise.plan, demo) == []
    assert _ways_out_missing(cruise, demo) == []
    places = [v.place for v in asked.visits]
    for left in cruise.plan.left_behind if pace == "own" else ():
        entry = next(each for each in fleet if each.name == left.boat)
        trip = Trip(start=places[0], via=tuple(places[1:-1]), finish=places[-1], depart=DEPART, aboard=entry.aboard)
        with pytest.raises(NoPassageError):
            find_passage(build(entry.boat), trip, now=NOW)


@pytest.mark.slow
def test_every_stop_leaves_a_way_out(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    """The closed-dock rule, looked for anew by breadth first search over the burns of the cheapest tracks."""
    fleet = draw_fleet(0, 3, _day_boats(demo_boats))
    cruise = find(_asked(RUNS["loop"], fleet, pace="own", daylight=False))
    assert cruise.plan.stops
    assert _ways_out_missing(cruise, demo) == []


def _ways_out_missing(cruise: Cruise, region: Region) -> list[str]:
    """List the stops from which no way out is found; burns are those of the least fuel, so that none is overlooked."""
    missing = []
    for told in cruise.told:
        boat, plan = told.party.boats[told.member].boat, told.boat.plan
        if not plan.stops:
            continue
        docks = [d.name for d in read_docks(region, boat, Margins().under_keel_m, NOW.date()) if d.suits]
        burn_l = _burns(told, docks)
        aboard = told.party.boats[told.member].aboard
        level_l, sd_l = aboard.mean_l, aboard.sd_l
        for stop in plan.stops:
            group = next(each for each in cruise.plan.stops if each.dock == stop.dock and _is_at(each, told.boat.boat))
            ahead = [visit.place for visit in cruise.asked.visits[group.leg :]]
            arrival = (level_l, level_l - stop.aboard_l, sd_l)
            if not way_out(stop.dock, docks, ahead, burn_l, arrival, boat, cruise.asked.confidence):
                missing.append(f"{told.boat.boat} at {stop.dock}")
            if stop.alternate is None or not stop.keeps_closed_dock_rule:
                missing.append(f"{told.boat.boat} isn't told of one at {stop.dock}")
            level_l, sd_l = boat.tank.full_mark_l, boat.full_mark_sd_l
    return missing


def _is_at(stop: CruiseStop, boat: str) -> bool:
    return any(turn.boat == boat for turn in stop.boats)


def _burns(told: Told, docks: Sequence[str]) -> dict[tuple[str, str], float]:
    network, party = told.party.network, told.party
    names = {t.place.name: i for i, t in enumerate(network.terminals) if t.place.kind == "dock" and t.entries}
    places = {name: names[name] for name in docks if name in names}
    places |= {visit.place: v for visit, v in zip(party.asked.visits, party.visits, strict=True)}
    at = {i: name for name, i in places.items()}
    boat = party.boats[told.member].boat
    tracks = Tracks(network, boat, party.speed_kn, rates=party.rates[told.member])
    found = tracks.find(itertools.permutations(places.values(), 2))
    return {(at[a], at[b]): min(track.fuel_l for track in several) for (a, b), several in found.items()}


# speeds


@pytest.mark.slow
def test_together_all_go_at_one_speed(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    """The cruising speeds are 26, 24 and 18 kn: none is driven beyond hers, so that all go at 18."""
    cruise = find(_asked(("Tolvarrow", "Callowhythe"), [_one(b) for b in _day_boats(demo_boats)]))
    assert cruise.plan.speed_kn == 18.0
    assert faults_of(cruise.asked, cruise.plan, demo) == []
    clocks = [[(leg.depart, leg.arrive, leg.speed_kn) for leg in one.plan.legs] for one in cruise.plan.boats]
    assert clocks[0] == clocks[1] == clocks[2]
    assert max(speed for _, _, speed in clocks[0]) == 18.0


@pytest.mark.parametrize(
    ("asked_kn", "said"),
    [
        (
            12.0,
            ("Quick Errand can't hold a speed between 10 and 17 kn", "9 kn or 17 kn"),
        ),  # the humps 10-17, 9-16, 9-14
        (30.0, ("Second Opinion makes 24 kn at the most", "24 kn")),
        (3.0, ("the least that Quick Errand's file speaks of",)),
    ],
)
def test_a_speed_that_a_boat_cannot_hold(
    asked_kn: float, said: tuple[str, ...], demo_boats: dict[str, Boat], find: Find
) -> None:
    with pytest.raises(InputError) as caught:
        find(_asked(("Tolvarrow", "Callowhythe"), [_one(b) for b in _day_boats(demo_boats)], speed_kn=asked_kn))
    assert caught.value.where == "speed_kn"
    text = str(caught.value)
    assert all(words in text for words in said), text
    assert "\n" not in text


# at their own pace


@pytest.mark.slow
def test_at_their_own_pace_the_group_gathers(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    """Leaves Larkhythe 1 h 45 min after the last is in: stay 1.5 h, gather a quarter."""
    cruise = find(_asked(RUNS["stay"], [_one(b) for b in _day_boats(demo_boats)], pace="own", daylight=False))
    first, second = cruise.plan.legs
    assert first.last_in - first.first_in > timedelta(hours=1)  # 26 kn and 18 kn over 70 miles
    assert abs(second.depart - first.last_in - timedelta(hours=1.75)) < SECOND
    assert {one.plan.speeds_kn[0] for one in cruise.plan.boats} == {18.0, 24.0, 26.0}
    assert faults_of(cruise.asked, cruise.plan, demo) == []


def test_overlaps_are_seen(demo_boats: dict[str, Boat], find: Find) -> None:
    """The oracle itself: a queue with a turn moved onto the one before is a fault."""
    fleet = [_one(demo_boats["Quick Errand"], name=f"Clone {n}") for n in range(2)]
    stop = find(_asked(LOOP, fleet)).plan.stops[0]
    one, two = stop.boats
    assert not overlaps([one, two], shared=stop.shared)
    moved = two.model_copy(update={"begin": two.begin - timedelta(minutes=5)})
    assert overlaps([one, moved], shared=stop.shared)


# refusals


@pytest.mark.slow
def test_a_boat_that_cannot_make_the_first_leg(demo_boats: dict[str, Boat], build: Build, find: Find) -> None:
    """12 l above what can't be drawn and the reserve carry Salt Biscuit to no dock from the open coast."""
    quick, salt, second = _day_boats(demo_boats)
    fleet = [_one(quick), _one(salt, _litres(45, 3)), _one(second)]
    visits = ("Farrow Bight", "Callowhythe")
    with pytest.raises(NoCruiseError) as caught:
        find(_asked(visits, fleet))
    refusal = caught.value.refusal
    assert [left.boat for left in refusal.boats] == ["Salt Biscuit"]
    (left,) = refusal.boats
    assert (left.from_, left.short_l is not None and left.short_l > 0) == ("Farrow Bight", True)
    assert f"Salt Biscuit can't come from Farrow Bight to {left.to}" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert left.why in refusal.why
    trip = Trip(start=visits[0], finish=visits[1], depart=DEPART, aboard=fleet[1].aboard, speed_kn=18.0)
    with pytest.raises(NoPassageError) as alone:  # and by herself she is as short, at the group's speed of 18 kn
        find_passage(build(salt), trip, now=NOW)
    assert alone.value.refusal.to == left.to
    assert alone.value.refusal.short_l == pytest.approx(left.short_l, abs=0.5)


@pytest.mark.slow
def test_she_is_left_behind_where_that_was_asked(demo_boats: dict[str, Boat], find: Find) -> None:
    quick, salt, _ = _day_boats(demo_boats)
    fleet, visits = [_one(quick), _one(salt, _litres(45, 3))], ("Farrow Bight", "Callowhythe")
    cruise = find(_asked(visits, fleet, leave_behind=True))
    assert [left.boat for left in cruise.plan.left_behind] == ["Salt Biscuit"]
    assert [one.boat for one in cruise.plan.boats] == ["Quick Errand"]
    alone = find(_asked(visits, fleet[:1]))
    assert cruise.plan.boats[0].plan.stops == alone.plan.boats[0].plan.stops
    assert cruise.plan.arrive == alone.plan.arrive
    with pytest.raises(NoCruiseError):  # nobody is left
        find(_asked(visits, fleet[1:], leave_behind=True))


@pytest.mark.slow
def test_no_dock_with_diesel(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    layer = demo.layer("docks")
    closed = tuple(DockTold(name=str(n), closed=True) for n in layer["name"][layer["fuels"].str.contains("diesel")])
    fleet = [_one(demo_boats["Salt Biscuit"]), _one(demo_boats["Second Opinion"])]
    with pytest.raises(NoCruiseError) as caught:
        find(_asked(LOOP, fleet, docks=closed))
    assert [left.boat for left in caught.value.refusal.boats] == ["Second Opinion"]
    assert "no dock that sells diesel and suits her can be reached" in str(caught.value)


@pytest.mark.slow
def test_a_day_longer_than_daylight(demo_boats: dict[str, Boat], find: Find) -> None:
    """Some 124 nmi at 8 kn, from half past eight, are run at midnight: 16:34 on the clock there at the soonest."""
    with pytest.raises(NoCruiseError) as caught:
        find(_asked(("Tolvarrow", "Larkhythe"), [_one(demo_boats["Tall Story"])]))
    text = str(caught.value)
    assert "day 1, Tolvarrow to Larkhythe, would last until 2026-07-04 23:59" in text
    assert "after sunset at 22:16" in text
    assert "\n" not in text
    assert caught.value.refusal.boats == ()


@pytest.mark.slow
def test_a_day_too_long_by_the_fuelling(demo_boats: dict[str, Boat], find: Find) -> None:
    """Day boats at 18 kn would be in by daylight from 08:30; leaving late enough, the queue is what is too much."""
    fleet, visits = [_one(boat) for boat in _day_boats(demo_boats)], LOOP
    plan = find(_asked(visits, fleet, daylight=False)).plan
    (day,) = plan.days
    assert day.light_left_min is not None
    fuelling_min = max(one.delay_h for one in plan.boats) * 60
    later = timedelta(minutes=day.light_left_min + fuelling_min / 2)  # in by dark without fuelling, and not with it
    with pytest.raises(NoCruiseError) as caught:
        find(_asked(visits, fleet, depart=DEPART + later))
    text = str(caught.value)
    assert "day 1, Tolvarrow to Tolvarrow, would last from" in text
    assert "after sunset at 22:2" in text
    assert "fuelling takes" in text
    assert "\n" not in text


def test_a_day_that_begins_before_sunrise(demo_boats: dict[str, Boat], find: Find) -> None:
    early = DEPART.replace(hour=4, minute=0)
    with pytest.raises(NoCruiseError, match="would begin at 04:00 from Tolvarrow, before sunrise at 06:5") as caught:
        find(_asked(("Tolvarrow", "Callowhythe"), [_one(demo_boats["Quick Errand"])], depart=early))
    assert "\n" not in str(caught.value)
    assert find(_asked(("Tolvarrow", "Callowhythe"), [_one(demo_boats["Quick Errand"])], depart=early, daylight=False))


def test_an_unknown_dock_is_refused_with_near_names(demo_boats: dict[str, Boat], find: Find) -> None:
    told = DockTold(name="Callowhythe Fuel Peer", closed=True)
    with pytest.raises(InputError) as caught:
        find(_asked(LOOP, [_one(demo_boats["Quick Errand"])], docks=(told,)))
    assert caught.value.where == "[[dock]]"
    assert "Callowhythe Fuel Pier" in caught.value.remedy


def test_two_boats_with_one_name(demo_boats: dict[str, Boat]) -> None:
    fleet = [_one(demo_boats["Quick Errand"]), _one(demo_boats["Salt Biscuit"], name="quick  errand")]
    with pytest.raises(InputError, match="two boats have one name"):
        _asked(LOOP, fleet)


# a boat that needs other water


@pytest.mark.slow
def test_a_tall_boat_goes_round_and_meets_the_others(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    """The bridge of 4.1 m in Vindelsay Gate: day boats pass it, 14.5 m doesn't; round outside it is twice as far."""
    visits = ("Vindelsay Pool", "Gorrimay Cove", "Rostermay")
    cruise = find(_asked(visits, [_one(boat) for boat in demo_boats.values()], speed_kn=8.0))
    plan = cruise.plan
    assert {one.boat: one.party for one in plan.boats} == dict.fromkeys(DAY_BOATS, 1) | {"Tall Story": 2}
    tall = next(one for one in plan.boats if one.boat == "Tall Story")
    assert "her water would cost the others" in tall.why_apart
    assert all(one.why_apart == "" for one in plan.boats if one is not tall)
    assert not plan.one_set
    assert faults_of(cruise.asked, plan, demo) == []  # all leave each visit together among it
    near = next(one for one in plan.boats if one is not tall)
    assert tall.plan.distance_nmi > near.plan.distance_nmi + 10
    assert plan.legs[0].last_in - plan.legs[0].first_in > timedelta(hours=1)


@pytest.mark.slow
def test_a_tall_boat_goes_along_where_that_costs_nothing(demo_boats: dict[str, Boat], find: Find) -> None:
    plan = find(_asked(("Tamblewick", "Kestorin"), [_one(b) for b in demo_boats.values()], speed_kn=8.0)).plan
    assert plan.one_set
    assert {one.party for one in plan.boats} == {1}


# what must not matter, and what can only help


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", "own"])
def test_more_fuel_never_needs_more_docks(pace: str, demo_boats: dict[str, Boat], find: Find) -> None:
    needed = []
    for share in (0.6, 0.8, 1.0):
        fleet = [_one(b, _litres(share * b.tank.full_mark_l, 3)) for b in _day_boats(demo_boats)]
        plan = find(_asked(LOOP, fleet, pace=pace, daylight=False)).plan
        assert plan.docks_proven
        needed.append(len(plan.docks))
    assert needed == sorted(needed, reverse=True)
    assert needed[0] > needed[-1]


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", "own"])
def test_a_dock_that_is_not_used_does_not_matter(pace: str, demo_boats: dict[str, Boat], find: Find) -> None:
    """Closed-dock rule off, as a closed dock is no alternate either."""
    fleet = [_one(b) for b in _day_boats(demo_boats)]
    asked = _asked(LOOP, fleet, pace=pace, daylight=False, closed_dock="off")
    plan = find(asked).plan
    assert "Eskerun Store" not in plan.docks
    same = find(asked.model_copy(update={"docks": (DockTold(name="eskerun  store", closed=True),)})).plan
    assert same.docks == plan.docks
    assert same.delay_h == pytest.approx(plan.delay_h, abs=1e-9)
    used = DockTold(name=plan.docks[0], closed=True)
    assert used.name not in find(asked.model_copy(update={"docks": (used,)})).plan.docks


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", "own"])
def test_the_order_of_the_boats_does_not_matter(pace: str, demo_boats: dict[str, Boat], find: Find) -> None:
    fleet = _part_full(demo_boats, 0.7, 0.95, 0.9)
    plans = [find(_asked(LOOP, order, pace=pace, daylight=False)).plan for order in (fleet, fleet[::-1])]
    assert [one.boat for one in plans[1].boats] == [one.name for one in fleet[::-1]]
    assert set(plans[1].docks) == set(plans[0].docks)
    assert plans[1].delay_h == pytest.approx(plans[0].delay_h, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", pytest.param("own", marks=pytest.mark.slow)])
def test_the_same_cruise_twice_is_the_same_plan(
    pace: str, demo: Region, demo_boats: dict[str, Boat], cache_with_demo: Path, find: Find
) -> None:
    """Once on water whose tracks are known already, once on water built anew."""
    asked = _asked(LOOP, _part_full(demo_boats, 0.6, 0.9), pace=pace, daylight=False)
    find(asked)
    warm = find(asked).plan
    cold = find_cruise(
        asked, demo, Margins(), build=lambda b: build_network(demo, b, cache=cache_with_demo), now=NOW
    ).plan
    assert warm.model_dump_json() == cold.model_dump_json()


@pytest.mark.slow
def test_fewer_docks_do_not_do(demo: Region, demo_boats: dict[str, Boat], find: Find) -> None:
    """Two docks are proven the fewest for two boats: each of the 43 docks alone is refused (closed-dock rule off)."""
    fleet = [_one(demo_boats["Quick Errand"]), _one(demo_boats["Salt Biscuit"], _litres(150))]
    asked = _asked(("Tolvarrow", "Ettermoy"), fleet, closed_dock="off", daylight=False)
    plan = find(asked).plan
    assert (plan.docks_proven, len(plan.docks)) == (True, 2)
    names = [str(name) for name in demo.layer("docks")["name"]]
    for kept in names:
        closed = tuple(DockTold(name=name, closed=True) for name in names if name != kept)
        with pytest.raises(NoCruiseError):
            find(asked.model_copy(update={"docks": closed}))
