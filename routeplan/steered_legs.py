"""The legs of a hop as steered where water moves or a sea takes speed: cut at currents' edges, by the clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from layers.plane import METRES_PER_NMI
from routeplan.pieces import apart
from routeplan.plans import StreamMet, TurnTold
from routeplan.sailing import find_made
from routeplan.tidal_streams import find_turns
from routeplan.triangle import set_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.conditions import Conditions
    from routeplan.currents import Currents
    from routeplan.itinerary import Stretch
    from routeplan.leg_graph import Rates
    from routeplan.plans import Leg
    from routeplan.sailing import Made
    from routeplan.water import Water

    Point = tuple[float, float]
    Points = NDArray[np.float64]

__all__ = ["SteeredStretch", "find_streams_met", "steer_stretches"]

_SHORTEST_NMI = 0.1  # [nmi] a piece shorter than that isn't steered by itself
_AROUND = timedelta(hours=7)  # turns within half a tide of the passing are told
_WEAK_SHARE = 0.3  # of the speed through the water: who makes less good hardly stems the current
_AT_GATE_KN = 0.5  # [kn] a weaker current at a bridge isn't told
_STEP_NMI = 0.1  # [nmi] between places at which the strongest current on a leg is looked for


@dataclass(frozen=True)
class SteeredStretch:
    """One leg as steered, and how.

    Parameters
    ----------
    stretch
        The leg, with the time, fuel and speed through the water that it has then.
    made
        Course to steer, speed over the ground, set and drift; None in a gate.
    enters
        Name of the current that it runs into at its beginning; empty where it doesn't.
    leaves
        Name of the current that it has just left; empty where it hasn't.
    """

    stretch: Stretch
    made: Made | None
    enters: str = ""
    leaves: str = ""


def steer_stretches(
    conditions: Conditions, water: Water, boat: Boat, rates: Rates, stretches: Iterable[Stretch], leave_h: float
) -> list[SteeredStretch]:
    """Tell how the stretches of a hop are steered.

    Parameters
    ----------
    conditions, water, boat, rates
        As in `routeplan.sailing.Sailing`.
    stretches
        The hop, in still water.
    leave_h
        [h] When it is begun, since the beginning of the span.

    Returns
    -------
    The stretches, cut where currents begin and end.
    """
    found: list[SteeredStretch] = []
    now_h = leave_h
    before = ""
    for stretch in stretches:
        if stretch.kind == "gate":  # nobody reckons a current inside a lock
            found.append(SteeredStretch(_cautioned(stretch, _at_gate(conditions, stretch, now_h)), None))
            now_h += stretch.time_h
            continue
        for a, b, name in _cut(conditions.currents, stretch):
            made = find_made(conditions, water, boat, rates, (a, b), stretch.kind, now_h)
            share = 1.0
            if (a, b) != (stretch.a, stretch.b):
                share = float(np.hypot(b[0] - a[0], b[1] - a[1]))
                share /= float(np.hypot(stretch.b[0] - stretch.a[0], stretch.b[1] - stretch.a[1]))
            part = replace(
                stretch,
                a=a,
                b=b,
                distance_nmi=stretch.distance_nmi * share,
                time_h=stretch.time_h * share if made is None else made.time_h,
                fuel_l=stretch.fuel_l * share if made is None else made.fuel_l,
                speed_kn=stretch.speed_kn if made is None else made.through_kn,
            )
            if made is not None and made.ground_kn < _WEAK_SHARE * made.through_kn:
                part = _cautioned(
                    part, f"makes only {made.ground_kn:.1f} kn against the current: a delay may shut the way"
                )
            enters = name if name and name != before else ""
            leaves = before if before and not name else ""
            found.append(SteeredStretch(part, made, enters, leaves))
            now_h += part.time_h
            before = name
    return found


def _cautioned(stretch: Stretch, caution: str) -> Stretch:
    return replace(stretch, cautions=(*stretch.cautions, caution)) if caution else stretch


def _at_gate(conditions: Conditions, stretch: Stretch, now_h: float) -> str:
    """Caution of a current that runs where she waits for a bridge or a lock."""
    if conditions.currents is None:
        return ""
    middle = np.array([_between(stretch, 0.5)])
    at_s = np.array([conditions.begin.timestamp() + 3600 * now_h])
    drift_kn = float(np.hypot(*(part[0, 0] for part in conditions.currents.at(middle, at_s))))
    if not drift_kn >= _AT_GATE_KN:
        return ""
    return f"a current of {drift_kn:.1f} kn sets here: stemming it while she waits isn't reckoned with"


def _cut(currents: Currents | None, stretch: Stretch) -> list[tuple[Point, Point, str]]:
    """Cut a straight stretch where the areas of currents begin and end, and name the current on each piece."""
    if currents is None:
        return [(stretch.a, stretch.b, "")]
    line = shapely.LineString([stretch.a, stretch.b])
    metres = max(line.length, 1e-9)
    if stretch.kind != "leg" or not currents.shapes or not line.intersects(currents.outline):
        return [(stretch.a, stretch.b, currents.area_at(_between(stretch, 0.5)))]
    met = shapely.get_coordinates(line.intersection(currents.outline))
    shares = apart(np.hypot(*(met - np.array(stretch.a)).T) / metres, _SHORTEST_NMI * METRES_PER_NMI / metres).tolist()
    return [
        (_between(stretch, begin), _between(stretch, end), currents.area_at(_between(stretch, (begin + end) / 2)))
        for begin, end in pairwise(shares)
    ]


def _between(stretch: Stretch, share: float) -> Point:
    if share in (0.0, 1.0):
        return stretch.b if share else stretch.a
    return (
        stretch.a[0] + (stretch.b[0] - stretch.a[0]) * share,
        stretch.a[1] + (stretch.b[1] - stretch.a[1]) * share,
    )


def find_streams_met(conditions: Conditions | None, water: Water, legs: Iterable[Leg]) -> tuple[StreamMet, ...]:
    """List the currents that a plan's legs meet, with the times at which they turn about then.

    Parameters
    ----------
    conditions
        Their currents count; None in still water.
    water
        Its plane.
    legs
        As they are told.

    Returns
    -------
    In the order in which they are met.
    """
    currents = None if conditions is None else conditions.currents
    if currents is None:
        return ()
    met: list[StreamMet] = []
    for here in _meetings(currents, water, legs):
        turns = tuple(
            TurnTold(kind=turn.kind, at=turn.at, speed_kn=turn.speed_kn)
            for stream in currents.streams
            if stream.name == here.name
            for turn in find_turns(stream, here.begins - _AROUND, here.ends + _AROUND)
        )
        met.append(
            StreamMet(
                name=here.name,
                enter=here.begins,
                leave=here.ends,
                position=here.position,
                set_deg=here.set_deg,
                drift_kn=here.drift_kn,
                turns=turns,
            )
        )
    return tuple(met)


class _Here(NamedTuple):
    """The current at one place of a leg, while the boat is there."""

    name: str
    begins: datetime
    ends: datetime
    set_deg: float
    drift_kn: float
    position: Point


def _meetings(currents: Currents, water: Water, legs: Iterable[Leg]) -> Iterator[_Here]:
    """Yield each current met: from when till when, and set and drift where they are strongest."""
    met: _Here | None = None
    for here in _along(currents, water, legs):
        if met is not None and here is not None and here.name == met.name:
            strongest = max(met, here, key=lambda each: each.drift_kn)
            met = strongest._replace(begins=met.begins, ends=here.ends)
            continue
        if met is not None:
            yield met
        met = here
    if met is not None:
        yield met


def _along(currents: Currents, water: Water, legs: Iterable[Leg]) -> Iterator[_Here | None]:
    """Yield the current at places along the legs; None where none is known."""
    for leg in legs:
        ends = water.plane.to_plane([leg.from_position, leg.to_position])
        if leg.kind == "gate" or not currents.covered.intersects(shapely.LineString(ends)):
            yield None
            continue
        count = max(2, int(np.ceil(leg.distance_nmi / _STEP_NMI)) + 1)
        half = (leg.arrive - leg.depart) / (2 * count)
        for number in range(count):
            point = ends[0] + (ends[1] - ends[0]) * ((number + 0.5) / count)
            yield _at(currents, water, point, leg.depart + half * (2 * number + 1), half)


def _at(currents: Currents, water: Water, point: Points, at: datetime, half: timedelta) -> _Here | None:
    name = currents.source_at((float(point[0]), float(point[1])), at.timestamp())
    if not name:
        return None
    east, north = (float(part[0, 0]) for part in currents.at(point[None, :], np.array([at.timestamp()])))
    if not (np.isfinite(east) and np.isfinite(north)):
        return None
    set_deg, drift_kn = set_of(east, north)
    (lonlat,) = water.plane.to_lonlat(point[None, :]).tolist()
    return _Here(name, at - half, at + half, set_deg, drift_kn, (round(lonlat[0], 6), round(lonlat[1], 6)))
