"""What a boat really burns: the factor of her burn table, and how much it differs from run to run.

Each run between two fill-ups gives one ratio: what was used over what the burn table says for its speeds and hours. Its
logarithm is normal about the factor's, with the scatter of runs and the error of what was used; one run in thirty or so
is odd. Factor and scatter are laid out on a grid with their priors (`routeplan.priors`). A passage is one more run, so
the relative standard deviation that planning uses joins the scatter of runs and what isn't known of the factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from routeplan import priors

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.fillups import Fillup

__all__ = ["BurnFit", "fit_ratios", "table_burn_l"]

Floats: TypeAlias = "NDArray[np.float64]"
_POINTS = 161
_SCATTERS = np.linspace(-4.0, 4.0, 33)  # standard deviations of the log scatter
_FARTHEST = 3.0  # in the logarithm: a twentieth to twenty times; a run that is known no better says nothing
_ODD_SCALE = 0.5  # in the logarithm: an odd run is off by half or by double as soon as not


@dataclass(frozen=True, eq=False)
class BurnFit:
    """The posterior of a ratio that is common to many runs.

    Parameters
    ----------
    ratios, scatters, weights
        Shape (points,): the common ratio, the relative scatter from run to run, and weights that sum to 1.
    good
        [share] Shape (n,): how likely each run is to be an honest one.
    """

    ratios: Floats
    scatters: Floats
    weights: Floats
    good: Floats

    @property
    def mean(self) -> float:
        """Mean of the common ratio."""
        return float(self.weights @ self.ratios)

    @property
    def sd(self) -> float:
        """Its standard deviation."""
        return math.sqrt(float(self.weights @ (self.ratios - self.mean) ** 2))

    @property
    def scatter(self) -> float:
        """[share] Root mean square scatter from run to run."""
        return math.sqrt(float(self.weights @ self.scatters**2))

    @property
    def next_sd_share(self) -> float:
        """[share] Relative standard deviation of the next run: the scatter, and what isn't known of the ratio."""
        return math.hypot(self.scatter, self.sd / self.mean)


def table_burn_l(boat: Boat, fillup: Fillup) -> float | None:
    """Return what the burn table says for the run that a fill-up ended.

    Parameters
    ----------
    boat
        The boat, with the burn table as her file has it.
    fillup
        The fill-up, with how far and how long the boat had run.

    Returns
    -------
    [l] By the speeds of a recorded track where there is one, else by the mean speed; None where neither is known, or
    where the mean speed is beyond the table.

    Notes
    -----
    A mean speed hides the slow miles and the fast ones: the learnt factor then holds for runs of the same mixture.
    """
    fastest_kn = boat.fastest_kn
    if fillup.speeds_run:
        return sum(boat.burn_lph(min(max(r.speed_kn, 0.1), fastest_kn)) * r.time_h for r in fillup.speeds_run)
    if not fillup.distance_run_nmi or not fillup.engine_hours_h:
        return None
    speed_kn = fillup.distance_run_nmi / fillup.engine_hours_h
    if speed_kn > fastest_kn * 1.1:  # hours are logged to a tenth: a little above is rounding, more is a slip
        return None
    return boat.burn_lph(min(speed_kn, fastest_kn)) * fillup.engine_hours_h


def fit_ratios(
    ratios: Floats, sd_shares: Floats, prior_mean: float = 1.0, prior_sd: float | None = priors.BURN_FACTOR_SD
) -> BurnFit:
    """Fit the ratio that is common to many runs.

    Parameters
    ----------
    ratios
        Shape (n,): one a run, above 0.
    sd_shares
        [share] Shape (n,): relative error of each, apart from the scatter of runs.
    prior_mean, prior_sd
        Of the common ratio; None for a flat prior.

    Returns
    -------
    The posterior; the prior where there is no run.
    """
    logs = np.log(ratios)
    if len(logs):
        each = math.hypot(float(np.std(logs)), float(np.median(sd_shares)), priors.RUN_SCATTER_SHARE)
        middle, reach = float(np.median(logs)), min(8.0 * each / math.sqrt(len(logs)), _FARTHEST)
    else:
        middle, reach = math.log(prior_mean), 4.0 * (prior_sd or 1.0)
    spans = [middle + reach * np.linspace(-1.0, 1.0, _POINTS)]
    if prior_sd is not None:
        spans.append(math.log(prior_mean) + 5.0 * prior_sd / prior_mean * np.linspace(-1.0, 1.0, _POINTS))
    grid = np.unique(np.concatenate(spans))
    mu, z = (a.ravel() for a in np.meshgrid(grid, _SCATTERS, indexing="ij"))
    tau = priors.RUN_SCATTER_SHARE * np.exp(priors.RUN_SCATTER_LOG_SD * z)
    log_weight = np.repeat(np.log(np.gradient(grid)), len(_SCATTERS)) - 0.5 * z**2
    if prior_sd is not None:
        log_weight = log_weight - 0.5 * ((np.exp(mu) - prior_mean) / prior_sd) ** 2 + mu
    honest_shares = []
    for value, error in zip(logs, sd_shares, strict=True):
        variance = tau**2 + error**2
        honest = (1.0 - priors.ODD_SHARE) * np.exp(-0.5 * (value - mu) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
        odd = priors.ODD_SHARE / (np.pi * _ODD_SCALE * (1.0 + ((value - mu) / _ODD_SCALE) ** 2))
        log_weight = log_weight + np.log(honest + odd)
        honest_shares.append(honest / (honest + odd))
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    good = np.array([float(weights @ share) for share in honest_shares])
    return BurnFit(np.exp(mu), tau, weights, good)
