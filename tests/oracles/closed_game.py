"""The closed-dock rule played out: the dock turns out shut, and every way on from there is tried.

Nothing is shared with the product, and nothing is shortened by knowing better: not only the least-fuel ways are tried
but all, any dock may be the alternate, any number of targets may be passed on the way to it, and beyond it every order
of fills is tried. Hours don't count, as one may wait at the alternate, but a dock must be open for as long as the fill
lasts on some day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from oracles.every_plan import Point, Tank, decilitres, every_plan, lasts_min, legs_of, low_l, take_dl

if TYPE_CHECKING:
    from oracles.every_plan import Puzzle


class Game:
    """One puzzle's closed docks, whatever was aboard; counted in decilitres."""

    def __init__(self, puzzle: Puzzle) -> None:
        """Remember the puzzle and what was found out about it."""
        self.puzzle = puzzle
        self.legs = legs_of(puzzle)
        self.limit = decilitres(puzzle.floor_l if puzzle.closed_dock == "strict" else puzzle.unusable_l)
        self.floor = decilitres(puzzle.floor_l)
        self.full = Tank(decilitres(puzzle.full_l), 0.0, decilitres(puzzle.full_sd_l))
        self.forbidden = 0
        self._ended: dict[tuple[int, int, int], bool] = {}

    def may_fill(self, dock: int, stage: int, tank: Tank) -> bool:
        """Tell whether a boat that finds this dock closed still gets to the last target by some alternate."""
        if self.puzzle.closed_dock == "off" or self._escapes(dock, stage, tank, shut=dock):
            return True
        self.forbidden += 1
        return False

    def _escapes(self, here: int, stage: int, tank: Tank, shut: int) -> bool:
        for leg in self.legs[here]:
            there = tank._replace(burned=tank.burned + leg.decilitres)
            if low_l(self.puzzle, *there) < self.limit:
                continue  # and further on it is less still
            is_target = leg.to == self.puzzle.targets[stage]
            passed = stage + is_target
            if passed == len(self.puzzle.targets):
                return True
            if leg.to != shut and self._sells(leg.to, there) and self._ends(leg.to, passed, shut):
                return True
            if is_target and self._escapes(leg.to, passed, there, shut):
                return True
        return False

    def _sells(self, dock: int, tank: Tank) -> bool:
        """Tell whether a fill to the mark can be had there on some day."""
        if dock not in self.puzzle.pumps:
            return False
        pump = self.puzzle.pumps[dock]
        take = take_dl(self.puzzle, pump, tank)
        return take is not None and lasts_min(self.puzzle, pump, take) <= pump.longest_min()

    def _ends(self, dock: int, stage: int, shut: int) -> bool:
        """Tell whether the end can be had from a dock just filled at, by the plain rule, without the shut one."""
        key = dock, stage, shut
        if key not in self._ended:
            self._ended[key] = self._goes_on(dock, stage, self.full, shut, frozenset({(dock, stage)}))
        return self._ended[key]

    def _goes_on(self, here: int, stage: int, tank: Tank, shut: int, filled: frozenset[tuple[int, int]]) -> bool:
        for leg in self.legs[here]:
            there = tank._replace(burned=tank.burned + leg.decilitres)
            if low_l(self.puzzle, *there) < self.floor:
                continue
            is_target = leg.to == self.puzzle.targets[stage]
            passed = stage + is_target
            if passed == len(self.puzzle.targets):
                return True
            if is_target and self._goes_on(leg.to, passed, there, shut, filled):
                return True
            fresh = leg.to != shut and (leg.to, passed) not in filled and self._sells(leg.to, there)
            if fresh and self._goes_on(leg.to, passed, self.full, shut, filled | {(leg.to, passed)}):
                return True
        return False


def may_fill(puzzle: Puzzle, dock: int, stage: int, tank_l: Tank) -> bool:
    """Tell whether the rule lets a boat that arrives with these litres count on this dock."""
    return Game(puzzle).may_fill(dock, stage, Tank(*(decilitres(x) for x in tank_l)))


def every_safe_plan(puzzle: Puzzle) -> set[Point]:
    """Collect what every plan comes to that keeps the puzzle's closed-dock rule as well."""
    return every_plan(puzzle, Game(puzzle).may_fill)
