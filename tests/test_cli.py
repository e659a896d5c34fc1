"""The command line from outside: exit codes, one JSON document, its keys, and that what it tells adds up."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from faces import ROOT, Outcome, dock, run, run_apart, write_boat, write_region_folder
from geographiclib.geodesic import Geodesic

import demo_region
from layers.schema import COMPUTED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

METRES_PER_NMI = 1852.0  # [m] by definition of the nautical mile (International Hydrographic Conference, Monaco, 1929)
COMMANDS = (
    *("", "passage", "docks", "demo", "boat", "boat check", "boat show", "region", "region check", "region show"),
    *("region build", "aboard", "boat learn", "fillup", "fillup add", "fillup list", "fillup import", "fillup export"),
    *("fillup withdraw", "fillup advice", "reach"),
)
HEAVY = (
    *("geopandas", "pandas", "scipy", "shapely", "pyproj", "folium", "branca", "networkx", "pyogrio", "numpy"),
    *("sqlalchemy", "matplotlib", "gpxpy", "psycopg"),
)


@pytest.fixture(scope="module")
def cli(cache_with_demo: Path) -> Callable[..., Outcome]:
    """`routeplan` at noon of 30 June 2026, with the cache that all tests share."""

    def at_noon(*words: object, now: datetime = datetime(2026, 6, 30, 12, tzinfo=UTC)) -> Outcome:
        return run(*words, cache=cache_with_demo, now=now)

    return at_noon


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """Region and boat options: an island between West Mark and East Mark, 37 nmi round; pumps halfway."""
    folder = tmp_path_factory.mktemp("small")
    region = write_region_folder(folder / "region")
    return ("--region", str(region), "--boat", str(write_boat(folder / "boat.toml")))


@pytest.fixture(scope="module")
def across(cli: Callable[..., Outcome], small: tuple[str, ...]) -> Callable[..., Outcome]:
    """From mark to mark with 70 l, at eight on a Wednesday; options may be added.

    Behind North Pump nothing else is in reach of 70 l, so the closed-dock rule is off but where it is what is tested.
    """

    def plan(*more: object, aboard: str = "70l", depart: str = "2026-07-01T08:00", rule: str = "off") -> Outcome:
        words = ("passage", "West Mark", "East Mark", *small, "--aboard", aboard, "--depart", depart)
        return cli(*words, "--closed-dock", rule, *more)

    return plan


@pytest.fixture(scope="module")
def demo_words() -> tuple[str, ...]:
    """Spell the demo's run as the command line takes it."""
    story, data = demo_region.story(), demo_region.data_folder()
    ends = (story.start, story.finish)
    files = ("--region", str(data), "--boat", str(data / story.boat))
    log = ("--log", str(data / story.log))
    return ("passage", *ends, *files, *log, "--aboard", story.aboard, "--depart", story.depart)


@pytest.fixture(scope="module")
def demo_run(cli: Callable[..., Outcome], demo_words: tuple[str, ...]) -> Outcome:
    """Plan the demo's run, as JSON."""
    return cli(*demo_words, "--json")


@pytest.fixture(scope="module", params=["demo", "small"])
def passage(request: pytest.FixtureRequest, across: Callable[..., Outcome], demo_run: Outcome) -> dict[str, Any]:
    """Plan, here and there: what every document has to keep."""
    outcome = demo_run if request.param == "demo" else across("--json")
    assert outcome.code == 0, outcome.err
    return outcome.document


# Help and start


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(cli: Callable[..., Outcome], command: str) -> None:
    outcome = cli(*command.split(), "--help")
    assert outcome.code == 0
    assert outcome.out.startswith("Usage: routeplan")
    assert "Traceback" not in outcome.out + outcome.err


def test_help_names_every_command_and_option_of_the_job(cli: Callable[..., Outcome]) -> None:
    top = cli("--help").out
    for command in ("passage", "docks", "demo", "boat", "region", "fillup", "aboard"):
        assert re.search(rf"^\s+{command}\b", top, flags=re.MULTILINE), command
    said = cli("passage", "--help").out
    for option in (
        *(
            "--fill",
            "--price-of-time",
            "--fill-first",
            "--closed-dock",
            "--prefer",
            "--slower",
            "--show",
            "--call-ahead",
        ),
        *("--confirmed-docks-only", "--known-docks-only"),
    ):
        assert option in said, option
    for option in ("--via", "--speed", "--confidence", "--depart", "--aboard", "--map", "--layers", "--json", "--snap"):
        assert option in said, option


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["passage", "--help"],
        ["region", "show", "--help"],
        ["fillup", "add", "--help"],
        ["aboard", "--help"],
    ],
)
def test_help_loads_no_heavy_library(words: list[str]) -> None:
    """By name of module, in a process of its own: seconds would depend on the machine."""
    code = (
        "import sys\n"
        "from routeplan.cli import main\n"
        f"sys.argv[1:] = {words!r}\n"
        "try:\n    main()\n"
        "except SystemExit as done:\n    assert not done.code, done.code\n"
        f"print('LOADED', sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT, timeout=60
    )
    assert done.stdout.rstrip().endswith("LOADED []")


def test_looking_at_a_boat_loads_no_map_and_no_gis(tmp_path: Path) -> None:
    boat = write_boat(tmp_path / "boat.toml")
    code = (
        "import sys\n"
        "from routeplan.cli import main\n"
        f"sys.argv[1:] = ['boat', 'check', {str(boat)!r}]\n"
        "try:\n    main()\n"
        "except SystemExit as done:\n    assert not done.code, done.code\n"
        "print('LOADED', sorted({'folium', 'geopandas', 'pandas', 'scipy'} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT, timeout=60
    )
    assert done.stdout.rstrip().endswith("LOADED []")


# passage --json: shape


def test_the_keys_of_the_document(passage: dict[str, Any]) -> None:
    """What other programs rely on: these keys are there, whatever else is."""
    assert {"schema", "currency", "plans", "refused", "cautions", "sources"} <= passage.keys()
    assert passage["refused"] is None
    assert passage["currency"] == "EUR"
    for plan in passage["plans"]:
        assert {"name", "distance_nmi", "time_h", "fuel_l", "cost", "least_margin_l", "legs", "stops", "track"} <= (
            plan.keys()
        )
        for leg in plan["legs"]:
            assert {
                *("from", "from_position", "to", "to_position", "distance_nmi", "course_deg", "speed_kn", "depart"),
                *("arrive", "fuel_l", "aboard_after_l", "aboard_after_low_l"),
            } <= leg.keys()
        for stop in plan["stops"]:
            assert {
                *("dock", "arrive", "aboard_l", "aboard_low_l", "take_l", "cost", "wait_h", "alternate", "why"),
            } <= stop.keys()
            assert stop["why"]
            if stop["alternate"] is not None:
                assert {"name", "distance_nmi", "left_l"} <= stop["alternate"].keys()
                assert stop["alternate"]["name"] != stop["dock"]


def test_the_first_plan_is_the_recommended_one(passage: dict[str, Any]) -> None:
    first, *others = passage["plans"]
    assert first["recommended"]
    assert len(others) <= 4  # soonest, cheapest, fewest stops, most margin, known docks
    for other in others:
        assert not other["recommended"]
        assert other["difference"]


def test_cautions_come_with_every_plan(passage: dict[str, Any]) -> None:
    said = " ".join(passage["cautions"]).lower()
    for words in ("not for navigation", "official charts", "notices", "weather", "tides", "ahead", "licensed"):
        assert words in said


def test_units_are_spelt_in_every_key_that_holds_a_number(passage: dict[str, Any]) -> None:
    units = ("_l", "_nmi", "_h", "_kn", "_deg", "_m", "_share", "_min", "_lph", "_per_l")
    bare = {  # the currency is named once; shares by their nature
        *("cost", "dearer", "confidence", "chance_reserve_kept", "chance_never_dry"),
    }
    wrong = {key for key, _ in _numbers(passage) if not key.endswith(units) and key not in bare}
    assert not wrong


def test_times_are_utc_with_a_z(passage: dict[str, Any]) -> None:
    times = [value for key, value in _items(passage) if key in {"depart", "arrive", "begin", "end"}]
    assert times
    for text in times:
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", text), text


def test_the_track_is_a_geojson_linestring(passage: dict[str, Any]) -> None:
    """RFC 7946, 3.1.1 and 3.1.4: two positions or more, each longitude, then latitude, in degrees."""
    for plan in passage["plans"]:
        track = plan["track"]
        assert track.keys() == {"type", "coordinates"}
        assert track["type"] == "LineString"
        assert len(track["coordinates"]) >= 2
        for lon, lat in track["coordinates"]:
            assert -40 < lon < -35  # both regions lie about 37 to 39 W, 44 to 45 N: an exchange would show
            assert 43 < lat < 46
        assert track["coordinates"][0] == pytest.approx(plan["legs"][0]["from_position"], abs=2e-6)
        assert track["coordinates"][-1] == pytest.approx(plan["legs"][-1]["to_position"], abs=2e-6)


# passage --json: sums


def test_legs_join_in_place(passage: dict[str, Any]) -> None:
    for plan in passage["plans"]:
        for before, after in pairwise(plan["legs"]):
            assert before["to"] == after["from"]
            assert before["to_position"] == after["from_position"]


def test_legs_add_up_to_the_plan(passage: dict[str, Any]) -> None:
    for plan in passage["plans"]:
        assert sum(leg["distance_nmi"] for leg in plan["legs"]) == pytest.approx(plan["distance_nmi"], rel=1e-9)
        assert sum(leg["fuel_l"] for leg in plan["legs"]) == pytest.approx(plan["fuel_l"], rel=1e-9)
        assert _when(plan["arrive"]) - _when(plan["depart"]) == pytest.approx(
            timedelta(hours=plan["time_h"]), abs=timedelta(seconds=2)
        )
        costs = [stop["cost"] for stop in plan["stops"]]
        if None in costs:
            assert plan["cost"] is None
        else:
            assert plan["cost"] == pytest.approx(sum(costs))


def test_each_leg_has_the_length_course_and_time_of_the_ellipsoid(passage: dict[str, Any]) -> None:
    """Karney's geodesic between the printed ends (geographiclib); a leg is straight in the plane: a trifle longer."""
    for plan in passage["plans"]:
        for leg in plan["legs"]:
            (lon, lat), (to_lon, to_lat) = leg["from_position"], leg["to_position"]
            line = Geodesic.WGS84.Inverse(lat, lon, to_lat, to_lon)
            if leg["kind"] != "gate":
                assert leg["distance_nmi"] == pytest.approx(line["s12"] / METRES_PER_NMI, rel=1e-4, abs=3e-4)
            if line["s12"] > 500 and leg["kind"] != "gate":
                off = (leg["course_deg"] - line["azi1"] + 180) % 360 - 180
                assert abs(off) < 0.5
            hours = (_when(leg["arrive"]) - _when(leg["depart"])).total_seconds() / 3600
            if leg["kind"] != "gate":
                assert hours == pytest.approx(leg["distance_nmi"] / leg["speed_kn"], abs=1.5 / 3600)


def test_times_join_and_pause_only_at_stops(passage: dict[str, Any]) -> None:
    for plan in passage["plans"]:
        pauses = {stop["dock"]: (stop["arrive"], stop["depart"]) for stop in plan["stops"]}
        assert plan["legs"][0]["depart"] == plan["depart"]
        assert plan["legs"][-1]["arrive"] == plan["arrive"]
        for before, after in pairwise(plan["legs"]):
            if before["to"] in pauses:
                assert (before["arrive"], after["depart"]) == pauses[before["to"]]
            elif before["kind"] != "gate" and after["kind"] != "gate":
                assert _when(after["depart"]) - _when(before["arrive"]) <= timedelta(seconds=1)


def test_stops_arrive_then_begin_then_leave(passage: dict[str, Any]) -> None:
    for plan in passage["plans"]:
        for stop in plan["stops"]:
            arrive, begin, leave = (_when(stop[key]) for key in ("arrive", "begin", "depart"))
            assert arrive <= begin < leave
            waited = (begin - arrive).total_seconds() / 3600
            assert stop["wait_h"] == pytest.approx(waited, abs=2 / 3600)


def test_fuel_falls_by_what_is_burned_and_jumps_to_the_mark_at_stops(passage: dict[str, Any]) -> None:
    for plan in passage["plans"]:
        take = {stop["dock"]: stop for stop in plan["stops"]}
        aboard = passage["aboard"]["mean_l"]
        for leg in plan["legs"]:
            aboard -= leg["fuel_l"]
            assert leg["aboard_after_l"] == pytest.approx(aboard, abs=1e-3)  # l, a thimble
            if leg["to"] in take:
                stop = take[leg["to"]]
                assert stop["aboard_l"] == pytest.approx(aboard, abs=1e-3)
                aboard += stop["take_l"]
        assert plan["aboard_on_arrival_l"] == pytest.approx(aboard, abs=1e-3)


def test_no_arrival_touches_the_reserve(cli: Callable[..., Outcome], passage: dict[str, Any]) -> None:
    data = demo_region.data_folder()
    small_floor_l = 5 + 0.10 * 100  # of the small boat: unusable fuel and a tenth of the capacity
    floor_l = small_floor_l
    if passage["boat"] != "Plain Test":
        floor_l = cli("boat", "show", data / demo_region.story().boat, "--json").document["floor_l"]
    for plan in passage["plans"]:
        lows = [stop["aboard_low_l"] for stop in plan["stops"]] + [plan["aboard_on_arrival_low_l"]]
        assert min(lows) >= floor_l
        assert plan["least_margin_l"] == pytest.approx(min(lows) - floor_l, abs=1e-6)
        assert all(leg["aboard_after_low_l"] <= leg["aboard_after_l"] for leg in plan["legs"])
        assert all(stop["aboard_low_l"] <= stop["aboard_l"] for stop in plan["stops"])


def test_a_plan_by_hand(across: Callable[..., Outcome]) -> None:
    """One stop halfway, at 20 kn and 40 l/h, so 2 l a mile.

    At 44.5 N a degree of longitude is 42.9 nmi. From West Mark 0.3 degrees east and 6 nmi north to the island's corner:
    hypot(12.9, 6.0) = 14.2 nmi; along its north shore to the middle 4.3 nmi: 18.5 nmi and 37 l to North Pump, where
    33 l of the 70 are left; 62 l fill to 95, at 2 EUR/l 124 EUR; as far again to East Mark leaves 58 l.
    """
    plan = across("--json").document["plans"][0]
    (stop,) = plan["stops"]
    assert stop["dock"] == "North Pump"
    half_nmi = plan["distance_nmi"] / 2
    assert half_nmi == pytest.approx(18.5, abs=0.1)
    assert stop["aboard_l"] == pytest.approx(70 - 2 * half_nmi, abs=0.3)
    assert stop["take_l"] == pytest.approx(25 + 2 * half_nmi, abs=0.3)
    assert plan["cost"] == pytest.approx(2 * stop["take_l"])
    assert plan["aboard_on_arrival_l"] == pytest.approx(95 - 2 * half_nmi, abs=0.3)


# One document, and nothing else


@pytest.mark.parametrize("words", [("docks",), ("docks", "--from", "West Mark"), ("docks", "--suitable")])
def test_docks_print_one_document(cli: Callable[..., Outcome], small: tuple[str, ...], words: tuple[str, ...]) -> None:
    outcome = cli(*words, *small, "--json")
    assert outcome.code == 0
    names = [entry["name"] for entry in outcome.document["docks"]]
    assert "North Pump" in names
    assert ("Diesel Pump" in names) != ("--suitable" in words)


def test_every_json_is_one_document(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    region, boat = small[1], small[3]
    for words in (
        ("boat", "check", boat),
        ("boat", "show", boat),
        ("boat", "show", boat, "--aboard", "50l±4l", "--confidence", "0.8"),
        ("region", "check", region),
        ("region", "show", region),
        ("region", "show", region, "--boat", boat),
    ):
        outcome = cli(*words, "--json")
        assert outcome.code == 0, outcome.err
        assert isinstance(outcome.document, dict)
        assert outcome.document["schema"].startswith("routeplan/")
        assert not outcome.err


def test_json_and_screen_tell_the_same_plan(across: Callable[..., Outcome]) -> None:
    screen, plan = across().out, across("--json").document["plans"][0]
    assert f"{plan['distance_nmi']:.1f} nmi" in screen
    for stop in plan["stops"]:
        assert stop["dock"] in screen
        assert stop["why"].split(",")[0].casefold() in " ".join(screen.split()).casefold()
    for caution in plan["cautions"]:
        assert " ".join(caution.split()) in " ".join(screen.split())


# No plan


def test_no_plan_is_an_answer(across: Callable[..., Outcome]) -> None:
    outcome = across("--json", aboard="30l")
    assert outcome.code == 3
    document = outcome.document
    assert document["plans"] == []
    refused = document["refused"]
    assert {"from", "to", "distance_nmi", "short_l", "why", "try"} <= refused.keys()
    assert refused["offered"] is None
    assert refused["from"] == "West Mark"
    assert refused["distance_nmi"] == pytest.approx(18.5, abs=0.1)
    assert refused["why"]
    assert refused["try"]
    assert document["cautions"]


def test_the_shortfall_by_hand(across: Callable[..., Outcome]) -> None:
    """30 l, sd 3 (3 % of 100 l); 37 l burned, sd 6 % of it; z(0.9) = 1.2816: low = 30 - 37 - 4.8 = -11.8; floor 15."""
    refused = across("--json", aboard="30l").document["refused"]
    burned_l = 2 * refused["distance_nmi"]
    low_l = 30 - burned_l - 1.2816 * (3**2 + (0.06 * burned_l) ** 2) ** 0.5
    assert refused["short_l"] == pytest.approx(15 - low_l, abs=0.2)


def test_advice_that_is_followed_helps(across: Callable[..., Outcome]) -> None:
    ideas = across("--json", aboard="30l").document["refused"]["try"]
    wanted = next(m for idea in ideas if (m := re.search(r"([\d.]+) l in all", idea)))
    assert across("--json", aboard=f"{wanted[1]}l±3l").code == 0
    assert across("--json", aboard=f"{float(wanted[1]) - 0.2:.1f}l±3l").code == 3


def test_no_plan_on_a_screen_tells_the_leg_and_the_way_out(across: Callable[..., Outcome]) -> None:
    outcome = across(aboard="30l")
    assert outcome.code == 3
    said = " ".join(outcome.out.split())
    for words in ("No plan", "West Mark", "short of the reserve", "What would help", "not for navigation"):
        assert words in said


def test_no_plan_writes_no_files(across: Callable[..., Outcome], tmp_path: Path) -> None:
    assert across("--map", tmp_path / "m.html", "--layers", tmp_path / "l.gpkg", aboard="30l").code == 3
    assert list(tmp_path.iterdir()) == []


def test_no_plan_says_which_files_were_not_written(across: Callable[..., Outcome], tmp_path: Path) -> None:
    """One line on stderr for both, none where none was asked for; stdout stays one document."""
    outcome = across("--json", "--map", tmp_path / "m.html", "--layers", tmp_path / "l.gpkg", aboard="30l")
    assert outcome.document["plans"] == []
    assert len(outcome.err.splitlines()) == 1
    assert "--map and --layers" in outcome.err
    assert across(aboard="30l").err == ""


# The closed-dock rule


def test_a_rule_that_can_t_be_kept_offers_the_best_plan_without_it(across: Callable[..., Outcome]) -> None:
    """33 l are left at North Pump; East Mark is 37 l on, South Pump farther: with the rule off the plan is offered."""
    outcome = across("--json", rule="on")
    assert outcome.code == 3
    document = outcome.document
    assert document["plans"] == []
    refused = document["refused"]
    assert refused["breaks_at"] == ["North Pump"]
    assert "North Pump" in refused["why"]
    assert any("--closed-dock off" in idea for idea in refused["try"])
    offered = refused["offered"]
    assert not offered["recommended"]
    assert [stop["dock"] for stop in offered["stops"]] == ["North Pump"]
    assert not offered["stops"][0]["keeps_closed_dock_rule"]
    assert offered["legs"] == across("--json", rule="off").document["plans"][0]["legs"]


def test_an_offered_plan_is_marked_at_both_ends(across: Callable[..., Outcome]) -> None:
    said = across(rule="on").out
    marks = [i for i, line in enumerate(said.splitlines()) if "BREAKS the closed-dock rule at North Pump" in line]
    stop = next(i for i, line in enumerate(said.splitlines()) if line.startswith("Stop 1"))
    arrival = next(i for i, line in enumerate(said.splitlines()) if line.startswith("On arrival"))
    assert len(marks) == 2
    assert marks[0] < stop < arrival < marks[1]
    assert "Recommended" not in said
    assert "--closed-dock off" in said[: said.index("Stop 1")]


def test_a_second_dock_near_by_keeps_the_rule(
    cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path
) -> None:
    """Two miles off North Pump another one sells fuel: each is the other's alternate."""
    rows = json.loads((Path(small[1]) / "docks.geojson").read_text(encoding="utf-8"))["features"]
    rows.append(dock("Near Pump", -38.45, 44.6003))
    region = write_region_folder(tmp_path / "region", {"docks": rows})
    words = ("passage", "West Mark", "East Mark", "--region", region, *small[2:], "--aboard", "70l")
    for rule in ("on", "strict"):
        outcome = cli(*words, "--depart", "2026-07-01T08:00", "--closed-dock", rule, "--json")
        assert outcome.code == 0, outcome.out
        (stop,) = outcome.document["plans"][0]["stops"]
        assert stop["keeps_closed_dock_rule"]
        assert {stop["dock"], stop["alternate"]["name"]} == {"North Pump", "Near Pump"}
        assert outcome.document["closed_dock"] == outcome.document["plans"][0]["closed_dock"] == rule


# Fill rules, speeds, preferences


def test_the_least_fill_by_hand(across: Callable[..., Outcome]) -> None:
    """What East Mark needs: 70 l aboard less all that is burned, plus the part fill, keeps 15 l at confidence 0.9.

    sd 3 l at departure, 6 % of the burn; z(0.9) = 1.2816 (standard normal table).
    """
    document = across("--fill", "enough", "--json").document
    plan = document["plans"][0]
    burned_l = plan["fuel_l"]
    (stop,) = plan["stops"]
    assert not stop["to_mark"]
    assert stop["take_l"] == pytest.approx(15 - 70 + burned_l + 1.2816 * (9 + (0.06 * burned_l) ** 2) ** 0.5, abs=0.01)
    assert plan["least_margin_l"] == pytest.approx(0, abs=1e-6)
    assert (document["fill"], document["price_of_time_per_h"]) == ("enough", None)


def test_a_part_fill_is_told_as_one(across: Callable[..., Outcome]) -> None:
    said = " ".join(across("--fill", "best", "--price-of-time", "40").out.split())
    take_l = across("--fill", "best", "--price-of-time", "40", "--json").document["plans"][0]["stops"][0]["take_l"]
    told = re.search(r"Take ([\d.]+) l, no less", said)
    assert told is not None
    assert take_l <= float(told[1]) <= take_l + 0.1
    assert "EUR 40.00" in said
    assert "No price of time" not in said
    assert "No price of time" in across("--fill", "best").out


@pytest.mark.parametrize("name", ["soonest", "cheapest", "fewest-stops", "most-margin"])
def test_what_is_preferred_is_recommended(across: Callable[..., Outcome], name: str) -> None:
    plan = across("--prefer", name, "--json").document["plans"][0]
    assert plan["recommended"]
    assert name == plan["name"]


def test_all_plans_hold_the_few_and_are_listed(across: Callable[..., Outcome]) -> None:
    few, every = (across("--json", "--show", show).document["plans"] for show in ("few", "all"))
    ways = [[(stop["dock"], stop["take_l"]) for stop in plan["stops"]] for plan in every]
    assert all([(stop["dock"], stop["take_l"]) for stop in plan["stops"]] in ways for plan in few)
    assert few[0]["legs"] == every[0]["legs"]
    said = across("--show", "all").out
    table = said[said.index("none is beaten") :].split("\n\n")[0]
    lines = [" ".join(line.split()) for line in re.split(r"^ ?\d+  ", table, flags=re.MULTILINE)[1:]]  # folded or not
    assert len(lines) == len(every)
    for line, plan in zip(lines, every, strict=True):
        assert f"{plan['cost']:.2f}" in line
        assert all(stop["dock"] in line for stop in plan["stops"])


def test_slower_finds_a_way_that_the_speed_has_not(across: Callable[..., Outcome]) -> None:
    """At 5 kn a mile takes 1 l instead of 2: 37 l of 70 to East Mark, without North Pump."""
    outcome = across("--slower", "--json", rule="on")
    assert outcome.code == 0, outcome.out
    plan = outcome.document["plans"][0]
    assert {leg["speed_kn"] for leg in plan["legs"]} <= {5.0, 8.0, 15.0, 20.0}
    assert min(leg["speed_kn"] for leg in plan["legs"]) < 20
    assert "or slower" in across("--slower", rule="on").out


def test_a_fill_before_leaving_comes_first(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    """From 40 l to the mark: 55 l in 15 minutes alongside and 1.4 at 38 l/min."""
    words = ("passage", "North Pump", "East Mark", *small, "--aboard", "40l", "--depart", "2026-07-01T08:00")
    plan = cli(*words, "--fill-first", "--json").document["plans"][0]
    first = plan["stops"][0]
    assert (first["dock"], first["arrive"]) == ("North Pump", plan["depart"])
    assert first["take_l"] == pytest.approx(55)
    assert plan["legs"][0]["depart"] == first["depart"] == "2026-07-01T08:16:26Z"
    said = cli(*words, "--fill-first").out
    assert "Stop 1, before leaving: North Pump" in said
    assert "Fills and leaves from Wed 1 Jul 08:00" in said


def test_docks_that_nobody_confirmed_can_be_left_out(
    cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path
) -> None:
    rows = json.loads((Path(small[1]) / "docks.geojson").read_text(encoding="utf-8"))["features"]
    rows[0]["properties"]["confirmed_on"] = "2020-01-01"
    region = write_region_folder(tmp_path / "region", {"docks": rows})
    words = ("passage", "West Mark", "East Mark", "--region", region, *small[2:], "--aboard", "70l", "--json")
    words += ("--closed-dock", "off", "--depart", "2026-07-01T08:00", "--prefer", "soonest")
    docks = [
        [s["dock"] for s in cli(*words, *more).document["plans"][0]["stops"]]
        for more in ((), ("--confirmed-docks-only",))
    ]
    assert docks == [["North Pump"], ["South Pump"]]


# Calling ahead


def test_whom_to_call_is_one_key_of_the_document(across: Callable[..., Outcome]) -> None:
    assert "call_ahead" not in across("--json").document
    document = across("--call-ahead", "--json").document
    (north,) = document["call_ahead"]
    stop = document["plans"][0]["stops"][0]
    assert (north["dock"], north["vhf"], north["phone"]) == ("North Pump", "12", "+000 111")
    assert (north["price_per_l"], north["confirmed_on"]) == (2.0, "2026-06-01")
    need = north["needs"][0]
    assert (need["kind"], need["open_from"], need["open_until"]) == ("stop", stop["begin"], stop["depart"])
    assert need["take_l"] == stop["take_l"]
    assert [need["kind"] for need in north["needs"]] == ["stop", "onward"]


def test_whom_to_call_where_nobody_need_be(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    outcome = cli("passage", "East Mark", "North Pump", *small, "--aboard", "full", "--call-ahead")
    assert outcome.code == 0
    assert "needs no fuel dock" in outcome.out


def test_whom_to_call_is_told_for_an_offered_plan_too(across: Callable[..., Outcome]) -> None:
    outcome = across("--call-ahead", rule="on")
    assert outcome.code == 3
    assert "Must be open from Wed 1 Jul 08:55 to 09:12" in " ".join(outcome.out.split())
    assert [call["dock"] for call in across("--call-ahead", "--json", rule="on").document["call_ahead"]] == [
        "North Pump"
    ]


# Options


def test_via_is_passed_in_order(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    words = ("passage", "West Mark", "West Mark", "--via", "East Bay", "--via", "East Mark", *small)
    outcome = cli(*words, "--aboard", "full", "--depart", "2026-07-01T08:00", "--closed-dock", "off", "--json")
    assert outcome.code == 0, outcome.err
    ends = [leg["to"] for leg in outcome.document["plans"][0]["legs"]]
    assert ends.index("East Bay") < ends.index("East Mark") < len(ends) - 1
    assert ends[-1] == "West Mark"


def test_speed_is_kept_and_echoed(across: Callable[..., Outcome]) -> None:
    for text in ("25", "25kn", "25 kn", "46.3 km/h"):  # 25 kn = 46.3 km/h: 1.852 km/h each by definition
        document = across("--speed", text, "--json").document
        assert document["speed_kn"] == pytest.approx(25, abs=1e-9)
        assert max(leg["speed_kn"] for leg in document["plans"][0]["legs"]) == pytest.approx(25)
    assert "25 kn" in across("--speed", "25").out


def test_more_confidence_leaves_more_and_asks_more(across: Callable[..., Outcome]) -> None:
    """The low figure falls as confidence rises; at 0.5 it is the mean."""
    lows = []
    for confidence in ("0.5", "0.8", "0.95", "0.999"):
        plan = across("--confidence", confidence, "--json").document["plans"][0]
        lows.append(plan["stops"][0]["aboard_low_l"])
    assert lows == sorted(lows, reverse=True)
    half = across("--confidence", "0.5", "--json").document["plans"][0]["stops"][0]
    assert half["aboard_low_l"] == pytest.approx(half["aboard_l"], abs=1e-9)


def test_a_departure_is_the_regions_time_unless_it_says_otherwise(across: Callable[..., Outcome]) -> None:
    """The Azores keep UTC in summer and UTC-1 in winter (IANA time zone database)."""
    for text, utc in (
        ("2026-07-01T08:00", "2026-07-01T08:00:00Z"),
        ("2026-07-01T08:00Z", "2026-07-01T08:00:00Z"),
        ("2026-07-01T08:00+05:00", "2026-07-01T03:00:00Z"),
        ("2026-07-01 08:00", "2026-07-01T08:00:00Z"),
        ("2026-12-01T08:00", "2026-12-01T09:00:00Z"),
    ):
        assert across("--json", aboard="full", depart=text).document["plans"][0]["depart"] == utc


def test_a_departure_in_the_past_is_a_caution(across: Callable[..., Outcome]) -> None:
    past = across("--json", aboard="full", depart="2026-06-30T11:00").document["cautions"]
    ahead = across("--json", aboard="full", depart="2026-06-30T13:00").document["cautions"]
    assert any("past" in caution for caution in past)
    assert not any("past" in caution for caution in ahead)


def test_without_a_departure_it_is_now(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    words = ("passage", "West Mark", "East Mark", *small, "--aboard", "full", "--json")
    moment = datetime(2026, 7, 2, 9, 30, tzinfo=UTC)
    assert cli(*words, now=moment).document["plans"][0]["depart"] == "2026-07-02T09:30:00Z"


@pytest.mark.parametrize(
    ("depart", "begin"),
    [("2026-07-01T08:00", "2026-07-01T08:55"), ("2026-07-01T20:30", "2026-07-01T21:25"), ("2026-07-01T20:55", "")],
)
def test_a_dock_that_is_shut_is_waited_for_and_said(across: Callable[..., Outcome], depart: str, begin: str) -> None:
    """North Pump sells from 6 to 22 and lies 55 minutes off; 62 l take 15 minutes alongside and 1.6 at 38 l/min: 17.

    Leaving at 20:30 she is served at 21:25; leaving at 20:55 she comes at 21:50, too late: at six the next morning.
    """
    stop = across("--json", depart=depart).document["plans"][0]["stops"][0]
    assert stop["begin"].startswith(begin or "2026-07-02T06:00:00Z")
    assert (stop["wait_h"] > 0) == (not begin)
    assert ("for it to open" in across(depart=depart).out) == (not begin)


POSITIONS = ("44 12.5N 38 03.2W", "44.208333 -38.053333", "44 12 30 N 38 03 12 W", "44.208333, -38.053333")


def test_three_notations_of_a_position_are_one_place(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    """12.5 minutes are 12 minutes 30 seconds or 0.208333 degrees; 3.2 are 3 minutes 12 seconds or 0.053333."""
    tracks = []
    for text in POSITIONS:
        outcome = cli("passage", "East Mark", text, *small, "--aboard", "full", "--json")
        assert outcome.code == 0, outcome.err
        plan = outcome.document["plans"][0]
        assert plan["legs"][-1]["to_position"] == pytest.approx([-38.053333, 44.208333], abs=2e-6)
        tracks.append((round(plan["distance_nmi"], 3), round(plan["fuel_l"], 2)))
    assert len(set(tracks)) == 1


def test_names_don_t_mind_case_or_blanks(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    outcome = cli("passage", "west  mark", " EAST MARK ", *small, "--aboard", "full", "--json")
    assert outcome.code == 0
    assert outcome.document["plans"][0]["legs"][-1]["to"] == "East Mark"


def test_volumes_are_understood_and_echoed(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    """US gallon: 3.785411784 l (NIST Handbook 44, appendix C); imperial: 4.54609 l (UK Weights and Measures Act)."""
    for system, text, litres, echo in (
        ("us", "20gal", 20 * 3.785411784, "20.0 US gal (75.7 l)"),
        ("imperial", "20gal", 20 * 4.54609, "20.0 imperial gal (90.9 l)"),
        ("metric", "20usgal", 20 * 3.785411784, "75.7 l"),
        ("metric", "20impgal", 20 * 4.54609, "90.9 l"),
        ("us", "70l", 70.0, "(70.0 l)"),
        ("metric", "70", 70.0, "70.0 l"),
    ):
        boat = write_boat(tmp_path / "b.toml", ('display_units = "metric"', f'display_units = "{system}"'))
        outcome = cli("boat", "show", boat, "--aboard", text)
        assert outcome.code == 0, outcome.err
        assert echo in outcome.out
        document = cli("boat", "show", boat, "--aboard", text, "--json").document
        assert document["aboard"]["mean_l"] == pytest.approx(litres, rel=1e-12)


def test_a_stated_doubt_is_used(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    for text in ("50l±4l", "50l+-4l"):
        assert cli("boat", "show", small[3], "--aboard", text, "--json").document["aboard"]["sd_l"] == 4


def test_known_docks_only_leaves_the_others_out(
    cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path
) -> None:
    """North Pump loses its depth: it is taken with a caution, and left alone where only known docks are wanted."""
    text = (Path(small[1]) / "docks.geojson").read_text(encoding="utf-8")
    rows = json.loads(text)["features"]
    del rows[0]["properties"]["depth_m"]
    region = write_region_folder(tmp_path / "region", {"docks": rows})
    words = ("passage", "West Mark", "East Mark", "--region", region, *small[2:], "--aboard", "70l")
    words += ("--closed-dock", "off")
    trusting = cli(*words, "--depart", "2026-07-01T13:00", "--json").document["plans"][0]
    assert [stop["dock"] for stop in trusting["stops"]] == ["North Pump"]
    assert any("depth" in caution for caution in trusting["stops"][0]["cautions"])
    wary = cli(*words, "--depart", "2026-07-01T13:00", "--known-docks-only", "--json").document["plans"][0]
    assert [stop["dock"] for stop in wary["stops"]] == ["South Pump"]
    assert wary["stops"][0]["begin"] == "2026-07-02T09:00:00Z"  # Thursday, when it opens again


def test_a_smaller_stand_off_shortens_the_way(across: Callable[..., Outcome]) -> None:
    near = across("--json", "--stand-off", "20m", aboard="full").document["plans"][0]["distance_nmi"]
    wide = across("--json", "--stand-off", "500m", aboard="95l±0.1l").document
    assert near < wide["plans"][0]["distance_nmi"]


# Files that it writes


def test_the_map_has_no_address_of_the_internet(across: Callable[..., Outcome], tmp_path: Path) -> None:
    """Nothing is fetched: no src, href, url() or import with a network scheme, and no protocol-relative address."""
    page = tmp_path / "new" / "folder" / "passage.html"
    assert across("--map", page).code == 0
    html = page.read_text(encoding="utf-8")
    loads = re.findall(r"""(?:src|href)\s*=\s*["']?\s*(?:https?:)?//[^"'\s>]+""", html, flags=re.IGNORECASE)
    loads += re.findall(r"""(?:url\(|@import\s)\s*["']?\s*(?:https?:)?//[^"')\s]+""", html, flags=re.IGNORECASE)
    loads += re.findall(r"""(?:fetch|importScripts|XMLHttpRequest|WebSocket|sendBeacon)\s*\(""", html)
    linked = [text for text in loads if "leafletjs.com" not in text]  # a link in words, for a reader to follow
    assert not linked
    assert "North Pump" in html
    assert [p.name for p in page.parent.iterdir()] == ["passage.html"]


@pytest.mark.parametrize("name", ["plan.gpkg", "plan"])
def test_layers_open_in_a_gis_and_keep_their_schema(across: Callable[..., Outcome], tmp_path: Path, name: str) -> None:
    pyogrio = pytest.importorskip("pyogrio")
    out = tmp_path / name
    assert across("--layers", out).code == 0
    files = {path.stem: path for path in out.glob("*.geojson")} if out.is_dir() else {}
    names = set(files) if files else {str(row[0]) for row in pyogrio.list_layers(out)}
    assert names == {"legs", "stops", "rings", "closed_water", "dock_marks"}
    for layer in names:
        frame = pyogrio.read_dataframe(files.get(layer, out), layer=None if files else layer)
        assert frame.crs.to_epsg() == 4326
        if len(frame):
            assert [c for c in frame.columns if c != "geometry"] == list(COMPUTED[layer].column_names)
    legs = pyogrio.read_dataframe(files.get("legs", out), layer=None if files else "legs")
    plan = across("--json").document["plans"][0]
    assert legs["order"].tolist() == list(range(1, len(plan["legs"]) + 1))
    assert legs["fuel_l"].sum() == pytest.approx(plan["fuel_l"])
    stops = pyogrio.read_dataframe(files.get("stops", out), layer=None if files else "stops")
    assert stops["kind"].tolist()[:3] == ["start", "fuel stop", "finish"]


def test_a_map_of_a_region(cli: Callable[..., Outcome], small: tuple[str, ...], tmp_path: Path) -> None:
    page = tmp_path / "region.html"
    outcome = cli("region", "show", small[1], "--boat", small[3], "--map", page, "--json")
    assert outcome.code == 0
    assert outcome.document["out_of_reach"] == []
    assert "North Pump" in page.read_text(encoding="utf-8")


# Demo


@pytest.mark.slow
def test_the_demo_runs_twice_into_one_folder_from_anywhere(
    cli: Callable[..., Outcome], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    texts = []
    for _ in range(2):
        outcome = cli("demo", "--out", "here/demo")
        assert outcome.code == 0, outcome.err
        assert sorted(p.name for p in (tmp_path / "here/demo").iterdir()) == [
            *("learn.html", "passage.gpx", "passage.html", "passage.json", "plan.json", "sheet.html"),
        ]
        texts.append((tmp_path / "here/demo/passage.json").read_text(encoding="utf-8"))
        assert " ".join(demo_region.story().why.split()) in " ".join(outcome.out.split())
    assert texts[0] == texts[1]
    assert [p.name for p in tmp_path.iterdir()] == ["here"]


@pytest.mark.slow
def test_the_demo_is_what_passage_says(demo_run: Outcome, tmp_path: Path, cache_with_demo: Path) -> None:
    """As a process of its own: the plan in the folder is the plan of the command, the clock apart."""
    done = run_apart("demo", cache=cache_with_demo, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    folder = tmp_path / "routeplan-demo"
    written = json.loads((folder / "passage.json").read_text(encoding="utf-8"))
    asked = demo_run.document
    assert [p["name"] for p in written["plans"]] == [p["name"] for p in asked["plans"]]
    assert written["plans"][0]["legs"] == asked["plans"][0]["legs"]
    assert (folder / "passage.html").stat().st_size < 1_500_000  # bytes, the size that is promised


def test_the_demo_s_run_needs_fuel_on_the_way(demo_run: Outcome) -> None:
    story = demo_region.story()
    plan = demo_run.document["plans"][0]
    assert plan["legs"][0]["from"] == story.start
    assert plan["legs"][-1]["to"] == story.finish
    assert plan["stops"]


# Regions and boats


def test_a_sound_region_is_good_even_when_doubts_are_told(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    plain = cli("region", "check", small[1])
    assert plain.code == 0
    count = len(cli("region", "check", small[1], "--json").document["findings"])
    assert f"{count} findings" in plain.out


def test_strict_turns_findings_into_exit_2(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    for more in ((), ("--json",)):
        strict = cli("region", "check", small[1], "--strict", *more)
        assert strict.code == 2
        assert strict.out == ""
        assert len(strict.err.splitlines()) == 1


def test_a_region_is_told_as_a_boat_sees_it(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    bare = cli("region", "show", small[1], "--json").document
    seen = cli("region", "show", small[1], "--boat", small[3], "--json").document
    assert bare["layers"] == {**seen["layers"]}
    assert bare["layers"]["land"] == 1
    assert bare["layers"]["depth"] is None
    assert "closed_channels" in seen
    assert "closed_channels" not in bare


def test_a_boat_s_ranges_by_hand(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    """Full at 95 l, floor 15 l: 80 l; at 20 kn 40 l/h, so 0.5 nmi/l and 40 nmi; at 5 kn 1 nmi/l and 80 nmi."""
    document = cli("boat", "show", small[3], "--json").document
    assert document["usable_l"] == pytest.approx(80)
    by_speed = {row["speed_kn"]: row for row in document["ranges"]}
    assert by_speed[20.0]["range_nmi"] == pytest.approx(40)
    assert by_speed[5.0]["range_nmi"] == pytest.approx(80)
    assert all(row["promised_nmi"] < row["range_nmi"] for row in document["ranges"])
    assert not any(8 < speed < 15 for speed in by_speed)


def test_checking_a_boat_echoes_its_units(cli: Callable[..., Outcome], small: tuple[str, ...]) -> None:
    said = cli("boat", "check", small[3]).out
    for words in ("good", "Plain Test", "100.0 l", "95.0 l", "5.0 l", "10.0 l"):
        assert words in said


# The process


def test_a_reader_that_leaves_is_no_fault(small: tuple[str, ...], tmp_path: Path, cache_with_demo: Path) -> None:
    """`routeplan ... | head -1`: nobody is left to read, which is nobody's fault."""
    with _process(tmp_path, cache_with_demo, "boat", "show", small[3]) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait(timeout=30) == 0
    assert said == ""


def test_ctrl_c_stops_at_once_and_quietly(tmp_path: Path, demo_words: tuple[str, ...], cache_with_demo: Path) -> None:
    """Sent once the building of the network has told of itself, which it does after a second."""
    with _process(tmp_path, cache_with_demo, *demo_words, "--no-cache") as process:
        assert process.stderr is not None
        for line in process.stderr:
            if "Building" in line:
                process.send_signal(signal.SIGINT)
                break
        out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert out == ""
    assert "Traceback" not in err


def test_a_console_without_our_letters_is_no_fault(
    small: tuple[str, ...], tmp_path: Path, cache_with_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the console's encoding lacks is replaced, never a reason to say nothing; JSON stays JSON."""
    monkeypatch.setenv("PYTHONIOENCODING", "ascii")
    words = ("boat", "show", small[3], "--aboard", "50l±4l")
    for more in ((), ("--json",)):
        done = run_apart(*words, *more, cache=cache_with_demo, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["aboard"]["sd_l"] == 4


@pytest.mark.skipif(not Path("/dev/full").is_char_device(), reason="a full disk is a device of Linux")
def test_a_full_disk_is_said_in_one_line(small: tuple[str, ...], tmp_path: Path, cache_with_demo: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "ROUTEPLAN_CACHE": str(cache_with_demo)}
    command = [sys.executable, "-c", "from routeplan.cli import main; main()", "boat", "show", small[3]]
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            command, check=False, stdout=full, stderr=subprocess.PIPE, text=True, cwd=tmp_path, env=environment
        )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "a fault of ours" not in done.stderr


# tests that a shell runs in the background inherit that ctrl-C is ignored
_HEEDS_CTRL_C = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"


def _process(cwd: Path, cache: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", f"{_HEEDS_CTRL_C}; from routeplan.cli import main; main()", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), "ROUTEPLAN_CACHE": str(cache)},
    )


def _when(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _items(value: Any) -> Iterator[tuple[str, Any]]:
    """Every key of a document with its value, at any depth; GeoJSON apart."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key != "track":
                yield key, inner
                yield from _items(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _items(inner)


def _numbers(value: Any) -> Iterator[tuple[str, float]]:
    for key, inner in _items(value):
        if isinstance(inner, int | float) and not isinstance(inner, bool):
            yield key, inner
