"""What is said of the places in reach and of the points to turn at."""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING

from routeplan.places import write_position
from routeplan.units_shown import shown_distance, shown_duration, shown_speed
from routeplan.words import Words, compass

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan.bridges import Gate
    from routeplan.reach import Reach
    from routeplan.reached import InReach, TurningPoint

__all__ = ["FORGIVEN", "PlaceWords", "listed", "shown_tenth_down"]

FORGIVEN = 1e-6  # of the last digit: a figure that is whole but for floating point loses none
_MOST_NAMED, _MOST_LISTED = 3, 8  # places that one way out is told by, in a sentence and in a list
_APPROACHES = MappingProxyType(
    {"shoal": "too shallow on the chart", "unsurveyed": "unsurveyed", "hazard": "within a hazard's keep-off"}
)


class PlaceWords(Words):
    """Says places and turning points in a boat's units and a region's time.

    Parameters
    ----------
    reach
        The answer to an outing.
    """

    def __init__(self, reach: Reach) -> None:
        about = reach.network.region.about
        super().__init__(reach.boat, reach.network.region.zone, about.currency)
        self.reach = reach

    def place_title(self, place: InReach) -> str:
        """Head a place.

        Parameters
        ----------
        place
            One in reach.

        Returns
        -------
        Its name, kind and distance.
        """
        return f"{place.name}, {place.kind}, {shown_distance(place.distance_nmi)}"

    def place_label(self, place: InReach) -> str:
        """Name a place beside its mark.

        Parameters
        ----------
        place
            One in reach.

        Returns
        -------
        Distance and time.
        """
        return f"{shown_distance(place.distance_nmi)}, {shown_duration(place.time_h)}"

    def place_lines(self, place: InReach) -> list[str]:
        """Say what it takes to reach a place, and to come back.

        Parameters
        ----------
        place
            One in reach.

        Returns
        -------
        Lines: distance and time, fuel and what is left there, the way back, fuel there, what is on the way.
        """
        units = self.units
        there = self.aboard(place.aboard_on_arrival_l, place.aboard_on_arrival_low_l)
        lines = [
            (
                f"{shown_distance(place.distance_nmi)} over water, {shown_duration(place.time_h)} at "
                f"{shown_speed(place.speed_kn)}"
            ),
            f"Burns {units.volume_up(place.fuel_l)}, leaves {there}",
            f"Margin {units.volume_down(place.margin_low_l)} above the reserve (low)",
        ]
        both = f"There and back {units.volume_up(place.fuel_there_and_back_l)}"
        if place.there_and_back:
            back = self.aboard(place.aboard_on_return_l, place.aboard_on_return_low_l)
            lines.append(f"{both}, back at the start with {back}")
        else:
            shut = ", or a bridge or lock has shut by then" if place.gates else ""
            lines.append(f"{both}: one way only, the way back would touch the reserve{shut}")
        return [*lines, f"Refuel: {self.refuel(place)}", *(f"Heed: {line}" for line in self.on_the_way(place))]

    def refuel(self, place: InReach) -> str:
        """Say whether she could refuel at a place.

        Parameters
        ----------
        place
            One in reach.

        Returns
        -------
        Such as ``yes``, ``no``, ``opens Thu 09:00`` or ``doubtful (hours not known)``.
        """
        if not place.refuel_note:
            return place.refuel
        return place.refuel_note if place.refuel == "opens later" else f"{place.refuel} ({place.refuel_note})"

    def fuel_there(self, place: InReach, docks: Sequence[InReach]) -> str:
        """Say whether she could refuel at a place or at the docks in it.

        Parameters
        ----------
        place, docks
            As from `with_docks`.

        Returns
        -------
        What `refuel` says, of each dock by its name where there are any.
        """
        return "; ".join(f"{dock.name}: {self.refuel(dock)}" for dock in docks) or self.refuel(place)

    def on_the_way(self, place: InReach) -> list[str]:
        """Say what has to be heeded on the way to a place.

        Parameters
        ----------
        place
            One in reach.

        Returns
        -------
        What has to open, what the last stretch crosses, and whether no dock is left from there; empty where there is
        nothing.
        """
        gates = [gate.name for gate in self.opening(place.gates)]
        said = [f"{listed(gates)} must open"] if gates else []
        crossed = listed([_APPROACHES.get(reason, reason) for reason in place.crosses])
        stranded = self.reach.dock_water is not None and not place.dock_still_in_reach and place.refuel != "yes"
        return [
            *said,
            *([f"last stretch {crossed}"] if crossed else []),
            *(["no dock left to go on to from there"] if stranded else []),
        ]

    def towards(self, point: TurningPoint) -> str:
        """Say which way out a turning point is on.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        Where the point lies from the start, and the nearest places that the way leads to.
        """
        names: list[str] = []
        for name in point.towards:  # a harbour stands for the docks that are called after it
            if not any(name.startswith(f"{other} ") for other in names):
                names.append(name)
        more = " and beyond" if len(names) > _MOST_NAMED else ""
        near = ", ".join(names[:_MOST_NAMED]) if more else listed(names)
        way = f"to the {compass(point.course_deg)}"
        return f"{way}, towards {near}{more}" if names else way

    def turning_label(self, point: TurningPoint) -> str:
        """Name a turning point beside its mark.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        A few words.
        """
        return f"{'back to' if self._is_start(point) else 'last dock'} {point.dock}"

    def turning_title(self, point: TurningPoint) -> str:
        """Head a turning point.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        What to do there.
        """
        if self._is_start(point):
            return f"Turn back to {point.dock} by here"
        return f"Turn for {point.dock} by here: the last dock this way"

    def turning_line(self, point: TurningPoint) -> str:
        """Say up to where a dock can still be made on one way out.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        One sentence.
        """
        way = f"{self.towards(point)[0].upper()}{self.towards(point)[1:]}"
        within = (
            f"within {shown_tenth_down(point.distance_nmi)} ({_shown_minutes_down(point.time_h)}), "
            f"by {write_position(point.position)}"
        )
        note = f" ({point.dock_note})" if point.dock_note else ""
        if self._is_start(point):
            return f"{way}: turn back to {point.dock}{note} {within}. From there it is {self._on_to(point)}."
        return (
            f"{way}: the last dock is {point.dock}{note}; turn for it {within}. From there it is {self._on_to(point)}."
        )

    def turning_lines(self, point: TurningPoint) -> list[str]:
        """Say the same in lines.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        Lines: which way out, how far, what is left at the dock, what is doubtful.
        """
        towards = _counted(point.towards, _MOST_LISTED)
        lines = [
            f"On the way towards {towards}" if towards else f"On the way out {self.towards(point)}",
            (
                f"{shown_tenth_down(point.distance_nmi)} from {self.reach.start.name}, "
                f"{_shown_minutes_down(point.time_h)} at {shown_speed(point.speed_kn)}"
            ),
            f"From here {point.dock} is {self._on_to(point)}",
            *([f"Heed: {point.dock_note}"] if point.dock_note else []),
        ]
        return [*lines, "Beyond it no suitable dock is left in reach with the reserve whole"]

    def turning_row(self, point: TurningPoint) -> tuple[str, ...]:
        """Say a turning point in figures, for a table of those that share their dock.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        Miles and time out, where, miles and time on to the dock, what is left there, which way out.
        """
        return (
            shown_tenth_down(point.distance_nmi).removesuffix(" nmi"),
            _shown_minutes_down(point.time_h),
            write_position(point.position),
            shown_distance(point.dock_distance_nmi).removesuffix(" nmi"),
            shown_duration(point.dock_time_h),
            self.units.volume_down(point.aboard_at_dock_low_l).removesuffix(f" {self.units.volume_label}"),
            self.towards(point).removeprefix("to the ").replace(", towards ", ": "),
        )

    def turning_heading(self, points: Sequence[TurningPoint]) -> str:
        """Head turning points that share their dock.

        Parameters
        ----------
        points
            Two or more.

        Returns
        -------
        The dock, and what is doubtful about it.
        """
        first = points[0]
        notes = "; ".join(dict.fromkeys(point.dock_note for point in points if point.dock_note))
        what = "turn back to it" if self._is_start(first) else "the last dock, turn for it"
        return f"{first.dock}, {what} by these points{f' ({notes})' if notes else ''}:"

    def opening(self, names: Sequence[str]) -> list[Gate]:
        """Look up bridges and locks that have to open.

        Parameters
        ----------
        names
            Names of gates.

        Returns
        -------
        The gates; those that she passes under shut are left out.
        """
        return [gate for gate in self.reach.network.water.gates if gate.name in names and gate.must_open]

    def _on_to(self, point: TurningPoint) -> str:
        """Say how far the dock is from the turning point, and what is left there."""
        return (
            f"{shown_distance(point.dock_distance_nmi)} ({shown_duration(point.dock_time_h)}) on, "
            f"{self.left(point.aboard_at_dock_low_l)}"
        )

    def _is_start(self, point: TurningPoint) -> bool:
        return bool(point.dock == self.reach.start.name)


def shown_tenth_down(distance_nmi: float) -> str:
    """Show a distance rounded down to a tenth of a mile.

    Parameters
    ----------
    distance_nmi
        [nmi] The distance.

    Returns
    -------
    Such as ``8.7 nmi``.
    """
    return shown_distance(math.floor(distance_nmi * 10 + FORGIVEN) / 10)


def listed(names: Sequence[str]) -> str:
    """List names as a sentence does.

    Parameters
    ----------
    names
        The names.

    Returns
    -------
    With commas, and a word before the last.
    """
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def _shown_minutes_down(time_h: float) -> str:
    return shown_duration(math.floor(time_h * 60 + FORGIVEN) / 60)


def _counted(names: Sequence[str], most: int) -> str:
    """List the first names, and count the rest; one more than the most is still named."""
    if len(names) <= most + 1:
        return listed(names)
    return f"{', '.join(names[:most])} and {len(names) - most} places more"
