"""The cache of built networks: right or not used at all; never trusted, never unpickled."""

from __future__ import annotations

import ast
import json
import os
import pickle
import shutil
import stat
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from oracles.small_world import box, dock, make_boat, make_region, waypoint, zone

from routeplan import building
from routeplan.building import build_network
from routeplan.cache import cache_folder, cache_key, load_arrays, store_arrays
from routeplan.margins import Margins
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from layers import Region
    from routeplan.network import Network

DATA = {"words": ["a", None], "number": 1.5}
KEY = "0" * 64


def _arrays() -> dict[str, Any]:
    return {"small": np.arange(6.0).reshape(3, 2), "large": np.arange(40_000, dtype=np.int32)}


@pytest.fixture
def entry(tmp_path: Path) -> Path:
    store_arrays(tmp_path, KEY, _arrays(), DATA)
    return tmp_path / KEY


def test_what_was_stored_comes_back(entry: Path) -> None:
    loaded = load_arrays(entry.parent, KEY)
    assert loaded is not None
    arrays, data = loaded
    assert data == DATA
    assert set(arrays) == set(_arrays())
    for name, array in _arrays().items():
        assert arrays[name].dtype == array.dtype
        assert np.array_equal(arrays[name], array)
    assert [p.name for p in entry.parent.iterdir()] == [KEY], "something is left beside the entry"


class _Trap:
    """Leaves a mark where it is unpickled."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self) -> Any:
        return os.mkdir, (str(self.mark),)


def _rewritten(entry: Path, change: Any) -> None:
    meta = json.loads((entry / "meta.json").read_text())
    change(meta)
    (entry / "meta.json").write_text(json.dumps(meta))


def _vouched(entry: Path, name: str) -> None:
    """Write the checksum of a file into the entry, as somebody would who means harm."""
    import hashlib  # noqa: PLC0415

    digest = hashlib.sha256((entry / f"{name}.npy").read_bytes()).hexdigest()
    _rewritten(entry, lambda meta: meta["arrays"].update({name: digest}))


def _flip(path: Path, at: int) -> None:
    body = bytearray(path.read_bytes())
    body[at] ^= 0x10
    path.write_bytes(bytes(body))


DAMAGE = {
    "a bit of an array": lambda e: _flip(e / "large.npy", -9),
    "a bit of a header": lambda e: _flip(e / "small.npy", 20),
    "half a file": lambda e: (e / "large.npy").write_bytes((e / "large.npy").read_bytes()[:70_000]),
    "an empty file": lambda e: (e / "large.npy").write_bytes(b""),
    "a missing file": lambda e: (e / "small.npy").unlink(),
    "a folder for a file": lambda e: ((e / "small.npy").unlink(), (e / "small.npy").mkdir()),
    "no meta": lambda e: (e / "meta.json").unlink(),
    "empty meta": lambda e: (e / "meta.json").write_text(""),
    "half of meta": lambda e: (e / "meta.json").write_text((e / "meta.json").read_text()[:40]),
    "binary meta": lambda e: (e / "meta.json").write_bytes(b"\xff\xfe\x00\x93"),
    "meta that is a list": lambda e: (e / "meta.json").write_text("[1, 2]"),
    "meta without arrays": lambda e: _rewritten(e, lambda m: m.pop("arrays")),
    "arrays that are a list": lambda e: _rewritten(e, lambda m: m.update(arrays=["small"])),
    "data changed": lambda e: _rewritten(e, lambda m: m["data"].update(number=2.5)),
    "no data": lambda e: _rewritten(e, lambda m: m.pop("data")),
    "another key": lambda e: _rewritten(e, lambda m: m.update(key="1" * 64)),
    "deep meta": lambda e: (e / "meta.json").write_text("[" * 200_000),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_entry_is_no_entry(entry: Path, damage: str) -> None:
    DAMAGE[damage](entry)
    assert load_arrays(entry.parent, KEY) is None


def test_nothing_is_unpickled(entry: Path, tmp_path: Path) -> None:
    """An array of objects whose checksum somebody has vouched for, and a bare pickle in an array's place."""
    mark = tmp_path / "mark"
    np.save(entry / "small.npy", np.array([_Trap(mark)], dtype=object), allow_pickle=True)
    _vouched(entry, "small")
    assert load_arrays(entry.parent, KEY) is None
    (entry / "small.npy").write_bytes(pickle.dumps(_Trap(mark)))
    _vouched(entry, "small")
    assert load_arrays(entry.parent, KEY) is None
    assert not mark.exists()


def test_a_name_in_meta_reaches_no_file_outside(entry: Path, tmp_path: Path) -> None:
    """Arrays are read from the entry only, whatever its meta says."""
    np.save(tmp_path / "secret.npy", np.zeros(3))
    digest = __import__("hashlib").sha256((tmp_path / "secret.npy").read_bytes()).hexdigest()
    _rewritten(entry, lambda m: m["arrays"].update({"../secret": digest}))
    loaded = load_arrays(entry.parent, KEY)
    assert loaded is None or "../secret" not in loaded[0]


def test_keys_differ_where_anything_does() -> None:
    keys = {cache_key(), cache_key(a=1), cache_key(a=2), cache_key(b=1), cache_key(a=[1]), cache_key(a="1")}
    assert len(keys) == 6
    assert cache_key(a=1, b=2) == cache_key(b=2, a=1)
    assert all(len(k) == 64 for k in keys)


def test_a_disk_that_will_not_have_it_is_let_be(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    store_arrays(blocked, KEY, _arrays(), DATA)
    assert load_arrays(blocked, KEY) is None
    assert blocked.read_text() == "no folder"
    if os.geteuid():
        locked = tmp_path / "locked"
        locked.mkdir()
        locked.chmod(stat.S_IRUSR | stat.S_IXUSR)
        store_arrays(locked, KEY, _arrays(), DATA)
        assert list(locked.iterdir()) == []


def test_the_folder_can_be_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("ROUTEPLAN_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path
    monkeypatch.delenv("ROUTEPLAN_CACHE")
    assert "routeplan" in str(cache_folder())


@pytest.fixture(scope="module")
def region() -> Region:
    """Something of everything that a network holds: gates, limits, cautions, a place that can't be joined."""
    import shapely  # noqa: PLC0415

    return make_region(
        land=[(box(-3000, 600, 3000, 30000), {}), (box(-3000, -30000, 3000, -600), {})],
        depth=[
            (box(-19000, -27000, 19000, 27000), {"min_depth_m": 20.0}),
            (box(5000, 0, 6000, 900), {"min_depth_m": 0.2}),
        ],
        zones=[zone(box(-900, -600, -400, 600), "no-wake"), zone(box(400, -600, 900, 600), "bar", "The bar")],
        overhead=[(shapely.LineString([(0, -700), (0, 700)]), {"name": "Span", "kind": "bridge", "clearance_m": 2.0})],
        openings=[
            (shapely.Point(0, 0), {"name": "Leaf", "kind": "bridge", "opening_hours": "08:00-18:00", "vhf": "9"})
        ],
        docks=[dock(-4000, 0, "West"), dock(4000, 0, "East"), dock(0, 9000, "Dry")],
        waypoints=[waypoint(-5000, 1000, "Mark", "mark")],
    )


def _same(a: Network, b: Network) -> None:
    assert np.array_equal(a.nodes, b.nodes)
    assert np.array_equal(a.legs, b.legs)
    assert np.array_equal(a.lengths_nmi, b.lengths_nmi)
    assert a.corner_count == b.corner_count
    assert a.gate_legs == b.gate_legs
    assert a.terminals == b.terminals
    for name in ("grid_m", "margins", "gates", "depth_checked", "findings"):
        assert getattr(a.water, name) == getattr(b.water, name)
    for name in ("navigable", "open", "barrier", "land", "unsurveyed"):
        assert getattr(a.water, name).equals_exact(getattr(b.water, name), 0)
    assert set(a.water.closed) == set(b.water.closed)
    assert all(a.water.closed[k].equals_exact(b.water.closed[k], 0) for k in a.water.closed)
    for one, other in zip(
        (*a.water.speed_areas, *a.water.caution_areas), (*b.water.speed_areas, *b.water.caution_areas), strict=True
    ):
        assert {k: v for k, v in vars(one).items() if k != "shape"} == {
            k: v for k, v in vars(other).items() if k != "shape"
        }
        assert one.shape.equals(other.shape)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count how often a network is really built."""
    built: list[int] = []
    connect = building.connect

    def counting(*args: Any, **kwargs: Any) -> Network:
        built.append(1)
        return connect(*args, **kwargs)

    monkeypatch.setattr(building, "connect", counting)
    return built


def test_a_network_from_the_cache_is_the_network_built(region: Region, tmp_path: Path, counted: list[int]) -> None:
    boat = make_boat()
    bare = build_network(region, boat)
    first, second = (build_network(region, boat, cache=tmp_path) for _ in range(2))
    assert len(counted) == 2, "the second was not taken from the cache"
    _same(bare, first)
    _same(bare, second)
    pairs = [(0, 1), (1, 3)]
    for pair in pairs:
        a, b = (Tracks(n, boat, 20.0).find(pairs)[pair] for n in (bare, second))
        assert [(t.time_h, t.fuel_l, t.gates) for t in a] == [(t.time_h, t.fuel_l, t.gates) for t in b]


@pytest.mark.parametrize("damage", ["bytes", "truncated", "meta", "shape", "pickle"])
def test_a_damaged_network_is_built_anew_and_mended(
    region: Region, tmp_path: Path, counted: list[int], damage: str
) -> None:
    boat = make_boat()
    bare = build_network(region, boat, cache=tmp_path)
    (entry,) = tmp_path.iterdir()
    target = entry / "legs.npy"
    if damage == "bytes":
        _flip(target, -1)
    elif damage == "truncated":
        target.write_bytes(target.read_bytes()[:-3])
    elif damage == "meta":
        _rewritten(entry, lambda m: m["data"].pop("gates"))
    elif damage == "shape":  # vouched for, but no geometry
        np.save(entry / "shape-navigable.npy", np.zeros(40, dtype=np.uint8))
        _vouched(entry, "shape-navigable")
    else:
        np.save(target, np.array([{}], dtype=object), allow_pickle=True)
        _vouched(entry, "legs")
    _same(bare, build_network(region, boat, cache=tmp_path))
    assert len(counted) == 2
    _same(bare, build_network(region, boat, cache=tmp_path))
    assert len(counted) == 2, "the mended entry was not used"


def test_the_entry_is_for_this_water_only(region: Region, tmp_path: Path, counted: list[int]) -> None:
    """Anything that changes the water, or how it is shown, gets an entry of its own; what doesn't shares it."""
    build_network(region, make_boat(), cache=tmp_path)
    for boat, margins in (
        (make_boat(draught_m=1.2), None),
        (make_boat(air_draught_m=1.0), None),
        (make_boat(no_wake_kn=4.0), None),
        (make_boat(), Margins(standoff_m=60)),
        (make_boat(), Margins(snap_nmi=0.4)),
        (make_boat(), Margins(allow_unsurveyed=True)),
    ):
        before = len(counted)
        _same(build_network(region, boat, margins, cache=tmp_path), build_network(region, boat, margins))
        assert len(counted) == before + 2
    before = len(counted)
    thirsty = make_boat(burn_lph=(20.0, 40.0), name="Thirsty")
    network = build_network(region, thirsty, cache=tmp_path)
    assert len(counted) == before
    assert network.boat is thirsty
    moved = make_region(land=[(box(-3000, 601, 3000, 30000), {})], docks=[dock(4000, 0, "East")])
    build_network(moved, make_boat(), cache=tmp_path)
    assert len(counted) == before + 1


def test_an_unusable_cache_folder_does_not_stop_anything(region: Region, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    _same(build_network(region, make_boat(), cache=blocked / "deeper"), build_network(region, make_boat()))


def test_a_stale_entry_under_the_right_name_is_not_used(region: Region, tmp_path: Path, counted: list[int]) -> None:
    """An entry of another boat, moved to where this one's would be."""
    build_network(region, make_boat(draught_m=1.2), cache=tmp_path)
    (other,) = tmp_path.iterdir()
    build_network(region, make_boat(), cache=tmp_path)
    (ours,) = (p for p in tmp_path.iterdir() if p != other)
    shutil.rmtree(ours)
    other.rename(ours)
    before = len(counted)
    build_network(region, make_boat(), cache=tmp_path)
    assert len(counted) == before + 1


def test_every_module_that_decides_what_a_network_is_counts() -> None:
    """What they import when they run is one of them, or words alone: else a change would leave old networks."""
    folder = Path(building.__file__).parent
    words = {"places"}
    for name in building._METHOD:  # noqa: SLF001  the list that has to be whole
        tree = ast.parse((folder / f"{name}.py").read_text(encoding="utf-8"))
        used = [node.module for node in tree.body if isinstance(node, ast.ImportFrom) and node.module]
        own = {module.removeprefix("routeplan.") for module in used if module.startswith("routeplan.")}
        assert own <= {*building._METHOD, *words}, name  # noqa: SLF001
