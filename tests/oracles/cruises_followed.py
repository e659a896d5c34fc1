"""A group cruise followed step by step from what is told of it, and fleets drawn to try it on.

Nothing is shared with the planner: fuel is added up from each boat's legs, the low figure is the formula of the arrival
rule written out once more, pumps and hours are read from the docks layer, and the clock from the plan. The way out of a
closed dock is looked for by breadth first search.
"""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import timedelta
from itertools import pairwise
from random import Random
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

from layers.hours import read_hours
from routeplan.cruise_asked import CruiseBoat
from routeplan.fuel import FuelAboard

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from layers.region import Region
    from routeplan.boats import Boat
    from routeplan.cruise_asked import CruiseAsked
    from routeplan.cruises import AtPump, BoatPlan, CruisePlan, CruiseStop

__all__ = ["draw_fleet", "faults_of", "low_l", "overlaps", "way_out"]

_L = 1e-6  # [l]
_LEGS_L = 0.02  # [l] legs are told as drawn, within a metre or two of the way: a second at 60 l/h
_DEG = 1e-5  # positions of legs are rounded, those of docks aren't: a metre
_MOMENT = timedelta(seconds=1)  # moments are told to the second
_DEFAULT_LPM = 38.0  # [l/min] of a dock whose row doesn't say: 10 US gal/min


def draw_fleet(seed: int, count: int, models: Sequence[Boat]) -> tuple[CruiseBoat, ...]:
    """Draw boats: a model each, with another tank, another cruising speed and less than full aboard."""
    draw = Random(seed)  # noqa: S311  boats, no secrets
    fleet = []
    for number in range(1, count + 1):
        model = draw.choice(models)
        size, name = draw.uniform(0.8, 1.6), f"Boat {number}"
        tank = model.tank.model_copy(
            update={key: getattr(model.tank, key) * size for key in ("capacity_l", "unusable_l", "full_mark_l")}
        )
        low, high = model.burn.unsteady_kn or (0.0, 0.0)
        speeds = [kn for kn in model.burn.speed_kn if kn >= high and kn <= 1.2 * model.cruising_speed_kn and kn > low]
        boat = model.model_copy(update={"name": name, "tank": tank, "cruising_speed_kn": draw.choice(speeds)})
        mean_l = draw.uniform(0.55, 1.0) * tank.full_mark_l
        aboard = FuelAboard(mean_l=mean_l, sd_l=0.03 * tank.capacity_l, how="drawn")
        fleet.append(CruiseBoat(name=name, boat=boat, aboard=aboard, file="drawn.toml"))
    return tuple(fleet)


def low_l(mean_l: float, burned_l: float, sd_l: float, share: float, confidence: float) -> float:
    """[l] Work the low figure out: F0 - B - z sqrt(s0^2 + (k B)^2)."""
    z = 0.0 if confidence == 0.5 else NormalDist().inv_cdf(confidence)
    return mean_l - burned_l - z * math.sqrt(sd_l**2 + (share * burned_l) ** 2)


def faults_of(asked: CruiseAsked, plan: CruisePlan, region: Region) -> list[str]:
    """Follow a plan; list what is wrong with it."""
    return [
        *_figure_faults(plan),
        *(f"{one.boat}: {fault}" for one in plan.boats for fault in _boat_faults(asked, one)),
        *(f"{stop.dock}: {fault}" for stop in plan.stops for fault in _stop_faults(asked, plan, stop, region)),
        *_leg_faults(asked, plan),
        *_together_faults(asked, plan),
    ]


def _figure_faults(plan: CruisePlan) -> Iterator[str]:
    used = {stop.dock for stop in plan.stops}
    if set(plan.docks) != used or used != {stop.dock for one in plan.boats for stop in one.plan.stops}:
        yield "docks that aren't those of the stops"
    if plan.fewest_docks > len(plan.docks) or plan.docks_proven != (plan.fewest_docks == len(plan.docks)):
        yield "the number of docks and what is proven of it don't agree"
    if not math.isclose(plan.delay_h, sum(one.delay_h for one in plan.boats), abs_tol=1e-6):
        yield "the delays don't add up"
    if plan.delay_gap_h > plan.delay_h + 1e-6:
        yield "a gap beyond the delay itself"


def _boat_faults(asked: CruiseAsked, one: BoatPlan) -> Iterator[str]:  # noqa: C901  one rule after the other
    """Run a boat along her legs with her fuel."""
    entry = next(each for each in asked.boats if each.name == one.boat)
    boat, plan, stops = entry.boat, one.plan, list(one.plan.stops)
    floor_l = boat.tank.unusable_l + _reserve_l(boat)
    level_l, sd_l, burned_l = entry.aboard.mean_l, entry.aboard.sd_l, 0.0
    unsteady = boat.burn.unsteady_kn or (0.0, 0.0)
    position, clock = plan.legs[0].from_position, plan.depart
    for leg in plan.legs:
        if leg.from_position != position or leg.depart < clock - _MOMENT:
            yield f"the leg to {leg.to} doesn't begin where and when the one before ends"
        if unsteady[0] < leg.speed_kn < unsteady[1]:
            yield f"goes {leg.speed_kn} kn to {leg.to}"
        position, clock = leg.to_position, leg.arrive
        burned_l += leg.fuel_l
        low = low_l(level_l, burned_l, sd_l, boat.burn.sd_share, asked.confidence)
        if low < floor_l - _LEGS_L:
            yield f"arrives at {leg.to} {floor_l - low:.6f} l short"
        if stops and math.dist(stops[0].position, position) < _DEG and abs(stops[0].arrive - clock) < _MOMENT:
            stop = stops.pop(0)
            if abs(low - stop.aboard_low_l) > _LEGS_L or stop.aboard_low_l < floor_l - _L:
                yield f"another low figure at {stop.dock}: {low} and {stop.aboard_low_l} l"
            if abs(stop.take_l - (boat.tank.full_mark_l - level_l + burned_l)) > _LEGS_L:
                yield f"takes {stop.take_l} l at {stop.dock}"
            level_l, sd_l, burned_l = boat.tank.full_mark_l, boat.full_mark_sd_l, 0.0
            clock = stop.depart
    if plan.aboard_on_arrival_low_l < floor_l - _L or plan.least_margin_l < -_L:
        yield f"ends {floor_l - plan.aboard_on_arrival_low_l:.6f} l short"
    if stops:
        yield f"stops that no leg comes to: {', '.join(stop.dock for stop in stops)}"
    if abs(max(clock, plan.arrive) - plan.arrive) > _MOMENT:
        yield "arrives after her arrival"


def _reserve_l(boat: Boat) -> float:
    rule, value = boat.reserve.rule, boat.reserve.value
    if rule == "thirds":
        return (boat.tank.capacity_l - boat.tank.unusable_l) / 3
    if rule == "fraction":
        return float(value or 0.0) * boat.tank.capacity_l
    return float(value or 0.0)


def _stop_faults(asked: CruiseAsked, plan: CruisePlan, stop: CruiseStop, region: Region) -> Iterator[str]:
    """Look at a queue: pumps, hours and waits, by the dock's row."""
    layer = region.layer("docks")
    row = layer[layer["name"] == stop.dock].iloc[0]
    sold = str(row["fuels"]).split(",")
    count = 1 if _missing(row["pumps"]) else int(row["pumps"])
    shared = len(sold) == 2 and count == 1
    each = {"gasoline": math.ceil(count / 2), "diesel": max(1, count // 2)} if len(sold) == 2 else {sold[0]: count}
    lpm = _DEFAULT_LPM if _missing(row["pump_lpm"]) else float(row["pump_lpm"])
    hours = None if _missing(row["opening_hours"]) else read_hours(str(row["opening_hours"]), region.zone)
    told = any(note.startswith("No docks were found with which nobody waits") for note in plan.cautions)
    for turn in stop.boats:
        lasts = timedelta(hours=asked.berthing_h, minutes=turn.take_l / lpm)
        if turn.begin < turn.arrive - _MOMENT or abs(turn.end - turn.begin - lasts) > _MOMENT:
            yield f"{turn.boat} lies there from {turn.begin} to {turn.end}"
        if turn.fuel not in sold or turn.pump > each[turn.fuel]:
            yield f"{turn.boat} fills at {turn.fuel} pump {turn.pump}"
        if hours is not None and not _open_throughout(hours, turn.begin, turn.end):
            yield f"closed while {turn.boat} fills"
        if abs(turn.wait_min * 60 - (turn.begin - turn.arrive).total_seconds()) > 0.01:
            yield f"{turn.boat} waits {turn.wait_min} min"
        if turn.wait_min > 60 * asked.longest_wait_h + 1 and not told:
            yield f"{turn.boat} waits {turn.wait_min:.0f} min, and no caution says so"
    turns = [turn for other in plan.stops if other.dock == stop.dock for turn in other.boats]
    if overlaps(turns, shared=shared):
        yield "two boats at one pump at once"


def _missing(value: Any) -> bool:
    return value is None or value != value or str(value) in ("", "<NA>", "NaT")  # noqa: PLR0124  not a number


def _open_throughout(hours: Any, begin: datetime, end: datetime) -> bool:
    if not hours.is_open(begin):
        return False
    change = hours.next_change(begin)
    return change is None or change >= end - _MOMENT


def overlaps(turns: Sequence[AtPump], *, shared: bool) -> bool:
    """Tell whether two boats lie at one pump at once."""
    pumps: dict[Any, list[AtPump]] = defaultdict(list)
    for turn in turns:
        pumps["" if shared else (turn.fuel, turn.pump)].append(turn)
    for at in pumps.values():
        at.sort(key=lambda turn: turn.begin)
        if any(b.begin < a.end - _MOMENT for a, b in pairwise(at)):
            return True
    return False


def _leg_faults(asked: CruiseAsked, plan: CruisePlan) -> Iterator[str]:
    """Hold the group's clock at its visits against each boat's own."""
    gather = timedelta(hours=asked.gather_h if len(asked.boats) > 1 else 0.0)
    ends = [*(leg.depart for leg in plan.legs[1:]), plan.arrive + timedelta(days=1)]
    for number, (leg, until) in enumerate(zip(plan.legs, ends, strict=True)):
        ins = []
        for one in plan.boats:
            mine = [each for each in one.plan.legs if leg.depart - _MOMENT <= each.depart < until - _MOMENT]
            stops = [each for each in one.plan.stops if leg.depart < each.arrive < until - _MOMENT]
            if not mine or (abs(mine[0].depart - leg.depart) > _MOMENT and not one.plan.waits):
                yield f"{one.boat} doesn't leave {leg.from_} with the others"
                continue
            ins.append(max([mine[-1].arrive, *(each.depart for each in stops)]))
        if ins and (abs(max(ins) - leg.last_in) > _MOMENT or abs(min(ins) - leg.first_in) > _MOMENT):
            yield f"the boats are in at {leg.to} from {min(ins)} to {max(ins)}"
        if number + 1 < len(plan.legs):
            visit, leaves = asked.visits[number + 1], plan.legs[number + 1].depart
            ready = leg.last_in + gather + timedelta(hours=visit.stay_h)
            if leaves < ready - _MOMENT or (visit.leave is None and not visit.night and leaves > ready + _MOMENT):
                yield f"leaves {leg.to} at {leaves}, ready at {ready}"
    for day in plan.days:
        if asked.daylight and day.light_left_min is not None and day.light_left_min < -1e-6:
            yield f"day {day.number} ends {-day.light_left_min} min after sunset"


def _together_faults(asked: CruiseAsked, plan: CruisePlan) -> Iterator[str]:
    """Compare the boats of a party leg by leg."""
    if asked.pace != "together":
        return
    parties: dict[int, list[BoatPlan]] = defaultdict(list)
    for one in plan.boats:
        parties[one.party].append(one)
        if any(kn != plan.speed_kn for kn in one.plan.speeds_kn):
            yield f"{one.boat} goes {one.plan.speeds_kn} kn, the group {plan.speed_kn} kn"
    for members in parties.values():
        clocks = [[(leg.depart, leg.arrive, leg.speed_kn, leg.to_position) for leg in m.plan.legs] for m in members]
        for one, clock in zip(members, clocks, strict=True):
            if clock != clocks[0]:
                yield f"{one.boat} doesn't go with {members[0].boat}"


def way_out(  # noqa: C901  a search with its two kinds of tank
    closed: str,
    docks: Sequence[str],
    visits: Sequence[str],
    burn_l: Mapping[tuple[str, str], float],
    arrival: tuple[float, float, float],
    boat: Boat,
    confidence: float,
) -> bool:
    """Tell whether a boat that finds a dock closed has a way out: a dock or the end on her reserve, then the end.

    Parameters
    ----------
    closed
        The dock.
    docks
        Those that suit her.
    visits
        What lies ahead, the end last.
    burn_l
        [l] Between places; pairs without a way are left out.
    arrival
        [l] Last known level, burn since, standard deviation of the level.
    boat, confidence
        As planned.
    """
    level_l, burned_l, sd_l = arrival
    share, floor_l = boat.burn.sd_share, boat.tank.unusable_l + _reserve_l(boat)

    def reach(place: str, stage: int, left: Any) -> Iterator[tuple[str, int]]:
        """List docks and stages, and the end, that some burn allows."""
        total = 0.0
        for ahead in range(stage, len(visits) + 1):
            for dock in docks:
                on = 0.0 if dock == place else burn_l.get((place, dock), math.inf)
                if dock != closed and left(total + on):
                    yield dock, ahead
            if ahead == len(visits):
                break
            total += 0.0 if visits[ahead] == place else burn_l.get((place, visits[ahead]), math.inf)
            place = visits[ahead]
            if not left(total):
                return
        yield "", len(visits)

    def on_reserve(more_l: float) -> bool:
        return low_l(level_l, burned_l + more_l, sd_l, share, confidence) >= boat.tank.unusable_l - _L

    def when_full(more_l: float) -> bool:
        return low_l(boat.tank.full_mark_l, more_l, boat.full_mark_sd_l, share, confidence) >= floor_l - _L

    seen = set(reach(closed, 0, on_reserve))
    queue = list(seen)
    while queue:
        place, stage = queue.pop()
        if not place:
            return True
        for on in reach(place, stage, when_full):
            if on not in seen:
                seen.add(on)
                queue.append(on)
    return False
