"""How fast a group cruise is planned, and what planning the boats together spares them.

Run from the project's folder: ``python tests/bench/bench_cruise.py [--boats 2,5,10] [--docks 20,60]``; all of it takes
an hour or so, a part some minutes. ``--boats none`` or ``--docks none`` leaves a table out.

The first table is of the demo region: fleets drawn from its day boats with other tanks, speeds and fuel, over one day
and over four, at both paces. Beside it each boat planned by herself (fewest stops, at the speed that she has in the
group): the docks of all of them together, and their waits where each dock serves who comes first. That leaves out that
a wait at one dock makes a boat late at the next, and that she gathers and spends nights; it is for comparison of size.
The second table is of open water with docks on a grid of islands, five boats, for the growth with docks.

Answers are looked at first: every plan is followed by `oracles/cruises_followed.py`. Seconds are of three parts, told
as multiples of the smallest of a row: the water (networks, no cache), the ways over it, and the choice of docks, queues
and telling. Ends with 1 where an answer is wrong.
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from oracles.cruises_followed import draw_fleet, faults_of
from oracles.small_world import NMI_M, box, dock, make_region, waypoint

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.cruise import find_cruise
from routeplan.cruise_asked import CruiseAsked, Visit
from routeplan.cruises import NoCruiseError
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from layers.region import Region
    from routeplan.boats import Boat
    from routeplan.cruise_asked import Pace
    from routeplan.cruises import CruisePlan
    from routeplan.network import Network
    from routeplan.plans import Plan

BOATS = (2, 5, 10, 20, 40, 60)
DOCKS = (20, 40, 60, 100, 150, 200, 300)
PACES: tuple[Pace, ...] = ("together", "own")
DEPART = datetime(2026, 7, 4, 8, 30, tzinfo=UTC)
ONE_DAY = (Visit(place="Tolvarrow"), Visit(place="Callowhythe"), Visit(place="Tamblewick"), Visit(place="Tolvarrow"))
FOUR_DAYS = (
    Visit(place="Tolvarrow"),
    Visit(place="Tamblewick", night=True),
    Visit(place="Callowhythe", night=True),
    Visit(place="Larkhythe", night=True),
    Visit(place="Ettermoy"),
)
LONG_NMI, WIDE_NMI = 180.0, 90.0  # of the open water
FOLDER = demo_region.data_folder() / "boats"
HEAD = ("open", "fewest", "delay h", "gap h", "wait min", "water", "ways", "choice", "s", "alone: docks", "wait h", "s")


class Builder:
    """Builds each water once, and counts the time."""

    def __init__(self, region: Region) -> None:
        self.region, self.took_s = region, 0.0
        self._known: dict[tuple[float, float, float], Network] = {}

    def __call__(self, boat: Boat) -> Network:
        """Build a boat's water, or tell the one that is known."""
        key = (boat.draught_m, boat.air_draught_m, boat.no_wake_kn)
        if key not in self._known:
            begin = time.perf_counter()
            self._known[key] = build_network(self.region, boat)
            self.took_s += time.perf_counter() - begin
        return self._known[key]


def timed(run: Callable[[], Any]) -> tuple[float, Any]:
    """[s] Run once."""
    begin = time.perf_counter()
    answer = run()
    return time.perf_counter() - begin, answer


def bench(asked: CruiseAsked, region: Region, builder: Builder) -> tuple[CruisePlan, list[float]] | None:
    """Plan a cruise twice: with water and ways to be found, and with them known; None where it is refused."""
    builder.took_s = 0.0

    def find() -> Any:
        return find_cruise(asked, region, build=builder, now=DEPART)

    try:
        first_s, cruise = timed(find)
        again_s, _ = timed(find)
    except NoCruiseError as refused:
        print(f"  refused: {refused}")
        return None
    if faults := faults_of(cruise.asked, cruise.plan, region):
        sys.exit(f"wrong plan: {'; '.join(faults[:5])}")
    return cruise.plan, [builder.took_s, max(0.0, first_s - builder.took_s - again_s), again_s]


def alone(asked: CruiseAsked, plan: CruisePlan, builder: Builder) -> tuple[int, float]:
    """[h] Plan each boat by herself; count the docks of all together, and add up waits in the order of coming."""
    places = [visit.place for visit in asked.visits]
    plans: list[tuple[str, Plan]] = []
    for one in asked.boats:
        trip = Trip(
            start=places[0],
            via=tuple(places[1:-1]),
            finish=places[-1],
            depart=asked.depart,
            aboard=one.aboard,
            speed_kn=plan.speed_kn,
            confidence=asked.confidence,
        )
        try:
            plans.append((one.boat.fuel, find_passage(builder(one.boat), trip, now=DEPART).fewest_stops))
        except NoPassageError:  # she can't come, with the group or without
            continue
    coming = sorted((s.arrive, s.begin, s.depart, s.dock, fuel) for fuel, each in plans for s in each.stops)
    pumps = {(stop.dock, fuel): n for stop in plan.stops for fuel, n in stop.pumps.items()}
    free: dict[tuple[str, str], list[datetime]] = {}
    waits_h = 0.0
    for _, begin, depart, name, fuel in coming:
        at = free.setdefault((name, fuel), [begin] * pumps.get((name, fuel), 1))
        pump = int(np.argmin([moment.timestamp() for moment in at]))
        starts = max(begin, at[pump])
        waits_h += (starts - begin).total_seconds() / 3600
        at[pump] = starts + (depart - begin)
    return len({name for *_, name, _ in coming}), waits_h


def row(label: Sequence[object], asked: CruiseAsked, region: Region, builder: Builder, *, compare: bool) -> None:
    """Print a line of a table."""
    found = bench(asked, region, builder)
    if found is None:
        return
    plan, parts_s = found
    least_s = min(s for s in parts_s if s > 0.0005)
    waits = [turn.wait_min for stop in plan.stops for turn in stop.boats]
    cells: list[str] = [
        *map(str, label),
        str(len(plan.docks)),
        f"{plan.fewest_docks}{'' if plan.docks_proven else '+'}",
        f"{plan.delay_h:.2f}",
        f"{plan.delay_gap_h:.2f}",
        f"{max(waits, default=0.0):.0f}",
        *(f"{s / least_s:.1f}" for s in parts_s),
        f"{sum(parts_s):.1f}",
    ]
    if compare:
        took_s, (docks, waits_h) = timed(lambda: alone(asked, plan, builder))
        cells += [str(docks), f"{waits_h:.1f}", f"{took_s:.1f}"]
    print(" ".join(f"{cell:>9}" for cell in cells), flush=True)


def bench_boats(sizes: Sequence[int]) -> None:
    """Print the table by boats, on the demo."""
    region = read_region(demo_region.data_folder())
    models = [read_boat(FOLDER / f"{name}.toml") for name in ("quick_errand", "salt_biscuit", "second_opinion")]
    print("the demo, 43 docks: docks opened; fewest, + where more may be needed; the longest wait for a turn")
    print(" ".join(f"{h:>9}" for h in ("boats", "days", "pace", *HEAD)))
    for count in sizes:
        fleet = draw_fleet(count, count, models)
        for days, visits in ((1, ONE_DAY), (4, FOUR_DAYS)):
            for pace in PACES:
                asked = CruiseAsked(
                    depart=DEPART, visits=visits, boats=fleet, pace=pace, daylight=False, leave_behind=True
                )
                row((count, days, pace), asked, region, Builder(region), compare=True)


def islands(docks: int) -> Region:
    """Lay out open water with docks on a grid, each a mile south of an island of its own."""
    across = max(2, round((docks * LONG_NMI / WIDE_NMI) ** 0.5))
    down = -(-docks // across)
    spots = [
        ((i + 0.5) / across * LONG_NMI - LONG_NMI / 2, (j + 0.5) / down * WIDE_NMI - WIDE_NMI / 2)
        for j in range(down)
        for i in range(across)
    ][:docks]
    known = {
        "fuels": "gasoline,diesel",
        "price_diesel_per_l": 1.8,
        "confirmed_on": "2026-06-20",
        "opening_hours": "Mo-Su 07:00-20:00",
        "pump_lpm": 50.0,
        "pumps": 2,
    }
    land = [(box(x * NMI_M - 500, (y + 1) * NMI_M, x * NMI_M + 500, (y + 1) * NMI_M + 800), {}) for x, y in spots]
    ends = [waypoint(x * LONG_NMI * NMI_M / 2.2, y * WIDE_NMI * NMI_M / 2.6, n) for x, y, n in ENDS]
    return make_region(
        half_deg=2.5,
        land=[(shape, {"name": f"Holm {n}"}) for n, (shape, _) in enumerate(land, start=1)],
        docks=[dock(x * NMI_M, y * NMI_M, f"Pump {n}", **known) for n, (x, y) in enumerate(spots, start=1)],
        waypoints=ends,
    )


ENDS = ((-1.0, -1.0, "West End"), (0.0, 1.0, "North Side"), (1.0, -1.0, "East End"))


def bench_docks(sizes: Sequence[int]) -> None:
    """Print the table by docks, on open water."""
    models = [read_boat(FOLDER / f"{name}.toml") for name in ("quick_errand", "salt_biscuit", "second_opinion")]
    fleet = draw_fleet(5, 5, models)
    print("\nfive boats on open water with islands, by docks")
    print(" ".join(f"{h:>9}" for h in ("docks", "pace", *HEAD[:-3])))
    for count in sizes:
        region = islands(count)
        for pace in PACES:
            visits = tuple(Visit(place=name) for *_, name in ENDS)
            asked = CruiseAsked(depart=DEPART, visits=visits, boats=fleet, pace=pace, daylight=False, leave_behind=True)
            row((count, pace), asked, region, Builder(region), compare=False)


def main() -> None:
    """Print the tables."""

    def sizes(text: str) -> tuple[int, ...]:
        return () if text == "none" else tuple(map(int, text.split(",")))

    options = argparse.ArgumentParser(description="Time the group cruise.")
    options.add_argument("--boats", type=sizes, default=BOATS, help="fleets on the demo, such as 2,5; or none")
    options.add_argument("--docks", type=sizes, default=DOCKS, help="docks on open water, such as 20,60; or none")
    asked = options.parse_args()
    if asked.boats:
        bench_boats(asked.boats)
    if asked.docks:
        bench_docks(asked.docks)


if __name__ == "__main__":
    main()
