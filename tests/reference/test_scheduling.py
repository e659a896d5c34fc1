"""Queues at the pumps against what is published of machines and jobs.

Each result carries its source; all are from memory, and so is held against every order there is besides.
"""

from __future__ import annotations

import math
from random import Random

import pytest
from oracles.every_order import away, every_list, every_plan, greatest_lateness, listed, waiting

from routeplan.pump_queue import Turn, least_lateness, serve_in_order, soonest_away

WHOLE = 1e-9  # sums of whole numbers


def at_once(lasts: list[int]) -> list[Turn]:
    return [Turn(key, 0, each) for key, each in enumerate(lasts)]


def test_shortest_first_waits_least_at_one_pump():
    """Smith, W. E., Naval Research Logistics Quarterly 3 (1956), 59-66: shortest first. From memory."""
    rng = Random(56)  # noqa: S311  a seeded draw
    for _ in range(40):
        lasts = [rng.randrange(1, 12) for _ in range(rng.randrange(2, 8))]
        boats = [(0, each) for each in lasts]
        least = min(waiting(boats, plan) for plan in every_list(boats, 1, None))
        queue = serve_in_order(at_once(sorted(lasts)), 1, None)
        assert queue is not None
        assert queue.waiting_h == least
        for exact_to in (0, 7):  # without the search, and with it
            found = soonest_away(at_once(lasts), 1, None, exact_to=exact_to)
            assert found is not None
            assert (found.away_h, found.waiting_h, found.proven) == (sum(lasts), least, True)


def test_shortest_first_waits_least_at_several_pumps():
    """Conway, Maxwell and Miller, "Theory of Scheduling", 1967, alike machines: shortest first by list. From memory."""
    rng = Random(67)  # noqa: S311  a seeded draw
    for _ in range(40):
        lasts = [rng.randrange(1, 12) for _ in range(rng.randrange(2, 6))]
        boats, pumps = [(0, each) for each in lasts], rng.randrange(2, 4)
        queue = serve_in_order(at_once(sorted(lasts)), pumps, None)
        assert queue is not None
        assert queue.waiting_h == min(waiting(boats, plan) for plan in every_plan(boats, pumps, None))


def test_earliest_due_first_is_least_late():
    """Jackson, J. R., "Scheduling a production line to minimize maximum tardiness", UCLA, 1955. From memory."""
    rng = Random(55)  # noqa: S311  a seeded draw
    for _ in range(40):
        count = rng.randrange(2, 8)
        boats = [(0, rng.randrange(1, 12)) for _ in range(count)]
        dues = [rng.randrange(1, 50) for _ in range(count)]
        queue = least_lateness([Turn(key, 0, boats[key][1], due_h=dues[key]) for key in range(count)], 1, None)
        assert queue is not None
        late = max(boat.end_h - dues[boat.key] for boat in queue.served)
        assert late == min(greatest_lateness(boats, dues, plan) for plan in every_list(boats, 1, None))


@pytest.mark.parametrize("pumps", [2, 3, 4, 5, 6])
def test_the_worst_list(pumps: int):
    """Graham, SIAM J. Appl. Math. 17 (1969), 416-429, from memory: m (m - 1) jobs of 1, then one of m, end at 2m - 1.

    The best is m: a list is never worse than 2 - 1/m times that, and this one is so bad.
    """
    lasts = [1] * (pumps * (pumps - 1)) + [pumps]
    queue = serve_in_order(at_once(lasts), pumps, None)
    found = soonest_away(at_once(lasts), pumps, None, exact_to=0)
    assert queue is not None
    assert found is not None
    assert queue.away_h == 2 * pumps - 1
    assert queue.gap_h == pumps - 1
    assert (found.away_h, found.proven) == (pumps, True)


@pytest.mark.parametrize("pumps", [2, 3, 4, 5, 6])
def test_the_worst_of_longest_first(pumps: int):
    """Graham 1969, from memory: two each of 2m - 1 .. m + 1 and three of m end at 4m - 1 if longest first; best 3m.

    That is the bound 4/3 - 1/(3m) itself, which no answer of ours may exceed; and 3m is found.
    """
    lasts = [each for each in range(2 * pumps - 1, pumps, -1) for _ in range(2)] + [pumps] * 3
    longest = serve_in_order(at_once(lasts), pumps, None)
    found = soonest_away(at_once(lasts), pumps, None, exact_to=0)
    assert longest is not None
    assert found is not None
    assert longest.away_h == 4 * pumps - 1
    assert longest.away_h == pytest.approx((4 / 3 - 1 / (3 * pumps)) * 3 * pumps, abs=WHOLE)
    assert found.away_h <= longest.away_h
    assert found.away_h == 3 * pumps
    assert found.gap_h >= 0


def test_bounds_of_lists_where_the_best_is_known():
    """Pumps cut into jobs with nothing left between: the best is the length.

    Any list is within 2 - 1/m of it, ours within 4/3 - 1/(3m) (Graham 1969, from memory), and the gap is never told
    smaller than it is.
    """
    rng = Random(69)  # noqa: S311  a seeded draw
    met = 0
    for _ in range(60):
        pumps, length, lasts = rng.randrange(1, 5), rng.randrange(20, 60), []
        for _ in range(pumps):
            cuts = sorted(rng.sample(range(1, length), rng.randrange(2, 6)))
            lasts += [end - begin for begin, end in zip([0, *cuts], [*cuts, length], strict=True)]
        rng.shuffle(lasts)
        anyhow = serve_in_order(at_once(lasts), pumps, None)
        found = soonest_away(at_once(lasts), pumps, None, exact_to=0)
        assert anyhow is not None
        assert found is not None
        assert length <= anyhow.away_h <= (2 - 1 / pumps) * length + WHOLE
        assert length <= found.away_h <= (4 / 3 - 1 / (3 * pumps)) * length + WHOLE
        assert found.gap_h >= found.away_h - length
        assert anyhow.gap_h >= anyhow.away_h - length
        met += found.away_h == length
    assert met >= 40


def test_the_bound_of_longest_first_where_the_best_is_counted():
    """The same (Graham 1969, from memory) with the best by every order."""
    rng = Random(70)  # noqa: S311  a seeded draw
    for _ in range(20):
        lasts, pumps = [rng.randrange(1, 12) for _ in range(7)], rng.randrange(2, 4)
        boats = [(0, each) for each in lasts]
        least = min(away(boats, plan) for plan in every_list(boats, pumps, None))
        longest = listed(boats, sorted(range(7), key=lambda boat: -lasts[boat]), pumps, None)
        found = soonest_away(at_once(lasts), pumps, None, exact_to=0)
        assert found is not None
        assert longest is not None
        assert least <= found.away_h <= min(away(boats, longest), math.floor((4 / 3 - 1 / (3 * pumps)) * least + WHOLE))
