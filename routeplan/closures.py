"""Sums from full mark to full mark: what was pumped between two full tanks must be what was used between them.

A part fill doesn't close a sum; its volume is counted in the one that the next full fill closes. What a meter showed at
a fill-up is turned into what was used since the one before: as it stands where the meter had been reset, less the
previous figure where it hadn't.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from routeplan.fillups import Fillup

__all__ = ["Closure", "Reading", "Use", "find_closures", "meter_count", "read_use"]

Reading: TypeAlias = Literal["as-written", "reset-forgotten", "was-reset"]
"""How a meter's figure is taken: as the log has it, or with a reset more or less than the log has."""
_UNTOLD = frozenset({"reset-in-mid-tank", "meter-replaced", "meter2-replaced"})  # the meter didn't see all of the run
_ROUNDING_L = 1e-9  # l: figures that were converted may differ in their last bits


@dataclass(frozen=True)
class Use:
    """What the meters say was used since the previous fill-up, under one way of taking their figures.

    Parameters
    ----------
    reading
        How they are taken.
    metered_l
        [l] One figure a meter.
    """

    reading: Reading
    metered_l: tuple[float, ...]


@dataclass(frozen=True)
class Closure:
    """One sum, closed by a fill to the full mark, or the open one after the last.

    Parameters
    ----------
    rows
        Positions of its fill-ups among the boat's; the last one closes it.
    full
        Whether it is closed.
    start_known
        Whether it began at a full mark that the log has; the first one's is taken on trust.
    chained
        Whether fuel can be counted from its beginning to its end: no fill-up between is missing from the log.
    pumped_l
        [l] All that was pumped in it, the last fill included.
    uses
        For each row, the ways of taking its meters, the written one first; empty where they tell nothing.
    """

    rows: tuple[int, ...]
    full: bool
    start_known: bool
    chained: bool
    pumped_l: float
    uses: tuple[tuple[Use, ...], ...]

    @property
    def metered(self) -> bool:
        """Whether the meters saw all of it."""
        return self.chained and all(self.uses)

    def choices(self) -> Iterator[tuple[int | None, Reading, tuple[tuple[float, ...], ...]]]:
        """Walk the ways of taking the whole sum: as written, then with one row's meters taken otherwise.

        Yields
        ------
        The row that is taken otherwise, how, and what was used for each row [l].
        """
        written = tuple(ways[0].metered_l for ways in self.uses)
        yield None, "as-written", written
        for place, ways in enumerate(self.uses):
            for other in ways[1:]:
                yield self.rows[place], other.reading, (*written[:place], other.metered_l, *written[place + 1 :])


def meter_count(fillups: Sequence[Fillup]) -> int:
    """Count the meters that a boat has, as her log tells.

    Parameters
    ----------
    fillups
        Hers.

    Returns
    -------
    2 where a second one was ever read, 1 where one was, else 0.
    """
    if any(f.meter2_used_l is not None for f in fillups):
        return 2
    return 1 if any(f.meter_used_l is not None for f in fillups) else 0


def read_use(shown_l: Sequence[float | None], before: Fillup | None, meters: int, *, reset: bool) -> tuple[Use, ...]:
    """Turn what the meters show into what was used since the previous fill-up.

    Parameters
    ----------
    shown_l
        [l] One figure a meter.
    before
        The previous fill-up; None where there is none, and the meters are taken to have been reset there.
    meters
        How many meters the boat has.
    reset
        Whether the log says that they were reset then.

    Returns
    -------
    The ways of taking them, the likeliest first; empty where a figure is missing.

    Examples
    --------
    80 l since a reset; had it been forgotten after a fill-up at 60 l, 20 l were used.

    >>> from datetime import UTC, datetime
    >>> from routeplan.fillups import Fillup
    >>> before = Fillup(boat="A", when=datetime(2026, 5, 1, tzinfo=UTC), meter_used_l=60, pumped_l=61)
    >>> [(use.reading, use.metered_l) for use in read_use([80.0], before, 1, reset=True)]
    [('as-written', (80.0,)), ('reset-forgotten', (20.0,))]
    """
    now_l = tuple(shown_l[:meters])
    if len(now_l) < meters or any(value is None for value in now_l):
        return ()
    plain = tuple(float(value) for value in now_l if value is not None)
    earlier = () if before is None else before.meters_used_l
    difference = None
    if before is not None and len(earlier) >= meters and all(value is not None for value in earlier):
        less = tuple(a - float(b or 0.0) for a, b in zip(plain, earlier, strict=False))
        if all(value >= -_ROUNDING_L for value in less):
            difference = tuple(max(0.0, value) for value in less)
    if before is None:
        return (Use("as-written", plain),)
    if reset:
        ran_on = () if difference is None else (Use("reset-forgotten", difference),)
        return (Use("as-written", plain), *ran_on)
    if difference is None:
        # The figure fell, or the earlier one is missing: it can't have run on.
        return (Use("was-reset", plain),) if all(value is not None for value in earlier) else ()
    return (Use("as-written", difference), Use("was-reset", plain))


def find_closures(fillups: Sequence[Fillup], meters: int) -> tuple[Closure, ...]:
    """Cut a boat's fill-ups into sums from full mark to full mark.

    Parameters
    ----------
    fillups
        One boat's, in order of time.
    meters
        How many meters she has.

    Returns
    -------
    In order of time; fill-ups after the last full mark make one that isn't closed.

    Examples
    --------
    A part fill of 30 l, then 50 l to the mark: one sum of 80 l.

    >>> from datetime import UTC, datetime
    >>> from routeplan.fillups import Fillup
    >>> day = [datetime(2026, 5, n, tzinfo=UTC) for n in (1, 2, 3)]
    >>> log = [
    ...     Fillup(boat="A", when=day[0], meter_used_l=60, pumped_l=61),
    ...     Fillup(boat="A", when=day[1], meter_used_l=44, pumped_l=30, filled_to_full=False),
    ...     Fillup(boat="A", when=day[2], meter_used_l=35, pumped_l=50),
    ... ]
    >>> [(c.rows, c.pumped_l, c.start_known) for c in find_closures(log, 1)]
    [((0,), 61.0, False), ((1, 2), 80.0, True)]
    """
    found = []
    rows: list[int] = []
    uses: list[tuple[Use, ...]] = []
    chained, start_known = True, False
    for number, fillup in enumerate(fillups):
        before = fillups[number - 1] if number else None
        ran_on = "reset-forgotten" in fillup.since
        reset = before is None or (before.meter_reset and not ran_on)
        rows.append(number)
        told = not _UNTOLD.intersection(fillup.since)
        uses.append(read_use(fillup.meters_used_l, before, meters, reset=reset) if told and meters else ())
        chained = chained and "unwritten-fillup" not in fillup.since
        if fillup.filled_to_full or number == len(fillups) - 1:
            pumped_l = sum(fillups[row].pumped_l for row in rows)
            found.append(Closure(tuple(rows), fillup.filled_to_full, start_known, chained, pumped_l, tuple(uses)))
            rows, uses, chained, start_known = [], [], True, True
    return tuple(found)
