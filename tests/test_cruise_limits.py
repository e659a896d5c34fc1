"""Who has least in hand on a leg, what helps her, who could come to her: by hand on the equator, and on a demo cruise.

The boats made by hand burn 1 l/nmi at 5 and 10 kn, 1.6 at 15 and 2 at 20 kn; 200 l is full, 20 l the floor. Where
nothing else is said confidence is 0.5, so that the low figure is the mean.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from layers.plane import Plane
from routeplan.boats import build_boat
from routeplan.building import build_network
from routeplan.cruise_asked import CruiseAsked, CruiseBoat, Visit
from routeplan.cruise_buddies import Run, find_buddies, greatest_apart_nmi, may_follow, shared_nmi, ways_apart_nmi
from routeplan.cruise_days import CruiseDays, find_days
from routeplan.cruise_limits import find_limits, margins_l
from routeplan.cruise_telling import tell_boats, tell_legs
from routeplan.dock_choice import Chooser
from routeplan.fuel import full
from routeplan.margins import Margins
from routeplan.paces import common_speed_kn, group_rates
from routeplan.parties import build_parties
from routeplan.problem import FillUp, Hop, Label
from routeplan.tracks import Track

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from layers import Region
    from routeplan.boats import Boat

DEPART = datetime(2026, 7, 4, 8, tzinfo=UTC)
DEG = 1852.0 / 111319.49079327358  # [deg/nmi] along the equator: WGS 84's axis is 6378137 m
PLANE = Plane((-0.5, -0.5, 2.0, 0.5))
_SUMMED = 1e-3  # [l, nmi] a plan sums stretches between rounded bends, each to a few centimetres
PLACES = {0: "Tolvarrow", 1: "Mirrowick Pier Pump", 2: "Callowhythe", 3: "Wickmarrow"}


def _boat(name: str, **changes: Any) -> Boat:
    document = {
        "format": 1,
        "name": name,
        "fuel": "gasoline",
        "length_overall_m": 7.0,
        "draught_m": 0.5,
        "air_draught_m": 2.0,
        "cruising_speed_kn": 20,
        "no_wake_kn": 5,
        "display_units": "metric",
        "tank": {"capacity_l": 220, "unusable_l": 5, "full_mark_l": 200},
        "reserve": {"rule": "volume", "value": "15 l"},
        "burn": {"speed_kn": [5, 10, 15, 20], "burn_lph": [5, 10, 24, 40], "idle_lph": 1, "sd_share": 0.1},
        "instruments": {"aboard_sd_share": 0.04, "full_mark_sd_share": 0.01},
    }
    return build_boat(document, name).model_copy(update=changes)


def _track(nmi: float) -> Track:
    bends = np.array([(0.0, 0.0), (nmi * 1852.0, 0.0)])
    return Track(bends, ("leg",), nmi, nmi / 20, 2 * nmi, (), (), 20.0, np.array([[nmi]]), ())


class _Party:
    """Boats that start at x = 0 nmi and run straight on; what `Party` tells of them, made by hand."""

    def __init__(self, boats: Sequence[Boat], aboard_l: Sequence[float], **changes: Any) -> None:
        self.number, self.speed_kn, self.members = 1, 20.0, tuple(range(len(boats)))
        self.boats = tuple(SimpleNamespace(boat=b, name=b.name) for b in boats)
        open_water = shapely.MultiPolygon([shapely.box(-1e5, -1e5, 3e5, 1e5)])
        self.network = SimpleNamespace(
            boat=boats[0],
            terminals=[SimpleNamespace(place=SimpleNamespace(name=n)) for n in PLACES.values()],
            water=SimpleNamespace(speed_areas=(), gates=(), plane=PLANE, open=open_water),
        )
        self.row_of = {1: 7}
        self.sides = {7: SimpleNamespace(lpm=30.0)}
        self.asked = SimpleNamespace(berthing_h=0.25)
        self.aboard_l = aboard_l
        self.dock = SimpleNamespace(hours=None, largest_sale_l=None)
        self.way_out = True
        self.aside_nmi = 0.0
        vars(self).update(changes)
        self.rates = group_rates(boats, self.network, self.speed_kn)  # type: ignore[arg-type]

    def problem(self, _: int) -> Any:
        return SimpleNamespace(
            low_l=lambda mean_l, burned_l, _: mean_l - burned_l,
            floor_l=20.0,
            full_l=200.0,
            full_sd_l=2.0,
            docks={1: self.dock} if self.dock else {},
        )

    def escapes(self, _: int) -> Any:
        return SimpleNamespace(allows=lambda *_: self.way_out)

    def told(self, member: int, hops: Sequence[tuple[int, int, float]], fills: Sequence[int], at_h: Any = None) -> Any:
        """Run a boat over hops: place, stage after it, miles; she fills at hops of these numbers."""
        label = Label(0, 0, 0.0, 0, 0.0, self.aboard_l[member], 0.0, 8.0)
        legs, x, per_nmi = [], 0.0, self.rates[member].litres_per_nmi[0]
        for number, (place, stage, nmi) in enumerate(hops):
            depart_h = label.time_h if at_h is None else at_h[number]
            arrive_h = depart_h + nmi / self.speed_kn
            track = replace(_track(nmi), fuel_l=nmi * per_nmi, time_h=nmi / self.speed_kn)
            bends = np.array([(x, self.aside_nmi), (x + nmi, self.aside_nmi)]) * 1852.0
            legs.append(
                SimpleNamespace(
                    depart=DEPART + timedelta(hours=depart_h),
                    arrive=DEPART + timedelta(hours=arrive_h),
                    from_position=(x * DEG, 0.0),
                    to_position=((x + nmi) * DEG, 0.0),
                    distance_nmi=nmi,
                )
            )
            x += nmi
            burned_l = label.burned_l + nmi * per_nmi
            hop = Hop(replace(track, bends=bends), depart_h, arrive_h, 0.0, "")
            label = Label(place, stage, arrive_h, 0, 0.0, label.mean_l, burned_l, label.sd_l, label, hop)
            if number in fills:
                label = replace(label, mean_l=200.0, burned_l=0.0, sd_l=2.0, fill=FillUp(arrive_h, arrive_h, 0.0, 1.0))
        one = self.boats[member]
        return SimpleNamespace(
            boat=SimpleNamespace(boat=one.name, plan=SimpleNamespace(legs=tuple(legs))),
            passage=SimpleNamespace(boat=one.boat),
            label=label,
            party=self,
            member=member,
        )


def _days(dates: Sequence[int], by_h: float = float("inf")) -> CruiseDays:
    days = tuple(date(2026, 7, d) for d in dates)
    return CruiseDays(DEPART, days, (None,) * len(days), (0.0,) * len(days), (), (), (by_h,) * len(days))


def _plan(leave_h: Sequence[float], in_h: Sequence[float], docks: Sequence[Any] = ()) -> Any:
    return SimpleNamespace(table=SimpleNamespace(leave_h=tuple(leave_h), in_h=tuple((h,) for h in in_h), docks=docks))


def _legs(count: int) -> Any:
    ends = [("Tolvarrow", "Callowhythe"), ("Callowhythe", "Wickmarrow")][:count]
    return [SimpleNamespace(number=i + 1, from_=a, to=b) for i, (a, b) in enumerate(ends)]


def test_a_boat_alone_on_a_straight_leg() -> None:
    """60 nmi at 2 l/nmi out of 150 l leave 30 l, 10 over the floor, 5 nmi at 2 l/nmi. At 15 kn 96 l: 24 l and 1 h more.

    Filling up before leaving adds 50 l and takes no time, so it goes first.
    """
    party = _Party([_boat("Half Promise")], [150.0])
    told = [party.told(0, [(2, 1, 60.0)], [])]
    (limit,) = find_limits(told, _legs(1), _plan([0.0], [3.0]), _days([4]))
    assert (limit.leg, limit.number, limit.boat, limit.at) == (
        "Tolvarrow to Callowhythe",
        1,
        "Half Promise",
        "Callowhythe",
    )
    assert limit.margin_low_l == pytest.approx(10.0)
    assert limit.margin_nmi == pytest.approx(5.0)
    assert limit.help == (
        "start with 50.0 l more aboard, to the full mark: 50.0 l more in hand",
        "slow to 15 kn from Tolvarrow: 24.0 l more in hand, 1 h 00 min later",
    )
    assert limit.buddies == ()


@pytest.mark.parametrize(
    ("by_h", "burn_at_15_kn_lph", "aboard_l", "slows"),
    [
        (4.01, 24.0, 200.0, True),
        (3.99, 24.0, 200.0, False),  # the hour more ends after dark
        (99.0, 28.85, 200.0, True),  # 4.6 l saved: the fiftieth of a tank of 220 l is 4.4
        (99.0, 28.95, 200.0, False),  # 4.2 l saved, and the tenth of the 60 l in hand is 6
        (99.0, 29.4, 150.0, True),  # 2.4 l saved, the tenth of the 10 l in hand is 1, and of the tank a hundredth 2.2
        (99.0, 29.5, 150.0, False),  # 2 l saved
    ],
)
def test_slowing_down_is_offered_only_where_it_helps(
    by_h: float,
    burn_at_15_kn_lph: float,
    aboard_l: float,
    slows: bool,  # noqa: FBT001
) -> None:
    boat = _boat("Half Promise")
    burn = boat.burn.model_copy(update={"burn_lph": (5.0, 10.0, burn_at_15_kn_lph, 40.0)})
    party = _Party([boat.model_copy(update={"burn": burn})], [aboard_l])
    told = [party.told(0, [(2, 1, 60.0)], [])]
    (limit,) = find_limits(told, _legs(1), _plan([0.0], [3.0]), _days([4], by_h))
    assert any("slow to 15 kn" in words for words in limit.help) == slows


def test_what_cannot_be_held_is_skipped_and_both_slow_together() -> None:
    """The other boat can't hold 11 to 16 kn, so 10 kn it is: 60 l instead of 120, and 6 h instead of 3."""
    other = _boat("Loose Change")
    other = other.model_copy(update={"burn": other.burn.model_copy(update={"unsteady_kn": (11.0, 16.0)})})
    party = _Party([_boat("Half Promise"), other], [200.0, 199.0])
    told = [party.told(m, [(2, 1, 60.0)], []) for m in (0, 1)]
    limits = find_limits(told, _legs(1), _plan([0.0], [3.0]), _days([4]))
    assert limits[0].boat == "Loose Change"
    assert limits[0].help == ("if all slow to 10 kn from Tolvarrow: 60.0 l more in hand, 3 h 00 min later",)


def test_slowing_must_not_take_another_boat_under_her_floor() -> None:
    """Loose Change burns 3.2 l/nmi at 10 and 15 kn: 60 nmi would take 192 of her 200 l."""
    other = _boat("Loose Change")
    other = other.model_copy(update={"burn": other.burn.model_copy(update={"burn_lph": (16.0, 32.0, 48.0, 40.0)})})
    party = _Party([_boat("Half Promise"), other], [150.0, 200.0])
    told = [party.told(m, [(2, 1, 60.0)], []) for m in (0, 1)]
    (limit,) = find_limits(told, _legs(1), _plan([0.0], [3.0]), _days([4]))
    assert limit.boat == "Half Promise"
    assert not any("slow" in words for words in limit.help)


_HOPS = [(1, 0, 20.0), (2, 1, 10.0), (3, 2, 30.0)]  # the pump, Callowhythe, and on the next day Wickmarrow


def _two_days(party: _Party, served: Sequence[int] = (1,)) -> Any:
    """Half Promise passes the pump by, Loose Change fills there: legs leave at 0 and 24 h."""
    told = [party.told(0, _HOPS, [], (0.0, 2.0, 24.0)), party.told(1, _HOPS, [0], (0.0, 2.0, 24.0))]
    at = SimpleNamespace(row=7, leg=0, served=[SimpleNamespace(boat=b) for b in served], away_h=1.9)
    return find_limits(told, _legs(2), _plan([0.0, 24.0], [2.5, 25.5], [at]), _days([4, 5]))


def test_fuel_a_day_earlier_at_the_stop_of_the_others() -> None:
    """She comes to the pump with 110 of 150 l; filled there she ends with 200 - 80 = 120 l instead of 30.

    90 l at 30 l/min and a quarter of an hour alongside are 18 min; at 15 kn she burns 96 of the 120 l, an hour more.
    """
    party = _Party([_boat("Half Promise"), _boat("Loose Change")], [150.0, 160.0])
    first, second = _two_days(party)
    assert (first.boat, first.at) == ("Half Promise", "Callowhythe")
    assert first.margin_low_l == pytest.approx(150 - 60 - 20)
    assert second.margin_low_l == pytest.approx(10.0)
    assert second.help == (
        "start with 50.0 l more aboard, to the full mark: 50.0 l more in hand",
        "fill at Mirrowick Pier Pump too on day 1, a day earlier: takes 90.0 l, 90.0 l more in hand",
        "if all slow to 15 kn from Tolvarrow: 24.0 l more in hand, 1 h 00 min more under way",
    )
    assert [(b.boat, b.to, b.most_nmi, b.most_min) for b in second.buddies] == [
        ("Loose Change", "Half Promise", 0.0, 0.0)
    ]


@pytest.mark.parametrize(
    "changes",
    [
        {"dock": None},  # it doesn't suit her
        {"dock": SimpleNamespace(hours=None, largest_sale_l=89.0)},
        {"way_out": False},
    ],
)
def test_no_fuel_where_her_rules_forbid_it(changes: dict[str, Any]) -> None:
    party = _Party([_boat("Half Promise"), _boat("Loose Change")], [150.0, 160.0], **changes)
    assert not any("fill at" in words for words in _two_days(party)[1].help)


def test_least_at_the_pump_itself() -> None:
    """60 nmi to the pump leave 10 l in hand, as in the first test; the fill there is too late to help."""
    party = _Party([_boat("Half Promise")], [150.0])
    told = [party.told(0, [(1, 0, 60.0), (2, 1, 30.0)], [0])]
    (limit,) = find_limits(told, _legs(1), _plan([0.0], [4.5]), _days([4]))
    assert (limit.at, limit.help) == (
        "Mirrowick Pier Pump",
        (
            "start with 50.0 l more aboard, to the full mark: 50.0 l more in hand",
            "slow to 15 kn from Tolvarrow: 24.0 l more in hand, 1 h 00 min later",
        ),
    )


def test_no_fuel_where_others_of_another_party_stop() -> None:
    party = _Party([_boat("Half Promise"), _boat("Loose Change")], [150.0, 160.0])
    assert not any("fill at" in words for words in _two_days(party, served=(9,))[1].help)


def test_least_is_a_distance_and_not_a_volume() -> None:
    """The thirsty boat has 60 l in hand at 4 l/nmi, 15 nmi; the other 40 l at 2 l/nmi, 20 nmi."""
    thirsty = _boat("Loose Change")
    thirsty = thirsty.model_copy(
        update={"burn": thirsty.burn.model_copy(update={"burn_lph": (20.0, 40.0, 60.0, 80.0)})}
    )
    party = _Party([_boat("Half Promise"), thirsty], [120.0, 200.0])
    told = [party.told(m, [(2, 1, 30.0)], []) for m in (0, 1)]
    (limit,) = find_limits(told, _legs(1), _plan([0.0], [1.5]), _days([4]))
    assert limit.boat == "Loose Change"
    assert limit.margin_low_l == pytest.approx(60.0)
    assert limit.margin_nmi == pytest.approx(15.0)
    assert limit.help == ("stay with Half Promise, who has most to spare: 20 nmi",)


def test_margins_by_the_arrival_rule() -> None:
    """200 l of sd 3, 10 % and two sigma: after 40 l 200 - 40 - 2 x 5 = 150; filled, sd 0, after 50 l 200 - 50 - 10."""
    problem = SimpleNamespace(
        low_l=lambda mean, burned, sd: mean - burned - 2 * np.hypot(sd, 0.1 * burned),
        floor_l=20.0,
        full_l=200.0,
        full_sd_l=0.0,
    )
    start = Label(0, 0, 0.0, 0, 0.0, 200.0, 0.0, 3.0)
    there = Label(1, 0, 1.0, 0, 0.0, 200.0, 0.0, 0.0, start, Hop(_track(20.0), 0, 1, 0, ""), FillUp(1, 1, 0, 40.0))
    end = Label(2, 1, 2.0, 0, 0.0, 200.0, 50.0, 0.0, there, Hop(_track(25.0), 1, 2, 0, ""))
    assert margins_l(problem, end.path()) == pytest.approx([130.0, 120.0])  # type: ignore[arg-type]
    assert margins_l(problem, end.path(), fuel_l={2: 100.0}) == pytest.approx([130.0, 60.0])  # type: ignore[arg-type]


def test_where_a_boat_is() -> None:
    """10 nmi in the first hour, an hour alongside, 20 nmi in the third."""
    run = _run([(0.0, 1.0, 0.0, 10.0), (2.0, 3.0, 10.0, 30.0)])
    at, nmi = run.at(np.array([-1.0, 0.0, 0.5, 1.5, 2.25, 9.0]))
    assert nmi == pytest.approx([0.0, 0.0, 5.0, 10.0, 15.0, 30.0])
    assert at[:, 0] / DEG == pytest.approx([0.0, 0.0, 5.0, 10.0, 15.0, 30.0], abs=1e-6)
    assert at[:, 1] == pytest.approx(0.0, abs=1e-9)


def _run(stretches: Sequence[tuple[float, float, float, float]]) -> Run:
    begin, end, a, b = np.array(stretches).T
    zero = np.zeros(len(a))
    bends = np.append(a, b[-1])
    return Run(
        *(begin, end, np.column_stack([a * DEG, zero]), np.column_stack([b * DEG, zero]), b - a),
        bends=np.column_stack([bends, 0 * bends]) * 1852.0,
        bends_nmi=bends - bends[0],
    )


def test_how_far_ways_are_one() -> None:
    """Both begin with (0,0) (3,0); one goes on by (3,4), the other by (7,0); both end by (7,4) (9,4), in miles."""
    a = np.array([(0, 0), (3, 0), (3, 4), (7, 4), (9, 4)], dtype=float)
    b = np.array([(0, 0), (3, 0), (7, 0), (7, 4), (9, 4)], dtype=float)
    nmi = np.array([0, 3, 7, 11, 13], dtype=float)
    empty = np.zeros(1)
    one, two = (Run(empty, empty, np.zeros((1, 2)), np.zeros((1, 2)), empty, way * 1852.0, nmi) for way in (a, b))
    assert shared_nmi(one, two) == (3.0, 2.0)
    assert shared_nmi(one, one) == (13.0, 13.0)
    moved = replace(two, bends=b[::-1] * 1852.0 + 5000.0)
    assert shared_nmi(one, moved) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("helper", "other", "follow", "apart"),
    [
        (6.0, 9.0, True, 7.0),  # back to the fork at 4, and on
        (1.0, 3.0, False, 2.0),  # both before it
        (9.0, 3.0, False, 6.0),  # only the helper is beyond it
        (1.0, 9.0, False, np.inf),
    ],
)
def test_apart_along_ways_that_fork(helper: float, other: float, follow: bool, apart: float) -> None:  # noqa: FBT001
    found = ways_apart_nmi(np.array([helper]), np.array([other]), 4.0, may_follow=follow)
    assert found.tolist() == [apart]


def test_the_greatest_of_the_lesser() -> None:
    """Straight across counts at the first moment only: 6, 8 and 2; the third one isn't looked at."""
    looked: list[tuple[int, int]] = []

    def is_clear(rows: Any, at: Any) -> Any:
        looked.extend(zip(rows.tolist(), at.tolist(), strict=True))
        return at == 0

    found = greatest_apart_nmi(np.array([[10.0, 8.0, 2.0]]), np.array([[6.0, 7.0, 1.0]]), is_clear)
    assert found.tolist() == [8.0]
    assert looked == [(0, 0), (0, 1)]


_GRID = st.integers(1, 4).flatmap(
    lambda rows: st.lists(
        st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.booleans()), min_size=3, max_size=3),
        min_size=rows,
        max_size=rows,
    )
)


@given(_GRID)
def test_the_greatest_is_that_of_looking_at_every_line(grid: list[list[tuple[int, int, bool]]]) -> None:
    along, straight, clear = (np.array([[cell[k] for cell in row] for row in grid]) for k in range(3))
    found = greatest_apart_nmi(along.astype(float), straight.astype(float), lambda rows, at: clear[rows, at])
    assert found.tolist() == [max(min(a, s) if c else a for a, s, c in row) for row in grid]


def _apart(margins: Sequence[float], *, water: bool, aside_nmi: float = 0.0, **third: Any) -> Any:
    """Three boats that go by themselves, 40 nmi at 20, 10 and 10 kn; the third starts half an hour later.

    Her way is said to be another one if it bends aside of theirs; where she is by the clock stays as it is.
    """
    told = []
    for i, (speed_kn, at_h) in enumerate([(20.0, 0.0), (10.0, 0.0), (10.0, 0.5)]):
        party = _Party([_boat(f"Boat {i}")], [200.0], number=i + 1, speed_kn=speed_kn, members=(i,))
        if i == 2:
            party.aside_nmi = aside_nmi
            party.boats[0].boat = party.boats[0].boat.model_copy(update=third)
        told.append(party.told(0, [(2, 1, 40.0)], [], (at_h,)))
        if not water:
            party.network.water.open = shapely.MultiPolygon([shapely.box(0, 9e4, 1, 9.1e4)])
    return find_buddies(told, _plan([0.0], [4.5]), _days([4]), np.array([margins]), [1])[0]


@pytest.mark.parametrize("water", [True, False])
def test_who_is_how_far_off(water: bool) -> None:  # noqa: FBT001
    """After 2 h the fast boat is in, the slow ones at 20 and 15 nmi: 20 and 25 apart; these are 5 apart all along.

    All go one way, so it is as far along it as straight across.
    """
    found = _apart([60.0, 60.0, 60.0], water=water)
    assert [(b.boat, b.to) for b in found] == [
        ("Boat 2", "Boat 1"),
        ("Boat 0", "Boat 1"),
        ("Boat 1", "Boat 0"),
        ("Boat 1", "Boat 2"),
    ]
    assert [b.most_nmi for b in found] == pytest.approx([5.0, 20.0, 20.0, 5.0], abs=1e-3)
    assert [b.most_min for b in found] == pytest.approx([30.0, 60.0, 120.0, 30.0], abs=0.01)


@pytest.mark.parametrize(
    ("water", "draught_m", "most_nmi"), [(True, 0.5, 5.0), (False, 0.5, 115 / 3), (True, 0.9, 5.0)]
)
def test_ways_of_their_own(water: bool, draught_m: float, most_nmi: float) -> None:  # noqa: FBT001
    """Straight across they are 5 nmi apart, be she deep or not; else they meet where the leg begins or ends.

    At t h that is 10 t + (10 t - 5) nmi over the beginning and 85 - 20 t over the end: the lesser is greatest, 38 1/3,
    at the looks after 2 h 10 min and 2 h 20 min.
    """
    found = _apart([100.0, 100.0, 100.0], water=water, aside_nmi=1.0, draught_m=draught_m)
    (buddy,) = (b for b in found if (b.boat, b.to) == ("Boat 2", "Boat 1"))
    assert buddy.most_nmi == pytest.approx(most_nmi, abs=1e-3)


def test_no_way_over_land_for_a_boat_too_deep_for_the_way_of_the_other() -> None:
    found = _apart([100.0, 100.0, 100.0], water=False, aside_nmi=1.0, draught_m=0.9)
    assert all(b.boat != "Boat 2" for b in found)
    assert ("Boat 0", "Boat 2") in {(b.boat, b.to) for b in found}  # the others can go where she goes


@pytest.mark.parametrize(("margin", "counts"), [(39.9, False), (40.1, True)])
def test_a_helper_must_get_there_and_back(margin: float, counts: bool) -> None:  # noqa: FBT001
    found = _apart([margin, 60.0, 60.0], water=False)
    assert any(b.boat == "Boat 0" and b.to == "Boat 1" for b in found) == counts


def test_who_can_go_where_another_goes() -> None:
    deep = SimpleNamespace(
        passage=SimpleNamespace(boat=_boat("Deep", draught_m=0.9)), party=SimpleNamespace(network=object())
    )
    shoal = SimpleNamespace(
        passage=SimpleNamespace(boat=_boat("Shoal")),
        party=SimpleNamespace(network=SimpleNamespace(boat=_boat("Shoal"))),
    )
    assert not may_follow(deep, shoal)  # type: ignore[arg-type]
    assert may_follow(shoal, shoal)  # type: ignore[arg-type]
    tall = SimpleNamespace(
        passage=SimpleNamespace(boat=_boat("Tall", air_draught_m=9.0)), party=SimpleNamespace(network=object())
    )
    assert not may_follow(tall, shoal)  # type: ignore[arg-type]
    same = SimpleNamespace(passage=tall.passage, party=shoal.party)
    assert may_follow(same, shoal)  # type: ignore[arg-type]


@pytest.mark.slow
@pytest.mark.parametrize("pace", ["together", "own"])
def test_a_demo_cruise(demo: Region, demo_boats: dict[str, Boat], cache_with_demo: Path, pace: Any) -> None:
    """Each limit is the least over all boats of what their own plans say, and who is near could come and go back."""
    kinds = [demo_boats[name] for name in ("Quick Errand", "Salt Biscuit", "Second Opinion")]
    boats = [kinds[i % 3].model_copy(update={"name": f"{kinds[i % 3].name} {i}"}) for i in range(5)]
    asked = CruiseAsked(
        depart=datetime(2026, 7, 4, 8, 30, tzinfo=UTC),
        visits=tuple(
            Visit(place=p, night=p == "Wickmarrow")
            for p in ("Tolvarrow", "Callowhythe", "Wickmarrow", "Tamblewick", "Tolvarrow")
        ),
        boats=tuple(CruiseBoat(name=b.name, boat=b, aboard=full(b), file="") for b in boats),
        pace=pace,
    )
    groups = [list(range(5))] if pace == "together" else [[i] for i in range(5)]
    speeds = [common_speed_kn(boats, None)] if pace == "together" else [b.cruising_speed_kn for b in boats]
    build = partial(build_network, demo, cache=cache_with_demo)
    parties = build_parties(asked, demo, groups, speeds, date(2026, 7, 1), build, Margins())
    places = [parties[0].network.terminals[v].place.position for v in parties[0].visits]
    days = find_days(asked, places, ZoneInfo(str(demo.zone)))
    chooser = Chooser(parties, days)
    choice = chooser.choose()
    assert choice is not None
    told = tell_boats(parties, choice.plan, [0.0] * len(parties), [""] * len(parties), ())
    legs = tell_legs(parties, choice.plan, told, days)
    limits = find_limits(told, legs, choice.plan, days)
    assert [limit.number for limit in limits] == [1, 2, 3, 4]
    second = timedelta(seconds=1)
    for leg, limit in zip(legs, limits, strict=True):
        by_boat = {}
        for one, boat in zip(told, boats, strict=True):
            plan = one.boat.plan
            last = max((s for s in plan.legs if s.arrive <= leg.last_in + second), key=lambda s: s.arrive)
            low_l = [last.aboard_after_low_l]
            low_l += [s.aboard_low_l for s in plan.stops if leg.depart < s.arrive <= leg.last_in + second]
            speed_kn = one.passage.speed_kn
            margin_l = min(low_l) - boat.floor_l
            by_boat[boat.name] = (margin_l / (boat.burn_lph(speed_kn) / speed_kn), margin_l)
        least_nmi, least_l = min(by_boat.values())
        assert limit.margin_nmi == pytest.approx(least_nmi, abs=_SUMMED)
        assert limit.margin_low_l == pytest.approx(least_l, abs=_SUMMED)
        assert by_boat[limit.boat][0] == pytest.approx(least_nmi, abs=_SUMMED)
        assert len(limit.help) <= 3
        for buddy in limit.buddies:
            assert by_boat[buddy.boat][0] >= 2 * buddy.most_nmi - _SUMMED
            assert pace == "own" or buddy.most_nmi == 0
    last_l = {one.boat.boat: one.boat.plan.aboard_on_arrival_low_l for one in told}[limits[-1].boat]
    assert limits[-1].margin_low_l <= last_l - next(b.floor_l for b in boats if b.name == limits[-1].boat) + _SUMMED
