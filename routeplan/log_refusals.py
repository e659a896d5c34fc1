"""What a database says when it won't, in one line of our own."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from sqlalchemy.exc import InterfaceError, OperationalError

from layers.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy.exc import StatementError

__all__ = ["refusal_of"]

_NOTHING = "nothing was added"
# By SQLite's primary result codes (https://www.sqlite.org/rescode.html) [second hand]
_SQLITE = {
    sqlite3.SQLITE_BUSY: ("is in use by another program, for longer than we waited", f"{_NOTHING}; try again"),
    sqlite3.SQLITE_LOCKED: ("is in use by another program, for longer than we waited", f"{_NOTHING}; try again"),
    sqlite3.SQLITE_PROTOCOL: ("can't be locked", "keep the log on a disk of this computer, not on a shared one"),
    sqlite3.SQLITE_NOTADB: ("is no database", "name a log of fill-ups; one in CSV is read with fillup import"),
    sqlite3.SQLITE_CORRUPT: ("is damaged", "keep it as it is, with any -wal file beside it, and go back to a copy"),
    sqlite3.SQLITE_READONLY: (
        "can't be written: the file, its folder or its disk is read-only",
        f"{_NOTHING}; copy it to a folder that you may write to",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "can't be opened",
        "check that you may read and write both the file and its folder; a -wal file beside it belongs to it",
    ),
    sqlite3.SQLITE_PERM: ("can't be opened: permission denied", "check that you may read and write the file"),
    sqlite3.SQLITE_FULL: ("can't be written: the disk is full", f"{_NOTHING}; make room and try again"),
    sqlite3.SQLITE_IOERR: (
        "can't be read or written: the disk refused, or it is full or over its quota",
        f"{_NOTHING}; make room or check the disk",
    ),
}
# By the classes and codes of SQLSTATE (https://www.postgresql.org/docs/15/errcodes-appendix.html) [second hand]
_SQLSTATES = {
    "08": ("the connection to the server was lost", "check the network and look at fillup list before adding again"),
    "25006": ("can't be written: the server takes no changes here", f"{_NOTHING}; name the server that does"),
    "28": ("the server refused the user or the password", "check both, with whoever keeps the server"),
    "3D": ("the server has no database of this name", "make it first, or check the name"),
    "3F": ("the server has no such schema", "make it first, or check search_path"),
    "42501": ("the server doesn't allow this user to do that", "ask whoever keeps the server for the right"),
    "42P01": ("the log's tables are gone", "restore a copy of it"),
    "53100": ("can't be written: the server's disk is full", f"{_NOTHING}; make room and try again"),
    "53300": ("the server has too many users at the moment", "try again later"),
    "55P03": ("is in use by another program, for longer than we waited", f"{_NOTHING}; try again"),
    "57": ("the server was stopped or is starting", f"{_NOTHING}; try again later"),
    "58": ("the server's disk refused", "tell whoever keeps the server"),
    "XX": ("the server says that it is damaged", "tell whoever keeps the server"),
}


def refusal_of(error: StatementError, where: str, secrets: Iterable[str] = ()) -> InputError:
    """Say in one line what a database refused.

    Parameters
    ----------
    error
        As SQLAlchemy raised it.
    where
        The log.
    secrets
        Words that the line must not hold, such as a password.

    Returns
    -------
    What to raise from it; where the fault was found before the database was asked, that.
    """
    cause = error.orig
    if isinstance(cause, InputError):
        return cause
    if isinstance(cause, sqlite3.Error):
        return _refusal_of_file(cause, where)
    said = " ".join(str(cause).split())
    for secret in secrets:
        said = said.replace(secret, "***")
    state = str(getattr(cause, "sqlstate", None) or "")
    if state:
        return _refusal_by_server(state, said, where)
    if isinstance(error, OperationalError | InterfaceError) or _last(said).startswith("invalid connection option"):
        return _refusal_to_connect(said, where)
    return InputError(where, f"the database can't keep this: {_last(said)}", remedy=_NOTHING)


def _refusal_by_server(state: str, said: str, where: str) -> InputError:
    if state.startswith("23"):
        return _refusal_by_rule(said, where)
    if state.startswith("22"):
        return InputError(where, f"the server can't keep this value: {_last(said)}", remedy=_NOTHING)
    problem, remedy = _SQLSTATES.get(state) or _SQLSTATES.get(state[:2]) or ("the server refused", _NOTHING)
    return InputError(where, f"{problem} ({_last(said)})", remedy=remedy)


def _refusal_to_connect(said: str, where: str) -> InputError:
    """Tell by the words: where it doesn't get in, the client's library passes no code on."""
    if _last(said).startswith("invalid"):
        return InputError(where, f"the URL can't be used: {_last(said)}", remedy="check its options")
    for words, state in (("database", "3D"), ("authentication", "28"), ("password", "28"), ("role", "28")):
        if "FATAL" in said and words in _last(said):
            return _refusal_by_server(state, said, where)
    return InputError(
        where, f"the server can't be reached: {_last(said)}", remedy="check its name, the port and the network"
    )


def _refusal_of_file(cause: sqlite3.Error, where: str) -> InputError:
    code = getattr(cause, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF  # the rest tells the kind of the kind
    if code == sqlite3.SQLITE_CONSTRAINT:
        return _refusal_by_rule(str(cause), where)
    if code in _SQLITE:
        problem, remedy = _SQLITE[code]
        return InputError(where, problem, remedy=remedy)
    if "no such table" in str(cause):
        return InputError(where, _SQLSTATES["42P01"][0], remedy=_SQLSTATES["42P01"][1])
    return InputError(where, f"the database refused: {cause}", remedy=_NOTHING)


def _refusal_by_rule(said: str, where: str) -> InputError:
    return InputError(where, f"the log's rules refuse this entry: {_last(said)}", remedy=_NOTHING)


def _last(said: str) -> str:
    """Cut a server's message down to what it says of the matter."""
    for mark in (" Multiple connection attempts failed", " This probably means", " LINE 1:", " CONTEXT:"):
        said = said.partition(mark)[0]
    for mark in ("FATAL: ", "failed: "):
        said = said.rsplit(mark, 1)[-1].strip()
    return said[:200]
