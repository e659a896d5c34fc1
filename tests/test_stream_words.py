"""What is said of currents, waits and days: the tide that runs, slack on both sides, the nights of a plan."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from faces import LEAVES, a_plan, a_stop, write_boat

from routeplan.boats import read_boat
from routeplan.gate_waits import DAYLIGHT, SLACK
from routeplan.plan_words import PlanWords
from routeplan.plans import StreamMet, TurnTold, Wait
from routeplan.stream_words import stream_runs
from routeplan.words import runs_in_current, shown_current, waits_for_light, waits_for_slack

if TYPE_CHECKING:
    from routeplan.plans import Leg

TURNS = (("slack", 5, 25, 0.0), ("ebb", 8, 47, 2.77), ("slack", 12, 5, 0.0), ("flood", 15, 2, 2.29))


@pytest.fixture(scope="module")
def words(tmp_path_factory: pytest.TempPathFactory) -> PlanWords:
    """Speak for the plain boat, metric, at 20 kn; in July the region's clock is UTC."""
    boat = read_boat(write_boat(tmp_path_factory.mktemp("words") / "boat.toml"))
    return PlanWords(boat, ZoneInfo("Atlantic/Azores"), "EUR", 20.0)


def at(hour: int, minute: int = 0, day: int = 1) -> datetime:
    return datetime(2026, 7, day, hour, minute, tzinfo=UTC)


def stream(enter: datetime, leave: datetime, *turns: tuple[Any, int, int, float], **changes: Any) -> StreamMet:
    told = tuple(TurnTold(kind=kind, at=at(hour, minute), speed_kn=kn) for kind, hour, minute, kn in turns)
    plain = {"name": "Vindelsay Strait", "position": (-36.4, 44.5), "set_deg": 185.0, "drift_kn": 2.76}
    return StreamMet(**{**plain, "enter": enter, "leave": leave, "turns": told, **changes})


def leg(**changes: Any) -> Leg:
    return a_plan().legs[0].model_copy(update=changes)


IN_CURRENT = {"steer_deg": 96.2, "ground_kn": 21.96, "set_deg": 4.6, "drift_kn": 2.62}


# Currents


def test_a_current_is_told_with_its_tide_and_the_slack_on_both_sides(words: PlanWords) -> None:
    met = stream(at(8, 55), at(8, 57), *TURNS)
    assert words.stream_line(met) == (
        "Vindelsay Strait, 08:55 to 08:57: ebb 2.8 kn setting 185; slack 05:25 and 12:05; strongest 08:47 (2.8 kn)"
    )
    assert words.stream_texts(met) == [
        "Ebb 2.8 kn setting 185 true",
        "In it Wed 1 Jul 08:55 to 08:57",
        "Slack 05:25 and 12:05; strongest 08:47 (2.8 kn)",
    ]


@pytest.mark.parametrize(
    ("enter", "leave", "runs", "slack"),
    [
        (at(11, 50), at(12, 0), "ebb", "slack 05:25 and 12:05"),
        (at(12, 10), at(12, 30), "flood", "slack 12:05; strongest 15:02"),  # the slack after it isn't known
        (at(4, 0), at(4, 30), "", "slack 05:25"),  # nothing is known of the tide before the first slack
        (at(11, 0), at(13, 0), "", "slack 05:25 and 12:05"),  # it turns while she is in it: no one name is right
    ],
)
def test_a_tide_is_named_only_while_it_is_the_only_one(
    words: PlanWords, enter: datetime, leave: datetime, runs: str, slack: str
) -> None:
    met = stream(enter, leave, *TURNS)
    assert stream_runs(met) == runs
    assert words.stream_runs(met).startswith(runs or "up to")
    assert words.turns_line(met).startswith(slack)


def test_gridded_currents_have_no_turns_to_tell(words: PlanWords) -> None:
    met = stream(at(23, 50), at(0, 20, day=2), name="currents.nc")
    assert words.stream_line(met) == "currents.nc, 23:50 to Thu 00:20: up to 2.8 kn setting 185"


def test_a_plan_says_whether_the_water_stood_still(words: PlanWords) -> None:
    met = stream(at(8, 55), at(8, 57), *TURNS)
    for plan, said in (
        (a_plan(), "Still water: no current is allowed for"),
        (a_plan(still_water=False), "Currents: the track meets none of those that are known"),
        (
            a_plan(still_water=False, streams=(met,)),
            "Currents met, as predicted: Vindelsay Strait 08:55, ebb 2.8 kn setting 185",
        ),
    ):
        assert words.water_line(plan) == words.summary_lines(plan)[-1] == said
        assert len(words.water_lines(plan)) == 1 + len(plan.streams)


def test_a_leg_in_a_current_says_what_to_steer_and_what_is_made_good(words: PlanWords) -> None:
    """90.0 by the track, 96.2 by the compass, 21.96 kn over the ground: all to the nearest."""
    lines = words.leg_lines(leg(**IN_CURRENT))
    assert lines[0] == "Steer 096 true to keep the track of 090, 37.0 nmi at 20 kn"
    assert lines[1] == "The current sets 005 at 2.6 kn: 22.0 kn over the ground"
    assert words.leg_lines(leg())[0] == "Steer 090 true, 37.0 nmi at 20 kn"


def test_a_current_that_would_be_shown_as_nothing_is_not_told(words: PlanWords) -> None:
    weak = leg(**{**IN_CURRENT, "drift_kn": 0.04})
    assert not runs_in_current(weak)
    assert "current" not in "\n".join(words.leg_lines(weak))
    assert runs_in_current(leg(**{**IN_CURRENT, "drift_kn": 0.05}))
    assert shown_current(leg()) == ""


# Waits


def test_waits_say_what_for(words: PlanWords) -> None:
    for gate, wait_h, said in (
        ("Inner Bridge", 0.7, "Lie at West Mark for 42 min, until Wed 1 Jul 12:05: Inner Bridge is shut before"),
        ("", 2.0, "Lie at or close to West Mark for 2 h 00 min, until Wed 1 Jul 12:05: the group leaves then"),
        (f"{SLACK} at The Race", 2 / 3, "Wait 40 min at West Mark for slack water at The Race, until Wed 1 Jul 12:05"),
        ("slack water", 2 / 3, "Wait 40 min at West Mark for slack water, until Wed 1 Jul 12:05"),
        (DAYLIGHT, 4.9, "Wait 4 h 54 min at West Mark for daylight, until Wed 1 Jul 12:05"),
        (DAYLIGHT, 9.0, "Night at West Mark, 9 h 00 min: leave Wed 1 Jul 12:05"),
    ):
        wait = Wait(at="West Mark", until=at(12, 5), wait_h=wait_h, gate=gate)
        assert words.wait_line(wait) == said
        assert waits_for_light(wait) == (gate == DAYLIGHT)
        assert waits_for_slack(wait) == gate.startswith("slack")


# Days


def two_days(lies: timedelta, **changes: Any) -> Any:
    first = leg(to="Corrow Lee", depart=LEAVES, arrive=LEAVES + timedelta(hours=15))
    second = leg(from_="Corrow Lee", depart=first.arrive + lies, arrive=first.arrive + lies + timedelta(hours=1))
    return a_plan(legs=(first, second), **changes)


def test_a_plan_of_one_day_has_no_days(words: PlanWords) -> None:
    assert words.day_lines(a_plan()) == []


def test_each_day_has_hours_miles_fuel_and_its_night(words: PlanWords) -> None:
    """Both legs of 37 nmi and 74 l; the first from 8 to 23, then 9 h at Corrow Lee."""
    assert words.day_lines(two_days(timedelta(hours=9))) == [
        (
            "Wed 1 Jul 08:00 to 23:00, 15 h 00 min: 37.0 nmi, burns 74.0 l; "
            "night at Corrow Lee, there with 58.0 l, low 55.0 l"
        ),
        "Thu 2 Jul 08:00 to 09:00, 1 h 00 min: 37.0 nmi, burns 74.0 l; then at East Mark",
    ]
    fills = a_stop(dock="Corrow Lee", arrive=LEAVES + timedelta(hours=15))
    assert "low 55.0 l, and fills" in words.day_lines(two_days(timedelta(hours=9), stops=(fills,)))[0]


def test_a_night_without_rest_is_not_called_one(words: PlanWords) -> None:
    assert words.day_lines(two_days(timedelta(hours=2)))[0].endswith("; only 2 h 00 min at Corrow Lee")
    through = a_plan(
        legs=(
            leg(to="turn 1", arrive=LEAVES + timedelta(hours=17)),
            leg(depart=LEAVES + timedelta(hours=17), arrive=LEAVES + timedelta(hours=18)),
        )
    )
    assert words.day_lines(through)[0].endswith("; under way at midnight")
