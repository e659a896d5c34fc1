"""The current triangle: worked examples from outside, cases solved by hand, and what holds of any current."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from oracles.moving_water import made_good_kn

from routeplan.triangle import LEAST_WAY_KN, find_ground_kn, set_of, steer

degrees = st.floats(0, 360)
PLOTTED_DEG, PLOTTED_KN = 3.0, 0.1  # what a triangle plotted by hand is good for


@pytest.mark.parametrize(
    ("track_deg", "through_kn", "set_deg", "drift_kn", "steer_deg", "made_kn"),
    [(90, 5.0, 210, 2.0, 70, 3.7), (45, 6.55, 135, 2.0, 25, 6.2)],
)
def test_the_answers_of_a_chart_work_paper(
    track_deg: float, through_kn: float, set_deg: float, drift_kn: float, steer_deg: float, made_kn: float
) -> None:
    """Chart-work answers, plotted by hand (seen; checks.md, "Fuel", current triangle)."""
    made = steer(through_kn, track_deg, set_deg, drift_kn)
    assert made is not None
    assert made.steer_deg == pytest.approx(steer_deg, abs=PLOTTED_DEG)
    assert made.ground_kn == pytest.approx(made_kn, abs=PLOTTED_KN)


def test_what_is_made_good_asks_for_course_and_speed() -> None:
    """To make 270 at 10 kn in set 360 drift 3: 253 at 10.5 kn (a sailing forum's worked example, seen).

    The inverse: the course is found from the speed through the water that the example ends with, sqrt(10^2 + 3^2).
    """
    through_kn = math.hypot(10, 3)
    assert through_kn == pytest.approx(10.5, abs=0.1)
    made = steer(through_kn, 270, 360, 3)
    assert made is not None
    assert made.steer_deg == pytest.approx(253, abs=0.5)
    assert made.ground_kn == pytest.approx(10, abs=1e-9)


def test_a_current_on_the_beam_is_a_triangle_of_three_four_and_five() -> None:
    """Through the water 5 kn, the stream 3 kn across: 4 kn made, 36.87 degrees to windward of it, either side."""
    for set_deg, sign in ((90, -1), (270, 1)):
        made = steer(5, 0, set_deg, 3)
        assert made is not None
        assert made.ground_kn == pytest.approx(4)
        assert math.remainder(made.steer_deg - sign * math.degrees(math.asin(0.6)), 360) == pytest.approx(0, abs=1e-9)


def test_a_current_as_fast_as_the_boat_stops_her() -> None:
    assert steer(5, 90, 270, 5) is None
    assert steer(5, 90, 270, 6) is None
    assert steer(5, 90, 0, 5) is None  # all of her speed goes into staying on the track
    assert steer(5, 90, 270, 5 - LEAST_WAY_KN / 2) is None
    fast = steer(5, 90, 90, 6)  # in her favour it doesn't
    assert fast is not None
    assert fast.ground_kn == pytest.approx(11)


@given(st.floats(0.5, 60), degrees, degrees, st.floats(0, 20))
def test_speed_made_good_is_the_greater_root(through: float, track: float, sets: float, drift: float) -> None:
    east, north = drift * math.sin(math.radians(sets)), drift * math.cos(math.radians(sets))
    made, theirs = float(find_ground_kn(through, track, east, north)), made_good_kn(through, track, east, north)
    assume(
        abs(theirs - LEAST_WAY_KN) > 1e-6 and abs(abs(drift * math.sin(math.radians(sets - track))) - through) > 1e-6
    )
    assert made == pytest.approx(theirs, abs=1e-7)


@given(st.floats(0.5, 60), degrees, degrees, st.floats(0, 20))
def test_steering_and_drifting_end_on_the_track(through: float, track: float, sets: float, drift: float) -> None:
    """The vectors add up: what is steered and what the water does is the track at the speed made good."""
    made = steer(through, track, sets, drift)
    assume(made is not None)
    assert made is not None
    total = [through * f(math.radians(made.steer_deg)) + drift * f(math.radians(sets)) for f in (math.sin, math.cos)]
    wanted = [made.ground_kn * f(math.radians(track)) for f in (math.sin, math.cos)]
    assert total == pytest.approx(wanted, abs=1e-6)
    assert 0 <= made.steer_deg < 360


@given(degrees, st.floats(0.01, 20))
def test_set_and_drift_come_back_from_their_parts(sets: float, drift: float) -> None:
    found, kn = set_of(drift * math.sin(math.radians(sets)), drift * math.cos(math.radians(sets)))
    assert kn == pytest.approx(drift)
    assert math.remainder(found - sets, 360) == pytest.approx(0, abs=1e-6)
    assert 0 <= found < 360


def test_tracks_speeds_and_currents_broadcast() -> None:
    made = find_ground_kn(np.array([[6.0], [8.0]]), np.array([0.0, 90.0, 180.0]), 0.0, 2.0)
    assert made.shape == (2, 3)
    assert made[1] == pytest.approx([10.0, math.sqrt(60), 6.0])


@pytest.mark.parametrize(("through_kn", "more"), [(26.0, 0.04), (8.0, 0.17)])
def test_what_the_readme_says_two_knots_foul_over_half_a_passage_cost(through_kn: float, more: float) -> None:
    """By hand: a half of the way at v, the other at v - 2; 1/2 + v / 2(v - 2) is 1.042 at 26 kn and 1.167 at 8 kn."""
    halves = 0.5 / find_ground_kn(through_kn, 90.0, np.array([0.0, -2.0]), 0.0)
    assert float(halves.sum()) * through_kn - 1 == pytest.approx(more, abs=0.005)
