"""What a region says about itself."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layers import LAYERS, LayersError, RegionAbout, Source, read_about, write_about

GOOD = """
name = "Nowhere Sound"
extent = [-39.5, 43.75, -36.0, 45.25]
time_zone = "Atlantic/Azores"
chart_datum = "lowest astronomical tide"
clearance_datum = "mean high water springs"
currency = "EUR"
"""


def faults(text: str) -> dict[str, tuple[str, str]]:
    """Map each key that is at fault to its value and rule."""
    with pytest.raises(LayersError) as caught:
        read_about(text, "a region")
    return {row.column: (row.value, row.rule) for row in caught.value.bad_rows}


def changed(key: str, value: str) -> str:
    return "\n".join(f"{key} = {value}" if line.startswith(f"{key} ") else line for line in GOOD.splitlines()) + "\n"


def test_all_keys_are_read():
    about = read_about(
        GOOD
        + "format = 1\npoor_survey_standoff_m = 150\nvariation_deg = -4.5\n"
        + '[sources.land]\ntitle = "a sketch"\npublisher = "nobody"\ndate = 2026-01-31\nlicence = "CC0"\n'
        + '[sources.depth]\ntitle = "soundings"\ndate = "2025-12-01"\n',
        "a region",
    )
    assert (about.poor_survey_standoff_m, about.variation_deg) == (150.0, -4.5)
    assert about.sources["land"] == Source(title="a sketch", publisher="nobody", date=date(2026, 1, 31), licence="CC0")
    assert about.sources["depth"].date == date(2025, 12, 1)
    assert about.zone.key == "Atlantic/Azores"


def test_what_is_optional_may_be_absent_and_nought_is_not_absent():
    assert read_about(GOOD, "a region").poor_survey_standoff_m is None
    assert read_about(GOOD + "poor_survey_standoff_m = 0\n", "a region").poor_survey_standoff_m == 0.0


def test_every_missing_key_is_named():
    assert set(faults("format = 1")) == {
        "name",
        "extent",
        "time_zone",
        "chart_datum",
        "clearance_datum",
        "currency",
    }


@pytest.mark.parametrize(
    ("text", "key", "value", "rule"),
    [
        (changed("time_zone", '"Mars/Olympus"'), "time_zone", "Mars/Olympus", "IANA"),
        (changed("time_zone", '"America"'), "time_zone", "America", "IANA"),
        (changed("time_zone", '"../etc/passwd"'), "time_zone", "../etc/passwd", "IANA"),
        (changed("currency", '"euro"'), "currency", "euro", "ISO 4217"),
        (changed("currency", "978"), "currency", "978", "ISO 4217"),
        (changed("extent", "[1, 2, 3]"), "extent", "[1, 2, 3]", "four numbers"),
        (changed("extent", '"everywhere"'), "extent", "everywhere", "four numbers"),
        (changed("extent", "[-36, 43.75, -39.5, 45.25]"), "extent", "[-36, 43.75, -39.5, 45.25]", "put the west first"),
        (changed("extent", "[170, -48, 170, -30]"), "extent", "[170, -48, 170, -30]", "west and east apart"),
        (changed("extent", "[170, -48, 190, -30]"), "extent", "[170, -48, 190, -30]", "from -180 to 180"),
        (changed("extent", "[100, -48, -80, -30]"), "extent", "[100, -48, -80, -30]", "is 180 degrees wide"),
        (changed("extent", "[-39.5, 43.75, -36, 95]"), "extent", "[-39.5, 43.75, -36, 95]", "north <= 90"),
        (changed("extent", "[-39.5, 43.75, -36, nan]"), "extent", "[-39.5, 43.75, -36, nan]", "four numbers"),
        (changed("extent", '[-39.5, 43.75, -36, "45"]'), "extent", "[-39.5, 43.75, -36, '45']", "four numbers"),
        (changed("name", '""'), "name", "", "at least 1 character"),
        (changed("name", r'"two\nlines"'), "name", "two\nlines", "one line"),
        (changed("name", "7"), "name", "7", "string"),
        (GOOD + "format = 2", "format", "2", "only format"),
        (GOOD + "currancy = 1", "currancy", "1", "did you mean currency?"),
        (GOOD + "variation_deg = 400", "variation_deg", "400", "less than or equal to 180"),
        (GOOD + "poor_survey_standoff_m = inf", "poor_survey_standoff_m", "inf", "finite"),
        (GOOD + "[sources.lnd]\ntitle = 'x'", "sources", "{'lnd': {'title': 'x'}}", "no layer 'lnd'"),
        (GOOD + "[sources.land]\ndate = 2026-01-01", "sources.land.title", "", "missing"),
        (GOOD + "[sources.land]\ntitle = 'x'\ndate = 2026", "sources.land.date", "2026", "2026-07-01"),
        (GOOD + "[sources.land]\ntitle = 'x'\ndate = '1 July'", "sources.land.date", "1 July", "2026-07-01"),
        (GOOD + "[sources.land]\ntitle = 'x'\nlicense = 'y'", "sources.land.license", "y", "did you mean licence?"),
    ],
)
def test_each_wrong_key_is_told_with_value_and_rule(text: str, key: str, value: str, rule: str):
    found = faults(text)
    assert list(found) == [key]
    assert found[key][0] == value
    assert rule in found[key][1]


def test_an_extent_may_cross_the_180th_meridian():
    """RFC 7946, section 5.2: its west is then above its east."""
    assert read_about(changed("extent", "[170, -48, -170, -30]"), "south seas").extent == (170, -48, -170, -30)
    assert read_about(changed("extent", "[100, -48, -80.5, -30]"), "wide").extent == (100, -48, -80.5, -30)


def test_all_wrong_keys_come_at_once():
    text = changed("currency", '"x"').replace("Atlantic", "Baltic") + "colour = 'blue'\n"
    assert set(faults(text)) == {"currency", "time_zone", "colour"}


@pytest.mark.parametrize("text", ["name =", "name = [[", "x = " + "[" * 100_000, "a" * 1000, "name = 1\nname = 2"])
def test_what_is_no_toml_is_told_so(text: str):
    value, rule = faults(text)["text"]
    assert value == ""
    assert rule.startswith("is not TOML: ")


WORDS = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=30).filter(str.strip)
SOURCES = st.builds(
    Source, title=WORDS, publisher=st.none() | WORDS, date=st.none() | st.dates(), licence=st.none() | WORDS
)


@given(
    st.builds(
        RegionAbout,
        name=WORDS,
        extent=st.tuples(st.floats(-180, 0), st.floats(-90, 0), st.floats(0.5, 180), st.floats(0.5, 90)),
        time_zone=st.sampled_from(["UTC", "Atlantic/Azores", "America/Argentina/Buenos_Aires"]),
        chart_datum=WORDS,
        clearance_datum=WORDS,
        currency=st.sampled_from(["EUR", "USD"]),
        poor_survey_standoff_m=st.none() | st.floats(0, 10_000),
        variation_deg=st.none() | st.floats(-180, 180),
        sources=st.dictionaries(st.sampled_from(sorted(LAYERS)), SOURCES, max_size=3),
    )
)
def test_what_is_written_reads_the_same(about: RegionAbout):
    assert read_about(write_about(about), "again") == about
