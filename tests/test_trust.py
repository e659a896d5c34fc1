"""Whether a region can be trusted: what a small boat can't get to and why, the verdict, and how all of it is told."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from faces import dock as dock_feature
from faces import run, write_boat, write_region_folder
from oracles.small_world import box, dock, make_boat, make_region, waypoint

from layers import COMPUTED, LAYERS
from layers.findings_kinds import group_of
from layers.findings_rows import find_absent
from layers.findings_seen import Seen
from maps.findings import draw_findings, write_findings
from routeplan.boats import read_boat
from routeplan.margins import Margins
from routeplan.trust import SMALLEST_DRAUGHT_M, SMALLEST_HEIGHT_M, look_at_trust, smallest_boat
from routeplan.trust_words import findings_layer, map_notes, tell_strictly, tell_trust, trust_document, verdict_line
from routeplan.water import build_water

if TYPE_CHECKING:
    from pathlib import Path

    from layers import Region
    from routeplan.trust import Trust

TODAY = date(2026, 7, 1)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
KNOWN: dict[str, Any] = {"confirmed_on": date(2026, 6, 1)}
HALF = 12_000  # [m] to the edge of the paper water, more or less
DEEP = {"min_depth_m": 20.0}
SEA = [(box(-HALF, -HALF, HALF, HALF), DEEP)]


def look(region: Region, **more: Any) -> Trust:
    return look_at_trust(region, today=TODAY, **more)


def problems(trust: Trust, *kinds: str) -> list[str]:
    return [finding.problem for finding in trust.findings if finding.kind in kinds]


def a_wall(*gaps: tuple[float, float]) -> list[Any]:
    """[m] Land from north to south through the middle, with gaps from one y to another."""
    south, rows = -HALF, []
    for low, high in gaps:
        rows.append((box(-1000, south, 1000, low), {"name": "Wall"}))
        south = high
    return [*rows, (box(-1000, south, 1000, HALF), {"name": "Wall"})]


def two_basins(*, land: Any, depth: Any = SEA, **layers: Any) -> Region:
    """Two docks and a harbour west of a wall, one dock east of it."""
    docks = [dock(-1010, y, name, **KNOWN) for y, name in ((-3000, "West A"), (3000, "West B"))]
    docks.append(dock(1010, 3000, "East", **KNOWN))
    ends = [waypoint(-4000, 0, "Haven")]
    return make_region(half_deg=0.1, land=land, depth=depth, docks=docks, waypoints=ends, **layers)


def test_the_smallest_boat_is_what_is_said_of_her() -> None:
    boat = smallest_boat()
    assert (boat.draught_m, boat.air_draught_m) == (SMALLEST_DRAUGHT_M, SMALLEST_HEIGHT_M) == (0.5, 2.0)
    trust = look(two_basins(land=a_wall((-500, 500))))
    said = " ".join(tell_trust(two_basins(land=a_wall((-500, 500))), trust).split())
    assert "draught 0.5 m, height 2.0 m, both assumed; --boat FILE takes yours" in said


def test_water_that_joins_through_a_gap_is_one() -> None:
    assert problems(look(two_basins(land=a_wall((-500, 500)))), "apart", "dock-reach") == []


def test_water_behind_a_whole_wall_is_told_with_what_it_holds() -> None:
    """Both basins reach the edge of the extent: the way may lead round outside it."""
    trust = look(two_basins(land=a_wall()))
    (apart,) = [finding for finding in trust.findings if finding.kind == "apart"]
    assert apart.problem == (
        "water that doesn't join the rest holds 1 dock: East; land, a low bridge or several of these lie between"
    )
    assert apart.remedy == "check the coast and the depths between, or widen the extent if the way leads outside it"
    assert group_of(apart) == "fuel"


@pytest.mark.parametrize(
    ("half_m", "depth_m", "why"),
    [
        (30, 20.0, "only the stand-off of 50 m closes the way"),
        (200, 0.9, "water too shallow lies between"),
        (200, None, "unsurveyed water lies between"),
        (200, 1.0, ""),
    ],
)
def test_what_keeps_two_waters_apart_is_named(half_m: float, depth_m: float | None, why: str) -> None:
    """A gap of 60 m, less than twice 50; or 400 m wide with 0.9 m where 0.5 + 0.5 are needed, or without a sounding."""
    channel = box(-1300, -half_m, 1300, half_m)
    sea = SEA if depth_m == 20 else [(SEA[0][0].difference(channel), DEEP)]
    if depth_m is not None and depth_m != 20:
        sea = [*sea, (channel, {"min_depth_m": depth_m})]
    told = problems(look(two_basins(land=a_wall((-half_m, half_m)), depth=sea)), "apart")
    assert [problem.rpartition("; ")[2] for problem in told] == ([why] if why else [])


def test_her_own_draught_closes_what_the_smallest_passes() -> None:
    """1.2 m in the gap: enough for 0.5 + 0.5, too little for 1.0 + 0.5."""
    channel = box(-1300, -200, 1300, 200)
    sea = [(SEA[0][0].difference(channel), DEEP), (channel, {"min_depth_m": 1.2})]
    region = two_basins(land=a_wall((-200, 200)), depth=sea)
    assert problems(look(region), "apart") == []
    assert len(problems(look(region, boat=make_boat()), "apart")) == 1
    assert "Paper Boat (draught 1.0 m, height 3.0 m)" in tell_trust(region, look(region, boat=make_boat()))


@pytest.mark.parametrize("opens", [True, False])
def test_a_low_bridge_parts_the_water_unless_it_opens(*, opens: bool) -> None:
    span = shapely.LineString([(0, -510), (0, 510)])
    line = (span, {"name": "Low", "kind": "bridge", "clearance_m": 1.0})
    gate = (span.interpolate(0.5, normalized=True), {"name": "Low", "kind": "bridge", "opening_hours": "24/7"})
    region = two_basins(land=a_wall((-500, 500)), overhead=[line], openings=[gate] if opens else [])
    assert len(problems(look(region), "apart")) == (0 if opens else 1)


def test_a_dock_that_no_boat_gets_to_is_told_with_the_reason() -> None:
    """A flat of 0.2 m, 3 km by 2, off the wall's western side round West A."""
    flat = box(-3000, -4500, -1000, -1500)
    sea = [(SEA[0][0].difference(flat), DEEP), (flat, {"min_depth_m": 0.2})]
    trust = look(two_basins(land=a_wall((-500, 500)), depth=sea))
    (found,) = [finding for finding in trust.findings if finding.kind == "dock-reach"]
    assert (found.name, found.row) == ("West A", 1)
    assert "the water there is too shallow" in found.problem
    assert trust.verdict == "with care"


def test_what_is_told_as_misplaced_is_not_told_as_out_of_reach() -> None:
    region = make_region(
        half_deg=0.1,
        land=[(box(-4000, -4000, 4000, 4000), {"name": "Block"})],
        docks=[dock(0, 0, "Inland", **KNOWN), dock(4010, 0, "Quay", **KNOWN)],
    )
    told = [finding for finding in look(region).findings if finding.name == "Inland"]
    assert [finding.kind for finding in told] == ["dock-place"]


def test_without_a_dock_in_reach_a_region_isn_t_trusted_yet() -> None:
    sea = [(SEA[0][0], {"min_depth_m": 0.2})]
    trust = look(two_basins(land=a_wall((-500, 500)), depth=sea))
    assert len(problems(trust, "dock-reach")) == 3
    assert trust.verdict == "not yet"


def test_gaps_in_the_depths_are_the_water_that_plans_count_as_unsurveyed() -> None:
    """The findings measure what is left for good when the water is cut: to a tenth of a percent."""
    hole = box(-5000, -3000, -2000, -1000)
    region = two_basins(land=a_wall((-500, 500)), depth=[(SEA[0][0].difference(hole), DEEP)])
    trust = look(region)
    (found,) = [finding for finding in trust.findings if finding.kind == "depth-gap"]
    water = build_water(region, smallest_boat(), Margins())
    assert water.plane.project(found.shape).area == pytest.approx(water.unsurveyed.area, rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({}, "with care"),
        ({"depth": []}, "not yet"),
        ({"land": []}, "not yet"),
        ({"docks": []}, "with care"),
    ],
)
def test_what_is_missing_decides_the_verdict(changes: dict[str, Any], verdict: str) -> None:
    """Of the paper water no source is stated and four layers are absent, dangers and bridges among them."""
    plain: dict[str, Any] = {"land": a_wall((-500, 500)), "depth": SEA, "docks": [dock(-1010, 3000, "West", **KNOWN)]}
    assert look(make_region(half_deg=0.1, **{**plain, **changes})).verdict == verdict


def test_a_whole_region_has_nothing_against_it() -> None:
    nothing: dict[str, Any] = {name: [] for name in LAYERS}
    whole = make_region(half_deg=0.1, **{**nothing, "land": a_wall((-500, 500)), "depth": SEA})
    told = {finding.layer for finding in find_absent(Seen(whole, TODAY)) if finding.kind == "absent"}
    assert told == set(LAYERS) - {"land", "depth"}
    assert look(whole).verdict == "with care"  # nobody knows of any danger, bridge or dock


# How it is told


@pytest.fixture(scope="module")
def told() -> tuple[Region, Trust]:
    """Look at a region with one of several kinds: 25 docks never confirmed, a gap in the depths, a wall."""
    docks = [dock(-1010, -3000 + 100 * i, f"Quay {i}") for i in range(25)]
    hole = box(2000, 2000, 4000, 3000)
    depth = [(SEA[0][0].difference(hole), DEEP)]
    region = make_region(half_deg=0.1, land=a_wall(), depth=depth, docks=[*docks, dock(1010, 0, "East", **KNOWN)])
    return region, look(region)


def test_the_first_line_says_whether_and_counts_by_kind(told: tuple[Region, Trust]) -> None:
    region, trust = told
    line = verdict_line(region, trust)
    assert line.startswith(f"Paper Water: trust it with care. {trust.count} findings: ")
    for words in (
        "1 gap in the charted depths",
        "25 docks not confirmed lately",
        "1 separate water with docks or places",
    ):
        assert words in line
    assert sum(int(n) for n in re.findall(r"(?:: |, )(\d+) ", line.partition("findings")[2])) == trust.count
    assert " ".join(tell_trust(region, trust).split()).startswith(line)


def test_what_could_put_her_aground_is_told_first_each_with_its_place(told: tuple[Region, Trust]) -> None:
    region, trust = told
    text = tell_trust(region, trust)
    heads = ["Could put you aground", "Could leave you without fuel", "May mislead a plan"]
    assert [text.index(head) for head in heads] == sorted(text.index(head) for head in heads)
    numbered = re.findall(r"^ +(\d+)  (\d\d \d\d\.\d\d[NS] \d{3} \d\d\.\d\d[EW])?", text, flags=re.MULTILINE)
    assert [int(number) for number, _ in numbered] == list(range(1, len(trust.findings) + 1))
    assert [bool(at) for _, at in numbered] == [finding.position is not None for finding in trust.findings]
    assert "5 more of this kind" in text
    assert text.count("add confirmed_on") == 1  # what is to be done about all of a kind is said once


def test_the_map_has_the_numbers_of_the_list(told: tuple[Region, Trust]) -> None:
    region, trust = told
    layer = findings_layer(region, trust)
    assert list(layer.columns[:-1]) == list(COMPUTED["findings"].column_names)
    assert layer["order"].tolist() == list(range(1, len(trust.findings) + 1))
    assert layer["everywhere"].tolist() == [finding.position is None for finding in trust.findings]
    marks = [feature for feature in draw_findings(layer).features if feature.icon]
    placed = [str(i) for i, finding in enumerate(trust.findings, start=1) if finding.position]
    assert [mark.number for mark in marks] == placed
    listed = re.findall(r'<span class="number \w+">(\d+)</span>', write_findings(layer))
    assert [int(number) for number in listed] == list(range(1, len(trust.findings) + 1))
    first = map_notes(trust)[0]
    assert first.startswith(f"{trust.count} findings: ")
    assert "25" not in first  # docks and the separate water, told together
    assert "26 could leave you without fuel" in first


def test_several_findings_at_one_place_share_a_mark() -> None:
    region = make_region(half_deg=0.1, land=a_wall((-500, 500)), docks=[dock(-1010, 3000, "Bare", depth_m=None)])
    layer = findings_layer(region, look(region))
    (mark,) = [feature for feature in draw_findings(layer).features if "Bare" in feature.tip]
    assert mark.number.endswith("+")
    assert "never confirmed" in mark.popup
    assert "Not known&#58; depth" in mark.popup


def test_a_map_without_findings_says_so() -> None:
    region = make_region(half_deg=0.1, land=a_wall())
    empty = findings_layer(region, look(region)).iloc[:0]
    assert write_findings(empty) == "<p>Nothing was found.</p>"
    assert write_findings(None) == ""


def test_the_document_counts_what_the_list_tells(told: tuple[Region, Trust]) -> None:
    region, trust = told
    document = trust_document(region, trust)
    assert document["verdict"] == "with care"
    assert sum(entry["count"] for entry in document["counts"]) == trust.count
    assert document["looked_with"]["draught_m"] == 0.5
    assert document["looked_with"]["standoff_m"] == 50
    assert [entry["problem"] for entry in document["findings"]] == [finding.problem for finding in trust.findings]
    assert tell_strictly(trust).endswith(f", and {trust.count - 1} more")


# The command


def test_the_command_checks_draws_and_refuses(tmp_path: Path) -> None:
    rows = [dock_feature("Dry & <Pump>", -38.5, 44.5), dock_feature("Sea Pump", -38.5, 44.6003)]
    region = write_region_folder(tmp_path / "region", {"docks": rows})
    boat = write_boat(tmp_path / "boat.toml")
    page = tmp_path / "check.html"
    words = ("region", "check", region, "--boat", boat, "--map", page)
    outcome = run(*words, "--json", cache=tmp_path, now=NOW)
    assert outcome.code == 0
    assert outcome.document["verdict"] == "not yet"  # no depth is checked
    assert outcome.document["looked_with"]["boat"] == read_boat(boat).name
    html = page.read_text(encoding="ascii")
    assert not re.search(r"(?:https?:)?//[a-z]+\.[a-z]", re.sub(r"https?://www\.w3\.org/", "", html))
    assert "<Pump>" not in html
    assert "found-mark" in html
    strict = run(*words, "--strict", cache=tmp_path, now=NOW)
    assert (strict.code, strict.out) == (2, "")
    assert len(strict.err.splitlines()) == 1
    assert "the layer is absent: no depth is checked" in strict.err


@pytest.mark.parametrize(("inland_m", "told"), [(0, False), (448, True)])
def test_a_dock_on_land_is_told_with_how_far(inland_m: int, *, told: bool) -> None:
    """A straight shore, so that what is told is the distance that was drawn."""
    shore = [(box(-HALF, -HALF, -1000, HALF), {"name": "Main"})]
    region = make_region(half_deg=0.1, land=shore, depth=SEA, docks=[dock(-999 - inland_m, 0, "Nordvik", **KNOWN)])
    found = problems(look(region), "dock-place")
    assert len(found) == told
    if told:
        metres = int(re.findall(r"lies (\d+) m on land: tracks go to the nearest shore", found[0])[0])
        assert metres == pytest.approx(inland_m, abs=3)


def test_depths_that_contradict_are_told_under_aground() -> None:
    depth = [*SEA, (box(0, 0, 3000, 3000), {"min_depth_m": 1.0})]
    trust = look(two_basins(land=a_wall((-500, 500)), depth=depth))
    assert {group_of(finding) for finding in trust.findings if finding.kind == "depth-overlap"} == {"aground"}
