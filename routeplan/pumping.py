"""At the pump: how much to ask for, from which total to slow down and listen, and what to heed.

The tank reaches the full mark at a total on the pump that isn't known exactly: neither the fuel aboard is, nor where
the mark is hit. With A the fuel aboard, M the full mark and s its standard deviation, the total is

    M - A,  in nine fills of ten between  M - A -/+ sqrt(d^2 + (1.645 s)^2)

where d is how far the end of A's own 90 % interval lies from A. The lower end is reached too early once in twenty
fills. The total to slow down at lies below it by what the pump delivers in the three seconds that it takes to hear the
vent, and to close the nozzle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict

from layers.errors import InputError
from routeplan.docks import DEFAULT_PUMP_LPM
from routeplan.units_shown import DisplayUnits, shown_duration, shown_money

if TYPE_CHECKING:
    from collections.abc import Iterable

    from routeplan.boats import Boat

__all__ = ["Advice", "advice_document", "advise", "tell_advice"]

_CLOSING_S = 3.0  # s from the first sign at the vent to a closed nozzle: our own judgement, on the slow side
_Z_ONE_IN_TWENTY = NormalDist().inv_cdf(0.95)
_FASTEST_LPM = 2000.0  # l/min; no dock that serves day boats has such a pump, so it is a slip
_HALF_A_TENTH = 0.05  # display unit: screens round to a tenth, and what a screen said must be taken back
_WHOLE_FROM = 20.0  # display units: from here on a whole unit is fine enough to watch for on a turning counter


class Advice(BaseModel):
    """What to do at the pump.

    Parameters
    ----------
    boat
        Her name.
    aboard_l, aboard_low_l, aboard_high_l
        [l] Fuel aboard before the fill, and the ends of its 90 % interval.
    full_mark_l
        [l] Where a fill stops.
    ask_l
        [l] How much to ask for. Never so much that the tank could be full to the brim before it: at most one chance in
        twenty.
    ask_low_l, ask_high_l
        [l] The totals between which the tank reaches the full mark, in nine fills of ten.
    slow_at_l
        [l] The total on the pump from which to slow down and listen; 0 where that holds from the first drop.
    closing_l
        [l] What the pump delivers while the nozzle is being closed; `slow_at_l` keeps clear of the mark by it.
    full
        Whether the fill is to the full mark.
    stop
        When to stop, in words, in the boat's display units.
    pump_lpm
        [l/min] The pump's rate.
    pump_rate_stated
        Whether that is the dock's own figure; else it is a usual nozzle's.
    time_min
        [min] How long the pump runs for `ask_l`.
    price_per_l, cost
        [currency/l, currency] Price, and what `ask_l` costs; None where no price is known.
    findings
        What must be said of this fill, the gravest first.
    cautions
        Fuelling cautions, in the order in which they are needed; each begins with its phase: Before, During, After,
        Spill.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    boat: str
    aboard_l: float
    aboard_low_l: float
    aboard_high_l: float
    full_mark_l: float
    ask_l: float
    ask_low_l: float
    ask_high_l: float
    slow_at_l: float
    closing_l: float
    full: bool
    stop: str
    pump_lpm: float
    pump_rate_stated: bool
    time_min: float
    price_per_l: float | None
    cost: float | None
    findings: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Rooms:
    """Totals on the pump [l]: the mark at best guess, early and late; the brim at worst; and the nozzle's closing."""

    mean_l: float
    early_l: float
    late_l: float
    brim_l: float
    closing_l: float


def advise(
    boat: Boat,
    aboard_mean_l: float,
    aboard_sd_l: float,
    *,
    aboard_low_l: float | None = None,
    aboard_high_l: float | None = None,
    full_mark_sd_l: float | None = None,
    pump_lpm: float | None = None,
    price_per_l: float | None = None,
    largest_sale_l: float | None = None,
    take_l: float | None = None,
) -> Advice:
    """Tell how to fill a tank.

    Parameters
    ----------
    boat
        The boat.
    aboard_mean_l, aboard_sd_l
        [l] Fuel aboard and its standard deviation.
    aboard_low_l, aboard_high_l
        [l] Ends of its 90 % interval; by the standard deviation where left out.
    full_mark_sd_l
        [l] How well a fill to the mark repeats; the boat file's own where left out.
    pump_lpm
        [l/min] The dock's rate; a usual nozzle's where left out.
    price_per_l
        [currency/l] The dock's price.
    largest_sale_l
        [l] The most that the dock sells at once.
    take_l
        [l] How much is wanted; None for a fill to the mark.

    Returns
    -------
    The advice.

    Raises
    ------
    InputError
        A figure is not finite, negative, or impossible: more aboard than the tank holds, a pump that doesn't run.

    Examples
    --------
    By hand: 300 l to the mark less 100 aboard is 200; aboard within 12 l either way and a mark within 1.645 * 5.471
    = 9 l make 15 together; the pump delivers 2 l in three seconds at 40 l/min.

    >>> from routeplan.boats import Boat, BurnTable, Instruments, Reserve, Tank
    >>> boat = Boat(
    ...     name="Example", fuel="gasoline", length_overall_m=8, draught_m=0.8, air_draught_m=2.5,
    ...     cruising_speed_kn=20, no_wake_kn=5, display_units="metric",
    ...     tank=Tank(capacity_l=320, unusable_l=20, full_mark_l=300), reserve=Reserve(rule="volume", value=40),
    ...     burn=BurnTable(speed_kn=(6, 20), burn_lph=(18, 60), idle_lph=3, sd_share=0.06),
    ...     instruments=Instruments(aboard_sd_share=0.03, full_mark_sd_share=0.01),
    ... )
    >>> advice = advise(boat, 100, 7, aboard_low_l=88, aboard_high_l=112, full_mark_sd_l=5.471, pump_lpm=40)
    >>> advice.ask_l, round(advice.ask_low_l, 2), round(advice.ask_high_l, 2), round(advice.slow_at_l, 2)
    (200.0, 185.0, 215.0, 183.0)
    """
    mark_sd_l = boat.full_mark_sd_l if full_mark_sd_l is None else full_mark_sd_l
    spread_l = _Z_ONE_IN_TWENTY * aboard_sd_l
    low_l = max(0.0, aboard_mean_l - spread_l) if aboard_low_l is None else aboard_low_l
    high_l = min(boat.tank.capacity_l, aboard_mean_l + spread_l) if aboard_high_l is None else aboard_high_l
    rate_lpm = DEFAULT_PUMP_LPM if pump_lpm is None else pump_lpm
    _check(boat, aboard_mean_l, (aboard_sd_l, low_l, high_l, mark_sd_l, price_per_l, largest_sale_l, take_l), rate_lpm)
    low_l, high_l = min(low_l, aboard_mean_l), max(high_l, aboard_mean_l)

    room_l = boat.tank.full_mark_l - aboard_mean_l
    mark_l = _Z_ONE_IN_TWENTY * mark_sd_l
    early_l = room_l - math.hypot(high_l - aboard_mean_l, mark_l)
    late_l = room_l + math.hypot(aboard_mean_l - low_l, mark_l)
    closing_l = rate_lpm * _CLOSING_S / 60
    brim_l = boat.tank.capacity_l - high_l - closing_l
    wanted_l = min(v for v in (take_l, largest_sale_l, room_l) if v is not None)
    ask_l = max(0.0, min(wanted_l, brim_l))
    full = ask_l > 0 and wanted_l == room_l
    slow_at_l = max(0.0, early_l - closing_l if full else min(early_l, ask_l) - closing_l)
    rooms = _Rooms(room_l, early_l, late_l, brim_l, closing_l)
    return Advice(
        boat=boat.name,
        aboard_l=aboard_mean_l,
        aboard_low_l=low_l,
        aboard_high_l=high_l,
        full_mark_l=boat.tank.full_mark_l,
        ask_l=ask_l,
        ask_low_l=max(0.0, early_l),
        ask_high_l=max(0.0, late_l),
        slow_at_l=slow_at_l,
        closing_l=closing_l,
        full=full,
        stop=_stop(boat.units, ask_l, full=full),
        pump_lpm=rate_lpm,
        pump_rate_stated=pump_lpm is not None,
        time_min=ask_l / rate_lpm,
        price_per_l=price_per_l,
        cost=None if price_per_l is None else price_per_l * ask_l,
        findings=tuple(_findings(boat.units, rooms, ask_l, largest_sale_l, take_l)),
        cautions=_cautions(boat, slow_at_l),
    )


def advice_document(advice: Advice, currency: str | None = None) -> dict[str, Any]:
    """Tell an advice to a program.

    Parameters
    ----------
    advice
        The advice.
    currency
        What price and cost are in; None where there is no price.

    Returns
    -------
    What `fillup advice --json` prints.
    """
    return {"schema": "routeplan/advice/1", "currency": currency, **advice.model_dump(mode="json")}


def tell_advice(advice: Advice, boat: Boat, currency: str) -> str:
    """Tell an advice to whoever holds the nozzle.

    Parameters
    ----------
    advice
        The advice.
    boat
        The boat; her display units.
    currency
        What price and cost are in.

    Returns
    -------
    Lines short enough for a phone: what to do first, then the cautions in order.

    Notes
    -----
    Totals to ask for and to slow down at are rounded down, to whole units from 20 on.
    """
    units = boat.units
    mark = f"{_bare(units, advice.ask_low_l)} and {_figure(units, advice.ask_high_l, up=True)}"
    ends = f"{_tenths(units, advice.aboard_low_l)} to {units.volume_up(advice.aboard_high_l)}"
    out = [
        f"{boat.name}, {boat.fuel}: at the pump",
        f"Aboard {units.volume(advice.aboard_l)} ({ends}); full mark at {units.volume(advice.full_mark_l)}",
        *(f"! {finding}" for finding in advice.findings),
        "",
    ]
    if advice.ask_l > 0:
        slow = f"from {_both(units, advice.slow_at_l)} on the pump" if advice.slow_at_l > 0 else "from the first drop"
        rate = f"{advice.pump_lpm:g} l/min"
        if units.gallon is not None:
            rate = f"{advice.pump_lpm / units.litres_per_unit:.1f} gal/min ({rate})"
        rate += "" if advice.pump_rate_stated else ", a usual pump: the dock states no rate"
        out += [
            f"Ask for    about {_both(units, advice.ask_l)}",
            f"Slow down  {slow}, and listen at the vent",
            f"Stop       {advice.stop}",
            f"           (nine times in ten the mark comes between {mark})",
            f"Pump runs  about {shown_duration(math.ceil(advice.time_min - 1e-9) / 60)} at {rate}",
        ]
        if advice.cost is not None and advice.price_per_l is not None:
            price = units.price(advice.price_per_l, currency)
            out.append(f"Costs      about {shown_money(advice.cost, currency)}, at {price}")
        if advice.slow_at_l > 0.5 * advice.ask_l:
            out.append("If the pump can be preset, set it to the figure to slow down at, and go on by hand.")
    phase = ""
    for caution in advice.cautions:
        now, _, words = caution.partition(": ")
        if now != phase:
            out += ["", now]
            phase = now
        out.append(f"- {words[:1].upper()}{words[1:]}")
    if advice.ask_l > 0:
        part = "" if advice.full else " --part"
        out += ["", f"Then note the three numbers: routeplan fillup add METER GAUGE PUMPED{part}"]
    return "\n".join(out)


def _check(boat: Boat, aboard_l: float, others: Iterable[float | None], rate_lpm: float) -> None:
    known = [aboard_l, rate_lpm, *(v for v in others if v is not None)]
    for value in known:
        if not (math.isfinite(value) and value >= 0):
            raise InputError("fillup advice", "takes finite figures that are not negative", value=value)
    if not 0 < rate_lpm <= _FASTEST_LPM:
        problem = f"a pump's rate must be above 0 and at most {_FASTEST_LPM:g} l/min"
        raise InputError("fillup advice", problem, value=rate_lpm, remedy="leave it out for a usual pump's rate")
    units, capacity_l = boat.units, boat.tank.capacity_l
    if aboard_l > capacity_l + _HALF_A_TENTH * units.litres_per_unit:
        problem = f"more aboard than {boat.name}'s tank holds, {units.echo_volume(capacity_l)}"
        raise InputError("fillup advice", problem, value=units.volume(aboard_l), remedy="check the figure and its unit")


def _no_fill(units: DisplayUnits, room_l: float, late_l: float, brim_l: float) -> str:
    """Say why nothing should be asked for; empty where something may be."""
    if late_l <= 0:
        return "Don't fill: even if less is aboard than reckoned, the tank is at the full mark already."
    if room_l <= 0:
        most = _both(units, late_l, up=True)
        return f"Don't fill by this figure: the tank is reckoned full. At the most {most} would go in."
    if brim_l <= 0:
        return (
            "Name no figure: what is aboard isn't known well enough, and the tank may be near the brim. "
            "Read meter and gauge first, or dip the tank."
        )
    return ""


def _findings(
    units: DisplayUnits, rooms: _Rooms, ask_l: float, sale_l: float | None, take_l: float | None
) -> list[str]:
    refusal = _no_fill(units, rooms.mean_l, rooms.late_l, rooms.brim_l)
    if refusal:
        return [refusal]
    found = []
    if rooms.early_l <= 0:
        found.append("She may be at the full mark already: open the nozzle a little, and listen from the first drop.")
    elif rooms.early_l <= rooms.closing_l:
        found.append("There is little room: open the nozzle a little, and listen from the first drop.")
    if take_l is not None and take_l > rooms.early_l > 0:
        found.append(_take_finding(units, rooms, take_l))
    if sale_l is not None and ask_l == sale_l < min(rooms.mean_l, math.inf if take_l is None else take_l):
        short = units.volume_up(rooms.mean_l - sale_l)
        found.append(f"This dock sells at most {_both(units, sale_l)} at once: {short} short of the mark.")
    if ask_l == rooms.brim_l:
        why = "what is aboard isn't known well enough to ask for more without a risk of running over"
        found.append(f"{_both(units, ask_l)} is less than the tank is reckoned to take: {why}. Go on by hand, slowly.")
    return found


def _take_finding(units: DisplayUnits, rooms: _Rooms, take_l: float) -> str:
    wanted = _both(units, take_l)
    if take_l > rooms.late_l:
        most = _both(units, rooms.late_l, up=True)
        return f"{wanted} doesn't fit: even if little is aboard, the tank takes {most} to the full mark."
    if take_l > rooms.mean_l:
        mark = _both(units, rooms.mean_l)
        return f"{wanted} isn't likely to fit: the full mark is reckoned at {mark} on the pump."
    return f"The full mark may come before {wanted}: then stop there."


def _stop(units: DisplayUnits, ask_l: float, *, full: bool) -> str:
    if ask_l <= 0:
        return "don't fill"
    if full:
        return "at the full mark, whatever the pump shows"
    return f"at {_both(units, ask_l)}, or at the full mark if it comes first"


def _cautions(boat: Boat, slow_at_l: float) -> tuple[str, ...]:
    """Return the fuelling cautions; their sources are the design's, the telephone number's is 33 CFR 153.203 (seen)."""
    slow = f"from {_both(boat.units, slow_at_l)}" if slow_at_l > 0 else "from the first drop"
    return (
        "Before: moor her fast; whoever isn't fuelling goes ashore.",
        "Before: engines, stove, electrics and blower off; no flame, nobody smokes.",
        "Before: shut hatches and ports, so that no vapour goes below.",
        "Before: lift portable tanks out and fill them ashore.",
        f"Before: {boat.fuel}, and into the fuel filler; pump at zero; phone away.",
        "During: keep the nozzle touching the filler, and never leave it.",
        f"During: slow down {slow}, and listen at the vent.",
        "During: stop at the full mark: fuel swells as it warms, and comes out of the vent.",
        "After: cap on; wipe up every drop.",
        "After: open hatches and ports; run the blower, if there is one, for four minutes at least.",
        "After: put your nose in the bilge. If it smells of fuel, nothing is switched on.",
        "After: start the engines; then the guests come back.",
        "Spill: report it to the local authority; in the United States to the National Response Center, 800-424-8802.",
        "Spill: never put soap on it.",
    )


def _figure(units: DisplayUnits, volume_l: float, *, up: bool = False, litres: bool = False) -> str:
    """Show a total on a pump: whole units from 20 on, tenths below, rounded down unless said otherwise."""
    shown = DisplayUnits("metric") if litres else units
    amount = volume_l / shown.litres_per_unit
    if amount < _WHOLE_FROM:
        return shown.volume_up(volume_l) if up else shown.volume_down(volume_l)
    whole = math.ceil(amount - 1e-6) if up else math.floor(amount + 1e-6)
    return f"{whole} {shown.volume_label}"


def _both(units: DisplayUnits, volume_l: float, *, up: bool = False) -> str:
    """Show a total in the boat's units, and in litres, as the pump may count either."""
    own = _figure(units, volume_l, up=up)
    return own if units.gallon is None else f"{own} ({_figure(units, volume_l, up=up, litres=True)})"


def _bare(units: DisplayUnits, volume_l: float) -> str:
    return _figure(units, volume_l).removesuffix(f" {units.volume_label}")


def _tenths(units: DisplayUnits, volume_l: float) -> str:
    return units.volume_down(volume_l).removesuffix(f" {units.volume_label}")
