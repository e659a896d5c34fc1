"""What tests of the group planner share: random small cruises without a region, put as parties on a plane."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from datetime import timedelta
from statistics import NormalDist
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
from oracles.every_dock_set import Company, Craft, CruisePuzzle, Leg, Quay, Run
from posed import MIDNIGHT, UTC_ZONE, a_dock, a_track

from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.cruise_asked import CruiseAsked, CruiseBoat, Visit
from routeplan.cruise_days import CruiseDays
from routeplan.fuel import FuelAboard
from routeplan.parties import Party, Ways

if TYPE_CHECKING:
    from collections.abc import Iterable
    from random import Random

    from routeplan.party_routes import Route

_ROW_OFFSET = 3  # rows of the docks layer aren't the numbers of terminals, and run the other way


@dataclass(frozen=True)
class Draw:
    """What a random cruise is to be like."""

    sizes: tuple[int, ...] = (1,)  # boats of each party
    docks: tuple[int, int] = (3, 7)
    visits: tuple[int, int] = (2, 4)
    hours_share: float = 0.0  # of docks that keep hours
    sale_share: float = 0.2  # of docks that sell so much at once only
    nights_share: float = 0.0  # of visits that aren't left before a time
    by_share: float = 0.0  # of legs that have to end in time
    pumps: tuple[int, ...] = (1,)
    straight: bool = True  # else ways have detours, and there are two of some
    both_fuels: bool = False
    need: tuple[float, float] = (0.5, 1.2)  # what a full tank carries, as a share of the whole way


def draw_cruise(rng: Random, what: Draw) -> CruisePuzzle:
    """Draw a cruise: places anywhere on a plane, docks mostly near the way."""
    visits_count, docks_count = rng.randint(*what.visits), rng.randint(*what.docks)
    spots = [(rng.uniform(0, 60), rng.uniform(0, 60)) for _ in range(visits_count)]
    visits = list(range(visits_count))
    if visits_count > 2 and rng.random() < 0.3:  # back to where it began
        visits[-1] = 0
        spots.pop()
    way = [spots[v] for v in visits]
    for _ in range(docks_count):
        a, b = rng.choice(list(itertools.pairwise(way)))
        share, off = rng.random(), 4.0 if rng.random() < 0.75 else 20.0
        spots.append(
            tuple(a[i] + share * (b[i] - a[i]) + rng.uniform(-off, off) for i in (0, 1))  # type: ignore[arg-type]
        )
    docks = list(range(len(spots) - docks_count, len(spots)))
    at_visit = rng.sample(sorted(set(visits)), 2 if rng.random() < 0.2 else 1) if rng.random() < 0.5 else []
    docks = docks[len(at_visit) :] + at_visit
    length = sum(math.dist(p, q) for p, q in itertools.pairwise(way))
    confidence = rng.choice((0.5, 0.9, 0.9))
    quays = {d: _draw_quay(rng, what) for d in docks}
    companies = tuple(_draw_company(rng, what, spots, size, length, quays) for size in what.sizes)
    return CruisePuzzle(
        companies=companies,
        visits=tuple(visits),
        quays=quays,
        confidence=confidence,
        z=0.0 if confidence == 0.5 else NormalDist().inv_cdf(confidence),
        berthing_h=rng.choice((0.1, 0.25, 0.4)),
        gather_h=rng.choice((0.0, 0.25)),
        closed_dock=rng.choice(("on", "off", "strict")),
        depart_of_day_h=float(rng.randrange(5, 12)),
        ready_h=(0.0, *(rng.choice((0.0, 0.5, 2.0)) for _ in visits[1:-1])),
        not_before_h=(
            None,
            *(
                rng.uniform(1.0, 8.0 * k) if rng.random() < what.nights_share else None
                for k in range(1, len(visits) - 1)
            ),
        ),
        by_h=tuple(
            rng.uniform(0.8, 3.5) * k if rng.random() < what.by_share else math.inf for k in range(1, len(visits))
        ),
    )


def _draw_quay(rng: Random, what: Draw) -> Quay:
    windows: tuple[tuple[int, int], ...] = ()
    if rng.random() < what.hours_share:
        begin = 60 * rng.randrange(5, 12)
        windows = ((begin, begin + 60 * rng.randrange(2, 9)),)
        if rng.random() < 0.3:
            second = windows[0][1] + 60
            windows = (*windows, (second, second + 90))
    sells = rng.choice((("gasoline", "diesel"), ("gasoline", "diesel"), ("gasoline",))) if what.both_fuels else None
    return Quay(
        lpm=rng.choice((20.0, 40.0, 60.0)),
        largest_l=rng.uniform(90.0, 200.0) if rng.random() < what.sale_share else None,
        windows=windows,
        price_per_l=rng.choice((None, 1.7, 2.0, 2.1)),
        sells=sells or ("gasoline",),
        count=rng.choice(what.pumps),
    )


def _draw_company(
    rng: Random, what: Draw, spots: list[tuple[float, float]], size: int, length: float, quays: dict[int, Quay]
) -> Company:
    speed_kn = rng.uniform(12.0, 28.0)
    crafts, rates = [], []
    for _ in range(size):
        if crafts and rng.random() < 0.3:  # a sister, with other fuel aboard
            crafts.append(replace(crafts[-1], mean_l=crafts[-1].full_l * rng.uniform(0.5, 1.0)))
            rates.append(rates[-1])
            continue
        full_l = round(rng.uniform(150.0, 250.0), 1)
        carries_nmi = rng.uniform(*what.need) * length
        unusable_l, reserve_l = round(rng.uniform(2.0, 8.0), 3), round(rng.uniform(8.0, 30.0), 3)
        rates.append((full_l - unusable_l - reserve_l) / carries_nmi)
        fuel = rng.choice(("gasoline", "diesel")) if what.both_fuels else "gasoline"
        crafts.append(
            Craft(
                fuel=fuel,  # type: ignore[arg-type]
                mean_l=full_l * rng.uniform(0.5, 1.0),
                sd_l=rng.choice((0.0, 2.0, 6.0)),
                full_l=full_l,
                full_sd_l=_capacity_l(full_l) * 0.01,
                floor_l=unusable_l + reserve_l,
                unusable_l=unusable_l,
                sd_share=rng.choice((0.0, 0.05, 0.12)),
                suits=frozenset(d for d, quay in quays.items() if fuel in quay.sells and rng.random() < 0.95),
            )
        )
    runs: dict[tuple[int, int], tuple[Run, ...]] = {}
    for a, b in itertools.permutations(range(len(spots)), 2):
        apart = math.dist(spots[a], spots[b]) * (1.0 if what.straight else rng.uniform(1.0, 1.6))
        quick = Run(apart / speed_kn, tuple(rate * apart for rate in rates))
        thrifty = Run(quick.hours * 1.4, tuple(litres * rng.uniform(0.6, 1.05) for litres in quick.litres))
        runs[a, b] = (quick,) if what.straight or rng.random() < 0.6 else (quick, thrifty)
    return Company(tuple(crafts), runs)


def _capacity_l(full_l: float) -> float:
    return full_l / 0.95


def parties_of(puzzle: CruisePuzzle) -> tuple[Party, ...]:
    """Put a cruise the planner's way; the network lends nothing but its terminals, its gates and its zone."""
    boats = [craft for company in puzzle.companies for craft in company.crafts]
    asked = CruiseAsked(
        depart=MIDNIGHT + timedelta(hours=puzzle.depart_of_day_h),
        visits=tuple(Visit(place=f"visit {v}") for v in puzzle.visits),
        boats=tuple(_a_boat(f"boat {m}", craft, boats) for m, craft in enumerate(boats)),
        pace="own" if len(puzzle.companies) > 1 else "together",
        gather_h=puzzle.gather_h,
        confidence=puzzle.confidence,
        berthing_h=puzzle.berthing_h,
        longest_wait_h=puzzle.longest_wait_h,
        closed_dock=puzzle.closed_dock,
        daylight=False,
    )
    count = 1 + max(place for company in puzzle.companies for pair in company.runs for place in pair)
    network: Any = SimpleNamespace(
        water=SimpleNamespace(gates=(), speed_areas=()),
        region=SimpleNamespace(zone=UTC_ZONE),
        terminals=tuple(_a_terminal(puzzle, i) for i in range(count)),
    )
    parties, first = [], 0
    for number, company in enumerate(puzzle.companies, start=1):
        members = tuple(range(first, first + len(company.crafts)))
        first += len(company.crafts)
        rates: Any = tuple(SimpleNamespace(speed_kn=(20.0,)) for _ in members)
        parties.append(
            Party(
                number=number,
                asked=asked,
                members=members,
                network=network,
                rates=rates,
                visits=puzzle.visits,
                docks=tuple(_docks_of(puzzle, craft) for craft in company.crafts),
                ways=_ways_of(company),
            )
        )
    return tuple(parties)


def _a_terminal(puzzle: CruisePuzzle, place: int) -> SimpleNamespace:
    is_dock = place in puzzle.quays
    named = SimpleNamespace(
        kind="dock" if is_dock else "harbour",
        row=row_of(puzzle, place) if is_dock else place,
        name=f"dock {place}" if is_dock else f"visit {place}",
        position=(0.1 * place, 0.0),
    )
    return SimpleNamespace(place=named, entries=(place,))


def row_of(puzzle: CruisePuzzle, place: int) -> int:
    """Tell the row of a dock in the layer."""
    return _ROW_OFFSET + sorted(puzzle.quays, reverse=True).index(place)


def rows_of(puzzle: CruisePuzzle, places: Iterable[int]) -> frozenset[int]:
    """Tell the rows of docks in the layer."""
    return frozenset(row_of(puzzle, place) for place in places)


def places_of(puzzle: CruisePuzzle, rows: Iterable[int]) -> frozenset[int]:
    """Tell the places of docks by their rows."""
    back = sorted(puzzle.quays, reverse=True)
    return frozenset(back[row - _ROW_OFFSET] for row in rows)


def _docks_of(puzzle: CruisePuzzle, craft: Craft) -> tuple[Any, ...]:
    """Show a boat all docks, in the order of their rows; some rows before them are of docks that nothing leads to."""
    docks = [
        replace(a_dock(f"dry dock {i}"), row=i, why_not=("no water",), facts={"fuels": "gasoline"})
        for i in range(_ROW_OFFSET)
    ]
    for row, place in enumerate(sorted(puzzle.quays, reverse=True), start=_ROW_OFFSET):
        quay = puzzle.quays[place]
        known = a_dock(f"dock {place}", quay.text(), quay.lpm, quay.largest_l, price_per_l=quay.price_per_l)
        facts = {"fuels": ",".join(quay.sells), "pumps": quay.count, "pump_lpm": quay.lpm}
        why_not = () if place in craft.suits else ("too shallow for her",)
        docks.append(replace(known, row=row, facts=facts, why_not=why_not))
    return tuple(docks)


def _ways_of(company: Company) -> Ways:
    listed = [(a, b, run) for (a, b), runs in company.runs.items() for run in runs]
    out: dict[int, list[tuple[int, int]]] = {}
    for way, (a, b, _) in enumerate(listed):
        out.setdefault(a, []).append((b, way))
    return Ways(
        tracks=tuple(a_track(run.hours, run.litres[0]) for *_, run in listed),
        time_h=np.array([run.hours for *_, run in listed]),
        fuel_l=np.array([[run.litres[m] for *_, run in listed] for m in range(len(company.crafts))]),
        out={a: tuple(sorted(ways, key=lambda w: (w[0], listed[w[1]][2].hours))) for a, ways in out.items()},
    )


def _a_boat(name: str, craft: Craft, everyone: list[Craft]) -> CruiseBoat:
    """Describe a boat; which docks suit her shows in her length, so that no two files are alike that aren't."""
    kinds = list(dict.fromkeys(each.suits for each in everyone))
    boat = Boat(
        name=name,
        fuel=craft.fuel,
        length_overall_m=6.0 + kinds.index(craft.suits),
        draught_m=0.8,
        air_draught_m=2.5,
        cruising_speed_kn=20.0,
        no_wake_kn=5.0,
        tank=Tank(capacity_l=_capacity_l(craft.full_l), unusable_l=craft.unusable_l, full_mark_l=craft.full_l),
        reserve=Reserve(rule="volume", value=craft.floor_l - craft.unusable_l),
        burn=BurnTable(speed_kn=(6.0, 30.0), burn_lph=(18.0, 90.0), idle_lph=3.0, sd_share=craft.sd_share),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=craft.full_sd_l / _capacity_l(craft.full_l)),
    )
    aboard = FuelAboard(mean_l=craft.mean_l, sd_l=craft.sd_l, how="as drawn")
    return CruiseBoat(name=name, boat=boat, aboard=aboard, file=f"{name}.toml")


def days_of(puzzle: CruisePuzzle) -> CruiseDays:
    """Lay the days out by hand; the sun doesn't count."""
    depart = MIDNIGHT + timedelta(hours=puzzle.depart_of_day_h)
    return CruiseDays(
        depart=depart,
        dates=(depart.date(),) * puzzle.last,
        not_before=tuple(None if h is None else depart + timedelta(hours=h) for h in puzzle.not_before_h),
        ready_h=puzzle.ready_h,
        sun_up=(),
        sun_down=(),
        by_h=puzzle.by_h,
    )


def legs_of(puzzle: CruisePuzzle, party: Party, route: Route) -> list[Leg]:
    """Read a route of the planner's as the oracles do."""
    listed = [run for runs in puzzle.companies[party.number - 1].runs.values() for run in runs]
    return [Leg(step.place, step.stage, listed[step.way], step.stops) for step in route.steps]
