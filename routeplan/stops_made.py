"""Which of a plan's stops were made, as the fill-ups in the log tell, and the runs that lie between them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from routeplan.fillups import Entry
from routeplan.plan_hops import find_hops
from routeplan.runs_taken import is_named

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from routeplan.fillups import Fillup, SpeedRun
    from routeplan.plan_hops import Hop
    from routeplan.plans import Leg
    from routeplan.saved_plans import Before, SavedPlan

__all__ = ["Between", "find_between", "match_stops"]

_BEFORE = timedelta(hours=3)  # a fill-up so long before leaving may belong to the departure
_AFTER = timedelta(hours=1)  # one entered so long after arriving may be told of as being before it
_AT_ONE_PLACE = timedelta(minutes=10)  # two fill-ups this near are of one stop
_LATE_H = 12.0  # h by which a fill-up may be off the plan before order and time no longer tell its stop
_SAME_DOCK = 3.0  # how much more a name tells than a time
_TAKEN_OVER = 0.1  # the same where the name is that of the fill-up before: the log takes over what wasn't typed
_STRANGE_H = 0.5  # h by which a fill-up at a dock that the plan doesn't know may be off, and still be a stop misspelt
_AT_START_H = 1 / 3  # h after leaving, as typed or planned, by which a fill-up may still be of the departure
_LONGEST_STAY = 0.5  # share of the time since the last stop that lying alongside may have been


@dataclass(frozen=True)
class Between:
    """The run from one stop that was made to the next, or to where the passage ended.

    Parameters
    ----------
    start, finish
        Where.
    began, ended
        When, as near as log and plan tell.
    legs
        The plan's legs on it, past stops that weren't made; empty where she went another way.
    opened_by, closed_by
        The fill-ups at either end; None where there is none.
    skipped
        Planned stops on it that no fill-up in the log is of.
    cut_at
        Fill-ups on it that the plan knows nothing of.
    before_nmi, before_l, before_h
        [nmi, l, h] What was run of it before the plan begins, where that was made underway.
    before_speeds
        How long at which speed that was.
    """

    start: str
    finish: str
    began: datetime
    ended: datetime
    legs: tuple[Leg, ...]
    opened_by: Entry | None = None
    closed_by: Entry | None = None
    skipped: tuple[str, ...] = ()
    cut_at: tuple[Entry, ...] = ()
    before_nmi: float = 0.0
    before_l: float = 0.0
    before_h: float = 0.0
    before_speeds: tuple[SpeedRun, ...] = ()

    @property
    def distance_nmi(self) -> float:
        """[nmi] By the plan, with what was run before it."""
        return self.before_nmi + sum(leg.distance_nmi for leg in self.legs)

    @property
    def fuel_l(self) -> float:
        """[l] Mean burn by the plan, with what was planned before it."""
        return self.before_l + sum(leg.fuel_l for leg in self.legs)

    @property
    def legs_h(self) -> float:
        """[h] Under way by the plan, waits at gates left out."""
        return self.before_h + sum(leg.distance_nmi / leg.speed_kn for leg in self.legs)

    @property
    def whole_h(self) -> float:
        """[h] From end to end by the plan, time at stops that weren't made left out."""
        waited = sum(
            ((b.depart - a.arrive) for a, b in zip(self.legs, self.legs[1:], strict=False) if a.to not in self.skipped),
            timedelta(0),
        )
        ran = sum(((leg.arrive - leg.depart) for leg in self.legs), timedelta(0))
        return self.before_h + (ran + waited).total_seconds() / 3600

    @property
    def elapsed_h(self) -> float:
        """[h] From end to end, as it was."""
        return (self.ended - self.began).total_seconds() / 3600


@dataclass(frozen=True)
class _Place:
    """Somewhere on the plan where a fill-up may have been made."""

    name: str
    expected: datetime  # the end of the fill
    stay: timedelta  # from coming alongside to the end of the fill
    hop: int  # index of the hop that ends there; -1 at the departure


def find_between(
    saved: SavedPlan, entries: Sequence[Entry], departed: datetime, arrived: datetime, finish: str | None = None
) -> tuple[Between, ...]:
    """Cut a passage at the stops that were made.

    Parameters
    ----------
    saved
        The plan.
    entries
        The boat's fill-ups that hold, in order of time.
    departed, arrived
        When she left (of a plan that was made underway, when the run began that she was on), and when she was where
        the passage ended.
    finish
        Where that was, if not at the plan's destination. Where it is a place that the plan passes, the plan holds up to
        there; else the last run has no legs.

    Returns
    -------
    In order; one at the least, unless the plan has no legs.

    Notes
    -----
    A fill-up is of a stop by its dock's name, or by its place in the order and its time where the name tells nothing,
    as the log takes a dock that wasn't typed from the fill-up before. The likeliest match of all together is taken.
    """
    hops = find_hops(saved.plan, saved.boat, saved.trip.aboard)
    if not hops:
        return ()
    if finish is not None:
        hops, finish = _up_to(hops, finish)
    places = _places(hops, departed, arrived, finish, saved.before)
    seen = _stops_of([e for e in entries if departed - _BEFORE <= e.fillup.when <= arrived + _AFTER])
    earlier = [e for e in entries if e.fillup.when < departed - _BEFORE][-1:]
    befores: list[Entry | None] = [earlier[0] if earlier else None, *seen]
    match = _match(seen, befores, places)
    other = finish is not None
    begun = next((e for i, e in match if places[i].hop < 0), None)
    spans: list[Between] = []
    start, opened = (hops[0].legs[0].from_ if saved.before is None else saved.before.start, begun)
    began = departed if begun is None else max(departed, begun.fillup.when)
    first = 0
    for index, entry in match:
        place = places[index]
        if place.hop < 0 or index == len(places) - 1 or entry.fillup.when <= began:
            continue
        ended = _arrived_at(began, entry, place)
        spans.append(_span(hops, first, place.hop, Between(start, place.name, began, ended, (), opened, entry)))
        start, began, opened, first = place.name, entry.fillup.when, entry, place.hop + 1
    closed = next((e for i, e in match if i == len(places) - 1 and e.fillup.when > began), None)
    ended = arrived if closed is None else min(arrived, _arrived_at(began, closed, places[-1]))
    last = Between(start, places[-1].name, began, max(ended, began), (), opened, closed)
    spans.append(last if other else _span(hops, first, len(hops) - 1, last))
    spans[0] = _with_before(spans[0], saved.before)
    matched = {entry.entry for _, entry in match}
    loose = [e for e in seen if e.entry not in matched]
    return tuple(_with_cuts(span, loose) for span in spans if span.ended > span.began)


def match_stops(saved: SavedPlan, fillups: Sequence[Fillup], departed: datetime, until: datetime) -> dict[int, int]:
    """Tell which fill-ups were made at which of a plan's stops, on a passage that isn't over.

    Parameters
    ----------
    saved
        The plan.
    fillups
        The boat's, in order of time.
    departed, until
        When she left, and now.

    Returns
    -------
    Index of the run that each fill-up ended, by its own index; -1 for one at the departure. Those that the plan knows
    nothing of are left out.
    """
    hops = find_hops(saved.plan, saved.boat, saved.trip.aboard)
    if not hops:
        return {}
    places = _places(hops, departed, until, None)
    places = places if hops[-1].ended_by is not None else places[:-1]
    entries = [Entry(entry=f"{i:08d}", entered=f.when, fillup=f) for i, f in enumerate(fillups)]
    seen = _stops_of([e for e in entries if departed - _BEFORE <= e.fillup.when <= until])
    earlier = [e for e in entries if e.fillup.when < departed - _BEFORE][-1:]
    befores: list[Entry | None] = [earlier[0] if earlier else None, *seen]
    return {int(entry.entry): places[place].hop for place, entry in _match(seen, befores, places)}


def _up_to(hops: tuple[Hop, ...], finish: str) -> tuple[tuple[Hop, ...], str | None]:
    """Cut a plan at a place that it passes; one that it doesn't pass stays."""
    for number, hop in enumerate(hops):
        for count, leg in enumerate(hop.legs, start=1):
            if _plain(leg.to) == _plain(finish):
                return (*hops[:number], replace(hop, legs=hop.legs[:count], ended_by=None)), None
    return hops, finish.strip()


def _places(
    hops: Sequence[Hop], departed: datetime, arrived: datetime, finish: str | None, before: Before | None = None
) -> list[_Place]:
    shift, begun_by = departed - hops[0].legs[0].depart, hops[0].begun_by
    if before is not None:
        shift = timedelta(0)  # she was seen where the plan begins
    stay = timedelta(0) if begun_by is None else begun_by.depart - begun_by.arrive
    places = [_Place(hops[0].start if before is None else before.start, departed, stay, -1)]
    for number, hop in enumerate(hops[:-1]):
        if hop.ended_by is not None:
            stop = hop.ended_by
            places.append(_Place(stop.dock, stop.depart + shift, stop.depart - stop.arrive, number))
    return [*places, _Place(hops[-1].legs[-1].to if finish is None else finish, arrived, timedelta(0), len(hops) - 1)]


def _stops_of(entries: Sequence[Entry]) -> list[Entry]:
    """Leave out what was added to a fill some minutes later, as a second entry of the same dock."""
    kept: list[Entry] = []
    for entry in entries:
        last = kept[-1].fillup if kept else None
        if last is None or entry.fillup.when - last.when > _AT_ONE_PLACE or entry.fillup.dock not in {"", last.dock}:
            kept.append(entry)
    return kept


def _match(
    entries: Sequence[Entry], befores: Sequence[Entry | None], places: Sequence[_Place]
) -> list[tuple[int, Entry]]:
    """Find the likeliest match, both in order; each place and each fill-up at most once."""
    names = {_plain(place.name) for place in places}
    best: dict[tuple[int, int], tuple[float, tuple[tuple[int, Entry], ...]]] = {}
    for e in range(len(entries), -1, -1):
        for p in range(len(places), -1, -1):
            if e == len(entries) or p == len(places):
                best[e, p] = (0.0, ())
                continue
            options = [best[e + 1, p], best[e, p + 1]]
            score = _score(entries[e], befores[e], places[p], names)
            if score > 0:
                rest = best[e + 1, p + 1]
                options.append((score + rest[0], ((p, entries[e]), *rest[1])))
            best[e, p] = max(options, key=lambda option: option[0])
    return list(best[0, 0][1])


def _score(entry: Entry, before: Entry | None, place: _Place, names: set[str]) -> float:
    """Tell how likely a fill-up is of a place; 0 or less where it isn't."""
    off_h = (entry.fillup.when - place.expected).total_seconds() / 3600
    near = 1.0 - abs(off_h) / _LATE_H
    dock = _plain(entry.fillup.dock)
    taken_over = not dock or (before is not None and dock == _plain(before.fillup.dock))
    if is_named(dock, place.name):
        return near + (_TAKEN_OVER if taken_over else _SAME_DOCK)
    if place.hop < 0 and off_h > _AT_START_H:
        return 0.0
    if taken_over:
        return near
    if dock in names:
        return 0.0
    return near if abs(off_h) <= _STRANGE_H else 0.0


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _arrived_at(began: datetime, entry: Entry, place: _Place) -> datetime:
    """Tell when she came alongside: a fill-up is written down once the pump has stopped."""
    stay = min(place.stay, _LONGEST_STAY * (entry.fillup.when - began))
    return entry.fillup.when - stay


def _span(hops: Sequence[Hop], first: int, last: int, span: Between) -> Between:
    """Give a run its legs, and name the stops that it went past."""
    part = hops[first : last + 1]
    skipped = tuple(hop.ended_by.dock for hop in part[:-1] if hop.ended_by is not None)
    return replace(span, legs=tuple(leg for hop in part for leg in hop.legs), skipped=skipped)


def _with_before(span: Between, before: Before | None) -> Between:
    """Give the first run what was run of it before the plan was made."""
    if before is None or not span.legs:
        return span
    hours = max((span.legs[0].depart - before.began).total_seconds() / 3600, 0.0)
    return replace(
        span,
        before_nmi=before.distance_nmi,
        before_l=before.planned_l,
        before_h=hours,
        before_speeds=before.speeds_run,
    )


def _with_cuts(span: Between, loose: Sequence[Entry]) -> Between:
    on_it = [e for e in loose if span.began + _AT_ONE_PLACE < e.fillup.when < span.ended - _AT_ONE_PLACE]
    return replace(span, cut_at=tuple(on_it))
