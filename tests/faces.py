"""What the tests of the faces share: a runner of the command line in this process, and small waters that are quick."""

from __future__ import annotations

import contextlib
import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest import mock

import routeplan.cli
from layers.region import read_region
from routeplan.boats import read_boat
from routeplan.building import build_network
from routeplan.fuel import read_aboard
from routeplan.passage import find_passage
from routeplan.plans import Alternate, Leg, Plan, Stop
from routeplan.trips import Trip

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from routeplan.network import Network
    from routeplan.passage import Passage

__all__ = [
    "LEAVES",
    "ROOT",
    "Outcome",
    "a_plan",
    "a_stop",
    "an_alternate",
    "dock",
    "feature",
    "plan_across",
    "run",
    "run_apart",
    "small_network",
    "square",
    "trip_across",
    "write_boat",
    "write_region_folder",
]

ROOT = Path(__file__).resolve().parents[1]

REGION_TOML = """\
format = 1
name = "Small Waters (invented)"
extent = [-39.0, 44.0, -38.0, 45.0]
time_zone = "Atlantic/Azores"
chart_datum = "lowest tide"
clearance_datum = "highest tide"
currency = "EUR"

[sources.land]
title = "Invented for a test"
"""

BOAT_TOML = """\
name = "Plain Test"
fuel = "gasoline"
length_overall_m = 7.0
draught_m = 0.8
air_draught_m = 2.5
cruising_speed_kn = 20
no_wake_kn = 5
display_units = "metric"

[tank]
capacity_l = 100
unusable_l = 5
full_mark_l = 95

[reserve]
rule = "fraction"
value = 0.10

[burn]
speed_kn = [5, 8, 15, 20, 25]
burn_lph = [5.0, 16.0, 32.0, 40.0, 55.0]
idle_lph = 1.5
unsteady_kn = [8, 15]
sd_share = 0.06

[instruments]
aboard_sd_share = 0.03
full_mark_sd_share = 0.01
"""


@dataclass(frozen=True)
class Outcome:
    """What one run left behind: its exit code, and all that it printed."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The one JSON document on stdout; fails where there is more or less than one."""
        return json.loads(self.out)

    @property
    def said(self) -> str:
        """The last line on stderr, or the whole block where an error lists its faults."""
        lines = self.err.splitlines()
        first = next((i for i, line in enumerate(lines) if line.startswith("routeplan")), len(lines))
        return "\n".join(lines[first:])


def run(*words: object, cache: Path, now: datetime) -> Outcome:
    """Run `routeplan WORDS` through `main`, with its own cache and a clock that stands still."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with (
        mock.patch.object(sys, "argv", ["routeplan", *map(str, words)]),
        mock.patch.object(sys.modules["__main__"], "__package__", None),  # usage lines, whoever runs the tests
        mock.patch.dict(os.environ, {"ROUTEPLAN_CACHE": str(cache), "COLUMNS": "100"}),
        mock.patch("routeplan.edges.now", return_value=now),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            routeplan.cli.main()
        except SystemExit as done:
            code = done.code
    if not isinstance(code, int):
        raise TypeError(code)  # main leaves by a number, never by a text
    return Outcome(code, out.getvalue(), err.getvalue())


def run_apart(
    *words: object, cache: Path, cwd: Path, timeout_s: float = 60, **more: Any
) -> subprocess.CompletedProcess[str]:
    """Run `routeplan WORDS` as a process of its own, in a folder of its own, on the code under test."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "ROUTEPLAN_CACHE": str(cache)}
    command = [sys.executable, "-c", "from routeplan.cli import main; main()", *map(str, words)]
    return subprocess.run(
        command,
        check=False,
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env=environment,
        timeout=timeout_s,
        **more,
    )


def square(west: float, south: float, east: float, north: float) -> dict[str, Any]:
    """Make a GeoJSON polygon of four sides."""
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [ring]}


def feature(geometry: Mapping[str, Any] | tuple[float, float], **columns: Any) -> dict[str, Any]:
    """Make a GeoJSON feature; a pair is a point."""
    shape = {"type": "Point", "coordinates": list(geometry)} if isinstance(geometry, tuple) else dict(geometry)
    return {"type": "Feature", "properties": columns, "geometry": shape}


def dock(name: str, lon: float, lat: float, **columns: Any) -> dict[str, Any]:
    """Make a fuel dock of which everything that matters is known."""
    known = {
        "fuels": "gasoline",
        "opening_hours": "Mo-Su 06:00-22:00",
        "price_gasoline_per_l": 2.0,
        "depth_m": 3.0,
        "max_length_m": 15.0,
        "confirmed_on": "2026-06-01",
    }
    return feature((lon, lat), name=name, **{**known, **columns})


ISLAND = square(-38.6, 44.4, -38.4, 44.6)

SMALL_LAYERS: dict[str, list[dict[str, Any]]] = {
    "land": [feature(ISLAND, name="Middle Island")],
    "docks": [
        dock("North Pump", -38.5, 44.6003, phone="+000 111", vhf="12"),
        dock("South Pump", -38.5, 44.3997, opening_hours="Mo-Fr 09:00-12:00"),
        dock("Diesel Pump", -38.3997, 44.5, fuels="diesel", price_diesel_per_l=1.5),
    ],
    "waypoints": [
        feature((-38.9, 44.5), name="West Mark", kind="mark"),
        feature((-38.1, 44.5), name="East Mark", kind="mark"),
        feature((-38.3, 44.5), name="East Bay", kind="anchorage"),
    ],
}


def write_region_folder(
    folder: Path,
    layers: Mapping[str, list[dict[str, Any]] | str] | None = None,
    *,
    toml: str | None = REGION_TOML,
    leave_out: Iterable[str] = (),
) -> Path:
    """Write a region round one island; layers given replace its own, texts are written as they are."""
    folder.mkdir(parents=True, exist_ok=True)
    if toml is not None:
        (folder / "region.toml").write_text(toml, encoding="utf-8")
    for name, rows in {**SMALL_LAYERS, **(layers or {})}.items():
        if name in leave_out:
            continue
        text = rows if isinstance(rows, str) else json.dumps({"type": "FeatureCollection", "features": rows})
        (folder / f"{name}.geojson").write_text(text, encoding="utf-8")
    return folder


def write_boat(path: Path, *changes: tuple[str, str]) -> Path:
    """Write a boat file: a plain one, with some of its text exchanged."""
    text = BOAT_TOML
    for old, new in changes:
        if old not in text:
            raise KeyError(old)  # a change that changes nothing tests nothing
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def small_network(folder: Path, *changes: tuple[str, str], **layers: list[dict[str, Any]]) -> Network:
    """Build the network of the small waters for the plain boat; changes are the boat's, layers replace the region's."""
    region = read_region(write_region_folder(folder / "region", layers))
    return build_network(region, read_boat(write_boat(folder / "boat.toml", *changes)))


def trip_across(network: Network, when: datetime, aboard: str = "70l", **more: Any) -> Trip:
    """Ask for a run from West Mark to East Mark."""
    amount = read_aboard(aboard, network.boat, "aboard")
    return Trip(**{"start": "West Mark", "finish": "East Mark", "depart": when, "aboard": amount, **more})


def plan_across(
    network: Network,
    when: datetime,
    aboard: str = "70l",
    now: datetime | None = None,
    *,
    every: bool = False,
    **more: Any,
) -> Passage:
    """Plan from West Mark to East Mark."""
    return find_passage(network, trip_across(network, when, aboard, **more), now=now, every=every)


LEAVES = datetime(2026, 7, 1, 8, tzinfo=UTC)  # of plans made by hand


def an_alternate(**changes: Any) -> Alternate:
    """Make somewhere else to go, 5 nmi on from an hour after leaving at 20 kn, with 20 l left."""
    arrive = LEAVES + timedelta(hours=1, minutes=15)
    begin = arrive + timedelta(hours=changes.get("wait_h", 0.0))
    plain = {
        "name": "Other Pump",
        "distance_nmi": 5.0,
        "speed_kn": 20.0,
        "left_l": 20.0,
        "wait_h": 0.0,
        "arrive": arrive,
        "begin": begin,
        "depart": begin + timedelta(minutes=18),
        "take_l": 72.0,
        "price_per_l": 2.5,
        "confirmed_on": "2026-06-02",
        "hours": "24/7",
        "vhf": "9",
        "phone": None,
        "cautions": (),
    }
    return Alternate(**{**plain, **changes})


def a_stop(**changes: Any) -> Stop:
    """Make a stop an hour after leaving: 62 l to the full mark in 20 minutes, a known alternate behind it."""
    arrive = changes.get("arrive", LEAVES + timedelta(hours=1))
    plain = {
        "dock": "North Pump",
        "position": (-38.5, 44.6),
        "arrive": arrive,
        "begin": arrive,
        "depart": arrive + timedelta(minutes=20),
        "aboard_l": 33.0,
        "aboard_low_l": 28.0,
        "take_l": 62.0,
        "to_mark": True,
        "cost": 124.0,
        "price_per_l": 2.0,
        "wait_h": 0.0,
        "alternate": an_alternate(),
        "keeps_closed_dock_rule": True,
        "why": "Without it East Mark is out of reach.",
        "instead": None,
        "confirmed_on": "2026-06-01",
        "cautions": (),
        "hours": "06:00-22:00",
        "vhf": "12",
        "phone": "+000 111",
    }
    return Stop(**{**plain, **changes})


def a_plan(*stops: Stop, **changes: Any) -> Plan:
    """Make a plan of one leg from West Mark to East Mark, with the stops given."""
    ends = {"from": "West Mark", "to": "East Mark", "from_position": (-38.9, 44.5), "to_position": (-38.1, 44.5)}
    arrive = LEAVES + timedelta(hours=3)
    leg = Leg(
        **{**ends, "kind": "leg", "distance_nmi": 37.0, "course_deg": 90.0, "speed_kn": 20.0, "depart": LEAVES},
        arrive=arrive,
        fuel_l=74.0,
        aboard_after_l=58.0,
        aboard_after_low_l=55.0,
        depth_checked=True,
    )
    plain = {
        "name": "soonest",
        "recommended": True,
        "difference": "",
        "depart": LEAVES,
        "arrive": arrive,
        "time_h": 3.0,
        "distance_nmi": 37.0,
        "fuel_l": 74.0,
        "cost": sum(s.cost or 0.0 for s in stops),
        "least_margin_l": 13.0,
        "chance_reserve_kept": 0.8699,
        "chance_never_dry": 0.99949,
        "closed_dock": "on",
        "aboard_on_arrival_l": 58.0,
        "aboard_on_arrival_low_l": 55.0,
        "speeds_kn": (20.0,) * (len(stops) + 1),
        "legs": (leg,),
        "stops": stops,
        "waits": (),
        "onward": None,
        "slower": (),
        "leans_on": (),
        "cautions": (),
        "track": {"type": "LineString", "coordinates": [[-38.9, 44.5], [-38.1, 44.5]]},
    }
    return Plan(**{**plain, **changes})
