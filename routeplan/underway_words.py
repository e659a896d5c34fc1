"""What `underway` says: what to do first, then what is left and how sure, then the arrivals."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from routeplan.places import write_position
from routeplan.plan_words import PlanWords
from routeplan.units_shown import shown_distance, shown_duration, shown_speed
from routeplan.words import Words, course, shown_calls

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from routeplan.helm import WayLeg
    from routeplan.plans import Plan
    from routeplan.saved_plans import SavedPlan
    from routeplan.underway_values import Advice, Arrival, Underway

__all__ = ["UNDERWAY_CAUTIONS", "tell_underway"]

UNDERWAY_CAUTIONS = (
    "An aid, not for navigation: look out first, and let someone else type while she planes.",
    "Meter and gauge can fail together with what they measure: fuel that vanishes may be in the bilge.",
    "Call the dock before you turn for it; in doubt call early, VHF channel 16 and whoever waits ashore.",
    "Wind, sea and current are allowed for as the plan has them, and as today's burn shows them; most plans have none.",
    "Local rules and a licensed professional's advice come first.",
)
_HEADS = {
    "go-on": "GO ON",
    "watch": "GO ON FOR NOW, decide at the point of no return",
    "slow-down": "SLOW DOWN",
    "turn": "TURN",
    "short": "NOTHING KEEPS THE RESERVE",
    "leak": "FUEL MAY BE LEAKING",
    "new-plan": "FOLLOW THE NEW PLAN",
    "fill": "FILL HERE",
    "there": "ARRIVED",
}
_ALONGSIDE_NMI = 0.15  # [nmi] so near to a dock there is nothing to turn for
_MOST_LEGS = 4  # of a way that are told
_SHORTEST_NMI = 0.05  # [nmi] a stretch that would be told as 0.0
_LITTLE = 0.5  # display units: less is no difference
_ON_TIME_MIN = 3.0  # min: nor is less than this


def tell_underway(
    answer: Underway,
    saved: SavedPlan,
    differences: tuple[str, ...] = (),
    variation_deg: float | None = None,
    file: str = "",
) -> list[str]:
    """Say where the boat stands and what to do.

    Parameters
    ----------
    answer
        What was found.
    saved
        The plan that is followed.
    differences
        How region and boat at hand differ from the plan's.
    variation_deg
        [deg] Magnetic variation, east positive; None where the region doesn't say.
    file
        The plan's file.

    Returns
    -------
    Paragraphs; an empty one is a blank line.
    """
    words = Words(saved.boat, saved.zone, saved.region.currency)
    lines = [*_advice_lines(answer, words, variation_deg), ""]
    lines += [f"! {line}" for line in (*differences, *answer.findings)]
    if differences or answer.findings:
        lines.append("")
    lines += [*_fuel_lines(answer, words), ""]
    if answer.arrivals:
        lines += [*(_arrival_line(arrival, words) for arrival in answer.arrivals), ""]
    no_return = _no_return_line(answer)
    if no_return:
        lines += [no_return, ""]
    if answer.replan is not None:
        lines += [*_new_plan_lines(answer.replan, saved), ""]
    leaves = f"leaves {words.day_and_clock(saved.plan.depart)}"
    ends = f"{saved.plan.legs[0].from_} to {saved.plan.legs[-1].to}"
    lines += [f"By the plan {ends}, {leaves}{f', {file}' if file else ''}.", ""]
    lines += ["Cautions:", *(f"  - {caution}" for caution in UNDERWAY_CAUTIONS)]
    return lines


def _new_plan_lines(plan: Plan, saved: SavedPlan) -> Iterator[str]:
    words = PlanWords(saved.boat, saved.zone, saved.region.currency, saved.speed_kn)
    yield f"New plan from here: {words.summary(plan)}."
    for number, stop in enumerate(plan.stops):
        yield f"{words.stop_title(plan, number)}: {'; '.join(words.stop_lines(plan, stop)[:2])}."
        yield from words.closed_lines(stop)


def _advice_lines(answer: Underway, words: Words, variation_deg: float | None) -> Iterator[str]:
    advice = answer.advice
    head = _HEADS[advice.kind]
    if advice.kind == "slow-down" and advice.speed_kn is not None:
        head = f"SLOW TO {shown_speed(advice.speed_kn)}"
    elif advice.kind == "turn":
        near = (advice.dock_nmi or 0.0) < _ALONGSIDE_NMI
        head = f"FILL HERE, at {advice.dock}" if near else f"TURN for {advice.dock}"
    elif advice.kind == "go-on":
        shut = answer.arrivals[0].shut if answer.arrivals else ""
        head = f"GO ON to {answer.standing.next}{f', but it will be {shut}' if shut else ''}"
    elif advice.kind in ("new-plan", "fill", "leak") and advice.dock is not None:
        head = f"{head}: {advice.dock}" if advice.kind != "leak" else f"{head}: MAKE FOR {advice.dock}"
    why = advice.why[:1].upper() + advice.why[1:]
    yield f"{head}. {why}."
    if advice.dock_nmi is not None:
        yield _dock_line(advice, words, variation_deg)
    elif answer.standing.way:
        yield f"Steer {_way(answer.standing.way, variation_deg)}."
    if advice.kind in ("short", "leak"):
        yield "Say early where she is and what is left: to whoever waits ashore, and on VHF channel 16."
    if advice.kind == "leak":
        yield (
            "Smell and look into the bilge before any switch is touched; everybody on deck in lifejackets; no flame. "
            "Shut the tank's valve if the leak is beyond it and an engine can run from another tank."
        )


def _dock_line(advice: Advice, words: Words, variation_deg: float | None) -> str:
    said = [f"{advice.dock}: {shown_distance(advice.dock_nmi or 0.0)}"]
    if advice.dock_way:
        said[0] += f", steer {_way(advice.dock_way, variation_deg)}"
    if advice.dock_arrive is not None:
        said.append(f"there {words.day_and_clock(advice.dock_arrive)}")
    said.append(f"with {words.units.volume_down(max(0.0, advice.dock_low_l or 0.0))} by the low figure")
    if advice.dock_shut:
        said.append(advice.dock_shut)
    return "; ".join([*said, *shown_calls(advice.vhf, advice.phone)]) + "."


def _way(way: Sequence[WayLeg], variation_deg: float | None) -> str:
    """Say a way: every stretch of it, magnetic where the region gives the variation."""

    def steered(leg: WayLeg) -> str:
        true = f"{course(leg.course_deg)} true"
        told = true if variation_deg is None else f"{course(leg.course_deg - variation_deg)} magnetic ({true})"
        return f"{told} {shown_distance(leg.distance_nmi)}"

    told = [leg for leg in way if leg.distance_nmi >= _SHORTEST_NMI] or list(way[:1])
    shown = ", then ".join(steered(leg) for leg in told[:_MOST_LEGS])
    return f"{shown}, then on" if len(told) > _MOST_LEGS else shown


def _fuel_lines(answer: Underway, words: Words) -> Iterator[str]:
    units, stand = words.units, answer.standing
    by = []
    if answer.by_meter_l is not None:
        by.append(f"{units.volume(answer.by_meter_l)} by the meter")
    if answer.by_gauge_l is not None:
        by.append(f"{units.volume(answer.by_gauge_l)} by the gauge")
    known = f" ({', '.join(by)})" if len(by) > 1 else (" by the meter" if answer.by_meter_l is not None else "")
    yield (
        f"Aboard {units.volume(answer.aboard_l)}{known}, low {units.volume_down(answer.aboard_low_l)}; "
        f"{_against(answer.aboard_l - stand.planned_aboard_l, words)}."
    )
    percent = (answer.burn_factor - 1) * 100
    more = (
        "as planned" if abs(percent) < 1 else f"{abs(percent):.0f} % {'more' if percent > 0 else 'less'} than planned"
    )
    used = "" if stand.metered_l is None else f"The meter shows {units.volume(stand.metered_l)} since {stand.since}. "
    yield (
        f"{used}Burnt since {stand.since} {units.volume(stand.burned_l)}, planned {units.volume(stand.planned_l)}; "
        f"the rest is reckoned {more}, give or take {math.ceil(answer.burn_factor_sd * 100)} %."
    )
    late_min = stand.late_h * 60
    time = (
        "on time"
        if abs(late_min) < _ON_TIME_MIN
        else (f"{shown_duration(abs(stand.late_h))} {'behind' if late_min > 0 else 'ahead of'} the plan")
    )
    yield (
        f"At {write_position(answer.position)}, leg {stand.leg}, {shown_distance(stand.gone_nmi)} from {stand.since}, "
        f"{shown_distance(stand.to_next_nmi)} to {stand.next}; {time}."
    )
    if stand.distance_run_nmi is not None and stand.mean_speed_kn is not None:
        run, speed = shown_distance(stand.distance_run_nmi), shown_speed(stand.mean_speed_kn)
        yield f"By the track {run} since {stand.since}, at {speed} on average: burn is held against these speeds."


def _against(more_l: float, words: Words) -> str:
    units = words.units
    if abs(more_l) < _LITTLE * units.litres_per_unit:
        return "as the plan has it"
    return f"{units.volume(abs(more_l))} {'more' if more_l > 0 else 'less'} than the plan has here"


def _arrival_line(arrival: Arrival, words: Words) -> str:
    units = words.units
    margin = (
        f"{units.volume_down(arrival.margin_l)} above the reserve"
        if arrival.margin_l >= 0
        else f"{units.volume_up(-arrival.margin_l)} INTO the reserve"
    )
    planned = (
        f"planned {units.volume_down(arrival.planned_margin_l)}" if arrival.planned_margin_l >= 0 else "planned so"
    )
    aboard = words.aboard(max(0.0, arrival.aboard_l), max(0.0, arrival.low_l))
    shut = f"; {arrival.shut}" if arrival.shut else ""
    return f"{arrival.name}: {words.day_and_clock(arrival.arrive)} with {aboard}: {margin} ({planned}){shut}."


def _no_return_line(answer: Underway) -> str:
    if answer.advice.kind in ("there", "fill", "leak"):
        return ""
    if answer.turn_by is not None:
        turn = answer.turn_by
        return (
            f"Point of no return in {shown_distance(turn.in_nmi)}, {shown_duration(turn.in_min / 60)}, at "
            f"{write_position(turn.position)}: beyond it {turn.dock}, the last dock in reach with the reserve whole, "
            "no longer is."
        )
    if answer.beyond_return:
        return f"No dock but {answer.standing.next} is in reach from here with the reserve whole."
    return f"Some other dock stays in reach all the way to {answer.standing.next}."
