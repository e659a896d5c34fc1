"""The text beside the map: stops and legs as a list, the key, cautions, notes and sources.

The same facts as on the map, for whoever can't see it, can't tap it, or prints it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from maps.features import heeded, in_order
from maps.findings import write_findings
from maps.geometry import COAST_WITHIN_M, DEPTHS_WITHIN_M
from maps.group import write_group
from maps.reach_panels import write_places, write_turns
from maps.words import Markup, as_lines, as_markup, number_of, text_of, write_number, write_position

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from layers.region import Region
    from maps.features import Theme
    from maps.manner import Manner

__all__ = ["STANDING_CAUTION", "Told", "write_panels"]

STANDING_CAUTION = "An aid to planning, not for navigation"
"""Said on every map, whatever else is said."""

_STANDING_REST = "Check current official charts, notices to mariners, weather and tides."
_GENERAL = (
    f"{STANDING_CAUTION}. {_STANDING_REST}",
    "Call each fuel dock ahead: hours, prices and stocks change.",
    "No tide, stream, wind or sea is allowed for here unless a line below says so.",
    "Local rules, and the practice of those licensed for these waters, come before anything shown here.",
)


@dataclass(frozen=True)
class Told:
    """What the reader is told beside the map.

    Parameters
    ----------
    title
        The map's title.
    notes
        Lines on what was planned; the first stands under the title.
    cautions
        Lines that must be read before use; the general ones stand in where there are none.
    """

    title: str
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """The cautions, led by the one that every map carries, unless they say it themselves; never none."""
        if not self.cautions:
            return _GENERAL
        said = any(STANDING_CAUTION.lower() in line.lower() for line in self.cautions)
        return self.cautions if said else (f"{STANDING_CAUTION}. {_STANDING_REST}", *self.cautions)


def write_panels(
    told: Told, region: Region, frames: Mapping[str, GeoDataFrame], themes: Sequence[Theme], manner: Manner
) -> Markup:
    """Return the panels as markup.

    Parameters
    ----------
    told
        Title, notes and cautions.
    region
        Where the layers come from.
    frames
        All layers by name.
    themes
        What is drawn.
    manner
        How this map tells things.

    Returns
    -------
    Markup
        A ``details`` each: open beside a wide map, one at a time on a phone.
    """
    panels = [
        ("findings", "Findings", write_findings(frames.get("findings"))),
        ("route", "Stops and legs", f"{_route(frames)}{write_group(frames)}"),
        ("reach", "Places in reach", write_places(frames.get("reach_places"), manner)),
        ("turns", "Where to turn for a fuel dock", write_turns(frames.get("turning_points"))),
        ("key", "Key", _key(themes, manner)),
        ("cautions", "Cautions", _cautions(told)),
        ("about", "What this map shows", _about(told, region, themes)),
    ]
    short = {"route": "Stops", "reach": "Places", "turns": "Turn at", "about": "About"}
    return Markup(
        "".join(
            f'<details class="panel" id="panel-{name}"><summary><span class="long">{title}</span>'
            f'<span class="short" aria-hidden="true">{short.get(name, title)}</span></summary>'
            f'<div class="inside">{inside}</div></details>'
            for name, title, inside in panels
            if inside
        )
    )


def _route(frames: Mapping[str, GeoDataFrame]) -> str:
    if "reach" in frames and not len(frames.get("legs", ())):
        return ""  # the start alone is no passage
    stops = [_stop(row, shape) for row, shape in in_order("stops", frames.get("stops"))]
    legs = [_leg(row) for row, _ in in_order("legs", frames.get("legs"))]
    parts = [f'<h3>Stops</h3><ul class="stops">{"".join(stops)}</ul>'] if stops else []
    met = [_met(row, shape) for row, shape in in_order("streams_met", frames.get("streams_met"))]
    parts += [f'<h3>Currents met</h3><ul class="stops">{"".join(met)}</ul>'] if met else []
    parts += [f'<h3>Legs</h3><ol class="legs">{"".join(legs)}</ol>'] if legs else []
    return "".join(parts)


def _stop(row: dict[str, Any], shape: Any) -> str:
    kind, order = text_of(row, "kind"), number_of(row, "order")
    number = write_number(order, 0) if order is not None and kind in {"fuel stop", "via"} else ""
    head = f'<span class="number">{number}</span>' if number else ""
    what = as_markup(kind.capitalize())
    name = as_markup(text_of(row, "name") or text_of(row, "title"))
    label, text = as_markup(text_of(row, "label")), as_lines(text_of(row, "text"))
    spot = shape.representative_point()
    return (
        f'<li><button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">{head}'
        f'<span><b><bdi>{name}</bdi></b> <span class="what">{what}</span>'
        f'<span class="left"><bdi>{label}</bdi></span></span></button>'
        f'<p><bdi>{text}</bdi></p><p class="at">{write_position(spot.x, spot.y)}</p></li>'
    )


def _met(row: dict[str, Any], shape: Any) -> str:
    name, label, text = (
        as_markup(text_of(row, "name")),
        as_markup(text_of(row, "label")),
        as_lines(text_of(row, "text")),
    )
    spot = shape.representative_point()
    return (
        f'<li><button type="button" class="show" data-at="{spot.y:.5f},{spot.x:.5f}">'
        f'<span><b><bdi>{name}</bdi></b><span class="left"><bdi>{label}</bdi></span></span></button>'
        f'<p><bdi>{text}</bdi></p><p class="at">{write_position(spot.x, spot.y)}</p></li>'
    )


def _leg(row: dict[str, Any]) -> str:
    title = as_markup(text_of(row, "title") or f"{text_of(row, 'from_name')} to {text_of(row, 'to_name')}")
    text, heed = heeded(row)
    return f"<li><b><bdi>{title}</bdi></b><br><bdi>{text}</bdi>{f'<br><bdi>{heed}</bdi>' if heed else ''}</li>"


def _key(themes: Sequence[Theme], manner: Manner) -> str:
    blocks = []
    for theme in reversed(themes):  # what lies on top is read first
        entries = "".join(f"<li>{entry.sample}<span><bdi>{entry.text}</bdi></span></li>" for entry in theme.key)
        number = list(themes).index(theme)
        checked = " checked" if theme.shown else ""
        head = (
            f'<p class="switch"><b>{theme.title}</b></p>'
            if theme.fixed
            else f'<label class="switch"><input type="checkbox"{checked} data-theme="{number}">'
            f"<b><bdi>{theme.title}</bdi></b></label>"
        )
        blocks.append(f"<section>{head}<ul>{entries}</ul></section>")
    coast, depths = (manner.length(within, up=True) for within in (COAST_WITHIN_M, DEPTHS_WITHIN_M))
    drawn = f"The coast is drawn to within {coast}, depths to within {depths}."
    if any(theme.name.startswith("reach ") for theme in themes):
        drawn += " Reach is drawn a little inside what was computed, never beyond it."
    return f"{''.join(blocks)}<p>{drawn} The track is drawn as computed.</p>"


def _cautions(told: Told) -> str:
    return f"<ul>{''.join(f'<li><bdi>{as_lines(line)}</bdi></li>' for line in told.all_cautions)}</ul>"


def _about(told: Told, region: Region, themes: Sequence[Theme]) -> str:
    about = region.about
    notes = "".join(f"<li><bdi>{as_lines(line)}</bdi></li>" for line in told.notes)
    shown = ", ".join(theme.title for theme in themes)
    parts = [f"<p><bdi>{as_markup(told.title)}</bdi></p>", f"<ul>{notes}</ul>" if notes else ""]
    parts.append(f"<p>Waters: <bdi>{as_markup(about.name)}</bdi>. Shown: {shown}.</p>")
    if missing := sorted(set(region.frames) - set(region.present)):
        names = ", ".join(as_markup(name.replace("_", " ")) for name in missing)
        parts.append(f'<p><strong class="heed">No data on: {names}.</strong></p>')
    parts.append(
        f"<p>Depths are below {as_markup(about.chart_datum)}, clearances above {as_markup(about.clearance_datum)}.</p>"
    )
    sources = "".join(f"<li><bdi>{as_markup(line, longest=500)}</bdi></li>" for line in about.source_lines)
    parts.append(f"<h3>Sources</h3><ul>{sources}</ul>" if sources else "")
    parts.append(
        "<p>Distances are nautical miles, courses are true, positions are WGS 84 in degrees and minutes. "
        "Press and hold on the map to read a position. Drawn with Leaflet and folium.</p>"
    )
    return "".join(parts)
