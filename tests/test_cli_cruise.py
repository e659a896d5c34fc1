"""`cruise` from outside: the demo's cruise, its papers whole or not at all, what changes for whom, bad input."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, datetime
from shutil import copytree
from typing import TYPE_CHECKING

import gpxpy
import pytest
from faces import Outcome, run

import demo_region
from routeplan.cruises import CruisePlan
from routeplan.saved_plans import read_plan

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)  # the day the demo's data are dated
BOATS = [
    "Quick Errand", "Half Promise", "Small Print", "Salt Biscuit", "Loose Change", "Late Apology", "Second Opinion",
    "Fair Warning",
]  # fmt: skip


@pytest.fixture(scope="module")
def cruise(tmp_path_factory: pytest.TempPathFactory, cache_with_demo: Path) -> Callable[..., Outcome]:
    """Run `routeplan cruise` on the demo's cruise, changed by a substitution where one is given."""
    folder = tmp_path_factory.mktemp("club")
    copytree(demo_region.data_folder() / "boats", folder / "boats")
    written = (demo_region.data_folder() / "cruise.toml").read_text()

    def plan(*words: object, change: tuple[str, str] = ("", "")) -> Outcome:
        assert change[0] in written
        file = folder / "cruise.toml"
        file.write_text(written.replace(*change) if change[0] else written)
        return run("cruise", file, "--region", demo_region.data_folder(), *words, cache=cache_with_demo, now=NOW)

    return plan


@pytest.fixture(scope="module")
def papers(cruise: Callable[..., Outcome], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("papers") / "cruise"
    outcome = cruise("--papers", folder, "--save", folder.parent / "saved.json")
    assert outcome.code == 0, outcome.err
    assert "Fuel at 1 dock" in outcome.out
    return folder


@pytest.mark.slow
def test_the_document_holds_what_programs_lean_on(papers: Path) -> None:
    document = json.loads((papers / "cruise.json").read_text())
    assert document == json.loads((papers.parent / "saved.json").read_text())
    assert (document["schema"], document["currency"], document["refused"]) == ("routeplan/cruise/1", "EUR", None)
    assert [one["boat"] for one in document["boats"]] == BOATS
    for stop in document["stops"]:
        assert {"dock", "arrive", "boats", "total_l"} <= set(stop)
        assert set(stop["total_l"]) == {"gasoline", "diesel"}
        for turn in stop["boats"]:
            assert {"boat", "aboard_l", "aboard_low_l", "take_l", "begin", "end"} <= set(turn)
        by_fuel = {fuel: sum(t["take_l"] for t in stop["boats"] if t["fuel"] == fuel) for fuel in stop["total_l"]}
        assert by_fuel == pytest.approx(stop["total_l"])
    assert [set(limit) >= {"leg", "boat", "margin_low_l"} for limit in document["limits"]] == [True] * 4
    for one in document["boats"]:
        assert {"distance_nmi", "legs", "stops", "track"} <= set(one["plan"])
        assert one["plan"]["least_margin_l"] >= 0
    kept = {key: document[key] for key in CruisePlan.model_fields}
    assert CruisePlan.model_validate(kept).docks == ("Callowhythe Fuel Pier",)


@pytest.mark.slow
def test_papers_are_whole_and_a_sheet_a_route_and_a_plan_are_there_for_each_boat(papers: Path) -> None:
    names = [name.lower().replace(" ", "-") for name in BOATS]
    expected = {f"{name}.{ending}" for name in names for ending in ("html", "gpx", "json")}
    assert {path.name for path in (papers / "boats").iterdir()} == expected
    own = {path.name for path in papers.iterdir() if path.is_file()}
    assert own == {
        "cruise.html", "cruise.json", "map.html", "timeline.csv", "fills.csv", "calls.csv", "roll.csv",
    }  # fmt: skip
    document = json.loads((papers / "cruise.json").read_text())
    for name, one in zip(names, document["boats"], strict=True):
        route = gpxpy.parse((papers / "boats" / f"{name}.gpx").read_text()).routes[0]
        ends = [one["plan"]["legs"][0]["from_position"], one["plan"]["legs"][-1]["to_position"]]
        for point, (lon, lat) in zip((route.points[0], route.points[-1]), ends, strict=True):
            assert (point.longitude, point.latitude) == pytest.approx((lon, lat), abs=1e-5)
        saved = read_plan(papers / "boats" / f"{name}.json")
        assert (saved.boat.name, len(saved.plan.stops)) == (one["boat"], len(one["plan"]["stops"]))
        sheet = (papers / "boats" / f"{name}.html").read_text()
        assert "turn at" in sheet or "Stop 1, 12" in sheet.replace("&#58;", ":")
        assert "the group leaves then" in sheet


@pytest.mark.slow
def test_no_page_asks_for_anything_outside(papers: Path) -> None:
    for page in [papers / "cruise.html", papers / "map.html", *(papers / "boats").glob("*.html")]:
        text = page.read_text()
        assert not re.findall(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//""", text), page.name
        assert "<title>" in text


@pytest.mark.slow
def test_lists_say_what_the_document_says(papers: Path) -> None:
    document = json.loads((papers / "cruise.json").read_text())
    fills = list(csv.DictReader(io.StringIO((papers / "fills.csv").read_text())))
    turns = [turn for stop in document["stops"] for turn in stop["boats"]]
    assert [row["boat"] for row in fills] == [turn["boat"] for turn in turns]
    assert [float(row["take_l"]) for row in fills] == pytest.approx([t["take_l"] for t in turns], abs=0.06)
    roll = list(csv.DictReader(io.StringIO((papers / "roll.csv").read_text())))
    assert [row["boat"] for row in roll] == BOATS
    assert [row["people"] for row in roll] == ["4", "3", "5", "2", "2", "3", "6", "4"]


@pytest.mark.slow
def test_a_boat_that_drops_out_changes_the_turns_of_those_behind_her(cruise: Callable[..., Outcome]) -> None:
    outcome = cruise("--without", "small  print", "--json")
    assert outcome.code == 0, outcome.err
    document = json.loads(outcome.out)
    changes = {change["boat"]: change for change in document["changes"]}
    assert [one["boat"] for one in document["boats"]] == [name for name in BOATS if name != "Small Print"]
    assert "no longer in the plan" in changes["Small Print"]["what"][0]
    assert changes["Half Promise"]["moved_min"] < -10  # hers was the turn after
    assert "Salt Biscuit" not in {name for name, c in changes.items() if any("turn" in said for said in c["what"])}


@pytest.mark.slow
def test_a_dock_that_is_closed_is_not_used_and_who_goes_where_is_told(cruise: Callable[..., Outcome]) -> None:
    outcome = cruise("--closed", "Callowhythe Fuel Pier")
    assert outcome.code == 0, outcome.err
    told, _, plan = outcome.out.partition("Summer cruise:")
    assert "Changes for" in told
    assert "no longer fills at Callowhythe Fuel Pier" in told
    assert "Callowhythe Fuel Pier" not in re.sub(r"If closed:.*", "", plan)


@pytest.mark.slow
def test_against_a_saved_cruise_nothing_changes_if_nothing_does(cruise: Callable[..., Outcome], papers: Path) -> None:
    outcome = cruise("--against", papers.parent / "saved.json")
    assert outcome.code == 0, outcome.err
    assert "Nothing changes for" in outcome.out.partition("Summer cruise:")[0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("speed_kn = 18", "speed_kn = 12"), "Quick Errand can't hold a speed between 10 and 17 kn.*9 kn or 17 kn"),
        (('"Tamblewick"', '"Tamblewik"'), "visit 4.*Tamblewik.*did you mean Tamblewick"),
        (("boats/second_opinion.toml", "boats/none.toml"), r"\[\[boat\]\] 7.*there is no such boat file"),
        (('"Small Print"', '"half promise"'), "two boats have one name.*half promise"),
        (('pace = "together"', 'pace = "own"'), "speed_kn.*18 kn"),
    ],
)
def test_bad_input_is_one_clear_line(cruise: Callable[..., Outcome], change: tuple[str, str], says: str) -> None:
    outcome = cruise(change=change)
    assert (outcome.code, outcome.out) == (2, "")
    assert re.search(says, outcome.said)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--without", "Nobody"), "--without.*no boat of the cruise"),
        pytest.param(
            ("--closed", "Callowhyth"), "no such dock.*did you mean Callowhythe", marks=pytest.mark.slow
        ),  # it plans the cruise as it was, too
        (("--save", "cruise.txt"), "--save.*json"),
        (("--sheet", "sheet.doc"), "--sheet"),
        (("--against", "missing.json"), "missing.json"),
    ],
)
def test_bad_options_are_one_clear_line(cruise: Callable[..., Outcome], words: tuple[str, str], says: str) -> None:
    outcome = cruise(*words)
    assert (outcome.code, outcome.out) == (2, "")
    assert re.search(says, outcome.err.splitlines()[-1])


@pytest.mark.slow
def test_who_cannot_come_is_named_and_the_rest_planned_on_request(
    cruise: Callable[..., Outcome], tmp_path: Path
) -> None:
    dry = ('aboard = "71gal"', 'aboard = "13gal"')
    outcome = cruise("--papers", tmp_path / "papers", "--json", change=dry)
    document = json.loads(outcome.out)
    assert (outcome.code, document["boats"]) == (3, [])
    (one,) = document["refused"]["boats"]
    assert (one["boat"], one["from"]) == ("Half Promise", "Tolvarrow")
    assert one["short_l"] > 0
    assert not (tmp_path / "papers").exists()
    assert "nothing was written for --papers" in outcome.err
    outcome = cruise("--leave-behind", "--json", change=dry)
    document = json.loads(outcome.out)
    assert outcome.code == 0
    assert [one["boat"] for one in document["left_behind"]] == ["Half Promise"]
    assert len(document["boats"]) == 7


@pytest.mark.slow
def test_a_day_that_does_not_fit_is_refused_with_its_times(cruise: Callable[..., Outcome]) -> None:
    outcome = cruise(change=('leave = "09:00"', 'leave = "20:00"'))
    assert outcome.code == 3
    assert re.search(r"day 2, Wickmarrow to Tolvarrow.*after sunset at 22:26", " ".join(outcome.out.split()))
    outcome = cruise(change=("T08:30", "T03:30"))
    assert outcome.code == 3
    assert "before sunrise at 06:56" in " ".join(outcome.out.split())


def test_papers_onto_a_full_or_barred_place_leave_nothing(cruise: Callable[..., Outcome], tmp_path: Path) -> None:
    (tmp_path / "papers").write_text("a file")
    outcome = cruise("--papers", tmp_path / "papers")
    assert (outcome.code, outcome.out) == (2, "")
    assert "--papers" in outcome.err
    assert (tmp_path / "papers").read_text() == "a file"
