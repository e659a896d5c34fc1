"""The log of fill-ups, the same in a file and on a server: what is written stays, as it was written, or isn't there."""

from __future__ import annotations

import itertools
import math
import re
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
import sqlalchemy as sa
from oracles.log_places import quick_folder, server_place
from oracles.log_writer import fillup_of

from layers.errors import InputError
from routeplan import log_schema
from routeplan.fillups import Fillup, SpeedRun
from routeplan.log_schema import VERSION, Moment, fillups, log_about, log_version, make_log, row_of
from routeplan.log_store import open_store
from routeplan.logbook import Logbook, NewEntry, NoLogError, open_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator

    from routeplan.fillups import Entry

CLOCK = datetime(2026, 6, 30, 12, 0, 0, 123456, tzinfo=UTC)


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == "sqlite":
        with quick_folder() as folder:
            yield str(folder / "fillups.db")
    else:
        with server_place() as url:
            yield url


@pytest.fixture
def logbook(where: str) -> Iterator[Logbook]:
    with open_logbook(where, create=True, clock=lambda: CLOCK) as opened:
        yield opened


def fillup(boat: str = "Quick Errand", hour: int = 0, **other: Any) -> Fillup:
    values = {"boat": boat, "when": datetime(2026, 5, 1, tzinfo=UTC) + timedelta(hours=hour), "pumped_l": 100.0}
    return Fillup.model_validate(values | other)


def raw(where: str, *statements: Any, make: int | None = None) -> list[Any]:
    """Run statements as another program might, each for good; first make a log of this version."""
    store = open_store(where, create=True, patience_s=5)
    found: list[Any] = []
    with store.writing() as connection:
        if make:
            make_log(connection, where, CLOCK, version=make)
        for statement in statements:
            result = connection.execute(sa.text(statement) if isinstance(statement, str) else statement)
            found = [tuple(row) for row in result] if result.returns_rows else []
    return found


def row(**other: Any) -> dict[str, Any]:
    (new,) = entries(fillup())
    return row_of(new) | other


def entries(*made: Fillup) -> list[Entry]:
    return [
        log_schema.Entry(entry=f"test{number:04}", entered=CLOCK, fillup=fillup) for number, fillup in enumerate(made)
    ]


# What goes in comes out


def test_every_field_comes_back_as_it_was(logbook: Logbook) -> None:
    made = [fillup_of(seed, number) for seed in range(3) for number in range(20)]
    names = logbook.append(NewEntry(one) for one in made)
    history = list(logbook.history())
    assert [entry.fillup for entry in history] == made
    assert [entry.entry for entry in history] == list(names)
    assert {entry.entered for entry in history} == {CLOCK}


@pytest.mark.parametrize(
    "figure",
    # the nearest to a tenth; below it; the smallest of all; the smallest normal one; one with 17 digits; the ceiling's
    # neighbour; a zero
    [0.1, math.nextafter(0.1, 0), 5e-324, 2.2250738585072014e-308, 1 / 3, math.nextafter(100_000, 0), 0.0],
)
def test_figures_keep_every_bit(logbook: Logbook, figure: float) -> None:
    logbook.append([NewEntry(fillup(meter_used_l=figure, speeds_run=(SpeedRun(speed_kn=0.1, time_h=1 / 3),)))])
    (entry,) = logbook.history()
    assert entry.fillup.meter_used_l == figure
    assert entry.fillup.speeds_run == (SpeedRun(speed_kn=0.1, time_h=1 / 3),)


@pytest.mark.parametrize(
    ("written", "moment"),
    [
        ("2026-06-30T23:30:00-08:00", datetime(2026, 7, 1, 7, 30, tzinfo=UTC)),
        ("2026-01-01T00:15:00.000001+05:45", datetime(2025, 12, 31, 18, 30, 0, 1, tzinfo=UTC)),
        ("0001-01-01T00:00:00Z", datetime(1, 1, 1, tzinfo=UTC)),
        ("9999-12-31T23:59:59.999999Z", datetime(9999, 12, 31, 23, 59, 59, 999999, tzinfo=UTC)),
        ("1883-11-18T12:00:00Z", datetime(1883, 11, 18, 12, tzinfo=UTC)),  # before zones were whole hours
    ],
)
def test_moments_come_back_in_utc(logbook: Logbook, written: str, moment: datetime) -> None:
    logbook.append([NewEntry(fillup(when=written))])
    (entry,) = logbook.history()
    assert entry.fillup.when == moment
    assert entry.fillup.when.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "text", ["'; DROP TABLE fillups; --", "100 % \\ \" ' :x %s ?", "漁船 🛥 Ærø\u00a0II", "x" * 500]
)
def test_text_is_text(logbook: Logbook, text: str) -> None:
    logbook.append([NewEntry(fillup(note=text, boat=text[:80]))])
    (entry,) = logbook.history(text[:80])
    assert (entry.fillup.note, entry.fillup.boat) == (text, text[:80])


def test_the_moment_of_entering_is_kept_where_it_is_given(logbook: Logbook) -> None:
    entered = datetime(2024, 2, 29, 9, tzinfo=timezone(timedelta(hours=1)))
    assert logbook.append([NewEntry(fillup(), entry="older123", entered=entered)]) == ("older123",)
    (entry,) = logbook.history()
    assert (entry.entry, entry.entered) == ("older123", entered)


@pytest.mark.parametrize("naive", ["entered", "when"])
def test_a_moment_without_a_zone_is_refused(logbook: Logbook, naive: str) -> None:
    new = NewEntry(fillup(), entered=CLOCK.replace(tzinfo=None))
    if naive == "when":
        new = NewEntry(Fillup.model_construct(**dict(fillup()) | {"when": datetime(2026, 5, 1)}))  # noqa: DTZ001
    with pytest.raises(InputError, match=r"zone|timezone"):
        logbook.append([new])
    assert list(logbook.history()) == []


@pytest.mark.parametrize("when", ["0001-01-01T00:00:00+05:00", "9999-12-31T23:00:00-05:00"])
def test_a_moment_outside_the_calendar_is_refused(logbook: Logbook, when: str) -> None:
    with pytest.raises(InputError, match="time: is outside the years 1 to 9999 in UTC"):
        logbook.append([NewEntry(fillup(when=when))])
    assert list(logbook.history()) == []


def test_the_type_of_moments_refuses_those_without_a_zone() -> None:
    with pytest.raises(InputError, match="time: has no zone"):
        Moment().process_bind_param(datetime(2026, 5, 1), sa.create_engine("sqlite://").dialect)  # noqa: DTZ001


# What holds today


def test_a_correction_takes_the_place_of_what_it_corrects(logbook: Logbook) -> None:
    first, other = logbook.append([NewEntry(fillup(hour=5)), NewEntry(fillup(hour=3))])
    (second,) = logbook.append([NewEntry(fillup(hour=5, pumped_l=120), replaces=first)])
    (third,) = logbook.append([NewEntry(fillup(hour=1, pumped_l=130), replaces=second)])
    assert [(e.entry, e.fillup.pumped_l) for e in logbook.log().entries] == [(third, 130), (other, 100)]
    assert [(e.entry, e.replaces) for e in logbook.history()] == [
        (first, None),
        (other, None),
        (second, first),
        (third, second),
    ]


def test_a_withdrawn_fillup_is_gone_and_may_be_put_back(logbook: Logbook) -> None:
    (first,) = logbook.append([NewEntry(fillup())])
    (gone,) = logbook.append([NewEntry(fillup(), replaces=first, withdrawn=True)])
    assert logbook.log().entries == ()
    (back,) = logbook.append([NewEntry(fillup(), replaces=gone)])
    assert [e.entry for e in logbook.log().entries] == [back]


def test_boats_are_kept_apart(logbook: Logbook) -> None:
    logbook.append(NewEntry(fillup(boat, hour)) for hour, boat in enumerate(["Second Thought", "Quick Errand"] * 3))
    assert [e.fillup.when.hour for e in logbook.history("Quick Errand")] == [1, 3, 5]
    assert logbook.log("Second Thought").boats == ("Second Thought",)
    assert logbook.log().boats == ("Quick Errand", "Second Thought")
    assert list(logbook.history("quick errand")) == [], "names are told apart by case"


def test_entries_are_found_by_name(logbook: Logbook) -> None:
    assert logbook.names() == frozenset()
    first, second = logbook.append([NewEntry(fillup()), NewEntry(fillup(hour=1))])
    logbook.append([NewEntry(fillup(), replaces=first)])
    assert {first, second} < logbook.names()
    assert logbook.has(first)
    assert not logbook.has("nowhere1")
    found = logbook.find(second)
    assert found is not None
    assert found.fillup == fillup(hour=1)


def test_names_are_no_numbers_dates_or_words(logbook: Logbook) -> None:
    names = logbook.append(NewEntry(fillup(hour=hour)) for hour in range(1200))
    assert len(set(names)) == 1200
    assert all(re.fullmatch(r"[bcdfghjkmnpqrstvwxz][bcdfghjkmnpqrstvwxz2-9]{7}", name) for name in names)


def test_a_name_that_is_taken_is_drawn_again(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = itertools.cycle(["bbbbbbb2", "bbbbbbb2", "bbbbbbb3"])
    monkeypatch.setattr("routeplan.logbook._drawn_name", lambda: next(drawn))
    assert logbook.append([NewEntry(fillup())]) == ("bbbbbbb2",)
    assert logbook.append([NewEntry(fillup())]) == ("bbbbbbb3",)


# Rules


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ({"replaces": "nowhere1"}, r"no entry of this name to replace \(got 'nowhere1'\)"),
        ({"replaces": "first002"}, r"no entry of this name .*: did you mean .*first001"),
        ({"replaces": "first000"}, r"was replaced by second00 already \(got 'first000'\): replace second00"),
        ({"replaces": "first001", "boat": "Other"}, r"entry first001 is of another boat, 'Quick Errand' \(got 'Other'"),
        ({"entry": "first001"}, r"an entry of this name already \(got 'first001'\)"),
        ({"entry": "itself00", "replaces": "itself00"}, r"no entry of this name to replace \(got 'itself00'\)"),
        ({"entry": "Capital1"}, r"no name of an entry \(got 'Capital1'\)"),
        ({"entry": "short"}, "no name of an entry"),
        ({"withdrawn": True}, "names no entry that it withdraws"),
    ],
)
def test_what_breaks_a_rule_is_refused_and_nothing_is_added(logbook: Logbook, new: dict[str, Any], said: str) -> None:
    logbook.append([NewEntry(fillup(), entry="first000"), NewEntry(fillup(hour=1), entry="first001")])
    logbook.append([NewEntry(fillup(), replaces="first000", entry="second00")])
    before = list(logbook.history())
    boat, new = new.get("boat", "Quick Errand"), {key: value for key, value in new.items() if key != "boat"}
    with pytest.raises(InputError, match=said) as refused:
        logbook.append([NewEntry(fillup(hour=2)), NewEntry(fillup(boat, 3), **new)])
    assert refused.value.where.startswith(logbook.where)
    assert list(logbook.history()) == before


def test_a_correction_may_come_in_the_same_call_as_what_it_corrects(logbook: Logbook) -> None:
    new = [NewEntry(fillup(hour=n), entry=f"row{n:05}", replaces=f"row{n - 1:05}" if n else None) for n in range(1100)]
    logbook.append(new)
    assert [e.entry for e in logbook.log().entries] == ["row01099"]
    with pytest.raises(InputError, match="replaced by twice002 already"):
        logbook.append(
            [
                NewEntry(fillup(), entry="twice001"),
                NewEntry(fillup(), entry="twice002", replaces="twice001"),
                NewEntry(fillup(), entry="twice003", replaces="twice001"),
            ]
        )
    with pytest.raises(InputError, match="holds no entry of this name to replace"):
        logbook.append(
            [NewEntry(fillup(), replaces="laterone", entry="sooner01"), NewEntry(fillup(), entry="laterone")]
        )


@pytest.mark.parametrize("raised", [RuntimeError("row 700"), KeyboardInterrupt(), GeneratorExit()])
def test_what_the_iterable_raises_passes_through_and_nothing_is_added(logbook: Logbook, raised: BaseException) -> None:
    def rows() -> Iterator[NewEntry]:
        for hour in range(700):
            yield NewEntry(fillup(hour=hour))
        raise raised

    with pytest.raises(type(raised)) as passed:
        logbook.append(rows())
    assert passed.value is raised
    assert list(logbook.history()) == []
    assert len(logbook.append([NewEntry(fillup())])) == 1, "the log is free again"


def test_an_interruption_inside_the_database_undoes_all(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("routeplan.log_store.LogStore._commit", interrupted)
        with pytest.raises(KeyboardInterrupt):
            logbook.append([NewEntry(fillup())])
    assert list(logbook.history()) == []
    assert len(logbook.append([NewEntry(fillup())])) == 1, "the log is free again"


def test_adding_nothing_adds_nothing(logbook: Logbook) -> None:
    assert logbook.append([]) == ()
    assert list(logbook.history()) == []


# Nothing is changed in place


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE fillups SET pumped_l = 1",
        "UPDATE fillups SET note = note",
        "DELETE FROM fillups",
        "DELETE FROM fillups WHERE entry = 'first000'",
        "INSERT OR REPLACE INTO fillups SELECT * FROM fillups WHERE entry = 'first000'",
        "REPLACE INTO fillups SELECT * FROM fillups WHERE replaces = 'first000'",
        "TRUNCATE fillups CASCADE",
        "INSERT INTO fillups SELECT * FROM fillups",
    ],
)
def test_no_statement_changes_or_deletes_an_entry(where: str, logbook: Logbook, statement: str) -> None:
    logbook.append([NewEntry(fillup(), entry="first000")])
    logbook.append([NewEntry(fillup(), replaces="first000", entry="second00")])
    before = list(logbook.history())
    with pytest.raises(sa.exc.DBAPIError) as refused:
        raw(where, statement)
    if "postgresql" not in where or "OR REPLACE" not in statement:
        assert re.search(r"never changed or deleted|syntax|IDENTITY|identity|GENERATED|always", str(refused.value))
    assert list(logbook.history()) == before


WRONG: list[dict[str, Any]] = [
    {"entry": "seven77"},
    {"entry": None},
    {"boat": ""},
    {"boat": "x" * 81},
    {"boat": None},
    {"when": None},
    {"dock": "x" * 501},
    {"meter_used_l": -0.001},
    {"meter2_used_l": 100_000.001},
    {"gauge_before_l": math.inf},
    {"pumped_l": 0.0},
    {"pumped_l": None},
    {"pumped_l": math.nan},
    {"distance_run_nmi": 10_001.0},
    {"engine_hours_h": -1.0},
    {"sea": "choppy"},
    {"people": -1},
    {"people": 1001},
    {"price_per_l": -0.01},
    {"note": "x" * 501},
    {"since": "reset-forgotten"},
    {"withdrawn": True},
    {"replaces": "test0000"},
    {"replaces": "nowhere1"},
]


def test_the_database_itself_refuses_what_no_fillup_may_be(where: str, logbook: Logbook) -> None:
    taken = []
    for wrong in WRONG:
        try:
            raw(where, sa.insert(fillups).values(row(**wrong)))
        except sa.exc.DBAPIError:
            continue
        taken.append(wrong)
    assert taken == []
    assert list(logbook.history()) == []
    raw(where, sa.insert(fillups).values(row()))
    assert len(list(logbook.history())) == 1


def test_a_correction_of_another_boats_entry_is_refused_by_the_database(where: str, logbook: Logbook) -> None:
    logbook.append([NewEntry(fillup("Other"), entry="other000")])
    with pytest.raises(sa.exc.IntegrityError):
        raw(where, sa.insert(fillups).values(row(replaces="other000")))


def test_what_got_past_the_checks_of_a_fillup_is_refused_in_one_line(logbook: Logbook) -> None:
    wrong = Fillup.model_construct(**dict(fillup()) | {"pumped_l": -5.0})
    with pytest.raises(InputError, match=r"the log's rules refuse this entry: .*fillups_pumped_l"):
        logbook.append([NewEntry(wrong)])
    assert list(logbook.history()) == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"since": '["sunk"]'}, "entry test0000: column since.0 can't be read"),
        ({"since": "[broken"}, "columns since and speeds_run can't be read"),
        ({"speeds_run": "[4.5]"}, "columns since and speeds_run can't be read"),
        ({"boat": "two\nlines"}, "column boat can't be read: .*one line"),
    ],
)
def test_an_entry_that_another_program_spoiled_is_named(
    where: str, logbook: Logbook, wrong: dict[str, Any], said: str
) -> None:
    raw(where, sa.insert(fillups).values(row(**wrong)))
    with pytest.raises(InputError, match=said):
        logbook.log()


# Reading while writing


def test_the_log_can_be_read_while_it_is_added_to(logbook: Logbook) -> None:
    logbook.append(NewEntry(fillup(hour=hour)) for hour in range(1200))
    reading = logbook.history()
    first = next(reading)
    logbook.append([NewEntry(fillup(hour=5000))])
    assert len([first, *reading]) == 1200, "a reader sees one state of the log"
    assert len(list(logbook.history())) == 1201


def test_what_is_entered_may_depend_on_what_is_there(logbook: Logbook) -> None:
    def once() -> Iterator[NewEntry]:
        there = {entry.fillup.when for entry in logbook.history()}
        for hour in range(3):
            if fillup(hour=hour).when not in there:
                yield NewEntry(fillup(hour=hour))

    assert len(logbook.append(once())) == 3
    assert logbook.append(once()) == ()


def test_a_reader_who_leaves_early_keeps_nobody_waiting(where: str, logbook: Logbook) -> None:
    logbook.append(NewEntry(fillup(hour=hour)) for hour in range(1200))
    for _ in zip(range(3), logbook.history(), strict=False):
        pass
    with open_logbook(where, patience_s=1) as other:
        assert len(other.append([NewEntry(fillup())])) == 1


def test_a_log_that_somebody_writes_to_is_in_use(where: str, logbook: Logbook) -> None:
    def slow() -> Iterator[NewEntry]:
        with (
            open_logbook(where, patience_s=0.2) as other,
            pytest.raises(InputError, match=r"in use by another program.*nothing was added; try again"),
        ):
            other.append([NewEntry(fillup())])
        yield NewEntry(fillup(hour=1))

    assert len(logbook.append(slow())) == 1
    assert [e.fillup for e in logbook.history()] == [fillup(hour=1)]


# Versions


def old_row(**other: Any) -> Any:
    values = {name: value for name, value in row(**other).items() if name not in {"since", "speeds_run"}}
    return sa.insert(sa.table("fillups", *(sa.column(n, fillups.c[n].type) for n in values))).values(values)


def test_a_log_of_version_1_is_read_as_it_is_and_brought_up_to_date_when_added_to(where: str) -> None:
    raw(where, old_row(), make=1)
    with open_logbook(where) as logbook:
        assert [e.fillup for e in logbook.history()] == [fillup()]
        assert logbook.names() == {"test0000"}
        assert logbook.find("test0000") == entries(fillup())[0]
    assert raw(where, "SELECT version FROM routeplan_log") == [(1,)], "reading changes nothing"
    with open_logbook(where, create=True) as logbook:
        logbook.append([NewEntry(fillup(since=("reset-forgotten",)), replaces="test0000")])
        assert [e.fillup.since for e in logbook.history()] == [(), ("reset-forgotten",)]
    assert raw(where, "SELECT version, made FROM routeplan_log")[0][0] == VERSION
    with pytest.raises(sa.exc.DBAPIError, match="never changed"):
        raw(where, "DELETE FROM fillups")


def test_what_is_entered_may_depend_on_what_an_old_log_holds(where: str) -> None:
    """An import looks into the log while it writes: bringing the tables up to date must not lock it out."""
    raw(where, old_row(), make=1)
    with open_logbook(where, patience_s=1) as logbook:

        def after_all() -> Iterator[NewEntry]:
            yield NewEntry(fillup(hour=1 + len(list(logbook.history()))))

        assert len(logbook.append(after_all())) == 1
        assert [e.fillup.when.hour for e in logbook.history()] == [0, 2]


def test_a_log_that_was_brought_up_to_date_is_as_a_new_one(where: str) -> None:
    raw(where, make=1)
    with open_logbook(where) as logbook:
        logbook.append([])
    columns = {}
    with open_store(where, create=False, patience_s=5).reading() as connection:
        columns = {c["name"]: (str(c["type"]), c["nullable"]) for c in sa.inspect(connection).get_columns("fillups")}
    assert set(columns) == set(fillups.columns.keys())
    assert columns["since"] == ("TEXT", False)
    assert columns["when"][0] == ("TIMESTAMP" if "postgresql" in where else "DATETIME")
    with pytest.raises(sa.exc.DBAPIError):
        raw(where, sa.insert(fillups).values(row(speeds_run="")))


def test_an_upgrade_that_fails_leaves_the_old_log(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    raw(where, old_row(), make=1)

    def broken(connection: sa.Connection) -> None:
        steps[1](connection)
        raise InputError("disk", "is full")

    steps = log_schema._STEPS  # noqa: SLF001  # the last step is made to fail
    with monkeypatch.context() as patched, open_logbook(where) as logbook:
        patched.setattr(log_schema, "_STEPS", (steps[0], broken, *steps[2:]))
        with pytest.raises(InputError, match="disk: is full"):
            logbook.append([NewEntry(fillup(hour=1))])
    with open_logbook(where) as logbook:
        assert len(list(logbook.history())) == 1
        logbook.append([NewEntry(fillup(hour=1))])
        assert len(list(logbook.history())) == 2


def test_an_upgrade_is_undone_where_what_was_to_be_added_is_refused(where: str) -> None:
    raw(where, make=1)
    with open_logbook(where) as logbook, pytest.raises(InputError, match="no entry of this name"):
        logbook.append([NewEntry(fillup(), replaces="nowhere1")])
    assert raw(where, "SELECT version FROM routeplan_log") == [(1,)]


@pytest.mark.parametrize("create", [False, True])
def test_a_log_of_a_later_version_is_left_as_it_is(where: str, *, create: bool) -> None:
    raw(where, sa.update(log_about).values(version=VERSION + 1), make=VERSION)
    with pytest.raises(InputError, match=r"later routeplan: its log has version 4, .* up to 3 *: update routeplan"):
        open_logbook(where, create=create)


def test_a_log_that_becomes_later_while_it_is_open_is_left_as_it_is(where: str, logbook: Logbook) -> None:
    raw(where, sa.update(log_about).values(version=VERSION + 1))
    with pytest.raises(InputError, match="later routeplan"):
        logbook.append([NewEntry(fillup())])
    with pytest.raises(InputError, match="later routeplan"):
        logbook.log()
    assert raw(where, "SELECT count(*) FROM fillups") == [(0,)]


@pytest.mark.parametrize("before", [0, 1])
def test_a_reader_sees_one_state_while_another_makes_the_log_or_brings_it_up_to_date(where: str, before: int) -> None:
    raw(where, make=before)
    store = open_store(where, create=True, patience_s=5)
    with store.reading() as connection:
        assert log_version(connection, where) == before
        raw(where, make=VERSION)
        assert log_version(connection, where) == before, "a version of one day, columns of another"
    with store.reading() as connection:
        assert log_version(connection, where) == VERSION


@pytest.mark.parametrize("spoil", ["DELETE FROM routeplan_log", "UPDATE routeplan_log SET version = 0"])
def test_a_log_that_does_not_say_its_version_is_refused(where: str, logbook: Logbook, spoil: str) -> None:
    raw(where, spoil)
    with pytest.raises(InputError, match="doesn't say which version"):
        logbook.append([NewEntry(fillup())])


def test_a_log_without_its_table_is_refused(where: str, logbook: Logbook) -> None:
    raw(where, "DROP TABLE fillups")
    with pytest.raises(InputError, match="lacks columns"):
        logbook.append([NewEntry(fillup())])


# Other programs' tables


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("CREATE TABLE fillups (id INTEGER PRIMARY KEY, litres FLOAT)", "holds a table named fillups that another"),
        ("CREATE TABLE routeplan_log (line TEXT)", "holds a table named routeplan_log that another program made"),
        ("CREATE VIEW fillups AS SELECT 1 AS litres", "holds a table named fillups that another program made"),
    ],
)
def test_another_programs_tables_are_left_alone(where: str, table: str, said: str) -> None:
    raw(where, table)
    for create in (False, True):
        with pytest.raises(InputError, match=said):
            open_logbook(where, create=create)
    name = re.findall("fillups|routeplan_log", table)[0]
    assert raw(where, sa.select(sa.text("*")).select_from(sa.table(name))) in ([], [(1,)])


def test_there_is_no_log_until_one_is_begun(where: str) -> None:
    raw(where)
    with pytest.raises(NoLogError, match=r"no log of fill-ups yet: fillup add or fillup import begins one"):
        open_logbook(where)
    with open_logbook(where, create=True) as logbook:
        assert logbook.log().entries == ()
    with open_logbook(where) as logbook:
        assert logbook.log().where == logbook.where
    logbook.close()


def test_a_batch_larger_than_memory_would_like_is_entered_in_parts(logbook: Logbook) -> None:
    drawn = 0

    def rows() -> Iterator[NewEntry]:
        nonlocal drawn
        for drawn in range(2600):
            yield NewEntry(fillup(hour=drawn))

    names = logbook.append(rows())
    history = list(logbook.history())
    assert [e.entry for e in history] == list(names)
    assert [e.fillup.when for e in history] == [fillup(hour=hour).when for hour in range(2600)]
