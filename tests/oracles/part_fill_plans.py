"""Part fills on a small dock graph: every order of stops, every track, every choice of part or full fill.

Nothing is shared with the product. Three ways to the cheapest volumes of one order that don't look alike:

- `bill_by_program`: a linear programme a plan, by scipy's `linprog`; the only one that knows opening hours;
- `Bill`: the least bill as a function of what is aboard, convex and in straight pieces, carried from place to place;
- `greedy_bill`: the textbook rule for one fixed order (fill up before a dearer stop, else buy just enough).

`plans_by_bill` walks all plans best first by `Bill`, so its first is the optimum.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections import deque
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.optimize import linprog

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

Kind = Literal["pass", "part", "full"]

DAY_H = 24.0
MOST_STOPS = 6
TIE = 1e-9  # [l, h] of the checks


@dataclass(frozen=True)
class Way:
    """One track between two places."""

    time_h: float
    fuel_l: float


@dataclass(frozen=True)
class Stand:
    """A dock's pump: price None where it states none, daily windows in minutes of the day, none for always open."""

    price: float | None
    lpm: float = 60.0
    largest_l: float | None = None
    windows: tuple[tuple[int, int], ...] = ()

    def text(self) -> str | None:
        """Write the hours as the product reads them."""
        if not self.windows:
            return None
        return ",".join(f"{b // 60:02d}:{b % 60:02d}-{e // 60 % 24:02d}:{e % 60:02d}" for b, e in self.windows)

    def openings_h(self, depart_of_day_h: float, until_h: float) -> list[tuple[float, float]]:
        """[h] Openings since the departure; windows that touch are one."""
        if not self.windows:
            return [(-DAY_H, math.inf)]
        joined: list[tuple[float, float]] = []
        for day in range(-1, int(until_h / DAY_H) + 2):
            for b, e in sorted(self.windows):
                begin, end = (day * DAY_H + m / 60 - depart_of_day_h for m in (b, e))
                if joined and begin <= joined[-1][1] + TIE:
                    joined[-1] = (joined[-1][0], max(joined[-1][1], end))
                else:
                    joined.append((begin, end))
        return joined

    def longest_h(self) -> float:
        """[h] The longest opening there is."""
        return max(e - b for b, e in self.openings_h(0.0, 3 * DAY_H))


@dataclass(frozen=True)
class Outing:
    """A refuel search small enough to be tried out in full."""

    ways: dict[tuple[int, int], tuple[Way, ...]]
    stands: dict[int, Stand]
    start: int
    targets: tuple[int, ...]
    mean_l: float
    full_l: float
    floor_l: float
    price_of_time: float = 0.0
    sd_l: float = 0.0
    full_sd_l: float = 0.0
    unusable_l: float = 0.0
    sd_share: float = 0.0
    z: float = 0.0
    berthing_h: float = 0.0
    depart_of_day_h: float = 8.0
    closed_dock: Literal["on", "off", "strict"] = "off"
    fill_first: bool = False
    guess_price: float = 0.0

    def doubt_l(self, burned_l: float, sd_l: float) -> float:
        """[l] What the confidence keeps clear."""
        return self.z * math.sqrt(sd_l**2 + (self.sd_share * burned_l) ** 2)

    def price(self, place: int) -> float:
        """[currency/l] As it is counted."""
        price = self.stands[place].price
        return self.guess_price if price is None else price

    def worth(self, place: int) -> float:
        """[currency/l] Price and the pump's time."""
        return self.price(place) + self.price_of_time / self.stands[place].lpm / 60

    def most_l(self, place: int) -> float:
        """[l] The most one fill can take: the largest sale, and what an opening has time for; negative for none."""
        stand = self.stands[place]
        sale_l = math.inf if stand.largest_l is None else stand.largest_l
        return min(sale_l, (stand.longest_h() - self.berthing_h) * 60 * stand.lpm)

    def after(self, place: int, stage: int) -> int:
        """Count targets passed once there."""
        return stage + (stage < len(self.targets) and place == self.targets[stage])

    @cached_property
    def least_l(self) -> dict[tuple[int, int], float]:
        """[l] Least fuel of one hop."""
        return {pair: min(w.fuel_l for w in ways) for pair, ways in self.ways.items() if ways}

    @cached_property
    def to_go(self) -> tuple[dict[tuple[int, int], float], dict[tuple[int, int], float]]:
        """[h], [l] Least to the destination by (place, targets passed), through whatever places: bounds."""
        return self._to_go("time_h"), self._to_go("fuel_l")

    def _to_go(self, what: str) -> dict[tuple[int, int], float]:
        places = {p for pair in self.ways for p in pair} | {self.start, *self.targets, *self.stands}
        last = len(self.targets)
        least = {(p, last): 0.0 for p in places}
        least |= {(p, s): math.inf for p in places for s in range(last)}
        for _ in range(len(places) * last + 1):
            for (a, b), ways in self.ways.items():
                for s in range(last):
                    through = min(getattr(w, what) for w in ways) + least[b, self.after(b, s)]
                    least[a, s] = min(least[a, s], through)
        return least

    @cached_property
    def escapes(self) -> dict[tuple[int, int], list[tuple[float, float]]]:
        """Ways out if a dock is found closed: (litres to the alternate, [l] the most it may have to fill there)."""
        last = len(self.targets)
        found: dict[tuple[int, int], list[tuple[float, float]]] = {}
        for v in self.stands:
            for stage in range(last):
                ways_out = []
                here, burn_l = v, 0.0
                for passed in range(stage, last + 1):
                    if passed > stage:  # one more of the targets on the way
                        t = self.targets[passed - 1]
                        burn_l += 0.0 if t == here else self.least_l.get((here, t), math.inf)
                        here = t
                    if math.isinf(burn_l):
                        break
                    if passed == last:
                        ways_out.append((burn_l, math.inf))
                        break
                    for w in self.stands:
                        on_l = 0.0 if w == here else self.least_l.get((here, w), math.inf)
                        after = self.after(w, passed) if w != here else passed
                        if w != v and math.isfinite(on_l) and after < last and self._finishes(w, after, v):
                            ways_out.append((burn_l + on_l, self.most_l(w)))
                found[v, stage] = ways_out
        return found

    def _finishes(self, w: int, stage: int, closed: int) -> bool:
        """Tell whether full fills lead from w, full, to the destination without filling at the closed dock."""
        seen, todo = set(), [(w, stage)]
        while todo:
            filled = todo.pop()
            if filled in seen:
                continue
            seen.add(filled)
            legs = [(*filled, 0.0)]
            while legs:
                here, s, burned_l = legs.pop()
                for (a, b), hop_l in self.least_l.items():
                    now_l = burned_l + hop_l
                    if a != here or self.full_l - now_l - self.doubt_l(now_l, self.full_sd_l) < self.floor_l - TIE:
                        continue
                    after = self.after(b, s)
                    if after == len(self.targets):
                        return True
                    if after > s:
                        legs.append((b, after, now_l))
                    if b in self.stands and b != closed and now_l <= self.most_l(b) + TIE:
                        todo.append((b, after))
        return False

    def least_aboard_l(self, place: int, stage: int, burned_l: float, sd_l: float, *, stop: bool) -> float:
        """[l] The least mean aboard at an arrival that keeps the rules; infinite where none does."""
        needed_l = self.floor_l + self.doubt_l(burned_l, sd_l)
        if not stop or self.closed_dock == "off":
            return needed_l
        limit_l = self.floor_l if self.closed_dock == "strict" else self.unusable_l
        out_l = [
            max(limit_l + b + self.doubt_l(burned_l + b, sd_l), self.full_l - most_l + b)
            for b, most_l in self.escapes[place, stage]
        ]
        return max(needed_l, min(out_l, default=math.inf))


@dataclass(frozen=True)
class Step:
    """One thing of a plan: a hop and what is done at its end; the fill at the start has no way."""

    place: int
    stage: int
    way: Way | None
    kind: Kind


# ---- the least bill as a function of what is aboard


@dataclass(frozen=True)
class Bill:
    """Least bill for each volume aboard: `at_least` with `least_l`, then rising by pieces (price, litres)."""

    least_l: float
    at_least: float
    pieces: tuple[tuple[float, float], ...] = ()

    def moved(self, burn_l: float, cost: float) -> Bill:
        """Burn some and pay some."""
        return Bill(self.least_l - burn_l, self.at_least + cost, self.pieces)

    def no_less(self, floor_l: float) -> Bill | None:
        """Drop what leaves less aboard."""
        if self.least_l >= floor_l - TIE:
            return self
        missing_l, bill, pieces = floor_l - self.least_l, self.at_least, list(self.pieces)
        while pieces:
            price, length_l = pieces.pop(0)
            if length_l >= missing_l - TIE:
                rest_l = max(length_l - missing_l, 0.0)
                return Bill(floor_l, bill + price * missing_l, ((price, rest_l), *pieces))
            missing_l -= length_l
            bill += price * length_l
        return None

    def no_more(self, full_l: float) -> Bill:
        """Drop what leaves more aboard; the least is never above."""
        room_l, pieces = full_l - self.least_l, []
        for price, length_l in self.pieces:
            if room_l <= 0:
                break
            pieces.append((price, min(length_l, room_l)))
            room_l -= length_l
        return Bill(self.least_l, self.at_least, tuple(pieces))

    def bought(self, price: float, most_l: float) -> Bill:
        """Buy anything up to that much at a price: the cheapest litres come first."""
        return Bill(self.least_l, self.at_least, tuple(sorted([*self.pieces, (price, most_l)])))


def _fills(outing: Outing, step: Step, burned_l: float, sd_l: float, bill: Bill) -> Iterator[tuple[Step, Bill]]:
    """Fill in part, from nothing on, and in full."""
    place = step.place
    most_l = outing.most_l(place)
    if most_l < 0:
        return
    bill = bill.moved(0.0, outing.price_of_time * outing.berthing_h)
    worth = outing.worth(place)
    part = Step(place, step.stage, step.way, "part")
    full = Step(place, step.stage, step.way, "full")
    if bill.least_l > outing.full_l:  # more than the mark from the departure on
        yield full, Bill(bill.least_l, bill.at_least)
        return
    yield part, bill.bought(worth, most_l).no_more(outing.full_l)
    if outing.z == 0 or (burned_l == 0 and sd_l <= outing.full_sd_l):
        return  # it makes nothing surer
    filled = bill.bought(worth, most_l).no_less(outing.full_l)
    if filled is not None:
        yield full, Bill(outing.full_l, filled.at_least)


def plans_by_bill(  # noqa: C901, PLR0912  the rules in one place, to be read through
    outing: Outing, most_stops: int = MOST_STOPS
) -> Iterator[tuple[float, tuple[Step, ...]]]:
    """Walk all plans by their least bill, hours left out but for what an opening has time for; cheapest first."""
    last = len(outing.targets)
    hours, litres = outing.to_go
    cheapest = min((outing.worth(p) for p in outing.stands), default=math.inf)
    ties = itertools.count()
    queue: list[tuple[float, int, int, int, int, float, float, Bill, tuple[Step, ...], int]] = []

    def push(steps: tuple[Step, ...], stops: int, burned_l: float, sd_l: float, bill: Bill) -> None:
        place, stage = (steps[-1].place, steps[-1].stage) if steps else (outing.start, 0)
        if math.isinf(hours[place, stage]):
            return
        ahead = bill.moved(0.0, outing.price_of_time * hours[place, stage])
        if math.isfinite(cheapest):
            ahead = ahead.bought(cheapest, math.inf)
        bound = ahead.no_less(outing.floor_l + litres[place, stage])
        if bound is not None:
            entry = (bound.at_least, -stage, next(ties), place, stage, burned_l, sd_l, bill, steps, stops)
            heapq.heappush(queue, entry)

    first = Bill(outing.mean_l, 0.0)
    if outing.fill_first:
        for step, bill in _fills(outing, Step(outing.start, 0, None, "pass"), 0.0, outing.sd_l, first):
            full = step.kind == "full"
            push((step,), 1, 0.0, outing.full_sd_l if full else outing.sd_l, bill)
    else:
        push((), 0, 0.0, outing.sd_l, first)
    while queue:
        value, _, _, here, stage, burned_l, sd_l, bill, steps, stops = heapq.heappop(queue)
        if stage == last:
            yield value, steps
            continue
        for (a, b), ways in outing.ways.items():
            if a != here:
                continue
            after = outing.after(b, stage)
            for way in ways:
                now_l = burned_l + way.fuel_l
                sailed = bill.moved(way.fuel_l, outing.price_of_time * way.time_h)
                passed = sailed.no_less(outing.least_aboard_l(b, after, now_l, sd_l, stop=False))
                if passed is None:
                    continue
                step = Step(b, after, way, "pass")
                if after > stage:
                    push((*steps, step), stops, now_l, sd_l, passed)
                if b in outing.stands and after < last and stops < most_stops:
                    stopped = sailed.no_less(outing.least_aboard_l(b, after, now_l, sd_l, stop=True))
                    if stopped is None:
                        continue
                    for filled, after_fill in _fills(outing, step, now_l, sd_l, stopped):
                        if filled.kind == "full":
                            push((*steps, filled), stops + 1, 0.0, outing.full_sd_l, after_fill)
                        else:
                            push((*steps, filled), stops + 1, now_l, sd_l, after_fill)


def least_bill(outing: Outing, most_stops: int = MOST_STOPS) -> tuple[float, tuple[Step, ...]] | None:
    """Find the optimum where hours cost nothing or there are none."""
    return next(plans_by_bill(outing, most_stops), None)


# ---- a linear programme a plan


def bill_by_program(  # noqa: C901, PLR0912, PLR0915  the rules in one place, to be read through
    outing: Outing, steps: Sequence[Step], openings: Sequence[tuple[float, float]] | None = None
) -> float | None:
    """Find one plan's least money and time by linear programming; None where no volumes keep the rules.

    Unknowns: the litres of each stop, then the hour each begins. An opening a stop, where given.
    """
    stops = [s for s in steps if s.kind != "pass"]
    n = len(stops)
    size = 2 * n
    above: list[tuple[np.ndarray, float]] = []  # row . unknowns >= value
    equal: list[tuple[np.ndarray, float]] = []
    bounds: list[tuple[float, float | None]] = [(0.0, None)] * size
    cost = np.zeros(size)
    clock, clock_h = np.zeros(size), 0.0  # hours since the departure: clock . unknowns + clock_h
    level, level_l = np.zeros(size), outing.mean_l  # L in the same way
    burned_l, sd_l, k, at_most_l = 0.0, outing.sd_l, 0, outing.mean_l  # the last: aboard, had nothing been filled
    for step in steps:
        if step.way is not None:
            burned_l += step.way.fuel_l
            clock_h += step.way.time_h
            at_most_l -= step.way.fuel_l
            needed_l = outing.least_aboard_l(step.place, step.stage, burned_l, sd_l, stop=step.kind != "pass")
            if math.isinf(needed_l):
                return None
            above.append((level.copy(), needed_l + burned_l - level_l))
        if step.kind == "pass":
            continue
        stand = outing.stands[step.place]
        take, begin = np.eye(size)[k], np.eye(size)[n + k]
        bounds[k] = (0.0, stand.largest_l)
        cost += outing.price(step.place) * take
        above.append((begin - clock, clock_h))
        clock, clock_h = begin + take / stand.lpm / 60, outing.berthing_h
        if openings is not None:
            opens_h, shuts_h = openings[k]
            above.append((begin, opens_h))
            if math.isfinite(shuts_h):
                above.append((-clock, clock_h - shuts_h))
        elif stand.windows:
            above.append((-take, -max(outing.most_l(step.place), -1.0)))
        above_mark = at_most_l > outing.full_l
        if step.kind == "part":
            if above_mark:
                equal.append((take, 0.0))
            else:
                above.append((-level - take, level_l - burned_l - outing.full_l))
            level = level + take
        else:
            equal.append(
                (take + (0 if above_mark else level), 0.0 if above_mark else outing.full_l - level_l + burned_l)
            )
            level, level_l = np.zeros(size), max(outing.full_l, at_most_l)
            burned_l, sd_l = 0.0, outing.full_sd_l
        k += 1
    cost += outing.price_of_time * clock
    constant = outing.price_of_time * clock_h
    if n == 0:
        return constant if all(value <= TIE for _, value in above) else None
    solved = linprog(
        cost,
        A_ub=np.array([-row for row, _ in above]),
        b_ub=np.array([-value for _, value in above]),
        A_eq=np.array([row for row, _ in equal]) if equal else None,
        b_eq=np.array([value for _, value in equal]) if equal else None,
        bounds=bounds,
        method="highs",
    )
    if solved.status == 2:
        return None
    assert solved.status == 0, solved.message
    return float(solved.fun) + constant


def least_with_hours(outing: Outing, most_stops: int = MOST_STOPS) -> tuple[float, tuple[Step, ...]] | None:
    """Find the optimum under opening hours: plans by their bill without waits, each tried in every opening."""
    best: tuple[float, tuple[Step, ...]] | None = None
    for value, steps in plans_by_bill(outing, most_stops):
        if best is not None and value >= best[0] - TIE:
            break
        for openings in _opening_choices(outing, steps):
            found = bill_by_program(outing, steps, openings)
            if found is not None and (best is None or found < best[0]):
                best = found, steps
    return best


def _opening_choices(outing: Outing, steps: Sequence[Step]) -> Iterator[tuple[tuple[float, float], ...]]:
    """Choose an opening for each stop, none that is over before the boat can be there or a day after it must be."""

    def go(index: int, soonest_h: float, latest_h: float) -> Iterator[tuple[tuple[float, float], ...]]:
        if index == len(steps):
            yield ()
            return
        step = steps[index]
        sailed_h = 0.0 if step.way is None else step.way.time_h
        soonest_h, latest_h = soonest_h + sailed_h, latest_h + sailed_h
        if step.kind == "pass":
            yield from go(index + 1, soonest_h, latest_h)
            return
        stand = outing.stands[step.place]
        pumps_h = outing.full_l / stand.lpm / 60
        for opens_h, shuts_h in stand.openings_h(outing.depart_of_day_h, latest_h + 2 * DAY_H):
            begin_h = max(opens_h, soonest_h)
            if begin_h + outing.berthing_h > shuts_h + TIE or opens_h > latest_h + pumps_h + DAY_H:
                continue
            done_h = max(opens_h, latest_h) + outing.berthing_h + pumps_h
            for rest in go(index + 1, begin_h + outing.berthing_h, min(done_h, shuts_h)):
                yield ((opens_h, shuts_h), *rest)

    yield from go(0, 0.0, 0.0)


# ---- enough


@dataclass(frozen=True, order=True)
class Told:
    """A plan's figures, in the order in which ties are broken."""

    bill: float
    time_h: float
    cost: float
    stops: int
    less_margin_l: float


@dataclass(frozen=True)
class _Tank:
    level_l: float
    burned_l: float
    sd_l: float

    @property
    def aboard_l(self) -> float:
        return self.level_l - self.burned_l


def every_enough(  # noqa: C901, PLR0915  the rules in one place, to be read through
    outing: Outing, most_stops: int = 5
) -> tuple[Told, tuple[tuple[int, float], ...]] | None:
    """Try every order of stops with the least fill each; the best by bill, time, cost, stops, margin.

    No dock is filled at twice between two targets, or a boat would sail to and fro until she is given a full fill. A
    fill has to reach the next stop, or the destination, with the targets that are passed on the way.
    """
    last = len(outing.targets)
    hours, litres = outing.to_go
    cheapest = min((outing.worth(p) for p in outing.stands), default=math.inf)
    best: list[tuple[Told, tuple[tuple[int, float], ...]]] = []

    def stretches(here: int, stage: int) -> Iterator[tuple[tuple[Way, ...], tuple[int, ...], int, int, bool]]:
        """Hops to the next stop or the destination: ways, stages after each, place, stage, whether it is a stop."""
        for (a, b), ways in outing.ways.items():
            if a != here:
                continue
            after = outing.after(b, stage)
            for way in ways:
                if after == last:
                    yield (way,), (after,), b, after, False
                    continue
                if b in outing.stands:
                    yield (way,), (after,), b, after, True
                if after > stage:
                    for rest, stages, end, end_stage, stop in stretches(b, after):
                        yield (way, *rest), (after, *stages), end, end_stage, stop

    def short_l(tank: _Tank, ways: tuple[Way, ...], end: tuple[int, int], *, stop: bool) -> float:
        """[l] What is missing at the worst of the arrivals; negative where nothing is."""
        worst_l, burned_l = -math.inf, tank.burned_l
        for i, way in enumerate(ways):
            burned_l += way.fuel_l
            here = stop and i == len(ways) - 1
            needed_l = outing.least_aboard_l(*end, burned_l, tank.sd_l, stop=here)
            worst_l = max(worst_l, needed_l + burned_l - tank.level_l)
        return worst_l

    def margin_of(tank: _Tank, ways: tuple[Way, ...]) -> float:
        least_l, burned_l = math.inf, tank.burned_l
        for way in ways:
            burned_l += way.fuel_l
            low_l = tank.level_l - burned_l - outing.doubt_l(burned_l, tank.sd_l)
            least_l = min(least_l, low_l - outing.floor_l)
        return least_l

    def begin_h(place: int, arrive_h: float, lasts_h: float) -> float:
        for opens_h, shuts_h in outing.stands[place].openings_h(outing.depart_of_day_h, arrive_h + 3 * DAY_H):
            start_h = max(opens_h, arrive_h)
            if start_h < shuts_h - TIE and start_h + lasts_h <= shuts_h + TIE:
                return start_h
        return math.inf

    def go(  # noqa: C901  as above
        here: int,
        stage: int,
        tank: _Tank,
        told: Told,
        fills: tuple[tuple[int, float], ...],
        met: frozenset[tuple[int, int]],
        *,
        at_stop: bool,
    ) -> None:
        if at_stop:
            if (here, stage) in met:
                return
            met |= {(here, stage)}
        for ways, _, end, after, stop in sorted(stretches(here, stage), key=lambda s: litres[s[2], s[3]]):
            if stop and told.stops + at_stop >= most_stops:
                continue
            left, time_h, cost, stops, taken = tank, told.time_h, told.cost, told.stops, fills
            if at_stop:
                filled = fill(here, tank, ways, (end, after), stop=stop, at_start=outing.fill_first and not fills)
                if filled is None:
                    continue
                left, take_l = filled
                stand = outing.stands[here]
                lasts_h = outing.berthing_h + take_l / stand.lpm / 60
                time_h = begin_h(here, time_h, lasts_h) + lasts_h
                cost += take_l * outing.price(here)
                stops += 1
                taken = (*fills, (here, take_l))
            elif short_l(tank, ways, (end, after), stop=stop) > TIE:
                continue
            time_h += sum(w.time_h for w in ways)
            bill = cost + outing.price_of_time * time_h
            there = _Tank(left.level_l, left.burned_l + sum(w.fuel_l for w in ways), left.sd_l)
            lacking_l = max(outing.floor_l + litres[end, after] - there.aboard_l, 0.0)
            least = bill + outing.price_of_time * hours[end, after] + (cheapest * lacking_l if lacking_l > 0 else 0.0)
            if math.isinf(least) or (best and least > best[0][0].bill + 1e-7):
                continue
            now = Told(bill, time_h, cost, stops, max(told.less_margin_l, -margin_of(left, ways)))
            if after == last:
                if not best or _rounded(now) < _rounded(best[0][0]):
                    best[:] = [(now, taken)]
            else:
                go(end, after, there, now, taken, met, at_stop=True)

    def fill(
        here: int, tank: _Tank, ways: tuple[Way, ...], end: tuple[int, int], *, stop: bool, at_start: bool
    ) -> tuple[_Tank, float] | None:
        largest_l = outing.stands[here].largest_l
        sale_l = math.inf if largest_l is None else largest_l
        part_l = short_l(tank, ways, end, stop=stop)
        if part_l <= TIE:  # nothing needs to be taken: no stop, but for the one that was asked for
            return (tank, 0.0) if at_start else None
        if tank.aboard_l + part_l <= outing.full_l + TIE:
            return (_Tank(tank.level_l + part_l, tank.burned_l, tank.sd_l), part_l) if part_l <= sale_l + TIE else None
        full = _Tank(max(outing.full_l, tank.aboard_l), 0.0, outing.full_sd_l)
        take_l = full.level_l - tank.aboard_l
        if take_l > sale_l + TIE or short_l(full, ways, end, stop=stop) > TIE:
            return None
        return full, take_l

    nothing = Told(0.0, 0.0, 0.0, 0, -math.inf)
    go(outing.start, 0, _Tank(outing.mean_l, 0.0, outing.sd_l), nothing, (), frozenset(), at_stop=outing.fill_first)
    return best[0] if best else None


def _rounded(told: Told) -> Told:
    return Told(
        round(told.bill, 7), round(told.time_h, 7), round(told.cost, 7), told.stops, round(told.less_margin_l, 7)
    )


# ---- the textbook rule for one order


def greedy_bill(
    prices: Sequence[float], uses_l: Sequence[float], full_l: float, start_l: float, floor_l: float = 0.0
) -> tuple[float, list[float]] | None:
    """Fill in one fixed order of stops, in linear time: litres at each; None where a leg is too long for the tank.

    At each stop buy just enough to reach the next stop that isn't dearer, if a full tank gets there, else fill up.
    """
    n = len(prices)
    room_l = full_l - floor_l
    from_start = [0.0, *itertools.accumulate(uses_l)]
    next_cheaper = [n] * n
    waiting: deque[int] = deque()
    for i, price in enumerate(prices):
        while waiting and prices[waiting[-1]] >= price:
            next_cheaper[waiting.pop()] = i
        waiting.append(i)
    usable_l, bill, bought = start_l - floor_l, 0.0, []
    for i, price in enumerate(prices):
        reach_l = from_start[next_cheaper[i]] - from_start[i]
        take_l = max(min(reach_l, room_l) - usable_l, 0.0)
        bought.append(take_l)
        bill += price * take_l
        usable_l += take_l - uses_l[i]
        if usable_l < -TIE:
            return None
    return bill, bought
