"""Passages from names to plans: figures by hand, every plan there is as the oracle, and what is printed on the legs."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from oracles.closed_game import every_safe_plan
from oracles.closed_water import ClosedWater
from oracles.every_plan import Pump, Puzzle, Way, pareto
from oracles.small_world import NMI_M, box, dock, make_boat, make_region, position, position_text, waypoint, zone
from pyproj import Geod

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.cautions import SAFETY_CAUTIONS
from routeplan.fuel import FuelAboard, full, z_of
from routeplan.margins import Margins
from routeplan.passage import Passage, find_passage
from routeplan.plans import NoPassageError, Plan
from routeplan.tracks import Tracks
from routeplan.trips import Trip

if TYPE_CHECKING:
    from layers import Region
    from routeplan.boats import Boat
    from routeplan.network import Network

GEOD = Geod(ellps="WGS84")
EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
FAR_LAND = (box(17000, 25000, 17100, 25100), {"name": "Rock"})
SURE = {"confirmed_on": "2026-06-01"}
CUT_S, CUT_L = (
    2.0,
    0.02,
)  # [s, l] a piece of a leg under 2 m counts to its neighbour's limit: 0.8 s at 5 kn, some millilitres
PLANE = 2e-4  # half a degree of it: how far the oracle's flat miles and the ellipsoid's may part


def _aboard(mean_l: float, sd_l: float = 0.0) -> FuelAboard:
    return FuelAboard(mean_l=mean_l, sd_l=sd_l, how="stated")


def _row_of_three(**columns: object) -> Region:
    """Lay out A, a dock 9 nmi to the east, and B another 9 nmi on; open water throughout."""
    return make_region(
        land=[FAR_LAND],
        docks=[dock(0, 0, "Half Way", **(SURE | columns))],
        waypoints=[waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")],
    )


def _plan(region: Region, boat: Boat, aboard: FuelAboard, depart: datetime = EIGHT, **trip: Any) -> Passage:
    asked = {"start": "Aye", "finish": "Bee", "depart": depart, "aboard": aboard, "confidence": 0.5} | trip
    return find_passage(build_network(region, boat, Margins()), Trip(**asked), now=EIGHT)


def test_no_stop_where_none_is_needed() -> None:
    """18 nmi at 20 kn: 0.9 h and 18 l. 40 l aboard leave 22, 12 above the reserve."""
    plan = _plan(_row_of_three(), make_boat(), _aboard(40)).recommended
    assert plan.stops == ()
    assert (plan.name, plan.also, plan.recommended) == ("soonest", ("cheapest", "fewest-stops"), True)
    assert plan.distance_nmi == pytest.approx(18, rel=PLANE)
    assert plan.time_h == pytest.approx(0.9, rel=PLANE)
    assert plan.aboard_on_arrival_l == pytest.approx(22, rel=PLANE)
    assert plan.least_margin_l == pytest.approx(12, rel=2 * PLANE)
    assert plan.cost == 0


def test_one_stop_by_hand() -> None:
    """25 l aboard: B would be reached with 7, 3 under the reserve. At the dock with 16: takes 84 to the mark.

    0.45 h + 0.25 h of berthing + 84/60 min at 60 l/min + 0.45 h; 91 l left; 168 at 2 a litre.
    """
    plan = _plan(_row_of_three(pump_lpm=60.0), make_boat(), _aboard(25)).recommended
    (stop,) = plan.stops
    assert stop.dock == "Half Way"
    assert stop.aboard_l == pytest.approx(16, rel=PLANE)
    assert stop.take_l == pytest.approx(84, rel=PLANE)
    assert plan.cost == pytest.approx(168, rel=PLANE)
    assert plan.time_h == pytest.approx(0.45 + 0.25 + 84 / 3600 + 0.45, rel=PLANE)
    assert plan.aboard_on_arrival_l == pytest.approx(91, rel=PLANE)
    assert plan.least_margin_l == pytest.approx(6, rel=3 * PLANE)
    assert abs(stop.arrive - (EIGHT + timedelta(hours=0.45))) < timedelta(seconds=2)
    assert plan.arrive == plan.depart + timedelta(hours=plan.time_h)
    # beyond the dock only B is left to go to if it is shut: 9 nmi, 16 - 9 = 7 l, on the reserve but not unusable
    assert stop.alternate is not None
    assert stop.alternate.name == "Bee"
    assert stop.alternate.left_l == pytest.approx(7, rel=5 * PLANE)
    assert stop.alternate.distance_nmi == pytest.approx(9, rel=PLANE)
    assert "Bee" in stop.why
    lacking = re.search(r"([\d.]+) l into the reserve", stop.why)
    assert lacking is not None
    assert 3.0 <= float(lacking[1]) <= 3.1  # three litres, and the ellipsoid's millilitres rounded up to a tenth


def test_an_end_without_fuel_names_the_next_dock() -> None:
    """B sells none: from there it is 9 nmi back to the dock; 22 l less 9 are 13."""
    plan = _plan(_row_of_three(), make_boat(), _aboard(40)).recommended
    assert plan.onward is not None
    assert (plan.onward.name, round(plan.onward.left_l, 1)) == ("Half Way", 13.0)
    plan = _plan(_row_of_three(), make_boat(), _aboard(40), finish="Half Way").recommended
    assert plan.onward is None


def test_waiting_for_a_dock_by_hand() -> None:
    """Leaves at 05:30 by the Azores' summer clock (UTC), there at 05:57; open from 08:00: waits 2.05 h."""
    region = _row_of_three(opening_hours="08:00-18:00")
    region = type(region)(
        region.about.model_copy(update={"time_zone": "Atlantic/Azores"}), region.frames, region.present, region.where
    )
    for month, wait_h in ((7, 8 - 5.95), (12, 9 - 5.95)):  # in winter the clock there is an hour behind UTC
        depart = datetime(2026, month, 1, 5, 30, tzinfo=UTC)
        plan = _plan(region, make_boat(), _aboard(25), depart).recommended
        (stop,) = plan.stops
        assert stop.wait_h == pytest.approx(wait_h, abs=1e-3)
        assert stop.begin == stop.arrive + timedelta(hours=stop.wait_h)


def test_a_stop_fewer_is_recommended_if_it_costs_less_than_half_an_hour() -> None:
    """From A to B 18 nmi with 20 l: one stop at a dock that opens later, or two at docks that are always open.

    The half-way dock opens at 08:50: reached at 08:27 it makes wait 23 min; the pair of docks on the way costs a second
    berthing of 15 min and a second pumping.
    """

    def region(opens: str) -> Region:
        docks = [
            dock(0, 0, "Half Way", opening_hours=f"{opens}-20:00", pump_lpm=60.0, **SURE),
            dock(-6 * NMI_M, 0, "Third", pump_lpm=60.0, **SURE),
            dock(6 * NMI_M, 0, "Two Thirds", pump_lpm=60.0, **SURE),
        ]
        return make_region(
            land=[FAR_LAND], docks=docks, waypoints=[waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")]
        )

    # tank of 24 l, reserve 10: 14 l from full; 20 aboard carry 10 nmi: Third (3) or Half Way (9), then on
    boat = make_boat(capacity_l=24.0, full_mark_l=24.0)
    soon = _plan(region("08:50"), boat, _aboard(20))
    assert [len(p.stops) for p in soon.plans[:2]] == [1, 2]
    assert [p.name for p in soon.plans[:2]] == ["fewest-stops", "soonest"]
    assert [p.recommended for p in soon.plans] == [True, *[False] * (len(soon.plans) - 1)]
    assert soon.plans[1].difference
    assert soon.soonest.time_h < soon.fewest_stops.time_h
    late = _plan(region("12:00"), boat, _aboard(20))
    assert late.recommended is late.soonest
    assert (len(late.soonest.stops), len(late.fewest_stops.stops)) == (2, 1)
    assert "later" in late.fewest_stops.difference


def test_places_on_the_way_are_passed_in_order() -> None:
    region = _row_of_three()
    plan = _plan(region, make_boat(), _aboard(95), via=(position_text(0, 9000), "Half Way")).recommended
    ends = [leg.to for leg in plan.legs]
    assert ends[-1] == "Bee"
    assert "Half Way" in ends
    # by hand: 9 nmi and 9 km aside, 9 km back, 9 nmi on
    miles = math.hypot(9, 9000 / NMI_M) + 9000 / NMI_M + 9
    assert plan.distance_nmi == pytest.approx(miles, rel=PLANE)


def test_the_speed_asked_for_is_the_speed_planned() -> None:
    """At 5 kn 2 l a mile: 18 nmi take 3.6 h and 36 l."""
    plan = _plan(_row_of_three(), make_boat(), _aboard(50), speed_kn=5.0).recommended
    assert plan.time_h == pytest.approx(3.6, rel=PLANE)
    assert plan.fuel_l == pytest.approx(36, rel=PLANE)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"start": "Ay"}, "Aye"),
        ({"finish": "Nowhere Near"}, "name"),
        ({"finish": "Aye"}, "Aye"),
        ({"speed_kn": 21.0}, "20"),
        ({"speed_kn": 0.0}, "0"),
        ({"via": ("Bea",)}, "--via"),
        ({"finish": position_text(0, 60000)}, "extent"),
    ],
)
def test_what_can_not_be_asked_is_refused_in_one_line(change: dict[str, Any], word: str) -> None:
    with pytest.raises(InputError) as caught:
        _plan(_row_of_three(), make_boat(), _aboard(50), **change)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_speed_that_can_not_be_held_is_refused() -> None:
    from routeplan.boats import BurnTable  # noqa: PLC0415

    burn = BurnTable(
        speed_kn=(5.0, 10.0, 20.0), burn_lph=(10.0, 15.0, 20.0), idle_lph=2.0, unsteady_kn=(8.0, 16.0), sd_share=0.0
    )
    boat = make_boat().model_copy(update={"burn": burn})
    with pytest.raises(InputError, match="8"):
        _plan(_row_of_three(), boat, _aboard(50), speed_kn=12.0)


def test_names_are_found_whatever_their_case() -> None:
    assert _plan(_row_of_three(), make_boat(), _aboard(40), start=" aYE ", finish="BEE").plans


def test_cautions_say_what_the_region_lacks() -> None:
    cautions = _plan(_row_of_three(), make_boat(), _aboard(40)).cautions
    assert cautions[: len(SAFETY_CAUTIONS)] == SAFETY_CAUTIONS
    for layer in ("hazards", "zones", "overhead"):
        assert any(layer in c for c in cautions)
    assert any("depth" in c for c in cautions)
    assert not any("past" in c for c in cautions)
    past = _plan(_row_of_three(), make_boat(), _aboard(40), EIGHT - timedelta(days=1)).cautions
    assert any("past" in c for c in past)


def test_a_start_on_land_begins_at_the_shore_with_a_caution() -> None:
    isle = (box(-2000, -4000, 2000, -2000), {})
    region = make_region(land=[isle], docks=[dock(0, 0, "Half Way", **SURE)], waypoints=[waypoint(9 * NMI_M, 0, "Bee")])
    passage = _plan(region, make_boat(), _aboard(50), start=position_text(0, -2100))
    assert any("100 m on land" in c for c in passage.cautions)
    with pytest.raises(InputError, match="on land"):
        _plan(region, make_boat(), _aboard(50), start=position_text(0, -3000), finish="Bee")


def test_known_docks_only_leaves_doubtful_ones_out() -> None:
    region = _row_of_three(price_gasoline_per_l=None)
    plan = _plan(region, make_boat(), _aboard(25)).recommended
    assert plan.cost is None
    assert any("price" in c for c in plan.cautions)
    with pytest.raises(NoPassageError):
        _plan(region, make_boat(), _aboard(25), known_docks_only=True)


def _check_printed(plan: Plan, boat: Boat, trip: Trip) -> None:
    """Follow a plan along its printed legs, with nothing but what is printed."""
    z = z_of(trip.confidence)
    mean_l, burned_l, sd_l = trip.aboard.mean_l, 0.0, trip.aboard.sd_l
    stops = list(plan.stops)
    where, when = None, plan.depart
    for leg in plan.legs:
        if where is not None:
            assert leg.from_position == where
        if stops and leg.from_ == stops[0].dock and abs(when - stops[0].arrive) < timedelta(seconds=CUT_S):
            stop = stops.pop(0)
            assert stop.aboard_l == pytest.approx(mean_l - burned_l, abs=CUT_L)
            assert stop.take_l == pytest.approx(boat.tank.full_mark_l - stop.aboard_l)
            assert stop.begin >= stop.arrive
            assert stop.depart > stop.begin
            mean_l, burned_l, sd_l, when = boat.tank.full_mark_l, 0.0, boat.full_mark_sd_l, stop.depart
        assert leg.depart >= when - timedelta(seconds=CUT_S)
        waits = [w for w in plan.waits if w.at == leg.from_]
        assert leg.depart - when < timedelta(seconds=CUT_S) or waits
        azimuth, _, metres = GEOD.inv(*leg.from_position, *leg.to_position)
        assert leg.distance_nmi == pytest.approx(
            metres / NMI_M, abs=2e-4
        )  # positions are printed to a tenth of a metre
        if metres > 200:
            assert abs((leg.course_deg - azimuth + 180) % 360 - 180) < 0.1
        burned_l += leg.fuel_l
        low_l = mean_l - burned_l - z * math.hypot(sd_l, boat.burn.sd_share * burned_l)
        assert leg.aboard_after_l == pytest.approx(mean_l - burned_l)
        assert leg.aboard_after_low_l == pytest.approx(low_l)
        assert low_l >= boat.floor_l - 1e-6, "a leg ends under the floor"
        if leg.kind == "leg" and not leg.cautions:
            assert leg.fuel_l == pytest.approx(boat.burn_lph(leg.speed_kn) * leg.distance_nmi / leg.speed_kn)
        where, when = leg.to_position, leg.arrive
    assert stops == []
    assert abs(when - plan.arrive) < timedelta(seconds=CUT_S)
    assert plan.distance_nmi == pytest.approx(sum(leg.distance_nmi for leg in plan.legs))
    track = plan.track["coordinates"]
    _, _, metres = GEOD.inv(
        [p[0] for p in track[:-1]], [p[1] for p in track[:-1]], [p[0] for p in track[1:]], [p[1] for p in track[1:]]
    )
    assert sum(metres) / NMI_M == pytest.approx(plan.distance_nmi, rel=1e-4, abs=1e-3)


DEMO_TRIPS = [
    ("Tolvarrow", "Ettermoy", "full", 0.9),
    ("Tolvarrow", "Ettermoy", "full", 0.5),
    ("Ettermoy", "Tolvarrow", "half", 0.9),
]


@pytest.mark.parametrize(("start", "finish", "level", "confidence"), DEMO_TRIPS)
def test_a_plan_of_the_demo_holds_as_printed(
    demo_closed: ClosedWater,
    demo_network: Network,
    now: datetime,
    start: str,
    finish: str,
    level: str,
    confidence: float,
) -> None:
    boat = demo_network.boat
    aboard = full(boat) if level == "full" else _aboard(boat.tank.full_mark_l / 2, 3.0)
    trip = Trip(start=start, finish=finish, depart=EIGHT, aboard=aboard, confidence=confidence)
    passage = find_passage(demo_network, trip, now=now)
    for plan in passage.plans:
        _check_printed(plan, boat, trip)
        lines = [
            demo_closed.line(
                GEOD.npts(
                    *leg.from_position, *leg.to_position, max(2, int(leg.distance_nmi)), initial_idx=0, terminus_idx=0
                )
            )
            for leg in plan.legs
            if leg.kind == "leg" and leg.distance_nmi > 0.01
        ]
        # A printed leg followed on its true course parts from the plane's straight line by some metres at the most.
        assert demo_closed.nearer(lines, 0.5 * demo_network.water.margins.standoff_m) == []


def test_the_demos_showpiece_needs_a_stop_and_its_reversal_too(demo_network: Network, now: datetime) -> None:
    trip = Trip(start="Tolvarrow", finish="Ettermoy", depart=EIGHT, aboard=full(demo_network.boat))
    passage = find_passage(demo_network, trip, now=now)
    assert all(plan.stops for plan in passage.plans)
    assert passage.recommended is passage.plans[0]
    assert [p.recommended for p in passage.plans] == [True] + [False] * (len(passage.plans) - 1)


@st.composite
def small_regions(draw: st.DrawFn) -> tuple[Region, dict[int, Pump], float]:
    """Draw islands, docks with hours and sales, two ends, and a no-wake zone now and then; and the fuel aboard."""
    x, y = st.integers(-15000, 15000), st.integers(-20000, 20000)
    lands = [
        (box(a, b, a + draw(st.integers(500, 8000)), b + draw(st.integers(500, 8000))), {})
        for a, b in draw(st.lists(st.tuples(x, y), min_size=1, max_size=3))
    ]
    spots = draw(st.lists(st.tuples(x, y), min_size=2, max_size=4, unique=True))
    docks, pumps = [], {}
    for i, spot in enumerate(spots):
        begin = draw(st.integers(0, 14)) * 60
        windows = draw(st.sampled_from([(), ((begin, begin + 300),), ((begin, begin + 540),)]))
        pump = Pump(draw(st.sampled_from([20.0, 60.0])), draw(st.sampled_from([None, None, 60.0])), windows)
        docks.append(
            dock(
                *spot, f"Dock {i}", opening_hours=pump.text(), pump_lpm=pump.lpm, largest_sale_l=pump.largest_l, **SURE
            )
        )
        pumps[i] = pump
    zones = [zone(box(-3000, -3000, 3000, 3000), "no-wake")] if draw(st.booleans()) else []
    ends = [waypoint(-16000, draw(y), "Aye"), waypoint(16000, draw(y), "Bee")]
    return make_region(land=lands, docks=docks, zones=zones, waypoints=ends), pumps, float(draw(st.integers(12, 40)))


@pytest.mark.slow
@settings(max_examples=max(16, settings().max_examples // 4), phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(small_regions())
def test_plans_are_those_of_every_sequence_of_stops(drawn: tuple[Region, dict[int, Pump], float]) -> None:
    """Soonest and fewest stops against all stop sequences over all tracks, hours and largest sales included."""
    region, pumps, mean_l = drawn
    boat = make_boat(capacity_l=40.0, full_mark_l=40.0, sd_share=0.05)
    network = build_network(region, boat)
    names = [t.place.name for t in network.terminals]
    if not all(network.terminals[names.index(end)].entries for end in ("Aye", "Bee")):
        return
    ends = [i for i, t in enumerate(network.terminals) if t.entries]
    tracks = Tracks(network, boat, 20.0).find([(a, b) for a in ends for b in ends])
    puzzle = Puzzle(
        ways={pair: tuple(Way(t.time_h, t.fuel_l) for t in found) for pair, found in tracks.items()},
        pumps={i: p for i, p in pumps.items() if i in ends},
        start=names.index("Aye"),
        targets=(names.index("Bee"),),
        depart_of_day_h=8.0,
        mean_l=mean_l,
        sd_l=1.0,
        full_l=40.0,
        full_sd_l=0.0,
        floor_l=10.0,
        sd_share=0.05,
        z=z_of(0.9),
        berthing_h=0.25,
        closed_dock="on",
    )
    expected = pareto([(plan.time_min / 60, plan.stops) for plan in every_safe_plan(puzzle)])
    trip = Trip(start="Aye", finish="Bee", depart=EIGHT, aboard=_aboard(mean_l, 1.0))
    try:
        passage = find_passage(network, trip, now=EIGHT)
    except NoPassageError:
        assert expected == []
        return
    assert expected
    assert passage.soonest.time_h == pytest.approx(min(t for t, _ in expected), abs=1e-5)
    assert len(passage.fewest_stops.stops) == expected[0][1]
    assert passage.fewest_stops.time_h == pytest.approx(expected[0][0], abs=1e-5)
    for plan in passage.plans:
        _check_printed(plan, boat, trip)


def test_inputs_are_left_as_they_were() -> None:
    region = _row_of_three()
    network = build_network(region, make_boat())
    before = (len(network.nodes), len(network.terminals), network.legs.copy())
    find_passage(
        network, Trip(start=position_text(-5000, 3000), finish="Bee", depart=EIGHT, aboard=_aboard(50)), now=EIGHT
    )
    assert (len(network.nodes), len(network.terminals)) == before[:2]
    assert np.array_equal(network.legs, before[2])


def test_the_track_is_the_way_there() -> None:
    """Round an island of 4 x 20 km: the printed track keeps the stand-off, begins and ends where it should."""
    isle = box(-2000, -10000, 2000, 10000)
    region = make_region(land=[(isle, {})], waypoints=[waypoint(-8000, 0, "Aye"), waypoint(8000, 0, "Bee")])
    plan = _plan(region, make_boat(), _aboard(50)).recommended
    closed = ClosedWater(region, make_boat(), Margins())
    line = closed.line(plan.track["coordinates"])
    assert closed.nearer([line], 44.0) == []
    assert plan.track["coordinates"][0] == pytest.approx(position(-8000, 0), abs=1e-5)
    assert plan.track["coordinates"][-1] == pytest.approx(position(8000, 0), abs=1e-5)
    # by hand: corners 50 m off those of the island, but for the arc's chord
    miles = 2 * math.hypot(8000 - 2035, 10035) + 4070
    assert plan.distance_nmi == pytest.approx(miles / NMI_M, rel=3e-3)
    assert shapely.LineString(plan.track["coordinates"]).is_simple
