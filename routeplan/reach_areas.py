"""The areas of reach: one way, out and back, by thirds, within a budget; mean and low; on the globe."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from routeplan.leg_graph import Price, Rates
from routeplan.over_water import reach_within
from routeplan.overlays import polygons_of, unite
from routeplan.reach_gates import find_shut
from routeplan.reached import ReachArea
from routeplan.spreading import spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layers.plane import Plane
    from routeplan.network import Network
    from routeplan.outings import AskedReach
    from routeplan.reached import AreaKind, Figure
    from routeplan.spreading import Spread

__all__ = ["find_areas", "find_data_edges", "on_globe"]

_FIGURES: tuple[Figure, ...] = ("mean", "low")
_DEG = 1e-7  # [deg] grid that shapes are told on: about a centimetre
_FINER = 4  # edges are divided so much finer than the plane needs, so that none bulges by over 5 cm on the globe
_STEP_M = 100.0  # [m] between points of the water's edge that are held against the end of the data
_EDGE_M = 1.0  # [m] what lies nearer than this to the edge of the data lies on it


def find_areas(asked: AskedReach, speed_kn: float) -> list[ReachArea]:
    """Draw all areas at one speed.

    Parameters
    ----------
    asked
        The outing.
    speed_kn
        [kn] Chosen speed.

    Returns
    -------
    By kind, mean before low; without `one-way` where the boat has to come back. `budget` where there is one: as asked
    for, and where that is one way also there and back, as a low figure.
    """
    outing, draw = asked.outing, _Drawing(asked, speed_kn)
    areas = []
    if not outing.out_and_back:
        areas += [draw.by_fuel("one-way", figure, asked.burn_l(figure), back=False) for figure in _FIGURES]
    areas += [draw.by_fuel("out-and-back", figure, asked.burn_l(figure) / 2, back=True) for figure in _FIGURES]
    areas += [draw.by_fuel("thirds", figure, asked.thirds_l(figure) / 2, back=True) for figure in _FIGURES]
    if outing.time_h is not None or outing.fuel_l is not None:
        areas += [draw.budget(figure, back=outing.out_and_back) for figure in _FIGURES]
        if not outing.out_and_back:
            areas.append(draw.budget("low", back=True))  # for guests, who always come back
    return areas


def find_data_edges(network: Network, areas: Sequence[ReachArea]) -> shapely.MultiLineString:
    """[deg] Find where areas end because the data do.

    Parameters
    ----------
    network
        The network.
    areas
        Areas in reach.

    Returns
    -------
    Lines along the edge of the boat's water, next to the edge of the extent.
    """
    cut = [area.geometry for area in areas if area.cut_by_extent]
    plane = network.water.plane
    if not cut:
        return shapely.MultiLineString()
    widest = max(cut, key=lambda shape: float(shape.area))
    edge = _extent_edge(network).intersection(shapely.transform(widest, plane.to_plane).buffer(_EDGE_M))
    lines = [line for line in shapely.get_parts(shapely.line_merge(edge)) if line.geom_type == "LineString"]
    across = [plane.unproject(line) for line in lines if line.length > _EDGE_M]
    return shapely.MultiLineString([part for line in across for part in shapely.get_parts(line)])


def on_globe(plane: Plane, shape: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """[deg] Bring an area back to the globe.

    Parameters
    ----------
    plane
        The region's plane.
    shape
        [m] The area in the plane.

    Returns
    -------
    A valid MultiPolygon on WGS 84, outer rings counter-clockwise, cut at the 180th meridian; its edges lie within some
    centimetres of the plane's.
    """
    whole = plane.unproject(shapely.segmentize(shape, plane.longest_edge_m / _FINER))
    if not whole.is_valid:
        whole = polygons_of(shapely.make_valid(whole))
    return shapely.orient_polygons(polygons_of(shapely.set_precision(whole, _DEG)), exterior_cw=False)


class _Drawing:
    """Draws areas of one outing at one speed; prices are spread once for each set of gates that count as shut."""

    def __init__(self, asked: AskedReach, speed_kn: float) -> None:
        self._asked = asked
        self._speed_kn = speed_kn
        self._rates = Rates.of(asked.boat, asked.network, speed_kn)
        self._by_fuel: dict[frozenset[int], Spread] = {}

    def by_fuel(self, kind: AreaKind, figure: Figure, out_l: float, *, back: bool) -> ReachArea:
        """Draw what so much fuel reaches."""
        shut, asked = self._shut(out_l, np.inf, back=back), self._asked
        if shut not in self._by_fuel:
            price = Price.of_fuel(self._rates)
            self._by_fuel[shut] = spread(asked.network, [asked.start], price, asked.burn_l("mean"), shut)
        return self._told([(self._by_fuel[shut], out_l)], kind, figure, out_l, None, back=back)

    def budget(self, figure: Figure, *, back: bool) -> ReachArea:
        """Draw what the fuel and the time that were asked for reach."""
        asked, ways, rates = self._asked, 2 if back else 1, self._rates
        out_l = asked.budget_l(figure) / ways
        if asked.outing.time_h is None:
            return self.by_fuel("budget", figure, out_l, back=back)
        out_h = asked.outing.time_h / ways
        fuel, time, shut = Price.of_fuel(rates), Price.of_time(rates), self._shut(out_l, out_h, back=back)
        # the ways that burn least, as far as the time lasts, and the quickest, as far as the fuel does
        thrifty = spread(asked.network, [asked.start], fuel, out_l, shut).limited(time, out_h)
        quick = spread(asked.network, [asked.start], time, out_h, shut).limited(fuel, out_l)
        burned_l = min(out_l, out_h * max(rates.burn_lph))
        return self._told([(thrifty, out_l), (quick, out_h)], "budget", figure, burned_l, out_h, back=back)

    def _told(
        self,
        drawn: Sequence[tuple[Spread, float]],
        kind: AreaKind,
        figure: Figure,
        fuel_l: float,
        time_h: float | None,
        *,
        back: bool,
    ) -> ReachArea:
        """Draw the area of one or two spreads, and tell what is to be known of it."""
        network = self._asked.network
        found = [reach_within(spread, budget) for spread, budget in drawn]
        within = found[0][0] if len(found) == 1 else unite([area for area, _ in found], network.water.grid_m)
        gates = {name for spread, budget in drawn for name in _gates(spread, budget)}
        return ReachArea(
            kind=kind,
            figure=figure,
            speed_kn=self._speed_kn,
            fuel_l=fuel_l,
            time_h=time_h,
            there_and_back=back,
            out_nmi=round(max(farthest_nmi for _, farthest_nmi in found), 4),
            inside=_meets_limits(drawn[0][0], within),
            gates=tuple(sorted(gates)),
            cut_by_extent=not within.is_empty and bool(_extent_edge(network).distance(within) < _EDGE_M),
            geometry=on_globe(network.water.plane, within),
        )

    def _shut(self, out_l: float, out_h: float, *, back: bool) -> frozenset[int]:
        longest_h = min(out_h, out_l / self._rates.burn_lph[0])
        return find_shut(self._asked, self._rates, 2 * longest_h if back else None)


def _meets_limits(spread: Spread, area: shapely.MultiPolygon) -> bool:
    """Tell whether an area holds water of more than one rate."""
    price = spread.price.per_nmi
    dear = [a.shape for a, rate in zip(spread.network.water.speed_areas, price[1:], strict=True) if rate != price[0]]
    return any(bool(shape.intersects(area)) for shape in dear)


def _gates(spread: Spread, budget: float) -> tuple[str, ...]:
    """Name the gates that lead to some of what is in reach."""
    network = spread.network
    names = {
        network.water.gates[leg.gate].name
        for leg in network.gate_legs
        for near, far in (leg.nodes, leg.nodes[::-1])
        if spread.before[far] == near and spread.left_nmi(np.array([far]), 0, budget)[0] > 0
    }
    return tuple(sorted(names))


@lru_cache(maxsize=4)
def _extent_edge(network: Network) -> Any:
    """[m] The part of the water's edge that is the data's: nearer to their end than to what closes the water."""
    water, about = network.water, network.region.about
    standoff_m = max(water.margins.standoff_m, about.poor_survey_standoff_m or 0.0)
    frame = water.plane.box().boundary
    near = water.navigable.boundary.intersection(frame.buffer(1.2 * standoff_m + _EDGE_M))
    steps, of = shapely.get_coordinates(shapely.segmentize(shapely.get_parts(near), _STEP_M), return_index=True)
    pieces = np.stack([steps[:-1], steps[1:]], axis=1)[of[:-1] == of[1:]]
    if not len(pieces):
        return shapely.MultiLineString()
    middle = shapely.points(pieces.mean(axis=1))
    shut = shapely.union_all([water.barrier, *water.closed.values()])
    shapely.prepare(shut)
    is_datas = shapely.distance(middle, frame) < (np.inf if shut.is_empty else shapely.distance(middle, shut))
    return shapely.line_merge(shapely.multilinestrings(shapely.linestrings(pieces[is_datas])))
