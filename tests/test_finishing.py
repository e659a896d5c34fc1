"""Passages that have been run: what each leaves in the log, worked out by hand, and what the log learns from it."""

from __future__ import annotations

import math
import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from oracles.log_places import quick_folder, server_place
from oracles.passages_run import BOAT, LEAVES, RUNS, filled, made_plan
from oracles.small_logs import NAME

from layers.errors import InputError
from routeplan.fillups import Entry, SpeedRun
from routeplan.finish_words import finish_document, tell_finished
from routeplan.finishing import Finish, Finished, enter_finish, finish, passage_key
from routeplan.fuel import FuelAboard
from routeplan.logbook import Logbook, NewEntry, open_logbook
from routeplan.runs import RunEntry
from routeplan.runs_taken import missing_fields, take_runs
from routeplan.saved_plans import Before, Report, read_plan, write_plan
from routeplan.stops_made import find_between
from routeplan.teaching import learn
from routeplan.typed_finish import TypedFinish, read_finish

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime
    from pathlib import Path

    from routeplan.fillups import Fillup
    from routeplan.saved_plans import SavedPlan

PLAN = made_plan()
AT_STOP = LEAVES + timedelta(hours=1, minutes=42)  # 1 h 22 under way, and twenty minutes alongside
ARRIVES = LEAVES + timedelta(hours=2, minutes=57)  # 1 h 15 more
LATER = ARRIVES + timedelta(minutes=30)
BEFORE = filled(LEAVES - timedelta(days=2), 90.0)


def entry(number: int, fillup: Fillup) -> Entry:
    return Entry(entry=f"fill{number:04}", entered=fillup.when, fillup=fillup)


def finished(
    *fillups: Fillup, saved: SavedPlan = PLAN, arrived: datetime = ARRIVES, now: datetime = LATER, **typed: Any
) -> Finished:
    entries = [entry(number, fillup) for number, fillup in enumerate(fillups)]
    return finish(saved, entries, (), Finish(arrived=arrived, **typed), now)


@pytest.fixture(params=["sqlite", "postgresql"])
def logbook(request: pytest.FixtureRequest) -> Iterator[Logbook]:
    place = quick_folder() if request.param == "sqlite" else server_place()
    with (
        place as where,
        open_logbook(where if isinstance(where, str) else str(where / "log.db"), create=True) as opened,
    ):
        yield opened


# What a passage leaves


def test_a_stop_that_was_made_gets_its_run_and_the_last_run_waits():
    """147 l to the stop, 124.5 l on: 37 nmi in 1 h 22, then 31.5 nmi in 1 h 15."""
    done = finished(filled(AT_STOP, 147.0), meters_l=(124.5,), sea="slight", people=4, note="fog")
    (correction,) = done.corrections
    assert correction.entry.entry == "fill0000"
    assert correction.fillup.model_dump(exclude=set(correction.values)) == filled(AT_STOP, 147.0).model_dump(
        exclude=set(correction.values)
    )
    assert correction.fillup.distance_run_nmi == 37.0
    assert correction.fillup.engine_hours_h == pytest.approx(1 + 22 / 60, abs=0.001)
    assert correction.fillup.speeds_run == (
        SpeedRun(speed_kn=6, time_h=0.1667),
        SpeedRun(speed_kn=30, time_h=1.2),
    )
    assert (correction.fillup.sea, correction.fillup.people, correction.fillup.note) == ("slight", 4, "")
    (last,) = done.waiting
    assert (last.start, last.finish, last.distance_nmi, last.metered_l) == ("North Pump", "East Mark", 31.5, (124.5,))
    assert (last.began, last.ended, last.known_by, last.note) == (AT_STOP, ARRIVES, "plan", "fog")
    assert [run.metered_l for run in done.runs] == [(147.0,), (124.5,)]
    assert done.notes == ()


def test_a_fillup_that_closed_the_last_run_before_the_passage_was_entered_gets_it_too():
    """She filled at the destination first and told of her arrival after."""
    done = finished(
        filled(AT_STOP, 147.0), filled(ARRIVES + timedelta(minutes=9), 124.5, dock="East Mark"), meters_l=(0.0,)
    )
    assert [c.fillup.distance_run_nmi for c in done.corrections] == [37.0, 31.5]
    assert done.waiting == ()
    assert done.runs[1].metered_l == (124.5,), "the dial was read at the pump, and reset"


def test_what_was_typed_at_the_stop_stays():
    typed = filled(AT_STOP, 147.0, distance_run_nmi=38.0, sea="rough")
    (correction,) = finished(typed, sea="calm", people=2).corrections
    assert correction.values.keys() == {"engine_hours_h", "speeds_run", "people"}
    assert (correction.fillup.distance_run_nmi, correction.fillup.sea) == (38.0, "rough")
    assert finished(filled(AT_STOP, 147.0, distance_run_nmi=60.0)).corrections == (), "other running than the plan's"


def test_a_dock_that_was_taken_over_from_the_fillup_before_is_put_right():
    before = filled(LEAVES - timedelta(days=2), 90.0, dock="Home Quay")
    (correction,) = finished(before, filled(AT_STOP, 147.0, dock="Home Quay")).corrections
    assert correction.fillup.dock == "North Pump"
    (correction,) = finished(before, filled(AT_STOP, 147.0, dock="N. Pump")).corrections
    assert correction.fillup.dock == "N. Pump"


def test_a_fillup_that_names_its_dock_is_of_that_stop_however_late_it_is():
    """She lay at anchor for a night on the way to the pump: fourteen hours late, on the fuel planned."""
    night = timedelta(hours=14)
    done = finished(
        filled(LEAVES - timedelta(days=2), 90.0, dock="Home Quay"),
        filled(AT_STOP + night, 147.0),
        arrived=ARRIVES + night,
        now=LATER + night,
        departed=LEAVES,
    )
    assert [(run.finish, run.distance_nmi) for run in done.runs] == [("North Pump", 37.0), ("East Mark", 31.5)]


def test_of_two_fillups_the_one_that_names_the_stop_is_of_it():
    """One without a dock at the minutes of the plan, from a can; the one at the pump half an hour later."""
    late = timedelta(minutes=30)
    can = filled(
        AT_STOP - timedelta(minutes=10), 5.0, dock="", filled_to_full=False, meter_reset=False, meter_used_l=None
    )
    done = finished(can, filled(AT_STOP + late, 147.0), arrived=ARRIVES + late, now=LATER + late)
    assert [run.finish for run in done.runs] == ["a fill-up", "North Pump", "East Mark"]


def test_a_fill_before_leaving_belongs_to_the_departure():
    """50 l were on the dial when the plan was made; she filled two hours before she left, and it was reset."""
    home = filled(LEAVES - timedelta(hours=2), 50.0, dock="West Mark")
    done = finished(home, filled(AT_STOP, 147.0), saved=made_plan(meters=(50.0,)))
    assert [run.metered_l for run in done.runs] == [(147.0,), None]
    assert [c.entry.entry for c in done.corrections] == ["fill0001"]


def test_a_dock_that_the_plan_does_not_know_is_the_stop_misspelt_only_at_its_time():
    misspelt = filled(AT_STOP + timedelta(minutes=20), 147.0, dock="Nrth Pmp")
    assert finished(misspelt, arrived=ARRIVES + timedelta(minutes=20)).runs[0].finish == "North Pump"
    early = finished(filled(LEAVES + timedelta(minutes=40), 70.0, dock="Pier 7"), distance_nmi=45)
    assert [(run.finish, run.distance_nmi) for run in early.runs[:1]] == [("Pier 7", None)]


def test_two_fillups_of_one_stop_are_one_stop():
    again = filled(AT_STOP + timedelta(minutes=8), 3.0, meter_used_l=None)
    assert [run.finish for run in finished(filled(AT_STOP, 147.0), again).runs] == ["North Pump", "East Mark"]


def test_a_stop_that_went_faster_than_planned_takes_no_time_from_the_run():
    """Ten minutes to the stop and twenty alongside were planned; fifteen minutes after leaving she had filled."""
    saved = made_plan([[(5.0, 30.0)], [(30.0, 30.0)]])
    done = finished(filled(LEAVES + timedelta(minutes=15), 20.0), saved=saved, arrived=LEAVES + timedelta(minutes=76))
    assert [(run.finish, run.distance_nmi) for run in done.runs] == [("North Pump", 5.0), ("East Mark", 30.0)]


def test_a_plan_made_underway_begins_where_the_run_did():
    """From Home Quay an hour and 20 nmi at 60 l, then planned anew; the dial showed 10 at Home Quay, 70 at the plan."""
    before = Before(
        start="Home Quay", began=LEAVES - timedelta(hours=1), distance_nmi=20.0, planned_l=60.0, shows_l=(10.0,)
    )
    saved = made_plan(meters=(70.0,), before=before)
    for late in (timedelta(0), timedelta(hours=2)):  # she can't have left late: she was seen underway
        done = finished(filled(AT_STOP + late, 217.0), saved=saved, arrived=ARRIVES + late, now=LATER + late)
        first, last = done.runs
        assert (first.start, first.finish, first.began) == ("Home Quay", "North Pump", LEAVES - timedelta(hours=1))
        assert (first.distance_nmi, first.metered_l) == (57.0, (207.0,))
        assert (first.time_h, first.speeds_run) == (None, ()), "nobody kept at which speeds"
        assert (last.distance_nmi, last.time_h) == (31.5, 1.25)
    quay = filled(LEAVES - timedelta(minutes=62), 80.0, dock="Home Quay")
    left = saved.model_copy(update={"before": before.model_copy(update={"shows_l": (0.0,)})})
    assert finished(quay, filled(AT_STOP, 207.0), saved=left).corrections[0].fillup.distance_run_nmi == 57.0
    with pytest.raises(InputError, match=r"590\.0 l were metered from Home Quay .* and 440\.0 l were aboard"):
        finished(saved=saved, meters_l=(600.0,))
    assert finished(saved=saved, meters_l=(341.5,)).runs[0].distance_nmi == 88.5
    elsewhere = finished(filled(LEAVES + timedelta(minutes=20), 70.0, dock="Pier 7"), saved=saved, distance_nmi=60)
    assert [run.distance_nmi for run in elsewhere.runs] == [None, 60.0]


def test_a_fill_that_was_reported_underway_has_to_be_in_the_log():
    report = Report(when=AT_STOP - timedelta(minutes=5), position=(-38.3, 44.5), filled=True)
    saved = PLAN.model_copy(update={"reports": (report,)})
    with pytest.raises(
        InputError, match=r"a fill was reported underway, 2026-07-01T09:37Z, and the log has no fill-up"
    ):
        finished(saved=saved)
    with pytest.raises(InputError, match="the log has no fill-up of it"):  # another one, two hours before
        finished(filled(AT_STOP - timedelta(hours=2), 20.0, dock="Home Quay"), saved=saved)
    assert len(finished(filled(AT_STOP, 147.0), saved=saved).runs) == 2
    part = report.model_copy(update={"filled": False, "took_l": 30.0})
    with pytest.raises(InputError, match="the log has no fill-up of it"):
        finished(saved=PLAN.model_copy(update={"reports": (part,)}))


def test_what_a_dial_showed_at_a_fill_is_counted_once():
    """Reported at the quay before she filled, with the 147 on the dial; and the fill-up has the same 147."""
    report = Report(when=LEAVES + timedelta(minutes=80), position=(-38.3, 44.5), was_l=(147.0,), filled=True)
    done = finished(filled(AT_STOP, 147.0), saved=PLAN.model_copy(update={"reports": (report,)}), meters_l=(124.5,))
    assert [run.metered_l for run in done.runs] == [(147.0,), (124.5,)]
    assert done.runs[0].distance_nmi == 37.0


def test_a_meter_that_was_not_reset_at_the_stop_runs_on():
    """The log has it reset, as it mostly is; underway she found that it shows 147 + 60."""
    report = Report(when=AT_STOP + timedelta(minutes=30), position=(-38.0, 44.5), shows_l=(207.0,), not_reset=True)
    saved = PLAN.model_copy(update={"reports": (report,)})
    assert finished(filled(AT_STOP, 147.0), saved=saved, meters_l=(271.5,)).runs[1].metered_l == (124.5,)


def test_a_meter_that_counted_more_than_the_run_leaves_the_distance_open():
    """Ten litres were used before the passage, since the fill-up before: 157 on the dial, 147 in the run."""
    before = filled(LEAVES - timedelta(days=2), 90.0)
    done = finished(before, filled(AT_STOP, 157.0), saved=made_plan(meters=(10.0,)), sea="calm")
    (correction,) = done.corrections
    assert correction.values == {"sea": "calm"}
    assert re.search(r"fill0001: the meter counted 157\.0 l, the runs in the log 147\.0 l: 10\.0 l went", done.notes[0])


def test_a_dock_is_told_from_another_by_order_and_time_where_its_name_was_taken_over():
    """Three stops; the log has the first one's dock for all of them, and the second was passed by."""
    saved = made_plan([[(20.0, 20.0)]] * 4, ("A", "B", "C", "D", "E"))
    fills = [(LEAVES + timedelta(minutes=80), 60.0), (LEAVES + timedelta(minutes=225), 120.0)]  # 20 min late at D
    done = finished(
        *(filled(when, used_l, dock="B") for when, used_l in fills),
        saved=saved,
        arrived=LEAVES + timedelta(minutes=290),
        now=LEAVES + timedelta(hours=9),
    )
    assert [(run.start, run.finish, run.distance_nmi) for run in done.runs] == [
        ("A", "B", 20.0),
        ("B", "D", 40.0),
        ("D", "E", 20.0),
    ]
    assert len(done.notes) == 1
    assert "no fill-up at C: she is taken to have gone past it" in done.notes[0]


def test_a_dial_that_was_reset_at_a_stop_that_the_log_lacks_is_asked_about():
    with pytest.raises(InputError, match=r"--meter: shows about what was planned since North Pump, where the log has"):
        finished(meters_l=(124.5,))
    assert finished(meters_l=(271.5,)).runs[0].distance_nmi == 68.5
    assert finished(meters_l=(124.5,), sure=True).runs[0].metered_l == (124.5,)


def test_a_fillup_that_was_forgotten_on_the_way_teaches_no_half_burn():
    """271.5 l are planned from end to end, 124.5 of them after the stop: a dial of 130 was reset there."""
    there = filled(ARRIVES + timedelta(minutes=9), 130.0, dock="East Mark")
    with pytest.raises(
        InputError, match=r"--arrived: fill-up fill0000 at East Mark metered 130\.0 l, about .* since North Pump, where"
    ):
        finished(there)
    (run,) = finished(there, sure=True).runs
    assert (run.distance_nmi, run.speeds_run, run.metered_l) == (None, (), (130.0,))


@pytest.mark.parametrize(("share", "told"), [(0.65, False), (0.75, True), (1.5, True), (1.7, False)])
def test_no_distance_is_taken_where_the_meter_tells_of_other_running(share: float, told: bool):  # noqa: FBT001
    """147 l are planned to the stop; the last run, with a dial typed, is asked about."""
    done = finished(filled(AT_STOP, 147.0 * share), sea="calm")
    assert done.runs[0].distance_nmi == (37.0 if told else None)
    assert done.corrections[0].fillup.distance_run_nmi == (37.0 if told else None)
    assert told or f"{share:.2f} times the fuel planned went from West Mark to North Pump" in done.notes[0]
    if not told:
        with pytest.raises(InputError, match=rf"--meter: is {share:.1f} times what was planned since North Pump"):
            finished(filled(AT_STOP, 147.0), meters_l=(124.5 * share,))


def test_a_track_tells_what_she_burns_better_than_the_plan(tmp_path: Path):
    """At 6 kn the 31.5 nmi take 5 h 15 and 94.5 l; 60 are 0.48 times the 124.5 planned, and 0.63 times the track's."""
    end = AT_STOP + timedelta(hours=5.25)
    file = track(tmp_path / "slow.gpx", [(AT_STOP, 6, 5.25)])
    typed: dict[str, Any] = {"arrived": end, "now": end, "tracks": (file,)}
    slow = finished(filled(AT_STOP, 147.0), meters_l=(80.0,), **typed).runs[1]
    assert (slow.distance_nmi, slow.known_by) == (pytest.approx(31.5, rel=2e-3), "track")
    with pytest.raises(InputError, match=r"--meter: is 0\.6 times what she burns for the track since North Pump, 94\."):
        finished(filled(AT_STOP, 147.0), meters_l=(60.0,), **typed)


def test_stops_that_she_can_not_have_gone_past_have_to_be_in_the_log():
    """271.5 l are planned; 380 less 50 unusable and reserve do, 300 less them don't."""
    assert finished().runs[0].distance_nmi == 68.5
    aboard = FuelAboard(mean_l=300.0, sd_l=4.0, how="stated")
    saved = PLAN.model_copy(update={"trip": PLAN.trip.model_copy(update={"aboard": aboard})})
    with pytest.raises(
        InputError,
        match=r"--arrived: the log has no fill-up at North Pump: 271\.5 l are planned .* 300\.0 l were aboard: enter",
    ):
        finished(saved=saved)
    assert finished(saved=saved, sure=True).runs[0].distance_nmi == 68.5
    assert finished(saved=saved, distance_nmi=68.0).runs[0].distance_nmi == 68.0
    assert finished(saved=saved, meters_l=(280.0,)).runs[0].distance_nmi == 68.5, "on the reserve, as the meter tells"
    with pytest.raises(InputError, match=r"310\.0 l were metered .* 300\.0 l were aboard"):
        finished(saved=saved, meters_l=(310.0,))


def test_a_stop_passed_by_after_a_fill_is_held_against_the_full_tank():
    """100 l aboard, three runs of 60 l; filled at B, and past C on 380."""
    aboard = FuelAboard(mean_l=100.0, sd_l=4.0, how="stated")
    saved = made_plan([[(20.0, 20.0)]] * 3, ("A", "B", "C", "D"))
    saved = saved.model_copy(update={"trip": saved.trip.model_copy(update={"aboard": aboard})})
    done = finished(
        filled(LEAVES + timedelta(minutes=80), 60.0, dock="B"), saved=saved, arrived=LEAVES + timedelta(hours=3.5)
    )
    assert [(run.finish, run.distance_nmi) for run in done.runs] == [("B", 20.0), ("D", 40.0)]


def test_a_thrifty_run_past_a_short_first_one_is_no_forgotten_fill():
    """30 and 120 l are planned, 120 metered from end to end: 0.8 times the plan, if exactly the second run's too."""
    saved = made_plan([[(10.0, 20.0)], [(40.0, 20.0)]])
    there = saved.plan.arrive
    fillup = filled(there + timedelta(minutes=9), 120.0, dock="East Mark")
    assert finished(fillup, saved=saved, arrived=there).runs[0].distance_nmi == 50.0


def test_what_was_put_right_by_hand_stays_when_a_passage_is_entered_anew():
    first = finished(filled(AT_STOP, 147.0))
    history = []
    for number, run in enumerate(first.runs):
        was = RunEntry(entry=f"run{number:05}", entered=LATER, run=run)
        history += [was, was.model_copy(update={"entry": f"out{number:05}", "replaces": was.entry, "withdrawn": True})]
    mended = first.corrections[0].fillup.model_copy(update={"distance_run_nmi": 38.0})
    again = finish(PLAN, [entry(0, mended)], history, Finish(ARRIVES, sea="rough"), LATER)
    assert [c.fillup.distance_run_nmi for c in again.corrections] == [38.0]
    assert again.corrections[0].values.keys() == {"sea"}


def test_a_fillup_that_the_plan_knows_nothing_of_cuts_the_run_and_nobody_knows_how_far():
    elsewhere = filled(LEAVES + timedelta(minutes=40), 70.0, dock="Pier 7")
    done = finished(elsewhere, filled(AT_STOP, 77.0), sea="calm")
    assert [(run.finish, run.distance_nmi) for run in done.runs] == [
        ("Pier 7", None),
        ("North Pump", None),
        ("East Mark", 31.5),
    ]
    assert all(c.values == {"sea": "calm"} for c in done.corrections)
    assert "--replaces fill0000 --distance" in done.notes[0]


# How far she ran, when it wasn't as planned


def test_a_wait_at_a_lock_is_no_time_under_way():
    """Half an hour, half an hour's wait and an hour: two hours from end to end, and one and a half under way."""
    saved = made_plan([[(10.0, 20.0), (20.0, 20.0)]], ("A", "B"))
    wait, (first, last) = timedelta(minutes=30), saved.plan.legs
    legs = (first, last.model_copy(update={"depart": last.depart + wait, "arrive": last.arrive + wait}))
    plan = saved.plan.model_copy(update={"legs": legs, "arrive": last.arrive + wait})
    (run,) = finished(saved=saved.model_copy(update={"plan": plan}), arrived=LEAVES + timedelta(hours=2)).runs
    assert run.time_h == 1.5


def test_turned_back_needs_a_distance():
    with pytest.raises(InputError, match=r"--distance: from West Mark to Gull Bay, .* nothing tells how far she ran"):
        finished(at="Gull Bay", arrived=LEAVES + timedelta(hours=2))
    done = finished(at="Gull Bay", arrived=LEAVES + timedelta(hours=2), distance_nmi=30.0, hours_h=1.4)
    (run,) = done.waiting
    assert (run.finish, run.distance_nmi, run.time_h, run.known_by) == ("Gull Bay", 30.0, 1.4, "typed")


def test_cut_short_at_a_place_on_the_way_is_as_planned_up_to_there():
    (run,) = finished(at="north pump", arrived=LEAVES + timedelta(hours=1, minutes=25)).waiting
    assert (run.finish, run.distance_nmi, run.known_by) == ("North Pump", 37.0, "plan")


def test_much_longer_than_planned_is_asked_about_unless_the_fuel_was_as_planned():
    """Two hours fishing on the way cost hardly any fuel; a way round an island does."""
    late = ARRIVES + timedelta(hours=2)
    with pytest.raises(InputError, match=r"--arrived: from North Pump .* took 3 h 15 min, and 1 h 15 min were planned"):
        finished(filled(AT_STOP, 147.0), arrived=late, now=late)
    fished = finished(filled(AT_STOP, 147.0), arrived=late, now=late, meters_l=(130.0,)).waiting[0]
    assert (fished.distance_nmi, fished.time_h, fished.speeds_run) == (31.5, None, ())
    with pytest.raises(InputError, match=r"on 1\.5 times the fuel: was it run as planned"):
        finished(filled(AT_STOP, 147.0), arrived=late, now=late, meters_l=(190.0,))


def test_a_run_that_ended_another_day_is_asked_about():
    """An hour and a quarter was planned: seven hours more are asked about, five aren't on the fuel planned."""
    stop = filled(AT_STOP, 147.0)
    for hours, asked in ((5, False), (7, True), (24 * 150, True)):
        late: dict[str, Any] = {"arrived": ARRIVES + timedelta(hours=hours), "now": LATER + timedelta(hours=hours)}
        if not asked:
            assert finished(stop, meters_l=(124.5,), **late).runs[1].distance_nmi == 31.5
            continue
        with pytest.raises(InputError, match=r"--arrived: from North Pump .* would have taken .*, and 1 h 15 min were"):
            finished(stop, meters_l=(124.5,), **late)
        assert finished(stop, meters_l=(124.5,), sure=True, **late).runs[1].distance_nmi == 31.5
    saved = made_plan([[(200.0, 20.0)]], ("A", "B"))  # ten hours and 600 l; seventeen are less than twice as long
    long: dict[str, Any] = {"arrived": LEAVES + timedelta(hours=17), "now": LEAVES + timedelta(hours=18)}
    assert finished(saved=saved, meters_l=(600.0,), departed=LEAVES, **long).runs[0].distance_nmi == 200.0
    with pytest.raises(InputError, match=r"from West Mark to Gull Bay she would have taken 12 h 0 min, and 2 h 57 min"):
        finished(at="Gull Bay", arrived=LEAVES + timedelta(hours=12), now=LEAVES + timedelta(hours=13), distance_nmi=30)


def test_late_at_the_first_stop_she_is_taken_to_have_left_late_unless_she_said_when():
    """An hour late at the stop, by the planned fuel or with no meter; by more fuel it was another way."""
    late = AT_STOP + timedelta(hours=1)
    for used_l in (147.0, None):
        first = finished(
            filled(late, 147.0, meter_used_l=used_l),
            arrived=late + timedelta(hours=1.25),
            now=ARRIVES + timedelta(hours=2),
        ).runs[0]
        assert (first.distance_nmi, first.time_h, len(first.speeds_run)) == (37.0, pytest.approx(1.367, abs=1e-3), 2)
        assert first.began == LEAVES + timedelta(hours=1)
    more = {"arrived": late + timedelta(hours=1.25), "now": ARRIVES + timedelta(hours=2)}
    assert finished(filled(late, 250.0), **more).runs[0].distance_nmi is None
    said = finished(filled(late, 147.0), departed=LEAVES, **more).runs[0]
    assert (said.distance_nmi, said.speeds_run) == (37.0, ())


def test_a_round_trip_that_began_with_a_fill_tells_home_before_from_home_after():
    """Filled at home at eight, at the pump on the way, and at home again in the evening; one dock's name twice."""
    saved = made_plan(RUNS, ("Home Quay", "North Pump", "Home Quay"))
    fills = [
        filled(LEAVES - timedelta(minutes=5), 50.0, dock="Home Quay"),
        filled(AT_STOP, 147.0),
        filled(ARRIVES + timedelta(minutes=20), 124.5, dock="Home Quay"),
    ]
    done = finished(*fills, saved=saved)
    assert [c.entry.entry for c in done.corrections] == ["fill0001", "fill0002"]
    assert [(run.start, run.finish, run.metered_l) for run in done.runs] == [
        ("Home Quay", "North Pump", (147.0,)),
        ("North Pump", "Home Quay", (124.5,)),
    ]
    assert done.waiting == ()
    one_way = finished(
        *fills[:1],
        saved=made_plan([[(30.0, 20.0)]], ("Home Quay", "Home Quay")),
        arrived=LEAVES + timedelta(hours=1.5),
        meters_l=(90.0,),
    )
    assert [(run.distance_nmi, run.metered_l) for run in one_way.waiting] == [(30.0, (90.0,))]


def test_two_meters_are_counted_one_by_one():
    saved = made_plan(meters=(10.0, 12.0))
    done = finished(filled(AT_STOP, 85.0, meter2_used_l=84.0), saved=saved, meters_l=(62.0, 62.5))
    assert [run.metered_l for run in done.runs] == [(75.0, 72.0), (62.0, 62.5)]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"arrived": LATER + timedelta(hours=2)}, r"--arrived: lies 2 h 0 min ahead"),
        ({"arrived": LEAVES}, r"--arrived: is not after the departure, 2026-07-01T08:00Z, as the plan has it"),
        ({"arrived": LEAVES + timedelta(minutes=40)}, r"--arrived: .* was it run as planned|--arrived: .* kn"),
        ({"meters_l": (1.0, 2.0)}, r"--meter: must be what one meter show"),
        ({"meters_l": (1240.0,)}, r"--meter: is 10\.0 times what was planned since North Pump, 124\.5 l"),
        ({"distance_nmi": 315.0}, r"--distance: 315\.0 nmi in 1 h 15 min would be 252 kn"),
        ({"people": 5000}, r"--people: "),
        ({"note": "two\nlines"}, r"--note: must be one line"),
    ],
)
def test_what_can_not_be_is_refused_in_one_line(typed: dict[str, Any], said: str):
    with pytest.raises(InputError, match=said) as refused:
        finished(filled(AT_STOP, 147.0), **typed)
    assert "\n" not in str(refused.value)


def test_a_dial_that_went_backwards_is_asked_about_and_a_noted_reset_is_counted():
    """30 l before a reset, 90 after it: 120 less the 20 that it showed at departure."""
    saved = made_plan([[(25.0, 20.0)]], ("A", "B"), meters=(20.0,))
    arrived = LEAVES + timedelta(minutes=75)
    with pytest.raises(InputError, match=r"--meter: is less than the dial showed at A, 20\.0 l: was it reset"):
        finished(saved=saved, arrived=arrived, meters_l=(5.0,))
    reset = Report(when=LEAVES + timedelta(minutes=30), position=(-38.7, 44.5), shows_l=(0.0,), was_l=(30.0,))
    (run,) = finished(saved=saved.model_copy(update={"reports": (reset,)}), arrived=arrived, meters_l=(70.0,)).runs
    assert run.metered_l == (80.0,)
    assert run.shows_l == (70.0,)
    later = made_plan(meters=(20.0,), reports=(reset,))
    done = finished(filled(AT_STOP, 137.0), saved=later, meters_l=(124.5,))
    assert [run.metered_l for run in done.runs] == [(147.0,), (124.5,)], "a reset counts on its own run only"


# Tracks


def track(path: Path, parts: list[tuple[datetime, float, float]]) -> Path:
    """Write a track along the equator: from when, [kn] how fast, [h] how long; a position every ten seconds."""
    rows, lon = [], 0.0
    for began, speed_kn, time_h in parts:
        for n in range(int(time_h * 360) + 1):
            when = (began + timedelta(seconds=10 * n)).strftime("%Y-%m-%dT%H:%M:%SZ")
            rows.append(f'<trkpt lat="0" lon="{lon + speed_kn * n / 360 / 60.1079:.7f}"><time>{when}</time></trkpt>')
        lon += speed_kn * time_h / 60.1079  # nmi in a degree of the equator, by sixty: WGS 84, NIMA TR8350.2
    head = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    path.write_text(f"{head}{''.join(rows)}</trkseg></trk></gpx>", encoding="utf-8")
    return path


def test_a_track_of_the_day_is_cut_at_the_fillup_and_counts_more_than_the_plan(tmp_path: Path):
    """26 kn for an hour and a half, half an hour alongside, 24 kn for an hour and a half."""
    stop, end = LEAVES + timedelta(hours=1.8), LEAVES + timedelta(hours=3.5)
    file = track(tmp_path / "day.gpx", [(LEAVES, 26, 1.5), (LEAVES + timedelta(hours=2), 24, 1.5)])
    done = finished(filled(stop, 147.0), arrived=end, now=end, tracks=(file,))
    assert [run.distance_nmi for run in done.runs] == pytest.approx([39.0, 36.0], rel=2e-3)
    assert [run.known_by for run in done.runs] == ["track", "track"]
    assert done.corrections[0].fillup.speeds_run[0].speed_kn == pytest.approx(26, rel=1e-3)


def test_a_track_that_misses_some_of_the_run_does_not_shorten_it(tmp_path: Path):
    """The recorder was switched on half an hour late: 22 of 37 nmi."""
    file = track(tmp_path / "late.gpx", [(LEAVES + timedelta(minutes=30), 28, 0.8)])
    done = finished(filled(AT_STOP, 147.0), tracks=(file,))
    assert [(run.distance_nmi, run.known_by) for run in done.runs] == [(37.0, "plan"), (31.5, "plan")]
    assert "the track has only 22.4 nmi of 37.0 nmi from West Mark to North Pump" in done.notes[0]
    with pytest.raises(InputError, match=r"--distance: .* the track has only some of it, 22\.4 nmi from"):
        finished(at="Gull Bay", tracks=(file,), arrived=LEAVES + timedelta(hours=1.5))
    for distance_nmi, speeds in ((22.4, 1), (30.0, 0)):  # its speeds are taken with its own distance only
        typed = {"arrived": LEAVES + timedelta(hours=1.5), "distance_nmi": distance_nmi}
        assert len(finished(at="Gull Bay", tracks=(file,), **typed).runs[0].speeds_run) == speeds


# In the log


def test_a_passage_is_entered_once_and_can_be_taken_out_and_entered_anew(logbook: Logbook):
    logbook.append([NewEntry(filled(AT_STOP, 147.0), entry="stop0001")])
    done = enter_finish(logbook, PLAN, Finish(ARRIVES, meters_l=(124.5,), sea="calm"), LATER)
    assert [e.run for e in logbook.runs(NAME)] == list(done.runs)
    assert [e.entry for e in logbook.runs()] == list(done.run_names)
    (stop,) = logbook.log().entries
    assert (stop.replaces, stop.entry) == ("stop0001", done.entry_names[0])
    history, runs = list(logbook.history()), logbook.runs(withdrawn=True)
    noted = PLAN.model_copy(update={"closed": LATER, "reports": (Report(when=LATER, position=(0, 0)),)})
    with pytest.raises(InputError, match=rf"in the log already, entered .*Z as {done.run_names[0]}, .* withdraw "):
        enter_finish(logbook, noted, Finish(ARRIVES, sea="rough"), LATER)
    assert (list(logbook.history()), logbook.runs(withdrawn=True)) == (history, runs)
    gone = logbook.withdraw_passage(done.run_names[1])
    assert [e.entry for e in gone] == list(done.run_names)
    assert logbook.runs() == ()
    assert len(logbook.runs(withdrawn=True)) == 4
    with pytest.raises(InputError, match="was withdrawn by"):
        logbook.withdraw_passage(done.run_names[1])
    enter_finish(logbook, PLAN, Finish(ARRIVES, sea="rough"), LATER)
    (stop,) = logbook.log().entries
    assert (stop.fillup.sea, stop.fillup.distance_run_nmi) == ("rough", 37.0)


def test_a_remedy_names_the_entry_that_holds_once_all_is_entered(logbook: Logbook):
    logbook.append([NewEntry(BEFORE), NewEntry(filled(AT_STOP, 157.0), entry="stop0001")])
    done = enter_finish(logbook, made_plan(meters=(10.0,)), Finish(ARRIVES, sea="calm"), LATER)
    assert f"fill-up {done.entry_names[0]}: the meter counted 157.0 l" in done.notes[0]


def test_a_boat_is_not_on_two_passages_at_once_and_nothing_of_the_second_is_added(logbook: Logbook):
    enter_finish(logbook, PLAN, Finish(ARRIVES), LATER)
    logbook.append([NewEntry(filled(LEAVES + timedelta(minutes=75), 100.0))])
    before = list(logbook.history())
    other = made_plan([[(25.0, 20.0)]], ("A", "North Pump"))
    with pytest.raises(InputError, match=r"can't be on two runs at once: run .*, 2026-07-01T08:00Z to .* withdraw"):
        enter_finish(logbook, other, Finish(LEAVES + timedelta(minutes=76)), LATER)
    assert list(logbook.history()) == before
    assert len(logbook.runs()) == 1


def test_all_or_nothing(logbook: Logbook, monkeypatch: pytest.MonkeyPatch):
    logbook.append([NewEntry(filled(AT_STOP, 147.0), entry="stop0001")])

    def full_disk(*_: object) -> None:
        raise InputError("disk", "is full")

    with monkeypatch.context() as patched:
        patched.setattr("routeplan.logbook.enter_runs", full_disk)  # the corrections are in by then
        with pytest.raises(InputError, match="is full"):
            enter_finish(logbook, PLAN, Finish(ARRIVES), LATER)
    assert [e.entry for e in logbook.history()] == ["stop0001"]
    enter_finish(logbook, PLAN, Finish(ARRIVES), LATER)
    assert len(list(logbook.history())) == 2


def test_a_fillup_that_somebody_enters_meanwhile_is_counted(logbook: Logbook, monkeypatch: pytest.MonkeyPatch):
    """While a track was read the fill-up at the stop came into the log: the passage is cut there."""
    settle = logbook.settle

    def late(make: Any) -> Any:
        logbook.append([NewEntry(filled(AT_STOP, 147.0))])
        return settle(make)

    monkeypatch.setattr(logbook, "settle", late)
    done = enter_finish(logbook, PLAN, Finish(ARRIVES), LATER)
    assert [run.distance_nmi for run in done.runs] == [37.0, 31.5]
    assert len(done.corrections) == 1


def test_a_plan_is_the_same_passage_once_it_was_kept_on_disk(tmp_path: Path):
    path = tmp_path / "plan.json"
    write_plan(PLAN, path)
    assert passage_key(read_plan(path)) == passage_key(PLAN)
    assert passage_key(made_plan(leaves=LEAVES + timedelta(days=1))) != passage_key(PLAN)


# What is learnt


EVEN = ([(40.0, 20.0)], [(30.0, 20.0)])  # 2 h and 1 h 30 at one speed: 120 and 90 l


def season(true_factor: float, *, by: str, passages: int = 8, seed: int = 3, even: bool = False) -> list[Fillup]:
    """Run a season of two-run passages on a boat that burns more than her table, by 2 % more or less each run."""
    burns, runs = ((120.0, 90.0), EVEN) if even else ((147.0, 124.5), RUNS)
    typed = [(40.0, 2.0), (30.0, 1.5)] if even else [(37.0, 1.4), (31.5, 1.3)]  # an hour meter has tenths
    rng = np.random.default_rng(seed)
    entries: list[Entry] = []
    history: list[RunEntry] = []
    for number in range(passages):
        leaves = LEAVES + timedelta(days=3 * number)
        saved = made_plan(runs, leaves=leaves)
        used = [round(burn * true_factor * (1 + 0.02 * rng.standard_normal()), 1) for burn in burns]
        at_stop, there = saved.plan.stops[0].depart, saved.plan.arrive
        by_hand: list[dict[str, Any]] = [{}, {}]
        if by == "hand":
            by_hand = [{"distance_run_nmi": nmi, "engine_hours_h": hours} for nmi, hours in typed]
        entries.append(entry(2 * number, filled(at_stop, used[0], **by_hand[0])))
        if by == "finish":
            done = finish(saved, entries, history, Finish(there, meters_l=(used[1],)), there)
            entries[-1] = entries[-1].model_copy(update={"fillup": done.corrections[0].fillup})
            names = (f"r{number:03}{n:04}" for n in range(9))
            history += [
                RunEntry(entry=name, entered=there, run=run) for name, run in zip(names, done.runs, strict=False)
            ]
        last = filled(there + timedelta(hours=20), used[1], **by_hand[1])
        if by == "finish":
            taken = take_runs(last, entries[-1].fillup, [e.run for e in history], BOAT, missing_fields(last))
            last = last.model_copy(update=dict(taken.values))
        entries.append(entry(2 * number + 1, last))
    return [e.fillup for e in entries]


@pytest.mark.parametrize("true_factor", [0.9, 1.15])
def test_the_burn_is_learnt_from_three_numbers_at_the_pump_as_it_truly_is(true_factor: float):
    """16 runs that scatter by 2 %: the mean is known to 0.5 %; the prior, 1 give or take, draws it in by less."""
    by_finish = learn(BOAT, season(true_factor, by="finish")).lesson.burn_factor
    assert by_finish is not None
    assert by_finish.rests_on == 16
    assert by_finish.mean == pytest.approx(true_factor, rel=0.015)


@pytest.mark.slow
def test_the_burn_moves_as_with_distance_and_hours_typed_by_hand():
    """At one speed both say the same."""
    by_finish, by_hand = (learn(BOAT, season(1.15, by=way, even=True)).lesson.burn_factor for way in ("finish", "hand"))
    assert by_finish is not None
    assert by_hand is not None
    assert by_hand.rests_on == by_finish.rests_on == 16
    assert by_finish.mean == pytest.approx(by_hand.mean, rel=1e-3)
    assert by_finish.sd == pytest.approx(by_hand.sd, rel=0.02)


@pytest.mark.slow
def test_typed_by_hand_a_slow_mile_spoils_the_burn_that_the_plan_tells_rightly():
    """By hand 26.4 kn for 1.4 h are 138.0 l of 147, 24.2 kn for 1.3 h 111.0 l of 124.5: 9 % too little by the table."""
    by_hand = learn(BOAT, season(1.15, by="hand")).lesson.burn_factor
    assert by_hand is not None
    assert by_hand.mean == pytest.approx(1.15 * math.sqrt(147 / 138.0 * 124.5 / 111.0), rel=0.015)


def test_nothing_is_learnt_of_the_burn_where_nobody_tells_the_distance():
    nothing = learn(BOAT, season(1.15, by="nobody", passages=3)).lesson.burn_factor
    assert nothing is None or nothing.rests_on == 0


# What is said


def test_what_was_entered_is_told_with_what_is_left_to_do(logbook: Logbook):
    logbook.append([NewEntry(filled(AT_STOP, 161.7), entry="stop0001")])
    done = enter_finish(logbook, PLAN, Finish(ARRIVES, meters_l=(124.5,), sea="slight", people=4), LATER)
    told = tell_finished(done, PLAN, logbook.where, ZoneInfo("Atlantic/Azores"))
    flat = " ".join(told.split())
    assert "West Mark to East Mark, 2 runs of Wed 1 Jul 2026 08:00 to 10:57 UTC" in flat
    assert "161.7 l by the meter, slight, 4 aboard; by the meter, corrected, 1.10 times the burn planned" in flat
    assert "replaces stop0001, the fill-up of Wed 1 Jul 2026 09:42 UTC at North Pump: now with 37.0 nmi" in flat
    assert "routeplan fillup add METER GAUGE PUMPED" in flat
    assert f"fillup withdraw {done.run_names[-1]}" in flat
    document = finish_document(done, PLAN, logbook.where, LATER)
    assert document["schema"] == "routeplan/underway-arrived/1"
    assert [run["distance_nmi"] for run in document["runs"]] == [37.0, 31.5]
    assert document["waiting"] == [done.run_names[1]]
    assert document["corrections"][0]["replaces"] == "stop0001"


# As it is typed


@pytest.mark.parametrize(
    ("typed", "field", "value"),
    [
        ({}, "arrived", LATER),
        ({"arrived": "10:57"}, "arrived", ARRIVES),
        ({"arrived": "2026-07-01T11:57+01:00"}, "arrived", ARRIVES),
        ({"departed": "08:10"}, "departed", LEAVES + timedelta(minutes=10)),
        ({"departed": "11:30"}, "departed", LEAVES - timedelta(hours=20, minutes=30)),  # it is 11:27: yesterday's
        ({"meter": "20.8+20.7"}, "meters_l", (20.8, 20.7)),
        ({"meter": "10usgal"}, "meters_l", (37.85411784,)),  # 231 cubic inches, exactly
        ({"meter": "-"}, "meters_l", None),
        ({"distance": "37 km"}, "distance_nmi", 37 / 1.852),
        ({"hours": "1h24"}, "hours_h", 1.4),
        ({"hours": "1.4"}, "hours_h", 1.4),
        ({"sea": "Very  rough"}, "sea", "very rough"),
        ({"people": "4"}, "people", 4),
    ],
)
def test_what_is_typed_is_read(typed: dict[str, Any], field: str, value: object):
    read = getattr(read_finish(TypedFinish(**typed), PLAN, LATER, ZoneInfo("UTC")), field)
    assert read == (pytest.approx(value) if isinstance(value, float) else value)


DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("days", "typed", "arrived", "departed"),
    [
        (150, {"arrived": "10:57", "departed": "08:10"}, ARRIVES, LEAVES + timedelta(minutes=10)),
        (2, {"arrived": "10:30"}, ARRIVES - timedelta(minutes=27), None),  # a little early, two days ago
        (
            9,
            {"arrived": "14:00", "departed": "2026-07-02T09:00Z"},
            LEAVES + timedelta(hours=30),
            LEAVES + 25 * DAY / 24,
        ),
        (9, {"arrived": "2026-07-03T10:57Z", "departed": "08:10"}, ARRIVES + 2 * DAY, LEAVES + 2 * DAY + DAY / 144),
        (9, {"arrived": "now"}, LATER + 9 * DAY, None),
    ],
)
def test_a_time_of_day_alone_is_of_the_day_of_the_plan(
    days: int, typed: dict[str, Any], arrived: datetime, departed: datetime | None
):
    read = read_finish(TypedFinish(**typed), PLAN, LATER + timedelta(days=days), ZoneInfo("UTC"))
    assert (read.arrived, read.departed) == (arrived, departed)


def test_the_departure_of_a_long_passage_is_of_its_own_day():
    """Thirty hours were planned: at ten past two of the second of July, she had left on the first."""
    saved = made_plan([[(600.0, 20.0)]], ("A", "B"))
    read = read_finish(TypedFinish("14:10", departed="08:20"), saved, LATER + 9 * DAY, ZoneInfo("UTC"))
    assert (read.arrived, read.departed) == (LEAVES + timedelta(hours=30, minutes=10), LEAVES + timedelta(minutes=20))


def test_a_time_of_day_alone_is_the_first_after_the_last_report():
    """Held up by weather for a day: she reported on the second of July at nine, and came there at ten to eleven."""
    report = Report(when=LEAVES + timedelta(hours=25), position=(-38.3, 44.5))
    saved = PLAN.model_copy(update={"reports": (report,)})
    read = read_finish(TypedFinish("10:50"), saved, LATER + timedelta(days=9), ZoneInfo("UTC"))
    assert read.arrived == LEAVES + timedelta(hours=26, minutes=50)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"arrived": "25:00"}, "--arrived: is not a time of day"),
        ({"departed": "yesterday"}, "--departed: is not a date and time"),
        ({"meter": "x"}, "--meter: "),
        ({"distance": "37"}, None),
        ({"hours": "two"}, "--hours: "),
        ({"sea": "choppy"}, "--sea: is not known here"),
        ({"people": "four"}, "--people: is not a whole number"),
        ({"at": " "}, "--at: names no place"),
    ],
)
def test_what_can_not_be_read_names_its_option(typed: dict[str, Any], said: str | None):
    if said is None:
        assert read_finish(TypedFinish(**typed), PLAN, LATER, ZoneInfo("UTC")).distance_nmi == 37
        return
    with pytest.raises(InputError, match=said):
        read_finish(TypedFinish(**typed), PLAN, LATER, ZoneInfo("UTC"))


def test_which_stops_were_made_is_found_whatever_was_left_out_or_taken_over():
    """Forty passages of seven runs, three stops in ten passed by.

    Half of them with docks typed, and late by up to an hour a run; half late by up to ten minutes a run, with the dock
    of the day before taken over at each fill-up.
    """
    chance = np.random.default_rng(11)
    places = tuple(f"Dock {sign}" for sign in "ABCDEFGH")
    for number in range(40):
        saved, named = made_plan([[(30.0, 20.0)]] * 7, places), number % 2 == 0
        made, late = [], timedelta(0)
        fills = [filled(LEAVES - timedelta(days=1), 90.0, dock=places[1])]
        for stop in saved.plan.stops:
            late += timedelta(minutes=float(chance.uniform(-5, 60 if named else 10)))
            if chance.random() < 0.7:
                made.append(stop.dock)
                fills.append(filled(stop.depart + late, 90.0, dock=stop.dock if named else places[1]))
        arrived = saved.plan.arrive + late + timedelta(minutes=1)
        spans = find_between(saved, [entry(n, fill) for n, fill in enumerate(fills)], LEAVES, arrived)
        assert [span.finish for span in spans] == [*made, places[-1]]
        assert sum(span.distance_nmi for span in spans) == pytest.approx(210)
