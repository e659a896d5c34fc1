"""A saved plan as a route: where its points lie, what they say, and that it is the way that was checked."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from faces import LEAVES, a_plan, a_stop, dock, plan_across, small_network
from geographiclib.geodesic import Geodesic

from layers.errors import InputError
from layers.route_files import write_route
from layers.route_reading import read_route
from routeplan.fuel import full
from routeplan.given_routes import check_route
from routeplan.helm import Helm, LastTurn, MeterMark, MeterStart
from routeplan.margins import Margins
from routeplan.plan_routes import route_of
from routeplan.saved_plans import keep_plan
from routeplan.trips import Trip

if TYPE_CHECKING:
    from pathlib import Path

    from layers.routes import Route
    from routeplan.network import Network
    from routeplan.passage import Passage
    from routeplan.saved_plans import SavedPlan

METER = MeterStart(shows_l=(0.0,), factor=1.0, factor_sd=0.01, fillups=0)
NO_HELM = Helm(meter=METER, marks=(), last_turns=())
EARTH_M = 6_371_000.0


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    folder = tmp_path_factory.mktemp("water")
    pumps = [dock("North Pump", -38.5, 44.6003), dock("Other Pump", -38.45, 44.6003)]
    return small_network(folder, docks=pumps)


@pytest.fixture(scope="module")
def passage(network: Network) -> Passage:
    return plan_across(network, LEAVES, "60l")


def keep(passage: Passage, helm: Helm = NO_HELM) -> SavedPlan:
    return keep_plan(passage, helm, LEAVES)


def rhumb_off_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """[m] How far the rhumb line between two positions leaves the geodesic, at the most.

    Rhumb: a straight line on Mercator's chart; geodesic: geographiclib. Both sampled at a hundred points, distances on
    a sphere small enough to be plane.
    """
    share = np.linspace(0, 1, 101)[:, None]
    y = [math.asinh(math.tan(math.radians(lat))) for _, lat in (a, b)]
    chart = np.array([math.radians(a[0]), y[0]]) + share * (math.radians(b[0] - a[0]), y[1] - y[0])
    line = Geodesic.WGS84.InverseLine(a[1], a[0], b[1], b[0])
    spots = [line.Position(line.s13 * float(s)) for s in share[:, 0]]
    scale = EARTH_M * math.cos(math.radians((a[1] + b[1]) / 2))
    drawn = [(math.radians(s["lon2"]), math.asinh(math.tan(math.radians(s["lat2"])))) for s in spots]
    return shapely.LineString(chart * scale).hausdorff_distance(shapely.LineString(np.array(drawn) * scale))


def test_the_points_are_the_ends_of_the_legs(passage: Passage) -> None:
    plan = passage.recommended
    route = route_of(keep(passage))
    ends = [plan.legs[0].from_position, *(leg.to_position for leg in plan.legs)]
    assert [point.position for point in route.points if point.kind != "between"] == ends
    assert route.points[0].kind == "start"
    assert route.points[-1].kind == "end"
    stops = [point for point in route.points if point.kind == "stop"]
    assert [point.name for point in stops] == [stop.dock for stop in plan.stops] == ["North Pump"]
    assert stops[0].arrive == plan.stops[0].arrive.replace(microsecond=0)
    assert stops[0].depart == plan.stops[0].depart.replace(microsecond=0)
    assert sum(p.leg.distance_nmi for p in route.points if p.leg) == pytest.approx(plan.distance_nmi)
    times = [t for point in route.points for t in (point.arrive, point.depart) if t is not None]
    assert times == sorted(times)


def test_a_rhumb_line_from_point_to_point_stays_on_the_way(passage: Passage) -> None:
    """At 44.5 N a leg of 15 nmi would be left by 15 m: between its ends a point is put. Promised are 10 m."""
    route = route_of(keep(passage))
    long = max(passage.recommended.legs, key=lambda leg: leg.distance_nmi)
    assert rhumb_off_m(long.from_position, long.to_position) > 10
    assert any(point.kind == "between" for point in route.points)
    assert max(rhumb_off_m(a.position, b.position) for a, b in pairwise(route.points)) < 10


@pytest.mark.parametrize(("standoff_m", "most_m"), [(500.0, 10.0), (20.0, 4.0)])
def test_a_narrow_stand_off_is_followed_more_closely(passage: Passage, standoff_m: float, most_m: float) -> None:
    """Ten metres, or a fifth of the stand-off where that is less."""
    saved = keep(passage)
    route = route_of(saved.model_copy(update={"margins": Margins(standoff_m=standoff_m)}))
    assert max(rhumb_off_m(a.position, b.position) for a, b in pairwise(route.points)) < most_m
    kept = next(point.leg for point in route.points if point.leg and point.leg.keep_within_nmi is not None)
    assert kept.keep_within_nmi == pytest.approx((0.9 * standoff_m - most_m) / 1852)


def test_what_was_written_is_the_way_that_was_checked(passage: Passage, network: Network, tmp_path: Path) -> None:
    """Read again and held against the water, it can be run: what rounding and rhumb lines cost is allowed for."""
    write_route(route_of(keep(passage)), tmp_path / "run.gpx")
    trip = Trip(start="a", finish="b", depart=LEAVES, aboard=full(network.boat))
    check = check_route(network, read_route(tmp_path / "run.gpx"), trip)
    assert check.can_be_run, [hit for leg in check.legs for hit in leg.hits]
    assert check.distance_nmi == pytest.approx(passage.recommended.distance_nmi, rel=1e-4)


def a_mark(**changes: object) -> MeterMark:
    plain = {"leg": 1, "at": LEAVES, "position": (-38.8, 44.5), "since": "West Mark", "shows_l": 12.34}
    return MeterMark.model_validate({**plain, **changes})


TURN = {"turn_above_l": 20.06, "turn_for": "Other Pump", "turn_nmi": 7.0}


def test_marks_are_stops_alternates_and_last_turns(passage: Passage, network: Network) -> None:
    leg = passage.recommended.legs[0]
    turn = {"towards": "North Pump", "leg": 1, "gone_nmi": 3.0, "to_go_nmi": 9.0, "at": LEAVES, "shows_l": 8.0}
    turns = (
        LastTurn(**turn, position=leg.from_position, dock="Other Pump", dock_nmi=4.0),
        LastTurn(**turn, position=leg.from_position, dock=None, dock_nmi=None),
    )
    saved = keep(passage, Helm(meter=METER, marks=(a_mark(**TURN),), last_turns=turns))
    route = route_of(saved, network.region)
    assert [(m.kind, m.name) for m in route.marks] == [
        ("stop", "North Pump"),
        ("alternate", "Other Pump"),
        ("last turn", "last turn for Other Pump"),
    ]
    assert route.marks[1].position == (-38.45, 44.6003)
    assert "VHF 12" not in route.marks[1].comment
    first = next(point for point in route.points if point.kind == "turn")
    assert "dial 12.3 l" in first.comment, "expected: rounded down"
    assert "turn above 20.0 l" in first.comment, "a limit: rounded down"
    assert "Above 20.0 l turn for Other Pump, 7.0 nmi" in first.description.splitlines()
    assert dict(first.facts)["turn_above_l"] == "20.06"
    assert [m.kind for m in route_of(saved).marks] == ["stop", "last turn"], "no region, no place for an alternate"


def test_the_way_to_turn_and_a_dock_that_is_shut_are_told(passage: Passage) -> None:
    """Opens at 10:00 UTC, which is 10:00 in the Azores in summer; stretches too short to be steered are left out."""
    opens = datetime(2026, 7, 1, 10, tzinfo=UTC)
    way = [{"course_deg": c, "distance_nmi": nmi} for c, nmi in ((75.4, 2.0), (5.0, 5.0), (270.0, 0.04))]
    turn = {"towards": "North Pump", "leg": 1, "gone_nmi": 3.0, "to_go_nmi": 9.0, "at": LEAVES, "shows_l": 8.0}
    last = LastTurn(**turn, position=(-38.8, 44.5), dock="Other Pump", dock_nmi=4.0, opens=opens)
    mark = a_mark(**TURN, turn_way=way, turn_opens=opens)
    route = route_of(keep(passage, Helm(meter=METER, marks=(mark,), last_turns=(last,))))
    first = next(point for point in route.points if point.kind == "turn")
    shut = "shut till Wed 1 Jul 10:00"
    assert f"7.0 nmi, {shut}: 075 true 2.0 nmi, then 005 true 5.0 nmi" in first.description.splitlines()[-1]
    assert first.description.endswith("5.0 nmi")
    (marked,) = (m for m in route.marks if m.kind == "last turn")
    assert shut in marked.comment
    assert shut in marked.description


def test_readings_on_the_way_cost_no_point_and_no_mark(passage: Passage) -> None:
    """A plotter holds few points: the description of the leg's end tells them, in order, before its own."""
    bare = keep(passage, Helm(meter=METER, marks=(a_mark(shows_l=30.0),), last_turns=()))
    between = (a_mark(after_nmi=3.0, **TURN), a_mark(after_nmi=6.0, shows_l=15.0, slow_above_l=25.06, slow_kn=8.0))
    marks = (*between, a_mark(shows_l=30.0, slow_above_l=40.0, slow_kn=8.0), a_mark(leg=2, after_nmi=1.0, shows_l=31.0))
    route = route_of(keep(passage, Helm(meter=METER, marks=marks, last_turns=())))
    assert [p.position for p in route.points] == [p.position for p in route_of(bare).points]
    assert [m.kind for m in route.marks] == ["stop"]
    first = next(point for point in route.points if point.kind == "turn")
    assert first.description.splitlines()[-6:] == [
        "On the way, 3.0 nmi into it, 08:00: dial about 12.3 l, as it shows, since West Mark",
        "On the way, 3.0 nmi into it, 08:00: above 20.0 l turn for Other Pump, 7.0 nmi",
        "On the way, 6.0 nmi into it, 08:00: dial about 15.0 l, as it shows, since West Mark",
        "On the way, 6.0 nmi into it, 08:00: above 25.0 l slow to 8 kn",
        "Dial about 30.0 l, as it shows, since West Mark",
        "Above 40.0 l slow to 8 kn",
    ]
    assert "dial 30.0 l, above 40.0 l slow to 8 kn" in first.comment


def test_cautions_and_facts_go_along(passage: Passage) -> None:
    route = route_of(keep(passage))
    assert "not for navigation" in route.cautions[0]
    leg = passage.recommended.legs[0]
    end = next(point for point in route.points if point.position == leg.to_position)
    facts = dict(end.facts)
    assert float(facts["aboard_l"]) == pytest.approx(leg.aboard_after_l, abs=0.005)
    assert float(facts["aboard_low_l"]) == pytest.approx(leg.aboard_after_low_l, abs=0.005)
    assert route.vessel == passage.boat.name


def of_plan(passage: Passage, **changes: object) -> Route:
    saved = keep(passage)
    return route_of(saved.model_copy(update={"plan": a_plan(a_stop(), **changes)}))


def test_a_point_between_has_its_time_course_and_note(passage: Passage) -> None:
    """Westwards by way of a bend a tenth of a degree north in the middle: half the way, half of three hours on.

    On Mercator's chart 0.4 degrees west and 0.1 / cos(44.55) north: 270 + atan(0.1403 / 0.4) = 289.3 degrees.
    """
    east, west, bend = (-38.1, 44.5), (-38.9, 44.5), (-38.5, 44.6)
    changes = {"from_position": east, "to_position": west, "aboard_after_low_l": 55.06, "depth_checked": False}
    leg = a_plan().legs[0].model_copy(update=changes)
    route = of_plan(passage, legs=(leg,), track={"type": "LineString", "coordinates": [east, bend, west]})
    _, between, end = route.points
    assert between.kind == "between"
    assert between.arrive == LEAVES + timedelta(hours=1, minutes=30)
    assert between.leg is not None
    assert between.leg.course_deg == pytest.approx(289.3, abs=0.05)
    assert between.leg.distance_nmi == pytest.approx(leg.distance_nmi / 2, rel=1e-6)
    assert "depth not checked" in between.leg.note
    assert "low 55.0 l" in end.comment, "what is left: rounded down"


@pytest.mark.parametrize("last", [False, True])
def test_a_leg_of_a_metre_is_no_leg_of_a_route(last: bool, passage: Passage) -> None:  # noqa: FBT001
    """From the shore to the berth, say: the point before it is left out, or it is, whichever tells less."""
    whole = a_plan().legs[0]
    tiny = {"distance_nmi": 0.0005, "depart": whole.arrive, "from_": "East Mark", "to": "Berth"}
    berth = whole.model_copy(update={**tiny, "from_position": whole.to_position, "to_position": (-38.1, 44.50001)})
    on = whole.model_copy(
        update={"from_": "Berth", "to": "Far Mark", "from_position": (-38.1, 44.50001), "to_position": (-38.0, 44.5)}
    )
    route = of_plan(passage, legs=(whole, berth) if last else (whole, berth, on))
    assert [p.name for p in route.points] == [
        "West Mark",
        "Berth" if last else "East Mark",
        *([] if last else ["Far Mark"]),
    ]
    assert route.points[-1].kind == "end"


def test_an_alternate_that_is_a_stop_is_marked_once(passage: Passage, network: Network) -> None:
    stops = (a_stop(), a_stop(dock="Other Pump", position=(-38.45, 44.6003)))
    saved = keep(passage).model_copy(update={"plan": a_plan(*stops, cautions=("Mind the fog.",))})
    route = route_of(saved, network.region)
    assert [(m.kind, m.name) for m in route.marks] == [("stop", "North Pump"), ("stop", "Other Pump")]
    assert route.cautions[-1] == "Mind the fog."


def test_a_leg_without_its_track_is_straight(passage: Passage) -> None:
    route = of_plan(passage, track={"type": "LineString", "coordinates": [[0, 0], [1, 1]]})
    assert [point.name for point in route.points] == ["West Mark", "East Mark"]


def test_a_track_cut_at_180_is_one_way(passage: Passage) -> None:
    """Along 17 S from 179.5 E to 179.5 W: 57 nmi, which a rhumb line and a great circle share but for 4 m there."""
    legs = a_plan().legs
    leg = legs[0].model_copy(update={"from_position": (179.5, -17.0), "to_position": (-179.5, -17.0)})
    pieces = [[[179.5, -17.0], [180.0, -17.0001]], [[-180.0, -17.0001], [-179.5, -17.0]]]
    route = of_plan(passage, legs=(leg,), track={"type": "MultiLineString", "coordinates": pieces})
    assert [point.position[0] for point in route.points if abs(point.position[0]) < 179.9] == [179.5, -179.5]


def test_a_plan_that_goes_nowhere_is_no_route(passage: Passage) -> None:
    with pytest.raises(InputError, match="no legs to steer"):
        of_plan(passage, legs=())


def test_times_are_zone_aware(passage: Passage) -> None:
    route = route_of(keep(passage))
    assert route.made == LEAVES == datetime(2026, 7, 1, 8, tzinfo=UTC)
