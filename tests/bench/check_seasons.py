"""What the fit is worth on simulated seasons: intervals that hold the truth, errors, spoiled rows found.

Run from the project's folder: ``python tests/bench/check_seasons.py [--seasons 2000] [--seed 20260701] [--jobs 2]``;
``--check`` prints the marks alone. Some minutes. Ends with 1 where a mark is missed.

Each season's truth is drawn from the beliefs that `routeplan.priors` states (tests/oracles/seasons.py says how), its
seed is a child of the one given, and clean and spoiled seasons are different ones. An interval of 90 % that is right
holds the truth in 90 of 100 seasons and misses it on the unsafe side (less aboard, or more burnt, than it allows) in 5.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from oracles.season_scores import ALONE, RULES, Fit, Scores, fit_by_product, score_seasons
from oracles.seasons import KINDS

if TYPE_CHECKING:
    from collections.abc import Sequence

CLEAN_MARK = (0.87, 0.94)  # share of clean seasons in which a 90 % interval holds the truth
SPOILED_MARK = 0.85  # share of spoiled ones, at least
SPOILED_SHARE = 0.05  # of rows
SIZES = (1, 2, 3, 5, 8, 12, 20)  # fill-ups
CHUNK = 25  # seasons that a process takes at a time


def run(fit: Fit, seasons: int, seed: int, jobs: int) -> tuple[Scores, Scores, dict[int, Scores]]:
    """Score clean seasons, spoiled ones, and clean ones of a given number of fill-ups.

    Parameters
    ----------
    fit
        The fit; a function at the top of a module, as processes must find it.
    seasons
        How many clean and how many spoiled; a quarter as many for each number of fill-ups.
    seed
        Of all of it.
    jobs
        How many processes.

    Returns
    -------
    The scores.
    """
    clean, spoiled, sized = np.random.SeedSequence(seed).spawn(3)
    groups: list[tuple[Scores, Sequence[np.random.SeedSequence], float, int | None]] = [
        (Scores(), clean.spawn(seasons), 0.0, None),
        (Scores(), spoiled.spawn(seasons), SPOILED_SHARE, None),
    ]
    groups += [
        (Scores(), parent.spawn(max(1, seasons // 4)), 0.0, size)
        for size, parent in zip(SIZES, sized.spawn(len(SIZES)), strict=True)
    ]
    with ProcessPoolExecutor(jobs, initializer=threadpool_limits, initargs=(1,)) as pool:  # processes are the threads
        waiting = [
            (scores, pool.submit(score_seasons, fit, seeds[i : i + CHUNK], spoiled_share=share, fillups=size))
            for scores, seeds, share, size in groups
            for i in range(0, len(seeds), CHUNK)
        ]
        for number, (scores, future) in enumerate(waiting, start=1):
            scores.take(future.result())
            if sys.stderr.isatty():
                print(f"\r{number} of {len(waiting)} parts", end="", file=sys.stderr)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    return groups[0][0], groups[1][0], {size: group[0] for size, group in zip(SIZES, groups[2:], strict=True)}


def tell(clean: Scores, spoiled: Scores, sized: dict[int, Scores]) -> None:
    """Print the table.

    Parameters
    ----------
    clean, spoiled
        Scores of clean and of spoiled seasons.
    sized
        Of clean ones by number of fill-ups.
    """
    print(f"{'90 % intervals':<32} {'clean':>18} {'spoiled':>18}   mark {_percent(CLEAN_MARK[0])} to", end=" ")
    print(f"{_percent(CLEAN_MARK[1])} %, spoiled {_percent(SPOILED_MARK)} %")
    print(f"{'':<32} {'hold':>8} {'unsafe':>9} {'hold':>8} {'unsafe':>9}   unsafe ought to be 5")
    for what, count in clean.counts.items():
        other = spoiled.counts[what]
        figures = (count.coverage, count.unsafe_share, other.coverage, other.unsafe_share)
        print(f"{what:<32} " + " ".join(f"{_percent(f):>{w}}" for f, w in zip(figures, (8, 9, 8, 9), strict=True)))
    print(f"\n{'error of fuel aboard,':<32} {'clean':>8} {'spoiled':>9}")
    print("root mean square, % of tank")
    for rule in RULES:
        print(f"{rule:<32} {clean.error_share(rule):>8.2%} {spoiled.error_share(rule):>9.2%}".replace("%", ""))
    _tell_found(clean, spoiled)
    print(
        f"\n{'fill-ups':<10} {'seasons':>8} {'meter factor holds':>19} {'width':>7} {'aboard holds':>13} {'width':>9}"
    )
    for size, scores in sized.items():
        factor, aboard = scores.meter_factor, scores.aboard
        figures = f"{_percent(factor.coverage):>19} {factor.width:>7.3f} {_percent(aboard.coverage):>13}"
        print(f"{size:<10} {factor.seen:>8.0f} {figures} {aboard.width:>7.1f} l")


def _tell_found(clean: Scores, spoiled: Scores) -> None:
    print(f"\n{'spoiled rows':<32} {'rows':>6} {'found':>7} {'in its sum':>11}   (sum: full mark to full mark)")
    for kind in KINDS:
        rows = max(1, spoiled.spoiled[kind])
        shares = f"{_percent(spoiled.found[kind] / rows):>7} {_percent(spoiled.found_near[kind] / rows):>11}"
        print(f"{kind:<32} {spoiled.spoiled[kind]:>6} {shares}")
    print(f"{'all: recall':<32} {sum(spoiled.spoiled.values()):>6} {_percent(spoiled.recall()):>7}")
    print(f"{'all: precision':<32} {spoiled.doubted_rows:>6} {_percent(spoiled.precision()):>7}")
    for figure, number in sorted(spoiled.doubted.items()):
        share = spoiled.doubted_rightly[figure] / number
        print(f"{'  of those for their ' + figure:<32} {number:>6} {_percent(share):>7}")
    print(f"{'clean rows doubted':<32} {clean.doubted_rows:>6} {_percent(clean.doubted_rows / clean.rows):>7}")


def marks(clean: Scores, spoiled: Scores) -> list[tuple[bool, str]]:
    """Hold the scores against the marks.

    Parameters
    ----------
    clean, spoiled
        Scores of clean and of spoiled seasons.

    Returns
    -------
    For each mark whether it is kept, and a line that says so.
    """
    found = []
    low, high = CLEAN_MARK
    for what, count in clean.counts.items():
        line = f"clean seasons, {what}: held in {_percent(count.coverage)} % ({_percent(low)} to {_percent(high)})"
        found.append((low <= count.coverage <= high, line))
    for what, count in spoiled.counts.items():
        line = f"spoiled seasons, {what}: held in {_percent(count.coverage)} % (at least {_percent(SPOILED_MARK)})"
        found.append((count.coverage >= SPOILED_MARK, line))
    for name, scores in (("clean", clean), ("spoiled", spoiled)):
        both = scores.error_share("both combined")
        for rule in ALONE:
            alone = scores.error_share(rule)
            line = f"{name} seasons, error of both {_percent(both, 2)} % below that of {rule} {_percent(alone, 2)} %"
            found.append((both < alone, line))
    return found


def _percent(share: float, digits: int = 1) -> str:
    return f"{100 * share:.{digits}f}"


def main(fit: Fit = fit_by_product) -> int:
    """Run the check.

    Parameters
    ----------
    fit
        The fit.

    Returns
    -------
    1 where a mark is missed.
    """
    options = argparse.ArgumentParser(description="Score the fit on simulated seasons.")
    options.add_argument("--seasons", type=int, default=2000, help="clean ones, and as many spoiled ones")
    options.add_argument("--seed", type=int, default=20260701)
    options.add_argument("--jobs", type=int, default=2, help="processes")
    options.add_argument("--check", action="store_true", help="print the marks alone")
    asked = options.parse_args()
    if asked.seasons < 1 or asked.jobs < 1:
        options.error("--seasons and --jobs must be 1 or more")
    begin = time.perf_counter()
    clean, spoiled, sized = run(fit, asked.seasons, asked.seed, asked.jobs)
    if not asked.check:
        tell(clean, spoiled, sized)
        print(f"\n{asked.seasons} clean and {asked.seasons} spoiled seasons in {time.perf_counter() - begin:.0f} s\n")
    judged = marks(clean, spoiled)
    for kept, line in judged:
        print("kept  " if kept else "MISSED", line)
    return 0 if all(kept for kept, _ in judged) else 1


if __name__ == "__main__":
    sys.exit(main())
