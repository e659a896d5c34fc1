"""Constituents: speeds, arguments and node factors against figures from outside, and what a region's text may say."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from faces import Outcome, feature, run, square, write_region_folder
from utide._ut_constants import constit_index_dict
from utide.harmonics import FUV

from layers import InputError
from layers.constituent_table import COMBINED, MAIN
from layers.constituents import (
    Harmonic,
    arguments,
    find_constituent,
    read_constituents,
    speed_deg_per_h,
)

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

NAMES = [text.split()[0] for text in (MAIN + ";" + COMBINED).replace("\n", ";").split(";") if text.strip()]
FIRST_S, LAST_S = (datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (1950, 2100))
_ORDINAL_D = 719_163  # the ordinal of 1970-01-01, from which utide counts days


def complex_factors(names: list[str], times_s: NDArray[np.float64], latitude_deg: float) -> NDArray[np.complex128]:
    """Return f exp(i (V + u)) as we have it."""
    turned, factor = arguments(names, times_s, latitude_deg)
    return factor * np.exp(2j * np.pi * turned)


def theirs(names: list[str], times_s: NDArray[np.float64], latitude_deg: float) -> NDArray[np.complex128]:
    """Return the same by utide, computed for every time by itself."""
    index = [constit_index_dict[name] for name in names]
    f, u, v = FUV(times_s / 86_400 + _ORDINAL_D, 0.0, index, latitude_deg, [0, 0, 0, 0])
    return (f * np.exp(2j * np.pi * (u + v))).T


@pytest.mark.parametrize(
    ("name", "speed"),
    [
        ("M2", 28.9841043),
        ("S2", 30.0),
        ("N2", 28.4397296),
        ("K1", 15.0410686),
        ("O1", 13.9430356),
        ("M4", 57.9682085),
    ],
)
def test_speeds_are_the_published_ones(name: str, speed: float) -> None:
    """Foreman's list. It is in cycles per hour, of ten decimals: half a unit is 1.8e-8 deg/h, of these figures 5e-8."""
    assert speed_deg_per_h(name) == pytest.approx(speed, abs=6.8e-8)


@pytest.mark.parametrize(
    ("name", "speed"),
    [
        *(("K2", 30.0821373), ("P1", 14.9589314), ("Q1", 13.3986609), ("MS4", 58.9841042), ("2N2", 27.8953548)),
        *(("MM", 0.5443747), ("MF", 1.0980331), ("SSA", 0.0821373), ("L2", 29.5284789), ("M6", 86.9523127)),
    ],
)
def test_speeds_are_schuremans(name: str, speed: float) -> None:
    """Schureman, Special Publication 98, table 2, from memory: seven decimals, for 1900."""
    assert speed_deg_per_h(name) == pytest.approx(speed, abs=1.5e-7)


def test_argument_and_factor_of_m2_are_the_published_ones() -> None:
    """The test suite of R's package oce, checked there against T_TIDE: ten digits of each agree."""
    moment = datetime(2008, 1, 22, 18, 50, 24, tzinfo=UTC).timestamp()
    turned, factor = arguments(["M2"], moment, 45.0)
    assert turned[0, 0] % 1 == pytest.approx(0.57722632857477 + 0.00295677805220, abs=1e-10)
    assert factor[0, 0] == pytest.approx(0.96893771510868, abs=1e-10)


@pytest.mark.parametrize("latitude", [70.0, 44.5, -33.0, 3.0, -1.0])
def test_drawing_straight_costs_less_than_a_millionth(latitude: float) -> None:
    """All constituents against utide, 1950 to 2100, a year apart and never twice at one time of the day or year."""
    times = np.arange(FIRST_S, LAST_S, 363 * 86_400 + 1_237.0)
    apart = np.abs(complex_factors(NAMES, times, latitude) - theirs(NAMES, times, latitude))
    assert apart.max() < 1e-6
    if abs(latitude) > 30:
        assert apart.max() < 1e-8


@pytest.mark.parametrize(("latitude", "most"), [(44.5, 1e-8), (-5.0, 1e-6), (6.0, 3e-6)])
def test_the_one_that_vanishes_is_off_by_what_is_said(latitude: float, most: float) -> None:
    """NO1 against utide, every 15 days: its satellites outweigh it near the equator, and f comes down to 0.001."""
    times = np.arange(FIRST_S, LAST_S, 15 * 86_400 + 1_237.0)
    assert np.abs(complex_factors(["NO1"], times, latitude) - theirs(["NO1"], times, latitude)).max() < most


def test_there_are_more_than_the_standard_ones() -> None:
    """Foreman's standard list has 69 constituents, Z0 among them."""
    assert len(NAMES) == len(set(NAMES)) == 102
    assert all(find_constituent(name).name == name for name in NAMES)


def schureman(node_deg: float) -> dict[str, float]:
    """Return node factors by Schureman's closed formulas (Special Publication 98, from memory)."""
    node = math.radians(node_deg)
    tilt = math.acos(0.91370 - 0.03569 * math.cos(node))
    nu = math.asin(0.08978 * math.sin(node) / math.sin(tilt))
    sin, cos = math.sin, math.cos
    k1 = 0.8965 * sin(2 * tilt) ** 2 + 0.6001 * sin(2 * tilt) * cos(nu) + 0.1006
    k2 = 19.0444 * sin(tilt) ** 4 + 2.7702 * sin(tilt) ** 2 * cos(2 * nu) + 0.0981
    return {
        "M2": cos(tilt / 2) ** 4 / 0.9154,
        "O1": sin(tilt) * cos(tilt / 2) ** 2 / 0.3800,
        "K1": math.sqrt(k1),
        "K2": math.sqrt(k2),
    }


# What Foreman counts and Schureman doesn't: the sum of a constituent's satellites that turn with the perigee, at 45
# degrees; from O1's it is 0.0064 + 0.0010 + 0.77 x (0.0003 + 0.0004 + 0.0029 + 0.0004) = 0.0105.
_PERIGEE = {"M2": 0.005, "O1": 0.012, "K1": 0.005, "K2": 0.010}


@pytest.mark.parametrize("name", ["M2", "O1", "K1", "K2"])
def test_node_factors_are_schuremans_within_what_the_perigee_adds(name: str) -> None:
    """Over a whole round of the node, 18.6 years; its longitude as Meeus has it (from memory)."""
    times = datetime(2000, 1, 1, 12, tzinfo=UTC).timestamp() + 86_400 * np.arange(0, 6_798, 37.0)
    nodes = 125.04452 - 0.0529537648 * np.arange(0, 6_798, 37.0)
    expected = np.array([schureman(node)[name] for node in nodes])
    _, factor = arguments([name], times, 45.0)
    assert np.abs(factor[0] - expected).max() < _PERIGEE[name]
    assert np.ptp(expected) > 10 * _PERIGEE[name]  # else the tolerance would hide what is tested


@pytest.mark.parametrize(
    ("name", "least", "most"), [("M2", 0.963, 1.038), ("O1", 0.806, 1.183), ("K1", 0.882, 1.113), ("K2", 0.748, 1.317)]
)
def test_node_factors_go_as_far_as_tables_say(name: str, least: float, most: float) -> None:
    """The ends of Schureman's table of node factors, from memory; the perigee adds what it does above."""
    _, factor = arguments([name], np.arange(1e9, 1e9 + 18.61 * 365.25 * 86_400, 5e5), 45.0)
    assert factor.min() == pytest.approx(least, abs=_PERIGEE[name])
    assert factor.max() == pytest.approx(most, abs=_PERIGEE[name])


def test_the_solar_day_is_in_s2() -> None:
    """Solved by hand: V of S2 is twice the hour angle of the mean sun, so 0 at midnight and at noon; u within 0.13 deg.

    Its only satellites have 0.0022, 0.00018 and 0.0001 of its amplitude: 0.0025 rad together.
    """
    noon = datetime(2026, 7, 1, 12, tzinfo=UTC).timestamp()
    turned, factor = arguments(["S2"], [noon, noon + 3 * 3600], 45.0)
    assert (turned[0] + 0.25) % 1 == pytest.approx([0.25, 0.5], abs=0.0025 / (2 * np.pi))
    assert factor[0] == pytest.approx([1.0, 1.0], abs=0.0025)


def test_times_may_be_few_and_far_apart_or_none() -> None:
    """A time's answer doesn't depend on what else is asked; before 1970 as well."""
    times = np.array([FIRST_S, 1.7e9, 1.7e9 + 1, LAST_S, 0.0, -0.5])
    together = complex_factors(["M2", "L2"], times, 45.0)
    alone = np.hstack([complex_factors(["M2", "L2"], np.array([time]), 45.0) for time in times])
    assert np.array_equal(together, alone)
    turned, factor = arguments(["M2", "L2"], [], 45.0)
    assert turned.shape == factor.shape == (2, 0)


@pytest.mark.parametrize("name", ["M2", "L2", "NO1", "M12"])
def test_there_is_no_leap_between_two_hours(name: str) -> None:
    """Either side of each joint of the pieces has to agree: M12 turns by 1.7e-6 in two milliseconds."""
    joints = 1.7e9 // 3600 * 3600 + 3600 * np.arange(800.0)
    before, after = (complex_factors([name], joints + step, 45.0) for step in (-1e-3, 1e-3))
    assert np.abs(after - before).max() < 4e-6


# Reading


def test_constituents_are_read() -> None:
    """Capitals or not, blanks anywhere, a last semicolon, lags turned into 0 to 360, another spelling of a name."""
    assert read_constituents(" m2  1.8 43 ;S2 .6 -282; lambda2 0 +360;") == (
        Harmonic("M2", 1.8, 43.0),
        Harmonic("S2", 0.6, 78.0),
        Harmonic("LDA2", 0.0, 0.0),
    )


BAD_TEXTS = {
    "M2 1.8 43; MS44 0.2 10": ("MS44", "did you mean MS4"),
    "M2 1.8 43; Qqqqq 0.2 10": ("Qqqqq", "Foreman's list"),
    "Z0 0.4 0; M2 1.8 43": ("Z0", "mean_kn"),
    "M2 1.8 43; S2 0.6 78; m2 0.1 5": ("M2 is there twice", "leave one out"),
    "LDA2 0.1 43; LAM2 0.1 43": ("LDA2 is there twice", "leave one out"),
    "M2 1.8 360.5": ("phase lag of M2", "between -360 and 360"),
    "M2 1.8 -361": ("phase lag of M2", "between -360 and 360"),
    "M2 -1.8 43": ("speed of M2", "between 0 and 20 kn", "180 degrees"),
    "M2 20.1 43": ("speed of M2", "between 0 and 20 kn"),
    "M2 fast 43": ("speed of M2", "no number"),
    "M2 1,8 43": ("speed of M2", "no number"),
    "M2 1.8 nan": ("phase lag of M2", "no number"),
    "M2 inf 43": ("speed of M2", "no number"),
    "M2 1e9999 43": ("speed of M2", "no number"),
    "M2 1.8": ("'M2 1.8'", "such as 'M2 1.8 43; S2 0.6 78'"),
    "M2 1.8 43 S2 0.6 78": ("can't be read at", "such as"),
    " ; ": ("there are none", "such as"),
}


@pytest.mark.parametrize("text", BAD_TEXTS)
def test_bad_constituents_are_refused_in_one_line(text: str) -> None:
    with pytest.raises(InputError) as caught:
        read_constituents(text)
    said = str(caught.value)
    assert "\n" not in said
    for word in BAD_TEXTS[text]:
        assert word in said
    assert caught.value.remedy


def asked(tmp_path: Path, *texts: object) -> Outcome:
    """Check a region with one stream a text."""
    here = square(-38.2, 44.1, -38.1, 44.2)
    rows: list[dict[str, Any]] = [
        feature(here, name=f"Narrows {at}", flood_deg=10, ebb_deg=190, mean_kn=0, constituents=text)
        for at, text in enumerate(texts, start=1)
    ]
    folder = write_region_folder(tmp_path / "region", {"currents": rows})
    return run("region", "check", folder, cache=tmp_path / "cache", now=datetime(2026, 6, 30, 12, tzinfo=UTC))


def test_a_region_tells_all_bad_constituents_at_once(tmp_path: Path) -> None:
    outcome = asked(tmp_path, "M2 1.8 43; MS44 0.2 10", "M2 1.8 43", "M2 1.8 400; S2 0.6 78", None)
    assert outcome.code == 2
    assert outcome.out == ""
    head, *lines = outcome.err.strip().splitlines()
    assert "3 bad entries" in head
    assert str(tmp_path / "region") in head
    assert [line.split(":")[0].strip() for line in lines] == [
        "layer currents, row 1 (Narrows 1), constituents",
        "layer currents, row 3 (Narrows 3), constituents",
        "layer currents, row 4 (Narrows 4), constituents",
    ]
    assert "MS44 is no constituent that is known here; did you mean MS4" in lines[0]
    assert "(got 'M2 1.8 43; MS44 0.2 10')" in lines[0]
    assert "the phase lag of M2 must be between -360 and 360 degrees; check the figure" in lines[1]


def test_a_region_with_sound_constituents_is_taken(tmp_path: Path) -> None:
    outcome = asked(tmp_path, "M2 1.8 43; S2 0.6 78", "K1 0.4 -20")
    assert outcome.code == 0, outcome
