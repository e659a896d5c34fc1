"""Short names: as many letters as asked for, no two alike, and the telling part first."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_route_files import a_route

from layers.errors import InputError
from layers.short_names import plain_letters, read_short_names, shorten, with_short_names


@settings(max_examples=20)
@given(st.lists(st.text(max_size=25), max_size=40), st.integers(6, 40))
def test_short_names_fit_and_differ(names: list[str], most: int) -> None:
    short = shorten(names, most)
    assert len(short) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9 -]*[A-Za-z0-9])?", name) and len(name) <= most for name in short)
    assert len({name.casefold() for name in short}) == len(names)
    assert shorten(names, most) == short


@settings(max_examples=20)
@given(st.lists(st.sampled_from(["Gull Rock", "gull rock", "GULL ROCK", "Gull Rock 2", "Gull Rock2"]), max_size=120))
def test_a_hundred_that_are_alike_are_told_apart(names: list[str]) -> None:
    short = shorten(names, 6)
    assert len({name.casefold() for name in short}) == len(names)


def test_who_fits_already_keeps_the_name() -> None:
    """The long one comes first and would be cut to the very same; it gets the number."""
    assert shorten(["Gullrock Harbour"], 10) == ("Gullr Harb",)
    assert shorten(["Gullrock Harbour", "Gullr Harb"], 10)[1] == "Gullr Harb"


def test_large_and_small_letters_are_one() -> None:
    assert shorten(["Gull", "gull", "GULL"], 6) == ("Gull", "gull2", "GULL3")


def test_numbers_and_the_first_word_are_kept() -> None:
    assert shorten(["T03 Tolvarrow Heads", "P32 10 kn limit in Upper Inlet", "T104 Cape of the Winds"], 10) == (
        "T03 Tolvar",
        "P32 10 kn",
        "T104 Cape",
    )


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("Stra\u00dfe \u00d8st", "Strasse Ost"),
        ("\u041f\u043e\u0440\u0442", "Port"),
        ("caf\u00e9*,$!\\^~", "cafe"),
        ("", ""),
    ],
)
def test_other_scripts_and_signs(name: str, plain: str) -> None:
    """Signs with a meaning in sentences between instruments are left out (IEC 61162-1, from memory)."""
    assert plain_letters(name) == plain


def test_points_in_one_spot_keep_one_name_and_all_is_reported() -> None:
    """Out and back: the first point is the last one too."""
    route = a_route(("Ferrowick Harbour", "Ferrowick Heads", "Ferrowick Harbour"))
    home = route.points[0]
    back = route.points[2].model_copy(update={"position": home.position})
    route = route.model_copy(update={"points": (*route.points[:2], back)})
    short, told = with_short_names(route, 10)
    names = [point.name for point in short.points]
    assert names[0] == names[2] != names[1]
    assert {(n.full, n.short) for n in told} == {("Ferrowick Harbour", names[0]), ("Ferrowick Heads", names[1])}
    assert short.points[1].description.startswith("Ferrowick Heads\n")
    assert short.marks[0].name == "Pump"


@pytest.mark.parametrize("text", ["5", "41", "ten", "10.5", "-10", "", "\u0661\u0660"])
def test_how_many_letters(text: str) -> None:
    with pytest.raises(InputError, match="6 to 40"):
        read_short_names(text, "--short-names")
    assert read_short_names(" 10 ", "--short-names") == 10
