"""Currents, sea, daylight and windows of departures on the command line: what is told, and what is refused."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from faces import Outcome, feature, run, square, write_boat, write_region_folder

from layers.errors import InputError
from routeplan.fuel import FuelAboard
from routeplan.saved_plans import read_plan
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
RACE = {"name": "The Race", "flood_deg": 90, "ebb_deg": 270, "mean_kn": 0.0}


def a_race(text: str, **more: Any) -> dict[str, Any]:
    """Make a current that runs east and west over all of the small waters."""
    return feature(square(-39.0, 44.0, -38.0, 45.0), **{**RACE, "constituents": text, **more})


@pytest.fixture(scope="module")
def waters(tmp_path_factory: pytest.TempPathFactory, cache_with_demo: Path) -> Callable[..., Callable[..., Outcome]]:
    """Write the small waters with some current, and ask for passages from West Mark to East Mark on them."""

    def on(*currents: dict[str, Any], speeds: tuple[tuple[str, str], ...] = ()) -> Callable[..., Outcome]:
        folder = tmp_path_factory.mktemp("waters")
        region = write_region_folder(folder / "region", {"currents": list(currents)} if currents else None)
        boat = write_boat(folder / "boat.toml", *speeds)

        def ask(*more: object, depart: str | None = "2026-07-01T08:00Z") -> Outcome:
            words = ["passage", "West Mark", "East Mark", "--region", region, "--boat", boat, "--aboard", "full"]
            when = [] if depart is None else ["--depart", depart]
            return run(*words, "--no-log", *when, *more, cache=cache_with_demo, now=NOON)

        return ask

    return on


@pytest.fixture(scope="module")
def fair(waters: Callable[..., Callable[..., Outcome]]) -> Callable[..., Outcome]:
    """Ask where 2 knots set east all the time: with the boat."""
    return waters(a_race("S2 0.0 0", mean_kn=2.0))


def hours(plan: dict[str, Any]) -> float:
    """[h] From leaving to arriving."""
    ends = [datetime.fromisoformat(plan[key]) for key in ("depart", "arrive")]
    return (ends[1] - ends[0]) / timedelta(hours=1)


def test_a_fair_stream_is_told_leg_by_leg_and_left_out_when_asked(fair: Callable[..., Outcome]) -> None:
    """20 knots through the water and 2 with her are 22 over the ground, but for what the legs lie off east and west."""
    moved, still = (fair("--json", *more).document["plans"][0] for more in ((), ("--still-water",)))
    assert (moved["still_water"], still["still_water"]) == (False, True)
    for leg in moved["legs"]:
        if leg["kind"] != "leg":
            continue
        along, across = (2 * f(math.radians(90 - leg["course_deg"])) for f in (math.cos, math.sin))
        assert leg["ground_kn"] == pytest.approx(along + math.sqrt(leg["speed_kn"] ** 2 - across**2), abs=0.02)
        assert (round(leg["set_deg"]), round(leg["drift_kn"], 2)) == (90, 2.0)
        off = leg["speed_kn"] * math.sin(math.radians(leg["steer_deg"] - leg["course_deg"])) + across
        assert off == pytest.approx(0, abs=0.05)
    assert all(leg["drift_kn"] is None for leg in still["legs"])
    assert hours(moved) / hours(still) == pytest.approx(20 / 22, rel=0.01)
    assert moved["fuel_l"] / still["fuel_l"] == pytest.approx(20 / 22, rel=0.01)
    assert [met["name"] for met in moved["streams"]] == ["The Race"]


def test_what_is_reckoned_with_is_said(fair: Callable[..., Outcome]) -> None:
    said = {name: " ".join(fair(*more).out.split()) for name, more in {
        "moving": (), "still": ("--still-water",), "sea": ("--still-water", "--sea", "W 0.5m"),
    }.items()}  # fmt: skip
    assert "The Race" in said["moving"]
    assert "Currents are predictions" in said["moving"]
    assert "Still water" in said["still"]
    assert "Currents are known in this region, but were left out as asked" in said["still"]
    assert "an allowance for the sea as entered" in said["sea"]


def test_a_head_sea_takes_speed_and_a_following_one_less(fair: Callable[..., Outcome]) -> None:
    calm, head, following = (
        fair("--still-water", "--json", *more).document["plans"][0]
        for more in ((), ("--sea", "E 0.4m"), ("--sea", "W 0.4m"))
    )
    assert hours(calm) < hours(following) < hours(head)
    assert calm["fuel_l"] < following["fuel_l"] < head["fuel_l"]


def test_slack_is_waited_for_where_the_boat_lies(waters: Callable[..., Callable[..., Outcome]]) -> None:
    """18 knots at 00:00 and 12:00 UTC turn at 3 and 9 o'clock: at 8 kn nobody gets on against them."""
    race = feature(square(-38.55, 44.0, -38.45, 45.0), **{**RACE, "constituents": "S2 18 180"})
    slow = (
        ("cruising_speed_kn = 20", "cruising_speed_kn = 8"),
        ("capacity_l = 100", "capacity_l = 300"),
        ("full_mark_l = 95", "full_mark_l = 285"),
    )
    ask = waters(race, speeds=slow)
    outcome = ask("--json", depart="2026-07-01T20:30Z")
    assert outcome.code == 0, outcome.err
    (wait,) = outcome.document["plans"][0]["waits"]
    assert wait["gate"] == "slack water at The Race"
    assert wait["at"] == "West Mark"
    assert round(wait["wait_h"] * 6, 3) % 1 == 0  # in steps of ten minutes
    assert "slack water at The Race" in " ".join(ask(depart="2026-07-01T20:30Z").out.split())


def test_a_current_that_never_lets_her_through_is_named(waters: Callable[..., Callable[..., Outcome]]) -> None:
    ask = waters(feature(square(-38.55, 44.0, -38.45, 45.0), **{**RACE, "constituents": "S2 0 0", "mean_kn": -15}))
    outcome = ask("--speed", "8")
    assert outcome.code == 3
    said = " ".join(outcome.out.split())
    assert "the current of The Race is faster than Plain Test can stem" in said
    assert "doesn't open in the days ahead" in said


def test_legs_keep_to_daylight_and_the_night_is_told(fair: Callable[..., Outcome]) -> None:
    """A start an hour before sunset waits for the morning; after civil dusk less so."""
    plan = fair("--daylight", "--json", depart="2026-07-01T21:00Z").document["plans"][0]
    (wait,) = plan["waits"]
    assert wait["gate"] == "daylight"
    assert datetime.fromisoformat(plan["legs"][0]["depart"]).hour in {6, 7}
    early, later = (
        fair("--daylight", *kind, "--json", depart="2026-07-01T05:00Z").document["plans"][0]["waits"][0]["wait_h"]
        for kind in (("civil",), ())
    )
    assert early < later - 0.3  # twilight begins half an hour and more before sunrise


def test_a_window_of_departures_is_told_and_drawn(fair: Callable[..., Outcome], tmp_path: Path) -> None:
    page = tmp_path / "leave.html"
    outcome = fair("--depart-between", "08:00", "09:00", "--picture", page, depart=None)
    assert outcome.code == 0, outcome.err
    assert outcome.out.startswith("Leave between 08:00 and 09:00")
    assert "<svg" in page.read_text()
    document = fair("--depart-between", "08:00", "09:00", "--json", depart=None).document
    assert document["schema"] == "routeplan/departures/1"
    assert len(document["departures"]) == 7
    assert document["departures"][0]["depart"] == "2026-06-30T08:00:00Z"  # today, in the region's time


def test_a_window_without_any_plan_leaves_with_three(fair: Callable[..., Outcome]) -> None:
    outcome = fair("--depart-between", "08:00", "08:20", "--aboard", "20l", "--closed-dock", "off", depart=None)
    assert outcome.code == 3
    assert "no plan" in outcome.out.casefold()


def test_a_plan_in_currents_is_kept_and_read_again(fair: Callable[..., Outcome], tmp_path: Path) -> None:
    kept = tmp_path / "plan.json"
    assert fair("--save", kept, "--daylight", "--hours-per-day", "9h").code == 0
    saved = read_plan(kept)
    assert not saved.plan.still_water
    assert (saved.trip.daylight, saved.trip.hours_per_day_h) == ("sun", 9.0)
    assert saved.plan.streams[0].name == "The Race"


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--sea", "Q 4ft"), ("--sea", "point of the compass")),
        (("--sea", "W"), ("--sea", "how high")),
        (("--sea", "W 5m"), ("--sea", "a quarter of Plain Test's length")),
        (("--sea", "none.csv"), ("none.csv", "no such file")),
        (("--currents", "none.nc"), ("none.nc", "no such file")),
        (("--currents", "chart.png"), ("chart.png", "give CF NetCDF")),
        (("--still-water", "--currents", "x.nc"), ("--still-water", "--currents")),
        (("--daylight=moon",), ("--daylight", "'moon'", "sun or civil")),
        (("--hours-per-day", "7h"), ("--hours-per-day", "--daylight")),
        (("--daylight", "--hours-per-day", "25h"), ("--hours-per-day", "24 hours", "25h")),
        (("--daylight", "--hours-per-day", "7"), ("--hours-per-day",)),
        (("--depart-between", "06:00", "07:00"), ("--depart-between", "--depart")),
        (("--picture", "x.html"), ("--picture", "--depart-between")),
    ],
)
def test_bad_input_is_one_clear_line(
    fair: Callable[..., Outcome], words: tuple[str, ...], parts: tuple[str, ...]
) -> None:
    outcome = fair(*words)
    assert outcome.code == 2, outcome
    assert outcome.out == ""
    assert len(outcome.said.splitlines()) == 1
    for part in parts:
        assert part in outcome.said


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--depart-between", "14:00", "06:00"), ("--depart-between", "ends before it begins", "14:00 06:00")),
        (("--depart-between", "2026-07-01T00:00", "2026-07-04T00:00"), ("--depart-between", "48 hours")),
        (("--depart-between", "6 o'clock", "07:00"), ("--depart-between",)),
        (("--depart-between", "06:00", "07:00", "--map", "x.html"), ("--map", "--depart-between")),
        (("--depart-between", "06:00", "07:00", "--show", "all"), ("--show", "--depart-between")),
    ],
)
def test_a_bad_window_is_one_clear_line(
    fair: Callable[..., Outcome], words: tuple[str, ...], parts: tuple[str, ...]
) -> None:
    outcome = fair(*words, depart=None)
    assert outcome.code == 2, outcome
    assert outcome.out == ""
    for part in parts:
        assert part in outcome.said


def test_hours_per_day_without_daylight_is_refused_of_a_trip_too() -> None:
    with pytest.raises(InputError, match="--daylight"):
        Trip(start="A", finish="B", depart=NOON, aboard=FuelAboard(mean_l=1, sd_l=0, how="x"), hours_per_day_h=7.0)
