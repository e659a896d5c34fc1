"""Whether the three numbers of a fill-up can be, and whether they went to the right places in the right unit.

What can't be is a fault. What can be but looks like a slip is a question, and stands when its writer says so: a figure
in another unit, a decimal point that was missed, two numbers exchanged. What an instrument may well do (a gauge that
reads high, a meter that was not reset) is neither; `hints` puts it into words while the skipper still remembers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Literal, TypeAlias

from layers.errors import InputError
from routeplan.moments import AHEAD, shown_gap, write_moment
from routeplan.quantities import LITRES_PER_IMPGAL, LITRES_PER_USGAL, VolumeUnit

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from pydantic import ValidationError

    from routeplan.boats import Boat
    from routeplan.fillups import Fillup

__all__ = ["Fault", "check_fillup", "explain", "find_faults", "hints", "metered_l", "ratio_means_something"]

Kind: TypeAlias = Literal["wrong", "question", "earlier"]

_HALF_A_TENTH = 0.05  # display unit: screens round to a tenth, and what a screen said must be taken
# Practice, ours: a meter is off by up to 5 %, a full mark by a few per cent of the tank, a gauge by a fifth of it. What
# is asked about lies far outside that as typed, and inside it as meant, so that a question is seldom idle.
_FAR_RATIO = math.log(1.5)  # pumped against metered, as typed
_NEAR_RATIO = math.log(1.15)  # the same, as meant
_FAR_GAUGE = 0.25  # of the capacity: gauge and pumped together against the full mark, as typed
_NEAR_GAUGE = 0.08  # the same, as meant
_LEAST_L = 5.0  # l: a ratio of smaller volumes says nothing
_HINT_RATIO = 1.3  # pumped against metered, either way: beyond it the meter counted something else than this tank
_LITRES: dict[VolumeUnit, float] = {"l": 1.0, "usgal": LITRES_PER_USGAL, "impgal": LITRES_PER_IMPGAL}
_FIELDS = ("meter_used_l", "gauge_before_l", "pumped_l")
_WAS_RESET = "if it was reset since the last fill-up without a fill, add --since reset-in-mid-tank"
_WORDS = {"meter_used_l": "the meter", "gauge_before_l": "the gauge", "pumped_l": "the pump"}


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, or looks wrong, with a fill-up.

    Parameters
    ----------
    field
        The field of `Fillup` that it is about.
    problem
        What is wrong.
    remedy
        What to do.
    kind
        ``wrong`` can't be; ``question`` stands where its writer is sure; ``earlier`` lies before the last fill-up.
    """

    field: str
    problem: str
    remedy: str = ""
    kind: Kind = "wrong"


def find_faults(
    fillup: Fillup,
    boat: Boat | None,
    before: Fillup | None,
    now: datetime,
    *,
    written: Mapping[str, VolumeUnit] | None = None,
) -> tuple[Fault, ...]:
    """Find what is wrong, or looks wrong, with a fill-up.

    Parameters
    ----------
    fillup
        The fill-up.
    boat
        Whose it is; None where nothing is known of her tank.
    before
        Her fill-up before this one; None where there is none.
    now
        The moment by the clock.
    written
        The unit that each field's figure was written in, as far as it isn't the boat's own.

    Returns
    -------
    What is wrong first, then questions; questions are asked only where nothing is wrong.
    """
    wrong = [*_times(fillup, before, now), *(_beyond_tank(fillup, boat, written or {}) if boat is not None else ())]
    if wrong or boat is None:
        return tuple(wrong)
    for questions in (_one_meter_of_two(fillup, before), _slips(fillup, boat, before, written or {})):
        if found := tuple(questions):
            return found
    return ()


def check_fillup(
    fillup: Fillup,
    boat: Boat | None,
    before: Fillup | None,
    now: datetime,
    *,
    sure: bool = False,
    written: Mapping[str, VolumeUnit] | None = None,
    names: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> None:
    """Refuse a fill-up that can't be, or that looks like a slip.

    Parameters
    ----------
    fillup, boat, before, now
        As for `find_faults`.
    sure
        Whether the writer has said that the figures are right as they stand.
    written
        As for `find_faults`.
    names
        What the errors call a field; its own name where it isn't listed.
    typed
        What was typed for a field, for the errors to quote.

    Raises
    ------
    InputError
        The first fault.
    """
    for fault in find_faults(fillup, boat, before, now, written=written):
        if fault.kind == "question" and sure:
            continue
        remedy = fault.remedy
        if fault.kind == "question":
            remedy = f"{remedy}; add --sure to keep it as typed"
        where, value = (names or {}).get(fault.field, fault.field), (typed or {}).get(fault.field)
        raise InputError(where, fault.problem, value=value, remedy=remedy)


def hints(fillup: Fillup, boat: Boat, before: Fillup | None) -> tuple[str, ...]:
    """Say what is odd about figures that are kept as they are, while the skipper still remembers why.

    Parameters
    ----------
    fillup
        The fill-up.
    boat
        Whose it is.
    before
        Her fill-up before this one; None where there is none.

    Returns
    -------
    Sentences; empty where nothing is odd.
    """
    found = []
    metered = metered_l(fillup)
    if metered is not None and ratio_means_something(fillup, before) and min(metered, fillup.pumped_l) > _LEAST_L:
        times = metered / fillup.pumped_l
        if times > _HINT_RATIO:
            found.append(
                f"the meter counted {times:.1f} times what the pump gave: if it was not reset at the last fill-up, say "
                "so with --since reset-forgotten; if a fill-up is not written down, with --since unwritten-fillup"
            )
        elif times < 1 / _HINT_RATIO:
            found.append(
                f"the pump gave {1 / times:.1f} times what the meter counted: if the meter was reset on the way, say "
                "so with --since reset-in-mid-tank"
            )
    if fillup.gauge_before_l is not None:
        together_l = fillup.gauge_before_l + fillup.pumped_l
        if together_l > boat.tank.capacity_l * 1.05:
            over = boat.units.volume(together_l - boat.tank.capacity_l)
            found.append(
                f"gauge and pump together are {over} more than the tank holds: the gauge showed more than there was"
            )
    return tuple(found)


def metered_l(fillup: Fillup) -> float | None:
    """[l] Return what the meters counted together.

    Parameters
    ----------
    fillup
        The fill-up.

    Returns
    -------
    Their sum; None where one of them was not read.
    """
    read = [figure for figure in fillup.meters_used_l if figure is not None]
    return math.fsum(read) if len(read) == len(fillup.meters_used_l) else None


def ratio_means_something(fillup: Fillup, before: Fillup | None) -> bool:
    """Tell whether meter and pump should have counted the same fuel: from one full mark, and reset, to the next.

    Parameters
    ----------
    fillup
        The fill-up.
    before
        The one before it; None where there is none, and a full one is taken for granted.

    Returns
    -------
    Whether the two can be held against each other.
    """
    return (
        fillup.filled_to_full
        and not fillup.since
        and (before is None or (before.filled_to_full and before.meter_reset))
    )


def explain(error: ValidationError) -> tuple[Fault, ...]:
    """Put into words what the limits of a fill-up's fields say.

    Parameters
    ----------
    error
        What building a `Fillup` or `SpeedRun` raised.

    Returns
    -------
    One fault for each, in the order of fields.
    """
    return tuple(
        Fault(
            str(each["loc"][0]) if each["loc"] else "fillup",
            *_rule(each["type"], each.get("ctx") or {}, str(each["msg"])),
        )
        for each in error.errors(include_url=False)
    )


def _rule(kind: str, limits: Mapping[str, object], said: str) -> tuple[str, str]:
    unknown = "leave it out where it is not known"
    rules = {
        "greater_than_equal": ("must not be negative", unknown),
        "greater_than": ("must be more than nothing", "a fill-up takes some fuel"),
        "less_than_equal": (f"is more than {limits.get('le')}, which no day boat reaches", "check it and its unit"),
        "finite_number": ("is not a finite number", unknown),
        "string_too_long": (f"is longer than {limits.get('max_length')} characters", "shorten it"),
        "string_too_short": ("is empty", "it is required"),
        # our own validator says what must be
        "value_error": (said.removeprefix("Value error, "), "take line breaks and control signs out"),
    }
    return rules.get(kind, (said[:1].lower() + said[1:], ""))


def _times(fillup: Fillup, before: Fillup | None, now: datetime) -> Iterator[Fault]:
    if fillup.when > now + AHEAD:
        ahead = shown_gap(fillup.when - now)
        yield Fault("when", f"lies in the future, {ahead} from now", "check the date and the time zone")
    elif before is not None and fillup.when < before.when:
        yield Fault(
            "when",
            f"is earlier than the last fill-up, {write_moment(before.when)}",
            "check the date; add --earlier to enter an older fill-up",
            "earlier",
        )


def _beyond_tank(fillup: Fillup, boat: Boat, written: Mapping[str, VolumeUnit]) -> Iterator[Fault]:
    units, capacity_l = boat.units, boat.tank.capacity_l
    most_l = capacity_l + _HALF_A_TENTH * units.litres_per_unit
    for field in ("gauge_before_l", "pumped_l"):
        volume_l = getattr(fillup, field)
        if volume_l is None or volume_l <= most_l:
            continue
        meant = [text for meant_l, text in _other_readings(field, volume_l, boat, written) if meant_l <= capacity_l]
        otherwise = "if it is right, the boat file's tank.capacity_l is not"
        remedy = f"did you mean {meant[0]}? {otherwise}" if meant else f"check the figure and its unit; {otherwise}"
        what = "pumped" if field == "pumped_l" else "on the gauge"
        problem = f"{units.volume(volume_l)} {what} is more than {boat.name}'s tank holds, {units.volume(capacity_l)}"
        yield Fault(field, problem, remedy)


def _other_readings(
    field: str, volume_l: float, boat: Boat, written: Mapping[str, VolumeUnit]
) -> Iterator[tuple[float, str]]:
    """Give what may have been meant where a figure is wrong: in [l], and as it would have to be written.

    First the same figure in another unit: a pump abroad and its receipt count in litres, a meter at home in gallons.
    Then a decimal point that was missed or misplaced.
    """
    own = written.get(field, boat.units.volume_unit)
    figure = volume_l / _LITRES[own]
    for unit, litres in _LITRES.items():
        if unit != own:
            yield figure * litres, f"{_plain(figure)}{_label(unit, boat)}"
    for shifted in (figure / 10, figure * 10):
        yield shifted * _LITRES[own], f"{_plain(shifted)}{_label(own, boat)}"


def _label(unit: VolumeUnit, boat: Boat) -> str:
    return boat.units.volume_label if unit == boat.units.volume_unit else unit


def _one_meter_of_two(fillup: Fillup, before: Fillup | None) -> Iterator[Fault]:
    if before is None or before.meter2_used_l is None or fillup.meter2_used_l is not None:
        return
    if fillup.meter_used_l is not None:
        yield Fault(
            "meter_used_l",
            "is one figure, and two meters were read at the last fill-up",
            "write both as 22.7+24.1, or 22.7+- where the second was not read",
            "question",
        )


def _slips(fillup: Fillup, boat: Boat, before: Fillup | None, written: Mapping[str, VolumeUnit]) -> Iterator[Fault]:
    """Ask about figures that don't go together as typed, and would if one slip were put right."""
    if not ratio_means_something(fillup, before):
        return
    metered, gauge_l = metered_l(fillup), fillup.gauge_before_l
    typed = (metered, gauge_l, fillup.pumped_l)
    far_ratio = (
        metered is not None
        and min(metered, fillup.pumped_l) > 0
        and max(metered, fillup.pumped_l) > _LEAST_L
        and abs(math.log(fillup.pumped_l / metered)) > _FAR_RATIO
    )
    far_gauge = gauge_l is not None and abs(gauge_l + fillup.pumped_l - boat.tank.full_mark_l) > (
        _FAR_GAUGE * boat.tank.capacity_l
    )
    if not far_ratio and not far_gauge:
        return
    if fault := _other_unit(typed, boat, written, far_ratio=far_ratio) or _exchanged(typed, boat):
        yield fault


def _misfit(metered: float | None, gauge_l: float | None, pumped_l: float, boat: Boat) -> float:
    """Say how badly figures go together: up to 1 they do, as far as they were read; infinity where they can't be."""
    capacity_l = boat.tank.capacity_l
    if not (0 < pumped_l <= capacity_l) or (gauge_l is not None and gauge_l > capacity_l):
        return math.inf
    parts = [0.0]
    if metered is not None:
        parts.append(abs(math.log(pumped_l / metered)) / _NEAR_RATIO if metered > 0 else math.inf)
    if gauge_l is not None:
        parts.append(abs(gauge_l + pumped_l - boat.tank.full_mark_l) / (_NEAR_GAUGE * capacity_l))
    return max(parts)


def _may_be_reset(typed: tuple[float | None, float | None, float], boat: Boat) -> bool:
    """Tell whether a reset since the last fill-up, without a fill, explains why the meter counted less."""
    metered, gauge_l, pumped_l = typed
    has_gauge = metered is not None and gauge_l is not None
    return has_gauge and (metered or 0.0) < pumped_l and _misfit(None, gauge_l, pumped_l, boat) <= 1


def _other_unit(
    typed: tuple[float | None, float | None, float],
    boat: Boat,
    written: Mapping[str, VolumeUnit],
    *,
    far_ratio: bool,
) -> Fault | None:
    """Look for the one figure that, in another unit or with its point moved, goes with the others."""
    read = [place for place in range(3) if typed[place] is not None]
    found: list[tuple[int, float, tuple[int, ...], list[str]]] = []
    # Both of a boat's own instruments may count in another unit than the pump: they are looked at together too.
    sets: tuple[tuple[int, ...], ...] = ((0,), (1,), (2,), (0, 1))
    for places in sets:
        if not set(places) <= set(read) or (places != (1,) and not far_ratio):
            continue
        others = [list(_other_readings(_FIELDS[place], typed[place] or 0.0, boat, written)) for place in places]
        for rank, readings in enumerate(zip(*others, strict=True)):
            meant = list(typed)
            for place, (meant_l, _) in zip(places, readings, strict=True):
                meant[place] = meant_l
            misfit = _misfit(meant[0], meant[1], meant[2] or 0.0, boat)
            if misfit <= 1:
                # Where the gauge was not read, nothing tells which figure it is: the likeliest unit decides.
                texts = [text for _, text in readings]
                found.append((rank if typed[1] is None else 0, misfit, places, texts))
    if not found:
        return None
    _, _, slip, texts = min(found)
    rest = [place for place in read if place not in slip]

    def say(these: Sequence[int]) -> str:
        return " and ".join(f"{boat.units.volume(typed[i] or 0.0)} on {_WORDS[_FIELDS[i]]}" for i in these)

    meant_texts = " and ".join(texts)
    remedy = f"did you mean {meant_texts}?"
    return Fault(
        _FIELDS[slip[0]],
        f"{say(slip)} {'do' if len(slip) > 1 else 'does'}n't go with {say(rest)}",
        f"{remedy}; {_WAS_RESET}" if slip == (0,) and _may_be_reset(typed, boat) else remedy,
        "question",
    )


def _exchanged(typed: tuple[float | None, float | None, float], boat: Boat) -> Fault | None:
    """Look for the order of the three figures in which they go together."""
    metered, gauge_l, pumped_l = typed
    if metered is None or gauge_l is None or abs(math.log(pumped_l / metered) if metered else math.inf) < _FAR_RATIO:
        return None
    if metered > pumped_l and _misfit(None, gauge_l, pumped_l, boat) <= 1:
        return None  # a forgotten reset explains it as well, and is no slip
    # The exchange of meter and pump alone can't be told: they are nearly equal.
    orders = [(m, g, p) for m, g, p in permutations((metered, gauge_l, pumped_l)) if g != gauge_l]
    best = min(orders, key=lambda order: _misfit(order[0], order[1], order[2], boat), default=None)
    if best is None or _misfit(best[0], best[1], best[2], boat) > 1:
        return None
    say = boat.units.volume
    if _may_be_reset(typed, boat):
        return Fault(
            "meter_used_l",
            f"{say(metered)} on the meter is far less than the {say(pumped_l)} that the pump gave",
            f"{_WAS_RESET}; or did you mean {say(best[0])}, {say(best[1])}, {say(best[2])}? The order is METER GAUGE "
            "PUMPED",
            "question",
        )
    return Fault(
        "meter_used_l" if best[0] != metered else "gauge_before_l",
        f"meter {say(metered)}, gauge {say(gauge_l)} and pump {say(pumped_l)} don't go together",
        f"the order is METER GAUGE PUMPED; did you mean {say(best[0])}, {say(best[1])}, {say(best[2])}?",
        "question",
    )


def _plain(number: float) -> str:
    return f"{number:.6g}"
