"""How well a fit does on simulated seasons: intervals counted, errors squared, suspicious rows looked up.

A fit is any function from a season to `Judged`; it sees the boat, the log and what the instruments show now, and no
truth. Scores are sums over seasons, so that they can be taken in parts and added up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from oracles.seasons import KINDS, draw_season

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from oracles.seasons import Season

TABLE_SPAN = (0.05, 0.95)  # share of the capacity: readings whose rows of the gauge table are counted
ALONE = ("full mark less factor x metered", "meter corrected alone", "gauge corrected alone")
RULES = (
    "full mark less metered",
    "capacity less metered",
    "gauge as read",
    "full mark less factor x metered",
    "meter corrected alone",
    "gauge corrected alone",
    "both combined",
)


@dataclass(frozen=True)
class Span:
    """A figure and its 90 % interval."""

    low: float
    mean: float
    high: float

    def narrowed(self, share: float) -> Span:
        """Bring both ends nearer to the figure."""
        return Span(self.mean + share * (self.low - self.mean), self.mean, self.mean + share * (self.high - self.mean))


@dataclass(frozen=True)
class Judged:
    """What a fit says of one season.

    Parameters
    ----------
    meter_factor
        Used / metered.
    gauge_table
        [l] Readings, and the fuel really there.
    aboard, by_meter_l, by_gauge_l
        [l] Fuel aboard now: by both, and by each alone; None where the log has no full mark to count from.
    doubted
        Rows of the log that it finds suspicious, and which of their figures.
    """

    meter_factor: Span
    gauge_table: tuple[tuple[float, Span], ...]
    aboard: Span
    by_meter_l: float | None
    by_gauge_l: float | None
    doubted: dict[int, tuple[str, ...]]

    def narrowed(self, share: float) -> Judged:
        """Break the fit on purpose: all its intervals narrowed."""
        table = tuple((reading, span.narrowed(share)) for reading, span in self.gauge_table)
        factor, aboard = self.meter_factor.narrowed(share), self.aboard.narrowed(share)
        return replace(self, meter_factor=factor, gauge_table=table, aboard=aboard)


Fit: TypeAlias = "Callable[[Season], Judged]"


@dataclass
class Count:
    """How often an interval held the truth, and how often its unsafe end was missed."""

    seen: float = 0.0
    held: float = 0.0
    unsafe: float = 0.0
    widths: list[float] = field(default_factory=list)

    @property
    def coverage(self) -> float:
        """[share] How often the interval held the truth."""
        return self.held / self.seen if self.seen else math.nan

    @property
    def unsafe_share(self) -> float:
        """[share] How often less was there, or more was burnt, than the interval allows."""
        return self.unsafe / self.seen if self.seen else math.nan

    @property
    def width(self) -> float:
        """The median width."""
        return float(np.median(self.widths)) if self.widths else math.nan

    def add(self, spans: Sequence[tuple[Span, float]], *, unsafe_is_low: bool) -> None:
        """Count one season: several spans and truths of it count as one, by their mean."""
        if not spans:
            return
        self.seen += 1
        self.held += sum(span.low <= truth <= span.high for span, truth in spans) / len(spans)
        missed = [truth < span.low if unsafe_is_low else truth > span.high for span, truth in spans]
        self.unsafe += sum(missed) / len(spans)
        self.widths.append(float(np.mean([span.high - span.low for span, _ in spans])))

    def take(self, other: Count) -> None:
        """Add another count to this one."""
        self.seen, self.held, self.unsafe = self.seen + other.seen, self.held + other.held, self.unsafe + other.unsafe
        self.widths += other.widths


@dataclass
class Scores:
    """Scores over seasons."""

    meter_factor: Count = field(default_factory=Count)
    gauge_table: Count = field(default_factory=Count)
    aboard: Count = field(default_factory=Count)
    squares: dict[str, list[float]] = field(default_factory=lambda: {rule: [] for rule in RULES})
    rows: int = 0
    spoiled: dict[str, int] = field(default_factory=lambda: dict.fromkeys(KINDS, 0))
    found: dict[str, int] = field(default_factory=lambda: dict.fromkeys(KINDS, 0))
    found_near: dict[str, int] = field(default_factory=lambda: dict.fromkeys(KINDS, 0))
    doubted: dict[str, int] = field(default_factory=dict)
    doubted_rightly: dict[str, int] = field(default_factory=dict)
    doubted_rows: int = 0
    doubted_rows_rightly: int = 0

    @property
    def counts(self) -> dict[str, Count]:
        """The three intervals, by name."""
        return {"meter factor": self.meter_factor, "gauge table": self.gauge_table, "fuel aboard": self.aboard}

    def error_share(self, rule: str) -> float:
        """[share] Root-mean-square error of the fuel aboard by a rule, of the capacity."""
        return math.sqrt(float(np.mean(self.squares[rule])))

    def precision(self) -> float:
        """[share] Of the rows found suspicious, those that were spoiled."""
        return self.doubted_rows_rightly / self.doubted_rows if self.doubted_rows else math.nan

    def recall(self) -> float:
        """[share] Of the spoiled rows, those that were found suspicious."""
        spoiled = sum(self.spoiled.values())
        return sum(self.found.values()) / spoiled if spoiled else math.nan

    def take(self, other: Scores) -> None:
        """Add other scores to these."""
        for name, count in self.counts.items():
            count.take(other.counts[name])
        for rule in RULES:
            self.squares[rule] += other.squares[rule]
        for mine, theirs in (
            (self.spoiled, other.spoiled),
            (self.found, other.found),
            (self.found_near, other.found_near),
            (self.doubted, other.doubted),
            (self.doubted_rightly, other.doubted_rightly),
        ):
            for kind, number in theirs.items():
                mine[kind] = mine.get(kind, 0) + number
        self.rows += other.rows
        self.doubted_rows += other.doubted_rows
        self.doubted_rows_rightly += other.doubted_rows_rightly


def score_season(season: Season, judged: Judged) -> Scores:
    """Hold what a fit says of one season against its truth.

    Parameters
    ----------
    season
        The season.
    judged
        What the fit says.

    Returns
    -------
    Scores of this season alone.
    """
    scores, truth, capacity_l = Scores(rows=len(season.log)), season.truth, season.boat.tank.capacity_l
    scores.meter_factor.add([(judged.meter_factor, truth.meter_factor)], unsafe_is_low=False)
    table = []
    for reading_l, span in judged.gauge_table:
        level_l = truth.gauge.level_l(reading_l)
        if level_l is not None and TABLE_SPAN[0] <= reading_l / capacity_l <= TABLE_SPAN[1]:
            table.append((span, level_l))
    scores.gauge_table.add(table, unsafe_is_low=True)
    scores.aboard.add([(judged.aboard, season.now.level_l)], unsafe_is_low=True)
    for rule, guess_l in _guesses_l(season, judged):
        scores.squares[rule].append(((guess_l - season.now.level_l) / capacity_l) ** 2)
    for row, kind in season.spoiled.items():
        scores.spoiled[kind] += 1
        scores.found[kind] += row in judged.doubted
        scores.found_near[kind] += not judged.doubted.keys().isdisjoint(_same_sum(season, row))
    for row, figures in judged.doubted.items():
        scores.doubted_rows += 1
        scores.doubted_rows_rightly += row in season.spoiled
        for figure in figures:
            scores.doubted[figure] = scores.doubted.get(figure, 0) + 1
            rightly = scores.doubted_rightly.get(figure, 0)
            scores.doubted_rightly[figure] = rightly + (row in season.spoiled)
    return scores


def score_seasons(
    fit: Fit, seeds: Iterable[np.random.SeedSequence], *, spoiled_share: float = 0.0, fillups: int | None = None
) -> Scores:
    """Draw a season from each seed, have it fitted, and add up the scores.

    Parameters
    ----------
    fit
        The fit.
    seeds
        One a season.
    spoiled_share
        [share] Of rows.
    fillups
        How many in each; drawn where not given.

    Returns
    -------
    Scores of all of them.
    """
    scores = Scores()
    for seed in seeds:
        season = draw_season(np.random.default_rng(seed), spoiled_share=spoiled_share, fillups=fillups)
        scores.take(score_season(season, fit(season)))
    return scores


def fit_by_product(season: Season) -> Judged:
    """Fit a season with the product.

    Parameters
    ----------
    season
        The season.

    Returns
    -------
    What the product says of it.
    """
    from routeplan.aboard import Readings, find_aboard  # noqa: PLC0415  (so that another fit can be scored without it)
    from routeplan.teaching import learn  # noqa: PLC0415

    taught = learn(season.boat, season.log)
    lesson = taught.lesson
    aboard = find_aboard(taught, Readings(meters_l=season.now.meters_l, gauge_l=season.now.gauge_l))
    rows = {fillup.when: row for row, fillup in enumerate(season.log)}
    doubted: dict[int, tuple[str, ...]] = {}
    for suspicion in lesson.suspicious:
        row = rows[suspicion.when]
        doubted[row] = (*doubted.get(row, ()), suspicion.doubtful)
    factor = lesson.meter_factor
    if factor is None:
        raise AssertionError("the meter is read at every fill-up")
    return Judged(
        meter_factor=Span(factor.low, factor.mean, factor.high),
        gauge_table=tuple((row.reading_l, Span(row.low_l, row.mean_l, row.high_l)) for row in lesson.gauge_table),
        aboard=Span(aboard.low_l, aboard.mean_l, aboard.high_l),
        by_meter_l=aboard.by_meter.mean_l if aboard.by_meter else None,
        by_gauge_l=aboard.by_gauge.mean_l if aboard.by_gauge else None,
        doubted=doubted,
    )


def _guesses_l(season: Season, judged: Judged) -> Iterator[tuple[str, float]]:
    """Walk the fuel aboard [l] by each of `RULES`; the plain ones believe the log and the meter to the letter.

    All of them or none, so that each rule is judged by the same seasons.
    """
    if judged.by_meter_l is None or judged.by_gauge_l is None:
        return
    metered_l, pumped_l = _since_full_l(season)
    less_l = pumped_l - metered_l
    tank = season.boat.tank
    guesses_l = (
        tank.full_mark_l + less_l,
        tank.capacity_l + less_l,
        season.now.gauge_l,
        tank.full_mark_l + pumped_l - judged.meter_factor.mean * metered_l,
        judged.by_meter_l,
        judged.by_gauge_l,
        judged.aboard.mean,
    )
    yield from zip(RULES, guesses_l, strict=True)


def _since_full_l(season: Season) -> tuple[float, float]:
    """[l] What the meters say was used since the last full mark, and what was pumped since: by the log alone."""
    metered_l, pumped_l, carried_l = sum(season.now.meters_l), 0.0, 0.0
    # Backwards from now: each reading counts since the last reset that the log tells of, so that only the last
    # reading before a reset, and the present one, are added; what a run-on reading held at the full mark comes off.
    for fillup in reversed(season.log):
        shown_l = sum(value or 0.0 for value in fillup.meters_used_l)
        if fillup.filled_to_full:
            carried_l = 0.0 if fillup.meter_reset else shown_l
            break
        pumped_l += fillup.pumped_l
        if fillup.meter_reset:
            metered_l += shown_l
    return metered_l - carried_l, pumped_l


def _same_sum(season: Season, row: int) -> set[int]:
    """Rows of the sum from full mark to full mark that a row belongs to."""
    first = last = row
    while first > 0 and not season.log[first - 1].filled_to_full:
        first -= 1
    while last + 1 < len(season.log) and not season.log[last].filled_to_full:
        last += 1
    return set(range(first, last + 1))
