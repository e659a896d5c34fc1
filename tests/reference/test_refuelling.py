"""Refuel plans against instances with a published answer.

Each carries its source and how it was had: seen (the number was read in the source). They are put to the product as
they stand, and again with a reserve: the tank, what is aboard at the start and the floor all that much higher, so that
the answer stays the same.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise, permutations

import pytest
from oracles.part_fill_cases import as_problem, line_outing, retell
from oracles.part_fill_plans import Outing, Stand, Way

from routeplan.part_fills import find_part_filled
from routeplan.search import find_labels

RESERVES = [0.0, 4.0, 10.5]  # [l]
EXACT = 1e-9  # sums of a few small whole numbers


def bought(outing: Outing) -> tuple[float, list[float]]:
    """Cost and litres at each dock in turn, none where the plan doesn't stop."""
    label = find_part_filled(as_problem(outing), "best", outing.price_of_time)
    assert label is not None
    assert retell(outing, label).faults == ()
    taken = {step.place: step.fill.take_l for step in label.path() if step.fill is not None}
    return label.cost, [taken.get(place, 0.0) for place in outing.stands]


@pytest.mark.parametrize("reserve_l", RESERVES)
def test_four_stops_on_a_fixed_path(reserve_l: float) -> None:
    """Tank 15, start 0, prices 3 1 6 2, use to the next 1 5 2 13: buy 1 15 0 5, cost 28.

    Biola University, fixed-path refuelling set, case 1. Seen.
    """
    outing = line_outing([3, 1, 6, 2], [1, 5, 2, 13], full_l=15 + reserve_l, start_l=reserve_l, floor_l=reserve_l)
    cost, litres = bought(outing)
    assert cost == pytest.approx(28, abs=EXACT)
    assert litres == pytest.approx([1, 15, 0, 5], abs=EXACT)


@pytest.mark.parametrize("reserve_l", RESERVES)
def test_three_stations(reserve_l: float) -> None:
    """Lengths 9 1 7, tank 10, prices 10 10 20: cost 170.

    Worked question on the gas-station dynamic programme. Seen. All 17 can be had at 10; how they are shared is open.
    """
    outing = line_outing([10, 10, 20], [9, 1, 7], full_l=10 + reserve_l, start_l=reserve_l, floor_l=reserve_l)
    cost, litres = bought(outing)
    assert cost == pytest.approx(170, abs=EXACT)
    assert litres[2] == pytest.approx(0, abs=EXACT)


def tank_of_400(reserve: float) -> Outing:
    """Put stops at 0 200 375 550 750, the end at 950, a tank for 400, full at the start."""
    at = {0: 0, 2: 200, 3: 375, 4: 550, 5: 750, 1: 950}
    ways: dict[tuple[int, int], tuple[Way, ...]] = {
        (a, b): (Way((at[b] - at[a]) / 20, float(at[b] - at[a])),) for a in at for b in at if at[a] < at[b]
    }
    return Outing(
        ways=ways,
        stands={place: Stand(1.0) for place in (2, 3, 4, 5)},
        start=0,
        targets=(1,),
        mean_l=400 + reserve,
        full_l=400 + reserve,
        floor_l=reserve,
        berthing_h=0.25,
    )


@pytest.mark.parametrize("reserve", RESERVES)
def test_fewest_refills(reserve: float) -> None:
    """Put stops at 0 200 375 550 750 950, range 400: 2 refills. Worked question on filling greedily. Seen."""
    labels = find_labels(as_problem(tank_of_400(reserve)), ("stops",))
    assert [label.stops for label in labels] == [2]
    every = find_labels(as_problem(tank_of_400(reserve)))
    assert min(label.stops for label in every) == 2
    shorter = replace(tank_of_400(reserve), full_l=374 + reserve, mean_l=374 + reserve)  # by hand: 200, 550, 750
    assert [label.stops for label in find_labels(as_problem(shorter), ("stops",))] == [3]


@pytest.mark.parametrize("reserve", RESERVES)
def test_fewest_refills_with_part_fills_where_a_stop_is_dear(reserve: float) -> None:
    """The same range: where an hour costs far more than fuel, part fills need 2 stops too."""
    outing = replace(tank_of_400(reserve), price_of_time=1000.0)
    label = find_part_filled(as_problem(outing), "best", outing.price_of_time)
    assert label is not None
    assert label.stops == 2


@pytest.mark.parametrize("seed", range(12))
def test_fill_up_before_a_dearer_stop_else_buy_just_enough(seed: int) -> None:
    """Next stop dearer: fill up; not dearer: buy just enough. It holds at an optimum.

    Khuller, Malekian, Mestre, To Fill or Not to Fill, ACM TALG 7(3) 2011, doi 10.1145/1978782.1978791. Seen. With
    prices that all differ any optimum has it: else a litre could be moved from the dearer to the cheaper of the two.
    """
    rng = random.Random(seed)  # noqa: S311  no secret
    docks = 8
    prices = rng.sample(range(120, 260), docks)
    at = {0: 0.0, 1: 300.0} | {i + 2: (i + rng.uniform(0.2, 1.8)) * 33 for i in range(docks)}
    off = {i + 2: rng.uniform(0, 12) for i in range(docks)}
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for a, b in permutations(at, 2):
        far = abs(at[a] - at[b]) + off.get(a, 0.0) + off.get(b, 0.0) + 1
        ways[a, b] = (Way(far / 20, far),)
    outing = Outing(
        ways=ways,
        stands={i + 2: Stand(prices[i] / 100) for i in range(docks)},
        start=0,
        targets=(1,),
        mean_l=90.0,
        full_l=110.0,
        floor_l=rng.choice([0.0, 8.0]),
    )
    label = find_part_filled(as_problem(outing), "best", 0.0)
    assert label is not None
    path = label.path()
    stops = [step for step in path if step.fill is not None and step.fill.take_l > EXACT]
    assert len(stops) > 1
    for here, ahead in pairwise(path):
        if here in stops and ahead in stops:
            if outing.price(ahead.place) > outing.price(here.place):
                assert here.aboard_l == pytest.approx(outing.full_l, abs=1e-6)
            else:
                assert ahead.fill is not None
                assert ahead.aboard_l - ahead.fill.take_l == pytest.approx(outing.floor_l, abs=1e-6)
