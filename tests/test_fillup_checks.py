"""What can't be is refused, what looks like a slip is asked about, and what instruments do is left alone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.fillup_checks import check_fillup, explain, find_faults, hints
from routeplan.fillups import Fillup, SpeedRun
from routeplan.quantities import LITRES_PER_USGAL

if TYPE_CHECKING:
    from routeplan.units_shown import UnitSystem

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
RESET = "; if it was reset since the last fill-up without a fill, add --since reset-in-mid-tank"


def boat_in(units: UnitSystem, capacity_l: float) -> Boat:
    """Make a boat whose full mark is at 0.95 of her capacity."""
    return Boat(
        name="Test Boat",
        fuel="gasoline",
        length_overall_m=9,
        draught_m=0.9,
        air_draught_m=2.9,
        cruising_speed_kn=20,
        no_wake_kn=5,
        display_units=units,
        tank=Tank(capacity_l=capacity_l, unusable_l=10),
        reserve=Reserve(rule="volume", value=30),
        burn=BurnTable(speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, sd_share=0.06),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


METRIC = boat_in("metric", 400)
US = boat_in("us", 100 * LITRES_PER_USGAL)  # full mark at 95 gal


def fillup(meter: float | None, gauge: float | None, pumped: float, *, gal: bool = False, **more: Any) -> Fillup:
    """Make a fill-up of now; figures in litres, or in US gallons."""
    factor = LITRES_PER_USGAL if gal else 1.0
    figures = {
        "meter_used_l": None if meter is None else meter * factor,
        "gauge_before_l": None if gauge is None else gauge * factor,
        "pumped_l": pumped * factor,
    }
    return Fillup(**{"boat": "Test Boat", "when": NOW, **figures, **more})


def kinds(meter: float | None, gauge: float | None, pumped: float, boat: Boat = METRIC, **more: Any) -> list[str]:
    found = find_faults(fillup(meter, gauge, pumped, gal=boat is US, **more), boat, None, NOW)
    return [f"{fault.kind} {fault.field}" for fault in found]


def test_figures_that_go_together_pass():
    assert kinds(180, 200, 181) == []
    assert kinds(None, None, 181) == []
    assert kinds(46.8, 48, 47.1, US) == []


@pytest.mark.parametrize(("gauge", "pumped", "wrong"), [
    (400.05, 200, []),  # a screen that rounds to a tenth may say so
    (400.06, 200, ["wrong gauge_before_l"]),
    (0, 400.05, []),
    (0, 400.06, ["wrong pumped_l"]),
    (401, 401, ["wrong gauge_before_l", "wrong pumped_l"]),
])  # fmt: skip
def test_neither_gauge_nor_pump_is_beyond_the_tank(gauge: float, pumped: float, wrong: list[str]):
    assert kinds(None, gauge, pumped) == wrong


def test_a_gauge_that_reads_high_is_no_fault():
    """390 on the gauge and 60 pumped make 450 in a tank of 400: the gauge showed more than there was."""
    assert kinds(60, 390, 60) == []
    assert any("50.0 l more than the tank holds" in hint for hint in hints(fillup(60, 390, 60), METRIC, None))


@pytest.mark.parametrize(
    ("figures", "boat", "field", "meant"),
    [
        ((177, 48, 47.1), US, "meter_used_l", "177l"),
        ((12, 82, 45), US, "pumped_l", "45l"),  # 45 l are 11.9 gal; 82 and 11.9 make the full mark of 95
        ((12, None, 45), US, "pumped_l", "45l"),
        ((46.8, 12.7, 47.1), US, None, None),  # 48 l: a quarter of the tank off, but a gauge may be
        ((180, 52, 181), METRIC, "gauge_before_l", "52usgal"),
        ((180, 200, 47.6), METRIC, "pumped_l", "47.6usgal"),
        ((180, 200, 39.6), METRIC, "pumped_l", "39.6impgal"),
        ((18, 200, 181), METRIC, "meter_used_l", "180l"),  # a point in the wrong place
        ((180, 20, 181), METRIC, "gauge_before_l", "200l"),
        ((46.8, 52.8, 180), METRIC, "meter_used_l", "46.8usgal and 52.8usgal"),  # the boat's own instruments
    ],
)
def test_a_figure_in_another_unit_is_asked_about(
    figures: tuple[float | None, float | None, float], boat: Boat, field: str | None, meant: str | None
):
    found = find_faults(fillup(*figures, gal=boat is US), boat, None, NOW)
    if field is None:
        assert found == ()
    else:
        assert [(fault.kind, fault.field, fault.remedy) for fault in found] == [
            ("question", field, f"did you mean {meant}?{RESET if (meant, boat) == ('180l', METRIC) else ''}")
        ]


def test_beyond_the_tank_the_likely_unit_is_named():
    (fault,) = find_faults(fillup(46.8, 48, 178.3, gal=True), US, None, NOW)
    assert (fault.kind, fault.field) == ("wrong", "pumped_l")
    assert "178.3 gal pumped is more than Test Boat's tank holds, 100.0 gal" in fault.problem
    assert fault.remedy.startswith("did you mean 178.3l?")
    (fault,) = find_faults(fillup(None, None, 1810), METRIC, None, NOW)
    assert fault.remedy.startswith("did you mean 181l?")  # 1810 in any other unit is beyond the tank as well


def test_the_unit_that_was_written_decides_what_else_it_may_be():
    """A US boat's rows in a file of litres, of which one is in gallons: 47.1 written for 178.3 l."""
    row = fillup(177, 181, 47.1)
    written: dict[str, Any] = dict.fromkeys(("meter_used_l", "gauge_before_l", "pumped_l"), "l")
    (fault,) = find_faults(row, US, None, NOW, written=written)
    assert (fault.field, fault.remedy) == ("pumped_l", "did you mean 47.1gal?")


def test_two_numbers_exchanged_are_asked_about():
    """Meter 62, gauge 30, pumped 64 typed with the first two exchanged."""
    (fault,) = find_faults(fillup(30, 62, 64, gal=True), US, None, NOW)
    assert fault.kind == "question"
    assert "did you mean 62.0 gal, 30.0 gal, 64.0 gal?" in fault.remedy


@pytest.mark.parametrize(
    "more",
    [{"filled_to_full": False}, {"since": ("reset-forgotten",)}, {"since": ("meter-replaced",)}],
)
def test_nothing_is_asked_where_meter_and_pump_counted_different_fuel(more: dict[str, Any]):
    assert kinds(18, 200, 181) == ["question meter_used_l"]
    assert kinds(18, 200, 181, **more) == []


def test_nothing_is_asked_after_a_part_fill_or_without_a_reset():
    row = fillup(18, 200, 181)
    before = fillup(100, 200, 100, when=NOW - timedelta(days=3))
    assert find_faults(row, METRIC, before, NOW)
    for change in ({"filled_to_full": False}, {"meter_reset": False}):
        assert find_faults(row, METRIC, before.model_copy(update=change), NOW) == ()


def test_a_forgotten_reset_is_a_hint_and_no_question():
    """The meter counted 310, twice what the pump gave: all else fits."""
    assert kinds(310, 230, 150) == []
    (hint,) = hints(fillup(310, 230, 150), METRIC, None)
    assert "2.1 times what the pump gave" in hint
    assert "reset-forgotten" in hint
    (hint,) = hints(fillup(100, 230, 150), METRIC, None)
    assert "1.5 times what the meter counted" in hint
    assert "reset-in-mid-tank" in hint


def test_one_meter_where_there_were_two_is_asked_about():
    before = fillup(90, 200, 181, meter2_used_l=91, when=NOW - timedelta(days=3))
    (fault,) = find_faults(fillup(181, 200, 181), METRIC, before, NOW)
    assert (fault.kind, fault.field) == ("question", "meter_used_l")
    assert find_faults(fillup(None, 200, 181), METRIC, before, NOW) == ()
    assert find_faults(fillup(90, 200, 181, meter2_used_l=91), METRIC, before, NOW) == ()


def test_times_are_neither_in_the_future_nor_before_the_last():
    def found(when: datetime) -> list[str]:
        row = fillup(180, 200, 181, when=when)
        before = fillup(180, 200, 181, when=NOW - timedelta(days=1))
        return [f"{fault.kind} {fault.field}" for fault in find_faults(row, METRIC, before, NOW)]

    assert found(NOW + timedelta(minutes=10)) == []
    assert found(NOW + timedelta(minutes=11)) == ["wrong when"]
    assert found(NOW - timedelta(days=2)) == ["earlier when"]


def test_without_a_boat_only_the_clock_is_asked():
    assert find_faults(fillup(1, 90_000, 90_000), None, None, NOW) == ()
    assert find_faults(fillup(1, 90, 90, when=NOW + timedelta(days=1)), None, None, NOW)


def test_the_first_fault_is_raised_with_what_was_typed():
    names, typed = {"meter_used_l": "METER", "pumped_l": "PUMPED"}, {"meter_used_l": "18", "pumped_l": "181"}
    slip = fillup(18, 200, 181)
    with pytest.raises(InputError) as caught:
        check_fillup(slip, METRIC, None, NOW, names=names, typed=typed)
    assert str(caught.value) == (
        "METER: 18.0 l on the meter doesn't go with 200.0 l on the gauge and 181.0 l on the pump (got '18'): "
        f"did you mean 180l?{RESET}; add --sure to keep it as typed"
    )
    check_fillup(slip, METRIC, None, NOW, sure=True)
    with pytest.raises(InputError, match="tank holds"):  # --sure makes no tank larger
        check_fillup(fillup(180, 200, 450), METRIC, None, NOW, sure=True)


@given(
    burnt=st.floats(30, 350),
    factor=st.floats(0.95, 1.05),
    gauge_off=st.floats(-0.15, 0.15),
    mark_off=st.floats(-4, 4),
)
def test_honest_instruments_are_never_asked_about(burnt: float, factor: float, gauge_off: float, mark_off: float):
    """A meter off by 5 %, a gauge by 15 % of the tank, a full mark by 1 %: from mark to mark, no question."""
    pumped = burnt + mark_off
    gauge = min(400.0, max(0.0, 380 - burnt + gauge_off * 400))
    assert find_faults(fillup(burnt / factor, gauge, pumped), METRIC, None, NOW) == ()


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"meter_used_l": -1}, "meter_used_l", "must not be negative"),
        ({"pumped_l": 0}, "pumped_l", "must be more than nothing"),
        ({"pumped_l": 200_000}, "pumped_l", "more than 100000"),
        ({"gauge_before_l": float("nan")}, "gauge_before_l", "not a finite number"),
        ({"note": "x" * 501}, "note", "longer than 500 characters"),
        ({"note": "a\nb"}, "note", "one line of printable text"),
        ({"boat": ""}, "boat", "is empty"),
    ],
)
def test_limits_are_told_in_plain_words(change: dict[str, Any], field: str, words: str):
    sound: dict[str, Any] = {"boat": "Test Boat", "when": NOW, "pumped_l": 10}
    with pytest.raises(ValidationError) as caught:
        Fillup(**{**sound, **change})
    (fault,) = explain(caught.value)
    assert fault.field == field
    assert words in fault.problem


def test_limits_of_a_speed_run_are_told_too():
    with pytest.raises(ValidationError) as caught:
        SpeedRun(speed_kn=200, time_h=0)
    assert [fault.field for fault in explain(caught.value)] == ["speed_kn", "time_h"]


@pytest.mark.parametrize("boat", ["", "  ", "\t"])
def test_a_boat_without_a_name_is_no_boat(boat: str) -> None:
    with pytest.raises(ValidationError):
        Fillup(boat=boat, when=datetime(2026, 5, 1, tzinfo=UTC), pumped_l=40.0)


def test_a_reset_in_mid_tank_is_named_where_it_explains_the_meter():
    """71 of 91 gal when the meter was reset, 37.4 run since: the gauge shows 33 of 95, and the pump gives 57.0."""
    (fault,) = find_faults(fillup(37.4, 38, 57.0, gal=True), US, None, NOW)
    assert (fault.kind, fault.field) == ("question", "meter_used_l")
    assert "add --since reset-in-mid-tank; or did you mean 38.0 gal, 57.0 gal, 37.4 gal?" in fault.remedy
    said = fillup(37.4, 38, 57.0, gal=True).model_copy(update={"since": ("reset-in-mid-tank",)})
    assert find_faults(said, US, None, NOW) == ()
