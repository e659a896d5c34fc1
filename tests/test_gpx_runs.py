"""Recorded tracks: distances and speeds worked out by hand, and files that can't be trusted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from faces import write_boat

from layers.errors import InputError
from routeplan.boats import read_boat
from routeplan.gpx_runs import read_runs

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

BEGAN = datetime(2026, 6, 1, 8, tzinfo=UTC)
# A minute of longitude on the equator: the ellipsoid's radius there, 6378137 m, times 2 pi / 21600; WGS 84 (NIMA
# TR8350.2, third edition, table 3.1). Over the nautical mile of 1852 m it is 1.001799 nmi.
EQUATOR_MINUTE_NMI = 6378137.0 * 2 * 3.141592653589793 / 21600 / 1852


def gpx(points: Iterable[tuple[float, float, float | None]], *, head: str = "") -> str:
    """Write a track of (seconds, lon, lat)."""
    rows = "".join(
        f'<trkpt lat="{lat}" lon="{lon}">'
        + ("" if s is None else f"<time>{(BEGAN + timedelta(seconds=s)).strftime('%Y-%m-%dT%H:%M:%SZ')}</time>")
        + "</trkpt>"
        for s, lon, lat in points
    )
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{head}<gpx version="1.1" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{rows}</trkseg></trk></gpx>'
    )


def along(speed_kn: float, seconds: int, *, start_s: int = 0, lon: float = 0.0) -> list[tuple[float, float, float]]:
    """Run east along the equator, a position every five seconds."""
    step_deg = speed_kn * 5 / 3600 / EQUATOR_MINUTE_NMI / 60
    return [(lon + step_deg * n, 0.0, start_s + 5.0 * n) for n in range(seconds // 5 + 1)]


def put(path: Path, points: Iterable[tuple[float, float, float]]) -> Path:
    path.write_text(gpx(((s, lon, lat) for lon, lat, s in points)), encoding="utf-8")
    return path


def test_a_steady_run_is_its_distance_time_and_speed(tmp_path: Path):
    """Half an hour at 20 kn is 10 nmi."""
    runs = read_runs([put(tmp_path / "a.gpx", along(20, 1800))], None)
    assert runs.distance_nmi == pytest.approx(10, rel=1e-6)
    assert runs.time_h == pytest.approx(0.5, rel=1e-9)
    assert [(run.speed_kn, run.time_h) for run in runs.speeds_run] == [(20.0, 0.5)]
    assert runs.notes == ()


def test_speeds_are_sorted_into_classes_and_lying_still_is_left_out(tmp_path: Path):
    """Ten minutes each at 6 and 24 kn, with ten at anchor between: 1 and 4 nmi."""
    slow = along(6, 600)
    still = along(0.4, 590, start_s=605, lon=slow[-1][0])
    fast = along(24, 600, start_s=1200, lon=still[-1][0])
    runs = read_runs([put(tmp_path / "a.gpx", [*slow, *still, *fast])], None)
    assert runs.distance_nmi == pytest.approx(5.0, rel=0.01)
    assert [run.speed_kn for run in runs.speeds_run] == pytest.approx([6, 24], rel=0.01)
    assert [run.time_h for run in runs.speeds_run] == pytest.approx([1 / 6, 1 / 6], rel=0.01)
    assert sum(r.speed_kn * r.time_h for r in runs.speeds_run) == pytest.approx(runs.distance_nmi, rel=1e-3)


def test_gaps_and_leaps_are_left_out_and_said(tmp_path: Path):
    boat = read_boat(write_boat(tmp_path / "boat.toml"))  # 25 kn at the most
    first = along(20, 600)
    leap = [(10.0, 0.0, 605.0)]  # 600 nmi off in five seconds
    second = along(20, 600, start_s=610, lon=first[-1][0])
    third = along(20, 600, start_s=4000, lon=1.0)
    runs = read_runs([put(tmp_path / "a.gpx", [*first, *leap, *second, *third])], boat)
    assert runs.distance_nmi == pytest.approx(10.0, rel=0.02)
    assert [run.speed_kn for run in runs.speeds_run] == pytest.approx([20], rel=0.02)
    assert any("1 positions left out: leaps" in note for note in runs.notes)
    assert any("gaps of 46 min" in note for note in runs.notes)  # 4000 s less 1210 s


def test_a_leap_at_the_beginning_costs_only_itself(tmp_path: Path):
    track = [(50.0, 0.0, 0.0), *along(20, 600, start_s=5)]
    runs = read_runs([put(tmp_path / "a.gpx", track)], None)
    assert runs.distance_nmi == pytest.approx(20 / 6, rel=0.01)


def test_only_what_lies_between_the_fillups_counts(tmp_path: Path):
    path = put(tmp_path / "a.gpx", along(20, 3600))
    cut = {"after": BEGAN + timedelta(minutes=15), "until": BEGAN + timedelta(minutes=45)}
    runs = read_runs([path], None, **cut)
    assert runs.distance_nmi == pytest.approx(10, rel=1e-3)
    assert (runs.began, runs.ended) == (cut["after"], cut["until"])
    assert any("left out" in note for note in runs.notes)
    with pytest.raises(InputError, match="nothing between the fill-ups"):
        read_runs([path], None, after=BEGAN + timedelta(days=1))


def test_two_files_are_one_running_and_may_not_overlap(tmp_path: Path):
    one = put(tmp_path / "1.gpx", along(20, 600))
    two = put(tmp_path / "2.gpx", along(20, 600, start_s=700))
    assert read_runs([two, one], None).distance_nmi == pytest.approx(20 / 3, rel=1e-3)
    with pytest.raises(InputError, match="overlap"):
        read_runs([one, one], None)


LAUGHS = '<!DOCTYPE gpx [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (gpx([(0, 0.0, 0.0), (10, 0.01, 0.0)], head=LAUGHS), "DOCTYPE or ENTITY"),
        (gpx([(0, 0.0, 0.0), (10, 0.01, 91.0)]), r"position 2: its latitude must lie within 90 degrees"),
        (gpx([(0, 0.0, 0.0), (10, float("nan"), 0.0)]), r"position 2: its longitude"),
        (gpx([(0, 0.0, 0.0), (None, 0.01, 0.0)]), "position 2: has no time"),
        (gpx([(10, 0.0, 0.0), (0, 0.01, 0.0)]), "position 2: is earlier than the position before it"),
        (gpx([]), "holds no track"),
        (gpx([(0, 0.0, 0.0)]), "no track with two positions"),
        (gpx([(0, 0.0, 0.0), (900, 0.0, 0.0)]), "never moves"),
        ("<gpx><trk>", "not a GPX file"),
        ("boat,when\n", "not a GPX file"),
        (gpx([]).replace("<trk><trkseg></trkseg></trk>", '<wpt lat="0" lon="0"/>'), "holds a route or marks"),
        ("", "is empty"),
    ],
)
def test_files_that_cant_be_trusted_are_refused(tmp_path: Path, text: str, why: str):
    path = tmp_path / "bad.gpx"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=why) as caught:
        read_runs([path], None)
    assert str(path) in str(caught.value)


def test_other_encodings_hide_no_entities(tmp_path: Path):
    path = tmp_path / "bad.gpx"
    path.write_bytes(gpx([(0, 0.0, 0.0)], head=LAUGHS).replace("UTF-8", "UTF-16").encode("utf-16"))
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_runs([path], None)
