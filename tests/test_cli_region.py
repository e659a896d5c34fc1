"""`region build` as it is typed: what it prints and writes, what it refuses in one line, and what a Ctrl-C leaves."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import warnings
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from faces import ROOT, Outcome, run

from layers import read_region

if TYPE_CHECKING:
    from collections.abc import Callable

HOLM = shapely.box(-38.6, 44.4, -38.4, 44.6)
DOCKS = "Name;Lat;Lon;Fuel;Hours;Diesel EUR/l;Depth\nKnap Quay;44°36,1'N;38 30W;diesel;24/7;1,95;2,4\n"


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a folder with a coast, docks and places."""
    folder = tmp_path_factory.mktemp("sources")
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[HOLM], crs=4326).to_file(folder / "coast.shp")
    (folder / "docks.csv").write_text(DOCKS, encoding="utf-8")
    mark = '<wpt lat="44.3" lon="-38.5"><name>Mill Harbour</name></wpt>'
    gpx = f'<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{mark}</gpx>'
    (folder / "places.gpx").write_text(gpx, encoding="utf-8")
    (folder / "busy").mkdir()
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[HOLM], crs=4326).to_file(folder / "busy" / "a.gpkg")
    return folder


@pytest.fixture
def typed(sources: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Outcome]:
    """`routeplan region build`, in a folder with these files and room to write."""
    folder = shutil.copytree(sources, tmp_path / "here")
    monkeypatch.chdir(folder)

    def build(*words: object) -> Outcome:
        return run("region", "build", *words, cache=tmp_path / "cache", now=NOON)

    return build


SOURCES = ("coast.shp", "docks.csv", "places.gpx")
ZONE = ("--time-zone", "Atlantic/Azores")
NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)


def test_no_recipe_is_needed_and_all_is_told(typed: Callable[..., Outcome]):
    done = typed("my-waters", *SOURCES, *ZONE)
    assert done.code == 0
    for part in (
        "docks.csv: docks, 1 of 1 row",
        "price_diesel_per_l",
        "columns parted by semicolons",
        "coast.shp: land, 1 of 1 row",
        "places.gpx: waypoints, 1 of 1 row",
        "'Depth' are taken for metres, for nothing says their unit",
        "Missing: depth (no depth is checked)",
        "routeplan region check my-waters",
        "routeplan passage 'Mill Harbour' 'Knap Quay' --region my-waters",
    ):
        assert part in " ".join(done.out.split()), part
    region = read_region("my-waters")
    assert region.layer("docks").loc[0, "price_diesel_per_l"] == 1.95
    assert region.about.time_zone == "Atlantic/Azores"


def test_one_document_for_a_program(typed: Callable[..., Outcome]):
    document = typed("my.gpkg", *SOURCES, *ZONE, "--json").document
    assert document["schema"] == "routeplan/region-build/1"
    assert document["written"] is True
    assert {table["where"]: table["used"] for table in document["tables"]} == dict.fromkeys(SOURCES, 1)
    assert document["from"]["extent"] == "what the sources cover, rounded outwards"
    assert read_region("my.gpkg").present == {"land", "docks", "waypoints"}


def test_guesses_are_shown_and_kept_as_a_recipe(typed: Callable[..., Outcome]):
    done = typed("my-waters", *SOURCES, "--dry-run", "--write-recipe", "notes/my.toml")
    assert done.code == 0
    assert not Path("my-waters").exists()
    recipe = Path("notes/my.toml").read_text(encoding="utf-8")
    assert 'file = "../docks.csv"' in recipe
    assert recipe.strip() in done.out
    Path("notes/my.toml").write_text(recipe.replace('depth_m = "m"', 'depth_m = "ft"'), encoding="utf-8")
    done = typed("my-waters", "--recipe", "notes/my.toml", *ZONE)
    assert done.code == 0
    assert "as the recipe says" in done.out
    assert read_region("my-waters").layer("docks").loc[0, "depth_m"] == pytest.approx(2.4 * 0.3048)


@pytest.mark.parametrize("out", ["my-waters", "my.gpkg"])
def test_gdal_opens_what_was_written_without_a_word(typed: Callable[..., Outcome], out: str):
    """Outer rings run counter-clockwise, RFC 7946, section 3.1.6."""
    assert typed(out, *SOURCES, *ZONE).code == 0
    files = [(Path(out), name) for name, _ in pyogrio.list_layers(out)] if out.endswith("gpkg") else []
    files = files or [(path, path.stem) for path in Path(out).glob("*.geojson")]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for path, name in files:
            found = pyogrio.read_dataframe(path, layer=name)
            if name != "routeplan_region":
                assert found.crs.to_epsg() == 4326
                assert found.is_valid.all()
    assert {name for _, name in files} >= {"land", "docks", "waypoints"}
    ring = read_region(out).layer("land").geometry[0].exterior
    assert shapely.is_ccw(ring)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("out",), "SOURCE: is missing"),
        (("out", *SOURCES), "--time-zone: is missing, and docks.csv, line 2, has hours"),
        (("out", "none.shp"), "none.shp: there is no such file"),
        (("out", "coast.zip"), "coast.zip: there is no such file"),
        (("coast.shp", "docks.csv"), "coast.shp: is the name of a file"),
        (("busy", "coast.shp"), "busy: is a folder that holds something else than a region"),
        (("busy", "coast.shp", "--replace"), "busy: is a folder that holds something else than a region"),
        (("busy/a.gpkg", "coast.shp", "--replace"), "busy/a.gpkg: is a GeoPackage that holds something else"),
        (("out", "coast.shp", "--extent", "1 2 3"), "--extent: can't be read (got '1 2 3')"),
        (("out", "coast.shp", "--today", "soon"), "--today: is no date"),
        (("out", "coast.shp", "--currency", "euro"), "--currency: must be"),
        (("out", "--recipe", "none.toml"), "none.toml: there is no such file"),
        (("", "coast.shp"), "OUT: names no file"),
    ],
)
def test_what_cannot_be_done_is_one_line(typed: Callable[..., Outcome], words: tuple[str, ...], says: str):
    before = sorted(Path().rglob("*"))
    done = typed(*words)
    assert (done.code, done.out) == (2, "")
    assert says in done.said
    assert "\n" not in done.said
    assert sorted(Path().rglob("*")) == before


def test_a_region_is_replaced_only_where_that_was_said(typed: Callable[..., Outcome]):
    assert typed("out", "coast.shp").code == 0
    old = read_region("out").digest
    done = typed("out", *SOURCES, *ZONE)
    assert (done.code, done.out) == (2, "")
    assert "holds a region already" in done.said
    assert read_region("out").digest == old
    assert typed("out", *SOURCES, *ZONE, "--replace").code == 0
    assert "docks" in read_region("out").present
    done = typed("out", "out/land.geojson", "--replace")
    assert "a source lies in it" in done.said


def test_a_fault_leaves_the_old_region_as_it_was(typed: Callable[..., Outcome]):
    assert typed("out", "coast.shp").code == 0
    old = {path: path.read_bytes() for path in Path("out").iterdir()}
    Path("docks.csv").write_text(DOCKS.replace("38 30W", "338 30W"), encoding="utf-8")
    assert typed("out", *SOURCES, *ZONE, "--replace").code == 2
    assert {path: path.read_bytes() for path in Path("out").iterdir()} == old


@pytest.mark.slow
def test_ctrl_c_while_it_writes(tmp_path: Path):
    """A real SIGINT, sent as soon as the draft is seen: the old region is there, and nothing else."""
    turn = np.linspace(0, 2 * np.pi, 400_000, endpoint=False)
    ring = np.column_stack([-38.5 + 0.2 * np.cos(turn), 44.5 + 0.2 * np.sin(turn)])
    gpd.GeoDataFrame({"name": ["Holm"]}, geometry=[HOLM], crs=4326).to_file(tmp_path / "coast.gpkg")
    code = "from routeplan.cli import main; main()"
    words = [sys.executable, "-c", code, "region", "build", "out"]
    there = {"cwd": tmp_path, "env": {**os.environ, "PYTHONPATH": str(ROOT)}, "text": True}
    subprocess.run([*words, "coast.gpkg"], check=True, capture_output=True, timeout=60, **there)
    old = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    gpd.GeoDataFrame({"name": ["Big"]}, geometry=[shapely.Polygon(ring)], crs=4326).to_file(tmp_path / "land.fgb")
    again = subprocess.Popen([*words, "land.fgb", "--replace"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, **there)
    until = time.monotonic() + 60
    while not list((tmp_path / "out").glob(".out.*")) and again.poll() is None and time.monotonic() < until:
        time.sleep(0.001)
    again.send_signal(signal.SIGINT)
    out, _ = again.communicate(timeout=60)
    assert (again.returncode, out) == (130, "")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == old


def test_an_extent_by_two_corners(typed: Callable[..., Outcome]):
    assert typed("out", "coast.shp", "--extent", "44 06N 38 48W to 44 36N 38 12W").code == 0
    assert read_region("out").about.extent == (-38.8, 44.1, -38.2, 44.6)
    assert json.loads(Path("out/land.geojson").read_text(encoding="utf-8"))["features"]


def test_what_is_left_to_say_comes_first_and_is_in_the_recipe(typed: Callable[..., Outcome]):
    gpd.GeoDataFrame({"id": [1]}, geometry=[HOLM], crs=4326).to_file("norway.shp")
    gpd.GeoDataFrame({"id": [1]}, geometry=[HOLM], crs=4326).to_file("finland.shp")
    done = typed("out", "norway.shp", "finland.shp", *SOURCES, *ZONE)
    assert (done.code, done.out) == (2, "")
    assert "norway.shp: nothing tells what it holds; and so for 1 more: finland.shp" in done.said
    done = typed("out", "norway.shp", "finland.shp", *SOURCES, "--dry-run", "--write-recipe", "my.toml")
    assert done.code == 0
    assert done.out.startswith("For you to say")
    assert done.out.index("finland.shp: nothing tells") < done.out.index("docks.csv: docks")
    assert Path("my.toml").read_text(encoding="utf-8").count('as = ""  # fill in: land,') == 2


def test_a_recipe_is_never_written_over_what_is_there(typed: Callable[..., Outcome]):
    Path("my.toml").write_text("# mine\n", encoding="utf-8")
    done = typed("out", *SOURCES, "--dry-run", "--write-recipe", "my.toml")
    assert (done.code, Path("my.toml").read_text(encoding="utf-8")) == (2, "# mine\n")
    done = typed("out", *SOURCES, "--dry-run", "--write-recipe", "docks.csv", "--replace")
    assert "names one of the sources" in done.said
    assert Path("docks.csv").read_text(encoding="utf-8") == DOCKS
    assert typed("out", *SOURCES, "--dry-run", "--write-recipe", "my.toml", "--replace").code == 0


def test_the_usual_slips_are_told_with_what_to_type(typed: Callable[..., Outcome], tmp_path: Path):
    assert "routeplan region build my-waters busy" in typed("busy").said
    done = run("region", "check", "busy", cache=tmp_path / "cache", now=NOON)
    assert "routeplan region build NAME busy" in done.said
    Path("docks.xlsx").write_bytes(b"PK")
    assert "save its sheet as CSV" in typed("out", "docks.xlsx").said
    for number in ("000", "001"):
        Path(f"ZZ9XX001.{number}").write_bytes(b"\x00")
    assert "is an update of ZZ9XX001.000: name ZZ9XX001.000" in typed("out", "ZZ9XX001.001").said


def test_build_check_and_show_tell_each_source_in_full(typed: Callable[..., Outcome], tmp_path: Path):
    recipe = '[[source]]\nfile = "coast.shp"\ntitle = "Old sheet"\nedition = "7"\nlicence = "free"\n'
    Path("my.toml").write_text(recipe, encoding="utf-8")
    line = "land: Old sheet, edition 7, free"
    assert line in typed("out", "--recipe", "my.toml").out
    for verb in ("check", "show"):
        done = run("region", verb, "out", cache=tmp_path / "cache", now=NOON)
        assert line in done.out
        assert "no prices" in done.out
