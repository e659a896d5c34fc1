"""What a region says about itself: `region.toml`, read, checked and written."""

from __future__ import annotations

import difflib
import json
import math
import re
import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    StringConstraints,
    ValidationError,
    model_validator,
)

from layers.errors import BadRow, LayersError
from layers.schema import LAYERS

__all__ = ["RegionAbout", "Source", "four_numbers", "read_about", "toml_value", "write_about"]

ABOUT_NAME = "region.toml"
_NOT_PLACES = ("Factory", "localtime", "posixrules")  # keys of the zone database that name no place
_WIDEST_ACROSS_DEG = 180.0  # [deg] of longitude: wider than that, west and east are all but surely swapped
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")


def _plain(text: str) -> str:
    if _CONTROL.search(text):
        raise ValueError("must be one line without control characters")
    return text


def _known_zone(key: str) -> str:
    try:
        ZoneInfo(key)
    except (KeyError, ValueError, OSError) as error:  # unknown, a path out of the database, a folder in it
        raise ValueError("must be an IANA time zone such as 'Atlantic/Azores'") from error
    if key in _NOT_PLACES:
        raise ValueError("must be an IANA time zone such as 'Atlantic/Azores'")
    return key


def _iso_date(value: object) -> object:
    if isinstance(value, datetime) or not isinstance(value, date | str):
        raise ValueError("must be a date such as 2026-07-01")  # noqa: TRY004  pydantic collects ValueErrors only
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError as error:
            raise ValueError("must be a date such as 2026-07-01") from error
    return value


def four_numbers(value: object) -> object:
    """Check an extent as far as its form goes.

    Parameters
    ----------
    value
        What was found.

    Returns
    -------
    object
        A tuple of four finite numbers.

    Raises
    ------
    ValueError
        It is something else; pydantic makes a fault of it.
    """
    numbers = value if isinstance(value, list | tuple) else ()
    good = [isinstance(number, int | float) and not isinstance(number, bool) for number in numbers]
    if len(good) != 4 or not all(good) or not all(math.isfinite(number) for number in numbers):
        raise ValueError("must be four numbers, [west, south, east, north] in degrees")
    return tuple(numbers)


Text = Annotated[
    str, Strict(), StringConstraints(strip_whitespace=True, min_length=1, max_length=500), AfterValidator(_plain)
]
Day = Annotated[date, BeforeValidator(_iso_date)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Source(_Frozen):
    """Where a layer comes from.

    Parameters
    ----------
    title
        Name of the data.
    publisher
        Who publishes it; None where that isn't said.
    date
        Date of the data; None where that isn't said.
    licence
        The licence it came under; None where that isn't said.
    edition
        Its edition, version or update; None where that isn't said.
    datum
        The level that its depths or heights were counted from; None where that isn't said.
    warning
        What to beware of in all of it, such as a second datum; None where nothing is known.
    """

    title: Text
    publisher: Text | None = None
    date: Day | None = None
    licence: Text | None = None
    edition: Text | None = None
    datum: Text | None = None
    warning: Text | None = None

    @property
    def line(self) -> str:
        """All that is known of it, with commas between."""
        edition = f"edition {self.edition}" if self.edition else None
        datum = f"from {self.datum}" if self.datum else None
        parts = (self.title, self.publisher, edition, self.date, datum, self.licence)
        return ", ".join(str(part) for part in parts if part) + (f"; beware: {self.warning}" if self.warning else "")


class RegionAbout(_Frozen):
    """What a region says about itself.

    Parameters
    ----------
    format
        Version of the file format.
    name
        Name of the region.
    extent
        [deg] West, south, east, north; water outside it is unknown. A west above the east: it crosses the 180th
        meridian (RFC 7946, section 5.2).
    time_zone
        IANA name of the time zone that the region's hours are in.
    chart_datum
        The level that depths are counted from.
    clearance_datum
        The level that clearances are counted from.
    currency
        ISO 4217 code of the currency that prices are in.
    poor_survey_standoff_m
        [m] Stand-off where the survey is poor; None where it is as elsewhere.
    variation_deg
        [deg] Magnetic variation, east positive; None where it isn't said.
    sources
        Where each layer comes from, by the layer's name.
    """

    format: Literal[1] = 1
    name: Text
    extent: Annotated[tuple[float, float, float, float], BeforeValidator(four_numbers)]
    time_zone: Annotated[Text, AfterValidator(_known_zone)]
    chart_datum: Text
    clearance_datum: Text
    currency: Annotated[str, Strict(), StringConstraints(pattern=r"^[A-Z]{3}$")]
    poor_survey_standoff_m: Annotated[float, Strict(), Field(ge=0, le=10_000)] | None = None
    variation_deg: Annotated[float, Strict(), Field(ge=-180, le=180)] | None = None
    sources: Mapping[str, Source] = {}

    @model_validator(mode="after")
    def _possible(self) -> RegionAbout:
        west, south, east, north = self.extent
        if not (max(abs(west), abs(east)) <= 180 and west != east and -90 <= south < north <= 90):
            raise ValueError(
                "extent must be [west, south, east, north] in degrees, with longitudes from -180 to 180, west and east"
                " apart, and -90 <= south < north <= 90"
            )
        width = (east - west) % 360
        if west > east and not width < _WIDEST_ACROSS_DEG:
            raise ValueError(
                f"extent has its west above its east, so it crosses the 180th meridian, and is {width:g} degrees wide:"
                f" less than {_WIDEST_ACROSS_DEG:g} are possible; where it doesn't cross it, put the west first"
            )
        unknown = sorted(set(self.sources) - set(LAYERS))
        if unknown:
            raise ValueError(f"sources names no layer {unknown[0]!r}; the layers are {', '.join(LAYERS)}")
        return self

    @property
    def source_lines(self) -> tuple[str, ...]:
        """Each source once, with the layers that come from it.

        Examples
        --------
        >>> from layers.about import RegionAbout, Source
        >>> chart = Source(title="chart 7", edition="3")
        >>> sources = {"land": chart, "depth": chart, "docks": Source(title="own")}
        >>> RegionAbout(name="Sound", extent=(-39, 44, -37, 45), time_zone="UTC", chart_datum="LAT",
        ...             clearance_datum="MHWS", currency="EUR", sources=sources).source_lines
        ('land, depth: chart 7, edition 3', 'docks: own')
        """
        layers: dict[str, list[str]] = {}
        for name in LAYERS:
            if name in self.sources:
                layers.setdefault(self.sources[name].line, []).append(name)
        return tuple(f"{', '.join(names)}: {line}" for line, names in layers.items())

    @property
    def zone(self) -> ZoneInfo:
        """The region's time zone."""
        return ZoneInfo(self.time_zone)


def read_about(text: str, where: str) -> RegionAbout:
    """Read the text of a `region.toml`.

    Parameters
    ----------
    text
        The TOML.
    where
        The region, for messages.

    Returns
    -------
    RegionAbout
        What it says.

    Raises
    ------
    LayersError
        It is no TOML, or keys are missing, unknown or wrong; names all of them, each with value and rule.

    Examples
    --------
    >>> about = read_about('''
    ... name = "Nowhere Sound"
    ... extent = [-39.5, 43.75, -36.0, 45.25]
    ... time_zone = "Atlantic/Azores"
    ... chart_datum = "lowest astronomical tide"
    ... clearance_datum = "mean high water springs"
    ... currency = "EUR"
    ... ''', "nowhere")
    >>> about.extent, about.format
    ((-39.5, 43.75, -36.0, 45.25), 1)
    """
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        reason = "nested too deep" if isinstance(error, RecursionError) else _sentence(str(error))
        raise LayersError(where, [BadRow(ABOUT_NAME, 0, "text", "", f"is not TOML: {reason}")]) from error
    try:
        return RegionAbout.model_validate(values)
    except ValidationError as error:
        raise LayersError(where, _faults(error, values)) from error


def write_about(about: RegionAbout) -> str:
    """Write what a region says about itself as TOML.

    Parameters
    ----------
    about
        What to write.

    Returns
    -------
    str
        The text of a `region.toml`; `read_about` gives the same back.

    Examples
    --------
    >>> about = RegionAbout(
    ...     name="Nowhere Sound", extent=(-39.5, 43.75, -36.0, 45.25), time_zone="Atlantic/Azores",
    ...     chart_datum="LAT", clearance_datum="MHWS", currency="EUR", sources={"land": Source(title="a sketch")},
    ... )
    >>> print(write_about(about))
    format = 1
    name = "Nowhere Sound"
    extent = [-39.5, 43.75, -36.0, 45.25]
    time_zone = "Atlantic/Azores"
    chart_datum = "LAT"
    clearance_datum = "MHWS"
    currency = "EUR"
    <BLANKLINE>
    [sources.land]
    title = "a sketch"
    <BLANKLINE>
    >>> read_about(write_about(about), "here") == about
    True
    """
    lines = [
        f"{key} = {toml_value(value)}"
        for key, value in about.model_dump(exclude={"sources"}).items()
        if value is not None
    ]
    for layer in LAYERS:
        if layer in about.sources:
            values = about.sources[layer].model_dump().items()
            lines += ["", f"[sources.{layer}]"]
            lines += [f"{key} = {toml_value(value)}" for key, value in values if value is not None]
    return "\n".join(lines) + "\n"


def toml_value(value: object) -> str:
    """Write a value as TOML does.

    Parameters
    ----------
    value
        A text of one line, a number, a flag, a date, or several of them.

    Returns
    -------
    str
        The text after the equals sign.

    Examples
    --------
    >>> toml_value("Knap"), toml_value((1.5, 2)), toml_value(date(2026, 7, 1))
    ('"Knap"', '[1.5, 2]', '2026-07-01')
    """
    if isinstance(value, date):
        return value.isoformat()
    # JSON's strings and numbers are TOML's as well once control characters are kept out, as `Text` does.
    return json.dumps(list(value) if isinstance(value, tuple) else value, ensure_ascii=False)


def _faults(error: ValidationError, values: Mapping[str, Any]) -> list[BadRow]:
    faults = []
    for fault in error.errors(include_url=False):
        keys = [str(part) for part in fault["loc"]]
        kind, key = fault["type"], ".".join(keys)
        got = "" if kind == "missing" or not keys else _shortly(fault["input"])
        rule = _sentence(fault["msg"].removeprefix("Value error, "))
        if not keys:  # a rule about the whole, which begins with the key's name
            key, _, rule = rule.partition(" ")
            got = _shortly(values.get(key, ""))
        elif kind == "missing":
            rule = "is missing; a region needs it"
        elif kind == "extra_forbidden":
            known = list(Source.model_fields) if keys[0] == "sources" else list(RegionAbout.model_fields)
            near = difflib.get_close_matches(keys[-1], known, n=1)
            rule = f"is no key that a region has{f'; did you mean {near[0]}?' if near else ''}"
        elif key == "currency":
            rule = "must be a currency's three capital letters (ISO 4217), such as 'EUR'"
        elif key == "format":
            rule = "must be 1, the only format that this version reads"
        faults.append(BadRow(ABOUT_NAME, 0, key, got, rule))
    return faults


def _shortly(value: object) -> str:
    text = str(value)
    return text if len(text) <= 80 else f"{text[:76]} ..."


def _sentence(message: str) -> str:
    one_line = " ".join(message.split())
    return one_line[:1].lower() + one_line[1:]
