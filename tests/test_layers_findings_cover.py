"""What the layers cover, and whether the extent fits them: gaps, contradictions, missing coasts, wrong signs."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from faces import SMALL_LAYERS, dock, write_region_folder
from geographiclib.geodesic import Geodesic
from test_layers_findings import ABOUT, DOCK, EAST, QUAY, WEST, doubts, made, only

from layers import LAYERS, LayersError, Region, Source, build_layer, build_region, read_region, write_region
from layers.antimeridian import wrap
from layers.findings_kinds import GROUPS, KINDS, Finding, capped, group_of, in_order_of_danger

if TYPE_CHECKING:
    from pathlib import Path

DEEP = {"min_depth_m": 5}
MARK = {"name": "Holm", "kind": "mark"}


def area_km2(west: float, south: float, east: float, north: float) -> float:
    """[km2] On the ellipsoid, by geographiclib, the parallels walked in small steps."""
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in shapely.get_coordinates(shapely.segmentize(shapely.box(west, south, east, north), 0.01))[:-1]:
        polygon.AddPoint(lat, lon)
    return float(abs(polygon.Compute()[2])) / 1e6


def kinds(region: Region) -> list[str]:
    return [finding.kind for finding in doubts(region)]


def moved(region: Region, extent: tuple[float, float, float, float], by_deg: float = 0.0) -> Region:
    """Give a region another extent, its layers moved along their parallels."""
    frames = {}
    for name in region.present:
        frame = region.layer(name).copy()
        shapes = shapely.transform(frame.geometry.to_numpy(), lambda xy: xy + np.array([by_deg, 0.0]))
        frame["geometry"] = wrap(shapes)
        frames[name] = frame
    return Region(ABOUT.model_copy(update={"extent": extent}), frames, region.present, region.where)


# Depths


def test_water_without_charted_depth_is_told_with_its_area_and_place():
    """The eastern half has none; of the eastern island's 0.2 degrees all lie in the charted half or on land."""
    found = only(made(depth=[(DEEP, shapely.box(-39, 44, -37.8, 45))]))
    told_km2 = float(found.problem.split(" km2")[0].replace(",", ""))
    assert told_km2 == pytest.approx(area_km2(-37.8, 44, -37, 45), rel=2e-3)
    assert found.problem.endswith("of water has no charted depth, 40 % of the extent")
    lon, lat = found.position or (0.0, 0.0)
    assert -37.8 < lon < -37
    assert 44 < lat < 45
    assert (found.kind, found.weight, group_of(found)) == ("depth-gap", "unknown", "aground")


def test_hairline_cracks_between_depth_areas_are_no_gaps():
    """Three areas tile the water, their shared edges with corners of their own; half a metre is left open besides."""
    hair = 0.5 / 111_000  # [deg] of latitude
    tiles = [
        shapely.box(-39, 44, -37, 44.3),
        shapely.box(-39, 44.3 + hair, -38.3, 45),
        shapely.box(-38.3, 44.3 + hair, -37, 45),
    ]
    assert doubts(made(depth=[(DEEP, tile) for tile in tiles])) == []


def test_a_strip_ten_metres_wide_is_a_gap():
    strip = 10 / 111_000
    tiles = [shapely.box(-39, 44, -37, 44.3), shapely.box(-39, 44.3 + strip, -37, 45)]
    assert kinds(made(depth=[(DEEP, tile) for tile in tiles])) == ["depth-gap"]


def test_land_is_no_gap():
    holed = shapely.box(-39, 44, -37, 45).difference(shapely.union_all([WEST, EAST]))
    assert doubts(made(depth=[(DEEP, holed)])) == []


def test_of_many_gaps_the_twenty_largest_are_told_and_the_rest_counted():
    holes = [shapely.box(-37.7 + 0.02 * i, 44.1, -37.69 + 0.02 * i, 44.1 + 0.01 * (i + 1)) for i in range(30)]
    found = doubts(made(depth=[(DEEP, shapely.box(-39, 44, -37, 45).difference(shapely.union_all(holes)))]))
    assert [finding.count for finding in found] == [1] * 20 + [10]
    lons = [finding.position[0] for finding in found[:20] if finding.position]
    assert lons == sorted(lons, reverse=True)  # the largest lies furthest east
    assert found[20].problem.startswith("10 more gaps, ")


def test_depths_that_contradict_are_told_once_with_the_largest_place():
    """0.1 by 0.1 degrees lie in rows 1 and 2, a hundredth of that in rows 1 and 3."""
    whole = (DEEP, shapely.box(-39, 44, -37, 45))
    large, small = shapely.box(-37.6, 44.1, -37.5, 44.2), shapely.box(-37.4, 44.1, -37.39, 44.11)
    found = only(made(depth=[whole, ({"min_depth_m": 2}, large), ({"min_depth_m": -1.5}, small)]))
    assert found.kind == "depth-overlap"
    told_km2 = area_km2(*large.bounds) + area_km2(*small.bounds)
    assert found.problem == (
        f"2 pairs of areas with different depths overlap, {told_km2:.0f} km2 together, up to 6.5 m apart; "
        "the largest overlap is that of rows 1 and 2"
    )
    assert large.contains(shapely.Point(*(found.position or ())))


@pytest.mark.parametrize(("depth_m", "wide_deg"), [(5, 0.1), (2, 0.5 / 79_000)])
def test_equal_depths_and_hairlines_do_not_contradict(depth_m: float, wide_deg: float):
    """A degree of longitude at 44.5 north is 79 km: the second overlaps by half a metre."""
    tiles = [
        (DEEP, shapely.box(-39, 44, -37.5, 45)),
        ({"min_depth_m": depth_m}, shapely.box(-37.5 - wide_deg, 44, -37, 45)),
    ]
    assert doubts(made(depth=tiles)) == []


# Coasts


def test_an_extent_much_wider_than_its_coast_is_told_where_no_depth_is_charted():
    """The islands lie from 38.5 to 37.8 W and 44.4 to 44.6 N, in an extent of two degrees by one; west is just 25 %."""
    region = made(depth=[])
    bare = next(finding for finding in doubts(region) if finding.kind == "bare")
    assert "the eastern 40 %, southern 40 % and the northern 40 % of the extent" in bare.problem
    assert bare.shape.area == pytest.approx(2 * 1 - (0.7 + 0.5) * 0.2)


def test_land_of_other_waters_alone_is_no_coast_here():
    found = doubts(made(land=[({}, shapely.box(-36, 44, -35.9, 44.1))], overhead=[], openings=[], docks=[]))
    assert [f.problem for f in found if f.kind == "coast"] == ["none of it lies in the extent"]


def test_docks_far_from_any_land_mean_a_coast_that_is_missing():
    far = [(DOCK | {"name": f"Quay {i}"}, shapely.Point(-37.4, 44.1 + i / 10)) for i in range(4)]
    found = only(made(docks=[(DOCK, QUAY), *far]))
    assert (found.layer, found.kind, found.weight) == ("land", "coast", "wrong")
    assert found.problem == "4 of 5 docks lie over 1 nmi off all charted land"


@pytest.mark.parametrize(("kind", "told"), [("mark", True), ("anchorage", True), ("harbour", False)])
def test_a_mark_on_land_is_told_a_harbour_a_little_inside_the_shore_is_not(kind: str, told: bool):  # noqa: FBT001
    """0.005 degrees of longitude at 44.5 north are 0.005 * 111,320 * cos 44.5 = 397 m; 0.2 % more on WGS 84."""
    found = doubts(made(waypoints=[(MARK | {"kind": kind}, shapely.Point(-38.105, 44.5))]))
    assert [finding.problem for finding in found] == (["lies 398 m on land"] if told else [])


# The extent


@pytest.mark.parametrize(
    ("extent", "told"),
    [
        ((37.0, 44.0, 39.0, 45.0), "with the signs of west and east changed"),
        ((-39.0, -45.0, -37.0, -44.0), "with the signs of south and north changed"),
        ((37.0, -45.0, 39.0, -44.0), "with all signs changed"),
    ],
)
def test_an_extent_in_the_wrong_hemisphere(extent: tuple[float, float, float, float], told: str):
    found = only(moved(made(), extent))
    assert (found.layer, found.weight) == ("extent", "wrong")
    assert f"10 of 10 rows lie outside it; {told}, it would hold 10" in found.problem
    assert found.remedy == "write extent = [-39, 44, -37, 45] in region.toml"


def test_an_extent_that_goes_the_wrong_way_round_the_globe():
    """Layers on both sides of 180, and a box that holds everything but them."""
    found = only(moved(made(), (-179.0, 44.0, 179.0, 45.0), by_deg=218.0))
    assert "with west and east exchanged" in found.problem
    assert found.remedy == "write extent = [179, 44, -179, 45] in region.toml"


def test_across_180_nothing_is_found_that_is_not_found_elsewhere():
    assert doubts(moved(made(), (179.0, 44.0, -179.0, 45.0), by_deg=218.0)) == []
    away = {"docks": [(DOCK, shapely.Point(-38.3, 44.5))], "depth": [(DEEP, shapely.box(-39, 44, -37.8, 45))]}
    here, there = made(**away), moved(made(**away), (179.0, 44.0, -179.0, 45.0), by_deg=218.0)
    assert [str(finding) for finding in doubts(there)] == [str(finding) for finding in doubts(here)]
    for one, other in zip(doubts(here), doubts(there), strict=True):
        assert one.position is not None
        assert other.position is not None
        assert (other.position[0] - one.position[0]) % 360 == pytest.approx(218, abs=0.01)


def test_an_extent_far_from_everything_is_told_without_a_guess():
    found = only(moved(made(), (10.0, 10.0, 12.0, 11.0)))
    assert found.problem == "10 of 10 rows lie outside it"


def test_a_region_whose_every_row_looks_swapped_has_one_fault(tmp_path: Path):
    """Its extent is written with the latitudes first."""
    folder = write_region_folder(tmp_path / "r")
    text = (folder / "region.toml").read_text(encoding="utf-8")
    text = text.replace("[-39.0, 44.0, -38.0, 45.0]", "[44.0, -39.0, 45.0, -38.0]")
    (folder / "region.toml").write_text(text, encoding="utf-8")
    with pytest.raises(LayersError) as caught:
        read_region(folder)
    (fault,) = caught.value.bad_rows
    assert (fault.layer, fault.column) == ("region.toml", "extent")
    assert "write [-39, 44, -38, 45]" in fault.rule
    assert f"all {sum(len(rows) for rows in SMALL_LAYERS.values())} rows" in fault.rule


@pytest.mark.parametrize(
    ("at", "told"),
    [
        ((38.2, 44.5), "with the sign of its longitude changed"),
        ((-38.2, -44.5), "with the sign of its latitude changed"),
    ],
)
def test_a_dock_in_the_wrong_place_is_told_with_what_was_likely_meant(at: tuple[float, float], told: str):
    found = only(made(docks=[(DOCK, QUAY), (DOCK | {"name": "Far"}, shapely.Point(*at))]))
    assert (found.row, found.name, found.weight) == (2, "Far", "wrong")
    assert found.problem == f"lies outside the region's extent; {told}, it would lie inside"


def test_a_dock_with_its_numbers_exchanged_that_still_lies_near():
    """Those far away are refused in reading; this one lies 3 degrees south of an extent of 4 degrees."""
    about = ABOUT.model_copy(update={"extent": (40.0, 44.0, 44.0, 46.0)})
    rows = [DOCK, DOCK | {"name": "Other"}, DOCK | {"name": "Far"}]
    docks = build_layer(LAYERS["docks"], rows, [shapely.Point(at) for at in ((42, 45), (43, 45), (45, 41))])
    lands = build_layer(
        LAYERS["land"], [{}] * 4, [shapely.box(x, 44.9, x + 0.01, 44.99) for x in (42, 42.02, 43, 43.02)]
    )
    found = doubts(build_region(about, {"docks": docks, "land": lands}))
    told = [finding.problem for finding in found if finding.kind == "misplaced"]
    assert told == ["lies outside the region's extent; with longitude and latitude exchanged, it would lie inside"]


def test_a_layer_with_the_wrong_sign_is_told_once():
    rows = [(DOCK | {"name": f"Quay {i}"}, shapely.Point(38.0 + i / 10, 44.5)) for i in range(4)]
    found = only(made(docks=rows))
    assert (found.row, found.count) == (0, 4)
    assert "with the sign of their longitude changed, they would lie inside" in found.problem


def test_what_lies_at_zero_has_no_position():
    found = only(made(docks=[(DOCK, QUAY), (DOCK | {"name": "Null"}, shapely.Point(0, 0))]))
    assert (found.row, found.kind, found.weight) == (2, "zero", "wrong")


# Sources, order, number


@pytest.mark.parametrize(
    ("day", "years"), [(date(2016, 6, 30), "10"), (date(2001, 1, 1), "25"), (date(2016, 7, 2), "")]
)
def test_old_charts_are_told_once_for_all_layers_of_one_source(day: date, years: str):
    old = Source(title="a survey", date=day)
    sources = dict(ABOUT.sources) | {"land": old, "depth": old, "docks": old}
    region = build_region(ABOUT.model_copy(update={"sources": sources}), made().frames)
    told = [finding.problem for finding in doubts(region)]
    wanted = f"its source (a survey) is dated {day}, {years} years ago, as is that of depth"
    assert told == ([wanted] if years else [])


def test_of_each_kind_twenty_are_told_and_the_rest_counted():
    rows = [(DOCK | {"name": f"Quay {i}", "confirmed_on": None}, QUAY) for i in range(65)]
    found = doubts(made(docks=rows))
    assert len(found) == 21
    assert found[20].problem == "45 more of this kind"
    assert sum(finding.count for finding in found) == 65


def test_nothing_is_lost_by_capping_and_the_first_stay():
    many = [Finding("docks", row, "", "p", "", kind) for row in range(1, 50) for kind in ("hours", "zero")]
    assert sum(finding.count for finding in capped(many)) == len(many)
    assert [finding.row for finding in capped(many) if finding.kind == "zero"] == [*range(1, 21), 0]


def test_the_gravest_come_first_and_each_kind_lies_together():
    mixed = [Finding("docks", 1, "", "p", "", "hours"), Finding("waypoints", 1, "", "p", "", "namesake")]
    mixed += [Finding("depth", 0, "", "p", "", "depth-gap"), Finding("docks", 2, "", "p", "", "dock-reach")]
    mixed += [Finding("land", 1, "", "p", "", "nobody knows this kind"), Finding("docks", 3, "", "p", "", "hours")]
    ordered = in_order_of_danger(mixed)
    assert [group_of(finding) for finding in ordered] == ["aground", "aground", "fuel", "fuel", "fuel", "other"]
    assert [finding.row for finding in ordered] == [0, 1, 2, 1, 3, 1]
    assert set(GROUPS) == {group_of(finding) for finding in ordered}
    assert len({kind.many for kind in KINDS.values()}) == len(KINDS)


def test_the_same_files_give_the_same_findings(tmp_path: Path):
    holes = [shapely.box(-37.7 + 0.02 * i, 44.1, -37.69 + 0.02 * i, 44.11) for i in range(5)]
    region = made(
        depth=[(DEEP, shapely.box(-39, 44, -37, 45).difference(shapely.union_all(holes)))],
        land=[({}, WEST), ({}, EAST), ({}, EAST), ({"name": "Holm"}, WEST)],
    )
    write_region(region, tmp_path / "r")
    first, second = (doubts(read_region(tmp_path / "r")) for _ in range(2))
    assert first == second
    assert [finding.position for finding in first] == [finding.position for finding in second]
    assert [finding.kind for finding in first] == ["depth-gap"] * 5 + ["land-overlap"] * 2


def test_islets_that_touch_or_lie_in_a_big_coast_are_found():
    """A ring of land, islets in its lagoon, one that pokes into the ring and one that lies in it."""
    ring = shapely.Point(-38, 44.5).buffer(0.3, quad_segs=500)
    ring = ring.difference(shapely.Point(-38, 44.5).buffer(0.2, quad_segs=500))
    corners = [(x, y) for x in np.arange(-38.1, -37.9, 0.04) for y in np.arange(44.42, 44.58, 0.02)]
    islets = [shapely.box(x, y, x + 0.005, y + 0.005) for x, y in corners]
    odd = [shapely.box(-38.21, 44.49, -38.19, 44.5), shapely.box(-38.25, 44.5, -38.24, 44.51)]
    nothing: dict[str, Any] = {"waypoints": [], "overhead": [], "openings": [], "docks": []}
    found = doubts(made(land=[({}, shape) for shape in (*islets, ring, *odd)], **nothing))
    overlaps = [finding for finding in found if finding.kind == "land-overlap"]
    assert [finding.row for finding in overlaps] == [len(islets) + 1] * 2
    for finding, shape in zip(overlaps, odd, strict=True):
        assert shapely.Point(finding.position).within(shape)


def test_a_row_left_out_keeps_the_others_numbers(tmp_path: Path):
    rows = [dock("Torn", -38.5, 44.6003, opening_hours="8-18"), dock("Null", 0.0, 0.0)]
    folder = write_region_folder(tmp_path / "r", {"docks": json.loads(json.dumps(rows))})
    region: Any = read_region(folder, skip_bad_docks=True)
    found = next(finding for finding in doubts(region) if finding.kind == "zero")
    assert (found.row, found.name) == (2, "Null")


def test_frames_are_left_as_they_were():
    region = made(land=[({}, WEST), ({}, EAST), ({}, EAST)])
    before = region.digest
    doubts(region)
    assert Region(region.about, region.frames, region.present, region.where).digest == before
