"""From a boat's TOML to the boat, or to every fault in it: file, key, what was found, the limit, what to do."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from layers.errors import InputError
from routeplan import quantities
from routeplan.units_shown import DisplayUnits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from pydantic_core import ErrorDetails

__all__ = ["BoatFault", "BoatFileError", "BrokenRuleError", "build_from_document"]

_Model = TypeVar("_Model", bound=BaseModel)

_FORMAT = 1
_SECTIONS = ("tank", "reserve", "burn", "instruments")

# Why a key is asked for, and what to write: said where it is missing.
_WHY_REQUIRED = {
    "name": ("a plan has to say whose it is", 'write name = "..."'),
    "fuel": ("a dock suits only if it sells it", 'write fuel = "gasoline" or fuel = "diesel"'),
    "length_overall_m": ("berths at fuel docks have a greatest length", 'write for example "31 ft 6 in"'),
    "draught_m": ("it decides which water is deep enough", "write it with the engines down"),
    "air_draught_m": ("it decides which bridges can be passed", "write the height of the highest fixed point"),
    "cruising_speed_kn": ("a plan needs a speed", "write a speed of the burn table"),
    "no_wake_kn": ("no-wake zones are charged at it", "write the speed at which she makes no wake"),
    "tank": ("without the tank there is no range", "write a [tank] with capacity_l and unusable_l"),
    "tank.capacity_l": ("without it there is no range", 'write for example "96 usgal"; it is on the tank\'s label'),
    "tank.unusable_l": (
        "what can't be drawn at running trim in a sea is not range, and no one can guess it",
        'write for example "3 usgal" from the builder, or measured alongside; 0 only if it is known to be 0',
    ),
    "reserve": ("no plan is made without one", 'write a [reserve] with rule = "fraction" and value = 0.10'),
    "reserve.rule": ("no plan is made without one", "write fraction, volume or thirds"),
    "burn": ("without a burn table there is no range", "write a [burn] with speed_kn, burn_lph, idle_lph and sd_share"),
    "burn.speed_kn": ("the burn table starts with it", "write two or more speeds, slowest first"),
    "burn.burn_lph": ("the burn table needs it", "write one burn for each speed"),
    "burn.idle_lph": ("waiting and manoeuvring are charged at it", "write the burn of all engines idling"),
    "burn.sd_share": ("a promise needs to know how sure the burn is", "write 0.10 until your log knows better"),
    "instruments": (
        "a promise needs to know how sure the fuel aboard is",
        "write an [instruments] with its two shares",
    ),
    "instruments.aboard_sd_share": (
        "it says how far a stated fuel aboard is believed",
        "write 0.05 until your log knows better",
    ),
    "instruments.full_mark_sd_share": (
        "it says how alike two full tanks are",
        "write 0.02 until your log knows better",
    ),
}
_UNIT_OF = {"l": "l", "m": "m", "kn": "kn", "lph": "l/h"}  # last word of a key -> its unit


@dataclass(frozen=True)
class BoatFault:
    """One broken rule.

    Parameters
    ----------
    key
        The key that breaks it, seen from the value that was checked: ``unusable_l`` of a tank.
    problem
        The rule, with its limit.
    remedy
        What to do about it; may be empty.
    limit_l
        [l] The limit, where it is a volume: told after the problem, in the boat's own units.
    """

    key: str
    problem: str
    remedy: str = ""
    limit_l: float | None = None

    def told(self, units: DisplayUnits) -> str:
        """Return the rule with its limit.

        Parameters
        ----------
        units
            The units to give a volume in.

        Returns
        -------
        The problem, with the limit after it where that is a volume.
        """
        return self.problem if self.limit_l is None else f"{self.problem}, {units.echo_volume(self.limit_l)}"


class BrokenRuleError(ValueError):
    """A boat, or a part of her, breaks rules; pydantic wraps it in its own error where she is built in code.

    Parameters
    ----------
    faults
        The broken rules; at least one.
    """

    def __init__(self, faults: Sequence[BoatFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{fault.key}: {fault.told(DisplayUnits('metric'))}" for fault in self.faults))


class BoatFileError(InputError):
    """Every fault of a boat file, one line each.

    Parameters
    ----------
    faults
        The faults in the order of the file's sections; at least one. The first gives where, problem, value and remedy.
    """

    def __init__(self, faults: Sequence[InputError]) -> None:
        self.faults = tuple(faults)
        first = self.faults[0]
        super().__init__(first.where, first.problem, value=first.value, remedy=first.remedy)

    def __str__(self) -> str:
        """Return one line for each fault."""
        return "\n".join(str(fault) for fault in self.faults)


def build_from_document(
    model: type[_Model],
    document: dict[str, Any],
    where: str,
    together: Callable[[dict[str, Any]], Iterable[BoatFault]],
) -> _Model:
    """Build a boat from what her file says.

    Parameters
    ----------
    model
        The boat's model; its sections are models too.
    document
        Keys and values as a TOML reader gives them.
    where
        The file, as the errors name it.
    together
        The rules between sections, given those values that are sound in themselves.

    Returns
    -------
    The boat.

    Raises
    ------
    BoatFileError
        Every fault found.
    """
    sheet = _Sheet(model, document, where)
    values = sheet.read_quantities()
    try:
        boat = model.model_validate(values)
    except ValidationError as error:
        details = error.errors()
        for detail in details:
            sheet.add_detail(detail)
        if any(detail["loc"] for detail in details):  # else the rules between sections have had their say
            sheet.add_broken_rules((), together(_sound_parts(model, values)))
    else:
        if not sheet.faults:
            return boat
    raise BoatFileError(sheet.faults)


class _Sheet:
    """A boat file under reading: what it says, and the faults found so far."""

    def __init__(self, model: type[BaseModel], document: dict[str, Any], where: str) -> None:
        self._model = model
        self._document = document
        self._where = where
        self._unread: set[str] = set()  # keys whose text can't be read as a quantity: told once, not again as missing
        self.faults: list[InputError] = []
        given = document.get("display_units")
        self._units = DisplayUnits(given if given in ("us", "imperial") else "metric")

    def read_quantities(self) -> dict[str, Any]:
        """Turn texts with units into numbers; numbers stay as they are, for the model to check."""
        values: dict[str, Any] = {}
        for key, given in self._document.items():
            if key == "format":
                self._check_format(given)
            elif key in _SECTIONS and isinstance(given, dict):
                section = {inner: self._read(f"{key}.{inner}", item) for inner, item in given.items()}
                values[key] = {inner: item for inner, item in section.items() if f"{key}.{inner}" not in self._unread}
            else:
                number = self._read(key, given)
                if key not in self._unread:
                    values[key] = number
        return values

    def add_detail(self, detail: ErrorDetails) -> None:
        """Add one of the model's errors in our words."""
        loc, kind = detail["loc"], detail["type"]
        key = ".".join(part for part in loc if isinstance(part, str))
        broken = detail.get("ctx", {}).get("error")
        if isinstance(broken, BrokenRuleError):
            self.add_broken_rules(loc, broken.faults)
        elif kind == "extra_forbidden":
            self._add(loc, "is not a key of a boat file", self._nearest(loc))
        elif kind == "missing" and isinstance(loc[-1], str):
            if key not in self._unread:
                why, remedy = _WHY_REQUIRED[key]
                self._add(loc, f"is missing, and is required: {why}", remedy)
        elif kind != "default_factory_not_called":  # that one follows from another fault in the same section
            self._add(loc, _problem(detail, key))

    def add_broken_rules(self, loc: tuple[str | int, ...], faults: Iterable[BoatFault]) -> None:
        """Add broken rules, found in the section at `loc`; those about a key that was never read are dropped."""
        for fault in faults:
            at = (*loc, *fault.key.split("."))
            if ".".join(str(part) for part in at) not in self._unread:
                self._add(at, fault.told(self._units), fault.remedy)

    def _check_format(self, given: object) -> None:
        if isinstance(given, bool) or given != _FORMAT:
            newer = isinstance(given, int) and given > _FORMAT
            remedy = "a newer routeplan reads it" if newer else "write format = 1, or leave it out"
            self._add(("format",), "must be 1, the only format there is so far", remedy)

    def _read(self, key: str, given: object) -> object:
        if isinstance(given, list):
            return tuple(self._read_one(key, item, f", entry {row}") for row, item in enumerate(given, start=1))
        return self._read_one(key, given, "")

    def _read_one(self, key: str, given: object, entry: str) -> object:
        if not isinstance(given, str):
            return given
        where = f"{self._where}, {key}{entry}"
        try:
            return self._number(key, given, where)
        except InputError as error:
            self._unread.add(key)
            self.faults.append(error)
            return given

    def _number(self, key: str, given: str, where: str) -> object:
        kind = key.rpartition("_")[2]
        if key == "reserve.value":
            rule = self._at(("reserve", "rule"))
            if rule == "thirds":  # takes no value: any number lets that rule speak
                return 0.0
            kind = {"volume": "l", "fraction": "share"}.get(str(rule), "")
        if kind == "l":
            return quantities.read_volume_l(given, where, gal=self._units.gallon)
        if kind == "lph":
            return quantities.read_burn_lph(given, where, gal=self._units.gallon)
        if kind == "kn":
            return quantities.read_speed_kn(given, where, bare=None)
        if kind == "m":
            return quantities.read_length_m(given, where, bare=None)
        return quantities.read_share(given, where) if kind == "share" else given

    def _add(self, loc: tuple[str | int, ...], problem: str, remedy: str = "") -> None:
        names = ".".join(part for part in loc if isinstance(part, str))
        entry = "".join(f", entry {part + 1}" for part in loc if isinstance(part, int))
        where = f"{self._where}, {names}{entry}"
        self.faults.append(InputError(where, problem, value=self._at(loc), remedy=remedy))

    def _at(self, loc: tuple[str | int, ...]) -> object:
        """Return what the file says there, as its author would recognise it; None where it says nothing."""
        found: Any = self._document
        for part in loc:
            try:
                found = found[part]
            except (KeyError, IndexError, TypeError):
                return None
        return None if isinstance(found, dict) else found

    def _nearest(self, loc: tuple[str | int, ...]) -> str:
        """Offer the known key that was probably meant: of this section first, else of another."""
        known = {"": [*self._model.model_fields, "format"], **{name: _keys(self._model, name) for name in _SECTIONS}}
        section, wanted = ("", str(loc[0])) if len(loc) == 1 else (str(loc[0]), str(loc[1]))
        near = difflib.get_close_matches(wanted, known[section], n=1)
        if near:
            return f"did you mean {near[0]}?"
        for other, keys in known.items():
            if wanted in keys:
                return f"it belongs {f'in [{other}]' if other else 'before the first section'}"
        return f"known here are {', '.join(known[section])}"


def _sound_parts(model: type[BaseModel], values: dict[str, Any]) -> dict[str, Any]:
    """Return the values that are sound in themselves, sections built, so that the rules between them can be checked."""
    sound: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        if name in values:
            try:
                annotation: Any = field.rebuild_annotation()
                sound[name] = TypeAdapter(annotation).validate_python(values[name])
            except ValidationError:
                continue
    return sound


def _keys(model: type[BaseModel], section: str) -> list[str]:
    inner = model.model_fields[section].annotation
    return list(inner.model_fields) if isinstance(inner, type) and issubclass(inner, BaseModel) else []


def _problem(detail: ErrorDetails, key: str) -> str:
    """Say a limit of one value in plain words, with its unit."""
    ctx = detail.get("ctx", {})
    unit = _UNIT_OF.get(key.rpartition("_")[2], "")
    said = {
        "greater_than": "must be above {gt:g} {unit}",
        "greater_than_equal": "must be at least {ge:g} {unit}",
        "less_than": "must be below {lt:g} {unit}",
        "less_than_equal": "must be at most {le:g} {unit}",
        "finite_number": "must be a finite number",
        "float_type": "must be a number, or a text with its unit in quotes" if unit else "must be a number",
        "string_type": "must be text in quotes",
        "string_too_short": "must not be empty",
        "string_too_long": "must be at most {max_length} characters",
        "literal_error": "must be {expected}",
        "too_short": "must have at least {min_length} entries: a burn table needs two speeds",
        "too_long": "must have at most {max_length} entries",
        "missing": "must have two entries, the lower and the upper end",
        "tuple_type": "must be a list of numbers, in square brackets",
        "model_type": "must be a section, [{key}]",
    }
    return said.get(detail["type"], detail["msg"]).format(**ctx, unit=unit, key=key).strip()
