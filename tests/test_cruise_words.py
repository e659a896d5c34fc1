"""What is said of a group cruise, its console and its changes: figures worked out by hand from the sample's."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import cruise_samples as samples
import pytest

from routeplan.cruise_changes import find_changes
from routeplan.cruise_console import tell_changes, tell_cruise, tell_cruise_refusal
from routeplan.cruise_words import CruiseWords
from routeplan.cruises import CruiseRefusal, NoCruiseError
from routeplan.units_shown import DisplayUnits

if TYPE_CHECKING:
    from routeplan.cruises import CruisePlan, CruiseStop


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def told(words: CruiseWords | None = None) -> str:
    """Undo the folds of the console's text."""
    return " ".join(tell_cruise(words or samples.words()).split())


def changed(stop: int, turn: int, **values: Any) -> CruisePlan:
    """Change one turn of the cruise."""
    plan = samples.cruise()
    turns = list(plan.stops[stop].boats)
    turns[turn] = turns[turn].model_copy(update=values)
    return _with(plan, stop, boats=tuple(turns))


def _with(plan: CruisePlan, stop: int, **values: Any) -> CruisePlan:
    stops: list[CruiseStop] = list(plan.stops)
    stops[stop] = stops[stop].model_copy(update=values)
    return plan.model_copy(update={"stops": tuple(stops)})


def test_each_boat_is_told_in_her_own_units_and_the_group_in_the_organisers():
    """88.4 l is litres' own; 179.1 l is 47.31 US gal; 336 l is 73.91 imperial gal; 370.9 l is 97.98, so 98.0 US gal."""
    words = samples.words()
    first, _, third = words.plan.stops
    assert [words.volume(turn.take_l, turn.boat) for turn in first.boats] == ["88.4 l", "47.3 US gal", "27.3 US gal"]
    assert words.volume(third.boats[1].take_l, "Tall Order") == "73.9 imp gal"
    assert words.totals(first.total_l) == "gasoline 98.0 US gal"
    metric = CruiseWords(samples.cruise(), samples.boats(), samples.ZONE, "EUR", DisplayUnits("metric"))
    assert metric.totals(third.total_l) == "gasoline 318.9 l, diesel 646.5 l"


def test_a_fleet_with_one_gallon_calls_it_a_gallon():
    words = CruiseWords(samples.cruise(), samples.boats()[:5], samples.ZONE, "EUR")
    assert words.volume(179.1, "Half Promise") == "47.3 gal"


def test_what_is_needed_is_rounded_up_and_what_is_left_down():
    """370.91 l is 97.98 US gal, and 318.9 l 84.244: asked for 84.3. 79.96 l above the reserve are told as 79.9."""
    words = samples.words()
    assert words.totals({"gasoline": 318.9, "diesel": 0.0}) == "gasoline 84.3 US gal"
    assert "79.9 l above her reserve (low), good for 57 nmi more" in words.limit_line(words.plan.limits[0])
    assert words.buddy_line(words.plan.limits[0]).startswith("Salt Biscuit within 5 min, 1.6 nmi off")
    assert "gal" not in words.left_line(words.plan.left_behind[0])  # the reason says how short, in her own unit
    assert words.light_line(words.plan.days[0]) == "6 h 31 min before sunset"  # of 391.6 min


def test_a_day_that_ends_in_the_dark_shouts():
    day = samples.cruise().days[0].model_copy(update={"light_left_min": -12.4})
    assert samples.words().light_line(day) == "IN THE DARK, 13 min after sunset"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "(the fewest that do, proven)"),
        ({"docks_proven": False, "fewest_docks": 2}, "(at least 2 are needed, whether fewer than 3 do isn't known)"),
        ({"delay_gap_h": 0.0}, "with so few docks it can't be less, proven"),
        ({}, "with so few docks 13 min of that could be saved at the most"),  # 0.21 h are 12.6 min
        ({}, "the cruise ends 42 min sooner, all boats together lose 2 h 21 min less"),
        ({"pace": "own", "speed_kn": None}, "each at her own speed, gathering at every visit"),
        ({"name": ""}, "Vellistrand to Ettermoy: 6 boats"),
        ({"stops": (), "docks": ()}, "No boat has to fuel on the way"),
    ],
)
def test_how_good_the_cruise_is(changes: dict[str, Any], said: str):
    assert said in told(samples.words(**changes))


def test_one_dock_more_that_ends_no_sooner_tells_only_the_delay():
    more = samples.cruise().one_dock_more
    assert more is not None
    said = samples.words(one_dock_more=more.model_copy(update={"sooner_h": 2.35})).more_line()
    assert "all boats together lose 2 h 21 min less" in said
    assert "sooner" not in said
    assert samples.words(one_dock_more=None).more_line() == ""


def test_the_console_has_all_in_its_order_and_the_safety_cautions_last():
    text = told()
    parts = (
        "together at 18 kn",
        "Fuel at 3 docks",
        "1 boat can't come: - Far Enough",
        "stop day from until boats gasoline diesel dock",
        "Day 1, Thu 2 Jul: Vellistrand to Vindelsay Pool",
        "2 Half Promise gasoline 12:12 12:31 12:51 19 min 47.3 US gal",
        "If closed: Rostermay Fuel Dock: all; tightest Loose Change, 78.9 l left (low)",
        "Each boat (margin: low figure above her reserve)",
        "Loose Change 1 1, 3 90",
        "Who limits each leg",
        "would help: start with 30 l more aboard",
        "Cautions: - An aid to planning, not for navigation",
    )
    places = [text.find(part) for part in parts]
    assert -1 not in places, [part for part, place in zip(parts, places, strict=True) if place < 0]
    assert places == sorted(places)


@pytest.mark.parametrize("count", [1, 6, 20, 60])
def test_the_console_keeps_to_80_columns(count: int):
    lines = tell_cruise(samples.clones(count)).splitlines()
    assert max(map(len, lines)) <= 80
    rows = [line for line in lines if re.match(r"\s+\d+  \S.* min  ", line)]
    assert len(rows) == sum(len(stop.boats) for stop in samples.clones(count).plan.stops)


def test_long_names_fold_rather_than_run_out_of_the_window():
    name = "Queen of the Outer Ossavays and All Her Skerries"
    plan = samples.cruise()
    stops = tuple(
        s.model_copy(update={"boats": tuple(t.model_copy(update={"boat": name}) for t in s.boats)}) for s in plan.stops
    )
    text = tell_cruise(samples.words(stops=stops))
    assert max(map(len, text.splitlines())) <= 80
    assert "Skerries" in text


def test_pumps_that_nobody_counted_are_to_be_asked_for():
    first, second, third = samples.cruise().stops
    words = samples.words()
    assert "nobody said how many it has: ask" in words.pumps_line(third)
    assert "one berth for both: one boat at a time" in words.pumps_line(third)
    assert words.pumps_line(first) == "1 gasoline pump, 40 l/min (10.6 US gal/min)"
    assert words.order_line(second) == ""


def test_the_order_says_whether_it_is_proven_and_what_the_thirstiest_first_costs():
    first, _, third = samples.cruise().stops
    words = samples.words()
    assert words.order_line(first) == "No order gets the group away sooner: proven. The thirstiest is first already"
    said = words.order_line(third)
    assert "could get the group away 4 min sooner at the most" in said
    assert "gets away 2 min later: Tall Order, Second Opinion" in said


def test_a_dock_that_closes_too_soon_shouts():
    first = samples.cruise().stops[0]
    words = samples.words()
    assert words.closes_line(first) == "closes 19:00, 5 h 51 min after the last boat"
    late = first.model_copy(update={"closes_after_min": -3.5})
    assert words.closes_line(late) == "closes 19:00, 4 min BEFORE the last boat has filled"
    unknown = first.model_copy(update={"closes": None, "closes_after_min": None, "hours": None})
    assert words.closes_line(unknown) == "closing time not known"


def test_a_boat_that_finds_no_other_dock_is_named():
    plan = samples.cruise()
    boats = list(plan.boats)
    own = boats[0].plan
    stops = tuple(stop.model_copy(update={"alternate": None}) for stop in own.stops)
    boats[0] = boats[0].model_copy(update={"plan": own.model_copy(update={"stops": stops})})
    words = samples.words_of(plan.model_copy(update={"boats": tuple(boats)}))
    assert words.closed_lines(plan.stops[0]) == [
        "Rostermay Fuel Dock: Loose Change and Half Promise; tightest Loose Change, 78.9 l left (low)",
        "NOWHERE in reach: Quick Errand",
    ]


def test_boats_that_the_words_do_not_know_are_told_in_the_organisers_units():
    words = CruiseWords(samples.cruise(), samples.boats()[:1], samples.ZONE, "EUR")
    assert words.volume(88.4, "Loose Change") == "23.4 gal"
    assert words.contact("Loose Change") == ""
    assert words.people("Loose Change") is None
    assert "23.4 gal" in tell_cruise(words)


def test_a_refusal_names_each_boat_with_what_would_help():
    boats = samples.cruise().left_behind
    refusal = CruiseRefusal(why="one boat can't make the first leg", boats=boats, try_=("leave her behind",))
    text = " ".join(tell_cruise_refusal(NoCruiseError(refusal, ("An aid to planning.",))).split())
    for part in (
        "No cruise keeps the rules: one boat",
        "Far Enough",
        "she has too little aboard for the first leg",
        "would help: 19 l more aboard",
    ):
        assert part in text
    assert text.endswith("Cautions: - An aid to planning.")


# Changes


def test_the_same_plan_changes_nothing():
    assert find_changes(samples.cruise(), samples.cruise()) == ()
    assert tell_changes(samples.cruise(), samples.words()) == "Nothing changes for any boat."


@pytest.mark.parametrize(
    ("values", "what", "moved_min"),
    [
        ({"begin": samples.at("12:31")}, None, 0),
        ({"begin": samples.at("12:36")}, None, 0),  # five minutes aren't more than five
        ({"begin": samples.at("12:37")}, "turn at Mirrowick Pier Pump 12:37, 6 min later", 6),
        ({"begin": samples.at("12:20")}, "turn at Mirrowick Pier Pump 12:20, 11 min EARLIER", -11),
        ({"take_l": 180.0}, None, 0),
        ({"take_l": 189.1}, "at Mirrowick Pier Pump takes about 189.1 l of gasoline, 10.0 l more", 0),
        ({"pump": 2}, "at Mirrowick Pier Pump the gasoline pump 2, not 1", 0),
    ],
)
def test_what_changes_for_one_boat(values: dict[str, Any], what: str | None, moved_min: float):
    changes = find_changes(samples.cruise(), changed(0, 1, **values))
    assert [(c.boat, c.what, c.moved_min) for c in changes] == (
        [] if what is None else [("Half Promise", (what,), moved_min)]
    )


def test_docks_gone_and_new_and_who_is_not_troubled():
    before = samples.cruise()
    turns = before.stops[0].boats
    after = _with(before, 0, boats=turns[1:])  # Loose Change skips it
    said = tell_changes(before, samples.words_of(after))
    assert "Changes for 1 boat of 6:" in said
    assert "- no longer fills at Mirrowick Pier Pump" in said
    assert said.endswith(
        "Nothing changes for Quick Errand, Half Promise, Salt Biscuit, Second Opinion and\n  Tall Order."
    )
    back = find_changes(after, before)
    assert [change.boat for change in back] == ["Loose Change"]
    assert back[0].what == ("fills at Mirrowick Pier Pump now: day 1, from 12:14 to 12:31, about 88.4 l of gasoline",)


def test_boats_that_drop_out_or_join_are_told():
    before = samples.cruise()
    after = before.model_copy(update={"boats": before.boats[1:]})
    (gone,) = find_changes(before, after)
    assert (gone.boat, gone.what) == ("Quick Errand", ("no longer in the plan",))
    (new,) = find_changes(after, before)
    assert new.what == ("new in the plan: leaves 10:00, fills at Mirrowick Pier Pump, then Rostermay Fuel Dock",)


def test_leaving_a_minute_sooner_is_a_change_and_arriving_five_later_is_none():
    before = samples.cruise()

    def moved(**minutes: int) -> CruisePlan:
        boats = list(before.boats)
        plan = boats[2].plan
        times = {name: getattr(plan, name) + timedelta(minutes=shift) for name, shift in minutes.items()}
        boats[2] = boats[2].model_copy(update={"plan": plan.model_copy(update=times)})
        return before.model_copy(update={"boats": tuple(boats)})

    assert find_changes(before, moved(arrive=5)) == ()
    (change,) = find_changes(before, moved(depart=-1, arrive=30))
    assert change.what == ("leaves 09:59, 1 min EARLIER", "arrives 15:18, 30 min later")
    assert change.moved_min == 30


def test_changes_are_told_in_the_boats_own_units_with_whom_to_call():
    words = samples.words_of(changed(2, 1, take_l=345.0))
    said = " ".join(tell_changes(samples.cruise(), words).split())
    assert "Tall Order (VHF 72): - at Rostermay Fuel Dock takes about 75.9 imp gal of diesel, 2.0 imp gal more" in said
