"""Ways in gridded currents: hours by hours they are what they are over the whole span, and bounds are bounds."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.small_world import NMI_M, make_boat, make_region, waypoint

from layers.current_grids import CurrentGrid
from routeplan.building import build_network
from routeplan.conditions import Conditions
from routeplan.currents import Currents
from routeplan.fuel import full
from routeplan.leg_graph import Rates
from routeplan.moving_tracks import MovingTracks, with_currents
from routeplan.passage import find_passage
from routeplan.sailing import Sailing, Way
from routeplan.trips import Trip

if TYPE_CHECKING:
    from routeplan.network import Network
    from routeplan.tracks import Track

BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
SPAN_H = 40.0


@cache
def water() -> Network:
    """Build open water with A and B 12 nmi apart."""
    boat = make_boat(speed_kn=(4.0, 8.0), burn_lph=(10.0, 10.0), cruising_speed_kn=8.0, no_wake_kn=4.0)
    return build_network(make_region(waypoints=[waypoint(-6 * NMI_M, 0, "A"), waypoint(6 * NMI_M, 0, "B")]), boat)


def grid(kn: float) -> CurrentGrid:
    """Let a current of some knots turn round in 12 hours, later the further east."""
    lon, lat = np.linspace(-38.4, -37.6, 9), np.linspace(43.6, 44.4, 9)
    hours = np.arange(0.0, SPAN_H + 1)
    angle = 2 * np.pi * hours[:, None, None] / 12 + 3 * (lon + 38)[None, None, :] + 0 * lat[None, :, None]
    return CurrentGrid("a table", lon, lat, BEGIN.timestamp() + hours * 3600, kn * np.sin(angle), kn * np.cos(angle))


@cache
def under(kn: float) -> tuple[Conditions, Track]:
    """Find the way from A to B."""
    conditions = Conditions(BEGIN, SPAN_H, Currents(water().water.plane, (), (), grid(kn)))
    tracks = MovingTracks(with_currents(water(), conditions), water().boat, 8.0, conditions)
    return conditions, tracks.find([(0, 1)])[0, 1][0]


@given(leave_h=st.floats(0, 30), kn=st.sampled_from([0.5, 2.0, 5.0]))
@settings(max_examples=60, deadline=None)
def test_hours_by_hours_it_is_what_it_is_over_the_whole_span(leave_h: float, kn: float) -> None:
    """To a hundredth of a second: moments at which the current is taken lie elsewhere in a part of the span."""
    conditions, track = under(kn)
    boat = water().boat
    whole = Sailing(conditions, water().water, boat, Rates.of(boat, water(), 8.0), Way(track.bends, track.kinds)).at(
        leave_h
    )
    lazy = track.sailing
    assert lazy is not None
    part = lazy.at(leave_h)
    assert whole is not None
    assert part is not None
    assert part.time_h == pytest.approx(whole.time_h, abs=0.01 / 3600)
    assert part.fuel_l == pytest.approx(whole.fuel_l, abs=1e-4)
    assert track.time_h <= part.time_h
    assert track.fuel_l <= part.fuel_l <= lazy.most_l


def test_a_current_as_fast_as_the_boat_shuts_the_way_and_is_placed() -> None:
    _, track = under(9.0)
    lazy = track.sailing
    assert lazy is not None
    hours, _ = lazy.many(np.arange(0.0, 24.0, 0.5))
    shut = np.flatnonzero(~np.isfinite(hours))
    assert 0 < len(shut) < 48
    for number in shut[:5]:
        assert lazy.at(float(number) / 2) is None
        assert lazy.stopped_at(float(number) / 2) is not None
    assert lazy.at(-0.5) is None
    assert lazy.at(SPAN_H + 1) is None
    assert lazy.stopped_at(SPAN_H + 1) is None


def test_a_passage_in_a_grid_is_told_by_the_clock() -> None:
    """The legs' own times are those of the way, and the current met is the grid's."""
    currents = Currents(water().water.plane, (), (), grid(2.0))
    trip = Trip(start="A", finish="B", depart="2026-07-01T06:00Z", aboard=full(water().boat), closed_dock="off")
    plan = find_passage(water(), trip, currents=currents).recommended
    assert not plan.still_water
    assert [met.name for met in plan.streams] == ["a table"]
    legs_h = sum((leg.arrive - leg.depart).total_seconds() for leg in plan.legs) / 3600
    assert legs_h == pytest.approx(plan.time_h, abs=2 / 3600)
    drifts = [leg.drift_kn for leg in plan.legs if leg.kind == "leg"]
    assert all(drift is not None and 1.5 < drift <= 2.0 for drift in drifts)  # it turns by a seventh of a circle
