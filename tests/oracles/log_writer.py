"""Writers of a log that can be killed: real processes, forked from one that has imported everything already.

Run as a script it reads one request per line and forks a writer for each; what the writers say comes out on one pipe,
a line each, with the number of the request before it. Used as a module it starts that script and talks to it.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import resource
import select
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from layers.errors import InputError
from routeplan.fillups import SEAS, SINCE, Fillup, SpeedRun
from routeplan.logbook import NewEntry, open_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator

    from routeplan.fillups import Entry

BOATS = ("Quick Errand", "Second Thought", "Harm\u00f8y's Daughter")


def fillup_of(seed: int, number: int) -> Fillup:
    """Make a fill-up with something in every field, the same for the same seed and number."""
    chance = random.Random(f"{seed} {number}")  # noqa: S311  # the same each time is what it is for
    return Fillup(
        boat=BOATS[seed % len(BOATS)],
        when=datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=3601 * number, microseconds=number),
        dock=f"Tolvarrow, pontoon {chance.randrange(90)}",
        meter_used_l=chance.uniform(0, 300),
        meter2_used_l=chance.uniform(0, 300),
        gauge_before_l=chance.uniform(0, 300),
        pumped_l=chance.uniform(1, 300),
        filled_to_full=chance.random() < 0.8,
        meter_reset=chance.random() < 0.9,
        since=tuple(chance.sample(SINCE, 2)),
        distance_run_nmi=chance.uniform(0, 100),
        engine_hours_h=chance.uniform(0, 9),
        speeds_run=tuple(SpeedRun(speed_kn=chance.uniform(1, 40), time_h=chance.uniform(0.1, 5)) for _ in range(4)),
        sea=chance.choice(SEAS),
        people=chance.randrange(12),
        price_per_l=chance.uniform(1, 3),
        note=f"{seed} {number} " + "x" * chance.randrange(400),
    )


@dataclass
class Writer:
    """What one writer has said so far."""

    pid: int = 0
    acknowledged: list[tuple[str, int]] = field(default_factory=list)  # name and number of each entry
    refused: list[str] = field(default_factory=list)
    ended: bool = False


class Writers:
    """Starts writers, listens to them and kills them."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
        )
        self._rest = b""
        self.all: list[Writer] = []

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the script, once its writers have ended."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(30)
        self._process.stdout.close()

    def start(self, where: str, **request: Any) -> Writer:
        """Start a writer; see `_write` for what it may be asked for."""
        assert self._process.stdin is not None
        writer = Writer()
        self.all.append(writer)
        request |= {"where": where, "number": len(self.all) - 1}
        self._process.stdin.write(json.dumps(request).encode() + b"\n")
        while not writer.pid:
            self._listen(30)
        return writer

    def kill(self, writer: Writer, after_s: float, *, calls: int = 0) -> None:
        """Kill a writer a while after it has acknowledged so many calls, and hear what it had said until then."""
        patience = time.monotonic() + 60
        while len(writer.acknowledged) < calls and not writer.ended and time.monotonic() < patience:
            self._listen(1)
        moment = time.monotonic() + after_s
        while (left := moment - time.monotonic()) > 0 and not writer.ended:
            self._listen(left)
        with contextlib.suppress(ProcessLookupError):
            os.kill(writer.pid, signal.SIGKILL)
        self.wait(writer)

    def wait(self, writer: Writer, patience_s: float = 60) -> None:
        """Listen until a writer has ended."""
        moment = time.monotonic() + patience_s
        while not writer.ended:
            assert time.monotonic() < moment, "a writer doesn't end"
            self._listen(1)

    def _listen(self, patience_s: float) -> None:
        assert self._process.stdout is not None
        if not select.select([self._process.stdout], [], [], patience_s)[0]:
            return
        said = os.read(self._process.stdout.fileno(), 65536)
        assert said, "the script that forks the writers has ended"
        *lines, self._rest = (self._rest + said).split(b"\n")
        for line in lines:
            number, word, *more = line.decode().split(" ", 2)
            writer = self.all[int(number)]
            if word == "pid":
                writer.pid = int(more[0])
            elif word == "acknowledged":
                writer.acknowledged += [(name, int(row)) for name, row in json.loads(" ".join(more))]
            elif word == "refused":
                writer.refused.append(" ".join(more))
            else:
                writer.ended = True


class Kills:
    """Kills writers of a log, one after the other, and counts what each of them leaves."""

    def __init__(self, writers: Writers, chance: random.Random) -> None:
        self._writers = writers
        self._chance = chance
        self.rounds = self.acknowledged = self.unacknowledged = self.lost = self.torn = 0

    def run(self, where: str, *, rounds: int, most_calls: int, longest_s: float) -> None:
        """Kill a number of writers of one log, each at most so long after it has acknowledged at most so many calls.

        Four in ten are killed however far they have got, perhaps before they have begun.
        """
        there: list[Entry] = []
        for _ in range(rounds):
            self.rounds += 1
            seed = self.rounds
            writer = self._writers.start(where, seed=seed, rows=100_000)
            calls = self._chance.randrange(1, most_calls + 1) if self._chance.random() < 0.6 else 0
            self._writers.kill(writer, self._chance.uniform(0, longest_s), calls=calls)
            assert writer.refused == [], writer.refused
            with open_logbook(where, create=True) as logbook:
                logbook.append([])  # a server may be busy yet with what the dead had sent: wait until it has ended
                history = list(logbook.history())
            before, new = history[: len(there)], history[len(there) :]
            self.torn += before != there  # what earlier writers left
            self.torn += [entry.fillup for entry in new] != [fillup_of(seed, number) for number in range(len(new))]
            names = [entry.entry for entry in new]
            self.lost += sum(name not in names[number : number + 1] for name, number in writer.acknowledged)
            self.acknowledged += len(writer.acknowledged)
            self.unacknowledged += len(new) - len(writer.acknowledged)
            assert len(new) - len(writer.acknowledged) in {0, 1}, "entries that nobody entered"
            there = history


def _say(number: int, *words: object) -> None:
    """Say it in one call of the system, so that a kill leaves no half line of a short one."""
    os.write(1, (" ".join(map(str, (number, *words))) + "\n").encode())


def _write(
    where: str,
    number: int,
    seed: int,
    rows: int,
    *,
    at_once: int = 1,
    begin_at: float = 0.0,
    most_bytes: int = 0,
    patience_s: float = 20.0,
) -> None:
    """Enter this many rows, so many in one call, and acknowledge each call once it has returned."""
    if most_bytes:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))
    time.sleep(max(0.0, begin_at - time.time()))
    try:
        with open_logbook(where, create=True, patience_s=patience_s) as logbook:
            for first in range(0, rows, at_once):
                numbers = range(first, min(first + at_once, rows))
                names = logbook.append(NewEntry(fillup_of(seed, row)) for row in numbers)
                done = list(zip(names, numbers, strict=True))
                for begin in range(0, len(done), 100):
                    _say(number, "acknowledged", json.dumps(done[begin : begin + 100]))
    except InputError as error:
        _say(number, "refused", error)


def _requests() -> Iterator[dict[str, Any]]:
    for line in sys.stdin:
        yield json.loads(line)


def main() -> None:
    """Fork a writer for each request, and somebody who tells when it has ended."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for request in _requests():
        if os.fork():
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        pid = os.fork()
        if pid == 0:
            try:
                _write(**request)
            finally:
                sys.stderr.flush()
                os._exit(0)
        _say(request["number"], "pid", pid)
        os.waitpid(pid, 0)
        _say(request["number"], "ended")
        os._exit(0)


if __name__ == "__main__":
    main()
