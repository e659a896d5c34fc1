"""A boat from her file, every fault of the file, and her arithmetic solved by hand."""

from __future__ import annotations

import math
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from layers.errors import InputError
from routeplan.boats import Boat, BoatFileError, Reserve, Tank, build_boat, read_boat

if TYPE_CHECKING:
    from pathlib import Path

SOUND = """\
name = "Test Boat"
fuel = "gasoline"
length_overall_m = "31 ft 6 in"
draught_m = 0.9
air_draught_m = 2.9
cruising_speed_kn = 20
no_wake_kn = 5
display_units = "us"
[tank]
capacity_l = 400
unusable_l = 10
full_mark_l = 390
[reserve]
rule = "fraction"
value = 0.10
[burn]
speed_kn = [6, 10, 20, 30]
burn_lph = [18, 40, 60, 120]
idle_lph = 3
unsteady_kn = [10, 17]
sd_share = 0.06
[instruments]
aboard_sd_share = 0.03
full_mark_sd_share = 0.01
"""
ROUNDING = 1e-12  # a few operations in double precision


def boat_with(**changes: str) -> Boat:
    """Build the sound boat with some lines of her file changed, by key."""
    return build_boat(tomllib.loads(changed(**changes)), "boat.toml")


def changed(**changes: str) -> str:
    lines = SOUND.splitlines()
    for key, value in changes.items():
        at = next(row for row, line in enumerate(lines) if line.startswith(f"{key} ="))
        lines[at] = f"{key} = {value}" if value else ""
    return "\n".join(lines)


def faults_of(text: str) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        build_boat(tomllib.loads(text), "boat.toml")
    lines = str(caught.value).splitlines()
    assert len(lines) == len(caught.value.faults)
    assert all(line.startswith("boat.toml, ") for line in lines)
    return lines


def test_a_file_is_read_with_its_units(tmp_path: Path):
    path = tmp_path / "boat.toml"
    text = changed(
        capacity_l='"100 gal"', full_mark_l='"370 l"', burn_lph='["5 gph", 40, "60 l/h", 120]', value='"10 %"'
    )
    path.write_text(text, encoding="utf-8")
    boat = read_boat(path)
    assert boat.length_overall_m == pytest.approx(9.6012, rel=ROUNDING)
    assert boat.tank.capacity_l == pytest.approx(378.5411784, rel=ROUNDING)
    assert boat.tank.full_mark_l == 370
    assert boat.burn.burn_lph == pytest.approx((18.92705892, 40, 60, 120), rel=ROUNDING)
    assert boat.reserve.value == pytest.approx(0.1, rel=ROUNDING)


def test_the_full_mark_is_095_of_the_capacity_unless_given():
    assert boat_with(full_mark_l="").tank.full_mark_l == pytest.approx(380, rel=ROUNDING)
    assert Tank(capacity_l=400, unusable_l=10).full_mark_l == pytest.approx(380, rel=ROUNDING)


def test_display_units_are_metric_unless_given_so_that_bare_gal_is_refused():
    assert boat_with(display_units="").display_units == "metric"


@pytest.mark.parametrize(
    ("rule", "value", "reserve_l"),
    [
        ('"fraction"', "0.10", 40.0),
        ('"fraction"', "0", 0.0),
        ('"volume"', '"45 l"', 45.0),
        ('"volume"', "45", 45.0),
        ('"thirds"', "", 130.0),
    ],
)
def test_reserve(rule: str, value: str, reserve_l: float):
    """400 l, 10 unusable: a tenth of 400 is 40, a third of 390 is 130; the floor has the unusable fuel on top."""
    boat = boat_with(rule=rule, value=value)
    assert boat.reserve_l == pytest.approx(reserve_l, rel=ROUNDING)
    assert boat.floor_l == pytest.approx(reserve_l + 10, rel=ROUNDING)


def test_usable_fuel_and_range():
    """250 aboard less 10 and 40 leave 200 l; at 20 kn and 60 l/h that is 10/3 h, 66.667 nmi."""
    boat = boat_with()
    assert boat.usable_l(250) == pytest.approx(200, rel=ROUNDING)
    assert boat.usable_l(30) == 0
    assert boat.economy_nmi_per_l(20) == pytest.approx(1 / 3, rel=ROUNDING)
    assert boat.range_nmi(250, 20) == pytest.approx(200 / 3, rel=ROUNDING)
    assert boat.range_nmi(30, 20) == 0
    assert boat.full_mark_sd_l == pytest.approx(4, rel=ROUNDING)


@pytest.mark.parametrize(
    ("speed_kn", "burn_lph"),
    [(0.1, 18), (5, 18), (6, 18), (8, 29), (10, 40), (15, 50), (20, 60), (25, 90), (30, 120)],
)
def test_burn_is_linear_between_rows_and_the_slowest_rows_below(speed_kn: float, burn_lph: float):
    assert boat_with().burn_lph(speed_kn) == pytest.approx(burn_lph, rel=ROUNDING)


@pytest.mark.parametrize("speed_kn", [0, -1, 30.001, 100, math.nan, math.inf])
def test_burn_is_never_extrapolated(speed_kn: float):
    with pytest.raises(InputError, match=r"^--speed: .*at most 30 kn.*Test Boat"):
        boat_with().burn_lph(speed_kn, "--speed")


@pytest.mark.parametrize(
    ("limit_kn", "made_kn"), [(5, 5), (10, 10), (10.01, 10), (16.9, 10), (17, 17), (25, 25), (50, 30)]
)
def test_the_speed_made_under_a_limit(limit_kn: float, made_kn: float):
    assert boat_with().steady_kn(limit_kn) == made_kn


def test_a_boat_without_a_hump_holds_every_speed():
    boat = boat_with(unsteady_kn="")
    assert boat.steady_kn(12) == 12
    assert boat.offered_speeds_kn == (6, 10, 20, 30)


@pytest.mark.parametrize("limit_kn", [0, -3, math.nan, math.inf])
def test_a_limit_that_is_no_speed(limit_kn: float):
    with pytest.raises(InputError, match="harbour rule"):
        boat_with().steady_kn(limit_kn, "harbour rule")


def test_speeds_inside_the_hump_are_not_offered_and_its_ends_are():
    boat = boat_with(speed_kn="[6, 10, 12, 17, 30]", burn_lph="[18, 40, 55, 58, 120]")
    assert boat.offered_speeds_kn == (6, 10, 17, 30)


def test_equal_boats_have_equal_digests_whatever_the_spelling():
    plain = boat_with(display_units='"metric"').digest
    assert boat_with(display_units='"metric"', capacity_l="400.0", length_overall_m="9.6012").digest == plain
    assert boat_with(display_units='"metric"', draught_m="0.91").digest != plain
    assert len(plain) == 64


def test_a_boat_is_frozen_and_forbids_what_it_does_not_know():
    boat = boat_with()
    with pytest.raises(ValidationError):
        boat.draught_m = 2.0  # type: ignore[misc]
    with pytest.raises(ValidationError, match="capacity_l"):
        Tank(capacity_l=100, unusable_l=200)
    with pytest.raises(ValidationError, match="110%"):
        Reserve(rule="fraction", value=1.1)
    with pytest.raises(ValidationError):
        Boat.model_validate(boat.model_dump() | {"colour": "red"})
    assert Boat.model_validate(boat.model_dump()) == boat
    assert Boat.model_validate_json(boat.model_dump_json()) == boat


@pytest.mark.parametrize(
    ("changes", "key", "says"),
    [
        ({"unusable_l": ""}, "tank.unusable_l", ("missing", "running trim", "3 usgal")),
        ({"unusable_l": '"110 gal"'}, "tank.unusable_l", ("below capacity_l, 105.7 US gal (400.0 l)", "'110 gal'")),
        ({"unusable_l": "400"}, "tank.unusable_l", ("below capacity_l",)),
        ({"unusable_l": "-1"}, "tank.unusable_l", ("at least 0 l", "-1")),
        ({"full_mark_l": "401"}, "tank.full_mark_l", ("not be above capacity_l",)),
        ({"full_mark_l": "9"}, "tank.full_mark_l", ("above unusable_l",)),
        ({"capacity_l": "0"}, "tank.capacity_l", ("above 0 l",)),
        ({"capacity_l": "1e6"}, "tank.capacity_l", ("at most 100000", "l")),
        ({"capacity_l": "true"}, "tank.capacity_l", ("must be a number", "True")),
        ({"capacity_l": "nan"}, "tank.capacity_l", ("finite",)),
        ({"capacity_l": '"400"'}, "tank.capacity_l", ("carries no unit", "usgal")),
        ({"capacity_l": '"105,7 gal"'}, "tank.capacity_l", ("comma",)),
        ({"capacity_l": "[400]"}, "tank.capacity_l", ("must be a number",)),
        ({"capacity_l": "2026-07-01"}, "tank.capacity_l", ("must be a number",)),
        ({"value": "1.1"}, "reserve.value", ("110%", "below 1", "1.1")),
        ({"value": '"110 %"'}, "reserve.value", ("110%", "'110 %'")),
        ({"value": "10"}, "reserve.value", ("1000%", "a tenth is 0.10")),
        ({"value": "-0.1"}, "reserve.value", ("at least 0",)),
        ({"value": "inf"}, "reserve.value", ("finite",)),
        ({"value": ""}, "reserve.value", ("required under rule 'fraction'", "0.10")),
        ({"value": "0.96"}, "reserve.value", ("leave nothing to burn below the full mark", "lower the reserve")),
        ({"rule": '"volume"', "value": "380"}, "reserve.value", ("leave nothing to burn",)),
        ({"rule": '"volume"', "value": "-3"}, "reserve.value", ("not be negative",)),
        ({"rule": '"thirds"'}, "reserve.value", ("takes no value",)),
        ({"rule": '"thirds"', "value": '"40 l"'}, "reserve.value", ("takes no value", "'40 l'")),
        ({"rule": '"quarters"'}, "reserve.rule", ("'fraction', 'volume' or 'thirds'", "'quarters'")),
        ({"speed_kn": "[20]", "burn_lph": "[60]"}, "burn.speed_kn", ("at least 2", "two speeds")),
        ({"speed_kn": "[6, 10, 20]"}, "burn.burn_lph", ("4 entries for the 3 of speed_kn",)),
        ({"speed_kn": "[6, 20, 10, 30]"}, "burn.speed_kn", ("increase", "entry 3, 10 kn")),
        ({"speed_kn": "[6, 10, 10, 30]"}, "burn.speed_kn", ("increase", "entry 3, 10 kn")),
        ({"speed_kn": "[0, 10, 20, 30]"}, "burn.speed_kn, entry 1", ("above 0 kn",)),
        ({"speed_kn": '[6, "10 m", 20, 30]'}, "burn.speed_kn, entry 2", ("unit 'm'", "kn, mph")),
        ({"speed_kn": "20"}, "burn.speed_kn", ("list",)),
        ({"burn_lph": "[18, 40, -60, 120]"}, "burn.burn_lph, entry 3", ("at least 0.1 l/h", "-60")),
        ({"idle_lph": ""}, "burn.idle_lph", ("missing", "idling")),
        ({"sd_share": "1"}, "burn.sd_share", ("below 1",)),
        ({"unsteady_kn": "[17, 10]"}, "burn.unsteady_kn", ("lower end comes first",)),
        ({"unsteady_kn": "[5, 17]"}, "burn.unsteady_kn", ("inside the table's speeds, 6 to 30 kn",)),
        ({"unsteady_kn": "[10, 31]"}, "burn.unsteady_kn", ("inside the table's speeds",)),
        ({"unsteady_kn": "[10]"}, "burn.unsteady_kn, entry 2", ("two entries",)),
        ({"unsteady_kn": "[10, 12, 17]"}, "burn.unsteady_kn", ("at most 2",)),
        ({"cruising_speed_kn": "31"}, "cruising_speed_kn", ("inside the burn table, 6 to 30 kn", "31")),
        ({"cruising_speed_kn": "5"}, "cruising_speed_kn", ("inside the burn table",)),
        ({"cruising_speed_kn": "12"}, "cruising_speed_kn", ("10 kn or less, or 17 kn or more",)),
        ({"no_wake_kn": "11"}, "no_wake_kn", ("10 kn, the lower end",)),
        ({"no_wake_kn": "21", "unsteady_kn": ""}, "no_wake_kn", ("cruising_speed_kn, 20 kn",)),
        ({"fuel": '"petrol"'}, "fuel", ("'gasoline' or 'diesel'", "'petrol'")),
        ({"name": '""'}, "name", ("empty",)),
        ({"name": '"  "'}, "name", ("printable",)),
        ({"name": '"a\\u0007b"'}, "name", ("printable",)),
        ({"name": f'"{"x" * 81}"'}, "name", ("at most 80 characters",)),
        ({"name": "7"}, "name", ("text in quotes",)),
        ({"draught_m": '"0,9 m"'}, "draught_m", ("comma",)),
        ({"draught_m": "1" + "0" * 400}, "draught_m", ("number",)),
        ({"length_overall_m": "315"}, "length_overall_m", ("at most 100", "m")),
        ({"air_draught_m": ""}, "air_draught_m", ("missing", "bridges")),
        ({"display_units": '"imperal"'}, "display_units", ("'us', 'imperial' or 'metric'",)),
        ({"display_units": "[]"}, "display_units", ("'us', 'imperial' or 'metric'",)),
    ],
)
def test_a_fault_is_one_line_with_key_value_limit_and_remedy(changes: dict[str, str], key: str, says: tuple[str, ...]):
    lines = faults_of(changed(**changes))
    assert len(lines) == 1
    assert lines[0].startswith(f"boat.toml, {key}: ")
    assert all(part in lines[0] for part in says), lines[0]


@pytest.mark.parametrize(
    ("old", "new", "key", "meant"),
    [
        ("draught_m", "draft_m", "draft_m", "did you mean draught_m?"),
        ("unusable_l", "unuseable_l", "tank.unuseable_l", "did you mean unusable_l?"),
        ("idle_lph", "idle", "burn.idle", "did you mean idle_lph?"),
        ("[tank]", "[tnk]", "tnk", "did you mean tank?"),
        ('name = "Test Boat"', 'name = "T"\ncapacity_l = 5', "capacity_l", "it belongs in [tank]"),
        ("[tank]", "[tank]\nno_wake_kn = 5", "tank.no_wake_kn", "it belongs before the first section"),
        ("[reserve]", "[reserve]\nzzz = 5", "reserve.zzz", "known here are rule, value"),
    ],
)
def test_an_unknown_key_gets_the_nearest_known_one(old: str, new: str, key: str, meant: str):
    lines = faults_of(SOUND.replace(old, new, 1))
    assert any(line.startswith(f"boat.toml, {key}: is not a key") and line.endswith(meant) for line in lines), lines


def test_all_faults_are_told_at_once_also_those_between_sections():
    """A misspelt key and a bare gallon under metric units; the cruising speed is still held against the table."""
    text = changed(display_units='"metric"', capacity_l='"105 gal"', cruising_speed_kn="12").replace("fuel", "feul", 1)
    lines = faults_of(text)
    assert [line.split(":")[0].removeprefix("boat.toml, ") for line in sorted(lines)] == [
        "cruising_speed_kn",
        "feul",
        "fuel",
        "tank.capacity_l",
    ]
    assert any("usgal" in line and "'105 gal'" in line for line in lines)


def test_nothing_but_a_name_lists_what_is_missing():
    keys = [line.split(":")[0].removeprefix("boat.toml, ") for line in faults_of('name = "Bare"')]
    assert keys == [
        "fuel",
        "length_overall_m",
        "draught_m",
        "air_draught_m",
        "cruising_speed_kn",
        "no_wake_kn",
        "tank",
        "reserve",
        "burn",
        "instruments",
    ]


@pytest.mark.parametrize("section", ["tank = 5", "tank = []", "tank = [{capacity_l = 5}]"])
def test_a_section_that_is_none(section: str):
    kept = SOUND.replace("[tank]\ncapacity_l = 400\nunusable_l = 10\nfull_mark_l = 390\n", "")
    lines = faults_of(f"{section}\n{kept}")
    assert lines[0].startswith("boat.toml, tank: must be a section, [tank]")


@pytest.mark.parametrize("given_format", ["2", "0", "true", '"1"', "1.5"])
def test_another_format_is_refused(given_format: str):
    lines = faults_of(f"format = {given_format}\n{SOUND}")
    assert lines[0].startswith("boat.toml, format: must be 1")


def test_format_1_is_the_default():
    assert build_boat(tomllib.loads(f"format = 1\n{SOUND}"), "boat.toml") == boat_with()


def test_reading_leaves_the_document_as_it_was():
    document = tomllib.loads(SOUND)
    build_boat(document, "boat.toml")
    assert document == tomllib.loads(SOUND)


KNOWN = ("name", "fuel", "display_units", "draught_m", "no_wake_kn", "tank", "reserve", "burn", "format")
INNER = ("capacity_l", "unusable_l", "rule", "value", "speed_kn", "burn_lph", "idle_lph", "unsteady_kn", "sd_share")
KEYS = st.sampled_from([*KNOWN, *INNER, "zzz"])
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12)
ANYTHING = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=8
)


@given(changes=st.dictionaries(KEYS, ANYTHING, max_size=4), inside=st.sampled_from(["", "tank", "reserve", "burn"]))
def test_whatever_a_file_says_it_is_a_boat_or_lines(changes: dict[str, Any], inside: str):
    document = tomllib.loads(SOUND)
    (document[inside] if inside else document).update(changes)
    lines: list[str] = []
    try:
        boat = build_boat(document, "boat.toml")
    except BoatFileError as error:
        lines = str(error).splitlines()
    else:
        assert boat.floor_l < boat.tank.full_mark_l <= boat.tank.capacity_l
        assert boat.burn_lph(boat.cruising_speed_kn) > 0
    assert all(line.startswith("boat.toml, ") for line in lines)


@given(aboard_l=st.floats(0, 400), more_l=st.floats(0, 100), speed_kn=st.floats(0.1, 30))
def test_more_fuel_never_shortens_the_range(aboard_l: float, more_l: float, speed_kn: float):
    boat = boat_with()
    assert boat.range_nmi(aboard_l + more_l, speed_kn) >= boat.range_nmi(aboard_l, speed_kn) >= 0


@given(limit_kn=st.floats(0.1, 200))
def test_the_speed_made_keeps_the_limit_and_can_be_held(limit_kn: float):
    boat = boat_with()
    made_kn = boat.steady_kn(limit_kn)
    assert 0 < made_kn <= min(limit_kn, 30)
    assert not 10 < made_kn < 17
    assert boat.burn_lph(made_kn) > 0
