"""What is said of a reach on a screen, a map or in a layer: how far, to which places, where to turn back."""

from __future__ import annotations

import math
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeAlias

from routeplan.places import write_position
from routeplan.units_shown import shown_distance, shown_distance_down, shown_duration, shown_speed
from routeplan.words import Words, course, shown_calls

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from routeplan.reach import Reach
    from routeplan.reached import AreaKind, Figure, InReach, ReachArea, TurningPoint
    from routeplan.water import Gate

__all__ = ["PlaceOrder", "ReachWords", "pick_places", "shown_out", "shown_times", "with_docks"]

PlaceOrder: TypeAlias = Literal["distance", "time", "margin", "name"]

_FORGIVEN = 1e-6  # of the last digit: a figure that is whole but for floating point loses none
_WHOLE_MILES_FROM_NMI = 20  # [nmi] shorter distances keep their tenth
_MOST_NAMED, _MOST_LISTED = 3, 8  # places that one way out is told by, in a sentence and in a list
_SAME_HAVEN_NMI = 0.3  # [nmi] a dock so near to a harbour is the harbour's
_NMI_PER_DEG = 60.0  # [nmi] a degree of latitude

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
_APPROACHES = MappingProxyType(
    {"shoal": "too shallow on the chart", "unsurveyed": "unsurveyed", "hazard": "within a hazard's keep-off"}
)


class ReachWords(Words):
    """Says a reach in its boat's units and its region's time.

    Parameters
    ----------
    reach
        The answer to an outing.
    """

    def __init__(self, reach: Reach) -> None:
        about = reach.network.region.about
        super().__init__(reach.boat, reach.network.region.zone, about.currency)
        self.reach = reach

    @property
    def title(self) -> str:
        """What a map of the reach is headed by."""
        return f"{self.boat.name}: reach from {self.reach.start.name}"

    @property
    def sureness(self) -> str:
        """What the low figure stands for, a sentence without its full stop."""
        return f"Low figure: {shown_times(self.reach.outing.confidence)} she does as well or better"

    def out_nmi(self, area: ReachArea) -> float:
        """[nmi] How far out an area's edge lies where nothing is in the way.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        Distance over water where no speed limit holds, by its fuel, and by its time where that is shorter.
        """
        by_fuel = area.fuel_l * self.boat.economy_nmi_per_l(area.speed_kn)
        return by_fuel if area.time_h is None else min(by_fuel, area.time_h * area.speed_kn)

    def burn_l(self, area: ReachArea) -> float:
        """[l] Mean burn from the start to an area's edge.

        Parameters
        ----------
        area
            One of the reach's.

        Returns
        -------
        Its fuel, or less where its time is up before.
        """
        return min(area.fuel_l, self.out_nmi(area) / self.boat.economy_nmi_per_l(area.speed_kn))

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
            heading = {
                "one-way": "One way, down to the reserve",
                "out-and-back": "There and back with the reserve whole",
                "budget": f"{self.way(low)[0].upper()}{self.way(low)[1:]}",
            }[kind]
            each = " each way" if low.there_and_back else ""
            said.append(
                f"{heading}: {shown_out(self.out_nmi(low))} out over water at {shown_speed(low.speed_kn)}, burning "
                f"{self.units.volume_down(self.burn_l(low))}{each} ({shown_out(self.out_nmi(mean))} on average)."
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
        gates = self._opening(tuple(dict.fromkeys(name for area in areas for name in area.gates)))
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
        where = f" to the {_listed(sides)}" if sides else ""
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
            "Docks count that open within three days of the departure",
            self.sureness,
        ]

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
            f"{shown_out(self.out_nmi(area))} out"
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
        lines = [_MEANING[area.kind], f"Burns {self.units.volume_down(self.burn_l(area))}{each} to its edge"]
        if area.time_h is not None:
            lines[-1] += f", {shown_duration(area.time_h)} at the most"
        lines.append(self.sureness if area.figure == "low" else "On average: don't count on it")
        gates = [gate.name for gate in self._opening(area.gates)]
        if gates:
            lines.append(f"Some of it only while {_listed(gates)} {'opens' if len(gates) == 1 else 'open'}")
        if area.inside:
            lines.append("Drawn a little inside the truth, as speed limits hold on some of this water")
        if area.cut_by_extent:
            lines.append("Its edge is in part the data's, not the boat's")
        return lines

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
            lines.append(f"{both}: one way only, the way back would touch the reserve")
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
        What has to open, and what the last stretch crosses; empty where there is nothing.
        """
        gates = [gate.name for gate in self._opening(place.gates)]
        said = [f"{_listed(gates)} must open"] if gates else []
        crossed = _listed([_APPROACHES.get(reason, reason) for reason in place.crosses])
        return [*said, *([f"last stretch {crossed}"] if crossed else [])]

    def towards(self, point: TurningPoint) -> str:
        """Say which way out a turning point is on.

        Parameters
        ----------
        point
            One of the reach's.

        Returns
        -------
        The nearest places that it leads to, or the course that it begins with.
        """
        if point.towards:
            return f"towards {_counted(point.towards, _MOST_NAMED)}"
        return f"on course {course(point.course_deg)} true"

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
            f"within {_shown_tenth_down(point.distance_nmi)} ({_shown_minutes_down(point.time_h)}), "
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
                f"{_shown_tenth_down(point.distance_nmi)} from {self.reach.start.name}, "
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
            _shown_tenth_down(point.distance_nmi).removesuffix(" nmi"),
            _shown_minutes_down(point.time_h),
            write_position(point.position),
            shown_distance(point.dock_distance_nmi).removesuffix(" nmi"),
            shown_duration(point.dock_time_h),
            self.units.volume_down(point.aboard_at_dock_low_l).removesuffix(f" {self.units.volume_label}"),
            self.towards(point).removeprefix("towards "),
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

    def _opening(self, names: Sequence[str]) -> list[Gate]:
        """Look up bridges and locks that have to open; those that she passes under shut are left out."""
        return [gate for gate in self.reach.network.water.gates if gate.name in names and gate.must_open]

    def _on_to(self, point: TurningPoint) -> str:
        """Say how far the dock is from the turning point, and what is left there."""
        return (
            f"{shown_distance(point.dock_distance_nmi)} ({shown_duration(point.dock_time_h)}) on, "
            f"{self.left(point.aboard_at_dock_low_l)}"
        )

    def _is_start(self, point: TurningPoint) -> bool:
        return bool(point.dock == self.reach.start.name)


def pick_places(
    places: Sequence[InReach], kinds: Sequence[str] = (), *, refuel_only: bool = False, order: PlaceOrder = "distance"
) -> tuple[InReach, ...]:
    """Choose the places to tell, and put them in order.

    Parameters
    ----------
    places
        All in reach.
    kinds
        Any of `dock`, `harbour`, `anchorage`; all where empty.
    refuel_only
        Whether places where she can't refuel are left out; doubtful ones, and those that open later, stay.
    order
        `distance` and `time` nearest first, `margin` largest first, `name` by the alphabet.

    Returns
    -------
    The places; equals by distance, then by name.
    """
    keys: Mapping[PlaceOrder, Callable[[InReach], float | str]] = {
        "distance": lambda p: p.distance_nmi,
        "time": lambda p: p.time_h,
        "margin": lambda p: -p.margin_low_l,
        "name": lambda p: p.name.casefold(),
    }
    picked = [
        place for place in places if (not kinds or place.kind in kinds) and (not refuel_only or place.refuel != "no")
    ]
    return tuple(sorted(picked, key=lambda p: (keys[order](p), p.distance_nmi, p.name)))


def with_docks(places: Sequence[InReach]) -> list[tuple[InReach, tuple[InReach, ...]]]:
    """Put docks that lie in a harbour or anchorage with it.

    Parameters
    ----------
    places
        In the order to be told.

    Returns
    -------
    Each place once, in that order: harbours and anchorages with the docks next to them, and the docks that stand alone.
    """
    havens = [place for place in places if place.kind != "dock"]
    held: dict[int, list[InReach]] = {}
    alone = set()
    for i, place in enumerate(places):
        if place.kind != "dock":
            continue
        near = [(_apart_nmi(place, haven), j) for j, haven in enumerate(havens)]
        apart_nmi, j = min(near, default=(math.inf, -1))
        if apart_nmi <= _SAME_HAVEN_NMI:
            held.setdefault(j, []).append(place)
        else:
            alone.add(i)
    number = {id(haven): j for j, haven in enumerate(havens)}
    return [
        (place, tuple(held.get(number.get(id(place), -1), ())))
        for i, place in enumerate(places)
        if place.kind != "dock" or i in alone
    ]


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
        shown_distance_down(distance_nmi) if distance_nmi >= _WHOLE_MILES_FROM_NMI else _shown_tenth_down(distance_nmi)
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
    return f"{math.floor(among * confidence + _FORGIVEN)} times in {among:,}"


def _apart_nmi(a: InReach, b: InReach) -> float:
    """[nmi] Tell how far two neighbours lie apart, near enough to know what lies in one harbour."""
    (lon, lat), (to_lon, to_lat) = a.position, b.position
    east = ((to_lon - lon + 180) % 360 - 180) * math.cos(math.radians(lat))
    return _NMI_PER_DEG * math.hypot(east, to_lat - lat)


def _shown_tenth_down(distance_nmi: float) -> str:
    return shown_distance(math.floor(distance_nmi * 10 + _FORGIVEN) / 10)


def _shown_minutes_down(time_h: float) -> str:
    return shown_duration(math.floor(time_h * 60 + _FORGIVEN) / 60)


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def _counted(names: Sequence[str], most: int) -> str:
    """List the first names, and count the rest; one more than the most is still named."""
    if len(names) <= most + 1:
        return _listed(names)
    return f"{', '.join(names[:most])} and {len(names) - most} places more"


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
