"""What a fill-up takes from the runs before it, where nobody typed it: distance, hours, speeds, sea and people.

The meter is the witness that nothing is missing. Where it counted more than the runs in the log account for, some
running was never entered: a distance that is too short would teach an economy that is too bad, so none is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from routeplan.burn_fit import table_burn_l
from routeplan.closures import read_use
from routeplan.fillups import SpeedRun
from routeplan.moments import shown_moment
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.fillups import Fillup
    from routeplan.moments import WallClock
    from routeplan.runs import Run

__all__ = [
    "RUN_FIELDS",
    "TOLD_FUEL",
    "Taken",
    "is_named",
    "likely_dock",
    "missing_fields",
    "pending_runs",
    "runs_between",
    "shown_runs",
    "take_runs",
]

RUN_FIELDS = ("distance_run_nmi", "engine_hours_h", "speeds_run", "sea", "people")
"""The fields of a fill-up that runs can give."""

TOLD_FUEL = (0.7, 1.6)
"""Burnt against planned: beyond it a fill-up or some running is missing, and the distance would teach a wrong burn.

Practice, ours: a boat and her meter are off by 20 % together, a foul bottom and a head sea by 40 % more at the worst.
"""

_CUT = timedelta(minutes=15)  # a moment typed from memory is off by less; a run that goes on for longer was cut
_MISSED_SHARE, _MISSED_L = 0.03, 1.0  # of what was metered, and l: idling and moving a berth; practice, ours
_SAME_DISTANCE = 0.05  # share: a typed distance this near to the runs' is of the same running
_SAME_HOURS = 0.15  # share: hours are logged to a tenth, and engines idle
_MOVED = {"distance_run_nmi", "engine_hours_h", "speeds_run"}
_UNTOLD = {"reset-in-mid-tank", "meter-replaced", "meter2-replaced"}  # the meter didn't see all of the run
_SHORTEST = 4  # letters: a shorter part of a name is part of too many
_LEAST_L = 5.0  # l: a ratio of smaller volumes says nothing


@dataclass(frozen=True)
class Taken:
    """What a fill-up takes.

    Parameters
    ----------
    values
        By field of a fill-up.
    runs
        The runs that it is from.
    notes
        What wasn't taken and why, in words.
    """

    values: Mapping[str, Any]
    runs: tuple[Run, ...] = ()
    notes: tuple[str, ...] = ()


def missing_fields(fillup: Fillup) -> frozenset[str]:
    """Tell what a fill-up lacks that runs could give.

    Parameters
    ----------
    fillup
        The fill-up.

    Returns
    -------
    Names of its fields.
    """
    return frozenset(name for name in RUN_FIELDS if getattr(fillup, name) in {None, ()})


def pending_runs(runs: Iterable[Run], fillups: Iterable[Fillup]) -> tuple[Run, ...]:
    """Tell which runs wait for a fill-up.

    Parameters
    ----------
    runs
        Those that hold.
    fillups
        Those that hold.

    Returns
    -------
    Each boat's runs after her last fill-up, in order of time.
    """
    last: dict[str, datetime] = {}
    for fillup in fillups:
        last[fillup.boat] = max(fillup.when, last.get(fillup.boat, fillup.when))
    return tuple(
        sorted(
            (run for run in runs if run.boat not in last or run.middle > last[run.boat]),
            key=lambda run: (run.boat, run.began),
        )
    )


def runs_between(when: datetime, before: Fillup | None, runs: Iterable[Run], boat: str) -> tuple[Run, ...]:
    """Tell which runs a fill-up ends.

    Parameters
    ----------
    when
        When it was made.
    before
        The boat's fill-up before it; None where there is none.
    runs
        In any order; those of other boats are left aside.
    boat
        The boat's name.

    Returns
    -------
    In order of time.
    """
    own = sorted((run for run in runs if run.boat == boat), key=lambda run: run.began)
    return tuple(run for run in own if run.middle <= when and (before is None or run.middle > before.when))


def is_named(dock: str, name: str) -> bool:
    """Tell whether a dock is a place's by its name, perhaps shortened.

    Parameters
    ----------
    dock, name
        Capitals and blanks don't count.

    Returns
    -------
    Whether it is.

    Examples
    --------
    >>> is_named("north pump", "North Pump"), is_named("North Pump", "North"), is_named("North Pump", "Nor")
    (True, True, False)
    """
    one, other = (" ".join(text.casefold().split()) for text in (dock, name))
    return one == other or (min(len(one), len(other)) >= _SHORTEST and (one in other or other in one))


def likely_dock(known: Sequence[str], between: Sequence[Run], clock: WallClock) -> tuple[str, str]:
    """Tell at which dock a boat that fills most likely is, where nobody said.

    Parameters
    ----------
    known
        The docks of the log: that of the fill-up before first, then the others, the latest first.
    between
        The runs since the fill-up before.
    clock
        Whose clock on the wall.

    Returns
    -------
    The dock and how it is known; or an empty name, and what is to be said of it, if anything.
    """
    ended = next((run for run in reversed(between) if run.finish), None)
    if ended is None or is_named(known[0], ended.finish):
        return known[0], "as at the fill-up before" if known[0] else ""
    there = next((dock for dock in known if is_named(dock, ended.finish)), "")
    run = shown_runs([ended], clock)
    if there:
        return there, f"where {run} ended"
    told = f"no dock is noted: {run} ended at {ended.finish}, where the log knows none"
    return "", f"{told}; say which with routeplan fillup add --replaces last --dock"


def take_runs(
    fillup: Fillup, before: Fillup | None, runs: Iterable[Run], boat: Boat, fields: frozenset[str] = frozenset()
) -> Taken:
    """Take from the runs since the fill-up before what a fill-up lacks.

    Parameters
    ----------
    fillup
        The fill-up.
    before
        The boat's fill-up before it; None where there is none.
    runs
        The boat's runs, in any order; those that lie elsewhere are left aside.
    boat
        The boat.
    fields
        The fields that may be filled; others stay, and what is taken has to agree with them.

    Returns
    -------
    The values, and what has to be said.
    """
    between = runs_between(fillup.when, before, runs, boat.name)
    fields &= frozenset(RUN_FIELDS)
    if not between or not fields:
        return Taken({})
    values: dict[str, Any] = {}
    for name in ("sea", "people"):
        said = [run for run in between if getattr(run, name) is not None]
        if name in fields and said:
            values[name] = getattr(max(said, key=lambda run: run.ended - run.began), name)
    notes = [note for note in (_untold(between, fillup, before), _uncounted(between, fillup, before, boat)) if note]
    if notes:
        notes = [notes[0]] if fields & _MOVED else []
    else:
        moved, note = _moved(between, fillup, fields)
        if moved and (doubt := _doubt(fillup.model_copy(update=moved), before, boat)):
            as_typed = all(run.known_by == "typed" for run in between)
            note = doubt if as_typed else f"{doubt}, so distance and hours were left out"
            note = f"{note}; enter what is missing, or type those of all the running with --distance and --hours"
            moved = moved if as_typed else {}
        values |= moved
        notes = [note] if note else []
    return Taken(values, between if values or notes else (), tuple(notes))


def shown_runs(runs: Sequence[Run], clock: WallClock) -> str:
    """Name runs by their moments.

    Parameters
    ----------
    runs
        One or more, in order of time.
    clock
        Whose clock on the wall.

    Returns
    -------
    Such as "the run of Wed 1 Jul 2026 13:22 to 15:47".
    """
    began, ended = (shown_moment(moment, clock).split(" (")[0] for moment in (runs[0].began, runs[-1].ended))
    day, _, hour = ended.removesuffix(" UTC").rpartition(" ")
    until = f"{hour}{' UTC' if ended.endswith(' UTC') else ''}" if began.startswith(day) else ended
    what = "the run" if len(runs) == 1 else f"{len(runs)} runs"
    return f"{what} of {began.removesuffix(' UTC') if began.startswith(day) else began} to {until}"


def _moved(runs: Sequence[Run], fillup: Fillup, fields: frozenset[str]) -> tuple[dict[str, Any], str]:
    """Take distance, hours and speeds, as far as they agree with what was typed."""
    distance_nmi = math.fsum(run.distance_nmi or 0.0 for run in runs)
    hours = [run.time_h for run in runs if run.time_h is not None]
    time_h = math.fsum(hours) if len(hours) == len(runs) else None
    speeds = _merged(runs)
    values: dict[str, Any] = {}
    typed_nmi, typed_h = fillup.distance_run_nmi, fillup.engine_hours_h
    if "distance_run_nmi" in fields:
        values["distance_run_nmi"] = round(distance_nmi, 3)
    elif typed_nmi is None or abs(typed_nmi - distance_nmi) > _SAME_DISTANCE * distance_nmi:
        if not fields & _MOVED or typed_nmi is None:
            return {}, ""
        told = f"the runs since the last fill-up add up to {shown_distance(distance_nmi)}, not to the distance typed"
        return {}, f"{told}: their hours and speeds were left out"
    if "engine_hours_h" in fields and time_h is not None:
        values["engine_hours_h"] = round(time_h, 3)
    hours_agree = "engine_hours_h" in fields or (
        typed_h is not None and time_h is not None and abs(typed_h - time_h) <= _SAME_HOURS * time_h
    )
    if "speeds_run" in fields and speeds and hours_agree:
        values["speeds_run"] = speeds
    return values, ""


def _merged(runs: Sequence[Run]) -> tuple[SpeedRun, ...]:
    """Add up how long was run at which speed; nothing where one of the runs doesn't say."""
    if not all(run.speeds_run for run in runs):
        return ()
    hours: dict[float, float] = {}
    for run in runs:
        for each in run.speeds_run:
            speed_kn = round(each.speed_kn, 3)
            hours[speed_kn] = hours.get(speed_kn, 0.0) + each.time_h
    return tuple(SpeedRun(speed_kn=speed, time_h=max(round(hours[speed], 4), 1e-4)) for speed in sorted(hours))


def _untold(runs: Sequence[Run], fillup: Fillup, before: Fillup | None) -> str:
    """Say that the distance can't be told: a run that goes on beyond a fill-up, or one that nobody measured."""
    for run in runs:
        cut = run.ended > fillup.when + _CUT or (before is not None and run.began < before.when - _CUT)
        if cut:
            return (
                "a run in the log goes on beyond a fill-up, so that nobody knows how far she ran on either side: "
                "distance and hours were left out; type them with --distance and --hours"
            )
    if any(run.distance_nmi is None for run in runs):
        return (
            "how far she ran since the last fill-up isn't known of all runs in the log: distance and hours were left "
            "out; type them with --distance and --hours"
        )
    return ""


def _uncounted(runs: Sequence[Run], fillup: Fillup, before: Fillup | None, boat: Boat) -> str:
    """Hold what the meters counted against what the runs account for."""
    used_l = _used_l(fillup, before)
    if used_l is None or any(run.metered_l is None for run in runs):
        return ""
    counted_l = math.fsum(math.fsum(run.metered_l or ()) for run in runs)
    missed_l = used_l - counted_l
    if missed_l <= max(_MISSED_SHARE * used_l, _MISSED_L):
        return ""
    units = boat.units
    return (
        f"the meter counted {units.volume(used_l)}, the runs in the log {units.volume(counted_l)}: "
        f"{units.volume(missed_l)} went where no run tells of, so distance and hours were left out; type those of all "
        "the running with --distance and --hours"
    )


def _used_l(fillup: Fillup, before: Fillup | None) -> float | None:
    """[l] Tell what the meters counted since the fill-up before; the least, where they were reset or replaced since."""
    plain = before is None or before.meter_reset or bool(_UNTOLD.intersection(fillup.since))
    reset = plain and "reset-forgotten" not in fillup.since
    uses = read_use(fillup.meters_used_l, before, len(fillup.meters_used_l), reset=reset)
    return math.fsum(uses[0].metered_l) if uses else None


def _doubt(fillup: Fillup, before: Fillup | None, boat: Boat) -> str:
    """Hold what was burnt against what the burn table says for the running; empty where they go together."""
    least_l, most_l = _by_table(fillup, boat)
    if most_l < _LEAST_L:
        return ""
    used_l, is_least = _used_l(fillup, before), bool(_UNTOLD.intersection(fillup.since))
    what = "the meter counted"
    if used_l is None:
        # From one full mark to the next the pump gives what was burnt; from less than full it gives more.
        if not fillup.filled_to_full or fillup.since:
            return ""
        used_l, what = fillup.pumped_l, "the pump gave"
        too_little, too_much = True, before is not None and before.filled_to_full
    else:
        too_little, too_much = not is_least, True
    missing = ""
    if too_little and used_l < TOLD_FUEL[0] * least_l:
        ratio, missing = used_l / least_l, "a fill-up in between isn't in the log"
    elif too_much and used_l > max(TOLD_FUEL[1] * most_l, _LEAST_L):
        ratio, missing = used_l / most_l, "some running isn't in the log"
    if not missing:
        return ""
    time = f", {shown_duration(fillup.engine_hours_h)}" if fillup.engine_hours_h else ""
    of_what = f"{shown_distance(fillup.distance_run_nmi or 0.0)}{time}"
    units = boat.units
    return f"{what} {units.volume(used_l)}, {ratio:.2f} times what the runs burn by the table ({of_what}): {missing}"


def _by_table(fillup: Fillup, boat: Boat) -> tuple[float, float]:
    """[l] Tell the least and the most that a run burns by the table: one figure where its speeds are known."""
    table_l = table_burn_l(boat, fillup)
    if table_l is not None:
        return table_l, table_l
    each = [burn / speed for speed, burn in zip(boat.burn.speed_kn, boat.burn.burn_lph, strict=True) if speed > 0]
    distance_nmi = fillup.distance_run_nmi or 0.0
    return distance_nmi * min(each), distance_nmi * max(each)
