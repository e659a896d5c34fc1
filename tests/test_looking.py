"""The loop of sight, compiled and in plain Python: the same answers to the last leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from routeplan import looking
from routeplan.looking import compiled_look
from routeplan.sight import find_corner_legs, find_point_legs

if TYPE_CHECKING:
    from routeplan.network import Network


@pytest.mark.slow
def test_compiled_code_finds_the_same_legs_of_the_demo(demo_network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    if compiled_look() is None:
        pytest.skip("numba, the extra fast, isn't installed")
    mesh = demo_network.mesh
    points = np.rint(demo_network.nodes[demo_network.corner_count :][:200] / mesh.grid_m)
    triangles = mesh.locate(points)
    found = []
    for worth in (0, 10**9):
        monkeypatch.setattr(looking, "_WORTH_COMPILING", worth)
        found.append((find_corner_legs(mesh), *find_point_legs(mesh, points, triangles, first=150)))
    for compiled, plain in zip(*found, strict=True):
        assert len(plain)
        assert np.array_equal(compiled, plain)


def test_without_numba_plain_python_does_it_all(demo_network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(looking, "compiled_look", lambda: None)
    monkeypatch.setattr(looking, "_WORTH_COMPILING", 0)
    mesh = demo_network.mesh
    points = np.rint(demo_network.nodes[demo_network.corner_count :][:3] / mesh.grid_m)
    corners, _ = find_point_legs(mesh, points, mesh.locate(points))
    assert len(corners)


def test_where_nothing_can_be_kept_it_is_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A read-only machine: numba finds no place for its cache and raises; the loop is compiled for this run alone."""
    numba = pytest.importorskip("numba")
    asked = []

    def njit(signature: object, *, cache: bool = False) -> object:
        asked.append(cache)
        if cache:
            raise RuntimeError("cannot cache function 'look': no locator available for file 'looking.py'")
        return lambda function: (signature, function)

    monkeypatch.setattr(numba, "njit", njit)
    compiled = looking.compiled_look.__wrapped__()
    assert compiled is not None
    assert compiled[1] is looking.look
    assert asked == [True, False]
