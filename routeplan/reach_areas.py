"""The areas of reach: one way, out and back, by thirds, within a budget; mean and low; on the globe."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from routeplan.leg_graph import Price, Rates
from routeplan.over_water import spread, water_within
from routeplan.overlays import polygons_of
from routeplan.reach_gates import find_shut
from routeplan.reached import ReachArea

if TYPE_CHECKING:
    from collections.abc import Sequence

    from layers.plane import Plane
    from routeplan.network import Network
    from routeplan.outings import AskedReach
    from routeplan.over_water import Spread
    from routeplan.reached import AreaKind, Figure

__all__ = ["find_areas", "find_data_edges", "on_globe"]

_FIGURES: tuple[Figure, ...] = ("mean", "low")
_DEG = 1e-7  # [deg] grid that shapes are told on: about a centimetre
_FINER = 4  # edges are divided so much finer than the plane needs, so that none bulges by over 5 cm on the globe
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
    By kind, mean before low; without `one-way` where the boat has to come back, with `budget` where there is one.
    """
    rates = Rates.of(asked.boat, asked.network, speed_kn)
    outing, areas = asked.outing, []
    spreads: dict[frozenset[int], Spread] = {}

    def shut_until(out_l: float, out_h: float, *, back: bool) -> frozenset[int]:
        longest_h = min(out_h, out_l / rates.burn_lph[0])
        return find_shut(asked, rates, 2 * longest_h if back else None)

    def add(kind: AreaKind, figure: Figure, out_l: float, *, back: bool) -> None:
        shut = shut_until(out_l, np.inf, back=back)
        if shut not in spreads:
            network, price = asked.network, Price.of_fuel(rates)
            spreads[shut] = spread(network, [asked.start], price, asked.burn_l("mean"), shut)
        areas.append(_area(spreads[shut], out_l, kind=kind, figure=figure, speed_kn=speed_kn, fuel_l=out_l, back=back))

    for figure in _FIGURES:
        if not outing.out_and_back:
            add("one-way", figure, asked.burn_l(figure), back=False)
    for figure in _FIGURES:
        add("out-and-back", figure, asked.burn_l(figure) / 2, back=True)
    for figure in _FIGURES:
        add("thirds", figure, asked.thirds_l(figure) / 2, back=True)
    ways, back = (2 if outing.out_and_back else 1), outing.out_and_back
    for figure in _FIGURES if outing.time_h is not None or outing.fuel_l is not None else ():
        out_l = asked.budget_l(figure) / ways
        if outing.time_h is None:
            add("budget", figure, out_l, back=back)
            continue
        out_h = outing.time_h / ways
        price, shut = Price.within(rates, out_l, out_h), shut_until(out_l, out_h, back=back)
        shares = spread(asked.network, [asked.start], price, 1.0, shut)
        burned_l = min(out_l, out_h * max(rates.burn_lph))
        area = _area(shares, 1.0, kind="budget", figure=figure, speed_kn=speed_kn, fuel_l=burned_l, back=back)
        areas.append(area.model_copy(update={"time_h": out_h}))
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
    return shapely.MultiLineString([plane.unproject(line) for line in lines if line.length > _EDGE_M])


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
    A valid MultiPolygon on WGS 84, outer rings counter-clockwise; its edges lie within some centimetres of the plane's.
    """
    fine = shapely.segmentize(shape, plane.longest_edge_m / _FINER)
    whole = shapely.transform(fine, plane.to_lonlat)
    if not whole.is_valid:
        whole = polygons_of(shapely.make_valid(whole))
    return shapely.orient_polygons(polygons_of(shapely.set_precision(whole, _DEG)), exterior_cw=False)


def _area(
    spread: Spread, budget: float, *, kind: AreaKind, figure: Figure, speed_kn: float, fuel_l: float, back: bool
) -> ReachArea:
    network = spread.network
    within = water_within(spread, budget)
    return ReachArea(
        kind=kind,
        figure=figure,
        speed_kn=speed_kn,
        fuel_l=fuel_l,
        time_h=None,
        there_and_back=back,
        inside=_meets_limits(spread, within),
        gates=_gates(spread, budget),
        cut_by_extent=bool(_extent_edge(network).distance(within) < _EDGE_M) if not within.is_empty else False,
        geometry=on_globe(network.water.plane, within),
    )


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
        if spread.before[far] == near and spread.away[far] < budget
    }
    return tuple(sorted(names))


@lru_cache(maxsize=4)
def _extent_edge(network: Network) -> Any:
    """[m] The part of the navigable water's edge that is the data's and not the land's."""
    water = network.water
    frame = water.plane.box().boundary.buffer(water.margins.standoff_m * 1.5 + _EDGE_M)
    edge = water.navigable.boundary.intersection(frame)
    # land and shoals near the frame have edges of their own there: those lie a stand-off from what closes the water
    return edge.difference(
        shapely.union_all([water.barrier, *water.closed.values()]).buffer(1.2 * water.margins.standoff_m)
    )
