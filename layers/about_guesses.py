"""What a region says about itself where nobody has said it: its extent, datums, time zone and currency.

An extent can be taken from the sources. Hours without a time zone, and prices without a currency, can't be guessed at
all: they are asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pydantic import ValidationError

from layers.about import RegionAbout
from layers.antimeridian import wrap
from layers.errors import InputError
from layers.extents import LONGEST_NMI, extent_around, rounded_outwards, wide_nmi

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    from layers.gathering import Gathered
    from layers.recipe import Recipe

    Extent = tuple[float, float, float, float]

__all__ = ["NOT_STATED", "NO_CURRENCY", "check_given", "guess_about", "guess_extent"]

NO_CURRENCY = "XXX"  # ISO 4217: no currency is involved
NOT_STATED = "a level that no source states"
_PAD_DEG = 0.1  # [deg] of water kept round places where nothing else says how far the waters go
_LONG_NMI = 600.0  # [nmi] waters longer than that from corner to corner aren't taken from a coast
_STEP_DEG = 0.05  # [deg] extents that are guessed end on multiples of it
_HOURS = (("docks", "opening_hours"), ("openings", "opening_hours"), ("zones", "season"))
_PRICES = ("price_gasoline_per_l", "price_diesel_per_l")
_KEYS = ("time_zone", "chart_datum", "clearance_datum", "currency", "poor_survey_standoff_m", "variation_deg")


def check_given(recipe: Recipe) -> None:
    """Refuse what a recipe says about the region and no region can say.

    Parameters
    ----------
    recipe
        The recipe; what it leaves out is no fault.

    Raises
    ------
    InputError
        The first key that is wrong.
    """
    plain = {"time_zone": "UTC", "chart_datum": NOT_STATED, "clearance_datum": NOT_STATED, "currency": NO_CURRENCY}
    given = {key: value for key in _KEYS if (value := getattr(recipe, key)) is not None}
    _region_about({**plain, **given}, recipe, recipe.extent or (0.0, 0.0, 1.0, 1.0), {})


def guess_extent(shapes: Iterable[tuple[str, NDArray[np.object_]]], given: Extent | None) -> tuple[Extent, str]:
    """[deg] Return how far a region goes.

    Parameters
    ----------
    shapes
        The name of a layer and its shapes, for each table.
    given
        [deg] What was given; None where nothing was.

    Returns
    -------
    tuple[Extent, str]
        West, south, east, north; and why, in words.

    Raises
    ------
    InputError
        There are no shapes, or but a coast of half the world; or what was given is too long.
    """
    if given is not None:
        if (long_nmi := wide_nmi(given)) > LONGEST_NMI:
            problem = f"is {long_nmi:,.0f} nmi from corner to corner; {LONGEST_NMI:,.0f} nmi is the limit"
            remedy = "give less, or leave it out for what the sources cover"
            raise InputError("--extent", problem, value=" ".join(f"{bound:g}" for bound in given), remedy=remedy)
        return given, "as given"
    boxes: dict[str, list[NDArray[np.float64]]] = {}
    for name, some in shapes:
        bounds = shapely.bounds(some)
        good = np.isfinite(bounds).all(axis=1) & (np.abs(bounds).max(axis=1, initial=0) > 1e-6)  # 0/0 is no place
        good &= (np.abs(bounds[:, [1, 3]]) <= 90).all(axis=1) & (np.abs(bounds[:, [0, 2]]) <= 540).all(axis=1)
        if good.any():
            parts = shapely.get_parts(wrap(some[good]))  # of one that lies on both sides of 180 each part counts alone
            boxes.setdefault(name, []).append(shapely.bounds(parts))
    around = _around(boxes.values())
    why = "what the sources cover, rounded outwards"
    if around is not None and wide_nmi(around) > _LONG_NMI and set(boxes) != {"land"}:
        around = _around(found for name, found in boxes.items() if name != "land")
        why = "what the sources cover but for the coast, which goes much further"
    if around is None or wide_nmi(around) > (_LONG_NMI if set(boxes) == {"land"} else LONGEST_NMI):
        spread = "" if around is None else f"{wide_nmi(around):,.0f} nmi from corner to corner"
        far = f": the sources lie spread over {spread}" if spread else ""
        remedy = 'check their positions, or give it: --extent "west south east north", in degrees'
        raise InputError("--extent", f"is missing, and nothing says how far the waters go{far}", remedy=remedy)
    if not ({"depth", "land"} & set(boxes)) or "but for" in why:
        west, south, east, north = around
        around = (west - _PAD_DEG, south - _PAD_DEG, east + _PAD_DEG, north + _PAD_DEG)
        why += f", and {_PAD_DEG:g} degrees more on each side"
    return rounded_outwards(around, _STEP_DEG), why


def guess_about(
    recipe: Recipe, gathered: Gathered, charted: Any, currency: str | None
) -> tuple[RegionAbout, dict[str, str], list[str]]:
    """Say what a region says about itself.

    Parameters
    ----------
    recipe
        What was given.
    gathered
        The rows of its layers.
    charted
        What the chart cells say, with ``chart_datum`` and ``clearance_datum``; None where there are none.
    currency
        The currency that names of columns tell; None where they don't.

    Returns
    -------
    tuple[RegionAbout, dict[str, str], list[str]]
        What it says; where each of it comes from, by key; and what a person must look at.

    Raises
    ------
    InputError
        Hours without a time zone, prices without a currency, or a value that no region can have.
    """
    why: dict[str, str] = {"name": "as given"}
    cautions: list[str] = []
    values = {
        "time_zone": _time_zone(recipe, gathered, why, cautions),
        "currency": _currency(recipe, gathered, currency, why),
        "poor_survey_standoff_m": recipe.poor_survey_standoff_m,
        "variation_deg": recipe.variation_deg,
    }
    for key, layer, what in (("chart_datum", "depth", "depths"), ("clearance_datum", "overhead", "clearances")):
        sources = gathered.layers[layer].sources if layer in gathered.layers else []
        stated = [getattr(charted, key, None), *(source.datum for source in sources)]
        found = next((datum for datum in stated if datum), None)
        values[key] = getattr(recipe, key) or found or NOT_STATED
        why[key] = "as given" if getattr(recipe, key) else "as the sources say" if found else "no source says it"
        if values[key] == NOT_STATED and sources:
            option = f"--{key.replace('_', '-')}"
            cautions.append(f"no source says what {what} are counted from: find out, and give {option}")
    present = {name: layer.source for name, layer in gathered.layers.items() if layer.rows and layer.sources}
    return _region_about(values, recipe, gathered.extent, present), why, cautions


def _around(boxes: Iterable[Sequence[NDArray[np.float64]]]) -> Extent | None:
    every = [box for some in boxes for box in some]
    return extent_around(np.vstack(every)) if every else None


def _region_about(values: Mapping[str, Any], recipe: Recipe, extent: Extent, sources: Mapping[str, Any]) -> RegionAbout:
    try:
        return RegionAbout(name=recipe.name or "Unnamed waters", extent=extent, sources=sources, **values)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in fault["loc"]) or "extent"
        rule = fault["msg"].removeprefix("Value error, ").removeprefix("extent ")
        if key == "currency":
            rule = "must be a currency's three capital letters (ISO 4217), such as EUR"
        got = extent if key == "extent" else fault["input"]
        raise InputError(f"--{key.replace('_', '-')}", f"{rule[:1].lower()}{rule[1:]}", value=got) from error


def _time_zone(recipe: Recipe, gathered: Gathered, why: dict[str, str], cautions: list[str]) -> str:
    if recipe.time_zone:
        why["time_zone"] = "as given"
        return recipe.time_zone
    for layer, column in _HOURS:
        origin = gathered.first_with(layer, column)
        if origin:
            problem = f"is missing, and {origin}, has hours: nobody can tell when that is"
            raise InputError("--time-zone", problem, remedy="give the zone that they are in, such as Europe/Lisbon")
    why["time_zone"] = "UTC, for no source has hours"
    cautions.append("times are in UTC, for no time zone was given: --time-zone sets the clocks ashore")
    return "UTC"


def _currency(recipe: Recipe, gathered: Gathered, named: str | None, why: dict[str, str]) -> str:
    if recipe.currency:
        why["currency"] = "as given"
        return recipe.currency
    origin = next((found for column in _PRICES if (found := gathered.first_with("docks", column))), "")
    if not origin:
        why["currency"] = "none, for no source has prices"
        return NO_CURRENCY
    if named is None:
        problem = f"is missing, and {origin}, has a price: nobody can tell in what"
        raise InputError("--currency", problem, remedy="give its three letters, such as EUR")
    why["currency"] = "the name of a price column says so"
    return named
