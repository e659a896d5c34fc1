"""How long a large file of fill-ups takes, and how much memory.

    python tests/bench/bench_fillup_csv.py [--rows 100000] [--log WHERE]

Writes a file of invented fill-ups, looks at it as `fillup import` does, imports it, imports it again (all known by
then) and exports it; each in a process of its own, whose peak memory is told.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest import mock

import routeplan.cli

ROOT = Path(__file__).resolve().parents[2]
BOATS = 10
SEED = 20261125
STEPS = ("look", "import", "import again", "export")


def write_rows(path: Path, rows: int) -> None:
    """Write invented fill-ups of ten boats, a row at a time."""
    chance = random.Random(SEED)  # noqa: S311  # figures, no secrets
    began = datetime(2001, 1, 1, 6, tzinfo=UTC)
    with path.open("w", encoding="utf-8") as file:
        file.write(
            "boat,when,dock,meter_used_l,gauge_before_l,pumped_l,filled_to_full,meter_reset,distance_run_nmi,"
            "engine_hours_h,sea,people,price_per_l,note\n"
        )
        for row in range(rows):
            when = began + timedelta(minutes=60 * row)
            used = chance.uniform(40, 300)
            file.write(
                f"Bench Boat {row % BOATS},{when:%Y-%m-%dT%H:%MZ},Bench Dock {row % 7},{used:.1f},"
                f"{350 - used:.0f},{used * 1.02:.1f},yes,yes,{used * 0.4:.1f},{used / 60:.1f},slight,3,1.95,\n"
            )


def run_step(step: str, file: Path, log: str) -> None:
    """Run one command of the line, and tell its time and memory."""
    words = {
        "look": ["import", str(file), "--log", log],
        "import": ["import", str(file), "--log", log, "--yes"],
        "import again": ["import", str(file), "--log", log, "--yes"],
        "export": ["export", str(file.with_name("out.csv")), "--log", log],
    }[step]
    began = time.perf_counter()
    with mock.patch.object(sys, "argv", ["routeplan", "fillup", *words]):
        try:
            routeplan.cli.main()
        except SystemExit as done:
            if done.code:
                raise
    seconds = time.perf_counter() - began
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"## {step}: {seconds:.1f} s, peak {peak_mb:.0f} MB", flush=True)


def main() -> None:
    """Print a line a step."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--log", help="a database's URL; default a new SQLite file")
    parser.add_argument("--step", nargs=3, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.step:
        run_step(given.step[0], Path(given.step[1]), given.step[2])
        return
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows.csv"
        write_rows(file, given.rows)
        print(f"{given.rows:,} rows, {file.stat().st_size / 1e6:.1f} MB")
        log = given.log or str(Path(folder) / "log.db")
        for step in STEPS:
            done = subprocess.run(
                [sys.executable, __file__, "--step", step, str(file), log],
                check=True,
                capture_output=True,
                text=True,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
            )
            print(next(line for line in done.stdout.splitlines() if line.startswith("## ")).removeprefix("## "))
            if done.stderr:
                print(f"  on stderr: {done.stderr.strip()}")


if __name__ == "__main__":
    main()
