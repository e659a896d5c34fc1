"""When to leave: the plan of every departure in a window, and what each one meets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, Literal

from layers.errors import InputError
from routeplan.asking import ask
from routeplan.cautions import find_gaps, safety_cautions
from routeplan.gate_waits import DAYLIGHT, SLACK
from routeplan.moving_refusals import find_shut_current
from routeplan.planner import Planner, find_conditions
from routeplan.search import find_labels
from routeplan.sun import is_dark

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from routeplan.boats import Boat
    from routeplan.currents import Currents
    from routeplan.network import Network
    from routeplan.problem import Label, Problem
    from routeplan.sea_allowance import SeaAllowance
    from routeplan.trips import Trip

__all__ = ["EVERY", "LONGEST", "Bite", "Departure", "Departures", "Holds", "find_departures"]

EVERY = timedelta(minutes=10)  # between departures
LONGEST = timedelta(hours=48)  # window that is looked through at once
_WORTH_TELLING_H = 1 / 60  # [h] a shorter wait isn't told
_DELAY_H = 5 / 60  # [h] a wait that is longer breaks the window in which a plan holds

BiteKind = Literal["slack", "gate", "dock", "daylight", "dark", "fuel", "closed-dock"]


@dataclass(frozen=True)
class Bite:
    """What a departure meets.

    Parameters
    ----------
    kind
        `slack`: a current can't be passed; `gate`: a bridge or lock is shut; `dock`: a dock is; `daylight`: the night
        is spent ashore; `dark`: she leaves or arrives in the dark; where there is no plan, `slack`, `daylight`, `dock`,
        `closed-dock` (the rule) or `fuel`, whichever stands in the way.
    where
        The current, gate, dock or place; empty where nothing is named.
    wait_h
        [h] Waited for it; 0 where nothing is waited for.
    """

    kind: BiteKind
    where: str
    wait_h: float


@dataclass(frozen=True)
class Departure:
    """The plan of one departure.

    Parameters
    ----------
    depart
        When she leaves where she lies, or could: a wait there is part of the passage.
    arrive
        At the destination; None where no plan keeps the rules.
    time_h, under_way_h
        [h] Until she arrives, and of that under way.
    fuel_l
        [l] Mean burn.
    least_margin_l
        [l] Least low figure above the floor.
    stops
        Docks that she fills at.
    bites
        What it meets, the longest wait first.
    """

    depart: datetime
    arrive: datetime | None
    time_h: float
    under_way_h: float
    fuel_l: float
    least_margin_l: float
    stops: tuple[str, ...]
    bites: tuple[Bite, ...]

    @property
    def holds(self) -> bool:
        """Whether she gets there without waiting to speak of, and never leaves or arrives in the dark."""
        return self.arrive is not None and not any(b.kind == "dark" or b.wait_h > _DELAY_H for b in self.bites)


@dataclass(frozen=True)
class Holds:
    """A span of departures in which one plan holds: the same stops, no wait, nothing in the dark.

    Parameters
    ----------
    first, last
        Its departures.
    stops
        Docks that she fills at.
    """

    first: datetime
    last: datetime
    stops: tuple[str, ...]


@dataclass(frozen=True)
class Departures:
    """Every departure of a window.

    Parameters
    ----------
    rows
        In order, ten minutes apart.
    still_water
        Whether no current was reckoned with.
    cautions
        What holds for all of them, the safety cautions first.
    """

    rows: tuple[Departure, ...]
    still_water: bool
    cautions: tuple[str, ...] = ()

    @property
    def holding(self) -> tuple[Holds, ...]:
        """The spans in which a plan holds, in order."""
        found = []
        for key, group in groupby(self.rows, key=lambda row: row.stops if row.holds else None):
            rows = list(group)
            if key is not None:
                found.append(Holds(rows[0].depart, rows[-1].depart, key))
        return tuple(found)

    @property
    def soonest(self) -> Departure | None:
        """The departure that arrives first; None where none has a plan."""
        return min((r for r in self.rows if r.arrive), key=lambda r: (r.arrive, -r.depart.timestamp()), default=None)

    @property
    def shortest(self) -> Departure | None:
        """The departure with the shortest passage, the earliest of such; None where none has a plan."""
        return min((r for r in self.rows if r.arrive), key=lambda r: (round(r.time_h, 3), r.depart), default=None)

    @property
    def thriftiest(self) -> Departure | None:
        """The departure that burns least, the earliest of such; None where none has a plan."""
        return min((r for r in self.rows if r.arrive), key=lambda r: (round(r.fuel_l, 1), r.depart), default=None)


def find_departures(
    network: Network,
    trip: Trip,
    last: datetime,
    *,
    now: datetime | None = None,
    boat: Boat | None = None,
    currents: Currents | None = None,
    sea: SeaAllowance | None = None,
    notes: Sequence[str] = (),
) -> Departures:
    """Plan every departure of a window.

    Parameters
    ----------
    network
        Built for the boat.
    trip
        What is asked; its departure is the first of the window.
    last
        The last departure.
    now, boat, currents, sea, notes
        As in `routeplan.passage.find_passage`.

    Returns
    -------
    The departures. Each row is the plan that `find_passage` recommends for its departure; hops, ways and currents are
    worked out once for all of them, so that a hop may be some seconds quicker by a way that another departure found.

    Raises
    ------
    InputError
        The window ends before it begins, or is too long; or as in `find_passage`.
    """
    if last < trip.depart:
        raise InputError(
            "--depart-between",
            "ends before it begins",
            value=" ".join(f"{moment.astimezone(network.region.zone):%H:%M}" for moment in (trip.depart, last)),
            remedy="turn it round",
        )
    if last - trip.depart > LONGEST:
        raise InputError(
            "--depart-between",
            f"is longer than {LONGEST / timedelta(hours=1):g} hours",
            value=f"{(last - trip.depart) / timedelta(hours=1):.1f} h",
            remedy="ask for a shorter window",
        )
    conditions = find_conditions(trip, currents, sea, last)
    question, doubts = ask(network, trip, boat or network.boat, now or trip.depart, conditions)
    planner = Planner(question)
    if network.water.margins.fairways and planner.choose(best_only=True)[1] is None:  # a wish; the rules aren't
        planner = Planner(question, fairways=False)
    rows = []
    depart = trip.depart
    while depart <= last:
        problem, choice = planner.choose(depart, best_only=True)
        rows.append(_none(planner, problem) if choice is None else _tell(problem, choice.recommended))
        depart += EVERY
    latest = max((row.arrive for row in rows if row.arrive is not None), default=last)
    cautions = (*safety_cautions(conditions), *notes, *doubts, *find_gaps(conditions, latest))
    return Departures(tuple(rows), conditions is None or conditions.currents is None, cautions)


def _tell(problem: Problem, label: Label) -> Departure:
    terminals = problem.network.terminals
    path = label.path()
    hops = [step.hop for step in path if step.hop is not None]
    arrive = problem.depart + timedelta(hours=label.time_h)
    bites = sorted(_bites(problem, path), key=lambda bite: -bite.wait_h)
    bites += _dark(problem, path)
    margin_l = min(label.least_margin_l, problem.low_l(problem.mean_l, 0.0, problem.sd_l) - problem.floor_l)
    return Departure(
        problem.depart,
        arrive,
        label.time_h,
        sum(hop.track.time_h for hop in hops),
        sum(hop.track.fuel_l for hop in hops),
        label.least_margin_l if hops else margin_l,
        tuple(terminals[step.place].place.name for step in path if step.fill is not None),
        tuple(bites),
    )


def _dark(problem: Problem, path: Sequence[Label]) -> list[Bite]:
    """Tell where she leaves or arrives in the dark, the last place first; nothing where she never does."""
    places = [terminal.place for terminal in problem.network.terminals]
    for before, step in reversed(list(pairwise(path))):
        if step.hop is None:
            continue
        for terminal, time_h in ((step.place, step.hop.arrive_h), (before.place, step.hop.depart_h)):
            if is_dark(places[terminal].position, problem.depart + timedelta(hours=time_h)):
                return [Bite("dark", places[terminal].name, 0.0)]
    return []


def _bites(problem: Problem, path: Sequence[Label]) -> Iterator[Bite]:
    """Yield what is waited for on a way."""
    names = [terminal.place.name for terminal in problem.network.terminals]
    for before, step in pairwise(path):
        if step.hop is None:
            continue
        came_h = before.hop.arrive_h if before.hop is not None and before.fill is None else before.time_h
        wait_h = step.hop.depart_h - came_h
        gate = step.hop.gate
        if wait_h > _WORTH_TELLING_H:
            if gate.startswith(SLACK):
                yield Bite("slack", gate.removeprefix(SLACK).removeprefix(" at "), wait_h)
            elif gate in ("", DAYLIGHT):
                yield Bite("daylight", names[before.place], wait_h)
            else:
                yield Bite("gate", gate, wait_h)
    for step in path:
        if step.fill is not None and step.fill.wait_h > _WORTH_TELLING_H:
            yield Bite("dock", names[step.place], step.fill.wait_h)


def _none(planner: Planner, problem: Problem) -> Departure:
    """Say what stands in the way where there is no plan: what, left aside alone, would make one."""
    shut = find_shut_current(planner.tracks[0], problem)
    if shut is not None:
        return Departure(problem.depart, None, 0.0, 0.0, 0.0, 0.0, (), (Bite("slack", shut.name, 0.0),))
    free = {i: replace(dock, hours=None) for i, dock in problem.docks.items()}
    tries: list[tuple[BiteKind, Problem]] = [
        ("daylight", replace(problem, daylight=None)),
        ("dock", replace(problem, docks=free)),
        ("closed-dock", replace(problem, closed_dock="off")),
    ]
    kind: BiteKind = next((k for k, other in tries if other != problem and find_labels(other, ("time",))), "fuel")
    return Departure(problem.depart, None, 0.0, 0.0, 0.0, 0.0, (), (Bite(kind, "", 0.0),))
