"""Streams: against another program over a year, a rule of thumb, cases solved by hand, and what holds of any stream."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
import utide
from hypothesis import given
from hypothesis import strategies as st
from utide._ut_constants import constit_index_dict, ut_constants
from utide.utilities import Bunch

from layers.constituents import Harmonic, read_constituents
from routeplan.tidal_streams import TidalStream, find_turns, hourly_kn, most_kn

BEGIN = datetime(2026, 7, 1, tzinfo=UTC)
_ORDINAL_D = 719_163  # the ordinal of 1970-01-01, from which utide counts days
DEMO_LIKE = "M2 2.9 64; S2 1.0 101; N2 0.6 47; M4 0.2 210"
MIXED = (
    "M2 2.1 52; S2 0.7 88; N2 0.4 35; K1 0.8 120; O1 0.5 95; K2 0.2 90; P1 0.25 118; Q1 0.1 80; L2 0.1 12; MS4 0.1 5"
)


def stream_of(text: str, mean_kn: float = 0.0, latitude_deg: float = 44.5) -> TidalStream:
    """Make a stream whose flood sets 040 and whose ebb sets 225."""
    return TidalStream("Knap Narrows", 40.0, 225.0, mean_kn, read_constituents(text), latitude_deg)


def theirs_kn(stream: TidalStream, times_s: np.ndarray) -> np.ndarray:
    """Return the stream as utide reconstructs it, with arguments and node factors of every time."""
    names = [one.name for one in stream.harmonics]
    index = [constit_index_dict[name] for name in names]
    exact = {"nodsatlint": False, "nodsatnone": False, "gwchlint": False, "gwchnone": False}
    plain = {"twodim": False, "notrend": True, "nodiagn": True, "prefilt": []}
    coefficients = Bunch(
        name=np.array(names),
        A=np.array([one.amplitude_kn for one in stream.harmonics]),
        g=np.array([one.lag_deg for one in stream.harmonics]),
        mean=stream.mean_kn,
        aux=Bunch(
            frq=ut_constants.const.freq[index],
            lind=np.array(index),
            lat=stream.latitude_deg,
            reftime=0.0,
            opt=Bunch(**exact, **plain),
        ),
    )
    days = times_s / 86_400 + _ORDINAL_D
    return np.asarray(utide.reconstruct(days, coefficients, epoch="python", verbose=False).h)


@pytest.mark.parametrize(
    ("text", "mean_kn", "latitude_deg"),
    [(DEMO_LIKE, 0.2, 44.5), (MIXED, -0.3, 44.5), (MIXED, 0.0, -41.0), ("M2 6 10; M4 1 20; M6 0.5 30", 0.0, 70.0)],
)
def test_a_year_is_the_one_that_another_program_reconstructs(text: str, mean_kn: float, latitude_deg: float) -> None:
    """Utide, every hour and seven minutes of 2026: 5e-9 kn apart at the most, where a hundredth of a knot would do."""
    stream = stream_of(text, mean_kn, latitude_deg)
    times = np.arange(datetime(2026, 1, 1, tzinfo=UTC).timestamp(), datetime(2027, 1, 1, tzinfo=UTC).timestamp(), 4020)
    apart = np.abs(stream.along_kn(times) - theirs_kn(stream, times))
    assert apart.max() < 1e-7


def test_the_rule_of_fifty_and_ninety() -> None:
    """Common practice: from slack to slack the stream runs at 0 50 90 100 90 50 0 % of its most, sixth by sixth.

    The rule's hours are sixths of the time between slacks, 6.21 h where M2 runs alone. It rounds sines (50, 87, 100 %)
    to tens: half of ten is the tolerance.
    """
    first, most, second = find_turns(stream_of("M2 2.0 43"), BEGIN, BEGIN + timedelta(hours=13))[:3]
    if first.kind != "slack":
        first, most, second = find_turns(stream_of("M2 2.0 43"), most.at, BEGIN + timedelta(hours=20))[:3]
    assert (first.kind, second.kind) == ("slack", "slack")
    assert (second.at - first.at) / timedelta(hours=1) == pytest.approx(180 / 28.9841, abs=0.01)
    times = first.at.timestamp() + (second.at - first.at).total_seconds() / 6 * np.arange(7)
    shares = 100 * np.abs(stream_of("M2 2.0 43").along_kn(times)) / most.speed_kn
    assert shares == pytest.approx([0, 50, 90, 100, 90, 50, 0], abs=5)


def test_a_solar_stream_turns_by_the_clock() -> None:
    """Solved by hand: S2 without lag floods most at 00 and 12, ebbs most at 06 and 18, is slack at 03, 09, 15, 21 UTC.

    u of S2 stays within 0.0025 rad (its satellites), which is 17 s.
    """
    turns = find_turns(stream_of("S2 2.0 0"), BEGIN - timedelta(minutes=1), BEGIN + timedelta(hours=24, minutes=-1))
    assert [turn.kind for turn in turns] == ["flood", "slack", "ebb", "slack"] * 2
    for turn, hour in zip(turns, range(0, 24, 3), strict=True):
        assert abs(turn.at - BEGIN - timedelta(hours=hour)) <= timedelta(seconds=18)
        assert turn.speed_kn == pytest.approx(0.0 if turn.kind == "slack" else 2.0, abs=0.005)
    assert [turn.sets_deg for turn in turns[:4]] == [40.0, 225.0, 225.0, 40.0]


def test_a_mean_that_outweighs_the_tide_leaves_no_slack() -> None:
    """Solved by hand: 3 kn of mean and 2 kn of S2 run between 5 kn and 1 kn, always with the flood or with the ebb."""
    for mean, kind, sets in ((3.0, "flood", 40.0), (-3.0, "ebb", 225.0)):
        turns = find_turns(stream_of("S2 2.0 0", mean), BEGIN + timedelta(hours=3), BEGIN + timedelta(hours=21))
        assert sorted(turn.kind for turn in turns) == sorted(
            ["least", kind, "least"] if mean > 0 else [kind, "least", kind]
        )
        for turn in turns:
            assert turn.speed_kn == pytest.approx(1.0 if turn.kind == "least" else 5.0, abs=0.005)
            assert turn.sets_deg == sets


def test_a_second_flood_has_a_least_before_it() -> None:
    """Solved by hand: cos x - 0.5 cos 2x has two equal maxima, 0.75 where cos x = 0.5, and 0.5 between them at x = 0.

    With lags of 0 and 180 degrees S2 and S4 are that stream but for u of S2, a few thousandths.
    """
    turns = find_turns(stream_of("S2 1.0 0; S4 0.5 180"), BEGIN + timedelta(hours=8), BEGIN + timedelta(hours=16))
    floods = [turn for turn in turns if turn.sets_deg == 40.0 and turn.kind != "slack"]
    assert [turn.kind for turn in floods] == ["flood", "least", "flood"]
    assert [turn.speed_kn for turn in floods] == pytest.approx([0.75, 0.5, 0.75], abs=0.01)


@pytest.mark.parametrize("mean_kn", [0.0, 2.0])
def test_a_steady_stream_never_turns(mean_kn: float) -> None:
    steady = stream_of("M2 0 0", mean_kn)
    assert find_turns(steady, BEGIN, BEGIN + timedelta(days=2)) == ()
    assert find_turns(replace(steady, harmonics=()), BEGIN, BEGIN + timedelta(days=2)) == ()
    assert most_kn(replace(steady, harmonics=()), BEGIN, BEGIN + timedelta(days=2)) == mean_kn


def test_the_vector_sets_to_flood_or_to_ebb() -> None:
    """Solved by hand: 2 kn to 040 are 1.2856 east and 1.5321 north; 2 kn to 225 are 1.4142 west and south."""
    stream = replace(stream_of("M2 0 0", 2.0), harmonics=())
    assert stream.east_north_kn(0.0) == pytest.approx([1.2856, 1.5321], abs=1e-4)
    assert replace(stream, mean_kn=-2.0).east_north_kn([[0.0]])[0, 0] == pytest.approx([-1.4142, -1.4142], abs=1e-4)


def test_a_table_has_an_hour_a_row_and_times_any_shape() -> None:
    stream = stream_of(DEMO_LIKE, 0.1)
    table = hourly_kn(stream, BEGIN, 6)
    assert table.shape == (7,)
    six = (BEGIN + timedelta(hours=6)).timestamp()
    assert table[6] == pytest.approx(float(stream.along_kn(six)), abs=1e-12)
    assert stream.along_kn(np.full((2, 3), six)) == pytest.approx(np.full((2, 3), table[6]), abs=1e-12)
    assert stream.along_kn(np.empty((0, 4))).shape == (0, 4)


def test_many_times_are_each_as_if_asked_alone() -> None:
    """More than are worked on at once, out of order, over years: sums in another order may differ in the last digit."""
    stream = stream_of(MIXED)
    times = np.random.default_rng(9).uniform(1.5e9, 1.8e9, 40_000)
    together = stream.along_kn(times)
    some = slice(None, None, 997)
    assert together[some] == pytest.approx([float(stream.along_kn(time)) for time in times[some]], abs=1e-12)


# Of any stream

NAMES = ("M2", "S2", "N2", "K2", "K1", "O1", "M4", "MS4", "M6", "L2")
kn = st.floats(0.0, 4.0).map(lambda speed: round(speed, 2))
lags = st.floats(0.0, 360.0)
harmonics = st.lists(st.sampled_from(NAMES), min_size=1, max_size=5, unique=True).flatmap(
    lambda names: st.tuples(*(st.builds(Harmonic, st.just(name), kn, lags) for name in names))
)
latitudes = st.floats(-75.0, 75.0)
streams = st.builds(
    TidalStream, st.just("Any"), st.just(40.0), st.just(225.0), st.floats(-3.0, 3.0), harmonics, latitudes
)
moments = st.datetimes(datetime(1980, 1, 1), datetime(2060, 1, 1)).map(lambda at: at.replace(tzinfo=UTC))  # noqa: DTZ001


@given(streams, moments, st.floats(0.0, 3.0))
def test_twice_the_amplitudes_are_twice_the_stream(stream: TidalStream, begin: datetime, times: float) -> None:
    more = replace(
        stream,
        mean_kn=times * stream.mean_kn,
        harmonics=tuple(replace(one, amplitude_kn=times * one.amplitude_kn) for one in stream.harmonics),
    )
    assert hourly_kn(more, begin, 30) == pytest.approx(times * hourly_kn(stream, begin, 30), abs=1e-9)


@given(streams, moments)
def test_a_stream_is_the_sum_of_its_constituents(stream: TidalStream, begin: datetime) -> None:
    alone = [replace(stream, mean_kn=0.0, harmonics=(one,)) for one in stream.harmonics]
    summed = stream.mean_kn + sum(hourly_kn(one, begin, 30) for one in alone)
    assert hourly_kn(stream, begin, 30) == pytest.approx(summed, abs=1e-9)


@given(streams, moments)
def test_slacks_are_zeros_and_alternate_with_maxima(stream: TidalStream, begin: datetime) -> None:
    """A slack is told to a second: what the stream can change in one is its speed there at the most.

    Between two slacks maxima and leasts take turns, maxima at either end.
    """
    turns = find_turns(stream, begin, begin + timedelta(hours=50))
    steepest = sum(1.5 * one.amplitude_kn for one in stream.harmonics) * np.radians(87 / 3600)  # M6; f below 1.5
    for turn in turns:
        found = float(stream.along_kn(turn.at.timestamp()))
        assert abs(abs(found) - turn.speed_kn) <= steepest
        towards = 1 if turn.sets_deg == stream.flood_deg else -1  # it may run the other way two minutes later
        around = towards * stream.along_kn(turn.at.timestamp() + np.array([-120.0, 120.0]))
        if turn.kind in ("flood", "ebb"):
            assert around.max() <= turn.speed_kn + 1e-9
            assert towards == (1 if turn.kind == "flood" else -1)
        elif turn.kind == "least":
            assert around.min() >= turn.speed_kn - 1e-9
    slacks = [at for at, turn in enumerate(turns) if turn.kind == "slack"]
    for one, other in pairwise(slacks):
        between = [turn.kind for turn in turns[one + 1 : other]]
        assert len(between) % 2 == 1, between
        assert all((kind == "least") == (at % 2 == 1) for at, kind in enumerate(between))
        assert len({turn.sets_deg for turn in turns[one:other]}) == 1


@given(st.tuples(st.floats(2.0, 4.0), st.floats(0.0, 0.6), st.floats(0.0, 0.6)), st.tuples(lags, lags, lags), moments)
def test_between_two_slacks_there_is_one_maximum(
    speeds: tuple[float, float, float], three: tuple[float, float, float], begin: datetime
) -> None:
    """Where M2 outweighs S2 and N2 flood and ebb take turns every 6.2 h, and each has one maximum."""
    parts = tuple(
        Harmonic(name, *part) for name, part in zip(("M2", "S2", "N2"), zip(speeds, three, strict=True), strict=True)
    )
    stream = TidalStream("Any", 40.0, 225.0, 0.0, parts, 44.5)
    kinds = [turn.kind for turn in find_turns(stream, begin, begin + timedelta(hours=60))]
    first = kinds.index("slack")
    after = {"flood": "ebb", "ebb": "flood"}
    assert len(kinds) in range(17, 23)  # four in 12.4 h
    assert all(kind == "slack" for kind in kinds[first::2])
    maxima = kinds[first + 1 :: 2]
    assert all(after[one] == other for one, other in pairwise(maxima))


@given(streams, moments, st.floats(0.02, 30.0))
def test_no_moment_is_faster_than_the_bound(stream: TidalStream, begin: datetime, hours: float) -> None:
    """Every 20 s; and the bound isn't far off: in six minutes M6 of all amplitudes together adds 0.32 % of them.

    360^2 / 8 x (86.95 deg/h in rad/s)^2 = 0.0029, times f (1.1 for three M2, 1.4 for L2 at a third of the speed).
    """
    end = begin + timedelta(hours=hours)
    fine = np.abs(stream.along_kn(np.arange(begin.timestamp(), end.timestamp(), 20.0)))
    bound = most_kn(stream, begin, end)
    assert fine.max() <= bound
    step_after = np.abs(
        stream.along_kn(end.timestamp() + np.arange(0.0, 361.0, 20.0))
    ).max()  # the last step ends there
    assert bound <= max(fine.max(), step_after) + 0.0036 * sum(one.amplitude_kn for one in stream.harmonics) + 1e-9
