"""What is said of a plan: fills, chances, alternates and rules in words that promise no more than there is."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from faces import LEAVES, a_plan, a_stop, an_alternate, write_boat
from hypothesis import given
from hypothesis import strategies as st

from routeplan.boats import read_boat
from routeplan.fuel import full
from routeplan.plan_words import PlanWords, is_before_leaving, shown_chance
from routeplan.plans import SlowerRun
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.boats import Boat


@pytest.fixture(scope="module")
def boat(tmp_path_factory: pytest.TempPathFactory) -> Boat:
    """Read the plain boat, metric: floor 15 l, of which 5 unusable; cruising at 20 kn."""
    return read_boat(write_boat(tmp_path_factory.mktemp("words") / "boat.toml"))


@pytest.fixture(scope="module")
def words(boat: Boat) -> PlanWords:
    """Speak for the plain boat at 20 kn."""
    return PlanWords(boat, ZoneInfo("Atlantic/Azores"), "EUR", 20.0)


# Chances


@given(st.floats(0, 1))
def test_a_chance_is_never_said_larger_than_it_is(chance: float) -> None:
    said = shown_chance(chance)
    if said.startswith(("more than", "less than")):
        bound = 0.9999 if said.startswith("more") else 0.01
        assert (chance > bound) == said.startswith("more")
        return
    times, among = (float(word.replace(",", "")) for word in said.replace("once", "1").split() if word[0].isdigit())
    assert times < among
    assert times / among <= chance + 1e-9
    assert chance < (times + 1) / among


def test_chances_by_hand() -> None:
    """Rounded down, with the figures that the distance from certainty asks for; 0.29 is 28.999... in binary."""
    for chance, said in (
        (0.86999, "86 times in 100"),
        (0.29, "29 times in 100"),
        (0.99, "99 times in 100"),
        (0.9999, "9,999 times in 10,000"),
        (0.5, "50 times in 100"),
        (0.0, "less than once in 100"),
    ):
        assert shown_chance(chance) == said
    assert "100 times" not in shown_chance(math.nextafter(1, 0))
    assert "100 times" not in shown_chance(1.0)


def test_a_plan_says_both_chances_once(words: PlanWords) -> None:
    assert words.chances(a_plan()) == (
        "No arrival touches the reserve: 86 times in 100; none runs dry: 9,994 times in 10,000"
    )
    same = words.chances(a_plan(chance_reserve_kept=1.0, chance_never_dry=1.0))
    assert same.count("more than 9,999 times") == 1
    assert any("86 times in 100" in line for line in words.summary_lines(a_plan()))


# Fills


def test_a_fill_to_the_mark_is_about_and_a_part_fill_is_no_less(words: PlanWords) -> None:
    """20.04 l are needed: 20.0 l would be too little, so 20.1 l are asked for; a mark decides by itself."""
    assert words.take(a_stop(take_l=62.04)) == "about 62.0 l to the full mark"
    assert words.take(a_stop(take_l=20.04, to_mark=False)) == "20.1 l, no less"
    lines = words.stop_lines(a_plan(), a_stop(take_l=20.04, to_mark=False, cost=40.08))
    assert "Take 20.1 l, no less, EUR 40.08; leave Wed 1 Jul 09:20" in lines


def test_a_fill_before_leaving_is_told_as_one(words: PlanWords) -> None:
    first = a_stop(arrive=LEAVES, dock="Home Pump", alternate=None)
    plan = a_plan(first, a_stop())
    assert [is_before_leaving(plan, stop) for stop in plan.stops] == [True, False]
    assert words.stop_title(plan, 0) == "Stop 1, before leaving: Home Pump"
    assert words.stop_title(plan, 1) == "Stop 2: North Pump"
    said = "\n".join(words.stop_lines(plan, first))
    assert "Here from Wed 1 Jul 08:00" in said
    assert "don't leave" in said
    assert "in reach" not in said
    assert words.summary(plan).startswith("2 stops, the first before leaving, ")
    assert words.summary(a_plan(first)).startswith("one stop, before leaving, ")
    assert words.summary_lines(a_plan())[0].startswith("No stop, ")


def test_a_price_of_time_is_said_and_its_absence_too(words: PlanWords, boat: Boat) -> None:
    plain = Trip(start="A", finish="B", depart=LEAVES, aboard=full(boat))
    for changes, parts in (
        ({}, ["full mark"]),
        ({"fill": "enough"}, ["least that the rules demand", "time comes first", "--price-of-time"]),
        ({"fill": "best"}, ["costs least", "counts for nothing", "--price-of-time"]),
        ({"fill": "best", "price_of_time_per_h": 40.0}, ["costs least", "EUR 40.00"]),
        ({"fill": "best", "price_of_time_per_h": 0.0}, ["costs least", "EUR 0.00"]),
    ):
        said = words.fill_line(plain.model_copy(update=changes))
        assert all(part in said for part in parts), said
        assert ("No price of time" in said) == (changes.get("fill") is not None and len(changes) == 1)


def test_a_time_that_the_clocks_show_twice_carries_its_offset(words: PlanWords) -> None:
    """The Azores put their clocks back on 25 October 2026 at 01:00 UTC: 00:00 to 01:00 is shown twice."""
    first, again, later = (datetime(2026, 10, 25, h, m, tzinfo=UTC) for h, m in ((0, 37), (1, 37), (2, 37)))
    assert words.clock(first) == "00:37 (UTC+0000)"
    assert words.clock(again) == "00:37 (UTC-0100)"
    assert words.day_and_clock(later) == "Sun 25 Oct 01:37"


def test_a_time_on_another_day_says_which(words: PlanWords) -> None:
    """1 July 2026 is a Wednesday; the Azores' summer clock is UTC."""
    wednesday = datetime(2026, 7, 1, 20, 0, tzinfo=UTC)
    for days, said in ((0, "20:30"), (1, "Thu 20:30"), (4, "Sun 20:30"), (7, "Wed 8 Jul 20:30")):
        assert words.when(wednesday + timedelta(days=days, minutes=30), wednesday) == said


def test_chances_hold_if_fuel_is_sold(words: PlanWords) -> None:
    assert words.chances(a_plan()).startswith("No arrival")
    assert words.chances(a_plan(a_stop())).startswith("If every stop sells its fuel, no arrival")


def test_the_speeds_of_hops_are_said_where_one_is_slower(words: PlanWords) -> None:
    assert " kn" not in words.summary(a_plan())
    assert "at 16 kn, then 20 kn, arrives" in words.summary(a_plan(a_stop(), speeds_kn=(16.0, 20.0)))


def test_a_low_figure_just_on_the_reserve_is_not_told_to_touch_it(words: PlanWords) -> None:
    """Floor 15 l, unusable 5."""
    assert words.left(15.0 - 1e-9) == "15.0 l left (low)"
    assert words.left(12.0) == "12.0 l left (low), 3.0 l into the reserve, 7.0 l of it usable"
    assert words.left(4.0) == "4.0 l left (low), 11.0 l into the reserve, 0.0 l of it usable"


# Alternates and the closed-dock rule


def test_an_alternate_s_speed_is_said_where_it_differs(words: PlanWords) -> None:
    assert words.alternate_line(an_alternate()).startswith("Other Pump, 5.0 nmi on, 20.0 l left (low)")
    assert words.alternate_line(an_alternate(speed_kn=5.0)).startswith("Other Pump, 5.0 nmi on at 5 kn, 20.0 l left")


def test_a_wait_at_an_alternate_is_said_plainly(words: PlanWords) -> None:
    """There at 09:15; more than a day is called long."""
    for hours, said in (
        (0.0, ""),
        (1.5, "; shut till Wed 1 Jul 10:45, a wait of 1 h 30 min"),
        (23.0, "; shut till Thu 2 Jul 08:15, a wait of 23 h 00 min"),
        (30.0, "; shut for long, till Thu 2 Jul 15:15, a wait of 30 h 00 min"),
        (332.0, "; shut for long, till Wed 15 Jul 05:15, a wait of 13 d 20 h"),
    ):
        line = words.alternate_line(an_alternate(wait_h=hours, hours=None, vhf=None))
        assert line == f"Other Pump, 5.0 nmi on, 20.0 l left (low){said}"


def test_an_alternate_reached_on_the_reserve_says_how_deep(words: PlanWords) -> None:
    """Floor 15 l: 8 l left are 7 l into the reserve."""
    assert "8.0 l left (low), 7.0 l into the reserve" in words.alternate_line(an_alternate(left_l=8.0))


@pytest.mark.parametrize("alternate", [None, an_alternate()])
@pytest.mark.parametrize("keeps", [True, False])
def test_a_stop_that_breaks_the_rule_says_so(words: PlanWords, alternate: object, *, keeps: bool) -> None:
    stop = a_stop(alternate=alternate, keeps_closed_dock_rule=keeps)
    plan = a_plan(stop)
    said = "\n".join(words.stop_lines(plan, stop))
    assert ("! Breaks the closed-dock rule" in said) == (not keeps)
    assert ("(breaks the closed-dock rule)" in words.stop_title(plan, 0)) == (not keeps)
    assert ("If closed: Other Pump" in said) == (alternate is not None)
    assert ("no other dock that suits is in reach" in said) == (alternate is None)
    assert said.count("in reach") == (alternate is None)


def test_each_form_of_the_rule_has_its_words(words: PlanWords) -> None:
    said = {rule: words.rule_line(a_plan(a_stop(), closed_dock=rule)) for rule in ("on", "strict", "off")}
    assert len(set(said.values())) == 3
    assert "on the reserve" in said["on"]
    assert "keep the reserve" in said["strict"]
    assert "nowhere else" in said["off"]


# Slower


@pytest.mark.parametrize(
    ("later_h", "when"), [(2 / 3, "40 min later"), (-0.25, "15 min earlier"), (0.001, "at the same time")]
)
def test_what_slowing_down_buys(words: PlanWords, later_h: float, when: str) -> None:
    run = SlowerRun(
        from_="West Mark", to="East Mark", speed_kn=18.0, skips="North Pump", later_h=later_h, margin_l=3.19
    )
    assert words.slower_line(run) == (
        "At 18 kn the run from West Mark to East Mark needs no stop at North Pump: "
        f"the passage ends {when}, and East Mark is reached 3.1 l above the reserve"
    )


def test_a_wait_of_a_stop_is_told(words: PlanWords) -> None:
    begin = LEAVES + timedelta(hours=23)
    stop = a_stop(begin=begin, depart=begin + timedelta(minutes=20), wait_h=22.0)
    said = words.stop_lines(a_plan(stop), stop)
    assert "Wait 22 h 00 min for it to open, Thu 2 Jul 07:00" in said
