"""How far a boat can go from where she is: over water, there and back, to which places, and how long a dock is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from routeplan.cautions import SAFETY_CAUTIONS, find_doubts
from routeplan.docks import read_docks
from routeplan.fuel import promised_range_nmi
from routeplan.joining import check_speed, join_place
from routeplan.outings import AskedReach
from routeplan.reach_areas import find_areas, find_data_edges
from routeplan.reach_docks import docks_on_reserve, find_docks
from routeplan.reach_gates import find_shut, shut_words
from routeplan.reach_places import find_places, find_ways
from routeplan.reached import NoReachError
from routeplan.tracks import Tracks

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    import shapely

    from routeplan.boats import Boat
    from routeplan.docks import Dock
    from routeplan.network import Network, Place
    from routeplan.outings import Outing
    from routeplan.reached import AreaKind, Figure, InReach, ReachArea, TurningPoint

__all__ = ["Reach", "find_reach"]


@dataclass(frozen=True, eq=False)
class Reach:
    """How far a boat can go.

    Parameters
    ----------
    network
        The network, with the start joined.
    boat
        The boat, with the burn that was reckoned with.
    outing
        What was asked.
    start
        Where she is.
    start_is_dock
        Whether it is a dock that is counted on.
    speeds_kn
        [kn] Chosen speeds, the first one for places, turning points and dock water.
    areas
        Water in reach: by speed, then kind, mean before low.
    places
        Harbours, anchorages and docks in reach on the low figure, nearest first.
    turning_points
        Points of no return, nearest first.
    dock_water
        [deg] Water from which some dock that is counted on can still be made, on the low figure; None where there is
        no such dock.
    docks_left_out
        Docks in reach that suit but aren't counted on for turning points and dock water, each with the reason.
    docks
        Every dock of the region as the boat meets it.
    promised_nmi
        [nmi] Distance that the fuel aboard promises at the first speed.
    rings_nmi
        [nmi] Range rings asked for.
    data_edges
        [deg] Where the data end before the reach does; may be empty.
    cautions
        The safety cautions first.
    """

    network: Network
    boat: Boat
    outing: Outing
    start: Place
    start_is_dock: bool
    speeds_kn: tuple[float, ...]
    areas: tuple[ReachArea, ...]
    places: tuple[InReach, ...]
    turning_points: tuple[TurningPoint, ...]
    dock_water: shapely.MultiPolygon | None
    docks_left_out: tuple[tuple[str, str], ...]
    docks: tuple[Dock, ...]
    promised_nmi: float
    rings_nmi: tuple[float, ...]
    data_edges: shapely.MultiLineString
    cautions: tuple[str, ...]

    @property
    def speed_kn(self) -> float:
        """[kn] The first of the chosen speeds."""
        return self.speeds_kn[0]

    @property
    def cut_by_extent(self) -> bool:
        """Whether some area ends where the data do."""
        return any(area.cut_by_extent for area in self.areas)

    def area(self, kind: AreaKind, figure: Figure, speed_kn: float | None = None) -> ReachArea | None:
        """Find an area.

        Parameters
        ----------
        kind, figure
            As in `ReachArea`.
        speed_kn
            [kn] One of the chosen speeds; the first where None.

        Returns
        -------
        The area; None where it wasn't asked for. Of two budgets the one that was asked for.
        """
        speed_kn = self.speed_kn if speed_kn is None else speed_kn
        wanted = (kind, figure, speed_kn)
        return next((a for a in self.areas if (a.kind, a.figure, a.speed_kn) == wanted), None)


def find_reach(
    network: Network,
    outing: Outing,
    *,
    now: datetime | None = None,
    boat: Boat | None = None,
    notes: Sequence[str] = (),
    progress: Callable[[float], None] | None = None,
) -> Reach:
    """Find how far a boat can go.

    Parameters
    ----------
    network
        Built for the boat.
    outing
        What is asked.
    now
        The clock: docks are stale against it. None takes the departure itself.
    boat
        The boat with another burn than the network's, such as one the log has taught; it must need the same water.
    notes
        What else is to be said, such as what the fuel aboard was taken from.
    progress
        Called now and then with the share of the work that is done.

    Returns
    -------
    Areas, places and points of no return.

    Raises
    ------
    InputError
        The start is unknown, on land or outside the data, or the boat can't be planned at a speed.
    NoReachError
        There is no usable fuel above the reserve; carries how much is short.
    """
    boat = boat or network.boat
    speeds = tuple(dict.fromkeys(outing.speeds_kn)) or (boat.cruising_speed_kn,)
    for speed_kn in speeds:
        check_speed(boat, speed_kn)
    network, start = join_place(network, outing.start, "FROM")
    said = list(find_doubts(network, [start]))
    if now is not None and outing.depart < now:
        said.append("The departure lies in the past.")
    if boat.reserve_l < network.boat.reserve_l * (1 - 1e-9):
        less, own = (boat.units.volume(litres) for litres in (boat.reserve_l, network.boat.reserve_l))
        said.append(f"The reserve is {less} for this outing, less than the boat's own {own}: at your own judgement.")
    skipped = [f"{n.name} was {n.problem}." for n in network.region.notes if n.layer == "docks" and n.row]
    cautions = (*SAFETY_CAUTIONS, *notes, *said, *skipped)
    said = []
    asked = AskedReach(network, boat, outing, start)
    today = (now or outing.depart).astimezone(network.region.zone).date()
    docks = read_docks(network.region, boat, network.water.margins.under_keel_m, today)
    if asked.burn_l("low") <= 0:
        on_reserve = docks_on_reserve(asked, Tracks(network, boat, speeds[0]), docks)
        raise NoReachError(asked.refusal(on_reserve), cautions)
    report = progress or (lambda _: None)
    areas: list[ReachArea] = []
    for i, speed_kn in enumerate(speeds):
        areas += find_areas(asked, speed_kn)
        report(0.6 * (i + 1) / len(speeds))
    tracks = Tracks(network, boat, speeds[0])
    ways = find_ways(asked, tracks)
    report(0.65)
    rates = tracks.rates
    shut = find_shut(asked, rates, min(asked.burn_l("low") / rates.burn_lph[0], outing.time_h or float("inf")))
    fuel = find_docks(asked, tracks, docks, ways)
    if not fuel.counted:
        said.append(f"No dock that suits {boat.name} can be made from here with the reserve whole.")
    report(1.0)
    return Reach(
        network=network,
        boat=boat,
        outing=outing,
        start=network.terminals[start].place,
        start_is_dock=start in fuel.counted,
        speeds_kn=speeds,
        areas=tuple(areas),
        places=find_places(asked, docks, ways, fuel.onward),
        turning_points=fuel.turning_points,
        dock_water=fuel.water,
        docks_left_out=fuel.left_out,
        docks=docks,
        promised_nmi=promised_range_nmi(boat, outing.aboard, speeds[0], outing.confidence),
        rings_nmi=tuple(sorted(set(outing.rings_nmi))),
        data_edges=find_data_edges(network, areas),
        cautions=(*cautions, *said, *shut_words(asked, shut)),
    )
