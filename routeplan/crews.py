"""Who is aboard, who waits ashore, and when to begin to worry: what a sheet says of people."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field

from layers.errors import InputError
from routeplan.moments import read_moment
from routeplan.plans import When
from routeplan.quantities import read_duration_h

if TYPE_CHECKING:
    from datetime import datetime
    from zoneinfo import ZoneInfo

__all__ = ["LATEST_OVERDUE_H", "MOST_PEOPLE", "Crew", "read_crew", "read_overdue", "read_people"]

MOST_PEOPLE = 100  # a day boat carries a dozen: more is a slip
LEAST_OVERDUE_H = 0.25  # [h] after arriving: sooner, and a mooring line that jams calls the rescue service out
LATEST_OVERDUE_H = 72.0  # [h] after arriving: whoever waits ashore acts long before
_LATEST_TIME_H = 12.0  # [h] after arriving that a bare time of day may mean: more is a time before arriving
_LONGEST = 200  # characters of a contact, or of all names together twice that
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")


class Crew(BaseModel):
    """Who is aboard, and who waits ashore.

    Parameters
    ----------
    people
        Persons aboard; None where it is written in by hand.
    names
        Their names, the skipper's first, as far as they are given.
    shore_contact
        Name and phone number of whoever waits ashore; empty where it is written in by hand.
    overdue
        When whoever waits is to call for help; None where it is written in by hand.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    people: Annotated[int, Field(ge=1, le=MOST_PEOPLE)] | None = None
    names: tuple[str, ...] = ()
    shore_contact: str = ""
    overdue: When | None = None


def read_people(text: str, where: str) -> int:
    """Read how many are aboard.

    Parameters
    ----------
    text
        A whole number.
    where
        The option that it came from.

    Returns
    -------
    1 to 100.

    Raises
    ------
    InputError
        It is no whole number, or is out of these limits.

    Examples
    --------
    >>> read_people("4", "--people")
    4
    """
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) <= 3):
        raise InputError(where, "is no whole number", value=text, remedy="write how many are aboard, such as 4")
    if not 1 <= int(plain) <= MOST_PEOPLE:
        raise InputError(where, f"must be 1 to {MOST_PEOPLE}", value=text, remedy="count all aboard, the skipper too")
    return int(plain)


def read_overdue(text: str, arrive: datetime, zone: ZoneInfo, where: str) -> datetime:
    """Read from when on the boat counts as overdue.

    Parameters
    ----------
    text
        How long after the planned arrival (``2h``, ``90min``), a time of day (``18:30``, the first after arriving),
        or a date and time (``2026-07-01T18:30``).
    arrive
        The planned arrival.
    zone
        Whose clock a time without an offset is told by.
    where
        The option that it came from.

    Returns
    -------
    The moment, in UTC.

    Raises
    ------
    InputError
        It can't be read, or is less than a quarter of an hour after the arrival, or more than three days after it, or
        for a time of day more than half a day.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from zoneinfo import ZoneInfo
    >>> arrive = datetime(2026, 7, 1, 15, 47, tzinfo=UTC)
    >>> for text in ("2h", "18:30", "2026-07-02T09:00"):
    ...     print(read_overdue(text, arrive, ZoneInfo("UTC"), "--overdue"))
    2026-07-01 17:47:00+00:00
    2026-07-01 18:30:00+00:00
    2026-07-02 09:00:00+00:00
    """
    plain = text.strip()
    planned, latest_h = f"{arrive.astimezone(zone):%Y-%m-%dT%H:%M}", LATEST_OVERDUE_H
    remedy = "write how long after arriving (2h, 90min) or a time (18:30)"
    if _TIME_OF_DAY.fullmatch(plain):
        latest_h = _LATEST_TIME_H
        remedy = "write how long after arriving (2h), or the date too where a later day is meant"
        day = arrive.astimezone(zone).date()
        days = (day + timedelta(days=more) for more in range(2))
        moment = next(m for d in days if (m := read_moment(f"{d}T{plain:0>5}", where, zone)) > arrive or d > day)
    elif _DATE.match(plain):
        moment = read_moment(plain, where, zone)
    else:
        try:
            moment = arrive + timedelta(hours=min(read_duration_h(plain, where), 1e6))
        except InputError as error:
            raise InputError(where, "is neither a length of time nor a time", value=text, remedy=remedy) from error
    late_h = (moment - arrive).total_seconds() / 3600
    if not LEAST_OVERDUE_H <= late_h <= latest_h:
        least = f"{LEAST_OVERDUE_H * 60:g} min"
        problem = f"must be {least} to {latest_h:g} h after the planned arrival, {planned}"
        raise InputError(where, problem, value=text, remedy=remedy)
    return moment


def read_crew(
    people: str | None,
    shore_contact: str | None,
    overdue: str | None,
    *,
    arrive: datetime,
    zone: ZoneInfo,
    names: str | None = None,
) -> Crew:
    """Read what the command line says of people.

    Parameters
    ----------
    people, shore_contact, overdue
        As typed for ``--people``, ``--shore-contact``, ``--overdue``; None where they weren't.
    arrive
        The planned arrival.
    zone
        The region's time zone.
    names
        As typed for ``--names``, with commas between; None where they weren't.

    Returns
    -------
    The crew.

    Raises
    ------
    InputError
        One of them can't be read, is too long, or there are more names than people.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from zoneinfo import ZoneInfo
    >>> arrive = datetime(2026, 7, 1, 15, 47, tzinfo=UTC)
    >>> read_crew("2", "Ann, 555 0100", None, arrive=arrive, zone=ZoneInfo("UTC"), names="Jo, Kit").names
    ('Jo', 'Kit')
    """
    count = None if people is None else read_people(people, "--people")
    listed = tuple(" ".join(name.split()) for name in (names or "").split(",") if name.strip())
    contact = " ".join((shore_contact or "").split())
    for where, text, most in (("--shore-contact", contact, _LONGEST), ("--names", ", ".join(listed), 2 * _LONGEST)):
        if len(text) > most:
            problem = f"has {len(text):,} characters, {most} are possible"
            raise InputError(where, problem, remedy="write names and numbers only")
    if count is not None and len(listed) > count:
        problem = f"names {len(listed)} persons, --people says {count}"
        raise InputError("--names", problem, remedy="count all aboard, the skipper too")
    due = None if overdue is None else read_overdue(overdue, arrive, zone, "--overdue")
    return Crew(people=count, names=listed, shore_contact=contact, overdue=due)
