"""How likely a plan keeps the reserve all the way, and how likely it never runs dry.

The arrival rule holds for each arrival by itself; a skipper asks about all of them together. They have the burn factor
in common, and within a stretch from one full mark to the next they share the error of its level too.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.problem import Label, Problem

__all__ = ["Chances", "Stretch", "find_chance", "find_chances", "find_stretches"]

_FAR = 9  # standard deviations; beyond lies 1e-19 of a normal distribution
_NODES = 24  # of a panel: Gauss-Legendre over one standard deviation of anything, good to rounding
_TIE_L = 1e-9  # [l] an arrival on the limit but for rounding keeps it


@dataclass(frozen=True)
class Chances:
    """What may be expected of a plan as a whole.

    Parameters
    ----------
    reserve_kept
        [share] Chance that no arrival is below the floor.
    never_dry
        [share] Chance that none is below the unusable fuel.
    """

    reserve_kept: float
    never_dry: float


@dataclass(frozen=True)
class Stretch:
    """The arrivals from one full mark, or the departure, to the next.

    Parameters
    ----------
    sd_l
        [l] Standard deviation of its known level.
    arrivals_l
        [l] For each arrival the mean of that level, part fills since included, and the mean burn since.
    """

    sd_l: float
    arrivals_l: tuple[tuple[float, float], ...]


def find_chances(problem: Problem, label: Label) -> Chances:
    """Find how likely a plan keeps the reserve, and how likely it never runs dry.

    Parameters
    ----------
    problem
        The search that it was found by.
    label
        The plan's last arrival.

    Returns
    -------
    Both chances.

    Notes
    -----
    See `find_chance`. Fuel only falls between places, so it is least at arrivals.
    """
    stretches = find_stretches(label)
    return Chances(
        find_chance(stretches, problem.sd_share, problem.floor_l),
        find_chance(stretches, problem.sd_share, problem.unusable_l),
    )


def find_stretches(label: Label) -> tuple[Stretch, ...]:
    """Part a plan at its full marks.

    Parameters
    ----------
    label
        The plan's last arrival.

    Returns
    -------
    Its stretches in order; those without an arrival are left out.
    """
    path = label.path()
    sd_l = path[0].sd_l
    stretches: list[Stretch] = []
    arrivals: list[tuple[float, float]] = []
    for before, step in pairwise(path):
        if step.hop is not None:
            arrivals.append((before.mean_l, before.burned_l + step.hop.track.fuel_l))
        if step.fill is not None and step.fill.to_mark:  # a part fill tells nothing new of the level
            stretches.append(Stretch(sd_l, tuple(arrivals)))
            sd_l, arrivals = step.sd_l, []
    stretches.append(Stretch(sd_l, tuple(arrivals)))
    return tuple(stretch for stretch in stretches if stretch.arrivals_l)


def find_chance(stretches: Sequence[Stretch], sd_share: float, limit_l: float) -> float:
    """Find how likely no arrival is below a limit.

    Parameters
    ----------
    stretches
        All arrivals.
    sd_share
        [share] k: relative standard deviation of the burn, one factor for all of them.
    limit_l
        [l] What is to be left.

    Returns
    -------
    [share] The chance.

    Notes
    -----
    The burn factor is K = 1 + k x, with x a standard normal. Of a stretch whose level L has the error e, normal with
    sd s, arrival i keeps the limit where L_i + e - K B_i >= limit. Given x the stretches know nothing of one another:

        chance = integral of phi(x) * product of Phi(-m(x) / s), m(x) = max over i of limit + (1 + k x) B_i - L_i

    m is convex and rises along straight pieces, so the integral is cut where pieces meet and where m is a whole number
    of s; in each panel all is smooth, and the sum is good to some 1e-12 however small s or k are. A level without
    doubt makes a step: the integral ends where the first of these m rises above 0. As a burn factor a normal goes
    below 0, with odds that are nothing at the shares boats have (3e-7 at k = 0.2).

    Examples
    --------
    100 l of sd 3, 40 l burnt at 10 %, 50 l to be left: 10 l over at an sd of 5, two of them.

    >>> round(find_chance([Stretch(3.0, ((100.0, 40.0),))], 0.10, 50.0), 6)
    0.97725
    """
    parts = [_lines(stretch, sd_share, limit_l) for stretch in stretches if stretch.arrivals_l]
    with np.errstate(over="ignore"):  # what is beyond all numbers is beyond _FAR too
        if sd_share == 0:
            kept = [float(ndtr(-max(part.at) / part.sd)) if part.sd > 0 else max(part.at) <= _TIE_L for part in parts]
            return float(np.prod(kept))
        end = min((part.end() for part in parts), default=float(_FAR))
        edges = np.concatenate([np.arange(-_FAR, _FAR + 1, dtype=float), *(part.cuts() for part in parts), [end]])
        edges = np.unique(edges[(edges >= -_FAR) & (edges <= end)])
        x, weights = _panels(edges)
        share = weights * np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi)
        for part in parts:
            share = share * part.kept(x)
    return min(1.0, float(share.sum()))


@dataclass(frozen=True)
class _Lines:
    """A stretch seen by the burn factor's standard normal x: each arrival asks the level's error for at + slope * x."""

    sd: float
    at: NDArray[np.float64]
    slope: NDArray[np.float64]

    def end(self) -> float:
        """Tell where a level without doubt begins to miss the limit; _FAR for others."""
        if self.sd > 0:
            return _FAR
        rises = self.slope > 0
        if np.any(self.at[~rises] > _TIE_L):
            return -np.inf
        return float(np.min(-self.at[rises] / self.slope[rises], initial=_FAR))

    def cuts(self) -> NDArray[np.float64]:
        """List where it isn't smooth, or moves on by one standard deviation of the level."""
        if self.sd == 0:
            return np.empty(0)
        rises = self.slope > 0
        steps = np.arange(-_FAR, _FAR + 1)[:, None] * self.sd
        a, b = np.triu_indices(len(self.at), 1)
        meet = self.slope[a] != self.slope[b]
        a, b = a[meet], b[meet]
        meets = (self.at[a] - self.at[b]) / (self.slope[b] - self.slope[a])
        return np.concatenate([((steps - self.at[rises]) / self.slope[rises]).ravel(), meets])

    def kept(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Tell the chance that all its arrivals keep the limit, for each x before the end."""
        if self.sd == 0:
            return np.ones_like(x)
        return np.asarray(ndtr(-np.max(self.at[:, None] + self.slope[:, None] * x, axis=0) / self.sd))


def _lines(stretch: Stretch, sd_share: float, limit_l: float) -> _Lines:
    mean_l, burned_l = np.array(stretch.arrivals_l).T
    return _Lines(stretch.sd_l, limit_l + burned_l - mean_l, sd_share * burned_l)


def _panels(edges: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lay Gauss-Legendre's nodes and weights out between each two edges."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    half, middle = np.diff(edges) / 2, (edges[1:] + edges[:-1]) / 2
    return (middle[:, None] + half[:, None] * nodes).ravel(), (half[:, None] * weights).ravel()
