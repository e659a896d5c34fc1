"""A refuel search as a value, and the ways to come to a place that it weighs against one another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from layers.hours import NeverOpensError
from routeplan.fuel import low_figure_l

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    import networkx as nx

    from routeplan.conditions import Conditions
    from routeplan.daylight import Daylight
    from routeplan.docks import Dock
    from routeplan.network import Network
    from routeplan.tracks import Track
    from routeplan.trips import ClosedDockRule

__all__ = ["FillUp", "Hop", "Label", "Problem"]


@dataclass(frozen=True)
class Problem:
    """A refuel search.

    Parameters
    ----------
    network
        Its water's gates count.
    graph
        Hops between places, from `build_dock_graph`; parallel ones differ in time, fuel, speed or gates.
    docks
        Suitable docks by terminal.
    start
        Terminal of the departure.
    targets
        Terminals to pass in order, the last one the destination.
    depart
        Departure, zone-aware.
    mean_l, sd_l
        [l] Fuel aboard at departure.
    full_l, full_sd_l
        [l] Full mark and how sure a fill to it is.
    floor_l
        [l] What no arrival may touch.
    sd_share
        [share] Relative standard deviation of the burn, one factor for the whole passage.
    z
        Standard deviations to keep clear.
    berthing_h
        [h] At each stop, besides pumping.
    may_wait
        Terminals at which a boat can lie and wait: the departure, docks, harbours, anchorages.
    unusable_l
        [l] What the way to an alternate may run down to under the closed-dock rule.
    closed_dock
        Whether every stop must leave a way out if its dock turns out closed: on the reserve (`on`), above it
        (`strict`), or not (`off`).
    fill_first
        Whether the passage begins with a fill at the departure, which is then one of the docks.
    guess_price_per_l
        [currency/l] What a fill is reckoned at where its dock states no price.
    avoid
        Docks not to be stopped at, which are still somewhere to go to if another is closed.
    conditions
        Currents and sea that its tracks reckon with; None in still water.
    daylight
        When a boat may be under way; None at any time.
    rests
        Terminals at which a night may be spent without a fill.
    """

    network: Network
    graph: nx.MultiDiGraph
    docks: Mapping[int, Dock]
    start: int
    targets: tuple[int, ...]
    depart: datetime
    mean_l: float
    sd_l: float
    full_l: float
    full_sd_l: float
    floor_l: float
    sd_share: float
    z: float
    berthing_h: float
    may_wait: frozenset[int]
    unusable_l: float = 0.0
    closed_dock: ClosedDockRule = "off"
    fill_first: bool = False
    guess_price_per_l: float = 0.0
    avoid: frozenset[int] = frozenset()
    conditions: Conditions | None = None
    daylight: Daylight | None = None
    rests: frozenset[int] = frozenset()

    def low_l(self, mean_l: float, burned_l: float, sd_l: float) -> float:
        """[l] The low figure at this problem's confidence.

        Parameters
        ----------
        mean_l, burned_l, sd_l
            [l] Mean at the last known level and part fills since, burn since, standard deviation of that level.

        Returns
        -------
        The low figure.
        """
        return low_figure_l(mean_l, burned_l, sd_l, self.sd_share, self.z)

    def fills_at(self, place: int) -> bool:
        """Tell whether a passage may stop at a place for fuel.

        Parameters
        ----------
        place
            Terminal.

        Returns
        -------
        True at docks that aren't to be avoided.
        """
        return place in self.docks and place not in self.avoid

    def wait_h(self, place: int, arrive_h: float, take_l: float) -> float | None:
        """[h] Tell how long a boat waits for a dock to open for a fill.

        Parameters
        ----------
        place
            Terminal of a dock.
        arrive_h
            [h] Arrival, since the passage's departure.
        take_l
            [l] Volume to be pumped.

        Returns
        -------
        The wait; None where the dock never opens for so long.
        """
        dock = self.docks[place]
        if dock.hours is None:
            return 0.0
        arrive = self.depart + timedelta(hours=arrive_h)
        try:
            return (dock.begin_fill(arrive, dock.fill_h(take_l, self.berthing_h)) - arrive) / timedelta(hours=1)
        except NeverOpensError:
            return None

    def price_per_l(self, place: int) -> float:
        """[currency/l] What fuel is reckoned at.

        Parameters
        ----------
        place
            Terminal of a dock.

        Returns
        -------
        The dock's price, or the guess.
        """
        price = self.docks[place].price_per_l
        return self.guess_price_per_l if price is None else price


@dataclass(frozen=True)
class Hop:
    """One track sailed.

    Parameters
    ----------
    track
        The track, with the time, fuel and gates that it has when it is left then.
    depart_h, arrive_h
        [h] Since the passage's departure; a wait for a gate lies before the departure.
    wait_h
        [h] Waited at the place left: so that a gate is open when reached, a current can be passed, or it is light.
    gate
        Name of what is waited for; empty without.
    """

    track: Track
    depart_h: float
    arrive_h: float
    wait_h: float
    gate: str


@dataclass(frozen=True)
class FillUp:
    """One fill.

    Parameters
    ----------
    begin_h, end_h
        [h] At the dock, since the passage's departure.
    wait_h
        [h] Waited for it to open.
    take_l
        [l] Mean volume pumped.
    to_mark
        Whether it ends at the full mark, and the level is known again.
    """

    begin_h: float
    end_h: float
    wait_h: float
    take_l: float
    to_mark: bool = True


@dataclass(frozen=True, eq=False)
class Label:
    """One way to have come to a place.

    Parameters
    ----------
    place
        Terminal.
    stage
        How many of the problem's targets have been passed.
    time_h
        [h] When it is ready to go on, since the passage's departure.
    stops
        Fill-ups so far.
    cost
        [currency] Of the fill-ups so far, with the guess where a price isn't known.
    mean_l, burned_l, sd_l
        [l] Fuel at the last known level with the part fills since, mean burn since, standard deviation of that level.
    before
        The label it came from; None at the departure.
    hop
        How it came; None at the departure.
    fill
        The fill-up made here; None where none was.
    least_margin_l
        [l] Least low figure above the floor over the arrivals so far; infinity at the departure.
    """

    place: int
    stage: int
    time_h: float
    stops: int
    cost: float
    mean_l: float
    burned_l: float
    sd_l: float
    before: Label | None = None
    hop: Hop | None = None
    fill: FillUp | None = None
    least_margin_l: float = float("inf")

    @property
    def aboard_l(self) -> float:
        """[l] Mean fuel aboard."""
        return self.mean_l - self.burned_l

    @property
    def on_arrival(self) -> tuple[float, float, float]:
        """[l] Level with part fills, burn since and that level's sd on coming in, before any fill; not at departure.

        Raises
        ------
        ValueError
            It didn't come from anywhere.
        """
        if self.before is None or self.hop is None:
            raise ValueError(self.place)
        return self.before.mean_l, self.before.burned_l + self.hop.track.fuel_l, self.before.sd_l

    def path(self) -> list[Label]:
        """Follow it back.

        Returns
        -------
        All labels from the departure to this one.
        """
        steps: list[Label] = []
        label: Label | None = self
        while label is not None:
            steps.append(label)
            label = label.before
        return steps[::-1]
