"""The small chart of a passage sheet: land, the track with its direction, stops, other docks, points of no return.

Black on white, as inline SVG with its looks written on each part, since printers of PDF don't apply a page's style
sheet to drawings inside it. It is a sketch to find one's way on the sheet by, and says so beside it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import shape as geometry_of

from layers.plane import METRES_PER_NMI, Plane
from maps.words import as_markup
from routeplan.picture_view import NORTH_AT, ROUND, WIDTH, View, discs_apart, land_within, write_path

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from layers.region import Region
    from routeplan.saved_plans import SavedPlan
    from routeplan.sheet import Sheet

    Points = NDArray[np.float64]

__all__ = ["draw_chart"]

_LAND, _COAST, _INK, _PAPER = "#D9D9D9", "#595959", "#000000", "#FFFFFF"
_FONT = 'font-family="Liberation Sans, Arial, Helvetica, sans-serif" font-weight="700" text-anchor="middle"'
_ROUND_NMI = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500)  # [nmi] lengths of the scale bar
_MOST_OF_WIDTH = 0.3  # of the drawing: the scale bar's length at the most
_ARROWS = (0.12, 0.37, 0.62, 0.87)  # shares of the track at which an arrow tells the direction
_ARROW = "M-11 9L13 0L-11 -9Z"
_NO_RETURN = "M0 -17L15 10H-15Z"
_SETS = "M-13 2L0 -14L13 2M-13 18L0 2L13 18"  # as on the map: two angles that point where the current sets
_INSIDE = 26.0  # units from the edge


def draw_chart(sheet: Sheet, saved: SavedPlan, region: Region) -> str:
    """Draw the chart.

    Parameters
    ----------
    sheet
        What stands for which place.
    saved
        The plan: its track is drawn.
    region
        Its land is drawn.

    Returns
    -------
    An SVG drawing; empty where the plan has no track.
    """
    plan, plane = saved.plan, Plane(region.about.extent)
    if not plan.legs:
        return ""
    track = plane.unwrapped(geometry_of(plan.track))
    tagged = _tagged(sheet, saved)
    points = [plane.unwrapped(shapely.Point(position)) for _, position in tagged]
    turns = [plane.unwrapped(shapely.Point(turn.position)) for turn in saved.helm.last_turns]
    met = [plane.unwrapped(shapely.Point(stream.position)) for stream in saved.plan.streams]
    view = View.around([track, *points, *turns])
    land = land_within(plane.unwrapped(region.layer("land").geometry.to_numpy()), view)
    spots = view.place(shapely.get_coordinates(points))
    discs = discs_apart(spots, view)
    label = as_markup(
        f"Sketch of the track from {sheet.start} to {sheet.finish}, north up: land, stops by number, docks by letter"
    )
    way, shore = write_path(track, view), write_path(land, view)
    wide, high = f"{WIDTH:g}", f"{view.high:g}"
    frame = f'<rect x="1" y="1" width="{WIDTH - 2:g}" height="{view.high - 2:g}" fill="none"'
    return "".join(
        [
            f'<svg class="chart" viewBox="0 0 {wide} {high}" role="img" aria-label="{label}">',
            f'<rect width="{wide}" height="{high}" fill="{_PAPER}"/>',
            f'<path fill="{_LAND}" stroke="{_COAST}" stroke-width="1.5" fill-rule="evenodd" d="{shore}"/>',
            f'<path fill="none" stroke="{_PAPER}" stroke-width="9" stroke-linejoin="round" d="{way}"/>',
            f'<path fill="none" stroke="{_INK}" stroke-width="5" stroke-linejoin="round" d="{way}"/>',
            *_arrows(track, view),
            *(
                _sets(*spot, set_deg=stream.set_deg)
                for spot, stream in zip(view.place(shapely.get_coordinates(met)), saved.plan.streams, strict=True)
            ),
            *(_no_return(*spot) for spot in view.place(shapely.get_coordinates(turns))),
            *_leads(spots, discs),
            *(_disc(tag, *disc) for (tag, _), disc in zip(tagged, discs, strict=True)),
            _north(),
            _scale(view),
            f'{frame} stroke="{_INK}" stroke-width="2"/>',
            "</svg>",
        ]
    )


def _tagged(sheet: Sheet, saved: SavedPlan) -> list[tuple[str, tuple[float, float]]]:
    """List what is marked, each place once, the start first."""
    there: dict[str, tuple[str, tuple[float, float]]] = {}
    tag = sheet.tag(sheet.start)
    there[sheet.start] = (tag, sheet.start_position)
    for stop in saved.plan.stops:
        there.setdefault(stop.dock, (sheet.tag(stop.dock), stop.position))
    there.setdefault(sheet.finish, (sheet.tag(sheet.finish), sheet.finish_position))
    for dock in sheet.docks:
        if dock.position is not None:
            there.setdefault(dock.name, (dock.tag, dock.position))
    return list(there.values())


def _arrows(track: Any, view: View) -> list[str]:
    parts = [view.place(shapely.get_coordinates(part)) for part in shapely.get_parts(track)]
    line = shapely.LineString(np.vstack(parts))
    step = max(line.length * 0.004, 1.0)
    arrows = []
    for share in _ARROWS:
        at = share * line.length
        here, ahead = line.interpolate(at - step), line.interpolate(at + step)
        turn = math.degrees(math.atan2(ahead.y - here.y, ahead.x - here.x))
        middle = line.interpolate(at)
        arrows.append(
            f'<path transform="translate({middle.x:.1f} {middle.y:.1f}) rotate({turn:.0f})" '
            f'fill="{_INK}" stroke="{_PAPER}" stroke-width="2" d="{_ARROW}"/>'
        )
    return arrows


def _no_return(x: float, y: float) -> str:
    return (
        f'<path transform="translate({x:.1f} {y:.1f})" fill="{_INK}" stroke="{_PAPER}" stroke-width="3" '
        f'd="{_NO_RETURN}"/>'
    )


def _sets(x: float, y: float, *, set_deg: float) -> str:
    turned = f'transform="translate({x:.1f} {y:.1f}) rotate({set_deg:.0f})" fill="none" stroke-linecap="round"'
    return (
        f'<path {turned} stroke="{_PAPER}" stroke-width="11" d="{_SETS}"/>'
        f'<path {turned} stroke="{_INK}" stroke-width="5" d="{_SETS}"/>'
    )


def _leads(spots: Points, discs: Points) -> list[str]:
    return [
        f'<path stroke="{_INK}" stroke-width="2.5" d="M{x:.1f} {y:.1f}L{u:.1f} {v:.1f}"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="{_INK}"/>'
        for (x, y), (u, v) in zip(spots, discs, strict=True)
        if math.hypot(u - x, v - y) > 1
    ]


def _disc(tag: str, x: float, y: float) -> str:
    """Draw a stop as a black disc, an end as a black square, another dock as a white disc."""
    ends = tag in {"S", "F"}
    dark = ends or tag.isdigit()
    fill, ink = (_INK, _PAPER) if dark else (_PAPER, _INK)
    form = f'<circle r="{ROUND:g}" fill="{fill}" stroke="{_INK}" stroke-width="3"/>'
    if ends:
        half, side = ROUND - 2, 2 * ROUND - 4
        size = f'x="{-half:g}" y="{-half:g}" width="{side:g}" height="{side:g}"'
        form = f'<rect {size} fill="{fill}" stroke="{_PAPER}" stroke-width="2"/>'
    return (
        f'<g transform="translate({x:.1f} {y:.1f})">{form}'
        f'<text y="10" font-size="{30 if len(tag) < 2 else 24}" fill="{ink}" {_FONT}>{as_markup(tag)}</text></g>'
    )


def _north() -> str:
    return (
        f'<g transform="translate({NORTH_AT[0]:g} {NORTH_AT[1]:g})"><circle r="{ROUND:g}" fill="{_PAPER}" '
        f'stroke="{_INK}" stroke-width="3"/><path d="M0 -20L7 -6L0 -9L-7 -6Z" fill="{_INK}"/>'
        f'<text y="17" font-size="26" fill="{_INK}" {_FONT}>N</text></g>'
    )


def _scale(view: View) -> str:
    """Draw a bar of a round length, in the corner; true in the middle of the drawing."""
    units_per_nmi = METRES_PER_NMI / view.metres_per_unit
    length_nmi = max((n for n in _ROUND_NMI if n * units_per_nmi <= _MOST_OF_WIDTH * WIDTH), default=_ROUND_NMI[0])
    left, low, long = _INSIDE, view.high - _INSIDE, length_nmi * units_per_nmi
    ground = f'x="{left - 10:.1f}" y="{low - 44:.1f}" width="{max(long, 90) + 20:.1f}" height="58"'
    bar = f"M{left:.1f} {low - 10:.1f}V{low:.1f}H{left + long:.1f}V{low - 10:.1f}"
    return (
        f'<rect {ground} fill="{_PAPER}" fill-opacity="0.85"/>'
        f'<path d="{bar}" fill="none" stroke="{_INK}" stroke-width="4"/>'
        f'<text x="{left:.1f}" y="{low - 16:.1f}" font-size="26" fill="{_INK}" '
        f"{_FONT.replace('middle', 'start')}>{length_nmi:g} nmi</text>"
    )
