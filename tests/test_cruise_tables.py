"""A group cruise as CSV: read back by the csv module, and safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import cruise_samples as samples
import pytest

from routeplan.cruise_tables import calls_csv, fills_csv, roll_csv, timeline_csv
from routeplan.cruise_words import CruiseWords

if TYPE_CHECKING:
    from collections.abc import Callable

ALL = (timeline_csv, fills_csv, calls_csv, roll_csv)


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("write", ALL)
def test_tables_are_rfc_4180(write: Callable[[CruiseWords], str]):
    """RFC 4180, 2: lines end with CRLF, every one has as many fields."""
    text = write(samples.words())
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n")
    assert len({len(row) for row in csv.reader(io.StringIO(text, newline=""))}) == 1


def test_fills_tell_each_turn_in_litres_and_both_clocks():
    second = rows(fills_csv(samples.words()))[1]
    expected = {
        "boat": "Half Promise",
        "stop": "1",
        "dock": "Mirrowick Pier Pump",
        "day": "1",
        "arrive": "2026-07-02T12:12:00Z",
        "begin": "2026-07-02T12:31:00Z",
        "begin_local": "2026-07-02 12:31+00:00",
        "wait_min": "19",
        "fuel": "gasoline",
        "take_l": "179.1",
        "aboard_l": "165.4",
        "aboard_low_l": "151.2",
        "margin_low_l": "103.5",
        "cost": "374.32",
        "currency": "EUR",
    }
    assert {key: second[key] for key in expected} == expected
    assert len(rows(fills_csv(samples.words()))) == 9


def test_a_margin_under_the_reserve_stays_a_number():
    plan = samples.cruise()
    turn = plan.stops[1].boats[0].model_copy(update={"margin_low_l": -3.2, "cost": None})
    stops = (plan.stops[0], plan.stops[1].model_copy(update={"boats": (turn,)}), plan.stops[2])
    row = rows(fills_csv(samples.words(stops=stops)))[3]
    assert (row["margin_low_l"], row["cost"]) == ("-3.2", "")


def test_the_timeline_is_in_order_and_ends_days_with_the_sun():
    found = rows(timeline_csv(samples.words()))
    assert [row["when"] for row in found] == sorted(row["when"] for row in found)
    assert [row["what"] for row in found if row["day"] == "1"] == [
        "leave",
        "first boat at fuel",
        "last boat fuelled",
        "first boat in",
        "last boat in",
        "sunset",
    ]
    (third,) = [row for row in found if row["what"] == "first boat at fuel" and row["place"] == "Rostermay Fuel Dock"]
    assert (third["boats"], third["gasoline_l"], third["diesel_l"]) == ("5", "318.9", "646.5")


def test_calls_have_all_that_is_asked_of_a_dock():
    third = rows(calls_csv(samples.words()))[2]
    expected = {
        "dock": "Rostermay Fuel Dock",
        "vhf": "12",
        "phone": "555 0199",
        "hours": "Mo-Sa 07:00-18:00; Su 09:00-13:00",
        "first_boat": "2026-07-03T11:38:00Z",
        "last_away": "2026-07-03T13:24:00Z",
        "boats": "5",
        "gasoline_l": "318.9",
        "diesel_l": "646.5",
        "gasoline_pumps": "1",
        "diesel_pumps": "1",
        "pumps_known": "no",
        "if_closed": (
            "Ettermoy Fuel Quay: all; tightest Tall Order, 20.7 imp gal left (low), 20.4 imp gal into the reserve, "
            "16.3 imp gal of it usable"
        ),
    }
    assert {key: third[key] for key in expected} == expected


def test_the_roll_counts_every_boat():
    found = rows(roll_csv(samples.words()))
    assert [row["boat"] for row in found] == [boat.name for boat in samples.boats()]
    assert [row["people"] for row in found] == ["4", "3", "2", "", "5", "2"]
    assert [row["party"] for row in found] == ["1", "1", "1", "1", "1", "2"]
    assert found[0]["stops"] == "1 3"


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2", "@sum(a)", "\t=1+1", "\r\n=1"])
def test_no_cell_is_a_formula(name: str):
    """A spreadsheet computes a cell that begins with = + - or @; blanks before it don't save it."""
    boats = tuple(boat.model_copy(update={"contact": name}) for boat in samples.boats())
    plan = samples.cruise()
    stops = tuple(stop.model_copy(update={"dock": name, "phone": name, "alternate": name}) for stop in plan.stops)
    turns = tuple(
        stop.model_copy(update={"boats": tuple(t.model_copy(update={"boat": name}) for t in stop.boats)})
        for stop in stops
    )
    words = CruiseWords(plan.model_copy(update={"stops": turns}), boats, samples.ZONE, "EUR")
    for write in ALL:
        for row in rows(write(words)):
            for cell in row.values():
                assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (write.__name__, row)


def test_a_contact_with_a_comma_quote_or_line_end_comes_back_on_one_line():
    boats = (samples.boats()[0].model_copy(update={"contact": 'Ann, "the boss"\nVHF 8'}), *samples.boats()[1:])
    words = CruiseWords(samples.cruise(), boats, samples.ZONE, "EUR")
    assert rows(roll_csv(words))[0]["contact"] == 'Ann, "the boss" VHF 8'
