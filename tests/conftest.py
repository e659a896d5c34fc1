"""What tests share: the profiles of hypothesis, the demo's region and boats, and its network, built once."""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

sys.path.insert(0, str(Path(__file__).parent))  # oracles are plain modules, importable as `oracles.NAME`

from built_once import commands_built_once  # noqa: F401  a fixture for all modules
from oracles.closed_water import ClosedWater

import demo_region
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network

if TYPE_CHECKING:
    from collections.abc import Iterator

    from layers.region import Region
    from routeplan.boats import Boat
    from routeplan.network import Network

_QUIET = [HealthCheck.too_slow, HealthCheck.filter_too_much]
settings.register_profile("ci", derandomize=True, deadline=None, max_examples=60, suppress_health_check=_QUIET)
settings.register_profile("search", deadline=None, max_examples=6000, suppress_health_check=_QUIET)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

collect_ignore = ["reference/make_cells.py"]  # a program: it needs Debian's python3-gdal

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)  # the day the demo's data are dated


@pytest.fixture(scope="session", autouse=True)
def nobodys_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Name a log that isn't there, so that no test reads the log of whoever runs it."""
    path = tmp_path_factory.mktemp("no_log") / "fillups.db"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROUTEPLAN_LOG", str(path))
        patch.delenv("ROUTEPLAN_BOAT", raising=False)
        patch.delenv("ROUTEPLAN_PLAN", raising=False)
        patch.setenv("XDG_DATA_HOME", str(path.parent))  # nor follows their plan, nor notes one there
        yield path


@pytest.fixture(scope="session")
def demo() -> Region:
    """Read the demo region."""
    return read_region(demo_region.data_folder())


@pytest.fixture(scope="session")
def demo_boats() -> dict[str, Boat]:
    """Read the demo's boats, by name."""
    boats = [read_boat(path) for path in sorted((demo_region.data_folder() / "boats").glob("*.toml"))]
    return {boat.name: boat for boat in boats}


@pytest.fixture(scope="session")
def cache_with_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a folder for built networks, empty at first."""
    return tmp_path_factory.mktemp("networks")


@pytest.fixture(scope="session")
def demo_network(demo: Region, demo_boats: dict[str, Boat], cache_with_demo: Path) -> Network:
    """Build the network of the demo's first gasoline day boat, once for all tests."""
    boat = next(b for b in demo_boats.values() if b.fuel == "gasoline")
    return build_network(demo, boat, cache=cache_with_demo)


@pytest.fixture(scope="session")
def demo_closed(demo: Region, demo_network: Network) -> ClosedWater:
    """Take what is closed to that boat straight from the demo's raw layers."""
    return ClosedWater(demo, demo_network.boat, demo_network.water.margins)


@pytest.fixture
def now() -> datetime:
    """Tell the time that tests run at."""
    return NOW
