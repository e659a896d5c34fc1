"""The commands about fuel, as their user runs them: aboard, boat learn, fillup advice, a passage by meter and gauge."""

from __future__ import annotations

import json
import re
import shutil
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from faces import Outcome, dock, run, write_boat, write_region_folder

import demo_region

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
LITRES_PER_GAL = 3.785411784  # l, exact
ERRAND = demo_region.data_folder() / "boats" / "quick_errand.toml"
BISCUIT = demo_region.data_folder() / "boats" / "salt_biscuit.toml"
LOG = demo_region.data_folder() / "fillups.csv"


@pytest.fixture
def cli(tmp_path: Path, nobodys_log: Path) -> Callable[..., Outcome]:
    assert not nobodys_log.exists()  # what the demo's commands need, they are told
    return lambda *words: run(*words, cache=tmp_path / "cache", now=NOW)


def refused(outcome: Outcome) -> str:
    assert outcome.code == 2, outcome
    assert outcome.out == ""
    assert len(outcome.said.splitlines()) == 1, outcome.said
    return outcome.said


def test_both_instruments_that_agree(cli: Callable[..., Outcome]) -> None:
    """Full at 218 l, 60 l by a meter that reads 0.6 % high: about 158 l; the gauge shows 152 l where 158 are there."""
    done = cli("aboard", "--boat", BISCUIT, "--meter", "60l", "--gauge", "152", "--log", LOG)
    assert done.code == 0, done.err
    assert "disagree" not in done.out
    document = cli("aboard", "--boat", BISCUIT, "--meter", "60l", "--gauge", "152", "--log", LOG, "--json").document
    assert document["schema"] == "routeplan/aboard/1"
    assert document["agree"] is True
    assert document["mean_l"] == pytest.approx(158, abs=3)
    assert document["low_l"] < document["mean_l"] < document["high_l"]
    assert document["safe_l"] == document["low_l"]
    assert document["usable_l"] == pytest.approx(document["safe_l"] - 39, abs=0.01)  # 9 unusable, 30 of reserve
    assert document["counts_from"] == "2025-09-28T15:40:00Z"
    assert "counted from that of Sun 28 Sep 2025" in " ".join(done.out.split())
    assert 0 < document["range_nmi"] < document["usable_l"] * 24 / 34.5
    assert document["takes_low_l"] < document["takes_l"] < document["takes_high_l"]
    assert document["fillups"] == 22
    assert document["findings"] == []


def test_what_is_sure_is_surer_with_both(cli: Callable[..., Outcome]) -> None:
    words = ("aboard", "--boat", BISCUIT, "--log", LOG, "--json")
    meter = cli(*words, "--meter", "60").document
    gauge = cli(*words, "--gauge", "152").document
    both = cli(*words, "--meter", "60", "--gauge", "152").document
    assert both["sd_l"] < min(meter["sd_l"], gauge["sd_l"])
    assert meter["by_gauge"] is None
    assert gauge["by_meter"] is None


def test_fuel_that_is_missing_is_told_with_the_bilge_first(cli: Callable[..., Outcome]) -> None:
    done = cli("aboard", "--boat", BISCUIT, "--meter", "60", "--gauge", "100", "--log", LOG)
    assert done.code == 0
    said = " ".join(done.out.split())
    assert "disagree beyond chance" in said
    assert "check the bilge" in said
    document = cli("aboard", "--boat", BISCUIT, "--meter", "60", "--gauge", "100", "--log", LOG, "--json").document
    assert document["agree"] is False
    assert document["fuel"]["mean_l"] == document["by_gauge"]["mean_l"] < document["by_meter"]["mean_l"]
    assert document["safe_l"] == document["by_gauge"]["low_l"]


def test_the_same_is_told_before_she_is_filled_and_before_a_plan(cli: Callable[..., Outcome]) -> None:
    words = ("--boat", BISCUIT, "--meter", "60", "--gauge", "100", "--log", LOG)
    said = cli("fillup", "advice", *words).out
    assert 0 < said.index("disagree beyond chance") < said.index("Ask for")
    assert "check the bilge" in " ".join(said.split())


def test_a_meter_that_was_reset_since_is_not_counted(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    """The meter stood at 30 l and wasn't reset; now it shows 10 l: it was, and what ran before that is unknown."""
    log = tmp_path / "log.csv"
    log.write_text(
        "boat,when,meter_used_l,gauge_before_l,pumped_l,meter_reset\n"
        "Plain Test,2026-05-01T12:00Z,40,55,40,yes\nPlain Test,2026-05-02T12:00Z,30,65,30,no\n",
        encoding="utf-8",
    )
    boat = write_boat(tmp_path / "boat.toml")
    assert "didn't see all that was used" in refused(cli("aboard", "--boat", boat, "--log", log, "--meter", "10"))
    both = cli("aboard", "--boat", boat, "--log", log, "--meter", "10", "--gauge", "60", "--json").document
    assert both["by_meter"] is None
    assert any("only the gauge is used" in line for line in both["findings"])


def test_two_meters_are_read_together_and_one_alone_is_refused(cli: Callable[..., Outcome]) -> None:
    done = cli("aboard", "--boat", ERRAND, "--meter", "15.4+15.8", "--log", LOG, "--json")
    assert done.code == 0
    assert done.document["mean_l"] / LITRES_PER_GAL == pytest.approx(91 - 1.0137 * 31.2, abs=0.7)  # truth of the demo
    assert "two meters" in refused(cli("aboard", "--boat", ERRAND, "--meter", "31.2", "--log", LOG))
    assert "lacks one meter" in refused(cli("aboard", "--boat", ERRAND, "--meter", "15.4+-", "--log", LOG))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "neither meter nor gauge"),
        (("--gauge", "120gal"), "--gauge: more than Quick Errand's tank holds, 96.0 US gal"),
        (("--gauge", "-3gal"), "--gauge: must not be negative"),
        (("--gauge", "5/4"), "--gauge: is more than the whole tank"),
        (("--meter", "nan"), "--meter"),
        (("--meter", "1+2+3"), "--meter: has more than two figures"),
        (("--gauge", "44", "--confidence", "2"), "--confidence: must be from 0.5 to 0.999"),
        (("--gauge", "44", "--log", "no/such.db"), "no/such.db"),
    ],
)
def test_bad_readings_are_one_clear_line(cli: Callable[..., Outcome], words: tuple[str, ...], said: str) -> None:
    assert said in refused(cli("aboard", "--boat", ERRAND, *words))


def test_without_a_log_it_says_what_it_leans_on(cli: Callable[..., Outcome]) -> None:
    done = cli("aboard", "--boat", BISCUIT, "--meter", "60")
    assert done.code == 0
    assert "taken on trust" in " ".join(done.out.split())
    document = cli("aboard", "--boat", BISCUIT, "--meter", "60", "--json").document
    assert document["mean_l"] == pytest.approx(218 - 60, abs=1.0)
    assert document["low_l"] > 145  # a full mark within 2.8 l and a factor within 3 %, twice over: no more is doubted
    learnt = cli("aboard", "--boat", BISCUIT, "--meter", "60", "--log", LOG, "--json").document
    assert document["sd_l"] > learnt["sd_l"]
    aside = cli("aboard", "--boat", BISCUIT, "--meter", "60", "--log", LOG, "--no-log", "--json").document
    assert aside == document


def test_a_log_teaches_in_words_and_in_a_document(cli: Callable[..., Outcome]) -> None:
    done = cli("boat", "learn", BISCUIT, "--log", LOG)
    assert done.code == 0, done.err
    said = " ".join(done.out.split())
    for words in ("22 fill-ups", "multiply by 0.99", "reads low", "Look again at", "nine in ten", "not for navigation"):
        assert words in said, words
    document = cli("boat", "learn", BISCUIT, "--log", LOG, "--json").document
    assert document["schema"] == "routeplan/lesson/1"
    assert document["fillups"] == 22
    for name in ("meter_factor", "burn_factor", "economy_nmi_per_l"):
        figure = document[name]
        assert figure["low"] < figure["mean"] < figure["high"]
        assert figure["rests_on"] > 10
        assert figure["sharpen"]
    assert document["full_mark_sd_l"] > 0
    assert {"reading_l", "mean_l", "low_l", "high_l"} <= set(document["gauge_table"][0])
    assert {"when", "why"} <= set(document["suspicious"][0])


@pytest.mark.parametrize("boat", ["quick_errand", "salt_biscuit", "second_opinion", "tall_story"])
def test_the_demo_s_truth_lies_where_the_log_says(cli: Callable[..., Outcome], boat: str) -> None:
    """The answers file is drawn before the log is; the unwritten fill-up of each boat is found."""
    import tomllib  # noqa: PLC0415

    answers = tomllib.loads((demo_region.data_folder() / "fillups_answers.toml").read_text(encoding="utf-8"))["boat"]
    path = demo_region.data_folder() / "boats" / f"{boat}.toml"
    document = cli("boat", "learn", path, "--log", LOG, "--json").document
    truth = next(one for one in answers if one["name"] == document["boat"])
    for meter, factor in zip(document["meters"], truth["meter_factors"], strict=True):
        assert abs(meter["factor"]["mean"] - factor) < 3 * meter["factor"]["sd"]
    assert abs(document["burn_factor"]["mean"] - truth["burn_factor"]) < 3 * document["burn_factor"]["sd"]
    unwritten = next(odd["when"] for odd in truth["oddity"] if "nobody wrote down" in odd["what"])
    after = [s["when"] for s in document["suspicious"] if s["when"] >= unwritten]
    assert after, "the fill-up after the unwritten one stands out"
    assert len(document["suspicious"]) <= 3


def test_pictures_and_page_are_written(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    page, folder = tmp_path / "learn.html", tmp_path / "pictures"
    done = cli("boat", "learn", BISCUIT, "--log", LOG, "--page", page, "--pictures", folder)
    assert done.code == 0, done.err
    text = page.read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    assert not re.search(r"""(src|href)\s*=\s*["']?https?:""", text)
    names = {path.name for path in folder.iterdir()}
    assert names == {"meter.svg", "gauge.svg", "economy.svg", "sharpening.svg"}
    done = cli("boat", "learn", BISCUIT, "--log", LOG, "--pictures", folder, "--kind", "png")
    assert done.code == 0
    assert (folder / "meter.png").read_bytes()[:4] == b"\x89PNG"
    assert "svg or png" in refused(cli("boat", "learn", BISCUIT, "--log", LOG, "--pictures", folder, "--kind", "gif"))


def test_a_boat_that_the_log_doesn_t_know(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    boat = write_boat(tmp_path / "boat.toml", ('name = "Plain Test"', 'name = "Salt Biscuits"'))
    assert "did you mean Salt Biscuit" in refused(cli("boat", "learn", boat, "--log", LOG))
    assert "no/such.csv" in refused(cli("boat", "learn", boat, "--log", "no/such.csv"))


def test_at_the_pump(cli: Callable[..., Outcome]) -> None:
    words = ("fillup", "advice", "--boat", ERRAND, "--meter", "15.4+15.8", "--gauge", "58gal", "--log", LOG)
    region = ("--region", demo_region.data_folder(), "--dock", "Tolvarrow Fuel Quay")
    done = cli(*words, *region)
    assert done.code == 0, done.err
    order = [done.out.index(word) for word in ("Ask for", "Slow down", "Stop", "Before", "During", "After", "Spill")]
    assert order == sorted(order)
    document = cli(*words, *region, "--json").document
    assert document["slow_at_l"] < document["ask_low_l"] < document["ask_l"] < document["ask_high_l"]
    assert document["currency"] == "EUR"
    assert document["cost"] == pytest.approx(document["ask_l"] * document["price_per_l"])
    part = cli("fillup", "advice", "--boat", ERRAND, "--aboard", "40gal", "--take", "20gal", "--json").document
    assert part["ask_l"] == pytest.approx(20 * LITRES_PER_GAL)
    assert part["full"] is False


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--aboard", "40gal", "--meter", "3"), "--aboard: is given beside --meter or --gauge"),
        ((), "--aboard: is missing"),
        (("--aboard", "40gal", "--dock", "Tolvarrow Fuel Quay"), "--dock: needs the region"),
        (("--aboard", "40gal", "--price", "cheap"), "--price"),
        (("--aboard", "140gal"), "tank holds"),
    ],
)
def test_bad_questions_at_the_pump(cli: Callable[..., Outcome], words: tuple[str, ...], said: str) -> None:
    assert said in refused(cli("fillup", "advice", "--boat", ERRAND, *words))


def test_a_dock_that_isn_t_there_or_sells_another_fuel(cli: Callable[..., Outcome], tmp_path: Path) -> None:
    region = write_region_folder(tmp_path / "region", {"docks": [dock("Diesel Pump", -38.3997, 44.5, fuels="diesel")]})
    words = ("fillup", "advice", "--boat", ERRAND, "--aboard", "40gal", "--region", region, "--dock")
    assert "sells no gasoline" in refused(cli(*words, "Diesel Pump"))
    assert "did you mean Diesel Pump" in refused(cli(*words, "Diesl Pump"))


@pytest.fixture
def waters(tmp_path: Path) -> tuple[str, ...]:
    region, boat = write_region_folder(tmp_path / "region"), write_boat(tmp_path / "boat.toml")
    # the rule off: these small waters have one dock, and nowhere to go if it is closed
    return ("--region", str(region), "--boat", str(boat), "--depart", "2026-07-01T10:00", "--closed-dock", "off")


def season(path: Path, burn: float = 1.0) -> Path:
    """Write ten full fill-ups of Plain Test, who burns 40 l/h at 20 kn by her table, and the meter reads true."""
    rows = ["boat,when,dock,meter_used_l,gauge_before_l,pumped_l,distance_run_nmi,engine_hours_h"]
    for day in range(1, 11):
        used = 30 + 3 * day + 0.3 * (-1) ** day
        hours = (30 + 3 * day) / 40 / burn
        rows.append(f"Plain Test,2026-05-{day:02d}T12:00Z,North Pump,{used:.1f},{95 - used:.0f},{30 + 3 * day},"
                    f"{20 * hours:.2f},{hours:.3f}")  # fmt: skip
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_passage_takes_meter_and_gauge_in_place_of_a_volume(
    cli: Callable[..., Outcome], waters: tuple[str, ...], tmp_path: Path
) -> None:
    log = season(tmp_path / "log.csv")
    words = ("passage", "West Mark", "East Mark", *waters, "--log", log, "--json")
    done = cli(*words, "--meter", "20", "--gauge", "75")
    assert done.code == 0, done.err
    aboard = done.document["aboard"]
    alone = cli("aboard", "--boat", tmp_path / "boat.toml", "--log", log, "--meter", "20", "--gauge", "75", "--json")
    assert aboard == alone.document["fuel"]
    assert aboard["mean_l"] == pytest.approx(75, abs=1)
    wide = cli(*words, "--aboard", f"{aboard['mean_l']}l±10l").document
    narrow = done.document
    low = [d["plans"][0]["legs"][0]["aboard_after_low_l"] for d in (wide, narrow)]
    assert low[0] < low[1]  # what isn't known of the fuel aboard enters the arrival rule
    assert "--aboard: is missing" in refused(cli("passage", "West Mark", "East Mark", *waters))
    assert "beside --meter" in refused(cli(*words, "--aboard", "70l", "--meter", "20"))


def test_a_passage_burns_what_the_log_taught(
    cli: Callable[..., Outcome], waters: tuple[str, ...], tmp_path: Path
) -> None:
    """A season that burnt a fifth more than the table: the plan burns 1.2 times as much within what ten runs teach."""
    words = ("passage", "West Mark", "East Mark", *waters, "--aboard", "full", "--json")
    plain = cli(*words).document
    taught = cli(*words, "--log", season(tmp_path / "thirsty.csv", burn=1.2)).document
    ratio = taught["plans"][0]["legs"][0]["fuel_l"] / plain["plans"][0]["legs"][0]["fuel_l"]
    assert ratio == pytest.approx(1.2, abs=0.04)
    assert any("1.2" in line and "10 fill-ups" in line for line in taught["cautions"])
    aside = cli(*words, "--log", tmp_path / "thirsty.csv", "--no-log").document
    assert json.dumps(aside["plans"]) == json.dumps(plain["plans"])


def test_a_contradiction_is_told_with_the_plan(
    cli: Callable[..., Outcome], waters: tuple[str, ...], tmp_path: Path
) -> None:
    log = season(tmp_path / "log.csv")
    done = cli("passage", "West Mark", "East Mark", *waters, "--log", log, "--meter", "5", "--gauge", "60")
    assert done.code == 0, done.err
    said = " ".join(done.out.split())
    assert 0 <= said.index("disagree beyond chance") < said.index("Recommended")
    lost = cli("passage", "West Mark", "Nowhere", *waters, "--log", log, "--meter", "5", "--gauge", "60")
    assert "Nowhere" in refused(lost)  # nothing on stdout, whatever there was to say


def test_the_default_log_is_used_where_there_is_one(
    cli: Callable[..., Outcome], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    boat = write_boat(tmp_path / "boat.toml")
    before = cli("boat", "show", boat).out
    log = shutil.copy(season(tmp_path / "log.csv", burn=1.2), tmp_path / "mine.csv")
    monkeypatch.setenv("ROUTEPLAN_LOG", str(log))
    after = cli("boat", "show", boat).out
    assert "times the burn table" in after
    assert "times the burn table" not in before
    assert "times the burn table" not in cli("boat", "show", boat, "--no-log").out
