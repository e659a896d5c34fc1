"""The table of runs: its columns with their limits, what keeps its rows as written, and a run as a row."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from sqlalchemy import Boolean, Column, ForeignKeyConstraint, Identity, Integer, MetaData, Table, Text, UniqueConstraint

from layers.errors import InputError
from routeplan.log_columns import ROW, SEA_WORDS, Moment, limit, number_column, text_column
from routeplan.runs import Run, RunEntry

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping

__all__ = ["RUNS", "make_runs", "row_of_run", "run_of", "runs"]

RUNS = "routeplan_runs"  # a server's database may be shared, and other programs have runs too
_KINDS = "'plan', 'track', 'typed', 'unknown'"
_LISTS = ("metered_l", "shows_l", "speeds_run")


def _json_list(name: str, *, needed: bool) -> Column[str]:
    return Column(name, Text(), limit(RUNS, name, f"substr({name}, 1, 1) = '['"), nullable=not needed)


def _columns() -> list[Column[Any]]:
    return [
        Column("id", ROW, Identity(always=True), primary_key=True),
        Column("entry", Text(), limit(RUNS, "entry", "length(entry) = 8"), nullable=False, unique=True),
        Column("entered", Moment(), nullable=False),
        Column("replaces", Text(), limit(RUNS, "replaces", "replaces <> entry"), unique=True),
        Column(
            "withdrawn",
            Boolean(),
            limit(RUNS, "withdrawn", "(withdrawn AND replaces IS NOT NULL) OR (NOT withdrawn AND replaces IS NULL)"),
            nullable=False,
        ),
        text_column(RUNS, "boat", 80, 1),
        Column("began", Moment(), nullable=False),
        Column("ended", Moment(), limit(RUNS, "ended", "ended > began"), nullable=False),
        text_column(RUNS, "start", 500),
        text_column(RUNS, "finish", 500),
        number_column(RUNS, "distance_nmi", 10_000),
        number_column(RUNS, "time_h", 10_000),
        _json_list("metered_l", needed=False),
        _json_list("shows_l", needed=False),
        _json_list("speeds_run", needed=True),
        Column("known_by", Text(), limit(RUNS, "known_by", f"known_by IN ({_KINDS})"), nullable=False),
        Column("sea", Text(), limit(RUNS, "sea", f"sea IN ({SEA_WORDS})")),
        Column("people", Integer(), limit(RUNS, "people", "people BETWEEN 0 AND 1000")),
        text_column(RUNS, "passage", 500),
        text_column(RUNS, "passage_key", 64, 64),
        text_column(RUNS, "note", 500),
    ]


def _table(metadata: MetaData) -> Table:
    return Table(
        RUNS,
        metadata,
        *_columns(),
        UniqueConstraint("boat", "entry", name=f"{RUNS}_boat_entry"),
        ForeignKeyConstraint(
            ["boat", "replaces"], [f"{RUNS}.boat", f"{RUNS}.entry"], name=f"{RUNS}_replaces_same_boat"
        ),
    )


runs = _table(MetaData())
_json = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode
_STAY = "runs are never changed or deleted: withdraw the old one and add another"
_REFUSE_IN_FILE = f"BEGIN SELECT RAISE(ABORT, '{_STAY}'); END"
_TRIGGERS = {
    "sqlite": (
        f"CREATE TRIGGER {RUNS}_no_update BEFORE UPDATE ON {RUNS} {_REFUSE_IN_FILE}",
        f"CREATE TRIGGER {RUNS}_no_delete BEFORE DELETE ON {RUNS} {_REFUSE_IN_FILE}",
        # INSERT OR REPLACE deletes what is in its way, and fires no trigger for that
        f"""CREATE TRIGGER {RUNS}_no_replace BEFORE INSERT ON {RUNS} WHEN EXISTS (
            SELECT 1 FROM {RUNS} WHERE entry = NEW.entry OR id = NEW.id OR replaces = NEW.replaces
        ) {_REFUSE_IN_FILE}""",  # noqa: S608  # nothing in it comes from outside
    ),
    "postgresql": (
        f"""CREATE FUNCTION {RUNS}_stay() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
            RAISE EXCEPTION '{_STAY}' USING ERRCODE = 'restrict_violation'; END $$""",
        f"""CREATE TRIGGER {RUNS}_no_change BEFORE UPDATE OR DELETE ON {RUNS}
            FOR EACH ROW EXECUTE FUNCTION {RUNS}_stay()""",
        f"""CREATE TRIGGER {RUNS}_no_truncate BEFORE TRUNCATE ON {RUNS}
            FOR EACH STATEMENT EXECUTE FUNCTION {RUNS}_stay()""",
    ),
}


def make_runs(connection: Connection) -> None:
    """Make the table, as version 3 of a log has it.

    Parameters
    ----------
    connection
        To the database, in a transaction that keeps other writers out.
    """
    metadata = MetaData()
    _table(metadata)
    metadata.create_all(connection, checkfirst=False)
    for statement in _TRIGGERS[connection.dialect.name]:
        connection.exec_driver_sql(statement)


def row_of_run(entry: RunEntry) -> dict[str, Any]:
    """Write a run as a row.

    Parameters
    ----------
    entry
        The run, or its withdrawal.

    Returns
    -------
    Values by column.
    """
    run = entry.run
    row: dict[str, Any] = {name: getattr(run, name) for name in Run.model_fields}
    for name in ("metered_l", "shows_l"):
        row[name] = None if row[name] is None else _json(row[name])
    row["speeds_run"] = _json([(each.speed_kn, each.time_h) for each in run.speeds_run])
    row["entry"], row["entered"] = entry.entry, entry.entered
    row["replaces"], row["withdrawn"] = entry.replaces, entry.withdrawn
    return row


def run_of(row: RowMapping, where: str) -> RunEntry:
    """Read a run from its row.

    Parameters
    ----------
    row
        Values by column.
    where
        The database, for messages.

    Returns
    -------
    The run, or its withdrawal.

    Raises
    ------
    InputError
        The row breaks a rule of runs; carries its name and the column.
    """
    place, remedy = f"{where}, run {row['entry']}", "another program wrote it; restore a copy of the log"
    values = {name: row[name] for name in Run.model_fields}
    try:
        for name in _LISTS:
            values[name] = None if values[name] is None else json.loads(values[name])
        values["speeds_run"] = [{"speed_kn": speed, "time_h": time} for speed, time in values["speeds_run"]]
        about = {name: row[name] for name in ("entry", "entered", "replaces", "withdrawn")}
        return RunEntry.model_validate({**about, "run": values})
    except ValidationError as error:
        first = error.errors()[0]
        column = ".".join(str(part) for part in first["loc"] if part != "run")
        raise InputError(place, f"column {column} can't be read: {first['msg']}", remedy=remedy) from error
    except (ValueError, TypeError) as error:  # no JSON, or another shape
        raise InputError(place, f"columns {', '.join(_LISTS)} can't be read", remedy=remedy) from error
