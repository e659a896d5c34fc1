"""Quantities as a screen or a sheet shows them, in the boat's display units.

Distances are always nautical miles and speeds knots; volumes are gallons or litres, lengths and depths feet or metres.
A figure that safety hangs on is rounded to the safe side: fuel that is left down, fuel that is needed up, water down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from routeplan.quantities import (
    LITRES_PER_IMPGAL,
    LITRES_PER_USGAL,
    METRES_PER_FT,
    METRES_PER_IN,
    GallonUnit,
    VolumeUnit,
)

__all__ = [
    "DisplayUnits",
    "UnitSystem",
    "shown_distance",
    "shown_distance_down",
    "shown_duration",
    "shown_money",
    "shown_speed",
]

UnitSystem: TypeAlias = Literal["us", "imperial", "metric"]

# A figure that is a whole number of last digits but for floating point must not lose (or gain) a digit when it is
# rounded to the safe side: this much of the last digit is forgiven, 1e-7 gal on a tenth of a gallon.
_FORGIVEN = 1e-6


@dataclass(frozen=True)
class DisplayUnits:
    """The units that one boat's figures are shown in.

    Parameters
    ----------
    system
        ``us`` (US gallons, feet), ``imperial`` (imperial gallons, feet) or ``metric`` (litres, metres).

    Examples
    --------
    >>> us = DisplayUnits("us")
    >>> us.volume(268.76), us.volume_down(268.76), us.volume_up(268.79)
    ('71.0 gal', '70.9 gal', '71.1 gal')
    >>> us.volume_pm(268.76, 11.36), us.economy(0.375), us.length(9.6012)
    ('71.0 ± 3.1 gal', '1.42 nmi/gal', '31 ft 6 in')
    """

    system: UnitSystem

    @property
    def volume_unit(self) -> VolumeUnit:
        """The unit of volume by the name that `quantities.read_volume_l` takes as `bare`."""
        units: dict[UnitSystem, VolumeUnit] = {"us": "usgal", "imperial": "impgal", "metric": "l"}
        return units[self.system]

    @property
    def gallon(self) -> GallonUnit | None:
        """The gallon that a bare ``gal`` means; None under metric units, where it means nothing."""
        gallons: dict[UnitSystem, GallonUnit | None] = {"us": "usgal", "imperial": "impgal", "metric": None}
        return gallons[self.system]

    @property
    def volume_label(self) -> str:
        """The unit of volume as printed beside a figure."""
        return "l" if self.system == "metric" else "gal"

    @property
    def short_length(self) -> Literal["m", "ft"]:
        """The unit of depths and clearances."""
        return "m" if self.system == "metric" else "ft"

    @property
    def litres_per_unit(self) -> float:
        """[l] One unit of volume."""
        return {"us": LITRES_PER_USGAL, "imperial": LITRES_PER_IMPGAL, "metric": 1.0}[self.system]

    def volume(self, volume_l: float) -> str:
        """Show a volume to the nearest tenth.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        ``71.0 gal``.
        """
        return f"{_fixed(volume_l / self.litres_per_unit, 1)} {self.volume_label}"

    def volume_down(self, volume_l: float) -> str:
        """Show fuel that is left, or may be used: rounded down to a tenth, so that nobody counts on what isn't there.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        ``70.9 gal``.
        """
        return f"{_fixed(_down(volume_l / self.litres_per_unit, 1), 1)} {self.volume_label}"

    def volume_up(self, volume_l: float) -> str:
        """Show fuel that is needed, or burnt: rounded up to a tenth.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        ``71.1 gal``.
        """
        return f"{_fixed(-_down(-volume_l / self.litres_per_unit, 1), 1)} {self.volume_label}"

    def volume_pm(self, mean_l: float, sd_l: float) -> str:
        """Show fuel aboard as mean and standard deviation, the latter rounded up.

        Parameters
        ----------
        mean_l
            [l] The mean.
        sd_l
            [l] The standard deviation.

        Returns
        -------
        ``71.0 ± 3.0 gal``.
        """
        mean, sd = mean_l / self.litres_per_unit, -_down(-sd_l / self.litres_per_unit, 1)
        return f"{_fixed(mean, 1)} ± {_fixed(sd, 1)} {self.volume_label}"

    def echo_volume(self, volume_l: float) -> str:
        """Say what was understood, so that the wrong gallon is seen at once.

        Parameters
        ----------
        volume_l
            [l] The volume.

        Returns
        -------
        ``71.0 US gal (268.8 l)``, or ``268.8 l`` under metric units.

        Examples
        --------
        >>> DisplayUnits("imperial").echo_volume(268.76)
        '59.1 imperial gal (268.8 l)'
        """
        litres = f"{_fixed(volume_l, 1)} l"
        if self.system == "metric":
            return litres
        which = "US" if self.system == "us" else "imperial"
        return f"{_fixed(volume_l / self.litres_per_unit, 1)} {which} gal ({litres})"

    def burn(self, burn_lph: float) -> str:
        """Show a burn to the nearest tenth.

        Parameters
        ----------
        burn_lph
            [l/h] The burn.

        Returns
        -------
        ``14.5 gal/h``.
        """
        return f"{_fixed(burn_lph / self.litres_per_unit, 1)} {self.volume_label}/h"

    def economy(self, economy_nmi_per_l: float) -> str:
        """Show an economy, distance per volume.

        Parameters
        ----------
        economy_nmi_per_l
            [nmi/l] The economy.

        Returns
        -------
        ``1.42 nmi/gal`` or ``0.375 nmi/l``.
        """
        digits = 3 if self.system == "metric" else 2
        return f"{_fixed(economy_nmi_per_l * self.litres_per_unit, digits)} nmi/{self.volume_label}"

    def price(self, price_per_l: float, currency: str) -> str:
        """Show a price of fuel.

        Parameters
        ----------
        price_per_l
            [currency/l] The price.
        currency
            Its three letters, as the region gives them.

        Returns
        -------
        ``EUR 7.00/gal`` or ``EUR 1.850/l``.

        Examples
        --------
        >>> DisplayUnits("us").price(1.85, "EUR"), DisplayUnits("metric").price(1.85, "EUR")
        ('EUR 7.00/gal', 'EUR 1.850/l')
        """
        digits = 3 if self.system == "metric" else 2
        return f"{currency} {_fixed(price_per_l * self.litres_per_unit, digits)}/{self.volume_label}"

    def length(self, length_m: float) -> str:
        """Show a length to the nearest inch or centimetre.

        Parameters
        ----------
        length_m
            [m] The length.

        Returns
        -------
        ``31 ft 6 in`` or ``9.60 m``.
        """
        if self.system == "metric":
            return f"{_fixed(length_m, 2)} m"
        sign = "-" if length_m < 0 else ""
        feet, inches = divmod(round(abs(length_m) / METRES_PER_IN), 12)
        return f"{sign}{feet} ft {inches} in" if feet else f"{sign}{inches} in"

    def depth(self, depth_m: float) -> str:
        """Show a depth of water or a height over it, rounded down to a tenth: never more room than there is.

        Parameters
        ----------
        depth_m
            [m] The depth or clearance; negative where the ground dries.

        Returns
        -------
        ``7.8 ft`` or ``2.4 m``.
        """
        if self.system == "metric":
            return f"{_fixed(_down(depth_m, 1), 1)} m"
        return f"{_fixed(_down(depth_m / METRES_PER_FT, 1), 1)} ft"

    def room(self, length_m: float) -> str:
        """Show a distance kept, to the nearest whole foot or metre.

        Parameters
        ----------
        length_m
            [m] The distance.

        Returns
        -------
        ``164 ft`` or ``50 m``.

        Examples
        --------
        >>> DisplayUnits("us").room(50), DisplayUnits("metric").room(50)
        ('164 ft', '50 m')
        """
        return f"{length_m:.0f} m" if self.system == "metric" else f"{length_m / METRES_PER_FT:.0f} ft"

    def depth_up(self, depth_m: float) -> str:
        """Show water, or height, that is needed: rounded up to a tenth.

        Parameters
        ----------
        depth_m
            [m] The need.

        Returns
        -------
        ``7.9 ft`` or ``2.4 m``.

        Examples
        --------
        >>> DisplayUnits("metric").depth_up(2.31), DisplayUnits("metric").depth_up(2.3)
        ('2.4 m', '2.3 m')
        """
        if self.system == "metric":
            return f"{_fixed(-_down(-depth_m, 1), 1)} m"
        return f"{_fixed(-_down(-depth_m / METRES_PER_FT, 1), 1)} ft"


def shown_distance(distance_nmi: float) -> str:
    """Show a distance to the nearest tenth.

    Parameters
    ----------
    distance_nmi
        [nmi] The distance.

    Returns
    -------
    ``12.3 nmi``.
    """
    return f"{_fixed(distance_nmi, 1)} nmi"


def shown_distance_down(distance_nmi: float) -> str:
    """Show a distance that is promised: rounded down to a whole mile.

    Parameters
    ----------
    distance_nmi
        [nmi] The distance.

    Returns
    -------
    ``125 nmi``.

    Examples
    --------
    >>> shown_distance_down(125.9)
    '125 nmi'
    """
    return f"{_fixed(_down(distance_nmi, 0), 0)} nmi"


def shown_speed(speed_kn: float) -> str:
    """Show a speed, with a tenth only where there is one.

    Parameters
    ----------
    speed_kn
        [kn] The speed.

    Returns
    -------
    ``24 kn`` or ``24.5 kn``.
    """
    return f"{_fixed(speed_kn, 1).removesuffix('.0')} kn"


def shown_duration(duration_h: float) -> str:
    """Show a length of time to the nearest minute.

    Parameters
    ----------
    duration_h
        [h] The duration.

    Returns
    -------
    ``25 min``, ``1 h 30 min`` or ``38 d 2 h``, the last without minutes.

    Examples
    --------
    >>> shown_duration(0.4), shown_duration(1.5), shown_duration(914.0)
    ('24 min', '1 h 30 min', '38 d 2 h')
    """
    minutes = round(abs(duration_h) * 60)
    sign = "-" if duration_h < 0 and minutes else ""
    hours, minutes = divmod(minutes, 60)
    if hours >= 48:
        days, hours = divmod(round(abs(duration_h)), 24)
        return f"{sign}{days} d {hours} h"
    return f"{sign}{hours} h {minutes:02d} min" if hours else f"{sign}{minutes} min"


def shown_money(amount: float, currency: str) -> str:
    """Show an amount of money.

    Parameters
    ----------
    amount
        [currency] The amount.
    currency
        Its three letters, as the region gives them.

    Returns
    -------
    ``EUR 123.40``.
    """
    return f"{currency} {_fixed(amount, 2)}"


def _down(number: float, digits: int) -> float:
    scale = 10.0**digits
    return math.floor(number * scale + _FORGIVEN) / scale


def _fixed(number: float, digits: int) -> str:
    text = f"{number:.{digits}f}"
    return text.removeprefix("-") if float(text) == 0 else text  # never a negative zero
