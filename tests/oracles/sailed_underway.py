"""Passages sailed along a straight coast, with a skipper who reads the dial and does what `advise` says.

The world is one line: the boat runs from 0 to the end, docks lie off the line, distances to them are straight. What is
true (burn, meter factor, level at departure, scatter of the dial, how the burn wanders from mile to mile) is drawn; the
skipper knows the dial only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np

from routeplan.advising import Outlook, advise
from routeplan.ahead import Ahead
from routeplan.fuel import greatest_burn_l
from routeplan.todays_burn import Meter, Spent, find_today

if TYPE_CHECKING:
    from collections.abc import Collection

    from routeplan.boats import Boat
    from routeplan.underway_values import Advice

DEPART = datetime(2026, 7, 1, 8, tzinfo=UTC)
STRETCH_NMI = 10.0  # nmi: the burn wanders from one such stretch to the next
WANDERS = 0.05  # sd of a stretch's burn about the passage's own (a judgement; the rule allows for twice that)


@dataclass(frozen=True)
class World:
    """One run, and the docks that she could turn for.

    Parameters
    ----------
    boat
        The boat.
    z
        Standard deviations that her arrival rule keeps clear.
    speed_kn
        Chosen speed.
    length_nmi
        Of the run.
    docks_nmi
        Along and off the line, a dock each.
    level_l, level_sd_l
        At departure.
    meter
        What her dial is worth.
    """

    boat: Boat
    z: float
    speed_kn: float
    length_nmi: float
    docks_nmi: tuple[tuple[float, float], ...]
    level_l: float
    level_sd_l: float
    meter: Meter

    def per_nmi_l(self, speed_kn: float) -> float:
        """Mean burn of a mile."""
        return self.boat.burn_lph(speed_kn) / speed_kn


@dataclass(frozen=True)
class Truth:
    """What the skipper doesn't know.

    Parameters
    ----------
    factor
        Today's burn over the planned.
    meter_factor
        What a litre on the dial really is.
    level_l
        Fuel at departure.
    stretches
        Each ten miles' burn over today's.
    """

    factor: float
    meter_factor: float
    level_l: float
    stretches: np.ndarray


@dataclass(frozen=True)
class End:
    """How it went.

    Parameters
    ----------
    at
        ``next``, ``turned`` or ``dry``.
    left_l
        Fuel aboard there.
    advised
        Every kind of advice that was given.
    """

    at: str
    left_l: float
    advised: frozenset[str]


def draw_world(rng: np.random.Generator, boat: Boat, z: float, slack: float, meter_sd: float = 0.006) -> World:
    """Draw a run that the arrival rule just allows, less a slack, with one to four docks by the way."""
    level_l, sd_l = boat.tank.full_mark_l, boat.full_mark_sd_l
    speed_kn = boat.cruising_speed_kn
    most_l = greatest_burn_l(level_l, sd_l, boat.burn.sd_share, z, boat.floor_l)
    length_nmi = most_l * (1 - slack) / (boat.burn_lph(speed_kn) / speed_kn)
    count = int(rng.integers(1, 5))
    docks = [(0.0, 0.2), *zip(rng.uniform(0.1, 0.9, count) * length_nmi, rng.uniform(0.5, 12.0, count), strict=True)]
    meter = Meter(float(rng.normal(1.0, 0.03)), meter_sd, 0.008)
    docks_nmi = tuple((float(a), float(b)) for a, b in docks)
    return World(boat, z, speed_kn, length_nmi, docks_nmi, level_l, sd_l, meter)


def draw_truth(rng: np.random.Generator, world: World, factor: float | None, *, wanders: bool = True) -> Truth:
    """Draw what is true; a factor of None is drawn from the spread that was planned with."""
    count = math.ceil(world.length_nmi / STRETCH_NMI) + 3
    own = float(rng.normal(1.0, world.boat.burn.sd_share)) if factor is None else factor
    stretches = np.clip(rng.normal(1.0, WANDERS, count), 0.6, 1.6) if wanders else np.ones(count)
    if factor is not None and wanders:  # the run as a whole burns what was said
        whole = np.minimum(np.diff(np.minimum(np.arange(count + 1) * STRETCH_NMI, world.length_nmi)), STRETCH_NMI)
        stretches = stretches * whole.sum() / float(stretches @ whole)
    return Truth(
        own,
        float(rng.normal(world.meter.factor, world.meter.factor_sd)),
        float(rng.normal(world.level_l, world.level_sd_l)),
        stretches,
    )


def sail(world: World, truth: Truth, rng: np.random.Generator, look_h: float, *, heeds: bool = True) -> End:
    """Sail a run.

    Parameters
    ----------
    world, truth
        What is planned, and what is true.
    rng
        Scatters the dial.
    look_h
        [h] How often the dial is read.
    heeds
        Whether the skipper does what is advised, or never looks.
    """
    boat, at_nmi, burnt_l, planned_l, time_h = world.boat, 0.0, 0.0, 0.0, 0.0
    speed_kn, advised = world.speed_kn, set()
    while at_nmi < world.length_nmi:
        step_nmi = min(speed_kn * look_h, world.length_nmi - at_nmi)
        used_l, dry_nmi = _burn(world, truth, at_nmi, step_nmi, speed_kn, truth.level_l - burnt_l)
        if dry_nmi is not None:
            return End("dry", boat.tank.unusable_l, frozenset(advised))
        at_nmi, time_h = at_nmi + step_nmi, time_h + step_nmi / speed_kn
        burnt_l += used_l
        planned_l += step_nmi * world.per_nmi_l(speed_kn)
        if not heeds or at_nmi >= world.length_nmi:
            continue
        scatter = float(rng.normal(0.0, world.meter.scatter_share)) * burnt_l / truth.meter_factor
        shows_l = max(0.0, burnt_l / truth.meter_factor + scatter)
        advice = _look(world, at_nmi, shows_l, planned_l, time_h, speed_kn)
        advised.add(advice.kind)
        if advice.kind == "slow-down" and advice.speed_kn is not None:
            speed_kn = advice.speed_kn
        elif advice.dock is not None:
            along, off = world.docks_nmi[int(advice.dock)]
            away = math.hypot(along - at_nmi, off)
            used_l, dry_nmi = _burn(world, truth, at_nmi, away, speed_kn, truth.level_l - burnt_l)
            left_l = truth.level_l - burnt_l - used_l
            return End("turned" if dry_nmi is None else "dry", left_l, frozenset(advised))
        elif advice.kind == "short" and advice.speed_kn is not None:
            speed_kn = advice.speed_kn
    return End("next", truth.level_l - burnt_l, frozenset(advised))


def _burn(
    world: World, truth: Truth, at_nmi: float, away_nmi: float, speed_kn: float, aboard_l: float
) -> tuple[float, float | None]:
    """Burn what a way really takes; also after how many miles she would be dry, None where she isn't."""
    left_l, gone, used = aboard_l - world.boat.tank.unusable_l, 0.0, 0.0
    rate = world.per_nmi_l(speed_kn) * truth.factor
    while gone < away_nmi - 1e-9:
        index = min(int((at_nmi + gone) / STRETCH_NMI), len(truth.stretches) - 1)
        step = min(away_nmi - gone, (index + 1) * STRETCH_NMI - at_nmi - gone or STRETCH_NMI)
        step = step if step > 0 else away_nmi - gone
        used += step * rate * float(truth.stretches[index])
        gone += step
        if used > left_l:
            return used, gone
    return used, None


def _look(world: World, at_nmi: float, shows_l: float, planned_l: float, time_h: float, speed_kn: float) -> Advice:
    boat = world.boat
    spent = Spent(world.level_l, world.level_sd_l, shows_l, planned_l)
    today = find_today(spent, world.meter, boat.burn.sd_share, boat.tank.capacity_l)
    ahead = _ahead(world, at_nmi, speed_kn)
    slower = [_ahead(world, at_nmi, kn) for kn in sorted(boat.offered_speeds_kn, reverse=True) if kn < speed_kn]
    when = DEPART + timedelta(hours=time_h)
    docks = _LineDocks(world, ahead, speed_kn)
    outlook = Outlook(boat, today, world.z, when, "the end", ahead, slower, docks, lambda _: True)
    return advise(outlook)[0]


def _ahead(world: World, at_nmi: float, speed_kn: float) -> Ahead:
    left = world.length_nmi - at_nmi
    gone = np.linspace(0.0, left, max(2, math.ceil(left) + 1))
    positions = tuple((at_nmi + float(x), 0.0) for x in gone)
    return Ahead(positions, gone, gone / speed_kn, gone * world.per_nmi_l(speed_kn), speed_kn)


class _LineDocks:
    """The docks as `advise` asks for them."""

    def __init__(self, world: World, ahead: Ahead, speed_kn: float) -> None:
        self.world, self.speed_kn, self.rate = world, speed_kn, world.per_nmi_l(speed_kn)
        x = np.array([p[0] for p in ahead.positions])
        self.away = np.array([np.hypot(a - x, b) for a, b in world.docks_nmi])

    def at(self, _position: tuple[float, float]) -> frozenset[str]:
        """None lies at the end."""
        return frozenset()

    def name(self, dock: int) -> str:
        """Its number is its name."""
        return str(dock)

    def least_burn_l(self, _without: Collection[str] = ()) -> tuple[np.ndarray, np.ndarray]:
        """Straight to the nearest."""
        best = np.argmin(self.away, axis=0)
        return self.away[best, np.arange(self.away.shape[1])] * self.rate, best

    def within(
        self, point: int, most_l: float, at: datetime, _without: Collection[str] = ()
    ) -> tuple[SimpleNamespace, ...]:
        """All that the burn suffices for, the nearest first."""
        found = [
            SimpleNamespace(
                dock=SimpleNamespace(name=str(i), facts={}),
                track=SimpleNamespace(distance_nmi=nmi, fuel_l=nmi * self.rate),
                way=((0.0, nmi),),
                opens=None,
                arrive=at,
                begin=at,
            )
            for i, nmi in enumerate(self.away[:, point].tolist())
            if nmi * self.rate <= most_l
        ]
        return tuple(sorted(found, key=lambda f: f.track.fuel_l))
