"""Group cruises tried out in full: every set of docks, every sequence of stops, every choice of who fills where.

Nothing is shared with the planner: fuel, the closed-dock rule, hours and the time that everything takes are worked out
here from the rules as they are stated. Nothing is shortened by knowing better either, but that a search for the least
hours leaves off where it has taken as many already.

A stage is the number of visits behind the start that have been reached. No dock is filled at twice on one stage: the
second fill would leave the tank as the first did, later. A company may come to one twice, for another boat's sake.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from oracles.every_plan import Pump

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from collections.abc import Set as AbstractSet

TIE = 1e-9  # rounding, of litres and hours


@dataclass(frozen=True)
class Quay(Pump):
    """A dock: what it sells, and how many pumps it has in all."""

    sells: tuple[str, ...] = ("gasoline", "diesel")
    count: int = 1

    def pumps_of(self, fuel: str) -> int:
        """Tell how many boats can take a fuel at once, where the other fuel doesn't stand in the way."""
        if len(self.sells) == 1:
            return self.count
        return max(1, (self.count + (fuel == "gasoline")) // 2)

    def lies_h(self, takes_h: Iterable[tuple[str, float]]) -> float:
        """[h] Tell how long boats lie here that come together, each with one pump to her fuel at the most."""
        work_h = dict.fromkeys(("gasoline", "diesel"), 0.0)
        for fuel, hours in takes_h:
            work_h[fuel] += hours
        if len(self.sells) > 1 and self.count == 1:  # one place for both
            return sum(work_h.values())
        return max(work_h.values())


@dataclass(frozen=True)
class Craft:
    """One boat's fuel, and the docks that suit her, by place."""

    fuel: Literal["gasoline", "diesel"]
    mean_l: float
    sd_l: float
    full_l: float
    full_sd_l: float
    floor_l: float
    unusable_l: float
    sd_share: float
    suits: frozenset[int]


class Run(NamedTuple):
    """One way between two places: hours, and litres of each boat."""

    hours: float
    litres: tuple[float, ...]


@dataclass(frozen=True)
class Company:
    """Boats that go one way together."""

    crafts: tuple[Craft, ...]
    runs: dict[tuple[int, int], tuple[Run, ...]]


@dataclass(frozen=True)
class CruisePuzzle:
    """A cruise small enough to be tried out in full.

    `ready_h` and `not_before_h` say of each visit but the last how long the group lies there at the least, and when it
    may leave at the earliest; `by_h` of each leg when it has to end. All hours count from the departure.
    """

    companies: tuple[Company, ...]
    visits: tuple[int, ...]
    quays: dict[int, Quay]
    confidence: float
    z: float
    berthing_h: float
    gather_h: float
    closed_dock: Literal["on", "off", "strict"]
    depart_of_day_h: float
    ready_h: tuple[float, ...]
    not_before_h: tuple[float | None, ...]
    by_h: tuple[float, ...]
    longest_wait_h: float = 24.0

    @property
    def last(self) -> int:
        """Stage of the end."""
        return len(self.visits) - 1

    def leaves_h(self, stage: int, in_h: float) -> float:
        """[h] Tell when a company that comes to a visit leaves it, if nobody else is late."""
        if stage == self.last:
            return in_h
        earliest_h = self.not_before_h[stage]
        return max(in_h + self.ready_h[stage], -math.inf if earliest_h is None else earliest_h)

    @property
    def ends_days(self) -> bool:
        """Whether some leg has to end in time; else one may wait for as long as it takes."""
        return any(math.isfinite(h) for h in self.by_h)


class Tank(NamedTuple):
    """[l] What is known of the fuel: last known level, burn since, standard deviation of that level."""

    level: float
    burned: float
    sd: float


class Leg(NamedTuple):
    """One hop of a company, and whether it stops there for fuel."""

    place: int
    stage: int
    run: Run
    stops: bool


class Skipper:
    """The rules of one boat."""

    def __init__(self, puzzle: CruisePuzzle, company: Company, member: int) -> None:
        """Remember the boat, and what was found out about docks that turn out closed."""
        self.puzzle, self.member, self.craft = puzzle, member, company.crafts[member]
        self.hops: dict[int, list[tuple[int, float]]] = {}
        for (a, b), runs in company.runs.items():
            self.hops.setdefault(a, []).extend((b, run.litres[member]) for run in runs)
        self.full = Tank(self.craft.full_l, 0.0, self.craft.full_sd_l)
        self.first = Tank(self.craft.mean_l, 0.0, self.craft.sd_l)
        self._ended: dict[tuple[int, int, int], bool] = {}

    def low_l(self, tank: Tank) -> float:
        """[l] The arrival rule's figure, as it is stated."""
        doubt = math.sqrt(tank.sd**2 + (self.craft.sd_share * tank.burned) ** 2)
        return tank.level - tank.burned - self.puzzle.z * doubt

    def arrives(self, tank: Tank) -> bool:
        """Tell whether the reserve is kept."""
        return self.low_l(tank) >= self.craft.floor_l - TIE

    def take_l(self, tank: Tank) -> float:
        """[l] What is missing from the mark."""
        return max(self.craft.full_l - (tank.level - tank.burned), 0.0)

    def lasts_h(self, place: int, tank: Tank) -> float:
        """[h] Tell how long she lies at a pump."""
        return self.puzzle.berthing_h + self.take_l(tank) / self.puzzle.quays[place].lpm / 60

    def may_fill(self, place: int, stage: int, tank: Tank) -> bool:
        """Tell whether she may count on a dock: it suits her, sells her enough, and leaves her a way out if closed."""
        if place not in self.craft.suits:
            return False
        largest_l = self.puzzle.quays[place].largest_l
        if largest_l is not None and self.take_l(tank) > largest_l + TIE:
            return False
        return self.puzzle.closed_dock == "off" or self._escapes(place, stage, tank, shut=place)

    def _escapes(self, here: int, stage: int, tank: Tank, shut: int) -> bool:
        craft, puzzle = self.craft, self.puzzle
        limit_l = craft.floor_l if puzzle.closed_dock == "strict" else craft.unusable_l
        for to, litres in self.hops.get(here, ()):
            there = tank._replace(burned=tank.burned + litres)
            if self.low_l(there) < limit_l - TIE:
                continue
            is_target = to == puzzle.visits[stage + 1]
            passed = stage + is_target
            if passed == puzzle.last:
                return True
            if to != shut and self._sells_someday(to, there) and self._ends(to, passed, shut):
                return True
            if is_target and self._escapes(to, passed, there, shut):
                return True
        return False

    def _sells_someday(self, place: int, tank: Tank) -> bool:
        if place not in self.craft.suits:
            return False
        quay = self.puzzle.quays[place]
        fits = quay.largest_l is None or self.take_l(tank) <= quay.largest_l + TIE
        return fits and self.lasts_h(place, tank) * 60 <= quay.longest_min() + 1e-6

    def _ends(self, place: int, stage: int, shut: int) -> bool:
        """Tell whether the end can be had with a full tank from a dock, by the plain rule, without the shut one."""
        key = place, stage, shut
        if key not in self._ended:
            self._ended[key] = self._goes_on(place, stage, self.full, shut, {(place, stage)})
        return self._ended[key]

    def _goes_on(self, here: int, stage: int, tank: Tank, shut: int, filled: set[tuple[int, int]]) -> bool:
        """Go on; `filled` are the docks from which all ways on have been tried, or are being tried."""
        for to, litres in self.hops.get(here, ()):
            there = tank._replace(burned=tank.burned + litres)
            if not self.arrives(there):
                continue
            is_target = to == self.puzzle.visits[stage + 1]
            passed = stage + is_target
            if passed == self.puzzle.last:
                return True
            if is_target and self._goes_on(to, passed, there, shut, filled):
                return True
            if to != shut and (to, passed) not in filled and self._sells_someday(to, there):
                filled.add((to, passed))
                if self._goes_on(to, passed, self.full, shut, filled):
                    return True
        return False


class Alone:
    """Every voyage of one boat by herself."""

    def __init__(self, puzzle: CruisePuzzle, company: Company) -> None:
        """Set her rules up."""
        self.puzzle, self.company = puzzle, company
        self.skipper = Skipper(puzzle, company, 0)
        self.out: dict[int, list[tuple[int, Run]]] = {}
        for (a, b), runs in company.runs.items():
            self.out.setdefault(a, []).extend((b, run) for run in runs)
        for several in self.out.values():
            several.sort(key=lambda hop: hop[1].hours)
        self.ahead_h = _ahead_h(puzzle, company)
        self._can: dict[frozenset[int], bool] = {}

    def can(self, docks: Iterable[int]) -> bool:
        """Tell whether she can do the cruise with some docks."""
        key = frozenset(docks) & self.skipper.craft.suits
        if key not in self._can:
            timed = self.puzzle.ends_days
            self._can[key] = self.least_h(key, first=True) < math.inf if timed else self._can_without_clock(key)
        return self._can[key]

    def _can_without_clock(self, docks: AbstractSet[int]) -> bool:
        """Try all that she can come to: a place, a stage and a tank. A dock has to open for long enough on some day."""
        start = (self.puzzle.visits[0], 0, self.skipper.first)
        seen, waiting = {start}, [start]
        while waiting:
            here, stage, tank = waiting.pop()
            for to, run in self.out.get(here, ()):
                there = tank._replace(burned=tank.burned + run.litres[0])
                if not self.skipper.arrives(there):
                    continue
                passed = stage + (to == self.puzzle.visits[stage + 1])
                if passed == self.puzzle.last:
                    return True
                after = [(to, passed, there)] if passed > stage else []
                fits = (
                    to in docks and self.skipper.lasts_h(to, there) * 60 <= self.puzzle.quays[to].longest_min() + 1e-6
                )
                if fits and self.skipper.may_fill(to, passed, there):
                    after.append((to, passed, self.skipper.full))
                for state in after:
                    if state not in seen:
                        seen.add(state)
                        waiting.append(state)
        return False

    def least_h(self, docks: AbstractSet[int], *, first: bool = False, must: AbstractSet[int] = frozenset()) -> float:  # noqa: C901  the rules in one place, to be read through
        """[h] Find the least hours that she is under way, waits for docks to open and lies at pumps.

        `first` takes the first voyage there is; `must` are docks to be filled at once at the least: after one of them,
        docks may be filled at again.
        """
        puzzle, best = self.puzzle, math.inf
        if not self._can_without_clock(docks):
            return best

        def go(
            here: int, stage: int, time_h: float, busy_h: float, tank: Tank, filled: frozenset[int], due: frozenset[int]
        ) -> None:
            nonlocal best
            for to, run in self.out.get(here, ()):
                if first and best < math.inf:
                    return
                came_h, spent_h = time_h + run.hours, busy_h + run.hours
                there = tank._replace(burned=tank.burned + run.litres[0])
                if came_h > puzzle.by_h[stage] + TIE or not self.skipper.arrives(there):
                    continue
                passes = to == puzzle.visits[stage + 1]
                passed = stage + passes
                if spent_h + self.ahead_h[passed][to] >= best - TIE:
                    continue
                if passed == puzzle.last:
                    if not due:
                        best = spent_h
                    continue
                before = frozenset[int]() if passes else filled
                if passes:
                    go(to, passed, puzzle.leaves_h(passed, came_h), spent_h, there, before, due)
                if to not in docks or to in before or not self.skipper.may_fill(to, passed, there):
                    continue
                lasts_h = self.skipper.lasts_h(to, there)
                begin_h = puzzle.quays[to].begin_h(came_h, lasts_h, puzzle.depart_of_day_h)
                if begin_h is None or (passes and begin_h + lasts_h > puzzle.by_h[stage] + TIE):
                    continue
                end_h = begin_h + lasts_h
                leaves_h = puzzle.leaves_h(passed, end_h) if passes else end_h
                go(
                    to,
                    passed,
                    leaves_h,
                    spent_h + end_h - came_h,
                    self.skipper.full,
                    {to} | (frozenset() if to in due else before),
                    due - {to},
                )

        go(puzzle.visits[0], 0, 0.0, 0.0, self.skipper.first, frozenset(), frozenset(must))
        return best

    def direct_h(self) -> float:
        """[h] The least hours of all legs without fuel, by any places between."""
        return self.ahead_h[0][self.puzzle.visits[0]]


class Together:
    """Every voyage of a company."""

    def __init__(self, puzzle: CruisePuzzle, company: Company) -> None:
        """Set everyone's rules up."""
        self.puzzle, self.company = puzzle, company
        self.skippers = [Skipper(puzzle, company, m) for m in range(len(company.crafts))]
        self.out: dict[int, list[tuple[int, Run]]] = {}
        for (a, b), runs in company.runs.items():
            self.out.setdefault(a, []).extend((b, run) for run in runs)
        self.ahead_h = _ahead_h(puzzle, company)

    def can(self, docks: Iterable[int]) -> bool:
        """Tell whether some route does for everyone, whoever fills where; hours left out."""
        allowed = frozenset(docks)
        start: tuple[int, int, tuple[frozenset[Tank], ...], tuple[int, ...]] = (
            self.puzzle.visits[0],
            0,
            tuple(frozenset({s.first}) for s in self.skippers),
            (),
        )
        seen, waiting = {start}, [start]
        while waiting:
            here, stage, tanks, stopped = waiting.pop()
            for to, run in self.out.get(here, ()):
                there = tuple(
                    frozenset(t for t in (o._replace(burned=o.burned + run.litres[m]) for o in each) if s.arrives(t))
                    for m, (s, each) in enumerate(zip(self.skippers, tanks, strict=True))
                )
                if not all(there):
                    continue
                passed = stage + (to == self.puzzle.visits[stage + 1])
                if passed == self.puzzle.last:
                    return True
                before = () if passed > stage else stopped
                after = [(to, passed, there, before)] if passed > stage else []
                if to in allowed and before.count(to) < 2:
                    filled = tuple(
                        _unbeaten(each | {s.full for t in each if s.may_fill(to, passed, t)})
                        for s, each in zip(self.skippers, there, strict=True)
                    )
                    if filled != there:  # nobody stops where none can fill
                        after.append((to, passed, filled, tuple(sorted((*before, to)))))
                for state in after:
                    if state not in seen:
                        seen.add(state)
                        waiting.append(state)
        return False

    def least_h(self, docks: AbstractSet[int]) -> float:  # noqa: C901  likewise
        """[h] Find the least hours under way, at pumps and gathering, over every route and choice of who fills."""
        puzzle, best = self.puzzle, math.inf
        if not self.can(docks):
            return best

        def go(here: int, stage: int, busy_h: float, tanks: tuple[Tank, ...], filled: frozenset[int]) -> None:
            nonlocal best
            for to, run in self.out.get(here, ()):
                spent_h = busy_h + run.hours
                there = tuple(t._replace(burned=t.burned + run.litres[m]) for m, t in enumerate(tanks))
                if not all(s.arrives(t) for s, t in zip(self.skippers, there, strict=True)):
                    continue
                passes = to == puzzle.visits[stage + 1]
                passed = stage + passes
                if spent_h + self.ahead_h[passed][to] >= best - TIE:
                    continue
                if passed == puzzle.last:
                    best = spent_h
                    continue
                before = frozenset[int]() if passes else filled
                if passes:
                    go(to, passed, spent_h, there, before)
                if to not in docks or to in before:
                    continue
                able = [m for m, s in enumerate(self.skippers) if s.may_fill(to, passed, there[m])]
                for who in _subsets(able):
                    if not who:
                        continue
                    lies_h = puzzle.quays[to].lies_h(
                        (self.company.crafts[m].fuel, self.skippers[m].lasts_h(to, there[m])) for m in who
                    )
                    after = tuple(self.skippers[m].full if m in who else t for m, t in enumerate(there))
                    gather_h = 0.0 if passes or len(self.skippers) == 1 else puzzle.gather_h
                    go(to, passed, spent_h + lies_h + gather_h, after, before | {to})

        go(puzzle.visits[0], 0, 0.0, tuple(s.first for s in self.skippers), frozenset())
        return best

    def choices(self, legs: Iterable[Leg], most_h: Mapping[int, float]) -> Iterator[tuple[float, int]]:
        """[h] List what every choice of who fills where on a route comes to: hours at pumps, and fills."""
        path = list(legs)

        def go(at: int, stop: int, tanks: tuple[Tank, ...], hours: float, fills: int) -> Iterator[tuple[float, int]]:
            if at == len(path):
                yield hours, fills
                return
            leg = path[at]
            there = tuple(t._replace(burned=t.burned + leg.run.litres[m]) for m, t in enumerate(tanks))
            if not all(s.arrives(t) for s, t in zip(self.skippers, there, strict=True)):
                return
            if not leg.stops:
                yield from go(at + 1, stop, there, hours, fills)
                return
            able = [m for m, s in enumerate(self.skippers) if s.may_fill(leg.place, leg.stage, there[m])]
            for who in _subsets(able):
                lies_h = self.puzzle.quays[leg.place].lies_h(
                    (self.company.crafts[m].fuel, self.skippers[m].lasts_h(leg.place, there[m])) for m in who
                )
                if lies_h <= most_h.get(stop, math.inf) + TIE:
                    after = tuple(self.skippers[m].full if m in who else t for m, t in enumerate(there))
                    yield from go(at + 1, stop + 1, after, hours + lies_h, fills + len(who))

        yield from go(0, 0, tuple(s.first for s in self.skippers), 0.0, 0)


def fewest(puzzle: CruisePuzzle) -> int | None:
    """Find the least number of docks with which every company can do the cruise; None where all won't do."""
    everyone = [
        Alone(puzzle, company) if len(company.crafts) == 1 else Together(puzzle, company)
        for company in puzzle.companies
    ]
    for count in range(len(puzzle.quays) + 1):
        for docks in itertools.combinations(sorted(puzzle.quays), count):
            if all(each.can(docks) for each in everyone):
                return count
    return None


def sets_that_do(alone: Alone) -> list[frozenset[int]]:
    """List all sets of docks with which a boat can do her cruise."""
    return [docks for docks in map(frozenset, _subsets(sorted(alone.puzzle.quays))) if alone.can(docks)]


def least_delay_h(puzzle: CruisePuzzle, count: int) -> float:
    """[h] Find the least delay of all boats by themselves with at most so many docks, hours of docks left out."""
    everyone = [Alone(puzzle, company) for company in puzzle.companies]
    direct_h, best = sum(each.direct_h() for each in everyone), math.inf
    known: dict[tuple[int, frozenset[int]], float] = {}
    for docks in itertools.combinations(sorted(puzzle.quays), min(count, len(puzzle.quays))):
        total_h = -direct_h
        for i, each in enumerate(everyone):
            key = i, frozenset(docks) & each.skipper.craft.suits
            if key not in known:
                known[key] = each.least_h(key[1])
            total_h += known[key]
        best = min(best, total_h)
    return best


def _ahead_h(puzzle: CruisePuzzle, company: Company) -> list[dict[int, float]]:
    """[h] Tell for each stage and place how long the rest takes at the least without fuel, by any places between."""
    ahead = [dict.fromkeys((place for pair in company.runs for place in pair), 0.0)]
    for target in reversed(puzzle.visits[1:]):
        to_h = dict.fromkeys(ahead[0], math.inf) | {target: ahead[0][target]}
        for _ in to_h:
            for (a, b), runs in company.runs.items():
                to_h[a] = min(to_h[a], to_h[b] + min(run.hours for run in runs))
        ahead.insert(0, to_h)
    return ahead


def _unbeaten(tanks: frozenset[Tank]) -> frozenset[Tank]:
    """Leave out tanks beside one with as much in it, as little burnt since its level was known, and as sure a level."""
    return frozenset(
        t
        for t in tanks
        if not any(
            o != t and o.level - o.burned >= t.level - t.burned and o.burned <= t.burned and o.sd <= t.sd for o in tanks
        )
    )


def _subsets(things: Iterable[int]) -> Iterator[tuple[int, ...]]:
    every = list(things)
    return itertools.chain.from_iterable(itertools.combinations(every, k) for k in range(len(every) + 1))
