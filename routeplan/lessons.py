"""What a boat's log teaches, as values: what her instruments are worth, and what she really burns."""

from __future__ import annotations

from typing import Literal, TypeAlias

from pydantic import AwareDatetime, BaseModel, ConfigDict

from routeplan.boats import Boat

__all__ = [
    "Doubtful",
    "Figure",
    "GaugePoint",
    "GaugeRow",
    "Lesson",
    "MeterLesson",
    "RunLesson",
    "SeaLesson",
    "SumPoint",
    "Suspicion",
]

Doubtful: TypeAlias = Literal["meter", "pumped", "gauge", "burn"]
"""Which of a fill-up's figures is doubtful."""


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Figure(_Value):
    """One learnt figure, and how sure it is.

    Parameters
    ----------
    mean, sd
        The figure and its standard deviation, in the unit that its owner's name says.
    low, high
        Ends of its 90 % interval: one chance in twenty on either side.
    rests_on
        How many fill-ups, sums or runs it rests on; 0 where it is the prior alone.
    sharpen
        What would sharpen it most, in words: "three more full fill-ups halve this".
    """

    mean: float
    sd: float
    low: float
    high: float
    rests_on: int
    sharpen: str


class MeterLesson(_Value):
    """What one flow meter is worth.

    Parameters
    ----------
    meter
        1, or 2 of two.
    since
        The first fill-up that it counts in, where an earlier meter was replaced; else None.
    factor
        Pumped / metered.
    """

    meter: int
    since: AwareDatetime | None
    factor: Figure


class GaugeRow(_Value):
    """One row of the gauge table.

    Parameters
    ----------
    reading_l
        [l] What the gauge shows.
    mean_l, low_l, high_l
        [l] The fuel really there: the best figure, and the ends of its 90 % interval.
    rests_on
        How many readings lie nearest to this row.
    """

    reading_l: float
    mean_l: float
    low_l: float
    high_l: float
    rests_on: int


class SumPoint(_Value):
    """One sum from full mark to full mark: what the meters say was used, and what was pumped.

    Parameters
    ----------
    when
        The fill-up that closed it.
    metered_l, pumped_l
        [l] The two sums; of two meters, both together.
    good
        Whether it is believed.
    """

    when: AwareDatetime
    metered_l: float
    pumped_l: float
    good: bool


class GaugePoint(_Value):
    """One gauge reading and the fuel that was really there.

    Parameters
    ----------
    when
        The fill-up.
    reading_l, level_l, level_sd_l
        [l] What the gauge showed, what was there by the pump and the full mark, and how sure that is.
    good
        Whether the reading is believed.
    """

    when: AwareDatetime
    reading_l: float
    level_l: float
    level_sd_l: float
    good: bool


class RunLesson(_Value):
    """What one run from fill-up to fill-up burnt.

    Parameters
    ----------
    when
        The fill-up at its end.
    used_l
        [l] Fuel used.
    distance_nmi, time_h
        [nmi, h] How far and how long; None where not written down.
    economy_nmi_per_l
        [nmi/l] Distance per volume; None without a distance.
    burn_factor
        What was used / what the burn table says; None where it can't be told.
    sea, people
        As written down.
    good
        Whether it is believed.
    """

    when: AwareDatetime
    used_l: float
    distance_nmi: float | None
    time_h: float | None
    economy_nmi_per_l: float | None
    burn_factor: float | None
    sea: str | None
    people: int | None
    good: bool


class SeaLesson(_Value):
    """What a sea does to the burn.

    Parameters
    ----------
    sea
        The sea.
    runs
        How many runs in it.
    burn_factor
        Their mean burn factor.
    """

    sea: str
    runs: int
    burn_factor: float


class Suspicion(_Value):
    """One fill-up that doesn't fit the others.

    Parameters
    ----------
    entry
        Its name in the log; empty where it has none.
    when
        Its moment.
    doubtful
        Which of its figures.
    probability
        How likely it is that something is wrong, 0 to 1.
    why
        The reason in words, with what would explain it; in the boat's display units.
    """

    entry: str
    when: AwareDatetime
    doubtful: Doubtful
    probability: float
    why: str


class Lesson(_Value):
    """What a boat's log teaches.

    Parameters
    ----------
    boat
        The boat, as her file says.
    taught
        The boat with the burn, its spread and the full mark's spread as learnt: planning uses this one.
    fillups
        How many fill-ups it rests on.
    meter_factor
        Pumped / metered, of all meters together in the proportion in which they run; None where none was ever read.
    meters
        Each meter that is fitted now.
    full_mark_sd_l
        [l] How well a fill to the full mark repeats.
    meter_sd_share
        [share] Scatter of one reading of the meters.
    gauge_sd_l
        [l] Scatter of one reading of the gauge.
    gauge_table
        By rising reading; empty where no gauge was ever read.
    gauge_sharpen
        What would sharpen the gauge table most.
    gauge_in_words
        What the gauge does in the last fifth of the tank, and what that means.
    burn_factor
        Real burn / burn table; None where no run was written down.
    burn_sd_share
        [share] Relative standard deviation of the burn of a whole passage, what isn't known of the factor included.
    economy_nmi_per_l
        [nmi/l] Over the season; None where no distance was written down.
    by_sea
        What the seas do to the burn; those with three runs or more.
    suspicious
        Fill-ups that don't fit, in order of time. They stay in the log.
    sums, gauge_points, runs
        What the figures rest on, for pictures.
    notes
        What else must be said: years left out, a pump taken at its word.
    """

    boat: Boat
    taught: Boat
    fillups: int
    meter_factor: Figure | None
    meters: tuple[MeterLesson, ...]
    full_mark_sd_l: Figure
    meter_sd_share: Figure
    gauge_sd_l: Figure
    gauge_table: tuple[GaugeRow, ...]
    gauge_sharpen: str
    gauge_in_words: str
    burn_factor: Figure | None
    burn_sd_share: float
    economy_nmi_per_l: Figure | None
    by_sea: tuple[SeaLesson, ...]
    suspicious: tuple[Suspicion, ...]
    sums: tuple[SumPoint, ...]
    gauge_points: tuple[GaugePoint, ...]
    runs: tuple[RunLesson, ...]
    notes: tuple[str, ...]
