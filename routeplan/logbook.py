"""The log of fill-ups and runs: entries are added, never changed, and stay once they are acknowledged."""

from __future__ import annotations

import itertools
import re
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Self

from pydantic import ValidationError
from sqlalchemy import insert, select

from layers.errors import InputError
from routeplan.fillups import Entry, Fillup, FillupLog
from routeplan.log_runs import enter_runs, enter_withdrawals, find_run, read_run_history, withdraw_passage
from routeplan.log_schema import columns_of, entry_of, fillups, log_version, make_log, row_of
from routeplan.log_store import ConnectionLostError, NoLogError, default_log, open_store
from routeplan.places import nearest_names
from routeplan.runs import standing_runs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from types import TracebackType

    from sqlalchemy import Connection

    from routeplan.log_store import LogStore
    from routeplan.runs import Run, RunEntry

__all__ = ["Logbook", "NewEntry", "NoLogError", "default_log", "open_logbook"]

_BATCH = 500  # entries: two questions and one INSERT each; memory is bounded by it
_PATIENCE_S = 20.0  # [s] a large import holds the log for some seconds
# No vowels, and a letter first: a spreadsheet takes no such name for a number (12e45678) or a date (sept2026), and
# nobody takes it for a word. No l, o, 0, 1, which look alike.
_LETTERS = "bcdfghjkmnpqrstvwxz"
_SIGNS = f"{_LETTERS}23456789"
_NAME = re.compile(r"[a-z0-9]{8}")


def _clock() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True)
class NewEntry:
    """What is to be entered.

    Parameters
    ----------
    fillup
        The fill-up; of a withdrawal, the one that is withdrawn.
    replaces
        Name of the entry that it replaces; None for a new fill-up.
    withdrawn
        Whether it says that the one it replaces never was.
    entry
        A name that it has already, in a log that it was exported from; None to be given one.
    entered
        When it was entered there; None for now.
    """

    fillup: Fillup
    replaces: str | None = None
    withdrawn: bool = False
    entry: str | None = None
    entered: datetime | None = None


class Logbook:
    """A log of fill-ups that is open.

    Parameters
    ----------
    store
        The database that it is kept in.
    clock
        Tells the moment of entering.

    Notes
    -----
    Nothing is held open between calls, so a log may be read while it is added to, by this program or by another.
    """

    def __init__(self, store: LogStore, clock: Callable[[], datetime] = _clock) -> None:
        self._store = store
        self._clock = clock

    def __enter__(self) -> Self:
        """Return the log itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the log."""
        self.close()

    @property
    def where(self) -> str:
        """The file, or the server and database without user, password and options."""
        return self._store.where

    def close(self) -> None:
        """Let go of the database; a log may be closed twice."""
        self._store.engine.dispose()

    def append(self, new: Iterable[NewEntry]) -> tuple[str, ...]:
        """Enter any number of entries, all or none.

        Parameters
        ----------
        new
            What to enter, in order; a correction may name an entry that comes before it. It is drawn from while all
            other writers are kept out: what it finds in the log meanwhile is all that will be there before it.

        Returns
        -------
        The names of the entries, in the same order. They are on the disk by then.

        Raises
        ------
        InputError
            An entry breaks a rule (a name that is taken, a correction of what isn't there, was replaced already or is
            another boat's), or the database can't take them; nothing was added. What `new` itself raises passes
            through, and nothing was added either.

        Examples
        --------
        >>> import tempfile
        >>> from pathlib import Path
        >>> fillup = Fillup(boat="Quick Errand", when="2026-06-27T15:10Z", meter_used_l=170, pumped_l=181)
        >>> with open_logbook(str(Path(tempfile.mkdtemp()) / "log.db"), create=True) as logbook:
        ...     (name,) = logbook.append([NewEntry(fillup)])
        ...     entry = logbook.log().entries[0]
        >>> entry.fillup == fillup, entry.entry == name
        (True, True)
        """
        names: list[str] = []
        entries = iter(new)
        try:
            with self._store.writing() as connection:
                batch = list(itertools.islice(entries, _BATCH))  # it may read an old log, whose upgrade locks tables
                with self._store.refusals():
                    make_log(connection, self.where, self._clock())
                while batch:
                    with self._store.refusals():
                        names += self._insert(connection, batch)
                    batch = list(itertools.islice(entries, _BATCH))
        except ConnectionLostError as error:
            self._make_sure(names, error)
        return tuple(names)

    def settle(
        self, make: Callable[[], tuple[Sequence[NewEntry], Sequence[Run]]]
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Enter runs, and the corrections of fill-ups that they bring, all or none.

        Parameters
        ----------
        make
            Tells what to enter. It is asked while all other writers are kept out: what it finds in the log is all that
            will be there before it.

        Returns
        -------
        The names of the corrections and those of the runs, in the same order. They are on the disk by then.

        Raises
        ------
        InputError
            As for `append`; or a run of the same boat is in the log for the same time. Nothing was added.
        """
        names: tuple[str, ...] = ()
        own: tuple[str, ...] = ()
        try:
            with self._store.writing() as connection:
                new, runs = make()
                with self._store.refusals():
                    make_log(connection, self.where, self._clock())
                    names = tuple(self._insert(connection, new)) if new else ()
                    own = tuple(self._fresh_names(connection, len(runs), taken=set(names)))
                    enter_runs(connection, self.where, runs, own, self._clock())
        except ConnectionLostError as error:
            self._make_sure([*names, *own], error)
        return names, own

    def withdraw_passage(self, name: str) -> tuple[RunEntry, ...]:
        """Say that the runs of a passage never were; they stay in the history.

        Parameters
        ----------
        name
            Name of one of them.

        Returns
        -------
        The runs that no longer count.

        Raises
        ------
        InputError
            There is no such run, it was withdrawn already, or the database can't take it.
        """
        own: tuple[str, ...] = ()
        try:
            with self._store.writing() as connection, self._store.refusals():
                make_log(connection, self.where, self._clock())
                gone = withdraw_passage(connection, self.where, name)
                own = tuple(self._fresh_names(connection, len(gone), taken=set()))
                enter_withdrawals(connection, gone, own, self._clock())
        except ConnectionLostError as error:
            self._make_sure(own, error)
        return gone

    def runs(self, boat: str | None = None, *, withdrawn: bool = False) -> tuple[RunEntry, ...]:
        """Read the runs.

        Parameters
        ----------
        boat
            Only hers; None for all.
        withdrawn
            Whether to read those that were withdrawn as well, and their withdrawals.

        Returns
        -------
        In order of boats and time; with withdrawn ones, in the order of entering.

        Raises
        ------
        InputError
            The database can't be read, or a run in it.
        """
        with self._store.reading() as connection, self._store.refusals():
            history = read_run_history(connection, self.where, boat)
        return history if withdrawn else standing_runs(history)

    def history(self, boat: str | None = None) -> Iterator[Entry]:
        """Read all entries, those replaced and withdrawn as well.

        Parameters
        ----------
        boat
            Only hers; None for all.

        Yields
        ------
        Entry
            In the order of entering; a few at a time are in memory.

        Raises
        ------
        InputError
            The database can't be read, or an entry in it.
        """
        with self._store.reading() as connection, self._store.refusals():
            version = log_version(connection, self.where)
            wanted = select(*columns_of(version)).order_by(fillups.c.id)
            if boat is not None:
                wanted = wanted.where(fillups.c.boat == boat)
            if version:
                with connection.execution_options(yield_per=_BATCH).execute(wanted) as rows:
                    for row in rows.mappings():
                        yield entry_of(row, self.where)

    def log(self, boat: str | None = None) -> FillupLog:
        """Read what holds today.

        Parameters
        ----------
        boat
            Only hers; None for all.

        Returns
        -------
        Every fill-up as last corrected, withdrawn ones left out.

        Raises
        ------
        InputError
            As for `history`.
        """
        return FillupLog.of_entries(self.where, self.history(boat))

    def names(self) -> frozenset[str]:
        """Read the names of all entries.

        Returns
        -------
        Also of those that were replaced or withdrawn.

        Raises
        ------
        InputError
            The database can't be read.
        """
        with self._store.reading() as connection, self._store.refusals():
            if not log_version(connection, self.where):
                return frozenset()
            return frozenset(connection.scalars(select(fillups.c.entry)))

    def has(self, entry: str) -> bool:
        """Tell whether there is an entry of a name.

        Parameters
        ----------
        entry
            Its name.

        Returns
        -------
        Also true where it was replaced or withdrawn.

        Raises
        ------
        InputError
            The database can't be read.
        """
        return self.find(entry) is not None

    def find(self, entry: str) -> Entry | None:
        """Read one entry.

        Parameters
        ----------
        entry
            Its name.

        Returns
        -------
        The entry, replaced or not; None where there is none of this name.

        Raises
        ------
        InputError
            The database can't be read.
        """
        with self._store.reading() as connection, self._store.refusals():
            version = log_version(connection, self.where)
            if not version:
                return None
            row = connection.execute(select(*columns_of(version)).where(fillups.c.entry == entry)).mappings().first()
            return None if row is None else entry_of(row, self.where)

    def _insert(self, connection: Connection, batch: Sequence[NewEntry]) -> list[str]:
        """Insert a batch, once it is sure that each entry may be there."""
        named = {new.entry for new in batch if new.entry is not None}
        targets = {new.replaces for new in batch if new.replaces is not None}
        boats: dict[str, str] = {}  # by entry
        if named or targets:
            known = select(fillups.c.entry, fillups.c.boat).where(fillups.c.entry.in_(named | targets))
            boats.update((entry, boat) for entry, boat in connection.execute(known))
        replaced: dict[str, str] = {}  # by what, by the entry that was
        if targets:
            gone = select(fillups.c.replaces, fillups.c.entry).where(fillups.c.replaces.in_(targets))
            replaced.update((old, by) for old, by in connection.execute(gone))
        fresh = self._fresh_names(connection, sum(new.entry is None for new in batch), taken=named)
        rows = []
        for new in batch:
            name = next(fresh) if new.entry is None else new.entry
            if new.replaces is not None and new.replaces not in boats:
                raise self._not_there(connection, new.replaces)
            self._check(new, name, boats, replaced)
            rows.append(row_of(self._entry(new, name)))
            boats[name] = new.fillup.boat
            if new.replaces is not None:
                replaced[new.replaces] = name
        connection.execute(insert(fillups), rows)
        return [row["entry"] for row in rows]

    def _check(self, new: NewEntry, name: str, boats: Mapping[str, str], replaced: Mapping[str, str]) -> None:
        if not _NAME.fullmatch(name):
            raise InputError(
                self.where, "is no name of an entry", value=name, remedy="it has eight letters (a to z) and digits"
            )
        if name in boats:
            raise InputError(self.where, "holds an entry of this name already", value=name)
        if new.replaces is None:
            if new.withdrawn:
                raise InputError(self.where, "a withdrawal names no entry that it withdraws", value=name)
            return
        if new.replaces in replaced:
            by = replaced[new.replaces]
            raise InputError(
                self.where, f"this entry was replaced by {by} already", value=new.replaces, remedy=f"replace {by}"
            )
        if boats[new.replaces] != new.fillup.boat:
            raise InputError(
                self.where,
                f"entry {new.replaces} is of another boat, {boats[new.replaces]!r}",
                value=new.fillup.boat,
                remedy="withdraw it there and add it here",
            )

    def _not_there(self, connection: Connection, entry: str) -> InputError:
        latest = connection.scalars(select(fillups.c.entry).order_by(fillups.c.id.desc()).limit(_BATCH))
        near = nearest_names(entry, latest)
        return InputError(
            self.where,
            "holds no entry of this name to replace",
            value=entry,
            remedy=f"did you mean {', '.join(near)}?" if near else "fillup list shows their names",
        )

    def _entry(self, new: NewEntry, name: str) -> Entry:
        try:
            return Entry(
                entry=name,
                entered=self._clock() if new.entered is None else new.entered,
                replaces=new.replaces,
                withdrawn=new.withdrawn,
                fillup=new.fillup,
            )
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"])
            raise InputError(f"{self.where}, entry {name}", f"{place}: {first['msg']}", value=first["input"]) from error

    @staticmethod
    def _fresh_names(connection: Connection, count: int, taken: set[str]) -> Iterator[str]:
        """Draw names that no entry has: among 100,000 some would meet by chance."""
        fresh: set[str] = set()
        while len(fresh) < count:
            drawn = {_drawn_name() for _ in range(count - len(fresh))} - taken
            fresh |= drawn - set(connection.scalars(select(fillups.c.entry).where(fillups.c.entry.in_(drawn))))
        return iter(fresh)

    def _make_sure(self, names: Sequence[str], error: ConnectionLostError) -> None:
        """Find out what became of a commit whose answer was lost; no word where the entries are there after all."""
        unsure = InputError(
            self.where,
            f"the connection was lost before the server confirmed the {len(names)} entries",
            remedy="look at fillup list before adding them again",
        )
        if not names:
            return
        try:
            with self._store.writing() as connection, self._store.refusals():  # waits for the transaction that was lost
                there = connection.scalar(select(fillups.c.id).where(fillups.c.entry == names[-1])) is not None
                there = there or find_run(connection, self.where, names[-1])
        except (InputError, ConnectionLostError):
            raise unsure from error
        if not there:
            raise InputError(self.where, "the connection was lost and nothing was added", remedy="try again") from error


def open_logbook(
    where: str, *, create: bool = False, clock: Callable[[], datetime] = _clock, patience_s: float = _PATIENCE_S
) -> Logbook:
    """Open a log of fill-ups.

    Parameters
    ----------
    where
        Path of a file, or ``postgresql://USER@HOST:PORT/DATABASE``.
    create
        Whether a log that isn't there is begun: the file and its folder, or the tables in a database.
    clock
        Tells the moment of entering.
    patience_s
        [s] How long to wait for others who are writing.

    Returns
    -------
    The log, to be closed (it is a context manager).

    Raises
    ------
    NoLogError
        There is no log, and none is to be made.
    InputError
        It can't be opened, is damaged, another program's or of a later version.

    Notes
    -----
    A log of an older version is read as it is; it is brought up to date, in one transaction, when first added to.
    """
    store = open_store(where, create=create, patience_s=patience_s)
    with store.reading() as connection, store.refusals():
        version = log_version(connection, store.where)
        if store.path is not None:
            said = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
            if said != "ok":
                raise InputError(store.where, f"is damaged ({said})", remedy="keep it as it is, and go back to a copy")
    if not version:
        if not create:
            raise NoLogError(store.where)
        with store.writing() as connection, store.refusals():
            make_log(connection, store.where, clock())
    return Logbook(store, clock)


def _drawn_name() -> str:
    number, first = divmod(secrets.randbelow(len(_LETTERS) * len(_SIGNS) ** 7), len(_LETTERS))
    name = _LETTERS[first]
    for _ in range(7):
        number, sign = divmod(number, len(_SIGNS))
        name += _SIGNS[sign]
    return name
