"""Fuel aboard: against plain chance, by hand, and where the instruments contradict one another."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracles.fuel_oracles import FORGOTTEN, KNOTS, ODD, ROUNDED
from oracles.small_logs import fill, plain_boat
from scipy.special import ndtr

from layers.errors import InputError
from routeplan.aboard import Readings, find_aboard
from routeplan.teaching import learn, without_log

if TYPE_CHECKING:
    from collections.abc import Sequence

    from oracles.fuel_oracles import Floats

    from routeplan.aboard import Aboard, Guess
    from routeplan.fillups import Fillup
    from routeplan.teaching import Taught

BOAT = plain_boat()
FULL_L, CAPACITY_L = 380.0, 400.0
USED_L = (210.0, 180.0, 240.0, 150.0, 230.0, 190.0, 260.0, 170.0, 220.0, 200.0, 280.0, 120.0)

# Cells of the tank are 0.67 l wide, and densities are taken at their middles: a quantile is out by half a cell at most.
# The chance of lying below it, as the draws have it, is then within four of its standard errors; of weighed draws there
# are as many as the square of the weights' sum over the sum of their squares.
CELL_L = CAPACITY_L / 600 / 2
DRAWS = 400_000


def log_of(used_l: Sequence[float] = USED_L, factor: float = 1.03, bias_l: float = 20.0, seed: int = 3) -> list[Fillup]:
    """Write a log: a meter that reads low, a gauge that reads low in the bottom half, fills that scatter by 3 l."""
    rng = np.random.default_rng(seed)
    off_l = 3 * rng.standard_normal(len(used_l) + 1)
    log = []
    for day, used in enumerate(used_l):
        level = FULL_L + off_l[day] - used
        shown = level - bias_l * np.clip((200 - level) / 200, 0, 1) + 3 * rng.standard_normal()
        log.append(
            fill(
                day,
                round(float(used + off_l[day + 1] - off_l[day]), 1),
                round(float(used / factor * (1 + 0.006 * rng.standard_normal())), 1),
                round(float(max(0.0, shown)), 1),
            )
        )
    return log


def draw_meter(
    taught: Taught,
    runs_l: Sequence[Sequence[float]],
    otherwise_l: float | None,
    added_l: float,
    rng: np.random.Generator,
) -> Floats:
    """[l] Draw levels by the meter: a point of its posterior, the last mark, each run's noise, or something odd."""
    fit = taught.meter_fit
    # The product lets points go that have less than a ten-millionth of the heaviest's weight, and all but 1,500.
    point = rng.choice(len(fit.weights), DRAWS, p=fit.weights)
    forgotten = FORGOTTEN if otherwise_l is not None else 0.0
    way = rng.choice(3, DRAWS, p=[1 - ODD - forgotten, forgotten, ODD])
    level = FULL_L + added_l + fit.last_mean_l[point] + np.sqrt(fit.last_var_l2[point]) * rng.standard_normal(DRAWS)
    level += ROUNDED * CAPACITY_L * rng.standard_normal(DRAWS)
    for number, run in enumerate(runs_l):
        for meter, shown in enumerate(run):
            other = shown if otherwise_l is None or number < len(runs_l) - 1 else otherwise_l
            metered = np.where(way == 1, other, shown) * fit.factors[point, meter]
            level -= metered * (1 + fit.meter_sd_share[point] * rng.standard_normal(DRAWS))
    return np.where(way == 2, rng.uniform(0, CAPACITY_L, DRAWS), level)


def weigh_gauge(taught: Taught, reading_l: float, level_l: Floats, rng: np.random.Generator) -> Floats:
    """Weigh levels by a gauge's reading, each with a curve of its own."""
    gauge = taught.gauge_fit
    drawn = rng.integers(len(gauge.scatters_l), size=len(level_l))
    right = np.clip(np.searchsorted(KNOTS * CAPACITY_L, level_l), 1, len(KNOTS) - 1)
    ends = KNOTS[right - 1] * CAPACITY_L, KNOTS[right] * CAPACITY_L
    share = (level_l - ends[0]) / (ends[1] - ends[0])
    curves = gauge.curves_l
    shown = np.clip((1 - share) * curves[drawn, right - 1] + share * curves[drawn, right], 0, CAPACITY_L)
    scatter, half = gauge.scatters_l[drawn], max(gauge.step_l / 2, 0.05)
    chance = (ndtr((reading_l + half - shown) / scatter) - ndtr((reading_l - half - shown) / scatter)) / (2 * half)
    return np.asarray((1 - ODD) * chance + ODD / CAPACITY_L)


def agrees(found: Aboard | Guess | None, level_l: Floats, weights: Floats | None = None):
    """Hold a level's middle and the ends of its interval against draws; what lies outside the tank can't be."""
    assert found is not None
    weight = np.where((level_l >= 0) & (level_l <= CAPACITY_L), 1.0 if weights is None else weights, 0.0)
    weight /= weight.sum()
    many = 1 / float(weight @ weight)
    assert many > 2000
    for share, at_l in ((0.05, found.low_l), (0.5, found.mean_l), (0.95, found.high_l)):
        error = 4 * math.sqrt(share * (1 - share) / many)
        assert float(weight @ (level_l <= at_l + CELL_L)) > share - error
        assert float(weight @ (level_l <= at_l - CELL_L)) < share + error


@pytest.fixture(scope="module")
def taught() -> Taught:
    return learn(BOAT, log_of())


@pytest.mark.parametrize(
    ("meter_l", "gauge_l"), [(50.0, 330.0), (150.0, 220.0), (180.0, 190.0), (260.0, 92.0), (205.0, 150.0)]
)
def test_as_plain_chance_has_it(taught: Taught, meter_l: float, gauge_l: float):
    """The last fill-up's meter had shown some 116 l; what shows more may have run on."""
    rng = np.random.default_rng(8)
    before_l = taught.fillups[-1].meter_used_l or 0.0
    level_l = draw_meter(taught, [(meter_l,)], meter_l - before_l if meter_l >= before_l else None, 0.0, rng)
    found = find_aboard(taught, Readings(meters_l=(meter_l,), gauge_l=gauge_l))
    agrees(found.by_meter, level_l)
    agrees(found, level_l, weigh_gauge(taught, gauge_l, np.clip(level_l, 0.0, CAPACITY_L), rng))
    anywhere_l = rng.uniform(0, CAPACITY_L, DRAWS)
    agrees(found.by_gauge, anywhere_l, weigh_gauge(taught, gauge_l, anywhere_l, rng))


def test_after_a_part_fill_as_plain_chance_has_it():
    """100 l used, 40 put in, 60 used since: 380 - 1.03 * 160 + 40, about 255."""
    taught = learn(BOAT, [*log_of(), fill(20, 40, 100, filled_to_full=False)])
    found = find_aboard(taught, Readings(meters_l=(60.0,)))
    rng = np.random.default_rng(9)
    agrees(found, draw_meter(taught, [(100.0,), (60.0,)], None, 40.0, rng))
    assert found.mean_l == pytest.approx(255, abs=5)
    assert any("wasn't to the mark" in line for line in found.findings)


def test_two_meters_as_plain_chance_has_it():
    log = [one.model_copy(update={"meter_used_l": 100.0, "meter2_used_l": 95.0, "pumped_l": 200.0}) for one in log_of()]
    taught = learn(BOAT, log)
    found = find_aboard(taught, Readings(meters_l=(60.0, 50.0)))
    rng = np.random.default_rng(10)
    agrees(found, draw_meter(taught, [(60.0, 50.0)], None, 0.0, rng))
    assert found.mean_l == pytest.approx(380 - 110 * 200 / 195, abs=3)


def test_a_meter_that_runs_on_is_read_by_difference(taught: Taught):
    """After a fill-up with 120 on the meter and no reset, 200 mean 80: as if it had been reset and showed 80."""
    log = log_of()
    ran_on = learn(BOAT, [*log[:-1], log[-1].model_copy(update={"meter_reset": False})])
    shown_l = (log[-1].meter_used_l or 0.0) + 80.0
    found = find_aboard(ran_on, Readings(meters_l=(shown_l,), gauge_l=295.0))
    plain = find_aboard(taught, Readings(meters_l=(80.0,), gauge_l=295.0))
    assert found.mean_l == pytest.approx(plain.mean_l, abs=1.0)


def test_both_together_are_surer_than_each(taught: Taught):
    """380 - 1.03 * 180, some 195 l; the gauge reads true there."""
    found = find_aboard(taught, Readings(meters_l=(180.0,), gauge_l=193.0))
    assert found.by_meter is not None
    assert found.by_gauge is not None
    assert found.agree
    assert found.findings == ()
    assert found.sd_l < min(found.by_meter.sd_l, found.by_gauge.sd_l)
    means_l = sorted((found.by_meter.mean_l, found.by_gauge.mean_l))
    assert means_l[0] <= found.mean_l <= means_l[1]
    assert found.safe_l == found.low_l


def test_a_forgotten_reset_is_named(taught: Taught):
    """The meter still has the last 116 l in it: 80 used show as 196, and the gauge shows the 297 l that are there."""
    before_l = taught.fillups[-1].meter_used_l or 0.0
    found = find_aboard(taught, Readings(meters_l=(before_l + 80.0,), gauge_l=297.0))
    assert not found.agree
    said = " ".join(found.findings)
    assert "disagree beyond chance" in found.findings[0]
    assert "Distrust the meter" in said
    assert "wasn't reset at the last fill-up" in said
    assert "bilge" not in said
    assert found.mean_l == pytest.approx(FULL_L - 1.03 * 80, abs=6)
    assert found.by_meter is not None
    assert found.safe_l == found.by_meter.low_l  # until it is known, the lower one counts


def test_a_reset_forgotten_before_a_part_fill_is_named():
    """The last row of the log ran on into a part fill: 216 shown for 100 used; 40 put in, 60 used since, 255 left.

    As written 380 - 1.03 * 276 + 40 = 136.
    """
    log = log_of()
    shown_l = (log[-1].meter_used_l or 0.0) + 100.0
    taught = learn(BOAT, [*log, fill(20, 40, round(shown_l, 1), None, filled_to_full=False)])
    found = find_aboard(taught, Readings(meters_l=(60.0,), gauge_l=255.0))
    assert not found.agree
    assert "not reset at a part fill-up as the log says" in " ".join(found.findings)
    assert found.mean_l == pytest.approx(255, abs=6)
    assert found.by_meter is not None
    assert found.safe_l == found.by_meter.low_l < 136


def test_a_leak_says_bilge_and_counts_on_the_lower_figure(taught: Taught):
    """60 used by the meter, 318 l left; the gauge shows 200."""
    found = find_aboard(taught, Readings(meters_l=(60.0,), gauge_l=200.0))
    assert not found.agree
    said = " ".join(found.findings)
    assert "check the bilge for fuel before you start anything" in said
    assert "leak" in said
    assert "near the bottom of the tank" not in said
    assert found.by_meter is not None
    assert found.by_gauge is not None
    assert found.safe_l == min(found.by_meter.low_l, found.by_gauge.low_l)
    assert found.safe_l < 200
    assert found.fuel.mean_l == pytest.approx(found.by_gauge.mean_l)
    assert found.usable_l == pytest.approx(BOAT.usable_l(found.by_gauge.low_l))


def test_a_gauge_that_says_more_is_no_comfort(taught: Taught):
    """280 used by the meter, more than the 116 of the last fill-up, but less that it isn't what the gauge shows."""
    found = find_aboard(taught, Readings(meters_l=(280.0,), gauge_l=330.0))
    assert not found.agree
    said = " ".join(found.findings)
    assert "The gauge says more" in said
    assert "leaves a boat dry" in said
    assert "bilge" not in said
    assert found.by_meter is not None
    assert found.safe_l == found.by_meter.low_l
    assert found.fuel.mean_l == pytest.approx(found.by_meter.mean_l)


def test_a_gauge_low_in_the_last_fifth_may_simply_read_low(taught: Taught):
    """It shows 10 l with 200 aboard: a leak is still the first thing to look for, a poor gauge the last."""
    found = find_aboard(taught, Readings(meters_l=(175.0,), gauge_l=10.0))
    assert not found.agree
    said = " ".join(found.findings)
    assert said.index("bilge") < said.index("near the bottom of the tank")


def test_a_dial_in_eighths_does_not_cry_wolf():
    """Levels from 60 to 240 l read to the nearest 50: every reading is honest, so none is a contradiction."""
    levels_l = (60, 90, 120, 150, 180, 210, 240, 100, 130, 170, 70, 110, 140, 160, 190)
    log = [fill(day, FULL_L - level, FULL_L - level, round(level / 50) * 50.0) for day, level in enumerate(levels_l)]
    taught = learn(BOAT, log)
    for level_l in range(65, 250, 10):
        found = find_aboard(taught, Readings(meters_l=(FULL_L - level_l,), gauge_l=round(level_l / 50) * 50.0))
        assert found.agree, level_l


@pytest.mark.slow
def test_honest_readings_rarely_contradict(taught: Taught):
    """At 1 in 100, of 100 honest pairs fewer than 6: chance makes more of them once in 1,000 times or so."""
    rng = np.random.default_rng(11)
    wolf = 0
    for _ in range(100):
        used = rng.uniform(20, 300)
        level = FULL_L + 3 * rng.standard_normal() - used
        shown = level - 20 * np.clip((200 - level) / 200, 0, 1) + 3 * rng.standard_normal()
        meter = used / 1.03 * (1 + 0.006 * rng.standard_normal())
        found = find_aboard(
            taught, Readings(meters_l=(round(meter, 1),), gauge_l=round(float(np.clip(shown, 0, 400)), 1))
        )
        wolf += not found.agree
    assert wolf < 6


def test_more_metered_than_the_tank_holds_is_told(taught: Taught):
    """500 l used since a mark of 380 can't be: it says so, and counts on next to nothing."""
    found = find_aboard(taught, Readings(meters_l=(500.0,)))
    assert found.safe_l < 5
    assert found.findings


def test_a_gauge_at_its_stops(taught: Taught):
    empty, brim = (find_aboard(taught, Readings(gauge_l=reading_l)) for reading_l in (0.0, CAPACITY_L))
    assert 0 <= empty.low_l < empty.mean_l < 60
    assert 340 < brim.mean_l < brim.high_l <= CAPACITY_L
    assert brim.takes_low_l == 0


def test_takes_what_is_missing(taught: Taught):
    found = find_aboard(taught, Readings(meters_l=(150.0,)))
    assert found.takes_l == pytest.approx(FULL_L - found.mean_l)
    assert found.takes_low_l < found.takes_l < found.takes_high_l


def test_no_log_counts_from_a_full_tank_on_trust():
    found = find_aboard(without_log(BOAT), Readings(meters_l=(100.0,)))
    assert found.mean_l == pytest.approx(280, abs=2)
    assert "taken on trust" in found.findings[0]
    assert found.fillups == 0


def test_no_log_and_two_meters():
    """60 + 40 of 380; each by itself may be off, so both together are a little surer than one with all."""
    two = find_aboard(without_log(BOAT), Readings(meters_l=(60.0, 40.0)))
    assert two.mean_l == pytest.approx(280, abs=2)


def test_a_log_of_gauges_only_and_any_number_of_meters():
    taught = learn(BOAT, [fill(day, 200, None, 180) for day in range(3)])
    for meters_l in ((100.0,), (60.0, 40.0)):
        assert find_aboard(taught, Readings(meters_l=meters_l)).mean_l == pytest.approx(280, abs=3)


@pytest.mark.parametrize(
    ("readings", "where", "words"),
    [
        (Readings(), "aboard", "neither meter nor gauge"),
        (Readings(gauge_l=401.0), "--gauge", "more than"),
        (Readings(gauge_l=1514.0), "--gauge", "check figure and unit"),
        (Readings(meters_l=(20.0, 30.0)), "--meter", "give one figure"),
    ],
)
def test_what_can_not_be_is_refused(taught: Taught, readings: Readings, where: str, words: str):
    with pytest.raises(InputError, match=words) as refused:
        find_aboard(taught, readings)
    assert str(refused.value).startswith(where)
    assert "\n" not in str(refused.value)


def test_one_figure_for_two_meters_is_refused():
    taught = learn(BOAT, [fill(0, 200, 100, 180, meter2_used_l=98)])
    with pytest.raises(InputError, match=r"write 22\.7\+24\.1"):
        find_aboard(taught, Readings(meters_l=(20.0,)))


def test_a_meter_that_has_lost_the_mark_is_refused_alone_and_left_out_with_a_gauge():
    """Reset in mid-tank before a part fill: what is aboard can't be counted from the mark."""
    taught = learn(BOAT, [*log_of(), fill(20, 30, 12, 250, filled_to_full=False, since=("reset-in-mid-tank",))])
    with pytest.raises(InputError, match="can't be counted from a full mark"):
        find_aboard(taught, Readings(meters_l=(20.0,)))
    found = find_aboard(taught, Readings(meters_l=(20.0,), gauge_l=250.0))
    assert found.by_meter is None
    assert found.mean_l == pytest.approx(250, abs=10)
    assert any("only the gauge is used" in line for line in found.findings)


@given(
    st.none() | st.floats(0, 600),
    st.none() | st.floats(0, CAPACITY_L),
    st.integers(0, 3),
    st.sampled_from([0.5, 0.9, 0.99]),
)
def test_any_readings(meter_l: float | None, gauge_l: float | None, which: int, confidence: float):
    """In order, within the tank, and never more promised than the lower instrument allows."""
    if meter_l is None and gauge_l is None:
        return
    readings = Readings(meters_l=None if meter_l is None else (meter_l,), gauge_l=gauge_l)
    last = LOGS[which].fillups[-1:]
    ran_on_l = 0.0 if not last or last[0].meter_reset else last[0].meter_used_l or 0.0
    if gauge_l is None and (meter_l or 0.0) < ran_on_l:  # reset some time since: alone it tells nothing
        with pytest.raises(InputError, match="can't be counted"):
            find_aboard(LOGS[which], readings, confidence)
        return
    found = find_aboard(LOGS[which], readings, confidence)
    for one in (found, found.by_meter, found.by_gauge):
        if one is not None:
            assert 0 <= one.low_l <= one.mean_l <= one.high_l <= CAPACITY_L
            assert one.sd_l >= 0
    assert 0 <= found.safe_l <= found.low_l or not found.agree
    assert found.safe_l <= found.mean_l
    assert 0 <= found.takes_low_l <= found.takes_l <= found.takes_high_l <= CAPACITY_L + 50
    assert found.usable_l <= CAPACITY_L
    assert found.range_nmi >= 0
    if not found.agree:
        assert found.by_meter is not None
        assert found.by_gauge is not None
        assert found.safe_l == min(found.by_meter.low_l, found.by_gauge.low_l)
        assert found.fuel.mean_l <= max(found.by_meter.mean_l, found.by_gauge.mean_l)
        assert len(found.findings) >= 2


LOGS = (
    without_log(BOAT),
    learn(BOAT, log_of()),
    learn(BOAT, [*log_of()[:3], fill(20, 40, 100, 250, filled_to_full=False, meter_reset=False)]),
    learn(BOAT, log_of(USED_L[:1])),
)
