"""How a region is put together: which files, what each of their tables is, which column is which. A TOML file.

::

    name = "My Waters"
    time_zone = "Europe/Lisbon"
    extent = [-38.8, 44.1, -38.2, 44.6]

    [[source]]
    file = "docks.csv"
    as = "docks"
    title = "Asked on the telephone"

    [source.columns]
    name = "Place"              # ours = "theirs"
    depth_m = "Depth alongside"

    [source.units]
    depth_m = "ft"

    [source.values.fuels]       # theirs = "ours"
    both = "gasoline,diesel"

    [source.set]                # for every row that has none
    vhf = "12"

Whatever it leaves out is guessed by `layers.guessing`, and shown. Files are looked for beside the recipe.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict, ValidationError, model_validator

from layers.about import Day, Text, four_numbers, toml_value
from layers.errors import InputError
from layers.files import read_text
from layers.schema import LAYERS
from layers.units import UNITS, unit_kind

if TYPE_CHECKING:
    import os

__all__ = ["CELLS", "SKIP", "TO_SAY", "Recipe", "RecipeSource", "read_recipe", "write_recipe"]

CELLS = "cells"  # what a folder of S-57 cells is
SKIP = "skip"  # what is not to be used
TO_SAY = ""  # what a recipe leaves for a person to fill in
_LIMIT_BYTES = 1_000_000  # bytes: a recipe of ten thousand lines
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")

Value = str | int | float | bool


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str | int | float | bool) else value


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


class RecipeSource(_Frozen):
    """One file, or one table of it, and what it is.

    Parameters
    ----------
    file
        The file, or a folder of S-57 cells.
    layer
        The table in the file; empty where it has one, or all of them are meant.
    as_
        Which of our layers it is, ``cells`` for S-57, ``skip`` to leave it out; None, or empty, to have it guessed.
    columns
        Their column, by ours; an empty one is not to be used.
    units
        The unit that their numbers are in, by our column.
    values
        By our column: what each of their values is in ours; an empty one is still to be filled in, ``unknown`` says
        that nothing is known.
    set
        By our column: what rows have that have nothing there.
    where
        By their column: only rows with one of these values are used.
    crs
        The reference system of a file that doesn't say its own.
    title, publisher, edition, date, licence, datum, warning
        Where it comes from; see `layers.Source`.
    """

    file: Text
    layer: Annotated[str, Strict()] = ""
    as_: Annotated[str, Strict()] | None = Field(default=None, alias="as")
    columns: Mapping[str, Annotated[str, Strict()]] = {}
    units: Mapping[str, Annotated[str, Strict()]] = {}
    values: Mapping[str, Mapping[str, Value]] = {}
    set_: Mapping[str, Value] = Field(default={}, alias="set")
    where: Mapping[str, Annotated[tuple[Value, ...], BeforeValidator(_as_list)]] = {}
    crs: Annotated[str, Strict()] = ""
    title: Text | None = None
    publisher: Text | None = None
    edition: Text | None = None
    date: Day | None = None
    licence: Text | None = None
    datum: Text | None = None
    warning: Text | None = None

    @model_validator(mode="after")
    def _possible(self) -> RecipeSource:
        kinds = (*LAYERS, CELLS, SKIP)
        if self.as_ not in {None, TO_SAY, *kinds}:
            raise ValueError(f"as must be one of {', '.join(kinds)}, not {self.as_!r}{_near(str(self.as_), kinds)}")
        if not self.as_ or self.as_ not in LAYERS:
            return self
        known = {column.name: column for column in LAYERS[self.as_].columns}
        for key, names in (
            ("columns", self.columns),
            ("units", self.units),
            ("values", self.values),
            ("set", self.set_),
        ):
            for name in names:
                if name not in known:
                    raise ValueError(f"{key}.{name} is no column of {self.as_}{_near(name, known)}")
        for name, unit in self.units.items():
            possible = UNITS.get(unit_kind(name, known[name].unit), {})
            if unit not in possible:
                choices = f"must be one of {', '.join(possible)}" if possible else "has no unit to choose"
                raise ValueError(f"units.{name} {choices}, not {unit!r}")
        return self


class Recipe(_Frozen):
    """How a region is put together.

    Parameters
    ----------
    name
        Name of the region; None for that of where it is written.
    extent
        [deg] West, south, east, north; None for what the sources cover.
    time_zone, chart_datum, clearance_datum, currency, poor_survey_standoff_m, variation_deg
        What the region says about itself, as in `layers.RegionAbout`; None where it is to be guessed or asked for.
    danger_depth_m
        [m] Rocks, wrecks and obstructions of S-57 cells with this much water over them, or more, are no hazards.
    source
        The files, each with its tables.
    """

    name: Text | None = None
    extent: Annotated[tuple[float, float, float, float], BeforeValidator(four_numbers)] | None = None
    time_zone: Text | None = None
    chart_datum: Text | None = None
    clearance_datum: Text | None = None
    currency: Text | None = None
    poor_survey_standoff_m: Annotated[float, Strict()] | None = None
    variation_deg: Annotated[float, Strict()] | None = None
    danger_depth_m: Annotated[float, Strict(), Field(ge=0, le=100)] = 5.0
    sources: tuple[RecipeSource, ...] = Field(default=(), alias="source")


def read_recipe(path: str | os.PathLike[str]) -> Recipe:
    """Read a recipe.

    Parameters
    ----------
    path
        The TOML file.

    Returns
    -------
    Recipe
        What it says; files that aren't absolute are looked for beside it.

    Raises
    ------
    InputError
        It can't be read, is no TOML, or a key is unknown or wrong; names the first, and how many more there are.
    """
    file = Path(path)
    text = read_text(file, _LIMIT_BYTES)
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        said = "nested too deep" if isinstance(error, RecursionError) else str(error)
        raise InputError(str(path), f"is not TOML: {said[:1].lower()}{said[1:]}") from error
    try:
        recipe = Recipe.model_validate(values)
    except ValidationError as error:
        raise _fault(str(path), error) from error
    moved = [source.model_copy(update={"file": str(file.parent / source.file)}) for source in recipe.sources]
    return recipe.model_copy(update={"sources": tuple(moved)})


def write_recipe(recipe: Recipe) -> str:
    """Write a recipe as TOML.

    Parameters
    ----------
    recipe
        The recipe.

    Returns
    -------
    str
        The text; `read_recipe` gives the same back.

    Examples
    --------
    >>> source = RecipeSource(file="docks.csv", as_="docks", columns={"name": "Place"})
    >>> print(write_recipe(Recipe(name="My Waters", sources=(source,))))
    name = "My Waters"
    danger_depth_m = 5.0
    <BLANKLINE>
    [[source]]
    file = "docks.csv"
    as = "docks"
    <BLANKLINE>
    [source.columns]
    name = "Place"
    <BLANKLINE>
    """
    lines = _pairs(recipe.model_dump(by_alias=True, exclude={"sources"}))
    for source in recipe.sources:
        plain = {key: value for key, value in source.model_dump(by_alias=True).items() if value not in ("", {}, None)}
        told = [f'as = ""  # fill in: {", ".join((*LAYERS, SKIP))}'] if source.as_ == TO_SAY else []
        lines += ["", "[[source]]", *_pairs({key: v for key, v in plain.items() if not isinstance(v, dict)}), *told]
        for key in ("columns", "units", "where", "set"):
            if key in plain:
                lines += ["", f"[source.{key}]", *_pairs(plain[key])]
        for column, values in plain.get("values", {}).items():
            lines += [
                "",
                f"[source.values.{column}]",
                *(f"{toml_value(k)} = {toml_value(v)}" for k, v in values.items()),
            ]
    return "\n".join(lines).lstrip("\n") + "\n"


def _pairs(values: Mapping[str, Any]) -> list[str]:
    bare = {key: key if _BARE_KEY.fullmatch(key) else toml_value(key) for key in values}
    return [f"{bare[key]} = {toml_value(value)}" for key, value in values.items() if value is not None]


def _near(name: str, known: Any) -> str:
    near = difflib.get_close_matches(name.lower(), list(known), n=1)
    return f"; did you mean {near[0]}?" if near else ""


def _fault(where: str, error: ValidationError) -> InputError:
    faults = error.errors(include_url=False)
    first = faults[0]
    place = [f"source {part + 1}" if isinstance(part, int) else str(part) for part in first["loc"]]
    place = [part for i, part in enumerate(place) if not (part == "source" and place[i + 1 : i + 2] != [])]
    problem = first["msg"].removeprefix("Value error, ")
    value = None
    if first["type"] == "extra_forbidden":
        model = RecipeSource if "source" in first["loc"] else Recipe
        names = [field.alias or name for name, field in model.model_fields.items()]
        problem = f"is no key of a recipe{_near(place[-1], names)}"
    elif first["type"] == "missing":
        problem = "is missing"
    elif not isinstance(first["input"], dict):
        value = first["input"]
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    key = ", ".join(place)
    return InputError(f"{where}, {key}" if key else where, f"{problem[:1].lower()}{problem[1:]}{more}", value=value)
