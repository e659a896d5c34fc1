"""Persons, contact and the time from which a boat is overdue, as typed."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from layers.errors import InputError
from routeplan.crews import read_crew, read_overdue, read_people

ARRIVE = datetime(2026, 7, 1, 22, 30, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Lisbon")  # 23:30 there, in summer


def test_overdue_is_a_length_of_time_a_time_or_a_moment() -> None:
    """23:30 local and 90 minutes are 01:00; 01:00 as a time is the first after arriving, on the next day."""
    due = datetime(2026, 7, 2, 0, 0, tzinfo=UTC)
    for text in ("90min", "1h30", "1:00", "01:00", "2026-07-02T01:00"):
        assert read_overdue(text, ARRIVE, ZONE, "--overdue") == due


@pytest.mark.parametrize("text", ["0h", "-2h", "2026-07-01T20:00", "2026-08-01T20:00", "1000h", "soon", "25:00", ""])
def test_overdue_that_cannot_be_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(InputError) as error:
        read_overdue(text, ARRIVE, ZONE, "--overdue")
    assert "\n" not in str(error.value)
    assert "--overdue" in str(error.value)


@pytest.mark.parametrize("text", ["5min", "23:40", "12:00", "20:00", "2026-07-01T23:44"])
def test_overdue_minutes_after_arriving_or_the_next_noon_is_a_slip(text: str) -> None:
    """She arrives at 23:30 local: sooner than 23:45, or a bare time past 11:30, which hides a day."""
    with pytest.raises(InputError, match=r"must be 15 min to (12|72) h after the planned arrival, 2026-07-01T23:30"):
        read_overdue(text, ARRIVE, ZONE, "--overdue")
    assert read_overdue("23:45", ARRIVE, ZONE, "--overdue") == datetime(2026, 7, 1, 22, 45, tzinfo=UTC)
    assert read_overdue("2026-07-02T20:00", ARRIVE, ZONE, "--overdue") == datetime(2026, 7, 2, 19, 0, tzinfo=UTC)


@pytest.mark.parametrize("text", ["0", "101", "-1", "four", "2.5", "\u0664", "9999999999"])
def test_people_are_a_whole_number_from_1_to_100(text: str) -> None:
    with pytest.raises(InputError, match="--people"):
        read_people(text, "--people")


def test_names_are_parted_at_commas_and_no_more_than_people() -> None:
    crew = read_crew("2", " Ann \n 555 ", None, arrive=ARRIVE, zone=ZONE, names="Jo  S, , Kit")
    assert (crew.names, crew.shore_contact, crew.people) == (("Jo S", "Kit"), "Ann 555", 2)
    with pytest.raises(InputError, match="--names"):
        read_crew("1", None, None, arrive=ARRIVE, zone=ZONE, names="Jo, Kit")


def test_contact_of_a_novel_is_refused() -> None:
    with pytest.raises(InputError, match="--shore-contact"):
        read_crew(None, "x" * 201, None, arrive=ARRIVE, zone=ZONE)
