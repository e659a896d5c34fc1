"""A boat's own log, found and learnt from, for the commands that plan with what it teaches."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from routeplan.log_files import read_fillups
from routeplan.logbook import default_log
from routeplan.teaching import learn, without_log

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.fillups import Entry
    from routeplan.teaching import Taught

__all__ = ["entries_for", "taught_by", "what_it_taught", "whole_address"]


def entries_for(boat: Boat, log: str | None) -> tuple[Entry, ...]:
    """Return a boat's fill-ups from her log.

    Parameters
    ----------
    boat
        The boat.
    log
        A CSV file, a database file or a URL; None for the default one.

    Returns
    -------
    In order of time; empty where the log has none of hers, or where there is no default log yet.

    Raises
    ------
    InputError
        The log that was named can't be read.
    """
    where = default_log() if log is None else log
    if where == default_log() and "://" not in where and not Path(where).exists():
        return ()
    return read_fillups(where).of(boat.name)


def taught_by(boat: Boat, log: str | None) -> Taught:
    """Learn from a boat's log, or say what is believed where it has nothing of hers.

    Parameters
    ----------
    boat
        The boat.
    log
        As `entries_for`.

    Returns
    -------
    What it taught.

    Raises
    ------
    InputError
        The log that was named can't be read.
    """
    entries = entries_for(boat, log)
    return learn(boat, entries) if entries else without_log(boat)


def what_it_taught(taught: Taught) -> str:
    """Say in one line what a plan takes from a log.

    Parameters
    ----------
    taught
        What the log taught.

    Returns
    -------
    Such as "Burn as 24 fill-ups teach: 1.02 times the burn table, give or take 3.5 %."; empty where it taught nothing
    that plans use.
    """
    lesson = taught.lesson
    if lesson.burn_factor is None:
        return ""
    count = f"{lesson.fillups} fill-up{'' if lesson.fillups == 1 else 's'}"
    teach = "teaches" if lesson.fillups == 1 else "teach"
    return (
        f"Burn as {count} of {lesson.boat.name}'s log {teach}: {lesson.burn_factor.mean:.2f} times the burn table, "
        f"give or take {lesson.burn_sd_share:.1%} for a passage."
    )


def whole_address(log: str | None) -> str | None:
    """Give a log's address in a form that holds from any folder.

    Parameters
    ----------
    log
        A file or a URL; None for the default one.

    Returns
    -------
    The same; a file with its whole path.
    """
    return log if log is None or "://" in log else str(Path(log).absolute())
