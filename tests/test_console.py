"""What the commands print for a person: it fits the terminal, lines up, and says what a skipper has to know."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from faces import SMALL_LAYERS, a_plan, a_stop, dock, plan_across, small_network, trip_across

from layers.findings import find_doubts
from routeplan.calls import find_calls
from routeplan.console import Progress, tell_boat, tell_docks, tell_passage, tell_refusal, tell_region, wrapped
from routeplan.fuel import read_aboard
from routeplan.places import write_position
from routeplan.plan_words import PlanWords
from routeplan.plans import NoPassageError, Refusal, SlowerRun, StreamMet, TurnTold
from routeplan.survey import look_at_docks, ranges_at_each_speed
from routeplan.words import Words, course

if TYPE_CHECKING:
    from routeplan.network import Network
    from routeplan.passage import Passage

WHEN = datetime(2026, 7, 1, 8, tzinfo=UTC)


@pytest.fixture(autouse=True)
def width(monkeypatch: pytest.MonkeyPatch) -> int:
    """Stand before a terminal of 80 characters."""
    monkeypatch.setenv("COLUMNS", "80")
    return 80


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Network:
    """Build the small waters, with a second pump beside the first."""
    docks = [*SMALL_LAYERS["docks"], dock("Second Pump", -38.45, 44.6003, confirmed_on="2019-05-01")]
    return small_network(tmp_path_factory.mktemp("console"), docks=docks)


@pytest.fixture(scope="module")
def passage(network: Network) -> Passage:
    """Mark to mark with 70 l."""
    return plan_across(network, WHEN)


def flat(text: str) -> str:
    """Undo the folding of lines."""
    return " ".join(text.split())


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_silent_for_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    err = io.StringIO()
    monkeypatch.setattr("sys.stderr", err)
    ticks = iter([0.0, 0.2, 0.9])
    progress = Progress("Building", clock=lambda: next(ticks))
    progress(0.1)
    progress(0.9)
    progress.close()
    assert err.getvalue() == ""


def test_progress_tells_once_where_nobody_looks_and_counts_where_somebody_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """After 2 s a quarter is done: 6 s are left; on a terminal in place, else one line in all."""
    for err, wanted in ((io.StringIO(), "Building ...\n"), (_Terminal(), "25%, about 6 s left")):
        monkeypatch.setattr("sys.stderr", err)
        ticks = iter([0.0, 2.0, 4.0])
        progress = Progress("Building", clock=ticks.__next__)
        progress(0.25)
        progress(0.5)
        progress.close()
        said = err.getvalue()
        assert wanted in said
        assert said.endswith("\n")
        if not err.isatty():
            assert said == wanted
        else:
            assert said.count("\n") == 1


def test_progress_with_nothing_done_yet_guesses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    err = _Terminal()
    monkeypatch.setattr("sys.stderr", err)
    ticks = iter([0.0, 5.0])
    Progress("Building", clock=ticks.__next__)(0.0)
    assert "left" not in err.getvalue()


@pytest.mark.parametrize("columns", [40, 60, 80, 200])
def test_paragraphs_fit_the_terminal(monkeypatch: pytest.MonkeyPatch, passage: Passage, columns: int) -> None:
    """Tables apart; and never wider than a line that an eye can follow back."""
    monkeypatch.setenv("COLUMNS", str(columns))
    for line in tell_passage(passage).splitlines():
        if not re.match(r"^(leg| *[\d-]+  | {8,}\S|     --)|^Stop \d", line):
            assert len(line) <= min(columns, 110), line


@pytest.mark.parametrize("columns", [80, 90, 200])
def test_tables_fit_the_terminal_and_lose_nothing(
    network: Network, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    """On a narrow one names come last and fold in their own column; a position is never broken."""
    passage = plan_across(network, WHEN, every=True)
    monkeypatch.setenv("COLUMNS", str(columns))
    said = tell_passage(passage, every=True)
    assert all(len(line) <= columns for line in said.splitlines())
    head = re.search("^leg.*", said, flags=re.MULTILINE)
    assert head is not None
    assert ("position" in head[0]) == (columns == 200)
    assert head[0].endswith(" to") == (columns < 200)
    plan = passage.recommended
    for leg in plan.legs:
        if leg.kind != "approach":  # those are told by the line of the stop
            assert leg.to in flat(said)
            assert write_position(leg.to_position) in said


def test_the_approaches_to_a_stop_are_numbered_with_it(passage: Passage) -> None:
    """No number is missed: the pump lies a few lengths off legs 2 and 5, so the line of the fill stands for 3 and 4."""
    lines = tell_passage(passage).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("leg")) + 1
    rows = lines[first : lines.index("", first)]
    numbers = [row[:5].strip() for row in rows if row[:5].strip()]
    legs = passage.recommended.legs
    approaches = [i for i, leg in enumerate(legs, start=1) if leg.kind == "approach"]
    assert [legs[i - 1].distance_nmi < 0.05 for i in approaches] == [True, True]
    into, out = approaches
    assert out == into + 1
    alone = [str(i) for i in range(1, len(legs) + 1)]
    assert numbers == [*alone[: into - 1], f"{into}-{out}", *alone[out:]]
    assert f"-- {passage.recommended.stops[0].dock}: take" in next(row for row in rows if f"{into}-{out}" in row)


def test_folding_indents_what_follows() -> None:
    lines = wrapped("word " * 40, "  ").splitlines()
    assert all(line.startswith("  ") for line in lines)
    assert all(line.startswith("    ") for line in lines[1:])
    assert flat("\n".join(lines)) == flat("word " * 40)


def test_a_passage_says_all_that_matters(passage: Passage) -> None:
    said = flat(tell_passage(passage))
    plan = passage.recommended
    stop = plan.stops[0]
    for words in (
        *("Plain Test", "West Mark", "East Mark", "Atlantic/Azores", "20 kn", "Recommended", "confidence 0.9"),
        *("Reserve 10.0 l", "unusable 5.0 l", "70.0 l", "Wed 1 Jul 08:00", stop.dock, "to the full mark", "Why here"),
        *("06:00-22:00", "not for navigation", "Call each dock ahead", "Sources", "Invented for a test"),
        *("depth not checked", "no depth layer", "On arrival"),
    ):
        assert words in said, words
    assert stop.alternate is not None
    assert f"If closed: {stop.alternate.name}" in said


def test_an_end_without_fuel_names_the_next_dock_and_what_is_left(passage: Passage) -> None:
    plan = passage.recommended
    assert plan.onward is not None
    said = flat(tell_passage(passage))
    assert f"Next fuel after East Mark: {plan.onward.name}" in said
    left = re.search(r"Next fuel after [^.]*?, [\d.]+ nmi on, ([\d.]+) l left \(low\)", said)
    assert left is not None
    assert plan.onward.left_l - 0.1 <= float(left[1]) <= plan.onward.left_l


def test_figures_are_rounded_to_the_safe_side(passage: Passage) -> None:
    """What is left is never shown larger than it is: 0.1 l at the most is lost on the screen."""
    stop = passage.recommended.stops[0]
    mean, low = re.findall(r"Arrive .*? with ([\d.]+) l, low ([\d.]+) l", flat(tell_passage(passage)))[0]
    assert stop.aboard_l - 0.1 <= float(mean) <= stop.aboard_l
    assert stop.aboard_low_l - 0.1 <= float(low) <= stop.aboard_low_l


def test_the_legs_line_up(passage: Passage) -> None:
    lines = tell_passage(passage).splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("leg"))
    end_of_table = lines.index("", head)
    rows = [row for row in lines[head + 1 : end_of_table] if row[:5].strip().isdigit()]
    numbers = [int(row.split()[0]) for row in rows]
    legs = passage.recommended.legs
    short = [i for i, leg in enumerate(legs, start=1) if leg.kind == "approach" and leg.distance_nmi < 0.05]
    assert numbers == [i for i in range(1, len(legs) + 1) if i not in short]
    told = [leg for i, leg in enumerate(legs, start=1) if i not in short]
    for title in ("nmi", "kn", "at", "low l"):
        end = re.search(rf" {title}\b", lines[head]).end()  # type: ignore[union-attr]
        assert all(row[end - 1].isdigit() for row in rows), title
        assert all(row[end : end + 1] in {"", " "} for row in rows), title
    for row, leg in zip(rows, told, strict=True):
        assert f" {course(leg.course_deg)} " in row


def test_courses_have_three_figures() -> None:
    """Courses are said 000 to 359: 359.6 rounds to north, not to 360."""
    assert [course(c) for c in (0.0, 7.4, 45.5, 359.4, 359.6)] == ["000", "007", "046", "359", "000"]


def test_a_refusal_says_leg_shortfall_and_way_out(network: Network) -> None:
    with pytest.raises(NoPassageError) as caught:
        plan_across(network, WHEN, "20l")
    words = PlanWords(network.boat, network.region.zone, "EUR", 20.0)
    said = flat(tell_refusal(caught.value, words, trip_across(network, WHEN, "20l")))
    assert said.startswith("No plan keeps the rules.")
    for part in (
        "West Mark",
        "short of the reserve",
        "What would help",
        "leave with",
        "Cautions",
        "not for navigation",
    ):
        assert part in said, part


def test_a_refusal_with_an_offer_tells_all_of_it(network: Network) -> None:
    """The mark stands before the plan and behind it; why, what would help, the plan, its cautions are all there."""
    stop = a_stop(alternate=None, keeps_closed_dock_rule=False)
    offered = a_plan(stop, recommended=False, closed_dock="off", cautions=("North Pump: a caution of the plan",))
    refusal = Refusal(
        from_="West Mark",
        to="East Mark",
        distance_nmi=None,
        short_l=None,
        why="no plan keeps the closed-dock rule: nothing is behind North Pump",
        try_=("leave later",),
        breaks_at=("North Pump",),
        offered=offered,
    )
    words = PlanWords(network.boat, network.region.zone, "EUR", 20.0)
    error = NoPassageError(refusal, ("a caution of the region",))
    said = flat(tell_refusal(error, words, trip_across(network, WHEN), find_calls(offered)))
    order = [
        *(
            "No plan keeps the closed-dock rule",
            "What would help",
            "leave later",
            "BREAKS the closed-dock rule at North",
        ),
        *("Not recommended: one stop", "86 times in 100", "Closed-dock rule off", "Stop 1: North Pump (breaks"),
        *(
            "! Breaks the closed-dock rule",
            "On arrival",
            "Call ahead",
            "VHF 12",
            "BREAKS the closed-dock rule at North",
        ),
        *("Cautions", "a caution of the plan", "a caution of the region"),
    ]
    at = 0
    for part in order:
        assert part in said[at:], part
        at = said.index(part, at) + len(part)
    assert "Recommended" not in said


def test_at_most_two_others_are_told(network: Network) -> None:
    passage = plan_across(network, WHEN, every=True)
    said = tell_passage(passage)
    assert len(passage.others_told) <= 2
    assert len(re.findall(r"^Or ", said, flags=re.MULTILINE)) == len(passage.others_told)
    for plan in passage.others_told:
        assert flat(plan.difference) in flat(said)


def test_all_plans_are_a_line_each(network: Network, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lined up under their heads, the recommended one first, its name where it has one."""
    monkeypatch.setenv("COLUMNS", "130")
    passage = plan_across(network, WHEN, every=True)
    lines = tell_passage(passage, every=True).splitlines()
    head = next(i for i, line in enumerate(lines) if "fills at" in line)
    rows = lines[head + 1 : lines.index("", head)]
    assert len(rows) == len(passage.plans)
    assert f"{len(rows)} plan" in lines[head - 1] or len(rows) == 1
    for row, plan in zip(rows, passage.plans, strict=True):
        assert row.endswith(", ".join(stop.dock for stop in plan.stops))
        assert plan.cost is not None
        assert row[: lines[head].index("EUR") + 3].endswith(f"{plan.cost:.2f}")
        assert (plan.name in row) == (plan.name != "in-between")
    assert "fills at" not in tell_passage(passage)


def test_a_plan_says_its_chances_rule_and_what_slowing_buys(passage: Passage) -> None:
    run = SlowerRun(from_="West Mark", to="East Mark", speed_kn=5.0, skips="North Pump", later_h=4.0, margin_l=9.0)
    plan = passage.recommended.model_copy(update={"slower": (run,), "chance_reserve_kept": 0.9553})
    said = flat(tell_passage(replace(passage, plans=(plan,))))
    for part in (
        *(
            "no arrival touches the reserve: 95 times in 100; none runs dry:",
            "Closed-dock rule on: should any one stop",
        ),
        "At 5 kn the run from West Mark to East Mark needs no stop at North Pump: the passage ends 4 h 00 min later",
    ):
        assert part in said, part


def in_a_current(passage: Passage) -> Passage:
    """Let a current of 2.62 kn to 184.6 set on the second leg of the recommended plan, so that 123.4 is steered."""
    plan = passage.recommended
    current = {"steer_deg": 123.4, "ground_kn": 21.96, "set_deg": 184.6, "drift_kn": 2.62}
    first, second, *rest = plan.legs
    met = StreamMet(
        name="The Race",
        enter=second.depart,
        leave=second.arrive,
        position=second.from_position,
        set_deg=184.6,
        drift_kn=2.62,
        turns=(TurnTold(kind="slack", at=WHEN - timedelta(hours=2), speed_kn=0.0),),
    )
    legs = (first, second.model_copy(update=current), *rest)
    return replace(passage, plans=(plan.model_copy(update={"legs": legs, "streams": (met,), "still_water": False}),))


def test_a_still_water_plan_says_so_before_its_table(passage: Passage) -> None:
    said = tell_passage(passage)
    assert said.count("Still water: no current is allowed for.") == 1
    assert said.index("Still water:") < said.index("\nleg  true")


@pytest.mark.parametrize("columns", [80, 200])
def test_courses_to_steer_stand_in_the_table_where_a_current_runs(
    passage: Passage, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    said = tell_passage(in_a_current(passage))
    assert all(len(line) <= columns for line in said.splitlines())
    assert "Still water" not in said
    assert said.index("- The Race, 08:") < said.index("; slack 06:00") < said.index("\nleg  ")
    head = re.search("^leg .*", said, flags=re.MULTILINE)
    row = re.search("^  2  .*", said, flags=re.MULTILINE)
    assert head is not None
    assert row is not None
    assert row[0][: head.end() - head.start()].split().count("123") == 1
    assert row[0].index("123") == head[0].index("steer") + 2
    track = course(passage.recommended.legs[1].course_deg)
    assert f"track {track}, sets 185 at 2.6 kn: 22.0 kn over the ground" in flat(said)


def test_a_plan_that_meets_no_current_says_so(passage: Passage) -> None:
    plan = passage.recommended.model_copy(update={"still_water": False})
    said = tell_passage(replace(passage, plans=(plan,)))
    assert "meets none of those that are known." in said
    assert "leg  true" in said


def test_docks_are_told_with_reason_age_and_distance(network: Network) -> None:
    found, distances, name = look_at_docks(network, "West Mark", WHEN)
    words = Words(network.boat, network.region.zone, "EUR")
    said = tell_docks(found, words, distances, name, {})
    assert "distances over water from West Mark" in said.splitlines()[0]
    assert re.search(r"^\+ North Pump  18\.\d nmi  44 36\.02N 038 30\.00W$", said, flags=re.MULTILINE)
    assert re.search(r"^- Diesel Pump", said, flags=re.MULTILINE)
    assert "sells no gasoline" in said
    assert "7 years ago" in said
    assert "3 of 4 suit" in said
    assert "Call ahead" in said.splitlines()[-1]


def test_docks_without_an_origin_tell_no_distance(network: Network) -> None:
    found, distances, name = look_at_docks(network, None, WHEN)
    said = tell_docks(found, Words(network.boat, network.region.zone, "EUR"), distances, name, {})
    assert "nmi" not in said
    assert "no way over water" not in said


def test_a_boat_is_told_with_its_ranges(network: Network) -> None:
    boat = network.boat
    aboard = read_aboard("50l", boat, "aboard")
    said = tell_boat(boat, aboard, 0.9, ranges_at_each_speed(boat, aboard, 0.9))
    assert re.search(r"^20 kn +40\.0 l/h +0\.500? nmi/l +17 nmi +1\d nmi$", said, flags=re.MULTILINE)
    for words in ("capacity 100.0 l", "full mark 95.0 l", "unusable 5.0 l", "10% of the capacity", "35.0 l"):
        assert words in flat(said), words
    assert "nine arrivals in ten" in flat(said)
    assert "Between 8 and 15 kn" in said
    assert "95.0% of arrivals" in flat(tell_boat(boat, aboard, 0.95, ranges_at_each_speed(boat, aboard, 0.95)))


def test_a_region_is_told_with_its_findings(network: Network) -> None:
    region = network.region
    doubts = find_doubts(region, today=WHEN.date())
    said = tell_region(region, doubts, ["", "For the boat: a line more"])
    assert f"{len(doubts)} findings:" in said
    assert re.search(r"^depth +absent", said, flags=re.MULTILINE)
    assert re.search(r"^land +1 +Invented for a test$", said, flags=re.MULTILINE)
    assert "a line more" in said
    assert "No findings." in tell_region(region, [])
    assert "1 finding:" in tell_region(region, doubts[:1])
