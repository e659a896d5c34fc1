"""Looking round: docks and distances, ranges, and what a boat's water holds."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from faces import SMALL_LAYERS, dock, feature, small_network, square
from geographiclib.geodesic import Geodesic

from layers.errors import InputError
from routeplan.fuel import read_aboard
from routeplan.survey import look_at_docks, look_at_water, ranges_at_each_speed

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan.network import Network

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
METRES_PER_DEGREE = 111_132.0  # [m] of latitude at 45 degrees (WGS 84)


@pytest.fixture(scope="module")
def waters(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters, with a pump well inland besides."""
    docks = [*SMALL_LAYERS["docks"], dock("Inland Pump", -38.5, 44.5)]
    return small_network(tmp_path_factory.mktemp("waters"), docks=docks)


@pytest.fixture(scope="module")
def walled(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build a wall from 44.2 to 44.8 N with a gap of 60 m at 44.5 N: narrower than twice the stand-off of 50 m."""
    half = 30 / METRES_PER_DEGREE
    walls = [
        feature(square(-38.5005, 44.2, -38.4995, 44.5 - half)),
        feature(square(-38.5005, 44.5 + half, -38.4995, 44.8)),
    ]
    return small_network(tmp_path_factory.mktemp("walled"), land=walls, docks=[])


def test_docks_come_nearest_first_and_never_nearer_than_the_straight_line(waters: Network) -> None:
    docks, distances, name = look_at_docks(waters, "west mark", NOW)
    assert name == "West Mark"
    known = [d for d in distances if d is not None]
    assert known == sorted(known)
    assert distances[: len(known)] == known
    for found, distance in zip(docks, distances, strict=True):
        straight_m = Geodesic.WGS84.Inverse(44.5, -38.9, found.position[1], found.position[0])["s12"]
        if distance is not None:
            assert distance >= straight_m / 1852 - 1e-3
    assert [d.name for d in docks] == ["North Pump", "South Pump", "Diesel Pump", "Inland Pump"]
    assert distances[3] is None


def test_from_the_other_side_the_order_is_another(waters: Network) -> None:
    """From East Mark the pump on the east shore comes first, though the layer has it third."""
    docks, distances, _ = look_at_docks(waters, "East Mark", NOW)
    assert docks[0].name == "Diesel Pump"
    assert distances[0] is not None
    assert distances[0] == pytest.approx(12.9, abs=0.1)  # 0.3 degrees of longitude at 44.5 N, 42.9 nmi each


def test_a_distance_by_hand(waters: Network) -> None:
    """To the island's north-west corner hypot(12.9, 6.0) = 14.2 nmi, and 4.3 along its shore."""
    docks, distances, _ = look_at_docks(waters, "West Mark", NOW)
    by_name = {d.name: distance for d, distance in zip(docks, distances, strict=True)}
    assert by_name["North Pump"] == pytest.approx(18.5, abs=0.1)
    assert by_name["South Pump"] == pytest.approx(by_name["North Pump"], abs=0.1)


def test_a_dock_is_no_way_from_itself(waters: Network) -> None:
    docks, distances, name = look_at_docks(waters, "North Pump", NOW)
    assert name == "North Pump"
    assert (docks[0].name, distances[0]) == ("North Pump", 0.0)


def test_without_an_origin_the_order_is_the_layer_s(waters: Network) -> None:
    docks, distances, name = look_at_docks(waters, None, NOW)
    assert [d.row for d in docks] == [0, 1, 2, 3]
    assert distances == [None] * 4
    assert name == ""


def test_only_suitable_leaves_out_what_sells_no_gasoline(waters: Network) -> None:
    docks, _, _ = look_at_docks(waters, None, NOW, only_suitable=True)
    assert "Diesel Pump" not in [d.name for d in docks]
    assert all(d.suits for d in docks)


def test_a_position_is_a_place_to_count_from(waters: Network) -> None:
    """West Mark by its position: the same distances, and the network that was given is as it was."""
    before = len(waters.terminals)
    by_name = look_at_docks(waters, "West Mark", NOW)
    by_position = look_at_docks(waters, "44 30.0N 38 54.0W", NOW)
    assert by_position[1] == pytest.approx(by_name[1], abs=1e-6)
    assert len(waters.terminals) == before


@pytest.mark.parametrize("text", ["Nowhere", "10.0 -38.5", "44.5 -38.5", "44.99 -200"])
def test_a_place_that_can_t_be_counted_from(waters: Network, text: str) -> None:
    with pytest.raises(InputError) as caught:
        look_at_docks(waters, text, NOW)
    assert caught.value.where == "--from"


def test_ranges_by_hand(waters: Network) -> None:
    """50 l, floor 15: 35 l usable; at 25 kn 55 l/h: 25/55*35 = 15.9 nmi; at 0.5 promised is the plain figure."""
    aboard = read_aboard("50l", waters.boat, "aboard")
    plain = {row["speed_kn"]: row for row in ranges_at_each_speed(waters.boat, aboard, 0.5)}
    assert plain[25.0]["range_nmi"] == pytest.approx(25 / 55 * 35)
    assert plain[25.0]["economy_nmi_per_l"] == pytest.approx(25 / 55)
    assert plain[25.0]["promised_nmi"] == pytest.approx(plain[25.0]["range_nmi"])
    assert set(plain) == {5.0, 8.0, 15.0, 20.0, 25.0}


def test_what_is_promised_keeps_the_reserve_to_the_litre(waters: Network) -> None:
    """Over the promised distance 50 l less the burn less z(0.9) = 1.2816 standard deviations leave the floor, 15 l."""
    aboard = read_aboard("50l±2l", waters.boat, "aboard")
    row = next(r for r in ranges_at_each_speed(waters.boat, aboard, 0.9) if r["speed_kn"] == 20)
    burned_l = row["promised_nmi"] / 20 * 40
    low_l = 50 - burned_l - 1.281552 * (2**2 + (0.06 * burned_l) ** 2) ** 0.5
    assert low_l == pytest.approx(15, abs=1e-3)


def test_too_little_aboard_promises_nothing(waters: Network) -> None:
    aboard = read_aboard("15l", waters.boat, "aboard")
    assert all(r["range_nmi"] == 0 and r["promised_nmi"] == 0 for r in ranges_at_each_speed(waters.boat, aboard, 0.9))


def test_places_out_of_reach_are_listed_with_the_reason(waters: Network) -> None:
    document, lines = look_at_water(waters)
    assert [entry["name"] for entry in document["out_of_reach"]] == ["Inland Pump"]
    assert document["out_of_reach"][0]["why"]
    assert any("Inland Pump" in line for line in lines)
    assert document["navigable_waters"] == 1
    assert document["closed_channels"] == []


def test_a_channel_that_the_stand_off_closes_is_told(walled: Network) -> None:
    """From the gap to either end of the wall it is 18 nmi, so the way round is about 36."""
    document, lines = look_at_water(walled)
    (channel,) = document["closed_channels"]
    lon, lat = channel["position"]
    assert (lon, lat) == pytest.approx((-38.5, 44.5), abs=1e-3)
    assert channel["width_m"] == pytest.approx(60, abs=1)
    assert channel["way_round_nmi"] == pytest.approx(36, abs=0.5)
    assert any("44 30.0" in line and "round" in line for line in lines)


def test_an_approach_over_shoal_water_is_marked(tmp_path: Path) -> None:
    """Deep all round but for a shelf of 0.5 m, 300 m wide, before North Pump."""
    shelf_deg = 300 / METRES_PER_DEGREE
    depth = [
        feature(square(-39.0, 44.0, -38.0, 45.0), min_depth_m=20.0),
        feature(square(-38.52, 44.6, -38.48, 44.6 + shelf_deg), min_depth_m=0.5),
    ]
    network = small_network(tmp_path, depth=depth)
    document, _ = look_at_water(network)
    crossed = {entry["name"]: entry["crosses"] for entry in document["approaches_over_closed_water"]}
    assert crossed.get("North Pump") == ["shoal"]
    assert "South Pump" not in crossed
