"""A reach as layers: what a map draws and a GIS program opens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely

from layers.checking import build_layer
from layers.schema import COMPUTED
from routeplan.drawn import closed_water_layer, dock_layer, draw_rings
from routeplan.network import unreached_docks
from routeplan.reach_words import ReachWords
from routeplan.units_shown import shown_speed

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from routeplan.reach import Reach
    from routeplan.reached import ReachArea

__all__ = ["layers_of_reach"]


def layers_of_reach(reach: Reach, *, every_speed: bool = True) -> dict[str, GeoDataFrame]:
    """Make the layers of a reach.

    Parameters
    ----------
    reach
        The answer to an outing.
    every_speed
        Whether the areas of all speeds are told; else those of the chosen one.

    Returns
    -------
    Layers by name, on WGS 84, in the form of `layers.COMPUTED`: stops (the start alone), reach, rings, reach_places,
    turning_points, data_edges, closed_water, dock_marks.
    """
    words = ReachWords(reach)
    return {
        "stops": _start(words),
        "reach": _areas(words, every_speed=every_speed),
        "rings": draw_rings(reach.start.position, reach.rings_nmi, reach.promised_nmi, reach.speed_kn),
        "reach_places": _places(words),
        "turning_points": _turning_points(words),
        "data_edges": _data_edges(words),
        "closed_water": closed_water_layer(reach.network.water, reach.boat),
        "dock_marks": dock_layer(reach.docks, words, unreached_docks(reach.network)),
    }


def _start(words: ReachWords) -> GeoDataFrame:
    reach = words.reach
    aboard = reach.outing.aboard
    row = {
        "order": 0,
        "name": reach.start.name,
        "kind": "start",
        "title": f"Start: {reach.start.name}",
        "text": f"Leave {words.day_and_clock(reach.outing.depart)}\nAboard: {aboard.how}",
        "label": f"{words.units.volume(aboard.mean_l)} aboard",
        "aboard_l": aboard.mean_l,
    }
    return build_layer(COMPUTED["stops"], [row], [shapely.Point(reach.start.position)])


def _areas(words: ReachWords, *, every_speed: bool) -> GeoDataFrame:
    """Draw the water in reach, then that from which some dock can still be made; what is empty has no row."""
    reach = words.reach
    drawn = [
        (_area_row(words, area), area.geometry)
        for area in reach.areas
        if every_speed or area.speed_kn == reach.speed_kn
    ]
    if reach.dock_water is not None:
        drawn.append((_dock_water_row(words), reach.dock_water))
    drawn = [(row, shape) for row, shape in drawn if not shape.is_empty]
    return build_layer(COMPUTED["reach"], [row for row, _ in drawn], [shape for _, shape in drawn])


def _area_row(words: ReachWords, area: ReachArea) -> dict[str, Any]:
    plain = area.model_dump(include={"kind", "figure", "speed_kn", "fuel_l", "time_h", "there_and_back", "inside"})
    return {
        **plain,
        "title": words.area_title(area),
        "text": "\n".join(words.area_lines(area)),
        "label": words.area_label(area),
    }


def _dock_water_row(words: ReachWords) -> dict[str, Any]:
    reach = words.reach
    low = reach.area("one-way", "low")
    return {
        "kind": "some-dock",
        "figure": "low",
        "speed_kn": reach.speed_kn,
        "there_and_back": False,
        "inside": low is not None and low.inside,
        "title": f"Some dock still in reach at {shown_speed(reach.speed_kn)}, low figure",
        "text": "\n".join(words.dock_water_lines()),
        "label": "no dock in reach beyond this",
    }


def _places(words: ReachWords) -> GeoDataFrame:
    places = words.reach.places
    columns = {
        *("name", "kind", "distance_nmi", "time_h", "fuel_l", "fuel_there_and_back_l", "margin_low_l"),
        *("aboard_on_return_low_l", "there_and_back", "refuel", "dock_still_in_reach"),
    }
    rows = [
        {
            **place.model_dump(include=columns),
            **({"dock_still_in_reach": None} if words.reach.dock_water is None else {}),
            "title": words.place_title(place),
            "text": "\n".join(words.place_lines(place)),
            "label": words.place_label(place),
        }
        for place in places
    ]
    return build_layer(COMPUTED["reach_places"], rows, [shapely.Point(place.position) for place in places])


def _turning_points(words: ReachWords) -> GeoDataFrame:
    points = words.reach.turning_points
    columns = {"dock", "distance_nmi", "time_h", "dock_distance_nmi", "aboard_at_dock_low_l"}
    rows = [
        {
            **point.model_dump(include=columns),
            "towards": words.towards(point),
            "title": words.turning_title(point),
            "text": "\n".join(words.turning_lines(point)),
            "label": words.turning_label(point),
        }
        for point in points
    ]
    return build_layer(COMPUTED["turning_points"], rows, [shapely.Point(point.position) for point in points])


def _data_edges(words: ReachWords) -> GeoDataFrame:
    edges = words.reach.data_edges
    if edges.is_empty:
        return build_layer(COMPUTED["data_edges"], [], [])
    row = {"title": "The data end here", "text": "\n".join(words.edge_lines())}
    return build_layer(COMPUTED["data_edges"], [row], [edges])
