"""A passage as layers: they keep the schema of computed layers, and say where the boat goes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
import shapely
from faces import LEAVES, SMALL_LAYERS, a_plan, a_stop, an_alternate, dock, feature, plan_across, small_network, square
from geographiclib.geodesic import Geodesic

from layers.checking import check_layer
from layers.schema import COMPUTED
from routeplan.drawn import closed_water_layer, dock_layer, layers_of, rings_layer
from routeplan.fuel import promised_range_nmi, read_aboard
from routeplan.plans import StreamMet
from routeplan.words import Words

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from routeplan.network import Network
    from routeplan.passage import Passage

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)
NASTY = '<b>Pump</b> & "Sons" ${x} `y` </script>'


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters, with depths, a shoal, a rock, a closed zone, and a second pump near the first."""
    return small_network(
        tmp_path_factory.mktemp("drawn"),
        docks=[*SMALL_LAYERS["docks"], dock(NASTY, -38.45, 44.6003)],
        depth=[
            feature(square(-39.0, 44.0, -38.0, 45.0), min_depth_m=20.0),
            feature(square(-38.9, 44.8, -38.8, 44.9), min_depth_m=0.5),
        ],
        hazards=[feature((-38.2, 44.2), name="Rock", kind="rock", keep_off_m=200.0)],
        zones=[feature(square(-38.3, 44.8, -38.2, 44.9), name="Shut", rule="no-entry", why="a test")],
    )


@pytest.fixture(scope="module")
def passage(network: Network) -> Passage:
    """Mark to mark with 70 l: one stop."""
    return plan_across(network, WHEN)


@pytest.fixture(scope="module")
def layers(passage: Passage) -> dict[str, GeoDataFrame]:
    """All layers of the recommended plan."""
    return layers_of(passage)


def test_all_layers_keep_their_schema(layers: dict[str, GeoDataFrame]) -> None:
    assert set(layers) == {"legs", "stops", "rings", "closed_water", "dock_marks"}
    for name, frame in layers.items():
        assert frame.crs.to_epsg() == 4326
        assert len(frame)
        _, faults = check_layer(frame, COMPUTED[name], zone=ZoneInfo("Atlantic/Azores"))
        assert faults == []


def test_the_demo_keeps_the_schema_too(demo_network: Network) -> None:
    closed = closed_water_layer(demo_network.water, demo_network.boat)
    _, faults = check_layer(closed, COMPUTED["closed_water"], zone=demo_network.region.zone)
    assert faults == []
    assert set(closed["reason"]) == {r for r, shape in demo_network.water.closed.items() if not shape.is_empty}


def test_legs_run_from_end_to_end(passage: Passage, layers: dict[str, GeoDataFrame]) -> None:
    legs, plan = layers["legs"], passage.recommended
    assert legs["order"].tolist() == list(range(1, len(plan.legs) + 1))
    for line, leg in zip(legs.geometry, plan.legs, strict=True):
        assert line.coords[0] == pytest.approx(leg.from_position, abs=2e-6)
        assert line.coords[-1] == pytest.approx(leg.to_position, abs=2e-6)
    for before, after in pairwise(legs.geometry):
        assert before.coords[-1] == pytest.approx(after.coords[0], abs=1e-9)
    assert legs["distance_nmi"].sum() == pytest.approx(plan.distance_nmi)
    land = shapely.box(-38.6, 44.4, -38.4, 44.6)
    by_water = legs[legs["kind"] == "leg"]
    assert not by_water.geometry.intersects(land).any()


def test_stops_come_in_order_of_the_passage_then_alternates(passage: Passage, layers: dict[str, GeoDataFrame]) -> None:
    stops, plan = layers["stops"], passage.recommended
    kinds = stops["kind"].tolist()
    middle = ["fuel stop"] * len(plan.stops)
    assert kinds[: len(plan.stops) + 2] == ["start", *middle, "finish"]
    assert set(kinds[len(plan.stops) + 2 :]) <= {"alternate"}
    assert stops["order"].tolist() == list(range(len(stops)))
    assert stops["name"].is_unique
    for row, stop in zip(stops.iloc[1:].itertuples(), plan.stops, strict=False):
        assert row.name == stop.dock
        assert row.take_l == stop.take_l
        assert row.aboard_low_l == stop.aboard_low_l
    assert stops.geometry.iloc[0].coords[0] == pytest.approx(plan.legs[0].from_position)


def test_an_alternate_is_told_once_with_what_is_left(passage: Passage, layers: dict[str, GeoDataFrame]) -> None:
    stop = passage.recommended.stops[0]
    assert stop.alternate is not None
    row = layers["stops"].set_index("name").loc[stop.alternate.name]
    assert row["kind"] == "alternate"
    assert stop.dock in row["title"] or stop.dock in row["text"]
    assert "left (low)" in row["text"]


def test_an_alternate_of_two_stops_is_one_mark_that_tells_both(passage: Passage) -> None:
    later = LEAVES + timedelta(hours=2)
    other = an_alternate(name="South Pump")
    plan = a_plan(a_stop(alternate=other), a_stop(dock=NASTY, arrive=later, alternate=other))
    stops = layers_of(passage, plan)["stops"]
    assert stops["kind"].tolist() == ["start", "fuel stop", "fuel stop", "finish", "alternate"]
    mark = stops.iloc[-1]
    assert mark["title"] == f"If North Pump or {NASTY} is closed: South Pump"
    assert mark["label"] == "if stop 1 or 2 is closed"
    assert [line.split(": ")[0] for line in mark["text"].splitlines()] == ["From North Pump", f"From {NASTY}"]


def test_an_alternate_on_the_way_is_told_at_its_own_mark(passage: Passage) -> None:
    """Two stops that are each other's alternates, and a finish that is one: nothing is drawn twice."""
    later = LEAVES + timedelta(hours=2)
    first = a_stop(alternate=an_alternate(name=NASTY))
    plan = a_plan(first, a_stop(dock=NASTY, arrive=later, alternate=an_alternate(name="East Mark")))
    stops = layers_of(passage, plan)["stops"].set_index("name")
    assert stops["kind"].tolist() == ["start", "fuel stop", "fuel stop", "finish"]
    assert "If North Pump is closed, from there: " in stops.loc[NASTY, "text"]
    assert f"If {NASTY} is closed, from there: " in stops.loc["East Mark", "text"]


def test_a_stop_that_breaks_the_rule_says_so_in_words(passage: Passage) -> None:
    for keeps in (True, False):
        plan = a_plan(a_stop(keeps_closed_dock_rule=keeps, alternate=None))
        stop = layers_of(passage, plan)["stops"].iloc[1]
        for column in ("title", "text"):
            assert ("breaks the closed-dock rule" in stop[column].lower()) == (not keeps), column
        assert stop["label"].startswith("! no way on if closed; ") == (not keeps)  # first: long labels are cut short


def test_a_fill_before_leaving_belongs_to_the_start(passage: Passage) -> None:
    """One mark at the start; the next stop keeps its number, two, which the map draws on it."""
    home = a_stop(dock="North Pump", arrive=LEAVES, alternate=None, take_l=25.0)
    away = a_stop(dock=NASTY, arrive=LEAVES + timedelta(hours=2), alternate=None)
    stops = layers_of(passage, a_plan(home, away))["stops"]
    assert stops["kind"].tolist() == ["start", "fuel stop", "finish"]
    assert stops["order"].tolist() == [0, 2, 3]
    start = stops.iloc[0]
    assert "stop 1, before leaving" in start["title"]
    assert "fill first" in start["label"]
    assert "Take about 25.0 l to the full mark" in start["text"]
    assert start["take_l"] == 25.0
    assert stops.iloc[1]["title"].startswith("Stop 2: ")


def test_rings_are_circles_on_the_ellipsoid(passage: Passage, layers: dict[str, GeoDataFrame]) -> None:
    """Every point of a ring at its distance from the departure, by Karney's inverse (geographiclib), within 0.1 %."""
    lon, lat = passage.recommended.legs[0].from_position
    for ring in layers["rings"].itertuples():
        for x, y in ring.geometry.coords[::7]:
            away_nmi = Geodesic.WGS84.Inverse(lat, lon, y, x)["s12"] / 1852
            assert away_nmi == pytest.approx(ring.distance_nmi, rel=1e-3)


def test_the_outer_ring_is_what_is_promised(network: Network) -> None:
    """And never more on its label: it is rounded down."""
    for text in ("full", "70l", "33.3l"):
        aboard = read_aboard(text, network.boat, "aboard")
        rings = rings_layer(network.boat, (-38.9, 44.5), aboard, 20.0, 0.9)
        promised = rings[rings["kind"] == "promised"].iloc[0]
        assert promised["distance_nmi"] == promised_range_nmi(network.boat, aboard, 20.0, 0.9)
        shown = float(promised["label"].split()[0])
        assert promised["distance_nmi"] - 1 <= shown <= promised["distance_nmi"]
        marks = rings[rings["kind"] == "mark"]["distance_nmi"].tolist()
        assert marks == sorted(marks)
        assert len(marks) <= 5
        assert all(m < promised["distance_nmi"] for m in marks)


def test_nothing_promised_draws_no_ring(network: Network) -> None:
    rings = rings_layer(network.boat, (-38.9, 44.5), read_aboard("15l", network.boat, "aboard"), 20.0, 0.9)
    assert len(rings) == 0
    assert list(rings.columns) == [*COMPUTED["rings"].column_names, "geometry"]


def test_closed_water_says_why(network: Network) -> None:
    closed = closed_water_layer(network.water, network.boat).set_index("reason")
    for reason, inside, outside in (
        ("shoal", (-38.85, 44.85), (-38.7, 44.7)),
        ("hazard", (-38.2, 44.2), (-38.2, 44.21)),
        ("no-entry", (-38.25, 44.85), (-38.25, 44.7)),
    ):
        shape = closed.loc[reason, "geometry"]
        assert shape.contains(shapely.Point(inside))
        assert not shape.contains(shapely.Point(outside))
    assert network.boat.name.lower() in closed.loc["shoal", "title"].lower()


def test_a_boat_s_name_keeps_its_capitals(network: Network) -> None:
    closed = closed_water_layer(network.water, network.boat).set_index("reason")
    assert network.boat.name in closed.loc["shoal", "title"]


def test_docks_are_marked_apart(passage: Passage, network: Network) -> None:
    words = Words(network.boat, network.region.zone, "EUR")
    marks = dock_layer(passage.docks, words, {}).set_index("name")
    assert bool(marks.loc["North Pump", "suits"])
    assert marks.loc["North Pump", "state"] == "good"
    assert marks.loc["Diesel Pump", "state"] == "unsuitable"
    shut_in = dock_layer(passage.docks, words, {"North Pump": "behind a ledge"}).set_index("name")
    assert shut_in.loc["North Pump", "state"] == "out of reach"
    assert "out of reach: behind a ledge" in shut_in.loc["North Pump", "text"]
    assert not bool(marks.loc["Diesel Pump", "suits"])
    assert "sells no gasoline" in marks.loc["Diesel Pump", "text"]
    assert marks.loc["North Pump", "geometry"].coords[0] == pytest.approx((-38.5, 44.6003))
    for word in ("06:00-22:00", "EUR 2.000/l", "2026-06-01"):
        assert word in marks.loc["North Pump", "text"]


def test_texts_are_plain(passage: Passage, network: Network) -> None:
    """Names are handed on as they are: turning them into safe HTML is the map's business."""
    marks = dock_layer(passage.docks, Words(network.boat, network.region.zone, "EUR"), {})
    assert NASTY in set(marks["name"])


def test_another_plan_can_be_drawn(passage: Passage) -> None:
    for plan in passage.plans:
        assert len(layers_of(passage, plan)["legs"]) == len(plan.legs)


def test_currents_are_on_the_legs_and_marked_where_they_are_strongest(passage: Passage) -> None:
    plain = a_plan()
    current = {"steer_deg": 96.0, "ground_kn": 22.0, "set_deg": 184.6, "drift_kn": 2.62}
    leg = plain.legs[0].model_copy(update=current)
    met = StreamMet(
        name=NASTY,
        enter=LEAVES,
        leave=LEAVES + timedelta(minutes=2),
        position=(-38.7, 44.5),
        set_deg=184.6,
        drift_kn=2.76,
    )
    layers = layers_of(passage, a_plan(legs=(leg,), streams=(met,), still_water=False))
    for name in ("legs", "streams_met"):
        _, faults = check_layer(layers[name], COMPUTED[name], zone=ZoneInfo("Atlantic/Azores"))
        assert faults == []
    assert {column: layers["legs"].loc[0, column] for column in current} == current
    mark = layers["streams_met"].iloc[0]
    assert (mark["name"], mark["label"], mark["set_deg"]) == (NASTY, "current 2.8 kn", 184.6)
    assert mark["geometry"].coords[0] == (-38.7, 44.5)
    assert "In it Wed 1 Jul 08:00 to 08:02" in mark["text"]


def test_still_water_has_no_currents_in_its_layers(layers: dict[str, GeoDataFrame]) -> None:
    assert "streams_met" not in layers
    assert layers["legs"][["steer_deg", "ground_kn", "set_deg", "drift_kn"]].isna().all(axis=None)
