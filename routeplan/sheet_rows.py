"""The rows of a passage sheet for the helm, as values: a mark each, with stops, waits and points of no return between.

Legs of a few lengths, such as those out of a harbour, share a row with the leg after them: the helm has one mark to
check then, and not four in a minute. Every course is kept but for the last few lengths alongside. A leg in a current
that has to be steered for shares no row with one out of it. A long leg takes several rows, one to each mark on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict

from routeplan.helm import LastTurn, MeterMark
from routeplan.plan_words import is_before_leaving
from routeplan.plans import Passed, Stop, Wait, When
from routeplan.words import runs_in_current

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from routeplan.plans import Leg
    from routeplan.saved_plans import SavedPlan

    _Legs: TypeAlias = list[tuple[int, Leg]]

__all__ = [
    "LastTurnRow",
    "LegRow",
    "Line",
    "Position",
    "SheetValue",
    "Steer",
    "StopRow",
    "WaitRow",
    "find_lines",
    "letters",
]

_SHORT_NMI = 0.45  # [nmi] a shorter leg shares a row
_SHORT_H = 2.2 / 60  # [h] so does one that is run sooner: on the plane the helm has no time to read in it
_MOST_STEERED = 3  # courses in one row
_STRONG_KN = 0.5  # [kn] a current that has to be steered for: at 20 kn across it makes 1.4 degrees
_BESIDE_NMI = 0.05  # [nmi] an approach so short is part of coming alongside, at whatever speed

Position: TypeAlias = tuple[float, float]


class SheetValue(BaseModel):
    """What all values of a sheet are: frozen, no more fields than told, no figures that aren't finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Steer(SheetValue):
    """One course of a row.

    Parameters
    ----------
    course_deg
        [deg] True, to steer: in a current that is known not the track's.
    magnetic_deg
        [deg] Magnetic; None where the region doesn't say its variation.
    distance_nmi
        [nmi] How far.
    track_deg
        [deg] True course over the ground.
    set_deg, drift_kn
        [deg, kn] The current; None where none is known, or none worth telling runs.
    ground_kn
        [kn] Speed over the ground; None with it.
    """

    course_deg: float
    magnetic_deg: float | None
    distance_nmi: float
    track_deg: float
    set_deg: float | None = None
    drift_kn: float | None = None
    ground_kn: float | None = None


class LegRow(SheetValue):
    """One row for the helm: a leg, a few short ones, or a part of a long one, up to a mark.

    Parameters
    ----------
    kind
        `leg`.
    first_leg, last_leg
        Numbers of its legs, from 1.
    part
        Letter of the mark, where that lies on the last leg and doesn't end it; empty at its end.
    steers
        Its courses, in order, but for the last few lengths alongside.
    to, position
        Name and place (longitude and latitude) of the mark at its end; no name for a mark on a leg.
    leg_nmi, after_nmi
        [nmi] How long the last leg is, and how far along it the mark lies.
    distance_nmi
        [nmi] Of the row.
    speed_kn
        [kn] Through the water.
    run_h
        [h] How long it takes.
    begins, at
        When it begins, and when the mark is reached.
    is_gate
        Whether it leads through an opening bridge or a lock.
    ends_at
        What it ends at: a `stop`, the `finish`, or neither.
    mark
        What the dial should show there; None where nothing is expected of it.
    limit
        The mark whose limit counts in the row, mostly the same; None where there is none to heed.
    depth_checked
        Whether all of it lies over charted depth enough.
    cautions
        What to heed on it.
    passes
        What it passes close by.
    """

    kind: Literal["leg"] = "leg"
    first_leg: int
    last_leg: int
    part: str
    steers: tuple[Steer, ...]
    to: str
    position: Position
    leg_nmi: float
    after_nmi: float
    distance_nmi: float
    speed_kn: float
    run_h: float
    begins: When
    at: When
    is_gate: bool
    ends_at: Literal["stop", "finish", ""]
    mark: MeterMark | None
    limit: MeterMark | None
    depth_checked: bool
    cautions: tuple[str, ...]
    passes: tuple[Passed, ...]

    @property
    def label(self) -> str:
        """What stands for the row: the numbers of its legs, with the mark's letter."""
        first = "" if self.first_leg == self.last_leg else f"{self.first_leg}-"
        return f"{first}{self.last_leg}{self.part}"


class StopRow(SheetValue):
    """A refuel stop between the rows.

    Parameters
    ----------
    kind
        `stop`.
    number
        From 1.
    stop
        The stop.
    resets
        Whether the meters are reset there, as the figures after it count from there; None where no figure comes after.
    """

    kind: Literal["stop"] = "stop"
    number: int
    stop: Stop
    resets: bool | None


class WaitRow(SheetValue):
    """A wait for a bridge or lock, slack water or light, between the rows.

    Parameters
    ----------
    kind
        `wait`.
    wait
        The wait.
    """

    kind: Literal["wait"] = "wait"
    wait: Wait


class LastTurnRow(SheetValue):
    """A point of no return, before the row of the leg that it lies on.

    Parameters
    ----------
    kind
        `last turn`.
    number
        From 1.
    turn
        The point.
    """

    kind: Literal["last turn"] = "last turn"
    number: int
    turn: LastTurn


Line: TypeAlias = LegRow | StopRow | WaitRow | LastTurnRow


def find_lines(saved: SavedPlan, variation_deg: float | None) -> Iterator[Line]:
    """Find the rows for the helm, and what comes between.

    Parameters
    ----------
    saved
        The plan with what the helm checks.
    variation_deg
        [deg] Magnetic variation, east positive; None where it isn't known.

    Yields
    ------
    In the order that they are met.
    """
    plan = saved.plan
    stops, waits = list(enumerate(plan.stops, start=1)), list(plan.waits)
    turns = list(enumerate(saved.helm.last_turns, start=1))
    if stops and is_before_leaving(plan, stops[0][1]):
        number, stop = stops.pop(0)
        yield StopRow(number=number, stop=stop, resets=_resets(saved, stop, plan.depart))
    for hop in _hops(saved):
        legs = [leg for _, leg in hop]
        while waits and waits[0].until <= legs[0].depart:  # told before the legs that it holds up
            yield WaitRow(wait=waits.pop(0))
        for row in _Rows(hop, saved, variation_deg).find():
            while waits and waits[0].until <= row.begins:
                yield WaitRow(wait=waits.pop(0))
            while turns and _is_met(turns[0][1], row):
                number, turn = turns.pop(0)
                yield LastTurnRow(number=number, turn=turn)
            yield row
        if stops and legs[-1].to == stops[0][1].dock and legs[-1].arrive <= stops[0][1].begin:
            number, stop = stops.pop(0)
            yield StopRow(number=number, stop=stop, resets=_resets(saved, stop, stop.depart))


def _is_met(turn: LastTurn, row: LegRow) -> bool:
    """Tell whether a point of no return is met before a row's end."""
    return turn.leg < row.last_leg or (turn.leg == row.last_leg and (not row.part or turn.at <= row.at))


def _resets(saved: SavedPlan, stop: Stop, after: datetime) -> bool | None:
    """Tell whether what the dial should show after a stop counts from there."""
    legs = saved.plan.legs
    later = (mark for mark in saved.helm.marks if legs[mark.leg - 1].depart >= after)
    mark = next(later, None)
    return None if mark is None else mark.since == stop.dock


def _hops(saved: SavedPlan) -> list[_Legs]:
    """Part the legs, with their numbers, at the refuel stops."""
    hops: list[_Legs] = [[]]
    ahead = [stop for stop in saved.plan.stops if not is_before_leaving(saved.plan, stop)]
    for number, leg in enumerate(saved.plan.legs, start=1):
        hops[-1].append((number, leg))
        if ahead and leg.to == ahead[0].dock and leg.arrive <= ahead[0].begin:
            ahead.pop(0)
            hops.append([])
    return [hop for hop in hops if hop]


@dataclass(frozen=True)
class _Piece:
    """What a row takes of one leg."""

    number: int
    leg: Leg
    from_nmi: float
    to_nmi: float

    @property
    def length_nmi(self) -> float:
        return self.to_nmi - self.from_nmi

    @property
    def ends(self) -> bool:
        return self.to_nmi >= self.leg.distance_nmi


class _Rows:
    """Makes the rows of one run, from stop to stop."""

    def __init__(self, hop: _Legs, saved: SavedPlan, variation_deg: float | None) -> None:
        self.hop, self.variation_deg = hop, variation_deg
        self.is_last = hop[-1][0] == len(saved.plan.legs)
        numbers = {number for number, _ in hop}
        marks = [mark for mark in saved.helm.marks if mark.leg in numbers]
        self.at_end = {mark.leg: mark for mark in marks if mark.after_nmi is None}
        self.between = {n: [m for m in marks if m.leg == n and m.after_nmi is not None] for n in numbers}

    def find(self) -> Iterator[LegRow]:
        for group in self._groups():
            pieces: list[_Piece] = []
            seen: list[MeterMark] = []
            for number, leg in group:
                gone_nmi = 0.0
                for index, mark in enumerate(self.between[number]):
                    pieces.append(_Piece(number, leg, gone_nmi, mark.after_nmi or 0.0))
                    yield self._row(pieces, mark, [*seen, mark], letters(index))
                    pieces, seen, gone_nmi = [], [], mark.after_nmi or 0.0
                pieces.append(_Piece(number, leg, gone_nmi, leg.distance_nmi))
                seen += [self.at_end[number]] if number in self.at_end else []
            yield self._row(pieces, seen[-1] if seen else None, seen, "")

    def _groups(self) -> list[_Legs]:
        """Put short legs into one row with the leg after them, the last ones with the leg before."""
        groups: list[_Legs] = [[self.hop[0]]]
        for one, other in pairwise(self.hop):
            if self._shares_a_row(groups[-1], one, other):
                groups[-1].append(other)
            else:
                groups.append([other])
        return groups

    def _shares_a_row(self, group: _Legs, one: tuple[int, Leg], other: tuple[int, Leg]) -> bool:
        leg, after = one[1], other[1]
        if "gate" in (leg.kind, after.kind) or len(group) >= _MOST_STEERED or after.depart > leg.arrive:
            return False  # a bridge is met by itself, and whoever waits has a mark to wait at
        if "approach" in (leg.kind, after.kind) and min(leg.distance_nmi, after.distance_nmi) < _BESIDE_NMI:
            return True
        if _is_strong(leg) != _is_strong(after):
            return False  # nothing is told of still water that holds in a current
        if self._turns(one[0]) and not self._turns(other[0]):
            return False  # the limit belongs to where it is read
        same = leg.speed_kn == after.speed_kn
        return same and all(_is_short(short) for _, short in group)

    def _turns(self, number: int) -> bool:
        return number in self.at_end and self.at_end[number].turn_for is not None

    def _limit(self, seen: Sequence[MeterMark], *, at_end: bool) -> MeterMark | None:
        """Take the latest limit of a row; one for slowing down only where she could still do so."""
        last = next((m for m in reversed(seen) if m.turn_for is not None or m.slow_kn is not None), None)
        if last is None or last.turn_for is not None:
            return last
        ahead = (leg.speed_kn for number, leg in self.hop if number > last.leg or last.after_nmi is not None)
        return last if not at_end and max(ahead, default=0.0) > (last.slow_kn or 0.0) else None

    def _row(self, pieces: Sequence[_Piece], mark: MeterMark | None, seen: Sequence[MeterMark], part: str) -> LegRow:
        last = pieces[-1]
        longest = max(pieces, key=lambda piece: piece.length_nmi)
        steered = [piece for piece in pieces if piece.length_nmi >= _BESIDE_NMI] or pieces  # alongside: by eye
        at_end = last.number == self.hop[-1][0] and not part
        at = mark.at if part and mark is not None else last.leg.arrive
        begins = _moment(pieces[0])
        began = [piece.leg for piece in pieces if piece.from_nmi <= 0]
        return LegRow(
            first_leg=pieces[0].number,
            last_leg=last.number,
            part=part,
            steers=tuple(self._steer(piece) for piece in steered),
            to="" if part else last.leg.to,
            position=mark.position if part and mark is not None else last.leg.to_position,
            leg_nmi=last.leg.distance_nmi,
            after_nmi=last.to_nmi,
            distance_nmi=sum(piece.length_nmi for piece in pieces),
            speed_kn=longest.leg.speed_kn,
            run_h=max(0.0, (at - begins).total_seconds() / 3600),
            begins=begins,
            at=at,
            is_gate=any(leg.kind == "gate" for leg in began),
            ends_at="" if not at_end else "finish" if self.is_last else "stop",
            mark=mark,
            limit=self._limit(seen, at_end=at_end),
            depth_checked=all(piece.leg.depth_checked for piece in pieces),
            cautions=tuple(dict.fromkeys(caution for leg in began for caution in leg.cautions)),
            passes=tuple(
                passed
                for piece in pieces
                for passed in piece.leg.passes
                if piece.from_nmi <= passed.after_nmi and (passed.after_nmi < piece.to_nmi or piece.ends)
            ),
        )

    def _steer(self, piece: _Piece) -> Steer:
        leg = piece.leg
        course_deg = leg.course_deg if leg.steer_deg is None else leg.steer_deg
        runs = runs_in_current(leg)
        return Steer(
            course_deg=course_deg,
            magnetic_deg=None if self.variation_deg is None else (course_deg - self.variation_deg) % 360,
            distance_nmi=piece.length_nmi,
            track_deg=leg.course_deg,
            set_deg=leg.set_deg if runs else None,
            drift_kn=leg.drift_kn if runs else None,
            ground_kn=leg.ground_kn if runs else None,
        )


def _is_strong(leg: Leg) -> bool:
    return (leg.drift_kn or 0.0) >= _STRONG_KN


def _is_short(leg: Leg) -> bool:
    return leg.distance_nmi < _SHORT_NMI or (leg.arrive - leg.depart).total_seconds() / 3600 < _SHORT_H


def _moment(piece: _Piece) -> datetime:
    """Tell when a piece of a leg begins."""
    leg = piece.leg
    return leg.depart + (leg.arrive - leg.depart) * (piece.from_nmi / leg.distance_nmi if piece.from_nmi else 0.0)


def letters(index: int) -> str:
    """Count a, b ... z, aa, ab ...

    Parameters
    ----------
    index
        From 0.

    Returns
    -------
    Small letters.

    Examples
    --------
    >>> letters(0), letters(25), letters(26)
    ('a', 'z', 'aa')
    """
    rest, letter = divmod(index, 26)
    return (letters(rest - 1) if rest else "") + "abcdefghijklmnopqrstuvwxyz"[letter]
