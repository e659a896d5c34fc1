"""Queues at a fuel dock's pumps: by hand, and against every order there is."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING

import pytest
from oracles.every_order import best, every_list, first_begin, listed, stepped

from layers.errors import InputError
from routeplan.pump_lists import Hours, place, value_of
from routeplan.pump_queue import (
    Turn,
    least_lateness,
    serve_in_order,
    soonest_away,
    soonest_away_apart,
    thirstiest_first,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from oracles.every_order import Boat, Windows

    from routeplan.pump_queue import Opens, Queue

    Verb = Callable[[Sequence[Turn], int, Opens | None], Queue | None]

ROUNDING_H = 1e-9  # sums of floats; whole hours are exact


class Dock:
    """A dock by its windows, that counts how often it is asked."""

    def __init__(self, windows: Windows) -> None:
        self.windows = windows
        self.asked = 0

    def __call__(self, from_h: float, lasts_h: float) -> float | None:
        """[h] The first begin."""
        self.asked += 1
        assert self.windows is not None
        begins = (max(begin, from_h) for begin, end in self.windows if max(begin, from_h) + lasts_h <= end)
        return next(begins, None)


def opens_of(windows: Windows) -> Opens | None:
    return None if windows is None else Dock(windows)


def daily(days: int) -> Dock:
    """From 8 to 12 and 13 to 18 o'clock."""
    return Dock([(24 * day + begin, 24 * day + end) for day in range(days) for begin, end in ((8, 12), (13, 18))])


def turns_of(boats: Sequence[Boat]) -> list[Turn]:
    return [Turn(key, arrive, lasts) for key, (arrive, lasts) in enumerate(boats)]


def draw(rng: Random, count: int) -> tuple[list[Boat], int, Windows]:
    """Draw boats, many there at once, one to three pumps, and windows with short gaps, often too few for all."""
    boats = [(rng.choice((0, 0, rng.randrange(30))), rng.randrange(1, 9)) for _ in range(count)]
    if rng.random() < 0.4:
        return boats, rng.randrange(1, 4), None
    windows, begin = [], rng.randrange(6)
    for _ in range(rng.randrange(1, 5)):
        windows.append((begin, begin + rng.randrange(4, 20)))
        begin = windows[-1][1] + rng.randrange(1, 9)
    return boats, rng.randrange(1, 4), [*windows, (begin, begin + 500)] if rng.random() < 0.7 else windows


def totals(queue: Queue | None) -> tuple[float, float] | None:
    return None if queue is None else (queue.away_h, queue.waiting_h)


# By hand --------------------------------------------------------------------------------------------------------------


def test_three_boats_at_one_pump():
    """10, 20 and 30 min, all there at 0, wait 0, 10, 30 min, together 40, away after 60; longest first 0, 30, 50."""
    boats = [Turn(1, 0, 10 / 60), Turn(2, 0, 20 / 60), Turn(3, 0, 30 / 60)]
    for queue, waits_min in (
        (serve_in_order(boats, 1, None), (0, 10, 30)),
        (serve_in_order(boats[::-1], 1, None), (0, 30, 50)),
        (soonest_away(boats[::-1], 1, None), (0, 10, 30)),
    ):
        assert queue is not None
        assert [boat.wait_h * 60 for boat in queue.served] == pytest.approx(waits_min, abs=ROUNDING_H)
        assert queue.waiting_h * 60 == pytest.approx(sum(waits_min), abs=ROUNDING_H)
        assert queue.away_h == pytest.approx(1, abs=ROUNDING_H)
        assert queue.proven
        assert queue.gap_h == 0


def test_each_takes_the_pump_that_lets_her_begin_first():
    """Two pumps: 3 h at the first, 1 h at the second, where the third boat follows; at 7 both are free: the first."""
    queue = serve_in_order([Turn(7, 0, 3), Turn(5, 0, 1), Turn(6, 0.5, 2.5), Turn(4, 7, 1)], 2, None)
    assert queue is not None
    assert [(boat.key, boat.pump, boat.begin_h, boat.end_h, boat.wait_h) for boat in queue.served] == [
        (7, 1, 0, 3, 0),
        (5, 2, 0, 1, 0),
        (6, 2, 1, 3.5, 0.5),
        (4, 1, 7, 8, 0),
    ]
    assert (queue.away_h, queue.waiting_h) == (8, 0.5)


def test_who_would_not_be_done_by_closing_waits_for_the_next_opening():
    """Open 8 to 12 and 13 to 18: 3 h at 8, then 2 h at 13, done 15. With 1 h more, that one at 8, 3 h at 9."""
    boats = [Turn(1, 8, 3), Turn(2, 8, 2), Turn(3, 8, 1)]
    queue = serve_in_order(boats[:2], 1, daily(1))
    assert queue is not None
    assert [boat.begin_h for boat in queue.served] == [8, 13]
    queue = soonest_away(boats, 1, daily(1))
    assert queue is not None
    assert (queue.away_h, queue.waiting_h) == (15, 6)  # 1 h at 8, 3 h at 9, 2 h at 13; or 3 at 8, 1 at 11: 8
    assert [boat.key for boat in queue.served] == [3, 1, 2]


def test_longest_first_is_not_the_soonest():
    """Two pumps, 1.5, 1.5, 1, 1, 1 h: by pairs of a kind all are away after 3 h; longest first ends at 3.5.

    Work alone, 6 h over two pumps, tells that nothing ends before 3.
    """
    boats = [Turn(key, 0, lasts) for key, lasts in enumerate((1.5, 1.5, 1, 1, 1))]
    longest = serve_in_order(boats, 2, None)
    assert longest is not None
    assert (longest.away_h, longest.proven, longest.gap_h) == (3.5, False, 0.5)
    for exact_to in (0, 7):
        queue = soonest_away(boats, 2, None, exact_to=exact_to)
        assert queue is not None
        assert (queue.away_h, queue.waiting_h, queue.proven) == (3, 4.5, True)  # 0, 1.5; 0, 1, 2


def test_a_boat_that_is_never_served():
    """Five hours don't fit between 8 and 12, nor two of three hours."""
    assert serve_in_order([Turn(1, 0, 5)], 2, Dock([(8, 12)])) is None
    for verb in (serve_in_order, soonest_away, thirstiest_first, least_lateness):
        assert verb([Turn(1, 0, 3), Turn(2, 0, 3)], 1, Dock([(8, 12)])) is None
        assert verb([Turn(1, 0, 3), Turn(2, 0, 3)], 2, Dock([(8, 12)])) is not None
    assert soonest_away([Turn(1, 0, 3), Turn(2, 0, 3)], 1, Dock([(8, 12)]), exact_to=0) is None


def test_nobody_comes():
    for verb in (serve_in_order, soonest_away, thirstiest_first, least_lateness):
        queue = verb([], 2, daily(1))
        assert queue is not None
        assert (queue.served, queue.away_h, queue.waiting_h, queue.proven, queue.gap_h) == ((), 0, 0, True, 0)


def test_the_thirstiest_of_those_there_goes_first():
    """At 0 only the boat with 40 l is there and goes, though 5 l come at 0.5; at 2 those with 5 l, then 9 l."""
    boats = [Turn(1, 0, 2, margin_l=40), Turn(2, 0, 1, margin_l=60), Turn(3, 0.5, 1, margin_l=5), Turn(4, 1, 1, 9)]
    queue = thirstiest_first(boats, 1, None)
    assert queue is not None
    assert [(boat.key, boat.begin_h) for boat in queue.served] == [(1, 0), (3, 2), (4, 3), (2, 4)]


def test_the_thirstiest_holds_no_pump_up_that_she_could_not_leave_by_closing():
    """At 11, an hour before the break, the one who takes two waits for 13; the other goes."""
    boats = [Turn(1, 11, 2, margin_l=1), Turn(2, 11, 1, margin_l=50)]
    queue = thirstiest_first(boats, 1, daily(1))
    assert queue is not None
    assert [(boat.key, boat.begin_h) for boat in queue.served] == [(2, 11), (1, 13)]


def test_margins_alike_go_by_arrival_then_key():
    boats = [Turn(9, 0, 1), Turn(3, 0.5, 1), Turn(2, 0.5, 1), Turn(1, 0.6, 1)]
    queue = thirstiest_first(boats, 1, None)
    assert queue is not None
    assert [boat.key for boat in queue.served] == [9, 2, 3, 1]


def test_fuels_have_queues_of_their_own():
    """Apart, gasoline ends at 3 with 1 h waited, diesel at 2; at one berth shortest first: 1, 2, 2 h, ends 1, 3, 5."""
    boats = {"gasoline": [Turn(1, 0, 2), Turn(2, 0, 1)], "diesel": [Turn(3, 0, 2)], "none": []}
    apart = soonest_away_apart(boats, {"gasoline": 1, "diesel": 2}, None, shared=False)
    assert apart is not None
    assert {fuel: totals(queue) for fuel, queue in apart.items()} == {
        "gasoline": (3, 1),
        "diesel": (2, 0),
        "none": (0, 0),
    }
    shared = soonest_away_apart(boats, {"gasoline": 1, "diesel": 1}, None, shared=True)
    assert shared is not None
    assert [(boat.key, boat.pump) for boat in shared["gasoline"].served] == [(2, 1), (1, 1)]
    assert {fuel: totals(queue) for fuel, queue in shared.items()} == {
        "gasoline": (3, 1),
        "diesel": (5, 3),
        "none": (0, 0),
    }
    for shares in (True, False):
        assert soonest_away_apart(boats, {"gasoline": 1, "diesel": 1}, Dock([(8, 9)]), shared=shares) is None


# Against every order --------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_search_is_exact():
    """Against every order at every pump up to five boats, every order by list up to seven."""
    rng = Random(811)  # noqa: S311  a seeded draw
    none = 0
    for case in range(260):
        count = rng.randrange(1, 6) if case < 240 else rng.randrange(6, 8)
        boats, pumps, windows = draw(rng, count)
        least = best(boats, pumps, windows) if count < 6 else best(boats, pumps, windows, every_list)
        queue = soonest_away(turns_of(boats), pumps, opens_of(windows))
        assert totals(queue) == least, (boats, pumps, windows)
        assert queue is None or (queue.proven and queue.gap_h == 0)
        none += least is None
    assert none > 5


def test_every_plan_is_no_better_than_every_list():
    """What the search leans on, by the oracle alone."""
    rng = Random(812)  # noqa: S311  a seeded draw
    for _ in range(100):
        boats, pumps, windows = draw(rng, rng.randrange(2, 6))
        assert best(boats, pumps, windows) == best(boats, pumps, windows, every_list)


def test_boats_in_order_are_served_by_list():
    rng = Random(813)  # noqa: S311  a seeded draw
    for _ in range(1500):
        count = rng.randrange(1, 12)
        boats, pumps, windows = draw(rng, count)
        plan = listed(boats, range(count), pumps, windows)
        queue = serve_in_order(turns_of(boats), pumps, opens_of(windows))
        if plan is None:
            assert queue is None
            continue
        assert queue is not None
        told = [(boat.begin_h, boat.pump - 1, boat.key) for boat in queue.served]
        assert told == sorted((begin, pump, boat) for boat, (pump, begin) in enumerate(plan))


def test_the_fast_sums_of_a_list_are_those_of_its_plan():
    """Those who can never be served are counted, and hold nobody up."""
    rng = Random(822)  # noqa: S311  a seeded draw
    left = 0
    for _ in range(600):
        boats, pumps, windows = draw(rng, rng.randrange(3, 9))
        turns = turns_of(boats)
        hours = Hours(opens_of(windows), turns)
        left_out, away_h, waiting_h = value_of(turns, pumps, hours)
        served = place(turns, pumps, hours)
        assert left_out == len(turns) - len(served)
        assert away_h == max((boat.end_h for boat in served), default=-math.inf)
        assert waiting_h == sum(boat.wait_h for boat in served)
        left += left_out > 0
    assert left > 20


@pytest.mark.slow
def test_what_the_improved_list_claims_is_so():
    """Without the search: never sooner than the soonest, the gap never told too small, `proven` only where it is so."""
    rng = Random(814)  # noqa: S311  a seeded draw
    met = tried = 0
    for _ in range(500):
        boats, pumps, windows = draw(rng, rng.randrange(2, 8))
        exact = soonest_away(turns_of(boats), pumps, opens_of(windows))
        queue = soonest_away(turns_of(boats), pumps, opens_of(windows), exact_to=0)
        if exact is None:
            assert queue is None
            continue
        if queue is None:
            continue
        tried += 1
        assert (queue.away_h, queue.waiting_h) >= (exact.away_h, exact.waiting_h)
        assert queue.gap_h >= queue.away_h - exact.away_h
        assert queue.proven == (queue.gap_h == 0)
        met += queue.away_h == exact.away_h
    assert tried > 400
    assert met >= 0.98 * tried  # it is worth its name


def test_the_gap_of_any_order_is_no_smaller_than_the_true_one():
    rng = Random(815)  # noqa: S311  a seeded draw
    proven = 0
    for _ in range(600):
        boats, pumps, windows = draw(rng, rng.randrange(2, 7))
        exact = soonest_away(turns_of(boats), pumps, opens_of(windows))
        for queue in (
            serve_in_order(turns_of(boats), pumps, opens_of(windows)),
            thirstiest_first(turns_of(boats), pumps, opens_of(windows)),
        ):
            if queue is not None:
                assert exact is not None
                assert queue.gap_h >= queue.away_h - exact.away_h
                assert queue.proven == (queue.gap_h == 0)
                proven += queue.proven
    assert proven > 100


@pytest.mark.parametrize("verb", [thirstiest_first, least_lateness])
def test_rules_are_those_of_a_dock_hand(verb: Verb):
    """Hour by hour: the first in rank of those there who can begin takes a free pump."""
    rng = Random(816)  # noqa: S311  a seeded draw
    for _ in range(400):
        count = rng.randrange(1, 9)
        boats, pumps, windows = draw(rng, count)
        ranks = rng.sample(range(100), count)
        other = rng.sample(range(100), count)
        field, beside = ("margin_l", "due_h") if verb is thirstiest_first else ("due_h", "margin_l")
        turns = [replace(turn, **{field: ranks[turn.key], beside: other[turn.key]}) for turn in turns_of(boats)]
        begins = stepped(boats, ranks, pumps, windows, until=150)
        queue = verb(turns, pumps, opens_of(windows))
        if queue is None:
            assert len(begins) < count
        else:
            assert {boat.key: boat.begin_h for boat in queue.served} == begins


def test_a_shared_berth_is_one_queue():
    rng = Random(817)  # noqa: S311  a seeded draw
    for _ in range(100):
        boats, _, windows = draw(rng, rng.randrange(2, 6))
        turns = turns_of(boats)
        by_fuel = {"gasoline": turns[::2], "diesel": turns[1::2]}
        queues = soonest_away_apart(by_fuel, {"gasoline": 3, "diesel": 2}, opens_of(windows), shared=True)
        least = best(boats, 1, windows)
        assert (queues is None) == (least is None)
        if queues is not None:
            assert max(queue.away_h for queue in queues.values()) == least[0]
            assert sum(queue.waiting_h for queue in queues.values()) == least[1]
            assert {fuel: {boat.key % 2 for boat in queue.served} for fuel, queue in queues.items()} == {
                "gasoline": {0},
                "diesel": {1},
            }


# The dock's hours -----------------------------------------------------------------------------------------------------


def test_what_is_deduced_of_the_hours_is_what_the_dock_would_say():
    """Half of the answers and more are deduced."""
    rng = Random(818)  # noqa: S311  a seeded draw
    asked = answered = 0
    for _ in range(300):
        boats, _, windows = draw(rng, 8)
        if windows is None:
            continue
        dock = Dock(windows)
        hours = Hours(dock, turns_of(boats))
        for _ in range(100):
            from_h, (_, lasts_h) = rng.randrange(80), rng.choice(boats)
            told = first_begin(windows, from_h, lasts_h)
            assert hours.begin_h(from_h, lasts_h) == (math.inf if told is None else told)
            answered += 1
        asked += dock.asked
    assert asked < 0.5 * answered


def test_a_dock_that_is_open_throughout_is_asked_once():
    dock = Dock([(0, 1000)])
    boats = [Turn(key, key / 7, 0.4) for key in range(30)]
    assert soonest_away(boats, 2, dock) == soonest_away(boats, 2, None)
    assert dock.asked == 1


def test_a_dock_with_hours_is_asked_little():
    """Sixty boats over several days place some tens of thousands in turn; each asks only where nothing is known yet."""
    rng = Random(819)  # noqa: S311  a seeded draw
    dock = daily(30)
    assert (
        soonest_away([Turn(key, 9 + rng.random() * 9, 0.25 + rng.random()) for key in range(60)], 1, dock) is not None
    )
    assert dock.asked < 1000


# Long queues ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("pumps", [1, 2, 3])
@pytest.mark.parametrize("count", [7, 20, 60])
def test_hours_are_asked_for_seldom(count: int, pumps: int):
    """Hours may be dear to ask for: once for each boat and order that is tried would be thousands of times."""
    rng = Random(count)  # noqa: S311  a seeded draw
    boats = [Turn(key, 9 + rng.random() * count * 0.3 / pumps, 0.25 + rng.random() * 0.75) for key in range(count)]
    opens, asked = daily(60), 0

    def counted(at_h: float, lasts_h: float) -> float | None:
        nonlocal asked
        asked += 1
        return opens(at_h, lasts_h)

    assert soonest_away(boats, pumps, counted) is not None
    assert asked < 20 * count


@pytest.mark.parametrize("count", [6, 15])
def test_the_same_boats_get_the_same_queue(count: int):
    rng = Random(820)  # noqa: S311  a seeded draw
    for _ in range(10):
        boats, pumps, windows = draw(rng, count)
        turns = turns_of(boats)
        queue = soonest_away(turns, pumps, opens_of(windows))
        rng.shuffle(turns)
        assert soonest_away(turns, pumps, opens_of(windows)) == queue


def test_one_pump_always_open_is_proven_for_any_number():
    """No pump can be done sooner than first come, first served; at once, shortest first waits least as well."""
    rng = Random(821)  # noqa: S311  a seeded draw
    for arrive in (0, 12):
        boats = [Turn(key, rng.random() * arrive, 0.1 + rng.random()) for key in range(40)]
        first_come = serve_in_order(sorted(boats, key=lambda boat: boat.arrive_h), 1, None)
        queue = soonest_away(boats, 1, None)
        assert queue is not None
        assert first_come is not None
        assert queue.proven
        assert queue.away_h == pytest.approx(first_come.away_h, abs=ROUNDING_H)
        assert queue.waiting_h < first_come.waiting_h
    shortest = sorted(0.1 + key % 7 for key in range(40))
    queue = soonest_away([Turn(key, 3, 0.1 + key % 7) for key in range(40)], 1, None)
    assert queue is not None
    assert queue.waiting_h == pytest.approx(sum(sum(shortest[:place]) for place in range(40)), abs=1e-8)


# Bad input ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("verb", [serve_in_order, soonest_away, thirstiest_first, least_lateness])
@pytest.mark.parametrize(
    ("turns", "pumps", "says"),
    [
        ([Turn(1, 0, 1)], 0, "one at the least"),
        ([Turn(1, 0, 1), Turn(1, 2, 1)], 1, "twice"),
        ([Turn(1, math.nan, 1)], 1, "no finite hour"),
        ([Turn(1, math.inf, 1)], 1, "no finite hour"),
        ([Turn(1, 0, -0.1)], 1, "not negative"),
        ([Turn(1, 0, math.inf)], 1, "not negative"),
        ([Turn(1, 0, 1, margin_l=math.nan)], 1, "no number"),
        ([Turn(1, 0, 1, due_h=math.nan)], 1, "no number"),
    ],
)
def test_bad_input_is_refused(verb: Verb, turns: list[Turn], pumps: int, says: str):
    with pytest.raises(InputError, match=says) as refused:
        verb(turns, pumps, None)
    assert "\n" not in str(refused.value)


def test_a_fuel_without_a_pump_is_refused():
    with pytest.raises(InputError, match="diesel"):
        soonest_away_apart({"diesel": [Turn(1, 0, 1)]}, {"gasoline": 1}, None, shared=False)
    twice = {"diesel": [Turn(1, 0, 1)], "gasoline": [Turn(1, 0, 1)]}
    with pytest.raises(InputError, match="twice"):
        soonest_away_apart(twice, {"gasoline": 1, "diesel": 1}, None, shared=True)
