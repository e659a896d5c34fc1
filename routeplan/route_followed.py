"""How a plan follows a given route: which of its legs are run otherwise, and which of its points aren't passed.

The plan is laid by the route's points, but it keeps clear of what closes the water, calls at docks and may pass points
by. Whoever drew the route has to hear of each of these, so the way of the plan is held against the route itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
import shapely.ops
from shapely.geometry import shape as geometry_of

from layers.plane import METRES_PER_NMI
from routeplan.route_checked import LedRound

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from routeplan.network import Network
    from routeplan.plans import Plan
    from routeplan.route_checked import CheckedLeg, RouteCheck

    Points = NDArray[np.float64]

__all__ = ["ON_THE_WAY_M", "hold_against"]

ON_THE_WAY_M = 50.0  # [m] a point so near to the way is passed; a way so near to a leg is the leg


def hold_against(
    network: Network, check: RouteCheck, plan: Plan, over: Mapping[tuple[float, float], str]
) -> tuple[tuple[LedRound, ...], tuple[str, ...]]:
    """Find what a plan does otherwise than the route that it was made of.

    Parameters
    ----------
    network
        Its plane.
    check
        The route as it stands.
    plan
        The plan by its points.
    over
        Positions of points that were left out from the beginning, each with the reason.

    Returns
    -------
    The legs that aren't run as they stand, those among them that can't be; and the points that aren't passed, each
    with the reason.
    """
    plane = network.water.plane
    legs = check.legs
    xy = plane.to_plane([legs[0].from_position, *(leg.to_position for leg in legs)])
    way = _Way(plane.to_plane(shapely.get_coordinates(geometry_of(plan.track))))
    along: list[float | None] = [0.0]
    for point in xy[1:-1]:
        known = next(m for m in reversed(along) if m is not None)
        along.append(way.passes(point, known))
    along.append(way.length_m)
    passed_over = [
        f"{leg.to}: {over.get(leg.to_position) or way.off_words(point)}"
        for leg, point, m in zip(legs, xy[1:], along[1:], strict=True)
        if m is None
    ]
    stops = _stops(network, plan, way)
    led = []
    begin_m, first = 0.0, 0
    for i, end_m in enumerate(along[1:], start=1):
        if end_m is None:
            continue
        alone = i - first == 1
        as_drawn = alone and way.follows(xy[first], xy[i], begin_m, end_m)
        called = tuple(name for name, at_m in stops if begin_m < at_m < end_m)
        for number in range(first, i):
            why = tuple(dict.fromkeys(hit.kind for hit in legs[number].hits if hit.stops))
            if why or not as_drawn:
                led.append(_led(number, legs[number], why, called if not as_drawn else ()))
        begin_m, first = end_m, i
    return tuple(led), tuple(passed_over)


def _led(number: int, leg: CheckedLeg, why: tuple[str, ...], stops: tuple[str, ...]) -> LedRound:
    return LedRound.model_validate({"leg": number + 1, "from_": leg.from_, "to": leg.to, "why": why, "stops": stops})


class _Way:
    """The way of a plan in the plane, measured from its beginning."""

    def __init__(self, xy: Points) -> None:
        step = np.hypot(*np.diff(xy, axis=0).T)
        kept = np.concatenate([[True], step > 0])
        self._xy = xy[kept]
        self._step_m = step[step > 0]
        self._begin_m = np.concatenate([[0.0], np.cumsum(self._step_m)[:-1]]) if len(self._step_m) else np.zeros(0)
        self.length_m = float(self._step_m.sum())

    def passes(self, point: Points, after_m: float) -> float | None:
        """[m] Find where the way passes a point first, from some place on; None where it doesn't."""
        share, off_m = self._nearest(point, after_m)
        near = np.flatnonzero(off_m <= ON_THE_WAY_M)
        if not len(near):
            return None
        best = k = int(near[0])
        leaves_m = np.hypot(*(self._xy[1:] - point).T)
        while k + 1 < len(off_m) and leaves_m[k] <= ON_THE_WAY_M:  # where a stretch ends out of reach it has passed
            k += 1
            best = k if off_m[k] < off_m[best] else best
        return float(self._begin_m[best] + share[best] * self._step_m[best])

    def off_words(self, point: Points) -> str:
        """Say how far a point lies off the way; one that lies on it is passed in another order."""
        off_m = float(self._nearest(point, 0.0)[1].min(initial=float(np.hypot(*(point - self._xy[0])))))
        if off_m <= ON_THE_WAY_M:
            return "not passed in its turn"
        return f"{off_m / METRES_PER_NMI:.2f} nmi off the way of the plan"

    def follows(self, a: Points, b: Points, begin_m: float, end_m: float) -> bool:
        """Tell whether a part of the way is the straight leg between two points."""
        leg = shapely.LineString([a, b])
        if len(self._xy) < 2 or end_m <= begin_m:
            return bool(leg.length <= 2 * ON_THE_WAY_M)
        part = shapely.ops.substring(shapely.LineString(self._xy), begin_m, end_m)
        return bool(part.hausdorff_distance(leg) <= ON_THE_WAY_M)

    def _nearest(self, point: Points, after_m: float) -> tuple[Points, Points]:
        """[share, m] Find on each stretch the place next to a point, and how far off it is; before a place nothing."""
        a, along = self._xy[:-1], np.diff(self._xy, axis=0)
        least = np.clip((after_m - self._begin_m) / self._step_m, 0, 1)
        share = np.clip(((point - a) * along).sum(axis=1) / self._step_m**2, least, 1)
        off_m = np.hypot(*(a + share[:, None] * along - point).T)
        off_m[self._begin_m + self._step_m < after_m] = np.inf
        return share, off_m


def _stops(network: Network, plan: Plan, way: _Way) -> list[tuple[str, float]]:
    """[m] Find where on the way the stops are made."""
    found = []
    at_m = 0.0
    for stop in plan.stops:
        passed_m = way.passes(network.water.plane.to_plane([stop.position])[0], at_m)
        if passed_m is not None:
            found.append((stop.dock, passed_m))
            at_m = passed_m
    return found
