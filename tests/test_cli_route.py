"""`routeplan route`: exit codes, one line for each bad input, all files or none."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import gpxpy
import pytest
from faces import Outcome, dock, run, write_boat, write_region_folder

from layers.route_reading import read_route

if TYPE_CHECKING:
    from pathlib import Path

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
HEAD = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
ROUND = ((44.5, -38.9), (44.7, -38.65), (44.7, -38.35), (44.5, -38.1))  # north of the island
ACROSS = ((44.5, -38.9), (44.5, -38.1))  # straight through it


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("routes")
    write_region_folder(
        where / "region", {"docks": [dock("North Pump", -38.5, 44.6003), dock("East Pump", -38.39, 44.6)]}
    )
    write_boat(where / "boat.toml")
    for name, points in (("round", ROUND), ("across", ACROSS)):
        put(where / f"{name}.gpx", points)
    return where


def put(path: Path, points: tuple[tuple[float, float], ...]) -> None:
    written = "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in points)
    path.write_text(f"{HEAD}<rte><name>Drawn</name>{written}</rte></gpx>", encoding="utf-8")


def check(folder: Path, name: str, *more: object) -> Outcome:
    files = ("--region", folder / "region", "--boat", folder / "boat.toml", "--depart", "2026-07-01T08:00Z")
    return run("route", "check", folder / f"{name}.gpx", *files, *more, cache=folder / "cache", now=NOW)


def test_a_good_route_exits_0(folder: Path) -> None:
    """Some 42 nmi at 1 l a mile, of the 80 l that are usable above the reserve."""
    done = check(folder, "round", "--aboard", "full", "--speed", "5")
    assert done.code == 0, done.out
    assert "It can be run as it stands, and keeps the reserve." in done.out
    assert done.err == ""


def test_a_route_over_land_exits_3_and_is_led_round(folder: Path) -> None:
    done = check(folder, "across", "--aboard", "70l", "--reserve", "12l", "--confidence", "0.5", "--json")
    assert done.code == 3
    document = done.document
    assert document["floor_l"] == 17, "5 l can't be used"
    assert document["arrival_low_l"] == document["arrival_l"], "half of all arrivals: the mean"
    assert document["schema"] == "routeplan/route-check/1"
    assert (document["good"], document["can_be_run"]) == (False, False)
    (leg,) = document["legs"]
    hit = leg["hits"][0]
    assert (hit["kind"], hit["name"], hit["stops"]) == ("land", "Middle Island", True)
    assert document["led_round"][0]["why"] == ["land"]
    assert [stop["dock"] for stop in document["plan"]["stops"]] == ["North Pump"]


@pytest.mark.slow
def test_a_route_over_land_is_told_in_words(folder: Path) -> None:
    text = check(folder, "across", "--aboard", "70l")
    assert text.code == 3
    assert "! It can't be run as it stands: leg 1 meets land." in text.out
    assert "Led round: leg 1, point 1 to point 2, for land." in text.out


@pytest.mark.slow
def test_too_little_fuel_exits_3_and_says_where(folder: Path) -> None:
    done = check(folder, "round", "--aboard", "40l", "--as-it-stands", "--json")
    assert done.code == 3
    document = done.document
    assert (document["can_be_run"], document["keeps_reserve"]) == (True, False)
    assert document["plan"] is None
    assert document["reserve_touched"]["leg"] == 1
    assert document["may_run_dry"]["gone_nmi"] > document["reserve_touched"]["gone_nmi"]


def test_the_plan_by_its_points_is_written_as_a_route(folder: Path, tmp_path: Path) -> None:
    """Written with short names. From the saved plan the same route comes again."""
    files = ("--route", tmp_path / "run.gpx", "--save", tmp_path / "plan.json", "--short-names", "8")
    done = check(folder, "across", "--aboard", "70l", *files)
    assert done.code == 3, "the route as it was given won't do"
    assert "North Pump" in done.err, "what was shortened is told"
    written = read_route(tmp_path / "run.gpx")
    assert all(len(point.name) <= 8 for point in written.points)
    papers = ("--route", tmp_path / "again.gpx", "--route", tmp_path / "again.kml", "--short-names", "8")
    again = run("plan", "show", tmp_path / "plan.json", *papers, cache=folder / "cache", now=NOW)
    assert again.code == 0, again.err
    assert (tmp_path / "again.gpx").read_bytes() == (tmp_path / "run.gpx").read_bytes()
    assert gpxpy.parse((tmp_path / "again.gpx").read_text(encoding="utf-8")).waypoints[0].type == "stop"


BAD = [
    (("--route-name", "Other"), "no route has this name"),
    pytest.param(("--route", "run.txt"), "says no format for a route: .gpx, .rtz, .ge", marks=pytest.mark.slow),
    pytest.param(("--short-names", "8"), "--short-names: is for routes", marks=pytest.mark.slow),
    (("--as-it-stands", "--save", "plan.json"), "is made of a plan, and --as-it-stands looks for none"),
    pytest.param(("--speed", "99"), "--speed", marks=pytest.mark.slow),
]


@pytest.mark.parametrize(("more", "said"), BAD)
def test_bad_options_are_one_line(more: tuple[str, ...], said: str, folder: Path) -> None:
    done = check(folder, "round", "--aboard", "full", *more)
    assert done.code == 2
    assert done.out == ""
    assert said in done.said
    assert "\n" not in done.said


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<rte><rtept lat="95" lon="-38"/></rte>', "its latitude must be a number within 90 degrees"),
        pytest.param(
            '<rte><rtept lat="10" lon="10"/><rtept lat="11" lon="10"/></rte>',
            "no point of it lies in Small Waters",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_bad_routes_are_one_line(body: str, said: str, folder: Path) -> None:
    (folder / "bad.gpx").write_text(f"{HEAD}{body}</gpx>", encoding="utf-8")
    done = check(folder, "bad", "--aboard", "full")
    assert done.code == 2
    assert done.out == ""
    assert said in done.said
    assert "\n" not in done.said


def test_where_there_is_no_plan_nothing_is_written(folder: Path, tmp_path: Path) -> None:
    """6 l aboard: no dock is in reach."""
    done = check(folder, "across", "--aboard", "12l", "--route", tmp_path / "run.gpx")
    assert done.code == 3
    assert "! No plan by these points keeps the rules" in done.out
    assert "nothing was written for --route" in done.err
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("names", "said"),
    [
        (("a.gpx", "a.txt"), "says no format for a route"),
        (("a.gpx",), "plan.json"),
    ],
)
def test_a_plan_that_cant_be_written_again_is_one_line(names: tuple[str, ...], said: str, tmp_path: Path) -> None:
    (tmp_path / "plan.json").write_text(json.dumps({"schema": "other"}), encoding="utf-8")
    files = [word for name in names for word in ("--route", tmp_path / name)]
    done = run("plan", "show", tmp_path / "plan.json", *files, cache=tmp_path / "cache", now=NOW)
    assert done.code == 2
    assert said in done.said
    assert "\n" not in done.said
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


INLAND, FAR = (44.5, -38.5), (50.0, -38.9)  # in the middle of the island, 4 nmi from its shore; off the data


@pytest.mark.parametrize(
    ("points", "which", "why"),
    [
        ((ROUND[0], INLAND), "its last point (point 2)", "on land, over 0.5 nmi from the shore"),
        pytest.param(
            (INLAND, ROUND[0]),
            "its first point (point 1)",
            "on land, over 0.5 nmi from the shore",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            (ROUND[0], FAR), "its last point (point 2)", "outside the region's extent", marks=pytest.mark.slow
        ),
    ],
)
def test_an_end_off_the_water_still_gets_the_verdict(
    points: tuple[tuple[float, float], ...], which: str, why: str, folder: Path, tmp_path: Path
) -> None:
    """As it stands it can't be run, which is what was asked; that no stops could be planned comes after."""
    put(folder / "dry.gpx", points)
    done = check(folder, "dry", "--aboard", "full", "--route", tmp_path / "run.gpx")
    assert done.code == 3
    text = " ".join(done.out.split())
    told = f"! No stops could be planned: {folder / 'dry.gpx'}, {which}: {why}; end the route on water."
    assert 0 <= text.index("It can't be run as it stands: leg 1 meets") < text.index(told)
    assert done.said.startswith("routeplan: nothing was written for --route ")
    assert done.said.endswith("as no stops could be planned")
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_an_end_off_the_water_is_told_in_the_document(folder: Path) -> None:
    put(folder / "dry.gpx", (ROUND[0], INLAND))
    document = check(folder, "dry", "--aboard", "full", "--json").document
    alone = check(folder, "dry", "--aboard", "full", "--as-it-stands", "--json").document
    assert document["no_plan"].startswith(f"{folder / 'dry.gpx'}, its last point (point 2): on land")
    assert {**document, "no_plan": ""} == alone
    assert "land" in {hit["kind"] for leg in alone["legs"] for hit in leg["hits"]}


def test_a_good_route_that_leaves_no_file_doesnt_exit_0(folder: Path, tmp_path: Path) -> None:
    """Two points 11 m apart are one place to a planner: the check is good, but the file asked for isn't there."""
    put(folder / "spot.gpx", ((44.5, -38.9), (44.5001, -38.9)))
    done = check(folder, "spot", "--aboard", "full", "--route", tmp_path / "run.gpx")
    assert done.code == 3
    assert "It can be run as it stands, and keeps the reserve." in done.out
    assert "begins and ends in one spot" in " ".join(done.out.split())
    assert not list(tmp_path.iterdir())
