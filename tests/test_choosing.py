"""Which plans are named and recommended, why each stop is there, and part fills and slower hops: worked by hand."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest
from oracles.small_world import NMI_M, Row, box, dock, make_boat, make_region, waypoint

from layers.errors import InputError
from routeplan.building import build_network
from routeplan.fuel import FuelAboard
from routeplan.passage import Passage, find_passage
from routeplan.plans import NoPassageError
from routeplan.trips import Trip

if TYPE_CHECKING:
    from layers import Region
    from routeplan.boats import Boat

EIGHT = datetime(2026, 7, 1, 8, tzinfo=UTC)
FAR_LAND = (box(17000, 25000, 17100, 25100), {"name": "Rock"})
MILES = 3e-4  # relative: flat miles against the ellipsoid's


def aboard(mean_l: float) -> FuelAboard:
    return FuelAboard(mean_l=mean_l, sd_l=0.0, how="stated")


def on_the_line(miles: float, name: str, **columns: object) -> Row:
    """Put a dock so many miles east of the start, confirmed of late, with a pump of 60 l a minute."""
    return dock((miles - 9) * NMI_M, 0, name, confirmed_on="2026-06-01", pump_lpm=60.0, **columns)


def line(*docks: Row) -> Region:
    """Lay Aye and Bee 18 nmi apart over open water, docks between and beside them."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(9 * NMI_M, 0, "Bee")]
    return make_region(land=[FAR_LAND], docks=list(docks), waypoints=ends)


def plan(region: Region, boat: Boat, mean_l: float, *, every: bool = False, **trip: Any) -> Passage:
    """Plan at the plain rule of thumb, without berthing time: 1 l a mile at 20 kn."""
    asked = {"start": "Aye", "finish": "Bee", "depart": EIGHT, "aboard": aboard(mean_l)}
    careless = {"confidence": 0.5, "closed_dock": "off", "berthing_h": 0.0}
    return find_passage(build_network(region, boat), Trip(**(asked | careless | trip)), now=EIGHT, every=every)


TWO_PRICES = (
    on_the_line(6, "Dear", price_gasoline_per_l=2.0),
    on_the_line(10, "Cheap", price_gasoline_per_l=1.0, opening_hours="09:00-20:00"),
)


def test_soonest_and_cheapest_by_hand() -> None:
    """20 l, reserve 10, tank 30: at Dear with 14, a fill of 16: EUR 32. At Cheap with 10, 20 l: EUR 20, from 09:00.

    Cheap is reached at 08:30 and waited for: 09:00:20 off, 8 nmi on at 09:24:20. Dear: 08:54:16.
    """
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    passage = plan(line(*TWO_PRICES), boat, 20.0)
    assert [s.dock for s in passage.soonest.stops] == ["Dear"]
    assert passage.soonest.cost == pytest.approx(32, rel=MILES)
    assert passage.soonest.time_h == pytest.approx(0.9 + 16 / 3600, rel=MILES)
    assert [s.dock for s in passage.cheapest.stops] == ["Cheap"]
    assert passage.cheapest.cost == pytest.approx(20, rel=MILES)
    assert passage.cheapest.time_h == pytest.approx(1 + 20 / 3600 + 0.4, rel=MILES)
    assert passage.recommended is passage.soonest
    assert "EUR 12.00 less for fuel" in passage.cheapest.difference
    assert "waits 30 min at Cheap" in passage.cheapest.difference
    assert plan(line(*TWO_PRICES), boat, 20.0, prefer="cheapest").recommended.cost == pytest.approx(20, rel=MILES)


def test_the_next_best_dock_is_told_with_what_it_costs() -> None:
    """Without Dear: Cheap, 30 min and 4 s later, EUR 12 cheaper, the least margin 4 l smaller: 10 for 14 l aboard."""
    passage = plan(line(*TWO_PRICES), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0)
    (stop,) = passage.soonest.stops
    assert stop.instead is not None
    assert stop.instead.stops == ("Cheap",)
    assert stop.instead.later_h == pytest.approx(0.5 + 4 / 3600, abs=1e-3)
    assert stop.instead.dearer == pytest.approx(-12, abs=0.02)
    assert stop.instead.margin_less_l == pytest.approx(4, abs=0.02)
    assert "next best without it: Cheap, 30 min later, EUR 12.0" in stop.why
    # from Dear 12 miles are left of 30 l, from Cheap 8
    assert re.search(r"cheaper, least margin (4.0|3.9) l smaller, 4.0 l more aboard at the end$", stop.why)
    assert stop.instead.aboard_more_l == pytest.approx(4, abs=0.02)


def test_a_dock_that_no_plan_can_do_without_is_said_to_be_that() -> None:
    passage = plan(line(TWO_PRICES[0]), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0)
    (stop,) = passage.soonest.stops
    assert stop.instead is None
    assert stop.why.endswith("no plan keeps the rules without this dock")


def test_part_fills_by_hand() -> None:
    """20 l, 18 to burn, 10 to keep: 8 l lack. At Cheap for EUR 8, if an hour is worth nothing; at EUR 20 at Dear.

    Cheap costs half an hour less the 8 s that pumping takes: EUR 10 more in time, 8 less in fuel.
    """
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    for per_h, name, cost in ((None, "Cheap", 8.0), (0.0, "Cheap", 8.0), (15.0, "Cheap", 8.0), (20.0, "Dear", 16.0)):
        passage = plan(line(*TWO_PRICES), boat, 20.0, fill="best", price_of_time_per_h=per_h)
        (stop,) = passage.recommended.stops
        assert (passage.recommended.name, stop.dock, stop.to_mark) == ("best", name, False)
        assert stop.take_l == pytest.approx(8, abs=18 * MILES)
        assert stop.cost == pytest.approx(cost, abs=36 * MILES)
        assert passage.recommended.least_margin_l == pytest.approx(0, abs=1e-6)
    # the least that the rules demand, and time first: Dear, which is open
    passage = plan(line(*TWO_PRICES), boat, 20.0, fill="enough")
    assert [(s.dock, round(s.take_l, 1)) for s in passage.recommended.stops] == [("Dear", 8.0)]


def test_a_largest_sale_is_respected_by_part_fills() -> None:
    """8 l lack; Cheap sells 5 at the most: 5 there, 3 at Dear before."""
    docks = (TWO_PRICES[0], on_the_line(10, "Cheap", price_gasoline_per_l=1.0, largest_sale_l=5.0))
    passage = plan(line(*docks), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0, fill="best")
    assert [(s.dock, round(s.take_l, 1)) for s in passage.recommended.stops] == [("Dear", 3.0), ("Cheap", 5.0)]
    assert passage.recommended.cost == pytest.approx(3 * 2 + 5, abs=0.03)


def test_the_cheapest_needs_prices() -> None:
    """No price at all is bad input; one dock without is left out by name; a plan that needs it can't be told."""
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    nameless = on_the_line(6, "Nameless", price_gasoline_per_l=None)
    for trip in ({"prefer": "cheapest"}, {"fill": "best"}, {"fill": "enough"}):
        with pytest.raises(InputError, match="no dock that suits Paper Boat states a price for gasoline"):
            plan(line(nameless), boat, 20.0, **trip)
    passage = plan(line(nameless, TWO_PRICES[1]), boat, 20.0, prefer="cheapest")
    assert [s.dock for s in passage.recommended.stops] == ["Cheap"]
    assert "Left out as their price isn't known: Nameless." in passage.cautions
    far = dock(9 * NMI_M, -12 * NMI_M, "Far", confirmed_on="2026-06-01", price_gasoline_per_l=1.0)
    with pytest.raises(InputError, match="docks whose price is known"):
        plan(line(nameless, far), boat, 20.0, prefer="cheapest")


def test_a_plan_whose_price_is_not_known_is_reckoned_at_the_dearest() -> None:
    """It is told without a cost, and never as the cheapest."""
    nameless = on_the_line(8, "Nameless", price_gasoline_per_l=None)
    passage = plan(line(nameless, *TWO_PRICES), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0, every=True)
    unpriced = [p for p in passage.plans if any(s.dock == "Nameless" for s in p.stops)]
    assert all(p.cost is None and "cheapest" not in (p.name, *p.also) for p in unpriced)
    assert [s.dock for s in passage.cheapest.stops] == ["Cheap"]


def test_all_plans_are_told_on_request_and_near_ones_are_not_told_twice() -> None:
    """Docks 6, 6.02 and 10 nmi on. A mile of 0.02 is 3.6 s and 4 cents: next to the same plan."""
    docks = (TWO_PRICES[0], on_the_line(6.02, "Beside", price_gasoline_per_l=1.99), TWO_PRICES[1])
    few = plan(line(*docks), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0)
    all_ = plan(line(*docks), make_boat(capacity_l=30.0, full_mark_l=30.0), 20.0, every=True)
    assert len(all_.plans) > len(few.plans)
    assert {p.name for p in all_.plans if p.name != "in-between"} == {p.name for p in few.plans}
    assert len({(p.time_h, p.cost, len(p.stops), p.least_margin_l) for p in all_.plans}) == len(all_.plans)
    told = few.others_told
    assert len(told) <= 2
    assert not any([s.dock for s in p.stops] in (["Dear"], ["Beside"]) for p in told)


SLOW = {"speed_kn": (5.0, 10.0, 16.0, 20.0), "burn_lph": (2.5, 9.0, 12.0, 20.0), "unsteady_kn": (6.0, 11.0)}


def slow_boat(**changes: Any) -> Boat:
    """Make a boat of 1 l a mile at 20 kn, 0.75 at 16, and 0.5 at 5: over the hump between 6 and 11 kn."""
    burn = make_boat().burn.model_copy(update=SLOW)
    return make_boat(**changes).model_copy(update={"burn": burn})


def test_what_slowing_down_buys_is_told() -> None:
    """24 l, 10 to keep: 18 nmi take 18 l at 20 kn, 13.5 at 16: no stop, 24 - 13.5 - 10 = 0.5 l to spare.

    18/16 h against 18/20 h and a fill of 12 l and a quarter of an hour alongside: 1.5 min earlier.
    """
    passage = plan(line(TWO_PRICES[0]), slow_boat(capacity_l=30.0, full_mark_l=30.0), 24.0, berthing_h=0.25)
    (run,) = passage.soonest.slower
    assert (run.from_, run.to, run.skips, run.speed_kn) == ("Aye", "Bee", "Dear", 16.0)
    assert run.margin_l == pytest.approx(0.5, abs=0.01)
    assert run.later_h == pytest.approx(18 / 16 - (0.9 + 0.25 + 12 / 3600), abs=1e-3)


def test_each_hop_may_be_run_slower_on_request() -> None:
    """By hand as above: the plan without a stop runs at 16 kn; a speed over the hump, 10 kn, is never planned."""
    region, boat = line(TWO_PRICES[0]), slow_boat(capacity_l=30.0, full_mark_l=30.0)
    passage = plan(region, boat, 24.0, slower=True, every=True)
    assert passage.fewest_stops.stops == ()
    assert passage.fewest_stops.speeds_kn == (16.0,)
    assert passage.fewest_stops.time_h == pytest.approx(18 / 16, rel=MILES)
    assert passage.soonest.speeds_kn == (20.0, 20.0)
    used = {v for p in passage.plans for v in p.speeds_kn}
    assert used <= {20.0, 16.0, 5.0}
    assert any(leg.speed_kn == 16.0 for leg in passage.fewest_stops.legs)
    # the named plans are the same where the whole set isn't asked for
    quick = plan(region, boat, 24.0, slower=True)
    for name in ("soonest", "cheapest", "fewest_stops", "most_margin"):
        few, many = getattr(quick, name), getattr(passage, name)
        assert (few.time_h, few.cost, len(few.stops)) == pytest.approx((many.time_h, many.cost, len(many.stops)))


def test_the_passage_may_begin_with_a_fill() -> None:
    """12 l at Start Pump, tank 30: 18 l to the mark, 18 s, EUR 36; then 18 nmi without a stop."""
    docks = [dock(-9 * NMI_M, 0, "Start Pump", confirmed_on="2026-06-01", pump_lpm=60.0, price_gasoline_per_l=2.0)]
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    passage = plan(line(*docks), boat, 12.0, start="Start Pump", fill_first=True)
    (stop,) = passage.recommended.stops
    assert (stop.dock, stop.keeps_closed_dock_rule, stop.alternate) == ("Start Pump", True, None)
    assert stop.aboard_l == 12.0
    assert stop.take_l == pytest.approx(18)
    assert passage.recommended.cost == pytest.approx(36)
    assert passage.recommended.time_h == pytest.approx(0.9 + 18 / 3600, rel=MILES)
    with pytest.raises(NoPassageError):
        plan(line(*docks), boat, 12.0, start="Start Pump")
    with pytest.raises(InputError, match="Bee sells no fuel"):
        plan(line(*docks), boat, 12.0, start="Bee", finish="Aye", fill_first=True)
    shallow = dock(-9 * NMI_M, 0, "Start Pump", depth_m=0.5)
    with pytest.raises(InputError, match="can't fill at Start Pump: too shallow"):
        plan(line(shallow, TWO_PRICES[0]), boat, 20.0, start="Start Pump", fill_first=True)


def test_docks_that_nobody_has_confirmed_can_be_left_out() -> None:
    stale = dock(-1 * NMI_M, 0, "Old Pump", confirmed_on="2020-06-01", pump_lpm=60.0)
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    assert [s.dock for s in plan(line(stale), boat, 20.0).recommended.stops] == ["Old Pump"]
    assert plan(line(stale), boat, 20.0).recommended.leans_on
    with pytest.raises(NoPassageError) as caught:
        plan(line(stale), boat, 20.0, confirmed_docks_only=True)
    assert any("only confirmed docks are wanted" in idea for idea in caught.value.refusal.try_)


def test_no_plan_under_the_closed_dock_rule_offers_the_best_without_it() -> None:
    """25 l for 28 nmi: the one dock 9 nmi on is reached with 16; closed, Bee lies 19 nmi further: 3 l too far."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(19 * NMI_M, 0, "Bee")]
    region = make_region(half_deg=0.6, land=[FAR_LAND], docks=[on_the_line(9, "Lone")], waypoints=ends)
    with pytest.raises(NoPassageError) as caught:
        plan(region, make_boat(), 25.0, closed_dock="on")
    refusal = caught.value.refusal
    assert refusal.breaks_at == ("Lone",)
    assert refusal.short_l == pytest.approx(3, abs=19 * MILES)
    assert "closed-dock rule" in refusal.why
    assert refusal.offered is not None
    assert [s.dock for s in refusal.offered.stops] == ["Lone"]
    assert not refusal.offered.recommended
    assert refusal.offered.closed_dock == "off"
    assert not refusal.offered.stops[0].keeps_closed_dock_rule
    # 3 l more make it, as one of the ideas says; strictly, 10 l more than that
    assert plan(region, make_boat(), 28.1, closed_dock="on").recommended.stops[0].keeps_closed_dock_rule
    with pytest.raises(NoPassageError) as caught:
        plan(region, make_boat(), 28.1, closed_dock="strict")
    assert any(idea.startswith("--closed-dock on") for idea in caught.value.refusal.try_)
    assert plan(region, make_boat(), 38.1, closed_dock="strict").recommended.closed_dock == "strict"


def test_options_that_contradict_one_another() -> None:
    with pytest.raises(InputError, match="--price-of-time"):
        plan(line(), make_boat(), 40.0, price_of_time_per_h=10.0)
    with pytest.raises(InputError, match="--prefer"):
        plan(line(), make_boat(), 40.0, fill="best", prefer="soonest")


# Alternates: when they are judged, and which is told


def beside(miles: float, off: float, name: str, **columns: object) -> Row:
    """Put a dock so many miles east of the start and off the line."""
    return dock((miles - 9) * NMI_M, off * NMI_M, name, **({"confirmed_on": "2026-06-01", "pump_lpm": 60.0} | columns))


def test_who_waits_for_a_dock_finds_it_closed_only_then() -> None:
    """Lone opens at 12:00, reached at 08:27. Other, 3 miles off, shuts at 11:00: it opens again the next morning."""
    docks = (
        on_the_line(9, "Lone", opening_hours="12:00-20:00"),
        beside(9, 3, "Other", opening_hours="06:00-11:00", largest_sale_l=30.0),
    )
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    passage = plan(line(*docks), boat, 21.0, closed_dock="on", every=True)
    lone = next(p for p in passage.plans if [s.dock for s in p.stops] == ["Lone"])
    (stop,) = lone.stops
    assert stop.alternate is not None
    assert stop.begin == datetime(2026, 7, 1, 12, tzinfo=UTC)
    # judged from 08:27 it would be Other, where she could fill from 08:36 on
    assert stop.alternate.name == "Bee"
    assert stop.alternate.arrive > stop.begin


@pytest.mark.parametrize(
    ("opens", "keeps"), [("Jul 06-Aug 31 08:00-18:00", True), ("Jul 20-Aug 31 08:00-18:00", False)]
)
def test_a_dock_out_of_season_is_no_alternate(opens: str, keeps: bool) -> None:  # noqa: FBT001
    """From the dock 9 miles on Bee is too far; Other opens within a week of 1 July, or doesn't."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(19 * NMI_M, 0, "Bee")]
    docks = [on_the_line(9, "Lone"), beside(9, 3, "Other", opening_hours=opens)]
    region = make_region(half_deg=0.6, land=[FAR_LAND], docks=docks, waypoints=ends)
    passage = plan(region, make_boat(), 25.0, closed_dock="on", every=True)
    at_lone = [p for p in passage.plans if [s.dock for s in p.stops] == ["Lone"]]
    assert bool(at_lone) == keeps
    if keeps:
        alternate = at_lone[0].stops[0].alternate
        assert at_lone[0].stops[0].keeps_closed_dock_rule
        assert alternate is not None
        assert alternate.wait_h > 4 * 24
        assert any("if closed, Other opens" in caution for caution in at_lone[0].cautions)


def test_the_alternate_told_is_the_one_where_she_can_fill_soonest() -> None:
    """Two docks aside: 2 miles off from 09:30, or 8 miles off at once: at 08:27 on, 08:33 and 08:51 there."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(19 * NMI_M, 0, "Bee")]
    near = beside(9, 2, "Near", opening_hours="09:30-20:00")
    for far, told in ((beside(9, -8, "Far"), "Far"), (beside(9, -8, "Far", confirmed_on="2020-01-01"), "Near")):
        region = make_region(half_deg=0.6, land=[FAR_LAND], docks=[on_the_line(9, "Lone"), near, far], waypoints=ends)
        passage = plan(region, make_boat(), 25.0, closed_dock="on", every=True)
        stop = next(p for p in passage.plans if [s.dock for s in p.stops] == ["Lone"]).stops[0]
        assert stop.alternate is not None
        assert stop.alternate.name == told


def test_a_part_fill_that_ends_at_the_mark_is_told_as_one() -> None:
    """Tank 24, 10 to keep: 14 miles from full. 20 l, 32 miles, docks at 9 and 20: the first has to fill her up."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(23 * NMI_M, 0, "Bee")]
    docks = [on_the_line(9, "First"), on_the_line(23, "Second")]
    region = make_region(half_deg=0.6, land=[FAR_LAND], docks=docks, waypoints=ends)
    boat = make_boat(capacity_l=24.01, full_mark_l=24.01)
    first, second = plan(region, boat, 20.0, fill="best").recommended.stops
    assert (first.dock, first.to_mark) == ("First", True)
    assert (second.dock, second.to_mark) == ("Second", False)


def test_a_first_fill_that_the_dock_can_not_sell_is_said() -> None:
    """12 l aboard, 18 to the mark, 10 are sold: part fills take what they need, 16."""
    docks = [dock(-9 * NMI_M, 0, "Start Pump", confirmed_on="2026-06-01", largest_sale_l=17.0)]
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    with pytest.raises(
        NoPassageError, match=r"Start Pump sells 17\.0 l at the most, 18\.0 l would be needed"
    ) as caught:
        plan(line(*docks), boat, 12.0, start="Start Pump", fill_first=True)
    assert any("--fill best" in idea for idea in caught.value.refusal.try_)
    best = plan(line(*docks), boat, 12.0, start="Start Pump", fill_first=True, fill="best").recommended
    assert best.stops[0].take_l == pytest.approx(16, abs=18 * MILES)


def test_the_start_may_be_filled_at_again() -> None:
    """Tank 30, 10 to keep. Out 9 miles and back with 12 l left; 8 more to West need another fill at the start."""
    docks = [dock(-9 * NMI_M, 0, "Start Pump", confirmed_on="2026-06-01", pump_lpm=60.0)]
    ends = [waypoint(0, 0, "East"), waypoint(-9 * NMI_M, 8 * NMI_M, "North")]
    region = make_region(half_deg=0.4, land=[FAR_LAND], docks=docks, waypoints=ends)
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    for fill in ("full", "best", "enough"):
        trip = {"start": "Start Pump", "finish": "North", "via": ("East",), "fill_first": True, "fill": fill}
        stops = plan(region, boat, 12.0, **trip).recommended.stops
        assert [s.dock for s in stops][:1] == ["Start Pump"]
        assert sum(s.dock == "Start Pump" for s in stops) == 2


def test_a_dock_without_a_price_is_still_somewhere_to_go_to() -> None:
    """From Lone Bee is too far on the reserve; Other, 3 miles off, states no price: no stop for who counts money."""
    ends = [waypoint(-9 * NMI_M, 0, "Aye"), waypoint(19 * NMI_M, 0, "Bee")]
    docks = [on_the_line(9, "Lone"), beside(9, 3, "Other", price_gasoline_per_l=None)]
    region = make_region(half_deg=0.6, land=[FAR_LAND], docks=docks, waypoints=ends)
    for trip in ({"prefer": "cheapest"}, {"fill": "best"}, {"fill": "enough"}):
        (stop,) = plan(region, make_boat(), 25.0, closed_dock="on", **trip).recommended.stops
        assert (stop.dock, stop.keeps_closed_dock_rule) == ("Lone", True)
        assert stop.alternate is not None
        assert stop.alternate.name == "Other"


def test_no_more_is_asked_for_than_a_dock_sells() -> None:
    """Bee sells nothing; the next fuel is a mile on, three litres at a time."""
    little = dock(10 * NMI_M, 0, "Little", confirmed_on="2026-06-01", largest_sale_l=3.0)
    onward = plan(line(little), make_boat(), 60.0).recommended.onward
    assert onward is not None
    assert (onward.name, onward.take_l) == ("Little", 3.0)


def test_known_docks_are_not_recommended_at_any_price() -> None:
    """8 l at EUR 1 from a dock that nobody has confirmed for years, or at EUR 10, or at EUR 1.05."""
    old = dock(-3 * NMI_M, 0, "Old", confirmed_on="2019-06-01", price_gasoline_per_l=1.0)
    boat = make_boat(capacity_l=30.0, full_mark_l=30.0)
    for price, name in ((10.0, "Old"), (1.05, "Sure")):
        sure = on_the_line(7, "Sure", price_gasoline_per_l=price)
        passage = plan(line(old, sure), boat, 20.0, fill="best")
        assert [s.dock for s in passage.recommended.stops] == [name]
        assert {p.name for p in passage.plans} == {"best", "known-docks"}
