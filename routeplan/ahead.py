"""The way that still lies ahead on a run: points along it with distance, time and burn from here, at any speed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from layers.errors import InputError
from routeplan.fallbacks import stretches_of
from routeplan.helm_marks import stations_of
from routeplan.tracks import Tracks
from routeplan.turning_back import walk_track

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.network import Network
    from routeplan.plan_hops import Hop
    from routeplan.plans import Leg
    from routeplan.progress import Progress
    from routeplan.saved_plans import Report

    Points = NDArray[np.float64]

__all__ = ["Ahead", "by_plan", "over_water"]

_AT_ITS_BEGINNING = 0.05  # of a leg: she hasn't left yet


@dataclass(frozen=True, eq=False)
class Ahead:
    """The way to the next place of refuelling, or to the destination.

    Parameters
    ----------
    positions
        [deg] n longitudes and latitudes, from here on.
    distance_nmi, time_h, fuel_l
        [nmi, h, l] From here to each of them, the mean burn by the planned burn table.
    speed_kn
        [kn] Chosen speed; limits hold besides.
    way
        [deg, nmi] True course and length of each stretch up to the first place that is to be passed; empty where the
        plan's own legs are followed.
    """

    positions: tuple[tuple[float, float], ...]
    distance_nmi: Points
    time_h: Points
    fuel_l: Points
    speed_kn: float
    way: tuple[tuple[float, float], ...] = ()

    @property
    def total_nmi(self) -> float:
        """[nmi] To its end."""
        return float(self.distance_nmi[-1])

    @property
    def total_h(self) -> float:
        """[h] To its end."""
        return float(self.time_h[-1])

    @property
    def total_l(self) -> float:
        """[l] Mean burn to its end."""
        return float(self.fuel_l[-1])


def by_plan(
    hop: Hop, progress: Progress, boat: Boat, report: Report, speed_kn: float, waits: Collection[datetime] = ()
) -> Ahead:
    """Follow the plan's legs from a place on or close to them.

    Parameters
    ----------
    hop
        The run.
    progress
        How far along it she is.
    boat
        Whose burn counts where the speed isn't the plan's.
    report
        Where she is, and when.
    speed_kn
        [kn] Chosen speed: legs that are planned faster are run at it, others as planned.
    waits
        Moments that the plan waits for, for bridges and locks, before it goes on.

    Returns
    -------
    The rest of the run, with the way back on to it.
    """
    stations = [s for s in stations_of(hop) if s.gone_nmi > progress.gone_nmi]
    positions = [report.position, *(s.position for s in stations)]
    gone = np.array([progress.gone_nmi, *(s.gone_nmi for s in stations)])
    legs = [hop.legs[progress.leg], *(hop.legs[s.leg] for s in stations)]
    step_nmi = np.diff(gone)
    hours = np.zeros(len(step_nmi))
    litres = np.zeros(len(step_nmi))
    for i, (leg, nmi) in enumerate(zip(legs[1:], step_nmi.tolist(), strict=True)):
        share = nmi / leg.distance_nmi if leg.distance_nmi > 0 else 0.0
        planned_h = (leg.arrive - leg.depart).total_seconds() / 3600
        if leg.kind == "leg" and leg.speed_kn > speed_kn:
            hours[i], litres[i] = nmi / speed_kn, nmi / speed_kn * boat.burn_lph(speed_kn)
        else:
            hours[i], litres[i] = share * planned_h, share * leg.fuel_l
    if len(step_nmi):
        step_nmi[0] += progress.off_nmi
        hours[0] += progress.off_nmi / speed_kn
        litres[0] += progress.off_nmi / speed_kn * boat.burn_lph(speed_kn)
    if len(hours):
        _wait(hours, legs[1:], progress, report.when, waits)
    nmi_sum, hour_sum, litre_sum = (np.concatenate([[0.0], np.cumsum(v)]) for v in (step_nmi, hours, litres))
    return Ahead(tuple(positions), nmi_sum, hour_sum, litre_sum, speed_kn)


def _wait(hours: Points, legs: Sequence[Leg], progress: Progress, when: datetime, waits: Collection[datetime]) -> None:
    """[h] Lie where the plan lies until it goes on: steps that begin so are made longer."""
    gone_h = 0.0
    for i, leg in enumerate(legs):
        begins = legs[i - 1] is not leg if i else progress.share < _AT_ITS_BEGINNING
        if begins and leg.depart in waits:
            hours[i] += max(0.0, (leg.depart - when).total_seconds() / 3600 - gone_h)
        gone_h += float(hours[i])


def over_water(network: Network, boat: Boat, stops: Sequence[int], speed_kn: float) -> Ahead:
    """Find the way over water from a place through others.

    Parameters
    ----------
    network
        With all of them joined.
    boat
        Whose burn counts.
    stops
        Terminals: here, what is to be passed, and the end.
    speed_kn
        [kn] Chosen speed.

    Returns
    -------
    The quickest ways, one after the other.

    Raises
    ------
    InputError
        There is no way.
    """
    tracks = Tracks(network, boat, speed_kn)
    pairs = list(pairwise(stops))
    found = tracks.find(pairs)
    whole: Ahead | None = None
    for a, b in pairs:
        ways = found.get((a, b))
        if not ways:
            places = [network.terminals[t].place.name for t in (a, b)]
            raise InputError("--at", f"no way over water leads from {places[0]} to {places[1]}", remedy="check it")
        track = min(ways, key=lambda track: track.time_h)
        way = walk_track(tracks, b, track)
        lonlat = [(float(x), float(y)) for x, y in network.water.plane.to_lonlat(way.xy)]
        piece = Ahead(
            tuple(lonlat),
            way.distance_nmi,
            way.time_h,
            way.fuel_l,
            speed_kn,
            stretches_of(network.water.plane, track.bends),
        )
        whole = piece if whole is None else _joined(whole, piece)
    if whole is None:
        raise ValueError(stops)  # called with two places at least
    return whole


def _joined(one: Ahead, other: Ahead) -> Ahead:
    return replace(
        one,
        positions=(*one.positions, *other.positions[1:]),
        distance_nmi=np.concatenate([one.distance_nmi, one.total_nmi + other.distance_nmi[1:]]),
        time_h=np.concatenate([one.time_h, one.total_h + other.time_h[1:]]),
        fuel_l=np.concatenate([one.fuel_l, one.total_l + other.fuel_l[1:]]),
    )
