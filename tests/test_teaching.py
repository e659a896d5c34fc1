"""What a whole log teaches: cases that one can do in one's head, and properties of any log."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.seasons import draw_season
from oracles.small_logs import LITRES, NAME, START, fill, plain_boat

from routeplan.aboard import Readings, find_aboard
from routeplan.fillups import Entry
from routeplan.teaching import learn, sharpened, without_log

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.boats import Boat
    from routeplan.fillups import Fillup
    from routeplan.lessons import Figure, Lesson
    from routeplan.units_shown import UnitSystem

BOAT = plain_boat()
ROUNDING = 1 + 1e-12  # a sum of weights that is 1 but for its last bits
USED_L = (210.0, 180.0, 240.0, 150.0, 230.0, 190.0, 260.0, 170.0, 220.0, 200.0)


def honest(factor: float = 1.03, count: int = 10, start: int = 0, seed: int = 7, **more: Any) -> list[Fillup]:
    """Write an honest log: fills that scatter by 2 l, a reading by 0.4 %, a gauge that reads true within 2 l."""
    rng = np.random.default_rng(seed)
    off_l = 2 * rng.standard_normal(count + 1)
    log = []
    for row in range(count):
        used = USED_L[row % 10]
        log.append(
            fill(
                start + row,
                round(float(used + off_l[row + 1] - off_l[row]), 1),
                round(float(used / factor * (1 + 0.004 * rng.standard_normal())), 1),
                round(float(380 + off_l[row] - used + 2 * rng.standard_normal()), 1),
                **more,
            )
        )
    return log


def factor_of(log: Sequence[Fillup], boat: Boat = BOAT) -> Figure:
    figure = learn(boat, log).lesson.meter_factor
    assert figure is not None
    return figure


def changed(one: Fillup, **more: Any) -> Fillup:
    return one.model_copy(update=more)


def same(one: Figure, other: Figure, sds: float):
    """Hold two figures to be the same within so many of the first one's standard deviations."""
    assert other.mean == pytest.approx(one.mean, abs=sds * one.sd)
    assert other.sd == pytest.approx(one.sd, rel=0.25)


def test_one_fill_up_already_says_something_and_how_little():
    """66 gal metered, 67 pumped, 74 gal tank: between the prior's 1 and 67 / 66, narrower than before, but not by half.

    Two marks of 0.74 gal and 0.8 % of 66: 1.17 gal or 1.8 % of it, against 3.3 % before.
    """
    boat = plain_boat("us", capacity=74)
    gallon_l = LITRES["us"]
    figure = factor_of([fill(0, 67 * gallon_l, 66 * gallon_l)], boat)
    assert 1.0 < figure.mean < 67 / 66
    prior = learn(boat, [fill(0, 30 * gallon_l, 20 * gallon_l, filled_to_full=False)]).lesson.meter_factor
    assert prior is not None
    assert 0.4 * prior.sd < figure.sd < 0.9 * prior.sd
    assert figure.rests_on == 1


def test_two_sums_that_balance_an_overfull_mark():
    """206 and 194 for 200 metered both times: 400 / 400, and neither is suspicious."""
    lesson = learn(BOAT, [fill(0, 206, 200), fill(1, 194, 200)]).lesson
    assert lesson.meter_factor is not None
    assert lesson.meter_factor.mean == pytest.approx(1.0, abs=0.005)
    assert lesson.suspicious == ()


def test_a_part_fill_splits_a_fill_up_without_changing_the_factor():
    """A fill of 240 l taken in two parts, with nothing used in between but a litre."""
    log = honest()
    parts = [
        fill(2.0, 100, round((log[2].meter_used_l or 0) - 1, 1), filled_to_full=False),
        fill(2.1, round(log[2].pumped_l - 100, 1), 1.0),
    ]
    same(factor_of(log), factor_of([*log[:2], *parts, *log[3:]]), 0.15)


def test_a_meter_that_is_never_reset_teaches_the_same():
    """Running totals: each figure is all that went before and its own."""
    log = honest()
    totals = np.cumsum([one.meter_used_l or 0.0 for one in log])
    chained = [
        changed(one, meter_used_l=round(float(total), 1), meter_reset=False)
        for one, total in zip(log, totals, strict=True)
    ]
    same(factor_of(log), factor_of(chained), 0.1)
    assert learn(BOAT, chained).lesson.suspicious == ()


@pytest.mark.parametrize("since", ["unwritten-fillup", "reset-in-mid-tank"])
def test_a_run_that_the_log_explains_is_left_aside(since: str):
    """As if that row's meter had not been read; nothing is suspicious."""
    log = honest()
    explained = [*log[:4], changed(log[4], meter_used_l=333.0, since=(since,)), *log[5:]]
    unread = [*log[:4], changed(log[4], meter_used_l=None), *log[5:]]
    same(factor_of(unread), factor_of(explained), 0.1)
    assert learn(BOAT, explained).lesson.suspicious == ()
    assert factor_of(explained).rests_on == 9


def test_a_forgotten_reset_still_teaches():
    """Found and put right by the difference: the factor is what it would have been."""
    log = honest()
    shown_l = (log[4].meter_used_l or 0) + (log[3].meter_used_l or 0)
    forgotten = [*log[:4], changed(log[4], meter_used_l=round(shown_l, 1)), *log[5:]]
    lesson = learn(BOAT, forgotten).lesson
    same(factor_of(log), factor_of(forgotten), 0.3)
    assert [one.when for one in lesson.suspicious] == [log[4].when]
    assert factor_of(forgotten).rests_on == 10


def test_a_replaced_meter_is_fitted_by_its_own_sums():
    """The old one read 8 % low, the new one 3 % high: the new factor is as if the old had never been."""
    old, new = honest(1.08), honest(0.97, start=20, seed=8)
    new[0] = changed(new[0], since=("meter-replaced",))
    lesson = learn(BOAT, [*old, *new]).lesson
    assert lesson.meter_factor is not None
    alone = factor_of(new)
    assert lesson.meter_factor.mean == pytest.approx(0.97, abs=2.5 * lesson.meter_factor.sd)
    assert lesson.meter_factor.mean == pytest.approx(alone.mean, abs=0.35 * alone.sd)
    assert lesson.meter_factor.rests_on == 9
    assert lesson.meters[0].since == new[0].when
    assert lesson.suspicious == ()
    assert len(lesson.sums) == 19
    assert lesson.fillups == 20


def test_two_meters():
    """Each engine's own, 4 % low and 2 % high, on runs that use them unequally; together, pumped / metered."""
    used_l = [(160, 60), (50, 150), (140, 60), (60, 160), (170, 40), (40, 180), (150, 50), (60, 140)]
    log = [
        fill(day, one + two, round(one / 1.04, 1), meter2_used_l=round(two / 0.98, 1))
        for day, (one, two) in enumerate(used_l)
    ]
    lesson = learn(BOAT, log).lesson
    assert [meter.meter for meter in lesson.meters] == [1, 2]
    for meter, factor in zip(lesson.meters, (1.04, 0.98), strict=True):
        assert meter.factor.low < factor < meter.factor.high
    assert lesson.meter_factor is not None
    total = sum(map(sum, used_l)) / sum(one / 1.04 + two / 0.98 for one, two in used_l)
    assert lesson.meter_factor.mean == pytest.approx(total, abs=1.5 * lesson.meter_factor.sd)
    assert lesson.meter_factor.sd < min(meter.factor.sd for meter in lesson.meters)


def test_only_part_fills_teach_nothing_and_say_so():
    lesson = learn(BOAT, [fill(day, 30, 40, 200, filled_to_full=False) for day in range(5)]).lesson
    assert lesson.meter_factor is not None
    assert (lesson.meter_factor.mean, lesson.meter_factor.rests_on) == (pytest.approx(1.0, abs=0.002), 0)
    assert any("No fill-up to the full mark" in note for note in lesson.notes)
    assert lesson.sums == ()


def test_only_a_gauge():
    lesson = learn(BOAT, [changed(one, meter_used_l=None) for one in honest()]).lesson
    assert lesson.meter_factor is None
    assert lesson.meters == ()
    assert lesson.sums == ()
    middle = min(lesson.gauge_table, key=lambda row: abs(row.reading_l - 180))
    assert middle.low_l < middle.reading_l < middle.high_l
    assert middle.high_l - middle.low_l < 20


def test_only_a_meter():
    lesson = learn(BOAT, [changed(one, gauge_before_l=None) for one in honest()]).lesson
    assert lesson.gauge_table == ()
    assert lesson.gauge_points == ()
    assert lesson.meter_factor is not None
    assert lesson.meter_factor.low < 1.03 < lesson.meter_factor.high


def test_only_the_pump():
    """Neither instrument: what is learnt is the burn. 240 l for 80 nmi and 4 h at 20 kn, by the table: 1."""
    log = [fill(day, 240, distance_run_nmi=80, engine_hours_h=4) for day in range(8)]
    lesson = learn(BOAT, log).lesson
    assert lesson.meter_factor is None
    assert lesson.burn_factor is not None
    assert lesson.burn_factor.mean == pytest.approx(1.0, abs=0.01)
    assert lesson.economy_nmi_per_l is not None
    assert lesson.economy_nmi_per_l.mean == pytest.approx(80 / 240, rel=0.01)


def test_no_log():
    lesson = without_log(BOAT).lesson
    assert (lesson.fillups, lesson.meter_factor, lesson.burn_factor) == (0, None, None)
    assert lesson.suspicious == ()
    assert lesson.taught == BOAT
    assert sharpened(learn(BOAT, [])) == ()


def test_the_burn_goes_into_the_boat_that_plans():
    """A tenth more than the table, each run: the taught boat's table is 1.1 times the file's."""
    log = [fill(day, 264, distance_run_nmi=80, engine_hours_h=4) for day in range(20)]
    taught = learn(BOAT, log).boat
    assert taught.burn_lph(20.0) == pytest.approx(66, rel=0.01)
    assert taught.burn.idle_lph == pytest.approx(3.3, rel=0.01)
    assert taught.burn.sd_share < 0.06


def test_seas_are_told_where_there_are_three_runs():
    """Calm at the table's burn, rough at a fifth more; of one slight run nothing is told."""
    log = [
        fill(day, 240 if day % 2 else 288, distance_run_nmi=80, engine_hours_h=4, sea="calm" if day % 2 else "rough")
        for day in range(8)
    ]
    log.append(fill(9, 250, distance_run_nmi=80, engine_hours_h=4, sea="slight"))
    seas = {one.sea: one for one in learn(BOAT, log).lesson.by_sea}
    assert set(seas) == {"calm", "rough"}
    assert seas["calm"].burn_factor == pytest.approx(1.0, abs=0.02)
    assert seas["rough"].burn_factor == pytest.approx(1.2, abs=0.02)


def test_other_boats_and_any_order_make_no_difference():
    """Entries with their own names, as a log has them."""
    log = [
        Entry(entry=f"aaaa{row:04d}", entered=one.when, fillup=one)
        for row, one in enumerate([*honest()[:6], changed(honest()[6], meter_used_l=20.0), *honest()[7:]])
    ]
    others = [
        Entry(entry=f"bbbb{row:04d}", entered=one.when, fillup=changed(one, boat="Another", pumped_l=399.0))
        for row, one in enumerate(honest())
    ]
    mixed = [*log, *others]
    np.random.default_rng(1).shuffle(mixed)
    assert learn(BOAT, mixed).lesson == learn(BOAT, log).lesson


def test_more_than_400_leave_the_oldest_out():
    """20 old rows of a broken meter, then 400 good ones: only these are used, and it says so."""
    log = [fill(0.01 * row, 200, 300) for row in range(20)]
    log += [changed(one, gauge_before_l=None) for n in range(40) for one in honest(start=1 + 10 * n, seed=n)]
    lesson = learn(BOAT, log).lesson
    assert lesson.fillups == 400
    assert any("20 older fill-ups are left out" in note for note in lesson.notes)
    assert lesson.meter_factor is not None
    assert lesson.meter_factor.mean == pytest.approx(1.03, abs=0.002)


def test_a_thousand_equal_rows():
    """200 for 200, over and over: 1, very sure, and no sign of strain. The gauge was fitted late in her life."""
    lesson = learn(BOAT, [fill(row, 200, 200, 180 if row >= 900 else None) for row in range(1000)]).lesson
    assert lesson.meter_factor is not None
    assert lesson.meter_factor.mean == pytest.approx(1.0, abs=1e-4)
    assert 0 < lesson.meter_factor.sd < 0.001
    assert lesson.suspicious == ()
    sound(lesson)


@pytest.mark.parametrize(
    "log",
    [
        [fill(row, 200, 0, 0) for row in range(4)],
        [fill(row, 0.01, 0.01, 379.9) for row in range(4)],
        [fill(row, 200, 0.001, 400) for row in range(4)],
        [fill(row, 0.01, 399, 0) for row in range(4)],
        [fill(row, 400, 100_000, 400) for row in range(3)],
        [fill(row, 200, 200, (0, 400)[row % 2]) for row in range(6)],
        [fill(row, 200, 100, 180, meter2_used_l=0) for row in range(4)],
        [fill(row, 200, None, None, meter2_used_l=180) for row in range(3)],
        [fill(row, 200, 200, 180, distance_run_nmi=0.001, engine_hours_h=10_000) for row in range(3)],
        [fill(row, 200, 200, 180, distance_run_nmi=10_000, engine_hours_h=400) for row in range(3)],
        [fill(0, 200, 200, 180)] * 3,
    ],
)
def test_nothing_breaks_it(log: list[Fillup]):
    taught = learn(BOAT, log)
    sound(taught.lesson)
    meters_l = (50.0, 40.0)[: taught.meters or 1]
    aboard = find_aboard(taught, Readings(meters_l=meters_l, gauge_l=200.0))
    assert 0 <= aboard.low_l <= aboard.mean_l <= aboard.high_l <= 400


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.99])
def test_any_full_mark_a_boat_file_may_have(share: float):
    sound(learn(plain_boat(fill_share=share), honest()).lesson)


@pytest.mark.parametrize("capacity", [0.5, 5.0, 90_000.0])
def test_any_tank_a_boat_file_may_have(capacity: float):
    """All volumes with it: the factor hangs on their shares of the tank only, but for figures in tenths."""
    size = capacity / 400
    log = [
        changed(
            one,
            pumped_l=one.pumped_l * size,
            meter_used_l=(one.meter_used_l or 0) * size,
            gauge_before_l=(one.gauge_before_l or 0) * size,
        )
        for one in honest()
    ]
    lesson = learn(plain_boat(capacity=capacity), log).lesson
    sound(lesson)
    assert lesson.meter_factor is not None
    same(factor_of(honest()), lesson.meter_factor, 0.02)


def sound(lesson: Lesson):
    """Hold any lesson to what must be so of any log. That nothing is NaN or infinite its own types see to."""
    figures = [lesson.meter_factor, lesson.full_mark_sd_l, lesson.meter_sd_share, lesson.gauge_sd_l]
    figures += [lesson.burn_factor, lesson.economy_nmi_per_l, *(meter.factor for meter in lesson.meters)]
    for figure in figures:
        if figure is not None:
            assert 0 < figure.low <= figure.mean * ROUNDING
            assert figure.mean <= figure.high * ROUNDING
            assert figure.sd >= 0
            assert figure.rests_on <= lesson.fillups
            assert figure.sharpen or figure.rests_on == 0
    for meter in (lesson.meter_factor, *(one.factor for one in lesson.meters)):
        assert meter is None or 0.5 < meter.low <= meter.high < 2
    capacity_l = lesson.boat.tank.capacity_l
    for row in lesson.gauge_table:
        assert 0 <= row.low_l <= row.mean_l <= row.high_l <= capacity_l * (1 + 1e-9)
    for name in ("reading_l", "mean_l", "low_l", "high_l"):
        values = [getattr(row, name) for row in lesson.gauge_table]
        assert all(a <= b + 1e-9 * capacity_l for a, b in pairwise(values)), name
    assert sum(row.rests_on for row in lesson.gauge_table) == len(lesson.gauge_points)
    assert 0 < lesson.burn_sd_share < math.inf
    for one in lesson.suspicious:
        assert 0.5 <= one.probability <= 1
        assert one.why
    assert [one.when for one in lesson.suspicious] == sorted(one.when for one in lesson.suspicious)
    assert len(lesson.suspicious) <= lesson.fillups


volumes = st.floats(0, 600)
rows = st.fixed_dictionaries(
    {
        "pumped_l": st.floats(0.01, 400),
        "meter_l": st.none() | volumes,
        "gauge_l": st.none() | st.floats(0, 400) | st.sampled_from([0.0, 50.0, 100.0, 400.0]),
        "filled_to_full": st.booleans(),
        "meter_reset": st.booleans(),
        "since": st.lists(
            st.sampled_from(["unwritten-fillup", "reset-forgotten", "reset-in-mid-tank", "meter-replaced"]),
            max_size=2,
        ).map(tuple),
        "distance_run_nmi": st.none() | st.floats(0, 300),
        "engine_hours_h": st.none() | st.floats(0, 20),
        "meter2_used_l": st.none() | volumes,
    }
)


@pytest.mark.slow
@settings(max_examples=25)
@given(st.lists(rows, max_size=7), st.sampled_from(["metric", "us", "imperial"]), st.booleans())
def test_any_log_is_learnt_from(written: list[dict[str, Any]], units: UnitSystem, twin: bool):  # noqa: FBT001
    boat = plain_boat(units, capacity=400 / LITRES[units])
    log = [fill(day, **(row if twin else row | {"meter2_used_l": None})) for day, row in enumerate(written)]
    taught = learn(boat, log)
    sound(taught.lesson)
    assert taught.lesson.fillups == len(log)
    found = find_aboard(taught, Readings(meters_l=(80.0, 90.0)[: taught.meters or 1], gauge_l=210.0))
    assert 0 <= found.low_l <= found.mean_l <= found.high_l <= 400.001
    for step in sharpened(learn(boat, log)):
        assert 0.5 < step[1].low <= step[1].mean <= step[1].high < 2


def in_units(log: Sequence[Fillup], unit_l: float) -> list[Fillup]:
    return [
        changed(
            one,
            pumped_l=one.pumped_l * unit_l,
            meter_used_l=None if one.meter_used_l is None else one.meter_used_l * unit_l,
            gauge_before_l=None if one.gauge_before_l is None else one.gauge_before_l * unit_l,
        )
        for one in log
    ]


def test_gallons_in_place_of_litres_change_the_scale_only():
    """A 400 gal tank with the same figures in gallons. Floating point may differ in the last bits: 1e-6."""
    unit_l = LITRES["us"]
    log = [
        changed(one, distance_run_nmi=one.pumped_l / 3, engine_hours_h=one.pumped_l / 60)
        for one in [*honest()[:6], changed(honest()[6], meter_used_l=20.0), *honest()[7:]]
    ]
    one, other = learn(BOAT, log).lesson, learn(plain_boat("us"), in_units(log, unit_l)).lesson
    assert one.meter_factor is not None
    assert other.meter_factor is not None
    assert (other.meter_factor.mean, other.meter_factor.sd) == pytest.approx(
        (one.meter_factor.mean, one.meter_factor.sd), rel=1e-6
    )
    assert other.full_mark_sd_l.mean == pytest.approx(one.full_mark_sd_l.mean * unit_l, rel=1e-6)
    assert other.gauge_sd_l.mean == pytest.approx(one.gauge_sd_l.mean * unit_l, rel=1e-6)
    for litres, gallons in zip(one.gauge_table, other.gauge_table, strict=True):
        assert (gallons.reading_l, gallons.mean_l, gallons.low_l, gallons.high_l) == pytest.approx(
            (litres.reading_l * unit_l, litres.mean_l * unit_l, litres.low_l * unit_l, litres.high_l * unit_l), rel=1e-5
        )
    assert one.economy_nmi_per_l is not None
    assert other.economy_nmi_per_l is not None
    assert other.economy_nmi_per_l.mean == pytest.approx(one.economy_nmi_per_l.mean / unit_l, rel=1e-6)
    assert [s.why.replace(" l", " gal") for s in one.suspicious] == [
        s.why.replace(" l", " gal") for s in other.suspicious
    ]
    assert figures(other.gauge_in_words) == figures(one.gauge_in_words)


def figures(text: str) -> list[str]:
    """Return the numbers of a text."""
    return re.findall(r"[\d.]*\d", text)


@pytest.mark.parametrize("seed", range(6))
def test_one_grossly_spoiled_row_leaves_the_factor(seed: int):
    """A season of an honest simulation, one figure ten times what it was: within a third of an sd of what it was.

    A row of twenty is lost, which widens the rest by a fortieth; the neighbours' marks are known a little less.
    """
    rng = np.random.default_rng(seed)
    season = draw_season(rng, fillups=18, part_share=0.0)
    clean = learn(season.boat, season.log).lesson.meter_factor
    row = int(rng.integers(2, 16))
    meter_l = season.log[row].meter_used_l or 0.0
    spoiled = [*season.log[:row], changed(season.log[row], meter_used_l=meter_l * 10), *season.log[row + 1 :]]
    lesson = learn(season.boat, spoiled).lesson
    without = [*season.log[:row], changed(season.log[row], meter_used_l=None), *season.log[row + 1 :]]
    left = learn(season.boat, without).lesson.meter_factor
    assert clean is not None
    assert left is not None
    assert lesson.meter_factor is not None
    assert lesson.meter_factor.mean == pytest.approx(left.mean, abs=0.1 * left.sd)
    assert lesson.meter_factor.mean == pytest.approx(clean.mean, abs=1.0 * clean.sd)
    assert any(one.when == season.log[row].when for one in lesson.suspicious)


@pytest.mark.parametrize("seed", range(4))
def test_more_fill_ups_do_not_widen_the_factor_grossly(seed: int):
    """After each one the sd is at most a quarter above the least before: a surprise may widen it, but not for long."""
    season = draw_season(np.random.default_rng(100 + seed), fillups=24)
    path = [figure.sd for _, figure in sharpened(learn(season.boat, season.log))]
    least = np.minimum.accumulate(path)
    assert (np.array(path)[1:] < 1.25 * least[:-1] + 0.002).all()
    assert path[-1] < 0.7 * path[0]


def test_sharpened_ends_with_the_lesson():
    log = honest()
    path = sharpened(learn(BOAT, log))
    assert [when for when, _ in path] == [one.when for one in log]
    assert [figure.rests_on for _, figure in path] == list(range(1, 11))
    same(factor_of(log), path[-1][1], 0.001)


def test_the_gauges_last_fifth_in_words():
    """It shows 60 l more, or less, than is there, all the way down, and was read down there."""
    levels_l = (30.0, 45.0, 60.0, 75.0, 90.0, 120.0, 35.0, 50.0, 65.0, 80.0, 150.0, 200.0)
    log = {
        bias: [fill(day, 380 - level, 380 - level, max(0.0, level + bias)) for day, level in enumerate(levels_l)]
        for bias in (-25.0, 0.0, 25.0)
    }
    words = {bias: learn(BOAT, rows).lesson.gauge_in_words for bias, rows in log.items()}
    assert "reads high" in words[25.0]
    assert "dangerous way to be wrong" in words[25.0]
    assert "reads low" in words[-25.0]
    assert "dangerous" not in words[-25.0]
    assert "either way" in words[0.0]


def test_learning_leaves_its_inputs_alone():
    log = honest()
    before = [one.model_dump() for one in log]
    boat = BOAT.model_dump()
    learn(BOAT, log)
    assert [one.model_dump() for one in log] == before
    assert BOAT.model_dump() == boat
    assert (BOAT.name, log[0].when) == (NAME, START)
