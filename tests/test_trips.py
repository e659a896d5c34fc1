"""Trips: what a skipper may ask for, and the departures that the clocks make impossible or double."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.fuel import FuelAboard
from routeplan.trips import Trip, read_departure

AZORES = ZoneInfo("Atlantic/Azores")
ABOARD = FuelAboard(mean_l=50, sd_l=1, how="stated")


def _trip(**changes: Any) -> Trip:
    return Trip(
        **({"start": "A", "finish": "B", "depart": datetime(2026, 7, 1, tzinfo=UTC), "aboard": ABOARD} | changes)
    )


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-07-01T08:00", "2026-07-01T08:00"),  # summer there is UTC
        ("2026-12-01T08:00", "2026-12-01T09:00"),  # winter is an hour less
        ("2026-12-01T08:00Z", "2026-12-01T08:00"),
        ("2026-12-01T08:00+02:00", "2026-12-01T06:00"),
        (" 2026-07-01 08:00 ", "2026-07-01T08:00"),
        ("2026-10-25T00:30+00:00", "2026-10-25T00:30"),  # the doubled hour, told apart by its offset
        ("2026-10-25T00:30-01:00", "2026-10-25T01:30"),
    ],
)
def test_times_without_an_offset_are_the_regions(text: str, utc: str) -> None:
    found = read_departure(text, AZORES, "--depart")
    assert found == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert found.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("2026-10-25T00:30", "twice"),  # at 01:00 back to 00:00
        ("2026-10-25T00:00", "twice"),
        ("2026-03-29T00:30", "skip"),  # at 00:00 on to 01:00
        ("2026-03-29T00:00", "skip"),
        ("yesterday", "date"),
        ("", "date"),
        ("2026-02-30T08:00", "date"),
        ("1969-12-31T12:00", "1970"),
        ("9999-12-31T23:59", "2199"),
        ("0001-01-01T00:00+05:00", "1970"),
    ],
)
def test_departures_that_are_none_are_refused(text: str, word: str) -> None:
    with pytest.raises(InputError) as caught:
        read_departure(text, AZORES, "--depart")
    assert word in str(caught.value)
    assert "--depart" in str(caught.value)


@pytest.mark.parametrize("text", ["2026-10-24T23:59", "2026-10-25T01:00", "2026-03-28T23:59", "2026-03-29T01:00"])
def test_times_beside_a_change_of_clocks_are_plain(text: str) -> None:
    read_departure(text, AZORES, "--depart")


@given(
    st.datetimes(datetime(1971, 1, 1), datetime(2198, 1, 1)),  # noqa: DTZ001  wall clocks
    st.sampled_from(["Atlantic/Azores", "UTC", "Australia/Lord_Howe", "America/St_Johns"]),
)
def test_a_time_read_shows_the_same_on_the_wall(moment: datetime, key: str) -> None:
    """Either refused for the clocks, or the wall shows what was asked for."""
    zone = ZoneInfo(key)
    try:
        found = read_departure(moment.isoformat(), zone, "--depart")
    except InputError:
        folds = {moment.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1)}
        assert len(folds) == 2
    else:
        assert found.astimezone(zone).replace(tzinfo=None, fold=0) == moment


@pytest.mark.parametrize(
    "changes",
    [
        {"depart": datetime(2026, 7, 1)},  # noqa: DTZ001  that is the fault
        {"confidence": 0.4},
        {"confidence": 0.9999},
        {"confidence": float("nan")},
        {"berthing_h": -1},
        {"berthing_h": float("inf")},
        {"tide": 1},
    ],
)
def test_a_trip_that_can_not_be_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        _trip(**changes)


def test_a_trip_can_not_be_changed() -> None:
    with pytest.raises(ValidationError):
        _trip().confidence = 0.5  # type: ignore[misc]
