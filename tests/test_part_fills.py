"""Part fills against every plan there is, a programme proven optimal, the textbook rule, and cases solved by hand."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Literal

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st
from oracles.part_fill_cases import any_rules, as_problem, line_outing, plane_outing, retell
from oracles.part_fill_network import bill_by_network
from oracles.part_fill_plans import (
    Outing,
    Stand,
    Way,
    bill_by_program,
    every_enough,
    greedy_bill,
    least_bill,
    least_with_hours,
    plans_by_bill,
)

from routeplan.part_fills import PartRule, find_part_filled
from routeplan.search import find_labels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.problem import Label

NEAR = 1e-6  # [currency] a bill is a sum of about ten products of numbers below 1000


def best(outing: Outing) -> Label | None:
    return find_part_filled(as_problem(outing), "best", outing.price_of_time)


def enough(outing: Outing) -> Label | None:
    return find_part_filled(as_problem(outing), "enough", outing.price_of_time)


def outing_of(seed: int, without: Sequence[str] = (), most_docks: int = 4) -> Outing:
    rng = random.Random(seed)  # noqa: S311  no secret
    return plane_outing(
        rng, rng.randint(2, most_docks), rules=any_rules(rng, without=without), speeds=rng.randint(1, 2)
    )


def takes(label: Label | None) -> dict[int, float]:
    """Litres by dock."""
    assert label is not None
    return {step.place: step.fill.take_l for step in label.path() if step.fill is not None}


# ---- against the oracles


@pytest.mark.parametrize("block", range(5))
def test_best_is_the_optimum_of_all_plans(block: int) -> None:
    """Money and time, over all orders, tracks, amounts and choices of part or full; every plan told again by the rules.

    Hours are in where an hour is worth nothing: then they only bound a fill. Both together are the next test's.
    """
    planned = 0
    for seed in range(40 * block, 40 * block + 40):
        outing = outing_of(seed)
        if outing.price_of_time > 0:
            outing = replace(outing, stands={i: replace(s, windows=()) for i, s in outing.stands.items()})
        expected, label = least_bill(outing), best(outing)
        assert (label is None) == (expected is None), seed
        if label is not None and expected is not None:
            told = retell(outing, label)
            assert told.faults == (), seed
            assert told.bill == pytest.approx(expected[0], abs=NEAR), seed
            planned += 1
    assert planned > 12


def test_best_under_hours_is_never_too_good_and_hardly_ever_worse() -> None:
    """Where boats wait and hours cost, minutes at the pump may be shared out a little badly: told so, and bounded.

    Of these outings no plan may be cheaper than the optimum, none may be missing, and nine in ten are the optimum; the
    bench check_part_fills.py counts how often and by how much on many.
    """
    planned = same = 0
    for seed in range(30):
        rng = random.Random(seed)  # noqa: S311  no secret
        rules = {*any_rules(rng, without=("doubt",)), "hours", "time", "berthing"}
        outing = plane_outing(rng, rng.randint(2, 3), rules=sorted(rules))
        if seed % 2:  # so slow that a fill takes an hour
            slow = {i: replace(stand, lpm=rng.uniform(0.7, 3)) for i, stand in outing.stands.items()}
            outing = replace(outing, stands=slow)
        expected, label = least_with_hours(outing), best(outing)
        assert (label is None) == (expected is None), seed
        if label is not None and expected is not None:
            told = retell(outing, label)
            assert told.faults == (), seed
            assert told.bill >= expected[0] - NEAR, seed
            planned += 1
            same += told.bill <= expected[0] + NEAR
    assert planned > 10
    assert same >= 0.9 * planned


@pytest.mark.parametrize("block", range(5))
def test_enough_is_the_best_of_all_orders_with_the_least_fill_each(block: int) -> None:
    planned = 0
    for seed in range(40 * block, 40 * block + 40):
        outing = outing_of(seed)
        if outing.price_of_time > 0:
            outing = replace(outing, stands={i: replace(s, windows=()) for i, s in outing.stands.items()})
        expected, label = every_enough(outing), enough(outing)
        assert (label is None) == (expected is None), seed
        if label is not None and expected is not None:
            told = retell(outing, label)
            assert told.faults == (), seed
            assert told.bill == pytest.approx(expected[0].bill, abs=NEAR), seed
            assert told.time_h == pytest.approx(expected[0].time_h, abs=NEAR), seed
            assert told.stops == expected[0].stops, seed
            planned += 1
    assert planned > 12


@settings(max_examples=25)
@given(st.integers(0, 10**6))
def test_best_is_what_a_programme_over_the_whole_graph_proves(seed: int) -> None:
    """By the plain rule of thumb with up to six docks: HiGHS proves that there is none cheaper."""
    outing = outing_of(seed, without=("doubt", "hours"), most_docks=6)
    expected, label = bill_by_network(outing), best(outing)
    event("no plan" if expected is None else "a plan")
    assert (label is None) == (expected is None)
    if label is not None and expected is not None:
        assert retell(outing, label).bill == pytest.approx(expected, abs=1e-4)  # the solver's feasibility is 1e-6


# ---- the oracles against one another


def test_the_oracles_agree() -> None:
    """The walk over all plans, and a linear programme for each of the first few that it lists, doubt and rules in."""
    compared = 0
    for seed in range(60):
        outing = outing_of(seed, without=("hours",), most_docks=3)
        for value, steps in islice(plans_by_bill(outing), 3):
            assert bill_by_program(outing, steps) == pytest.approx(value, abs=NEAR), seed
            compared += 1
    assert compared > 60


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(1, 15)), min_size=1, max_size=6), st.integers(0, 15))
def test_along_one_line_it_is_the_textbook_rule(stops: list[tuple[int, int]], start_l: int) -> None:
    """One fixed order: buy up to the next stop that isn't dearer, else fill up."""
    prices, uses_l = [float(p) for p, _ in stops], [float(u) for _, u in stops]
    outing = line_outing(prices, uses_l, full_l=15.0, start_l=float(start_l), floor_l=0.0)
    expected = greedy_bill(prices, uses_l, 15.0, float(start_l))
    assert expected is not None
    label = best(outing)
    assert label is not None
    assert label.cost == pytest.approx(expected[0], abs=NEAR)


# ---- what must hold of any optimum


@given(st.integers(0, 10**6), st.floats(1, 30))
def test_more_fuel_never_costs_more(seed: int, more_l: float) -> None:
    outing = outing_of(seed, without=("hours", "first"))
    richer = replace(outing, mean_l=min(outing.mean_l + more_l, outing.full_l))
    assert bill_of(richer) <= bill_of(outing) + NEAR


@given(st.integers(0, 10**6))
def test_part_fills_never_cost_more_than_full_ones(seed: int) -> None:
    """A plan of full fills is one of the plans that `best` may choose."""
    outing = outing_of(seed, without=("hours",))
    full = [label.cost + outing.price_of_time * label.time_h for label in find_labels(as_problem(outing))]
    assert bill_of(outing) <= min(full, default=float("inf")) + NEAR


@given(st.integers(0, 10**6))
def test_best_never_costs_more_than_enough(seed: int) -> None:
    outing = outing_of(seed, without=("hours",))
    assert bill_of(outing) <= bill_of(outing, "enough") + NEAR


@given(st.integers(0, 10**6), st.integers(2, 5))
def test_a_cheaper_dock_never_costs_more(seed: int, which: int) -> None:
    outing = outing_of(seed, without=("hours",))
    place = which if which in outing.stands else 2
    cheaper = replace(outing.stands[place], price=0.9 * outing.price(place))
    assert bill_of(replace(outing, stands={**outing.stands, place: cheaper})) <= bill_of(outing) + NEAR


def bill_of(outing: Outing, rule: PartRule = "best") -> float:
    label = find_part_filled(as_problem(outing), rule, outing.price_of_time)
    return float("inf") if label is None else label.cost + outing.price_of_time * label.time_h


# ---- by hand


def test_just_enough_for_a_cheaper_dock_ahead() -> None:
    """20 l aboard, floor 10; docks at 10 l (price 3) and 40 l (price 1), end at 80 l.

    At the first aboard is 10: 30 l take it to the second, at its floor. There 40 l. 30 x 3 + 40 x 1 = 130.
    """
    outing = row((10, 30, 40), (3.0, 1.0))
    label = best(outing)
    assert takes(label) == pytest.approx({2: 30.0, 3: 40.0})
    assert label is not None
    assert label.cost == pytest.approx(130)
    assert label.least_margin_l == pytest.approx(0, abs=1e-9)
    assert takes(enough(outing)) == pytest.approx({2: 30.0, 3: 40.0})


def test_a_cheap_dock_before_a_dear_one_is_used_well() -> None:
    """The same with prices 1 and 3, and a tank of 60: 50 l fit at the first, 40 + 30 - 50 = 20 are left to buy.

    `best` takes 50 and 20: 110. `enough` must choose 30 and 40: 150; it is the only order, as 60 - 10 < 70.
    """
    outing = row((10, 30, 40), (1.0, 3.0), full_l=60.0)
    assert takes(best(outing)) == pytest.approx({2: 50.0, 3: 20.0})
    assert takes(enough(outing)) == pytest.approx({2: 30.0, 3: 40.0})


def test_an_hour_at_a_slow_pump_counts() -> None:
    """Prices 1.0 and 1.2, pumps of 10 and 60 l/min. At 60 an hour a minute costs 1: 0.1 and 1/60 a litre.

    1.1 against 1.2167: the first stays cheaper. At 600 an hour 2.0 against 1.3667: just enough at the first.
    """
    outing = row((10, 30, 40), (1.0, 1.2), full_l=60.0)
    slow = replace(outing, stands={2: Stand(1.0, 10.0), 3: Stand(1.2, 60.0)})
    assert takes(best(replace(slow, price_of_time=60.0))) == pytest.approx({2: 50.0, 3: 20.0})
    assert takes(best(replace(slow, price_of_time=600.0))) == pytest.approx({2: 30.0, 3: 40.0})


def test_a_fill_to_the_mark_is_worth_its_certainty() -> None:
    """At k 0.2 and 2 sigma what is burnt counts 1.4 times until a full mark. Full 100, floor 10, 70 l aboard.

    To the dock 30 l, to the end 60 l. A part fill: 70 + T - 90 x 1.4 >= 10, T = 66; aboard after 106 > 100: no.
    To the mark: takes 60, and 100 - 84 = 16 >= 10. Both rules fill to the mark.
    """
    outing = replace(row((30, 60), (2.0,)), mean_l=70.0, full_l=100.0, sd_share=0.2, z=2.0)
    for label in (best(outing), enough(outing)):
        assert takes(label) == pytest.approx({2: 60.0})
        assert label is not None
        fill = label.path()[1].fill
        assert fill is not None
        assert fill.to_mark
        assert label.least_margin_l == pytest.approx(6)


def test_a_part_fill_keeps_the_doubt_of_what_was_burnt() -> None:
    """The same to a nearer end, 40 l on: 70 + T - 70 x 1.4 >= 10, T = 38, and not the 30 that a sure level would need.

    After it 40 + 38 = 78 are aboard, 38 at the end, of which 28 are doubt.
    """
    outing = replace(row((30, 40), (2.0,)), mean_l=70.0, full_l=100.0, sd_share=0.2, z=2.0)
    for label in (best(outing), enough(outing)):
        assert takes(label) == pytest.approx({2: 38.0})
        assert label is not None
        assert label.aboard_l == pytest.approx(38)
        assert label.path()[1].fill is not None


def test_largest_sales_share_a_fill_out() -> None:
    """50 l are missing for the end; the cheap dock sells 35 of them, the dear one 15 more."""
    outing = row((10, 10, 50), (1.0, 2.0))
    limited = replace(outing, stands={2: Stand(1.0, largest_l=35.0), 3: Stand(2.0)}, mean_l=30.0)
    label = best(limited)  # 30 - 10 = 20 aboard; needs 10 + 60 at the first: 50
    assert takes(label) == pytest.approx({2: 35.0, 3: 15.0})


def test_a_fill_ends_before_the_dock_closes_or_waits() -> None:
    """There at 09:00, pump 1 l/min, open until 09:30 and again from 14:00; 50 l are needed, an hour is worth nothing.

    In the half hour 30 l: too few, so the boat waits five hours for the afternoon.
    """
    outing = row((10, 50), (2.0,))
    outing = replace(outing, mean_l=20.0, stands={2: Stand(2.0, 1.0, None, ((480, 570), (840, 960)))})
    label = best(outing)
    assert label is not None
    fill = label.path()[1].fill
    assert fill is not None
    assert fill.take_l == pytest.approx(50)
    assert fill.wait_h == pytest.approx(5)
    assert label.time_h == pytest.approx(1 + 5 + 50 / 60 + 5)


def test_minutes_at_the_pump_are_free_while_the_next_dock_is_shut() -> None:
    """An hour costs 600; the cheap dock pumps 1 l/min, so a litre there costs 1 + 10, at the dear one 3 + 1/6.

    But the dear one opens at 16:00, four hours after the boat can be there, so the tank of 60 is filled at the cheap
    one, 50 l, and 20 l are left to buy. There at 16:00 in any case, and 20 s later off for four hours.
    """
    outing = replace(row((10, 30, 40), (1.0, 3.0), full_l=60.0), price_of_time=600.0)
    outing = replace(outing, stands={2: Stand(1.0, 1.0), 3: Stand(3.0, 60.0, None, ((960, 1080),))})
    label = best(outing)
    assert takes(label) == pytest.approx({2: 50.0, 3: 20.0})
    assert label is not None
    assert label.time_h == pytest.approx(8 + 20 / 3600 + 4)


def test_no_boat_sails_to_and_fro_to_be_given_a_full_fill() -> None:
    """At k 0.2 and 2 sigma, floor 10, full 100, 52 l aboard. Docks 2 and 3 are a litre apart; 4 sells 55 l at the most.

    At 2 with 22 l, 30 burnt. On to 4, 55 l: a part fill of 10 + 55 + 0.4 x 85 - 22 = 77 does, so `enough` has to take
    it; at 4 then 44 l are left and only a full fill, 56 l, leads to the end, 60 on: too many. From 3 it is no better.
    Two turns between 2 and 3 would make a full fill needed, 10 + 55 + 0.4 x 88 > 100: that is no plan to tell.
    `best` fills to the mark at 2, 78 l, comes to 4 with 45, takes 55, and ends with 100 - 60 - 24 = 16.
    """
    litres = {(0, 2): 30.0, (2, 3): 1.0, (3, 2): 1.0, (2, 4): 55.0, (3, 4): 55.0, (4, 1): 60.0}
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        pair: (Way(used_l / 10, used_l),) for pair, used_l in litres.items()
    }
    stands = {2: Stand(2.0), 3: Stand(2.0), 4: Stand(2.0, largest_l=55.0)}
    outing = Outing(ways, stands, 0, (1,), mean_l=52.0, full_l=100.0, floor_l=10.0, sd_share=0.2, z=2.0)
    assert takes(best(outing)) == pytest.approx({2: 78.0, 4: 55.0})
    assert enough(outing) is None


def test_what_is_needed_past_a_place_without_fuel_is_taken_before_it() -> None:
    """By way of an anchorage: 20 l to it and 30 on, with 10 on arrival at the dock: 50 l in one fill."""
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        (0, 2): (Way(1, 10.0),),
        (2, 3): (Way(1, 20.0),),
        (3, 1): (Way(1, 30.0),),
    }
    outing = replace(row((10, 20), (2.0,)), ways=ways, targets=(3, 1), mean_l=20.0)
    for label in (best(outing), enough(outing)):
        assert takes(label) == pytest.approx({2: 50.0})


@pytest.mark.parametrize(
    ("rule", "expected"), [("off", {3: 30.0}), ("on", {2: 18.0, 3: 12.0}), ("strict", {2: 24.0, 3: 6.0})]
)
def test_a_way_out_where_the_dock_ahead_is_closed(
    rule: Literal["on", "off", "strict"], expected: dict[int, float]
) -> None:
    """Docks at 10 l (price 3) and 30 l (price 1), end at 60, 40 l aboard, floor 10, unusable 4; back from 3 to 2 is 24.

    Off: straight to the second with 10 left, 30 l there. On: 24 + 4 = 28 to come there with a way out (the end, 30 on,
    needs 34), so 28 + 20 - 30 = 18 at the first and 40 - 28 = 12 at the second; strict 34, 24 and 6. The first
    dock itself is come to with 30 l, and 20 on is the second: 24 or 30. Straight to the end from the first costs 90.
    """
    line = replace(row((10, 20, 30), (3.0, 1.0)), mean_l=40.0, unusable_l=4.0, closed_dock=rule)
    line = replace(line, ways={**line.ways, (3, 2): (Way(1, 24.0),)})
    assert takes(best(line)) == pytest.approx(expected)
    assert takes(enough(line)) == pytest.approx(expected)


def row(legs_l: tuple[float, ...], prices: tuple[float, ...], *, full_l: float = 100.0) -> Outing:
    """Put docks 2, 3, .. in a row between start 0 and destination 1; a litre takes 0.1 h, the floor is 10 l."""
    order = [0, *range(2, len(legs_l) + 1), 1]
    at = [sum(legs_l[:i]) for i in range(len(order))]
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        (order[i], order[j]): (Way((at[j] - at[i]) / 10, float(at[j] - at[i])),)
        for i in range(len(order))
        for j in range(i + 1, len(order))
    }
    stands = {place: Stand(price) for place, price in zip(order[1:-1], prices, strict=True)}
    return Outing(ways=ways, stands=stands, start=0, targets=(1,), mean_l=20.0, full_l=full_l, floor_l=10.0)
