"""The earliest arrival over a network: against all its paths, run one by one in another way."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest
import shapely
from oracles.moving_water import EveryPath
from oracles.small_world import NMI_M, box, make_boat, make_region, waypoint

from layers.constituents import read_constituents
from routeplan.building import build_network
from routeplan.conditions import Conditions
from routeplan.currents import Currents
from routeplan.earliest import EarliestSearch
from routeplan.moving_tracks import MovingTracks
from routeplan.network import Network, put_points
from routeplan.tidal_streams import TidalStream

BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
AGREE_H = 2 / 3600  # over up to four hours: two integrations of one stream
WATERS, TIDES = 25, 9
BOAT = make_boat(speed_kn=(4.0, 8.0), burn_lph=(6.0, 16.0), cruising_speed_kn=8.0, no_wake_kn=4.0)


@cache
def a_water(number: int) -> Network:
    """Draw water with an island or two, and some points at which ways may bend."""
    rng = np.random.default_rng(1000 + number)
    land = []
    for _ in range(int(rng.integers(1, 3))):
        x, y = rng.uniform(-3, 3), rng.uniform(-2.5, 2.5)
        wide, high = rng.uniform(0.2, 2.0), rng.uniform(0.2, 2.0)
        land.append((box(*(NMI_M * v for v in (x - wide, y - high, x + wide, y + high))), {"name": "Rock"}))
    ends = [
        waypoint(-6.5 * NMI_M, rng.uniform(-1, 1) * NMI_M, "A"),
        waypoint(6.5 * NMI_M, rng.uniform(-1, 1) * NMI_M, "B"),
    ]
    network = build_network(make_region(land=land, waypoints=ends), BOAT)
    points = NMI_M * np.column_stack([rng.uniform(-5, 5, 5), rng.uniform(-4, 4, 5)])
    points = points[shapely.contains_xy(network.water.navigable.buffer(-5), points)]
    return put_points(network, points) if len(points) else network


def a_tide(number: int) -> Conditions:
    """Draw two or three streams that don't touch one another."""
    rng = np.random.default_rng(number)
    edges = np.sort(rng.uniform(-6, 6, 4 if number % 2 else 6)).reshape(-1, 2)
    shapes, streams = [], []
    for west, east in edges:
        if (shapes and west - shapes[-1].bounds[2] / NMI_M < 0.3) or east - west < 0.1:
            continue
        south = rng.uniform(-6, 2)
        shapes.append(shapely.box(west * NMI_M, south * NMI_M, east * NMI_M, (south + rng.uniform(1, 7)) * NMI_M))
        first, second = ((rng.uniform(0, most), rng.uniform(0, 360)) for most in (3, 0.8))
        text = f"M2 {first[0]:.2f} {first[1]:.0f}; M4 {second[0]:.2f} {second[1]:.0f}"
        flood, ebb, mean = rng.uniform(0, 360), rng.uniform(0, 360), rng.uniform(-0.8, 0.8)
        streams.append(TidalStream(f"Race {len(streams)}", flood, ebb, mean, read_constituents(text), 44.0))
    plane = a_water(0).water.plane
    return Conditions(BEGIN, 40, Currents(plane, tuple(streams), tuple(shapes)))


@pytest.mark.parametrize("water", range(WATERS))
def test_all_paths_run_one_by_one_end_no_earlier(water: int) -> None:
    """25 waters with 9 tides each: the same arrival, and the way that is named takes what is said of it."""
    network, compared = a_water(water), 0
    for tide in range(TIDES):
        conditions = a_tide(100 * water + tide)
        leave_h = float(np.random.default_rng(tide).uniform(0.5, 13))
        tracks = MovingTracks(network, BOAT, 8.0, conditions)
        oracle = EveryPath(network, conditions, 8.0, 4.0)
        found, theirs_h = EarliestSearch(tracks).find(0, 1, leave_h), oracle.find(0, 1, leave_h)
        assert (found is None) == math.isinf(theirs_h)
        if found is None:
            continue
        assert found.arrive_h == pytest.approx(theirs_h, abs=AGREE_H)
        at_h = leave_h
        for a, b in zip(found.nodes[:-1], found.nodes[1:], strict=True):
            at_h = oracle.leg(a, b, at_h)
        assert at_h == pytest.approx(found.arrive_h, abs=AGREE_H)
        compared += 1
    assert compared == TIDES  # 8 kn against streams of less than 5: nothing is shut


def test_one_search_answers_departure_after_departure_and_never_the_other_way_round() -> None:
    """A later departure never arrives earlier; a search that has been asked answers as a new one."""
    network, conditions = a_water(3), a_tide(303)
    tracks = MovingTracks(network, BOAT, 8.0, conditions)
    search, before = EarliestSearch(tracks), -1.0
    for leave_h in np.arange(0.0, 25.0, 0.25):
        found, fresh = search.find(0, 1, float(leave_h)), None
        assert found is not None
        if leave_h % 5 == 0:
            fresh = EarliestSearch(tracks).find(0, 1, float(leave_h))
            assert fresh == found
        assert found.arrive_h > before
        before = found.arrive_h


def test_after_the_span_there_is_no_way() -> None:
    search = EarliestSearch(MovingTracks(a_water(3), BOAT, 8.0, a_tide(303)))
    assert search.find(0, 1, 39.9) is None
    assert search.find(0, 1, -5.0) is None


@pytest.mark.slow
def test_who_comes_too_early_for_a_race_is_shut_out_and_told_nothing_too_early() -> None:
    """Water 4 in four times its tide, left at 8.46 h: shut for the quickest way there, open for a longer one.

    That longer one is missed, as the search's Notes say (one of a hundred strong tides); what is told never beats it.
    """
    still = a_tide(400)
    assert still.currents is not None
    streams = tuple(
        replace(s, harmonics=tuple(replace(h, amplitude_kn=4 * h.amplitude_kn) for h in s.harmonics))
        for s in still.currents.streams
    )
    conditions = Conditions(BEGIN, 40, replace(still.currents, streams=streams))
    leave_h = float(np.random.default_rng(0).uniform(0.5, 13))
    theirs_h = EveryPath(a_water(4), conditions, 8.0, 4.0).find(0, 1, leave_h)
    assert math.isfinite(theirs_h)
    found = EarliestSearch(MovingTracks(a_water(4), BOAT, 8.0, conditions)).find(0, 1, leave_h)
    assert found is None or found.arrive_h >= theirs_h - AGREE_H


def test_a_race_that_shuts_the_short_way_is_gone_round() -> None:
    """5 kn and the tide's 7 kn foul between two islands: the way round is the earliest."""
    land = [(box(*(NMI_M * v for v in (-1, s * 0.5 - 1.5, 1, s * 0.5 + 1.5))), {"name": "Rock"}) for s in (-4.0, 4.0)]
    ends = [waypoint(-5 * NMI_M, 0, "A"), waypoint(5 * NMI_M, 0, "B")]
    network = build_network(make_region(land=land, waypoints=ends), BOAT)
    race = shapely.box(*(NMI_M * v for v in (-0.5, -0.5, 0.5, 0.5)))
    plane = network.water.plane
    tide = TidalStream("Race", 270, 90, 0.0, read_constituents("S2 12 0"), 44.0)
    conditions = Conditions(BEGIN, 40, Currents(plane, (tide,), (race,)))
    tracks = MovingTracks(network, BOAT, 8.0, conditions)
    shut, opened = (EarliestSearch(tracks).find(0, 1, leave_h) for leave_h in (0.0, 3.0 - 5 / 8))
    assert shut is not None
    assert opened is not None
    assert opened.arrive_h - (3.0 - 5 / 8) < 10 / 8 + 0.1
    assert shut.arrive_h > 2 * math.hypot(5, 3.5) / 8 - 0.1
    assert shut.arrive_h == pytest.approx(EveryPath(network, conditions, 8.0, 4.0).find(0, 1, 0.0), abs=AGREE_H)
