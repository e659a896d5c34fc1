"""Recipes: read, written, and every wrong key told in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from layers.errors import InputError
from layers.recipe import read_recipe, write_recipe

if TYPE_CHECKING:
    from pathlib import Path

WHOLE = """
name = "My Waters"
extent = [-38.8, 44.1, -38.2, 44.6]
time_zone = "Europe/Lisbon"
danger_depth_m = 3.5

[[source]]
file = "docks.csv"
as = "docks"
date = 2026-06-20
edition = "second"
where = { kind = ["fuel", "both"], open = true }

[source.columns]
name = "Dock \\"A\\""
depth_m = "Depth, ft"

[source.units]
depth_m = "ft"

[source.values.fuels]
"petrol & diesel" = "gasoline,diesel"

[source.set]
vhf = "12"

[[source]]
file = "/charts"
as = "cells"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "my.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_recipe_comes_back_as_it_was_written(tmp_path: Path):
    recipe = read_recipe(write(tmp_path, WHOLE))
    assert recipe.sources[0].file == str(tmp_path / "docks.csv")
    assert recipe.sources[1].file == "/charts"
    assert recipe.sources[0].where == {"kind": ("fuel", "both"), "open": (True,)}
    assert read_recipe(write(tmp_path, write_recipe(recipe))) == recipe


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name = ", "is not TOML"),
        ('nam = "x"', "nam: is no key of a recipe; did you mean name?"),
        ("extent = [1, 2, 3]", "four numbers"),
        ("danger_depth_m = -1", "danger_depth_m: input should be greater"),
        ('[[source]]\nas = "docks"', "source 1, file: is missing"),
        ('[[source]]\nfile = "a"\nas = "dock"', "did you mean docks?"),
        ('[[source]]\nfile = "a"\ncolumn = { name = "b" }', "is no key of a recipe; did you mean columns?"),
        ('[[source]]\nfile = "a"\nas = "docks"\n[source.columns]\ndepth = "b"', "did you mean depth_m?"),
        ('[[source]]\nfile = "a"\nas = "docks"\n[source.units]\ndepth_m = "yd"', "one of m, cm, ft, fathom, nmi"),
        ('[[source]]\nfile = "a"\nas = "docks"\n[source.units]\nvhf = "m"', "has no unit to choose"),
    ],
)
def test_what_is_wrong_in_a_recipe_is_one_line(tmp_path: Path, text: str, says: str):
    with pytest.raises(InputError) as raised:
        read_recipe(write(tmp_path, text))
    told = str(raised.value)
    assert told.startswith(str(tmp_path / "my.toml"))
    assert says in told
    assert "\n" not in told
