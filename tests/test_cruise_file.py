"""A cruise file: what it says is what is asked, and whatever is wrong with it is one clear line."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import demo_region
from layers.errors import InputError
from routeplan.aboard import Readings, find_aboard
from routeplan.boats import BoatFileError, read_boat
from routeplan.cruise_asked import CruiseAsked, DockTold, Visit
from routeplan.cruise_file import read_cruise
from routeplan.fillup_csv import FillupFileError
from routeplan.log_files import read_fillups
from routeplan.teaching import learn, without_log

if TYPE_CHECKING:
    from collections.abc import Callable

DATA = Path(demo_region.data_folder())
ZONE = ZoneInfo("Europe/Lisbon")  # an hour ahead of UTC in summer: a forgotten zone shows
HEAD = 'format = 1\ndepart = "2026-07-04T08:30"\nvisit = ["Tolvarrow", "Callowhythe"]\n'
BOAT = '[[boat]]\nfile = "boats/quick_errand.toml"\naboard = "71gal"\n'
LOGGED = '[[boat]]\nfile = "boats/quick_errand.toml"\nlog = "logs/fillups.csv"\n'
L_PER_USGAL = 3.785411784  # exact: 231 cubic inches of 2.54 cm


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay out an organiser's folder: the demo's boats and log, and a boat file with two faults."""
    path = tmp_path_factory.mktemp("cruise")
    shutil.copytree(DATA / "boats", path / "boats")
    (path / "logs").mkdir()
    shutil.copy(DATA / "fillups.csv", path / "logs" / "fillups.csv")
    rows = (DATA / "fillups.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    errand = [row for row in rows if row.startswith(("boat,", "Quick Errand,"))]
    (path / "logs" / "errand.csv").write_text("".join(errand), encoding="utf-8")
    (path / "logs" / "bad.csv").write_text("boat,when,pumped_l\nQuick Errand,yesterday,-3\n", encoding="utf-8")
    good = (DATA / "boats" / "salt_biscuit.toml").read_text(encoding="utf-8")
    bad = good.replace("\ndraught_m = ", "\ndrought_m = ").replace('fuel = "', 'fuel = "coal')
    (path / "boats" / "faulty.toml").write_text(bad, encoding="utf-8")
    (path / "boats" / "scrawl.toml").write_text("name = = 3\n", encoding="utf-8")
    return path


@pytest.fixture
def read(folder: Path) -> Callable[[str], CruiseAsked]:
    """Read a cruise from the text of its file."""

    def from_text(text: str) -> CruiseAsked:
        (folder / "cruise.toml").write_text(text, encoding="utf-8")
        return read_cruise(folder / "cruise.toml", ZONE)

    return from_text


def top(line: str, *, without: str = "") -> str:
    """Write a sound file with one more line at its top, and perhaps without the line that a key is on."""
    lines = [each for each in HEAD.splitlines() if not (without and each.startswith(without))]
    return "\n".join([*lines, line, BOAT])


def visits(*places: str) -> str:
    return top(f"visit = [{', '.join(places)}]", without="visit")


def boat(line: str, *, without: str = "") -> str:
    lines = [each for each in BOAT.splitlines() if not (without and each.startswith(without))]
    return "\n".join([HEAD, *lines, line, ""])


# What a sound file says.


def test_demo_cruise_is_read_with_its_eight_boats() -> None:
    asked = read_cruise(DATA / "cruise.toml", ZoneInfo("Atlantic/Azores"))
    assert asked.depart == datetime(2026, 7, 4, 8, 30, tzinfo=UTC)  # the Azores keep UTC in summer
    assert [visit.place for visit in asked.visits] == [
        "Tolvarrow", "Callowhythe", "Wickmarrow", "Tamblewick", "Tolvarrow",
    ]  # fmt: skip
    assert (asked.pace, asked.speed_kn, asked.gather_h) == ("together", 18.0, 0.25)
    fuel = [(b.name, round(b.aboard.mean_l, 2)) for b in asked.boats]
    # Full marks: 91 US gal, and 218 l as Salt Biscuit's file has it.
    assert fuel == [
        ("Quick Errand", round(91 * L_PER_USGAL, 2)),
        ("Half Promise", round(71 * L_PER_USGAL, 2)),
        ("Small Print", round(91 * L_PER_USGAL, 2)),
        ("Salt Biscuit", 218.0),
        ("Loose Change", 185.0),
        ("Late Apology", 200.0),
        ("Second Opinion", 430.0),
        ("Fair Warning", 494.0),
    ]
    assert [Path(b.file).stem for b in asked.boats] == [
        *["quick_errand"] * 3, *["salt_biscuit"] * 3, *["second_opinion"] * 2,
    ]  # fmt: skip
    assert asked.boats[5].aboard.sd_l == 8.0
    assert [(v.stay_h, v.leave, v.night) for v in asked.visits[1:3]] == [(0.75, None, False), (0.0, time(9), True)]
    for each in asked.boats:  # else each is as in her file
        assert each.boat.name == each.name
        assert each.boat.model_copy(update={"name": ""}) == read_boat(each.file).model_copy(update={"name": ""})


def test_defaults_where_the_file_says_nothing(read: Callable[[str], CruiseAsked]) -> None:
    asked = read(HEAD + BOAT)
    assert asked.depart == datetime(2026, 7, 4, 7, 30, tzinfo=UTC)  # Lisbon's summer time
    assert (asked.name, asked.pace, asked.speed_kn, asked.gather_h) == ("", "together", None, 0.25)
    assert (asked.confidence, asked.berthing_h, asked.closed_dock, asked.daylight) == (0.9, 0.25, "on", True)
    assert (asked.known_docks_only, asked.confirmed_docks_only, asked.docks) == (False, False, ())
    (only,) = asked.boats
    assert (only.name, only.contact, only.people) == ("Quick Errand", "", None)
    assert only.aboard.mean_l == pytest.approx(268.76423666, abs=1e-6)  # 71 * 3.785411784


def test_every_key_is_taken(read: Callable[[str], CruiseAsked]) -> None:
    asked = read(
        """
        name = "Summer cruise"
        depart = 2026-07-04T08:30:00
        pace = "together"
        speed_kn = "18 kn"
        gather = "20min"
        confidence = "75 %"
        berthing = "0.5h"
        closed_dock = "strict"
        known_docks_only = true
        confirmed_docks_only = true
        daylight = false
        visit = [
          "Tolvarrow",
          {place = "Callowhythe", stay = "2h"},
          {place = "Wickmarrow", leave = "2026-07-05T09:00", night = true},
          {place = "Callowhythe", leave = "09:15"},
          {place = "Tamblewick", leave = 2026-07-06T09:00:00Z},
          {place = "Pellanore", leave = 10:05:00},
          {place = "Tolvarrow", night = true, stay = "1h"},
        ]
        [[boat]]
        file = "boats/quick_errand.toml"
        name = " Half Promise "
        aboard = "71gal\u00b13gal"
        reserve = "20gal"
        contact = "VHF 72"
        people = 4
        [[dock]]
        name = "Tamblewick Fuel Berth"
        closed = true
        [[dock]]
        name = "Pellanore Basin Pumps"
        gasoline_pumps = 2
        diesel_pumps = 1
        pump_lpm = 45
        """
    )
    assert (asked.name, asked.speed_kn, asked.confidence, asked.berthing_h) == ("Summer cruise", 18.0, 0.75, 0.5)
    assert asked.gather_h == pytest.approx(1 / 3)
    assert (asked.closed_dock, asked.daylight) == ("strict", False)
    assert (asked.known_docks_only, asked.confirmed_docks_only) == (True, True)
    assert asked.depart == datetime(2026, 7, 4, 7, 30, tzinfo=UTC)
    assert asked.visits == (
        Visit(place="Tolvarrow"),
        Visit(place="Callowhythe", stay_h=2.0),
        Visit(place="Wickmarrow", leave=datetime(2026, 7, 5, 8, tzinfo=UTC), night=True),
        Visit(place="Callowhythe", leave=time(9, 15)),
        Visit(place="Tamblewick", leave=datetime(2026, 7, 6, 9, tzinfo=UTC)),
        Visit(place="Pellanore", leave=time(10, 5)),
        Visit(place="Tolvarrow", night=True, stay_h=1.0),
    )
    (only,) = asked.boats
    assert (only.name, only.boat.name, only.contact, only.people) == ("Half Promise", "Half Promise", "VHF 72", 4)
    assert only.aboard.mean_l == pytest.approx(71 * L_PER_USGAL)
    assert only.aboard.sd_l == pytest.approx(3 * L_PER_USGAL)
    assert only.boat.reserve_l == pytest.approx(20 * L_PER_USGAL)
    assert asked.docks == (
        DockTold(name="Tamblewick Fuel Berth", closed=True),
        DockTold(name="Pellanore Basin Pumps", gasoline_pumps=2, diesel_pumps=1, pump_lpm=45.0),
    )


@pytest.mark.parametrize(
    ("written", "hour"),
    [
        ('"2026-07-04T08:30"', 7),
        ('"2026-07-04T08:30+03:00"', 5),
        ("2026-07-04T08:30:00", 7),
        ("2026-07-04 08:30:00Z", 8),
    ],
)
def test_departure_as_text_and_as_toml(read: Callable[[str], CruiseAsked], written: str, hour: int) -> None:
    asked = read(top(f"depart = {written}", without="depart"))
    assert asked.depart == datetime(2026, 7, 4, hour, 30, tzinfo=UTC)


def test_each_key_at_its_own_pace(read: Callable[[str], CruiseAsked]) -> None:
    assert read(top('pace = "own"')).pace == "own"
    assert read(top("speed_kn = 18")).speed_kn == 18.0
    assert read(top("confidence = 0.5")).confidence == 0.5


# Fuel aboard by the instruments, and the burn that a log teaches.


def test_log_with_meter_and_gauge_tells_what_the_boat_alone_is_told(read: Callable[[str], CruiseAsked]) -> None:
    asked = read(f'{HEAD}{LOGGED}meter = "15.4+15.8"\ngauge = "3/8"\n')
    alone = read_boat(DATA / "boats" / "quick_errand.toml")
    taught = learn(alone, read_fillups(DATA / "fillups.csv").of("Quick Errand"))
    meters_l = (15.4 * L_PER_USGAL, 15.8 * L_PER_USGAL)
    readings = Readings(meters_l=meters_l, gauge_l=3 / 8 * alone.tank.capacity_l)
    told = find_aboard(taught, readings).fuel
    (only,) = asked.boats
    assert only.aboard.mean_l == pytest.approx(told.mean_l, rel=1e-9)
    assert only.aboard.sd_l == pytest.approx(told.sd_l, rel=1e-9)
    assert only.boat == taught.boat
    assert only.boat != alone


def test_log_with_fuel_as_stated_teaches_the_burn_alone(read: Callable[[str], CruiseAsked]) -> None:
    (only,) = read(f'{HEAD}{LOGGED}aboard = "71gal"\n').boats
    alone = read_boat(DATA / "boats" / "quick_errand.toml")
    assert only.boat == learn(alone, read_fillups(DATA / "fillups.csv").of("Quick Errand")).boat
    assert only.boat.burn != alone.burn
    assert only.aboard.mean_l == pytest.approx(71 * L_PER_USGAL)


def test_boat_renamed_for_the_cruise_keeps_her_log(read: Callable[[str], CruiseAsked]) -> None:
    (plain,) = read(f'{HEAD}{LOGGED}gauge = "3/8"\n').boats
    (renamed,) = read(f'{HEAD}{LOGGED}name = "Quick Errand of Bressaval"\ngauge = "3/8"\n').boats
    assert renamed.boat == plain.boat.model_copy(update={"name": "Quick Errand of Bressaval"})
    assert renamed.aboard == plain.aboard


def test_boat_without_a_log_is_as_in_her_file_whatever_this_machine_has_logged(
    read: Callable[[str], CruiseAsked], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROUTEPLAN_LOG", str(DATA / "fillups.csv"))
    (only,) = read(boat('gauge = "40%"', without="aboard")).boats
    alone = read_boat(DATA / "boats" / "quick_errand.toml")
    assert only.boat == alone
    told = find_aboard(without_log(alone), Readings(gauge_l=0.4 * alone.tank.capacity_l)).fuel
    assert only.aboard.mean_l == pytest.approx(told.mean_l, rel=1e-9)


def test_reserve_of_one_boat_leaves_the_others(read: Callable[[str], CruiseAsked]) -> None:
    one, other = read(f'{HEAD}{BOAT}reserve = "15gal"\n{BOAT}name = "Half Promise"\n').boats
    assert one.boat.reserve_l == pytest.approx(15 * L_PER_USGAL)
    assert other.boat.reserve_l == pytest.approx(9.6 * L_PER_USGAL)  # a tenth of 96 gal


# What can't be used: one line, with the file, the key and what to do.

PAIR = '"Tolvarrow", "Callowhythe"'
BAD: dict[str, tuple[str, str]] = {
    # of the whole file
    "format of a later version": (
        top("format = 2", without="format"),
        "cruise.toml, format: this version reads format 1",
    ),
    "format of a truth": (top("format = true", without="format"), "this version reads format 1 (got True)"),
    "unknown key": (top("gathr = 3"), "cruise.toml, gathr: is not known here: did you mean gather?"),
    "unknown key far from all": (top("qqq = 3"), "cruise.toml, qqq: is not known here: known here are format, name"),
    "misspelt required key": (
        top('dpart = "2026-07-04"', without="depart"),
        "dpart: is not known here: did you mean depart?",
    ),
    "key of a boat at the top": (top('aboard = "full"'), "aboard: is not known here: it belongs in a [[boat]]"),
    "key of the top in a boat": (
        boat("speed_kn = 18"),
        "speed_kn: is not known here: it belongs before the first [[boat]]",
    ),
    "key with a control": (top('"ga\\u0007p" = 1'), r"cruise.toml, 'ga\x07p': is not known here"),
    "name with a turned direction": (
        top('name = "a\\u202eb"'),
        r"cruise.toml, name: must be one line of printable text (got 'a\u202eb')",
    ),
    "name of two lines": (top('name = "a\\nb"'), "cruise.toml, name: must be one line of printable text"),
    "name too long": (top(f'name = "{"a" * 121}"'), "cruise.toml, name: must be at most 120 characters"),
    "share of many digits": (top(f"confidence = 0x{'f' * 6000}"), "cruise.toml, confidence: is too large a number"),
    "whole number of many digits": (top(f"speed_kn = 0x{'f' * 6000}"), "speed_kn: is too large a number"),
    # when
    "no departure": (top("", without="depart"), "cruise.toml, depart: is missing, and is required"),
    "departure without a time": (
        top("depart = 2026-07-04", without="depart"),
        "depart: has no time of day (got '2026-07-04')",
    ),
    "departure of a number": (top("depart = 8", without="depart"), "depart: must be a date and time (got 8)"),
    "departure that the clocks skip": (
        top('depart = "2026-03-29T01:30"', without="depart"),
        "the clocks of Europe/Lisbon skip",
    ),
    # where to
    "no visits": (top("", without="visit"), "cruise.toml, visit: is missing, and is required"),
    "one visit": (visits('"Tolvarrow"'), "cruise.toml, visit: a cruise visits two places at the least"),
    "visits that are text": (top('visit = "Tolvarrow"', without="visit"), "visit: must be a list of places"),
    "visit of a number": (
        visits('"Tolvarrow"', "3"),
        "visit 2: must be the name of a place in quotes, or a table (got 3)",
    ),
    "31 visits": (visits(*(f'"P{n}"' for n in range(31))), "visit: 31 visits, and a cruise has 30 at the most"),
    "same place twice running": (
        visits('"Tolvarrow"', '"tolvarrow "'),
        "visit 2: is the same place as the visit before",
    ),
    "no place": (visits('"Tolvarrow"', "{night = true}"), "visit 2, place: is missing, and is required"),
    "empty place": (visits('"Tolvarrow"', '""'), "visit 2, place: must not be empty"),
    "blank place": (visits('"Tolvarrow"', '"  "'), "visit 2, place: must be one line of printable text"),
    "unknown key of a visit": (
        visits('"A"', '{place = "B", leaves = "09:00"}'),
        "visit 2, leaves: is not known here: did you mean leave?",
    ),
    "night that is text": (
        visits('"A"', '{place = "B", night = "yes"}'),
        "visit 2, night: must be true or false (got 'yes')",
    ),
    "stay without a unit": (visits('"A"', '{place = "B", stay = "2"}'), "visit 2, stay: carries no unit"),
    "stay that is a number": (
        visits('"A"', '{place = "B", stay = 2}'),
        'visit 2, stay: must be text in quotes (got 2): write for example "2h"',
    ),
    "stay of a month": (
        visits('"A"', '{place = "B", stay = "30d"}'),
        "visit 2, stay: must be at most 336 h (got '30d')",
    ),
    "leave before departure": (
        visits('"A"', '{place = "B", leave = "2026-07-04T08:00"}', '"C"'),
        "visit 2, leave: must be after depart, 2026-07-04T08:30",
    ),
    "leave at departure": (
        visits('"A"', '{place = "B", leave = 2026-07-04T08:30:00}', '"C"'),
        "visit 2, leave: must be after depart",
    ),
    "leave not after the one before": (
        visits(
            '"A"',
            '{place = "B", leave = "2026-07-05T09:00"}',
            '"C"',
            '{place = "D", leave = "2026-07-05T09:00"}',
            '"E"',
        ),
        "visit 4, leave: must be after the leave of visit 2, 2026-07-05T09:00",
    ),
    "leave at no time of day": (
        visits('"A"', '{place = "B", leave = "24:30"}', '"C"'),
        "visit 2, leave: is not a time of day (got '24:30')",
    ),
    "leave that is no moment": (
        visits('"A"', '{place = "B", leave = "soon"}', '"C"'),
        "visit 2, leave: not a date and time",
    ),
    "leave of a list": (
        visits('"A"', '{place = "B", leave = [1]}', '"C"'),
        "visit 2, leave: must be a date and time (got 'a list')",
    ),
    "leave of the start": (
        visits('{place = "A", leave = "09:00"}', '"B"'),
        "visit 1, leave: the group leaves the start at depart",
    ),
    "night at the start": (
        visits('{place = "A", night = true}', '"B"'),
        "visit 1, night: the group leaves the start at depart",
    ),
    "leave of the end": (visits('"A"', '{place = "B", leave = "09:00"}'), "visit 2, leave: the cruise ends here"),
    # how
    "unknown pace": (top('pace = "fast"'), "pace: must be 'together' or 'own' (got 'fast')"),
    "speed with a pace of one's own": (
        top('speed_kn = 18\npace = "own"'),
        "cruise.toml, speed_kn: is the common speed",
    ),
    "speed of nothing": (top("speed_kn = 0"), "cruise.toml, speed_kn: must be above 0 kn (got 0)"),
    "negative speed": (top("speed_kn = -3"), "cruise.toml, speed_kn: must not be negative (got -3)"),
    "endless speed": (top("speed_kn = inf"), "cruise.toml, speed_kn: is not a finite number"),
    "speed that is true": (top("speed_kn = true"), 'speed_kn: must be a number, or text such as "18 kn" (got True)'),
    "speed without its unit": (top('speed_kn = "18"'), "speed_kn: carries no unit"),
    "gathering without a unit": (top('gather = "15"'), "gather: carries no unit"),
    "gathering of a number": (top("gather = 15"), 'gather: must be text in quotes (got 15): write for example "15min"'),
    "gathering of a day": (top('gather = "1d"'), "gather: must be at most 12 h (got '1d')"),
    "certainty": (top("confidence = 1"), "confidence: must be from 0.5 to 0.999"),
    "confidence of a list": (
        top("confidence = [0.9]"),
        "confidence: must be a number, or text such as \"90 %\" (got 'a list')",
    ),
    "berthing of two days": (top('berthing = "2d"'), "berthing: must be 24 h at the most (got '2d')"),
    "unknown dock rule": (top('closed_dock = "maybe"'), "closed_dock: must be 'on', 'off' or 'strict' (got 'maybe')"),
    "daylight that is a number": (top("daylight = 1"), "daylight: must be true or false (got 1)"),
    # which boats
    "no boat": (HEAD, "cruise.toml, boat: is missing, and is required"),
    "empty list of boats": (f"{HEAD}boat = []\n", "cruise.toml, [[boat]]: there is none"),
    "one bracket": (
        f'{HEAD}[boat]\nfile = "x"\n',
        "cruise.toml, [boat]: is one table, and may be several: write [[boat]]",
    ),
    "boats that are text": (f'{HEAD}boat = ["x"]\n', "[[boat]] 1: must be a table with keys (got 'x')"),
    "61 boats": (HEAD + BOAT * 61, "[[boat]]: 61 boats, and a cruise has 60 at the most"),
    "boat without a file": (f'{HEAD}[[boat]]\naboard = "full"\n', "[[boat]] 1, file: is missing, and is required"),
    "unknown key of a boat": (boat("poeple = 2"), "[[boat]] 1, poeple: is not known here: did you mean people?"),
    "boat file missing": (
        f'{HEAD}{BOAT}[[boat]]\nfile = "boats/nobody.toml"\naboard = "full"\n',
        "boats/nobody.toml: there is no such boat file",
    ),
    "boat file a folder": (f'{HEAD}[[boat]]\nfile = "boats"\naboard = "full"\n', "boats: is a folder"),
    "boat file no TOML": (
        f'{HEAD}[[boat]]\nfile = "boats/scrawl.toml"\naboard = "full"\n',
        "boats/scrawl.toml: is not valid TOML",
    ),
    "path with a NUL": (
        f'{HEAD}[[boat]]\nfile = "bo\\u0000at"\n',
        "[[boat]] 1, file: must be one line of printable text",
    ),
    "path too long for the disk": (f'{HEAD}[[boat]]\nfile = "{"a" * 900}"\n', "can't be read"),
    "one name twice": (HEAD + BOAT + BOAT, "cruise.toml, [[boat]]: two boats have one name"),
    "one name in other letters": (
        f'{HEAD}{BOAT}{BOAT}name = "quick  ERRAND"\n',
        "cruise.toml, [[boat]]: two boats have one name",
    ),
    "name of a boat too long": (boat(f'name = "{"a" * 81}"'), "[[boat]] 1, name: must be at most 80 characters"),
    "name of a boat that isn't text": (boat("name = 7"), "[[boat]] 1, name: must be text in quotes (got 7)"),
    "no fuel said": (boat("", without="aboard"), "[[boat]] 1 (Quick Errand), aboard: is missing, and is required"),
    "log alone": (HEAD + LOGGED, "[[boat]] 1 (Quick Errand), aboard: is missing, and is required"),
    "fuel said twice": (boat('gauge = "3/8"'), "[[boat]] 1 (Quick Errand), aboard: is given beside meter or gauge"),
    "fuel beyond the tank": (
        boat('aboard = "97gal"', without="aboard"),
        "[[boat]] 1 (Quick Errand), aboard: more than Quick Errand's tank holds",
    ),
    "fuel as a number": (boat("aboard = 71", without="aboard"), "[[boat]] 1, aboard: must be text in quotes (got 71)"),
    "gauge beyond the tank": (
        boat('gauge = "97gal"', without="aboard"),
        "(Quick Errand), gauge: more than Quick Errand's tank holds",
    ),
    "one meter of two": (f'{HEAD}{LOGGED}meter = "15gal"\n', "(Quick Errand), meter: in the log two meters are read"),
    "meter half read": (boat('meter = "15+-"', without="aboard"), "(Quick Errand), meter: lacks one meter's figure"),
    "three meters": (boat('meter = "1+2+3"', without="aboard"), "(Quick Errand), meter: has more than two figures"),
    "no such log": (boat('log = "logs/none.csv"'), "logs/none.csv: there is no such file"),
    "log without her": (
        f'{HEAD}[[boat]]\nfile = "boats/salt_biscuit.toml"\nlog = "logs/errand.csv"\naboard = "full"\n',
        "(Salt Biscuit), log: holds no fill-up of Salt Biscuit: leave log out, or name one of hers: this",
    ),
    "log of an unknown kind": (boat('log = "abc://x"'), "[[boat]] 1 (Quick Errand), log: is a URL of a kind"),
    "reserve beyond the tank": (
        boat('reserve = "90gal"'),
        "[[boat]] 1 (Quick Errand), reserve: must be 0 or more and below",
    ),
    "negative people": (boat("people = -2"), "[[boat]] 1, people: must be at least 1 (got -2)"),
    "a crowd": (boat("people = 501"), "[[boat]] 1, people: must be at most 500 (got 501)"),
    "people that are true": (boat("people = true"), "[[boat]] 1, people: must be a whole number (got True)"),
    "contact too long": (boat(f'contact = "{"1" * 121}"'), "[[boat]] 1, contact: must be at most 120 characters"),
    "contact of two lines": (boat('contact = "a\\nb"'), "[[boat]] 1, contact: must be one line of printable text"),
    "contact with a turned direction": (
        boat('contact = "a\\u2066b"'),
        "[[boat]] 1, contact: must be one line of printable text",
    ),
    # what was learnt of docks
    "one dock twice": (
        f'{HEAD}{BOAT}[[dock]]\nname = "Gull Dock"\n[[dock]]\nname = "gull dock"\n',
        "[[dock]] 2, name: this dock is told of twice",
    ),
    "dock without a name": (f"{HEAD}{BOAT}[[dock]]\nclosed = true\n", "[[dock]] 1, name: is missing, and is required"),
    "dock with less than no pump": (
        f'{HEAD}{BOAT}[[dock]]\nname = "D"\ndiesel_pumps = -1\n',
        "[[dock]] 1, diesel_pumps: must be at least 0 (got -1)",
    ),
    "pump of half a boat": (
        f'{HEAD}{BOAT}[[dock]]\nname = "D"\ngasoline_pumps = 1.5\n',
        "[[dock]] 1, gasoline_pumps: must be a whole number",
    ),
    "pump that gives nothing": (
        f'{HEAD}{BOAT}[[dock]]\nname = "D"\npump_lpm = 0\n',
        "[[dock]] 1, pump_lpm: must be above 0 l/min (got 0)",
    ),
    "rate as text": (
        f'{HEAD}{BOAT}[[dock]]\nname = "D"\npump_lpm = "50 l/min"\n',
        "[[dock]] 1, pump_lpm: must be a number, in l/min",
    ),
    "rate that is no number": (f'{HEAD}{BOAT}[[dock]]\nname = "D"\npump_lpm = nan\n', "[[dock]] 1, pump_lpm: must be"),
    "unknown key of a dock": (
        f'{HEAD}{BOAT}[[dock]]\nname = "D"\nclose = true\n',
        "[[dock]] 1, close: is not known here: did you mean closed?",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_fault_is_one_line_with_the_file_and_the_key(
    read: Callable[[str], CruiseAsked], folder: Path, case: str
) -> None:
    text, wanted = BAD[case]
    with pytest.raises(InputError) as caught:
        read(text)
    said = str(caught.value)
    assert wanted in said
    assert said.startswith(str(folder / "cruise.toml")), "the cruise file is named"
    assert said.isprintable()
    assert len(said) < 2400  # a path of 900 characters among them


def test_missing_boat_file_names_the_cruise_file_and_which_boat(
    read: Callable[[str], CruiseAsked], folder: Path
) -> None:
    with pytest.raises(InputError) as caught:
        read(f'{HEAD}{BOAT}[[boat]]\nfile = "boats/nobody.toml"\naboard = "full"\n')
    path = folder / "boats" / "nobody.toml"
    assert str(caught.value) == (
        f"{folder / 'cruise.toml'}, [[boat]] 2, file {path}: there is no such boat file: check the path"
    )


def test_no_such_cruise_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: there is no such cruise file"):
        read_cruise(tmp_path / "none.toml", ZONE)
    with pytest.raises(InputError, match="is a folder, and a cruise file is one file"):
        read_cruise(tmp_path, ZONE)


def test_faults_of_a_boat_file_are_all_told_by_its_own_name(read: Callable[[str], CruiseAsked], folder: Path) -> None:
    with pytest.raises(BoatFileError) as caught:
        read(f'{HEAD}{BOAT}[[boat]]\nfile = "boats/faulty.toml"\naboard = "full"\n')
    lines = str(caught.value).splitlines()
    assert all(line.startswith(str(folder / "boats" / "faulty.toml")) for line in lines)
    assert {line.split(": ")[0].rpartition(", ")[2] for line in lines} == {"fuel", "draught_m", "drought_m"}


def test_faults_of_several_boats_are_told_at_once_and_each_once(read: Callable[[str], CruiseAsked]) -> None:
    with pytest.raises(BoatFileError) as caught:
        read(
            f'{HEAD}[[boat]]\nfile = "boats/faulty.toml"\naboard = "full"\n'
            f'[[boat]]\nfile = "boats/faulty.toml"\nname = "Sister"\naboard = "full"\n'
            f'[[boat]]\nfile = "boats/nobody.toml"\n[[boat]]\nfile = "boats/quick_errand.toml"\n'
        )
    lines = str(caught.value).splitlines()
    assert len(lines) == 5  # three of the faulty file, once; the missing one; the fuel of the last
    assert "[[boat]] 3, file" in lines[3]
    assert "[[boat]] 4 (Quick Errand), aboard: is missing" in lines[4]


def test_bad_rows_of_a_log_are_told_by_its_own_name(read: Callable[[str], CruiseAsked], folder: Path) -> None:
    with pytest.raises(FillupFileError) as caught:
        read(boat('log = "logs/bad.csv"'))
    assert str(caught.value).startswith(str(folder / "logs" / "bad.csv"))


# Whatever is written, it is a cruise or one of our errors.


HUGE = "a number of more digits than Python prints"


def toml_value(value: Any) -> str:
    """Write a value of TOML, on one line."""
    if value == HUGE:
        return f"0x{'f' * 6000}"
    if isinstance(value, str):
        signs = (c if c not in '"\\' and ord(c) >= 0x20 and ord(c) != 0x7F else f"\\U{ord(c):08x}" for c in value)
        return f'"{"".join(signs)}"'
    if isinstance(value, list):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{toml_value(key)} = {toml_value(item)}' for key, item in value.items())}}}"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    return str(value).lower()  # true, 18, 1e+16, nan


TEXTS = st.sampled_from(
    [
        *("full", "71gal", "71gal±3gal", "71 +- 3 +- 1", "185 l", "3/8", "3/0", "22.7+24.1", "1+-", "18 kn", "90 %"),
        *("2h", "09:00", "25:00", "2026-07-05T09:00", "0001-01-01T00:00Z", "own", "strict", "Tolvarrow", "{key}"),
        *("boats/quick_errand.toml", "boats/faulty.toml", "boats", "..", "/", "abc://x", "\u202e", "", " ", "9" * 70),
        *("logs/fillups.csv", "logs/bad.csv"),
    ]
)
SCALARS = (
    TEXTS
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
    | st.booleans()
    | st.integers(-5, 70)
    | st.sampled_from([2**63, -(2**70), -1, HUGE])
    | st.floats()
    | st.dates()
    | st.times()
    | st.datetimes()
    | st.datetimes(timezones=st.just(UTC))
)
KEYS = st.sampled_from(
    [
        *("format", "name", "depart", "visit", "pace", "speed_kn", "gather", "confidence", "berthing", "closed_dock"),
        *("known_docks_only", "daylight", "boat", "dock", "place", "stay", "leave", "night", "closed", "pump_lpm"),
        *("file", "aboard", "log", "meter", "gauge", "reserve", "contact", "people", "gasoline_pumps", "boats"),
    ]
) | st.text(st.characters(exclude_categories=["Cs"]), max_size=6)
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=8
)


@st.composite
def nearly_sound(draw: st.DrawFn) -> dict[str, Any]:
    """Write a cruise that is sound but for a few keys, of the file, a visit, a boat or a dock."""
    stop: dict[str, Any] = {"place": "Callowhythe", "night": True}
    one: dict[str, Any] = {"file": "boats/quick_errand.toml", "aboard": "71gal"}
    told: dict[str, Any] = {"name": "Gull Dock"}
    document: dict[str, Any] = {
        "depart": "2026-07-04T08:30",
        "visit": ["Tolvarrow", stop, "Tolvarrow"],
        "boat": [one],
        "dock": [told],
    }
    for _ in range(draw(st.integers(1, 3))):
        table = draw(st.sampled_from([document, stop, one, told]))
        key = draw(KEYS)
        if draw(st.booleans()):
            table[key] = draw(VALUES)
        else:
            table.pop(key, None)
    return document


def read_or_refuse(folder: Path, document: dict[str, Any]) -> None:
    text = "\n".join(f"{toml_value(key)} = {toml_value(value)}" for key, value in document.items())
    path = folder / "drawn.toml"
    path.write_text(text, encoding="utf-8")
    try:
        assert isinstance(read_cruise(path, ZONE), CruiseAsked)
    except InputError as error:
        lines = str(error).splitlines()
        assert lines
        assert all(line.isprintable() for line in lines)
        assert str(folder) in lines[0]


@pytest.mark.parametrize("key", ["visit", "speed_kn", "depart", "name"])
def test_keys_nested_past_all_reason_are_refused(read: Callable[[str], CruiseAsked], key: str) -> None:
    with pytest.raises(InputError, match=f"cruise.toml, {key}: must be"):
        read(top(f"{key}.{'.'.join('a' * 3000)} = 1", without=key))


@given(nearly_sound())
@settings(suppress_health_check=[*HealthCheck], max_examples=150)
def test_nearly_sound_file_is_read_or_refused(folder: Path, document: dict[str, Any]) -> None:
    read_or_refuse(folder, document)


@given(st.dictionaries(KEYS, VALUES, max_size=6))
@settings(suppress_health_check=[*HealthCheck])
def test_any_file_is_read_or_refused(folder: Path, document: dict[str, Any]) -> None:
    read_or_refuse(folder, document)
