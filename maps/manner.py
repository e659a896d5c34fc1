"""How one map tells things: the units of its depths, heights and volumes, and what counts as close to its track."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import shapely

from maps.geometry import distance_m, iterate_rows
from maps.words import write_number

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

__all__ = ["Lengths", "Manner", "Volumes"]

Lengths = Literal["m", "ft"]
"""The unit of depths, clearances, keep-offs and lengths of boats: metres or feet."""

Volumes = Literal["l", "usgal", "impgal"]
"""The unit of volumes: litres, US or imperial gallons."""

_L_PER: dict[Volumes, float] = {
    "l": 1.0,
    "usgal": 3.785411784,  # [l] exact: 231 cubic inches (NIST SP 811, appendix B.8)
    "impgal": 4.54609,  # [l] exact (United Kingdom, Weights and Measures Act 1985, schedule 1)
}
_M_PER_FT = 0.3048  # [m] the international foot, exact by definition (1959 agreement; NIST SP 811, appendix B.6)
_NEAR_M = 926.0  # [m] half a nautical mile, our choice: what a fast boat covers in a minute or so


@dataclass(frozen=True, eq=False)
class Manner:
    """How one map tells things.

    Parameters
    ----------
    lengths
        The unit of depths, clearances and keep-offs.
    track
        Everything that the boat runs along; None on a map without a passage.
    volumes
        The unit of volumes.
    """

    lengths: Lengths = "m"
    track: BaseGeometry | None = None
    volumes: Volumes = "l"

    @classmethod
    def of(cls, lengths: Lengths, legs: GeoDataFrame | None, volumes: Volumes = "l") -> Manner:
        """Return the manner of a map.

        Parameters
        ----------
        lengths
            Its unit of depths, clearances and keep-offs.
        legs
            The passage's legs, if there are any.
        volumes
            Its unit of volumes.

        Returns
        -------
        Manner
            It knows the whole track.
        """
        lines = [shape for _, shape in iterate_rows("legs", legs)]
        return cls(lengths, shapely.GeometryCollection(lines) if lines else None, volumes)

    def length(self, metres: float, *, up: bool = False) -> str:
        """Return a depth, height or distance with its unit.

        Parameters
        ----------
        metres
            [m] The length.
        up
            True where more is the safe side, as with a distance to keep off.

        Returns
        -------
        str
            To a tenth, never on the unsafe side of the value.

        Examples
        --------
        >>> Manner("m").length(4.16), Manner("ft").length(4.16), Manner("ft").length(100, up=True)
        ('4.1 m', '13.6 ft', '328.1 ft')
        """
        return f"{self.figure(metres, up=up)} {self.lengths}"

    def figure(self, metres: float, *, up: bool = False) -> str:
        """Return a length as `length` does, without its unit.

        Parameters
        ----------
        metres
            [m] The length.
        up
            True where more is the safe side.

        Returns
        -------
        str
            To a tenth.

        Examples
        --------
        >>> Manner("m").figure(2), Manner("ft").figure(2), Manner("m").figure(-1.25)
        ('2', '6.5', '-1.3')
        """
        tenths = round((metres if self.lengths == "m" else metres / _M_PER_FT) * 10, 6)  # 4.1 m is 40.99999 tenths
        return write_number((math.ceil(tenths) if up else math.floor(tenths)) / 10, 1)

    @property
    def volume_label(self) -> str:
        """The unit of volume as printed beside a figure."""
        return "l" if self.volumes == "l" else "gal"

    def spare(self, litres: float) -> str:
        """Return fuel to spare, without its unit.

        Parameters
        ----------
        litres
            [l] The volume.

        Returns
        -------
        str
            To a tenth, rounded down.

        Examples
        --------
        >>> Manner("m", volumes="usgal").spare(100.0), Manner("m").spare(-0.01), Manner("m").spare(4.1)
        ('26.4', '-0.1', '4.1')
        """
        return f"{math.floor(round(litres / _L_PER[self.volumes] * 10, 6)) / 10:.1f}"

    def is_near(self, shape: BaseGeometry) -> bool:
        """Say whether something lies on the track or close to it.

        Parameters
        ----------
        shape
            A geometry in degrees.

        Returns
        -------
        bool
            False on a map without a track.

        Examples
        --------
        >>> Manner("m", shapely.LineString([(-38, 44), (-38, 45)])).is_near(shapely.Point(-38.01, 44.5))
        True
        """
        return self.track is not None and distance_m(shape, self.track) <= _NEAR_M
