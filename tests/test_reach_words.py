"""What is said of a reach: the answer first, figures rounded to the safe side, nothing a skipper has to guess."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
import shapely
from faces import small_network
from posed_reach import a_place, a_turning_point, an_area, an_outing, posed_reach

from routeplan.bridges import Gate
from routeplan.console import table, wrapped
from routeplan.documents import reach_document
from routeplan.network import Place
from routeplan.picking import pick_places, with_docks
from routeplan.reach_console import tell_no_reach, tell_reach
from routeplan.reach_words import ReachWords, shown_out, shown_times
from routeplan.reached import NoReachError, OutOfFuel

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan.network import Network


@pytest.fixture(autouse=True)
def width(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand before a terminal of 80 characters."""
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters, in litres."""
    return small_network(tmp_path_factory.mktemp("reach_words"))


@pytest.fixture(scope="module")
def in_gallons(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build them for a boat that shows US gallons."""
    folder: Path = tmp_path_factory.mktemp("reach_gallons")
    return small_network(folder, ('display_units = "metric"', 'display_units = "us"'))


@pytest.fixture(scope="module")
def gated(network: Network) -> Network:
    """Put a lock and two bridges into the water, one of which is high enough when it is shut."""
    sides = ((0.0, 0.0), (1.0, 0.0))
    gates = (
        Gate("High Lock", "lock", "Mo-Su 07:00-21:00", must_open=True, wait_h=0.3, vhf="13", sides=sides),
        Gate("Low Bridge", "bridge", None, must_open=True, wait_h=0.1, vhf="", sides=sides),
        Gate("Tall Bridge", "bridge", None, must_open=False, wait_h=0.0, vhf="", sides=sides),
        Gate("Swing Bridge", "bridge", None, must_open=True, wait_h=0.1, vhf="", sides=sides),
    )
    return replace(network, water=replace(network.water, gates=gates))


def flat(text: str) -> str:
    """Undo the folding of lines."""
    return " ".join(text.split())


def lines_after(text: str, heading: str) -> list[str]:
    """Take the rows of the table under a heading, its head left out."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith(heading))
    return lines[first + 2 : lines.index("", first) if "" in lines[first:] else None]


# How far


def test_the_answer_comes_first_in_words(network: Network) -> None:
    """40 l at 2 l a mile are 20 nmi, 55 l 27.5; half of them out and back: 10 and 13.75."""
    said = flat(tell_reach(posed_reach(network)))
    one_way = "One way, down to the reserve: 20 nmi out over water at 20 kn, burning 40.0 l (27 nmi on average)."
    back = (
        "There and back with the reserve whole: 10.0 nmi out over water at 20 kn, burning 20.0 l each way "
        "(13.7 nmi on average)."
    )
    assert said.index("Plain Test: from West Mark") < said.index(one_way) < said.index(back) < said.index("speed reach")


def test_what_was_understood_is_said_back(network: Network) -> None:
    said = flat(tell_reach(posed_reach(network)))
    for words in (
        *("West Mark (44 30.00N 038 54.00W)", "Wed 1 Jul 08:00 2026 (Atlantic/Azores) at 20 kn", "aboard 70.0 l"),
        *("Reserve 10.0 l", "unusable 5.0 l", "confidence 0.9", "not for navigation", "Invented for a test"),
        *("nine times in ten",),
    ):
        assert words in said, words


def test_a_position_is_not_said_twice(network: Network) -> None:
    start = Place("44 30.00N 038 54.00W", "position", (-38.9, 44.5))
    assert tell_reach(posed_reach(network, start=start)).startswith("Plain Test: from 44 30.00N 038 54.00W.\n")


def test_out_and_back_alone_where_it_was_asked_for(network: Network) -> None:
    answers = ReachWords(posed_reach(network, outing=an_outing(network, out_and_back=True))).answers()
    assert [answer.split(":")[0] for answer in answers] == ["There and back with the reserve whole"]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"time_h": 1.5}, "Within 1 h 30 min, one way (--out-and-back counts both ways): "),
        ({"fuel_l": 12.0}, "Within 12.0 l, one way (--out-and-back counts both ways): "),
        ({"time_h": 0.25, "fuel_l": 12.0}, "Within 15 min and 12.0 l, one way (--out-and-back counts both ways): "),
    ],
)
def test_a_budget_is_answered_first(network: Network, asked: dict[str, float], said: str) -> None:
    areas = [
        an_area(kind="budget", figure=figure, fuel_l=12.0, time_h=asked.get("time_h")) for figure in ("low", "mean")
    ]
    reach = posed_reach(network, areas=(*posed_reach(network).areas, *areas), outing=an_outing(network, **asked))
    words = ReachWords(reach)
    assert words.answers()[0].startswith(said)
    within = said.split(",", maxsplit=1)[0].lower()
    counted = f"3 harbours, anchorages and docks are in reach {within} one way, 2 of them with fuel for the way back."
    assert words.counted_places().startswith(counted)
    assert "what can be done within" in flat(tell_reach(reach))


def test_every_kind_and_speed_has_its_row(network: Network) -> None:
    """At 25 kn and 55 l/h a mile takes 2.2 l: 44 l are 20 nmi."""
    areas = (
        *posed_reach(network).areas,
        an_area(speed_kn=25.0, fuel_l=44.0),
        an_area(speed_kn=25.0, figure="mean", fuel_l=55.0),
    )
    lines = tell_reach(posed_reach(network, areas=areas)).splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("speed"))
    assert [line.split() for line in lines[head + 1 : head + 5]] == [
        ["20", "kn", "one", "way", "20", "40.0", "27", "55.0"],
        ["there", "and", "back", "10.0", "20.0", "13.7", "27.5"],
        ["by", "thirds", "7.5", "15.0"],
        ["25", "kn", "one", "way", "20", "44.0", "25", "55.0"],
    ]


def test_distances_promised_are_rounded_down() -> None:
    assert [shown_out(nmi) for nmi in (20.99, 19.99, 0.09, 3.0, 0.7 + 0.1)] == [
        *("20 nmi", "19.9 nmi", "0.0 nmi", "3.0 nmi", "0.8 nmi"),
    ]


@pytest.mark.parametrize(
    ("confidence", "said"),
    [(0.9, "nine times in ten"), (0.5, "one time in two"), (0.95, "95 times in 100"), (0.975, "975 times in 1,000")],
)
def test_a_confidence_is_said_in_times(network: Network, confidence: float, said: str) -> None:
    assert shown_times(confidence) == said
    assert said in flat(tell_reach(posed_reach(network, outing=an_outing(network, confidence=confidence))))


# What it rests on


def test_the_edge_of_the_data_is_told_with_its_sides(network: Network) -> None:
    edges = shapely.MultiLineString([[(-39.0, 44.7), (-39.0, 45.0), (-38.8, 45.0)], [(-38.5, 44.0), (-38.4, 44.0)]])
    said = flat(tell_reach(posed_reach(network, data_edges=edges)))
    assert "data end before her reach does to the north, south and west: there the edge is the data's" in said
    uncut = posed_reach(network, data_edges=shapely.MultiLineString([]), areas=(an_area(),))
    assert "data end" not in flat(tell_reach(uncut))


def test_what_the_edge_of_an_area_means(gated: Network) -> None:
    words = ReachWords(posed_reach(gated))
    area = an_area(
        there_and_back=True,
        fuel_l=20.0,
        time_h=0.5,
        gates=("High Lock", "Low Bridge"),
        inside=True,
        cut_by_extent=True,
    )
    text = "\n".join(words.area_lines(area))
    for said in (
        "20.0 l each way",
        "30 min at the most",
        "only while High Lock and Low Bridge open",
        "inside the truth",
        "data's",
    ):
        assert said in text, said
    bare = "\n".join(words.area_lines(an_area(figure="mean")))
    assert "don't count on it" in bare
    for said in ("each way", "only while", "inside", "data's", "nine times"):
        assert said not in bare, said


def test_gates_and_speed_limits_are_told_once(gated: Network) -> None:
    """A bridge that she passes under while it is shut needs no word."""
    areas = tuple(
        an_area(figure=f, gates=("High Lock", "Low Bridge", "Tall Bridge"), inside=True) for f in ("low", "mean")
    )
    said = flat(tell_reach(posed_reach(gated, areas=areas)))
    assert said.count("in reach only while High Lock opens (hours Mo-Su 07:00-21:00; VHF 13).") == 1
    assert said.count("in reach only while Low Bridge opens.") == 1
    assert "Tall Bridge" not in said
    assert said.count("drawn a little inside the truth, never outside") == 1
    bare = flat(tell_reach(posed_reach(gated)))
    assert "only while" not in bare
    assert "inside the truth" not in bare


def test_a_label_names_another_speed(network: Network) -> None:
    """The map has room for some 40 characters."""
    words = ReachWords(posed_reach(network, speeds_kn=(20.0, 25.5), outing=an_outing(network, time_h=11.5)))
    assert words.area_label(an_area()) == "One way, low figure"
    assert words.area_label(an_area(kind="out-and-back", figure="mean", speed_kn=25.5)) == (
        "There and back, on average at 25.5 kn"
    )
    assert words.area_label(an_area(kind="budget")) == "Within 11 h 30 min, low figure"
    assert words.place_label(a_place(there_and_back=False)) == "10.0 nmi, 30 min"


# Places


def test_places_that_she_comes_back_from_stand_apart(network: Network) -> None:
    text = tell_reach(posed_reach(network))
    back = lines_after(text, "There and back, the reserve whole:")
    away = lines_after(text, "One way only, the way back would touch")
    assert back[0].startswith("East Bay  anchorage")
    assert away[0].startswith("North Pump")
    assert flat(text).count("North Pump dock") == 1
    counted = "3 harbours, anchorages and docks are in reach, 2 of them there and back. The farthest there and back is"
    assert f"{counted} East Bay, 10.0 nmi." in flat(text)


def test_a_places_figures_are_on_the_safe_side(network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    """Margin 30.67 l there and 24.56 - 15 l back go down, the 40.01 l of both ways up."""
    monkeypatch.setenv("COLUMNS", "120")
    text = tell_reach(posed_reach(network, places=(a_place(fuel_there_and_back_l=40.01),)))
    (row,) = [line for line in text.splitlines() if line.startswith("East Bay")]
    assert row.split() == ["East", "Bay", "anchorage", "10.0", "30", "min", "30.6", "40.1", "9.5", "no"]


def test_the_lines_of_a_place_are_on_the_safe_side_too(network: Network) -> None:
    """What is burned goes up, what is left goes down."""
    place = a_place(fuel_l=20.01, fuel_there_and_back_l=40.02, aboard_on_arrival_l=49.99, aboard_on_return_l=29.98)
    assert ReachWords(posed_reach(network)).place_lines(place) == [
        "10.0 nmi over water, 30 min at 20 kn",
        "Burns 20.1 l, leaves 49.9 l, low 45.6 l",
        "Margin 30.6 l above the reserve (low)",
        "There and back 40.1 l, back at the start with 29.9 l, low 24.5 l",
        "Refuel: no",
    ]


def test_gallons_are_the_boats(in_gallons: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    """US gallon: 3.785411784 l (NIST Handbook 44): 30.67 l are 8.10, 40 l 10.567, 24.56 - 15 l 2.526 gal."""
    monkeypatch.setenv("COLUMNS", "120")
    text = tell_reach(posed_reach(in_gallons, places=(a_place(),)))
    (row,) = [line for line in text.splitlines() if line.startswith("East Bay")]
    assert row.split()[6:9] == ["8.1", "10.6", "2.5"]
    assert "in gal, margin and back as low figures" in flat(text)
    assert not re.search(r"\d l\b", flat(text)[flat(text).index("One way, down") :])


@pytest.mark.parametrize("columns", [60, 80, 100, 132, 200])
def test_the_tables_fit_and_lose_nothing(gated: Network, monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    long = a_place(
        "Old Lifeboat Slip and Upper Landing at the Mouth of the River",
        gates=("Swing Bridge",),
        crosses=("shoal", "unsurveyed"),
        refuel="doubtful",
        refuel_note="hours not known",
    )
    text = tell_reach(posed_reach(gated, places=(long, a_place("Near"))))
    table = lines_after(text, "There and back, the reserve whole:")
    words = "Swing Bridge must open; last stretch too shallow on the chart and unsurveyed"
    for wanted in (long.name, "doubtful (hours not known)", words):
        assert wanted.replace(" ", "") in flat("".join(table)).replace(" ", ""), wanted
    assert max(map(len, text.splitlines())) <= columns


def test_a_harbours_own_docks_are_told_with_it(network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two pumps within 0.3 nmi (a hundredth of a degree of latitude is 0.6), a third beyond; each haven has its own."""
    at = (-38.3, 44.5)
    places = (
        a_place("Haven", kind="harbour", position=at),
        a_place("Alone", kind="dock", position=(at[0], at[1] + 0.006), refuel="yes"),
        a_place("Inner", kind="dock", position=(at[0], at[1] + 0.004), refuel="yes"),
        a_place("Upper", kind="dock", position=(at[0] + 0.005, at[1]), refuel="no", refuel_note="members only"),
        a_place("Cove", kind="anchorage", position=(at[0], at[1] + 0.02)),
    )
    told = [(place.name, [dock.name for dock in docks]) for place, docks in with_docks(places)]
    assert told == [("Haven", ["Inner", "Upper"]), ("Alone", []), ("Cove", [])]
    monkeypatch.setenv("COLUMNS", "70")  # too narrow for a column each
    said = flat(tell_reach(posed_reach(network, places=places)))
    assert "Haven, harbour; Inner: yes; Upper: no (members only)" in said
    assert "Alone, dock; refuel yes" in said


def test_how_many_are_in_reach(network: Network) -> None:
    def counted(*names: str) -> str:
        """Count places; those with a star are there and back."""
        places = tuple(a_place(name, there_and_back="*" in name) for name in names)
        return ReachWords(posed_reach(network, places=places)).counted_places()

    assert counted() == "No harbour, anchorage or dock is in reach."
    assert counted("P*") == "One place is in reach, there and back: P*."
    assert counted("P") == "One place is in reach, one way only: P."
    two = "2 harbours, anchorages and docks are in reach"
    assert counted("P", "Q") == f"{two}, none of them there and back."
    assert counted("P", "Q*") == f"{two}, one of them there and back."
    assert counted("P*", "Q*").startswith(f"{two}, all of them there and back. The farthest")


def test_places_that_were_left_out_are_counted(network: Network) -> None:
    assert "4 more places are in reach, left out as asked" in flat(tell_reach(posed_reach(network), 4))
    assert "One more place is in reach, left out as asked" in flat(tell_reach(posed_reach(network), 1))
    none = flat(tell_reach(posed_reach(network, places=()), 4))
    assert "None of them passes --kind and --refuel-only: 4 more places are in reach" in none
    assert "No harbour" not in none


def test_places_are_picked_and_put_in_order() -> None:
    places = (
        a_place("b", kind="dock", distance_nmi=1, time_h=0.9, margin_low_l=5, refuel="yes"),
        a_place("C", kind="harbour", distance_nmi=2, time_h=0.1, margin_low_l=5),
        a_place("a", kind="anchorage", distance_nmi=3, time_h=0.2, margin_low_l=9),
        a_place("d", kind="dock", distance_nmi=4, time_h=0.3, margin_low_l=1, refuel="doubtful"),
    )

    def names(*kinds: str, **how: object) -> str:
        return "".join(p.name for p in pick_places(places[::-1], kinds, **how))  # type: ignore[arg-type]

    assert names() == "bCad"
    assert names(order="time") == "Cadb"
    assert names(order="margin") == "abCd"  # equals by distance
    assert names(order="name") == "abCd"
    assert names("dock") == "bd"
    assert names("harbour", "anchorage") == "Ca"
    assert names(refuel_only=True) == "bd"
    assert names("anchorage", refuel_only=True) == ""


@pytest.mark.parametrize("columns", range(40, 60))
def test_a_figure_and_its_unit_stay_on_one_line(monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    text = "Turn within 12.3 nmi (1 h 37 min), by 44 37.20N 038 39.00W; at 20 kn 15.0 l or 4.0 gal are left."
    lines = wrapped(text).splitlines()
    assert flat(" ".join(lines)) == text
    for whole in ("12.3 nmi", "1 h 37 min", "44 37.20N 038 39.00W", "20 kn", "15.0 l", "4.0 gal"):
        assert any(whole in line for line in lines), (whole, lines)


def test_an_indented_table_fits_too() -> None:
    lines = table(("nmi", "towards"), [("12.3", "Somewhere " * 30)], indent="      ")
    assert all(line.startswith("      ") for line in lines)
    assert 70 < max(map(len, lines)) <= 80


# Turning points


def test_a_turning_point_is_a_sentence(network: Network) -> None:
    """12.39 nmi and 37.77 minutes go down; 15.04 l at the dock go down, and nothing is into the reserve of 15."""
    said = flat(tell_reach(posed_reach(network)))
    assert (
        "To the north-east, towards East Bay and East Mark: the last dock is North Pump; turn for it within 12.3 nmi "
        "(37 min), by 44 37.20N 038 39.00W. From there it is 6.0 nmi (18 min) on, 15.0 l left (low)."
    ) in said


def test_ways_out_that_share_their_dock_are_a_table(network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is room for it; each way keeps its own figures."""
    points = (
        a_turning_point(),
        a_turning_point(distance_nmi=14.0, towards=("Far Cove",), dock_note="opens Thu 09:00"),
        a_turning_point(dock="South Pump", towards=("South Bay",)),
    )
    reach = posed_reach(network, turning_points=points)
    headed = "North Pump, the last dock, turn for it by these points (opens Thu 09:00):"
    told = "towards Far Cove: the last dock is North Pump (opens Thu 09:00); turn for it within 14.0 nmi"
    for columns in (80, 110):
        monkeypatch.setenv("COLUMNS", str(columns))
        text = tell_reach(reach)
        assert "To the north-east, towards South Bay: the last dock is South Pump" in flat(text)
        assert (headed in flat(text)) == (columns == 110)
        assert (told in flat(text)) == (columns == 80)
        assert max(map(len, text.splitlines())) <= columns
    rows = [line.split() for line in text.splitlines() if line.endswith(("Far Cove", "East Mark"))]
    assert [(row[0], row[-2:]) for row in rows] == [("12.3", ["East", "Mark"]), ("14.0", ["Far", "Cove"])]
    assert rows[1][1:11] == ["37", "min", "44", "37.20N", "038", "39.00W", "6.0", "18", "min", "15.0"]


def test_the_start_is_turned_back_to(network: Network) -> None:
    words = ReachWords(posed_reach(network))
    line = words.turning_line(a_turning_point(dock="West Mark"))
    assert line.startswith(
        "To the north-east, towards East Bay and East Mark: turn back to West Mark within 12.3 nmi (37 min), by 44 37"
    )
    assert words.turning_title(a_turning_point(dock="West Mark")) == "Turn back to West Mark by here"
    assert "last dock" not in line


def test_a_way_out_with_many_places_or_none(network: Network) -> None:
    words = ReachWords(posed_reach(network))
    many = a_turning_point(towards=("A", "B", "C", "D", "E", "F"))
    assert words.turning_line(many).startswith("To the north-east, towards A, B, C and beyond: ")
    assert "E and F" in words.turning_lines(many)[0]
    docks_too = a_turning_point(towards=("Cove", "Cove Pump", "B", "B Stage"))
    assert words.turning_line(docks_too).startswith("To the north-east, towards Cove and B: ")
    assert words.turning_line(a_turning_point(towards=())).startswith("To the north-east: ")
    assert "to the north-east" in words.turning_lines(a_turning_point(towards=()))[0]


def test_the_lines_of_a_turning_point(network: Network) -> None:
    assert ReachWords(posed_reach(network)).turning_lines(a_turning_point()) == [
        "On the way towards East Bay and East Mark",
        "12.3 nmi from West Mark, 37 min at 20 kn",
        "From here North Pump is 6.0 nmi (18 min) on, 15.0 l left (low)",
        "Beyond it no suitable dock is left in reach with the reserve whole",
    ]


def test_a_doubtful_dock_is_told_with_its_doubt(network: Network) -> None:
    said = ReachWords(posed_reach(network)).turning_line(a_turning_point(dock_note="never confirmed"))
    assert "the last dock is North Pump (never confirmed); turn for it" in said
    home = ReachWords(posed_reach(network)).turning_line(a_turning_point(dock="West Mark", dock_note="opens Thu 09:00"))
    assert "turn back to West Mark (opens Thu 09:00) within" in home
    assert "Heed: never confirmed" in ReachWords(posed_reach(network)).turning_lines(
        a_turning_point(dock_note="never confirmed")
    )


def test_no_dock_to_turn_for_is_said(network: Network) -> None:
    reach = posed_reach(network, turning_points=(), dock_water=None)
    said = "! No dock that suits Plain Test can be made from here with the reserve whole (low figure)."
    assert said in flat(tell_reach(reach))


# Nothing in reach


def test_out_of_fuel_says_how_much_is_short_and_what_helps() -> None:
    refusal = OutOfFuel(
        from_="West Mark", aboard_l=16.0, aboard_low_l=12.2, short_l=2.8, why="2.8 l are short.", try_=("take 2.9 l",)
    )
    said = flat(tell_no_reach(NoReachError(refusal, ("Not for navigation.",))))
    assert said == (
        "Nothing is in reach. 2.8 l are short. What would help: - take 2.9 l Cautions: - Not for navigation."
    )


def test_a_place_with_no_dock_left_behind_it_says_so(network: Network) -> None:
    words = ReachWords(posed_reach(network))
    last = a_place(dock_still_in_reach=False)
    assert words.on_the_way(a_place()) == []
    assert words.on_the_way(last) == ["no dock left to go on to from there"]
    assert words.on_the_way(a_place(dock_still_in_reach=False, refuel="yes")) == []
    without = ReachWords(posed_reach(network, turning_points=(), dock_water=None))
    assert without.on_the_way(last) == []


def test_docks_that_arent_counted_on_are_named_with_the_reason(network: Network) -> None:
    reach = posed_reach(network, docks_left_out=(("South Pump", "opens Thu 09:00"), ("Old Pump", "never confirmed")))
    said = "Not counted on to turn for: South Pump (opens Thu 09:00); Old Pump (never confirmed)."
    assert said in flat(tell_reach(reach))
    assert reach_document(reach)["docks_not_counted"] == [
        {"name": "South Pump", "why": "opens Thu 09:00"},
        {"name": "Old Pump", "why": "never confirmed"},
    ]
    assert "Not counted" not in flat(tell_reach(posed_reach(network)))
