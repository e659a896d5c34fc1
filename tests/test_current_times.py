"""When the current turns: against another program, cases solved by hand, and what is never told."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import utide
from faces import feature, square, write_region_folder
from utide._ut_constants import constit_index_dict, ut_constants
from utide.utilities import Bunch

from layers.current_grids import CurrentGrid
from layers.errors import InputError
from layers.region import read_region
from routeplan.current_sources import Series
from routeplan.current_times import find_current_areas, find_current_times
from routeplan.currents import read_currents

if TYPE_CHECKING:
    from layers.region import Region
    from routeplan.current_times import CurrentTimes
    from routeplan.currents import Currents

DAY = date(2026, 7, 1)
DAY_S = datetime(2026, 7, 1, tzinfo=UTC).timestamp()  # the Azores keep UTC in summer
SOLAR = {"mean_kn": 0.0, "constituents": "S2 2.0 0"}  # floods most at 00 and 12, is slack at 03, 09, 15, 21 UTC
MINUTE = timedelta(minutes=1)


def area(west: float, east: float, name: str, **columns: Any) -> dict[str, Any]:
    plain = {"flood_deg": 40, "ebb_deg": 225, **SOLAR}
    return feature(square(west, 44.7, east, 44.8), name=name, **{**plain, **columns})


@pytest.fixture(scope="module")
def waters(tmp_path_factory: pytest.TempPathFactory) -> Region:
    """Small waters with two areas that share an edge at 38.50 W, and a third far from both."""
    rows = [
        area(-38.6, -38.5, "Knap Narrows"),
        area(-38.5, -38.4, "Outer Narrows", flood_deg=90, ebb_deg=270),
        area(-38.95, -38.9, "Still Gut", mean_kn=1.5, constituents="S2 0 0"),
    ]
    marks = [
        feature((-38.55, 44.81), name="Knap Buoy", kind="mark"),  # 0.6 nmi north of Knap Narrows
        feature((-38.55, 44.75), name="Twin", kind="mark"),
        feature((-38.45, 44.75), name="Twin", kind="mark"),
    ]
    folder = tmp_path_factory.mktemp("waters")
    return read_region(write_region_folder(folder / "region", {"currents": rows, "waypoints": marks}))


@pytest.fixture(scope="module")
def currents(waters: Region) -> Currents:
    found = read_currents(waters)
    assert found is not None
    return found


def gridded(
    east: Any, north: Any, hours: Any = None, lon: Any = (-38.3, -38.2), lat: Any = (44.7, 44.8)
) -> CurrentGrid:
    """Make a grid over open water that is alike everywhere: currents [kn] hour by hour from midnight."""
    times = DAY_S + 3600.0 * np.asarray(np.arange(len(east)) if hours is None else hours, dtype=float)
    whole = [
        np.broadcast_to(np.asarray(p, float)[:, None, None], (len(east), len(lat), len(lon))) for p in (east, north)
    ]
    return CurrentGrid("a test.nc", np.array(lon), np.array(lat), times, *whole)


def in_grid(
    waters: Region, currents: Currents, grid: CurrentGrid, place: str = "44.75 -38.25", **more: Any
) -> CurrentTimes:
    return find_current_times(waters, replace(currents, grid=grid), place, DAY, **more)


def clocks(times: CurrentTimes) -> list[tuple[str, str]]:
    return [(turn.kind, f"{turn.at:%H:%M}") for turn in times.turns]


def theirs_kn(text: str, mean_kn: float, latitude_deg: float, times_s: np.ndarray) -> np.ndarray:
    """Return a stream as utide reconstructs it, with arguments and node factors of every time."""
    rows = [part.split() for part in text.split(";")]
    index = [constit_index_dict[name] for name, _, _ in rows]
    exact = {"nodsatlint": False, "nodsatnone": False, "gwchlint": False, "gwchnone": False}
    plain = {"twodim": False, "notrend": True, "nodiagn": True, "prefilt": []}
    option = Bunch(**exact, **plain)
    frq = ut_constants.const.freq[index]
    coefficients = Bunch(
        name=np.array([row[0] for row in rows]),
        A=np.array([float(row[1]) for row in rows]),
        g=np.array([float(row[2]) for row in rows]),
        mean=mean_kn,
        aux=Bunch(frq=frq, lind=np.array(index), lat=latitude_deg, reftime=0.0, opt=option),
    )
    return np.asarray(utide.reconstruct(times_s / 86_400 + 719_163, coefficients, epoch="python", verbose=False).h)


def test_the_demos_strait_turns_when_another_program_says_so(demo: Region) -> None:
    """Utide's reconstruction of Hallowmar Strait's row, scanned every 10 s over three days: times within a minute.

    Its latitude is that of the middle of the strait, 44.87; a tenth of a degree more or less moves nothing here.
    """
    row = demo.layer("currents").set_index("name").loc["Hallowmar Strait"]
    known = read_currents(demo)
    assert known is not None
    found = find_current_times(demo, known, "hallowmar strait", DAY, 3)
    times = np.arange(DAY_S, DAY_S + 3 * 86_400, 10.0)
    theirs = theirs_kn(row["constituents"], row["mean_kn"], 44.87, times)
    slacks = times[1:][(theirs[1:] > 0) != (theirs[:-1] > 0)]
    peaks = 1 + np.flatnonzero(
        (np.abs(theirs[1:-1]) > np.abs(theirs[:-2])) & (np.abs(theirs[1:-1]) > np.abs(theirs[2:]))
    )
    ours = [turn.at.timestamp() for turn in found.turns if turn.kind == "slack"]
    assert len(ours) == len(slacks) == 11
    assert np.abs(np.array(ours) - slacks).max() <= 60
    fast = [turn for turn in found.turns if turn.kind != "slack"]
    assert [turn.kind for turn in fast] == ["flood" if theirs[peak] > 0 else "ebb" for peak in peaks]
    assert np.abs(np.array([turn.at.timestamp() for turn in fast]) - times[peaks]).max() <= 60
    assert [turn.speed_kn for turn in fast] == pytest.approx(np.abs(theirs[peaks]), abs=0.005)
    assert {(turn.kind, turn.sets_deg) for turn in fast} == {("flood", 352.0), ("ebb", 172.0)}
    assert found.area == found.place == "Hallowmar Strait"


def test_the_rule_of_fifty_and_ninety(waters: Region, currents: Currents) -> None:
    """Common practice: 0 50 90 100 90 50 0 % of the most, hour by hour from slack to slack; S2 is slack at 03 and 09.

    The rule rounds sines (50, 87, 100 %) to tens: half of ten is the tolerance.
    """
    found = find_current_times(waters, currents, "Knap Narrows", DAY, hourly=True)
    drifts = [hour.drift_kn for hour in found.hourly]
    assert len(drifts) == 24
    assert [50 * drift for drift in drifts[3:10]] == pytest.approx([0, 50, 90, 100, 90, 50, 0], abs=5)
    assert [hour.runs for hour in found.hourly[4:9]] == ["ebb"] * 5
    assert {hour.set_deg for hour in found.hourly[4:9]} == {225.0}


def test_turns_solved_by_hand(waters: Region, currents: Currents) -> None:
    """S2 alone; u stays within 0.0025 rad, which is 17 s, so that midnight's flood may fall on either day."""
    found = find_current_times(waters, currents, "Knap Narrows", DAY, moment=datetime(2026, 7, 1, 6, tzinfo=UTC))
    expected = [("slack", 3), ("ebb", 6), ("slack", 9), ("flood", 12), ("slack", 15), ("ebb", 18), ("slack", 21)]
    turns = [turn for turn in found.turns if MINUTE < turn.at - found.from_ < timedelta(hours=24) - MINUTE]
    assert [turn.kind for turn in turns] == [kind for kind, _ in expected]
    for turn, (_, hour) in zip(turns, expected, strict=True):
        assert abs(turn.at - datetime(2026, 7, 1, hour, tzinfo=UTC)) <= timedelta(seconds=18)
    assert [turn.sets_deg for turn in turns[:3]] == [225.0, 225.0, 40.0]
    assert found.moment is not None
    assert (found.moment.set_deg, found.moment.runs) == (225.0, "ebb")
    assert found.moment.drift_kn == pytest.approx(2.0, abs=0.005)


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 7, 1), 24)])
def test_a_day_is_the_regions(waters: Region, currents: Currents, day: date, hours: int) -> None:
    """The Azores' clocks skip 00:00 to 01:00 on 29 March 2026 and show it twice on 25 October (IANA, from memory)."""
    found = find_current_times(waters, currents, "Knap Narrows", day, hourly=True)
    assert found.until - found.from_ == timedelta(hours=hours)
    assert len(found.hourly) == hours
    assert all(found.from_ <= turn.at < found.until for turn in found.turns)


@pytest.mark.parametrize("place", ["Outer Narrows", "44.75 -38.5"])
def test_days_follow_one_another_without_a_gap(waters: Region, currents: Currents, place: str) -> None:
    """What is asked day by day is what is asked at once, across a change of clocks too."""
    first = date(2026, 10, 23)
    whole = find_current_times(waters, currents, place, first, 5).turns
    single = [find_current_times(waters, currents, place, first + timedelta(days=k)) for k in range(5)]
    each = [turn for one in single for turn in one.turns]
    assert [turn.kind for turn in each] == [turn.kind for turn in whole]
    for one, other in zip(each, whole, strict=True):
        assert abs(one.at - other.at) <= timedelta(seconds=1)  # bisected from other six minutes


def test_where_two_areas_meet_the_vector_counts(waters: Region, currents: Currents) -> None:
    """Solved by hand: on the edge both weigh half. At 12 h 2 kn to 040 and 2 kn to 090 make 2 cos 25 = 1.81 kn to 065.

    The ebb, 225 and 270, makes 2 cos 22.5 = 1.85 kn to 247.5; both pass through nothing at the same times.
    """
    found = find_current_times(waters, currents, "44.75 -38.5", DAY)
    inner = [turn for turn in found.turns if MINUTE < turn.at - found.from_ < timedelta(hours=24) - MINUTE]
    assert [turn.kind for turn in inner] == ["slack", "fastest"] * 3 + ["slack"]
    for turn, hour in zip(inner, range(3, 24, 3), strict=True):
        assert abs(turn.at - datetime(2026, 7, 1, hour, tzinfo=UTC)) <= MINUTE
    assert [turn.speed_kn for turn in inner[1:4:2]] == pytest.approx([1.848, 1.813], abs=0.005)
    assert [turn.sets_deg for turn in inner[:4]] == pytest.approx([247.5, 247.5, 65.0, 65.0], abs=0.01)
    assert any("Knap Narrows and Outer Narrows meet here" in caution for caution in found.cautions)


def test_near_an_area_its_current_is_told_with_the_distance(waters: Region, currents: Currents) -> None:
    """0.01 degrees of latitude are 0.60 nmi."""
    near, own = (find_current_times(waters, currents, place, DAY) for place in ("Knap Buoy", "Knap Narrows"))
    assert near.turns == own.turns
    assert near.area == "Knap Narrows"
    assert near.distance_nmi == pytest.approx(0.60, abs=0.005)
    assert any("Nothing is known at Knap Buoy itself" in c and "0.6 nmi" in c for c in near.cautions)
    assert own.distance_nmi == 0
    assert not any("Nothing is known" in c for c in own.cautions)


def test_a_grids_turns_solved_by_hand(waters: Region, currents: Currents) -> None:
    """From 2 kn east at 0 h to 2 kn west at 4 h and back at 8 h, a knot an hour, and a tenth north all the time.

    Slack stands where east is nothing, at 02 and 06, with 0.1 kn; it runs fastest at 04, hypot(2, 0.1) to 272.9.
    """
    east = [2, 1, 0, -1, -2, -1, 0, 1, 2]
    found = in_grid(waters, currents, gridded(east, [0.1] * 9), hourly=True)
    assert clocks(found) == [("slack", "02:00"), ("fastest", "04:00"), ("slack", "06:00")]
    assert [turn.speed_kn for turn in found.turns] == pytest.approx([0.1, 2.0025, 0.1], abs=1e-4)
    assert [turn.sets_deg for turn in found.turns] == pytest.approx([272.86, 272.86, 87.14], abs=0.01)
    assert [hour.drift_kn for hour in found.hourly] == pytest.approx(np.hypot(east, 0.1))
    assert (found.area, found.file) == (None, "a test.nc")
    assert any("08:00 UTC until Thu 2 Jul 2026 00:00 UTC: not known" in c for c in found.cautions)
    assert not any("constituents" in c for c in found.cautions)


def test_a_least_between_two_hours_is_found() -> None:
    """Solved by hand: from (1, 1) to (-1, 1.5) the vector is shortest where it stands across its change, (-2, 0.5).

    The share is (2 - 0.5) / 4.25 = 0.3529, and there (0.2941, 1.1765), 1.2127 kn: no slack, so the least.
    """
    run = Series(3600.0 * np.arange(2.0), np.array([1.0, -1.0]), np.array([1.0, 1.5]))
    (turn,) = run.turns()
    assert turn.kind == "least"
    assert turn.at.timestamp() == round(3600 * 1.5 / 4.25)
    assert turn.speed_kn == pytest.approx(1.2127, abs=1e-4)
    assert turn.sets_deg == pytest.approx(14.04, abs=0.01)


def test_a_rotating_current_has_no_slack() -> None:
    """A wheel of 1 kn, 30 degrees an hour: straight between hours it is cos 15 = 0.966 kn at the least, a ripple."""
    turns = np.radians(30.0 * np.arange(25))
    assert not list(Series(3600.0 * np.arange(25.0), np.sin(turns), np.cos(turns)).turns())


def test_ripples_are_no_turns_and_the_highest_of_them_is_kept() -> None:
    speeds = np.array([0.0, 1.0, 2.31, 2.30, 2.305, 1.0, 0.99, 1.02, 0.5, 0.0])
    (turn,) = Series(3600.0 * np.arange(10.0), speeds, 0 * speeds).turns()
    assert (turn.kind, turn.speed_kn) == ("fastest", 2.31)


def test_a_steady_grid_has_no_turns(waters: Region, currents: Currents) -> None:
    assert in_grid(waters, currents, gridded([1.0] * 25, [1.0] * 25)).turns == ()


def test_in_an_area_a_grid_counts_while_it_lasts(waters: Region, currents: Currents) -> None:
    """From 06 to 10 the grid, which turns at 08; before and after it the area, slack at 03, 15 and 21."""
    grid = gridded([0, 0, 0], [1, 0, -1], hours=[6, 8, 10], lon=(-38.6, -38.5))
    found = in_grid(waters, currents, grid, "Knap Narrows", hourly=True)
    slacks = [turn.at for turn in found.turns if turn.kind == "slack"]
    assert len(slacks) == 4
    for slack, hour in zip(slacks, (3, 8, 15, 21), strict=True):
        assert abs(slack - datetime(2026, 7, 1, hour, tzinfo=UTC)) <= timedelta(seconds=18)
    assert found.hourly[7].drift_kn == pytest.approx(0.5)
    assert found.hourly[12].drift_kn == pytest.approx(2.0, abs=0.005)
    assert (found.area, found.file) == ("Knap Narrows", "a test.nc")
    assert any("06:00 UTC until Wed 1 Jul 2026 10:00 UTC: from a test.nc" in c for c in found.cautions)


def test_hours_that_a_grid_lacks_are_not_told(waters: Region, currents: Currents) -> None:
    east = np.array([1.0, 2, 1, np.nan, 1, 2, 1])
    found = in_grid(waters, currents, gridded(east, 0 * east), hourly=True, moment=datetime(2026, 7, 1, 3, tzinfo=UTC))
    assert [hour.at.hour for hour in found.hourly] == [0, 1, 2, 4, 5, 6]
    assert clocks(found) == [("fastest", "01:00"), ("fastest", "05:00")]
    assert found.moment is None
    assert any("02:00 UTC until Wed 1 Jul 2026 04:00 UTC: not known" in c for c in found.cautions)


def test_a_dock_beside_a_grid_is_told_the_nearest_position(waters: Region, currents: Currents) -> None:
    """0.02 degrees of longitude, 111,320 m each at the equator, times cos 44.7 are 0.8545 nmi on a sphere."""
    found = in_grid(waters, currents, gridded([2, 1, 0, 1], [0] * 4), "44.7 -38.18")
    assert found.distance_nmi == pytest.approx(0.855, abs=0.005)
    assert clocks(found) == [("slack", "02:00")]
    assert any("a test.nc at 44 42.00N 038 12.00W, 0.9 nmi away" in c for c in found.cautions)


def test_areas_as_a_list(currents: Currents) -> None:
    """S2 of 2 kn has 2 kn at the most, but for its satellites; what runs 1.5 kn all day has no slack."""
    knap, outer, gut = find_current_areas(currents, datetime(2026, 7, 1, 4, tzinfo=UTC))
    assert (knap.name, knap.flood_deg, knap.ebb_deg) == ("Knap Narrows", 40.0, 225.0)
    assert knap.strongest.speed_kn == pytest.approx(2.0, abs=0.01)
    assert outer.next_slack is not None
    assert abs(outer.next_slack - datetime(2026, 7, 1, 9, tzinfo=UTC)) <= timedelta(seconds=18)
    assert (gut.strongest.kind, gut.strongest.speed_kn, gut.next_slack) == ("flood", 1.5, None)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("Knap Narows", "did you mean Knap Narrows"),
        ("Twin", "2 places have this name"),
        ("44.3 -38.1", "no current is known within 2 nmi of this place"),
        ("44.3 -38.1", "the nearest is a position of a test.nc, 24."),
        ("44.3 -38.5", "the nearest is Knap Narrows, 24.0 nmi away"),
        ("46 -38", "outside the region's data"),
        ("44.75 -38.25", "--on: a test.nc holds no current then (got '2026-07-01')"),
    ],
)
def test_what_is_refused(waters: Region, currents: Currents, place: str, said: str) -> None:
    """0.4 degrees of latitude are 24.0 nmi."""
    late = gridded([1, 2, 1], [0, 0, 0], hours=[48, 49, 50])
    with pytest.raises(InputError) as caught:
        in_grid(waters, currents, late, place)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
