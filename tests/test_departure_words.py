"""What is printed of a window of departures: the answer first, what closes it, no departure lost."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from oracles.small_world import make_boat, make_region

from routeplan.departure_words import (
    answer_lines,
    best_lines,
    bites_line,
    find_windows,
    fold_rows,
    still_line,
    tell_departures,
)
from routeplan.departures import Bite, Departure, Departures
from routeplan.fuel import FuelAboard
from routeplan.plan_words import PlanWords
from routeplan.trips import Trip
from routeplan.water_documents import departures_document

if TYPE_CHECKING:
    from collections.abc import Sequence

UTC_ZONE = ZoneInfo("UTC")
EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
TRIP = Trip(start="Home", finish="Far Bay", depart=EIGHT, aboard=FuelAboard(mean_l=80.0, sd_l=0.0, how="80 l"))
METRIC = PlanWords(make_boat(), UTC_ZONE, "EUR", 20.0)
US = PlanWords(make_boat(display_units="us"), UTC_ZONE, "EUR", 20.0)
DARK = Bite("dark", "Far Bay", 0.0)


def shut(minutes: float) -> Bite:
    return Bite("dock", "North Pump", minutes / 60)


def row(number: int, *bites: Bite, begin: datetime = EIGHT, **changes: Any) -> Departure:
    """Make the departure of a number, ten minutes apart; two hours, 40 l, 12.34 l above the reserve."""
    depart = begin + timedelta(minutes=10 * number)
    plain = {"time_h": 2.0, "fuel_l": 40.0, "least_margin_l": 12.34, "stops": (), "bites": bites}
    given = {**plain, **changes}
    given.setdefault("under_way_h", given["time_h"])
    return Departure(**{"depart": depart, "arrive": depart + timedelta(hours=given["time_h"]), **given})


def none(number: int, kind: Any) -> Departure:
    return row(number, Bite(kind, "", 0.0), arrive=None, time_h=0.0, fuel_l=0.0, least_margin_l=0.0)


def found(*rows: Departure, still: bool = False) -> Departures:
    return Departures(rows, still_water=still, cautions=("Call ahead.",))


@pytest.mark.parametrize(
    ("bite", "said"),
    [
        (Bite("slack", "Gull Race", 40 / 60), "slack water at Gull Race, waits 40 min"),
        (Bite("slack", "", 40 / 60), "slack water, waits 40 min"),
        (Bite("gate", "Low Span", 12 / 60), "Low Span shut, waits 12 min"),
        (shut(46), "North Pump shut, waits 46 min"),
        (Bite("daylight", "Heel Bay", 9.5), "night at Heel Bay"),
        (Bite("daylight", "Home", 0.5), "waits 30 min for light at Home"),
        (DARK, "dark at Far Bay"),
    ],
)
def test_a_bite_is_named_with_its_wait(bite: Bite, said: str) -> None:
    assert bites_line(row(0, bite)) == said
    assert bites_line(row(0, bite, DARK)) == f"{said}; dark at Far Bay"


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("daylight", "no plan: too little daylight"),
        ("dock", "no plan: docks are shut"),
        ("closed-dock", "no plan: the closed-dock rule can't be kept"),
        ("fuel", "no plan: the fuel doesn't suffice"),
    ],
)
def test_a_departure_without_a_plan_says_why(kind: str, said: str) -> None:
    assert bites_line(none(0, kind)) == said
    (line,) = answer_lines(found(none(0, kind), none(1, kind)), METRIC)
    assert line == f"No departure asked for has a plan: {said}."


def test_the_answer_is_the_window_its_stops_and_what_closes_it() -> None:
    stops = ("North Pump", "South Pump")
    rows = (row(0, shut(46)), *(row(i, stops=stops) for i in range(1, 5)), row(5, DARK))
    (line,) = answer_lines(found(*rows), METRIC)
    assert line == (
        "Leave between 08:10 and 08:40: stops at North Pump and South Pump, no waiting, least margin 12.3 l. "
        "Earlier: North Pump is shut; later: dark at Far Bay."
    )


def test_a_short_wait_beside_the_dark_is_not_what_closes_a_window() -> None:
    (line,) = answer_lines(found(row(0), row(1, shut(4), DARK)), METRIC)
    assert line == "Leave at 08:00: no stop, no waiting, least margin 12.3 l. Later: dark at Far Bay."


def test_a_window_over_all_departures_says_so_and_small_waits_are_not_hidden() -> None:
    (line,) = answer_lines(found(row(0, shut(4)), row(1)), METRIC)
    assert line == (
        "Leave between 08:00 and 08:10: no stop, hardly any waiting, least margin 12.3 l. "
        "That is every departure asked for."
    )


def test_stops_that_change_within_a_window_and_several_windows() -> None:
    rows = (row(0), row(1, stops=("North Pump",)), none(2, "fuel"), row(3), row(4, DARK))
    head, first, second = answer_lines(found(*rows), METRIC)
    assert head == "The plan holds in 2 windows."
    assert first == (
        "Leave between 08:00 and 08:10, no waiting, least margin 12.3 l: no stop; from 08:10 stops at North Pump. "
        "Later: no plan: the fuel doesn't suffice."
    )
    assert second.startswith("Leave at 08:30: no stop")
    assert second.endswith("Earlier: no plan: the fuel doesn't suffice; later: dark at Far Bay.")
    assert [len(window.holds) for window in find_windows(found(*rows))] == [2, 1]


def test_stops_that_change_often_are_left_to_the_table() -> None:
    rows = [row(i, stops=(f"Pump {i % 2}",)) for i in range(6)]
    (line,) = answer_lines(found(*rows), METRIC)
    assert "the stops change with the time of leaving, see the table" in line


def test_where_none_holds_each_cause_is_told_with_its_times_and_the_least_wait() -> None:
    rows = (row(0, shut(46)), row(1, shut(36)), none(2, "daylight"), row(3, DARK))
    lines = answer_lines(found(*rows), METRIC)
    assert lines == [
        "No departure asked for gets there without waiting or darkness.",
        "North Pump is shut (08:00 to 08:10).",
        "No plan: too little daylight (08:20).",
        "Dark at Far Bay (08:30).",
        "The least wait: leave at 08:30 (dark at Far Bay).",
    ]


def test_the_best_departures_are_told_from_five_minutes_and_a_litre_on() -> None:
    """Of 2 h and 1 h 55 min the difference is worth telling, of 1 h 56 min it isn't; so is a litre, and 0.9 l isn't."""
    assert best_lines(found(row(0), row(1, time_h=2 - 4 / 60, fuel_l=39.1)), METRIC) == []
    shorter = found(row(0), row(1, DARK, time_h=2 - 5.01 / 60, fuel_l=39.0))
    assert best_lines(shorter, METRIC) == [
        (
            "Shortest: leave at 08:10, 1 h 55 min (dark at Far Bay); where the plan holds: 08:00, 2 h 00 min; "
            "the longest takes 2 h 00 min."
        ),
        (
            "Thriftiest: leave at 08:10, 39.0 l (dark at Far Bay); where the plan holds: 08:00, 40.0 l; "
            "the thirstiest burns 40.0 l."
        ),
    ]
    assert best_lines(found(row(0), row(1, fuel_l=39.0)), US) == [
        "Thriftiest: leave at 08:10, 10.3 gal; the thirstiest burns 10.6 gal."
    ]
    assert best_lines(found(none(0, "fuel")), METRIC) == []


def test_alike_neighbours_fold_and_nothing_that_differs_does() -> None:
    """Three alike fold; a litre's tenth, a stop, a wait, holding, or a new day stands apart."""
    alike = [row(i) for i in range(3)]
    assert [(f.first.depart, f.last.depart) for f in fold_rows(found(*alike), METRIC)] == [
        (alike[0].depart, alike[2].depart)
    ]
    assert len(fold_rows(found(*alike[:2]), METRIC)) == 2
    for other in (
        {"fuel_l": 40.1},
        {"least_margin_l": 12.2},
        {"time_h": 2 + 1 / 60},
        {"stops": ("North Pump",)},
        {"bites": (shut(2),)},
    ):
        rows = [*alike, row(3, **other), *(row(i) for i in range(4, 7))]
        assert [f.first is f.last for f in fold_rows(found(*rows), METRIC)] == [False, True, False], other
    late = [row(i, begin=EIGHT.replace(hour=21, minute=30)) for i in range(6)]  # arrive 23:30 to 00:20
    assert [f.first.depart.minute for f in fold_rows(found(*late), METRIC)] == [30, 0]


def tabled(text: str) -> list[str]:
    lines = text.splitlines()
    begin = next(i for i, line in enumerate(lines) if "what bites" in line)
    return lines[begin + 1 : next(i for i in range(begin, len(lines)) if not lines[i])]


def all_rows() -> Sequence[Departure]:
    """Make a day that has everything."""
    evening = [row(i, DARK, begin=EIGHT.replace(hour=22)) for i in range(3)]
    return (
        *(row(i) for i in range(4)),
        row(4, shut(46), stops=("North Pump", "South Pump")),
        none(5, "dock"),
        *evening,
    )


def test_the_table_has_every_departure_at_80_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = tell_departures(found(*all_rows()), METRIC, TRIP)
    assert max(map(len, text.splitlines())) <= 80
    cells = [" ".join(line.split()) for line in tabled(text)]
    assert cells[:4] == [
        "+ 08:00 10:00 2 h 00 min 40.0 12.3",
        "+ to 08:30 10:30",
        "08:40 10:40 2 h 00 min 40.0 12.3 AB North Pump shut, waits",
        "46 min",
    ]
    assert cells[4] == "08:50 no plan: docks are shut"
    assert cells[5] == "22:00 Thu 00:00 2 h 00 min 40.0 12.3 dark at Far Bay"
    assert "A North Pump, B South Pump" in " ".join(text.split())


def test_the_answer_comes_first_and_cautions_last(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    text = tell_departures(found(*all_rows(), still=True), METRIC, TRIP)
    assert text.startswith("Leave between 08:00 and 08:30: no stop, no waiting")
    assert "A still-water plan: no current is reckoned with." in text
    assert "Paper Boat: Home to Far Bay. 9 departures, Wed 1 Jul 08:00 to 22:20 2026 (UTC), at 20 kn" in text
    assert text.endswith("Cautions:\n  - Call ahead.")
    assert still_line(found(row(0))) == ""
    assert "still-water" not in tell_departures(found(*all_rows()), METRIC, TRIP)


def test_the_document_has_units_moments_and_no_figures_without_a_plan() -> None:
    rows = (row(0, shut(30), stops=("North Pump",)), row(1), none(2, "fuel"))
    document = departures_document(found(*rows), make_region(), METRIC.boat, TRIP)
    json.dumps(document, allow_nan=False)
    assert document["schema"] == "routeplan/departures/1"
    head = {"currency": "EUR", "region": "Paper Water", "boat": "Paper Boat", "speed_kn": 20.0, "confidence": 0.9}
    assert {key: document[key] for key in head} == head
    assert (document["from"], document["to"], document["via"]) == ("Home", "Far Bay", [])
    assert document["departures"][0] == {
        "depart": "2026-07-01T08:00:00Z",
        "arrive": "2026-07-01T10:00:00Z",
        "time_h": 2.0,
        "under_way_h": 2.0,
        "fuel_l": 40.0,
        "least_margin_l": 12.34,
        "stops": ["North Pump"],
        "bites": [{"kind": "dock", "where": "North Pump", "wait_h": 0.5}],
        "holds": False,
    }
    without = document["departures"][2]
    assert [without[k] for k in ("arrive", "time_h", "under_way_h", "fuel_l", "least_margin_l")] == [None] * 5
    ten = "2026-07-01T08:10:00Z"
    assert document["holding"] == [{"first": ten, "last": ten, "stops": []}]
    assert document["soonest"] == document["shortest"] == document["thriftiest"] == "2026-07-01T08:00:00Z"
    assert document["still_water"] is False
    assert document["cautions"] == ["Call ahead."]
    nothing = departures_document(found(none(0, "fuel")), make_region(), METRIC.boat, TRIP)
    assert (nothing["soonest"], nothing["shortest"], nothing["thriftiest"], nothing["holding"]) == (
        None,
        None,
        None,
        [],
    )


def test_the_times_are_the_regions() -> None:
    """The Azores were an hour behind UTC in winter and none in summer time, 2026: 08:00 UTC is 07:00 on 1 January."""
    zone = ZoneInfo("Atlantic/Azores")
    winter = datetime(2026, 1, 1, 8, tzinfo=UTC)
    words = PlanWords(make_boat(), zone, "EUR", 20.0)
    (line,) = answer_lines(found(row(0, begin=winter), row(1, begin=winter)), words)
    assert line.startswith("Leave between 07:00 and 07:10")
