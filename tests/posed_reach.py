"""A reach made by hand, for the tests of what is said and drawn of it: no figure in it is computed."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import shapely

from routeplan.docks import read_docks
from routeplan.fuel import read_aboard
from routeplan.network import Place
from routeplan.outings import Outing
from routeplan.reach import Reach
from routeplan.reached import InReach, ReachArea, TurningPoint

if TYPE_CHECKING:
    from routeplan.network import Network

__all__ = ["LEAVES", "a_place", "a_turning_point", "an_area", "an_outing", "posed_reach"]

LEAVES = datetime(2026, 7, 1, 8, tzinfo=UTC)


def an_area(**changes: Any) -> ReachArea:
    """Make what 40 l reach at 20 kn, where a mile takes 2 l: a square about West Mark; at 25 kn it takes 2.2."""
    plain = {
        "kind": "one-way",
        "figure": "low",
        "speed_kn": 20.0,
        "fuel_l": 40.0,
        "time_h": None,
        "there_and_back": False,
        "inside": False,
        "gates": (),
        "cut_by_extent": False,
        "geometry": shapely.MultiPolygon([shapely.box(-38.95, 44.45, -38.7, 44.55)]),
    }
    area = {**plain, **changes}
    area.setdefault("out_nmi", area["fuel_l"] / (2.2 if area["speed_kn"] == 25.0 else 2.0))
    return ReachArea(**area)


def a_place(name: str = "East Bay", **changes: Any) -> InReach:
    """Make a place 10 nmi off, an anchorage without fuel: half an hour, 20 l there, 40 l both ways."""
    plain = {
        "name": name,
        "kind": "anchorage",
        "position": (-38.3, 44.5),
        "speed_kn": 20.0,
        "distance_nmi": 10.0,
        "time_h": 0.5,
        "fuel_l": 20.0,
        "fuel_there_and_back_l": 40.0,
        "aboard_on_arrival_l": 50.0,
        "aboard_on_arrival_low_l": 45.67,
        "margin_low_l": 30.67,
        "aboard_on_return_l": 30.0,
        "aboard_on_return_low_l": 24.56,
        "there_and_back": True,
        "dock_still_in_reach": True,
        "refuel": "no",
        "refuel_note": "",
        "gates": (),
        "crosses": (),
    }
    return InReach(**{**plain, **changes})


def a_turning_point(**changes: Any) -> TurningPoint:
    """Make a point 12.39 nmi out towards East Bay; from there North Pump is 6 nmi on."""
    plain = {
        "position": (-38.65, 44.62),
        "towards": ("East Bay", "East Mark"),
        "course_deg": 45.4,
        "speed_kn": 20.0,
        "distance_nmi": 12.39,
        "time_h": 0.6295,
        "fuel_l": 24.78,
        "dock": "North Pump",
        "dock_distance_nmi": 6.0,
        "dock_time_h": 0.3,
        "aboard_at_dock_low_l": 15.04,
        "dock_note": "",
    }
    return TurningPoint(**{**plain, **changes})


def an_outing(network: Network, **changes: Any) -> Outing:
    """Ask from West Mark with 70 l, at eight on a Wednesday."""
    plain = {"start": "West Mark", "aboard": read_aboard("70l", network.boat, "aboard"), "depart": LEAVES}
    return Outing(**{**plain, **changes})


def posed_reach(network: Network, **changes: Any) -> Reach:
    """Make a reach from West Mark: five areas at 20 kn, three places, one turning point, an edge of data west."""
    small = shapely.MultiPolygon([shapely.box(-38.92, 44.47, -38.85, 44.53)])
    areas = (
        an_area(cut_by_extent=True),
        an_area(figure="mean", fuel_l=55.0),
        an_area(kind="out-and-back", fuel_l=20.0, there_and_back=True, geometry=small),
        an_area(kind="out-and-back", figure="mean", fuel_l=27.5, there_and_back=True, geometry=small),
        an_area(kind="thirds", fuel_l=15.0, there_and_back=True, geometry=small),
    )
    places = (
        a_place(
            "South Pump",
            kind="dock",
            distance_nmi=5.0,
            time_h=0.25,
            refuel="opens later",
            refuel_note="opens Thu 09:00",
        ),
        a_place(),
        a_place(
            "North Pump",
            kind="dock",
            distance_nmi=18.5,
            there_and_back=False,
            aboard_on_return_low_l=-9.0,
            refuel="yes",
        ),
    )
    plain = {
        "network": network,
        "boat": network.boat,
        "outing": an_outing(network),
        "start": Place("West Mark", "mark", (-38.9, 44.5), 0),
        "start_is_dock": False,
        "speeds_kn": tuple(dict.fromkeys(area.speed_kn for area in areas)),
        "areas": areas,
        "places": places,
        "turning_points": (a_turning_point(),),
        "dock_water": small,
        "docks_left_out": (),
        "docks": read_docks(network.region, network.boat, 0.5, LEAVES.date()),
        "promised_nmi": 20.0,
        "rings_nmi": (5.0, 10.0),
        "data_edges": shapely.MultiLineString([[(-39.0, 44.45), (-39.0, 44.55)]]),
        "cautions": ("An aid to planning, not for navigation.",),
    }
    return Reach(**{**plain, **changes})
