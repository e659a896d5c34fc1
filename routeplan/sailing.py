"""A way's time and fuel by the moment it is left: what currents and sea make of them.

Over one piece of a way the current is the same everywhere and changes with time, so the distance made good since the
beginning of the span is one curve that never falls: to sail the piece is to go along that curve by its length. Two
boats on one piece keep their order whatever the step in time, as the curve is the same for both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from routeplan.conditions import STEP_H
from routeplan.pieces import cut
from routeplan.triangle import find_ground_kn, set_of, steer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from routeplan.boats import Boat
    from routeplan.conditions import Conditions
    from routeplan.leg_graph import Rates
    from routeplan.pieces import Pieces
    from routeplan.water import Water

    Vector = NDArray[np.float64]

__all__ = ["Made", "Sailed", "Sailing", "Way", "find_made"]

_TIE_H = 1e-9
_LONGEST_STRETCH_H = 24.0  # [h] a stretch that takes longer in gridded currents isn't told
_SAMPLE_H = 1 / 6  # [h] between the departures at which the most fuel is looked for


@dataclass(frozen=True, eq=False)
class Way:
    """A way as steered.

    Parameters
    ----------
    bends
        [m] n x 2 positions in the plane.
    kinds
        n - 1 kinds of stretch: `leg`, `approach` or `gate`.
    gates
        For each gate passed its index in `Water.gates`, its first stretch and the one after its last.
    """

    bends: Vector
    kinds: tuple[str, ...]
    gates: tuple[tuple[int, int, int], ...] = ()


class Sailed(NamedTuple):
    """What a way takes when it is left at one moment.

    Parameters
    ----------
    time_h, fuel_l
        [h, l] Time, waits at its gates among it, and mean burn.
    gates
        Index of each gate and [h] when it is reached and left behind, since leaving.
    """

    time_h: float
    fuel_l: float
    gates: tuple[tuple[int, float, float], ...]


class _Step(NamedTuple):
    """One piece of a way, or several that take the same time whenever they are run."""

    hours: float  # at the least
    litres: float  # at the least
    nmi: float = 0.0
    made_nmi: Vector | None = None  # distance made good since the beginning of the span; None where nothing changes
    stopped: Vector | None = None  # how many steps in time nothing was made good, counted up; None where never
    lph: float = 0.0  # burn, where it is always the same
    burned_l: Vector | None = None  # burn since the beginning of the span, where it isn't
    gate: int = -1
    piece: int = -1
    parts: tuple[tuple[int, float], ...] = ()  # of several pieces each and how long it takes


class Sailing:
    """A way under some conditions, at the rates of one boat at one speed.

    Parameters
    ----------
    conditions
        Currents and sea.
    water
        The boat's water.
    boat
        What her speeds burn.
    rates
        At the chosen speed.
    way
        The way.
    """

    def __init__(self, conditions: Conditions, water: Water, boat: Boat, rates: Rates, way: Way) -> None:
        self._conditions = conditions
        self._water = water
        self.pieces = cut(water, conditions.currents, way.bends[:-1], way.bends[1:])
        self.slow = np.array([way.kinds[i] != "leg" for i in self.pieces.stretch])
        self._steps = self._compile(boat, rates, way)

    @property
    def changes(self) -> bool:
        """Whether it matters when the way is left."""
        return any(step.made_nmi is not None for step in self._steps)

    @cached_property
    def least(self) -> Sailed:
        """The least time and fuel that it could ever take within the span, and its gates by them."""
        at, litres = 0.0, 0.0
        gates: list[tuple[int, float, float]] = []
        for step in self._steps:
            if step.gate >= 0:
                gates.append((step.gate, at, at + step.hours))
            at += step.hours
            litres += step.litres
        return Sailed(at, litres, tuple(gates))

    @cached_property
    def most_l(self) -> float:
        """[l] The most fuel that it takes, over departures every ten minutes of the span at which it can be passed."""
        if not self.changes:
            return self.least.fuel_l
        last_h = (self._conditions.count - 1) * STEP_H
        _, litres = self.many(np.arange(0.0, last_h, _SAMPLE_H))
        return float(np.nanmax(litres)) if np.isfinite(litres).any() else np.inf

    def at(self, leave_h: float) -> Sailed | None:
        """Sail it.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        What it takes; None where some piece can't be passed then, or the span ends before.
        """
        now_h, litres = leave_h, 0.0
        gates: list[tuple[int, float, float]] = []
        for step in self._steps:
            if step.made_nmi is None:
                if step.gate >= 0:
                    gates.append((step.gate, now_h - leave_h, now_h - leave_h + step.hours))
                now_h += step.hours
                litres += step.litres
                continue
            there_h = _arrive(step, now_h)
            if there_h is None:
                return None
            litres += _burned(step, now_h, there_h)
            now_h = there_h
        return Sailed(now_h - leave_h, litres, tuple(gates))

    def marks_h(self, leave_h: float) -> Vector | None:
        """[h] Tell when each piece begins.

        Parameters
        ----------
        leave_h
            [h] When the way is left, since the beginning of the span.

        Returns
        -------
        One figure a piece and one for the end, since the beginning of the span; None where it can't be passed.
        """
        marks, now_h = np.full(len(self.pieces.nmi) + 1, np.nan), leave_h
        for step in self._steps:
            marks[step.piece] = now_h
            begun_h = now_h + step.hours - sum(lasts_h for _, lasts_h in step.parts)  # the wait at a gate comes first
            for piece, lasts_h in step.parts:
                marks[piece] = begun_h
                begun_h += lasts_h
            there_h = now_h + step.hours if step.made_nmi is None else _arrive(step, now_h)
            if there_h is None:
                return None
            now_h = there_h
        marks[-1] = now_h
        return marks

    def stopped_at(self, leave_h: float) -> tuple[float, float] | None:
        """[m] Tell where a way can't be passed.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        The middle of the first piece that can't; None where the way can be passed, or outside the span.
        """
        now_h = leave_h
        for step in self._steps if leave_h >= 0 else ():
            there_h = now_h + step.hours if step.made_nmi is None else _arrive(step, now_h)
            if there_h is None:
                if not _is_shut(step, now_h):
                    return None  # the span ends first
                x, y = self.pieces.middles[step.piece]
                return float(x), float(y)
            now_h = there_h
        return None

    def many(self, leave_h: Vector) -> tuple[Vector, Vector]:
        """[h, l] Sail it at many moments.

        Parameters
        ----------
        leave_h
            [h] When it is left, since the beginning of the span.

        Returns
        -------
        Hours and litres; not a number where it can't be passed.
        """
        grid = np.arange(self._conditions.count) * STEP_H
        now_h = np.array(leave_h, dtype=float)
        litres = np.zeros_like(now_h)
        for step in self._steps:
            made = step.made_nmi
            if made is None:
                now_h = now_h + step.hours
                litres += step.litres
                continue
            inside = (now_h >= 0) & (now_h <= grid[-1])
            reached = np.interp(now_h, grid, made) + step.nmi
            after = np.searchsorted(made, reached)
            good = inside & (after < len(made))
            after = np.clip(after, 1, len(made) - 1)
            rise = np.maximum(made[after] - made[after - 1], 1e-15)
            there_h = grid[after - 1] + STEP_H * (reached - made[after - 1]) / rise
            if step.stopped is not None:
                good &= np.interp(there_h, grid, step.stopped) - np.interp(now_h, grid, step.stopped) < _TIE_H
            if step.burned_l is None:
                litres += step.lph * (there_h - now_h)
            else:
                litres += np.interp(there_h, grid, step.burned_l) - np.interp(now_h, grid, step.burned_l)
            now_h = np.where(good, there_h, np.nan)
        return now_h - leave_h, np.where(np.isfinite(now_h), litres, np.nan)

    def _compile(self, boat: Boat, rates: Rates, way: Way) -> tuple[_Step, ...]:
        conditions, pieces = self._conditions, self.pieces
        kn, lph = _speeds(conditions, boat, rates, pieces, self.slow)  # k x 1, or k x moments where the sea changes
        waits = {first: (gate, self._water.gates[gate].wait_h) for gate, first, _ in way.gates}
        ends = {last for _, _, last in way.gates}
        steps: list[_Step] = []
        hours = litres = 0.0
        begun, inside, gate = 0, False, -1
        parts: list[tuple[int, float]] = []
        east = north = np.zeros((0, conditions.count))
        rows = np.flatnonzero(pieces.moving)
        if len(rows) and conditions.currents is not None:
            east, north = (
                np.nan_to_num(part) for part in conditions.currents.at(pieces.middles[rows], conditions.posix_s)
            )
        row_of = {int(k): i for i, k in enumerate(rows)}

        def close(at: int) -> None:
            nonlocal hours, litres, begun, gate
            if hours > 0 or gate >= 0:
                steps.append(_Step(hours, litres, gate=gate, piece=begun, parts=tuple(parts)))
            hours, litres, begun, gate = 0.0, 0.0, at, -1
            parts.clear()

        first_of_stretch = np.concatenate([[True], np.diff(pieces.stretch) != 0])
        for k, nmi in enumerate(pieces.nmi.tolist()):
            stretch = int(pieces.stretch[k])
            if first_of_stretch[k]:
                if stretch in ends:
                    close(k)
                    inside = False
                if stretch in waits:
                    close(k)
                    gate, wait_h = waits[stretch]
                    hours, litres, inside = wait_h, wait_h * rates.idle_lph, True
            i = row_of.get(k)
            runs = i is not None and bool(np.any(east[i]) or np.any(north[i]))
            if inside or (not runs and kn.shape[1] == 1):  # nobody reckons a current inside a lock
                parts.append((k, nmi / float(kn[k, 0])))
                hours += parts[-1][1]
                litres += nmi / float(kn[k, 0]) * float(lph[k, 0])
                continue
            close(k)
            made_kn = np.broadcast_to(kn[k], conditions.count)
            if runs:
                made_kn = find_ground_kn(made_kn, float(pieces.course_deg[k]), east[i], north[i])
            steps.append(_moving(nmi, made_kn, lph[k], k))
            begun = k + 1
        close(len(pieces.nmi))
        return tuple(steps)


def _moving(nmi: float, made_kn: Vector, lph: Vector, piece: int) -> _Step:
    """Add up what is made good, and burnt, from step to step in time."""
    goes = (made_kn[:-1] > 0) & (made_kn[1:] > 0)
    made = np.concatenate([[0.0], np.cumsum(np.where(goes, (made_kn[:-1] + made_kn[1:]) / 2 * STEP_H, 0.0))])
    stopped = None if goes.all() else np.concatenate([[0.0], np.cumsum(~goes)])
    burn = np.broadcast_to(lph, len(made_kn))
    burned = None
    if len(lph) > 1:
        burned = np.concatenate([[0.0], np.cumsum((burn[:-1] + burn[1:]) / 2 * STEP_H)])
    fastest = float(made_kn.max(initial=0.0))
    if fastest <= 0:
        return _Step(np.inf, np.inf, nmi, made, stopped, float(lph[0]), burned, piece=piece)
    moves = made_kn > 0
    least_l = nmi * float((burn[moves] / made_kn[moves]).min())
    return _Step(nmi / fastest, least_l, nmi, made, stopped, float(lph[0]), burned, piece=piece)


def _speeds(
    conditions: Conditions, boat: Boat, rates: Rates, pieces: Pieces, slow: NDArray[np.bool_]
) -> tuple[Vector, Vector]:
    """[kn, l/h] Tell the speed through the water and the burn on each piece, k x 1; by the moment where it matters."""
    kinds = pieces.area + 1
    kn = np.where(slow, np.array(rates.slow_kn)[kinds], np.array(rates.speed_kn)[kinds])
    lph = np.where(slow, np.array(rates.slow_lph)[kinds], np.array(rates.burn_lph)[kinds])
    if conditions.sea is None:
        return kn[:, None], lph[:, None]
    states, when = np.unique(conditions.sea_states, return_inverse=True)
    every = np.array([*rates.speed_kn, *rates.slow_kn])
    column = kinds + np.where(slow, len(rates.speed_kn), 0)
    by_state = []
    for state in states.tolist():
        if state < 0:
            by_state.append((kn, lph))
            continue
        made, burn = conditions.sea.rates(boat, every, pieces.course_deg, state)
        by_state.append((made[np.arange(len(kinds)), column], burn[np.arange(len(kinds)), column]))
    if len(by_state) == 1:
        return by_state[0][0][:, None], by_state[0][1][:, None]
    return np.array([made for made, _ in by_state]).T[:, when], np.array([burn for _, burn in by_state]).T[:, when]


def _arrive(step: _Step, leave_h: float) -> float | None:
    """[h] Go along the curve of what is made good by the piece's length."""
    made = step.made_nmi
    if made is None:
        return leave_h + step.hours
    at = leave_h / STEP_H
    i = int(at)
    if leave_h < 0 or i >= len(made) - 1:
        return None
    here = float(made[i])
    reached = here + (at - i) * (float(made[i + 1]) - here) + step.nmi
    after = int(made.searchsorted(reached))
    if after >= len(made):
        return None
    before = float(made[after - 1])
    there = after - 1 + (reached - before) / (float(made[after]) - before)
    if step.stopped is not None and _between(step.stopped, there) - _between(step.stopped, at) > _TIE_H:
        return None
    return there * STEP_H


def _is_shut(step: _Step, leave_h: float) -> bool:
    """Tell whether a piece that can't be passed within the span is shut at some time from then on."""
    if step.stopped is None or leave_h / STEP_H >= len(step.stopped) - 1:
        return False
    return float(step.stopped[-1]) - _between(step.stopped, leave_h / STEP_H) > _TIE_H


def _burned(step: _Step, from_h: float, to_h: float) -> float:
    if step.burned_l is None:
        return step.lph * (to_h - from_h)
    return _between(step.burned_l, to_h / STEP_H) - _between(step.burned_l, from_h / STEP_H)


def _between(curve: Vector, at: float) -> float:
    i = min(int(at), len(curve) - 2)
    here = float(curve[i])
    return here + (at - i) * (float(curve[i + 1]) - here)


class Made(NamedTuple):
    """How one stretch is steered in the current that runs while a boat is on it.

    Parameters
    ----------
    time_h, fuel_l
        [h, l] Time and mean burn.
    through_kn
        [kn] Speed through the water, the mean over its length.
    steer_deg, ground_kn
        [deg, kn] Course to steer and speed made good, on the whole.
    set_deg, drift_kn
        [deg, kn] Where the current sets to, and its speed, on the mean over the time; None where none is known.
    """

    time_h: float
    fuel_l: float
    through_kn: float
    steer_deg: float
    ground_kn: float
    set_deg: float | None
    drift_kn: float | None


def find_made(
    conditions: Conditions, water: Water, boat: Boat, rates: Rates, ends: Sequence[tuple[float, float]], kind: str,
    leave_h: float,
) -> Made | None:  # fmt: skip
    """Tell how one straight stretch is steered.

    Parameters
    ----------
    conditions, water, boat, rates
        As in `Sailing`.
    ends
        [m] Both ends in the plane.
    kind
        `leg`, `approach` or `gate`.
    leave_h
        [h] When it is begun, since the beginning of the span.

    Returns
    -------
    How; None where it can't be passed then.
    """
    if conditions.gridded and leave_h >= 0:
        conditions, leave_h = conditions.window(leave_h, _LONGEST_STRETCH_H), 0.0
    sailing = Sailing(conditions, water, boat, rates, Way(np.array(ends), (kind,)))
    sailed, marks = sailing.at(leave_h), sailing.marks_h(leave_h)
    if sailed is None or marks is None:
        return None
    pieces = sailing.pieces
    nmi = float(pieces.nmi.sum())
    course = float(water.plane.courses_deg(np.array(ends[:1]), np.array(ends[1:]))[0])
    ground_kn = nmi / sailed.time_h if sailed.time_h > 0 else 0.0
    known = [k for k in range(len(pieces.nmi)) if pieces.moving[k]]
    east = north = hours = 0.0
    any_known = False
    if conditions.currents is not None and known:
        for k in known:
            middle_s = conditions.begin.timestamp() + 3600 * float(marks[k] + marks[k + 1]) / 2
            e, n = conditions.currents.at(pieces.middles[k : k + 1], np.array([middle_s]))
            if np.isfinite(e[0, 0]) and np.isfinite(n[0, 0]):
                lasts_h = float(marks[k + 1] - marks[k])
                east, north, any_known = east + float(e[0, 0]) * lasts_h, north + float(n[0, 0]) * lasts_h, True
        hours = sailed.time_h
    through = _through_kn(conditions, boat, rates, sailing, marks)
    if not any_known or hours <= 0:
        return Made(sailed.time_h, sailed.fuel_l, through, course, ground_kn, None, None)
    set_deg, drift_kn = set_of(east / hours, north / hours)
    steered = steer(through, course, set_deg, drift_kn)
    return Made(
        sailed.time_h, sailed.fuel_l, through, course if steered is None else steered.steer_deg, ground_kn, set_deg,
        drift_kn,
    )  # fmt: skip


def _through_kn(conditions: Conditions, boat: Boat, rates: Rates, sailing: Sailing, begun: Vector) -> float:
    """[kn] The mean speed through the water, over the time."""
    kn, _ = _speeds(conditions, boat, rates, sailing.pieces, sailing.slow)
    total = lasts = 0.0
    for k, (start, end) in enumerate(pairwise(begun.tolist())):
        first, last = (min(max(int(h / STEP_H), 0), kn.shape[1] - 1) for h in (start, end))
        total += float(kn[k, first : last + 1].mean()) * (end - start)
        lasts += end - start
    return total / lasts if lasts > 0 else float(kn[0, 0])
