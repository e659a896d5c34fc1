"""Regions and layers are written whole or not at all."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pyogrio
import pytest
import shapely

from layers import (
    COMPUTED,
    LAYERS,
    InputError,
    Region,
    RegionAbout,
    build_layer,
    build_region,
    read_region,
    write_layers,
    write_region,
)
from layers.files import replaced_file
from layers.writing import _exchange

ABOUT = RegionAbout(
    name="Nowhere Sound",
    extent=(-39.5, 43.75, -36.0, 45.25),
    time_zone="Atlantic/Azores",
    chart_datum="LAT",
    clearance_datum="MHWS",
    currency="EUR",
)


def region(name: str = "Nowhere Sound", *layers: str) -> Region:
    frames = {}
    if "land" in layers:
        frames["land"] = build_layer(LAYERS["land"], [{"name": name}], [shapely.box(-38.2, 44.2, -38.1, 44.3)])
    if "docks" in layers:
        frames["docks"] = build_layer(LAYERS["docks"], [{"name": name, "fuels": "diesel"}], [shapely.Point(-38, 44)])
    return build_region(ABOUT.model_copy(update={"name": name}), frames)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_folder_holds_what_is_present_and_nothing_else(tmp_path: Path):
    write_region(region("A", "land", "docks"), tmp_path / "r")
    assert names(tmp_path / "r") == ["docks.geojson", "land.geojson", "region.toml"]
    assert names(tmp_path) == ["r"]


def test_folders_on_the_way_are_made(tmp_path: Path):
    write_region(region(), tmp_path / "a" / "b" / "r")
    write_region(region(), tmp_path / "c" / "d" / "r.gpkg")
    assert (tmp_path / "a/b/r/region.toml").is_file()
    assert (tmp_path / "c/d/r.gpkg").is_file()


def test_an_old_region_is_replaced_and_strangers_stay(tmp_path: Path):
    folder = tmp_path / "r"
    write_region(region("old", "land", "docks"), folder)
    (folder / "fillups.csv").write_text("boat\n", encoding="utf-8")
    (folder / "boats").mkdir()
    write_region(region("new", "docks"), folder)
    assert names(folder) == ["boats", "docks.geojson", "fillups.csv", "region.toml"]
    again = read_region(folder)
    assert (again.about.name, again.present) == ("new", {"docks"})


def test_a_geopackage_is_replaced(tmp_path: Path):
    path = tmp_path / "r.gpkg"
    write_region(region("old", "land", "docks"), path)
    write_region(region("new", "docks"), path)
    assert read_region(path).present == {"docks"}
    assert names(tmp_path) == ["r.gpkg"]


def test_the_ending_may_be_in_capitals(tmp_path: Path):
    write_region(region("A", "docks"), tmp_path / "r.GPKG")
    assert read_region(tmp_path / "r.GPKG").about.name == "A"


def test_a_dot_in_a_folders_name_is_no_ending(tmp_path: Path):
    write_region(region(), tmp_path / "nowhere.2026")
    assert (tmp_path / "nowhere.2026" / "region.toml").is_file()


def test_a_link_stays_a_link(tmp_path: Path):
    write_region(region("old"), tmp_path / "r.gpkg")
    write_region(region("old"), tmp_path / "r")
    (tmp_path / "link.gpkg").symlink_to("r.gpkg")
    (tmp_path / "link").symlink_to("r")
    write_region(region("new"), tmp_path / "link.gpkg")
    write_region(region("new"), tmp_path / "link")
    assert (tmp_path / "link.gpkg").is_symlink()
    assert (tmp_path / "link").is_symlink()
    assert {read_region(tmp_path / name).about.name for name in ("r.gpkg", "r")} == {"new"}


def test_here_is_a_folder_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    write_region(region("A", "docks"), ".")
    assert read_region(".").present == {"docks"}


def test_new_files_may_be_read_by_whom_the_user_lets(tmp_path: Path):
    """As any program's files: all that the user's mask leaves."""
    write_region(region("A"), tmp_path / "r.gpkg")
    (tmp_path / "plain").touch()
    assert (tmp_path / "r.gpkg").stat().st_mode == (tmp_path / "plain").stat().st_mode


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        write_region(region("new", "land"), path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("ending", ["", ".gpkg"])
def test_places_that_cannot_be_written(tmp_path: Path, ending: str):
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    (tmp_path / "loop").symlink_to("loop")
    assert "can't be written: " in refusal(tmp_path / "file" / f"r{ending}")
    assert "can't be written: " in refusal(tmp_path / "loop" / f"r{ending}")
    assert "can't be written: " in refusal(Path("/proc/nowhere") / f"r{ending}")
    assert "can't be written: " in refusal(tmp_path / f"{'x' * 300}{ending}")
    assert (tmp_path / "file").read_text(encoding="utf-8") == "mine"
    assert names(tmp_path) == ["file", "loop"]


def test_a_file_is_no_folder_and_a_folder_no_file(tmp_path: Path):
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    (tmp_path / "r.gpkg").mkdir()
    assert "is a file, not a folder" in refusal(tmp_path / "file")
    assert "is a folder, not a file" in refusal(tmp_path / "r.gpkg")
    assert "is the name of a file" in refusal(tmp_path / "r.geojson")
    assert names(tmp_path) == ["file", "r.gpkg"]


def skip_where_modes_do_not_bind(folder: Path) -> None:
    """Root may do all; a run without that power still tests what is refused."""
    probe = folder / "probe"
    probe.touch(mode=0)
    if os.access(probe, os.R_OK):
        pytest.skip("this user may read and write everything")
    probe.unlink()


@pytest.mark.parametrize("name", ["r", "r.gpkg"])
def test_a_folder_without_leave_to_write(tmp_path: Path, name: str):
    skip_where_modes_do_not_bind(tmp_path)
    write_region(region("old"), tmp_path / "r")
    write_region(region("old"), tmp_path / "r.gpkg")
    (tmp_path / "r").chmod(0o500)
    tmp_path.chmod(0o500)
    try:
        assert "can't be written: permission denied" in refusal(tmp_path / name)
        assert read_region(tmp_path / name).about.name == "old"
    finally:
        tmp_path.chmod(0o700)
        (tmp_path / "r").chmod(0o700)


def test_an_exchange_that_fails_puts_the_old_files_back(tmp_path: Path):
    """The draft lacks its last file, so the exchange breaks when the first is already in place."""
    folder = tmp_path / "r"
    write_region(region("old", "land", "docks"), folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    draft = folder / ".draft"
    draft.mkdir()
    (draft / "land.geojson").write_text("new", encoding="utf-8")
    (draft / "hazards.geojson").write_text("new", encoding="utf-8")
    with pytest.raises(FileNotFoundError):
        _exchange(draft, folder, ["land.geojson", "hazards.geojson", "region.toml"], ["docks.geojson"])
    after = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    assert after == before


def test_a_file_whose_writing_fails_is_not_there(tmp_path: Path):
    path = tmp_path / "r.gpkg"
    path.write_text("old", encoding="utf-8")

    def cut_short() -> None:
        with replaced_file(path) as draft:
            draft.write_text("half", encoding="utf-8")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        cut_short()
    assert path.read_text(encoding="utf-8") == "old"
    assert names(tmp_path) == ["r.gpkg"]


def test_computed_layers_are_written_for_a_gis(tmp_path: Path):
    rings = build_layer(
        COMPUTED["rings"],
        [{"title": "Today", "label": "40 nmi", "kind": "promised", "distance_nmi": 40}],
        [shapely.LineString([(-38, 44), (-37, 44), (-38, 44)])],
    )
    stops = build_layer(
        COMPUTED["stops"],
        [{"order": 1, "name": "A", "kind": "start", "title": "A", "text": "one\ntwo", "label": "full"}],
        [shapely.Point(-38, 44)],
    )
    write_layers({"rings": rings, "stops": stops}, tmp_path / "out.gpkg")
    write_layers({"rings": rings, "stops": stops}, tmp_path / "out")
    read = pyogrio.read_dataframe(tmp_path / "out.gpkg", layer="stops")
    assert (read["order"].tolist(), read["text"].tolist()) == ([1], ["one\ntwo"])
    assert names(tmp_path / "out") == ["rings.geojson", "stops.geojson"]
    document = json.loads((tmp_path / "out" / "rings.geojson").read_text(encoding="utf-8"))
    assert document["features"][0]["properties"]["distance_nmi"] == 40


def test_no_layers_and_unknown_layers(tmp_path: Path):
    write_layers({}, tmp_path / "none")
    assert names(tmp_path / "none") == []
    with pytest.raises(InputError, match="layer: is unknown"):
        write_layers({"roads": build_layer(LAYERS["land"], [], [])}, tmp_path / "x")
    assert names(tmp_path) == ["none"]


@pytest.mark.parametrize("cut", range(9))
def test_a_ctrl_c_at_any_step_of_the_exchange_leaves_one_region_whole(tmp_path: Path, cut: int):
    """Two files move out and three in: cut short before, the old region is there; after the fifth, the new one."""
    about = RegionAbout(
        name="A", extent=(-39, 44, -38, 45), time_zone="UTC", chart_datum="d", clearance_datum="c", currency="EUR"
    )
    mark = build_layer(LAYERS["waypoints"], [{"name": "Knap", "kind": "mark"}], [shapely.Point(-38.5, 44.5)])
    land = build_layer(LAYERS["land"], [{}], [shapely.box(-38.6, 44.4, -38.5, 44.5)])
    old, new = build_region(about, {"land": land}), build_region(about, {"land": land[:0], "waypoints": mark})
    folder = tmp_path / "region"
    write_region(old, folder)
    (folder / "mine.txt").write_text("mine", encoding="utf-8")
    steps, rename = iter(range(100)), Path.rename
    names: list[str] = []

    def broken(self: Path, target: Path) -> Path:
        if next(steps) == cut:
            raise KeyboardInterrupt
        names.append(self.name)
        return rename(self, target)

    done = True
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "rename", broken)
        try:
            write_region(new, folder)
        except KeyboardInterrupt:
            done = False
    assert done == (cut >= 5)
    assert names[:1] == ["region.toml"][:cut]  # what makes it a region goes first,
    assert not done or names[-1] == "region.toml"  # and comes last: cut off from its power, it is none
    assert read_region(folder).digest == (new if done else old).digest
    assert (folder / "mine.txt").exists()
    assert not [path for path in folder.iterdir() if path.name.startswith(".")]
