"""Who fills where on a party's way, against every choice there is."""

from __future__ import annotations

import math
from random import Random
from typing import TYPE_CHECKING

import pytest
from oracles.every_dock_set import Together
from posed_groups import Draw, days_of, draw_cruise, legs_of, parties_of, rows_of

from routeplan.party_routes import Router
from routeplan.who_fills import choose_who_fills

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from oracles.every_dock_set import Leg

    from routeplan.who_fills import Fill

A_FILL_H = 1e-4  # [h] a fill more is taken where that spares more than this
ROUNDING_H = 1e-5


def told_again(
    together: Together, legs: Sequence[Leg], fills: Sequence[Sequence[Fill]], most_h: Mapping[int, float]
) -> tuple[float, int]:
    """[h] Run a choice again by the rules, and tell hours at pumps and fills."""
    tanks, hours, stop = [s.first for s in together.skippers], 0.0, 0
    for leg in legs:
        tanks = [tank._replace(burned=tank.burned + leg.run.litres[m]) for m, tank in enumerate(tanks)]
        assert all(s.arrives(tank) for s, tank in zip(together.skippers, tanks, strict=True))
        if not leg.stops:
            continue
        work = []
        for fill in fills[stop]:
            skipper, tank = together.skippers[fill.member], tanks[fill.member]
            assert skipper.may_fill(leg.place, leg.stage, tank)
            assert fill.take_l == pytest.approx(skipper.take_l(tank))
            assert fill.margin_l == pytest.approx(skipper.low_l(tank) - skipper.craft.floor_l, abs=1e-6)
            work.append((skipper.craft.fuel, skipper.lasts_h(leg.place, tank)))
            tanks[fill.member] = skipper.full
        lies_h = together.puzzle.quays[leg.place].lies_h(work)
        assert lies_h <= most_h.get(stop, math.inf) + ROUNDING_H
        hours, stop = hours + lies_h, stop + 1
    return hours, sum(map(len, fills))


def check_choice(seed: int) -> int:
    """Hold the choice against all choices, on the way that the planner takes and with less time at its stops."""
    rng = Random(f"who {seed}")  # noqa: S311
    size = rng.randint(2, 4)
    what = Draw(sizes=(size,), docks=(3, 4), visits=(2, 3), both_fuels=True, need=(0.6, 1.4))
    puzzle = draw_cruise(rng, what)
    (party,), together = parties_of(puzzle), Together(puzzle, puzzle.companies[0])
    router, docks = Router(party, days_of(puzzle)), sorted(puzzle.quays)
    first = router.find(rows_of(puzzle, docks))
    if first is None:
        return 0
    routes = [first]
    everywhere = router.find(rows_of(puzzle, docks), must=rows_of(puzzle, docks[:3]))  # more stops to choose from
    if everywhere is not None:
        routes.append(everywhere)
    checked = 0
    for route in routes:
        legs = legs_of(puzzle, party, route)
        for most_h in ({}, {stop: rng.uniform(0.3, 1.5) for stop in range(len(route.stops))}):
            found, every = choose_who_fills(party, route, most_h), list(together.choices(legs, most_h))
            assert (found is None) == (not every), (seed, most_h)
            if found is not None:
                hours, fills = told_again(together, legs, found, most_h)
                least = min(h + A_FILL_H * n for h, n in every)
                assert hours + A_FILL_H * fills == pytest.approx(least, abs=ROUNDING_H), (seed, most_h)
            checked += 1
    return checked


def test_no_choice_has_fewer_hours_at_the_pumps() -> None:
    """One pump a fuel, or one place for both."""
    assert sum(check_choice(seed) for seed in range(150)) > 60


@pytest.mark.slow
def test_many_more_parties() -> None:
    """The same, ten times as many."""
    assert sum(check_choice(seed) for seed in range(150, 1650)) > 600
