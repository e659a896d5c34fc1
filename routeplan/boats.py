"""A boat: her tank, reserve, burn and instruments, and what follows from them by arithmetic.

A boat is read from one TOML file by `read_boat`; every fault of the file is told at once. The values hold litres,
metres, knots and hours only; gallons and feet exist where the file is read and where `Boat.units` shows a figure.
"""

from __future__ import annotations

import hashlib
import json
import math
from bisect import bisect_left
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator

from layers.errors import InputError
from routeplan.boat_faults import (
    BoatFault,
    BoatFileError,
    BrokenRuleError,
    build_from_document,
)
from routeplan.toml_files import read_toml
from routeplan.units_shown import DisplayUnits, UnitSystem

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable, Iterator

__all__ = ["Boat", "BoatFileError", "BurnTable", "Instruments", "Reserve", "Tank", "build_boat", "read_boat"]

# Ceilings that no day boat reaches: they catch a figure in the wrong unit, or in the wrong key.
_Volume = Annotated[float, Field(gt=0, le=100_000, strict=True)]  # l
_VolumeOrNone = Annotated[float, Field(ge=0, le=100_000, strict=True)]  # l
_Length = Annotated[float, Field(gt=0, le=100, strict=True)]  # m
_Speed = Annotated[float, Field(gt=0, le=150, strict=True)]  # kn
_Burn = Annotated[float, Field(ge=0.1, le=10_000, strict=True)]  # l/h; the floor: less is a slip, and no engine's idle
_Share = Annotated[float, Field(ge=0, lt=1, strict=True)]  # of a whole


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


_AnyValue = TypeVar("_AnyValue", bound=_Value)


class Tank(_Value):
    """What all engines can draw from; of separate tanks, the one that runs out first.

    Parameters
    ----------
    capacity_l
        [l] What the tank holds, brim to bottom.
    unusable_l
        [l] What can't be drawn at running trim in a sea.
    full_mark_l
        [l] Where a fill stops, leaving room for the fuel to expand; 0.95 of the capacity unless given, as is
        common practice.
    """

    capacity_l: _Volume
    unusable_l: _VolumeOrNone
    full_mark_l: _Volume = Field(default_factory=lambda data: 0.95 * data["capacity_l"])

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        return _checked(self, _tank_faults(self))


class Reserve(_Value):
    """What is never planned to be burnt, over and above the unusable fuel.

    Parameters
    ----------
    rule
        ``fraction`` of the capacity, a fixed ``volume``, or ``thirds``: a third of the capacity less the unusable fuel.
    value
        [share or l] The fraction or the volume; None for thirds.
    """

    rule: Literal["fraction", "volume", "thirds"]
    value: Annotated[float, Field(strict=True)] | None = None

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        return _checked(self, _reserve_faults(self))


class BurnTable(_Value):
    """What the engines burn at which speed, until the log knows better.

    Parameters
    ----------
    speed_kn
        [kn] Speeds through the water, increasing; at least two.
    burn_lph
        [l/h] The burn of all engines at each of them.
    idle_lph
        [l/h] The burn at rest, engines idling.
    unsteady_kn
        [kn] Lower and upper end of the speeds that the boat can't hold, over the hump; None where she holds them all.
    sd_share
        [share] Relative standard deviation of the burn over a whole passage.
    """

    speed_kn: Annotated[tuple[_Speed, ...], Field(min_length=2, max_length=200)]
    burn_lph: tuple[_Burn, ...]
    idle_lph: _Burn
    unsteady_kn: tuple[_Speed, _Speed] | None = None
    sd_share: _Share

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        return _checked(self, _burn_faults(self))


class Instruments(_Value):
    """How far the instruments are believed, until the log knows better.

    Parameters
    ----------
    aboard_sd_share
        [share] Standard deviation of a stated fuel aboard, as a share of the capacity.
    full_mark_sd_share
        [share] The same of a fill to the full mark.
    """

    aboard_sd_share: _Share
    full_mark_sd_share: _Share


class Boat(_Value):
    """A boat as her skipper describes her.

    Parameters
    ----------
    name
        Her name.
    fuel
        What she burns.
    length_overall_m
        [m] Length overall.
    draught_m
        [m] Draught, engines down.
    air_draught_m
        [m] Height of her highest fixed point over the water.
    cruising_speed_kn
        [kn] The speed that a plan takes where the trip names none.
    no_wake_kn
        [kn] The speed at which she makes no wake.
    display_units
        What her figures are shown in, and which gallon a bare ``gal`` means.
    tank, reserve, burn, instruments
        Her fuel system, see there.

    Examples
    --------
    A boat solved by hand: 300 l less 20 unusable and 40 reserve leave 240 l, 80 nmi at 1 nmi per 3 l.

    >>> boat = Boat(
    ...     name="Example", fuel="gasoline", length_overall_m=8, draught_m=0.8, air_draught_m=2.5,
    ...     cruising_speed_kn=20, no_wake_kn=5, display_units="metric",
    ...     tank=Tank(capacity_l=300, unusable_l=20), reserve=Reserve(rule="volume", value=40),
    ...     burn=BurnTable(
    ...         speed_kn=(6, 20, 30), burn_lph=(18, 60, 120), idle_lph=3, unsteady_kn=(8, 16), sd_share=0.06
    ...     ),
    ...     instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    ... )
    >>> boat.floor_l, boat.usable_l(300), boat.range_nmi(300, 20), boat.burn_lph(25), boat.steady_kn(12)
    (60.0, 240.0, 80.0, 90.0, 8.0)
    """

    name: Annotated[str, Field(min_length=1, max_length=80)]
    fuel: Literal["gasoline", "diesel"]
    length_overall_m: _Length
    draught_m: _Length
    air_draught_m: _Length
    cruising_speed_kn: _Speed
    no_wake_kn: _Speed
    display_units: UnitSystem = "metric"
    tank: Tank
    reserve: Reserve
    burn: BurnTable
    instruments: Instruments

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        own = _name_faults(self.name)
        return _checked(
            self, [*own, *_together_faults({name: getattr(self, name) for name in type(self).model_fields})]
        )

    @property
    def units(self) -> DisplayUnits:
        """The units that her figures are shown in."""
        return DisplayUnits(self.display_units)

    @property
    def reserve_l(self) -> float:
        """[l] The reserve, over and above the unusable fuel."""
        return _reserve_l(self.tank, self.reserve)

    @property
    def floor_l(self) -> float:
        """[l] Unusable fuel and reserve together: what no arrival may touch."""
        return self.tank.unusable_l + self.reserve_l

    @property
    def full_mark_sd_l(self) -> float:
        """[l] Standard deviation of the fuel aboard after a fill to the full mark."""
        return self.instruments.full_mark_sd_share * self.tank.capacity_l

    @property
    def offered_speeds_kn(self) -> tuple[float, ...]:
        """[kn] The burn table's speeds that she holds: both ends of `unsteady_kn` are held, what lies between isn't."""
        return tuple(speed for speed in self.burn.speed_kn if not _is_unsteady(speed, self.burn))

    @property
    def fastest_kn(self) -> float:
        """[kn] The fastest speed of the burn table: nothing is known, so nothing is planned, above it."""
        return self.burn.speed_kn[-1]

    @property
    def digest(self) -> str:
        """SHA-256 of everything that describes her, for a cache's key: equal boats have equal digests."""
        document = json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
        return hashlib.sha256(document.encode("ascii")).hexdigest()

    def usable_l(self, aboard_l: float) -> float:
        """Return the fuel that may be burnt.

        Parameters
        ----------
        aboard_l
            [l] Fuel aboard.

        Returns
        -------
        [l] What is above the unusable fuel and the reserve; nothing where that is touched already.
        """
        return max(0.0, aboard_l - self.floor_l)

    def burn_lph(self, speed_kn: float, where: str = "speed") -> float:
        """Return the burn at a speed.

        Parameters
        ----------
        speed_kn
            [kn] Speed through the water.
        where
            The option or key that the speed came from, for the error.

        Returns
        -------
        [l/h] The burn of all engines.

        Raises
        ------
        InputError
            The speed is not above 0, or is above the fastest of the burn table.

        Notes
        -----
        Linear between the rows. Below the slowest row its burn per hour is charged in full, which errs on the safe
        side. Never extrapolated upwards. Speeds inside `unsteady_kn` have a figure
        too, though nothing is planned at them.
        """
        speeds, burns = self.burn.speed_kn, self.burn.burn_lph
        if not 0 < speed_kn <= speeds[-1]:
            problem = f"must be above 0 and at most {speeds[-1]:g} kn, the fastest speed of {self.name}'s burn table"
            raise InputError(where, problem, value=speed_kn, remedy="choose a slower speed, or measure the burn there")
        upper = bisect_left(speeds, speed_kn)
        if upper == 0 or speeds[upper] == speed_kn:
            return burns[upper]
        share = (speed_kn - speeds[upper - 1]) / (speeds[upper] - speeds[upper - 1])
        return burns[upper - 1] + share * (burns[upper] - burns[upper - 1])

    def economy_nmi_per_l(self, speed_kn: float, where: str = "speed") -> float:
        """Return the economy at a speed.

        Parameters
        ----------
        speed_kn
            [kn] Speed through the water.
        where
            The option or key that the speed came from, for the error.

        Returns
        -------
        [nmi/l] Distance through the water per litre.

        Raises
        ------
        InputError
            As `burn_lph`.
        """
        return speed_kn / self.burn_lph(speed_kn, where)

    def range_nmi(self, aboard_l: float, speed_kn: float) -> float:
        """Return the range by the plain rule of thumb: usable fuel times economy.

        Parameters
        ----------
        aboard_l
            [l] Fuel aboard, taken as certain.
        speed_kn
            [kn] Speed through the water.

        Returns
        -------
        [nmi] The distance at which the reserve is touched; `fuel.promised_range_nmi` is what to promise.

        Raises
        ------
        InputError
            As `burn_lph`.
        """
        return self.usable_l(aboard_l) * self.economy_nmi_per_l(speed_kn)

    def steady_kn(self, limit_kn: float, where: str = "speed limit") -> float:
        """Return the speed that she really makes under a limit.

        Parameters
        ----------
        limit_kn
            [kn] The fastest that is allowed, or wished for.
        where
            The option, zone or key that the limit came from, for the error.

        Returns
        -------
        [kn] The limit, or her fastest speed where that is less; the lower end of `unsteady_kn` where that lies
        strictly inside it.

        Raises
        ------
        InputError
            The limit is not a finite number above 0.
        """
        if not (math.isfinite(limit_kn) and limit_kn > 0):
            raise InputError(where, "must be a finite speed above 0 kn", value=limit_kn)
        speed_kn = min(limit_kn, self.fastest_kn)
        if self.burn.unsteady_kn is not None and _is_unsteady(speed_kn, self.burn):
            return self.burn.unsteady_kn[0]
        return speed_kn


def read_boat(path: str | os.PathLike[str]) -> Boat:
    """Read a boat from her TOML file.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    The boat, checked.

    Raises
    ------
    BoatFileError
        Every fault of the file, one line each: file, key, value, limit and remedy.
    InputError
        The file itself can't be read as TOML.
    """
    return build_boat(read_toml(path, "boat file"), str(path))


def build_boat(document: dict[str, Any], where: str) -> Boat:
    """Build a boat from what her TOML file says.

    Parameters
    ----------
    document
        Keys and values, as a TOML reader gives them; a quantity is a number in the key's unit or a text with its unit.
    where
        The file, as the errors name it.

    Returns
    -------
    The boat, checked.

    Raises
    ------
    BoatFileError
        Every fault, one line each: file, key, value, limit and remedy.
    """
    return build_from_document(Boat, document, where, _together_faults)


def _checked(value: _AnyValue, faults: Iterable[BoatFault]) -> _AnyValue:
    found = tuple(faults)
    if found:
        raise BrokenRuleError(found)
    return value


def _name_faults(name: str) -> Iterator[BoatFault]:
    if not name.strip() or not name.isprintable():
        yield BoatFault("name", "must be one line of printable text")


def _tank_faults(tank: Tank) -> Iterator[BoatFault]:
    if tank.unusable_l >= tank.capacity_l:
        remedy = "what can't be drawn is a small part of the tank"
        yield BoatFault("unusable_l", "must be below capacity_l", remedy, tank.capacity_l)
    elif tank.full_mark_l <= tank.unusable_l:
        yield BoatFault("full_mark_l", "must be above unusable_l", limit_l=tank.unusable_l)
    if tank.full_mark_l > tank.capacity_l:
        remedy = "leave it out for 0.95 of the capacity"
        yield BoatFault("full_mark_l", "must not be above capacity_l", remedy, tank.capacity_l)


def _reserve_faults(reserve: Reserve) -> Iterator[BoatFault]:
    if reserve.rule == "thirds":
        if reserve.value is not None:
            yield BoatFault("value", "rule 'thirds' takes no value", "leave value out, or choose fraction or volume")
    elif reserve.value is None:
        remedy = "write value = 0.10 for a tenth" if reserve.rule == "fraction" else 'write for example value = "40 l"'
        yield BoatFault("value", f"is required under rule '{reserve.rule}'", remedy)
    elif reserve.rule == "fraction" and not 0 <= reserve.value < 1:
        problem = f"a reserve of {reserve.value:.0%} of the capacity: must be at least 0 and below 1 (100%)"
        yield BoatFault("value", problem, 'a tenth is 0.10; a volume goes with rule = "volume"')
    elif reserve.value < 0:
        yield BoatFault("value", "must not be negative")


def _burn_faults(burn: BurnTable) -> Iterator[BoatFault]:
    speeds = burn.speed_kn
    if len(speeds) != len(burn.burn_lph):
        problem = f"has {len(burn.burn_lph)} entries for the {len(speeds)} of speed_kn"
        yield BoatFault("burn_lph", problem, "give one burn for each speed")
    for row, (slower, faster) in enumerate(pairwise(speeds), start=2):
        if faster <= slower:
            problem = f"must increase from entry to entry, and entry {row}, {faster:g} kn, is not above {slower:g} kn"
            yield BoatFault("speed_kn", problem, "order the table by speed, each speed once")
            return
    if burn.unsteady_kn is None:
        return
    low, high = burn.unsteady_kn
    if low >= high:
        yield BoatFault("unsteady_kn", "the lower end comes first and is below the upper", "write [10, 17]")
    elif low < speeds[0] or high > speeds[-1]:
        problem = f"must lie inside the table's speeds, {speeds[0]:g} to {speeds[-1]:g} kn"
        yield BoatFault("unsteady_kn", problem, "add the burn at a speed below and a speed above the hump")


def _together_faults(parts: dict[str, Any]) -> Iterator[BoatFault]:
    """Check what lies between sections, as far as the sections are there and sound in themselves."""
    units = DisplayUnits(parts.get("display_units") or "metric")
    tank, reserve, burn = parts.get("tank"), parts.get("reserve"), parts.get("burn")
    cruising_kn, no_wake_kn = parts.get("cruising_speed_kn"), parts.get("no_wake_kn")
    if tank is not None and reserve is not None:
        floor_l = tank.unusable_l + _reserve_l(tank, reserve)
        if floor_l >= tank.full_mark_l:
            problem = f"unusable fuel and reserve, {units.volume(floor_l)}, leave nothing to burn below the full mark"
            yield BoatFault(
                "reserve.value" if reserve.value is not None else "reserve.rule", problem, "lower the reserve"
            )
    if burn is not None and cruising_kn is not None:
        yield from _cruising_faults(cruising_kn, burn)
    if no_wake_kn is None:
        return
    if burn is not None and burn.unsteady_kn is not None and no_wake_kn > burn.unsteady_kn[0]:
        problem = f"must not be above {burn.unsteady_kn[0]:g} kn, the lower end of burn.unsteady_kn"
        yield BoatFault("no_wake_kn", problem, "no wake is made off the plane only")
    elif cruising_kn is not None and no_wake_kn > cruising_kn:
        yield BoatFault("no_wake_kn", f"must not be above cruising_speed_kn, {cruising_kn:g} kn")


def _cruising_faults(cruising_kn: float, burn: BurnTable) -> Iterator[BoatFault]:
    slowest, fastest = burn.speed_kn[0], burn.speed_kn[-1]
    if not slowest <= cruising_kn <= fastest:
        problem = f"must lie inside the burn table, {slowest:g} to {fastest:g} kn"
        yield BoatFault("cruising_speed_kn", problem, "choose another speed, or add its burn to the table")
    elif burn.unsteady_kn is not None and _is_unsteady(cruising_kn, burn):
        low, high = burn.unsteady_kn
        problem = f"lies between {low:g} and {high:g} kn, which burn.unsteady_kn says she can't hold"
        yield BoatFault("cruising_speed_kn", problem, f"choose {low:g} kn or less, or {high:g} kn or more")


def _reserve_l(tank: Tank, reserve: Reserve) -> float:
    if reserve.rule == "thirds":
        return (tank.capacity_l - tank.unusable_l) / 3
    value = reserve.value or 0.0  # a rule that needs a value has one: checked when the reserve was built
    return value * tank.capacity_l if reserve.rule == "fraction" else value


def _is_unsteady(speed_kn: float, burn: BurnTable) -> bool:
    return burn.unsteady_kn is not None and burn.unsteady_kn[0] < speed_kn < burn.unsteady_kn[1]
