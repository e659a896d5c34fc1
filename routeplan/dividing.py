"""Who goes with whom: one party where all can, else those who need other water, or run short, go their own way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from layers.errors import InputError
from routeplan.dock_choice import Chooser
from routeplan.paces import common_speed_kn
from routeplan.parties import build_parties, water_key

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from layers import Region
    from routeplan.boats import Boat
    from routeplan.cruise_asked import CruiseAsked
    from routeplan.cruise_days import CruiseDays
    from routeplan.margins import Margins
    from routeplan.network import Network
    from routeplan.parties import Party

    DaysOf = Callable[[Party], CruiseDays]

__all__ = ["Division", "Waters", "divide"]

_WORTH_H = 1 / 3  # [h] what a boat's draught or height may cost all others before she goes by herself


@dataclass(frozen=True, eq=False)
class Waters:
    """What parties are built on.

    Parameters
    ----------
    region
        The layers.
    margins
        What is kept clear of.
    today
        The date that staleness of docks is counted from.
    build
        Builds the network of a boat's water.
    """

    region: Region
    margins: Margins
    today: date
    build: Callable[[Boat], Network]

    def parties(
        self, asked: CruiseAsked, groups: Sequence[Sequence[int]], speeds_kn: Sequence[float]
    ) -> tuple[Party, ...]:
        """Build parties.

        Parameters
        ----------
        asked
            The cruise.
        groups
            Which boats go together.
        speeds_kn
            [kn] Speed of each group.

        Returns
        -------
        One a group.
        """
        return build_parties(asked, self.region, groups, speeds_kn, self.today, self.build, self.margins)


@dataclass(frozen=True, eq=False)
class Division:
    """The parties of a cruise.

    Parameters
    ----------
    parties
        The largest first where they keep together.
    why_apart
        By party: why it goes another way than the first; empty for the first, and where each boat goes by herself.
    speed_kn
        [kn] The common speed; None where each keeps her own.
    """

    parties: tuple[Party, ...]
    why_apart: tuple[str, ...]
    speed_kn: float | None


def divide(asked: CruiseAsked, waters: Waters, days_of: DaysOf) -> Division:
    """Divide a cruise's boats into parties.

    Parameters
    ----------
    asked
        The cruise.
    waters
        What parties are built on.
    days_of
        Lays the days out, once the visits are joined.

    Returns
    -------
    At their own pace one party a boat. Together one party, if all boats have one way over one water with stops that do
    for all; else boats are taken out one by one until the rest has: those that can't use the water first, then those
    whose water would cost the rest over 20 minutes, then those that run short. Boats taken out for one reason that
    need the same water are one party.

    Raises
    ------
    InputError
        A boat can't hold the common speed, or no boat can reach a visit.
    """
    everyone = range(len(asked.boats))
    if asked.pace == "own":
        speeds = [one.boat.cruising_speed_kn for one in asked.boats]
        return Division(waters.parties(asked, [[m] for m in everyone], speeds), ("",) * len(speeds), None)
    speed_kn = common_speed_kn([one.boat for one in asked.boats], asked.speed_kn)
    apart: dict[int, str] = {}
    main = _with_one_water(asked, waters, speed_kn, list(everyone), apart)
    main = _without_the_dear(asked, waters, speed_kn, main, apart)
    main = _with_one_way(asked, waters, speed_kn, main, apart, days_of)
    groups: dict[tuple[int, int, str], list[int]] = {}
    for m, why in apart.items():
        kind = why.split(":", maxsplit=1)[0]
        key = water_key(waters.region, asked.boats[m].boat, waters.margins)
        groups.setdefault((*key, kind), []).append(m)
    several = [main, *groups.values()]
    return Division(
        waters.parties(asked, several, [speed_kn] * len(several)),
        ("", *(apart[group[0]] for group in groups.values())),
        speed_kn,
    )


def _with_one_water(
    asked: CruiseAsked, waters: Waters, speed_kn: float, main: list[int], apart: dict[int, str]
) -> list[int]:
    """Take out boats until the rest can reach every visit over one water: the deepest or tallest first."""
    while len(main) > 1:
        try:
            waters.parties(asked, [main], [speed_kn])
        except InputError as error:
            m = _most_demanding(asked, waters, main)
            apart[m] = f"{_need(asked, m)}: over the water that she can use the group could not reach {_place(error)}"
            main = [each for each in main if each != m]
        else:
            break
    return main


def _without_the_dear(
    asked: CruiseAsked, waters: Waters, speed_kn: float, main: list[int], apart: dict[int, str]
) -> list[int]:
    """Take out boats whose water would cost the rest too much time."""
    while len(main) > 1:
        keys = {m: water_key(waters.region, asked.boats[m].boat, waters.margins) for m in main}
        m = _most_demanding(asked, waters, main)
        rest = [each for each in main if each != m]
        if len(set(keys.values())) == 1:
            break
        with_her, without = (_direct_h(waters.parties(asked, [g], [speed_kn])[0]) for g in (main, rest))
        if with_her - without <= _WORTH_H:
            break
        longer_min = round((with_her - without) * 60)
        apart[m] = f"{_need(asked, m)}: her water would cost the others {longer_min} min"
        main = rest
    return main


def _with_one_way(
    asked: CruiseAsked, waters: Waters, speed_kn: float, main: list[int], apart: dict[int, str], days_of: DaysOf
) -> list[int]:
    """Take out boats until some stops do for all the rest: those that can't by themselves are left to be refused."""
    while len(main) > 1:
        (party,) = waters.parties(asked, [main], [speed_kn])
        chooser = Chooser([party], days_of(party))
        if chooser.unable() or chooser.has_a_way():
            break
        shortest = min(range(len(main)), key=lambda m: _range_share(party, m))
        m = main[shortest]
        apart[m] = "range or fuel: no one set of stops does for her and all the others"
        main = [each for each in main if each != m]
    return main


def _direct_h(party: Party) -> float:
    return sum(
        min((float(party.ways.time_h[w]) for b, w in party.ways.out.get(a, ()) if b == c), default=float("inf"))
        for a, c in pairwise(party.visits)
    )


def _range_share(party: Party, m: int) -> float:
    """[nmi] Tell how far a full tank carries a member in open water."""
    problem = party.problem(m)
    return (problem.full_l - problem.floor_l) / float(party.rates[m].litres_per_nmi[0])


def _most_demanding(asked: CruiseAsked, waters: Waters, boats: Sequence[int]) -> int:
    """Find the boat that the least water is deep and high enough for."""
    keys = {m: water_key(waters.region, asked.boats[m].boat, waters.margins) for m in boats}
    return max(boats, key=lambda m: (sum(keys[m]), asked.boats[m].boat.air_draught_m, -m))


def _need(asked: CruiseAsked, m: int) -> str:
    boat = asked.boats[m].boat
    return f"draught {boat.units.depth_up(boat.draught_m)}, height {boat.units.depth_up(boat.air_draught_m)}"


def _place(error: InputError) -> str:
    return str(error.problem).split(" can't be reached", maxsplit=1)[0]
