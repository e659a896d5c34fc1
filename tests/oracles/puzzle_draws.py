"""Random refuel puzzles in whole minutes, litres and cents, drawn so that plans often tie and rules often bite.

Pumps give half a litre to two litres a minute and every hop burns an even number of litres, so each fill takes whole
minutes and costs whole cents. Prices are few, so different plans often cost the same. Where doubt counts, the floor is
no round figure: then no low figure meets it exactly, and rounding can't decide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from oracles.every_plan import Pump, Puzzle, Way

if TYPE_CHECKING:
    from random import Random

FULL_L = 90.0
EVEN = range(8, 56, 2)  # [l] of a hop
FIVES = range(15, 365, 5)  # [min] of a hop


def draw_puzzle(
    rng: Random,
    rule: Literal["on", "off", "strict"] = "off",
    shut_share: float = 0.4,
    *,
    brief: bool = False,
    count: int | None = None,
) -> Puzzle:
    """Draw up to six places, or `count`: 0 is the start, 1 mostly the destination; `shut_share` of docks keep hours.

    `brief` lets docks open for so short that a fill doesn't always fit in.
    """
    count = count or rng.choice((3, 4, 5, 5, 6, 6))
    places = range(count)
    targets = _draw_targets(rng, count)
    ways = _draw_ways(rng, count, most={4: 3, 5: 3, 6: 2, 7: 2}.get(count + len(targets), 1))
    fill_first = rng.random() < 0.2
    docks = [i for i in places if (i == 0 and fill_first) or rng.random() < (0.4 if i < 2 else 0.85)]
    doubt = rng.random() < 0.6
    full_sd_l = rng.choice((0.0, 1.3)) if doubt else 0.0
    return Puzzle(
        ways=ways,
        pumps={i: _draw_pump(rng, shut_share, brief=brief) for i in docks},
        start=0,
        targets=targets,
        depart_of_day_h=float(rng.randrange(24)),
        mean_l=float(rng.randrange(30, 92, 2) if rng.random() < 0.95 else rng.randrange(92, 112, 2)),  # over the mark
        sd_l=rng.choice((full_sd_l, 2.1, 5.3)) if doubt else 0.0,
        full_l=FULL_L,
        full_sd_l=full_sd_l,
        floor_l=10.0437 if doubt else 10.0,
        sd_share=rng.choice((0.0613, 0.1871)) if doubt else 0.0,
        z=rng.choice((0.7317, 1.2816)) if doubt else 0.0,
        berthing_h=rng.choice((0, 10, 15, 20)) / 60,
        unusable_l=rng.choice((0.0, 3.9871)) if doubt else rng.choice((0.0, 4.0)),
        closed_dock=rule,
        fill_first=fill_first,
        guess_price_per_l=rng.choice((0.0, 1.5, 1.75)),
    )


def _draw_targets(rng: Random, count: int) -> tuple[int, ...]:
    """Now and then a place to pass, or two on a small water, or a round trip; never one place twice running."""
    kind = rng.random()
    vias = [] if kind < 0.6 else [rng.randrange(2, count)]
    if kind > 0.9 and 3 < count < 6:  # on six places every order of fills, three times over, would be too many
        vias.append(rng.choice([i for i in range(1, count) if i not in vias]))
    ends = [i for i in (1, 1, 1, 0) if vias and i != vias[-1]] or [1]
    return (*vias, rng.choice(ends))


def _draw_ways(rng: Random, count: int, most: int) -> dict[tuple[int, int], tuple[Way, ...]]:
    """Most pairs are joined, some one way only or otherwise there than back; seldom straight to the destination."""
    ways: dict[tuple[int, int], tuple[Way, ...]] = {}
    for i in range(count):
        for j in range(i + 1, count):
            if rng.random() > (0.15 if (i, j) == (0, 1) else 0.8):
                continue
            there = _draw_tracks(rng, most)
            kind = rng.random()
            if kind < 0.95:
                ways[i, j] = there
            if kind > 0.05:
                ways[j, i] = there if kind < 0.8 else _draw_tracks(rng, most)
    return ways


def _draw_tracks(rng: Random, most: int) -> tuple[Way, ...]:
    """One track, or the same at lower speeds: slower ones mostly burn less, some burn more and are never any good."""
    minutes, litres = rng.choice(FIVES), rng.choice(EVEN)
    tracks = [Way(minutes / 60, float(litres), 24.0)]
    for speed_kn in (18.0, 12.0)[: rng.randrange(most)]:
        minutes += rng.choice(FIVES) // 15 * 5
        litres = max(litres + 2 * rng.randrange(-10, 2), 2)
        tracks.append(Way(minutes / 60, float(litres), speed_kn))
    return tuple(tracks)


def _draw_pump(rng: Random, shut_share: float, *, brief: bool) -> Pump:
    windows: tuple[tuple[int, int], ...] = ()
    if rng.random() < shut_share:
        begin = rng.randrange(0, 23 * 60, 30)
        windows = ((begin, begin + 30 * rng.randrange(1 if brief else 10, 6 if brief else 28)),)
        if windows[0][1] < 19 * 60 and rng.random() < 0.5:
            second = windows[0][1] + 30 * rng.randrange(4)  # at once: one opening written as two
            windows = (*windows, (second, second + 120))
    largest_l = rng.choice((None, None, None, 30.0, 48.0, 60.0, 76.0))
    return Pump(rng.choice((0.5, 1.0, 1.0, 2.0)), largest_l, windows, rng.choice((1.5, 1.75, 2.0, 2.0, 2.5, None)))
