"""`underway` and `plan` from outside: a day with a stop, papers whole or not at all, and bad input in one line."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from shutil import copytree
from typing import TYPE_CHECKING, Any

import pytest
from faces import Outcome, run, write_boat, write_region_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
EVENING = datetime(2026, 7, 1, 20, tzinfo=UTC)
LEAVES = "2026-07-01T08:00"


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory, cache_with_demo: Path) -> Callable[..., Outcome]:
    """Run `routeplan` on the small waters at noon of 30 June, or in the evening of 1 July."""
    folder = tmp_path_factory.mktemp("day")
    write_region_folder(folder / "region", {})
    write_boat(folder / "boat.toml")

    def at(*words: object, now: datetime = EVENING) -> Outcome:
        return run(*words, cache=cache_with_demo, now=now)

    at.folder = folder  # type: ignore[attr-defined]
    return at


@pytest.fixture(scope="module")
def folder(day: Any) -> Path:
    found: Path = day.folder
    return found


@pytest.fixture(scope="module")
def plan(day: Callable[..., Outcome], folder: Path) -> Path:
    """Plan from West Mark to East Mark on 60 l, a fill at North Pump on the way, with all papers."""
    waters = ("--region", folder / "region", "--boat", folder / "boat.toml")
    papers = ("--save", folder / "plan.json", "--sheet", folder / "sheet.html", "--people", "3")
    routes = ("--route", folder / "run.gpx", "--route", folder / "run.rtz", "--short-names", "8")
    asked = (
        "passage",
        "West Mark",
        "East Mark",
        *waters,
        "--aboard",
        "60l",
        "--depart",
        LEAVES,
        "--closed-dock",
        "off",
    )
    outcome = day(*asked, *papers, *routes, now=NOON)
    assert outcome.code == 0, outcome.err
    assert all((folder / name).exists() for name in ("plan.json", "sheet.html", "run.gpx", "run.rtz"))
    assert "Names in the route:" in outcome.err
    assert "Names in the route:" not in outcome.out
    return folder / "plan.json"


def look(day: Callable[..., Outcome], plan: Path, at: str, *more: object) -> Outcome:
    return day("underway", "--plan", plan, "--at", at, "--no-note", *more)


def test_one_line_tells_where_she_stands(day: Callable[..., Outcome], plan: Path):
    """At 38 42 W, 8.6 nmi out at 20 kn and 2 l a mile, 17.2 l are burnt; the plan she follows was saved last."""
    told = day("underway", "--no-note", "--at", "44 33N 38 42W", "--meter", "17.5", "--when", "08:26")
    assert told.code == 0, told.err
    first = told.out.splitlines()[0]
    assert first.startswith("GO ON to North Pump.")
    assert "Aboard 42." in told.out
    assert "not for navigation" in told.out
    document = look(day, plan, "44 33N 38 42W", "--meter", "17.5", "--when", "08:26", "--json").document
    assert document["schema"] == "routeplan/underway/1"
    assert document["advice"]["kind"] == "go-on"
    assert document["standing"]["metered_l"] == pytest.approx(17.5)
    assert [arrival["name"] for arrival in document["arrivals"]] == ["North Pump", "East Mark"]


def test_a_dial_far_beyond_the_plan_turns_her_or_tells_that_nothing_will_do(day: Callable[..., Outcome], plan: Path):
    told = look(day, plan, "44 33N 38 40W", "--meter", "40", "--when", "08:32")
    assert told.code == 3
    assert told.out.startswith("NOTHING KEEPS THE RESERVE.")
    assert "VHF channel 16" in told.out


def test_reports_are_noted_in_the_plan_and_a_dial_that_went_back_is_asked_about(
    day: Callable[..., Outcome], plan: Path, tmp_path: Path
):
    own = tmp_path / "plan.json"
    own.write_bytes(plan.read_bytes())
    first = day("underway", "--plan", own, "--at", "44 33N 38 42W", "--meter", "17.5", "--when", "08:26")
    assert first.code == 0
    (noted,) = json.loads(own.read_text())["reports"]
    assert (noted["when"], noted["shows_l"]) == ("2026-07-01T08:26:00Z", [17.5])
    back = day("underway", "--plan", own, "--at", "44 33N 38 40W", "--meter", "3", "--when", "08:32")
    assert (back.code, back.out) == (2, "")
    assert "--meter: went backwards: it showed 17.5 l" in back.said
    assert "--meter-was" in back.said
    shown = day("plan", "show", own)
    assert "Noted underway:" in shown.out


def test_the_new_plan_is_saved_and_followed(day: Callable[..., Outcome], plan: Path, tmp_path: Path):
    new = tmp_path / "new.json"
    told = look(
        day,
        plan,
        "44 33N 38 42W",
        "--meter",
        "17.5",
        "--when",
        "08:26",
        "--save",
        new,
        "--sheet",
        tmp_path / "s.html",
    )
    assert told.code == 0, told.err
    document = json.loads(new.read_text())
    assert document["trip"]["aboard"]["mean_l"] == pytest.approx(42.5, abs=0.3)
    assert document["helm"]["meter"]["shows_l"] == [17.5]
    again = look(day, new, "44 33N 38 40W", "--meter", "22", "--when", "08:34", "--json").document
    assert again["standing"]["metered_l"] == pytest.approx(4.5)


def test_a_day_with_a_stop_ends_in_the_log(day: Callable[..., Outcome], plan: Path, tmp_path: Path):
    """The fill-up at North Pump gets its distance, the run to East Mark waits; a second time adds nothing."""
    log, boat, own = tmp_path / "log.db", plan.parent / "boat.toml", tmp_path / "plan.json"
    own.write_bytes(plan.read_bytes())
    document = json.loads(plan.read_text())
    (stop,) = document["plan"]["stops"]
    beyond = look(day, own, "44 36N 38 20W", "--meter", "9", "--when", "10:00")
    assert (beyond.code, beyond.out) == (2, "")
    assert "lies beyond North Pump, where the plan fills" in beyond.said
    fill = ("fillup", "add", "37.5", "20", "38", "--dock", "North Pump", "--when", stop["begin"])
    assert day(*fill, "--boat", boat, "--log", log).code == 0
    told = look(day, own, "44 33.5N 38 20W", "--meter", "17", "--when", "09:50", "--log", log, "--json").document
    assert told["aboard_l"] == pytest.approx(95 - 17, abs=1.5)
    done = day("underway", "--plan", own, "--arrived", "10:20", "--meter", "40", "--log", log, "--sea", "slight")
    assert done.code == 0, done.err
    assert "waits for the next fill-up" in done.out
    again = day("underway", "--plan", own, "--arrived", "10:20", "--meter", "40", "--log", log)
    assert again.code == 2
    assert "in the log already" in again.said
    listed = day("fillup", "list", "--log", log).out
    assert "1 run waits" in listed
    over = look(day, own, "44 33.5N 38 20W", "--meter", "17", "--when", "09:50", "--log", log)
    assert (over.code, over.out) == (2, "")
    assert "this passage is over" in over.said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--meter", "20"), "--at: is missing"),
        (("--at", "95 00N 38 00W"), "--at"),
        (("--at", "44 33N 38 42W", "--meter", "many"), "--meter"),
        (("--at", "44 33N 38 42W", "--gauge", "9/8"), "--gauge: is more than the whole tank"),
        (("--at", "44 30N 38 30W", "--meter", "20", "--when", "08:40"), "--at"),
        (("--at", "44 33N 38 42W", "--when", "2026-07-09T08:00"), "--when: lies long after the planned arrival"),
        (("--at", "44 33N 38 42W", "--when", "25:61"), "--when"),
        (("--at", "44 33N 38 42W", "--departed", "08:00"), "--departed: goes with --arrived only"),
        (("--arrived", "10:00", "--gauge", "3/8"), "--gauge: says nothing of a passage that is over"),
        (("--at", "44 33N 38 42W", "--save", "plan.txt"), "--save: a plan is saved as .json"),
        (("--at", "44 33N 38 42W", "--sheet", "sheet.doc"), "--sheet"),
        (("--at", "44 33N 38 42W", "--route", "run.txt"), "--route"),
    ],
)
def test_bad_input_is_one_line(day: Callable[..., Outcome], plan: Path, words: tuple[str, ...], said: str):
    before = sorted(plan.parent.iterdir())
    outcome = day("underway", "--plan", plan, *words)
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.said.startswith(f"routeplan: {said}")
    assert len(outcome.said.splitlines()) == 1
    assert sorted(plan.parent.iterdir()) == before


def test_papers_are_all_written_or_none(day: Callable[..., Outcome], plan: Path, tmp_path: Path):
    """The sheet's folder is a file: nothing is left of the plan and the route either."""
    (tmp_path / "full").write_text("a file")
    papers = ("--save", tmp_path / "a.json", "--route", tmp_path / "a.gpx", "--sheet", tmp_path / "full" / "sheet.html")
    outcome = day("plan", "show", plan, *papers)
    assert (outcome.code, outcome.out) == (2, "")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["full"]


def test_the_published_form_is_one_document(day: Callable[..., Outcome]):
    schema = day("plan", "schema").document
    assert schema["$id"] == "routeplan/plan/1"
    assert set(schema["required"]) >= {"schema", "boat", "plan", "helm", "checksum"}


def test_another_region_is_said(day: Callable[..., Outcome], plan: Path, tmp_path: Path):
    copytree(plan.parent / "region", tmp_path / "region")
    about = tmp_path / "region" / "region.toml"
    about.write_text(about.read_text().replace('currency = "EUR"', 'currency = "EUR"\nvariation_deg = -8.0'))
    told = day("plan", "show", plan, "--region", tmp_path / "region")
    assert told.code == 0
    assert "has changed since the plan was saved" in " ".join(told.out.split())
    gone = day("plan", "show", plan, "--region", tmp_path / "nowhere")
    assert gone.code == 2
