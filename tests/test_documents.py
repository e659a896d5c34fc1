"""The JSON documents: one schema name each, plain JSON values, units in the keys, nothing lost and nothing guessed."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from faces import SMALL_LAYERS, a_plan, a_stop, dock, feature, plan_across, small_network, trip_across

from layers.findings import find_doubts
from routeplan.calls import find_calls
from routeplan.documents import (
    boat_document,
    docks_document,
    passage_document,
    refusal_document,
    region_document,
)
from routeplan.fuel import read_aboard
from routeplan.plans import NoPassageError, Refusal
from routeplan.survey import look_at_docks, look_at_water, ranges_at_each_speed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from routeplan.network import Network

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)
UNITS = ("_l", "_nmi", "_h", "_kn", "_deg", "_m", "_share", "_min", "_lph", "_lpm", "_per_l")
BARE = {  # counts, money, shares by their nature
    *(
        "cost",
        "dearer",
        "confidence",
        "chance_reserve_kept",
        "chance_never_dry",
        "row",
        "value",
        "pumps",
        "navigable_waters",
        "corners",
        "legs",
        "count",
    ),
    *("land", "depth", "hazards", "zones", "overhead", "openings", "docks", "waypoints", "currents"),
}


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters; of one dock nothing but its fuel is known."""
    unknown = feature((-38.45, 44.6003), name="Bare Pump", fuels="gasoline")
    full = dock("Full Pump", -38.55, 44.6003, pumps=2, pump_lpm=40, largest_sale_l=200, ethanol_share=0.05)
    return small_network(tmp_path_factory.mktemp("documents"), docks=[*SMALL_LAYERS["docks"], unknown, full])


@pytest.fixture(scope="module")
def documents(network: Network) -> dict[str, dict[str, Any]]:
    """One of each kind."""
    region, boat = network.region, network.boat
    found, distances, _ = look_at_docks(network, "West Mark", WHEN)
    aboard = read_aboard("50l", boat, "aboard")
    doubts = find_doubts(region, today=WHEN.date())
    with pytest.raises(NoPassageError) as caught:
        plan_across(network, WHEN, "20l")
    return {
        "passage": passage_document(passage := plan_across(network, WHEN), find_calls(passage.recommended)),
        "refusal": refusal_document(caught.value, region, boat, trip_across(network, WHEN, "20l")),
        "docks": docks_document(found, region, boat, distances),
        "boat": boat_document(boat, aboard, ranges_at_each_speed(boat, aboard, 0.9)),
        "region": region_document(region, doubts, look_at_water(network)[0]),
    }


@pytest.mark.parametrize("kind", ["passage", "refusal", "docks", "boat", "region"])
def test_a_document_is_plain_json(documents: dict[str, dict[str, Any]], kind: str) -> None:
    """Strict JSON both ways: no NaN (RFC 8259 has none), no date or numpy value left in."""
    text = json.dumps(documents[kind], allow_nan=False)
    assert json.loads(text)["schema"].startswith("routeplan/")
    assert json.loads(text)["schema"].rsplit("/", 1)[1].isdigit()


@pytest.mark.parametrize("kind", ["passage", "refusal", "docks", "boat", "region"])
def test_every_number_has_its_unit_in_its_key(documents: dict[str, dict[str, Any]], kind: str) -> None:
    wrong = {key for key, value in _items(documents[kind]) if _is_number(value) and not key.endswith(UNITS)} - BARE
    assert wrong == set()


def test_a_plan_and_a_refusal_are_one_schema(documents: dict[str, dict[str, Any]]) -> None:
    passage, refusal = documents["passage"], documents["refusal"]
    assert passage["schema"] == refusal["schema"]
    shared = {"schema", "currency", "plans", "refused", "cautions", "sources"}
    assert shared <= passage.keys() & refusal.keys()
    assert (refusal["plans"], passage["refused"]) == ([], None)
    assert refusal["refused"].keys() == {
        *("from", "to", "distance_nmi", "short_l", "why", "try", "breaks_at", "offered"),
    }
    assert isinstance(refusal["refused"]["try"], list)


def test_whom_to_call_is_there_only_where_it_was_asked_for(
    network: Network, documents: dict[str, dict[str, Any]]
) -> None:
    assert [call["dock"] for call in documents["passage"]["call_ahead"]]
    assert "call_ahead" not in documents["refusal"]
    assert "call_ahead" not in passage_document(plan_across(network, WHEN))


def test_a_document_echoes_what_the_plans_were_made_by(documents: dict[str, dict[str, Any]]) -> None:
    asked = {"confidence": 0.9, "fill": "full", "price_of_time_per_h": None, "closed_dock": "on"}
    for kind in ("passage", "refusal"):
        assert asked.items() <= documents[kind].items()
        assert documents[kind]["aboard"]["mean_l"] == {"passage": 70, "refusal": 20}[kind]


def test_an_offered_plan_is_told_like_any_other(network: Network, documents: dict[str, dict[str, Any]]) -> None:
    offered = a_plan(a_stop(), recommended=False)
    refusal = Refusal(
        from_="A", to="B", distance_nmi=1.0, short_l=None, why="w", try_=(), breaks_at=("North Pump",), offered=offered
    )
    trip = trip_across(network, WHEN)
    document = refusal_document(NoPassageError(refusal), network.region, network.boat, trip, find_calls(offered))
    assert document["plans"] == []
    assert document["refused"]["offered"].keys() == documents["passage"]["plans"][0].keys()
    assert [call["dock"] for call in document["call_ahead"]] == ["North Pump", "Other Pump"]


def test_sources_name_the_layer_and_its_title(documents: dict[str, dict[str, Any]]) -> None:
    for kind in ("passage", "refusal", "docks", "region"):
        assert {"layer": "land", "title": "Invented for a test"}.items() <= documents[kind]["sources"][0].items()


def test_docks_say_what_is_known_and_leave_out_what_isn_t(documents: dict[str, dict[str, Any]]) -> None:
    by_name = {entry["name"]: entry for entry in documents["docks"]["docks"]}
    known, bare = by_name["Full Pump"], by_name["Bare Pump"]
    assert known["pumps"] == 2
    assert known["pump_lpm"] == 40
    assert known["confirmed_on"] == "2026-06-01"
    assert known["missing"] == []
    assert set(bare["missing"]) == {"depth", "length", "hours", "price"}
    assert "opening_hours" not in bare
    assert "price_gasoline_per_l" not in bare
    assert bare["suits"]
    assert bare["cautions"]
    assert by_name["Diesel Pump"]["why_not"] == ["sells no gasoline"]


def test_a_boat_is_told_in_litres_and_knots(documents: dict[str, dict[str, Any]]) -> None:
    """Capacity 100 l, unusable 5, a tenth in reserve: floor 15; 50 l aboard leave 35 to use."""
    document = documents["boat"]
    assert (document["reserve_l"], document["floor_l"], document["usable_l"]) == pytest.approx((10, 15, 35))
    assert document["aboard"]["mean_l"] == 50
    assert document["boat"]["tank"]["full_mark_l"] == 95


def test_a_region_counts_rows_and_names_what_is_absent(documents: dict[str, dict[str, Any]]) -> None:
    layers = documents["region"]["layers"]
    assert layers["docks"] == 5
    assert layers["depth"] is None
    assert any(f["layer"] == "depth" for f in documents["region"]["findings"])
    assert all(f["problem"] for f in documents["region"]["findings"])


def test_the_price_is_unknown_when_one_dock_s_is(network: Network) -> None:
    """A sum with a gap in it is no sum."""
    document = passage_document(plan_across(network, WHEN))
    for plan in document["plans"]:
        costs = [stop["cost"] for stop in plan["stops"]]
        assert (plan["cost"] is None) == (None in costs)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _items(value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key, inner
            yield from _items(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _items(inner)
