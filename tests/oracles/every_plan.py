"""Every plan there is on a small dock graph: all stop sequences, all tracks, tried one by one.

Nothing is shared with the product: fuel, hours and waiting are worked out here from the rules as they are stated.
Hours are given as daily windows in whole minutes of UTC; the product gets the same as text.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

DAY_H = 24.0
MOST_DAYS = 12


@dataclass(frozen=True)
class Way:
    """One track between two places."""

    time_h: float
    fuel_l: float


@dataclass(frozen=True)
class Pump:
    """A dock: windows in minutes of the day (end after begin, up to the next day's), none for always open."""

    lpm: float
    largest_l: float | None
    windows: tuple[tuple[int, int], ...]

    def text(self) -> str | None:
        """Write the hours as the product reads them."""
        if not self.windows:
            return None
        return ",".join(f"{b // 60:02d}:{b % 60:02d}-{e // 60 % 24:02d}:{e % 60:02d}" for b, e in self.windows)

    def begin_h(self, arrive_h: float, lasts_h: float, depart_of_day_h: float) -> float | None:
        """[h] First moment from the arrival on from which the dock stays open for as long as the fill lasts."""
        if not self.windows:
            return arrive_h
        spans: list[list[float]] = []
        for day in range(-1, MOST_DAYS):
            spans += [
                [day * DAY_H + b / 60 - depart_of_day_h, day * DAY_H + e / 60 - depart_of_day_h]
                for b, e in self.windows
            ]
        joined: list[list[float]] = []
        for begin, end in sorted(spans):
            if joined and begin <= joined[-1][1] + 1e-9:
                joined[-1][1] = max(joined[-1][1], end)
            else:
                joined.append([begin, end])
        for begin, end in joined:
            start = max(begin, arrive_h)
            if start < end - 1e-9 and start + lasts_h <= end + 1e-9:
                return start
        return None


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


def low_l(puzzle: Puzzle, mean_l: float, burned_l: float, sd_l: float) -> float:
    """[l] The arrival rule, as it is stated."""
    return mean_l - burned_l - puzzle.z * math.sqrt(sd_l**2 + (puzzle.sd_share * burned_l) ** 2)


def every_arrival(puzzle: Puzzle) -> list[tuple[float, int]]:  # noqa: C901  the rules in one place, to be read through
    """List (time, stops) of every plan that keeps the rules; no dock is filled at twice between two targets."""
    found: list[tuple[float, int]] = []

    def go(
        here: int, stage: int, time_h: float, stops: int, tank: tuple[float, float, float], filled: frozenset[int]
    ) -> None:
        mean_l, burned_l, sd_l = tank
        for (a, b), ways in puzzle.ways.items():
            if a != here:
                continue
            for way in ways:
                burned = burned_l + way.fuel_l
                if low_l(puzzle, mean_l, burned, sd_l) < puzzle.floor_l:
                    continue
                arrive_h = time_h + way.time_h
                passed = stage + 1 if b == puzzle.targets[stage] else stage
                if passed == len(puzzle.targets):
                    found.append((arrive_h, stops))
                    continue
                if passed > stage:
                    go(b, passed, arrive_h, stops, (mean_l, burned, sd_l), frozenset())
                if b not in puzzle.pumps or (b in filled and passed == stage):
                    continue
                pump = puzzle.pumps[b]
                take_l = max(puzzle.full_l - (mean_l - burned), 0.0)
                if pump.largest_l is not None and take_l > pump.largest_l:
                    continue
                lasts_h = puzzle.berthing_h + take_l / pump.lpm / 60
                begin_h = pump.begin_h(arrive_h, lasts_h, puzzle.depart_of_day_h)
                if begin_h is None:
                    continue
                level = max(puzzle.full_l, mean_l - burned)
                now_filled = frozenset({b}) if passed > stage else filled | {b}
                go(b, passed, begin_h + lasts_h, stops + 1, (level, 0.0, puzzle.full_sd_l), now_filled)

    go(puzzle.start, 0, 0.0, 0, (puzzle.mean_l, 0.0, puzzle.sd_l), frozenset())
    return found


def pareto(arrivals: list[tuple[float, int]], tie_h: float = 1e-7) -> list[tuple[float, int]]:
    """Keep what no other beats in time and stops; times within the tie are one."""
    best: list[tuple[float, int]] = []
    for time_h, stops in sorted(arrivals, key=lambda a: (a[1], a[0])):
        if not best or (stops > best[-1][1] and time_h < best[-1][0] - tie_h):
            best.append((time_h, stops))
    return best
