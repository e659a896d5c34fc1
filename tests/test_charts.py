"""Pictures of what a log teaches: what they say, that it can be read on a phone, and that nothing covers anything."""

from __future__ import annotations

import re
import struct
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import matplotlib as mpl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lesson_samples import boat_named, empty, figure, sample, sharpening
from matplotlib.colors import to_hex
from matplotlib.text import Text

from layers.errors import InputError
from maps.palette import find_contrast
from routeplan import chart_sheet, charts
from routeplan.chart_sheet import date_ticks, drawing_settings, write_png, write_svg
from routeplan.charts import build_pictures, draw_pictures
from routeplan.lesson_words import (
    economy_message,
    factor,
    gauge_message,
    meter_message,
    reserve_reading_l,
    sharpening_message,
)
from routeplan.quantities import LITRES_PER_USGAL

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan.chart_sheet import Picture
    from routeplan.lessons import Lesson

PHONE_PX = 390.0
SVG = "{http://www.w3.org/2000/svg}"
NAMES = ["meter", "gauge", "economy", "sharpening"]
YEAR, DAY = timedelta(days=365), timedelta(days=1)


def pictures(lesson: Lesson, count: int = 20) -> dict[str, Picture]:
    return {picture.name: picture for picture in build_pictures(lesson, sharpening(count))}


@cache
def usual() -> dict[str, Picture]:
    return pictures(sample())


SAMPLES: dict[str, tuple[Lesson, int]] = {
    "usual": (sample(), 20),
    "metric, two meters": (sample(boat_named(units="metric"), meters=2, factor=0.985), 20),
    "imperial, gauge high": (sample(boat_named(units="imperial"), bias=-0.06), 20),
    "small tank": (sample(boat_named(units="us", capacity_l=24.0)), 20),
    "large tank": (sample(boat_named(units="metric", capacity_l=90_000.0)), 20),
    "one fill-up": (sample(count=1, doubtful=False), 1),
    "two fill-ups": (sample(count=2, doubtful=False), 2),
    "many": (sample(count=400, apart=timedelta(days=2)), 399),
    "eleven years": (sample(count=12, apart=YEAR), 12),
    "all within a day": (sample(count=6, apart=timedelta(minutes=90)), 6),
    "long name": (
        sample(boat_named("A Name of Very Many Words That Nobody Would Ever Paint on the Transom of a Boat")),
        20,
    ),
    "odd name": (sample(boat_named("$x^2$ \\frac <b>&amp; \u6f22\u5b57 Unbroken" + "n" * 40)), 20),
    "nothing doubtful": (sample(doubtful=False), 20),
    "big reserve": (
        sample(boat_named().model_copy(update={"reserve": boat_named().reserve.model_copy(update={"value": 0.33})})),
        20,
    ),
}


@pytest.fixture(scope="module", params=list(SAMPLES))
def drawn(request: pytest.FixtureRequest) -> dict[str, Picture]:
    lesson, count = SAMPLES[request.param]
    return pictures(lesson, count)


def texts(picture: Picture) -> list[tuple[str, Any]]:
    """Tell every text that is drawn, and where [px]; ticks beyond the ends of an axis keep a text that never is."""
    with drawing_settings():
        picture.sheet.canvas.draw()
        beyond = set()
        for axis in (axis for axes in picture.sheet.axes for axis in (axes.xaxis, axes.yaxis)):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low - 1e-9 <= tick.get_loc() <= high + 1e-9:
                    beyond.add(id(tick.label1))
        found = [t for t in picture.sheet.findobj(Text) if id(t) not in beyond]
        return [(t.get_text(), t.get_window_extent()) for t in found if t.get_visible() and t.get_text().strip()]


# What they say


@pytest.mark.parametrize(
    ("mean", "half", "words"),
    [
        (1 / 0.98, 0.004, "The meter reads 2.0 % low: multiply by 1.020"),  # 98 shown where 100 were used
        (1 / 1.03, 0.004, "The meter reads 3.0 % high: multiply by 0.971"),
        (1 / 0.96, 0.02, "The meter reads 4 % low: multiply by 1.04"),
        (1.0, 0.004, "The meter reads right as far as can be told: multiply by 1.000"),
        (1.004, 0.006, "The meter reads right as far as can be told: multiply by 1.004"),
    ],
)
def test_meter_says_what_to_multiply_by(mean: float, half: float, words: str) -> None:
    lesson = sample().model_copy(update={"meter_factor": figure(mean, half)})
    assert meter_message(lesson) == words
    assert pictures(lesson)["meter"].title == words


def test_meter_that_rests_on_nothing_says_so() -> None:
    lesson = sample().model_copy(update={"meter_factor": figure(1.0, 0.05, 0)})
    assert meter_message(lesson) == "No sum from full to full yet: what the meter is worth isn't known"
    assert meter_message(empty()) == "No meter reading is in the log yet"


def test_two_meters_are_told_together() -> None:
    assert meter_message(sample(meters=2)).startswith("The two meters together read 2.0 % low")


@pytest.mark.parametrize(
    ("bias", "words"),
    [
        (0.06, "In the last fifth the gauge reads low: more is there than it shows"),
        (0.025, "In the last fifth the gauge may err either way"),
        (-0.025, "In the last fifth the gauge may err either way"),
        (-0.06, "Danger: in the last fifth the gauge reads high, less is there than it shows"),
    ],
)
def test_gauge_says_which_way_it_errs(bias: float, words: str) -> None:
    """At 12 % of the tank the samples are off by 0.76 of the bias: 4.6 or 1.9 %, known to 1.84 % either way.

    Known: 2 % at the rows of 10 and 20 %. So 4.6 % is beyond chance and 1.9 % is not, and below a fiftieth.
    """
    assert gauge_message(sample(bias=bias)) == words


def test_gauge_that_leans_says_that_it_is_not_sure() -> None:
    rows = sample(bias=-0.05).gauge_table
    wide = tuple(r.model_copy(update={"low_l": 0.0, "high_l": min(360.0, r.mean_l + 60)}) for r in rows)
    assert gauge_message(sample().model_copy(update={"gauge_table": wide})) == (
        "Danger: in the last fifth the gauge seems to read high, which isn't sure yet"
    )


def test_reserve_is_told_as_a_reading_of_the_gauge() -> None:
    """Floor 10 + 36 = 46 l. Low ends are 28.8 l at 36 l and 64.8 l at 72 l: 46 is reached at 36 + 17.2 = 53.2 l."""
    lesson = sample(bias=0.0)
    assert reserve_reading_l(lesson) == pytest.approx(53.2)
    told = [text for text, _ in texts(pictures(lesson)["gauge"])]
    assert any(text.replace("\u00a0", " ").startswith("From 14.1 gal on the gauge downwards") for text in told)


def test_reserve_reading_where_no_reading_is_sure_enough() -> None:
    lesson = sample()
    unsure = tuple(row.model_copy(update={"low_l": 0.0}) for row in lesson.gauge_table)
    assert reserve_reading_l(lesson.model_copy(update={"gauge_table": unsure})) is None
    sure = tuple(row.model_copy(update={"low_l": 50.0, "mean_l": 60.0}) for row in lesson.gauge_table)
    assert reserve_reading_l(lesson.model_copy(update={"gauge_table": sure})) == 0.0


def test_economy_and_sharpening_say_their_figure() -> None:
    """0.4 nmi/l times 3.785 l are 1.51 nmi on a US gallon; 4 % by the root of 16 are 1 %."""
    assert economy_message(sample()) == "She runs 1.51 nmi on a US gallon"
    assert economy_message(sample(boat_named(units="imperial"))) == "She runs 1.82 nmi on an imperial gallon"
    assert economy_message(sample(boat_named(units="metric"))) == "She runs 0.400 nmi on a litre"
    assert sharpening_message(sharpening(16)) == "The meter factor sharpened from \u00b14.0 % to \u00b11.0 %"
    assert sharpening_message(sharpening(1)) == "After one sum the meter factor is known to \u00b14.0 %"
    assert "nothing to sharpen" in sharpening_message(())


def test_factor_has_as_many_digits_as_it_is_worth() -> None:
    assert factor(figure(1.0234, 0.009)) == "1.023"
    assert factor(figure(1.0234, 0.011)) == "1.02"


def test_description_carries_the_figures() -> None:
    told = pictures(sample(boat_named(units="metric")))
    assert "8 May 2025 meter 90.0 l, pump" in told["meter"].description
    assert told["meter"].description.count("(doubtful)") == 1
    assert "at 36.0 l on the gauge" in told["gauge"].description
    assert "slight" in told["economy"].description
    late = build_pictures(sample(boat_named(units="metric")), sharpening(3), ZoneInfo("Pacific/Kiritimati"))
    assert "9 May 2025 meter 90.0 l" in late[0].description  # 11:45 UTC is the next day there


# That it can be read


def test_all_four_are_drawn(drawn: dict[str, Picture]) -> None:
    assert list(drawn) == NAMES


def test_no_text_lies_on_another_or_leaves_the_sheet(drawn: dict[str, Picture]) -> None:
    for picture in drawn.values():
        found = texts(picture)
        width, height = picture.sheet.canvas.get_width_height()
        assert width == PHONE_PX
        for text, box in found:
            assert box.x0 >= 0, (picture.name, text)
            assert box.x1 <= width, (picture.name, text)
            assert box.y0 >= 0, (picture.name, text)
            assert box.y1 <= height, (picture.name, text)
        for (one, a), (other, b) in combinations(found, 2):
            across = min(a.x1, b.x1) - max(a.x0, b.x0)
            up = min(a.y1, b.y1) - max(a.y0, b.y0)
            assert across <= 1 or up <= 1, (picture.name, one, other)


def test_text_is_large_enough_and_stands_out(drawn: dict[str, Picture]) -> None:
    for picture in drawn.values():
        for text in picture.sheet.findobj(Text):
            assert text.get_fontsize() * 100 / 72 >= 11, text.get_text()
            assert find_contrast(to_hex(text.get_color()), "#FFFFFF") >= 4.5, text.get_text()


def test_lines_and_points_stand_out_on_paper() -> None:
    for picture in usual().values():
        for axes in picture.sheet.axes:
            for line in axes.lines:
                if line.get_marker() in {"None", None}:
                    assert find_contrast(to_hex(line.get_color()), "#FFFFFF") >= 3


def test_axes_that_show_amounts_begin_at_zero(drawn: dict[str, Picture]) -> None:
    for name in ("meter", "gauge", "economy"):
        assert drawn[name].sheet.axes[0].get_ylim()[0] == 0
    for name in ("meter", "gauge"):
        assert drawn[name].sheet.axes[0].get_xlim()[0] == 0


def test_axes_that_show_a_ratio_hold_the_line_of_a_meter_that_reads_right(drawn: dict[str, Picture]) -> None:
    for axes in (drawn["meter"].sheet.axes[1], drawn["sharpening"].sheet.axes[0]):
        low, high = axes.get_ylim()
        assert low < 1 < high
        assert high - low >= 0.03


def test_amounts_are_in_the_boats_unit_and_every_axis_names_its() -> None:
    """Of 20 points the largest metered good one is 360 * (0.25 + 0.5 * 10 / 11) = 253.6 l, 67.0 US gallons."""
    axes = pictures(sample(doubtful=False))["meter"].sheet.axes[0]
    good = next(line for line in axes.lines if line.get_marker() == "o")
    assert max(good.get_xdata()) == pytest.approx(360 * (0.25 + 5 / 11) / LITRES_PER_USGAL)
    for units, label in (("us", "[gal]"), ("metric", "[l]")):
        found = pictures(sample(boat_named(units=units)))
        for name, count in (("meter", 3), ("gauge", 2)):
            assert sum(label in text for text, _ in texts(found[name])) == count
        assert any(label.replace("[", "[nmi/") in text for text, _ in texts(found["economy"]))


def test_doubtful_points_are_struck_out_and_in_sight_and_in_the_key() -> None:
    found = usual()
    for name, panels in (("meter", 2), ("gauge", 1), ("economy", 1)):
        sheet = found[name].sheet
        assert len(sheet.axes) == panels
        for axes in sheet.axes:
            struck = [line for line in axes.lines if line.get_marker() == "X" and len(line.get_xdata())]
            assert sum(len(line.get_xdata()) for line in struck) == 1
            for line in struck:
                (x,), (y,) = line.get_xdata(), line.get_ydata()
                assert axes.get_xlim()[0] <= x <= axes.get_xlim()[1]
                assert axes.get_ylim()[0] <= y <= axes.get_ylim()[1]
        assert "doubtful, left out" in [text for text, _ in texts(found[name])]
    # (1.02 + 0.012 sin 24.3) / 1.9 = 1.0110 / 1.9 lies beyond the axis: it stands at the edge, with its figure.
    assert any("0.53" in text for text, _ in texts(found["meter"]))
    assert "doubtful, left out" not in [text for text, _ in texts(pictures(sample(doubtful=False))["meter"])]


def test_every_good_point_lies_inside_its_axes(drawn: dict[str, Picture]) -> None:
    for picture in drawn.values():
        for axes in picture.sheet.axes:
            for line in axes.lines:
                if line.get_marker() in {"o", "s", "^", "D"}:
                    for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True):
                        assert axes.get_xlim()[0] <= x <= axes.get_xlim()[1]
                        assert axes.get_ylim()[0] <= y <= axes.get_ylim()[1]


def test_seas_differ_by_shape_and_not_by_colour_alone() -> None:
    axes = pictures(sample(doubtful=False))["economy"].sheet.axes[0]
    marks = [line.get_marker() for line in axes.lines if len(line.get_xdata()) and line.get_marker() in "os^D"]
    assert len(marks) == 4
    assert len(set(marks)) == 4


def test_a_log_that_holds_nothing_has_no_pictures(tmp_path: Path) -> None:
    assert build_pictures(empty(), ()) == ()
    assert draw_pictures(empty(), (), tmp_path / "none") == ()


# Files


def test_same_lesson_same_file_whatever_the_machines_settings(tmp_path: Path) -> None:
    lesson, steps = sample(), sharpening(20)
    first = draw_pictures(lesson, steps, tmp_path / "one")
    first_png = draw_pictures(lesson, steps, tmp_path / "one", "png")
    before = dict(mpl.rcParams)
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "black", "svg.fonttype": "path", "lines.linewidth": 9}):
        second = draw_pictures(lesson, steps, tmp_path / "two")
        second_png = draw_pictures(lesson, steps, tmp_path / "two", "png")
        assert mpl.rcParams["font.size"] == 30
    assert dict(mpl.rcParams) == before
    assert [path.name for path in first] == [f"{name}.svg" for name in NAMES]
    for one, other in zip((*first, *first_png), (*second, *second_png), strict=True):
        assert one.read_bytes() == other.read_bytes()


def test_svg_is_sound_says_what_it_is_and_asks_for_nothing(drawn: dict[str, Picture]) -> None:
    ids: list[str] = []
    for picture in drawn.values():
        text = write_svg(picture)
        root = ET.fromstring(text)  # noqa: S314  our own output
        assert root.tag == f"{SVG}svg"
        assert root.get("role") == "img"
        title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None
        assert description is not None
        assert title.text == picture.title
        assert description.text == picture.description
        assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
        assert float(root.get("width", "0")) == PHONE_PX
        found = {element.get("id", "") for element in root.iter()} - {""}
        ids += found
        for element in root.iter():
            for name, value in element.attrib.items():
                if name.endswith("href"):
                    assert value.removeprefix("#") in found
                assert all(name in found for name in re.findall(r"url\(#([^)]*)\)", value))
                assert "url(http" not in value
        assert not list(root.iter("{http://creativecommons.org/ns#}Work"))
        assert not list(root.iter(f"{SVG}style"))
        words = list(root.iter(f"{SVG}text"))
        assert len(words) >= 8
        assert all("sans-serif" in element.get("style", "") for element in words)
    assert len(ids) == len(set(ids))  # they stand in one page together


def test_name_from_a_file_stays_text() -> None:
    name = "$x^2$ <script>alert(1)</script>"
    text = write_svg(pictures(sample(boat_named(name)))["economy"])
    assert "<script" not in text
    words = "".join(ET.fromstring(text).itertext())  # noqa: S314  our own output
    assert name in words


def test_png_is_twice_a_phones_width() -> None:
    content = write_png(usual()["gauge"])
    width, _ = struct.unpack(">II", content[16:24])
    assert content.startswith(b"\x89PNG")
    assert width == 2 * PHONE_PX


def test_pictures_that_cannot_be_written_are_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="can't be written"):
        draw_pictures(sample(), sharpening(3), tmp_path / "file")
    with pytest.raises(InputError, match="svg or png"):
        draw_pictures(sample(), sharpening(3), tmp_path, "gif")  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == [tmp_path / "file"]


# Dates under an axis


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ((2025, 5, 8), (2025, 10, 11), ["Jun\n2025", "Jul", "Aug", "Sep", "Oct"]),
        ((2025, 10, 20), (2026, 2, 10), ["Nov\n2025", "Dec", "Jan\n2026", "Feb"]),
        ((2025, 5, 3), (2025, 5, 6), ["4 May\n2025", "5 May", "6 May"]),
        ((2019, 3, 1), (2025, 5, 1), ["Jan\n2020", "Jan\n2021", "Jan\n2022", "Jan\n2023", "Jan\n2024", "Jan\n2025"]),
    ],
)
def test_dates_are_those_a_person_would_write(
    first: tuple[int, int, int], last: tuple[int, int, int], words: list[str]
) -> None:
    found = date_ticks(datetime(*first, tzinfo=UTC), datetime(*last, tzinfo=UTC))
    assert [word for _, word in found] == words


@given(start_h=st.integers(0, 300_000), span_h=st.integers(1, 300_000), most=st.integers(3, 8))
def test_dates_rise_inside_the_axis_and_are_few(start_h: int, span_h: int, most: int) -> None:
    first = datetime(1990, 1, 1, tzinfo=UTC) + timedelta(hours=start_h)
    last = first + timedelta(hours=span_h)
    found = date_ticks(first, last, most)
    moments = [moment for moment, _ in found]
    assert 1 <= len(moments) <= most
    assert moments == sorted(set(moments))
    assert all(first <= moment <= last for moment in moments)
    assert str(moments[0].year) in found[0][1]


def test_modules_name_what_they_offer() -> None:
    for module in (charts, chart_sheet):
        assert all(hasattr(module, name) for name in module.__all__)
