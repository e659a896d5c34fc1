"""How far along a plan a position is: run and leg, what the plan has burnt by there, how far off the way it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from layers.plane import METRES_PER_NMI

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from layers.plane import Plane
    from routeplan.plan_hops import Hop

__all__ = ["Progress", "burned_by", "find_progress"]

_LATE_COUNTS = 0.02  # [nmi/nmi] of two stretches equally near, the one that the time of day speaks for is taken


@dataclass(frozen=True)
class Progress:
    """A place along a run.

    Parameters
    ----------
    hop
        Index of the run.
    leg
        Index of the leg within it.
    share
        [share] Of that leg that lies behind.
    off_nmi
        [nmi] Distance from the way.
    gone_nmi, burned_l
        [nmi, l] From the run's beginning, by the plan.
    planned_at
        When the plan has the boat there.
    """

    hop: int
    leg: int
    share: float
    off_nmi: float
    gone_nmi: float
    burned_l: float
    planned_at: datetime


def find_progress(
    plane: Plane, hops: Sequence[Hop], hop: int, position: tuple[float, float], when: datetime
) -> Progress:
    """Find how far along a run a position is.

    Parameters
    ----------
    plane
        The region's metric plane.
    hops
        The plan's runs.
    hop
        Index of the run that the boat is on.
    position
        [deg] Longitude and latitude.
    when
        The moment: it decides where a run comes by twice.

    Returns
    -------
    The nearest place on the run's legs.
    """
    run = hops[hop]
    here = plane.to_plane([position])[0]
    a = plane.to_plane([leg.from_position for leg in run.legs])
    b = plane.to_plane([leg.to_position for leg in run.legs])
    along = b - a
    length2 = (along**2).sum(axis=1)
    share = np.clip(((here - a) * along).sum(axis=1) / np.where(length2 > 0, length2, 1.0), 0.0, 1.0)
    off_nmi = np.hypot(*(a + along * share[:, None] - here).T) / METRES_PER_NMI
    hours = [
        abs((leg.depart + float(s) * (leg.arrive - leg.depart) - when).total_seconds()) / 3600
        for leg, s in zip(run.legs, share, strict=True)
    ]
    leg = int(np.argmin(off_nmi + _LATE_COUNTS * run.speed_kn * np.array(hours)))
    part = float(share[leg])
    before = run.legs[:leg]
    this = run.legs[leg]
    return Progress(
        hop,
        leg,
        part,
        float(off_nmi[leg]),
        sum(one.distance_nmi for one in before) + part * this.distance_nmi,
        sum(one.fuel_l for one in before) + part * this.fuel_l,
        this.depart + part * (this.arrive - this.depart),
    )


def burned_by(hop: Hop, when: datetime) -> float:
    """[l] Tell the plan's mean burn on a run up to a moment.

    Parameters
    ----------
    hop
        The run.
    when
        The moment.

    Returns
    -------
    0 before the run begins, all of it after it ends.
    """
    burned_l = 0.0
    for leg in hop.legs:
        lasts_s = (leg.arrive - leg.depart).total_seconds()
        share = 1.0 if when >= leg.arrive else max(0.0, (when - leg.depart).total_seconds() / max(lasts_s, 1.0))
        burned_l += min(1.0, share) * leg.fuel_l
    return burned_l
