"""A plan sailed many times over: a tank whose level and burn are drawn, followed from place to place.

Nothing is shared with the product's chances: fuel is drawn, burnt, taken and counted, no integral is worked out. Of the
plan only what is done is read: what each hop burns on average, where fuel is taken, how much, and whether to the mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from routeplan.problem import Label, Problem


@dataclass(frozen=True)
class Sailed:
    """How often what happened."""

    draws: int
    reserve_missed: int  # some arrival was below the floor
    ran_dry: int  # some arrival was below the unusable fuel
    missed_at: tuple[int, ...]  # below the floor, for each arrival by itself


def sail_plan(problem: Problem, end: Label, draws: int, rng: np.random.Generator) -> Sailed:
    """Sail a plan many times, each with its own burn factor and levels."""
    steps = end.path()
    factor = 1 + problem.sd_share * rng.standard_normal(draws)
    first = steps[0]
    to_mark = first.fill is not None and first.fill.to_mark
    mean = max(problem.full_l, problem.mean_l) if to_mark else problem.mean_l
    aboard = mean + (problem.full_sd_l if to_mark else problem.sd_l) * rng.standard_normal(draws)
    if first.fill is not None and not to_mark:
        aboard += first.fill.take_l
        mean += first.fill.take_l
    missed, dry = np.zeros(draws, dtype=bool), np.zeros(draws, dtype=bool)
    missed_at = []
    for step in steps[1:]:
        assert step.hop is not None
        aboard -= factor * step.hop.track.fuel_l
        mean -= step.hop.track.fuel_l
        below = aboard < problem.floor_l - 1e-9  # rounding
        missed_at.append(int(below.sum()))
        missed |= below
        dry |= aboard < problem.unusable_l - 1e-9
        if step.fill is None:
            continue
        if step.fill.to_mark:
            mean = max(problem.full_l, mean)
            aboard = mean + problem.full_sd_l * rng.standard_normal(draws)
        else:
            mean += step.fill.take_l
            aboard += step.fill.take_l
    return Sailed(draws, int(missed.sum()), int(dry.sum()), tuple(missed_at))
