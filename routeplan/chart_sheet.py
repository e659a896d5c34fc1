"""The sheet that a picture is drawn on: what it says on top, axes that are placed to the inch, a key below.

Made for a phone held in one hand: 390 pixels wide, text of 12 pixels and more. No state of matplotlib's is changed:
settings hold inside `drawing_settings` only.
"""

from __future__ import annotations

import io
import re
import warnings
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html import escape
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Sheet
from matplotlib.lines import Line2D

from maps.palette import BASE
from routeplan.lesson_words import tied

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.axes import Axes

__all__ = ["INK", "QUIET", "Mark", "Picture", "Sketch", "date_ticks", "drawing_settings", "write_png", "write_svg"]

INK: Final = BASE["ink"]
QUIET: Final = BASE["quiet"]

_WIDTH_IN = 3.9  # 390 px, the width of a phone
_DPI = 100.0
_PNG_DPI = 200.0  # px/in: a phone has two or three pixels to one of a page
_MARGIN_IN = 0.12
_LEFT_IN, _RIGHT_IN = 0.62, 0.16
_TITLE_PT, _TEXT_PT = 11.5, 9.2  # 16 and 12.8 px
_TITLE_LINE_IN, _TEXT_LINE_IN, _KEY_LINE_IN = 0.215, 0.175, 0.21
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SETTINGS: dict[str, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],  # comes with matplotlib, and wider than what browsers put in its place
    "font.size": _TEXT_PT,
    "text.color": INK,
    "text.parse_math": False,  # a dollar in a name is a dollar
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.unicode_minus": True,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "axes.linewidth": 1.0,
    "lines.linewidth": 2.0,
    "grid.color": BASE["land"],
    "grid.linewidth": 0.8,
    "svg.fonttype": "none",
    "path.simplify": False,
    "timezone": "UTC",
}


@contextmanager
def drawing_settings(salt: str = "routeplan") -> Iterator[None]:
    """Draw with our own settings, whatever the machine's; they end with the block.

    Parameters
    ----------
    salt
        What the names inside an SVG are made from.

    Yields
    ------
    Nothing.
    """
    with mpl.rc_context(), warnings.catch_warnings():
        # A name may hold letters that the font lacks; the browser has them.
        warnings.filterwarnings("ignore", message=r"Glyph \d+ .* missing from font")
        mpl.rcdefaults()
        for name, value in {**_SETTINGS, "svg.hashsalt": salt}.items():
            mpl.rcParams[name] = value  # type: ignore[index, unused-ignore]
        yield


@dataclass(frozen=True)
class Mark:
    """One entry of the key: how something is drawn, and what it is.

    Parameters
    ----------
    words
        What it is.
    style
        As matplotlib's `Line2D` takes it.
    """

    words: str
    style: dict[str, Any]


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture that is drawn, and says what it shows.

    Parameters
    ----------
    name
        One word, for its file.
    title
        Its message.
    description
        What is drawn, and the figures, for readers of screens.
    sheet
        The drawing.
    """

    name: str
    title: str
    description: str
    sheet: Sheet


@dataclass
class Sketch:
    """A sheet in the making.

    Parameters
    ----------
    title
        Its message.
    lines
        What stands under it.
    footer
        What it rests on.
    key
        The key, below the axes.
    panels_in
        [in] Heights of the axes, from top to bottom.
    gap_in
        [in] Between them.
    """

    title: str
    lines: Sequence[str]
    footer: str
    key: Sequence[Mark]
    panels_in: Sequence[float]
    gap_in: float = 0.42
    sheet: Sheet = field(init=False)
    axes: list[Axes] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        """Place everything; the height follows from what there is."""
        self.sheet = Sheet(figsize=(_WIDTH_IN, 1.0), dpi=_DPI)
        FigureCanvasAgg(self.sheet)
        width_in = _WIDTH_IN - 2 * _MARGIN_IN
        title = self._folded(self.title, width_in, _TITLE_PT, "bold")
        lines = [part for line in self.lines for part in self._folded(line, width_in, _TEXT_PT, "normal")]
        footer = self._folded(self.footer, width_in, _TEXT_PT, "normal")
        rows = self._key_rows(width_in)
        top_in = _MARGIN_IN + len(title) * _TITLE_LINE_IN + len(lines) * _TEXT_LINE_IN + 0.38
        panels_in = sum(self.panels_in) + self.gap_in * (len(self.panels_in) - 1)
        below_in = 0.52 + len(rows) * _KEY_LINE_IN + 0.06 + len(footer) * _TEXT_LINE_IN + _MARGIN_IN
        height_in = top_in + panels_in + below_in
        self.sheet.set_size_inches(_WIDTH_IN, height_in)
        at_in = _MARGIN_IN
        for text in title:
            self._write(text, at_in, height_in, _TITLE_PT, "bold", INK)
            at_in += _TITLE_LINE_IN
        at_in += 0.03
        for text in lines:
            self._write(text, at_in, height_in, _TEXT_PT, "normal", QUIET)
            at_in += _TEXT_LINE_IN
        at_in = top_in
        for panel_in in self.panels_in:
            bottom = (height_in - at_in - panel_in) / height_in
            width = (_WIDTH_IN - _LEFT_IN - _RIGHT_IN) / _WIDTH_IN
            self.axes.append(self.sheet.add_axes((_LEFT_IN / _WIDTH_IN, bottom, width, panel_in / height_in)))
            at_in += panel_in + self.gap_in
        at_in = top_in + panels_in + 0.52
        for row in rows:
            for left_in, mark in row:
                self._draw_mark(mark, left_in, at_in, height_in)
            at_in += _KEY_LINE_IN
        at_in += 0.06
        for text in footer:
            self._write(text, at_in, height_in, _TEXT_PT, "normal", QUIET)
            at_in += _TEXT_LINE_IN
        for axes in self.axes:
            axes.spines[["top", "right"]].set_visible(False)
            axes.grid(visible=True, zorder=0)
            axes.set_axisbelow(True)
            axes.tick_params(length=3)

    @property
    def panel_width_in(self) -> float:
        """[in] Width of the axes."""
        return _WIDTH_IN - _LEFT_IN - _RIGHT_IN

    def name_axes(self, axes: Axes, across: str, up: str) -> None:
        """Name both axes, the upright one lying on top of it, where it reads without turning the head.

        Parameters
        ----------
        axes
            The axes.
        across, up
            What they show, with the unit.
        """
        axes.set_xlabel(across, loc="right", labelpad=2)
        axes.annotate(up, (0, 1), (-_LEFT_IN * 72 + 10, 5), xycoords="axes fraction", textcoords="offset points")

    def _width_in(self, text: str, size_pt: float, weight: str) -> float:
        probe = self.sheet.text(0, 0, text, fontsize=size_pt, fontweight=weight)
        width: float = probe.get_window_extent().width / _DPI
        probe.remove()
        return width

    def _folded(self, text: str, width_in: float, size_pt: float, weight: str) -> list[str]:
        found: list[str] = []
        for word in tied(text).split(" "):
            longer = f"{found[-1]} {word}" if found else word
            if found and self._width_in(longer, size_pt, weight) <= width_in:
                found[-1] = longer
            else:
                found.append(self._cut(word, width_in, size_pt, weight))
        return found

    def _cut(self, word: str, width_in: float, size_pt: float, weight: str) -> str:
        while len(word) > 1 and self._width_in(word, size_pt, weight) > width_in:
            word = f"{word[: int(0.9 * len(word)) - 1]}\u2026"
        return word

    def _key_rows(self, width_in: float) -> list[list[tuple[float, Mark]]]:
        rows: list[list[tuple[float, Mark]]] = []
        at_in = 0.0
        for mark in self.key:
            needed_in = 0.36 + self._width_in(mark.words, _TEXT_PT, "normal")
            if not rows or at_in + needed_in > _MARGIN_IN + width_in:
                rows.append([])
                at_in = _MARGIN_IN
            rows[-1].append((at_in, mark))
            at_in += needed_in + 0.16
        return rows

    def _write(self, text: str, at_in: float, height_in: float, size_pt: float, weight: str, colour: str) -> None:
        self.sheet.text(
            _MARGIN_IN / _WIDTH_IN,
            1 - at_in / height_in,
            text,
            fontsize=size_pt,
            fontweight=weight,
            color=colour,
            va="top",
        )

    def _draw_mark(self, mark: Mark, left_in: float, at_in: float, height_in: float) -> None:
        y = 1 - (at_in + 0.5 * _KEY_LINE_IN) / height_in
        ends = [left_in + 0.02, left_in + 0.15, left_in + 0.28]
        xs = [end / _WIDTH_IN for end in ends]
        self.sheet.add_artist(Line2D(xs, [y] * 3, markevery=[1], **mark.style))
        self.sheet.text((left_in + 0.36) / _WIDTH_IN, y, mark.words, va="center", color=INK)


def date_ticks(first: datetime, last: datetime, most: int = 6) -> tuple[tuple[datetime, str], ...]:
    r"""Choose dates to write under an axis.

    Parameters
    ----------
    first, last
        Ends of the axis.
    most
        How many there is room for.

    Returns
    -------
    Moments between the ends and their words: days for some weeks, months for some years, else years; the year stands
    with the first one and wherever it begins.

    Examples
    --------
    >>> [words for _, words in date_ticks(datetime(2025, 5, 8, tzinfo=UTC), datetime(2025, 10, 11, tzinfo=UTC))]
    ['Jun\n2025', 'Jul', 'Aug', 'Sep', 'Oct']
    """
    days = (last - first).total_seconds() / 86_400
    for step in (1, 2, 3, 6, 12, 24, 60, 120):
        ticks = _months(first, last, step)
        if len(ticks) <= most:
            break
    if len(ticks) < 2:
        step = max(1, -(-int(days + 1) // most))
        start = datetime(first.year, first.month, first.day, tzinfo=first.tzinfo or UTC)
        midnights = [datetime.fromtimestamp(start.timestamp() + 86_400 * n, tz=UTC) for n in range(1, int(days) + 2)]
        inside = [moment for moment in midnights[::step] if first <= moment <= last] or [first]
        return _worded(inside, days_too=True)
    return _worded(ticks, days_too=False)


def write_svg(picture: Picture) -> str:
    """Write a picture as SVG, its text as text.

    Parameters
    ----------
    picture
        The picture.

    Returns
    -------
    One ``svg`` element, byte for byte the same for the same picture; it may stand in a page beside others.
    """
    target = io.StringIO()
    nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    with drawing_settings(picture.name):
        picture.sheet.savefig(target, format="svg", metadata=nothing)
    text = target.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<defs>\s*<style[^>]*>[^<]*</style>\s*</defs>", "", text, count=1)  # it would hold for a whole page
    text = re.sub(r'(\sid="|"#|url\(#)', rf"\g<1>{picture.name}-", text)
    view = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    if view is None:
        raise AssertionError("unreachable")
    width, height = (float(v) * _DPI / 72 for v in view.groups())
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" role="img" '
        f'aria-labelledby="{picture.name}-title {picture.name}-desc" width="{width:.0f}" height="{height:.0f}" '
        f'{view[0]} style="stroke-linejoin: round; stroke-linecap: butt">\n'
        f'<title id="{picture.name}-title">{escape(picture.title)}</title>\n'
        f'<desc id="{picture.name}-desc">{escape(picture.description)}</desc>'
    )
    return head + text[text.index(">") + 1 :].rstrip() + "\n"


def write_png(picture: Picture) -> bytes:
    """Write a picture as PNG, twice as many pixels wide as a phone's page.

    Parameters
    ----------
    picture
        The picture.

    Returns
    -------
    The file's content.
    """
    target = io.BytesIO()
    with drawing_settings(picture.name):
        words = {"Software": None, "Title": picture.title, "Description": picture.description}
        picture.sheet.savefig(target, format="png", dpi=_PNG_DPI, metadata=words)
    return target.getvalue()


def _months(first: datetime, last: datetime, step: int) -> list[datetime]:
    zone = first.tzinfo or UTC
    month = 12 * first.year + first.month - 1
    month += -month % step
    found = []
    while (moment := datetime(month // 12, month % 12 + 1, 1, tzinfo=zone)) <= last:
        if moment >= first:
            found.append(moment)
        month += step
    return found


def _worded(moments: Sequence[datetime], *, days_too: bool) -> tuple[tuple[datetime, str], ...]:
    found, year = [], 0
    for moment in moments:
        words = _MONTHS[moment.month - 1]
        if days_too:
            words = f"{moment.day} {words}"
        if moment.year != year:
            words, year = f"{words}\n{moment.year}", moment.year
        found.append((moment, words))
    return tuple(found)
