"""What a file of fill-ups would add to a log, and what the log has already."""

from __future__ import annotations

import collections
import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from routeplan.fillup_checks import find_faults
from routeplan.fillup_csv import Faults, read_csv_fillups
from routeplan.logbook import NewEntry
from routeplan.moments import write_moment
from routeplan.places import nearest_names

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from datetime import datetime
    from pathlib import Path

    from routeplan.boats import Boat
    from routeplan.fillup_cells import Columns
    from routeplan.fillup_csv import Row
    from routeplan.fillups import Entry, Fillup
    from routeplan.moments import WallClock
    from routeplan.quantities import VolumeUnit

__all__ = ["BoatSpan", "FillupImport", "KnownEntries"]

_SHOWN_ROWS = 2  # at either end of a preview: enough to see that the columns mean what was thought


class KnownEntries:
    """What a log holds, as far as an import must know: digests of 16 bytes, so that long logs fit.

    Parameters
    ----------
    history
        Gives all entries of the log in the order of entering, and gives them again.
    with_names
        Whether the names of entries are wanted too.
    """

    def __init__(self, history: Callable[[], Iterable[Entry]] = tuple, *, with_names: bool = False) -> None:
        replaced = {entry.replaces: entry.entry for entry in history() if entry.replaces is not None}
        self.replaced: dict[str, str] = replaced
        self.boats: set[str] = set()
        self.names: dict[str, tuple[str, bytes]] = {}
        self._standing: dict[bytes, bytes] = {}
        self._past: set[bytes] = set()
        for entry in history():
            if with_names:
                self.add_name(entry.entry, entry.fillup)
            self.add(entry.fillup, standing=not entry.withdrawn and entry.entry not in replaced)

    def add(self, fillup: Fillup, *, standing: bool = True) -> None:
        """Take down a fill-up.

        Parameters
        ----------
        fillup
            The fill-up.
        standing
            Whether it holds; not one that was replaced or withdrawn since.
        """
        self.boats.add(fillup.boat)
        moment, figures, rest = _digests(fillup)
        if standing:
            self._standing[moment] = figures + rest
        else:
            self._past.add(moment[:8] + figures)

    def add_name(self, name: str, fillup: Fillup) -> None:
        """Take down an entry's name.

        Parameters
        ----------
        name
            Its name.
        fillup
            Its fill-up.
        """
        moment, figures, _ = _digests(fillup)
        self.names[name] = (fillup.boat, moment[:8] + figures)

    def look_up(self, fillup: Fillup) -> str:
        """Tell what is known of a fill-up.

        Parameters
        ----------
        fillup
            The fill-up.

        Returns
        -------
        ``new``; ``same``, or ``otherwise`` where only its dock, note and the like differ; ``past`` where it was
        replaced or withdrawn since; ``clash`` where another one is of the same boat and moment.
        """
        moment, figures, rest = _digests(fillup)
        held = self._standing.get(moment)
        if held is not None and held[:8] == figures:
            return "same" if held[8:] == rest else "otherwise"
        if moment[:8] + figures in self._past:
            return "past"
        return "new" if held is None else "clash"

    def has_name(self, name: str, fillup: Fillup) -> bool | None:
        """Tell whether an entry is known by its name.

        Parameters
        ----------
        name
            Its name.
        fillup
            Its fill-up.

        Returns
        -------
        Whether it is there with the same boat, moment and figures; None where there is none of this name.
        """
        held = self.names.get(name)
        if held is None:
            return None
        moment, figures, _ = _digests(fillup)
        return held == (fillup.boat, moment[:8] + figures)


@dataclass
class BoatSpan:
    """How much a file adds for one boat.

    Parameters
    ----------
    count
        Fill-ups.
    first, last
        The earliest and the latest.
    """

    count: int
    first: datetime
    last: datetime


@dataclass
class FillupImport:
    """One file on its way into a log.

    Parameters
    ----------
    path
        The file.
    zone
        Time zone of moments without an offset; None where such are refused.
    boats
        Boats whose tanks the figures are held against, by name.
    now
        The moment by the clock.
    sure
        Whether the writer has said that figures which look like a slip are right.
    history
        Gives all entries of the log, and gives them again.
    columns
        What the header says; this and what follows is filled by `new_entries`.
    new, corrections
        How many rows the log doesn't hold yet, and how many of them replace or withdraw others.
    known, otherwise, past
        How many it holds, how many of these with another dock, note or the like, and how many were replaced or
        withdrawn since.
    spans
        What is new of each boat.
    first_rows, last_rows
        The new rows at either end.
    cautions
        What a reader should know besides.
    """

    path: Path
    zone: WallClock | None
    boats: Mapping[str, Boat]
    now: datetime
    sure: bool
    history: Callable[[], Iterable[Entry]]
    columns: Columns | None = None
    new: int = 0
    corrections: int = 0
    known: int = 0
    otherwise: int = 0
    past: int = 0
    spans: dict[str, BoatSpan] = field(default_factory=dict)
    first_rows: list[Row] = field(default_factory=list)
    last_rows: collections.deque[Row] = field(default_factory=lambda: collections.deque(maxlen=_SHOWN_ROWS))
    cautions: list[str] = field(default_factory=list)

    @property
    def unit(self) -> VolumeUnit:
        """The unit of the file's volumes."""
        return "l" if self.columns is None else self.columns.unit

    def new_entries(self, progress: Callable[[float], None] | None = None) -> Iterator[NewEntry]:
        """Read the file, and give what the log doesn't hold yet.

        Parameters
        ----------
        progress
            Told the share of the file that has been read.

        Yields
        ------
        NewEntry
            In the file's order, up to the first bad row.

        Raises
        ------
        FillupFileError
            Every bad row, after the last: what was given before must be undone.
        InputError
            The file can't be read.
        """
        faults = Faults(str(self.path))
        known: KnownEntries | None = None
        before: dict[str, Row] = {}
        in_log: frozenset[str] = frozenset()

        def take(columns: Columns) -> None:
            self.columns = columns

        rows = read_csv_fillups(self.path, zone=self.zone, faults=faults, columns=take, progress=progress)
        for row in rows:
            if known is None:
                own_names = self.columns is not None and {"entry", "replaces"} & set(self.columns.fields)
                known = KnownEntries(self.history, with_names=bool(own_names))
                in_log = frozenset(known.boats)
            bad = faults.count
            self._check(row, before.get(row.fillup.boat), faults)
            verdict = self._compare(row, known, faults)
            before[row.fillup.boat] = row
            if faults.count > bad or verdict != "new":
                continue
            self._take(row, known)
            if not faults.count:
                yield NewEntry(row.fillup, row.replaces, row.withdrawn, row.entry, row.entered)
        faults.throw()
        self._finish(in_log)

    def look(self, progress: Callable[[float], None] | None = None) -> None:
        """Read the file to its end without taking anything from it.

        Parameters
        ----------
        progress
            Told the share of the file that has been read.

        Raises
        ------
        FillupFileError
            Every bad row.
        InputError
            The file can't be read.
        """
        for _ in self.new_entries(progress):
            pass

    def document(self) -> dict[str, Any]:
        """Tell what the file adds, once it was read.

        Returns
        -------
        Plain values for JSON.
        """
        return {
            "file": str(self.path),
            "volume_unit": self.unit,
            "new": self.new,
            "corrections": self.corrections,
            "known": self.known,
            "boats": [
                {"boat": boat, "new": span.count, "first": write_moment(span.first), "last": write_moment(span.last)}
                for boat, span in sorted(self.spans.items())
            ],
            "cautions": list(self.cautions),
        }

    def _check(self, row: Row, before: Row | None, faults: Faults) -> None:
        """Hold a row against the one before it of the same boat, the clock and the tank."""
        fillup, columns = row.fillup, self.columns
        if columns is None:
            return
        history = "replaces" in columns.fields  # such a file is in the order of entering
        if before is not None and not history and fillup.when < before.fillup.when:
            earlier = f"is earlier than line {before.line}, {write_moment(before.fillup.when)}"
            rule = f"{earlier}, of the same boat: put her rows in order of time"
            faults.add(row.line, columns.name_of("when"), write_moment(fillup.when), rule)
            return
        plain = before is not None and before.fillup.when <= fillup.when
        written = dict.fromkeys(("meter_used_l", "gauge_before_l", "pumped_l"), columns.unit)
        boat = self.boats.get(fillup.boat)
        previous = before.fillup if before is not None and plain else None
        for fault in find_faults(fillup, boat, previous, self.now, written=written):
            if fault.kind == "question" and (self.sure or row.entry is not None):
                continue
            asked = "; --sure keeps such figures as they are" if fault.kind == "question" else ""
            remedy = f": {fault.remedy}{asked}" if fault.remedy else ""
            faults.add(row.line, columns.name_of(fault.field), "", f"{fault.problem}{remedy}")

    def _compare(self, row: Row, known: KnownEntries, faults: Faults) -> str:
        """Tell whether a row is new, and count it where it isn't."""
        by_name = None if row.entry is None else known.has_name(row.entry, row.fillup)
        if by_name is False:
            rule = "is in the log with other figures: correct it with routeplan fillup add --replaces"
            faults.add(row.line, "entry", row.entry or "", rule)
            return "clash"
        if by_name:
            self.known += 1
            return "same"
        if row.replaces is not None:
            return self._replacing(row, row.replaces, known, faults)
        verdict = known.look_up(row.fillup)
        if verdict == "clash" and row.entry is not None:
            verdict = "new"  # of our own history: what stood at this moment may be withdrawn further down
        if verdict == "clash":
            rule = "this boat has another fill-up of this moment: correct that with routeplan fillup add --replaces"
            faults.add(row.line, "when", write_moment(row.fillup.when), rule)
        elif verdict != "new":
            self.known += 1
            self.otherwise += verdict == "otherwise"
            self.past += verdict == "past"
        return verdict

    @staticmethod
    def _replacing(row: Row, replaces: str, known: KnownEntries, faults: Faults) -> str:
        held = known.names.get(replaces)
        by = known.replaced.get(replaces)
        if held is None:
            rule = "is neither in the log nor further up in the file: import the file that has it first"
        elif by is not None:
            rule = f"was replaced by {by} already: replace that one"
        elif held[0] != row.fillup.boat:
            rule = f"is of another boat, {held[0]}: withdraw it there and add it here"
        else:
            return "new"
        faults.add(row.line, "replaces", replaces, rule)
        return "clash"

    def _take(self, row: Row, known: KnownEntries) -> None:
        fillup = row.fillup
        self.new += 1
        known.add(fillup, standing=not row.withdrawn)
        if row.entry is not None:
            known.add_name(row.entry, fillup)
        if row.replaces is not None:
            self.corrections += 1
            known.replaced[row.replaces] = row.entry or f"line {row.line}"
        else:
            span = self.spans.setdefault(fillup.boat, BoatSpan(0, fillup.when, fillup.when))
            span.count += 1
            span.first, span.last = min(span.first, fillup.when), max(span.last, fillup.when)
        if len(self.first_rows) < _SHOWN_ROWS:
            self.first_rows.append(row)
        else:
            self.last_rows.append(row)

    def _finish(self, in_log: frozenset[str]) -> None:
        """Say what the reader of a preview should know besides the figures."""
        for boat in self.spans:
            if boat in in_log:
                continue
            near = [name for name in nearest_names(boat, in_log) if name != boat]
            if near:
                self.cautions.append(f"{boat!r} is new to the log, which has {near[0]!r}: are they one boat?")
        unchecked = sorted(set(self.spans) - set(self.boats))
        if unchecked:
            names = ", ".join(unchecked[:5]) + (" and others" if len(unchecked) > 5 else "")
            self.cautions.append(f"not held against a tank, as no --boat file was given: {names}")


def _digests(fillup: Fillup) -> tuple[bytes, bytes, bytes]:
    """Give digests of boat and moment (16 bytes), of the figures that make a fill-up (8), and of all else (8)."""
    moment = f"{fillup.boat}\x00{fillup.when.timestamp():.6f}"
    measured = (*fillup.meters_used_l, fillup.gauge_before_l, fillup.pumped_l)
    figures = "\x00".join(
        [*("" if v is None else f"{v:.10g}" for v in measured), str(fillup.filled_to_full), str(fillup.meter_reset)]
    )
    rest = repr(
        (
            fillup.dock,
            fillup.since,
            fillup.distance_run_nmi,
            fillup.engine_hours_h,
            fillup.speeds_run,
            fillup.sea,
            fillup.people,
            None if fillup.price_per_l is None else f"{fillup.price_per_l:.10g}",
            fillup.note,
        )
    )
    return tuple(  # type: ignore[return-value]
        hashlib.blake2b(text.encode(), digest_size=size).digest()
        for text, size in ((moment, 16), (figures, 8), (rest, 8))
    )
