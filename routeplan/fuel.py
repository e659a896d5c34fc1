"""Fuel aboard as a mean and a standard deviation, the arrival rule, and the range that may be promised.

The arrival rule, on which every plan stands: with F0 the fuel at the last full mark (or at departure), of standard
deviation s0, T what part fills have added since, B the mean burn since and k its relative standard deviation, the

    low figure = F0 + T - B - z * sqrt(s0^2 + (k * B)^2)

must stay at or above the unusable fuel and the reserve together. z belongs to the confidence: at 0.90 nine arrivals in
ten keep the whole reserve, at 0.50 z is 0 and the rule is the plain rule of thumb. k is one unknown factor for the
whole passage, so its share grows with B itself and not with its square root.
"""

from __future__ import annotations

import math
import re
from statistics import NormalDist
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan.boats import Reserve
from routeplan.quantities import plain_text, read_share, read_volume_l

if TYPE_CHECKING:
    from routeplan.boats import Boat

__all__ = [
    "CONFIDENCE_HIGH",
    "CONFIDENCE_LOW",
    "FuelAboard",
    "burned_l",
    "full",
    "greatest_burn_l",
    "low_figure_l",
    "promised_range_nmi",
    "read_aboard",
    "read_confidence",
    "run_time_h",
    "with_reserve",
    "z_of",
]

CONFIDENCE_LOW, CONFIDENCE_HIGH = 0.5, 0.999  # share of arrivals; beyond three sigma nothing normal is known of a tank

_PLUS_OR_MINUS = re.compile(r"\u00b1|\+/?-")
_HALF_A_TENTH = 0.05  # display unit: screens round to a tenth, and what a screen said must be taken back


class FuelAboard(BaseModel):
    """The fuel in the tank, and how sure it is.

    Parameters
    ----------
    mean_l
        [l] The best single figure, unusable fuel included.
    sd_l
        [l] Its standard deviation.
    how
        What it was taken from, in words, for the sheet.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    mean_l: Annotated[float, Field(ge=0)]
    sd_l: Annotated[float, Field(ge=0)]
    how: str


def full(boat: Boat) -> FuelAboard:
    """Return the fuel aboard after a fill to the full mark.

    Parameters
    ----------
    boat
        The boat.

    Returns
    -------
    The full mark, with the boat's own standard deviation of it.
    """
    how = f"full, to the mark at {boat.units.echo_volume(boat.tank.full_mark_l)}"
    return FuelAboard(mean_l=boat.tank.full_mark_l, sd_l=boat.full_mark_sd_l, how=how)


def read_aboard(text: str, boat: Boat, where: str) -> FuelAboard:
    """Read the fuel aboard as a skipper states it.

    Parameters
    ----------
    text
        ``full``, ``71gal``, ``71gal±3gal``, ``71 +- 3 gal``; a number without a unit is in the boat's display units.
    boat
        The boat.
    where
        The option or key that it came from.

    Returns
    -------
    Mean and standard deviation; the latter, where not stated, is the boat's `aboard_sd_share` of her capacity.

    Raises
    ------
    InputError
        It can't be read, is negative, or is more than the tank holds.

    Notes
    -----
    Up to half a tenth of a display unit over the capacity is taken as the capacity: a screen that rounds to a tenth may
    have said so.
    """
    if text.strip().casefold() == "full":
        return full(boat)
    parts = _PLUS_OR_MINUS.split(plain_text(text, where))
    if len(parts) > 2:
        raise InputError(where, "has more than one \u00b1", value=text, remedy="write for example 71gal\u00b13gal")
    units = [part.lstrip("0123456789. ") for part in parts]  # a unit said once, on either side, is for both
    read_l = [
        read_volume_l(
            part if unit else f"{part} {next(filter(None, units), '')}".strip(), where, bare=boat.units.volume_unit
        )
        for part, unit in zip(parts, units, strict=True)
    ]
    mean_l = _within_tank_l(read_l[0], boat, text, where)
    shown = boat.units.echo_volume(mean_l)
    if len(read_l) == 1:
        sd_l = boat.instruments.aboard_sd_share * boat.tank.capacity_l
        return FuelAboard(mean_l=mean_l, sd_l=sd_l, how=f"{shown} as stated, give or take {boat.units.volume_up(sd_l)}")
    if read_l[1] > boat.tank.capacity_l:
        problem = f"its \u00b1 is more than the tank holds, {boat.units.echo_volume(boat.tank.capacity_l)}"
        raise InputError(where, problem, value=text, remedy="write one standard deviation")
    return FuelAboard(mean_l=mean_l, sd_l=read_l[1], how=f"{shown} \u00b1 {boat.units.volume_up(read_l[1])} as stated")


def with_reserve(boat: Boat, text: str, where: str) -> Boat:
    """Give a boat another reserve, for one passage.

    Parameters
    ----------
    boat
        The boat.
    text
        A volume; without a unit it is in the boat's display units.
    where
        The option that it came from.

    Returns
    -------
    The boat, else as she was.

    Raises
    ------
    InputError
        It can't be read, is negative, or leaves nothing to burn below the full mark.
    """
    reserve_l = read_volume_l(text, where, bare=boat.units.volume_unit)
    most_l = boat.tank.full_mark_l - boat.tank.unusable_l
    if not 0 <= reserve_l < most_l:
        limit = boat.units.echo_volume(most_l)
        raise InputError(where, f"must be 0 or more and below {limit}, full mark less unusable fuel", value=text)
    return boat.model_copy(update={"reserve": Reserve(rule="volume", value=reserve_l)})


def z_of(confidence: float, where: str = "--confidence") -> float:
    """Return how many standard deviations a confidence stands for.

    Parameters
    ----------
    confidence
        [share] Of arrivals that are to keep the whole reserve, 0.5 to 0.999.
    where
        The option or key that it came from.

    Returns
    -------
    Quantile of the normal distribution; exactly 0 at 0.5.

    Raises
    ------
    InputError
        The confidence is outside 0.5 to 0.999.

    Examples
    --------
    >>> z_of(0.5), round(z_of(0.9), 4)
    (0.0, 1.2816)
    """
    if not CONFIDENCE_LOW <= confidence <= CONFIDENCE_HIGH:
        problem = f"must be from {CONFIDENCE_LOW} to {CONFIDENCE_HIGH}"
        raise InputError(where, problem, value=confidence, remedy="0.9 keeps the reserve on nine arrivals in ten")
    return 0.0 if confidence == CONFIDENCE_LOW else NormalDist().inv_cdf(confidence)


def read_confidence(text: str, where: str) -> float:
    """Read a confidence.

    Parameters
    ----------
    text
        ``0.9`` or ``90 %``.
    where
        The option that it came from.

    Returns
    -------
        [share] From 0.5 to 0.999.

    Raises
    ------
    InputError
        It can't be read, or is outside these limits.
    """
    share = read_share(text, where)
    z_of(share, where)
    return share


def low_figure_l(mean_l: float, burned_l: float, start_sd_l: float, sd_share: float, z: float) -> float:
    """Return the low figure of the fuel aboard, which the arrival rule holds against the floor.

    Parameters
    ----------
    mean_l
        [l] F0 + T: mean fuel at the last full mark or departure, and what part fills have added since.
    burned_l
        [l] B: mean burn since then.
    start_sd_l
        [l] s0: standard deviation of F0.
    sd_share
        [share] k: relative standard deviation of the burn.
    z
        Standard deviations to keep clear, from `z_of`.

    Returns
    -------
    [l] F0 + T - B - z * sqrt(s0^2 + (k * B)^2); negative where the tank would be dry.

    Notes
    -----
    Plain arithmetic without checks: it sits in the innermost loop of the search.

    Examples
    --------
    300 l of sd 3, 40 l burnt at 10 %, two sigma: 300 - 40 - 2 * sqrt(9 + 16) = 250.

    >>> low_figure_l(300, 40, 3, 0.10, 2)
    250.0
    """
    return mean_l - burned_l - z * math.hypot(start_sd_l, sd_share * burned_l)


def greatest_burn_l(mean_l: float, sd_l: float, sd_share: float, z: float, floor_l: float) -> float:
    """Return the largest mean burn for which the arrival rule still holds.

    Parameters
    ----------
    mean_l
        [l] F0 + T, as in `low_figure_l`.
    sd_l
        [l] s0, its standard deviation.
    sd_share
        [share] k, relative standard deviation of the burn.
    z
        Standard deviations to keep clear, 0 or more.
    floor_l
        [l] Unusable fuel and reserve together.

    Returns
    -------
    [l] The burn; 0 where the low figure is at or below the floor before anything is burnt. `low_figure_l` at this
    burn is at or above the floor, in floating point too, unless it was below it from the start.

    Notes
    -----
    With a = F0 + T - floor, p = z s0 and q = (z k)^2 the rule is a - B >= sqrt(p^2 + q B^2). Its left side falls and
    its right side doesn't, so there is one edge: the root of (1 - q) B^2 - 2 a B + (a^2 - p^2) = 0 with
    B <= a. Written as

        B = (a - p) (a + p) / (a + sqrt(p^2 + q (a - p) (a + p)))

    it loses no digits and needs no case for q = 1, q > 1 (where the other root is negative) or z = 0 (where B = a).

    Examples
    --------
    By hand: 250 l above the floor with sd 3 at two sigma and 10 % left 40 l of burn in `low_figure_l`.

    >>> round(greatest_burn_l(300, 3, 0.10, 2, 250), 9)
    40.0
    """
    if low_figure_l(mean_l, 0.0, sd_l, sd_share, z) <= floor_l:
        return 0.0
    above_l, start_l = mean_l - floor_l, z * sd_l
    product = (above_l - start_l) * (above_l + start_l)
    burn_l = min(above_l, product / (above_l + math.sqrt(start_l**2 + (z * sd_share) ** 2 * product)))
    # The last bits of the root may lie on the wrong side of the rule as it is evaluated: step back over the edge, in
    # steps that double, as the rule's own rounding may be far coarser than the burn's.
    step_l = math.ulp(burn_l)
    while burn_l > 0 and low_figure_l(mean_l, burn_l, sd_l, sd_share, z) < floor_l:
        burn_l = max(0.0, burn_l - step_l)
        step_l *= 2
    return burn_l


def promised_range_nmi(
    boat: Boat, aboard: FuelAboard, speed_kn: float, confidence: float, where: str = "speed"
) -> float:
    """Return the distance that may be promised at one speed: at its end the arrival rule just holds.

    Parameters
    ----------
    boat
        The boat.
    aboard
        Fuel aboard at the start.
    speed_kn
        [kn] Speed through the water.
    confidence
        [share] Of arrivals that are to keep the whole reserve.
    where
        The option or key that the speed came from.

    Returns
    -------
    [nmi] Distance through the water; at confidence 0.5 it is `Boat.range_nmi`.

    Raises
    ------
    InputError
        The speed is outside the burn table, or the confidence outside its limits.
    """
    burn_l = greatest_burn_l(aboard.mean_l, aboard.sd_l, boat.burn.sd_share, z_of(confidence), boat.floor_l)
    return burn_l * boat.economy_nmi_per_l(speed_kn, where)


def run_time_h(distance_nmi: float, speed_kn: float) -> float:
    """Return the time that a run takes.

    Parameters
    ----------
    distance_nmi
        [nmi] Distance.
    speed_kn
        [kn] Speed, above 0.

    Returns
    -------
    [h] Distance over speed.

    Examples
    --------
    >>> run_time_h(42, 28)
    1.5
    """
    return distance_nmi / speed_kn


def burned_l(boat: Boat, distance_nmi: float, speed_kn: float) -> float:
    """Return the fuel that a run burns.

    Parameters
    ----------
    boat
        The boat.
    distance_nmi
        [nmi] Distance through the water.
    speed_kn
        [kn] Speed through the water.

    Returns
    -------
    [l] The mean burn: burn per hour times time.

    Raises
    ------
    InputError
        The speed is not above 0, or above the fastest of the burn table.
    """
    return boat.burn_lph(speed_kn) * run_time_h(distance_nmi, speed_kn)


def _within_tank_l(mean_l: float, boat: Boat, text: str, where: str) -> float:
    capacity_l = boat.tank.capacity_l
    if mean_l > capacity_l + _HALF_A_TENTH * boat.units.litres_per_unit:
        problem = f"more than {boat.name}'s tank holds, {boat.units.echo_volume(capacity_l)}"
        raise InputError(where, problem, value=text, remedy="check the figure and its unit")
    return min(mean_l, capacity_l)
