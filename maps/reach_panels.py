"""The places in reach as a table, and where to turn as a list: the text beside a map of the reach."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from maps.geometry import iterate_rows
from maps.words import Markup, as_lines, as_markup, flag_of, number_of, text_of, write_position

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from maps.manner import Manner

__all__ = ["write_places", "write_turns"]

_NONE = "&#8211;"  # a dash
_REFUEL = {"yes": "yes", "opens later": "later", "doubtful": "maybe", "no": "no"}
_WAYS = {
    True: ("There and back", "Back at the start with the reserve whole, on the low figure."),
    False: ("One way only", "She gets there with the reserve whole, but not back without fuel."),
}


def write_places(frame: GeoDataFrame | None, manner: Manner) -> str:
    """Return the places in reach, those that she comes back from first.

    Parameters
    ----------
    frame
        The layer, if there is one.
    manner
        How this map tells things.

    Returns
    -------
    str
        Markup: a table for each way, in the layer's order; empty where there are no places.
    """
    rows = list(iterate_rows("reach_places", frame))
    parts: list[str] = []
    for back, (title, meaning) in _WAYS.items():
        lines = [_place(row, shape, manner) for row, shape in rows if flag_of(row, "there_and_back") is back]
        if not lines:
            continue
        heads = ("nmi", "time", f"spare {manner.volume_label}", "refuel")
        head = "".join(f'<th scope="col">{words}</th>' for words in ("place", *heads))
        body = "".join(lines)
        parts.append(
            f"<h3>{title}</h3><p>{meaning}</p>"
            f'<table class="places"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
        )
    spare = "Spare: what is left above the reserve on arrival, low figure. Distance and time are one way, over water."
    return f"{''.join(parts)}<p>{spare}</p>" if parts else ""


def _place(row: dict[str, Any], shape: BaseGeometry, manner: Manner) -> str:
    name = as_markup(text_of(row, "name") or text_of(row, "title"))
    stranded = row.get("dock_still_in_reach") is not None and not flag_of(row, "dock_still_in_reach")
    kind = as_markup(text_of(row, "kind"), longest=40)
    if stranded and text_of(row, "refuel") != "yes":
        kind = Markup(f"{kind}; no dock left to go on to")
    distance, hours, margin = (number_of(row, column) for column in ("distance_nmi", "time_h", "margin_low_l"))
    cells = [
        _NONE if distance is None else f"{distance:.1f}",
        _NONE if hours is None else _duration(hours),
        _NONE if margin is None else manner.spare(margin),
        _REFUEL.get(text_of(row, "refuel"), _NONE),
    ]
    spot = shape.representative_point()
    figures = "".join(f"<td>{cell}</td>" for cell in cells)
    return (
        f'<tr><th scope="row"><button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">'
        f'<span><b><bdi>{name}</bdi></b> <span class="what">{kind}</span></span></button></th>{figures}</tr>'
    )


def _duration(hours: float) -> str:
    """Return a time to the nearest minute, as narrow as a table wants it."""
    whole, minutes = divmod(round(hours * 60), 60)
    return f"{whole} h {minutes:02d}" if whole else f"{minutes} min"


def write_turns(frame: GeoDataFrame | None) -> Markup:
    """Return where to turn for the last fuel dock on each way out.

    Parameters
    ----------
    frame
        The layer, if there is one.

    Returns
    -------
    Markup
        A list in the layer's order; empty where there are none.
    """
    items = [_turn(row, shape) for row, shape in iterate_rows("turning_points", frame)]
    if not items:
        return Markup("")
    meaning = "Beyond these points no suitable fuel dock is left in reach with the reserve whole."
    return Markup(f'<p>{meaning}</p><ul class="stops">{"".join(items)}</ul>')


def _turn(row: dict[str, Any], shape: BaseGeometry) -> str:
    title = as_markup(text_of(row, "title") or text_of(row, "dock"))
    label, text = as_markup(text_of(row, "label")), as_lines(text_of(row, "text"))
    spot = shape.representative_point()
    return (
        f'<li><button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">'
        f'<span><b><bdi>{title}</bdi></b><span class="left"><bdi>{label}</bdi></span></span></button>'
        f'<p><bdi>{text}</bdi></p><p class="at">{write_position(spot.x, spot.y)}</p></li>'
    )
