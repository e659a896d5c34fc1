"""A group cruise as tables for a spreadsheet: the timeline, the fills, the docks to call, the roll.

CSV after RFC 4180: commas, CRLF, quotes where they are needed. Times twice, in UTC with a Z and by the region's clock;
volumes in litres. A text that a spreadsheet would take for a formula gets an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from layers.routes import plain_name, utc_text
from layers.xml_text import decimal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from routeplan.cruise_words import CruiseWords
    from routeplan.cruises import Fuel

__all__ = ["calls_csv", "fills_csv", "roll_csv", "timeline_csv"]

_TIMELINE = ("when", "local", "day", "leg", "what", "place", "boats", "gasoline_l", "diesel_l")
_FILLS = (
    *("boat", "stop", "dock", "day", "arrive", "arrive_local", "begin", "begin_local", "end", "end_local", "wait_min"),
    *("fuel", "pump", "take_l", "aboard_l", "aboard_low_l", "margin_low_l", "cost", "currency"),
)
_CALLS = (
    *("dock", "vhf", "phone", "hours", "confirmed_on", "stop", "day", "first_boat", "first_boat_local", "last_away"),
    *("last_away_local", "boats", "gasoline_l", "diesel_l", "gasoline_pumps", "diesel_pumps", "pumps_known"),
    *("pump_lpm", "closes", "closes_local", "if_closed"),
)
_ROLL = ("boat", "contact", "people", "fuel", "party", "stops", "leave", "leave_local", "arrive", "arrive_local")


def timeline_csv(words: CruiseWords) -> str:
    """Write what happens when.

    Parameters
    ----------
    words
        What is said of the cruise.

    Returns
    -------
    CSV, a row for each leaving, stop for fuel and gathering, in the order of time.
    """
    plan, count = words.plan, len(words.plan.boats)
    nothing: dict[Fuel, str] = {"gasoline": "", "diesel": ""}
    events = []
    for leg in plan.legs:
        events.append((leg.depart, leg.day, leg.number, "leave", leg.from_, count, nothing))
        events.append((leg.first_in, leg.day, leg.number, "first boat in", leg.to, 1, nothing))
        events.append((leg.last_in, leg.day, leg.number, "last boat in", leg.to, count, nothing))
    for stop in plan.stops:
        wanted = {fuel: decimal(litres, 1) for fuel, litres in stop.total_l.items()}
        boats = len(stop.boats)
        events.append((stop.arrive, stop.day, stop.leg, "first boat at fuel", stop.dock, boats, {**nothing, **wanted}))
        events.append((stop.depart, stop.day, stop.leg, "last boat fuelled", stop.dock, boats, nothing))
    suns = [(day, day.sunset) for day in plan.days if day.sunset is not None]
    events += [(sunset, day.number, 0, "sunset", day.to, count, nothing) for day, sunset in suns]
    rows = [
        [*_times(words, when), str(day), str(leg or ""), what, place, str(boats), fuel["gasoline"], fuel["diesel"]]
        for when, day, leg, what, place, boats, fuel in sorted(events, key=lambda event: event[0])
    ]
    return _written(_TIMELINE, rows)


def fills_csv(words: CruiseWords) -> str:
    """Write who fills where, when and how much.

    Parameters
    ----------
    words
        What is said of the cruise.

    Returns
    -------
    CSV, a row for each boat at each stop, in the order of the turns.
    """
    rows = [
        [
            turn.boat,
            str(stop.number),
            stop.dock,
            str(stop.day),
            *_times(words, turn.arrive),
            *_times(words, turn.begin),
            *_times(words, turn.end),
            decimal(turn.wait_min, 1),
            turn.fuel,
            str(turn.pump),
            decimal(turn.take_l, 1),
            decimal(turn.aboard_l, 1),
            decimal(turn.aboard_low_l, 1),
            decimal(turn.margin_low_l, 1),
            "" if turn.cost is None else decimal(turn.cost, 2),
            words.currency,
        ]
        for stop in words.plan.stops
        for turn in stop.boats
    ]
    return _written(_FILLS, rows, figures={"wait_min", "aboard_low_l", "aboard_l", "margin_low_l"})


def calls_csv(words: CruiseWords) -> str:
    """Write whom to call before leaving.

    Parameters
    ----------
    words
        What is said of the cruise.

    Returns
    -------
    CSV, a row for each stop, those at one dock together.
    """
    rows = [
        [
            stop.dock,
            stop.vhf or "",
            stop.phone or "",
            stop.hours or "",
            stop.confirmed_on or "",
            str(stop.number),
            str(stop.day),
            *_times(words, stop.arrive),
            *_times(words, stop.depart),
            str(len(stop.boats)),
            decimal(stop.total_l.get("gasoline", 0.0), 1),
            decimal(stop.total_l.get("diesel", 0.0), 1),
            str(stop.pumps.get("gasoline", 0)),
            str(stop.pumps.get("diesel", 0)),
            "yes" if stop.pumps_known else "no",
            decimal(stop.pump_lpm, 1),
            *(("", "") if stop.closes is None else _times(words, stop.closes)),
            "; ".join(words.closed_lines(stop)),
        ]
        for _, stops in words.calls()
        for stop in stops
    ]
    return _written(_CALLS, rows)


def roll_csv(words: CruiseWords) -> str:
    """Write the roll: all boats, how to call them, who is aboard.

    Parameters
    ----------
    words
        What is said of the cruise.

    Returns
    -------
    CSV, a row for each boat in the order of the cruise's file.
    """
    plan = words.plan
    rows = []
    for boat in plan.boats:
        people = words.people(boat.boat)
        stops = [str(stop.number) for stop in plan.stops if any(turn.boat == boat.boat for turn in stop.boats)]
        rows.append(
            [
                boat.boat,
                words.contact(boat.boat),
                "" if people is None else str(people),
                boat.fuel,
                str(boat.party),
                " ".join(stops),
                *_times(words, boat.plan.depart),
                *_times(words, boat.plan.arrive),
            ]
        )
    return _written(_ROLL, rows)


def _times(words: CruiseWords, moment: datetime) -> tuple[str, str]:
    """Write a moment in UTC, and as the region's clock shows it with its offset."""
    local = moment.astimezone(words.zone)
    return utc_text(moment), local.isoformat(sep=" ", timespec="minutes")


def _written(
    head: Sequence[str], rows: Iterable[Sequence[str]], figures: frozenset[str] | set[str] = frozenset()
) -> str:
    """Write a table; columns of figures may begin with a minus."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow([cell if name in figures else _text(cell) for name, cell in zip(head, row, strict=True)])
    return out.getvalue()


def _text(text: str) -> str:
    plain = plain_name(text)
    return f"'{plain}" if plain[:1] in ("=", "+", "-", "@") else plain
