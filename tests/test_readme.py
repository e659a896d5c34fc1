"""README.md is true: its commands run, its figures come out of them, its example in Python works."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
import tomllib
from datetime import date
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from faces import ROOT, run_apart

import demo_region
import routeplan.cli
from layers import assemble, read_recipe
from layers.errors import InputError
from layers.region import read_region
from layers.schema import LAYERS
from routeplan.boats import read_boat
from routeplan.cruise_file import read_cruise

if TYPE_CHECKING:
    from pathlib import Path

README = (ROOT / "README.md").read_text(encoding="utf-8")
SHELL = re.findall(r"^```sh\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
BLOCKS = [[line for line in block.splitlines() if line.startswith("routeplan ")] for block in SHELL[2:]]
COMMANDS = [line for block in BLOCKS for line in block]
MARKED = re.findall(r"((?:^(?!<!--).+\n)+)<!-- from: (.+?) -->$", README, flags=re.MULTILINE)
ROWS = re.findall(r"^\| `(\w+)` \| ([a-z, ]+) \| (.+) \|$", README, flags=re.MULTILINE)
LIMIT_S = 120  # [s] for one command on a busy machine


@pytest.fixture
def beside_the_demo(tmp_path: Path) -> Path:
    """Make a folder of one's own in which the README's paths lead to the demo's data."""
    (tmp_path / "demo_region").symlink_to(ROOT / "demo_region")
    return tmp_path


def test_the_two_commands_that_everything_hangs_on() -> None:
    """A bare machine: the first makes an environment and runs the demo, the second passes the tests."""
    first, second = SHELL[0], SHELL[1]
    assert "-m venv" in first
    assert "routeplan demo" in first
    assert "pip install" in second
    assert "[test]" in second
    assert "pytest" in second
    assert len(first.strip().splitlines()) == len(second.strip().splitlines()) == 1
    for number, block in ((1, first), (2, second)):
        printed = subprocess.run(
            [sys.executable, str(ROOT / ".ci" / "readme_command"), str(number)],
            check=True,
            capture_output=True,
            text=True,
        )
        assert printed.stdout.strip() == block.strip()


@pytest.mark.slow
@pytest.mark.parametrize("block", BLOCKS, ids=range(len(BLOCKS)))
def test_commands_run_one_after_the_other(block: list[str], beside_the_demo: Path, cache_with_demo: Path) -> None:
    for line in block:
        done = run_apart(*shlex.split(line)[1:], cache=cache_with_demo, cwd=beside_the_demo, timeout_s=LIMIT_S)
        assert done.returncode == 0, f"{line}: {done.stderr}"
        assert done.stdout
        for option, name in re.findall(r"(--map|--layers|--page) (\S+)", line):
            assert (beside_the_demo / name).exists(), option


def test_there_are_commands_to_run() -> None:
    assert len(COMMANDS) >= 3
    assert any(line.startswith("routeplan passage") for line in COMMANDS)


@pytest.mark.slow
@pytest.mark.parametrize(("words", "command"), MARKED)
def test_figures_come_out_of_their_command(
    words: str, command: str, beside_the_demo: Path, cache_with_demo: Path
) -> None:
    """Every number in the paragraph is one that the command prints, rounded as far as the paragraph rounds it."""
    figures = re.findall(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.]*\w)", words)
    assert figures, words
    done = run_apart(*shlex.split(command)[1:], cache=cache_with_demo, cwd=beside_the_demo, timeout_s=LIMIT_S)
    assert done.returncode == 0, done.stderr
    printed = [float(text) for text in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", done.stdout)]
    for figure in figures:
        digits = len(figure.partition(".")[2])
        assert any(round(number, digits) == float(figure) for number in printed), figure


def test_there_are_figures_that_are_held_to() -> None:
    assert MARKED


@pytest.fixture
def own_files(tmp_path: Path) -> Path:
    """Write the boat, the region and the dock that README shows, as printed."""
    shown = re.findall(r"^```toml\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    signs = ("no_wake_kn =", "[[source]]", "extent =", "visit =")
    boat, recipe, region, cruise = (next(text for text in shown if sign in text) for sign in signs)
    (tmp_path / "cruise.toml").write_text(
        cruise.replace("boats/", f"{demo_region.data_folder()}/boats/"), encoding="utf-8"
    )
    (docks,) = re.findall(r"^```json\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    (tmp_path / "waters").mkdir()
    (tmp_path / "boat.toml").write_text(boat, encoding="utf-8")
    (tmp_path / "recipe.toml").write_text(recipe, encoding="utf-8")
    (tmp_path / "waters" / "region.toml").write_text(region, encoding="utf-8")
    (tmp_path / "waters" / "docks.geojson").write_text(docks, encoding="utf-8")
    return tmp_path


def test_the_boat_file_that_is_shown_is_a_good_one(own_files: Path) -> None:
    boat = read_boat(own_files / "boat.toml")
    assert boat.usable_l(boat.tank.full_mark_l) > 0


def test_the_cruise_file_that_is_shown_is_read(own_files: Path) -> None:
    asked = read_cruise(own_files / "cruise.toml", ZoneInfo("Atlantic/Azores"))
    assert [visit.night for visit in asked.visits] == [False, True, False]
    assert (asked.boats[0].contact, asked.docks[0].gasoline_pumps) == ("VHF 72", 2)


def test_a_region_is_built_by_the_recipe_that_is_shown(own_files: Path) -> None:
    """Of three docks the recipe takes those that sell fuel; a depth of 9 ft and a channel come from it as well."""
    rows = ["Place,Sells,kind,lat,lon,depth", "Quay,both,fuel,44.3,-38.5,9", "Bar,both,drinks,44.3,-38.4,9"]
    (own_files / "docks.csv").write_text("\n".join(rows), encoding="utf-8")
    docks = assemble(read_recipe(own_files / "recipe.toml"), today=date(2026, 7, 1)).region.layer("docks")
    assert docks["name"].tolist() == ["Quay"]
    assert (docks.loc[0, "fuels"], docks.loc[0, "vhf"]) == ("gasoline,diesel", "12")
    assert docks.loc[0, "depth_m"] == pytest.approx(9 * 0.3048)


@pytest.mark.parametrize("words", ["boat check boat.toml", "region check waters"])
def test_the_files_that_are_shown_pass_their_check(words: str, own_files: Path, cache_with_demo: Path) -> None:
    done = run_apart(*words.split(), cache=cache_with_demo, cwd=own_files, timeout_s=LIMIT_S)
    assert done.returncode == 0, done.stderr


def test_a_region_file_says_all_that_it_must_and_no_more(own_files: Path) -> None:
    """Without any one of the lines the check fails and names the key."""
    path = own_files / "waters" / "region.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    for line in lines:
        path.write_text("\n".join(other for other in lines if other is not line), encoding="utf-8")
        with pytest.raises(InputError, match=line.split(" = ")[0]):
            read_region(own_files / "waters")


def test_a_passage_over_the_files_that_are_shown(own_files: Path, cache_with_demo: Path) -> None:
    """To a dock and from a position; every layer that is absent, but the waypoints, is cautioned of."""
    docks = json.loads((own_files / "waters" / "docks.geojson").read_text(encoding="utf-8"))["features"]
    west, south, *_ = tomllib.loads((own_files / "waters" / "region.toml").read_text(encoding="utf-8"))["extent"]
    done = run_apart(
        *("passage", f"{south + 0.1:.3f}, {west + 0.1:.3f}", docks[0]["properties"]["name"]),
        *("--region", "waters", "--boat", "boat.toml", "--aboard", "40gal", "--depart", "2026-07-01T10:00", "--json"),
        cache=cache_with_demo,
        cwd=own_files,
        timeout_s=LIMIT_S,
    )
    assert done.returncode == 0, done.stderr
    told = {name for name in LAYERS if f"The region has no {name} layer" in done.stdout}
    assert told == set(LAYERS) - {"docks", "waypoints"}


def test_the_table_of_columns_is_the_schema() -> None:
    """Layers, geometry, columns in order, which may be left out, and the words that are allowed."""
    assert [name for name, _, _ in ROWS] == list(LAYERS)
    for name, geometry, columns in ROWS:
        schema = LAYERS[name]
        assert tuple(geometry.split(", ")) == schema.geometry, name
        shown = re.findall(r"`([a-z_]+\??)`(?: \(([^()]*)\))?", columns)
        assert [column for column, _ in shown] == [c.name + "?" * (not c.required) for c in schema.columns], name
        for (column, remark), is_one in zip(shown, schema.columns, strict=True):
            if is_one.choices:
                assert remark.partition(":")[0].split(", ") == list(is_one.choices), column
            if is_one.kind in ("hours", "date"):
                assert remark == is_one.kind, column


@pytest.mark.slow
def test_the_example_in_python_runs(beside_the_demo: Path) -> None:
    (text,) = re.findall(r"^```python\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    done = subprocess.run(
        [sys.executable, "-c", f"import sys\nsys.path.insert(0, {str(ROOT)!r})\n{text}"],
        check=False,
        capture_output=True,
        text=True,
        cwd=beside_the_demo,
        timeout=LIMIT_S,
    )
    assert done.returncode == 0, done.stderr
    page = (beside_the_demo / "passage.html").read_text(encoding="utf-8")
    assert len(page) > 100_000
    assert "Call each dock ahead" in page  # a plan's own cautions come with it


def test_every_command_and_option_that_is_named_exists() -> None:
    help_of = {c.name or c.callback.__name__.replace("_", "-") for c in routeplan.cli.app.registered_commands}  # type: ignore[union-attr]
    help_of |= {group.name for group in routeplan.cli.app.registered_groups if group.name}
    named = set(re.findall(r"`routeplan ([a-z]+)", README))
    assert named <= help_of


def test_links_and_pictures_are_there() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        if "://" not in target:
            assert (ROOT / target).exists(), target
