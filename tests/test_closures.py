"""Sums from full mark to full mark, each solved by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.small_logs import fill

from routeplan.closures import Use, find_closures, meter_count, read_use

if TYPE_CHECKING:
    from routeplan.closures import Closure


def written(closure: Closure) -> list[tuple[float, ...]]:
    return [ways[0].metered_l if ways else () for ways in closure.uses]


def test_two_full_fills_are_two_sums():
    """The first leans on a full tank that the log doesn't tell of."""
    one, two = find_closures([fill(0, 61, 60), fill(1, 79, 80)], 1)
    assert (one.rows, one.pumped_l, one.start_known, one.full) == ((0,), 61, False, True)
    assert (two.rows, two.pumped_l, two.start_known, two.metered) == ((1,), 79, True, True)


def test_a_part_fill_is_counted_in_the_sum_that_the_next_full_one_closes():
    """30 + 50 pumped against 44 + 35 by the meter."""
    _, two = find_closures([fill(0, 61, 60), fill(1, 30, 44, filled_to_full=False), fill(2, 50, 35)], 1)
    assert (two.rows, two.pumped_l) == ((1, 2), 80)
    assert written(two) == [(44,), (35,)]


def test_a_meter_that_runs_on_is_read_by_difference():
    """60, then 104 and 139 on the same count: 44 and 35."""
    log = [fill(0, 61, 60, meter_reset=False), fill(1, 45, 104, meter_reset=False), fill(2, 36, 139)]
    assert [written(closure) for closure in find_closures(log, 1)] == [[(60,)], [(44,)], [(35,)]]


def test_a_reset_that_the_log_says_was_forgotten_is_a_difference_as_written():
    """The log says so itself, so that nothing is doubtful: 139 - 104 = 35."""
    log = [fill(0, 105, 104), fill(1, 36, 139, since=("reset-forgotten",))]
    _, two = find_closures(log, 1)
    assert written(two) == [(35,)]
    assert [row for row, _, _ in two.choices()] == [None, 1]  # it may have been reset after all


def test_a_figure_may_have_run_on_where_it_rose_only():
    """115 after 60 may be 55; 40 after 60 can't have run on."""
    _, rose = find_closures([fill(0, 61, 60), fill(1, 56, 115)], 1)
    _, fell = find_closures([fill(0, 61, 60), fill(1, 41, 40)], 1)
    assert list(rose.choices()) == [(None, "as-written", ((115,),)), (1, "reset-forgotten", ((55,),))]
    assert list(fell.choices()) == [(None, "as-written", ((40,),))]


def test_a_meter_said_to_run_on_whose_figure_fell_was_reset():
    """60, not reset, then 40."""
    _, two = find_closures([fill(0, 61, 60, meter_reset=False), fill(1, 41, 40)], 1)
    assert two.uses == ((Use("was-reset", (40,)),),)


def test_a_figure_that_can_not_be_told_from_an_unread_one():
    """Not reset, and not read at the fill-up before: 100 counts from who knows when."""
    _, two = find_closures([fill(0, 61, meter_reset=False), fill(1, 41, 100)], 1)
    assert two.uses == ((),)
    assert not two.metered


@pytest.mark.parametrize("what", ["reset-in-mid-tank", "meter-replaced", "meter2-replaced"])
def test_a_run_that_the_meter_did_not_see_whole_is_not_metered(what: Any):
    """But the sum holds as such, and the next one is metered again."""
    _, two, three = find_closures([fill(0, 61, 60), fill(1, 80, 20, since=(what,)), fill(2, 79, 80)], 1)
    assert (two.metered, two.chained, two.pumped_l) == (False, True, 80)
    assert three.metered


def test_after_a_reset_in_mid_tank_a_meter_that_runs_on_is_read_from_there():
    """Reset in mid-tank, 20 at the fill-up, not reset there; 95 at the next: 75."""
    log = [fill(0, 61, 60), fill(1, 80, 20, since=("reset-in-mid-tank",), meter_reset=False), fill(2, 76, 95)]
    assert written(find_closures(log, 1)[2]) == [(75,)]


def test_an_unwritten_fill_up_breaks_its_own_sum_only():
    log = [fill(0, 61, 60), fill(1, 80, 130, since=("unwritten-fillup",)), fill(2, 79, 80)]
    _, two, three = find_closures(log, 1)
    assert (two.chained, two.metered) == (False, False)
    assert (three.chained, three.metered, three.start_known) == (True, True, True)


def test_an_unwritten_fill_up_between_part_fills_breaks_the_whole_sum():
    log = [fill(0, 61, 60), fill(1, 30, 44, filled_to_full=False, since=("unwritten-fillup",)), fill(2, 50, 35)]
    _, two = find_closures(log, 1)
    assert (two.rows, two.chained) == ((1, 2), False)


def test_fill_ups_after_the_last_full_mark_are_an_open_sum():
    *_, last = find_closures([fill(0, 61, 60), fill(1, 30, 44, filled_to_full=False)], 1)
    assert (last.full, last.rows, last.pumped_l, last.metered) == (False, (1,), 30, True)


def test_part_fills_only_are_one_open_sum():
    (only,) = find_closures([fill(day, 30, 40, filled_to_full=False) for day in range(3)], 1)
    assert (only.full, only.start_known, only.rows) == (False, False, (0, 1, 2))


def test_two_meters_are_two_figures():
    """31 + 29 and 35 + 33; both rose by 4, so both may have run on."""
    log = [fill(0, 61, 31, meter2_used_l=29), fill(1, 69, 35, meter2_used_l=33)]
    _, two = find_closures(log, 2)
    assert list(two.choices()) == [(None, "as-written", ((35, 33),)), (1, "reset-forgotten", ((4, 4),))]


def test_of_two_meters_one_unread_tells_nothing():
    """Half of what was used is no sum."""
    log = [fill(0, 61, 31, meter2_used_l=29), fill(1, 69, 35), fill(2, 40, None, meter2_used_l=20)]
    assert [closure.metered for closure in find_closures(log, 2)] == [True, False, False]


def test_of_two_meters_one_fell():
    """35 after 31, but 20 after 29: they are reset together, so they were."""
    assert read_use((35.0, 20.0), fill(0, 61, 31, meter2_used_l=29), 2, reset=True) == (Use("as-written", (35, 20)),)


def test_counting_meters():
    assert meter_count([]) == 0
    assert meter_count([fill(0, 61)]) == 0
    assert meter_count([fill(0, 61), fill(1, 61, 0)]) == 1
    assert meter_count([fill(0, 61, 60), fill(1, 61, None, meter2_used_l=0)]) == 2


def test_figures_that_differ_by_a_rounding_were_not_less():
    """44 gal + 0.1 gal - 0.1 gal in litres is not quite 44 gal; the meter stood still."""
    before = fill(0, 61, 166.55811849600002, meter_reset=False)
    assert read_use((166.558118496,), before, 1, reset=False)[0] == Use("as-written", (0,))


@given(
    st.lists(
        st.tuples(
            st.floats(1, 300),
            st.none() | st.floats(0, 300),
            st.booleans(),
            st.booleans(),
            st.sampled_from([(), ("unwritten-fillup",), ("reset-forgotten",), ("reset-in-mid-tank",)]),
        ),
        max_size=10,
    )
)
def test_every_fill_up_is_in_one_sum_and_no_litre_is_lost(rows: list[tuple[float, float | None, bool, bool, Any]]):
    log = [
        fill(day, pumped, meter, filled_to_full=full, meter_reset=reset, since=since)
        for day, (pumped, meter, full, reset, since) in enumerate(rows)
    ]
    sums = find_closures(log, 1)
    assert [row for closure in sums for row in closure.rows] == list(range(len(log)))
    assert sum(closure.pumped_l for closure in sums) == pytest.approx(sum(row[0] for row in rows))
    for closure in sums:
        assert len(closure.uses) == len(closure.rows)
        assert all(value >= 0 for ways in closure.uses for use in ways for value in use.metered_l)
        assert all(log[row].filled_to_full is False for row in closure.rows[:-1])
