"""The passage sheet: what it says, and how it prints."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING

import posed_sheet as posed
import pytest

from layers.errors import InputError
from routeplan.crews import Crew
from routeplan.plans import StreamMet, TurnTold, Wait
from routeplan.sheet import fill_sheet
from routeplan.sheet_page import build_sheet
from routeplan.sheet_pdf import check_sheet_file, write_sheet
from routeplan.sheet_words import SheetWords

if TYPE_CHECKING:
    from layers.region import Region
    from routeplan.network import Network
    from routeplan.saved_plans import SavedPlan
    from routeplan.sheet_style import Paper

CHROMIUM = "/usr/bin/chromium"
HOSTILE = "</style></svg><script>window.harmed=1</script>\"'&lt;{{7*7}}\u202e71 \u05e9\u05dc \u200f"
LONG = "Quay of the " + "W" * 68  # 80 letters
POINTS = {"a4": (595, 842), "letter": (612, 792)}  # ISO 216 and ANSI Y14.1 in points of 1/72 inch


class Words(HTMLParser):
    """The words of a page outside its style sheet, and its tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Note words."""
        if not self.tags or self.tags[-1][0] != "style":
            self.words.append(data)

    @property
    def said(self) -> str:
        """All words, single spaces between them."""
        return " ".join(" ".join(self.words).split())


def said(saved: SavedPlan | None = None, region: Region | None = None, crew: Crew | None = None) -> str:
    return Words(build_sheet(saved or posed.saved(), region or posed.region(), crew)).said


# What it says


def in_a_current() -> SavedPlan:
    """Let a current of 2.62 kn to 184.6 run on the last leg: 170.0 true is steered there, and 20.96 kn made good."""
    plan = posed.plan()
    current = {"steer_deg": 170.0, "ground_kn": 20.96, "set_deg": 184.6, "drift_kn": 2.62}
    legs = (*plan.legs[:-1], plan.legs[-1].model_copy(update=current))
    turns = [("slack", -120, 0.0), ("ebb", 90, 2.77), ("slack", 270, 0.0)]
    met = StreamMet(
        name="The Race",
        enter=posed.at(121),
        leave=posed.at(136),
        position=(-38.55, 44.2),
        set_deg=184.6,
        drift_kn=2.76,
        turns=tuple(TurnTold(kind=kind, at=posed.at(minutes), speed_kn=kn) for kind, minutes, kn in turns),
    )
    return posed.saved(posed.plan(legs=legs, streams=(met,), still_water=False))


def test_still_water_is_told_on_top() -> None:
    told = said()
    assert told.count("Still water: no current is allowed for.") == 1
    assert told.index("Still water") < told.index("Fuel aboard on leaving")
    assert "sets" not in told.split("Sun and tide")[0].split("read, at")[1]


def test_row_in_a_current_says_what_to_steer_and_where_it_sets() -> None:
    """170.0 true with 8.5 west is 178.5 magnetic, to 178 (even); the track is 180."""
    told = said(in_a_current())
    row = told[told.index("sets 185") - 60 :]
    assert "sets 185 T 2.6 kn: track 180 T, 21.0 kn over ground 178 170 5.0 20" in row
    assert "Courses along the track allow for the current" in told
    assert "Still water" not in told


def test_slack_at_the_narrows_stands_beside_the_sun() -> None:
    told = said(in_a_current()).split("Sun and tide")[1]
    assert "10:01 The Race : ebb 2.8 kn setting 185 T; slack 06:00 and 12:30; strongest 09:30 (2.8 kn)" in told
    assert "Heights of tide aren't predicted" in told
    page = build_sheet(in_a_current(), posed.region())
    assert page[page.index('class="chart"') :].count("rotate(185)") == 2  # on the sketch, dark on a light bed
    assert "Two angles: current met." in said(in_a_current())


def test_short_leg_in_a_current_shares_no_row_with_one_out_of_it() -> None:
    """Legs 1 and 2 share a row in still water; two knots on the first part them, two tenths don't."""
    for drift_kn, labels in ((2.0, ["1", "2-3"]), (0.2, ["1-3"])):
        first, *rest = posed.legs()
        current = {"steer_deg": 104.0, "ground_kn": 19.0, "set_deg": 350.0, "drift_kn": drift_kn}
        saved = posed.saved(posed.plan(legs=(first.model_copy(update=current), *rest), still_water=False))
        rows = [line for line in fill_sheet(saved, posed.region()).lines if line.kind == "leg"]
        assert [row.label for row in rows if row.last_leg < 4] == labels
    words = SheetWords(saved, fill_sheet(saved, posed.region()))
    assert words.row_notes(rows[0])[1].replace("\u00a0", " ") == (
        "on 112 M sets 350 T 0.2 kn: track 100 T, 19.0 kn over ground"
    )


def test_night_is_told_ashore_and_with_its_sunrise() -> None:
    """From 9 to 6 at Mid Pump, where leg 4 begins: sunrise there is told for the second day."""
    plan = posed.plan()
    night = timedelta(hours=20)
    legs = (
        *plan.legs[:3],
        *(leg.model_copy(update={"depart": leg.depart + night, "arrive": leg.arrive + night}) for leg in plan.legs[3:]),
    )
    wait = Wait(at="Mid Pump", until=legs[3].depart, wait_h=20.0, gate="daylight")
    saved = posed.saved(posed.plan(legs=legs, arrive=legs[-1].arrive, waits=(wait,), stops=()))
    sheet = fill_sheet(saved, posed.region())
    (sun,) = [sun for sun in sheet.suns if sun.kind == "night"]
    assert (sun.place, sun.at, sun.position) == ("Mid Pump", legs[3].depart, legs[3].from_position)
    told = said(saved)
    assert "Night at Mid Pump, 20 h 00 min: leave Thu 2 Jul 05:31" in told
    assert "lies at or close to Mid Pump" in told.split("For whoever waits ashore")[1]
    assert "Mid Pump , Thu 05:31: sunrise 06:" in told.split("Sun and tide")[1]


def test_helm_reads_course_distance_time_dial_and_limit_in_one_row() -> None:
    """Leg 4: 090 true, 8.5 west: 098.5 magnetic, to 098 (even); 12.09 and 36.99 gal rounded down; 221.5 is 230 M.

    The way there is told whole: 9.0 nmi at 230 M, then 190 true, 198 M (even); the last 0.1 nmi is alongside.
    """
    assert re.search(
        r" 4 44 12\.00N 038 36\.00W ; depth not checked; heed: bar Long Bar: wait"
        r" 098 090 10\.0 20 10:01 30 12\.0 36\.9 a Side Pump 11\.8: 230 M 9\.0, 198 M 2\.7 ",
        said(),
    )


def test_short_legs_share_a_row_and_every_course_stays() -> None:
    """Leg 1 of 0.2 nmi at 100 true is 108 M; the approach alongside belongs to the row of leg 2."""
    rows = [line for line in fill_sheet(posed.saved(), posed.region()).lines if line.kind == "leg"]
    assert [(row.first_leg, row.last_leg) for row in rows] == [(1, 3), (4, 4), (5, 5)]
    assert [steer.course_deg for steer in rows[0].steers] == [100, 355]
    assert "first 108 M 0.2" in said()
    assert " 004 355 20.2 20 09:01 61 31.0 " in said()  # 355 and 8.5 are 003.5


def test_true_courses_only_where_the_region_has_no_variation() -> None:
    words = said(region=posed.region(variation=None))
    assert "Courses are true (T): the region doesn't say its magnetic variation." in words
    assert " 090 090 10.0 " in words
    assert "variation 8.5" not in words


def test_stop_tells_fuel_on_arrival_as_mean_and_low_and_resets_the_dial() -> None:
    words = said()
    assert "Stop 1, 09:01 to 09:31: Mid Pump. Arrive with 60.1 gal aboard, low 57.1 gal" in words
    assert "Take about 35.0 gal to the full mark. Write the dial down, then reset it to 0." in words
    assert "Mo-Su 08:00-20:00; VHF 9; phone 555 0109; confirmed 2026-06-01" in words
    assert "If closed: a Side Pump, 9.3 nmi on, 40.0 gal left (low)" in words
    assert "Arrive Wed 1 Jul 10:16: End Quay . 80.0 gal, low 77.0 gal" in words


def test_fill_before_leaving_is_counted_in_when_and_with_what_she_leaves() -> None:
    """She lies at the pump from 08:00 with 30 gal, and leaves at 09:31 with her tank at its mark, one sigma of 1 %.

    By hand: 95 gal at the mark, 1 % of the tank's 100 gal is one sigma, and 90 % of draws have more than 1.2816 of
    them less (a normal table): 93.72, rounded down.
    """
    lies = posed.stop(dock="Start Quay", arrive=posed.DEPART, begin=posed.at(60), aboard_l=30 * posed.GAL)
    saved = posed.saved(posed.plan(stops=(lies,)))
    sheet, page = fill_sheet(saved, posed.region()), said(saved)
    assert sheet.leaves == sheet.suns[0].at == posed.at(91)
    assert sheet.aboard_l == 95 * posed.GAL
    assert sheet.aboard_low_l / posed.GAL == pytest.approx(95 - 1.2816, abs=0.001)
    assert "Fuel aboard on leaving 95.0 gal low 93.7 gal" in page
    assert "Leave Wed 1 Jul 09:31" in page
    assert "how known: filled to the mark at stop 1" in page
    assert "09:31 leaves Start Quay" in page.split("For whoever waits ashore", 1)[1]


def test_dial_that_goes_on_counting_is_not_reset() -> None:
    marks = tuple(mark.model_copy(update={"since": "Start Quay"}) for mark in posed.helm().marks)
    meter = posed.helm().meter.model_copy(update={"shows_l": (10 * posed.GAL, 2 * posed.GAL)})
    words = said(posed.saved(checked=posed.helm(marks=marks, meter=meter)))
    assert "Don't reset the dial: figures go on from before." in words
    assert "starts at 12.0 Both dials as shown. Really used: 1.021 times that, by 24 fill-ups. Add both dials." in words
    assert "reset it to 0" not in words


def test_litres_are_whole_and_rounded_down() -> None:
    """31.09 US gal are 117.69 l, 36.99 are 140.02."""
    words = said(posed.saved(owner=posed.boat(units="metric")))
    assert " 20 09:01 61 117 " in words
    assert "140 a Side Pump 11.8: 230 M" in words


def test_point_of_no_return_stands_before_its_leg() -> None:
    words = said()
    told = "Point of no return 1, 12.0 nmi on, 44 12.00N 038 33.00W, dial 13.0: last chance to turn for a"
    assert told in words
    assert words.index("10:05 Point of no return") < words.index("End Quay 44 12.00N")
    bare = posed.helm().last_turns[0].model_copy(update={"dock": None, "dock_nmi": None})
    assert "no other dock is in reach on this run: only End Quay" in said(
        posed.saved(checked=posed.helm(last_turns=(bare,)))
    )


def test_other_docks_carry_where_hours_and_why() -> None:
    assert (
        "a Side Pump 44 06.00N 038 54.00W Mo-Su 08:00-18:00; VHF 12; phone 555 0101; never confirmed stop 1 is closed"
        in said()
    )


def test_sun_is_told_for_both_ends_and_the_dark_is_not_overlooked() -> None:
    """July at 44 N, 39 W by the clock of the Azores: sunset after 21 h; the same plan 14 h later ends in the night."""
    assert "Start Quay : sunrise 0" in said()
    assert "IN THE DARK" not in said()
    moved = timedelta(hours=14)
    told = posed.plan()
    later = told.model_copy(
        update={
            "depart": told.depart + moved,
            "arrive": told.arrive + moved,
            "legs": tuple(
                leg.model_copy(update={"depart": leg.depart + moved, "arrive": leg.arrive + moved}) for leg in told.legs
            ),
            "stops": (),
        }
    )
    words = said(posed.saved(later))
    assert "IN THE DARK" in words
    assert "after sunset" in words
    assert "Navigation lights tested" in words


def test_whoever_waits_ashore_reads_route_and_when_to_call() -> None:
    crew = Crew(people=4, names=("Jo", "Kit"), shore_contact="Ann, 555 0100", overdue=posed.at(256))
    words = said(crew=crew)
    part = words[words.index("For whoever waits ashore") :]
    for told in (
        "Ann, 555 0100",
        "Posed",
        "26 ft 3 in",
        "Aboard: 4 : Jo, Kit",
        "Wed 1 Jul 08:00 leaves Start Quay",
        "09:01 to 09:31 fuel at Mid Pump , 44 12.00N 038 36.00W , VHF 9, phone 555 0109",
        "10:16 arrives End Quay",
        "Arrives Wed 1 Jul 10:16",
        "Overdue at Wed 1 Jul 12:16",
        "May go instead to: Side Pump",
    ):
        assert told in part, told


def test_safety_lines_cautions_and_sources_are_there() -> None:
    words = said()
    for told in ("Kill cord", "Lifejackets", "channel 16", posed.CAUTION, "land: a sketch", "Tides aren't predicted"):
        assert told in words, told


def test_overdue_before_arriving_and_empty_plans_are_refused() -> None:
    with pytest.raises(InputError, match="--overdue"):
        build_sheet(posed.saved(), posed.region(), Crew(overdue=posed.at(100)))
    bare = posed.plan(legs=(), stops=())
    with pytest.raises(InputError, match="nothing to print"):
        build_sheet(posed.saved(bare, posed.helm(marks=(), last_turns=())), posed.region())


def test_another_region_is_told_on_top() -> None:
    other = posed.region()
    saved = posed.saved()
    changed = saved.model_copy(update={"region": saved.region.model_copy(update={"digest": "0" * 64})})
    assert "Posed Sound has changed since the plan was saved" in said(changed, other)


def test_names_cannot_break_out_of_the_page() -> None:
    told = posed.plan(legs=tuple(leg.model_copy(update={"to": HOSTILE}) for leg in posed.legs()), stops=())
    saved = posed.saved(told, owner=posed.boat(name="Posed <b>{x}</style>"))
    page = build_sheet(saved, posed.region(), Crew(names=(HOSTILE,), shore_contact=HOSTILE))
    found = Words(page)
    assert not {tag for tag, _ in found.tags} & {"script", "img", "link", "iframe", "a"}
    assert page.count("</style>") == 1
    assert "\u202e" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert "[U+202E]71" in found.said


# Marks on the way, and what to do at each


def test_long_leg_has_a_row_for_each_mark_on_it() -> None:
    """Leg 2 begins at 08:01 and takes an hour for 20 nmi: a mark at 12.5 nmi is met at 08:38; 7.5 of 20 are left."""
    half = posed.mark(2, 18.09, 38.5, after_nmi=12.5, position=(-38.9, 44.3))
    saved = posed.saved(checked=posed.helm(marks=(half, *posed.helm().marks)))
    rows = [line for line in fill_sheet(saved, posed.region()).lines if line.kind == "leg"]
    assert [row.label for row in rows] == ["1-2a", "2-3", "4", "5"]
    assert [round(row.distance_nmi, 2) for row in rows[:2]] == [12.7, 7.52]
    words = said(saved)
    assert "1-2a 44 18.00N 038 54.00W ; after 12.5 of 20.0 nmi; first 108 M 0.2; 08:20 Gull Mark" in words
    assert " 004 355 12.7 20 08:38 38 18.0 go on" in words
    assert words.count("Gull Mark") == 1


def test_way_of_many_courses_begins_in_the_row_and_is_whole_below() -> None:
    way = [{"course_deg": c, "distance_nmi": n} for c, n in ((310.0, 0.2), (323.0, 5.4), (351.0, 19.3), (18.0, 0.8))]
    checked = posed.helm(marks=(posed.mark(4, 12.09, 121, **posed.turning(36.99, turn_way=way)),))
    words = said(posed.saved(checked=checked))
    assert "36.9 a Side Pump 11.8: 318 M 0.2, 332 M 5.4 + Ways" in words
    assert "4 a 318 M 0.2, 332 M 5.4, 000 M 19.3, 026 M 0.8" in words[words.index("Ways: from the mark") :]


def test_dock_that_is_shut_when_she_comes_says_until_when() -> None:
    """07:00 UTC the day after is Thursday 07:00 by the clock of the Azores in summer."""
    opens = posed.at(23 * 60)
    turn = posed.helm().last_turns[0].model_copy(update={"opens": opens})
    checked = posed.helm(
        marks=(posed.mark(4, 12.09, 121, **posed.turning(36.99, turn_opens=opens)),), last_turns=(turn,)
    )
    words = said(posed.saved(checked=checked))
    assert "36.9 a Side Pump 11.8, shut till Thu 07:00 : 230 M 9.0" in words
    assert "last chance to turn for a Side Pump (14.0 nmi; shut till Thu 07:00)" in words


def test_box_without_a_dock_says_what_to_do() -> None:
    """41.09 gal down to 41.0; where she can't slow down further, and at a stop, there is no figure."""
    slow = {"slow_above_l": 41.09 * posed.GAL, "slow_kn": 12.0}
    marks = (posed.mark(2, 31.09, 61, **slow), posed.mark(4, 12.09, 121, **slow))
    words = said(posed.saved(checked=posed.helm(marks=marks)))
    assert "A box without a dock: the next stop is the nearest fuel ; over its figure slow down." in words
    assert " 12.0 41.0 slow to 12 kn" in words
    assert " 31.0 fuel here" in words
    slowest = {"slow_above_l": 41.09 * posed.GAL, "slow_kn": 20.0}
    kept = said(posed.saved(checked=posed.helm(marks=(posed.mark(4, 12.09, 121, **slowest),))))
    assert " 12.0 go on" in kept


def test_merged_legs_keep_the_limit_of_an_earlier_mark() -> None:
    """A limit on leg 1 has a row of its own where leg 2 has none; one on leg 2 stays when she goes alongside."""
    for leg, label in ((1, "1"), (2, "1-3")):
        checked = posed.helm(marks=(posed.mark(leg, 30, 61, **posed.turning(36.99)),))
        rows = [r for r in fill_sheet(posed.saved(checked=checked), posed.region()).lines if r.kind == "leg"]
        assert rows[0].label == label
        assert rows[0].limit is not None
        assert rows[0].limit.leg == leg


def test_reset_of_a_part_full_tank_asks_for_the_old_reading() -> None:
    saved = posed.saved()
    assert "Write the old reading down first" not in said(saved)
    aboard = saved.trip.aboard.model_copy(update={"mean_l": 71 * posed.GAL})
    part = saved.model_copy(update={"trip": saved.trip.model_copy(update={"aboard": aboard})})
    assert "Write the old reading down first; log the next fill with --since reset-in-mid-tank." in said(part)


def test_leg_through_the_night_is_dark_though_both_ends_are_light() -> None:
    """20:00 to 08:00 UTC at 44 N in July: the sun is down for some nine hours between."""
    told = posed.plan(
        legs=(posed.leg(1, 100, 90, (0, 9 * 60)), posed.leg(2, 96, 90, (12 * 60, 24 * 60))),
        stops=(),
        arrive=posed.at(24 * 60),
    )
    saved = posed.saved(told, posed.helm(marks=(), last_turns=()))
    assert fill_sheet(saved, posed.region()).dark_legs == (2,)
    assert "In the dark on leg 2" in said(saved)


# How it is written


def test_sheet_is_html_or_pdf_and_nothing_else(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"--sheet: a sheet is written as \.html or \.pdf"):
        check_sheet_file(tmp_path / "sheet.docx", "--sheet")
    with pytest.raises(InputError, match="can't be written"):
        write_sheet("<p>", Path("/proc/none/sheet.html"))
    write_sheet("<p>\u00e9", tmp_path / "sheet.HTML")
    assert (tmp_path / "sheet.HTML").read_text("utf-8") == "<p>\u00e9"


def test_missing_extra_is_one_line_with_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(InputError, match=r"pip install 'routeplan\[pdf\]'"):
        write_sheet("<p>", tmp_path / "sheet.pdf")
    assert not list(tmp_path.iterdir())


# How it prints


def long_run() -> SavedPlan:
    """Put the posed passage together twenty times: 100 legs, 20 stops, one name of 80 letters, one hostile."""
    one, step = posed.plan(), timedelta(hours=3)
    legs, stops, marks = [], [], []
    for turn in range(20):
        moved = step * turn
        legs += [
            leg.model_copy(update={"depart": leg.depart + moved, "arrive": leg.arrive + moved}) for leg in one.legs
        ]
        stops.append(
            posed.stop(arrive=posed.at(61.2) + moved, begin=posed.at(61.2) + moved, depart=posed.at(91) + moved)
        )
        marks += [
            mark.model_copy(update={"leg": mark.leg + 5 * turn, "at": mark.at + moved}) for mark in posed.helm().marks
        ]
    legs[51] = legs[51].model_copy(update={"to": LONG})
    legs[58] = legs[58].model_copy(update={"to": HOSTILE})
    told = one.model_copy(
        update={"legs": tuple(legs), "stops": tuple(stops), "arrive": one.arrive + step * 19, "time_h": 60.0}
    )
    return posed.saved(told, posed.helm(marks=tuple(marks), last_turns=()))


def pages_of(pdf: Path) -> list[list[tuple[float, float, float, float, str]]]:
    """Read the words of each page with their boxes, as poppler finds them."""
    text = subprocess.run(["pdftotext", "-bbox", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
    word = re.compile(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>')
    return [
        [(*map(float, found.groups()[:4]), found.group(5)) for found in word.finditer(page)]  # type: ignore[misc]
        for page in text.split("<page ")[1:]
    ]


def hold_against_paper(pdf: Path, paper: Paper) -> int:
    """Check what any printed sheet keeps to; return how many pages it has."""
    wide, high = POINTS[paper]
    pages = pages_of(pdf)
    for number, words in enumerate(pages, start=1):
        assert min(word[0] for word in words) >= 25  # 10 mm are 28.3 points; a glyph may lean out by a hair
        assert max(word[2] for word in words) <= wide - 25
        assert min(word[1] for word in words) >= 20
        assert max(word[3] for word in words) <= high - 8
        texts = [word[4] for word in words]
        joined = " ".join(texts)
        assert f"{number} of {len(pages)}" in joined
        assert "1 Jul 2026: Start Quay to End" in joined or "1 Jul 2026: Tolvarrow to Ettermoy" in joined
    return len(pages)


def rows_are_whole(pdf: Path, saved: SavedPlan, region: Region) -> None:
    """Check that each row's number, time and dial are found on one page, on one line."""
    pages = pages_of(pdf)
    for row in (line for line in fill_sheet(saved, region).lines if line.kind == "leg"):
        clock = f"{row.at.astimezone(region.zone):%H:%M}"
        assert any(
            (a[1] + a[3]) / 2 == pytest.approx((b[1] + b[3]) / 2, abs=16)  # a new day stands over its time
            for words in pages
            for a in words
            if a[4] == row.label and a[0] < 70
            for b in words
            if b[4] == clock
        ), row.label


def printed_by_chromium(page: str, folder: Path, paper: Paper) -> Path:
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  only where a browser is wanted

    source, target = folder / f"{paper}.html", folder / f"{paper}.pdf"
    source.write_text(page, "utf-8")
    wide = "[...document.querySelectorAll('td,th,p,li,h1,h2')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        try:
            tab = browser.new_page(viewport={"width": 360, "height": 780})
            asked: list[str] = []
            tab.on("request", lambda request: asked.append(request.url))
            tab.goto(source.as_uri())
            assert tab.evaluate("document.documentElement.scrollWidth") == 360
            assert tab.evaluate(wide) == 0
            assert tab.evaluate("window.harmed") is None
            assert asked == [source.as_uri()]
            tab.set_viewport_size({"width": 1000, "height": 900})
            assert tab.evaluate(wide) == 0
            tab.pdf(path=str(target), prefer_css_page_size=True, print_background=True)
        finally:
            browser.close()
    return target


needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler-utils")
needs_chromium = pytest.mark.skipif(not os.access(CHROMIUM, os.X_OK), reason=f"needs {CHROMIUM}")


@needs_poppler
def test_pdf_holds_its_words_inside_the_page(tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    pdf = tmp_path / "sheet.pdf"
    write_sheet(build_sheet(posed.saved(), posed.region()), pdf)
    assert hold_against_paper(pdf, "a4") <= 2
    rows_are_whole(pdf, posed.saved(), posed.region())


@needs_poppler
@needs_chromium
@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_hundred_legs_print_whole_in_a_browser_and_as_pdf(paper: Paper, tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    saved, region = long_run(), posed.region()
    page = build_sheet(saved, region, Crew(people=12, shore_contact=LONG), paper)
    own = tmp_path / "own.pdf"
    write_sheet(page, own)
    for pdf in (own, printed_by_chromium(page, tmp_path, paper)):
        assert 3 <= hold_against_paper(pdf, paper) <= 12
        rows_are_whole(pdf, saved, region)


@needs_poppler
@pytest.mark.slow
def test_no_page_ends_the_table_with_a_lone_row(tmp_path: Path) -> None:
    """On pages of any height the last three lines of the helm's table stay together, the arrival among them."""
    pytest.importorskip("weasyprint")
    saved, region = long_run(), posed.region()
    page = build_sheet(saved, region)
    labels = [row.label for row in fill_sheet(saved, region).lines if row.kind == "leg"][-2:]
    for high_mm in range(200, 300, 40):
        pdf = tmp_path / f"{high_mm}.pdf"
        write_sheet(page.replace("210mm 297mm", f"210mm {high_mm}mm"), pdf)
        found = [
            {word[4] for word in words if word[0] < 70}  # the first column
            for words in pages_of(pdf)
            if any(word[4] == "Arrive" and word[0] < 40 for word in words)
        ]
        assert any(set(labels) <= words for words in found), high_mm


@needs_poppler
@needs_chromium
@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_demos_run_takes_two_pages(paper: Paper, tmp_path: Path, demo: Region, demo_network: Network) -> None:
    from routeplan.fuel import full  # noqa: PLC0415  the search is wanted here only
    from routeplan.helm_marks import find_helm  # noqa: PLC0415  as above
    from routeplan.passage import find_passage  # noqa: PLC0415  as above
    from routeplan.saved_plans import keep_plan  # noqa: PLC0415  as above
    from routeplan.trips import Trip  # noqa: PLC0415  as above

    pytest.importorskip("weasyprint")
    boat = demo_network.boat
    trip = Trip(start="Tolvarrow", finish="Ettermoy", depart=datetime(2026, 7, 1, 8, tzinfo=UTC), aboard=full(boat))
    passage = find_passage(demo_network, trip)
    helm = find_helm(passage, passage.recommended, posed.helm().meter)
    learnt = "Burn as 24 fill-ups of the boat's log teach: 1.02 times the burn table, give or take 3.7% for a passage."
    kept = keep_plan(passage, helm, posed.DEPART)
    saved = kept.model_copy(update={"cautions": (*kept.cautions, learnt, "The departure lies in the past.")})
    page = build_sheet(saved, demo, Crew(people=4), paper)  # with lines for four names: the most that is usual
    own = tmp_path / "own.pdf"
    write_sheet(page, own)
    for pdf in (own, printed_by_chromium(page, tmp_path, paper)):
        assert hold_against_paper(pdf, paper) == 2
        rows_are_whole(pdf, saved, demo)
