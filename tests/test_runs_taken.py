"""Runs that wait in the log, and the fill-up that takes them: worked out by hand, and as a skipper types it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from faces import Outcome, run, write_boat
from oracles.log_places import quick_folder, server_place
from oracles.passages_run import BOAT, LEAVES, filled, made_plan
from oracles.small_logs import NAME

from layers.errors import InputError
from routeplan.fillups import Fillup, SpeedRun
from routeplan.finishing import Finish, enter_finish
from routeplan.log_schema import VERSION, fillups, make_log, row_of
from routeplan.log_store import open_store
from routeplan.logbook import NewEntry, open_logbook
from routeplan.run_rows import RUNS, row_of_run, runs
from routeplan.runs import Run, RunEntry
from routeplan.runs_taken import RUN_FIELDS, missing_fields, pending_runs, shown_runs, take_runs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Cli = Callable[..., Outcome]

KEY = "0" * 64
NOON = datetime(2026, 7, 3, 12, tzinfo=UTC)
BEFORE = filled(LEAVES - timedelta(hours=20), 100.0)
EVERYTHING = frozenset(RUN_FIELDS)


def made(
    start_h: float = 0.0, hours: float = 2.0, nmi: float | None = 40.0, metered: float | None = 120.0, **more: Any
) -> Run:
    """Make a run of 40 nmi in two hours at 20 kn, 120 l by the meter."""
    began = LEAVES + timedelta(hours=start_h)
    values: dict[str, Any] = {
        "boat": NAME,
        "began": began,
        "ended": began + timedelta(hours=hours),
        "distance_nmi": nmi,
        "time_h": hours,
        "metered_l": None if metered is None else (metered,),
        "speeds_run": (SpeedRun(speed_kn=20, time_h=hours),),
        "known_by": "plan",
        "passage_key": KEY,
    }
    return Run(**values | more)


def taken(*held: Run, used_l: float = 240.0, before: Fillup | None = BEFORE, when_h: float = 30.0, **more: Any) -> Any:
    fillup = filled(LEAVES + timedelta(hours=when_h), used_l, **more)
    return take_runs(fillup, before, held, BOAT, missing_fields(fillup))


# What is taken


def test_two_runs_are_added_up_and_the_longer_one_tells_sea_and_people():
    found = taken(
        made(sea="slight", people=2),
        made(24, 3, 45.0, 120.0, sea="rough", speeds_run=(SpeedRun(speed_kn=15, time_h=3),)),
    )
    assert found.values == {
        "distance_run_nmi": 85.0,
        "engine_hours_h": 5.0,
        "speeds_run": (SpeedRun(speed_kn=15, time_h=3), SpeedRun(speed_kn=20, time_h=2)),
        "sea": "rough",
        "people": 2,
    }
    assert found.notes == ()


def test_only_runs_since_the_fillup_before_are_taken_whatever_the_order():
    long_ago, later = made(-60), made(40)
    assert taken(later, made(), long_ago, used_l=120.0).values["distance_run_nmi"] == 40.0
    assert taken(later, long_ago).values == {}
    assert taken(made(boat="Another")).values == {}


@pytest.mark.parametrize(
    ("used_l", "more", "said"),
    [
        (121.0, {}, None),  # a litre at the dock
        (123.6, {}, None),  # 3 %
        (124.0, {}, "the meter counted 124.0 l, the runs in the log 120.0 l: 4.0 l went where no run tells of"),
        (110.0, {"since": ("reset-in-mid-tank",)}, None),  # then the dial shows the least that was used
        (50.0, {"since": ("meter-replaced",)}, None),
        (160.0, {"since": ("reset-in-mid-tank",)}, "the meter counted 160.0 l, the runs in the log 120.0 l"),
        (220.0, {"since": ("reset-forgotten",)}, None),  # 220 less the 100 of before
    ],
)
def test_the_meter_is_the_witness_that_no_run_is_missing(used_l: float, more: dict[str, Any], said: str | None):
    found = taken(made(sea="calm"), used_l=used_l, **more)
    if said is None:
        assert found.values["distance_run_nmi"] == 40.0
        assert found.notes == ()
    else:
        assert found.values == {"sea": "calm"}
        assert said in found.notes[0]
        assert "type those of all the running with --distance and --hours" in found.notes[0]


@pytest.mark.parametrize(
    ("pumped_l", "more", "ratio"),
    [
        (80.0, {}, "0.67"),
        (88.0, {}, None),
        (190.0, {}, None),
        (200.0, {}, "1.67"),
        (80.0, {"filled_to_full": False}, None),  # a part fill tells nothing
        (80.0, {"since": ("unwritten-fillup",)}, None),  # said already
    ],
)
def test_without_a_meter_the_pump_is_asked(pumped_l: float, more: dict[str, Any], ratio: str | None):
    """120 l by the table, from one full mark to the next."""
    found = taken(made(metered=None, sea="calm"), used_l=pumped_l, meter_used_l=None, **more)
    assert ("distance_run_nmi" in found.values) == (ratio is None)
    assert found.values["sea"] == "calm"
    assert [note.split(", ")[1] for note in found.notes] == (
        [] if ratio is None else [f"{ratio} times what the runs burn by the table (40.0 nmi"]
    )


def test_from_less_than_full_the_pump_gives_more_than_was_burnt_and_never_less():
    part = filled(LEAVES - timedelta(hours=20), 100.0, filled_to_full=False)
    for before in (part, None):
        assert taken(made(metered=None), used_l=300.0, meter_used_l=None, before=before).notes == ()
        assert taken(made(metered=None), used_l=80.0, meter_used_l=None, before=before).values == {}


def test_a_meter_that_counted_far_less_than_the_runs_burn_tells_of_a_fillup_that_is_missing():
    """A track has 40 nmi in 2 h, 120 l by the table; the dial, reset on the way, shows 70."""
    run = made(metered=70.0, known_by="track")
    found = taken(run, used_l=70.0)
    assert found.values == {}
    assert "the meter counted 70.0 l, 0.58 times what the runs burn by the table" in found.notes[0]
    assert "a fill-up in between isn't in the log, so distance and hours were left out" in found.notes[0]
    assert taken(run, used_l=70.0, since=("reset-in-mid-tank",)).values["distance_run_nmi"] == 40.0
    typed = taken(made(metered=70.0, known_by="typed"), used_l=70.0)
    assert typed.values["distance_run_nmi"] == 40.0, "what was typed stands, and is asked about"
    assert "0.58 times" in typed.notes[0]


def test_a_distance_without_hours_is_held_against_the_thirstiest_and_the_thriftiest_mile():
    """3 l a mile at 6 and at 20 kn, 4 at 30: 40 nmi take 120 to 160 l."""
    for used_l, is_taken in ((80.0, False), (90.0, True), (250.0, True), (260.0, False)):
        run = made(metered=used_l, time_h=None, speeds_run=())
        assert ("distance_run_nmi" in taken(run, used_l=used_l).values) == is_taken, used_l


def test_a_run_that_nobody_measured_or_that_a_fillup_cuts_gives_no_distance():
    assert "isn't known of all runs" in taken(made(), made(5, nmi=None)).notes[0]
    cut = taken(made(28, 3, sea="calm"), used_l=120.0)  # half an hour of it lies after the fill-up at 30 h
    assert cut.values == {"sea": "calm"}
    assert "goes on beyond a fill-up" in cut.notes[0]
    late = taken(made(28, 2.2), used_l=120.0)  # twelve minutes: two clocks, or a moment typed from memory
    assert late.values["distance_run_nmi"] == 40.0


def test_hours_and_speeds_are_taken_only_with_the_distance_that_they_belong_to():
    assert taken(made(), used_l=120.0, distance_run_nmi=41.0).values.keys() == {"engine_hours_h", "speeds_run"}
    other = taken(made(), used_l=120.0, distance_run_nmi=67.0)
    assert other.values == {}
    assert "add up to 40.0 nmi, not to the distance typed" in other.notes[0]
    assert taken(made(), used_l=120.0, engine_hours_h=2.1).values.keys() == {"distance_run_nmi", "speeds_run"}
    assert taken(made(), used_l=120.0, engine_hours_h=5.0).values.keys() == {"distance_run_nmi"}


def test_runs_wait_until_a_fillup_of_the_same_boat_lies_after_them():
    held = [made(24), made(0), made(boat="Another")]
    assert pending_runs(held, [filled(LEAVES + timedelta(hours=5), 1.0)]) == (held[2], held[0])
    assert pending_runs(held, []) == (held[2], held[1], held[0])


def test_runs_are_named_by_their_moments():
    azores = ZoneInfo("Europe/Lisbon")  # an hour ahead in summer
    assert shown_runs([made()], azores) == "the run of Wed 1 Jul 2026 09:00 to 11:00"
    assert shown_runs([made(), made(24)], ZoneInfo("UTC")) == (
        "2 runs of Wed 1 Jul 2026 08:00 UTC to Thu 2 Jul 2026 10:00 UTC"
    )


# As it is typed


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("ROUTEPLAN_LOG", "ROUTEPLAN_BOAT"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path / "log.db"


@pytest.fixture
def cli(tmp_path: Path, log: Path) -> Cli:
    """Run `routeplan fillup COMMAND` for a boat of small sums, at noon of 3 July 2026."""
    boat = write_boat(
        tmp_path / "boat.toml",
        ('name = "Plain Test"', f'name = "{NAME}"'),
        ("capacity_l = 100", "capacity_l = 400"),
        ("full_mark_l = 95", "full_mark_l = 380"),
    )

    def at_noon(command: str, *words: object) -> Outcome:
        boats = ("--boat", boat) if command in {"add", "list"} else ()
        return run("fillup", command, *words, *boats, "--log", log, cache=tmp_path / "cache", now=NOON)

    return at_noon


def test_three_numbers_at_the_pump_take_the_run_and_say_so(cli: Cli, log: Path):
    with open_logbook(str(log), create=True) as logbook:
        logbook.append([NewEntry(BEFORE)])
        saved = made_plan([[(40.0, 20.0)]], ("West Mark", "East Mark"))
        typed = Finish(LEAVES + timedelta(hours=2), meters_l=(120.0,), sea="slight", people=4)
        (name,) = enter_finish(logbook, saved, typed, NOON).run_names
    listed = cli("list")
    assert f"{NAME}, 1 run waits for her next fill-up" in listed.out
    assert f"{name}  Wed 1 Jul 2026 10:00 UTC  West Mark to East Mark  40.0 nmi as planned, 2 h 00 min" in listed.out
    assert [entry["entry"] for entry in cli("list", "--json").document["waiting_runs"]] == [name]
    exported = cli("export", log.with_suffix(".csv"))
    assert exported.out.endswith("Not in it: 1 run that waits for a fill-up; it stays in the log.\n")
    added = cli("add", "121", "260", "122", "--zone", "UTC")
    assert added.code == 0, added
    came = "(from the run of Wed 1 Jul 2026 08:00 to 10:00 UTC)"
    assert f"run     40.0 nmi, 2 h 00 min of engine, 2 h 00 min under way at 20.0 to 20.0 kn {came}" in added.out
    assert f"sea     slight, 4 aboard {came}" in added.out
    assert "waits" not in cli("list").out
    assert "Not in it" not in cli("export", log.with_suffix(".csv")).out
    assert ",40,2,20kn 2h,slight,4," in log.with_suffix(".csv").read_text(encoding="utf-8")
    gone = cli("withdraw", cli("list", "--json").document["fillups"][-1]["entry"])
    assert gone.code == 0
    assert "1 run waits" in cli("list").out, "a fill-up that never was gives its runs back"
    assert "40.0 nmi (from the run" not in cli("add", "121", "260", "122", "--distance", "-").out
    assert "counts no more" in cli("withdraw", name).out


def test_the_dock_is_where_the_run_ended_not_where_she_filled_before(cli: Cli, log: Path):
    """North Pump, then a run to East Mark; and years ago she filled at East Mark Fuel Quay."""
    with open_logbook(str(log), create=True) as logbook:
        logbook.append([NewEntry(BEFORE)])
        logbook.settle(lambda: ((), (made(finish="East Mark"),)))
    added = cli("add", "121", "260", "122", "--zone", "UTC", "--json").document
    assert added["entry"]["dock"] == ""
    assert added["entry"]["distance_run_nmi"] == 40.0
    assert "ended at East Mark, where the log knows none; say which with" in added["notes"][0]
    cli("withdraw", added["entry"]["entry"])
    old = filled(LEAVES - timedelta(days=400), 90.0, dock="East Mark Fuel Quay")
    with open_logbook(str(log)) as logbook:
        logbook.append([NewEntry(old)])
    added = cli("add", "121", "260", "122", "--zone", "UTC", "--json").document
    assert added["entry"]["dock"] == "East Mark Fuel Quay"
    assert added["assumed"]["dock"] == "where the run of Wed 1 Jul 2026 08:00 to 10:00 UTC ended"


def test_what_is_typed_counts_more_than_the_run(cli: Cli, log: Path):
    with open_logbook(str(log), create=True) as logbook:
        logbook.append([NewEntry(BEFORE)])
        logbook.settle(lambda: ((), (made(sea="calm"),)))
    added = cli("add", "120", "260", "121", "--distance", "41", "--sea", "rough", "--zone", "UTC", "--json").document
    assert (added["entry"]["distance_run_nmi"], added["entry"]["sea"], added["entry"]["engine_hours_h"]) == (
        41,
        "rough",
        2,
    )
    assert added["assumed"].keys() == {"when", "dock", "engine_hours_h", "speeds_run"}


def test_a_fillup_that_is_entered_late_tells_of_the_one_that_counted_its_runs(cli: Cli, log: Path):
    with open_logbook(str(log), create=True) as logbook:
        logbook.append([NewEntry(BEFORE)])
        logbook.settle(lambda: ((), (made(), made(10))))
    after = cli("add", "240", "140", "241").out.split()[2]
    late = cli("add", "120", "260", "121", "--when", "2026-07-01T12:00Z", "--earlier", "--sure")
    assert late.code == 0, late
    assert f"fillup add --replaces {after} --distance 40.0nmi" in " ".join(late.out.split())


def test_an_import_says_which_runs_it_passes_by(cli: Cli, log: Path):
    with open_logbook(str(log), create=True) as logbook:
        logbook.settle(lambda: ((), (made(), made(100))))
    file = log.with_suffix(".csv")
    file.write_text(f"boat,when,pumped_l\n{NAME},2026-07-02T12:00Z,120\n", encoding="utf-8")
    assert "waited" not in cli("import", file, "--zone", "UTC").out, "nothing was written"
    written = cli("import", file, "--zone", "UTC", "--yes")
    assert written.out.count("waited for a fill-up") == 1
    assert f"the run of Wed 1 Jul 2026 08:00 to 10:00 UTC, {NAME}, waited" in written.out


# Where they are kept


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == "sqlite":
        with quick_folder() as folder:
            yield str(folder / "fillups.db")
    else:
        with server_place() as url:
            yield url


def raw(where: str, statement: Any) -> None:
    with open_store(where, create=False, patience_s=5).writing() as connection:
        connection.execute(sa.text(statement) if isinstance(statement, str) else statement)


def test_every_field_of_a_run_comes_back_as_it_was(where: str):
    one = made(
        metered_l=(0.1, 1 / 3), shows_l=(5e-324, 99_999.9), start="'; DROP TABLE x --", finish="漁船 Ærø", sea="rough",
        people=3, passage="A to B", note="100 %", began="2026-06-30T23:30:00.000001-08:00",
    )  # fmt: skip
    with open_logbook(where, create=True) as logbook:
        logbook.settle(lambda: ((), (one, made(30, nmi=None, time_h=None, metered=None, speeds_run=()))))
        back, bare = logbook.runs(NAME)
        assert back.run == one
        assert (bare.run.distance_nmi, bare.run.metered_l, bare.run.speeds_run) == (None, None, ())
        assert logbook.runs("nobody") == ()


@pytest.mark.parametrize("version", [1, 2])
def test_an_old_log_is_read_as_it_is_and_gets_its_runs_when_first_added_to(where: str, version: int):
    with open_store(where, create=True, patience_s=5).writing() as connection:
        make_log(connection, where, NOON, version=version)
    with open_logbook(where) as logbook:
        assert logbook.runs() == ()
        with pytest.raises(InputError, match="no run of this name"):
            logbook.withdraw_passage("nowhere1")
        logbook.settle(lambda: ([NewEntry(BEFORE)], (made(),)))
        assert [e.fillup for e in logbook.history()] == [BEFORE]
        assert len(logbook.runs()) == 1
    with open_store(where, create=False, patience_s=5).reading() as connection:
        assert connection.scalar(sa.text("SELECT version FROM routeplan_log")) == VERSION == 3


def test_no_statement_changes_a_run_and_none_that_can_not_be_is_taken(where: str):
    with open_logbook(where, create=True) as logbook:
        logbook.settle(lambda: ((), (made(),)))
        (held,) = logbook.runs()
        for statement in (sa.update(runs).values(note="x"), sa.delete(runs)):
            with pytest.raises(sa.exc.DBAPIError, match="never changed or deleted"):
                raw(where, statement)
        good = row_of_run(RunEntry(entry="other000", entered=NOON, run=made(30)))
        wrong = (
            {"distance_nmi": -1.0}, {"ended": LEAVES, "began": LEAVES}, {"speeds_run": "x"}, {"known_by": "guess"},
            {"sea": "choppy"}, {"passage_key": "short"}, {"withdrawn": True}, {"replaces": "nowhere1"},
            {"entry": held.entry}, {"boat": ""},
        )  # fmt: skip
        for change in wrong:
            with pytest.raises(sa.exc.DBAPIError):
                raw(where, sa.insert(runs).values(good | change))
        assert logbook.runs() == (held,)
        raw(where, sa.insert(runs).values(good))
        raw(where, sa.insert(runs).values(good | {"entry": "spoilt00", "metered_l": "[broken"}))
        with pytest.raises(InputError, match="run spoilt00: columns metered_l, shows_l, speeds_run can't be read"):
            logbook.runs()


def test_another_programs_table_of_the_same_name_is_left_alone(where: str):
    """A fill-up written by an old version; then somebody makes a table that has our name."""
    with open_store(where, create=True, patience_s=5).writing() as connection:
        make_log(connection, where, NOON, version=2)
        connection.execute(sa.insert(fillups).values(row_of(_entry())))
        connection.execute(sa.text(f"CREATE TABLE {RUNS} (a integer)"))
    with open_logbook(where) as logbook:
        with pytest.raises(InputError, match=RUNS) as refused:
            logbook.append([])
        assert "\n" not in str(refused.value)
        assert len(list(logbook.history())) == 1


def _entry() -> Any:
    from routeplan.fillups import Entry  # noqa: PLC0415  # one use

    return Entry(entry="test0000", entered=NOON, fillup=BEFORE)
