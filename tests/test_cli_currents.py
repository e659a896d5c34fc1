"""`routeplan currents` as it is typed: what it prints, one document for a program, and bad input in one line."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import netCDF4
import numpy as np
import pytest
from faces import ROOT, Outcome, feature, run, square, write_region_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
DEMO = ROOT / "demo_region" / "data"
NARROWS = {"name": "Knap Narrows", "flood_deg": 40, "ebb_deg": 225, "mean_kn": 0.0, "constituents": "S2 2.0 0"}
KN_PER_M_S = 3600 / 1852  # the international nautical mile, 1852 m exactly


def write_netcdf(path: Path) -> Path:
    """Write a CF file over 38.3 to 38.2 W: 1 m/s east at 06:00 on 1 July 2026, falling to 1 m/s west at 10:00."""
    with netCDF4.Dataset(path, "w") as file:
        axes = {
            "time": ("hours since 2026-07-01 00:00:00", "time", [6.0, 7.0, 8.0, 9.0, 10.0]),
            "lat": ("degrees_north", "latitude", [44.7, 44.8]),
            "lon": ("degrees_east", "longitude", [-38.3, -38.2]),
        }
        for name, (units, standard, values) in axes.items():
            file.createDimension(name, len(values))
            variable = file.createVariable(name, "f8", (name,))
            variable.setncatts({"units": units, "standard_name": standard})
            variable[:] = values
        for name, values in (("eastward", [1, 0.5, 0, -0.5, -1]), ("northward", [0.0] * 5)):
            variable = file.createVariable(name, "f8", tuple(axes))
            variable.setncatts({"units": "m s-1", "standard_name": f"{name}_sea_water_velocity"})
            variable[:] = np.broadcast_to(np.reshape(values, (5, 1, 1)), (5, 2, 2))
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a region with one area of currents, one without any, and gridded currents."""
    folder = tmp_path_factory.mktemp("currents")
    rows = [feature(square(-38.6, 44.7, -38.5, 44.8), **NARROWS)]
    write_region_folder(folder / "region", {"currents": rows})
    write_region_folder(folder / "still")
    write_netcdf(folder / "grid.nc")
    return folder


@pytest.fixture(scope="module")
def ask(folder: Path) -> Callable[..., Outcome]:
    """Run `routeplan currents` at noon of 1 July 2026, in UTC as on the Azores."""

    def typed(*words: object, region: Path | str = "region") -> Outcome:
        return run("currents", *words, "--region", folder / region, cache=folder / "cache", now=NOON)

    return typed


def test_a_skipper_reads_turns_and_hours(ask: Callable[..., Outcome]) -> None:
    """S2 without lag: ebbs most at 06 and 18, floods most at 12, is slack at 03, 09, 15 and 21 UTC, within 18 s."""
    done = ask("Knap Narrows", "--on", "2026-07-02", "--hourly", "--at", "06:00")
    assert done.code == 0, done.err
    lines = done.out.splitlines()
    assert lines[0] == "Knap Narrows: predicted current"
    assert "Thu 2 Jul 06:00: ebb, 2.0 kn, sets 225 south-west" in lines
    (ebb,) = (line for line in lines if "ebb, fastest" in line and line.strip()[:2] in {"05", "06"})
    assert ebb.split("fastest")[1].strip() == "2.0 kn  sets 225 south-west"
    assert sum("slack" in line and "then sets" in line for line in lines) == 4
    noon = next(line for line in reversed(lines) if line.startswith("  12:00"))
    assert noon.endswith(f"|{'=' * 8}")  # 2 kn at a quarter a mark
    assert "  Each = is 0.25 kn; ebb to the left, flood to the right." in lines
    heeded = " ".join(done.out.split())
    for part in ("from the region's constituents", "wind, rain and river flow", "Slack comes earlier at the sides"):
        assert part in heeded
    assert "Official tide and current tables and notices come first" in heeded


def test_text_fits_eighty_columns(ask: Callable[..., Outcome]) -> None:
    done = ask("Knap Narrows", "--hourly", "--on", "2026-10-25")  # a day on which some times are shown twice
    shown = done.out.split("Cautions:")[0].splitlines()
    assert any("(UTC-0100)" in line for line in shown)
    assert max(map(len, shown)) <= 80


def test_without_a_day_it_tells_of_now(ask: Callable[..., Outcome]) -> None:
    assert "Now, Wed 1 Jul 12:00: flood, 2.0 kn, sets 040 north-east" in ask("Knap Narrows").out


def test_one_document_for_a_program(ask: Callable[..., Outcome]) -> None:
    document = ask("Knap Narrows", "--on", "2026-07-01", "--days", 2, "--hourly", "--json").document
    assert document["schema"] == "routeplan/currents/1"
    assert (document["place"], document["area"], document["file"]) == ("Knap Narrows", "Knap Narrows", None)
    assert (document["from"], document["until"]) == ("2026-07-01T00:00:00Z", "2026-07-03T00:00:00Z")
    assert {turn["kind"] for turn in document["turns"]} == {"slack", "flood", "ebb"}
    assert set(document["turns"][0]) == {"kind", "at", "speed_kn", "sets_deg"}
    assert len(document["hourly"]) == 48
    assert document["hourly"][6]["at"] == "2026-07-01T06:00:00Z"
    assert document["hourly"][6]["set_deg"] == 225.0
    assert document["hourly"][6]["drift_kn"] == pytest.approx(2.0, abs=0.005)
    assert document["moment"] is None
    assert any("Official" in caution for caution in document["cautions"])


def test_hours_are_told_only_where_asked_for(ask: Callable[..., Outcome]) -> None:
    assert ask("Knap Narrows", "--json").document["hourly"] == []


def test_areas_are_listed(ask: Callable[..., Outcome]) -> None:
    """At noon the solar stream is at its flood: the next slack is at 15:00."""
    shown = next(line for line in ask().out.splitlines() if line.startswith("Knap Narrows"))
    assert shown.split()[:4] == ["Knap", "Narrows", "040", "225"]
    assert "Wed 1 Jul 1" in shown
    document = ask("--json").document
    assert document["schema"] == "routeplan/current-areas/1"
    (area,) = document["areas"]
    slack = datetime.fromisoformat(area["next_slack"])
    assert abs((slack - datetime(2026, 7, 1, 15, tzinfo=UTC)).total_seconds()) <= 18
    assert document["gridded"] is None


def test_gridded_currents_of_a_netcdf_file(ask: Callable[..., Outcome], folder: Path) -> None:
    """From 1 m/s east at 06:00 to 1 m/s west at 10:00 it is slack at 08:00, and sets west next."""
    words = ("44.75 -38.25", "--currents", folder / "grid.nc", "--on", "2026-07-01", "--hourly")
    document = ask(*words, "--json", region="still").document
    assert document["turns"] == [{"kind": "slack", "at": "2026-07-01T08:00:00Z", "speed_kn": 0.0, "sets_deg": 270.0}]
    assert [hour["drift_kn"] for hour in document["hourly"]] == pytest.approx(
        [KN_PER_M_S * share for share in (1, 0.5, 0, 0.5, 1)]
    )
    assert [hour["set_deg"] for hour in document["hourly"]] == [90.0, 90.0, None, 270.0, 270.0]
    assert (document["area"], document["file"]) == (None, "grid.nc")
    text = ask(*words, region="still").out
    assert "  Each = is 0.25 kn." in text
    assert "grid.nc" in text
    assert "grid.nc: up to 1.9 kn" in ask("--currents", folder / "grid.nc", region="still").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("Knap Narrows", "--days", 0), "--days: must be 1 to 31 (got 0)"),
        (("Knap Narrows", "--days", 32), "--days: must be 1 to 31 (got 32)"),
        (("Knap Narrows", "--on", "2026-02-30"), "--on: is no date (got '2026-02-30'): write it as 2026-07-01"),
        (("Knap Narrows", "--on", "1066-10-14"), "--on: is out of the years 1970 to 2199"),
        (("Knap Narrows", "--at", "2026-03-29T00:30"), "--at: the clocks of Atlantic/Azores skip this time"),
        (("Knap Narrows", "--at", "25:00"), "--at: not a date and time"),
        (("Knap Narrows", "--on", "2026-07-01", "--at", "2026-07-02T08:00"), "--at: is on none of the days"),
        (("--hourly",), "--hourly: is of use for a place only"),
        ((" ",), "PLACE: is empty"),
        (("Knap Narow",), "did you mean Knap Narrows?"),
        (("West Mark",), "the nearest is Knap Narrows, 17."),
    ],
)
def test_bad_input_is_one_line(ask: Callable[..., Outcome], words: tuple[Any, ...], said: str) -> None:
    """West Mark lies 0.2 degrees south, 12.0 nmi, and 0.3 west, 12.8 nmi, of the area's corner: 17.6 nmi."""
    done = ask(*words)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert len(done.err.splitlines()) == 1


def test_a_region_without_currents_says_what_to_do(ask: Callable[..., Outcome], folder: Path) -> None:
    done = ask("West Mark", region="still")
    assert (done.code, done.out) == (2, "")
    assert "the region has no currents" in done.err
    assert "--currents FILE" in done.err
    missing = ask("West Mark", "--currents", folder / "absent.nc", region="still")
    assert (missing.code, missing.out) == (2, "")
    assert len(missing.err.splitlines()) == 1


def test_another_day_than_the_files_is_refused(ask: Callable[..., Outcome], folder: Path) -> None:
    done = ask("44.75 -38.25", "--currents", folder / "grid.nc", "--on", "2026-07-02", region="still")
    assert (done.code, done.out) == (2, "")
    assert "--on: grid.nc holds no current then (got '2026-07-02'): it holds Wed 1 Jul 2026 06:00 UTC until" in done.err


def test_the_demo_says_that_nothing_is_known_beside_its_strait(folder: Path) -> None:
    """The entrance lies at 44.8433 N; the area's edge runs from 44.8500 to 44.8483 N, half way over it: 0.35 nmi."""
    words = ("Hallowmar Strait South", "--region", DEMO)
    done = run("currents", *words, cache=folder / "cache", now=NOON)
    first = done.out.splitlines()[0]
    assert first == "Hallowmar Strait South: nothing is known here; this is Hallowmar Strait, 0.3 nmi away"
