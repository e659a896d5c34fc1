"""A report as it is typed underway: where, what the dials and the gauge show, what was filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import ValidationError

from layers.errors import InputError
from routeplan.instrument_texts import read_gauge, read_meters, read_typed_volume
from routeplan.joining import apart_m, resolve_place
from routeplan.saved_plans import Report
from routeplan.spent_fuel import AT_DOCK_M

if TYPE_CHECKING:
    from datetime import datetime

    from routeplan.gpx_runs import TrackRuns
    from routeplan.network import Network
    from routeplan.saved_plans import SavedPlan

__all__ = ["TypedReport", "read_report"]

_AFTER_RESET_SHARE = 0.02  # of the capacity: a dial that shows less at a fill was read after its reset


@dataclass(frozen=True)
class TypedReport:
    """What was typed, as texts; None where nothing was.

    Parameters
    ----------
    at
        A position or a place's name.
    meter, gauge, meter_was
        The options of these names.
    took
        How much was filled, if not to the mark.
    filled
        Whether she was filled to the mark.
    not_reset
        Whether the meters ran on at the last fill.
    sure
        Whether it is right though it looks like a slip.
    """

    at: str | None = None
    meter: str | None = None
    gauge: str | None = None
    meter_was: str | None = None
    took: str | None = None
    filled: bool = False
    not_reset: bool = False
    sure: bool = False


def read_report(
    typed: TypedReport, saved: SavedPlan, network: Network, runs: TrackRuns | None, moment: datetime
) -> Report:
    """Read what was typed.

    Parameters
    ----------
    typed
        The texts.
    saved
        The plan that is followed: figures without a unit are in her boat's display units.
    network
        Its terminals are the known places.
    runs
        Today's recorded track; None without one.
    moment
        When it was read.

    Returns
    -------
    The report.

    Raises
    ------
    InputError
        Something can't be read, is missing, or goes with something else only.
    """
    if typed.at is not None:
        position = resolve_place(network, typed.at, "--at").position
    elif runs is not None:
        position = runs.last_position
    else:
        raise InputError("--at", "is missing", remedy='say where she is: --at "44 12.5N 38 03.2W", or add --track')
    shows, was = _dials(typed.meter, saved, "--meter"), _dials(typed.meter_was, saved, "--meter-was")
    if typed.filled and typed.took is not None:
        raise InputError("--took", "is given beside --filled", value=typed.took, remedy="leave one of them out")
    if was is not None and shows is None and typed.took is None and not typed.filled:
        problem = "needs --meter, what the dial shows since"
        raise InputError("--meter-was", problem, value=typed.meter_was, remedy="add it")
    if typed.filled and not typed.sure:
        _refuse_full(saved, position)
    if typed.filled or typed.took is not None:
        # What was read may be from before the reset, which teaches, or after it, which is next to nothing.
        least_l = _AFTER_RESET_SHARE * saved.boat.tank.capacity_l
        shows, was = None, was or (shows if shows is not None and sum(shows) > least_l else None)
    try:
        return Report(
            when=moment,
            position=position,
            shows_l=shows,
            gauge_l=None if typed.gauge is None else read_gauge(typed.gauge, saved.boat, "--gauge")[0],
            was_l=was,
            filled=typed.filled,
            took_l=None if typed.took is None else read_typed_volume(typed.took, "--took", saved.boat)[0],
            not_reset=typed.not_reset,
        )
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        option = {"shows_l": "--meter", "was_l": "--meter-was", "gauge_l": "--gauge", "took_l": "--took"}
        where = option.get(str(fault["loc"][0]), str(fault["loc"][0]))
        raise InputError(where, fault["msg"].lower(), remedy="check figure and unit") from error


def _refuse_full(saved: SavedPlan, position: tuple[float, float]) -> None:
    """Ask about a fill to the mark where the plan takes less."""
    units = saved.boat.units
    for stop in saved.plan.stops:
        if not stop.to_mark and apart_m(stop.position, position) < AT_DOCK_M:
            problem = f"means to the full mark, and the plan takes {units.volume(stop.take_l)} at {stop.dock}"
            remedy = f"say how much as --took {units.volume(stop.take_l).replace(' ', '')}, or add --sure"
            raise InputError("--filled", problem, remedy=remedy)


def _dials(text: str | None, saved: SavedPlan, option: str) -> tuple[float, ...] | None:
    """[l] Read what each dial shows; one figure may stand for both together."""
    if text is None:
        return None
    read = read_meters(text, saved.boat, option)[0]
    if None in read:
        raise InputError(option, "lacks one meter's figure", value=text, remedy="read both")
    if len(read) > 1 and len(saved.helm.meter.shows_l) == 1 and saved.boat_digest:
        raise InputError(
            option, "gives two dials, and the plan was made with one", value=text, remedy="give one figure"
        )
    return tuple(value for value in read if value is not None)
