"""Today's burn against the plan's: the fuel aboard by the dial, and what the rest of the way will take.

Since the last known level the dials have shown D, and the plan has the boat burn S up to here. With the meter factor
f = f0 + p, the scatter e of a reading, and today's burn factor 1 + u (one unknown for the whole passage, as in the
arrival rule), what was burnt is told twice,

    (f0 + p) D + e = S (1 + u) + w,        p ~ N(0, sf^2),  e ~ N(0, (g D)^2),  u ~ N(0, k^2),  w ~ N(0, q S),

where w is how the burn wanders from one stretch to the next. All are normal, so what is known after the dial is read
follows in closed form: the dial says how much was burnt, the plan says it too, and their difference y = f0 D - S moves
p and u, each as far as it is in doubt. What is left on arrival is then level - burnt - R (1 + u), with R still to burn
by the plan; burnt and u lean the same way, so their covariance counts.

Where more was burnt than the spread k explains (a foul bottom, a head sea, a leak), u follows a wide spread instead:
as far, and only as far, as today's reading speaks for that more than could be said before. Before anything is burnt
the rule is therefore exactly that of the plan.

A dial that no such day explains isn't bent to fit: the plan may move what the dial says by two standard deviations of
the dial at the most, and u by two of its own where the dial says less. She may have gone back or about, or the meter
may have been reset: no reason to believe in fuel that the dial has counted, or in a burn far below the table.
`surprise` tells how far off a reading is, so that it can be asked about.

References
----------
Conditional normal distributions: Anderson, An Introduction to Multivariate Statistical Analysis, 3rd ed. 2003, 2.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

__all__ = ["Meter", "Spent", "Today", "find_today", "surprise"]

_WANDERS_SHARE = 0.10  # sd of the burn of one stretch about the passage's own (a judgement of ours, not measured)
_STRETCH_SHARE = 0.075  # of the capacity: how much such a stretch burns, some ten miles of a fast day boat
_ODD_CHANCE = 0.05  # share of passages that are no longer those that the spread was learnt of (a judgement of ours)
_ODD_SD_SHARE = 0.25  # sd of the burn on these
_MOST_PULL = 2.0  # standard deviations that the dial, or a burn below the table, is moved by at the most
_MOST_FACTOR = 2.0  # of the planned burn: no day burns more, only a way that isn't the planned one
_LARGEST_LOG = 700.0  # whose exponential is still a float


@dataclass(frozen=True)
class Meter:
    """What the dials are worth.

    Parameters
    ----------
    factor, factor_sd
        Pumped over metered, and its standard deviation.
    scatter_share
        Relative standard deviation of one reading.
    """

    factor: float
    factor_sd: float
    scatter_share: float


@dataclass(frozen=True)
class Spent:
    """What was spent since the last known level.

    Parameters
    ----------
    level_l, level_sd_l
        [l] That level with what part fills have added since, and its standard deviation.
    metered_l
        [l] What all dials together have shown since, uncorrected.
    planned_l
        [l] Mean burn since, by the plan.
    """

    level_l: float
    level_sd_l: float
    metered_l: float
    planned_l: float


@dataclass(frozen=True)
class Today:
    """What is known once the dials are read.

    Parameters
    ----------
    aboard_l, aboard_sd_l
        [l] Fuel aboard.
    factor, factor_sd
        Today's burn over the plan's, for what is left of the passage, and its standard deviation.
    together_l
        [l] Covariance of what was burnt and of the factor: how far the two lean the same way.
    usual_sd
        Standard deviation of the factor before the passage began: none is told wider for a short rest.
    wander_l
        [l] Variance of a burn about today's factor, by its mean.
    """

    aboard_l: float
    aboard_sd_l: float
    factor: float
    factor_sd: float
    together_l: float
    usual_sd: float
    wander_l: float

    def on_arrival(self, burn_l: float) -> tuple[float, float]:
        """Tell what will be left after a burn.

        Parameters
        ----------
        burn_l
            [l] Mean burn still to come, by the plan.

        Returns
        -------
        [l] Mean and standard deviation.
        """
        spread = self.factor_sd**2
        if burn_l > 0:
            spread = max(spread, min(self.usual_sd**2, spread + self.wander_l / burn_l))
        variance = self.aboard_sd_l**2 + burn_l**2 * spread + 2.0 * burn_l * self.together_l
        return self.aboard_l - burn_l * self.factor, math.sqrt(variance)

    def low_l(self, burn_l: float, z: float) -> float:
        """Tell the low figure of what will be left after a burn.

        Parameters
        ----------
        burn_l
            [l] Mean burn still to come, by the plan.
        z
            Standard deviations to keep clear, from `fuel.z_of`.

        Returns
        -------
        [l] The figure that the arrival rule holds against the floor; negative where the tank would be dry.
        """
        mean_l, sd_l = self.on_arrival(burn_l)
        return mean_l - z * sd_l

    def with_earlier(self, burn_l: float) -> Today:
        """Count a burn since the last known level that no dial saw, at today's factor.

        Parameters
        ----------
        burn_l
            [l] By the plan; the level was told less so much.

        Returns
        -------
        Fuel aboard as doubtful as that burn is, and leaning with what is still to come.
        """
        spread = self.factor_sd**2
        variance = self.aboard_sd_l**2 + burn_l**2 * spread + 2.0 * burn_l * self.together_l
        return replace(
            self,
            aboard_l=self.aboard_l - burn_l * (self.factor - 1.0),
            aboard_sd_l=math.sqrt(max(0.0, variance)),
            together_l=self.together_l + burn_l * spread,
        )

    def weighed_with(self, gauge_l: float, gauge_sd_l: float) -> Today:
        """Weigh the fuel aboard with what the gauge says.

        Parameters
        ----------
        gauge_l, gauge_sd_l
            [l] The level by the gauge alone, corrected, and its standard deviation.

        Returns
        -------
        Fuel aboard and factor moved, each as far as it is in doubt.
        """
        variance = self.aboard_sd_l**2
        total = variance + gauge_sd_l**2
        if total == 0:
            return self
        off_l = gauge_l - self.aboard_l
        factor_var = self.factor_sd**2 - self.together_l**2 / total
        return Today(
            self.aboard_l + variance / total * off_l,
            math.sqrt(max(0.0, variance - variance**2 / total)),
            self.factor - self.together_l / total * off_l,  # more aboard: less was burnt
            math.sqrt(max(0.0, factor_var)),
            self.together_l * (1.0 - variance / total),
            self.usual_sd,
            self.wander_l,
        )


def find_today(
    spent: Spent, meter: Meter, sd_share: float, capacity_l: float, before: tuple[float, float] | None = None
) -> Today:
    """Find the fuel aboard and today's burn from what the dials show.

    Parameters
    ----------
    spent
        Since the last known level.
    meter
        What the dials are worth.
    sd_share
        [share] k: relative standard deviation of the burn of a passage.
    capacity_l
        [l] Of the tank: sets how much a stretch burns.
    before
        Factor and its standard deviation as earlier runs of the same passage told; None where this is the first.

    Returns
    -------
    What is known now.

    Examples
    --------
    Solved by hand: a perfect meter shows 44 l where 40 were planned, k = 0.1, and the burn wanders by
    0.01 x 0.075 x 400 = 0.3 l a litre, so 12 l^2 over 40: u = (1600 x 0.01) / (16 + 12) x 4 / 40 = 0.057.

    >>> today = find_today(Spent(300, 0, 44, 40), Meter(1, 0, 0), 0.1, 400)
    >>> today.aboard_l, round(today.factor, 3)
    (256.0, 1.057)
    """
    mean, sd = before or (1.0, sd_share)
    usual_sd = max(sd, 0.0)
    usual, usual_fit = _given(spent, meter, mean, sd, usual_sd, capacity_l)
    if spent.metered_l * meter.factor <= spent.planned_l * mean:
        return usual  # less burnt than planned is no ground to count on less still
    odd, odd_fit = _given(spent, meter, mean, max(_ODD_SD_SHARE, sd), usual_sd, capacity_l)
    against = (1.0 - _ODD_CHANCE) / _ODD_CHANCE * math.exp(min(_LARGEST_LOG, usual_fit - odd_fit))
    speaks = 1.0 / (1.0 + against)
    return _mixed(usual, odd, max(0.0, (speaks - _ODD_CHANCE) / (1.0 - _ODD_CHANCE)))


def surprise(
    spent: Spent, meter: Meter, sd_share: float, capacity_l: float, before: tuple[float, float] | None = None
) -> float:
    """Tell how far the dial is from what was to be expected.

    Parameters
    ----------
    spent, meter, sd_share, capacity_l, before
        As `find_today`.

    Returns
    -------
    In standard deviations; above 0 where the dial says that more was burnt.

    Examples
    --------
    By hand, as in `find_today`: 4 l off, of a variance of 16 + 12.

    >>> round(surprise(Spent(300, 0, 44, 40), Meter(1, 0, 0), 0.1, 400), 3)
    0.756
    """
    mean, sd = before or (1.0, sd_share)
    off_l, of_meter, of_burn, wander = _parts(spent, meter, mean, sd, capacity_l)
    total = of_meter + of_burn + wander
    return off_l / math.sqrt(total) if total > 0 else math.copysign(math.inf, off_l) if off_l else 0.0


def _parts(spent: Spent, meter: Meter, mean: float, sd: float, capacity_l: float) -> tuple[float, float, float, float]:
    """[l, l^2] Tell how far the dial is off, and the variances of dial, burn and wander."""
    shown_l, planned_l = spent.metered_l, spent.planned_l
    of_meter = (shown_l * meter.factor_sd) ** 2 + (shown_l * meter.scatter_share) ** 2
    wander = _WANDERS_SHARE**2 * _STRETCH_SHARE * capacity_l * planned_l
    return meter.factor * shown_l - planned_l * mean, of_meter, (planned_l * sd) ** 2, wander


def _given(
    spent: Spent, meter: Meter, mean: float, sd: float, usual_sd: float, capacity_l: float
) -> tuple[Today, float]:
    """Condition on the dial for one spread of the burn; also the log of the density of what the dial shows."""
    shown_l, planned_l = spent.metered_l, spent.planned_l
    per_l = _WANDERS_SHARE**2 * _STRETCH_SHARE * capacity_l
    off_l, of_meter, of_burn, wander = _parts(spent, meter, mean, sd, capacity_l)
    total = of_meter + of_burn + wander
    if total <= 0:
        aboard_l = spent.level_l - meter.factor * shown_l
        return Today(aboard_l, spent.level_sd_l, mean, sd, 0.0, usual_sd, per_l), 0.0
    most_l = _MOST_PULL * math.sqrt(of_meter)
    pull_l = of_meter / total * off_l
    burnt_l = meter.factor * shown_l - (min(pull_l, most_l) if off_l > 0 else pull_l)
    lean = planned_l * sd**2 / total
    factor = min(max(mean + lean * off_l, mean - _MOST_PULL * sd), max(mean, _MOST_FACTOR))
    today = Today(
        spent.level_l - burnt_l,
        math.sqrt(spent.level_sd_l**2 + max(0.0, of_meter - of_meter**2 / total)),
        factor,
        math.sqrt(max(0.0, sd**2 - lean * planned_l * sd**2)),
        of_meter * lean,
        usual_sd,
        per_l,
    )
    return today, -0.5 * off_l**2 / total - 0.5 * math.log(total)


def _mixed(one: Today, other: Today, share: float) -> Today:
    """Mix two by their first two moments."""
    if share <= 0:
        return one
    keep = 1.0 - share
    aboard_l = keep * one.aboard_l + share * other.aboard_l
    factor = keep * one.factor + share * other.factor
    apart_l, apart = one.aboard_l - other.aboard_l, one.factor - other.factor
    spread = keep * share
    return Today(
        aboard_l,
        math.sqrt(keep * one.aboard_sd_l**2 + share * other.aboard_sd_l**2 + spread * apart_l**2),
        factor,
        math.sqrt(keep * one.factor_sd**2 + share * other.factor_sd**2 + spread * apart**2),
        keep * one.together_l + share * other.together_l - spread * apart_l * apart,
        one.usual_sd,
        one.wander_l,
    )
