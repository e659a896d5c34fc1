"""What the flow meters counted on each run of a passage, and dials that tell of a reset or a slip."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.runs_taken import TOLD_FUEL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.fillups import Fillup
    from routeplan.saved_plans import SavedPlan
    from routeplan.stops_made import Between

__all__ = ["SAME_FILL", "Counted", "ask_about_dial", "ask_about_fills", "count_meters", "fuel_ratio"]

SAME_FILL = timedelta(hours=1)
"""A fill reported underway and a fill-up in the log this near to one another are one."""

_LEAST_L = 5.0  # l: a ratio of smaller volumes says nothing
_LEAST_FALL_L = 0.2  # l: dials are read to a tenth of a gallon


@dataclass(frozen=True)
class Counted:
    """What the meters say of one run.

    Parameters
    ----------
    metered_l
        [l] What each counted on it; None where they weren't read at both ends.
    shows_l
        [l] What each dial showed at its end; None where they weren't read.
    note
        What is odd about it, in words.
    """

    metered_l: tuple[float, ...] | None
    shows_l: tuple[float, ...] | None
    note: str = ""


def count_meters(
    saved: SavedPlan, pieces: Sequence[Between], meters_l: tuple[float, ...] | None
) -> tuple[Counted, ...]:
    """Tell what the meters counted on each run.

    Parameters
    ----------
    saved
        The plan that was followed, with what the dials showed at departure, and resets noted underway.
    pieces
        The runs, in order.
    meters_l
        [l] What the dials show at the end of the last one; None where they weren't read, or a fill-up says.

    Returns
    -------
    One for each run.

    Raises
    ------
    InputError
        The dial went backwards on the last run, or the number of meters isn't the boat's.
    """
    found: list[Counted] = []
    start: tuple[float, ...] | None = saved.helm.meter.shows_l if saved.before is None else saved.before.shows_l
    for piece in pieces:
        if piece.opened_by is not None:
            start = _after(piece.opened_by.fillup)
            if any(report.not_reset and piece.began <= report.when <= piece.ended for report in saved.reports):
                start = _figures(piece.opened_by.fillup)
        typed = piece.closed_by is None
        end = _figures(piece.closed_by.fillup) if piece.closed_by is not None else None
        if typed and piece is pieces[-1]:
            end = meters_l
        if end is not None and piece.opened_by is None and not any(start or (1.0,)):
            start = (0.0,) * len(end)  # reset at departure, however many there are
        if end is None or start is None:
            found.append(Counted(None, end))
        elif len(end) != len(start):
            if typed:
                meters = "one meter" if len(start) == 1 else "two meters"
                remedy = "write the one figure" if len(start) == 1 else "write both, such as 22.7+24.1"
                told = saved.boat.units.volume(math.fsum(end))
                raise InputError("--meter", f"must be what {meters} show", value=told, remedy=remedy)
            found.append(Counted(None, None))
        else:
            found.append(_counted(saved, piece, start, end, may_ask=typed))
    return tuple(found)


def fuel_ratio(
    saved: SavedPlan, piece: Between, metered_l: tuple[float, ...] | None, burn_l: float | None = None
) -> float | None:
    """Hold what the meters counted, corrected, against what the plan burns.

    Parameters
    ----------
    saved
        The plan that was followed.
    piece
        The run.
    metered_l
        [l] What they counted.
    burn_l
        [l] What she burns for it, where a recorded track tells that better than the plan; None for the plan's.

    Returns
    -------
    Counted over planned; None where there is nothing to compare.
    """
    planned_l = piece.fuel_l if burn_l is None else burn_l
    if metered_l is None or planned_l < _LEAST_L:
        return None
    return math.fsum(metered_l) * saved.helm.meter.factor / planned_l


def ask_about_dial(
    saved: SavedPlan, piece: Between, metered_l: tuple[float, ...] | None, burn_l: float | None = None
) -> None:
    """Ask about a dial that tells of a reset at a stop that isn't in the log; a typed one, of another unit too.

    Parameters
    ----------
    saved
        The plan that was followed.
    piece
        The run.
    metered_l
        [l] What the meters counted on it.
    burn_l
        As for `fuel_ratio`.

    Raises
    ------
    InputError
        It looks like a slip.
    """
    ratio = fuel_ratio(saved, piece, metered_l, burn_l)
    if metered_l is None or ratio is None:
        return
    units, factor = saved.boat.units, saved.helm.meter.factor
    counted, used_l = units.volume(math.fsum(metered_l)), math.fsum(metered_l) * factor
    by = piece.closed_by
    for dock in reversed(piece.skipped):
        after = next(i for i, leg in enumerate(piece.legs) if leg.to == dock) + 1
        rest_l = math.fsum(leg.fuel_l for leg in piece.legs[after:])
        if rest_l >= _LEAST_L and _off(used_l / rest_l) < _off(ratio) and (by is None or ratio < TOLD_FUEL[0]):
            since = f"about what was planned since {dock}, where the log has no fill-up"
            raise InputError(
                "--meter" if by is None else "--arrived",
                f"shows {since}" if by is None else f"fill-up {by.entry} at {piece.finish} metered {counted}, {since}",
                value=counted if by is None else None,
                remedy="enter that fill-up first, with fillup add --earlier; or add --sure: none was made there",
            )
    if by is None and not TOLD_FUEL[0] <= ratio <= TOLD_FUEL[1]:
        what = "what was planned" if burn_l is None else "what she burns for the track"
        raise InputError(
            "--meter",
            f"is {ratio:.1f} times {what} since {piece.start}, {units.volume(used_l / ratio / factor)}",
            value=counted,
            remedy="check it and its unit, and whether a fill-up is missing; add --distance where she went another "
            "way, or --sure to keep it as typed",
        )


def ask_about_fills(saved: SavedPlan, piece: Between, metered_l: tuple[float, ...] | None, begins_l: float) -> None:
    """Ask about planned stops that the log has no fill-up at, where she can't have gone past them on what she had.

    Parameters
    ----------
    saved
        The plan that was followed.
    piece
        The run.
    metered_l
        [l] What the meters counted on it; None where they weren't read.
    begins_l
        [l] The most that was aboard when it began.

    Raises
    ------
    InputError
        The fuel wouldn't have done, or where no meter tells, not without the reserve.
    """
    if not piece.skipped:
        return
    boat = saved.boat
    if metered_l is None:
        burnt_l, can_l, how = piece.fuel_l, begins_l - boat.floor_l, "are planned"
    else:
        burnt_l, can_l, how = math.fsum(metered_l) * saved.helm.meter.factor, begins_l, "were metered"
    if burnt_l <= can_l:
        return
    say, docks = boat.units.volume, " and ".join(piece.skipped)
    had = f"{say(burnt_l)} {how} from {piece.start} to {piece.finish}, and {say(begins_l)} were aboard"
    raise InputError(
        "--arrived",
        f"the log has no fill-up at {docks}: {had}",
        remedy="enter the fill-ups first, with fillup add --earlier and --when; or add --sure: none was made there",
    )


def _off(ratio: float) -> float:
    return abs(math.log(max(ratio, 1e-9)))


def _counted(
    saved: SavedPlan, piece: Between, start: tuple[float, ...], end: tuple[float, ...], *, may_ask: bool
) -> Counted:
    """Add up what was counted from one figure to the other, over resets that were noted underway."""
    used, at = [0.0] * len(end), start
    fills = [entry.fillup.when for entry in (piece.opened_by, piece.closed_by) if entry is not None]
    for report in saved.reports:
        was = report.was_l
        if (report.filled or report.took_l is not None) and any(abs(report.when - w) <= SAME_FILL for w in fills):
            continue  # the fill-up tells what the dial showed there
        if was is not None and len(was) == len(end) and piece.began < report.when <= piece.ended:
            used = [u + w - a for u, w, a in zip(used, was, at, strict=True)]
            at = (0.0,) * len(end)
    used = [u + e - a for u, e, a in zip(used, end, at, strict=True)]
    if min(used) >= -_LEAST_FALL_L:
        return Counted(tuple(max(u, 0.0) for u in used), end)
    if not may_ask:
        return Counted(None, end, f"the meter fell from {piece.start} to {piece.finish}: its count there isn't known")
    units = saved.boat.units
    raise InputError(
        "--meter",
        f"is less than the dial showed at {piece.start}, {units.volume(math.fsum(start))}: was it reset on the way?",
        value=units.volume(math.fsum(end)),
        remedy="add what it showed before the reset, or leave --meter out",
    )


def _after(fillup: Fillup) -> tuple[float, ...] | None:
    """[l] Tell what the dials showed once a fill-up was done."""
    return (0.0,) * len(fillup.meters_used_l) if fillup.meter_reset else _figures(fillup)


def _figures(fillup: Fillup) -> tuple[float, ...] | None:
    read = tuple(figure for figure in fillup.meters_used_l if figure is not None)
    return read if len(read) == len(fillup.meters_used_l) else None
