"""What a sea does to speed, burn and doubt: solved by hand, and as properties."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import lesson_samples
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers.errors import InputError
from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
from routeplan.lessons import RunLesson, SeaLesson
from routeplan.sea import Seas, SeaState
from routeplan.sea_allowance import SeaAllowance, displacement_kn, find_allowance

if TYPE_CHECKING:
    from routeplan.lessons import Lesson

ROUNDING = 1e-12  # a few operations in double precision
courses = st.floats(0, 360)
heights = st.floats(0, 2)  # m: up to a quarter of eight metres
speeds = st.floats(0.5, 30)


def boat_of(length_overall_m: float = 8, *, hump: bool = True, sd_share: float = 0.12, burn_times: float = 1) -> Boat:
    """Make a boat whose burn rises by 3 l/h with each knot from 6 to 20, by 6 from there."""
    return Boat(
        name="By Hand",
        fuel="gasoline",
        length_overall_m=length_overall_m,
        draught_m=0.8,
        air_draught_m=2.5,
        cruising_speed_kn=20,
        no_wake_kn=5,
        tank=Tank(capacity_l=300, unusable_l=20),
        reserve=Reserve(rule="volume", value=40),
        burn=BurnTable(
            speed_kn=(6, 20, 30),
            burn_lph=tuple(burn_times * lph for lph in (18, 60, 120)),
            idle_lph=3,
            unsteady_kn=(8, 16) if hump else None,
            sd_share=sd_share,
        ),
        instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    )


BOAT = boat_of()


def allowed(
    height_m: float, boat: Boat = BOAT, wind_kn: float | None = None, lesson: Lesson | None = None, from_deg: float = 0
) -> SeaAllowance:
    state = SeaState(from_deg=from_deg, height_m=height_m, wind_kn=wind_kn)
    return find_allowance(Seas.always(state, "--sea"), boat, lesson)


def taught(sea: str, factor: float, ratios: tuple[float, ...] = (), runs: int = 3) -> Lesson:
    """Make the lesson of a log that says nothing but what one sea does."""
    rows = tuple(
        RunLesson(
            when=lesson_samples.START,
            used_l=50,
            distance_nmi=20,
            time_h=1,
            economy_nmi_per_l=0.4,
            burn_factor=ratio,
            sea=sea,
            people=2,
            good=True,
        )
        for ratio in ratios
    )
    by_sea = (SeaLesson(sea=sea, runs=runs, burn_factor=factor),)
    return lesson_samples.empty(BOAT).model_copy(update={"by_sea": by_sea, "runs": rows})


def test_a_sea_solved_by_hand():
    """1.2 m under 8 m of boat is the sea for which the defaults are stated.

    At 20 kn 12 lie above the hump's lower end of 8, and a quarter of these 8 counts beside: 14 kn are exposed.
    Into it: 0.40 of them, 5.6 kn, leave 14.4, which she can't hold: 8 kn, where she burns 24 l/h, and 15 % more.
    Across: 2.1 kn leave 17.9, 53.7 l/h, 8 % more. Before it: 1.4 leave 18.6, 55.8 l/h, 3 % more.
    On the bow, at 45 degrees, halfway from head to beam: 0.275 of 14, 3.85 kn, leave 16.15: 48.45 l/h, 11.5 % more.
    """
    found = allowed(1.2).rates(BOAT, [20.0], [0.0, 90.0, 180.0, 45.0], 0)
    assert found.speed_kn[:, 0] == pytest.approx([8.0, 17.9, 18.6, 16.15], abs=1e-9)
    assert found.burn_lph[:, 0] == pytest.approx([24 * 1.15, 53.7 * 1.08, 55.8 * 1.03, 48.45 * 1.115], abs=1e-9)
    assert allowed(1.2).speed_share([0.0, 90.0], 0) == pytest.approx([14.4 / 20, 17.9 / 20], abs=ROUNDING)


def test_at_displacement_speed_a_quarter_of_the_loss_counts():
    """At 6 kn 1.5 are exposed; 0.40 of them leave 5.4, and the slowest row's 18 l/h are charged in full."""
    found = allowed(1.2).rates(BOAT, [6.0, 20.0], [0.0], 0)
    assert found.speed_kn[0] == pytest.approx([5.4, 8.0], abs=1e-9)
    assert found.burn_lph[0, 0] == pytest.approx(18 * 1.15, abs=1e-9)


def test_half_the_height_has_a_third_of_the_effect():
    """The power of 1.5: 0.5 to it is 0.35355339."""
    assert allowed(0.6).burn_factor(0.0, 0) - 1 == pytest.approx(0.15 * 0.35355339, abs=1e-9)
    assert 1 - allowed(0.6).speed_share(0.0, 0) == pytest.approx(5.6 / 20 * 0.35355339, abs=1e-9)


def test_wind_adds_to_the_burn_by_its_square():
    """20 kn on the bow add 4 %, 10 kn a quarter of that; from astern nothing."""
    assert allowed(1.2, wind_kn=20).burn_factor([0.0, 90.0, 180.0], 0) == pytest.approx([1.19, 1.10, 1.03], abs=1e-9)
    assert allowed(1.2, wind_kn=10).burn_factor(0.0, 0) == pytest.approx(1.16, abs=1e-9)
    assert allowed(1.2, wind_kn=20).speed_share(0.0, 0) == allowed(1.2).speed_share(0.0, 0)


def test_doubt_is_a_third_of_what_a_head_sea_adds():
    """0.15 / 3 = 0.05; joined with the boat's 0.12 it is 0.13, as 5, 12 and 13 make a right triangle."""
    allowance = allowed(1.2)
    assert allowance.sd_share() == pytest.approx(0.05, abs=ROUNDING)
    wide = allowance.widened(BOAT)
    assert wide.burn.sd_share == pytest.approx(0.13, abs=ROUNDING)
    assert wide.burn.burn_lph == BOAT.burn.burn_lph
    assert BOAT.burn.sd_share == 0.12


def test_the_worst_sea_of_a_passage_makes_its_doubt():
    states = tuple(SeaState(from_deg=0, height_m=height_m) for height_m in (0.6, 1.2, 0.3))
    seas = Seas(states, ("a", "b", "c"), (0.0, 10.0, 20.0), 30.0)
    allowance = find_allowance(seas, BOAT)
    assert allowance.sd_share() == pytest.approx(0.05, abs=ROUNDING)
    assert allowance.sd_share([0, 2, -1]) == pytest.approx(0.05 * 0.35355339, abs=1e-9)
    assert allowance.sd_share([-1]) == 0
    assert allowance.widened(BOAT, [-1]) is BOAT


@pytest.mark.parametrize(("height_m", "wind_kn", "state"), [(0.0, None, 0), (0.0, 0.0, 0), (1.2, 20.0, -1)])
def test_in_calm_nothing_changes_exactly(height_m: float, wind_kn: float | None, state: int):
    """Neither in a sea of no height, nor where none holds; odd speeds, so that rounding would show."""
    planned = [BOAT.steady_kn(kn) for kn in (20.0, 6.7, 3.1, 23.456789, 29.9)]
    for lesson in (None, taught("calm", 1.3), taught("slight", 1.3)):
        allowance = allowed(height_m, wind_kn=wind_kn, lesson=lesson)
        found = allowance.rates(BOAT, planned, np.linspace(0, 360, 23), state)
        assert (found.speed_kn == np.array(planned)).all()
        assert (found.burn_lph == np.array([BOAT.burn_lph(kn) for kn in planned])).all()
        assert (allowance.burn_factor([0.0, 77.0], state) == 1.0).all()
        assert (allowance.speed_share([0.0, 77.0], state) == 1.0).all()
        assert allowance.sd_share([state]) == 0


@given(heights, heights, courses)
def test_a_higher_sea_never_costs_less(one_m: float, other_m: float, course: float):
    low, high = (allowed(height) for height in sorted((one_m, other_m)))
    assert high.speed_share(course, 0) <= low.speed_share(course, 0)
    assert high.burn_factor(course, 0) >= low.burn_factor(course, 0)
    assert high.sd_share() >= low.sd_share()


@given(st.floats(6, 30), st.floats(6, 30), courses)
def test_a_sea_means_less_to_a_longer_boat(one_m: float, other_m: float, course: float):
    short, long = (allowed(1.2, boat_of(length)) for length in sorted((one_m, other_m)))
    assert long.speed_share(course, 0) >= short.speed_share(course, 0)
    assert long.burn_factor(course, 0) <= short.burn_factor(course, 0)


@given(st.floats(0.1, 2), st.floats(0, 180), st.floats(0, 180))
def test_the_nearer_the_bow_the_worse(height_m: float, one_deg: float, other_deg: float):
    near, far = sorted((one_deg, other_deg))
    allowance = allowed(height_m, wind_kn=15)
    assert allowance.speed_share(near, 0) <= allowance.speed_share(far, 0) + ROUNDING
    assert allowance.burn_factor(near, 0) >= allowance.burn_factor(far, 0) - ROUNDING


def test_head_is_worse_than_beam_and_beam_than_following():
    allowance = allowed(1.0)
    shares, factors = allowance.speed_share([0, 90, 180], 0), allowance.burn_factor([0, 90, 180], 0)
    assert shares[0] < shares[1] < shares[2] < 1
    assert factors[0] > factors[1] > factors[2] > 1


@given(heights, st.floats(0, 359), courses)
def test_no_angle_has_a_step(height_m: float, from_deg: float, course: float):
    """The steepest blend goes from 0.40 to 0.15 over a quarter turn: 0.25 a radian, times at most (0.25 / 0.15)^1.5."""
    allowance = allowed(height_m, from_deg=from_deg)
    step_deg = 0.01
    most = 0.25 * (0.25 / 0.15) ** 1.5 * math.radians(step_deg) + ROUNDING
    ends = [course, course + step_deg]
    assert abs(np.diff(allowance.speed_share(ends, 0))[0]) <= most
    assert abs(np.diff(allowance.burn_factor(ends, 0))[0]) <= most


@given(heights, st.floats(0, 359), st.floats(0, 180))
def test_port_is_as_starboard(height_m: float, from_deg: float, off_deg: float):
    allowance = allowed(height_m, wind_kn=15, from_deg=from_deg)
    port, starboard = allowance.burn_factor([from_deg - off_deg, from_deg + off_deg], 0)
    assert port == pytest.approx(starboard, abs=ROUNDING)
    port, starboard = allowance.speed_share([from_deg - off_deg, from_deg + off_deg + 360], 0)
    assert port == pytest.approx(starboard, abs=ROUNDING)


@given(heights, courses, st.lists(speeds, min_size=1, max_size=4), st.booleans())
def test_rates_are_what_the_boat_says_at_each_speed(height_m: float, course: float, planned: list[float], hump: bool):  # noqa: FBT001
    """One by one through the boat's own rules, as `rates` does for all at once."""
    boat = boat_of(hump=hump)
    allowance = allowed(height_m, boat)
    found = allowance.rates(boat, planned, [course], 0)
    for kn, lph, wished in zip(found.speed_kn[0], found.burn_lph[0], planned, strict=True):
        steady = boat.steady_kn(wished)
        attained = float(steady * allowance.speed_share(course, 0, steady))
        assert kn <= steady
        if hump and (abs(attained - 8) < 1e-9 or abs(attained - 16) < 1e-9):
            continue  # rounding decides on which side of the hump's end it lies
        assert kn == pytest.approx(boat.steady_kn(attained), abs=1e-9)
        factor = float(allowance.burn_factor(course, 0))
        assert lph == pytest.approx(boat.burn_lph(boat.steady_kn(attained)) * factor, abs=1e-9)


def test_each_course_may_have_its_own_sea():
    states = (SeaState(from_deg=0, height_m=1.2), SeaState(from_deg=90, height_m=0.6))
    allowance = find_allowance(Seas(states, ("a", "b"), (0.0, 1.0)), BOAT)
    found = allowance.rates(BOAT, [20.0, 6.0], [0.0, 0.0, 0.0], [0, 1, -1])
    assert found.speed_kn.shape == found.burn_lph.shape == (3, 2)
    alone = [allowance.rates(BOAT, [20.0, 6.0], [0.0], state) for state in (0, 1, -1)]
    assert (found.speed_kn == np.concatenate([each.speed_kn for each in alone])).all()
    assert (found.burn_lph == np.concatenate([each.burn_lph for each in alone])).all()


def test_displacement_speed():
    """With a hump its lower end; without, 1.34 times the root of the feet: 36 ft, 1.34 x 6 = 8.04 kn."""
    assert displacement_kn(BOAT) == 8
    assert displacement_kn(boat_of(36 * 0.3048, hump=False)) == pytest.approx(8.04, abs=1e-9)
    assert displacement_kn(boat_of(2, hump=False)) == 5  # 1.34 x 2.56 is less than no-wake speed


def test_the_log_gives_the_burn_where_it_has_runs():
    """The log says 1.10 in a slight sea, the default's mean is 0.08 / 2 + (0.15 + 0.03) / 4 = 0.085.

    So into it: 0.15 x 0.10 / 0.085 = 0.176471; and the mean over the whole compass is the log's.
    """
    allowance = allowed(1.2, lesson=taught("slight", 1.10))
    assert allowance.burn_factor(0.0, 0) == pytest.approx(1.176471, abs=1e-6)
    assert allowance.burn_factor(np.arange(360.0), 0).mean() == pytest.approx(1.10, abs=1e-9)
    assert allowance.speed_share(0.0, 0) == allowed(1.2).speed_share(0.0, 0)
    assert allowance.sd_share() == pytest.approx(0.176471 / 3, abs=1e-6)
    assert "by her own log, 3 runs in a slight sea" in allowance.told[0]


def test_the_logs_factor_is_put_on_the_burn_that_is_planned_with():
    """The log's 1.155 is on the file's table; a boat that was taught to burn 1.05 of it burns 1.10 of her own."""
    learnt = boat_of(burn_times=1.05)
    allowance = allowed(1.2, learnt, lesson=taught("slight", 1.155))
    assert allowance.burn_factor(np.arange(360.0), 0).mean() == pytest.approx(1.10, abs=1e-9)


def test_the_logs_scatter_widens_the_doubt():
    """Ratios e^-0.3, 1, e^0.3 scatter by 0.3; with their mean's error 0.09 x 4/3 = 0.12 of variance, less her own.

    0.12 - 0.12^2 = 0.1056, root 0.324962: joined with her own 0.12 it is the scatter of a run, no more.
    """
    ratios = (math.exp(-0.3), 1.0, math.exp(0.3))
    allowance = allowed(1.2, lesson=taught("slight", 1.10, ratios))
    assert allowance.sd_share() == pytest.approx(0.324962, abs=1e-6)
    assert allowance.widened(BOAT).burn.sd_share == pytest.approx(math.sqrt(0.12), abs=1e-9)


def test_a_log_that_saw_less_burn_plans_no_gain():
    ratios = (0.5, 0.9, 1.3)
    allowance = allowed(1.2, lesson=taught("slight", 0.9, ratios))
    assert (allowance.burn_factor(np.arange(360.0), 0) == 1.0).all()
    assert allowance.sd_share() > 0


@pytest.mark.parametrize("lesson", [taught("moderate", 1.4), taught("slight", 1.4, runs=2), lesson_samples.empty(BOAT)])
def test_other_seas_and_too_few_runs_leave_the_default(lesson: Lesson):
    """1.2 m is a slight sea (0.5 to 1.25 m; code table 3700, from memory)."""
    allowance = allowed(1.2, lesson=lesson)
    assert allowance.burn_factor([0.0, 50.0], 0).tolist() == allowed(1.2).burn_factor([0.0, 50.0], 0).tolist()
    assert "default of common practice, not measured" in allowance.told[0]


def test_just_above_the_bound_the_next_states_runs_count():
    lesson = taught("moderate", 1.4)
    assert allowed(1.25, lesson=lesson).effects[0].runs == 0
    assert allowed(1.26, lesson=lesson).effects[0].runs == 3


@pytest.mark.parametrize(
    ("height_m", "wind_kn", "said"),
    [
        (2.01, None, "above 2.0 m, a quarter of By Hand's length"),
        (0.5, 34.0, "a wind of 34 kn or more is a gale (Beaufort 8)"),
    ],
)
def test_a_sea_that_is_no_day_boats_is_refused(height_m: float, wind_kn: float | None, said: str):
    """A quarter of 8 m is 2 m; Beaufort 8 is 34 to 40 kn (from memory)."""
    with pytest.raises(InputError) as caught:
        allowed(height_m, wind_kn=wind_kn)
    line = str(caught.value)
    assert line.startswith("--sea: is not a sea to plan a day boat for: ")
    assert said in line
    assert "your own judgement and the forecasts" in line
    assert "\n" not in line


def test_the_row_that_is_refused_is_named():
    states = (SeaState(from_deg=0, height_m=1), SeaState(from_deg=0, height_m=3))
    seas = Seas(states, ("sea.csv, line 2", "sea.csv, line 3"), (0.0, 1.0))
    with pytest.raises(InputError, match=r"^sea\.csv, line 3: is not a sea"):
        find_allowance(seas, BOAT)


def test_the_limits_themselves_are_planned():
    assert allowed(2.0, wind_kn=33.9).speed_share(0.0, 0) < 0.5


def test_what_is_told():
    """The figures of the sea solved by hand, the source, and whose judgement comes first."""
    told = allowed(1.2, from_deg=270).told
    assert told[0] == (
        "Sea of 1.2 m from W (270° true): of 20 kn she is taken to make 8 kn into it, 17.9 kn across and 18.6 kn "
        "before it, and to burn 15 %, 8 % and 3 % more an hour at that speed, give or take 5.0 % on top of her own "
        "spread; speed and burn are a default of common practice, not measured."
    )
    assert "judgement comes first" in told[-1]
    assert "slow down until the boat doesn't slam" in told[-1]
    assert allowed(0.0).told[0] == "Sea of 0 m from N (000° true): nothing is allowed for it."


def test_a_long_table_tells_its_worst_sea_and_what_it_leaves_open():
    states: list[Any] = [SeaState(from_deg=0, height_m=0.1 * n) for n in (1, 3, 9, 2, 4)]
    seas = Seas(tuple(states), tuple("abcde"), tuple(map(float, range(5))), notes=("Before that it is calm.",))
    allowance = find_allowance(seas, BOAT)
    assert len(allowance.told) == 3
    assert allowance.told[0].startswith("The worst of 5 seas: Sea of 0.9 m")
    assert allowance.told[1] == "Before that it is calm."
    assert len(allowance.tell([0, 1, 1, -1])) == 4


def test_a_speed_of_nothing_is_refused():
    with pytest.raises(InputError):
        allowed(1.2).rates(BOAT, [0.0], [0.0], 0)
