"""A passage that is over, as it is typed at the dock: one moment is enough."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.finishing import Finish
from routeplan.instrument_texts import UNREAD, read_meters
from routeplan.moments import AHEAD, read_moment
from routeplan.quantities import read_distance_nmi
from routeplan.typed_fillups import read_engine_hours_h, read_people, read_sea

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from routeplan.moments import WallClock
    from routeplan.saved_plans import SavedPlan

__all__ = ["TypedFinish", "read_finish"]

_NOW = "now"
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}")
_HALF_DAY = timedelta(hours=12)  # a time of day alone is the one nearest to the plan's
_AFTER_REPORT = timedelta(hours=23)  # or the first one since the last report, which is typed some minutes late


@dataclass(frozen=True)
class TypedFinish:
    """What was typed, as texts; None where nothing was.

    Parameters
    ----------
    arrived
        When she was there: ``now``, a time of day (of the plan's own day, however long ago that is), or a date and
        time.
    at
        Where, if not at the plan's destination.
    departed
        When she left, if not as planned.
    meter
        What the dial shows there; two meters as ``20.8+20.7``; ``-`` where it was not read.
    distance, hours
        Since the last fill-up, as in ``fillup add``.
    tracks
        Recorded tracks of the passage.
    sea, people, note
        As in ``fillup add``.
    sure
        Whether the figures are right though they look like a slip.
    """

    arrived: str = _NOW
    at: str | None = None
    departed: str | None = None
    meter: str | None = None
    distance: str | None = None
    hours: str | None = None
    tracks: tuple[Path, ...] = ()
    sea: str | None = None
    people: str | None = None
    note: str | None = None
    sure: bool = False


def read_finish(typed: TypedFinish, saved: SavedPlan, now: datetime, clock: WallClock) -> Finish:
    """Read what was typed.

    Parameters
    ----------
    typed
        The texts.
    saved
        The plan that was followed: figures without a unit are in her boat's display units.
    now
        The moment by the clock.
    clock
        Whose clock on the wall a time without an offset was read from.

    Returns
    -------
    What `finishing.enter_finish` takes.

    Raises
    ------
    InputError
        The first text that can't be read; names its option.
    """
    if typed.at is not None and not typed.at.strip():
        raise InputError("--at", "names no place", remedy="say where she is, or leave it out")
    arrived, departed = _moments(typed, saved, now, clock)
    meters_l = None
    if typed.meter is not None and typed.meter.strip() != UNREAD:
        meters_l = _figures(typed.meter, saved)
    return Finish(
        arrived=arrived,
        at=typed.at,
        departed=departed,
        meters_l=meters_l,
        distance_nmi=None if typed.distance is None else read_distance_nmi(typed.distance, "--distance"),
        hours_h=None if typed.hours is None else read_engine_hours_h(typed.hours),
        tracks=typed.tracks,
        sea=None if typed.sea is None else read_sea(typed.sea),
        people=None if typed.people is None else read_people(typed.people),
        note=typed.note or "",
        sure=typed.sure,
    )


def _moments(typed: TypedFinish, saved: SavedPlan, now: datetime, clock: WallClock) -> tuple[datetime, datetime | None]:
    """Read when she was there and when she left; a time of day alone is that of the plan's own day."""
    takes = saved.plan.arrive - saved.plan.depart
    departed = None
    if typed.departed is not None and not _TIME_OF_DAY.fullmatch(typed.departed.strip()):
        departed = read_moment(typed.departed, "--departed", clock, now=now)
    arrived = now.replace(microsecond=0)
    if typed.arrived.strip().casefold() != _NOW:
        latest = (saved.plan.arrive if departed is None else departed + takes) + _HALF_DAY
        if saved.reports:
            latest = max(latest, saved.reports[-1].when + _AFTER_REPORT)
        arrived = read_moment(typed.arrived, "--arrived", clock, now=min(now, latest))
    if typed.departed is not None and departed is None:
        latest = min(arrived - AHEAD - timedelta(minutes=1), arrived - takes + _HALF_DAY)
        departed = read_moment(typed.departed, "--departed", clock, now=latest)
    return arrived, departed


def _figures(text: str, saved: SavedPlan) -> tuple[float, ...] | None:
    shown, _ = read_meters(text, saved.boat, "--meter")
    read = tuple(figure for figure in shown if figure is not None)
    return read if len(read) == len(shown) else None
