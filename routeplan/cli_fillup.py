"""The commands of the log of fill-ups: they parse, call and show; nothing is computed here."""

from __future__ import annotations

import contextlib
import functools
import io
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from layers.errors import InputError
from routeplan import edges
from routeplan.edges import BoatOption, JsonOption, LogOption

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from routeplan.boats import Boat
    from routeplan.fillups import Entry
    from routeplan.logbook import Logbook
    from routeplan.moments import WallClock
    from routeplan.quantities import VolumeUnit
    from routeplan.runs import Run, RunEntry

__all__ = ["fillups", "open_for_writing"]

fillups = typer.Typer(
    help="Keep the log of fill-ups: three numbers and one line each.", no_args_is_help=False, rich_markup_mode=None
)

ZoneOption = Annotated[
    str | None, typer.Option("--zone", help="Time zone of times without an offset, such as Atlantic/Azores.")
]
SureOption = Annotated[bool, typer.Option("--sure", help="Keep figures that look like a slip as they are.")]
SomeBoatOption = Annotated[
    Path | None, typer.Option("--boat", envvar="ROUTEPLAN_BOAT", help="Boat file: only hers, in her units.")
]
NameOption = Annotated[str | None, typer.Option("--name", help="Only the boat of this name.")]
HistoryOption = Annotated[
    bool, typer.Option("--history", help="Every entry in the order of entering, corrected and withdrawn ones too.")
]


@fillups.command("add")
def add(
    boat: BoatOption,
    meter: Annotated[
        str | None,
        typer.Argument(metavar="METER", help="Flow meter: used since its last reset; two meters as 22.7+24.1."),
    ] = None,
    gauge: Annotated[
        str | None,
        typer.Argument(metavar="GAUGE", help="Gauge before the fill: fuel left; or a part of the tank: 3/8, 40%."),
    ] = None,
    pumped: Annotated[str | None, typer.Argument(metavar="PUMPED", help="What the pump delivered.")] = None,
    log: LogOption = None,
    dock: Annotated[
        str | None,
        typer.Option("--dock", help="Where; default where her last run ended, or the dock of her last fill-up."),
    ] = None,
    when: Annotated[
        str | None,
        typer.Option("--when", help="When: 2026-07-01T08:00, or 08:00 for the last time it was. Default now."),
    ] = None,
    zone: ZoneOption = None,
    full: Annotated[
        bool | None, typer.Option("--full/--part", help="Filled to the full mark, or a part fill. Default full.")
    ] = None,
    reset: Annotated[
        bool | None, typer.Option("--reset/--not-reset", help="Whether the meter was reset after. Default reset.")
    ] = None,
    since: Annotated[
        list[str] | None,
        typer.Option(
            "--since",
            metavar="WORD",
            help="What happened since the fill-up before: unwritten-fillup, reset-forgotten, reset-in-mid-tank, "
            "meter-replaced, meter2-replaced; may be repeated.",
        ),
    ] = None,
    distance: Annotated[str | None, typer.Option("--distance", help="Distance run since then, such as 67nmi.")] = None,
    hours: Annotated[str | None, typer.Option("--hours", help="Engine hours since then, such as 2.4 or 2h24.")] = None,
    track: Annotated[
        list[Path] | None, typer.Option("--track", help="Recorded track since then (GPX); may be repeated.")
    ] = None,
    sea: Annotated[
        str | None, typer.Option("--sea", help="The sea: calm, smooth, slight, moderate, rough, very rough.")
    ] = None,
    people: Annotated[str | None, typer.Option("--people", help="How many were aboard.")] = None,
    price: Annotated[str | None, typer.Option("--price", help="Price for one of her units, or such as 1.97/l.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything else, one line.")] = None,
    replaces: Annotated[
        str | None,
        typer.Option("--replaces", metavar="ENTRY", help="Correct this entry (or: last); what isn't given stays."),
    ] = None,
    earlier: Annotated[bool, typer.Option("--earlier", help="It lies before her last fill-up in the log.")] = False,
    sure: SureOption = False,
    as_json: JsonOption = False,
) -> None:
    """Enter a fill-up: METER GAUGE PUMPED, in the boat's units unless one is said.

    A number that was not read is -. With --replaces, = or a number left out stays as it was, and - takes an option out.
    """
    from routeplan.boats import read_boat
    from routeplan.fillup_words import entry_document, tell_entered
    from routeplan.fillups import Entry, FillupLog
    from routeplan.logbook import NewEntry
    from routeplan.typed_fillups import TypedFillup, find_entry, understand

    now = edges.now()
    the_boat, clock = read_boat(boat), _clock(zone)
    typed = TypedFillup(
        meter=meter,
        gauge=gauge,
        pumped=pumped,
        when=when,
        dock=dock,
        full=full,
        reset=reset,
        since=None if since is None else tuple(since),
        distance=distance,
        hours=hours,
        tracks=tuple(edges.named(path, "--track") for path in track or ()),
        sea=sea,
        people=people,
        price=price,
        note=note,
    )
    with _reading(log) as (logbook, where):  # no log is begun for what is refused
        begun = logbook is None
        history = () if logbook is None else tuple(logbook.history(the_boat.name))
        runs = () if logbook is None else tuple(entry.run for entry in logbook.runs(the_boat.name))
    held = FillupLog.of_entries(where, history)
    old = None if replaces is None else find_entry(replaces, held, history, "--replaces")
    understood = understand(
        typed, the_boat, held, now, clock=clock, replaces=old, earlier=earlier, sure=sure, runs=runs
    )
    with open_for_writing(log) as logbook:
        (name,) = logbook.append([NewEntry(understood.fillup, None if old is None else old.entry, entered=now)])
        where = logbook.where
    if as_json:
        entry = Entry(entry=name, entered=now, replaces=old.entry if old else None, fillup=understood.fillup)
        edges.print_json(
            {
                "schema": "routeplan/fillup-add/1",
                "log": where,
                "entry": entry_document(entry),
                "assumed": dict(understood.assumed),
                "notes": list(understood.notes),
            }
        )
    else:
        edges.say(tell_entered(understood, name, the_boat, where, clock, begun=begun))


@fillups.command("withdraw")
def withdraw(
    entry: Annotated[
        str, typer.Argument(metavar="ENTRY", help="The entry's name, or a run's, as fillup list shows it.")
    ],
    boat: SomeBoatOption = None,
    log: LogOption = None,
    zone: ZoneOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say that a fill-up never was, or a passage that underway entered. It stays in the history, and counts no more."""
    from routeplan.boats import read_boat
    from routeplan.fillup_words import entry_document, tell_withdrawn, units_of
    from routeplan.fillups import Entry, FillupLog
    from routeplan.logbook import NewEntry
    from routeplan.typed_fillups import find_entry

    now, clock = edges.now(), _clock(zone)
    the_boat = None if boat is None else read_boat(boat)
    if the_boat is None and entry.strip().casefold() == "last":
        raise InputError("ENTRY", "last is a boat's last fill-up", remedy="say whose with --boat, or name the entry")
    with _opened(log) as logbook:
        wanted = entry.strip().casefold()
        if wanted in {run.entry for run in logbook.runs(withdrawn=True)}:
            _withdraw_passage(logbook, wanted, clock, the_boat, as_json=as_json)
            return
        history = tuple(logbook.history(None if the_boat is None else the_boat.name))
        old = find_entry(entry, FillupLog.of_entries(logbook.where, history), history, "ENTRY")
        (name,) = logbook.append([NewEntry(old.fillup, old.entry, withdrawn=True, entered=now)])
        where = logbook.where
    if as_json:
        done = Entry(entry=name, entered=now, replaces=old.entry, withdrawn=True, fillup=old.fillup)
        edges.print_json({"schema": "routeplan/fillup-withdraw/1", "log": where, "entry": entry_document(done)})
    else:
        units = units_of("l") if the_boat is None else the_boat.units
        edges.say(tell_withdrawn(old, name, units, where, clock))


def _withdraw_passage(logbook: Logbook, name: str, clock: WallClock, boat: Boat | None, *, as_json: bool) -> None:
    from routeplan.fillup_words import units_of
    from routeplan.run_words import run_document, tell_runs_withdrawn

    gone = logbook.withdraw_passage(name)
    if as_json:
        document = {"schema": "routeplan/passage-withdraw/1", "log": logbook.where}
        edges.print_json({**document, "runs": [run_document(each) for each in gone]})
    else:
        edges.say(tell_runs_withdrawn(gone, logbook.where, units_of("l") if boat is None else boat.units, clock))


@fillups.command("list")
def list_(
    boat: SomeBoatOption = None,
    name: NameOption = None,
    log: LogOption = None,
    zone: ZoneOption = None,
    history: HistoryOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show the log: what each fill-up's numbers were, oldest first."""
    from routeplan.boats import read_boat
    from routeplan.fillup_words import entry_document, tell_list, units_of
    from routeplan.fillups import FillupLog
    from routeplan.run_words import run_document
    from routeplan.runs_taken import pending_runs

    the_boat, clock = None if boat is None else read_boat(boat), _clock(zone)
    wanted = _wanted(the_boat, name)
    with _entries(log, clock if zone else None) as (where, entries, runs):
        all_entries, all_runs = tuple(entries(None)), runs()
    held = FillupLog.of_entries(where, all_entries)
    waits = pending_runs((entry.run for entry in all_runs), (entry.fillup for entry in held.entries))
    waiting = [entry for entry in all_runs if entry.run in waits and wanted in {None, entry.run.boat}]
    if wanted is not None and not waiting and wanted not in {entry.fillup.boat for entry in all_entries}:
        held.need(wanted)
    chosen = [e for e in (all_entries if history else held.entries) if wanted in {None, e.fillup.boat}]
    if as_json:
        document: dict[str, Any] = {"schema": "routeplan/fillup-list/1", "log": where, "history": history}
        document["fillups"] = [entry_document(entry) for entry in chosen]
        edges.print_json({**document, "waiting_runs": [run_document(entry) for entry in waiting]})
        return
    if not chosen and not waiting:
        edges.say(f"{where}: no fill-ups yet; routeplan fillup add enters one")
        return
    replaced = {e.replaces: e.entry for e in all_entries if e.replaces is not None} if history else None
    units = units_of("l") if the_boat is None else the_boat.units
    edges.say(tell_list(chosen, where, units, clock, replaced=replaced, waiting=waiting))


@fillups.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV file, one fill-up a line.")],
    log: LogOption = None,
    zone: ZoneOption = None,
    boat: Annotated[
        list[Path] | None,
        typer.Option("--boat", help="Boat file: her figures are held against her tank; may be repeated."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write; without it the file is only looked at.")] = False,
    sure: SureOption = False,
    as_json: JsonOption = False,
) -> None:
    """Take fill-ups from a CSV file: first a look at what it would add, then all of it with --yes.

    Its first line names the columns, in any order. Required: boat, when, pumped_l. Also: dock, meter_used_l,
    meter2_used_l, gauge_before_l, filled_to_full and meter_reset (yes or no), since (words as in fillup add),
    distance_run_nmi, engine_hours_h, speeds_run (4.5kn 0.3h; 26kn 1.9h), sea, people, price_per_l, note; entry,
    entered, replaces and withdrawn in a history. In gallons they end in _usgal or _impgal in place of _l. Times are
    such as 2026-07-01T08:00Z.
    """
    from routeplan.boats import read_boat
    from routeplan.console import Progress
    from routeplan.fillup_import import FillupImport
    from routeplan.fillup_words import tell_import
    from routeplan.moments import read_zone
    from routeplan.run_words import tell_passed_by

    now = edges.now()
    boats: dict[str, Boat] = {}
    for path in boat or ():
        the_boat = read_boat(path)
        if the_boat.name in boats:
            raise InputError("--boat", "names one boat twice", value=the_boat.name)
        boats[the_boat.name] = the_boat
    clock = None if zone is None else read_zone(zone, "--zone")
    path = edges.named(file, "FILE")
    passed: list[Run] = []
    progress = Progress(f"Importing {path.name}" if yes else f"Looking at {path.name}")
    with contextlib.closing(progress):
        with _reading(log) as (logbook, where):
            given = FillupImport(path, clock, boats, now, sure, tuple if logbook is None else logbook.history)
            if not yes or logbook is None:  # no log is begun for a file that can't be taken
                given.look(progress)
        if yes:
            with open_for_writing(log) as logbook:
                waited = _waiting(logbook)
                given = FillupImport(path, clock, boats, now, sure, logbook.history)
                logbook.append(given.new_entries(progress))
                still = set(_waiting(logbook)) if waited else set()
                passed = [run for run in waited if run not in still]
    if as_json:
        document = {"schema": "routeplan/fillup-import/1", "log": where, "written": yes, **given.document()}
        edges.print_json({**document, "runs_passed_by": len(passed)})
    else:
        edges.say("\n".join([tell_import(given, where, written=yes), *tell_passed_by(passed, clock or "here")]))


@fillups.command("export")
def export(
    file: Annotated[str, typer.Argument(metavar="FILE", help="CSV file to write; - for the screen.")],
    log: LogOption = None,
    name: NameOption = None,
    unit: Annotated[str, typer.Option("--unit", help="Unit of the volumes: l, usgal or impgal.")] = "l",
    history: HistoryOption = False,
) -> None:
    """Write the log as a CSV file, which imports again without loss."""
    from layers.files import replaced_file
    from routeplan.fillup_csv import write_csv
    from routeplan.log_files import check_csv_target
    from routeplan.run_words import tell_left_out

    volume_unit = _unit(unit)
    if file != "-":
        check_csv_target(edges.named(Path(file), "FILE"))
    with contextlib.ExitStack() as stack:
        where, entries, runs = stack.enter_context(_entries(log, None))
        chosen: Callable[[], Iterator[Entry]]
        chosen = (lambda: entries(name)) if history else _standing(where, entries, name)
        if file == "-":
            text = io.StringIO(newline="")
            write_csv(chosen, text, volume_unit, history=history)
            edges.say(text.getvalue().removesuffix("\n"))
            return
        draft = stack.enter_context(replaced_file(Path(file)))
        with draft.open("w", encoding="utf-8", newline="") as out:
            count = write_csv(chosen, out, volume_unit, history=history)
        left = tell_left_out(
            [entry.run for entry in runs() if name in {None, entry.run.boat}], (e.fillup for e in chosen())
        )
    what = "entries" if history else "fill-ups"
    edges.say(f"Wrote {count:,} {what} from {where} to {file}, volumes in {volume_unit}.{left}")


def _standing(
    where: str, entries: Callable[[str | None], Iterator[Entry]], name: str | None
) -> Callable[[], Iterator[Entry]]:
    """Give what holds today, in order of boats and time; one boat's fill-ups at a time are in memory."""
    from routeplan.fillups import FillupLog

    boats = [name] if name is not None else sorted({entry.fillup.boat for entry in entries(None)})
    if name is not None and not FillupLog.of_entries(where, entries(name)).entries:
        FillupLog.of_entries(where, entries(None)).need(name)
    return lambda: (entry for boat in boats for entry in FillupLog.of_entries(where, entries(boat)).entries)


def _waiting(logbook: Logbook) -> tuple[Run, ...]:
    """Tell which runs wait; the fill-ups are read only where there are runs."""
    from routeplan.runs_taken import pending_runs

    runs = [entry.run for entry in logbook.runs()]
    return pending_runs(runs, (entry.fillup for entry in logbook.log().entries)) if runs else ()


def _clock(zone: str | None) -> WallClock:
    from routeplan.moments import read_zone

    return "here" if zone is None else read_zone(zone, "--zone")


def _unit(text: str) -> VolumeUnit:
    units: dict[str, VolumeUnit] = {"l": "l", "usgal": "usgal", "impgal": "impgal"}
    found = units.get(text.strip().casefold())
    if found is None:
        raise InputError(
            "--unit", "is not a unit of volume that is known here", value=text, remedy="write l, usgal or impgal"
        )
    return found


def _wanted(boat: Boat | None, name: str | None) -> str | None:
    """Take the one boat that is asked for from either option."""
    if boat is not None and name is not None and name != boat.name:
        raise InputError("--name", f"is not the boat of --boat, {boat.name!r}", value=name, remedy="give one of them")
    return boat.name if boat is not None else name


def _where(log: str | None) -> str:
    from routeplan.logbook import default_log

    if log is not None and not log.strip():
        raise InputError("--log", "names no file", remedy="give it a name")
    return default_log() if log is None else log


def _writable(log: str | None) -> str:
    from routeplan.log_files import is_csv

    where = _where(log)
    if is_csv(where):
        remedy = "name a database file, and take the CSV file in with routeplan fillup import"
        raise InputError(where, "is a CSV file, and entries are kept in a database", remedy=remedy)
    return where


def _opened(log: str | None) -> Logbook:
    from routeplan.logbook import open_logbook

    return open_logbook(_writable(log))


def open_for_writing(log: str | None) -> Logbook:
    """Open a log to add to it; it is made where it isn't there.

    Parameters
    ----------
    log
        As given; None for the default one.

    Returns
    -------
    The log.
    """
    from routeplan.logbook import open_logbook

    return open_logbook(_writable(log), create=True)


@contextlib.contextmanager
def _reading(log: str | None) -> Iterator[tuple[Logbook | None, str]]:
    """Open a log that need not be there, for to look at it makes none; beside it, where it is, without secrets."""
    from routeplan.logbook import NoLogError, open_logbook

    try:
        logbook = open_logbook(_writable(log))
    except NoLogError as error:
        yield None, error.where
        return
    with logbook:
        yield logbook, logbook.where


@contextlib.contextmanager
def _entries(
    log: str | None, zone: WallClock | None
) -> Iterator[tuple[str, Callable[[str | None], Iterator[Entry]], Callable[[], tuple[RunEntry, ...]]]]:
    """Give what reads all entries of a log, a CSV file or a database, of one boat or of all; and its runs."""
    from routeplan.log_files import entries_of_csv, is_csv
    from routeplan.logbook import open_logbook

    where = _where(log)
    if is_csv(where):
        rows = functools.partial(entries_of_csv, Path(where), zone=zone)
        yield where, lambda boat: (e for e in rows() if boat in {None, e.fillup.boat}), tuple
        return
    with open_logbook(where) as logbook:
        yield logbook.where, logbook.history, logbook.runs
