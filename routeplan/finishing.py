"""A passage that has been run, turned into what the log learns from: runs, and what fill-ups on the way still lack.

A passage is cut at the fill-ups that the log has of it. Each run between two of them gets a distance: by a recorded
track, as typed, or by the plan where the run took about as long as planned. A run that a fill-up has closed gives that
fill-up what it lacks, as a correction; the last one waits for the next fill-up. Speeds are those of the plan's legs,
not the mean of the whole: a mean over slow harbours and fast water lies on the hump, where no boat runs and the burn
table tells nothing. Where that can't be said, less is entered, and what is missing is told.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from layers.errors import InputError
from routeplan.fillups import FillupLog
from routeplan.gpx_runs import cut_runs
from routeplan.logbook import NewEntry
from routeplan.metered_runs import SAME_FILL, ask_about_dial, ask_about_fills, count_meters, fuel_ratio
from routeplan.moments import AHEAD, shown_gap, write_moment
from routeplan.plan_hops import find_hops
from routeplan.run_distances import TypedRun, is_whole, measure
from routeplan.runs import Run, standing_runs
from routeplan.runs_taken import RUN_FIELDS, missing_fields, pending_runs, take_runs
from routeplan.stops_made import find_between

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.boats import Boat
    from routeplan.fillups import Entry, Fillup, Sea
    from routeplan.gpx_runs import TrackRuns
    from routeplan.logbook import Logbook
    from routeplan.metered_runs import Counted
    from routeplan.run_distances import Measured
    from routeplan.runs import RunEntry
    from routeplan.saved_plans import SavedPlan
    from routeplan.stops_made import Between

__all__ = ["Correction", "Finish", "Finished", "enter_finish", "finish", "passage_key"]

_LONG_TIMES, _LONG_H = 3.0, 6.0  # a run that took so many times longer than planned, and so much, ended another day
_NOTHING: dict[str, Any] = {name: () if name == "speeds_run" else None for name in RUN_FIELDS}


@dataclass(frozen=True)
class Finish:
    """What is typed when a passage is over.

    Parameters
    ----------
    arrived
        When she was there.
    at
        Where, if not at the plan's destination.
    departed
        When she left; None for the plan's departure.
    meters_l
        [l] What the dials show; None where they weren't read.
    distance_nmi, hours_h
        [nmi, h] Distance and engine hours since the last fill-up, or since the departure where there was none; None to
        take them from track or plan.
    tracks
        Recorded tracks of the passage.
    sea, people, note
        As in a fill-up.
    sure
        Whether the figures are right though they look like a slip.
    """

    arrived: datetime
    at: str | None = None
    departed: datetime | None = None
    meters_l: tuple[float, ...] | None = None
    distance_nmi: float | None = None
    hours_h: float | None = None
    tracks: tuple[Path, ...] = ()
    sea: Sea | None = None
    people: int | None = None
    note: str = ""
    sure: bool = False


@dataclass(frozen=True)
class Correction:
    """A fill-up in the log that gets what it lacked.

    Parameters
    ----------
    entry
        As it stands.
    fillup
        As it will.
    values
        What it gets, by field.
    """

    entry: Entry
    fillup: Fillup
    values: Mapping[str, Any]


@dataclass(frozen=True)
class Finished:
    """What a passage leaves in the log.

    Parameters
    ----------
    runs
        In order; each ends at a fill-up or where the passage ended.
    corrections
        Fill-ups that get what they lacked.
    waiting
        Those of the runs that wait for the next fill-up.
    notes
        What couldn't be told, in words.
    run_names, entry_names
        What runs and corrections are called in the log; empty where they aren't entered yet.
    """

    runs: tuple[Run, ...]
    corrections: tuple[Correction, ...]
    waiting: tuple[Run, ...]
    notes: tuple[str, ...]
    run_names: tuple[str, ...] = ()
    entry_names: tuple[str, ...] = ()


def passage_key(saved: SavedPlan) -> str:
    """Tell a passage from any other: what was noted on the way and since doesn't count.

    Parameters
    ----------
    saved
        The plan.

    Returns
    -------
    64 hexadecimal digits.
    """
    parts = saved.model_dump(mode="json", by_alias=True, include={"saved", "trip", "plan"})
    text = json.dumps([saved.boat.name, parts], sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def finish(
    saved: SavedPlan, entries: Sequence[Entry], history: Sequence[RunEntry], done: Finish, now: datetime
) -> Finished:
    """Turn a passage that has been run into runs and corrections; nothing is entered yet.

    Parameters
    ----------
    saved
        The plan that was followed.
    entries
        The fill-ups in the log that hold.
    history
        The runs in the log, those that were withdrawn and their withdrawals as well: what fill-ups took from a passage
        that was withdrawn is taken anew.
    done
        What is typed.
    now
        The moment by the clock.

    Returns
    -------
    What to enter.

    Raises
    ------
    InputError
        The passage was entered before, a moment or a figure can't be or looks like a slip, a track can't be read, or
        nobody can tell how far she ran since the last fill-up.
    """
    key, boat = passage_key(saved), saved.boat
    runs = standing_runs(history)
    gone = [entry.run for entry in history if entry.withdrawn and entry.run.passage_key == key]
    _refuse_again(runs, key)
    departed = _departure(saved, done, now)
    own = sorted((e for e in entries if e.fillup.boat == boat.name), key=lambda e: (e.fillup.when, e.entered))
    spans = find_between(saved, own, departed, done.arrived, done.at)
    if not spans:
        raise InputError("--arrived", "no time is left for a run since her last fill-up", remedy="check the moment")
    _refuse_unwritten(saved, own, departed, done)
    pieces = [piece for span in spans for piece in _cut(span)]
    # Alongside she lies still, which a recording tells better than the fill-up's moment
    moments = [(p.began, p.ended if p.closed_by is None else max(p.ended, p.closed_by.fillup.when)) for p in pieces]
    tracks = cut_runs(done.tracks, boat, moments) if done.tracks else (None,) * len(pieces)
    counts = count_meters(saved, pieces, done.meters_l)
    made: list[Run] = []
    notes: list[str] = []
    for piece, track, counted in zip(pieces, tracks, counts, strict=True):
        typed = TypedRun(may_be_late=piece is pieces[0] and done.departed is None and saved.before is None)
        if piece is pieces[-1]:
            typed = replace(typed, distance_nmi=done.distance_nmi, hours_h=done.hours_h, may_ask=not done.sure)
        if not done.sure:
            _ask(saved, piece, track, counted, typed)
        found = measure(piece, boat, track, fuel_ratio(saved, piece, counted.metered_l), typed)
        notes += [*_skipped(piece), *filter(None, [counted.note]), *found.notes]
        made.append(_run(saved, piece, found, counted, done, key))
    held = [*(entry.run for entry in runs if entry.run.boat == boat.name), *made]
    docks = {p.closed_by.entry: p.finish for p in spans if p.closed_by and p.finish in _stops(saved)}
    corrections, told = _corrections(boat, own, held, made, gone, docks)
    waiting = pending_runs(made, (entry.fillup for entry in own))
    return Finished(tuple(made), corrections, waiting, tuple(dict.fromkeys([*notes, *told])))


def enter_finish(logbook: Logbook, saved: SavedPlan, done: Finish, now: datetime) -> Finished:
    """Enter a passage that has been run: all of it or nothing.

    Parameters
    ----------
    logbook
        The log.
    saved
        The plan that was followed.
    done
        What is typed.
    now
        The moment by the clock.

    Returns
    -------
    What was entered, with its names in the log.

    Raises
    ------
    InputError
        As for `finish`, or the log can't take it; nothing was added.
    """
    name = saved.boat.name

    def held() -> tuple[tuple[Entry, ...], tuple[RunEntry, ...]]:
        entries = FillupLog.of_entries(logbook.where, logbook.history(name)).entries
        return entries, logbook.runs(name, withdrawn=True)

    seen = held()
    finished = finish(saved, *seen, done, now)

    def make() -> tuple[list[NewEntry], tuple[Run, ...]]:
        nonlocal finished
        today = held()
        if today != seen:  # somebody wrote to the log while tracks were read
            finished = finish(saved, *today, done, now)
        new = [NewEntry(each.fillup, each.entry.entry, entered=now) for each in finished.corrections]
        return new, finished.runs

    entry_names, run_names = logbook.settle(make)
    notes = finished.notes
    for correction, new in zip(finished.corrections, entry_names, strict=True):  # a remedy names what holds now
        notes = tuple(note.replace(correction.entry.entry, new) for note in notes)
    return replace(finished, entry_names=entry_names, run_names=run_names, notes=notes)


def _refuse_again(runs: Sequence[RunEntry], key: str) -> None:
    again = [entry for entry in runs if entry.run.passage_key == key]
    if again:
        names = ", ".join(entry.entry for entry in again)
        when = write_moment(again[0].entered.replace(second=0, microsecond=0))
        raise InputError(
            "--arrived",
            f"this passage is in the log already, entered {when} as {names}; nothing was added",
            remedy=f"if it is wrong there, take it out first: routeplan fillup withdraw {again[0].entry}",
        )


def _departure(saved: SavedPlan, done: Finish, now: datetime) -> datetime:
    planned = saved.plan.legs[0].depart if saved.plan.legs else saved.plan.depart
    departed = done.departed or (planned if saved.before is None else saved.before.began)
    if done.arrived > now + AHEAD:
        ahead = shown_gap(done.arrived - now)
        raise InputError("--arrived", f"lies {ahead} ahead", value=write_moment(done.arrived), remedy="check the day")
    if departed >= done.arrived:
        by_plan = "" if done.departed else ", as the plan has it"
        raise InputError(
            "--arrived",
            f"is not after the departure, {write_moment(departed)}{by_plan}",
            value=write_moment(done.arrived),
            remedy="say when she left with --departed, or check the day",
        )
    return departed


def _refuse_unwritten(saved: SavedPlan, own: Sequence[Entry], departed: datetime, done: Finish) -> None:
    """Ask for a fill that was reported underway and isn't in the log: the meters were reset there."""
    for report in saved.reports:
        is_fill = report.filled or report.took_l is not None
        if not is_fill or not departed < report.when <= done.arrived or done.sure:
            continue
        if not any(abs(entry.fillup.when - report.when) <= SAME_FILL for entry in own):
            raise InputError(
                "--arrived",
                f"a fill was reported underway, {write_moment(report.when)}, and the log has no fill-up of it",
                remedy="enter it first, with fillup add --earlier and --when; or add --sure: there was none",
            )


def _ask(saved: SavedPlan, piece: Between, track: TrackRuns | None, counted: Counted, typed: TypedRun) -> None:
    """Ask about a run that looks like a slip: it ended another day, or fill-ups of it aren't in the log."""
    planned_h = piece.whole_h if piece.legs else (saved.plan.arrive - saved.plan.depart).total_seconds() / 3600
    if typed.may_ask and piece.elapsed_h > max(_LONG_TIMES * planned_h, planned_h + _LONG_H):
        took, planned = (shown_gap(timedelta(hours=hours)) for hours in (piece.elapsed_h, planned_h))
        raise InputError(
            "--arrived",
            f"from {piece.start} to {piece.finish} she would have taken {took}, and {planned} were planned",
            value=write_moment(piece.ended),
            remedy="write the day too, such as 2026-07-01T15:47; say when she left with --departed; or add --sure",
        )
    if typed.distance_nmi is not None:
        return
    by = piece.opened_by
    begins_l = find_hops(saved.plan, saved.boat, saved.trip.aboard)[0].level_l
    begins_l = begins_l + piece.before_l if by is None else max(saved.boat.tank.full_mark_l, by.fillup.pumped_l)
    ask_about_fills(saved, piece, counted.metered_l, begins_l)
    burn_l = None
    if track is not None and is_whole(piece, track):
        fastest_kn = saved.boat.fastest_kn
        burn_l = sum(saved.boat.burn_lph(min(max(r.speed_kn, 0.1), fastest_kn)) * r.time_h for r in track.speeds_run)
    ask_about_dial(saved, piece, counted.metered_l, burn_l)


def _cut(span: Between) -> list[Between]:
    """Cut a run at fill-ups that the plan knows nothing of; how far lies on either side only a track can tell."""
    if not span.cut_at:
        return [span]
    places = [(e.fillup.dock or "a fill-up", e.fillup.when, e) for e in span.cut_at]
    pieces = []
    start, began, opened = span.start, span.began, span.opened_by
    for name, when, entry in places:
        pieces.append(replace(span, start=start, finish=name, began=began, ended=when, opened_by=opened))
        pieces[-1] = replace(pieces[-1], closed_by=entry, legs=(), before_nmi=0.0, before_l=0.0, before_h=0.0)
        start, began, opened = name, when, entry
    last = replace(span, start=start, began=began, opened_by=opened, legs=())
    return [*pieces, replace(last, before_nmi=0.0, before_l=0.0, before_h=0.0)]


def _skipped(piece: Between) -> list[str]:
    return [
        f"the log has no fill-up at {dock}: she is taken to have gone past it; if she filled there, take the run out "
        "again with fillup withdraw, enter the fill-up with --earlier, and then the passage"
        for dock in piece.skipped
    ]


def _run(saved: SavedPlan, piece: Between, found: Measured, counted: Counted, done: Finish, key: str) -> Run:
    is_open = piece.closed_by is None
    try:
        return Run(
            boat=saved.boat.name,
            began=found.began or piece.began,
            ended=piece.ended,
            start=piece.start,
            finish=piece.finish,
            distance_nmi=None if found.distance_nmi is None else round(found.distance_nmi, 3),
            time_h=None if found.time_h is None else round(found.time_h, 3),
            metered_l=counted.metered_l,
            shows_l=counted.shows_l,
            speeds_run=found.speeds_run,
            known_by=found.known_by,
            sea=done.sea,
            people=done.people,
            passage=f"{saved.trip.start if saved.before is None else saved.before.start} to {saved.trip.finish}"[:500],
            passage_key=key,
            note=done.note if is_open else "",
        )
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = str(first["loc"][0]) if first["loc"] else "run"
        names = {"note": "--note", "people": "--people", "distance_nmi": "--distance", "time_h": "--hours"}
        said = str(first["msg"]).removeprefix("Value error, ")
        raise InputError(names.get(field, field), said[:1].lower() + said[1:], value=first["input"]) from error


def _corrections(
    boat: Boat,
    own: Sequence[Entry],
    held: Sequence[Run],
    made: Sequence[Run],
    gone: Sequence[Run],
    docks: Mapping[str, str],
) -> tuple[tuple[Correction, ...], list[str]]:
    """Give fill-ups that a new run ends at what they lack, or have from this passage as it was entered before."""
    found, notes = [], []
    for before, entry in zip([None, *own], own, strict=False):
        fillup = entry.fillup
        last = None if before is None else before.fillup
        if not any(run.middle <= fillup.when and (last is None or run.middle > last.when) for run in made):
            continue
        plain = fillup.model_copy(update=_NOTHING)
        was = take_runs(plain, last, gone, boat, frozenset(RUN_FIELDS)).values
        again = {name: nothing for name, nothing in _NOTHING.items() if name in was and _same(fillup, name, was)}
        bare = fillup.model_copy(update=again)
        taken = take_runs(bare, last, held, boat, missing_fields(bare))
        notes += [f"fill-up {entry.entry}: {note}" for note in taken.notes]
        given = dict(taken.values)
        if entry.entry in docks and fillup.dock in {"", "" if last is None else last.dock} - {docks[entry.entry]}:
            given["dock"] = docks[entry.entry]  # it was left out, or taken over from the fill-up before
        new = bare.model_copy(update=given)
        if new != fillup:
            values = {name: value for name, value in given.items() if getattr(fillup, name) != value}
            found.append(Correction(entry, new, values))
    return tuple(found), notes


def _stops(saved: SavedPlan) -> frozenset[str]:
    return frozenset(stop.dock for stop in saved.plan.stops)


def _same(fillup: Fillup, name: str, was: Mapping[str, Any]) -> bool:
    return bool(getattr(fillup, name) == was[name])
