"""What a drawn layer is made of: features with their texts, entries of the key, and pieces that all layers share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shapely import get_parts
from shapely.geometry import Point

from maps.geometry import inside_point, iterate_rows, rounded
from maps.symbols import write_area_key, write_line_key, write_symbol
from maps.words import Markup, as_lines, as_markup, flag_of, joined, number_of, text_of, write_number, write_position

if TYPE_CHECKING:
    from collections.abc import Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "NOTHING",
    "Feature",
    "KeyEntry",
    "Row",
    "Theme",
    "area_entry",
    "heeded",
    "in_order",
    "label_in",
    "largest_parts",
    "line_entry",
    "pair",
    "symbol_entry",
    "told_lines",
    "write_popup",
]

Row = dict[str, Any]
"""A row of a layer: values by column."""

NOTHING = Markup("")


@dataclass(frozen=True)
class Feature:
    """One thing on the map.

    Parameters
    ----------
    shape
        Where it is, ready to be drawn.
    look
        Class names for the style sheet: ours, never text from a file.
    tip, popup, label
        Markup: on hovering, on a tap, and beside it on the map.
    icon
        Name of its symbol, or several names that are drawn over each other; points without one are labels only.
    rank
        Who gives way where labels meet: 9 never does.
    number
        What is written on the symbol.
    turn_deg
        [deg] Course the symbol is turned to.
    radius_m
        [m] A circle drawn round a point.
    width_deg
        [deg] Width of the area that the label must fit into.
    places
        Decimal places of a degree that are kept: five are about a metre.
    pane
        The sheet it is drawn on, where that isn't its theme's.
    """

    shape: BaseGeometry
    look: str
    tip: Markup = NOTHING
    popup: Markup = NOTHING
    label: Markup = NOTHING
    icon: str = ""
    rank: int = 0
    number: str = ""
    turn_deg: float = 0.0
    radius_m: float = 0.0
    width_deg: float = 0.0
    places: int = 5
    pane: str = ""

    def to_geojson(self) -> dict[str, Any]:
        """Return the feature with short keys, without what is empty.

        Returns
        -------
        dict[str, Any]
            A GeoJSON feature.
        """
        properties = {
            "k": self.look,
            "t": self.tip,
            "p": self.popup,
            "l": self.label,
            "i": self.icon,
            "r": self.rank,
            "n": self.number,
            "a": round(self.turn_deg),
            "m": round(self.radius_m),
            "w": self.width_deg,
            "s": self.pane,
        }
        return {
            "type": "Feature",
            "properties": {key: value for key, value in properties.items() if value},
            "geometry": rounded(self.shape, self.places),
        }


@dataclass(frozen=True)
class KeyEntry:
    """One line of the key.

    Parameters
    ----------
    sample
        The symbol, line or patch as on the map.
    text
        What it means.
    """

    sample: Markup
    text: Markup


@dataclass(frozen=True)
class Theme:
    """A layer as drawn.

    Parameters
    ----------
    name
        The layer's name.
    title
        What it is called on the page.
    features
        What is drawn; empty themes are left out of the map and the key.
    key
        Its lines in the key, only for what is really on the map.
    pane
        The sheet it is drawn on; sheets lie over each other.
    fixed
        True where the reader can't switch it off.
    shown
        False where the reader must switch it on first.
    """

    name: str
    title: Markup
    features: tuple[Feature, ...]
    key: tuple[KeyEntry, ...]
    pane: str
    fixed: bool = False
    shown: bool = True


def in_order(name: str, frame: GeoDataFrame | None) -> list[tuple[Row, BaseGeometry]]:
    """Return a layer's rows by their column ``order``.

    Parameters
    ----------
    name
        The layer's name.
    frame
        The layer, if there is one.

    Returns
    -------
    list[tuple[Row, BaseGeometry]]
        Rows and geometries; rows without an order come first.
    """
    return sorted(iterate_rows(name, frame), key=lambda drawn: number_of(drawn[0], "order") or 0.0)


def heeded(row: Row) -> tuple[Markup, Markup]:
    r"""Return what a leg says, and what must be heeded on it, each thing once.

    Parameters
    ----------
    row
        A row of the legs.

    Returns
    -------
    tuple[Markup, Markup]
        Its text without the lines that are cautions, and the cautions set off from it; empty where there are none.

    Examples
    --------
    >>> heeded({"text": "To the pier\nHeed: 5 kn limit", "cautions": "5 kn limit", "depth_checked": True})
    ('To the pier', '<strong class="heed">5 kn limit</strong>')
    """
    cautions = [line.strip() for line in text_of(row, "cautions").splitlines() if line.strip()]
    cautions = cautions if flag_of(row, "depth_checked") else ["Depth not checked", *cautions]
    cautions = list(dict.fromkeys(cautions))
    rest = [line for line in text_of(row, "text").splitlines() if not _repeats(line, cautions)]
    heed = as_lines("\n".join(cautions))
    return as_lines("\n".join(rest)), Markup(f'<strong class="heed">{heed}</strong>') if heed else heed


def _repeats(line: str, cautions: Sequence[str]) -> bool:
    """Whether a line is one of the cautions, perhaps led by a word and a colon."""
    return line.strip() in cautions or line.partition(": ")[2].strip() in cautions


def told_lines(row: Row, **sentences: str) -> list[Markup]:
    """Return a line for each column that the row fills.

    Parameters
    ----------
    row
        The row.
    **sentences
        What to say, by column, with ``{}`` where the value goes.

    Returns
    -------
    list[Markup]
        The lines, in the order of the sentences.

    Examples
    --------
    >>> told_lines({"depth_m": 2.50, "vhf": "09", "note": None}, depth_m="Depth {} m", vhf="VHF {}", note="{}")
    ['Depth 2.5 m', 'VHF 09']
    """
    lines: list[Markup] = []
    for column, sentence in sentences.items():
        number = None if isinstance(row.get(column), str) else number_of(row, column)
        value = text_of(row, column) if number is None else write_number(number)
        lines += [as_markup(sentence.replace("{}", value), longest=400)] if value else []
    return lines


def write_popup(title: Markup, lines: Sequence[Markup], shape: BaseGeometry | None = None) -> Markup:
    """Return what a tap on a feature shows.

    Parameters
    ----------
    title
        Its title.
    lines
        What is known; empty ones are left out.
    shape
        The point whose position is told, if any.

    Returns
    -------
    Markup
        Its text, isolated so that a right-to-left name turns nothing else.
    """
    parts = [f"<h3><bdi>{title}</bdi></h3>"]
    parts += [f"<p><bdi>{line}</bdi></p>" for line in lines if line]
    if shape is not None:
        spot = shape.representative_point()
        parts.append(f'<p class="at">{write_position(spot.x, spot.y)}</p>')
    return Markup("".join(parts))


def pair(first: Markup, second: Markup) -> Markup:
    """Return two lines, the first in bold.

    Parameters
    ----------
    first, second
        The lines; an empty one is left out.

    Returns
    -------
    Markup
        The two.

    Examples
    --------
    >>> pair(as_markup("Corrie"), as_markup("43 gal left"))
    '<b>Corrie</b><br>43 gal left'
    """
    both = [f"<b>{first}</b>" if first else "", str(second)]
    return joined("<br>", [Markup(part) for part in both if part])


def label_in(shape: BaseGeometry, label: Markup, look: str, rank: int) -> Feature:
    """Return a label that is shown where the area is wide enough for it.

    Parameters
    ----------
    shape
        The area.
    label
        The label.
    look
        Its class name.
    rank
        Who gives way where labels meet.

    Returns
    -------
    Feature
        A point without a symbol.
    """
    lon, lat, width = inside_point(shape)
    return Feature(Point(lon, lat), look, label=label, rank=rank, width_deg=width)


def largest_parts(shape: BaseGeometry, most: int = 40) -> list[BaseGeometry]:
    """Return the parts of an area that are worth a label each.

    Parameters
    ----------
    shape
        The area.
    most
        How many at most.

    Returns
    -------
    list[BaseGeometry]
        The largest first.
    """
    return sorted(get_parts(shape), key=lambda part: float(part.area), reverse=True)[:most]


def area_entry(look: str, text: str) -> KeyEntry:
    """Return the entry of an area in the key.

    Parameters
    ----------
    look
        Its class names.
    text
        What it means.

    Returns
    -------
    KeyEntry
        The entry.
    """
    return KeyEntry(write_area_key(look), as_markup(text))


def line_entry(look: str, text: str) -> KeyEntry:
    """Return the entry of a line in the key.

    Parameters
    ----------
    look
        Its class names.
    text
        What it means.

    Returns
    -------
    KeyEntry
        The entry.
    """
    return KeyEntry(write_line_key(look), as_markup(text))


def symbol_entry(icon: str, text: str, *, number: str = "") -> KeyEntry:
    """Return the entry of a symbol in the key.

    Parameters
    ----------
    icon
        Its name.
    text
        What it means.
    number
        What is written on it.

    Returns
    -------
    KeyEntry
        The entry.
    """
    return KeyEntry(write_symbol(icon, text=number), as_markup(text))
