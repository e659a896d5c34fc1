"""What is said of a reach on a screen, a map or in a layer: how far, to which places, where to turn back."""

from __future__ import annotations

import math
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from routeplan.place_words import FORGIVEN, PlaceWords, listed, shown_tenth_down
from routeplan.units_shown import shown_distance, shown_distance_down, shown_duration, shown_speed
from routeplan.words import shown_calls

if TYPE_CHECKING:
    from collections.abc import Mapping

    from routeplan.reach import Reach
    from routeplan.reached import AreaKind, Figure, ReachArea

__all__ = ["ReachWords", "shown_out", "shown_times"]

_WHOLE_MILES_FROM_NMI = 20  # [nmi] shorter distances keep their tenth

_WAYS: Mapping[AreaKind, str] = MappingProxyType(
    {"one-way": "one way", "out-and-back": "there and back", "thirds": "by thirds", "budget": "within"}
)
_MEANING: Mapping[AreaKind, str] = MappingProxyType(
    {
        "one-way": "Down to the reserve: from its edge there is no way back on this fuel",
        "out-and-back": "Out, and back at the start with the reserve whole",
        "thirds": "A third of the usable fuel out, a third back, a third in hand",
        "budget": "Within what was asked for, and the reserve stays whole",
    }
)
_FIGURES: Mapping[Figure, str] = MappingProxyType({"low": "low figure", "mean": "on average"})


class ReachWords(PlaceWords):
    """Says a reach in its boat's units and its region's time.

    Parameters
    ----------
    reach
        The answer to an outing.
    """

    @property
    def title(self) -> str:
        """What a map of the reach is headed by."""
        return f"{self.boat.name}: reach from {self.reach.start.name}"

    @property
    def sureness(self) -> str:
        """What the low figure stands for, a sentence without its full stop."""
        return f"Low figure: {shown_times(self.reach.outing.confidence)} she does as well or better"

    def way(self, area: ReachArea) -> str:
        """Say which kind of reach an area is, in a few words.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        Such as ``there and back``, or ``within 3 h 00 min, one way``.
        """
        if area.kind != "budget":
            return _WAYS[area.kind]
        return f"{_WAYS['budget']} {self.budget}, {'there and back' if area.there_and_back else 'one way'}"

    @property
    def budget(self) -> str:
        """The time and fuel that were asked for, such as ``3 h 00 min and 20.0 gal``; empty where none was."""
        time_h, fuel_l = self.reach.outing.time_h, self.reach.outing.fuel_l
        said = [] if time_h is None else [shown_duration(time_h)]
        return " and ".join(said if fuel_l is None else [*said, self.units.volume(fuel_l)])

    def answers(self) -> list[str]:
        """Answer how far she can go at the chosen speed.

        Returns
        -------
        Sentences by the low figure, what was asked for first.
        """
        reach = self.reach
        asked: list[AreaKind] = ["budget"] if self.budget else []
        asked += ["out-and-back"] if reach.outing.out_and_back else ["one-way", "out-and-back"]
        said = []
        for kind in asked:
            low, mean = (reach.area(kind, figure) for figure in ("low", "mean"))
            if low is None or mean is None:
                continue
            more = "" if low.there_and_back else " (--out-and-back counts both ways)"
            heading = {
                "one-way": "One way, down to the reserve",
                "out-and-back": "There and back with the reserve whole",
                "budget": f"{self.way(low)[0].upper()}{self.way(low)[1:]}{more}",
            }[kind]
            each = " each way" if low.there_and_back else ""
            said.append(
                f"{heading}: {shown_out(low.out_nmi)} out over water at {shown_speed(low.speed_kn)}, burning "
                f"{self.units.volume_down(low.fuel_l)}{each} ({shown_out(mean.out_nmi)} on average)."
            )
        return said

    def counted_places(self) -> str:
        """Say how many places are in reach, and which is the farthest.

        Returns
        -------
        One or two sentences.
        """
        places = self.reach.places
        both, within = "there and back", ""
        if self.budget:
            two_ways = self.reach.outing.out_and_back
            within = f" within {self.budget} {'there and back' if two_ways else 'one way'}"
            both = both if two_ways else "with fuel for the way back"  # the limit itself isn't for both ways
        if not places:
            return f"No harbour, anchorage or dock is in reach{within}."
        back = [place for place in places if place.there_and_back]
        if len(places) == 1:
            return f"One place is in reach{within}, {both if back else 'one way only'}: {places[0].name}."
        many = {0: "none", 1: "one", len(places): "all"}.get(len(back), str(len(back)))
        said = f"{len(places)} harbours, anchorages and docks are in reach{within}, {many} of them {both}."
        if len(back) > 1:
            farthest = max(back, key=lambda place: place.distance_nmi)
            said += f" The farthest {both} is {farthest.name}, {shown_distance(farthest.distance_nmi)}."
        return said

    def summary_lines(self) -> list[str]:
        """Say a reach in short lines, for a map.

        Returns
        -------
        The answers first, then how many places, and what it rests on.
        """
        return [*self.answers(), self.counted_places(), *self.notes()]

    def notes(self) -> list[str]:
        """Say what the reach at the chosen speed rests on, and what its edges mean.

        Returns
        -------
        Sentences: where the data end, bridges and locks that must open, speed limits.
        """
        areas = [area for area in self.reach.areas if area.speed_kn == self.reach.speed_kn]
        gates = self.opening(tuple(dict.fromkeys(name for area in areas for name in area.gates)))
        said = self.edge_lines()
        for gate in gates:
            how = "; ".join([*([f"hours {gate.hours}"] if gate.hours else []), *shown_calls(gate.vhf, None)])
            said.append(f"Some of it is in reach only while {gate.name} opens{f' ({how})' if how else ''}.")
        if any(area.inside for area in areas):
            said.append("Where speed limits hold it is drawn a little inside the truth, never outside.")
        return said

    def edge_lines(self) -> list[str]:
        """Say where the data end before the reach does.

        Returns
        -------
        One sentence that names the sides; none where they don't.
        """
        if not self.reach.cut_by_extent:
            return []
        sides = _sides(self.reach)
        where = f" to the {listed(sides)}" if sides else ""
        edge = "there the edge is the data's, not the boat's, and what lies beyond isn't known"
        return [f"The region's data end before her reach does{where}: {edge}."]

    def dock_water_lines(self) -> list[str]:
        """Say what the water is from which some dock can still be made.

        Returns
        -------
        Lines: its meaning, and how sure.
        """
        return [
            f"From anywhere in here some dock that suits {self.boat.name} can be made with the reserve whole",
            "Outside it, on the way out, there is no dock left to turn for",
            "Docks count that are known well and are open within the hour when she comes",
            *self.left_out_lines(),
            self.sureness,
        ]

    def docks_line(self) -> str:
        """Say how it stands with docks where there is no point to turn at.

        Returns
        -------
        A sentence; empty where there is nothing to say.
        """
        if self.reach.dock_water is None:
            return f"! No dock that suits {self.boat.name} can be made from here with the reserve whole (low figure)."
        if self.reach.places and all(place.dock_still_in_reach for place in self.reach.places):
            return "From every place in reach some dock can still be made with the reserve whole."
        return ""

    def left_out_lines(self) -> list[str]:
        """Say which docks in reach aren't counted on to turn for.

        Returns
        -------
        One line with the reasons, or none.
        """
        out = [f"{name} ({why})" for name, why in self.reach.docks_left_out]
        return [f"Not counted on to turn for: {'; '.join(out)}"] if out else []

    def area_title(self, area: ReachArea) -> str:
        """Head an area.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        Its kind, speed, figure and how far out.
        """
        way = self.way(area)
        return (
            f"{way[0].upper()}{way[1:]} at {shown_speed(area.speed_kn)}, {_FIGURES[area.figure]}: "
            f"{shown_out(area.out_nmi)} out"
        )

    def area_label(self, area: ReachArea) -> str:
        """Name an area at its edge.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        A few words.
        """
        way = _WAYS[area.kind] if area.kind != "budget" else f"within {self.budget}"
        speed = "" if area.speed_kn == self.reach.speed_kn else f" at {shown_speed(area.speed_kn)}"
        return f"{way[0].upper()}{way[1:]}, {_FIGURES[area.figure]}{speed}"

    def area_lines(self, area: ReachArea) -> list[str]:
        """Say what an area is.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        Lines: its meaning, fuel and time, how sure, gates, what its edge is.
        """
        each = " each way" if area.there_and_back else ""
        lines = [_MEANING[area.kind], f"Burns {self.units.volume_down(area.fuel_l)}{each} to its edge"]
        if area.time_h is not None:
            lines[-1] += f", {shown_duration(area.time_h)} at the most"
        lines.append(self.sureness if area.figure == "low" else "On average: don't count on it")
        gates = [gate.name for gate in self.opening(area.gates)]
        if gates:
            lines.append(f"Some of it only while {listed(gates)} {'opens' if len(gates) == 1 else 'open'}")
        if area.inside:
            lines.append("Drawn a little inside the truth, as speed limits hold on some of this water")
        if area.cut_by_extent:
            lines.append("Its edge is in part the data's, not the boat's")
        return lines


def shown_out(distance_nmi: float) -> str:
    """Show how far out a reach goes: rounded down, to a whole mile from 20 nmi on, else to a tenth.

    Parameters
    ----------
    distance_nmi
        [nmi] The distance.

    Returns
    -------
    ``50 nmi`` or ``8.7 nmi``.

    Examples
    --------
    >>> shown_out(50.99), shown_out(8.79), shown_out(8.7)
    ('50 nmi', '8.7 nmi', '8.7 nmi')
    """
    return (
        shown_distance_down(distance_nmi) if distance_nmi >= _WHOLE_MILES_FROM_NMI else shown_tenth_down(distance_nmi)
    )


def shown_times(confidence: float) -> str:
    """Show a confidence as people say it.

    Parameters
    ----------
    confidence
        [share] 0.5 to 0.999.

    Returns
    -------
    How many times.

    Examples
    --------
    >>> shown_times(0.9), shown_times(0.5), shown_times(0.95), shown_times(0.999)
    ('nine times in ten', 'one time in two', '95 times in 100', '999 times in 1,000')
    """
    known = {0.9: "nine times in ten", 0.5: "one time in two", 0.8: "four times in five"}
    if confidence in known:
        return known[confidence]
    among = 100 if math.isclose(100 * confidence, round(100 * confidence)) else 1_000
    return f"{math.floor(among * confidence + FORGIVEN)} times in {among:,}"


def _sides(reach: Reach) -> list[str]:
    """Name the sides of the extent that the data's edges lie at, which is where the data's edges are."""
    west, south, east, north = reach.network.region.about.extent
    width, height = (east - west) % 360 or 360, north - south
    found = set()
    for line in getattr(reach.data_edges, "geoms", [reach.data_edges]):
        for (x, y), (to_x, to_y) in pairwise(line.coords):
            away = {
                "north": abs((y + to_y) / 2 - north) / height,
                "east": abs(((x + to_x) / 2 - east + 180) % 360 - 180) / width,
                "south": abs((y + to_y) / 2 - south) / height,
                "west": abs(((x + to_x) / 2 - west + 180) % 360 - 180) / width,
            }
            found.add(min(away, key=lambda name: away[name]))
    return [side for side in ("north", "east", "south", "west") if side in found]
