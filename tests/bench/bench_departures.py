"""A day of departures with refuel stops on the demo's currents, against replanning each of them from scratch.

Run from the project's folder: ``python tests/bench/bench_departures.py [--sample N]``. The network is in memory for
both. All 145 departures are planned at once; of them N spread over the day (all where N isn't given) are planned anew
with `find_passage`, and each answer must be the same. Where N is less than all, the time from scratch is scaled up, and
said to be. Processor time is told, as others may share the machine. The mark is 20 times.
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.currents import read_currents
from routeplan.departures import find_departures
from routeplan.fuel import full
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.departures import Departure
    from routeplan.plans import Plan

DATA = Path(__file__).parents[2] / "demo_region" / "data"
BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
MARK = 20.0  # times
SAME_S = 5.0  # [s] a hop: ways that gain less aren't looked for (routeplan.planner), and a window has met more ways


def differs(row: Departure, plan: Plan | None, burn_lph: float) -> str:
    """Say how a row differs from its plan made anew; empty where it doesn't."""
    if row.arrive is None or plan is None:
        return "" if row.arrive is None and plan is None else "one has a plan, the other none"
    said = []
    same_s = SAME_S * (1 + len(plan.stops))
    same_l = same_s / 3600 * burn_lph
    if abs((row.arrive - plan.arrive).total_seconds()) > same_s:
        said.append(f"arrives {row.arrive:%d %H:%M:%S}, anew {plan.arrive:%d %H:%M:%S}")
    if abs(row.fuel_l - plan.fuel_l) > same_l:
        said.append(f"burns {row.fuel_l:.3f} l, anew {plan.fuel_l:.3f} l")
    if abs(row.least_margin_l - plan.least_margin_l) > same_l:
        said.append(f"margin {row.least_margin_l:.3f} l, anew {plan.least_margin_l:.3f} l")
    if row.stops != tuple(stop.dock for stop in plan.stops):
        said.append(f"stops at {row.stops}, anew {tuple(stop.dock for stop in plan.stops)}")
    return "; ".join(said)


def main() -> None:
    """Compare the answers, then print the ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=145, help="departures that are planned anew")
    sample = max(1, parser.parse_args().sample)
    region, boat = read_region(DATA), read_boat(DATA / "boats" / "quick_errand.toml")
    network, currents = build_network(region, boat), read_currents(region)
    if currents is None:
        sys.exit("The demo has no currents.")
    trip = Trip(start="Tolvarrow", finish="Ettermoy", depart=BEGIN, aboard=full(boat))
    clock = time.process_time()
    found = find_departures(network, trip, BEGIN + timedelta(hours=24), now=BEGIN, currents=currents)
    at_once_s = time.process_time() - clock
    rows = found.rows
    chosen = np.unique(np.linspace(0, len(rows) - 1, min(sample, len(rows))).round().astype(int))
    faults, anew_s, apart_s = [], 0.0, 0.0
    burn_lph = max(boat.burn.burn_lph)
    for row in (rows[i] for i in chosen):
        asked = trip.model_copy(update={"depart": row.depart})
        clock = time.process_time()
        try:
            plan = find_passage(network, asked, now=BEGIN, currents=currents).recommended
        except NoPassageError:
            plan = None
        anew_s += time.process_time() - clock
        fault = differs(row, plan, burn_lph)
        if row.arrive is not None and plan is not None:
            apart_s = max(apart_s, abs((row.arrive - plan.arrive).total_seconds()))
        faults += [f"{row.depart:%d %H:%M}: {fault}"] if fault else []
    stopped = sum(bool(row.stops) for row in rows)
    print(f"{len(rows)} departures, {stopped} of them with refuel stops; {len(chosen)} planned anew and compared")
    if faults:
        sys.exit("\n".join([f"{len(faults)} differ:", *faults]))
    print(f"all of those answers are the same: stops, fuel, margin; arrivals within {apart_s:.2f} s")
    scaled_s = anew_s * len(rows) / len(chosen)
    note = "" if len(chosen) == len(rows) else f", scaled from {len(chosen)} in {anew_s:.1f} s"
    print(f"at once            {at_once_s:>8.1f} s")
    print(f"each from scratch  {scaled_s:>8.1f} s{note}")
    ratio = scaled_s / at_once_s
    print(f"ratio              {ratio:>8.1f} times (mark: {MARK:g}): {'kept' if ratio >= MARK else 'MISSED'}")
    sys.exit(0 if ratio >= MARK else 1)


if __name__ == "__main__":
    main()
