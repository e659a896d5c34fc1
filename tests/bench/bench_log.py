"""How well the log holds: writers killed at random moments, and how fast a large import is.

Run from the project's folder: ``python tests/bench/bench_log.py kills --rounds 200`` or
``python tests/bench/bench_log.py import --rows 100000``. ``--log`` names another place than a file in a new folder,
such as a schema of its own on a PostgreSQL server; ``--seed`` draws other moments.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))

from oracles.log_writer import Kills, Writers, fillup_of

from routeplan.logbook import NewEntry, open_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator

A_LOG = 10  # rounds on one log; then a new one, so that its making is killed as well


def kill(rounds: int, seed: int, log: str | None) -> int:
    """Kill so many writers; return how many rounds lost or tore something."""
    begin = time.perf_counter()
    with Writers() as writers, tempfile.TemporaryDirectory() as folder:
        kills = Kills(writers, random.Random(seed))  # noqa: S311
        while kills.rounds < rounds:
            where = log or str(Path(folder) / f"{kills.rounds}.db")
            kills.run(where, rounds=rounds if log else min(A_LOG, rounds - kills.rounds), most_calls=12, longest_s=0.2)
    print(f"kills            {kills.rounds:>8,}   in {time.perf_counter() - begin:.0f} s, seed {seed}")
    print(f"acknowledged     {kills.acknowledged:>8,}   rows before the kill")
    print(f"unacknowledged   {kills.unacknowledged:>8,}   whole rows as well, their writer killed before it told")
    print(f"lost             {kills.lost:>8,}   acknowledged rows that were not there")
    print(f"torn             {kills.torn:>8,}   logs with a row that was not as it was written")
    return kills.lost + kills.torn


def enter(rows: int, log: str | None) -> int:
    """Enter so many rows in one call; return how many are missing."""
    drawn_s = 0.0

    def drawn() -> Iterator[NewEntry]:
        nonlocal drawn_s
        for number in range(rows):
            begin = time.perf_counter()
            new = NewEntry(fillup_of(0, number))
            drawn_s += time.perf_counter() - begin
            yield new

    with tempfile.TemporaryDirectory() as folder:
        where = log or str(Path(folder) / "fillups.db")
        with open_logbook(where, create=True) as logbook:
            before = len(logbook.names())
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            begin = time.perf_counter()
            logbook.append(drawn())
            took = time.perf_counter() - begin - drawn_s
            grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory) / 1024
            print(
                f"append           {took:8.1f} s  for {rows:,} rows, {rows / took:,.0f} a second, without making them"
            )
            print(f"memory           {grown:8.0f} MB more at most")
            begin = time.perf_counter()
            there = sum(1 for _ in logbook.history())
            print(f"history          {time.perf_counter() - begin:8.1f} s")
            grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory) / 1024
            print(f"memory           {grown:8.0f} MB more at most, reading too")
        begin = time.perf_counter()
        open_logbook(where).close()
        print(f"open             {time.perf_counter() - begin:8.2f} s  with all that in it")
    return before + rows - there


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["kills", "import"])
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--log")
    given = parser.parse_args()
    bad = kill(given.rounds, given.seed, given.log) if given.what == "kills" else enter(given.rows, given.log)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
