"""What would sharpen a learnt figure most: how many more fill-ups halve its standard deviation, and of which kind."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from routeplan.gauge_fit import hat_design

if TYPE_CHECKING:
    from routeplan.boats import Boat
    from routeplan.burn_fit import BurnFit
    from routeplan.gauge_fit import GaugeFit
    from routeplan.meter_fit import MeterFit
    from routeplan.units_shown import DisplayUnits

__all__ = ["count_word", "fills_to_halve", "sharpen_burn", "sharpen_gauge", "sharpen_meter", "sharpen_scatter"]

_MOST = 60  # fill-ups: a promise for longer than some seasons helps nobody
_Z_ONE_IN_TWENTY = NormalDist().inv_cdf(0.95)
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def count_word(count: int) -> str:
    """Write a small number as a word.

    Parameters
    ----------
    count
        0 or more.

    Returns
    -------
    A word up to twelve, then figures.

    Examples
    --------
    >>> count_word(3), count_word(13)
    ('three', '13')
    """
    return _WORDS[count] if count < len(_WORDS) else str(count)


def fills_to_halve(fit: MeterFit, used_l: float) -> int | None:
    """Count the full fill-ups that would halve the standard deviation of the meter factor.

    Parameters
    ----------
    fit
        What is known of it.
    used_l
        [l] What each run before them would use.

    Returns
    -------
    How many; None where sixty wouldn't.

    Notes
    -----
    A Kalman filter for factor and last fill, run forward at the scatters' means: its variances don't depend on what
    will be read.
    """
    weights, meters = fit.weights, fit.factors.shape[1]
    factor = float(weights @ fit.common)
    factor_var = float(weights @ (fit.common - factor) ** 2)
    fill_var = float(weights @ fit.full_mark_sd_l) ** 2
    noise = (float(weights @ fit.meter_sd_share) * used_l) ** 2 / meters
    metered_l = used_l / factor
    covariance = np.diag([factor_var, float(weights @ fit.last_var_l2)])
    step = np.array([[1.0, 0.0], [-metered_l, 1.0]])
    for count in range(1, _MOST + 1):
        covariance = step @ covariance @ step.T + np.diag([0.0, noise])
        gain = covariance[:, 1] / (covariance[1, 1] + fill_var)
        covariance = covariance - np.outer(gain, covariance[1])
        if covariance[0, 0] <= factor_var / 4.0:
            return count
    return None


def sharpen_meter(fit: MeterFit, used_l: float, deep_l: float, units: DisplayUnits) -> str:
    """Tell what would sharpen the meter factor.

    Parameters
    ----------
    fit
        What is known of it.
    used_l
        [l] What a run of this boat uses between two fill-ups.
    deep_l
        [l] What a long run may use without touching the reserve.
    units
        To tell it in.

    Returns
    -------
    A clause without a full stop.
    """
    usual, deep = fills_to_halve(fit, used_l), fills_to_halve(fit, deep_l)
    if usual is None and deep is None:
        return "more fill-ups hardly sharpen this: fills to the mark differ too much from one another"
    long_run = f"uses about {units.volume(deep_l)}"
    if usual is None:
        return f"{_more(deep or 0)} {_halve(deep or 0)} this if the run before each {long_run}"
    told = f"{_more(usual)} {_halve(usual)} this"
    if deep is not None and deep <= 0.7 * usual:
        told += f", {count_word(deep)} if the run before each {long_run}"
    return told


def sharpen_scatter(sd_share: float, part: float) -> str:
    """Tell what would sharpen a scatter.

    Parameters
    ----------
    sd_share
        [share] Its standard deviation, relative to itself.
    part
        [share] Which part it has in the variance of what it is seen in.

    Returns
    -------
    A clause without a full stop.

    Notes
    -----
    One value tells of the logarithm of its own standard deviation with a variance of 1/2; of a scatter that makes a
    part p of the variance, with 1 / (2 p^2). Halving a standard deviation takes three times what is known already.
    """
    more = math.ceil(3.0 / (sd_share**2 * 2.0 * part**2)) if sd_share > 0 and part > 0 else _MOST + 1
    if more > _MOST:
        return "more fill-ups sharpen this but slowly"
    return f"{_more(more)} {_halve(more)} what isn't known of this"


def sharpen_burn(fit: BurnFit, runs: int, what: str) -> str:
    """Tell what would sharpen the burn factor, or the economy.

    Parameters
    ----------
    fit
        What is known of it.
    runs
        Runs that it rests on.
    what
        What has to be written down for one.

    Returns
    -------
    A clause without a full stop.
    """
    relative_var = (fit.sd / fit.mean) ** 2
    more = math.ceil(3.0 * fit.scatter**2 / relative_var) if relative_var > 0 else _MOST + 1
    if more > _MOST:
        return "more runs hardly sharpen this: the burn differs from run to run"
    verb = "halves" if more == 1 else "halve"
    kind = "run" if more == 1 else "runs"
    return f"{count_word(more)} {'more ' if runs else ''}{kind} with {what} written down {verb} this"


def sharpen_gauge(fit: GaugeFit, boat: Boat, level_sd_l: float) -> str:
    """Tell where more readings would sharpen the gauge table most.

    Parameters
    ----------
    fit
        What is known of it.
    boat
        The boat.
    level_sd_l
        [l] How well the level at a full fill-up is known.

    Returns
    -------
    A clause without a full stop.

    Notes
    -----
    Only readings are asked for at which the tank holds more than the floor nineteen times in twenty: nobody is asked
    to run a boat into her reserve to learn something.
    """
    capacity_l = boat.tank.capacity_l
    levels = np.linspace(0.05, 0.6, 24) * capacity_l
    readings = [float(reading) for reading in fit.shows_l(levels).mean(axis=0)]
    safe = [place for place, reading in enumerate(readings) if _low_at(fit, reading) > boat.floor_l]
    if not safe:
        return "readings at fill-ups sharpen it, at levels that the meter says are well above the reserve"
    design = hat_design(levels[safe], fit.prior.knots_l)
    variances = np.einsum("ij,jk,ik->i", design, fit.covariance_l2, design)
    worst = int(np.argmax(variances))
    variance = fit.scatter_l**2 + fit.step_l**2 / 12.0 + level_sd_l**2
    # A reading at the very place: its precision adds, so halving the sd takes three times what is known already.
    more = math.ceil(3.0 * variance / float(variances[worst]))
    if more > _MOST:
        return "more readings hardly sharpen this: the needle itself scatters"
    noun = "reading" if more == 1 else "readings"
    where = f"near {boat.units.volume(readings[safe[worst]])}"
    return f"{count_word(more)} more {noun} {where} before a full fill-up {_halve(more)} what isn't known there"


def _low_at(fit: GaugeFit, reading_l: float) -> float:
    """[l] Return what is there nineteen times in twenty where the gauge shows a reading, its scatter counted."""
    scatter_l = math.hypot(fit.scatter_l, fit.step_l / math.sqrt(12.0))
    return float(np.quantile(fit.levels_at_l(reading_l), 0.05)) - _Z_ONE_IN_TWENTY * scatter_l


def _more(count: int) -> str:
    return f"{count_word(count)} more full fill-up{'' if count == 1 else 's'}"


def _halve(count: int) -> str:
    return "halves" if count == 1 else "halve"
