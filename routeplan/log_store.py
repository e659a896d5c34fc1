"""Where a log is kept: a SQLite file or a PostgreSQL database, opened so that what was acknowledged stays.

Every transaction has a connection of its own. For a file that means that SQLite folds its journal in after each one:
the one file is the whole log whenever nobody is writing, and can be copied as it is.
"""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError, StatementError
from sqlalchemy.pool import NullPool

from layers.errors import InputError
from layers.files import describe, file_status
from routeplan.log_refusals import refusal_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from sqlalchemy import URL, Connection, Engine

__all__ = ["ConnectionLostError", "LogStore", "NoLogError", "default_log", "open_store"]

_SCHEME = re.compile(r"\s*([A-Za-z][A-Za-z0-9+.-]+)://")
_SERVER = re.compile(r"\s*postgres[a-z0-9+]*:", re.IGNORECASE)  # also where // was forgotten: it may hold a password
_LOCK = 5_931_166_402_117_304_898  # any number that no other program on the server takes for its advisory locks
_CONNECT_S = 10  # [s] for a server to answer at all
_IS_WRITING = "routeplan_is_writing"
# A server may be set to acknowledge before it has written
_ACKNOWLEDGE_LATE = (
    "SELECT set_config('synchronous_commit', 'on', true) WHERE current_setting('synchronous_commit') = 'off'"
)


class NoLogError(InputError):
    """There is no log of fill-ups yet: no such file, or a file or database without one.

    Parameters
    ----------
    where
        The file or database.
    """

    def __init__(self, where: str) -> None:
        super().__init__(
            where,
            "there is no log of fill-ups yet",
            remedy="fillup add or fillup import begins one; or check the name",
        )


class ConnectionLostError(Exception):
    """The connection was lost while a transaction was being committed: nobody here knows whether it was."""


@dataclass(frozen=True)
class LogStore:
    """A database that may hold a log.

    Parameters
    ----------
    where
        The file, or the server and database without user, password and options.
    engine
        Opens connections to it, a new one each time.
    path
        The file, links followed; None for a server.
    secrets
        Words of the URL that no message may hold.
    """

    where: str
    engine: Engine
    path: Path | None = None
    secrets: tuple[str, ...] = ()

    @contextlib.contextmanager
    def refusals(self) -> Iterator[None]:
        """Turn what the database raises inside the block into one line of ours.

        Raises
        ------
        InputError
            The database refused; says what, and what to do.
        """
        try:
            yield
        except StatementError as error:
            raise refusal_of(error, self.where, self.secrets) from error
        except UnicodeError as error:
            raise InputError(self.where, f"the database can't keep this text: {error}") from error

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that only reads, and sees one state of the database.

        Yields
        ------
        Connection
            To the database.

        Raises
        ------
        InputError
            It can't be opened.
        """
        connection = self._begun(writing=False)
        try:
            yield connection
        finally:
            _leave(connection)

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that keeps all other writers out; what it did is durable once the block has ended well.

        Yields
        ------
        Connection
            To the database.

        Raises
        ------
        InputError
            It can't be opened or written, or others kept it for too long; nothing was changed.
        ConnectionLostError
            The server went away during the commit.
        """
        before = self._status()
        connection = self._begun(writing=True)
        try:
            yield connection
            self._check_same(before, "nothing was added; try again")
            self._commit(connection)
        finally:
            _leave(connection)
        self._check_same(before, "look at fillup list before adding them again")

    def _begun(self, *, writing: bool) -> Connection:
        with self.refusals():
            connection = self.engine.connect()
            try:
                if writing and self.path is not None:
                    _keep_journal_ahead(connection)
                connection.execution_options(**{_IS_WRITING: writing})
                if not writing and self.path is None:
                    # Else each question sees what was committed until then: a version and columns of different days
                    connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
                connection.begin()
            except BaseException:
                _leave(connection)
                raise
            return connection

    def _commit(self, connection: Connection) -> None:
        with self.refusals():
            try:
                connection.commit()
            except DBAPIError as error:
                if self.path is None and error.connection_invalidated:
                    raise ConnectionLostError from error
                raise

    def _check_same(self, before: os.stat_result | None, remedy: str) -> None:
        """Make sure that the path still leads to the file that was opened."""
        after = self._status()
        if before and after and not os.path.samestat(before, after):
            raise InputError(self.where, "was replaced by another file while entries were added", remedy=remedy)

    def _status(self) -> os.stat_result | None:
        if self.path is None:
            return None
        status = file_status(self.path)
        if status.st_nlink > 1:
            # SQLite finds its journal by the file's name: under two names it would have two
            raise InputError(
                self.where,
                "has a second name (a hard link), which can lose entries",
                remedy="keep one name, and make copies by copying",
            )
        return status


def open_store(where: str, *, create: bool, patience_s: float) -> LogStore:
    """Find the database that a text names; a file that is to be made is there afterwards, if empty.

    Parameters
    ----------
    where
        A path, or a URL that begins with postgresql://.
    create
        Whether a missing file is made, with its folder.
    patience_s
        [s] How long to wait for others who are writing.

    Returns
    -------
    The database; a server hasn't been asked yet.

    Raises
    ------
    NoLogError
        No such file.
    InputError
        No file but a folder or device, another kind of URL, or the driver for PostgreSQL isn't there.
    """
    scheme = _SCHEME.match(where)
    if _SERVER.match(where):
        return _server(where.strip(), patience_s)
    if scheme:
        raise InputError(
            "log",
            "is a URL of a kind that isn't known",
            value=f"{scheme[1]}://",
            remedy="name a file by its path, or a database by postgresql://",
        )
    if not where.strip():
        raise InputError("log", "names no file", remedy="give a path or postgresql://")
    return _file(where, create=create, patience_s=patience_s)


def default_log(environ: Mapping[str, str] | None = None) -> str:
    """Tell where the log is unless it is named.

    Parameters
    ----------
    environ
        Environment variables; None for those of this process.

    Returns
    -------
    What ROUTEPLAN_LOG names, else ``fillups.db`` in the user's data folder.

    Examples
    --------
    >>> default_log({"ROUTEPLAN_LOG": "winter.db"})
    'winter.db'
    """
    named = (os.environ if environ is None else environ).get("ROUTEPLAN_LOG")
    if named:
        return named
    import platformdirs  # noqa: PLC0415  # asks the platform, needed only here

    return str(platformdirs.user_data_path("routeplan", appauthor=False) / "fillups.db")


def _file(where: str, *, create: bool, patience_s: float) -> LogStore:
    try:
        path = Path(where).resolve()  # a link stays a link; the journal lies beside the file itself
        if create and not path.exists():
            _make_file(path)
    except OSError as error:
        raise InputError(
            where, f"can't be made: {describe(error)}", remedy="choose a folder that you may write to"
        ) from error
    except (ValueError, RuntimeError) as error:  # a NUL in the name, a loop of links
        raise InputError(where, f"can't be opened: {error}") from error
    try:
        status = file_status(path)
    except InputError as error:
        if not isinstance(error.__cause__, FileNotFoundError):
            raise
        raise NoLogError(where) from error
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "a device or pipe"
        raise InputError(where, f"is {kind}, not a file", remedy="name a file in it, such as fillups.db")

    def connect() -> sqlite3.Connection:
        return _connect(path, patience_s)

    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool, hide_parameters=True)
    event.listen(engine, "begin", _begin_in_file)
    return LogStore(where, engine, path)


def _make_file(path: Path) -> None:
    """Make an empty file, and make sure that its name survives a power cut."""
    made = path.parent
    while not made.exists():
        made = made.parent
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()  # another process may have been quicker: both then find an empty database and one fills it
    for folder in (path.parent, *path.parent.parents):
        _keep_names(folder)
        if folder == made:
            break


def _keep_names(folder: Path) -> None:
    with contextlib.suppress(OSError):  # Windows and some file systems don't do this for folders
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _connect(path: Path, patience_s: float) -> sqlite3.Connection:
    try:
        return _connected(f"{path.as_uri()}?mode=rw", patience_s)
    except sqlite3.OperationalError as error:
        # A folder on read-only media has no room for a journal. Where none is left there, the file is whole without it.
        left = path.with_name(f"{path.name}-wal")
        code = error.sqlite_errorcode & 0xFF
        if code not in {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY} or not path.exists() or left.exists():
            raise
        return _connected(f"{path.as_uri()}?mode=ro&immutable=1", patience_s)


def _connected(uri: str, patience_s: float) -> sqlite3.Connection:
    # No isolation level: BEGIN is ours to say (see _begin_in_file). Threads: a page's stream may move between them.
    connection = sqlite3.connect(uri, uri=True, timeout=patience_s, isolation_level=None, check_same_thread=False)
    try:
        for pragma in (
            "foreign_keys = ON",
            "synchronous = EXTRA",  # FULL, and where there is no write-ahead journal the folder is synced as well
            "fullfsync = ON",  # macOS: fsync alone leaves it in the disk's own cache
            "checkpoint_fullfsync = ON",
            "trusted_schema = OFF",  # the file may come from a stranger
            "cell_size_check = ON",
        ):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # the first time that the file is read
    except BaseException:
        connection.close()
        raise
    return connection


def _keep_journal_ahead(connection: Connection) -> None:
    """Have changes written to a journal first, so that readers and a writer don't wait for each other."""
    file: Any = connection.connection.dbapi_connection
    # Others may be using the file this moment, and network disks can't do it: the old journal is as safe, only slower.
    with contextlib.suppress(sqlite3.OperationalError):
        file.execute("PRAGMA journal_mode = WAL")


def _begin_in_file(connection: Connection) -> None:
    writing = connection.get_execution_options().get(_IS_WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _server(text: str, patience_s: float) -> LogStore:
    url = _url(text)
    host, port = url.host or url.query.get("host", ""), url.port or url.query.get("port", "")
    where = f"postgresql://{host}{f':{port}' if port else ''}/{url.database}"
    options = {
        "application_name": "routeplan",
        "client_encoding": "utf8",
        "connect_timeout": _CONNECT_S,
        "prepare_threshold": None,  # poolers between us and the server lose prepared statements
    }
    try:
        engine = create_engine(
            url,
            poolclass=NullPool,
            hide_parameters=True,
            isolation_level="READ COMMITTED",
            connect_args={key: value for key, value in options.items() if key not in url.query},
        )
    except ImportError as error:
        raise InputError(
            where, "the driver for PostgreSQL isn't installed", remedy="pip install 'routeplan[postgresql]'"
        ) from error
    # For one transaction only: sessions may be shared by a pooler
    settings = {
        "TimeZone": "UTC",
        "DateStyle": "ISO",  # the driver reads no other
        "extra_float_digits": "1",  # every bit of a figure
        "lock_timeout": str(int(patience_s * 1000)),  # [ms]
        "tcp_keepalives_idle": "30",  # [s] a writer whose network is gone keeps others out for a minute, not two hours
        "tcp_keepalives_interval": "10",  # [s]
        "tcp_keepalives_count": "3",
    }
    setting = ", ".join(f"set_config('{name}', '{value}', true)" for name, value in settings.items())

    def begin(connection: Connection) -> None:
        connection.exec_driver_sql(f"SELECT {setting}")
        if connection.get_execution_options().get(_IS_WRITING):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
            connection.exec_driver_sql(_ACKNOWLEDGE_LATE)

    event.listen(engine, "begin", begin)
    named = [value for key, value in url.query.items() if "pass" in key and isinstance(value, str)]
    secrets = tuple(word for word in (url.password, *named) if word)
    return LogStore(where, engine, secrets=secrets)


def _url(text: str) -> URL:
    """Read the URL of a server; no message quotes any of it, as a password may be anywhere in a wrong one."""
    wrong = InputError(
        "log",
        "is no URL of a PostgreSQL database that can be read",
        remedy="write postgresql://USER@HOST:PORT/DATABASE; signs such as @ / ? # in a password as %40 %2F %3F %23",
    )
    scheme, found, rest = text.partition("://")
    if not found or re.search(r"[/?#].*@", rest):  # part of a password would be taken for the database's name
        raise wrong
    if scheme.lower() not in {"postgresql", "postgresql+psycopg"}:
        raise InputError("log", "is a URL of a kind that isn't known", value=f"{scheme}://", remedy="use postgresql://")
    try:
        url = make_url(f"postgresql+psycopg://{rest}")
    except (ArgumentError, ValueError):
        raise wrong from None  # its message quotes the URL
    if not url.database:
        raise InputError("log", "the URL names no database", remedy="write postgresql://USER@HOST:PORT/DATABASE")
    return url


def _leave(connection: Connection) -> None:
    """Close a connection; what wasn't committed is undone, whatever state it is in."""
    with contextlib.suppress(SQLAlchemyError):
        connection.close()
