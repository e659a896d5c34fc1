"""A fill-up as it is typed at the dock: three numbers, and defaults for all else.

What was left out is taken from where a skipper would take it (the clock, the boat's last fill-up, the entry that is
corrected), and said, so that the echo shows what was understood.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from layers.errors import InputError
from routeplan.fillup_checks import check_fillup, explain, hints
from routeplan.fillups import SEAS, SINCE, Fillup
from routeplan.instrument_texts import (
    LEADING_NUMBER,
    UNREAD,
    read_gauge,
    read_meters,
    read_price_per_l,
    read_typed_volume,
)
from routeplan.moments import read_moment, shown_gap
from routeplan.places import nearest_names
from routeplan.quantities import read_distance_nmi, read_duration_h
from routeplan.runs_taken import likely_dock, missing_fields, runs_between, shown_runs, take_runs

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from routeplan.boats import Boat
    from routeplan.fillups import Entry, FillupLog, Sea
    from routeplan.moments import WallClock
    from routeplan.quantities import VolumeUnit
    from routeplan.runs import Run

__all__ = [
    "NAMES",
    "TypedFillup",
    "Understood",
    "find_entry",
    "read_engine_hours_h",
    "read_people",
    "read_sea",
    "understand",
]

NAMES = {
    "boat": "--boat",
    "meter_used_l": "METER",
    "meter2_used_l": "METER, second figure",
    "gauge_before_l": "GAUGE",
    "pumped_l": "PUMPED",
    "when": "--when",
    "dock": "--dock",
    "filled_to_full": "--part",
    "meter_reset": "--not-reset",
    "since": "--since",
    "distance_run_nmi": "--distance",
    "engine_hours_h": "--hours",
    "speeds_run": "--track",
    "sea": "--sea",
    "people": "--people",
    "price_per_l": "--price",
    "note": "--note",
}
"""What an error calls each field of a fill-up: where it was typed."""

_AS_BEFORE = "="
_SAME_NMI = 0.1  # nmi: distances are told to a tenth
_TWICE = timedelta(hours=12)  # the same three numbers within this long are one fill-up, entered twice


@dataclass(frozen=True)
class TypedFillup:
    """What was typed, as texts; None where nothing was.

    Parameters
    ----------
    meter, gauge, pumped
        The three numbers: ``46.8``, ``177l``; ``-`` where one was not read; ``=`` for that of the entry that is
        replaced. Two meters as ``22.7+24.1``; a gauge also as a part of the tank, ``3/8`` or ``40%``.
    when, dock
        The options of these names; ``-`` takes out what the replaced entry has, here and below.
    full, reset
        Whether the tank was filled to the full mark, and the meter reset.
    since, distance, hours
        The options of these names.
    tracks
        Recorded tracks of the running before.
    sea, people, price, note
        The options of these names.
    """

    meter: str | None = None
    gauge: str | None = None
    pumped: str | None = None
    when: str | None = None
    dock: str | None = None
    full: bool | None = None
    reset: bool | None = None
    since: tuple[str, ...] | None = None
    distance: str | None = None
    hours: str | None = None
    tracks: tuple[Path, ...] = ()
    sea: str | None = None
    people: str | None = None
    price: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Understood:
    """What was made of it.

    Parameters
    ----------
    fillup
        The fill-up.
    before
        The boat's fill-up before it; None where there is none.
    replaces
        The entry that it replaces; None for a new one.
    assumed
        Where a field was taken from that was not typed as it stands, by field.
    notes
        What is odd about it, and what was left out of its tracks and of the runs before it.
    runs
        The runs in the log that something was taken from.
    """

    fillup: Fillup
    before: Fillup | None
    replaces: Entry | None
    assumed: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    runs: tuple[Run, ...] = ()


def understand(
    typed: TypedFillup,
    boat: Boat,
    log: FillupLog,
    now: datetime,
    *,
    clock: WallClock,
    replaces: Entry | None = None,
    earlier: bool = False,
    sure: bool = False,
    runs: Sequence[Run] = (),
) -> Understood:
    """Make a fill-up of what was typed, and refuse what can't be or looks like a slip.

    Parameters
    ----------
    typed
        What was typed.
    boat
        Whose it is; figures without a unit are in her display units.
    log
        Her fill-ups so far.
    now
        The moment by the clock.
    clock
        Whose clock on the wall a time without an offset was read from.
    replaces
        The entry that is corrected: what was not typed stays as it is there.
    earlier
        Whether it may lie before her last fill-up.
    sure
        Whether the figures are right though they look like a slip.
    runs
        Her runs in the log: what was not typed of distance, hours, speeds, sea and people is taken from those since the
        fill-up before. A correction takes nothing from them.

    Returns
    -------
    The fill-up, and where all of it was taken from.

    Raises
    ------
    InputError
        The first thing that is wrong; says which number or option.
    """
    old = None if replaces is None else replaces.fillup
    others = [e for e in log.of(boat.name) if replaces is None or e.entry != replaces.entry]
    values, written = _three_numbers(typed, boat, old)
    assumed: dict[str, str] = {}
    if values.get("gauge_before_l") is not None and "gauge_before_l" not in written:
        assumed["gauge_before_l"] = f"{typed.gauge} of the tank"
    if typed.when is not None:
        values["when"] = read_moment(typed.when, "--when", clock, now=now)
    elif old is None:
        values["when"], assumed["when"] = now.replace(microsecond=0), "now"
    values |= _options(typed, boat)
    preceding = [e.fillup for e in others if "when" not in values or e.fillup.when <= values["when"]]
    last = others[-1].fillup if others else None
    notes: tuple[str, ...] = ()
    if old is None and "dock" not in values and last is not None:
        between = runs_between(values["when"], preceding[-1] if preceding else None, runs, boat.name)
        known = [(preceding[-1] if preceding else last).dock, *(entry.fillup.dock for entry in reversed(others))]
        dock, whence = likely_dock(known, between, clock)
        if dock:
            values["dock"], assumed["dock"] = dock, whence
        notes = () if dock or not whence else (whence,)
    kept = {} if old is None else {name: getattr(old, name) for name in Fillup.model_fields}
    fillup = _built({**kept, "boat": boat.name, **values})
    preceding = [e.fillup for e in others if e.fillup.when <= fillup.when]
    before = preceding[-1] if preceding else None
    if typed.tracks:
        fillup, found = _with_tracks(fillup, typed, boat, before)
        notes = (*notes, *found)
    taken_runs: tuple[Run, ...] = ()
    if old is None:
        taken = take_runs(fillup, before, runs, boat, missing_fields(fillup) - _told(typed))
        taken_runs, notes = taken.runs, (*notes, *taken.notes)
        fillup = _built({**{name: getattr(fillup, name) for name in Fillup.model_fields}, **taken.values})
        assumed |= dict.fromkeys(taken.values, f"from {shown_runs(taken.runs, clock)}" if taken.values else "")
        notes = (*notes, *_counted_twice(fillup, taken_runs, others))
    _refuse_twice(fillup, others, now, sure=sure or replaces is not None)
    in_order = earlier or (old is not None and "when" not in values)
    check_fillup(
        fillup,
        boat,
        before if in_order or last is None else last,
        now,
        sure=sure,
        written=written,
        names=NAMES,
        typed={name: text for name, text in _typed_texts(typed).items() if text is not None},
    )
    return Understood(fillup, before, replaces, assumed, (*notes, *hints(fillup, boat, before)), taken_runs)


def read_engine_hours_h(text: str) -> float:
    """[h] Read engine hours.

    Parameters
    ----------
    text
        Such as ``2.4`` or ``2h24``.

    Returns
    -------
    Hours.

    Raises
    ------
    InputError
        It can't be read.
    """
    bare = LEADING_NUMBER.fullmatch(text.strip())
    return read_duration_h(f"{text.strip()}h" if bare else text, "--hours")


def read_sea(text: str) -> Sea:
    """Read how the sea was.

    Parameters
    ----------
    text
        One of the words.

    Returns
    -------
    The word.

    Raises
    ------
    InputError
        It isn't known; names those that are.
    """
    word = " ".join(text.casefold().split())
    for sea in SEAS:
        if sea == word:
            return sea
    raise InputError("--sea", "is not known here", value=text, remedy=f"write {', '.join(SEAS[:-1])} or {SEAS[-1]}")


def read_people(text: str) -> int:
    """Read how many were aboard.

    Parameters
    ----------
    text
        A whole number.

    Returns
    -------
    The number.

    Raises
    ------
    InputError
        It is none.
    """
    if not re.fullmatch(r"[0-9]{1,6}", text.strip()):
        raise InputError("--people", "is not a whole number", value=text, remedy="write how many were aboard")
    return int(text)


def find_entry(name: str, log: FillupLog, history: Sequence[Entry], where: str) -> Entry:
    """Find the entry that is to be replaced or withdrawn.

    Parameters
    ----------
    name
        Its name, or ``last`` for the latest fill-up in the log.
    log
        What holds today: one boat's, where ``last`` is asked for.
    history
        All entries, for what was replaced already.
    where
        The option that it came from.

    Returns
    -------
    The entry; it holds today.

    Raises
    ------
    InputError
        There is none of this name, or it was replaced or withdrawn already.
    """
    wanted = name.strip().casefold()
    if wanted == "last":
        if not log.entries:
            raise InputError(where, "there is no fill-up yet", value=name, remedy="add one with routeplan fillup add")
        return max(log.entries, key=lambda e: (e.fillup.when, e.entered))
    for entry in log.entries:
        if entry.entry == wanted:
            return entry
    by = next((entry for entry in history if entry.replaces == wanted), None)
    if by is not None:
        what = "withdrawn" if by.withdrawn else "replaced"
        remedy = "add it anew if it was one" if by.withdrawn else f"correct {by.entry}"
        raise InputError(where, f"this entry was {what} by {by.entry} already", value=name, remedy=remedy)
    withdrawal = next((entry for entry in history if entry.entry == wanted), None)
    if withdrawal is not None:
        raise InputError(where, "this entry is a withdrawal, no fill-up", value=name, remedy="add the fill-up anew")
    near = nearest_names(wanted, [entry.entry for entry in log.entries], 2) if wanted else ()
    remedy = f"did you mean {' or '.join(near)}?" if near else "routeplan fillup list shows their names"
    raise InputError(where, "there is no entry of this name", value=name, remedy=remedy)


def _three_numbers(typed: TypedFillup, boat: Boat, old: Fillup | None) -> tuple[dict[str, Any], dict[str, VolumeUnit]]:
    """Read the three numbers; what is to stay as it was is left out."""
    values: dict[str, Any] = {}
    written: dict[str, VolumeUnit] = {}
    given = {"METER": typed.meter, "GAUGE": typed.gauge, "PUMPED": typed.pumped}
    for place, text in given.items():
        as_before = text is None or text.strip() == _AS_BEFORE
        if as_before and old is None:
            remedy = "write all three in this order, - for one that was not read: routeplan fillup add 46.8 44 47.1"
            problem = "is missing" if text is None else "there is no entry to take it from"
            raise InputError(place, problem, value=text, remedy=remedy)
        if as_before or text is None:
            continue
        if place == "METER":
            shown, unit = read_meters(text, boat, "METER")
            values["meter_used_l"], values["meter2_used_l"] = shown[0], shown[1] if len(shown) > 1 else None
            written["meter_used_l"] = unit
        elif text.strip() == UNREAD:
            if place == "PUMPED":
                raise InputError(place, "can't be left out", value=text, remedy="write what the pump delivered")
            values["gauge_before_l"] = None
        elif place == "GAUGE":
            values["gauge_before_l"], gauge_unit = read_gauge(text, boat, "GAUGE")
            if gauge_unit is not None:
                written["gauge_before_l"] = gauge_unit
        else:
            values["pumped_l"], written["pumped_l"] = read_typed_volume(text, place, boat)
    return values, written


def _options(typed: TypedFillup, boat: Boat) -> dict[str, Any]:
    """Read the options that were given; ``-`` takes a value out."""
    values: dict[str, Any] = {}
    readers: dict[str, tuple[str, str | None, Callable[[str], object]]] = {
        "dock": ("dock", "", str),
        "distance": ("distance_run_nmi", None, lambda text: read_distance_nmi(text, "--distance")),
        "hours": ("engine_hours_h", None, read_engine_hours_h),
        "sea": ("sea", None, read_sea),
        "people": ("people", None, read_people),
        "price": ("price_per_l", None, lambda text: read_price_per_l(text, boat, "--price")),
        "note": ("note", "", str),
    }
    for name, (own, nothing, read) in readers.items():
        text = getattr(typed, name)
        if text is not None:
            values[own] = nothing if text.strip() == UNREAD else read(text)
    if typed.since is not None:
        values["since"] = _since(typed.since)
    if typed.full is not None:
        values["filled_to_full"] = typed.full
    if typed.reset is not None:
        values["meter_reset"] = typed.reset
    return values


def _since(words: Sequence[str]) -> tuple[str, ...]:
    given = [word for text in words for word in re.sub(r"[;,\s]+", " ", text.casefold()).split()]
    if given in ([UNREAD], ["none"]):
        return ()
    for word in given:
        if word not in SINCE:
            near = nearest_names(word, SINCE, 1)
            remedy = f"did you mean {near[0]}?" if near else f"write {', '.join(SINCE[:-1])} or {SINCE[-1]}"
            raise InputError("--since", "is not known here", value=word, remedy=remedy)
    return tuple(dict.fromkeys(given))


def _built(values: dict[str, Any]) -> Fillup:
    try:
        return Fillup(**values)
    except ValidationError as error:
        fault = explain(error)[0]
        value = values.get(fault.field)
        where = NAMES.get(fault.field, fault.field)
        raise InputError(where, fault.problem, value=value, remedy=fault.remedy) from error


def _with_tracks(
    fillup: Fillup, typed: TypedFillup, boat: Boat, before: Fillup | None
) -> tuple[Fillup, tuple[str, ...]]:
    """Take the running from tracks; a distance that was typed counts more than theirs."""
    from routeplan.gpx_runs import read_runs  # noqa: PLC0415  # heavy: only where a track is given

    runs = read_runs(typed.tracks, boat, after=None if before is None else before.when, until=fillup.when)
    found: dict[str, Any] = {"speeds_run": runs.speeds_run}
    if typed.distance is None:
        found["distance_run_nmi"] = round(runs.distance_nmi, 3)
    return _built({**{name: getattr(fillup, name) for name in Fillup.model_fields}, **found}), runs.notes


def _told(typed: TypedFillup) -> set[str]:
    """Tell which fields of the running were typed, if only to be left empty: runs don't fill them."""
    given = {
        "distance_run_nmi": typed.distance,
        "engine_hours_h": typed.hours,
        "sea": typed.sea,
        "people": typed.people,
    }
    told = {name for name, text in given.items() if text is not None}
    if typed.tracks:
        told |= {"distance_run_nmi", "engine_hours_h", "speeds_run"}
    if typed.distance is not None and typed.distance.strip() == UNREAD:
        told |= {"engine_hours_h", "speeds_run"}
    return told


def _counted_twice(fillup: Fillup, taken: Sequence[Run], others: Sequence[Entry]) -> tuple[str, ...]:
    """Say where a fill-up that is entered late takes runs which the one after it has taken already."""
    after = next((entry for entry in others if entry.fillup.when > fillup.when), None)
    if not taken or fillup.distance_run_nmi is None or after is None or after.fillup.distance_run_nmi is None:
        return ()
    left_nmi = after.fillup.distance_run_nmi - fillup.distance_run_nmi
    if left_nmi < -_SAME_NMI:
        return ()
    remedy = f"routeplan fillup add --replaces {after.entry} --distance {max(left_nmi, 0.0):.1f}nmi"
    told = f"the fill-up after this one, {after.entry}, may have counted the same running: if it did, correct it"
    return (f"{told} with {remedy}",)


def _refuse_twice(fillup: Fillup, others: Sequence[Entry], now: datetime, *, sure: bool) -> None:
    """Refuse a second fill-up of one moment, and the same numbers again."""
    figures = ("meter_used_l", "meter2_used_l", "gauge_before_l", "pumped_l")
    for entry in others:
        if entry.fillup.when == fillup.when:
            problem = f"there is a fill-up of this moment, entry {entry.entry}"
            raise InputError("--when", problem, remedy=f"correct it with --replaces {entry.entry}")
    if sure:
        return
    for entry in others:
        alike = all(getattr(entry.fillup, name) == getattr(fillup, name) for name in figures)
        if alike and abs(entry.fillup.when - fillup.when) < _TWICE:
            ago = shown_gap(now - entry.entered)
            problem = f"the same numbers were entered {ago} ago, as {entry.entry}; nothing was added"
            raise InputError("METER GAUGE PUMPED", problem, remedy="add --sure if it was another fill-up")


def _typed_texts(typed: TypedFillup) -> dict[str, str | None]:
    return {
        "meter_used_l": typed.meter,
        "gauge_before_l": typed.gauge,
        "pumped_l": typed.pumped,
        "when": typed.when,
    }
