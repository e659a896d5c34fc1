"""What a lesson says, each in one short sentence: the titles of its pictures and the headings of its page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo

    from routeplan.lessons import Figure, Lesson

__all__ = [
    "GaugeVerdict",
    "count_of",
    "day",
    "economy_message",
    "factor",
    "factor_ends",
    "gauge_message",
    "gauge_verdict",
    "meter_message",
    "reserve_reading_l",
    "sharpening_message",
    "tied",
]

GaugeVerdict: TypeAlias = Literal["high", "low", "either", "seems high", "seems low"]
"""Which way a gauge errs low in the tank."""

_TIED = re.compile(
    r"(\d|\u00d7|\u00b1|\bby) (?=\d|%|\u00d7|(?:US|imperial|gal|l|nmi|sums?|runs?|[A-Z][a-z]{2} \d{4})\b)"
)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LOOKED_AT = 0.12  # share of the capacity: well inside the last fifth, and above most boats' unusable fuel
_HARDLY = 0.02  # share of the capacity: a gauge that is off by less errs either way
_FINE = 0.01  # a factor that is known to a hundredth is told in thousandths


def day(moment: datetime, zone: tzinfo) -> str:
    """Say a day; English whatever the machine speaks.

    Parameters
    ----------
    moment
        Zone-aware.
    zone
        Whose day it is.

    Returns
    -------
    Such as ``8 May 2025``.
    """
    local = moment.astimezone(zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}"


def count_of(number: int, one: str, many: str = "") -> str:
    """Say how many.

    Parameters
    ----------
    number
        How many.
    one, many
        The word for one of them, and for several; the latter with an s where left out.

    Returns
    -------
    Such as ``1 sum`` or ``22 sums``.

    Examples
    --------
    >>> count_of(1, "sum"), count_of(22, "sum")
    ('1 sum', '22 sums')
    """
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def tied(words: str) -> str:
    """Tie figures to their units, so that no line ends between them.

    Parameters
    ----------
    words
        Any text.

    Returns
    -------
    The same with no-break spaces.

    Examples
    --------
    >>> tied("20 gal are 1.3 % of it").count(chr(160))
    2
    """
    return _TIED.sub("\\1\u00a0", words)


def factor(figure: Figure) -> str:
    """Say a factor with as many digits as it is worth.

    Parameters
    ----------
    figure
        A factor.

    Returns
    -------
    Thousandths where its 90 % interval is within a hundredth either way, else hundredths.
    """
    return f"{figure.mean:.{_digits(figure)}f}"


def factor_ends(figure: Figure) -> str:
    """Say the ends of a factor's 90 % interval.

    Parameters
    ----------
    figure
        A factor.

    Returns
    -------
    Such as ``1.011 to 1.015``.
    """
    digits = _digits(figure)
    return f"{figure.low:.{digits}f} to {figure.high:.{digits}f}"


def meter_message(lesson: Lesson) -> str:
    """Say what the meter is worth.

    Parameters
    ----------
    lesson
        The lesson.

    Returns
    -------
    Such as ``The meter reads 2 % low: multiply by 1.02``. A meter that reads 2 % low shows 98 where 100 were used.
    """
    figure = lesson.meter_factor
    two = len(lesson.meters) > 1
    if figure is None:
        return "No meter reading is in the log yet"
    if figure.rests_on == 0:
        return f"No sum from full to full yet: what the {'meters are' if two else 'meter is'} worth isn't known"
    subject = "The two meters together read" if two else "The meter reads"
    percent = f"{abs(1 / figure.mean - 1) * 100:.{_digits(figure) - 2}f} %"
    if figure.low > 1:
        return f"{subject} {percent} low: multiply by {factor(figure)}"
    if figure.high < 1:
        return f"{subject} {percent} high: multiply by {factor(figure)}"
    return f"{subject} right as far as can be told: multiply by {factor(figure)}"


def gauge_verdict(lesson: Lesson) -> GaugeVerdict | None:
    """Say which way the gauge errs in the last fifth of the tank.

    Parameters
    ----------
    lesson
        The lesson.

    Returns
    -------
    ``high`` (less is there than it shows) and ``low`` where that is 90 % sure, ``seems high`` and ``seems low`` where
    it isn't but the best guess is off by a fiftieth of the capacity, else ``either``. None without a gauge table.

    Notes
    -----
    Looked at where the gauge shows 12 % of the capacity, between the rows of the table.
    """
    rows, capacity_l = lesson.gauge_table, lesson.boat.tank.capacity_l
    if len(rows) < 2:
        return None
    reading_l = _LOOKED_AT * capacity_l
    upper = next((n for n, row in enumerate(rows) if n and row.reading_l >= reading_l), len(rows) - 1)
    start, end = rows[upper - 1], rows[upper]
    share = (reading_l - start.reading_l) / (end.reading_l - start.reading_l)
    low_l, mean_l, high_l = (
        one + share * (other - one)
        for one, other in (
            (start.low_l, end.low_l),
            (start.mean_l, end.mean_l),
            (start.high_l, end.high_l),
        )
    )
    if high_l < reading_l:
        return "high"
    if low_l > reading_l:
        return "low"
    if abs(mean_l - reading_l) < _HARDLY * capacity_l:
        return "either"
    return "seems low" if mean_l > reading_l else "seems high"


def gauge_message(lesson: Lesson) -> str:
    """Say what the gauge does low in the tank.

    Parameters
    ----------
    lesson
        The lesson.

    Returns
    -------
    One sentence.
    """
    verdict = gauge_verdict(lesson)
    if verdict is None:
        return "No gauge reading is in the log yet"
    return {
        "high": "Danger: in the last fifth the gauge reads high, less is there than it shows",
        "low": "In the last fifth the gauge reads low: more is there than it shows",
        "either": "In the last fifth the gauge may err either way",
        "seems high": "Danger: in the last fifth the gauge seems to read high, which isn't sure yet",
        "seems low": "In the last fifth the gauge seems to read low, which isn't sure yet",
    }[verdict]


def reserve_reading_l(lesson: Lesson) -> float | None:
    """Find the reading of the gauge at which the reserve may be touched.

    Parameters
    ----------
    lesson
        The lesson.

    Returns
    -------
    [l] The lowest reading from which on the low end of the gauge table stays at or above unusable fuel and reserve,
    linear between its rows; None where no reading of the table is that sure, or there is no table.
    """
    rows, floor_l = lesson.gauge_table, lesson.boat.floor_l
    if not rows or rows[-1].low_l < floor_l:
        return None
    for lower, upper in zip(reversed(rows[:-1]), reversed(rows[1:]), strict=True):
        if lower.low_l < floor_l:
            share = (floor_l - lower.low_l) / (upper.low_l - lower.low_l)
            return lower.reading_l + share * (upper.reading_l - lower.reading_l)
    return rows[0].reading_l


def economy_message(lesson: Lesson) -> str:
    """Say how far a boat runs on her fuel.

    Parameters
    ----------
    lesson
        The lesson.

    Returns
    -------
    Such as ``She runs 1.46 nmi on a gallon``.
    """
    figure, units = lesson.economy_nmi_per_l, lesson.boat.units
    if figure is None:
        return "No distance is in the log yet"
    return f"She runs {units.economy(figure.mean).split('/', maxsplit=1)[0]} on {_unit_word(lesson)}"


def sharpening_message(sharpened: Sequence[tuple[datetime, Figure]]) -> str:
    """Say how the meter factor sharpened.

    Parameters
    ----------
    sharpened
        After each sum, the factor as it was known then.

    Returns
    -------
    The half widths of its 90 % interval, at first and now.
    """
    if not sharpened:
        return "No sum from full to full yet: nothing to sharpen the meter factor"
    first, last = (_half_width(figure) for figure in (sharpened[0][1], sharpened[-1][1]))
    if len(sharpened) == 1:
        return f"After one sum the meter factor is known to \u00b1{last}"
    return f"The meter factor sharpened from \u00b1{first} to \u00b1{last}"


def _digits(figure: Figure) -> int:
    return 3 if 0.5 * (figure.high - figure.low) < _FINE else 2


def _half_width(figure: Figure) -> str:
    return f"{50 * (figure.high - figure.low):.1f} %"


def _unit_word(lesson: Lesson) -> str:
    return {"us": "a US gallon", "imperial": "an imperial gallon", "metric": "a litre"}[lesson.boat.display_units]
