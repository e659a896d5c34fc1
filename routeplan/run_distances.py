"""How far and how fast a run of a passage was, by the best witness: what is typed, a whole track, or the plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.fillups import SpeedRun
from routeplan.moments import write_moment
from routeplan.runs_taken import TOLD_FUEL
from routeplan.units_shown import shown_distance, shown_duration

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.boats import Boat
    from routeplan.gpx_runs import TrackRuns
    from routeplan.runs import KnownBy
    from routeplan.stops_made import Between

__all__ = ["Measured", "TypedRun", "is_whole", "measure"]

_AS_PLANNED_SHARE, _AS_PLANNED_H = 0.25, 0.25  # of the planned time, and h: fill-ups are written down to some minutes
_SAME_FUEL = (0.8, 1.25)  # metered against planned: more is another way, or other water; practice, ours
_WHOLE_TRACK = 0.93  # share of the planned distance that a recorded track must have to be all of the run
_SAME_TRACK = 0.05  # share: a typed distance this near to the track's is of the same running
_LATE_TRACK_S = 600.0  # s that a recording may miss at either end where nothing else tells how far the run was
_OVER_SHARE, _OVER_KN = 1.25, 5.0  # over her fastest speed: a following sea and a stream; more is a slip


@dataclass(frozen=True)
class TypedRun:
    """What is typed of a run: of the last one of a passage; of the runs before, nothing but the departure is.

    Parameters
    ----------
    distance_nmi, hours_h
        [nmi, h] Distance and engine hours; None where not typed.
    may_ask
        Whether what looks like a slip is asked about.
    may_be_late
        Whether nobody said when she left: that she left late is likelier then than that she dawdled.
    """

    distance_nmi: float | None = None
    hours_h: float | None = None
    may_ask: bool = False
    may_be_late: bool = False


@dataclass(frozen=True)
class Measured:
    """How far and how fast a run was.

    Parameters
    ----------
    distance_nmi, time_h
        [nmi, h] Distance and engine hours; None where nobody knows.
    speeds_run
        How long at which speed; empty where nobody knows.
    known_by
        Where the distance is from.
    notes
        What couldn't be told, in words.
    began
        When she is taken to have left, where she is taken to have left late; None elsewhere.
    """

    distance_nmi: float | None
    time_h: float | None
    speeds_run: tuple[SpeedRun, ...]
    known_by: KnownBy
    notes: tuple[str, ...] = ()
    began: datetime | None = None


def measure(piece: Between, boat: Boat, track: TrackRuns | None, ratio: float | None, typed: TypedRun) -> Measured:
    """Tell how far and how fast a run was.

    Parameters
    ----------
    piece
        The run, with the plan's legs on it.
    boat
        The boat.
    track
        What was recorded of it; None where nothing was.
    ratio
        What the meters counted over what was planned; None where that isn't known.
    typed
        What is typed of it.

    Returns
    -------
    The run as measured.

    Raises
    ------
    InputError
        Nothing tells how far the last run was, or what is said of it looks like a slip.
    """
    if typed.distance_nmi is not None:
        found = _as_typed(track, typed.distance_nmi)
    elif track is not None and is_whole(piece, track):
        found = Measured(track.distance_nmi, track.time_h, track.speeds_run, "track", track.notes)
    elif piece.closed_by is not None and piece.legs and ratio is not None and not _is_told(ratio):
        found = _by_other_running(piece, ratio)
    elif piece.legs:
        found = _by_plan(piece, ratio, track, typed)
    else:
        found = _unknown(piece, track)
    if typed.hours_h is not None:
        found = replace(found, time_h=typed.hours_h)
    if typed.may_ask:
        _refuse_flight(piece, boat, found, typed)
    return found


def _as_typed(track: TrackRuns | None, distance_nmi: float) -> Measured:
    if track is not None and abs(track.distance_nmi - distance_nmi) <= _SAME_TRACK * max(distance_nmi, 0.1):
        return Measured(distance_nmi, track.time_h, track.speeds_run, "typed")
    notes = () if track is None else (f"the track has {shown_distance(track.distance_nmi)}: its speeds were left out",)
    return Measured(distance_nmi, None, (), "typed", notes)


def is_whole(piece: Between, track: TrackRuns) -> bool:
    """Tell whether a recording has all of a run: as far as planned, or from its beginning to its end.

    Parameters
    ----------
    piece
        The run.
    track
        What was recorded of it.

    Returns
    -------
    Whether it has.
    """
    if piece.legs:
        return track.distance_nmi >= _WHOLE_TRACK * piece.distance_nmi
    missed_s = max((track.began - piece.began).total_seconds(), (piece.ended - track.ended).total_seconds())
    return missed_s <= _LATE_TRACK_S and not any(note.startswith("gaps") for note in track.notes)


def _is_told(ratio: float) -> bool:
    return TOLD_FUEL[0] <= ratio <= TOLD_FUEL[1]


def _by_other_running(piece: Between, ratio: float) -> Measured:
    """Take no distance where the meter tells of other running than the plan's."""
    told = f"{ratio:.2f} times the fuel planned went from {piece.start} to {piece.finish} by the meter"
    missing = "a fill-up on the way isn't in the log, or she ran another way"
    return Measured(None, None, (), "unknown", (f"{told}: {missing}, so no distance was taken; {_type_it(piece)}",))


def _by_plan(piece: Between, ratio: float | None, track: TrackRuns | None, typed: TypedRun) -> Measured:
    """Take the plan's distance where the run was as planned, and its speeds where it took as long as planned."""
    notes = []
    if track is not None:
        part = f"{shown_distance(track.distance_nmi)} of {shown_distance(piece.distance_nmi)}"
        notes.append(f"the track has only {part} from {piece.start} to {piece.finish}: the plan's distance was taken")
    off_h = abs(piece.elapsed_h - piece.whole_h)
    if off_h <= max(_AS_PLANNED_SHARE * piece.whole_h, _AS_PLANNED_H):
        lying_h = max(piece.whole_h - piece.legs_h, 0.0)  # at a gate, or where she waited for one
        time_h = max(piece.elapsed_h - lying_h, 0.0)
        if (
            piece.before_nmi and not piece.before_speeds
        ):  # nobody kept at which speeds, and a mean over slow and fast miles tells a wrong burn
            return Measured(piece.distance_nmi, None, (), "plan", tuple(notes))
        return Measured(piece.distance_nmi, time_h, _speeds(piece), "plan", tuple(notes))
    times = f"{shown_duration(piece.elapsed_h)}, and {shown_duration(piece.whole_h)} were planned"
    took = f"from {piece.start} to {piece.finish} she took {times}"
    as_fuel = ratio is not None and _SAME_FUEL[0] <= ratio <= _SAME_FUEL[1]
    late = typed.may_be_late and piece.elapsed_h > piece.whole_h
    if late and (as_fuel or (ratio is None and piece.closed_by is not None)):
        left = piece.ended - timedelta(hours=piece.whole_h)
        notes.append(f"{took}: she is taken to have left {piece.start} at {write_moment(left.replace(microsecond=0))}")
        return Measured(piece.distance_nmi, piece.legs_h, _speeds(piece), "plan", tuple(notes), left)
    if as_fuel:
        notes.append(f"{took}, on about the fuel planned: the plan's distance was taken, and no speeds")
        return Measured(piece.distance_nmi, None, (), "plan", tuple(notes))
    if ratio is not None:
        took = f"{took}, on {ratio:.1f} times the fuel"
    if typed.may_ask:
        raise InputError(
            "--arrived",
            f"{took}: was it run as planned?",
            value=write_moment(piece.ended),
            remedy="give --track or --distance, say when she left with --departed, or add --sure if it was",
        )
    if piece.closed_by is None:
        notes.append(f"{took}: the plan's distance was taken, and no speeds")
        return Measured(piece.distance_nmi, None, (), "plan", tuple(notes))
    notes.append(f"{took}: how far that was isn't known; {_type_it(piece)}")
    return Measured(None, None, (), "unknown", tuple(notes))


def _speeds(piece: Between) -> tuple[SpeedRun, ...]:
    hours = {run.speed_kn: run.time_h for run in piece.before_speeds}
    for leg in piece.legs:
        hours[leg.speed_kn] = hours.get(leg.speed_kn, 0.0) + leg.distance_nmi / leg.speed_kn
    long_enough = [speed for speed in sorted(hours) if hours[speed] >= 5e-5]
    return tuple(SpeedRun(speed_kn=speed, time_h=round(hours[speed], 4)) for speed in long_enough)


def _unknown(piece: Between, track: TrackRuns | None) -> Measured:
    """Say that nothing tells how far a run was: she went another way than planned."""
    if piece.closed_by is not None:
        told = f"how far she ran from {piece.start} to {piece.finish} isn't known: {_type_it(piece)}"
        return Measured(None, None, (), "unknown", (told,))
    what = "nothing tells how far she ran"
    if track is not None:
        span = f"from {write_moment(track.began)} to {write_moment(track.ended)}"
        what = f"the track has only some of it, {shown_distance(track.distance_nmi)} {span}, and nothing else tells"
    raise InputError(
        "--distance",
        f"from {piece.start} to {piece.finish}, which isn't as planned, {what}",
        remedy="give the distance since the last fill-up with --distance, or a whole --track",
    )


def _type_it(piece: Between) -> str:
    if piece.closed_by is None:
        return "give it with --distance"
    return f"type it with routeplan fillup add --replaces {piece.closed_by.entry} --distance"


def _refuse_flight(piece: Between, boat: Boat, found: Measured, typed: TypedRun) -> None:
    """Ask about a run that no boat makes."""
    if found.distance_nmi is None:
        return
    speed_kn = found.distance_nmi / piece.elapsed_h
    if speed_kn > _OVER_SHARE * boat.fastest_kn + _OVER_KN:
        raise InputError(
            "--arrived" if typed.distance_nmi is None else "--distance",
            f"{shown_distance(found.distance_nmi)} in {shown_duration(piece.elapsed_h)} would be {speed_kn:.0f} kn",
            remedy="check the moment, say when she left with --departed, or add --sure",
        )
