"""Writers that are killed, and writers at the same time: what was acknowledged is there, whole, and the log opens.

A writer is a process of its own; it acknowledges on a pipe what a call has returned, and is killed with SIGKILL after a
time drawn at random. `tests/bench/bench_log.py` does the same more often.
"""

from __future__ import annotations

import random
import sys
import time
from typing import TYPE_CHECKING

import pytest
from oracles.log_places import quick_folder, server_place
from oracles.log_writer import Kills, Writers, fillup_of

from routeplan.log_schema import make_log
from routeplan.log_store import open_store
from routeplan.logbook import open_logbook

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no fork and no SIGKILL")


@pytest.fixture(scope="module")
def writers() -> Iterator[Writers]:
    with Writers() as forked:
        yield forked


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest) -> Iterator[str]:
    if request.param == "postgresql":
        with server_place() as url:
            yield url
    else:
        with quick_folder() as folder:
            yield str(folder / "fillups.db")


def test_twenty_kills_lose_nothing_that_was_acknowledged(writers: Writers) -> None:
    """Five times from nothing, so that the making of the file is killed as well."""
    kills = Kills(writers, random.Random(20))  # noqa: S311
    for _ in range(5):
        with quick_folder() as folder:
            kills.run(str(folder / "fillups.db"), rounds=4, most_calls=8, longest_s=0.1)
    assert kills.rounds == 20
    assert kills.acknowledged > 20, "the writers were killed before they had begun"
    assert kills.lost == 0
    assert kills.torn == 0


def test_kills_lose_nothing_on_a_server(writers: Writers) -> None:
    kills = Kills(writers, random.Random(6))  # noqa: S311
    with server_place() as url:
        kills.run(url, rounds=6, most_calls=4, longest_s=0.1)
    assert kills.acknowledged > 5
    assert (kills.lost, kills.torn) == (0, 0)


def test_an_import_that_is_killed_is_there_whole_or_not_at_all(where: str, writers: Writers) -> None:
    rows, chance = 1500, random.Random(8)  # noqa: S311
    open_logbook(where, create=True).close()
    counts, expected = [], 0
    for number in range(4):
        writer = writers.start(where, seed=number, rows=rows, at_once=rows)
        writers.kill(writer, chance.uniform(0.05, 0.4))
        with open_logbook(where) as logbook:
            counts.append(sum(1 for _ in logbook.history()))
        expected += len(writer.acknowledged) > 0
        assert counts[-1] % rows == 0, "part of an import"
        assert counts[-1] >= rows * expected, "an import that was acknowledged"
    assert counts == sorted(counts)


def test_two_writers_at_once_are_both_kept(where: str, writers: Writers) -> None:
    """They also make the log at once: it isn't there before."""
    begin_at = time.time() + 0.1
    pair = [writers.start(where, seed=seed, rows=15, begin_at=begin_at) for seed in (0, 1, 2)]
    for writer in pair:
        writers.wait(writer)
        assert writer.refused == []
        assert len(writer.acknowledged) == 15
    with open_logbook(where) as logbook:
        history = list(logbook.history())
    assert len(history) == 45
    for seed, writer in enumerate(pair):
        mine = [entry for entry in history if entry.entry in dict(writer.acknowledged)]
        assert [entry.fillup for entry in mine] == [fillup_of(seed, number) for number in range(15)]


def test_two_who_bring_an_old_log_up_to_date_at_once_do_it_once(where: str, writers: Writers) -> None:
    store = open_store(where, create=True, patience_s=5)
    with store.writing() as connection:
        make_log(connection, where, fillup_of(0, 0).when, version=1)
    begin_at = time.time() + 0.1
    pair = [writers.start(where, seed=seed, rows=3, begin_at=begin_at) for seed in (0, 1, 2)]
    for writer in pair:
        writers.wait(writer)
        assert (len(writer.acknowledged), writer.refused) == (3, [])
    with open_logbook(where) as logbook:
        assert len(list(logbook.history())) == 9
