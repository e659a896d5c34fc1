"""A saved plan as a route for plotters and other programs: turns, stops and what to check at each."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from shapely.geometry import shape as geometry_of

from layers.errors import InputError
from layers.plane import METRES_PER_NMI
from layers.routes import Route, RouteLeg, RouteMark, RoutePoint
from routeplan.plan_words import PlanWords
from routeplan.units_shown import shown_distance, shown_speed
from routeplan.words import course, shown_calls

if TYPE_CHECKING:
    from datetime import datetime

    from layers import Region
    from layers.routes import PointKind
    from routeplan.helm import LastTurn, MeterMark
    from routeplan.plans import Alternate, Leg, Stop
    from routeplan.saved_plans import SavedPlan

    Position = tuple[float, float]

__all__ = ["route_of"]

_EARTH_RADIUS_M = 6_371_000.0  # [m] mean radius, only to tell how far a rhumb line leaves the way
_RHUMB_M = 10.0  # [m] a rhumb line between two points of a route leaves the way by no more,
_RHUMB_SHARE = 0.2  # of the stand-off, where that is less
_TRACK_M = 1.0  # [m] how far the drawn track itself may lie from the way
_KEPT_SHARE = 0.9  # of the stand-off that legs keep at the least: routeplan.standing_off
_SAME_SPOT_M = 2.0  # [m] two points of a route so near make a leg that no plotter can steer
_SHOWN_NMI = 0.05  # [nmi] a stretch of the way to a dock that is shorter would read 0.0
_SAME_DEG = 2e-6  # [deg] positions are kept to a millionth


def route_of(saved: SavedPlan, region: Region | None = None) -> Route:
    """Make a route of a plan.

    Parameters
    ----------
    saved
        The plan.
    region
        The region, which knows where the docks lie that are named as alternates; None leaves their marks out.

    Returns
    -------
    Points are the ends of legs as steered, and as many between them as it takes for the rhumb line from point to point
    to stay within 10 m of the way that was checked (and a fifth of the stand-off). Marks are the stops, the alternates
    and the points of no return. Readings of the dial on the way along a leg cost no point and no mark, of which
    plotters hold few: the description of the leg's end tells them, and the sheet.

    Raises
    ------
    InputError
        The plan has no legs: the boat is where she wants to be.
    """
    plan = saved.plan
    if not plan.legs:
        raise InputError("--route", "the plan has no legs to steer", remedy="plan to another place")
    writer = _Writer(saved)
    points = writer.points()
    ends = plan.legs[0].from_, plan.legs[-1].to
    stops = f", {len(plan.stops)} stop{'s' if len(plan.stops) > 1 else ''}" if plan.stops else ""
    words = writer.words
    return Route(
        name=f"{ends[0]} to {ends[1]}",
        points=points,
        marks=(*writer.stop_marks(), *_alternate_marks(saved, region, words), *writer.last_turn_marks()),
        description=(
            f"{saved.boat.name} from {ends[0]} to {ends[1]}: {shown_distance(plan.distance_nmi)} at "
            f"{shown_speed(saved.speed_kn)}{stops}, leaves {words.day_and_clock(plan.depart)}, arrives "
            f"{words.day_and_clock(plan.arrive)}. Times are {saved.region.time_zone}."
        ),
        cautions=(*saved.cautions, *plan.cautions),
        made=saved.saved,
        vessel=saved.boat.name,
    )


class _Writer:
    """Says what belongs on each point."""

    def __init__(self, saved: SavedPlan) -> None:
        self.saved = saved
        zone = ZoneInfo(saved.region.time_zone)
        self.words = PlanWords(saved.boat, zone, saved.region.currency, saved.speed_kn)
        self.marks = {mark.leg: mark for mark in saved.helm.marks if mark.after_nmi is None}
        self.on_the_way = [mark for mark in saved.helm.marks if mark.after_nmi is not None]
        standoff_m = saved.margins.standoff_m
        self.off_m = min(_RHUMB_M, _RHUMB_SHARE * standoff_m)
        self.keep_nmi = max(_KEPT_SHARE * standoff_m - self.off_m, 0.0) / METRES_PER_NMI

    def points(self) -> tuple[RoutePoint, ...]:
        plan = self.saved.plan
        ways = _ways(self.saved, self.off_m)
        first = plan.legs[0]
        points = [
            RoutePoint(
                name=first.from_,
                position=first.from_position,
                kind="start",
                comment=f"leave {self.words.clock(first.depart)}",
                description=f"Leave {self.words.day_and_clock(first.depart)}",
                depart=first.depart,
            )
        ]
        for number, (leg, way) in enumerate(zip(plan.legs, ways, strict=True), start=1):
            after = plan.legs[number].depart if number < len(plan.legs) else None
            stop = next((s for s in plan.stops if s.dock == leg.to and s.arrive == leg.arrive), None)
            kind: PointKind = "end" if after is None else "turn" if stop is None else "stop"
            if leg.distance_nmi * METRES_PER_NMI < _SAME_SPOT_M and number > 1:
                if kind == "turn":
                    continue
                points.pop()
            points += self._pieces(leg, number, way, kind, stop, after)
        return tuple(points)

    def _pieces(
        self, leg: Leg, number: int, way: list[Position], kind: PointKind, stop: Stop | None, after: datetime | None
    ) -> list[RoutePoint]:
        """Make the points of one leg: those between its ends, then its end."""
        mark = self.marks.get(number)
        shares = _shares(way)
        found = []
        for i, (start, end) in enumerate(pairwise(way)):
            last = i == len(way) - 2
            part = shares[i + 1] - shares[i]
            route_leg = RouteLeg(
                course_deg=leg.course_deg if len(way) == 2 else _course_deg(start, end),
                distance_nmi=leg.distance_nmi * part,
                speed_kn=leg.speed_kn,
                keep_within_nmi=self.keep_nmi if leg.kind == "leg" else None,
                note="; ".join(self._notes(leg)),
            )
            at = leg.arrive if last else leg.depart + (leg.arrive - leg.depart) * shares[i + 1]
            if not last:
                name = f"leg {number}, point {i + 1} on the way"
                short = f"L{number:02d}{chr(ord('a') + i) if i < 26 else f'-{i + 1}'}"
                comment = f"on the way, {self.words.clock(at)}"
                found.append(
                    RoutePoint(
                        name=name, position=end, kind="between", short=short, comment=comment, leg=route_leg, arrive=at
                    )
                )
                continue
            found.append(
                RoutePoint(
                    name=leg.to,
                    position=leg.to_position,
                    kind=kind,
                    short=_short(leg.to) if kind == "turn" else leg.to,
                    comment=self._comment(leg, mark, stop),
                    description="\n".join(self._lines(leg, number, mark, stop)),
                    leg=route_leg,
                    arrive=at,
                    depart=after if after is not None and after > at else None,
                    facts=self._facts(leg, number, mark, stop),
                )
            )
        return found

    def _notes(self, leg: Leg) -> list[str]:
        unchecked = [] if leg.depth_checked else ["depth not checked"]
        kind = [] if leg.kind == "leg" else [leg.kind]
        return [*kind, *unchecked, *leg.cautions]

    def _comment(self, leg: Leg, mark: MeterMark | None, stop: Stop | None) -> str:
        """Say in one short line what a small display has room for."""
        units = self.words.units
        said = [
            f"{course(leg.course_deg)} true {shown_distance(leg.distance_nmi)} {shown_speed(leg.speed_kn)}",
            self.words.clock(leg.arrive),
        ]
        if stop is not None:
            return ", ".join([*said, f"take {units.volume(stop.take_l)}", f"leave {self.words.clock(stop.depart)}"])
        said.append(f"low {units.volume_down(leg.aboard_after_low_l)}")
        if mark is not None:
            said.append(f"dial {units.volume_down(mark.shows_l)}")
            if mark.turn_above_l is not None:
                said.append(f"turn above {units.volume_down(mark.turn_above_l)}")
            elif mark.slow_above_l is not None and mark.slow_kn is not None:
                said.append(f"above {units.volume_down(mark.slow_above_l)} slow to {shown_speed(mark.slow_kn)}")
        return ", ".join(said)

    def _lines(self, leg: Leg, number: int, mark: MeterMark | None, stop: Stop | None) -> list[str]:
        lines = self.words.leg_lines(leg)
        for on_the_way in self.on_the_way:
            if on_the_way.leg == number and on_the_way.after_nmi is not None:
                when = f"{shown_distance(on_the_way.after_nmi)} into it, {self.words.clock(on_the_way.at)}"
                lines += [f"On the way, {when}: {line}" for line in self._dial_lines(on_the_way)]
        if mark is not None:
            lines += [f"{line[0].upper()}{line[1:]}" for line in self._dial_lines(mark)]
        if stop is not None:
            lines += self.words.stop_lines(self.saved.plan, stop)
        return lines

    def _dial_lines(self, mark: MeterMark) -> list[str]:
        units = self.words.units
        lines = [f"dial about {units.volume_down(mark.shows_l)}, as it shows, since {mark.since}"]
        if mark.turn_above_l is not None and mark.turn_for:
            far = "" if mark.turn_nmi is None else f", {shown_distance(mark.turn_nmi)}"
            steered = [leg for leg in mark.turn_way if leg.distance_nmi >= _SHOWN_NMI]
            way = ", then ".join(f"{course(leg.course_deg)} true {leg.distance_nmi:.1f} nmi" for leg in steered)
            how = f": {way}" if way else ""
            shut = self._shut(mark.turn_opens)
            lines.append(f"above {units.volume_down(mark.turn_above_l)} turn for {mark.turn_for}{far}{shut}{how}")
        elif mark.slow_above_l is not None and mark.slow_kn is not None:
            lines.append(f"above {units.volume_down(mark.slow_above_l)} slow to {shown_speed(mark.slow_kn)}")
        return lines

    def _shut(self, opens: datetime | None) -> str:
        """Say that a dock is shut when she comes there; nothing where it is open."""
        return "" if opens is None else f", shut till {self.words.day_and_clock(opens)}"

    def _facts(self, leg: Leg, number: int, mark: MeterMark | None, stop: Stop | None) -> tuple[tuple[str, str], ...]:
        facts = [
            ("leg", str(number)),
            ("burn_l", f"{leg.fuel_l:.2f}"),
            ("aboard_l", f"{leg.aboard_after_l:.2f}"),
            ("aboard_low_l", f"{leg.aboard_after_low_l:.2f}"),
        ]
        if mark is not None:
            facts.append(("dial_l", f"{mark.shows_l:.2f}"))
            if mark.turn_above_l is not None:
                facts.append(("turn_above_l", f"{mark.turn_above_l:.2f}"))
        return (*facts, *(() if stop is None else _stop_facts(stop)))

    def stop_marks(self) -> list[RouteMark]:
        plan = self.saved.plan
        return [
            RouteMark(
                name=stop.dock,
                position=stop.position,
                kind="stop",
                comment=", ".join([f"take {self.words.units.volume(stop.take_l)}", *_calls(stop)]),
                description="\n".join([self.words.stop_title(plan, i), *self.words.stop_lines(plan, stop)]),
                facts=_stop_facts(stop),
            )
            for i, stop in enumerate(plan.stops)
        ]

    def last_turn_marks(self) -> list[RouteMark]:
        turns = self.saved.helm.last_turns
        return [self._last_turn(t, t.dock, t.dock_nmi) for t in turns if t.dock is not None and t.dock_nmi is not None]

    def _last_turn(self, turn: LastTurn, dock: str, dock_nmi: float) -> RouteMark:
        dial = self.words.units.volume_down(turn.shows_l)
        shut = self._shut(turn.opens)
        return RouteMark(
            name=f"last turn for {dock}",
            position=turn.position,
            kind="last turn",
            short=f"LT {dock}",
            comment=f"{self.words.clock(turn.at)}, {dock} {shown_distance(dock_nmi)}{shut}, dial {dial}",
            description=(
                f"The last point at which {dock}, {shown_distance(dock_nmi)} away{shut}, is in reach with the "
                f"reserve whole; {shown_distance(turn.to_go_nmi)} to go to {turn.towards}.\n"
                f"There {self.words.day_and_clock(turn.at)} with the dial about {dial}, if all goes as planned"
            ),
            facts=(("leg", str(turn.leg)), ("dial_l", f"{turn.shows_l:.2f}")),
        )


def _short(name: str) -> str:
    """Put the telling part of a turn's name first: its number, then the place that it is named after.

    Examples
    --------
    >>> _short("turn 3, 0.9 nmi NW of Gull Heads"), _short("point 32: 10 kn limit in Upper Inlet"), _short("turn 4")
    ('T03 Gull Heads', 'P32 10 kn limit in Upper Inlet', 'T04')
    """
    for word, letter in (("turn ", "T"), ("point ", "P")):
        rest = name.removeprefix(word)
        digits = rest[: len(rest) - len(rest.lstrip("0123456789"))]
        if rest == name or not digits:
            continue
        more = rest[len(digits) :].lstrip(",: ")
        for before in (" of ", "at "):
            if letter == "T" and before in more:
                more = more.split(before, 1)[1]
                break
        return f"{letter}{int(digits):02d} {more}".strip()
    return name


def _stop_facts(stop: Stop) -> tuple[tuple[str, str], ...]:
    texts = (("hours", stop.hours), ("vhf", stop.vhf), ("phone", stop.phone), ("confirmed_on", stop.confirmed_on))
    return (("take_l", f"{stop.take_l:.2f}"), *((name, text) for name, text in texts if text))


def _calls(stop: Stop | Alternate) -> list[str]:
    return [*([f"hours {stop.hours}"] if stop.hours else []), *shown_calls(stop.vhf, stop.phone)]


def _alternate_marks(saved: SavedPlan, region: Region | None, words: PlanWords) -> list[RouteMark]:
    """Mark the places to go to if a stop is closed, or the fuel runs out faster than planned."""
    if region is None:
        return []
    plan = saved.plan
    known = {name: spot for layer in ("waypoints", "docks") for name, spot in _spots(region, layer).items()}
    own = {stop.dock for stop in plan.stops}
    told: dict[str, RouteMark] = {}
    pairs = [(stop.dock, stop.alternate) for stop in plan.stops]
    for place, alternate in [*pairs, (f"{plan.legs[-1].to} (next fuel)", plan.onward)]:
        if alternate is None or alternate.name in own or alternate.name in told or alternate.name not in known:
            continue
        facts = (("hours", alternate.hours), ("vhf", alternate.vhf), ("phone", alternate.phone))
        told[alternate.name] = RouteMark(
            name=alternate.name,
            position=known[alternate.name],
            kind="alternate",
            comment=", ".join([f"instead of {place}", *_calls(alternate)]),
            description=f"Instead of {place}: {words.alternate_line(alternate)}",
            facts=tuple((name, text) for name, text in facts if text),
        )
    for mark in saved.helm.marks:
        name = mark.turn_for
        if name is None or name in own or name in told or name not in known:
            continue
        spot = known[name]
        said = "to turn for if the dial shows too much"
        told[name] = RouteMark(name=name, position=spot, kind="alternate", comment=said, description=said.capitalize())
    return list(told.values())


def _spots(region: Region, layer: str) -> dict[str, Position]:
    frame = region.layer(layer)
    return {str(name): (p.x, p.y) for name, p in zip(frame["name"], frame.geometry, strict=True)}


def _ways(saved: SavedPlan, off_m: float) -> list[list[Position]]:
    """[deg] For each leg the points that a route needs, its ends among them."""
    track: list[Position] = [(x, y) for x, y in shapely.get_coordinates(geometry_of(saved.plan.track)).tolist()]
    at = 0
    ways = []
    for leg in saved.plan.legs:
        ends = [leg.from_position, leg.to_position]
        begin = _index(track, leg.from_position, at)
        end = None if begin is None else _index(track, leg.to_position, begin)
        if begin is None or end is None or end == begin:
            ways.append(ends)
            continue
        at = end
        inner = _thinned([ends[0], *track[begin + 1 : end], ends[1]], off_m - _TRACK_M)
        ways.append([ends[0], *inner, ends[1]])
    return ways


def _index(track: list[Position], position: Position, start: int) -> int | None:
    """Find where a leg's end lies on the drawn track."""
    for i in range(start, len(track)):
        off = abs(track[i][0] - position[0]) % 360
        if min(off, 360 - off) <= _SAME_DEG and abs(track[i][1] - position[1]) <= _SAME_DEG:
            return i
    return None


def _thinned(way: list[Position], within_m: float) -> list[Position]:
    """[deg] Choose the points between a leg's ends without which a rhumb line would leave the way by more.

    A rhumb line is straight on Mercator's chart.
    """
    lonlat = np.array(way)
    lonlat[:, 0] = lonlat[0, 0] + (lonlat[:, 0] - lonlat[0, 0] + 180) % 360 - 180
    scale = _EARTH_RADIUS_M * math.cos(math.radians(float(lonlat[:, 1].mean())))
    radians = np.radians(lonlat)
    chart = np.column_stack([radians[:, 0], np.arcsinh(np.tan(radians[:, 1]))]) * scale
    kept = shapely.get_coordinates(shapely.LineString(chart).simplify(max(within_m, 0.1)))
    wanted = {tuple(xy) for xy in kept[1:-1]}
    return [spot for spot, xy in zip(way[1:-1], chart[1:-1], strict=True) if tuple(xy) in wanted]


def _shares(way: list[Position]) -> list[float]:
    """[share] How far along a way each of its points lies."""
    if len(way) == 2:
        return [0.0, 1.0]
    steps = [_apart(a, b) for a, b in pairwise(way)]
    whole = math.fsum(steps) or 1.0
    return [*(math.fsum(steps[:i]) / whole for i in range(len(steps))), 1.0]


def _apart(a: Position, b: Position) -> float:
    east = ((b[0] - a[0] + 180) % 360 - 180) * math.cos(math.radians((a[1] + b[1]) / 2))
    return math.hypot(east, b[1] - a[1])


def _course_deg(a: Position, b: Position) -> float:
    """[deg] Rhumb course between two points, as a plotter steers it."""
    north = math.asinh(math.tan(math.radians(b[1]))) - math.asinh(math.tan(math.radians(a[1])))
    return math.degrees(math.atan2(math.radians((b[0] - a[0] + 180) % 360 - 180), north)) % 360
