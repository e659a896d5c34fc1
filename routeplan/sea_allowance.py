"""What a sea does to a boat: the speed that can be had, the burn at it, and how much less sure the burn is.

The defaults are common practice as far as we know it, no measurement; where the boat's own log has three runs or more
in a sea of the kind, its burn comes from there. All of it is a help for planning: how fast a boat may go in a sea is
her skipper's to judge, and common practice is to slow down until she doesn't slam.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from layers.errors import InputError
from layers.units import METRES_PER_FT
from routeplan.units_shown import shown_speed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

    from routeplan.boats import Boat
    from routeplan.lessons import Lesson
    from routeplan.sea import Seas, SeaState

__all__ = [
    "GALE_KN",
    "STEEPEST_SHARE",
    "ByDirection",
    "SeaAllowance",
    "SeaEffect",
    "SeaRates",
    "displacement_kn",
    "find_allowance",
]

Floats: TypeAlias = "NDArray[np.float64]"

STEEPEST_SHARE = 0.25  # of the length overall: no day boat's passage is planned in a higher sea; common practice
GALE_KN = 34.0  # kn: a gale, Beaufort 8 (34 to 40 kn; from memory), begins here


class ByDirection(NamedTuple):
    """An effect by where the sea comes from; between the three it is blended by the squared cosine of the angle.

    Parameters
    ----------
    head, beam, following
        [share] Into the sea, across it and before it.
    """

    head: float
    beam: float
    following: float

    @property
    def mean(self) -> float:
        """Mean over all directions: the squared cosine is a half on the mean."""
        return 0.5 * self.beam + 0.25 * (self.head + self.following)

    def scaled(self, factor: float) -> ByDirection:
        """Make all of it larger or smaller.

        Parameters
        ----------
        factor
            How many times as large.

        Returns
        -------
        The same shape.
        """
        return ByDirection(self.head * factor, self.beam * factor, self.following * factor)


# All common practice, from memory, rounded and on the safe side; a boat of 28 ft in a sea of 4 ft is about here.
_REFERENCE_SHARE = 0.15  # height over length overall at which the sea's effects below are stated
_STEEPENING = 1.5  # power of height over length: twice the height has nearly three times the effect
_SPEED_LOSS = ByDirection(0.40, 0.15, 0.10)  # of the speed above displacement speed
_SLOW_LOSS_SHARE = 0.25  # of that loss, on the speed up to displacement speed: a hull that floats slams little
_SEA_BURN = ByDirection(0.15, 0.08, 0.03)  # more burn per hour at the speed that is run; nothing is won before a sea
_WIND_REFERENCE_KN = 20.0  # kn: wind at which its own share of the burn is stated; it grows with the wind's square
_WIND_BURN = ByDirection(0.04, 0.02, 0.0)  # more burn per hour for the wind on her topsides
_DOUBT_SHARE = 1.0 / 3.0  # of what a head sea adds to the burn: its standard deviation
_FEWEST_RUNS = 3  # runs in a sea: fewer say nothing of it
_HULL_SPEED_KN = 1.34  # kn per root of a foot of waterline: displacement speed by the rule of thumb, from memory
_MOST_TOLD = 4  # seas of a table told one by one

_JUDGEMENT = "Your own judgement comes first: common practice is to slow down until the boat doesn't slam."


class SeaRates(NamedTuple):
    """Speed and burn on many courses in some kinds of water.

    Parameters
    ----------
    speed_kn
        [kn] Shape (courses, kinds): the speed through the water that she makes.
    burn_lph
        [l/h] Shape (courses, kinds): the burn at it.
    """

    speed_kn: Floats
    burn_lph: Floats


@dataclass(frozen=True)
class SeaEffect:
    """What one sea does to one boat.

    Parameters
    ----------
    loss
        [share] Of the speed above displacement speed that can't be had; a quarter of it on the speed below.
    burn
        [share] More burn per hour at the speed that is run.
    sd_share
        [share] Relative standard deviation that it adds to the burn, in quadrature with the boat's own.
    runs
        How many runs of the boat's own log the burn rests on; 0 where it is the default.
    """

    loss: ByDirection
    burn: ByDirection
    sd_share: float
    runs: int = 0


@dataclass(frozen=True)
class SeaAllowance:
    """What the seas that are entered do to one boat.

    Parameters
    ----------
    seas
        Which sea holds when.
    boat
        The boat that is planned with.
    effects
        What each of them does to her, in the order of `seas.states`.
    """

    seas: Seas
    boat: Boat
    effects: tuple[SeaEffect, ...]

    def speed_share(self, course_deg: ArrayLike, state: ArrayLike, speed_kn: float | None = None) -> Floats:
        """Return the share of a planned speed that can be had.

        Parameters
        ----------
        course_deg
            [degrees true] Courses, in any shape.
        state
            Places in `seas.states`, one or as many; -1 for calm.
        speed_kn
            [kn] The planned speed; None for her cruising speed.

        Returns
        -------
        [share] At most 1, in their common shape; before the hump is heeded: `rates` does that.
        """
        planned_kn = self.boat.cruising_speed_kn if speed_kn is None else speed_kn
        lost_kn = self._blend(self._losses, course_deg, state) * _exposed_kn(self.boat, np.float64(planned_kn))
        return np.asarray(1.0 - lost_kn / planned_kn)

    def burn_factor(self, course_deg: ArrayLike, state: ArrayLike) -> Floats:
        """Return the factor on the burn per hour, at the speed that is run.

        Parameters
        ----------
        course_deg
            [degrees true] Courses, in any shape.
        state
            Places in `seas.states`, one or as many; -1 for calm.

        Returns
        -------
        At least 1, in their common shape.
        """
        return np.asarray(1.0 + self._blend(self._burns, course_deg, state))

    def rates(self, boat: Boat, speeds_kn: ArrayLike, course_deg: ArrayLike, state: ArrayLike) -> SeaRates:
        """Work out speed and burn on many courses.

        Parameters
        ----------
        boat
            The boat, with the burn that holds today.
        speeds_kn
            [kn] Shape (kinds,): the planned speed in each kind of water.
        course_deg
            [degrees true] Shape (courses,).
        state
            Places in `seas.states`, one or as many as courses; -1 for calm.

        Returns
        -------
        Speeds and burns. A boat that can't hold the speed that is left drops to the lower end of `unsteady_kn`.

        Raises
        ------
        InputError
            A speed is not above 0.

        Notes
        -----
        The same as `Boat.steady_kn` and `Boat.burn_lph` at each speed, worked out for all at once; in calm exactly
        what these give.
        """
        planned_kn = np.array([boat.steady_kn(speed) for speed in np.asarray(speeds_kn, dtype=np.float64).tolist()])
        planned_lph = np.array([boat.burn_lph(speed) for speed in planned_kn.tolist()])
        courses, states = np.broadcast_arrays(np.atleast_1d(course_deg), np.atleast_1d(state))
        lost_kn = self._blend(self._losses, courses, states)[:, None] * _exposed_kn(boat, planned_kn)
        speed_kn = planned_kn - lost_kn
        if boat.burn.unsteady_kn is not None:
            low_kn, high_kn = boat.burn.unsteady_kn
            speed_kn = np.where((low_kn < speed_kn) & (speed_kn < high_kn), low_kn, speed_kn)
        still_lph = np.interp(speed_kn, boat.burn.speed_kn, boat.burn.burn_lph)
        still_lph = np.where(speed_kn == planned_kn, planned_lph, still_lph)
        return SeaRates(speed_kn, still_lph * self.burn_factor(courses, states)[:, None])

    def sd_share(self, states: Iterable[int] | None = None) -> float:
        """Return what the seas of a passage add to the doubt about its burn.

        Parameters
        ----------
        states
            The seas that hold in it, as `Seas.during` gives them, -1 for calm; None for all that are entered.

        Returns
        -------
        [share] Relative standard deviation in the worst of them, to be joined in quadrature with the boat's own.
        """
        held = range(len(self.effects)) if states is None else (state for state in states if state >= 0)
        return max((self.effects[state].sd_share for state in held), default=0.0)

    def widened(self, boat: Boat, states: Iterable[int] | None = None) -> Boat:
        """Give a boat the doubt that the seas of a passage add.

        Parameters
        ----------
        boat
            The boat, with her own doubt.
        states
            As in `sd_share`.

        Returns
        -------
        The boat, her burn's relative standard deviation joined with theirs in quadrature; herself where they add none.
        """
        added = self.sd_share(states)
        if not added:
            return boat
        sd_share = min(math.hypot(boat.burn.sd_share, added), 0.99)  # a boat's is below 1
        return boat.model_copy(update={"burn": boat.burn.model_copy(update={"sd_share": sd_share})})

    @property
    def told(self) -> tuple[str, ...]:
        """What is to be said beside a plan, of all seas that are entered."""
        return self.tell()

    def tell(self, states: Iterable[int] | None = None) -> tuple[str, ...]:
        """Say what is allowed for.

        Parameters
        ----------
        states
            The seas that hold in the passage; None for all that are entered.

        Returns
        -------
        A sentence a sea, of more than four the worst alone; what the table doesn't cover; and that the skipper's own
        judgement comes first.
        """
        entered = range(len(self.effects)) if states is None else states
        held = sorted({state for state in entered if state >= 0})
        lines = [self._tell_one(state) for state in held]
        if len(held) > _MOST_TOLD:
            worst = max(held, key=lambda state: (self.effects[state].loss.head, self.effects[state].burn.head))
            lines = [f"The worst of {len(held)} seas: {self._tell_one(worst)}"]
        return (*lines, *self.seas.notes, _JUDGEMENT)

    def _tell_one(self, place: int) -> str:
        state, effect, boat = self.seas.states[place], self.effects[place], self.boat
        shown = state.shown(boat.units)
        shown = shown[0].upper() + shown[1:]
        if not effect.loss.head and not effect.burn.head:
            return f"{shown}: nothing is allowed for it."
        bearings = [state.from_deg, state.from_deg + 90.0, state.from_deg + 180.0]
        cruising = shown_speed(boat.cruising_speed_kn)
        speeds = [shown_speed(v) for v in self.rates(boat, [boat.cruising_speed_kn], bearings, place).speed_kn[:, 0]]
        more = [f"{100 * share:.0f} %" for share in effect.burn]
        log = f"the burn is by her own log, {effect.runs} runs in a {state.wmo} sea; the speed is"
        source = log if effect.runs else "speed and burn are"
        return (
            f"{shown}: of {cruising} she is taken to make {speeds[0]} into it, {speeds[1]} across and {speeds[2]} "
            f"before it, and to burn {more[0]}, {more[1]} and {more[2]} more an hour at that speed, give or take "
            f"{100 * effect.sd_share:.1f} % on top of her own spread; {source} a default of common practice, "
            "not measured."
        )

    @cached_property
    def _from_deg(self) -> Floats:
        """[degrees true] By state, calm last, so that -1 finds it."""
        return np.array([*(state.from_deg for state in self.seas.states), 0.0])

    @cached_property
    def _losses(self) -> Floats:
        return np.array([*(effect.loss for effect in self.effects), (0.0, 0.0, 0.0)])

    @cached_property
    def _burns(self) -> Floats:
        return np.array([*(effect.burn for effect in self.effects), (0.0, 0.0, 0.0)])

    def _blend(self, effects: Floats, course_deg: ArrayLike, state: ArrayLike) -> Floats:
        """Blend an effect by the angle between course and sea: no step, and no corner, at any angle."""
        places = np.asarray(state, dtype=np.int64)
        cosine = np.cos(np.radians(np.asarray(course_deg, dtype=np.float64) - self._from_deg[places]))
        head, beam, following = np.moveaxis(effects[places], -1, 0)
        return np.asarray(beam + (np.where(cosine > 0, head, following) - beam) * cosine**2)


def find_allowance(seas: Seas, boat: Boat, lesson: Lesson | None = None) -> SeaAllowance:
    """Work out what the seas that are entered do to a boat.

    Parameters
    ----------
    seas
        Which sea holds when.
    boat
        The boat that is planned with: by her file, or as her log taught.
    lesson
        What her log teaches; None where it is left aside.

    Returns
    -------
    The allowance.

    Raises
    ------
    InputError
        A sea is higher than a quarter of her length, or the wind a gale: no day boat's passage is planned in it;
        carries where it was entered.

    Notes
    -----
    With r the significant height over the length overall, a sea's effects are those stated for r = 0.15 times
    (r / 0.15) to the power of 1.5; those on the burn have the wind's own share on top, with its square. Speed: all of
    the loss counts on what lies above displacement speed (`displacement_kn`), a quarter of it on what lies below. The
    wind takes no speed of its own.

    Where the log has three runs or more in the WMO state that the height belongs to, smooth or higher, the burn's mean
    over all directions is theirs, whatever the height in it; the default's shape is kept, and below 1 nothing is
    planned. The log's factors are on the file's burn table: where `boat` burns otherwise, as one that was taught
    does, they are put on hers.

    The doubt is a third of what a head sea adds. From a log, at least as much that, joined with the boat's own, it
    covers what the runs in that sea scatter by, with the error of their mean: s sqrt(1 + 1/n).
    """
    for state, where in zip(seas.states, seas.places, strict=True):
        _check(state, boat, where)
    return SeaAllowance(seas, boat, tuple(_effect(state, boat, lesson) for state in seas.states))


def displacement_kn(boat: Boat) -> float:
    """Return the speed up to which a boat is borne by floating rather than planing.

    Parameters
    ----------
    boat
        The boat.

    Returns
    -------
    [kn] The lower end of the speeds that she can't hold; where she holds them all, displacement speed by the rule of
    thumb, 1.34 times the root of her length overall in feet, and never less than her no-wake speed.

    Examples
    --------
    A boat of 36 ft that has no hump: 1.34 times 6.

    >>> from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
    >>> boat = Boat(
    ...     name="Example", fuel="diesel", length_overall_m=10.9728, draught_m=1, air_draught_m=3,
    ...     cruising_speed_kn=8, no_wake_kn=5, tank=Tank(capacity_l=300, unusable_l=20),
    ...     reserve=Reserve(rule="volume", value=40),
    ...     burn=BurnTable(speed_kn=(6, 8), burn_lph=(9, 18), idle_lph=2, sd_share=0.06),
    ...     instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    ... )
    >>> round(displacement_kn(boat), 2)
    8.04
    """
    if boat.burn.unsteady_kn is not None:
        return boat.burn.unsteady_kn[0]
    return max(boat.no_wake_kn, _HULL_SPEED_KN * math.sqrt(boat.length_overall_m / METRES_PER_FT))


def _check(state: SeaState, boat: Boat, where: str) -> None:
    shown = state.shown(boat.units)
    remedy = "heed your own judgement and the forecasts, and choose another time"
    if state.height_m > STEEPEST_SHARE * boat.length_overall_m:
        limit_m = STEEPEST_SHARE * boat.length_overall_m
        problem = (
            f"is not a sea to plan a day boat for: above {boat.units.depth(limit_m)}, a quarter of {boat.name}'s length"
        )
        raise InputError(where, problem, value=shown, remedy=remedy)
    if state.wind_kn is not None and state.wind_kn >= GALE_KN:
        problem = f"is not a sea to plan a day boat for: a wind of {GALE_KN:g} kn or more is a gale (Beaufort 8)"
        raise InputError(where, problem, value=shown, remedy=remedy)


def _effect(state: SeaState, boat: Boat, lesson: Lesson | None) -> SeaEffect:
    size = (state.height_m / boat.length_overall_m / _REFERENCE_SHARE) ** _STEEPENING
    wind = ((state.wind_kn or 0.0) / _WIND_REFERENCE_KN) ** 2
    loss = _SPEED_LOSS.scaled(size)
    by_sea, by_wind = _SEA_BURN.scaled(size), _WIND_BURN.scaled(wind)
    burn = ByDirection(*(a + b for a, b in zip(by_sea, by_wind, strict=True)))
    known = None if lesson is None or state.wmo == "calm" else _by_log(state, boat, lesson)
    if known is None:
        return SeaEffect(loss, burn, _DOUBT_SHARE * burn.head)
    factor, scatter, runs = known
    burn = burn.scaled(max(0.0, factor - 1.0) / burn.mean)
    beyond_own = math.sqrt(max(0.0, scatter**2 - boat.burn.sd_share**2))
    return SeaEffect(loss, burn, max(_DOUBT_SHARE * burn.head, beyond_own), runs)


def _by_log(state: SeaState, boat: Boat, lesson: Lesson) -> tuple[float, float, int] | None:
    """Return the factor on the boat's burn in a sea like this, the scatter of a run in it, and how many runs it is."""
    found = next((sea for sea in lesson.by_sea if sea.sea == state.wmo and sea.runs >= _FEWEST_RUNS), None)
    if found is None:
        return None
    speed_kn = boat.cruising_speed_kn
    own = boat.burn_lph(speed_kn) / lesson.boat.burn_lph(min(speed_kn, lesson.boat.fastest_kn))
    ratios = [
        math.log(run.burn_factor)
        for run in lesson.runs
        if run.sea == found.sea and run.good and run.burn_factor is not None and run.burn_factor > 0
    ]
    scatter = 0.0
    if len(ratios) >= _FEWEST_RUNS:
        scatter = float(np.std(ratios, ddof=1)) * math.sqrt(1.0 + 1.0 / len(ratios))
    return found.burn_factor / own, scatter, found.runs


def _exposed_kn(boat: Boat, speed_kn: Floats | np.float64) -> Floats:
    """[kn] Return the part of a speed that a sea takes its share of: all above displacement speed, a quarter below."""
    floating_kn = displacement_kn(boat)
    return np.asarray(np.maximum(speed_kn - floating_kn, 0.0) + _SLOW_LOSS_SHARE * np.minimum(speed_kn, floating_kn))
