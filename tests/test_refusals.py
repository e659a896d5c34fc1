"""No plan: the leg that breaks the rule, the shortfall by hand, and every idea tried out."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
import shapely
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, waypoint

from routeplan.building import build_network
from routeplan.fuel import FuelAboard, full
from routeplan.margins import Margins
from routeplan.passage import find_passage
from routeplan.plans import NoPassageError, Refusal
from routeplan.trips import Trip

if TYPE_CHECKING:
    from layers import Region
    from routeplan.boats import Boat
    from routeplan.network import Network

EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
FAR_LAND = (box(17000, 25000, 17100, 25100), {"name": "Rock"})
SURE = {"confirmed_on": "2026-06-01"}
MILES = 2e-4  # relative: the flat miles of the examples against the ellipsoid's


def _three(**columns: object) -> Region:
    """Lay out A, a dock 9 nmi on, and B another 9 nmi on."""
    return make_region(
        land=[FAR_LAND],
        docks=[dock(0, 0, "Half Way", **(SURE | columns))],
        waypoints=[waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")],
    )


def _trip(aboard: FuelAboard, **changes: Any) -> Trip:
    asked = {"start": "Aye", "finish": "Bee", "depart": EIGHT, "aboard": aboard}
    return Trip(**(asked | {"confidence": 0.5, "closed_dock": "off"} | changes))


def _stated(mean_l: float, sd_l: float = 0.0) -> FuelAboard:
    return FuelAboard(mean_l=mean_l, sd_l=sd_l, how="stated")


def _refused(network: Network, trip: Trip, boat: Boat | None = None) -> Refusal:
    with pytest.raises(NoPassageError) as caught:
        find_passage(network, trip, now=EIGHT, boat=boat)
    assert str(caught.value)
    return caught.value.refusal


def _try_all(network: Network, trip: Trip, refusal: Refusal) -> set[str]:  # noqa: C901, PLR0912  one branch for each kind
    """Carry out every idea, as it is printed; each has to make a plan. Tells which kinds there were."""
    boat, kinds = network.boat, set()
    for idea in refusal.try_:
        changed, at = trip, network
        if found := re.search(r"leave with .* more, ([\d.]+) l in all", idea):
            changed, kind = trip.model_copy(update={"aboard": _stated(float(found[1]), trip.aboard.sd_l)}), "more"
        elif "leave filled" in idea or "--aboard full" in idea:
            changed, kind = trip.model_copy(update={"aboard": full(boat)}), "filled"
        elif "--fill best" in idea:
            changed, kind = trip.model_copy(update={"fill": "best"}), "part fill"
        elif found := re.search(r"--reserve ([\d.]+)l would do", idea):
            reserve = boat.reserve.model_copy(update={"rule": "volume", "value": float(found[1])})
            frugal = boat.model_copy(update={"reserve": reserve})
            assert find_passage(network, trip, now=EIGHT, boat=frugal).plans, idea
            kinds.add("reserve")
            continue
        elif found := re.search(r"--confidence ([\d.]+) would do", idea):
            changed, kind = trip.model_copy(update={"confidence": float(found[1])}), "confidence"
            bolder = trip.model_copy(update={"confidence": float(found[1]) + 0.01})
            with pytest.raises(NoPassageError):
                find_passage(network, bolder, now=EIGHT)
        elif found := re.search(r"--closed-dock (on|off),", idea):
            changed, kind = trip.model_copy(update={"closed_dock": found[1]}), "closed dock"
        elif found := re.search(r"go at ([\d.]+) kn", idea):
            changed, kind = trip.model_copy(update={"speed_kn": float(found[1])}), "slower"
        elif found := re.search(r"(.+) would do, but", idea):
            docks = network.region.layer("docks").copy()
            row = docks["name"] == found[1]
            docks.loc[row, ["depth_m", "max_length_m"]] = [9.0, 99.0]
            docks["members_only"] = None
            docks["ethanol_share"] = math.nan
            region = replace(network.region, frames={**network.region.frames, "docks": docks})
            at, kind = build_network(region, boat, network.water.margins), "dock"
        elif "confidence 0.5" in idea:
            changed, kind = trip.model_copy(update={"confidence": 0.5}), "rule of thumb"
        elif "stand-off" in idea:
            at, kind = build_network(network.region, boat, Margins(standoff_m=10)), "stand-off"
        elif "unsurveyed" in idea:
            at, kind = build_network(network.region, boat, Margins(allow_unsurveyed=True)), "unsurveyed"
        elif "--via" in idea:
            kinds.add("via")
            continue
        else:
            pytest.fail(f"an idea that nobody can carry out: {idea}")
        assert find_passage(at, changed, now=EIGHT).plans, idea
        kinds.add(kind)
    return kinds


def test_the_shortfall_by_hand() -> None:
    """15 l aboard, reserve 10, 1 l a mile: the dock at 9 nmi would be reached with 6, short of 4."""
    network = build_network(_three(), make_boat())
    trip = _trip(_stated(15))
    refusal = _refused(network, trip)
    assert (refusal.from_, refusal.to) == ("Aye", "Half Way")
    assert refusal.distance_nmi == pytest.approx(9, rel=MILES)
    assert refusal.short_l == pytest.approx(4, abs=9 * MILES)
    assert _try_all(network, trip, refusal) == {"more", "filled", "reserve"}


def test_the_shortfall_at_a_confidence_by_hand() -> None:
    """15 l of sd 1, burn doubtful by 10 %: 15 - 9 - 1.28155 sqrt(1 + 0.81) = 4.2758, short of 5.7242."""
    network = build_network(_three(), make_boat(sd_share=0.1))
    refusal = _refused(network, _trip(_stated(15, 1.0), confidence=0.9))
    assert refusal.short_l == pytest.approx(5.7242, abs=0.003)


def test_a_hop_from_a_full_tank_that_is_too_long() -> None:
    """Tank of 18 l, reserve 10: full carries 8 nmi; from the dock to B it is 9: short of 1. No more fuel helps."""
    network = build_network(_three(), make_boat(capacity_l=18.0, full_mark_l=18.0))
    refusal = _refused(network, _trip(_stated(18)))
    assert (refusal.from_, refusal.to) in {("Half Way", "Bee"), ("Aye", "Half Way")}
    assert refusal.short_l == pytest.approx(1, abs=9 * MILES)
    assert _try_all(network, _trip(_stated(18)), refusal) == {"reserve"}


def test_going_slower_is_offered_where_it_saves_enough() -> None:
    """At 5 kn half a litre a mile: the dock at 9 nmi takes 4.5 l of the 5 above the reserve."""
    network = build_network(_three(), make_boat(burn_lph=(2.5, 20.0)))
    trip = _trip(_stated(15))
    assert "slower" in _try_all(network, trip, _refused(network, trip))


def test_a_dock_that_does_not_suit_is_named_if_it_would_help() -> None:
    network = build_network(_three(depth_m=1.0), make_boat())
    trip = _trip(_stated(25))
    refusal = _refused(network, trip)
    assert any("Half Way" in idea and "shallow" in idea for idea in refusal.try_)
    assert "dock" in _try_all(network, trip, refusal)
    assert refusal.short_l == pytest.approx(3, abs=18 * MILES)  # 25 - 18 = 7 at B
    assert refusal.distance_nmi == pytest.approx(18, rel=MILES)


def test_a_dock_of_the_wrong_fuel_is_not_offered() -> None:
    network = build_network(_three(fuels="diesel"), make_boat())
    refusal = _refused(network, _trip(_stated(25)))
    assert not any("Half Way" in idea for idea in refusal.try_)


def test_the_confidence_that_would_do_by_hand() -> None:
    """30 l of sd 0, burn doubtful by 30 %: 30 - 18 = 12 is above 10, but the low figure isn't.

    z may be 2 / (0.3 x 18) = 0.370: a confidence of 0.644.
    """
    network = build_network(_three(fuels="diesel"), make_boat(sd_share=0.3, capacity_l=30.0, full_mark_l=30.0))
    trip = _trip(_stated(30), confidence=0.9)
    refusal = _refused(network, trip)
    assert "confidence" in _try_all(network, trip, refusal)
    assert any("--confidence 0.64 " in idea for idea in refusal.try_)
    # 18 + 1.28155 x 0.3 x 18 = 24.92 burnt at the worst; 20 may be
    assert refusal.short_l == pytest.approx(1.28155 * 0.3 * 18 - 2, abs=0.01)


def test_the_rule_of_thumb_is_named_as_what_it_is() -> None:
    """28.01 l leave 10.01 on average: hardly any doubt can be allowed for."""
    network = build_network(_three(fuels="diesel"), make_boat(sd_share=0.3, capacity_l=28.01, full_mark_l=28.01))
    trip = _trip(_stated(28.01), confidence=0.9)
    assert "rule of thumb" in _try_all(network, trip, _refused(network, trip))


@pytest.mark.parametrize("most_l", [80.0, 4.0, 1.0])
def test_a_largest_sale_is_blamed_by_name(most_l: float) -> None:
    """25 l aboard, 84 to the mark, the dock sells less; 19 l are needed there: a sale of 4 l would do, of 1 l not."""
    network = build_network(_three(largest_sale_l=most_l), make_boat())
    trip = _trip(_stated(25))
    refusal = _refused(network, trip)
    assert "Half Way" in refusal.why
    assert f"{most_l:.1f}" in refusal.why
    assert "84" in refusal.why
    _try_all(network, trip, refusal)


def test_a_dock_that_never_opens_long_enough_is_blamed_by_name() -> None:
    network = build_network(_three(opening_hours="08:00-08:05"), make_boat())
    refusal = _refused(network, _trip(_stated(25)))
    assert "Half Way" in refusal.why
    _try_all(network, _trip(_stated(25)), refusal)


def test_no_way_at_all_says_what_closes_it() -> None:
    ends = [waypoint(-9000, 0, "Aye"), waypoint(9000, 0, "Bee")]
    wall = box(-200, -40000, 200, 40000)
    closed = {
        "land": make_region(land=[(wall, {})], waypoints=ends),
        "shallow": make_region(
            land=[FAR_LAND],
            waypoints=ends,
            depth=[(box(-30000, -40000, 30000, 40000), {"min_depth_m": 20.0}), (wall, {"min_depth_m": 0.3})],
        ),
        "unsurveyed": make_region(
            land=[FAR_LAND],
            waypoints=ends,
            depth=[
                (box(-30000, -40000, -200, 40000), {"min_depth_m": 20.0}),
                (box(200, -40000, 30000, 40000), {"min_depth_m": 20.0}),
            ],
        ),
        "no-entry": make_region(
            land=[FAR_LAND], waypoints=ends, zones=[(wall, {"name": "Z", "rule": "no-entry", "why": "test"})]
        ),
        "narrow": make_region(land=[(wall.difference(box(-300, -30, 300, 30)), {})], waypoints=ends),
        "bridge": make_region(
            land=[(wall.difference(box(-300, -300, 300, 300)), {})],
            waypoints=ends,
            overhead=[
                (shapely.LineString([(0, -310), (0, 310)]), {"name": "Span", "kind": "bridge", "clearance_m": 1.0})
            ],
        ),
    }
    trip = _trip(_stated(90))
    for word, region in closed.items():
        network = build_network(region, make_boat())
        refusal = _refused(network, trip)
        assert word in refusal.why, refusal.why
        assert refusal.distance_nmi is None
        assert refusal.short_l is None
        expected = {"unsurveyed": {"unsurveyed"}, "narrow": {"stand-off"}}.get(word, set())
        assert _try_all(network, trip, refusal) == expected


def test_of_several_ways_the_least_bad_is_told() -> None:
    """25 l; one dock 16 nmi on (short of 1 l), another 9 nmi back (in reach, and from there 18 l on from full: fine).

    So with the dock behind there is a plan; with it shut to the boat the leg to the far dock is the one that fails.
    """
    far = dock(7 * NMI_M, 0, "Far", **SURE)
    behind = dock(-9 * NMI_M, -9 * NMI_M, "Behind", **SURE)
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")]
    network = build_network(make_region(land=[FAR_LAND], docks=[far, behind], waypoints=ends), make_boat())
    assert find_passage(network, _trip(_stated(25)), now=EIGHT).plans
    network = build_network(make_region(land=[FAR_LAND], docks=[far], waypoints=ends), make_boat())
    refusal = _refused(network, _trip(_stated(25)))
    assert (refusal.from_, refusal.to) == ("Aye", "Far")
    assert refusal.short_l == pytest.approx(1, abs=16 * MILES)


def test_less_than_the_reserve_before_leaving_is_said() -> None:
    network = build_network(_three(), make_boat())
    trip = _trip(_stated(8))
    refusal = _refused(network, trip)
    assert "before leaving" in refusal.why
    assert refusal.short_l == pytest.approx(11, abs=9 * MILES)
    _try_all(network, trip, refusal)


def test_by_way_of_a_place_without_fuel_the_whole_carry_is_told() -> None:
    """From A round by a mark 9 nmi north and back to the dock: 9 + sqrt(2) 9 = 21.73 nmi on 25 l: short of 6.73."""
    region = make_region(
        land=[FAR_LAND],
        docks=[dock(0, 0, "Half Way", **SURE)],
        waypoints=[
            waypoint(-9 * NMI_M, 0, "Aye"),
            waypoint(-9 * NMI_M, 9 * NMI_M, "Mark", "mark"),
            waypoint(9 * NMI_M, 0, "Bee"),
        ],
    )
    network = build_network(region, make_boat())
    # from A to the dock first is allowed: fill there and go round; so shut it out by its largest sale
    assert find_passage(network, _trip(_stated(25), via=("Mark",)), now=EIGHT).plans
    boat = make_boat(capacity_l=25.0, full_mark_l=25.0)
    refusal = _refused(build_network(region, boat), _trip(_stated(25), via=("Mark",)))
    assert "Mark" in refusal.why
    assert refusal.short_l == pytest.approx(9 + 9 * math.sqrt(2) - 15, abs=0.01)


@pytest.mark.slow
def test_ideas_of_the_demo_really_make_plans(demo_network: Network, now: datetime) -> None:
    """Little fuel, far to go: whatever is offered is carried out."""
    boat = demo_network.boat
    aboard = FuelAboard(mean_l=boat.floor_l + 2, sd_l=2.0, how="stated")
    trip = Trip(start="Tolvarrow", finish="Ettermoy", depart=EIGHT, aboard=aboard)
    with pytest.raises(NoPassageError) as caught:
        find_passage(demo_network, trip, now=now)
    tried = 0
    for idea in caught.value.refusal.try_:
        if found := re.search(r"leave with .* more, ([\d.]+) gal in all", idea):
            more = FuelAboard(mean_l=float(found[1]) * 3.785411784, sd_l=2.0, how="stated")
            changed = trip.model_copy(update={"aboard": more})
        elif found := re.search(r"go at ([\d.]+) kn", idea):
            changed = trip.model_copy(update={"speed_kn": float(found[1])})
        elif "leave filled" in idea or "--aboard full" in idea:
            changed = trip.model_copy(update={"aboard": full(boat)})
        elif found := re.search(r"--confidence ([\d.]+) would do", idea):
            changed = trip.model_copy(update={"confidence": float(found[1])})
        else:
            continue
        assert find_passage(demo_network, changed, now=now).plans, idea
        tried += 1
    assert tried >= 1
