"""Every plan there is on a small dock graph: all stop sequences, all tracks, tried one by one.

Nothing is shared with the product: fuel, hours, waiting, money and margins are worked out here from the rules as they
are stated. Plans are counted in minutes, decilitres and cents. Where a puzzle's figures are whole numbers of these, so
are all sums (floats hold whole numbers exactly), and ties are ties. Hours are given as daily windows in whole minutes
of UTC; the product gets the same as text.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    MayFill = Callable[[int, int, "Tank"], bool]

DAY_MIN = 24 * 60
ROUNDING = 6  # decimals of a minute or decilitre that count: beyond them is the noise of floats


@dataclass(frozen=True)
class Way:
    """One track between two places."""

    time_h: float
    fuel_l: float
    speed_kn: float = 0.0


@dataclass(frozen=True)
class Pump:
    """A dock: windows in minutes of the day (end after begin, up to the next day's), none for always open."""

    lpm: float
    largest_l: float | None
    windows: tuple[tuple[int, int], ...]
    price_per_l: float | None = 2.0

    def text(self) -> str | None:
        """Write the hours as the product reads them."""
        if not self.windows:
            return None
        return ",".join(f"{b // 60:02d}:{b % 60:02d}-{e // 60 % 24:02d}:{e % 60:02d}" for b, e in self.windows)

    def begin_h(self, arrive_h: float, lasts_h: float, depart_of_day_h: float) -> float | None:
        """[h] First moment from the arrival on from which the dock stays open for as long as the fill lasts."""
        begin_min = self.begin_min((depart_of_day_h + arrive_h) * 60, lasts_h * 60)
        return None if begin_min is None else begin_min / 60 - depart_of_day_h

    def begin_min(self, arrive_min: float, lasts_min: float) -> float | None:
        """[min] The same, counted from the midnight before the departure."""
        if not self.windows:
            return arrive_min
        midnight = arrive_min // DAY_MIN * DAY_MIN
        for begin, end in openings(self.windows):
            start = max(midnight + begin, arrive_min)
            if start < midnight + end - 1e-6 and start + lasts_min <= midnight + end + 1e-6:
                return start
        return None

    def longest_min(self) -> float:
        """[min] How long it is open at a stretch at the most."""
        return max((end - begin for begin, end in openings(self.windows)), default=math.inf)


@cache
def openings(windows: tuple[tuple[int, int], ...]) -> tuple[tuple[int, int], ...]:
    """[min] Daily windows of three days before a midnight to four days after it; those that touch are one opening."""
    joined: list[tuple[int, int]] = []
    for begin, end in sorted((day * DAY_MIN + b, day * DAY_MIN + e) for day in range(-3, 4) for b, e in windows):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((begin, end))
    return tuple(joined)


@dataclass(frozen=True)
class Puzzle:
    """A refuel search small enough to be tried out in full."""

    ways: dict[tuple[int, int], tuple[Way, ...]]
    pumps: dict[int, Pump]
    start: int
    targets: tuple[int, ...]
    depart_of_day_h: float
    mean_l: float
    sd_l: float
    full_l: float
    full_sd_l: float
    floor_l: float
    sd_share: float
    z: float
    berthing_h: float
    unusable_l: float = 0.0
    closed_dock: Literal["on", "off", "strict"] = "off"
    fill_first: bool = False
    guess_price_per_l: float = 0.0


class Tank(NamedTuple):
    """What is known of the fuel: in litres or in decilitres, as whoever uses it counts."""

    level: float  # mean at the last known level
    burned: float  # mean burn since
    sd: float  # of that level


class Leg(NamedTuple):
    """A way, counted."""

    to: int
    minutes: float
    decilitres: float


class Point(NamedTuple):
    """What one plan comes to."""

    time_min: float
    cost_cents: float
    stops: int
    margin_dl: float


def low_l(puzzle: Puzzle, mean_l: float, burned_l: float, sd_l: float) -> float:
    """[l] The arrival rule, as it is stated; every term is a volume, so it holds in decilitres too."""
    return mean_l - burned_l - puzzle.z * math.sqrt(sd_l**2 + (puzzle.sd_share * burned_l) ** 2)


def minutes(hours: float) -> float:
    """[min] Of hours; thirds of an hour come out whole."""
    return round(hours * 60, ROUNDING)


def decilitres(litres: float) -> float:
    """[dl] Of litres."""
    return round(litres * 10, ROUNDING)


def legs_of(puzzle: Puzzle) -> dict[int, list[Leg]]:
    """Count all ways out of each place."""
    legs: defaultdict[int, list[Leg]] = defaultdict(list)
    for (a, b), ways in puzzle.ways.items():
        legs[a] += [Leg(b, minutes(way.time_h), decilitres(way.fuel_l)) for way in ways]
    return legs


def take_dl(puzzle: Puzzle, pump: Pump, tank: Tank) -> float | None:
    """[dl] What a fill to the mark takes; None where the dock doesn't sell so much to one boat."""
    take = max(decilitres(puzzle.full_l) - (tank.level - tank.burned), 0.0)
    return take if pump.largest_l is None or take <= decilitres(pump.largest_l) else None


def lasts_min(puzzle: Puzzle, pump: Pump, take: float) -> float:
    """[min] Berthing and pumping so many decilitres."""
    return minutes(puzzle.berthing_h) + take / (pump.lpm * 10)


def always(_dock: int, _stage: int, _tank: Tank) -> bool:
    """Judge that any dock may be filled at: no closed-dock rule."""
    return True


def every_plan(puzzle: Puzzle, may_fill: MayFill = always) -> set[Point]:  # noqa: C901  the rules in one place, to be read through
    """Collect what every plan that keeps the rules comes to.

    `may_fill` is asked at each dock with the stage and the tank on arrival, in decilitres. No dock is filled at twice
    between two targets: the second fill would leave the tank as the first did, later, dearer and with a stop more.
    """
    legs, depart_min, end = legs_of(puzzle), minutes(puzzle.depart_of_day_h), len(puzzle.targets)
    floor, full, full_sd = (decilitres(x) for x in (puzzle.floor_l, puzzle.full_l, puzzle.full_sd_l))
    found: set[tuple[float, float, int, float]] = set()

    def fill(at: int, stage: int, point: Point, tank: Tank, filled: frozenset[int]) -> None:
        pump = puzzle.pumps[at]
        take = take_dl(puzzle, pump, tank)
        if take is None:
            return
        lasts = lasts_min(puzzle, pump, take)
        begin = pump.begin_min(depart_min + point.time_min, lasts)
        if begin is None:
            return
        price = puzzle.guess_price_per_l if pump.price_per_l is None else pump.price_per_l
        cents = point.cost_cents + take * round(price * 100, ROUNDING) / 10
        after = Point(begin + lasts - depart_min, cents, point.stops + 1, point.margin_dl)
        go(at, stage, after, Tank(max(full, tank.level - tank.burned), 0.0, full_sd), filled | {at})

    def go(here: int, stage: int, point: Point, tank: Tank, filled: frozenset[int]) -> None:
        level, burned, sd = tank
        time_min, cost_cents, stops, least = point
        for to, leg_min, leg_dl in legs[here]:
            margin = low_l(puzzle, level, burned + leg_dl, sd) - floor
            if margin < 0:
                continue
            passed = stage + (to == puzzle.targets[stage])
            if passed == end:
                found.add((time_min + leg_min, cost_cents, stops, min(least, margin)))
                continue
            there, spent = Tank(level, burned + leg_dl, sd), frozenset[int]() if passed > stage else filled
            if passed > stage:
                go(to, passed, Point(time_min + leg_min, cost_cents, stops, least), there, spent)
            if to in puzzle.pumps and to not in spent and may_fill(to, passed, there):
                fill(to, passed, Point(time_min + leg_min, cost_cents, stops, min(least, margin)), there, spent)

    tank = Tank(*(decilitres(x) for x in (puzzle.mean_l, 0.0, puzzle.sd_l)))
    first = Point(0.0, 0.0, 0, math.inf)
    if puzzle.fill_first:
        fill(puzzle.start, 0, first, tank, frozenset())
    else:
        go(puzzle.start, 0, first, tank, frozenset())
    return {Point(round(t, ROUNDING), cents, stops, round(margin, ROUNDING)) for t, cents, stops, margin in found}


def every_arrival(puzzle: Puzzle) -> list[tuple[float, int]]:
    """List (time in hours, stops) of every plan."""
    return [(point.time_min / 60, point.stops) for point in every_plan(puzzle)]


def front(points: Iterable[tuple[float, ...]]) -> list[tuple[float, ...]]:
    """Keep what no other is as good as in everything and better in something; all figures the less the better."""
    best: list[tuple[float, ...]] = []
    for point in sorted(set(points)):  # whatever beats a point comes before it
        if not any(as_good(other, point) for other in best):
            best.append(point)
    return best


def as_good(point: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Tell whether a point is no worse than another in anything."""
    for ours, theirs in zip(point, other, strict=True):  # noqa: SIM110  a loop is quicker, and this is run most of all
        if ours > theirs:
            return False
    return True


def pareto(arrivals: list[tuple[float, int]], tie_h: float = 1e-7) -> list[tuple[float, int]]:
    """Keep what no other beats in time and stops; times within the tie are one."""
    best: list[tuple[float, int]] = []
    for time_h, stops in sorted(arrivals, key=lambda a: (a[1], a[0])):
        if not best or (stops > best[-1][1] and time_h < best[-1][0] - tie_h):
            best.append((time_h, stops))
    return best
