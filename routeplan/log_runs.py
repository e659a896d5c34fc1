"""Runs in a log: read, checked against those that are there, and added; all inside a transaction of the logbook."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import insert, select

from layers.errors import InputError
from routeplan.log_schema import has_runs, log_version
from routeplan.moments import write_moment
from routeplan.run_rows import row_of_run, run_of, runs
from routeplan.runs import RunEntry, standing_runs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy import Connection

    from routeplan.runs import Run

__all__ = ["enter_runs", "enter_withdrawals", "find_run", "read_run_history", "withdraw_passage"]


def read_run_history(connection: Connection, where: str, boat: str | None = None) -> tuple[RunEntry, ...]:
    """Read all runs, the withdrawn ones and their withdrawals as well.

    Parameters
    ----------
    connection
        To the database, in a transaction.
    where
        The database, for messages.
    boat
        Only hers; None for all.

    Returns
    -------
    In the order of entering; empty where the log is of a version that had none.

    Raises
    ------
    InputError
        A row can't be read.
    """
    if not has_runs(log_version(connection, where)):
        return ()
    wanted = select(runs).order_by(runs.c.id)
    if boat is not None:
        wanted = wanted.where(runs.c.boat == boat)
    return tuple(run_of(row, where) for row in connection.execute(wanted).mappings())


def enter_withdrawals(
    connection: Connection, gone: Sequence[RunEntry], names: Sequence[str], entered: datetime
) -> None:
    """Add the withdrawals of runs.

    Parameters
    ----------
    connection
        To the database, in a transaction that keeps other writers out.
    gone
        The runs that no longer count.
    names
        Names of the withdrawals, one each.
    entered
        The moment of entering.
    """
    rows = [
        row_of_run(RunEntry(entry=name, entered=entered, replaces=each.entry, withdrawn=True, run=each.run))
        for name, each in zip(names, gone, strict=True)
    ]
    connection.execute(insert(runs), rows)


def enter_runs(connection: Connection, where: str, new: Sequence[Run], names: Sequence[str], entered: datetime) -> None:
    """Add runs, once it is sure that the boat wasn't elsewhere meanwhile.

    Parameters
    ----------
    connection
        To the database, in a transaction that keeps other writers out.
    where
        The database, for messages.
    new
        The runs.
    names
        Their names, one each.
    entered
        The moment of entering.

    Raises
    ------
    InputError
        A run of the same boat is in the log for the same time.
    """
    boats = {run.boat for run in new}
    held = [entry for boat in sorted(boats) for entry in standing_runs(read_run_history(connection, where, boat))]
    rows = []
    for name, run in zip(names, new, strict=True):
        for other in held:
            if other.run.boat == run.boat and run.began < other.run.ended and other.run.began < run.ended:
                told = f"{write_moment(other.run.began)} to {write_moment(other.run.ended)}"
                raise InputError(
                    where,
                    f"{run.boat} can't be on two runs at once: run {other.entry}, {told}, is in the log already",
                    value=f"{write_moment(run.began)} to {write_moment(run.ended)}",
                    remedy=f"if that one is wrong, take it out first: routeplan fillup withdraw {other.entry}",
                )
        entry = RunEntry(entry=name, entered=entered, run=run)
        held.append(entry)
        rows.append(row_of_run(entry))
    if rows:
        connection.execute(insert(runs), rows)


def withdraw_passage(connection: Connection, where: str, name: str) -> tuple[RunEntry, ...]:
    """Find the runs of a passage that are to be withdrawn: they were entered together and go together.

    Parameters
    ----------
    connection
        To the database, in a transaction that keeps other writers out.
    where
        The database, for messages.
    name
        Name of one of them.

    Returns
    -------
    All of its passage that hold, in order of time.

    Raises
    ------
    InputError
        There is no such run, or it was withdrawn already.
    """
    history = read_run_history(connection, where)
    found = next((entry for entry in history if entry.entry == name), None)
    if found is None or found.withdrawn:
        raise InputError(where, "holds no run of this name", value=name, remedy="fillup list shows those that wait")
    by = next((entry for entry in history if entry.replaces == name), None)
    if by is not None:
        raise InputError(where, f"this run was withdrawn by {by.entry} already", value=name)
    key, boat = found.run.passage_key, found.run.boat
    return tuple(e for e in standing_runs(history) if (e.run.passage_key, e.run.boat) == (key, boat))


def find_run(connection: Connection, where: str, name: str) -> bool:
    """Tell whether a name belongs to a run, or to a withdrawal of one.

    Parameters
    ----------
    connection
        To the database, in a transaction.
    where
        The database, for messages.
    name
        The name.

    Returns
    -------
    Whether it does.
    """
    if not has_runs(log_version(connection, where)):
        return False
    return connection.scalar(select(runs.c.id).where(runs.c.entry == name)) is not None
