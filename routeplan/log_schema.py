"""The tables of a log: columns with their limits, the steps that made them, and what keeps entries as written.

A log is three tables. ``routeplan_log`` has one row: which version its tables have, and when they were made.
``fillups`` has one row per entry, in the order in which they were entered; its columns are the fields of a fill-up. The
third, since version 3, keeps runs that wait for a fill-up (`routeplan.run_rows`). Triggers refuse to change or delete a
row, whoever asks. Limits that a fill-up has anyway are there again as CHECKs, for rows that other programs write.

A version is reached by steps, each of which takes the tables from one version to the next. A step that was released is
never edited: a change is one more step.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    ForeignKeyConstraint,
    Identity,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    insert,
    select,
    text,
    update,
)
from sqlalchemy.schema import CreateColumn

from layers.errors import InputError
from routeplan.fillups import Entry, Fillup
from routeplan.log_columns import ROW, SEA_WORDS, Moment, limit, number_column, text_column
from routeplan.run_rows import RUNS, make_runs, runs

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy import Connection, RowMapping

__all__ = [
    "FORMAT",
    "LOG",
    "VERSION",
    "Moment",
    "columns_of",
    "entry_of",
    "fillups",
    "has_runs",
    "log_about",
    "log_version",
    "make_log",
    "row_of",
]

VERSION = 3
LOG = "routeplan_log"
FORMAT = 0x52504C46  # SQLite's application_id, "RPLF": tells a log from other programs' files, also to `file`


def _limit(column: str, rule: str) -> CheckConstraint:
    return limit("fillups", column, rule)


def _number(name: str, highest: int, *, more_than_none: bool = False) -> Column[float]:
    return number_column("fillups", name, highest, more_than_none=more_than_none)


def _text(name: str, longest: int, shortest: int = 0) -> Column[str]:
    return text_column("fillups", name, longest, shortest)


def _columns_1() -> list[Column[Any]]:
    """Return the columns that version 1 had."""
    return [
        Column("id", ROW, Identity(always=True), primary_key=True),
        Column("entry", Text(), _limit("entry", "length(entry) = 8"), nullable=False, unique=True),
        Column("entered", Moment(), nullable=False),
        Column("replaces", Text(), _limit("replaces", "replaces <> entry"), unique=True),
        Column("withdrawn", Boolean(), _limit("withdrawn", "NOT withdrawn OR replaces IS NOT NULL"), nullable=False),
        _text("boat", 80, 1),
        Column("when", Moment(), nullable=False),
        _text("dock", 500),
        _number("meter_used_l", 100_000),
        _number("meter2_used_l", 100_000),
        _number("gauge_before_l", 100_000),
        _number("pumped_l", 100_000, more_than_none=True),
        Column("filled_to_full", Boolean(), nullable=False),
        Column("meter_reset", Boolean(), nullable=False),
        _number("distance_run_nmi", 10_000),
        _number("engine_hours_h", 10_000),
        Column("sea", Text(), _limit("sea", f"sea IN ({SEA_WORDS})")),
        Column("people", Integer(), _limit("people", "people BETWEEN 0 AND 1000")),
        _number("price_per_l", 100_000),
        _text("note", 500),
    ]


def _columns_2() -> list[Column[Any]]:
    """Return the columns that version 2 added: JSON lists, of words, and of pairs of a speed and a time."""
    return [
        Column(name, Text(), _limit(name, f"substr({name}, 1, 1) = '['"), nullable=False, server_default="[]")
        for name in ("since", "speeds_run")
    ]


def _fillups(metadata: MetaData, *columns: Column[Any]) -> Table:
    return Table(
        "fillups",
        metadata,
        *columns,
        UniqueConstraint("boat", "entry", name="fillups_boat_entry"),
        # A correction is of the same boat: SQL lets the pair pass where there is nothing that it replaces.
        ForeignKeyConstraint(
            ["boat", "replaces"], ["fillups.boat", "fillups.entry"], name="fillups_replaces_same_boat"
        ),
    )


_json = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode
_metadata = MetaData()
log_about = Table(
    LOG,
    _metadata,
    Column("one", Integer(), CheckConstraint("one = 1", name=f"{LOG}_one"), primary_key=True, autoincrement=False),
    Column("version", Integer(), nullable=False),
    Column("made", Moment(), nullable=False),
)
fillups = _fillups(_metadata, *_columns_1(), *_columns_2())

_STAY = "entries are never changed or deleted: add one that replaces the old one"
_REFUSE_IN_FILE = f"BEGIN SELECT RAISE(ABORT, '{_STAY}'); END"
_TRIGGERS = {
    "sqlite": (
        f"CREATE TRIGGER fillups_no_update BEFORE UPDATE ON fillups {_REFUSE_IN_FILE}",
        f"CREATE TRIGGER fillups_no_delete BEFORE DELETE ON fillups {_REFUSE_IN_FILE}",
        # INSERT OR REPLACE deletes what is in its way, and fires no trigger for that
        f"""CREATE TRIGGER fillups_no_replace BEFORE INSERT ON fillups WHEN EXISTS (
            SELECT 1 FROM fillups WHERE entry = NEW.entry OR id = NEW.id OR replaces = NEW.replaces
        ) {_REFUSE_IN_FILE}""",  # noqa: S608  # nothing in it comes from outside
    ),
    "postgresql": (
        f"""CREATE FUNCTION fillups_stay() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
            RAISE EXCEPTION '{_STAY}' USING ERRCODE = 'restrict_violation'; END $$""",
        """CREATE TRIGGER fillups_no_change BEFORE UPDATE OR DELETE ON fillups
            FOR EACH ROW EXECUTE FUNCTION fillups_stay()""",
        """CREATE TRIGGER fillups_no_truncate BEFORE TRUNCATE ON fillups
            FOR EACH STATEMENT EXECUTE FUNCTION fillups_stay()""",
    ),
}


def _make_tables(connection: Connection) -> None:
    metadata = MetaData()
    log_about.to_metadata(metadata)
    _fillups(metadata, *_columns_1())
    metadata.create_all(connection, checkfirst=False)
    for statement in _TRIGGERS[connection.dialect.name]:
        connection.exec_driver_sql(statement)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {FORMAT}")


def _add_since_and_speeds(connection: Connection) -> None:
    for column in _columns_2():
        Table("fillups", MetaData(), column)  # so that it knows whose column it is
        made = CreateColumn(column).compile(dialect=connection.dialect)
        connection.exec_driver_sql(f"ALTER TABLE fillups ADD COLUMN {made}")


_STEPS: tuple[Callable[[Connection], None], ...] = (_make_tables, _add_since_and_speeds, make_runs)
_RUNS_SINCE = 3


def columns_of(version: int) -> tuple[Column[Any], ...]:
    """Tell which columns of today's table a version has.

    Parameters
    ----------
    version
        From 1.

    Returns
    -------
    All of today's, less those that later versions added.
    """
    later = {column.name for column in _columns_2()} if version < 2 else set()
    return tuple(column for column in fillups.columns if column.name not in later)


def has_runs(version: int) -> bool:
    """Tell whether a version has a table of runs.

    Parameters
    ----------
    version
        0 where there is no log.

    Returns
    -------
    Whether it has.
    """
    return version >= _RUNS_SINCE


def log_version(connection: Connection, where: str) -> int:
    """Find out which version a database's log has, and that it is one.

    Parameters
    ----------
    connection
        To the database, in a transaction.
    where
        The database, for messages.

    Returns
    -------
    The version; 0 where there is no log, and nothing in the way of one.

    Raises
    ------
    InputError
        Another program made these tables, or a later version of this one.
    """
    about, columns = _columns_there(connection, LOG), _columns_there(connection, "fillups")
    if not about:
        if columns:
            raise _strange(where, "a table named fillups")
        if connection.dialect.name == "sqlite":
            mark = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
            others = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one()
            if mark or others:  # a file is one program's; a server's database may be shared
                raise InputError(
                    where, "is a database of another program, not a log of fill-ups", remedy="name another file"
                )
        return 0
    if about != set(log_about.columns.keys()):
        raise _strange(where, f"a table named {LOG}")
    versions: list[int] = list(connection.scalars(select(log_about.c.version)))
    if len(versions) != 1 or versions[0] < 1:
        raise InputError(where, f"its table {LOG} doesn't say which version the log has", remedy="restore a copy of it")
    if versions[0] > VERSION:
        raise InputError(
            where,
            f"was written by a later routeplan: its log has version {versions[0]}, this one reads up to {VERSION}",
            remedy="update routeplan; the log was left as it is",
        )
    wanted = {column.name for column in columns_of(versions[0])}
    if wanted - columns:
        raise InputError(where, "its table fillups lacks columns that the log needs", remedy="restore a copy of it")
    if has_runs(versions[0]) and set(runs.columns.keys()) - _columns_there(connection, RUNS):
        raise InputError(where, f"its table {RUNS} lacks columns that the log needs", remedy="restore a copy of it")
    return versions[0]


def make_log(connection: Connection, where: str, made: datetime, *, version: int = VERSION) -> int:
    """Bring the tables of a log up to date, or make them.

    Parameters
    ----------
    connection
        To the database, in a transaction that keeps other writers out.
    where
        The database, for messages.
    made
        The moment by the clock.
    version
        Where to stop; other than today's only for tests of old logs.

    Returns
    -------
    The version that it had before.

    Raises
    ------
    InputError
        As for `log_version`.
    """
    before = log_version(connection, where)
    for step in _STEPS[before:version]:
        step(connection)
    if before == 0:
        connection.execute(insert(log_about), {"one": 1, "version": version, "made": made})
    elif before < version:
        connection.execute(update(log_about).values(version=version))
    return before


def row_of(entry: Entry) -> dict[str, Any]:
    """Write an entry as a row.

    Parameters
    ----------
    entry
        The entry.

    Returns
    -------
    Values by column.
    """
    fillup = entry.fillup
    row: dict[str, Any] = {name: getattr(fillup, name) for name in Fillup.model_fields}
    row["since"] = _json(fillup.since)
    row["speeds_run"] = _json([(run.speed_kn, run.time_h) for run in fillup.speeds_run])
    row["entry"], row["entered"] = entry.entry, entry.entered
    row["replaces"], row["withdrawn"] = entry.replaces, entry.withdrawn
    return row


def entry_of(row: RowMapping, where: str) -> Entry:
    """Read an entry from its row.

    Parameters
    ----------
    row
        Values by column; those that an old version lacks are left out.
    where
        The database, for messages.

    Returns
    -------
    The entry.

    Raises
    ------
    InputError
        The row breaks a rule of fill-ups; carries its name, the column and the value.
    """
    fillup = {name: row[name] for name in Fillup.model_fields if name in row}
    try:
        if "since" in row:
            fillup["since"] = json.loads(row["since"])
            runs = json.loads(row["speeds_run"])
            fillup["speeds_run"] = [{"speed_kn": speed, "time_h": time} for speed, time in runs]
        about = {name: row[name] for name in ("entry", "entered", "replaces", "withdrawn")}
        return Entry.model_validate({**about, "fillup": fillup})
    except ValidationError as error:
        first = error.errors()[0]
        column = ".".join(str(part) for part in first["loc"] if part != "fillup")
        raise InputError(
            f"{where}, entry {row['entry']}",
            f"column {column} can't be read: {first['msg']}",
            value=first["input"],
            remedy="another program wrote it; restore a copy of the log",
        ) from error
    except (ValueError, TypeError) as error:  # no JSON, or another shape
        raise InputError(
            f"{where}, entry {row['entry']}",
            "columns since and speeds_run can't be read",
            remedy="another program wrote them; restore a copy of the log",
        ) from error


def _columns_there(connection: Connection, table: str) -> set[str]:
    """Tell which columns a table or view has; none where there is none. SQLAlchemy's inspector asks far more."""
    question = text(
        "SELECT name FROM pragma_table_info(:table)"
        if connection.dialect.name == "sqlite"
        else "SELECT attname FROM pg_attribute WHERE attrelid = to_regclass(:table) AND attnum > 0 AND NOT attisdropped"
    )
    return set(connection.scalars(question, {"table": table}))


def _strange(where: str, what: str) -> InputError:
    return InputError(where, f"holds {what} that another program made", remedy="name another file or database")
