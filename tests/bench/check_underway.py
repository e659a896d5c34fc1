"""Does `underway` call the turn in time, and not for nothing? Runs sailed along a straight coast, 10,000 a row.

Run from the project's folder: ``python tests/bench/check_underway.py [--runs 10000] [--seed 1]``. Some five minutes.
Ends with 1 where a mark is missed.

Each run is as long as the arrival rule just allows (slack 0), or 5 % shorter; one to four docks lie by the way, and the
dial is read every quarter of an hour (tests/oracles/sailed_underway.py). The skipper does what is advised. "Burn as
planned" means exactly as planned over the whole run; it wanders by 5 % from one ten miles to the next all the same.

Marks: with 15 % more burn than planned none runs dry; with burn as planned at most 2 % turn back. They hold for a meter
known as well as a dozen fill-ups make it (0.6 %); what a meter that is taken on trust does is told beside.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from oracles.sailed_underway import draw_truth, draw_world, sail

import demo_region
from routeplan.boats import Reserve, read_boat
from routeplan.fuel import z_of

MORE = 1.15  # times the planned burn
MOST_TURNED = 0.02  # share of runs that burn as planned
LOOK_H = 0.25  # h
ROWS = (  # spread of the burn, of the meter factor, reserve as a share of the capacity, slack, whether it is marked
    (0.037, 0.006, 0.10, 0.0, True),
    (0.037, 0.006, 0.03, 0.0, True),
    (0.06, 0.006, 0.10, 0.0, True),
    (0.06, 0.006, 0.03, 0.05, True),
    (0.06, 0.03, 0.10, 0.0, False),
    (0.06, 0.03, 0.10, 0.05, False),
)


def sail_many(
    runs: int, seed: int, factor: float, row: tuple[float, float, float, float, bool], *, heeds: bool = True
) -> Counter[str]:
    """Sail so many runs; count how they end, and which of them touch the reserve."""
    spread, meter_sd, reserve, slack, _ = row
    rng = np.random.default_rng(seed)
    boat = read_boat(demo_region.data_folder() / demo_region.story().boat)
    burn = boat.burn.model_copy(update={"sd_share": spread})
    boat = boat.model_copy(update={"burn": burn, "reserve": Reserve(rule="fraction", value=reserve)})
    found: Counter[str] = Counter()
    for _ in range(runs):
        world = draw_world(rng, boat, z_of(0.9), slack, meter_sd)
        end = sail(world, draw_truth(rng, world, factor), rng, LOOK_H, heeds=heeds)
        found[end.at] += 1
        found["reserve touched"] += end.left_l < boat.floor_l
    return found


def main() -> int:
    """Sail every row and hold it against the marks."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    missed = 0
    print(
        "burn sd  meter sd  reserve  slack |  15 % more: dry  turned  into the reserve  dry if nobody looks |"
        "  as planned: turned  dry"
    )
    for row in ROWS:
        more = sail_many(asked.runs, asked.seed, MORE, row)
        blind = sail_many(asked.runs, asked.seed, MORE, row, heeds=False)
        plain = sail_many(asked.runs, asked.seed + 1, 1.0, row)
        share = {name: f"{count / asked.runs:.2%}" for name, count in more.items()}
        print(
            f"{row[0]:7.1%} {row[1]:9.1%} {row[2]:8.0%} {row[3]:6.0%} | {more['dry']:15d} {share.get('turned', '-'):>7}"
            f" {share.get('reserve touched', '-'):>17} {blind['dry']:20d} |"
            f" {plain['turned'] / asked.runs:18.2%} {plain['dry']:4d}",
            flush=True,
        )
        if row[4] and (more["dry"] or plain["dry"] or plain["turned"] > MOST_TURNED * asked.runs):
            missed += 1
            print("  mark missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
